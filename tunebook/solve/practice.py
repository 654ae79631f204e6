"""What to practise: exercises out of a tune's hardest passages, and drills for drones and chords.

An exercise or drill is a Tune like any other, with its fingers, strings and drones pinned, so that
it is solved, written and engraved as tunes are. Slow practice, loops, dotted variants of even
runs, the scale on a string over the open string below, the same over each held key in turn, and
the two shapes of a change to and fro are common practice, no source."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import Arrangement, ChordSpan, FingeredNote, Stop
from tunebook.model.hand import Limits
from tunebook.model.instrument import Instrument, String
from tunebook.model.spelling import spell_in_key, with_signs
from tunebook.model.tune import (
    Annotation,
    Bar,
    ChordSymbol,
    DronePin,
    Key,
    Meter,
    Note,
    Pitch,
    Tempo,
    Tune,
)
from tunebook.solve.harmony.names import spell_tone
from tunebook.solve.shapes.accompaniment import ChordChange

MAJOR = (0, 2, 4, 5, 7, 9, 11)
HIGHEST_KEY = 7
FREE_FINGERS = 3
"""While one holds a key."""
QUARTERS_A_MINUTE = 66.0
QUARTER = Fraction(1, 4)
METER = Meter(4, 4, "4/4", (4,))
PLACE = SourcePlace("drills")


def open_drone_drill(instrument: Instrument, melody_string: int, title: str) -> Tune | None:
    """The scale on a string, up and down, over the open string below it.

    The scale is the drone's major scale as far as first position goes. None when there is no
    string below or the string has no keys.
    """
    return _drone_drill(instrument, melody_string, (0,), title)


def held_drone_drill(
    instrument: Instrument,
    melody_string: int,
    title: str,
    limits: Limits | None = None,
) -> Tune | None:
    """The scale on a string over each held key of the string below in turn: the keys of the open
    string's major scale within first position. One finger holds, so the scale goes as far as the
    three others reach without an exchange. None when that string has no keys."""
    if melody_string < 2:
        return None
    highest = _highest(instrument.string(melody_string - 1), limits)
    keys = tuple(key for key in range(1, highest + 1) if key in MAJOR)
    return _drone_drill(instrument, melody_string, keys, title) if keys else None


def chord_drill(changes: Sequence[ChordChange], title: str, key: Key) -> Tune | None:
    """Each change to and fro: two bars of half notes and two of quarters, then the next one. Of a
    broken shape the two highest strings are taken. None without any change."""
    bars: list[list[tuple[tuple[Pitch, ...], Fraction, ChordSymbol | None, None]]] = []
    for change in changes:
        pair = [(_tones(span), span.chord) for span in (change.before, change.after)]
        for length in (Fraction(1, 2), QUARTER):
            for _ in range(2):
                strokes = [pair[at % 2] for at in range(int(1 / length))]
                bars.append([(tones, length, chord, None) for tones, chord in strokes])
    return _tune(title, key, bars) if bars else None


def _drone_drill(
    instrument: Instrument, melody_string: int, drone_keys: Sequence[int], title: str
) -> Tune | None:
    """One section of two or more bars for each drone."""
    if not 2 <= melody_string <= len(instrument.strings):
        return None
    melody, below = instrument.string(melody_string), instrument.string(melody_string - 1)
    tonic = below.open_midi % 12
    key = _major_key(tonic)
    rising = [
        place
        for place in range(_highest(melody, None) + 1)
        if (melody.open_midi + place - tonic) % 12 in MAJOR
    ]
    if len(rising) < 2:
        return None
    if any(drone_keys):
        rising = rising[: 1 + FREE_FINGERS]
    bars = []
    for drone_key in drone_keys:
        midi = below.open_midi + drone_key
        pin = DronePin(PLACE, midi, None, below.name)
        line = [*rising, *reversed(rising[:-1])]
        line += [rising[0]] * (-len(line) % 4)
        for start in range(0, len(line), 4):
            bars.append([
                ((_spell(melody.open_midi + place, key),), QUARTER, None,
                 pin if start + at == 0 else None)
                for at, place in enumerate(line[start : start + 4])
            ])  # fmt: skip
    return _tune(title, key, bars, melody.name)


def _highest(string: String, limits: Limits | None) -> int:
    highest = min(HIGHEST_KEY, string.key_count)
    if limits is not None and limits.highest_key is not None:
        highest = min(highest, limits.highest_key)
    return highest


def _major_key(tonic_class: int) -> Key:
    """The major key on a pitch class with the smallest signature."""
    fifths = (tonic_class * 7 + 5) % 12 - 5
    step, alter = spell_in_key(tonic_class, Key(fifths=fifths))
    alters = [0] * 7
    for place in range(abs(fifths)):
        order = (3, 0, 4, 1, 5, 2, 6)
        alters[order[place] if fifths > 0 else order[6 - place]] = 1 if fifths > 0 else -1
    return Key(step, alter, "ionian", fifths, tuple(alters))


def _spell(midi: int, key: Key) -> Pitch:
    step, alter = spell_in_key(midi % 12, key)
    return Pitch((midi - Pitch(0, step, alter).midi) // 12, step, alter)


def _tones(span: ChordSpan) -> tuple[Pitch, ...]:
    stops: Sequence[Stop] = span.shape[-2:]
    return tuple(spell_tone(stop.midi, span.chord) for stop in stops)


def _tune(
    title: str, key: Key, bars: Sequence[Sequence[tuple[Any, ...]]], string: str | None = None
) -> Tune:
    """A tune of full bars in 4/4 from (pitches, length, chord, drone pin) of each note."""
    made = []
    for index, content in enumerate(bars):
        notes, onset = [], Fraction(index)
        for pitches, length, chord, pin in content:
            notes.append(_note(pitches, onset, length, chord, pin, string))
            onset += length
        is_last = index == len(bars) - 1
        made.append(
            Bar(
                place=PLACE,
                index=index,
                number=0,
                notes=tuple(notes),
                onset=Fraction(index),
                duration=Fraction(1),
                meter=METER,
                key=key,
                sign_after="|]" if is_last else "|",
                breaks_line_after=index % 4 == 3 and not is_last,
            )
        )
    return Tune(
        place=PLACE, number="", titles=(title,), composer="", origin="", rhythm="", key=key,
        meter=METER, unit_length=Fraction(1, 8), tempo=Tempo(QUARTER, QUARTERS_A_MINUTE),
        bars=with_signs(made), played=tuple(range(len(made))),
    )  # fmt: skip


def _note(
    pitches: tuple[Pitch, ...],
    onset: Fraction,
    length: Fraction,
    chord: ChordSymbol | None,
    pin: DronePin | None,
    string: str | None,
) -> Note:
    nothing = tuple(None for _ in pitches)
    untied = tuple(False for _ in pitches)
    return Note(
        place=PLACE,
        pitches=pitches,
        onset=onset,
        duration=length,
        written=length,
        shown_accidentals=nothing,
        ties=untied,
        is_tied_from_before=untied,
        chord=chord,
        finger_pins=nothing,
        string_pin=string,
        drone_pin=pin,
    )


MOST_PASSAGES = 3
PASSAGE_BARS = 2
HARD_FACTOR = 1.25
"""A passage is worth an exercise when this much harder than the tune (our judgement)."""
SLOW_FACTOR = 0.6
LONGEST_VARIED = Fraction(1, 8)

VARIANTS = ("loop", "long_short", "short_long")


def find_hard_passages(arrangement: Arrangement, most: int = MOST_PASSAGES) -> list[range]:
    """Return ranges of bar indices, the hardest first, not overlapping; the hardest of all is
    given even where nothing stands out."""
    difficulty = {bar.bar_index: bar.difficulty for bar in arrangement.bar_difficulties}
    count = len(arrangement.tune.bars)
    width = min(PASSAGE_BARS, count)
    windows = [
        (sum(difficulty.get(at + step, 0.0) for step in range(width)) / width, -at)
        for at in range(count - width + 1)
        if _holds_together(arrangement.tune.bars[at : at + width])
    ]
    chosen: list[range] = []
    seen: set[tuple[object, ...]] = set()
    for mean, negative in sorted(windows, reverse=True):
        passage = range(-negative, -negative + width)
        if chosen and mean < HARD_FACTOR * arrangement.difficulty:
            break
        look = _look(arrangement.tune, passage)
        if look in seen or any(set(passage) & set(other) for other in chosen):
            continue
        seen.add(look)
        chosen.append(passage)
        if len(chosen) == most:
            break
    return chosen


def make_exercise(arrangement: Arrangement, passage: range, labels: Mapping[str, str]) -> Tune:
    """Return one Tune of all variants of a passage, each between repeat signs with its label.

    ``labels`` gives the words for each of VARIANTS; a rhythm variant that would change nothing
    is left out. The tempo is SLOW_FACTOR of the tune's.
    """
    tune = arrangement.tune
    pinned = _pinned_bars(arrangement, passage)
    bars: list[Bar] = []
    for variant in VARIANTS:
        varied = [_varied(bar, variant) for bar in pinned]
        if variant != "loop" and all(
            was.notes == bar.notes for was, bar in zip(pinned, varied, strict=True)
        ):
            continue
        bars += _framed(varied, labels[variant])
    numbered = with_signs(tuple(_settle(bars)))
    quarters_a_minute = 240.0 * arrangement.whole_notes_per_second * SLOW_FACTOR
    return replace(
        tune,
        meter=numbered[0].meter,
        key=numbered[0].key,
        tempo=Tempo(Fraction(1, 4), float(round(quarters_a_minute))),
        bars=numbered,
        played=tuple(range(len(numbered))),
        words=(),
        texts=(),
        part_order="",
        voices=(),
        messages=(),
    )


def _holds_together(bars: tuple[Bar, ...]) -> bool:
    """A passage must not run over a repeat or into another ending, nor be a pickup."""
    plain = all(bar.sign_after in ("|", "") and not bar.ending for bar in bars[:-1])
    return plain and not any(bar.is_pickup or bar.is_continued for bar in bars)


def _look(tune: Tune, passage: range) -> tuple[object, ...]:
    """What a passage sounds like, to tell the same music at another place."""
    return tuple((note.pitches, note.duration) for at in passage for note in tune.bars[at].notes)


def _pinned_bars(arrangement: Arrangement, passage: range) -> list[Bar]:
    fingered = {(one.bar_index, one.note_index): one for one in arrangement.notes}
    bars = []
    for at in passage:
        bar = arrangement.tune.bars[at]
        notes = tuple(
            _pinned(note, fingered.get((at, position)), arrangement)
            for position, note in enumerate(bar.notes)
        )
        bars.append(replace(bar, notes=notes))
    return [replace(bar, notes=notes) for bar, notes in zip(bars, _loose(bars), strict=True)]


def _pinned(note: Note, fingered: FingeredNote | None, arrangement: Arrangement) -> Note:
    plain = replace(note, chord=None, annotations=(), syllables=(), drone_pin=None, accent_pin=None)
    if fingered is None or not fingered.stops:
        return plain
    string = arrangement.instrument.string(fingered.stops[0].string_index)
    return replace(
        plain,
        finger_pins=tuple(stop.finger for stop in fingered.stops),
        string_pin=string.name if len(fingered.stops) == 1 else None,
    )


def _loose(bars: Iterable[Bar]) -> Iterator[tuple[Note, ...]]:
    """Cut ties and slurs that lead out of the passage."""
    bars = list(bars)
    depth = 0
    open_slurs: list[tuple[int, int]] = []
    rows = [list(bar.notes) for bar in bars]
    for at, row in enumerate(rows):
        for position, note in enumerate(row):
            closed = min(note.slurs_closed, depth)
            for _ in range(closed):
                open_slurs.pop()
            depth -= closed
            row[position] = replace(note, slurs_closed=closed)
            open_slurs += [(at, position)] * note.slurs_opened
            depth += note.slurs_opened
    for at, position in open_slurs:
        note = rows[at][position]
        rows[at][position] = replace(note, slurs_opened=note.slurs_opened - 1)
    first, last = _outermost(rows[0]), _outermost(rows[-1], is_last=True)
    if first is not None:
        note = rows[0][first]
        rows[0][first] = replace(note, is_tied_from_before=(False,) * len(note.pitches))
    if last is not None:
        note = rows[-1][last]
        rows[-1][last] = replace(note, ties=(False,) * len(note.pitches))
    return (tuple(row) for row in rows)


def _outermost(row: Sequence[Note], *, is_last: bool = False) -> int | None:
    """The place of the first or last note that takes time; ties do not lead to grace notes."""
    places = [place for place, note in enumerate(row) if not note.is_grace]
    if not places:
        return None
    return places[-1] if is_last else places[0]


def _varied(bar: Bar, variant: str) -> Bar:
    """Turn pairs of equal short notes into long-short or short-long (three to one)."""
    if variant == "loop":
        return bar
    notes: list[Note] = []
    waiting = list(bar.notes)
    while waiting:
        first = waiting.pop(0)
        second = waiting[0] if waiting else None
        if second is None or not _makes_pair(first, second, bar):
            notes.append(first)
            continue
        waiting.pop(0)
        factors = (Fraction(3, 2), Fraction(1, 2))
        if variant == "short_long":
            factors = (Fraction(1, 2), Fraction(3, 2))
        notes.append(_stretched(first, factors[0], first.onset))
        notes.append(_stretched(second, factors[1], first.onset + first.duration * factors[0]))
    return replace(bar, notes=tuple(notes))


def _makes_pair(first: Note, second: Note, bar: Bar) -> bool:
    is_plain = not any(
        note.is_rest or note.is_grace or note.tuplet or any(note.ties)
        or any(note.is_tied_from_before)
        for note in (first, second)
    )  # fmt: skip
    is_even = first.duration == second.duration == first.written <= LONGEST_VARIED
    on_beat = (first.onset - bar.onset) % (2 * first.duration) == 0 if first.duration else False
    is_simple = first.duration.numerator == 1
    return is_plain and is_even and on_beat and is_simple


def _stretched(note: Note, factor: Fraction, onset: Fraction) -> Note:
    return replace(
        note, onset=onset, duration=note.duration * factor, written=note.written * factor
    )


def _framed(bars: list[Bar], label: str) -> list[Bar]:
    """Put repeat signs around the bars and the label over the first note."""
    framed = [
        replace(
            bar,
            sign_before="",
            sign_after="|",
            ending=(),
            ends_ending=False,
            part="",
            tempo=None,
            decorations=(),
            annotations=(),
            breaks_line_after=False,
            meter_changed=False,
            key_changed=False,
            is_pickup=False,
            is_continued=False,
        )
        for bar in bars
    ]
    framed[0] = replace(framed[0], sign_before="|:")
    framed[-1] = replace(framed[-1], sign_after=":|", breaks_line_after=True)
    notes = framed[0].notes
    if notes:
        place = SourcePlace(notes[0].place.path, notes[0].place.line, notes[0].place.column)
        labelled = replace(notes[0], annotations=(Annotation(place, label, "^"),))
        framed[0] = replace(framed[0], notes=(labelled, *notes[1:]))
    return framed


def _settle(bars: list[Bar]) -> Iterator[Bar]:
    """Let the time run from 0. The bars are without numbers: their own would come thrice, and any
    other would be taken for the tune's."""
    onset = Fraction(0)
    for index, bar in enumerate(bars):
        shift = onset - bar.onset
        notes = tuple(replace(note, onset=note.onset + shift) for note in bar.notes)
        yield replace(bar, index=index, number=0, onset=onset, notes=notes)
        onset += bar.duration
