"""Tunes that are not printed as they stand in the text, as texts of ABC that are.

A tune in another key than it is written in, a plainer line of it, or with chords that tunes.toml
gives it: its printed notes take the place of its text, with a remark (N:) of what was done to it.
What is written is read again and compared; where it would not be the same notes, the file keeps
the text that it had, and a message says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tunebook.errors import Message
from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import KEY_FIXED, Tempo, Tune
from tunebook.model.voices import voice_as_tune
from tunebook.model.words import fixed_words
from tunebook.pipeline.load import Setup, read_tunes_in
from tunebook.pipeline.order import tune_identity
from tunebook.pipeline.prepare import has_fixed_key
from tunebook.read.folder import AbcFile
from tunebook.read.spots import Spots, is_score
from tunebook.solve.parts import part_of
from tunebook.write.tune_abc import keeps_its_notes, tune_as_abc
from tunebook.write.tune_places import NewText, with_new_texts


@dataclass(frozen=True, slots=True)
class PrintedText:
    """A ``tune`` as it was arranged, the ``text`` that takes its place, and the ``arrangement`` of
    that text: of the same notes, at their places in all the texts one after the other."""

    tune: Tune
    text: str
    arrangement: Arrangement


def is_another(arrangement: Arrangement, setup: Setup) -> bool:
    """Whether other notes or chords are printed than stand in the tune's text."""
    tune = arrangement.tune
    choice = setup.book.choice(tune_identity(tune))
    has_other_chords = choice is not None and choice.chords is not None
    return tune.moved is not None or tune.line != tune.line_of_text or has_other_chords


def stays_beyond(arrangement: Arrangement, setup: Setup) -> bool:
    """Whether the tune goes beyond the limits of an edition that would move it, if tunes.toml did
    not fix its key; its text has to say so."""
    tune = arrangement.tune
    if setup.edition.fit == "print as written" or tune.has_fixed_key:
        return False
    every = (arrangement, *(voice.arrangement for voice in arrangement.voices))
    notes = (note for one in every for note in one.notes)
    is_beyond = any(note.beyond_limits or not note.stops for note in notes)
    return is_beyond and has_fixed_key(tune, setup.book.choice(tune_identity(tune)))


def printed_texts(
    arrangements: Sequence[Arrangement], setup: Setup
) -> tuple[list[PrintedText], tuple[Message, ...]]:
    """Texts of the tunes as they are printed, to stand one after the other with an empty line
    between them, and messages about those that cannot be written."""
    texts: list[PrintedText] = []
    messages: list[Message] = []
    line = 0
    for one in arrangements:
        text = _text_of(one, setup)
        bound = _bound(one, text, line, setup)
        if bound is None:
            messages.append(_unwritten(one.tune))
            continue
        texts.append(PrintedText(one.tune, text, bound))
        line += text.count("\n") + 1
    return texts, tuple(messages)


def _text_of(arrangement: Arrangement, setup: Setup) -> str:
    from tunebook.book.musical_text import written_in

    tune = arrangement.tune
    if setup.edition.voices == "second" and tune.voices:
        tune = part_of(tune)  # the melody first, as in the book's own files
    if tune.line == "frame":
        tune = replace(tune, voices=())
    choice = setup.book.choice(tune_identity(tune))
    if choice is not None and choice.tempo:
        text = tune.tempo.text if tune.tempo else ""
        tune = replace(tune, tempo=Tempo(Fraction(1, 4), choice.tempo, text))
    if stays_beyond(arrangement, setup):
        others = tuple(one for one in tune.fields if one[0] != "r")
        tune = replace(tune, fields=(*others, ("r", (*tune.field("r"), KEY_FIXED))))
    words = fixed_words(setup.book.language, note_names=setup.book.note_names)
    told = (written_in(tune, words), words.lines.get(tune.line, ""))
    return tune_as_abc(tune, [", ".join(one for one in told if one)] if any(told) else ())


def _bound(arrangement: Arrangement, text: str, line: int, setup: Setup) -> Arrangement | None:
    """The arrangement bound to the notes of a text that stands after so many lines; None where they
    are not the same notes."""
    tune = arrangement.tune
    found = _tunes_in(("\n" * line + text).encode(), tune.file, setup)
    if len(found) != 1:
        return None
    (again,) = found
    if setup.edition.voices == "second" and tune.voices:
        again = part_of(again)
    has_voices = tune.line != "frame"
    if not keeps_its_notes(tune if has_voices else replace(tune, voices=()), again):
        return None
    return _with_notes_of(arrangement, replace(again, tuning=tune.tuning))


def _tunes_in(data: bytes, name: str, setup: Setup) -> tuple[Tune, ...]:
    return read_tunes_in(AbcFile(name, data, Spots() if is_score(name) else None), setup)


def _with_notes_of(arrangement: Arrangement, tune: Tune) -> Arrangement:
    """The arrangement with the notes of ``tune``, which are the same ones in another text."""
    notes = tuple(
        replace(one, note=tune.bars[one.bar_index].notes[one.note_index])
        for one in arrangement.notes
    )
    voices = []
    for one in arrangement.voices if tune.voices else ():
        voice = tune.voices[arrangement.tune.voices.index(one.voice)]
        own = _with_notes_of(one.arrangement, voice_as_tune(tune, voice))
        voices.append(replace(one, voice=voice, arrangement=own))
    return replace(arrangement, tune=tune, notes=notes, voices=tuple(voices))


def in_place(
    data: bytes, texts: Sequence[PrintedText], setup: Setup, others: Iterable[NewText] = ()
) -> tuple[bytes, tuple[Message, ...]]:
    """The bytes of a file with these texts in the places of their tunes, and the ``others`` in
    theirs, and messages about those that another line of the file makes read otherwise."""
    written, firsts = with_new_texts(
        data,
        [
            NewText(one.tune.first_line, one.tune.source_text.count("\n") + 1, one.text)
            for one in texts
        ]
        + list(others),
    )
    name = texts[0].tune.file if texts else ""
    found = {tune.first_line: tune for tune in _tunes_in(written, name, setup)} if texts else {}
    messages = []
    for one in texts:
        again = found.get(firsts[one.tune.first_line])
        tune = one.arrangement.tune
        if setup.edition.voices == "second" and again is not None and again.voices:
            again = part_of(again)
        if again is None or not keeps_its_notes(tune, again):
            messages.append(_unwritten(one.tune, "compare it with the book"))
    return written, tuple(messages)


def _unwritten(tune: Tune, remedy: str = "its own text stays") -> Message:
    what = f"the text of {tune.title!r} as it is printed would not be read as the same notes"
    return Message(tune.place, "fingering", what, remedy)
