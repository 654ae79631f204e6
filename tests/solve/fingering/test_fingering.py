"""Ties, grace notes, repeats, pins, compass, limits, drones, chords, trills."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from tune_maker import line, tune

from tunebook.model.arrangement import Arrangement
from tunebook.model.book import HandChoice
from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.choose import (
    DroneDemand,
    Fingering,
    choose_fingering,
    k_best_fingerings,
)
from tunebook.solve.second_opinion.pricing import verify_arrangement
from tunebook.solve.weights import KEYED

CGDA = read_instrument("nyckelharpa-3row", "CGDA")
CGCA = read_instrument("nyckelharpa-3row", "CGCA")
HAND = read_hand()
EIGHTH, QUARTER, HALF = Fraction(1, 8), Fraction(1, 4), Fraction(1, 2)
SPEED = 0.6


def solve(played: Tune, instrument=CGDA, hand=HAND, limits=None, speed=SPEED, **options):
    """Solve and let the independent check look at the answer."""
    found = choose_fingering(
        played, instrument, hand, limits, whole_notes_per_second=speed, **options
    )
    arrangement = Arrangement(
        played, instrument, hand, limits or Limits(), found.notes, found.drone,
        cost=found.cost, bow_cost=found.bow_cost, whole_notes_per_second=speed,
    )  # fmt: skip
    assert verify_arrangement(arrangement) == ()
    return found


def fingers(found: Fingering) -> list[tuple[int, ...]]:
    return [tuple(stop.finger for stop in note.stops) for note in found.notes]


def kinds(found: Fingering) -> list[str]:
    return [message.kind for message in found.messages]


def whole(played: Tune, string: int, key: int, finger=None) -> tuple[DroneDemand, ...]:
    last = played.bars[-1]
    return (DroneDemand(Fraction(0), last.onset + last.duration, string, key, finger),)


def test_open_string_needs_no_finger() -> None:
    assert fingers(solve(line("A4 D4 G3"))) == [(0,), (0,), (0,)]


def test_tied_notes_are_one_stroke_with_one_fingering() -> None:
    bar = [
        ("E4", EIGHTH, {"ties": (True,)}),
        ("E4", EIGHTH, {"is_tied_from_before": (True,)}),
        ("B4", EIGHTH, {}),
    ]
    tied = solve(tune([bar]))
    assert [note.is_continued for note in tied.notes] == [False, True, False]
    assert tied.notes[0].stops == tied.notes[1].stops
    assert tied.notes[1].cost == 0
    one = solve(tune([[("E4", QUARTER, {}), ("B4", EIGHTH, {})]]))
    assert tied.cost == pytest.approx(one.cost)


def test_a_tie_over_the_bar_line_is_followed() -> None:
    bars = [
        [("F#4", QUARTER, {"ties": (True,)})],
        [("F#4", QUARTER, {"is_tied_from_before": (True,)}), ("E4", QUARTER, {})],
    ]
    found = solve(tune(bars))
    assert [note.is_continued for note in found.notes] == [False, True, False]
    assert [note.bar_index for note in found.notes] == [0, 1, 1]


def test_a_tone_tied_inside_a_chord_keeps_its_key() -> None:
    bar = [
        ("A3+E4", QUARTER, {"ties": (True, False)}),
        ("A3+F#4", QUARTER, {"is_tied_from_before": (True, False)}),
    ]
    found = solve(tune([bar]))
    assert found.notes[0].stops[0] == found.notes[1].stops[0]
    assert not found.notes[1].is_continued


def test_grace_notes_take_no_time_from_the_melody() -> None:
    plain = [("D4", QUARTER, {}), ("B4", QUARTER, {}), ("E4", QUARTER, {})]
    grace = [*plain[:1], ("C#5", Fraction(1, 16), {"is_grace": True}), *plain[1:]]
    slow, fast = solve(tune([grace]), speed=0.2), solve(tune([grace]), speed=2.0)
    ornament = [found.notes[2].cost for found in (slow, fast)]
    assert ornament[0] == pytest.approx(ornament[1], abs=0.3)
    assert len(fast.notes) == 4


def test_a_repeat_is_paid_twice_with_its_way_back() -> None:
    once = solve(tune(["E4 F#4 G4 B4"]))
    twice = solve(tune(["E4 F#4 G4 B4"], played=[0, 0]))
    assert twice.cost > 2 * once.cost
    names = dict(twice.terms)
    assert names["string_change"] == pytest.approx(3 * 0.3)


def test_a_bar_that_is_never_played_is_fingered_too() -> None:
    found = solve(tune(["D4 E4", "F#4 G4"], played=[0]))
    assert all(note.stops for note in found.notes)


def test_numbered_endings_lead_back_and_on() -> None:
    bars = ["A4 B4 C#5 D5", "E5 C#5 A4 E4", "E5 C#5 D5 D5"]
    found = solve(tune(bars, played=[0, 1, 0, 2]))
    assert found.is_exact
    assert len(found.notes) == 12


def test_a_pinned_finger_is_kept() -> None:
    bar = [("A4", EIGHTH, {}), ("B4", EIGHTH, {"finger_pins": (3,)}), ("A4", EIGHTH, {})]
    found = solve(tune([bar]))
    assert fingers(found)[1] == (3,)
    assert found.notes[1].is_needed


def test_a_pinned_string_is_kept() -> None:
    bar = [("G4", EIGHTH, {}), ("A4", EIGHTH, {"string_pin": "D"}), ("G4", EIGHTH, {})]
    found = solve(tune([bar]))
    assert (found.notes[1].stops[0].string_index, found.notes[1].stops[0].key) == (3, 7)
    assert found.notes[1].shows_string is False


@pytest.mark.parametrize(
    ("fields", "what"),
    [
        ({"finger_pins": (0,)}, "bar 1, B4: finger 0 cannot be, no open string has this tone"),
        ({"string_pin": "low C"}, None),
        ({"string_pin": "E"}, "bar 1, B4: there is no string 'E'"),
        (
            {"finger_pins": (2,), "string_pin": "C"},
            "bar 1, B4: the C string cannot be, it does not have this tone",
        ),
    ],
)
def test_an_impossible_pin_is_reported_and_left_out(fields: dict, what: str | None) -> None:
    free = solve(line("A4 B4 A4"))
    bar = [("A4", EIGHTH, {}), ("B4", EIGHTH, fields), ("A4", EIGHTH, {})]
    found = solve(tune([bar]))
    assert kinds(found) == ["pin"]
    if what is not None:
        assert found.messages[0].what == what
    if len(fields) == 1:
        assert fingers(found) == fingers(free)
    else:
        assert fingers(found)[1] == (2,)


def test_pins_lost_for_one_cause_are_one_message() -> None:
    bar = [("B4", EIGHTH, {"finger_pins": (0,)})] * 4 + [("A4", EIGHTH, {"finger_pins": (0,)})]
    found = solve(tune([bar, bar, [("E4", EIGHTH, {"string_pin": "A"})] * 2]))
    assert [message.what for message in found.messages] == [
        "bar 1, B4; bar 2, B4: finger 0 cannot be, no open string has this tone",
        "bar 3, E4: the A string cannot be, it does not have this tone",
    ]


def test_a_note_outside_the_compass_is_reported_and_the_rest_solved() -> None:
    found = solve(line("A4 B2 B4"))
    assert kinds(found) == ["compass"]
    assert "bar 1: B2 is outside the compass" in found.messages[0].what
    assert [bool(note.stops) for note in found.notes] == [True, False, True]


def test_a_tune_with_no_playable_note_gives_messages_only() -> None:
    found = solve(line("C2 D2"))
    assert kinds(found) == ["compass"]
    assert found.cost == 0 and all(not note.stops for note in found.notes)


def test_two_notes_on_one_string_are_reported() -> None:
    found = solve(line("F5+F#5 A4"))
    assert kinds(found) == ["double-stop"]
    assert found.notes[1].stops


def test_a_double_stop_lies_on_neighbouring_strings() -> None:
    found = solve(line("G3+D4 B3+G4 F#4+D5"))
    for note in found.notes:
        low, high = sorted(stop.string_index for stop in note.stops)
        assert high - low == 1


def test_a_chord_of_four_is_laid_over_four_strings() -> None:
    found = solve(line("C3+G3+E4+C5"))
    assert [stop.string_index for stop in found.notes[0].stops] == [1, 2, 3, 4]


def test_a_limit_of_keys_is_kept_where_it_can_be() -> None:
    high = line("A4 E5 G5 A5")
    found = solve(high, limits=Limits(highest_key=7))
    marked = [note.beyond_limits for note in found.notes]
    assert marked == [False, False, True, True]
    assert "limit" not in dict(found.terms)


def test_without_crossed_stops_a_fast_fifth_is_played_otherwise() -> None:
    free = solve(line("E4 B4"), speed=1.0)
    found = solve(line("E4 B4"), limits=Limits(allows_crossed_stops=False), speed=1.0)
    assert "crossed" in free.notes[1].ways
    assert "crossed" not in found.notes[1].ways
    assert not any(note.beyond_limits for note in found.notes)


def test_without_shifts_the_hand_stays() -> None:
    found = solve(line("A4 B4 C#5 D5 E5 F#5 E5 D5"), limits=Limits(allows_shifts=False))
    assert len({note.hand_key for note in found.notes}) == 1


def test_a_limit_of_position_keeps_the_hand_low() -> None:
    tune_up = line("A4 B4 D5 E5 G5 A5 G5 E5")
    assert max(note.hand_key for note in solve(tune_up).notes) > 4
    found = solve(tune_up, limits=Limits(highest_position=2))
    assert max(note.hand_key for note in found.notes if not note.beyond_limits) <= 4


def test_a_barre_needs_a_hand_that_allows_it() -> None:
    barre = read_hand(HandChoice(allows_barre=True, fingers=(1,)))
    found = solve(line("A3+E4"), hand=barre)
    assert fingers(found) == [(1, 1)]
    assert found.notes[0].ways == ("barre",)
    one_finger = read_hand(HandChoice(fingers=(1,)))
    assert kinds(solve(line("A3+E4"), hand=one_finger)) == ["double-stop"]


def test_a_finger_out_of_use_is_not_used() -> None:
    found = solve(line("A4 B4 C#5 D5 E5"), hand=read_hand(HandChoice(fingers=(1, 2, 3))))
    assert max(stop.finger for note in found.notes for stop in note.stops) == 3


def test_a_fiddle_stops_a_fifth_with_one_finger() -> None:
    fiddle = read_instrument("fiddle", None)
    assert fingers(solve(line("E4+B4"), instrument=fiddle)) == [(1, 1)]
    assert fingers(solve(line("E4 B4"), instrument=fiddle)) == [(1,), (1,)]


def test_a_trill_gets_a_finger_with_a_free_one_above() -> None:
    bar = [("D5", QUARTER, {}), ("E5", QUARTER, {"decorations": ("trill",)}), ("D5", QUARTER, {})]
    found = solve(tune([bar]))
    assert found.notes[1].stops[0].finger < 4


def test_an_open_drone_sounds_beside_the_melody() -> None:
    played = line("A4 B4 C#5 D5")
    found = solve(played, drone=whole(played, 3, 0))
    assert [(span.onset, span.duration, span.stop.finger) for span in found.drone] == [
        (Fraction(0), Fraction(1, 2), 0)
    ]


def test_a_drone_pauses_where_the_melody_is_two_strings_away() -> None:
    played = line("D4 E4 F5 G5 D4 E4")
    found = solve(played, drone=whole(played, 2, 0))
    paused = [note.moments[0].is_drone_paused for note in found.notes]
    assert paused == [False, False, True, True, False, False]
    assert [span.onset for span in found.drone] == [Fraction(0), Fraction(1, 2)]
    assert found.bow_cost > 2 * 2.0 and "drone_pause" not in dict(found.terms)


def test_melody_on_the_drones_own_tone_keeps_the_drone_sounding() -> None:
    played = line("E4 D4 E4")
    found = solve(played, drone=whole(played, 3, 0))
    assert not found.notes[1].moments[0].is_drone_paused


def test_a_pinned_drone_finger_is_kept() -> None:
    played = line("D4 F#4 G4 D4")
    found = solve(played, drone=whole(played, 2, 5, 2))
    assert {span.stop.finger for span in found.drone} == {2}


def test_another_finger_takes_over_a_drone_when_the_melody_needs_the_first() -> None:
    pinned = zip(("B4", "C#5", "D5", "E5"), (1, 2, 3, 4), strict=True)
    played = tune([[(name, HALF, {"finger_pins": (finger,)}) for name, finger in pinned]])
    found = choose_fingering(
        played, CGDA, HAND, whole_notes_per_second=SPEED, drone=whole(played, 3, 5),
        weights=replace(KEYED, drone_pause=20.0),
    )  # fmt: skip
    held = [(span.stop.finger, span.is_taken_over) for span in found.drone]
    assert len(held) > 1
    assert held[0][1] is False
    assert any(is_taken_over for _, is_taken_over in held[1:])


def test_a_drone_may_change_at_a_phrase() -> None:
    played = tune(["A4 B4 A4 B4", "A4 B4 A4 B4"])
    demands = (
        DroneDemand(Fraction(0), HALF, 3, 0),
        DroneDemand(HALF, HALF, 3, 2),
    )
    found = solve(played, drone=demands)
    assert [span.stop.key for span in found.drone] == [0, 2]
    assert not any(span.is_taken_over for span in found.drone)


def test_a_drone_on_a_missing_key_is_reported() -> None:
    played = line("A4 B4")
    found = solve(played, drone=whole(played, 1, 3))
    assert kinds(found) == ["drone"]
    assert found.drone == ()


def test_a_held_drone_lies_under_a_free_finger_through_a_whole_tune() -> None:
    played = tune(["D4 E4 F#4 G4", "F#4 E4 D4 E4"], played=[0, 1, 0, 1])
    found = solve(played, drone=whole(played, 2, 2))
    for note in found.notes:
        drone = note.moments[0].drone
        assert drone is not None
        assert all(stop.finger != drone.finger for stop in note.stops if stop.finger)


def test_a_long_note_can_hide_a_substitution() -> None:
    bar = [
        ("D5", Fraction(1), {"finger_pins": (1,)}),
        ("B4", EIGHTH, {"finger_pins": (1,)}),
    ]
    easy = replace(KEYED, substitution=0.2)
    found = choose_fingering(tune([bar]), CGDA, HAND, whole_notes_per_second=SPEED, weights=easy)
    long_note = found.notes[0]
    assert len(long_note.moments) == 2
    assert long_note.stops[0].finger == 1
    assert long_note.stops_after and long_note.stops_after[0].finger > 1
    assert long_note.stops_after[0].key == long_note.stops[0].key
    assert "substitution" in long_note.ways


def test_a_row_jump_is_dearer_under_a_slur() -> None:
    fields = [{"slurs_opened": 1}, {"slurs_closed": 1}]
    slurred = [("E4", QUARTER, fields[0]), ("B4", QUARTER, fields[1])]
    pins = {"finger_pins": (1,)}
    apart = solve(tune([[("E4", QUARTER, pins), ("B4", QUARTER, pins)]]))
    pinned = [(n, d, {**f, **pins}) for n, d, f in slurred]
    joined = solve(tune([pinned]))
    assert dict(joined.terms)["row_jump"] > dict(apart.terms)["row_jump"] + 1


def test_a_rest_makes_a_shift_cheaper() -> None:
    low = [(name, EIGHTH, {}) for name in ("F4", "E4", "Eb4", "F4", "E4", "Eb4")]
    high = [(name, EIGHTH, {}) for name in ("A5", "B5", "A5", "B5", "A5", "B5")]
    close = solve(tune([[*low, *high]]))
    rested = solve(tune([[*low, ("", QUARTER, {}), *high]]))
    assert dict(rested.terms)["shift"] < dict(close.terms)["shift"]


def test_the_same_tune_gives_the_same_fingering_every_time() -> None:
    played = tune(["D5 F#5 A5 G5 E5 C#5 D5 B4"], played=[0, 0])
    first = solve(played)
    assert all(solve(played) == first for _ in range(3))


def test_next_best_fingerings_come_in_order_and_differ_noticeably() -> None:
    played = tune(["D4 E4 F#4 A4 B4 E4 B4 E5", "D5 C#5 B4 E4 G4 F#4 D4 D4"], played=[0, 1, 0, 1])
    found = k_best_fingerings(played, CGDA, HAND, whole_notes_per_second=SPEED, count=4)
    assert len(found) == 4
    costs = [one.cost for one in found]
    assert costs == sorted(costs)
    for index, one in enumerate(found):
        for other in found[:index]:
            points = 0
            for a, b in zip(one.notes, other.notes, strict=True):
                is_moved = [s.string_index for s in a.stops] != [s.string_index for s in b.stops]
                points += 2 if is_moved else int(a.stops != b.stops)
            assert points >= 2


def test_next_best_ways_through_a_bar_leave_open_what_others_do() -> None:
    played = tune(["D4 E4 F#4 A4", "B4 E4 B4 E5"])
    found = k_best_fingerings(
        played, CGDA, HAND, whole_notes_per_second=SPEED, count=2, bars=(1, 1)
    )
    inside = [n.stops for n in found[0].notes if n.bar_index == 1]
    assert inside != [n.stops for n in found[1].notes if n.bar_index == 1]


def test_alternatives_of_a_note_rise_in_cost_and_leave_out_its_own_stops() -> None:
    found = solve(line("D4 E4 F#4 B4 E4 B4"), alternatives=3)
    for note in found.notes:
        extras = [extra for extra, _ in note.alternatives]
        assert extras == sorted(extras)
        assert extras[0] >= 0
        assert note.stops not in [stops for _, stops in note.alternatives]


def test_an_alternatives_cost_is_that_of_pinning_it() -> None:
    played = line("D4 E4 F#4 B4 E4 B4")
    found = solve(played, alternatives=1)
    note = found.notes[3]
    extra, stops = note.alternatives[0]
    string = {3: "D", 4: "A"}[stops[0].string_index]
    pinned = replace(played.bars[0].notes[3], finger_pins=(stops[0].finger,), string_pin=string)
    notes = (*played.bars[0].notes[:3], pinned, *played.bars[0].notes[4:])
    other = solve(replace(played, bars=(replace(played.bars[0], notes=notes),)))
    assert other.cost - found.cost == pytest.approx(extra, abs=0.005)


def test_ways_that_take_another_time_in_another_pass_are_priced_each() -> None:
    found = solve(tune(["A4 B4", "z z z", "E5 G5"], played=[0, 2, 0, 1, 2, 0, 2]))
    assert found.is_exact


def test_entangled_repeats_are_solved_well_and_said_not_to_be_proved(monkeypatch) -> None:
    from tunebook.solve.search import shortest_path

    monkeypatch.setattr(shortest_path, "MOST_CELLS", 30)
    bars = ["E4 B4 E5", "F#4 C#5 A5", "B4 E4 G5", "D5 A5 E4"]
    found = solve(tune(bars, played=[2, 0, 3, 1, 0, 2, 1, 3, 0, 3, 2, 0]), speed=1.2)
    assert not found.is_exact
    assert kinds(found) == ["fingering"]


def test_a_tied_tone_that_cannot_stay_is_struck_again_and_reported() -> None:
    bar = [
        ("A4", QUARTER, {"ties": (True,), "string_pin": "A"}),
        ("A4+F5", QUARTER, {"is_tied_from_before": (True, False)}),
    ]
    found = solve(tune([bar]))
    assert kinds(found) == ["tie"]
    assert found.messages[0].what == "bar 1, A4 F5: the tied tone cannot stay where it is"
    assert "moved_tone" not in dict(found.terms)


def figure(before: str, notes: str, quarters_a_minute: float) -> list[tuple[int, int, int]]:
    """(string, key, finger) of a bar of eighths after another, before a long D5."""
    bars = [before, notes, [("D5", Fraction(1), {})]]
    found = solve(tune(bars, length=EIGHTH), speed=quarters_a_minute / 240)
    stops = [note.stops[0] for note in found.notes if note.bar_index == 1]
    return [(stop.string_index, stop.key, stop.finger) for stop in stops]


def test_a_tone_between_two_of_the_upper_string_stays_on_it() -> None:
    """C sharp between two D on the A string: key 4 and not key 11 of the D string (common practice,
    no source)."""
    found = figure("E5 G5 D5 B4 D5 E5 B4 B4", "A5 G#5 F#5 G#5 E5 D5 C#5 D5", 160)
    assert {string for string, _, _ in found} == {4}


def test_high_hands_come_down_to_a_tone_that_their_string_has_low() -> None:
    """B flat and C between tones of the A string beyond first position: keys 1 and 3 of it, after a
    shift, and not keys 8 and 10 of the string below (common practice, no source)."""
    found = figure("Bb5 A5 G5 F5 D5 Bb4", "Eb5 C5 A4 Bb4 D5 G5", 138)
    assert {string for string, _, _ in found} == {4}
    found = figure("A5 G5 F#5 C5", "E5 G5 F#5 E5 D5", 152)
    assert {string for string, _, _ in found} == {4}


def test_a_repeated_figure_keeps_its_pair_of_fingers() -> None:
    """A tone and another in turn: each keeps its finger (common practice, no source)."""
    found = figure("C#5 A4 B4 G5 A4 B5 D5 B5", "E5 C#5 E5 C#5 D5 B4 D5 B4", 208)
    assert found[0:2] == found[2:4] and found[4:6] == found[6:8]


def test_a_tone_past_the_next_string_s_open_tone_costs_more_on_keys_alone() -> None:
    pinned = tune([[("D5", QUARTER, {"string_pin": "D"})]])
    terms = dict(solve(pinned).notes[0].terms)
    without = replace(KEYED, past_next=0.0)
    plain = choose_fingering(
        pinned, CGDA, HAND, whole_notes_per_second=SPEED, weights=without
    ).notes[0]
    assert terms["high_key"] - dict(plain.terms)["high_key"] == pytest.approx(KEYED.past_next)
