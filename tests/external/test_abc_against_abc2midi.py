"""Source: abc2midi (Debian package abcmidi) on a sample of the ABC tunes of music21's corpus.

A hundred tunes of each folder, drawn with a fixed seed, and every tune on the kept list of
reasons. The whole corpus is compared by compare_corpora.py in this folder.
"""

from __future__ import annotations

import os
import random
import shutil
from pathlib import Path

import pytest
from abc2midi_comparison import (
    compare,
    first_difference,
    is_explained,
    plain_copy,
    read_reasons,
)
from corpus_folders import FOLDERS, corpus_folder

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import TuneText, read_tune
from tunebook.read.folder import iterate_files, iterate_tune_texts

needs_abc2midi = pytest.mark.skipif(
    shutil.which("abc2midi") is None and not os.environ.get("CI"),
    reason="abc2midi (Debian package abcmidi) is not installed",
)


def texts_of(name: str) -> list[TuneText]:
    folder = corpus_folder(name)
    pieces = iterate_tune_texts(iterate_files(folder))
    return [piece for piece in pieces if isinstance(piece, TuneText)]


def key_of(name: str, tune: Tune) -> str:
    return f"{name}/{tune.place.path}:{tune.place.line}"


@needs_abc2midi
@pytest.mark.parametrize("name", FOLDERS)
@pytest.mark.parametrize("which", ["written", "played"])
def test_sample_agrees_or_has_a_kept_reason(name: str, which: str, tmp_path: Path) -> None:
    texts = random.Random(1850).sample(texts_of(name), 100)
    tunes = [read_tune(text) for text in texts]
    reasons = read_reasons()
    unexplained = []
    for tune, difference in zip(tunes, compare(tunes, which, tmp_path), strict=True):
        kept = reasons.get(key_of(name, tune), [])
        if difference is not None and not any(
            is_explained(tune, reason, which, tmp_path) for reason in kept
        ):
            unexplained.append(f"{tune.place}: {difference}")
    assert not unexplained


@needs_abc2midi
@pytest.mark.parametrize("name", FOLDERS)
def test_every_kept_reason_stands_the_test(name: str, tmp_path: Path) -> None:
    reasons = {key: kept for key, kept in read_reasons().items() if key.startswith(name)}
    found = 0
    failed = []
    for text in texts_of(name):
        for reason in reasons.get(f"{name}/{text.place.path}:{text.place.line}", []):
            found += 1
            tune = read_tune(text)
            sides = ("written", "played") if reason.which == "both" else (reason.which,)
            failed += [
                f"{reason.tune} {reason.name} {which}"
                for which in sides
                if not is_explained(tune, reason, which, tmp_path)
            ]
    assert not failed
    assert found == sum(len(kept) for kept in reasons.values())


def test_plain_copy_keeps_notes_and_drops_ornaments() -> None:
    text = 'X:7\nT:Air\nR:hornpipe\nM:3/4\nK:D\n"A"{g}!trill!~a2 .b|:[K:G] [gb]2:|2 T^f4|]'
    assert plain_copy(text, 1, with_repeats=True).split("\n")[2:] == [
        "M:3/4",
        "K:D",
        "%%MIDI chordattack 0",
        "a2 b|:[K:G] [gb]2:|2 ^f4|]",
        "",
        "",
    ]
    assert "a2 b|[K:G] [gb]2| ^f4|" in plain_copy(text, 1, with_repeats=False)


def test_a_wrong_pitch_is_a_difference() -> None:
    ours = [(0, 60, 240), (240, 62, 240)]
    assert first_difference(ours, [(0, 60, 240), (240, 63, 240)]) is not None
    assert first_difference(ours, [(0, 60, 240)]) is not None
    assert first_difference(ours, [(1, 60, 239), (240, 62, 241)]) is None
