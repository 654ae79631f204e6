"""The fixed words of a book in the language that is asked for.

The texts stand in data/words, one file a language. A file is read when its language is first
asked for, and must have a text for every place in the records below and no other. A table
[fingerboard] holds what is said otherwise of an instrument that has no keys.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from tunebook.model.book import Book
from tunebook.model.choices import InstrumentKind, Language, NoteNames
from tunebook.model.instrument import Instrument

_FOLDER = Path(__file__).resolve().parents[1] / "data" / "words"


@dataclass(frozen=True, slots=True)
class ReportWords:
    """Texts of the retuning report and of the comparison of tunings."""

    retuning: str
    from_to: str
    card: str
    card_columns: tuple[str, ...]
    card_text: str
    risk: str
    caution: str
    per_tune: str
    tune_columns: tuple[str, ...]
    tune_text: str
    easier: str
    harder: str
    none: str
    lost: str
    lost_chords: str
    gained: str
    other_key: str
    comparison: str
    comparison_text: str
    totals: str
    total_columns: tuple[str, ...]
    tune: str
    out: str
    plot_axis: str
    keys: str
    keys_text: str
    sets: str
    sets_text: str
    set_columns: tuple[str, ...]
    set_orders: tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class LearningWords:
    """Texts of what was learnt of a player's hand, and of questions to her. ``habits`` has two
    sentences for each habit, for what costs her more than usual and for what costs her less."""

    title: str
    text: str
    caution: str
    learnt: str
    alike: str
    unsure: str
    worse: str
    needed: str
    more_needed: str
    folds: str
    agreement: str
    agreement_columns: tuple[str, ...]
    all_tunes: str
    plot_axis: str
    before: str
    after: str
    weights: str
    weights_axis: str
    habits_title: str
    no_habits: str
    habits: Mapping[str, tuple[str, str]]
    change: str
    shows: str
    place: str
    with_habit: str
    without: str
    grey: str
    no_staves: str
    stop: str
    open_stop: str
    doubts_title: str
    doubts: Mapping[str, str]
    more_doubts: str
    mark: Mapping[str, str]
    ask_title: str
    ask_text: str
    question: str


@dataclass(frozen=True, slots=True)
class FixedWords:
    """Words and sentences of one language. ``{}`` in a text takes a number or a name.

    ``note_names_text`` is what the page of signs says of each;
    ``key_names`` are keynotes that have a name of their own beside letter and sign; ``legend`` has
    a text for each kind of sign, ``foot`` a short one; ``pictures`` say what music and drawings
    show to those who do not see them; ``techniques`` are those that the index lists, in order."""

    language: Language
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
    other_tunes: str
    left_out: str
    booklet_note: str
    # signs
    signs_title: str
    signs_rest: str
    legend: Mapping[str, str]
    foot: Mapping[str, str]
    pictures: Mapping[str, str]
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
    note_names: NoteNames
    note_names_text: Mapping[str, str]
    low_string: str
    no_key: str
    written_in: str
    lines: Mapping[str, str]
    written_octaves: tuple[str, str, str, str]
    # sets
    ends_on: str
    begins_on: str
    same_key: str
    key_change: str
    open_string: str
    retune: str
    retune_up: str
    retune_down: str
    retune_semitones: tuple[str, str]
    retune_caution: str
    retune_risk: str
    key_place: str
    # tune pages
    also: str
    part_order: str
    times: str
    continued: str
    listen: str
    melody: str
    further_voices: tuple[str, ...]
    voice_number: str
    source: str
    notes: Mapping[str, str]
    # practice and chords
    practice: Mapping[str, str]
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
    reason_held_effort: str
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
    page: str
    names: Mapping[str, str]
    report: ReportWords
    learning: LearningWords

    def local(self, name: str) -> str:
        """A name from the data that ship with the program (titles of instruments and editions,
        sizes of hands) in this language; any other text as it stands."""
        return self.names.get(name, name)

    def decimal(self, value: float, places: int = 1) -> str:
        """A number with ``places`` figures after the decimal sign of this language."""
        return f"{value:.{places}f}".replace(".", self.decimal_sign)


def words_for(book: Book, instrument: Instrument) -> FixedWords:
    """The words of a book for an instrument."""
    return fixed_words(book.language, instrument.kind, book.note_names)


@cache
def fixed_words(
    language: Language, kind: InstrumentKind = "keyed", note_names: NoteNames | None = None
) -> FixedWords:
    """Return the words of ``language`` ("en" or "sv") for an instrument of this kind.

    ``note_names`` None are those that are usual in the language. Raises
    KeyError for any other language."""
    texts = dict(_texts(language))
    fingerboard = texts.pop("fingerboard")
    if kind == "fingerboard":
        texts = _merged(texts, fingerboard)
    words = _record(language, texts)
    if note_names is not None:
        words = replace(words, note_names=note_names)
    said = words.note_names_text[words.note_names]
    if said:
        chord = f"{words.legend['chord']} {said}"
        words = replace(words, legend={**words.legend, "chord": chord})
    return words


@cache
def _texts(language: str) -> Mapping[str, Any]:
    """The file of a language as it stands, with tuples for lists."""
    import tomllib

    path = _FOLDER / f"{language}.toml"
    if not path.is_file():
        raise KeyError(language)
    texts: Mapping[str, Any] = _frozen(tomllib.loads(path.read_text(encoding="utf-8")))
    return texts


def _frozen(value: Any) -> Any:
    """The value with tuples for lists, in tables too."""
    if isinstance(value, dict):
        return {name: _frozen(inner) for name, inner in value.items()}
    return tuple(value) if isinstance(value, list) else value


def _merged(texts: Mapping[str, Any], changed: Mapping[str, Any]) -> dict[str, Any]:
    """``texts`` with those in ``changed`` in their places, in tables too."""
    tables = {
        name: _merged(texts[name], value)
        for name, value in changed.items()
        if isinstance(value, dict)
    }
    return {**texts, **changed, **tables}


def _record(language: Language, texts: Mapping[str, Any]) -> FixedWords:
    """The texts by name; a TypeError names one that is missing or has no place."""
    rest = {
        **texts,
        "report": ReportWords(**texts["report"]),
        "learning": LearningWords(**texts["learning"]),
    }
    return FixedWords(language=language, **rest)
