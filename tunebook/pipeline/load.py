"""One way in for every command: settings, tunes read once and in order, and what was noticed.

:func:`prepare` reads what a run works with: the folder's tunes.toml, the instrument, the hand, the
edition. :func:`load` reads every tune of the folder, puts them into the order of the book (the sets
first, then the rest) and refuses a folder of which nothing can be used. A command that asks for the
bytes of the files first (:func:`read_files`) hands them on, so that no file is read twice.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from tunebook.errors import InputError, Message, SettingError, SourcePlace
from tunebook.files import FILE, FilesRead, kind_of
from tunebook.model.book import Book, Edition
from tunebook.model.choices import HAND_SIZES
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.pipeline.order import (
    Section,
    in_groups,
    order_tunes,
    tuned,
    tunings_of,
    unknown_choices,
)
from tunebook.pipeline.players import (
    Player,
    Players,
    for_second_player,
    may_leave_folder,
    profile_path,
    read_players,
    voice_names,
    with_hand,
)
from tunebook.pipeline.questions import is_question, said_of_answer
from tunebook.pipeline.remembered import is_remembering, recalled, remember
from tunebook.pipeline.tunings import Tunings, named_tunings, tunings_of_texts
from tunebook.read.abc.tune import TuneText, read_tune
from tunebook.read.folder import AbcFile, iterate_files, iterate_tunes, leads_out
from tunebook.read.limits import ReadingLimits
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.read.settings.tunes_file import read_settings

SETTINGS_FILE_NAME = "tunes.toml"
MOST_MESSAGES = 10_000

Progress = Callable[[str, str, int, int], None]
"""Called with the stage's name, the tune's title, how many are done, and of how many."""


def no_progress(stage: str, name: str, done: int, total: int) -> None:
    """Say nothing."""


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything a run needs to know before the first tune is read; ``read`` is the record of
    the files that the run reads, ``profile`` the name or path of the instrument's profile. In an
    edition of second voices instrument and hand are those of who plays them; ``players`` are those
    of the voices beside the melody, by what the settings call them; ``tunings`` holds the
    instrument in each tuning that tunes.toml names for a tune or a set, and ``tunes_have_tunings``
    says that those in the texts of tunes count too."""

    folder: Path
    book: Book
    instrument: Instrument
    hand: Hand
    edition: Edition
    messages: tuple[Message, ...] = ()
    players: Players = ()
    read: FilesRead = field(default_factory=FilesRead, compare=False, repr=False)
    profile: str = field(default="", compare=False, repr=False)
    tunings: Tunings = ()
    tunes_have_tunings: bool = False

    def for_tune(self, tune: Tune) -> Setup:
        """The setup with the instrument tuned as the tune wants it."""
        tuned = dict(self.tunings).get(tune.tuning)
        is_of_text = self.tunes_have_tunings and tune.tuning == tune.tuning_of_text
        if tuned is None and tune.tuning and is_of_text:
            tuned = read_instrument(self.profile, tune.tuning)
        return self if tuned is None else replace(self, instrument=tuned)

    @property
    def may_leave_folder(self) -> bool:
        """Whether links that lead out of the folder are followed."""
        return may_leave_folder(self.book)


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asks for; None means "as tunes.toml says". Without
    ``reads_hand_file`` the hand files that tunes.toml names, for the book or for an edition, are
    passed over."""

    settings_file: Path | None = None
    instrument: str | None = None
    tuning: str | None = None
    hand: str | None = None
    edition: str | None = None
    reads_hand_file: bool = True


@dataclass(frozen=True, slots=True)
class BuildOrder:
    """What the command line asks of a build; None and False mean the usual."""

    output: Path | None = None
    keep_source: Path | None = None
    jobs: int | None = None
    uses_cache: bool = True
    scheduler: str | None = None
    check_left_out: Callable[[Sequence[Message]], None] | None = None
    """Asked, before anything is written, whether the book may do without what these messages leave
    out; raises when not."""


def prepare(folder: Path, wishes: Wishes = Wishes()) -> Setup:
    """Return the Setup for ``folder`` (or a single ABC file).

    Raises InputError when the folder does not exist, SettingError when tunes.toml, the
    instrument, the tuning, the hand or the edition cannot be used.
    """
    return prepare_all(folder, (wishes,))[0]


def prepare_all(folder: Path, wishes: Sequence[Wishes]) -> tuple[Setup, ...]:
    """Return a Setup for each of ``wishes``, tunes.toml read once: the file that the first of them
    names. Raises as :func:`prepare` does."""
    read = FilesRead()
    book, messages = read_book(folder, wishes[0].settings_file, read)
    return tuple(_setup(folder, book, one, messages, read) for one in wishes)


def read_book(
    folder: Path, settings: Path | None, read: FilesRead
) -> tuple[Book, tuple[Message, ...]]:
    """Return what the folder's tunes.toml, or the file ``settings``, says. Raises InputError when
    the folder does not exist, SettingError when the file cannot be used."""
    check_is_there(folder)
    path, said = _settings_file(folder, settings)
    book, messages = read_settings(path, read)
    return book, (*said, *messages)


def _setup(
    folder: Path, book: Book, wishes: Wishes, messages: tuple[Message, ...], read: FilesRead
) -> Setup:
    edition = _edition(book, wishes.edition or "player")
    book, said = _wished_book(book, edition, wishes, read)
    messages = tuple(dict.fromkeys((*messages, *said)))
    profile = wishes.instrument or profile_path(book.instrument, book)
    instrument, hand = read_instrument(profile, book.tuning, read), read_hand(book.hand)
    players, said = read_players(book, edition, Player(instrument, hand), profile, read)
    messages = tuple(dict.fromkeys((*messages, *said)))
    tunings: Tunings = ()
    tunes_have_tunings = not wishes.instrument and edition.voices != "second"
    if tunes_have_tunings:
        tunings, said = named_tunings(book, profile, read)
        messages = tuple(dict.fromkeys((*messages, *said)))
    if edition.voices == "second" and (wishes.instrument or wishes.tuning or wishes.hand):
        players = ()  # the one who plays from such a book is the one who asks for it
    return Setup(
        folder=folder,
        book=book,
        instrument=instrument,
        hand=hand,
        edition=edition,
        messages=messages,
        players=players,
        read=read,
        profile=profile,
        tunings=tunings,
        tunes_have_tunings=tunes_have_tunings,
    )


def _wished_book(
    book: Book, edition: Edition, wishes: Wishes, read: FilesRead
) -> tuple[Book, tuple[Message, ...]]:
    """The book with the tuning and the hand that its edition and the command line ask for."""
    if edition.tuning is not None:
        book = replace(book, tuning=edition.tuning)
    own_hand = edition.hand
    if edition.voices == "second":
        book, own_hand = for_second_player(book, edition)
    if not wishes.reads_hand_file:
        book = replace(book, hand=replace(book.hand, file=None))
        own_hand = own_hand if own_hand in HAND_SIZES else None
    return with_hand(_with_wishes(book, wishes), wishes.hand, own_hand, read)


def check_is_there(folder: Path) -> None:
    """Raise InputError when there is no such file or folder, or it cannot be looked at."""
    place = SourcePlace(str(folder))
    try:
        folder.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise InputError("no such file or folder", "check the path", place) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read ({reason})", "check its name and rights", place) from None


def _settings_file(folder: Path, wished: Path | None) -> tuple[Path | None, tuple[Message, ...]]:
    """The settings file, if there is one; a message where something else bears its name."""
    home = folder if folder.is_dir() else folder.parent
    path = wished or home / SETTINGS_FILE_NAME
    place = SourcePlace(str(path))
    try:
        kind = kind_of(path)
    except OSError as error:
        what = f"cannot be read ({error.strerror})"
        raise SettingError(what, "check the path and its rights", place) from None
    if wished is not None:
        if kind != FILE:
            raise SettingError(f"is {kind}" if kind else "no such file", "check --settings", place)
        return wished, ()
    if kind == FILE:
        if leads_out(path, home):
            remedy = "copy the file here, or name it with --settings"
            raise SettingError("the link leads out of the folder", remedy, place)
        return path, ()
    if not kind:
        return None, ()
    what = f"it is {kind}, so there are no settings"
    return None, (Message(place, "setting", what, "put a file there, or remove it"),)


def _with_wishes(book: Book, wishes: Wishes) -> Book:
    if wishes.instrument is not None:
        # Another instrument has its own tuning, unless one is asked for.
        book = replace(book, instrument=wishes.instrument, tuning=None)
    if wishes.tuning is not None:
        book = replace(book, tuning=wishes.tuning)
    return book


def _edition(book: Book, name: str) -> Edition:
    edition = book.edition(name)
    if edition is None:
        known = ", ".join(one.name for one in book.editions)
        raise SettingError(f"no edition {name!r}", f"known are {known}", book.place)
    return replace(edition, paper=edition.paper or book.paper)


class Messages:
    """Messages, each once, in order. Where they are bounded, of those for which nothing was left
    out only MOST_MESSAGES are ``kept``, and the ``further`` ones counted."""

    def __init__(self, *, are_bounded: bool) -> None:
        self.kept: dict[Message, None] = {}
        self.further = 0
        self._are_bounded = are_bounded

    def add(self, *messages: Message) -> None:
        """Keep or count ``messages``."""
        for message in messages:
            is_kept = message.is_fatal or len(self.kept) < MOST_MESSAGES or not self._are_bounded
            if is_kept:
                self.kept.setdefault(message)
            else:
                self.further += 1


@dataclass(frozen=True, slots=True)
class Loaded:
    """The tunes that a command works on, in ``sections`` and one after the other. ``messages`` are
    those of reading and ordering, ``further`` the number of those that were too many to keep;
    ``texts`` are parallel to the tunes where these are without their music, else empty."""

    sections: tuple[Section, ...]
    messages: tuple[Message, ...]
    further: int = 0
    texts: tuple[TuneText, ...] = ()

    @property
    def tunes(self) -> tuple[Tune, ...]:
        """The tunes of all sections."""
        return tuple(tune for section in self.sections for tune in section.tunes)


def load(
    setup: Setup,
    files: Iterable[AbcFile | Message] | None = None,
    *,
    is_ordered: bool = True,
    holds_music: bool = True,
    has_questions: bool = False,
    reader: Callable[..., Tune] | None = None,
) -> Loaded:
    """Read every tune of the setup's folder once and put them into the order of the book.

    ``files`` are what :func:`read_files` gave, where they are at hand. Without ``is_ordered`` the
    tunes stay as they stand in the files, those that the settings leave out among them. Without
    ``holds_music`` of each tune only its text is held, for :func:`read_again`, and of endless
    messages only so many. Questions to a player are passed over without ``has_questions``,
    but for what is said of their answers.
    ``reader`` answers as ``read_tune`` does, from what is kept.

    Raises InputError when the folder is gone or no tune of it can be used, with the first reason.
    """
    said = Messages(are_bounded=not holds_music)
    tunes: list[Tune] = []
    texts: dict[int, TuneText] = {}
    named: dict[int, tuple[str, SourcePlace]] = {}
    idle = [name for name, _ in setup.players]
    files = each_file(setup) if files is None else files
    for one in iterate_tunes(files, **_wishes(setup), reader=reader or tune_of):
        if isinstance(one, Message):
            said.add(one)
            continue
        text, tune = one
        if is_question(tune) and not has_questions:
            said.add(*said_of_answer(tune))
            continue
        said.add(*tune.messages)
        idle = _still_idle(idle, tune)
        tunes.append(tune if holds_music else _name_only(tune))
        if tune.tuning_of_text and setup.tunes_have_tunings:
            named[id(tunes[-1])] = tune.tuning_of_text, tune.place
        if not holds_music:
            texts[id(tunes[-1])] = text
    sections: tuple[Section, ...] = (Section("", "", tuple(tunes)),) if tunes else ()
    if is_ordered:
        sections = _ordered(tuple(tunes), setup, idle, said)
    if not sections:
        raise nothing_to_do(setup, gather_messages(setup, said.kept))
    of_texts, misnamed = tunings_of_texts(named, setup.profile, setup.read)
    said.add(*misnamed)
    tunings = tunings_of(tuple(tunes), setup.book, of_texts)
    sections = tuple(in_groups(one, tunings, setup.book) for one in sections)
    ordered = [texts[id(tune)] for section in sections for tune in section.tunes if texts]
    sections = tuple(tuned(one, tunings) for one in sections)
    return Loaded(sections, tuple(said.kept), said.further, tuple(ordered))


def _ordered(
    tunes: tuple[Tune, ...], setup: Setup, idle: Iterable[str], said: Messages
) -> tuple[Section, ...]:
    """The sections of the book; what its order, its choices and its players have to say is added
    to ``said``. Of a part of a folder it is no mistake when something is not there."""
    is_part = setup.folder.is_file()
    sections, ordering = order_tunes(tunes, setup.book, setup.edition, is_part=is_part)
    said.add(*ordering)
    if not is_part:
        unread = {one.place.path for one in said.kept if one.is_fatal}
        said.add(*unknown_choices(tunes, setup.book, unread))
        said.add(*_idle_players(idle, setup))
    return sections


def _still_idle(names: list[str], tune: Tune) -> list[str]:
    """Those of the players' ``names`` that play no voice of the tune."""
    if not names:
        return names
    known = set().union(*(voice_names(tune, at) for at in range(len(tune.voices))))
    return [name for name in names if name not in known]


