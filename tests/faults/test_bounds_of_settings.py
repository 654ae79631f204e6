"""Settings and profiles without end: one line each, said before anything is parsed."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunebook.errors import SettingError
from tunebook.pipeline.load import Wishes, prepare
from tunebook.read.settings import values as toml_bounds
from tunebook.read.settings.profile import MOST_BYTES, parse_instrument, read_instrument
from tunebook.read.settings.tunes_file import MOST_MISTAKES, parse_settings
from tunebook.read.settings.values import find_key_lines, load_toml

DEEP_KEY = "a key has more than 20 parts"
LONG_WORD = "a number or key is longer than 500 letters"
DEEP = "brackets are more than 20 deep"
BEYOND = {
    "a." * 50_000 + "a = 1": DEEP_KEY,
    "['a']\n[" + "a." * 50_000 + "a]": DEEP_KEY,
    '"a" . ' * 50_000 + "a = 1": DEEP_KEY,
    "x = " + "1" * 5000: LONG_WORD,
    "x = 0x" + "f" * 5000: LONG_WORD,
    "x = -" + "1_" * 5000 + "1": LONG_WORD,
    "x = " + "[" * 100_000: DEEP,
    "x = " + "{a = " * 100_000: DEEP,
}


@pytest.mark.parametrize("text", BEYOND, ids=range(len(BEYOND)))
def test_what_no_setting_needs_is_refused_before_it_is_parsed(
    monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    def parse(text: str) -> None:
        raise AssertionError("parsed")

    monkeypatch.setattr(toml_bounds.tomllib, "loads", parse)
    for read in (
        lambda: parse_settings(text, "own.toml", ()),
        lambda: parse_instrument(text, "own.toml"),
    ):
        with pytest.raises(SettingError) as caught:
            read()
        message = str(caught.value)
        assert message.startswith("own.toml:") and BEYOND[text] in message
        assert "\n" not in message and len(message) < 200


def test_the_line_is_named() -> None:
    text = '# dots ....\ntitle = "a.b [[[[ 1111"\nnote = """\n[[[\n"""\nx = ' + "9" * 600
    with pytest.raises(SettingError, match=r"^own\.toml:6: ") as caught:
        load_toml(text, "own.toml")
    assert caught.value.what == LONG_WORD


def test_strings_and_comments_may_hold_anything() -> None:
    no = "[{" * 40 + "9" * 1000 + "a." * 50
    text = f'# {no}\na = "{no}"\nb = \'{no}\'\nc = """\n{no}\\""""\nd = \'\'\'\n{no}\'\'\'\n'
    assert load_toml(text, "own.toml") == tomllib.loads(text)


@given(st.text(alphabet="a.=\"'[]{}# \n\\1,", max_size=60))
def test_small_files_are_read_as_the_library_reads_them(text: str) -> None:
    try:
        wanted = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        with pytest.raises(SettingError):
            load_toml(text, "own.toml")
    else:
        assert load_toml(text, "own.toml") == wanted


def test_every_mistake_is_said_and_a_thousand_are_enough() -> None:
    keys = "".join(f"k{number} = 1\n" for number in range(MOST_MISTAKES))
    book, messages = parse_settings(f'title = "T"\n{keys}', "tunes.toml", ())
    assert book.title == "T" and len(messages) == MOST_MISTAKES
    with pytest.raises(SettingError, match="there are more than 1000 mistakes"):
        parse_settings(f"{keys}more = 1\nand_more = 2\n", "tunes.toml", ())


def test_mistakes_in_a_list_keep_their_lines() -> None:
    lists = "".join(f'[[set]]\ntitle = "{number}"\ntunes = {number}\n' for number in range(3))
    _, messages = parse_settings(lists + '[[set]]\ntitle = "good"\ntunes = ["a"]\n', "t.toml", ())
    assert [message.place.line for message in messages] == [1, 3, 4, 6, 7, 9]


def test_lines_of_keys_are_found_without_trying_twice() -> None:
    assert find_key_lines("[a" + " " * 400_000 + "x\nb" + " " * 400_000 + "x\nc = 1") == {("c",): 3}


@pytest.mark.parametrize("name", ["own\\u0000.toml", "own\\n.toml", "\\u0000"])
def test_a_path_that_cannot_be_is_one_line(tmp_path: Path, name: str) -> None:
    (tmp_path / "tunes.toml").write_text(f'[instrument]\nprofile = "{name}"\n', encoding="utf-8")
    with pytest.raises(SettingError) as caught:
        prepare(tmp_path)
    assert "\n" not in str(caught.value) and "\0" not in str(caught.value)
    with pytest.raises(SettingError):
        prepare(tmp_path, Wishes(instrument="a\0b"))


def test_a_profile_is_no_larger_than_an_instrument(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text("# much\n" * MOST_BYTES, encoding="utf-8")
    with pytest.raises(SettingError, match="larger than 100000 bytes; is this an instrument"):
        read_instrument(str(path))
