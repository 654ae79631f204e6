"""What an arranger may want to hear once more where two voices sound together.

Parallel octaves and unisons, clashes on strong beats, voices that cross, tones that the instrument
does not have. All of them are remarks and no mistakes: much of it is wanted in this music. The
rules are common practice, no source; where a number bounds them it is our judgement.

Of a chord the highest tone is the voice's line. Bars are looked at as they are written.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.errors import Message, SourcePlace
from tunebook.model.instrument import Instrument
from tunebook.model.names import bar_name, bars_in_words
from tunebook.model.tune import Bar, Note, Pitch
from tunebook.solve.fingering.postures import tone_places

PARALLEL_NOTES = 4
"""So many notes one after the other in octaves or in unison are told."""
CLASHES = frozenset((1, 2, 11))
"""Semitones, octaves aside, that clash: seconds, and the major seventh. The minor seventh belongs
to many chords."""
_MOST_NAMES = 8


@dataclass(frozen=True, slots=True)
class Meeting:
    """A moment at which one of the voices begins a note and both sound. ``bar`` is the second
    voice's; ``is_struck`` says of melody and voice whether they begin there."""

    bar: Bar
    onset: Fraction
    melody: Note
    voice: Note
    is_struck: tuple[bool, bool]

    @property
    def lines(self) -> tuple[Pitch, Pitch]:
        """The highest tone of each."""
        return _top(self.melody), _top(self.voice)

    @property
    def interval(self) -> int:
        """Semitones from the voice up to the melody."""
        melody, voice = self.lines
        return melody.midi - voice.midi


def _top(note: Note) -> Pitch:
    return max(note.pitches, key=lambda pitch: (pitch.midi, pitch.quarters))


def meetings(melody: Sequence[Bar], voice: Sequence[Bar]) -> tuple[Meeting, ...]:
    """The moments at which two voices, parallel bar by bar, sound together, in written order."""
    found: list[Meeting] = []
    for leading, bar in zip(melody, voice, strict=True):
        upper = [note for note in leading.notes if note.pitches and not note.is_grace]
        lower = [note for note in bar.notes if note.pitches and not note.is_grace]
        for onset in sorted({note.onset for note in (*upper, *lower)}):
            above, below = _sounding(upper, onset), _sounding(lower, onset)
            if above is not None and below is not None:
                struck = (_begins(above, onset), _begins(below, onset))
                found.append(Meeting(bar, onset, above, below, struck))
    return tuple(found)


def _sounding(notes: Sequence[Note], onset: Fraction) -> Note | None:
    return next((one for one in notes if one.onset <= onset < one.onset + one.duration), None)


def _begins(note: Note, onset: Fraction) -> bool:
    return note.onset == onset and not all(note.is_tied_from_before or (False,))


def voice_remarks(
    melody: Sequence[Bar], voice: Sequence[Bar], instrument: Instrument
) -> tuple[Message, ...]:
    """Return the remarks about ``voice``, to be played on ``instrument`` beside ``melody``, each
    with its bars; kinds are "parallel", "clash", "crossing" and "range"."""
    met = meetings(melody, voice)
    return (*_parallels(met), *_clashes(met), *_crossings(met), *_range(voice, instrument))


def _parallels(met: Sequence[Meeting]) -> Iterator[Message]:
    run: list[Meeting] = []
    for one in met:
        if run and not _goes_on(run[-1], one):
            yield from _parallel(run)
            run = []
        if one.is_struck == (True, True) and one.interval % 12 == 0:
            run.append(one)
    yield from _parallel(run)


def _goes_on(before: Meeting, one: Meeting) -> bool:
    """Whether both voices move on together in the same interval. A later ending is not played
    after the bar that stands before it."""
    is_later = bool(one.bar.ending) and min(one.bar.ending) > 1 and one.bar is not before.bar
    moves = before.lines[0].midi != one.lines[0].midi
    return (
        one.is_struck == (True, True) and before.interval == one.interval and moves and not is_later
    )


def _parallel(run: Sequence[Meeting]) -> Iterator[Message]:
    if len(run) < PARALLEL_NOTES:
        return
    kind = "octaves" if run[0].interval else "unisons"
    bars = bars_in_words(one.bar.number for one in run)
    yield Message(
        run[0].voice.place, "parallel", f"{bars}: {len(run)} notes in parallel {kind}"
    )  # fmt: skip


def _clashes(met: Sequence[Meeting]) -> Iterator[Message]:
    """One that is held over from before, on either side, is a suspension."""
    for one in met:
        if one.is_struck != (True, True) or not is_strong(one.bar, one.onset):
            continue
        for above in one.melody.pitches:
            for below in one.voice.pitches:
                if abs(above.midi - below.midi) % 12 in CLASHES:
                    where = bar_name(one.bar.number)
                    what = f"{where}: {below.name} clashes with {above.name} on a strong beat"
                    yield Message(one.voice.place, "clash", what)


def is_strong(bar: Bar, onset: Fraction) -> bool:
    """Whether a strong beat falls on ``onset``: the first of the bar, and in bars that fall into
    two equal halves of two beats or more (4/4, 6/8, 12/8) the first of the second half."""
    meter = bar.meter
    if meter.is_free:
        return False
    missing = meter.length - bar.duration if bar.is_pickup or bar.is_continued else Fraction(0)
    into = onset - bar.onset + max(missing, Fraction(0))
    beats = meter.beats // 3 if meter.is_compound else meter.beats
    has_half = (beats % 2 == 0 and beats > 2) or (meter.is_compound and beats == 2)
    return into == 0 or (has_half and into == meter.length / 2)


def _crossings(met: Sequence[Meeting]) -> Iterator[Message]:
    """Where the voice is on the other side of the melody than it mostly is."""
    above = [one for one in met if one.interval < 0]
    below = [one for one in met if one.interval > 0]
    other, side = (above, "above") if len(above) <= len(below) else (below, "below")
    if other:
        bars = bars_in_words(one.bar.number for one in other)
        yield Message(
            other[0].voice.place, "crossing", f"{bars}: the voice lies {side} the melody"
        )  # fmt: skip


def _range(voice: Sequence[Bar], instrument: Instrument) -> Iterator[Message]:
    names: dict[int, str] = {}
    numbers: list[int] = []
    place: SourcePlace | None = None
    for bar in voice:
        for note in bar.notes:
            missing = [one for one in note.pitches if not tone_places(instrument, one.midi)]
            if missing:
                place = place or note.place
                numbers.append(bar.number)
                names.update((one.midi, one.name) for one in missing)
    if place is not None:
        tones = [names[midi] for midi in sorted(names)]
        listed = " ".join([*tones[:_MOST_NAMES], *["..."] * (len(tones) > _MOST_NAMES)])
        title = f"{instrument.title} tuned {instrument.tuning_name}"
        what = f"{bars_in_words(numbers)}: {listed} outside the compass of the {title}"
        yield Message(place, "range", what)
