"""Which tuning suits the tunes, and which keys suit the instrument."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from math import inf
from pathlib import Path

from tunebook.errors import Message, SettingError
from tunebook.files import check_writable
from tunebook.model.arrangement import Arrangement
from tunebook.model.changes import KeyScore, SetAdvice, TuneScores, TuningScore
from tunebook.model.tune import Tune, pitch_name
from tunebook.pipeline.load import (
    Progress,
    Setup,
    gather_messages,
    load,
    no_progress,
    read_files,
    reading_limits,
)
from tunebook.pipeline.order import Section, unique_identities
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.prepare import prepare_tune
from tunebook.pipeline.workers import count_of_jobs, map_on_cores
from tunebook.read.settings.profile import listed_tunings, read_instrument
from tunebook.solve.harmony.names import says_chord
from tunebook.solve.set_order import SetPlan, plans
from tunebook.solve.transpose import transpose_tune, without_pins

MOST_TUNINGS = 8
KEYS_SHOWN = 4


@dataclass(frozen=True, slots=True)
class CompareOrder:
    """What to compare. ``tunings`` is the option's text; ``within`` in semitones; ``sets`` asks for
    the best ways through each set."""

    tunings: str | None = None
    keys: bool = False
    within: int = 5
    output: Path | None = None
    jobs: int | None = None
    sets: bool = False


@dataclass(frozen=True, slots=True)
class CompareReport:
    """Scores of every tune; ``totals`` are (tuning, mean difficulty of the tunes that fit it,
    tunes with notes out of compass)."""

    tunings: tuple[str, ...]
    tunes: tuple[TuneScores, ...]
    totals: tuple[tuple[str, float, int], ...]
    messages: tuple[Message, ...]
    output: Path | None = None
    sets: tuple[SetAdvice, ...] = ()

    @property
    def tune_count(self) -> int:
        return len(self.tunes)


def compare_folder(
    setup: Setup, order: CompareOrder, on_progress: Progress = no_progress
) -> CompareReport:
    """Score every tune in each tuning, and in each key near its own when asked.

    Raises SettingError for a tuning that cannot be read, InputError when there is no tune.
    """
    files = read_files(setup)
    if order.output is not None:
        check_writable(order.output, setup.read)
    loaded = load(setup, files)
    tunes = loaded.tunes
    setups = _setups(setup, order, tunes)
    names = unique_identities(tunes)
    within = order.within if order.keys else 0
    work = [(tune, name, setups, within) for tune, name in zip(tunes, names, strict=True)]
    scores = []
    made = map_on_cores(_score_tune, work, jobs=count_of_jobs(order.jobs))
    for done, (tune, one) in enumerate(zip(tunes, made, strict=True), start=1):
        on_progress("comparing", tune.title, done, len(tunes))
        scores.append(one)
    report = CompareReport(
        tunings=tuple(one.instrument.tuning_name for one in setups),
        tunes=tuple(scores),
        totals=_totals(setups, scores),
        messages=gather_messages(setup, loaded.messages),
        output=order.output,
        sets=_advice(loaded.sections, setups, scores, setup) if order.sets else (),
    )
    if order.output is not None:
        from tunebook.book.pages.comparison import write_comparison

        write_comparison(
            report.tunings,
            report.tunes,
            report.totals,
            setup.book,
            order.output,
            read=setup.read,
            sets=report.sets,
        )
    return report


def _turned(one: Setup, other: Setup) -> int:
    """The semitones by which strings are turned from one tuning to another."""
    pairs = zip(one.instrument.strings, other.instrument.strings, strict=True)
    return sum(abs(a.open_midi - b.open_midi) for a, b in pairs)


def _as_written(
    section: Section, setups: tuple[Setup, ...], scores: list[TuneScores], setup: Setup
) -> Iterator[SetAdvice]:
    """The set with the order and the tunings that it has; nothing where a tune of it cannot be
    played so. ``setups`` are those of the ``scores``, ``setup`` is the folder's own."""
    own = [setup.for_tune(tune) for tune in section.tunes]
    efforts = []
    for tune, one, score in zip(section.tunes, own, scores, strict=True):
        found = [
            way.difficulty
            for other, way in zip(setups, score.tunings, strict=True)
            if other.instrument == one.instrument
        ]
        efforts.append(found[0] if found else _tuning_score(one, _arranged(tune, one)).difficulty)
    known = [effort for effort in efforts if effort is not None]
    turns = [_turned(one, other) for one, other in pairwise(own)]
    if len(known) == len(efforts):
        yield SetAdvice(
            title=section.title,
            is_reordered=False,
            retunings=sum(map(bool, turns)),
            difficulty=sum(known) / len(known),
            semitones_turned=sum(turns),
            tunes=tuple(
                (one.instrument.tuning_name, tune.title)
                for one, tune in zip(own, section.tunes, strict=True)
            ),
            is_as_written=True,
        )


