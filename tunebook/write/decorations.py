"""Decorations of ABC as LilyPond scripts, dynamics and words.

Names are those of The ABC Music Standard 2.1, section 4.14, in the one spelling that the reader
keeps. What is not listed is not printed. Fingering decorations are pins and come out as finger
numbers.
"""

from __future__ import annotations

from collections.abc import Iterable

SCRIPTS: dict[str, str] = {
    "trill": "^\\trill",
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
    "slide": "\\slideInto",
    "segno": '^\\signAbove "scripts.segno"',
    "coda": '^\\signAbove "scripts.coda"',
    "arpeggio": "\\arpeggio",
    "rit.": '_\\phraseWord "rit."',
    "accel.": '_\\phraseWord "accel."',
}

# LilyPond's own, which hold all of the standard's.
_LOUDNESS = """ppppp pppp ppp pp p mp mf f ff fff ffff fffff fp sf sfp sff sfz fz sp spp rfz n"""
DYNAMICS: dict[str, str] = {name: f"\\{name}" for name in _LOUDNESS.split()} | {
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
    "dacapo": "Da Capo",
    "dacoda": "Da",
    "tocoda": "To",
}
# Words that the sign of the coda follows: "the word Da followed by a Coda sign".
_BEFORE_CODA = ("dacoda", "tocoda")
# Signs that may stand over a bar line; those at which somebody comes in stand where the new line
# begins when it ends there.
_SIGNS_AT_BAR = {
    "fermata": "scripts.ufermata",
    "invertedfermata": "scripts.dfermata",
    "segno": "scripts.segno",
    "coda": "scripts.coda",
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
    """Commands for words such as "D.C." or "Fine", to stand at the bar's end."""
    commands = [
        f'\\{"endWordCoda" if name in _BEFORE_CODA else "endWord"} "{WORDS_AT_END[name]}"'
        for name in decorations
        if name in WORDS_AT_END
    ]
    return tuple(dict.fromkeys(commands))


def at_bar_sign(decorations: Iterable[str], *, is_departure: bool = False) -> tuple[str, ...]:
    """Commands for what stands at a bar sign with no note to bear it: signs over the bar line,
    dynamics, the ends of wedges and of trills. ``is_departure`` says of a coda sign that one
    leaves there, so that it stays at the end of its line."""
    commands = []
    for name in decorations:
        if name in _SIGNS_AT_BAR:
            is_target = name == "segno" or (name == "coda" and not is_departure)
            command = "barSignNext" if is_target else "barSign"
            commands.append(f'\\{command} "{_SIGNS_AT_BAR[name]}"')
        elif name in _AFTER_NOTE:
            commands.append(_AFTER_NOTE[name])
        elif name in DYNAMICS:
            commands.append(f"<>{DYNAMICS[name]}")
        elif name in ("rit.", "accel."):
            commands.append(f"<>{SCRIPTS[name]}")
    return tuple(dict.fromkeys(commands))
