"""Gather the messages of all stages for the closing summary."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace

from tunebook.errors import InputError, Message, SourcePlace
from tunebook.model.arrangement import TuneOutcome
from tunebook.pipeline.load import Setup


def gather_messages(setup: Setup, *groups: Iterable[Message]) -> tuple[Message, ...]:
    """Return all messages once, in order, their places as paths that can be opened from here.

    Within a folder places are kept relative, since they name tunes; a reader of the summary wants
    the path from where the command was given.
    """
    home = setup.folder if setup.folder.is_dir() else setup.folder.parent
    found: dict[Message, None] = {}
    for message in (message for group in (setup.messages, *groups) for message in group):
        path = home / message.place.path
        if message not in setup.messages and message.place.path and os.path.lexists(path):
            place = replace(message.place, path=str(path))
            found.setdefault(replace(message, place=place))
        else:
            found.setdefault(message)
    return tuple(found)


def messages_of(outcomes: Iterable[TuneOutcome]) -> tuple[Message, ...]:
    """Return every message about these tunes once, in order of place."""
    found: dict[Message, None] = {}
    for outcome in outcomes:
        reading = outcome.tune.messages if outcome.tune else ()
        solving = outcome.arrangement.messages if outcome.arrangement else ()
        for message in (*reading, *outcome.messages, *solving):
            found.setdefault(message)
    return tuple(sorted(found))


def nothing_to_do(setup: Setup, messages: Iterable[Message]) -> InputError:
    """Return the error for a folder of which nothing can be used, with the first reason."""
    reasons = [message for message in messages if message.is_fatal]
    first = f" (first reason: {reasons[0]})" if reasons else ""
    return InputError(
        f"no tune could be used{first}",
        "put .abc files with X:, T: and K: there",
        SourcePlace(str(setup.folder)),
    )
