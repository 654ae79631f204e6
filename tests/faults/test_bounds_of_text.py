"""Text without end is measured once, broken as short text is, and cut with a message."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.book.fonts import fonts as fonts_module
from tunebook.book.fonts.fonts import BOLD, ITALIC, SERIF, Fonts, load_fonts, printable
from tunebook.book.layout.blocks import breakable, broken, shortened
from tunebook.errors import SettingError
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_abc
from tunebook.read.limits import DEFAULT_LIMITS, ReadingLimits
from tunebook.read.settings.profile import DATA, parse_instrument
from tunebook.store import Store

# Kerned pairs (AV, To), letters of other fonts, marks that combine, quotation marks, the dot.
TEXTS = st.lists(
    st.sampled_from([*"AVToyWa.' \"", " · ", "e\u0301", "x\u0323\u0302", "ж", "♯", "漢", "—"]),
    max_size=40,
).map("".join)
WIDTHS = st.floats(min_value=1.0, max_value=200.0)
STYLES = st.sampled_from([(BOLD, 20.0), (SERIF, 10.0), (ITALIC, 9.0)])


@pytest.fixture(scope="module")
def fonts(store: Store) -> Fonts:
    return load_fonts(store)


def fits(text: str, fonts: Fonts, style: tuple[str, float], width: float) -> bool:
    return fonts.width(text, *style) <= width + 1e-6


def is_mark(text: str, at: int) -> bool:
    return at < len(text) and unicodedata.category(text[at]).startswith("M")


def broken_by_letters(
    text: str, fonts: Fonts, style: tuple[str, float], width: float
) -> tuple[str, ...]:
    """What ``broken`` says, one letter after the other."""
    lines: list[str] = []
    line = ""
    for word in printable(text).replace(" · ", "\0· ").split():
        word = word.replace("\0", " ")
        longer = f"{line} {word}" if line else word
        if fits(longer, fonts, style, width):
            line = longer
            continue
        if line:
            lines.append(line)
        while not fits(word, fonts, style, width) and len(word) > 1:
            cut = len(word) - 1
            while cut > 1 and not fits(word[:cut], fonts, style, width):
                cut -= 1
            whole = cut
            while whole > 0 and is_mark(word, whole):
                whole -= 1
            cut = whole or cut
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return (*lines, line) if line else tuple(lines)


def shortened_by_letters(text: str, fonts: Fonts, style: tuple[str, float], room: float) -> str:
    """What ``shortened`` says, one letter after the other."""
    if fits(text, fonts, style, room):
        return text
    text = printable(text)
    while text and not fits(text + "…", fonts, style, room):
        whole = len(text) - 1
        while whole > 0 and is_mark(text, whole):
            whole -= 1
        text = text[:whole]
    return text.rstrip() + "…"


@settings(max_examples=150, deadline=None)
@given(text=TEXTS, style=STYLES, width=WIDTHS)
def test_lines_are_those_found_letter_by_letter(
    fonts: Fonts, text: str, style: tuple[str, float], width: float
) -> None:
    assert broken(text, fonts, *style, width) == broken_by_letters(text, fonts, style, width)


@settings(max_examples=150, deadline=None)
@given(text=TEXTS, style=STYLES, room=WIDTHS)
def test_shortening_is_that_found_letter_by_letter(
    fonts: Fonts, text: str, style: tuple[str, float], room: float
) -> None:
    assert shortened(text, fonts, *style, room) == shortened_by_letters(text, fonts, style, room)


@settings(max_examples=100, deadline=None)
@given(text=TEXTS, style=STYLES, data=st.data())
def test_sums_of_letters_are_the_widths_that_are_printed(
    fonts: Fonts, text: str, style: tuple[str, float], data: st.DataObject
) -> None:
    measured = fonts.measured(text, *style)
    start = data.draw(st.integers(0, len(measured.text)))
    stop = data.draw(st.integers(start, len(measured.text)))
    printed = fonts.width(measured.text[start:stop], *style)
    assert measured.width(start, stop) == pytest.approx(printed, abs=1e-9)


@pytest.mark.parametrize(
    "text", ["A" * 100_000, "AV " * 33_000, "e" + "\u0323\u0301" * 50_000, "\u0301" * 100_000]
)
def test_a_long_text_is_measured_once_however_often_it_is_broken(
    fonts: Fonts, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    asked: list[int] = []
    look_at = Fonts._glyphs_of

    def counting(self: Fonts, letters: str, role: str) -> list[fonts_module.Glyph]:
        asked.append(len(letters))
        return look_at(self, letters, role)

    monkeypatch.setattr(Fonts, "_glyphs_of", counting)
    lines_at = breakable(text, fonts, BOLD, 18.0)
    lines = [lines_at(width) for width in (500.0, 488.0, 476.0, 464.0)]
    assert len(asked) == 1
    assert "".join(lines[0]).replace(" ", "") == printable(text).replace(" ", "")
    shortened(text, fonts, BOLD, 18.0, 300.0)
    assert sum(asked) <= 2 * len(text) + 1000


def test_what_is_remembered_of_texts_has_bounds(fonts: Fonts) -> None:
    kept = fonts._pieces
    for number in range(3 * fonts_module._MOST_KEPT):
        fonts.width(f"text {number}", SERIF, 10.0)
    assert len(kept) <= fonts_module._MOST_KEPT
    fonts.width("long " * 100, SERIF, 10.0)
    assert max(len(text) for text, _, _ in kept) <= fonts_module._LONGEST_KEPT


def test_a_letter_keeps_its_marks_and_no_more_than_it_can_carry() -> None:
    # Unicode Standard Annex 15, section 13 (stream-safe text): 30 marks on one letter.
    marks = printable("q" + "\u0323\u0301" * 50_000 + "r")
    assert marks[0] == "q" and marks[-1] == "r"
    assert len(marks) == 32
    assert printable("q\u0323\u0301") == "q\u0323\u0301"


NAMES = "TCORP"
RUNNING = "NHSBWZ"


def tune(letter: str, text: str) -> str:
    return f"X:1\n{letter}:{text}\nT:Short\nM:2/4\nL:1/8\nK:D\nDEFG|A4|]\n"


@pytest.mark.parametrize("letter", NAMES)
def test_a_name_without_end_is_cut_and_said(letter: str) -> None:
    (read,) = read_abc(tune(letter, "name" * 25_000))
    most = DEFAULT_LIMITS.name_letters
    assert len(read.field(letter)[0]) == most
    (message,) = [one for one in read.messages if one.kind == "limit"]
    assert str(message) == (
        f"tune.abc:2: {letter}: has more than {most} letters and is cut; "
        "shorten it, or raise name_letters under [reading]"
    )


@pytest.mark.parametrize("letter", RUNNING)
def test_running_text_is_counted_over_all_its_lines(letter: str) -> None:
    lines = f"\n{letter}:".join(["ten letters"] * 9_000)
    (read,) = read_abc(tune(letter, lines))
    assert sum(map(len, read.field(letter))) <= DEFAULT_LIMITS.text_letters
    assert sum(map(len, read.field(letter))) > DEFAULT_LIMITS.text_letters - 20
    (message,) = [one for one in read.messages if one.kind == "limit"]
    assert "text_letters" in message.remedy


def test_limits_of_text_are_settings() -> None:
    (piece,) = cut_into_tunes(tune("T", "twelve chars"), "a.abc")
    assert isinstance(piece, TuneText)
    from tunebook.read.abc.tune import read_tune

    assert read_tune(piece, limits=ReadingLimits(name_letters=6)).title == "twelve"
    assert read_tune(piece, limits=ReadingLimits(name_letters=12)).title == "twelve chars"


@pytest.mark.parametrize(
    "music", ['"^{}"D4|]', '"{}"D4|]', "[P:{}]D4|]", "D4|]\nw:{}", "!{}!D4|]", "[r:{}]D4|]"]
)
def test_text_in_the_music_has_an_end(music: str) -> None:
    (read,) = read_abc("X:1\nT:T\nM:2/4\nL:1/8\nK:D\n" + music.format("x" * 100_000) + "\n")
    texts = [a.text for bar in read.bars for note in bar.notes for a in note.annotations]
    texts += [bar.part for bar in read.bars]
    assert max(map(len, texts)) <= DEFAULT_LIMITS.name_letters


@pytest.mark.parametrize("key", ["title", "source", "name"])
def test_a_profile_with_text_without_end_is_refused_in_one_line(key: str) -> None:
    text = (DATA / "instruments" / "fiddle.toml").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if not line.startswith(f"{key} ")]
    with pytest.raises(SettingError) as caught:
        parse_instrument(f'{key} = "{"x" * 50_000}"\n' + "\n".join(kept), "own.toml")
    assert str(caught.value).startswith(f"own.toml:1: {key} has more than ")
    assert "\n" not in str(caught.value)


def test_a_string_named_without_end_is_refused(tmp_path: Path) -> None:
    text = (DATA / "instruments" / "fiddle.toml").read_text(encoding="utf-8")
    text = text.replace("[[string]]", f'[[string]]\nname = "{"x" * 5000}"', 1)
    with pytest.raises(SettingError, match="string 1: name has more than"):
        parse_instrument(text, "own.toml")
