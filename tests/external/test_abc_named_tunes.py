"""Source: tunes of music21's corpus that trip readers of ABC, each read by hand from its text.

The expected notes and orders were worked out from the printed text by ABC 2.1, not taken from a
program. Notes are written as "name length", rests as "z length", tones of a chord with "+".
"""

from __future__ import annotations

import pytest
from corpus_folders import corpus_folder

from tunebook.model.tune import Bar, Tune
from tunebook.read.abc.tune import TuneText, read_tune
from tunebook.read.folder import iterate_files, iterate_tune_texts


def tune_of(file: str, number: str | None = None) -> Tune:
    """The tune with that X number (or the only one) of a file of the corpus."""
    folder, name = file.split("/")
    path = corpus_folder(folder) / name
    for piece in iterate_tune_texts(iterate_files(path)):
        if isinstance(piece, TuneText) and number in (None, piece.number):
            return read_tune(piece)
    raise AssertionError(f"{file} has no X:{number}")


def spelled(bar: Bar) -> str:
    """The bar's notes without grace notes."""
    return ", ".join(
        ("+".join(pitch.name for pitch in note.pitches) or "z") + f" {note.duration}"
        for note in bar.notes
        if not note.is_grace
    )


def bar_with(tune: Tune, text: str) -> Bar:
    """The bar whose source holds ``text``."""
    for bar in tune.bars:
        first, last = bar.notes[0], bar.notes[-1]
        line = tune.source_text.split("\n")[first.place.line - tune.first_line]
        if text in line[first.place.column - 1 : last.end_column - 1]:
            return bar
    raise AssertionError(f"no bar holds {text}")


O_NEILL = "oneills1850/"
CASES = [
    (
        O_NEILL + "0101-0200.abc",
        "162",
        "e/d/) (B/A/B/d/",
        "D5 3/8, E5 1/16, D5 1/16, B4 1/16, A4 1/16, B4 1/16, D5 1/16",
    ),
    (
        O_NEILL + "0101-0200.abc",
        "162",
        "g<e) (d<B",
        "E5 1/4, G5 1/16, E5 3/16, D5 1/16, B4 3/16",
    ),
    (
        O_NEILL + "0101-0200.abc",
        "162",
        "B/4A/4G3/2",
        "A4 3/8, G4 1/8, B4 1/32, A4 1/32, G4 3/16",
    ),
    (O_NEILL + "0101-0200.abc", "162", "d(3d/e/f/", "D5 1/8, D5 1/24, E5 1/24, F#5 1/24"),
    (
        O_NEILL + "0351-0400.abc",
        "374",
        "f/2e/2d/2e/2",
        "E5 3/16, G5 1/16, F5 1/16, E5 1/16, D5 1/16, E5 1/16, C5 3/8, D5 1/16, E5 1/16",
    ),
    (
        O_NEILL + "1376-1475.abc",
        "1421",
        "a^f ((3gfe) fdec",
        "A5 1/8, F#5 1/8, G5 1/12, F#5 1/12, E5 1/12, F#5 1/8, D5 1/8, E5 1/8, C5 1/8",
    ),
    (
        O_NEILL + "1116-1135_mh.abc",
        "1119",
        "B2=G GzA Bcd",
        "B4 1/4, G4 1/8, G4 1/8, z 1/8, A4 1/8, B4 1/8, C#5 1/8, D5 1/8",
    ),
    (
        O_NEILL + "1116-1135_mh.abc",
        "1119",
        "BzG G2A Bcd",
        "B4 1/8, z 1/8, G#4 1/8, G#4 1/4, A4 1/8, B4 1/8, C#5 1/8, D5 1/8",
    ),
    (
        "airdsAirs/book1.abc",
        "0095",
        "A2=f2   (gfed",
        "A4 1/8, F5 1/8, G5 1/16, F5 1/16, E5 1/16, D5 1/16",
    ),
    (
        "airdsAirs/book5.abc",
        "0948",
        "Bc`BA G2 z2",
        "B4 1/8, C5 1/8, B4 1/8, A4 1/8, G4 1/4, z 1/4",
    ),
    (
        "airdsAirs/book5.abc",
        "0948",
        "edg>f e2Hd2",
        "E5 1/8, D5 1/8, G5 3/16, F#5 1/16, E5 1/4, D5 1/4",
    ),
    (
        "airdsAirs/book6.abc",
        "1003",
        "ed`ef  g2 (f>e",
        "E5 1/8, D5 1/8, E5 1/8, F#5 1/8, G5 1/4, F#5 3/16, E5 1/16",
    ),
    (
        "ryansMammoth/TeddyMalosJig.abc",
        None,
        "=fde f3",
        "F5 1/8, D5 1/8, E5 1/8, F5 3/8",
    ),
    (
        "ryansMammoth/TeddyMalosJig.abc",
        None,
        "F{g}(=fe) .f(gf",
        "F#4 1/8, F5 1/8, E5 1/8, F5 1/8, G5 1/8, F5 1/8",
    ),
    (
        "ryansMammoth/BillyTheKids.abc",
        None,
        "(B>.A)(G>.B) (A>.c)(e>.a)"[1:-1],
        "B4 3/32, A4 1/32, G#4 3/32, B4 1/32, A4 3/32, C#5 1/32, E5 3/32, A5 1/32",
    ),
    (
        "ryansMammoth/BillyTheKids.abc",
        None,
        "z3/2uA,/v(C3/2",
        "z 3/32, A3 1/32, C#4 3/32, E4 1/32, A4 1/4",
    ),
    (
        "ryansMammoth/LadyTempletonsClog.abc",
        None,
        "A,>CF>A c>fa>A,",
        "A3 3/16, C4 1/16, F4 3/16, A4 1/16, C5 3/16, F5 1/16, A5 3/16, A3 1/16",
    ),
    (
        "ryansMammoth/LadyTempletonsClog.abc",
        None,
        "cag(3fed (3cdc(3BAG",
        "C5 1/12, A5 1/12, G5 1/12, F5 1/12, E5 1/12, D5 1/12, "
        "C5 1/12, D5 1/12, C5 1/12, Bb4 1/12, A4 1/12, G4 1/12",
    ),
    ("ryansMammoth/NightingaleClog.abc", None, "AB=B", "A4 1/12, Bb4 1/12, B4 1/12"),
    (
        "ryansMammoth/NightingaleClog.abc",
        None,
        "c>af>d ((3c=Bc)((3dcA",
        "C5 3/16, A5 1/16, F5 3/16, D5 1/16, C5 1/12, B4 1/12, C5 1/12, D5 1/12, C5 1/12, A4 1/12",
    ),
]


