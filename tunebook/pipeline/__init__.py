"""The stages in order for a folder of tunes: one module a command."""
