"""Engraved systems to a paginated book."""
