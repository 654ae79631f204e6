"""Collects the messages about one tune, with place, source line and underlined text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tunebook.errors import Message, SourcePlace
from tunebook.model.names import in_ranges
from tunebook.read.spots import Spots

MOST_OF_A_KIND = 20


class Notices:
    """The messages of one tune. ``lines`` are the tune's source lines, ``first_line`` the number
    of the first of them in the file. What has one cause is one message, at its first place, that
    says how often and in which lines. Of each kind only the first few are kept in full, and the
    rest are counted in one closing message, so that a text of noise cannot grow without end."""

    def __init__(
        self, path: str, lines: Sequence[str], first_line: int, spots: Spots | None = None
    ) -> None:
        self.path = path
        self.lines = lines
        self.first_line = first_line
        self._spots = spots
        self._messages: dict[tuple[str, str], Message] = {}
        self._lines: dict[tuple[str, str], list[int]] = {}
        self._counts: dict[str, int] = {}

    def place(self, line: int, column: int = 0) -> SourcePlace:
        """The place of a column (from 1) in the tune's line with index ``line`` (from 0)."""
        number = self.first_line + line
        if self._spots is None:
            return SourcePlace(self.path, number, column)
        return SourcePlace(self.path, number, column, self._spots.at(number, column))

    def add(
        self,
        kind: str,
        what: str,
        remedy: str = "",
        *,
        line: int,
        column: int = 0,
        length: int = 1,
        cause: str = "",
    ) -> None:
        """Note something about ``length`` characters at ``column`` (from 1; 0 = whole line).
        ``cause`` joins messages whose texts differ; else those with one text are joined.

        A negative ``line`` is one of the file header, which is checked once for the file."""
        if line < 0:
            return
        key = kind, cause or what
        if key in self._messages:
            self._lines[key].append(self.first_line + line)
            return
        count = self._counts.get(kind, 0)
        self._counts[kind] = count + 1
        if count >= MOST_OF_A_KIND:
            return
        excerpt = self.lines[line] if column and 0 <= line < len(self.lines) else ""
        if len(excerpt) > 500 or self._spots is not None:
            excerpt = ""
        underline = length if excerpt else 0
        place = self.place(line, column)
        self._messages[key] = Message(
            place=place, kind=kind, what=what, remedy=remedy, excerpt=excerpt, underline=underline
        )
        self._lines[key] = [self.first_line + line]

    def adopt(self, message: Message) -> None:
        """Take over a message of a later step, with the source line it speaks of."""
        line = message.place.line - self.first_line
        self.add(message.kind, message.what, message.remedy, line=line, column=message.place.column)

    def aside(self) -> Notices:
        """An empty collection for the same tune, to be taken over later."""
        return Notices(self.path, self.lines, self.first_line, self._spots)

    def take_over(self, others: Notices) -> None:
        """Add what ``others`` hold about lines of which the same is not said yet."""
        for key, message in others._messages.items():
            kept = self._lines.get(key, [])
            fresh = [line for line in others._lines[key] if line not in kept]
            if not fresh:
                continue
            if key in self._messages:
                kept += fresh
            else:
                self._messages[key] = message
                self._lines[key] = fresh
        for kind, count in others._counts.items():
            self._counts[kind] = max(self._counts.get(kind, 0), count)

    def messages(self) -> tuple[Message, ...]:
        """All messages in the order of their places."""
        counted = [
            Message(
                self.place(0),
                kind,
                f"{count - MOST_OF_A_KIND} further messages of kind '{kind}' in this tune",
            )
            for kind, count in self._counts.items()
            if count > MOST_OF_A_KIND
        ]
        found = [self._with_count(key, message) for key, message in self._messages.items()]
        return tuple(sorted(found, key=lambda message: message.place) + counted)

    def _with_count(self, key: tuple[str, str], message: Message) -> Message:
        lines = self._lines[key]
        if len(lines) == 1:
            return message
        if self._spots is not None:
            return replace(message, what=f"{message.what} ({len(lines)} times)")
        word = "lines" if len(set(lines)) > 1 else "line"
        what = f"{message.what} ({len(lines)} times, {word} {in_ranges(lines)})"
        return replace(message, what=what)
