"""Made-up tunes read back as they were; no input ever ends in an exception."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from abc_writing import LETTERS, Tone, bars, keys, units, write_tune
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tunebook.errors import InputError, Message
from tunebook.model.tune import Bar, Tune
from tunebook.model.voices import voice_as_tune
from tunebook.read.abc.text import decode, plain_text
from tunebook.read.abc.tokens import tokens_of
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_abc, read_tune
from tunebook.read.folder import read_folder

PIECES = r"""|: :| |1 :|2 (3 [K:D] [M:3/4] [r:string D] !1! {g} "Am" %% [V:2] =3D D.C. !segno!
!fine! Fine \u00e9 &eacute; [CE] [1 M:C| ~g3"""
FIELDS = ["\n" + letter + ":" for letter in "KMLQPVwsmUXTr+"]
SINGLE = "ABCDEFGabcdefgzxZXyHTuvn~.-()[]{}|:!\"'^_=<>/,0123456789 \\%&$+*`\n\t;?#@"
ABC_PIECES = st.sampled_from([*SINGLE, *PIECES.split(), *FIELDS, "\n\n", "\r\n"])
abc_like = st.lists(ABC_PIECES, max_size=120).map("".join)


@given(key=keys, unit=units, written=bars)
def test_made_up_tune_reads_back_the_same(
    key: str, unit: Fraction, written: list[list[Tone]]
) -> None:
    if all(tone.is_rest for bar in written for tone in bar):
        written = [*written, [Tone(0, 0, 4, Fraction(1, 4))]]
    tune = read_abc(write_tune(key, unit, written))[0]
    assert len(tune.bars) == len(written)
    onset = Fraction(0)
    for bar, tones in zip(tune.bars, written, strict=True):
        assert len(bar.notes) == len(tones)
        for note, tone in zip(bar.notes, tones, strict=True):
            assert note.duration == note.written == tone.length
            assert note.onset == onset
            onset += tone.length
            if tone.is_rest:
                assert note.is_rest
            else:
                (pitch,) = note.pitches
                assert (pitch.step, pitch.alter, pitch.octave) == (
                    tone.step,
                    tone.alter,
                    tone.octave,
                )
    assert not tune.messages


@given(key=keys, unit=units, written=bars)
def test_place_of_every_note_is_where_it_stands(
    key: str, unit: Fraction, written: list[list[Tone]]
) -> None:
    tune = read_abc(write_tune(key, unit, [*written, [Tone(0, 0, 4, Fraction(1, 4))]]))[0]
    lines = tune.source_text.split("\n")
    for bar in tune.bars:
        for note in bar.notes:
            line = lines[note.place.line - tune.first_line]
            text = line[note.place.column - 1 : note.end_column - 1]
            assert text[0] in "z^_=ABCDEFGabcdefg"
            if note.pitches:
                assert LETTERS[note.pitches[0].step] in text.upper()


@given(abc_like)
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_any_text_ends_in_tunes_or_messages(text: str) -> None:
    for piece in cut_into_tunes(text, "any.abc"):
        assert isinstance(piece, (TuneText, Message))
    head = "X:1\nT:t\nM:4/4\nL:1/8\nK:C\n"
    for piece in cut_into_tunes(head + text, "any.abc"):
        if isinstance(piece, TuneText):
            try:
                tune = read_tune(piece, voice="2")
            except InputError as error:
                assert "\n" not in str(error)
                continue
            assert_consistent(tune)
            for voice in tune.voices:
                assert_consistent(voice_as_tune(tune, voice))
                assert_stands_beside(tune.bars, voice.bars)


def assert_stands_beside(melody: tuple[Bar, ...], bars: tuple[Bar, ...]) -> None:
    def frame(bar: Bar) -> tuple[object, ...]:
        return (
            (bar.index, bar.number, bar.onset, bar.duration, bar.meter, bar.part, bar.tempo),
            (bar.sign_before, bar.sign_after, bar.ending, bar.ends_ending, bar.repeat_passes),
            (bar.is_pickup, bar.is_continued, bar.meter_changed, bar.breaks_line_after),
        )

    assert [frame(bar) for bar in melody] == [frame(bar) for bar in bars]


def assert_consistent(tune: Tune) -> None:
    onset = Fraction(0)
    for index, bar in enumerate(tune.bars):
        assert bar.index == index
        assert bar.onset == onset
        for note in bar.notes:
            assert len(note.shown_accidentals) == len(note.pitches)
            assert len(note.ties) == len(note.is_tied_from_before) == len(note.pitches)
            assert note.finger_pins == () or len(note.finger_pins) == len(note.pitches)
            if not note.is_grace:
                assert note.onset == onset
                onset += note.duration
        assert bar.onset + bar.duration == onset
    assert all(0 <= index < len(tune.bars) for index in tune.played)
    for message in tune.messages:
        assert "\n" not in str(message)


@given(st.binary(max_size=400))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_end_in_tunes_or_messages(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "any.abc").write_bytes(b"X:1\nK:C\n" + data)
    reading = read_folder(tmp_path)
    assert all(isinstance(tune, Tune) for tune in reading.tunes)
    assert all(isinstance(message, Message) for message in reading.messages)
    text, _ = decode(data)
    assert "\r" not in text


@given(st.text(max_size=200))
def test_tokens_hold_every_character_once(text: str) -> None:
    tokens = tokens_of(text)
    assert "".join(part for _, part, _ in tokens) == text
    place = 0
    for _, part, start in tokens:
        assert start == place
        place += len(part)


@given(st.text(max_size=200))
def test_plain_text_is_one_clean_line(text: str) -> None:
    clean = plain_text(text)
    assert clean == clean.strip()
    assert not any(ord(letter) < 32 or letter in "\u2028\u2029\ufeff" for letter in clean)
