"""Fingered ABC leads back to the arrangement that it was written from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tunebook.model.arrangement import Arrangement
from tunebook.pipeline.export import fingered_file, is_same
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


def test_transposed_tune_is_left_as_it_is_and_said_once(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text(TUNE + MUSIC)
    (tmp_path / "tunes.toml").write_text('[tune."a.abc:1"]\ntranspose = 2\n')
    setup = prepare(tmp_path)
    data = (tmp_path / "a.abc").read_bytes()
    written, messages = fingered_file(data, arranged(data, "a.abc", setup), setup)
    assert written == data
    assert ["transposed" in message.what for message in messages] == [True]
