"""The tones of a tune as other programs want them: tied together into one entry for what is struck
once, as they are heard (repeats expanded, times exact), and spelled where no one wrote them down
(open strings, drones, tones of chord shapes).

Times of what is heard are Fractions of a whole note from the beginning of the performance.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tunebook.model.arrangement import ChordSpan, DroneSpan, FingeredNote
from tunebook.model.spelling import spell_in_key
from tunebook.model.tune import STEP_SEMITONES, Bar, Key, Note, Pitch, Tune

# Pitch class to (step, alter) without a key: the black keys as folk keys have them most often.
_MIXED_STEPS = ((0, 0), (0, 1), (1, 0), (2, -1), (2, 0), (3, 0), (3, 1), (4, 0), (4, 1), (5, 0),
                (6, -1), (6, 0))  # fmt: skip


def spelled_pitch(midi: int, key: Key | None = None) -> Pitch:
    """Return a spelling of MIDI number ``midi`` in ``key``; E flat and B flat without a key."""
    pitch_class = midi % 12
    step, alter = _MIXED_STEPS[pitch_class] if key is None else spell_in_key(pitch_class, key)
    octave = (midi - alter - STEP_SEMITONES[step]) // 12 - 1
    return Pitch(octave=octave, step=step, alter=alter)


@dataclass(frozen=True, slots=True)
class TiedNote:
    """A note that is struck, with the whole duration (whole notes) it and its tied notes sound."""

    fingered: FingeredNote
    duration: Fraction


def tied_notes(notes: Sequence[FingeredNote]) -> tuple[TiedNote, ...]:
    """Return ``notes`` (written order) with those tied to the one before joined to it.

    A note is joined when the note before is tied on every tone of it and ends where it begins. A
    note tied from the far side of a repeat sign (into a second ending) has nothing written right
    before it and stays an entry of its own. So does a double stop of which one tone is new.
    """
    joined: list[TiedNote] = []
    last: FingeredNote | None = None  # the last note that takes time, tied or not
    last_index = -1
    for fingered in notes:
        if last is not None and _continues(last, fingered):
            longer = joined[last_index].duration + fingered.note.duration
            joined[last_index] = TiedNote(joined[last_index].fingered, longer)
            last = fingered
            continue
        joined.append(TiedNote(fingered, fingered.note.duration))
        if not fingered.note.is_grace:
            last, last_index = fingered, len(joined) - 1
    return tuple(joined)


def _continues(last: FingeredNote, fingered: FingeredNote) -> bool:
    note = fingered.note
    if note.is_grace or last.note.onset + last.note.duration != note.onset:
        return False
    tied = {
        pitch.midi
        for pitch, is_tied in zip(last.note.pitches, last.note.ties, strict=False)
        if is_tied
    }
    return all(pitch.midi in tied for pitch in note.pitches)


# A grace note sounds for a 32nd, and all before one note for half of that note at most; they are
# played on the beat. Our judgement: short, yet heard at dance tempo.
GRACE_LENGTH = Fraction(1, 32)
GRACE_SHARE = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone that is struck once, from ``onset`` for ``duration``, ``cents`` above its key."""

    midi: int
    onset: Fraction
    duration: Fraction
    cents: int = 0

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """A bar at the place in the performance, ``onset``, where it is heard."""

    bar: Bar
    onset: Fraction


def played_bars(tune: Tune) -> tuple[PlayedBar, ...]:
    """Return the bars in the order in which they are played, one entry per hearing."""
    heard: list[PlayedBar] = []
    onset = Fraction(0)
    for index in tune.played:
        bar = tune.bars[index]
        heard.append(PlayedBar(bar, onset))
        onset += bar.duration
    return tuple(heard)


def melody_tones(tune: Tune, *, with_grace_notes: bool = False) -> tuple[Tone, ...]:
    """Return the melody's tones. A tie joins a tone to the next note when that has the same tone
    and begins where the tied one ends, across bar lines, repeats and endings alike."""
    tones: list[Tone] = []
    tied: dict[int, int] = {}
    graces: list[Note] = []
    for onset, note in _notes_as_heard(tune):
        if note.is_grace:
            graces.append(note)
            continue
        leading = _grace_tones(graces, onset, note.duration) if with_grace_notes else []
        graces = []
        tones += leading
        delay = sum((tone.duration for tone in leading), Fraction(0)) if not note.is_rest else 0
        tied = _add_note(tones, note, onset, Fraction(delay), tied)
    return tuple(sorted(tones, key=lambda tone: (tone.onset, tone.midi)))


def _notes_as_heard(tune: Tune) -> Iterator[tuple[Fraction, Note]]:
    for heard in played_bars(tune):
        for note in heard.bar.notes:
            yield heard.onset + note.onset - heard.bar.onset, note


