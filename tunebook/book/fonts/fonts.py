"""Fonts by their role on the page: which font prints each character, and text measured once.

Widths of letters and shifts of kerned pairs add up, so the width of any stretch of a text is the
difference of two sums. Lines and cuts are found by bisection in these sums: the time grows with
the length of the text, whatever stands in it. Nothing is cut between a letter and the marks that
combine with it, as long as they find room on one line.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from itertools import accumulate, groupby
from pathlib import Path
from typing import Any, NamedTuple

from tunebook.book.fonts.files import (
    ROLES,
    Kerning,
    fallback_file,
    kerned,
    symbol_font,
    text_font,
    text_kerning,
)
from tunebook.book.fonts.symbols import DOT, HALF, SIXTEENTH, WHOLE
from tunebook.errors import ProgramError
from tunebook.store import NO_STORE, Store

# What sums of the same widths in another order may differ by.
LEEWAY_PT = 1e-6


@dataclass(frozen=True, slots=True)
class MeasuredText:
    """``reached[i]`` is the width in points of the first i letters of ``text``, ``shifts[i]`` what
    the pair of letters i - 1 and i is kerned by (0.0 for the first letter), counted in ``reached``
    from i + 1 on. ``text`` has the letters and signs that are printed."""

    text: str
    reached: Sequence[float]
    shifts: Sequence[float]

    @property
    def width_pt(self) -> float:
        return self.reached[-1]

    def width(self, start: int, stop: int) -> float:
        """Width in points of the letters from ``start`` to before ``stop``, set by themselves."""
        if start >= stop:
            return 0.0
        return self.reached[stop] - self.reached[start] - self.shifts[start]

    def furthest(self, start: int, room_pt: float) -> int:
        """The last place up to which the letters from ``start`` on fit into ``room_pt``."""
        if start == len(self.text):
            return start
        most = self.reached[start] + self.shifts[start] + room_pt + LEEWAY_PT
        return max(start, bisect_right(self.reached, most, lo=start) - 1)

    def whole(self, start: int, stop: int) -> int:
        """``stop``, or the next place before it where no letter is parted from its marks; ``stop``
        itself where there is none after ``start``."""
        cut = stop
        while start < cut < len(self.text) and is_mark(self.text[cut]):
            cut -= 1
        return cut if cut > start else stop


def measure(
    text: str, widths: Sequence[float], kerned_by: Callable[[int], float] | None
) -> MeasuredText:
    """Add up. ``widths[i]`` is the advance of letter i in points; ``kerned_by(i)`` the shift of
    the pair of letters i - 1 and i, None where nothing is kerned."""
    if kerned_by is None:
        return MeasuredText(text, [*accumulate(widths, initial=0.0)], [0.0] * len(text))
    shifts = [0.0, *map(kerned_by, range(1, len(text)))][: len(text)]
    both = map(float.__add__, map(float, widths), shifts)
    return MeasuredText(text, [*accumulate(both, initial=0.0)], shifts)


def is_mark(letter: str) -> bool:
    """Whether the letter combines with the one before it."""
    return letter > "\u02ff" and unicodedata.category(letter) in ("Mn", "Me", "Mc")


def break_lines(text: MeasuredText, ends: Sequence[int], width_pt: float) -> tuple[str, ...]:
    """Break the text into lines no wider than ``width_pt``. ``ends`` are the places, in rising
    order, where a word ends; the letter there is a blank, or the text's end. What is wider than a
    line by itself is cut; a line has at least one letter."""
    lines: list[str] = []
    start, word = 0, 0
    while word < len(ends):
        far = text.furthest(start, width_pt)
        following = bisect_right(ends, far, lo=word)
        if following > word:
            lines.append(text.text[start : ends[following - 1]])
            start, word = ends[following - 1] + 1, following
            continue
        far = min(max(text.whole(start, far), start + 1), ends[word])
        lines.append(text.text[start:far])
        start = far
        if start == ends[word]:
            start, word = start + 1, word + 1
    return tuple(lines)


SERIF, BOLD, ITALIC, BOLD_ITALIC, SANS, SANS_BOLD = ROLES
# Printed for a character that no font has.
_UNKNOWN = "\ufffd"
_SYMBOLS = "symbols"
# Smaller text is not kerned: nobody sees it there.
_KERNED_FROM_PT = 13.0
_OPENING_QUOTE = re.compile(r'(?:(?<=\s)|(?<=[(\[])|^)"(?=\S)')
_QUOTES = re.compile("[\"'`]")
_OWN_SYMBOLS = (WHOLE, HALF, SIXTEENTH, DOT)
# Short texts are printed over and over (page numbers, names); what is remembered has bounds.
_LONGEST_KEPT = 300
_MOST_KEPT = 5_000
_MOST_GLYPHS = 50_000
# More marks on one letter than a line of any language has (Unicode Standard Annex 15, section 13:
# no more than 30 in text that is safe to be read in pieces).
_MOST_MARKS = 30


class Glyph(NamedTuple):
    """What is printed for a letter: the letter, its font's name, its width in thousandths of the
    type size."""

    letter: str
    font: str
    width: float


@dataclass(slots=True)
class Fonts:
    """Chains of fonts by role, each registered when it is first asked for. ``missing`` collects
    the characters that no font had, for a warning at the end."""

    chains: dict[str, tuple[Callable[[], Any], ...]]
    main_names: tuple[str, ...] = ()
    kerning: dict[str, Kerning] = field(default_factory=dict)
    opening_quote: str = "“"
    missing: set[str] = field(default_factory=set)
    _printed: dict[str, str] = field(default_factory=dict)
    _glyphs: dict[tuple[str, str], Glyph] = field(default_factory=dict)
    _pieces: dict[tuple[str, str, float], list[tuple[str, str, float]]] = field(
        default_factory=dict
    )

    def printed(self, text: str) -> str:
        """``text`` with the letters and signs that are printed for it."""
        found = self._printed.get(text)
        if found is None:
            found = printable(text, self.opening_quote)
            if len(text) <= _LONGEST_KEPT:
                if len(self._printed) >= _MOST_KEPT:
                    self._printed.clear()
                self._printed[text] = found
        return found

    def runs(self, text: str, role: str) -> list[tuple[str, str]]:
        """Cut ``text`` into (font name, text) runs, each printable by its font."""
        glyphs = self._glyphs_of(self.printed(text), role)
        return [
            (font, "".join(glyph.letter for glyph in run))
            for font, run in groupby(glyphs, lambda glyph: glyph.font)
        ]

    def width(self, text: str, role: str, size_pt: float) -> float:
        """Width of ``text`` in points, kerned where it is printed so."""
        return sum(width for _, _, width in self.pieces(text, role, size_pt))

    def measured(self, text: str, role: str, size_pt: float) -> MeasuredText:
        """How far each letter of ``text``, as printed, reaches."""
        letters = self.printed(text)
        glyphs = self._glyphs_of(letters, role)
        unit = size_pt / 1000.0
        pairs = self._pairs(role, size_pt)

        def kerned_by(at: int) -> float:
            left, right = glyphs[at - 1], glyphs[at]
            if left.font != right.font:
                return 0.0
            return pairs.get(left.letter + right.letter, 0) * unit

        widths = [glyph.width * unit for glyph in glyphs]
        return measure(letters, widths, kerned_by if pairs else None)

    def pieces(self, text: str, role: str, size_pt: float) -> list[tuple[str, str, float]]:
        """(font name, text, advance in points) of all that is printed in one go. Text of the size
        of a title is cut where letters are kerned."""
        key = (text, role, size_pt)
        found = self._pieces.get(key)
        if found is None:
            found = self._cut(*key)
            if len(text) <= _LONGEST_KEPT:
                if len(self._pieces) >= _MOST_KEPT:
                    self._pieces.clear()
                self._pieces[key] = found
        return found

    def _cut(self, text: str, role: str, size_pt: float) -> list[tuple[str, str, float]]:
        from reportlab.pdfbase.pdfmetrics import stringWidth

        pairs = self._pairs(role, size_pt)
        return [
            (font, piece, stringWidth(piece, font, size_pt) + shift * size_pt / 1000.0)
            for font, run in self.runs(text, role)
            for piece, shift in (kerned(run, pairs) if pairs else [(run, 0)])
        ]

    def _pairs(self, role: str, size_pt: float) -> Kerning:
        return self.kerning.get(role, {}) if size_pt >= _KERNED_FROM_PT else {}

    def _glyphs_of(self, letters: str, role: str) -> list[Glyph]:
        """What is printed for each letter; those that no font has are noted down."""
        known = self._glyphs
        return [known.get((letter, role)) or self._look_up(letter, role) for letter in letters]

    def _look_up(self, letter: str, role: str) -> Glyph:
        shown, font = letter, self._font_of(letter, role)
        if font is None:
            self.missing.add(letter)
            shown, font = _UNKNOWN, self._font_of(_UNKNOWN, role)
            if font is None:
                shown, font = "?", self.chains[role][0]()
        found = Glyph(shown, font.fontName, font.stringWidth(shown, 1000.0))
        if len(self._glyphs) >= _MOST_GLYPHS:
            self._glyphs.clear()
        self._glyphs[letter, role] = found
        return found

    def _font_of(self, letter: str, role: str) -> Any:
        fonts = (font() for font in self.chains[role])
        return next((font for font in fonts if ord(letter) in font.face.charToGlyph), None)


def printable(text: str, opening_quote: str = "“") -> str:
    """Composed letters (NFC), printer's apostrophes and quotation marks; control characters,
    marks of direction and line ends as spaces."""
    if text.isascii() and text.isprintable() and not _QUOTES.search(text):
        return text
    if not text.isascii():
        text = unicodedata.normalize("NFC", _with_few_marks(text))
    composed = _OPENING_QUOTE.sub(opening_quote, text)
    composed = composed.replace('"', "”").replace("'", "’").replace("`", "‘")
    return "".join(
        " " if unicodedata.category(letter) in ("Cc", "Zl", "Zp") else letter
        for letter in composed
        if letter in _OWN_SYMBOLS or unicodedata.category(letter) not in ("Cf", "Cs", "Co")
    )


def _with_few_marks(text: str) -> str:
    """Text without the marks beyond what a letter can carry; composing more takes for ever."""
    kept: list[str] = []
    marks = 0
    for letter in text:
        marks = marks + 1 if is_mark(letter) else 0
        if marks <= _MOST_MARKS:
            kept.append(letter)
    return text if len(kept) == len(text) else "".join(kept)


def load_fonts(store: Store = NO_STORE, opening_quote: str = "“") -> Fonts:
    """Register the fonts with reportlab and return them by role.

    Converted fonts are kept in ``store``: converting them takes about 2 s. Raises
    ProgramError when neither LilyPond's fonts nor DejaVu can be found.
    """
    symbols = symbol_font(store)
    shared = [_font(_SYMBOLS, BytesIO(symbols[1]))] if symbols else []
    chains = {}
    names = []
    for role in ROLES:
        chain = []
        main = text_font(role, store)
        if main is not None:
            chain.append(_font(role, BytesIO(main[1])))
            names.append(main[0])
        fallback = fallback_file(role)
        chain.extend(shared)
        if fallback is not None:
            chain.append(_font(role + "-more", fallback))
            if main is None:
                names.append(fallback.stem)
        if main is None and fallback is None:
            raise ProgramError("no font for the text", "install the lilypond or matplotlib package")
        chains[role] = tuple(chain)
    return Fonts(chains, tuple(names), {BOLD: text_kerning(BOLD, store)}, opening_quote)


def _font(name: str, source: BytesIO | Path) -> Callable[[], Any]:
    """A font that is read and registered when it is first wanted: many books need no fallback."""

    @functools.cache
    def registered() -> Any:
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont

        full_name = f"tunebook-{name}"
        font = TTFont(full_name, source if isinstance(source, BytesIO) else str(source))
        pdfmetrics.registerFont(font)
        return font

    return registered
