from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from tunebook.errors import SourcePlace
from tunebook.model.book import Book, Edition, TuneChoice, TuneSet
from tunebook.model.tune import Key, Meter, Tune
from tunebook.pipeline.load import Wishes, load, prepare
from tunebook.pipeline.order import order_tunes, tune_identity, unique_identities, unknown_choices

PLAYER = Edition("player")


def tune(number: str, title: str = "", line: int = 1) -> Tune:
    place = SourcePlace("a.abc", line)
    return Tune(
        place, number, (title,), "", "", "", Key(), Meter(), Fraction(1, 8), None, (), (),
        first_line=line,
    )  # fmt: skip


TUNES = (tune("1", "Ett"), tune("2", "Två", 10), tune("3", "Tre", 20))


def numbers(book: Book, edition: Edition = PLAYER) -> list[list[str]]:
    return [[one.number for one in part.tunes] for part in order_tunes(TUNES, book, edition)[0]]


def test_without_sets_tunes_keep_the_order_of_the_folder() -> None:
    assert numbers(Book()) == [["1", "2", "3"]]


def test_sets_come_first_and_the_rest_after() -> None:
    assert numbers(Book(sets=(TuneSet("S", ("a.abc:3", "Ett")),))) == [["3", "1"], ["2"]]


def test_a_tune_in_two_sets_is_printed_once() -> None:
    sets = (TuneSet("S", ("a.abc:1",)), TuneSet("T", ("a.abc:1", "a.abc:2")))
    assert numbers(Book(sets=sets)) == [["1"], ["2"], ["3"]]


def test_a_tune_left_out_in_book_toml_is_not_in_the_book() -> None:
    assert numbers(Book(choices=(TuneChoice("a.abc:2", is_left_out=True),))) == [["1", "3"]]


def test_an_edition_may_pick_its_tunes() -> None:
    assert numbers(Book(), replace(PLAYER, tunes=("Två",))) == [["2"]]


def test_a_name_that_is_no_tune_is_said_with_its_place() -> None:
    book = Book(sets=(TuneSet("S", ("b.abc:9",), place=SourcePlace("tunes.toml", 7)),))
    _, messages = order_tunes(TUNES, book, PLAYER)
    assert [str(message) for message in messages] == [
        "tunes.toml:7: set 'S' names 'b.abc:9', which is no tune of the folder; "
        "did you mean 'a.abc:3'?"
    ]


def test_numbers_used_twice_are_told_apart_by_line() -> None:
    twins = (tune("1"), tune("1", line=30))
    assert unique_identities(twins) == ("a.abc:1", "a.abc:1@30")


def test_a_tune_without_number_is_named_by_its_line() -> None:
    assert tune_identity(tune("", line=12)) == "a.abc:line12"


def test_a_choice_for_no_tune_is_said_with_its_place() -> None:
    choices = [
        TuneChoice(name, place=SourcePlace("tunes.toml", line))
        for line, name in enumerate(("a.abc:2", "a.abc:33", "Tre", "gone.abc:1", "a.abc:1@30"), 1)
    ]
    tunes = (*TUNES, tune("1", line=30))
    messages = list(unknown_choices(tunes, Book(choices=tuple(choices)), {"gone.abc"}))
    assert [str(message) for message in messages] == [
        "tunes.toml:2: [tune.'a.abc:33'] is about no tune of the folder; did you mean 'a.abc:3'?",
        "tunes.toml:3: [tune.'Tre'] is about no tune of the folder; did you mean 'a.abc:3'?",
    ]


SETTINGS = """[[edition]]
name = "e"
tunes = ["Ett", "Tvo"]

[tune."a.abc:7"]
drone = "none"
"""
FILE = "X:1\nT:Ett\nK:D\nd4|]\n\nX:2\nT:Tvåa\nK:D\nd4|]\n"


def test_names_that_match_no_tune_are_said_once_of_a_folder_and_never_of_a_part(
    tmp_path: Path,
) -> None:
    (tmp_path / "a.abc").write_text(FILE, encoding="utf-8")
    (tmp_path / "tunes.toml").write_text(SETTINGS, encoding="utf-8")
    about = [
        one
        for one in load(prepare(tmp_path, Wishes(edition="e"))).messages
        if one.place.path.endswith("tunes.toml")
    ]
    assert sorted((one.place.line, one.what.split()[0]) for one in about) == [
        (3, "edition"),
        (5, "[tune.'a.abc:7']"),
    ]
    part = load(prepare(tmp_path / "a.abc", Wishes(edition="e")))
    assert not [one for one in part.messages if one.place.path.endswith("tunes.toml")]
