"""The fixed words of a book, by language: one record with a text for every place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

# Kinds of signs that the legend can explain.
LEGEND_KINDS = (
    "finger",
    "string",
    "crossed",
    "barre",
    "drone",
    "take_over",
    "chord",
    "solved_chord",
    "doubtful_chord",
    "shape",
    "accompaniment",
    "beyond",
    "hard",
    "changed",
    "unplayable",
    "quarter_tone",
)
# Techniques that the index lists.
TECHNIQUES = (
    "crossed",
    "barre",
    "row_jump",
    "shift",
    "substitution",
    "held_drone",
    "open_drone",
    "double_stop",
    "above_first",
    "little_finger",
    "triplet",
    "grace",
    "chord",
)
MODES = ("ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "locrian")


@dataclass(frozen=True, slots=True)
class FixedWords:
    """Words and sentences of one language. ``{}`` in a text takes a number or a name.

    ``note_names`` is one of NOTE_NAMES, ``note_names_text`` what the page of signs says of each;
    ``key_names`` are keynotes that have a name of their own beside letter and sign."""

    language: str
    kind: str
    opening_quote: str
    decimal_sign: str
    # front matter
    edited_by: str
    for_instrument: str
    tuned: str
    cautions_title: str
    cautions: tuple[str, ...]
    contents: str
    contents_by_title: str
    front_matter: str
    back_matter: str
    other_tunes: str
    # signs
    signs_title: str
    signs_rest: str
    legend: Mapping[str, str]
    foot_finger: str
    foot_string: str
    foot_crossed: str
    foot_drone: str
    foot_solved: str
    foot_beyond: str
    foot_hard: str
    foot_changed: str
    foot_unplayable: str
    foot_quarter_tone: str
    # instrument
    instrument_title: str
    tuning: str
    playing_strings: str
    sympathetic_strings: str
    sympathetic_text: str
    keybox_text: str
    fingerboard_text: str
    first_position: str
    first_position_text: str
    compass: str
    key_counts: str
    no_keys: str
    one_key: str
    highest_note: str
    string_length: str
    bow_text: str
    # keys, tempo
    modes: Mapping[str, str]
    key_joint: str
    is_minor_lower: bool
    key_names: Mapping[str, str]
    note_names: str
    note_names_text: Mapping[str, str]
    low_string: str
    no_key: str
    # sets
    ends_on: str
    begins_on: str
    same_key: str
    key_change: str
    open_string: str
    key_place: str
    # tune pages
    also: str
    part_order: str
    continued: str
    source: str
    # practice and chords
    practice_title: str
    practice_text: str
    chords_title: str
    chords_text: str
    chord_in: str
    # indexes
    index_titles: str
    index_types: str
    index_keys: str
    index_techniques: str
    index_openings: str
    index_openings_text: str
    no_type: str
    techniques: Mapping[str, str]
    all_but: str
    ladder_title: str
    ladder_text: str
    reason_shifts: tuple[str, str]
    reason_crossed: tuple[str, str]
    reason_jumps: tuple[str, str]
    reason_highest: str
    reason_first: str
    reason_held: str
    reason_barre: str
    sources_title: str
    composer: str
    origin: str
    found_in: str
    transcribed: str
    remark: str
    # colophon
    colophon_title: str
    colophon_text: str
    edition: str
    instrument: str
    hand: str
    hand_direction: tuple[str, str]
    hand_barre: tuple[str, str]
    hand_spans: str
    paper: str
    staff_size: str
    tempo: str
    tempo_text: str
    default_tempi: str
    fonts: str
    licences: Mapping[str, str]
    program: str
    date: str
    page: str
    names: Mapping[str, str]

    def local(self, name: str) -> str:
        """A name from the data that ship with the program (titles of instruments and editions,
        sizes of hands) in this language; any other text as it stands."""
        return self.names.get(name, name)

    def decimal(self, value: float, places: int = 1) -> str:
        """A number with ``places`` figures after the decimal sign of this language."""
        return f"{value:.{places}f}".replace(".", self.decimal_sign)
