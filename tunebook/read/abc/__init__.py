"""ABC text to tunes, from letters and tokens to bars in the order they are played."""
