"""A second opinion on an arrangement: is it playable, and does it cost what it says?

The arrangement is priced from its notes alone, walking the tune as it is played, with the plain
rules of ``price_rules``. Nothing of the search is used but the weights.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from tunebook.model.arrangement import Arrangement, FingeredNote, HandMoment
from tunebook.model.tune import Note, Tune
from tunebook.solve.playability import find_unplayable
from tunebook.solve.price_rules import Costs, Posture, PriceRules
from tunebook.solve.weights import Weights, weights_for

TOLERANCE = 1e-6
UPPER_NOTE_DECORATIONS = frozenset(
    {"trill", "T", "trill(", "pralltriller", "uppermordent", "roll", "~", "P", "turn"}
)
SCALE = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True, slots=True)
class Price:
    """Cost of a tune as played, and its parts by name."""

    cost: float
    terms: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class _Part:
    """One part of a struck note: the hand, the time, how it is joined to what follows."""

    bar: int
    number: int
    of: int
    moment: HandMoment
    note: Note
    trill: int
    is_slurred_on: bool

    @property
    def posture(self) -> Posture:
        moment = self.moment
        return Posture(moment.stops, moment.drone, moment.hand_key, moment.is_drone_paused)


def price(arrangement: Arrangement, weights: Weights | None = None) -> Price:
    """Price ``arrangement`` as it is played, each repeat counted."""
    weights = weights or weights_for(arrangement.instrument.kind)
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
    return Price(sum(totals.values()), tuple(sorted(totals.items())))


def verify_arrangement(arrangement: Arrangement) -> tuple[str, ...]:
    """Everything that is wrong with ``arrangement``: what cannot be played, and a cost that is
    not what its notes cost. Empty when all is well."""
    faults = list(find_unplayable(arrangement))
    own = price(arrangement).cost
    if abs(own - arrangement.cost) > TOLERANCE * max(1.0, abs(own)):
        faults.append(f"the cost is given as {arrangement.cost:.4f} and adds up to {own:.4f}")
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
    for number, note in struck:
        trill = _trill(note.note, tune, note.bar_index)
        for index, moment in enumerate(note.moments):
            part = _Part(
                note.bar_index, index, len(note.moments), moment, note.note, trill,
                slurs[last_ref[number]],
            )  # fmt: skip
            parts.setdefault(note.bar_index, []).append(part)
    return parts


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
        costs["drone_pause"] = weights.drone_pause / part.of + weights.drone_pause_second * seconds
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
    return rules.movement(a, b, time_s, is_slurred=is_slurred, is_freed=is_freed, is_held=is_held)


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
