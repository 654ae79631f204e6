"""Fingered ABC: the text as it stood, with fingers, strings, drones and chosen chords written in.

A line of music is cut into pieces ``(kind, text, start)``, with ``start`` counting from 0, of which
every character belongs to one (The ABC Music Standard 2.1, sections 4.1, 4.12, 4.14 to 4.20, 6.1).

A finger is the decoration !0! to !4! right before its note (section 4.14), after the note's other
decorations as section 4.20 orders them; in a chord each tone has its own, inside the brackets. A
chosen chord is a quoted symbol before all of them, with a remark before it that says that it was
chosen and how likely it is; one that begins while a note is held is a remark alone. Strings and
drones are remarks too (see ``read/abc/remarks.py``): the string only where the caller says so,
since most of them follow from the fingers. Only these are added: spaces, line ends, comments and
everything else stay as they were, and a program that reads the result finds the same tune, with the
fingers as pins. What is written is plain ASCII, so the file keeps its encoding.

Not written, each with a message: a finger for a note that comes out of a macro; anything in a line
where it would be misread (one that uses ! as a line break); a transposed tune or another line than
the text has, whose fingers belong to other notes (see ``write/tune_abc.py``). A note that has a
finger keeps it, and a note tied to the one before has none.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.errors import Message, SourcePlace
from tunebook.model.arrangement import Arrangement, ChordSpan, DroneDemand, FingeredNote
from tunebook.model.tune import KEY_FIXED, STEP_LETTERS, Note, Tune, pitch_name

LinePiece = tuple[str, str, int]

_LENGTH = r"\d*/*\d*"
_PIECE = re.compile(
    r"(?P<comment>(?<!\\)%.*)"
    r'|(?P<quoted>"[^"]*")'
    r"|(?P<decoration>!(?:[Dd]\.?\s?[CcSs]\.?\s*al\s*\w+|[Dd]a\s[Cc]apo|[^!\s|\[\]\"]+)!)"
    r"|(?P<field>\[[A-Za-z]:[^\[\]]*\])"
    rf"|(?P<oldchord>\+[A-Ga-g^_=,'/\d]+\+{_LENGTH})"
    r"|(?P<plus>\+[^+\s|]+\+)"
    rf"|(?P<note>(?:\^\^|__|[\^_]\d{{0,2}}/\d{{0,2}}|[\^_=])?[A-Ga-g][,']*{_LENGTH})"
    r"|(?P<symbol>\.(?![(|-])|[~H-Wh-w])"
    r"|(?P<space>[ \t`]+)"
    r"|(?P<other>.)",
    re.DOTALL,
)
_DECORATING = ("quoted", "decoration", "plus", "symbol")
_NOTE_HEAD = re.compile(r"(?:\^\^|__|[\^_]\d{0,2}/\d{0,2}|[\^_=])?([A-Ga-g])[,']*")
_FINGER = re.compile(r"[!+][0-5][!+]")


def pieces_of(line: str) -> list[LinePiece]:
    """Return the pieces of a line of music, in order."""
    return [(m.lastgroup or "other", m.group(), m.start()) for m in _PIECE.finditer(line)]


def run_before(pieces: Sequence[LinePiece], column: int) -> list[LinePiece]:
    """Return the decorations and quoted texts that stand right before offset ``column`` and so
    belong to what begins there, in order."""
    run: list[LinePiece] = []
    first = bisect_left(pieces, column, key=lambda piece: piece[2])
    for index in range(first - 1, -1, -1):
        piece = pieces[index]
        if piece[0] in _DECORATING:
            run.append(piece)
        elif piece[0] != "space":
            break
    return run[::-1]


def has_finger(run: Sequence[LinePiece]) -> bool:
    """True when one of the pieces is a fingering decoration."""
    return any(_FINGER.fullmatch(text) for _, text, _ in run)


def letter_at(line: str, column: int) -> str:
    """Return the note letter, as a capital, of the note that begins at offset ``column``; "" when
    none begins there."""
    match = _NOTE_HEAD.match(line, column)
    return match[1].upper() if match else ""


def chord_notes(line: str, start: int, end: int) -> list[tuple[int, str, bool]]:
    """Return offset, letter and whether it has a finger for each note of the bracketed chord that
    lies between ``start`` and ``end``; nothing when no such chord is there."""
    if line[start : start + 1] != "[":
        return []
    found: list[tuple[int, str, bool]] = []
    inner = [(kind, text, start + 1 + at) for kind, text, at in pieces_of(line[start + 1 : end])]
    for kind, text, at in inner:
        if kind == "note":
            found.append((at, letter_at(line, at), has_finger(run_before(inner, at))))
        elif text == "]":
            return found
    return []


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
    """What else to write for one tune: the strings of these notes (bar and note index), that no
    drone sounds before the first that it has, and that the tune stays in its key; the same for its
    voices beside the melody, in order."""

    strings: frozenset[tuple[int, int]] = frozenset()
    is_silent: bool = False
    fixes_key: bool = False
    voices: tuple[Besides, ...] = ()


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
    """Return what one arrangement, its voices too, adds to the ``lines`` of its file, and messages
    about what cannot be added."""
    if arrangement.tune.line != arrangement.tune.line_of_text:
        what = "another line is printed than stands in the text, so no fingers are written into it"
        remedy = "export it with an edition that prints all of the tune"
        return [], [Message(arrangement.tune.place, "fingering", what, remedy)]
    writer = _TuneWriter(arrangement, lines)
    if writer.is_moved():
        what = "the tune is transposed, so no fingers are written into its text"
        remedy = "export it without transposing, with an edition that prints it as written"
        return [], [Message(arrangement.tune.place, "fingering", what, remedy)]
    for fingered in arrangement.notes:
        writer.add_fingers(fingered)
    writer.add_chords()
    for fingered in arrangement.notes:
        if (fingered.bar_index, fingered.note_index) in besides.strings:
            writer.add_string(fingered)
    writer.add_drones(besides.is_silent)
    writer.add_accents()
    if besides.fixes_key:
        writer.fix_key()
    found, messages = writer.insertions(), writer.messages
    more = (*besides.voices, *(NOTHING_BESIDES,) * len(arrangement.voices))
    for voice, other in zip(arrangement.voices, more, strict=False):
        insertions, said = insertions_of(voice.arrangement, lines, other)
        found += insertions
        messages += [one for one in said if one not in messages]
    return found, messages


class _TuneWriter:
    """Gathers the insertions of one tune."""

    def __init__(self, arrangement: Arrangement, lines: Sequence[str]) -> None:
        self._kept: dict[tuple[int, int], Insertion] = {}
        self.messages: list[Message] = []
        self._arrangement = arrangement
        self._lines = lines
        self._pieces: dict[int, list[LinePiece]] = {}
        tune = arrangement.tune
        notes = [note for bar in tune.bars for note in bar.notes]
        # What goes on over a bar sign that only other voices have is one note of the text.
        struck = (note for note in notes if note.pitches and not all(_tied_flags(note)))
        self._uses = Counter(note.place for note in struck)
        self._has_other_pins = bool(_PINS_FROM_ELSEWHERE.search(tune.source_text))

    def insertions(self) -> list[Insertion]:
        return list(self._kept.values())

    def is_moved(self) -> bool:
        """True when the tune was transposed, or most notes have other letters than their text."""
        if self._arrangement.tune.moved is not None:
            return True
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
            if fingered.trill_finger and note.trill_pin is None:
                self._write_before(note, f"[r:trill finger {fingered.trill_finger}]")
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
        if is_silent and tune.bars and tune.bars[0].onset not in begun:
            marks.append((tune.bars[0].onset, _SILENCE))
        for onset, remark in marks:
            note = times.sounding_at(onset)
            if note is not None and note.onset == onset and note.drone_pin is None:
                self._write_before(note, remark)

    def add_accents(self) -> None:
        """Write the double stops that are the program's own choice."""
        for accent in self._arrangement.accents:
            note = self._arrangement.tune.bars[accent.bar_index].notes[accent.note_index]
            if note.accent_pin is None and self._uses[note.place] == 1:
                stop = accent.span.stop
                finger = f" finger {stop.finger}"
                self._write_before(note, f"[r:accent {pitch_name(stop.midi)}{finger}]")

    def fix_key(self) -> None:
        """Write before the first note that the tune stays in its key."""
        first = next((note for bar in self._arrangement.tune.bars for note in bar.notes), None)
        if first is not None:
            self._write_before(first, f"[r:{KEY_FIXED}]")

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
        return f"[r:{words} strict]" if demand.is_strict else f"[r:{words}]"

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

    def _pieces_of(self, place: SourcePlace) -> list[LinePiece]:
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


