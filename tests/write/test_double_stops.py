"""Double stops that are proposed for notes, in everything that is written of an arrangement."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from fractions import Fraction
from importlib import resources
from xml.etree import ElementTree

import jsonschema
import mido
import pytest

from tunebook.model.arrangement import Accent, DroneSpan, Stop
from tunebook.model.book import Edition
from tunebook.write.json import arrangements_as_json
from tunebook.write.lilypond.source import write_source
from tunebook.write.midi import tune_as_midi
from tunebook.write.musicxml.score import tune_as_musicxml

SMALL = "\\tweak Accidental.font-size #-4 \\tweak font-size #-4 d' d''"


@pytest.fixture
def made(make_tune, arranged):
    """D4 under D5, which is tied over the bar line."""
    tune = make_tune("E4/4 D5*2/4-", "D5/4 E4*2/4")
    span = DroneSpan(Fraction(1, 4), Fraction(3, 4), Stop(62, 3, 0, 0))
    return replace(arranged(tune), accents=(Accent(0, 1, span, 12),))


def score(made, **changes):
    edition = Edition("all", **{"fingers": "all", **changes})
    source = write_source(made, edition, line_width_pt=480, with_opening=True).text
    return " ".join(source[source.index("\\score") :].split())


def test_a_small_head_stands_below_the_note_and_all_that_is_tied_to_it(made):
    text = score(made, accents="melody")
    assert text.count(SMALL) == 2
    assert text.count("\\fingerBelow 0") == 1
    tune, opening = text.split("\\book {")
    assert SMALL in tune and SMALL not in opening and "DroneStaff" not in text


def test_with_the_drones_it_is_a_drone(made):
    text = score(made, accents="drone")
    assert SMALL not in text and "DroneStaff" in text and "d'2 -0 \\-" in text
    line = score(made, accents="drone", drone_style="line", drones="none")
    assert '\\droneText "D" ""' in line


def test_an_edition_without_them_prints_none_and_no_fingers_where_it_has_none(made):
    assert "tweak" not in score(made) and "DroneStaff" not in score(made)
    assert "fingerBelow" not in score(made, accents="melody", fingers="none")


def test_json_has_each_with_its_interval(made):
    document = json.loads(arrangements_as_json([made], made.instrument))
    schema = resources.files("tunebook") / "data" / "arrangement.schema.json"
    jsonschema.Draft202012Validator(json.loads(schema.read_text("utf-8"))).validate(document)
    (accent,) = document["tunes"][0]["accents"]
    place = {"string": "D", "string_index": 3, "key": 0, "finger": 0}
    assert accent == {
        "bar": 1, "onset": "1/4", "duration": "3/4", "midi": 62, **place, "below": 12,
    }  # fmt: skip


def test_midi_and_musicxml_have_them_with_the_drones(made):
    file = mido.MidiFile(file=io.BytesIO(tune_as_midi(made, parts=("melody", "drone"))))
    struck = [one.note for one in file.tracks[2] if one.type == "note_on" and one.velocity]
    assert struck == [62]
    drone = ElementTree.fromstring(tune_as_musicxml(made)).findall("part")[1]
    tied = [note for note in drone.iter("note") if note.find("pitch") is not None]
    assert [note.find("duration").text for note in tied] == ["2", "1"]
