from __future__ import annotations

import re
from pathlib import Path

import pytest

from tunebook.errors import SettingError
from tunebook.model.names import bar_name
from tunebook.pipeline.explain import ExplainOrder, explain_tune
from tunebook.pipeline.load import Wishes, load, prepare
from tunebook.pipeline.outcomes import arrange_prepared, arrange_tune
from tunebook.pipeline.prepare import prepare_tune
from tunebook.pipeline.start import show_instrument
from tunebook.solve.fingering.reasons import stops_in_words

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


def test_a_number_that_several_tunes_have_asks_for_the_file() -> None:
    with pytest.raises(SettingError) as caught:
        explain(ExplainOrder("1"), ".")
    assert "tunes are '1'; name the FILE, or give --tune, one of " in str(caught.value)
    assert "polskor.abc:1" in str(caught.value)
    assert explain(ExplainOrder("polskor.abc:1"), ".")[0] == "polskor.abc:1  Tjäderspelet"
    assert explain(ExplainOrder("Tjäderspelet"), ".")[0] == "polskor.abc:1  Tjäderspelet"


def test_drones_are_ranked_even_where_the_book_pins_one() -> None:
    lines = explain(ExplainOrder("1", drones=True))
    assert lines[2].startswith("in the book: D4, open D string, bars ")
    ranked = [line for line in lines if re.match(r"  \d+\. ", line)]
    assert len(ranked) > 1 and "worth" in ranked[0]
    assert ["[in the book for" in line for line in ranked] == [
        "open D string" in line for line in ranked
    ]


EDITIONS = ("player", "teacher", "student-1", "student-2")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two sample tunes with settings that say much about them."""
    text = (SAMPLES / "valser.abc").read_text(encoding="utf-8")
    tunes = re.split(r"\n\n+(?=X:)", text)
    (tmp_path / "some.abc").write_text("\n\n".join(tunes[:2]) + "\n", encoding="utf-8")
    (tmp_path / "tunes.toml").write_text(
        '[instrument]\ntuning = "CGCA"\n[hand]\nsize = "small"\n'
        '[tune."some.abc:1"]\ntranspose = -2\ntempo = 100\npins = ["bar 3 note 1 finger 2"]\n'
        '[tune."some.abc:2"]\ndrone = "C4"\n'
    )
    return tmp_path


@pytest.mark.parametrize("edition", EDITIONS)
def test_what_is_explained_is_what_is_built(folder: Path, edition: str) -> None:
    setup = prepare(folder, Wishes(edition=edition))
    for tune in load(setup, is_ordered=False).tunes:
        built = arrange_tune(tune, setup).arrangement
        assert built is not None
        lines = list(explain_tune(setup, ExplainOrder(tune.number)))
        heads = [line for line in lines if re.match(r"(bar \d+|upbeat)  [A-G]", line)]
        own = heads[: len(built.notes)]
        for note, head in zip(built.notes, own, strict=True):
            assert head.startswith(f"{bar_name(built.tune.bars[note.bar_index].number)}  ")
            told = "goes on" if note.is_continued else stops_in_words(note.stops, built.instrument)
            assert f": {told}" in head
        drones = list(explain_tune(setup, ExplainOrder(tune.number, drones=True)))
        held = {(s.stop.midi, s.stop.string_index) for s in built.drone}
        assert len({line for line in drones if line.startswith("in the book")}) == len(held)
        chords = list(explain_tune(setup, ExplainOrder(tune.number, chords=True)))
        told_chords = [re.split(r": |, ", line)[-1] for line in chords if line.startswith("bar ")]
        assert len(told_chords) == len(built.chords)
        for span, line in zip(
            built.chords, (line for line in chords if line.startswith("bar ")), strict=True
        ):
            assert f": {span.chord.symbol}," in line


@pytest.mark.parametrize("edition", EDITIONS)
def test_other_ways_begin_from_what_is_built(folder: Path, edition: str) -> None:
    setup = prepare(folder, Wishes(edition=edition))
    tune = load(setup, is_ordered=False).tunes[0]
    prepared, _ = prepare_tune(tune, setup)
    plain = arrange_prepared(prepared, setup)
    asked = arrange_prepared(prepared, setup, alternatives=2, other_ways=2, bars=(0, 3))
    assert [note.stops for note in asked.notes] == [note.stops for note in plain.notes]
    assert (asked.drone, asked.chords, asked.cost) == (plain.drone, plain.chords, plain.cost)
    assert [way.cost_more for way in asked.other_ways] == sorted(
        way.cost_more for way in asked.other_ways
    )
    for way in asked.other_ways:
        pairs = zip(plain.notes, way.notes, strict=True)
        # What differs may also be that a held drone is let go for a note.
        assert any(one.moments != other.moments for one, other in pairs if one.bar_index <= 3)


def test_editions_without_drones_or_chords_say_so() -> None:
    setup = prepare(SAMPLES / "polskor.abc", Wishes(edition="student-1"))
    assert "this edition has no chords" in explain_tune(setup, ExplainOrder("1", chords=True))


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


def test_an_instrument_is_drawn(
    tmp_path: Path, home_with_fonts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(home_with_fonts))
    show_instrument("fiddle", None, tmp_path / "fiddle.pdf", False)
    assert (tmp_path / "fiddle.pdf").read_bytes().startswith(b"%PDF")
