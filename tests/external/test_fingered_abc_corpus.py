"""Source: tunes of music21's corpus. Fingered ABC of real tunes leads back to the arrangement."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest
from corpus_tunes import corpus_texts

from tunebook.model.choices import Line
from tunebook.pipeline.fingered_abc import fingered_file, is_same
from tunebook.pipeline.load import Wishes, prepare, read_tunes_in
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.printed_abc import is_another
from tunebook.read.folder import AbcFile

COUNT = 30
WRITTEN_TWICE = 8
OTHERWISE = 8


def texts_of(seed: int) -> list[bytes]:
    """Tunes of usual length, in an order that the seed gives."""
    texts = [text for _, text in corpus_texts() if 150 < len(text) < 600]
    return [text.strip().encode() + b"\n" for text in random.Random(seed).sample(texts, COUNT)]


@pytest.mark.parametrize(("edition", "tuning"), [("player", "CGCA"), ("student-2", "CGDA")])
def test_corpus_tunes_read_back_as_they_were_arranged(
    edition: str, tuning: str, tmp_path: Path
) -> None:
    setup = prepare(tmp_path, Wishes(edition=edition, tuning=tuning))
    compared = 0
    for data in texts_of(len(edition)):
        for tune in read_tunes_in(AbcFile("corpus.abc", data), setup):
            one = arrange_tune(tune, setup).arrangement
            assert one is not None
            written, messages = fingered_file(data, [one], setup)
            (again,) = read_tunes_in(AbcFile("corpus.abc", written), setup)
            other = arrange_tune(again, setup).arrangement
            assert other is not None
            assert [m for m in messages if "lead back" in m.what] == []
            assert is_same(one, other), tune.title
            if compared < WRITTEN_TWICE:
                assert fingered_file(written, [other], setup)[0] == written
            compared += 1
    assert compared >= COUNT - 2


@pytest.mark.parametrize(
    ("edition", "line"),
    [
        ("student-1", "full"),
        ("student-2", "plain"),
        ("teacher", "frame"),
        ("player", "frame and full"),
    ],
)
def test_what_is_printed_otherwise_reads_back_as_it_was_arranged(
    edition: str, line: Line, tmp_path: Path
) -> None:
    setup = prepare(tmp_path, Wishes(edition=edition))
    setup = replace(setup, edition=replace(setup.edition, line=line))
    moved = 0
    for data in texts_of(len(line))[:OTHERWISE]:
        for tune in read_tunes_in(AbcFile("corpus.abc", data), setup):
            one = arrange_tune(tune, setup, with_voices=True).arrangement
            if one is None:
                continue
            written, messages = fingered_file(data, [one], setup)
            assert messages == (), tune.title
            (again,) = read_tunes_in(AbcFile("corpus.abc", written), setup)
            other = arrange_tune(again, setup, with_voices=True).arrangement
            printed = replace(one, voices=()) if line == "frame" else one
            assert is_same(printed, other), tune.title
            moved += is_another(one, setup)
    assert moved >= OTHERWISE - 2
