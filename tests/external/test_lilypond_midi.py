"""Source: LilyPond's own MIDI output: what LilyPond plays from the source of a printed page is what
the ABC says, in pitch and time, each written bar once.

Grace notes and decorations are left out on both sides. Tunes are compared with our own reading,
which has its own comparison with abc2midi; so a difference here is one of the writing.
"""

from __future__ import annotations

import subprocess
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import abc2midi_comparison as independent
import mido
from corpus_tunes import random_tunes

from tunebook.engrave.program import clean_environment, find_lilypond
from tunebook.model.arrangement import Arrangement
from tunebook.model.book import Edition
from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.write.lilypond.source import write_source

SAMPLES = sorted((Path(__file__).parents[2] / "sample_tunes").glob("*.abc"))
CORPUS_TUNES = 60


def source_of(tune: Tune) -> str:
    """The LilyPond source of the printed page, which plays each written bar once."""
    undecorated = replace(
        tune,
        bars=tuple(
            replace(bar, notes=tuple(replace(note, decorations=()) for note in bar.notes))
            for bar in tune.bars
        ),
    )
    bare = Arrangement(undecorated, read_instrument("nyckelharpa-3row"), read_hand(), Limits(), ())
    edition = Edition("test", shows_grace_notes=False)
    piece = write_source(bare, edition, line_width_pt=480)
    return piece.text.replace("\\layout { }", "\\midi { }")


def played_by_lilypond(sources: list[str], folder: Path) -> list[list[independent.Event]]:
    """The tones of each source as LilyPond plays them, in abc2midi's ticks."""
    names = [f"t{number}.ly" for number in range(len(sources))]
    for name, source in zip(names, sources, strict=True):
        (folder / name).write_text(source, encoding="utf-8")
    command = [str(find_lilypond().path), "-dno-print-pages", "--loglevel=WARN", *names]
    done = subprocess.run(
        command, cwd=folder, env=clean_environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    paths = [folder / name.replace(".ly", ".midi") for name in names]
    return [events_of(path) if path.exists() else [] for path in paths]


def events_of(path: Path) -> list[independent.Event]:
    """(onset, pitch, duration) of all tones of a MIDI file, in ticks of 1920 a whole note."""
    file = mido.MidiFile(path)
    unit = Fraction(independent.TICKS, 4 * file.ticks_per_beat)
    events = []
    for track in file.tracks:
        now, sounding = 0, {}
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                sounding.setdefault(message.note, []).append(now)
            elif message.type in ("note_on", "note_off") and sounding.get(message.note):
                start = sounding[message.note].pop(0)
                events.append((round(start * unit), message.note, round((now - start) * unit)))
    return sorted(events)


def test_printed_bars_hold_the_notes_that_are_read(tmp_path):
    tunes = random_tunes(CORPUS_TUNES, seed=12)
    tunes += [tune for path in SAMPLES for tune in read_abc(path.read_text("utf-8"), path.name)]
    read = [independent.events_of_tune(tune, range(len(tune.bars))) for tune in tunes]
    ours = played_by_lilypond([source_of(tune) for tune in tunes], tmp_path)
    assert sum(len(events) for events in ours) > 5_000
    assert differences(tunes, ours, read) == []


def differences(tunes, ours, theirs) -> list[str]:
    """One line for each tune that is played differently."""
    found = []
    for tune, mine, other in zip(tunes, ours, theirs, strict=True):
        assert other is not None, f"{tune.title} has no reference"
        difference = independent.first_difference(mine, other)
        if difference is not None:
            found.append(f"{tune.place} {tune.title}: {difference}")
    return found
