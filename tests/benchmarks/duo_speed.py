"""How long a book of tunes with second voices takes against LilyPond alone on the same sources.

Usage: python tests/benchmarks/duo_speed.py [TUNES]   (100 by default)

The tunes are those of build_speed.py, each with a second voice made for this purpose: the melody a
third lower in its scale. Printed are ratios of one run: the edition for two players against
LilyPond alone with two processes, by the clock and by processor time, and against the same book
with melodies alone.
"""

from __future__ import annotations

import os
import re
import resource
import sys
import tempfile
from pathlib import Path

from build_speed import corpus_tunes, lilypond_alone, timed, write_tunes

LETTERS = "CDEFGABcdefgab"
_BESIDES = re.compile(r'"[^"]*"|![^!\s]*!|\{[^}]*\}|\[[A-Za-z]:[^\]]*\]')
_NOTE = re.compile(r"(?:\^\^|__|[\^_=])?([A-Ga-g])([,']*)")
_FIELD = re.compile(r"[A-Za-z+]:|%")


def third_below(line: str) -> str:
    """A line of music with every note two steps lower, without what stands beside the notes."""

    def lower(match: re.Match[str]) -> str:
        place = LETTERS.index(match[1]) - 2
        octaves = match[2].count("'") - match[2].count(",")
        if place < 0:
            place, octaves = place + 7, octaves - 1
        return LETTERS[place] + ("'" * octaves if octaves > 0 else "," * -octaves)

    return _NOTE.sub(lower, _BESIDES.sub("", line))


def with_second_voice(text: str) -> str:
    """A tune of one voice, with another a third below it."""
    lines = text.strip().splitlines()
    end = next(at for at, line in enumerate(lines) if line.startswith("K:")) + 1
    music = [line for line in lines[end:] if not _FIELD.match(line)]
    lower = [third_below(line) for line in music]
    return "\n".join([*lines[:end], "V:1", *music, "V:2", *lower])


def processor_time() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        write_tunes(home / "tunes", [with_second_voice(one) for one in corpus_tunes(count)])
        environment = {**os.environ, "XDG_CACHE_HOME": str(home / "cache")}
        book, sources = home / "book.pdf", home / "ly"
        command = [sys.executable, "-m", "tunebook", "build", str(home / "tunes"), "-o", str(book)]
        # Fonts are converted once a machine; that is not part of any book.
        write_tunes(home / "first", corpus_tunes(1))
        timed([*command[:4], str(home / "first"), *command[5:]], environment)
        alone, line = timed([*command, "--no-cache"], environment)
        print("melodies:", line)
        duo, line = timed([*command, "--edition", "duo"], environment)
        print("for two:", line, flush=True)
        timed([*command, "--edition", "duo", "--keep-source", str(sources)], environment)
        both = sum("VoiceStaff =" in path.read_text("utf-8") for path in sources.glob("*.ly"))
        before = processor_time()
        wall = lilypond_alone(sources, home)
        cpu = processor_time() - before
        print(f"cores: {os.cpu_count()}; tunes: {count}, with two voices: {both}")
        print(f"for two / LilyPond alone: {duo.wall:.1f} s / {wall:.1f} s = {duo.wall / wall:.2f}")
        print(f"in processor time: {duo.cpu:.1f} s / {cpu:.1f} s = {duo.cpu / cpu:.2f}")
        print(f"for two / melodies alone: {duo.share_of(alone)}")


if __name__ == "__main__":
    main()
