"""Engraved pieces beside the tunes: examples for the legend, exercises, drills; and drawings.

An example is engraved for each sign that the book uses, and for no other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from tunebook.book.content import BookContent, ChordShapes, LegendEntry
from tunebook.book.pages.signs import signs_used
from tunebook.model.arrangement import Accent, Arrangement, DroneSpan, FingeredNote, Stop
from tunebook.model.book import LARGE_STAFF_PT, TuneChoice
from tunebook.model.choices import Chords, MelodyShown
from tunebook.model.instrument import Instrument
from tunebook.model.piece import EngravedPiece, Piece
from tunebook.model.tune import ChordSymbol
from tunebook.model.words import words_for
from tunebook.pipeline.exercises import Exercise, practice_sections, warm_up
from tunebook.pipeline.load import Setup
from tunebook.pipeline.outcomes import built
from tunebook.pipeline.sources import TuneSource, line_width_pt
from tunebook.read.abc.tune import read_abc
from tunebook.solve.arrange import arrange
from tunebook.solve.shapes.shapes import chord_shapes
from tunebook.write.lilypond.bars import NO_MARKS, BarMarks
from tunebook.write.lilypond.source import write_source

EXAMPLE_WIDTH_PT = 190.0
_STAFF_PT = 15.0
IDENTITY = "legend:"

_HEAD = "X:1\nT:x\nM:4/4\nL:1/4\nQ:1/4=96\nK:D\n"


@dataclass(frozen=True, slots=True)
class _Example:
    """Music for one sign. ``change`` sets in the arrangement what the sign stands for, so that it
    shows on every instrument."""

    music: str
    change: Callable[[Arrangement], Arrangement] = lambda arrangement: arrangement
    drone: str = "none"
    chords: Chords = "none"
    melody: MelodyShown = "whole"
    marks: BarMarks = NO_MARKS


def legend_pieces(
    arrangements: Sequence[Arrangement], setup: Setup, has_changes: bool = False
) -> dict[str, Piece]:
    """Return examples by identity ("legend:finger", ...) for the signs that occur;
    ``has_changes`` when bars are marked that a retuning changed."""
    pieces = {}
    for kind in signs_used(arrangements, setup.edition, has_changes):
        if kind in _EXAMPLES:
            piece = _piece(_EXAMPLES[kind], setup)
            if piece is not None:
                pieces[IDENTITY + kind] = piece
    return pieces


def _piece(example: _Example, setup: Setup) -> Piece | None:
    enlarged = setup.edition.enlargement
    edition = replace(
        setup.edition, fingers="all", shows_accompaniment=False, melody=example.melody,
        staff_size_pt=max(_STAFF_PT, LARGE_STAFF_PT) if enlarged > 1 else _STAFF_PT,
    )  # fmt: skip
    choice = TuneChoice("legend", drone=example.drone)
    tune = read_abc(_HEAD + example.music + "\n")[0]
    arrangement = arrange(
        tune, setup.instrument, setup.hand, choice=choice, drones="held", chords=example.chords
    )
    if any(not note.stops for note in arrangement.notes):
        return None
    return write_source(
        example.change(arrangement),
        edition,
        line_width_pt=EXAMPLE_WIDTH_PT * enlarged,
        marks=example.marks,
        language=setup.book.language,
        note_names=words_for(setup.book, setup.instrument).note_names,
    )


def _with_notes(
    arrangement: Arrangement, change: Callable[[int, FingeredNote], FingeredNote]
) -> Arrangement:
    notes = tuple(change(at, note) for at, note in enumerate(arrangement.notes))
    return replace(arrangement, notes=notes)


def _string_letters(arrangement: Arrangement) -> Arrangement:
    return _with_notes(arrangement, lambda at, note: replace(note, shows_string=at in (1, 2)))


def _crossed(arrangement: Arrangement) -> Arrangement:
    return _with_notes(
        arrangement,
        lambda at, note: replace(note, ways=("crossed",) if at == 1 else (), shows_string=False),
    )


def _unplayable(arrangement: Arrangement) -> Arrangement:
    return _with_notes(
        arrangement, lambda at, note: replace(note, stops=() if at == 1 else note.stops)
    )


def _take_over(arrangement: Arrangement) -> Arrangement:
    if not arrangement.drone:
        return arrangement
    span = arrangement.drone[0]
    half = span.duration / 2
    first = replace(span, duration=half, stop=replace(span.stop, finger=1))
    second = replace(
        span, onset=span.onset + half, duration=span.duration - half,
        stop=replace(span.stop, finger=2), is_taken_over=True,
    )  # fmt: skip
    return replace(arrangement, drone=(first, second))


def _double_stop(arrangement: Arrangement) -> Arrangement:
    """The last note with the open string below it, or a key for the index."""
    note = arrangement.notes[-1]
    if not note.stops or note.stops[0].string_index < 2:
        return arrangement
    string = arrangement.instrument.string(note.stops[0].string_index - 1)
    span = DroneSpan(
        note.note.onset, note.note.duration, Stop(string.open_midi, string.index, 0, 0)
    )
    below = note.stops[0].midi - string.open_midi
    accent = Accent(note.bar_index, note.note_index, span, below)
    return replace(arrangement, accents=(accent,))


def _proposed(arrangement: Arrangement) -> Arrangement:
    """The second chord chosen by the program."""
    first, *rest = arrangement.chords
    return replace(arrangement, chords=(first, *(replace(one, source="solved") for one in rest)))


def _doubtful(arrangement: Arrangement) -> Arrangement:
    chords = tuple(replace(span, source="solved", confidence=0.4) for span in arrangement.chords)
    return replace(arrangement, chords=chords)


_FIRST_BAR = frozenset({0})
_EXAMPLES = {
    "finger": _Example("A B c d |]"),
    "string": _Example("c E d F |]", _string_letters),
    "crossed": _Example("E B E2 |]", _crossed),
    "drone": _Example("d e f e |]", drone="D4"),
    "drone_line": _Example("d e f e |]", drone="D4"),
    "accent": _Example("d e f2 |]", _double_stop),
    "take_over": _Example("A c B c |]", _take_over, drone="E4"),
    "slash": _Example('"D" d f a f|"G" g3 b |]', chords="tune", melody="cue"),
    "chord": _Example('"D" d f "A7" e c |]', chords="tune"),
    "solved_chord": _Example('"G" B d "D7" c A |]', _proposed, chords="tune"),
    "doubtful_chord": _Example('"Bm" d f "Em" e B |]', _doubtful, chords="tune"),
    "quarter_tone": _Example("d ^/c d2 |]"),
    "trill": _Example("!trill!B2 d !trill!c |]"),
    "unplayable": _Example("d c d2 |]", _unplayable),
    "beyond": _Example("a b a2 |]", marks=BarMarks(beyond=_FIRST_BAR)),
    "hard": _Example("F c F c |]", marks=BarMarks(hard=_FIRST_BAR)),
    "changed": _Example("D F A F |]", marks=BarMarks(changed=_FIRST_BAR)),
}


MOST_SHAPES = 3


@dataclass(frozen=True, slots=True)
class Extras:
    """Extra pieces before engraving. ``pieces`` are theirs by identity."""

    pieces: dict[str, Piece] = field(default_factory=dict)
    legend_kinds: tuple[str, ...] = ()
    exercises: tuple[Exercise, ...] = ()
    chord_shapes: tuple[ChordShapes, ...] = ()


def make_extras(tunes: tuple[TuneSource, ...], setup: Setup) -> Extras:
    """Return the extra pieces that the edition wants."""
    has_changes = any(one.change is not None and one.change.changed_bars for one in tunes)
    arrangements = built(one.outcome for one in tunes)
    has_signs = "signs" in setup.edition.parts
    legend = legend_pieces(arrangements, setup, has_changes) if has_signs else {}
    exercises = tuple(exercise for one in tunes for exercise in one.exercises)
    if setup.edition.shows_practice:
        exercises = (*warm_up(setup, line_width_pt(setup)), *exercises)
    engraved = (name.removeprefix(IDENTITY) for name in legend)
    return Extras(
        pieces={**legend, **{one.identity: one.piece for one in exercises}},
        legend_kinds=(*engraved, *_said(arrangements, setup)),
        exercises=exercises,
        chord_shapes=_chord_shapes(tunes, setup) if "chords" in setup.edition.parts else (),
    )


def _said(arrangements: Sequence[Arrangement], setup: Setup) -> list[str]:
    """The kinds of signs that the legend explains in words alone."""
    kinds = signs_used(arrangements, setup.edition, has_changes=False)
    return [kind for kind in kinds if kind.startswith("voices_")]


def _chord_shapes(tunes: tuple[TuneSource, ...], setup: Setup) -> tuple[ChordShapes, ...]:
    """The best shapes of every chord in the book, by tuning (the book's own first, the others as
    they come), root and name."""
    by_tuning: dict[Instrument, dict[str, ChordSymbol]] = {setup.instrument: {}}
    for arrangement in built(one.outcome for one in tunes):
        tuned = setup.for_tune(arrangement.tune).instrument
        chords = by_tuning.setdefault(tuned, {})
        chords.update((span.chord.symbol, span.chord) for span in arrangement.chords)
    found: list[ChordShapes] = []
    for tuned, chords in by_tuning.items():
        own = None if tuned == setup.instrument else tuned
        for chord in sorted(chords.values(), key=lambda one: (one.root_class, one.symbol)):
            shapes = chord_shapes(chord, tuned, setup.hand, setup.edition.limits)[:MOST_SHAPES]
            if shapes:
                stops = tuple(shape.stops for shape in shapes)
                found.append(ChordShapes(chord.symbol, stops, own))
    return tuple(found)


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
