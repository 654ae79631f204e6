"""Exercises out of a tune's hardest passages: as a loop, and in rhythm variants.

An exercise is a Tune like any other, with the fingers and strings of the tune's arrangement
pinned, so that it is solved, written and engraved as tunes are. Slow practice, loops and dotted
variants of even runs are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import Arrangement, FingeredNote
from tunebook.model.page_signs import with_signs
from tunebook.model.tune import Annotation, Bar, Note, Tempo, Tune

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


def make_exercise(arrangement: Arrangement, passage: range, labels: dict[str, str]) -> Tune:
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
        second_voice=(),
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
    plain = replace(note, chord=None, annotations=(), syllables=(), drone_pin=None)
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
    """Number the bars anew and let the time run from 0."""
    onset = Fraction(0)
    for index, bar in enumerate(bars):
        shift = onset - bar.onset
        notes = tuple(replace(note, onset=note.onset + shift) for note in bar.notes)
        yield replace(bar, index=index, number=index + 1, onset=onset, notes=notes)
        onset += bar.duration
