"""Which drones a tune has in the book, which others were weighed, and why."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tunebook.model.arrangement import Arrangement, DroneCandidate, DroneSpan, Stop
from tunebook.model.names import bars_in_words
from tunebook.model.tune import Tune
from tunebook.solve.drones.choose import drone_label


def explain_drones(
    arrangement: Arrangement, others: Sequence[DroneCandidate], is_pinned: bool = False
) -> tuple[str, ...]:
    """One line for each drone of the arrangement with its bars, then one a candidate with rank,
    label, score and reason: those in the book first, then ``others`` in the order given.

    ``is_pinned`` where tune or settings decided, so that nothing was weighed for the book.
    """
    lines = _drones_held(arrangement) or ["no drone in the book"]
    held = [_place(span.stop) for span in arrangement.drone]
    weighed = {_place(one.stop) for one in arrangement.drone_candidates}
    ranked = sorted(others, key=lambda one: _place(one.stop) not in held)
    for rank, one in enumerate(ranked, 1):
        place = _place(one.stop)
        line = (
            f"{rank}. {one.label}: score {one.score:.1f}, consonance {one.consonance:.2f}, "
            f"adds {one.fingering_cost:.2f} a second to the fingering; {one.reason}"
        )
        if place in held:
            line += "  [in the book]"
        elif one.why_not:
            line += f"  [{one.why_not}]"
        elif place not in weighed and not is_pinned:
            line += "  [looked less promising and was not weighed for the book]"
        lines.append(line)
    if not others:
        lines.append("no drone goes with this tune on this instrument in this edition")
    return tuple(lines)


def _place(stop: Stop) -> tuple[int, int]:
    return stop.string_index, stop.key


def _drones_held(arrangement: Arrangement) -> list[str]:
    """The arrangement's drones in order: what is held, by which fingers, in which bars."""
    lines = []
    for group in _groups(arrangement.drone):
        fingers = list(dict.fromkeys(span.stop.finger for span in group if span.stop.finger))
        bare = group[0].stop
        label = drone_label(
            Stop(bare.midi, bare.string_index, bare.key, 0),
            arrangement.instrument,
            arrangement.tune.key,
        )
        if fingers:
            label += ", finger " + " and ".join(map(str, fingers))
        first = _bar_number(arrangement.tune, group[0].onset)
        last = _bar_number(arrangement.tune, group[-1].onset, group[-1].duration)
        bars = bars_in_words(range(first, last + 1))
        lines.append(f"in the book: {label}, {bars}")
    return lines


def _groups(spans: Sequence[DroneSpan]) -> list[list[DroneSpan]]:
    """Spans of one tone on one string together."""
    groups: list[list[DroneSpan]] = []
    for span in spans:
        if groups and _place(groups[-1][-1].stop) == _place(span.stop):
            groups[-1].append(span)
        else:
            groups.append([span])
    return groups


def _bar_number(tune: Tune, onset: Fraction, duration: Fraction = Fraction(0)) -> int:
    """Number of the bar that is sounding at ``onset``, or just before ``duration`` is over."""
    end = onset + duration
    inside = [
        bar.number for bar in tune.bars if bar.onset < end or (not duration and bar.onset == end)
    ]
    return inside[-1] if inside else 0
