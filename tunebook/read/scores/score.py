"""A score file as the text of a file of ABC tunes, and where in the score each place of it lies.

What a notation program says of a tune is written down as ABC of this program's own, and that is
read as any other tune: so a score is checked, solved and printed as ABC is, and can be moved over
to it. A place in that text is told as the part and bar of the score.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import PurePosixPath
from xml.etree.ElementTree import Element

from tunebook.errors import InputError, Message, SourcePlace
from tunebook.model.abc_text import in_field, in_quotes
from tunebook.read.limits import ReadingLimits
from tunebook.read.scores.abc_text import BARS_A_LINE, Line, VoiceWriter
from tunebook.read.scores.archive import ScoreError, root_of
from tunebook.read.scores.bars import Frame, frames_of
from tunebook.read.scores.movements import Movement, movements_of
from tunebook.read.scores.sounds import read_sounds
from tunebook.read.scores.timeline import Part, parts_of
from tunebook.read.scores.voices import Event, ScoreVoice, voices_of
from tunebook.read.scores.words import Direction, ScoreChord
from tunebook.read.spots import Spots

_MOST_SAID = 20
_NOBODY = "Music21"
"""What music21's writer puts down where it knows no composer."""


@dataclass(frozen=True, slots=True)
class ScoreText:
    """``text`` holds a tune of ABC for each movement; ``messages`` are what could not be read."""

    text: str
    spots: Spots
    messages: tuple[Message, ...]


def score_as_abc(data: bytes, name: str, limits: ReadingLimits) -> ScoreText:
    """Read a score file; ``name`` is what places in messages call it. Raises InputError, with one
    line, when nothing of it can be used."""
    try:
        return _read(data, name, limits)
    except ScoreError as error:
        raise InputError(error.what, error.remedy, SourcePlace(name)) from None
    except RecursionError:
        what = "it is nested too deeply"
        raise InputError(what, "export it once more", SourcePlace(name)) from None


def _read(data: bytes, name: str, limits: ReadingLimits) -> ScoreText:
    root = root_of(data, limits)
    _check_size(root, limits)
    parts = [part for part in parts_of(root) if part.measures]
    if not any(part.measures for part in parts):
        raise ScoreError("the score has no bars", "write some music")
    sounds = read_sounds(parts)
    frames = frames_of(parts)
    voices = [
        voice
        for part, found in zip(parts, sounds, strict=True)
        for voice in voices_of(part, found, frames)
    ]
    if not voices:
        raise ScoreError("the score has no notes with a pitch", "write some music")
    _share_chords(voices)
    movements = movements_of(root, parts, frames, PurePosixPath(name).stem)
    writer = _TextWriter(name, root)
    for number, movement in enumerate(movements, start=1):
        writer.add(number, movement, voices, frames)
    writer.add_remarks(parts)
    return writer.result()


def _check_size(root: Element, limits: ReadingLimits) -> None:
    counts = Counter(element.tag for element in root.iter())
    others = sum(counts[tag] for tag in ("measure", "attributes", "backup", "forward", "barline"))
    if counts["note"] > limits.score_notes or others > 4 * limits.score_notes:
        raise ScoreError(
            f"the score has more than {limits.score_notes} notes, or bars without end",
            "split it, or raise score_notes under [reading]",
        )


def _share_chords(voices: Sequence[ScoreVoice]) -> None:
    """Chords that stand over another voice alone are the melody's."""
    melody = voices[0]
    if any(event.chords for bar in melody.bars for event in bar.events):
        return
    for voice in voices[1:]:
        if not any(event.chords for bar in voice.bars for event in bar.events):
            continue
        for own, other in zip(melody.bars, voice.bars, strict=False):
            for event in other.events:
                for delay, chord in event.chords:
                    _put_chord(own.events, event.sound.onset + delay, chord)
                event.chords = []
        return


def _put_chord(events: Sequence[Event], onset: Fraction, chord: ScoreChord) -> None:
    before = [one for one in events if not one.is_grace and one.sound.onset <= onset]
    if before:
        before[-1].chords.append((onset - before[-1].sound.onset, chord))


_FIELDS = {"origin": "O", "rhythm": "R", "source": "S", "book": "B", "transcription": "Z"}


