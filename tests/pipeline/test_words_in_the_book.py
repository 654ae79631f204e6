"""Words that the pipeline writes into the book: bars after an upbeat, names of notes, kinds of
instrument, both languages."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from tunebook.cli.reports import print_check_report
from tunebook.model.arrangement import Stop
from tunebook.model.book import Book
from tunebook.model.words import fixed_words
from tunebook.pipeline import exercises as practice
from tunebook.pipeline import explain
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.explain import choice_notes, limit_note
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.load import Setup, Wishes, prepare
from tunebook.pipeline.sources import source_of_tune
from tunebook.pipeline.start import write_settings
from tunebook.read.abc.tune import read_abc
from tunebook.solve.arrange import arrange
from tunebook.solve.fingering.other_way import OtherPassage
from tunebook.solve.fingering.reasons import explain_bars, reasons_as_text

UPBEAT = (
    "X:1\nT:Upbeat\nR:polska\nM:3/4\nL:1/8\nK:Bm\n"
    '(3b^ab|"Bm"f2 d2 B2|"F#7"^A2 c2 e2|"G/B"B2 d2 g2|"Bb"_B2 d2 f2|"Bm"B6|]\n'
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "a.abc").write_text(UPBEAT, encoding="utf-8")
    return tmp_path


def setup_for(folder: Path, language: str = "en", **book: object) -> Setup:
    setup = prepare(folder, Wishes(instrument=str(book.pop("instrument", "nyckelharpa-3row"))))
    return replace(setup, book=replace(setup.book, language=language, **book))  # type: ignore


@pytest.mark.parametrize(
    ("numbers", "english", "swedish"),
    [
        ([3], "bar 3", "takt 3"),
        ([1, 2, 3, 5], "bars 1–3, 5", "takt 1–3, 5"),
        ([0], "the upbeat", "upptakten"),
        ([0, 1], "the upbeat and bar 1", "upptakten och takt 1"),
        ([0, 1, 2], "the upbeat and bars 1–2", "upptakten och takt 1–2"),
    ],
)
def test_bars_are_counted_from_one(
    folder: Path, numbers: list[int], english: str, swedish: str
) -> None:
    # No step may be spent on an easier key, so nothing is said of one.
    setups = (
        setup_for(folder, language, reading=(("solving_steps", 0),)) for language in ("en", "sv")
    )
    for setup, bars in zip(setups, (english, swedish), strict=True):
        arrangement = arrange(read_abc(UPBEAT)[0], setup.instrument, setup.hand)
        bar_numbers = [bar.number for bar in arrangement.tune.bars]
        notes = tuple(
            replace(one, beyond_limits=bar_numbers[one.bar_index] in numbers)
            for one in arrangement.notes
        )
        said = fixed_words(setup.book.language).notes["beyond"]
        assert limit_note(replace(arrangement, notes=notes), setup) == said.format(bars)


@pytest.mark.parametrize(
    ("passage", "english", "swedish"),
    [
        (range(0, 1), "Upbeat", "Upptakten"),
        (range(0, 2), "Bar 1 with the upbeat", "Takt 1 med upptakten"),
        (range(0, 4), "Bars 1–3 with the upbeat", "Takt 1–3 med upptakten"),
        (range(2, 4), "Bars 2–3", "Takt 2–3"),
        (range(2, 3), "Bar 2", "Takt 2"),
    ],
)
def test_exercises_count_bars_from_one(passage: range, english: str, swedish: str) -> None:
    tune = read_abc(UPBEAT)[0]
    assert [bar.number for bar in tune.bars[:3]] == [0, 1, 2]
    assert practice._bars_title(tune, passage, fixed_words("en").practice) == english
    assert practice._bars_title(tune, passage, fixed_words("sv").practice) == swedish


def test_explain_and_messages_speak_of_the_upbeat(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    setup = setup_for(folder)
    arrangement = arrange(read_abc(UPBEAT)[0], setup.instrument, setup.hand)
    lines = reasons_as_text(explain_bars(arrangement, 0, 1))
    assert lines[0].startswith("upbeat  B5: ")
    assert any(line.startswith("bar 1  ") for line in lines)
    low = read_abc(UPBEAT.replace("(3b^ab", "(3B,,,^A,B,"))[0]
    said = [str(one) for one in arrange(low, setup.instrument, setup.hand).messages]
    assert any("upbeat: B1 is outside" in line for line in said)
    print_check_report(check_folder(setup), False)
    printed = capsys.readouterr().out
    assert not re.search(r"\b0 \(\d", printed)


@pytest.mark.parametrize(
    ("book", "shown", "hidden"),
    [
        ({}, ['"B"', '"B" \\chord-flat'], ['"H"']),
        ({"language": "sv"}, ['"H" "m"', '"/" "H"'], ['"B" \\chord-flat', '"B" "m"']),
        ({"language": "sv", "note_names": "b"}, ['"B" "m"', '"B" \\chord-flat'], ['"H"']),
        ({"note_names": "h"}, ['"H" "m"', '"/" "H"'], ['"B" \\chord-flat']),
    ],
)
def test_chords_over_the_music_bear_the_names_of_the_book(
    folder: Path, book: dict[str, str], shown: list[str], hidden: list[str]
) -> None:
    setup = setup_for(folder, **book)
    piece = source_of_tune(read_abc(UPBEAT, "a.abc")[0], "a.abc:1", setup, None).piece
    assert piece is not None
    text = piece.text
    for part in shown:
        assert part in text
    for part in hidden:
        assert part not in text


def test_a_swedish_note_on_a_fiddle_has_no_keys_and_a_decimal_comma(folder: Path) -> None:
    setup = setup_for(folder, "sv", instrument="fiddle")
    tune = read_abc(UPBEAT)[0]
    arrangement = arrange(tune, setup.instrument, setup.hand, alternatives=2)
    lines = choice_notes(arrangement, setup)
    assert lines
    text = " ".join(lines)
    assert not re.search(r"nyck|rad|\d\.\d|\bB\d|key|string|bar ", text)
    assert "H" in text


@pytest.mark.parametrize(
    ("counted", "cost_more", "told"),
    [
        ((("drone_pause", 0, 1), ("crossed", 1, 0)), 0.5,
         "without a crossed stop, but a pause of the drone."),
        ((("crossed", 1, 0),), 0.5, "without a crossed stop, but more work in all."),
        ((("crossed", 1, 0),), -0.5,
         "without a crossed stop, but different fingers in bars alike."),
        ((), 0.5, "at the cost of more work in all."),
        ((), 0.1, "a matter of taste."),
    ],
)  # fmt: skip
def test_a_note_on_another_way_names_its_drawback(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    counted: tuple[tuple[str, int, int], ...],
    cost_more: float,
    told: str,
) -> None:
    setup = setup_for(folder)
    arrangement = arrange(read_abc(UPBEAT)[0], setup.instrument, setup.hand)
    other = OtherPassage(arrangement.notes[3:4], counted, (), cost_more)
    monkeypatch.setattr(explain, "other_way_through", lambda *_: other)
    lines = choice_notes(arrangement, setup)
    assert lines and all(line.endswith(f": {told}") for line in lines)


def test_an_explanation_says_where_another_finger_is_that_of_the_drone(folder: Path) -> None:
    setup = setup_for(folder)
    arrangement = arrange(read_abc(UPBEAT)[0], setup.instrument, setup.hand, alternatives=2)
    at, one = next((at, one) for at, one in enumerate(arrangement.notes) if one.alternatives)
    (_, stops), *_ = one.alternatives
    held = Stop(62, 3 if stops[0].string_index != 3 else 2, 9, stops[0].finger or 1)
    moments = (replace(one.moments[0], drone=held, is_drone_paused=False),)
    notes = list(arrangement.notes)
    taken = (replace(stops[0], finger=held.finger),)
    notes[at] = replace(one, moments=moments, alternatives=((0.5, taken),))
    text = reasons_as_text(explain_bars(replace(arrangement, notes=tuple(notes)), 0, 99))
    assert sum("the drone must stop or take another finger" in line for line in text) == 1


def test_a_limit_in_swedish_names_a_key_as_it_is_written(folder: Path) -> None:
    setup = prepare(folder, Wishes(edition="student-1"))
    setup = replace(setup, book=replace(setup.book, language="sv"))
    tune = read_abc(UPBEAT)[0]
    note = limit_note(arrange(tune, setup.instrument, setup.hand, setup.edition.limits), setup)
    assert note.startswith("Utöver nivån: ")
    assert "takt 0" not in note
    if "ligger låten i" in note:
        assert re.search(r"ligger låten i [a-h]\w*-moll ", note)


def test_settings_that_are_written_explain_the_names_of_notes(folder: Path) -> None:
    text = write_settings(folder).read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if "note_names" in line)
    (folder / "tunes.toml").write_text(line.removeprefix("# ") + "\n", encoding="utf-8")
    setup = prepare(folder)
    assert setup.messages == ()
    assert setup.book.note_names == "h"
    assert Book().note_names is None


def test_an_export_does_not_heed_the_names_of_the_book(folder: Path, tmp_path: Path) -> None:
    # Other programs read B as B natural (The ABC Music Standard 2.1, section 4.18).
    export_folder(setup_for(folder, "sv"), ExportOrder("abc", tmp_path / "out"))
    assert '"Bm"' in (tmp_path / "out" / "a.abc").read_text(encoding="utf-8")
