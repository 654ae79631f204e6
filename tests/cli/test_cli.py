from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from tunebook.cli.reports import print_retune_report
from tunebook.model.book import BuildReport
from tunebook.model.changes import RetuneFacts

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tunes"

GOOD = "X:1\nT:Good\nR:vals\nM:3/4\nL:1/4\nK:D\nD F A|d A F|E G B|A3|]\n"
NO_KEY = "\nX:2\nT:No key\nM:3/4\nL:1/4\nD F A|\n"
DEEP = "\nX:3\nT:Deep\nM:3/4\nL:1/4\nK:D\nD,, F A|d A F|D3|]\n"
SHORT = "\nX:4\nT:Short\nM:3/4\nL:1/4\nK:D\nD F A|d A|E G B|A3|]\n"


Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def run(
    home_with_fonts: Path,
    command: Callable[..., tuple[int, str, str]],
    monkeypatch: pytest.MonkeyPatch,
) -> Run:
    """Run the command in ``folder``."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(home_with_fonts))

    def run_in(*arguments: object, folder: Path) -> subprocess.CompletedProcess[str]:
        monkeypatch.chdir(folder)
        code, out, errors = command(*map(str, arguments))
        return subprocess.CompletedProcess(arguments, code, out, errors)

    return run_in


@pytest.fixture
def tunes(tmp_path: Path) -> Path:
    folder = tmp_path / "tunes"
    folder.mkdir()
    (folder / "a.abc").write_text(GOOD + NO_KEY + DEEP + SHORT, encoding="utf-8")
    return folder


def test_check_prints_a_row_a_tune_and_says_what_is_left_out(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    done = run("check", "tunes", folder=tmp_path)
    assert done.returncode == 0
    assert [line.split()[0] for line in done.stdout.splitlines() if ":" in line] == [
        "a.abc:1", "a.abc:3", "a.abc:4",
    ]  # fmt: skip
    assert done.stdout.splitlines()[0].split()[-1] == "messages"
    assert "3 tunes, 1 left out" in done.stdout
    assert "tunes/a.abc:9: the tune has no K: field; add K: before its music" in done.stderr


def test_a_note_out_of_compass_names_its_bar(run: Run, tunes: Path, tmp_path: Path) -> None:
    done = run("check", "tunes", folder=tmp_path)
    assert "bar 1: D2 is outside the compass" in done.stderr


def test_a_bar_of_the_wrong_length_is_said(run: Run, tunes: Path, tmp_path: Path) -> None:
    done = run("check", "tunes", folder=tmp_path)
    lines = [line for line in done.stderr.splitlines() if "a.abc:27" in line or "bar 2" in line]
    assert lines, done.stderr


def test_strict_turns_messages_into_exit_code_one(run: Run, tunes: Path, tmp_path: Path) -> None:
    assert run("check", "tunes", "--strict", folder=tmp_path).returncode == 1
    (tunes / "a.abc").write_text(GOOD, encoding="utf-8")
    assert run("check", "tunes", "--strict", folder=tmp_path).returncode == 0


@pytest.mark.parametrize(
    ("arguments", "code", "line"),
    [
        (
            ("check", "nowhere"), 3,
            "nowhere: no such file or folder; check the path",
        ),
        (
            ("check", "tunes", "--tuning", "XYZ"), 2,
            "tuning 'XYZ' cannot be read at 'XYZ'",
        ),
        (
            ("check", "tunes", "--edition", "foo"), 2,
            "no edition 'foo'; known are player, teacher, student-1, student-2, student-3, duo",
        ),
        (("check", "tunes", "--hand", "giant"), 2, "no hand 'giant'; known are small"),
        (("check", "tunes", "--settings", "x.toml"), 2, "x.toml: no such file; check --settings"),
        (("check", "tunes", "--instrument", "lute"), 2, "lute"),
        (("export", "tunes", "--to", "wav", "-o", "out"), 2, "cannot export to 'wav'"),
        (("compare", "tunes"), 2, "nothing to compare; give --tunings CGDA,CGCA, --sets or --keys"),
    ],
)  # fmt: skip
def test_a_wrong_wish_is_one_line_and_an_exit_code(
    run: Run, tunes: Path, tmp_path: Path, arguments: tuple[str, ...], code: int, line: str
) -> None:
    done = run(*arguments, folder=tmp_path)
    assert done.returncode == code
    assert line in done.stderr
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_folder_without_tunes_is_one_line(run: Run, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    done = run("check", "empty", folder=tmp_path)
    assert done.returncode == 3
    assert done.stderr.strip() == (
        "empty: no tune could be used; put .abc files with X:, T: and K:, or scores, there"
    )


def test_a_file_that_is_no_text_is_said_and_the_rest_is_used(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    (tunes / "b.abc").write_bytes(bytes(range(256)) * 20)
    done = run("check", "tunes", folder=tmp_path)
    assert done.returncode == 0
    assert "tunes/b.abc" in done.stderr
    assert "Traceback" not in done.stderr


def test_music_that_an_empty_line_cuts_off_fails_under_strict(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    (tunes / "a.abc").write_text(GOOD + '\n"D"A d f|a2 z|\n', encoding="utf-8")
    done = run("check", "tunes", "--strict", folder=tmp_path)
    assert done.returncode == 1
    assert "tunes/a.abc:9:1: music after an empty line belongs to no tune" in done.stderr


def test_a_text_that_only_looks_like_a_code_costs_no_tune(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    tune = GOOD.replace("R:vals", "F:C:\\Tunes\\089\\999.abc")
    (tunes / "a.abc").write_text(tune, encoding="utf-8")
    assert run("check", "tunes", "--strict", folder=tmp_path).returncode == 0


@pytest.mark.parametrize("has_json", [True, False])
def test_only_a_command_with_json_is_named_for_the_messages_that_are_too_many(
    run: Run, tunes: Path, tmp_path: Path, has_json: bool
) -> None:
    text = "".join(f"X:{number}\nT:t\nM:2/4\nL:1/4\nK:C\nCD?E|\n\n" for number in range(40))
    (tunes / "a.abc").write_text(text, encoding="utf-8")
    arguments = ("check", "tunes") if has_json else ("export", "tunes", "--to", "json", "-o", "x")
    lines = run(*arguments, folder=tmp_path).stderr.splitlines()
    (rest,) = (line for line in lines if line.startswith("... and"))
    assert rest == (
        "... and 20 more; --json lists all"
        if has_json
        else "... and 20 more; tunebook check --json lists those about the tunes"
    )


def test_check_as_json_is_for_scripts(run: Run, tunes: Path, tmp_path: Path) -> None:
    done = run("check", "tunes", "--json", folder=tmp_path)
    report = json.loads(done.stdout)
    assert [row["title"] for row in report["rows"]] == ["Good", "Deep", "Short"]
    assert report["left_out"][0]["is_fatal"] is True


def test_settings_writes_a_file_that_reads_back_and_never_overwrites(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    assert run("settings", "tunes", folder=tmp_path).returncode == 0
    written = (tunes / "tunes.toml").read_text(encoding="utf-8")
    assert "a.abc:1" in written and "# Good" in written
    assert run("check", "tunes", folder=tmp_path).stderr.count("tunes.toml") == 0
    again = run("settings", "tunes", folder=tmp_path)
    assert again.returncode == 5
    assert again.stderr.strip() == "tunes/tunes.toml: is there already; edit it, or move it away"
    assert (tunes / "tunes.toml").read_text(encoding="utf-8") == written


def test_compare_as_json_scores_every_tune_in_every_tuning(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    done = run("compare", "tunes", "--tunings", "CGDA,CGCA", "--keys", "--json", folder=tmp_path)
    report = json.loads(done.stdout)
    assert report["tunings"] == ["CGDA", "CGCA"]
    good = report["tunes"][0]
    assert [one["tuning"] for one in good["tunings"]] == ["CGDA", "CGCA"]
    assert any(one["semitones"] == 0 for one in good["keys"])
    assert {one["key"].partition(" ")[2] for one in good["keys"]} == {"major"}
    deep = report["tunes"][1]["tunings"][0]
    assert deep["difficulty"] is None and deep["out_of_compass"] == 1


def test_the_comparison_is_a_pdf_when_asked(run: Run, tmp_path: Path) -> None:
    done = run("compare", SAMPLES, "--tunings", "CGDA,CGCA", "-o", "cmp.pdf", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "cmp.pdf").read_bytes().startswith(b"%PDF")


def test_version_is_printed(run: Run, tmp_path: Path) -> None:
    from tunebook import __version__

    assert run("--version", folder=tmp_path).stdout == f"tunebook {__version__}\n"


def test_a_limit_in_book_toml_leaves_out_what_is_larger(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    (tunes / "tunes.toml").write_text("[reading]\ntune_notes = 5\n", encoding="utf-8")
    done = run("check", "tunes", folder=tmp_path)
    again = run("check", "tunes", "--json", folder=tmp_path)
    assert "tune_notes under [reading]" in again.stdout + done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("build", "tunes", "-o", "tunes/a.abc"),
        ("export", "tunes", "--to", "abc", "-o", "tunes"),
        ("export", "tunes", "--to", "json", "-o", "tunes/a.abc"),
        ("compare", "tunes", "--keys", "-o", "tunes/a.abc"),
    ],
)
def test_what_is_read_is_never_written_over(
    run: Run, tunes: Path, tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    before = (tunes / "a.abc").read_bytes()
    done = run(*arguments, folder=tmp_path)
    assert done.returncode == 5
    assert "is one of the files that are read here; choose another place" in done.stderr
    assert (tunes / "a.abc").read_bytes() == before


def test_a_folder_of_files_is_not_named_like_a_file(run: Run, tunes: Path, tmp_path: Path) -> None:
    done = run("export", "tunes", "--to", "midi", "-o", "x.mid", folder=tmp_path)
    assert done.returncode == 2
    assert "x.mid would be a file; name a folder for the midi files" in done.stderr


def test_one_file_of_the_folder_makes_no_complaint_about_sets(
    run: Run, tunes: Path, tmp_path: Path
) -> None:
    (tunes / "b.abc").write_text(GOOD, encoding="utf-8")
    text = '[[set]]\ntitle = "S"\ntunes = ["a.abc:1", "b.abc:1"]\n'
    (tunes / "tunes.toml").write_text(text, encoding="utf-8")
    assert "set 'S'" not in run("check", "tunes/b.abc", folder=tmp_path).stderr


def test_an_edition_may_have_a_hand_of_its_own(tunes: Path) -> None:
    from tunebook.pipeline.load import Wishes, prepare

    text = '[[edition]]\nname = "child"\nbased_on = "student-1"\nhand = "small"\n'
    (tunes / "tunes.toml").write_text(text, encoding="utf-8")
    assert prepare(tunes, Wishes(edition="child")).hand.name == "small"
    assert prepare(tunes).hand.name == "medium"
    assert prepare(tunes, Wishes(edition="child", hand="large")).hand.name == "large"


def test_a_book_gives_its_tunes_back(tmp_path: Path, run: Run) -> None:
    folder = tmp_path / "tunes"
    folder.mkdir()
    (folder / "a.abc").write_text(GOOD, encoding="utf-8")
    (folder / "tunes.toml").write_text("attach = true\n", encoding="utf-8")
    assert run("build", "tunes", "-o", "book.pdf", folder=tmp_path).returncode == 0
    out = run("unpack", "book.pdf", "-o", "again", folder=tmp_path)
    assert (out.returncode, out.stdout) == (0, "again: 2 files unpacked\n")
    assert (tmp_path / "again" / "a.abc").read_text(encoding="utf-8") == GOOD
    again = run("unpack", "book.pdf", "-o", "again", folder=tmp_path)
    assert again.returncode == 5 and again.stderr.count("\n") == 1
    broken = run("unpack", "tunes/a.abc", folder=tmp_path)
    assert broken.returncode == 3 and broken.stderr.count("\n") == 1


def test_a_retunings_columns_are_explained_below_them(capsys: pytest.CaptureFixture[str]) -> None:
    facts = RetuneFacts("CGDA", "CGCA", ())
    print_retune_report(BuildReport(Path("b.pdf"), 1, 1, (), (), (), retuning=facts), False)
    table = capsys.readouterr().out.split("CGDA  ->  CGCA")[1]
    for column in ("moved", "fingers", "crossed", "out", "cost/s", "lost"):
        assert column in table.split("\n")[2] and f"{column}: " in table
