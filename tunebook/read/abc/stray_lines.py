"""Tells a line of music from a line of words, where neither belongs to a tune.

Our judgement: a word of the line counts as music when the reader would understand all of it and
no letter is left that no note, rest or usual symbol has; it counts as sure when it holds what
words do not, such as a bar sign, a length, an accidental or a rest.
"""

from __future__ import annotations

import re
from collections import Counter

from tunebook.read.abc.decorations import DEFAULT_SYMBOLS
from tunebook.read.abc.text import without_comment
from tunebook.read.abc.tokens import Token, tokens_of

_MOST_CHARACTERS = 2000
_SIGNS = frozenset(("broken", "tuplet", "grace", "decoration", "ending", "quotedending"))
_LENGTHS = re.compile(r"[^\d]*(?!0)\d{0,2}(?:/+\d{0,2})?")
_CHORD = re.compile(
    r"""\[(?:"[^"]*"|![^!]*!|[.~uv]|[\^_=]{0,2}[A-Ga-gxz][,']*[\d/]*-?|[ ()])+\][\d/]*"""
)
_AFTER_A_MARK = frozenset(
    ("note", "chord", "rest", "symbol", "grace", "open", "tuplet", "bar", "quoted", "decoration")
)
_BARE_WORD = re.compile(r"[A-Z]?[a-z]*|[A-Z]*")
_REPEATS = ("|:", ":|", "::")
_FIELD = re.compile(r"[A-Za-z+]:")
_MUSIC_FIELD = re.compile(r"[A-Ga-gz]:[|:\]]")
_LEAST_SHARE = 3
"""So many words of music there must be for each word of another kind, where no bar sign stands."""
_LEAST_NOTES = 3
"""So many bare letters A to G, parted by blanks, make a line of music."""


def is_field(line: str) -> bool:
    """Whether the line begins as a field does, and not as ``A:|``."""
    return bool(_FIELD.match(line)) and not _MUSIC_FIELD.match(line)


def looks_like_music(line: str) -> bool:
    """Whether a line that belongs to no tune is music that somebody will miss."""
    whole = without_comment(line[:_MOST_CHARACTERS]).strip()
    line = whole.removesuffix("\\").rstrip()
    if not line or is_field(line):
        return False
    tokens = tokens_of(line)
    words = [_kind_of(word) for word in _words(tokens)]
    kinds = Counter(words)
    sure, likely, marked, other = (kinds[one] for one in ("sure", "likely", "marked", "other"))
    if words[:1] == ["plain"]:
        return False
    has_bars = line != whole or any(map(_is_bar, tokens))
    if has_bars and likely + marked:
        sure += 1
    if not sure:
        return likely >= _LEAST_NOTES and not other + marked + kinds["plain"]
    against = (1 if has_bars else _LEAST_SHARE) * other + _LEAST_SHARE * kinds["plain"]
    return sure + likely + marked >= against


def _words(tokens: list[Token]) -> list[list[Token]]:
    """The tokens between blanks. Blanks inside quotes and brackets part nothing."""
    words: list[list[Token]] = [[]]
    for token in tokens:
        if token[0] == "space":
            words.append([])
        else:
            words[-1].append(token)
    return [word for word in words if word]


def _kind_of(word: list[Token]) -> str:
    """What one word is: "sure" or "likely" music, "marked" when letters stand before its notes,
    "plain" letters, "other", or "" (bars, numbers and quotes alone say nothing)."""
    sounding = [text for kind, text, _ in word if kind in ("note", "rest", "chord")]
    if not all(map(_may_sound, sounding)) or any(_is_foreign(word, at) for at in range(len(word))):
        letters = "".join(text for _, text, _ in word).strip(".,:;!?()'-")
        return "plain" if len(letters) > 1 and letters.isalpha() else "other"
    bars = [text for kind, text, _ in word if kind == "bar"]
    if not sounding:
        return "sure" if any(sign in text for text in bars for sign in _REPEATS) else ""
    has_sign = any(kind in _SIGNS or kind == "quoted" for kind, _, _ in word)
    has_rest_only = all(text[0] in "zxZX" for text in sounding)
    if has_sign or has_rest_only or any("|" in text for text in bars):
        return "sure"
    if any(len(text) > 1 for text in sounding) or not _BARE_WORD.fullmatch("".join(sounding)):
        return "sure"
    symbols = {text for kind, text, _ in word if kind == "symbol"}
    if "~" in symbols:
        return "sure"
    return "marked" if symbols - {"."} else "likely"


def _is_bar(token: Token) -> bool:
    return (token[0] == "bar" and "|" in token[1]) or token[0] in ("ending", "quotedending")


def _may_sound(text: str) -> bool:
    """Whether a note, rest or chord is written as people write them ("A2", and not "A0127")."""
    return bool(_CHORD.fullmatch(text) if text[0] == "[" else _LENGTHS.fullmatch(text))


def _is_foreign(word: list[Token], at: int) -> bool:
    """Whether a token has no place in music: a letter that marks no note, a stray sign."""
    kind, text, _ = word[at]
    if kind == "symbol":
        following = word[at + 1][0] if at + 1 < len(word) else ""
        is_mark = text in DEFAULT_SYMBOLS
        return not (is_mark and following in _AFTER_A_MARK)
    if kind == "number":
        return len(word) > 1
    return kind in ("other", "plus", "oldchord")
