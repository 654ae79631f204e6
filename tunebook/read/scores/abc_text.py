"""A score's voices as the text of an ABC tune.

Source: The ABC Music Standard 2.1, section 4 (the order of what belongs to a note in 4.20). Fingers
are written as !1! to !4!, strings and chords between two notes as remarks of this program's own.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from tunebook.model.abc_text import in_quotes, in_words
from tunebook.model.spelling import signature_alters
from tunebook.model.tune import STEP_LETTERS
from tunebook.read.abc.keys import read_key
from tunebook.read.scores.bars import Frame
from tunebook.read.scores.sounds import Tone
from tunebook.read.scores.voices import Event, ScoreVoice, VoiceBar
from tunebook.read.scores.words import ScoreChord

UNIT = Fraction(1, 8)
BARS_A_LINE = 4
SMALL = Fraction(1, 256)
"""Less than this is rounding."""
_ALTERS = {
    Fraction(-2): "__", Fraction(-3, 2): "_3/2", Fraction(-1): "_", Fraction(-1, 2): "_/",
    Fraction(0): "=", Fraction(1, 2): "^/", Fraction(1): "^", Fraction(3, 2): "^3/2",
    Fraction(2): "^^",
}  # fmt: skip
_MOST_IN_TUPLET = 99


@functools.lru_cache(maxsize=5000)
def length_text(length: Fraction) -> str:
    """A length behind a note: "" for the unit, "3/2", "/4"."""
    ratio = length / UNIT
    if ratio.denominator == 1:
        return "" if ratio == 1 else str(ratio.numerator)
    top = "" if ratio.numerator == 1 else str(ratio.numerator)
    return f"{top}/{'' if ratio.denominator == 2 else ratio.denominator}"


@dataclass(slots=True)
class Line:
    """One voice's music for a line: its text, where each bar begins in it (from 0, with the
    frame), and its w: lines."""

    text: str = ""
    starts: list[tuple[int, Frame]] = field(default_factory=list)
    words: list[str] = field(default_factory=list)


class VoiceWriter:
    """Writes one voice, line by line; it knows the key in force."""

    def __init__(self, voice: ScoreVoice, identity: str) -> None:
        self._voice = voice
        self._id = identity
        self._alters: tuple[int, ...] = signature_alters(0)
        self._signs: dict[object, Fraction] = {}
        self._meter_length = Fraction(1)
        self._has_beams = any(
            event.marks.beam for bar in voice.bars for event in bar.events if event.tones
        )
        self._carried: frozenset[tuple[int, int]] = frozenset()

    def set_key(self, text: str) -> None:
        key = read_key(text).key
        self._alters = key.alters if key is not None else signature_alters(0)

    def line(self, frames: Sequence[Frame], *, is_melody: bool, first: int) -> Line:
        """The music of some measures. ``first`` is the index of the tune's first measure, whose key
        and metre stand in the header."""
        line = Line(f"[V:{self._id}] " if self._id else "")
        sung: list[Event] = []
        for frame in frames:
            bar = self._bar(frame)
            self._meter_length = frame.meter_length
            head = self._head(frame, bar, is_melody=is_melody, is_first=frame.index == first)
            line.starts.append((len(line.text), frame))
            self._signs = {}
            music = self._music(bar, frame)
            sung += [event for event in bar.events if event.tones and not event.is_grace]
            line.text += head + music + self._end(frame, bar) + " "
        line.text = line.text.rstrip()
        line.words = _words_lines(sung)
        return line

    def _bar(self, frame: Frame) -> VoiceBar:
        bars = self._voice.bars
        return bars[frame.index] if frame.index < len(bars) else VoiceBar()

    def _head(self, frame: Frame, bar: VoiceBar, *, is_melody: bool, is_first: bool) -> str:
        """Fields and the beginning of a repeat or an ending before the music of a bar."""
        parts = []
        if frame.begins_repeat and is_first:
            parts.append("|:")
        if frame.ending:
            parts.append("[" + ",".join(map(str, frame.ending)))
        if bar.key:
            if not is_first:
                parts.append(f"[K:{bar.key}]")
            self.set_key(bar.key)
        if bar.clef and not is_first:
            field_name = f"V:{self._id}" if self._id else "K:"
            parts.append(f"[{field_name}{' ' if self._id else ''}{bar.clef}]")
        if frame.meter and not is_first:
            parts.append(f"[M:{frame.meter}]")
        return " ".join(parts) + (" " if parts else "")

    def _end(self, frame: Frame, bar: VoiceBar) -> str:
        chord = f' "{in_quotes(bar.chord_at_end)}"' if bar.chord_at_end else ""
        signs = "".join(f"!{name}!" for name in dict.fromkeys([*bar.at_end, *frame.at_end]))
        words = "".join(f'"{sign}{in_quotes(text)}"' for sign, text in bar.words_at_end)
        before = f" {signs}{words}" if signs or words else ""
        return f"{chord}{before} {frame.sign_text}"

    # The notes of a bar

    def _music(self, bar: VoiceBar, frame: Frame) -> str:
        length = max(frame.length, max((_end_of(one) for one in bar.events), default=Fraction(0)))
        if not any(not event.is_grace for event in bar.events):
            return "z" + length_text(length or self._meter_length or Fraction(1))
        parts: list[str] = []
        graces: list[Event] = []
        now = Fraction(0)
        starts = _tuplet_starts(bar.events)
        for index, event in enumerate(bar.events):
            if event.is_grace:
                graces.append(event)
                continue
            if event.sound.onset - now > SMALL:
                parts.append("x" + length_text(event.sound.onset - now) + " ")
            parts.append(starts.get(index, "") + self._event(event, graces))
            graces = []
            now = _end_of(event)
            parts.append("" if self._is_joined(event, bar.events[index + 1 :]) else " ")
        if graces:
            parts.append(self._graces(graces))
        if length - now > SMALL:
            parts.append("x" + length_text(length - now))
        return "".join(parts).rstrip()

    def _is_joined(self, event: Event, following: Sequence[Event]) -> bool:
        after = next((one for one in following if not one.is_grace), None)
        if after is None or not event.tones or not after.tones:
            return False
        if self._has_beams:
            return event.marks.beam in ("begin", "continue")
        if max(event.sound.length, after.sound.length) >= Fraction(1, 4):
            return False
        is_threefold = (
            (self._meter_length * 8).denominator == 1
            and (self._meter_length * 8) % 3 == 0
            and self._meter_length != Fraction(3, 4)
        )
        beat = Fraction(3, 8) if is_threefold else Fraction(1, 4)
        return event.sound.onset // beat == after.sound.onset // beat

    def _event(self, event: Event, graces: Sequence[Event]) -> str:
        written = event.sound.length * event.sound.ratio[0] / event.sound.ratio[1]
        before = "(" * event.slurs_opened
        before += "".join(_chord(delay, chord) for delay, chord in event.chords)
        before += "".join(f'"{sign}{in_quotes(text)}"' for sign, text in event.words)
        if event.marks.string is not None and len(event.tones) == 1:
            before += f"[r:string high {event.marks.string}]"
        if event.marks.trill_finger is not None:
            before += f"[r:trill finger {event.marks.trill_finger}]"
        before += "".join(f"!{name}!" for name in event.before)
        before += self._graces(graces) if graces else ""
        return before + self._note(event, written) + ")" * event.slurs_closed

    def _graces(self, graces: Sequence[Event]) -> str:
        slash = (
            "/"
            if graces[0].sound.written.elements[0].find("grace[@slash='yes']") is not None
            else ""
        )
        inner = "".join(
            "(" * one.slurs_opened
            + "".join(f"!{name}!" for name in one.before)
            + self._note(one, one.sound.length)
            + ")" * one.slurs_closed
            for one in graces
            if one.tones
        )
        return f"{{{slash}{inner}}}" if inner else ""

    def _note(self, event: Event, written: Fraction) -> str:
        length = length_text(written)
        if not event.tones:
            return ("x" if event.is_hidden else "z") + length
        tones = [
            _finger(event, at) + self._tone(tone, event, at) for at, tone in enumerate(event.tones)
        ]
        are_tied = [tone.is_tied for tone in event.tones]
        if len(tones) == 1:
            return tones[0] + length + ("-" if are_tied[0] else "")
        if all(are_tied):
            return f"[{''.join(tones)}]{length}-"
        marked = [tone + ("-" if tied else "") for tone, tied in zip(tones, are_tied, strict=True)]
        return f"[{''.join(marked)}]{length}"

    def _tone(self, tone: Tone, event: Event, at: int) -> str:
        letter = STEP_LETTERS[tone.step]
        octave = tone.octave - 4
        name = letter.lower() + "'" * (octave - 1) if octave > 0 else letter + "," * -octave
        return self._sign(tone, event, at) + name

    def _sign(self, tone: Tone, event: Event, at: int) -> str:
        """The accidental of a tone: where the score shows one, and wherever one reader of ABC or
        another would take the tone for something else (ABC 2.1, section 11.3)."""
        usual = Fraction(self._alters[tone.step])
        same_place, same_step = (tone.step, tone.octave), tone.step
        implied = {self._signs.get(same_place, usual), self._signs.get(same_step, usual)}
        shows = at < len(event.marks.shows_sign) and event.marks.shows_sign[at]
        # A tie carries the alteration over the bar line.
        is_carried = tone.is_tied_from and event.sound.onset == 0 and implied == {usual}
        if is_carried and not shows:
            return ""
        if implied == {tone.alter} and not shows:
            return ""
        self._signs[same_place] = self._signs[same_step] = tone.alter
        return _ALTERS.get(tone.alter, "")


def _chord(delay: Fraction, chord: ScoreChord) -> str:
    """A chord before its note, or the note that it begins so long after."""
    symbol, after = chord.symbol, f" after {delay}" if delay else ""
    if symbol == "N.C.":
        return f'"^{in_quotes(symbol)}"'
    if delay:
        likely = f"solved {symbol} {chord.likely}" if chord.likely else f"chord {symbol}"
        return f"[r:{likely}{after}]"
    mark = f"[r:solved {symbol} {chord.likely}]" if chord.likely else ""
    return f'{mark}"{in_quotes(symbol)}"'


def _finger(event: Event, at: int) -> str:
    finger = event.marks.fingers[at] if at < len(event.marks.fingers) else None
    return "" if finger is None else f"!{finger}!"


def _end_of(event: Event) -> Fraction:
    return event.sound.onset + (Fraction(0) if event.is_grace else event.sound.length)


def _tuplet_starts(events: Sequence[Event]) -> dict[int, str]:
    """The sign of the tuplet that begins with an event, by its index: each runs on while the ratio
    is the same and until it fills what a tuplet of that ratio fills, or the score ends it."""
    starts: dict[int, str] = {}
    group: list[int] = []
    total = Fraction(0)
    smallest = Fraction(0)

    def close() -> None:
        nonlocal group, total, smallest
        if group:
            p, q = events[group[0]].sound.ratio
            starts[group[0]] = f"({p}:{q}:{len(group)}"
        group, total, smallest = [], Fraction(0), Fraction(0)

    for index, event in enumerate(events):
        if event.is_grace:
            continue
        ratio = event.sound.ratio
        if group and (
            ratio != events[group[0]].sound.ratio
            or len(group) >= _MOST_IN_TUPLET
            or _has_end(event, "start")
            or event.sound.onset != _end_of(events[group[-1]])
        ):
            close()
        if ratio == (1, 1):
            continue
        group.append(index)
        written = event.sound.length * ratio[0] / ratio[1]
        smallest = min(smallest or written, written)
        total += written
        is_full = smallest > 0 and (total / smallest) % ratio[0] == 0
        if _has_end(event, "stop") or (is_full and not _is_marked(events, group[0])):
            close()
    close()
    return starts


def _has_end(event: Event, kind: str) -> bool:
    return any(
        one.get("type") == kind
        for element in event.sound.written.elements
        for one in element.iterfind("notations/tuplet")
    )


def _is_marked(events: Sequence[Event], first: int) -> bool:
    """Whether the score marks the beginning of this tuplet, and so its end too."""
    return _has_end(events[first], "start")


def _words_lines(sung: Sequence[Event]) -> list[str]:
    verses = sorted({verse for event in sung for verse in event.marks.syllables})
    if not verses:
        return []
    return [_verse(sung, verse) for verse in range(1, verses[-1] + 1)]


def _verse(sung: Sequence[Event], verse: int) -> str:
    pieces = []
    for event in sung:
        syllable = event.marks.syllables.get(verse)
        if syllable is None:
            pieces.append("*")
        elif not syllable.text:
            pieces.append("_")
        else:
            pieces.append(in_words(syllable.text) + ("-" if syllable.is_joined else ""))
    while pieces and pieces[-1] == "*":
        pieces.pop()
    return "w: " + " ".join(pieces)
