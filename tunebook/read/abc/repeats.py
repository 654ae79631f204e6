"""Written bars to the order in which they are played: repeats, endings, parts, da capo.

The order of parts in the header's P: field, as "ABA", "A2B2" or "A(BC)3", and the labels of
the parts in the music.

Source: The ABC Music Standard 2.1, section 3.1.9.

Da capo, dal segno, Fine and coda, as decorations or as words over the notes.

Source: The ABC Music Standard 2.1, section 4.14, for the decorations; what they mean is common
practice, no source.

Written bars to the order in which they are played: repeats, endings, parts, da capo.

Sources: The ABC Music Standard 2.1, sections 4.8 (repeat signs), 4.9 and 4.10 (endings) and 3.1.9
(parts). What it leaves open is settled thus (common practice, no source): a repeat without a
start sign goes back to the last repeat sign, double bar or part label; a repeat without an end
sign ends at the next start sign, and is none when none follows; two endings without a repeat sign
ask for it themselves; after a da capo no repeat is made and the last ending is taken.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from string import ascii_lowercase, ascii_uppercase

from tunebook.errors import Message
from tunebook.model.tune import Bar

_PIECE = re.compile(r"([A-Za-z])|(\()|(\))(\d*)|[\s.,]+|(\d+)")
_DEEPEST = 20
_LONE_LETTER = re.compile(r"(?<![^\W\d_])[A-Za-z](?![^\W\d_])")


@dataclass(frozen=True, slots=True)
class Parts:
    """The labelled parts of a tune: ``labels`` maps a letter to the index of its first bar,
    ``firsts`` are the first bars of all, ``again`` those whose letter came before; ``written``
    the letters as they stand in the music."""

    labels: dict[str, int]
    firsts: tuple[int, ...]
    again: tuple[tuple[str, int], ...]
    written: tuple[str, ...]

    def is_written_order(self, letters: Sequence[str]) -> bool:
        """Whether the parts stand written out in this order, some letter more than once."""
        return bool(self.again) and tuple(letters) == self.written


def read_part_order(text: str, most: int) -> list[str] | None:
    """The letters of the parts in order, at most ``most`` and a few more; None when the text
    holds anything else. A number repeats the letter or the bracket before it."""
    stack: list[list[str]] = [[]]
    place = 0
    while place < len(text):
        match = _PIECE.match(text, place)
        if not match:
            return None
        place = match.end()
        letter, opened, closed, times, number = match.groups()
        if letter:
            stack[-1].append(letter)
        elif opened:
            if len(stack) > _DEEPEST:
                return None
            stack.append([])
        elif closed:
            if len(stack) == 1:
                return None
            inner = stack.pop()
            stack[-1] += _times(inner, times, most)
        elif number:
            if not stack[-1]:
                return None
            stack[-1] += _times(stack[-1][-1:], str(max(0, int(number[:6]) - 1)), most)
    return stack[0] if len(stack) == 1 else None


def _times(letters: list[str], number: str, most: int) -> list[str]:
    count = int(number[:6]) if number else 1
    return letters * min(count, most // max(1, len(letters)) + 1)


def find_parts(bars: Sequence[Bar], letters: Sequence[str]) -> Parts:
    """The parts of a tune by the letters of its order: "A (vals)", "A." and "a" all label A.

    A label's letter is one of the order that stands by itself, else its first letter; capital
    and small letters are one where the order does not tell them apart (our judgement).
    """
    labels: dict[str, int] = {}
    again: list[tuple[str, int]] = []
    written: list[str] = []
    firsts = [bar.index for bar in bars if bar.part]
    for index in firsts:
        letter = _letter_of(bars[index].part, letters)
        written.append(letter)
        if letter in labels:
            again.append((letter, index))
        else:
            labels[letter] = index
    return Parts(labels, tuple(firsts), tuple(again), tuple(written))


def _letter_of(label: str, letters: Sequence[str]) -> str:
    by_case = {letter.lower(): letter for letter in letters}
    has_both = len(by_case) < len(set(letters))
    alone: list[str] = _LONE_LETTER.findall(label)
    first = next((sign for sign in label if sign.isalpha()), label[:1])
    for letter in (*alone, first):
        if letter in letters:
            return letter
        if not has_both and letter.lower() in by_case:
            return by_case[letter.lower()]
    return first


_MOST_JUMPS = 8
_WORDS = (
    ("D.C.", re.compile(r"\W*(d\.?\s?c\b|da\s?capo)", re.I)),
    ("D.S.", re.compile(r"\W*(d\.?\s?s\b|dal\s?segno)", re.I)),
    ("fine", re.compile(r"\W*(fine|end|slut)\W*$", re.I)),
    ("dacoda", re.compile(r"\W*(to|al|da)\s+coda\W*$", re.I)),
    ("coda", re.compile(r"\W*coda\W*$", re.I)),
    ("segno", re.compile(r"\W*segno\W*$", re.I)),
)


@dataclass(frozen=True, slots=True)
class Jump:
    """After bar ``bar`` (its last time) play from ``target`` up to and with ``stop``; None means
    up to the end of the first section. Then go on from ``coda``, or after ``bar`` when None."""

    bar: int
    target: int
    stop: int | None
    coda: int | None = None


@dataclass(frozen=True, slots=True)
class _Mark:
    name: str
    bar: int
    is_at_end: bool
    wants: str


def find_jumps(bars: Sequence[Bar], say: Callable[[Bar, str, str], None]) -> list[Jump]:
    """The jumps of a tune in written order, each with what it asks for."""
    marks = [mark for bar in bars for mark in _marks_of(bar)]
    starts = [mark for mark in marks if mark.name in ("D.C.", "D.S.")][:_MOST_JUMPS]
    if not starts:
        return []
    jumps = []
    seen: set[int] = set()
    for mark in starts:
        if mark.bar in seen:
            continue
        seen.add(mark.bar)
        jumps.append(_jump_of(mark, marks, bars, say))
    return jumps


def _jump_of(
    mark: _Mark, marks: list[_Mark], bars: Sequence[Bar], say: Callable[[Bar, str, str], None]
) -> Jump:
    bar = bars[mark.bar]
    target = 0
    if mark.name == "D.S.":
        segno = next((other for other in marks if other.name == "segno"), None)
        if segno is None:
            say(bar, "D.S. without a segno goes back to the beginning", "write !segno!")
        else:
            target = min(segno.bar + (1 if segno.is_at_end else 0), mark.bar)
    fine = next((m.bar for m in marks if m.name == "fine" and m.bar >= target), None)
    away, coda = _coda_of(marks, len(bars))
    if away is not None and coda is not None and mark.wants != "fine":
        return Jump(mark.bar, target, away, coda)
    if fine is None or fine > mark.bar:
        fine = _fermata_at_an_end(bars, target, mark.bar)
    if fine is None:
        say(bar, f"{mark.name} without a Fine ends after the first part", 'write "^Fine"')
        return Jump(mark.bar, target, None)
    return Jump(mark.bar, target, fine)


def _fermata_at_an_end(bars: Sequence[Bar], first: int, jump: int) -> int | None:
    """The bar that ends a section before the jump with a fermata on its last note or its bar
    sign, which marks the end as Fine does."""
    for bar in bars[first:jump]:
        held = bar.decorations + (bar.notes[-1].decorations if bar.notes else ())
        if "fermata" in held and bar.sign_after not in ("|", ".|", ""):
            return bar.index
    return None


def _coda_of(marks: list[_Mark], count: int) -> tuple[int | None, int | None]:
    """The bar after which the coda is taken, and the bar with which it begins."""
    signs = [mark for mark in marks if mark.name == "coda"]
    leave = next((mark for mark in marks if mark.name == "dacoda"), None)
    if leave is None and len(signs) > 1:
        leave = signs.pop(0)
    if leave is None or not signs:
        return None, None
    coda = signs[-1].bar + (1 if signs[-1].is_at_end else 0)
    away = leave.bar
    return (away, coda) if away < coda < count else (None, None)


def _marks_of(bar: Bar) -> Iterator[_Mark]:
    for note in bar.notes:
        for name in note.decorations:
            yield from _mark(name, bar.index, False)
        for annotation in note.annotations:
            yield from _mark_of_words(annotation.text, bar.index, False)
    for name in bar.decorations:
        yield from _mark(name, bar.index, True)
    for annotation in bar.annotations:
        yield from _mark_of_words(annotation.text, bar.index, True)


_SAME = {"dacapo": "D.C.", "tocoda": "dacoda"}


def _mark(name: str, bar: int, is_at_end: bool) -> Iterator[_Mark]:
    name = _SAME.get(name, name)
    if name in ("segno", "coda", "fine", "dacoda"):
        yield _Mark(name, bar, is_at_end, "")
    elif name.startswith(("D.C.", "D.S.")):
        yield _Mark(name[:4], bar, is_at_end, name[6:])


def _mark_of_words(text: str, bar: int, is_at_end: bool) -> Iterator[_Mark]:
    if len(text) > 40:
        return
    for name, pattern in _WORDS:
        if pattern.match(text):
            lower = text.lower()
            wants = "fine" if "fine" in lower else "coda" if "coda" in lower else ""
            yield _Mark(name, bar, is_at_end, wants)
            return


_STARTS = ("|:", "::")
_ENDS = (":|", "::")
_DOUBLE = ("||", "|]", "[|")

Say = Callable[[Bar, str, str], None]


@dataclass(frozen=True, slots=True)
class Section:
    """Bars that are repeated together: a body, and endings with the passes they are for."""

    body: range
    endings: tuple[tuple[tuple[int, ...], range], ...] = ()
    passes: int = 1

    @property
    def stop(self) -> int:
        """Index of the first bar after the section."""
        return self.endings[-1][1].stop if self.endings else self.body.stop

    def played(self, turn: int) -> list[int]:
        """The bars of one pass, counted from 1."""
        bars = list(self.body)
        for passes, ending in self.endings:
            if turn in passes:
                bars += ending
                break
        return bars

    def played_last(self) -> list[int]:
        """The bars of the last pass, as after a da capo."""
        return self.played(self.passes)


def played_order(
    bars: Sequence[Bar], part_order: str = "", most_bars: int = 10_000
) -> tuple[tuple[int, ...], tuple[Message, ...]]:
    """Indices into ``bars`` in playing order, and messages about signs that do not match.

    ``part_order`` is the text of the header's P:, as "ABA" or "A(BC)2"; it is followed where the
    body labels the parts. The order is cut, and said, at ``most_bars``.
    """
    messages: list[Message] = []

    def say(bar: Bar, what: str, remedy: str) -> None:
        messages.append(Message(bar.place, "repeat", what, remedy))

    sections = cut_sections(bars, say)
    order = _order_of_parts(bars, sections, part_order, most_bars, say)
    if order is None:
        order = _with_jumps(sections, find_jumps(bars, say), most_bars)
    if len(order) > most_bars and bars:
        what = f"the repeats ask for more than {most_bars} bars; the rest is not played"
        messages.append(Message(bars[0].place, "limit", what, "raise played_bars under [reading]"))
    return tuple(order[:most_bars]), tuple(messages)


def cut_sections(bars: Sequence[Bar], say: Say) -> list[Section]:
    """Cut the tune into sections, in written order; every bar is in exactly one."""
    sections = []
    start = 0
    while start < len(bars):
        section = _next_section(bars, start, say)
        sections.append(section)
        start = section.stop
    return sections


def _next_section(bars: Sequence[Bar], start: int, say: Say) -> Section:
    is_marked = bars[start].sign_before in _STARTS
    for index in range(start, len(bars)):
        bar = bars[index]
        if bar.ending:
            return _section_with_endings(bars, start, index, say)
        if bar.sign_after in _ENDS:
            return Section(range(start, index + 1), (), bar.repeat_passes)
        is_last = index + 1 == len(bars)
        if is_last or bar.sign_after == "|:":
            if is_marked:
                say(bars[start], "the repeat that begins here has no end", "write :| at its end")
            return Section(range(start, index + 1), (), 2 if is_marked and not is_last else 1)
        after = bars[index + 1]
        is_cut = bar.sign_after in _DOUBLE or bool(after.part)
        if is_cut and not is_marked and not after.ending:
            return Section(range(start, index + 1))
    raise AssertionError("the last bar ends a section")


def _section_with_endings(bars: Sequence[Bar], start: int, first: int, say: Say) -> Section:
    endings: list[tuple[tuple[int, ...], range]] = []
    seen: set[int] = set()
    asked = 0
    index = first
    while index < len(bars) and bars[index].ending and not seen.issuperset(bars[index].ending):
        stop = _end_of_ending(bars, index)
        endings.append((bars[index].ending, range(index, stop)))
        seen.update(bars[index].ending)
        if bars[stop - 1].sign_after in _ENDS:
            asked = max(asked, bars[stop - 1].repeat_passes)
        index = stop
    body = range(start, first)
    if not body and 1 not in seen:
        say(bars[first], "a later ending with nothing to repeat before it", "write its repeat")
        return Section(range(start, index))
    if not asked and len(endings) < 2:
        say(bars[first], "a numbered ending without a repeat sign", "write :| at its end")
        return Section(range(start, index))
    if not asked:
        say(bars[first], "numbered endings without a repeat sign are read as a repeat", "write :|")
    passes = max(max(seen), 2, asked if asked > 2 else 0)
    return Section(body, tuple(endings), passes)


def _end_of_ending(bars: Sequence[Bar], index: int) -> int:
    while index + 1 < len(bars) and not bars[index].ends_ending and not bars[index + 1].ending:
        index += 1
    return index + 1


def _expand(sections: Sequence[Section], most_bars: int) -> list[int]:
    order: list[int] = []
    for section in sections:
        for turn in range(1, section.passes + 1):
            order += section.played(turn)
            if len(order) > most_bars:
                return order
    return order


def _first(section: Section) -> int:
    return section.body.start if section.body else section.endings[0][1].start


def _order_of_parts(
    bars: Sequence[Bar], sections: Sequence[Section], text: str, most_bars: int, say: Say
) -> list[int] | None:
    """The order by parts; None where none is given or it does not fit the tune's labels."""
    if not text.strip() or not bars:
        return None
    letters = read_part_order(text, most_bars)
    if not letters:
        remedy = "write it as P:AABA or P:A2(BC)3"
        say(bars[0], f"the order of parts P:{text} cannot be read", remedy)
        return None
    parts = find_parts(bars, letters)
    if not parts.firsts:
        if _names_parts_from_a(letters) and not _is_written_order(sections, letters):
            what = f"no part is labelled, so that the order P:{text} is not played"
            say(bars[0], what, f"write P:{letters[0]} before the first bar of the part")
        return None
    if parts.is_written_order(letters):
        return None
    _say_what_does_not_meet(bars, parts, letters, text, say)
    if not set(letters) & set(parts.labels):
        return None
    order = _expand([one for one in sections if _first(one) < parts.firsts[0]], most_bars)
    played = {
        letter: _bars_of_part(sections, first, parts.firsts, len(bars), most_bars)
        for letter, first in parts.labels.items()
    }
    for letter in letters:
        order += played.get(letter, [])
        if len(order) > most_bars:
            break
    return order


