"""What stands at the end of a bar: signs over its bar line, words, how often a repeat is played."""

from __future__ import annotations

from tunebook.write.decorations import at_bar_sign, words_at_end
from tunebook.write.printed_bars import PrintedBar, PrintedBars
from tunebook.write.safe_text import lilypond_string

_TIMES = {"en": "{} times", "sv": "{} gånger"}
_MOST_LETTERS = 60


def end_marks(one: PrintedBar, language: str, *, is_departure: bool) -> list[str]:
    """Commands for the end of a bar. ``is_departure`` as for :func:`at_bar_sign`."""
    names = [name for note in one.bar.notes for name in note.decorations]
    lines = list(at_bar_sign(one.bar.decorations, is_departure=is_departure))
    lines += words_at_end((*names, *one.bar.decorations))
    for words in one.bar.annotations:
        if words.text.strip():
            lines.append(f"\\endWord {lilypond_string(words.text, _MOST_LETTERS)}")
    if one.times:
        text = _TIMES.get(language, _TIMES["en"]).format(one.times)
        lines.append(f"\\endWord {lilypond_string(text)}")
    return lines


def departure_to_coda(printed: PrintedBars) -> int:
    """The place of the bar at whose end a coda sign says where to leave: of several such signs
    the first, unless words say it; -1 when there is none."""
    names = [
        [*(name for note in one.bar.notes for name in note.decorations), *one.bar.decorations]
        for one in printed.bars
    ]
    every = [name for found in names for name in found]
    if every.count("coda") < 2 or "dacoda" in every or "tocoda" in every:
        return -1
    first = next(place for place, found in enumerate(names) if "coda" in found)
    return first if "coda" in printed.bars[first].bar.decorations else -1
