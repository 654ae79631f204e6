"""How titles are sorted, and the letter under which one stands.

Swedish: å, ä and ö are letters of their own after z, æ and ø are sorted with ä and ö, ü with y
(Svenska Akademiens ordlista, from memory). English: letters with marks are sorted as the bare
letter, and a leading article does not count.
"""

from __future__ import annotations

import functools
import re
import unicodedata

_SWEDISH_LAST = {"å": "{a", "ä": "{b", "æ": "{b", "ö": "{c", "ø": "{c", "ü": "y"}
_SWEDISH_INITIALS = {"å": "Å", "ä": "Ä", "æ": "Ä", "ö": "Ö", "ø": "Ö"}
_PLAIN = {"æ": "ae", "ø": "o", "ß": "ss", "đ": "d", "ð": "d", "þ": "th", "ł": "l", "œ": "oe"}
_ENGLISH_ARTICLES = re.compile(r"^(the|an|a)\s+", re.IGNORECASE)
_INVERTED_ARTICLE = re.compile(r",\s*(the|an|a)$", re.IGNORECASE)


@functools.lru_cache(maxsize=8192)
def sort_key(text: str, language: str) -> tuple[str, tuple[tuple[int, int, str], ...], str]:
    """Key that sorts ``text`` in ``language`` ("en" or "sv"); numbers sort by their value. Text
    in other alphabets comes after Latin letters."""
    composed = unicodedata.normalize("NFC", text).strip()
    if language == "en":
        composed = _INVERTED_ARTICLE.sub("", _ENGLISH_ARTICLES.sub("", composed))
    letters = "".join(_letter(letter, language) for letter in composed.lower())
    pieces = re.findall(r"\d+|[^\W\d_{}]+|\{[abc]|\s+", letters)
    parts = tuple(
        (0, int(piece), "") if piece.isdecimal() else (1, 0, piece if piece.strip() else " ")
        for piece in pieces
    )
    return _rank(letters), _joined(parts), composed


def initial(text: str, language: str) -> str:
    """The letter under which ``text`` stands in an index; "#" for figures and signs."""
    composed = unicodedata.normalize("NFC", text).strip()
    if language == "en":
        composed = _ENGLISH_ARTICLES.sub("", composed)
    for letter in composed:
        if letter.isalpha():
            if language == "sv" and letter.lower() in _SWEDISH_INITIALS:
                return _SWEDISH_INITIALS[letter.lower()]
            return _letter(letter.lower(), language)[:1].upper() or "#"
        if letter.isdigit():
            return "#"
    return "#"


def _rank(letters: str) -> str:
    """Figures and signs first, then Latin letters, then others."""
    first = next((letter for letter in letters if letter.isalnum() or letter == "{"), "")
    if first == "" or first.isdigit():
        return "0"
    return "1" if first == "{" or first.isascii() else "2"


def _joined(parts: tuple[tuple[int, int, str], ...]) -> tuple[tuple[int, int, str], ...]:
    """Runs of letters joined again, so that words compare letter by letter."""
    joined: list[tuple[int, int, str]] = []
    for part in parts:
        if joined and joined[-1][0] == 1 and part[0] == 1:
            joined[-1] = (1, 0, joined[-1][2] + part[2])
        else:
            joined.append(part)
    return tuple(joined)


def _letter(letter: str, language: str) -> str:
    if language == "sv" and letter in _SWEDISH_LAST:
        return _SWEDISH_LAST[letter]
    if letter in _PLAIN:
        return _PLAIN[letter]
    bare = unicodedata.normalize("NFD", letter)
    return "".join(sign for sign in bare if not unicodedata.combining(sign))