def _say_what_does_not_meet(
    bars: Sequence[Bar], parts: Parts, letters: list[str], text: str, say: Say
) -> None:
    asked = dict.fromkeys(letters)
    if not set(asked) & set(parts.labels):
        names = ", ".join(parts.labels)
        what = f"no part of the order P:{text} is labelled in the tune, which has {names}"
        say(bars[0], f"{what}; it is played as written", "make the labels fit the order")
        return
    missing = ", ".join(letter for letter in asked if letter not in parts.labels)
    if missing:
        say(bars[0], f"P:{text} asks for a part {missing} that the tune does not have", "label it")
    for letter, first in parts.labels.items():
        if letter not in asked:
            what = f"part {letter!r} is not in the order P:{text} and is not played"
            say(bars[first], what, "put it into the order")
    for letter, again in parts.again:
        what = f"part {letter!r} begins here once more and is not played by the order P:{text}"
        say(bars[again], what, "give it a letter of its own")


def _names_parts_from_a(letters: list[str]) -> bool:
    """Whether the letters are those of an order, A, B, C, and not of some words."""
    names = sorted(set(letters))
    return names in (list(ascii_uppercase[: len(names)]), list(ascii_lowercase[: len(names)]))


def _is_written_order(sections: Sequence[Section], letters: list[str]) -> bool:
    """Whether the order names what is played anyway: AABB, or AB, for two sections with repeats;
    or is no order, but the name of the first part."""
    names = list(dict.fromkeys(letters))
    asked = [names.index(letter) for letter in letters]
    once = list(range(len(sections)))
    played = [at for at in once for _ in range(sections[at].passes)]
    return asked in (once, played, [0])


