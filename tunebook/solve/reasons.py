"""Costs in the words of a player."""

from __future__ import annotations

from collections.abc import Iterable

from tunebook.model.arrangement import Stop
from tunebook.model.instrument import Instrument

TERM_WORDS = {
    "barre": "one finger flat over two keys",
    "crossed": "crossed stop: two fingers at the same place in two rows",
    "drone_pause": "the bow leaves the drone",
    "high_key": "high on the string",
    "home": "away from first position",
    "little_finger": "little finger",
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
WAY_WORDS = {
    "crossed": "crossed stop",
    "barre": "barre",
    "row_jump": "row jump",
    "shift": "shift",
    "substitution": "substitution",
}
FINGERBOARD_WAY_WORDS = {"barre": "one finger on two strings", "row_jump": "hop across strings"}


def term_in_words(name: str, instrument: Instrument) -> str:
    """What a cost term means on this kind of instrument."""
    own = FINGERBOARD_TERM_WORDS if instrument.kind == "fingerboard" else {}
    return own.get(name) or TERM_WORDS.get(name, name.replace("_", " "))


def way_in_words(way: str, instrument: Instrument) -> str:
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
