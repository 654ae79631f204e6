"""Bring a tune's choices, and an edition's, into the tune as if written in it.

Bring a tune's choices from tunes.toml into the tune: pins and tempo, as if written in it.

A tune without its grace notes, for editions that leave them out.
"""

from __future__ import annotations

from dataclasses import replace

from tunebook.errors import Message, SourcePlace
from tunebook.model.book import TuneChoice
from tunebook.model.names import bar_name
from tunebook.model.tune import Bar, Note, Tune
from tunebook.model.voices import with_all_bars
from tunebook.read.settings.chord_line import with_chord_line


def apply_choice(tune: Tune, choice: TuneChoice | None) -> tuple[Tune, tuple[Message, ...]]:
    """Return the tune with the choice's title, chords and pins, and a message for what does not fit
    it.

    Bars are counted as a player counts (pickup 0), notes from 1 within the bar, grace notes and
    rests left out.
    """
    if choice is None:
        return tune, ()
    tune, said = _with_title_and_chords(tune, choice)
    if not (choice.fingers or choice.strings):
        return tune, said
    messages = list(said)
    bars = {bar.index: bar for bar in tune.bars}
    wanted: list[tuple[int, int, int | str]] = [*choice.fingers, *choice.strings]
    for number, position, value in wanted:
        found = _find_note(tuple(bars.values()), number, position)
        if found is None:
            messages.append(_nothing_there(tune, choice, number, position))
            continue
        bar, at = found
        notes = list(bar.notes)
        notes[at] = _pinned(notes[at], value)
        bars[bar.index] = replace(bar, notes=tuple(notes))
    return replace(tune, bars=tuple(bars[bar.index] for bar in tune.bars)), tuple(messages)


def _with_title_and_chords(tune: Tune, choice: TuneChoice) -> tuple[Tune, tuple[Message, ...]]:
    if choice.title and choice.title.strip():
        tune = replace(tune, titles=(choice.title.strip(), *tune.titles[1:]))
    if choice.chords is None:
        return tune, ()
    place = choice.place or SourcePlace(tune.file)
    try:
        return with_chord_line(tune, choice.chords, place), ()
    except ValueError as error:
        what, _, remedy = str(error).partition("; ")
        what = f"chords for {tune.title!r}: {what}"
        return tune, (Message(place, "setting", what, f"{remedy}; the tune's own are used"),)


def _find_note(bars: tuple[Bar, ...], number: int, position: int) -> tuple[Bar, int] | None:
    counted = 0
    for bar in bars:
        if bar.number != number:
            continue
        for at, note in enumerate(bar.notes):
            if note.is_grace or note.is_rest:
                continue
            counted += 1
            if counted == position:
                return bar, at
    return None


def _pinned(note: Note, value: int | str) -> Note:
    if isinstance(value, str):
        return replace(note, string_pin=value)
    pins = [*note.finger_pins, *([None] * (len(note.pitches) - len(note.finger_pins)))]
    pins[0] = value
    return replace(note, finger_pins=tuple(pins))


def _nothing_there(tune: Tune, choice: TuneChoice, number: int, position: int) -> Message:
    what = f"pin for {tune.title!r}: there is no note {position} in {bar_name(number)}"
    place = choice.place or SourcePlace(tune.file)
    return Message(place, "pin", what, "count bars from the pickup (0) and notes from 1")


def without_grace_notes(tune: Tune) -> Tune:
    """Return the tune with grace notes taken out; slurs that began or ended on one move to the
    note beside it, and a slur left on a single note goes."""
    return with_all_bars(tune, lambda bars: tuple(_plain_bar(bar) for bar in bars))


def _plain_bar(bar: Bar) -> Bar:
    if not any(note.is_grace for note in bar.notes):
        return bar
    kept: list[Note] = []
    opened = 0
    for note in bar.notes:
        if note.is_grace:
            opened += note.slurs_opened
            closed = note.slurs_closed
            if closed and opened:
                closed, opened = max(0, closed - opened), max(0, opened - closed)
            if closed and kept:
                kept[-1] = replace(kept[-1], slurs_closed=kept[-1].slurs_closed + closed)
            continue
        starts, ends = note.slurs_opened + opened, note.slurs_closed
        if opened and ends:
            paired = min(opened, ends)
            starts, ends = starts - paired, ends - paired
        kept.append(replace(note, slurs_opened=starts, slurs_closed=ends))
        opened = 0
    return replace(bar, notes=tuple(kept))
