"""Free text inside a tune (ABC 2.1, text directives), and what finds no note to stand on."""

from __future__ import annotations

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.decorations import KNOWN, canonical_decoration
from tunebook.read.abc.text import MOST_LETTERS, MOST_LINES
from tunebook.read.abc.tune import cut_into_tunes, read_abc


def read(music: str, before: str = "") -> Tune:
    return read_abc(f"X:1\nT:t\nM:4/4\nL:1/4\n{before}K:C\n{music}\n")[0]


def told(tune: Tune, kind: str) -> list[str]:
    return [message.what for message in tune.messages if message.kind == kind]


def test_text_before_and_after_the_music_is_kept_apart() -> None:
    tune = read("%%center Also before\nCDEF|\n%%text After \\'e 50\\%\n", "%%text Before\n")
    assert tune.texts == ("Before", "Also before")
    assert tune.closing_texts == ("After é 50%",)


def test_block_of_text_keeps_its_lines_or_flows_as_it_says() -> None:
    kept = read("CDEF|\n%%begintext\n%%one\ntwo\n\n% a remark\nthree\n%%endtext\n")
    assert kept.closing_texts == ("one", "two", "", "three")
    flowing = read("CDEF|\n%%begintext fill\none\ntwo\n\nthree\n%%endtext\n")
    assert flowing.closing_texts == ("one two", "", "three")
    assert not kept.messages and not flowing.messages


def test_block_for_other_programs_is_no_text() -> None:
    tune = read("CDEF|\n%%beginsvg\n<svg/>\n%%endsvg\n%%begintext skip\nx\n%%endtext\nGABc|]")
    assert tune.closing_texts == ()
    assert len(tune.bars) == 2


def test_block_without_end_is_said_and_costs_no_other_tune() -> None:
    text = "X:1\nK:C\nCDEF|\n%%begintext\nGABc|\n\nX:2\nK:C\nC|\n%%begintext\n"
    first, second = read_abc(text)
    assert "has no end" in told(first, "text")[0]
    assert (second.number, len(second.bars)) == ("2", 1)


def test_text_beyond_what_a_page_bears_is_cut_and_said_once() -> None:
    tune = read("\n".join(["%%text " + "x" * 90] * (MOST_LINES + 40)) + "\nCDEF|")
    assert sum(map(len, tune.texts)) <= MOST_LETTERS
    assert len(told(tune, "limit")) == 1


def test_text_of_the_file_header_is_said_to_belong_to_no_tune() -> None:
    text = "%%text For all\n\nX:1\nT:t\nK:C\nCDEF|\n"
    message, tune_text = cut_into_tunes(text, "a.abc")
    assert "belongs to no tune" in message.what
    assert read_abc(text)[0].texts == ()
    assert tune_text.number == "1"


def test_words_too_many_for_the_notes_are_said_with_the_first_of_them() -> None:
    tune = read("CDEF|\nw: a b-c d e-f g\nGABc|\nw: a b c d _ * -\n")
    (what,) = told(tune, "words")
    assert "3 syllables too many" in what and "'e'" in what
    assert [note.syllables[0].text for note in tune.bars[0].notes] == ["a", "b", "c", "d"]


@pytest.mark.parametrize("name", ["sf", "sfp", "rfz", "fz", "sff", "sp", "spp", "fp", "n"])
def test_dynamics_of_the_engraver_are_known(name: str) -> None:
    assert canonical_decoration(name) == (name, True)
    assert name in KNOWN


def test_sign_before_a_bar_sign_belongs_to_it() -> None:
    tune = read("CDEF!segno!|GABc H|!D.S.!c4|]")
    assert tune.bars[0].decorations == ("segno",)
    assert tune.bars[1].decorations == ("fermata",)
    assert tune.bars[2].notes[0].decorations == ("D.S.",)


def test_sign_between_two_bar_signs_waits_for_its_note_unless_it_ends_the_music() -> None:
    tune = read('CDEF|!segno!"^Trio"|:GABc!fine!|"^D.C."|]')
    assert tune.bars[1].notes[0].decorations == ("segno",)
    assert tune.bars[1].notes[0].annotations[0].text == "Trio"
    assert tune.bars[1].decorations == ("fine",)
    assert tune.bars[1].annotations[0].text == "D.C."


def test_long_trill_that_ends_at_a_bar_sign_ends_with_the_note_before_it() -> None:
    tune = read("!trill(!CDEF!trill)!|GABc|]")
    assert tune.bars[0].notes[3].decorations == ("trill)",)
    assert tune.bars[0].decorations == ()


@pytest.mark.parametrize(
    "music",
    ["CDEF T|GABc|]", "!8va(!CDEF|", "!no such!CDEF|", "CDEF!f!|]", "CDEF|!crescendo(!|]"],
)
def test_decoration_that_is_not_printed_is_said(music: str) -> None:
    assert told(read(music), "decoration") or told(read(music), "text")
