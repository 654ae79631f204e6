"""Keys, clefs, tones, lengths and bar signs as ABC writes them (The ABC Music Standard 2.1,
sections 3.1.14, 4.1 to 4.3, 4.6 and 4.8)."""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.spelling import signature_alters
from tunebook.model.tune import STEP_LETTERS, Bar, Key, Pitch, Tempo

_NAMES = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_SIGNS = {
    Fraction(-2): "__", Fraction(-3, 2): "_3/2", Fraction(-1): "_", Fraction(-1, 2): "_/",
    Fraction(0): "=", Fraction(1, 2): "^/", Fraction(1): "^", Fraction(3, 2): "^3/2",
    Fraction(2): "^^",
}  # fmt: skip
_MODES = {
    "ionian": "", "dorian": "dor", "phrygian": "phr", "lydian": "lyd", "mixolydian": "mix",
    "aeolian": "m", "locrian": "loc", "none": "",
}  # fmt: skip
_CLEFS = {
    "french": "G1", "varbaritone": "F3", "baritone": "C5", "subbass": "F5", "soprano": "C1",
    "mezzosoprano": "C2",
}  # fmt: skip


def sign_text(alteration: float) -> str:
    """The accidental for so many semitones above the natural tone: "^", "=", "_/"."""
    return _SIGNS.get(Fraction(alteration), "")


def key_text(key: Key) -> str:
    """The text of K:, with a major key or a mode; signs set by hand follow it."""
    tonic = STEP_LETTERS[key.tonic_step] + _NAMES[key.tonic_alter]
    explicit = " ".join(_by_hand(step, alter) for step, alter in key.explicit)
    usual = list(signature_alters(key.fifths))
    for step, alter in key.explicit:
        usual[step] = alter
    if key.mode != "none" and tuple(usual) == key.alters:
        return f"{tonic}{_MODES[key.mode]} {explicit}".rstrip()
    every = " ".join(_by_hand(step, alter) for step, alter in enumerate(key.alters) if alter)
    if key.mode == "none":
        return every or "none"
    return f"{tonic} exp {every}".rstrip()


def _by_hand(step: int, alter: int) -> str:
    return sign_text(alter) + STEP_LETTERS[step].lower()


def clef_text(clef: str) -> str:
    """Properties of K: or V: that set a clef and leave the tones where they are written."""
    if not clef:
        return ""
    name, octave = clef, ""
    if clef[-2:] in ("_8", "^8"):
        name, octave = clef[:-2], "-8" if clef[-2] == "_" else "+8"
    shift = {"": "", "-8": " octave=1", "+8": " octave=-1"}[octave]
    return f"clef={_CLEFS.get(name, name)}{octave}{shift}"


def tempo_text(tempo: Tempo) -> str:
    """The text of Q:."""
    words = f'"{tempo.text.replace(chr(34), chr(39))}"' if tempo.text else ""
    figure = f"{tempo.beat}={tempo.per_minute:g}" if tempo.beat and tempo.per_minute else ""
    return f"{words} {figure}".strip()


def tone_text(pitch: Pitch) -> str:
    """The letter of a tone with its octave, without an accidental."""
    letter = STEP_LETTERS[pitch.step]
    if pitch.octave >= 5:
        return letter.lower() + "'" * (pitch.octave - 5)
    return letter + "," * (4 - pitch.octave)


def length_text(units: Fraction) -> str:
    """A length behind a note, in unit lengths: "" for one, "3/2", "/4"."""
    if units == 1:
        return ""
    top = "" if units.numerator == 1 else str(units.numerator)
    return top if units.denominator == 1 else f"{top}/{units.denominator}"


def bar_sign(bar: Bar, after: Bar | None) -> str:
    """The sign after a bar, with how often what it ends, and what it begins, is played."""
    ends = ":" * max(1, bar.repeat_passes - 1)
    if bar.sign_after == ":|":
        return ends + "|"
    if bar.sign_after == "::":
        return f"{ends}|:"
    if not bar.sign_after and after is None:
        return ""
    return bar.sign_after
