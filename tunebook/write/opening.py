"""The opening of a tune (incipit): its first two full bars, small and bare, in its own book."""

from __future__ import annotations

from dataclasses import replace

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Bar
from tunebook.write import text_tree
from tunebook.write.layout_blocks import OPENING_STAFF_PT, SIDE_MARGIN_BP
from tunebook.write.note_marks import BARE
from tunebook.write.printed_bars import print_bars
from tunebook.write.score import MelodyWriter

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
