"""Files to tunes: finds ABC files, decodes them and reads every tune in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tunebook.errors import InputError, Message, SourcePlace
from tunebook.files import FilesRead, read_whole
from tunebook.model.tune import Tune
from tunebook.read.abc_text import decode
from tunebook.read.abc_tune import read_tune
from tunebook.read.found_files import look_through
from tunebook.read.limits import DEFAULT_LIMITS, ReadingLimits
from tunebook.read.tune_text import TuneText, cut_into_tunes

__all__ = ["FolderReading", "TuneText", "find_files", "iterate_tune_texts", "read_folder"]

_CONTROL_CODES = bytes(code for code in range(32) if code not in b"\t\n\r\f\v\x1a\x1b")
_TEXT_BYTES_A_CONTROL = 100


@dataclass(frozen=True, slots=True)
class FolderReading:
    """All tunes of a folder in order, and the messages about files and tunes."""

    tunes: tuple[Tune, ...]
    messages: tuple[Message, ...]


def read_folder(
    folder: Path,
    *,
    voice: str | None = None,
    second_voice: str | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
    may_leave: bool = False,
    read: FilesRead | None = None,
) -> FolderReading:
    """Read every tune of a folder and its subfolders, or of one file.

    A tune that cannot be used is left out with a fatal message, whatever goes wrong in reading
    it; an interrupt ends the reading. ``may_leave`` follows links that lead out of the folder; the
    files are noted in ``read``. Raises InputError when the folder is not there.
    """
    found = look_through(folder, may_leave=may_leave)
    root = folder if folder.is_dir() else folder.parent
    pieces = iterate_tune_texts(found.files, root, limits=limits, read=read)
    tunes, messages = _gathered(_read_pieces(pieces, voice, second_voice, limits))
    return FolderReading(tuple(tunes), (*found.messages, *messages))


def iterate_tunes(
    folder: Path,
    *,
    voice: str | None = None,
    second_voice: str | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
    may_leave: bool = False,
    read: FilesRead | None = None,
) -> Iterator[tuple[TuneText, Tune] | Message]:
    """What :func:`read_folder` gathers, one after the other: each tune with its text, and the
    messages about files and about tunes that are left out."""
    found = look_through(folder, may_leave=may_leave)
    yield from found.messages
    root = folder if folder.is_dir() else folder.parent
    pieces = iterate_tune_texts(found.files, root, limits=limits, read=read)
    yield from _read_pieces(pieces, voice, second_voice, limits)


def read_data(
    data: bytes,
    name: str,
    *,
    voice: str | None = None,
    second_voice: str | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
) -> FolderReading:
    """Read every tune in the bytes of a file called ``name``, as :func:`read_folder` does."""
    pieces = _pieces_of(data, name, limits)
    tunes, messages = _gathered(_read_pieces(pieces, voice, second_voice, limits))
    return FolderReading(tuple(tunes), tuple(messages))


def _gathered(
    found: Iterable[tuple[TuneText, Tune] | Message],
) -> tuple[list[Tune], list[Message]]:
    """The tunes, and all messages."""
    tunes: list[Tune] = []
    messages: list[Message] = []
    for one in found:
        if isinstance(one, Message):
            messages.append(one)
        else:
            tunes.append(one[1])
            messages.extend(one[1].messages)
    return tunes, messages


def _read_pieces(
    pieces: Iterable[TuneText | Message],
    voice: str | None,
    second_voice: str | None,
    limits: ReadingLimits,
) -> Iterator[tuple[TuneText, Tune] | Message]:
    """Each piece read; a message for one that cannot be used."""
    for piece in pieces:
        if isinstance(piece, Message):
            yield piece
            continue
        try:
            tune = read_tune(piece, voice=voice, second_voice=second_voice, limits=limits)
        except InputError as error:
            yield fatal_message(error, piece)
        except Exception as error:  # a fault of ours costs this tune and no other
            yield _fault(error, piece.place, "tune")
        else:
            yield piece, tune


def fatal_message(error: InputError, piece: TuneText) -> Message:
    """The message for a tune that was left out."""
    return Message(error.place or piece.place, "tune", error.what, error.remedy, is_fatal=True)


def find_files(folder: Path) -> list[Path]:
    """All ABC files of a folder and its subfolders in order of their paths; or the one file."""
    return list(look_through(folder).files)


def iterate_tune_texts(
    paths: Iterable[Path],
    root: Path,
    *,
    limits: ReadingLimits = DEFAULT_LIMITS,
    read: FilesRead | None = None,
) -> Iterator[TuneText | Message]:
    """The tunes of the files one after the other, each file read when it is its turn."""
    for path in paths:
        name = _relative(path, root)
        try:
            if path.stat().st_size > limits.file_bytes:
                what = f"the file is larger than {limits.file_bytes} bytes"
                yield Message(
                    SourcePlace(name),
                    "limit",
                    what,
                    "split it, or raise file_bytes under [reading]",
                    is_fatal=True,
                )
                continue
            data = read_whole(path, read)
        except OSError as error:
            what = f"the file cannot be read ({error.strerror})"
            yield Message(SourcePlace(name), "file", what, "check its rights", is_fatal=True)
            continue
        if not is_text(data):
            what = "the file is not text"
            yield Message(SourcePlace(name), "file", what, "is it an ABC file?", is_fatal=True)
            continue
        pieces = _pieces_of(data, name, limits)
        if not pieces and data.strip():
            what = "no tune was found in the file"
            yield Message(SourcePlace(name), "file", what, "a tune begins with X:")
        yield from pieces


def _pieces_of(data: bytes, name: str, limits: ReadingLimits) -> list[TuneText | Message]:
    """The tunes of a file's bytes; those before the place where anything goes wrong."""
    pieces: list[TuneText | Message] = []
    try:
        pieces.extend(cut_into_tunes(decode(data)[0], name, limits))
    except Exception as error:  # a fault of ours costs this file and no other
        pieces.append(_fault(error, SourcePlace(name), "file"))
    return pieces


def _fault(error: Exception, place: SourcePlace, kind: str) -> Message:
    """The last resort: what was left out because reading it failed in a way nobody foresaw."""
    if isinstance(error, MemoryError):
        what, remedy = f"there is not enough memory to read this {kind}", "left out; split it"
    else:
        reason = f"{type(error).__name__}: {error}".replace("\n", " ")[:200]
        what = f"this {kind} could not be read ({reason})"
        remedy = "left out; please send the file to those who make tunebook"
    return Message(place, kind, what, remedy, is_fatal=True)


def is_text(data: bytes) -> bool:
    """True unless the bytes hold what no text does: NUL (but in UTF-16) or many control codes."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return True
    controls = len(data) - len(data.translate(None, _CONTROL_CODES))
    return b"\0" not in data and controls * _TEXT_BYTES_A_CONTROL <= len(data)


def _relative(path: Path, root: Path) -> str:
    try:
        return path.relative_to(root).as_posix()
    except ValueError:
        return path.as_posix()
