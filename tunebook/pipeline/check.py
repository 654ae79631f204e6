"""Read and solve without engraving: a row a tune, and every message."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from tunebook.errors import Message, SourcePlace
from tunebook.files import FilesRead
from tunebook.model.arrangement import Arrangement, TuneOutcome
from tunebook.model.tune import Tune
from tunebook.model.voices import voice_label
from tunebook.pipeline.kept import (
    Whereabouts,
    content_sum,
    fetch,
    keep,
    moved,
    setup_sum,
    whereabouts,
)
from tunebook.pipeline.kept_scores import with_kept_scores
from tunebook.pipeline.kept_tunes import parts_of_text, reader_with
from tunebook.pipeline.load import (
    Messages,
    Progress,
    Setup,
    each_file,
    gather_messages,
    load,
    no_progress,
    nothing_to_do,
    read_again,
)
from tunebook.pipeline.order import tune_identity
from tunebook.pipeline.outcomes import arrange_tune, messages_of, prepare_tune
from tunebook.pipeline.players import Player, player_of
from tunebook.pipeline.workers import count_of_jobs, map_on_cores
from tunebook.read.abc.tune import TuneText
from tunebook.solve.two_voices import voice_remarks
from tunebook.store import NO_STORE, Store, default_store


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
    """``remarks`` are about voices that sound together, for their arranger; no mistakes."""

    rows: tuple[CheckRow, ...]
    left_out: tuple[Message, ...]
    messages: tuple[Message, ...]
    remarks: tuple[Message, ...] = ()


def check_folder(
    setup: Setup,
    *,
    jobs: int | None = None,
    verify: bool = False,
    voices: bool = False,
    scheduler: str | None = None,
    on_progress: Progress = no_progress,
) -> CheckReport:
    """Return the table and the messages; ``verify`` prices each arrangement independently,
    ``voices`` asks for remarks on how the voices of each tune go together.

    Of each tune its text is held until it is solved, and then its row: a worker reads it anew.
    Rows are kept between runs, but for those that are to be verified.
    """
    store = NO_STORE if verify else default_store()
    files = with_kept_scores(each_file(setup), setup, store, jobs)
    loaded = load(setup, files, holds_music=False, reader=reader_with(store))
    bare = replace(setup, messages=(), read=FilesRead())
    work = [
        (text, tune.tuning, bare, verify, voices)
        for text, tune in zip(loaded.texts, loaded.tunes, strict=True)
    ]
    make = functools.partial(
        map_on_cores, _check_tune, jobs=count_of_jobs(jobs), scheduler=scheduler
    )
    rows: list[CheckRow] = []
    solved = Messages(are_bounded=True)
    verified: list[Message] = []
    remarks: list[Message] = []
    each = zip(loaded.tunes, _each_checked(work, loaded.tunes, setup, store, make), strict=True)
    for done, (tune, (row, said, prices, told)) in enumerate(each, start=1):
        on_progress("arranging", tune.title, done, len(loaded.tunes))
        rows += [row] if row else []
        solved.add(*said)
        verified += prices
        remarks += told
    about = gather_messages(setup, loaded.messages, sorted(solved.kept), verified)
    further = loaded.further + solved.further
    if further:
        what = f"{further} further messages are not shown"
        about += (Message(SourcePlace(str(setup.folder)), "limit", what, "mend those first"),)
    if not rows:
        raise nothing_to_do(setup, about)
    return CheckReport(
        rows=tuple(rows),
        left_out=tuple(message for message in about if message.is_fatal),
        messages=about,
        remarks=gather_messages(replace(setup, messages=()), remarks),
    )


_Work = Sequence[tuple[TuneText, str, Setup, bool, bool]]
_Checked = tuple[CheckRow | None, tuple[Message, ...], list[Message], list[Message]]


def _each_checked(
    work: _Work,
    tunes: Sequence[Tune],
    setup: Setup,
    store: Store,
    make: Callable[[_Work], Iterator[_Checked]],
) -> Iterator[_Checked]:
    """What is found out of each tune: what is kept, moved to where the tune stands now, and else
    what ``make`` gives, which is then kept."""
    places = [whereabouts(tune, setup.book) for tune in tunes]
    keys = _keys(work, setup)
    found = [_fetched(store, *pair) for pair in zip(keys, places, strict=True)]
    missing = [one for one, there in zip(work, found, strict=True) if there is None]
    made = make(missing)
    for key, place, checked in zip(keys, places, found, strict=True):
        if checked is None:
            checked = next(made)
            _keep(store, key, place, checked)
        yield checked
    if missing:
        store.trim()


def _keys(work: _Work, setup: Setup) -> list[str]:
    """The sums of all that each row depends on."""
    common = content_sum("check", setup_sum(setup))
    return [
        content_sum(common, *parts_of_text(text), tuning, voices)
        for text, tuning, _, _, voices in work
    ]


def _keep(store: Store, key: str, here: Whereabouts, checked: _Checked) -> None:
    """Keep what was found out of a tune that could be arranged, with where it stands."""
    if checked[0] is not None:
        keep(store, "solved", key, (here, checked))


def _fetched(store: Store, key: str, here: Whereabouts) -> _Checked | None:
    """What was kept of a tune, with the places where it stands now."""
    kept = fetch(store, "solved", key)
    if kept is None:
        return None
    before, (row, said, prices, told) = kept
    return row, moved(said, before, here), prices, list(moved(told, before, here))


def _check_tune(text: TuneText, tuning: str, setup: Setup, verify: bool, voices: bool) -> _Checked:
    """The row, what is said beyond the reading, faults in the price, and remarks on the voices.
    Runs in a worker."""
    tune = replace(read_again(text, setup), tuning=tuning)
    setup = setup.for_tune(tune)
    outcome = arrange_tune(tune, setup)
    read = set(tune.messages)
    said = tuple(message for message in messages_of([outcome]) if message not in read)
    row = None if outcome.arrangement is None else _row(outcome.arrangement, outcome)
    prices = _verify(outcome) if verify else []
    return row, said, prices, _remarks(tune, setup) if voices else []


def _remarks(tune: Tune, setup: Setup) -> list[Message]:
    """How the further voices of the tune, as it is printed, go with its melody."""
    whole, _ = prepare_tune(tune, replace(setup, edition=replace(setup.edition, voices="both")))
    mine = Player(setup.instrument, setup.hand)
    remarks: list[Message] = []
    for number, voice in enumerate(whole.voices):
        player = player_of(setup.players, whole, number, mine)
        name = f"{tune.title}, {voice_label(voice, number)}"
        remarks += [
            replace(one, what=f"{name}: {one.what}")
            for one in voice_remarks(whole.bars, voice.bars, player.instrument)
        ]
    return remarks


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
    from tunebook.solve.second_opinion.pricing import verify_arrangement

    if outcome.arrangement is None:
        return []
    place = outcome.arrangement.tune.place
    return [
        Message(place, "verify", what, "please report it with the tune")
        for what in verify_arrangement(outcome.arrangement)
    ]
