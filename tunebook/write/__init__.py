"""Arrangement to files: LilyPond source, ABC, MIDI, MusicXML, JSON."""
