"""What a recording sounds like, measured from its samples with nothing of the program's: pitch
after A. de Cheveigne & H. Kawahara, "YIN, a fundamental frequency estimator for speech and music",
JASA 111, 2002; onsets by the rise of energy; partials by the Fourier transform."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tunebook.model.sound import SoundChoice, SoundOrder
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.write.sound.recording import record

Samples = Any
RATE = 44100
HARPA = read_instrument("nyckelharpa-3row")
HAND = read_hand()
HEAD = "X:1\nT:Ljudprov\nM:4/4\nL:1/4\nQ:1/4=60\nK:C\n"
DRY = {"key_knock": 0.0, "bow_noise": 0.0, "sympathetic": 0.0}


def arranged(music: str, head: str = HEAD, instrument: Any = HARPA, **wishes: Any) -> Any:
    """The arrangement of ``music``."""
    (tune,) = read_abc(head + music + "\n", "ljudprov.abc")
    return arrange(tune, instrument, HAND, **wishes)


def heard(arrangement: Any, order: SoundOrder | None = None, **choice: Any) -> Samples:
    """The samples of a recording, full scale 1."""
    order = order or SoundOrder(parts=("melody",))
    blocks = record(arrangement, order, SoundChoice(**choice)).samples()
    return np.concatenate(list(blocks)) / 32768.0


def hz_of(midi: float, a4_hz: float = 440.0) -> float:
    """Equal temperament from A4 (ISO 16:1975)."""
    return float(a4_hz * 2.0 ** ((midi - 69) / 12.0))


def cents_between(one_hz: float, other_hz: float) -> float:
    return 1200.0 * math.log2(one_hz / other_hz)


def pitch_of(samples: Samples, lowest_hz: float = 90.0, highest_hz: float = 2000.0) -> float:
    """Fundamental frequency by YIN, steps 1 to 5 (threshold 0.1, parabolic interpolation); the
    lag is refined over as many periods as the samples hold, which divides its error."""
    window = len(samples) // 2
    longest = min(window, int(RATE / lowest_hz) + 2)
    normed = _normed_difference(samples, window, longest)
    shortest = int(RATE / highest_hz)
    below = [lag for lag in range(shortest, longest - 1) if normed[lag] < 0.1]
    lag = below[0] if below else int(np.argmin(normed[shortest:])) + shortest
    while lag + 1 < longest - 1 and normed[lag + 1] < normed[lag]:
        lag += 1
    period = _lowest_near(normed, lag)
    for periods in (2, 4, 8, 16, 32, 64):
        guess = round(period * periods)
        if guess + 3 >= window:
            break
        local = np.array([_difference(samples, window, guess + step) for step in range(-3, 4)])
        at = int(np.clip(np.argmin(local), 1, 5))
        period = (guess - 3 + _lowest_near(local, at)) / periods
    return RATE / period


def _difference(samples: Samples, window: int, lag: int) -> float:
    return float(np.sum((samples[:window] - samples[lag : lag + window]) ** 2))


def _normed_difference(samples: Samples, window: int, longest: int) -> Samples:
    differences = np.array([_difference(samples, window, lag) for lag in range(longest)])
    sums = np.cumsum(differences[1:])
    normed = np.ones(longest)
    normed[1:] = differences[1:] * np.arange(1, longest) / np.maximum(sums, 1e-12)
    return normed


def _lowest_near(values: Samples, at: int) -> float:
    left, middle, right = values[at - 1], values[at], values[at + 1]
    return float(at + 0.5 * (left - right) / (left - 2.0 * middle + right))


def levels_db(samples: Samples, hop: int = 110, window: int = 441) -> Samples:
    """Level of windows of 10 ms, every 2.5 ms, in dB of full scale."""
    power = np.concatenate(([0.0], np.cumsum(samples**2)))
    starts = np.arange(0, len(samples) - window, hop)
    return 10.0 * np.log10((power[starts + window] - power[starts]) / window + 1e-12)


def onsets_s(samples: Samples, rise_db: float = 3.0) -> list[float]:
    """Where the energy rises by ``rise_db`` within 20 ms: the steepest places, 60 ms apart at
    least."""
    hop, window, across = 110, 441, 8
    level = np.maximum(levels_db(samples, hop, window), -60.0)
    rises = level[across:] - level[:-across]
    found: list[int] = []
    for at in np.argsort(-rises, kind="stable"):
        if rises[at] < rise_db:
            break
        if all(abs(at - other) * hop > 0.06 * RATE for other in found):
            found.append(int(at))
    return sorted(((at + across / 2) * hop + window / 2) / RATE for at in found)


def power_at(samples: Samples, hz: float, wide_hz: float = 6.0) -> float:
    """Power in a band around ``hz``, in dB."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) / len(samples)
    grid = np.fft.rfftfreq(len(samples), 1.0 / RATE)
    return float(10.0 * np.log10(np.sum(spectrum[np.abs(grid - hz) < wide_hz] ** 2) + 1e-15))
