"""What the engraver adds to every file: one system a page, and the boxes of the systems.

LilyPond includes these settings before each file. A procedure of the paper block runs after
page breaking and writes the reach of each system, in staff spaces, with the figures needed to
turn it into points, and the number of the piece it belongs to where several are set in one file.

The rounding of the corners of stems, beams and bar lines (a tenth of a point, not to be seen in
print) is left out: rectangles take a sixth of the room in the PDF.
"""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.model.piece import EngravedSystem

PAGE_HEIGHT_PT = 1440.0
BLEED_PT = 4.0
BOXES_SUFFIX = ".boxes"
# Plain letters without a path: LilyPond reads the option that names it as an expression, which a
# blank or a bracket would break.
SETTINGS_FILE = "settings.ily"

SETTINGS = r"""\version "2.24.0"
#(define (write-system-boxes layout pages)
   (let* ((is-opening (ly:output-def-lookup layout 'is-opening #f))
          (name (string-append (ly:parser-output-name)
                               (if (eq? is-opening #t) "-opening.boxes" ".boxes")))
          (height (ly:output-def-lookup layout 'paper-height))
          (width (ly:output-def-lookup layout 'paper-width))
          (margin (ly:output-def-lookup layout 'left-margin)))
     (with-output-to-file name
       (lambda ()
         (format #t "page ~a ~a ~a\n"
           (exact->inexact width) (exact->inexact height) (exact->inexact margin))
         (for-each
           (lambda (page)
             (for-each
               (lambda (line offset)
                 (let* ((stencil (ly:prob-property line 'stencil))
                        (x (ly:stencil-extent stencil X))
                        (y (ly:stencil-extent stencil Y))
                        (grob (ly:prob-property line 'system-grob #f))
                        (piece (if (ly:grob? grob)
                                   (ly:output-def-lookup (ly:grob-layout grob) 'piece 0)
                                   0)))
                   (format #t "system ~a ~a ~a ~a ~a ~a\n"
                     (exact->inexact (car x)) (exact->inexact (cdr x))
                     (exact->inexact (car y)) (exact->inexact (cdr y))
                     (exact->inexact offset)
                     piece)))
               (ly:prob-property page 'lines)
               (ly:prob-property page 'configuration)))
           pages)))))
\paper {
  paper-height = %(height)g\bp
  systems-per-page = 1
  top-margin = 0
  top-system-spacing.basic-distance = 40
  top-system-spacing.padding = 20
  bottom-margin = 0
  ragged-bottom = ##t
  ragged-last-bottom = ##t
  print-page-number = ##f
  print-first-page-number = ##f
  page-post-process = #write-system-boxes
}
\layout { blot-diameter = 0 }
""".replace("%(height)g", f"{PAGE_HEIGHT_PT:g}")


def read_boxes(text: str, bar_counts: Sequence[int] = ()) -> tuple[EngravedSystem, ...]:
    """Read the boxes of a piece's systems, in points from the lower left of each page: a line with
    the size of the pages, then one a system, whose last figure is its page.

    A box reaches over the whole line and a bleed of 4 pt around all that is drawn, since the
    engraver's own figures cut letters short. Raises ValueError when the text is not whole.
    """
    lines = [line.split() for line in text.splitlines()]
    if not lines or lines[0][:1] != ["page"]:
        raise ValueError("no page size")
    width, height, margin = (float(figure) for figure in lines[0][1:4])
    if not height > 0:
        raise ValueError("no page height")
    scale = PAGE_HEIGHT_PT / height
    rows = [tuple(float(figure) for figure in line[1:]) for line in lines[1:]]
    counts = bar_counts if len(bar_counts) == len(rows) else (0,) * len(rows)
    return tuple(
        _box(row, (width, height, margin), scale, count)
        for row, count in zip(rows, counts, strict=True)
    )


def _box(
    row: tuple[float, ...],
    paper: tuple[float, float, float],
    scale: float,
    bar_count: int,
) -> EngravedSystem:
    left, right, low, high, offset, page = row
    width, height, margin = paper
    left_pt = min(0.0, left) * scale - BLEED_PT
    right_pt = max(right, 0.0) * scale + BLEED_PT
    left_pt = max(left_pt, -margin * scale)
    right_pt = min(right_pt, (width - margin) * scale)
    return EngravedSystem(
        page_index=int(page),
        left_pt=margin * scale + left_pt,
        bottom_pt=(height - offset + low) * scale - BLEED_PT,
        width_pt=right_pt - left_pt,
        height_pt=(high - low) * scale + 2 * BLEED_PT,
        bar_count=bar_count,
        staff_indent_pt=-left_pt,
    )
