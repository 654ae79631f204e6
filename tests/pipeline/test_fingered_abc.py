"""Fingered ABC leads back to the arrangement that it was written from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.pipeline.fingered_abc import fingered_file, is_same
from tunebook.pipeline.load import Setup, Wishes, prepare, read_tunes_in
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.read.folder import AbcFile

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"


def arranged(data: bytes, name: str, setup: Setup) -> list[Arrangement]:
    found = [
        arrange_tune(tune, setup).arrangement for tune in read_tunes_in(AbcFile(name, data), setup)
    ]
    return [one for one in found if one is not None]


@pytest.mark.parametrize(
    ("name", "edition", "tuning", "instrument"),
    [
        ("valser.abc", "player", "CGCA", None),
        ("halling_och_visa.abc", "teacher", None, None),
        ("gang_och_brud.abc", "student-1", None, None),
        ("danser.abc", "student-2", None, None),
        ("slangpolskor.abc", "student-2", "CGCA", None),
        ("polskor.abc", "player", None, "fiddle"),
    ],
)
def test_samples_read_back_as_they_were_arranged(
    name: str, edition: str, tuning: str | None, instrument: str | None
) -> None:
    wishes = Wishes(edition=edition, tuning=tuning, instrument=instrument)
    setup = prepare(SAMPLES, wishes)
    # Fingers are written into the text of tunes that are printed as written.
    setup = replace(setup, edition=replace(setup.edition, fit="print as written"))
    data = (SAMPLES / name).read_bytes()
    first = arranged(data, name, setup)
    written, messages = fingered_file(data, first, setup)
    assert messages == ()
    plain = replace(setup, book=replace(setup.book, choices=()))
    second = arranged(written, name, plain)
    assert len(first) == len(second) > 0
    for one, other in zip(first, second, strict=True):
        assert is_same(one, other)
        doubts = [(a.confidence < 0.5, b.confidence < 0.5) for a, b in
                  zip(one.chords, other.chords, strict=True)]  # fmt: skip
        assert all(a is b for a, b in doubts)
    assert fingered_file(written, second, plain)[0] == written


TUNE = "X:1\nT:Made\nM:4/4\nL:1/8\nQ:1/4=96\nK:D\n"
MUSIC = "|:A2F2 A2d2|B2G2 B2d2|c2A2 c2e2|d8:|\n"


def test_strings_are_written_only_where_the_fingers_do_not_tell(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text(TUNE + MUSIC)
    (tmp_path / "tunes.toml").write_text('[tune."a.abc:1"]\npins = ["bar 1 note 1 string D"]\n')
    setup = prepare(tmp_path)
    data = (tmp_path / "a.abc").read_bytes()
    (one,) = arranged(data, "a.abc", setup)
    written, messages = fingered_file(data, [one], setup)
    assert messages == ()
    pinned = one.instrument.string(one.notes[0].stops[0].string_index).name
    assert pinned == "D" and written.count(b"[r:string") <= 1


WITH_DRONES = "|:d2f2 a2f2|d2f2 a2d2|E2^G2 E2^C2|E2^G2 F2E2|d2f2 a2f2|d8:|\n"


def test_drones_and_silence_are_written() -> None:
    for drones in ("held", "open"):
        setup = prepare(SAMPLES, Wishes(edition="player"))
        setup = replace(setup, edition=replace(setup.edition, drones=drones))
        data = (TUNE + WITH_DRONES).encode()
        (one,) = arranged(data, "a.abc", setup)
        written, _ = fingered_file(data, [one], setup)
        assert len(one.drone) > 1
        assert written.count(b"[r:drone D4 string D]") == len(one.drone)
        assert written.count(b"[r:drone off]") == len(one.drone) - 1  # the last ends the tune
    silenced = (TUNE + WITH_DRONES).replace("|d8", "|[r:drone off]d8").encode()
    (one,) = arranged(silenced, "a.abc", setup)
    written = fingered_file(silenced, [one], setup)[0]
    assert len(one.drone) == written.count(b"[r:drone D4 string D]") == 2
    assert written.count(b"[r:drone off]") == 2  # after the first, and the tune's own


def test_double_stops_are_written_and_read_back() -> None:
    setup = prepare(SAMPLES, Wishes(edition="student-3"))
    data = (SAMPLES / "gang_och_brud.abc").read_bytes()
    first = arranged(data, "gang_och_brud.abc", setup)
    assert sum(len(one.accents) for one in first) > 2
    written, messages = fingered_file(data, first, setup)
    assert messages == () and written.count(b"[r:accent ") == sum(len(o.accents) for o in first)
    second = arranged(written, "gang_och_brud.abc", setup)
    for one, other in zip(first, second, strict=True):
        assert is_same(one, other) and all(accent.is_pinned for accent in other.accents)


OTHERS = "% about\nM:4/4\nL:1/8\n\nX:2\nT:Another\nK:G\nG2B2 d4|]\n\n"
SAID = f"{OTHERS}{TUNE}{MUSIC}\nX:3\nT:Tr\u00e4sken\nC:\u00c5ke\nM:2/4\nL:1/8\nK:C\nc2e2|g4|]\n"
SETTINGS = (
    '[tune."a.abc:1"]\nkey = "E"\ntempo = 80\ntitle = "New"\n[tune."a.abc:3"]\ntranspose = 2\n'
)


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "utf-16"])
def test_a_transposed_tune_takes_the_place_of_its_text(tmp_path: Path, encoding: str) -> None:
    data = SAID.replace("\n", "\r\n").encode(encoding)
    (tmp_path / "a.abc").write_bytes(data)
    (tmp_path / "tunes.toml").write_text(SETTINGS)
    setup = prepare(tmp_path)
    first = arranged(data, "a.abc", setup)
    written, messages = fingered_file(data, first, setup)
    text = written.decode(encoding)
    assert messages == () and text.count("\n") == text.count("\r\n") and "T:New\r\n" in text
    assert text.startswith(OTHERS.partition("G2B2")[0].replace("\n", "\r\n"))
    assert "N:written in D" in text and "\nK:E\r\n" in text and "Q:1/4=80" in text
    second = arranged(written, "a.abc", replace(setup, book=replace(setup.book, choices=())))
    assert [one.tune.titles for one in second] == [("Another",), ("New",), ("Träsken",)]
    assert second[2].tune.composer == "\u00c5ke"
    assert all(is_same(one, other) for one, other in zip(first, second, strict=True))


def test_chords_of_the_settings_come_into_the_text(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text(TUNE + MUSIC)
    (tmp_path / "tunes.toml").write_text('[tune."a.abc:1"]\nchords = "D | G | A7 | D"\n')
    setup = prepare(tmp_path)
    data = (tmp_path / "a.abc").read_bytes()
    written, messages = fingered_file(data, arranged(data, "a.abc", setup), setup)
    assert messages == () and b"solved" not in written
    assert [written.count(b'"%s"' % name) for name in (b"D", b"G", b"A7")] == [2, 1, 1]


def test_a_text_that_would_be_misread_leaves_the_tune_as_it_was(tmp_path: Path) -> None:
    # A bar that holds grace notes alone is no bar without them.
    data = (TUNE + "A4 A4|{GABc}|d8|]\n").encode()
    setup = prepare(SAMPLES)
    setup = replace(setup, edition=replace(setup.edition, line="frame"))
    written, messages = fingered_file(data, arranged(data, "a.abc", setup), setup)
    assert written == data
    assert ["would not be read as the same notes" in one.what for one in messages] == [True]
