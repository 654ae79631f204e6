"""Spelling of pitches that no one wrote down: open strings, drones, tones of chord shapes."""

from __future__ import annotations

from tunebook.model.tune import STEP_SEMITONES, Key, Pitch

# Pitch class to (step, alter). One spelling each; the black keys as folk keys have them most often.
_SHARP_STEPS = {0: (0, 0), 1: (0, 1), 2: (1, 0), 3: (1, 1), 4: (2, 0), 5: (3, 0), 6: (3, 1),
                7: (4, 0), 8: (4, 1), 9: (5, 0), 10: (5, 1), 11: (6, 0)}  # fmt: skip
_FLAT_STEPS = _SHARP_STEPS | {1: (1, -1), 3: (2, -1), 6: (4, -1), 8: (5, -1), 10: (6, -1)}
_MIXED_STEPS = _SHARP_STEPS | {3: (2, -1), 10: (6, -1)}


def spelled_pitch(midi: int, key: Key | None = None) -> Pitch:
    """Return a spelling of MIDI number ``midi``: as the signature of ``key`` has it when the tone
    is in the key, else sharp in sharp keys and flat in flat keys; E flat and B flat without a key.
    """
    pitch_class = midi % 12
    step, alter = _steps(key)[pitch_class]
    if key is not None:
        for in_key_step, in_key_alter in enumerate(key.alters):
            if (STEP_SEMITONES[in_key_step] + in_key_alter) % 12 == pitch_class:
                step, alter = in_key_step, in_key_alter
    octave = (midi - alter - STEP_SEMITONES[step]) // 12 - 1
    return Pitch(octave=octave, step=step, alter=alter)


def _steps(key: Key | None) -> dict[int, tuple[int, int]]:
    if key is None or key.fifths == 0:
        return _MIXED_STEPS
    return _SHARP_STEPS if key.fifths > 0 else _FLAT_STEPS
