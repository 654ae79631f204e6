"""What a choice may be is said once, and any other word is refused with the list."""

from __future__ import annotations

from typing import Any

import pytest

from tunebook.errors import SettingError
from tunebook.model.book import Edition, HandChoice
from tunebook.model.choices import CHORDS, DRONES, FINGERS, one_of
from tunebook.model.instrument import Instrument
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.read.settings.values import EditionTable
from tunebook.solve.arrange import arrange
from tunebook.write.lilypond.source import write_source

INSTRUMENT = read_instrument("nyckelharpa-3row")
HAND = read_hand()
(TUNE,) = read_abc("X:1\nT:Steg\nM:2/4\nL:1/8\nK:G\nG2A2|B2G2|]\n", "steg.abc")


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"drones": "helt"}, "drones 'helt' is unknown; use one of none, open, held, substitution"),
        ({"chords": "några"}, "chords 'några' is unknown; use one of none, tune, all"),
    ],
)
def test_arrange_refuses_a_word_that_is_no_choice(wrong: dict[str, Any], said: str) -> None:
    with pytest.raises(SettingError) as caught:
        arrange(TUNE, INSTRUMENT, HAND, **wrong)
    assert str(caught.value) == said


@pytest.mark.parametrize(
    ("field", "choices"), [("fingers", FINGERS), ("drones", DRONES), ("chords", CHORDS)]
)
def test_an_edition_holds_choices_only(field: str, choices: tuple[str, ...]) -> None:
    for word in choices:
        assert getattr(Edition("egen", **{field: word}), field) == word
        assert getattr(EditionTable(name="egen", **{field: word}), field) == word
    with pytest.raises(SettingError) as caught:
        Edition("egen", **{field: "mycket"})
    assert str(caught.value) == f"{field} 'mycket' is unknown; use one of {', '.join(choices)}"


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"language": "no"}, "language 'no' is unknown; use one of en, sv"),
        ({"note_names": "ti"}, "note names 'ti' is unknown; use one of b, h"),
    ],
)
def test_a_source_is_written_in_known_words_only(wrong: dict[str, Any], said: str) -> None:
    arranged = arrange(TUNE, INSTRUMENT, HAND)
    with pytest.raises(SettingError) as caught:
        write_source(arranged, Edition("egen"), line_width_pt=400.0, **wrong)
    assert str(caught.value) == said


def test_an_instrument_has_a_known_kind_and_clef() -> None:
    plain: dict[str, Any] = {
        "name": "egen", "title": "Egen", "kind": "keyed", "strings": INSTRUMENT.strings,
        "string_length_mm": 400.0, "row_distance_mm": 15.0,
    }  # fmt: skip
    assert Instrument(**plain).clef == "treble"
    with pytest.raises(SettingError, match="use one of keyed, fingerboard"):
        Instrument(**plain | {"kind": "blown"})
    with pytest.raises(SettingError, match="use one of treble, alto, bass, tenor"):
        Instrument(**plain | {"clef": "soprano"})


def test_readers_name_what_there_is_for_an_unknown_name() -> None:
    with pytest.raises(SettingError, match=r"there is no instrument 'luta'; use one of .*3row"):
        read_instrument("luta")
    with pytest.raises(SettingError, match="use one of small, medium, large"):
        read_hand(HandChoice(size="huge"))  # type: ignore[arg-type]


def test_one_of_gives_the_choice_back() -> None:
    assert one_of(DRONES, "open", "drones") == "open"


@pytest.mark.parametrize(
    ("staff_pt", "small_pt"),
    [(16.5, 15.2), (24.0, 22.1), (22.0, 21.0), (21.0, None), (15.0, 14.0), (14.0, None)],
)
def test_a_smaller_staff_stays_readable_and_large_print_large(
    staff_pt: float, small_pt: float | None
) -> None:
    assert Edition("egen", staff_size_pt=staff_pt, density="tight").small_staff_pt == small_pt
    assert Edition("egen", staff_size_pt=staff_pt).small_staff_pt is None
