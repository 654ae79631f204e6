"""The comparison as a PDF: its plot and its keys."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from reading import text_of

from tunebook.book.pages.comparison import difficulty_plot, write_comparison
from tunebook.model.book import Book
from tunebook.model.changes import KeyScore, SetAdvice, TuneScores, TuningScore
from tunebook.model.tune import Key
from tunebook.model.words import fixed_words
from tunebook.store import Store

TUNINGS = ("CGDA", "CGCA", "DGDA", "CGEA", "AGDA", "BGDA", "CFDA", "CADA")


def scored(count: int, tunings: int) -> list[TuneScores]:
    """Tunes whose difficulties fill the plot from edge to edge."""
    return [
        TuneScores(
            f"a.abc:{row}",
            f"Polska {row}",
            tuple(
                TuningScore(name, 0.3 + (row * 7 + at * 5) % 23 / 4, 0, 0, 0, "D4", 1, 2)
                for at, name in enumerate(TUNINGS[:tunings])
            ),
            (
                KeyScore(0, "D minor", 1.5, Key(1, 0, "aeolian")),
                KeyScore(-2, "Bb mixolydian", 2.5, Key(6, -1, "mixolydian")),
            ),
        )
        for row in range(1, count + 1)
    ]


@pytest.mark.parametrize("count", [1, 2, 16, 40])
@pytest.mark.parametrize("tunings", [2, 8])
def test_the_legend_of_the_plot_covers_no_dot_and_stays_on_the_paper(
    count: int, tunings: int
) -> None:
    figure = difficulty_plot(scored(count, tunings), "cost per second", 499.0, fixed_words("en"))
    figure.canvas.draw()
    (axes,) = figure.axes
    legend = figure.legends[0].get_window_extent()
    plot = axes.get_window_extent()
    assert not legend.overlaps(plot)
    assert plot.height > 8.0 * count
    assert legend.x0 >= 0.0 and legend.x1 <= figure.bbox.width
    assert legend.y1 <= figure.bbox.height


@pytest.mark.parametrize(
    ("language", "names"),
    [
        (
            "en",
            ("1.25 B3 B♭3 3/5", "D minor (0) 1.50 B♭ (\u22122)", "B dorian (\u22123) 0.55"),
        ),
        ("sv", ("1,25 H3 B3 3/5", "d-moll (0) 1,50 B (\u22122) 2,50", "h-dorisk (\u22123) 0,55")),
    ],
)
def test_scores_and_keys_stand_in_the_words_of_the_language_and_the_first_key_has_its_mode(
    tmp_path: Path, store: Store, language: str, names: tuple[str, ...]
) -> None:
    path = tmp_path / "keys.pdf"
    first, second = scored(2, 1)
    first = replace(first, tunings=(TuningScore("CGDA", 1.25, 0, 0, 0, "B3 Bb3", 3, 5),))
    second = replace(second, keys=(KeyScore(-3, "B", 0.55, Key(6, 0, "dorian", 3)),))
    write_comparison(
        ("CGDA",), [first, second], (("CGDA", 1.0, 0),), Book(language=language), path, store
    )
    text = re.sub(r"\s+", " ", text_of(path))
    assert [name for name in names if name not in text] == []


def test_ways_through_the_sets_name_each_tuning_once_with_its_tunes(
    tmp_path: Path, store: Store
) -> None:
    path = tmp_path / "sets.pdf"
    tunes = (("CGDA", "First"), ("CGDA", "Third"), ("BbFBbF", "Second"))
    way = SetAdvice(
        title="Kväll",
        is_reordered=True,
        retunings=1,
        difficulty=2.5,
        semitones_turned=4,
        tunes=tunes,
    )
    book = Book(language="sv")
    write_comparison(("CGDA",), scored(1, 1), (("CGDA", 1.0, 0),), book, path, store, sets=(way,))
    text = re.sub(r"\s+", " ", text_of(path))
    assert "Kväll ändrad 1 2,50 4" in text
    assert "CGDA: First, Third; BFBF: Second" in text
    assert "med ansiktet borta från strängarna" in text
