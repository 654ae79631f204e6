"""The order of a book: the sets first, then the rest; tunes by the names that settings give them,
and the tunings in which they are played."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from tunebook.errors import Message, SourcePlace
from tunebook.model.book import Book, Edition
from tunebook.model.tune import Tune
from tunebook.pipeline.tunings import NO_TUNINGS, grouped


@dataclass(frozen=True, slots=True)
class Section:
    """Tunes that follow each other under one heading; an empty title has no heading."""

    title: str
    note: str
    tunes: tuple[Tune, ...]
    is_kept_together: bool = False


def tune_identity(tune: Tune) -> str:
    """The tune's name in tunes.toml and in files: "file.abc:X", by line where X: is missing.

    Letters are composed (NFC) as they are typed; some systems keep names of files decomposed."""
    name = f"{tune.file}:{tune.number or 'line' + str(tune.first_line)}"
    return unicodedata.normalize("NFC", name)


def unique_identities(tunes: tuple[Tune, ...]) -> tuple[str, ...]:
    """Return identities parallel to ``tunes``; where a file uses a number twice, the later tune's
    has its line added."""
    seen: set[str] = set()
    names = []
    for tune in tunes:
        name = tune_identity(tune)
        if name in seen:
            name = f"{name}@{tune.first_line}"
        seen.add(name)
        names.append(name)
    return tuple(names)


def order_tunes(
    tunes: tuple[Tune, ...], book: Book, edition: Edition, *, is_part: bool = False
) -> tuple[tuple[Section, ...], tuple[Message, ...]]:
    """Return the sections of the book and messages about names that match no tune.

    A tune may stand in several sets, but is printed where it stands first. An edition's own list
    of tunes picks from all and keeps their order. ``is_part`` says that only a part of the folder
    was read, so that names of other tunes are no mistakes.
    """
    messages: list[Message] = []
    left_out = {choice.tune for choice in book.choices if choice.is_left_out}
    tunes = tuple(tune for tune in tunes if tune_identity(tune) not in left_out)
    if edition.tunes:
        place = edition.tunes_place or book.place
        whose = f"edition {edition.name!r}"
        picked = _resolve(edition.tunes, tunes, whose, place, messages, is_part)
        tunes = tuple(tune for tune in tunes if tune in picked)
        is_part = True
    sections: list[Section] = []
    seen: set[str] = set()
    for one in book.sets:
        found = _resolve(one.tunes, tunes, f"set {one.title!r}", one.place, messages, is_part)
        fresh = [tune for tune in found if tune_identity(tune) not in seen]
        seen.update(tune_identity(tune) for tune in fresh)
        if fresh:
            sections.append(Section(one.title, one.note, tuple(fresh), one.is_kept_together))
    rest = tuple(tune for tune in tunes if tune_identity(tune) not in seen)
    if rest:
        sections.append(Section("", "", rest))
    return tuple(sections), tuple(messages)


def _resolve(
    names: tuple[str, ...],
    tunes: tuple[Tune, ...],
    where: str,
    place: SourcePlace | None,
    messages: list[Message],
    is_quiet: bool = False,
) -> list[Tune]:
    by_name: dict[str, Tune] = {}
    for tune in tunes:
        for title in tune.titles:
            by_name.setdefault(unicodedata.normalize("NFC", title), tune)
    by_name.update({tune_identity(tune): tune for tune in tunes})
    found = []
    for name in names:
        if name in by_name:
            found.append(by_name[name])
        elif not is_quiet:
            what = f"{where} names {name!r}, which is no tune of the folder"
            close = difflib.get_close_matches(name, by_name, 1)
            remedy = "write file.abc:X, or the title as it stands"
            if close:
                remedy = f"did you mean {close[0]!r}?"
            messages.append(Message(place or SourcePlace("tunes.toml"), "set", what, remedy))
    return found


def unknown_choices(
    tunes: tuple[Tune, ...], book: Book, unread: Collection[str] = ()
) -> Iterator[Message]:
    """That what tunes.toml says of a tune is about no tune there is; those of the files ``unread``,
    of which something could not be used, are no mistakes."""
    names = {*map(tune_identity, tunes), *unique_identities(tunes)}
    titles = {title: tune_identity(tune) for tune in reversed(tunes) for title in tune.titles}
    for choice in book.choices:
        if choice.tune in names or choice.tune.rpartition(":")[0] in unread:
            continue
        close = difflib.get_close_matches(choice.tune, sorted(names), 1)
        meant = titles.get(choice.tune) or next(iter(close), "")
        what = f"[tune.{choice.tune!r}] is about no tune of the folder"
        remedy = f"did you mean {meant!r}?" if meant else "write file.abc:X"
        yield Message(choice.place or SourcePlace("tunes.toml"), "setting", what, remedy)


def tunings_of(
    tunes: tuple[Tune, ...], book: Book, of_texts: Mapping[int, str] = NO_TUNINGS
) -> dict[int, str]:
    """The tunings that tunes.toml names for these tunes or their sets, or else their own texts, by
    the tune's id."""
    found: dict[int, str] = {}
    for one in book.sets:
        if one.tuning:
            for tune in _resolve(one.tunes, tunes, "", one.place, [], is_quiet=True):
                found.setdefault(id(tune), one.tuning)
    own = {choice.tune: choice.tuning for choice in book.choices if choice.tuning}
    found |= {id(tune): own[name] for tune in tunes if (name := tune_identity(tune)) in own}
    return {**of_texts, **found}


def in_groups(section: Section, tunings: dict[int, str], book: Book) -> Section:
    """The section with the tunes of one tuning together, where tunes may change places."""
    if not (section.title and book.may_reorder):
        return section
    order = grouped([tunings.get(id(tune), "") for tune in section.tunes])
    return replace(section, tunes=tuple(section.tunes[at] for at in order))


def tuned(section: Section, tunings: dict[int, str]) -> Section:
    """The section whose tunes know their tunings."""
    if not any(id(tune) in tunings for tune in section.tunes):
        return section
    tunes = (replace(one, tuning=tunings.get(id(one), "")) for one in section.tunes)
    return replace(section, tunes=tuple(tunes))
