"""Practice recordings: the folder's tunes as sound files, or one of them at the loudspeaker.

Each tune is solved and played by a worker process and written whole as soon as it is done, in
order; no more of them wait than there are workers, so that memory does not grow with the folder.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tunebook.errors import InputError, Message, SettingError, SourcePlace, TunebookError
from tunebook.files import check_writable, write_whole
from tunebook.model.arrangement import Arrangement
from tunebook.model.choices import (
    REPEATS,
    SOUND_FORMATS,
    SOUND_PARTS,
    SoundPart,
    one_of,
)
from tunebook.model.sound import (
    HIGHEST_PITCH_HZ,
    LOWEST_PITCH_HZ,
    MOST_TIMES,
    QUICKEST,
    SLOWEST,
    SoundChoice,
    SoundOrder,
)
from tunebook.model.tune import Tune, pitch_name
from tunebook.pipeline.explain import find_tune, read_bars
from tunebook.pipeline.export import ExportReport, check_output_folder
from tunebook.pipeline.load import (
    Progress,
    Setup,
    gather_messages,
    load,
    no_progress,
    read_files,
)
from tunebook.pipeline.order import tune_identity
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.workers import LONGEST_WAIT_S, Workers, count_of_jobs
from tunebook.read.settings.profile import midi_of
from tunebook.write.file_names import recording_names

MELODY_AND_BESIDE: tuple[SoundPart, ...] = ("melody", "drone", "second")
ACCOMPANIMENT: tuple[SoundPart, ...] = ("chords", "bass")
LOWEST_DRONE, HIGHEST_DRONE = 36, 88
DRONES_TRIED = 3


@dataclass(frozen=True, slots=True)
class SoundWishes:
    """What the command line asks of a recording, as text; None means the usual."""

    parts: str | None = None
    drone: str | None = None
    speed: float | None = None
    count_in: bool = False
    repeats: str | None = None
    loop: str | None = None
    times: int | None = None
    first_speed: float | None = None
    last_speed: float | None = None
    tuning_pitch: float | None = None
    format: str | None = None


_OPTIONS = {
    "speed": "--speed", "count_in": "--count-in", "repeats": "--repeats", "loop": "--loop",
    "times": "--times", "first_speed": "--from", "last_speed": "--to with a number",
    "tuning_pitch": "--tuning-pitch", "format": "--format",
}  # fmt: skip


def check_are_for_sound(kind: str, wishes: SoundWishes) -> None:
    """Raise SettingError when something is asked for that only ``--to sound`` can give."""
    for name, option in _OPTIONS.items():
        if kind != "sound" and getattr(wishes, name) not in (None, False):
            raise SettingError(f"{option} is for --to sound", "leave it out, or write sound")


def kind_and_last_speed(texts: Sequence[str]) -> tuple[str, float | None]:
    """What the options ``--to`` say: a kind of export, and the last speed of a passage. Raises
    SettingError when they are not one kind and at most one number."""
    kinds = [text for text in texts if not _is_number(text)]
    speeds = [float(text) for text in texts if _is_number(text)]
    if len(kinds) != 1 or len(speeds) > 1:
        remedy = "write --to sound, and for a passage one number more, as --to 1.0"
        raise SettingError(f"--to {' --to '.join(texts)} cannot be read", remedy)
    return kinds[0], speeds[0] if speeds else None


def _is_number(text: str) -> bool:
    return re.fullmatch(r"-?\d{1,6}(\.\d{1,9})?", text) is not None


def sound_order(wishes: SoundWishes, setup: Setup) -> tuple[SoundOrder, SoundChoice]:
    """Return what is to be heard, and how. Raises SettingError for what cannot be."""
    drone = None if wishes.drone is None else _drone(wishes.drone)
    for name in ("times", "first_speed", "last_speed"):
        if wishes.loop is None and getattr(wishes, name) is not None:
            raise SettingError(f"{_OPTIONS[name]} wants a passage", "name its bars, as --loop 9-12")
    if wishes.first_speed is not None and wishes.speed is not None:
        raise SettingError("--speed and --from are both given", "leave one of them out")
    if wishes.times is not None and not 1 <= wishes.times <= MOST_TIMES:
        raise SettingError(f"--times is {wishes.times}", f"give 1 to {MOST_TIMES}")
    order = SoundOrder(
        parts=_parts(wishes.parts, setup, drone),
        speed=_speed("--speed", wishes.speed) or _speed("--from", wishes.first_speed) or 1.0,
        has_count_in=wishes.count_in,
        repeats=one_of(REPEATS, wishes.repeats or "as-written", "--repeats"),
        loop=None if wishes.loop is None else read_bars(wishes.loop),
        times=wishes.times or 1,
        last_speed=_speed("--to", wishes.last_speed),
        drone=drone,
    )
    choice = setup.book.sound
    if wishes.tuning_pitch is not None:
        if not LOWEST_PITCH_HZ <= wishes.tuning_pitch <= HIGHEST_PITCH_HZ:
            raise SettingError(
                f"--tuning-pitch is {wishes.tuning_pitch:g}",
                f"give the pitch of A4 in Hz, {LOWEST_PITCH_HZ:g} to {HIGHEST_PITCH_HZ:g}",
            )
        choice = replace(choice, tuning_pitch_hz=wishes.tuning_pitch)
    if wishes.format is not None:
        choice = replace(choice, format=one_of(SOUND_FORMATS, wishes.format, "--format"))
    return order, choice


def _speed(option: str, value: float | None) -> float | None:
    if value is not None and not SLOWEST <= value <= QUICKEST:
        remedy = f"give a share of the tune's own speed, {SLOWEST:g} to {QUICKEST:g}"
        raise SettingError(f"{option} is {value:g}", remedy)
    return value


def _drone(name: str) -> int:
    midi = midi_of(name)
    if not LOWEST_DRONE <= midi <= HIGHEST_DRONE:
        lowest, highest = pitch_name(LOWEST_DRONE), pitch_name(HIGHEST_DRONE)
        raise SettingError(f"no such drone: {name!r}", f"choose {lowest} to {highest}")
    return midi


def _parts(text: str | None, setup: Setup, drone: int | None) -> tuple[SoundPart, ...]:
    """The parts asked for; else melody, drone, second voice and accompaniment, as far as they are
    printed."""
    printed = (*MELODY_AND_BESIDE, *(ACCOMPANIMENT if setup.edition.shows_accompaniment else ()))
    names = printed if text is None else [one.strip() for one in text.split(",")]
    parts = [one_of(SOUND_PARTS, name, "part") for name in names]
    if drone is not None:
        parts.append("drone")
    if set(parts) <= set(ACCOMPANIMENT) and setup.edition.chords == "none":
        remedy = "choose another edition or other parts"
        raise SettingError(f"the edition {setup.edition.name!r} has no chords", remedy)
    return tuple(dict.fromkeys(parts))


def export_sounds(
    setup: Setup,
    wishes: SoundWishes,
    output: Path,
    *,
    jobs: int | None = None,
    on_progress: Progress = no_progress,
) -> ExportReport:
    """Write a recording of each tune of the folder into the folder ``output``.

    Raises SettingError for wishes that cannot be met, InputError when there is nothing to play,
    ProgramError when the library for the format is missing, OutputError when something cannot be
    written; what was written until then is whole.
    """
    from tunebook.write.sound.files import check_library

    files = read_files(setup)
    order, choice = sound_order(wishes, setup)
    check_output_folder(output, "sound")
    check_library(choice.format)
    loaded = load(setup, files)
    paths = [output / name for name in recording_names(loaded.tunes, choice.format)]
    for path in paths:
        check_writable(path, setup.read)
    bare = with_accompaniment(replace(setup, messages=()), order)
    work = [(tune, bare, order, choice, _wants_voices(wishes)) for tune in loaded.tunes]
    said: list[Message] = []
    written = 0
    recorded = zip(loaded.tunes, paths, _recorded(work, count_of_jobs(jobs)), strict=True)
    for done, (tune, path, (data, messages)) in enumerate(recorded, start=1):
        said += messages
        if data is not None:
            write_whole(path, data, read=setup.read)
            written += 1
        on_progress("recording", tune.title, done, len(work))
    messages = gather_messages(setup, loaded.messages, sorted(said))
    left_out = tuple(message for message in messages if message.is_fatal)
    if not written:
        what = f"no tune could be played (first reason: {left_out[0]})"
        raise InputError(what, "mend what is named there", SourcePlace(str(setup.folder)))
    return ExportReport(output, written, written, messages, left_out)


def _recorded(
    work: list[tuple[Any, ...]], jobs: int
) -> Iterator[tuple[bytes | None, tuple[Message, ...]]]:
    """One tune at a time for each worker: a recording is large, and takes seconds."""
    if jobs <= 1 or len(work) < 2:
        for arguments in work:
            yield record_tune(*arguments)
        return
    jobs = min(jobs, len(work))
    with Workers(jobs, LONGEST_WAIT_S) as workers:
        yield from workers.map(record_tune, work, a_batch=1, most_waiting=jobs + 1)


def _wants_voices(wishes: SoundWishes) -> bool:
    """Whether second voices are asked for by name, so that they are heard printed or not."""
    return wishes.parts is not None and "second" in wishes.parts


def record_tune(
    tune: Tune, setup: Setup, order: SoundOrder, choice: SoundChoice, with_voices: bool
) -> tuple[bytes | None, tuple[Message, ...]]:
    """Solve and play one tune: the file's bytes, None where it is left out, and what is to be said.
    Runs in a worker process."""
    from tunebook.write.sound.files import encoded
    from tunebook.write.sound.recording import record

    outcome = arrange_tune(tune, setup, with_voices)
    if outcome.arrangement is None:
        return None, outcome.messages
    messages = (*outcome.messages, *outcome.arrangement.messages)
    try:
        data = encoded(record(outcome.arrangement, order, choice), choice.format)
    except InputError as error:
        return None, (*messages, _left_out(tune, error.what, error.remedy))
    except TunebookError:
        raise
    except Exception as error:  # one tune must never stop the others
        what = f"{tune.title!r} could not be played ({type(error).__name__}: {error})"
        return None, (*messages, _left_out(tune, what, "left out; please report it"))
    return data, messages


def _left_out(tune: Tune, what: str, remedy: str) -> Message:
    return Message(tune.place, "sound", what, remedy or "left out", is_fatal=True)


def with_accompaniment(setup: Setup, order: SoundOrder) -> Setup:
    """The setup with an accompaniment solved, printed or not, where it is to be heard."""
    if not set(ACCOMPANIMENT) & set(order.parts):
        return setup
    return replace(setup, edition=replace(setup.edition, shows_accompaniment=True))


def hear_tune(
    setup: Setup, number: str | None, bars: str | None, wishes: SoundWishes, *, drones: bool = False
) -> Iterator[str]:
    """Play one tune, or a passage of it, at the loudspeaker, and yield what is being played; with
    ``drones``, once for each of the best ones, as ``explain --drones`` ranks them.

    Raises SettingError for a tune or bars that are not there, ProgramError where nothing can be
    played.
    """
    from tunebook.write.sound.player import check_player, play
    from tunebook.write.sound.recording import record

    order, choice = sound_order(replace(wishes, loop=bars or wishes.loop), setup)
    check_player()
    tune = find_tune(setup, number)
    outcome = arrange_tune(tune, with_accompaniment(setup, order), _wants_voices(wishes))
    arrangement = outcome.arrangement
    if arrangement is None:
        raise InputError(outcome.messages[-1].what, outcome.messages[-1].remedy, tune.place)
    where = f"{tune_identity(tune)}  {tune.title}" + (f", bars {bars}" if bars else "")
    if not drones:
        recording = record(arrangement, order, choice)
        yield where
        play(recording)
        return
    for label, midi in _drones_to_try(arrangement, order):
        parts = tuple(dict.fromkeys((*order.parts, "drone")))
        recording = record(arrangement, replace(order, parts=parts, drone=midi), choice)
        yield f"{where}; {label}"
        play(recording)


def _drones_to_try(arrangement: Arrangement, order: SoundOrder) -> Iterator[tuple[str, int]]:
    from tunebook.solve.drones.explain import ranked_drones

    first, last = order.loop or (0, 9999)
    best = ranked_drones(arrangement, first, last)[:DRONES_TRIED]
    if not best:
        what = "no open string suits these bars"
        raise SettingError(what, "try one of your own with --drone E4", arrangement.tune.place)
    for rank, stop in enumerate(best, start=1):
        yield f"drone {rank}: {pitch_name(stop.midi)}", stop.midi
