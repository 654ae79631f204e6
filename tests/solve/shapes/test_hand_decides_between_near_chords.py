"""Among chords of nearly equal probability the one with the better shape and nearer change wins."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan
from tunebook.model.book import HandChoice
from tunebook.model.tune import ChordSymbol
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.shapes.accompaniment import change_cost
from tunebook.solve.shapes.shapes import choose_shapes

HARPA = read_instrument("nyckelharpa-3row", "CGDA")
HAND = read_hand(HandChoice())
PLACE = SourcePlace("trial.abc", 1)
G = ChordSymbol(PLACE, "G", 4, 0, "major")
A = ChordSymbol(PLACE, "A", 5, 0, "major")
D = ChordSymbol(PLACE, "D", 1, 0, "major")
A_FLAT = ChordSymbol(PLACE, "Ab", 5, -1, "major")
B_FLAT = ChordSymbol(PLACE, "Bb", 6, -1, "major")
TUNE = "X:1\nT:Trial\nM:4/4\nL:1/8\nK:{}\n|:FG|A2F2A2d2|B2G2B2d2|c2A2c2e2|d2f2d2FG|E4A4|d4d2:|\n"


def span(number: int, chord: ChordSymbol, *near: tuple[ChordSymbol, float]) -> ChordSpan:
    others = tuple((one.symbol, share) for one, share in near)
    return ChordSpan(
        number, Fraction(number), Fraction(1), chord, "solved", 0.45, (), others, near
    )  # fmt: skip


def test_nearly_as_likely_chord_with_the_easier_shapes_is_taken() -> None:
    chords = [span(0, G), span(1, A_FLAT, (D, 0.44)), span(2, G)]
    found = choose_shapes(chords, HARPA, HAND, strings=(2,))
    plain = choose_shapes([replace(one, near=()) for one in chords], HARPA, HAND, strings=(2,))
    assert found[1].chord == D and found[1].confidence == 0.44
    assert found[1].alternatives == (("Ab", 0.45),)

    def moved(spans: tuple[ChordSpan, ...]) -> float:
        return sum(
            change_cost(one.shape, other.shape, HARPA, HAND, time_s=2.0)
            for one, other in itertools.pairwise(spans)
        )

    assert moved(found) < moved(plain)


def test_chord_of_a_neighbour_is_not_taken_for_the_sake_of_the_hand() -> None:
    chords = [span(0, G), span(1, B_FLAT, (G, 0.44)), span(2, A)]
    assert choose_shapes(chords, HARPA, HAND)[1].chord == B_FLAT


def test_only_editions_with_shapes_or_accompaniment_let_the_hand_decide() -> None:
    for key in ("D", "Dm", "G"):
        tune = read_abc(TUNE.format(key))[0]
        plain = arrange(tune, HARPA, HAND, drones="none")
        shaped = arrange(tune, HARPA, HAND, drones="none", shapes=True)
        played = arrange(tune, HARPA, HAND, drones="none", accompaniment=True)
        assert [one.chord for one in played.chords] == [one.chord for one in shaped.chords]
        assert not any(one.near for one in (*shaped.chords, *played.chords))
        for one, other in zip(plain.chords, shaped.chords, strict=True):
            names = {one.chord.symbol, *(chord.symbol for chord, _ in one.near)}
            assert other.chord.symbol in names
