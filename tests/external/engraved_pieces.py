"""Everything that a book has LilyPond engrave, with the arrangement that each source is made of,
and whether the source sounds as the arrangement says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction

from page_signs import EngravedStaff, Sound, read_staves, wrong_signs

from tunebook.model.arrangement import Accent, Arrangement, FingeredNote
from tunebook.model.book import Edition
from tunebook.model.instrument import Instrument
from tunebook.model.piece import Piece
from tunebook.model.tune import Note, Tune
from tunebook.pipeline import exercises as practice
from tunebook.pipeline import pieces as legend
from tunebook.pipeline import sources as solving
from tunebook.pipeline.load import Setup
from tunebook.pipeline.order import unique_identities
from tunebook.pipeline.pieces import make_extras
from tunebook.pipeline.sources import source_of_tune
from tunebook.write.lilypond import source as lilypond

MOST_GRACES = 12
"""More grace notes before one note are not printed."""


@dataclass(frozen=True, slots=True)
class Page:
    """A source as it is engraved, and what it is to show."""

    identity: str
    arrangement: Arrangement
    edition: Edition
    source: str


@contextmanager
def _written(made: dict[Piece, tuple[Arrangement, Edition]]) -> Iterator[None]:
    """Notes what each piece is made of."""
    plain = lilypond.write_source

    def noted(arrangement: Arrangement, edition: Edition, **how: object) -> Piece:
        piece = plain(arrangement, edition, **how)  # type: ignore[arg-type]
        made[piece] = (arrangement, edition)
        return piece

    homes = (lilypond, solving, practice, legend)
    for home in homes:
        home.write_source = noted  # type: ignore[attr-defined]
    try:
        yield
    finally:
        for home in homes:
            home.write_source = plain  # type: ignore[attr-defined]


def engraved_pieces(tunes: Sequence[Tune], setup: Setup) -> list[Page]:
    """Every piece of a book of ``tunes``: tunes with their openings, exercises, drills, warm-ups,
    examples of signs."""
    made: dict[Piece, tuple[Arrangement, Edition]] = {}
    with _written(made):
        names = unique_identities(tuple(tunes))
        sources = tuple(
            source_of_tune(tune, name, setup, None) for tune, name in zip(tunes, names, strict=True)
        )
        pieces = {one.identity: one.piece for one in sources if one.piece is not None}
        pieces.update(make_extras(sources, setup).pieces)
    return [Page(name, *made[piece], piece.text) for name, piece in pieces.items()]


def differences(piece: Page) -> list[str]:
    """One line for each note that lacks its sign or sounds otherwise than arranged."""
    found: list[str] = []
    staves = read_staves(piece.source)
    opening = piece.source.find("\\book {")
    first_line_of_opening = piece.source.count("\n", 0, opening) + 1 if opening >= 0 else None
    kinds = []
    voices = iter(piece.arrangement.voices)
    whole = piece
    for staff in staves:
        found += wrong_signs(staff)
        if staff.kind == "VoiceStaff":
            piece = replace(whole, arrangement=next(voices).arrangement)
        is_opening = (
            first_line_of_opening is not None
            and staff.sounds[0].heads[0].line > first_line_of_opening
        )
        kinds.append("Opening" if is_opening else staff.kind)
        found += _other_tones(staff, whole if is_opening else piece, is_opening)
    piece = whole
    found += [f"a voice is missing: {one.voice.id}" for one in voices if _sounds(one.arrangement)]
    if any(note.pitches and not note.is_grace for note in _notes(piece.arrangement.tune)):
        found += [] if "Staff" in kinds else ["no melody"]
    return [f"{piece.identity}: {one}" for one in found]


def _sounds(arrangement: Arrangement) -> bool:
    return any(note.pitches for note in _notes(arrangement.tune))


def _notes(tune: Tune) -> list[Note]:
    return [n for bar in tune.bars for n in bar.notes if not n.is_invisible]


def _other_tones(staff: EngravedStaff, piece: Page, is_opening: bool) -> list[str]:
    arrangement = piece.arrangement
    if staff.kind == "DroneStaff":
        with_double_stops = piece.edition.accents == "drone"
        return _other_drones(staff, arrangement, with_double_stops)
    if staff.kind == "CueStaff":
        melody = [note for bar in arrangement.tune.voices[0].bars for note in bar.notes]
        return _other_melody(staff, melody, is_whole=False)
    if staff.kind == "SecondStaff":
        second = arrangement.accompaniment
        found = _wrong_stops(second, arrangement.instrument)
        return found + _other_melody(staff, [one.note for one in second], is_whole=False)
    found = [] if is_opening else _wrong_stops(arrangement.notes, arrangement.instrument)
    notes = _notes(arrangement.tune)
    has_small_heads = piece.edition.accents == "melody" and not is_opening
    added = arrangement.accents if has_small_heads else ()
    found += _other_melody(staff, notes, is_whole=not is_opening, added=added)
    has_graces = is_opening or piece.edition.shows_grace_notes
    return found + _other_graces(staff, notes if has_graces else [], is_whole=not is_opening)


def _wrong_stops(notes: Sequence[FingeredNote], instrument: Instrument) -> list[str]:
    """Notes whose strings and keys sound otherwise than their pitches."""
    found = []
    for one in notes:
        if not one.stops:
            continue
        heard = sorted(
            instrument.string(stop.string_index).open_midi + stop.key for stop in one.stops
        )
        if heard != sorted(pitch.midi for pitch in one.note.pitches):
            found.append(f"bar {one.bar_index} note {one.note_index} is stopped as {heard}")
    return found


def _midis(note: Note) -> tuple[float, ...]:
    return tuple(sorted(pitch.midi + pitch.cents / 100 for pitch in note.pitches))


def _other_melody(
    staff: EngravedStaff,
    notes: Sequence[Note],
    *,
    is_whole: bool,
    added: Sequence[Accent] = (),
) -> list[str]:
    """Heads that stand for no note of that time and pitch, and notes that no head stands for;
    double stops are ``added``."""
    found = []
    start = notes[0].onset if notes else Fraction(0)
    timed = [n for n in notes if not n.is_grace and n.pitches and n.duration > 0]
    start = min((n.onset for n in notes if not n.is_grace), default=Fraction(0)) if is_whole else 0
    by_onset = {n.onset: n for n in timed}
    current: Note | None = None
    begun = set()
    for sound in staff.sounds:
        if sound.is_grace:
            continue
        now = sound.onset + (start if is_whole else 0)
        note = by_onset.get(now)
        if note is not None:
            current = note
            begun.add(now)
        elif current is None or not current.onset < now < current.onset + current.duration:
            found.append(f"line {sound.heads[0].line}: no note begins at {now}")
            continue
        below = [
            float(one.span.stop.midi)
            for one in added
            if one.span.onset <= now < one.span.onset + one.span.duration
        ]
        if sound.midis != tuple(sorted((*below, *_midis(current)))):
            want = [pitch.name for pitch in current.pitches]
            found.append(f"line {sound.heads[0].line}: {_names(sound)} instead of {want}")
    if is_whole:
        found += [f"the note at {at} is missing" for at in by_onset if at not in begun]
    return found


def _names(sound: Sound) -> list[str]:
    return [head.name for head in sound.heads]


def _other_graces(staff: EngravedStaff, notes: Sequence[Note], *, is_whole: bool) -> list[str]:
    wanted: list[tuple[float, ...]] = []
    run: list[tuple[float, ...]] = []
    for note in notes:
        if note.is_grace:
            run += [_midis(note)] if note.pitches else [()]
        elif note.duration > 0:
            wanted += run[:MOST_GRACES]
            run = []
    wanted = [one for one in (*wanted, *run[:MOST_GRACES]) if one]
    printed = [sound.midis for sound in staff.sounds if sound.is_grace]
    if not is_whole:
        wanted = wanted[: len(printed)]
    return [] if printed == wanted else [f"grace notes {printed} instead of {wanted}"]


def _other_drones(
    staff: EngravedStaff, arrangement: Arrangement, with_double_stops: bool
) -> list[str]:
    found = []
    start = min((bar.onset for bar in arrangement.tune.bars), default=Fraction(0))
    spans = [
        (span.onset - start, span.onset - start + span.duration,
         arrangement.instrument.string(span.stop.string_index).open_midi + span.stop.key)
        for span in (arrangement.beside if with_double_stops else arrangement.drone)
    ]  # fmt: skip
    for sound in staff.sounds:
        middle = sound.onset + sound.length / 2
        want = {midi for first, last, midi in spans if first <= middle < last}
        if set(sound.midis) != want:
            found.append(f"line {sound.heads[0].line}: drone {_names(sound)} instead of {want}")
    # A head stands where a drone begins, moved by less than an eighth where that is inside a
    # tuplet, and the line that begins at it lasts as long as the drone.
    heads = [(one.onset, set(one.midis)) for one in staff.sounds]
    for first, last, midi in spans:
        if last - first >= Fraction(1, 4) and not any(
            abs(onset - first) < Fraction(1, 8) and midis == {midi} for onset, midis in heads
        ):
            found.append(f"the drone {midi} at {first} is missing")
    return found
