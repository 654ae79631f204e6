"""Drones: consonance, candidates, phrases, pins."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction

import pytest

from tunebook.model.book import HandChoice, TuneChoice
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.drones.choose import _best_rows, choose_drone, rank_drones
from tunebook.solve.drones.explain import explain_drones
from tunebook.solve.drones.places import midi_of_name
from tunebook.solve.drones.trials import consonance, consonance_table, drone_phrases, weigh_tones
from tunebook.solve.fingering.choose import choose_fingering

SPEED = 0.5
HEAD = "X:1\nT:Trial\nM:4/4\nL:1/8\nK:{}\n"
IN_D = HEAD.format("D") + "|:d2f2 a2f2|g2f2 e2d2|d2f2 a2f2|e4 d4:|\n"
LOW_IN_D = HEAD.format("D") + "|:D2F2 A2F2|G2F2 E2D2|D2F2 A2F2|E4 D4:|\n"
IN_G = HEAD.format("G") + "|:G2B2 d2B2|c2B2 A2G2|G2B2 d2B2|A4 G4:|\n"
IN_A_MINOR = HEAD.format("Am") + "|:A2c2 e2c2|d2c2 B2A2|A2c2 e2c2|B4 A4:|\n"


def tune_of(text: str) -> Tune:
    return read_abc(text)[0]


@pytest.fixture(scope="module")
def harpa() -> Instrument:
    return read_instrument("nyckelharpa-3row", "CGDA")


@pytest.fixture(scope="module")
def player() -> Hand:
    return read_hand(HandChoice())


def test_unison_and_octave_are_the_most_consonant() -> None:
    tones = [0.0] * 12
    tones[2] = 1.0
    assert consonance(62, tones) == consonance(50, tones) == 1.0


def test_semitone_is_the_harshest() -> None:
    tones = [0.0] * 12
    tones[3] = 1.0
    assert consonance(62, tones) == 0.0


def test_interval_and_its_inversion_are_alike() -> None:
    table = consonance_table()
    for semitones in range(12):
        assert table.of_interval(semitones) == table.of_interval(-semitones)


def test_long_and_accented_tones_weigh_more() -> None:
    weights = weigh_tones(tune_of(HEAD.format("D") + "d4 A2 B2|]\n"))
    assert weights[2] > weights[9] == weights[11] > 0
    assert weights[2] > 2 * weights[9]


@pytest.mark.parametrize("text", [LOW_IN_D, IN_G, IN_A_MINOR])
@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_plain_tune_gets_tonic_or_fifth(text: str, tuning: str, player: Hand) -> None:
    tune = tune_of(text)
    instrument = read_instrument("nyckelharpa-3row", tuning)
    found = choose_drone(tune, instrument, player, whole_notes_per_second=SPEED)
    assert found.demands
    for demand in found.demands:
        midi = instrument.string(demand.string_index).open_midi + demand.key
        assert (midi - tune.key.tonic_class) % 12 in (0, 7)


def test_drone_out_of_the_hand_s_reach_is_not_chosen(player: Hand) -> None:
    """Far up the A string no finger can stay on a low key, and no other string lies beside it."""
    instrument = read_instrument("nyckelharpa-3row", "CGCA")
    found = choose_drone(tune_of(IN_D), instrument, player, whole_notes_per_second=SPEED)
    assert found.candidates and not found.demands


def test_candidates_are_ranked(harpa: Instrument, player: Hand) -> None:
    found = rank_drones(tune_of(IN_D), harpa, player, whole_notes_per_second=SPEED, tried=None)
    ranks = [(bool(one.why_not), -one.score) for one in found]
    assert ranks == sorted(ranks) and len(found) > 10


def test_open_kind_lists_open_strings_only(harpa: Instrument, player: Hand) -> None:
    found = rank_drones(
        tune_of(IN_D), harpa, player, whole_notes_per_second=SPEED, drones="open", tried=None
    )
    assert found and all(one.stop.key == 0 and one.stop.finger == 0 for one in found)


def test_held_drone_names_its_finger(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(HEAD.format("E") + "B2^c2 d2B2|B2^c2 d2B2|]\n")
    found = rank_drones(tune, harpa, player, whole_notes_per_second=SPEED, tried=None)
    held = next(one for one in found if one.stop.midi == 64 and one.stop.key)
    assert held.stop.finger in (1, 2, 3, 4) and f"finger {held.stop.finger}" in held.label


def test_no_drones_when_none_are_asked_for(harpa: Instrument, player: Hand) -> None:
    for kind, limits in (("none", Limits()), ("held", Limits(allows_drone=False))):
        found = choose_drone(
            tune_of(IN_D), harpa, player, limits, whole_notes_per_second=SPEED, drones=kind
        )
        assert found.demands == () and found.candidates == ()


def test_limits_without_held_drones_leave_open_strings(harpa: Instrument, player: Hand) -> None:
    limits = Limits(allows_held_drone=False)
    found = rank_drones(
        tune_of(IN_A_MINOR), harpa, player, limits, whole_notes_per_second=SPEED, tried=None
    )
    assert all(one.stop.key == 0 for one in found)


def test_demands_follow_one_another_within_the_tune(harpa: Instrument, player: Hand) -> None:
    parts = "|:G2B2 d2B2|c2B2 A2G2|G2B2 d2B2|A4 G4:|\n|:a2^c'2 e'2c'2|a2c'2 e'2c'2|a8|a8:|\n"
    tune = tune_of(HEAD.format("G") + parts)
    demands = choose_drone(tune, harpa, player, whole_notes_per_second=SPEED).demands
    end = tune.bars[-1].onset + tune.bars[-1].duration
    assert all(a.end <= b.onset for a, b in itertools.pairwise(demands))
    assert all(d.onset >= 0 and d.end <= end for d in demands)


def test_chosen_drone_can_be_solved_with_the_melody(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(IN_G)
    found = choose_drone(tune, harpa, player, whole_notes_per_second=SPEED)
    solved = choose_fingering(
        tune, harpa, player, whole_notes_per_second=SPEED, drone=found.demands
    )
    heard = sum((span.duration for span in solved.drone), Fraction(0))
    assert heard > sum((bar.duration for bar in tune.bars), Fraction(0)) / 2


def test_phrases_are_parts_of_eight_measures_at_most() -> None:
    body = "G2B2 d2B2|" * 16
    assert [len(p.bars) for p in drone_phrases(tune_of(HEAD.format("G") + body + "]\n"))] == [8, 8]
    assert len(drone_phrases(tune_of(IN_G))) == 1


def test_phrases_cover_the_tune_without_gaps() -> None:
    tune = tune_of(HEAD.format("G") + "|:d|" + "G2B2 d2B2|" * 3 + "1G7:|2G7||A|G8|z8|]\n")
    phrases = drone_phrases(tune)
    assert phrases[0].onset == tune.bars[0].onset
    assert all(a.end == b.onset for a, b in itertools.pairwise(phrases))
    assert [bar for phrase in phrases for bar in phrase.bars] == list(tune.bars)


def test_drone_changes_only_for_a_clear_gain() -> None:
    assert _best_rows([[3.0, 2.9], [2.9, 3.0]])[0] == [0, 0]
    assert _best_rows([[3.0, 1.0], [1.0, 3.0]])[0] == [0, 1]


def test_best_rows_equal_enumeration() -> None:
    rows = [[1.0, 1.4, 0.2], [0.3, 1.5, 1.2], [2.0, 0.9, 1.1], [0.1, 0.2, 1.3]]
    values = {
        path: sum(row[i] for row, i in zip(rows, path, strict=True))
        - 0.6 * sum(a != b for a, b in itertools.pairwise(path))
        for path in itertools.product(range(3), repeat=4)
    }
    path, value = _best_rows(rows)
    assert value == pytest.approx(max(values.values()))
    assert values[tuple(path)] == pytest.approx(value)


def test_pin_in_the_tune_decides(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(IN_G.replace("|:G2B2", "|:[r:drone E4 finger 2]G2B2"))
    (demand,) = choose_drone(tune, harpa, player, whole_notes_per_second=SPEED).demands
    assert harpa.string(demand.string_index).open_midi + demand.key == 64
    assert demand.finger == 2 and demand.duration == 4


def test_pin_off_ends_the_drone(harpa: Instrument, player: Hand) -> None:
    text = IN_G.replace("|:G2B2", "|:[r:drone D4]G2B2").replace("|A4 G4", "|[r:drone off]A4 G4")
    (demand,) = choose_drone(tune_of(text), harpa, player, whole_notes_per_second=SPEED).demands
    assert (demand.onset, demand.end) == (0, 3)


def test_choice_of_the_book_decides(harpa: Instrument, player: Hand) -> None:
    choice = TuneChoice("a.abc:1", drone="A3", drone_finger=1)
    found = choose_drone(tune_of(IN_D), harpa, player, whole_notes_per_second=SPEED, choice=choice)
    (demand,) = found.demands
    assert (demand.string_index, demand.key, demand.finger) == (2, 2, 1)
    silent = replace(choice, drone="none")
    found = choose_drone(tune_of(IN_D), harpa, player, whole_notes_per_second=SPEED, choice=silent)
    assert found.demands == () and found.messages == ()


def test_impossible_pin_is_said_and_the_best_drone_taken(harpa: Instrument, player: Hand) -> None:
    choice = TuneChoice("a.abc:1", drone="C1")
    found = choose_drone(tune_of(IN_D), harpa, player, whole_notes_per_second=SPEED, choice=choice)
    assert found.demands and "does not exist" in found.messages[0].what


def test_pitch_names_are_read() -> None:
    assert [midi_of_name(n) for n in ("D4", "F#4", "Bb3", "c5")] == [62, 66, 58, 72]
    assert midi_of_name("H4") is None and midi_of_name("D") is None


def test_explanation_has_a_line_for_each_candidate(harpa: Instrument, player: Hand) -> None:
    answer = arrange(tune_of(IN_D), harpa, player)
    lines = explain_drones(answer, answer.drone_candidates)
    assert lines[0] == "in the book: D4, open D string, bars 1-4"
    assert len(lines) == 1 + len(answer.drone_candidates)
    assert [line for line in lines[1:] if line.endswith("[in the book]")] == [lines[1]]
    assert lines[1].startswith("1. D4, open D string")


def test_other_drones_than_keynote_and_fifth_rank_last_with_the_reason(
    harpa: Instrument, player: Hand
) -> None:
    tune = tune_of(IN_A_MINOR)
    found = rank_drones(tune, harpa, player, whole_notes_per_second=SPEED, tried=None)
    intervals = [(one.stop.midi - tune.key.tonic_class) % 12 for one in found]
    taken = [not one.why_not for one in found]
    assert taken == sorted(taken, reverse=True) and not all(taken) and any(taken)
    for interval, is_taken, one in zip(intervals, taken, found, strict=True):
        assert is_taken <= (interval in (0, 7))
        assert is_taken or one.why_not


def test_explanation_without_drones_says_so(harpa: Instrument, player: Hand) -> None:
    answer = arrange(tune_of(IN_D), harpa, player, drones="none")
    assert explain_drones(answer, ()) == (
        "no drone in the book",
        "no drone goes with this tune on this instrument in this edition",
    )


def test_tune_of_rests_has_no_drone(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(IN_D)
    silent = replace(tune, bars=tuple(replace(bar, notes=()) for bar in tune.bars))
    assert choose_drone(silent, harpa, player, whole_notes_per_second=SPEED).demands == ()
