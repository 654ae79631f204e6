"""Recordings of a folder: which files, which mistakes are said, what is left when it is stopped;
and what reaches the loudspeaker."""

from __future__ import annotations

import sys
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tunebook.errors import OutputError
from tunebook.model.choices import EXPORT_KINDS
from tunebook.pipeline import sound
from tunebook.pipeline.load import Wishes, prepare

TUNES = """X:1
T:Första
R:polska
M:3/4
L:1/4
Q:1/4=240
K:D
DFA|dAF|"A"E2G|"D"D3|]

X:2
T:Andra
M:2/4
L:1/4
Q:1/4=240
K:G
G2|B2|]
"""
Command = Callable[..., tuple[int, str, str]]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / "låtar.abc").write_text(TUNES, encoding="utf-8")
    return tmp_path


def test_each_tune_is_a_file_whatever_the_number_of_workers(folder: Path, command: Command) -> None:
    for jobs in ("1", "2"):
        code, out, _ = command(*f"export t --to sound -o out{jobs} --jobs {jobs}".split())
        assert code == 0
        assert out == f"out{jobs}: 2 tunes in 2 files, 0 left out\n"
    names = ["låtar-1.flac", "låtar-2.flac"]
    assert sorted(path.name for path in (folder / "out1").iterdir()) == names
    for name in names:
        assert (folder / "out1" / name).read_bytes() == (folder / "out2" / name).read_bytes()
    samples, rate = soundfile.read(folder / "out1" / "låtar-1.flac")
    assert len(samples) / rate == pytest.approx(12 * 0.25 + 3.0, abs=0.01)


def test_a_passage_is_recorded_with_all_that_was_asked(folder: Path, command: Command) -> None:
    code, _, errors = command(
        *[
            "export",
            "t",
            "--to",
            "sound",
            "--to",
            "1.0",
            "--from",
            "0.5",
            "--loop",
            "1-2",
            "--times",
            "2",
            "--count-in",
            "--format",
            "wav",
            "--parts",
            "melody,drone,bass,chords,click",
            "--drone",
            "A3",
            "--tuning-pitch",
            "442",
            "-o",
            "out",
        ]
    )
    assert code == 0, errors
    samples, rate = soundfile.read(folder / "out" / "låtar-1.wav")
    # A bar to count and two bars at half the speed, then at full speed; strings ring on.
    assert len(samples) / rate == pytest.approx(1.5 + 3.0 + 1.5 + 3.0, abs=0.01)


MISTAKES = {
    "--to midi --speed 0.5": "--speed is for --to sound; leave it out, or write sound",
    "--to json --count-in": "--count-in is for --to sound",
    "--to midi --to 1.0": "--to with a number is for --to sound",
    "--to sound --to midi": "--to sound --to midi cannot be read",
    "--to 0.9": "--to 0.9 cannot be read; write --to sound",
    "--to sound --times 3": "--times wants a passage; name its bars, as --loop 9-12",
    "--to sound --from 0.5": "--from wants a passage",
    "--to sound --loop 1-2 --times 0": "--times is 0; give 1 to 100",
    "--to sound --loop 1-2 --times 1000": "--times is 1000; give 1 to 100",
    "--to sound --loop 2-1": "bars '2-1' cannot be read",
    "--to sound --loop 1-2 --from 0.5 --speed 1": "--speed and --from are both given",
    "--to sound --speed 0": "--speed is 0; give a share of the tune's own speed, 0.2 to 2",
    "--to sound --speed nan": "--speed is nan; give a share",
    "--to sound --loop 1-2 --to 9": "--to is 9; give a share",
    "--to sound --parts melody,bas": "part 'bas' is unknown; use one of melody, drone, second",
    "--to sound --parts bass --edition student-1": "the edition 'student-1' has no chords",
    "--to sound --drone E": "'E' has no octave; write it as C3, F#4 or Bb3",
    "--to sound --drone E9": "no such drone: 'E9'; choose C2 to E6",
    "--to sound --tuning-pitch 44": "--tuning-pitch is 44; give the pitch of A4 in Hz, 380 to 490",
    "--to sound --format mp3": "--format 'mp3' is unknown; use one of flac, wav, ogg",
    "--to sound --repeats twice": "--repeats 'twice' is unknown; use one of as-written, once",
}


