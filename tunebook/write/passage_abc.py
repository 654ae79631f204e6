"""Some bars of a tune as an ABC tune of their own, to be marked by hand (The ABC Music Standard
2.1): tones, lengths, ties, slurs and tuplets; grace notes, chords and words are left aside."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tunebook.model.tune import Bar, Key, Note, Pitch
from tunebook.write.abc_signs import key_text, length_text, sign_text, tone_text

UNIT = Fraction(1, 8)


def passage_as_abc(
    number: int, title: str, bars: Sequence[Bar], quarters: float, remarks: Sequence[str]
) -> str:
    """The bars as a tune with this number and title, at so many quarter notes a minute;
    ``remarks`` stand in its head as r: fields, which other programs pass over."""
    first = bars[0]
    head = [f"X:{number}", f"T:{_plain(title)}", *(f"r:{_plain(one)}" for one in remarks)]
    head += [f"M:{first.meter.sign or 'none'}", f"L:{UNIT}", f"Q:1/4={quarters:.0f}"]
    head.append(f"K:{key_text(first.key)}")
    music = " | ".join(_bar_text(bar) for bar in bars)
    return "\n".join([*head, f"{music} |]", ""])


def _plain(text: str) -> str:
    """A field's text, which ends where its line does."""
    return "".join(letter if letter.isprintable() else " " for letter in text).replace("%", "")


def _bar_text(bar: Bar) -> str:
    heard: dict[tuple[int, int], int] = {}
    text = ""
    for note in bar.notes:
        if not note.is_grace:
            text += _note_text(note, bar.key, heard) + ("" if note.is_joined else " ")
    return text.rstrip()


def _note_text(note: Note, key: Key, heard: dict[tuple[int, int], int]) -> str:
    length = length_text(note.written / UNIT)
    tuplet = note.tuplet
    start = ""
    if tuplet is not None and tuplet.position == 0:
        start = f"({tuplet.p}:{tuplet.q}:{tuplet.size}"
    if note.is_rest:
        return f"{start}z{length}"
    tones = "".join(_tone(pitch, key, heard) for pitch in note.pitches)
    tones = f"[{tones}]" if len(note.pitches) > 1 else tones
    tie = "-" if note.ties and all(note.ties) else ""
    return f"{start}{'(' * note.slurs_opened}{tones}{length}{tie}{')' * note.slurs_closed}"


def _tone(pitch: Pitch, key: Key, heard: dict[tuple[int, int], int]) -> str:
    """A tone, with a sign where the key or the bar so far has it otherwise."""
    place = pitch.step, pitch.octave
    sign = ""
    if heard.get(place, key.alters[pitch.step]) != pitch.alter:
        sign = sign_text(pitch.alter)
        heard[place] = pitch.alter
    return sign + tone_text(pitch)
