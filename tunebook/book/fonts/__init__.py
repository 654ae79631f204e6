"""Fonts by role, their files, and our own symbols."""
