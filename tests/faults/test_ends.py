"""However a run ends, it ends in one line and a documented code, and nothing of it is left."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tunebook import files
from tunebook.cli import ends
from tunebook.errors import EXIT_FAULT, EXIT_NOTHING_BUILT, EXIT_OUTPUT, EXIT_PROGRAM, EXIT_USAGE
from tunebook.work_folder import work_folder

Run = Callable[..., tuple[int, str, str]]
ROOT = Path(__file__).resolve().parents[2]
TUNE = "X:{0}\nT:Tune {0}\nR:polska\nM:3/4\nL:1/8\nK:D\n|:{1}|e2 c2 A2|d2 f2 a2|d6:|\n\n"
NOTES = ("e2", "ef", "g2", "c2", "d2", "A2", "B2", "cd")
LONG = "x" * 304  # a name may have 255 bytes on most file systems (POSIX's NAME_MAX, limits.h)

on_linux = pytest.mark.skipif(sys.platform != "linux", reason="signals and /proc are Linux's")


def write_tunes(folder: Path, count: int) -> None:
    folder.mkdir(exist_ok=True)
    # No two tunes are alike, so that each has to be engraved.
    tunes = (
        TUNE.format(n, "|".join([f"d2 {NOTES[n % 8]} f2"] * (1 + n // 8))) for n in range(count)
    )
    (folder / "many.abc").write_text("".join(tunes), encoding="utf-8")


def environment(place: Path, **changes: str) -> dict[str, str]:
    (place / "tmp").mkdir(exist_ok=True)
    own = {"XDG_CACHE_HOME": str(place / "cache"), "TMPDIR": str(place / "tmp")}
    return {**os.environ, **own, "TUNEBOOK_TEST_MARK": str(place), **changes}


def begin(place: Path, *arguments: str, **changes: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tunebook", *arguments], cwd=place, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
        env=environment(place, **changes),
    )  # fmt: skip


def one_line(errors: str) -> str:
    """The only line that is no word of progress."""
    lines = [one for one in errors.splitlines() if not re.match(r"\w+: \d+ of \d+$", one)]
    assert len(lines) == 1, errors
    return lines[0]


def running(place: Path) -> list[str]:
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            if str(place).encode() in (folder / "environ").read_bytes():
                found.append((folder / "cmdline").read_text().replace("\0", " ")[:200])
        except OSError:
            continue
    return found


def is_true_soon(claim: Callable[[], bool]) -> bool:
    end = time.monotonic() + 20
    while not claim() and time.monotonic() < end:
        time.sleep(0.02)
    return claim()


def left_in_temporary_folder(place: Path) -> list[str]:
    return [path.name for path in (place / "tmp").iterdir() if path.name.startswith("tunebook")]


@on_linux
@pytest.mark.parametrize("stage", ["arranging", "engraving"])
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_signal_stops_everything_at_any_stage(
    tmp_path: Path, keep_fonts_in: Callable[[Path], None], name: str, stage: str
) -> None:
    keep_fonts_in(tmp_path / "cache")
    write_tunes(tmp_path / "tunes", 60)
    run = begin(tmp_path, "build", "tunes", "-o", "out/book.pdf")
    assert run.stderr is not None
    next(line for line in run.stderr if line.startswith(f"{stage}: 1 of"))
    # To the program alone, as a supervisor sends it: it has to pass it on.
    run.send_signal(getattr(signal, name))
    _, errors = run.communicate(timeout=60)
    assert run.returncode == 128 + getattr(signal, name), errors
    assert one_line(errors) == "stopped; nothing was overwritten"
    assert running(tmp_path) == []
    assert left_in_temporary_folder(tmp_path) == []
    assert list((tmp_path / "out").iterdir()) == []


@on_linux
@pytest.mark.parametrize("stage", ["arranging", "engraving"])
def test_a_killed_program_takes_all_it_began_with_it_and_the_next_run_clears_up(
    tmp_path: Path, keep_fonts_in: Callable[[Path], None], stage: str
) -> None:
    keep_fonts_in(tmp_path / "cache")
    write_tunes(tmp_path / "tunes", 60)
    run = begin(tmp_path, "build", "tunes", "-o", "out/book.pdf")
    assert run.stderr is not None
    next(line for line in run.stderr if line.startswith(f"{stage}: 1 of"))
    run.kill()
    run.wait()
    assert is_true_soon(lambda: running(tmp_path) == []), running(tmp_path)
    assert len(left_in_temporary_folder(tmp_path)) == (stage == "engraving")
    write_tunes(tmp_path / "tunes", 1)
    again = begin(tmp_path, "build", "tunes", "-o", "out/book.pdf")
    assert again.wait(timeout=60) == 0
    assert left_in_temporary_folder(tmp_path) == []


# Interrupts the command at one import, counted from the first that its own door answers for.
RING = """
import os, signal, sys
def ring(event, given, left=[{0}]):
    if event == "import" and (given[0] == "tunebook.cli" or "tunebook.cli" in sys.modules):
        left[0] -= 1
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(ring)
from tunebook.__main__ import main
main()
"""


@on_linux
@pytest.mark.parametrize("which", [1, 2, 8, 40, 150])
def test_an_interrupt_in_the_first_moments_is_one_line_too(tmp_path: Path, which: int) -> None:
    (tmp_path / "t").mkdir()
    done = subprocess.run(
        [sys.executable, "-c", RING.format(which), "check", "t"], cwd=tmp_path, check=False,
        capture_output=True, text=True, timeout=60, env=environment(tmp_path),
    )  # fmt: skip
    assert one_line(done.stderr) == "stopped; nothing was overwritten"
    assert done.returncode == 130


def test_what_was_ignored_from_the_start_stays_ignored() -> None:
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        heard = []
        assert ends.run(lambda: heard.append(signal.getsignal(signal.SIGINT))) == 0
        assert heard == [signal.SIG_IGN]
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)


LATE = """
import os, signal, sys
from tunebook.cli import ends
code = ends.run(lambda: 3, is_last=True)
for name in ("SIGHUP", "SIGTERM", "SIGINT"):
    os.kill(os.getpid(), getattr(signal, name))
