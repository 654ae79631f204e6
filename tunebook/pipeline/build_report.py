"""What a build tells when it is done."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tunebook.errors import Message
from tunebook.model.changes import RetuneFacts


@dataclass(frozen=True, slots=True)
class BuildReport:
    """What was built and what was left out. ``seconds`` are (stage, wall time)."""

    output: Path
    pages: int
    tune_count: int
    left_out: tuple[Message, ...]
    messages: tuple[Message, ...]
    seconds: tuple[tuple[str, float], ...]
    sources: Path | None = None
    booklet: Path | None = None
    retuning: RetuneFacts | None = None