def _arranged(tune: Tune, setup: Setup) -> Arrangement | None:
    return arrange_tune(tune, setup).arrangement


def _advice(
    sections: tuple[Section, ...],
    setups: tuple[Setup, ...],
    scores: list[TuneScores],
    setup: Setup,
) -> tuple[SetAdvice, ...]:
    """Each set as written, and the best ways through it, in the order of the book and in any
    order; a tune that can be played in no tuning is passed over."""
    turns = [[_turned(one, other) for other in setups] for one in setups]
    advice: list[SetAdvice] = []
    waiting = iter(scores)
    for section in sections:
        own = list(islice(waiting, len(section.tunes)))
        tunes = [one for one in own if any(way.difficulty is not None for way in one.tunings)]
        if not section.title or len(tunes) < 2:
            continue
        told = {one.tunes: one for one in _as_written(section, setups, own, setup)}
        efforts = [
            [inf if way.difficulty is None else way.difficulty for way in one.tunings]
            for one in tunes
        ]
        for may_reorder in (False, True):
            for plan in plans(efforts, turns, may_reorder=may_reorder):
                one = _as_advice(plan, section.title, tunes)
                told.setdefault(one.tunes, one)
        advice += told.values()
    return tuple(advice)


def _as_advice(plan: SetPlan, title: str, tunes: Sequence[TuneScores]) -> SetAdvice:
    """A plan for the set of this title, which has these tunes."""
    places = zip(plan.order, plan.tunings, strict=True)
    return SetAdvice(
        title=title,
        is_reordered=list(plan.order) != sorted(plan.order),
        retunings=plan.retunings,
        difficulty=plan.effort / len(tunes),
        semitones_turned=plan.turned,
        tunes=tuple((tunes[at].tunings[tuning].tuning, tunes[at].title) for at, tuning in places),
    )


def _usual_tunings(setup: Setup, tunes: tuple[Tune, ...]) -> list[str]:
    """The tunings in which the folder's tunes are, its own first, and those that are common on the
    instrument."""
    known = {setup.instrument.tuning_name: setup.instrument}
    for tune in tunes:
        found = setup.for_tune(tune).instrument
        known.setdefault(found.tuning_name, found)
    pitches = [
        ",".join(pitch_name(one.open_midi) for one in found.strings) for found in known.values()
    ]
    listed = [name for name in listed_tunings(setup.profile) if name not in known]
    return [*pitches, *listed][:MOST_TUNINGS]


def _named(setup: Setup, order: CompareOrder, tunes: tuple[Tune, ...]) -> list[str]:
    """The tunings that are asked for; the usual ones where only sets are."""
    if not order.tunings:
        names = _usual_tunings(setup, tunes)
        if len(names) < 2:
            raise SettingError("there is one tuning only", "give --tunings CGDA,CGCA with --sets")
        return names
    # A list of pitches holds commas itself: tunings written so are parted by semicolons.
    parting = ";" if ";" in order.tunings else ","
    names = [name.strip() for name in order.tunings.split(parting) if name.strip()]
    if not names:
        raise SettingError(f"no tuning is named in {order.tunings!r}", "give some, as CGDA,CGCA")
    if len(names) > MOST_TUNINGS:
        raise SettingError(f"{len(names)} tunings at once", f"compare {MOST_TUNINGS} at most")
    return names


