"""The languages of the fixed words."""

from __future__ import annotations

from tunebook.assemble.fixed_words import FixedWords
from tunebook.assemble.words_en import ENGLISH
from tunebook.assemble.words_sv import SWEDISH

_LANGUAGES = {"en": ENGLISH, "sv": SWEDISH}


def fixed_words(language: str) -> FixedWords:
    """Return the words of ``language``: "en" or "sv". Raises KeyError for any other."""
    return _LANGUAGES[language]
