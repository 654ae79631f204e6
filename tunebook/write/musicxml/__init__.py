"""Arrangements as MusicXML scores."""
