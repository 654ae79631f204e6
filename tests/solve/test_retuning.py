from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan, Stop
from tunebook.model.instrument import Instrument, String, key_place_mm
from tunebook.model.tune import ChordSymbol, pitch_name
from tunebook.read.settings.profile import read_instrument
from tunebook.solve.harmony.names import says_chord
from tunebook.solve.retuning import find_string_changes, frequency_hz


def instrument(*opens: int, length: float = 400.0) -> Instrument:
    places = tuple(key_place_mm(length, key) for key in range(1, 11))
    strings = tuple(
        String(index, pitch_name(midi)[:-1], midi, places, 13.0 * index)
        for index, midi in enumerate(opens, start=1)
    )
    return Instrument("test", "Test", "keyed", strings, length, 13.0)


def test_lowering_d4_to_c4_loosens_by_a_fifth_of_the_tension() -> None:
    card = find_string_changes(instrument(48, 55, 62, 69), instrument(48, 55, 60, 69))
    third = card[2]
    assert (third.pitch_before, third.pitch_after) == ("D4", "C4")
    # 261.626 / 293.665 squared is 0.7937 (frequencies: ISO 16, equal temperament, by hand)
    assert third.tension_percent == pytest.approx(-20.63, abs=0.01)
    assert third.cents == -200
    assert not third.is_risky
    assert [line.tension_percent for line in card if line.index != 3] == [0, 0, 0]


def test_raising_a_string_by_a_tone_is_risky() -> None:
    card = find_string_changes(instrument(60), instrument(62))
    assert card[0].tension_percent == pytest.approx(25.99, abs=0.01)
    assert card[0].is_risky


def test_raising_by_a_semitone_already_exceeds_a_tenth() -> None:
    assert find_string_changes(instrument(60), instrument(61))[0].tension_percent > 10


def test_other_string_lengths_are_no_mere_retuning() -> None:
    assert find_string_changes(instrument(60), instrument(62, length=328.0)) == ()


@pytest.mark.parametrize(("midi", "hz"), [(69, 440.0), (60, 261.626), (48, 130.813)])
def test_frequencies_are_those_of_equal_temperament(midi: int, hz: float) -> None:
    # ISO 16:1975 sets A4; the others from the twelfth root of two, worked out by hand.
    assert frequency_hz(midi) == pytest.approx(hz, abs=0.001)


def test_a_chord_is_lost_when_no_shape_has_root_and_third() -> None:
    chord = ChordSymbol(SourcePlace("x"), "Am", 5, 0, "minor")
    whole = (Stop(57, 2, 2, 1), Stop(60, 3, 10, 4))
    bare = (Stop(57, 2, 2, 1), Stop(64, 3, 2, 1))
    assert says_chord(ChordSpan(0, Fraction(0), Fraction(1), chord, shape=whole))
    assert not says_chord(ChordSpan(0, Fraction(0), Fraction(1), chord, shape=bare))
    assert not says_chord(ChordSpan(0, Fraction(0), Fraction(1), chord))


def test_there_is_no_card_when_no_string_is_tuned_anew() -> None:
    same = find_string_changes(read_instrument("fiddle"), read_instrument("fiddle"))
    assert same == ()
    retuned = find_string_changes(read_instrument("fiddle"), read_instrument("fiddle", "ADAE"))
    assert [one.cents for one in retuned] == [200.0, 0.0, 0.0, 0.0]
