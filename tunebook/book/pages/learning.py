"""What was learnt of a player's hand, as a PDF of its own with two plots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tunebook.book.content import PracticeSection
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.blocks import Flowed, Space, Stack
from tunebook.book.layout.flow import Stream, flow
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.tables import table_rows
from tunebook.book.pages.furniture import draw_pages, open_tagged, saved
from tunebook.book.pages.passages import passage_items
from tunebook.book.pages.plots import as_music, check_font_list, plain
from tunebook.files import FilesRead, write_whole
from tunebook.model.book import Book
from tunebook.model.learning import HabitTold, LearningTold
from tunebook.model.words import FixedWords, fixed_words
from tunebook.store import NO_STORE, Store
from tunebook.work_folder import work_folder

ROW_PT = 14.0
MOST_PLOTTED = 40

Rows = Sequence[tuple[str, float, float]]


@dataclass(frozen=True, slots=True)
class Shown:
    """For each habit the passages that show it, each in its ways, to be set in ``columns``; none
    where nothing could engrave them (``has_staves``)."""

    passages: tuple[tuple[PracticeSection, ...], ...] = ()
    columns: int = 1

    @property
    def has_staves(self) -> bool:
        return any(self.passages)


def write_learning(
    told: LearningTold,
    shown: Shown,
    book: Book,
    output: Path,
    store: Store = NO_STORE,
    read: FilesRead | None = None,
) -> None:
    """Write the report to ``output`` (whole or not at all), over none of the files in ``read``.
    Raises OutputError."""
    texts = fixed_words(book.language, note_names=book.note_names)
    design = Design(page_format(book.paper), load_fonts(store, texts.opening_quote), texts)
    with work_folder() as folder:
        figures = [*_doubts(told, design), *_agreement(told, design, folder)]
        figures += _weights(told, design, folder)
        streams = [
            Stream(tuple(_opening(told, design))),
            *_habits(told, shown, design),
            Stream(tuple(figures)),
        ]
        title = texts.learning.title
        pages = flow(streams, design.page_format, title)
        labels = [str(number) for number in range(1, len(pages) + 1)]
        drawn = draw_pages(pages, design, {"Title": title}, labels)
        data = saved(open_tagged(drawn, title, book.language))
    write_whole(output, data, read=read)


def _opening(told: LearningTold, design: Design) -> list[Flowed]:
    words = design.words.learning
    items = [design.page_title(words.title, "learning"), design.body(told.intro)]
    items += [design.body(line, before_pt=4.0) for line in told.summary]
    return [*items, design.note(words.caution, before_pt=6.0)]


def _habits(told: LearningTold, shown: Shown, design: Design) -> list[Stream]:
    """What is common to all habits, then each with its bars."""
    words = design.words.learning
    heading = design.heading(words.habits_title)
    if not told.habits:
        return [Stream((heading, design.body(words.no_habits)))]
    note = design.note(words.grey if shown.has_staves else words.no_staves)
    passages = shown.passages or ((),) * len(told.habits)
    made: list[Stream] = []
    before: tuple[Flowed, ...] = (heading, replace(note, keeps_with_next=True))
    for habit, own in zip(told.habits, passages, strict=True):
        heads = (*before, *_told(habit, bool(own), design))
        made.append(_shown(heads, habit, own, shown.columns, design))
        before = ()
    return made


def _told(habit: HabitTold, has_staves: bool, design: Design) -> tuple[Flowed, ...]:
    """A habit's sentence, how often it shows, and its weights."""
    changes = f"{'; '.join(habit.changes)}." if habit.changes else ""
    lines = design.small(f"{habit.shows} {changes}".rstrip(), design.width_pt)
    below = Stack((lines, Space(design.size(6.0)))) if has_staves else lines
    return (
        design.small_heading(habit.sentence, design.width_pt, before_pt=14.0),
        Flowed(below, keeps_with_next=True),
    )


