"""Cuts text that is longer than anybody prints, and says so.

Names (title, composer, key, ...) and running text (remarks, history, words) have limits of their
own; the running text under one letter is counted together, however many lines it stands on.
"""

from __future__ import annotations

from tunebook.read.abc_lines import Item
from tunebook.read.limits import ReadingLimits
from tunebook.read.notices import Notices

# Fields that may hold sentences or lists (ABC 2.1, section 3.1); the others hold names.
_RUNNING_TEXT = frozenset("BDFHIJNSWZmrsw")


class TextLimits:
    """Counts the letters of a tune's fields. One message is made for a letter of the alphabet."""

    def __init__(self, limits: ReadingLimits, notices: Notices) -> None:
        self._limits = limits
        self._notices = notices
        self._letters: dict[str, int] = {}
        self._said: set[str] = set()

    def cut_items(self, items: list[Item]) -> list[Item]:
        """The fields of a header, those that are too long cut or left out."""
        return [cut for item in items if (cut := self._cut_item(item)) is not None]

    def cut(self, letter: str, value: str, line: int) -> str:
        """The text of one field as far as it is read; empty where nothing of it is."""
        most = self._limits.text_letters
        if letter not in _RUNNING_TEXT:
            most = min(most, self._limits.name_letters)
        # Words under the notes belong to their line of music; all other texts are read together.
        before = 0 if letter in "wsmr" else self._letters.get(letter, 0)
        room = min(most, self._limits.text_letters - before)
        self._letters[letter] = before + min(len(value), max(0, room))
        if len(value) <= room:
            return value
        name = "text_letters" if room < most or letter in _RUNNING_TEXT else "name_letters"
        self.say(f"{letter}:", name, line)
        return value[: max(0, room)]

    def cut_words(self, text: str, line: int) -> str:
        """Words over the music as far as they are read."""
        if len(text) > self._limits.name_letters:
            self.say("this text", "name_letters", line)
        return text[: self._limits.name_letters]

    def say(self, what: str, name: str, line: int) -> None:
        """Say that a limit was met; only once for the same words."""
        if what in self._said:
            return
        self._said.add(what)
        self._notices.add(
            "limit",
            f"{what} has more than {getattr(self._limits, name)} letters and is cut",
            f"shorten it, or raise {name} under [reading]",
            line=line,
        )

    def _cut_item(self, item: Item) -> Item | None:
        value = item.value
        cut = self.cut(item.letter, value, item.line)
        if len(cut) == len(value):
            return item
        if not cut and value:
            return None
        return Item(item.letter, cut, item.line, 0, len(cut))
