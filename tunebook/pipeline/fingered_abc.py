"""Fingered ABC that leads back to the arrangements of a file's tunes.

The text is written, read and solved again with the same instrument, hand and edition, but without
what tunes.toml says of single tunes; a note that would then lie on another string gets its string
written too, and a tune that would be given a drone gets a remark that it has none. What still
differs after a few rounds is said. Tunes that are not printed as they stand in the text come
in as they are printed (:mod:`tunebook.pipeline.printed_abc`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tunebook.errors import Message
from tunebook.model.arrangement import Arrangement
from tunebook.pipeline.load import Setup, read_tunes_in
from tunebook.pipeline.outcomes import arrange_tunes
from tunebook.pipeline.printed_abc import (
    PrintedText,
    in_place,
    is_another,
    printed_texts,
    stays_beyond,
)
from tunebook.read.folder import AbcFile
from tunebook.read.spots import Spots, is_score
from tunebook.write.abc import NOTHING_BESIDES, Besides, write_fingers_in_bytes
from tunebook.write.tune_places import with_new_texts, with_tunings_named

MOST_ROUNDS = 5


def fingered_file(
    data: bytes, arrangements: Sequence[Arrangement], setup: Setup, jobs: int = 1
) -> tuple[bytes, tuple[Message, ...]]:
    """Return the bytes of a file with the arrangements of its tunes written in, and messages."""
    bare = replace(setup, book=replace(setup.book, choices=()))
    others = [one for one in arrangements if is_another(one, setup)]
    as_written = [one for one in arrangements if not is_another(one, setup)]
    fixed = {_line(one): Besides(fixes_key=True) for one in as_written if stays_beyond(one, setup)}
    written, messages = _settled(data, as_written, bare, jobs, fixed)
    retuned = with_tunings_named(written, as_written)
    if not others:
        return with_new_texts(written, retuned)[0], messages
    texts, said = printed_texts(others, setup)
    text = "\n".join(one.text for one in texts).encode()
    fingered, more = _settled(text, [one.arrangement for one in texts], bare, jobs)
    lines = fingered.decode().split("\n")
    done = [_with_lines(one, lines) for one in texts]
    written, misread = in_place(written, done, bare, retuned)
    places = {one.arrangement.tune.place: one.tune.place for one in texts}
    moved = (replace(one, place=places.get(one.place, texts[0].tune.place)) for one in more)
    return written, (*messages, *said, *moved, *misread)


def _with_lines(printed: PrintedText, lines: Sequence[str]) -> PrintedText:
    """The text with the fingers that its lines have now."""
    first = printed.arrangement.tune.first_line - 1
    count = printed.text.rstrip("\n").count("\n") + 1
    return replace(printed, text="\n".join(lines[first : first + count]) + "\n")


def _settled(
    data: bytes,
    arrangements: Sequence[Arrangement],
    bare: Setup,
    jobs: int,
    fixed: Mapping[int, Besides] | None = None,
) -> tuple[bytes, tuple[Message, ...]]:
    """The text with the arrangements written in so that it leads back to them, and messages; what
    is to be written ``fixed`` beside them, by the tune's first line."""
    besides = dict(fixed or {})
    unsettled = list(arrangements)
    stuck: list[Arrangement] = []
    for _ in range(MOST_ROUNDS):
        written, messages = write_fingers_in_bytes(data, arrangements, besides)
        again = _arranged_again(written, unsettled, bare, jobs)
        differing = [one for one in unsettled if not is_same(one, again.get(_line(one)))]
        unsettled = []
        for one in differing:
            before = besides.get(_line(one), NOTHING_BESIDES)
            wanted = _besides(one, again.get(_line(one)), before)
            (stuck if wanted == before else unsettled).append(one)
            besides[_line(one)] = wanted
        if not unsettled:
            break
    return written, (*messages, *(_not_the_same(one) for one in [*stuck, *unsettled]))


def _line(arrangement: Arrangement) -> int:
    return arrangement.tune.first_line


def _arranged_again(
    data: bytes, arrangements: Sequence[Arrangement], setup: Setup, jobs: int
) -> dict[int, Arrangement]:
    """What the written text gives for these tunes, by the number of the tune's first line."""
    if not arrangements:
        return {}
    lines = {_line(one) for one in arrangements}
    name = arrangements[0].tune.file
    spots = Spots() if is_score(name) else None
    tunes = read_tunes_in(AbcFile(name, data, spots), setup)
    tunings = {_line(one): one.tune.tuning for one in arrangements}
    chosen = [
        replace(tune, tuning=tunings[tune.first_line]) for tune in tunes if tune.first_line in lines
    ]
    outcomes = arrange_tunes(chosen, setup, jobs=jobs, with_voices=has_voices(setup))
    found = (outcome.arrangement for outcome in outcomes)
    return {_line(one): one for one in found if one is not None}


def has_voices(setup: Setup) -> bool:
    """Whether the voices beside the melody are solved too; an edition of second voices is one
    player's alone."""
    return setup.edition.voices != "second"


def is_same(one: Arrangement, other: Arrangement | None) -> bool:
    """Whether two arrangements of a tune have the same strings, keys, fingers, fingers that trill,
    drones, double stops and chords, and the same chords in doubt, in all voices."""
    return other is not None and _essence(one) == _essence(other)


def _essence(arrangement: Arrangement) -> tuple[object, ...]:
    return (
        [(note.bar_index, note.note_index, note.stops, note.stops_after, note.trill_finger)
         for note in arrangement.notes],
        arrangement.drone,
        [(one.bar_index, one.note_index, one.span.stop) for one in arrangement.accents],
        [(span.onset, span.duration, span.chord.symbol, span.source, span.confidence)
         for span in arrangement.chords],
        [_essence(voice.arrangement) for voice in arrangement.voices],
    )  # fmt: skip


def _besides(one: Arrangement, other: Arrangement | None, before: Besides) -> Besides:
    """What to write so that the text leads to ``one`` and not to ``other``."""
    if other is None or len(one.notes) != len(other.notes):
        return before
    strings = {
        (note.bar_index, note.note_index)
        for note, found in zip(one.notes, other.notes, strict=True)
        if not note.is_continued
        and [stop.string_index for stop in note.stops]
        != [stop.string_index for stop in found.stops]
    }
    voices = zip(
        one.voices,
        other.voices,
        (*before.voices, *(NOTHING_BESIDES,) * len(one.voices)),
        strict=False,
    )
    return replace(
        before,
        strings=before.strings | strings,
        is_silent=before.is_silent or _begins_later(one, other),
        voices=tuple(
            _besides(mine.arrangement, found.arrangement, old) for mine, found, old in voices
        ),
    )


def _begins_later(one: Arrangement, other: Arrangement) -> bool:
    """Whether ``other`` has a drone, or a double stop of its own, where ``one`` has none yet."""
    first = min((asked.onset for asked in one.drones_asked), default=None)
    if any(first is None or asked.onset < first for asked in other.drones_asked):
        return True
    return len(other.accents) > len(one.accents)


def _not_the_same(arrangement: Arrangement) -> Message:
    what = f"the fingered text of {arrangement.tune.title!r} does not lead back to all of its "
    return Message(
        arrangement.tune.place, "fingering", what + "fingering, drones and chords",
        "compare it with the book before you print it again",
    )  # fmt: skip
