"""Source: printed collections in the corpus of the music21 package, tunes taken at random."""

from __future__ import annotations

import pytest
from corpus_tunes import random_tunes

from tunebook.model.arrangement import Arrangement
from tunebook.model.hand import Limits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.second_opinion.pricing import verify_arrangement
from tunebook.solve.times import tempo_of

HAND = read_hand()
COUNT = 200


@pytest.fixture(scope="module", params=["CGDA", "CGCA"])
def arrangements(request) -> list[Arrangement]:
    instrument = read_instrument("nyckelharpa-3row", request.param)
    found = []
    for tune in random_tunes(COUNT, seed=1):
        speed = tempo_of(tune)[0]
        solved = choose_fingering(tune, instrument, HAND, whole_notes_per_second=speed)
        assert solved.is_exact
        found.append(
            Arrangement(
                tune,
                instrument,
                HAND,
                Limits(),
                solved.notes,
                solved.drone,
                cost=solved.cost,
                whole_notes_per_second=speed,
            )
        )
    return found


def test_no_stop_is_impossible_and_every_cost_adds_up(arrangements: list[Arrangement]) -> None:
    assert [verify_arrangement(one) for one in arrangements] == [()] * COUNT


def test_every_note_in_compass_is_played(arrangements: list[Arrangement]) -> None:
    for one in arrangements:
        written = sum(not note.is_rest for bar in one.tune.bars for note in bar.notes)
        assert len(one.notes) == written
        assert sum(bool(note.stops) for note in one.notes) >= 0.98 * written


def test_most_notes_lie_in_first_position_and_shifts_are_few(
    arrangements: list[Arrangement],
) -> None:
    notes = [note for one in arrangements for note in one.notes if not note.is_continued]
    bars = sum(len(one.tune.bars) for one in arrangements)
    low = sum(note.hand_key <= 3 for note in notes)
    shifts = sum("shift" in note.ways for note in notes)
    assert low > 0.6 * len(notes)
    assert shifts < 0.5 * bars
