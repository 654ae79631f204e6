"""Invented players finger corpus tunes; what is learnt from some of them is tried on the others.

Prints for each player the agreement on ten unseen tunes before and after learning from twenty, the
ceiling (her own answer against her own marks: less than all where some are slips), the processor
time, and the sentences. Run: python tests/benchmarks/learning.py [name of a player] ...
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path += [str(HERE.parent / "external"), str(HERE.parent / "solve")]

from corpus_tunes import random_tunes  # noqa: E402
from players import PLAYERS, sheets_by  # noqa: E402

from tunebook.model.hand import Limits  # noqa: E402
from tunebook.model.words import fixed_words  # noqa: E402
from tunebook.read.settings.profile import read_hand, read_instrument  # noqa: E402
from tunebook.solve.learning.habits import changed_habits, habits_of  # noqa: E402
from tunebook.solve.learning.marks import added, agreement  # noqa: E402
from tunebook.solve.learning.study import (  # noqa: E402
    TRIAL_ROUNDS,
    World,
    answer,
    best_of,
    first_tries,
    further_tries,
    learn,
    tried_on,
)

HARPA = read_instrument("nyckelharpa-3row")
LEARNT_FROM, TRIED_ON = 20, 10
SLIPS = 0.1


def main() -> None:
    tunes = random_tunes(LEARNT_FROM + TRIED_ON, seed=5)
    rows = [(name, 0.0) for name in PLAYERS] + [("spares the little finger", SLIPS)]
    for name, slips in rows:
        label = name + (", one finger in ten a slip" if slips else "")
        if not sys.argv[1:] or label in sys.argv[1:]:
            run(label, sheets_by(PLAYERS[name], tunes, HARPA, slips), name)


def run(label: str, sheets: list, name: str) -> None:
    world = World(HARPA, read_hand(), Limits())
    seen, unseen = sheets[:LEARNT_FROM], sheets[LEARNT_FROM:]
    begun = time.process_time()
    some = tried_on(seen)
    tries = [learn(world, factors, some, TRIAL_ROUNDS) for factors in first_tries()]
    known = {one.factors for one in tries}
    further = [one for one in further_tries(best_of(tries, world)) if one not in known]
    tries += [learn(world, factors, some, TRIAL_ROUNDS) for factors in further]
    factors = best_of(tries, world)
    learnt = learn(world, factors, seen)
    hand = world.learnt(factors, learnt.vector)
    seconds = time.process_time() - begun

    def share(one) -> float:
        return added(agreement(sheet.marks, answer(world, one, sheet)) for sheet in unseen).share

    before, after, ceiling = share(world.hand), share(hand), share(PLAYERS[name])
    print(
        f"{label}: before {before:.1%}, after {after:.1%}, ceiling {ceiling:.1%}, "
        f"spans {factors}, {seconds:.0f} s of processor time",
        flush=True,
    )
    words = fixed_words("en").learning.habits
    habits = habits_of(changed_habits(world, hand), world, hand, seen)
    for habit in sorted(habits, key=lambda one: -one.notes):
        changes = ", ".join(f"{what} {old:g} > {new:g}" for what, old, new in habit.changes)
        print(f"    {words[habit.name][0 if habit.is_more else 1]} ({habit.notes}) {changes}")


if __name__ == "__main__":
    main()