def _shown(
    heads: tuple[Flowed, ...],
    habit: HabitTold,
    passages: Sequence[PracticeSection],
    columns: int,
    design: Design,
) -> Stream:
    """The bars of a habit below its ``heads``, or else their names. In one column the bars may
    stand on two pages."""
    if passages:
        items = [one for part in passages for one in passage_items(part, columns, design)]
        if columns > 1:
            return Stream(tuple(items), columns, heading=heads)
    else:
        items = [
            Flowed(design.small(line, design.width_pt), design.size(1.5)) for line in habit.places
        ]
    return Stream((*heads, *items))


def _doubts(told: LearningTold, design: Design) -> list[Flowed]:
    if not told.doubts:
        return []
    lines = [Flowed(design.small(line, design.width_pt), design.size(2.0)) for line in told.doubts]
    return [design.heading(design.words.learning.doubts_title), *lines]


def _agreement(told: LearningTold, design: Design, folder: Path) -> list[Flowed]:
    words = design.words.learning
    table = _table(told, design)
    plots = []
    for start in range(0, len(told.tunes), MOST_PLOTTED):
        part = told.tunes[start : start + MOST_PLOTTED]
        values = [(one.title, 100.0 * one.before, 100.0 * one.after) for one in part]
        figure = change_plot(values, words.plot_axis, 100.0, design.width_pt, design.words)
        path = folder / f"agreement-{start}.pdf"
        plots.append(Flowed(as_music(figure, path, words.plot_axis), 10.0))
    return [design.heading(words.agreement), *table, *plots]


def _table(told: LearningTold, design: Design) -> list[Flowed]:
    """Agreement by tune; a column is left out where it is empty or says the same as the last."""
    rows = [(one.title, str(one.notes), *one.cells) for one in (*told.tunes, told.total)]
    last = len(rows[0]) - 1
    kept = [
        at
        for at in range(last + 1)
        if at == last or any(row[at] and row[at] != row[last] for row in rows)
    ]
    columns, shares = design.words.learning.agreement_columns, (6.0, 1.2, 3.0, 3.0, 3.0)
    return table_rows(
        [columns[at] for at in kept],
        [[row[at] for at in kept] for row in rows],
        [shares[at] for at in kept],
        design,
    )


def _weights(told: LearningTold, design: Design, folder: Path) -> list[Flowed]:
    if not told.weights:
        return []
    words = design.words.learning
    values = [(one.name, one.before, one.after) for one in told.weights]
    figure = change_plot(values, words.weights_axis, 1.0, design.width_pt, design.words)
    return [
        design.heading(words.weights),
        Flowed(as_music(figure, folder / "weights.pdf", words.weights_axis), 10.0),
    ]


def change_plot(rows: Rows, axis: str, most: float, width: float, texts: FixedWords) -> Any:
    """A line from before to after for each of ``rows`` (name, before, after, of at most ``most``),
    in a figure ``width`` pt wide: an open ring before, a full dot after."""
    check_font_list()
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure as Plot

    height = ROW_PT * len(rows) + 70.0
    figure = Plot(figsize=(width / 72, height / 72), layout="constrained")
    FigureCanvasPdf(figure)
    axes = figure.subplots()
    places = range(len(rows))
    before, after = [row[1] for row in rows], [row[2] for row in rows]
    axes.hlines(places, before, after, color="0.4", linewidth=1.8, zorder=1.5)
    axes.plot(
        before, places, "o", color="0.35", markerfacecolor="white", label=texts.learning.before
    )
    axes.plot(after, places, "o", color="0.0", label=texts.learning.after)
    axes.set_yticks(places, [plain(row[0]) for row in rows], fontsize=8)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlabel(axis, fontsize=8)
    axes.tick_params(axis="x", labelsize=8)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace(".", texts.decimal_sign))
    axes.set_axisbelow(True)
    axes.grid(axis="y", color="0.85", linewidth=0.4)
    axes.set_xlim(0.0, 1.03 * most)
    figure.legend(fontsize=8, loc="outside upper left", ncols=2, frameon=False)
    return figure
