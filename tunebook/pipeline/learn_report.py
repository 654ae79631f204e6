"""The report on what was learnt, with the bars of the player's own tunes engraved where an engraver
is found."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from tunebook.book.pages.learning import Shown, write_learning
from tunebook.errors import ProgramError
from tunebook.model.words import words_for
from tunebook.pipeline.learn_words import LearnReport, told
from tunebook.pipeline.load import Setup
from tunebook.pipeline.passages import Compared, columns_of, engraved, title_of
from tunebook.store import Store, default_store
from tunebook.work_folder import work_folder


def write_report(setup: Setup, report: LearnReport, path: Path, jobs: int | None) -> None:
    """Write it to ``path``. Raises OutputError."""
    words = words_for(setup.book, setup.instrument)
    store = default_store()
    with work_folder() as work:
        shown = _shown(setup, report, work, store, jobs)
        told_of = told(report, setup.instrument, words)
        write_learning(told_of, shown, setup.book, path, store, setup.read)


def _shown(setup: Setup, report: LearnReport, work: Path, store: Store, jobs: int | None) -> Shown:
    """The bars of each habit, engraved; none where no engraver is found or can be used."""
    counts = [len(habit.places) for habit in report.habits]
    try:
        sections = iter(engraved(list(_compared(setup, report)), setup, work, store, jobs))
    except ProgramError:
        return Shown()
    passages = [[next(sections) for _ in range(count)] for count in counts]
    # What could not be engraved is told in words.
    found = tuple(tuple(one for one in part if one.pieces) for part in passages)
    return Shown(found, columns_of(setup))


def _compared(setup: Setup, report: LearnReport) -> Iterator[Compared]:
    """The bars of all habits, as she plays them and as she would without the habit."""
    words = words_for(setup.book, setup.instrument).learning
    sheets = {sheet.name: sheet for sheet in report.sheets}
    for habit in report.habits:
        for place in habit.places:
            sheet = sheets[place.name]
            yield Compared(
                sheet=sheet,
                bars=place.bars,
                title=title_of(setup, sheet.tune, place.bars),
                ways=((words.with_habit, place.with_habit), (words.without, place.without)),
            )
