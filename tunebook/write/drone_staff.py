"""The small staff below the melody: held drone notes, the finger that holds, who takes over."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.model.arrangement import DroneSpan
from tunebook.model.tune import Key, Pitch
from tunebook.write.key_signs import key_command
from tunebook.write.leaves import Written, make_leaves, put_silent_graces
from tunebook.write.note_values import is_dyadic
from tunebook.write.printed_bars import PrintedBar, PrintedBars
from tunebook.write.spelling import spelled_pitch
from tunebook.write.staff_signs import StaffSigns
from tunebook.write.text_tree import Component, Group, context

_FINEST = Fraction(1, 8)


@dataclass(frozen=True, slots=True)
class _Piece:
    """The part of a drone that lies in one bar. ``finger_before`` is that of the finger which is
    relieved here, 0 when nobody is."""

    onset: Fraction
    duration: Fraction
    span: DroneSpan
    is_start: bool
    goes_on: bool
    finger_before: int


class _Heads:
    """Spells and signs the drones one after the other; a tie leads from ``tied`` to the next."""

    def __init__(self, signs: StaffSigns) -> None:
        self.signs = signs
        self.tied: Pitch | None = None

    def head(self, piece: _Piece, key: Key) -> str:
        midi = piece.span.stop.midi
        goes_on = not piece.is_start or piece.span.is_taken_over
        is_held = goes_on and self.tied is not None and self.tied.midi == midi
        # A tie joins two heads on one line or space, whatever key signature comes between.
        pitch = self.tied if self.tied is not None and is_held else spelled_pitch(midi, key)
        self.tied = pitch if piece.goes_on else None
        return self.signs.heads((pitch,), held=(pitch,) if is_held else ())


def drone_staff(
    spans: Sequence[DroneSpan],
    printed: PrintedBars,
    leading_graces: Mapping[int, Fraction],
    *,
    has_fingers: bool,
) -> Group:
    """The drone staff, one group a bar. ``leading_graces`` gives the length of the melody's
    grace notes at a bar's beginning, by place of the bar."""
    heads = _Heads(StaffSigns(printed))
    bars: list[Component] = []
    onsets = [span.onset for span in spans]
    for place, one in enumerate(printed.bars):
        begins_line = place == 0 or printed.bars[place - 1].ends_line
        # The span before those that begin here may reach into the bar.
        first, last = max(0, bisect_left(onsets, one.onset) - 1), bisect_left(onsets, one.end)
        pieces = _pieces_in(one, spans, range(first, last))
        heads.signs.begin_bar(place)
        leaves = _leaves(one, pieces, heads, begins_line, has_fingers)
        put_silent_graces(leaves, leading_graces.get(place, Fraction(0)))
        bars.append(Group(leaves, opening=[key_command(one.bar.key)] if one.shows_key else []))
    voice = context("Voice", "Drone", bars)
    voice.opening.append("\\clef treble")
    return context("DroneStaff", "DroneStaff", [voice])


def _pieces_in(one: PrintedBar, spans: Sequence[DroneSpan], places: range) -> list[_Piece]:
    pieces: list[_Piece] = []
    bar_end = one.end
    for place in places:
        span = spans[place]
        span_end = span.onset + span.duration
        start = _readable(max(span.onset, one.onset), one)
        end = _readable(min(span_end, bar_end), one)
        if start >= end or (pieces and start < pieces[-1].onset + pieces[-1].duration):
            continue
        before = spans[place - 1] if place else None
        after = spans[place + 1] if place + 1 < len(spans) else None
        is_start = span.onset >= one.onset
        relieved = before.stop.finger if before and span.is_taken_over and is_start else 0
        goes_on = bar_end < span_end or (
            after is not None and after.is_taken_over and after.onset == span_end
        )
        pieces.append(_Piece(start, end - start, span, is_start, goes_on, relieved))
    return pieces


def _readable(time: Fraction, one: PrintedBar) -> Fraction:
    """``time`` moved to the nearest eighth of the bar where it falls inside a tuplet: a drone
    that begins or ends with a triplet's note is easier to read without a triplet of its own."""
    inside = time - one.onset
    if time == one.end or is_dyadic(inside):
        return time
    return min(one.end, one.onset + round(inside / _FINEST) * _FINEST)


def _leaves(
    one: PrintedBar,
    pieces: Sequence[_Piece],
    heads: _Heads,
    begins_line: bool,
    has_fingers: bool,
) -> list[Component]:
    leaves: list[Component] = []
    now = one.onset
    for number, piece in enumerate(pieces):
        if piece.onset > now:
            leaves += make_leaves("s", piece.onset - now)
        written = Written()
        if has_fingers and (piece.is_start or (begins_line and number == 0)):
            written.events.append(_finger(piece))
        if piece.goes_on:
            written.last_events.append("~")
        leaves += make_leaves(heads.head(piece, one.bar.key), piece.duration, written)
        now = piece.onset + piece.duration
    if now < one.end:
        leaves += make_leaves("s", one.end - now)
    return leaves


def _finger(piece: _Piece) -> str:
    finger = piece.span.stop.finger
    if piece.finger_before and piece.finger_before != finger:
        return f"\\takenOver {piece.finger_before} {finger}"
    return f"-{finger}"