@dataclass(slots=True)
class _TextWriter:
    """Gathers the lines of the text and the spots in them."""

    name: str
    root: Element
    lines: list[str] = field(default_factory=list)
    starts: list[tuple[int, int]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    messages: list[Message] = field(default_factory=list)

    def add(
        self,
        number: int,
        movement: Movement,
        voices: Sequence[ScoreVoice],
        frames: Sequence[Frame],
    ) -> None:
        """Write one tune."""
        own = list(frames[movement.start : movement.stop])
        heard = [voice for voice in voices if _is_heard(voice, movement)]
        if not heard:
            return
        if self.lines:
            self.lines.append("")
        names = [str(at) for at in range(1, len(heard) + 1)] if len(heard) > 1 else [""]
        writers = [VoiceWriter(*pair) for pair in zip(heard, names, strict=True)]
        self.lines += [f"X:{number}", *(f"T:{in_field(title)}" for title in movement.titles)]
        self.lines += self._facts()
        self._music_header(own, heard, names, movement)
        for writer, voice in zip(writers, heard, strict=True):
            writer.set_key(_text_in_force(voice, movement.start, "key") or "none")
        _take_titles(heard, movement)
        for group in _groups(own):
            self._group(group, writers, heard, movement)

    def _facts(self) -> list[str]:
        found = []
        for creator in self.root.iterfind("identification/creator"):
            letter = {"composer": "C", "": "C"}.get(creator.get("type", ""))
            text = " ".join((creator.text or "").split())
            if text == _NOBODY:
                continue
            if text and letter:
                found.append(f"{letter}:{in_field(text)}")
            elif text:
                found.append(f"N:{in_field(creator.get('type', ''))}: {in_field(text)}")
        for one in self.root.iterfind("identification/miscellaneous/miscellaneous-field"):
            letter = _FIELDS.get(one.get("name", ""))
            text = " ".join((one.text or "").split())
            if letter and text:
                found.append(f"{letter}:{in_field(text)}")
        return found

    def _music_header(
        self,
        frames: Sequence[Frame],
        voices: Sequence[ScoreVoice],
        names: Sequence[str],
        movement: Movement,
    ) -> None:
        meter = movement.meter or "none"
        self.lines += [f"M:{meter}", "L:1/8", "I:linebreak $"]
        tempo = next(
            (one.tempo for _, one in _directions(frames[:1]) if one.tempo),
            "",
        )
        if tempo:
            self.lines.append(f"Q:{in_field(tempo)}")
        order = _take_order(frames, voices[0])
        if order:
            self.lines.append(f"P:{order}")
        for voice, name in zip(voices, names, strict=True):
            if name:
                self.lines.append(_voice_field(voice, name, movement))
        clef = _text_in_force(voices[0], movement.start, "clef") if not names[0] else ""
        key = _text_in_force(voices[0], movement.start, "key") or "none"
        self.lines.append(f"K:{key} {_shown_clef(clef)}".rstrip())

    def _group(
        self,
        frames: Sequence[Frame],
        writers: Sequence[VoiceWriter],
        voices: Sequence[ScoreVoice],
        movement: Movement,
    ) -> None:
        """A line of every voice; before it, as fields of their own, what begins with it."""
        for _, direction in _directions(frames[:1]):
            if direction.label:
                self.lines.append(f"P:{in_field(direction.label)}")
            if direction.tempo and frames[0].index != movement.start:
                self.lines.append(f"Q:{in_field(direction.tempo)}")
        for at, (writer, voice) in enumerate(zip(writers, voices, strict=True)):
            line = writer.line(frames, is_melody=at == 0, first=movement.start)
            if at == 0 and _breaks_after(frames, movement):
                line.text += " $"
            if at and frames[0].index == movement.start:
                line.text = _with_own_key(line.text, voice, voices[0], movement)
            self._add_line(line, voice)

    def _add_line(self, line: Line, voice: ScoreVoice) -> None:
        part = voice.part.name or voice.part.identity
        for column, frame in line.starts:
            self.starts.append((len(self.lines) + 1, column + 1))
            self.names.append(f"part {part} bar {frame.number}")
        self.lines.append(line.text)
        self.lines += line.words

    def add_remarks(self, parts: Sequence[Part]) -> None:
        """What was not read, each thing once, at the first place where it stands."""
        for part in parts:
            for (what, remedy), measure in list(part.remarks.items())[:_MOST_SAID]:
                bar = measure.number or str(measure.index + 1)
                spot = f"part {part.name or part.identity} bar {bar}"
                place = SourcePlace(self.name, 0, 0, spot)
                self.messages.append(Message(place, "score", what, remedy))

    def result(self) -> ScoreText:
        spots = Spots(tuple(self.starts), tuple(self.names))
        return ScoreText("\n".join(self.lines) + "\n", spots, tuple(self.messages))


_ORDER = re.compile(r"[A-Za-z](?:[A-Za-z\d().\s]*[A-Za-z\d)])")


def _take_order(frames: Sequence[Frame], melody: ScoreVoice) -> str:
    """The order of the parts where words over the first bar give it, and labels in the score have
    its letters; the words are then no longer words over a note."""
    labels = {one.label for _, one in _directions(frames) if one.label}
    if not frames or frames[0].index >= len(melody.bars):
        return ""
    for event in melody.bars[frames[0].index].events:
        for words in event.words:
            letters = {letter for letter in words[1] if letter.isalpha()}
            if labels and letters <= labels and _ORDER.fullmatch(words[1]):
                event.words.remove(words)
                return words[1]
    return ""


def _take_titles(voices: Sequence[ScoreVoice], movement: Movement) -> None:
    """Words over the first bar that are a title are no words over a note."""
    for voice in voices:
        for event in voice.bars[movement.start].events:
            event.words = [words for words in event.words if words[1] not in movement.titles]


def _is_heard(voice: ScoreVoice, movement: Movement) -> bool:
    bars = voice.bars[movement.start : movement.stop]
    return any(event.tones for bar in bars for event in bar.events)


def _directions(frames: Sequence[Frame]) -> Iterator[tuple[Fraction, Direction]]:
    for frame in frames:
        for found in frame.directions.values():
            yield from found


def _text_in_force(voice: ScoreVoice, index: int, name: str) -> str:
    """The key or clef with which a movement begins in a voice."""
    texts = [getattr(bar, name) for bar in voice.bars[: index + 1]]
    return next((text for text in reversed(texts) if text), "")


def _shown_clef(text: str) -> str:
    """A clef that is not the usual one."""
    return "" if text in ("", "clef=treble octave=0") else text.removesuffix(" octave=0")


def _voice_field(voice: ScoreVoice, name: str, movement: Movement) -> str:
    words = [f"V:{name}"]
    if voice.name:
        words.append(f'nm="{in_quotes(voice.name)}"')
    if voice.short_name:
        words.append(f'snm="{in_quotes(voice.short_name)}"')
    clef = _shown_clef(_text_in_force(voice, movement.start, "clef"))
    return " ".join([*words, *([clef] if clef else [])])


def _with_own_key(text: str, voice: ScoreVoice, melody: ScoreVoice, movement: Movement) -> str:
    """A line of a voice whose key is not the melody's, with its key before its first bar."""
    own = _text_in_force(voice, movement.start, "key") or "none"
    if own == (_text_in_force(melody, movement.start, "key") or "none"):
        return text
    head, _, music = text.partition("] ")
    return f"{head}] [K:{own}] {music}"


def _groups(frames: Sequence[Frame]) -> Iterator[list[Frame]]:
    """Lines of some bars; a new one where the score, a part or a tempo begins one."""
    has_breaks = any(frame.breaks_line for frame in frames[1:])
    group: list[Frame] = []
    for frame in frames:
        is_new = frame.breaks_line if has_breaks else len(group) >= BARS_A_LINE
        is_named = any(one.label or one.tempo for _, one in _directions([frame]))
        if group and (is_new or is_named or len(group) >= 2 * BARS_A_LINE):
            yield group
            group = []
        group.append(frame)
    if group:
        yield group


def _breaks_after(frames: Sequence[Frame], movement: Movement) -> bool:
    """Whether the score begins a new line after these bars."""
    return frames[-1].index + 1 in movement.line_starts