@pytest.mark.parametrize(("file", "number", "text", "expected"), CASES)
def test_bar_reads_as_worked_out_by_hand(
    file: str, number: str | None, text: str, expected: str
) -> None:
    assert spelled(bar_with(tune_of(file, number), text)) == expected


def twice(first: int, last: int) -> list[int]:
    return 2 * list(range(first, last + 1))


ORDERS = [
    (O_NEILL + "0351-0400.abc", "374", twice(0, 4) + twice(5, 9)),
    (O_NEILL + "0811-0899.abc", "836", twice(0, 8) + twice(9, 17)),
    ("airdsAirs/book1.abc", "0186", twice(0, 7) + twice(8, 17) + twice(18, 27)),
    (
        "airdsAirs/book5.abc",
        "0857",
        list(range(1))
        + twice(1, 8)
        + twice(9, 16)
        + twice(17, 24)
        + twice(25, 32)
        + twice(33, 37)
        + twice(38, 45)
        + twice(46, 53)
        + twice(54, 62),
    ),
    ("airdsAirs/book6.abc", "1003", list(range(18))),
    ("ryansMammoth/FlatFootReel.abc", None, twice(0, 8) + twice(9, 17)),
    (
        "ryansMammoth/CampMeetingJigNo2.abc",
        None,
        [*range(9), *twice(9, 13), *twice(14, 18), *range(19, 28), *range(1, 9)],
    ),
    ("ryansMammoth/DevilAmongTheTailorsReel.abc", None, [*range(18), *range(9)]),
    ("ryansMammoth/BillyTheKids.abc", None, twice(0, 7) + twice(8, 15)),
]


@pytest.mark.parametrize(("file", "number", "expected"), ORDERS)
def test_bars_are_played_in_the_order_worked_out_by_hand(
    file: str, number: str | None, expected: list[int]
) -> None:
    assert list(tune_of(file, number).played) == expected


def test_continued_line_does_not_break_the_system() -> None:
    tune = tune_of("ryansMammoth/FlatFootReel.abc")
    assert not tune.bars[0].breaks_line_after
    assert tune.bars[4].breaks_line_after


def test_words_and_trill_stand_on_the_same_note() -> None:
    note = bar_with(tune_of("ryansMammoth/FlatFootReel.abc"), "g8").notes[0]
    assert "trill" in note.decorations
    assert [annotation.text for annotation in note.annotations] == ["tr"]


def test_fermata_letter_inside_a_group_falls_on_its_note() -> None:
    bar = bar_with(tune_of("airdsAirs/book5.abc", "0948"), "e2Hd2")
    assert [note.decorations for note in bar.notes][-1] == ("fermata",)
    assert all(not note.decorations for note in bar.notes[:-1])


def test_short_last_bar_that_completes_nothing_is_said() -> None:
    tune = tune_of("airdsAirs/book5.abc", "0948")
    assert spelled(tune.bars[-1]) == "B4 3/16, C5 1/16, B4 1/8, A4 1/8, G4 1/4"
    assert [message.kind for message in tune.messages] == ["bar-length"]
