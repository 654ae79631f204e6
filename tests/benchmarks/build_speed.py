"""How long a book takes against LilyPond alone on the same sources, in one run; prints ratios.

Usage: python tests/benchmarks/build_speed.py [TUNES]   (100 by default)

The tunes are the first of the corpus folder oneills1850 of music21, read from the installed
package. Measured: a full build; LilyPond alone, two processes, on the same .ly files; a build
after one tune was changed, and the same while the folder is watched; a build with nothing changed;
the PDF's size a tune; peak memory. Ratios are of wall time, and of processor time (which other work
on the machine disturbs less), that of LilyPond included.
"""

from __future__ import annotations

import os
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple


def corpus_tunes(count: int, folder: str = "oneills1850") -> list[str]:
    """The texts of the first ``count`` tunes of a corpus folder."""
    import music21

    home = Path(music21.__file__).parent / "corpus" / folder
    tunes: list[str] = []
    for path in sorted(home.glob("*.abc")):
        text = path.read_text(encoding="utf-8", errors="replace")
        tunes += [part for part in re.split(r"(?m)^(?=X:)", text) if part.startswith("X:")]
        if len(tunes) >= count:
            break
    return tunes[:count]


def write_tunes(folder: Path, tunes: list[str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for start in range(0, len(tunes), 50):
        text = "\n\n".join(tune.strip() for tune in tunes[start : start + 50])
        (folder / f"part{start:05d}.abc").write_text(text + "\n", encoding="utf-8")


class Spent(NamedTuple):
    """Wall time and processor time in seconds."""

    wall: float
    cpu: float

    def share_of(self, other: Spent) -> str:
        return f"{self.wall / other.wall:.3f} ({self.cpu / other.cpu:.3f} of the processor's time)"


def timed(command: list[str], environment: dict[str, str]) -> tuple[Spent, str]:
    start, cpu = time.perf_counter(), _children_cpu()
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    spent = Spent(time.perf_counter() - start, _children_cpu() - cpu)
    if done.returncode:
        print(done.stderr[-2000:], file=sys.stderr)
    return spent, (done.stdout.strip().splitlines() or [""])[0]


def _children_cpu() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def change_tune(folder: Path, bar: str) -> None:
    """Put another bar before the first tune's music."""
    path = folder / "part00000.abc"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"(?m)^K:.*$", rf"\g<0>\n{bar}|", text, count=1), encoding="utf-8")


def watched(command: list[str], environment: dict[str, str], folder: Path) -> Spent:
    """What the second of two changes costs a program that watches the folder (Linux)."""
    with subprocess.Popen(
        [*command, "--watch"], env=environment, stdout=subprocess.PIPE, text=True,
        stderr=subprocess.DEVNULL,
    ) as run:  # fmt: skip
        assert run.stdout is not None
        stat = Path(f"/proc/{run.pid}/stat")

        def cpu() -> float:
            ticks = [int(word) for word in stat.read_text().rpartition(")")[2].split()[11:15]]
            return sum(ticks) / os.sysconf("SC_CLK_TCK")

        next(line for line in run.stdout if line.startswith("waiting"))
        for bar in ("A2B2", "d2e2f2"):
            start, before = time.perf_counter(), cpu()
            change_tune(folder, bar)
            print("  " + run.stdout.readline().strip())
            spent = Spent(time.perf_counter() - start, cpu() - before)
        run.send_signal(signal.SIGINT)
    return spent


def lilypond_alone(sources: Path, work: Path) -> float:
    """Wall time of two LilyPond processes over the same files, with the same settings."""
    from tunebook.engrave.program import find_lilypond
    from tunebook.engrave.settings import SETTINGS

    (work / "settings.ily").write_text(SETTINGS, encoding="utf-8")
    for path in sources.glob("*-opening.ly"):
        # The book has a tune and its opening in one file.
        tune = path.with_name(path.name.removesuffix("-opening.ly") + ".ly")
        opening = path.read_text(encoding="utf-8")
        with tune.open("a", encoding="utf-8") as file:
            file.write(opening[opening.index("\n\\book {") :])
        path.unlink()
    files = sorted(str(path) for path in sources.glob("*.ly"))
    program = str(find_lilypond().path)
    start = time.perf_counter()
    runs = []
    for half in (files[0::2], files[1::2]):
        folder = work / str(len(runs))
        folder.mkdir()
        options = ["-dbackend=cairo", "-dno-point-and-click", "--pdf", "-s"]
        include = f"-dinclude-settings={work / 'settings.ily'}"
        runs.append(subprocess.Popen([program, *options, include, *half], cwd=folder))
    for run in runs:
        run.wait()
    return time.perf_counter() - start


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        tunes = corpus_tunes(count)
        write_tunes(home / "tunes", tunes)
        environment = {**os.environ, "XDG_CACHE_HOME": str(home / "cache")}
        # As where the package is installed: its modules are compiled once.
        environment |= {"PYTHONPYCACHEPREFIX": str(home / "compiled")}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        book, sources = home / "book.pdf", home / "ly"
        command = [sys.executable, "-m", "tunebook", "build", str(home / "tunes"), "-o", str(book)]
        # Fonts are converted once a machine; that is not part of any book.
        write_tunes(home / "first", tunes[:1])
        timed([*command[:4], str(home / "first"), *command[5:]], environment)
        full, line = timed(command, environment)
        print(line)
        timed([*command, "--keep-source", str(sources)], environment)
        alone = lilypond_alone(sources, home)
        nothing, _ = timed(command, environment)
        change_tune(home / "tunes", "G2")
        changed, _ = timed(command, environment)
        at_desk = watched(command, environment, home / "tunes")
        print(f"cores: {os.cpu_count()}; tunes: {count}")
        ratio = full.wall / alone
        print(f"full build / LilyPond alone: {full.wall:.1f} s / {alone:.1f} s = {ratio:.2f}")
        print(f"one tune changed / full build: {changed.share_of(full)}")
        print(f"the same, watched / full build: {at_desk.share_of(full)}")
        print(f"nothing changed / full build: {nothing.share_of(full)}")
        print(f"PDF: {book.stat().st_size / count / 1000:.1f} kB a tune")
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
        print(f"peak memory of any one process: {peak:.0f} MB")


if __name__ == "__main__":
    main()
