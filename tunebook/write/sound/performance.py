"""An arrangement as strokes of the bow: every tone with its string, its key and how it begins and
ends. Times are Fractions of a whole note from the beginning of what is played.

What is printed is what is played: ties are one tone, a slur is one bow, a dot makes a note short,
dynamics hold until the next ones, ornaments and grace notes are written out.
"""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tunebook.model.arrangement import Arrangement, FingeredNote, Stop
from tunebook.model.choices import GracePlace, SoundPart
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Bar, Note, Pitch, Tune
from tunebook.write.sound.ornaments import ornamented, quick_length
from tunebook.write.tones import GRACE_LENGTH, GRACE_SHARE, drone_tones, held_tone, played_bars

# Decibels to the usual loudness: our judgement, in the order of the marks.
_DYNAMICS_DB = {
    "pppp": -14.0, "ppp": -12.0, "pp": -9.0, "p": -6.0, "mp": -3.0, "mf": 0.0, "f": 3.0,
    "ff": 5.0, "fff": 6.0, "ffff": 7.0,
}  # fmt: skip
_WEDGES_DB = {"crescendo": 4.0, "diminuendo": -4.0}
_ACCENTS_DB = {"accent": 3.0, "marcato": 4.0, "sfz": 5.0}
# How much of a note is sounded: our judgement.
_SHARES = {"staccato": Fraction(1, 2), "wedge": Fraction(2, 5), "marcato": Fraction(3, 4)}


@dataclass(frozen=True, slots=True)
class Stroke:
    """A tone on one string, from ``onset`` for ``duration``. ``string_index`` 1 is the lowest
    string, ``key`` 0 the open one. ``is_slurred``: the bow goes on from the tone before;
    ``goes_on``: it goes on into the next one. ``is_renewed`` marks a string that sounds already
    when the bow turns."""

    midi: int
    onset: Fraction
    duration: Fraction
    string_index: int
    key: int
    cents: int = 0
    level_db: float = 0.0
    is_slurred: bool = False
    goes_on: bool = False
    is_renewed: bool = False

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


Strokes = tuple[Stroke, ...]


def strokes_of(
    arrangement: Arrangement,
    parts: Iterable[SoundPart],
    *,
    drone: int | None = None,
    grace_notes: GracePlace = "on the beat",
) -> tuple[tuple[SoundPart, Strokes], ...]:
    """Return what each of ``parts`` plays (the click aside), in order of onset, along the tune's
    ``played``; ``second`` is left to :func:`voices_of`. ``drone`` is the MIDI number of a tone held
    throughout instead of the drones."""
    found: list[tuple[SoundPart, Strokes]] = []
    melody = _melody(arrangement, grace_notes)
    for part in parts:
        if part == "melody":
            found.append((part, melody))
        elif part == "drone":
            found.append((part, _drones(arrangement, melody, drone)))
        elif part in ("bass", "chords"):
            found.append((part, _accompaniment(arrangement, is_bass=part == "bass")))
    return tuple(found)


def voices_of(arrangement: Arrangement) -> tuple[Arrangement, ...]:
    """The voices beside the melody, each a melody of its own for its own player, in the order in
    which the tune is played."""
    played = arrangement.tune.played
    return tuple(
        replace(one.arrangement, tune=replace(one.arrangement.tune, played=played))
        for one in arrangement.voices
    )


def _melody(arrangement: Arrangement, grace_notes: GracePlace) -> Strokes:
    stops = {(one.bar_index, one.note_index): one.stops for one in arrangement.notes if one.stops}
    return _played(arrangement.tune, stops, arrangement, grace_notes)


