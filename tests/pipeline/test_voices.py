"""Second voices: who plays them, how they are solved, and where they go in book and exports."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import mido
import pytest

from tunebook.errors import SettingError
from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Tune
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.compare import CompareOrder, compare_folder
from tunebook.pipeline.explain import ExplainOrder, explain_tune
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.fingered_abc import fingered_file, is_same
from tunebook.pipeline.kept import setup_sum
from tunebook.pipeline.load import Setup, Wishes, load, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.sources import source_of_tune
from tunebook.read.abc.tune import read_abc
from tunebook.solve.parts import part_of
from tunebook.solve.second_opinion.pricing import verify_arrangement
from tunebook.write.json import arrangements_as_json

TWO = """\
X:1
T:Två på bänken
R:polska
M:3/4
L:1/8
Q:1/4=100
V:1 nm="Melodi"
V:2 nm="Stämma"
K:D
[V:1] |: d2 e2 f2 | g2 f2 e2 | d2 c2 B2 | A4 A2 :| !segno!f2 g2 a2 | !fine!d6 !D.S.!|]
[V:2] |: F2 A2 d2 | B2 A2 c2 | F2 E2 G2 | E4 C2 :| A,2 B,2 C2 | F6 |]

X:2
T:En ensam
R:polska
M:3/4
L:1/8
K:D
d2 e2 f2 | d6 |]

