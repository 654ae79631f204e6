"""What the bridge drives: the sympathetic strings, and the body that all is heard through.

A string that is not bowed answers the bridge's motion with a force of its own at each of its
partials; seen from the bridge all of them are equally strong (the impedance of an ideal string is
Z cot kL: Fletcher & Rossing, *The Physics of Musical Instruments*, 1998, ch. 2), and each dies away
at its own pace, the higher the faster. They ring on when the bow has left. How strongly they are
driven and how long they ring is our judgement.

The body is a few resonances known from violins: the air (A0), two of the corpus (B1-, B1+) and the
broad hill of the bridge (G. Bissinger, "Structural acoustics of good and bad violins", JASA 124,
2008; E. V. Jansson & B. K. Niewczyk, "On the acoustics of the violin: bridge or body hill", CAS
Journal 3, 1999; figures rounded, from memory). Above them modes lie so close that only their number
and width matter to the ear (J. Woodhouse, "On the 'bridge hill' of the violin", Acta Acustica 91,
2005): theirs are drawn once, and are no instrument's. No measured body of a nyckelharpa is behind
it; the "neutral" body lets everything pass that radiates.

Both are linear and do not change, so together they are one impulse response.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tunebook.model.choices import SoundBody
from tunebook.write.sound.strings import RATE

RESPONSE = 1 << 17
"""Samples of the impulse response: three seconds."""
SIZE = 1 << 19
BLOCK = 388_080
"""Samples that are worked on at once: 8.8 seconds, a whole number of tenths."""

# The tone of a sympathetic string that is driven at its pitch until it gets no louder, as a share
# of the bowed one's.
_COUPLING = 0.35
# Decay by 60 dB of a sympathetic string of 220 Hz, and how it falls with pitch.
RING_S, RING_OF_HZ, RING_POWER = 3.6, 220.0, 0.5
_HIGHEST_PARTIAL_HZ = 6000.0
# Hz, quality, strength: A0, B1-, B1+.
_MODES = ((275.0, 12.0, 0.9), (460.0, 18.0, 0.6), (540.0, 18.0, 0.7))
_HILL = (2500.0, 1.5, 1.6)
# So many further modes, each so much higher than the last (and a chance share of that), their
# quality, and the most of their strength.
_CLOSE_MODES, _CLOSE_FROM_HZ, _CLOSE_STEP = 26, 640.0, 1.1
_CLOSE_QUALITY, _CLOSE_STRENGTH = 22.0, 0.7
_BODY_RESPONSE = 1 << 15
# Below this a small body radiates ever less; above the second the hill has passed.
_RADIATES_HZ, _FALLS_HZ = 190.0, 6500.0

Spectrum = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Sympathetic:
    """A sympathetic string: its pitch, and the time in which it dies away by 60 dB."""

    hz: float
    ring_s: float


def usual_ring_s(hz: float) -> float:
    """How long a sympathetic string of this pitch rings, where a profile does not say."""
    return RING_S * (RING_OF_HZ / hz) ** RING_POWER


@functools.lru_cache(maxsize=4)
def bridge_response(strings: tuple[Sympathetic, ...], level: float, body: SoundBody) -> Spectrum:
    """Return the spectrum, for blocks of SIZE, of what is heard of a force on the bridge."""
    response = np.zeros(RESPONSE)
    response[0] = 1.0
    if level > 0:
        for string in strings:
            _add_string(response, string, level * _COUPLING)
    # The body's own response is short; the fade hides where the strings' is cut off.
    fade = RESPONSE // 8
    response[-fade:] *= np.linspace(1.0, 0.0, fade)
    spectrum = np.fft.rfft(response, SIZE)
    short = np.fft.irfft(_body(np.fft.rfftfreq(_BODY_RESPONSE, 1.0 / RATE), body))
    return spectrum * np.fft.rfft(short, SIZE)


def _add_string(response: npt.NDArray[np.float64], string: Sympathetic, level: float) -> None:
    count = max(1, int(_HIGHEST_PARTIAL_HZ / string.hz))
    for partial in range(1, count + 1):
        ring_s = string.ring_s / (1.0 + 0.12 * (partial - 1))
        length = min(len(response), int(ring_s * 1.3 * RATE))
        decay = 10.0 ** (-3.0 / (ring_s * RATE))
        turn = 2.0 * np.pi * partial * string.hz / RATE
        response[:length] += _ringing(turn, decay, length) * _strength(level, string.ring_s)


def _strength(level: float, ring_s: float) -> float:
    """What makes a resonance of this decay ``level`` as loud as the tone that drives it."""
    return level * 2.0 * 3.0 * np.log(10.0) / (ring_s * RATE)


def _ringing(turn: float, decay: float, length: int) -> npt.NDArray[np.float64]:
    """A cosine of ``turn`` radians a sample that loses ``decay`` with each; by powers of powers,
    which is some ten times as fast as a cosine for each sample."""
    step = 512
    pole = decay * np.exp(1j * turn)
    near = pole ** np.arange(step)
    far = (pole**step) ** np.arange(-(-length // step))
    return (far[:, None] * near[None, :]).real.ravel()[:length]


def _close_modes() -> list[tuple[float, float, float]]:
    chance = np.random.Generator(np.random.PCG64(1909)).random((_CLOSE_MODES, 2))
    return [
        (
            _CLOSE_FROM_HZ * _CLOSE_STEP ** (number + 0.6 * (place - 0.5)),
            _CLOSE_QUALITY,
            _CLOSE_STRENGTH * (2.0 * strength - 1.0),
        )
        for number, (place, strength) in enumerate(chance)
    ]


def _body(hz: npt.NDArray[Any], body: SoundBody) -> Spectrum:
    # The bilinear transform: what follows is then a filter that answers nothing before it is asked.
    s = 1j * RATE / np.pi * np.tan(np.pi * hz / RATE)
    passing = (s / _RADIATES_HZ) ** 2 / (1.0 + 1.4 * s / _RADIATES_HZ + (s / _RADIATES_HZ) ** 2)
    if body == "neutral":
        return passing
    found = np.full(len(hz), 0.6, dtype=complex)
    for at, quality, strength in (*_MODES, _HILL, *_close_modes()):
        found += strength * (s * at / quality) / (at**2 + s**2 + s * at / quality)
    return passing * found / (1.0 + s / _FALLS_HZ)


class Convolver:
    """Filters a stream, BLOCK samples at a time, by an impulse response given as a spectrum of
    SIZE (overlap and add)."""

    def __init__(self, spectrum: Spectrum) -> None:
        self._spectrum = spectrum
        self._rest = np.zeros(SIZE - BLOCK)

    def feed(self, block: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
        """Return the next BLOCK samples of the filtered stream."""
        found = np.fft.irfft(np.fft.rfft(block, SIZE) * self._spectrum, SIZE)
        found[: len(self._rest)] += self._rest
        self._rest = found[BLOCK:].copy()
        return found[:BLOCK]
