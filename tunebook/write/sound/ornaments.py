"""Signs over a note as the short tones that a player makes of them.

Common practice, no source: a trill begins on the written note and goes to the tone above it in the
key, a mordent goes once to the tone below (or above, where the sign says so) and back, a turn winds
round the note from above. An ornament that has no room is left out.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from tunebook.model.tune import Key, Pitch

QUICK_S = 0.075
"""A tone of a trill or mordent: our judgement, some thirteen a second."""
# The first tones of a mordent or turn take no more than this of the note.
MOST_SHARE = Fraction(1, 2)

_BEGUN = {
    "uppermordent": (0, 1),
    "lowermordent": (0, -1),
    "turn": (1, 0, -1),
    "turnx": (1, 0, -1),
    "invertedturn": (-1, 0, 1),
    "invertedturnx": (-1, 0, 1),
    "roll": (0, 1, 0, -1),
}
ORNAMENTS = ("trill", *_BEGUN)


def quick_length(whole_notes_per_s: float) -> Fraction:
    """The length of a quick tone in whole notes, at a tempo."""
    return max(Fraction(1, 256), Fraction(QUICK_S * whole_notes_per_s).limit_denominator(256))


def neighbour(pitch: Pitch, steps: int, key: Key) -> Pitch:
    """The tone ``steps`` steps above ``pitch`` (below where negative) in ``key``."""
    octave, step = divmod(7 * pitch.octave + pitch.step + steps, 7)
    return Pitch(octave=octave, step=step, alter=key.alters[step])


def ornamented(
    pitch: Pitch, duration: Fraction, decorations: Collection[str], key: Key, quick: Fraction
) -> Sequence[tuple[Pitch, Fraction]]:
    """Return (tone, length in whole notes) of what is played for a note; their sum is
    ``duration``. ``quick`` is the length of a quick tone. A note without an ornament is one
    tone."""
    if "trill" in decorations:
        count = int(duration / quick)
        if count >= 3:
            above = neighbour(pitch, 1, key)
            count -= 1 - count % 2  # it ends on the written note
            length = duration / count
            return [(above if number % 2 else pitch, length) for number in range(count)]
        return [(pitch, duration)]
    for name, steps in _BEGUN.items():
        if name in decorations:
            length = min(quick, duration * MOST_SHARE / len(steps))
            first = [(neighbour(pitch, n, key) if n else pitch, length) for n in steps]
            return [*first, (pitch, duration - length * len(steps))]
    return [(pitch, duration)]
