"""The line of chord names above the melody, in our own spelling."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction

from tunebook.model.arrangement import ChordSpan
from tunebook.model.names import printed_tone
from tunebook.model.tune import ChordSymbol
from tunebook.write.leaves import Written, make_leaves
from tunebook.write.note_values import is_dyadic, split_value, tuplet_for
from tunebook.write.printed_bars import PrintedBar, PrintedBars
from tunebook.write.safe_text import lilypond_string
from tunebook.write.text_tree import Component, Group, context

DOUBTFUL_BELOW = 0.5
MOST_CHORD_LETTERS = 24
_ACCIDENTALS = {
    -2: "\\chord-flat \\chord-flat ",
    -1: "\\chord-flat ",
    1: "\\chord-sharp ",
    2: "\\chord-sharp \\chord-sharp ",
}
_QUALITIES = {"minor": "m", "diminished": "dim", "augmented": "aug"}
_EXTENSION = re.compile(r"(?:maj|add|sus|no|omit|alt|[b#]?[0-9]{1,2}|[()+/-])*")
_ACCIDENTAL = re.compile(r"([b#])(?=[0-9])")


def chosen_chords(spans: Sequence[ChordSpan], chords: str) -> tuple[ChordSpan, ...]:
    """The chords that an edition prints; ``chords`` is none, tune (the tune's own) or all."""
    if chords == "none":
        return ()
    return tuple(span for span in spans if chords == "all" or span.source == "tune")


def chord_markup(
    chord: ChordSymbol,
    *,
    is_doubtful: bool = False,
    is_solved: bool = False,
    note_names: str = "b",
) -> str:
    """A chord name as markup: root, quality, the rest raised; a chord that is spelled in no known
    way is printed as quoted text. A chord of the program's own choice is slanted and light, a
    doubtful one stands in brackets. ``note_names`` is one of NOTE_NAMES."""
    if chord.quality == "other" and not chord.extension:
        parts = [lilypond_string(chord.text or chord.symbol, MOST_CHORD_LETTERS)]
    else:
        parts = _name_parts(chord, note_names)
    if is_doubtful or chord.is_optional:
        parts = ['"("', *parts, '")"']
    slant = "\\italic \\override #'(font-series . normal) " if is_solved else ""
    return f"\\markup {slant}\\concat {{ {' '.join(parts)} }}"


def _name_parts(chord: ChordSymbol, note_names: str) -> list[str]:
    parts = [_tone(chord.root_step, chord.root_alter, note_names)]
    quality, extension = _quality_and_rest(chord)
    if quality:
        parts.append(f'"{quality}"')
    if extension and _EXTENSION.fullmatch(extension):
        parts.append(f"\\super \\concat {{ {_raised(extension)} }}")
    elif extension:
        parts.append(lilypond_string(extension, MOST_CHORD_LETTERS))
    if chord.bass is not None:
        parts.append(f'"/" {_tone(*chord.bass, note_names)}')
    return parts


def _quality_and_rest(chord: ChordSymbol) -> tuple[str, str]:
    """The sign of the triad and what stands raised: a diminished triad with a minor seventh is
    read as m7b5, one with a diminished seventh as dim7."""
    if chord.quality == "diminished" and chord.extension.startswith("7"):
        return "m", "7b5" + chord.extension[1:]
    if chord.quality == "diminished" and chord.extension.startswith("bb7"):
        return "dim", chord.extension[2:]
    return _QUALITIES.get(chord.quality, ""), chord.extension


def _raised(extension: str) -> str:
    """The pieces of an extension, its accidentals as signs."""
    pieces = _ACCIDENTAL.split(extension)
    signs = {"b": "\\chord-flat", "#": "\\chord-sharp"}
    return " ".join(signs.get(piece) or lilypond_string(piece) for piece in pieces if piece)


def _tone(step: int, alter: int, note_names: str) -> str:
    letter, alter = printed_tone(step, alter, note_names)
    return f'"{letter}" {_ACCIDENTALS.get(alter, "")}'.rstrip()


def chord_line(spans: Sequence[ChordSpan], printed: PrintedBars, note_names: str = "b") -> Group:
    """The line of chord names, one group a bar; ``note_names`` is one of NOTE_NAMES."""
    bars: list[Component] = []
    ordered = sorted(spans, key=lambda span: span.onset)
    starts = [span.onset for span in ordered]
    for place, one in enumerate(printed.bars):
        repeats_name = place > 0 and (
            printed.bars[place - 1].ends_line
            or bool(one.bar.ending)
            or one.bar.sign_before in ("|:", "::")
        )
        # The one before may reach into the bar.
        first = max(0, bisect_left(starts, one.onset) - 1)
        near = ordered[first : bisect_left(starts, one.end)]
        bars.append(Group(_bar_names(one, near, repeats_name, note_names)))
    return context("ChordNames", "Chords", bars)


def _bar_names(
    one: PrintedBar, spans: Sequence[ChordSpan], repeats_name: bool, note_names: str
) -> list[Component]:
    leaves: list[Component] = []
    now, bar_end = one.onset, one.end
    for span in spans:
        start, end = max(span.onset, one.onset), min(span.onset + span.duration, bar_end)
        if start >= end or start < now:
            continue
        if start > now:
            leaves += make_leaves("s", start - now)
        is_named = start == span.onset or (repeats_name and span.source != "tune")
        leaves += (
            _name(span, end - start, note_names) if is_named else make_leaves("s", end - start)
        )
        now = end
    if now < bar_end:
        leaves += make_leaves("s", bar_end - now)
    return leaves


def _name(span: ChordSpan, length: Fraction, note_names: str) -> list[Component]:
    """A rest that prints as the chord's name, and blanks for what one rest cannot last."""
    markup = chord_markup(
        span.chord,
        is_doubtful=span.confidence < DOUBTFUL_BELOW,
        is_solved=span.source == "solved",
        note_names=note_names,
    )
    odd, power = (1, 1) if is_dyadic(length) else tuplet_for(length)
    first = split_value(length * Fraction(odd, power))[0] * Fraction(power, odd)
    leaves = make_leaves("r", first, Written(before=[f"\\set noChordSymbol = {markup}"]))
    if length > first:
        leaves += make_leaves("s", length - first)
    return leaves
