"""The order in which bars are played."""

from __future__ import annotations

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.repeats import played_order, read_part_order
from tunebook.read.abc.tune import read_abc


def read(music: str, more: str = "") -> Tune:
    """A tune whose every bar is one whole note, named by its letter."""
    return read_abc(f"X:1\nM:4/4\nL:1/1\n{more}K:C\n{music}\n")[0]


def played(music: str, more: str = "") -> str:
    """The letters of the bars in playing order."""
    tune = read(music, more)
    letters = "CDEFGAB"
    return "".join(letters[tune.bars[index].notes[0].pitches[0].step] for index in tune.played)


def kinds(tune: Tune) -> list[str]:
    return [message.kind for message in tune.messages]


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("C|D|E|]", "CDE"),
        ("|:C|D:|E|]", "CDCDE"),
        ("C|D:|E|F:|", "CDCDEFEF"),
        ("C|D::E|F:|", "CDCDEFEF"),
        ("C|D:|:E|F:|", "CDCDEFEF"),
        ("C|D||E|F:|", "CDEFEF"),
        ("|:C|D||E|F:|", "CDEFCDEF"),
        ("C|D|]E|F:|", "CDEFEF"),
        ("C:|D||E:|F:|", "CCDEEFF"),
        ("|:C|1D:|2E||F:|", "CDCEFF"),
        ("|:C|1D:|2E|]F|G:|", "CDCEFGFG"),
        ("|:C|1D:|2E::F:|", "CDCEFF"),
        ("|:C|1D|E:|2F|G|]", "CDECFG"),
        ("|:C|1D:|E|]", "CDCE"),
        ("|:C|1,2D:|3E|]", "CDCDCE"),
        ("|:C|1-3D:|4E|]", "CDCDCDCE"),
        ("|:C|1,3D:|2,4E|]", "CDCECDCE"),
        ("|::C::|D|]", "CCCD"),
        ("|::C|1,2D::|3E|]", "CDCDCE"),
        ("|:C|1D:|2E:|", "CDCE"),
        ("|:C|1D:|2E:|3F|]", "CDCECF"),
        ("C|1D:|2E||F|1G:|2A|]", "CDCEFGFA"),
        ("|:C:||:D:|", "CCDD"),
        ("|:C|D|\n|:E:|", "CDCDEE"),
        ("|: C|D :| |: E|F :|", "CDCDEFEF"),
        ("C|D:|\n|:E|F:|", "CDCDEFEF"),
        ("|:C|D:]E|", "CDCDE"),
        ("|:C|D::]E|", "CDCDCDE"),
        ("[:C|D:]E|", "CDCDE"),
        ("C:][:D:]E|", "CCDDE"),
        ('|:C|["1."D:|["2."E|]', "CDCE"),
        ('|:C|["1,2"D:|["3. "E|]', "CDCDCE"),
        ('|:C|["1-2nd time"D:|[ 3E|]', "CDCDCE"),
    ],
)
def test_repeats_and_endings(music: str, expected: str) -> None:
    assert played(music) == expected


@pytest.mark.parametrize(
    ("music", "expected", "what"),
    [
        ("|:C|D|]", "CD", "has no end"),
        ("|:C|D|:E:|", "CDCDEE", "has no end"),
        ("C|1D|2E|]", "CDCE", "without a repeat sign"),
        ("C|1D|]E|]", "CDE", "without a repeat sign"),
        ("C:|2D|]", "CCD", "nothing to repeat"),
        ("|:C|D|:|E|", "CDCDE", "end of a repeat"),
        ("|:C|D|:||E|", "CDCDE", "end of a repeat"),
        ("C|D|:|", "CDCD", "end of a repeat"),
        ("C|D|:|E:|", "CDEE", "beginning of a repeat"),
    ],
)
def test_signs_that_do_not_match_are_said(music: str, expected: str, what: str) -> None:
    assert played(music) == expected
    (message,) = read(music).messages
    assert message.kind == "repeat"
    assert what in message.what
    assert message.excerpt


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("C|D!fine!|E|F!D.C.!|", "CDEFCD"),
        ('C|D"^Fine"|E|F"^D.C. al Fine"|', "CDEFCD"),
        ("|:C|D!fine!:|E|F!D.C.!|]", "CDCDEFCD"),
        ("C|!segno!D|E!fine!|F|G!D.S.!|", "CDEFGDE"),
        ("C|S|D|E!fine!|F|G!D.S.!|", "CDEFGDE"),
        ("C|D!coda!|E|F!D.C.!|!coda!G|A|]", "CDEFCDGA"),
        ("C|D!dacoda!|E|F!D.C.alcoda!|!coda!G|A|]", "CDEFCDGA"),
        ('C|"^To Coda"D|E|"^D.C. al Coda"F|"^Coda"G|A|]', "CDEFCDGA"),
        ("|:C|1D:|2E!fine!||F|G!D.C.!|]", "CDCEFGCE"),
    ],
)
def test_da_capo_and_dal_segno(music: str, expected: str) -> None:
    assert played(music) == expected


