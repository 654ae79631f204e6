"""A tune written as ABC is read as the same tune, to the last sign."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.solve.transpose import transpose_tune
from tunebook.write.tune_abc import keeps_its_notes, tune_as_abc

RICH = r"""X:7
T:Bj\"ornvalsen \& 100\% mer
T:second title
C:Kol-Hulda
R:vals
r:somebody's own remark
P:AB
%%text Before the music.
M:3/4
L:1/8
Q:"Lugnt" 1/4=96
V:1 nm="Melody" clef=treble-8
V:2 nm="Second" clef=bass
K:D dor ^c
[V:1] |: [P:A]"Dm"!segno!{/e}d2 "^dolce"(ef) T.g2|\
[r:string D]!2!d2 (3efg [r:note mind [the] bow]a2-|\
[r:chord A7 after 1/4]a4 !3!^c2 "G":|
w: Det var en * vals_ i-gen
w: and a sec-ond verse
[V:2] |: D,6 | [D,A,]4 z2 | A,,6 :|
[V:1] [M:2/4][Q:1/4=80][P:B]|: [r:drone D4 finger 1 string G]d>e f2 |[K:G]!fermata!g2 B/^c/_d ::\
[r:accent D4]g4 [1 [gb]2 xz :|[2 ^f/_e/=f/e/ (5:4:5g/a/g/f/e/|] W:
[V:2] [M:2/4]|: A,4 | [K:G]G,4 :: G,4 [1 B,4 :|[2 D,4 |]
W:Words after \"a
"""


@pytest.mark.parametrize("semitones", [0, 2, -5, 6])
def test_a_rich_tune_is_read_as_it_was_written(semitones: int) -> None:
    (tune,) = read_abc(RICH)
    tune = transpose_tune(tune, semitones)
    (again,) = read_abc(tune_as_abc(tune))
    assert keeps_its_notes(tune, again) and len(again.voices) == 1
    for bars, others in zip(all_bars(tune), all_bars(again), strict=True):
        for bar, other in zip(bars, others, strict=True):
            assert [facts(one) for one in bar.notes] == [facts(one) for one in other.notes]
            for name in ("ending", "part", "decorations", "sign_after", "repeat_passes", "clef"):
                assert getattr(bar, name) == getattr(other, name), name
            assert (bar.meter, bar.key.alters) == (other.meter, other.key.alters)
    for name in ("titles", "composer", "rhythm", "words", "texts", "meter", "tempo", "played"):
        assert getattr(tune, name) == getattr(again, name), name
    assert tune.melody_voice == again.melody_voice
    assert again.field("r") == tune.field("r") == ("somebody's own remark",)
    assert tune_as_abc(again) == tune_as_abc(tune)


def test_remarks_of_the_head_stay_and_the_line_is_said_once() -> None:
    head = "r:line dancers up first\nr:line plain\nr: key  as written\n"
    (tune,) = read_abc(f"X:1\nT:t\n{head}M:2/4\nL:1/8\nK:D\nd2f2|d4|]\n")
    assert tune.line == "plain" and tune.has_fixed_key
    text = tune_as_abc(replace(tune, line="frame"))
    remarks = [line for line in text.splitlines() if line.startswith("r:")]
    assert remarks[:2] == ["r:line frame", "r:line dancers up first"] and len(remarks) == 3
    (again,) = read_abc(text)
    assert again.line == "frame" and again.has_fixed_key


def all_bars(tune: Tune) -> list[object]:
    return [tune.bars, *(voice.bars for voice in tune.voices)]


def facts(note: object) -> tuple[object, ...]:
    """All that is printed of a note; places aside."""
    names = (
        "pitches",
        "onset",
        "duration",
        "written",
        "shown_accidentals",
        "ties",
        "is_grace",
        "is_slashed_grace",
        "is_invisible",
        "is_joined",
        "slurs_opened",
        "slurs_closed",
        "tuplet",
        "decorations",
        "finger_pins",
        "string_pin",
        "syllables",
        "remark",
    )
    words = [(one.text, one.placement) for one in note.annotations]
    pins = [replace(pin, place=None) for pin in (note.drone_pin, note.accent_pin) if pin]
    chords = [note.chord.symbol] if note.chord else []
    chords += [(delay, chord.symbol) for delay, chord in note.later_chords]
    return (*(getattr(note, name) for name in names), words, pins, chords)


@pytest.mark.parametrize(
    ("mode", "line"),
    [("frame", "frame"), ("frame and full", "frame and full"), ("nonsense", "full"), ("", "full")],
)
def test_a_text_says_what_line_of_the_tune_it_holds(mode: str, line: str) -> None:
    (tune,) = read_abc(f"X:1\nT:t\nr:line {mode}\nM:3/4\nL:1/8\nK:D\nd6|]\n")
    assert tune.line == line
