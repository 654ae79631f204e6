"""Further voices stand beside the melody's bars, however they are written. What V: means: The ABC
Music Standard 2.1, section 7; that %%score puts voices in order: common practice, no source."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.model.tune import Tune, Voice, VoiceName
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_abc, read_tune
from tunebook.read.limits import ReadingLimits

HEAD = "X:1\nT:t\nM:3/4\nL:1/4\n"
MELODY = [["A4"], ["D5", "E5"], ["F#5", "D5"], ["D5"], ["E5"]]
SECOND = [["A3"], ["D4", "E4"], ["F#4", "D4"], ["D4"], ["E4"]]


def read(text: str) -> Tune:
    return read_abc(HEAD + text)[0]


def tones(bars: Tune | Voice) -> list[list[str]]:
    return [
        [note.pitches[0].name if note.pitches else "z" for note in bar.notes] for bar in bars.bars
    ]


def said(tune: Tune) -> list[str]:
    return [message.what for message in tune.messages]


@pytest.mark.parametrize(
    "body",
    [
        "K:D\nV:1\nA|:d2e|f2d:|1d3:|2e3|]\nV:2\nA,|:D2E|F2D:|1D3:|2E3|]\n",
        "K:D\nV:1\nA|:d2e|f2d:|1d3:|2e3|]\nV:2\nA,|D2E|F2D|D3|E3|]\n",
        "K:D\nV:1\nA|:d2e|\nV:2\nA,|:D2E|\nV:1\nf2d:|1d3:|2e3|]\nV:2\nF2D:|1D3:|2E3|]\n",
        "K:D\n[V:1]A|:d2e|\n[V:2]A,|D2E|\n[V:1]f2d:|1d3:|2e3|]\n[V:2]F2D|D3|E3|]\n",
        "K:D\n[V:1]A|:d2e|[V:2]A,|D2E|[V:1]f2d:|1d3:|2e3|][V:2]F2D|D3|E3|]\n",
        "V:1\nV:2 octave=-1\nK:D\nV:1\nA|:d2e|f2d:|1d3:|2e3|]\nV:2\nA|d2e|f2d|d3|e3|]\n",
        "V:1\nV:2\nK:D octave=-1\nV:1 octave=0\nA|:d2e|f2d:|1d3:|2e3|]\nV:2\nA|d2e|f2d|d3|e3|]\n",
        "%%score (1 2)\nV:2\nV:1\nK:D\n[V:2]A,|D2E|F2D|D3|E3|]\n[V:1]A|:d2e|f2d:|1d3:|2e3|]\n",
        "%%staves {1 2}\nK:D\n[V:2]A,|D2E|F2D|D3|E3|]\n[V:1]A|:d2e|f2d:|1d3:|2e3|]\n",
        "K:D\nA|:d2e|f2d:|1d3:|2e3|]\nV:2\nA,|D2E|F2D|D3|E3|]\n",
        "V:1\nV:2\nK:D\nA|:d2e|f2d:|1d3:|2e3|]\nV:2\nA,|D2E|F2D|D3|E3|]\n",
    ],
)
def test_every_way_of_writing_two_voices_gives_the_same_music(body: str) -> None:
    tune = read(body)
    assert tones(tune) == MELODY
    (second,) = tune.voices
    assert tones(second) == SECOND
    assert [bar.sign_after for bar in second.bars] == ["|:", "|", ":|", ":|", "|]"]
    assert [bar.ending for bar in second.bars] == [(), (), (), (1,), (2,)]
    assert not tune.messages


def test_names_and_clef_of_a_voice_are_kept() -> None:
    tune = read(
        'V:1 nm="Melodi" snm=M.\nV:2 clef=bass name="Stämma" sname="St."\nK:D\nV:1\nd3|\nV:2\nD3|\n'
    )
    assert tune.melody_voice == VoiceName(id="1", name="Melodi", short_name="M.")
    (second,) = tune.voices
    assert (second.id, second.name, second.short_name, second.clef) == (
        "2",
        "Stämma",
        "St.",
        "bass",
    )


def test_bar_that_the_melody_divides_is_divided_with_a_tie() -> None:
    tune = read("K:D\nV:1\n|:d2e|f2:|:d|d3:|\nV:2\nD2E|F3|D3|\n")
    (second,) = tune.voices
    assert tones(second) == [["D4", "E4"], ["F#4"], ["F#4"], ["D4"]]
    assert [note.ties for note in second.bars[1].notes] == [(True,)]
    assert [note.is_tied_from_before for note in second.bars[2].notes] == [(True,)]
    assert not tune.messages


def test_bars_that_the_voice_divides_are_joined() -> None:
    tune = read("K:D\nV:1\nd2e|f3|\nV:2\nD2|E|F3|\n")
    assert tones(tune.voices[0]) == [["D4", "E4"], ["F#4"]]
    assert not tune.messages


def test_voice_without_the_pickup_rests_there() -> None:
    tune = read("K:D\nV:1\nA|d2e|f3|\nV:2\nD2E|F3|\n")
    assert tones(tune.voices[0]) == [["z"], ["D4", "E4"], ["F#4"]]
    assert not tune.messages


def test_bar_of_the_voice_that_is_too_short_is_filled_up_and_said_with_its_place() -> None:
    tune = read("K:D\nV:1\nd2e|f3|d3|\nV:2\nD3|F2|D3|\n")
    assert tones(tune.voices[0]) == [["D4"], ["F#4", "z"], ["D4"]]
    (message,) = tune.messages
    assert (message.place.line, message.place.column) == (9, 4)
    assert "voice 2 does not fit the melody: too short: bar 2" in message.what


def test_bar_of_the_voice_that_is_too_long_is_cut_and_said() -> None:
    tune = read("K:D\nV:1\nd2e|f3|d3|\nV:2\nD3|F4|D3|\n")
    assert tones(tune.voices[0]) == [["D4"], ["F#4"], ["D4"]]
    assert [note.duration for note in tune.voices[0].bars[1].notes] == [Fraction(3, 4)]
    assert "too long: bar 2" in said(tune)[0]


def test_missing_bar_shifts_no_more_than_its_own_part() -> None:
    tune = read("K:D\nV:1\nd3|e3:|\nf3|g3|]\nV:2\nD3:|\nF3|G3|]\n")
    assert tones(tune.voices[0]) == [["D4"], ["z"], ["F#4"], ["G4"]]
    assert "without music for bar 2" in said(tune)[0]


def test_bars_beyond_the_melodys_are_left_out_and_said() -> None:
    tune = read("K:D\nV:1\nd3|e3|\nV:2\nD3|E3|F3|\n")
    assert tones(tune.voices[0]) == [["D4"], ["E4"]]
    assert "with 1 bar too many" in said(tune)[0]


def test_voice_of_another_piece_is_left_out_and_said() -> None:
    tune = read("K:D\nV:1\nd3|e3|f3|g3|\nV:2\nD2|E2|F2|G2|\n")
    assert not tune.voices
    assert "is left out" in said(tune)[0]


def test_key_is_the_voices_own_and_said_where_it_keeps_it() -> None:
    tune = read("K:D\nV:1\nd3|\nK:C\nf3|\nV:2\nD3|\nF3|\n")
    assert tones(tune) == [["D5"], ["F5"]]
    (second,) = tune.voices
    assert tones(second) == [["D4"], ["F#4"]]
    assert [bar.key.fifths for bar in second.bars] == [2, 2]
    assert "keeps its key signature in bar 2" in said(tune)[0]


def test_words_pins_and_remarks_of_a_voice_are_its_own() -> None:
    tune = read("K:D\nV:1\nd2 e|\nw: ett två\nV:2\n!2!D2 [r:string G]!1!E|\nw: tre fy-ra\n")
    first, second = tune.voices[0].bars[0].notes
    assert (first.finger_pins, second.finger_pins, second.string_pin) == ((2,), (1,), "G")
    assert [note.syllables[0].text for note in (first, second) if note.syllables[0]] == [
        "tre",
        "fy",
    ]
    assert [note.syllables[0].text for note in tune.bars[0].notes if note.syllables[0]] == [
        "ett",
        "två",
    ]


def test_what_is_wrong_in_a_further_voice_is_said_once() -> None:
    tune = read("K:D\nV:1\nd3|\nV:2\nD2- z|\n")
    assert [message.kind for message in tune.messages] == ["tie"]


def test_rest_bars_of_a_voice_fill_as_many_of_the_melody() -> None:
    tune = read("K:D\nV:1\nd3|e3|f3|\nV:2\nZ2|F3|\n")
    assert tones(tune.voices[0]) == [["z"], ["z"], ["F#4"]]
    assert not tune.messages


def test_no_more_voices_are_read_than_the_limit_says() -> None:
    body = "K:D\n" + "".join(f"V:{number}\nd3|\n" for number in range(1, 6))
    (text,) = cut_into_tunes(HEAD + body, "t.abc")
    assert isinstance(text, TuneText)
    tune = read_tune(text, limits=ReadingLimits(voices=3))
    assert [voice.id for voice in tune.voices] == ["2", "3"]
    assert [message.kind for message in tune.messages] == ["limit"]


def test_transposition_of_a_voice_concerns_players_alone_and_is_said_where_it_stands() -> None:
    tune = read("V:1\nV:2 transpose=-12\nK:D\nV:1\nd3|\nV:2\nD3|\n")
    assert tones(tune.voices[0]) == [["D4"]]
    (message,) = tune.messages
    assert message.place.line == 6 and "transpose=-12 concerns playback" in message.what
