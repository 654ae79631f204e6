"""Pieces in, measured systems out: LilyPond as a program."""