def tune_of(text: TuneText, **wishes: Any) -> Tune:
    """Read a tune, unless it is remembered."""
    if not is_remembering():
        return read_tune(text, **wishes)
    key = ("tune", text, repr(wishes))
    tune: Tune | None = recalled(key)
    if tune is None:
        tune = read_tune(text, **wishes)
        remember(key, tune)
    return tune


def _idle_players(names: Iterable[str], setup: Setup) -> Iterator[Message]:
    """That nobody plays what the settings say who plays it."""
    for name in names:
        what = f"no tune has a voice {name!r} beside its melody, so nobody plays it"
        remedy = "name it as V: does, by its name, or by its place (2 is the first)"
        place = setup.book.place or SourcePlace(str(setup.folder))
        yield Message(place, "setting", what, remedy)


def _name_only(tune: Tune) -> Tune:
    """The tune without all that its place in the order does not depend on."""
    return replace(
        tune,
        bars=(),
        voices=(),
        played=(),
        fields=(),
        words=(),
        texts=(),
        messages=(),
        source_text="",
    )


def read_files(setup: Setup) -> tuple[AbcFile | Message, ...]:
    """Read the ABC files of the setup's folder; ``setup.read`` then holds all that a run on this
    setup reads. Raises InputError when the folder is gone."""
    return tuple(each_file(setup))


