"""A tune as a MIDI file: played order, ties, exact ticks, tracks."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction

import mido
import pytest

from tunebook.errors import SettingError
from tunebook.model.arrangement import ChordSpan, DroneSpan, Stop
from tunebook.model.tune import Key, Meter, Tempo
from tunebook.write.file_names import tune_file_names
from tunebook.write.midi import MOST_TICKS, tune_as_midi


def read(data):
    return mido.MidiFile(file=io.BytesIO(data), charset="utf-8")


def tones(data, track=1):
    """(MIDI number, onset, duration) in whole notes of the notes on a track, in order."""
    file = read(data)
    sounding, found, now = {}, [], 0
    for message in file.tracks[track]:
        now += message.time
        if message.type == "note_on" and message.velocity:
            assert message.note not in sounding, "struck while it sounds"
            sounding[message.note] = now
        elif message.type in ("note_off", "note_on"):
            start = sounding.pop(message.note)
            whole = 4 * file.ticks_per_beat
            found.append((message.note, Fraction(start, whole), Fraction(now - start, whole)))
    assert not sounding
    return sorted(found, key=lambda tone: tone[1:2] + tone[:1])


def metas(data, kind):
    now, found = 0, []
    for message in read(data).tracks[0]:
        now += message.time
        if message.type == kind:
            found.append((now, message))
    return found


def F(text):  # noqa: N802 - reads like the number it stands for
    return Fraction(text)


def test_notes_come_with_their_onsets_and_durations(make_tune):
    data = tune_as_midi(make_tune("D4/4 z/4 F#4/4"))
    assert tones(data) == [(62, F("0"), F("1/4")), (66, F("1/2"), F("1/4"))]


def test_played_order_is_followed(make_tune):
    tune = make_tune("D4*3/4", "E4*3/4", "F#4*3/4", played=(0, 1, 0, 2))
    assert [tone[:2] for tone in tones(tune_as_midi(tune))] == [
        (62, F("0")), (64, F("3/4")), (62, F("3/2")), (66, F("9/4")),
    ]  # fmt: skip


def test_tie_over_a_bar_line_sounds_once(make_tune):
    data = tune_as_midi(make_tune("D4*3/4-", "D4/4- D4/4 E4/4"))
    assert tones(data) == [(62, F("0"), F("5/4")), (64, F("5/4"), F("1/4"))]


def test_tie_into_each_ending_sounds_once_each_time(make_tune):
    tune = make_tune("D4*3/4-", "D4*3/4", "D4/4 E4/2", played=(0, 1, 0, 2))
    assert tones(tune_as_midi(tune)) == [
        (62, F("0"), F("3/2")), (62, F("3/2"), F("1")), (64, F("5/2"), F("1/2")),
    ]  # fmt: skip


def test_tie_to_another_tone_changes_nothing(make_tune):
    data = tune_as_midi(make_tune("D4/4- E4/4- E4/4"))
    assert tones(data) == [(62, F("0"), F("1/4")), (64, F("1/4"), F("1/2"))]


def test_one_tied_tone_of_a_double_stop_goes_on(make_tune):
    data = tune_as_midi(make_tune("A3+E4/4- A3+F#4/2"))
    assert tones(data) == [(57, F("0"), F("3/4")), (64, F("0"), F("1/4")), (66, F("1/4"), F("1/2"))]


def test_unison_on_two_strings_is_one_tone(make_tune):
    assert tones(tune_as_midi(make_tune("A4+A4/2"))) == [(69, F("0"), F("1/2"))]


def test_repeated_tone_is_struck_again(make_tune):
    assert len(tones(tune_as_midi(make_tune("D4/4 D4/4 D4/4")))) == 3


def test_grace_notes_are_out_unless_asked_for(make_tune):
    tune = make_tune("(E4)/16 (F#4)/16 D4/2")
    assert tones(tune_as_midi(tune)) == [(62, F("0"), F("1/2"))]
    assert tones(tune_as_midi(tune, with_grace_notes=True)) == [
        (64, F("0"), F("1/32")), (66, F("1/32"), F("1/32")), (62, F("1/16"), F("7/16")),
    ]  # fmt: skip


def test_grace_notes_take_at_most_half_of_their_note(make_tune):
    tune = make_tune("(E4)/8 (F#4)/8 (G4)/8 D4/16")
    heard = tones(tune_as_midi(tune, with_grace_notes=True))
    assert heard[-1] == (62, F("1/32"), F("1/32"))
    assert heard[0] == (64, F("0"), F("1/96"))


def test_grace_note_at_the_end_of_a_bar_leans_on_the_next(make_tune):
    tune = make_tune("D4*3/4 (E4)/16", "F#4*3/4")
    heard = tones(tune_as_midi(tune, with_grace_notes=True))
    assert heard[1:] == [(64, F("3/4"), F("1/32")), (66, F("25/32"), F("23/32"))]


@pytest.mark.parametrize("parts_of_a_quarter", [3, 5, 6, 7, 9, 11, 13])
def test_tuplets_have_exact_ticks(make_tune, parts_of_a_quarter):
    length = Fraction(1, 4 * parts_of_a_quarter)
    tune = make_tune(" ".join([f"D4*{length}"] * parts_of_a_quarter))
    onsets = [onset for _, onset, _ in tones(tune_as_midi(tune))]
    assert onsets == [length * place for place in range(parts_of_a_quarter)]


def test_lengths_without_common_tick_are_rounded_without_drift(make_tune):
    lengths = [f"D4*1/{4 * prime}" for prime in (7, 11, 13, 17, 19)]
    tune = make_tune(" ".join([*lengths, "E4/4"]))
    file = read(tune_as_midi(tune))
    exact = sum((Fraction(1, 4 * prime) for prime in (7, 11, 13, 17, 19)), Fraction(0))
    onset = tones(tune_as_midi(tune))[-1][1]
    assert file.ticks_per_beat <= MOST_TICKS
    assert abs(onset - exact) <= Fraction(1, 8 * file.ticks_per_beat)


def test_tempo_of_the_tune_is_written(make_tune):
    tune = make_tune("D4/4", tempo=Tempo(Fraction(3, 8), 100.0))
    assert [m.tempo for _, m in metas(tune_as_midi(tune), "set_tempo")] == [400_000]


def test_tempo_of_the_arrangement_comes_first(make_tune, arranged):
    arrangement = arranged(make_tune("D4/4"), whole_notes_per_second=0.25)
    assert [m.tempo for _, m in metas(tune_as_midi(arrangement), "set_tempo")] == [1_000_000]


def test_change_of_tempo_goes_back_with_the_repeat(make_tune, arranged):
    tune = make_tune("D4*3/4", "E4*3/4", played=(0, 1, 0, 1))
    slower = replace(tune.bars[1], tempo=Tempo(Fraction(1, 4), 60.0))
    tune = replace(tune, bars=(tune.bars[0], slower))
    arrangement = arranged(tune, whole_notes_per_second=1.0)  # twice the tune's own 120
    data = tune_as_midi(arrangement)
    bar = 3 * read(data).ticks_per_beat
    assert [(tick, m.tempo) for tick, m in metas(data, "set_tempo")] == [
        (0, 250_000), (bar, 500_000), (2 * bar, 250_000), (3 * bar, 500_000),
    ]  # fmt: skip


def test_metre_and_key_are_written_once_and_where_they_change(make_tune):
    tune = make_tune("D4*3/4", "D4*3/4", "E4/2")
    last = replace(
        tune.bars[2],
        meter=Meter(2, 4, "2/4"),
        key=Key(4, 0, "dorian", -1, (0, 0, 0, 0, 0, 0, -1)),
    )
    data = tune_as_midi(replace(tune, bars=(*tune.bars[:2], last)))
    metres = [(m.numerator, m.denominator) for _, m in metas(data, "time_signature")]
    assert metres == [(3, 4), (2, 4)]
    assert [m.key for _, m in metas(data, "key_signature")] == ["D", "Dm"]


def test_free_metre_writes_no_time_signature(make_tune):
    data = tune_as_midi(make_tune("D4/4", meter=Meter(0, 4, "")))
    assert metas(data, "time_signature") == []


@pytest.fixture
def accompanied(make_tune, arranged, make_chord):
    tune = make_tune("D4*3/4", "E4*3/4", played=(0, 1, 0, 1))
    bar = Fraction(3, 4)
    return arranged(
        tune,
        drone=(
            DroneSpan(Fraction(0), bar, Stop(57, 2, 2, 1)),
            DroneSpan(bar, bar / 3, Stop(57, 2, 2, 2), is_taken_over=True),
        ),
        chords=(
            ChordSpan(0, Fraction(0), bar + bar / 3, make_chord("D")),
            ChordSpan(1, bar + bar / 3, bar * 2 / 3, make_chord("A7"), "solved",
                      shape=(Stop(57, 2, 2, 1), Stop(64, 3, 2, 2))),
        ),
    )  # fmt: skip


def test_parts_are_tracks_of_their_own_in_a_fixed_order(accompanied):
    file = read(tune_as_midi(accompanied, parts=("chords", "melody", "drone")))
    assert file.type == 1
    assert [track.name for track in file.tracks] == ["Made by hand", "melody", "drone", "chords"]
    channels = [{m.channel for m in track if not m.is_meta} for track in file.tracks]
    assert channels == [set(), {0}, {1}, {2}]


def test_drone_taken_over_by_another_finger_is_struck_once(accompanied):
    data = tune_as_midi(accompanied, parts=("drone",))
    assert tones(data) == [(57, F("0"), F("1")), (57, F("3/2"), F("1"))]


def test_drone_goes_on_through_a_repeat(make_tune, arranged):
    tune = make_tune("D4*3/4", played=(0, 0))
    drone = DroneSpan(Fraction(0), Fraction(3, 4), Stop(57, 2, 2, 1))
    data = tune_as_midi(arranged(tune, drone=(drone,)), parts=("drone",))
    assert tones(data) == [(57, F("0"), F("3/2"))]


def test_other_drone_can_be_tried(accompanied):
    data = tune_as_midi(accompanied, parts=("drone",), drone_override=50)
    assert tones(data) == [(50, F("0"), F("3"))]


def test_chords_sound_their_shape_or_a_triad(accompanied):
    data = tune_as_midi(accompanied, parts=("chords",))
    first_time = [tone for tone in tones(data) if tone[1] < F("3/2")]
    assert first_time == [
        (50, F("0"), F("1")), (54, F("0"), F("1")), (57, F("0"), F("1")),
        (57, F("1"), F("1/2")), (64, F("1"), F("1/2")),
    ]  # fmt: skip


def test_unknown_part_is_refused_by_name(accompanied):
    with pytest.raises(SettingError, match="unknown part 'bass'; choose from melody, drone"):
        tune_as_midi(accompanied, parts=("bass",))


def test_drone_beyond_midi_is_refused(accompanied):
    with pytest.raises(SettingError, match="MIDI number 128"):
        tune_as_midi(accompanied, parts=("drone",), drone_override=128)


def test_title_in_any_script_is_kept_and_control_characters_are_not(make_tune):
    data = tune_as_midi(make_tune("D4/4", titles=("Näckens\x00 ポルスカ\n",)))
    assert read(data).tracks[0].name == "Näckens ポルスカ"


def test_same_tune_gives_the_same_bytes(accompanied):
    assert tune_as_midi(accompanied) == tune_as_midi(accompanied)


def test_file_name_is_stem_and_number(make_tune):
    assert tune_file_names([make_tune("D4/4")], "mid") == ("made-7.mid",)


def test_file_name_without_number_has_the_line(make_tune):
    tune = make_tune("D4/4", number="", first_line=12)
    assert tune_file_names([tune], "mid") == ("made-12.mid",)


def test_equal_file_names_are_told_apart(make_tune):
    first = make_tune("D4/4")
    second = replace(first, place=replace(first.place, path="other/Made.abc"))
    assert tune_file_names([first, second, first], "xml") == (
        "made-7.xml", "Made-7-2.xml", "made-7-3.xml",
    )  # fmt: skip


@pytest.mark.parametrize("number", ["../../etc/x", "a\\b", "1\n2", "a:b*?", "\x00"])
def test_file_name_never_leaves_its_folder(make_tune, number):
    (name,) = tune_file_names([make_tune("D4/4", number=number)], "mid")
    assert not set(name) & set('/\\:*?\n\x00"<>|')
