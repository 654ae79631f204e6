"""Levels: how loud a recording is to the ear, one loudness for all, and peaks that stay below a
ceiling.

Loudness is the integrated one of ITU-R BS.1770-4 (2015): a shelf and a high pass ("K" weighting),
mean squares of blocks of 400 ms every 100 ms, those below -70 LUFS and then those more than 10 LU
below the mean of the rest left out. The analogue prototypes of the two filters give back the
coefficients that the recommendation tabulates for 48 kHz; here they are fitted to 44.1 kHz.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from tunebook.write.sound.resonance import BLOCK, SIZE, Convolver, Spectrum
from tunebook.write.sound.strings import RATE

TARGET_LUFS = -18.0
CEILING = 10.0 ** (-1.5 / 20.0)
"""The highest sample: -1.5 dBFS, so that what lies between samples stays below -1 too."""
HOP = RATE // 10
FRAME = 63
"""Samples of a frame of the limiter; a tenth of a second is 70 of them."""
_LIMITER_FRAMES = 14  # 20 ms before and after
_GATE_LUFS, _RELATIVE_GATE_LU = -70.0, -10.0
_K_SAMPLES = 8192


def _second_order(b: tuple[float, ...], a: tuple[float, ...]) -> npt.NDArray[np.float64]:
    """The impulse response of a filter of two poles and two zeros."""
    found = np.zeros(_K_SAMPLES)
    x1 = x2 = y1 = y2 = 0.0
    for number in range(_K_SAMPLES):
        x0 = 1.0 if number == 0 else 0.0
        y0 = b[0] * x0 + b[1] * x1 + b[2] * x2 - a[0] * y1 - a[1] * y2
        found[number] = y0
        x1, x2, y1, y2 = x0, x1, y0, y1
    return found


@functools.cache
def k_weighting() -> Spectrum:
    """The spectrum of both filters (BS.1770-4, annex 1) for blocks of SIZE."""
    k = np.tan(np.pi * 1681.974450955533 / RATE)
    q, high = 0.7071752369554196, 10.0 ** (3.999843853973347 / 20.0)
    band = high**0.4996667741545416
    scale = 1.0 + k / q + k * k
    shelf = _second_order(
        ((high + band * k / q + k * k) / scale, 2.0 * (k * k - high) / scale,
         (high - band * k / q + k * k) / scale),
        (2.0 * (k * k - 1.0) / scale, (1.0 - k / q + k * k) / scale),
    )  # fmt: skip
    k = np.tan(np.pi * 38.13547087602444 / RATE)
    q = 0.5003270373238773
    scale = 1.0 + k / q + k * k
    low_cut = _second_order(
        (1.0, -2.0, 1.0), (2.0 * (k * k - 1.0) / scale, (1.0 - k / q + k * k) / scale)
    )
    return np.fft.rfft(shelf, SIZE) * np.fft.rfft(low_cut, SIZE)


class Meter:
    """Measures a stream of blocks: its loudness, and its peaks by frame."""

    def __init__(self) -> None:
        self._weighting = Convolver(k_weighting())
        self._powers: list[npt.NDArray[np.float64]] = []
        self._peaks: list[npt.NDArray[np.float64]] = []

    def add(self, block: npt.NDArray[np.float64]) -> None:
        """Take in the next BLOCK samples."""
        weighted = self._weighting.feed(block)
        self._powers.append(np.mean(weighted.reshape(-1, HOP) ** 2, axis=1))
        self._peaks.append(np.abs(block).reshape(-1, FRAME).max(axis=1))

    def loudness(self, sample_count: int) -> float:
        """LUFS of the first ``sample_count`` samples of what was added; -inf for silence or less
        than 400 ms."""
        return integrated_loudness(np.concatenate(self._powers)[: sample_count // HOP])

    def peaks(self) -> npt.NDArray[np.float64]:
        """The highest sample of each frame."""
        return np.concatenate(self._peaks)


def integrated_loudness(powers: npt.NDArray[np.float64]) -> float:
    """LUFS of a channel of which the weighted mean squares of tenths of a second are given."""
    if len(powers) < 4:
        return -np.inf
    blocks = np.convolve(powers, np.full(4, 0.25), mode="valid")
    blocks = blocks[blocks > _power(_GATE_LUFS)]
    if not len(blocks):
        return -np.inf
    blocks = blocks[blocks > np.mean(blocks) * 10.0 ** (_RELATIVE_GATE_LU / 10.0)]
    return float(-0.691 + 10.0 * np.log10(np.mean(blocks)))


def _power(lufs: float) -> float:
    return float(10.0 ** ((lufs + 0.691) / 10.0))


def gains(peaks: npt.NDArray[np.float64], loudness: float) -> npt.NDArray[np.float64]:
    """Return what each frame is multiplied by: one factor to the loudness that all recordings
    have, and less for some twenty milliseconds around a peak that would pass the ceiling."""
    factor = 10.0 ** ((TARGET_LUFS - loudness) / 20.0) if np.isfinite(loudness) else 1.0
    allowed = np.minimum(1.0, CEILING / np.maximum(peaks * factor, 1e-12))
    if allowed.min() >= 1.0:
        return np.full(len(peaks), factor)
    width = 2 * _LIMITER_FRAMES + 1
    least = _lowest_around(allowed, width + 2)
    padded = np.pad(least, _LIMITER_FRAMES, mode="edge")
    smooth = np.convolve(padded, np.full(width, 1.0 / width), mode="valid")
    return factor * np.minimum(smooth, allowed)


def _lowest_around(values: npt.NDArray[np.float64], width: int) -> npt.NDArray[np.float64]:
    """The lowest of ``width`` neighbours around each value."""
    padded = np.pad(values, width // 2, mode="edge")
    return np.lib.stride_tricks.sliding_window_view(padded, width).min(axis=1)


def gain_of_samples(
    frame_gains: npt.NDArray[np.float64], first_frame: int
) -> npt.NDArray[np.float64] | float:
    """The gain of each sample of the block that begins with ``first_frame``."""
    count = BLOCK // FRAME
    own = frame_gains[first_frame : first_frame + count]
    if own.min() == own.max() == frame_gains.max():
        return float(own[0])
    at = np.arange(BLOCK) / FRAME + first_frame - 0.5
    return np.interp(at, np.arange(len(frame_gains)), frame_gains)
