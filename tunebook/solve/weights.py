"""Every number that decides a fingering, each with its unit and where it comes from.

The cost has no unit of its own: 1 is about the trouble of a row jump at walking pace. "Units" of
reach are half piano semitones (165/12 mm, the unit of the span table) and half semitones along
the string, since keys lie closer together higher up. Unless a line says otherwise, a weight is our
judgement, set with common practice in view and no stronger authority.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tunebook.model.choices import InstrumentKind
from tunebook.model.hand import Hand

PIANO_SEMITONE_MM = 165.0 / 12.0
"""Seven white keys take 165 mm: Parncutt et al. 1997, Music Perception 14(4)."""

GRAIN = 4096.0
"""Costs are multiples of 1/4096, so that sums are exact and ties are true ties."""


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of the cost terms. Names say what they price; the comment gives the unit."""

    # The hand at rest, for each event.
    stop: float = 0.12  # each finger that presses
    open_string: float = 0.0  # each open string that sounds, for a hand that would rather stop it
    little_finger: float = 0.45  # finger 4 presses
    stretch: float = 0.6  # per squared unit beyond the relaxed span
    squeeze: float = 0.55  # per squared unit below the relaxed span
    uncomfortable: float = 3.0  # times that for each unit beyond the comfortable span
    index_lean: float = 1.35  # units that the index leans freely: a key, near the nut
    lean: float = 0.2  # per unit that the index leans
    index_reach: float = 2.2  # units that it leans at most
    level: float = 0.5  # per unit that the middle finger lies nearer to the index than it spans
    crossed_posture: float = 0.5  # two fingers held at the same place in two rows
    crossed_wrong_way: float = 2.0  # the same, against the hand's natural direction
    reversed_posture: float = 4.0  # the lower finger held farther from the nut, in another row
    barre: float = 15.0  # one finger flat over two keys
    home_key: float = 2.0  # key under the index in first position (common practice, no source)
    above_home: float = 1.0  # per 100 mm that the hand sits above first position
    below_home: float = 0.3  # per 100 mm below it
    high_key: float = 0.5  # per 100 mm beyond a third of the string
    past_next: float = 2.5  # a tone lies above the open string that is next
    trill_bound: float = 3.0  # a trill with no free higher finger or no key for its upper note
    trill_little_finger: float = 0.5  # the little finger has to trill
    drone_pause: float = 2.0  # the bow must leave a drone that was asked for
    drone_pause_second: float = 0.8  # and for each second of it
    drone_strict: float = 10.0  # times that where the melody is to bend to the drone

    # From one event to the next.
    shift: float = 1.8  # the hand changes its place
    shift_full_mm: float = 14.0  # from this distance on the whole of it, less in proportion
    shift_speed: float = 0.6  # per 100 mm/s
    shift_turning: float = 1.2  # more where the melody goes to another tone and back at once
    shift_freed: float = 0.5  # factor from an open string or a rest
    passing: float = 1.0  # going on with a lower finger beyond a higher one, with a shift
    passing_in_place: float = 8.0  # the same without one: the fingers would cross on the string
    slide: float = 1.8  # the same finger on another key of the string
    slide_speed: float = 2.0  # per 100 mm/s
    jump: float = 0.2  # the same finger on a key in another row
    jump_speed: float = 4.5  # per 100 mm/s
    jump_slurred: float = 1.5  # more when slurred: the gap is heard
    crossed: float = 0.7  # two fingers one after the other at the same place in two rows
    crossed_window: float = 0.6  # "the same place": within this share of a key
    sequence_span: float = 0.25  # factor on stretch and squeeze between successive fingers
    sequence_span_index: float = 0.6  # the same when one of them is the index
    sequence_reach: float = 3.0  # successive fingers farther apart than the practical span
    weak_neighbours: float = 0.15  # 3 and 4 one after the other
    weak_neighbours_speed: float = 0.02  # per 1/s
    substitution: float = 2.0  # another finger takes over a key that sounds
    substitution_restruck: float = 1.3  # the same with a new stroke of the bow
    substitution_speed: float = 0.05  # per 1/s
    string_change: float = 0.3  # the bow goes to the next string
    string_skip: float = 1.0  # for each string farther
    string_change_slurred: float = 0.3  # more when slurred

    # Time.
    least_time_s: float = 0.1  # shorter times count as this
    most_time_s: float = 2.0  # longer times count as this
    grace_time_s: float = 0.25  # from a grace note to its main note
    grace_share: float = 0.5  # factor on the posture of a grace note
    rest_gap_s: float = 0.08  # a gap from here on frees the fingers
    long_note_s: float = 0.7  # notes from here on may hide a substitution

    # What is avoided unless there is no other way; never counted in a shown cost.
    beyond_limits: float = 1000.0  # an edition's limit is broken
    moved_tone: float = 50_000.0  # a tone that is tied would have to change its key

    # Consistency.
    same_phrase: float = 2.0  # what giving a bar the form of its likes may cost


KEYED = Weights()

FINGERBOARD = replace(
    KEYED,
    barre=0.6,  # a fifth stopped by one finger is ordinary on a fingerboard
    jump=0.1,
    jump_speed=0.8,
    jump_slurred=0.3,
    crossed_posture=1.0,
    crossed=0.8,
    crossed_window=0.3,
    passing=0.5,
    string_change_slurred=0.1,
    past_next=0.0,  # position playing across strings is ordinary there
)


def weights_for(kind: InstrumentKind, hand: Hand | None = None) -> Weights:
    """Weights for an instrument of this kind ("keyed" or "fingerboard"), and for this hand."""
    usual = FINGERBOARD if kind == "fingerboard" else KEYED
    if hand is None or not hand.weights:
        return usual
    return replace(usual, **{one.name: one.value for one in hand.weights if one.kind == kind})


def is_barre_usual(kind: InstrumentKind) -> bool:
    """On a fingerboard one finger stops a fifth; on keys only a hand that allows it."""
    return kind == "fingerboard"
