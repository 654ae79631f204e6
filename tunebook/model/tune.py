"""A tune as it is written: bars of notes with spelled pitches and exact times.

Times (``onset``, ``duration``) are Fractions of a whole note, counted along the *written* tune
(repeats not expanded) from 0 at the first bar. The order in which bars are played is a value of
its own, :attr:`Tune.played`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from tunebook.errors import Message, SourcePlace
from tunebook.model.choices import LINES, BarSign, Line, Mode, Placement, Quality, ShownSign

STEP_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
STEP_LETTERS = "CDEFGAB"
ALTER_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


_SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def pitch_name(midi: int) -> str:
    """Name of a MIDI key number in scientific pitch notation, spelled with sharps: C3, F#4."""
    return f"{_SHARP_NAMES[midi % 12]}{midi // 12 - 1}"


@dataclass(frozen=True, slots=True, order=True)
class Pitch:
    """A spelled pitch. ``step`` 0 = C .. 6 = B, ``alter`` in semitones, ``octave`` 4 holds
    middle C (scientific pitch notation, Young 1939). ``quarters`` is 1 for a tone a quarter-tone
    above that, -1 for one below, 0 for any other."""

    octave: int
    step: int
    alter: int = 0
    quarters: int = 0

    @property
    def alteration(self) -> float:
        """Semitones above the natural tone: 0.5 for a quarter-tone sharp."""
        return self.alter + self.quarters / 2

    @property
    def cents(self) -> int:
        """How far the tone lies above (below 0: under) that of its MIDI key."""
        return 50 * self.quarters

    @property
    def midi(self) -> int:
        """MIDI key number, of a quarter-tone that of the key between it and its natural tone;
        middle C = 60."""
        return 12 * (self.octave + 1) + STEP_SEMITONES[self.step] + self.alter

    @property
    def name(self) -> str:
        """Letter, accidentals and octave, as F#4 or Bb3."""
        sign = ALTER_SIGNS.get(self.alter, "?")
        return f"{STEP_LETTERS[self.step]}{sign}{self.octave}"


@dataclass(frozen=True, slots=True)
class Key:
    """A key signature and its mode. ``tonic_step``/``tonic_alter`` spell the tonic; ``mode`` is one
    of ionian, dorian, phrygian, lydian, mixolydian, aeolian, locrian ("major" is ionian and
    "minor" aeolian), or "none" where the file gives none. ``fifths`` counts sharps (+) or flats
    (-) of the mode's signature. ``alters`` is the signature in force for each step C..B,
    explicit accidentals of K: included. ``explicit`` lists (step, alter) given by hand."""

    tonic_step: int = 0
    tonic_alter: int = 0
    mode: Mode = "ionian"
    fifths: int = 0
    alters: tuple[int, ...] = (0, 0, 0, 0, 0, 0, 0)
    explicit: tuple[tuple[int, int], ...] = ()

    @property
    def tonic_class(self) -> int:
        """Pitch class of the tonic, 0 = C."""
        return (STEP_SEMITONES[self.tonic_step] + self.tonic_alter) % 12

    @property
    def tonic_name(self) -> str:
        return STEP_LETTERS[self.tonic_step] + ALTER_SIGNS[self.tonic_alter]

    @property
    def name(self) -> str:
        """Tonic and mode as terminals and JSON have them: "D minor", "E dorian", or "D" alone."""
        mode = {"ionian": "major", "aeolian": "minor", "none": ""}.get(self.mode, self.mode)
        return f"{self.tonic_name} {mode}".strip()

    @property
    def is_minor_like(self) -> bool:
        """True for modes with a minor third over the tonic."""
        return self.mode in ("aeolian", "dorian", "phrygian", "locrian")


@dataclass(frozen=True, slots=True)
class Moved:
    """How a tune was transposed: by so many ``semitones`` (up when positive), and the ``key`` in
    which it is written."""

    semitones: int
    key: Key


