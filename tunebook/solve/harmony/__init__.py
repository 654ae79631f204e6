"""The chords of a tune."""
