"""The harmoniser: slots, exact inference, spans."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest

from tunebook.errors import SourcePlace
from tunebook.model.tune import ChordSymbol, Key, Meter, Tune
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.abc.tune import read_abc
from tunebook.solve.harmony.chain import (
    chord_probabilities,
    degree_state,
    harmony_tables,
    states_of,
)
from tunebook.solve.harmony.chords import (
    choose_chords,
    explain_chords,
    slot_probabilities,
    solve_chords,
)
from tunebook.solve.harmony.names import chord_classes, solved_symbol
from tunebook.solve.harmony.slots import PHRASE_PLACES, harmony_slots, slot_length
from tunebook.solve.harmony.weighing import weighed

HEAD = "X:1\nT:Trial\nM:{meter}\nL:1/8\nK:{key}\n"
PLACE = SourcePlace("trial.abc", 1)
MARCH = (
    HEAD.format(meter="4/4", key="D")
    + "|:FG|A2F2A2d2|B2G2B2d2|c2A2c2e2|d2f2d2FG|A2F2A2d2|B2G2B2d2|c2e2A2c2|d4d2:|\n"
)


def tune_of(text: str) -> Tune:
    return read_abc(text)[0]


def symbols(tune: Tune) -> list[str]:
    return [span.chord.symbol for span in choose_chords(tune)]


def test_broken_triads_get_their_own_chords() -> None:
    assert symbols(tune_of(MARCH)) == ["D", "G", "A7", "D", "G", "A7", "D"]


@pytest.mark.parametrize("key, expected", [("G", "G"), ("Am", "Am"), ("Edor", "Em")])
def test_tune_ends_on_its_tonic(key: str, expected: str) -> None:
    tonic = {"G": "G", "Am": "A", "Edor": "E"}[key]
    fifth = {"G": "d", "Am": "e", "Edor": "B"}[key]
    body = f"{tonic}2{fifth}2 {tonic}2{fifth}2|" * 7 + f"{tonic}4 {tonic}4|]\n"
    assert symbols(tune_of(HEAD.format(meter="4/4", key=key) + body))[-1] == expected


@pytest.mark.parametrize(
    "meter, expected",
    [
        (Meter(4, 4), Fraction(1, 2)), (Meter(2, 2, "C|"), Fraction(1, 2)),
        (Meter(2, 4), Fraction(1, 4)), (Meter(3, 4), Fraction(1, 4)),
        (Meter(6, 8), Fraction(3, 8)), (Meter(9, 8), Fraction(3, 8)),
        (Meter(12, 8), Fraction(3, 8)), (Meter(3, 8), Fraction(3, 8)),
        (Meter(3, 2), Fraction(1, 2)), (Meter(0, 4), Fraction(1, 2)),
    ],
)  # fmt: skip
def test_slot_is_half_a_bar_or_a_beat(meter: Meter, expected: Fraction) -> None:
    assert slot_length(meter) == expected


def test_pickup_before_the_first_bar_has_no_slot() -> None:
    slots = harmony_slots(tune_of(MARCH))
    assert slots[0].onset == Fraction(1, 4)
    assert {slot.bar_index for slot in slots} == set(range(1, 9))


def test_pickup_of_a_later_section_keeps_the_chord_before() -> None:
    spans = choose_chords(tune_of(MARCH + "|:FG|A2F2A2d2|d2A2d2A2|c2e2A2c2|d4d2:|\n"))
    for before, after in itertools.pairwise(spans):
        assert before.onset + before.duration == after.onset


def test_bar_cut_in_two_by_a_repeat_makes_one_measure() -> None:
    text = HEAD.format(meter="4/4", key="G") + "G2B2d2B2|c2e2A2c2|B2G2:|d2B2|G2B2d2B2|G8|]\n"
    slots = harmony_slots(tune_of(text))
    assert [slot.duration for slot in slots] == [Fraction(1, 2)] * 9
    assert len({(slot.bar_index, slot.onset) for slot in slots}) == len(slots)


def test_second_ending_comes_from_the_bar_before_the_first() -> None:
    text = HEAD.format(meter="4/4", key="G") + "|:G2B2d2B2|c2e2A2c2|1d2f2a2f2:|2G4G4|]\n"
    slots = harmony_slots(tune_of(text))
    first = next(i for i, slot in enumerate(slots) if slot.bar_index == 3)
    assert slots[slots[first].parent].bar_index == 1


def test_both_endings_are_the_last_bar_of_the_phrase() -> None:
    text = HEAD.format(meter="4/4", key="G") + "|:G2B2d2B2|c2e2A2c2|1d2f2a2f2:|2G4G4|]\n"
    places = {
        slot.bar_index: PHRASE_PLACES[slot.phrase_place] for slot in harmony_slots(tune_of(text))
    }
    assert places[2] == places[3] == "last bar late"


def test_dominant_seventh_only_where_the_root_falls_a_fifth() -> None:
    spans = choose_chords(tune_of(MARCH))
    for span, after in itertools.pairwise(spans):
        if span.chord.extension == "7":
            assert (after.chord.root_class - span.chord.root_class) % 12 == 5
    assert not any(s.chord.symbol == "D7" for s in spans)


def test_own_symbols_are_kept_and_last_until_the_next() -> None:
    text = HEAD.format(meter="4/4", key="D") + '"D"A4 d4|B4 "G"d4|"A7"c4 e4|"D"d8|]\n'
    spans = choose_chords(tune_of(text))
    assert [(s.chord.symbol, s.duration) for s in spans] == [
        ("D", Fraction(3, 2)), ("G", Fraction(1, 2)), ("A7", Fraction(1)), ("D", Fraction(1)),
    ]  # fmt: skip
    assert {s.source for s in spans} == {"tune"} and {s.confidence for s in spans} == {1.0}


def test_second_ending_without_symbol_goes_on_from_before_the_first() -> None:
    text = HEAD.format(meter="4/4", key="D") + '|:"D"A4 d4|"G"B4 d4|1"A7"c4 e4:|2d8|]\n'
    spans = choose_chords(tune_of(text))
    assert spans[-1].chord.symbol == "G" and spans[-1].bar_index == 3


def sources(text: str) -> list[tuple[str, Fraction, Fraction, str]]:
    return [
        (s.source, s.onset, s.onset + s.duration, s.chord.symbol)
        for s in choose_chords(tune_of(text))
    ]


def test_lone_symbol_stays_and_holds_for_its_measure() -> None:
    text = MARCH.replace("|:FG|A2", '|:FG|"Bm"A2')
    found = sources(text)
    start = Fraction(1, 4)  # after the pickup
    assert found[0] == ("tune", start, start + 1, "Bm")
    assert {source for source, *_ in found[1:]} == {"solved"}
    assert found[-1][3] == "D" and found[-1][2] == tune_of(text).bars[-1].onset + Fraction(3, 4)


PART = '|:"D"d4 f4|"G"g4 b4|"A7"e4 c4|"D"d8:|'


def test_part_without_symbols_is_solved_beside_one_that_has_them() -> None:
    text = HEAD.format(meter="4/4", key="D") + PART + "|:f4 a4|g4 b4|a4 c4|d8:|\n"
    found = sources(text)
    assert [source for source, start, *_ in found if start < 4] == ["tune"] * 4
    later = [source for source, start, *_ in found if start >= 4]
    assert later and set(later) == {"solved"}


def test_sparse_symbols_are_not_overwritten() -> None:
    one_holds_long = '|:"D"d4 f4|g4 b4|e4 c4|d8|e4 f4|"A7"g4 e4|c4 A4|"D"d8:|\n'
    second_part = '|:"G"g4 b4|g4 d4|"D"d8|f8:|\n'
    text = HEAD.format(meter="4/4", key="D") + one_holds_long + second_part
    assert {source for source, *_ in sources(text)} == {"tune"}


def test_last_symbol_of_a_section_holds_four_measures_and_no_further() -> None:
    text = HEAD.format(meter="4/4", key="D") + '|:"D"d4 "A7"e4|' + "d4 f4|" * 7 + "d4 d4:|\n"
    found = sources(text)
    assert [(s, a, b) for s, a, b, _ in found if s == "tune"] == [
        ("tune", 0, Fraction(1, 2)), ("tune", Fraction(1, 2), 4),
    ]  # fmt: skip
    assert found[2][0] == "solved" and found[2][1] == 4


def test_chord_holds_on_where_the_next_section_has_its_symbol_within_a_measure() -> None:
    text = HEAD.format(meter="4/4", key="D") + PART + '|:d4 f4|"G"g4 b4|"A7"a4 c4|"D"d8:|\n'
    found = sources(text)
    assert {source for source, *_ in found} == {"tune"} and ("tune", 3, 5, "D") in found


def test_symbol_before_a_bar_sign_begins_on_the_last_beat() -> None:
    text = HEAD.format(meter="4/4", key="D") + '"A"A8"D"|"E"e8|"G"g6 "A"a2 "D"|d8|]\n'
    assert [(a, symbol) for _, a, _, symbol in sources(text)] == [
        (Fraction(0), "A"), (Fraction(3, 4), "D"), (Fraction(1), "E"), (Fraction(2), "G"),
        (Fraction(11, 4), "A"), (Fraction(23, 8), "D"),
    ]  # fmt: skip


def test_chords_beside_given_ones_equal_enumeration() -> None:
    text = HEAD.format(meter="4/4", key="D") + '"Bm"d8|f4 a4|"F#dim"c4 e4|]\n'
    tune = tune_of(text)
    slots = harmony_slots(tune)
    given = [solved_symbol(11, "minor", slots[0].key, PLACE), None, None]
    given = [given[0]] * 2 + [None] * (len(slots) - 2)
    free = slot_probabilities(tune, slots)
    fixed = slot_probabilities(tune, slots, given)
    scores, steps = weighed(tune, slots)
    states = range(24)
    weights = np.zeros((len(slots), 24))
    for labels in itertools.product(*([[23]] * 2 + [states] * (len(slots) - 2))):
        total = sum(scores[i, label] for i, label in enumerate(labels))
        total += sum(steps[i][labels[i - 1], labels[i]] for i in range(1, len(labels)))
        for i, label in enumerate(labels):
            weights[i, label] += np.exp(total)
    assert np.allclose(fixed, weights / weights.sum(axis=1, keepdims=True))
    assert not np.allclose(free, fixed)


def test_given_chords_of_other_kinds_stand_for_the_nearest_of_ours() -> None:
    wanted = {"C#dim": {18}, "C#m7b5": {9}, "Gsus4": {14, 15}, "Caug": {0}, "Bm7": {23}, "F": {10}}
    for text, states in wanted.items():
        chord = read_chord_symbol(text, PLACE)
        assert chord is not None and set(states_of(chord)) == states


def test_probabilities_equal_enumeration() -> None:
    generator = np.random.default_rng(4)
    scores = np.full((4, 24), -60.0)
    scores[:, :4] = generator.normal(size=(4, 4))
    steps = [generator.normal(size=(24, 24)) for _ in range(4)]
    parents = [-1, 0, 1, 1]
    totals = np.zeros((4, 24))
    for labels in itertools.product(range(4), repeat=4):
        value = sum(scores[i, labels[i]] for i in range(4)) + sum(
            steps[i][labels[parents[i]], labels[i]] for i in range(1, 4)
        )
        for index in range(4):
            totals[index, labels[index]] += np.exp(value)
    expected = totals / totals.sum(axis=1, keepdims=True)
    assert np.allclose(chord_probabilities(scores, steps, parents), expected, atol=1e-9)


def test_probabilities_sum_to_one_in_every_slot() -> None:
    tune = tune_of(MARCH)
    rows = slot_probabilities(tune, harmony_slots(tune))
    assert np.allclose(rows.sum(axis=1), 1.0)


def test_transposed_tune_gets_transposed_chords() -> None:
    first = solve_chords(tune_of(MARCH))
    shifted = tune_of(
        HEAD.format(meter="4/4", key="G")
        + "|:Bc|d2B2d2g2|e2c2e2g2|f2d2f2a2|g2b2g2Bc|d2B2d2g2|e2c2e2g2|f2a2d2f2|g4g2:|\n"
    )
    moved = solve_chords(shifted)
    assert [(s.chord.root_class + 5) % 12 for s in first] == [s.chord.root_class for s in moved]
    assert [s.confidence for s in first] == pytest.approx([s.confidence for s in moved])


def test_mixolydian_tune_uses_the_flat_seventh() -> None:
    body = "A2c2e2c2|A2c2e2c2|G2B2d2B2|G2B2d2B2|A2c2e2c2|A2c2e2a2|G2B2d2B2|A4A4|]\n"
    assert "G" in symbols(tune_of(HEAD.format(meter="4/4", key="Amix") + body))


def test_minor_tune_with_raised_seventh_uses_the_major_dominant() -> None:
    body = "A2c2e2c2|A2c2e2a2|^G2B2e2B2|^G2B2e2^g2|a2e2c2e2|A2c2e2c2|^G2B2e2B2|A4A4|]\n"
    found = symbols(tune_of(HEAD.format(meter="4/4", key="Am") + body))
    assert "E7" in found and "G" not in found


def test_minor_tune_with_natural_seventh_uses_the_flat_seventh_chord() -> None:
    body = "A2c2e2c2|A2c2e2a2|G2B2d2B2|G2B2d2g2|a2e2c2e2|A2c2e2c2|G2B2d2B2|A4A4|]\n"
    found = symbols(tune_of(HEAD.format(meter="4/4", key="Am") + body))
    assert any(symbol.startswith("G") for symbol in found)


def test_roots_are_spelled_in_the_key() -> None:
    flats = Key(fifths=-2, tonic_step=6, tonic_alter=-1)
    sharps = Key(fifths=3, tonic_step=5)
    assert solved_symbol(3, "major", flats, PLACE).symbol == "Eb"
    assert solved_symbol(6, "minor", sharps, PLACE).symbol == "F#m"
    assert solved_symbol(8, "major", Key(fifths=0, tonic_step=5), PLACE).symbol == "Ab"


def test_chord_tones_follow_quality_and_extension() -> None:
    assert chord_classes(ChordSymbol(PLACE, "D7", 1, 0, "major", "7")) == (2, 6, 9, 0)
    assert chord_classes(ChordSymbol(PLACE, "Bm7b5", 6, 0, "diminished", "7")) == (11, 2, 5, 9)
    assert chord_classes(ChordSymbol(PLACE, "Dsus4", 1, 0, "other", "sus4")) == (2, 7, 9)


def test_degree_names_number_the_states() -> None:
    assert [degree_state(name) for name in ("I", "i", "bVII", "ii", "V")] == [0, 1, 20, 5, 14]
    assert harmony_tables().prior.shape == (4, 24)


def test_explanation_names_bars_and_how_sure() -> None:
    lines = explain_chords(tune_of(MARCH), choose_chords(tune_of(MARCH)), 1, 4)
    assert lines[0].startswith("bar 1: D, ") and "sure" in lines[0]
    assert not any(line.startswith("bar 5") for line in lines)


def test_tune_without_a_key_is_heard_on_its_last_note() -> None:
    body = "A2c2 e2c2|G2B2 d2B2|A2c2 e2c2|A8|]\n"
    assert symbols(tune_of(HEAD.format(meter="4/4", key="none") + body))[-1] == "Am"


def test_tune_of_rests_and_one_note_is_harmonised_without_error() -> None:
    spans = choose_chords(tune_of(HEAD.format(meter="none", key="none") + "z8|C|]\n"))
    assert all(span.duration > 0 for span in spans)
