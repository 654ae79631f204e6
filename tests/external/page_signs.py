"""Which signs the notes of an engraved piece must bear, from its LilyPond source alone.

A second opinion: it shares no code with the writer, reads the source line by line, and knows
nothing of why a sign was put there. In our layout LilyPond's own accidentals are off, so that the
page shows a sign where the source has ``!`` (plain) or ``?`` (in brackets) and nowhere else
(LilyPond 2.24 Notation Reference, 1.1.1 "Accidentals"; ``test_page_signs`` asks LilyPond).

The rules are those of common notation (Gould, *Behind Bars*, 2011, chapter "Accidentals", from
memory): a sign holds for its own line or space, in its own octave, to the next bar line or the
next key signature; a tone that a tie brings over a bar line needs none, except on a new line of
music, and what the tie brought over does not count for the notes after it; grace notes take part
as any other note; two different tones on one line or space both bear a sign, and so does the next
note there. A sign that repeats what is known already is allowed everywhere.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

LETTERS = "cdefgab"
SEMITONES = (0, 2, 4, 5, 7, 9, 11)
STAVES = ("Staff", "SecondStaff", "DroneStaff", "VoiceStaff", "CueStaff")
_HEAD = r"[a-g](?:tqs|tqf|qs|qf|ss|ff|s|f)?(?:'+|,+)?[!?]?"
_LENGTH = r"(?P<length>\\breve|\\longa|\\maxima|\d+)(?P<dots>\.*)"
_NOTE = re.compile(rf"(?P<heads>{_HEAD}|<[^<>]*>|[rsR]){_LENGTH}$")
_ONE_HEAD = re.compile(
    r"(?P<letter>[a-g])(?P<alter>tqs|tqf|qs|qf|ss|ff|s|f|)(?P<marks>[',]*)(?P<sign>[!?]?)$"
)
_STRING = re.compile(r'"(?:\\.|[^"\\])*"')
_SCALE = re.compile(r"\\(tuplet|scaleDurations) (\d+)/(\d+)$")
_LONG = {"\\breve": Fraction(2), "\\longa": Fraction(4), "\\maxima": Fraction(8)}
_ALTERS = {"ss": 2, "tqs": 1.5, "s": 1, "qs": 0.5, "": 0, "qf": -0.5, "f": -1, "tqf": -1.5,
           "ff": -2}  # fmt: skip
_MODES = ("major", "dorian", "phrygian", "lydian", "mixolydian", "minor", "locrian")
_MODE_NAMES = {"ionian": "major", "aeolian": "minor"}


@dataclass(frozen=True, slots=True)
class Head:
    """One note head: where it stands in the source (from 1), its pitch and the sign it bears;
    ``alter`` in semitones, a half for a quarter-tone."""

    line: int
    column: int
    step: int
    alter: float
    octave: int
    sign: str
    is_tied_on: bool = False

    @property
    def midi(self) -> float:
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    @property
    def place(self) -> tuple[int, int]:
        """The line or space it stands on."""
        return self.octave, self.step

    @property
    def name(self) -> str:
        alter = {2: "##", 1: "#", 0: "", -1: "b", -2: "bb"}.get(self.alter, f"{self.alter:+}")
        return f"{LETTERS[self.step].upper()}{alter}{self.octave}{self.sign}"


@dataclass(frozen=True, slots=True)
class Sound:
    """Heads struck together. ``onset`` and ``length`` in whole notes from the piece's beginning;
    a grace note's length is its written one."""

    onset: Fraction
    length: Fraction
    heads: tuple[Head, ...]
    is_grace: bool

    @property
    def midis(self) -> tuple[float, ...]:
        return tuple(sorted(head.midi for head in self.heads))


@dataclass(slots=True)
class EngravedStaff:
    """What follows one another on a staff, each with its onset: ("key", seven alterations),
    ("bar", None), ("line", None), ("sound", Sound). Bar lines and line ends are written on the
    melody's staff and hold for the staves below it, and for a cue above it."""

    kind: str
    events: list[tuple[str, object, Fraction]] = field(default_factory=list)

    @property
    def sounds(self) -> list[Sound]:
        return [what for _, what, _ in self.events if isinstance(what, Sound)]

    def take_bars(self, melody: EngravedStaff) -> None:
        """Put the bar lines and line ends of ``melody`` among this staff's own events."""
        marks = [event for event in melody.events if event[0] in ("bar", "line")]
        # What is written first at one time comes first; the sort keeps that order.
        self.events = sorted((*marks, *self.events), key=lambda event: event[2])


