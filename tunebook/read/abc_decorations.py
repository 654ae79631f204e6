"""Decorations: names, symbols and the U: field.

Source: The ABC Music Standard 2.1, sections 4.14 (decorations) and 4.16 (redefinable symbols).
Names are kept without their exclamation marks; a staccato dot is "staccato", ~ is "roll".
"""

from __future__ import annotations

import re

DEFAULT_SYMBOLS = {
    ".": "staccato",
    "~": "roll",
    "H": "fermata",
    "J": "slide",
    "L": "accent",
    "M": "lowermordent",
    "O": "coda",
    "P": "uppermordent",
    "R": "roll",
    "S": "segno",
    "T": "trill",
    "u": "upbow",
    "v": "downbow",
}

_STANDARD = """trill trill( trill) lowermordent uppermordent mordent pralltriller roll turn turnx
invertedturn invertedturnx arpeggio > accent emphasis fermata invertedfermata tenuto 0 1 2 3 4 5 +
plus snap slide wedge upbow downbow open thumb breath pppp ppp pp p mp mf f ff fff ffff sfz
crescendo( <( crescendo) <) diminuendo( >( diminuendo) >) segno coda D.S. D.C. dacoda dacapo fine
shortphrase mediumphrase longphrase staccato ^ marcato"""
_COMMON = """tr dot umarcato ~( ~) -( -) / // /// xstem beam-accel beam-rall editorial courtesy
trem1 trem2 trem3 trem4 D.C.alcoda D.C.alfine D.S.alcoda D.S.alfine tocoda rit. accel.
8va( 8va) 8vb( 8vb) 15ma( 15ma) 15mb( 15mb) ped ped-up head-none invisible slur rbstop gmark
sforzato gliss glissando doit fall stemless beambr1 beambr2 irishroll"""
# Beyond the standard's list, those that the engraver has of its own (LilyPond Notation Reference,
# "Dynamics").
_MORE_DYNAMICS = "ppppp fffff fp sf sff sfp fz sp spp rfz n"
KNOWN = frozenset(" ".join((_STANDARD, _COMMON, _MORE_DYNAMICS)).split())
_WITHOUT_SIGN = """5 ~( ~) -( -) / // /// xstem beam-accel beam-rall editorial courtesy trem1 trem2
trem3 trem4 8va( 8va) 8vb( 8vb) 15ma( 15ma) 15mb( 15mb) ped ped-up head-none invisible slur rbstop
gmark gliss glissando doit fall stemless beambr1 beambr2"""
NOT_PRINTED = frozenset(_WITHOUT_SIGN.split())
"""Known, and yet without a sign on the page."""
DYNAMICS = frozenset(("pppp ppp pp p mp mf f ff fff ffff sfz " + _MORE_DYNAMICS).split())
_ENDS = """fine D.S. D.C. dacapo dacoda tocoda D.C.alcoda D.C.alfine D.S.alcoda D.S.alfine fermata
invertedfermata breath shortphrase mediumphrase longphrase crescendo) diminuendo) trill)"""
ENDS_MUSIC = frozenset(_ENDS.split())
"""What ends the music before it, and so belongs to the bar sign that follows."""
AT_BAR_SIGNS = ENDS_MUSIC | DYNAMICS | {"segno", "coda", "rit.", "accel."}
"""What has a meaning at a bar sign, with no note to stand on."""

_SAME = {
    ">": "accent",
    "emphasis": "accent",
    "mordent": "lowermordent",
    "pralltriller": "uppermordent",
    "+": "plus",
    "<(": "crescendo(",
    "<)": "crescendo)",
    ">(": "diminuendo(",
    ">)": "diminuendo)",
    "^": "marcato",
    "umarcato": "marcato",
    "tr": "trill",
    "dot": "staccato",
    "irishroll": "roll",
    "da capo": "dacapo",
    "D.C": "D.C.",
    "DC": "D.C.",
    "D.S": "D.S.",
    "DS": "D.S.",
    "dalsegno": "D.S.",
    "Fine": "fine",
    "FINE": "fine",
    "Segno": "segno",
    "Coda": "coda",
    "sforzato": "sfz",
}
_JUMP = re.compile(r"(D\.?\s?[CS]\.?)\s*al\s*(coda|fine)$", re.IGNORECASE)


def canonical_decoration(name: str) -> tuple[str, bool]:
    """The one name used for a decoration, and whether it is a known one."""
    name = name.strip()
    if name in _SAME:
        return _SAME[name], True
    if name in KNOWN:
        return name, True
    jump = _JUMP.match(name)
    if jump:
        letter = "C" if "c" in jump[1].lower() else "S"
        return f"D.{letter}.al{jump[2].lower()}", True
    lower = name.lower()
    if lower in _SAME or lower in KNOWN:
        return _SAME.get(lower, lower), True
    return name, False


def read_user_symbol(text: str) -> tuple[str, str] | None:
    """Read the text of U: ("T = !trill!", "W=\"^text\""); None when it is no definition.

    Returns the symbol and what it stands for, still in its ABC spelling; !nil! and !none! make
    the symbol stand for nothing.
    """
    match = re.match(r"\s*([H-Wh-w~.])\s*=?\s*(.+?)\s*$", text)
    if not match:
        return None
    value = match[2]
    if re.fullmatch(r"[!+](nil|none|ignore)[!+]", value):
        return match[1], ""
    if re.fullmatch(r"[\w.()<>^+-]+", value) and not value.startswith("+"):
        value = f"!{value}!"
    return match[1], value
