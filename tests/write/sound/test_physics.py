"""The sound itself, heard with other ears: equal temperament from A4 (ISO 16:1975), pitch by YIN,
beats, sympathetic strings, aliasing. Figures are those that the claims name."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from listening import (
    DRY,
    HAND,
    HARPA,
    HEAD,
    RATE,
    arranged,
    cents_between,
    heard,
    hz_of,
    levels_db,
    pitch_of,
    power_at,
)

from tunebook.model.choices import SoundBody
from tunebook.model.instrument import Instrument
from tunebook.model.sound import SoundChoice, SoundOrder
from tunebook.read.abc.tune import read_abc
from tunebook.solve.arrange import arrange
from tunebook.write.sound.bowing import Part, Wandering, tones_of
from tunebook.write.sound.performance import Stroke, strokes_of
from tunebook.write.sound.recording import record
from tunebook.write.sound.resonance import BLOCK, SIZE, bridge_response
from tunebook.write.sound.timing import Course

SAMPLES = Path(__file__).resolve().parents[3] / "sample_tunes"
SCALE = "G,A,B,C|DE^FG|A^Bce|(gabc')|"
SCALE_MIDI = (55, 57, 59, 60, 62, 64, 66, 67, 69, 72, 72, 76, 79, 81, 83, 84)


@pytest.mark.parametrize("a4_hz", [440.0, 443.0])
def test_every_sustained_note_is_in_tune(a4_hz: float) -> None:
    samples = heard(arranged(SCALE), tuning_pitch_hz=a4_hz)
    for number, midi in enumerate(SCALE_MIDI):
        start = int((number + 0.25) * RATE)
        found = pitch_of(samples[start : start + RATE * 3 // 5])
        assert abs(cents_between(found, hz_of(midi, a4_hz))) < 3.0, midi


def test_the_notes_of_a_tune_are_in_tune_where_it_is_played_slowly() -> None:
    text = (SAMPLES / "polskor.abc").read_text(encoding="utf-8")
    tune = read_abc(text, "polskor.abc")[1]
    order = SoundOrder(parts=("melody",), speed=0.4, loop=(1, 2))
    recording = record(arrange(tune, HARPA, HAND), order, SoundChoice())
    samples = np.concatenate(list(recording.samples())) / 32768
    measured = 0
    ((_, strokes),) = strokes_of(arrange(tune, HARPA, HAND), ("melody",))
    for tone, stroke in zip(recording.parts[0].tones, strokes, strict=False):
        if tone.end - tone.start > 0.3 * RATE:
            found = pitch_of(samples[tone.start + RATE // 16 : tone.end - RATE // 25])
            assert abs(cents_between(found, hz_of(stroke.midi))) < 3.0
            measured += 1
    assert measured > 15


def test_a_quarter_tone_lies_between_the_keys() -> None:
    samples = heard(arranged("^/G4|"))
    found = pitch_of(samples[RATE : 2 * RATE])
    assert abs(cents_between(found, hz_of(67.5))) < 3.0


def force(strokes: list[Stroke], instrument: Instrument = HARPA) -> np.ndarray:
    """The force on the bridge of strokes of which a whole note takes a second."""
    course = Course(np.array([0.0, 8.0]), np.array([0.0, 8.0]))
    wandering = Wandering(0)
    tones = tones_of(strokes, course, instrument, 440.0, wandering)
    block = np.zeros(BLOCK, dtype=np.float32)
    Part(tones, wandering, SoundChoice(**DRY)).add_to(block, 0, 1.0)
    return block


def test_a_detuned_double_stop_beats_at_the_difference() -> None:
    strokes = [
        Stroke(69, Fraction(0), Fraction(8), 4, 0),
        Stroke(69, Fraction(0), Fraction(8), 3, 7, cents=12),
    ]
    wave = force(strokes)[RATE : 7 * RATE]
    envelope = np.abs(np.fft.ifft(np.where(np.arange(len(wave)) < len(wave) // 2, 1, 0)
                                  * np.fft.fft(wave)))  # fmt: skip
    spectrum = np.abs(np.fft.rfft((envelope - envelope.mean()) * np.hanning(len(wave)), 1 << 21))
    grid = np.fft.rfftfreq(1 << 21, 1.0 / RATE)
    slow = (grid > 1.5) & (grid < 20.0)
    expected = hz_of(69.12) - hz_of(69)
    assert grid[slow][np.argmax(spectrum[slow])] == pytest.approx(expected, abs=0.1)


def with_sympathetic(*midis: int) -> Instrument:
    return replace(HARPA, sympathetic=midis)


def test_a_sympathetic_string_rings_on_after_a_short_note() -> None:
    short = arranged("A/z/z3|")
    after = slice(int(1.2 * RATE), int(1.9 * RATE))
    without, with_it = (
        power_at(heard(replace(short, instrument=one))[after], 440.0)
        for one in (with_sympathetic(68, 70), with_sympathetic(68, 69, 70))
    )
    sounding = power_at(heard(short)[int(0.1 * RATE) : int(0.4 * RATE)], 440.0)
    assert with_it > sounding - 40.0
    assert with_it > without + 20.0


def test_a_lower_sympathetic_string_answers_with_its_octave() -> None:
    short = replace(arranged("A/z/z3|"), instrument=with_sympathetic(57))
    after = heard(short)[int(1.2 * RATE) : int(1.9 * RATE)]
    assert power_at(after, 440.0) > power_at(after, 220.0) + 20.0


def test_a_profile_may_say_how_long_they_ring() -> None:
    short = arranged("A/z/z3|")
    after = slice(int(1.2 * RATE), int(1.9 * RATE))
    brief, long = (
        power_at(heard(replace(short, instrument=replace(
            with_sympathetic(69), sympathetic_rings_s=(ring_s,))))[after], 440.0)
        for ring_s in (0.5, 4.0)
    )  # fmt: skip
    assert long > brief + 20.0


@pytest.mark.parametrize("midi", [89, 93, 96])
def test_no_partial_folds_back(midi: int) -> None:
    # The bow's noise and slow wandering are no faults: the one is left out, the other is nearer to
    # its partial than 40 Hz.
    wave = force([Stroke(midi, Fraction(0), Fraction(4), 4, midi - 69)])[RATE : 3 * RATE]
    spectrum = 20.0 * np.log10(np.abs(np.fft.rfft(wave * np.blackman(len(wave)))) + 1e-9)
    grid = np.fft.rfftfreq(len(wave), 1.0 / RATE)
    away = np.abs((grid / hz_of(midi) + 0.5) % 1.0 - 0.5) * hz_of(midi) > 40.0
    away |= grid < 40.0
    assert spectrum[away].max() < spectrum.max() - 60.0
    assert spectrum[grid > 20_000].max() < spectrum.max() - 80.0


def test_the_wave_at_the_bridge_is_helmholtz_sawtooth() -> None:
    # Fletcher & Rossing, ch. 10: partials fall as 1/n where the corner's rounding does not tell.
    wave = force([Stroke(48, Fraction(0), Fraction(4), 1, 0)])[RATE : 3 * RATE]
    partials = np.arange(1, 11)
    levels = [power_at(wave, n * hz_of(48)) for n in partials]
    slope_db, _ = np.polyfit(np.log2(partials), levels, 1)
    assert slope_db == pytest.approx(-6.02, abs=1.2)


def test_detached_notes_are_parted_and_slurred_ones_are_not() -> None:
    head = HEAD.replace("1/4=60", "1/4=120")
    # The third note lies on another string.
    detached = levels_db(heard(arranged("FGAB|", head)))
    slurred = levels_db(heard(arranged("(FGAB)|", head)))
    middle = slice(int(0.4 * RATE / 110), int(1.7 * RATE / 110))
    assert np.ptp(detached[middle]) > 8.0
    assert np.ptp(slurred[middle]) < 8.0
    assert slurred[middle].min() > detached[middle].min() + 4.0


@pytest.mark.parametrize("body", ["simple", "neutral"])
def test_a_body_answers_nothing_before_it_is_asked_and_dies_away(body: SoundBody) -> None:
    response = np.fft.irfft(bridge_response((), 1.0, body), SIZE)
    power = response**2
    assert power[: RATE // 5].sum() > 0.999_999_99 * power.sum()
    assert np.abs(response[-RATE:]).max() < 1e-9 * np.abs(response).max()
    # It colours the tones and keeps them even: no tone of the instrument is lost in it.
    grid = np.fft.rfftfreq(SIZE, 1.0 / RATE)
    levels = 20.0 * np.log10(np.abs(np.fft.rfft(response)))
    assert np.ptp(levels[(grid > 250.0) & (grid < 1500.0)]) < 10.0


def test_a_key_knocks_and_an_open_string_does_not() -> None:
    stopped, opened = arranged("B4|"), arranged("A4|")
    for one, knocks in ((stopped, True), (opened, False)):
        loud, silent = heard(one, **DRY | {"key_knock": 1.0}), heard(one, **DRY)
        assert np.array_equal(loud, silent) is not knocks
    both = np.abs(heard(stopped, **DRY | {"key_knock": 1.0}) - heard(stopped, **DRY))
    # What differs is near the beginning: the knock, and nothing of the tone.
    assert both[: RATE // 5].max() > 10 * both[RATE : 2 * RATE].max()


def test_a_string_that_rings_by_itself_grows_softer() -> None:
    samples = heard(arranged("A2z2|"), SoundOrder(parts=("melody",)), **DRY)
    bowed, ringing = samples[RATE : 2 * RATE], samples[int(2.05 * RATE) : int(2.3 * RATE)]
    slope = [power_at(one, 440.0) - power_at(one, 1760.0) for one in (bowed, ringing)]
    assert slope[1] > slope[0] + 4.0
