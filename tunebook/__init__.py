"""Fingered tune books for the nyckelharpa and other bowed strings, from folders of ABC tunes.

``read`` turns ABC text into tunes; ``solve`` chooses strings, keys, fingers, drones and chords;
``write`` makes LilyPond source, ABC, MIDI, MusicXML and JSON of the answer; ``assemble`` engraves
and paginates the book; ``pipeline`` runs the stages for a folder; ``cli`` is the command.

The names below are the library's surface; each is imported when it is first used.
"""

from __future__ import annotations

from importlib import import_module

# What typing calls so: it is not imported, since this is read before interrupts are answered.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from tunebook.model.book import HandChoice
    from tunebook.read.abc.tune import read_abc
    from tunebook.read.folder import read_folder
    from tunebook.read.settings.profile import read_hand, read_instrument
    from tunebook.solve.arrange import arrange
    from tunebook.write.json import arrangements_as_json
    from tunebook.write.lilypond.source import write_source
    from tunebook.write.midi import tune_as_midi
    from tunebook.write.musicxml.score import tune_as_musicxml

__version__ = "0.1.0"

__all__ = [
    "HandChoice",
    "arrange",
    "arrangements_as_json",
    "read_abc",
    "read_folder",
    "read_hand",
    "read_instrument",
    "tune_as_midi",
    "tune_as_musicxml",
    "write_source",
]

_HOMES = {
    "HandChoice": "tunebook.model.book",
    "arrange": "tunebook.solve.arrange",
    "arrangements_as_json": "tunebook.write.json",
    "read_abc": "tunebook.read.abc.tune",
    "read_folder": "tunebook.read.folder",
    "read_hand": "tunebook.read.settings.profile",
    "read_instrument": "tunebook.read.settings.profile",
    "tune_as_midi": "tunebook.write.midi",
    "tune_as_musicxml": "tunebook.write.musicxml.score",
    "write_source": "tunebook.write.lilypond.source",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'tunebook' has no attribute {name!r}")
