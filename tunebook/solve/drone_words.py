"""What a drone is called, and why it was considered, in a few words."""

from __future__ import annotations

from tunebook.model.arrangement import Stop
from tunebook.model.instrument import Instrument
from tunebook.model.spelling import spell_in_key
from tunebook.model.tune import Key, Pitch
from tunebook.solve.reasons import place_word

_DEGREES = {
    0: "tonic",
    1: "minor second",
    2: "second",
    3: "minor third",
    4: "major third",
    5: "fourth",
    6: "tritone",
    7: "fifth",
    8: "minor sixth",
    9: "sixth",
    10: "minor seventh",
    11: "major seventh",
}


def drone_name(midi: int, key: Key) -> str:
    """Name of a drone's pitch, spelled in ``key``: F#4."""
    step, alter = spell_in_key(midi % 12, key)
    natural = Pitch(0, step, alter).midi
    return Pitch((midi - natural) // 12, step, alter).name


def drone_label(stop: Stop, instrument: Instrument, key: Key) -> str:
    """As "D4, open D string" or "E4, D string, key 2, finger 1"."""
    name = drone_name(stop.midi, key)
    string = instrument.string(stop.string_index).name
    if stop.key == 0:
        return f"{name}, open {string} string"
    finger = f", finger {stop.finger}" if stop.finger else ""
    return f"{name}, {string} string, {place_word(instrument)} {stop.key}{finger}"


def drone_reason(stop: Stop, key: Key, sounding: float) -> str:
    """As "the tonic, sounds 95 % of the time"."""
    above = (stop.midi - key.tonic_class) % 12
    degree = _DEGREES.get(above)
    words = f"the {degree}" if degree else f"{above} semitones over the tonic"
    return f"{words}, sounds {sounding:.0%} of the time"
