"""The instrument: strings, keys with their places in mm, tuning, compass."""

from __future__ import annotations

from dataclasses import dataclass

from tunebook.model.choices import CLEFS, INSTRUMENT_KINDS, Clef, InstrumentKind, Language, one_of


def key_place_mm(string_length_mm: float, key: int) -> float:
    """Distance in mm from the nut of the place where key ``key`` stops the string.

    Equal temperament, the usual fret formula x = L (1 - 2^(-k/12)).
    """
    return string_length_mm * (1.0 - float(2.0 ** (-key / 12.0)))


@dataclass(frozen=True, slots=True)
class String:
    """A playing string. ``index`` 1 is the lowest. ``open_midi`` is the open string's pitch.
    ``key_places_mm[k-1]`` is where key k stops the string (mm from the nut); key k sounds k
    semitones above the open string. ``row_mm`` is the place of the row across the keybox."""

    index: int
    name: str
    open_midi: int
    key_places_mm: tuple[float, ...]
    row_mm: float

    @property
    def key_count(self) -> int:
        return len(self.key_places_mm)

    def place_mm(self, key: int) -> float:
        """Place of ``key`` (0 = open string, at the nut)."""
        return 0.0 if key == 0 else self.key_places_mm[key - 1]


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument as it is tuned. ``kind`` is "keyed" (keybox: the upper of two pressed keys
    sounds, a finger may lie over two rows only as a barre) or "fingerboard". ``strings`` run from
    the lowest. ``sympathetic`` lists MIDI numbers of the sympathetic strings;
    ``sympathetic_rings_s``, parallel, the time in which each dies away by 60 dB, empty where that
    is not known. ``source`` says where the figures come from, ``source_sv`` the same in Swedish.
    Raises SettingError for another kind or clef."""

    name: str
    title: str
    kind: InstrumentKind
    strings: tuple[String, ...]
    string_length_mm: float
    row_distance_mm: float
    tuning_name: str = ""
    clef: Clef = "treble"
    sympathetic: tuple[int, ...] = ()
    sympathetic_rings_s: tuple[float, ...] = ()
    source: str = ""
    source_sv: str = ""

    def __post_init__(self) -> None:
        one_of(INSTRUMENT_KINDS, self.kind, "kind of instrument")
        one_of(CLEFS, self.clef, "clef")

    def source_in(self, language: Language) -> str:
        """Where the figures come from, in Swedish ("sv") when the profile has it so."""
        return self.source_sv if language == "sv" and self.source_sv else self.source

    def string(self, index: int) -> String:
        """The string with this index (1 is the lowest)."""
        return self.strings[index - 1]

    @property
    def lowest_midi(self) -> int:
        return min(string.open_midi for string in self.strings)

    @property
    def highest_midi(self) -> int:
        return max(string.open_midi + string.key_count for string in self.strings)
