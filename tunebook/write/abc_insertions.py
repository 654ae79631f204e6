"""What to write into the text of a tune, and where: fingers before notes, chords before those."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.errors import Message, SourcePlace
from tunebook.model.arrangement import Arrangement, ChordSpan, FingeredNote
from tunebook.model.tune import STEP_LETTERS, Note, Tune
from tunebook.write.abc_scanner import (
    Piece,
    chord_notes,
    has_finger,
    letter_at,
    pieces_of,
    run_before,
)

_PINS_FROM_ELSEWHERE = re.compile(r"(?m)^s:|U:.*[!+]?[0-5][!+]?")
_SAFE_SYMBOL = re.compile(r"[A-G][\w#+/()-]*\Z")


@dataclass(frozen=True, slots=True)
class Insertion:
    """Text to write before ``column`` of ``line`` (both from 1) of the file."""

    line: int
    column: int
    text: str
    place: SourcePlace


class _RefusedError(Exception):
    """A finger or chord that cannot be written; never leaves this module."""

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


def insertions_of(
    arrangement: Arrangement, lines: Sequence[str]
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
        by_onset = _notes_by_onset(self._arrangement.tune)
        for span in self._arrangement.chords:
            if span.source == "tune":
                continue
            note = by_onset.get(span.onset)
            if note is None:
                self._say(self._place_of_chord(span), _chord_in_note(span))
            elif note.chord is None:
                self._add_chord(note, span.chord.symbol)

    def _add_chord(self, note: Note, symbol: str) -> None:
        if not _SAFE_SYMBOL.match(symbol):
            return
        run = run_before(self._pieces_of(note.place), note.place.column - 1)
        column = run[0][2] + 1 if run else note.place.column
        self._insert(note.place, column, f'"{symbol}"', is_first=True)

    def _place_of_chord(self, span: ChordSpan) -> SourcePlace:
        """The note during which the chord begins."""
        bar = self._arrangement.tune.bars[span.bar_index]
        held = [note.place for note in bar.notes if note.onset <= span.onset]
        return held[-1] if held else bar.place

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


def _notes_by_onset(tune: Tune) -> dict[Fraction, Note]:
    """The note or rest that begins at each time; grace notes have their chord after them."""
    found: dict[Fraction, Note] = {}
    for bar in tune.bars:
        for note in bar.notes:
            if not note.is_grace:
                found.setdefault(note.onset, note)
    return found


def _chord_in_note(span: ChordSpan) -> _RefusedError:
    symbol = span.chord.symbol
    return _RefusedError(f"the chord {symbol} begins while a note is held and is not written")
