"""What stands in a book: its contents, what a retuning changed, and the source of every piece.

The files in which --keep-source keeps what was engraved say by their names what it is:
``polskor-1.ly`` is a tune, ``polskor-1-opening.ly`` its opening, ``polskor-1-bars-5-6.ly`` an
exercise, ``polskor-1-chord-changes.ly`` its drill of chords, ``warm-up-held-drone-A.ly`` a warm-up
and ``sign-finger.ly`` an example of the page of signs.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from pathlib import Path

from tunebook import __version__
from tunebook.book.content import BookContent, BookSection, BookTune, SoundLink, TuneLeftOut
from tunebook.book.musical_text import local_names, tuning_text, voices_note
from tunebook.engrave.program import find_lilypond
from tunebook.errors import Message, SourcePlace
from tunebook.model.arrangement import Arrangement
from tunebook.model.changes import RetuneFacts
from tunebook.model.piece import EngravedPiece, EngravingFailure, Piece
from tunebook.model.tune import Tune
from tunebook.model.words import FixedWords, words_for
from tunebook.pipeline.load import Setup
from tunebook.pipeline.order import Section
from tunebook.pipeline.pieces import IDENTITY, Extras, place_extras
from tunebook.pipeline.sources import TuneSource, small_identity
from tunebook.solve.retuning import find_string_changes
from tunebook.write.file_names import (
    distinct_names,
    recording_address,
    recording_names,
    safe_stem,
    tune_file_names,
)

_ENDING = ".ly"
LONGEST_CODED = 180
"""Letters of an address in a QR code: it is three centimetres wide then."""


def contents_of(
    setup: Setup,
    sections: tuple[Section, ...],
    sources: tuple[TuneSource, ...],
    extras: Extras,
    pieces: dict[str, EngravedPiece],
) -> BookContent:
    """Return what the book holds; ``sources`` are in the order of the sections' tunes, and those
    of which there is no piece are left out."""
    book_sections = []
    waiting = iter(zip(sources, sound_links(setup, sections), strict=True))
    for section in sections:
        chosen = list(islice(waiting, len(section.tunes)))
        tunes = tuple(
            replace(_book_tune(one, one.outcome.arrangement, pieces, setup), sound=link)
            for one, link in chosen
            if one.outcome.arrangement is not None and one.identity in pieces
        )
        tunes = with_tunings(tunes, setup, is_set=bool(section.title))
        if tunes:
            book_sections.append(
                BookSection(section.title, tunes, section.note, section.is_kept_together)
            )
    return place_extras(
        BookContent(
            book=setup.book,
            edition=setup.edition,
            instrument=setup.instrument,
            hand=setup.hand,
            sections=tuple(book_sections),
            engraver=f"LilyPond {find_lilypond().version_text}",
            program_version=__version__,
            left_out=tuple(
                TuneLeftOut(one.outcome.tune.title or one.identity, one.beyond_note)
                for one in sources
                if one.beyond_note and one.outcome.tune
            ),
        ),
        extras,
        pieces,
    )


def with_tunings(
    tunes: tuple[BookTune, ...], setup: Setup, *, is_set: bool
) -> tuple[BookTune, ...]:
    """The tunes with what is said of their tunings: in a set the strings to turn are counted from
    the tune before, elsewhere from the book's tuning."""
    words = words_for(setup.book, setup.instrument)
    told: list[BookTune] = []
    before = setup.instrument
    for tune in tunes:
        mine = tune.arrangement.instrument
        is_other = bool(tune.arrangement.tune.tuning) and mine != setup.instrument
        note = words.tuned.format(tuning_text(mine, words)) if is_other else ""
        usual = {one.index for one in find_string_changes(setup.instrument, mine) if one.is_risky}
        changes = tuple(
            # A string that goes back to where it belongs runs no risk.
            replace(one, is_risky=one.is_risky and one.index in usual)
            for one in find_string_changes(before, mine)
            if one.cents
        )
        told.append(replace(tune, tuning_note=note, retuning=changes))
        before = mine if is_set else setup.instrument
    return tuple(told)


def sound_links(setup: Setup, sections: tuple[Section, ...]) -> list[SoundLink | None]:
    """The recording of every tune of the sections, where the settings say that there are any."""
    tunes = [tune for section in sections for tune in section.tunes]
    place = setup.edition.sounds or setup.book.sounds
    if not place:
        return [None] * len(tunes)
    names = recording_names(tunes, setup.book.sound.format)
    found = [recording_address(place, name) for name in names]
    return [
        SoundLink(one, setup.book.has_qr and "://" in place and len(one) <= LONGEST_CODED)
        for one in found
    ]


