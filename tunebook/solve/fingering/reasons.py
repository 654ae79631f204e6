"""Why a passage is fingered as it is: costs in the words of a player, and the next best ways."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tunebook.model.arrangement import Arrangement, FingeredNote, Stop
from tunebook.model.choices import Way
from tunebook.model.instrument import Instrument
from tunebook.model.names import bar_name
from tunebook.model.tune import Tune
from tunebook.solve.fingering.other_way import sounds_under

TERM_WORDS = {
    "barre": "one finger flat over two keys",
    "crossed": "crossed stop: two fingers at the same place in two rows",
    "high_key": "high on the string",
    "home": "away from first position",
    "little_finger": "little finger",
    "open_string": "open string",
    "order": "fingers out of order in two rows",
    "passing": "a lower finger goes on above a higher one",
    "row_jump": "row jump: the same finger goes to another row",
    "shift": "shift: the hand changes its place",
    "slide": "the same finger goes to another key",
    "squeeze": "fingers closer than they lie at rest",
    "stop": "a finger presses",
    "stretch": "fingers wider than they lie at rest",
    "string_change": "the bow changes strings",
    "substitution": "another finger takes over the key",
    "trill": "trill without a free, strong finger",
    "weak_neighbours": "fingers 3 and 4 one after the other",
}
# Where a fingerboard has no keys and rows of keys, but places and strings.
FINGERBOARD_TERM_WORDS = {
    "barre": "one finger stops two strings",
    "crossed": "crossed stop: two fingers at the same place on two strings",
    "order": "fingers out of order on two strings",
    "row_jump": "hop: the same finger goes to another string",
    "slide": "the same finger goes to another place",
    "substitution": "another finger takes over the stopped note",
}
WAY_WORDS: dict[Way, str] = {
    "crossed": "crossed stop",
    "barre": "barre",
    "row_jump": "row jump",
    "shift": "shift",
    "substitution": "substitution",
}
FINGERBOARD_WAY_WORDS: dict[Way, str] = {
    "barre": "one finger on two strings",
    "row_jump": "hop across strings",
}


def term_in_words(name: str, instrument: Instrument) -> str:
    """What a cost term means on this kind of instrument."""
    own = FINGERBOARD_TERM_WORDS if instrument.kind == "fingerboard" else {}
    return own.get(name) or TERM_WORDS.get(name, name.replace("_", " "))


def way_in_words(way: Way, instrument: Instrument) -> str:
    """What a way of playing a note is called on this kind of instrument."""
    own = FINGERBOARD_WAY_WORDS if instrument.kind == "fingerboard" else {}
    return own.get(way) or WAY_WORDS[way]


def place_word(instrument: Instrument) -> str:
    """What counts the places along a string: keys, or semitones on a fingerboard."""
    return "key" if instrument.kind == "keyed" else "semitone"


def stop_in_words(stop: Stop, instrument: Instrument) -> str:
    """A stop as "D string key 4, finger 2" or "A string open"."""
    name = instrument.string(stop.string_index).name
    if stop.key == 0:
        return f"{name} string open"
    return f"{name} string {place_word(instrument)} {stop.key}, finger {stop.finger}"


def stops_in_words(stops: Iterable[Stop], instrument: Instrument) -> str:
    """All stops of a note, joined by "and"."""
    return " and ".join(stop_in_words(stop, instrument) for stop in stops)


SMALLEST_SHOWN_COST = 0.005


@dataclass(frozen=True, slots=True)
class NoteReason:
    """One note's fingering and what speaks for it. ``terms`` are (words, cost), dearest first;
    ``alternatives`` (what the tune would cost more, words) in rising order; ``is_stopped`` where a
    finger presses."""

    bar: int
    name: str
    stops: str
    hand: str
    ways: tuple[str, ...]
    terms: tuple[tuple[str, float], ...]
    cost: float
    alternatives: tuple[tuple[float, str], ...]
    drone: str = ""
    is_stopped: bool = False
    is_continued: bool = False
    is_pinned: bool = False
    beyond_limits: bool = False
    trill_finger: int = 0


def bar_range(tune: Tune, first: int, last: int) -> tuple[int, int]:
    """Indices of the first and last written bar with numbers ``first`` to ``last``.

    Bars are numbered as a player counts them, the upbeat is 0. Raises ValueError when there is
    none.
    """
    inside = [bar.index for bar in tune.bars if first <= bar.number <= last]
    if not inside:
        numbers = [bar.number for bar in tune.bars]
        raise ValueError(
            f"there are no bars {first} to {last}; the tune has bars {max(1, min(numbers))} to "
            f"{max(numbers)}"
        )
    return min(inside), max(inside)


def explain_bars(arrangement: Arrangement, first: int, last: int) -> tuple[NoteReason, ...]:
    """Reasons for every note of the bars numbered ``first`` to ``last``.

    Alternatives are given where the arrangement was solved with some. Raises ValueError when
    there are no such bars.
    """
    start, end = bar_range(arrangement.tune, first, last)
    return tuple(
        _reason(arrangement, note) for note in arrangement.notes if start <= note.bar_index <= end
    )


def _reason(arrangement: Arrangement, note: FingeredNote) -> NoteReason:
    instrument = arrangement.instrument
    terms = [(term_in_words(name, instrument), cost) for name, cost in note.terms]
    terms = [(words, cost) for words, cost in terms if cost >= SMALLEST_SHOWN_COST]
    pins = note.note.finger_pins
    return NoteReason(
        bar=arrangement.tune.bars[note.bar_index].number,
        name=" ".join(pitch.name for pitch in note.note.pitches),
        stops=stops_in_words(note.stops, instrument) if note.stops else "cannot be played",
        hand=f"hand at {place_word(instrument)} {note.hand_key:g}",
        ways=tuple(way_in_words(way, instrument) for way in note.ways),
        terms=tuple(sorted(terms, key=lambda term: (-term[1], term[0]))),
        cost=note.cost,
        alternatives=tuple(
            (extra, stops_in_words(stops, instrument) + _drone_left(arrangement, note, stops))
            for extra, stops in note.alternatives
        ),
        drone=_drone_words(arrangement, note),
        is_stopped=any(stop.key for stop in note.stops),
        is_continued=note.is_continued,
        is_pinned=note.note.string_pin is not None or any(pin is not None for pin in pins),
        beyond_limits=note.beyond_limits,
        trill_finger=note.trill_finger,
    )


def _drone_words(arrangement: Arrangement, note: FingeredNote) -> str:
    """What the drone does meanwhile."""
    if not note.moments or note.moments[0].drone is None:
        return _over_open_string(arrangement, note)
    if note.moments[0].is_drone_paused:
        return "the drone pauses"
    finger = note.moments[0].drone.finger
    if not finger:
        return "over the drone"
    after = note.moments[-1].drone
    if after is not None and after.finger not in (0, finger):
        return f"finger {finger}, then {after.finger} holds the drone"
    return f"finger {finger} holds the drone"


def _drone_left(arrangement: Arrangement, note: FingeredNote, stops: tuple[Stop, ...]) -> str:
    """Says so where other stops ask for the finger that holds the drone."""
    moment = note.moments[0] if note.moments else None
    if moment is None or moment.drone is None or moment.is_drone_paused:
        return ""
    held = moment.drone
    may_bar = arrangement.hand.allows_barre and arrangement.limits.allows_barre
    is_left = any(
        stop.finger == held.finger > 0
        and stop.string_index != held.string_index
        and not (may_bar and stop.key == held.key)
        for stop in stops
    )
    return "; the drone must stop or take another finger" if is_left else ""


def _over_open_string(arrangement: Arrangement, note: FingeredNote) -> str:
    onset = note.note.onset
    for span in arrangement.drone:
        if span.onset <= onset < span.onset + span.duration and not note.note.is_grace:
            name = arrangement.instrument.string(span.stop.string_index).name
            return f"over the open {name} string"
    return ""


def reasons_as_text(reasons: Sequence[NoteReason]) -> list[str]:
    """The reasons as lines: a head line for each note, its costs and other ways below it."""
    lines: list[str] = []
    for reason in reasons:
        lines.append(_head(reason))
        if reason.is_continued:
            continue
        if reason.terms:
            parts = "; ".join(f"{words} {cost:.2f}" for words, cost in reason.terms)
            lines.append(f"    cost {reason.cost:.2f}: {parts}")
        lines += [f"    or {words} ({_price(extra)})" for extra, words in reason.alternatives]
    return lines


def _price(extra: float) -> str:
    """What another way costs; one that costs less was given up for the sake of like bars."""
    if extra < -SMALLEST_SHOWN_COST:
        return f"{extra:+.2f}, but then bars alike would be fingered differently"
    return f"{extra:+.2f}"


def _head(reason: NoteReason) -> str:
    head = f"{bar_name(reason.bar)}  {reason.name}: "
    if reason.is_continued:
        return head + "goes on"
    head += reason.stops
    if reason.is_stopped:
        head += f"; {reason.hand}"
    notes = list(reason.ways)
    if reason.drone:
        notes.append(reason.drone)
    if reason.trill_finger:
        notes.append(f"finger {reason.trill_finger} trills")
    if reason.is_pinned:
        notes.append("pinned")
    if reason.beyond_limits:
        notes.append("beyond the limits of this edition")
    return head + (f"  [{', '.join(notes)}]" if notes else "")


def other_ways_as_text(arrangement: Arrangement) -> list[str]:
    """What the arrangement's other ways change, one line for each difference."""
    lines: list[str] = []
    # Open strings sound on under any fingers.
    held = [span for span in arrangement.drone if span.stop.key]
    for number, way in enumerate(arrangement.other_ways, start=2):
        lines.append(f"way {number} ({_price(way.cost_more)}):")
        for old, new in zip(arrangement.notes, way.notes, strict=True):
            if old.stops != new.stops and not new.is_continued:
                is_left = sounds_under(old, held) and not sounds_under(old, way.drone)
                left = "; the drone must stop" if is_left else ""
                lines.append("    " + _change(arrangement, old, new.stops) + left)
    return lines


def _change(arrangement: Arrangement, old: FingeredNote, stops: tuple[Stop, ...]) -> str:
    instrument = arrangement.instrument
    bar = bar_name(arrangement.tune.bars[old.bar_index].number)
    name = " ".join(pitch.name for pitch in old.note.pitches)
    new_words, old_words = stops_in_words(stops, instrument), stops_in_words(old.stops, instrument)
    return f"{bar}  {name}: {new_words} (instead of {old_words})"
