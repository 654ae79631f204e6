"""Sources: MusicXML by this program's own writer and by music21's, read in again, for the sample
tunes and twenty-four tunes of music21's corpus (oneills1850, ryansMammoth, airdsAirs). Five hundred
are compared by tests/benchmarks/score_round_trips.py."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from pathlib import Path

from corpus_tunes import random_tunes
from score_round_trip import (
    by_music21,
    by_our_writer,
    differences,
    is_changed_by_music21,
    proposals,
    read_back,
    trills,
)

from tunebook import HandChoice, arrange, read_hand, read_instrument
from tunebook.model.arrangement import Arrangement
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument
from tunebook.read.folder import read_folder

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"


def _hands() -> tuple[Instrument, Hand]:
    return read_instrument("nyckelharpa-3row", "CGDA"), read_hand(HandChoice("medium"))


@functools.cache
def arranged() -> tuple[Arrangement, ...]:
    tunes = [*read_folder(SAMPLES).tunes, *random_tunes(24, seed=17)]
    return tuple(arrange(tune, *_hands(), drones="none") for tune in tunes)


def faults(
    write: Callable[[Arrangement], bytes], arrangements: Sequence[Arrangement]
) -> dict[str, list[str]]:
    found = {one.tune.title: differences(one, read_back(write(one))) for one in arrangements}
    return {name: what for name, what in found.items() if what}


def test_tunes_come_back_from_our_writer_as_they_went_out() -> None:
    assert faults(by_our_writer, arranged()) == {}


def test_fingers_that_trill_and_proposed_chords_come_back_as_what_they_are() -> None:
    ones = [arrange(tune, *_hands(), chords="all") for tune in read_folder(SAMPLES).tunes]
    again = [read_back(by_our_writer(one)) for one in ones]
    for told in (trills, proposals):
        pairs = [told(one, back) for one, back in zip(ones, again, strict=True)]
        assert sum(len(out) for out, _ in pairs) >= 3
        assert all(out == found for out, found in pairs)


def test_tunes_come_back_from_music21s_writer_as_they_went_out() -> None:
    whole = [one for one in arranged()[:-12] if not is_changed_by_music21(one.tune)]
    assert len(whole) >= 25
    assert faults(by_music21, whole) == {}
