"""Tunes beyond an edition's level: moved to a key that keeps to it, left out, or as they are."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import pitch_name
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.explain import ExplainOrder, explain_tune
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.kept import setup_sum
from tunebook.pipeline.load import Setup, Wishes, load, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.sources import source_of_tune

TUNES = """\
X:1
T:Easy
M:4/4
L:1/8
Q:1/4=100
K:D
DEFG A2d2|efed c2A2|d8|]

X:2
T:High
M:4/4
L:1/8
Q:1/4=100
K:D
"D"ABcd e2A2|"A"efga b2a2|"D"ABcd e2A2|[r:drone D4]d8|]
w:one

X:3
T:Wide
M:4/4
L:1/8
Q:1/4=100
K:D
G,A,B,C D2E2|FGAB c2d2|efga b2c'2|d'8|]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "tunes"
    home.mkdir()
    (home / "a.abc").write_text(TUNES, encoding="utf-8")
    return home


def setup_with(folder: Path, settings: str = "", edition: str = "student-1") -> Setup:
    (folder / "tunes.toml").write_text(settings, encoding="utf-8")
    return prepare(folder, Wishes(edition=edition))


def printed(setup: Setup) -> dict[str, Arrangement | None]:
    tunes = load(setup, is_ordered=False).tunes
    return {tune.title: arrange_tune(tune, setup).arrangement for tune in tunes}


def beyond(arrangement: Arrangement) -> int:
    return sum(one.beyond_limits or not one.stops for one in arrangement.notes)


def test_level_one_prints_nothing_beyond_it(folder: Path) -> None:
    found = printed(setup_with(folder))
    easy, high = found["Easy"], found["High"]
    assert easy is not None and easy.tune.moved is None
    assert high is not None and high.tune.moved is not None
    assert beyond(easy) == beyond(high) == 0
    assert found["Wide"] is None


def test_chords_drones_and_words_go_along(folder: Path) -> None:
    high = printed(setup_with(folder))["High"]
    assert high is not None and high.tune.moved is not None
    semitones = high.tune.moved.semitones
    chord = high.tune.bars[0].notes[0].chord
    assert chord is not None and chord.root_class == (2 + semitones) % 12
    pin = high.tune.bars[3].notes[0].drone_pin
    assert pin is not None and pin.midi == 62 + semitones
    syllable = high.tune.bars[0].notes[0].syllables[0]
    assert syllable is not None and syllable.text == "one"


def test_a_drone_of_the_settings_goes_along_with_what_the_edition_moved(folder: Path) -> None:
    tunes = '[tune."a.abc:2"]\ndrone = "D4"\ntempo = 100\n'
    setup = setup_with(folder, '[[edition]]\nname = "e"\nbased_on = "student-1"\n' + tunes, "e")
    high = printed(replace(setup, edition=replace(setup.edition, drones="held")))["High"]
    # The drone pinned in the tune counts from its place on; before it the settings' own does.
    assert high is not None and high.tune.moved is not None
    asked = [d for d in high.drones_asked if d.onset == 0]
    wanted = 62 + high.tune.moved.semitones
    strings = high.instrument.strings
    tones = {strings[one.string_index - 1].open_midi + one.key for one in asked}
    assert tones <= {wanted}


@pytest.mark.parametrize(("key", "keynote"), [("as written", "D"), ("E", "E"), ("Bb", "Bb")])
def test_a_tune_keeps_the_key_that_the_settings_give_it(
    folder: Path, key: str, keynote: str
) -> None:
    found = printed(setup_with(folder, f'[tune."a.abc:2"]\nkey = "{key}"\n'))["High"]
    assert found is not None and found.tune.key.tonic_name == keynote
    assert found.tune.key.mode == "ionian"


def test_a_transposition_of_the_settings_is_where_the_edition_begins(folder: Path) -> None:
    found = printed(setup_with(folder, '[tune."a.abc:2"]\ntranspose = 2\n'))["High"]
    assert found is not None and beyond(found) == 0
    written = found.tune.moved
    assert written is not None and written.key.tonic_name == "D"


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ('key = "E"\ntranspose = 2', "has both a key and a transposition; the key is used"),
        ('key = "d"', 'write a keynote like "D" or "Bb", or "as written"'),
    ],
)
def test_what_is_wrong_with_a_key_is_said(folder: Path, settings: str, said: str) -> None:
    setup = setup_with(folder, f'[tune."a.abc:2"]\n{settings}\n')
    assert any(said in str(message) for message in check_folder(setup, jobs=1).messages)


