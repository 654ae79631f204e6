"""LilyPond's own account of a page: which heads it draws, where, and which signs beside them."""

from __future__ import annotations

import re
import subprocess
from fractions import Fraction
from pathlib import Path

from tunebook.engrave.program import clean_environment, find_lilypond

# Each head and sign says where in the source its note stands, once lines are broken and what is
# not to be drawn (a sign at a tie) is gone. Lines count from 1, columns here from 0.
_TELLING = r"""
#(define (tell what event value)
   (let ((place (ly:input-file-line-char-column (ly:event-property event 'origin))))
     (format (current-error-port) "\nDRAWN ~a ~a ~a ~a\n" what (cadr place) (caddr place) value)))
#(define (tell-head grob)
   (tell "head" (event-cause grob) (ly:grob-property grob 'staff-position)))
#(define (tell-sign grob)
   (ly:accidental-interface::remove-tied grob)
   (if (grob::is-live? grob)
       (tell "sign" (event-cause grob) (ly:grob-property grob 'alteration))))
#(define (tell-tie grob)
   (let ((whole (or (ly:grob-original grob) grob)))
     (if (grob::is-live? grob)
         (tell "tie" (event-cause (ly:spanner-bound whole RIGHT)) 0))))
\layout {
  \context {
    \Score
    \override NoteHead.after-line-breaking = #tell-head
    \override Accidental.after-line-breaking = #tell-sign
    \override AccidentalCautionary.after-line-breaking = #tell-sign
    \override Tie.after-line-breaking = #tell-tie
  }
}
"""
_DRAWN = re.compile(r"^DRAWN (head|sign|tie) (\d+) (\d+) (-?\d+(?:/\d+)?)$", re.MULTILINE)

Place = tuple[int, int]
Drawn = dict[str, dict[Place, Fraction]]


def drawn_by_lilypond(source: str, folder: Path) -> Drawn:
    """What LilyPond draws by line and column of the note in ``source`` (from 1): of each "head"
    its staff position (0 is the middle line), of each "sign" its alteration in whole tones (1/2 is
    a sharp), and each "tie" by the head it leads to."""
    at = source.index("\\score {")
    (folder / "piece.ly").write_text(source[:at] + _TELLING + source[at:], encoding="utf-8")
    command = [
        str(find_lilypond().path),
        "--loglevel=ERROR",
        "-dbackend=cairo",
        "--svg",
        "piece.ly",
    ]
    done = subprocess.run(
        command, cwd=folder, env=clean_environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    added, first = _TELLING.count("\n"), source.count("\n", 0, at) + 1
    drawn: Drawn = {"head": {}, "sign": {}, "tie": {}}
    for kind, line, column, what in _DRAWN.findall(done.stderr):
        assert int(line) > first + added
        drawn[kind][int(line) - added, int(column) + 1] = Fraction(what)
    return drawn
