"""Bars of rest have neither drone nor proposed chord."""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.book import HandChoice, TuneChoice
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange

MUSIC = "X:1\nT:t\nM:2/4\nL:1/8\nQ:1/4=90\nK:D\n"
RESTING = "d2f2|a2f2|z4|x4|d2f2|z2f2|d4|]"


def arranged(music: str = RESTING, **choices):
    harpa = read_instrument("nyckelharpa-3row", "CGDA")
    tune = read_abc(MUSIC + music + "\n")[0]
    return arrange(tune, harpa, read_hand(HandChoice()), **choices)


def sounds_at(spans, time: Fraction) -> bool:
    return any(span.onset <= time < span.onset + span.duration for span in spans)


def test_drone_is_silent_through_bars_of_rest_and_sounds_over_shorter_rests() -> None:
    answer = arranged(choice=TuneChoice("t", drone="D4"))
    half = Fraction(1, 2)
    assert [sounds_at(answer.drone, half * bar) for bar in range(7)] == [
        True,
        True,
        False,
        False,
        True,
        True,
        True,
    ]
    assert all(span.duration > 0 for span in answer.drone)
    assert not any(span.is_taken_over for span in answer.drone if span.onset == 4 * half)


def test_solved_chords_pause_and_begin_anew_in_their_own_bars() -> None:
    answer = arranged()
    half = Fraction(1, 2)
    assert answer.chords
    for span in answer.chords:
        bar = answer.tune.bars[span.bar_index]
        assert bar.onset <= span.onset < bar.onset + bar.duration
    assert not sounds_at(answer.chords, 2 * half) and not sounds_at(answer.chords, 3 * half)
    assert any(span.onset == 4 * half for span in answer.chords)
    assert sounds_at(answer.chords, 5 * half)


def test_chords_of_the_tune_itself_stay_over_rests() -> None:
    answer = arranged('"D"d2f2|"A"z4|"G"z4|"D"d4|]')
    assert [span.chord.symbol for span in answer.chords] == ["D", "A", "G", "D"]
    assert all(span.source == "tune" for span in answer.chords)


def test_tune_without_bars_of_rest_keeps_its_spans() -> None:
    music = "d2f2|a2f2|d2f2|z2f2|d4|]"
    answer = arranged(music, choice=TuneChoice("t", drone="D4"))
    assert sum((span.duration for span in answer.drone), Fraction(0)) == Fraction(5, 2)