def test_a_tune_without_a_key_cannot_be_moved_to_one(folder: Path) -> None:
    (folder / "a.abc").write_text(TUNES.replace("K:D", "K:none", 1), encoding="utf-8")
    setup = setup_with(folder, '[tune."a.abc:1"]\nkey = "E"\n')
    said = [str(message) for message in check_folder(setup, jobs=1).messages]
    assert any("has no key of its own, so it cannot be moved to E" in one for one in said)


def test_a_tune_that_no_key_brings_within_the_level_is_left_out_and_named(
    folder: Path, command
) -> None:  # type: ignore[no-untyped-def]
    report = check_folder(setup_with(folder), jobs=1)
    assert [row.title for row in report.rows] == ["Easy", "High"]
    assert [message.kind for message in report.left_out] == ["level"]
    assert "goes beyond the limits of edition 'student-1' in bars" in str(report.left_out[0])
    assert "every key within an octave" in str(report.left_out[0])
    # It is what the edition asks for, so --strict has nothing to say against it.
    (folder / "a.abc").write_text(TUNES.replace("[r:drone D4]", ""), encoding="utf-8")
    code, _, _ = command("check", str(folder), "--edition", "student-1", "--strict")
    assert code == 0


def test_an_edition_may_leave_out_or_print_as_written(folder: Path) -> None:
    text = '[[edition]]\nname = "e"\nbased_on = "student-1"\nfit = "{}"\n'
    left_out = printed(setup_with(folder, text.format("leave out"), "e"))
    assert [title for title, one in left_out.items() if one is None] == ["High", "Wide"]
    as_written = printed(setup_with(folder, text.format("print as written"), "e"))
    assert all(one is not None and one.tune.moved is None for one in as_written.values())


def test_the_book_has_the_reason_in_its_own_language(folder: Path) -> None:
    setup = setup_with(folder, 'language = "sv"\n')
    wide = load(setup, is_ordered=False).tunes[2]
    note = source_of_tune(wide, "a.abc:3", setup, None).beyond_note
    assert note.startswith("Utöver nivån: takt ")
    assert note.endswith("Ingen tonart inom en oktav håller sig till den.")


def test_check_explain_and_export_speak_of_the_printed_key(folder: Path, tmp_path: Path) -> None:
    setup = setup_with(folder)
    high = printed(setup)["High"]
    assert high is not None
    name = high.tune.key.name
    assert check_folder(setup, jobs=1).rows[1].key == name
    lines = list(explain_tune(setup, ExplainOrder("2", "1")))
    assert any(line.startswith(f"printed in {name}, written in D major (") for line in lines)
    wide = list(explain_tune(setup, ExplainOrder("3", "1")))
    assert any("leaves it out: it goes beyond its limits in bars" in line for line in wide)
    output = tmp_path / "tunes.json"
    report = export_folder(setup, ExportOrder("json", output, jobs=1))
    tunes = json.loads(output.read_text(encoding="utf-8"))["tunes"]
    assert [tune["key"] for tune in tunes] == ["D", high.tune.key.tonic_name]
    assert [message.kind for message in report.left_out] == ["level"]


def test_the_exported_text_of_a_tune_that_was_moved_is_what_is_printed(
    folder: Path, tmp_path: Path
) -> None:
    setup = setup_with(folder, '[tune."a.abc:1"]\ntranspose = 12\n', "player")
    export_folder(setup, ExportOrder("abc", tmp_path / "out", jobs=1))
    text = (tmp_path / "out" / "a.abc").read_text(encoding="utf-8")
    assert "N:written an octave lower" in text and text.count("\nX:") == 2
    again = printed(prepare(tmp_path / "out", Wishes(edition="player")))["Easy"]
    assert again is not None
    assert [one.stops[0].midi for one in again.notes[:4]] == [74, 76, 78, 79]


@pytest.mark.parametrize(("key", "tonic"), [("as written", "D"), ("E", "E")])
@pytest.mark.parametrize("fit", ["transpose", "leave out"])
def test_the_exported_text_of_a_tune_whose_key_is_fixed_stays_in_it(
    folder: Path, tmp_path: Path, key: str, tonic: str, fit: str
) -> None:
    edition = f'[[edition]]\nname = "own"\nbased_on = "student-1"\nfit = "{fit}"\n'
    setup = setup_with(folder, f'[tune."a.abc:2"]\nkey = "{key}"\n{edition}', "own")
    before = printed(setup)["High"]
    assert before is not None and any(one.beyond_limits for one in before.notes)
    export_folder(setup, ExportOrder("abc", tmp_path / "out", jobs=1))
    texts = (tmp_path / "out" / "a.abc").read_text(encoding="utf-8").split("X:")
    assert ["r:key as written" in text for text in texts[1:3]] == [False, True]
    (tmp_path / "out" / "tunes.toml").write_text(edition, encoding="utf-8")
    again = prepare(tmp_path / "out", Wishes(edition="own"))
    after = printed(again)["High"]
    assert after is not None and after.tune.key.tonic_name == tonic and after.tune.moved is None
    assert [one.stops for one in after.notes] == [one.stops for one in before.notes]
    assert not after.tune.messages
    export_folder(again, ExportOrder("abc", tmp_path / "third", jobs=1))
    third = (tmp_path / "third" / "a.abc").read_text(encoding="utf-8")
    assert third.count("r:key as written") == 1


