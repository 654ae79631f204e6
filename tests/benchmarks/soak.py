"""Builds changing small folders again and again while things go wrong, and looks at what is left.

    python tests/benchmarks/soak.py [--builds 300] [--seed N] [--seconds N]

Before each build the folder changes: two to five sample tunes, some of them broken, an edition,
some settings. During it something may happen: a signal to the program, a killed engraver or
worker, a disk without room (a small tmpfs as the output's, the temporary or the cache folder, where
one may be mounted). After it the old book stands there byte for byte or a new one is whole,
nothing of the run is running, its temporary folder is empty (after SIGKILL: when the next
run is through) and nothing half-written lies beside the book (but after SIGKILL) nor in the cache.
Prints what happened by kind, and every violation; exits with 1 when there is one. Linux only.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pikepdf

ROOT = Path(__file__).resolve().parents[2]
EDITIONS = ("player", "teacher", "student-1", "student-2", "student-3", "large")
SIGNALS = ("SIGKILL", "SIGTERM", "SIGHUP", "SIGINT")
DISKS = ("full output", "full TMPDIR", "full cache")
SHARES = {
    **dict.fromkeys(SIGNALS, 16), "engraver killed": 8, "worker killed": 4,
    **dict.fromkeys(DISKS, 7), "none": 6,
}  # fmt: skip
LONGEST_S = 240.0
DISK_KB = 8000
SETTINGS = """\
title = "Soak {0}"
paper = "{1}"
booklet = {2}
language = "{3}"
{4}
[[edition]]
name = "large"
based_on = "player"
staff_size_pt = 24
"""


@dataclass
class Place:
    """The folders of one soak, and what is remembered between its builds."""

    root: Path
    rng: random.Random
    mark: str = ""
    may_mount: bool = True
    left_by_kill: bool = False
    usual_s: float = 6.0
    counts: dict[str, Counter[str]] = field(default_factory=dict)
    violations: list[str] = field(default_factory=list)

    def folder(self, name: str) -> Path:
        path = self.root / name
        path.mkdir(exist_ok=True)
        return path


@dataclass(frozen=True)
class Case:
    """One build: what is in the folder, what goes wrong, and where things are written."""

    number: int
    fault: str
    good_titles: frozenset[str]
    has_broken: bool
    output: Path
    temporary: Path
    cache: Path
    options: tuple[str, ...]


@dataclass(frozen=True)
class Ending:
    code: int
    errors: str
    printed: str
    was_hit: bool


def sample_tunes() -> list[str]:
    tunes = []
    for path in sorted((ROOT / "sample_tunes").glob("*.abc")):
        parts = re.split(r"(?m)^(?=X:)", path.read_text(encoding="utf-8"))
        tunes += [part for part in parts if part.startswith("X:")]
    return tunes


SAMPLES = sample_tunes()


def named(tune: str, title: str) -> str:
    """The tune under another title alone."""
    head, first, rest = tune.partition("T:")
    body = "\n".join(line for line in rest.split("\n")[1:] if not line.startswith("T:"))
    return f"{head}{first}{title}\n{body}"


def broken(tune: str, rng: random.Random) -> bytes:
    """The tune as a disk, an editor or a stranger may leave it."""
    data = bytearray(tune.encode())
    kind = rng.randrange(7)
    if kind == 0:
        return bytes(data[: rng.randrange(len(data))])
    if kind == 1:
        for _ in range(20):
            data[rng.randrange(len(data))] = rng.randrange(256)
        return bytes(data)
    if kind == 2:
        return b""
    if kind == 3:
        return rng.randbytes(3000)
    if kind == 4:
        return tune.replace("K:", "k:").encode()
    if kind == 5:
        return tune.replace("|", "|: [", 3).replace('"', "").encode("utf-16")
    return bytes(data) + b"\0" * 4096


def change_folder(place: Place, number: int) -> tuple[frozenset[str], bool]:
    """Write other tunes and settings; returns the titles that have to be in the book, and whether
    there are broken tunes too."""
    rng = place.rng
    folder = place.folder("tunes")
    shutil.rmtree(folder)
    folder.mkdir()
    count = rng.randint(2, 5)
    bad = rng.randint(0, min(2, count - 1))
    good = set()
    for index, tune in enumerate(rng.sample(SAMPLES, count)):
        title = f"Number {number} {'bad' if index < bad else 'good'} {index}"
        text = named(tune, title)
        content = broken(text, rng) if index < bad else text.encode()
        (folder / f"{rng.choice('abcåäö')}{index}.abc").write_bytes(content)
        if index >= bad:
            good.add(title)
    paper, booklet = rng.choice([("a4", "false"), ("letter", "false"), ("a5", "true")])
    odd = rng.choice(["", "", "nonsense = 3", 'note_names = "x"'])
    language = rng.choice(["en", "sv"])
    text = SETTINGS.format(number, paper, booklet, language, odd)
    (folder / "tunes.toml").write_text(text, encoding="utf-8")
    return frozenset(good), bad > 0


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[str]:
    """A small file system at ``folder``; yields why there is none, or nothing."""
    mount = ["mount", "-t", "tmpfs", "-o", f"size={DISK_KB}k", "tmpfs", str(folder)]
    try:
        done = subprocess.run(mount, capture_output=True, text=True, check=False)
        why = done.stderr.strip() if done.returncode else ""
    except OSError as error:
        why = str(error)
    try:
        yield why
    finally:
        if not why:
            subprocess.run(["umount", "-l", str(folder)], check=True)


def fill_disk(place: Place, fault: str) -> Path:
    """Leave so much room that some runs fit and others do not."""
    disk = place.folder("disk")
    for path in disk.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    if fault == "full output":
        for path in place.folder("out").glob("*.pdf"):
            shutil.copy(path, disk / path.name)
    state = os.statvfs(disk)
    room = place.rng.choice([0, 4, 40, 120, 300, 1000]) * 1024
    filling = max(0, state.f_bavail * state.f_frsize - room)
    (disk / "filling").write_bytes(b"x" * filling)
    return disk


def next_case(place: Place, number: int) -> Case:
    rng = place.rng
    shares = {name: n for name, n in SHARES.items() if place.may_mount or name not in DISKS}
    fault = rng.choices(list(shares), list(shares.values()))[0]
    folders = {name: place.folder(name) for name in ("out", "tmp", "cache")}
    if fault in DISKS:
        disk = fill_disk(place, fault)
        folders[{"output": "out", "TMPDIR": "tmp", "cache": "cache"}[fault.split()[1]]] = disk
    options = [
        "--edition",
        rng.choice(EDITIONS),
        "--jobs",
        "2" if fault == "worker killed" else "1",
    ]
    if rng.random() < 0.3:
        options.append("--no-cache")
    titles, has_broken = change_folder(place, number)
    output, temporary, cache = folders["out"] / "book.pdf", folders["tmp"], folders["cache"]
    return Case(number, fault, titles, has_broken, output, temporary, cache, tuple(options))


def moment(place: Place, errors: Path) -> Callable[[], bool]:
    """When the fault comes: after some time, at a stage, or some time after the last engraving."""
    rng = place.rng
    start = time.monotonic()
    kind = rng.choice(["time", "stage", "late"])
    most_s = {"time": place.usual_s, "stage": 0.05 * place.usual_s, "late": 0.5 * place.usual_s}
    delay_s = rng.uniform(0, most_s[kind])
    words = {
        "stage": re.compile(rng.choice([r"(?m)^arranging: 1 of", r"(?m)^engraving: 1 of"])),
        "late": re.compile(r"(?m)^engraving: (\d+) of \1$"),
    }
    seen: list[float] = [start] if kind == "time" else []

    def has_come() -> bool:
        if not seen and words[kind].search(errors.read_text("utf-8", "replace")):
            seen.append(time.monotonic())
        return bool(seen) and time.monotonic() - seen[0] >= delay_s

    return has_come


def running(mark: str) -> dict[int, str]:
    """Process number to command line of all that bear the mark in their environment."""
    found = {}
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            if mark.encode() in (folder / "environ").read_bytes():
                words = (
                    (folder / "cmdline")
                    .read_bytes()
                    .replace(b"\0", b" ")
                    .decode("utf-8", "replace")
                )
                if words:  # one that has ended and is not yet waited for has none
                    found[int(folder.name)] = words
    return found


def strike(place: Place, run: subprocess.Popen[bytes], fault: str) -> bool:
    """Do what goes wrong; False when there is not yet anything to do it to."""
    if fault in SIGNALS:
        run.send_signal(getattr(signal, fault))
        return True
    others = {number: words for number, words in running(place.mark).items() if number != run.pid}
    is_engraver = "engraver" in fault
    # The engraver is asked to die with its parent by a short program before it.
    wanted = [
        number
        for number, words in others.items()
        if ("lilypond" in words.split()[0]) == is_engraver and "-I -S -c" not in words
    ]
    if not wanted:
        return False
    with contextlib.suppress(ProcessLookupError):
        os.kill(place.rng.choice(wanted), place.rng.choice([signal.SIGKILL, signal.SIGSEGV]))
    return True


def build(place: Place, case: Case) -> Ending:
    log = place.folder("log")
    errors, printed = log / "errors", log / "printed"
    place.mark = f"soak-{os.getpid()}-{case.number}"
    surroundings = {
        **os.environ, "SOAK_MARK": place.mark, "TMPDIR": str(case.temporary),
        "XDG_CACHE_HOME": str(case.cache), "PYTHONPATH": str(ROOT),
    }  # fmt: skip
    command = [sys.executable, "-m", "tunebook", "build", "tunes", "-o", str(case.output)]
    start = time.monotonic()
    with errors.open("wb") as err, printed.open("wb") as out:
        run = subprocess.Popen(
            [*command, *case.options], cwd=place.root, env=surroundings, stdout=out, stderr=err,
            start_new_session=True,
        )  # fmt: skip
        try:
            hit_after_s = watch(place, case, run, errors)
        finally:
            if run.poll() is None:
                for number in running(place.mark):
                    os.kill(number, signal.SIGKILL)
    if run.wait() == 0:
        place.usual_s += 0.3 * (time.monotonic() - start - place.usual_s)
    text = errors.read_text("utf-8", "replace")
    was_hit = hit_after_s >= 0 or (case.fault in DISKS and run.wait() != 0)
    return Ending(run.wait(), text, printed.read_text("utf-8"), was_hit)


def watch(place: Place, case: Case, run: subprocess.Popen[bytes], errors: Path) -> float:
    """Wait until the run ends, and strike meanwhile; returns after how many seconds that was,
    less than 0 for not at all."""
    start = time.monotonic()
    has_come = moment(place, errors)
    hit_after_s = -1.0
    is_wanted = case.fault in SIGNALS or case.fault.endswith("killed")
    while run.poll() is None and time.monotonic() - start < LONGEST_S:
        if is_wanted and has_come() and strike(place, run, case.fault):
            hit_after_s = time.monotonic() - start
            is_wanted = False
        time.sleep(0.01)
    if run.poll() is None:
        violation(place, case, f"still running after {LONGEST_S:g} s", errors)
    return hit_after_s


def violation(place: Place, case: Case, what: str, errors: Path | str = "") -> None:
    text = errors.read_text("utf-8", "replace") if isinstance(errors, Path) else errors
    line = f"build {case.number} ({case.fault}; {' '.join(case.options)}): {what}"
    place.violations.append(line)
    print(f"VIOLATION {line}\n  {text[-600:]!r}", flush=True)


def digests(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.is_file() and path.name != "filling"
    }


def tunes_of(path: Path) -> set[str]:
    """The tunes in a book's outline. Raises when any part of the PDF cannot be read."""
    with pikepdf.open(path) as pdf:
        faults = pdf.check_pdf_syntax() if hasattr(pdf, "check_pdf_syntax") else pdf.check()
        if faults:
            raise ValueError("; ".join(str(fault) for fault in faults))
        for page in pdf.pages:
            pikepdf.parse_content_stream(page)
        with pdf.open_outline() as outline:
            titles = {str(item.title) for item in outline.root}
    return {title for title in titles if re.match(r"Number \d+ (good|bad)", title)}


