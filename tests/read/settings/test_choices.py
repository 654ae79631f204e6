from __future__ import annotations

from tunebook.model.book import TuneChoice
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.choices import apply_choice, without_grace_notes

HEAD = "X:1\nT:T\nM:2/4\nL:1/8\nK:D\n"


def tune(music: str) -> Tune:
    return read_abc(HEAD + music + "\n")[0]


def test_a_pin_finds_its_note_by_bar_and_place() -> None:
    pinned, messages = apply_choice(
        tune("A2|D2 {e}F2|z2 A2|]"),
        TuneChoice("a.abc:1", fingers=((1, 2, 3),), strings=((2, 1, "D"),)),
    )
    assert messages == ()
    assert pinned.bars[1].notes[-1].finger_pins == (3,)
    assert pinned.bars[2].notes[1].string_pin == "D"


def test_a_pin_that_hits_nothing_is_said() -> None:
    _, messages = apply_choice(tune("D4|]"), TuneChoice("a.abc:1", fingers=((9, 1, 2),)))
    assert [str(message) for message in messages] == [
        "tune.abc: pin for 'T': there is no note 1 in bar 9; "
        "count bars from the pickup (0) and notes from 1"
    ]


def test_no_choice_leaves_the_tune_as_it_is() -> None:
    plain = tune("D4|]")
    assert apply_choice(plain, None) == (plain, ())


def slurs(music: str) -> list[tuple[int, int]]:
    bars = without_grace_notes(tune(music)).bars
    return [(note.slurs_opened, note.slurs_closed) for bar in bars for note in bar.notes]


def test_grace_notes_go_and_the_time_stays() -> None:
    with_them, plain = tune("{g}A2 {ef}B2|]"), without_grace_notes(tune("{g}A2 {ef}B2|]"))
    assert [note.is_grace for note in plain.bars[0].notes] == [False, False]
    assert plain.bars[0].notes == tuple(
        note for note in with_them.bars[0].notes if not note.is_grace
    )


def test_a_slur_that_began_on_a_grace_note_begins_on_the_next() -> None:
    assert slurs("({g}A2 B2)|]") == [(1, 0), (0, 1)]


def test_a_slur_from_grace_to_its_note_goes_with_the_grace_note() -> None:
    assert slurs("{(g}A2) B2|]") == [(0, 0), (0, 0)]