@dataclass(frozen=True, slots=True)
class Meter:
    """A metre. ``beats`` over ``unit``; ``sign`` is the text to print ("C", "C|", "3/4",
    "2+2+3/8"). ``groups`` are the summands of the top number. A free metre has ``beats`` 0."""

    beats: int = 4
    unit: int = 4
    sign: str = "4/4"
    groups: tuple[int, ...] = ()

    @property
    def is_free(self) -> bool:
        return self.beats == 0

    @property
    def length(self) -> Fraction:
        """Length of a full bar in whole notes; 0 when the metre is free."""
        return Fraction(self.beats, self.unit)

    @property
    def is_compound(self) -> bool:
        """True for 6/8, 9/8, 12/8 and the like, where the beat is dotted."""
        return self.unit >= 8 and self.beats % 3 == 0 and self.beats > 3


@dataclass(frozen=True, slots=True)
class Tempo:
    """A tempo. ``beat`` is the note value (whole notes) that is counted, 0 when only words stand;
    ``per_minute`` how many of them; ``text`` the words of Q: ("Allegro")."""

    beat: Fraction = Fraction(1, 4)
    per_minute: float = 0.0
    text: str = ""

    @property
    def whole_notes_per_second(self) -> float:
        """Speed in whole notes a second; 0 when no number is given."""
        return float(self.beat) * self.per_minute / 60.0


@dataclass(frozen=True, slots=True)
class ChordSymbol:
    """A chord symbol. ``text`` is what stood in the file. ``root_step``/``root_alter`` spell the
    root; ``quality`` is one of major, minor, diminished, augmented, other; ``extension`` the rest
    in one spelling ("7", "maj7"; "m7b5" gives quality diminished and extension "7", "dim7"
    diminished and "bb7");
    ``bass`` is the (step, alter) after a slash. ``solved_confidence`` is the probability (0 to
    1) of a chord that this program chose and wrote into the text with a remark, else None."""

    place: SourcePlace
    text: str
    root_step: int
    root_alter: int
    quality: Quality
    extension: str = ""
    bass: tuple[int, int] | None = None
    is_optional: bool = False
    solved_confidence: float | None = None

    @property
    def root_class(self) -> int:
        return (STEP_SEMITONES[self.root_step] + self.root_alter) % 12

    @property
    def symbol(self) -> str:
        """The symbol in this program's own spelling: Dm, F#dim, A7, D/F#."""
        root = STEP_LETTERS[self.root_step] + ALTER_SIGNS[self.root_alter]
        sign = {"minor": "m", "diminished": "dim", "augmented": "aug"}.get(self.quality, "")
        extension = self.extension
        if self.quality == "diminished" and extension.startswith("7"):
            sign, extension = "m", extension[:1] + "b5" + extension[1:]
        elif self.quality == "diminished" and extension.startswith("bb7"):
            extension = extension[2:]
        slash = ""
        if self.bass is not None:
            slash = "/" + STEP_LETTERS[self.bass[0]] + ALTER_SIGNS[self.bass[1]]
        return f"{root}{sign}{extension}{slash}"


@dataclass(frozen=True, slots=True)
class Annotation:
    """Free text at a note. ``placement`` is one of ^ _ < > @ as in ABC."""

    place: SourcePlace
    text: str
    placement: Placement = "^"


@dataclass(frozen=True, slots=True)
class DronePin:
    """A drone asked for in the tune: ``[r:drone E4 finger 1]``; ``[r:drone off]`` has no pitch,
    nor has ``[r:drone free]`` (``is_free``), after which the program chooses again.
    ``is_strict`` where the melody is to bend to it: ``[r:drone E4 strict]``."""

    place: SourcePlace
    midi: int | None
    finger: int | None = None
    string: str | None = None
    is_strict: bool = False
    is_free: bool = False


@dataclass(frozen=True, slots=True)
class AccentPin:
    """A double stop asked for with a note: ``[r:accent D4 finger 1]``; ``[r:accent off]``, which
    asks for none, has no pitch."""

    place: SourcePlace
    midi: int | None
    finger: int | None = None


@dataclass(frozen=True, slots=True)
class Syllable:
    """A word or syllable under a note. ``is_joined`` when a hyphen follows, ``is_extended`` when
    the word is held over following notes."""

    text: str
    is_joined: bool = False
    is_extended: bool = False


