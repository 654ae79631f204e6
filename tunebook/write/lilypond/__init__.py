"""Arrangements as LilyPond source."""