@pytest.mark.parametrize("options", MISTAKES)
def test_a_mistake_is_one_line_before_anything_is_written(
    folder: Path, command: Command, options: str
) -> None:
    code, out, errors = command(*f"export t {options} -o out".split())
    assert (code, out) == (2, "")
    assert errors.startswith(MISTAKES[options]) and errors.count("\n") == 1
    assert not (folder / "out").exists()


def test_a_tune_without_the_bars_is_left_out_and_named(folder: Path, command: Command) -> None:
    code, out, errors = command(*["export", "t", "--to", "sound", "--loop", "3-4", "-o", "out"])
    assert code == 0
    assert out == "out: 1 tune in 1 file, 1 left out\n"
    assert "t/låtar.abc:10: 'Andra' has no bars 3-4 that follow each other; left out" in errors
    code, _, errors = command(*["export", "t", "--to", "sound", "--loop", "7-8", "-o", "out"])
    assert code == 3
    assert "no tune could be played (first reason: t/låtar.abc:1: 'Första' has no bars" in errors


def test_what_is_read_is_never_written_over(folder: Path, command: Command) -> None:
    (folder / "t" / "tunes.toml").write_text("[sound]\nformat = 'wav'\n", encoding="utf-8")
    (folder / "out").mkdir()
    (folder / "out" / "låtar-2.wav").symlink_to(folder / "t" / "låtar.abc")
    code, _, errors = command(*["export", "t", "--to", "sound", "-o", "out"])
    assert code == 5 and "is one of the files that are read here" in errors
    assert [path.name for path in (folder / "out").iterdir()] == ["låtar-2.wav"]


def test_what_was_written_before_the_end_is_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = sound.record_tune

    def stopped(tune: Any, *rest: Any) -> Any:
        if tune.number == "2":
            raise KeyboardInterrupt
        return whole(tune, *rest)

    monkeypatch.setattr(sound, "record_tune", stopped)
    setup = prepare(folder / "t")
    with pytest.raises(KeyboardInterrupt):
        sound.export_sounds(setup, sound.SoundWishes(), folder / "out", jobs=1)
    (only,) = (folder / "out").iterdir()
    assert only.name == "låtar-1.flac"
    assert soundfile.info(only).frames > 0


def test_a_full_disk_is_said_and_leaves_no_piece(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, *_: Any, **__: Any) -> None:
        raise OutputError("cannot be written (No space left on device)", "", None)

    monkeypatch.setattr(sound, "write_whole", full)
    with pytest.raises(OutputError, match="No space left"):
        sound.export_sounds(prepare(folder / "t"), sound.SoundWishes(), folder / "out", jobs=1)
    assert list((folder / "out").iterdir()) == []


def test_a_missing_library_is_named_and_wav_does_without(
    folder: Path, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "soundfile", None)
    code, _, errors = command(*["export", "t", "--to", "sound", "-o", "out"])
    assert code == 4
    assert errors.startswith("FLAC files cannot be written here (")
    assert errors.rstrip().endswith("pip install soundfile, or give --format wav")
    assert (
        command(*["export", "t", "--to", "sound", "--format", "wav", "-o", "out", "--jobs", "1"])[0]
        == 0
    )