sys.exit(code)
"""


@on_linux
def test_a_signal_that_comes_when_all_is_done_changes_nothing() -> None:
    done = subprocess.run([sys.executable, "-c", LATE], check=False, capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (3, "", "")


# Rings while the handlers are put back, when nothing catches what they raise.
LEAVING = """
import os, signal, sys
from tunebook.cli import ends
listened = signal.signal
def restored(number, handler):
    if handler is not None and "leave" in sys._getframe(1).f_code.co_name:
        os.kill(os.getpid(), {0})
    return listened(number, handler)
signal.signal = restored
sys.exit(ends.run(lambda: 3, is_last={1}))
"""


@on_linux
def test_a_signal_while_the_handlers_are_put_back_is_passed_over_or_on() -> None:
    def ended(is_last: bool) -> tuple[int, str]:
        text = LEAVING.format("signal.SIGHUP", is_last)
        done = subprocess.run(
            [sys.executable, "-c", text], check=False, capture_output=True, text=True
        )
        return done.returncode, done.stderr

    assert ended(is_last=True) == (3, "")
    assert ended(is_last=False) == (-signal.SIGHUP, "")


@on_linux
def test_a_signal_stops_the_program_also_when_a_package_makes_an_error_of_it(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def command() -> int:
        try:
            os.kill(os.getpid(), signal.SIGTERM)
        except KeyboardInterrupt as error:
            raise ValueError("model could not be made") from error
        return 0

    monkeypatch.setattr(files, "_written", [])
    assert ends.run(command) == 143
    assert one_line(capsys.readouterr().err) == "stopped; nothing was overwritten"


def test_a_run_that_is_stopped_says_what_it_had_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(files, "_written", [])

    def command() -> int:
        for name in ("a", "b"):
            files.write_whole(tmp_path / name, b"x")
        files.write_whole(tmp_path / "kept", b"x", is_for_the_user=False)
        raise KeyboardInterrupt

    assert ends.run(command) == 130
    assert one_line(capsys.readouterr().err) == "stopped; 2 files had been written, whole"


def test_a_folder_in_use_stays_and_one_that_nobody_uses_goes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if sys.platform == "win32":
        pytest.skip("folders have no locks here")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with work_folder() as used, work_folder() as other:
        assert used.is_dir() and other.is_dir()
        left = tmp_path / "tunebook-1-abc"
        left.mkdir()
        (left / "in use").touch()
        (left / "piece.ly").touch()
        (tmp_path / "tunebook-2-abc").mkdir()  # just being made by another run
        (tmp_path / "tunebook-of-mine").mkdir()
        (tmp_path / "tunebook-3-abc").symlink_to(tmp_path / "tunebook-of-mine")
        with work_folder() as third:
            assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
                [used.name, other.name, third.name, "tunebook-2-abc", "tunebook-3-abc",
                 "tunebook-of-mine"]
            )  # fmt: skip
    assert not used.exists() and not other.exists()


# The command, the code, and what its one line holds.
REFUSED = [
    (("build", "t", "-o", f"{LONG}.pdf"), EXIT_OUTPUT, "cannot be written (File name too long)"),
    (("export", "t", "--to", "json", "-o", LONG), EXIT_OUTPUT, "File name too long"),
    (("export", "t", "--to", "midi", "-o", LONG), EXIT_OUTPUT, "File name too long"),
    (("instrument", "-o", LONG), EXIT_OUTPUT, "File name too long"),
    (("compare", "t", "--tunings", "CGDA", "-o", LONG), EXIT_OUTPUT, "File name too long"),
    (("check", LONG), EXIT_NOTHING_BUILT, "File name too long"),
    (("settings", LONG), EXIT_NOTHING_BUILT, "File name too long"),
    (("check", "loop"), EXIT_NOTHING_BUILT, "loop: "),
    (("build", "t", "-o", "loop"), EXIT_OUTPUT, "loop: is a link that leads in a circle"),
    (("build", "t", "-o", "loop/x.pdf"), EXIT_OUTPUT, "loop/x.pdf: "),
    (("check", "t", "--settings", "loop"), EXIT_USAGE, "loop: "),
    (("check", "t", "--instrument", "./loop"), EXIT_USAGE, "loop"),
    (("compare", "t", "--tunings", ","), EXIT_USAGE, "no tuning is named in ','"),
    (("compare", "t", "--tunings", " ; "), EXIT_USAGE, "no tuning is named in ' ; '"),
    (("check", "t", "--scheduler", "ucx://x"), EXIT_PROGRAM, "no Dask scheduler answers"),
    (("check", "t", "--scheduler", "tls://x:1"), EXIT_PROGRAM, "no Dask scheduler answers"),
    (("check", "t", "--scheduler", ""), EXIT_PROGRAM, "no Dask scheduler answers"),
]


@pytest.mark.skipif(sys.platform == "win32", reason="names and links are other ones here")
@pytest.mark.parametrize(
    ("arguments", "code", "words"), REFUSED, ids=lambda one: str(one).replace(LONG, "long")[:50]
)
def test_what_the_system_refuses_is_one_line(
    place: Path, run: Run, arguments: tuple[str, ...], code: int, words: str
) -> None:
    if "--scheduler" in arguments:
        pytest.importorskip("distributed", reason="tunebook[cluster] is not installed")
    (place / "loop").symlink_to("loop")
    ended, out, errors = run(*arguments)
    assert ended == code, errors
    assert words in one_line(errors)
    assert out == ""


@pytest.fixture
def ordinary(place: Path) -> Iterator[list[str]]:
    """How to begin a command as a user whom rights bind; root is bound by none."""
    if sys.platform == "win32" or not hasattr(os, "geteuid"):
        pytest.skip("rights are other ones here")
    if os.geteuid() != 0:
        yield []
        return
    for path in (place, *place.parents):
        if not path.stat().st_mode & 0o001:
            # The folders of tests are root's alone; each up to there lets others pass.
            path.chmod(path.stat().st_mode | 0o011)
    readable = subprocess.run(
        ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", sys.executable, "-c",
         f"import sys; sys.path.insert(0, {str(ROOT)!r}); import tunebook.cli.entry"],
        check=False, capture_output=True,
    )  # fmt: skip
    if readable.returncode:
        pytest.skip("an ordinary user cannot run this Python here")
    yield ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]


@pytest.mark.parametrize(
    ("locked", "arguments", "code", "words"),
    [
        ("t", ("check", "t"), EXIT_USAGE, "t/tunes.toml: cannot be read (Permission denied)"),
        ("t", ("explain", "t/a.abc"), EXIT_NOTHING_BUILT, "Permission denied"),
        ("t/sub", ("check", "t"), 0, ""),
        ("cache", ("check", "t"), 0, ""),
        ("cache", ("build", "t", "-o", "out/book.pdf"), 0, ""),
        ("cache", ("cache", "show"), EXIT_OUTPUT, "Permission denied"),
        ("cache", ("cache", "clear"), EXIT_OUTPUT, "Permission denied"),
    ],
)
def test_without_rights_there_is_no_trace(
    place: Path, ordinary: list[str], locked: str, arguments: tuple[str, ...], code: int, words: str
) -> None:
    (place / "t" / "sub").mkdir()
    (place / "t" / "sub" / "c.abc").write_text(TUNE.format(7, "d6"), encoding="utf-8")
    (place / "cache" / "tunebook" / "engraved").mkdir(parents=True)
    (place / "out").mkdir()
    (place / "out").chmod(0o777)
    folder = place / locked
    folder.chmod(0o644 if locked != "cache" else 0)
    try:
        done = subprocess.run(
            [*ordinary, sys.executable, "-m", "tunebook", *arguments], cwd=place, check=False,
            capture_output=True, text=True, timeout=60,
            env=environment(place, PYTHONPATH=str(ROOT), TMPDIR="/tmp"),
        )  # fmt: skip
    finally:
        folder.chmod(0o755)
    assert "Traceback" not in done.stderr and "should not" not in done.stderr, done.stderr
    assert done.returncode == code, done.stderr
    assert words in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("check", "t"), EXIT_OUTPUT), (("check", "t", "--json"), EXIT_OUTPUT),
        (("--version",), EXIT_OUTPUT), (("--help",), EXIT_OUTPUT), (("check", "no"), 3),
    ],
)  # fmt: skip
def test_a_full_standard_output_is_one_line(
    place: Path, arguments: tuple[str, ...], code: int
) -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "tunebook", *arguments], cwd=place, stdout=full, check=False,
            stderr=subprocess.PIPE, text=True, timeout=60, env=environment(place),
        )  # fmt: skip
    assert done.returncode == code
    line = one_line(done.stderr)
    assert code != EXIT_OUTPUT or "No space left on device" in line


@on_linux
@pytest.mark.parametrize("closed", ["<&- >&-", "2>&-", ">&- 2>&- <&-", "2>/dev/full"])
def test_closed_streams_hinder_nothing(place: Path, closed: str) -> None:
    words = f"'{sys.executable}' -m tunebook export t --to json -o out.json {closed}"
    done = subprocess.run(
        ["sh", "-c", words], cwd=place, check=False, timeout=60, env=environment(place)
    )
    assert done.returncode == 0
    assert len(json.loads((place / "out.json").read_text("utf-8"))["tunes"]) == 2


@on_linux
def test_who_reads_no_further_ends_the_run_quietly(place: Path) -> None:
    words = f"'{sys.executable}' -m tunebook check t 2>errors; echo $? >code"
    subprocess.run(
        ["sh", "-c", f"({words}) | true"], cwd=place, check=False, env=environment(place)
    )
    assert (place / "code").read_text().strip() == str(EXIT_OUTPUT)
    assert "Traceback" not in (place / "errors").read_text()
    assert "Exception" not in (place / "errors").read_text()


@on_linux
def test_a_working_folder_that_is_gone_is_said(place: Path) -> None:
    words = f"mkdir gone; cd gone; rmdir ../gone; '{sys.executable}' -m tunebook build {place}/t"
    done = subprocess.run(
        ["sh", "-c", words], cwd=place, check=False, capture_output=True, text=True, timeout=60,
        env=environment(place, PYTHONPATH=str(ROOT)),
    )  # fmt: skip
    assert done.returncode == EXIT_OUTPUT
    assert "the folder you are in is gone" in one_line(done.stderr)


@on_linux
def test_a_full_temporary_folder_is_one_line(
    place: Path, keep_fonts_in: Callable[[Path], None]
) -> None:
    keep_fonts_in(place / "cache")
    small = place / "small"
    small.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", str(small)]
    if subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("no file system can be mounted here")
    try:
        (small / "filling").write_bytes(b"x" * 150_000)
        done = begin(place, "build", "t", "-o", "book.pdf", TMPDIR=str(small))
        _, errors = done.communicate(timeout=120)
        left = [path.name for path in small.iterdir()]
    finally:
        subprocess.run(["umount", str(small)], check=True)
    assert done.returncode == EXIT_OUTPUT, errors
    line = one_line(errors)
    assert line.startswith("the temporary folder cannot be written (No space left on device);")
    assert left == ["filling"]
    assert not (place / "book.pdf").exists()


@pytest.mark.parametrize(
    ("changes", "arguments", "code", "words"),
    [
        ({"HOME": "mine.toml", "XDG_CACHE_HOME": ""}, ("compare", "t", "--keys"), 0, ""),
        ({"HOME": "mine.toml", "XDG_CACHE_HOME": ""}, ("instrument", "-o", "i.pdf"), 0, ""),
        ({"PYTHONOPTIMIZE": "2"}, ("check", "t"), 0, ""),
        ({"PYTHONOPTIMIZE": "2"}, ("--help",), 0, ""),
        ({"PYTHONOPTIMIZE": "2"}, ("export", "t", "--to", "ly", "-o", "ly"), 0, ""),
        ({"PYTHONOPTIMIZE": "2"}, ("build", "t"), 0, ""),
    ],
    ids=str,
)
def test_odd_surroundings_are_no_trace(
    place: Path, changes: dict[str, str], arguments: tuple[str, ...], code: int, words: str
) -> None:
    changes = {
        name: str(place / value) if name == "HOME" else value for name, value in changes.items()
    }
    done = begin(place, *arguments, **changes)
    _, errors = done.communicate(timeout=120)
    assert done.returncode == code, errors
    assert "Traceback" not in errors and words in errors


def test_what_nobody_foresaw_is_one_line_and_a_file_to_send(
    place: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise KeyError("a\x1b[31m name\nof two lines")

    monkeypatch.setattr("tunebook.pipeline.load.prepare", broken)
    code, out, errors = run("check", "t", "--edition", "tröstlös")
    assert code == EXIT_FAULT == 6
    line = one_line(errors)
    assert "something went wrong that should not (KeyError" in line
    assert out == "" and "\x1b" not in errors
    (log,) = (place / "cache" / "tunebook" / "faults").iterdir()
    assert str(log) in line
    text = log.read_text("utf-8")
    assert "Traceback (most recent call last)" in text and "in broken" in text
    assert "'--edition', 'tröstlös'" in text and "Python 3" in text


def test_the_file_to_send_goes_elsewhere_when_the_cache_cannot_be_written(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (place / "cache").write_text("a file, no folder", encoding="utf-8")
    monkeypatch.setattr("tempfile.tempdir", str(place))

    def command() -> int:
        raise RuntimeError("oh")

    assert ends.run(command) == EXIT_FAULT
    (log,) = place.glob("tunebook-fault-*.txt")
    assert str(log) in one_line(capsys.readouterr().err)


def test_too_little_memory_is_said_in_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    def command() -> int:
        raise MemoryError

    assert ends.run(command) == EXIT_PROGRAM
    assert "not enough memory" in one_line(capsys.readouterr().err)


def test_too_many_jobs_are_cut_down_and_said(place: Path, run: Run) -> None:
    from tunebook.pipeline.workers import most_jobs

    code, _, errors = run("check", "t", "--jobs", "5000")
    assert code == 0
    assert (
        one_line(errors) == f"--jobs 5000 is more than helps here; {most_jobs()} at most are used"
    )


@pytest.mark.parametrize("code", sorted({1, 2, 3, 4, 5, 6, 129, 130, 143}))
def test_every_exit_code_is_documented(code: int) -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    codes = readme[readme.index("Exit codes") :].split("\n\n")[0]
    assert re.search(rf"\b{code}\b", codes)


def test_tunings_are_compared_on_the_profile_beside_the_settings(place: Path, run: Run) -> None:
    code, out, errors = run("compare", "t", "--tunings", "CGDA,CGCA", "--json")
    assert code == 0, errors
    assert json.loads(out)["tunings"] == ["CGDA", "CGCA"]


@on_linux
def test_names_that_are_no_utf8_get_settings(place: Path, run: Run) -> None:
    (place / "t" / "tunes.toml").unlink()
    (place / "t" / "a.abc").rename(place / "t" / os.fsdecode(b"b\xe4r.abc"))
    code, _, errors = run("settings", "t")
    assert code == 0, errors
    assert "b?r.abc:1" in (place / "t" / "tunes.toml").read_text("utf-8")
    assert run("check", "t")[0] == 0
