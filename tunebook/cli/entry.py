"""The command line: options, progress, final messages, exit codes. No music.

Everything heavy is imported inside the command that needs it, so that ``--help`` is quick.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tunebook import __version__
from tunebook.cli.ends import run
from tunebook.cli.learning import learn
from tunebook.cli.options import (
    AsJson,
    CountIn,
    Drone,
    EditionName,
    FirstSpeed,
    Folder,
    HandSize,
    InstrumentName,
    Jobs,
    KeepSource,
    Loop,
    NoCache,
    Output,
    Parts,
    RepeatsOption,
    Scheduler,
    SettingsFile,
    SoundFormatOption,
    Speed,
    Strict,
    Times,
    Tuning,
    TuningPitch,
    Watch,
)
from tunebook.cli.terminal import say, warn
from tunebook.errors import EXIT_NOTHING_BUILT, EXIT_STRICT, Message, SettingError

if TYPE_CHECKING:
    from tunebook.pipeline.load import BuildOrder, Setup, Wishes

app = typer.Typer(
    name="tunebook",
    help="Fingered tune books for the nyckelharpa and other bowed strings, from ABC tunes.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _setup(
    folder: Path,
    settings: Path | None = None,
    instrument: str | None = None,
    tuning: str | None = None,
    hand: str | None = None,
    edition: str | None = None,
) -> Setup:
    from tunebook.pipeline.load import Wishes, prepare

    return prepare(folder, Wishes(settings, instrument, tuning, hand, edition))


def _finish(messages: Sequence[Message], built: int, strict: bool) -> None:
    """Choose the exit code: nothing built, messages under --strict, or all is well. What an
    edition's level leaves out is as it was asked for."""
    if built == 0:
        raise typer.Exit(EXIT_NOTHING_BUILT)
    if strict and any(message.kind != "level" for message in messages):
        raise typer.Exit(EXIT_STRICT)


@app.command()
def build(
    folder: Folder,
    output: Output = None,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    tuning: Tuning = None,
    hand: HandSize = None,
    keep_source: KeepSource = None,
    jobs: Jobs = None,
    strict: Strict = False,
    no_cache: NoCache = False,
    as_json: AsJson = False,
    scheduler: Scheduler = None,
    watch: Watch = False,
) -> None:
    """Make the tune book: read, solve, engrave, paginate."""
    from tunebook.cli.reports import print_build_report
    from tunebook.cli.terminal import ProgressLine
    from tunebook.pipeline.build import build
    from tunebook.pipeline.load import BuildOrder, Wishes

    order = BuildOrder(output, keep_source, jobs, not no_cache, scheduler)
    if watch and (as_json or strict):
        raise SettingError("--watch goes on and reports no end", "leave out --json and --strict")
    if watch:
        _watch(folder, Wishes(settings, instrument, tuning, hand, edition), order)
        return
    setup = _setup(folder, settings, instrument, tuning, hand, edition)
    with ProgressLine(as_json) as progress:
        report = build(setup, order, progress)
    print_build_report(report, as_json)
    _finish(report.messages, report.tune_count, strict)


def _watch(folder: Path, wishes: Wishes, order: BuildOrder) -> None:
    """Make the book anew after each change until an interrupt."""
    from tunebook.cli.reports import print_build_report, print_turn
    from tunebook.cli.terminal import ProgressLine
    from tunebook.pipeline.watch import watch_book

    with ProgressLine() as progress:
        turns = watch_book(folder, wishes, order, progress)
        first = next(turns)
    if first.report is not None:
        print_build_report(first.report, as_json=False)
    # Whatever is under way then, the book is whole: this is how one ends it.
    with suppress(KeyboardInterrupt):
        say(f"waiting for changes in {folder}; Ctrl-C ends it")
        sys.stdout.flush()
        for turn in turns:
            print_turn(turn)
            sys.stdout.flush()


@app.command()
def check(
    folder: Folder,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    tuning: Tuning = None,
    hand: HandSize = None,
    jobs: Jobs = None,
    strict: Strict = False,
    verify: Annotated[
        bool, typer.Option("--verify", help="Price every fingering again, independently.")
    ] = False,
    voices: Annotated[
        bool, typer.Option("--voices", help="Remarks on how second voices go with the melody.")
    ] = False,
    as_json: AsJson = False,
    scheduler: Scheduler = None,
) -> None:
    """Read and solve without engraving; print a table and every message."""
    from tunebook.cli.reports import print_check_report
    from tunebook.cli.terminal import ProgressLine
    from tunebook.pipeline.check import check_folder

    setup = _setup(folder, settings, instrument, tuning, hand, edition)
    with ProgressLine(as_json) as progress:
        report = check_folder(
            setup,
            jobs=jobs,
            verify=verify,
            voices=voices,
            scheduler=scheduler,
            on_progress=progress,
        )
    print_check_report(report, as_json, with_remarks=voices)
    _finish(report.messages, len(report.rows), strict)


