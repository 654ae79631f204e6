"""The one place where text from outside becomes LilyPond text.

LilyPond source is a programming language: an unescaped quote, backslash or line end in a title or
chord symbol can run code. So everything that was typed by somebody goes through
:func:`lilypond_string` and stands in quotes; nothing else in this package may put such text into
a source, not even in a comment.
"""

from __future__ import annotations

import unicodedata

MOST_LETTERS = 400

_BIDI_CONTROLS = frozenset(
    "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
_LINE_ENDS = frozenset("\t\n\v\f\r\x85\u2028\u2029")


def plain_text(text: str, most_letters: int = MOST_LETTERS) -> str:
    """``text`` on one line without anything that does not print.

    Line ends and tabs become spaces. Dropped: control characters, byte-order marks, surrogates,
    bidirectional controls, unassigned and private code points. At most ``most_letters`` characters
    are kept.
    """
    letters: list[str] = []
    for letter in text[: 4 * most_letters]:
        if letter in _LINE_ENDS:
            letters.append(" ")
        elif _is_printed(letter):
            letters.append(letter)
        if len(letters) == most_letters:
            break
    return "".join(letters)


def _is_printed(letter: str) -> bool:
    if letter == "\ufeff" or letter in _BIDI_CONTROLS:
        return False
    return unicodedata.category(letter) not in ("Cc", "Cs", "Cn", "Co")


def lilypond_string(text: str, most_letters: int = MOST_LETTERS) -> str:
    """``text`` as a LilyPond string, quotes included, that can only ever be read as text."""
    escaped = plain_text(text, most_letters).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
