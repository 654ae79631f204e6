"""Source: names and values of quarter-tone accidentals in MusicXML 4.0 (accidental-value, alter in
semitones), LilyPond's english note names (Notation Reference, "Note names in other languages"), the
pitch wheel of General MIDI level 1 (8192 steps for two semitones)."""

from __future__ import annotations

import io
import json
from importlib import resources
from xml.etree import ElementTree

import jsonschema
import mido
import pytest

from tunebook.engrave.engrave import engrave
from tunebook.model.book import Edition, HandChoice
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.transpose import transpose_tune
from tunebook.write.abc import write_fingers
from tunebook.write.json import arrangements_as_json
from tunebook.write.lilypond.source import write_source
from tunebook.write.midi import tune_as_midi
from tunebook.write.musicxml.score import tune_as_musicxml

HEAD = "X:1\nT:t\nM:4/4\nL:1/4\nQ:1/4=100\n"
MUSIC = "^/c _/B ^3/2f _3/e|c B f e|[^/c_/g]2-[^/c_/g]2|]"


def read(music: str, key: str = "C") -> Tune:
    return read_abc(f"{HEAD}K:{key}\n{music}\n")[0]


def arranged(tune: Tune):
    harpa = read_instrument("nyckelharpa-3row", "CGDA")
    return arrange(tune, harpa, read_hand(HandChoice()), drones="none", chords="none")


def alterations(tune: Tune, bar: int = 0) -> list[float]:
    return [pitch.alteration for note in tune.bars[bar].notes for pitch in note.pitches]


@pytest.mark.parametrize(
    ("sign", "semitones"),
    [
        ("^/", 0.5), ("_/", -0.5), ("^1/2", 0.5), ("^3/2", 1.5), ("_3/2", -1.5), ("_3/", -1.5),
        ("^2/2", 1), ("^/2", 0.5), ("^", 1), ("__", -2), ("^99/1", 2), ("^/0", 1),
    ],
)  # fmt: skip
def test_fraction_after_a_sign_is_one_of_a_semitone(sign: str, semitones: float) -> None:
    tune = read(f"{sign}c2 d2|")
    assert alterations(tune) == [semitones, 0]
    assert not tune.messages
    assert tune.bars[0].duration == 1


def test_quarter_tone_holds_to_the_end_of_its_bar_and_is_tied_over_it() -> None:
    tune = read("^/c c =c ^/c-|c c d2|")
    assert alterations(tune) == [0.5, 0.5, 0, 0.5]
    assert alterations(tune, 1) == [0.5, 0, 0]
    assert tune.bars[0].notes[3].ties == (True,)


def test_key_is_the_one_between_the_tone_and_its_natural() -> None:
    pitches = [note.pitches[0] for note in read(MUSIC).bars[0].notes]
    assert [(pitch.midi, pitch.cents, pitch.name) for pitch in pitches] == [
        (72, 50, "C5"),
        (71, -50, "B4"),
        (78, 50, "F#5"),
        (75, -50, "Eb5"),
    ]


def test_transposition_keeps_quarter_tones() -> None:
    moved = transpose_tune(read(MUSIC), 2)
    for before, after in zip(read(MUSIC).bars, moved.bars, strict=True):
        for one, other in zip(before.notes, after.notes, strict=True):
            for low, high in zip(one.pitches, other.pitches, strict=True):
                assert (high.midi - low.midi, high.cents) == (2, low.cents)


def test_page_has_the_signs_of_the_engraver_arrows_and_one_message(tmp_path) -> None:
    answer = arranged(read(MUSIC))
    piece = write_source(answer, Edition("all", fingers="all"), line_width_pt=400)
    text = " ".join(piece.score.text().split())
    for head in ("cqs''!4", "bqf'!4", "ftqs''!4", "etqf''!4", "c''?4"):
        assert head in text
    assert text.count("\\quarterUp") == 3 and text.count("\\quarterDown") == 3
    messages = [message for message in answer.messages if message.kind == "quarter-tone"]
    assert len(messages) == 1 and "6 quarter-tones" not in messages[0].what
    assert "8 quarter-tones" in messages[0].what
    _, failures = engrave({"quarters": piece}, work_folder=tmp_path)
    assert failures == []


def test_tune_without_quarter_tones_has_no_word_of_them() -> None:
    answer = arranged(read("c ^c _B c|"))
    assert not [message for message in answer.messages if message.kind == "quarter-tone"]
    assert '"cents":' not in arrangements_as_json([answer], answer.instrument)


def test_json_has_the_key_and_the_cents_above_it() -> None:
    answer = arranged(read(MUSIC))
    document = json.loads(arrangements_as_json([answer], answer.instrument))
    schema = resources.files("tunebook") / "data" / "arrangement.schema.json"
    jsonschema.validate(document, json.loads(schema.read_text(encoding="utf-8")))
    stops = [note["stops"][0] for note in document["tunes"][0]["notes"][:5]]
    assert [(stop["midi"], stop.get("cents", 0)) for stop in stops] == [
        (72, 50), (71, -50), (78, 50), (75, -50), (72, 0),
    ]  # fmt: skip


def test_musicxml_has_alter_and_accidental() -> None:
    score = ElementTree.fromstring(tune_as_musicxml(arranged(read(MUSIC))))
    notes = score.findall("part[1]/measure[1]/note")
    assert [note.findtext("pitch/alter") for note in notes] == ["0.5", "-0.5", "1.5", "-1.5"]
    assert [note.findtext("accidental") for note in notes] == [
        "quarter-sharp",
        "quarter-flat",
        "three-quarters-sharp",
        "three-quarters-flat",
    ]


def notes_of(data: bytes) -> list[tuple[int, int]]:
    """(key, bend of its channel) of every note struck."""
    bends: dict[int, int] = {}
    struck = []
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[1]:
        if message.type == "pitchwheel":
            bends[message.channel] = message.pitch
        elif message.type == "note_on":
            struck.append((message.note, bends.get(message.channel, 0)))
    return struck


def test_midi_bends_quarter_tones_where_asked() -> None:
    answer = arranged(read(MUSIC))
    plain = notes_of(tune_as_midi(answer))
    bent = notes_of(tune_as_midi(answer, quarter_tones=True))
    assert plain[:5] == [(72, 0), (71, 0), (78, 0), (75, 0), (72, 0)]
    assert bent[:5] == [(72, 2048), (71, -2048), (78, 2048), (75, -2048), (72, 0)]
    assert sorted(bent[8:]) == [(72, 2048), (79, -2048)]


def test_fingers_are_written_before_the_sign_of_a_quarter_tone() -> None:
    text = write_fingers(f"{HEAD}K:C\n{MUSIC}\n", [arranged(read(MUSIC))]).text
    again = read_abc(text)[0]
    assert [n.pitches for b in again.bars for n in b.notes] == [
        n.pitches for b in read(MUSIC).bars for n in b.notes
    ]
    assert "!^/c" in text
