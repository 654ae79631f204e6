"""Prints how many minutes of music a minute of processor time plays, on corpus tunes.

Times are processor times on one core, playing alone and with the file; a tune is solved beforehand
and its solving given beside it. Memory is the highest of the process. Nothing is kept.
Run: python tests/benchmarks/sound_speed.py [TUNES]      (100 if left out)
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

from corpus_tunes import random_tunes

from tunebook.model.choices import SoundPart
from tunebook.model.sound import SoundChoice, SoundOrder
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.write.sound.files import encoded
from tunebook.write.sound.recording import record
from tunebook.write.sound.strings import RATE

USUAL: tuple[SoundPart, ...] = ("melody", "drone")
ALL: tuple[SoundPart, ...] = ("melody", "drone", "chords", "bass", "click")


def main(count: int) -> None:
    harpa, hand = read_instrument("nyckelharpa-3row"), read_hand()
    start = time.process_time()
    tunes = [arrange(tune, harpa, hand, accompaniment=True) for tune in random_tunes(count)]
    print(f"{len(tunes)} tunes, read and solved in {time.process_time() - start:.1f} s")
    encoded(record(tunes[0], SoundOrder(parts=ALL), SoundChoice()), "flac")  # a warm-up
    for name, parts in (("melody and drone", USUAL), ("all parts", ALL)):
        order = SoundOrder(parts=parts)
        start, played_s = time.process_time(), 0.0
        for tune in tunes:
            recording = record(tune, order, SoundChoice())
            for _ in recording.samples():
                pass
            played_s += recording.sample_count / RATE
        playing = played_s / (time.process_time() - start)
        start, size = time.process_time(), 0
        for tune in tunes:
            size += len(encoded(record(tune, order, SoundChoice()), "flac"))
        with_file = played_s / (time.process_time() - start)
        print(
            f"{name}: {played_s / 60:.0f} minutes of music, {playing:.0f} times faster than "
            f"playing time, {with_file:.0f} times with the FLAC file ({size / played_s / 1000:.0f} "
            f"kB a second)",
            flush=True,
        )
    print(f"highest memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000:.0f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
