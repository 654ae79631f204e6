"""What a retuning changes: per tune, per string, and which tuning suits a set."""

from __future__ import annotations

from dataclasses import dataclass

from tunebook.model.tune import Key

LEAST_SHOWN = 0.05
"""A change of difficulty smaller than this is none: it would print as equal figures."""


@dataclass(frozen=True, slots=True)
class TuneChange:
    """One tune before and after. Pairs are (before, after). ``moved_notes`` lie on another string
    or key, ``refingered_notes`` keep their place but change the finger. ``lost`` and ``gained``
    drones are names, ``lost_chords`` those that no shape says any more with root and third.
    ``changed_bars`` are indices into the tune's bars. ``keys`` are those in which it is
    printed, where the edition moves it to another than before."""

    identity: str
    title: str
    moved_notes: int
    refingered_notes: int
    crossed_stops: tuple[int, int]
    row_jumps: tuple[int, int]
    shifts: tuple[int, int]
    out_of_compass: tuple[int, int]
    difficulty: tuple[float, float]
    lost_drones: tuple[str, ...] = ()
    gained_drones: tuple[str, ...] = ()
    lost_chords: tuple[str, ...] = ()
    changed_bars: frozenset[int] = frozenset()
    keys: tuple[Key, Key] | None = None

    @property
    def difficulty_gained(self) -> float:
        """Difficulty after less before: above 0 means harder."""
        return self.difficulty[1] - self.difficulty[0]


@dataclass(frozen=True, slots=True)
class StringChange:
    """One string before and after: pitch names, frequencies in Hz, interval in cents, change of
    tension in percent. ``is_risky`` asks for the caution about tension."""

    index: int
    pitch_before: str
    pitch_after: str
    hz_before: float
    hz_after: float
    cents: float
    tension_percent: float
    is_risky: bool


@dataclass(frozen=True, slots=True)
class RetuneFacts:
    """A whole retuning. ``strings`` is empty when no string is tuned anew, or the
    instruments have other strings."""

    name_before: str
    name_after: str
    tunes: tuple[TuneChange, ...]
    strings: tuple[StringChange, ...] = ()

    def _ranked(self, most: int, sign: int) -> tuple[TuneChange, ...]:
        ranked = sorted(self.tunes, key=lambda tune: (sign * tune.difficulty_gained, tune.identity))
        return tuple(tune for tune in ranked[:most] if sign * tune.difficulty_gained < -LEAST_SHOWN)

    def easier(self, most: int = 5) -> tuple[TuneChange, ...]:
        """The tunes that became easier, the most so first."""
        return self._ranked(most, 1)

    def harder(self, most: int = 5) -> tuple[TuneChange, ...]:
        """The tunes that became harder, the most so first."""
        return self._ranked(most, -1)


@dataclass(frozen=True, slots=True)
class TuningScore:
    """One tune in one tuning: difficulty (cost per second; None where a note is out of compass),
    best drone, and how many of its chords have a shape with root and third."""

    tuning: str
    difficulty: float | None
    out_of_compass: int
    crossed_stops: int
    shifts: int
    drone: str
    playable_chords: int
    chord_count: int


@dataclass(frozen=True, slots=True)
class SetAdvice:
    """One way through a set: its ``title``, whether tunes change places (``is_reordered``), how
    often the strings are tuned anew, the mean difficulty of the tunes (cost per second), by how
    many semitones strings are turned on the way, and the tunes in order as (tuning, title). One is
    the set with the order and the tunings that it has (``is_as_written``)."""

    title: str
    is_reordered: bool
    retunings: int
    difficulty: float
    semitones_turned: int
    tunes: tuple[tuple[str, str], ...]
    is_as_written: bool = False

    @property
    def by_tuning(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """The tunes in order, those of one tuning that follow each other together."""
        parts: list[tuple[str, list[str]]] = []
        for tuning, title in self.tunes:
            if not parts or parts[-1][0] != tuning:
                parts.append((tuning, []))
            parts[-1][1].append(title)
        return tuple((tuning, tuple(titles)) for tuning, titles in parts)


@dataclass(frozen=True, slots=True)
class KeyScore:
    """One transposition of a tune: semitones, the key's name ("D minor"), its difficulty, and the
    key itself for names in other languages."""

    semitones: int
    key: str
    difficulty: float
    tonality: Key | None = None


@dataclass(frozen=True, slots=True)
class TuneScores:
    """One tune across tunings or keys."""

    identity: str
    title: str
    tunings: tuple[TuningScore, ...] = ()
    keys: tuple[KeyScore, ...] = ()
