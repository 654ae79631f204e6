"""Choices: the closed lists of words that settings, editions and functions take, each named once.

A type says what may stand in a value; the tuple beside it lists the same words where a program
walks through them or tells a user what there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, TypeVar, get_args

from tunebook.errors import SettingError

Choice = TypeVar("Choice", bound=str)

Drones = Literal["none", "open", "held", "substitution"]
"""No drone, open strings only, keys too, or keys that other fingers may take over."""
DroneStyle = Literal["staff", "line"]
"""Drones on a small staff of their own, or as a letter and a line under the melody's."""
Accents = Literal["none", "melody", "drone"]
"""Double stops on long and accented notes: none, in small heads on the melody's staff, or with the
drones."""
Chords = Literal["none", "tune", "all"]
"""No chords, the tune's own, or solved ones where the tune has none."""
Line = Literal["full", "plain", "frame", "frame and full"]
"""A tune as it is written, without its ornaments, the frame of it, or that over all of it."""
Fit = Literal["print as written", "transpose", "leave out"]
"""What becomes of a tune that goes beyond an edition's limits."""
Fingers = Literal["all", "needed", "none"]
"""Finger numbers on every note, where a player could not know them, or nowhere."""
VoicesShown = Literal["melody", "both", "second"]
"""The melody alone, all voices in one system, or a part for the second voice alone."""
BookPart = Literal[
    "title page", "contents", "signs", "instrument", "practice", "chords", "ladder", "titles",
    "types", "keys", "techniques", "openings", "sources", "colophon",
]  # fmt: skip
"""What a book may have beside its tunes and its cautions, which are in every book; "titles" to
"openings" are lists by title, tune type, key, technique and first bars."""
MelodyShown = Literal["whole", "cue"]
"""The melody, or its first bars as a cue and a slash for each beat after that."""
Density = Literal["roomy", "tight"]
"""Tunes at ease on their pages, or as few pages as can still be read well."""
Language = Literal["en", "sv"]
Paper = Literal["a4", "letter", "a5"]
NoteNames = Literal["b", "h"]
"""Names of B natural and B flat: B and B with a flat, or H and B as in Swedish and German."""
HandSize = Literal["small", "medium", "large"]
InstrumentKind = Literal["keyed", "fingerboard"]
"""A keybox (the upper of two pressed keys sounds), or a string stopped by the finger itself."""
Clef = Literal["treble", "alto", "bass", "tenor"]
ExportKind = Literal["json", "midi", "abc", "musicxml", "ly", "sound"]
SoundPart = Literal["melody", "drone", "second", "chords", "bass", "click"]
SoundFormat = Literal["flac", "wav", "ogg"]
Repeats = Literal["as-written", "once"]
"""Whether repeats are played, or every written bar once with the last of its endings."""
GracePlace = Literal["on the beat", "before the beat"]
"""Whether grace notes take their time from the note they lean on or from what is before it."""
SoundBody = Literal["simple", "neutral"]
"""A few resonances of a body in a recording, or none."""
Mode = Literal[
    "ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "locrian", "none"
]  # fmt: skip
"""The mode of a key; "none" where the file gives none."""
BarSign = Literal["", "|", "||", "[|", "|]", "|:", ":|", "::", ".|", ":"]
Placement = Literal["^", "_", "<", ">", "@"]
"""Where a text stands by its note, as in ABC 2.1, section 4.19."""
ShownSign = Literal["needed", "courtesy"]
"""Why a note bears an accidental on the page."""
Quality = Literal["major", "minor", "diminished", "augmented", "other"]
"""Of a chord's triad; "other" is one without a third."""
ChordSource = Literal["tune", "solved"]
"""Who chose a chord: it stood in the tune, or this program solved it."""
Doubtful = Literal["impossible", "beyond", "dear", "unlike"]
"""Why a player's mark asks for a question: no hand plays it, the edition's limits forbid it, it
costs much, a bar alike differs."""
Way = Literal["crossed", "barre", "row_jump", "shift", "substitution"]
"""What the hand does to get to a note."""

DRONES: tuple[Drones, ...] = get_args(Drones)
DRONE_STYLES: tuple[DroneStyle, ...] = get_args(DroneStyle)
ACCENTS: tuple[Accents, ...] = get_args(Accents)
CHORDS: tuple[Chords, ...] = get_args(Chords)
LINES: tuple[Line, ...] = get_args(Line)
FITS: tuple[Fit, ...] = get_args(Fit)
FINGERS: tuple[Fingers, ...] = get_args(Fingers)
VOICES_SHOWN: tuple[VoicesShown, ...] = get_args(VoicesShown)
BOOK_PARTS: tuple[BookPart, ...] = get_args(BookPart)
MELODIES_SHOWN: tuple[MelodyShown, ...] = get_args(MelodyShown)
DENSITIES: tuple[Density, ...] = get_args(Density)
LANGUAGES: tuple[Language, ...] = get_args(Language)
PAPERS: tuple[Paper, ...] = get_args(Paper)
NOTE_NAMES: tuple[NoteNames, ...] = get_args(NoteNames)
HAND_SIZES: tuple[HandSize, ...] = get_args(HandSize)
INSTRUMENT_KINDS: tuple[InstrumentKind, ...] = get_args(InstrumentKind)
CLEFS: tuple[Clef, ...] = get_args(Clef)
EXPORT_KINDS: tuple[ExportKind, ...] = get_args(ExportKind)
SOUND_PARTS: tuple[SoundPart, ...] = get_args(SoundPart)
SOUND_FORMATS: tuple[SoundFormat, ...] = get_args(SoundFormat)
REPEATS: tuple[Repeats, ...] = get_args(Repeats)
PLACEMENTS: tuple[Placement, ...] = get_args(Placement)
WAYS: tuple[Way, ...] = get_args(Way)


def one_of(choices: Sequence[Choice], value: str, name: str) -> Choice:
    """``value`` as one of ``choices``. Raises SettingError, with the list, when it is none."""
    for choice in choices:
        if choice == value:
            return choice
    raise SettingError(f"{name} {value!r} is unknown", f"use one of {', '.join(choices)}")
