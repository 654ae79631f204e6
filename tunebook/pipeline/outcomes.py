"""From tunes to outcomes: what tunes.toml says of a tune done to it, then solved, on all cores.

One tune never stops the others: what cannot be arranged is an outcome with its reason. A voice
beside the melody that cannot be arranged is left out of its tune, with a message.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import replace

from tunebook.errors import InputError, Message, TunebookError
from tunebook.model.arrangement import Arrangement, TuneOutcome, VoiceArrangement
from tunebook.model.book import TuneChoice
from tunebook.model.choices import Drones
from tunebook.model.tune import Tune
from tunebook.model.voices import voice_as_tune, voice_label
from tunebook.pipeline.load import Progress, Setup, no_progress, reading_limits
from tunebook.pipeline.order import tune_identity
from tunebook.pipeline.players import Player, player_of
from tunebook.pipeline.prepare import (
    fit_tune,
    level_message,
    moved_choice,
    prepare_tune,
    prints_voices,
    whole_of,
)
from tunebook.pipeline.workers import map_on_cores
from tunebook.solve.parts import part_of


def arrange_prepared(
    prepared: Tune,
    setup: Setup,
    *,
    alternatives: int = 0,
    other_ways: int = 0,
    bars: tuple[int, int] | None = None,
) -> Arrangement:
    """Solve a tune that is prepared (:func:`prepare_tune`, :func:`fit_tune`), its voices aside: the
    one call for all that is printed, written or explained. The last three ask for other ways
    besides and change nothing of the answer.

    Raises InputError when the tune takes more steps than the settings allow even as it is written.
    """
    from tunebook.solve.arrange import arrange

    edition = setup.edition
    choice = moved_choice(prepared, setup.book.choice(tune_identity(prepared)))
    player = Player(setup.instrument, setup.hand, edition.drones)
    whole = whole_of(prepared)
    if edition.voices == "second" and prepared.voices:
        whole = part_of(prepared)
        player = player_of(setup.players, whole, 0, replace(player, drones="none"))
        choice = _choice_for(player, prepared, choice)
        player = replace(player, drones=_drones_of(prepared, player, setup))
    solve = functools.partial(
        arrange,
        instrument=player.instrument,
        hand=player.hand,
        limits=edition.limits,
        choice=choice,
        drones=player.drones,
        accents="none" if prepared.line.startswith("frame") else edition.accents,
        chords=edition.chords,
        harmony=whole,
        shapes=edition.shows_shapes,
        accompaniment=edition.shows_accompaniment,
        alternatives=alternatives,
        other_ways=other_ways,
        bars=bars,
    )
    return _solved_within(reading_limits(setup).solving_steps, solve, prepared)


def arrange_voice(
    prepared: Tune,
    number: int,
    setup: Setup,
    *,
    alternatives: int = 0,
    other_ways: int = 0,
    bars: tuple[int, int] | None = None,
) -> Arrangement:
    """Solve the voice ``number`` (from 0) beside the melody for the instrument and hand that play
    it. Its chords are the tune's, and left out. Raises as :func:`arrange_prepared` does."""
    from tunebook.solve.arrange import arrange

    whole = whole_of(prepared)
    player = Player(setup.instrument, setup.hand)
    if whole is None:
        player = player_of(setup.players, prepared, number, player)
    tune = voice_as_tune(prepared, prepared.voices[number])
    solve = functools.partial(
        arrange,
        instrument=player.instrument,
        hand=player.hand,
        limits=setup.edition.limits,
        choice=_choice_for(player, tune, setup.book.choice(tune_identity(prepared))),
        drones=_drones_of(tune, player, setup),
        chords="none",
        harmony=whole or prepared,
        alternatives=alternatives,
        other_ways=other_ways,
        bars=bars,
    )
    return _solved_within(reading_limits(setup).solving_steps, solve, tune)


def _drones_of(tune: Tune, player: Player, setup: Setup) -> Drones:
    """The drones that a voice may have: those that its player has unasked, else those pinned in it,
    and none in an edition without drones."""
    is_asked = any(note.drone_pin for bar in tune.bars for note in bar.notes)
    if setup.edition.drones == "none":
        return "none"
    return setup.edition.drones if player.drones == "none" and is_asked else player.drones


def _choice_for(player: Player, tune: Tune, choice: TuneChoice | None) -> TuneChoice:
    """What is chosen for a tune counts for its melody, but for the tempo. Before the first drone
    that is pinned in a voice whose player has none unasked, there is none."""
    drone = "none" if player.drones == "none" else None
    tempo = choice.tempo if choice else None
    return TuneChoice(tune_identity(tune), drone=drone, tempo=tempo)


