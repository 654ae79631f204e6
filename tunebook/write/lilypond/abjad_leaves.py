"""The text of single leaves by abjad, made of pitches and values.

abjad can parse a leaf as well, but the tables of its parser take longer to make than a whole book's
leaves, and it writes them into a folder of its own in the user's home.
"""

from __future__ import annotations

import contextlib
import functools
import io
import os
import re
import tempfile
from collections.abc import Sequence
from fractions import Fraction
from types import ModuleType
from typing import Any

_HEAD = re.compile(r"(?P<pitch>[a-z]+[',]*)(?P<signs>[!?]*)")
_LONG_VALUES = {"\\breve": Fraction(2), "\\longa": Fraction(4), "\\maxima": Fraction(8)}


_SMALL = ("\\tweak font-size #-4", "\\tweak Accidental.font-size #-4")


LeafTexts = dict[tuple[str, str, tuple[int, ...], tuple[int, ...]], str]
"""Texts of leaves by head, value, tied and small heads."""
_MOST_TEXTS = 20_000
_texts: LeafTexts = {}
_new_texts: LeafTexts = {}


def leaf_text(
    head: str, value: str, tied_heads: tuple[int, ...] = (), small_heads: tuple[int, ...] = ()
) -> str:
    """What :func:`text_of_leaf` gives, made once."""
    key = head, value, tied_heads, small_heads
    text = _texts.get(key)
    if text is None:
        text = text_of_leaf(*key)
        if len(_texts) >= _MOST_TEXTS:
            _texts.clear()
        _texts[key] = _new_texts[key] = text
    return text


def learn_texts(texts: LeafTexts, *, are_new: bool = False) -> None:
    """Know these texts, which were made elsewhere; as new ones where they are to be given on by
    :func:`new_texts`."""
    _texts.update(texts)
    if are_new:
        _new_texts.update(texts)


def known_texts() -> LeafTexts:
    """All texts that were made or learnt."""
    return dict(_texts)


def new_texts() -> LeafTexts:
    """The texts that are new since this was asked for."""
    found = dict(_new_texts)
    _new_texts.clear()
    return found


def text_of_leaf(
    head: str, value: str, tied_heads: Sequence[int] = (), small_heads: Sequence[int] = ()
) -> str:
    """The leaf ``head`` ("fs''!", "<c' e'>", "r", "s", "R") with ``value`` ("4.", "\\breve") as
    abjad prints it; ties of single heads, which it has not, go as tweaks, and so do sizes. Raises
    ValueError or abjad's errors for a head or value that cannot be written."""
    abjad = _abjad()
    duration = _duration(abjad, value)
    rests = {"r": abjad.Rest, "s": abjad.Skip, "R": abjad.MultimeasureRest}
    if head in rests:
        return str(abjad.lilypond(_made(rests[head], "from_duration", duration)))
    notes = [_pitch_and_signs(abjad, word) for word in head.strip("<>").split()]
    pitches = [pitch for pitch, _ in notes]
    if head.startswith("<"):
        leaf = _made(abjad.Chord, "from_duration_and_pitches", duration, pitches)
        heads = list(_asked(leaf, "note_heads"))
    else:
        leaf = _made(abjad.Note, "from_duration_and_pitch", duration, *pitches)
        heads = [_asked(leaf, "note_head")]
    _mark(heads, notes)
    for place in tied_heads:
        abjad.tweak(heads[place], "\\tweak Tie.font-size 0 \\tied")
    for place in small_heads:
        for tweak in _SMALL:
            abjad.tweak(heads[place], tweak)
    return str(abjad.lilypond(leaf))


@functools.cache
def _abjad() -> ModuleType:
    """The package, imported where neither the home nor the temporary folder is a folder: it would
    make one of its own there and write into it. It complains when it cannot, which makes no
    difference to leaves."""
    home, temporary = os.environ.get("HOME"), tempfile.tempdir
    os.environ["HOME"] = tempfile.tempdir = os.devnull
    try:
        with contextlib.redirect_stderr(io.StringIO()):
            import abjad
    finally:
        tempfile.tempdir = temporary
        del os.environ["HOME"]
        if home is not None:
            os.environ["HOME"] = home
    return abjad


def _duration(abjad: ModuleType, value: str) -> Any:
    name = value.rstrip(".")
    length = _LONG_VALUES.get(name) or Fraction(1, int(name))
    length *= 2 - Fraction(1, 2 ** (len(value) - len(name)))
    return abjad.Duration(length.numerator, length.denominator)


def _pitch_and_signs(abjad: ModuleType, word: str) -> tuple[Any, str]:
    match = _HEAD.fullmatch(word)
    if match is None:
        raise ValueError(f"no head of a note: {word!r}")
    return abjad.NamedPitch(match["pitch"]), match["signs"]


def _made(kind: Any, maker: str, duration: Any, *pitches: Any) -> Any:
    """A leaf; newer versions have a maker for each kind, where older ones are given all at once."""
    make = getattr(kind, maker, None)
    return kind(*pitches, duration) if make is None else make(duration, *pitches)


def _asked(leaf: Any, name: str) -> Any:
    """A property of a leaf, in newer versions a method."""
    found = getattr(leaf, name)
    return found() if callable(found) else found


def _mark(heads: Sequence[Any], notes: Sequence[tuple[Any, str]]) -> None:
    """Give each head the signs of the first note of its pitch that is left."""
    left = list(notes)
    for head in heads:
        pitch = _asked(head, "written_pitch")
        at = next(at for at, (other, _) in enumerate(left) if other == pitch)
        signs = left.pop(at)[1]
        for sign, name in (("!", "is_forced"), ("?", "is_cautionary")):
            if sign in signs and hasattr(head, f"set_{name}"):
                getattr(head, f"set_{name}")(True)
            elif sign in signs:
                setattr(head, name, True)
