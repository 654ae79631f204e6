"""Learn a player's hand from the tunes that she has fingered, and say what was learnt.

The work is spread over the cores in four rounds: spans to try (two rounds of them), folds to
measure on, and habits. What is learnt is written only when it is better than the usual hand, beyond
chance, on tunes that it was not learnt from.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from tunebook.errors import InputError, Message, OutputError, SettingError, SourcePlace
from tunebook.files import check_writable, write_whole
from tunebook.model.book import HandChoice
from tunebook.model.choices import HAND_SIZES
from tunebook.model.hand import Hand
from tunebook.model.learning import LearningTold
from tunebook.model.tune import Tune
from tunebook.model.words import fixed_words
from tunebook.pipeline.ask import AskReport, answered_marks, ask
from tunebook.pipeline.learn_words import LearnReport, told
from tunebook.pipeline.load import (
    Progress,
    Setup,
    gather_messages,
    load,
    no_progress,
    read_files,
)
from tunebook.pipeline.order import unique_identities
from tunebook.pipeline.prepare import fit_tune, prepare_tune
from tunebook.pipeline.questions import is_question
from tunebook.pipeline.workers import LONGEST_WAIT_S, Workers, count_of_jobs
from tunebook.read.settings.profile import read_hand
from tunebook.solve.learning.doubts import doubts
from tunebook.solve.learning.habits import changed_habits, habits_of, with_bars_apart
from tunebook.solve.learning.lesson import Sheet
from tunebook.solve.learning.marks import added, marks_of
from tunebook.solve.learning.study import (
    Begun,
    Learnt,
    Measured,
    Spans,
    World,
    best_of,
    folds_of,
    learn,
    measure_folds,
    measure_usual,
    try_spans,
)
from tunebook.solve.learning.verdict import verdict
from tunebook.solve.times import tempo_of
from tunebook.solve.weights import weights_for
from tunebook.write.hand_file import hand_as_toml

FEWEST_TUNES = 5
FEWEST_NOTES = 200
NOTHING_LEFT = 0.995
"""Where so many of the marks agree beforehand, there is nothing to learn."""
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class LearnOrder:
    """What the command line asks of learning: where the hand file goes and where a report in PDF,
    and whether the pins of tunes.toml count."""

    output: Path | None = None
    report: Path | None = None
    from_pins: bool = False
    jobs: int | None = None


def learn_hand(setup: Setup, order: LearnOrder, on_progress: Progress = no_progress) -> LearnReport:
    """Learn from the tunes of the setup's folder, and write the hand file and the report.

    Raises InputError when there is too little to learn from, OutputError for what cannot be
    written.
    """
    files = read_files(setup)
    _check_outputs(setup, order)
    loaded = load(setup, files, has_questions=True)
    left_out = [message for message in loaded.messages if message.is_fatal]
    sheets, messages = sheets_of(setup, loaded.tunes, order.from_pins)
    marked = [sheet for sheet in sheets if sheet.marks]
    _check_enough(setup, marked, (*left_out, *messages), order.from_pins)
    report = _study(setup, marked, order, on_progress)
    report = replace(report, messages=gather_messages(setup, left_out, messages))
    if order.output is not None and report.verdict.is_better:
        text = _hand_text(setup, report)
        write_whole(order.output, text.encode(), read=setup.read)
        report = replace(report, output=order.output)
    if order.report is not None:
        from tunebook.pipeline.learn_report import write_report

        on_progress("engraving", "", 0, 1)
        write_report(setup, report, order.report, order.jobs)
        on_progress("engraving", "", 1, 1)
        report = replace(report, report=order.report)
    return report


def _check_outputs(setup: Setup, order: LearnOrder) -> None:
    """Raise OutputError, before the work, for what cannot be written."""
    if order.output is not None and order.output.suffix.lower() != ".toml":
        place = SourcePlace(str(order.output))
        raise OutputError("is no name of a hand file", "give one that ends in .toml", place)
    paths = [path for path in (order.output, order.report) if path is not None]
    for path in paths:
        check_writable(path, setup.read)
    if len({path.resolve() for path in paths}) < len(paths):
        place = SourcePlace(str(order.report))
        raise OutputError("is the hand file and the report", "give them two names", place)


def ask_player(
    setup: Setup, order: LearnOrder, count: int, on_progress: Progress = no_progress
) -> AskReport:
    """Write ``count`` questions whose answers would say most, to the order's output and to an ABC
    file beside it. Raises as :func:`tunebook.pipeline.ask.ask` does, and SettingError without an
    output."""
    if order.output is None:
        raise SettingError("where do the questions go?", "give -o QUESTIONS.pdf")
    files = read_files(setup)
    sheets, _ = sheets_of(setup, load(setup, files, has_questions=True).tunes, order.from_pins)
    printed = (_in_printed_key(one, setup) for one in sheets if not is_question(one.tune))
    answered = [one for one in sheets if one.marks and is_question(one.tune)]
    asked = [*answered, *(one for one in printed if one is not None)]
    return ask(setup, world_of(setup), asked, count, order.output, order.jobs, on_progress)


def _in_printed_key(sheet: Sheet, setup: Setup) -> Sheet | None:
    """A tune without marks as the edition prints it, None where it leaves it out: what is beyond a
    player is not asked. Marks are of the tune as it is written."""
    if sheet.marks:
        return sheet
    fitted = fit_tune(sheet.tune, setup)
    return None if fitted.beyond else sheet._replace(tune=fitted.tune)


def in_english(report: LearnReport, setup: Setup) -> LearningTold:
    """The report in the words of the command line."""
    return told(report, setup.instrument, fixed_words("en", setup.instrument.kind))


def sheets_of(
    setup: Setup, tunes: Sequence[Tune], from_pins: bool
) -> tuple[list[Sheet], list[Message]]:
    """Every tune with its marks, as the edition prints it, and what is said of its pins. The pins
    of tunes.toml count only if asked for."""
    if not from_pins:
        bare = tuple(replace(one, fingers=(), strings=()) for one in setup.book.choices)
        setup = replace(setup, book=replace(setup.book, choices=bare))
    sheets: list[Sheet] = []
    answers: list[Message] = []
    messages: list[Message] = []
    for tune, name in zip(tunes, unique_identities(tuple(tunes)), strict=True):
        if setup.for_tune(tune).instrument != setup.instrument:
            what = f"{tune.title!r} is played in a tuning of its own"
            messages.append(Message(tune.place, "learning", what, "it is left aside here"))
            continue
        prepared, said = prepare_tune(tune, setup)
        choice = setup.book.choice(name)
        speed, _ = tempo_of(prepared, choice.tempo if choice else None)
        marks = marks_of(prepared, setup.instrument)
        answered, unread = ((), []) if marks else answered_marks(prepared, setup.instrument)
        sheets.append(Sheet(name, prepared, speed, marks or answered))
        messages += said
        answers += unread
    return sheets, [*answers, *messages]


def _check_enough(
    setup: Setup, marked: Sequence[Sheet], messages: Sequence[Message], from_pins: bool
) -> None:
    """Raise InputError when there are too few tunes or marks, with the first of the messages,
    and with each about an answer."""
    notes = sum(len(sheet.marks) for sheet in marked)
    if len(marked) >= FEWEST_TUNES and notes >= FEWEST_NOTES:
        return
    what = (
        f"too few notes are marked to learn a hand from ({notes}, in {len(marked)} of the tunes): "
        f"that takes {FEWEST_NOTES} notes in {FEWEST_TUNES} tunes"
    )
    answers = [str(one) for one in messages if one.kind == "answer"]
    if answers:
        what += f" ({'. '.join(answers)})"
    elif messages:
        what += f" (first message: {messages[0]})"
    remedy = "mark fingers as !2! before notes, or answer the questions of --ask"
    if not from_pins and any(one.fingers or one.strings for one in setup.book.choices):
        remedy += ", or let the pins of tunes.toml count with --from-pins"
    raise InputError(what, remedy, SourcePlace(str(setup.folder)))


def world_of(setup: Setup) -> World:
    """What is learnt for: the setup's instrument, hand and limits, the hand without weights of its
    own and with the spans of its size."""
    plain = replace(setup.book.hand, span_factors=(1.0, 1.0, 1.0), weights=(), name="")
    others = tuple(
        (size, read_hand(replace(plain, size=size))) for size in HAND_SIZES if size != plain.size
    )
    return World(setup.instrument, read_hand(plain), setup.edition.limits, others)


def _study(
    setup: Setup, sheets: list[Sheet], order: LearnOrder, on_progress: Progress
) -> LearnReport:
    world, jobs = world_of(setup), count_of_jobs(order.jobs)
    before = measure_usual(world, sheets)
    if added(one.before for one in before).share >= NOTHING_LEFT:
        return _nothing_learnt(setup, world, sheets, before)
    tries = try_spans(
        world, sheets, lambda work, stage: _spread(learn, work, jobs, stage, on_progress)
    )
    factors = best_of(tries, world)
    on_progress("learning", "", 0, 1)
    begun = Begun(next(one.centre for one in tries if one.factors == factors))
    learnt = learn(world, factors, sheets, begun=begun)
    on_progress("learning", "", 1, 1)
    measured, folds = _measure(world, sheets, tries, learnt, jobs, on_progress)
    hand = world.learnt(factors, learnt.vector)
    names = changed_habits(world, hand)
    work = [(names[at::jobs], world, hand, sheets) for at in range(min(jobs, len(names)))]
    found = [one for part in _spread(habits_of, work, jobs, "habits", on_progress) for one in part]
    habits = sorted(found, key=lambda one: (-one.notes, one.name))
    return LearnReport(
        verdict=verdict(measured),
        measured=tuple(measured),
        sheets=tuple(sheets),
        folds=folds,
        hand=hand,
        choice=_choice(setup.book.hand, hand, factors),
        usual=world.hand,
        size=setup.book.hand.size,
        habits=tuple(with_bars_apart(habits)),
        doubts=doubts(world, factors, learnt.vector, sheets),
        messages=(),
    )


def _nothing_learnt(
    setup: Setup, world: World, sheets: list[Sheet], measured: list[Measured]
) -> LearnReport:
    """The report on one whose fingers are the program's own."""
    return LearnReport(
        verdict=verdict(measured),
        measured=tuple(measured),
        sheets=tuple(sheets),
        folds=0,
        hand=world.hand,
        choice=setup.book.hand,
        usual=world.hand,
        size=setup.book.hand.size,
        habits=(),
        doubts=(),
        messages=(),
    )


