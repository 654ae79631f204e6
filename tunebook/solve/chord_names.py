"""Spelling of solved chords in a key, and what their tones are."""

from __future__ import annotations

from tunebook.errors import SourcePlace
from tunebook.model.tune import ChordSymbol, Key

_STEP_OF_FIFTH = (0, 4, 1, 5, 2, 6, 3)
"""Steps C G D A E B F: the line of fifths from C upwards, F last."""
_TRIADS = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "diminished": (0, 3, 6), "augmented": (0, 4, 8),
    "other": (0, 7),
}  # fmt: skip


def spell_root(pitch_class: int, key: Key) -> tuple[int, int]:
    """(step, alter) of a chord root in ``key``: within four fifths below the signature's major
    tonic and seven above, so that a minor key's raised leading tone is sharp."""
    offset = (pitch_class * 7 - key.fifths + 4) % 12 - 4
    fifths = key.fifths + offset
    return _STEP_OF_FIFTH[fifths % 7], (fifths + 1) // 7


def solved_symbol(
    pitch_class: int, quality: str, key: Key, place: SourcePlace, extension: str = ""
) -> ChordSymbol:
    """A chord of ours, spelled in ``key``; its text is its symbol."""
    step, alter = spell_root(pitch_class, key)
    plain = ChordSymbol(place, "", step, alter, quality, extension)
    return ChordSymbol(place, plain.symbol, step, alter, quality, extension)


def chord_classes(chord: ChordSymbol) -> tuple[int, ...]:
    """Pitch classes of the triad, root first, with a seventh at the end when it has one."""
    tones = list(_TRIADS[chord.quality])
    extension = chord.extension
    if extension.startswith("sus4") or extension == "sus":
        tones = [0, 5, 7]
    elif extension.startswith("sus2"):
        tones = [0, 2, 7]
    if extension.startswith("bb7"):
        tones.append(9)
    elif extension.startswith("maj"):
        tones.append(11)
    elif extension[:1] in ("7", "9") or extension[:2] in ("11", "13"):
        tones.append(10)
    return tuple((chord.root_class + tone) % 12 for tone in tones)


def bass_class(chord: ChordSymbol) -> int:
    """Pitch class of the lowest tone that the symbol asks for."""
    if chord.bass is None:
        return chord.root_class
    step, alter = chord.bass
    return ((0, 2, 4, 5, 7, 9, 11)[step] + alter) % 12
