"""What DEVELOPERS.md says is where it says: paths, and names in modules; nothing is left out."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "tunebook"
# Line ends within a paragraph are blanks; blocks of commands are no text.
TEXT = re.sub(r"```.*?```", "", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), flags=re.S)
TEXT = re.sub(r"\s+", " ", TEXT)
A_PATH = re.compile(r"[\w.*/-]+(?:/|\.py|\.md|\.toml|\.tsv)|[\w.-]+/[\w.*/-]+")


def places_of(path: str) -> list[Path]:
    """Where ``path`` leads to: from the top, or from the program's folder."""
    return [found for home in (ROOT, PACKAGE) for found in home.glob(path.rstrip("/"))]


def test_every_path_leads_somewhere() -> None:
    named = [text for text in re.findall(r"`([^`]+)`", TEXT) if A_PATH.fullmatch(text)]
    assert len(named) > 60
    assert [path for path in named if not places_of(path)] == []


def test_every_name_is_in_the_module_beside_it() -> None:
    pairs = re.findall(r"`([\w/]+\.py)`: `(\w+)`", TEXT)
    assert len(pairs) > 25
    for path, name in pairs:
        (module,) = places_of(path)
        source = module.read_text(encoding="utf-8")
        assert re.search(rf"^(def |class |){name}\b", source, re.M), f"{name} is not in {path}"


def test_every_folder_of_the_program_has_its_line() -> None:
    folders = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name[0] != "_"}
    assert len(folders) >= 9
    assert [name for name in sorted(folders) if f"| `{name}/` |" not in TEXT] == []


def test_every_package_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    needed = {re.split(r"[^\w-]", line, maxsplit=1)[0] for line in project["dependencies"]}
    assert len(needed) >= 10
    assert [name for name in sorted(needed) if f"| `{name}` |" not in TEXT] == []
