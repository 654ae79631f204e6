"""Names of files written one a tune: ``<file stem>-<X number>.<ending>``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import PurePosixPath

from tunebook.model.tune import Tune

_UNSAFE = re.compile(r"[^\w.+-]+")
_LONGEST_STEM = 120


def tune_file_names(tunes: Sequence[Tune], ending: str) -> tuple[str, ...]:
    """Return a file name for each tune, parallel to ``tunes``: the stem of its file, a hyphen, the
    text of X: (the line number where X: is missing), and ``ending`` ("mid"). No name has a folder
    in it; where two would be equal (capitals apart) the later ones get -2, -3, ... added."""
    taken: set[str] = set()
    names: list[str] = []
    for tune in tunes:
        name = stem = _stem(tune)
        count = 1
        while name.casefold() in taken:
            count += 1
            name = f"{stem}-{count}"
        taken.add(name.casefold())
        names.append(f"{name}.{ending}")
    return tuple(names)


def _stem(tune: Tune) -> str:
    stem = PurePosixPath(tune.file.replace("\\", "/")).stem
    number = tune.number.strip() or str(tune.first_line)
    safe = f"{_safe(stem)[:_LONGEST_STEM] or 'tune'}-{_safe(number)[:_LONGEST_STEM] or 'x'}"
    return f"_{safe}" if safe.startswith((".", "-")) else safe


def _safe(text: str) -> str:
    return _UNSAFE.sub("_", text)
