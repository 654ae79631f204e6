"""Write arranged tunes for other programs: JSON, MIDI, ABC, MusicXML, LilyPond source."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from tunebook.errors import Message, SettingError, TunebookError
from tunebook.files import FilesRead, check_writable, check_writable_folder, write_whole
from tunebook.model.arrangement import Arrangement
from tunebook.model.choices import EXPORT_KINDS, ExportKind
from tunebook.pipeline.fingered_abc import fingered_file, has_voices
from tunebook.pipeline.load import (
    Progress,
    Setup,
    gather_messages,
    load,
    no_progress,
    nothing_to_do,
    read_files,
    reading_limits,
)
from tunebook.pipeline.outcomes import arrange_tunes, built, messages_of
from tunebook.pipeline.prepare import edition_of
from tunebook.pipeline.sources import line_width_pt, unwritable
from tunebook.pipeline.workers import count_of_jobs
from tunebook.read.abc.text import as_utf8
from tunebook.read.folder import AbcFile, with_scores_as_abc
from tunebook.read.spots import is_score
from tunebook.solve.parts import part_of
from tunebook.write.file_names import distinct_names, tune_file_names

ENDINGS = {"midi": "mid", "musicxml": "musicxml", "ly": "ly"}
_FILE_ENDINGS = (
    ".mid", ".midi", ".abc", ".xml", ".musicxml", ".ly", ".json", ".flac", ".wav", ".ogg"
)  # fmt: skip
PARTS = ("melody", "drone", "chords", "second")


@dataclass(frozen=True, slots=True)
class ExportOrder:
    """What to write. ``drone`` is a pitch name to hold throughout the MIDI instead."""

    kind: ExportKind
    output: Path
    parts: tuple[str, ...] = ("melody", "second")
    with_grace_notes: bool = False
    drone: str | None = None
    jobs: int | None = None
    quarter_tones: bool = False


@dataclass(frozen=True, slots=True)
class ExportReport:
    output: Path
    tune_count: int
    file_count: int
    messages: tuple[Message, ...]
    left_out: tuple[Message, ...]


def export_folder(
    setup: Setup, order: ExportOrder, on_progress: Progress = no_progress
) -> ExportReport:
    """Write the folder's tunes as ``order`` asks.

    Raises SettingError for an unknown kind, part or drone, InputError when there is no tune,
    OutputError when something cannot be written.
    """
    files = read_files(setup)
    _check(order, setup.read)
    files = tuple(with_scores_as_abc(files, reading_limits(setup)))
    loaded = load(setup, files)
    jobs = count_of_jobs(order.jobs)
    with_voices = order.kind in ("json", "abc", "musicxml") and has_voices(setup)
    outcomes = tuple(
        arrange_tunes(
            loaded.tunes, setup, jobs=jobs, on_progress=on_progress, with_voices=with_voices
        )
    )
    arrangements = built(outcomes)
    messages = gather_messages(setup, loaded.messages, messages_of(outcomes))
    if not arrangements:
        raise nothing_to_do(setup, messages)
    bytes_by_name = {one.name: one.data for one in files if isinstance(one, AbcFile)}
    written, said = _files(arrangements, setup, order, bytes_by_name)
    messages = gather_messages(setup, messages, said)
    # All are looked at before the first is written.
    for path in written:
        check_writable(path, setup.read)
    for path, content in written.items():
        write_whole(path, content, read=setup.read)
    return ExportReport(
        order.output,
        len(arrangements) - sum(message.kind == "writing" for message in said),
        len(written),
        messages,
        tuple(message for message in messages if message.is_fatal),
    )


def check_export_kind(name: str) -> ExportKind:
    """The kind of export of this name. Raises SettingError when there is none."""
    if name not in EXPORT_KINDS:
        raise SettingError(f"cannot export to {name!r}", "known are " + ", ".join(EXPORT_KINDS))
    return name


def _check(order: ExportOrder, read: FilesRead) -> None:
    check_export_kind(order.kind)
    unknown = [part for part in order.parts if part not in PARTS]
    if unknown:
        raise SettingError(f"no part {unknown[0]!r}", "known are " + ", ".join(PARTS))
    if order.kind == "json":
        check_writable(order.output, read)
    else:
        check_output_folder(order.output, order.kind)


def check_output_folder(output: Path, kind: ExportKind) -> None:
    """Raise SettingError or OutputError when files of this kind cannot go into ``output``."""
    if os.path.isfile(output) or output.suffix.lower() in _FILE_ENDINGS:
        raise SettingError(f"{output} would be a file", f"name a folder for the {kind} files")
    check_writable_folder(output)


def _files(
    arrangements: tuple[Arrangement, ...],
    setup: Setup,
    order: ExportOrder,
    bytes_by_name: dict[str, bytes],
) -> tuple[dict[Path, bytes], tuple[Message, ...]]:
    """Return the content of every file to write, by path, and what could not be written."""
    if order.kind == "json":
        from tunebook.write.json import arrangements_as_json

        return {order.output: arrangements_as_json(arrangements, setup.instrument).encode()}, ()
    if order.kind == "abc":
        return _abc_files(arrangements, setup, order, bytes_by_name)
    names = tune_file_names([one.tune for one in arrangements], ENDINGS[order.kind])
    write = _writer(setup, order)
    files: dict[Path, bytes] = {}
    said: list[Message] = []
    for name, one in zip(names, arrangements, strict=True):
        try:
            files[order.output / name] = write(one)
        except TunebookError:
            raise
        except Exception as error:  # one tune must never stop the others
            said.append(unwritable(one.tune, error))
    return files, tuple(said)


def _writer(setup: Setup, order: ExportOrder) -> Callable[[Arrangement], bytes]:
    if order.kind == "midi":
        from tunebook.read.settings.profile import midi_of
        from tunebook.write.midi import tune_as_midi

        drone = None if order.drone is None else midi_of(order.drone)
        parts = order.parts if drone is None else tuple(dict.fromkeys((*order.parts, "drone")))
        return lambda one: tune_as_midi(
            replace(one, tune=part_of(one.tune)) if setup.edition.voices == "second" else one,
            parts=parts,
            with_grace_notes=order.with_grace_notes,
            drone_override=drone,
            quarter_tones=order.quarter_tones,
        )
    if order.kind == "musicxml":
        from tunebook.write.musicxml.score import tune_as_musicxml

        return lambda one: tune_as_musicxml(one).encode("utf-8")
    from tunebook.write.lilypond.source import write_source

    width = line_width_pt(setup)
    language = setup.book.language
    return lambda one: write_source(
        one, edition_of(one.tune, setup.edition), line_width_pt=width, language=language
    ).text.encode("utf-8")


def _abc_name(name: str) -> str:
    """The name of a file as ABC: that of a score with the other ending."""
    return str(PurePosixPath(name).with_suffix(".abc")) if is_score(name) else name


def _abc_files(
    arrangements: tuple[Arrangement, ...],
    setup: Setup,
    order: ExportOrder,
    bytes_by_name: dict[str, bytes],
) -> tuple[dict[Path, bytes], tuple[Message, ...]]:
    by_file: dict[str, list[Arrangement]] = {}
    for one in arrangements:
        by_file.setdefault(one.tune.file, []).append(one)
    files: dict[Path, bytes] = {}
    messages: list[Message] = []
    names = distinct_names(_abc_name(name) for name in by_file)
    for written, (name, group) in zip(names, by_file.items(), strict=True):
        jobs = count_of_jobs(order.jobs)
        data = as_utf8(bytes_by_name[name])
        files[order.output / written], said = fingered_file(data, group, setup, jobs)
        messages += said
    return files, tuple(messages)
