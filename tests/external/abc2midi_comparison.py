"""Source: abc2midi (Debian package abcmidi), an independent reader of ABC, run on plain copies.

A plain copy of a tune keeps its notes, rests, ties, tuplets, keys, metres and bar signs, and
leaves out what abc2midi plays as more than is written: decorations, grace notes, chord symbols,
rhythm names (it swings hornpipes), directives. The copy is made from the text by patterns of its
own, which share nothing with the reader that is checked. Two copies are made of each tune: one
with its repeats, one in which every repeat sign is a plain bar line ("written").

What the comparison allows for:
1. Times are whole ticks, 480 a quarter, so each note may be off by rounding; notes begin a tick
   late.
2. Da capo and the like are left out on both sides, since they stand in decorations and words.
3. Where the two differ, the reason is kept in abc2midi_reasons.tsv, and is put to the test: a
   change to the text that takes the cause away must make both agree.
"""

from __future__ import annotations

import functools
import re
import shutil
import subprocess
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import mido

from tunebook.model.tune import Bar, Tune
from tunebook.read.abc.repeats import cut_sections, played_order
from tunebook.read.abc.tune import read_abc

TICKS = 1920
_STARTS = ("|:", "::")
Event = tuple[int, int, int]

_DROPPED_FIELD = re.compile(r"^[^LMKP]:")
_QUOTED = re.compile(r'"[^"]*"')
_GRACE = re.compile(r"\{[^}]*\}")
_DECORATION = re.compile(r"![^!\s|]*!")
_INLINE = re.compile(r"(\[[A-Za-z]:[^\]]*\])")
_REPEAT = re.compile(r"(?:\[\||\||:(?=[|:\]\[]))[:|\]\[]*(?:\[?\d+(?:[-,]\d+)*)?|\[\d+(?:[-,]\d+)*")


@dataclass(frozen=True)
class Difference:
    """The first place where two lists of events part."""

    position: int
    ours: tuple[Event, ...]
    theirs: tuple[Event, ...]

    def __str__(self) -> str:
        return f"event {self.position}: ours {self.ours}, abc2midi {self.theirs}"


def plain_copy(
    text: str,
    number: int,
    *,
    with_repeats: bool,
    with_all_voices: bool = False,
    only_voice: str = "",
) -> str:
    """The text of one tune without what abc2midi plays as more than is written: with all voices,
    with the one named, or with the first alone."""
    lines = [f"X:{number}", "T:t"]
    has_key = False
    first_voice = only_voice
    voice = ""
    for line in text.split("\n"):
        if not line.strip() or line.startswith("%"):
            continue
        line = line.split("%")[0].rstrip()
        if re.match(r"^[A-Za-z+]:", line) and not (has_key and re.match(r"^[A-Ga-g]:[|:]", line)):
            is_voice = with_all_voices and line.startswith("V:")
            is_part = line[0] == "P" and not with_repeats
            if is_voice or (not _DROPPED_FIELD.match(line) and not is_part):
                lines.append(line)
            if line.startswith("K:") and not has_key:
                has_key = True
                lines.append("%%MIDI chordattack 0")
            if line.startswith("V:"):
                voice = line[2:].split()[0]
                first_voice = first_voice or voice
            continue
        inline = re.match(r"\[V:\s*([^\s\]]+)[^\]]*\]", line)
        if inline:
            voice = inline[1]
            first_voice = first_voice or voice
        if has_key and (with_all_voices or voice in ("", first_voice)):
            plain = _plain_music(line, with_repeats)
            if plain:
                lines.append(f"[V:{voice}]{plain}" if inline and with_all_voices else plain)
    return "\n".join(lines) + "\n\n"


def _plain_music(line: str, with_repeats: bool) -> str:
    line = _DECORATION.sub("", _GRACE.sub("", _QUOTED.sub("", line)))
    parts = _INLINE.split(line)
    for index, part in enumerate(parts):
        if _INLINE.fullmatch(part):
            parts[index] = part if part[1] in "KML" or (part[1] == "P" and with_repeats) else ""
            continue
        part = re.sub(r"[.`~H-Wh-w*!$]", "", part)
        part = re.sub(r"([|:])\[(?=[A-Ga-g^_=(])", r"\1 [", part)
        if not with_repeats:
            part = _REPEAT.sub("|", part)
        parts[index] = part
    return "".join(parts).strip()


