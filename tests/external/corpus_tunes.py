"""Real tunes from the corpus of the installed music21 package (folders oneills1850, ryansMammoth
and airdsAirs, all printed before 1930), read where they lie and never copied."""

from __future__ import annotations

import functools
import random
from importlib.util import find_spec
from pathlib import Path

from tunebook.errors import InputError
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.solve.transpose import transpose_tune

FOLDERS = ("oneills1850", "ryansMammoth", "airdsAirs")
LOWEST_EASY, HIGHEST_EASY, HIGHEST = 55, 83, 89


def corpus_root() -> Path:
    spec = find_spec("music21")
    assert spec is not None and spec.origin is not None, "music21 is needed for its corpus"
    return Path(spec.origin).parent / "corpus"


@functools.cache
def corpus_texts() -> tuple[tuple[str, str], ...]:
    """(file name, text) of every tune, cut at X:."""
    found = []
    for folder in FOLDERS:
        for path in sorted((corpus_root() / folder).glob("*.abc")):
            text = path.read_text(encoding="utf-8", errors="replace")
            for piece in ("\n" + text).split("\nX:")[1:]:
                found.append((f"{folder}/{path.name}", "X:" + piece))
    return tuple(found)


def random_tunes(count: int, seed: int = 1) -> list[Tune]:
    """``count`` tunes at random, moved by octaves or to the nearest key that fits the strings."""
    texts = list(corpus_texts())
    random.Random(seed).shuffle(texts)
    tunes: list[Tune] = []
    for name, text in texts:
        try:
            tunes.extend(fit(tune) for tune in read_abc(text, name)[:1] if notes_of(tune))
        except InputError:
            continue
        if len(tunes) >= count:
            break
    return tunes[:count]


def notes_of(tune: Tune) -> list[int]:
    return [p.midi for bar in tune.bars for note in bar.notes for p in note.pitches]


def fit(tune: Tune) -> Tune:
    """The tune moved as little as possible into the compass of a three-row nyckelharpa."""
    lowest, highest = min(notes_of(tune)), max(notes_of(tune))
    octaves = [0, 12, -12, 24, -24]
    for shift, top in [(s, HIGHEST_EASY) for s in octaves] + [
        (s, HIGHEST) for s in sorted(range(-24, 25), key=abs)
    ]:
        if lowest + shift >= LOWEST_EASY and highest + shift <= top:
            return transpose_tune(tune, shift)
    return tune
