"""Sources: MusicXML by this program's own writer, and by music21's writer from what music21 reads
of that; real tunes are those of the corpus that music21 ships.

A tune goes out as MusicXML and comes in again, and must have the same tones, fingers and order of
playing. Tied notes are compared as one: the writer parts lengths that no note head has."""

from __future__ import annotations

from fractions import Fraction

from abc2midi_comparison import events_of_tune

from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Tune
from tunebook.model.voices import voice_as_tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.limits import DEFAULT_LIMITS
from tunebook.read.scores.score import score_as_abc
from tunebook.write.musicxml.score import tune_as_musicxml

Fingers = dict[tuple[Fraction, int], int]


def by_our_writer(arrangement: Arrangement) -> bytes:
    return tune_as_musicxml(arrangement).encode()


def by_music21(arrangement: Arrangement) -> bytes:
    from music21 import converter
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    text = tune_as_musicxml(arrangement)
    stream = converter.parse(text, format="musicxml", forceSource=True)
    return GeneralObjectExporter(stream).parse()


def read_back(data: bytes) -> Tune:
    text = score_as_abc(data, "tune.musicxml", DEFAULT_LIMITS).text
    return read_abc(text)[0]


def fingers_solved(arrangement: Arrangement) -> Fingers:
    """The finger of each tone that is struck, by time and pitch; grace notes left aside."""
    return {
        (one.note.onset, pitch.midi): stop.finger
        for one in arrangement.notes
        if not one.note.is_grace and one.stops
        for pitch, stop, is_held in zip(
            one.note.pitches, one.stops, one.note.is_tied_from_before, strict=True
        )
        if not is_held
    }


def fingers_pinned(tune: Tune) -> Fingers:
    return {
        (note.onset, pitch.midi): finger
        for bar in tune.bars
        for note in bar.notes
        if not note.is_grace and note.finger_pins
        for pitch, finger in zip(note.pitches, note.finger_pins, strict=True)
        if finger is not None
    }


def differences(arrangement: Arrangement, back: Tune) -> list[str]:
    """What of the tune did not come back as it went out."""
    tune = arrangement.tune
    found = [] if back.title == tune.title else ["title"]
    for name, own, other in (
        ("tones", *(events_of_tune(one, range(len(one.bars))) for one in (tune, back))),
        ("played", *(events_of_tune(one, one.played) for one in (tune, back))),
        ("grace notes", _grace_notes(tune), _grace_notes(back)),
        ("fingers", fingers_solved(arrangement), fingers_pinned(back)),
        ("keys", *([bar.key.alters for bar in one.bars] for one in (tune, back))),
        ("chords", [(one.onset, one.chord.symbol) for one in arrangement.chords], _chords(back)),
        ("words", _words(tune), _words(back)),
    ):
        if own != other:
            found.append(name)
    voices = [
        events_of_tune(voice_as_tune(tune, one), range(len(tune.bars))) for one in tune.voices
    ]
    others = [
        events_of_tune(voice_as_tune(back, one), range(len(back.bars))) for one in back.voices
    ]
    return found if voices == others else [*found, "voices"]


def _grace_notes(tune: Tune) -> list[tuple[int, ...]]:
    notes = (note for bar in tune.bars for note in bar.notes if note.is_grace)
    return [tuple(pitch.midi for pitch in note.pitches) for note in notes]


def trills(arrangement: Arrangement, back: Tune) -> tuple[list[int], list[int | None]]:
    """The fingers that trill, as they went out and as they came back."""
    out = [one.trill_finger for one in arrangement.notes if one.trill_finger]
    notes = (note for bar in back.bars for note in bar.notes)
    return out, [note.trill_pin for note in notes if note.trill_pin]


def proposals(arrangement: Arrangement, back: Tune) -> tuple[list[object], list[object]]:
    """Onset and probability of the chords that the program proposed."""
    out = [(one.onset, round(one.confidence, 3)) for one in arrangement.chords
           if one.source == "solved"]  # fmt: skip
    found = [
        (note.onset + delay, chord.solved_confidence)
        for bar in back.bars
        for note in bar.notes
        for delay, chord in [(Fraction(0), note.chord), *note.later_chords]
        if chord is not None and chord.solved_confidence is not None
    ]
    return out, sorted(found)


def _chords(tune: Tune) -> list[tuple[Fraction, str]]:
    notes = [note for bar in tune.bars for note in bar.notes]
    found = [(note.onset, note.chord.symbol) for note in notes if note.chord]
    found += [
        (note.onset + delay, one.symbol) for note in notes for delay, one in note.later_chords
    ]
    return sorted(found)


def _words(tune: Tune) -> list[str]:
    notes = (note for bar in tune.bars for note in bar.notes)
    return [one.text for note in notes for one in note.syllables if one is not None]


def is_changed_by_music21(tune: Tune) -> bool:
    """Whether music21's writer does not keep the tune. A note in a bar longer than its metre it
    cuts, and puts the second half at the beginning of the next bar, over the notes there; the
    fingers of a chord it gives to its tones in turn as if they stood from the lowest up."""
    is_long = any(0 < bar.meter.length < bar.duration for bar in tune.bars)
    chords = (note.pitches for bar in tune.bars for note in bar.notes if len(note.pitches) > 1)
    return is_long or any(list(one) != sorted(one, key=lambda pitch: pitch.midi) for one in chords)