@dataclass(frozen=True, slots=True)
class Tuplet:
    """The tuplet a note belongs to: ``p`` notes in the time of ``q``. ``serial`` tells tuplets of
    one tune apart; ``position`` counts members from 0; ``size`` is the number of members (r)."""

    serial: int
    p: int
    q: int
    position: int
    size: int


@dataclass(frozen=True, slots=True)
class Note:
    """A note, a chord of notes struck together, a grace note or a rest.

    ``pitches`` are in written order and empty for a rest; ``shown_accidentals`` (parallel) holds
    None where the page shows no accidental, else "needed" or "courtesy". ``duration`` is the
    sounding length (tuplet applied), ``written`` the notated one. A grace note's onset is that of
    the note it leans on, its ``duration`` is the notated length; it takes no time in the bar.
    ``ties`` (parallel to pitches) marks tones tied to the next note of the same bar sequence.
    ``is_tied_from_before`` marks tones continued from a tie. ``is_joined`` means the beam goes on
    to the next note (no space between them in the source). ``finger_pins`` is parallel to
    pitches (a single pin on a single note), None where free. ``later_chords`` are chord symbols
    with the time after the note's onset at which they begin (whole notes). ``trill_pin`` is the
    finger that is to trill. ``remark`` is a player's own, to be printed under the staff.
    """

    place: SourcePlace
    pitches: tuple[Pitch, ...]
    onset: Fraction
    duration: Fraction
    written: Fraction
    shown_accidentals: tuple[ShownSign | None, ...] = ()
    ties: tuple[bool, ...] = ()
    is_tied_from_before: tuple[bool, ...] = ()
    is_grace: bool = False
    is_slashed_grace: bool = False
    is_invisible: bool = False
    is_joined: bool = False
    slurs_opened: int = 0
    slurs_closed: int = 0
    tuplet: Tuplet | None = None
    decorations: tuple[str, ...] = ()
    annotations: tuple[Annotation, ...] = ()
    chord: ChordSymbol | None = None
    finger_pins: tuple[int | None, ...] = ()
    string_pin: str | None = None
    drone_pin: DronePin | None = None
    accent_pin: AccentPin | None = None
    trill_pin: int | None = None
    syllables: tuple[Syllable | None, ...] = ()
    end_column: int = 0
    later_chords: tuple[tuple[Fraction, ChordSymbol], ...] = ()
    remark: str = ""

    @property
    def is_rest(self) -> bool:
        return not self.pitches


