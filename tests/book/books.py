"""Small books for tests: tunes of a few bars, with drawn lines in place of engraved music."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from tunebook.book.content import BookContent, BookSection, BookTune
from tunebook.errors import SourcePlace
from tunebook.model.arrangement import Arrangement, ChordSpan, DroneSpan, FingeredNote, Stop
from tunebook.model.book import Book, Edition
from tunebook.model.hand import Hand, Limits, Span
from tunebook.model.instrument import Instrument, String, key_place_mm
from tunebook.model.piece import EngravedPiece, EngravedSystem
from tunebook.model.tune import Bar, ChordSymbol, Key, Meter, Note, Pitch, Tempo, Tune

PLACE = SourcePlace("tunes.abc", 1)
D_MAJOR = Key(1, 0, "ionian", 2, (1, 0, 0, 1, 0, 0, 0))
D_DORIAN = Key(1, 0, "dorian", 0)
HAND = Hand("medium", (Span(13.0, 20.0, 20.0, 30.0, 40.0, 60.0),) * 6)


def harpa() -> Instrument:
    """A three-row instrument in C G D A."""

    def string(index: int, name: str, midi: int, keys: int) -> String:
        places = tuple(key_place_mm(400.0, key) for key in range(1, keys + 1))
        return String(index, name, midi, places, 13.0 * index)

    strings = (
        string(1, "C", 48, 0),
        string(2, "G", 55, 11),
        string(3, "D", 62, 14),
        string(4, "A", 69, 20),
    )
    return Instrument(
        "harpa",
        "Nyckelharpa, three rows",
        "keyed",
        strings,
        400.0,
        13.0,
        "CGDA",
        sympathetic=tuple(range(56, 68)),
        source="Measures of an invented instrument",
    )


def fingered(step: int, octave: int, stop: Stop, onset: int, **more: object) -> FingeredNote:
    """One crotchet of the melody with its stop."""
    quarter = Fraction(1, 4)
    note = Note(PLACE, (Pitch(octave, step),), onset * quarter, quarter, quarter)
    return FingeredNote(onset // 3, onset % 3, note, (stop,), **more)  # type: ignore[arg-type]


def arrangement(title: str, *, key: Key = D_MAJOR, rhythm: str = "polska", **more: object):
    """A tune of two bars: D E F#, A B D."""
    notes = (
        fingered(1, 4, Stop(62, 3, 0, 0), 0),
        fingered(2, 4, Stop(64, 3, 2, 1), 1),
        fingered(3, 4, Stop(66, 3, 4, 2), 2),
        fingered(5, 4, Stop(69, 4, 0, 0), 3, shows_string=True),
        fingered(6, 4, Stop(71, 4, 2, 1), 4, ways=("crossed",)),
        fingered(1, 5, Stop(74, 4, 5, 3), 5),
    )
    meter = Meter(3, 4, "3/4")
    bars = tuple(
        Bar(
            PLACE,
            index,
            index + 1,
            tuple(one.note for one in notes if one.bar_index == index),
            Fraction(3 * index, 4),
            Fraction(3, 4),
            meter,
            key,
        )
        for index in (0, 1)
    )
    tune = Tune(
        PLACE,
        "1",
        (title,),
        "trad.",
        "Lerhult",
        rhythm,
        key,
        meter,
        Fraction(1, 8),
        Tempo(Fraction(1, 4), 104.0),
        bars,
        (0, 1),
    )
    tune = replace(tune, **more)  # type: ignore[arg-type]
    shape = (Stop(55, 2, 0, 0), Stop(62, 3, 0, 0), Stop(71, 4, 2, 1))
    chord = ChordSpan(
        0, Fraction(0), Fraction(3, 4), ChordSymbol(PLACE, "G", 4, 0, "major"), shape=shape
    )
    return Arrangement(
        tune,
        harpa(),
        HAND,
        Limits(),
        notes,
        drone=(DroneSpan(Fraction(0), Fraction(3, 2), Stop(55, 2, 0, 0)),),
        chords=(chord,),
        whole_notes_per_second=104 / 240,
        difficulty=float(len(title)),
    )


def piece(folder: Path, identity: str, heights: tuple[float, ...], width: float = 499.0):
    """Staves drawn with lines, one system a page of a PDF."""
    from reportlab.pdfgen.canvas import Canvas

    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{identity.replace(':', '-').replace('/', '-')}.pdf"
    canvas = Canvas(str(path), pagesize=(width + 20, 842), invariant=1)
    systems = []
    for index, height in enumerate(heights):
        bottom = 800 - height
        canvas.setLineWidth(0.4)
        for staff, step in ((bottom + height * 0.5, 4.0), (bottom + height * 0.12, 2.5)):
            for line in range(5):
                canvas.line(10, staff + line * step, 10 + width, staff + line * step)
        canvas.setFont("Helvetica", 7)
        canvas.drawString(14, bottom + height - 12, f"{identity} system {index + 1}")
        canvas.showPage()
        systems.append(EngravedSystem(index, 6.0, bottom, width + 8, height))
    canvas.save()
    opening = EngravedSystem(0, 6.0, 800 - heights[0], 150.0, heights[0] * 0.6)
    return EngravedPiece(identity, path, tuple(systems), path, opening)


def book_tune(folder: Path, number: int, title: str, systems: int = 4, **more: object) -> BookTune:
    """A tune of the book with ``systems`` systems."""
    identity = f"tunes.abc:{number}"
    heights = (84.0,) * systems
    return BookTune(identity, arrangement(title, **more), piece(folder, identity, heights))


def content(folder: Path, sections: tuple[BookSection, ...], **more: object) -> BookContent:
    """A book of ``sections``; further fields of Book by name."""
    book = Book(title="Lerhults låtar", subtitle="Old and new", editor="Spelmän i Lerhult")
    book = replace(book, **more)  # type: ignore[arg-type]
    edition = Edition("player", "Player's edition")
    return BookContent(book, edition, harpa(), HAND, sections, program_version="0.1")
