"""No score file uses up time or memory, reaches outside of itself, or stops its folder."""

from __future__ import annotations

import io
import random
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from score_writing import CONTAINER, START, measure, note, packed, score

from tunebook.errors import Message
from tunebook.read.folder import AbcFile, iterate_tunes, read_folder
from tunebook.read.limits import ReadingLimits

GOOD = score(measure(1, START, note("D5", 12)))


def zipped(files: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return stream.getvalue()


def bomb() -> bytes:
    return packed(GOOD.replace(b"</part>", b" " * 3_000_000 + b"</part>"))


def entity_bomb() -> bytes:
    entities = b'<!ENTITY a "aaaaaaaaaa">' + b"".join(
        b'<!ENTITY %c "&%c;&%c;&%c;">' % (98 + at, 97 + at, 97 + at, 97 + at) for at in range(20)
    )
    return GOOD.replace(
        GOOD[GOOD.index(b"<!DOCTYPE") : GOOD.index(b"<score")],
        b"<!DOCTYPE score-partwise [" + entities + b"]>",
    ).replace(b"Lilla Lisa", b"&u;")


def outside_entity() -> bytes:
    return GOOD.replace(
        GOOD[GOOD.index(b"<!DOCTYPE") : GOOD.index(b"<score")],
        b'<!DOCTYPE score-partwise [<!ENTITY x SYSTEM "file:///etc/hostname">]>',
    ).replace(b"Lilla Lisa", b"&x;")


LYING = zipped({"META-INF/container.xml": CONTAINER.format(name="/etc/hostname").encode()})
BROKEN = {
    "bomb.mxl": (bomb(), "larger than 1000000 bytes"),
    "entities.musicxml": (entity_bomb(), "entities"),
    "outside.musicxml": (outside_entity(), "entities"),
    "unknown entity.musicxml": (GOOD.replace(b"Lilla Lisa", b"&lisa;"), "entities"),
    "deep.musicxml": (
        GOOD.replace(b"</part>", b"<a>" * 5000 + b"</a>" * 5000 + b"</part>"), "deep in each"),
    "cut.musicxml": (GOOD[:-40], "broken XML"),
    "cut.mxl": (packed(GOOD)[:-60], "archive is damaged"),
    "empty.mxl": (b"", "broken XML"),
    "picture.xml": (b"<svg><path/></svg>", "no MusicXML score"),
    "opus.xml": (b"<opus/>", "opus"),
    "outside.mxl": (LYING, "lacks '/etc/hostname'"),
    "which.mxl": (zipped({"a.xml": GOOD, "b.xml": GOOD}), "does not say which"),
    "many.mxl": (zipped({f"{at}.txt": b"" for at in range(1001)}), "more than 1000 files"),
    "long.musicxml": (GOOD.replace(b"</measure>", note("D5", 12).encode() * 60 + b"</measure>"),
                      "more than 50 notes"),
    "drums.musicxml": (GOOD.replace(b"<pitch><step>D</step><octave>5</octave></pitch>",
                                    b"<unpitched/>"), "no notes with a pitch"),
    "silent.musicxml": (score(""), "no bars"),
    "odd length.musicxml": (GOOD.replace(b"<duration>12", b"<duration>soprano"), "is none"),
    "negative.musicxml": (GOOD.replace(b"<duration>12", b"<duration>-12"), "is none"),
    "odd step.musicxml": (GOOD.replace(b"<step>D", b"<step>Q"), "music21 cannot"),
    "encoding.musicxml": (GOOD.replace(b"UTF-8", b"KOI-99"), "encoding"),
    "high.musicxml": (GOOD.replace(b"<octave>5", b"<octave>999999999"), "higher or lower"),
    "bars.musicxml": (score(measure(1, START, note("D5", 12)) + "<measure/>" * 300), "without end"),
    "endless.musicxml": (GOOD.replace(b"<duration>12", b"<duration>1e99999999"), "is none"),
    "voices.musicxml": (
        score(measure(1, START, *(note("D5", 1, voice=at) for at in range(1, 40)))), "32 voices"),
}  # fmt: skip
LIMITS = ReadingLimits(file_bytes=1_000_000, score_notes=50)


@pytest.mark.parametrize("name", BROKEN)
def test_broken_score_is_one_line_and_the_rest_goes_on(name: str) -> None:
    data, reason = BROKEN[name]
    files = [AbcFile(name, data), AbcFile("good.musicxml", GOOD)]
    first, second = iterate_tunes(files, limits=LIMITS)
    assert isinstance(first, Message) and first.is_fatal
    assert str(first).startswith(f"{name}: ") and "\n" not in str(first)
    assert reason in first.what
    assert not isinstance(second, Message) and second[1].title == "Lilla Lisa"


def test_encrypted_archive_is_said() -> None:
    data = bytearray(packed(GOOD))
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = -1
        while (at := data.find(signature, at + 1)) >= 0:
            data[at + offset] |= 1
    (message,) = iterate_tunes([AbcFile("secret.mxl", bytes(data))])
    assert isinstance(message, Message) and "cannot be opened" in message.what


def test_voice_of_grace_notes_alone_is_read() -> None:
    grace = note("E5", 2, before="<grace/>", voice=2)
    data = score(measure(1, START, note("D5", 12), grace))
    (found,) = iterate_tunes([AbcFile("grace.musicxml", data)])
    assert not isinstance(found, Message) and found[1].title == "Lilla Lisa"


def test_odd_bytes_end_in_a_tune_or_a_message() -> None:
    for at in range(0, len(GOOD), 9):
        for data in (GOOD[:at] + b"\0" + GOOD[at + 1 :], GOOD[:at] + GOOD[at + 40 :]):
            found = list(iterate_tunes([AbcFile("odd.musicxml", data)]))
            assert len(found) == 1


def test_folder_of_abc_alone_imports_no_music21(tmp_path: Path) -> None:
    (tmp_path / "a.abc").write_text("X:1\nT:a\nM:3/4\nK:D\nd2 e2 f2|\n", encoding="utf-8")
    program = (
        "import sys; from tunebook.cli.entry import main; sys.argv = ['tunebook', 'check', "
        f"{str(tmp_path)!r}]\ntry:\n main()\nexcept SystemExit as end:\n assert not end.code\n"
        "assert 'music21' not in sys.modules and 'tunebook.read.scores.score' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)


def test_scores_lie_among_abc_files_in_order_of_their_names(tmp_path: Path) -> None:
    (tmp_path / "b.abc").write_text("X:1\nT:b\nK:D\nd4|\n", encoding="utf-8")
    (tmp_path / "a.MusicXML").write_bytes(GOOD)
    (tmp_path / "c.mxl").write_bytes(packed(GOOD))
    (tmp_path / "d.txt").write_bytes(GOOD)
    reading = read_folder(tmp_path)
    assert [tune.file for tune in reading.tunes] == ["a.MusicXML", "b.abc", "c.mxl"]
    assert not reading.messages


SAMPLE = Path(__file__).resolve().parents[3] / "sample_tunes" / "vaggvisa.musicxml"
ODD = ("", "-1", "0", "999999", "x", "1.5", "C", "é", "%", "|", "A" * 50)


def changed(text: str, rng: random.Random) -> str:
    """The score with an element doubled, taken out, moved, or with another text in it."""
    found = list(re.finditer(r"<(\w[\w-]*)[^>]*>([^<]*)</\1>", text))
    one, other = rng.choice(found), rng.choice(found)
    what = rng.randrange(4)
    if what == 0:
        return text[: one.start()] + text[one.end() :]
    if what == 1:
        return text[: one.end()] + one[0] + text[one.end() :]
    if what == 2:
        return text[: one.end()] + other[0] + text[one.end() :]
    return text[: one.start(2)] + rng.choice(ODD) + text[one.end(2) :]


def test_changed_score_ends_in_a_tune_or_a_reason() -> None:
    rng = random.Random(12)
    whole = SAMPLE.read_text(encoding="utf-8")
    read_well = 0
    for _ in range(80):
        text = whole
        for _ in range(rng.randint(1, 4)):
            text = changed(text, rng)
        (found,) = iterate_tunes([AbcFile("changed.musicxml", text.encode())])
        if isinstance(found, Message):
            assert "could not be read" not in found.what, found
        else:
            read_well += 1
            said = [message.what for message in found[1].messages]
            assert not any("no meaning" in what for what in said), said
    assert read_well > 40