def _setups(setup: Setup, order: CompareOrder, tunes: tuple[Tune, ...]) -> tuple[Setup, ...]:
    # The table counts chords with a shape, so shapes are solved whatever the edition shows.
    edition = replace(setup.edition, shows_shapes=True)
    plain = replace(setup, messages=(), edition=edition)
    if not order.tunings and not order.sets:
        if not order.keys:
            raise SettingError("nothing to compare", "give --tunings CGDA,CGCA, --sets or --keys")
        return (plain,)
    names = _named(setup, order, tunes)
    if edition.voices == "second":
        plain = replace(plain, players=())  # whoever plays a second voice, the tunings are theirs
    plain = replace(plain, tunings=(), tunes_have_tunings=False)
    return tuple(replace(plain, instrument=read_instrument(setup.profile, name)) for name in names)


def _score_tune(tune: Tune, name: str, setups: tuple[Setup, ...], within: int) -> TuneScores:
    tunings = tuple(_tuning_score(one, arrange_tune(tune, one).arrangement) for one in setups)
    keys = _key_scores(tune, setups[0].for_tune(tune), within)
    return TuneScores(name, tune.title, tunings, keys)


def _tuning_score(setup: Setup, arrangement: Arrangement | None) -> TuningScore:
    name = setup.instrument.tuning_name
    if arrangement is None:
        return TuningScore(
            tuning=name,
            difficulty=None,
            out_of_compass=0,
            crossed_stops=0,
            shifts=0,
            drone="",
            playable_chords=0,
            chord_count=0,
        )
    missing = sum(not note.stops for note in arrangement.notes)
    chords = {span.chord.symbol for span in arrangement.chords}
    said = {span.chord.symbol for span in arrangement.chords if says_chord(span)}
    return TuningScore(
        tuning=name,
        difficulty=None if missing else arrangement.difficulty,
        out_of_compass=missing,
        crossed_stops=sum("crossed" in note.ways for note in arrangement.notes),
        shifts=sum("shift" in note.ways for note in arrangement.notes),
        drone=" ".join(dict.fromkeys(pitch_name(span.stop.midi) for span in arrangement.drone)),
        playable_chords=len(said),
        chord_count=len(chords),
    )


def _key_scores(tune: Tune, setup: Setup, within: int) -> tuple[KeyScore, ...]:
    """The easiest transpositions within ``within`` semitones, the tune's own key always there."""
    from tunebook.solve.arrange import arrange
    from tunebook.solve.search.layers import OutOfStepsError, at_most

    prepared, _ = prepare_tune(tune, setup)
    scores = []
    # Of a tune too long to be tried in every key, those next to its own are compared.
    with suppress(OutOfStepsError), at_most(reading_limits(setup).solving_steps):
        for semitones in sorted(range(-within, within + 1), key=abs) if within else ():
            moved = transpose_tune(prepared, semitones)
            moved = without_pins(moved) if semitones else moved
            result = arrange(
                moved, setup.instrument, setup.hand, setup.edition.limits,
                drones="none", chords="none",
            )  # fmt: skip
            if all(note.stops for note in result.notes):
                name = moved.key.name
                scores.append(KeyScore(semitones, name, result.difficulty, moved.key))
    scores.sort(key=lambda one: (one.difficulty, abs(one.semitones), one.semitones))
    own = [one for one in scores[KEYS_SHOWN:] if one.semitones == 0]
    return tuple(scores[:KEYS_SHOWN] + own)


def _totals(
    setups: tuple[Setup, ...], scores: list[TuneScores]
) -> tuple[tuple[str, float, int], ...]:
    totals = []
    for at, setup in enumerate(setups):
        columns = [tune.tunings[at] for tune in scores]
        fits = [one.difficulty for one in columns if one.difficulty is not None]
        mean = sum(fits) / len(fits) if fits else 0.0
        totals.append((setup.instrument.tuning_name, mean, len(columns) - len(fits)))
    return tuple(totals)
