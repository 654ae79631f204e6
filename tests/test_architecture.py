"""The import rule and the size of the house, checked on the source itself."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "tunebook"
BASE = {"errors", "files", "locks", "model", "data", "work_folder", "programs"}
MAY_IMPORT = {
    "errors": set(),
    "locks": set(),
    "files": {"errors"},
    "work_folder": {"errors"},
    "programs": {"errors"},
    "store": {"errors", "files", "model"},
    "model": {"errors", "model"},
    "read": BASE | {"read"},
    "solve": BASE | {"solve"},
    "write": BASE | {"write"},
    "engrave": BASE | {"engrave", "store"},
    "book": BASE | {"book", "store"},
    "pipeline": BASE
    | {"store", "read", "solve", "write", "engrave", "book", "pipeline", "__version__"},
    "cli": {"errors", "files", "model", "pipeline", "cli", "__version__"},
    "__main__": {"cli"},
    "__init__": BASE | {"read", "solve", "write", "book", "pipeline"},
}
KNOWS_NO_MUSIC = {"solve/search": {"solve/search", "errors"}}
OUTSIDE = {
    "music21": {"read", "write"},
    "abjad": {"write/lilypond"},
    "soundfile": {"write/sound"},
    "sounddevice": {"write/sound"},
    "reportlab": {"book"},
    "pikepdf": {"book"},
    "typer": {"cli"},
}
MOST_LINES = 500
MOST_UNNAMED = 5
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


def room_of(name: str) -> str:
    """The folder of a module given by its dotted name, as "solve/search"."""
    return "/".join(name.split(".")[1:-1])


def test_a_module_imports_only_what_its_stage_may() -> None:
    for path in MODULES:
        stage, room = stage_of(path), path.parent.relative_to(PACKAGE).as_posix()
        for name in imports_of(path):
            head, _, rest = name.partition(".")
            if head == "tunebook" and rest:
                assert rest.split(".")[0] in MAY_IMPORT[stage], f"{path} imports {name}"
                if room in KNOWS_NO_MUSIC:
                    allowed = KNOWS_NO_MUSIC[room]
                    assert {room_of(name), rest.split(".")[0]} & allowed, f"{path} imports {name}"
            if head in OUTSIDE:
                assert {stage, room} & OUTSIDE[head], f"{path} imports {name}"


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


def test_a_module_is_one_topic_of_readable_length() -> None:
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    too_long = {str(path): length for path, length in lengths.items() if length > MOST_LINES}
    assert not too_long, "a module is a topic: is this one two?"


def records_of(tree: ast.AST) -> set[str]:
    """Names of the dataclasses and named tuples that a module defines."""
    return {
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef)
        and any(
            word in ast.unparse(one)
            for one in (*node.decorator_list, *node.bases)
            for word in ("dataclass", "NamedTuple")
        )
    }


def test_values_of_many_fields_are_built_by_keyword() -> None:
    trees = {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}
    records = set().union(*map(records_of, trees.values()))
    assert {"Note", "Bar", "Edition"} <= records
    bare = [
        f"{path}:{node.lineno}"
        for path, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        if node.func.id in records and len(node.args) > MOST_UNNAMED
    ]
    assert not bare, "say which field is which"


def test_the_top_level_holds_only_what_was_agreed() -> None:
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "tunebook", "tests", "sample_tunes"}
    agreed |= {"LICENSE"}
    made_by_tools = {"build", "dist", "tunebook.egg-info"}
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    pdfs = {name for name in visible if name.endswith(".pdf")}
    assert visible - made_by_tools - pdfs <= agreed
