"""The fixed words: every language says the same things, and each place has its text."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import tunebook
from tunebook.model import words as room
from tunebook.model.words import fixed_words

FILES = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in sorted((Path(tunebook.__file__).parent / "data" / "words").glob("*.toml"))
}
ENGLISH, SWEDISH = fixed_words("en"), fixed_words("sv")
# What one language may name and another need not.
OF_ONE_LANGUAGE = {"names", "key_names", "note_names_text"}


def leaves(table: dict[str, Any], path: str = "") -> Iterator[tuple[str, str]]:
    """All texts with the names that lead to them, in order."""
    for name, value in table.items():
        if isinstance(value, dict):
            if name not in OF_ONE_LANGUAGE:
                yield from leaves(value, f"{path}{name}.")
        elif isinstance(value, list):
            yield from ((f"{path}{name} {at}", text) for at, text in enumerate(value))
        else:
            yield f"{path}{name}", str(value)


def test_every_language_has_the_same_places_in_the_same_order() -> None:
    assert len(FILES) >= 2
    names = [[name for name, _ in leaves(file)] for file in FILES.values()]
    assert len(names[0]) > 200
    assert all(other == names[0] for other in names)


def test_texts_of_every_language_take_the_same_values() -> None:
    places = [{name: text.count("{}") for name, text in leaves(file)} for file in FILES.values()]
    assert all(other == places[0] for other in places)
    assert not any(
        "{" in text.replace("{}", "") for file in FILES.values() for _, text in leaves(file)
    )


def test_what_a_fingerboard_says_otherwise_replaces_something() -> None:
    for language, file in FILES.items():
        own = dict(leaves(file.pop("fingerboard")))
        usual = dict(leaves(file))
        assert own.keys() <= usual.keys()
        for name, text in own.items():
            assert text != usual[name] and text.count("{}") == usual[name].count("{}"), name
        fiddle, harpa = fixed_words(language, "fingerboard"), fixed_words(language)
        assert fiddle.legend["barre"] == own["legend.barre"] != harpa.legend["barre"]
        assert fiddle.report.tune_text == own["report.tune_text"]
        assert fiddle.notes["row_jump"] == own["notes.row_jump"]
        assert fiddle.legend["finger"] == harpa.legend["finger"]


def test_every_mode_has_a_name() -> None:
    # The seven modes of the diatonic scale (The ABC Music Standard 2.1, section 3.1.14).
    modes = {"ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "locrian"}
    assert set(ENGLISH.modes) == set(SWEDISH.modes) == modes


def test_a_text_that_is_missing_or_has_no_place_is_named() -> None:
    texts = dict(room._texts("en"))
    del texts["fingerboard"]
    with pytest.raises(TypeError, match="no_such_place"):
        room._record("en", {**texts, "no_such_place": "x"})
    del texts["contents"]
    with pytest.raises(TypeError, match="contents"):
        room._record("en", texts)


def test_numbers_bear_the_decimal_sign_of_the_language() -> None:
    assert ENGLISH.decimal(16.5) == "16.5"
    assert SWEDISH.decimal(2.04) == "2,0"


def test_swedish_leaves_no_english_word() -> None:
    swedish = dict(leaves(FILES["sv"]))
    shared = {
        name
        for name, text in leaves(FILES["en"])
        if text == swedish[name] and text.strip("{} ").isalpha()
    }
    finger = {"learning.mark.finger", "learning.agreement_columns 2"}
    assert shared == {"instrument", "hand", "tempo"} | finger


def test_an_unknown_name_stands_as_it_is() -> None:
    assert SWEDISH.local("Fiddle") == "Fiol"
    assert SWEDISH.local("My own harpa") == "My own harpa"


def test_a_language_that_is_not_there_is_an_error() -> None:
    with pytest.raises(KeyError):
        fixed_words("xx")
