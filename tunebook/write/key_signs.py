"""Key signatures as LilyPond commands."""

from __future__ import annotations

import functools

from tunebook.model.tune import Key

_LETTERS = "cdefgab"
_SIGNS = {-2: "ff", -1: "f", 0: "", 1: "s", 2: "ss"}
_MODES = ("ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "locrian")
_MODE_NAMES = {"ionian": "major", "aeolian": "minor"}
# Order in which sharps appear, as steps (0 = C); flats appear in the reverse order.
_SHARP_STEPS = (3, 0, 4, 1, 5, 2, 6)
# Tonics of the major keys by number of sharps (+) or flats (-).
_TONICS = ("cf", "gf", "df", "af", "ef", "bf", "f", "c", "g", "d", "a", "e", "b", "fs", "cs")
_MAJOR_TONICS = dict(zip(range(-7, 8), _TONICS, strict=True))


def signature_alters(fifths: int) -> tuple[int, ...]:
    """The alteration of each step C..B in the signature with so many sharps (+) or flats (-)."""
    alters = [0] * 7
    for step in _SHARP_STEPS[: max(0, fifths)]:
        alters[step] = 1
    for step in tuple(reversed(_SHARP_STEPS))[: max(0, -fifths)]:
        alters[step] = -1
    return tuple(alters)


@functools.lru_cache(maxsize=256)
def key_command(key: Key) -> str:
    """The command that prints exactly the signs in ``key.alters``."""
    for fifths in sorted(range(-7, 8), key=abs):
        if signature_alters(fifths) == key.alters:
            if fifths == key.fifths and key.mode in _MODES:
                tonic = _LETTERS[key.tonic_step] + _SIGNS.get(key.tonic_alter, "")
                return f"\\key {tonic} \\{_MODE_NAMES.get(key.mode, key.mode)}"
            return f"\\key {_MAJOR_TONICS[fifths]} \\major"
    signs = " ".join(
        f"({step} . {alter}/2)" for step, alter in enumerate(key.alters) if alter and abs(alter) < 3
    )
    return f"\\set Staff.keyAlterations = #'({signs})"
