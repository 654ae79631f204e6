"""A player without a fingered tune answers questions, and what is learnt from her answers alone
fingers other tunes as she does; the pages with questions and with what was learnt."""

from __future__ import annotations

import re
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import pytest
from players import PLAYERS, fingered, sheets_by
from reading import text_of

import tunebook.engrave.engrave as engraving
import tunebook.pipeline.learn as learning
from tunebook.errors import InputError, OutputError, ProgramError
from tunebook.model.book import HandChoice
from tunebook.model.hand import Hand, Limits
from tunebook.model.tune import Tune
from tunebook.pipeline.ask import answered_marks
from tunebook.pipeline.learn import LearnOrder, ask_player, learn_hand
from tunebook.pipeline.learn_report import write_report
from tunebook.pipeline.learn_words import LearnReport
from tunebook.pipeline.load import Setup, Wishes, load, prepare
from tunebook.pipeline.passages import passage_of
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.learning.marks import added, agreement, marks_of
from tunebook.solve.learning.study import SAME, World, answer, learn

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"
HARPA = read_instrument("nyckelharpa-3row")
HERS = PLAYERS["spares the little finger"]
QUESTIONS = 23


class Round(NamedTuple):
    """A folder of tunes, the pages and the ABC of questions, the folder with the answers, and what
    was learnt there."""

    folder: Path
    pages: Path
    music: Path
    answers: Path
    report: LearnReport


def answered(text: str) -> str:
    """The questions with her answers: the letter of a way that is hers, else her own fingers."""
    head, *questions = text.split("X:")
    return head + "".join(_with_answer("X:" + one) for one in questions)


def _with_answer(text: str) -> str:
    hers = fingered(read_abc(text)[0], HARPA, HERS)
    for letter in re.findall(r"r:way ([A-C])", text):
        with_letter = text.replace("r:answer", f"r:answer {letter}")
        marks, _ = answered_marks(read_abc(with_letter)[0], HARPA)
        if agreement(marks, hers).both == len(marks):
            return with_letter
    lines = text.split("\n")
    for one in reversed(hers):
        place = one.note.place
        if one.stops and not one.is_continued:
            line = lines[place.line - 1]
            before, after = line[: place.column - 1], line[place.column - 1 :]
            lines[place.line - 1] = f"{before}!{one.stops[0].finger}!{after}"
    return "\n".join(lines)


def share_of(hand: Hand, tunes: Sequence[Tune]) -> float:
    world = World(HARPA, read_hand(), Limits())
    sheets = sheets_by(HERS, tunes, HARPA)
    return added(agreement(one.marks, answer(world, hand, one)) for one in sheets).share


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory, home_with_fonts: Path) -> Round:
    base = tmp_path_factory.mktemp("round")
    folder, answers = base / "tunes", base / "answers"
    folder.mkdir()
    answers.mkdir()
    for name in ("polskor", "danser", "valser", "gang_och_brud"):
        shutil.copy(SAMPLES / f"{name}.abc", folder / f"{name}.abc")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(home_with_fonts))
        # Spans other than the usual are tried elsewhere; here they would take most of the time.
        patch.setattr(learning, "try_spans", lambda *given: [learn(given[0], SAME, given[1], 8)])
        asked = ask_player(prepare(folder), LearnOrder(base / "ask.pdf", jobs=1), QUESTIONS)
        text = asked.music.read_text(encoding="utf-8")
        (answers / "ask.abc").write_text(answered(text), encoding="utf-8")
        report = learn_hand(prepare(answers), LearnOrder(base / "hand.toml", jobs=1))
    return Round(folder, asked.pages, asked.music, answers, report)


def test_what_is_learnt_from_answers_alone_fingers_other_tunes_more_as_she_does(
    played: Round,
) -> None:
    assert played.report.messages == ()
    assert played.report.verdict.is_better and played.report.output is not None
    tunes = load(prepare(played.folder)).tunes
    hand = prepare(played.folder, Wishes(hand=str(played.report.output))).hand
    assert share_of(hand, tunes) > share_of(read_hand(), tunes) + 0.15


