"""How a question to a player is known among tunes: its head holds the ways to play it."""

from __future__ import annotations

import re

from tunebook.model.tune import Tune

WAY = re.compile(r"way\s+([A-C])((?:\s+\d:[0-4])+)\s*", re.ASCII)


def is_question(tune: Tune) -> bool:
    """Whether the tune is a question to a player rather than music to be printed."""
    return any(WAY.fullmatch(text.strip()) for text in tune.field("r"))
