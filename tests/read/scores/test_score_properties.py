"""Whatever notes a score has, its tune has them; and as ABC of our own they stay what they are."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from score_writing import measure, packed, read, score

from tunebook.model.tune import STEP_SEMITONES, Tune
from tunebook.model.voices import voice_as_tune
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.load import Wishes, prepare
from tunebook.read.folder import read_folder

DIVISIONS = 24
_TYPES = {24: "quarter", 12: "eighth", 6: "16th", 48: "half", 36: "quarter", 18: "eighth",
          8: "eighth", 16: "quarter"}  # fmt: skip


@dataclass(frozen=True)
class Written:
    """Tones (step, alter, octave) with their fingers, none for a rest, and a duration."""

    tones: tuple[tuple[int, int, int], ...]
    duration: int
    fingers: tuple[int | None, ...]
    is_tied: bool = False


tone = st.tuples(st.integers(0, 6), st.integers(-2, 2), st.integers(3, 6))
finger = st.sampled_from([None, None, 0, 1, 2, 3, 4])


@st.composite
def notes(draw: st.DrawFn) -> Written:
    tones = draw(st.lists(tone, max_size=3, unique_by=lambda one: (one[0], one[2])))
    fingers = tuple(draw(finger) for _ in tones)
    return Written(tuple(tones), draw(st.sampled_from([24, 12, 6, 48, 36, 18])), fingers,
                   draw(st.booleans()))  # fmt: skip


triplets = st.lists(
    st.builds(lambda one: Written((one,), 8, (None,)), tone), min_size=3, max_size=3
)
groups = st.one_of(st.lists(notes(), min_size=1, max_size=3), triplets)
bars = st.lists(st.lists(groups, min_size=1, max_size=3), min_size=1, max_size=4)


def xml_of(note: Written, tied_from: bool) -> str:
    length = f"<duration>{note.duration}</duration>"
    ties = ('<tie type="stop"/>' if tied_from else "") + (
        '<tie type="start"/>' if note.is_tied else ""
    )
    kind = f"<voice>1</voice><type>{_TYPES[note.duration]}</type>"
    kind += "<dot/>" if note.duration in (36, 18) else ""
    if note.duration in (8, 16):
        kind += (
            "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
            "</time-modification>"
        )
    if not note.tones:
        return f"<note><rest/>{length}{kind}</note>"
    found = []
    for at, ((step, alter, octave), one) in enumerate(zip(note.tones, note.fingers, strict=True)):
        pitch = f"<step>{'CDEFGAB'[step]}</step><alter>{alter}</alter><octave>{octave}</octave>"
        marks = f"<fingering>{one}</fingering>" if one is not None else ""
        marks = f"<notations><technical>{marks}</technical></notations>" if marks else ""
        chord = "<chord/>" if at else ""
        found.append(f"<note>{chord}<pitch>{pitch}</pitch>{length}{ties}{kind}{marks}</note>")
    return "".join(found)


def made(music: list[list[list[Written]]], fifths: int) -> tuple[bytes, list[list[Written]]]:
    """A score, and its notes bar by bar with ties only where the next note has all the tones."""
    flat = [[note for group in bar for note in group] for bar in music]
    line = [note for bar in flat for note in bar]
    kept = []
    for note, after in zip(line, [*line[1:], None], strict=True):
        can_tie = after is not None and note.tones and set(note.tones) == set(after.tones)
        kept.append(
            Written(note.tones, note.duration, note.fingers, note.is_tied and bool(can_tie))
        )
    texts = []
    place = 0
    result = []
    for number, bar in enumerate(flat, start=1):
        own = kept[place : place + len(bar)]
        inner = "".join(
            xml_of(note, place + at > 0 and kept[place + at - 1].is_tied)
            for at, note in enumerate(own)
        )
        start = (
            f"<attributes><divisions>{DIVISIONS}</divisions><key><fifths>{fifths}</fifths></key>"
            "<time><senza-misura/></time></attributes>"
        )
        texts.append(measure(number, start if number == 1 else "", inner))
        place += len(bar)
        result.append(own)
    return score("".join(texts)), result


def heard(tune: Tune) -> list[list[tuple[tuple[int, ...], Fraction]]]:
    return [
        [(tuple(pitch.midi for pitch in note.pitches), note.duration) for note in bar.notes]
        for bar in tune.bars
    ]


def meant(music: list[list[Written]]) -> list[list[tuple[tuple[int, ...], Fraction]]]:
    return [
        [
            (
                tuple(12 * (octave + 1) + STEP_SEMITONES[step] + alter
                      for step, alter, octave in note.tones),
                Fraction(note.duration, 4 * DIVISIONS),
            )
            for note in bar
        ]
        for bar in music
    ]  # fmt: skip


@given(bars, st.integers(-4, 4))
@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_every_note_finger_and_tie_of_a_score_is_the_tunes(
    music: list[list[list[Written]]], fifths: int
) -> None:
    data, written = made(music, fifths)
    found = read(data)
    line = [note for bar in written for note in bar]
    if not any(note.tones for note in line):
        assert found == []
        return
    (tune,) = found
    assert heard(tune) == meant(written)
    own = [note for bar in tune.bars for note in bar.notes]
    for note, one in zip(own, line, strict=True):
        assert (note.finger_pins or (None,) * len(one.tones)) == one.fingers
        assert all(note.ties) is one.is_tied or not note.pitches


def test_folder_moved_over_to_abc_has_the_same_notes_and_the_fingers(tmp_path: Path) -> None:
    music = [[[Written(((2, 0, 4),), 24, (1,)), Written(((4, 1, 4),), 24, (None,))]] * 2] * 4
    folder, out = tmp_path / "scores", tmp_path / "abc"
    folder.mkdir()
    data, _ = made(music, 1)
    two = data.replace(b"</part-list>", b'<score-part id="P2"/></part-list>')
    part = data[data.index(b'<part id="P1">') : data.index(b"</score-partwise>")]
    two = two.replace(b"</score-partwise>", part.replace(b"P1", b"P2") + b"</score-partwise>")
    (folder / "two.mxl").write_bytes(packed(two))
    (folder / "one.musicxml").write_bytes(data)
    report = export_folder(prepare(folder, Wishes()), ExportOrder("abc", out, jobs=1))
    assert (report.file_count, report.messages) == (2, ())
    assert sorted(path.name for path in out.iterdir()) == ["one.abc", "two.abc"]
    before, after = read_folder(folder).tunes, read_folder(out).tunes
    assert [heard(tune) for tune in before] == [heard(tune) for tune in after]
    voices = [
        [heard(voice_as_tune(tune, one)) for one in tune.voices] for tune in (*before, *after)
    ]
    assert voices[:2] == voices[2:] and len(voices[1]) == 1
    pins = [note.finger_pins for tune in after for bar in tune.bars for note in bar.notes]
    assert len(pins) == 32 and None not in {pin for one in pins for pin in one} and all(pins)
