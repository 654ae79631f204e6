"""A tune as a chain of events in written order, what each asks of the instrument, and what cannot
be had.

An event is one stroke of fingers: a note with all that is tied to it, a chord, or a grace note. A
long note, and a note during which the drone changes, is cut into several events that sound on, so
that another finger may take over silently. Rests are no events; they free the hand.

A pin that cannot be is left out and reported, a note that cannot be played is left out of the
search and reported; the rest of the tune is still solved."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from tunebook.errors import Message
from tunebook.model.arrangement import DroneDemand
from tunebook.model.instrument import Instrument
from tunebook.model.names import bar_name
from tunebook.model.tune import Bar, Note, Tune
from tunebook.solve.fingering.move_tables import CostTables
from tunebook.solve.fingering.postures import Demand, HeldDrone, PostureSet, tone_places

UPPER_NOTE_DECORATIONS = frozenset(
    {"trill", "T", "trill(", "pralltriller", "uppermordent", "roll", "~", "P", "turn"}
)


class NoteRef(NamedTuple):
    """A written note: index of its bar in the tune, index of the note in the bar."""

    bar: int
    note: int


@dataclass(frozen=True, slots=True)
class Event:
    """One event. ``refs`` are the written notes it covers, the struck one first. ``piece`` counts
    the parts of a note that was cut, of ``pieces``. Onset and duration are of the event itself,
    in whole notes along the written tune."""

    refs: tuple[NoteRef, ...]
    midis: tuple[int, ...]
    onset: Fraction
    duration: Fraction
    is_grace: bool
    trill: int
    note: Note
    piece: int = 0
    pieces: int = 1

    @property
    def bar(self) -> int:
        return self.refs[0].bar


def written_events(tune: Tune, cuts: Iterable[Fraction], long_note: Fraction) -> list[Event]:
    """Events in written order.

    ``cuts`` are times at which a sounding note is cut (changes of the drone); notes of at least
    ``long_note`` whole notes are cut in half.
    """
    strokes: list[tuple[list[NoteRef], Note, Fraction]] = []
    before: Note | None = None
    for bar in tune.bars:
        for index, note in enumerate(bar.notes):
            if note.is_rest:
                continue
            ref = NoteRef(bar.index, index)
            if before is not None and _is_continued(before, strokes[-1], note):
                refs, first, duration = strokes[-1]
                strokes[-1] = ([*refs, ref], first, duration + note.duration)
            else:
                strokes.append(([ref], note, _NO_TIME if note.is_grace else note.duration))
            before = note
    events: list[Event] = []
    times = sorted(set(cuts))
    long = float(long_note)
    for refs, note, duration in strokes:
        points = _cut_points(note, duration, times, long)
        events.extend(_cut(tune, refs, note, duration, points))
    return events


_NO_TIME = Fraction(0)


def _is_continued(before: Note, stroke: tuple[list[NoteRef], Note, Fraction], note: Note) -> bool:
    """True when every tone of ``note`` is tied to the note before, the last of ``stroke``."""
    if not note.is_tied_from_before or not all(note.is_tied_from_before):
        return False
    _, first, duration = stroke
    if note.is_grace or before.is_grace or not before.ties or not all(before.ties):
        return False
    same = sorted(p.midi for p in note.pitches) == sorted(p.midi for p in first.pitches)
    return same and first.onset + duration == note.onset


def _cut_points(
    note: Note, duration: Fraction, times: list[Fraction], long_note: float
) -> list[Fraction]:
    """Times within a note at which it is cut."""
    if note.is_grace:
        return []
    points = []
    if times:
        end = note.onset + duration
        points = [time for time in times if note.onset < time < end]
    if not points and float(duration) >= long_note:
        points = [note.onset + duration / 2]
    return points


def _cut(
    tune: Tune, refs: list[NoteRef], note: Note, duration: Fraction, points: list[Fraction]
) -> Iterator[Event]:
    midis = tuple([pitch.midi for pitch in note.pitches])
    trill = upper_note_interval(note, tune.bars[refs[0].bar]) if note.decorations else 0
    if not points:
        yield Event(
            refs=tuple(refs),
            midis=midis,
            onset=note.onset,
            duration=duration,
            is_grace=note.is_grace,
            trill=trill,
            note=note,
        )
        return
    starts = [note.onset, *points]
    ends = [*points, note.onset + duration]
    for piece, (start, stop) in enumerate(zip(starts, ends, strict=True)):
        yield Event(
            refs=tuple(refs),
            midis=midis,
            onset=start,
            duration=stop - start,
            is_grace=note.is_grace,
            trill=trill,
            note=note,
            piece=piece,
            pieces=len(starts),
        )


def upper_note_interval(note: Note, bar: Bar) -> int:
    """Semitones up to the upper note of a trill or the like in the key of ``bar``, else 0."""
    if not note.decorations or not UPPER_NOTE_DECORATIONS.intersection(note.decorations):
        return 0
    top = max(note.pitches, key=lambda pitch: pitch.midi)
    step = (top.step + 1) % 7
    natural = (0, 2, 4, 5, 7, 9, 11)[step] + (12 if step == 0 else 0)
    own = (0, 2, 4, 5, 7, 9, 11)[top.step] + top.alter
    return max(1, min(3, natural + bar.key.alters[step] - own))


MOST_PLACES = 6
"""So many places a message names."""


def possible_drones(
    drone: Sequence[DroneDemand], instrument: Instrument, tune: Tune
) -> tuple[tuple[DroneDemand, ...], list[Message]]:
    """The drones that exist on the instrument, and messages about the others."""
    kept, messages = [], []
    for demand in sorted(drone, key=lambda d: d.onset):
        exists = 1 <= demand.string_index <= len(instrument.strings)
        if exists and 0 <= demand.key <= instrument.string(demand.string_index).key_count:
            kept.append(demand)
            continue
        what = f"there is no key {demand.key} on string {demand.string_index} for a drone"
        messages.append(Message(tune.place, "drone", what, "the drone is left out"))
    return tuple(kept), messages


def drones_at(
    drone: Sequence[DroneDemand], events: Sequence[Event], end: Fraction
) -> list[DroneDemand | None]:
    """The drone that is asked for at each event; no event begins at ``end`` or later."""
    if not drone:
        return [None] * len(events)
    if drone[0].onset <= 0 and drone[0].end >= end:
        return [drone[0]] * len(events)
    return [drone_at(drone, event.onset) for event in events]


def has_pins(note: Note) -> bool:
    """True when a finger or a string is pinned to the note."""
    if note.string_pin is not None:
        return True
    return any(pin is not None for pin in note.finger_pins) if note.finger_pins else False


def drone_at(drone: Sequence[DroneDemand], onset: Fraction) -> DroneDemand | None:
    """The drone that is asked for at this time."""
    for demand in drone:
        if demand.onset <= onset < demand.end:
            return demand
    return None


def find_string(instrument: Instrument, name: str) -> int | None:
    """Index of the string that a player calls ``name`` ("D", "low C", "C3", "2"), or that scores
    number from the highest ("high 1"); None where there is none."""
    wanted = re.sub(r"\s+", " ", name).strip().casefold()
    wanted = wanted.removesuffix("-string").removesuffix(" string")
    for string in instrument.strings:
        octave = string.open_midi // 12 - 1
        letter = string.name.split()[-1]
        if wanted in (string.name.casefold(), f"{letter}{octave}".casefold(), str(string.index)):
            return string.index
    head, _, number = wanted.partition(" ")
    if head == "high" and number.isdecimal() and 0 < int(number) <= len(instrument.strings):
        return len(instrument.strings) + 1 - int(number)
    return None


@dataclass(frozen=True, slots=True)
class LostPin:
    """A pin that cannot be kept, and why."""

    event: Event
    cause: str


def postures_for(
    event: Event, drone: DroneDemand | None, tables: CostTables, kept_string: int | None = None
) -> tuple[PostureSet | None, list[LostPin]]:
    """The postures for an event with its pins; without those pins that cannot be kept. It stays on
    ``kept_string`` where none is pinned."""
    lost: list[LostPin] = []
    instrument = tables.reach.instrument
    held = None if drone is None else HeldDrone(drone.string_index, drone.key, drone.finger)
    plain = Demand(event.midis, (), None, held, event.trill)
    note = event.note
    fingers = _finger_pins(note, len(event.midis))
    string = kept_string
    if note.string_pin is not None:
        string = find_string(instrument, note.string_pin)
        if string is None:
            lost.append(LostPin(event, f"there is no string {note.string_pin!r}"))
    if event.piece:
        fingers = ()
    if string is None and not fingers:
        return tables.postures(plain), lost
    for tried_string, tried_fingers in ((string, fingers), (string, ()), (None, fingers)):
        found = tables.postures(plain._replace(string=tried_string, fingers=tried_fingers))
        if found is not None:
            if string is not None and tried_string is None:
                lost.append(LostPin(event, _why_no_string(event, string, instrument)))
            if fingers and not tried_fingers:
                lost.append(LostPin(event, _why_no_finger(event, fingers, instrument)))
            return found, lost
    found = tables.postures(plain)
    if found is not None:
        if string is not None:
            lost.append(LostPin(event, _why_no_string(event, string, instrument)))
        if fingers:
            lost.append(LostPin(event, _why_no_finger(event, fingers, instrument)))
    return found, lost


def _finger_pins(note: Note, tones: int) -> tuple[int | None, ...]:
    pins = note.finger_pins
    if all(pin is None for pin in pins):
        return ()
    if len(pins) == tones:
        return tuple(pins)
    return (*pins, *(None for _ in range(tones - len(pins))))[:tones]


def _why_no_string(event: Event, string: int, instrument: Instrument) -> str:
    """Why no tone of the event can be played on the string that is pinned."""
    name = instrument.string(string).name
    if all(place[0] != string for midi in event.midis for place in tone_places(instrument, midi)):
        return f"the {name} string cannot be, it does not have this tone"
    return f"the {name} string cannot be, with what else is held"


def _why_no_finger(event: Event, fingers: Sequence[int | None], instrument: Instrument) -> str:
    """Why the fingers that are pinned cannot play the event."""
    pinned = [finger for finger in fingers if finger is not None]
    what = f"finger {' '.join(map(str, pinned))} cannot be"
    if len(event.midis) > 1:
        return what + ", with what else is held"
    keys = [key for _, key in tone_places(instrument, event.midis[0])]
    if pinned == [0] and 0 not in keys:
        return what + ", no open string has this tone"
    if 0 not in pinned and not any(keys):
        return what + ", the tone is an open string"
    return what + ", with what else is held"


def note_names(event: Event) -> str:
    return " ".join(pitch.name for pitch in event.note.pitches)


def where(tune: Tune, event: Event) -> str:
    """The event's place as a player would say it: "bar 3, F#5"."""
    return f"{bar_name(tune.bars[event.bar].number)}, {note_names(event)}"


def lost_pin_messages(tune: Tune, lost: Sequence[LostPin]) -> list[Message]:
    """One message for each cause, with the places where it takes a pin away."""
    by_cause: dict[str, list[Event]] = {}
    for one in lost:
        by_cause.setdefault(one.cause, []).append(one.event)
    messages = []
    for cause, events in by_cause.items():
        places = list(dict.fromkeys(where(tune, event) for event in events))
        words = "; ".join(places[:MOST_PLACES])
        if len(places) > MOST_PLACES:
            words += f" and {len(places) - MOST_PLACES} more"
        remedy = "the pin is left out" if len(events) == 1 else "these pins are left out"
        messages.append(Message(events[0].note.place, "pin", f"{words}: {cause}", remedy))
    return messages
