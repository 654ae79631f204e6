"""Which finger numbers and string letters a player edition prints.

First position implies most fingers: an open string where the note has one, else the string on
which the note lies nearest the nut, with the index on keys 1 and 2, the middle finger on 3 and 4,
the ring finger on 5 and 6 and the little finger on 7 (common practice, no source). A finger number
is printed where a player could not know it:

1. on the first note of the tune, of a repeated section and of a labelled part;
2. on the first stopped note after the hand has changed its place;
3. where string or finger are not what first position implies, or would be only because the next
   string is tuned more than a fifth higher (key 7 and above on a string that is not the highest);
4. on both notes of a crossed stop, on substitutions, and on keys also on barres and row jumps
   (on a fingerboard one finger stops a fifth as a matter of course);
5. on every stopped tone of a double stop or chord;
6. where the tune's editor pinned a finger or string;
7. wherever a string letter stands.

It is not printed on a note that goes on from a tie, nor on a note struck again just as before.

A string letter is printed where the note before was on another string and a note is not on the
string that first position implies, or as high on it as in 3; and on the way back, where the note
could as well have stayed on the string of the note before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tunebook.model.arrangement import Stop
from tunebook.model.choices import InstrumentKind, Way
from tunebook.model.instrument import Instrument

FIRST_POSITION = {0: 0, 1: 1, 2: 1, 3: 2, 4: 2, 5: 3, 6: 3, 7: 4}
"""Key -> finger in first position."""
_FIFTH = 7


TELLING_WAYS: dict[InstrumentKind, frozenset[Way]] = {
    "keyed": frozenset({"crossed", "barre", "row_jump", "substitution"}),
    "fingerboard": frozenset({"crossed", "substitution"}),
}
"""Ways that call for a number, by the instrument's kind."""


@dataclass(frozen=True, slots=True)
class Played:
    """What the rule has to know about one note."""

    stops: tuple[Stop, ...]
    hand_key: float
    ways: tuple[Way, ...]
    is_start: bool = False
    is_pinned: bool = False
    is_continued: bool = False


def implied_stop(instrument: Instrument, midi: int) -> Stop | None:
    """Where first position has this note: the string with the lowest key; None beyond it."""
    best: Stop | None = None
    for string in instrument.strings:
        key = midi - string.open_midi
        if 0 <= key <= string.key_count and (best is None or key < best.key):
            best = Stop(midi, string.index, key, FIRST_POSITION.get(key, -1))
    return best if best is not None and best.finger >= 0 else None


def marks(played: Sequence[Played], instrument: Instrument) -> list[tuple[bool, bool]]:
    """(is_needed, shows_string) for each note, in the order given."""
    midis = {stop.midi for note in played for stop in note.stops}
    implied = {midi: implied_stop(instrument, midi) for midi in midis}
    telling = TELLING_WAYS[instrument.kind]
    found: list[tuple[bool, bool]] = []
    before: Played | None = None
    place: float | None = None
    for index, note in enumerate(played):
        if not note.stops or note.is_continued:
            found.append((False, False))
            continue
        is_stopped = any(stop.finger for stop in note.stops)
        is_new_place = is_stopped and place is not None and note.hand_key != place
        following = played[index + 1] if index + 1 < len(played) else None
        shows_string = _shows_string(note, before, implied, instrument)
        is_new = before is None or before.stops != note.stops
        needed = (
            shows_string
            or (is_new and any(_is_past_the_fifth(stop, instrument) for stop in note.stops))
            or _is_needed(note, before, following, is_new_place, implied, telling)
        )
        found.append((needed, shows_string))
        if is_stopped:
            place = note.hand_key
        before = note
    return found


def _is_needed(
    note: Played,
    before: Played | None,
    following: Played | None,
    is_new_place: bool,
    implied: dict[int, Stop | None],
    telling: frozenset[Way],
) -> bool:
    if note.is_start or note.is_pinned:
        return True
    if before is not None and before.stops == note.stops and not note.ways:
        return False
    if is_new_place or telling.intersection(note.ways):
        return True
    if following is not None and "crossed" in following.ways and len(following.stops) == 1:
        return True
    if len(note.stops) > 1:
        return any(stop.finger for stop in note.stops)
    return any(implied[stop.midi] != stop for stop in note.stops)


def _shows_string(
    note: Played,
    before: Played | None,
    implied: dict[int, Stop | None],
    instrument: Instrument,
) -> bool:
    strings_before = {stop.string_index for stop in before.stops} if before else set()
    for stop in note.stops:
        if stop.string_index in strings_before:
            continue
        usual = implied[stop.midi]
        lowest = _lowest_key_string(instrument, stop.midi) if usual is None else usual.string_index
        if stop.string_index != lowest or _is_past_the_fifth(stop, instrument):
            return True
        if before is not None and _could_have_stayed(stop, before, implied, instrument):
            return True
    return False


def _is_past_the_fifth(stop: Stop, instrument: Instrument) -> bool:
    """True on the keys that strings tuned in fifths have no use for in first position: where the
    next higher open string would sound, and above."""
    own = instrument.string(stop.string_index).open_midi
    is_highest = all(string.open_midi <= own for string in instrument.strings)
    return stop.key >= _FIFTH and not is_highest


def _lowest_key_string(instrument: Instrument, midi: int) -> int:
    """The string on which the note lies nearest the nut, in whatever position."""
    reachable = [s for s in instrument.strings if 0 <= midi - s.open_midi <= s.key_count]
    return min(reachable, key=lambda string: midi - string.open_midi).index


def _could_have_stayed(
    stop: Stop, before: Played, implied: dict[int, Stop | None], instrument: Instrument
) -> bool:
    """True when the note before was off its usual string and this note exists there too."""
    for other in before.stops:
        usual = implied.get(other.midi)
        if usual is not None and usual.string_index == other.string_index:
            continue
        string = instrument.string(other.string_index)
        if 0 <= stop.midi - string.open_midi <= string.key_count:
            return True
    return False
