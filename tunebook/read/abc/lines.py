"""The lines of a tune: header fields, then fields and music of the voices, macros written out.

Source: The ABC Music Standard 2.1, sections 2.2 and 3 (fields), 6.1 (continuation), 7 (voices) and
9 (macros): a static macro replaces its target as it stands; a transposing one has ``n`` for the
note in its target, and the letters h to z of its replacement stand for notes relative to it (m one
step below, o one step above).

Text that is longer than anybody prints is cut, and that is said. Names (title, composer, key, ...)
and running text (remarks, history, words) have limits of their own; the running text under one
letter is counted together, however many lines it stands on.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from tunebook.read.abc.notices import Notices
from tunebook.read.abc.text import TextBlock, without_comment
from tunebook.read.limits import ReadingLimits

BODY_FIELDS = frozenset("IKLMmNPQRrsTUVWw")
KNOWN_FIELDS = BODY_FIELDS | frozenset("ABCDFGHOSXZ")
OUTDATED_FIELDS = frozenset("E")
"""E: once set the space between notes (ABC 2.1, section 10); it passes in silence."""
_MUSIC_AFTER_COLON = re.compile(r"[A-Ga-gz]:[|:\]]")


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
    return Item(letter="", text=text, line=number, start=0, end=end, is_continued=is_continued)


def _is_music(letter: str, text: str) -> bool:
    """Whether a line of the body such as ``A:|`` is music and no field."""
    return letter not in BODY_FIELDS and bool(_MUSIC_AFTER_COLON.match(text))


_NOTE = r"([A-Ga-g][,']*)"
_RELATIVE = re.compile(r'![^!]*!|"[^"]*"|[h-z]')
_LETTERS = "CDEFGABcdefgab"
_KEPT = re.compile(r'"[^"]*"|\[[A-Za-z]:[^\[\]]*\]')
_MOST = 100
_INLINE_FIELD = re.compile(r"\[[A-Za-z]:[^\[\]]*\]")
_MAIL = re.compile(r"=(3D|20)|=$")


def without_mail_encoding(item: Item, notices: Notices) -> Item:
    """Music in which an e-mail program has left its encoding: =3D for =, =20 for a blank, and a
    lone = at a line end (RFC 2045, section 6.7); none of them means anything in ABC."""
    if "=3D" not in item.text and "=20" not in item.text and not item.text.endswith("="):
        return item
    found = _left_by_mail(item)
    if not found:
        return item
    match = found[0]
    notices.add(
        "text",
        f"{match.group()!r} is left over from an e-mail and is read as it was meant",
        "decode the file (quoted-printable)",
        line=item.line,
        column=match.start() + 1,
        length=len(match.group()),
        cause="mail",
    )
    is_joined = item.text.endswith("=", item.start, item.end)
    whole = _spliced(item, [(one, {"3D": "=", "20": " "}.get(one[1] or "", "")) for one in found])
    return replace(whole, is_continued=item.is_continued or is_joined)


def _spliced(item: Item, changes: Sequence[tuple[re.Match[str], str]]) -> Item:
    """Music with other text in the place of each match; what is new has the column of its match."""
    columns = item.columns or range(1, len(item.text) + 2)
    parts: list[str] = []
    sources: list[int] = []
    place = item.start
    for match, text in changes:
        parts += (item.text[place : match.start()], text)
        sources += [*columns[place : match.start()], *[columns[match.start()]] * len(text)]
        place = match.end()
    parts.append(item.text[place : item.end])
    sources += columns[place : item.end + 1]
    whole = "".join(parts)
    return replace(item, text=whole, start=0, end=len(whole), columns=sources)


def _left_by_mail(item: Item) -> list[re.Match[str]]:
    """The places where an e-mail program has left its encoding; =20 between brackets, as in
    [Q:1/4=200], is a number."""
    fields = [one.span() for one in _INLINE_FIELD.finditer(item.text, item.start, item.end)]
    return [
        match
        for match in _MAIL.finditer(item.text, item.start, item.end)
        if match[1] != "20" or not any(first < match.start() < end for first, end in fields)
    ]


class MacroWriter:
    """Writes out the macros of a tune in items of music."""

    def __init__(
        self, macros: list[tuple[str, str]], notices: Notices, limits: ReadingLimits
    ) -> None:
        self._notices = notices
        self._factor = limits.macro_factor
        ordered = sorted(dict(macros[:_MOST]).items(), key=lambda pair: -len(pair[0]))
        self._values = [(target, value) for target, value in ordered if len(target) <= 100]
        patterns = [_pattern(target) for target, _ in self._values]
        self._scan = re.compile("|".join([f"({_KEPT.pattern})", *patterns]))

    def write_out(self, item: Item) -> Item:
        """The item with its macros written out, and the source column of every character."""
        source = item.text
        most = self._factor * (item.end - item.start) + 200
        changes: list[tuple[re.Match[str], str]] = []
        size = 0
        for match in self._scan.finditer(source, item.start, item.end):
            if match.group(1):
                continue
            text = self._replacement(match)
            size += len(text)
            if size > most:
                self._say_limit(item, match)
                break
            changes.append((match, text))
        return _spliced(item, changes) if changes else item

    def _replacement(self, match: re.Match[str]) -> str:
        index = match.lastindex or 0
        group = 2
        for target, value in self._values:
            size = 1 + target.count("n")
            if group <= index < group + size:
                return _transposed(value, match.group(group + 1)) if size > 1 else value
            group += size
        return match.group()

    def _say_limit(self, item: Item, match: re.Match[str]) -> None:
        self._notices.add(
            "limit",
            f"macros make this line more than {self._factor} times as long; the rest is left as is",
            "shorten the macro, or raise macro_factor under [reading]",
            line=item.line,
            column=match.start() + 1,
            length=len(match.group()),
        )


def _pattern(target: str) -> str:
    """A group for the target, with a group in it for each n."""
    return "(" + _NOTE.join(re.escape(part) for part in target.split("n")) + ")"


def _transposed(value: str, note: str) -> str:
    letter, marks = note[0], note[1:]
    octaves = marks.count("'") - marks.count(",")
    place = _LETTERS.index(letter) + 7 * octaves

    def write(match: re.Match[str]) -> str:
        text = match.group()
        if len(text) > 1:
            return text
        octave, step = divmod(place + ord(text) - ord("n"), 7)
        if octave >= 1:
            return _LETTERS[7 + step] + "'" * (octave - 1)
        return _LETTERS[step] + "," * -octave

    return _RELATIVE.sub(write, value)


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
