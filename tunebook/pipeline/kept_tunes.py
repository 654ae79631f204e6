"""Tunes that were read, kept between runs by their text: what did not change is not read again.

Of a tune that stands at another line of its file now, all places are moved along. That cannot be
done with a message that tells numbers of lines in its words; such a tune is read once more.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping
from typing import Any

from tunebook.errors import SourcePlace
from tunebook.model.tune import Tune
from tunebook.pipeline.kept import content_sum
from tunebook.pipeline.load import tune_of
from tunebook.pipeline.packed import pack, unpack
from tunebook.pipeline.remembered import is_remembering
from tunebook.read.abc.tune import TuneText
from tunebook.store import Store

_NUMBER_OF_LINE = re.compile(r"\blines? \d")


def reader_with(store: Store) -> Callable[..., Tune]:
    """Return what reads a tune as :func:`tunebook.read.abc.tune.read_tune` does, but fetches it
    from ``store`` where it can, and keeps it there."""
    if store.folder is None:
        return tune_of
    return functools.partial(_kept_tune, store)


def _kept_tune(store: Store, text: TuneText, **wishes: Any) -> Tune:
    if is_remembering():
        return tune_of(text, **wishes)
    key = _key(text, wishes)
    found = _fetched(store, key, text.first_line)
    if found is None:
        found = tune_of(text, **wishes)
        head = f"{found.first_line} {_may_move(found):d}\n".encode()
        store.keep("tunes", key, head + pack(found))
    return found


def _key(text: TuneText, wishes: Mapping[str, Any]) -> str:
    """The sum of all that a tune's reading depends on, but where it stands."""
    return content_sum("tune", *parts_of_text(text), wishes)


def parts_of_text(text: TuneText) -> tuple[object, ...]:
    """All that a tune is read from, but where it stands in its file."""
    place = text.place
    where = place.path, place.line - text.first_line, place.column, place.spot
    score = text.spots, text.messages
    return where, text.number, text.text, text.header, text.title_above, *score


def _may_move(tune: Tune) -> bool:
    """Whether nothing but places says in which lines the tune stands. What is said of the line
    above the first one would be said of the whole file."""
    words = (f"{one.what} {one.remedy}" for one in tune.messages)
    return tune.first_line > 1 and not any(map(_NUMBER_OF_LINE.search, words))


def _fetched(store: Store, key: str, first_line: int) -> Any:
    data = store.fetch("tunes", key)
    if data is None:
        return None
    try:
        head, _, packed = data.partition(b"\n")
        kept_line, may_move = map(int, head.split())
        by = first_line - kept_line
        if not by:
            return unpack(packed)
        if not may_move or first_line <= 1:
            return None
        changes = {
            (SourcePlace, "line"): lambda line: line + by if line else 0,
            (Tune, "first_line"): lambda line: line + by,
        }
        return unpack(packed, changes=changes)
    except Exception:  # made by other versions of the packages
        return None
