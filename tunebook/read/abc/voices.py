"""Which voices a tune has, what they are called, and which lines of its body are whose.

Source: The ABC Music Standard 2.1, section 7 (V:, in lines of its own or inline). That %%score and
%%staves put voices in order is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from tunebook.model.tune import VoiceName
from tunebook.read.abc.lines import Item, SortedLines
from tunebook.read.abc.text import plain_text

_INLINE_VOICE = re.compile(r"\[V:\s*([^\s\]]+)([^\[\]]*)\]")
_PER_VOICE = frozenset("KLMVsw")
_OF_ALL_VOICES = frozenset("ImU")
_SCORE = re.compile(r"(?:score|staves)\s+(.*)", re.DOTALL)
_BRACKETS = re.compile(r"[\s()\[\]{}|*]+")
_NAME = re.compile(r'\b(name|nm|subname|sname|snm)\s*=\s*(?:"([^"]*)"|(\S+))', re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class VoiceLines:
    """The body of a tune as its voices have it. ``names`` are the ids of the voices that have
    music, in the order of the score, [""] when the tune names none; ``first`` is the one to which
    music before any V: belongs; ``owned`` is each item with the id under which it stands."""

    names: tuple[str, ...]
    first: str
    owned: tuple[tuple[str, Item], ...]

    def of(self, voice: str, *, is_melody: bool = True) -> list[Item]:
        """The items of one voice in order. Fields that concern the whole tune belong to the melody,
        wherever they stand; those that define how music is read, to every voice."""
        others = frozenset("") if is_melody else _OF_ALL_VOICES
        items = []
        for owner, item in self.owned:
            is_own = owner in (voice, "*") or (
                owner == "" and (voice == self.first or bool(item.letter))
            )
            is_shared = item.letter in others or (is_melody and item.letter not in _PER_VOICE)
            if is_own or (item.letter and is_shared):
                items.append(item)
        return items


def voice_lines(sorted_lines: SortedLines) -> VoiceLines:
    """Find the voices of a tune."""
    owned = _with_voices(sorted_lines.body)
    heard = dict.fromkeys(voice for voice, item in owned if not item.letter)
    header = [item.value.split()[0] for item in sorted_lines.header if _names_voice(item)]
    first = _first_of(header, heard)
    if "" in heard and first:
        heard = dict.fromkeys([first, *heard])
    in_order = [voice for voice in header if voice in heard]
    names = list(dict.fromkeys([*in_order, *filter(None, heard)])) or [""]
    items = [*sorted_lines.header, *sorted_lines.body]
    score = [voice for voice in _score_order(items) if voice in names]
    return VoiceLines(tuple(dict.fromkeys([*score, *names])), first or names[0], tuple(owned))


def _first_of(header: Sequence[str], heard: Iterable[str]) -> str:
    """The voice to which music before any V: belongs: the header's first one, else the first of
    the body, or a first one of its own where that is called 2."""
    named = [voice for voice in heard if voice]
    if header:
        return header[0]
    if "2" in named[:1]:
        return "1"
    return named[0] if named else ""


def _score_order(items: Iterable[Item]) -> list[str]:
    for item in items:
        match = _SCORE.match(item.value) if item.letter == "I" else None
        if match:
            return [name for name in _BRACKETS.split(match[1]) if name]
    return []


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
                piece = replace(item, start=start, end=match.start(), is_continued=True)
                pairs.append((voice, piece))
            voice, start = match[1], match.start()
        pairs.append((voice, replace(item, start=start)))
    return pairs


def name_of_voice(voice: str, sorted_lines: SortedLines) -> VoiceName:
    """What the voice is called where V: says so, in the header or later."""
    found: dict[str, str] = {}
    for properties in _properties(voice, sorted_lines):
        for word, quoted, bare in _NAME.findall(properties):
            key = "name" if word.lower() in ("name", "nm") else "short"
            text = plain_text((quoted or bare)[:300].replace("\\n", " ")).strip()
            found.setdefault(key, text)
    return VoiceName(id=voice, name=found.get("name", ""), short_name=found.get("short", ""))


def _properties(voice: str, sorted_lines: SortedLines) -> Iterable[str]:
    for item in [*sorted_lines.header, *sorted_lines.body]:
        if _names_voice(item):
            name, _, properties = item.value.strip().partition(" ")
            if name == voice:
                yield properties
        elif not item.letter and "[V:" in item.text:
            for match in _INLINE_VOICE.finditer(item.text, item.start, item.end):
                if match[1] == voice:
                    yield match[2]
