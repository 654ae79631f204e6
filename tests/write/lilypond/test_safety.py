"""Text from tunes is text and nothing else: quoted, on one line, never a comment or code."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tunebook.engrave.program import clean_environment, find_lilypond
from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan
from tunebook.model.book import Edition
from tunebook.model.tune import Annotation, ChordSymbol, Syllable, Tempo
from tunebook.write.lilypond.source import write_source
from tunebook.write.safe_text import MOST_LETTERS, lilypond_string, plain_text

PLACE = SourcePlace("hostile.abc", 1, 1)
RUNS = '(system "touch MARKER")'
HOSTILE = (
    f'" #{RUNS} "',
    f'\\" #{RUNS} \\"',
    f"#{RUNS}",
    f"${RUNS}",
    f"\\markup {{ #{RUNS} }}",
    f"}} >> #{RUNS} << {{",
    f"%}} #{RUNS}",
    f"text % \n #{RUNS}",
    f"text\r#{RUNS}",
    f"text\u2028#{RUNS}\u2029#{RUNS}\x85#{RUNS}",
    f"text\x00\x1b[31m\\\n#{RUNS}",
    f'ends in a backslash\\" #{RUNS} "\\',
    "ends in a backslash\\",
    f"\ufeff\u202e#{RUNS}\u2066",
    '\\include "/etc/passwd" \\verbatim-file "/etc/passwd"',
    '\\bookOutputName "MARKER" #(define x 1)',
    "-- __ ~ | \\break <> [ ] ( )",
    "\ud800 lone surrogate",
)


def hostile_arrangement(text, make_tune, arranged):
    """A tune with ``text`` in every place where text may stand, and words that print."""
    tune = make_tune("D4/4 E4/4 F#4/4", "G4*3/4", "A4/4 B4/4 C5/4")
    chord = ChordSymbol(PLACE, text, 1, 0, "other", "")
    odd = ChordSymbol(PLACE, text, 1, 0, "minor", text)
    bars = []
    for bar in tune.bars:
        notes = tuple(
            replace(
                note,
                annotations=(Annotation(PLACE, text, "^"), Annotation(PLACE, text, "_")),
                decorations=(text, "D.C."),
                syllables=(Syllable(text, is_joined=True), Syllable(text, is_extended=True)),
                chord=chord,
                remark=text,
            )
            for note in bar.notes
        )
        bars.append(
            replace(
                bar,
                notes=notes,
                part=text,
                tempo=Tempo(per_minute=0, text=text),
                annotations=(Annotation(PLACE, text, "@"),),
                decorations=(text,),
                sign_after="|",
            )
        )
    tune = replace(tune, bars=tuple(bars), titles=(text,), composer=text, rhythm=text)
    chords = (
        ChordSpan(0, bars[0].onset, bars[0].duration, chord),
        ChordSpan(1, bars[1].onset, bars[1].duration, odd, "solved", 0.3),
    )
    made = arranged(tune, chords=chords)
    strings = tuple(replace(string, name=text) for string in made.instrument.strings)
    notes = tuple(replace(note, shows_string=True) for note in made.notes)
    return replace(made, notes=notes, instrument=replace(made.instrument, strings=strings))


def source_of(text, make_tune, arranged):
    arrangement = hostile_arrangement(text, make_tune, arranged)
    edition = Edition("hostile", fingers="all")
    return write_source(arrangement, edition, line_width_pt=480, with_opening=True).text


def without_strings(source):
    return re.sub(r'"(?:\\.|[^"\\])*"', '""', source)


@pytest.mark.parametrize("text", HOSTILE)
def test_text_stands_inside_quotes_only(text, make_tune, arranged):
    plain = "x" * len(plain_text(text))
    harmless = without_strings(source_of(plain, make_tune, arranged))
    hostile = without_strings(source_of(text, make_tune, arranged))
    assert hostile == harmless


def test_hostile_text_runs_nothing_and_prints_as_typed(tmp_path, make_tune, arranged):
    for number, text in enumerate(HOSTILE):
        source = source_of(text, make_tune, arranged)
        (tmp_path / f"h{number}.ly").write_text(source, encoding="utf-8")
    names = [f"h{number}.ly" for number in range(len(HOSTILE))]
    command = [str(find_lilypond().path), "-dbackend=cairo", "--pdf", "--loglevel=ERROR", *names]
    done = subprocess.run(
        command, cwd=tmp_path, env=clean_environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert list(tmp_path.rglob("*MARKER*")) == []
    assert all((tmp_path / f"h{number}.pdf").exists() for number in range(len(HOSTILE)))


def test_control_over_the_marker_file_is_real(tmp_path):
    (tmp_path / "open.ly").write_text(f"#{RUNS}\n{{ c4 }}\n", encoding="utf-8")
    command = [str(find_lilypond().path), "-dbackend=cairo", "--pdf", "open.ly"]
    subprocess.run(command, cwd=tmp_path, env=clean_environment(), capture_output=True, check=False)
    assert (tmp_path / "MARKER").exists()


@given(st.text(max_size=300))
def test_any_text_is_one_quoted_string(text):
    quoted = lilypond_string(text)
    assert re.fullmatch(r'"(?:[^"\\]|\\["\\])*"', quoted)
    assert not any(ord(letter) < 32 or ord(letter) == 127 for letter in quoted)
    assert "\u2028" not in quoted and "\u202e" not in quoted and "\ufeff" not in quoted


@given(st.text(alphabet=st.characters(categories=["L", "N", "P", "S", "Zs"]), max_size=100))
def test_printing_letters_are_kept_as_typed(text):
    unescaped = re.sub(r"\\(.)", r"\1", lilypond_string(text)[1:-1])
    assert unescaped == text


def test_long_text_is_cut():
    assert len(plain_text("a" * 100_000)) == MOST_LETTERS


def test_line_ends_become_spaces():
    assert plain_text("one\ntwo\u2028three\tfour") == "one two three four"


def test_source_holds_no_title_and_no_comment_but_the_count_of_bars(make_tune, arranged):
    source = source_of("Midsommar", make_tune, arranged)
    comments = [line for line in source.split("\n") if "%" in line]
    assert [re.sub(r"\d+", "N", line) for line in comments] == ["% bars in each line: N"]
    assert "Made by hand" not in source
