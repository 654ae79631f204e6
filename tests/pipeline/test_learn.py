"""The command that learns a hand: what it refuses, what it writes, and the questions it asks."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from corpus_tunes import random_tunes
from players import PLAYERS, marks_from

import tunebook.pipeline.learn as learning
from tunebook.cli.reports import print_questions
from tunebook.model.hand import WEIGHT_BOUNDS, Hand, Limits
from tunebook.pipeline.ask import AskReport, answered_marks
from tunebook.pipeline.exercises import piece_of_exercise
from tunebook.pipeline.learn import LearnOrder, ask_player, learn_hand, sheets_of, world_of
from tunebook.pipeline.load import Wishes, load, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.passages import passage_of
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.learning.habits import changed_habits, habits_of
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import added, agreement
from tunebook.solve.learning.study import SAME, World, answer, learn
from tunebook.solve.times import tempo_of
from tunebook.write.passage_abc import passage_as_abc

Command = Callable[..., tuple[int, str, str]]
HARPA = read_instrument("nyckelharpa-3row")
SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"
QUESTION = "X:1\nT:Q\nr:way A 3:1 3:2 4:0\nr:way B 3:1 3:2 3:4\nr:answer {}\nM:3/4\nL:1/4\nK:D\n"


def test_too_few_marks_are_refused_with_the_reason(tmp_path: Path, command: Command) -> None:
    music = "X:1\nT:Little one\nM:3/4\nL:1/4\nK:D\n!1!E F G|A B c|]\n"
    (tmp_path / "tunes.abc").write_text(music, encoding="utf-8")
    pins = '[tune."tunes.abc:1"]\npins = ["bar 1 note 2 finger 2"]\n'
    (tmp_path / "tunes.toml").write_text(pins, encoding="utf-8")
    code, _, said = command("learn", str(tmp_path), "-o", str(tmp_path / "hand.toml"))
    assert code != 0
    assert "too few notes are marked to learn a hand from (1, in 1 of the tunes)" in said
    assert "--from-pins" in said
    assert not (tmp_path / "hand.toml").exists()


def test_pins_of_the_settings_count_when_asked_for(tmp_path: Path) -> None:
    (tmp_path / "tunes.abc").write_text("X:1\nT:Q\nM:3/4\nL:1/4\nK:D\nE !2!F G|]\n")
    (tmp_path / "tunes.toml").write_text('[tune."tunes.abc:1"]\npins = ["bar 1 note 3 finger 4"]\n')
    setup = prepare(tmp_path)
    tunes = load(setup).tunes
    counted = [len(sheets_of(setup, tunes, pins)[0][0].marks) for pins in (False, True)]
    assert counted == [1, 2]


@pytest.mark.parametrize("said", ["b", ": B", "B.", "B, but slower"])
def test_an_answer_stands_for_the_marks_of_its_way(said: str) -> None:
    answered = read_abc(QUESTION.format(said) + "E F A|]\n")[0]
    marks, messages = answered_marks(answered, HARPA)
    assert [(mark.fingers, mark.string) for mark in marks] == [((1,), 3), ((2,), 3), ((4,), 3)]
    assert messages == []
    assert answered_marks(read_abc(QUESTION.format("") + "E F A|]\n")[0], HARPA) == ((), [])


@pytest.mark.parametrize(
    ("answer", "music"), [("D", "E F A|]\n"), ("a lot", "E F A|]\n"), ("A", "E F A|G|]\n")]
)
def test_an_answer_that_is_none_of_the_ways_is_said(answer: str, music: str) -> None:
    marks, messages = answered_marks(read_abc(QUESTION.format(answer) + music)[0], HARPA)
    assert marks == ()
    assert [one.what for one in messages] == [f"answer {answer!r} to 'Q' is none of its ways"]


def test_a_passage_reads_back_as_its_tones_and_lengths() -> None:
    music = "F^G/_B/ (3c=cd [EA]-|[EA] z/ e/ ^f =f|]"
    tune = read_abc(f"X:1\nT:All\nM:C\nL:1/4\nK:Gm\n{music}\n")[0]
    text = passage_as_abc(7, "Question 1: A, bar 1", tune.bars, 104.0, ("answer ",))
    again = read_abc(text)[0]
    assert again.number == "7" and again.key.alters == tune.key.alters
    for before, after in zip(tune.bars, again.bars, strict=True):
        for a, b in zip(before.notes, after.notes, strict=True):
            assert (a.pitches, a.duration, a.ties) == (b.pitches, b.duration, b.ties)


def test_a_named_hand_file_is_not_read_for_learning_so_it_may_be_written_anew(
    tmp_path: Path,
) -> None:
    (tmp_path / "tunes.abc").write_text("X:1\nT:Q\nM:3/4\nL:1/4\nK:D\nE F G|]\n")
    (tmp_path / "tunes.toml").write_text('[hand]\nfile = "anna.toml"\nsize = "large"\n')
    setup = prepare(tmp_path, Wishes(reads_hand_file=False))
    assert (setup.hand.name, setup.messages) == ("large", ())
    assert not setup.read.holds(tmp_path / "anna.toml")


def test_what_tunes_toml_does_to_a_tune_is_done_to_its_passages_once(tmp_path: Path) -> None:
    (tmp_path / "tunes.abc").write_text("X:1\nT:Q\nM:3/4\nL:1/4\nK:D\nE F G|A B c|]\n")
    settings = '[tune."tunes.abc:1"]\ntranspose = 2\npins = ["bar 1 note 1 finger 2"]\n'
    (tmp_path / "tunes.toml").write_text(settings)
    setup = prepare(tmp_path)
    sheet = sheets_of(setup, load(setup).tunes, False)[0][0]
    piece = piece_of_exercise(passage_of(sheet, (1, 1), {}), setup, 200.0)
    assert piece is not None
    music = " ".join(piece.score.text().split())
    assert re.search(r"b'4 -\d cs''4 -\d ds''4 -\d", music), music


HERS = '[[edition]]\nname = "hers"\nbased_on = "student-1"\nhand = "{}"\n'
BOLD = "\n".join(
    [
        "span_factors = { relaxed = 1.3, comfortable = 1.3, practical = 1.3 }",
        "[weights.keyed]",
        "stop = 2.0",
        *(
            f"{name} = {WEIGHT_BOUNDS[name][0]}"
            for name in ("crossed", "shift", "above_home", "stretch")
        ),
    ]
)
"""A hand that shifts, crosses and stretches for next to nothing."""


@pytest.mark.parametrize("named", ["by the book", "by the edition", "on the command line"])
def test_the_limits_of_an_edition_hold_for_a_learnt_hand_however_it_is_named(
    named: str, tmp_path: Path
) -> None:
    shutil.copy(SAMPLES / "valser.abc", tmp_path / "valser.abc")
    (tmp_path / "bold.toml").write_text(BOLD, encoding="utf-8")
    settings = {
        "by the book": '[hand]\nfile = "bold.toml"\n',
        "by the edition": HERS.format("bold.toml"),
    }
    (tmp_path / "tunes.toml").write_text(settings.get(named, ""), encoding="utf-8")
    own = str(tmp_path / "bold.toml") if named == "on the command line" else None
    name = "hers" if named == "by the edition" else "student-1"
    setup = prepare(tmp_path, Wishes(hand=own, edition=name))
    assert setup.hand.name == "bold" and setup.messages == ()
    ways, places = set(), set()
    for tune in load(setup).tunes:
        arrangement = arrange_tune(tune, setup).arrangement
        for note in arrangement.notes if arrangement else ():
            assert not note.beyond_limits
            ways |= set(note.ways)
            places.add(note.hand_key)
    assert places <= {1.0, 2.0} and not ways & {"crossed", "shift", "barre"}
    free = prepare(tmp_path, Wishes(hand=str(tmp_path / "bold.toml")))
    loose = [arrange_tune(tune, free).arrangement for tune in load(free).tunes]
    freely = {way for one in loose if one for note in one.notes for way in note.ways}
    assert freely >= {"crossed", "shift"}


def test_a_students_habit_is_learnt_within_the_limits_of_her_edition() -> None:
    limits = Limits(highest_position=0, allows_crossed_stops=False, allows_shifts=False)
    world = World(HARPA, read_hand(), limits)
    hers = PLAYERS["rather stops than leaves open"]
    tunes = [one for one in random_tunes(12, seed=5) if len(one.bars) < 20][:6]
    sheets = [
        Sheet(str(at), tune, tempo_of(tune)[0], marks_from(answer(world, hers, bare)))
        for at, tune in enumerate(tunes)
        for bare in [Sheet("", tune, tempo_of(tune)[0], ())]
    ]
    hand = world.learnt(SAME, learn(world, SAME, sheets[:4], 8).vector)

    def share(one: Hand) -> float:
        found = (agreement(sheet.marks, answer(world, one, sheet)) for sheet in sheets[4:])
        return added(found).share

    assert share(hand) > share(world.hand) + 0.03
    names = [one.name for one in habits_of(changed_habits(world, hand), world, hand, sheets[:4])]
    assert "stopped" in names


def test_an_edition_whose_hand_is_not_yet_there_can_learn_it(tmp_path: Path) -> None:
    (tmp_path / "tunes.abc").write_text("X:1\nT:Q\nM:3/4\nL:1/4\nK:D\nE F G|]\n")
    (tmp_path / "tunes.toml").write_text(HERS.format("hers.toml"))
    setup = prepare(tmp_path, Wishes(edition="hers", reads_hand_file=False))
    assert setup.hand.name == "medium" and not setup.edition.limits.allows_shifts
    assert world_of(setup).limits == setup.edition.limits


def test_a_student_is_asked_about_tunes_in_the_key_in_which_her_edition_prints_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    music = "|:a b c' d'|c' b a2|e' c' b c'|a2 c2:|" * 2
    text = f"X:1\nT:High\nM:4/4\nL:1/4\nK:A\n{music}\n"
    (tmp_path / "tunes.abc").write_text(text, encoding="utf-8")
    asked: list[Sheet] = []

    def taken(setup: object, world: World, sheets: list[Sheet], *rest: object) -> None:
        asked.extend(sheets)

    monkeypatch.setattr(learning, "ask", taken)
    order = LearnOrder(tmp_path / "ask.pdf")
    highest = {}
    for edition in ("player", "student-1"):
        asked.clear()
        ask_player(prepare(tmp_path, Wishes(edition=edition)), order, 3)
        highest[edition] = max(
            pitch.midi
            for one in asked
            for bar in one.tune.bars
            for note in bar.notes
            for pitch in note.pitches
        )
    assert highest["student-1"] < highest["player"] - 2


@pytest.mark.parametrize(("wanted", "says_more"), [(10, True), (2, False)])
def test_fewer_questions_than_wanted_are_told(
    wanted: int, says_more: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    print_questions(AskReport(2, wanted, Path("ask.pdf"), Path("ask.abc")))
    out = capsys.readouterr().out
    assert out.startswith("ask.pdf: 2 questions, to be answered in ask.abc\n")
    assert ("more tunes would give more" in out) == says_more


@pytest.fixture(scope="module")
def marked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample tunes as the program itself fingers them."""
    from tunebook.pipeline.export import ExportOrder, export_folder

    folder = tmp_path_factory.mktemp("marked") / "tunes"
    own = tmp_path_factory.mktemp("samples")
    for name in ("polskor.abc", "danser.abc", "valser.abc"):
        shutil.copy(SAMPLES / name, own / name)
    export_folder(prepare(own), ExportOrder(kind="abc", output=folder, jobs=1))
    return folder


