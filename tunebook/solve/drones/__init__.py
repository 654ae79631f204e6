"""Which tones are held beside the melody, and who holds them."""
