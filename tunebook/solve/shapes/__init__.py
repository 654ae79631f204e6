"""How the hand makes chords, and gets from one to the next."""
