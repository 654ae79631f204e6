"""The closing words of each command: tables and summaries, or JSON for scripts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tunebook.cli.terminal import counted, print_as_json, print_messages, print_table, say, warn

if TYPE_CHECKING:
    from tunebook.model.book import BuildReport
    from tunebook.model.changes import RetuneFacts, TuneChange
    from tunebook.model.learning import LearningTold
    from tunebook.pipeline.ask import AskReport
    from tunebook.pipeline.check import CheckReport
    from tunebook.pipeline.compare import CompareReport
    from tunebook.pipeline.export import ExportReport
    from tunebook.pipeline.learn import LearnReport
    from tunebook.pipeline.watch import Turn

TUNING_CAUTION = (
    "Caution: tune up slowly, with your face away from the strings, as far as the string maker's "
    "chart allows."
)
MOST_TOLD = 3
"""So many habits, questions or messages of learning are told on a terminal."""
STRING_CAUTION = (
    "Caution: a string marked ! gains more than a tenth in tension. Use the string maker's chart, "
    "tune slowly, keep your face away from the strings."
)


def print_check_report(report: CheckReport, as_json: bool, *, with_remarks: bool = False) -> None:
    """Write the table of tunes, then the messages and what was left out; ``with_remarks`` also
    those about voices that sound together."""
    if as_json:
        print_as_json(report)
        return
    print_messages(report.messages)
    columns = (
        "tune",
        "title",
        "key",
        "compass",
        "bars",
        "hardest bar",
        "cost/s",
        "drone",
        "messages",
    )
    rows = [
        (
            row.identity,
            row.title[:34],
            row.key,
            f"{row.lowest}-{row.highest}",
            str(row.bar_count),
            f"{row.hardest_bar or 'upbeat'} ({row.hardest_difficulty:.1f})",
            f"{row.difficulty:.1f}",
            row.drone,
            str(row.message_count or ""),
        )
        for row in report.rows
    ]
    print_table(columns, rows, numeric=(4, 6, 8))
    say()
    if with_remarks:
        say("For the arranger, where voices sound together (much of it may be wanted):")
        for remark in report.remarks:
            say(f"  {remark}")
        say("" if report.remarks else "  nothing to remark")
    say(
        f"{counted(len(rows), 'tune')}, {counted(len(report.left_out), 'left out', '')}, "
        f"{counted(len(report.messages), 'message')}"
    )


def print_build_report(report: BuildReport, as_json: bool) -> None:
    """Write the closing summary: messages, what was left out, where the files are."""
    if as_json:
        print_as_json(report)
        return
    print_messages(report.messages)
    warnings = len(report.messages) - len(report.left_out)
    seconds = sum(spent for _, spent in report.seconds)
    say(
        f"{report.output}: {counted(report.tune_count, 'tune')} on "
        f"{counted(report.pages, 'page')}, {counted(len(report.left_out), 'tune')} left out, "
        f"{counted(warnings, 'warning')}, {seconds:.1f} s"
    )
    for message in report.left_out:
        say(f"left out: {message}")
    if report.booklet:
        say(f"booklet for folding: {report.booklet}")
    if report.sources:
        say(f"LilyPond source: {report.sources}")


MOST_NAMES = 3


def print_turn(turn: Turn) -> None:
    """Write what is new to say, and one line on what was saved and what became of the book."""
    print_messages(turn.messages)
    changed = _some(turn.changed)
    report = turn.report
    if turn.error is not None:
        warn(str(turn.error))
    if report is None:
        say(f"{changed}: the book stays as it was")
        return
    anew = f" ({_some(turn.tunes)})" if turn.tunes else ""
    say(
        f"{changed}{anew}: {report.output}, {counted(report.tune_count, 'tune')} on "
        f"{counted(report.pages, 'page')}, {turn.seconds:.1f} s"
    )


def _some(names: Sequence[str]) -> str:
    """The first few names, and how many more there are."""
    shown = ", ".join(names[:MOST_NAMES])
    more = len(names) - MOST_NAMES
    return f"{shown} and {more} more" if more > 0 else shown


def print_export_report(report: ExportReport) -> None:
    """Write what was exported and what was left out."""
    print_messages(report.messages, "tunebook check --json lists those about the tunes")
    say(
        f"{report.output}: {counted(report.tune_count, 'tune')} in "
        f"{counted(report.file_count, 'file')}, {len(report.left_out)} left out"
    )


def print_retune_report(report: BuildReport, as_json: bool) -> None:
    """Write the closing summary of the build, then what changed: per tune, and the strings."""
    print_build_report(report, as_json)
    if as_json or report.retuning is None:
        return
    facts = report.retuning
    say()
    say(f"{facts.name_before}  ->  {facts.name_after}")
    say()
    columns = ("tune", "title", "moved", "fingers", "crossed", "shifts", "out", "cost/s", "lost")
    rows = [
        (
            tune.identity,
            tune.title[:30],
            str(tune.moved_notes or ""),
            str(tune.refingered_notes or ""),
            "{}>{}".format(*tune.crossed_stops),
            "{}>{}".format(*tune.shifts),
            str(tune.out_of_compass[1] or ""),
            "{:.1f}>{:.1f}".format(*tune.difficulty),
            " ".join((*_keys(tune), *tune.lost_drones, *tune.lost_chords)),
        )
        for tune in facts.tunes
    ]
    print_table(columns, rows, numeric=(2, 3, 4, 5, 6, 7))
    say("moved: notes on another string or key; fingers: notes that only change the finger")
    say("crossed: crossed stops; out: notes now out of compass; cost/s: effort of the left hand")
    say("lost: drones no longer there, chords without root or third (in brackets: another key)")
    _print_gains(facts)
    _print_strings(facts)


def _keys(tune: TuneChange) -> tuple[str, ...]:
    """The keys in which the book had a tune and has it now, where they differ."""
    return tuple(f"({one.name})" for one in tune.keys) if tune.keys else ()


def _print_gains(facts: RetuneFacts) -> None:
    for word, tunes in (("easier", facts.easier(3)), ("harder", facts.harder(3))):
        if tunes:
            names = ", ".join(f"{tune.title} ({tune.difficulty_gained:+.1f})" for tune in tunes)
            say(f"{word}: {names}")


def _print_strings(facts: RetuneFacts) -> None:
    if not facts.strings:
        return
    say()
    rows = [
        (
            str(one.index),
            f"{one.pitch_before} {one.hz_before:.1f} Hz",
            f"{one.pitch_after} {one.hz_after:.1f} Hz",
            f"{one.cents:+.0f}",
            f"{one.tension_percent:+.0f} %{' !' if one.is_risky else ''}",
        )
        for one in facts.strings
    ]
    print_table(("string", "before", "after", "cents", "tension"), rows, numeric=(3,))
    if any(one.is_risky for one in facts.strings):
        say(STRING_CAUTION)


def print_compare_report(report: CompareReport, as_json: bool) -> None:
    """Write difficulty per tune and tuning, the totals, and the easiest keys."""
    if as_json:
        print_as_json(report)
        return
    print_messages(report.messages)
    columns = ["tune", "title", *(f"{name}" for name in report.tunings)]
    rows = []
    for tune in report.tunes:
        cells = [
            f"{one.out_of_compass} out" if one.difficulty is None else f"{one.difficulty:.2f}"
            for one in tune.tunings
        ]
        drones = [f" {one.drone}" if one.drone else "" for one in tune.tunings]
        chords = [
            f" {one.playable_chords}/{one.chord_count}" if one.chord_count else ""
            for one in tune.tunings
        ]
        scores = ["".join(parts) for parts in zip(cells, drones, chords, strict=True)]
        rows.append([tune.identity, tune.title[:30], *scores])
    totals = [f"{mean:.2f}" + (f" ({out} out)" if out else "") for _, mean, out in report.totals]
    rows.append(["", "mean of the tunes that fit", *totals])
    print_table(columns, rows)
    say(
        "cost per second of music (lower is easier), drone, "
        "chords of which a shape has root and third / all chords"
    )
    _print_keys(report)
    _print_sets(report)
    if report.output:
        say(f"report: {report.output}")


def _print_sets(report: CompareReport) -> None:
    rows = [
        (
            one.title[:30],
            "as written" if one.is_as_written else ("kept", "changed")[one.is_reordered],
            str(one.retunings),
            f"{one.difficulty:.2f}",
            str(one.semitones_turned or ""),
            "; ".join(f"{tuning}: {', '.join(titles)}" for tuning, titles in one.by_tuning),
        )
        for one in report.sets
    ]
    if not rows:
        return
    say()
    columns = ("set", "order", "retunings", "cost/s", "semitones", "tunes")
    print_table(columns, rows, numeric=(2, 3, 4))
    say("order: as written, in the tunings that the tunes have; kept or changed, in the best ones")
    say("semitones: by how many strings are turned on the way, in all")
    say(TUNING_CAUTION)


def _print_keys(report: CompareReport) -> None:
    rows = [
        [
            tune.identity,
            tune.title[:30],
            ", ".join(f"{one.key} ({one.semitones:+d}) {one.difficulty:.2f}" for one in tune.keys),
        ]
        for tune in report.tunes
        if tune.keys
    ]
    if rows:
        say()
        print_table(("tune", "title", "easiest keys (semitones), cost per second"), rows)


def print_learn_report(report: LearnReport, told: LearningTold) -> None:
    """Write agreement, habits and questions, a screenful at the most, and where the files are."""
    print_messages(report.messages[:MOST_TOLD])
    _say_how_many_more(len(report.messages), "message", "tunebook check lists those on tunes")
    where = f"in {report.report}" if report.report else "--report REPORT.pdf tells all"
    for line in told.summary:
        say(line)
    habits = told.habits if report.verdict.is_better else ()
    for habit in habits[:MOST_TOLD]:
        changes = f" {'; '.join(habit.changes)}." if habit.changes else ""
        say(f"{habit.sentence} {habit.shows}{changes}")
        for place in habit.places[:1]:
            say(f"    {place}")
    _say_how_many_more(len(habits), "habit", where)
    for line in told.doubts[:MOST_TOLD]:
        say(f"? {line}")
    _say_how_many_more(len(report.doubts), "question", where)
    if report.output:
        say(f"hand file: {report.output}")
    elif report.verdict.is_better:
        say("no hand file was asked for: -o my_hand.toml writes it")
    if report.report:
        say(f"report: {report.report}")


def _say_how_many_more(count: int, what: str, where: str) -> None:
    """Say how many of something are not told here, and where they are."""
    if count > MOST_TOLD:
        say(f"... and {counted(count - MOST_TOLD, f'more {what}')}; {where}")


def print_questions(report: AskReport) -> None:
    """Say where the questions are, and what to do with them."""
    say(f"{report.pages}: {counted(report.count, 'question')}, to be answered in {report.music}")
    if report.count < report.wanted:
        say("There are no more passages whose answer would say much; more tunes would give more.")
    say("Then put that file among your tunes and let learn write a hand: -o my_hand.toml")
