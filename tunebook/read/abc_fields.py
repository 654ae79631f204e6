"""Metre, unit length and tempo: the texts of M:, L: and Q:.

Source: The ABC Music Standard 2.1, sections 3.1.6 to 3.1.8.
"""

from __future__ import annotations

import re
from fractions import Fraction

from tunebook.model.tune import Meter, Tempo

FREE_METER = Meter(0, 4, "none", ())
_METER = re.compile(r"\(?\s*(\d{1,3}(?:\s*\+\s*\d{1,3})*)\s*\)?\s*/\s*(\d{1,3})")
_METER_SUM = re.compile(r"\d{1,3}\s*/\s*\d{1,3}(?:\s*\+\s*\d{1,3}\s*/\s*\d{1,3})+")
_LENGTH = re.compile(r"\s*(\d{1,4})\s*(?:/\s*(\d{1,4}))?\s*$")
_BEAT = r"\d{1,3}\s?/\s?\d{1,3}"
_BEATS = re.compile(rf"(?<!\d)({_BEAT}(?:\s{{1,9}}{_BEAT})*)\s*=\s*(\d{{1,5}}(?:\.\d+)?)")
_OLD_BEAT = re.compile(r"[Cc](\d{0,2})(?:/(\d{1,2}))?\s*=\s*(\d{1,5}(?:\.\d+)?)")
_BARE = re.compile(r"\s*(\d{1,5}(?:\.\d+)?)\s*$")
_LONGEST = 200
_QUOTED = re.compile(r'"([^"]*)"?')
_FRACTION = re.compile(r"(\d{1,3})\s*/\s*(\d{1,3})")


def read_meter(text: str) -> Meter | None:
    """Read the text of M:; None when it is no metre.

    "none" and an empty text are free metre; C is 4/4 and C| is 2/2 (4.3 of the 2.1 text calls it
    cut time). Sums may stand above (2+3/8, (2+3)/8) or between fractions (3/8+2/8).
    """
    text = text.strip()
    if len(text) > _LONGEST:
        return None
    if text in ("C", "c"):
        return Meter(4, 4, "C", (4,))
    if text in ("C|", "c|", "C |"):
        return Meter(2, 2, "C|", (2,))
    if not text or text.lower() in ("none", "free"):
        return FREE_METER
    total = _METER_SUM.fullmatch(text)
    if total:
        return _meter_of_sum(text)
    match = _METER.match(text)
    if not match:
        return None
    groups = tuple(int(number) for number in match[1].split("+"))
    unit = int(match[2])
    if not unit or not sum(groups):
        return None
    return Meter(sum(groups), unit, "+".join(map(str, groups)) + f"/{unit}", groups)


def _meter_of_sum(text: str) -> Meter | None:
    pairs = [(int(a), int(b)) for a, b in _FRACTION.findall(text)]
    if any(not top or not bottom for top, bottom in pairs):
        return None
    unit = max(bottom for _, bottom in pairs)
    if any(unit % bottom for _, bottom in pairs):
        return None
    groups = tuple(top * unit // bottom for top, bottom in pairs)
    sign = "+".join(f"{top}/{bottom}" for top, bottom in pairs)
    return Meter(sum(groups), unit, sign, groups)


def read_unit_length(text: str) -> Fraction | None:
    """Read the text of L: ("1/8", "1"); None when it is no length."""
    match = _LENGTH.match(text)
    if not match or not int(match[1]) or (match[2] is not None and not int(match[2])):
        return None
    return Fraction(int(match[1]), int(match[2] or 1))


def default_unit_length(meter: Meter) -> Fraction:
    """The unit length where no L: stands: 1/16 for metres below 3/4, else 1/8 (section 3.1.7)."""
    if meter.is_free or meter.length >= Fraction(3, 4):
        return Fraction(1, 8)
    return Fraction(1, 16)


def read_tempo(text: str, unit: Fraction) -> Tempo | None:
    """Read the text of Q:; None when nothing in it can be read.

    Forms: ``1/4=120``, ``"Allegro" 1/4=120``, ``1/4 3/8 1/4=40``, words alone (in quotes or
    not), and the older ``120``, ``C=120`` and ``C3=40``, which count in unit lengths.
    """
    if len(text) > _LONGEST:
        return None
    words = " ".join(_QUOTED.findall(text)).strip()
    rest = _QUOTED.sub(" ", text)
    match = _BEATS.search(rest)
    if match:
        beats = [(int(a), int(b)) for a, b in _FRACTION.findall(match[1])]
        if all(bottom for _, bottom in beats):
            beat = sum((Fraction(a, b) for a, b in beats), Fraction(0))
            return Tempo(beat, float(match[2]), words) if beat and float(match[2]) else None
    match = _OLD_BEAT.search(rest)
    if match:
        beat = unit * Fraction(int(match[1] or 1), int(match[2] or 1) or 1)
        return Tempo(beat, float(match[3]), words) if beat and float(match[3]) else None
    match = _BARE.match(rest)
    if match and float(match[1]):
        return Tempo(unit, float(match[1]), words)
    if not words and "=" not in rest and any(letter.isalpha() for letter in rest):
        words = rest.strip()
    return Tempo(Fraction(0), 0.0, words) if words else None
