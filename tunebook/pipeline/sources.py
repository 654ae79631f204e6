"""Solve tunes and write their LilyPond source, on all cores."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib import metadata
from typing import TypeVar

from tunebook.book.layout.paper import page_format
from tunebook.errors import Message, SourcePlace
from tunebook.model.arrangement import Arrangement, TuneOutcome
from tunebook.model.changes import TuneChange
from tunebook.model.piece import Piece
from tunebook.model.tune import Tune
from tunebook.model.words import words_for
from tunebook.pipeline.exercises import Exercise, exercises_of
from tunebook.pipeline.explain import choice_notes, left_out_note, limit_note
from tunebook.pipeline.kept import (
    Whereabouts,
    content_sum,
    fetch,
    is_kept,
    keep,
    moved,
    parts_of,
    setup_sum,
    whereabouts,
)
from tunebook.pipeline.load import BuildOrder, Progress, Setup
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.prepare import edition_of
from tunebook.pipeline.workers import LEAST_WORK_FOR_WORKERS, count_of_jobs, map_on_cores
from tunebook.solve.retuning import find_changes
from tunebook.store import Store
from tunebook.write.lilypond.abjad_leaves import (
    LeafTexts,
    known_texts,
    learn_texts,
    new_texts,
)
from tunebook.write.lilypond.bars import BarMarks
from tunebook.write.lilypond.source import write_source

HARD_BARS_MARKED = 3


@dataclass(frozen=True, slots=True)
class TuneSource:
    """One tune solved and written; ``piece`` is None where it could not be. ``small_piece`` is the
    same in the smaller staff size of a tight book, ``beyond_note`` says why the edition leaves it
    out."""

    identity: str
    outcome: TuneOutcome
    piece: Piece | None = None
    small_piece: Piece | None = None
    limit_note: str = ""
    choice_notes: tuple[str, ...] = ()
    change: TuneChange | None = None
    exercises: tuple[Exercise, ...] = ()
    beyond_note: str = ""


def write_sources(
    tunes: tuple[Tune, ...],
    names: tuple[str, ...],
    setup: Setup,
    order: BuildOrder,
    store: Store,
    before: Setup | None,
    on_progress: Progress,
    *,
    on_changed: Callable[[dict[str, Piece]], None] = lambda pieces: None,
) -> tuple[TuneSource, ...]:
    """Return one TuneSource a tune, in order; with ``before``, what changed since that setup is
    found and marked. Where only a few are to be made, ``on_changed`` is given their pieces before
    the others are fetched."""
    common = setup_sum(setup, before)
    named = list(zip(tunes, names, strict=True))
    keys = [content_sum(common, name, *_text_of(tune)) for tune, name in named]
    bare = replace(setup, messages=())
    bare_before = None if before is None else replace(before, messages=())
    work = [(*one, bare, bare_before) for one in named]
    found: dict[int, TuneSource] = {}

    def make(places: list[int]) -> None:
        made = map_on_cores(
            _source_and_leaves,
            [work[at] for at in places],
            jobs=count_of_jobs(order.jobs),
            scheduler=order.scheduler,
        )
        for done, (at, (one, leaves)) in enumerate(zip(places, made, strict=True), start=1):
            learn_texts(leaves, are_new=True)
            on_progress("arranging", tunes[at].title, done, len(places))
            here = whereabouts(tunes[at], setup.book)
            found[at] = _placed(one, tunes[at], setup, here) or one
            _keep(store, keys[at], one, here)

    new = [at for at, key in enumerate(keys) if not is_kept(store, "solved", key)]
    if 0 < len(new) < min(LEAST_WORK_FOR_WORKERS, len(tunes) - len(new)):
        make(new)
        on_changed(pieces_of(tuple(found.values())))
    for at, tune in enumerate(tunes):
        kept = None if at in found else _fetched(store, keys[at], tune, setup)
        if kept is not None:
            found[at] = kept
    missing = [at for at in range(len(tunes)) if at not in found]
    if missing:  # no cluster is asked for nothing
        make(missing)
    return tuple(found[at] for at in range(len(tunes)))


def _keep(store: Store, key: str, source: TuneSource, here: Whereabouts) -> None:
    """Keep what a tune became, with where it stands, unless it could not be used."""
    tune = source.outcome.tune
    if tune and (source.piece is not None or source.outcome.beyond is not None):
        keep(store, "solved", key, (here, source), parts_of(tune))


def _source_and_leaves(
    tune: Tune, identity: str, setup: Setup, before: Setup | None
) -> tuple[TuneSource, LeafTexts]:
    """What :func:`source_of_tune` gives, and the texts of leaves that were made for it."""
    return source_of_tune(tune, identity, setup, before), new_texts()


@contextmanager
def kept_leaves(store: Store) -> Iterator[None]:
    """Begin with the texts of leaves that are kept, and in the end keep the new ones too: so a few
    tunes are written without abjad, whose import takes longer than they do."""
    key = content_sum("leaves", metadata.version("abjad"))
    learn_texts(fetch(store, "leaves", key) or {})
    new_texts()
    yield
    if new_texts():
        keep(store, "leaves", key, known_texts())


def _text_of(tune: Tune) -> tuple[object, ...]:
    """All that a tune's reading depends on, its tuning, and what its bars are called in a score."""
    read = tune.source_text, tune.fields, tune.key, tune.meter, tune.unit_length, tune.tempo
    groups = tune.bars, *(voice.bars for voice in tune.voices)
    spots = [bar.place.spot for bars in groups for bar in bars]
    return *read, tune.titles, tune.tuning, spots


