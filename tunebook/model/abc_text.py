"""Texts as ABC holds them in fields, between quotation marks and under notes (The ABC Music
Standard 2.1, section 8.2)."""

from __future__ import annotations


def in_field(text: str) -> str:
    """Text as a field of ABC holds it: one line, nothing in it taken for a comment or an escape."""
    line = " ".join(text.split())
    for sign in "\\%&":
        line = line.replace(sign, "\\" + sign)
    return line


def in_quotes(text: str) -> str:
    """Text as it stands between quotation marks in music."""
    line = in_field(text)
    for sign in '"=[]|':
        line = line.replace(sign, f"\\u{ord(sign):04x}")
    return line


def in_words(text: str) -> str:
    """A syllable as it stands in w:."""
    line = in_field(text)
    for sign in "_*|~-":
        line = line.replace(sign, f"\\u{ord(sign):04x}")
    return line.replace(" ", "~")
