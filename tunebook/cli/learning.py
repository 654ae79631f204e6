"""The command that learns a player's hand."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tunebook.cli.options import (
    EditionName,
    Folder,
    HandSize,
    InstrumentName,
    Jobs,
    SettingsFile,
    Strict,
    Tuning,
)
from tunebook.errors import EXIT_NOTHING_BUILT, EXIT_STRICT


def learn(
    folder: Folder,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", help="The hand file to write; with --ask, the PDF."),
    ] = None,
    report: Annotated[
        Path | None, typer.Option("--report", help="Tell in this PDF what was learnt.")
    ] = None,
    from_pins: Annotated[
        bool, typer.Option("--from-pins", help="Let the pins of tunes.toml count too.")
    ] = False,
    ask: Annotated[
        int | None,
        typer.Option("--ask", min=1, max=50, help="Write so many questions instead of learning."),
    ] = None,
    edition: EditionName = None,
    settings: SettingsFile = None,
    instrument: InstrumentName = None,
    tuning: Tuning = None,
    hand: HandSize = None,
    jobs: Jobs = None,
    strict: Strict = False,
) -> None:
    """Learn a player's hand from tunes that she has fingered, and write a hand file."""
    from tunebook.cli.reports import print_learn_report, print_questions
    from tunebook.cli.terminal import ProgressLine
    from tunebook.pipeline.learn import LearnOrder, ask_player, in_english, learn_hand
    from tunebook.pipeline.load import Wishes, prepare

    wishes = Wishes(settings, instrument, tuning, hand, edition, reads_hand_file=False)
    order = LearnOrder(output, report, from_pins, jobs)
    setup = prepare(folder, wishes)
    if ask is not None:
        with ProgressLine() as progress:
            asked = ask_player(setup, order, ask, progress)
        print_questions(asked)
        return
    with ProgressLine() as progress:
        found = learn_hand(setup, order, progress)
    print_learn_report(found, in_english(found, setup))
    if not (found.verdict.is_better or found.verdict.is_alike):
        raise typer.Exit(EXIT_NOTHING_BUILT)
    if strict and found.messages:
        raise typer.Exit(EXIT_STRICT)