def _fetched(store: Store, key: str, tune: Tune, setup: Setup) -> TuneSource | None:
    """What was kept of ``tune`` when it stood at the place that is kept with it."""
    kept = fetch(store, "solved", key, parts_of(tune))
    if kept is None:
        return None
    before, source = kept
    return _placed(source, tune, setup, before)


def _placed(source: TuneSource, tune: Tune, setup: Setup, before: Whereabouts) -> TuneSource | None:
    """A source from elsewhere, of a tune that stood at ``before``, as if it had been made here from
    ``tune``. What many tunes have in common is held once."""
    outcome = source.outcome
    if outcome.tune is None:
        return None
    now = whereabouts(tune, setup.book)
    arrangement = outcome.arrangement
    if arrangement is not None:
        is_as_read = arrangement.tune is outcome.tune
        here = replace(arrangement.tune, place=tune.place, first_line=tune.first_line)
        arrangement = replace(
            arrangement,
            tune=tune if is_as_read else here,
            instrument=_same(arrangement.instrument, setup.for_tune(tune).instrument),
            hand=_same(arrangement.hand, setup.hand),
            messages=moved(arrangement.messages, before, now),
        )
    messages = moved(outcome.messages, before, now)
    placed = replace(outcome, tune=tune, arrangement=arrangement, messages=messages)
    return replace(source, outcome=placed)


_Value = TypeVar("_Value")


def _same(mine: _Value, others: _Value) -> _Value:
    """The one that many tunes have in common, where it is the same."""
    return others if mine == others else mine


def _for_printing(outcome: TuneOutcome, arrangement: Arrangement, is_cue: bool) -> TuneOutcome:
    """The outcome without what only the solver and the notes on choices ask for: a book of a
    thousand tunes is in memory at once. Where the melody is a cue, signs are the accompaniment's,
    which stays."""
    voices = tuple(
        replace(voice, arrangement=_bare(voice.arrangement)) for voice in arrangement.voices
    )
    printed = arrangement.accompaniment if is_cue else ()
    bare = replace(_bare(arrangement), voices=voices, accompaniment=printed)
    return replace(outcome, arrangement=bare)


def _bare(arrangement: Arrangement) -> Arrangement:
    notes = tuple(replace(one, terms=(), alternatives=(), moments=()) for one in arrangement.notes)
    return replace(arrangement, notes=notes, bar_difficulties=(), accompaniment=())


def line_width_pt(setup: Setup) -> float:
    """Width of the music in points on the edition's paper."""
    return page_format(setup.edition.paper or setup.book.paper).text_width_pt


