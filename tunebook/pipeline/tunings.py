"""Tunings inside a book: those that tunes.toml names for a tune or a set, or a tune's own text does
(``r:tuning CGCA``), beside the book's own.

A tune's own tuning counts before its set's, that before the one in its text, and that before the
edition's and the book's. What the command line asks for takes the place of the book's and of the
edition's; another instrument has tunings of its own, so none of these count for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from tunebook.errors import Message, SettingError, SourcePlace
from tunebook.files import FilesRead
from tunebook.model.book import Book
from tunebook.model.instrument import Instrument
from tunebook.read.settings.profile import read_instrument

Tunings = tuple[tuple[str, Instrument], ...]
"""The instrument in each tuning that tunes.toml names, by that name."""


NO_TUNINGS: Mapping[int, str] = MappingProxyType({})
"""That no tune names a tuning."""


def tunings_of_texts(
    named: Mapping[int, tuple[str, SourcePlace]], profile: str, read: FilesRead
) -> tuple[dict[int, str], tuple[Message, ...]]:
    """Of the tunings that the texts of tunes name, by the tune's id, those that can be used, and a
    message for each that cannot."""
    usable: dict[int, str] = {}
    messages: list[Message] = []
    for tune, (tuning, place) in named.items():
        try:
            read_instrument(profile, tuning, read)
        except SettingError as error:
            remedy = "the book's is used; name one in its remark r:tuning, or take that out"
            messages.append(Message(place, "tuning", error.what, remedy))
        else:
            usable[tune] = tuning
    return usable, tuple(messages)


def named_tunings(book: Book, profile: str, read: FilesRead) -> tuple[Tunings, tuple[Message, ...]]:
    """Return the instrument in every tuning that is named for a tune or a set, and a message for
    each that cannot be used; the tunes are then in the book's."""
    named = [(one.tuning, one.place, f"set {one.title!r}") for one in book.sets]
    named += [(one.tuning, one.place, f"tune {one.tune!r}") for one in book.choices]
    found: dict[str, Instrument] = {}
    messages: list[Message] = []
    for tuning, place, whose in named:
        if tuning is None or tuning in found:
            continue
        try:
            found[tuning] = read_instrument(profile, tuning, read)
        except SettingError as error:
            place = place or book.place or SourcePlace("")
            remedy = f"the book's is used; {error.remedy}".rstrip("; ")
            messages.append(Message(place, "setting", f"{whose}: {error.what}", remedy))
    return tuple(found.items()), tuple(messages)


def grouped(tunings: Sequence[str]) -> list[int]:
    """The places of a set's tunes in an order that keeps tunes of one tuning together: as written
    otherwise, the tuning of the first tune first."""
    first = {name: at for at, name in reversed(list(enumerate(tunings)))}
    return sorted(range(len(tunings)), key=lambda at: (first[tunings[at]], at))
