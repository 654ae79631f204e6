"""Say why a tune is fingered as it is, and what else would do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from tunebook.errors import SettingError, SourcePlace
from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Tune
from tunebook.pipeline.arranging import arrange_prepared, prepare_tune
from tunebook.pipeline.messages import gather_messages, nothing_to_do
from tunebook.pipeline.ordering import tune_identity
from tunebook.pipeline.reading import read_tunes
from tunebook.pipeline.setup import Setup
from tunebook.solve.chords import explain_chords
from tunebook.solve.drones import rank_drones
from tunebook.solve.explain import bar_range, explain_bars, other_ways_as_text, reasons_as_text
from tunebook.solve.explain_drones import explain_drones

OTHER_WAYS = 3
NOTE_ALTERNATIVES = 2
DRONES_SHOWN = 8
LAST_BAR = 9999


@dataclass(frozen=True, slots=True)
class ExplainOrder:
    """What to explain. ``number`` is the tune's X: number, ``bars`` the option's text."""

    number: str | None = None
    bars: str | None = None
    chords: bool = False
    drones: bool = False


def explain_tune(setup: Setup, order: ExplainOrder) -> Iterator[str]:
    """Yield lines of text: the fingering of the bars with its reasons, or the chords, or the
    drones. Raises SettingError for a tune or bars that are not there."""
    first, last = _bars(order.bars)
    tune = _find_tune(setup, order.number)
    try:
        arrangement = _arrange(tune, setup, first, last)
        yield f"{tune_identity(tune)}  {tune.title}"
        yield _tempo_line(arrangement)
        if order.chords:
            yield from _chord_lines(arrangement, setup, first, last)
        if order.drones:
            yield from _drone_lines(arrangement, setup)
        if not (order.chords or order.drones):
            yield from _fingering_lines(arrangement, first, last)
    except ValueError as error:
        what, _, remedy = str(error).partition("; ")
        raise SettingError(what, remedy, tune.place) from None
    for message in arrangement.messages:
        yield str(message)


def _bars(text: str | None) -> tuple[int, int]:
    if text is None:
        return 0, LAST_BAR
    match = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", text.strip())
    if match is None or int(match[2] or match[1]) < int(match[1]):
        raise SettingError(
            f"bars {text!r} cannot be read", "write them as 3-6, the smaller first, or 3"
        )
    return int(match[1]), int(match[2] or match[1])


def _find_tune(setup: Setup, number: str | None) -> Tune:
    reading = read_tunes(setup)
    if not reading.tunes:
        raise nothing_to_do(setup, gather_messages(setup, reading.messages))
    if number is None and len(reading.tunes) == 1:
        return reading.tunes[0]
    for tune in reading.tunes:
        if number is not None and number in (tune.number, tune.title, tune_identity(tune)):
            return tune
    names = [tune.number for tune in reading.tunes]
    if len(set(names)) < len(names) or "" in names:
        names = [tune_identity(tune) for tune in reading.tunes]
    known = ", ".join(names[:20])
    what = "which tune?" if number is None else f"no tune {number!r}"
    raise SettingError(what, f"give --tune, one of {known}", SourcePlace(str(setup.folder)))


def _arrange(tune: Tune, setup: Setup, first: int, last: int) -> Arrangement:
    """The arrangement that the book prints, with other ways through the bars."""
    prepared, _ = prepare_tune(tune, setup)
    return arrange_prepared(
        prepared,
        setup,
        alternatives=NOTE_ALTERNATIVES,
        other_ways=OTHER_WAYS - 1,
        bars=bar_range(prepared, first, last),
    )


def _drone_lines(arrangement: Arrangement, setup: Setup) -> Iterator[str]:
    if setup.edition.drones == "none" or not arrangement.limits.allows_drone:
        yield "this edition has no drones"
        return
    # The book weighs only the most promising ones; here all of them are solved.
    ranked = rank_drones(
        arrangement.tune,
        arrangement.instrument,
        arrangement.hand,
        arrangement.limits,
        whole_notes_per_second=arrangement.whole_notes_per_second,
        drones=setup.edition.drones,
        tried=None,
    )
    held = {(span.stop.string_index, span.stop.key) for span in arrangement.drone}
    shown = [
        one
        for rank, one in enumerate(ranked)
        if rank < DRONES_SHOWN or (one.stop.string_index, one.stop.key) in held
    ]
    yield from explain_drones(arrangement, shown, is_pinned=not arrangement.drone_candidates)


def _chord_lines(arrangement: Arrangement, setup: Setup, first: int, last: int) -> Iterator[str]:
    if setup.edition.chords == "none":
        yield "this edition has no chords"
        return
    yield from explain_chords(arrangement.tune, arrangement.chords, first, last)


def _tempo_line(arrangement: Arrangement) -> str:
    quarters = 240.0 * arrangement.whole_notes_per_second
    source = "the usual one for its type" if arrangement.tempo_is_default else "as written"
    instrument = arrangement.instrument
    return (
        f"{instrument.title}, {instrument.tuning_name}; {quarters:.0f} quarter notes a minute "
        f"({source}); cost {arrangement.difficulty:.2f} a second"
    )


def _fingering_lines(arrangement: Arrangement, first: int, last: int) -> Iterator[str]:
    yield from reasons_as_text(explain_bars(arrangement, first, last))
    if arrangement.other_ways:
        yield "other ways through these bars, with what they cost more:"
        yield from other_ways_as_text(arrangement)
