"""Levels and files: loudness as ITU-R BS.1770-4 has it, against the figure in its text and against
another implementation; files read back by the library that players use."""

from __future__ import annotations

import io
import wave

import numpy as np
import pyloudnorm
import pytest
import soundfile
from listening import HEAD, RATE, arranged, heard

from tunebook.model.sound import SoundChoice, SoundOrder
from tunebook.write.sound.files import encoded
from tunebook.write.sound.loudness import CEILING, FRAME, TARGET_LUFS, Meter, gains
from tunebook.write.sound.recording import record
from tunebook.write.sound.resonance import BLOCK

QUICK = HEAD.replace("1/4=60", "1/4=140")


def loudness_of(samples: np.ndarray) -> float:
    meter = Meter()
    for first in range(0, len(samples), BLOCK):
        block = np.zeros(BLOCK)
        piece = samples[first : first + BLOCK]
        block[: len(piece)] = piece
        meter.add(block)
    return meter.loudness(len(samples))


def test_a_full_sine_has_the_loudness_of_the_recommendation() -> None:
    # BS.1770-4, annex 1: a sine of 997 Hz at 0 dBFS in one channel reads -3.01 LKFS.
    sine = np.sin(2 * np.pi * 997 * np.arange(8 * RATE) / RATE)
    assert loudness_of(sine) == pytest.approx(-3.01, abs=0.05)


def test_loudness_agrees_with_another_implementation() -> None:
    samples = heard(arranged("D/E/F/G/ A2|z4|!p!d2 (ef)|", QUICK), SoundOrder())
    other = pyloudnorm.Meter(RATE).integrated_loudness(samples)
    assert loudness_of(samples) == pytest.approx(other, abs=0.15)


@pytest.mark.parametrize("music", ["C4|c4|", "!ff!d/e/f/g/ a/g/f/e/|", "!pp![DA]4|", "(gabc')|"])
def test_all_recordings_are_equally_loud_and_no_peak_is_too_high(music: str) -> None:
    order = SoundOrder(parts=("melody", "drone", "click"))
    samples = heard(arranged(music, QUICK), order)
    meter = pyloudnorm.Meter(RATE)
    assert meter.integrated_loudness(samples) == pytest.approx(TARGET_LUFS, abs=0.3)
    finer = np.fft.irfft(np.fft.rfft(samples), 4 * len(samples)) * 4  # what lies between samples
    assert np.abs(finer).max() < 10 ** (-1 / 20)


def test_a_peak_is_turned_down_softly_and_only_there() -> None:
    peaks = np.full(2000, 0.1)
    peaks[1000] = 4.0
    factors = gains(peaks, TARGET_LUFS)
    assert np.all(peaks * factors <= CEILING + 1e-9)
    assert factors[0] == factors[-1] == pytest.approx(1.0)
    assert np.abs(np.diff(factors)).max() < 0.1 * RATE / FRAME / 100
    assert np.all(gains(np.full(10, 0.1), -np.inf) == 1.0)  # silence stays as it is


@pytest.mark.parametrize("kind", ["flac", "wav", "ogg"])
def test_a_file_is_one_channel_of_the_recording_and_always_the_same(kind: str) -> None:
    arrangement = arranged("d2e2|", QUICK)
    files = [encoded(record(arrangement, SoundOrder(), SoundChoice()), kind) for _ in range(2)]
    assert files[0] == files[1]
    samples, rate = soundfile.read(io.BytesIO(files[0]), dtype="int16")
    wanted = np.concatenate(list(record(arrangement, SoundOrder(), SoundChoice()).samples()))
    assert rate == RATE and samples.shape == wanted.shape
    if kind == "ogg":
        assert np.corrcoef(samples, wanted)[0, 1] > 0.98
    else:
        assert np.array_equal(samples, wanted)


def test_a_file_bears_the_title_without_control_characters() -> None:
    arrangement = arranged("d2|", QUICK.replace("Ljudprov", "Åsnebrygga\x07"))
    data = encoded(record(arrangement, SoundOrder(), SoundChoice()), "flac")
    with soundfile.SoundFile(io.BytesIO(data)) as file:
        assert file.title == "Åsnebrygga"
        assert file.subtype == "PCM_16"


def test_a_wav_file_is_read_by_the_standard_library() -> None:
    recording = record(arranged("d2|", QUICK), SoundOrder(), SoundChoice())
    with wave.open(io.BytesIO(encoded(recording, "wav"))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        assert file.getnframes() == recording.sample_count


def test_a_recording_of_many_blocks_has_no_seams() -> None:
    # A tone held over several blocks: no step between two samples is larger at a seam.
    arrangement = arranged("A4-|A4-|A4-|A4-|A4|")
    samples = heard(arrangement, bow_noise=0.0)
    steps = np.abs(np.diff(samples))
    for seam in range(BLOCK, 20 * RATE, BLOCK):
        assert steps[seam - 100 : seam + 100].max() <= 1.2 * steps[seam - 5000 : seam - 200].max()
