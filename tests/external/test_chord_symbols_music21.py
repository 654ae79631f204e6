"""Source: the module music21.harmony, an independent reader of chord symbols: every spelling that
ours reads has the same root there, the same third and fifth, and the same bass.

That module writes a flat as "-". Where it does not know a spelling, or reads it otherwise, it is
given the spelling beside it in RESPELLED, with the reason; nothing is left unchecked.
"""

from __future__ import annotations

import re
from functools import cache

from tunebook.errors import SourcePlace
from tunebook.model.tune import STEP_SEMITONES, ChordSymbol
from tunebook.read.abc.symbols import read_chord_symbol

PLACE = SourcePlace("tune.abc", 1, 1)
ROOTS = [
    "C", "C#", "Db", "D", "D#", "Eb", "E", "F", "F#", "Gb", "G", "G#", "Ab", "A", "A#", "Bb",
    "B",
]  # fmt: skip
KNOWN = [
    "m", "min", "M", "maj", "7", "m7", "min7", "maj7", "M7", "dim", "o", "dim7", "o7", "m7b5",
    "ø7", "min7b5", "aug", "+", "aug7", "7#5", "6", "m6", "min6", "9", "m9", "M9", "11", "m11",
    "13", "m13", "sus", "sus2", "sus4", "7sus4", "5", "2", "4", "add9", "madd9", "add2", "7b9",
    "7#9", "mM7", "maj7#9",
]  # fmt: skip
RESPELLED = {
    # unknown there
    "mi": "m",
    "minor": "m",
    "Maj": "maj",
    "major": "maj",
    "Maj7": "maj7",
    "ma7": "maj7",
    "Δ7": "maj7",
    "^7": "maj7",
    "°": "dim",
    "°7": "dim7",
    "ø": "ø7",
    "7+5": "7#5",
    "maj9": "M9",
    "maj13": "M7",
    "9sus4": "7sus4",
    "6/9": "6",
    "mmaj7": "mM7",
    "m(maj7)": "mM7",
    "(add9)": "add9",
    "7alt": "7",
    # a flat there, minor here
    "-": "m",
    # read there as a second and a sixth without a third
    "69": "6",
}
KINDS = ["", *KNOWN, *RESPELLED]
TRIADS = {(4, 7): "major", (3, 7): "minor", (3, 6): "diminished", (4, 8): "augmented"}
_PARTS = re.compile(r"([A-G][#b]?)(.*?)((?:/[A-G][#b]?)?)$")


def reading_of(symbol: str) -> ChordSymbol:
    chord = read_chord_symbol(symbol, PLACE)
    assert chord is not None, f"{symbol} is not read"
    return chord


def ours(chord: ChordSymbol) -> tuple[int, str, int]:
    """Root class, quality and bass class of our reading."""
    bass = chord.root_class
    if chord.bass is not None:
        bass = (STEP_SEMITONES[chord.bass[0]] + chord.bass[1]) % 12
    return chord.root_class, chord.quality, bass


@cache
def theirs(symbol: str) -> tuple[int, str, int]:
    """Root class, quality and bass class as music21 has them."""
    from music21 import harmony

    match = _PARTS.match(symbol)
    assert match is not None
    head, kind, slash = match.groups()
    spelled = head.replace("b", "-") + RESPELLED.get(kind, kind) + slash.replace("b", "-")
    chord = harmony.ChordSymbol(spelled)
    root = chord.root().pitchClass
    tones = {(pitch.pitchClass - root) % 12 for pitch in chord.pitches}
    # The major third first: over it, a sharp ninth sounds like the minor one.
    third = 4 if 4 in tones else 3
    fifth = next((fifth for fifth in (7, 6, 8) if fifth in tones), 7)
    has_third = bool(tones & {3, 4})
    quality = TRIADS[third, fifth] if has_third else "other"
    return root, quality, chord.bass().pitchClass


def test_every_spelling_on_every_root_means_the_same_chord() -> None:
    spellings = [root + kind for root in ROOTS for kind in KINDS]
    wrong = {
        spelling: (ours(chord), theirs(spelling))
        for spelling, chord in zip(spellings, map(reading_of, spellings), strict=True)
        if ours(chord) != theirs(spelling)
    }
    assert not wrong, "spelling: ours, theirs"


def test_bass_is_the_same() -> None:
    for symbol in ("D/F#", "C/G", "Am/G", "G7/B", "Bb/D", "F#m/C#", "Eb/Bb", "Ddim/F"):
        assert ours(reading_of(symbol)) == theirs(symbol), symbol


def test_our_own_spelling_of_a_symbol_means_the_same_chord_and_reads_back_as_the_same() -> None:
    for spelling in (root + kind for root in ("C", "F#", "Bb") for kind in KINDS):
        chord = reading_of(spelling)
        assert ours(chord) == theirs(chord.symbol), (spelling, chord.symbol)
        again = reading_of(chord.symbol)
        assert (ours(again), again.extension) == (ours(chord), chord.extension), spelling
