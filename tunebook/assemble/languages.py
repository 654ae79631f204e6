"""The languages of the fixed words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from tunebook.assemble import words_en, words_sv
from tunebook.assemble.fixed_words import FixedWords
from tunebook.model.book import Book
from tunebook.model.instrument import Instrument

_LANGUAGES = {
    "en": (words_en.ENGLISH, words_en.FINGERBOARD),
    "sv": (words_sv.SWEDISH, words_sv.FINGERBOARD),
}


def fixed_words(language: str, kind: str = "keyed", note_names: str | None = None) -> FixedWords:
    """Return the words of ``language`` ("en" or "sv") for an instrument of this kind.

    ``note_names`` is one of NOTE_NAMES, None for those that are usual in the language. Raises
    KeyError for any other language."""
    words, fingerboard = _LANGUAGES[language]
    if kind == "fingerboard":
        words = replace(words, **{name: _merged(words, name, fingerboard) for name in fingerboard})
    if note_names is not None:
        words = replace(words, note_names=note_names)
    said = words.note_names_text[words.note_names]
    if said:
        chord = f"{words.legend['chord']} {said}"
        words = replace(words, legend={**words.legend, "chord": chord})
    return words


def words_for(book: Book, instrument: Instrument) -> FixedWords:
    """The words of a book for an instrument."""
    return fixed_words(book.language, instrument.kind, book.note_names)


def _merged(words: FixedWords, name: str, changed: Mapping[str, Any]) -> Any:
    if isinstance(changed[name], Mapping):
        return {**getattr(words, name), **changed[name]}
    return changed[name]
