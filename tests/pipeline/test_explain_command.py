from __future__ import annotations

from pathlib import Path

import pytest

from tunebook.errors import SettingError
from tunebook.pipeline.explain import ExplainOrder, explain_tune
from tunebook.pipeline.setup import prepare
from tunebook.pipeline.show import show_instrument

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"


def explain(order: ExplainOrder, file: str = "polskor.abc") -> list[str]:
    return list(explain_tune(prepare(SAMPLES / file), order))


def test_every_note_of_the_bars_has_its_place_and_its_costs() -> None:
    lines = explain(ExplainOrder("1", "1-2"))
    assert lines[0] == "polskor.abc:1  Tjäderspelet"
    heads = [line for line in lines if line.startswith("bar 1  ")]
    assert len(heads) >= 6
    assert any("string key" in line and "finger" in line for line in heads)
    assert any(line.strip().startswith("cost ") for line in lines)
    assert any(line.strip().startswith("or ") for line in lines)
    assert "other ways through these bars, with what they cost more:" in lines


def test_drones_are_ranked_even_where_the_book_pins_one() -> None:
    lines = explain(ExplainOrder("1", drones=True))
    assert lines[2].startswith("1. ") and "consonance" in lines[2]


def test_chords_come_with_how_sure_they_are() -> None:
    lines = explain(ExplainOrder("2", "1-4", chords=True))
    assert any("% sure" in line for line in lines)


@pytest.mark.parametrize(
    ("order", "message"),
    [
        (ExplainOrder("99"), "no tune '99'; give --tune, one of 1, 2, 3, 4"),
        (ExplainOrder(None), "which tune?; give --tune, one of 1, 2, 3, 4"),
        (
            ExplainOrder("1", "x"),
            "bars 'x' cannot be read; write them as 3-6, the smaller first, or 3",
        ),
        (
            ExplainOrder("1", "6-3"),
            "bars '6-3' cannot be read; write them as 3-6, the smaller first, or 3",
        ),
        (ExplainOrder("1", "400-500"), "there are no bars 400 to 500"),
    ],
)
def test_what_is_not_there_is_one_line(order: ExplainOrder, message: str) -> None:
    with pytest.raises(SettingError) as caught:
        explain(order)
    assert message in str(caught.value)


def test_a_profile_printed_as_a_file_reads_back(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(
        "\n".join(show_instrument("nyckelharpa-3row", None, None, True)), encoding="utf-8"
    )
    lines = show_instrument(str(path), "CGCA", None, False)
    assert lines[1].startswith("tuning CGCA: C3 G3 C4 A4")


def test_an_instrument_is_drawn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    show_instrument("fiddle", None, tmp_path / "fiddle.pdf", False)
    assert (tmp_path / "fiddle.pdf").read_bytes().startswith(b"%PDF")
