"""The fixed words of a book, by language.

The languages of the fixed words.

Fixed words of the retuning report and of the comparison, by language.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from tunebook.book import words_en, words_sv
from tunebook.book.fixed_words import FixedWords
from tunebook.model.book import Book
from tunebook.model.instrument import Instrument

_LANGUAGES = {
    "en": (words_en.ENGLISH, words_en.FINGERBOARD),
    "sv": (words_sv.SWEDISH, words_sv.FINGERBOARD),
}


def fixed_words(language: str, kind: str = "keyed", note_names: str | None = None) -> FixedWords:
    """Return the words of ``language`` ("en" or "sv") for an instrument of this kind.

    ``note_names`` is one of NOTE_NAMES, None for those that are usual in the language. Raises
    KeyError for any other language."""
    words, fingerboard = _LANGUAGES[language]
    if kind == "fingerboard":
        words = replace(words, **{name: _merged(words, name, fingerboard) for name in fingerboard})
    if note_names is not None:
        words = replace(words, note_names=note_names)
    said = words.note_names_text[words.note_names]
    if said:
        chord = f"{words.legend['chord']} {said}"
        words = replace(words, legend={**words.legend, "chord": chord})
    return words


def words_for(book: Book, instrument: Instrument) -> FixedWords:
    """The words of a book for an instrument."""
    return fixed_words(book.language, instrument.kind, book.note_names)


def _merged(words: FixedWords, name: str, changed: Mapping[str, Any]) -> Any:
    if isinstance(changed[name], Mapping):
        return {**getattr(words, name), **changed[name]}
    return changed[name]


@dataclass(frozen=True, slots=True)
class ReportWords:
    """The texts of one language; ``{}`` takes a number or a name."""

    retuning: str
    from_to: str
    card: str
    card_columns: tuple[str, ...]
    card_text: str
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
    comparison: str
    comparison_text: str
    totals: str
    total_columns: tuple[str, ...]
    tune: str
    out: str
    plot_axis: str
    keys: str
    keys_text: str


REPORT_ENGLISH = ReportWords(
    retuning="What the retuning changed",
    from_to="From {} to {}.",
    card="Retuning card",
    card_columns=("string", "before", "after", "cents", "tension"),
    card_text="Tension goes with the square of the frequency when length and string stay the same.",
    caution="A string marked ! gains more than a tenth in tension. Look it up in the string "
    "maker's chart before you tune it up, or change the string; tune slowly, and keep your face "
    "and eyes away from it. Retuning moves the pressure on bridge and neck too: ask a maker when "
    "in doubt. "
    "New fingerings are new work for the hand: begin slowly, rest, and stop at pain.",
    per_tune="Tune by tune",
    tune_columns=("tune", "moved", "fingers", "crossed", "jumps", "shifts", "out", "difficulty"),
    tune_text="Notes that lie on another string or key, and notes that only change the finger; "
    "crossed stops, row jumps and shifts before and after; notes now out of compass; difficulty "
    "(cost per second of music) before and after. Changed bars carry a line in the music.",
    easier="Easier now",
    harder="Harder now",
    none="none",
    lost="drones no longer there: {}",
    lost_chords="chords without root or third: {}",
    gained="new drones: {}",
    comparison="Which tuning suits the tunes",
    comparison_text="Difficulty of each tune (cost per second of music; lower is easier), its "
    "drone, and how many of its chords have a shape with root and third (3/5: three of five).",
    totals="All tunes together",
    total_columns=("tuning", "mean difficulty", "tunes with notes out of compass"),
    tune="tune",
    out="{} out",
    plot_axis="difficulty (cost per second of music)",
    keys="The easiest keys",
    keys_text="For each tune the keys that cost least, with the distance in semitones.",
)

REPORT_SWEDISH = ReportWords(
    retuning="Vad omstämningen ändrade",
    from_to="Från {} till {}.",
    card="Omstämningskort",
    card_columns=("sträng", "före", "efter", "cent", "spänning"),
    card_text="Spänningen följer frekvensens kvadrat när längd och sträng är desamma.",
    caution="En sträng märkt ! får mer än en tiondel högre spänning. Slå upp den i strängmakarens "
    "tabell innan du stämmer upp den, eller byt sträng; stäm långsamt och håll ansikte och ögon "
    "borta. Omstämning ändrar också trycket på stall och hals: fråga en byggare om du är osäker. "
    "Nya fingersättningar är nytt arbete för handen: börja långsamt, vila, och sluta vid smärta.",
    per_tune="Låt för låt",
    tune_columns=(
        "låt",
        "flyttade",
        "fingrar",
        "korsade",
        "hopp",
        "växlingar",
        "utanför",
        "svårighet",
    ),
    tune_text="Toner som ligger på en annan sträng eller nyckel, och toner som bara byter finger; "
    "korsade grepp, radhopp och lägesväxlingar före och efter; toner som nu ligger utanför "
    "omfånget; svårighet (kostnad per sekund musik) före och efter. Ändrade takter har ett streck "
    "över noterna.",
    easier="Lättare nu",
    harder="Svårare nu",
    none="ingen",
    lost="borduner som inte längre finns: {}",
    lost_chords="ackord utan grundton eller ters: {}",
    gained="nya borduner: {}",
    comparison="Vilken stämning passar låtarna",
    comparison_text="Varje låts svårighet (kostnad per sekund musik; lägre är lättare), dess "
    "bordun, och hur många av dess ackord som har ett grepp med grundton och ters (3/5: tre av "
    "fem).",
    totals="Alla låtar tillsammans",
    total_columns=("stämning", "svårighet i medeltal", "låtar med toner utanför omfånget"),
    tune="låt",
    out="{} utanför",
    plot_axis="svårighet (kostnad per sekund musik)",
    keys="De lättaste tonarterna",
    keys_text="För varje låt de tonarter som kostar minst, med avståndet i halvtoner.",
)


_FINGERBOARD = {
    "en": "Notes that lie on another string or in another place on it, and notes that only change "
    "the finger; crossed stops, hops across strings and shifts before and after; notes now out of "
    "compass; difficulty (cost per second of music) before and after. Changed bars carry a line "
    "in the music.",
    "sv": "Toner som ligger på en annan sträng eller plats, och toner som bara byter finger; "
    "korsade grepp, hopp mellan strängar och lägesväxlingar före och efter; toner som nu ligger "
    "utanför omfånget; svårighet (kostnad per sekund musik) före och efter. Ändrade takter har "
    "ett streck över noterna.",
}


def report_words(language: str, kind: str = "keyed") -> ReportWords:
    """The words of ``language`` (en or sv) for an instrument of this kind."""
    words = REPORT_SWEDISH if language == "sv" else REPORT_ENGLISH
    if kind == "fingerboard":
        return replace(words, tune_text=_FINGERBOARD[language])
    return words
