"""Spelling of pitches that no one wrote down: open strings, drones, tones of chord shapes."""

from __future__ import annotations

from tunebook.model.spelling import spell_in_key
from tunebook.model.tune import STEP_SEMITONES, Key, Pitch

# Pitch class to (step, alter) without a key: the black keys as folk keys have them most often.
_MIXED_STEPS = ((0, 0), (0, 1), (1, 0), (2, -1), (2, 0), (3, 0), (3, 1), (4, 0), (4, 1), (5, 0),
                (6, -1), (6, 0))  # fmt: skip


def spelled_pitch(midi: int, key: Key | None = None) -> Pitch:
    """Return a spelling of MIDI number ``midi`` in ``key``; E flat and B flat without a key."""
    pitch_class = midi % 12
    step, alter = _MIXED_STEPS[pitch_class] if key is None else spell_in_key(pitch_class, key)
    octave = (midi - alter - STEP_SEMITONES[step]) // 12 - 1
    return Pitch(octave=octave, step=step, alter=alter)