def _bars_of_part(
    sections: Sequence[Section], first: int, firsts: Sequence[int], count: int, most_bars: int
) -> list[int]:
    """The bars played in the part that begins at ``first``."""
    last = next((other for other in firsts if other > first), count)
    return _expand([part for part in sections if first <= _first(part) < last], most_bars)


def _with_jumps(sections: list[Section], jumps: list[Jump], most_bars: int) -> list[int]:
    """The order with da capo and dal segno followed, each once."""
    order: list[int] = []
    full = _expand(sections, most_bars)
    for jump in jumps:
        if jump.bar not in full:
            continue
        cut = len(full) - full[::-1].index(jump.bar)
        order, full = order + full[:cut], full[cut:]
        again = [bar for part in sections for bar in part.played_last()]
        end = jump.stop if jump.stop is not None else _end_of_first_section(sections, jump)
        order += [bar for bar in again if jump.target <= bar <= end]
        if jump.coda is not None:
            full = [bar for bar in full if bar >= jump.coda]
    return order + full


def _end_of_first_section(sections: list[Section], jump: Jump) -> int:
    """Where a da capo without Fine ends: with the section it goes back to."""
    for section in sections:
        if jump.target < section.stop:
            bars = section.played_last()
            if len(bars) > 1 or section is sections[-1]:
                return bars[-1] if bars else section.stop - 1
    return jump.bar
