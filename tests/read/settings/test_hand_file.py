"""Hand files: what they say, what is refused with its line, and where they may lie."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tunebook.errors import SettingError
from tunebook.model.book import HandChoice
from tunebook.model.hand import WEIGHT_BOUNDS, HandWeight
from tunebook.pipeline.kept import setup_sum
from tunebook.pipeline.load import Wishes, prepare
from tunebook.read.settings.hand_file import parse_hand_file
from tunebook.read.settings.profile import read_hand
from tunebook.solve.weights import FINGERBOARD, KEYED, weights_for
from tunebook.write.hand_file import hand_as_toml

TUNE = "X:1\nT:Little one\nM:3/4\nL:1/4\nK:D\nD F A|d3|]\n"
OWN = HandChoice(
    size="large",
    spans_mm=(("1-4", 120.0),),
    pad_width_mm=19.0,
    higher_finger_on_higher_string=False,
    fingers=(1, 2, 3),
    span_factors=(1.1, 1.0, 1.2),
    weights=(HandWeight("fingerboard", "shift", 2.5), HandWeight("keyed", "shift", 0.75)),
    name="anna",
)


def folder_with(tmp_path: Path, settings: str, **hands: str) -> Path:
    (tmp_path / "tunes.abc").write_text(TUNE, encoding="utf-8")
    (tmp_path / "tunes.toml").write_text(settings, encoding="utf-8")
    for name, text in hands.items():
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    return tmp_path


def test_what_is_written_reads_back_as_the_same_hand() -> None:
    text = hand_as_toml(OWN, "keyed", {"shift": 1.8}, ("Learnt\nfrom 9 tunes",))
    found, messages = parse_hand_file(text, "anna.toml")
    assert messages == ()
    assert replace(found, given=()) == OWN
    assert "# Learnt from 9 tunes\n" in text and "# usually 1.8" in text


def test_weights_hold_on_the_kind_of_instrument_that_they_are_of() -> None:
    hand = read_hand(OWN)
    assert weights_for("keyed", hand) == replace(KEYED, shift=0.75)
    assert weights_for("fingerboard", hand) == replace(FINGERBOARD, shift=2.5)


def test_bounds_are_of_weights_that_there_are_and_hold_the_usual_ones() -> None:
    for usual in (KEYED, FINGERBOARD):
        for name, (least, most) in WEIGHT_BOUNDS.items():
            assert least <= getattr(usual, name) <= most, name


def test_span_factors_widen_upper_spans_and_keep_their_order() -> None:
    plain, own = read_hand(), read_hand(HandChoice(span_factors=(1.5, 0.7, 0.7)))
    for before, after in zip(plain.spans, own.spans, strict=True):
        upper = (after.max_relaxed_mm, after.max_comfortable_mm, after.max_practical_mm)
        assert upper[0] == pytest.approx(1.5 * before.max_relaxed_mm)
        assert sorted(upper) == list(upper)
        assert after.min_relaxed_mm == before.min_relaxed_mm


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("barr = true", "anna.toml:1: unknown setting 'barr'; did you mean 'barre'?"),
        (
            "span_factors = { relaxed = 9.0 }",
            "anna.toml:1: setting 'span_factors.relaxed' cannot be 9.0: input should be less than "
            "or equal to 1.5; the default is used",
        ),
        (
            "[weights.keyed]\nshft = 2.0",
            "anna.toml:2: there is no weight 'shft'; the usual is used; did you mean 'shift'?",
        ),
        (
            "[weights.keyed]\nshift = nan",
            "anna.toml:2: weight 'shift' cannot be nan; the usual is used; give a value from 0.1 "
            "to 8",
        ),
    ],
)
def test_a_mistake_in_a_hand_file_is_one_line_and_costs_only_itself(line: str, said: str) -> None:
    found, messages = parse_hand_file(f"{line}\n", "anna.toml")
    assert [str(one) for one in messages] == [said]
    assert (found.weights, found.span_factors) == ((), (1.0, 1.0, 1.0))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("size = large", "anna.toml:1:8: not valid TOML"),
        ('spans_mm = { "1-4" = 900.0 ', "anna.toml: not valid TOML"),
    ],
)
def test_a_hand_that_cannot_be_is_refused_with_its_file(text: str, said: str) -> None:
    with pytest.raises(SettingError) as caught:
        parse_hand_file(text, "anna.toml")
    assert str(caught.value).startswith(said)


def test_tunes_toml_an_edition_and_the_command_line_name_a_hand_file(tmp_path: Path) -> None:
    settings = (
        '[hand]\nfile = "anna.toml"\n[[edition]]\nname = "bo"\nhand = "bo.toml"\n'
        '[[edition]]\nname = "child"\nhand = "small"\n'
    )
    anna, bo = "[weights.keyed]\nshift = 0.5\n", 'size = "large"\n'
    folder = folder_with(tmp_path, settings, anna=anna, bo=bo)
    own = prepare(folder)
    assert (own.hand.name, own.hand.weights) == ("anna", (HandWeight("keyed", "shift", 0.5),))
    assert own.messages == ()
    assert prepare(folder, Wishes(edition="teacher")).hand == own.hand
    assert prepare(folder, Wishes(edition="bo")).hand.name == "bo"
    child = prepare(folder, Wishes(edition="child")).hand
    assert (child.name, child.weights) == ("small", ())
    assert prepare(folder, Wishes(hand="medium")).hand == read_hand()
    named = prepare(folder, Wishes(hand=str(folder / "anna.toml"), edition="bo"))
    assert named.hand == own.hand
    assert own.read.holds(folder / "anna.toml")


def test_another_weight_is_another_setup(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, '[hand]\nfile = "anna.toml"\n', anna="[weights.keyed]\n")
    before = setup_sum(prepare(folder))
    (folder / "anna.toml").write_text("[weights.keyed]\nshift = 0.5\n", encoding="utf-8")
    assert setup_sum(prepare(folder)) != before


def test_what_stands_beside_a_hand_file_and_says_otherwise_is_told(tmp_path: Path) -> None:
    settings = '\n[hand]\nfile = "anna.toml"\nbarre = true\nfingers = [1, 2, 3, 4]\n'
    setup = prepare(folder_with(tmp_path, settings, anna="barre = false\n"))
    assert [one.what for one in setup.messages] == [
        "[hand] says otherwise than its file 'anna.toml'"
    ]
    assert setup.messages[0].place.line == 2
    assert not setup.hand.allows_barre


def test_a_hand_file_outside_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "anna.toml").write_text("", encoding="utf-8")
    (tmp_path / "in").mkdir()
    folder = folder_with(tmp_path / "in", '[hand]\nfile = "../anna.toml"\n')
    with pytest.raises(SettingError, match=r"hand file '\.\./anna\.toml' lies outside the folder"):
        prepare(folder)
    with pytest.raises(SettingError, match=r"no hand 'anna'; known are small, .* hand files"):
        prepare(folder, Wishes(hand="anna"))
