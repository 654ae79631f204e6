"""The answer for one tune: where and with which finger each note is played, what drones and
chords go with it, and what it costs. Parallel to the tune, never a change of it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tunebook.errors import Message
from tunebook.model.choices import ChordSource, Line, Way
from tunebook.model.hand import Hand, Limits
from tunebook.model.instrument import Instrument
from tunebook.model.tune import ChordSymbol, Note, Tune, Voice


@dataclass(frozen=True, slots=True)
class Stop:
    """One sounding tone: string (1 is the lowest), key (0 is open), finger (0 is none)."""

    midi: int
    string_index: int
    key: int
    finger: int


@dataclass(frozen=True, slots=True)
class HandMoment:
    """The hand during one part of a note: from ``onset`` for ``duration`` (whole notes, written
    tune; a grace note has duration 0). ``drone`` is the drone that was asked for with the finger on
    its key (0 for none, or an open string); ``is_drone_paused`` where the bow has to leave it."""

    onset: Fraction
    duration: Fraction
    stops: tuple[Stop, ...]
    hand_key: float
    drone: Stop | None = None
    is_drone_paused: bool = False


@dataclass(frozen=True, slots=True)
class FingeredNote:
    """One written note with its stops. ``bar_index`` and ``note_index`` point into the tune;
    ``stops`` are parallel to the note's pitches. ``hand_key`` is the key at which the index finger
    naturally lies (the hand's place; half keys are possible). ``ways`` says what the hand does to
    get here. ``terms`` are (name, cost) of this note. ``is_continued`` marks a note
    tied from the one before: same stops, no new stroke. ``is_needed`` marks a finger number that a
    player edition prints. ``shows_string`` asks for a string letter. ``beyond_limits`` marks a
    note that could not be played within the edition's limits. ``stops_after`` are the stops after a
    silent substitution during a long note, empty when there is none. ``trill_finger`` is the
    finger on the upper tone of a trill, 0 where there is none. ``moments`` are the hand's
    postures through the note and all that is tied to it, on the note that is struck. A note that
    cannot be played has no ``stops``."""

    bar_index: int
    note_index: int
    note: Note
    stops: tuple[Stop, ...]
    hand_key: float = 1.0
    ways: tuple[Way, ...] = ()
    terms: tuple[tuple[str, float], ...] = ()
    is_continued: bool = False
    is_needed: bool = True
    shows_string: bool = False
    beyond_limits: bool = False
    alternatives: tuple[tuple[float, tuple[Stop, ...]], ...] = ()
    stops_after: tuple[Stop, ...] = ()
    moments: tuple[HandMoment, ...] = ()
    trill_finger: int = 0

    @property
    def cost(self) -> float:
        return sum(cost for _, cost in self.terms)


@dataclass(frozen=True, slots=True)
class DroneDemand:
    """A drone that is asked for from ``onset`` for ``duration`` (whole notes, written tune): the
    string (1 is the lowest), its key (0 open), and the finger that holds it, None when free.
    ``is_strict`` where the melody is to bend to it as far as need be."""

    onset: Fraction
    duration: Fraction
    string_index: int
    key: int
    finger: int | None = None
    is_strict: bool = False

    @property
    def end(self) -> Fraction:
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class DroneSpan:
    """A drone held from ``onset`` for ``duration`` (whole notes, written tune). ``is_taken_over``
    marks a span that goes on the span before, the same tone held by another finger."""

    onset: Fraction
    duration: Fraction
    stop: Stop
    is_taken_over: bool = False


@dataclass(frozen=True, slots=True)
class Accent:
    """A double stop proposed for a long or accented note: ``bar_index`` and ``note_index`` point to
    the note, ``span`` is the added tone, which sounds as long as the note with all that is tied to
    it; ``below`` is how many semitones it lies below the melody, ``effort`` what it adds to the
    hand's. ``is_pinned`` where the tune asks for it."""

    bar_index: int
    note_index: int
    span: DroneSpan
    below: int
    effort: float = 0.0
    is_pinned: bool = False


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """A chord from ``onset`` for ``duration``. ``confidence`` is
    the posterior probability of a solved chord (1 for the tune's own); ``shape`` the stops of the
    chosen shape, low string first; ``alternatives`` other symbols with their probabilities;
    ``near`` those chords, with theirs, that are so nearly as likely that the hand may decide."""

    bar_index: int
    onset: Fraction
    duration: Fraction
    chord: ChordSymbol
    source: ChordSource = "tune"
    confidence: float = 1.0
    shape: tuple[Stop, ...] = ()
    alternatives: tuple[tuple[str, float], ...] = ()
    near: tuple[tuple[ChordSymbol, float], ...] = ()


@dataclass(frozen=True, slots=True)
class BarDifficulty:
    """Difficulty of a written bar: cost per second of music."""

    bar_index: int
    difficulty: float


@dataclass(frozen=True, slots=True)
class OtherWay:
    """Another fingering of the tune: what it costs more than the one chosen (less than 0 where that
    keeps bars alike at a cost), its notes, parallel to the arrangement's, and what it leaves of the
    drones that bend the fingers."""

    cost_more: float
    notes: tuple[FingeredNote, ...]
    drone: tuple[DroneSpan, ...] = ()


@dataclass(frozen=True, slots=True)
class VoiceArrangement:
    """A voice beside the melody, solved for the instrument and hand that play it. The tune of its
    arrangement has the voice's bars; its chords are the melody's, and so left out."""

    voice: Voice
    arrangement: Arrangement


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Everything solved for one tune on one instrument and hand within the limits given.

    ``notes`` has one entry per written note that sounds (grace notes and continued notes too,
    rests left out), in written order. ``cost`` is the effort of the left hand, the sum over the
    tune as played; ``terms`` are its parts by name, ``difficulty`` and ``bar_difficulties`` the
    same by the second. All of these leave drones aside: where held drones change the fingers,
    ``cost_with_drones`` and ``difficulty_with_drones`` are the effort of the notes as given (None
    where it is the same), and ``bow_cost`` is what it costs the bow to leave those drones.
    ``whole_notes_per_second`` is the tempo used; ``tempo_is_default`` when the tune gave none.
    ``other_ways`` are the next best fingerings, where some were asked for. ``drones_asked`` is
    what ``drone`` comes from: what was to be held and from where to where, pauses aside.
    ``accents`` are double stops proposed where no drone sounds; no cost holds their ``effort``.
    ``voices`` are the voices beside the melody, where they were to be solved too; costs are the
    melody's alone."""

    tune: Tune
    instrument: Instrument
    hand: Hand
    limits: Limits
    notes: tuple[FingeredNote, ...]
    drone: tuple[DroneSpan, ...] = ()
    chords: tuple[ChordSpan, ...] = ()
    accompaniment: tuple[FingeredNote, ...] = ()
    cost: float = 0.0
    terms: tuple[tuple[str, float], ...] = ()
    whole_notes_per_second: float = 0.5
    tempo_is_default: bool = False
    difficulty: float = 0.0
    bar_difficulties: tuple[BarDifficulty, ...] = ()
    messages: tuple[Message, ...] = ()
    other_ways: tuple[OtherWay, ...] = ()
    drones_asked: tuple[DroneDemand, ...] = ()
    cost_with_drones: float | None = None
    difficulty_with_drones: float | None = None
    bow_cost: float = 0.0
    voices: tuple[VoiceArrangement, ...] = ()
    accents: tuple[Accent, ...] = ()

    @property
    def beside(self) -> tuple[DroneSpan, ...]:
        """All that sounds beside the melody, drones and double stops, in written order."""
        spans = (*self.drone, *(one.span for one in self.accents))
        return tuple(sorted(spans, key=lambda span: span.onset))


@dataclass(frozen=True, slots=True)
class Beyond:
    """Why an edition leaves a tune out: the numbers of the bars beyond its limits, whether other
    keys were tried, and an easier line of it that the edition would print ("full" for none)."""

    bars: tuple[int, ...]
    tried_keys: bool
    fitting_line: Line = "full"


@dataclass(frozen=True, slots=True)
class TuneOutcome:
    """What became of one tune: an arrangement, or the reason why there is none; ``beyond`` where
    that is the edition's level."""

    tune: Tune | None
    arrangement: Arrangement | None
    messages: tuple[Message, ...] = ()
    beyond: Beyond | None = None
