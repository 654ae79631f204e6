"""Source: the ABC tunes of music21's corpus and the prose of Python's own licence and modules.

Lines of music are known there by standing in the body of a tune, words by standing in a field or
a comment. The shares are limits on what was measured: of 16,000 lines of music one in 350 was
taken for words (nearly all with symbols that the file itself defines), of 40,000 lines of words,
English and Swedish, one in 2,500 for music.
"""

from __future__ import annotations

import random
import re
import sysconfig
from pathlib import Path

import pytest
from corpus_folders import FOLDERS, corpus_folder

from tunebook.read.abc.stray_lines import looks_like_music

_WORDS_FIELD = re.compile(r"[NHZBSTCOR]:")


def lines_of(name: str) -> tuple[list[str], list[str]]:
    """A thousand lines of music, and as many texts of fields."""
    music, words = [], []
    for path in sorted(corpus_folder(name).glob("*.abc")):
        for line in path.read_text(encoding="utf-8", errors="replace").split("\n"):
            if _WORDS_FIELD.match(line):
                words.append(line[2:].strip())
            elif re.search(r"[A-Ga-gz]", line) and not re.match(r"%|[A-Za-z]:", line):
                music.append(line)
    chosen = random.Random(2)
    return chosen.sample(music, 1000), chosen.sample(words, 1000)


@pytest.mark.parametrize("name", FOLDERS)
def test_music_of_the_corpora_is_music_and_its_fields_are_words(name: str) -> None:
    music, words = lines_of(name)
    assert sum(map(looks_like_music, music)) >= 985
    assert sum(map(looks_like_music, words)) <= 3


def test_comments_in_python_modules_are_words() -> None:
    library = Path(sysconfig.get_path("stdlib"))
    texts = [
        match[1]
        for path in sorted(library.glob("*.py"))
        for match in re.finditer(r"(?m)^\s*#+ (.*\S)", path.read_text("utf-8", "replace"))
    ]
    assert len(texts) > 3000
    assert sum(map(looks_like_music, texts)) <= len(texts) / 1000
