"""Profiles and hands: what ships, what a player may write, what is refused with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tunebook.errors import SettingError
from tunebook.model.book import HandChoice
from tunebook.model.hand import FINGER_PAIRS
from tunebook.read.settings.profile import (
    DATA,
    instrument_names,
    parse_instrument,
    read_hand,
    read_instrument,
)
from tunebook.write.instrument_text import profile_as_text, profile_as_toml

TEXT = (DATA / "instruments" / "nyckelharpa-3row.toml").read_text(encoding="utf-8")


def test_five_profiles_ship_or_more() -> None:
    names = instrument_names()
    assert {"nyckelharpa-3row", "nyckelharpa-4row", "fiddle", "viola"} <= set(names)
    for name in names:
        instrument = read_instrument(name)
        assert instrument.name == name
        assert instrument.source


@pytest.mark.parametrize(
    ("tuning", "midis"),
    [
        ("CGDA", [48, 55, 62, 69]),
        ("cgca", [48, 55, 60, 69]),
        ("C3,G3,D4,A4", [48, 55, 62, 69]),
        ("DGDA", [50, 55, 62, 69]),
        ("Bb F Bb G", [46, 53, 58, 67]),
        ("BbFBbG", [46, 53, 58, 67]),
        ("D3 G3 C4 A4", [50, 55, 60, 69]),
    ],
)
def test_any_tuning_can_be_asked_for(tuning: str, midis: list[int]) -> None:
    instrument = read_instrument("nyckelharpa-3row", tuning)
    assert [string.open_midi for string in instrument.strings] == midis


def test_strings_of_the_same_letter_are_told_apart() -> None:
    instrument = read_instrument("nyckelharpa-3row", "CGCA")
    assert [string.name for string in instrument.strings] == ["low C", "G", "C", "A"]


@pytest.mark.parametrize("tuning", ["CGD", "CGDAE", "C3,G3,D4", "XYZW", "C3,G3,D4,H4"])
def test_a_tuning_that_cannot_be_is_refused(tuning: str) -> None:
    with pytest.raises(SettingError):
        read_instrument("nyckelharpa-3row", tuning)


def test_an_unknown_instrument_is_refused_with_those_there_are() -> None:
    with pytest.raises(SettingError, match=r"there is no instrument 'lute'; use one of fiddle"):
        read_instrument("lute")


def test_a_row_can_be_shifted_and_a_key_placed_by_itself() -> None:
    text = TEXT.replace("keys = 14\nrow = 2", "keys = 14\nrow = 2\nshift_mm = 1.5")
    text = text.replace("keys = 20\nrow = 3", "keys = 20\nrow = 3\nplaces_mm = { 7 = 131.5 }")
    plain, own = parse_instrument(TEXT, "p.toml"), parse_instrument(text, "p.toml")
    assert own.string(3).place_mm(4) == pytest.approx(plain.string(3).place_mm(4) + 1.5)
    assert own.string(4).place_mm(7) == 131.5
    assert own.string(4).place_mm(8) == plain.string(4).place_mm(8)


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('kind = "keyed"', 'kind = "plucked"', "p.toml:4: kind is 'plucked'"),
        ("row_distance_mm = 13.0", "row_distance_mm = 500", "p.toml:6: row_distance_mm is 500"),
        ("keys = 20", "keys = -1", "p.toml:33: string 4: keys is -1"),
        ("keys = 20", "keys = 20\nrows = 3", "p.toml:34: 'rows' is no setting of a string"),
        ('tuning = "CGDA"', 'tuning = "EADG"', "p.toml:8: tuning 'EADG' is not listed"),
        ('"C3", "G3", "D4", "A4"', '"C3", "G3", "D4"', "p.toml:17: tuning CGDA has 3 strings"),
        ("keys = 20", "keys = 20\nplaces_mm = { 7 = 10 }", "p.toml:34: string 4: key 7 at 10.0 mm"),
        ("keys = 20", "keys = 20\nplaces_mm = { 30 = 10 }", "string 4 has no key 30"),
        ("title = ", "titel = ", "'titel' is no setting"),
        ('kind = "keyed"', "kind = ", "not valid TOML"),
        ('"C3", "G3", "D4", "A4"', '"C3", "G3", "D4", "Q4"', "'Q4' is no pitch"),
    ],
)
def test_a_mistake_in_a_profile_is_named_with_its_line(old: str, new: str, what: str) -> None:
    assert old in TEXT
    with pytest.raises(SettingError) as caught:
        parse_instrument(TEXT.replace(old, new, 1), "p.toml")
    assert what in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_profile_can_be_given_by_its_path(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(TEXT.replace("nyckelharpa-3row", "mine"), encoding="utf-8")
    assert read_instrument(str(path)).name == "mine"


def test_a_profile_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(SettingError, match="cannot be read"):
        read_instrument(str(path))


def test_a_profile_written_out_reads_back_the_same() -> None:
    for name in instrument_names():
        first = read_instrument(name)
        second = parse_instrument(profile_as_toml(first), "p.toml")
        for a, b in zip(first.strings, second.strings, strict=True):
            assert (a.open_midi, a.key_count) == (b.open_midi, b.key_count)
            assert a.row_mm == pytest.approx(b.row_mm)
            assert a.key_places_mm == pytest.approx(b.key_places_mm, abs=0.06)


def test_a_profile_as_text_shows_pitches_and_places() -> None:
    lines = profile_as_text(read_instrument("nyckelharpa-3row", "CGCA"))
    assert lines[1] == "tuning CGCA: C3 G3 C4 A4"
    assert "string 1, low C (C3): no keys, played open" in lines
    assert any(line.strip().startswith("mm") and " 133.0" in line for line in lines)


def test_sizes_scale_every_span() -> None:
    sizes = ("small", "medium", "large")
    small, medium, large = (read_hand(HandChoice(size=size)) for size in sizes)
    for pair in FINGER_PAIRS:
        spans = [hand.span(*pair).max_comfortable_mm for hand in (small, medium, large)]
        assert spans == sorted(spans) and len(set(spans)) == 3


def test_an_own_span_moves_the_upper_bounds_of_its_pair_only() -> None:
    own, plain = read_hand(HandChoice(spans_mm=(("1-4", 130.0),))), read_hand()
    assert own.span(1, 4).max_comfortable_mm == pytest.approx(130.0)
    assert own.span(1, 4).min_practical_mm == plain.span(1, 4).min_practical_mm
    assert own.span(2, 3) == plain.span(2, 3)
    assert own.name == "medium, own spans"


@pytest.mark.parametrize(
    ("choice", "what"),
    [
        (HandChoice(size="huge"), "hand size 'huge' is unknown"),
        (HandChoice(spans_mm=(("1-5", 100.0),)), "finger pair '1-5' is unknown"),
        (HandChoice(spans_mm=(("1-4", 900.0),)), "span 1-4 of 900 mm cannot be"),
        (HandChoice(fingers=()), "cannot be used"),
        (HandChoice(fingers=(0, 1)), "cannot be used"),
    ],
)
def test_a_hand_that_cannot_be_is_refused(choice: HandChoice, what: str) -> None:
    with pytest.raises(SettingError) as caught:
        read_hand(choice)
    assert what in str(caught.value)


def test_numbers_and_tables_of_no_sense_are_refused_in_one_line() -> None:
    faults = {
        "string_length_mm = 400": f"string_length_mm = {'9' * 400}",
        "places_mm of a key by another digit": 'places_mm = { "²" = 20.0 }',
        "places_mm that is no number": "places_mm = { 3 = nan }",
        "places_mm beyond all bounds": f"places_mm = {{ 3 = {'9' * 400} }}",
    }
    for name, line in faults.items():
        if name in TEXT:
            text = TEXT.replace(name, line, 1)
        else:
            at = TEXT.rindex("[[string]]") + len("[[string]]")
            text = f"{TEXT[:at]}\n{line}{TEXT[at:]}"
        with pytest.raises(SettingError) as found:
            parse_instrument(text, "own.toml")
        assert "\n" not in str(found.value) and len(str(found.value)) < 200, name


def test_strings_that_are_no_tables_are_refused() -> None:
    text = TEXT[: TEXT.index("[[string]]")]
    with pytest.raises(SettingError, match="no \\[\\[string\\]\\] tables"):
        parse_instrument("string = [1, 2, 3, 4]\n" + text, "own.toml")
