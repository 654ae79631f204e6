"""Practice pages: each tune's hardest passages as exercises, and drills for drones and chords."""

from __future__ import annotations

from dataclasses import dataclass

from tunebook.assemble.content import PracticePiece, PracticeSection
from tunebook.assemble.engraved import EngravedPiece
from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Tune
from tunebook.pipeline.arranging import arrange_tune
from tunebook.pipeline.setup import Setup
from tunebook.solve.practice import find_hard_passages, make_exercise
from tunebook.write.lilypond import write_source

WORDS = {
    "en": {
        "loop": "a loop, slowly",
        "long_short": "long, short",
        "short_long": "short, long",
        "bars": "Bars {}-{}",
        "bar": "Bar {}",
    },
    "sv": {
        "loop": "runt, runt, långsamt",
        "long_short": "lång, kort",
        "short_long": "kort, lång",
        "bars": "Takt {}-{}",
        "bar": "Takt {}",
    },
}


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise before engraving: its identity, heading, the tune it is for, its source."""

    identity: str
    title: str
    tune_identity: str
    tune_title: str
    source: str


def exercises_of(
    arrangement: Arrangement, identity: str, setup: Setup, width_pt: float
) -> tuple[Exercise, ...]:
    """Return the exercises for one tune. Runs in a worker process."""
    words = WORDS[setup.book.language]
    made = []
    for passage in find_hard_passages(arrangement):
        exercise = make_exercise(arrangement, passage, words)
        source = source_of_exercise(exercise, setup, width_pt)
        if source:
            made.append(
                Exercise(
                    f"practice:{identity}:{passage.start}",
                    _bars_title(arrangement.tune, passage, words),
                    identity,
                    arrangement.tune.title,
                    source,
                )
            )
    return tuple(made)


def source_of_exercise(tune: Tune, setup: Setup, width_pt: float) -> str:
    """Solve and write an exercise; an exercise that cannot be is left out without harm."""
    outcome = arrange_tune(tune, setup)
    if outcome.arrangement is None:
        return ""
    return write_source(outcome.arrangement, setup.edition, line_width_pt=width_pt)


def _bars_title(tune: Tune, passage: range, words: dict[str, str]) -> str:
    first, last = tune.bars[passage.start].number, tune.bars[passage.stop - 1].number
    if first == last:
        return words["bar"].format(first)
    return words["bars"].format(first, last)


def practice_sections(
    exercises: tuple[Exercise, ...], pieces: dict[str, EngravedPiece]
) -> tuple[PracticeSection, ...]:
    """Return one section a tune of the exercises that were engraved."""
    by_tune: dict[str, list[Exercise]] = {}
    for exercise in exercises:
        if exercise.identity in pieces:
            by_tune.setdefault(exercise.tune_identity, []).append(exercise)
    return tuple(
        PracticeSection(
            group[0].tune_title,
            tuple(PracticePiece(one.title, pieces[one.identity]) for one in group),
            tune=identity,
        )
        for identity, group in by_tune.items()
    )
