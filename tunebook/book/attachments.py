"""The folder's own files inside the book's PDF, so that it can be made anew years later.

They are embedded files (ISO 32000-1, 7.11.4) that the catalogue names as the source of the document
(AF and AFRelationship of ISO 32000-2, 14.13). What comes out of a PDF is untrusted: it is unpacked
only as far as it may be large, and names are text, nothing more.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from tunebook.errors import InputError, SourcePlace
from tunebook.files import FilesRead, read_whole

MOST_FILES = 10_000
MOST_BYTES = 200_000_000
MOST_PDF_BYTES = 1_000_000_000
_MIME = {".abc": "text/vnd.abc", ".toml": "application/toml"}
# "Unpack" is no use where there is nothing of a book's.
_OTHER_PDF = "is this a book made with attach = true?"


@dataclass(frozen=True, slots=True)
class AttachedFile:
    """A file of the folder; ``name`` is its path from there, with "/" between its parts."""

    name: str
    data: bytes


def attach(document: Any, files: Sequence[AttachedFile]) -> None:
    """Put ``files`` into the pikepdf document ``document``, as what it was made of."""
    import pikepdf

    made = []
    for file in files:
        spec = pikepdf.AttachedFileSpec(
            document,
            file.data,
            filename=file.name,
            mime_type=_MIME.get(Path(file.name).suffix.lower(), "application/octet-stream"),
            relationship=pikepdf.Name.Source,
        )
        document.attachments[file.name] = spec
        made.append(document.attachments[file.name].obj)
    if made:
        document.Root.AF = pikepdf.Array(made)


def attached_files(path: Path, read: FilesRead | None = None) -> tuple[AttachedFile, ...]:
    """Return the files that are the source of the PDF at ``path``, names as they stand there.

    Raises InputError when it cannot be read, is no PDF, holds none, or more than is allowed."""
    import pikepdf

    place = SourcePlace(str(path))
    try:
        if path.stat().st_size > MOST_PDF_BYTES:
            raise InputError("is larger than 1 GB", _OTHER_PDF, place)
        data = read_whole(path, read)
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", "check the path", place) from None
    try:
        with pikepdf.open(BytesIO(data)) as document:
            found = _files_in(document, place)
    except InputError:
        raise
    except Exception:  # a PDF may hold anything in any place
        raise InputError("is no PDF that can be read", _OTHER_PDF, place) from None
    if not found:
        raise InputError("holds no tunes or settings", _OTHER_PDF, place)
    return found


def _files_in(document: Any, place: SourcePlace) -> tuple[AttachedFile, ...]:
    import pikepdf

    named = document.Root.get("/AF", [])
    if not isinstance(named, pikepdf.Array):
        return ()
    if len(named) > MOST_FILES:
        raise InputError(f"holds more than {MOST_FILES} files", _OTHER_PDF, place)
    files = []
    room = MOST_BYTES
    for index in range(len(named)):
        spec = named[index]
        if spec.get("/AFRelationship") != pikepdf.Name.Source:
            continue
        stream = spec.EF.get("/UF", spec.EF.get("/F"))
        data = _unpacked(stream, room)
        if data is None:
            most = f"{MOST_BYTES // 1_000_000} MB"
            raise InputError(f"holds files of more than {most}", _OTHER_PDF, place)
        room -= len(data)
        files.append(AttachedFile(str(spec.get("/UF", spec.get("/F"))), data))
    return tuple(files)


def _unpacked(stream: Any, most: int) -> bytes | None:
    """What the stream holds; None where that is more than ``most`` bytes. Nothing is unpacked
    beyond that, whatever the stream says of its length. Raises ValueError for filters that no book
    of ours has."""
    raw = stream.read_raw_bytes()
    filters = stream.get("/Filter")
    if filters is None:
        return raw if len(raw) <= most else None
    names = [str(filters)] if str(filters).startswith("/") else [str(one) for one in filters]
    if names != ["/FlateDecode"] or "/DecodeParms" in stream:
        raise ValueError(names)
    unpacker = zlib.decompressobj()
    try:
        data = unpacker.decompress(raw, most + 1)
    except zlib.error as error:
        raise ValueError(error) from None
    return data if len(data) <= most else None
