"""Scores of notation programs (MusicXML) to the text of tunes."""
