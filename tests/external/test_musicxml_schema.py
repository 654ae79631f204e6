"""Source: the MusicXML 4.0 schema of the W3C Music Notation Community Group (2021), as shipped in
the Python package ``musicxml``; every score we write must be valid against it.

The schema imports those of the xml and xlink namespaces from the network; here they are replaced
by the few attributes that it uses from them.
"""

from __future__ import annotations

import importlib.util
import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan, DroneSpan, Stop
from tunebook.model.book import HandChoice
from tunebook.pipeline.load import Wishes, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.write.musicxml.score import tune_as_musicxml

SAMPLES = sorted((Path(__file__).parents[2] / "sample_tunes").glob("*.abc"))
XLINK = ("href", "type", "role", "title", "show", "actuate")
EVERYTHING = """X:1
T:Every sign & <mark>
C:nobody
R:polska
M:C
L:1/8
Q:"Lively" 3/8=100
P:AB
K:D phr ^f
P:A
"Dm"A2 |: "^over"!segno!{/ef}T(d>e) "A7sus4"(3fg=a [M:2+2+3/8] .b~vc'uD"_under"!mf!E |
!crescendo(![FAd]3-!crescendo)![FAd]2 !turnx!c2 D5- D15/4 z/4 |1 D/3E/3F/3 (5ABcde x2 !wedge!G :|2
[K:Bb][Q:1/4=60] !fermata!!invertedfermata!!arpeggio!!breath!!snap!!plus!!thumb!!open!B,8 !D.S.! ||
w: Ko-la mi__ lan * ~
P:B
|:: Z | !marcato!!tenuto!!accent!!staccato!!trill(!!trill)!c4 .| [K:none][M:none] A16 d'' !fine! ::|
[M:6/8] "F#m7b5/E"A6 | "Bbmaj7"B6 | "Gadd9"G6 | "(C5)"C6 !dacoda! | !coda!C6 !D.C.alfine! |]
"""


def _schema_folder() -> Path:
    spec = importlib.util.find_spec("musicxml")
    if spec is None or not spec.submodule_search_locations:
        if os.environ.get("CI"):
            pytest.fail("the package musicxml, which holds the schema, is not installed")
        pytest.skip("the package musicxml, which holds the schema, is not installed")
    return Path(spec.submodule_search_locations[0]) / "generate_classes"


def _attributes_of(namespace: str, names: tuple[str, ...]) -> str:
    attributes = "".join(f'<xs:attribute name="{name}" type="xs:string"/>' for name in names)
    head = '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace='
    return f'{head}"{namespace}">{attributes}</xs:schema>'


@pytest.fixture(scope="module")
def schema(tmp_path_factory):
    from lxml import etree

    source = (_schema_folder() / "musicxml_4_0.xsd").read_text(encoding="utf-8")
    assert "Version 4.0" in source
    folder = tmp_path_factory.mktemp("schema")
    local = source.replace("http://www.musicxml.org/xsd/", "")
    (folder / "musicxml.xsd").write_text(local, encoding="utf-8")
    xml = _attributes_of("http://www.w3.org/XML/1998/namespace", ("lang", "space"))
    (folder / "xml.xsd").write_text(xml, encoding="utf-8")
    xlink = _attributes_of("http://www.w3.org/1999/xlink", XLINK)
    (folder / "xlink.xsd").write_text(xlink, encoding="utf-8")
    return etree.XMLSchema(etree.parse(str(folder / "musicxml.xsd")))


@pytest.fixture(scope="module")
def instrument():
    return read_instrument("nyckelharpa-3row", None)


@pytest.fixture(scope="module")
def hand():
    return read_hand(HandChoice())


def faults(schema, text):
    from lxml import etree

    schema.validate(etree.fromstring(text.encode("utf-8")))
    return [f"{error.line}: {error.message}" for error in schema.error_log]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_sample_tunes_are_valid(path, schema, instrument, hand):
    for tune in read_abc(path.read_text(encoding="utf-8"), path.name):
        assert faults(schema, tune_as_musicxml(arrange(tune, instrument, hand))) == []


def test_scores_of_all_voices_are_valid_and_music21_finds_each_with_its_fingers(schema):
    from music21 import articulations, converter

    setup = prepare(SAMPLES[0].parent, Wishes(edition="duo"))
    players = tuple((name, replace(one, drones="open")) for name, one in setup.players)
    setup = replace(setup, players=players)
    path = SAMPLES[0].parent / "tvastammigt.abc"
    for tune in read_abc(path.read_text(encoding="utf-8"), path.name):
        found = arrange_tune(tune, setup).arrangement
        (second,) = found.voices
        assert second.arrangement.drone
        text = tune_as_musicxml(found)
        assert faults(schema, text) == []
        parts = converter.parse(text, format="musicxml").parts
        names = [part.partName for part in parts]
        assert names[:2] == ["Melody", "Drone"] and names[3] == f"{names[2]}, drone"
        notes = [note for note in parts[2].recurse().notes if note.tie is None]
        assert len(notes) == len(second.arrangement.notes)
        for note, ours in zip(notes, second.arrangement.notes, strict=True):
            fingers = [one.fingerNumber for one in note.articulations
                       if isinstance(one, articulations.Fingering)]  # fmt: skip
            assert (note.pitch.midi, fingers) == (ours.stops[0].midi, [ours.stops[0].finger])


def test_tune_with_every_sign_is_valid(schema, instrument, hand):
    (tune,) = read_abc(EVERYTHING)
    arrangement = arrange(tune, instrument, hand, drones="none", chords="none")
    end = tune.bars[-1].onset + tune.bars[-1].duration
    drone = DroneSpan(Fraction(1, 12), end - Fraction(1, 6), Stop(57, 2, 2, 1))
    chords = tuple(
        ChordSpan(bar.index, note.onset, Fraction(1, 8), note.chord)
        for bar in tune.bars
        for note in bar.notes
        if note.chord
    )

    whole = replace(arrangement, drone=(drone,), chords=chords)
    text = tune_as_musicxml(whole)
    assert len(chords) >= 5
    assert faults(schema, text) == []


@pytest.mark.parametrize("extension", ["", "7", "maj7", "6", "9", "m", "m7", "m7b5", "dim", "dim7",
                                       "aug", "sus4", "7sus4", "add9", "5", "m6", "7b9", "13",
                                       "6/9", "maj9", "m9", "no3", "7#5"])  # fmt: skip
def test_every_kind_of_chord_is_valid(extension, schema, instrument, hand):
    (tune,) = read_abc("X:1\nT:Made\nM:3/4\nL:1/8\nK:D\nD6 |]\n")
    chord = read_chord_symbol("Bb" + extension + "/F", SourcePlace("made.abc", 1, 1))
    assert chord is not None
    arrangement = arrange(tune, instrument, hand, drones="none", chords="none")

    span = ChordSpan(0, Fraction(0), Fraction(3, 4), chord)
    assert faults(schema, tune_as_musicxml(replace(arrangement, chords=(span,)))) == []


def test_schema_refuses_a_spoilt_score(schema, instrument, hand):
    (tune,) = read_abc("X:1\nT:Made\nM:3/4\nL:1/8\nK:D\nD6 |]\n")
    text = tune_as_musicxml(arrange(tune, instrument, hand, drones="none", chords="none"))
    assert faults(schema, text.replace("<step>D</step>", "<step>H</step>"))
