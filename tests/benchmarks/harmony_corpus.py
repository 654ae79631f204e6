"""Tunes with chords to measure the harmoniser by, and tunes without to settle it on.

- ``tunes_with_our_chords``: tunes of music21's corpus (printed before 1930) under which we wrote
  chords ourselves, by our judgement of plain folk accompaniment (chords_by_hand.txt beside this
  file: corpus file, X number where the file has several tunes, then the full measures in written
  order between bars, each cut in equal parts by "/", "?" where we would not decide).
- ``tunes_with_editors_chords``: the tunes of the corpus that carry an editor's chords in ABC.

Tunes are read from the installed package where they lie and never copied.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from tunebook.errors import InputError
from tunebook.model.tune import Tune
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.abc.tune import read_abc
from tunebook.solve.harmony.chords import own_chords
from tunebook.solve.harmony.slots import HarmonySlot, harmony_slots

BY_HAND = Path(__file__).with_name("chords_by_hand.txt")
MOST_UNLABELLED = 400


@dataclass(frozen=True)
class LabelledTune:
    """A tune, its slots, and the chord of each slot (2 * root + 1 if minor), None where open."""

    name: str
    tune: Tune
    slots: tuple[HarmonySlot, ...]
    chords: tuple[int | None, ...]


def corpus_root() -> Path:
    spec = find_spec("music21")
    if spec is None or spec.origin is None:
        raise SystemExit("music21 is needed for its corpus")
    return Path(spec.origin).parent / "corpus"


def corpus_text(reference: str) -> str:
    """The ABC text of "folder/file.abc" or "folder/file.abc:X"."""
    name, _, number = reference.partition(":")
    text = (corpus_root() / name).read_text(encoding="latin-1").replace("\r", "")
    if not number:
        return text
    for part in re.split(r"\n(?=X:)", "\n" + text):
        found = re.match(r"\s*X:\s*(\d+)", part)
        if found and found[1] == number:
            return re.split(r"\n\s*\n", part.strip())[0] + "\n"
    raise KeyError(reference)


def tunes_with_our_chords() -> list[LabelledTune]:
    """Every line of chords_by_hand.txt."""
    found = []
    for line in BY_HAND.read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            reference, _, chords = line.partition(" ")
            tune = read_abc(corpus_text(reference), reference)[0]
            found.append(_label(reference, tune, [m.split("/") for m in chords.split("|")]))
    return found


def tunes_with_editors_chords() -> list[LabelledTune]:
    """Tunes of the corpus whose own chord symbols make a harmony."""
    tunes = read_abc(corpus_text("nottingham-dataset/reelsa-c.abc"), "reelsa-c.abc")
    found = []
    for tune in tunes:
        slots, spans = harmony_slots(tune), own_chords(tune)
        chords: list[int | None] = []
        for slot in slots:
            inside = [s for s in spans if s.onset <= slot.onset < s.onset + s.duration]
            chord = inside[0].chord if inside else None
            chords.append(
                None if chord is None else 2 * chord.root_class + (chord.quality == "minor")
            )
        found.append(LabelledTune(tune.title, tune, slots, tuple(chords)))
    return found


def tunes_without_chords() -> list[tuple[Tune, tuple[HarmonySlot, ...]]]:
    """A spread of tunes from two collections of dance music in the corpus."""
    paths = sorted((corpus_root() / "ryansMammoth").glob("*.abc"))[::4]
    paths += sorted((corpus_root() / "oneills1850").glob("*.abc"))[::3]
    found = []
    for path in paths:
        try:
            tunes = read_abc(path.read_text(encoding="latin-1"), path.name)
        except InputError:
            continue
        for tune in tunes[:: max(1, len(tunes) // 12)]:
            slots = harmony_slots(tune)
            if 8 < len(slots) < 120:
                found.append((tune, slots))
    return found[:: max(1, len(found) // MOST_UNLABELLED)]


def _label(name: str, tune: Tune, measures: list[list[str]]) -> LabelledTune:
    """Lay the chords of full measures on the slots; slots beyond the last measure stay open."""
    slots = harmony_slots(tune)
    chords: list[int | None] = []
    number, elapsed, before = -1, tune.meter.length, None
    for slot in slots:
        bar = tune.bars[slot.bar_index]
        if slot.bar_index != before:
            joins = before is not None and elapsed + bar.duration <= bar.meter.length
            if not joins:
                number, elapsed = number + 1, bar.duration * 0
            start, before = elapsed, slot.bar_index
            elapsed += bar.duration
        place = start + slot.onset - bar.onset
        parts = measures[number] if number < len(measures) else ["?"]
        part = parts[min(len(parts) - 1, int(place * len(parts) / bar.meter.length))]
        chords.append(_number(part, tune))
    return LabelledTune(name, tune, slots, tuple(chords))


def _number(text: str, tune: Tune) -> int | None:
    symbol = read_chord_symbol(text, tune.place)
    return None if symbol is None else 2 * symbol.root_class + (symbol.quality == "minor")