def _played(
    tune: Tune,
    stops: Mapping[tuple[int, int], Sequence[Stop]],
    arrangement: Arrangement,
    grace_notes: GracePlace,
) -> Strokes:
    """The strokes of one voice along the tune's ``played``; ``stops`` by bar and note index."""
    quick = quick_length(arrangement.whole_notes_per_second)
    player = _Player(arrangement.instrument, grace_notes, quick)
    slurred = _slurred_from(tune.bars)
    before: _Place | None = None
    levels: dict[int, float] = {}
    for heard in played_bars(tune):
        # A bar that comes again is as loud as it was the first time.
        player.level_db = levels.setdefault(heard.bar.index, player.level_db)
        for number, note in enumerate(heard.bar.notes):
            place = (heard.bar.index, number)
            # A slur does not lead over a jump to what is not written after it.
            player.is_slurred = before is not None and slurred.get(place) == before
            onset = heard.onset + note.onset - heard.bar.onset
            player.play(note, onset, heard.bar, stops.get(place, ()))
            before = place
        player.end_spans(heard.bar.decorations)
    return tuple(sorted(player.strokes, key=lambda one: (one.onset, one.midi)))


_Grace = tuple[Note, Sequence[Stop], bool]
"""A grace note, its stops, and whether a slur leads to it."""
_Place = tuple[int, int]
"""Of a note: the index of its bar, and its own."""


def _slurred_from(bars: Sequence[Bar]) -> dict[_Place, _Place]:
    """By the place of each note that a slur leads to, the place of the note before it. Slurs that
    have no beginning or no end are left out, as they are on the page."""
    notes = [((bar.index, number), note) for bar in bars for number, note in enumerate(bar.notes)]
    opened: list[int] = []
    found: dict[_Place, _Place] = {}
    for at, (_, note) in enumerate(notes):
        for _ in range(note.slurs_closed):
            if opened and opened[-1] < at:
                inside = range(opened.pop() + 1, at + 1)
                found |= {notes[one][0]: notes[one - 1][0] for one in inside}
        opened += [at] * note.slurs_opened
    return found