def test_da_capo_without_fine_ends_after_the_first_part() -> None:
    tune = read("|:C|D:|E|F!D.C.!|]")
    assert played("|:C|D:|E|F!D.C.!|]") == "CDCDEFCD"
    assert "without a Fine" in tune.messages[0].what


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("|:C|HD:|E|F!D.C.!|]", "CDCDEFCD"),
        ("C|D||E|!fermata!F||G|A!D.C.!|]", "CDEFGACDEF"),
        ("C|D|HE||F|G!D.C.!|]", "CDEFGCDE"),
        ('C|D"(End)"||E|F!D.C.!|]', "CDEFCD"),
        ('C|"End"D||E|F!D.C.!|]', "CDEFCD"),
        ('C|"^Slut"D||E|F!D.C.!|]', "CDEFCD"),
    ],
)
def test_fermata_at_the_end_of_a_section_or_the_word_end_is_as_good_as_fine(
    music: str, expected: str
) -> None:
    assert played(music) == expected
    assert not read(music).messages


def test_fermata_inside_a_section_marks_no_end() -> None:
    (message,) = read("C|HD|E||F|G!D.C.!|]").messages
    assert "without a Fine" in message.what


def test_dal_segno_without_segno_is_said() -> None:
    tune = read("C|D!fine!|E!D.S.!|]")
    assert tune.played == (0, 1, 2, 0, 1)
    assert "without a segno" in tune.messages[0].what


def test_letters_that_only_look_like_jumps_are_words() -> None:
    assert played('C|"^Fine tune"D|"^Decoded"E|"^coda-like"F|') == "CDEF"


@pytest.mark.parametrize(
    ("order", "expected"),
    [("ABA", "CDECD"), ("A2B", "CDCDE"), ("(AB)2", "CDECDE"), ("BA", "ECD"), ("A", "CD")],
)
def test_order_of_parts(order: str, expected: str) -> None:
    assert played("P:A\nC|D|\nP:B\nE|]", f"P:{order}\n") == expected


def test_parts_keep_their_repeats() -> None:
    assert played("P:A\nC:|\nP:B\nD|1E:|2F|]", "P:ABA\n") == "CCDEDFCC"


def test_bars_before_the_first_part_are_played_first() -> None:
    assert played("C|\nP:A\nD|\nP:B\nE|]", "P:AABA\n") == "CDDED"


def test_part_begins_with_the_bar_after_a_line_that_ends_in_a_bar() -> None:
    tune = read_abc("X:1\nM:4/4\nL:1/4\nP:AB\nK:C\nP:A\nCDEF|GAB\nP:B\nc|defg|]\n")[0]
    assert [bar.part for bar in tune.bars] == ["A", "", "B", ""]
    assert tune.bars[2].is_continued


def test_part_that_is_not_there_is_said() -> None:
    assert kinds(read("P:A\nC|D|]", "P:ACA\n")) == ["repeat"]


def test_order_that_cannot_be_read_is_said() -> None:
    tune = read("P:A\nC|D|]", "P:A-B?\n")
    assert kinds(tune) == ["repeat"]
    assert tune.played == (0, 1)


def test_labels_without_an_order_are_played_as_written() -> None:
    assert played("P:A\nC|D|\nP:B\nE|]") == "CDE"


