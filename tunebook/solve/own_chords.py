"""A tune's own chord symbols as spans of time."""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.arrangement import ChordSpan
from tunebook.model.tune import ChordSymbol, Tune

LEAST_SYMBOLS = 2
"""A tune with fewer symbols than this is given a harmony: a single "A" is a part's name more often
than the only chord; our judgement."""


def own_chords(tune: Tune) -> tuple[ChordSpan, ...]:
    """The tune's chord symbols, each lasting until the next one or the end; empty without any.

    A numbered ending that begins without a symbol goes on with the chord in force where the first
    ending began, since that is the bar played before it.
    """
    marks = _marks(tune)
    if sum(1 for *_, is_repeated in marks if not is_repeated) < LEAST_SYMBOLS:
        return ()
    end = max((bar.onset + bar.duration for bar in tune.bars), default=Fraction(0))
    spans = []
    for index, (bar_index, onset, chord, _) in enumerate(marks):
        until = marks[index + 1][1] if index + 1 < len(marks) else end
        if until > onset:
            spans.append(ChordSpan(bar_index, onset, until - onset, chord))
    return tuple(spans)


def _marks(tune: Tune) -> list[tuple[int, Fraction, ChordSymbol, bool]]:
    """(bar, onset, chord, is repeated from before) of each symbol in written order."""
    marks: list[tuple[int, Fraction, ChordSymbol, bool]] = []
    at_branch: ChordSymbol | None = None
    in_ending = False
    for bar in tune.bars:
        symbols = [
            (note.onset, note.chord)
            for note in bar.notes
            if note.chord is not None and not note.is_grace
        ]
        current = marks[-1][2] if marks else None
        if bar.ending:
            if not in_ending or 1 in bar.ending:
                at_branch = current
            elif (
                at_branch is not None
                and at_branch != current
                and (not symbols or symbols[0][0] > bar.onset)
            ):
                marks.append((bar.index, bar.onset, at_branch, True))
            in_ending = True
        elif bar.sign_before in ("|:", "::") or bar.part:
            in_ending = False
        for onset, chord in symbols:
            marks.append((bar.index, onset, chord, False))
    return marks
