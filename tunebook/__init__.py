"""Fingered tune books for the nyckelharpa and other bowed strings, from folders of ABC tunes.

``read`` turns ABC text into tunes; ``solve`` chooses strings, keys, fingers, drones and chords;
``write`` makes LilyPond source, ABC, MIDI, MusicXML and JSON of the answer; ``engrave`` and
``book`` engrave and paginate; ``pipeline`` runs the stages for a folder; ``cli`` is the command.

The names below are the library's surface; each is imported when it is first used. Reading gives
the tunes that can be used and says why others cannot; what else goes wrong is a TunebookError.
"""

from __future__ import annotations

from importlib import import_module

# What typing calls so: it is not imported, since this is read before interrupts are answered.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from tunebook.errors import (
        InputError,
        Message,
        OutputError,
        ProgramError,
        SettingError,
        SourcePlace,
        TunebookError,
    )
    from tunebook.model.arrangement import Arrangement
    from tunebook.model.book import BuildReport, Edition, HandChoice
    from tunebook.model.hand import Hand, Limits
    from tunebook.model.instrument import Instrument
    from tunebook.model.tune import Tune
    from tunebook.pipeline.build import build_book, editions
    from tunebook.read.abc.tune import Reading, read_abc
    from tunebook.read.folder import read_folder
    from tunebook.read.settings.profile import read_hand, read_instrument
    from tunebook.solve.arrange import arrange
    from tunebook.write.json import arrangements_as_json
    from tunebook.write.lilypond.source import write_source
    from tunebook.write.midi import tune_as_midi
    from tunebook.write.musicxml.score import tune_as_musicxml

__version__ = "0.1.0"

__all__ = [
    "Arrangement",
    "BuildReport",
    "Edition",
    "Hand",
    "HandChoice",
    "InputError",
    "Instrument",
    "Limits",
    "Message",
    "OutputError",
    "ProgramError",
    "Reading",
    "SettingError",
    "SourcePlace",
    "Tune",
    "TunebookError",
    "arrange",
    "arrangements_as_json",
    "build_book",
    "editions",
    "read_abc",
    "read_folder",
    "read_hand",
    "read_instrument",
    "tune_as_midi",
    "tune_as_musicxml",
    "write_source",
]

_HOMES = {
    "tunebook.errors": (
        "InputError",
        "Message",
        "OutputError",
        "ProgramError",
        "SettingError",
        "SourcePlace",
        "TunebookError",
    ),
    "tunebook.model.arrangement": ("Arrangement",),
    "tunebook.model.book": (
        "BuildReport",
        "Edition",
        "HandChoice",
    ),
    "tunebook.model.hand": (
        "Hand",
        "Limits",
    ),
    "tunebook.model.instrument": ("Instrument",),
    "tunebook.model.tune": ("Tune",),
    "tunebook.pipeline.build": (
        "build_book",
        "editions",
    ),
    "tunebook.read.abc.tune": (
        "Reading",
        "read_abc",
    ),
    "tunebook.read.folder": ("read_folder",),
    "tunebook.read.settings.profile": (
        "read_hand",
        "read_instrument",
    ),
    "tunebook.solve.arrange": ("arrange",),
    "tunebook.write.json": ("arrangements_as_json",),
    "tunebook.write.lilypond.source": ("write_source",),
    "tunebook.write.midi": ("tune_as_midi",),
    "tunebook.write.musicxml.score": ("tune_as_musicxml",),
}


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(home), name)
    raise AttributeError(f"module 'tunebook' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
