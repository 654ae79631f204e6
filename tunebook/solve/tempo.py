"""The tempo at which a tune is fingered.

A tune's own Q: field decides. Without a number there, a usual dance tempo for the tune type is
taken (our judgement: comfortable session tempi), else one for the metre. Speed matters because the
cost of a movement is its distance over the time there is for it.
"""

from __future__ import annotations

import re
from fractions import Fraction

from tunebook.model.tune import Meter, Tune

SLOWEST, FASTEST = 0.05, 4.0
"""Bounds in whole notes a second outside which a tempo is taken for a slip of the pen."""

# Tune type: (note value that is counted, beats a minute). Our judgement.
DEFAULT_TEMPI: dict[str, tuple[Fraction, float]] = {
    "air": (Fraction(1, 4), 72),
    "barndance": (Fraction(1, 4), 160),
    "brudmarsch": (Fraction(1, 4), 92),
    "double jig": (Fraction(3, 8), 112),
    "gånglåt": (Fraction(1, 4), 104),
    "ganglat": (Fraction(1, 4), 104),
    "halling": (Fraction(1, 4), 104),
    "hambo": (Fraction(1, 4), 116),
    "hornpipe": (Fraction(1, 4), 156),
    "jig": (Fraction(3, 8), 112),
    "lament": (Fraction(1, 4), 66),
    "lullaby": (Fraction(1, 4), 76),
    "march": (Fraction(1, 4), 108),
    "marsch": (Fraction(1, 4), 108),
    "masurka": (Fraction(1, 4), 138),
    "mazurka": (Fraction(1, 4), 138),
    "menuett": (Fraction(1, 4), 112),
    "minuet": (Fraction(1, 4), 112),
    "polka": (Fraction(1, 4), 126),
    "polonaise": (Fraction(1, 4), 100),
    "polska": (Fraction(1, 4), 108),
    "reel": (Fraction(1, 2), 104),
    "reinlender": (Fraction(1, 4), 138),
    "schottis": (Fraction(1, 4), 144),
    "schottische": (Fraction(1, 4), 144),
    "skänklåt": (Fraction(1, 4), 92),
    "slängpolska": (Fraction(1, 4), 104),
    "slide": (Fraction(3, 8), 126),
    "slip jig": (Fraction(3, 8), 116),
    "song": (Fraction(1, 4), 92),
    "springlek": (Fraction(1, 4), 116),
    "strathspey": (Fraction(1, 4), 124),
    "vals": (Fraction(1, 4), 144),
    "waltz": (Fraction(1, 4), 144),
}
DEFAULT_SIMPLE = (Fraction(1, 4), 104.0)
DEFAULT_TRIPLE = (Fraction(1, 4), 112.0)
DEFAULT_COMPOUND = (Fraction(3, 8), 100.0)
DEFAULT_CUT = (Fraction(1, 2), 88.0)


def tempo_of(tune: Tune, override: float | None = None) -> tuple[float, bool]:
    """Speed of ``tune`` in whole notes a second, and whether it is a default.

    ``override`` is a tempo in beats a minute, the beat being that of the metre (a dotted beat in
    compound metres), and wins over the tune's own.
    """
    if override:
        return _speed(_beat(tune.meter), override), False
    if tune.tempo is not None and tune.tempo.whole_notes_per_second > 0:
        speed = tune.tempo.whole_notes_per_second
        if SLOWEST <= speed <= FASTEST:
            return speed, False
    beat, per_minute = default_tempo(tune.rhythm, tune.meter)
    return _speed(beat, per_minute), True


def default_tempo(rhythm: str, meter: Meter) -> tuple[Fraction, float]:
    """Usual tempo of a tune type: the note value counted and how many a minute."""
    name = re.sub(r"\s+", " ", rhythm).strip().casefold()
    if name in DEFAULT_TEMPI:
        return DEFAULT_TEMPI[name]
    known = [kind for kind in DEFAULT_TEMPI if re.search(rf"\b{re.escape(kind)}", name)]
    if known:
        return DEFAULT_TEMPI[max(known, key=len)]
    if meter.is_compound:
        return DEFAULT_COMPOUND
    if meter.sign == "C|" or meter.unit == 2:
        return DEFAULT_CUT
    return DEFAULT_TRIPLE if meter.beats == 3 else DEFAULT_SIMPLE


def _beat(meter: Meter) -> Fraction:
    if meter.is_compound:
        return Fraction(3, meter.unit)
    if meter.is_free:
        return Fraction(1, 4)
    return Fraction(1, 2) if meter.sign == "C|" else Fraction(1, meter.unit)


def _speed(beat: Fraction, per_minute: float) -> float:
    return min(FASTEST, max(SLOWEST, float(beat) * per_minute / 60.0))
