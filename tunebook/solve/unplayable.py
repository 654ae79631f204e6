"""What of a tune cannot be played as it is written, in one message for each cause.

No key gives a quarter-tone: it is fingered as the key next to it, and said."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.errors import Message
from tunebook.model.instrument import Instrument
from tunebook.model.names import bars_in_words
from tunebook.model.tune import Tune
from tunebook.solve.fingering.demands import Event, where
from tunebook.solve.fingering.postures import tone_places


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


_MOST_NAMES = 8


def unplayable_messages(
    tune: Tune, events: Sequence[Event], instrument: Instrument
) -> list[Message]:
    """Why events have no posture at all: tones outside the compass, and tones that cannot be held
    together. Each message stands at its first event."""
    title = f"{instrument.title} tuned {instrument.tuning_name}"
    outside: list[Event] = []
    names: dict[int, str] = {}
    together: list[Event] = []
    for event in events:
        missing = [p for p in event.note.pitches if not tone_places(instrument, p.midi)]
        names.update((pitch.midi, pitch.name) for pitch in missing)
        (outside if missing else together).append(event)
    messages = []
    if outside:
        tones = [names[midi] for midi in sorted(names)]
        listed = " ".join([*tones[:_MOST_NAMES], *["..."] * (len(tones) > _MOST_NAMES)])
        verb = "is" if len(tones) == 1 else "are"
        what = f"{_bars(tune, outside)}: {listed} {verb} outside the compass of the {title}"
        remedy = "transpose the tune or leave it out"
        messages.append(Message(outside[0].note.place, "compass", what, remedy))
    if together:
        if len(together) == 1:
            what = f"{where(tune, together[0])}: these tones"
        else:
            what = f"{_bars(tune, together)}: the tones of {len(together)} chords"
        what += f" cannot be held together on the {title}"
        messages.append(
            Message(together[0].note.place, "double-stop", what, "leave one of them out")
        )
    return messages


def broken_tie_messages(tune: Tune, events: Sequence[Event]) -> list[Message]:
    """That tied tones are struck again, since the hand has to leave their keys."""
    if not events:
        return []
    if len(events) == 1:
        what = f"{where(tune, events[0])}: the tied tone cannot stay where it is"
        return [Message(events[0].note.place, "tie", what, "it is struck again")]
    what = f"{_bars(tune, events)}: {len(events)} tied tones cannot stay on their keys"
    return [Message(events[0].note.place, "tie", what, "they are struck again")]


def _bars(tune: Tune, events: Sequence[Event]) -> str:
    return bars_in_words(tune.bars[event.bar].number for event in events)
