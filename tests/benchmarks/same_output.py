"""Does a change of the code leave what users get alone? Hashes of everything that is written.

Usage: python tests/benchmarks/same_output.py store FILE [TUNES]    (200 corpus tunes by default)
       python tests/benchmarks/same_output.py compare FILE [TUNES]

``store`` makes the sample book and a book of corpus tunes in every built-in edition, a retuned and
a Swedish one, and all exports, and writes one hash a LilyPond source, JSON, ABC, MIDI and MusicXML
file, a page's picture (pdftoppm, 60 dots an inch) and a table of ``check``, ``compare`` and
``explain``. ``compare`` makes it all again and prints what differs; its exit code is 1 if anything
does. The tunes are the first of the corpus folders of music21, read from the installed package.
Numbers of seconds are taken out of what is printed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from build_speed import corpus_tunes, write_tunes

EDITIONS = ("player", "teacher", "student-1", "student-2", "student-3")
KINDS = ("json", "midi", "abc", "musicxml", "ly")
SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"
SWEDISH_SETTINGS = 'language = "sv"\npaper = "letter"\n'


def tunebook(*arguments: str, folder: Path) -> str:
    """Run the command in ``folder`` and return what it printed, without seconds."""
    command = [sys.executable, "-m", "tunebook", *arguments]
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache")}
    done = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False
    )
    text = f"{done.returncode}\n{done.stdout}\n{done.stderr}"
    return re.sub(r"\d+\.\d+ s\b|\[\"[a-z]+\", \d+\.\d+\]", "", text)


def sum_of(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:20]


def sums_of_folder(folder: Path, name: str) -> dict[str, str]:
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {f"{name}/{path.relative_to(folder)}": sum_of(path.read_bytes()) for path in files}


def sums_of_pages(pdf: Path, name: str) -> dict[str, str]:
    """A hash a page, of its picture: the bytes of a PDF depend on what was engraved together."""
    if not pdf.exists():
        return {name: "no book"}
    with tempfile.TemporaryDirectory() as work:
        subprocess.run(["pdftoppm", "-r", "60", str(pdf), f"{work}/page"], check=True)
        return sums_of_folder(Path(work), name)


def sums_of_book(tunes: str, name: str, options: list[str], home: Path) -> dict[str, str]:
    keep, book = home / "keep", home / "book.pdf"
    shutil.rmtree(keep, ignore_errors=True)
    book.unlink(missing_ok=True)
    words = ["-o", "book.pdf", "--keep-source", "keep", *options]
    verb = "retune" if "--to" in options else "build"
    printed = tunebook(verb, tunes, *words, folder=home)
    return {
        f"{name}/printed": sum_of(printed.encode()),
        **sums_of_folder(keep, f"{name}/ly"),
        **sums_of_pages(book, f"{name}/page"),
    }


def sums_of_exports(tunes: str, name: str, home: Path) -> dict[str, str]:
    found: dict[str, str] = {}
    for kind in KINDS:
        target = home / "out" / kind
        shutil.rmtree(target, ignore_errors=True)
        target.mkdir(parents=True)
        where = target / "all.json" if kind == "json" else target
        tunebook("export", tunes, "--to", kind, "-o", str(where), folder=home)
        found |= sums_of_folder(target, f"{name}/{kind}")
    return found


def sums_of_tables(tunes: str, name: str, home: Path) -> dict[str, str]:
    lines = {
        "check": ["check", tunes],
        "compare tunings": ["compare", tunes, "--tunings", "CGDA,CGCA", "-o", "c.pdf"],
        "compare keys": ["compare", tunes, "--keys"],
    }
    found = {
        f"{name}/{what}": sum_of(tunebook(*line, folder=home).encode())
        for what, line in lines.items()
    }
    files = sorted((home / tunes).glob("*.abc"))[:3]
    for path in files:
        number = re.search(r"(?m)^X:\s*(\d+)", path.read_text(encoding="utf-8"))
        assert number is not None
        for more in ([], ["--chords"], ["--drones"]):
            line = ["explain", str(path.relative_to(home)), "--tune", number[1], *more]
            printed = tunebook(*line, folder=home)
            found[f"{name}/explain {path.name} {' '.join(more)}"] = sum_of(printed.encode())
    return found | sums_of_pages(home / "c.pdf", f"{name}/comparison")


def all_sums(count: int) -> dict[str, str]:
    found: dict[str, str] = {}
    with tempfile.TemporaryDirectory() as work:
        home = Path(work)
        shutil.copytree(SAMPLES, home / "samples")
        shutil.copytree(SAMPLES, home / "swedish")
        (home / "swedish" / "tunes.toml").write_text(SWEDISH_SETTINGS, encoding="utf-8")
        write_tunes(home / "corpus", corpus_tunes(count // 2))
        write_tunes(home / "corpus" / "more", corpus_tunes(count - count // 2, "ryansMammoth"))
        for tunes in ("samples", "corpus"):
            for edition in EDITIONS:
                options = ["--edition", edition]
                found |= sums_of_book(tunes, f"{tunes}/{edition}", options, home)
                print(tunes, edition, len(found), file=sys.stderr, flush=True)
            found |= sums_of_exports(tunes, tunes, home)
            found |= sums_of_tables(tunes, tunes, home)
        found |= sums_of_book("samples", "samples/retuned", ["--to", "CGCA"], home)
        found |= sums_of_book("samples", "samples/fiddle", ["--instrument", "fiddle"], home)
        for edition in ("player", "teacher"):
            options = ["--edition", edition]
            found |= sums_of_book("swedish", f"swedish/{edition}", options, home)
    return found


def main() -> int:
    verb, file = sys.argv[1], Path(sys.argv[2])
    found = all_sums(int(sys.argv[3]) if len(sys.argv) > 3 else 200)
    if verb == "store":
        file.write_text(json.dumps(found, indent=0, sort_keys=True), encoding="utf-8")
        print(f"{len(found)} hashes stored")
        return 0
    stored: dict[str, str] = json.loads(file.read_text(encoding="utf-8"))
    names = sorted(stored.keys() | found.keys())
    differing = [name for name in names if stored.get(name) != found.get(name)]
    for name in differing:
        side = "gone" if name not in found else "new" if name not in stored else "differs"
        print(f"{side}: {name}")
    print(f"{len(names)} hashes, {len(differing)} differ")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
