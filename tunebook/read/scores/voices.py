"""The voices of a score: what each of them has in each measure, ready to be written as ABC.

A voice of MusicXML may begin and end anywhere and overlap with itself; a voice here has one thing
after the other. What overlaps goes to a voice of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tunebook.model.spelling import fifths_of, name_at
from tunebook.model.tune import ALTER_SIGNS, STEP_LETTERS, STEP_SEMITONES
from tunebook.read.scores.archive import ScoreError
from tunebook.read.scores.bars import Frame, clef_of, key_of, shift_of
from tunebook.read.scores.marks import Marks, marks_of
from tunebook.read.scores.sounds import Sound, Tone
from tunebook.read.scores.timeline import Part
from tunebook.read.scores.words import AT_BAR_END, ScoreChord, chord_of


@dataclass(slots=True)
class Event:
    """A note, chord, grace note or rest of a voice, with all that is written at it. ``before`` are
    signs and words over it, ``chords`` the symbols that begin with it or so long after it.
    ``slurs_opened`` and ``slurs_closed`` count only those that have both ends in the voice."""

    sound: Sound
    tones: tuple[Tone, ...]
    marks: Marks
    before: list[str] = field(default_factory=list)
    words: list[tuple[str, str]] = field(default_factory=list)
    chords: list[tuple[Fraction, ScoreChord]] = field(default_factory=list)
    slurs_opened: int = 0
    slurs_closed: int = 0
    is_hidden: bool = False

    @property
    def is_grace(self) -> bool:
        return self.sound.written.is_grace


@dataclass(slots=True)
class VoiceBar:
    """One measure of a voice. ``key`` and ``clef`` are texts of K: and clef= that begin here;
    ``at_end`` and ``words_at_end`` what stands at its bar sign."""

    events: list[Event] = field(default_factory=list)
    key: str = ""
    clef: str = ""
    at_end: list[str] = field(default_factory=list)
    words_at_end: list[tuple[str, str]] = field(default_factory=list)
    chord_at_end: str = ""


@dataclass(slots=True)
class ScoreVoice:
    """A voice, and the part in which it stands."""

    part: Part
    bars: list[VoiceBar]
    name: str = ""
    short_name: str = ""

    @property
    def has_tones(self) -> bool:
        return any(event.tones for bar in self.bars for event in bar.events)


def voices_of(
    part: Part, sounds: Sequence[Sequence[Sound]], frames: Sequence[Frame]
) -> list[ScoreVoice]:
    """The voices of a part that have notes, those of its upper staff first."""
    shift = _shift_of(part)
    streams = _streams(sounds)
    voices = []
    for number, ((staff, _), bars) in enumerate(streams):
        voice = ScoreVoice(part, [VoiceBar() for _ in sounds], part.name, part.short_name)
        for bar, found, measure in zip(voice.bars, bars, part.measures, strict=True):
            bar.events = [_event(sound, shift) for sound in found]
            for remark in (one for event in bar.events for one in event.marks.remarks):
                part.remarks.setdefault(remark, measure)
        if not voice.has_tones:
            continue
        is_first = not any(staff == key[0] for key, _ in streams[:number])
        _add_attributes(voice, staff, shift)
        if is_first:
            _add_directions(voice, staff, frames, has_all=number == 0)
        if number == 0:
            _add_chords(voice, shift)
        _settle_slurs(voice)
        _settle_ties(voice)
        voices.append(voice)
    if len(voices) > 1:
        for number, voice in enumerate(voices, start=1):
            voice.name = f"{part.name} {number}".strip()
            voice.short_name = f"{part.short_name} {number}".strip() if part.short_name else ""
    return voices


MOST_VOICES = 32

_Stream = tuple[tuple[int, str], list[list[Sound]]]


def _streams(sounds: Sequence[Sequence[Sound]]) -> list[_Stream]:
    """The sounds of each voice by measure; those that overlap an earlier one in a voice beside."""
    found: dict[tuple[int, str], list[list[Sound]]] = {}
    for index, measure in enumerate(sounds):
        ends: dict[tuple[int, str], Fraction] = {}
        for sound in measure:
            if sound.length <= 0:
                continue
            staff, name = sound.written.voice
            while sound.tones and ends.get((staff, name), Fraction(0)) - sound.onset >= _SMALL:
                name += "+"
            key = (staff, name)
            now = ends.get(key, Fraction(0))
            if now - sound.onset >= _SMALL:  # a rest on top of a note
                continue
            if abs(sound.onset - now) < _SMALL:  # only rounding lies between
                sound.onset = now
            if key not in found and len(found) >= MOST_VOICES:
                raise ScoreError(f"a part has more than {MOST_VOICES} voices", "split it")
            found.setdefault(key, [[] for _ in sounds])[index].append(sound)
            if not sound.written.is_grace:
                ends[key] = sound.onset + sound.length
    return sorted(found.items(), key=lambda one: one[0][0])


_SMALL = Fraction(1, 256)


def _event(sound: Sound, shift: tuple[int, int]) -> Event:
    marks = marks_of(sound.written)
    tones = tuple(_moved(tone, *shift) for tone in sound.tones)
    is_hidden = sound.written.elements[0].get("print-object") == "no"
    return Event(sound, tones, marks, list(marks.decorations), is_hidden=is_hidden)


def _shift_of(part: Part) -> tuple[int, int]:
    """How far a part sounds from what is written, as its first <transpose> says."""
    for measure in part.measures:
        for _, attributes in measure.at("attributes"):
            shift = shift_of(attributes)
            if shift is not None:
                return shift
    return 0, 0


def _moved(tone: Tone, steps: int, semitones: int) -> Tone:
    if not steps and not semitones:
        return tone
    octave, step = divmod(7 * tone.octave + tone.step + steps, 7)
    height = 12 * tone.octave + STEP_SEMITONES[tone.step] + tone.alter + semitones
    return replace(
        tone, step=step, octave=octave, alter=height - 12 * octave - STEP_SEMITONES[step]
    )


def fifths_of_shift(shift: tuple[int, int]) -> int:
    """How many sharps a key gains when it is moved so far."""
    return 7 * shift[1] - 12 * shift[0]


# What stands over and under the notes


def _add_attributes(voice: ScoreVoice, staff: int, shift: tuple[int, int]) -> None:
    for measure, bar in zip(voice.part.measures, voice.bars, strict=True):
        for _, attributes in measure.at("attributes"):
            bar.key = key_of(attributes, fifths_of_shift(shift)) or bar.key
            bar.clef = clef_of(attributes, staff) or bar.clef


def _main_event(bar: VoiceBar, onset: Fraction) -> Event | None:
    """The first note or rest at a time or after it; None at the end of the bar."""
    for event in bar.events:
        if not event.is_grace and event.sound.onset >= onset:
            return event
    return None


def _add_directions(
    voice: ScoreVoice, staff: int, frames: Sequence[Frame], *, has_all: bool
) -> None:
    """Hang directions on the notes at which they stand; what ends the music before it goes to the
    bar sign, a hairpin ends at the last note it covers."""
    for frame, bar in zip(frames, voice.bars, strict=False):
        for onset, direction in frame.directions.get(voice.part.identity, ()):
            if direction.staff != staff and not (has_all and direction.staff < 1):
                continue
            event = _main_event(bar, onset)
            for name in direction.decorations:
                if name in AT_BAR_END or event is None:
                    _put_at_end(bar, name)
                elif name not in event.before:
                    event.before.append(name)
            for words in direction.words:
                (bar.words_at_end if event is None else event.words).append(words)


def _put_at_end(bar: VoiceBar, name: str) -> None:
    """At the bar sign; the end of a hairpin, and a dynamic, at the last note."""
    notes = [event for event in bar.events if not event.is_grace]
    if name in ("crescendo)", "diminuendo)") and notes:
        notes[-1].before.append(name)
    elif name not in bar.at_end:
        bar.at_end.append(name)


def _add_chords(voice: ScoreVoice, shift: tuple[int, int]) -> None:
    for measure, bar in zip(voice.part.measures, voice.bars, strict=True):
        for onset, harmony in measure.at("harmony"):
            chord = chord_of(harmony)
            if chord is None:
                remark = ("a chord symbol cannot be read and is left out", "write it as Am or D7")
                voice.part.remarks.setdefault(remark, measure)
                continue
            chord = replace(chord, symbol=_moved_symbol(chord.symbol, shift))
            sounding = [one for one in bar.events if not one.is_grace and one.sound.onset <= onset]
            if sounding and onset < sounding[-1].sound.onset + sounding[-1].sound.length:
                sounding[-1].chords.append((onset - sounding[-1].sound.onset, chord))
            elif (event := _main_event(bar, onset)) is not None:
                event.chords.append((Fraction(0), chord))
            else:
                bar.chord_at_end = bar.chord_at_end or chord.symbol


def _moved_symbol(symbol: str, shift: tuple[int, int]) -> str:
    fifths = fifths_of_shift(shift)
    if not fifths or symbol == "N.C.":
        return symbol

    def move(name: str) -> tuple[str, str]:
        signs = len(name[1:]) - len(name[1:].lstrip("#b"))
        alter = name[1 : 1 + signs].count("#") - name[1 : 1 + signs].count("b")
        step, moved = name_at(fifths_of(STEP_LETTERS.index(name[0]), alter) + fifths)
        return STEP_LETTERS[step] + ALTER_SIGNS.get(moved, ""), name[1 + signs :]

    chord, slash, bass = symbol.partition("/")
    root, rest = move(chord)
    return (
        root
        + rest
        + (slash + move(bass)[0] if slash and bass[:1] in STEP_LETTERS else slash + bass)
    )


# Slurs and ties have two ends, or are none


def _in_order(voice: ScoreVoice) -> Iterator[Event]:
    for bar in voice.bars:
        yield from bar.events


def _settle_slurs(voice: ScoreVoice) -> None:
    open_slurs: dict[str, Event] = {}
    for event in _in_order(voice):
        for number in event.marks.slur_stops:
            start = open_slurs.pop(number, None)
            if start is not None and start is not event:
                start.slurs_opened += 1
                event.slurs_closed += 1
        for number in event.marks.slur_starts:
            open_slurs[number] = event


def _settle_ties(voice: ScoreVoice) -> None:
    """Take away ties that lead to no note of their pitch right after: such a note rings on, as
    writers of scores say, or its other end stands in another voice."""
    events = [
        (at, event)
        for at, bar in enumerate(voice.bars)
        for event in bar.events
        if not event.is_grace
    ]
    held: set[tuple[int, Fraction, int]] = set()
    for place, (at, event) in enumerate(events):
        waiting: set[tuple[int, Fraction, int]] = set()
        if place + 1 < len(events):
            later, after = events[place + 1]
            end = event.sound.onset + event.sound.length
            if later == at + 1:  # 0 where the note lasts to the end of its bar
                end -= voice.part.measures[at].length
            if later <= at + 1 and abs(after.sound.onset - end) < _SMALL:
                waiting = {(one.step, one.alter, one.octave) for one in after.tones}
        names = [(one.step, one.alter, one.octave) for one in event.tones]
        event.tones = tuple(
            replace(one, is_tied=one.is_tied and name in waiting, is_tied_from=name in held)
            for one, name in zip(event.tones, names, strict=True)
        )
        held = {name for one, name in zip(event.tones, names, strict=True) if one.is_tied}
