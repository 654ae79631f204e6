"""Spelling of pitches that no one wrote down, along the line of fifths.

Every name has a place on that line (F -1, C 0, G 1, ... F# 6, Bb -2); which of a pitch's names is
meant shows in how far it lies from the key (Temperley, The Cognition of Basic Musical Structures,
2001, ch. 5). How far to either side is our judgement.
"""

from __future__ import annotations

from tunebook.model.tune import STEP_SEMITONES, Key

_STEP_OF_FIFTH = (0, 4, 1, 5, 2, 6, 3)
"""Steps C G D A E B F: the line of fifths from C upwards, F last."""

_LOWEST, _HIGHEST = -15, 19
"""Fbb and B##: the ends of the names with no more than two signs."""


def spell_in_key(pitch_class: int, key: Key) -> tuple[int, int]:
    """(step, alter) of a pitch class (0 = C) in ``key``: as the signature has it when the tone is
    in it; else within four fifths below the signature's major tonic and seven above, in keys with
    a minor third within three and eight, so that the raised leading tone of a minor key is sharp
    (G# in A minor, F# in G minor)."""
    for step, alter in enumerate(key.alters):
        if (STEP_SEMITONES[step] + alter) % 12 == pitch_class:
            return step, alter
    below = 3 if key.is_minor_like else 4
    fifths = key.fifths + (pitch_class * 7 - key.fifths + below) % 12 - below
    if not _LOWEST <= fifths <= _HIGHEST:  # a signature with more signs than seven
        fifths = (fifths - _LOWEST) % 12 + _LOWEST
    return _STEP_OF_FIFTH[fifths % 7], (fifths + 1) // 7