_LINE = re.compile(r"(.*?)(\r\n|\r|\n|\Z)", re.DOTALL)
_BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True, slots=True)
class FingeredText:
    """The text with fingers, and what could not be written."""

    text: str
    messages: tuple[Message, ...] = ()


def write_fingers_in_bytes(
    data: bytes, arrangements: Iterable[Arrangement], besides: Mapping[int, Besides] | None = None
) -> tuple[bytes, tuple[Message, ...]]:
    """Return the bytes of a file with the fingers written in, in the encoding and with the line
    ends and byte-order mark it had, and the messages; ``besides`` as in :func:`write_fingers`."""
    encoding = encoding_of(data)
    result = write_fingers(data.decode(encoding, "surrogatepass"), arrangements, besides)
    return result.text.encode(encoding, "surrogatepass"), result.messages


def encoding_of(data: bytes) -> str:
    """An encoding that gives back the same bytes. Single-byte texts are taken for Latin-1, since
    only their ASCII part matters here."""
    if data.startswith(b"\xff\xfe"):
        return "utf-16-le"
    if data.startswith(b"\xfe\xff"):
        return "utf-16-be"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def lines_of(text: str) -> list[tuple[str, str]]:
    """The lines of a text, each with its line end."""
    return [(match[1], match[2]) for match in _LINE.finditer(text)]


