"""Arrangements as sound: what is played and when, bowed strings, body, levels, files."""
