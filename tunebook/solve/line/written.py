"""A frame written as notes, in the bars of the tune that it is the frame of."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from tunebook.model.spelling import with_signs
from tunebook.model.tune import Bar, ChordSymbol, Note, Pitch, Tune
from tunebook.solve.parts import JUMPS

KEPT = JUMPS | {"fermata", "invertedfermata", "breath", "shortphrase", "mediumphrase", "longphrase"}
"""Decorations of notes that say how all play."""
_JUMP_WORDS = re.compile(
    r"\W*(d\.?\s?[cs]\b|da\s?capo|dal\s?segno|((fine|end|slut|((to|al|da)\s+)?coda|segno)\W*$))",
    re.IGNORECASE,
)
"""Words over a note that say the same."""

WrittenTone = tuple[Pitch | None, Fraction, Fraction, bool]
"""Pitch (None for a rest), onset, end, and whether it is tied to the tone before."""


def written_frame(
    tune: Tune, sections: Sequence[tuple[Sequence[Bar], Sequence[WrittenTone]]]
) -> Tune:
    """Return the tune with these tones in its bars; a bar without any keeps its own notes."""
    bars = {bar.index: bar for bar in tune.bars}
    for own, tones in sections:
        for bar in own:
            inside = [
                (number, tone)
                for number, tone in enumerate(tones)
                if bar.onset <= tone[1] < bar.onset + bar.duration
            ]
            if any(tone[0] is not None for _, tone in inside):
                tied = {at for at, tone in enumerate(tones) if tone[3]}
                notes = [_note(bar, tone, is_tied_on=number + 1 in tied) for number, tone in inside]
                bars[bar.index] = replace(bar, notes=tuple(notes))
    return replace(tune, bars=with_signs([bars[bar.index] for bar in tune.bars]))


def _note(bar: Bar, tone: WrittenTone, *, is_tied_on: bool) -> Note:
    """A note of the frame, with what stands in the tune while it sounds."""
    pitch, onset, end, is_tied = tone
    under = [note for note in bar.notes if onset <= note.onset < end]
    begun = [note for note in bar.notes if note.onset <= onset and not note.is_grace]
    source = next((note for note in under if pitch in note.pitches), None)
    source = source or (under[0] if under else begun[-1])
    first, later = _chords(under, onset)
    return Note(
        place=source.place,
        pitches=() if pitch is None else (pitch,),
        onset=onset,
        duration=end - onset,
        written=end - onset,
        ties=() if pitch is None else (is_tied_on,),
        is_tied_from_before=() if pitch is None else (is_tied,),
        decorations=tuple(
            dict.fromkeys(name for note in under for name in note.decorations if name in KEPT)
        ),
        annotations=tuple(
            words for note in under for words in note.annotations if _JUMP_WORDS.match(words.text)
        ),
        chord=first,
        drone_pin=next((note.drone_pin for note in reversed(under) if note.drone_pin), None),
        later_chords=later,
        remark="; ".join(note.remark for note in under if note.remark),
    )


def _chords(
    notes: Sequence[Note], onset: Fraction
) -> tuple[ChordSymbol | None, tuple[tuple[Fraction, ChordSymbol], ...]]:
    """The symbols of these notes as those of one note that begins at ``onset``."""
    found: dict[Fraction, ChordSymbol] = {}
    for note in notes:
        if note.is_grace:
            continue
        if note.chord is not None:
            found.setdefault(note.onset - onset, note.chord)
        for delay, chord in note.later_chords:
            found.setdefault(note.onset - onset + delay, chord)
    first = found.pop(Fraction(0), None)
    return first, tuple(sorted(found.items(), key=lambda one: one[0]))