def check_book(place: Place, case: Case, ending: Ending, old: dict[str, str]) -> str:
    """Old bytes, or whole and of this folder; returns which."""
    new = digests(case.output.parent)
    odd = sorted(name for name in new if not name.endswith(".pdf"))
    if odd and case.fault != "SIGKILL":
        violation(place, case, f"beside the book lies {odd}", ending.errors)
    for name in odd:
        (case.output.parent / name).unlink()
    is_new = new.get("book.pdf") != old.get("book.pdf")
    for name in old:
        if name not in new:
            violation(place, case, f"{name} is gone", ending.errors)
    for name in sorted(new.keys() - set(odd)):
        if new[name] != old.get(name):
            check_new(place, case, ending, case.output.parent / name)
    if ending.code == 0 and not is_new:
        violation(place, case, "exit code 0 and no new book", ending.errors)
    return "new book" if is_new else "old book" if old else "no book yet"


def check_new(place: Place, case: Case, ending: Ending, path: Path) -> None:
    try:
        tunes = tunes_of(path) if path.name == "book.pdf" else case.good_titles
        with pikepdf.open(path) as pdf:
            assert len(pdf.pages) > 0
    except Exception as error:
        violation(place, case, f"{path.name} is not whole: {error!r}", ending.errors)
        return
    if not tunes >= case.good_titles or any(f"Number {case.number} " not in t for t in tunes):
        violation(place, case, f"the book has {sorted(tunes)}", ending.errors)
    if ending.code == 0 and path.name == "book.pdf":
        said = re.search(r"(\d+) tunes? on \d+ pages?", ending.printed)
        count = int(said[1]) if said else 0
        # A broken tune may have lost its title, or be several.
        if count < len(tunes) or (count > len(tunes) and not case.has_broken):
            violation(place, case, f"{count} tunes are said, {len(tunes)} are there", ending.errors)


