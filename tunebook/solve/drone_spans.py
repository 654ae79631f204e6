"""The drone as it sounds: spans with the finger that holds each, take-overs and pauses.

The bow sounds the drone with the melody where the two lie on neighbouring strings, and alone where
the melody is the drone's own tone. Elsewhere the drone pauses; each pause was priced by the event
and by the second. Rests of the melody do not interrupt a drone.
"""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.arrangement import DroneSpan, Stop
from tunebook.solve.demands import DroneDemand, drone_at
from tunebook.solve.problem import Problem
from tunebook.solve.walk import Walk


def drone_spans(problem: Problem, walk: Walk) -> tuple[DroneSpan, ...]:
    """Spans in written order, each with its finger."""
    if not problem.drone:
        return ()
    spans: list[DroneSpan] = []
    previous: tuple[DroneDemand, int] | None = None
    events = problem.course.events
    for index, event in enumerate(events):
        demand = drone_at(problem.drone, event.onset)
        if event.is_grace:
            continue
        layer, row = problem.sets[index], walk.rows[index]
        if demand is None or layer.pause[row]:
            previous = None
            continue
        stop = _drone_stop(problem, demand, walk, index)
        end = min(demand.end, _next_onset(problem, index))
        if previous == (demand, stop.finger):
            last = spans.pop()
            spans.append(DroneSpan(last.onset, end - last.onset, stop, last.is_taken_over))
        else:
            is_taken_over = previous is not None and previous[0] == demand and stop.finger > 0
            spans.append(DroneSpan(event.onset, end - event.onset, stop, is_taken_over))
        previous = (demand, stop.finger)
    return tuple(span for span in spans if span.duration > 0)


def _drone_stop(problem: Problem, demand: DroneDemand, walk: Walk, index: int) -> Stop:
    """The drone's stop; where the melody is the drone's tone its finger is the drone's too."""
    posture = walk.postures[index]
    finger = posture.holder
    for slot in posture.slots:
        if (slot.string, slot.key) == (demand.string_index, demand.key):
            finger = slot.finger
    string = problem.tables.reach.instrument.string(demand.string_index)
    midi = string.open_midi + demand.key
    return Stop(midi, demand.string_index, demand.key, finger)


def _next_onset(problem: Problem, index: int) -> Fraction:
    """Onset of the next event that takes time, or the end of the last bar."""
    for event in problem.course.events[index + 1 :]:
        if not event.is_grace:
            return event.onset
    last = problem.tune.bars[-1]
    return last.onset + last.duration
