"""What was learnt of a player's hand, as a PDF of its own with two plots."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.blocks import Flowed, Music
from tunebook.book.layout.flow import Stream, flow
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.tables import table_rows
from tunebook.book.layout.tags import Figure
from tunebook.book.pages.comparison import check_font_list, plain
from tunebook.book.pages.furniture import draw_pages, open_tagged, saved
from tunebook.files import FilesRead, write_whole
from tunebook.model.book import Book
from tunebook.model.learning import LearningTold, TuneAgreement
from tunebook.model.piece import EngravedSystem
from tunebook.model.words import FixedWords, fixed_words
from tunebook.store import NO_STORE, Store
from tunebook.work_folder import work_folder

ROW_PT = 14.0
MOST_PLOTTED = 40
Rows = Sequence[tuple[str, float, float]]


def write_learning(
    told: LearningTold,
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
        items = [*_opening(told, design), *_habits(told, design), *_doubts(told, design)]
        items += _agreement(told, design, folder)
        items += _weights(told, design, folder)
        title = texts.learning.title
        pages = flow([Stream(tuple(items))], design.page_format, title)
        labels = [str(number) for number in range(1, len(pages) + 1)]
        drawn = draw_pages(pages, design, {"Title": title}, labels)
        data = saved(open_tagged(drawn, title, book.language))
    write_whole(output, data, read=read)


def _opening(told: LearningTold, design: Design) -> list[Flowed]:
    words = design.words.learning
    items = [design.page_title(words.title, "learning"), design.body(told.intro)]
    items += [design.body(line, before_pt=4.0) for line in told.summary]
    return [*items, design.note(words.caution, before_pt=6.0)]


def _habits(told: LearningTold, design: Design) -> list[Flowed]:
    words = design.words.learning
    items = [design.heading(words.habits_title)]
    if not told.habits:
        return [*items, design.body(words.no_habits)]
    for habit in told.habits:
        items.append(design.small_heading(habit.sentence, design.width_pt))
        text = f"{habit.shows} ({'; '.join(habit.changes)})" if habit.changes else habit.shows
        items.append(Flowed(design.small(text, design.width_pt), design.size(1.5)))
    return items


def _doubts(told: LearningTold, design: Design) -> list[Flowed]:
    if not told.doubts:
        return []
    lines = [Flowed(design.small(line, design.width_pt), design.size(2.0)) for line in told.doubts]
    return [design.heading(design.words.learning.doubts_title), *lines]


def _agreement(told: LearningTold, design: Design, folder: Path) -> list[Flowed]:
    words = design.words.learning
    rows = [_cells(one) for one in (*told.tunes, told.total)]
    table = table_rows(words.agreement_columns, rows, (4.0, 1.2, 3.0, 3.0, 3.0), design)
    plots = []
    for start in range(0, len(told.tunes), MOST_PLOTTED):
        part = told.tunes[start : start + MOST_PLOTTED]
        values = [(one.title, 100.0 * one.before, 100.0 * one.after) for one in part]
        figure = change_plot(values, words.plot_axis, design.width_pt, design.words)
        path = folder / f"agreement-{start}.pdf"
        plots.append(_as_block(figure, path, words.plot_axis))
    return [design.heading(words.agreement), *table, *plots]


def _cells(one: TuneAgreement) -> tuple[str, ...]:
    return (one.title, str(one.notes), *one.cells)


def _weights(told: LearningTold, design: Design, folder: Path) -> list[Flowed]:
    if not told.weights:
        return []
    words = design.words.learning
    values = [(one.name, one.before, one.after) for one in told.weights]
    figure = change_plot(values, words.weights_axis, design.width_pt, design.words)
    return [
        design.heading(words.weights),
        _as_block(figure, folder / "weights.pdf", words.weights_axis),
    ]


def _as_block(figure: Any, path: Path, told: str) -> Flowed:
    """The figure as a block, with what is ``told`` of it; its PDF goes to ``path``."""
    buffer = BytesIO()
    figure.savefig(buffer, format="pdf", metadata={"CreationDate": None})
    path.write_bytes(buffer.getvalue())
    width, height = (72.0 * float(inches) for inches in figure.get_size_inches())
    system = EngravedSystem(0, 0.0, 0.0, width, height)
    return Flowed(Music(path, system, figure=Figure(path.name, told)), 10.0)


def change_plot(rows: Rows, axis: str, width: float, texts: FixedWords) -> Any:
    """A line from before to after for each of ``rows`` (name, before, after), in a figure
    ``width`` pt wide: an open ring before, a full dot after."""
    check_font_list()
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure as Plot

    height = ROW_PT * len(rows) + 70.0
    figure = Plot(figsize=(width / 72, height / 72), layout="constrained")
    FigureCanvasPdf(figure)
    axes = figure.subplots()
    places = range(len(rows))
    before, after = [row[1] for row in rows], [row[2] for row in rows]
    axes.hlines(places, before, after, color="0.6", linewidth=1.0, zorder=1)
    axes.plot(
        before, places, "o", color="0.35", markerfacecolor="white", label=texts.learning.before
    )
    axes.plot(after, places, "o", color="0.0", label=texts.learning.after)
    axes.set_yticks(places, [plain(row[0]) for row in rows], fontsize=8)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlabel(axis, fontsize=8)
    axes.tick_params(axis="x", labelsize=8)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace(".", texts.decimal_sign))
    axes.grid(axis="y", linewidth=0.3)
    figure.legend(fontsize=8, loc="outside upper left", ncols=2, frameon=False)
    return figure
