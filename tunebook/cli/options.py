"""Options that several commands share, with their help texts."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Folder = Annotated[Path, typer.Argument(help="A folder of .abc files or scores, or one file.")]
SettingsFile = Annotated[
    Path | None, typer.Option("--settings", help="Settings other than tunes.toml.")
]
InstrumentName = Annotated[
    str | None, typer.Option("--instrument", help="A profile's name, or a profile file.")
]
Tuning = Annotated[
    str | None, typer.Option("--tuning", help="As CGDA, or C3,G3,D4,A4 from the lowest string.")
]
HandSize = Annotated[
    str | None, typer.Option("--hand", help="small, medium, large, or a hand file (.toml).")
]
EditionName = Annotated[
    str | None,
    typer.Option("--edition", help="player, teacher, student-1, -2, -3, or one of tunes.toml."),
]


def _few_enough(jobs: int | None) -> int | None:
    """Say so when more processes are asked for than are ever begun."""
    from tunebook.cli.terminal import warn
    from tunebook.pipeline.workers import most_jobs

    if jobs is not None and jobs > most_jobs():
        warn(f"--jobs {jobs} is more than helps here; {most_jobs()} at most are used")
    return jobs


Jobs = Annotated[
    int | None,
    typer.Option(
        "--jobs", min=1, callback=_few_enough, help="Worker processes; else one for each core."
    ),
]
Strict = Annotated[bool, typer.Option("--strict", help="Exit with 1 if there is any message.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for scripts.")]
Output = Annotated[Path | None, typer.Option("--output", "-o", help="The PDF to write.")]
NoCache = Annotated[
    bool, typer.Option("--no-cache", help="Engrave everything anew and keep nothing.")
]
KeepSource = Annotated[
    Path | None,
    typer.Option(
        "--keep-source", help="Keep the LilyPond file of every engraved piece in this folder."
    ),
]
Parts = Annotated[
    str | None,
    typer.Option(
        "--parts",
        help="For midi: any of melody,drone,chords,second; for sound also bass,click.",
    ),
]
Drone = Annotated[
    str | None, typer.Option("--drone", help="For midi and sound: try this drone, as E4.")
]
Speed = Annotated[
    float | None,
    typer.Option("--speed", help="For sound: a share of the tune's own speed, as 0.6."),
]
CountIn = Annotated[
    bool, typer.Option("--count-in", help="For sound: count a bar before the music.")
]
RepeatsOption = Annotated[
    str | None, typer.Option("--repeats", help="For sound: as-written or once.")
]
Loop = Annotated[
    str | None, typer.Option("--loop", help="For sound: these bars over and over, as 9-12.")
]
Times = Annotated[int | None, typer.Option("--times", help="With --loop: how often.")]
FirstSpeed = Annotated[
    float | None,
    typer.Option("--from", help="With --loop: the first speed; --to is then the last one too."),
]
TuningPitch = Annotated[
    float | None, typer.Option("--tuning-pitch", help="For sound: A4 in Hz; 440 if left out.")
]
SoundFormatOption = Annotated[
    str | None, typer.Option("--format", help="For sound: flac, wav or ogg.")
]
Watch = Annotated[
    bool, typer.Option("--watch", help="Make the book anew whenever something is saved.")
]
Scheduler = Annotated[
    str | None,
    typer.Option("--scheduler", help="A Dask scheduler (tcp://...); wants tunebook[cluster]."),
]
