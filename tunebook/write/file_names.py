"""Names of files that are written, such as every system takes: ``<file stem>-<X number>.<ending>``
for one a tune.

Windows keeps some names for devices, whatever comes after the first dot, and cuts dots and blanks
at the end (Microsoft, "Naming Files, Paths, and Namespaces"); there and on most Macs two names
that differ only in capitals are one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import PurePosixPath
from urllib.parse import quote

from tunebook.model.tune import Tune

_UNSAFE = re.compile(r"[^\w.+-]+")
_LONGEST_STEM = 120
_RESERVED = re.compile(r"(con|prn|aux|nul|(com|lpt)[0-9¹²³]|conin\$|conout\$) *(\..*)?", re.I)


def tune_file_names(tunes: Sequence[Tune], ending: str) -> tuple[str, ...]:
    """Return a file name for each tune, parallel to ``tunes``: the stem of its file, a hyphen, the
    text of X: (the line number where X: is missing), and ``ending`` ("mid"). No name has a folder
    in it; where two would be equal (capitals apart) the later ones get -2, -3, ... added."""
    return distinct_names(f"{_stem(tune)}.{ending}" for tune in tunes)


def recording_names(tunes: Sequence[Tune], ending: str) -> tuple[str, ...]:
    """Return the name of each tune's recording, parallel to ``tunes``: as ``tune_file_names``, and
    the same whatever their order is."""
    order = sorted(range(len(tunes)), key=lambda at: (tunes[at].file, tunes[at].first_line))
    named = tune_file_names([tunes[at] for at in order], ending)
    names = dict(zip(order, named, strict=True))
    return tuple(names[at] for at in range(len(tunes)))


def recording_address(place: str, name: str) -> str:
    """Return where the recording ``name`` is found: in the folder or at the address ``place``, a
    host's letters beyond ASCII in their international form (RFC 5891), all others percent-encoded
    (RFC 3986)."""
    scheme, parted, rest = place.rpartition("://")
    host, slash, way = rest.partition("/") if parted else ("", "", rest)
    with suppress(UnicodeError):
        host = host.encode("idna").decode("ascii")
    folder = (slash + way).rstrip("/")
    if folder or parted:
        folder += "/"
    # A % that stands there already was encoded by whoever wrote it.
    kept = quote(folder, safe="/%:@!$&'()*+,;=~") + quote(name, safe="+~")
    return f"{scheme}{parted}{quote(host, safe=':[]')}{kept}"


def distinct_names(paths: Iterable[str]) -> tuple[str, ...]:
    """Return the paths ("folder/name.ending", parts parted by /) in order, each part a name that
    every system takes, none equal to an earlier one when capitals are left apart: the later ones
    get -2, -3, ... added before the ending."""
    taken: set[str] = set()
    names: list[str] = []
    for path in paths:
        safe = "/".join(safe_name(part) for part in path.split("/"))
        folder_and_stem, dot, ending = safe.rpartition(".")
        name, count = safe, 1
        while _folded(name) in taken:
            count += 1
            name = f"{folder_and_stem}-{count}{dot}{ending}"
        taken.add(_folded(name))
        names.append(name)
    return tuple(names)


def safe_name(name: str) -> str:
    """The name of a file or folder, changed where some system would not take it."""
    if name in (".", ".."):
        return name
    kept = name.rstrip(". ") or "_"
    return f"_{kept}" if _RESERVED.fullmatch(kept) else kept


def safe_stem(text: str) -> str:
    """``text`` as a part of a file's name before its ending: no blank and no folder in it."""
    return _safe(text)[:_LONGEST_STEM] or "x"


def _folded(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()


def _stem(tune: Tune) -> str:
    stem = PurePosixPath(tune.file.replace("\\", "/")).stem
    number = tune.number.strip() or str(tune.first_line)
    safe = f"{_safe(stem)[:_LONGEST_STEM] or 'tune'}-{_safe(number)[:_LONGEST_STEM] or 'x'}"
    return f"_{safe}" if safe.startswith((".", "-")) else safe


def _safe(text: str) -> str:
    return _UNSAFE.sub("_", text)
