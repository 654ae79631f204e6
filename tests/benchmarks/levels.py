"""What a level makes of real tunes: how many it prints as written, transposed, and leaves out.

    python tests/benchmarks/levels.py [number of tunes] [edition]

Corpus tunes at random, as they stand, with the default tuning and hand. Of each the bars beyond the
level are counted as it is written and as the edition prints it.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dataclasses import replace
from random import Random

from tests.external.corpus_tunes import corpus_texts, notes_of
from tunebook.errors import InputError
from tunebook.pipeline.load import Setup, Wishes, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.read.abc.tune import read_abc


def beyond(setup: Setup, tune) -> int | None:  # type: ignore[no-untyped-def]
    """Bars beyond the level as the edition prints the tune; None where it leaves it out."""
    arrangement = arrange_tune(tune, setup).arrangement
    if arrangement is None:
        return None
    notes = arrangement.notes
    return len({one.bar_index for one in notes if one.beyond_limits or not one.stops})


def main(count: int, edition: str) -> None:
    folder = Path(__file__).resolve().parents[2] / "sample_tunes"
    setup = prepare(folder, Wishes(edition=edition))
    setup = replace(setup, book=replace(setup.book, choices=()))
    plain = replace(setup, edition=replace(setup.edition, fit="print as written"))
    texts = list(corpus_texts())
    Random(7).shuffle(texts)
    counts: Counter[str] = Counter()
    before = after = 0
    for name, text in texts:
        try:
            tune = read_abc(text, name)[0]
        except InputError:
            continue
        if not notes_of(tune):
            continue
        written, printed = beyond(plain, tune) or 0, beyond(setup, tune)
        before += written
        after += printed or 0
        counts["left out" if printed is None else "transposed" if written else "as written"] += 1
        if counts.total() == count:
            break
    print(f"{edition}: of {counts.total()} tunes {dict(counts)}")
    print(f"bars beyond the level, mean of a tune: {before / counts.total():.2f} as written, "
          f"{after / max(1, counts.total() - counts['left out']):.2f} as printed")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, *(sys.argv[2:3] or ["student-1"]))
