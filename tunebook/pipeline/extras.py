"""Engraved pieces beside the tunes: examples for the legend, exercises, drills; and drawings."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tunebook.assemble.content import BookContent, LegendEntry
from tunebook.assemble.engraved import EngravedPiece
from tunebook.pipeline.arranging import built
from tunebook.pipeline.legend import IDENTITY, legend_sources
from tunebook.pipeline.practice import Exercise, practice_sections
from tunebook.pipeline.setup import Setup
from tunebook.pipeline.sources import TuneSource


@dataclass(frozen=True, slots=True)
class Extras:
    """Extra pieces before engraving. ``sources`` are theirs by identity."""

    sources: dict[str, str] = field(default_factory=dict)
    legend_kinds: tuple[str, ...] = ()
    exercises: tuple[Exercise, ...] = ()


def make_extras(tunes: tuple[TuneSource, ...], setup: Setup) -> Extras:
    """Return the extra pieces that the edition wants."""
    legend = legend_sources(built(one.outcome for one in tunes), setup)
    exercises = tuple(exercise for one in tunes for exercise in one.exercises)
    return Extras(
        sources={**legend, **{one.identity: one.source for one in exercises}},
        legend_kinds=tuple(name.removeprefix(IDENTITY) for name in legend),
        exercises=exercises,
    )


def place_extras(
    content: BookContent, extras: Extras, pieces: dict[str, EngravedPiece]
) -> BookContent:
    """Return ``content`` with the engraved extra pieces put in their places."""
    legend = tuple(LegendEntry(kind, pieces.get(IDENTITY + kind)) for kind in extras.legend_kinds)
    return replace(content, legend=legend, practice=practice_sections(extras.exercises, pieces))
