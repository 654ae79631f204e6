"""Overlays: notes that sound together with those of a voice, written after & in the same bars.

Source: The ABC Music Standard 2.1, section 7.4: each & goes back by one bar line, so that what
follows ``&`` lasts for one bar and what follows ``&&`` for two. ``(& ... & ...)`` around several
bars is common practice (no source): the voice stands first, the overlays after each inner &.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from tunebook.read.abc.bars import BarList
from tunebook.read.abc.drafts import BarDraft, NoteDraft, Ticks
from tunebook.read.abc.tokens import Token


@dataclass(slots=True)
class Overlay:
    """The music of one overlay, not yet read. It begins ``skipped`` ticks after the bar with index
    ``bar``; where ``bars_back`` is set that is the last of so many bars instead, and where it is 0
    the last of as many as the overlay has. ``tokens`` have their line and source columns."""

    bar: int
    skipped: Ticks
    bars_back: int | None
    unit_length: Fraction
    octaves: int
    tokens: list[tuple[Token, int, list[int] | None]] = field(default_factory=list)

    def first_bar(self, drafts: Sequence[BarDraft]) -> int:
        """Index of the bar with which it begins."""
        at = min(self.bar, len(drafts) - 1)
        if self.bars_back is None:
            return at
        back = self.bars_back or 1 + sum(token[0] == "bar" for token, _, _ in self.tokens)
        for number in range(back):
            at = max(0, at - bool(number))
            while at and not drafts[at].sign_before:
                at -= 1
        return at


class OverlayKeeper:
    """Follows the signs of overlays and the bar signs, and keeps what is written in overlays.
    ``is_open`` says that the music at this place is not the voice's own."""

    def __init__(self, bars: BarList) -> None:
        self.is_open = False
        self.found: list[Overlay] = []
        self._bars = bars
        self._bars_left = 0
        self._is_group = False
        self._group_start: tuple[int, Ticks] | None = None

    def meet(self, sign: str, following: str, unit_length: Fraction, octaves: int) -> None:
        """A sign ``&``, ``&&``, ``(&`` or ``&)``; ``following`` is the music after it, the others
        what is in force."""
        if sign == "&)":
            self.end()
            return
        open_bar = self._bars.open
        here = len(self._bars.bars)
        last = here if open_bar.notes or not here else here - 1
        start: tuple[int, Ticks, int | None] = (last, 0, len(sign))
        if sign == "(&":
            inner, end, _ = following.partition("&)")
            self._is_group = bool(end)
            # A group with no & inside holds nothing but the overlay.
            self.is_open = bool(end) and "&" not in inner
            self._group_start = None if self.is_open or not end else (here, open_bar.ticks)
            start = (last, 0, 0)
        else:
            self.is_open = True
            self._bars_left = len(sign)
            if self._is_group and self._group_start is not None:
                start = (*self._group_start, None)
        if self.is_open:
            bar, skipped, back = start
            self.found.append(Overlay(bar, skipped, back, unit_length, octaves))

    def keep(self, token: Token, line: int, columns: list[int] | None) -> None:
        """Keep a token of the overlay that is open."""
        self.found[-1].tokens.append((token, line, columns))

    def passes_bar(self) -> bool:
        """A bar sign: whether it is one of the overlay, and none of the voice."""
        if not self.is_open or self._is_group:
            return self.is_open
        self._bars_left -= 1
        self.is_open = self._bars_left > 0
        return self.is_open

    def end(self) -> None:
        """The end of a group, or another voice."""
        self.is_open = self._is_group = False
        self._group_start = None


ReadOverlay = tuple[int, Ticks, list[BarDraft]]
"""The first bar of an overlay, the ticks that it skips there, and its bars."""


def layers_of(found: Iterable[ReadOverlay], drafts: Sequence[BarDraft]) -> list[list[BarDraft]]:
    """The overlays as voices of their own, each with rests in the bars that it does not touch: as
    few of them as can hold all overlays."""
    layers: list[list[BarDraft]] = []
    nexts: list[int] = []
    for first, skipped, bars in sorted(found, key=lambda one: one[0]):
        at = next((at for at, free in enumerate(nexts) if free <= first), len(layers))
        if at == len(layers):
            layers.append([])
            nexts.append(0)
        layers[at] += [_silence(draft) for draft in drafts[nexts[at] : first]]
        if skipped and bars:
            bars[0].notes.insert(0, _rest(drafts[first], skipped))
        nexts[at] = _beside(drafts, first, bars)
        layers[at] += bars
    for layer, free in zip(layers, nexts, strict=True):
        layer += [_silence(draft) for draft in drafts[free:]]
    return layers


def _beside(drafts: Sequence[BarDraft], first: int, bars: Sequence[BarDraft]) -> int:
    """Give each bar of an overlay the frame of the one it sounds with; the index of the bar after
    the last of them."""
    at = first
    for bar in bars:
        own = drafts[min(at, len(drafts) - 1)]
        bar.sign_before, bar.line_breaks = own.sign_before, False
        at += 1
        while at < len(drafts) and not drafts[at].sign_before:
            at += 1
        bar.sign_after = drafts[min(at, len(drafts)) - 1].sign_after
    return at


def _silence(draft: BarDraft) -> BarDraft:
    bar = BarDraft(draft.line, draft.column, draft.meter, draft.key, draft.sign_before)
    bar.sign_after = draft.sign_after
    bar.notes = [_rest(draft, draft.ticks)]
    return bar


def _rest(draft: BarDraft, ticks: Ticks) -> NoteDraft:
    return NoteDraft(draft.line, max(draft.column, 1), max(draft.column, 1), ticks)
