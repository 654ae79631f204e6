"""Chords written beside a tune, a symbol or more by bar."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.model.book import TuneChoice
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.choices import apply_choice
from tunebook.solve.harmony.chords import own_chords

HEAD = "X:1\nT:T\nM:{}\nL:1/8\nK:D\n"
WALTZ = HEAD.format("3/4") + 'A2|:"G"d2 f2 a2|f4 "A7"e2:|1 d6:|2 d2 z4|]\n'


def with_chords(text: str, line: str) -> tuple[Tune, list[str]]:
    tune, messages = apply_choice(read_abc(text)[0], TuneChoice("a.abc:1", chords=line))
    return tune, [str(message) for message in messages]


def placed(tune: Tune) -> list[tuple[str, Fraction]]:
    start = next(bar.onset for bar in tune.bars if bar.number == 1)
    return [(span.chord.symbol, span.onset - start) for span in own_chords(tune)]


def test_a_symbol_holds_through_its_bar_and_replaces_the_tunes_own() -> None:
    tune, messages = with_chords(WALTZ, "D | A7 | D | D")
    assert messages == []
    symbols = [symbol for symbol, _ in placed(tune)]
    assert "G" not in symbols
    assert ("A7", Fraction(3, 4)) in placed(tune)


@pytest.mark.parametrize(
    ("meter", "music", "line", "beats"),
    [
        ("4/4", "d2 e2 f2 g2", "D G", [0, Fraction(1, 2)]),
        ("4/4", "d8", "D G A D", [0, Fraction(1, 4), Fraction(1, 2), Fraction(3, 4)]),
        ("3/4", "d2 e2 f2", "D . A7", [0, Fraction(1, 2)]),
        ("6/8", "def gab", "D A", [0, Fraction(3, 8)]),
        ("C|", "d4 e4", "D A", [0, Fraction(1, 2)]),
        ("2+3/8", "de fga", "D A", [0, Fraction(1, 4)]),
    ],
)
def test_symbols_share_the_beats_of_the_metre(
    meter: str, music: str, line: str, beats: list[Fraction]
) -> None:
    tune, messages = with_chords(f"{HEAD.format(meter)}{music}|]\n", line)
    assert messages == []
    assert [onset for _, onset in placed(tune)] == beats


def test_bar_lines_at_the_ends_and_signs_of_repeats_may_be_written() -> None:
    plain = with_chords(WALTZ, "D | A7 | D | D")[0]
    assert with_chords(WALTZ, "|: D | A7 | D :| D |]")[0] == plain


def test_an_empty_bar_goes_on_with_the_chord_before() -> None:
    tune, messages = with_chords(WALTZ, "D | | A7 | D")
    assert messages == []
    assert [bar.notes[0].chord is None for bar in tune.bars if bar.number == 2] == [True]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("D | A7", "there are 2 bars of chords, and the tune has 4 bars; write one for each bar"),
        ("D | A7 D | D | D", "bar 2 has 2 chords and 3 beats; write a symbol or a dot for each"),
        ("D | Qx | D | D", "'Qx' in bar 2 is no chord symbol; write D, Em, A7 or D/F#"),
    ],
)
def test_a_line_that_does_not_fit_is_said_and_the_tunes_own_chords_stay(
    line: str, said: str
) -> None:
    tune, messages = with_chords(WALTZ, line)
    assert len(messages) == 1
    assert said in messages[0] and messages[0].endswith("the tune's own are used")
    assert tune == read_abc(WALTZ)[0]


def test_a_title_of_the_settings_is_printed_instead() -> None:
    text = WALTZ.replace("T:T", "T:T\nT:Also")
    tune, _ = apply_choice(read_abc(text)[0], TuneChoice("a.abc:1", title="Another"))
    assert tune.titles == ("Another", "Also")
