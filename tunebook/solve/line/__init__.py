"""Easier lines of a tune: without its ornaments, and the frame of tones that carry it."""
