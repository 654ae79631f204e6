"""Quotation marks that are typographic or stand alone make no notes."""

from __future__ import annotations

import pytest

from tunebook.model.tune import Note, Tune
from tunebook.read.abc.tune import read_abc


def read(music: str, more: str = "") -> Tune:
    return read_abc(f"X:1\nM:none\nL:1/4\n{more}K:C\n{music}\n")[0]


def notes_of(tune: Tune) -> list[Note]:
    return [note for bar in tune.bars for note in bar.notes]


def heard(tune: Tune) -> list[tuple[str, str]]:
    """Chord symbol and pitch of each note."""
    return [
        (note.chord.text if note.chord else "", "".join(pitch.name for pitch in note.pitches))
        for note in notes_of(tune)
    ]


@pytest.mark.parametrize(
    "music",
    [
        '"Am A2"D"d2|',
        '"Am A2 "D"d2|',
        '"AmA2"D"d2|',
        '"Am"A2"D d2|',
        '"Am"A2"Dd2|',
        "“Am”A2“D”d2|",
        "”Am”A2”D”d2|",
        '„Am“A2"D"d2|',
        '“Am"A2"D”d2|',
    ],
)
def test_chord_symbols_are_read_and_no_letter_of_them_is_a_note(music: str) -> None:
    tune = read(music)
    assert heard(tune) == [("Am", "A4"), ("D", "D5")]
    assert [message.kind for message in tune.messages] == ["text"]


def test_message_stands_at_the_mark_that_is_alone() -> None:
    (message,) = read('"Am"A2 "D d2 "G"B2|').messages
    assert (message.place.column, message.underline) == (8, 2)
    assert '"D"' in message.what


def test_places_of_notes_after_a_mended_mark_are_those_of_the_source() -> None:
    line = '"Am A2 "D"d2|'
    notes = notes_of(read(line))
    assert [line[note.place.column - 1 : note.end_column - 1] for note in notes] == ["A2", "d2"]


def test_words_without_their_second_mark_are_words() -> None:
    tune = read('"Fine A4|"^slowly B4|')
    assert [name for _, name in heard(tune)] == ["A4", "B4"]
    assert [note.annotations[0].text for note in notes_of(tune)] == ["Fine", "slowly"]


def test_mark_with_nothing_after_it_is_ignored() -> None:
    assert heard(read('c4|d4"|')) == [("", "C5"), ("", "D5")]


def test_typographic_marks_inside_words_stay() -> None:
    tune = read('"^say “hi”"c4|')
    assert notes_of(tune)[0].annotations[0].text == "say “hi”"
    assert not tune.messages


def test_typographic_apostrophe_raises_the_octave_and_is_said() -> None:
    tune = read("c’d|")
    assert [name for _, name in heard(tune)] == ["C6", "D5"]
    assert [message.kind for message in tune.messages] == ["text"]


def test_marks_alone_in_two_bars_do_not_enclose_the_music_between_them() -> None:
    tune = read('"Am A2B2|"D"d2|"G B2c2|')
    assert heard(tune) == [("Am", "A4"), ("", "B4"), ("D", "D5"), ("G", "B4"), ("", "C5")]


def test_bar_signs_in_words_are_words() -> None:
    tune = read('"^as |: here"c|d|')
    assert [name for _, name in heard(tune)] == ["C5", "D5"]
    assert not tune.messages


def test_marks_in_fields_between_brackets_are_the_fields_own() -> None:
    tune = read('[r: 5" wide]c4|"G"d4|')
    assert heard(tune) == [("", "C5"), ("G", "D5")]
    assert not tune.messages


def test_macros_are_written_out_in_a_line_that_is_mended() -> None:
    assert [name for _, name in heard(read('"Am ~A B|', "m: ~A = A/c/\n"))] == ["A4", "C5", "B4"]