def check_rest(place: Place, case: Case, ending: Ending, inputs: dict[str, str]) -> None:
    """Processes, temporary folder, cache, tunes, messages."""
    end = time.monotonic() + 10
    while (left := running(place.mark)) and time.monotonic() < end:
        time.sleep(0.05)
    if left:
        violation(place, case, f"still running: {left}", ending.errors)
    if digests(place.root / "tunes") != inputs:
        violation(place, case, "the tunes were changed", ending.errors)
    files = [path.name for path in case.temporary.iterdir() if path.name != "filling"]
    if case.fault == "SIGKILL" and ending.code < 0:
        place.left_by_kill = place.left_by_kill or bool(files)
    elif files and (ending.code == 0 or not place.left_by_kill):
        violation(place, case, f"in the temporary folder: {files}", ending.errors)
    if not files and case.temporary.name == "tmp":
        place.left_by_kill = False
    half = list(case.cache.rglob(".tunebook-*"))
    if half and case.fault != "SIGKILL":
        violation(place, case, f"half-written in the cache: {half}", ending.errors)
    for path in half:
        path.unlink()
    check_ending(place, case, ending)


def check_ending(place: Place, case: Case, ending: Ending) -> None:
    # What Python itself answers before the program's first line is its own affair.
    is_early = ending.was_hit and not re.search(r"tunebook[/\\]|\w+: \d+ of \d+", ending.errors)
    allowed = {0}
    if case.fault in SIGNALS and ending.was_hit:
        number = int(getattr(signal, case.fault))
        # Shells say 128 + number for both: before the program listens, and once all is done, the
        # signal ends it by itself.
        allowed |= {-number, 128 + number} - ({128 + 9} if case.fault == "SIGKILL" else set())
        allowed |= {1} if case.fault == "SIGINT" and is_early else set()
    elif case.fault in ("full output", "full TMPDIR"):
        allowed |= {5}
    elif ending.was_hit:
        allowed |= {4}
    if ending.code not in allowed:
        violation(place, case, f"exit code {ending.code}", ending.errors)
    if "Traceback" in ending.errors and not is_early:
        violation(place, case, "a traceback", ending.errors)


