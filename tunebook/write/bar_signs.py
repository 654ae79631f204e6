"""Bar signs of a tune as LilyPond bar lines and numbered-ending brackets.

The page shows the signs that are written, even where their structure is odd, so every bar line
is given outright and nothing is left to LilyPond's own repeats.
"""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.model.tune import Bar

_SIMPLE = {
    "": "",
    "|": "|",
    "||": "||",
    "[|": ".|",
    "|]": "|.",
    ".|": ";",
    ":|": ":|.",
    "|:": ".|:",
    "::": ":|.|:",
}
_CLOSING = (":|", "::")
_OPENING = ("|:", "::")


def bar_line(after: str, before: str) -> str:
    """LilyPond's bar line where a bar ending with sign ``after`` meets one beginning with
    ``before``."""
    closes, opens = after in _CLOSING, before in _OPENING or after == "::"
    if closes and opens:
        return ":|.|:"
    if closes:
        return ":|."
    if opens or after == "|:":
        return ".|:-||"  # a double bar where the line ends here
    if after in ("", "|") and before not in ("", "|"):
        return _SIMPLE.get(before, "|")
    return _SIMPLE.get(after, "|")


def first_bar_line(before: str) -> str:
    """Bar line to the left of the first bar: "" for none."""
    return ".|:" if before in _OPENING else ""


def last_bar_line(after: str) -> str:
    """Bar line at the end of the tune; a plain end becomes the final bar line."""
    if after in _CLOSING:
        return ":|."
    return "|." if after in ("", "|", "|:") else _SIMPLE.get(after, "|.")


def ending_text(passes: Sequence[int]) -> str:
    """The number over an ending: "1.", "1, 2." or "1-3."."""
    ordered = sorted(set(passes))
    is_run = len(ordered) > 2 and ordered[-1] - ordered[0] == len(ordered) - 1
    if is_run:
        return f"{ordered[0]}-{ordered[-1]}."
    return ", ".join(str(number) for number in ordered) + "."


def ending_commands(bars: Sequence[Bar]) -> tuple[tuple[str, ...], ...]:
    """For each bar, and once more for the end of the tune, the brackets that close and open there.

    Returns len(bars) + 1 tuples of LilyPond commands. A bracket that is never closed ends with
    its first bar line that repeats, or with the tune.
    """
    commands: list[list[str]] = [[] for _ in range(len(bars) + 1)]
    is_open = False
    for place, bar in enumerate(bars):
        changes: list[str] = []
        if is_open and (bar.ending or (place and _ends(bars[place - 1]))):
            changes.append("(volta #f)")
            is_open = False
        if bar.ending:
            changes.append(f'(volta "{ending_text(bar.ending)}")')
            is_open = True
        if changes:
            commands[place].append(_repeat_commands(changes))
    if is_open:
        commands[len(bars)].append(_repeat_commands(["(volta #f)"]))
    return tuple(tuple(lines) for lines in commands)


def _ends(bar: Bar) -> bool:
    return bar.ends_ending or bar.sign_after in (":|", "::", "|]")


def _repeat_commands(changes: Sequence[str]) -> str:
    return f"\\set Score.repeatCommands = #'({' '.join(changes)})"


def repeat_times(bars: Sequence[Bar]) -> tuple[int, ...]:
    """For each bar how often the section that ends with it is played, where signs and endings do
    not tell; else 0. A repeat sign by itself asks for twice."""
    times = []
    passes: tuple[int, ...] = ()
    for place, bar in enumerate(bars):
        after = bars[place + 1] if place + 1 < len(bars) else None
        passes = bar.ending or passes
        told = max((*passes, *(after.ending if after else ())), default=2)
        repeats = bar.sign_after in _CLOSING or (
            after is not None and after.sign_before in _CLOSING
        )
        times.append(bar.repeat_passes if repeats and bar.repeat_passes > max(told, 2) else 0)
        if _ends(bar):
            passes = ()
    return tuple(times)
