from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunebook.errors import SettingError, TunebookError
from tunebook.model.book import Book
from tunebook.read.settings.tunes_file import parse_settings, read_settings

BUILT_IN = read_settings(None)[0].editions


def parse(text: str) -> tuple[Book, list[str]]:
    book, messages = parse_settings(text, "tunes.toml", BUILT_IN)
    return book, [str(message) for message in messages]


def test_without_a_file_every_setting_has_its_default() -> None:
    book, messages = read_settings(None)
    assert messages == ()
    assert (book.paper, book.language, book.instrument) == ("a4", "en", "nyckelharpa-3row")
    assert [edition.name for edition in book.editions] == [
        "player", "teacher", "student-1", "student-2", "student-3", "duo", "accompanist",
    ]  # fmt: skip


def test_level_one_allows_first_position_and_open_drones_only() -> None:
    limits = next(one for one in BUILT_IN if one.name == "student-1").limits
    assert limits.highest_position == 0
    assert not (limits.allows_crossed_stops or limits.allows_held_drone or limits.allows_barre)


def test_a_whole_file_is_read() -> None:
    book, messages = parse(
        'title = "Kvarnvalla"\npaper = "a5"\n[instrument]\ntuning = "CGCA"\n'
        '[hand]\nsize = "small"\nhigher_finger_on = "lower string"\n'
        '[[set]]\ntitle = "First"\ntunes = ["a.abc:1"]\n'
        '[[edition]]\nname = "large"\nbased_on = "player"\nstaff_size_pt = 24\n'
        '[tune."a.abc:1"]\ntempo = 96\npins = ["bar 3 note 2 finger 1", "bar 4 note 1 string D"]\n'
    )
    assert messages == []
    assert (book.title, book.paper, book.tuning) == ("Kvarnvalla", "a5", "CGCA")
    assert book.hand.higher_finger_on_higher_string is False
    assert book.sets[0].tunes == ("a.abc:1",)
    assert book.edition("large").staff_size_pt == 24
    assert book.edition("large").fingers == "needed"
    choice = book.choice("a.abc:1")
    assert (choice.tempo, choice.fingers, choice.strings) == (96, ((3, 2, 1),), ((4, 1, "D"),))


def test_voices_and_limits_of_reading_are_settings() -> None:
    book, messages = parse('[reading]\nvoice = "2"\ntune_notes = 9\nfile_bytes = 0\n')
    assert dict(book.reading) == {"voice": "2", "tune_notes": 9}
    assert messages == [
        "tunes.toml:4: setting 'reading.file_bytes' cannot be 0: input should be greater than or "
        "equal to 1; the default is used"
    ]


def test_an_own_edition_keeps_the_limits_of_the_one_it_is_based_on() -> None:
    book, _ = parse(
        '[[edition]]\nname = "mine"\nbased_on = "student-1"\n'
        "[edition.limits]\ncrossed_stops = true\n"
    )
    limits = book.edition("mine").limits
    assert limits.allows_crossed_stops and limits.highest_position == 0


def test_an_edition_says_where_double_stops_stand_and_a_tune_that_its_drone_is_strict() -> None:
    book, messages = parse(
        '[[edition]]\nname = "mine"\naccents = "drone"\n[tune."a.abc:1"]\ndrone = "D4 strict"\n'
        '[tune."b.abc:1"]\ndrone = "D4"\n'
    )
    assert not messages and book.edition("mine").accents == "drone"
    assert [one.accents for one in book.editions[:5]] == [
        "none", "melody", "none", "none", "melody",
    ]  # fmt: skip
    choices = [(one.drone, one.is_drone_strict) for one in book.choices]
    assert choices == [("D4", True), ("D4", False)]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            'papper = "a4"',
            "tunes.toml:1: unknown setting 'papper'; did you mean 'paper'?",
        ),
        (
            '\npaper = "a3"',
            "tunes.toml:2: setting 'paper' cannot be 'a3': input should be 'a4', 'letter' or 'a5'; "
            "the default is used",
        ),
        (
            '[hand]\nbarre = "yes"',
            "tunes.toml:2: setting 'hand.barre' cannot be 'yes': input should be a valid boolean; "
            "the default is used",
        ),
        (
            '[hand]\nspans_mm = { "1-2" = 900 }',
            "tunes.toml:2: setting 'hand.spans_mm.1-2' cannot be 900: input should be less than or "
            "equal to 250; the default is used",
        ),
        (
            '[[set]]\ntunes = ["a:1"]',
            "tunes.toml:1: 'set' wants 'title'; left out; add it",
        ),
        (
            '[tune."a.abc:1"]\npins = ["bar 3 note 2 finger 7"]',
            "tunes.toml:2: setting 'tune.a.abc:1.pins' cannot be 'bar 3 note 2 finger 7': write "
            '"bar 3 note 2 finger 1" (0 to 4) or "bar 3 note 2 string D"; it is passed over',
        ),
    ],
)
def test_a_mistake_names_its_line_and_what_to_do(text: str, line: str) -> None:
    assert parse(text)[1] == [line]


def test_a_mistake_costs_only_its_own_setting() -> None:
    book, messages = parse('title = "Kept"\npaper = 4\n[hand]\nsize = "large"\nfoo = 1\n')
    assert (book.title, book.paper, book.hand.size) == ("Kept", "a4", "large")
    assert len(messages) == 2


def test_places_survive_lists_and_strings_over_several_lines() -> None:
    text = (
        'subtitle = """\n[hand]\nx = 1\n"""\n[[set]]\ntitle = "A"\ntunes = [\n "a:1",\n]\nbad = 1'
    )
    assert parse(text)[1][0].startswith("tunes.toml:10: unknown setting 'set.bad'")


def test_a_file_that_is_no_toml_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "tunes.toml"
    path.write_text("title = Kvarn\n", encoding="utf-8")
    with pytest.raises(SettingError) as caught:
        read_settings(path)
    assert str(caught.value).startswith(f"{path}:1:9: not valid TOML")
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_text_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "tunes.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingError, match="not UTF-8 text; save it as UTF-8"):
        read_settings(path)


@given(st.text(max_size=200))
def test_any_text_is_a_book_or_one_line(text: str) -> None:
    try:
        book, messages = parse_settings(text, "tunes.toml", BUILT_IN)
    except TunebookError as error:
        assert "\n" not in str(error).strip()
    else:
        assert book.paper in ("a4", "letter", "a5")
        assert all(message.place.line >= 1 for message in messages)


VALUES = st.recursive(
    st.one_of(st.integers(-5, 500), st.booleans(), st.text(max_size=8), st.floats(0, 9)),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=5,
)
KEYS = st.sampled_from(["title", "paper", "set", "edition", "tune", "hand", "instrument", "x"])


@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_any_values_of_any_type_are_said_and_left_out(values: dict[str, object]) -> None:
    import json

    lines = [f"{key} = {json.dumps(value)}" for key, value in values.items()]
    try:
        book, _ = parse_settings("\n".join(lines), "tunes.toml", BUILT_IN)
    except SettingError as error:
        assert "not valid TOML" in str(error)
    else:
        assert isinstance(book.title, str)