def one_build(place: Place, number: int) -> None:
    case = next_case(place, number)
    old = digests(case.output.parent)
    inputs = digests(place.root / "tunes")
    ending = build(place, case)
    kept = check_book(place, case, ending, old)
    check_rest(place, case, ending, inputs)
    counts = place.counts.setdefault(case.fault, Counter())
    counts.update(["builds", kept, f"exit {ending.code}", *(["hit"] if ending.was_hit else [])])


def report(place: Place, done: int, seconds: float) -> None:
    print(f"{done} builds in {seconds:.0f} s, {len(place.violations)} violations")
    for fault in SHARES:
        counts = place.counts.get(fault, Counter())
        words = ", ".join(f"{what} {count}" for what, count in sorted(counts.items()))
        print(f"  {fault:16} {words or 'none'}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--builds", type=int, default=300)
    parser.add_argument("--seed", type=int, default=random.randrange(10**6))
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin no more after")
    wishes = parser.parse_args()
    print(f"{wishes.builds} builds, seed {wishes.seed}", flush=True)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    # What is begun with "&" or nohup ignores these, and so would every build.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
    place = Place(Path(tempfile.mkdtemp(prefix="soak-")), random.Random(wishes.seed))
    start, done = time.monotonic(), 0
    with small_disk(place.folder("disk")) as why:
        place.may_mount = not why
        if why:
            print(f"no full disks, for none can be mounted: {why}")
        try:
            while done < wishes.builds and time.monotonic() - start < wishes.seconds:
                one_build(place, done + 1)
                done += 1
                if done % 25 == 0:
                    report(place, done, time.monotonic() - start)
        finally:
            report(place, done, time.monotonic() - start)
    if not place.violations:
        shutil.rmtree(place.root)
    sys.exit(bool(place.violations))


if __name__ == "__main__":
    main()
