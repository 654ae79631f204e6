"""One way in for every command: settings, tunes in order, and what was noticed on the way.

What a run works with: the folder, its tunes.toml, the instrument, the hand, the edition.

Which tunes go into the book, and in what order: the sets first, then the rest.

Read the folder of a setup as its tunes.toml asks: voices and limits.

Read and solve: from a folder to one outcome a tune, on all cores, never stopped by one tune.
"""

from __future__ import annotations

import difflib
import functools
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from tunebook.errors import InputError, Message, SettingError, SourcePlace, TunebookError
from tunebook.files import FILE, FilesRead, kind_of
from tunebook.model.arrangement import Arrangement, TuneOutcome
from tunebook.model.book import Book, Edition
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.pipeline.cores import map_on_cores
from tunebook.read.abc.tune import read_tune
from tunebook.read.folder import (
    FolderFiles,
    FolderReading,
    TuneText,
    iterate_tunes,
    leads_out,
    look_through,
    read_data,
    read_folder,
)
from tunebook.read.limits import ReadingLimits
from tunebook.read.settings.choices import apply_choice, without_grace_notes
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.read.settings.tunes_file import read_settings
from tunebook.solve.transpose import transpose_tune

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
    is_part = is_part or bool(edition.tunes)
    messages: list[Message] = []
    left_out = {choice.tune for choice in book.choices if choice.is_left_out}
    tunes = tuple(tune for tune in tunes if tune_identity(tune) not in left_out)
    if edition.tunes:
        picked = _resolve(edition.tunes, tunes, f"edition {edition.name!r}", book.place, messages)
        tunes = tuple(tune for tune in tunes if tune in picked)
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


def files_of(setup: Setup) -> FolderFiles:
    """The files with the setup's tunes. Raises InputError when its folder is gone."""
    return look_through(setup.folder, may_leave=setup.may_leave_folder)


def files_read(setup: Setup, before: Setup | None = None) -> FilesRead:
    """The record of every file that a run on this setup reads, its tunes among them; with
    ``before``, of what that setup was made from too."""
    if before is not None:
        setup.read.add(before.read)
    for path in files_of(setup).files:
        setup.read.note(path)
    return setup.read


def read_tunes(setup: Setup) -> FolderReading:
    """Return the tunes and messages of the setup's folder. Raises InputError when it is gone."""
    return read_folder(setup.folder, **_wishes(setup))


def each_tune(setup: Setup) -> Iterator[tuple[TuneText, Tune] | Message]:
    """What :func:`read_tunes` gathers, one after the other, each tune with its text."""
    return iterate_tunes(setup.folder, **_wishes(setup))


def read_again(text: TuneText, setup: Setup) -> Tune:
    """Read one tune of :func:`each_tune` once more."""
    voice, second = voices(setup)
    return read_tune(text, voice=voice, second_voice=second, limits=reading_limits(setup))


def _wishes(setup: Setup) -> dict[str, Any]:
    voice, second = voices(setup)
    return {
        "voice": voice,
        "second_voice": second,
        "limits": reading_limits(setup),
        "may_leave": setup.may_leave_folder,
        "read": setup.read,
    }


def voices(setup: Setup) -> tuple[str | None, str | None]:
    """The voice that is the melody and the second one, None where the settings name none."""
    wishes: dict[str, Any] = dict(setup.book.reading)
    return wishes.get("voice"), wishes.get("second_voice")


def reading_limits(setup: Setup) -> ReadingLimits:
    """The limits of reading and solving, as the settings have them."""
    names = {one.name for one in fields(ReadingLimits)}
    wishes: dict[str, Any] = dict(setup.book.reading)
    return ReadingLimits(**{name: most for name, most in wishes.items() if name in names})


def read_tunes_in(data: bytes, name: str, setup: Setup) -> tuple[Tune, ...]:
    """Return the tunes in the bytes of a file called ``name``, read as the setup's own are."""
    voice, second = voices(setup)
    limits = reading_limits(setup)
    return read_data(data, name, voice=voice, second_voice=second, limits=limits).tunes


Progress = Callable[[str, str, int, int], None]
"""Called with the stage's name, the tune's title, how many are done, and of how many."""


def no_progress(stage: str, name: str, done: int, total: int) -> None:
    """Say nothing."""


