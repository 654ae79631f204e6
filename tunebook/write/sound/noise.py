"""What is no tone: the rush of the bow, a bow that turns, the knock of a key, a metronome.

The hair slips once a period, so that the rush of the bow comes in bursts at the pitch of the note
(C. Chafe, "Pulsed noise in self-sustained oscillations of musical instruments", ICASSP 1990). A key
is a small piece of wood that is stopped: a few resonances that die away in some ten milliseconds;
their pitches are our judgement. All chance is drawn once, from a generator with a fixed seed.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from tunebook.write.sound.strings import PERIOD, RATE, Wave

NOISE_SAMPLES = 1 << 17
"""After so many samples the rush begins again; tones begin at different places of it."""
SCRATCHES = 16
_SEED = 1863


def _generator(number: int) -> np.random.Generator:
    # The bit stream of this generator is fixed (NumPy, "Compatibility policy", PCG64).
    return np.random.Generator(np.random.PCG64([_SEED, number]))


def _uniform(number: int, count: int) -> npt.NDArray[np.float64]:
    """Values from -1 to 1, equal at every call."""
    return 2.0 * _generator(number).random(count) - 1.0


def _band(noise: npt.NDArray[np.float64], low_hz: float, high_hz: float) -> Wave:
    """Noise of the band, its loudness that of a sine of half an amplitude, its end joined to its
    beginning."""
    hz = np.fft.rfftfreq(len(noise), 1.0 / RATE)
    share = 1.0 / np.sqrt(
        (1.0 + (low_hz / np.maximum(hz, 1e-9)) ** 4) * (1.0 + (hz / high_hz) ** 4)
    )
    found = np.fft.irfft(np.fft.rfft(noise) * share, len(noise))
    return (0.35 * found / np.sqrt(np.mean(found**2))).astype(np.float32)


@functools.lru_cache(maxsize=2)
def bow_rush(room: int) -> Wave:
    """The rush of the bow, repeated so that ``room`` samples from any place of its first
    NOISE_SAMPLES can be taken."""
    once = _band(_uniform(0, NOISE_SAMPLES), 700.0, 4200.0)
    return np.resize(once, NOISE_SAMPLES + room)


@functools.cache
def slip_bursts() -> Wave:
    """By the place in the period, how strong the rush is."""
    turn = 2.0 * np.pi * np.arange(PERIOD) / PERIOD
    return (1.0 + 0.8 * np.cos(turn)).astype(np.float32)


@functools.cache
def scratches() -> tuple[Wave, ...]:
    """How far (in periods) a string strays while it finds into its motion, for so many strokes."""
    count = int(0.08 * RATE)
    fade = np.exp(-np.arange(count) / (0.015 * RATE))
    return tuple(
        (0.06 * fade * _band(_uniform(1 + number, count), 30.0, 300.0)).astype(np.float32)
        for number in range(SCRATCHES)
    )


@functools.cache
def wanderings() -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """What a bow arm is never without: slow changes of pitch, as a share of time gained (in steps
    of WANDER_STEP), and of loudness (around 0), each joined end to beginning."""
    count = 16384
    pitch = _slow(_uniform(40, count))
    drift = np.cumsum(pitch - pitch.mean())
    return drift, _slow(_uniform(41, count))


WANDER_STEP = 220
"""Samples from one value of the wanderings to the next; what lies between are straight lines."""


def _slow(noise: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Noise of 0.5 to 5 Hz, of standard deviation 1."""
    hz = np.fft.rfftfreq(len(noise), WANDER_STEP / RATE)
    spectrum = np.fft.rfft(noise) * ((hz > 0.5) & (hz < 5.0))
    found = np.fft.irfft(spectrum, len(noise))
    return found / found.std()


@functools.cache
def key_knocks() -> tuple[Wave, ...]:
    """A few knocks of keys, peak 1: wood on wood, and the rattle of the key in its slot."""
    return tuple(
        _struck(((310, 5.0, 1.0), (790, 4.0, 0.8), (1640, 2.5, 0.6), (2870, 1.6, 0.4)),
                0.05, 20 + number, 0.4, 1.0 + 0.03 * number)
        for number in range(4)
    )  # fmt: skip


@functools.cache
def click_sounds() -> tuple[Wave, Wave]:
    """A metronome's first beat and the others: a small block of wood, peak 1."""
    return tuple(
        _struck(((hz, 9.0, 1.0), (2.7 * hz, 3.0, 0.35)), 0.07, 30, 0.1, 1.0)
        for hz in (1560.0, 1170.0)
    )  # type: ignore[return-value]


def _struck(
    modes: tuple[tuple[float, float, float], ...],
    length_s: float,
    seed: int,
    noise: float,
    pitch: float,
) -> Wave:
    """Resonances (Hz, time constant in ms, strength) that are struck, with a puff of noise."""
    time = np.arange(int(length_s * RATE)) / RATE
    wave = noise * _uniform(seed, len(time)) * np.exp(-time / 0.002)
    for hz, decay_ms, strength in modes:
        wave += strength * np.exp(-time * 1000.0 / decay_ms) * np.sin(2 * np.pi * hz * pitch * time)
    wave *= np.minimum(1.0, time / 0.0004) * np.minimum(1.0, (time[-1] - time) / 0.005)
    return (wave / np.abs(wave).max()).astype(np.float32)
