"""Model to arrangement: fingering, drones, chords, shapes, all exact."""
