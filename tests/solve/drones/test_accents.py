"""Double stops on long and accented notes: an exact choice of what lies under the hand."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import pytest

from tunebook.model.arrangement import Arrangement, Stop
from tunebook.model.book import HandChoice
from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.drones.accents import (
    Option,
    accent_options,
    accented_value,
    best_accented_line,
)
from tunebook.solve.drones.moments import TIED, Lengths, Moment, drone_lengths, drone_moments
from tunebook.solve.drones.open import best_line
from tunebook.solve.drones.under_hand import Grip, UnderHand
from tunebook.solve.harmony.chords import choose_chords
from tunebook.solve.second_opinion.pricing import verify_arrangement
from tunebook.solve.times import whole_times

HARPA = read_instrument("nyckelharpa-3row", "CGDA")
HAND = read_hand(HandChoice())
HEAD = "X:1\nT:Trial\nM:{}\nL:1/8\nQ:1/4=100\nK:{}\n"
TUNES = {
    "ends long": HEAD.format("4/4", "G") + '"G"GABc d2B2|"D"A2F2 D4|"G"G2B2 "D"d2c2|"G"B4 G4|]',
    "tied": HEAD.format("4/4", "D") + '"D"dcde f4-|f4 "A"e4|"G"B2d2 g4|"D"f8|]',
    "waltz": HEAD.format("3/4", "A") + '"A"a2 gfed|c4 e2|"E"B4 g2|"A"a6|]',
}


def tune_of(text: str) -> Tune:
    return read_abc(text + "\n")[0]


def with_accents(text: str, **wanted) -> Arrangement:
    return arrange(tune_of(text), HARPA, HAND, accents="melody", **wanted)


def lines_over(moments, options):
    """Every line of strings and double stops, those that cannot be among them."""
    every = {one.grip.stop for some in options for one in some}
    each = []
    for moment, some in zip(moments, options, strict=True):
        stops = every if moment.place == TIED else {one.grip.stop for one in some}
        strings = [(string, None) for string, _ in moment.gains]
        each.append([(0, None), *strings, *((0, stop) for stop in stops)])
    return itertools.product(*each)


@pytest.mark.parametrize("name", TUNES)
def test_no_line_of_drones_and_double_stops_is_worth_more_than_the_one_found(name: str) -> None:
    tune = tune_of(TUNES[name])
    notes, chords = arrange(tune, HARPA, HAND, drones="none").notes, choose_chords(tune)
    whole = drone_moments(tune, notes, HARPA, chords)
    under = UnderHand(HARPA, HAND, Limits())
    options = accent_options(tune, notes, whole, under, chords)[-6:]
    first = len(whole) - 6
    moments = tuple(one._replace(parent=max(-1, one.parent - first)) for one in whole[-6:])
    assert any(options)
    lengths = drone_lengths(tune, whole_times(tune))
    best = max(
        accented_value(moments, options, line, lengths) for line in lines_over(moments, options)
    )
    found = best_accented_line(moments, options, lengths)
    line = [(one.string, one.accent) for one in found.sounds]
    assert found.value == pytest.approx(best)
    assert accented_value(moments, options, line, lengths) == pytest.approx(best)


def test_brute_force_agrees_on_made_up_moments_with_branches() -> None:
    chance = random.Random(5)
    stops = [Stop(62, 3, 0, 0), Stop(64, 3, 2, 1), Stop(65, 3, 3, 1)]
    for _ in range(30):
        moments = tuple(
            Moment(
                bar_index=at,
                onset=at,
                duration=chance.choice([1, 2, 4]),
                melody=4,
                midi=70,
                gains=tuple(
                    (string, chance.uniform(-1, 2)) for string in (2, 3) if chance.random() < 0.5
                ),
                barred=(),
                place=chance.randrange(TIED + 1),
                is_break=chance.random() < 0.15,
                parent=chance.randrange(max(0, at - 2), at) if at else -1,
                times=chance.choice([1, 2]),
            )
            for at in range(5)
        )
        options = tuple(
            tuple(
                Option(Grip(stop, 0.0), chance.uniform(-1, 3))
                for stop in stops
                if chance.random() < 0.5 and moment.place != TIED
            )
            for moment in moments
        )
        best = max(
            accented_value(moments, options, line, Lengths(2, 5))
            for line in lines_over(moments, options)
        )
        assert best_accented_line(moments, options, Lengths(2, 5)).value == pytest.approx(best)


@pytest.mark.parametrize("name", TUNES)
def test_without_options_the_line_is_that_of_the_drones_alone(name: str) -> None:
    tune = tune_of(TUNES[name])
    notes = arrange(tune, HARPA, HAND, drones="none").notes
    moments = drone_moments(tune, notes, HARPA, choose_chords(tune))
    lengths = drone_lengths(tune, whole_times(tune))
    found = best_accented_line(moments, [()] * len(moments), lengths)
    assert found.value == pytest.approx(best_line(moments, lengths).value)


@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
@pytest.mark.parametrize("name", TUNES)
def test_a_double_stop_moves_no_finger_of_the_melody_and_is_in_the_chord(
    name: str, tuning: str
) -> None:
    harpa = read_instrument("nyckelharpa-3row", tuning)
    tune = tune_of(TUNES[name])
    bare = arrange(tune, harpa, HAND, drones="none")
    answer = arrange(tune, harpa, HAND, drones="none", accents="melody")
    assert answer.notes == bare.notes and answer.cost == bare.cost
    assert answer.accents and verify_arrangement(answer) == ()
    assert all(one.effort <= 1.5 for one in answer.accents)
    for one in answer.accents:
        chord = next(s for s in answer.chords if s.onset <= one.span.onset < s.onset + s.duration)
        third = 3 if chord.chord.quality == "minor" else 4
        assert (one.span.stop.midi - chord.chord.root_class) % 12 in (0, third, 7)
        assert one.below in (3, 4, 7, 8, 9, 12) or one.span.stop.key == 0
        assert one.span.duration >= Fraction(1, 4)


def test_no_double_stop_sounds_together_with_a_drone() -> None:
    for kind in ("open", "held"):
        for text in TUNES.values():
            answer = with_accents(text, drones=kind)
            for one in answer.accents:
                end = one.span.onset + one.span.duration
                assert not any(
                    d.onset < end and d.onset + d.duration > one.span.onset for d in answer.drone
                )
            assert verify_arrangement(answer) == ()


def test_octaves_in_c_tuning_have_the_fingers_of_the_published_lesson() -> None:
    """American Nyckelharpa Association, "Spela bättre! 3": octave D4 + D5 with 1 and 3; E4 + E5
    with 1 and 3 or 2 and 4."""
    harpa = read_instrument("nyckelharpa-3row", "CGCA")
    for chord, note, finger, low in (("D", "d", 3, 1), ("E", "e", 3, 1), ("E", "e", 4, 2)):
        text = HEAD.format("4/4", "D") + f'A2B2 [r:accent {chord}4]"{chord}"!{finger}!{note}4|]'
        answer = arrange(tune_of(text), harpa, HAND, drones="none", accents="melody")
        (accent,) = answer.accents
        assert accent.below == 12 and accent.span.stop.finger == low
        assert verify_arrangement(answer) == ()


def test_a_finger_that_the_next_note_needs_is_not_taken() -> None:
    under = UnderHand(HARPA, HAND, Limits())
    own = Stop(76, 4, 7, 4)
    free = under.grips(own, 2, 64)
    assert {one.stop.finger for one in free} >= {1}
    taken = under.grips(own, 2, 64, [Stop(71, 4, 2, 1)])
    assert 1 not in {one.stop.finger for one in taken}
    assert 1 in {one.stop.finger for one in under.grips(own, 2, 64, [Stop(64, 3, 2, 1)])}


def test_an_edition_that_holds_no_keys_has_open_strings_alone() -> None:
    limits = Limits(allows_held_drone=False)
    for text in TUNES.values():
        answer = arrange(tune_of(text), HARPA, HAND, limits, drones="none", accents="melody")
        assert all(one.span.stop.key == 0 for one in answer.accents)


def test_short_notes_and_ornaments_have_none() -> None:
    text = HEAD.format("4/4", "G") + '"G"GABc dcBA|"G"BAGA TB4|"D"(Ad3) z2 FA|]'
    assert with_accents(text, drones="none").accents == ()


def test_a_marked_note_has_one_though_it_is_short() -> None:
    text = HEAD.format("4/4", "G") + '"G"GABc d{}gdB|"G"BAGA B4|]'
    plain, marked = (with_accents(text.format(m), drones="none") for m in ("", "!accent!"))
    assert [one.note_index for one in marked.accents if one.bar_index == 0] == [5]
    assert all(one.bar_index for one in plain.accents)


def test_pins_ask_for_a_double_stop_and_for_none() -> None:
    text = TUNES["waltz"].replace("c4", "[r:accent off]c4").replace("a6", "[r:accent A4]a6")
    answer = with_accents(text, drones="none")
    assert 1 not in {one.bar_index for one in answer.accents}
    assert [o.span.stop.midi for o in answer.accents if o.is_pinned] == [69]
    cannot = with_accents(TUNES["waltz"].replace("a6", "[r:accent C3]a6"), drones="none")
    assert "the double stop C3 does not lie under the hand" in cannot.messages[-1].what
    assert verify_arrangement(cannot) == ()
