"""Tunes that somebody is typing: the last bar has no bar sign yet and cannot be whole.

A bar of another length than the metre's and a quotation mark without its partner are what is looked
for (as the reader says them), and only after the last bar sign of the tune's last line of music: a
tune that ends in a bar sign is as its writer wants it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from tunebook.errors import Message
from tunebook.model.tune import Tune
from tunebook.pipeline.load import Setup, gather_messages, read_tunes_in, tune_of
from tunebook.read.abc.text import without_comment
from tunebook.read.folder import AbcFile
from tunebook.read.spots import is_score

_KINDS = ("bar-length", "text")
_IS_NO_MUSIC = re.compile(r"\s*(?:[A-Za-z+]:(?![|:])|%|\Z)")
_IS_CLOSED = re.compile(r"(?:\|[\]:|]*|::)\s*\\?\s*\Z")


def half_typed(files: Iterable[AbcFile | Message], setup: Setup) -> tuple[Message, ...]:
    """What is said of the unfinished ends of the tunes in ``files``."""
    found: list[Message] = []
    for one in files:
        if isinstance(one, AbcFile) and not is_score(one.name):
            for tune in read_tunes_in(one, setup, tune_of):
                found += at_open_end(tune)
    return gather_messages(replace(setup, messages=()), found)


def at_open_end(tune: Tune) -> list[Message]:
    """What is said of the tune's last bar where it has no bar sign yet."""
    lines = tune.source_text.split("\n")
    music = [at for at, line in enumerate(lines) if not _IS_NO_MUSIC.match(line)]
    if not music:
        return []
    line = without_comment(lines[music[-1]])
    if _IS_CLOSED.search(line):
        return []
    last_sign = line.rfind("|") + 1
    return [
        one
        for one in tune.messages
        if one.kind in _KINDS
        and one.place.line == tune.first_line + music[-1]
        and one.place.column > last_sign
    ]
