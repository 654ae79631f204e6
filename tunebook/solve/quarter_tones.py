"""Quarter-tones: no key gives them, so they are fingered as the key next to them, and said."""

from __future__ import annotations

from tunebook.errors import Message
from tunebook.model.tune import Tune


def quarter_tone_messages(tune: Tune) -> tuple[Message, ...]:
    """One message for a tune with quarter-tones, at the first of them."""
    found = [
        (note, pitch)
        for bar in tune.bars
        for note in bar.notes
        for pitch in note.pitches
        if pitch.quarters
    ]
    if not found:
        return ()
    note, pitch = found[0]
    way = "above" if pitch.quarters > 0 else "below"
    count = f"{len(found)} quarter-tones are" if len(found) > 1 else "a quarter-tone is"
    what = f"{count} fingered as the key next to them (here a quarter-tone {way} {pitch.name})"
    if len(found) == 1:
        what = what.replace("next to them", "next to it")
    return (Message(note.place, "quarter-tone", what, "an arrow marks them; play them by ear"),)
