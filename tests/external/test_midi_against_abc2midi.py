"""Source: abc2midi (Debian package abcmidi), an independent player of ABC: our MIDI files of the
sample tunes hold the same tones at the same times, repeats and endings played.

Both sides play without decorations, grace notes and chord symbols: ours leaves them out of the
melody, and abc2midi is given a plain copy of the text. abc2midi does not play D.C. and Fine.
"""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import abc2midi_comparison as independent
import mido
import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.write.midi import tune_as_midi

SAMPLES = sorted((Path(__file__).parents[2] / "sample_tunes").glob("*.abc"))
JUMPS = ("D.C.", "D.S.")
TICKS = 1920  # of a whole note, as abc2midi counts


@pytest.fixture(scope="module", autouse=True)
def _program():
    if shutil.which("abc2midi") is None:
        if os.environ.get("CI"):
            pytest.fail("abc2midi (Debian package abcmidi) is not installed")
        pytest.skip("abc2midi (Debian package abcmidi) is not installed")


def events_of(data: bytes, tracks: Sequence[int] = (1,)) -> list[tuple[int, int, int]]:
    """(onset, pitch, duration) of the tones of a MIDI file's ``tracks``, in ticks of TICKS a whole
    note, sorted."""
    file = mido.MidiFile(file=io.BytesIO(data))
    unit = Fraction(TICKS, 4 * file.ticks_per_beat)
    events = []
    for number in tracks:
        sounding, now = {}, 0
        for message in file.tracks[number]:
            now += message.time
            if message.type == "note_on":
                sounding[message.note] = now
            elif message.type == "note_off":
                start = sounding.pop(message.note)
                events.append((round(start * unit), message.note, round((now - start) * unit)))
    return sorted(events)


def played_in_one(tune: Tune) -> list[int]:
    """Our tracks of what abc2midi plays in the melody's: the melody, and overlays."""
    overlays = [number for number, voice in enumerate(tune.voices, start=2) if "&" in voice.id]
    return [1, *overlays]


def has_jump(tune: Tune) -> bool:
    decorations = [name for bar in tune.bars for name in bar.decorations]
    decorations += [name for bar in tune.bars for note in bar.notes for name in note.decorations]
    return any(name.startswith(JUMPS) for name in decorations)


def compare(tunes: list[Tune], folder: Path) -> list[str]:
    copies = [
        independent.plain_copy(tune.source_text, number, with_repeats=True)
        for number, tune in enumerate(tunes, start=1)
    ]
    differences = []
    for tune, theirs in zip(tunes, independent.play_with_abc2midi(copies, folder), strict=True):
        assert theirs is not None, f"abc2midi cannot play {tune.title}"
        ours = events_of(tune_as_midi(tune), played_in_one(tune))
        difference = independent.first_difference(ours, theirs)
        if difference is not None:
            differences.append(f"{tune.place} {tune.title}: {difference}")
    return differences


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_sample_tunes_sound_the_same(path, tmp_path):
    tunes = [t for t in read_abc(path.read_text(encoding="utf-8"), path.name) if not has_jump(t)]
    assert tunes
    assert compare(tunes, tmp_path) == []


def test_comparison_notices_a_wrong_tone(tmp_path):
    (tune,) = read_abc("X:1\nT:a\nM:3/4\nL:1/8\nK:D\nD2 E2 F2 |]\n")
    (theirs,) = independent.play_with_abc2midi(
        [independent.plain_copy(tune.source_text.replace("E", "^E"), 1, with_repeats=True)],
        tmp_path,
    )
    assert theirs is not None
    assert independent.first_difference(events_of(tune_as_midi(tune)), theirs) is not None
