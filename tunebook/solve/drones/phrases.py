"""The phrases of a tune: bars that may have a drone of their own."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tunebook.model.arrangement import DroneDemand, Stop
from tunebook.model.tune import Bar, Tune
from tunebook.solve.harmony.slots import starts_section

PHRASE_MEASURES = 4


@dataclass(frozen=True, slots=True)
class Phrase:
    """Bars that may have a drone of their own: a part of the tune, four measures at most."""

    bars: tuple[Bar, ...]

    @property
    def onset(self) -> Fraction:
        return self.bars[0].onset

    @property
    def end(self) -> Fraction:
        return self.bars[-1].onset + self.bars[-1].duration


def drone_phrases(tune: Tune) -> tuple[Phrase, ...]:
    """The phrases of ``tune`` in written order; a pickup belongs to the phrase that it leads to,
    numbered endings to the part that they end."""
    phrases: list[list[Bar]] = []
    measures = 0
    before: Bar | None = None
    for bar in tune.bars:
        is_long = measures >= PHRASE_MEASURES and not bar.ending and not bar.is_continued
        if starts_section(bar, before) or is_long:
            phrases.append([])
            measures = 0
        phrases[-1].append(bar)
        measures += bar.duration >= bar.meter.length
        before = bar
    merged: list[Phrase] = []
    for bars in phrases:
        has_music = any(not note.is_rest for bar in bars for note in bar.notes)
        is_fragment = sum((bar.duration for bar in bars), Fraction(0)) < bars[0].meter.length
        if merged and (is_fragment or not has_music):
            merged[-1] = Phrase((*merged[-1].bars, *bars))
        else:
            merged.append(Phrase(tuple(bars)))
    return tuple(merged)


def demand_for(stop: Stop, phrase: Phrase, finger: int | None = None) -> DroneDemand:
    """The demand to hold ``stop`` through ``phrase``."""
    length = phrase.end - phrase.onset
    return DroneDemand(phrase.onset, length, stop.string_index, stop.key, finger)
