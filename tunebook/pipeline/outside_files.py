"""Profiles and hand files from outside the folder, as a book that holds its sources has them.

They go to a folder of their own beside the tunes, and the settings in the book name them there, so
that what is unpacked needs nothing from outside. One that an option named is told in a comment of
the settings with that option, since no setting names it.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from tunebook.write.file_names import safe_name

FOLDER = "elsewhere"
_SUFFIX = ".toml"
_QUOTED = re.compile(r"\"([^\"\\\n]*)\"|'([^'\n]*)'")


def names_beside(paths: Mapping[Path, bytes], taken: Mapping[str, bytes]) -> dict[Path, str]:
    """A name for each of the files, none of them ``taken``."""
    names: dict[Path, str] = {}
    used = {name.casefold() for name in taken}
    for path in sorted(paths):
        stem, number = safe_name(path.stem), 1
        name = f"{FOLDER}/{stem}{_SUFFIX}"
        while name.casefold() in used:
            number += 1
            name = f"{FOLDER}/{stem}-{number}{_SUFFIX}"
        used.add(name.casefold())
        names[path] = name
    return names


def settings_with(data: bytes, home: Path, names: Mapping[Path, str], profile: str) -> bytes:
    """The settings, which lie in ``home``, with the new ``names`` of files from outside for the
    old. ``profile`` is the path of the instrument's profile."""
    text = data.decode("utf-8-sig")
    named: set[Path] = set()

    def renamed(match: re.Match[str]) -> str:
        value = match[1] or match[2] or ""
        if not value.endswith(_SUFFIX):
            return match[0]
        path = Path(os.path.realpath(home / value.replace("\\", "/")))
        named.add(path)
        return f'"{names[path]}"' if path in names else match[0]

    changed = _QUOTED.sub(renamed, text)
    own_profile = Path(os.path.realpath(profile))
    options = [
        f"--{'instrument' if path == own_profile else 'hand'} {name}"
        for path, name in names.items()
        if path not in named
    ]
    if options:
        changed = f"# The book was made with {' '.join(options)}\n{changed}"
    try:
        tomllib.loads(changed)
    except tomllib.TOMLDecodeError:
        return data
    return changed.encode("utf-8")
