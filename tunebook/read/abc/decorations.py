"""What stands before a note: decorations, quoted text, user symbols and pins.

Decorations: names, symbols and the U: field.

Source: The ABC Music Standard 2.1, sections 4.14 (decorations) and 4.16 (redefinable symbols).
Names are kept without their exclamation marks; a staccato dot is "staccato", ~ is "roll".

What stands before a note: decorations, quoted text and user symbols.

Source: The ABC Music Standard 2.1, sections 4.14, 4.16, 4.18, 4.19.
"""

from __future__ import annotations

import re
from dataclasses import replace

from tunebook.errors import SourcePlace
from tunebook.model.choices import PLACEMENTS, Placement
from tunebook.model.tune import Annotation
from tunebook.read.abc.drafts import Attachments
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.symbols import read_chord_symbol, readable_part
from tunebook.read.abc.text import plain_text

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


_END_WORDS = re.compile(r"\W*(d\.?\s?[cs]\b|da capo|dal segno|fine\b|(to|al|da)\s+coda\b)", re.I)
_JUMP_WORDS = re.compile(
    r"\W*(d\.?\s?c\b|d\.?\s?s\b|da capo|dal segno|(?:fine|end|slut)\b|to coda|coda|segno)", re.I
)


def attach_decoration(
    attached: Attachments, name: str, notices: Notices, line: int, column: int, length: int
) -> None:
    """Add the decoration ``!name!``; fingers become pins, unknown names are said and kept."""
    if len(name) == 1 and name.isdigit():
        if name > "4":
            notices.add(
                "pin",
                f"finger {name} does not exist",
                "fingers are !0! (open) to !4! (little finger)",
                line=line,
                column=column,
                length=length,
            )
        else:
            attached.fingers.append(int(name))
        return
    canonical, is_known = canonical_decoration(name)
    if not is_known:
        notices.add(
            "decoration",
            f"decoration {name!r} is not known; it is kept but not printed",
            "see ABC 2.1, section 4.14, for the names",
            line=line,
            column=column,
            length=length,
        )
    elif canonical in NOT_PRINTED:
        notices.add(
            "decoration",
            f"decoration {name!r} has no sign in this book and is not printed",
            line=line,
            column=column,
            length=length,
        )
    attached.decorations.append(canonical)


_PLACEMENTS: dict[str, Placement] = {sign: sign for sign in PLACEMENTS}


def attach_quoted(
    attached: Attachments, text: str, notices: Notices, line: int, column: int
) -> None:
    """Add quoted text: an annotation when it begins with one of ^_<>@, else a chord symbol."""
    place = notices.place(line, column)
    content = plain_text(text)
    if not content:
        return
    placement = _PLACEMENTS.get(content[0])
    if placement is not None:
        words = content[1:].strip()
        if placement == "@":
            words = re.sub(r"^-?[\d.]+,-?[\d.]+\s*", "", words)
        attached.annotations.append(Annotation(place, words, placement))
        return
    chord = read_chord_symbol(content, place)
    known, unread = readable_part(content) if chord is None else ("", "")
    if known and attached.chord is None:
        notices.add(
            "chord-symbol",
            f'"{unread}" of the chord symbol "{content}" is not understood; {known} is kept',
            "write a bass as D/F#",
            line=line,
            column=column,
            length=len(text) + 2,
        )
        chord = read_chord_symbol(known, place)
        chord = None if chord is None else replace(chord, text=content)
    if chord is not None and attached.chord is None:
        attached.chord = chord
        return
    attached.annotations.append(Annotation(place, content, "^"))
    if _JUMP_WORDS.match(content) or not _looks_like_chord(content):
        return
    notices.add(
        "chord-symbol",
        f'"{content}" is no chord symbol and is read as words'
        if chord is None
        else f'"{content}" is a second chord symbol on one note and is read as words',
        'write words as "^words"',
        line=line,
        column=column,
        length=len(text) + 2,
    )


def _looks_like_chord(text: str) -> bool:
    """Whether words could have been meant as a chord symbol."""
    if text[0].islower():
        return read_chord_symbol(text[0].upper() + text[1:], SourcePlace("")) is not None
    return text[0] in "ABCDEFG(" and len(text) < 12


def attach_symbol(
    attached: Attachments,
    symbol: str,
    symbols: dict[str, str],
    notices: Notices,
    line: int,
    column: int,
) -> None:
    """Add what a one-letter symbol stands for (U:)."""
    meaning = symbols.get(symbol)
    if meaning is None:
        notices.add(
            "text",
            f"{symbol!r} stands for nothing and is ignored",
            f"take it out, or define it with U:{symbol} = !...!",
            line=line,
            column=column,
        )
    elif meaning.startswith('"'):
        attach_quoted(attached, meaning.strip('"'), notices, line, column)
    elif meaning:
        attach_decoration(attached, meaning.strip("!+"), notices, line, column, 1)


def bar_sign_share(attached: Attachments, is_between: bool) -> tuple[Attachments, Attachments]:
    """The decorations and words that stay at a bar sign, and those that wait for the next note.

    Before a bar sign with notes before it nearly all stays; between two bar signs (``is_between``)
    only what ends the music before them.
    """
    stays, waits = Attachments(), Attachments()
    for name in attached.decorations:
        does_wait = name.endswith("(") or (is_between and name not in ENDS_MUSIC)
        (waits if does_wait else stays).decorations.append(name)
    for words in attached.annotations:
        does_wait = is_between and not _END_WORDS.match(words.text)
        (waits if does_wait else stays).annotations.append(words)
    return stays, waits