def test_a_tune_that_is_left_out_is_told_with_the_line_of_it_that_would_fit(folder: Path) -> None:
    # What lies too high stands on weak beats in one, on strong ones in the other.
    head = "M:4/4\nL:1/8\nQ:1/4=60\nK:D\n"
    texts = (f"X:1\nT:A\n{head}D4 b'2F2|A,2d2 d2G2|D8|]\n", f"X:2\nT:B\n{head}D2b'2 A2b'2|D8|]\n")
    (folder / "a.abc").write_text("\n".join((*texts, TUNES.partition("X:2")[0])), encoding="utf-8")
    setup = setup_with(folder)
    first, second = (str(message) for message in check_folder(setup, jobs=1).left_out)
    assert first.endswith('is set for it; its frame would fit: line = "frame"')
    assert second.endswith("is set for it")
    tunes = load(setup, is_ordered=False).tunes
    notes = [source_of_tune(one, one.title, setup, None).beyond_note for one in tunes]
    assert [note.endswith("The frame of it would fit.") for note in notes] == [True, False, False]
    fitting = setup_with(folder, '[tune."a.abc:1"]\nline = "frame"\n')
    assert printed(fitting)["A"] is not None


def test_what_an_edition_does_with_tunes_beyond_it_counts_for_what_is_kept(folder: Path) -> None:
    setup = setup_with(folder)
    other = replace(setup, edition=replace(setup.edition, fit="leave out"))
    assert setup_sum(setup) != setup_sum(other)
    fixed = setup_with(folder, '[tune."a.abc:2"]\nkey = "as written"\n')
    assert setup_sum(setup) != setup_sum(fixed)


def test_a_retuning_that_moves_a_tune_to_another_key_says_so(folder: Path) -> None:
    before = setup_with(folder)
    after = prepare(folder, Wishes(edition="student-1", tuning="D3,A3,E4,B4"))
    high = load(before, is_ordered=False).tunes[1]
    change = source_of_tune(high, "a.abc:2", after, before).change
    assert change is not None
    keys = tuple(arrange_tune(high, setup).arrangement.tune.key for setup in (before, after))  # type: ignore[union-attr]
    assert keys[0] != keys[1]
    assert change.keys == keys


def test_a_tune_whose_key_is_fixed_is_printed_with_what_goes_beyond_the_level(
    folder: Path,
) -> None:
    setup = setup_with(folder, '[tune."a.abc:2"]\nkey = "as written"\n')
    high = load(setup, is_ordered=False).tunes[1]
    source = source_of_tune(high, "a.abc:2", setup, None)
    assert source.piece is not None
    assert source.limit_note.startswith("Beyond this level: bar")
    assert "Within it the tune lies in" in source.limit_note


def test_what_is_said_of_pins_and_drones_of_the_settings_names_them_as_written(
    folder: Path,
) -> None:
    pins = ", ".join(f'"bar 2 note {note} finger 1"' for note in (1, 2, 3))
    setup = setup_with(folder, f'[tune."a.abc:2"]\ndrone = "E4"\npins = [{pins}]\n')
    (high,) = (tune for tune in load(setup).tunes if tune.title == "High")
    outcome = arrange_tune(high, setup)
    assert outcome.arrangement is not None and outcome.arrangement.tune.moved is not None
    by = outcome.arrangement.tune.moved.semitones
    (said,) = (one for one in outcome.messages if one.kind == "pin")
    drone = next(one for one in outcome.arrangement.messages if "drone" in one.what)
    assert said.place == drone.place and str(said.place).endswith("tunes.toml:1")
    assert "keeps to the edition's limits in no key" in said.what
    assert "take them out, or set key" in said.remedy
    assert drone.what.startswith(
        f"'High': the drone E4, moved with the tune to {pitch_name(64 + by)} in this edition, "
    )