def scale_of(tonic: str, mode: str) -> tuple[int, ...]:
    """The alterations of the steps C..B in the scale on ``tonic`` ("fs", "bf")."""
    mode = _MODE_NAMES.get(mode, mode)
    first = LETTERS.index(tonic[0])
    ground = SEMITONES[first] + int(_ALTERS[tonic[1:]])
    pattern = [0, 2, 4, 5, 7, 9, 11]
    start = _MODES.index(mode)
    alters = [0] * 7
    for degree in range(7):
        above = (pattern[(start + degree) % 7] - pattern[start]) % 12
        step = (first + degree) % 7
        alters[step] = (ground + above - SEMITONES[step] + 6) % 12 - 6
    return tuple(alters)


def read_staves(source: str) -> list[EngravedStaff]:
    """All staves with notes in our layout's source, in order; those of the opening last."""
    reader = _Reader()
    for number, line in enumerate(source.split("\n"), start=1):
        reader.read(number, line)
    melody = None
    for place, staff in enumerate(reader.staves):
        if staff.kind == "Staff":
            melody = staff
        elif staff.kind == "CueStaff":
            staff.take_bars(next(one for one in reader.staves[place:] if one.kind == "Staff"))
        elif melody is not None:
            staff.take_bars(melody)
    return [staff for staff in reader.staves if staff.sounds]


class _Reader:
    """Goes through the source line by line; ``depth`` counts brackets inside the staff."""

    def __init__(self) -> None:
        self.staves: list[EngravedStaff] = []
        self.staff: EngravedStaff | None = None
        self.is_waiting = False
        self.scales: list[tuple[Fraction, bool]] = []
        self.scale = Fraction(1)
        self.is_after_grace = False
        self.chord: list[tuple[int, int, str]] | None = None
        self.is_tied_one = False
        self.tweak: tuple[int, int] | None = None
        self.now = Fraction(0)

    def read(self, number: int, line: str) -> None:
        text = line.strip()
        context = re.match(r"\\context (\w+) = ", text)
        if context:
            self.is_waiting = context[1] in STAVES
            if self.is_waiting:
                self.staves.append(EngravedStaff(context[1]))
        elif self.staff is None and not (self.is_waiting and text == "{"):
            return
        elif self.staff is None:
            self.staff, self.is_waiting, self.now = self.staves[-1], False, Fraction(0)
            self.scales = [(Fraction(1), False)]
        elif self.chord is not None or text == "<":
            self._chord_line(number, line)
        else:
            self._music_line(number, line, text)

    def _music_line(self, number: int, line: str, text: str) -> None:
        assert self.staff is not None
        scale = _SCALE.match(text)
        note = _NOTE.match(text)
        bare = _STRING.sub('""', text)
        if scale:
            p, q = int(scale[2]), int(scale[3])
            self.scale = Fraction(q, p) if scale[1] == "tuplet" else Fraction(p, q)
        elif text.endswith("{"):
            self._open(text)
        elif text == "}":
            self.scales.pop()
            if not self.scales:
                self.staff = None
        elif text == "\\afterGrace":
            self.is_after_grace = True
        elif note:
            first = line.index(text) + 1
            heads = [(number, first + at.start(), at[0]) for at in self._heads_in(note["heads"])]
            self._sound(note, heads)
        elif text.startswith("\\key "):
            _, tonic, mode = text.split()
            self._add("key", scale_of(tonic, mode.removeprefix("\\")))
        elif text.startswith("\\set Staff.keyAlterations"):
            self._add("key", _listed_alters(text))
        elif text.startswith("\\bar "):
            if text != '\\bar ""':
                self._add("bar")
        elif text == "\\break":
            self._add("line")
        elif "~" in bare.split():
            self._tie()

    def _add(self, name: str, what: object = None) -> None:
        assert self.staff is not None
        self.staff.events.append((name, what, self.now))

    @staticmethod
    def _heads_in(text: str) -> list[re.Match[str]]:
        return [] if text in "rsR" else list(re.finditer(_HEAD, text))

    def _chord_line(self, number: int, line: str) -> None:
        """A chord over several lines, as it is written when single heads are tied or small."""
        text = line.strip()
        if text == "<":
            self.chord = []
        elif text.startswith(">"):
            note = _NOTE.match("<>" + text[1:])
            assert note and self.chord is not None, line
            heads, self.chord = self.chord, None
            self._sound(note, heads)
        elif text.endswith("\\tied"):
            self.is_tied_one = True
        elif text.startswith("\\tweak") and text.endswith("font-size #-4"):
            # LilyPond says of a tweaked head that it begins where its first tweak does.
            self.tweak = self.tweak or (number, line.index(text) + 1)
        else:
            assert self.chord is not None and re.fullmatch(_HEAD, text), line
            mark = "~" if self.is_tied_one else ""
            self.is_tied_one = False
            place = self.tweak or (number, line.index(text) + 1)
            self.tweak = None
            self.chord.append((*place, text + mark))

    def _open(self, text: str) -> None:
        factor, is_grace = self.scales[-1]
        is_grace = is_grace or "race" in text or self.is_after_grace
        self.scales.append((factor * self.scale, is_grace))
        self.scale, self.is_after_grace = Fraction(1), False

    def _sound(self, note: re.Match[str], texts: list[tuple[int, int, str]]) -> None:
        assert self.staff is not None
        factor, is_grace = self.scales[-1]
        length = _LONG.get(note["length"]) or Fraction(1, int(note["length"]))
        length *= (2 - Fraction(1, 2 ** len(note["dots"]))) * factor
        heads = tuple(_head(*place) for place in texts)
        if heads:
            self._add("sound", Sound(self.now, length, heads, is_grace))
        if not is_grace:
            self.now += length

    def _tie(self) -> None:
        assert self.staff is not None
        name, sound, onset = self.staff.events[-1]
        assert name == "sound" and isinstance(sound, Sound)
        heads = tuple(
            Head(h.line, h.column, h.step, h.alter, h.octave, h.sign, True) for h in sound.heads
        )
        tied = Sound(sound.onset, sound.length, heads, sound.is_grace)
        self.staff.events[-1] = (name, tied, onset)


