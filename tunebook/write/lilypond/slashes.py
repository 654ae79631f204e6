"""A staff for those who accompany: the first bars of the melody as a cue, then a slash for each
beat under the chord that holds.

A bar before the first whole one has no slashes, and neither has what is left of a bar after its
last whole beat. Signs that say how all go on, fermatas, dynamics and words stand with the slash in
whose time they begin, in a bar without slashes at their own time; what is the melody player's own
(bowings, ornaments, fingers, remarks) is left to the melody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Bar, Note, Pitch
from tunebook.write.lilypond.bars import MarkCommands, PrintedBar, PrintedBars
from tunebook.write.lilypond.leaves import Group
from tunebook.write.lilypond.marks import DYNAMICS, WORDS_AT_END, Shown
from tunebook.write.lilypond.score import MelodyWriter
from tunebook.write.lilypond.voices import CueWriter, silent_but

_CUE_BARS = 2
_QUARTER = Fraction(1, 4)
_FOR_ALL = frozenset(
    {"segno", "coda", "fermata", "invertedfermata", "rit.", "accel.", *WORDS_AT_END, *DYNAMICS}
) - {"crescendo(", "crescendo)", "diminuendo(", "diminuendo)"}
# Any: a slash stands in the middle of the staff.
_PITCH = Pitch(4, 6)
_SQUASHED = " \\with { \\consists Pitch_squash_engraver }"
_LOOK = (
    "\\improvisationOn",
    "\\omit Stem",
    "\\omit Flag",
    "\\omit Dots",
    "\\override NoteHead.duration-log = 2",
)


def slashed(printed: PrintedBars) -> PrintedBars:
    """The bars with a note for each beat in place of what they hold."""
    bars = tuple(replace(one, bar=replace(one.bar, notes=_beats(one))) for one in printed.bars)
    return replace(printed, bars=bars)


def _beats(one: PrintedBar) -> tuple[Note, ...]:
    bar = one.bar
    beat = beat_of(bar)
    count = one.length // beat
    if bar.is_pickup or not count:
        return _signs_alone(bar)
    onsets = [one.onset + number * beat for number in range(count)]
    return tuple(
        _with_signs(_slash(bar, onset, beat), _begun(one, onset, None if last else onset + beat))
        for onset, last in zip(onsets, [*[False] * (count - 1), True], strict=False)
    )


def _signs_alone(bar: Bar) -> tuple[Note, ...]:
    """Blank notes with the signs of the bar's own; none where it has no signs."""
    timed = [note for note in bar.notes if not note.is_grace]
    blanks = tuple(_with_signs(_blank(note), [note]) for note in timed)
    return blanks if any(one.decorations or one.annotations for one in blanks) else ()


def _blank(note: Note) -> Note:
    return Note(
        place=note.place,
        pitches=(),
        onset=note.onset,
        duration=note.duration,
        written=note.written,
        is_invisible=True,
        tuplet=note.tuplet,
    )


def _begun(one: PrintedBar, onset: Fraction, end: Fraction | None) -> list[Note]:
    """The notes that begin in a slash's time; in that of the last, to the end of the bar."""
    return [
        note
        for note in one.bar.notes
        if not note.is_grace and note.onset >= onset and (end is None or note.onset < end)
    ]


def _with_signs(slash: Note, under: Sequence[Note]) -> Note:
    names = [name for note in under for name in note.decorations if name in _FOR_ALL]
    loud = [name for name in names if name in DYNAMICS]
    kept = [name for name in names if name not in DYNAMICS or name == loud[0]]
    words = tuple(words for note in under for words in note.annotations)
    return replace(slash, decorations=tuple(dict.fromkeys(kept)), annotations=words)


def strokes(arrangement: Arrangement, printed: PrintedBars) -> PrintedBars:
    """The bars with the notes of the accompaniment."""
    by_bar: dict[int, list[Note]] = {}
    for one in arrangement.accompaniment:
        by_bar.setdefault(one.bar_index, []).append(one.note)
    bars = tuple(
        replace(one, bar=replace(one.bar, notes=tuple(by_bar.get(one.bar.index, ()))))
        for one in printed.bars
    )
    return replace(printed, bars=bars)


def beat_of(bar: Bar) -> Fraction:
    """The beat of the bar's metre in whole notes, as accompaniments have it: the note of the lower
    number, three of them in compound metres; a quarter where there is no metre."""
    if bar.meter.is_free:
        return _QUARTER
    return Fraction(3 if bar.meter.is_compound else 1, bar.meter.unit)


def _slash(bar: Bar, onset: Fraction, beat: Fraction) -> Note:
    return Note(
        place=bar.place,
        pitches=(_PITCH,),
        onset=onset,
        duration=beat,
        written=beat,
        shown_accidentals=(None,),
        ties=(False,),
        is_tied_from_before=(False,),
        finger_pins=(None,),
    )


def opening_cue(arrangement: Arrangement, melody: PrintedBars, shown: Shown) -> CueWriter:
    """The first bars of ``melody``, with the notes before them; where all else stands in a bass
    clef, in a treble clef, which spares a fiddle's tune its many ledger lines."""
    if shown.clef == "bass":
        shown = replace(shown, clef="treble")
    cues: set[int] = set()
    full = 0
    for place, one in enumerate(melody.bars):
        if full == _CUE_BARS:
            break
        full += not one.bar.is_pickup
        if any(note.pitches for note in one.bar.notes):
            cues.add(place)
    return CueWriter(arrangement, silent_but(melody, cues), shown)


class SlashWriter(MelodyWriter):
    """Builds the staff of slashes, with all that stands with the melody for all staves."""

    def __init__(
        self,
        arrangement: Arrangement,
        printed: PrintedBars,
        shown: Shown,
        marks: MarkCommands | None = None,
    ) -> None:
        super().__init__(replace(arrangement, notes=(), accents=()), printed, shown, marks)

    def staff(self) -> Group:
        """The staff, one group a bar."""
        staff = super().staff()
        (voice,) = staff.parts
        assert isinstance(voice, Group)
        voice.before[0] += _SQUASHED
        voice.opening += _LOOK
        return staff
