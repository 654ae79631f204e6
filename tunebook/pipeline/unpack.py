"""Files of the folder inside the book, and out of it again.

A PDF may come from anywhere, so nothing in it is trusted: files go to places below the folder that
is asked for, or nowhere; none is written over; and only tunes, scores, settings and profiles are
taken.
"""

from __future__ import annotations

import os
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from tunebook.book.attachments import AttachedFile, attached_files
from tunebook.errors import InputError, OutputError, SourcePlace
from tunebook.files import FilesRead, check_writable_folder, read_whole, write_whole
from tunebook.pipeline.load import SETTINGS_FILE_NAME, Setup
from tunebook.pipeline.outside_files import names_beside, settings_with
from tunebook.read.folder import FILE_SUFFIXES
from tunebook.write.file_names import safe_name

_SUFFIXES = (*FILE_SUFFIXES, ".toml")
_OWN_FILES = Path(__file__).resolve().parents[1]
_DEEPEST = 12
_LONGEST = 200
# Names of devices on Windows, with whatever ending (Microsoft, "Naming files, paths, and
# namespaces").
_DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
_FORBIDDEN = re.compile(r'[<>:"|?*\\]')


@dataclass(frozen=True, slots=True)
class UnpackReport:
    """What was written, and the names of files of other kinds that were passed over."""

    folder: Path
    files: tuple[Path, ...]
    passed_over: tuple[str, ...]


def folder_files(setup: Setup) -> tuple[AttachedFile, ...]:
    """Return what the setup's book is made of: tunes, scores and settings, profiles and hand files,
    in order of their names. Tunes behind links stand where the links do, settings from elsewhere as
    the folder's own would, profiles and hand files in a folder of their own.

    Raises InputError when a file is gone that was there a moment ago."""
    folder = setup.folder if setup.folder.is_dir() else setup.folder.parent
    home = Path(os.path.realpath(folder))
    settings = os.path.realpath(setup.book.place.path) if setup.book.place else ""
    found: dict[str, bytes] = {}
    outside: dict[Path, bytes] = {}
    for path in setup.read.paths():
        real = Path(os.path.realpath(path))
        if str(real) == settings:
            name = SETTINGS_FILE_NAME
        elif path.suffix.lower() in FILE_SUFFIXES and path.is_relative_to(folder):
            name = _name_in(folder, path)
        elif real.is_relative_to(home):
            name = _name_in(home, real)
        elif real.suffix.lower() == ".toml" and not real.is_relative_to(_OWN_FILES):
            name = ""
        else:
            continue
        try:
            if name:
                found[name] = read_whole(real)
            else:
                outside[real] = read_whole(real)
        except OSError as error:
            what = f"cannot be read any more ({error.strerror})"
            raise InputError(what, "build again", SourcePlace(str(path))) from None
    if outside and SETTINGS_FILE_NAME in found:
        names = names_beside(outside, found)
        found[SETTINGS_FILE_NAME] = settings_with(
            found[SETTINGS_FILE_NAME], Path(settings).parent, names, setup.profile
        )
        found |= {name: outside[path] for path, name in names.items()}
    return tuple(AttachedFile(name, found[name]) for name in sorted(found))


def _name_in(folder: Path, path: Path) -> str:
    return unicodedata.normalize("NFC", path.relative_to(folder).as_posix())


def unpack_book(book: Path, folder: Path | None = None) -> UnpackReport:
    """Write the files that the PDF ``book`` was made of into ``folder``, or where you are into a
    folder of the PDF's name; all of them or, where one may not be written, none.

    Raises InputError when the PDF cannot be read, holds no such files, or one whose name leads out
    of the folder; OutputError when a file is there already or cannot be written."""
    read = FilesRead()
    files = attached_files(book, read)
    wanted = [file for file in files if file.name.lower().endswith(_SUFFIXES)]
    folder = folder if folder is not None else Path(safe_name(book.stem))
    if not wanted:
        raise InputError("holds no tunes or settings", "name a book", SourcePlace(str(book)))
    targets = [_target(file.name, folder, book) for file in wanted]
    check_writable_folder(folder)
    _check_are_free(targets, folder)
    for file, target in zip(wanted, targets, strict=True):
        write_whole(target, file.data, may_overwrite=False, read=read)
    others = tuple(file.name for file in files if file not in wanted)
    return UnpackReport(folder, tuple(targets), others)


def _target(name: str, folder: Path, book: Path) -> Path:
    """Where the file goes. Raises InputError for a name that leads elsewhere, or nowhere on some
    machine."""
    parts = name.split("/")
    is_bad = len(parts) > _DEEPEST or len(name) > _LONGEST or _FORBIDDEN.search(name)
    if is_bad or not name.isprintable() or any(_is_no_name(part) for part in parts):
        shown = "".join(letter if letter.isprintable() else "?" for letter in name[:60])
        what = f"a file in it is called {shown!r}, which is no place in a folder"
        raise InputError(what, "nothing was unpacked", SourcePlace(str(book)))
    return folder.joinpath(*parts)


def _is_no_name(part: str) -> bool:
    return (
        part.strip(" .") == ""
        or part != part.strip()
        or part[0] == "."
        or part[-1] == "."
        or _DEVICE.fullmatch(part) is not None
    )


def _check_are_free(targets: list[Path], folder: Path) -> None:
    """Raise OutputError where two files would be one, a file is there, or a link leads out."""
    home = Path(os.path.realpath(folder))
    seen: set[str] = set()
    for target in targets:
        place = SourcePlace(str(target))
        folded = unicodedata.normalize("NFC", str(target)).casefold()
        if folded in seen or os.path.lexists(target):
            raise OutputError(
                "is there already", "nothing was unpacked; name another folder with -o", place
            )
        seen.add(folded)
        if not Path(os.path.realpath(target.parent)).is_relative_to(home):
            raise OutputError("a link leads out of the folder", "nothing was unpacked", place)
