"""Drones, shapes and accompaniments pass the independent pricing of arrangements."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.model.book import HandChoice
from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.harmony.chords import choose_chords
from tunebook.solve.practice import chord_drill, held_drone_drill, open_drone_drill
from tunebook.solve.second_opinion.pricing import verify_arrangement
from tunebook.solve.shapes.accompaniment import accompaniment_tune, hardest_changes

SPEED = 0.4
HAND = read_hand(HandChoice())
TUNES = {
    "G": "G2B2 d2B2|c2e2 d2B2|G2B2 d2g2|f2a2 g4:|\n|:b2g2 d2B2|c2e2 A2c2|B2d2 G2B2|A4 G4:|",
    "D": "D2F2 A2d2|B2G2 A2F2|G2B2 A2F2|E4 D4:|\n|:d2f2 a2f2|g2e2 c2A2|d2c2 B2A2|F4 D4:|",
    "Am": "A2c2 e2c2|B2d2 g2d2|e2c2 A2c2|^G2B2 A4:|\n|:a2e2 c2e2|g2d2 B2d2|c2A2 B2^G2|A8:|",
}


def tune_in(key: str) -> Tune:
    return read_abc(f"X:1\nT:Trial\nM:4/4\nL:1/8\nK:{key}\n|:{TUNES[key]}\n")[0]


def solved(tune: Tune, tuning: str) -> Arrangement:
    instrument = read_instrument("nyckelharpa-3row", tuning)
    found = choose_fingering(tune, instrument, HAND, whole_notes_per_second=SPEED)
    return Arrangement(
        tune, instrument, HAND, Limits(), found.notes, found.drone, cost=found.cost,
        terms=found.terms, whole_notes_per_second=SPEED,
    )  # fmt: skip


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
@pytest.mark.parametrize("key", TUNES)
@pytest.mark.parametrize("kind", ["open", "held", "substitution"])
def test_chosen_drones_pass(tuning: str, key: str, kind: str) -> None:
    tune = tune_in(key)
    instrument = read_instrument("nyckelharpa-3row", tuning)
    assert verify_arrangement(arrange(tune, instrument, HAND, drones=kind)) == ()


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
@pytest.mark.parametrize("key", TUNES)
def test_accompaniments_pass(tuning: str, key: str) -> None:
    tune = tune_in(key)
    instrument = read_instrument("nyckelharpa-3row", tuning)
    part = accompaniment_tune(
        tune, choose_chords(tune), instrument, HAND, whole_notes_per_second=SPEED
    )
    arrangement = solved(part, tuning)
    assert arrangement.notes and verify_arrangement(arrangement) == ()


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
@pytest.mark.parametrize("key", TUNES)
def test_shapes_and_their_changes_pass(tuning: str, key: str) -> None:
    tune = tune_in(key)
    instrument = read_instrument("nyckelharpa-3row", tuning)
    changes = hardest_changes(choose_chords(tune), instrument, HAND, most=9)
    drill = chord_drill(changes, "changes", tune.key)
    assert drill is not None
    for change in changes:
        for span in (change.before, change.after):
            pinned = _one_shape(drill, span.shape)
            arrangement = solved(pinned, tuning)
            assert verify_arrangement(arrangement) == ()
            assert arrangement.notes[0].stops == span.shape
    assert verify_arrangement(solved(drill, tuning)) == ()


def _one_shape(drill: Tune, shape) -> Tune:  # type: ignore[no-untyped-def]
    """One note that asks for just this shape, its fingers pinned."""
    first = drill.bars[0].notes[0]
    notes = {
        tuple(pitch.midi for pitch in note.pitches): note
        for bar in drill.bars
        for note in bar.notes
    }
    note = notes[tuple(stop.midi for stop in shape)]
    fingers = tuple(stop.finger for stop in shape)
    note = replace(note, onset=first.onset, finger_pins=fingers)
    bar = replace(drill.bars[0], notes=(note,))
    return replace(drill, bars=(bar,), played=(0,))


@pytest.mark.parametrize("string", [2, 3, 4])
def test_drone_drills_pass(string: int) -> None:
    instrument = read_instrument("nyckelharpa-3row", "CGDA")
    for make in (open_drone_drill, held_drone_drill):
        drill = make(instrument, string, "drill")
        if drill is None:
            assert string == 2
            continue
        answer = arrange(drill, instrument, HAND, drones="substitution")
        assert answer.drones_asked and answer.drone
        assert verify_arrangement(answer) == ()
