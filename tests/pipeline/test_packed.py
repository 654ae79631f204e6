"""Values as quick bytes come back as they were."""

from __future__ import annotations

import pickle
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.book import HandChoice
from tunebook.pipeline.kept import parts_of
from tunebook.pipeline.packed import pack, unpack
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange

SAMPLES = Path(__file__).parents[2] / "sample_tunes"


@dataclass(frozen=True, slots=True)
class _Pair:
    left: object
    right: object = ()


@dataclass
class _Open:
    """Not of the kind that is taken apart."""

    value: object


def test_values_of_all_kinds_come_back_equal_and_in_their_types() -> None:
    third = Fraction(1, 3)
    shared = _Pair(1.0, "é")
    value = {
        "a": [_Pair(shared, shared), _Pair(None), _Open(third), {1, 2}],
        "b": (True, 1, 1.0, Fraction(1), third, b"x", SourcePlace("a", 3, spot="bar 2")),
    }
    found = unpack(pack(value))
    assert repr(found) == repr(value)
    assert found["a"][0].left is found["a"][0].right
    assert hash(found["b"][3]) == 1


def test_a_value_that_holds_itself_comes_back() -> None:
    inner: list[object] = []
    value = _Pair(inner)
    inner.append(value)
    found = unpack(pack(value))
    assert found.left[0] is found


def test_the_sample_tunes_and_their_arrangements_come_back() -> None:
    harpa, hand = read_instrument("nyckelharpa-3row"), read_hand(HandChoice())
    for path in sorted(SAMPLES.glob("*.abc")):
        for tune in read_abc(path.read_text("utf-8"), path.name):
            assert repr(unpack(pack(tune))) == repr(tune)
            found = arrange(tune, harpa, hand)
            again = unpack(pack(found, parts_of(tune)), parts_of(tune))
            assert repr(again) == repr(found)
            assert again.tune is tune
            assert all(one.note is tune.bars[one.bar_index].notes[one.note_index]
                       for one in again.notes)  # fmt: skip


def test_what_is_known_takes_no_room_and_is_that_of_the_reader() -> None:
    (tune,) = read_abc("X:1\nT:T\nK:D\nD2 E2 F2|G4|]\n")
    (other,) = read_abc("\n\nX:1\nT:T\nK:D\nD2 E2 F2|G4|]\n")
    data = pack([tune, tune.bars[1].notes[0]], parts_of(tune))
    assert len(data) < 100
    assert unpack(data, parts_of(other))[1].place.line == 6
    (longer,) = read_abc("X:1\nT:T\nK:D\nD2 E2 F2|G2 G2|]\n")
    with pytest.raises(ValueError, match="known"):
        unpack(data, parts_of(longer))


def test_a_field_is_changed_on_the_way() -> None:
    value = [SourcePlace("a", line) for line in (0, 3, 4)]
    changes = {(SourcePlace, "line"): lambda line: line + 10 if line else 0}
    assert [one.line for one in unpack(pack(value), changes=changes)] == [0, 13, 14]
    assert unpack(pack(value[1:2]), changes=changes) == [replace(value[1], line=13)]


def test_bytes_cut_short_are_an_error_and_no_other_value() -> None:
    data = pack(_Pair(SourcePlace("a", 3), Fraction(1, 7)))
    for end in range(len(data)):
        with pytest.raises((EOFError, pickle.UnpicklingError, ValueError, IndexError)):
            unpack(data[:end])


def test_a_value_that_must_be_hashed_before_it_is_whole_is_an_error() -> None:
    # Pickle fills a set while it reads, when the values are still empty.
    with pytest.raises(AttributeError):
        unpack(pack({Fraction(1, 3)}))
