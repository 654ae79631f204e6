"""Source: pdftotext (poppler-utils), an independent reader of PDF, against the arrangement."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from tunebook.engrave.engrave import engrave
from tunebook.engrave.settings import PAGE_HEIGHT_PT
from tunebook.model.arrangement import Arrangement
from tunebook.model.book import Edition, HandChoice
from tunebook.model.piece import EngravedPiece
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.write.lilypond.source import write_source

# No metre and no triplets: their figures are digits too. Invented tunes.
HEAD = "X:1\nT:T\nM:none\nL:1/8\nQ:1/4=100\n"
TUNES = (
    "K:D\nDEFG ABcd|edcB A4|d2f2 a2f2|g2e2 c2A2|d8|]",
    "K:G\nGABd g2d2|edBd g4|E2B2 e2B2|dBAF G4|GAGF E2D2|G8|]",
    "K:Am\nA2c2 e2c2|EAce a4|^g2e2 B2^G2|A8|",
    "K:C\nCEGc e2g2|c'2b2 a2g2|f2d2 B2G2|c8|]",
)  # fmt: skip
STAFF_BEGINS_PT = 30.0
ENDING_NOTES = ("D", "^G", "B", "=f", "^^f", "{d}g", "^a", "b", "c'", "^^c'", "[K:E]^e'")
BOX = re.compile(
    r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]+)</word>'
)
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
    return arrange(tune, harpa, read_hand(HandChoice()), drones="none", chords="tune")


needs_pdftotext = pytest.mark.skipif(
    shutil.which("pdftotext") is None and not os.environ.get("CI"),
    reason="pdftotext (poppler-utils) is not installed",
)


@needs_pdftotext
@pytest.mark.parametrize("fingers", ["all", "needed"])
@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_the_printed_numbers_are_the_fingers_in_order(
    tmp_path: Path, tuning: str, fingers: str
) -> None:
    arrangements = {str(at): arranged(text, tuning) for at, text in enumerate(TUNES)}
    edition = Edition("test", fingers=fingers, drones="none", chords="none")
    written = {
        name: write_source(one, edition, line_width_pt=480.0) for name, one in arrangements.items()
    }
    pieces, failures = engrave(written, work_folder=tmp_path)
    assert failures == []
    for piece in pieces:
        wanted = [
            one.stops[0].finger
            for one in arrangements[piece.identity].notes
            if fingers == "all" or one.is_needed
        ]
        assert printed_digits(piece) == wanted


def boxes(piece: EngravedPiece) -> list[list[tuple[float, float, float, str]]]:
    """Words of each page: left and right edge, middle of the height, text."""
    done = subprocess.run(
        ["pdftotext", "-bbox", str(piece.pdf), "-"], capture_output=True, text=True, check=True
    )
    return [
        [
            (float(left), float(right), (float(top) + float(low)) / 2, text)
            for left, top, right, low, text in BOX.findall(page)
        ]
        for page in done.stdout.split("<page ")[1:]
    ]


@needs_pdftotext
def test_fingers_keep_away_from_the_numbers_of_endings(tmp_path: Path) -> None:
    music = "".join(
        f"|:DFAF|1 !{1 + at % 4}!{note}2{low}2:|2 !{4 - at % 4}!{note}4||"
        for at, (note, low) in enumerate(zip(ENDING_NOTES, "ADFGDAGFDAG", strict=True))
    )
    chords = music.replace("|:D", '|:"D"D').replace("|2 ", '|2 "A"')
    one, other = (arranged(f"M:2/4\nK:D\n{text}", "CGDA") for text in (music, chords))
    written = {}
    for size in (16.5, 24.0):
        plain = Edition("plain", fingers="all", drones="none", chords="none", staff_size_pt=size)
        written[f"plain {size}"] = write_source(one, plain, line_width_pt=480.0)
        written[f"chords {size}"] = write_source(
            other, replace(plain, chords="tune"), line_width_pt=480.0
        )
    pieces, failures = engrave(written, work_folder=tmp_path)
    assert failures == []
    for piece in pieces:
        space = float(piece.identity.split()[1]) / 4
        pages = boxes(piece)
        numbers = 0
        for words in [pages[system.page_index] for system in piece.systems]:
            fingers = [word for word in words if word[3].isdigit()]
            for left, right, middle, text in words:
                assert not re.search(r"\.\d", text), text
                if not re.fullmatch(r"[12]\.", text):
                    continue
                numbers += 1
                beside = [
                    finger
                    for finger in fingers
                    if left - space < finger[1] and finger[0] < right + 2 * space
                ]
                # The number stands above the finger, and clear of it.
                assert all(finger[2] - middle > 2.0 * space for finger in beside), (text, beside)
        assert numbers == 2 * len(ENDING_NOTES)


HEAD_OF_QUARTER = "\ue0fa"
REMARKS = (
    "slow the last time",
    "slow the last time, and all others wait here until the oldest player comes in again",
)


@needs_pdftotext
def test_a_remark_keeps_to_its_bar_and_to_the_line(tmp_path: Path) -> None:
    """One at the end of a line begins under its note, or is wrapped up to the end of the line; all
    of it is within what is cut out of the page."""
    music = "K:D\nDEFG|ABcd|D2F2A2|[r:note {}]F2A2D2|\nDEFG|ABcd|A2D2F2|D2A2D2|]"
    edition = Edition("test", fingers="none", drones="none", chords="none")
    written = {
        text: write_source(arranged(music.format(text), "CGDA"), edition, line_width_pt=480.0)
        for text in REMARKS
    }
    pieces, failures = engrave(written, work_folder=tmp_path)
    assert failures == []
    for piece in pieces:
        pages = boxes(piece)
        (system,) = (
            one for one in piece.systems if any(word[3] == "slow" for word in pages[one.page_index])
        )
        words = pages[system.page_index]
        remark = [word for word in words if word[3] in piece.identity.split()]
        assert [word[3] for word in remark] == piece.identity.split()
        first_head = sorted(word[0] for word in words if word[3] == HEAD_OF_QUARTER)[-3]
        left = min(word[0] for word in remark)
        assert left > (STAFF_BEGINS_PT + 180 if piece.identity == REMARKS[1] else first_head - 8)
        assert max(word[1] for word in remark) <= 18 + 480
        assert max(word[2] for word in remark) < PAGE_HEIGHT_PT - system.bottom_pt - 4
