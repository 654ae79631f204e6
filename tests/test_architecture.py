"""The import rule and the size of the house, checked on the source itself."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "tunebook"
BASE = {"errors", "files", "locks", "model", "data", "work_folder"}
MAY_IMPORT = {
    "errors": set(),
    "files": {"errors"},
    "locks": set(),
    "work_folder": {"errors"},
    "model": {"errors", "model"},
    "read": BASE | {"read"},
    "solve": BASE | {"solve"},
    "write": BASE | {"write"},
    "assemble": BASE | {"assemble"},
    "pipeline": BASE | {"read", "solve", "write", "assemble", "pipeline", "__version__"},
    "terminal": {"errors", "pipeline"},
    "reports": {"model", "pipeline", "terminal"},
    "options": {"pipeline", "terminal"},
    "cli": {"ends", "errors", "options", "pipeline", "terminal", "reports", "__version__"},
    "ends": {"errors", "terminal", "pipeline", "__version__"},
    "__main__": {"cli", "ends"},
    "__init__": BASE | {"read", "solve", "write", "assemble", "pipeline"},
}
OUTSIDE = {
    "music21": {"read", "write"},
    "abjad": {"write"},
    "reportlab": {"assemble"},
    "pikepdf": {"assemble"},
    "typer": {"cli", "options"},
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def stage_of(path: Path) -> str:
    relative = path.relative_to(PACKAGE)
    return relative.parts[0] if len(relative.parts) > 1 else relative.stem


def imports_of(path: Path) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: imports are absolute"
            if node.module == "tunebook":
                found += [f"tunebook.{alias.name}" for alias in node.names]
            else:
                found.append(node.module)
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_stage_may(path: Path) -> None:
    stage = stage_of(path)
    for name in imports_of(path):
        head, _, rest = name.partition(".")
        if head == "tunebook" and rest:
            assert rest.split(".")[0] in MAY_IMPORT[stage], f"{path.name} imports {name}"
        if head in OUTSIDE:
            assert stage in OUTSIDE[head], f"{path.name} imports {name}"


def test_no_circle_of_imports() -> None:
    graph = {}
    for path in MODULES:
        name = ".".join(("tunebook", *path.relative_to(PACKAGE).with_suffix("").parts))
        graph[name.removesuffix(".__init__")] = [
            other for other in imports_of(path) if other.startswith("tunebook.")
        ]
    finished: set[str] = set()

    def walk(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join((*trail, name))
        if name in finished or name not in graph:
            return
        for other in graph[name]:
            walk(other, (*trail, name))
        finished.add(name)

    for name in graph:
        walk(name, ())
    assert len(finished) == len(graph)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_is_one_thing_of_readable_length(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 350


def test_the_top_level_holds_only_what_was_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "tunebook", "tests", "sample_tunes"}
    agreed |= {"LICENSE"}
    made_by_tools = {"build", "dist", "tunebook.egg-info"}
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    pdfs = {name for name in visible if name.endswith(".pdf")}
    assert visible - made_by_tools - pdfs <= agreed