@dataclass
class _Player:
    """Walks through one voice. ``is_slurred`` says that a slur leads to the note that comes;
    ``wedge`` is the kind of the one that is open and the number of its first stroke; ``sounding``
    are the places in ``strokes`` of the tones that the bow
    is on, ``tied`` those that wait for a tied note, by pitch in cents."""

    instrument: Instrument
    grace_notes: GracePlace
    quick: Fraction
    strokes: list[Stroke] = field(default_factory=list)
    graces: list[_Grace] = field(default_factory=list)
    sounding: list[int] = field(default_factory=list)
    tied: dict[int, int] = field(default_factory=dict)
    is_slurred: bool = False
    is_trilling: bool = False
    wedge: tuple[str, int] | None = None
    level_db: float = 0.0

    def play(self, note: Note, onset: Fraction, bar: Bar, stops: Sequence[Stop]) -> None:
        """Play one written note at its place in the performance."""
        for sign in note.decorations:
            self.level_db = _DYNAMICS_DB.get(sign, self.level_db)
            if sign in ("crescendo(", "diminuendo("):
                self.wedge = sign.rstrip("("), len(self.strokes)
        is_slurred = self.is_slurred and bool(self.sounding)
        if note.is_grace:
            self.graces.append((note, stops, is_slurred))
            return
        self.is_trilling = self.is_trilling or "trill(" in note.decorations
        graces, self.graces = self.graces, []
        if note.is_rest:
            self.sounding, self.tied = [], {}
            self.end_spans(note.decorations)
            return
        graces = [one for one in graces if not one[0].is_rest]
        if graces:
            begin = self._play_graces(graces, onset, note.duration)
            time, is_slurred = _Time(onset, begin), True
        else:
            time = _Time(onset, onset)
        self._sound(note, time, bar, stops, is_slurred)
        self.end_spans(note.decorations)

    def end_spans(self, signs: Collection[str]) -> None:
        """End a long trill, and a wedge: its tones get louder or softer one after the other."""
        self.is_trilling = self.is_trilling and "trill)" not in signs
        if self.wedge is None or self.wedge[0] + ")" not in signs:
            return
        (kind, first), self.wedge = self.wedge, None
        inside = self.strokes[first:]
        if not inside:
            return
        start, length = inside[0].onset, max(one.end for one in inside) - inside[0].onset
        for at, one in enumerate(inside, start=first):
            more_db = _WEDGES_DB[kind] * float((one.onset - start) / length)
            self.strokes[at] = replace(one, level_db=one.level_db + more_db)
        self.level_db += _WEDGES_DB[kind]

    def _play_graces(
        self, graces: Sequence[_Grace], onset: Fraction, duration: Fraction
    ) -> Fraction:
        """Play grace notes, all on one bow, and return where their note begins."""
        length = min(GRACE_LENGTH, duration * GRACE_SHARE / len(graces))
        start = onset
        if self.grace_notes == "before the beat" and self._make_room(onset - length * len(graces)):
            start -= length * len(graces)
        is_slurred = graces[0][2]
        for note, stops, _ in graces:
            if is_slurred:
                self._go_on()
            self.sounding = [
                self._add(pitch, start, length, self._stop(pitch, stops, number), is_slurred)
                for number, pitch in enumerate(note.pitches)
            ]
            is_slurred = True
            start += length
        return start

    def _make_room(self, start: Fraction) -> bool:
        """End what sounds beyond ``start`` there; whether that leaves something of it."""
        if start < 0 or any(self.strokes[place].onset >= start for place in self.sounding):
            return False
        for place in self.sounding:
            one = self.strokes[place]
            if start < one.end:
                self.strokes[place] = replace(one, duration=start - one.onset)
        return True

    def _sound(
        self, note: Note, time: _Time, bar: Bar, stops: Sequence[Stop], is_slurred: bool
    ) -> None:
        """Sound the tones of a note; one that is tied from the note before goes on."""
        waiting: dict[int, int] = {}
        places: dict[int, int] = {}
        fresh: list[int] = []
        top = max(note.pitches, key=lambda pitch: pitch.midi)
        for number, pitch in enumerate(note.pitches):
            cents = 100 * pitch.midi + pitch.cents
            at = self.tied.get(cents)
            if cents in places:
                continue  # a unison on two strings is one tone to the ear
            if at is not None and self.strokes[at].end == time.written:
                self._lengthen(at, note.duration)
            else:
                signs = self._ornaments(note) if pitch is top else ()
                tones = ornamented(pitch, note.duration - time.delay, signs, bar.key, self.quick)
                stop = self._stop(pitch, stops, number)
                first = len(self.strokes)
                at = self._write_out(tones, time.begin, stop, is_slurred)
                fresh += range(first, at + 1)
            places[cents] = at
            if number < len(note.ties) and note.ties[number]:
                waiting[cents] = at
        self._articulate(note, fresh)
        if is_slurred and fresh:
            self._go_on()
        self.tied, self.sounding = waiting, list(places.values())

    def _ornaments(self, note: Note) -> tuple[str, ...]:
        """The note's signs, a long trill that goes on over it among them."""
        return (*note.decorations, "trill") if self.is_trilling else note.decorations

    def _write_out(
        self,
        tones: Sequence[tuple[Pitch, Fraction]],
        onset: Fraction,
        stop: Stop,
        is_slurred: bool,
    ) -> int:
        """Add the tones of one note, all on one bow; the place of the last one."""
        written = tones[-1][0]
        for number, (tone, length) in enumerate(tones):
            own = stop if tone == written else self._beside(tone, written, stop)
            self._add(tone, onset, length, own, is_slurred or number > 0)
            if number + 1 < len(tones):
                self.strokes[-1] = replace(self.strokes[-1], goes_on=True)
            onset += length
        return len(self.strokes) - 1

    def _add(
        self, pitch: Pitch, onset: Fraction, duration: Fraction, stop: Stop, is_slurred: bool
    ) -> int:
        stroke = Stroke(
            midi=pitch.midi,
            onset=onset,
            duration=duration,
            string_index=stop.string_index,
            key=stop.key,
            cents=pitch.cents,
            level_db=self.level_db,
            is_slurred=is_slurred,
        )
        self.strokes.append(stroke)
        return len(self.strokes) - 1

    def _lengthen(self, at: int, duration: Fraction) -> None:
        before = self.strokes[at]
        self.strokes[at] = replace(before, duration=before.duration + duration)

    def _articulate(self, note: Note, places: Sequence[int]) -> None:
        """Accents, and notes that are played shorter than they are written."""
        accent = max((_ACCENTS_DB.get(sign, 0.0) for sign in note.decorations), default=0.0)
        share = min((_SHARES.get(sign, Fraction(1)) for sign in note.decorations), default=1)
        for at in places:
            one = self.strokes[at]
            length = one.duration if any(note.ties) or one.goes_on else one.duration * share
            self.strokes[at] = replace(one, level_db=one.level_db + accent, duration=length)

    def _go_on(self) -> None:
        """The bow goes on from what it is on."""
        for at in self.sounding:
            self.strokes[at] = replace(self.strokes[at], goes_on=True)

    def _stop(self, pitch: Pitch, stops: Sequence[Stop], number: int) -> Stop:
        return stops[number] if number < len(stops) else likely_stop(pitch.midi, self.instrument)

    def _beside(self, tone: Pitch, written: Pitch, stop: Stop) -> Stop:
        """Where the neighbour of a note is played: on its string, where that has such a key."""
        key = stop.key + tone.midi - written.midi
        is_there = 0 < stop.string_index <= len(self.instrument.strings) and (
            0 <= key <= self.instrument.string(stop.string_index).key_count
        )
        return (
            replace(stop, key=key, midi=tone.midi)
            if is_there
            else likely_stop(tone.midi, self.instrument)
        )


