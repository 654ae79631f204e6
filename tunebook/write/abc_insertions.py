"""What to write into the text of a tune, and where: fingers before notes, chords before those, and
remarks before all of them."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.errors import Message, SourcePlace
from tunebook.model.arrangement import Arrangement, ChordSpan, DroneDemand, FingeredNote
from tunebook.model.tune import STEP_LETTERS, Note, Tune, pitch_name
from tunebook.write.abc_scanner import (
    Piece,
    chord_notes,
    has_finger,
    letter_at,
    pieces_of,
    run_before,
)

_PINS_FROM_ELSEWHERE = re.compile(r"(?m)^s:|U:.*[!+]?[0-5][!+]?")
_SILENCE = "[r:drone off]"
_SAFE_SYMBOL = re.compile(r"[A-G][\w#+/()-]*\Z")


@dataclass(frozen=True, slots=True)
class Insertion:
    """Text to write before ``column`` of ``line`` (both from 1) of the file."""

    line: int
    column: int
    text: str
    place: SourcePlace


@dataclass(frozen=True, slots=True)
class Besides:
    """What else to write for one tune: the strings of these notes (bar and note index), and that it
    has no drone."""

    strings: frozenset[tuple[int, int]] = frozenset()
    is_silent: bool = False


NOTHING_BESIDES = Besides()


class _RefusedError(Exception):
    """A finger or chord that cannot be written; never leaves this module."""

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


def insertions_of(
    arrangement: Arrangement, lines: Sequence[str], besides: Besides = NOTHING_BESIDES
) -> tuple[list[Insertion], list[Message]]:
    """Return what one arrangement adds to the ``lines`` of its file, and messages about what
    cannot be added."""
    writer = _TuneWriter(arrangement, lines)
    if writer.is_moved():
        what = "the tune is transposed, so no fingers are written into its text"
        remedy = "export it without transposing"
        return [], [Message(arrangement.tune.place, "fingering", what, remedy)]
    for fingered in arrangement.notes:
        writer.add_fingers(fingered)
    writer.add_chords()
    for fingered in arrangement.notes:
        if (fingered.bar_index, fingered.note_index) in besides.strings:
            writer.add_string(fingered)
    writer.add_drones(besides.is_silent)
    return writer.insertions(), writer.messages


class _TuneWriter:
    """Gathers the insertions of one tune."""

    def __init__(self, arrangement: Arrangement, lines: Sequence[str]) -> None:
        self._kept: dict[tuple[int, int], Insertion] = {}
        self.messages: list[Message] = []
        self._arrangement = arrangement
        self._lines = lines
        self._pieces: dict[int, list[Piece]] = {}
        tune = arrangement.tune
        notes = [note for bar in tune.bars for note in bar.notes]
        self._uses = Counter(note.place for note in notes if note.pitches)
        self._has_other_pins = bool(_PINS_FROM_ELSEWHERE.search(tune.source_text))

    def insertions(self) -> list[Insertion]:
        return list(self._kept.values())

    def is_moved(self) -> bool:
        """True when most notes have other letters than their text."""
        checked = moved = 0
        for bar in self._arrangement.tune.bars:
            for note in bar.notes:
                if len(note.pitches) == 1 and self._uses[note.place] == 1:
                    letter = letter_at(self._line(note.place), note.place.column - 1)
                    checked += bool(letter)
                    moved += bool(letter) and letter != STEP_LETTERS[note.pitches[0].step]
        return moved > checked / 2

    def add_fingers(self, fingered: FingeredNote) -> None:
        note = fingered.note
        if not fingered.stops or all(_tied_flags(note)):
            return
        try:
            if self._uses[note.place] > 1:
                raise _RefusedError("this note comes out of a macro; its finger is not written",
                               "write the macro's notes out")  # fmt: skip
            if len(note.pitches) == 1:
                self._add_single(fingered)
            else:
                self._add_double_stop(fingered)
        except _RefusedError as refused:
            self._say(note.place, refused)

    def _add_single(self, fingered: FingeredNote) -> None:
        note = fingered.note
        line, at = self._line(note.place), note.place.column - 1
        if letter_at(line, at) != STEP_LETTERS[note.pitches[0].step]:
            raise _RefusedError(
                "this note is not what stands in the text; its finger is not written"
            )
        is_pinned = self._pin(note, 0) is not None
        if is_pinned or has_finger(run_before(self._pieces_of(note.place), at)):
            return
        self._insert(note.place, note.place.column, f"!{fingered.stops[0].finger}!")

    def _add_double_stop(self, fingered: FingeredNote) -> None:
        note = fingered.note
        line, at = self._line(note.place), note.place.column - 1
        end = note.end_column - 1 if note.end_column else len(line)
        tones = chord_notes(line, at, end)
        outside = [p for p in run_before(self._pieces_of(note.place), at) if has_finger([p])]
        has_inside = any(is_fingered for _, _, is_fingered in tones)
        if line[at : at + 1] == "+" or (outside and not has_inside):
            # Fingers before the bracket belong to its tones in order, so more go after them.
            fingers = [f"!{stop.finger}!" for stop in fingered.stops[len(outside) :]]
            self._insert(note.place, note.place.column, "".join(fingers))
            return
        tied = _tied_flags(note)
        letters = [STEP_LETTERS[pitch.step] for pitch in note.pitches]
        if [letter for _, letter, _ in tones] != letters:
            raise _RefusedError("this chord is not what stands in the text; it gets no fingers")
        # Fingers inside the bracket override those from elsewhere, so these are written out too.
        pins = [self._pin(note, tone) for tone in range(len(tones))]
        if None not in pins:
            return
        for tone, (offset, _, is_fingered) in enumerate(tones):
            if is_fingered or (tied[tone] and pins[tone] is None):
                continue
            stop, pin = fingered.stops[tone], pins[tone]
            self._insert(note.place, offset + 1, f"!{stop.finger if pin is None else pin}!")

    def _pin(self, note: Note, tone: int) -> int | None:
        """The pin that stands in a symbol line or behind a user symbol. One from outside the text,
        as from the book's file, does not count: it is written in."""
        pin = note.finger_pins[tone] if tone < len(note.finger_pins) else None
        return pin if self._has_other_pins else None

    def add_chords(self) -> None:
        """Write the chosen chords; those of the tune itself are there."""
        if all(span.source == "tune" for span in self._arrangement.chords):
            return
        times = _NoteTimes(self._arrangement.tune)
        for span in self._arrangement.chords:
            note = times.sounding_at(span.onset)
            if span.source == "tune" or note is None or not _SAFE_SYMBOL.match(span.chord.symbol):
                continue
            delay = span.onset - note.onset
            if delay == 0 and note.chord is None:
                self._write_before(note, _solved_remark(span) + f'"{span.chord.symbol}"')
            elif delay and all(delay != other for other, _ in note.later_chords):
                self._write_before(note, _solved_remark(span, delay))

    def add_string(self, fingered: FingeredNote) -> None:
        """Write the string of a note (of a double stop's first tone) that has no string yet."""
        note = fingered.note
        if fingered.stops and self._uses[note.place] == 1 and note.string_pin is None:
            name = self._string_name(fingered.stops[0].string_index)
            self._write_before(note, f"[r:string {name}]")

    def add_drones(self, is_silent: bool) -> None:
        """Write where each drone begins, and where one ends and no other begins."""
        tune, asked = self._arrangement.tune, self._arrangement.drones_asked
        times = _NoteTimes(tune)
        end = max((bar.onset + bar.duration for bar in tune.bars), default=Fraction(0))
        begun = {demand.onset for demand in asked}
        marks = [(demand.onset, self._drone_remark(demand)) for demand in asked]
        marks += [(d.end, _SILENCE) for d in asked if d.end not in begun and d.end < end]
        if is_silent and not asked and tune.bars:
            marks.append((tune.bars[0].onset, _SILENCE))
        for onset, remark in marks:
            note = times.sounding_at(onset)
            if note is not None and note.onset == onset and note.drone_pin is None:
                self._write_before(note, remark)

    def _drone_remark(self, demand: DroneDemand) -> str:
        """The pin of a drone: its string where there are several, its finger where it is one."""
        strings = self._arrangement.instrument.strings
        string = self._arrangement.instrument.string(demand.string_index)
        midi = string.open_midi + demand.key
        words = f"drone {pitch_name(midi)}"
        fingers = {
            span.stop.finger
            for span in self._arrangement.drone
            if demand.onset <= span.onset < demand.end
        }
        if len(fingers) == 1 and 0 not in fingers:
            words += f" finger {fingers.pop()}"
        if sum(0 <= midi - one.open_midi <= one.key_count for one in strings) > 1:
            words += f" string {self._string_name(demand.string_index)}"
        return f"[r:{words}]"

    def _string_name(self, index: int) -> str:
        """A string as a remark can name it: D, or with its octave where there are two of a letter,
        or by its number where even that is in doubt."""
        strings = self._arrangement.instrument.strings
        name = strings[index - 1].name
        if " " not in name:
            return name
        octave = f"{name.split()[-1]}{strings[index - 1].open_midi // 12 - 1}"
        same = [one for one in strings if one.open_midi == strings[index - 1].open_midi]
        return octave if len(same) == 1 else str(index)

    def _write_before(self, note: Note, text: str) -> None:
        """Write remarks and symbols before all that stands right before the note."""
        run = run_before(self._pieces_of(note.place), note.place.column - 1)
        column = run[0][2] + 1 if run else note.place.column
        self._insert(note.place, column, text, is_first=True)

    def _insert(self, place: SourcePlace, column: int, text: str, is_first: bool = False) -> None:
        """Keep an insertion; of two at one column the ``is_first`` comes first in the text."""
        other = self._kept.get((place.line, column))
        if other is not None:
            text = text + other.text if is_first else other.text + text
        if text:
            self._kept[place.line, column] = Insertion(place.line, column, text, place)

    def _line(self, place: SourcePlace) -> str:
        return self._lines[place.line - 1] if 0 < place.line <= len(self._lines) else ""

    def _pieces_of(self, place: SourcePlace) -> list[Piece]:
        if place.line not in self._pieces:
            self._pieces[place.line] = pieces_of(self._line(place))
        return self._pieces[place.line]

    def _say(self, place: SourcePlace, refused: _RefusedError) -> None:
        excerpt = self._line(place)
        self.messages.append(
            Message(place, "fingering", refused.what, refused.remedy, excerpt, underline=1)
        )


def _tied_flags(note: Note) -> list[bool]:
    flags = list(note.is_tied_from_before)
    return flags + [False] * (len(note.pitches) - len(flags))


class _NoteTimes:
    """Finds the note or rest in whose text something can be written for a time: the first of those
    that share a place, as the rests of many bars do. Grace notes have it after them."""

    def __init__(self, tune: Tune) -> None:
        self._notes: list[Note] = []
        places = set()
        for bar in tune.bars:
            for note in bar.notes:
                if not note.is_grace and note.place not in places:
                    places.add(note.place)
                    self._notes.append(note)
        self._onsets = [note.onset for note in self._notes]

    def sounding_at(self, onset: Fraction) -> Note | None:
        number = bisect_right(self._onsets, onset) - 1
        return self._notes[number] if number >= 0 else None


def _solved_remark(span: ChordSpan, delay: Fraction = Fraction(0)) -> str:
    after = f" after {delay}" if delay else ""
    likely = f"{span.confidence:.3f}".rstrip("0").rstrip(".")
    return f"[r:solved {span.chord.symbol} {likely}{after}]"