def source_of_tune(tune: Tune, identity: str, setup: Setup, before: Setup | None) -> TuneSource:
    """Solve one tune and write its source. Runs in a worker process."""
    setup = setup.for_tune(tune)
    outcome = arrange_tune(tune, setup if before is None else _with_shapes(setup))
    if outcome.arrangement is None:
        note = left_out_note(outcome.beyond, setup) if outcome.beyond else ""
        return TuneSource(identity, outcome, beyond_note=note)
    arrangement = outcome.arrangement
    change = None if before is None else _change(identity, arrangement, tune, before)
    marks = marks_of(arrangement, setup)
    if change is not None:
        marks = replace(marks, changed=change.changed_bars)
    # In an edition of second voices a tune may be another's, who has another instrument.
    setup = replace(setup, instrument=arrangement.instrument, hand=arrangement.hand)
    setup = replace(setup, edition=edition_of(arrangement.tune, setup.edition))
    width_pt = line_width_pt(setup)
    exercises: tuple[Exercise, ...] = ()
    try:
        piece = _written(arrangement, setup, setup.edition.staff_size_pt, marks)
        small_pt = setup.edition.small_staff_pt
        small = None if small_pt is None else _written(arrangement, setup, small_pt, marks)
        if setup.edition.shows_practice:
            exercises = exercises_of(arrangement, identity, setup, width_pt)
        why = choice_notes(arrangement, setup) if setup.edition.shows_notes_on_choices else ()
        beyond = limit_note(arrangement, setup)
    except Exception as error:  # one tune must never stop a book of a hundred
        return TuneSource(identity, _unwritable(outcome, error))
    bare = _for_printing(outcome, arrangement, setup.edition.melody == "cue")
    return TuneSource(
        identity=identity,
        outcome=bare,
        piece=piece,
        small_piece=small,
        limit_note=beyond,
        choice_notes=why,
        change=change,
        exercises=exercises,
    )


def _written(
    arrangement: Arrangement, setup: Setup, staff_size_pt: float, marks: BarMarks
) -> Piece:
    """The tune's source; in the edition's own size with its opening, if the book lists those."""
    edition = replace(setup.edition, staff_size_pt=staff_size_pt)
    return write_source(
        arrangement,
        edition,
        line_width_pt=line_width_pt(setup),
        with_opening="openings" in edition.parts and edition == setup.edition,
        marks=marks,
        language=setup.book.language,
        note_names=words_for(setup.book, setup.instrument).note_names,
        is_dense=edition != setup.edition,
    )


_SMALL = "small:"


def pieces_of(sources: tuple[TuneSource, ...]) -> dict[str, Piece]:
    """Everything of the tunes that is to be engraved, by identity."""
    usual = {one.identity: one.piece for one in sources if one.piece is not None}
    small = {small_identity(one.identity): one.small_piece for one in sources if one.small_piece}
    return {**usual, **small}


def small_identity(identity: str) -> str:
    """The identity of the piece in the smaller staff size, of which a book can do without."""
    return _SMALL + identity


def _with_shapes(setup: Setup) -> Setup:
    """What a retuning takes from the chords is seen by their shapes, printed or not."""
    return replace(setup, edition=replace(setup.edition, shows_shapes=True))


def _change(
    identity: str, arrangement: Arrangement, tune: Tune, before: Setup
) -> TuneChange | None:
    earlier = arrange_tune(tune, _with_shapes(before)).arrangement
    return None if earlier is None else find_changes(identity, earlier, arrangement)


def marks_of(arrangement: Arrangement, setup: Setup) -> BarMarks:
    """Return the bars beyond the edition's limits and, for teachers, the hardest bars."""
    beyond = frozenset(one.bar_index for one in arrangement.notes if one.beyond_limits)
    hard: frozenset[int] = frozenset()
    if setup.edition.shows_notes_on_choices:
        ranked = sorted(arrangement.bar_difficulties, key=lambda bar: -bar.difficulty)
        hard = frozenset(
            bar.bar_index
            for bar in ranked[:HARD_BARS_MARKED]
            if bar.difficulty > 1.5 * arrangement.difficulty
        )
    return BarMarks(beyond=beyond, hard=hard)


def _unwritable(outcome: TuneOutcome, error: Exception) -> TuneOutcome:
    return TuneOutcome(outcome.tune, None, (*outcome.messages, unwritable(outcome.tune, error)))


def unwritable(tune: Tune | None, error: Exception) -> Message:
    """What is said of a tune that some fault of the program's own keeps from being written."""
    place = tune.place if tune else SourcePlace("")
    what = f"{tune.title if tune else ''!r} could not be written ({type(error).__name__}: {error})"
    return Message(
        place, "writing", what, "left out; please report it with the tune", is_fatal=True
    )
