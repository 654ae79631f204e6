"""Fingered tune books for the nyckelharpa and other bowed strings, from folders of ABC tunes.

``read`` turns ABC text into tunes; ``solve`` chooses strings, keys, fingers, drones and chords;
``write`` makes LilyPond source, ABC, MIDI, MusicXML and JSON of the answer; ``assemble`` engraves
and paginates the book; ``pipeline`` runs the stages for a folder; ``cli`` is the command.
"""

__version__ = "0.1.0"
