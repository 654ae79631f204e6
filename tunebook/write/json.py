"""Arrangements as JSON for other programs: stable, versioned, described by a shipped schema.

The schema is ``tunebook/data/arrangement.schema.json`` (JSON Schema, draft 2020-12). Conventions:
onsets and durations are fractions of a whole note as text ("0", "1/8"), counted along the written
tune, repeats not expanded; ``notes`` are the melody's, ``voices`` stand beside it, each for its own
instrument and on its bars; string_index 1 is the lowest string; root 0 is C; rests are left out;
notes tied together are one entry. The same input gives the same text, byte for byte.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

from tunebook.model.arrangement import (
    Accent,
    Arrangement,
    ChordSpan,
    DroneSpan,
    FingeredNote,
    Stop,
    VoiceArrangement,
)
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Meter
from tunebook.write.tones import TiedNote, spelled_pitch, tied_notes

FORMAT_NAME = "tunebook-arrangement"
FORMAT_VERSION = 2
COST_DECIMALS = 6  # sums of floats differ in their last bits between machines


def arrangements_as_json(arrangements: Iterable[Arrangement], instrument: Instrument) -> str:
    """Return the JSON text, ending in a line end, of ``arrangements`` in the order given.

    ``instrument`` is the one they were all made for.
    """
    document = {
        "format": FORMAT_NAME,
        "version": FORMAT_VERSION,
        "instrument": _instrument(instrument),
        "tunes": [_tune(arrangement, instrument) for arrangement in arrangements],
    }
    text = json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)
    # A lone surrogate cannot be written as UTF-8; it can only come from damaged text.
    return text.encode("utf-8", "replace").decode("utf-8") + "\n"


def _instrument(instrument: Instrument) -> dict[str, Any]:
    return {
        "name": instrument.name,
        "title": instrument.title,
        "kind": instrument.kind,
        "tuning": instrument.tuning_name,
        "strings": [
            {
                "string_index": string.index,
                "name": string.name,
                "midi": string.open_midi,
                "pitch": spelled_pitch(string.open_midi).name,
                "keys": string.key_count,
            }
            for string in instrument.strings
        ],
    }


def _tuning(arrangement: Arrangement, instrument: Instrument) -> dict[str, str]:
    """The tuning of a tune that has one of its own."""
    name = arrangement.instrument.tuning_name
    is_own = bool(arrangement.tune.tuning) and name != instrument.tuning_name
    return {"tuning": name} if is_own else {}


def _tune(arrangement: Arrangement, instrument: Instrument) -> dict[str, Any]:
    tune = arrangement.tune
    return {
        "file": tune.file,
        "number": tune.number,
        "title": tune.title,
        "rhythm": tune.rhythm,
        "key": tune.key.tonic_name,
        "mode": tune.key.mode,
        **_tuning(arrangement, instrument),
        "meter": _meter(tune.meter),
        "notes": [_note(tied, arrangement) for tied in tied_notes(arrangement.notes)],
        "voices": [_voice(one) for one in arrangement.voices],
        "drone": [_drone(span, arrangement.instrument) for span in arrangement.drone],
        "accents": [_accent(one, arrangement) for one in arrangement.accents],
        "chords": [_chord(span, arrangement) for span in arrangement.chords],
        "cost": _costs(arrangement),
        "warnings": [str(message) for message in (*tune.messages, *_own_messages(arrangement))],
    }


def _voice(one: VoiceArrangement) -> dict[str, Any]:
    """A voice beside the melody, as its own instrument plays it."""
    arrangement = one.arrangement
    return {
        "id": one.voice.id,
        "name": one.voice.name,
        "instrument": _instrument(arrangement.instrument),
        "notes": [_note(tied, arrangement) for tied in tied_notes(arrangement.notes)],
        "drone": [_drone(span, arrangement.instrument) for span in arrangement.drone],
        "cost": _costs(arrangement),
    }


def _own_messages(arrangement: Arrangement) -> list[object]:
    known = set(arrangement.tune.messages)
    return [message for message in arrangement.messages if message not in known]


def _meter(meter: Meter) -> str:
    """The metre in figures, since "C" and "C|" mean nothing to a program."""
    if meter.is_free:
        return "none"
    return meter.sign if "/" in meter.sign else f"{meter.beats}/{meter.unit}"


def _note(tied: TiedNote, arrangement: Arrangement) -> dict[str, Any]:
    fingered = tied.fingered
    return {
        "bar": arrangement.tune.bars[fingered.bar_index].number,
        "onset": str(fingered.note.onset),
        "duration": str(tied.duration),
        "grace": fingered.note.is_grace,
        "stops": _stops(fingered, arrangement.instrument),
        **({"trill_finger": fingered.trill_finger} if fingered.trill_finger else {}),
        "ways": sorted(fingered.ways),
    }


def _stops(fingered: FingeredNote, instrument: Instrument) -> list[dict[str, Any]]:
    """The stops with the pitch as the tune spells it; of a quarter-tone that of its key, and by
    how many cents the tone lies above it."""
    spelled = {pitch.midi: pitch for pitch in fingered.note.pitches}
    stops = []
    for stop in fingered.stops:
        pitch = spelled.get(stop.midi, spelled_pitch(stop.midi))
        cents = {"cents": pitch.cents} if pitch.cents else {}
        stops.append({"midi": stop.midi, "pitch": pitch.name, **cents, **_place(stop, instrument)})
    return stops


def _place(stop: Stop, instrument: Instrument) -> dict[str, Any]:
    return {
        "string": instrument.string(stop.string_index).name,
        "string_index": stop.string_index,
        "key": stop.key,
        "finger": stop.finger,
    }


def _drone(span: DroneSpan, instrument: Instrument) -> dict[str, Any]:
    return {
        "onset": str(span.onset),
        "duration": str(span.duration),
        "midi": span.stop.midi,
        **_place(span.stop, instrument),
    }


def _accent(accent: Accent, arrangement: Arrangement) -> dict[str, Any]:
    return {
        "bar": arrangement.tune.bars[accent.bar_index].number,
        **_drone(accent.span, arrangement.instrument),
        "below": accent.below,
    }


def _costs(arrangement: Arrangement) -> dict[str, Any]:
    """The effort of the hand over the tune as played, its parts, and by the second; where held
    drones change the fingers, the same with them."""
    costs: dict[str, Any] = {
        "total": _cost(arrangement.cost),
        "per_second": _cost(arrangement.difficulty),
        "terms": {name: _cost(cost) for name, cost in sorted(arrangement.terms)},
    }
    if arrangement.cost_with_drones is not None:
        costs["with_drones"] = {
            "total": _cost(arrangement.cost_with_drones),
            "per_second": _cost(arrangement.difficulty_with_drones or 0.0),
            "bow": _cost(arrangement.bow_cost),
        }
    return costs


def _chord(span: ChordSpan, arrangement: Arrangement) -> dict[str, Any]:
    return {
        "bar": arrangement.tune.bars[span.bar_index].number,
        "onset": str(span.onset),
        "duration": str(span.duration),
        "symbol": span.chord.symbol,
        "root": span.chord.root_class,
        "quality": span.chord.quality,
        "source": span.source,
        "shape": [
            {"string_index": stop.string_index, "key": stop.key, "finger": stop.finger}
            for stop in span.shape
        ],
    }


def _cost(value: float) -> float | None:
    """A cost for print; null when it is not finite, which JSON cannot hold."""
    return round(value, COST_DECIMALS) + 0.0 if math.isfinite(value) else None
