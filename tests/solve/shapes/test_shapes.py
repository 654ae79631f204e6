"""Chord shapes on the keybox and their sequence."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan
from tunebook.model.book import HandChoice
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import ChordSymbol
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.harmony.names import chord_classes
from tunebook.solve.shapes.shapes import (
    HIGHEST_KEY,
    Shape,
    choose_shapes,
    chord_shapes,
)

PLACE = SourcePlace("trial.abc", 1)
COMMON = ("C", "D", "E", "F", "G", "A", "Bb", "Dm", "Em", "Am", "Bm", "Gm", "Cm", "F#m")
TUNINGS = ("CGDA", "CGCA")


def chord(text: str) -> ChordSymbol:
    found = read_chord_symbol(text, PLACE)
    assert found is not None
    return found


def harpa(tuning: str = "CGDA") -> Instrument:
    return read_instrument("nyckelharpa-3row", tuning)


def hand(**choices: object) -> Hand:
    return read_hand(HandChoice(**choices))  # type: ignore[arg-type]


def spans(*texts: str) -> tuple[ChordSpan, ...]:
    return tuple(
        ChordSpan(index, Fraction(index), Fraction(1), chord(text))
        for index, text in enumerate(texts)
    )


@pytest.mark.parametrize("tuning", TUNINGS)
def test_common_triads_have_several_two_string_shapes(tuning: str) -> None:
    """Within seven keys, on three pairs of strings."""
    instrument, player = harpa(tuning), hand()
    for text in COMMON:
        shapes = chord_shapes(chord(text), instrument, player, strings=(2,))
        assert 4 <= len(shapes) <= 14, text


def check_that_a_hand_can_hold(shape: Shape, instrument: Instrument, player: Hand) -> None:
    strings = [stop.string_index for stop in shape.stops]
    assert strings == list(range(strings[0], strings[0] + len(strings)))
    pressed = [stop for stop in shape.stops if stop.key]
    assert len({stop.finger for stop in pressed}) == len(pressed)
    for stop in shape.stops:
        string = instrument.string(stop.string_index)
        assert 0 <= stop.key <= min(HIGHEST_KEY, string.key_count)
        assert stop.midi == string.open_midi + stop.key
        assert (stop.finger == 0) == (stop.key == 0)
    for a, b in itertools.combinations(sorted(pressed, key=lambda stop: stop.finger), 2):
        place_a_mm, place_b_mm = (
            instrument.string(stop.string_index).place_mm(stop.key) for stop in (a, b)
        )
        assert place_b_mm - place_a_mm <= player.span(a.finger, b.finger).max_practical_mm


@pytest.mark.parametrize("text", [*COMMON, "D7", "A7", "G7", "Bdim", "Dsus4", "D/F#"])
def test_every_shape_can_be_held_and_bowed(text: str) -> None:
    player = hand()
    wanted = {*chord_classes(chord(text)), *([6] if text == "D/F#" else [])}
    for instrument in map(harpa, TUNINGS):
        shapes = chord_shapes(chord(text), instrument, player)
        assert shapes, instrument.tuning_name
        for shape in shapes:
            check_that_a_hand_can_hold(shape, instrument, player)
            assert {stop.midi % 12 for stop in shape.stops} <= wanted


def test_shapes_of_three_strings_hold_the_whole_triad() -> None:
    for text, tuning in itertools.product(COMMON, TUNINGS):
        for shape in chord_shapes(chord(text), harpa(tuning), hand(), strings=(3, 4)):
            assert {stop.midi % 12 for stop in shape.stops} == set(chord_classes(chord(text)))
            assert shape.is_broken


@pytest.mark.parametrize("tuning", TUNINGS)
def test_four_strings_only_where_the_open_low_c_belongs(tuning: str) -> None:
    for text in COMMON:
        full = chord_shapes(chord(text), harpa(tuning), hand(), strings=(4,))
        assert not full or 0 in chord_classes(chord(text))


def test_shapes_are_ranked() -> None:
    costs = [shape.cost for shape in chord_shapes(chord("G"), harpa(), hand())]
    assert costs == sorted(costs)


def test_shape_names_what_it_lacks() -> None:
    shapes = chord_shapes(chord("D"), harpa(), hand(), strings=(2,))
    open_fifth = next(s for s in shapes if all(stop.key == 0 for stop in s.stops))
    assert open_fifth.lacks == ("third",)


def test_barre_only_when_the_hand_allows_it() -> None:
    def barres(player: Hand) -> list[Shape]:
        return [
            shape
            for text in COMMON
            for shape in chord_shapes(chord(text), harpa(), player)
            if "barre" in shape.ways
        ]

    assert not barres(hand())
    wide = hand(allows_barre=True, pad_width_mm=30.0, fingers=(1,))
    assert barres(wide)


def test_limits_of_an_edition_are_kept() -> None:
    limits = Limits(highest_key=3, allows_crossed_stops=False)
    for text in COMMON:
        for shape in chord_shapes(chord(text), harpa(), hand(), limits):
            assert all(stop.key <= 3 for stop in shape.stops) and "crossed" not in shape.ways


def test_sequence_of_one_chord_is_its_best_shape() -> None:
    (span,) = choose_shapes(spans("G"), harpa(), hand())
    assert span.shape == chord_shapes(chord("G"), harpa(), hand())[0].stops


def test_same_chord_keeps_its_shape() -> None:
    found = choose_shapes(spans("D", "D", "D"), harpa(), hand())
    assert len({span.shape for span in found}) == 1


def test_chord_without_a_shape_leaves_the_others_alone() -> None:
    alone = Instrument(
        "one", "one string", "keyed", harpa().strings[-2:-1], 400.0, 13.0, "D"
    )  # fmt: skip
    found = choose_shapes(spans("D", "G"), alone, hand())
    assert [span.shape for span in found] == [(), ()]


def test_sequence_is_the_cheapest_of_all() -> None:
    from tunebook.solve.fingering.move_tables import tables_for
    from tunebook.solve.shapes.shapes import _movements, held_shapes, wish_for

    limits = Limits(highest_key=5)
    instrument, player = harpa(), hand()
    tables = tables_for(instrument, player, limits)
    chords = spans("Em", "C", "Am")
    wishes = [wish_for(span.chord, (2,)) for span in chords]
    layers = [held_shapes(tables, wish) for wish in wishes]
    steps = [_movements(tables, a, b, 2.0) for a, b in itertools.pairwise(wishes)]
    best = min(
        sum(layer[row].shape.cost for layer, row in zip(layers, rows, strict=True))
        + sum(step[a, b] for step, (a, b) in zip(steps, itertools.pairwise(rows), strict=True))
        for rows in itertools.product(*(range(len(layer)) for layer in layers))
    )
    found = choose_shapes(chords, instrument, player, limits, strings=(2,))
    cheapest = min(
        sum(layer[row].shape.cost for layer, row in zip(layers, rows, strict=True))
        + sum(step[a, b] for step, (a, b) in zip(steps, itertools.pairwise(rows), strict=True))
        for rows in itertools.product(
            *(
                [r for r, held in enumerate(layer) if held.shape.stops == span.shape]
                for layer, span in zip(layers, found, strict=True)
            )
        )
    )
    assert cheapest == pytest.approx(best)


@pytest.mark.parametrize("tuning", TUNINGS)
@pytest.mark.parametrize("name", ["Am", "Dm", "Em", "Bm", "Gm"])
def test_a_minor_chord_has_its_third_where_it_lies_well(tuning: str, name: str) -> None:
    """A bare fifth is heard as major (common practice, no source)."""
    hand = read_hand(HandChoice())
    shapes = chord_shapes(chord(name), harpa(tuning), hand)
    assert "third" not in shapes[0].lacks
    fifths = {s.stops: s for s in chord_shapes(chord(name[0]), harpa(tuning), hand)}
    bare = [shape for shape in shapes if shape.lacks == ("third",) and shape.stops in fifths]
    assert bare and all(s.voicing_cost > fifths[s.stops].voicing_cost for s in bare)
