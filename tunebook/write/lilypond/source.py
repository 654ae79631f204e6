"""LilyPond source of one tune: our blocks, the score, the opening, the played order.

The opening of a tune (incipit): its first two full bars, small and bare, in its own book.

The played order as a score of its own that makes a MIDI file: repeats and endings written out.

Meant for checks against other readers of ABC; grace notes and decorations are left out.

LilyPond source of one tune: our blocks, and the score.

The source holds no title and no comment from the tune. What text it must hold (chord symbols,
words, annotations, string names) goes through :func:`tunebook.write.safe_text.lilypond_string`.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import replace

from tunebook.model.arrangement import Arrangement, ChordSpan
from tunebook.model.book import Edition
from tunebook.model.tune import Bar, Note
from tunebook.write.lilypond import leaves as text_tree
from tunebook.write.lilypond.bars import BarMarks, PrintedBars, length_of, mark_commands, print_bars
from tunebook.write.lilypond.layout_blocks import OPENING_STAFF_PT, SIDE_MARGIN_BP, preamble
from tunebook.write.lilypond.leaves import (
    Component,
    Group,
    context,
    head_text,
    last_leaf,
    make_leaves,
    printed,
)
from tunebook.write.lilypond.line_breaks import break_lines
from tunebook.write.lilypond.marks import BARE, Shown
from tunebook.write.lilypond.score import MelodyWriter
from tunebook.write.lilypond.staves import (
    chord_line,
    chosen_chords,
    drone_staff,
    second_staff,
    word_lines,
)

FULL_BARS = 2
MOST_NOTES = 24
_BEGIN = "\\book {"
_SUFFIX = '  \\bookOutputSuffix "opening"\n'


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


def split_opening(source: str) -> tuple[str, str]:
    """A tune's source without its opening, and the source of the opening alone ("" without one).

    Inside the music every line is indented, and texts hold no line ends.
    """
    tune, begin, book = source.partition(f"\n{_BEGIN}")
    if not begin:
        return source, ""
    blocks = tune.partition("\n\\score {")[0]
    opening = book.replace(_SUFFIX, "", 1)
    return f"{tune}\n", f"{blocks}\n{_BEGIN}{opening}"


def opening_block(arrangement: Arrangement, line_width_bp: float) -> str:
    """A second book of the source; its PDF's name ends in "-opening"."""
    printed = print_bars(opening_bars(arrangement.tune.bars))
    if not printed.bars:
        return ""
    bars = (*printed.bars[:-1], replace(printed.bars[-1], line_after="|"))
    staff = MelodyWriter(arrangement, replace(printed, bars=bars), BARE).staff()
    score = text_tree.printed(text_tree.context("Score", "Opening", [staff], together=True))
    width = line_width_bp / 2
    return f"""{_BEGIN}
  \\paper {{
    #(layout-set-staff-size {OPENING_STAFF_PT:g})
    line-width = {width:.2f}\\bp
    paper-width = {width + 2 * SIDE_MARGIN_BP:.2f}\\bp
    ragged-right = ##t
    is-opening = ##t
  }}
{_SUFFIX}  \\score {{
{score}
    \\layout {{ #(layout-set-staff-size {OPENING_STAFF_PT:g}) }}
  }}
}}
"""


MOST_PLAYED_BARS = 4000


def played_block(arrangement: Arrangement) -> str:
    """A score block with a midi block and no layout, at the arrangement's tempo."""
    tune = arrangement.tune
    order = [tune.bars[index] for index in tune.played[:MOST_PLAYED_BARS]]
    heard = [note for bar in order for note in bar.notes if not note.is_grace]
    place = 0
    bars: list[Component] = []
    for bar in order:
        leaves: list[Component] = []
        for note in bar.notes:
            if note.is_grace:
                continue
            after = heard[place + 1] if place + 1 < len(heard) else None
            leaves += _note(note, after)
            place += 1
        missing = bar.duration - length_of(bar.notes)
        if missing > 0:
            leaves += make_leaves("s", missing)
        if leaves:
            bars.append(Group(leaves))
    quarters = max(1, round(arrangement.whole_notes_per_second * 4 * 60))
    if not bars:
        return ""
    staff = context("Staff", "Played", bars)
    staff.opening += ["\\cadenzaOn", f"\\tempo 4 = {quarters}"]
    score = printed(context("Score", "PlayedTune", [staff], together=True))
    return f"\\score {{\n{score}\n  \\midi {{ }}\n}}\n"


def _note(note: Note, after: Note | None) -> list[Component]:
    value = note.duration if note.tuplet is None else note.written
    head = "r" if note.is_rest else head_text(note.pitches)
    leaves = make_leaves(head, value)
    if _is_tied_on(note, after):
        last_leaf(leaves[-1]).after.append("~")
    if note.tuplet is None:
        return leaves
    return [Group(leaves, before=[f"\\scaleDurations {note.tuplet.q}/{note.tuplet.p}"])]


def _is_tied_on(note: Note, after: Note | None) -> bool:
    if after is None:
        return False
    tied = {pitch for pitch, is_tied in zip(note.pitches, note.ties, strict=False) if is_tied}
    return bool(tied & set(after.pitches))


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
