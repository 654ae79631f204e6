"""How drones are used: what they change in the melody, how long they last, how they sound.

    python tests/benchmarks/drone_use.py [TUNES] [KIND]

For some tunes of the corpus and the sample tunes, two hands and three instruments, KIND (open or
held, both when left out): share of notes on another string and with another finger than without
drones, spans a bar, share of spans shorter than a quarter and than a half, part of the music over
which a drone sounds, part of that in which it lies a semitone or a tritone from the melody, tunes
with a drone (over a quarter of the music), and the time a tune.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "external"))

from corpus_tunes import random_tunes  # noqa: E402

from tunebook.model.arrangement import Arrangement  # noqa: E402
from tunebook.model.book import HandChoice  # noqa: E402
from tunebook.model.tune import Tune  # noqa: E402
from tunebook.read.abc.tune import read_abc  # noqa: E402
from tunebook.read.settings.profile import read_hand, read_instrument  # noqa: E402
from tunebook.solve.arrange import arrange  # noqa: E402
from tunebook.solve.second_opinion.pricing import verify_arrangement  # noqa: E402

INSTRUMENTS = (("nyckelharpa-3row", "CGDA"), ("nyckelharpa-3row", "CGCA"), ("fiddle", None))
HANDS = ("medium", "large")
DISSONANT = (1, 6)
"""Interval classes: semitone or major seventh, tritone."""


@dataclass
class Use:
    """Sums over some tunes; times in whole notes."""

    tunes: int = 0
    notes: int = 0
    moved: int = 0
    refingered: int = 0
    bars: int = 0
    lengths: list[Fraction] = field(default_factory=list)
    music: Fraction = Fraction(0)
    sounding: Fraction = Fraction(0)
    dissonant: Fraction = Fraction(0)
    with_drone: int = 0
    over_a_quarter: int = 0
    held_tunes: int = 0
    faults: int = 0
    seconds: float = 0.0
    degrees: dict[int, Fraction] = field(default_factory=dict)

    def add(self, bare: Arrangement, droned: Arrangement, seconds: float) -> None:
        self.tunes += 1
        self.seconds += seconds
        self.bars += len(droned.tune.bars)
        for one, other in zip(bare.notes, droned.notes, strict=True):
            pairs = list(zip(one.stops, other.stops, strict=True))
            self.notes += 1
            is_moved = any(a.string_index != b.string_index for a, b in pairs)
            self.moved += is_moved
            self.refingered += not is_moved and any(a.finger != b.finger for a, b in pairs)
        self.lengths += chain_lengths(droned)
        self.faults += bool(verify_arrangement(droned))
        self._sound(droned)

    def _sound(self, droned: Arrangement) -> None:
        music = sounding = Fraction(0)
        tonic = droned.tune.key.tonic_class
        for note in droned.notes:
            start, end = note.note.onset, note.note.onset + note.note.duration
            if note.note.is_grace or not note.stops:
                continue
            music += end - start
            for span in droned.drone:
                shared = min(end, span.onset + span.duration) - max(start, span.onset)
                if shared <= 0:
                    continue
                sounding += shared
                apart = (note.stops[-1].midi - span.stop.midi) % 12
                self.dissonant += shared * (min(apart, 12 - apart) in DISSONANT)
                degree = (span.stop.midi - tonic) % 12
                self.degrees[degree] = self.degrees.get(degree, Fraction(0)) + shared
        self.music += music
        self.sounding += sounding
        self.with_drone += sounding > 0
        self.over_a_quarter += 4 * sounding > music
        self.held_tunes += any(span.stop.key for span in droned.drone)

    def __str__(self) -> str:
        spans = max(1, len(self.lengths))
        short = sum(length < Fraction(1, 4) for length in self.lengths)
        half = sum(length < Fraction(1, 2) for length in self.lengths)
        heard = float(self.sounding) or 1.0
        kinds = {0: "tonic", 7: "fifth"}
        degrees = ", ".join(
            f"{kinds.get(degree, degree)} {float(length) / heard:.0%}"
            for degree, length in sorted(self.degrees.items(), key=lambda one: -one[1])[:4]
        )
        return (
            f"string {self.moved / self.notes:.2%}, finger {self.refingered / self.notes:.2%}; "
            f"{len(self.lengths) / self.bars:.2f} spans a bar, {short / spans:.1%} under 1/4, "
            f"{half / spans:.1%} under 1/2; sounds {float(self.sounding / self.music):.0%}, "
            f"{float(self.dissonant) / heard:.1%} dissonant; {self.with_drone} of {self.tunes} "
            f"tunes ({self.over_a_quarter} over a quarter, {self.held_tunes} with a key); "
            f"{1000 * self.seconds / self.tunes:.0f} ms a tune; {degrees}; {self.faults} faulty"
        )


def chain_lengths(arrangement: Arrangement) -> list[Fraction]:
    """Lengths of the drones, another finger's take-over counted as the same drone."""
    lengths: list[Fraction] = []
    for span in arrangement.drone:
        if span.is_taken_over and lengths:
            lengths[-1] += span.duration
        else:
            lengths.append(span.duration)
    return lengths


def sample_tunes() -> list[Tune]:
    files = sorted((ROOT / "sample_tunes").glob("*.abc"))
    return [tune for file in files for tune in read_abc(file.read_text("utf-8"), file.name)]


def measure(tunes: list[Tune], kind: str, profile: str, tuning: str | None, size: str) -> Use:
    instrument, hand = read_instrument(profile, tuning), read_hand(HandChoice(size))
    use = Use()
    for tune in tunes:
        bare = arrange(tune, instrument, hand, drones="none")
        begun = time.process_time()
        droned = arrange(tune, instrument, hand, drones=kind)
        use.add(bare, droned, time.process_time() - begun)
    return use


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    kinds = sys.argv[2:3] or ["open", "held"]
    for name, tunes in (("corpus", random_tunes(count, 5)), ("sample", sample_tunes())):
        for profile, tuning in INSTRUMENTS:
            for size in HANDS:
                for kind in kinds:
                    use = measure(tunes, kind, profile, tuning, size)
                    print(f"{name}, {tuning or profile}, {size}, {kind}: {use}", flush=True)


if __name__ == "__main__":
    main()
