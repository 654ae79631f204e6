"""A budget for the work spent on one tune, counted in steps of the search.

Work is counted and not timed, so that equal tunes get equal answers on every machine. A step is
one operation on a table of up to CELLS_A_STEP cells: about 50 millionths of a second. An ordinary
tune takes some hundreds of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

CELLS_A_STEP = 10_000


class OutOfStepsError(Exception):
    """The budget of the tune that is being solved is used up."""


class _Budget:
    def __init__(self, steps: int) -> None:
        self.left = steps


_budget: ContextVar[_Budget | None] = ContextVar("budget", default=None)


@contextmanager
def at_most(steps: int) -> Iterator[None]:
    """Within this block a search that takes more than ``steps`` in all raises OutOfStepsError."""
    token = _budget.set(_Budget(steps))
    try:
        yield
    finally:
        _budget.reset(token)


def spend(steps: int, cells: int = 0) -> None:
    """Count ``steps`` and what ``cells`` of tables come to; without a budget nothing is counted.

    Raises OutOfStepsError when the budget does not hold them.
    """
    budget = _budget.get()
    if budget is None:
        return
    budget.left -= steps + cells // CELLS_A_STEP
    if budget.left < 0:
        raise OutOfStepsError
