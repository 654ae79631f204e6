"""Text to model: files, ABC, book.toml."""