def write_fingers(
    file_text: str,
    arrangements: Iterable[Arrangement],
    besides: Mapping[int, Besides] | None = None,
) -> FingeredText:
    """Return the text with fingers and chosen chords written in, and the messages about what
    could not be written. Lines are counted as they are in the tunes' places."""
    lines = lines_of(file_text)
    bodies = [body for body, _ in lines]
    mark = _BYTE_ORDER_MARK if file_text.startswith(_BYTE_ORDER_MARK) else ""
    bodies[0] = bodies[0].removeprefix(mark)
    messages: list[Message] = []
    by_line: dict[int, list[Insertion]] = {}
    for arrangement in arrangements:
        more = (besides or {}).get(arrangement.tune.first_line, NOTHING_BESIDES)
        insertions, notices = insertions_of(arrangement, bodies, more)
        messages += notices
        for insertion in insertions:
            by_line.setdefault(insertion.line, []).append(insertion)
    for line, insertions in by_line.items():
        written = _insert(bodies[line - 1], insertions)
        if written is None:
            messages.append(_unwritten(insertions[0], bodies[line - 1]))
        else:
            bodies[line - 1] = written
    text = "".join(body + end for body, (_, end) in zip(bodies, lines, strict=True))
    return FingeredText(mark + text, tuple(messages))


def _insert(line: str, insertions: Iterable[Insertion]) -> str | None:
    """Return the line with the insertions; None when it would not be read as before."""
    ordered = sorted(insertions, key=lambda one: one.column)
    parts: list[str] = []
    done = 0
    for insertion in ordered:
        parts += [line[done : insertion.column - 1], insertion.text]
        done = insertion.column - 1
    written = "".join([*parts, line[done:]])
    before = Counter(text for kind, text, _ in pieces_of(line) if kind != "space")
    added = Counter(
        text for one in ordered for kind, text, _ in pieces_of(one.text) if kind != "space"
    )
    after = Counter(text for kind, text, _ in pieces_of(written) if kind != "space")
    return written if after == before + added else None


def _unwritten(insertion: Insertion, line: str) -> Message:
    return Message(
        insertion.place,
        "fingering",
        "fingers would be misread in this line and are not written",
        "take single exclamation marks out of it",
        excerpt=line,
        underline=1,
    )