def test_the_programs_own_fingers_teach_nothing_and_no_hand_is_written(
    marked: Path, tmp_path: Path
) -> None:
    order = LearnOrder(tmp_path / "hand.toml", tmp_path / "report.pdf", jobs=1)
    report = learn_hand(prepare(marked), order)
    assert report.verdict.is_alike and report.output is None
    assert not (tmp_path / "hand.toml").exists()
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF")


def test_each_answer_that_cannot_be_read_is_named(command, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    tunes = [QUESTION.format(said) + "E F A|]\n" for said in ("D", "A B", "b", "")]
    tunes.append(QUESTION.format("D") + "!1!E F A|]\n")
    (tmp_path / "ask.abc").write_text("\n".join(tunes), encoding="utf-8")
    (tmp_path / "a.abc").write_text("X:1\nT:A\nM:3/4\nL:1/4\nK:D\nE F A|]\n", encoding="utf-8")
    code, _, errors = command("check", str(tmp_path))
    assert code == 0 and errors.count("is none of its ways; write one of A, B") == 2
    assert f"{tmp_path / 'ask.abc'}:1: answer 'D' to 'Q'" in errors
    assert f"{tmp_path / 'ask.abc'}:11: answer 'A B' to 'Q'" in errors
    assert command("check", str(tmp_path), "--strict")[0] == 1
    code, _, errors = command("learn", str(tmp_path))
    assert code == 3 and "answer 'D'" in errors and "answer 'A B'" in errors
