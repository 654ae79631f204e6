"""Fonts by their role on the page: which font prints each character, and how wide it is."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any

from tunebook.assemble.font_files import (
    ROLES,
    fallback_file,
    symbol_font,
    text_font,
    text_kerning,
)
from tunebook.assemble.kerning import Kerning, kerned
from tunebook.assemble.symbol_font import DOT, HALF, SIXTEENTH, WHOLE
from tunebook.errors import ProgramError

SERIF, BOLD, ITALIC, BOLD_ITALIC, SANS, SANS_BOLD = ROLES
# Printed for a character that no font has.
_UNKNOWN = "\ufffd"
_SYMBOLS = "symbols"
# Smaller text is not kerned: nobody sees it there.
_KERNED_FROM_PT = 13.0
_OPENING_QUOTE = re.compile(r'(?:(?<=\s)|(?<=[(\[])|^)"(?=\S)')
_QUOTES = re.compile("[\"'`]")
_OWN_SYMBOLS = (WHOLE, HALF, SIXTEENTH, DOT)


@dataclass(slots=True)
class Fonts:
    """Chains of fonts by role, each registered when it is first asked for. ``missing`` collects
    the characters that no font had, for a warning at the end."""

    chains: dict[str, tuple[Callable[[], Any], ...]]
    main_names: tuple[str, ...] = ()
    kerning: dict[str, Kerning] = field(default_factory=dict)
    opening_quote: str = "“"
    missing: set[str] = field(default_factory=set)
    _choices: dict[tuple[str, str], Any] = field(default_factory=dict)
    _pieces: dict[tuple[str, str, float], list[tuple[str, str, float]]] = field(
        default_factory=dict
    )

    def runs(self, text: str, role: str) -> list[tuple[str, str]]:
        """Cut ``text`` into (font name, text) runs, each printable by its font."""
        runs: list[tuple[str, str]] = []
        for letter in printable(text, self.opening_quote):
            font = self._font_of(letter, role)
            if font is None:
                self.missing.add(letter)
                letter, font = _UNKNOWN, self._font_of(_UNKNOWN, role)
                if font is None:
                    letter, font = "?", self.chains[role][0]()
            if runs and runs[-1][0] == font.fontName:
                runs[-1] = (font.fontName, runs[-1][1] + letter)
            else:
                runs.append((font.fontName, letter))
        return runs

    def width(self, text: str, role: str, size_pt: float) -> float:
        """Width of ``text`` in points, kerned where it is printed so."""
        return sum(width for _, _, width in self.pieces(text, role, size_pt))

    def pieces(self, text: str, role: str, size_pt: float) -> list[tuple[str, str, float]]:
        """(font name, text, advance in points) of all that is printed in one go. Text of the size
        of a title is cut where letters are kerned."""
        key = (text, role, size_pt)
        if key not in self._pieces:
            self._pieces[key] = self._measured(*key)
        return self._pieces[key]

    def _measured(self, text: str, role: str, size_pt: float) -> list[tuple[str, str, float]]:
        from reportlab.pdfbase.pdfmetrics import stringWidth

        pairs = self.kerning.get(role, {}) if size_pt >= _KERNED_FROM_PT else {}
        return [
            (font, piece, stringWidth(piece, font, size_pt) + shift * size_pt / 1000.0)
            for font, run in self.runs(text, role)
            for piece, shift in (kerned(run, pairs) if pairs else [(run, 0)])
        ]

    def _font_of(self, letter: str, role: str) -> Any:
        key = (letter, role)
        if key not in self._choices:
            fonts = (font() for font in self.chains[role])
            self._choices[key] = next(
                (font for font in fonts if ord(letter) in font.face.charToGlyph), None
            )
        return self._choices[key]


def printable(text: str, opening_quote: str = "“") -> str:
    """Composed letters (NFC), printer's apostrophes and quotation marks; control characters,
    marks of direction and line ends as spaces."""
    if text.isascii() and text.isprintable() and not _QUOTES.search(text):
        return text
    composed = _OPENING_QUOTE.sub(opening_quote, unicodedata.normalize("NFC", text))
    composed = composed.replace('"', "”").replace("'", "’").replace("`", "‘")
    return "".join(
        " " if unicodedata.category(letter) in ("Cc", "Zl", "Zp") else letter
        for letter in composed
        if letter in _OWN_SYMBOLS or unicodedata.category(letter) not in ("Cf", "Cs", "Co")
    )


def load_fonts(cache_folder: Path | None = None, opening_quote: str = "“") -> Fonts:
    """Register the fonts with reportlab and return them by role.

    Converted fonts are kept in ``cache_folder`` (None: converted anew, about 2 s). Raises
    ProgramError when neither LilyPond's fonts nor DejaVu can be found.
    """
    symbols = symbol_font(cache_folder)
    shared = [_font(_SYMBOLS, BytesIO(symbols[1]))] if symbols else []
    chains = {}
    names = []
    for role in ROLES:
        chain = []
        main = text_font(role, cache_folder)
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
    return Fonts(chains, tuple(names), {BOLD: text_kerning(BOLD)}, opening_quote)


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
