"""tunes.toml, instrument profiles, hands, and choices for single tunes."""
