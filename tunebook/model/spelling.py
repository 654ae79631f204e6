"""Spelling of pitches that no one wrote down, key signatures, and which notes bear a sign on the
page.

Every name has a place on the line of fifths (F -1, C 0, G 1, ... F# 6, Bb -2); which of a pitch's
names is meant shows in how far it lies from the key (Temperley, The Cognition of Basic Musical
Structures, 2001, ch. 5). How far to either side is our judgement.

A sign on the page holds for its own line or space, in its own octave, to the next bar line or key
signature; a tone that a tie brings over bears none, and what it brought does not count for the
notes after it; grace notes count as others do; two tones on one line or space both bear signs. A
sign that warns where the bar before, or another octave, would mislead is "courtesy". (Gould, Behind
Bars, 2011, chapter "Accidentals", from memory; ABC 2.1, section 4.2, has signs hold "until the end
of the measure" and leaves their look on the page to the program.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tunebook.model.choices import ShownSign
from tunebook.model.tune import STEP_SEMITONES, Bar, Key, Note, Pitch

_STEP_OF_FIFTH = (0, 4, 1, 5, 2, 6, 3)
"""Steps C G D A E B F: the line of fifths from C upwards, F last."""
_FIFTH_OF_STEP = (0, 2, 4, -1, 1, 3, 5)
"""The place on the line of each step C..B."""

_LOWEST, _HIGHEST = -15, 19
"""Fbb and B##: the ends of the names with no more than two signs."""


SHARP_ORDER = (3, 0, 4, 1, 5, 2, 6)
"""The steps (0 = C) in the order in which sharps appear; flats appear in the reverse order."""


def signature_alters(fifths: int) -> tuple[int, ...]:
    """The alteration of each step C..B in the signature with so many sharps (+) or flats (-)."""
    alters = [0] * 7
    for step in SHARP_ORDER[: max(0, fifths)]:
        alters[step] = 1
    for step in SHARP_ORDER[7 + min(0, fifths) :]:
        alters[step] = -1
    return tuple(alters)


def usual_fifths(alters: tuple[int, ...]) -> int | None:
    """How many sharps (+) or flats (-) a signature has; None when it is none of the usual ones."""
    return next((n for n in range(-7, 8) if signature_alters(n) == alters), None)


def spell_in_key(pitch_class: int, key: Key) -> tuple[int, int]:
    """(step, alter) of a pitch class (0 = C) in ``key``: as the signature has it when the tone is
    in it; else within four fifths below the signature's major tonic and seven above, in keys with
    a minor third within three and eight, so that the raised leading tone of a minor key is sharp
    (G# in A minor, F# in G minor)."""
    for step, alter in enumerate(key.alters):
        if (STEP_SEMITONES[step] + alter) % 12 == pitch_class:
            return step, alter
    below = 3 if key.is_minor_like else 4
    fifths = key.fifths + (pitch_class * 7 - key.fifths + below) % 12 - below
    if not _LOWEST <= fifths <= _HIGHEST:  # a signature with more signs than seven
        fifths = (fifths - _LOWEST) % 12 + _LOWEST
    return name_at(fifths)


def fifths_of(step: int, alter: int) -> int:
    """The place of a name on the line of fifths (C 0, G 1)."""
    return _FIFTH_OF_STEP[step] + 7 * alter


def name_at(fifths: int) -> tuple[int, int]:
    """(step, alter) of the name at this place on the line of fifths."""
    return _STEP_OF_FIFTH[fifths % 7], (fifths + 1) // 7


NEEDED: ShownSign = "needed"
COURTESY: ShownSign = "courtesy"
_UNKNOWN = 99.0


class PageSigns:
    """The signs that a reader of one staff has in mind. Tones are asked for in the order in which
    they stand on the page, :meth:`begin_bar` comes at every bar line and key signature."""

    def __init__(self, signature: tuple[int, ...] = (0,) * 7) -> None:
        self.used: dict[int, set[float]] = {}
        """The alterations foreign to the signature in this bar, by step."""
        self._signature = signature
        self._before: dict[int, set[float]] = {}
        self._printed: dict[tuple[int, int], float] = {}
        self._met: set[tuple[int, int]] = set()

    def begin_bar(self, signature: tuple[int, ...]) -> None:
        """A new bar, or a new signature: the alteration of each step C..B."""
        self._signature = signature
        self._before, self.used = self.used, {}
        self._printed, self._met = {}, set()

    def shown(
        self, pitch: Pitch, is_wished: bool = False, is_held: bool = False
    ) -> ShownSign | None:
        """None, "needed" or "courtesy" for one tone. ``is_wished`` asks for a sign whether it is
        needed or not; a tone that a tie brings here (``is_held``) shows none."""
        if is_held:
            return None
        place = (pitch.octave, pitch.step)
        expected = self._printed.get(place, self._signature[pitch.step])
        is_misleading = place not in self._met and self._is_misleading(pitch)
        self._met.add(place)
        if pitch.alteration != self._signature[pitch.step]:
            self.used.setdefault(pitch.step, set()).add(pitch.alteration)
        if expected != pitch.alteration:
            self._printed[place] = pitch.alteration
            return NEEDED
        return COURTESY if is_wished or is_misleading else None

    def shown_together(
        self, pitches: Sequence[Pitch], wished: Sequence[bool], held: Sequence[bool]
    ) -> tuple[ShownSign | None, ...]:
        """As :meth:`shown`, for tones struck together (all parallel)."""
        signs = tuple(map(self.shown, pitches, wished, held))
        if len(pitches) < 2:
            return signs
        places = {(pitch.octave, pitch.step) for pitch in pitches}
        if len(places) == len(pitches):
            return signs
        alters = {place: {p.alteration for p in pitches if (p.octave, p.step) == place}
                  for place in places}  # fmt: skip
        doubled = {place for place, found in alters.items() if len(found) > 1}
        for place in doubled:
            self._printed[place] = _UNKNOWN
        return tuple(
            NEEDED if (pitch.octave, pitch.step) in doubled and not is_held else sign
            for pitch, sign, is_held in zip(pitches, signs, held, strict=True)
        )

    def _is_misleading(self, pitch: Pitch) -> bool:
        """Another octave of this bar, or the bar before, has the step altered otherwise."""
        others = self.used.get(pitch.step, set()) | self._before.get(pitch.step, set())
        return any(other != pitch.alteration for other in others)


def with_signs(bars: Sequence[Bar]) -> tuple[Bar, ...]:
    """The bars with the signs that their notes bear one after the other; signs that they bear
    already stay. For music that is put together from notes made or cut elsewhere."""
    page = PageSigns()
    done: list[Bar] = []
    for bar in bars:
        before = done[-1] if done else None
        if before is None or bar.sign_before or before.sign_after or bar.key != before.key:
            page.begin_bar(bar.key.alters)
        done.append(replace(bar, notes=tuple(_with_sign(note, page) for note in bar.notes)))
    return tuple(done)


def _with_sign(note: Note, page: PageSigns) -> Note:
    count = len(note.pitches)
    wished = [bool(sign) for sign in note.shown_accidentals] or [False] * count
    held = note.is_tied_from_before or (False,) * count
    signs = page.shown_together(note.pitches, wished, held)
    return note if signs == note.shown_accidentals else replace(note, shown_accidentals=signs)
