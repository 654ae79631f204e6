"""Prints what text without end costs a book, field by field, beyond the same book without it.

    python tests/benchmarks/long_text.py [letters] [most seconds a book]

Each book is built in a process of its own, without the cache. Seconds are of the processor, those
of the engraver included; MB are the most that the program itself held.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

PROFILE = Path("tunebook/data/instruments/nyckelharpa-3row.toml")
HEAD = "X:1\nT:Short\nR:vals\nM:3/4\nL:1/8\n"
BODY = "K:D\nA2 B2 c2|d6|\n"
KINDS = {"one word": "Mn", "words": "ord ", "marks": "e\u0323\u0301\u0302"}
FIELDS = {
    "title": (HEAD + "T:{}\n" + BODY).replace("T:Short\n", ""),
    "other title": HEAD + "T:{}\n" + BODY,
    "composer": HEAD + "C:{}\n" + BODY,
    "source": HEAD + "S:{}\n" + BODY,
    "remark": HEAD + "N:{}\n" + BODY,
    "history": HEAD + "H:{}\n" + BODY,
    "verses": HEAD + "W:{}\n" + BODY,
    "words": HEAD + BODY + "w:{}\n",
    "annotation": HEAD + 'K:D\n"^{}"A2 B2 c2|d6|\n',
    "chord": HEAD + 'K:D\n"A{}"A2 B2 c2|d6|\n',
    "part": HEAD + "K:D\n[P:{}]A2 B2 c2|d6|\n",
}
SETTINGS = {
    "book title": 'title = "{}"\n',
    "subtitle": 'subtitle = "{}"\n',
    "editor": 'editor = "{}"\n',
    "set": '[[set]]\ntitle = "{}"\ntunes = ["a.abc:1"]\n',
    "set note": '[[set]]\ntitle = "S"\nnote = "{}"\ntunes = ["a.abc:1"]\n',
    "edition title": '[[edition]]\nname = "teacher"\nbased_on = "teacher"\ntitle = "{}"\n',
}


def books(text: str) -> dict[str, dict[str, str]]:
    """Files of each book by the name of the field that is long."""
    plain = HEAD + BODY
    made = {name: {"a.abc": tune.replace("{}", text)} for name, tune in FIELDS.items()}
    made |= {
        name: {"a.abc": plain, "tunes.toml": line.format(text)} for name, line in SETTINGS.items()
    }
    profile = PROFILE.read_text(encoding="utf-8")
    for key in ("title", "source"):
        lines = [line for line in profile.splitlines() if not line.startswith(f"{key} =")]
        own = f'{key} = "{text}"\n' + "\n".join(lines) + "\n"
        wish = '[instrument]\nprofile = "own.toml"\n'
        made[f"instrument's {key}"] = {"a.abc": plain, "tunes.toml": wish, "own.toml": own}
    return made


def cost(files: dict[str, str], most_s: float) -> tuple[float, float, int]:
    """Seconds, MB and exit code of one build; seconds are infinite when it took too long."""
    folder = Path(tempfile.mkdtemp())
    (folder / "tunes").mkdir()
    for name, content in files.items():
        (folder / "tunes" / name).write_text(content, encoding="utf-8")
    command = [sys.executable, "-m", "tunebook", "build", str(folder / "tunes"), "--no-cache"]
    command += ["--jobs", "1", "--edition", "teacher", "-o", str(folder / "book.pdf")]
    quiet = subprocess.DEVNULL
    run = subprocess.Popen(command, stdout=quiet, stderr=quiet, start_new_session=True)
    late = threading.Event()

    def stop() -> None:
        late.set()
        os.killpg(run.pid, signal.SIGKILL)

    timer = threading.Timer(most_s, stop)
    timer.start()
    _, status, used = os.wait4(run.pid, 0)
    timer.cancel()
    run.returncode = os.waitstatus_to_exitcode(status)
    shutil.rmtree(folder)
    seconds = float("inf") if late.is_set() else used.ru_utime + used.ru_stime
    return seconds, used.ru_maxrss / 1024, run.returncode


def main() -> None:
    """Print a line a field and kind of text."""
    letters = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    most_s = float(sys.argv[2]) if len(sys.argv) > 2 else 120.0
    plain = {"a.abc": HEAD + BODY}
    bare = sorted(cost(plain, most_s)[:2] for _ in range(3))[1]
    print(f"without: {bare[0]:.1f} s, {bare[1]:.0f} MB; beyond it, with {letters:,} letters:")
    for kind, piece in KINDS.items():
        text = (piece * (letters // len(piece) + 1))[:letters]
        for field, files in books(text).items():
            seconds, size, code = cost(files, most_s)
            more = f"{seconds - bare[0]:6.1f} s {size - bare[1]:6.0f} MB"
            print(f"{kind:<9} {field:<20} {more}  exit {code}", flush=True)


if __name__ == "__main__":
    main()