def test_order_of_parts_is_cut_at_the_limit() -> None:
    letters = read_part_order("((((A99)99)99)99)99", 1000)
    assert letters is not None
    assert len(letters) < 200_000
    order, messages = played_order(read("P:A\nC|]").bars, "((A99)99)99", 500)
    assert len(order) == 500
    assert [message.kind for message in messages] == ["limit"]


@pytest.mark.parametrize("text", ["A(B", "A)B", "2A", "A-B", "(" * 50 + ")" * 50])
def test_faulty_order_is_none(text: str) -> None:
    assert read_part_order(text, 100) is None


def test_repeat_inside_a_bar_gives_two_halves_of_one_number() -> None:
    tune = read_abc("X:1\nM:3/4\nL:1/4\nK:C\nC|DEF|GA:|B|cde|fg|]\n")[0]
    assert [bar.number for bar in tune.bars] == [0, 1, 2, 2, 3, 4]
    assert [bar.is_continued for bar in tune.bars] == [False, False, False, True, False, False]
    assert [bar.is_pickup for bar in tune.bars] == [True] + [False] * 5
    assert tune.played == (0, 1, 2, 0, 1, 2, 3, 4, 5)
    assert not tune.messages


def test_second_endings_go_on_counting() -> None:
    tune = read_abc("X:1\nM:4/4\nL:1/1\nK:C\n|:C|D|1E:|2F||G|]\n")[0]
    assert [bar.number for bar in tune.bars] == [1, 2, 3, 4, 5]


def test_ending_inside_a_bar_continues_it() -> None:
    tune = read_abc("X:1\nM:4/4\nL:1/4\nK:C\n|:CDEF|GA[1Bc:|[2BG||CDEF|]\n")[0]
    assert [bar.number for bar in tune.bars] == [1, 2, 2, 2, 3]
    assert [bar.is_continued for bar in tune.bars] == [False, False, True, True, False]
    assert tune.played == (0, 1, 2, 0, 1, 3, 4)
    assert not tune.messages


@pytest.mark.parametrize(
    ("first", "second"),
    [("A (vals)", "B (trio)"), ("A.", "B."), ("a", "b"), ("Del A", "Del B"), ("Vals A", "Trio b")],
)
def test_label_of_a_part_is_its_letter(first: str, second: str) -> None:
    tune = read(f"P:{first}\nC|\nP:{second}\nD|]", "P:AABA\n")
    assert tune.played == (0, 0, 1, 0)
    assert not tune.messages


def test_large_and_small_letters_are_two_parts_where_the_order_has_both() -> None:
    assert played("P:A\nC|\nP:a\nD|]", "P:AaA\n") == "CDC"


@pytest.mark.parametrize(
    ("order", "music", "expected", "what"),
    [
        ("AB", "P:x\nC:|\nP:y\nD|", "CCD", "it is played as written"),
        ("AABB", "C||D|", "CD", "no part is labelled"),
        (".", "P:A\nC|", "C", "cannot be read"),
        ("ABC", "P:A\nC|", "C", "asks for a part B, C"),
        ("ABA", "P:A\nC|\nP:B\nD|\nP:C\nE|", "CDC", "part 'C' is not in the order"),
        ("AABB", "P:A\nC|\nP:B\nD|\nP:A\nE|", "CCDD", "part 'A' begins here once more"),
    ],
)
def test_order_that_does_not_meet_the_labels_is_said(
    order: str, music: str, expected: str, what: str
) -> None:
    tune = read(music, f"P:{order}\n")
    assert played(music, f"P:{order}\n") == expected
    assert [message.kind for message in tune.messages] == ["repeat"]
    assert what in tune.messages[0].what


@pytest.mark.parametrize(
    ("order", "music", "expected"),
    [
        ("AABB", "|:C:||:D:|", "CCDD"),
        ("AB", "|:C:||:D:|", "CCDD"),
        ("AAB", "|:C:||D|", "CCD"),
        ("A", "C|D:|", "CDCD"),
        ("ABA", "P:A\nC|\nP:B\nD|\nP:A\nC|", "CDC"),
    ],
)
def test_order_that_says_what_stands_there_is_quiet(order: str, music: str, expected: str) -> None:
    assert played(music, f"P:{order}\n") == expected
    assert not read(music, f"P:{order}\n").messages


def test_words_in_the_field_of_the_order_are_no_order() -> None:
    assert read("C|D|", "P:Newer version\n").messages == ()
