"""Fingered ABC: what is added, where, and that nothing else changes."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.abc.tune import read_abc
from tunebook.solve.transpose import transpose_tune
from tunebook.write.abc import (
    write_fingers,
    write_fingers_in_bytes,
)

SAMPLES = sorted((Path(__file__).parents[2] / "sample_tunes").glob("*.abc"))
HEAD = "X:1\nT:Made\nM:3/4\nL:1/8\nK:D\n"


@pytest.fixture
def finger(arranged):
    """The music line(s) of a tune with fingers, given the line(s) without."""

    def write(body, head=HEAD):
        text = head + body + "\n"
        written = fingered_abc(text, [arranged(tune) for tune in read_abc(text)])
        assert written.startswith(head) and written.endswith("\n")
        return written[len(head) : -1]

    return write


def fingered_abc(text, arrangements):
    return write_fingers(text, arrangements).text


def chord_at(onset, symbol, source="solved", confidence=1.0):
    chord = read_chord_symbol(symbol, SourcePlace("tune.abc", 1, 1))
    return ChordSpan(0, Fraction(onset), Fraction(1, 4), chord, source, confidence)


def music(tune):
    """Everything of a tune that fingers and chords must not change."""
    return [
        replace(
            bar,
            place=tune.place,
            notes=tuple(
                replace(note, place=tune.place, end_column=0, finger_pins=(), chord=None)
                for note in bar.notes
            ),
        )
        for bar in tune.bars
    ]


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("DE F2 A2 |", "!0!D!1!E !2!F2 !0!A2 |"),
        ("^D=E' _a,, ^^F,2 |", "!1!^D!4!=E' !1!_a,, !0!^^F,2 |"),
        ("(3DEF (GA) |", "(3!0!D!1!E!2!F (!3!G!0!A) |"),
        ("A>B c <d e>>f |", "!0!A>!1!B !2!c <!3!d !4!e>>!4!f |"),
        ("D2- D2 E2 |", "!0!D2- D2 !1!E2 |"),
        ("D6- | D6 |", "!0!D6- | D6 |"),
        ("z2 x2 D2 | Z | D6 |", "z2 x2 !0!D2 | Z | !0!D6 |"),
        (".D ~E vTF uG !trill!A2 |", ".!0!D ~!1!E vT!2!F u!3!G !trill!!0!A2 |"),
        ("{ef}g2 {/a}g4 |", "{!4!e!4!f}!4!g2 {/!4!a}!4!g4 |"),
        ("[G,B,]2 [A,E]2 [DA]2 |", "[!0!G,!2!B,]2 [!1!A,!1!E]2 [!0!D!0!A]2 |"),
        ("[A,-E]2 [A,F]4 |", "[!1!A,-!1!E]2 [A,!2!F]4 |"),
        ("+A,E+2 D4 |", "!1!!1!+A,E+2 !0!D4 |"),
        ('"Am"A2 "^up" B2 "_down"c2 |', '"Am"!0!A2 "^up" !1!B2 "_down"!2!c2 |'),
        ("|: D6 |1 E6 :|2 F6 |]", "|: !0!D6 |1 !1!E6 :|2 !2!F6 |]"),
        ("A/B/`c/d/ [K:G]B2 [r:x D] G2 |", "!0!A/!1!B/`!2!c/!3!d/ [K:G]!1!B2 [r:x D] !3!G2 |"),
        ("D6 | % E F G\n% D E\nE6 |]", "!0!D6 | % E F G\n% D E\n!1!E6 |]"),
        ("D2 E2 \\\nF2 |]", "!0!D2 !1!E2 \\\n!2!F2 |]"),
        ("DEFGAB |\nw: a b c d e f", "!0!D!1!E!2!F!3!G!0!A!1!B |\nw: a b c d e f"),
        ("P:A\nD6 |\nP:B\nE6 |", "P:A\n!0!D6 |\nP:B\n!1!E6 |"),
    ],
)  # fmt: skip
def test_fingers_stand_right_before_their_notes(finger, body, expected):
    assert finger(body) == expected


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("!3!D2 E2 F2 |", "!3!D2 !1!E2 !2!F2 |"),
        ("!3!!trill!D2 E2 F2 |", "!3!!trill!D2 !1!E2 !2!F2 |"),
        ("[!3!A,E]2 D4 |", "[!3!A,!1!E]2 !0!D4 |"),
        ("!3![A,E]2 D4 |", "!3!!1![A,E]2 !0!D4 |"),
        ("!3!!4![A,E]2 D4 |", "!3!!4![A,E]2 !0!D4 |"),
        ("D2 E2 F2 |\ns: !3! * *", "D2 !1!E2 !2!F2 |\ns: !3! * *"),
    ],
)
def test_note_that_has_a_finger_keeps_it_and_gets_no_second(finger, body, expected):
    assert finger(body) == expected


def test_finger_behind_a_user_symbol_is_not_written_twice(finger):
    head = HEAD.replace("K:D", "U:h=!3!\nK:D")
    assert finger("hD2 E2 F2 |", head) == "hD2 !1!E2 !2!F2 |"


def test_pin_from_outside_the_text_is_written(arranged):
    text = HEAD + "D2 E4 |\n"
    (tune,) = read_abc(text)
    arrangement = arranged(tune)
    note = replace(arrangement.notes[1].note, finger_pins=(1,))
    notes = (arrangement.notes[0], replace(arrangement.notes[1], note=note))
    assert "!0!D2 !1!E4 |" in fingered_abc(text, [replace(arrangement, notes=notes)])


def test_note_that_cannot_be_played_gets_no_finger(arranged):
    text = HEAD + "D2 E4 |\n"
    arrangement = arranged(read_abc(text)[0])
    notes = (replace(arrangement.notes[0], stops=()), arrangement.notes[1])
    assert "\nD2 !1!E4 |" in fingered_abc(text, [replace(arrangement, notes=notes)])


def test_chosen_chords_stand_before_decorations_and_after_grace_notes(arranged):
    text = HEAD + "{e}vT.D2 [A,E]2 z2 |\n"
    chords = (chord_at("0", "D", confidence=0.4), chord_at("1/4", "A7"), chord_at("1/2", "F#m"))
    written = fingered_abc(text, [arranged(read_abc(text)[0], chords=chords)])
    assert (
        '{!4!e}[r:solved D 0.4]"D"vT.!0!D2 [r:solved A7 1]"A7"[!1!A,!1!E]2 '
        '[r:solved F#m 1]"F#m"z2 |'
    ) in written


def test_own_chords_of_the_tune_are_left_as_they_are(arranged):
    text = HEAD + '"Dmin"D6 |\n'
    chords = (chord_at("0", "Dm", "tune"),)
    written = fingered_abc(text, [arranged(read_abc(text)[0], chords=chords)])
    assert '\n"Dmin"!0!D6 |' in written


def test_chord_that_begins_under_a_held_note_is_a_remark(arranged):
    text = HEAD + "D6 |\n"
    chords = (chord_at("1/4", "G", confidence=0.432), chord_at("1/2", "A7"))
    result = write_fingers(text, [arranged(read_abc(text)[0], chords=chords)])
    assert result.messages == ()
    (tune,) = read_abc(result.text)
    later = [(delay, one.symbol, one.solved_confidence) for delay, one in
             tune.bars[0].notes[0].later_chords]  # fmt: skip
    assert sorted(later) == [(Fraction(1, 4), "G", 0.432), (Fraction(1, 2), "A7", 1.0)]
    again = write_fingers(result.text, [arranged(tune, chords=chords)])
    assert again.text == result.text


def test_written_chord_is_read_again_as_the_same(arranged):
    for symbol in ("D", "F#m", "Bb7", "Edim", "Edim7", "Gmaj7", "Am7", "Em7b5", "Caug", "D/F#"):
        text = HEAD + "D6 |\n"
        arrangement = arranged(read_abc(text)[0], chords=(chord_at("0", symbol),))
        (tune,) = read_abc(fingered_abc(text, [arrangement]))
        expected = arrangement.chords[0].chord
        found = tune.bars[0].notes[0].chord
        assert found.solved_confidence == 1.0
        assert expected == replace(
            found, text=expected.text, place=expected.place, solved_confidence=None
        )


def test_macro_notes_get_no_finger_and_this_is_told(arranged):
    text = HEAD.replace("K:D", "m: ~G2 = G2\nK:D") + "D2 ~G2 E2 |\n"
    (tune,) = read_abc(text)
    bar = tune.bars[0]
    first, second, third = bar.notes
    halves = (replace(second, duration=Fraction(1, 8)),) * 2  # as a macro of two notes is read
    tune = replace(tune, bars=(replace(bar, notes=(first, *halves, third)),))
    result = write_fingers(text, [arranged(tune)])
    assert "!0!D2 ~G2 !1!E2 |" in result.text
    assert {message.what for message in result.messages} == {
        "this note comes out of a macro; its finger is not written"
    }


@pytest.mark.parametrize("body", ["D2 E2 F2 |", "D2 [EG]2 F2 |"])
def test_note_that_is_not_in_the_text_gets_no_finger_and_this_is_told(arranged, body):
    text = HEAD + body + "\n"
    (tune,) = read_abc(text)
    bar = tune.bars[0]
    astray = replace(bar.notes[1], place=replace(bar.notes[1].place, column=3))
    notes = (bar.notes[0], astray, bar.notes[2])
    tune = replace(tune, bars=(replace(bar, notes=notes),))
    result = write_fingers(text, [arranged(tune)])
    assert re.sub(r"![0-4]!", "", result.text) == text
    assert result.text.count("!") == 4
    (message,) = result.messages
    assert "is not what stands in the text" in message.what


def test_transposed_tune_gets_no_fingers_and_this_is_told(arranged):
    text = HEAD + "DEFGAB |\n"
    (tune,) = read_abc(text)
    result = write_fingers(text, [arranged(transpose_tune(tune, 2))])
    assert result.text == text
    assert [message.kind for message in result.messages] == ["fingering"]


def test_line_that_breaks_with_exclamation_marks_is_left_alone_where_it_would_be_misread(arranged):
    text = HEAD + "D2 E2 F2 !(G2 A2) B2 |\nD6 |]\n"
    result = write_fingers(text, [arranged(read_abc(text)[0])])
    assert "\nD2 E2 F2 !(G2 A2) B2 |\n!0!D6 |]" in result.text
    (message,) = result.messages
    assert message.place.line == 6 and "misread" in message.what


def test_line_break_marks_that_do_no_harm_stay(finger):
    assert finger("D2 E2 F2 |! G2 A2 B2 |") == "!0!D2 !1!E2 !2!F2 |! !3!G2 !0!A2 !1!B2 |"


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n"])
def test_line_ends_stay(arranged, end):
    text = (HEAD + "DEF |\nGAB |]\n").replace("\n", end)
    arrangements = [
        arranged(tune) for tune in read_abc(text.replace("\r\n", "\n").replace("\r", "\n"))
    ]
    written = fingered_abc(text, arrangements)
    assert written == (HEAD + "!0!D!1!E!2!F |\n!3!G!0!A!1!B |]\n").replace("\n", end)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "cp1252", "utf-16"])
def test_encoding_and_byte_order_mark_stay(arranged, encoding):
    text = HEAD.replace("Made", "Näcken på Åsen") + "DEF |\n"
    data = text.encode(encoding)
    arrangements = [arranged(tune) for tune in read_abc(text)]
    written, _ = write_fingers_in_bytes(data, arrangements)
    assert written == text.replace("DEF", "!0!D!1!E!2!F").encode(encoding)


def test_bytes_that_are_no_text_stay(arranged):
    data = (HEAD + "DEF |\n").encode() + b"% \xff\xfe\x00\x80\n"
    written, messages = write_fingers_in_bytes(data, [arranged(read_abc(HEAD + "DEF |\n")[0])])
    assert written == data.replace(b"DEF", b"!0!D!1!E!2!F")
    assert messages == ()


def test_text_without_arrangements_stays(arranged):
    text = "nothing\x0bto\u2028see\r"
    assert fingered_abc(text, []) == text
    assert fingered_abc("", []) == ""


def test_each_tune_of_a_file_gets_its_own_fingers(arranged):
    text = HEAD + "DEF |\n\nX:2\nT:Other\nM:3/4\nL:1/8\nK:G\nGAB |]\n"
    first, second = read_abc(text)
    assert "!0!D" not in fingered_abc(text, [arranged(second)])
    assert "!3!G!0!A!1!B |]" in fingered_abc(text, [arranged(second)])
    assert fingered_abc(text, [arranged(first), arranged(second)]).count("!") == 12


def test_other_voices_are_left_alone(arranged):
    text = HEAD.replace("K:D\n", "V:1\nV:2\nK:D\n") + "V:1\nDEF |\nV:2\nDEF |\n[V:1]GAB |\n"
    (tune,) = read_abc(text)
    written = fingered_abc(text, [arranged(tune)])
    assert written.endswith("V:1\n!0!D!1!E!2!F |\nV:2\nDEF |\n[V:1]!3!G!0!A!1!B |\n")


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_sample_tunes_come_back_the_same_with_fingers_as_pins(path, arranged):
    text = path.read_text(encoding="utf-8")
    tunes = read_abc(text, path.name)
    arrangements = [arranged(tune) for tune in tunes]
    result = write_fingers(text, arrangements)
    again = read_abc(result.text, path.name)
    assert result.messages == ()
    assert re.sub(r"![0-4]!", "", result.text) == re.sub(r"![0-4]!", "", text)
    assert [music(tune) for tune in again] == [music(tune) for tune in tunes]
    for arrangement, tune in zip(arrangements, again, strict=True):
        for one in arrangement.notes:
            pins = tune.bars[one.bar_index].notes[one.note_index].finger_pins
            tied = one.note.is_tied_from_before
            own = one.note.finger_pins or (None,) * len(tied)
            assert list(pins or [None] * len(tied)) == [
                pin if pin is not None else None if is_tied else stop.finger
                for pin, is_tied, stop in zip(own, tied, one.stops, strict=True)
            ]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_writing_twice_adds_nothing(path, arranged):
    text = path.read_text(encoding="utf-8")
    once = fingered_abc(text, [arranged(tune) for tune in read_abc(text)])
    assert fingered_abc(once, [arranged(tune) for tune in read_abc(once)]) == once


def test_a_players_remark_stays_in_the_text(arranged):
    text = HEAD + "D2 [r:note keep the little finger down]E2 F2 |\n"
    result = write_fingers(text, [arranged(read_abc(text)[0])])
    assert "[r:note keep the little finger down]" in result.text
    (again,) = read_abc(result.text)
    assert again.bars[0].notes[1].remark == "keep the little finger down"
