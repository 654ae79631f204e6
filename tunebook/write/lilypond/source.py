"""A piece of LilyPond source of one tune: our blocks, the score, and the opening.

The source holds no title and no comment from the tune. What text it must hold (chord symbols,
words, annotations, string names) goes through :func:`tunebook.write.safe_text.lilypond_string`.
The opening (incipit) is the tune's first two full bars, small and bare, in a book of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from tunebook.model.arrangement import Arrangement, VoiceArrangement
from tunebook.model.book import Edition
from tunebook.model.choices import Language, NoteNames
from tunebook.model.piece import Opening, Piece, Score
from tunebook.model.tune import Bar
from tunebook.write.lilypond.bars import (
    NO_MARKS,
    BarMarks,
    PrintedBars,
    mark_commands,
    print_bars,
)
from tunebook.write.lilypond.layout_blocks import OPENING_STAFF_PT, SIDE_MARGIN_BP, preamble
from tunebook.write.lilypond.leaves import Component, Group, context, printed
from tunebook.write.lilypond.line_breaks import break_lines
from tunebook.write.lilypond.marks import BARE, Shown
from tunebook.write.lilypond.score import MelodyWriter
from tunebook.write.lilypond.slashes import SlashWriter, opening_cue, slashed, strokes
from tunebook.write.lilypond.staves import (
    chord_line,
    chosen_chords,
    drone_line,
    drone_staff,
    drones_shown,
    second_staff,
    word_lines,
)
from tunebook.write.lilypond.voices import (
    CueWriter,
    VoiceWriter,
    beside,
    cue_bars,
    level,
    most_graces,
    put_graces_abreast,
    renamed,
)

FULL_BARS = 2
MOST_NOTES = 24


def write_source(
    arrangement: Arrangement,
    edition: Edition,
    *,
    line_width_pt: float,
    with_opening: bool = False,
    marks: BarMarks = NO_MARKS,
    language: Language = "en",
    note_names: NoteNames = "b",
    is_dense: bool = False,
    pale: frozenset[tuple[int, int]] = frozenset(),
) -> Piece:
    """Return ``arrangement`` as ``edition`` shows it, to be engraved; its ``text`` is the source.

    ``line_width_pt`` is in PDF points (1/72 inch). ``with_opening`` adds the first bars alone (for
    an index of openings). ``marks`` are bars to be marked. ``language`` is that of the book's
    words, en or sv, ``note_names`` one of NOTE_NAMES. ``is_dense`` asks for few lines. ``pale`` are
    notes (bar, note) whose fingers are printed in grey.
    """
    shown = replace(Shown.of_edition(edition, note_names, language), pale=pale)
    is_cue = edition.melody == "cue"
    voices = arrangement.voices if edition.voices == "both" and not is_cue else ()
    bars = level(print_bars(arrangement.tune.bars), [one.voice.bars for one in voices])
    beside_it = [beside(bars, one.voice.bars) for one in voices]
    if edition.voices == "second" and arrangement.tune.voices:
        beside_it = [cue_bars(bars, arrangement.tune.voices[0].bars)]
    has_words = edition.has_words_of(arrangement.tune) and not is_cue
    words = word_lines(bars) if has_words else []
    cue = opening_cue(arrangement, bars, shown) if is_cue else None
    lines = break_lines(
        bars if cue is None else slashed(bars),
        line_width_pt,
        edition.staff_size_pt,
        has_words=bool(words),
        # The small notes of a cue find room over the slashes; what is played needs its own.
        voices=beside_it if cue is None else [strokes(arrangement, bars)],
        is_dense=is_dense or is_cue,
    )
    commands = mark_commands(lines.printed, marks)
    writer = MelodyWriter if cue is None else SlashWriter
    above = writer(arrangement, lines.printed, shown, commands)
    score = printed(_score(above, edition, words, voices, cue))
    return Piece(
        preamble(edition.staff_size_pt, line_width_pt, is_ragged_last=lines.is_ragged_last),
        Score(f"\\score {{\n{_indented(score)}\n  \\layout {{", " }\n}\n"),
        _opening(arrangement, line_width_pt) if with_opening else None,
        lines.bars_per_line,
    )


def _score(
    writer: MelodyWriter,
    edition: Edition,
    words: list[str],
    voices: Sequence[VoiceArrangement],
    cue: CueWriter | None,
) -> Group:
    """All staves that the edition shows, from the top down; ``cue`` stands above."""
    arrangement, bars, shown = writer.arrangement, writer.printed, writer.shown
    chords = chosen_chords(arrangement.chords, edition.chords)
    named = [chord_line(chords, bars, shown.note_names)] if chords else []
    first: list[MelodyWriter] = [writer]
    if cue is not None:
        first.insert(0, cue)
    elif edition.voices == "second" and arrangement.tune.voices:
        cues = cue_bars(bars, arrangement.tune.voices[0].bars)
        first.insert(0, CueWriter(arrangement, cues, shown))
    further = [
        VoiceWriter(one.arrangement, beside(bars, one.voice.bars), shown, number)
        for number, one in enumerate(voices, start=2)
    ]
    staves, graces = _staves([*first, *further])
    staves[len(first) - 1].after += [line for text in words for line in text.split("\n")]
    drones = _drones(arrangement, bars, edition, graces)
    below: list[Component] = []
    if edition.shows_accompaniment and arrangement.accompaniment:
        below.append(second_staff(arrangement, bars, shown, graces))
    if not further:
        # Chords stand close over the staff that they belong to, below a cue.
        parts: list[Component] = [*staves[:-1], *named, staves[-1], *below, *drones]
        return context("Score", "Tune", parts, together=True)
    group: list[Component] = [*staves[: len(first)], *drones]
    for one, staff in zip(further, staves[len(first) :], strict=True):
        group.append(staff)
        for drone in _drones(one.arrangement, one.printed, edition, graces):
            group.append(renamed(drone, f"Drone{one.number}"))
    bracket = context("StaffGroup", "Voices", group, together=True)
    bracket.opening.append("\\numbersOverBracket")
    return context("Score", "Tune", [*named, bracket, *below], together=True)


def _staves(writers: Sequence[MelodyWriter]) -> tuple[list[Group], dict[int, Fraction]]:
    """The staves of all writers, with equal room for grace notes where bars begin, and that room by
    the place of the bar."""
    staves = [one.staff() for one in writers]
    graces = most_graces(writers)
    if len(staves) > 1:
        for one, staff in zip(writers, staves, strict=True):
            put_graces_abreast(one, staff, graces)
    return staves, graces


def _drones(
    arrangement: Arrangement, bars: PrintedBars, edition: Edition, graces: Mapping[int, Fraction]
) -> list[Group]:
    """The drones of one voice as the edition shows them."""
    spans = drones_shown(arrangement, edition)
    if not spans:
        return []
    has_fingers = edition.fingers != "none"
    if edition.drone_style == "line":
        strings = arrangement.instrument
        return [drone_line(spans, bars, graces, strings, has_fingers=has_fingers)]
    return [drone_staff(spans, bars, graces, has_fingers=has_fingers)]


def _indented(text: str) -> str:
    return "\n".join("  " + line if line else line for line in text.split("\n"))


def opening_bars(bars: tuple[Bar, ...]) -> tuple[Bar, ...]:
    """The pickup and the first two full bars, cut short where they hold very many notes."""
    chosen: list[Bar] = []
    full = 0
    notes = 0
    for bar in bars:
        notes += len(bar.notes)
        if chosen and (full >= FULL_BARS or notes > MOST_NOTES):
            break
        chosen.append(bar)
        if not bar.is_pickup and bar.duration:
            full += 1
    if chosen:
        chosen[0] = replace(chosen[0], sign_before="", ending=())
        chosen[-1] = replace(chosen[-1], sign_after="|", ending=())
    return tuple(chosen)


def _opening(arrangement: Arrangement, line_width_bp: float) -> Opening | None:
    bars = print_bars(opening_bars(arrangement.tune.bars))
    if not bars.bars:
        return None
    closed = (*bars.bars[:-1], replace(bars.bars[-1], line_after="|"))
    staff = MelodyWriter(arrangement, replace(bars, bars=closed), BARE).staff()
    score = printed(context("Score", "Opening", [staff], together=True))
    size = f"#(layout-set-staff-size {OPENING_STAFF_PT:g})"
    width = line_width_bp / 2
    head = f"""\\book {{
  \\paper {{
    {size}
    line-width = {width:.2f}\\bp
    paper-width = {width + 2 * SIDE_MARGIN_BP:.2f}\\bp
    ragged-right = ##t
    is-opening = ##t
  }}
"""
    start = f"  \\score {{\n{score}\n    \\layout {{"
    return Opening(head, Score(start, f" {size} }}\n  }}\n"))
