"""Text to model: files, ABC, tunes.toml."""
