"""Tunes made up at random that hold all that decides which signs a page must show: signs, double
stops, grace notes, ties, keys that change in a bar and between bars, repeats and endings that cut
bars, tuplets. They are no music, and every one of them can be read."""

from __future__ import annotations

import random

KEYS = ("C", "G", "D", "A", "F", "Bb", "Eb", "Dm", "Am", "Gm", "Em", "Ddor", "Amix", "Ephr", "Flyd",
        "F#", "Cb", "D exp ^c_e", "Dmix ^g", "Hp")  # fmt: skip
_SIGNS = ("", "", "", "", "", "^", "_", "=", "^/")
_INNER_SIGNS = (":|", "|:", "||", "::")
_BAR_SIGNS = ("|",) * 8 + ("||", ":|", "|:", "|1", ":|2")


def made_up_tune(chance: random.Random) -> str:
    """A tune of 1 to 12 bars as ABC."""
    lines = [f"X:1\nT:made up\nM:4/4\nL:1/8\nK:{chance.choice(KEYS)}\n"]
    for _ in range(chance.randint(1, 12)):
        if chance.random() < 0.06:
            lines.append(chance.choice(("[1", "[2")))
        lines.append(_bar(chance) + chance.choice(_BAR_SIGNS))
        if chance.random() < 0.2:
            lines.append("\n")
    return "".join(lines) + "\n"


def _bar(chance: random.Random) -> str:
    parts = [_key(chance)] if chance.random() < 0.1 else []
    for place in range(4):
        if chance.random() < 0.15:
            parts.append(_graces(chance, chance.choice((1, 2, 3, 14))))
        parts.append(_stroke(chance, place))
        if place == 1 and chance.random() < 0.1:
            parts.append(chance.choice(_INNER_SIGNS))
    if chance.random() < 0.1:
        parts.append(_graces(chance, 1))
    return "".join(parts)


def _stroke(chance: random.Random, place: int) -> str:
    kind = chance.random()
    if kind < 0.05:
        return "z2"
    if kind < 0.1:
        return "(3" + "".join(_note(chance) for _ in range(3))
    key = _key(chance) if place and chance.random() < 0.05 else ""
    is_double = chance.random() < 0.15
    head = f"[{_note(chance)}{_note(chance)}]" if is_double else _note(chance)
    tie = ""
    if chance.random() < 0.15:
        tie = "-" + (head.translate({ord(sign): "" for sign in "^_=/"}) if is_double else "")
    return key + head + chance.choice(("2", "2", "3/2", "2")) + tie


def _note(chance: random.Random) -> str:
    return chance.choice(_SIGNS) + chance.choice("CDEFGABcdefg")


def _graces(chance: random.Random, count: int) -> str:
    return "{" + "".join(_note(chance) for _ in range(count)) + "}"


def _key(chance: random.Random) -> str:
    return f"[K:{chance.choice(KEYS)}]"