def _add_note(
    tones: list[Tone], note: Note, onset: Fraction, delay: Fraction, tied: dict[int, int]
) -> dict[int, int]:
    """Add the tones of ``note`` to ``tones``; ``tied`` gives, by pitch in cents, the place in
    ``tones`` of those waiting for a tied note. Return those that wait after this note."""
    waiting: dict[int, int] = {}
    for number, pitch in enumerate(note.pitches):
        sounding = 100 * pitch.midi + pitch.cents
        at = tied.get(sounding)
        if at is not None and tones[at].end == onset:
            tones[at] = replace(tones[at], duration=tones[at].duration + note.duration)
        elif sounding in {100 * other.midi + other.cents for other in note.pitches[:number]}:
            continue  # a unison on two strings is one tone to the ear
        else:
            at = len(tones)
            tones.append(Tone(pitch.midi, onset + delay, note.duration - delay, pitch.cents))
        if number < len(note.ties) and note.ties[number]:
            waiting[sounding] = at
    return waiting


def _grace_tones(graces: Sequence[Note], onset: Fraction, duration: Fraction) -> list[Tone]:
    sounding = [note for note in graces if not note.is_rest]
    if not sounding:
        return []
    length = min(GRACE_LENGTH, duration * GRACE_SHARE / len(sounding))
    return [
        Tone(midi, onset + place * length, length, cents)
        for place, note in enumerate(sounding)
        for midi, cents in sorted({(pitch.midi, pitch.cents) for pitch in note.pitches})
    ]


def drone_tones(tune: Tune, spans: Iterable[DroneSpan]) -> tuple[Tone, ...]:
    """Return the drone's tones; one that goes on (over a bar line, a repeat, or into another
    finger) is struck once."""
    pieces = _heard_pieces(tune, [(s.onset, s.duration, (s.stop.midi,)) for s in spans])
    return _joined(pieces, joins_restarts=True)


def held_tone(tune: Tune, midi: int) -> tuple[Tone, ...]:
    """Return one tone held through the whole performance."""
    length = sum((tune.bars[index].duration for index in tune.played), Fraction(0))
    return (Tone(midi, Fraction(0), length),) if length else ()


def chord_tones(tune: Tune, spans: Iterable[ChordSpan]) -> tuple[Tone, ...]:
    """Return the tones of the chords, each struck where its span begins (and where a repeat
    comes back into the middle of it)."""
    pieces = _heard_pieces(tune, [(s.onset, s.duration, _tones_of_chord(s)) for s in spans])
    return _joined(pieces, joins_restarts=False)


_TonePart = tuple[Tone, bool]


def _heard_pieces(
    tune: Tune, spans: Sequence[tuple[Fraction, Fraction, tuple[int, ...]]]
) -> Iterator[_TonePart]:
    """Cut spans of the written tune at its bars, and give each piece its place in the
    performance; the flag marks the piece with which its span begins."""
    by_bar = {bar.index: _pieces_of_bar(bar, spans) for bar in tune.bars}
    for heard in played_bars(tune):
        for tone, begins in by_bar[heard.bar.index]:
            yield replace(tone, onset=tone.onset - heard.bar.onset + heard.onset), begins


def _pieces_of_bar(
    bar: Bar, spans: Sequence[tuple[Fraction, Fraction, tuple[int, ...]]]
) -> list[_TonePart]:
    pieces: list[_TonePart] = []
    for onset, duration, tones in spans:
        start, end = max(onset, bar.onset), min(onset + duration, bar.onset + bar.duration)
        if start < end:
            pieces += [(Tone(midi, start, end - start), start == onset) for midi in tones]
    return pieces


def _joined(pieces: Iterable[_TonePart], *, joins_restarts: bool) -> tuple[Tone, ...]:
    tones: list[Tone] = []
    last: dict[int, int] = {}
    for tone, begins in pieces:
        at = last.get(tone.midi)
        if at is not None and tones[at].end == tone.onset and (joins_restarts or not begins):
            tones[at] = replace(tones[at], duration=tones[at].duration + tone.duration)
            continue
        last[tone.midi] = len(tones)
        tones.append(tone)
    return tuple(tones)


_INTERVALS = {
    "major": (0, 4, 7),
    "minor": (0, 3, 7),
    "diminished": (0, 3, 6),
    "augmented": (0, 4, 8),
    "other": (0, 7),
}
_LOWEST_CHORD_TONE = 48  # C3, the usual lowest open string


def _tones_of_chord(span: ChordSpan) -> tuple[int, ...]:
    """The tones of the chosen shape, else a close triad above C3 with its minor seventh."""
    if span.shape:
        return tuple(sorted({stop.midi for stop in span.shape}))
    root = _LOWEST_CHORD_TONE + span.chord.root_class
    tones = [root + interval for interval in _INTERVALS[span.chord.quality]]
    if span.chord.extension.startswith(("7", "9")):
        tones.append(root + 10)
    return tuple(tones)
