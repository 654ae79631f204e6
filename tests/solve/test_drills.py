"""Drills: scales over drones and changes of chord as tunes."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan
from tunebook.model.book import HandChoice
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Key, Tune
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.fingering.choose import choose_fingering
from tunebook.solve.practice import chord_drill, held_drone_drill, open_drone_drill
from tunebook.solve.shapes.accompaniment import hardest_changes


@pytest.fixture(scope="module")
def harpa() -> Instrument:
    return read_instrument("nyckelharpa-3row", "CGDA")


@pytest.fixture(scope="module")
def player() -> Hand:
    return read_hand(HandChoice())


def spans(*texts: str) -> list[ChordSpan]:
    place = SourcePlace("trial.abc", 1)
    found = []
    for index, text in enumerate(texts):
        symbol = read_chord_symbol(text, place)
        assert symbol is not None
        found.append(ChordSpan(index, Fraction(index), Fraction(1), symbol))
    return found


def solved(tune: Tune, harpa: Instrument, player: Hand):  # type: ignore[no-untyped-def]
    return arrange(tune, harpa, player, drones="substitution")


def test_scale_over_the_open_string_sounds_throughout(harpa: Instrument, player: Hand) -> None:
    tune = open_drone_drill(harpa, 4, "Scale over D")
    assert tune is not None and tune.key.tonic_name == "D" and tune.key.alters[3] == 1
    found = solved(tune, harpa, player)
    assert sum((span.duration for span in found.drone), Fraction(0)) == len(tune.bars)
    assert {stop.string_index for note in found.notes for stop in note.stops} == {4}
    assert all(span.stop.key == 0 and span.stop.midi == 62 for span in found.drone)


def test_scale_rises_and_falls_within_first_position(harpa: Instrument) -> None:
    tune = open_drone_drill(harpa, 4, "Scale over D")
    assert tune is not None
    midis = [note.pitches[0].midi for bar in tune.bars for note in bar.notes]
    assert midis[0] == 69 and max(midis) <= 76
    top = midis.index(max(midis))
    assert midis[: top + 1] == sorted(midis[: top + 1])
    assert midis[top:] == sorted(midis[top:], reverse=True)


def test_held_keys_come_one_after_the_other(harpa: Instrument) -> None:
    tune = held_drone_drill(harpa, 4, "Scale over held keys")
    assert tune is not None
    pins = [note.drone_pin for bar in tune.bars for note in bar.notes if note.drone_pin]
    assert [pin.midi for pin in pins] == [64, 66, 67, 69]
    assert all(pin.string == "D" for pin in pins)


def test_held_keys_can_be_solved(harpa: Instrument, player: Hand) -> None:
    tune = held_drone_drill(harpa, 4, "Scale over held keys")
    assert tune is not None
    found = solved(tune, harpa, player)
    assert not found.messages and all(note.stops for note in found.notes)
    assert {span.stop.key for span in found.drone} >= {2, 4, 5}


def test_a_first_held_key_asks_for_no_silent_exchange(harpa: Instrument, player: Hand) -> None:
    """Over a held A3 the first finger holds and 0 2 3 4 3 2 0 play (common practice, no source)."""
    for tuning in ("CGDA", "CGCA"):
        for string in (3, 4):
            other = read_instrument("nyckelharpa-3row", tuning)
            tune = held_drone_drill(other, string, "Scale over held keys")
            assert tune is not None
            answer = arrange(tune, other, player, drones="held")
            assert not any(one.stops_after for one in answer.notes)
            for demand in answer.drones_asked:
                inside = [one for one in answer.drone if demand.onset <= one.onset < demand.end]
                assert len({one.stop.finger for one in inside}) == 1
            if tuning == "CGDA":
                fingers = [one.stops[0].finger for one in answer.notes[:7]]
                assert (answer.drone[0].stop.finger, fingers) == (1, [0, 2, 3, 4, 3, 2, 0])


def test_limits_leave_out_high_held_keys(harpa: Instrument) -> None:
    tune = held_drone_drill(harpa, 4, "Scale", Limits(highest_key=4))
    assert tune is not None
    assert len({n.drone_pin.midi for b in tune.bars for n in b.notes if n.drone_pin}) == 2


def test_lowest_string_has_no_drone_below(harpa: Instrument) -> None:
    assert open_drone_drill(harpa, 1, "none") is None
    assert held_drone_drill(harpa, 1, "none") is None
    assert held_drone_drill(harpa, 2, "the low C has no keys") is None


def test_bars_of_a_drill_are_full(harpa: Instrument, player: Hand) -> None:
    changes = hardest_changes(spans("D", "G", "Bm", "A7"), harpa, player)
    drills = [
        open_drone_drill(harpa, 4, "a"), held_drone_drill(harpa, 3, "b"),
        chord_drill(changes, "c", Key()),
    ]  # fmt: skip
    for tune in drills:
        assert tune is not None
        for bar in tune.bars:
            assert sum((note.duration for note in bar.notes), Fraction(0)) == bar.duration == 1


def test_hardest_changes_are_ranked_and_told_apart(harpa: Instrument, player: Hand) -> None:
    changes = hardest_changes(spans("D", "G", "D", "Bm", "F#m", "D", "D"), harpa, player, most=9)
    costs = [change.cost for change in changes]
    assert costs == sorted(costs, reverse=True) and costs[0] > 0
    assert len({frozenset((c.before.shape, c.after.shape)) for c in changes}) == len(changes)
    assert all(change.before.shape != change.after.shape for change in changes)


def test_chord_drill_goes_to_and_fro(harpa: Instrument, player: Hand) -> None:
    changes = hardest_changes(spans("D", "G"), harpa, player)
    tune = chord_drill(changes, "D and G", Key(1, 0, "ionian", 2))
    assert tune is not None and len(tune.bars) == 4
    assert [note.chord.symbol for note in tune.bars[0].notes if note.chord] == ["D", "G"]
    found = choose_fingering(tune, harpa, player, whole_notes_per_second=0.3)
    assert all(len(note.stops) == 2 for note in found.notes) and not found.messages


def test_every_stroke_of_a_chord_drill_is_named_signed_and_sounds_as_its_shape(
    harpa: Instrument, player: Hand
) -> None:
    # D minor has one flat; A7 needs its third, C sharp.
    minor = Key(1, 0, "aeolian", -1, (0, 0, 0, 0, 0, 0, -1))
    (change,) = hardest_changes(spans("Dm", "A7"), harpa, player)
    tune = chord_drill((change,), "Dm and A7", minor)
    assert tune is not None
    wanted = {span.chord.symbol: span.shape[-2:] for span in (change.before, change.after)}
    assert any(stop.midi % 12 == 1 for stop in wanted["A7"])
    for bar in tune.bars:
        signed = set()
        for note in bar.notes:
            assert note.chord is not None
            keys = [
                harpa.string(s.string_index).open_midi + s.key for s in wanted[note.chord.symbol]
            ]
            assert [pitch.midi for pitch in note.pitches] == keys
            for pitch, sign in zip(note.pitches, note.shown_accidentals, strict=True):
                is_sharp = pitch.name.startswith("C#")
                assert (sign == "needed") == (is_sharp and pitch not in signed)
                signed |= {pitch} if sign else set()
        assert [note.chord.symbol for note in bar.notes if note.chord] == (
            ["Dm", "A7"] * (len(bar.notes) // 2)
        )


def test_one_chord_makes_no_drill(harpa: Instrument, player: Hand) -> None:
    assert hardest_changes(spans("D", "D"), harpa, player) == ()
    assert chord_drill((), "none", Key()) is None
