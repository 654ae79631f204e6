"""The comparison of tunings and keys as a PDF of its own, with a plot."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.blocks import Flowed, Music
from tunebook.book.layout.flow import Stream, flow
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.tables import table_rows
from tunebook.book.musical_text import key_name, local_names
from tunebook.book.pages.furniture import draw_pages, open_tagged, saved
from tunebook.book.pages.plots import as_music, check_font_list, plain
from tunebook.files import FilesRead, write_whole
from tunebook.model.book import Book
from tunebook.model.changes import KeyScore, SetAdvice, TuneScores, TuningScore
from tunebook.model.words import FixedWords, ReportWords, fixed_words
from tunebook.store import NO_STORE, Store
from tunebook.work_folder import work_folder

ROW_PT = 15.0
MOST_PLOTTED = 40
_LEGEND_COLUMNS = 4


def write_comparison(
    tunings: Sequence[str],
    tunes: Sequence[TuneScores],
    totals: Sequence[tuple[str, float, int]],
    book: Book,
    output: Path,
    store: Store = NO_STORE,
    read: FilesRead | None = None,
    sets: Sequence[SetAdvice] = (),
) -> None:
    """Write the report to ``output`` (whole or not at all), over none of the files in ``read``.
    Raises OutputError."""
    texts = fixed_words(book.language, note_names=book.note_names)
    fonts = load_fonts(store, texts.opening_quote)
    design = Design(page_format(book.paper), fonts, texts)
    words = texts.report
    with work_folder() as folder:
        items = [
            design.page_title(words.comparison, "comparison"),
            design.body(words.comparison_text),
            design.heading(words.totals),
        ]
        rows = [
            (local_names(name, texts), texts.decimal(mean, 2), str(out))
            for name, mean, out in totals
        ]
        items += table_rows(words.total_columns, rows, (2, 3, 5), design)
        if len(tunings) > 1:
            items += _plots(tunes, words, design, folder)
        items += _scores(tunings, tunes, words, design)
        items += _keys(tunes, words, design)
        items += _sets(sets, words, design)
        pages = flow([Stream(tuple(items))], design.page_format, words.comparison)
        labels = [str(number) for number in range(1, len(pages) + 1)]
        drawn = draw_pages(pages, design, {"Title": words.comparison}, labels)
        data = saved(open_tagged(drawn, words.comparison, book.language))
    write_whole(output, data, read=read)


def _scores(
    tunings: Sequence[str], tunes: Sequence[TuneScores], words: ReportWords, design: Design
) -> list[Flowed]:
    rows = [
        (tune.title, *(_cell(one, words, design.words) for one in tune.tunings)) for tune in tunes
    ]
    names = [local_names(name, design.words) for name in tunings]
    shares = (4.0, *(3.0 for _ in tunings))
    return [
        design.heading(words.per_tune),
        *table_rows((words.tune, *names), rows, shares, design),
    ]


def _cell(score: TuningScore, words: ReportWords, texts: FixedWords) -> str:
    if score.difficulty is None:
        return words.out.format(score.out_of_compass)
    chords = f"{score.playable_chords}/{score.chord_count}" if score.chord_count else ""
    drone = " ".join(local_names(name, texts) for name in score.drone.split())
    return "  ".join(part for part in (texts.decimal(score.difficulty, 2), drone, chords) if part)


def _keys(tunes: Sequence[TuneScores], words: ReportWords, design: Design) -> list[Flowed]:
    rows = [
        (
            tune.title,
            "   ".join(_key(one, at == 0, design.words) for at, one in enumerate(tune.keys)),
        )
        for tune in tunes
        if tune.keys
    ]
    if not rows:
        return []
    return [
        design.heading(words.keys),
        design.note(words.keys_text),
        *table_rows((words.tune, ""), rows, (3, 7), design),
    ]


def _sets(sets: Sequence[SetAdvice], words: ReportWords, design: Design) -> list[Flowed]:
    if not sets:
        return []
    texts = design.words
    rows = [
        (
            one.title,
            words.set_orders[2 if one.is_as_written else one.is_reordered],
            str(one.retunings),
            texts.decimal(one.difficulty, 2),
            str(one.semitones_turned),
        )
        for one in sets
    ]
    told = [
        "; ".join(
            f"{local_names(name, texts)}: {', '.join(titles)}" for name, titles in one.by_tuning
        )
        for one in sets
    ]
    return [
        design.heading(words.sets),
        design.note(words.sets_text),
        *table_rows(words.set_columns, rows, (5, 3, 2, 2, 2), design, remarks=told),
    ]


def _key(one: KeyScore, is_first: bool, texts: FixedWords) -> str:
    """As "A dorian (-5) 0.43"; the mode, which no transposition changes, only with the first."""
    name = key_name(one.tonality, texts) if one.tonality else ""
    if not is_first:
        name = name.split(texts.key_joint)[0]
    moved = f"{one.semitones:+d}".replace("-", "\u2212") if one.semitones else "0"
    return f"{name or local_names(one.key, texts)} ({moved}) {texts.decimal(one.difficulty, 2)}"


def _plots(
    tunes: Sequence[TuneScores], words: ReportWords, design: Design, folder: Path
) -> list[Flowed]:
    made = []
    for start in range(0, len(tunes), MOST_PLOTTED):
        part = tunes[start : start + MOST_PLOTTED]
        made.append(Flowed(_plot(part, words, design, folder / f"plot-{start}.pdf"), 12.0))
    return made


def _plot(tunes: Sequence[TuneScores], words: ReportWords, design: Design, path: Path) -> Music:
    """The plot as a block; its PDF goes to ``path``."""
    figure = difficulty_plot(tunes, words.plot_axis, design.width_pt, design.words)
    return as_music(figure, path, words.plot_axis)


def difficulty_plot(tunes: Sequence[TuneScores], axis: str, width: float, texts: FixedWords) -> Any:
    """Dots of difficulty in a figure ``width`` pt wide, a row a tune, one sign a tuning."""
    check_font_list()
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    count = len(tunes[0].tunings)
    height = ROW_PT * len(tunes) + 60.0 + ROW_PT * -(-count // _LEGEND_COLUMNS)
    figure = Figure(figsize=(width / 72, height / 72), layout="constrained")
    FigureCanvasPdf(figure)
    axes = figure.subplots()
    signs = "osD^vPX*"
    for at in range(count):
        points = [
            (score.difficulty, row)
            for row, score in enumerate(tune.tunings[at] for tune in tunes)
            if score.difficulty is not None
        ]
        axes.plot(
            [point[0] for point in points],
            [point[1] for point in points],
            signs[at % len(signs)],
            color=str(0.7 * at / max(1, count)),
            label=local_names(tunes[0].tunings[at].tuning, texts),
            # Smaller and smaller, so that equal values stay visible one upon the other.
            markersize=9 - 6 * at / max(1, count),
        )
    axes.set_yticks(range(len(tunes)), [plain(tune.title) for tune in tunes], fontsize=8)
    axes.invert_yaxis()
    axes.set_xlim(left=0)
    axes.set_xlabel(axis, fontsize=8)
    axes.tick_params(axis="x", labelsize=8)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace(".", texts.decimal_sign))
    axes.grid(axis="y", linewidth=0.3)
    # Beside the plot, where it covers no dot.
    figure.legend(fontsize=8, loc="outside upper left", ncols=_LEGEND_COLUMNS, frameon=False)
    return figure
