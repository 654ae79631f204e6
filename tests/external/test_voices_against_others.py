"""Sources: abc2midi (Debian package abcmidi) and music21's own streams, on multi-voice ABC.

The real tunes are those of music21's corpus in which V: names more than one voice: eleven of
airdsAirs (books 3 and 6) and four of miscFolk (americanfifeopus.abc).
"""

from __future__ import annotations

import functools
import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from abc2midi_comparison import (
    TICKS,
    Event,
    events_of_tune,
    first_difference,
    plain_copy,
    tracks_with_abc2midi,
)
from corpus_folders import corpus_folder

from tunebook.model.tune import Tune
from tunebook.model.voices import voice_as_tune
from tunebook.read.abc.tune import TuneText, read_abc, read_tune
from tunebook.read.folder import iterate_files, iterate_tune_texts

needs_abc2midi = pytest.mark.skipif(
    shutil.which("abc2midi") is None and not os.environ.get("CI"),
    reason="abc2midi (Debian package abcmidi) is not installed",
)


@functools.cache
def tunes_with_voices() -> tuple[Tune, ...]:
    tunes = []
    for name in ("airdsAirs", "miscFolk"):
        for text in iterate_tune_texts(iterate_files(corpus_folder(name))):
            if isinstance(text, TuneText) and "V:" in text.text:
                tune = read_tune(text)
                tunes += [tune] if tune.voices else []
    return tuple(tunes)


def events_of_voices(tune: Tune) -> list[list[Event]]:
    """The events of each voice as it is written, the melody's first."""
    order = range(len(tune.bars))
    voices = [tune, *(voice_as_tune(tune, voice) for voice in tune.voices)]
    return [events_of_tune(voice, order) for voice in voices]


def test_corpus_has_the_tunes_that_are_named_here() -> None:
    assert len(tunes_with_voices()) == 15
    assert sum(len(tune.voices) for tune in tunes_with_voices()) == 17


@needs_abc2midi
def test_each_voice_of_real_tunes_sounds_as_abc2midi_plays_it(tmp_path: Path) -> None:
    differing = []
    for tune in tunes_with_voices():
        copy = plain_copy(tune.source_text, 1, with_repeats=False, with_all_voices=True)
        theirs = tracks_with_abc2midi(copy, tmp_path)
        ours = events_of_voices(tune)
        assert len(ours) == len(theirs), tune.place
        for number, (mine, other) in enumerate(zip(ours, theirs, strict=True)):
            difference = first_difference(mine, other)
            if difference is not None:
                differing.append(f"{tune.place} voice {number}: {difference}")
    assert not differing


HEAD = "X:1\nT:t\nM:3/4\nL:1/8\n"
MADE_UP = {
    "blocks": "V:1\nV:2\nK:Dm\nV:1\nA2|d4 e2|^f3g a2|(3bag f4|]\nV:2\nz2|D6|F2 G2 A2|B,3 ^C D2|]\n",
    "lines": "V:1\nV:2 octave=-1\nK:G\n[V:1]G2B2d2|f6|\n[V:2]G6|f4 =f2|\n[V:1]g6|\n[V:2][GB]6|\n",
    "fields": "K:D\nV:1\nf6|[K:G]f6|\nV:2\nf6|f6|[L:1/4]\nV:1\n[M:2/4]g4|\nV:2\n[M:2/4]g2|\n",
    "accidentals": "K:C\nV:1\n^f2f2f2|f6|\nV:2\nf2^f2f2|f6|\n",
    "ties": "K:C\nV:1\nc6-|c6|\nV:2\nE4-E2-|E3F2G|\n",
    "order": "%%score 2 1\nV:1\nV:2\nK:C\nV:1\nc6|\nV:2\nE6|\n",
}


@needs_abc2midi
@pytest.mark.parametrize("name", MADE_UP)
def test_each_way_of_writing_voices_sounds_as_abc2midi_plays_it(name: str, tmp_path: Path) -> None:
    text = HEAD + MADE_UP[name]
    (tune,) = read_abc(text)
    theirs = tracks_with_abc2midi(
        plain_copy(text, 1, with_repeats=False, with_all_voices=True), tmp_path
    )
    ours = events_of_voices(tune)
    if name == "order":  # abc2midi keeps to the order of the body
        ours.reverse()
    assert len(ours) == len(theirs) == 2
    assert [first_difference(*pair) for pair in zip(ours, theirs, strict=True)] == [None, None]


OVERLAYS = {
    "one bar": "c2d2e2|f2g2a2 & F6|g6|]\n",
    "two overlays": "c2d2e2 & C6 & E4 F2|g6|]\n",
    "accidentals": "^c2d2e2 & c6|c6 & c6|]\n",
}


@needs_abc2midi
@pytest.mark.parametrize("name", OVERLAYS)
def test_overlays_sound_as_abc2midi_plays_them(name: str, tmp_path: Path) -> None:
    text = f"{HEAD}K:C\n{OVERLAYS[name]}"
    (tune,) = read_abc(text)
    theirs = tracks_with_abc2midi(plain_copy(text, 1, with_repeats=False), tmp_path)
    ours = [events for events in events_of_voices(tune) if events]
    together = [sorted(event for voice in side for event in voice) for side in (ours, theirs)]
    assert len(ours) > 1
    assert first_difference(*together) is None


def test_each_voice_of_real_tunes_is_what_music21_reads_of_its_lines() -> None:
    """music21 joins the voices of these tunes to one, or makes a part of each block, so that it is
    given the lines of each voice by themselves, invisible rests as plain ones: it has none."""
    from music21 import converter

    differing = []
    for tune in tunes_with_voices():
        names = [tune.melody_voice.id, *(voice.id for voice in tune.voices)]
        for name, ours in zip(names, events_of_voices(tune), strict=True):
            copy = plain_copy(tune.source_text, 1, with_repeats=False, only_voice=name).replace(
                "x", "z"
            )
            theirs = _events_of_stream(converter.parse(copy, format="abc"))
            if first_difference(ours, theirs) is not None:
                differing.append(f"{tune.place} voice {name}")
    assert differing == FORGOTTEN_ACCIDENTALS


FORGOTTEN_ACCIDENTALS = [
    "book6.abc:2473 voice 2",  # ^A>A in one bar: the second A is sharp too
    "americanfifeopus.abc:85 voice 1",  # =cB B4 c: the second c is natural too
]
"""An accidental holds to the end of its bar (ABC 2.1, section 4.2), as abc2midi plays it; music21
forgets these."""


def _events_of_stream(stream: Any) -> list[Event]:
    notes = stream.stripTies().flatten().notes
    return sorted(
        (
            round(note.offset * TICKS / 4),
            pitch.midi,
            round(note.quarterLength * TICKS / 4),
        )
        for note in notes
        if note.quarterLength
        for pitch in note.pitches
    )
