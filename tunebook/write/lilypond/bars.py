"""The bars of a tune as they go on the page: exact lengths, bar lines, brackets, keys, marks.

The page shows the signs that are written, even where their structure is odd, so every bar line
and bracket is given outright and nothing is left to LilyPond's own repeats. Accidentals are decided
while a staff is written: a grace note that an edition leaves out, a tie that is cut, a line that
begins each change which signs the page needs, so no sign is taken over from elsewhere unasked.

Each kind of marked bar has a look of its own: a thick line over those that a retuning changed, a
dashed line over those beyond an edition's limits (it goes before the thick one where both apply),
a pale ground under the hardest.
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Sequence, Set
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tunebook.model.choices import BarSign
from tunebook.model.spelling import PageSigns, usual_fifths
from tunebook.model.tune import Bar, Key, Meter, Note, Pitch
from tunebook.write.lilypond.leaves import head_text, tone_name

_MODES = ("ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "locrian")
_MODE_NAMES = {"ionian": "major", "aeolian": "minor"}
# Tonics of the major keys by number of sharps (+) or flats (-).
_TONICS = ("cf", "gf", "df", "af", "ef", "bf", "f", "c", "g", "d", "a", "e", "b", "fs", "cs")
_MAJOR_TONICS = dict(zip(range(-7, 8), _TONICS, strict=True))


@functools.lru_cache(maxsize=256)
def key_command(key: Key) -> str:
    """The command that prints exactly the signs in ``key.alters``."""
    fifths = usual_fifths(key.alters)
    if fifths is not None:
        if fifths == key.fifths and key.mode in _MODES:
            tonic = tone_name(key.tonic_step, key.tonic_alter)
            return f"\\key {tonic} \\{_MODE_NAMES.get(key.mode, key.mode)}"
        return f"\\key {_MAJOR_TONICS[fifths]} \\major"
    signs = " ".join(
        f"({step} . {alter}/2)" for step, alter in enumerate(key.alters) if alter and abs(alter) < 3
    )
    return f"\\set Staff.keyAlterations = #'({signs})"


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


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """One bar that takes time. ``length`` is the sum of its notes (whole notes), ``line_before``
    the bar line at its left where one must be named (first bar only), ``line_after`` that at its
    right, ``brackets`` the ending commands at its beginning. ``shows_key`` asks for its key
    signature, ``ends_line`` for a new line after it. ``times`` is how often the section that ends
    here is played, if the page must say so, else 0."""

    bar: Bar
    length: Fraction
    line_before: str
    line_after: str
    brackets: tuple[str, ...]
    shows_key: bool = False
    ends_line: bool = False
    times: int = 0

    @property
    def onset(self) -> Fraction:
        return self.bar.onset

    @property
    def end(self) -> Fraction:
        return self.bar.onset + self.length


@dataclass(frozen=True, slots=True)
class PrintedBars:
    """All printed bars of a tune, and the ending commands after the last one."""

    bars: tuple[PrintedBar, ...]
    brackets_at_end: tuple[str, ...]


def length_of(notes: Sequence[Note]) -> Fraction:
    """Time taken by ``notes``, grace notes left out."""
    return sum((note.duration for note in notes if not note.is_grace), Fraction(0))


def print_bars(bars: Sequence[Bar]) -> PrintedBars:
    """Choose bar lines and brackets for ``bars``. Bars without time are left out; what their
    signs say moves to the neighbours."""
    kept = _merge_empty(bars)
    brackets = ending_commands(kept)
    times = repeat_times(kept)
    printed: list[PrintedBar] = []
    for place, bar in enumerate(kept):
        is_last = place == len(kept) - 1
        after = (
            last_bar_line(bar.sign_after)
            if is_last
            else bar_line(bar.sign_after, kept[place + 1].sign_before)
        )
        before = first_bar_line(bar.sign_before) if place == 0 else ""
        printed.append(
            PrintedBar(
                bar,
                max(length_of(bar.notes), bar.duration),
                before,
                after,
                brackets[place],
                shows_key=place == 0 or _has_new_key(kept[place - 1], bar),
                times=times[place],
            )
        )
    return PrintedBars(tuple(printed), brackets[len(kept)])


def _has_new_key(before: Bar, bar: Bar) -> bool:
    """The bar that changed the key may not be printed, or stand elsewhere (in an exercise)."""
    return bar.key_changed or bar.key.alters != before.key.alters


def _merge_empty(bars: Sequence[Bar]) -> list[Bar]:
    kept: list[Bar] = []
    sign_before: BarSign = ""
    ending: tuple[int, ...] = ()
    for bar in bars:
        if bar.duration or length_of(bar.notes):
            before = _stronger(sign_before, bar.sign_before)
            begun = bar.ending or ending
            is_same = before == bar.sign_before and begun == bar.ending
            kept.append(bar if is_same else replace(bar, sign_before=before, ending=begun))
            sign_before, ending = "", ()
            continue
        ending = bar.ending or ending
        sign_before = _stronger(sign_before, bar.sign_before)
        if kept:
            kept[-1] = replace(kept[-1], sign_after=_stronger(kept[-1].sign_after, bar.sign_after))
        elif bar.sign_after in ("|:", "::"):
            sign_before = _stronger(sign_before, bar.sign_after)
    return kept


_STRENGTH = ("", "|", ".|", "||", "[|", "|]", "|:", ":|", "::")


def _stronger(one: BarSign, other: BarSign) -> BarSign:
    signs = {one, other}
    if {"|:", ":|"} <= signs:
        return "::"
    return max(one, other, key=lambda sign: _STRENGTH.index(sign) if sign in _STRENGTH else 1)


def time_command(printed: PrintedBar, *, is_new: bool) -> tuple[str, ...]:
    """Commands that set the metre at the beginning of a bar: the sign when ``is_new``, and the
    bar's true length whatever the metre says, so that bar lines never go astray."""
    meter, length = printed.bar.meter, printed.length
    fraction = f"{length.numerator}/{length.denominator}"
    if meter.is_free or not is_new:
        return (f"\\hiddenTime {fraction}",)
    if length == meter.length and meter.sign in ("C", "C|"):
        return ("\\defaultTimeSignature", f"\\time {meter.beats}/{meter.unit}")
    if length == meter.length and meter.sign == f"{meter.beats}/{meter.unit}":
        return ("\\numericTimeSignature", f"\\time {meter.sign}")
    return (_sign_override(meter), f"\\time {fraction}")


