"""A second opinion on an arrangement: is it playable, and does it cost what it says?

Whether it can be played is asked without its cost. It is then priced from its notes alone, going
through the tune as it is played, with the plain rules of ``rules``. Nothing of the search is used
but the weights."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from tunebook.model.arrangement import (
    Accent,
    Arrangement,
    DroneSpan,
    FingeredNote,
    HandMoment,
    Stop,
)
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument, key_place_mm
from tunebook.model.names import bar_name
from tunebook.model.tune import Note, Tune
from tunebook.solve.second_opinion.rules import Costs, Posture, PriceRules
from tunebook.solve.weights import Weights, weights_for


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
    found += _accent_faults(arrangement)
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
            if span.stop.key and span.stop.finger != _finger_of_drone(note, moment, span):
                found.append(f"{where}: the drone is held by another finger than is shown")
    return found


def _accent_faults(arrangement: Arrangement) -> list[str]:
    """A double stop is one that the hand can hold as it lies, costs what it says, and nothing else
    sounds beside it."""
    struck = {(note.bar_index, note.note_index): note for note in arrangement.notes}
    found = []
    for accent in arrangement.accents:
        where = bar_name(arrangement.tune.bars[accent.bar_index].number)
        note = struck[accent.bar_index, accent.note_index]
        found += [f"{where}: {fault}" for fault in _double_stop_faults(arrangement, note, accent)]
        start, end = accent.span.onset, accent.span.onset + accent.span.duration
        if any(one.onset < end and one.onset + one.duration > start for one in arrangement.drone):
            found.append(f"{where}: a drone and a double stop sound together")
    return found


def _double_stop_faults(
    arrangement: Arrangement, note: FingeredNote, accent: Accent
) -> Iterator[str]:
    if len(note.stops) != 1 or note.is_continued:
        yield "a double stop with a note that has none"
        return
    added, own = accent.span.stop, note.stops[0]
    hand_key = note.hand_key if added.finger else None
    for fault in _faults(arrangement, (own, added), None, hand_key):
        yield f"{fault}, in a double stop"
    weights = weights_for(arrangement.instrument.kind, arrangement.hand)
    rules = PriceRules(arrangement.instrument, arrangement.hand, weights)
    alone, both = (
        sum(rules.posture(Posture(stops, None, note.hand_key, False), 0).values())
        for stops in ((own,), (own, added))
    )
    if own.midi - added.midi != accent.below or abs(both - alone - accent.effort) > ROUNDED:
        yield "a double stop is not what it says"


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


TOLERANCE = 1e-6
ROUNDED = 1e-3
"""The search rounds the cost of a posture to 1/4096."""
UPPER_NOTE_DECORATIONS = frozenset(
    {"trill", "T", "trill(", "pralltriller", "uppermordent", "roll", "~", "P", "turn"}
)
SCALE = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True, slots=True)
class Price:
    """Effort of the hand in a tune as played, and its parts by name; ``bow_cost`` is what it costs
    the bow to leave drones."""

    cost: float
    bow_cost: float
    terms: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class _Part:
    """One part of a struck note: the hand, the time, how it is joined to what follows. ``serial``
    counts the parts as written; ``turns`` where the step to the next lies in a figure that goes to
    another tone and back."""

    bar: int
    number: int
    of: int
    moment: HandMoment
    is_strict: bool
    note: Note
    trill: int
    is_slurred_on: bool
    serial: int
    turns: bool

    @property
    def posture(self) -> Posture:
        moment = self.moment
        return Posture(moment.stops, moment.drone, moment.hand_key, moment.is_drone_paused)


def price(arrangement: Arrangement, weights: Weights | None = None) -> Price:
    """Price ``arrangement`` as it is played, each repeat counted."""
    weights = weights or weights_for(arrangement.instrument.kind, arrangement.hand)
    rules = PriceRules(arrangement.instrument, arrangement.hand, weights)
    speed = arrangement.whole_notes_per_second
    totals: Costs = {}
    before: tuple[_Part, float] | None = None
    parts = _parts_by_bar(arrangement)
    played_bars: set[int] = set()
    for part, onset_s in _as_played(arrangement.tune, parts, speed):
        played_bars.add(part.bar)
        _sum(totals, _own(rules, part, speed))
        if before is not None:
            _sum(totals, _way(rules, before[0], part, onset_s - before[1], speed))
        before = (part, onset_s)
    _price_unplayed(totals, rules, arrangement, parts, played_bars)
    bow_cost = totals.pop("drone_pause", 0.0)
    return Price(sum(totals.values()), bow_cost, tuple(sorted(totals.items())))


def verify_arrangement(arrangement: Arrangement) -> tuple[str, ...]:
    """Everything that is wrong with ``arrangement``: what cannot be played, and a cost that is
    not what its notes cost. Empty when all is well."""
    faults = list(find_unplayable(arrangement))
    own = price(arrangement)
    given = arrangement.cost_with_drones
    for what, said, found in (
        ("cost", arrangement.cost if given is None else given, own.cost),
        ("bow's cost", arrangement.bow_cost, own.bow_cost),
    ):
        if abs(found - said) > TOLERANCE * max(1.0, abs(found)):
            faults.append(f"the {what} is given as {said:.4f} and adds up to {found:.4f}")
    return tuple(faults)


def _sum(totals: Costs, costs: Costs) -> None:
    for name, cost in costs.items():
        if cost:
            totals[name] = totals.get(name, 0.0) + cost


def _parts_by_bar(arrangement: Arrangement) -> dict[int, list[_Part]]:
    tune = arrangement.tune
    slurs = _slurs(tune)
    last_ref: dict[int, tuple[int, int]] = {}
    struck: list[tuple[int, FingeredNote]] = []
    for number, note in enumerate(arrangement.notes):
        if not note.stops:
            continue
        if not note.is_continued:
            struck.append((number, note))
        last_ref[struck[-1][0]] = (note.bar_index, note.note_index)
    parts: dict[int, list[_Part]] = {}
    turning = _turning([moment.stops for _, note in struck for moment in note.moments])
    serial = 0
    for number, note in struck:
        trill = _trill(note.note, tune, note.bar_index)
        for index, moment in enumerate(note.moments):
            part = _Part(
                bar=note.bar_index,
                number=index,
                of=len(note.moments),
                moment=moment,
                is_strict=_is_strict(arrangement, moment),
                note=note.note,
                trill=trill,
                is_slurred_on=slurs[last_ref[number]],
                serial=serial,
                turns=serial in turning,
            )
            serial += 1
            parts.setdefault(note.bar_index, []).append(part)
    return parts


def _turning(written: Sequence[Sequence[Stop]]) -> set[int]:
    """The parts from which the step to the next lies in a figure that goes to another tone and
    back: A B A, its two steps."""
    tones = [tuple(stop.midi for stop in stops) for stops in written]
    found = set()
    for at in range(len(tones) - 2):
        if tones[at] == tones[at + 2] != tones[at + 1]:
            found |= {at, at + 1}
    return found


def _is_strict(arrangement: Arrangement, moment: HandMoment) -> bool:
    """Whether the melody is to bend to the drone of this moment."""
    if not moment.is_drone_paused:
        return False
    return any(
        one.is_strict for one in arrangement.drones_asked if one.onset <= moment.onset < one.end
    )


def _slurs(tune: Tune) -> dict[tuple[int, int], bool]:
    """For each note whether a slur is open after it."""
    depth = 0
    found = {}
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            depth = max(0, depth + note.slurs_opened - note.slurs_closed)
            found[bar.index, index] = depth > 0
    return found


def _trill(note: Note, tune: Tune, bar: int) -> int:
    """Semitones from the note to its upper neighbour in the key, when an ornament plays it."""
    if not UPPER_NOTE_DECORATIONS & set(note.decorations):
        return 0
    top = max(note.pitches, key=lambda pitch: pitch.midi)
    above = (top.step + 1) % 7
    midi = SCALE[above] + tune.bars[bar].key.alters[above] + 12 * (top.octave + 1)
    midi += 12 if above == 0 else 0
    return min(3, max(1, midi - top.midi))


def _as_played(
    tune: Tune, parts: dict[int, list[_Part]], speed: float
) -> Iterator[tuple[_Part, float]]:
    """Parts with their times in s, repeats expanded."""
    clock = 0.0
    for index in tune.played or range(len(tune.bars)):
        bar = tune.bars[index]
        for part in parts.get(index, ()):
            yield part, clock + float(part.moment.onset - bar.onset) / speed
        clock += float(bar.duration) / speed


def _own(rules: PriceRules, part: _Part, speed: float) -> Costs:
    """A part's posture, at its share, and a drone that pauses meanwhile."""
    weights = rules.weights
    share = weights.grace_share if part.note.is_grace else 1 / part.of
    costs = {name: share * cost for name, cost in rules.posture(part.posture, part.trill).items()}
    if part.moment.is_drone_paused and not part.note.is_grace:
        seconds = float(part.moment.duration) / speed
        pause = weights.drone_pause / part.of + weights.drone_pause_second * seconds
        costs["drone_pause"] = pause * (weights.drone_strict if part.is_strict else 1.0)
    return costs