def play_with_abc2midi(copies: Sequence[str], folder: Path) -> list[list[Event] | None]:
    """The events abc2midi makes of each copy (numbered from 1); None where it made no file.

    It is run on a hundred copies at a time; where it breaks down on one of them, the rest are
    given to it one by one.
    """
    folder.mkdir(parents=True, exist_ok=True)
    played: list[list[Event] | None] = []
    for start in range(0, len(copies), 100):
        chunk = copies[start : start + 100]
        events = _run(chunk, start + 1, folder)
        for place, found in enumerate(events):
            if found is None:
                events[place] = _run(chunk[place : place + 1], start + place + 1, folder)[0]
        played += events
    return played


def tracks_with_abc2midi(copy: str, folder: Path) -> list[list[Event]]:
    """The events of each track that abc2midi makes of one copy (numbered 1)."""
    _start(copy, folder)
    return events_of_tracks(folder / "t1.mid")


def _start(text: str, folder: Path) -> None:
    program = shutil.which("abc2midi")
    assert program is not None, "abc2midi (Debian package abcmidi) is not installed"
    (folder / "t.abc").write_text(text, encoding="latin-1", errors="replace")
    subprocess.run(
        [program, "t.abc", "-quiet", "-silent", "-OCC"],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        timeout=600,
        check=False,
    )


def _run(copies: Sequence[str], first: int, folder: Path) -> list[list[Event] | None]:
    _start("".join(copies), folder)
    played: list[list[Event] | None] = []
    for number in range(first, first + len(copies)):
        path = folder / f"t{number}.mid"
        try:
            played.append(events_of_midi(path))
        except (EOFError, OSError):
            played.append(None)
        path.unlink(missing_ok=True)
    return played


def events_of_midi(path: Path) -> list[Event]:
    """(onset, pitch, duration) in ticks of a 480th of a quarter, sorted."""
    return sorted(event for track in events_of_tracks(path) for event in track)


def events_of_tracks(path: Path) -> list[list[Event]]:
    """The events of each track that sounds."""
    tracks = [_events_of_track(track) for track in mido.MidiFile(path).tracks]
    return [track for track in tracks if track]


def _events_of_track(track: mido.MidiTrack) -> list[Event]:
    events: list[Event] = []
    now = 0
    sounding: dict[int, list[int]] = {}
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity:
            sounding.setdefault(message.note, []).append(now)
        elif message.type in ("note_off", "note_on") and sounding.get(message.note):
            onset = sounding[message.note].pop(0)
            events.append((onset - 1, message.note, now - onset + 1))
    return sorted(events)


def events_of_tune(tune: Tune, order: Iterable[int]) -> list[Event]:
    """The events of our reading, bars taken in the given order, tied tones joined."""
    events: list[list] = []
    now = Fraction(0)
    held: dict[int, list] = {}
    for bar in _bars_of(tune, order):
        for note in bar.notes:
            if note.is_grace:
                continue
            onset = now + note.onset - bar.onset
            still: dict[int, list] = {}
            for place, pitch in enumerate(note.pitches):
                event = held.get(pitch.midi) if note.is_tied_from_before[place] else None
                if event is None:
                    event = [onset, pitch.midi, Fraction(0)]
                    events.append(event)
                event[2] += note.duration
                if note.ties[place]:
                    still[pitch.midi] = event
            held = still
        now += bar.duration
    return sorted((round(a * TICKS), pitch, round(b * TICKS)) for a, pitch, b in events if b)


def order_without_jumps(tune: Tune) -> tuple[int, ...]:
    """The order in which the bars are played when da capo and the like are taken out."""
    bars = tuple(
        replace(
            bar,
            decorations=(),
            annotations=(),
            notes=tuple(replace(note, decorations=(), annotations=()) for note in bar.notes),
        )
        for bar in tune.bars
    )
    return played_order(bars, tune.part_order)[0]