@dataclass(frozen=True, slots=True)
class _Time:
    """Where a note is written, and where it begins after its grace notes."""

    written: Fraction
    begin: Fraction

    @property
    def delay(self) -> Fraction:
        return self.begin - self.written


def likely_stop(midi: int, instrument: Instrument) -> Stop:
    """The lowest key that sounds the tone; string 0 where there is none."""
    stops = [
        Stop(midi, string.index, midi - string.open_midi, 0)
        for string in instrument.strings
        if 0 <= midi - string.open_midi <= string.key_count
    ]
    return min(stops, key=lambda stop: stop.key, default=Stop(midi, 0, 0, 0))


def _drones(arrangement: Arrangement, melody: Strokes, midi: int | None) -> Strokes:
    """What sounds beside the melody, cut where the bow turns: it is the melody's own bow."""
    tune = arrangement.tune
    if midi is not None:
        tones = held_tone(tune, midi)
        stop = likely_stop(midi, arrangement.instrument)
        places = {midi: stop if stop.key == 0 else Stop(midi, 0, 0, 0)}
    else:
        tones = drone_tones(tune, arrangement.beside)
        places = {span.stop.midi: span.stop for span in arrangement.beside}
    turns = sorted({one.onset for one in melody if not one.is_slurred})
    strokes: list[Stroke] = []
    for tone in tones:
        stop = places[tone.midi]
        inside = turns[bisect.bisect_right(turns, tone.onset) : bisect.bisect_left(turns, tone.end)]
        marks = [tone.onset, *inside, tone.end]
        strokes += [
            Stroke(
                midi=tone.midi,
                onset=start,
                duration=end - start,
                string_index=stop.string_index,
                key=stop.key,
                is_renewed=start > tone.onset,
            )
            for start, end in itertools.pairwise(marks)
        ]
    return tuple(strokes)


def _accompaniment(arrangement: Arrangement, *, is_bass: bool) -> Strokes:
    """The bass tones, or the tones of the chords, of the accompaniment in its printed rhythm."""
    by_bar: dict[int, list[FingeredNote]] = {}
    for one in arrangement.accompaniment:
        if (len(one.note.pitches) == 1) == is_bass:
            by_bar.setdefault(one.bar_index, []).append(one)
    strokes: list[Stroke] = []
    for heard in played_bars(arrangement.tune):
        for one in by_bar.get(heard.bar.index, ()):
            onset = heard.onset + one.note.onset - heard.bar.onset
            for number, pitch in enumerate(one.note.pitches):
                stop = (
                    one.stops[number]
                    if number < len(one.stops)
                    else likely_stop(pitch.midi, arrangement.instrument)
                )
                strokes.append(
                    Stroke(pitch.midi, onset, one.note.duration, stop.string_index, stop.key)
                )
    return tuple(strokes)