@pytest.mark.parametrize(
    ("edition", "parts", "heard"),
    [("player", None, (67,)), ("duo", None, (67, 71)), ("player", "melody,second", (67, 71)),
     ("duo", "melody", (67,)), ("player", "second", (71,))],
)  # fmt: skip
def test_an_edition_decides_what_is_heard_where_nothing_is_asked(
    folder: Path, edition: str, parts: str | None, heard: tuple[int, ...]
) -> None:
    two_voices = "X:1\nT:Två\nM:2/4\nL:1/4\nQ:1/4=60\nK:G\nV:1\nG2|]\nV:2\nB2|]\n"
    (folder / "t" / "låtar.abc").write_text(two_voices, encoding="utf-8")
    setup = prepare(folder / "t", Wishes(edition=edition))
    wishes = sound.SoundWishes(parts=parts, format="wav")
    sound.export_sounds(setup, wishes, folder / "out", jobs=1)
    samples, rate = soundfile.read(folder / "out" / "låtar-1.wav")
    middle = samples[rate // 4 : 7 * rate // 4]
    spectrum = np.abs(np.fft.rfft(middle))
    grid = np.fft.rfftfreq(len(middle), 1 / rate)
    hz = {midi: 440 * 2 ** ((midi - 69) / 12) for midi in (67, 71)}
    levels = {midi: spectrum[np.abs(grid - at) < 4].max() for midi, at in hz.items()}
    for midi, level in levels.items():
        assert bool(level > 0.05 * max(levels.values())) is (midi in heard)


def test_an_accompaniment_that_is_printed_is_heard(folder: Path) -> None:
    setup = prepare(folder / "t", Wishes(edition="accompanist"))
    order, _ = sound.sound_order(sound.SoundWishes(), setup)
    assert order.parts == ("melody", "drone", "second", "chords", "bass")
    plain, _ = sound.sound_order(sound.SoundWishes(), prepare(folder / "t"))
    assert plain.parts == ("melody", "drone", "second")


def test_sound_is_a_kind_of_export() -> None:
    assert "sound" in EXPORT_KINDS


class Loudspeaker(types.ModuleType):
    """A stand-in for the module that plays: it keeps what it gets."""

    class PortAudioError(Exception):
        pass

    def __init__(self) -> None:
        super().__init__("sounddevice")
        self.played: list[np.ndarray] = []
        self.is_there = True
        outer = self

        class OutputStream:
            def __init__(self, **wishes: Any) -> None:
                assert wishes == {"samplerate": 44100, "channels": 1, "dtype": "int16"}

            def __enter__(self) -> OutputStream:
                outer.played.append(np.zeros((0, 1), dtype=np.int16))
                return self

            def __exit__(self, *_: object) -> None:
                pass

            def write(self, block: np.ndarray) -> None:
                outer.played[-1] = np.concatenate([outer.played[-1], block])

        self.OutputStream = OutputStream

    def check_output_settings(self, **_: Any) -> None:
        if not self.is_there:
            raise self.PortAudioError("Error querying device -1")


@pytest.fixture
def loudspeaker(monkeypatch: pytest.MonkeyPatch) -> Loudspeaker:
    module = Loudspeaker()
    monkeypatch.setitem(sys.modules, "sounddevice", module)
    return module


def test_hear_plays_the_bars_asked_for(
    folder: Path, command: Command, loudspeaker: Loudspeaker
) -> None:
    code, out, _ = command("hear", "t/låtar.abc", "--tune", "1", "--bars", "2-3")
    assert (code, out) == (0, "låtar.abc:1  Första, bars 2-3\n")
    (played,) = loudspeaker.played
    assert len(played) / 44100 == pytest.approx(6 * 0.25 + 3.0, abs=0.01)
    assert np.abs(played).max() > 3000


def test_hear_tries_the_best_drones_one_after_the_other(
    folder: Path, command: Command, loudspeaker: Loudspeaker
) -> None:
    code, out, _ = command("hear", "t/låtar.abc", "--tune", "Första", "--drones")
    lines = out.splitlines()
    assert code == 0 and 1 <= len(lines) <= 3
    assert lines[0] == "låtar.abc:1  Första; drone 1: " + lines[0].rsplit(" ", 1)[1]
    assert len(loudspeaker.played) == len(lines)
    assert len({played.tobytes() for played in loudspeaker.played}) == len(lines)
    explained = command("explain", "t/låtar.abc", "--tune", "Första", "--drones")[1]
    first = next(line for line in explained.splitlines() if line.strip().startswith("1. "))
    assert lines[0].rsplit(" ", 1)[1][0] in first.split(":")[0]


@pytest.mark.parametrize("bars", ["8-9", "x"])
def test_hear_says_which_bars_are_not_there(
    folder: Path, command: Command, loudspeaker: Loudspeaker, bars: str
) -> None:
    code, out, errors = command("hear", "t/låtar.abc", "--tune", "1", "--bars", bars)
    assert code in (2, 3) and out == "" and bars in errors and errors.count("\n") == 1
    assert loudspeaker.played == []


def test_hear_without_a_player_says_what_to_do(
    folder: Path, command: Command, monkeypatch: pytest.MonkeyPatch, loudspeaker: Loudspeaker
) -> None:
    loudspeaker.is_there = False
    code, _, errors = command("hear", "t/låtar.abc", "--tune", "1")
    assert code == 4 and errors.startswith("no loudspeaker can be used here (")
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    code, _, errors = command("hear", "t/låtar.abc", "--tune", "1")
    assert code == 4
    assert errors == (
        "nothing here plays sound: the package sounddevice is missing; "
        "pip install 'tunebook[hear]', or write files with export --to sound\n"
    )
