"""Arrangements as JSON: the contract, field by field, and the shipped schema."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from importlib import resources

import jsonschema
import pytest

from tunebook.errors import Message, SourcePlace
from tunebook.model.arrangement import ChordSpan, DroneSpan, Stop
from tunebook.model.tune import Meter
from tunebook.write.json import arrangements_as_json

SCHEMA = json.loads(
    (resources.files("tunebook") / "data" / "arrangement.schema.json").read_text(encoding="utf-8")
)


def written(arrangement):
    return json.loads(arrangements_as_json([arrangement], arrangement.instrument))


@pytest.fixture
def full(make_tune, arranged, make_chord):
    """A pickup, a tie over a bar line, a double stop, a grace note, a rest, drone and chord."""
    tune = make_tune("A4/8", "D4/4 z/4 A3+E4/4-", "A3+E4/4 (F#4)/8 E4/4 C5/4")
    drone = DroneSpan(Fraction(1, 8), Fraction(3, 4), Stop(57, 2, 2, 1))
    chord = ChordSpan(1, Fraction(1, 8), Fraction(3, 4), make_chord("Dm"), "solved",
                      shape=(Stop(57, 2, 2, 1), Stop(62, 3, 0, 0)))  # fmt: skip
    arrangement = arranged(tune, drone=(drone,), chords=(chord,))
    message = Message(SourcePlace("made.abc", 4, 9), "compass", "the note is too low", "play C")
    return replace(arrangement, messages=(message,))


def test_text_fulfils_the_shipped_schema(full):
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.Draft202012Validator(SCHEMA).validate(written(full))


def test_schema_refuses_an_unknown_field(full):
    document = written(full)
    document["tunes"][0]["notes"][0]["colour"] = "red"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(SCHEMA).validate(document)


def test_head_names_format_version_and_instrument(full):
    document = written(full)
    assert (document["format"], document["version"]) == ("tunebook-arrangement", 2)
    assert document["instrument"]["tuning"] == "CGDA"
    assert document["instrument"]["strings"][1] == {
        "string_index": 2, "name": "G", "midi": 55, "pitch": "G3", "keys": 11,
    }  # fmt: skip


def test_tune_carries_file_number_title_key_and_meter(full):
    tune = written(full)["tunes"][0]
    names = ("file", "number", "title", "rhythm", "key", "mode", "meter")
    values = ("made.abc", "7", "Made by hand", "polska", "D", "ionian", "3/4")
    assert tuple(tune[name] for name in names) == values


def test_note_carries_bar_onset_duration_and_stops(full):
    note = written(full)["tunes"][0]["notes"][1]
    assert note == {
        "bar": 1,
        "onset": "1/8",
        "duration": "1/4",
        "grace": False,
        "stops": [
            {"midi": 62, "pitch": "D4", "string": "D", "string_index": 3, "key": 0, "finger": 0}
        ],
        "ways": [],
    }


def test_tied_notes_are_one_entry(full):
    notes = written(full)["tunes"][0]["notes"]
    double_stop = [note for note in notes if len(note["stops"]) == 2]
    assert [(n["bar"], n["onset"], n["duration"]) for n in double_stop] == [(1, "5/8", "1/2")]


def test_rests_are_left_out_and_grace_notes_marked(full):
    notes = written(full)["tunes"][0]["notes"]
    assert [note["grace"] for note in notes] == [False, False, False, True, False, False]


def test_note_after_a_double_stop_with_one_tone_tied_is_an_entry_of_its_own(make_tune, arranged):
    tune = make_tune("A3+E4/4- A3+F#4/2")
    notes = written(arranged(tune))["tunes"][0]["notes"]
    assert [note["duration"] for note in notes] == ["1/4", "1/2"]


def test_tone_tied_into_a_second_ending_is_an_entry_of_its_own(make_tune, arranged):
    tune = make_tune("D4*3/4-", "D4*3/4", "D4*3/4")
    last = tune.bars[2]
    tied_into = replace(last.notes[0], is_tied_from_before=(True,))
    tune = replace(tune, bars=(*tune.bars[:2], replace(last, notes=(tied_into,))))
    notes = written(arranged(tune))["tunes"][0]["notes"]
    assert [(n["onset"], n["duration"]) for n in notes] == [("0", "3/2"), ("3/2", "3/4")]


def test_drone_and_chord_carry_their_places(full):
    tune = written(full)["tunes"][0]
    assert tune["drone"] == [
        {"onset": "1/8", "duration": "3/4", "midi": 57, "string": "G", "string_index": 2,
         "key": 2, "finger": 1}
    ]  # fmt: skip
    assert tune["chords"] == [
        {"bar": 1, "onset": "1/8", "duration": "3/4", "symbol": "Dm", "root": 2,
         "quality": "minor", "source": "solved",
         "shape": [{"string_index": 2, "key": 2, "finger": 1},
                   {"string_index": 3, "key": 0, "finger": 0}]}
    ]  # fmt: skip


def test_cost_and_warnings_are_written(full):
    tune = written(full)["tunes"][0]
    assert tune["cost"] == {"total": 1.75, "per_second": 0.0, "terms": {"shift": 1.75}}
    assert tune["warnings"] == ["made.abc:4:9: the note is too low; play C"]


def test_effort_with_held_drones_is_a_second_figure(full):
    droned = replace(
        full, difficulty=0.5, cost_with_drones=2.0, difficulty_with_drones=0.75, bow_cost=0.25
    )
    jsonschema.Draft202012Validator(SCHEMA).validate(written(droned))
    cost = written(droned)["tunes"][0]["cost"]
    assert (cost["total"], cost["per_second"]) == (1.75, 0.5)
    assert cost["with_drones"] == {"total": 2.0, "per_second": 0.75, "bow": 0.25}


def test_same_message_of_tune_and_arrangement_is_written_once(full):
    doubled = replace(full, tune=replace(full.tune, messages=full.messages))
    assert len(written(doubled)["tunes"][0]["warnings"]) == 1


def test_cost_that_is_not_finite_is_null(full):
    endless = replace(full, cost=float("inf"))
    assert written(endless)["tunes"][0]["cost"]["total"] is None


@pytest.mark.parametrize(
    ("meter", "text"),
    [
        (Meter(4, 4, "C"), "4/4"),
        (Meter(2, 2, "C|"), "2/2"),
        (Meter(7, 8, "2+2+3/8", (2, 2, 3)), "2+2+3/8"),
        (Meter(0, 4, ""), "none"),
    ],
)
def test_meter_is_written_in_figures(make_tune, arranged, meter, text):
    tune = replace(make_tune("D4/4"), meter=meter)
    assert written(arranged(tune))["tunes"][0]["meter"] == text


def test_same_arrangement_gives_the_same_text(full):
    assert arrangements_as_json([full], full.instrument) == arrangements_as_json(
        [full], full.instrument
    )


def test_title_with_quotes_and_letters_beyond_latin_comes_back(full):
    title = 'Näckens "polska" \\ 😀\u2028'
    document = written(replace(full, tune=replace(full.tune, titles=(title,))))
    assert document["tunes"][0]["title"] == title


def test_damaged_text_can_still_be_written_as_utf8(full):
    damaged = replace(full, tune=replace(full.tune, titles=("a\ud800b",)))
    assert arrangements_as_json([damaged], full.instrument).encode("utf-8")
