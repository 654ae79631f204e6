"""Fingered ABC that leads back to the same arrangement.

The text is written, read and solved again with the same instrument, hand and edition, but without
what tunes.toml says of single tunes; a note that would then lie on another string gets its string
written too, and a tune that would be given a drone gets a remark that it has none. What still
differs after a few rounds is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tunebook.errors import Message
from tunebook.model.arrangement import Arrangement
from tunebook.pipeline.arranging import arrange_tunes
from tunebook.pipeline.ordering import tune_identity
from tunebook.pipeline.reading import read_tunes_in
from tunebook.pipeline.setup import Setup
from tunebook.write.abc import write_fingers_in_bytes
from tunebook.write.abc_insertions import NOTHING_BESIDES, Besides

MOST_ROUNDS = 5


def fingered_file(
    data: bytes, arrangements: Sequence[Arrangement], setup: Setup, jobs: int = 1
) -> tuple[bytes, tuple[Message, ...]]:
    """Return the bytes of a file with the arrangements of its tunes written in, and messages."""
    bare = replace(setup, book=replace(setup.book, choices=()))
    besides: dict[int, Besides] = {}
    unsettled = [one for one in arrangements if not _is_transposed(one, setup)]
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


def _is_transposed(arrangement: Arrangement, setup: Setup) -> bool:
    choice = setup.book.choice(tune_identity(arrangement.tune))
    return choice is not None and bool(choice.transpose)


def _arranged_again(
    data: bytes, arrangements: Sequence[Arrangement], setup: Setup, jobs: int
) -> dict[int, Arrangement]:
    """What the written text gives for these tunes, by the number of the tune's first line."""
    if not arrangements:
        return {}
    lines = {_line(one) for one in arrangements}
    tunes = read_tunes_in(data, arrangements[0].tune.file, setup)
    outcomes = arrange_tunes([tune for tune in tunes if tune.first_line in lines], setup, jobs=jobs)
    found = (outcome.arrangement for outcome in outcomes)
    return {_line(one): one for one in found if one is not None}


def is_same(one: Arrangement, other: Arrangement | None) -> bool:
    """Whether two arrangements of a tune have the same strings, keys, fingers, drones and chords,
    and the same chords in doubt."""
    return other is not None and _essence(one) == _essence(other)


def _essence(arrangement: Arrangement) -> tuple[object, ...]:
    return (
        [(note.bar_index, note.note_index, note.stops, note.stops_after)
         for note in arrangement.notes],
        arrangement.drone,
        [(span.onset, span.duration, span.chord.symbol, span.source, span.confidence)
         for span in arrangement.chords],
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
    return Besides(
        before.strings | strings,
        before.is_silent or (not one.drones_asked and bool(other.drones_asked)),
    )


def _not_the_same(arrangement: Arrangement) -> Message:
    what = f"the fingered text of {arrangement.tune.title!r} does not lead back to all of its "
    return Message(
        arrangement.tune.place, "fingering", what + "fingering, drones and chords",
        "compare it with the book before you print it again",
    )  # fmt: skip