def _head(line: int, column: int, text: str) -> Head:
    match = _ONE_HEAD.match(text.removesuffix("~"))
    assert match, text
    octave = 3 + match["marks"].count("'") - match["marks"].count(",")
    step = LETTERS.index(match["letter"])
    return Head(
        line, column, step, _ALTERS[match["alter"]], octave, match["sign"], text.endswith("~")
    )


def _listed_alters(text: str) -> tuple[int, ...]:
    alters = [0] * 7
    for step, alter in re.findall(r"\((\d) \. (-?\d)/2\)", text):
        alters[int(step)] = int(alter)
    return tuple(alters)


def wrong_signs(staff: EngravedStaff) -> list[str]:
    """One line for each note of ``staff`` that lacks a sign, and each tie that leads nowhere."""
    return judged(staff)[0]


def judged(staff: EngravedStaff) -> tuple[list[str], set[tuple[int, int]]]:
    """What :func:`wrong_signs` says, and the line and column (from 1) of each head that needs no
    sign only because a tie leads to it."""
    found: list[str] = []
    excused: set[tuple[int, int]] = set()
    signature: tuple[int, ...] | None = None
    standing: dict[tuple[int, int], float | None] = {}
    tied: set[tuple[tuple[int, int], float]] = set()
    is_new_line = False
    for name, what, _ in staff.events:
        if name == "key":
            assert isinstance(what, tuple)
            signature = what
        if name in ("key", "bar"):
            standing = {}
        is_new_line = is_new_line or name == "line"
        if not isinstance(what, Sound):
            continue
        assert signature is not None, "notes without a key signature"
        held = tied if not (is_new_line or what.is_grace) else set()
        for head in what.heads:
            expected = standing.get(head.place, signature[head.step])
            is_known = expected == head.alter and not _is_double(head, what)
            is_held = (head.place, head.alter) in held
            # Two heads for one tone, an open string and a stopped one, share a sign.
            if is_known or any(h.sign for h in what.heads if _is_same(h, head)):
                continue
            if is_held:
                excused.add((head.line, head.column))
            else:
                found.append(f"{staff.kind} line {head.line}: {head.name} bears no sign")
        for head in what.heads:
            if head.sign:
                standing[head.place] = None if _is_double(head, what) else head.alter
        if not what.is_grace:
            if tied and not any((head.place, head.alter) in tied for head in what.heads):
                found.append(f"{staff.kind} line {what.heads[0].line}: a tie leads to another note")
            tied = {(head.place, head.alter) for head in what.heads if head.is_tied_on}
            is_new_line = False
    return found, excused


def _is_double(head: Head, sound: Sound) -> bool:
    """Whether another tone stands on the same line or space."""
    return any(one.place == head.place and one.alter != head.alter for one in sound.heads)


def _is_same(one: Head, other: Head) -> bool:
    return one.place == other.place and one.alter == other.alter
