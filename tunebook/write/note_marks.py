"""What stands on a note: fingers, string letters, scripts, words, slurs, ties."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tunebook.model.arrangement import FingeredNote, Stop
from tunebook.model.book import Edition
from tunebook.model.instrument import Instrument
from tunebook.model.names import printed_name
from tunebook.model.tune import Annotation, Note
from tunebook.write.decorations import commands_after, scripts
from tunebook.write.leaves import Written
from tunebook.write.safe_text import lilypond_string

_PLACEMENTS = {"^": "^", "_": "_", "<": "^", ">": "^", "@": "^"}
MOST_ANNOTATION_LETTERS = 80


@dataclass(frozen=True, slots=True)
class Shown:
    """What a staff shows beside its notes. ``fingers`` is all, needed or none; ``note_names`` is
    one of NOTE_NAMES."""

    fingers: str
    has_grace_notes: bool
    has_words: bool
    has_texts: bool = True
    note_names: str = "b"
    language: str = "en"

    @classmethod
    def of_edition(cls, edition: Edition, note_names: str = "b", language: str = "en") -> Shown:
        shown = (edition.fingers, edition.shows_grace_notes, edition.shows_words)
        return cls(*shown, note_names=note_names, language=language)


BARE = Shown(fingers="none", has_grace_notes=True, has_words=False, has_texts=False)


def note_marks(
    note: Note,
    fingered: FingeredNote | None,
    instrument: Instrument,
    shown: Shown,
) -> Written:
    """Fingers, scripts and texts of one note (slurs, ties and beams are the staff's); a note that
    cannot be played stands in brackets."""
    written = Written()
    if fingered is not None:
        if shown.has_texts and not fingered.stops:
            written.before.append("\\parenthesize")
        written.events += finger_events(fingered, instrument, shown)
    if shown.has_texts:
        written.events += scripts(note.decorations)
        written.after += commands_after(note.decorations)
        written.events += annotation_events(note.annotations)
    return written


def finger_events(fingered: FingeredNote, instrument: Instrument, shown: Shown) -> list[str]:
    """Finger numbers from the lowest tone up, and the string's letter above them."""
    if shown.fingers == "none" or fingered.is_continued or not fingered.stops:
        return []
    events: list[str] = list(_quarter_tone_events(fingered.note))
    if shown.fingers == "all" or fingered.is_needed:
        pairs = _stops_with_after(fingered)
        for place, (stop, after) in enumerate(pairs):
            is_crossed = "crossed" in fingered.ways and place == len(pairs) - 1
            events.append(_finger_event(stop, after, is_crossed))
    if fingered.shows_string and not fingered.note.is_grace:
        letters = "".join(
            _string_letter(instrument.string(stop.string_index).name, shown)
            for stop in sorted(fingered.stops, key=lambda stop: stop.string_index)
        )
        events.append(f"\\stringLetter {lilypond_string(letters, 8)}")
    return events


def _quarter_tone_events(note: Note) -> Sequence[str]:
    """Arrows that say that the key gives a tone a quarter-tone lower or higher than written."""
    found = {pitch.quarters for pitch in note.pitches if pitch.quarters}
    return ["\\quarterUp" if quarters > 0 else "\\quarterDown" for quarters in sorted(found)]


def _string_letter(name: str, shown: Shown) -> str:
    name = printed_name(name, shown.note_names)
    return name.replace("low ", "låga ") if shown.language == "sv" else name


def _stops_with_after(fingered: FingeredNote) -> list[tuple[Stop, Stop | None]]:
    """Stops from the lowest tone, each with the stop that replaces it during the note."""
    after = fingered.stops_after
    pairs: list[tuple[Stop, Stop | None]] = [
        (stop, after[place] if len(after) == len(fingered.stops) else None)
        for place, stop in enumerate(fingered.stops)
    ]
    return sorted(pairs, key=lambda pair: (pair[0].midi, pair[0].string_index))


def _finger_event(stop: Stop, after: Stop | None, is_crossed: bool) -> str:
    if after is not None and after.finger != stop.finger:
        return f"\\takenOver {stop.finger} {after.finger}"
    return f"\\crossed {stop.finger}" if is_crossed else f"-{stop.finger}"


def annotation_events(annotations: Sequence[Annotation]) -> list[str]:
    """Free texts of the tune, as quoted text and nothing else."""
    return [
        f"{_PLACEMENTS.get(annotation.placement, '^')}\\words "
        f"{lilypond_string(annotation.text, MOST_ANNOTATION_LETTERS)}"
        for annotation in annotations
        if annotation.text.strip()
    ]