@app.command()
def explain(
    file: Annotated[Path, typer.Argument(help="An ABC file.")],
    tune: Annotated[str | None, typer.Option("--tune", help="The tune's X: number.")] = None,
    bars: Annotated[str | None, typer.Option("--bars", help="As 3-6, or 3.")] = None,
    chords: Annotated[bool, typer.Option("--chords", help="The chords and their rivals.")] = False,
    drones: Annotated[bool, typer.Option("--drones", help="The drones, ranked.")] = False,
    voice: Annotated[
        str | None, typer.Option("--voice", help="A voice beside the melody, as 2 or its name.")
    ] = None,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    tuning: Tuning = None,
    hand: HandSize = None,
) -> None:
    """Say why each note is fingered as it is, and what else would do."""
    from tunebook.pipeline.explain import ExplainOrder, explain_tune

    setup = _setup(file, settings, instrument, tuning, hand, edition)
    for line in explain_tune(setup, ExplainOrder(tune, bars, chords, drones, voice)):
        say(line)


@app.command()
def export(
    folder: Folder,
    to: Annotated[list[str], typer.Option("--to", help="json, midi, abc, musicxml, ly or sound.")],
    output: Annotated[Path, typer.Option("--output", "-o", help="A file for json; else a folder.")],
    parts: Parts = None,
    grace_notes: Annotated[
        bool, typer.Option("--grace-notes", help="For midi: play grace notes too.")
    ] = False,
    drone: Drone = None,
    quarter_tones: Annotated[
        bool, typer.Option("--quarter-tones", help="For midi: bend the pitch of quarter-tones.")
    ] = False,
    speed: Speed = None,
    count_in: CountIn = False,
    repeats: RepeatsOption = None,
    loop: Loop = None,
    times: Times = None,
    first_speed: FirstSpeed = None,
    tuning_pitch: TuningPitch = None,
    sound_format: SoundFormatOption = None,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    tuning: Tuning = None,
    hand: HandSize = None,
    jobs: Jobs = None,
    strict: Strict = False,
) -> None:
    """Write the arranged tunes for other programs."""
    from tunebook.cli.reports import print_export_report
    from tunebook.cli.terminal import ProgressLine
    from tunebook.pipeline.export import ExportOrder, check_export_kind, export_folder
    from tunebook.pipeline.sound import (
        SoundWishes,
        check_are_for_sound,
        export_sounds,
        kind_and_last_speed,
    )

    kind, last_speed = kind_and_last_speed(to)
    wishes = SoundWishes(
        parts=parts,
        drone=drone,
        speed=speed,
        count_in=count_in,
        repeats=repeats,
        loop=loop,
        times=times,
        first_speed=first_speed,
        last_speed=last_speed,
        tuning_pitch=tuning_pitch,
        format=sound_format,
    )
    check_are_for_sound(kind, wishes)
    setup = _setup(folder, settings, instrument, tuning, hand, edition)
    if kind == "sound":
        with ProgressLine() as progress:
            report = export_sounds(setup, wishes, output, jobs=jobs, on_progress=progress)
        print_export_report(report)
        _finish(report.messages, report.tune_count, strict)
        return
    order = ExportOrder(
        kind=check_export_kind(kind),
        output=output,
        parts=tuple((parts or "melody,second").split(",")),
        with_grace_notes=grace_notes,
        drone=drone,
        jobs=jobs,
        quarter_tones=quarter_tones,
    )
    with ProgressLine() as progress:
        report = export_folder(setup, order, progress)
    print_export_report(report)
    _finish(report.messages, report.tune_count, strict)


@app.command()
def hear(
    file: Annotated[Path, typer.Argument(help="An ABC file.")],
    tune: Annotated[str | None, typer.Option("--tune", help="The tune's X: number.")] = None,
    bars: Annotated[str | None, typer.Option("--bars", help="As 3-6, or 3.")] = None,
    drones: Annotated[
        bool, typer.Option("--drones", help="With each of the three best drones in turn.")
    ] = False,
    parts: Annotated[
        str | None,
        typer.Option("--parts", help="Any of melody,drone,second,chords,bass,click."),
    ] = None,
    drone: Annotated[str | None, typer.Option("--drone", help="Try this drone, as E4.")] = None,
    speed: Annotated[
        float | None, typer.Option("--speed", help="A share of the tune's own speed, as 0.6.")
    ] = None,
    count_in: Annotated[bool, typer.Option("--count-in", help="Count a bar first.")] = False,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    tuning: Tuning = None,
    hand: HandSize = None,
) -> None:
    """Play a tune or some bars of it at once; wants tunebook[hear]."""
    from tunebook.pipeline.sound import SoundWishes, hear_tune

    setup = _setup(file, settings, instrument, tuning, hand, edition)
    wishes = SoundWishes(parts=parts, drone=drone, speed=speed, count_in=count_in)
    for line in hear_tune(setup, tune, bars, wishes, drones=drones):
        say(line)


