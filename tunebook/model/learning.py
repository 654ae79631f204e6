"""What is told of a player's learnt hand: sentences and figures, made up in the book's language."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class HabitTold:
    """A habit in words: the sentence, the weights before and after, how often it shows, and some
    places where it does."""

    sentence: str
    changes: tuple[str, ...]
    shows: str
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TuneAgreement:
    """Of a tune: its title, how many notes are marked, and the cells of the table (finger, string,
    as marked: before and after); ``before`` and ``after`` are shares of the notes as marked."""

    title: str
    notes: int
    cells: tuple[str, str, str]
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class WeightChange:
    """A weight's name, and where in its range it was and is (0 least, 1 most)."""

    name: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class LearningTold:
    """All that a report says. ``summary`` are the sentences on how sure it is, ``total`` is the
    last row of the table, ``doubts`` are questions to the player."""

    intro: str
    summary: tuple[str, ...]
    habits: tuple[HabitTold, ...]
    tunes: tuple[TuneAgreement, ...]
    total: TuneAgreement
    weights: tuple[WeightChange, ...]
    doubts: tuple[str, ...]
