"""Properties of the writers on generated tunes: ABC made by chance, read, written, read again."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import mido
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tunebook.errors import InputError
from tunebook.model.tune import Tune
from tunebook.pipeline.fingered_abc import fingered_file, is_same
from tunebook.pipeline.load import Wishes, prepare, read_tunes_in
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.folder import AbcFile
from tunebook.write.abc import write_fingers, write_fingers_in_bytes
from tunebook.write.json import arrangements_as_json
from tunebook.write.midi import tune_as_midi
from tunebook.write.musicxml.score import tune_as_musicxml
from tunebook.write.tones import melody_tones

# A fixture is only a function here, so it may serve many examples.
SETTINGS = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

LENGTHS = st.sampled_from(["", "", "", "2", "3", "4", "/", "/2", "3/2", "//", "5", "7/4"])
SIGNS = st.sampled_from(["", "", "", "", "^", "_", "=", "^^"])
PITCHES = st.sampled_from(["G,", "A,", "B,", *"CDEFGABcdefgab", "c'", "d'"])
DECORATIONS = st.sampled_from(
    ["", "", "", "", ".", "~", "u", "v", "T", "!trill!", "!fermata!", '"Dm"', '"^up"', "!3!", "!0!",
     '"_a!b"', "H", "!>!", "+accent+", "{ef}", "{/g}", "{!2!a}"]
)  # fmt: skip


@st.composite
def notes(draw):
    head = draw(SIGNS) + draw(PITCHES)
    if draw(st.integers(0, 9)) == 0:
        pin = draw(st.sampled_from(["", "", "!1!", "."]))
        second = draw(st.sampled_from(["d", "e", "^f", "a", "!4!b"]))
        head = f"[{pin}{head}{draw(st.sampled_from(['', '2', '-']))}{second}]"
    elif draw(st.integers(0, 9)) == 0:
        head = draw(st.sampled_from("zx"))
    return draw(DECORATIONS) + head + draw(LENGTHS)


JOINS = st.sampled_from(["", "", "", " ", " ", ">", " < ", "-", "- ", ")", " (", "`", "y "])


@st.composite
def groups(draw):
    kind = draw(st.sampled_from(["plain", "plain", "plain", "triplet", "slur"]))
    count = 3 if kind == "triplet" else draw(st.integers(1, 5))
    text = ""
    for _ in range(count):
        text += draw(notes()) + (draw(JOINS) if kind == "plain" else "")
    return {"plain": text, "triplet": f"(3{text}", "slur": f"({text})"}[kind]


REMARK = re.compile(
    r'\[r:solved [^\]]* after [^\]]*\]|\[r:solved [^\]]*\]"[^"]*"'
    r"|\[r:(?:drone|string|trill) [^\]]*\]|![0-5]!"
)
"""What is written into a text."""

BARS = st.sampled_from(
    [" | ", "|", " || ", " :| ", " |: ", " :: ", "|1 ", " :|2 ", " |\n", " |\\\n", " | % so D!\n",
     "|[K:G]", "|\nP:B\n", " |[M:2/4] ", "|\nw: la la- la * la\n", "|\ns: !2! * !trill!\n", " !| ",
     "|]\n", "$|", "|[r:string A] ", " & DEF |"]
)  # fmt: skip
HEADS = st.sampled_from(
    ["K:D", "K:Gm", "U:h=!1!\nK:Ador", "M:6/8\nK:A", "Q:1/4=90\nK:none", "K:HP"]
)


@st.composite
def tune_texts(draw):
    music = "".join(draw(groups()) + draw(BARS) for _ in range(draw(st.integers(1, 6))))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    text = f"X:1\nT:Made by chance\nM:3/4\nL:1/8\n{draw(HEADS)}\n{music}D2 |]\n"
    return text.replace("\n", end)


def read(text: str) -> list[Tune]:
    try:
        return read_abc(text.replace("\r\n", "\n").replace("\r", "\n"))
    except InputError:
        return []


def music(tune: Tune):
    """All of a tune but places, pins and chord symbols."""
    bars = []
    for bar in tune.bars:
        kept = tuple(
            replace(
                note,
                place=tune.place,
                end_column=0,
                finger_pins=(),
                chord=None,
                annotations=tuple(replace(a, place=tune.place) for a in note.annotations),
            )
            for note in bar.notes
        )
        words = tuple(replace(a, place=tune.place) for a in bar.annotations)
        bars.append(replace(bar, place=tune.place, notes=kept, annotations=words))
    return bars, tune.played, tune.key, tune.meter, tune.fields


@SETTINGS
@given(text=tune_texts())
def test_fingered_tune_reads_back_the_same_with_its_fingers(arranged, text):
    for tune in read(text):
        arrangement = arranged(tune)
        result = write_fingers(text, [arrangement])
        (again,) = read(result.text)
        assert music(again) == music(tune)
        if result.messages:
            continue
        for one in arrangement.notes:
            note = again.bars[one.bar_index].notes[one.note_index]
            for tone, stop in enumerate(one.stops):
                own = one.note.finger_pins[tone] if tone < len(one.note.finger_pins) else None
                if not one.note.is_tied_from_before[tone] or own is not None:
                    assert note.finger_pins[tone] == (stop.finger if own is None else own)


@SETTINGS
@given(text=tune_texts())
def test_fingered_text_without_fingers_is_the_text(arranged, text):
    for tune in read(text):
        written = write_fingers(text, [arranged(tune)]).text
        finger = re.compile(r"![0-5]!")
        assert finger.sub("", written) == finger.sub("", text)


@SETTINGS
@given(text=tune_texts())
def test_fingering_twice_changes_nothing_more(arranged, text):
    for tune in read(text):
        once = write_fingers(text, [arranged(tune)]).text
        (again,) = read(once)
        assert write_fingers(once, [arranged(again)]).text == once


SETUP = prepare(Path(__file__).parents[2] / "sample_tunes", Wishes(edition="student-2"))


@settings(SETTINGS, max_examples=40)
@given(text=tune_texts(), drones=st.sampled_from(["open", "held", "substitution"]))
def test_fingered_text_leads_back_to_the_same_arrangement(text, drones):
    setup = replace(SETUP, edition=replace(SETUP.edition, drones=drones, chords="all"))
    data = text.encode()
    for tune in read_tunes_in(AbcFile("made.abc", data), setup):
        arrangement = arrange_tune(tune, setup).arrangement
        written, messages = fingered_file(data, [arrangement], setup)
        (again,) = read_tunes_in(AbcFile("made.abc", written), setup)
        answer = arrange_tune(again, setup).arrangement
        assert is_same(arrangement, answer) or messages
        assert fingered_file(written, [answer], setup)[0] == written or messages
        assert REMARK.sub("", written.decode()) == REMARK.sub("", text)


@SETTINGS
@given(data=st.binary(max_size=300))
def test_bytes_without_arrangements_stay(data):
    assert write_fingers_in_bytes(data, [])[0] == data


@SETTINGS
@given(text=tune_texts())
def test_midi_has_every_tone_at_its_time(arranged, text):
    for tune in read(text):
        file = mido.MidiFile(file=io.BytesIO(tune_as_midi(tune)))
        starts, now = [], 0
        for message in file.tracks[1]:
            now += message.time
            if message.type == "note_on":
                starts.append((Fraction(now, 4 * file.ticks_per_beat), message.note))
        assert sorted(starts) == sorted((tone.onset, tone.midi) for tone in melody_tones(tune))


@SETTINGS
@given(text=tune_texts())
def test_json_sums_up_to_the_length_of_the_melody(arranged, text):
    for tune in read(text):
        arrangement = arranged(tune)
        document = json.loads(arrangements_as_json([arrangement], arrangement.instrument))
        written = document["tunes"][0]["notes"]
        total = sum(Fraction(note["duration"]) for note in written if not note["grace"])
        sounding = [note.note for note in arrangement.notes if not note.note.is_grace]
        assert total == sum(note.duration for note in sounding)


@SETTINGS
@given(text=tune_texts())
def test_musicxml_measures_are_as_long_as_the_bars(arranged, text):
    for tune in read(text):
        score = ElementTree.fromstring(tune_as_musicxml(arranged(tune)))
        divisions = int(score.findtext(".//divisions"))
        measures = score.findall("part[@id='P1']/measure")
        for measure, bar in zip(measures, tune.bars, strict=True):
            lengths = [
                int(note.findtext("duration", "0"))
                for note in measure.findall("note")
                if note.find("chord") is None
            ]
            assert Fraction(sum(lengths), 4 * divisions) == bar.duration
