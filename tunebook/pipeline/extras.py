"""Engraved pieces beside the tunes: examples for the legend, exercises, drills; and drawings."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tunebook.assemble.content import BookContent, ChordShapes, LegendEntry
from tunebook.assemble.engraved import EngravedPiece
from tunebook.pipeline.arranging import built
from tunebook.pipeline.legend import IDENTITY, legend_sources
from tunebook.pipeline.practice import Exercise, practice_sections, warm_up
from tunebook.pipeline.setup import Setup
from tunebook.pipeline.sources import TuneSource, line_width_pt
from tunebook.solve.shapes import chord_shapes

MOST_SHAPES = 3


@dataclass(frozen=True, slots=True)
class Extras:
    """Extra pieces before engraving. ``sources`` are theirs by identity."""

    sources: dict[str, str] = field(default_factory=dict)
    legend_kinds: tuple[str, ...] = ()
    exercises: tuple[Exercise, ...] = ()
    chord_shapes: tuple[ChordShapes, ...] = ()


def make_extras(tunes: tuple[TuneSource, ...], setup: Setup) -> Extras:
    """Return the extra pieces that the edition wants."""
    has_changes = any(one.change is not None and one.change.changed_bars for one in tunes)
    legend = legend_sources(built(one.outcome for one in tunes), setup, has_changes)
    exercises = tuple(exercise for one in tunes for exercise in one.exercises)
    if setup.edition.shows_practice:
        exercises = (*warm_up(setup, line_width_pt(setup)), *exercises)
    return Extras(
        sources={**legend, **{one.identity: one.source for one in exercises}},
        legend_kinds=tuple(name.removeprefix(IDENTITY) for name in legend),
        exercises=exercises,
        chord_shapes=_chord_shapes(tunes, setup) if setup.edition.shows_shapes else (),
    )


def _chord_shapes(tunes: tuple[TuneSource, ...], setup: Setup) -> tuple[ChordShapes, ...]:
    """The best shapes of every chord in the book, by root and name."""
    chords = {
        span.chord.symbol: span.chord
        for arrangement in built(one.outcome for one in tunes)
        for span in arrangement.chords
    }
    ordered = sorted(chords.values(), key=lambda chord: (chord.root_class, chord.symbol))
    return tuple(
        ChordShapes(chord.symbol, tuple(shape.stops for shape in shapes[:MOST_SHAPES]))
        for chord in ordered
        if (shapes := chord_shapes(chord, setup.instrument, setup.hand, setup.edition.limits))
    )


def place_extras(
    content: BookContent, extras: Extras, pieces: dict[str, EngravedPiece]
) -> BookContent:
    """Return ``content`` with the engraved extra pieces put in their places."""
    legend = tuple(LegendEntry(kind, pieces.get(IDENTITY + kind)) for kind in extras.legend_kinds)
    return replace(
        content,
        legend=legend,
        practice=practice_sections(extras.exercises, pieces, content.book.language),
        chord_shapes=extras.chord_shapes,
    )