@app.command()
def retune(
    folder: Folder,
    to: Annotated[str | None, typer.Option("--to", help="The new tuning, as CGCA.")] = None,
    to_instrument: Annotated[
        str | None, typer.Option("--to-instrument", help="Another profile instead.")
    ] = None,
    to_hand: Annotated[str | None, typer.Option("--to-hand", help="Another hand.")] = None,
    output: Output = None,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    tuning: Tuning = None,
    hand: HandSize = None,
    keep_source: KeepSource = None,
    jobs: Jobs = None,
    strict: Strict = False,
    no_cache: NoCache = False,
    as_json: AsJson = False,
) -> None:
    """Make the book anew for another tuning, instrument or hand, and show what changed."""
    from tunebook.cli.reports import print_retune_report
    from tunebook.cli.terminal import ProgressLine
    from tunebook.pipeline.build import retune_book
    from tunebook.pipeline.load import BuildOrder, Wishes, prepare_all

    before, after = prepare_all(
        folder,
        (
            Wishes(settings, instrument, tuning, hand, edition),
            Wishes(settings, to_instrument or instrument, to or tuning, to_hand or hand, edition),
        ),
    )
    order = BuildOrder(output, keep_source, jobs, not no_cache, None)
    with ProgressLine(as_json) as progress:
        report = retune_book(before, after, order, progress)
    print_retune_report(report, as_json)
    _finish(report.messages, report.tune_count, strict)


@app.command()
def compare(
    folder: Folder,
    tunings: Annotated[str | None, typer.Option("--tunings", help="As CGDA,CGCA,DGDA.")] = None,
    keys: Annotated[
        bool, typer.Option("--keys", help="The easiest transpositions of each tune.")
    ] = False,
    within: Annotated[
        int, typer.Option("--within", min=1, max=12, help="For --keys: semitones up or down.")
    ] = 5,
    sets: Annotated[
        bool,
        typer.Option("--sets", help="The tunings and orders of each set, by retunings and ease."),
    ] = False,
    output: Output = None,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    hand: HandSize = None,
    jobs: Jobs = None,
    as_json: AsJson = False,
) -> None:
    """Say which tuning suits the tunes, or which keys suit the instrument."""
    from tunebook.cli.reports import print_compare_report
    from tunebook.cli.terminal import ProgressLine
    from tunebook.pipeline.compare import CompareOrder, compare_folder

    setup = _setup(folder, settings, instrument, None, hand, edition)
    order = CompareOrder(
        tunings=tunings, keys=keys, within=within, output=output, jobs=jobs, sets=sets
    )
    with ProgressLine(as_json) as progress:
        report = compare_folder(setup, order, progress)
    print_compare_report(report, as_json)
    _finish(report.messages, report.tune_count, False)


app.command()(learn)


@app.command()
def instrument(
    name: Annotated[str, typer.Argument(help="A profile's name or file.")] = "nyckelharpa-3row",
    tuning: Tuning = None,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", help="Draw it into this PDF.")
    ] = None,
    as_profile: Annotated[
        bool, typer.Option("--profile", help="Print a profile file to start your own from.")
    ] = False,
) -> None:
    """Show an instrument profile as text, as a drawing, or as a file to fill in."""
    from tunebook.pipeline.start import show_instrument

    for line in show_instrument(name, tuning, output, as_profile):
        say(line, most=None)


@app.command()
def unpack(
    book: Annotated[Path, typer.Argument(help="The PDF of a book made with attach = true.")],
    output: Annotated[
        Path | None, typer.Option("--output", "-o", help="A folder; the book's name if left out.")
    ] = None,
) -> None:
    """Get the tunes and settings out of a book again; nothing is written over."""
    from tunebook.cli.terminal import counted
    from tunebook.pipeline.unpack import unpack_book

    report = unpack_book(book, output)
    for name in report.passed_over:
        say(f"passed over: {name}")
    say(f"{report.folder}: {counted(len(report.files), 'file')} unpacked")


@app.command()
def cache(
    what: Annotated[str, typer.Argument(help="show or clear.")] = "show",
) -> None:
    """Show or clear the engraved music kept from earlier runs."""
    from tunebook.pipeline.cache import clear_cache, describe_cache

    if what not in ("show", "clear"):
        raise SettingError(f"cache cannot {what!r}", "write show or clear")
    say(clear_cache() if what == "clear" else describe_cache())


@app.command("settings")
def new_settings(folder: Annotated[Path, typer.Argument(help="A folder of tunes.")]) -> None:
    """Write a commented tunes.toml for the folder's tunes; never overwrites one."""
    from tunebook.pipeline.start import write_settings

    say(f"written: {write_settings(folder)}")


def _print_version(is_wanted: bool) -> None:
    if is_wanted:
        say(f"tunebook {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print the version."
        ),
    ] = False,
) -> None:
    """Fingered tune books for the nyckelharpa and other bowed strings, from ABC tunes."""


def command() -> int | None:
    """Read the command line and do what it says; the exit code. Raises what the stages raise."""
    try:
        return app(standalone_mode=False)
    except Exception as error:
        # The option parser's own errors, whose module is not the same in all of its versions.
        show, code = getattr(error, "show", None), getattr(error, "exit_code", None)
        if show is None or not isinstance(code, int):
            raise
        text = io.StringIO()
        show(file=text)
        for line in text.getvalue().rstrip("\n").split("\n"):
            warn(line)
        return code


def main() -> None:
    """Run the command and end the process, as ``python -m tunebook`` does."""
    sys.exit(run(command))
