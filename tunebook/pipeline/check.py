"""Read and solve without engraving: a row a tune, and every message."""

from __future__ import annotations

from dataclasses import dataclass

from tunebook.errors import Message
from tunebook.model.arrangement import Arrangement, TuneOutcome
from tunebook.pipeline.arranging import (
    Progress,
    arrange_tunes,
    built,
    no_progress,
)
from tunebook.pipeline.cores import count_of_jobs
from tunebook.pipeline.messages import gather_messages, messages_of, nothing_to_do
from tunebook.pipeline.ordering import order_tunes, tune_identity
from tunebook.pipeline.reading import read_tunes
from tunebook.pipeline.setup import Setup


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One tune in the table. ``hardest_bar`` is a bar number (0: the upbeat),
    ``difficulty`` cost per second."""

    identity: str
    title: str
    key: str
    lowest: str
    highest: str
    bar_count: int
    hardest_bar: int
    hardest_difficulty: float
    difficulty: float
    drone: str
    message_count: int


@dataclass(frozen=True, slots=True)
class CheckReport:
    rows: tuple[CheckRow, ...]
    left_out: tuple[Message, ...]
    messages: tuple[Message, ...]


def check_folder(
    setup: Setup,
    *,
    jobs: int | None = None,
    verify: bool = False,
    scheduler: str | None = None,
    on_progress: Progress = no_progress,
) -> CheckReport:
    """Return the table and the messages; ``verify`` prices each arrangement independently."""
    reading = read_tunes(setup)
    sections, ordering = order_tunes(
        reading.tunes, setup.book, setup.edition, is_part=setup.folder.is_file()
    )
    tunes = tuple(tune for section in sections for tune in section.tunes)
    outcomes = tuple(
        arrange_tunes(
            tunes, setup, jobs=count_of_jobs(jobs), scheduler=scheduler, on_progress=on_progress
        )
    )
    verified = [line for one in outcomes for line in _verify(one)] if verify else []
    messages = gather_messages(setup, reading.messages, ordering, messages_of(outcomes), verified)
    if not built(outcomes):
        raise nothing_to_do(setup, messages)
    return CheckReport(
        rows=tuple(_row(one.arrangement, one) for one in outcomes if one.arrangement),
        left_out=tuple(message for message in messages if message.is_fatal),
        messages=messages,
    )


def _row(arrangement: Arrangement, outcome: TuneOutcome) -> CheckRow:
    tune = arrangement.tune
    pitches = sorted(
        (pitch for bar in tune.bars for note in bar.notes for pitch in note.pitches),
        key=lambda pitch: pitch.midi,
    )
    hardest = max(
        arrangement.bar_difficulties, key=lambda bar: (bar.difficulty, -bar.bar_index), default=None
    )
    return CheckRow(
        identity=tune_identity(tune),
        title=tune.title,
        key=tune.key.name,
        lowest=pitches[0].name if pitches else "",
        highest=pitches[-1].name if pitches else "",
        bar_count=max((bar.number for bar in tune.bars), default=0),
        hardest_bar=tune.bars[hardest.bar_index].number if hardest else 0,
        hardest_difficulty=hardest.difficulty if hardest else 0.0,
        difficulty=arrangement.difficulty,
        drone=_drone_name(arrangement),
        message_count=len(messages_of([outcome])),
    )


def _drone_name(arrangement: Arrangement) -> str:
    names: dict[str, None] = {}
    for span in arrangement.drone:
        string = arrangement.instrument.string(span.stop.string_index)
        names.setdefault(string.name + (f"+{span.stop.key}" if span.stop.key else ""))
    return " ".join(names)


def _verify(outcome: TuneOutcome) -> list[Message]:
    from tunebook.solve.pricing import verify_arrangement

    if outcome.arrangement is None:
        return []
    place = outcome.arrangement.tune.place
    return [
        Message(place, "verify", what, "please report it with the tune")
        for what in verify_arrangement(outcome.arrangement)
    ]
