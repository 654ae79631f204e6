"""Practice pages: each tune's hardest passages as exercises, and drills for drones and chords."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from tunebook.book.content import PracticePiece, PracticeSection
from tunebook.book.musical_text import string_name
from tunebook.model.arrangement import Arrangement
from tunebook.model.choices import Chords, Drones, Language
from tunebook.model.piece import EngravedPiece, Piece
from tunebook.model.tune import Tune
from tunebook.model.words import fixed_words, words_for
from tunebook.pipeline.load import Setup
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.solve.practice import (
    chord_drill,
    find_hard_passages,
    held_drone_drill,
    make_exercise,
    open_drone_drill,
)
from tunebook.solve.shapes.accompaniment import hardest_changes
from tunebook.write.lilypond.source import write_source

WARM_UP = "warm-up:"


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise before engraving: its identity, heading, the tune it is for, the music, and
    what kind it is in the words of file names."""

    identity: str
    title: str
    tune_identity: str
    tune_title: str
    piece: Piece
    kind: str


def exercises_of(
    arrangement: Arrangement, identity: str, setup: Setup, width_pt: float
) -> tuple[Exercise, ...]:
    """Return the exercises for one tune. Runs in a worker process."""
    words = words_for(setup.book, setup.instrument).practice
    made = []
    # In the order of the tune, where its player looks for them.
    for passage in sorted(find_hard_passages(arrangement), key=lambda one: one.start):
        exercise = make_exercise(arrangement, passage, words)
        alike = _with_the_ways_of(arrangement, passage, setup)
        piece = piece_of_exercise(exercise, alike, width_pt)
        if piece is not None:
            made.append(
                Exercise(
                    identity=f"practice:{identity}:{passage.start}",
                    title=_bars_title(arrangement.tune, passage, words),
                    tune_identity=identity,
                    tune_title=arrangement.tune.title,
                    piece=piece,
                    kind=_kind_of_passage(arrangement.tune, passage),
                )
            )
    if setup.edition.shows_shapes and arrangement.chords:
        made += _chord_exercise(arrangement, identity, setup, width_pt)
    return tuple(made)


def _with_the_ways_of(arrangement: Arrangement, passage: range, setup: Setup) -> Setup:
    """The settings, without silent changes of finger where the tune itself has none there: its
    fingers are pinned, but not what another drone or another rhythm would make of a long note."""
    ways = {way for note in arrangement.notes if note.bar_index in passage for way in note.ways}
    if "substitution" in ways:
        return setup
    limits = replace(setup.edition.limits, allows_substitution=False)
    return replace(setup, edition=replace(setup.edition, limits=limits))


def _chord_exercise(
    arrangement: Arrangement, identity: str, setup: Setup, width_pt: float
) -> list[Exercise]:
    title = words_for(setup.book, setup.instrument).practice["changes"]
    changes = hardest_changes(
        arrangement.chords, setup.instrument, setup.hand, setup.edition.limits, most=2
    )
    drill = chord_drill(changes, title, arrangement.tune.key)
    if drill is None:
        return []
    piece = piece_of_exercise(drill, setup, width_pt, chords="tune")
    if piece is None:
        return []
    name = f"practice:{identity}:chords"
    return [
        Exercise(
            identity=name,
            title=title,
            tune_identity=identity,
            tune_title=arrangement.tune.title,
            piece=piece,
            kind="chord-changes",
        )
    ]


def warm_up(setup: Setup, width_pt: float) -> tuple[Exercise, ...]:
    """Return scales over drones on the two highest strings, as far as the edition allows."""
    words = words_for(setup.book, setup.instrument)
    limits = setup.edition.limits
    made = []
    for string in setup.instrument.strings[-2:]:
        drills = {"open_drone": open_drone_drill(setup.instrument, string.index, "")}
        if setup.edition.drones in ("held", "substitution") and limits.allows_held_drone:
            drills["held_drone"] = held_drone_drill(setup.instrument, string.index, "", limits)
        for kind, drill in drills.items():
            if drill is None:
                continue
            piece = piece_of_exercise(drill, setup, width_pt, drones=setup.edition.drones)
            if piece is not None:
                title = words.practice[kind].format(string_name(string, words))
                name = f"{WARM_UP}{kind}:{string.index}"
                shown = f"warm-up-{kind.replace('_', '-')}-{string.name}"
                made.append(
                    Exercise(
                        identity=name,
                        title=title,
                        tune_identity="",
                        tune_title=words.practice["warm_up"],
                        piece=piece,
                        kind=shown,
                    )
                )
    return tuple(made)


def piece_of_exercise(
    tune: Tune,
    setup: Setup,
    width_pt: float,
    *,
    drones: Drones = "none",
    chords: Chords = "none",
    pale: frozenset[tuple[int, int]] = frozenset(),
    is_dense: bool = False,
) -> Piece | None:
    """Solve and write an exercise, without what would distract from it; an exercise that cannot
    be solved is left out without harm (None). What tunes.toml says of its tune has been done to it
    already. ``pale`` and ``is_dense`` as for :func:`write_source`."""
    edition = replace(
        setup.edition,
        fit="print as written",
        fingers="all",
        drones=drones,
        accents="none",
        chords=chords,
        shows_shapes=False,
        shows_accompaniment=False,
        melody="whole",
        shows_notes_on_choices=False,
        voices="melody",
        line="full",
    )
    book = replace(setup.book, choices=())
    outcome = arrange_tune(tune, replace(setup, edition=edition, book=book))
    if outcome.arrangement is None:
        return None
    return write_source(
        outcome.arrangement,
        edition,
        line_width_pt=width_pt,
        language=setup.book.language,
        note_names=words_for(setup.book, setup.instrument).note_names,
        pale=pale,
        is_dense=is_dense,
    )


def _kind_of_passage(tune: Tune, passage: range) -> str:
    numbers = dict.fromkeys(str(tune.bars[at].number) for at in (passage[0], passage[-1]))
    return f"{'bars' if len(numbers) > 1 else 'bar'}-{'-'.join(numbers)}"


def _bars_title(tune: Tune, passage: range, words: Mapping[str, str]) -> str:
    first, last = tune.bars[passage.start].number, tune.bars[passage.stop - 1].number
    if last == 0:
        return words["upbeat"]
    lowest = max(1, first)
    text = words["bar"].format(last)
    if lowest < last:
        text = words["bars"].format(lowest, last)
    return text if first else words["with_upbeat"].format(text)


def practice_sections(
    exercises: tuple[Exercise, ...], pieces: dict[str, EngravedPiece], language: Language
) -> tuple[PracticeSection, ...]:
    """Return the warm-up and one section a tune, of the exercises that were engraved."""
    warm_up_text = fixed_words(language).practice["warm_up_text"]
    by_tune: dict[str, list[Exercise]] = {}
    for exercise in exercises:
        if exercise.identity in pieces:
            by_tune.setdefault(exercise.tune_identity, []).append(exercise)
    return tuple(
        PracticeSection(
            group[0].tune_title,
            tuple(PracticePiece(one.title, pieces[one.identity]) for one in group),
            text="" if identity else warm_up_text,
            tune=identity,
        )
        for identity, group in by_tune.items()
    )
