"""LilyPond source of one tune: our blocks, and the score.

The source holds no title and no comment from the tune. What text it must hold (chord symbols,
words, annotations, string names) goes through :func:`tunebook.write.safe_text.lilypond_string`.
"""

from __future__ import annotations

from collections.abc import Set

from tunebook.model.arrangement import Arrangement, ChordSpan
from tunebook.model.book import Edition
from tunebook.write.bar_marks import BarMarks, mark_commands
from tunebook.write.chord_line import chord_line, chosen_chords
from tunebook.write.drone_staff import drone_staff
from tunebook.write.layout_blocks import preamble
from tunebook.write.line_breaks import break_lines
from tunebook.write.note_marks import Shown
from tunebook.write.opening import opening_block
from tunebook.write.played_score import played_block
from tunebook.write.printed_bars import PrintedBars, print_bars
from tunebook.write.score import MelodyWriter
from tunebook.write.second_staff import second_staff
from tunebook.write.text_tree import Component, Group, context, printed
from tunebook.write.word_lines import word_lines


def write_source(
    arrangement: Arrangement,
    edition: Edition,
    *,
    line_width_pt: float,
    with_opening: bool = False,
    changed_bars: Set[int] = frozenset(),
    beyond_bars: Set[int] = frozenset(),
    hard_bars: Set[int] = frozenset(),
    with_midi: bool = False,
    language: str = "en",
    note_names: str = "b",
) -> str:
    """Return the LilyPond source of ``arrangement`` as ``edition`` shows it.

    ``line_width_pt`` is in PDF points (1/72 inch). ``with_opening`` adds a second book with the
    first bars alone (for an index of openings). The three sets hold indices into the tune's bars
    that are to be marked. ``with_midi`` adds a score of the played order that makes a MIDI file.
    ``language`` is that of the book's words, en or sv, ``note_names`` one of NOTE_NAMES.
    The first line is a comment with the number of bars in each line of music.
    """
    shown = Shown.of_edition(edition, note_names, language)
    bars = print_bars(arrangement.tune.bars)
    words = word_lines(bars) if edition.shows_words else []
    lines = break_lines(bars, line_width_pt, edition.staff_size_pt, has_words=bool(words))
    marks = BarMarks(changed_bars, beyond_bars, hard_bars)
    chords = chosen_chords(arrangement.chords, edition.chords)
    score = _score(arrangement, edition, lines.printed, shown, marks, words, chords, language)
    parts = [
        "% bars in each line: " + " ".join(str(count) for count in lines.bars_per_line) + "\n",
        preamble(
            edition.staff_size_pt,
            line_width_pt,
            is_ragged_last=lines.is_ragged_last,
        ),
        "\\score {\n" + _indented(printed(score)) + "\n  \\layout { }\n}\n",
    ]
    if with_midi:
        parts.append(played_block(arrangement))
    if with_opening:
        parts.append(opening_block(arrangement, line_width_pt))
    return "".join(parts)


def _score(
    arrangement: Arrangement,
    edition: Edition,
    printed: PrintedBars,
    shown: Shown,
    marks: BarMarks,
    words: list[str],
    chords: tuple[ChordSpan, ...],
    language: str,
) -> Group:
    parts: list[Component] = []
    if chords:
        parts.append(chord_line(chords, printed, shown.note_names))
    writer = MelodyWriter(arrangement, printed, shown, mark_commands(printed, marks), language)
    melody = writer.staff()
    graces = writer.leading_graces
    parts.append(melody)
    if edition.shows_accompaniment and arrangement.accompaniment:
        parts.append(second_staff(arrangement, printed, shown, graces))
    if arrangement.drone and edition.drones != "none":
        has_fingers = edition.fingers != "none"
        parts.append(drone_staff(arrangement.drone, printed, graces, has_fingers=has_fingers))
    melody.after += [line for text in words for line in text.split("\n")]
    return context("Score", "Tune", parts, together=True)


def _indented(text: str) -> str:
    return "\n".join("  " + line if line else line for line in text.split("\n"))
