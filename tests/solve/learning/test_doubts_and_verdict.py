"""Questions about marks, agreement with marks, and how sure a gain is."""

from __future__ import annotations

from tunebook.model.arrangement import Stop
from tunebook.model.hand import Limits
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.fingering.demands import NoteRef
from tunebook.solve.learning.doubts import doubts
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import Agreement, Mark, agreement, marks_of
from tunebook.solve.learning.parameters import parameters_for
from tunebook.solve.learning.study import SAME, Measured, World, folds_of
from tunebook.solve.learning.verdict import verdict
from tunebook.solve.times import tempo_of

HARPA = read_instrument("nyckelharpa-3row")
WORLD = World(HARPA, read_hand(), Limits())
HEAD = "X:1\nT:Little one\nM:3/4\nL:1/4\nQ:1/4=96\nK:D\n"


def sheet(music: str) -> Sheet:
    tune = read_abc(HEAD + music + "\n")[0]
    return Sheet("little", tune, tempo_of(tune)[0], marks_of(tune, HARPA))


def reasons(music: str, world: World = WORLD) -> list[tuple[str, NoteRef]]:
    usual = parameters_for("keyed").usual
    return [(one.why, one.ref) for one in doubts(world, SAME, usual, [sheet(music)])]


def test_marks_are_read_from_struck_notes() -> None:
    found = sheet("!2!E [r:string D]F- F | G !0!A B |]").marks
    assert found == (
        Mark(NoteRef(0, 0), (2,)),
        Mark(NoteRef(0, 1), (), 3),
        Mark(NoteRef(1, 1), (0,)),
    )


def test_agreement_is_counted_by_finger_by_string_and_as_a_whole() -> None:
    mark = Mark(NoteRef(0, 0), (2,), 3)
    right, finger_only = Stop(64, 3, 2, 2), Stop(64, 2, 9, 2)
    assert mark.agrees((right,)) and not mark.agrees((finger_only,))
    assert agreement([mark], []) == Agreement(0, 1, 0, 1, 0, 1)


def test_a_mark_that_no_hand_can_play_is_a_question() -> None:
    assert reasons("!0!E F G | A B c |]") == [("impossible", NoteRef(0, 0))]


def test_a_mark_beyond_the_limits_of_an_edition_is_told_from_a_slip() -> None:
    first_position = World(HARPA, read_hand(), Limits(highest_key=7))
    music = "[r:string D]B3 | [r:string D]c3 | [r:string D]B3 |]"
    expected = [("beyond", NoteRef(bar, 0)) for bar in range(3)]
    assert reasons(music, first_position) == expected
    assert reasons(music) == []


def test_a_mark_that_asks_very_much_is_a_question() -> None:
    found = reasons("E/F/[r:string D]d/E/F/E/ | A B c |]")
    assert found == [("dear", NoteRef(0, 2))]


def test_bars_alike_that_are_marked_otherwise_are_a_question() -> None:
    alike = "D !{}!E F | D3 | D !{}!E F | D3 |]"
    assert reasons(alike.format(1, 2)) == [("unlike", NoteRef(2, 1))]
    assert reasons(alike.format(1, 1)) == []


def measured(pairs: list[tuple[int, int]]) -> list[Measured]:
    def part(both: int) -> Agreement:
        return Agreement(both, 100, 0, 0, both, 100)

    return [Measured(str(at), part(a), part(b)) for at, (a, b) in enumerate(pairs)]


def test_a_gain_in_every_tune_is_sure_and_a_mixed_one_is_not() -> None:
    sure = verdict(measured([(70, 90 + n % 3) for n in range(10)]))
    assert sure.is_better and not sure.is_alike
    assert 0.2 < sure.least_gain < sure.most_gain < 0.22
    mixed = verdict(measured([(70, 78), (70, 62), (70, 75), (70, 66), (70, 73), (70, 70)]))
    assert not mixed.is_better
    assert mixed.needed is not None and mixed.needed > 6


def test_no_gain_names_no_number_of_tunes() -> None:
    worse = verdict(measured([(70, 69), (70, 70), (70, 68)]))
    assert (worse.is_better, worse.needed) == (False, None)
    assert verdict(measured([(99, 99), (100, 99)])).is_alike


def test_every_tune_is_left_out_once() -> None:
    sheets = [sheet("E F G |]")._replace(name=str(at)) for at in range(23)]
    folds = folds_of(sheets)
    assert sorted(name for fold in folds for name in fold) == sorted(one.name for one in sheets)
    assert len(folds) == 10