def with_start_signs(tune: Tune) -> str:
    """The tune's text with ``|:`` written in where a repeated section has none."""
    lines = tune.source_text.split("\n")
    places = []
    for section in cut_sections(tune.bars, lambda *_: None):
        first = tune.bars[section.body.start]
        is_later = section.body.start > 0
        if section.body and section.passes > 1 and is_later and first.sign_before not in _STARTS:
            places.append((first.place.line - tune.first_line, first.place.column - 1))
    for number, column in reversed(places):
        line = lines[number]
        sign = max(line.rfind(letter, 0, column) for letter in "|]:")
        cut = sign + 1
        lines[number] = f"{line[:cut]} |: {line[cut:]}"
    return "\n".join(lines)


def _bars_of(tune: Tune, order: Iterable[int]) -> list[Bar]:
    return [tune.bars[index] for index in order]


def first_difference(ours: list[Event], theirs: list[Event]) -> Difference | None:
    """None when both agree within rounding; else where they first differ."""
    drift = 0
    for position, (a, b) in enumerate(zip(ours, theirs, strict=False)):
        step = b[0] - a[0] - drift
        if a[1] != b[1] or abs(step) > 3 or abs(a[2] - b[2]) > 5 or abs(drift) > 150:
            return Difference(
                position,
                tuple(ours[position : position + 3]),
                tuple(theirs[position : position + 3]),
            )
        drift += step
    if len(ours) != len(theirs):
        position = min(len(ours), len(theirs))
        return Difference(
            position, tuple(ours[position : position + 3]), tuple(theirs[position : position + 3])
        )
    return None


@dataclass(frozen=True)
class Reason:
    """Why a tune differs. ``which`` is "written", "played" or "both"; ``old`` and ``new`` are the
    change to the text (a pattern and its replacement) that takes the cause away, where one is
    needed to show it."""

    tune: str
    which: str
    name: str
    old: str = ""
    new: str = ""


@functools.cache
def read_reasons() -> dict[str, list[Reason]]:
    """The kept reasons by tune ("folder/file:line")."""
    reasons: dict[str, list[Reason]] = {}
    text = (Path(__file__).parent / "abc2midi_reasons.tsv").read_text(encoding="utf-8")
    for line in text.splitlines():
        if line and not line.startswith("#"):
            reason = Reason(*line.split("\t"))
            reasons.setdefault(reason.tune, []).append(reason)
    return reasons


def compare(tunes: Sequence[Tune], which: str, folder: Path) -> list[Difference | None]:
    """The first difference of each tune, or None; ``which`` is "written" or "played".

    abc2midi can carry an error from one tune into the next, so that a tune which differs is
    given to it once more by itself.
    """
    has_repeats = which == "played"
    copies = [
        plain_copy(tune.source_text, number, with_repeats=has_repeats)
        for number, tune in enumerate(tunes, start=1)
    ]
    differences: list[Difference | None] = []
    for tune, theirs in zip(tunes, play_with_abc2midi(copies, folder), strict=True):
        ours = our_events(tune, which)
        difference = first_difference(ours, theirs or [])
        if difference is not None:
            difference = compare_text(ours, tune.source_text, which, folder)
        differences.append(difference)
    return differences


def our_events(tune: Tune, which: str) -> list[Event]:
    """The events of our reading, as written or in the played order."""
    order = order_without_jumps(tune) if which == "played" else range(len(tune.bars))
    return events_of_tune(tune, order)


def compare_text(ours: list[Event], text: str, which: str, folder: Path) -> Difference | None:
    """Compare our events with what abc2midi makes of one text."""
    copy = plain_copy(text, 1, with_repeats=which == "played")
    theirs = play_with_abc2midi([copy], folder)[0]
    return first_difference(ours, theirs or [])


def is_explained(tune: Tune, reason: Reason, which: str, folder: Path) -> bool:
    """Whether both agree once the cause that ``reason`` names is taken away."""
    ours = our_events(tune, which)
    text = with_start_signs(tune) if which == "played" else tune.source_text
    if reason.old:
        text, count = re.subn(reason.old, reason.new, text)
        if not count:
            return False
    elif reason.name == "grace-accidental":
        copy = plain_copy(text, 1, with_repeats=True)
        ours = our_events(read_abc(copy.replace("%%MIDI chordattack 0\n", ""))[0], which)
    elif reason.name != "no-start-sign":
        return False
    return compare_text(ours, text, which, folder) is None
