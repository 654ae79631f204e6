"""Engraved pieces beside the tunes: examples for the legend, exercises, drills; and drawings."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tunebook.assemble.content import BookContent
from tunebook.assemble.engraved import EngravedPiece
from tunebook.pipeline.setup import Setup
from tunebook.pipeline.sources import TuneSource


@dataclass(frozen=True, slots=True)
class Extras:
    """Sources of extra pieces by identity."""

    sources: dict[str, str] = field(default_factory=dict)


def make_extras(tunes: tuple[TuneSource, ...], setup: Setup) -> Extras:
    """Return the extra pieces that the edition wants."""
    return Extras()


def place_extras(
    content: BookContent, extras: Extras, pieces: dict[str, EngravedPiece]
) -> BookContent:
    """Return ``content`` with the engraved extra pieces put in their places."""
    return replace(content)