@dataclass(frozen=True, slots=True)
class Bar:
    """What stands between two bar signs.

    ``number`` counts full bars as a player would (a pickup is 0; the second half of a bar split by
    a repeat sign carries the number of the first with ``is_continued``). ``sign_before`` and
    ``sign_after`` are the signs in one spelling: "", "|", "||", "[|", "|]", "|:", ":|", "::",
    ".|". ``ending`` lists the passes for which this bar begins a numbered ending;
    ``ends_ending`` marks the last bar of one. ``meter`` and ``key`` are those in force;
    ``meter_changed``/``key_changed`` say that they are new here. ``part`` is a P: label that
    begins here, ``tempo`` a tempo that begins here. ``repeat_passes`` is how often the section
    that ends with this bar's repeat sign is played (``::|`` asks for 3). ``end_chord`` is a chord
    symbol that stands right before the bar sign, after the last note. ``clef`` is one that
    begins here because the tune asks for it ("bass", "treble_8"), "" where it asks for none.
    """

    place: SourcePlace
    index: int
    number: int
    notes: tuple[Note, ...]
    onset: Fraction
    duration: Fraction
    meter: Meter
    key: Key
    sign_before: BarSign = ""
    sign_after: BarSign = "|"
    ending: tuple[int, ...] = ()
    ends_ending: bool = False
    is_pickup: bool = False
    is_continued: bool = False
    meter_changed: bool = False
    key_changed: bool = False
    tempo: Tempo | None = None
    part: str = ""
    breaks_line_after: bool = False
    decorations: tuple[str, ...] = ()
    annotations: tuple[Annotation, ...] = ()
    repeat_passes: int = 2
    end_chord: ChordSymbol | None = None
    clef: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class VoiceName:
    """What a file calls a voice: ``id`` as in V: ("2"; overlays have "&" after the id of the voice
    in which they stand), ``name`` and ``short_name`` as they are to be printed, "" where the file
    gives none."""

    id: str = ""
    name: str = ""
    short_name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """A voice beside the melody. ``id``, ``name`` and ``short_name`` as in :class:`VoiceName`;
    ``clef`` is the one with which it begins where the file asks for one, else "".

    ``bars`` are as many as the tune's. Index, number, onset, duration, metre, bar signs, endings,
    repeats, parts and tempo of each are those of the melody's bar; its notes, key, clef, words and
    decorations are the voice's own. Where the voice has nothing its bars hold rests."""

    place: SourcePlace
    id: str
    name: str = ""
    short_name: str = ""
    clef: str = ""
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class Tune:
    """One tune. ``number`` is the text of X: (may be empty). ``played`` lists indices into
    ``bars`` in the order in which they are played, repeats, endings, parts and da capo expanded.
    ``fields`` keeps every information field's text by letter, in order; ``texts`` and
    ``closing_texts`` are free text before and after the music, a line each. ``bars`` are the
    melody's, which is the voice ``melody_voice`` where the file names it; ``voices`` are all the
    others. ``source_text`` is the tune's text as it stood, ``first_line`` the number of its first
    line in the file. ``moved`` says how it was transposed since it was read, None when it was
    not; ``line`` is what of it the bars hold: beside a frame ``voices`` are the whole melody.
    ``tuning`` is that in which it is played, "" the book's."""

    place: SourcePlace
    number: str
    titles: tuple[str, ...]
    composer: str
    origin: str
    rhythm: str
    key: Key
    meter: Meter
    unit_length: Fraction
    tempo: Tempo | None
    bars: tuple[Bar, ...]
    played: tuple[int, ...]
    fields: tuple[tuple[str, tuple[str, ...]], ...] = ()
    words: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()
    closing_texts: tuple[str, ...] = ()
    part_order: str = ""
    voices: tuple[Voice, ...] = ()
    melody_voice: VoiceName = VoiceName()
    messages: tuple[Message, ...] = ()
    source_text: str = ""
    first_line: int = 1
    moved: Moved | None = None
    line: Line = "full"
    tuning: str = ""

    @property
    def title(self) -> str:
        return self.titles[0] if self.titles else ""

    @property
    def file(self) -> str:
        return self.place.path

    @property
    def has_second_voice(self) -> bool:
        """Whether the tune has voices of its own; beside a frame stands the tune itself."""
        return bool(self.voices) and self.line in ("full", "plain")

    def field(self, letter: str) -> tuple[str, ...]:
        """All texts of the information field ``letter``, in order."""
        for name, texts in self.fields:
            if name == letter:
                return texts
        return ()

    @property
    def line_of_text(self) -> Line:
        """What of the tune its text holds: all of it, or what a remark of its header says
        (``r:line frame``)."""
        return next((line for text in self.field("r") if (line := line_in(text))), "full")

    @property
    def has_fixed_key(self) -> bool:
        """Whether a remark of its text says that no edition moves it (``r:key as written``)."""
        return any(text.split() == KEY_FIXED.split() for text in self.field("r"))

    @property
    def tuning_of_text(self) -> str:
        """The tuning that a remark of its header names (``r:tuning CGCA``); "" for none."""
        return next((named for text in self.field("r") if (named := tuning_in(text))), "")


KEY_FIXED = "key as written"
"""A remark of a tune that stays in its key, whatever the edition."""


def line_in(remark: str) -> Line | None:
    """The line of which a remark of a tune's header speaks; None where it speaks of none."""
    word, _, value = remark.partition(" ")
    return next((line for line in LINES if word == "line" and line == value.strip()), None)


def tuning_in(remark: str) -> str:
    """The tuning that a remark of a tune's header names; "" where it names none."""
    found = re.fullmatch(r"tuning\s+(\S+)", remark.strip())
    return found[1] if found else ""
