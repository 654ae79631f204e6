"""Written bars to the order in which they are played: repeats, endings, parts, da capo.

Sources: The ABC Music Standard 2.1, sections 4.8 (repeat signs), 4.9 and 4.10 (endings) and 3.1.9
(parts). What it leaves open is settled thus (common practice, no source): a repeat without a
start sign goes back to the last repeat sign, double bar or part label; a repeat without an end
sign ends at the next start sign, and is none when none follows; two endings without a repeat sign
ask for it themselves; after a da capo no repeat is made and the last ending is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from string import ascii_lowercase, ascii_uppercase

from tunebook.errors import Message
from tunebook.model.tune import Bar
from tunebook.read.jumps import Jump, find_jumps
from tunebook.read.part_order import Parts, find_parts, read_part_order

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
