"""Real tunes (music21's corpus) as strokes and times: what sounds is what MIDI has, in order."""

from __future__ import annotations

import numpy as np
from corpus_tunes import random_tunes

from tunebook.model.arrangement import Arrangement
from tunebook.model.hand import Limits
from tunebook.model.sound import SoundChoice, SoundOrder
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.write.sound.ornaments import ORNAMENTS
from tunebook.write.sound.performance import strokes_of
from tunebook.write.sound.recording import record
from tunebook.write.sound.timing import course_of, passage
from tunebook.write.tones import melody_tones, played_bars

HARPA, HAND = read_instrument("nyckelharpa-3row"), read_hand()
TUNES = [
    Arrangement(tune, HARPA, HAND, Limits(), (), whole_notes_per_second=0.5)
    for tune in random_tunes(100, seed=8)
]


def test_strokes_are_the_tones_of_midi_where_nothing_is_ornamented() -> None:
    compared = 0
    for one in TUNES:
        signs = {sign for bar in one.tune.bars for note in bar.notes for sign in note.decorations}
        if signs & {*ORNAMENTS, "trill(", "staccato", "wedge", "marcato"}:
            continue
        ((_, strokes),) = strokes_of(one, ("melody",))
        tones = melody_tones(one.tune, with_grace_notes=True)
        assert [(s.midi, s.onset, s.end) for s in strokes] == [
            (tone.midi, tone.onset, tone.end) for tone in tones
        ], one.tune.place
        compared += 1
    assert compared > 50


def test_time_goes_on_through_every_bar_and_uneven_beats_change_no_length() -> None:
    for one in TUNES:
        tune, speeds = passage(one.tune, SoundOrder())
        even = course_of(one, speeds)
        beats = [(tune.rhythm or "x", (1.2, 0.8)), (tune.rhythm or "x", (0.9, 1.15, 0.95))]
        for wish in beats:
            uneven = course_of(one, speeds, beats=[wish])
            assert np.all(np.diff(uneven.times_s) > 0)
            length = float(sum(heard.bar.duration for heard in played_bars(tune)))
            assert abs(even.end_s - length / 0.5) < 1e-6 or one.tune.tempo is not None
            # Upbeats and bars cut at a repeat sign may gain or lose a part of a beat each.
            assert abs(uneven.end_s - even.end_s) < 0.1 * len(tune.played)


def test_each_bar_is_heard_once_without_repeats() -> None:
    for one in TUNES:
        once, _ = passage(one.tune, SoundOrder(repeats="once"))
        assert len(set(once.played)) == len(once.played)
        dropped = set(range(len(one.tune.bars))) - set(once.played)
        last_begun = {bar.index for bar in one.tune.bars if bar.ending}
        assert not dropped or last_begun, one.tune.place


def test_some_are_played_without_a_fault() -> None:
    for one in TUNES[:3]:
        order = SoundOrder(parts=("melody", "click"), speed=2.0, has_count_in=True)
        samples = np.concatenate(list(record(one, order, SoundChoice()).samples()))
        assert 3000 < np.abs(samples).max() < 32767 * 0.9
        assert np.abs(samples[-100:]).max() < 30
