"""Hand files: what is known of one player's hand, as tunes.toml's table [hand] has it and more.

A hand file holds the keys of the table [hand], ``span_factors``, and a table [weights.keyed] or
[weights.fingerboard] with weights of the fingering cost that are the player's own. ``tunebook
learn`` writes one; it may be edited, and is read with the same care as any settings: what cannot
be used is said with its line and left at its default.
"""

from __future__ import annotations

from pathlib import Path

from tunebook.errors import Message, SettingError, SourcePlace
from tunebook.files import FilesRead
from tunebook.model.book import HandChoice
from tunebook.model.hand import HandWeight
from tunebook.read.settings.profile import read_hand, weight_fault
from tunebook.read.settings.tunes_file import checked, hand_choice, text_of
from tunebook.read.settings.values import (
    HandFileTable,
    KeyPath,
    find_key_lines,
    line_of,
    load_toml,
)


def read_hand_file(
    path: Path, read: FilesRead | None = None
) -> tuple[HandChoice, tuple[Message, ...]]:
    """Return the hand in the file, which is called by its name, and the messages about mistakes.
    The file is noted in ``read``. Raises SettingError when it cannot be read, is no TOML, or says
    of a hand what cannot be."""
    return parse_hand_file(text_of(path, "hand file", read), str(path))


def parse_hand_file(text: str, path: str) -> tuple[HandChoice, tuple[Message, ...]]:
    """The same of the ``text``; ``path`` stands in messages."""
    raw = load_toml(text, path)
    lines = find_key_lines(text)
    table, messages = checked(HandFileTable, raw, lines, path)
    factors = table.span_factors
    weights, said = _weights(table, lines, path)
    choice = hand_choice(
        table,
        span_factors=(factors.relaxed, factors.comfortable, factors.practical),
        weights=weights,
        name=Path(path).stem,
    )
    try:
        read_hand(choice)
    except SettingError as error:
        raise SettingError(error.what, error.remedy, SourcePlace(path)) from None
    return choice, (*messages, *said)


def _weights(
    table: HandFileTable, lines: dict[KeyPath, int], path: str
) -> tuple[tuple[HandWeight, ...], list[Message]]:
    """The weights that can be used, and a message for each other one."""
    found: list[HandWeight] = []
    messages: list[Message] = []
    for kind, weights in table.weights.items():
        for name, value in weights.items():
            fault = weight_fault(name, value)
            if fault is None:
                found.append(HandWeight(kind, name, value))
                continue
            place = SourcePlace(path, line_of(lines, ("weights", kind, name)))
            messages.append(Message(place, "setting", fault[0], f"the usual is used; {fault[1]}"))
    return tuple(sorted(found, key=lambda one: (one.kind, one.name))), messages


def differing(choice: HandChoice, hand: HandChoice) -> tuple[Message, ...]:
    """A message when the table [hand] of ``choice`` says beside its file what the file, which
    gave ``hand``, says otherwise: the file's holds."""
    names = [name for name in choice.given if getattr(choice, name) != getattr(hand, name)]
    if not names:
        return ()
    what = f"[hand] says otherwise than its file {choice.file!r}"
    remedy = "the file's hand is used; keep of the table the line with the file alone"
    return (Message(choice.place or SourcePlace(""), "setting", what, remedy),)