def _sign_override(meter: Meter) -> str:
    """Show the metre's sign over a bar of another length, or a sum of beats."""
    if meter.sign in ("C", "C|"):
        glyph = "timesig.C44" if meter.sign == "C" else "timesig.C22"
        text = f'\\markup \\musicglyph "{glyph}"'
    else:
        top = "+".join(str(group) for group in meter.groups) or str(meter.beats)
        text = (
            "\\markup \\override #'(baseline-skip . 0) \\number \\center-column "
            f'{{ "{top}" "{meter.unit}" }}'
        )
    return (
        "\\once \\override Score.TimeSignature.stencil = #ly:text-interface::print "
        f"\\once \\override Score.TimeSignature.text = {text}"
    )


class StaffSigns:
    """Writes the heads of a staff with their signs, in the order in which they stand on it."""

    def __init__(self, printed: PrintedBars) -> None:
        self._bars = printed.bars
        self._page = PageSigns()
        self._is_new_line = False

    def begin_bar(self, place: int) -> None:
        """The bar at ``place`` in the printed bars begins."""
        one = self._bars[place]
        before: PrintedBar | None = self._bars[place - 1] if place else None
        self._is_new_line = before is not None and before.ends_line
        if before is None or before.line_after or before.ends_line or one.shows_key:
            self._page.begin_bar(one.bar.key.alters)

    def heads(
        self,
        pitches: Sequence[Pitch],
        wished: Sequence[str | None] = (),
        held: Collection[Pitch] = (),
        *,
        is_grace: bool = False,
    ) -> str:
        """The head or heads of a note. ``wished`` (parallel) asks for signs that may not be
        needed. Tones ``held`` by a tie bear none, except where a new line begins with them: the
        tie's other end is far away there (common practice, no source)."""
        signs = self._page.shown_together(
            pitches,
            [bool(wish) for wish in wished] or [False] * len(pitches),
            [pitch in held and not self._is_new_line for pitch in pitches],
        )
        self._is_new_line = self._is_new_line and is_grace
        return head_text(pitches, signs)

    def note(self, note: Note, held: Collection[Pitch] = ()) -> str:
        """The head or heads of a note, which may wish for signs of its own."""
        shown = note.shown_accidentals
        wished = shown if len(shown) == len(note.pitches) else ()
        return self.heads(note.pitches, wished, held, is_grace=note.is_grace)


@dataclass(frozen=True, slots=True)
class BarMarks:
    """Indices of the tune's bars to be marked: changed by a retuning, beyond an edition's limits,
    hardest."""

    changed: Set[int] = frozenset()
    beyond: Set[int] = frozenset()
    hard: Set[int] = frozenset()


NO_MARKS = BarMarks()


@dataclass
class MarkCommands:
    """LilyPond commands by place in the printed bars: at a bar's beginning and at its end."""

    starts: dict[int, list[str]] = field(default_factory=dict)
    ends: dict[int, list[str]] = field(default_factory=dict)


def mark_commands(printed: PrintedBars, marks: BarMarks) -> MarkCommands:
    """The commands that draw ``marks`` on the melody's staff."""
    commands = MarkCommands()
    for first, last in passages(printed, marks.hard):
        commands.starts.setdefault(first, []).append("\\paleGround")
        commands.ends.setdefault(last, []).append("\\stopStaffHighlight")
    looks = (("\\beyondLook", marks.beyond), ("\\changedLook", marks.changed - marks.beyond))
    for look, indices in looks:
        for first, last in passages(printed, indices):
            commands.starts.setdefault(first, []).append(f"{look} <>\\startMeasureSpanner")
            commands.ends.setdefault(last, []).append("<>\\stopMeasureSpanner")
    return commands


def passages(printed: PrintedBars, indices: Set[int]) -> list[tuple[int, int]]:
    """Runs of marked bars as (first, last) places in ``printed``; a run ends with its section, so
    that a mark never leads across a repeat sign."""
    runs: list[tuple[int, int]] = []
    for place, one in enumerate(printed.bars):
        if one.bar.index not in indices:
            continue
        follows = bool(runs) and runs[-1][1] == place - 1
        if follows and ":" not in printed.bars[place - 1].line_after:
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs
