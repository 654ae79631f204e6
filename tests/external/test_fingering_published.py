"""Source: Parncutt, Sloboda, Clarke, Raekallio & Desain 1997, Music Perception 14(4), table of
spans; and the usual fret formula of equal temperament, worked out by hand."""

from __future__ import annotations

import pytest

from tunebook.model.hand import FINGER_PAIRS
from tunebook.model.instrument import key_place_mm
from tunebook.read.settings.profile import read_hand, read_instrument

PUBLISHED = {
    # MinPrac, MinComf, MinRel, MaxRel, MaxComf, MaxPrac in piano semitones; fingers 2 to 5 there.
    (1, 2): (1, 1, 1, 2, 3, 5),
    (1, 3): (1, 1, 3, 4, 5, 7),
    (1, 4): (2, 2, 5, 6, 8, 10),
    (2, 3): (1, 1, 1, 2, 2, 4),
    (2, 4): (1, 1, 3, 4, 5, 7),
    (3, 4): (1, 1, 1, 2, 3, 5),
}
SEMITONE_MM = 165 / 12


@pytest.mark.parametrize("pair", FINGER_PAIRS)
def test_the_medium_hands_spans_are_the_published_ones(pair: tuple[int, int]) -> None:
    span = read_hand().span(*pair)
    bounds = (
        span.min_practical_mm, span.min_comfortable_mm, span.min_relaxed_mm,
        span.max_relaxed_mm, span.max_comfortable_mm, span.max_practical_mm,
    )  # fmt: skip
    assert bounds == pytest.approx([s * SEMITONE_MM for s in PUBLISHED[pair]])


def test_the_twelfth_key_halves_the_string() -> None:
    # 400 (1 - 1/2) = 200.
    assert key_place_mm(400.0, 12) == pytest.approx(200.0)


def test_the_seventh_key_lies_where_the_formula_says() -> None:
    # 2^(-7/12) = 0.667420; 400 (1 - 0.667420) = 133.03.
    assert key_place_mm(400.0, 7) == pytest.approx(133.03, abs=0.005)


def test_the_default_keybox_follows_the_formula() -> None:
    string = read_instrument("nyckelharpa-3row").string(4)
    assert string.place_mm(7) == pytest.approx(133.03, abs=0.005)
    assert string.place_mm(12) == pytest.approx(200.0)
    assert string.place_mm(0) == 0.0


def test_the_spans_are_the_published_ones() -> None:
    for span, pair in zip(read_hand().spans, FINGER_PAIRS, strict=True):
        bounds = (
            span.min_practical_mm,
            span.min_comfortable_mm,
            span.min_relaxed_mm,
            span.max_relaxed_mm,
            span.max_comfortable_mm,
            span.max_practical_mm,
        )
        assert bounds == pytest.approx([s * SEMITONE_MM for s in PUBLISHED[pair]], abs=0.001)