def code_messages(content: BookContent) -> list[Message]:
    """Return a message for each tune whose recording has an address too long for a QR code."""
    return [
        Message(
            tune.arrangement.tune.place,
            "sound",
            f"the address of {tune.title!r} is too long for a QR code",
            "only the link is printed; shorten the file's name",
        )
        for tune in content.tunes
        if content.book.has_qr
        and tune.sound is not None
        and len(tune.sound.address) > LONGEST_CODED
    ]


def _book_tune(
    source: TuneSource,
    arrangement: Arrangement,
    pieces: dict[str, EngravedPiece],
    setup: Setup,
) -> BookTune:
    words = words_for(setup.book, setup.instrument)
    return BookTune(
        identity=source.identity,
        arrangement=arrangement,
        piece=pieces[source.identity],
        small_piece=pieces.get(small_identity(source.identity)),
        limit_note=source.limit_note,
        choice_notes=source.choice_notes,
        voices_note=voices_note(arrangement, setup.edition.voices, words),
    )


def retune_facts(before: Setup, after: Setup, sources: tuple[TuneSource, ...]) -> RetuneFacts:
    """Return what is told of a retuning: the names of both setups, tunes and strings."""
    words = words_for(after.book, after.instrument)
    names = _what_differs(before, after, words)
    return RetuneFacts(
        name_before=names[0],
        name_after=names[1],
        tunes=tuple(one.change for one in sources if one.change is not None),
        strings=find_string_changes(before.instrument, after.instrument),
    )


def _what_differs(before: Setup, after: Setup, words: FixedWords) -> list[str]:
    """What the two setups are called where they differ: instrument, tuning, hand."""
    pairs = list(zip(_names(before, words), _names(after, words), strict=True))
    differing = [pair for pair in pairs if pair[0] != pair[1]] or pairs
    return [", ".join(pair[side] for pair in differing) for side in (0, 1)]


def _names(setup: Setup, words: FixedWords) -> tuple[str, str, str]:
    hand = f"{words.hand.lower()}: {words.local(setup.hand.name)}"
    return (
        words.local(setup.instrument.title),
        local_names(setup.instrument.tuning_name, words),
        hand,
    )


def failure_messages(
    failures: list[EngravingFailure], sources: tuple[TuneSource, ...]
) -> list[Message]:
    """Return a message for each piece that could not be engraved; a tune is then left out. Where
    only its smaller staff size could not be, nothing is missed."""
    places = {one.identity: one.outcome.tune.place for one in sources if one.outcome.tune}
    spare = {small_identity(one.identity) for one in sources}
    return [
        Message(
            places.get(failure.identity, SourcePlace(failure.identity)),
            "engraving",
            f"LilyPond could not engrave it ({failure.reason})",
            "left out; --keep-source keeps the source to look at",
            is_fatal=failure.identity in places,
        )
        for failure in failures
        if failure.identity not in spare
    ]


def kept_sources(sources: tuple[TuneSource, ...], extras: Extras, folder: Path) -> dict[Path, str]:
    """Return the source of every piece by its file. Tunes are named first, as export names them."""
    made: list[tuple[str, Tune, Piece]] = [
        (one.identity, one.outcome.tune, one.piece)
        for one in sources
        if one.piece is not None and one.outcome.tune
    ]
    names = tune_file_names([tune for _, tune, _ in made], _ENDING.removeprefix("."))
    stems = {
        identity: name.removesuffix(_ENDING)
        for name, (identity, _, _) in zip(names, made, strict=True)
    }
    texts = [(stems[identity], piece.music_text) for identity, _, piece in made]
    texts += [
        (f"{stems[identity]}-opening", piece.opening_text)
        for identity, _, piece in made
        if piece.opening is not None
    ]
    for one in extras.exercises:
        before = f"{stems[one.tune_identity]}-" if one.tune_identity in stems else ""
        texts.append((before + safe_stem(one.kind), one.piece.text))
    texts += [
        (f"sign-{safe_stem(name.removeprefix(IDENTITY))}", piece.text)
        for name, piece in extras.pieces.items()
        if name.startswith(IDENTITY)
    ]
    paths = distinct_names(stem + _ENDING for stem, _ in texts)
    return {folder / path: text for path, (_, text) in zip(paths, texts, strict=True)}
