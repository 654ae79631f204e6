"""How a question to a player is known among tunes, and what she answered: its head holds the ways
to play it, and the remark ``r:answer``, after which she writes a letter."""

from __future__ import annotations

import re

from tunebook.errors import Message
from tunebook.model.tune import Tune

WAY = re.compile(r"way\s+([A-C])((?:\s+\d:[0-4])+)\s*", re.ASCII)
_ANSWER = re.compile(r"answer\b\s*(.*)", re.I)
_LETTER = re.compile(r"[\s:=\"']*([A-C])\s*([.,;:!?)\"'].*)?", re.I)


def is_question(tune: Tune) -> bool:
    """Whether the tune is a question to a player rather than music to be printed."""
    return any(WAY.fullmatch(text.strip()) for text in tune.field("r"))


def struck_notes(tune: Tune) -> list[tuple[int, int]]:
    """Bar and note index of the notes for which a way has a string and a finger, in order."""
    return [
        (bar.index, at)
        for bar in tune.bars
        for at, note in enumerate(bar.notes)
        if not (
            note.is_rest
            or note.is_grace
            or (note.is_tied_from_before and all(note.is_tied_from_before))
        )
    ]


def answered_way(tune: Tune) -> tuple[tuple[str, ...], Message | None]:
    """The way ("3:2" is string and finger) that the answer in the tune's head names, and what is
    said of an answer that names none; nothing where the tune is no question or not answered so."""
    remarks = [text.strip() for text in tune.field("r")]
    ways = {match[1]: match[2].split() for text in remarks if (match := WAY.fullmatch(text))}
    answers = [match[1].strip() for text in remarks if (match := _ANSWER.fullmatch(text))]
    said = answers[0] if answers and ways else ""
    if not said:
        return (), None
    letter = _LETTER.fullmatch(said)
    way = ways.get(letter[1].upper() if letter else "", [])
    if way and len(way) == len(struck_notes(tune)):
        return tuple(way), None
    what = f"answer {said!r} to {tune.title!r} is none of its ways"
    remedy = f"write one of {', '.join(ways)} after r:answer"
    return (), Message(tune.place, "answer", what, remedy)


def said_of_answer(tune: Tune) -> tuple[Message, ...]:
    """What is said of an answer that cannot be read; fingers over the notes count instead of it."""
    if any(pin is not None for bar in tune.bars for note in bar.notes for pin in note.finger_pins):
        return ()
    message = answered_way(tune)[1]
    return () if message is None else (message,)
