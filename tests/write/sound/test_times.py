"""When things sound: against the times of the MIDI file (MIDI Manufacturers Association, RP-001),
read with a general library, and the played order of the tune."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pytest
from listening import (
    HAND,
    HARPA,
    HEAD,
    RATE,
    arranged,
    cents_between,
    heard,
    hz_of,
    onsets_s,
    pitch_of,
    power_at,
)

from tunebook.errors import InputError
from tunebook.model.arrangement import VoiceArrangement
from tunebook.model.choices import SoundPart
from tunebook.model.sound import SoundChoice, SoundOrder
from tunebook.model.tune import Tune, Voice
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_instrument
from tunebook.solve.arrange import arrange
from tunebook.write.midi import tune_as_midi
from tunebook.write.sound.performance import Strokes, strokes_of
from tunebook.write.sound.recording import TAIL_S, record
from tunebook.write.sound.timing import beats_of, passage
from tunebook.write.tones import melody_tones

SAMPLES = Path(__file__).resolve().parents[3] / "sample_tunes"
DANCE = """X:2
T:Provdansen
R:polska
M:3/4
L:1/8
Q:1/4=110
K:D
|: d2 ef g2 | a2 A2 d2 | e2 ce A2 |1 d4 d2 :|2 d2 A2 d2 |]
"""
ODD = """X:3
T:Ojämnt
M:3/4
L:1/8
Q:1/4=100
K:G
B2 | (d3 e d2) | (3BcB G2 z2 | {c}B4- B2 | "G"[GB]4 D2 | G4 |]
"""


def midi_onsets_s(arrangement: Any) -> list[float]:
    file = mido.MidiFile(file=io.BytesIO(tune_as_midi(arrangement)))
    now, found = 0.0, []
    for message in file:  # in seconds, tempo applied
        now += message.time
        if message.type == "note_on" and message.velocity:
            found.append(now)
    return sorted(set(found))


def _as_written(tune: Tune) -> tuple[int, ...]:
    return tuple(bar.index for bar in tune.bars)


def played(arrangement: Any, part: SoundPart, **wishes: Any) -> Strokes:
    """The strokes of one part."""
    ((_, strokes),) = strokes_of(arrangement, (part,), **wishes)
    return strokes


def dance(**wishes: Any) -> Any:
    (tune,) = read_abc(DANCE, "prov.abc")
    return arrange(tune, HARPA, HAND, **wishes)


def test_notes_begin_when_midi_has_them() -> None:
    arrangement = dance()
    written, found = midi_onsets_s(arrangement), onsets_s(heard(arrangement))
    assert len(found) == len(written) > 20
    assert max(abs(a - b) for a, b in zip(written, found, strict=True)) < 0.020


@pytest.mark.parametrize("text", [DANCE, ODD])
def test_strokes_begin_and_end_with_the_tones_of_midi(text: str) -> None:
    (tune,) = read_abc(text, "prov.abc")
    strokes = played(arrange(tune, HARPA, HAND), "melody")
    tones = melody_tones(tune, with_grace_notes=True)
    assert [(one.midi, one.onset, one.end) for one in strokes] == [
        (one.midi, one.onset, one.end) for one in tones
    ]


def test_at_half_the_speed_it_takes_twice_the_time_at_the_same_pitches() -> None:
    arrangement = arranged("A2d2|", HEAD.replace("=60", "=120"))
    usual = record(arrangement, SoundOrder(parts=("melody",)), SoundChoice())
    slow = record(arrangement, SoundOrder(parts=("melody",), speed=0.5), SoundChoice())
    assert slow.course.end_s == pytest.approx(2 * usual.course.end_s)
    for recording, scale in ((usual, 1), (slow, 2)):
        samples = np.concatenate(list(recording.samples())) / 32768
        assert len(samples) == round((2.0 * scale + TAIL_S) * RATE)
        for start_s, midi in ((0.2, 69), (1.2, 74)):
            start = int(start_s * scale * RATE)
            found = pitch_of(samples[start : start + RATE // 2])
            assert abs(cents_between(found, hz_of(midi))) < 3.0


def test_the_length_is_that_of_the_bars_in_their_played_order() -> None:
    arrangement = dance()
    tune = arrangement.tune
    whole_notes = sum((tune.bars[index].duration for index in tune.played), Fraction(0))
    recording = record(arrangement, SoundOrder(), SoundChoice())
    assert recording.course.end_s == pytest.approx(float(whole_notes) * 4 * 60 / 110)
    assert recording.sample_count == round((recording.course.end_s + TAIL_S) * RATE)


def numbers(order: SoundOrder, text: str = DANCE) -> list[int]:
    (tune,) = read_abc(text, "prov.abc")
    played, _ = passage(tune, order)
    return [played.bars[index].number for index in played.played]


def test_without_repeats_each_bar_is_heard_once_with_the_last_ending() -> None:
    assert numbers(SoundOrder()) == [1, 2, 3, 4, 1, 2, 3, 5]
    assert numbers(SoundOrder(repeats="once")) == [1, 2, 3, 5]


def test_a_passage_gets_faster_in_equal_steps() -> None:
    order = SoundOrder(loop=(2, 3), times=3, speed=0.6, last_speed=1.0)
    assert numbers(order) == [2, 3] * 3
    (tune,) = read_abc(DANCE, "prov.abc")
    assert passage(tune, order)[1] == (0.6, 0.6, 0.8, 0.8, 1.0, 1.0)
    recording = record(dance(), order, SoundChoice())
    one_pass_s = 6 * 60 / 110
    expected = sum(one_pass_s / speed for speed in (0.6, 0.8, 1.0))
    assert recording.course.end_s == pytest.approx(expected)


@pytest.mark.parametrize("loop", [(5, 9), (8, 9), (4, 5)])
def test_a_passage_that_is_not_there_is_said(loop: tuple[int, int]) -> None:
    with pytest.raises(InputError, match=f"has no bars {loop[0]}-{loop[1]}"):
        record(dance(), SoundOrder(loop=loop), SoundChoice())


def test_a_count_in_is_a_bar_and_what_an_upbeat_lacks() -> None:
    upbeat = arranged("d|e2c2|", HEAD.replace("4/4", "3/4").replace("=60", "=120"))
    recording = record(upbeat, SoundOrder(has_count_in=True), SoundChoice())
    assert [one.time_s for one in recording.course.count_in] == [0.0, 0.5, 1.0, 1.5, 2.0]
    assert [one.is_first for one in recording.course.count_in] == [True, False, False, True, False]
    assert recording.course.start_s == pytest.approx(2.5)
    before = np.zeros(RATE)
    samples = np.concatenate([before, *recording.samples()]) / 32768
    found = [one - 1.0 for one in onsets_s(samples)]
    for beat_s in (0.0, 0.5, 1.0, 1.5, 2.0, 2.5):
        assert min(abs(one - beat_s) for one in found) < 0.020


def test_uneven_beats_keep_the_bar_and_move_what_is_in_it() -> None:
    beats = (("polska", (0.9, 1.15, 0.95)), ("vals", (1.0, 1.0, 1.0)))
    order = SoundOrder(parts=("melody", "click"))
    recording = record(dance(), order, SoundChoice(beats=beats))
    beat_s = 60 / 110
    clicks = [one.time_s / beat_s for one in recording.course.clicks[:4]]
    assert clicks == pytest.approx([0.0, 0.9, 2.05, 3.0])
    assert recording.course.end_s == pytest.approx(24 * beat_s)
    assert beats_of("Polska från Myra", beats) == (0.9, 1.15, 0.95)
    assert beats_of("schottis", beats) == ()


def test_an_upbeat_is_the_end_of_an_uneven_bar() -> None:
    text = "X:1\nT:Upp\nR:polska\nM:3/4\nL:1/4\nQ:1/4=60\nK:C\nd|efg|ag|]\n"
    (tune,) = read_abc(text, "upp.abc")
    choice = SoundChoice(beats=(("polska", (0.8, 1.3, 0.9)),))
    order = SoundOrder(parts=("melody", "click"))
    course = record(arrange(tune, HARPA, HAND), order, choice).course
    lengths = np.diff([*(one.time_s for one in course.clicks), course.end_s])
    assert lengths == pytest.approx([0.9, 0.8, 1.3, 0.9, 0.8, 1.3])


def test_grace_notes_take_their_time_as_it_is_said() -> None:
    arrangement = arranged("D2{E}F2|")
    on, before = (
        played(arrangement, "melody", grace_notes=place)
        for place in ("on the beat", "before the beat")
    )
    half, short = Fraction(1, 2), Fraction(1, 32)
    assert [(one.midi, one.onset) for one in on] == [(62, 0), (64, half), (65, half + short)]
    assert [(one.midi, one.onset) for one in before] == [(62, 0), (64, half - short), (65, half)]
    assert before[0].end == before[1].onset
    assert on[-1].end == before[-1].end == 1


@pytest.mark.parametrize("music", ["{E}F4|", "z{E}F3|", "D//4{E}F3|"])
def test_grace_notes_before_the_beat_need_room_there(music: str) -> None:
    strokes = played(arranged(music), "melody", grace_notes="before the beat")
    onsets = [one.onset for one in strokes]
    assert min(onsets) >= 0 and onsets == sorted(onsets)
    assert all(one.duration > 0 for one in strokes)
    last = strokes[-1]
    assert last.onset == strokes[-2].end


def test_ornaments_are_played_in_the_key_and_end_on_the_note() -> None:
    trill = played(arranged("!trill!E4|", HEAD.replace("K:C", "K:D")), "melody")
    assert {one.midi for one in trill} == {64, 66}
    assert trill[0].midi == trill[-1].midi == 64
    assert 8 < len(trill) < 60
    assert sum(one.duration for one in trill) == 1
    assert all(one.is_slurred for one in trill[1:])
    mordent = played(arranged("!mordent!E4|"), "melody")
    assert [one.midi for one in mordent] == [64, 62, 64]
    assert mordent[-1].end == 1


def test_a_long_trill_goes_on_to_its_end() -> None:
    strokes = played(arranged("!trill(!E2!trill)!F|G|", HEAD.replace("4/4", "3/4")), "melody")
    by_note = [{one.midi for one in strokes if start <= one.onset < start + length}
               for start, length in ((0, Fraction(1, 2)), (Fraction(1, 2), Fraction(1, 4)),
                                     (Fraction(3, 4), 1))]  # fmt: skip
    assert by_note == [{64, 65}, {65, 67}, {67}]


def test_a_free_metre_has_no_beats_to_click() -> None:
    free = arranged("D E2 F|]", HEAD.replace("4/4", "none"))
    order = SoundOrder(parts=("melody", "click"), has_count_in=True)
    course = record(free, order, SoundChoice()).course
    assert (course.clicks, course.count_in, course.start_s) == ((), (), 0.0)
    assert course.end_s == pytest.approx(4.0)


def test_a_slur_is_one_bow_and_a_dot_shortens() -> None:
    strokes = played(arranged("(DE)F.G|"), "melody")
    assert [one.is_slurred for one in strokes] == [False, True, False, False]
    assert [one.goes_on for one in strokes] == [True, False, False, False]
    assert [one.duration for one in strokes] == [Fraction(1, 4)] * 3 + [Fraction(1, 8)]


@pytest.mark.parametrize(
    ("music", "slurred"),
    [
        ("(DEFG|AB", [0, 0, 0, 0, 0, 0]),  # without an end it is not printed
        ("DE)F(GA)|", [0, 0, 0, 0, 1]),
        ("(D(EF)G)|", [0, 1, 1, 1]),
        ("(DE(F)G)|", [0, 1, 1, 1]),
        ("(Dz)F|", [0, 0]),
        ("(D{E}F)G|", [0, 1, 1, 0]),
        ("{E}FG|", [0, 1, 0]),
        ("|:(DE:|FG)|]", [0, 1, 0, 1, 1, 1]),
    ],
)
def test_slurs_are_those_of_the_page(music: str, slurred: list[int]) -> None:
    strokes = played(arranged(music), "melody")
    assert [int(one.is_slurred) for one in strokes] == slurred
    for one, after in itertools.pairwise(strokes):
        assert one.goes_on == after.is_slurred


def test_dynamics_hold_and_an_accent_is_for_one_note() -> None:
    strokes = played(arranged("!p!D!accent!EF!f!G|"), "melody")
    levels = [one.level_db for one in strokes]
    assert levels[0] == levels[2] < levels[1] < levels[3]


def test_a_wedge_goes_from_one_loudness_to_the_next() -> None:
    strokes = played(arranged("!crescendo(!DEF!crescendo)!G|!>(!ABc!>)!d|!p!D4|"), "melody")
    levels = [one.level_db for one in strokes]
    assert levels[:4] == sorted(set(levels[:4]))
    assert levels[4] > levels[3] and levels[4:8] == sorted(set(levels[4:8]), reverse=True)
    assert levels[8] == -6.0
    twice = played(arranged("|:D!crescendo(!EF!crescendo)!G:|"), "melody")
    assert [one.level_db for one in twice[:4]] == [one.level_db for one in twice[4:]]
    # One without an end changes nothing.
    assert {one.level_db for one in played(arranged("!<(!DEFG|"), "melody")} == {0.0}


def test_the_drone_is_that_of_the_page_or_the_one_asked_for() -> None:
    arrangement = dance(drones="open")
    spans = {span.stop.midi for span in arrangement.drone}
    strokes = played(arrangement, "drone")
    assert spans and {one.midi for one in strokes} == spans
    other = played(arrangement, "drone", drone=64)
    assert {one.midi for one in other} == {64}
    assert sum(one.duration for one in other) == 6
    # It is the melody's own bow that turns on the drone's string.
    turns = {one.onset for one in played(arrangement, "melody")}
    assert {one.onset for one in other[1:]} <= turns
    assert all(one.is_renewed for one in other[1:])


def test_double_stops_of_the_page_sound_with_the_drones() -> None:
    tune = read_abc((SAMPLES / "valser.abc").read_text(encoding="utf-8"), "valser.abc")[0]
    arrangement = arrange(tune, HARPA, HAND, drones="none", accents="melody")
    assert arrangement.accents
    strokes = played(replace(arrangement, tune=replace(tune, played=_as_written(tune))), "drone")
    for one in arrangement.beside:
        assert any(s.midi == one.stop.midi and s.onset <= one.onset < s.end for s in strokes)


def test_bass_and_chords_are_the_printed_accompaniment() -> None:
    arrangement = dance(accompaniment=True, chords="all")
    found = dict(strokes_of(arrangement, ("bass", "chords")))
    printed = {
        (number, pitch.midi)
        for number, one in enumerate(arrangement.accompaniment)
        for pitch in one.note.pitches
    }
    assert len(found["bass"]) + len(found["chords"]) > len(printed)
    # A polska's bass is a half note, its pair the third quarter.
    assert {one.duration for one in found["bass"]} == {Fraction(1, 2)}
    assert {(one.onset % Fraction(3, 4)) for one in found["chords"]} == {Fraction(1, 2)}


def test_what_is_too_long_or_silent_is_said() -> None:
    with pytest.raises(InputError, match=r"would play for .* minutes; left out; play a passage"):
        record(dance(), SoundOrder(speed=0.2), SoundChoice(most_minutes=1.0))


def test_the_second_voice_is_played_beside_the_first() -> None:
    arrangement, other = arranged("A4|"), arranged("F2E2|")
    voice = Voice(place=other.tune.place, id="2", bars=other.tune.bars)
    fiddle = replace(other, instrument=read_instrument("fiddle"))
    both = replace(arrangement, voices=(VoiceArrangement(voice, fiddle),))
    order = SoundOrder(parts=("melody", "second"), loop=(1, 1), times=2)
    parts = record(both, order, SoundChoice()).parts
    assert [(one.name, one.instrument.name) for one in parts] == [
        ("melody", "nyckelharpa-3row"),
        ("second", "fiddle"),
    ]
    assert [round(tone.hz) for tone in parts[1].tones] == [349, 330] * 2
    samples = heard(both, order)
    assert power_at(samples[RATE : 2 * RATE], hz_of(65)) > -60.0
    assert power_at(samples[RATE : 2 * RATE], hz_of(69)) > -60.0
    with pytest.raises(InputError, match=r"has nothing to play \(second\)"):
        record(arrangement, SoundOrder(parts=("second",)), SoundChoice())
