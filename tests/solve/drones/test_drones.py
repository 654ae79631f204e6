"""Drones: consonance, phrases, pins, held keys, explanations."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.model.book import HandChoice, TuneChoice
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.drones.consonance import consonance_table
from tunebook.solve.drones.explain import explain_drones
from tunebook.solve.drones.phrases import drone_phrases
from tunebook.solve.drones.places import midi_of_name
from tunebook.solve.second_opinion.pricing import verify_arrangement
from tunebook.solve.transpose import transpose_tune

HEAD = "X:1\nT:Trial\nM:4/4\nL:1/8\nK:{}\n"
IN_D = HEAD.format("D") + "|:d2f2 a2f2|g2f2 e2d2|d2f2 a2f2|e4 d4:|\n"
LOW_IN_D = HEAD.format("D") + "|:D2F2 A2F2|G2F2 E2D2|D2F2 A2F2|E4 D4:|\n"
IN_G = HEAD.format("G") + "|:G2B2 d2B2|c2B2 A2G2|G2B2 d2B2|A4 G4:|\n"
IN_E_MINOR = HEAD.format("Em") + "|:B2^c2 d2B2|e2d2 B4|B2^c2 d2e2|d2^c2 B4:|\n"


def tune_of(text: str) -> Tune:
    return read_abc(text)[0]


@pytest.fixture(scope="module")
def harpa() -> Instrument:
    return read_instrument("nyckelharpa-3row", "CGDA")


@pytest.fixture(scope="module")
def player() -> Hand:
    return read_hand(HandChoice())


def strings_of(answer: Arrangement) -> list[list[int]]:
    return [[stop.string_index for stop in one.stops] for one in answer.notes]


def shifts_of(answer: Arrangement) -> int:
    return sum("shift" in one.ways for one in answer.notes)


def test_unison_is_the_most_consonant_and_the_semitone_the_harshest() -> None:
    table = consonance_table()
    assert table.scaled(table.of_interval(12)) == 1.0
    assert table.scaled(table.of_interval(11)) == 0.0


def test_interval_and_its_inversion_are_alike() -> None:
    table = consonance_table()
    for semitones in range(12):
        assert table.of_interval(semitones) == table.of_interval(-semitones)


def test_no_drones_when_none_are_asked_for(harpa: Instrument, player: Hand) -> None:
    for kind, limits in (("none", Limits()), ("held", Limits(allows_drone=False))):
        answer = arrange(tune_of(IN_D), harpa, player, limits, drones=kind)
        assert answer.drone == () and answer.drones_asked == ()


def test_demands_follow_one_another_within_the_tune(harpa: Instrument, player: Hand) -> None:
    parts = "|:G2B2 d2B2|c2B2 A2G2|G2B2 d2B2|A4 G4:|\n|:a2^c'2 e'2c'2|a2c'2 e'2c'2|a8|a8:|\n"
    tune = tune_of(HEAD.format("G") + parts)
    for kind in ("open", "held", "substitution"):
        demands = arrange(tune, harpa, player, drones=kind).drones_asked
        end = tune.bars[-1].onset + tune.bars[-1].duration
        assert demands and all(a.end <= b.onset for a, b in itertools.pairwise(demands))
        assert all(d.onset >= 0 and d.end <= end for d in demands)


def test_phrases_are_parts_of_four_measures_at_most() -> None:
    body = "G2B2 d2B2|" * 8
    assert [len(p.bars) for p in drone_phrases(tune_of(HEAD.format("G") + body + "]\n"))] == [4, 4]
    assert len(drone_phrases(tune_of(IN_G))) == 1


def test_phrases_cover_the_tune_without_gaps() -> None:
    tune = tune_of(HEAD.format("G") + "|:d|" + "G2B2 d2B2|" * 3 + "1G7:|2G7||A|G8|z8|]\n")
    phrases = drone_phrases(tune)
    assert phrases[0].onset == tune.bars[0].onset
    assert all(a.end == b.onset for a, b in itertools.pairwise(phrases))
    assert [bar for phrase in phrases for bar in phrase.bars] == list(tune.bars)


@pytest.mark.parametrize("kind", ["held", "substitution"])
@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
@pytest.mark.parametrize("text", [IN_D, LOW_IN_D, IN_G, IN_E_MINOR])
def test_a_held_key_moves_no_note_and_adds_no_shift(
    text: str, tuning: str, kind: str, player: Hand
) -> None:
    harpa = read_instrument("nyckelharpa-3row", tuning)
    bare = arrange(tune_of(text), harpa, player, drones="none")
    answer = arrange(tune_of(text), harpa, player, drones=kind)
    assert strings_of(answer) == strings_of(bare)
    assert shifts_of(answer) <= shifts_of(bare)
    assert verify_arrangement(answer) == ()


def test_a_key_is_held_through_a_phrase_where_no_open_string_does_as_well(player: Hand) -> None:
    harpa = read_instrument("nyckelharpa-3row", "CGCA")
    tune = tune_of(HEAD.format("D") + "|:B4 A4|^c4 A4|d4 B4|A8:|\n")
    answer = arrange(tune, harpa, player, drones="held")
    assert {(span.stop.midi, span.stop.finger) for span in answer.drone} == {(62, 1)}
    assert answer.cost_with_drones > answer.cost
    assert answer.difficulty_with_drones > answer.difficulty
    assert arrange(tune, harpa, player, drones="open").drone == ()


def test_pin_in_the_tune_decides_and_its_finger_stays(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(IN_E_MINOR.replace("|:B2", "|:[r:drone E4 finger 1]B2"))
    for kind in ("open", "held"):
        answer = arrange(tune, harpa, player, drones=kind)
        (demand,) = answer.drones_asked
        assert (demand.string_index, demand.key, demand.finger) == (3, 2, 1)
        assert {span.stop.finger for span in answer.drone} == {1}
        assert strings_of(answer) == strings_of(arrange(tune, harpa, player, drones="none"))


def test_a_strict_pin_bends_the_melody_where_another_pauses(
    harpa: Instrument, player: Hand
) -> None:
    text = HEAD.format("D") + "|:[r:drone D4{}]E2F2 G2A2|B2A2 G2F2|E2F2 G2A2|A8:|\n"
    loose, strict = (arrange(tune_of(text.format(word)), harpa, player) for word in ("", " strict"))
    bare = arrange(tune_of(text.format("")), harpa, player, drones="none")
    assert loose.notes == bare.notes
    assert strings_of(strict) != strings_of(bare)

    def heard(answer: Arrangement) -> Fraction:
        return sum((span.duration for span in answer.drone), Fraction(0))

    # The G string's keys end below the three G4, which only the D string has.
    assert heard(strict) == Fraction(13, 4) > heard(loose) > 0
    assert strict.drones_asked[0].is_strict
    assert verify_arrangement(loose) == verify_arrangement(strict) == ()
    assert loose.difficulty == strict.difficulty == bare.difficulty


def test_pin_off_ends_the_drone(harpa: Instrument, player: Hand) -> None:
    text = IN_D.replace("|:d2", "|:[r:drone D4]d2").replace("|e4 d4", "|[r:drone off]e4 d4")
    answer = arrange(tune_of(text), harpa, player)
    (demand,) = answer.drones_asked
    assert (demand.onset, demand.end) == (0, 3)
    assert [(span.onset, span.duration) for span in answer.drone] == [(0, 3)]


def test_a_pin_rules_from_its_note_to_the_next_one(harpa: Instrument, player: Hand) -> None:
    body = IN_D.split("K:D\n")[1].rstrip("\n").replace("|:", "|").replace(":|", "|")
    whole = HEAD.format("D") + body + body.replace("d2f2 a2f2", "[r:drone G3]D2F2 A2F2", 1) + "\n"
    for kind in ("open", "held"):
        plain = arrange(tune_of(whole.replace("[r:drone G3]", "")), harpa, player, drones=kind)
        pinned = arrange(tune_of(whole), harpa, player, drones=kind)
        assert {span.stop.midi for span in pinned.drone if span.onset < 4} == {62}
        assert {span.stop.midi for span in pinned.drone if span.onset >= 4} == {55}
        first = [span for span in plain.drone if span.onset < 4]
        assert first and pinned.drone[0].onset == first[0].onset
        assert verify_arrangement(pinned) == ()


def test_after_off_there_is_silence_and_after_free_the_program_chooses(
    harpa: Instrument, player: Hand
) -> None:
    text = IN_D.replace("|:d2", "|:[r:drone off]d2", 1).replace("|d2f2", "|[r:drone {}]d2f2", 1)
    for word, onsets in (("off", []), ("free", [2])):
        answer = arrange(tune_of(text.format(word)), harpa, player)
        assert [span.onset for span in answer.drone] == onsets


def test_a_strict_drone_can_be_chosen_in_the_book(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(HEAD.format("D") + "|:E2F2 G2A2|B2A2 G2F2|E2F2 G2A2|A8:|\n")
    loose = TuneChoice("a.abc:1", drone="D4")
    strict = replace(loose, is_drone_strict=True)
    first, second = (arrange(tune, harpa, player, choice=one) for one in (loose, strict))
    assert strings_of(first) != strings_of(second)
    assert second.drones_asked[0].is_strict


def test_choice_of_the_book_decides(harpa: Instrument, player: Hand) -> None:
    choice = TuneChoice("a.abc:1", drone="A3", drone_finger=1)
    answer = arrange(tune_of(LOW_IN_D), harpa, player, choice=choice)
    (demand,) = answer.drones_asked
    assert (demand.string_index, demand.key, demand.finger) == (2, 2, 1)
    silent = arrange(tune_of(IN_D), harpa, player, choice=replace(choice, drone="none"))
    assert silent.drones_asked == () and silent.drone == () and silent.messages == ()


def test_impossible_pin_is_said_and_the_best_drone_taken(harpa: Instrument, player: Hand) -> None:
    choice = TuneChoice("a.abc:1", drone="C1")
    answer = arrange(tune_of(IN_D), harpa, player, choice=choice)
    assert answer.drone and "does not exist" in answer.messages[0].what


def test_a_pinned_drone_that_never_sounds_is_said(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(IN_D.replace("|:d2", "|:[r:drone C3]d2"))
    (message,) = arrange(tune, harpa, player).messages
    assert message.what == ("bars 1-4: the drone C3 sounds nowhere, the melody lies away from it")
    assert "strict" in message.remedy


def test_edition_without_held_keys_refuses_the_pin_of_one(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(IN_E_MINOR.replace("|:B2", "|:[r:drone E4]B2"))
    answer = arrange(tune, harpa, player, Limits(allows_held_drone=False))
    assert "this edition holds no keys" in answer.messages[0].what


def test_pitch_names_are_read() -> None:
    assert [midi_of_name(n) for n in ("D4", "F#4", "Bb3", "c5")] == [62, 66, 58, 72]
    assert midi_of_name("H4") is None and midi_of_name("D") is None


def test_explanation_ranks_the_open_strings_of_each_phrase(harpa: Instrument, player: Hand) -> None:
    lines = explain_drones(arrange(tune_of(IN_D), harpa, player))
    assert lines[:2] == ("in the book: D4, open D string, bars 1-4", "bars 1-4:")
    assert lines[2].startswith("  1. D4, open D string: worth ")
    assert lines[2].endswith("[in the book for 100%]")
    assert not any("silence" in line for line in lines)


def test_explanation_says_why_there_is_silence(harpa: Instrument, player: Hand) -> None:
    lines = explain_drones(arrange(tune_of(IN_E_MINOR), harpa, player))
    assert lines[0] == "no drone in the book"
    assert any("neither keynote nor fifth" in line for line in lines)
    assert lines[-1].startswith("  silence: 100% of the phrase: ")


def test_tune_of_rests_has_no_drone(harpa: Instrument, player: Hand) -> None:
    tune = tune_of(IN_D)
    silent = replace(tune, bars=tuple(replace(bar, notes=()) for bar in tune.bars))
    for kind in ("open", "held"):
        assert arrange(silent, harpa, player, drones=kind).drone == ()


@pytest.mark.parametrize("semitones", [0, -7])
def test_a_pinned_drone_that_goes_on_from_before_is_not_said_to_be_silent(
    harpa: Instrument, player: Hand, semitones: int
) -> None:
    music = "d2f2a2|d2f2a2|f2e2d2|d2f2A2|[r:drone D4]d6|]\n"
    tune = transpose_tune(tune_of(HEAD.format("D").replace("4/4", "3/4") + music), semitones)
    answer = arrange(tune, harpa, player, drones="open")
    last = answer.drone[-1]
    assert last.onset < 3 < last.onset + last.duration and last.stop.midi == 62 + semitones
    assert answer.messages == ()


def test_a_key_held_unasked_sounds_in_two_pieces_of_a_phrase_at_most() -> None:
    """The second part moves to and fro across the string of a held G; the third does not."""
    text = (
        "X:1\nT:To and fro\nR:schottis\nM:4/4\nL:1/8\nQ:1/2=76\nK:G\n"
        '"G"G2 B>G d2 B>G|"C"E2 c>B A2 c2|"D7"d>c A>F D>F A2|"G"G2 B>A G4||'
        'c>d|"C"e2 e>c G>E c2|"G"d2 d>B G>D B2|"D7"c2 c>A F>D A2|"G"B>G "A7"A>^c "D"d2 d2||'
        '"G"B2 d2 g2 d2|b2 g2 d2 B2|"D7"c2 d2 f2 a2|"G"g2 d2 B4|]\n'
    )
    harpa = read_instrument("nyckelharpa-3row", "CGDA")
    tune = read_abc(text)[0]
    answer = arrange(tune, harpa, read_hand(), drones="held")
    for phrase in drone_phrases(tune):
        inside = [one for one in answer.drone if phrase.onset <= one.onset < phrase.end]
        starts = [
            one
            for one in inside
            if one.stop.key
            and not any(other.onset + other.duration == one.onset for other in inside)
        ]
        assert len(starts) <= 2, phrase.bars[0].number
