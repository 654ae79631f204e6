"""A bowed string: its wave at the bridge, how it begins, and how it rings when the bow has left.

Under the bow a string moves in Helmholtz's way: a corner runs round it once a period, and the force
on the bridge is a sawtooth (H. von Helmholtz, *Die Lehre von den Tonempfindungen*, 1863; N. H.
Fletcher & T. D. Rossing, *The Physics of Musical Instruments*, 1998, ch. 10). The corner is rounded
by the string's stiffness and losses and sharpened by the force of the bow (L. Cremer, *The Physics
of the Violin*, 1984; M. E. McIntyre, R. T. Schumacher & J. Woodhouse, "On the oscillations of
musical instruments", JASA 74, 1983), which is a low pass over the sawtooth's partials; waves that
are caught between bow and bridge add a ripple whose period is the bow's place (Cremer, ibid.). The
partials are summed below half the sampling rate (additive synthesis into a table of one period), so
none folds back. Figures are our judgement where no source is named.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tunebook.model.instrument import String

Wave = npt.NDArray[np.float32]

RATE = 44100
"""Samples a second."""
PERIOD = 4096
"""Samples of a table of one period."""
HIGHEST_HZ = 18500.0
"""No partial lies higher; from FADING_HZ on they get weaker."""
FADING_HZ = 15500.0

# Where the partials of the sawtooth begin to fall off twice as fast again, for an open C3; higher
# strings are thinner and their corner is sharper. Our judgement.
_CORNER_HZ, _CORNER_OF_HZ, _CORNER_POWER = 2600.0, 130.8, 0.5
# The bow's way from the bridge over a string of 400 mm, and what it is on others in proportion.
_BOW_SHARE = 0.1
_RIPPLE = 0.25
# A fresh stroke presses harder: its corner is sharper so many times.
_BRIGHT = 2.0


@dataclass(frozen=True, slots=True)
class StringSound:
    """What the tone of a string depends on, stopped where it is: ``bow_share`` is the bow's
    distance from the bridge as a share of what sounds of the string, ``corner_hz`` where the
    rounding of the corner begins to tell, ``ring_s`` the time in which the string dies away by
    60 dB when the bow has left it."""

    bow_share: float
    corner_hz: float
    ring_s: float


def string_sound(string: String | None, key: int, hz: float) -> StringSound:
    """The sound of ``string`` at ``key`` (0 the open string); for a tone of no string of the
    instrument, that of an open string of its pitch."""
    open_hz = hz if string is None else hz / 2.0 ** (key / 12.0)
    corner = _CORNER_HZ * (open_hz / _CORNER_OF_HZ) ** _CORNER_POWER
    share = _BOW_SHARE * 2.0 ** (key / 12.0)
    # The nearer the bow is to the middle of what sounds, the duller: the root is our judgement.
    corner *= (_BOW_SHARE / share) ** 0.5
    # A key of wood damps a string more than a nut does.
    ring = (1.1 if key == 0 else 0.35) * (220.0 / hz) ** 0.3
    return StringSound(round(share, 6), round(corner, 3), round(ring, 4))


@dataclass(frozen=True, slots=True)
class Tables:
    """One period of a tone, and what is to be added to it: by a fresh stroke (``bright``), when the
    string rings by itself (``free``). Each has its values and the steps to the next ones."""

    steady: tuple[Wave, Wave]
    bright: tuple[Wave, Wave]
    free: tuple[Wave, Wave]


@functools.lru_cache(maxsize=512)
def tables_for(hz: float, sound: StringSound) -> Tables:
    """The tables of a tone of ``hz``."""
    count = max(1, int(HIGHEST_HZ / hz))
    partial = np.arange(1, count + 1)
    room = np.clip((HIGHEST_HZ - partial * hz) / (HIGHEST_HZ - FADING_HZ), 0.0, 1.0)
    ripple = 1.0 + _RIPPLE * np.cos(2.0 * np.pi * partial * sound.bow_share)
    sawtooth = room * ripple / partial

    def rounded(corner_hz: float) -> npt.NDArray[np.float64]:
        return sawtooth / (1.0 + (partial * hz / corner_hz) ** 2)

    steady = rounded(sound.corner_hz)
    bright = rounded(sound.corner_hz * _BRIGHT)
    free = steady / (1.0 + 0.25 * (partial - 1) ** 1.5)
    return Tables(_table(steady), _table(bright - steady), _table(free - steady))


def _table(amplitudes: npt.NDArray[np.float64]) -> tuple[Wave, Wave]:
    spectrum = np.zeros(PERIOD // 2 + 1, dtype=complex)
    count = min(len(amplitudes), PERIOD // 2 - 1)
    spectrum[1 : count + 1] = -0.5j * PERIOD * amplitudes[:count]
    wave = np.fft.irfft(spectrum, PERIOD)
    steps = np.roll(wave, -1) - wave
    return wave.astype(np.float32), steps.astype(np.float32)


def looked_up(table: tuple[Wave, Wave], at: npt.NDArray[np.int64], between: Wave) -> Wave:
    """The table's values at the places ``at`` + ``between`` (0 to 1), in straight lines."""
    values, steps = table
    found = steps[at]
    found *= between
    found += values[at]
    return found


def places_of(phase: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.int64], Wave]:
    """Where in a table the phases (in periods) lie: whole places, and what is beyond them."""
    phase *= PERIOD
    at = phase.astype(np.int64)
    phase -= at
    at &= PERIOD - 1
    return at, phase.astype(np.float32)
