"""Can this be played at all? Checks of an arrangement that do not ask what it costs."""

from __future__ import annotations

from itertools import combinations

from tunebook.model.arrangement import Arrangement, DroneSpan, FingeredNote, HandMoment, Stop
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument, key_place_mm
from tunebook.model.names import bar_name


def find_unplayable(arrangement: Arrangement) -> tuple[str, ...]:
    """Everything in ``arrangement`` that no hand could do, one sentence each; empty when all is
    well. Notes without stops were reported when they were solved and count for nothing here."""
    found: list[str] = []
    for note in arrangement.notes:
        if not note.stops:
            continue
        where = bar_name(arrangement.tune.bars[note.bar_index].number)
        midis = [pitch.midi for pitch in note.note.pitches]
        if [stop.midi for stop in note.stops] != midis:
            found.append(f"{where}: the stops do not sound what is written")
        faults = _faults(arrangement, note.stops, None, None)
        for moment in note.moments:
            faults += _faults(arrangement, moment.stops, moment.drone, moment.hand_key)
        found += [f"{where}: {fault}" for fault in faults]
    found += _bow_faults(arrangement)
    return tuple(dict.fromkeys(found))


def _faults(
    arrangement: Arrangement,
    stops: tuple[Stop, ...],
    drone: Stop | None,
    hand_key: float | None,
) -> list[str]:
    instrument, hand = arrangement.instrument, arrangement.hand
    found = []
    held = [drone] if drone is not None and drone.finger else []
    for stop in (*stops, *held):
        found += _stop_faults(instrument, hand, stop)
    if found:
        return found
    strings = [stop.string_index for stop in stops]
    if len(set(strings)) < len(strings):
        found.append("two tones on one string")
    elif max(strings) - min(strings) != len(strings) - 1:
        found.append("strings that do not lie side by side")
    pressed = [stop for stop in (*stops, *held) if stop.finger]
    for a, b in combinations(pressed, 2):
        found += _pair_faults(instrument, hand, a, b)
    for stop in stops if held else ():
        if stop.string_index == held[0].string_index and stop.key <= held[0].key:
            found.append("the drone's key silences a lower one on its string")
    if hand_key is not None:
        found += _reach_faults(instrument, hand, pressed, hand_key)
    return found


def _stop_faults(instrument: Instrument, hand: Hand, stop: Stop) -> list[str]:
    if not 1 <= stop.string_index <= len(instrument.strings):
        return [f"there is no string {stop.string_index}"]
    string = instrument.string(stop.string_index)
    if not 0 <= stop.key <= string.key_count:
        return [f"there is no key {stop.key} on the {string.name} string"]
    if string.open_midi + stop.key != stop.midi:
        return [f"key {stop.key} of the {string.name} string does not sound MIDI {stop.midi}"]
    if (stop.key == 0) != (stop.finger == 0):
        return ["an open string with a finger, or a key without one"]
    if stop.finger and stop.finger not in hand.fingers:
        return [f"finger {stop.finger} is not in use"]
    return []


def _pair_faults(instrument: Instrument, hand: Hand, a: Stop, b: Stop) -> list[str]:
    """Two fingers down at once: one finger on two keys, or a span no hand has."""
    string_a, string_b = instrument.string(a.string_index), instrument.string(b.string_index)
    along = string_b.place_mm(b.key) - string_a.place_mm(a.key)
    across = string_b.row_mm - string_a.row_mm
    apart = (along**2 + across**2) ** 0.5
    if a.finger == b.finger:
        is_allowed = hand.allows_barre or instrument.kind == "fingerboard"
        if is_allowed and abs(a.string_index - b.string_index) == 1 and apart <= hand.pad_width_mm:
            return []
        return [f"finger {a.finger} on two keys"]
    if a.string_index == b.string_index:
        return []
    lower, upper = (a, b) if a.finger < b.finger else (b, a)
    # Keys lie closer together higher up, and the search counts half of a distance in keys; so the
    # plain distance in mm may pass the practical span by a little.
    if apart > 1.25 * hand.span(lower.finger, upper.finger).max_practical_mm:
        return [f"fingers {lower.finger} and {upper.finger} {apart:.0f} mm apart"]
    return []


def _reach_faults(
    instrument: Instrument, hand: Hand, pressed: list[Stop], hand_key: float
) -> list[str]:
    found = []
    hand_mm = key_place_mm(instrument.string_length_mm, int(hand_key))
    for stop in pressed:
        away = instrument.string(stop.string_index).place_mm(stop.key) - hand_mm
        most = hand.span(1, stop.finger).max_practical_mm if stop.finger > 1 else 60.0
        if not -60.0 <= away <= 1.25 * most:
            found.append(f"finger {stop.finger} {away:.0f} mm from the hand's place")
    return found


def _bow_faults(arrangement: Arrangement) -> list[str]:
    """A drone sounds only beside the melody's string, and at most two strings sound at once."""
    found = []
    for note in arrangement.notes:
        if note.note.is_grace:
            continue
        for moment in note.moments:
            if not moment.stops:
                continue
            where = bar_name(arrangement.tune.bars[note.bar_index].number)
            span = _sounding(arrangement, moment)
            if span is None:
                continue
            if moment.is_drone_paused:
                found.append(f"{where}: a drone sounds where it should pause")
                continue
            strings = {stop.string_index for stop in moment.stops} | {span.stop.string_index}
            if len(strings) > 2 or max(strings) - min(strings) > 1:
                found.append(f"{where}: the bow cannot reach the drone")
            if span.stop.finger != _finger_of_drone(note, moment, span):
                found.append(f"{where}: the drone is held by another finger than is shown")
    return found


def _sounding(arrangement: Arrangement, moment: HandMoment) -> DroneSpan | None:
    for span in arrangement.drone:
        if span.onset <= moment.onset < span.onset + span.duration:
            return span
    return None


def _finger_of_drone(note: FingeredNote, moment: HandMoment, span: DroneSpan) -> int:
    for stop in moment.stops:
        if (stop.string_index, stop.key) == (span.stop.string_index, span.stop.key):
            return stop.finger
    return moment.drone.finger if moment.drone is not None else -1
