"""What was learnt of a hand, put into words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tunebook.book.musical_text import local_names, string_name
from tunebook.errors import Message
from tunebook.model.arrangement import Stop
from tunebook.model.book import HandChoice
from tunebook.model.choices import HandSize
from tunebook.model.hand import WEIGHT_BOUNDS, Hand
from tunebook.model.instrument import Instrument
from tunebook.model.learning import HabitTold, LearningTold, TuneAgreement, WeightChange
from tunebook.model.words import FixedWords
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.doubts import Doubt
from tunebook.solve.learning.habits import Habit, Place
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import Agreement, Mark
from tunebook.solve.learning.study import Measured
from tunebook.solve.learning.verdict import Verdict
from tunebook.solve.weights import weights_for


@dataclass(frozen=True)
class LearnReport:
    """What was learnt. ``choice`` is the hand as a hand file has it, ``usual`` and ``size`` what it
    began with; ``measured`` are agreements by tune, each under a hand that was not learnt from it;
    ``output`` is None where nothing was written."""

    verdict: Verdict
    measured: tuple[Measured, ...]
    sheets: tuple[Sheet, ...]
    folds: int
    hand: Hand
    choice: HandChoice
    usual: Hand
    size: HandSize
    habits: tuple[Habit, ...]
    doubts: tuple[Doubt, ...]
    messages: tuple[Message, ...]
    output: Path | None = None
    report: Path | None = None


MOST_DOUBTS = 200
FACTORS = ("relaxed", "comfortable", "practical")


def told(report: LearnReport, instrument: Instrument, words: FixedWords) -> LearningTold:
    """The report in the language of ``words``."""
    teller = _Teller(report, instrument, words)
    said = words.learning
    total = report.verdict
    doubts = [teller.doubt(one) for one in report.doubts[:MOST_DOUBTS]]
    if len(report.doubts) > MOST_DOUBTS:
        doubts.append(said.more_doubts.format(len(report.doubts) - MOST_DOUBTS))
    return LearningTold(
        intro=said.text.format(len(report.sheets), total.after.of_both),
        summary=tuple(_summary(report, words)),
        habits=tuple(teller.habit(one) for one in report.habits),
        tunes=tuple(
            teller.row(one, sheet)
            for one, sheet in zip(report.measured, report.sheets, strict=True)
        ),
        total=_row(said.all_tunes, total.before, total.after, words),
        weights=tuple(_weights(report, instrument)),
        doubts=tuple(doubts),
    )


def _summary(report: LearnReport, words: FixedWords) -> list[str]:
    said, found = words.learning, report.verdict
    before, after = _percent(found.before.share, words), _percent(found.after.share, words)
    if found.is_alike:
        return [said.alike.format(before)]
    folds = said.folds.format(report.folds)
    if found.is_better:
        edges = (_percent(edge, words) for edge in found.after_range)
        return [said.learnt.format(before, after, *edges), folds]
    if found.most_gain <= 0.0:
        return [said.worse.format(before, after), said.more_needed, folds]
    gains = (_percent(edge, words) for edge in (found.least_gain, found.most_gain))
    more = said.more_needed if found.needed is None else said.needed.format(found.needed)
    return [said.unsure.format(before, after, *gains), more, folds]


def _percent(share: float, words: FixedWords) -> str:
    return f"{words.decimal(100.0 * share)} %".replace("-", "\u2212")


def _row(title: str, before: Agreement, after: Agreement, words: FixedWords) -> TuneAgreement:
    def cell(old: int, new: int, of: int) -> str:
        if not of:
            return ""
        return f"{_percent(old / of, words)} \u2192 {_percent(new / of, words)}"

    return TuneAgreement(
        title=title,
        notes=after.of_both,
        cells=(
            cell(before.fingers, after.fingers, after.of_fingers),
            cell(before.strings, after.strings, after.of_strings),
            cell(before.both, after.both, after.of_both),
        ),
        before=before.share,
        after=after.share,
    )


def _weights(report: LearnReport, instrument: Instrument) -> list[WeightChange]:
    """Where in their ranges the weights of the hand were and are, those that changed."""
    usual, now = (weights_for(instrument.kind, hand) for hand in (report.usual, report.hand))
    found = []
    for name, (least, most) in WEIGHT_BOUNDS.items():
        before, after = getattr(usual, name), getattr(now, name)
        if before != after:
            size = most - least
            found.append(WeightChange(name, (before - least) / size, (after - least) / size))
    return found


class _Teller:
    """Makes sentences of what is in a report."""

    def __init__(self, report: LearnReport, instrument: Instrument, words: FixedWords) -> None:
        self._report, self._instrument, self._words = report, instrument, words
        self._sheets = {sheet.name: sheet for sheet in report.sheets}

    def row(self, one: Measured, sheet: Sheet) -> TuneAgreement:
        """A tune's row."""
        return _row(sheet.tune.title, one.before, one.after, self._words)

    def habit(self, one: Habit) -> HabitTold:
        """A habit with its weights and bars."""
        said = self._words.learning
        return HabitTold(
            sentence=said.habits[one.name][0 if one.is_more else 1],
            changes=tuple(said.change.format(*change) for change in self._changes(one)),
            shows=said.shows.format(one.notes),
            places=tuple(self._place(place) for place in one.places),
        )

    def _changes(self, one: Habit) -> Sequence[tuple[str, str, str]]:
        """What was what before, and what it is now, in the words of a hand file."""
        changes, found = one.changes, []
        if one.name == "spans":
            choice, size = self._report.choice, self._report.size
            if choice.size != size:
                found.append(("size", size, choice.size))
            pairs = zip(FACTORS, choice.span_factors, strict=True)
            changes = tuple((name, 1.0, new) for name, new in pairs)
        numbers = [(name, self._number(a), self._number(b)) for name, a, b in changes]
        return [*found, *numbers]

    def _number(self, value: float) -> str:
        return f"{value:.3g}".replace(".", self._words.decimal_sign)

    def _where(self, name: str, ref: NoteRef) -> tuple[str, str, str]:
        """Title, bar and note of a place."""
        tune = self._sheets[name].tune
        bar = tune.bars[ref.bar]
        return tune.title, self._bar(bar.number), self._tones(name, ref)

    def _bar(self, number: int) -> str:
        notes = self._words.notes
        return notes["bar"].format(number) if number else notes["upbeat"]

    def _tones(self, name: str, ref: NoteRef) -> str:
        note = self._sheets[name].tune.bars[ref.bar].notes[ref.note]
        return " ".join(local_names(pitch.name, self._words) for pitch in note.pitches)

    def _place(self, place: Place) -> str:
        title, bar, tones = self._where(place.name, place.ref)
        hers, usual = self._stops(place.stops), self._stops(place.usual)
        return self._words.learning.place.format(title, bar, tones, hers, usual)

    def _stops(self, stops: Sequence[Stop]) -> str:
        said, made = self._words.learning, []
        for stop in stops:
            name = string_name(self._instrument.string(stop.string_index), self._words)
            text = said.stop.format(stop.finger, name) if stop.key else said.open_stop.format(name)
            made.append(text)
        return " + ".join(made)

    def doubt(self, one: Doubt) -> str:
        """A question."""
        said = self._words.learning
        facts = [*self._where(one.name, one.ref), self._mark(one.mark)]
        if one.other is not None:
            facts.append(self._where(one.name, one.other)[1])
        return said.doubts[one.why].format(*facts)

    def _mark(self, mark: Mark) -> str:
        said, parts = self._words.learning.mark, []
        fingers = [str(finger) for finger in mark.fingers if finger is not None]
        if fingers:
            parts.append(said["finger"].format("+".join(fingers)))
        if mark.string is not None:
            name = string_name(self._instrument.string(mark.string), self._words)
            parts.append(said["string"].format(name))
        return ", ".join(parts)
