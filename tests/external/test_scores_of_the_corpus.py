"""Source: multi-voice pieces of music21's corpus in MusicXML, against the streams that music21's
own converter makes of the whole files: the same tones at the same times. The larger ones (Joplin,
Monteverdi 3.1, Schumann op. 41 no. 1, third movement) agree too and are left out for their length.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from abc2midi_comparison import Event, events_of_tune
from corpus_tunes import corpus_root

from tunebook.model.tune import Tune
from tunebook.model.voices import voice_as_tune
from tunebook.read.folder import AbcFile, iterate_tunes

PIECES = {
    "bach/bwv66.6.mxl": 4,  # four parts
    "corelli/opus3no1/1grave.xml": 3,
    "mozart/k545/movement1_exposition.mxl": 2,  # one part on two staves
    "liliuokalani/aloha_oe.mxl": 8,  # voices and piano, with chord symbols
    "demos/two-voices.xml": 2,  # two voices on one staff
    "demos/voices_with_chords.xml": 2,
    "leadSheet/fosterBrownHair.mxl": 1,
}
"""Each with the number of its voices."""


def read(path: Path) -> Tune:
    (found,) = iterate_tunes([AbcFile(path.name, path.read_bytes())])
    assert isinstance(found, tuple)
    return found[1]


def events_of_ours(tune: Tune) -> Counter[Event]:
    voices = [tune, *(voice_as_tune(tune, voice) for voice in tune.voices)]
    return Counter(
        event for voice in voices for event in events_of_tune(voice, range(len(voice.bars)))
    )


def events_of_music21(path: Path, *, at_sounding_pitch: bool = False) -> Counter[Event]:
    from music21 import converter

    score: Any = converter.parse(path, forceSource=True)
    if at_sounding_pitch:
        score = score.toSoundingPitch()
    return Counter(
        (_ticks(note.offset), int(pitch.midi), _ticks(note.quarterLength))
        for part in score.parts
        for note in part.stripTies().flatten().notes
        if note.quarterLength and "ChordSymbol" not in note.classSet
        for pitch in note.pitches
    )


def _ticks(quarters: Any) -> int:
    return round(Fraction(quarters) * 480)


@pytest.mark.parametrize("name", PIECES)
def test_each_tone_of_a_piece_is_that_of_music21(name: str) -> None:
    path = corpus_root() / name
    tune = read(path)
    assert len(tune.voices) + 1 == PIECES[name]
    assert events_of_ours(tune) == events_of_music21(path)


def test_part_that_is_written_an_octave_higher_sounds_as_music21_moves_it() -> None:
    """Up to bar 95, in which a note is longer than its bar and goes on in the next one too."""
    path = corpus_root() / "trecento" / "PMFC_01-Rex quem metrorum.xml"
    ours, theirs = (
        {event: count for event, count in found.items() if event[0] < 94 * 1440}
        for found in (events_of_ours(read(path)), events_of_music21(path, at_sounding_pitch=True))
    )
    assert len(ours) > 400
    assert ours == theirs