def each_file(setup: Setup) -> Iterator[AbcFile | Message]:
    """As :func:`read_files`, each file when it is its turn."""
    return iterate_files(
        setup.folder,
        limits=reading_limits(setup),
        may_leave=setup.may_leave_folder,
        read=setup.read,
    )


def read_again(text: TuneText, setup: Setup) -> Tune:
    """Read a tune once more of which :func:`load` held the text alone."""
    return read_tune(text, **_wishes(setup))


def read_tunes_in(
    file: AbcFile, setup: Setup, reader: Callable[..., Tune] = read_tune
) -> tuple[Tune, ...]:
    """Return the tunes of one file, read as the setup's own are."""
    found = iterate_tunes([file], **_wishes(setup), reader=reader)
    return tuple(one[1] for one in found if not isinstance(one, Message))


def _wishes(setup: Setup) -> dict[str, Any]:
    """How the settings want tunes to be read: the melody's voice and limits."""
    wishes: dict[str, Any] = dict(setup.book.reading)
    return {
        "voice": wishes.get("voice"),
        "limits": reading_limits(setup),
    }


def reading_limits(setup: Setup) -> ReadingLimits:
    """The limits of reading and solving, as the settings have them."""
    names = {one.name for one in fields(ReadingLimits)}
    wishes: dict[str, Any] = dict(setup.book.reading)
    return ReadingLimits(**{name: most for name, most in wishes.items() if name in names})


def gather_messages(setup: Setup, *groups: Iterable[Message]) -> tuple[Message, ...]:
    """Return all messages once, in order, their places as paths that can be opened from here.

    Within a folder places are kept relative, since they name tunes; a reader of the summary wants
    the path from where the command was given.
    """
    home = setup.folder if setup.folder.is_dir() else setup.folder.parent
    found: dict[Message, None] = {}
    for message in (message for group in (setup.messages, *groups) for message in group):
        path = home / message.place.path
        if message not in setup.messages and message.place.path and os.path.lexists(path):
            place = replace(message.place, path=str(path))
            found.setdefault(replace(message, place=place))
        else:
            found.setdefault(message)
    return tuple(found)


def nothing_to_do(setup: Setup, messages: Iterable[Message]) -> InputError:
    """Return the error for a folder of which nothing can be used, with the first reason."""
    reasons = [message for message in messages if message.is_fatal]
    first = f" (first reason: {reasons[0]})" if reasons else ""
    return InputError(
        f"no tune could be used{first}",
        "put .abc files with X:, T: and K:, or scores, there",
        SourcePlace(str(setup.folder)),
    )
