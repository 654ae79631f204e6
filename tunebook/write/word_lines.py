"""Words under the notes, each with its note's own length, so that slurs and ties move nothing."""

from __future__ import annotations

from tunebook.model.tune import Note, Syllable
from tunebook.write.note_values import scaled_value
from tunebook.write.printed_bars import PrintedBars, length_of
from tunebook.write.safe_text import lilypond_string

MOST_SYLLABLE_LETTERS = 60
MOST_LINES = 12


def word_lines(printed: PrintedBars) -> list[str]:
    """One Lyrics context a line of words, as LilyPond text; none when there are no words."""
    count = max((len(note.syllables) for one in printed.bars for note in one.bar.notes), default=0)
    return [_word_line(printed, line) for line in range(min(count, MOST_LINES))]


def _word_line(printed: PrintedBars, line: int) -> str:
    bars: list[str] = []
    for one in printed.bars:
        events = [_event(note, line) for note in one.bar.notes if not note.is_grace]
        missing = one.length - length_of(one.bar.notes)
        if missing > 0:
            events.append(f"\\skip {scaled_value(missing)}")
        bars.append("    " + " ".join(events))
    lines = "\n".join(bars)
    return f'\\new Lyrics = "Words{line + 1}" \\lyricmode {{\n{lines}\n}}'


def _event(note: Note, line: int) -> str:
    syllable: Syllable | None = note.syllables[line] if line < len(note.syllables) else None
    length = scaled_value(note.duration)
    if syllable is None or not syllable.text.strip():
        return f"\\skip {length}"
    text = f"{lilypond_string(syllable.text, MOST_SYLLABLE_LETTERS)}{length}"
    if syllable.is_joined:
        return f"{text} --"
    return f"{text} __" if syllable.is_extended else text
