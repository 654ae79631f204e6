"""Decorations of ABC as LilyPond scripts, dynamics and words.

Names are those of The ABC Music Standard 2.1, section 4.14, in the one spelling that the reader
keeps. What is not listed is not printed. Fingering decorations are pins and come out as finger
numbers.
"""

from __future__ import annotations

from collections.abc import Iterable

SCRIPTS: dict[str, str] = {
    "trill": "^\\trill",
    "trill(": "^\\trill",
    "lowermordent": "^\\mordent",
    "uppermordent": "^\\prall",
    "roll": "^\\roll",
    "turn": "^\\turn",
    "turnx": "^\\slashturn",
    "invertedturn": "^\\reverseturn",
    "invertedturnx": "^\\reverseturn",
    "fermata": "^\\fermata",
    "invertedfermata": "_\\fermata",
    "staccato": "-\\staccato",
    "tenuto": "-\\tenuto",
    "wedge": "-\\staccatissimo",
    "accent": "^\\accent",
    "marcato": "^\\marcato",
    "upbow": "^\\upbow",
    "downbow": "^\\downbow",
    "open": "^\\open",
    "snap": "^\\snappizzicato",
    "plus": "^\\stopped",
    "thumb": "^\\thumb",
    "segno": '^\\signAbove "scripts.segno"',
    "coda": '^\\signAbove "scripts.coda"',
    "arpeggio": "\\arpeggio",
    "rit.": '_\\phraseWord "rit."',
    "accel.": '_\\phraseWord "accel."',
}

DYNAMICS: dict[str, str] = {
    name: f"\\{name}" for name in ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")
} | {
    "sfz": "\\sfz",
    "sfp": "\\sfp",
    "fp": "\\fp",
    "crescendo(": "\\<",
    "diminuendo(": "\\>",
    "crescendo)": "\\!",
    "diminuendo)": "\\!",
}

WORDS_AT_END: dict[str, str] = {
    "fine": "Fine",
    "D.C.": "D.C.",
    "D.S.": "D.S.",
    "D.C.alfine": "D.C. al Fine",
    "D.C.alcoda": "D.C. al Coda",
    "D.S.alfine": "D.S. al Fine",
    "D.S.alcoda": "D.S. al Coda",
    "dacoda": "al Coda",
}

# These stand after the note, not on it.
_AFTER_NOTE = {
    "breath": "\\breathe",
    "shortphrase": "\\breathe",
    "mediumphrase": "\\breathe",
    "longphrase": "\\breathe",
}


def scripts(decorations: Iterable[str]) -> tuple[str, ...]:
    """Post-events for a note's decorations, in the order in which they are stacked."""
    found: list[str] = []
    for name in decorations:
        text = SCRIPTS.get(name) or DYNAMICS.get(name)
        if text is not None and text not in found:
            found.append(text)
    return tuple(found)


def commands_after(decorations: Iterable[str]) -> tuple[str, ...]:
    """Commands that follow the note: breath marks."""
    found = [_AFTER_NOTE[name] for name in decorations if name in _AFTER_NOTE]
    return tuple(dict.fromkeys(found))


def words_at_end(decorations: Iterable[str]) -> tuple[str, ...]:
    """Words such as "D.C." or "Fine", to stand at the bar's end."""
    words = [WORDS_AT_END[name] for name in decorations if name in WORDS_AT_END]
    return tuple(dict.fromkeys(words))
