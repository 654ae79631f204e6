"""The drone as it sounds: spans with the finger that holds each, take-overs and pauses.

The bow sounds the drone with the melody where the two lie on neighbouring strings, and alone where
the melody is the drone's own tone. Elsewhere the drone pauses; each pause was priced by the event
and by the second. Rests of the melody do not interrupt a drone, bars wholly of rests do.
"""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.arrangement import DroneSpan, Stop
from tunebook.solve.demands import DroneDemand
from tunebook.solve.problem import Problem
from tunebook.solve.rest_bars import drones_without_rests
from tunebook.solve.walk import Walk


def drone_spans(problem: Problem, walk: Walk) -> tuple[DroneSpan, ...]:
    """Spans in written order, each with its finger."""
    if not problem.drone:
        return ()
    # (first event, last event, demand, finger, whether another finger held it before)
    found: list[tuple[int, int, DroneDemand, int, bool]] = []
    is_sounding = False
    for index, (event, demand) in enumerate(zip(problem.course.events, problem.held, strict=True)):
        if event.is_grace:
            continue
        layer, row = problem.sets[index], walk.rows[index]
        if demand is None or layer.pause[row]:
            is_sounding = False
            continue
        finger = _finger(demand, walk, index)
        is_same = is_sounding and found[-1][2] is demand
        if is_same and found[-1][3] == finger:
            first, _, _, _, is_taken_over = found.pop()
            found.append((first, index, demand, finger, is_taken_over))
        else:
            found.append((index, index, demand, finger, is_same and finger > 0))
        is_sounding = True
    spans = [_span(problem, *one) for one in found]
    return drones_without_rests((span for span in spans if span.duration > 0), problem.tune)


def _span(
    problem: Problem, first: int, last: int, demand: DroneDemand, finger: int, is_taken_over: bool
) -> DroneSpan:
    onset = problem.course.events[first].onset
    end = min(demand.end, _next_onset(problem, last))
    string = problem.tables.reach.instrument.string(demand.string_index)
    stop = Stop(string.open_midi + demand.key, demand.string_index, demand.key, finger)
    return DroneSpan(onset, end - onset, stop, is_taken_over)


def _finger(demand: DroneDemand, walk: Walk, index: int) -> int:
    """The drone's finger; where the melody is the drone's tone its finger is the drone's too."""
    posture = walk.postures[index]
    finger = posture.holder
    for string, key, pressing in posture.slots:
        if string == demand.string_index and key == demand.key:
            finger = pressing
    return finger


def _next_onset(problem: Problem, index: int) -> Fraction:
    """Onset of the next event that takes time, or the end of the last bar."""
    for event in problem.course.events[index + 1 :]:
        if not event.is_grace:
            return event.onset
    last = problem.tune.bars[-1]
    return last.onset + last.duration
