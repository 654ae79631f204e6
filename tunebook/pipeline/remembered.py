"""What a process that makes the same book again and again remembers from one time to the next.

Nothing is remembered outside of :func:`remembering`. What one turn did not use is forgotten after
the next, so that hours of work do not fill the memory.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from typing import Any


class _Memory:
    """What this turn used, and what is left of the one before."""

    def __init__(self) -> None:
        self.now: dict[Hashable, Any] = {}
        self.before: dict[Hashable, Any] = {}


_memories: list[_Memory] = []


@contextmanager
def remembering() -> Iterator[None]:
    """In this block :func:`recalled` gives what :func:`remember` was given."""
    _memories.append(_Memory())
    try:
        yield
    finally:
        _memories.pop()


def is_remembering() -> bool:
    """Whether anything is remembered now."""
    return bool(_memories)


def recalled(key: Hashable) -> Any | None:
    """What is remembered under ``key``, or None."""
    if not _memories:
        return None
    memory = _memories[-1]
    found = memory.now.get(key)
    if found is None and (found := memory.before.get(key)) is not None:
        memory.now[key] = found
    return found


def remember(key: Hashable, value: object) -> None:
    """Remember ``value``, which nobody changes."""
    if _memories:
        _memories[-1].now[key] = value


def next_turn() -> None:
    """Begin another turn."""
    if _memories:
        memory = _memories[-1]
        memory.before, memory.now = memory.now, {}