def _way(rules: PriceRules, before: _Part, after: _Part, gap_s: float, speed: float) -> Costs:
    """The movement between two parts that follow one another."""
    weights = rules.weights
    a, b = before.posture, after.posture
    if before.note.is_grace:
        return rules.movement(a, b, weights.grace_time_s, is_slurred=True)
    is_held = after.number > 0
    rest_s = gap_s - float(before.moment.duration) / speed
    if not is_held:
        gap_s += float(before.moment.onset - before.note.onset) / speed
    time_s = round(min(max(gap_s, weights.least_time_s), weights.most_time_s), 4)
    is_freed = not is_held and rest_s >= weights.rest_gap_s
    is_slurred = before.is_slurred_on and not is_freed and not is_held
    return rules.movement(
        a,
        b,
        time_s,
        is_slurred=is_slurred,
        is_freed=is_freed,
        is_held=is_held,
        is_turning=before.turns and after.serial == before.serial + 1,
    )


def _price_unplayed(
    totals: Costs,
    rules: PriceRules,
    arrangement: Arrangement,
    parts: dict[int, list[_Part]],
    played: set[int],
) -> None:
    """Bars that the played order leaves out are priced once, as written."""
    speed = arrangement.whole_notes_per_second
    written = [part for bar in sorted(parts) for part in parts[bar]]
    for part in written:
        if part.bar not in played:
            _sum(totals, _own(rules, part, speed))
    for before, after in pairwise(written):
        if before.bar not in played or after.bar not in played:
            gap_s = float(after.moment.onset - before.moment.onset) / speed
            _sum(totals, _way(rules, before, after, gap_s, speed))
