"""Voices beside the melody on staves of their own, and the melody as a cue in a part.

All staves of a system share their bars: what is said once for all (bar lines, metres, tempi, line
ends) stands with the first staff, and a bar is as long as its longest voice. A cue shows a player
of the second voice how the melody begins a section: the section's first bar of it on a small staff
above, in the player's own clef and under the signature of the staff below.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Bar
from tunebook.model.words import fixed_words
from tunebook.write.clefs import clef_command
from tunebook.write.lilypond.bars import (
    BarMarks,
    PrintedBar,
    PrintedBars,
    key_command,
    length_of,
    mark_commands,
)
from tunebook.write.lilypond.leaves import (
    Group,
    context,
    first_leaf,
    make_leaves,
    put_silent_graces,
)
from tunebook.write.lilypond.marks import BARE, Shown
from tunebook.write.lilypond.score import MelodyWriter
from tunebook.write.safe_text import lilypond_string

_SECTION_LINES = ("||", "|.", ".|")


def level(printed: PrintedBars, voices: Sequence[Sequence[Bar]]) -> PrintedBars:
    """The printed bars of the melody, each as long as the longest of the ``voices`` there."""
    if not voices:
        return printed
    bars = []
    for one in printed.bars:
        longest = max(length_of(voice[one.bar.index].notes) for voice in voices)
        bars.append(replace(one, length=longest) if longest > one.length else one)
    return PrintedBars(tuple(bars), printed.brackets_at_end)


def beside(printed: PrintedBars, bars: Sequence[Bar]) -> PrintedBars:
    """The ``bars`` of a voice as they are printed beside those of the melody."""
    found: list[PrintedBar] = []
    for one in printed.bars:
        bar = bars[one.bar.index]
        is_new = not found or bar.key_changed or bar.key.alters != found[-1].bar.key.alters
        found.append(replace(one, bar=bar, shows_key=is_new))
    return PrintedBars(tuple(found), ())


class VoiceWriter(MelodyWriter):
    """Builds the staff of a voice beside the melody, without what stands with the melody for all;
    ``number`` is its place, 2 the first."""

    def __init__(
        self, arrangement: Arrangement, printed: PrintedBars, shown: Shown, number: int
    ) -> None:
        beyond = frozenset(one.bar_index for one in arrangement.notes if one.beyond_limits)
        marks = mark_commands(printed, BarMarks(beyond=beyond))
        super().__init__(arrangement, printed, shown, marks)
        self.number = number

    def staff(self) -> Group:
        """The staff, one group a bar."""
        bars = [self._bar(place, one) for place, one in enumerate(self.printed.bars)]
        voice = context("Voice", f"Voice{self.number}", bars)
        own = self.printed.bars[0].bar.clef if self.printed.bars else ""
        voice.opening.append(clef_command(own or self.arrangement.instrument.clef))
        return context("VoiceStaff", f"VoiceStaff{self.number}", [voice])

    def _opening(self, place: int, one: PrintedBar) -> list[str]:
        lines = [clef_command(one.bar.clef)] if place and one.bar.clef else []
        lines += [key_command(one.bar.key)] if one.shows_key else []
        return [*lines, *self.marks.starts.get(place, ())]

    def _closing(self, place: int, one: PrintedBar) -> list[str]:
        return list(self.marks.ends.get(place, ()))


def most_graces(writers: Sequence[MelodyWriter]) -> dict[int, Fraction]:
    """The longest grace notes at the beginning of each bar, by its place."""
    longest: dict[int, Fraction] = {}
    for writer in writers:
        for place, length in writer.leading_graces.items():
            longest[place] = max(length, longest.get(place, length))
    return longest


def put_graces_abreast(writer: MelodyWriter, staff: Group, longest: Mapping[int, Fraction]) -> None:
    """Give a staff that is written as much room for grace notes at each bar's beginning as the
    others have there, else its key signatures come too late."""
    bars = _bars_of(staff)
    for place, length in longest.items():
        missing = length - writer.leading_graces.get(place, Fraction(0))
        parts = bars[place].parts
        if missing <= 0 or not parts:
            continue
        graces = first_leaf(parts[0]).graces
        if graces is None:
            put_silent_graces(parts, missing)
        else:
            graces.parts[:0] = make_leaves("s", missing)


def _bars_of(staff: Group) -> list[Group]:
    """The bars of a staff of one voice."""
    (voice,) = staff.parts
    parts = voice.parts if isinstance(voice, Group) else []
    return [bar for bar in parts if isinstance(bar, Group)]


def renamed(staff: Group, name: str) -> Group:
    """The context under another name, for one of its kind beside it."""
    kind = staff.before[0].split()[1]
    staff.before[0] = f'\\context {kind} = "{name}"'
    return staff


class CueWriter(MelodyWriter):
    """Builds the small staff with those bars of the melody that are not empty in ``cues``;
    ``arrangement`` is the part's."""

    def __init__(self, arrangement: Arrangement, cues: PrintedBars, shown: Shown) -> None:
        self.cues = {place for place, one in enumerate(cues.bars) if one.bar.notes}
        quiet = replace(BARE, language=shown.language, clef=shown.clef)
        super().__init__(replace(arrangement, notes=()), cues, quiet)

    def staff(self) -> Group:
        """The staff, one group a bar: blank, without lines, where there is no cue."""
        bars = [self._bar(place, one) for place, one in enumerate(self.printed.bars)]
        voice = context("Voice", "Cue", bars)
        clef = self.shown.clef or self.arrangement.instrument.clef
        voice.opening += [clef_command(clef), "\\stopStaff"]
        return context("CueStaff", "Cue", [voice])

    def _opening(self, place: int, one: PrintedBar) -> list[str]:
        lines = [key_command(one.bar.key)] if one.shows_key else []
        if place not in self.cues:
            return lines
        lines.append("\\startStaff")
        if place - 1 not in self.cues:
            word = lilypond_string(fixed_words(self.shown.language).melody)
            lines.append(f"\\cueWord {word}")
        return lines

    def _closing(self, place: int, one: PrintedBar) -> list[str]:
        return ["\\stopStaff"] if place in self.cues else []


def cue_bars(printed: PrintedBars, melody: Sequence[Bar]) -> PrintedBars:
    """The bars of the ``melody`` beside those of a part, empty where no section begins."""
    whole = beside(printed, melody)
    return silent_but(whole, _cue_places(whole))


def silent_but(printed: PrintedBars, places: Collection[int]) -> PrintedBars:
    """The bars, empty but for those at ``places``."""
    bars = tuple(
        one if place in places else replace(one, bar=replace(one.bar, notes=()))
        for place, one in enumerate(printed.bars)
    )
    return PrintedBars(bars, ())


def _cue_places(printed: PrintedBars) -> frozenset[int]:
    """The places of the bars with which sections begin; a pickup has its first full bar with it."""
    places: set[int] = set()
    bars = printed.bars
    for place, one in enumerate(bars):
        before = bars[place - 1] if place else None
        goes_on = before is not None and (bool(one.bar.ending) or not _ends_section(before))
        if goes_on and not one.bar.part:
            continue
        first = [place]
        is_short = one.length < one.bar.meter.length
        if is_short and place + 1 < len(bars) and not _ends_section(one):
            first.append(place + 1)
        places.update(first)
    return frozenset(place for place in places if _sounds(bars[place].bar))


def _sounds(bar: Bar) -> bool:
    return any(note.pitches for note in bar.notes)


def _ends_section(one: PrintedBar) -> bool:
    return ":" in one.line_after or one.line_after in _SECTION_LINES
