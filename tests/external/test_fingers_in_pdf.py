"""Source: pdftotext (poppler-utils), an independent reader of PDF, against the arrangement."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tunebook.assemble.engrave import engrave
from tunebook.assemble.engraved import EngravedPiece
from tunebook.model.arrangement import Arrangement
from tunebook.model.book import Edition, HandChoice
from tunebook.read.abc_tune import read_abc
from tunebook.read.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.write.lilypond import write_source

# No metre and no triplets: their figures are digits too. Invented tunes.
HEAD = "X:1\nT:T\nM:none\nL:1/8\nQ:1/4=100\n"
TUNES = (
    "K:D\nDEFG ABcd|edcB A4|d2f2 a2f2|g2e2 c2A2|d8|]",
    "K:G\nGABd g2d2|edBd g4|E2B2 e2B2|dBAF G4|GAGF E2D2|G8|]",
    "K:Am\nA2c2 e2c2|EAce a4|^g2e2 B2^G2|A8|",
    "K:C\nCEGc e2g2|c'2b2 a2g2|f2d2 B2G2|c8|]",
)  # fmt: skip
STAFF_BEGINS_PT = 30.0
WORD = re.compile(r'<word xMin="([\d.]+)".*?>(\d+)</word>')


def printed_digits(piece: EngravedPiece) -> list[int]:
    """All digits of the engraved music, system by system, from left to right."""
    done = subprocess.run(
        ["pdftotext", "-bbox", str(piece.pdf), "-"], capture_output=True, text=True, check=True
    )
    digits: list[int] = []
    pages = done.stdout.split("<page ")[1:]
    for system in piece.systems:
        page = pages[system.page_index]
        words = [(float(place), word) for place, word in WORD.findall(page)]
        # The number of the bar stands before the staff.
        digits += [int(d) for place, word in sorted(words) for d in word if place > STAFF_BEGINS_PT]
    return digits


def arranged(text: str, tuning: str) -> Arrangement:
    tune = read_abc(HEAD + text + "\n")[0]
    harpa = read_instrument("nyckelharpa-3row", tuning)
    return arrange(tune, harpa, read_hand(HandChoice()), drones="none", chords="none")


@pytest.mark.skipif(
    shutil.which("pdftotext") is None and not os.environ.get("CI"),
    reason="pdftotext (poppler-utils) is not installed",
)
@pytest.mark.parametrize("fingers", ["all", "needed"])
@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_the_printed_numbers_are_the_fingers_in_order(
    tmp_path: Path, tuning: str, fingers: str
) -> None:
    arrangements = {str(at): arranged(text, tuning) for at, text in enumerate(TUNES)}
    edition = Edition("test", fingers=fingers, drones="none", chords="none")
    sources = {
        name: write_source(one, edition, line_width_pt=480.0) for name, one in arrangements.items()
    }
    pieces, failures = engrave(sources, work_folder=tmp_path)
    assert failures == []
    for piece in pieces:
        wanted = [
            one.stops[0].finger
            for one in arrangements[piece.identity].notes
            if fingers == "all" or one.is_needed
        ]
        assert printed_digits(piece) == wanted
