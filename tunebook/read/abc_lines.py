"""Sorts the lines of a tune: header fields, then fields and music of the voices.

Source: The ABC Music Standard 2.1, sections 2.2 and 3 (fields), 6.1 (continuation), 7 (voices).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from tunebook.read.abc_text import without_comment
from tunebook.read.abc_text_blocks import TextBlock
from tunebook.read.notices import Notices

BODY_FIELDS = frozenset("IKLMmNPQRrsTUVWw")
KNOWN_FIELDS = BODY_FIELDS | frozenset("ABCDFGHOSXZ")
OUTDATED_FIELDS = frozenset("E")
"""E: once set the space between notes (ABC 2.1, section 10); it passes in silence."""
_MUSIC_AFTER_COLON = re.compile(r"[A-Ga-gz]:[|:\]]")
_INLINE_VOICE = re.compile(r"\[V:\s*([^\s\]]+)[^\[\]]*\]")
_PER_VOICE = frozenset("KLMVsw")


@dataclass(slots=True)
class Item:
    """A field (``letter`` set) or a stretch of music (``letter`` empty) of the tune's body.

    ``text`` is the whole source line without its comment, of which ``start`` to ``end`` belongs
    to this item (for a field: its value). ``line`` counts from 0. ``is_continued`` says that a
    backslash ended the line. ``columns`` gives the source column of each character, and of the
    end, where macros changed the text; ``more`` holds the lines that continue a field.
    """

    letter: str
    text: str
    line: int
    start: int
    end: int
    is_continued: bool = False
    columns: list[int] | None = None
    more: list[str] = field(default_factory=list)

    @property
    def value(self) -> str:
        """The text of the item, continued fields (+:) joined to it."""
        own = self.text[self.start : self.end]
        return " ".join([own, *self.more]) if self.more else own


@dataclass(slots=True)
class SortedLines:
    """The header's fields and the body's items in order; directives (%% and I:) are fields of
    letter "I"."""

    header: list[Item] = field(default_factory=list)
    body: list[Item] = field(default_factory=list)


def sort_lines(lines: list[str], notices: Notices) -> SortedLines:
    """Sort the lines of one tune. The header ends with its K: field."""
    result = SortedLines()
    has_key = False
    last: Item | None = None
    block: TextBlock | None = None
    for number, line in enumerate(lines):
        target = result.body if has_key else result.header
        if block is not None:
            if block.ends_with(line):
                target += [_instruction(text, at) for at, text in block.instructions()]
                block = None
            else:
                block.add(line, number)
            continue
        if line.startswith("%"):
            if line.startswith("%%"):
                block = _directive(line, number, target)
            continue
        item = _item_of(line, number, has_key, last)
        if item is None:
            continue
        if has_key:
            result.body.append(item)
        elif item.letter:
            result.header.append(item)
            has_key = item.letter == "K"
        else:
            _say_before_key(notices, number, line)
        last = item if item.letter else None
    if block is not None:
        _say_unclosed(notices, block.line, lines)
    return result


def _say_before_key(notices: Notices, number: int, line: str) -> None:
    notices.add(
        "field",
        "this line stands before the tune's K: field and is not read",
        "move it after K:, or write it as a field",
        line=number,
        column=1,
        length=len(line),
    )


def _directive(line: str, number: int, target: list[Item]) -> TextBlock | None:
    """Note a %% line; return the block of free text (%%begin...) that it opens, if any."""
    text = line[2:].strip()
    if text.startswith("begin"):
        return TextBlock(text, number)
    start = line.find(text, 2)
    target.append(Item("I", line, number, start, start + len(text)))
    return None


def _instruction(text: str, line: int) -> Item:
    return Item("I", text, line, 0, len(text))


def _say_unclosed(notices: Notices, line: int, lines: list[str]) -> None:
    notices.add(
        "text",
        "this block has no end, so that all after it is read as text",
        "write %%endtext after its last line",
        line=line,
        column=1,
        length=len(lines[line]),
    )


def _item_of(line: str, number: int, has_key: bool, last: Item | None) -> Item | None:
    """The field or music of one line; None for an empty one and for a continued field."""
    text = without_comment(line) if "%" in line else line
    if len(text) > 1 and text[1] == ":":
        letter = text[0]
        is_letter = letter.isascii() and letter.isalpha()
        if is_letter and not (has_key and _is_music(letter, text)):
            end = max(2, len(text.rstrip()))
            start = len(text) - len(text[2:].lstrip())
            return Item(letter, text, number, min(start, end), end)
        if letter == "+" and last is not None:
            last.more.append(text[2:].strip())
            return None
    bare = text.rstrip()
    if not bare:
        return None
    is_continued = bare.endswith("\\")
    end = len(bare) - 1 if is_continued else len(bare)
    return Item("", text, number, 0, end, is_continued)


def _is_music(letter: str, text: str) -> bool:
    """Whether a line of the body such as ``A:|`` is music and no field."""
    return letter not in BODY_FIELDS and bool(_MUSIC_AFTER_COLON.match(text))


def voices_of(sorted_lines: SortedLines) -> list[str]:
    """The voices that have music, in the order of the header or else of the body; [""] when the
    tune names none."""
    named = [item.value.split()[0] for item in sorted_lines.header if _names_voice(item)]
    heard = dict.fromkeys(
        voice for voice, item in _with_voices(sorted_lines.body) if not item.letter
    )
    in_order = [voice for voice in dict.fromkeys(named) if voice in heard]
    return list(dict.fromkeys([*in_order, *filter(None, heard)])) or [""]


def _names_voice(item: Item) -> bool:
    return item.letter == "V" and bool(item.value.strip())


def _with_voices(body: list[Item]) -> list[tuple[str, Item]]:
    """Each item with the voice it belongs to ("" before the first V:), lines cut at [V:]."""
    pairs: list[tuple[str, Item]] = []
    voice = ""
    for item in body:
        if _names_voice(item):
            voice = item.value.split()[0]
        if item.letter or "[V:" not in item.text:
            pairs.append((voice, item))
            continue
        start = item.start
        for match in _INLINE_VOICE.finditer(item.text, item.start, item.end):
            if item.text[start : match.start()].strip():
                pairs.append((voice, Item("", item.text, item.line, start, match.start(), True)))
            voice, start = match[1], match.start()
        pairs.append((voice, Item("", item.text, item.line, start, item.end, item.is_continued)))
    return pairs


def body_of_voice(sorted_lines: SortedLines, voice: str, is_first: bool) -> list[Item]:
    """The items of one voice in order. What stands before any V: belongs to the first voice;
    fields that concern the whole tune belong to every voice."""
    items = []
    for owner, item in _with_voices(sorted_lines.body):
        is_own = owner in (voice, "*") or (owner == "" and (is_first or item.letter))
        if is_own or (item.letter and item.letter not in _PER_VOICE):
            items.append(item)
    return items
