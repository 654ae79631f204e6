"""Drones for a tune: which tone to hold, on which string, where to change it, and why.

A drone is scored by how well it goes with the melody (an interval-class table, tones weighted by
length and accent), by what it costs the left hand (solved with the melody, not guessed), and by a
small preference for tonic and fifth. One drone serves the whole tune unless one for each phrase
is clearly better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tunebook.errors import Message
from tunebook.model.arrangement import DroneCandidate, DroneDemand, Stop
from tunebook.model.book import TuneChoice
from tunebook.model.choices import DRONES, Drones, one_of
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.spelling import spell_in_key
from tunebook.model.tune import Key, Pitch, Tune
from tunebook.solve.drones.places import (
    ToneCount,
    count_tones,
    drone_stops,
    pause_share,
    pinned_drones,
)
from tunebook.solve.drones.trials import (
    Phrase,
    Trial,
    consonance,
    demand_for,
    drone_phrases,
    try_drone,
    weigh_tones,
)
from tunebook.solve.fingering.reasons import place_word

_DEGREES = {
    0: "tonic",
    1: "minor second",
    2: "second",
    3: "minor third",
    4: "major third",
    5: "fourth",
    6: "tritone",
    7: "fifth",
    8: "minor sixth",
    9: "sixth",
    10: "minor seventh",
    11: "major seventh",
}


def drone_name(midi: int, key: Key) -> str:
    """Name of a drone's pitch, spelled in ``key``: F#4."""
    step, alter = spell_in_key(midi % 12, key)
    natural = Pitch(0, step, alter).midi
    return Pitch((midi - natural) // 12, step, alter).name


def drone_label(stop: Stop, instrument: Instrument, key: Key) -> str:
    """As "D4, open D string" or "E4, D string, key 2, finger 1"."""
    name = drone_name(stop.midi, key)
    string = instrument.string(stop.string_index).name
    if stop.key == 0:
        return f"{name}, open {string} string"
    finger = f", finger {stop.finger}" if stop.finger else ""
    return f"{name}, {string} string, {place_word(instrument)} {stop.key}{finger}"


def drone_reason(stop: Stop, key: Key, sounding: float) -> str:
    """As "the tonic, sounds 95 % of the time"."""
    above = (stop.midi - key.tonic_class) % 12
    degree = _DEGREES.get(above)
    words = f"the {degree}" if degree else f"{above} semitones over the tonic"
    return f"{words}, sounds {sounding:.0%} of the time"


# The score is counted in the fingering's cost per second; our judgement.
CONSONANCE_WEIGHT = 20.0
TONIC_BONUS = 2.0
FIFTH_BONUS = 1.2
STRANGE = frozenset({1, 2, 6, 10, 11})
OTHER_COST = 2.0  # a third, fourth or sixth of the key: it pulls the tune elsewhere
STRANGE_COST = 4.0  # a drone on a tone that is in no chord of the tonic: second, tritone, seventh
FINGERING_WEIGHT = 2.5  # of what the drone adds to the melody's cost a second
SILENCE_WEIGHT = 6.0  # of the part of the melody over which the drone cannot be heard
CHANGE_COST = 0.6  # for each change of the drone, in score of the whole tune
LEAST_SCORE = 8.0  # below this a tune is better without a drone
LEAST_SOUNDING = 0.6  # part of the melody over which a drone must be heard
TRIED = 5
PAUSE_LOOKS = 40.0
"""What the part of the melody that seems to silence a drone looks like costing, before the drone
is solved: about what it did cost in solved tunes. It only decides which drones are solved."""


@dataclass(frozen=True)
class DroneSolution:
    """The drones of a tune: what to hold, the ranked candidates, and messages about pins."""

    demands: tuple[DroneDemand, ...]
    candidates: tuple[DroneCandidate, ...]
    messages: tuple[Message, ...] = ()


@dataclass(frozen=True)
class _Scored:
    """A candidate with its trial and its score in each phrase."""

    candidate: DroneCandidate
    trial: Trial
    by_phrase: tuple[float, ...]


def rank_drones(
    tune: Tune,
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    whole_notes_per_second: float,
    drones: Drones = "held",
    tried: int | None = TRIED,
) -> tuple[DroneCandidate, ...]:
    """Drones for the whole of ``tune``, the best first, those that may be taken unasked before the
    others.

    ``drones`` is none, open, held or substitution. The ``tried`` most promising by consonance and
    a quick look at the strings are solved and listed; None solves them all. A candidate's
    ``fingering_cost`` is what it adds to the melody's cost a second.
    """
    scored = _scored(
        tune, instrument, hand, _limits_for(limits, drones), whole_notes_per_second, drones, tried
    )
    return tuple(one.candidate for one in scored[1])


def choose_drone(
    tune: Tune,
    instrument: Instrument,
    hand: Hand,
    limits: Limits | None = None,
    *,
    whole_notes_per_second: float,
    drones: Drones = "held",
    choice: TuneChoice | None = None,
) -> DroneSolution:
    """The drones of ``tune``: those pinned in it, else the book's choice, else the best.

    Within the tune a pin holds from its note to the next pin; ``choice`` counts before the first
    pin. Without either, one drone for the tune or one a phrase, or none when none is good.
    """
    limits = _limits_for(limits, drones)
    if drones == "none" or not limits.allows_drone:
        return DroneSolution((), ())
    pins = pinned_drones(tune, instrument, limits, drones, choice)
    if pins.is_pinned:
        return DroneSolution(pins.demands, (), pins.messages)
    phrases, scored = _scored(tune, instrument, hand, limits, whole_notes_per_second, drones, TRIED)
    candidates = tuple(one.candidate for one in scored)
    return DroneSolution(_demands(phrases, scored), candidates, pins.messages)


def _limits_for(limits: Limits | None, drones: Drones) -> Limits:
    one_of(DRONES, drones, "drones")
    limits = limits or Limits()
    if drones == "held" and limits.allows_substitution:
        return replace(limits, allows_substitution=False)
    return limits


def _scored(
    tune: Tune,
    instrument: Instrument,
    hand: Hand,
    limits: Limits,
    speed: float,
    drones: Drones,
    tried: int | None,
) -> tuple[tuple[Phrase, ...], list[_Scored]]:
    """The phrases, and the candidates that were solved, best first."""
    phrases = drone_phrases(tune)
    tones = count_tones(tune)
    if not tones.lengths:
        return phrases, []
    whole = weigh_tones(tune)
    parts = [weigh_tones(tune, phrase.bars) for phrase in phrases]
    stops = _promising(tune, instrument, drone_stops(instrument, limits, drones), whole, tones)
    if not stops:
        return phrases, []
    plain = try_drone(tune, phrases, instrument, hand, limits, speed, None)
    found: list[_Scored] = []
    for looks, stop in stops if tried is None else _worth_a_trial(stops, tried):
        best = max((one.candidate.score for one in found), default=looks)
        if tried is not None and looks < best:
            continue
        trial = try_drone(tune, phrases, instrument, hand, limits, speed, stop)
        found.append(_judge(tune, instrument, stop, trial, plain, whole, parts))
    found.sort(
        key=lambda one: (
            bool(one.candidate.why_not), -one.candidate.score, one.candidate.stop.key,
        )
    )  # fmt: skip
    return phrases, found


def _promising(
    tune: Tune,
    instrument: Instrument,
    stops: Sequence[Stop],
    whole: Sequence[float],
    tones: ToneCount,
) -> list[tuple[float, Stop]]:
    """(quick score, stop), best first; tones foreign to tune and key left out."""
    kept = [
        stop
        for stop in stops
        if whole[stop.midi % 12] > 0 or stop.midi % 12 == tune.key.tonic_class
    ]

    def quick(stop: Stop) -> float:
        paused = PAUSE_LOOKS * pause_share(stop, tones, instrument)
        return CONSONANCE_WEIGHT * consonance(stop.midi, whole) + _bonus(tune, stop) - paused

    looks = [(quick(stop), stop) for stop in kept]
    return sorted(looks, key=lambda item: (-item[0], item[1].key, item[1].string_index))


def _worth_a_trial(stops: Sequence[tuple[float, Stop]], tried: int) -> list[tuple[float, Stop]]:
    """The most promising open strings and held keys, half and half, open strings first: they cost
    the hand least, and what they score may show that no held key can do better."""
    is_open = [item for item in stops if item[1].key == 0][: max(1, tried // 2)]
    held = [item for item in stops if item[1].key > 0]
    return [*is_open, *held[: tried - len(is_open)]]


def _bonus(tune: Tune, stop: Stop) -> float:
    above = (stop.midi - tune.key.tonic_class) % 12
    if above in STRANGE:
        return -STRANGE_COST
    return {0: TONIC_BONUS, 7: FIFTH_BONUS}.get(above, -OTHER_COST)


def _judge(
    tune: Tune,
    instrument: Instrument,
    stop: Stop,
    trial: Trial,
    plain: Trial,
    whole: Sequence[float],
    parts: Sequence[Sequence[float]],
) -> _Scored:
    sweet = consonance(stop.midi, whole)
    added = trial.cost_per_s - plain.cost_per_s
    bonus = _bonus(tune, stop)
    silence = SILENCE_WEIGHT * (1.0 - trial.sounding)
    score = CONSONANCE_WEIGHT * sweet + bonus - FINGERING_WEIGHT * added - silence
    by_phrase = tuple(
        CONSONANCE_WEIGHT * consonance(stop.midi, part)
        + bonus
        - FINGERING_WEIGHT * (with_drone - without)
        - silence
        for part, with_drone, without in zip(parts, trial.costs, plain.costs, strict=True)
    )
    held = Stop(stop.midi, stop.string_index, stop.key, trial.finger)
    candidate = DroneCandidate(
        stop=held,
        consonance=round(sweet, 4),
        fingering_cost=round(added, 4),
        score=round(score, 4),
        reason=drone_reason(stop, tune.key, trial.sounding),
        label=drone_label(held, instrument, tune.key),
        why_not=_why_not(tune, stop, trial),
    )
    return _Scored(candidate, trial, by_phrase)


def _why_not(tune: Tune, stop: Stop, trial: Trial) -> str:
    """Why this drone is not taken unasked: only the keynote and its fifth are, any other drone is
    the player's to pin."""
    if (stop.midi - tune.key.tonic_class) % 12 not in (0, 7):
        return "neither keynote nor fifth: held only where it is pinned"
    if trial.sounding < LEAST_SOUNDING:
        return "it would pause too often"
    return ""


def _demands(phrases: Sequence[Phrase], scored: Sequence[_Scored]) -> tuple[DroneDemand, ...]:
    """The cheapest drones phrase by phrase, a change of drone priced, else one for the tune."""
    usable = [one for one in scored if not one.candidate.why_not]
    if not usable:
        return ()
    lengths = [float(phrase.end - phrase.onset) for phrase in phrases]
    total = sum(lengths)
    shares = [length / total for length in lengths]
    rows = [[share * one.by_phrase[index] for one in usable] for index, share in enumerate(shares)]
    path, value = _best_rows(rows)
    if value < LEAST_SCORE:
        return ()
    demands: list[DroneDemand] = []
    for phrase, row in zip(phrases, path, strict=True):
        demand = demand_for(usable[row].candidate.stop, phrase)
        last = demands[-1] if demands else None
        if last and (last.string_index, last.key) == (demand.string_index, demand.key):
            demands[-1] = replace(last, duration=demand.end - last.onset)
        else:
            demands.append(demand)
    return tuple(demands)


def _best_rows(rows: Sequence[Sequence[float]]) -> tuple[list[int], float]:
    """Indices with the greatest sum of values, each change costing CHANGE_COST; the first index
    wins ties, so the best single drone stays where nothing speaks against it."""
    reached = list(rows[0])
    back: list[list[int]] = []
    for values in rows[1:]:
        choice = [_best_before(reached, state) for state in range(len(values))]
        reached = [
            reached[before] - CHANGE_COST * (before != state) + values[state]
            for state, before in enumerate(choice)
        ]
        back.append(choice)
    state = max(range(len(reached)), key=lambda s: (reached[s], -s))
    value = reached[state]
    path = [state]
    for choice in reversed(back):
        path.append(choice[path[-1]])
    return path[::-1], value


def _best_before(reached: Sequence[float], state: int) -> int:
    """The index to come from; staying wins ties, then the lower index."""

    def value(before: int) -> tuple[float, bool, int]:
        is_same = before == state
        return reached[before] - CHANGE_COST * (not is_same), is_same, -before

    return max(range(len(reached)), key=value)