def prepare_tune(tune: Tune, setup: Setup) -> tuple[Tune, tuple[Message, ...]]:
    """Return the tune as the edition and tunes.toml want it: transposed, pinned, plain."""
    choice = setup.book.choice(tune_identity(tune))
    if choice is not None and choice.transpose:
        tune = transpose_tune(tune, choice.transpose)
    tune, messages = apply_choice(tune, choice)
    if not setup.edition.shows_grace_notes:
        tune = without_grace_notes(tune)
    return tune, messages


def arrange_prepared(
    prepared: Tune,
    setup: Setup,
    *,
    alternatives: int = 0,
    other_ways: int = 0,
    bars: tuple[int, int] | None = None,
) -> Arrangement:
    """Solve a tune that :func:`prepare_tune` gave: the one call for all that is printed, written or
    explained. The last three ask for other ways besides and change nothing of the answer.

    Raises InputError when the tune takes more steps than the settings allow even as it is written.
    """
    from tunebook.solve.arrange import arrange

    edition = setup.edition
    solve = functools.partial(
        arrange,
        instrument=setup.instrument,
        hand=setup.hand,
        limits=edition.limits,
        choice=setup.book.choice(tune_identity(prepared)),
        drones=edition.drones,
        chords=edition.chords,
        shapes=edition.shows_shapes,
        accompaniment=edition.shows_accompaniment,
        alternatives=alternatives,
        other_ways=other_ways,
        bars=bars,
    )
    return _solved_within(reading_limits(setup).solving_steps, solve, prepared)


def arrange_tune(tune: Tune, setup: Setup) -> TuneOutcome:
    """Solve one tune. A tune that cannot be arranged gives an outcome with the reason."""
    try:
        prepared, messages = prepare_tune(tune, setup)
        alternatives = 1 if setup.edition.shows_notes_on_choices else 0
        arrangement = arrange_prepared(prepared, setup, alternatives=alternatives)
    except TunebookError as error:
        return _left_out(tune, error.what, error.remedy)
    except Exception as error:  # one tune must never stop a book of a hundred
        what = f"{tune.title!r} could not be arranged ({type(error).__name__}: {error})"
        return _left_out(tune, what, "left out; please report it with the tune")
    return TuneOutcome(tune, arrangement, messages)


def _solved_within(steps: int, solve: Callable[[Tune], Arrangement], tune: Tune) -> Arrangement:
    """Solve ``tune`` in at most ``steps``, or else in as many as it is written, each bar played
    once, which is said."""
    from tunebook.solve.search.layers import OutOfStepsError, at_most

    with suppress(OutOfStepsError), at_most(steps):
        return solve(tune)
    remedy = "write it shorter, or raise solving_steps under [reading]"
    what = f"{tune.title!r} takes more than {steps} steps to solve"
    with suppress(OutOfStepsError), at_most(steps):
        found = solve(replace(tune, played=tuple(range(len(tune.bars)))))
        what += "; it is solved as written, without its repeats"
        message = Message(tune.place, "limit", what, remedy)
        return replace(found, messages=(message, *found.messages))
    raise InputError(what, f"left out; {remedy}")


def _left_out(tune: Tune, what: str, remedy: str) -> TuneOutcome:
    message = Message(tune.place, "arranging", what, remedy or "left out", is_fatal=True)
    return TuneOutcome(tune, None, (message,))


def arrange_tunes(
    tunes: Iterable[Tune],
    setup: Setup,
    *,
    jobs: int = 1,
    scheduler: str | None = None,
    on_progress: Progress = no_progress,
) -> Iterator[TuneOutcome]:
    """Yield one outcome a tune, in order, solved by ``jobs`` processes or a Dask scheduler."""
    tunes = tuple(tunes)
    bare = replace(setup, messages=())
    work = [(tune, bare) for tune in tunes]
    outcomes = map_on_cores(arrange_tune, work, jobs=jobs, scheduler=scheduler)
    for done, outcome in enumerate(outcomes, start=1):
        on_progress("arranging", outcome.tune.title if outcome.tune else "", done, len(tunes))
        yield outcome


def built(outcomes: Iterable[TuneOutcome]) -> tuple[Arrangement, ...]:
    """Return the arrangements that were made."""
    return tuple(one.arrangement for one in outcomes if one.arrangement is not None)