def _choice(base: HandChoice, hand: Hand, factors: Spans) -> HandChoice:
    """The learnt hand as settings have it."""
    return replace(
        base,
        size=factors.size or base.size,
        span_factors=factors.factors,
        weights=hand.weights,
        higher_finger_on_higher_string=hand.higher_finger_on_higher_string,
    )


def _measure(
    world: World,
    sheets: Sequence[Sheet],
    tries: Sequence[Learnt],
    learnt: Learnt,
    jobs: int,
    on_progress: Progress,
) -> tuple[list[Measured], int]:
    """Agreement by tune in the order of the sheets, and the number of folds."""
    folds = [(names, best_of(tries, world, names)) for names in folds_of(sheets)]
    parts = [folds[at::jobs] for at in range(min(jobs, len(folds)))]
    work = [(world, sheets, part, learnt) for part in parts]
    found = {
        one.name: one
        for part in _spread(measure_folds, work, jobs, "measuring", on_progress)
        for fold in part
        for one in fold
    }
    return [found[sheet.name] for sheet in sheets], len(folds)


def _spread(
    function: Callable[..., Result],
    work: Sequence[tuple[Any, ...]],
    jobs: int,
    stage: str,
    on_progress: Progress,
) -> list[Result]:
    """``function`` of each of ``work``, one piece a worker at a time: each takes seconds."""
    found: list[Result] = []

    def took(result: Result) -> None:
        found.append(result)
        on_progress(stage, "", len(found), len(work))

    if jobs <= 1 or len(work) < 2:
        for arguments in work:
            took(function(*arguments))
        return found
    with Workers(min(jobs, len(work)), LONGEST_WAIT_S) as workers:
        for result in workers.map(function, work, a_batch=1, most_waiting=len(work)):
            took(result)
    return found


def _hand_text(setup: Setup, report: LearnReport) -> str:
    """The hand file, with what it rests on in its head."""
    kind = setup.instrument.kind
    usual = weights_for(kind)
    told = report.verdict
    notes = told.after.of_both
    head = (
        f"A player's hand, learnt from {len(report.sheets)} tunes with {notes} marked notes.",
        f"On tunes not learnt from, {told.before.share:.1%} of the notes were as marked before, "
        f"{told.after.share:.1%} after.",
        "Name this file beside tunes.toml as [hand] file, or give it as --hand. It may be edited.",
    )
    weights = {one.name: getattr(usual, one.name) for one in report.hand.weights}
    return hand_as_toml(report.choice, kind, weights, head)
