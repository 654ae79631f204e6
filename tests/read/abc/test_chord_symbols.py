"""Chord symbols in their usual spellings."""

from __future__ import annotations

import pytest

from tunebook.errors import SourcePlace
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.abc.tune import read_abc

PLACE = SourcePlace("tune.abc", 1, 1)


@pytest.mark.parametrize(
    ("text", "symbol", "quality", "extension"),
    [
        ("D", "D", "major", ""),
        ("Dm", "Dm", "minor", ""),
        ("D-", "Dm", "minor", ""),
        ("Dmin", "Dm", "minor", ""),
        ("Dmi", "Dm", "minor", ""),
        ("D minor", "Dm", "minor", ""),
        ("D7", "D7", "major", "7"),
        ("Dmaj7", "Dmaj7", "major", "maj7"),
        ("DM7", "Dmaj7", "major", "maj7"),
        ("D/F#", "D/F#", "major", ""),
        ("D/f#", "D/F#", "major", ""),
        ("Ddim", "Ddim", "diminished", ""),
        ("Do", "Ddim", "diminished", ""),
        ("Do7", "Ddim7", "diminished", "bb7"),
        ("Ddim7", "Ddim7", "diminished", "bb7"),
        ("D+", "Daug", "augmented", ""),
        ("D+7", "Daug7", "augmented", "7"),
        ("D7#5", "Daug7", "augmented", "7"),
        ("Bb7", "Bb7", "major", "7"),
        ("B♭", "Bb", "major", ""),
        ("F#m7b5", "F#m7b5", "diminished", "7"),
        ("F#m7(b5)", "F#m7b5", "diminished", "7"),
        ("Fø", "Fm7b5", "diminished", "7"),
        ("Bmb5", "Bdim", "diminished", ""),
        ("Gsus4", "Gsus4", "other", "sus4"),
        ("G7sus4", "G7sus4", "other", "7sus4"),
        ("G5", "G5", "other", "5"),
        ("Gm6", "Gm6", "minor", "6"),
        ("C-7", "Cm7", "minor", "7"),
        ("GmMaj7", "Gmmaj7", "minor", "maj7"),
        ("Cadd9", "Cadd9", "major", "add9"),
        ("C7b9", "C7b9", "major", "7b9"),
        ("Ebmaj7/G", "Ebmaj7/G", "major", "maj7"),
    ],
)
def test_symbol_is_read(text: str, symbol: str, quality: str, extension: str) -> None:
    chord = read_chord_symbol(text, PLACE)
    assert chord is not None
    assert (chord.symbol, chord.quality, chord.extension) == (symbol, quality, extension)
    assert chord.text == text


def test_bracketed_symbol_is_optional() -> None:
    chord = read_chord_symbol("(Am7)", PLACE)
    assert chord is not None
    assert chord.is_optional
    assert chord.symbol == "Am7"


@pytest.mark.parametrize(
    "text", ["D?", "Fine", "Coda", "D.C.", "Bass", "N.C.", "", "(", "D/", "G-string", "E" * 50]
)
def test_other_words_are_no_symbol(text: str) -> None:
    assert read_chord_symbol(text, PLACE) is None


def test_every_symbol_written_by_us_reads_back_the_same() -> None:
    for text in ("Dm", "F#m7b5", "Daug7", "Ddim7", "Gsus4", "Bb/D", "Cmaj7", "Gm9"):
        chord = read_chord_symbol(text, PLACE)
        assert chord is not None
        assert chord.symbol == text


def test_what_was_meant_as_a_chord_is_kept_as_words_and_said() -> None:
    tune = read_abc('X:1\nM:4/4\nL:1/1\nK:C\n"D?"C|"am"D|"4"E|"Fine"F|\n')[0]
    notes = [bar.notes[0] for bar in tune.bars]
    assert [note.annotations[0].text for note in notes] == ["D?", "am", "4", "Fine"]
    assert [note.chord for note in notes] == [None] * 4
    assert [message.kind for message in tune.messages] == ["chord-symbol", "chord-symbol"]
    assert list(tune.messages[0].excerpt_lines()) == [
        '    "D?"C|"am"D|"4"E|"Fine"F|',
        "    ~~~~",
    ]


def test_second_symbol_on_a_note_is_said() -> None:
    tune = read_abc('X:1\nK:C\n"D""G"C8|\n')[0]
    note = tune.bars[0].notes[0]
    assert note.chord is not None
    assert note.chord.symbol == "D"
    assert [annotation.text for annotation in note.annotations] == ["G"]
    assert "second chord symbol" in tune.messages[0].what


def test_symbol_without_a_note_after_it_is_said() -> None:
    tune = read_abc('X:1\nM:4/4\nL:1/1\nK:C\nC|"G"|]\n')[0]
    assert [message.kind for message in tune.messages] == ["chord-symbol"]


def test_symbol_before_a_bar_sign_stands_at_the_end_of_its_bar() -> None:
    tune = read_abc('X:1\nM:4/4\nL:1/4\nK:C\n"A"C4"D"|"E"D4|"G"|:E4 "F" :|G4|]\n')[0]
    ends = [bar.end_chord and bar.end_chord.symbol for bar in tune.bars]
    firsts = [bar.notes[0].chord and bar.notes[0].chord.symbol for bar in tune.bars]
    assert ends == ["D", None, "F", None]
    assert firsts == ["A", "E", "G", None]
    assert [m.what for m in tune.messages if m.kind == "chord-symbol"] == []


@pytest.mark.parametrize(
    ("text", "symbol"),
    [
        ("H7", "B7"), ("Hm", "Bm"), ("H", "B"), ("Hb", "Bb"), ("E/H", "E/B"), ("E/h", "E/B"),
        ("A/c#", "A/C#"), ("D/f♯", "D/F#"),
    ],
)  # fmt: skip
def test_letter_h_and_small_basses_are_read(text: str, symbol: str) -> None:
    chord = read_chord_symbol(text, PLACE)
    assert chord is not None
    assert chord.symbol == symbol


def test_bass_of_no_known_form_is_said_and_the_chord_kept() -> None:
    tune = read_abc('X:1\nM:4/4\nL:1/1\nK:C\n"D/f+"C|"Am7/x"D|"Gm/"E|"Fast/slow"F|\n')[0]
    notes = [bar.notes[0] for bar in tune.bars]
    assert [n.chord and n.chord.symbol for n in notes] == ["D", "Am7", "Gm", None]
    said = [message.what for message in tune.messages]
    assert said[0] == '"/f+" of the chord symbol "D/f+" is not understood; D is kept'
    assert len(said) == 4 and notes[3].annotations[0].text == "Fast/slow"


def test_h_and_b_in_one_tune_are_said_once() -> None:
    tune = read_abc('X:1\nM:4/4\nL:1/1\nK:C\n"H7"C|"B7"D|"B"E|"Bb"F|\n')[0]
    said = [message for message in tune.messages if message.kind == "chord-symbol"]
    assert len(said) == 1 and "B natural" in said[0].what and said[0].place.line == 5
    plain = read_abc('X:1\nM:4/4\nL:1/1\nK:C\n"H7"C|"Bb7"D|\n')[0]
    assert not [message for message in plain.messages if message.kind == "chord-symbol"]
