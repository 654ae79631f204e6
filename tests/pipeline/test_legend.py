"""Which signs are explained with an engraved example."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.pipeline.load import Setup, prepare
from tunebook.pipeline.pieces import legend_pieces
from tunebook.read.abc.tune import read_abc
from tunebook.solve.arrange import arrange


@pytest.fixture(scope="module")
def setup(tmp_path_factory: pytest.TempPathFactory) -> Setup:
    folder = tmp_path_factory.mktemp("tunes")
    (folder / "one.abc").write_text("X:1\nT:t\nK:D\nD4|\n", encoding="utf-8")
    return prepare(folder)


def arranged(music: str, setup: Setup) -> Arrangement:
    tune = read_abc(f"X:1\nT:t\nM:4/4\nL:1/4\nK:C\n{music}\n")[0]
    return arrange(tune, setup.instrument, setup.hand, drones="none", chords="none")


@pytest.mark.parametrize(
    ("music", "kind", "written"),
    [
        ("c d e c''|]", "unplayable", "\\parenthesize"),
        ("c d ^/e c|]", "quarter_tone", "\\quarterUp"),
    ],
)
def test_sign_is_explained_where_it_occurs_and_nowhere_else(
    setup: Setup, music: str, kind: str, written: str
) -> None:
    piece = legend_pieces([arranged(music, setup)], setup)[f"legend:{kind}"]
    assert written in piece.score.text()
    assert f"legend:{kind}" not in legend_pieces([arranged("c d e c|]", setup)], setup)


def test_double_stops_are_explained_where_the_melody_has_small_heads(setup: Setup) -> None:
    tune = read_abc("X:1\nT:t\nM:4/4\nL:1/4\nK:D\n[r:accent D4]d4|]\n")[0]
    made = arrange(tune, setup.instrument, setup.hand, drones="none", accents="melody")
    for accents in ("none", "melody", "drone"):
        edition = replace(setup.edition, accents=accents)
        pieces = legend_pieces([made], replace(setup, edition=edition))
        assert ("legend:accent" in pieces) == (accents == "melody")
        assert ("legend:drone" in pieces) == (accents == "drone")
    shown = legend_pieces([made], replace(setup, edition=replace(setup.edition, accents="melody")))
    assert "\\fingerBelow 0" in shown["legend:accent"].score.text()


def test_the_sign_of_a_string_is_explained_without_signs_of_other_kinds(setup: Setup) -> None:
    made = arranged("c d e c|]", setup)
    shown = replace(made, notes=tuple(replace(one, shows_string=True) for one in made.notes))
    pieces = legend_pieces([shown], setup)
    assert "legend:crossed" not in pieces
    text = pieces["legend:string"].score.text()
    crossed = legend_pieces(
        [replace(made, notes=tuple(replace(one, ways=("crossed",)) for one in made.notes))], setup
    )["legend:crossed"].score.text()
    assert "\\crossed" in crossed and "\\crossed" not in text