def _with_voices(arrangement: Arrangement, setup: Setup) -> Arrangement:
    """The arrangement with its tune's further voices, and what there is to be said of them."""
    tune = arrangement.tune
    voices: list[VoiceArrangement] = []
    messages: list[Message] = []
    for number, voice in enumerate(tune.voices):
        name = f"{voice_label(voice, number)} of {tune.title!r}"
        try:
            found = arrange_voice(tune, number, setup)
        except TunebookError as error:
            remedy = f"the voice is left out; {error.remedy}".rstrip("; ")
            messages.append(Message(voice.place, "arranging", f"{name}: {error.what}", remedy))
            continue
        voices.append(VoiceArrangement(voice, found))
        messages += [replace(one, what=f"{name}: {one.what}") for one in found.messages]
    return replace(arrangement, voices=tuple(voices), messages=(*arrangement.messages, *messages))


def arrange_tune(tune: Tune, setup: Setup, with_voices: bool = False) -> TuneOutcome:
    """Solve one tune, the voices beside its melody too where the edition prints them or
    ``with_voices``. A tune that cannot be arranged gives an outcome with the reason."""
    setup = setup.for_tune(tune)
    try:
        prepared, messages = prepare_tune(tune, setup)
        fitted = fit_tune(prepared, setup)
        if fitted.beyond is not None:
            said = level_message(tune, fitted.beyond, setup.edition.name)
            return TuneOutcome(tune, None, (*messages, said), fitted.beyond)
        messages += fitted.messages
        arrangement = arrange_prepared(fitted.tune, setup)
        if fitted.tune.voices and (with_voices or prints_voices(fitted.tune, setup.edition)):
            arrangement = _with_voices(arrangement, setup)
    except TunebookError as error:
        return _left_out(tune, error.what, error.remedy)
    except Exception as error:  # one tune must never stop a book of a hundred
        what = f"{tune.title!r} could not be arranged ({type(error).__name__}: {error})"
        return _left_out(tune, what, "left out; please report it with the tune")
    return TuneOutcome(tune, arrangement, messages)


def _solved_within(steps: int, solve: Callable[[Tune], Arrangement], tune: Tune) -> Arrangement:
    """Solve ``tune`` in at most ``steps``, or else in as many as it is written, each bar played
    once, which is said."""
    from tunebook.solve.search.layers import OutOfStepsError, at_most

    with suppress(OutOfStepsError), at_most(steps):
        return solve(tune)
    remedy = "write it shorter, or raise solving_steps under [reading]"
    what = f"{tune.title!r} takes more than {steps} steps to solve"
    with suppress(OutOfStepsError), at_most(steps):
        found = solve(replace(tune, played=tuple(range(len(tune.bars)))))
        what += "; it is solved as written, without its repeats"
        message = Message(tune.place, "limit", what, remedy)
        return replace(found, messages=(message, *found.messages))
    raise InputError(what, f"left out; {remedy}")


def _left_out(tune: Tune, what: str, remedy: str) -> TuneOutcome:
    message = Message(tune.place, "arranging", what, remedy or "left out", is_fatal=True)
    return TuneOutcome(tune, None, (message,))


def arrange_tunes(
    tunes: Iterable[Tune],
    setup: Setup,
    *,
    jobs: int = 1,
    scheduler: str | None = None,
    on_progress: Progress = no_progress,
    with_voices: bool = False,
) -> Iterator[TuneOutcome]:
    """Yield one outcome a tune, in order, solved by ``jobs`` processes or a Dask scheduler; with
    the voices beside the melody as :func:`arrange_tune` has them."""
    tunes = tuple(tunes)
    bare = replace(setup, messages=())
    work = [(tune, bare, with_voices) for tune in tunes]
    outcomes = map_on_cores(arrange_tune, work, jobs=jobs, scheduler=scheduler)
    for done, outcome in enumerate(outcomes, start=1):
        on_progress("arranging", outcome.tune.title if outcome.tune else "", done, len(tunes))
        yield outcome


def built(outcomes: Iterable[TuneOutcome]) -> tuple[Arrangement, ...]:
    """Return the arrangements that were made."""
    return tuple(one.arrangement for one in outcomes if one.arrangement is not None)


def messages_of(outcomes: Iterable[TuneOutcome]) -> tuple[Message, ...]:
    """Return every message about these tunes once, in order of place."""
    found: dict[Message, None] = {}
    for outcome in outcomes:
        reading = outcome.tune.messages if outcome.tune else ()
        solving = outcome.arrangement.messages if outcome.arrangement else ()
        for message in (*reading, *outcome.messages, *solving):
            found.setdefault(message)
    return tuple(sorted(found))
