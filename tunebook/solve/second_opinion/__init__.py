"""Playability and price worked out once more, sharing nothing with the solver."""
