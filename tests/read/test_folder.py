"""Files, encodings, and texts cut into tunes."""

from __future__ import annotations

from pathlib import Path

import pytest

import tunebook.read.abc.header
import tunebook.read.abc.tune
from tunebook.errors import InputError, Message
from tunebook.read.abc.keys import KeyField
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_abc, read_tune
from tunebook.read.folder import look_through, read_folder
from tunebook.read.limits import ReadingLimits

TUNE = "X:{}\nT:{}\nK:C\nCDEF|\n"


def texts(text: str) -> list[TuneText]:
    return [piece for piece in cut_into_tunes(text, "a.abc") if isinstance(piece, TuneText)]


def test_files_of_subfolders_are_read_in_order_of_their_paths(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    for name in ("b.abc", "a.ABC", "sub/c.abc", "notes.txt"):
        (tmp_path / name).write_text(TUNE.format(1, name))
    reading = read_folder(tmp_path)
    assert [tune.place.path for tune in reading.tunes] == ["a.ABC", "b.abc", "sub/c.abc"]


def test_single_file_is_read_under_its_name(tmp_path: Path) -> None:
    path = tmp_path / "one.abc"
    path.write_text(TUNE.format(1, "one"))
    assert [str(tune.place) for tune in read_folder(path).tunes] == ["one.abc:1"]


def test_missing_folder_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        look_through(tmp_path / "nowhere")


@pytest.mark.parametrize(
    ("data", "title"),
    [
        ("T:Bygdelåten".encode(), "Bygdelåten"),
        (b"\xef\xbb\xbf" + "T:Bygdelåten".encode(), "Bygdelåten"),
        ("T:Bygdelåten".encode("latin-1"), "Bygdelåten"),
        ("T:Bygdelåten – igen".encode("cp1252"), "Bygdelåten – igen"),
        ("T:Bygdelåten".encode("utf-16"), "Bygdelåten"),
        (b"I:abc-charset iso-8859-2\n" + "T:Wałek".encode("iso-8859-2"), "Wałek"),
        ("%%abc-charset utf-8\nT:Bygdelåten".encode(), "Bygdelåten"),
    ],
)
def test_encodings(tmp_path: Path, data: bytes, title: str) -> None:
    header = b"X:1\n" if data[:2] != b"\xff\xfe" else "X:1\n".encode("utf-16-le")
    footer = b"\nK:C\nC|\n" if data[:2] != b"\xff\xfe" else "\nK:C\nC|\n".encode("utf-16-le")
    mark = data[:2] if data[:2] == b"\xff\xfe" else data[:3] if data[:1] == b"\xef" else b""
    (tmp_path / "a.abc").write_bytes(mark + header + data[len(mark) :] + footer)
    assert read_folder(tmp_path).tunes[0].title == title


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_of_every_system(tmp_path: Path, end: str) -> None:
    text = (TUNE.format(1, "a") + "\n" + TUNE.format(2, "b")).replace("\n", end)
    (tmp_path / "a.abc").write_bytes(text.encode())
    reading = read_folder(tmp_path)
    assert [tune.place.line for tune in reading.tunes] == [1, 6]
    assert not reading.messages


def test_tunes_without_empty_lines_between_them_are_parted_at_their_number() -> None:
    found = texts(TUNE.format(1, "a") + TUNE.format(2, "b"))
    assert [text.number for text in found] == ["1", "2"]
    assert [text.first_line for text in found] == [1, 5]


def test_tune_without_number_or_title_is_read() -> None:
    found = texts("T:a\nK:C\nCDE|\n\nK:C\nFGA|\n")
    assert [(text.number, text.first_line) for text in found] == [("", 1), ("", 5)]


def test_file_header_applies_to_all_and_is_checked_once() -> None:
    pieces = list(
        cut_into_tunes(
            "M:4/4\nL:odd\n\n" + TUNE.format(1, "a") + "\n" + TUNE.format(2, "b"), "a.abc"
        )
    )
    assert [type(piece) for piece in pieces] == [Message, TuneText, TuneText]
    assert isinstance(pieces[0], Message)
    assert (pieces[0].kind, pieces[0].place.line) == ("field", 2)


def test_words_between_tunes_are_passed_over() -> None:
    text = TUNE.format(1, "a") + "\nSome words about it.\nAnd more.\n\n" + TUNE.format(2, "b")
    assert [type(piece) for piece in cut_into_tunes(text, "a.abc")] == [TuneText, TuneText]


def test_music_after_an_empty_line_is_said() -> None:
    pieces = list(cut_into_tunes(TUNE.format(1, "a") + "\nGABc|defg|\n", "a.abc"))
    assert isinstance(pieces[1], Message)
    assert (pieces[1].kind, pieces[1].place.line) == ("text", 6)


def test_fields_right_before_the_first_number_are_the_file_header() -> None:
    (found,) = texts("M:3/4\nL:1/4\nX:1\nK:C\nCDE|\n")
    assert found.header == "M:3/4\nL:1/4"


@pytest.mark.parametrize("lost", ["T:Lost\n\n", "C:Lost\n", "C:Lost\n\n", "T:Lost\nC:Lost\n"])
def test_field_outside_of_a_tune_is_said(lost: str) -> None:
    pieces = list(cut_into_tunes(TUNE.format(1, "a") + f"\n{lost}X:2\nK:C\nC|\n", "a.abc"))
    assert [type(piece) for piece in pieces] == [TuneText, Message, TuneText]


@pytest.mark.parametrize("field", ["T:Lost", "K:D", "P:AB", "Q:120", "w:la"])
def test_field_that_no_file_header_may_hold_is_said(field: str) -> None:
    pieces = list(cut_into_tunes(f"M:3/4\n{field}\n\n" + TUNE.format(1, "a"), "a.abc"))
    assert [type(piece) for piece in pieces] == [Message, TuneText]
    assert isinstance(pieces[0], Message)
    assert pieces[0].place.line == 2


@pytest.mark.parametrize("before", ["", "X:1\nT:One\nK:C\nC|\n\n", "X:1\nT:One\nK:C\nC|\n"])
def test_title_right_above_the_number_is_the_tunes_title(before: str) -> None:
    tunes = read_abc(before + "T:Above\nX:2\nK:C\nD|\n")
    assert tunes[-1].titles == ("Above",)
    assert [tune.titles for tune in tunes[:-1]] == [("One",)] * (len(tunes) - 1)
    assert not any(note.annotations for tune in tunes for note in tune.bars[-1].notes)


def test_title_above_a_tune_that_has_its_own_is_said() -> None:
    pieces = list(cut_into_tunes("T:Above\n" + TUNE.format(1, "Own"), "a.abc"))
    assert [type(piece) for piece in pieces] == [Message, TuneText]
    assert isinstance(pieces[1], TuneText)
    assert read_tune(pieces[1]).titles == ("Own",)


def test_field_of_another_program_is_said_once_a_file(tmp_path: Path) -> None:
    tune = "X:{}\nT:t\nY:1-2\nE:8\nK:C\nCDEF|\nE:12\nY:3\nG|\n\n"
    for name in ("a.abc", "b.abc"):
        (tmp_path / name).write_text("".join(tune.format(number) for number in range(1, 6)))
    reading = read_folder(tmp_path)
    assert [str(message.place) for message in reading.messages] == ["a.abc:3:1", "b.abc:3:1"]
    assert "5 tunes" in reading.messages[0].what
    assert {len([n for bar in tune.bars for n in bar.notes]) for tune in reading.tunes} == {5}


@pytest.mark.parametrize(
    "start", ['"D"A2d|', "(3abc d|", "{g}a b|", "[CE] c|", "z", "|:", "GABc|defg|", "| c2 |"]
)
def test_music_after_an_empty_line_is_said_whatever_it_begins_with(start: str) -> None:
    text = TUNE.format(1, "a") + f"\n{start}\nc4|d4|\n\n" + TUNE.format(2, "b")
    first, message, second = cut_into_tunes(text, "a.abc")
    assert isinstance(first, TuneText)
    assert isinstance(second, TuneText)
    assert isinstance(message, Message)
    assert (message.place.line, "2 lines" in message.what) == (6, True)


def test_music_before_the_first_tune_is_said() -> None:
    for text in ("abc|def|\n\n" + TUNE.format(1, "a"), "abc|def|\nT:a\nK:C\nC|\n"):
        assert [type(piece) for piece in cut_into_tunes(text, "a")] == [Message, TuneText]


def test_a_path_of_another_system_is_no_octal_number(tmp_path: Path) -> None:
    tune = "X:1\nT:a\\1\nF:C:\\\\999\\888 \\101\nK:C\nCDEF|\n"
    (tmp_path / "a.abc").write_text(tune)
    reading = read_folder(tmp_path)
    assert reading.tunes[0].field("F") == ("C:\\999\\888 A",)
    assert not reading.messages


def _fail_at(word: str, error: BaseException, monkeypatch: pytest.MonkeyPatch) -> None:
    read_key = tunebook.read.abc.header.read_key

    def fail(text: str) -> KeyField:
        if word in text:
            raise error
        return read_key(text)

    monkeypatch.setattr(tunebook.read.abc.header, "read_key", fail)


@pytest.mark.parametrize(
    "error", [ValueError("no\nsuch"), RecursionError("deep"), AssertionError(), MemoryError()]
)
def test_any_fault_in_reading_costs_that_tune_alone(
    error: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tunes = [TUNE.format(1, "a"), TUNE.format(2, "b").replace("K:C", "K:D"), TUNE.format(3, "c")]
    (tmp_path / "a.abc").write_text("\n".join(tunes))
    _fail_at("D", error, monkeypatch)
    reading = read_folder(tmp_path)
    assert [tune.number for tune in reading.tunes] == ["1", "3"]
    (message,) = reading.messages
    assert (message.is_fatal, message.kind, str(message.place)) == (True, "tune", "a.abc:6")
    assert "\n" not in str(message)


def test_an_interrupt_in_reading_is_no_fault_of_the_tune(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.abc").write_text(TUNE.format(1, "a"))
    _fail_at("C", KeyboardInterrupt(), monkeypatch)
    with pytest.raises(KeyboardInterrupt):
        read_folder(tmp_path)


def test_any_fault_in_cutting_a_file_costs_what_follows_in_it_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(line: str) -> bool:
        raise ValueError(line)

    (tmp_path / "a.abc").write_text(TUNE.format(1, "a") + "\nodd\n\n" + TUNE.format(2, "b"))
    (tmp_path / "b.abc").write_text(TUNE.format(3, "c"))
    monkeypatch.setattr(tunebook.read.abc.tune, "looks_like_music", fail)
    reading = read_folder(tmp_path)
    assert [tune.number for tune in reading.tunes] == ["1", "3"]
    assert [(one.kind, str(one.place), one.is_fatal) for one in reading.messages] == [
        ("file", "a.abc", True)
    ]


def test_empty_lines_inside_a_text_block_do_not_end_the_tune() -> None:
    (found,) = texts("X:1\nT:a\n%%begintext\none\n\ntwo\n%%endtext\nK:C\nC|\n")
    assert found.text.endswith("C|")


def test_bad_tune_is_left_out_and_the_others_stay(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text("X:1\nT:no key\nM:4/4\n\n" + TUNE.format(2, "b"))
    reading = read_folder(tmp_path)
    assert [tune.number for tune in reading.tunes] == ["2"]
    (message,) = reading.messages
    assert message.is_fatal
    assert str(message) == "a.abc:1: the tune has no K: field; add K: before its music"


def test_limits_are_said(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text(TUNE.format(1, "a"))
    for limits in (
        ReadingLimits(file_bytes=10),
        ReadingLimits(tune_characters=10),
        ReadingLimits(tune_notes=2),
    ):
        reading = read_folder(tmp_path, limits=limits)
        assert not reading.tunes
        assert reading.messages[0].is_fatal


@pytest.mark.parametrize(
    ("music", "limits"),
    [
        ("C999999|", ReadingLimits()),
        ("(99999:1:1C|", ReadingLimits()),
        ("|:::::::::::::::::::::C::::::::::::::::::::|", ReadingLimits(played_bars=5)),
        ("[1-99999999C:|", ReadingLimits(played_bars=5)),
        ("Z99999999|C|", ReadingLimits()),
    ],
)
def test_numbers_without_end_are_cut(tmp_path: Path, music: str, limits: ReadingLimits) -> None:
    (tmp_path / "a.abc").write_text(f"X:1\nM:4/4\nK:C\n{music}\n")
    (tune,) = read_folder(tmp_path, limits=limits).tunes
    assert {message.kind for message in tune.messages} & {"limit", "tuplet"}
    assert len(tune.played) <= 10_000


def test_macro_that_grows_without_end_is_cut(tmp_path: Path) -> None:
    macro = "c" * 90
    (tmp_path / "a.abc").write_text(f"X:1\nm:~G = {macro}\nK:C\n{'~G' * 50}|\n")
    (tune,) = read_folder(tmp_path, limits=ReadingLimits(macro_factor=2)).tunes
    assert "limit" in {message.kind for message in tune.messages}
    assert sum(len(bar.notes) for bar in tune.bars) < 500


def test_noise_gives_a_bounded_number_of_messages(tmp_path: Path) -> None:
    noise = " ".join(f"!x{number}!" for number in range(500))
    (tmp_path / "a.abc").write_text(f"X:1\nK:C\nC{'?' * 5000}|\n{noise} C|\n")
    (tune,) = read_folder(tmp_path).tunes
    assert len(tune.messages) < 50
    assert any("(5000 times, line 3)" in message.what for message in tune.messages)
    assert tune.messages[-1].what == "480 further messages of kind 'decoration' in this tune"
