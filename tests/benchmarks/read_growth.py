"""Measures that reading time grows no faster than the text, on texts made to trip patterns.

Usage: python tests/benchmarks/read_growth.py

Each text is read at two lengths, the second four times the first; the growth printed should be
near 4 (the limits of the reader are lifted for this).
"""

from __future__ import annotations

import time

from tunebook.errors import InputError
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_tune
from tunebook.read.limits import ReadingLimits

LIFTED = ReadingLimits(tune_characters=10**9, tune_notes=10**9, played_bars=10**9)
HEAD = "X:1\nT:t\nM:4/4\nL:1/8\nK:C\n"
PIECES = {
    "notes": "CDEF GABc|",
    "repeats": "|:CDEF GABc:|",
    "parts": "|1 C8:|2 D8|]",
    "open brackets": "[",
    "open chords": "[C",
    "open fields": "[A:",
    "open braces": "{a",
    "quotes": '"',
    "exclamations": "!a",
    "plus": "+c",
    "colons": ":",
    "bars": "|",
    "slurs": "(",
    "closed slurs": "c)",
    "tuplets": "(3",
    "ties": "c-",
    "broken": "c>",
    "accidentals": "^",
    "commas": "C,",
    "only commas": ",",
    "digits": "1",
    "slashes": "/",
    "note with slashes": "C/",
    "odd lengths": "C/7C/11C/13C/997",
    "spaces": " ",
    "backslashes": "\\\n",
    "lines": "C\n",
    "inline keys": "[K:D]c",
    "inline voices": "[V:1]c[V:2]d|",
    "words": "CDEF|\nw: a b c d\n",
    "remarks": "[r:drone E4 finger 1]",
    "symbols": "T",
    "percent": "\\%",
    "mail": "=3D",
    "tunes": "\n\nX:1\nK:C\nC|\n\n",
    "numbers": "X:1\n",
    "plus fields": "N:a\n+:b\n",
    "continued field": "+:b\n",
}


def seconds_for(text: str) -> float:
    """Processor seconds for cutting and reading one text."""
    start = time.process_time()
    for piece in cut_into_tunes(text, "growth.abc", LIFTED):
        if isinstance(piece, TuneText):
            try:
                read_tune(piece, limits=LIFTED)
            except InputError:
                continue
    return time.process_time() - start


def main() -> None:
    """Print the growth for each kind of text."""
    for name, piece in PIECES.items():
        count = 40_000 // len(piece)
        short = seconds_for(HEAD + piece * count + "\nC|\n")
        long = seconds_for(HEAD + piece * (4 * count) + "\nC|\n")
        print(
            f"{name:18} {short:7.3f} s {long:7.3f} s  x {long / max(short, 1e-4):.1f}", flush=True
        )


if __name__ == "__main__":
    main()