X:3
T:Över varandra
M:2/4
L:1/8
K:G
G2 A2 & E2 F2 | B4 & [G2D2] G2 | c2 [r:string D]d2 & A2 !1!B2 |]
"""
SETTINGS = """\
[voices]
"2" = { instrument = "fiddle" }
[[edition]]
name = "stämma"
based_on = "duo"
voices = "second"
[[edition]]
name = "två harpor"
based_on = "duo"
drones = "held"
[edition.played_by."Stämma"]
instrument = "nyckelharpa-3row"
tuning = "CGCA"
drones = "open"
"""


def folder_of(path: Path, text: str = TWO, settings: str = SETTINGS) -> Path:
    path.mkdir(exist_ok=True)
    (path / "two.abc").write_text(text, "utf-8")
    (path / "tunes.toml").write_text(settings, "utf-8")
    return path


def arranged(setup: Setup, number: int = 0, **how: bool) -> Arrangement:
    outcome = arrange_tune(load(setup, is_ordered=False).tunes[number], setup, **how)
    assert outcome.arrangement is not None, outcome.messages
    return outcome.arrangement


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return folder_of(tmp_path / "tunes")


def duo(folder: Path, edition: str = "duo", **more: str) -> Setup:
    return prepare(folder, Wishes(edition=edition, **more))


def test_each_voice_is_fingered_for_the_instrument_that_plays_it(folder: Path) -> None:
    found = arranged(duo(folder))
    (second,) = found.voices
    assert (found.instrument.name, second.arrangement.instrument.name) == (
        "nyckelharpa-3row", "fiddle",
    )  # fmt: skip
    for one in (found, second.arrangement):
        assert all(note.stops for note in one.notes)
        assert verify_arrangement(one) == ()
    bars = [one.note.pitches[0].name for one in second.arrangement.notes]
    assert bars[:4] == ["F#4", "A4", "D5", "B4"]


def test_a_player_may_be_named_by_place_identity_or_name_and_an_edition_goes_first(
    folder: Path,
) -> None:
    (second,) = arranged(duo(folder, "två harpor")).voices
    assert second.arrangement.instrument.tuning_name == "CGCA"
    setup = duo(folder_of(folder, settings='[voices]\n"Stämma" = { tuning = "GDAE" }\n'))
    assert setup.messages == ()
    (other,) = arranged(
        duo(folder_of(folder, settings='[voices]\n"&" = {hand="small"}\n')), 2
    ).voices
    assert (other.arrangement.hand.name, other.arrangement.instrument) == (
        "small", prepare(folder).instrument,
    )  # fmt: skip


def test_a_player_that_cannot_be_is_said_with_its_line(folder: Path) -> None:
    setup = prepare(folder_of(folder, settings='title = "x"\n[voices]\n"2" = { drums = 1 }\n'))
    (said,) = (str(one) for one in setup.messages)
    assert said.endswith(
        "tunes.toml:3: unknown setting 'voices.2.drums'; known are instrument, tuning, hand, drones"
    )
    with pytest.raises(SettingError, match="there is no instrument 'luta'"):
        prepare(folder_of(folder, settings='[voices]\n"2" = { instrument = "luta" }\n'))
    with pytest.raises(SettingError, match="lies outside the folder"):
        prepare(folder_of(folder, settings='[voices]\n"2" = { instrument = "../luta.toml" }\n'))


def test_a_player_whom_no_tune_needs_is_said(folder: Path) -> None:
    setup = duo(folder_of(folder, settings='[voices]\n"2" = {}\n"Bas" = { hand = "large" }\n'))
    for holds_music in (True, False):
        (said,) = (str(one) for one in load(setup, holds_music=holds_music).messages)
        assert "tunes.toml: no tune has a voice 'Bas' beside its melody" in said
    assert load(replace(setup, folder=folder / "two.abc")).messages == ()


def test_drones_are_the_melodys_unless_asked_for(folder: Path) -> None:
    plain = arranged(duo(folder))
    assert plain.drone and not plain.voices[0].arrangement.drone
    asked = arranged(duo(folder, "två harpor")).voices[0].arrangement
    assert any(span.stop.key == 0 for span in asked.drone)
    pinned = TWO.replace("F2 E2 G2 |", "[r:drone D4]F2 E2 G2 |")
    found = arranged(duo(folder_of(folder, pinned))).voices[0].arrangement
    assert [one.string_index for one in found.drones_asked] == [2]
    assert found.drones_asked[0].onset == found.tune.bars[2].onset


def chord_names(arrangement: Arrangement) -> list[str]:
    return [span.chord.symbol for span in arrangement.chords]


def test_chords_are_those_of_all_voices_in_every_edition(folder: Path) -> None:
    alone = "X:1\nT:x\nM:4/4\nL:1/4\nK:Am\nV:1\nV:2\n[V:1] A4|A4|e4|A4|]\n[V:2] {}|A,4|]\n"
    minor, major = (
        chord_names(arranged(duo(folder_of(folder, alone.format(third)))))
        for third in ("C4|C4|^G4", "^C4|^C4|^G4")
    )
    assert minor[0] == "Am" and major[0] == "A"
    folder_of(folder)
    both, melody, second = (
        chord_names(arranged(duo(folder, name))) for name in ("duo", "player", "stämma")
    )
    assert both == melody == second
    assert (
        chord_names(arranged(duo(folder)))
        != chord_names(arranged(duo(folder_of(folder, TWO.replace("[V:2]", "%")))))
        or not load(prepare(folder)).tunes[0].voices
    )


def test_a_part_holds_the_second_voice_for_its_own_instrument(folder: Path) -> None:
    setup = duo(folder, "stämma")
    assert setup.instrument.name == "fiddle"
    found = arranged(setup)
    assert [note.note.pitches[0].name for note in found.notes][:2] == ["F#4", "A4"]
    assert (found.instrument.name, found.drone, found.voices) == ("fiddle", (), ())
    names = [name for bar in found.tune.bars for name in bar.decorations]
    assert sorted(names) == ["D.S.", "fine"] and "segno" in found.tune.bars[4].notes[0].decorations
    melody = arranged(setup, 1)
    assert (melody.instrument.name, melody.notes[0].note.pitches[0].name) == ("fiddle", "D5")
    assert duo(folder, "stämma", instrument="viola").instrument.name == "viola"
    cross = duo(folder, "stämma", tuning="AEAE")
    assert (cross.instrument.name, cross.instrument.tuning_name) == ("fiddle", "AEAE")
    assert arranged(cross).instrument == cross.instrument
    order = CompareOrder("GDAE,AEAE", False, 5, None, 1)
    first, second = compare_folder(setup, order).tunes[0].tunings
    assert (first.tuning, second.tuning) == ("GDAE", "AEAE")
    assert first.difficulty != second.difficulty
    (tune,) = (one for one in load(setup, is_ordered=False).tunes if one.title == "Två på bänken")
    again = part_of(part_of(tune))
    assert (again.bars, again.voices[0].id) == (tune.bars, tune.voices[0].id)


def test_the_player_of_an_overlay_has_the_melody_in_the_other_bars(folder: Path) -> None:
    text = "X:1\nT:x\nM:2/4\nL:1/8\nK:G\n!1!G2 A2 | B4 & G4 | c2 d2 & z4 |]\n"
    found = arranged(duo(folder_of(folder, text), "stämma"))
    bars = [[n.pitches[0].name for n in bar.notes if n.pitches] for bar in found.tune.bars]
    assert bars == [["G4", "A4"], ["G4"], []]
    assert found.tune.bars[0].notes[0].finger_pins == (None,)
    assert all(note.stops for note in found.notes)


def test_a_voice_beyond_the_steps_is_left_out_alone(folder: Path) -> None:
    setup = duo(folder)
    tune = load(setup, is_ordered=False).tunes[0]
    silent = replace(tune.voices[0], bars=tuple(replace(b, notes=()) for b in tune.bars))
    outcome = arrange_tune(replace(tune, voices=(silent,)), setup)
    assert outcome.arrangement is not None and outcome.arrangement.voices[0].arrangement.notes == ()
    reading = tuple({**dict(setup.book.reading), "solving_steps": 1}.items())
    few = arrange_tune(tune, replace(setup, book=replace(setup.book, reading=reading)))
    assert few.arrangement is None and "left out" in str(few.messages[0])


def test_what_plays_a_voice_decides_what_is_kept(folder: Path) -> None:
    first = setup_sum(duo(folder))
    other = SETTINGS.replace('"fiddle"', '"viola"')
    assert setup_sum(duo(folder_of(folder, settings=other))) != first
    assert setup_sum(duo(folder_of(folder))) == first


def tune_of(setup: Setup, number: int) -> Tune:
    return load(setup, is_ordered=False).tunes[number]


@pytest.mark.parametrize("edition", ["duo", "två harpor", "player"])
def test_fingered_text_of_all_voices_leads_back_to_them(folder: Path, edition: str) -> None:
    setup = duo(folder, edition)
    tunes = load(setup, is_ordered=False).tunes
    found = [arrange_tune(tune, setup, with_voices=True).arrangement for tune in tunes]
    written, said = fingered_file(TWO.encode(), [one for one in found if one], setup)
    assert said == ()
    folder_of(folder, written.decode("utf-8"))
    for number, before in enumerate(found):
        again = arranged(duo(folder, edition), number, with_voices=True)
        assert is_same(again, before)
        assert [len(one.voices) for one in (again, before) if one] == [int(number != 1)] * 2
    lines = written.decode("utf-8").splitlines()
    assert "!" in lines[10] and lines[10].startswith("[V:2] |: !")
    assert lines[-1].count("&") == 3


def test_json_has_the_voices_beside_the_notes(folder: Path) -> None:
    found = arranged(duo(folder))
    told = json.loads(arrangements_as_json([found, arranged(duo(folder), 1)], found.instrument))
    assert told["version"] == 2
    first, alone = told["tunes"]
    assert alone["voices"] == []
    (voice,) = first["voices"]
    assert (voice["id"], voice["name"], voice["instrument"]["name"]) == ("2", "Stämma", "fiddle")
    assert voice["notes"][0] == {
        "bar": 1, "onset": "0", "duration": "1/4", "grace": False, "ways": [],
        "stops": [{"midi": 66, "pitch": "F#4", "string": "D", "string_index": 2, "key": 4,
                   "finger": 2}],
    }  # fmt: skip


def test_midi_has_a_track_a_voice_and_a_part_has_the_melody_too(folder: Path) -> None:
    for edition in ("duo", "stämma"):
        out = folder.parent / edition
        export_folder(duo(folder, edition), ExportOrder("midi", out))
        tracks = mido.MidiFile(
            file=io.BytesIO((out / "two-1.mid").read_bytes()), charset="utf-8"
        ).tracks
        assert [track.name for track in tracks] == ["Två på bänken", "melody", "Stämma"]
        first = [next(m.note for m in track if m.type == "note_on") for track in tracks[1:]]
        assert first == [74, 66]
        assert {m.channel for m in tracks[2] if m.type == "note_on"} == {10}
    alone = mido.MidiFile(out / "two-2.mid")
    assert len(alone.tracks) == 2


def test_remarks_name_voice_and_bars_and_are_no_messages(folder: Path) -> None:
    text = TWO.replace("F2 A2 d2 | B2 A2 c2", "D2 E2 F2 | G2 F2 E2").replace(
        "A,2 B,2 C2", "F,2 a2 c'2"
    )
    report = check_folder(duo(folder_of(folder, text), "player"), jobs=1, voices=True)
    said = [str(one).partition(": ")[2] for one in report.remarks]
    assert said == [
        "Två på bänken, Stämma: bars 1-2: 6 notes in parallel octaves",
        "Två på bänken, Stämma: bar 5: the voice lies above the melody",
        "Två på bänken, Stämma: bar 5: F#3 outside the compass of the Fiddle tuned GDAE",
    ]
    assert report.messages == ()
    assert check_folder(duo(folder), jobs=1).remarks == ()


def test_a_voice_is_explained_by_place_or_name(folder: Path) -> None:
    setup = duo(folder, "player")
    lines = list(explain_tune(setup, ExplainOrder("1", "1", voice="2")))
    assert lines[0] == "two.abc:1  Två på bänken, Stämma"
    assert lines[1].startswith("Fiddle, GDAE; 100 quarter notes a minute")
    assert lines[2].startswith("bar 1  F#4: D string semitone 4")
    assert lines == list(explain_tune(setup, ExplainOrder("1", "1", voice="Stämma")))
    for order, said in (
        (ExplainOrder("1", voice="3"), "no voice '3' beside the melody; known are 2"),
        (ExplainOrder("2", voice="2"), "the tune has no voice beside its melody"),
        (ExplainOrder("1", chords=True, voice="2"), "chords are those of all voices together"),
    ):
        with pytest.raises(SettingError, match=said):
            list(explain_tune(setup, order))


def test_hard_bars_and_practice_are_the_melodys(folder: Path) -> None:
    base = duo(folder, "teacher")
    both = replace(base, edition=replace(base.edition, voices="both"))
    tune = tune_of(base, 0)
    alone, together = (source_of_tune(tune, "two.abc:1", one, None) for one in (base, both))
    assert [one.title for one in together.exercises] == [one.title for one in alone.exercises]
    assert together.piece is not None and "VoiceStaff" in together.piece.text
    assert all("VoiceStaff =" not in one.piece.score.text() for one in together.exercises)
    assert together.choice_notes == alone.choice_notes


def test_a_tune_read_by_itself_has_its_voices_in_midi() -> None:
    from tunebook.write.midi import tune_as_midi

    tune = read_abc(TWO)[2]
    tracks = mido.MidiFile(file=io.BytesIO(tune_as_midi(tune))).tracks
    assert [track.name for track in tracks][1:] == ["melody", "voice 2"]


def test_the_command_tells_remarks_and_explains_a_voice(
    folder: Path, command: Callable[..., tuple[int, str, str]]
) -> None:
    text = TWO.replace("F2 A2 d2 | B2 A2 c2", "D2 E2 F2 | G2 F2 E2")
    folder_of(folder, text)
    code, out, _ = command("check", str(folder), "--voices", "--strict", "--jobs", "1")
    assert code == 0
    assert "two.abc:11:" in out and "bars 1-2: 6 notes in parallel octaves" in out
    code, out, _ = command("check", str(folder), "--jobs", "1")
    assert code == 0 and "parallel" not in out
    code, out, _ = command("explain", str(folder / "two.abc"), "--tune", "1", "--voice", "2")
    assert code == 0 and out.startswith("two.abc:1  Två på bänken, Stämma\n")
