"""Pictures: the keybox, chord shapes, the instrument's page by itself."""

from __future__ import annotations

import itertools
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path

import pikepdf
import pytest
from books import arrangement, harpa
from reading import text_of

from tunebook.book.design import Design
from tunebook.book.fonts.fonts import load_fonts
from tunebook.book.layout.paper import page_format
from tunebook.book.layout.sheet import Sheet
from tunebook.book.pages.chords import shape_drawing, shapes_row
from tunebook.book.pages.instrument import keybox_drawing, write_instrument_page
from tunebook.errors import OutputError
from tunebook.model.arrangement import Stop
from tunebook.model.words import fixed_words
from tunebook.store import Store


@dataclass
class Recorder:
    """Stands in for a sheet and remembers what is drawn."""

    fonts: object
    texts: list[tuple[float, float, str]] = field(default_factory=list)
    discs: list[tuple[float, float, float | None]] = field(default_factory=list)
    boxes: list[tuple[float, float, float, float]] = field(default_factory=list)
    figures: list[str] = field(default_factory=list)

    def text(self, left: float, base: float, text: str, *_: object, **__: object) -> float:
        self.texts.append((left, base, text))
        return 5.0

    def disc(
        self, centre: float, middle: float, radius: float, *, fill: float | None = None, **_: object
    ) -> None:
        self.discs.append((centre, middle, fill))

    def box(self, left: float, top: float, width: float, height: float, **_: object) -> None:
        self.boxes.append((left, top, width, height))

    def rule(self, *_: object, **__: object) -> None:
        """Lines are not remembered."""

    def figure(self, text: str, *_: object) -> nullcontext[None]:
        self.figures.append(text)
        return nullcontext()


@pytest.fixture(scope="module")
def design(store: Store) -> Design:
    fonts = load_fonts(store)
    return Design(page_format("a4"), fonts, fixed_words("en"))


def test_every_key_of_the_keybox_is_drawn_once(design: Design) -> None:
    record = Recorder(design.fonts)
    keybox_drawing(harpa(), 499.0, fixed_words("en")).paint(record, 0.0, 0.0)  # type: ignore[arg-type]
    # One box for the keybox itself.
    assert len(record.boxes) - 1 == 11 + 14 + 20


def test_keys_are_drawn_to_scale_and_do_not_touch(design: Design) -> None:
    record = Recorder(design.fonts)
    keybox_drawing(harpa(), 499.0, fixed_words("en")).paint(record, 0.0, 0.0)  # type: ignore[arg-type]
    row = [box for box in record.boxes[1:] if box[1] == record.boxes[-1][1]]
    assert len(row) == 20
    middles = [left + width / 2 for left, _, width, _ in row]
    steps = [after - before for before, after in itertools.pairwise(middles)]
    # Each step is smaller than the one before by the twelfth root of two.
    for before, after in itertools.pairwise(steps):
        assert before / after == pytest.approx(2 ** (1 / 12), rel=1e-6)
    for (left, _, width, _), (right, _, _, _) in itertools.pairwise(row):
        assert left + width < right


def test_the_lowest_string_is_at_the_bottom(design: Design) -> None:
    record = Recorder(design.fonts)
    keybox_drawing(harpa(), 499.0, fixed_words("en")).paint(record, 0.0, 0.0)  # type: ignore[arg-type]
    names = {text: base for left, base, text in record.texts if left < 30.0}
    assert names["A"] < names["D"] < names["G"] < names["C"]


def test_a_shape_has_a_disc_for_each_key_and_a_ring_for_each_open_string(design: Design) -> None:
    record = Recorder(design.fonts)
    shape = (Stop(55, 2, 0, 0), Stop(64, 3, 2, 1), Stop(72, 4, 3, 2))
    drawing = shape_drawing("C", shape, harpa(), 64.0, design.words)
    drawing.paint(record, 0.0, 0.0)  # type: ignore[arg-type]
    filled = [disc for disc in record.discs if disc[2] is not None]
    rings = [disc for disc in record.discs if disc[2] is None]
    assert (len(filled), len(rings)) == (2, 1)
    # Higher strings stand higher on the page; higher keys further from the nut.
    assert filled[1][1] < filled[0][1] < rings[0][1]
    assert rings[0][0] < filled[0][0] < filled[1][0]
    assert {"C", "1", "2"} <= {text for _, _, text in record.texts}


def test_a_high_shape_stays_within_its_picture(design: Design) -> None:
    record = Recorder(design.fonts)
    shape_drawing("F", (Stop(88, 4, 19, 4),), harpa(), 64.0, design.words).paint(record, 0.0, 0.0)  # type: ignore[arg-type]
    assert all(0 < centre < 64.0 for centre, _, _ in record.discs)


def test_each_chord_of_a_tune_is_drawn_once(design: Design) -> None:
    tune = arrangement("Polska")
    chord = tune.chords[0]
    tune = replace(tune, chords=(chord, chord, replace(chord, shape=())))
    record = Recorder(design.fonts)
    row = shapes_row(tune, design)
    assert row is not None
    row.draw(record, 0.0, 0.0)  # type: ignore[arg-type]
    assert [text for _, _, text in record.texts].count("G") == 1
    # The shape of the small book's chord, in words.
    assert record.figures == ["Shape of G: open G, open D, B4 (A string, key 2) with finger 1"]
    assert shapes_row(replace(tune, chords=()), design) is None


@pytest.mark.parametrize(("paper", "language"), [("a4", "en"), ("a5", "sv")])
def test_the_instrument_page_can_stand_alone(
    tmp_path: Path, store: Store, paper: str, language: str
) -> None:
    path = tmp_path / "harpa.pdf"
    write_instrument_page(harpa(), path, paper=paper, language=language, store=store)
    with pikepdf.open(path) as document:
        assert len(document.pages) == 1
    assert "C3–F6" in text_of(path)


def test_an_instrument_page_that_cannot_be_written_is_one_line(
    tmp_path: Path, store: Store
) -> None:
    with pytest.raises(OutputError) as caught:
        write_instrument_page(harpa(), tmp_path, store=store)
    assert "\n" not in str(caught.value)


def test_a_sheet_of_the_recorder_has_the_methods_of_the_real_one() -> None:
    for name in ("text", "disc", "box", "rule", "figure"):
        assert callable(getattr(Sheet, name))
