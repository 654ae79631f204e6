"""Pieces of a few notes, well made and faulty, as the engraver is given them."""

from __future__ import annotations

from tunebook.model.piece import Opening, Piece, Score

HEAD = """\\version "2.24.0"
#(set-global-staff-size 16)
\\header { tagline = ##f }
\\paper { indent = 0 left-margin = 18\\bp line-width = 300\\bp paper-width = 336\\bp }
"""
OPENING = Opening(
    "\\book {\n  \\paper { is-opening = ##t ragged-right = ##t }\n",
    Score("  \\score {\n    { c''1 }\n    \\layout {", " }\n  }\n"),
)
NO_SUCH_COMMAND = "\\noSuchThing c4"
ENDLESS = "#(let loop () (loop)) c4"
DEADLY = "#(begin (kill (getpid) SIGKILL) 1) c4"
GREEDY = "#(let loop ((l 0)) (loop (make-vector 100000 l))) c4"


def piece(music: str, opening: Opening | None = None, bars: tuple[int, ...] = (1,)) -> Piece:
    """A piece of ``music``, with so many bars in each line."""
    score = Score(f"\\score {{\n  {{ {music} }}\n  \\layout {{", " }\n}\n")
    return Piece(HEAD, score, opening, bars)
