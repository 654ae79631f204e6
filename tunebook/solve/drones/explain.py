"""Which drones a tune has in the book, how the open strings rank in each phrase, and why none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from tunebook.model.arrangement import Arrangement, DroneSpan, Stop
from tunebook.model.names import bar_name, bars_in_words
from tunebook.model.tune import Tune
from tunebook.solve.drones.choose import drone_label
from tunebook.solve.drones.moments import CLASH, THIRD, Moment, drone_lengths, drone_moments
from tunebook.solve.drones.open import best_line
from tunebook.solve.drones.phrases import Phrase, drone_phrases
from tunebook.solve.harmony.chords import choose_chords
from tunebook.solve.harmony.slots import heard_key
from tunebook.solve.times import whole_times

NOTICED = 0.005
"""A smaller part of a phrase is not worth telling."""


def explain_drones(arrangement: Arrangement) -> tuple[str, ...]:
    """One line for each drone of the arrangement with its bars and for each double stop; then for
    each phrase the open
    strings, the best first: what each is worth there as the melody lies, how much of the phrase it
    could sound, what is in the book, and why it is silent in the rest."""
    tune = arrangement.tune
    lines = _drones_held(arrangement) or ["no drone in the book"]
    lines += _double_stops(arrangement)
    chords = arrangement.chords or choose_chords(tune)
    moments = drone_moments(tune, arrangement.notes, arrangement.instrument, chords)
    for phrase in drone_phrases(tune):
        looks = _ranked(arrangement, phrase, moments)
        numbers = sorted({bar.number for bar in phrase.bars})
        lines.append(bars_in_words(range(numbers[0], numbers[-1] + 1)) + ":")
        for rank, look in enumerate(looks, 1):
            lines.append(f"  {rank}. {_words(look, arrangement)}")
        reasons = _silence(looks)
        if reasons:
            lines.append(f"  silence: {reasons}")
    return tuple(lines)


def ranked_drones(arrangement: Arrangement, first: int, last: int) -> tuple[Stop, ...]:
    """The open strings that could sound in the phrases of the bars from number ``first`` to
    ``last``, the best first: as ``explain_drones`` ranks them, over those phrases together."""
    tune = arrangement.tune
    chords = arrangement.chords or choose_chords(tune)
    moments = drone_moments(tune, arrangement.notes, arrangement.instrument, chords)
    found: dict[Stop, tuple[float, float]] = {}
    for phrase in drone_phrases(tune):
        if any(first <= bar.number <= last for bar in phrase.bars):
            for look in _ranked(arrangement, phrase, moments):
                in_book, worth = found.get(look.stop, (0.0, 0.0))
                found[look.stop] = in_book + look.in_book, worth + look.worth
    return tuple(
        sorted(found, key=lambda stop: (-found[stop][0], -found[stop][1], stop.string_index))
    )


def _ranked(arrangement: Arrangement, phrase: Phrase, moments: Sequence[Moment]) -> list[_Look]:
    """The open strings that could sound in a phrase or do, the best first."""
    strings = arrangement.instrument.strings
    looks = [_look(arrangement, phrase, moments, string.index) for string in strings]
    looks = [look for look in looks if look.beside >= NOTICED or look.in_book >= NOTICED]
    looks.sort(key=lambda look: (-look.in_book, -look.worth, look.stop.string_index))
    return looks


@dataclass(frozen=True)
class _Look:
    """An open string in one phrase. Parts of the phrase's melody, 0 to 1: over which it would sound
    if it were alone (``heard``), sounds in the book, lies beside the melody's string, is the
    melody's own string, clashes or is the chord's third. ``worth`` is in quarters of full
    consonance where it may sound."""

    stop: Stop
    worth: float
    heard: float
    in_book: float
    beside: float
    own: float
    clash: float
    third: float


def _look(
    arrangement: Arrangement, phrase: Phrase, moments: Sequence[Moment], string: int
) -> _Look:
    tune, per_whole = arrangement.tune, whole_times(arrangement.tune).per_whole
    lengths = drone_lengths(tune, whole_times(tune))
    bars = {bar.index for bar in phrase.bars}
    alone = [one._replace(gains=tuple(g for g in one.gains if g[0] == string)) for one in moments]
    line = best_line(alone, lengths)
    inside = [at for at, moment in enumerate(moments) if moment.bar_index in bars]
    total = sum(moments[at].duration for at in inside if moments[at].melody) or 1

    def part(chosen: Sequence[int]) -> float:
        return sum(moments[at].duration for at in chosen) / total

    barred = {at: dict(moments[at].barred).get(string, "") for at in inside}
    open_midi = arrangement.instrument.string(string).open_midi
    return _Look(
        stop=Stop(open_midi, string, 0, 0),
        worth=sum(dict(moments[at].gains).get(string, 0.0) for at in inside),
        heard=part([at for at in inside if line.strings[at] == string]),
        in_book=part(
            [
                at
                for at in inside
                if _in_book(arrangement, string, Fraction(moments[at].onset, per_whole))
            ]
        ),
        beside=part([at for at in inside if abs(moments[at].melody - string) == 1]),
        own=part([at for at in inside if moments[at].melody == string]),
        clash=part([at for at in inside if barred[at] == CLASH]),
        third=part([at for at in inside if barred[at] == THIRD]),
    )


def _in_book(arrangement: Arrangement, string: int, time: Fraction) -> bool:
    return any(
        span.stop.string_index == string
        and span.stop.key == 0
        and span.onset <= time < span.onset + span.duration
        for span in arrangement.drone
    )


def _words(look: _Look, arrangement: Arrangement) -> str:
    label = drone_label(look.stop, arrangement.instrument, arrangement.tune.key)
    words = (
        f"{label}: worth {look.worth:.1f}; beside the melody for {look.beside:.0%} of the "
        f"phrase, would sound for {look.heard:.0%}"
    )
    is_foreign = not look.heard and _is_foreign(look.stop, arrangement)
    why = ["neither keynote nor fifth, it goes badly with the tune"] if is_foreign else []
    why += [
        f"{reason} for {part:.0%}"
        for reason, part in (
            ("clashes on a beat", look.clash),
            ("is the third of the chord", look.third),
            ("the melody is on its string", look.own),
        )
        if part >= NOTICED
    ]
    if why:
        words += "; " + ", ".join(why)
    if look.in_book >= NOTICED:
        words += f"  [in the book for {look.in_book:.0%}]"
    return words


def _is_foreign(stop: Stop, arrangement: Arrangement) -> bool:
    tonic = heard_key(arrangement.tune, arrangement.tune.key).tonic_class
    return (stop.midi - tonic) % 12 not in (0, 7)


def _silence(looks: Sequence[_Look]) -> str:
    """Why no open string sounds in the rest of the phrase; empty where one always does."""
    silent = 1.0 - sum(look.in_book for look in looks)
    if silent < 0.05:
        return ""
    best = max((look.heard for look in looks), default=0.0)
    clash = max((look.clash for look in looks), default=0.0)
    third = max((look.third for look in looks), default=0.0)
    causes = []
    if not looks or max(look.beside for look in looks) < 0.25:
        causes.append("no one open string lies beside the melody for long")
    if clash >= 0.1:
        causes.append("an open string would clash on the beat")
    if third >= 0.1:
        causes.append("an open string would be the third of the chord")
    if not causes:
        causes.append(
            "what is left is too short to begin a drone for, or a lone drone in its part"
            if best
            else "no open string goes well with melody and chords for long enough"
        )
    return f"{silent:.0%} of the phrase: " + ", ".join(causes)


def _place(stop: Stop) -> tuple[int, int]:
    return stop.string_index, stop.key


def _drones_held(arrangement: Arrangement) -> list[str]:
    """The arrangement's drones: what is held, by which fingers, in which bars."""
    lines = []
    places = dict.fromkeys(_place(span.stop) for span in arrangement.drone)
    for place in places:
        spans = [span for span in arrangement.drone if _place(span.stop) == place]
        fingers = list(dict.fromkeys(span.stop.finger for span in spans if span.stop.finger))
        bare = spans[0].stop
        label = drone_label(
            Stop(bare.midi, bare.string_index, bare.key, 0),
            arrangement.instrument,
            arrangement.tune.key,
        )
        if fingers:
            label += ", finger " + " and ".join(map(str, fingers))
        numbers = sorted({n for span in spans for n in _bar_numbers(arrangement.tune, span)})
        lines.append(f"in the book: {label}, {bars_in_words(numbers)}")
    return lines


_INTERVALS = {3: "third", 4: "third", 7: "fifth", 8: "sixth", 9: "sixth", 12: "octave"}


def _double_stops(arrangement: Arrangement) -> list[str]:
    """The double stops in the book: the added tone, how far below the note, what it asks."""
    lines = []
    for accent in arrangement.accents:
        bar = arrangement.tune.bars[accent.bar_index]
        stop, key = accent.span.stop, arrangement.tune.key
        label = drone_label(stop, arrangement.instrument, key)
        note = bar.notes[accent.note_index].pitches[0].name
        apart = _INTERVALS.get(accent.below, f"{accent.below} semitones")
        asks = "asked for" if accent.is_pinned else f"adds {accent.effort:.2f} to the effort"
        lines.append(f"{bar_name(bar.number)}: double stop {label}, {apart} below {note}; {asks}")
    return lines


def _bar_numbers(tune: Tune, span: DroneSpan) -> list[int]:
    """Numbers of the bars through which the drone sounds."""
    end = span.onset + span.duration
    return [
        bar.number for bar in tune.bars if bar.onset < end and bar.onset + bar.duration > span.onset
    ]