def test_the_questions_are_on_the_pages_each_in_ways_that_differ_and_can_be_played(
    played: Round,
) -> None:
    text = text_of(played.pages)
    tunes = read_abc(played.music.read_text(encoding="utf-8"))
    assert len(tunes) == QUESTIONS
    ways = []
    for tune in tunes:
        assert tune.title.split(",")[0] in text
        remarks = [one for one in tune.field("r") if one.startswith("way ")]
        assert 2 <= len(remarks) <= 3 and len({one[5:] for one in remarks}) == len(remarks)
        ways += [(tune, one[4]) for one in remarks]
    tones = {str([note.pitches for bar in tune.bars for note in bar.notes]) for tune in tunes}
    assert len(tones) == len(tunes)
    source = played.music.read_text(encoding="utf-8").split("X:")
    for tune, letter in ways:
        question = source[int(tune.number)].replace("r:answer", f"r:answer {letter}")
        marks, said = answered_marks(read_abc("X:" + question)[0], HARPA)
        struck = [
            note.pitches[0].midi
            for bar in tune.bars
            for note in bar.notes
            if note.pitches and not any(note.is_tied_from_before)
        ]
        assert said == [] and len(marks) == len(struck)
        for mark, midi in zip(marks, struck, strict=True):
            key = midi - HARPA.string(mark.string or 0).open_midi
            assert (key == 0) == (mark.fingers == (0,)) and key >= 0


def test_answers_are_not_written_over(played: Round, tmp_path: Path) -> None:
    shutil.copy(played.answers / "ask.abc", tmp_path / "ask.abc")
    with pytest.raises(OutputError, match="it holds answers; put it among your tunes"):
        ask_player(prepare(played.folder), LearnOrder(tmp_path / "ask.pdf", jobs=1), 1)


def test_questions_are_not_printed_as_tunes(played: Round) -> None:
    with pytest.raises(InputError, match="no tune could be used"):
        load(prepare(played.answers))
    assert len(load(prepare(played.answers), has_questions=True).tunes) == QUESTIONS


def report_text(setup: Setup, report: LearnReport, path: Path) -> str:
    write_report(setup, report, path, 1)
    return text_of(path)


def test_the_report_shows_the_bars_of_a_habit_as_she_plays_them_and_without_it(
    played: Round, tmp_path: Path, home_with_fonts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(home_with_fonts))
    one = replace(played.report, habits=played.report.habits[:1])
    text = report_text(prepare(played.answers), one, tmp_path / "report.pdf")
    places = one.habits[0].places
    assert text.count("as you play") == text.count("without the habit") == len(places) == 2
    assert "You spare the little finger." in text
    sheets = {sheet.name: sheet for sheet in played.report.sheets}
    for place in places:
        sheet = sheets[place.name]
        shown = passage_of(sheet, place.bars, dict(place.with_habit))
        marks = {mark.ref: mark for mark in sheet.marks}
        for mark in marks_of(shown, HARPA):
            ref = mark.ref._replace(bar=mark.ref.bar + place.bars[0])
            assert ref not in marks or marks[ref].fingers == mark.fingers


def test_without_an_engraver_the_report_names_the_bars_and_says_why(
    played: Round, tmp_path: Path, home_with_fonts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing() -> None:
        raise ProgramError("LilyPond, which engraves the music, was not found")

    monkeypatch.setenv("XDG_CACHE_HOME", str(home_with_fonts))
    monkeypatch.setattr(engraving, "find_lilypond", missing)
    setup = prepare(played.answers)
    setup = replace(setup, book=replace(setup.book, hand=HandChoice()))
    text = " ".join(report_text(setup, played.report, tmp_path / "report.pdf").split())
    assert "was not found, so the bars are named here and not printed" in text
    assert "without the habit." in text and "as you play" not in text
