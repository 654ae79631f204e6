"""What a run works with: the folder, its tunes.toml, the instrument, the hand, the edition."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from tunebook.errors import InputError, Message, SettingError, SourcePlace
from tunebook.files import FILE, FilesRead, kind_of
from tunebook.model.book import Book, Edition
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument
from tunebook.read.found_files import leads_out
from tunebook.read.profile import read_hand, read_instrument
from tunebook.read.settings_file import read_settings

SETTINGS_FILE_NAME = "tunes.toml"
HAND_SIZES = ("small", "medium", "large")


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything a run needs to know before the first tune is read; ``read`` is the record of
    the files that the run reads, ``profile`` the name or path of the instrument's profile."""

    folder: Path
    book: Book
    instrument: Instrument
    hand: Hand
    edition: Edition
    messages: tuple[Message, ...] = ()
    read: FilesRead = field(default_factory=FilesRead, compare=False, repr=False)
    profile: str = field(default="", compare=False, repr=False)

    @property
    def may_leave_folder(self) -> bool:
        """Whether links that lead out of the folder are followed."""
        return may_leave_folder(self.book)


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asks for; None means "as tunes.toml says"."""

    settings_file: Path | None = None
    instrument: str | None = None
    tuning: str | None = None
    hand: str | None = None
    edition: str | None = None


@dataclass(frozen=True, slots=True)
class BuildOrder:
    """What the command line asks of a build; None and False mean the usual."""

    output: Path | None = None
    keep_source: Path | None = None
    jobs: int | None = None
    uses_cache: bool = True
    scheduler: str | None = None


def prepare(folder: Path, wishes: Wishes = Wishes()) -> Setup:
    """Return the Setup for ``folder`` (or a single ABC file).

    Raises InputError when the folder does not exist, SettingError when tunes.toml, the
    instrument, the tuning, the hand or the edition cannot be used.
    """
    check_is_there(folder)
    read = FilesRead()
    settings, said = _settings_file(folder, wishes.settings_file)
    book, messages = read_settings(settings, read)
    book = _with_wishes(book, wishes)
    edition = _edition(book, wishes.edition or "player")
    if edition.hand is not None and wishes.hand is None:
        book = replace(book, hand=replace(book.hand, size=edition.hand, spans_mm=()))
    profile = wishes.instrument or _profile_path(book)
    return Setup(
        folder=folder,
        book=book,
        instrument=read_instrument(profile, book.tuning, read),
        hand=read_hand(book.hand),
        edition=edition,
        messages=(*said, *messages),
        read=read,
        profile=profile,
    )


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


def may_leave_folder(book: Book) -> bool:
    """Whether links and a profile's path may lead out of the folder that they lie in."""
    return bool(dict(book.reading).get("may_leave_folder", False))


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
    if wishes.hand is not None:
        if wishes.hand not in HAND_SIZES:
            raise SettingError(f"no hand {wishes.hand!r}", "known are " + ", ".join(HAND_SIZES))
        book = replace(book, hand=replace(book.hand, size=wishes.hand, spans_mm=()))
    return book


def _profile_path(book: Book) -> str:
    """A profile named in tunes.toml with a path is looked for beside it, and must stay there."""
    name = book.instrument
    if book.place is None or not (name.endswith(".toml") or "/" in name or "\\" in name):
        return name
    if not name.isprintable():
        remedy = "write the name of a file beside tunes.toml"
        raise SettingError(f"instrument profile {name!r} cannot be a path", remedy, book.place)
    home = Path(book.place.path).resolve().parent
    # Folders may be parted as Windows does it, for settings that are used on several systems.
    path = (home / name.replace("\\", "/")).resolve()
    if not (path.is_relative_to(home) or may_leave_folder(book)):
        raise SettingError(
            f"instrument profile {name!r} lies outside the folder",
            "put it beside tunes.toml, or set may_leave_folder = true under [reading]",
            book.place,
        )
    return str(path)


def _edition(book: Book, name: str) -> Edition:
    edition = book.edition(name)
    if edition is None:
        known = ", ".join(one.name for one in book.editions)
        raise SettingError(f"no edition {name!r}", f"known are {known}", book.place)
    return replace(edition, paper=edition.paper or book.paper)
