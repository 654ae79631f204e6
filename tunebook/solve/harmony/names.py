"""Spelling of solved chords in a key, and what their tones are."""

from __future__ import annotations

import functools

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan
from tunebook.model.choices import Quality
from tunebook.model.spelling import fifths_of, name_at, spell_in_key
from tunebook.model.tune import STEP_SEMITONES, ChordSymbol, Key, Pitch

_TRIADS: dict[Quality, tuple[int, ...]] = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "diminished": (0, 3, 6), "augmented": (0, 4, 8),
    "other": (0, 7),
}  # fmt: skip


def solved_symbol(
    pitch_class: int, quality: Quality, key: Key, place: SourcePlace, extension: str = ""
) -> ChordSymbol:
    """A chord of ours, spelled in ``key``; its text is its symbol."""
    step, alter, text = spelled_symbol(pitch_class, quality, key, extension)
    return ChordSymbol(
        place=place,
        text=text,
        root_step=step,
        root_alter=alter,
        quality=quality,
        extension=extension,
    )


@functools.lru_cache(maxsize=2048)
def spelled_symbol(
    pitch_class: int, quality: Quality, key: Key, extension: str = ""
) -> tuple[int, int, str]:
    """(step, alteration of the root, symbol) of a chord of ours in ``key``."""
    step, alter = spell_in_key(pitch_class, key)
    chord = ChordSymbol(
        place=SourcePlace(""),
        text="",
        root_step=step,
        root_alter=alter,
        quality=quality,
        extension=extension,
    )
    return step, alter, chord.symbol


def chord_classes(chord: ChordSymbol) -> tuple[int, ...]:
    """Pitch classes of the triad, root first, with a seventh at the end when it has one."""
    tones = list(_TRIADS[chord.quality])
    extension = chord.extension
    if extension.startswith("sus4") or extension == "sus":
        tones = [0, 5, 7]
    elif extension.startswith("sus2"):
        tones = [0, 2, 7]
    if extension.startswith("bb7"):
        tones.append(9)
    elif extension.startswith("maj"):
        tones.append(11)
    elif extension[:1] in ("7", "9") or extension[:2] in ("11", "13"):
        tones.append(10)
    return tuple((chord.root_class + tone) % 12 for tone in tones)


def says_chord(span: ChordSpan) -> bool:
    """Whether the span's shape says what chord it is: it has the root, and the third or what
    stands for it."""
    heard = {stop.midi % 12 for stop in span.shape}
    return set(chord_classes(span.chord)[:2]) <= heard


def bass_class(chord: ChordSymbol) -> int:
    """Pitch class of the lowest tone that the symbol asks for."""
    if chord.bass is None:
        return chord.root_class
    step, alter = chord.bass
    return (STEP_SEMITONES[step] + alter) % 12


def spell_tone(midi: int, chord: ChordSymbol) -> Pitch:
    """The pitch ``midi`` spelled as a tone of ``chord``: thirds, fifths and sevenths stand two,
    four and six steps over the root; other tones take the root's line of fifths."""
    pitch_class = midi % 12
    if chord.bass is not None and bass_class(chord) == pitch_class:
        return _pitch(midi, *chord.bass)
    for steps, tone in zip((0, 2, 4, 6), chord_classes(chord), strict=False):
        if tone == pitch_class:
            step = (chord.root_step + steps) % 7
            alter = (pitch_class - STEP_SEMITONES[step] + 6) % 12 - 6
            return _pitch(midi, step, alter)
    root = fifths_of(chord.root_step, chord.root_alter)
    offset = (pitch_class * 7 - root + 5) % 12 - 5
    return _pitch(midi, *name_at(root + offset))


def _pitch(midi: int, step: int, alter: int) -> Pitch:
    return Pitch((midi - alter - STEP_SEMITONES[step]) // 12 - 1, step, alter)
