"""Easier lines of a tune in editions: the same bars, repeats and harmony, fingers of their own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tunebook.book.musical_text import info_line
from tunebook.model.arrangement import Arrangement
from tunebook.model.words import fixed_words
from tunebook.pipeline.explain import ExplainOrder, explain_tune
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.kept import setup_sum
from tunebook.pipeline.load import Setup, Wishes, load, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.sources import source_of_tune
from tunebook.solve.second_opinion.pricing import verify_arrangement

TUNE = """\
X:1
T:Myrslängen
R:polska
M:3/4
L:1/8
Q:1/4=108
K:D
|:{e}d>e !trill!f2 af|(3gag f2 e2|"A7"c2 de cA|1 d4 A2:|2 d6|]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "tunes"
    home.mkdir()
    (home / "a.abc").write_text(TUNE, encoding="utf-8")
    return home


def setup_with(folder: Path, line: str, settings: str = "", base: str = "player") -> Setup:
    text = f'[[edition]]\nname = "e"\nbased_on = "{base}"\nfingers = "all"\nline = "{line}"\n'
    (folder / "tunes.toml").write_text(text + settings, encoding="utf-8")
    return prepare(folder, Wishes(edition="e"))


def arranged(setup: Setup) -> Arrangement:
    found = arrange_tune(load(setup).tunes[0], setup).arrangement
    assert found is not None
    return found


def harmony(arrangement: Arrangement) -> list[tuple[object, ...]]:
    return [(span.onset, span.duration, span.chord.symbol) for span in arrangement.chords]


@pytest.mark.parametrize("line", ["plain", "frame", "frame and full"])
def test_a_line_has_the_bars_repeats_and_harmony_of_the_tune(folder: Path, line: str) -> None:
    full, easy = arranged(setup_with(folder, "full")), arranged(setup_with(folder, line))
    assert easy.tune.played == full.tune.played
    assert [bar.duration for bar in easy.tune.bars] == [bar.duration for bar in full.tune.bars]
    if line != "plain":
        assert harmony(easy) == harmony(full)
    assert len(easy.notes) < len(full.notes)


def test_fingers_are_solved_for_what_is_printed(folder: Path) -> None:
    easy = arranged(setup_with(folder, "frame"))
    sounding = [note for bar in easy.tune.bars for note in bar.notes if note.pitches]
    assert [one.note for one in easy.notes] == sounding
    assert all(one.stops for one in easy.notes)
    assert verify_arrangement(easy) == ()


def test_a_plain_line_has_neither_grace_notes_nor_trills_nor_turns(folder: Path) -> None:
    notes = [note for bar in arranged(setup_with(folder, "plain")).tune.bars for note in bar.notes]
    assert not any(note.is_grace or note.decorations or note.tuplet for note in notes)


def test_the_frame_stands_over_all_of_the_tune_on_two_staves(folder: Path) -> None:
    setup = setup_with(folder, "frame and full")
    both = arranged(setup)
    (whole,) = both.voices
    full = arranged(setup_with(folder, "full"))
    assert [one.stops for one in whole.arrangement.notes] == [one.stops for one in full.notes]
    tune = load(setup).tunes[0]
    piece = source_of_tune(tune, "a.abc:1", setup, None).piece
    assert piece is not None and piece.text.count("\\context VoiceStaff") == 1
    assert "trill" in piece.text
    alone = setup_with(folder, "frame")
    piece = source_of_tune(tune, "a.abc:1", alone, None).piece
    assert piece is not None and "\\context VoiceStaff" not in piece.text


@pytest.mark.parametrize(
    ("line", "english", "swedish"),
    [
        ("frame", "frame of the tune", "låtens stomme"),
        ("plain", "without ornaments", "utan utsmyckningar"),
    ],
)
def test_the_page_says_which_line_it_is(
    folder: Path, line: str, english: str, swedish: str
) -> None:
    found = arranged(setup_with(folder, line))
    assert info_line(found, fixed_words("en")).endswith(f" · {english}")
    assert info_line(found, fixed_words("sv")).endswith(f" · {swedish}")


def test_a_tune_may_have_a_line_of_its_own_in_every_edition(folder: Path) -> None:
    setup = setup_with(folder, "full", '[tune."a.abc:1"]\nline = "frame"\n')
    assert arranged(setup).tune.line == "frame"
    setup = setup_with(folder, "frame", '[tune."a.abc:1"]\nline = "full"\n')
    assert arranged(setup).tune.line == "full"


def test_a_frame_is_moved_with_its_tune_to_a_key_of_the_level(folder: Path) -> None:
    high = TUNE.replace("|:{e}d>e", "|:{e}b>c'")
    (folder / "a.abc").write_text(high, encoding="utf-8")
    setup = setup_with(folder, "frame and full", base="student-1")
    both = arranged(setup)
    assert both.tune.moved is not None
    assert not any(one.beyond_limits or not one.stops for one in both.notes)
    (whole,) = both.voices
    assert whole.voice.bars[0].key == both.tune.key
    assert all(one.stops for one in whole.arrangement.notes)


def test_the_exported_text_of_a_line_is_what_is_printed(folder: Path, tmp_path: Path) -> None:
    setup = setup_with(folder, "frame")
    report = export_folder(setup, ExportOrder("abc", tmp_path / "out", jobs=1))
    assert not any(message.kind == "fingering" for message in report.messages)
    text = (tmp_path / "out" / "a.abc").read_text(encoding="utf-8")
    assert "N:frame of the tune\nr:line frame\n" in text
    (tmp_path / "out" / "tunes.toml").write_text("", encoding="utf-8")
    again = arranged(prepare(tmp_path / "out", Wishes(edition="teacher")))
    frame = arranged(setup)
    assert again.tune.line == "frame"
    assert [one.stops for one in again.notes] == [one.stops for one in frame.notes]
    words = fixed_words("en")
    assert info_line(again, words) == info_line(frame, words)


@pytest.mark.parametrize("line", ["frame and full", "plain"])
def test_a_frame_for_two_says_that_it_has_no_second_voice(folder: Path, line: str) -> None:
    two = TUNE.replace("|:{e}d>e", "V:1\n|:{e}d>e") + "V:2\n|:d4 A2|F4 D2|A2 c4|1 d4 A2:|2 d6|]\n"
    (folder / "a.abc").write_text(two, encoding="utf-8")
    setup = setup_with(folder, line, base="duo")
    (tune,) = load(setup).tunes
    outcome = arrange_tune(tune, setup)
    said = ["no second voice" in one.what for one in outcome.messages]
    assert said == ([True] if line.startswith("frame") else [])
    assert outcome.arrangement is not None and len(outcome.arrangement.voices) == 1


def test_explain_speaks_of_the_printed_line(folder: Path) -> None:
    lines = list(explain_tune(setup_with(folder, "frame"), ExplainOrder("1", "1")))
    heads = [line for line in lines if line.startswith("bar 1  ")]
    assert len(heads) == 3


def test_the_line_counts_for_what_is_kept(folder: Path) -> None:
    setup = setup_with(folder, "full")
    other = replace(setup, edition=replace(setup.edition, line="frame"))
    assert setup_sum(setup) != setup_sum(other)


def test_exported_source_has_the_staves_of_the_page(folder: Path, tmp_path: Path) -> None:
    setup = setup_with(folder, "frame and full")
    export_folder(setup, ExportOrder("ly", tmp_path / "out", jobs=1))
    (path,) = (tmp_path / "out").iterdir()
    assert path.read_text(encoding="utf-8").count("\\context VoiceStaff") == 1
