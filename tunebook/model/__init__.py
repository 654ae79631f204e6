"""What things are: frozen values that every stage shares, and no stage's work."""
