"""Lines of text for a tune in the book: what goes beyond a level, and why a teacher's edition
fingers as it does."""

from __future__ import annotations

from tunebook.assemble.fixed_words import FixedWords
from tunebook.assemble.languages import words_for
from tunebook.assemble.musical_text import key_name, local_names, string_name
from tunebook.model.arrangement import Arrangement, FingeredNote
from tunebook.model.tune import Key, Tune
from tunebook.pipeline.reading import reading_limits
from tunebook.pipeline.setup import Setup
from tunebook.solve.arrange import arrange
from tunebook.solve.effort import OutOfStepsError, at_most
from tunebook.solve.transpose import transpose_tune, without_pins

FARTHEST_SEMITONES = 7
MOST_NOTES = 4
NOTHING_MORE = 0.05
"""Costs less than this are printed as none."""

_WORDS = {
    "en": {
        "beyond": "Beyond this level: {}.",
        "key": "Within it the tune lies in {} ({} semitones {}).",
        "no_key": "No key within a fifth keeps to it.",
        "up": "up",
        "down": "down",
        "bar": "bar {}",
        "bars": "bars {}",
        "upbeat": "the upbeat",
        "and": " and ",
        "crossed": "crossed stop",
        "barre": "barre",
        "row_jump": "row jump",
        "shift": "shift",
        "substitution": "silent change of finger",
        "other": "the next best way costs {} more",
        "equal": "another way costs no more",
        "pressed": "{} on the {} string, finger {}",
        "open": "{} open",
    },
    "sv": {
        "beyond": "Utöver nivån: {}.",
        "key": "Inom nivån ligger låten i {} ({} halvtoner {}).",
        "no_key": "Ingen tonart inom en kvint håller sig till den.",
        "up": "upp",
        "down": "ned",
        "bar": "takt {}",
        "bars": "takt {}",
        "upbeat": "upptakten",
        "and": " och ",
        "crossed": "korsat grepp",
        "barre": "barrégrepp",
        "row_jump": "radhopp",
        "shift": "lägesväxling",
        "substitution": "ljudlöst fingerbyte",
        "other": "det näst bästa sättet kostar {} mer",
        "equal": "ett annat sätt kostar inte mer",
        "pressed": "{} på {}-strängen, finger {}",
        "open": "{} på lös sträng",
    },
}
# Ways that have another name on a fingerboard, which has no rows of keys.
_FINGERBOARD_WORDS = {
    "en": {"barre": "one finger on two strings", "row_jump": "hop across strings"},
    "sv": {"barre": "ett finger på två strängar", "row_jump": "hopp mellan strängar"},
}


def _words(setup: Setup) -> dict[str, str]:
    language = setup.book.language
    own = _FINGERBOARD_WORDS[language] if setup.instrument.kind == "fingerboard" else {}
    return _WORDS[language] | own


def limit_note(arrangement: Arrangement, setup: Setup) -> str:
    """Return what goes beyond the edition's limits and the easiest key that does not; empty when
    nothing does."""
    beyond = sorted({one.bar_index for one in arrangement.notes if one.beyond_limits})
    if not beyond:
        return ""
    words = _words(setup)
    numbers = sorted({arrangement.tune.bars[index].number for index in beyond})
    text = words["beyond"].format(_bars(numbers, words))
    try:
        with at_most(reading_limits(setup).solving_steps):
            key = _easiest_key(arrangement.tune, setup)
    except OutOfStepsError:
        return text  # too long to be tried in every key
    if key is None:
        return f"{text} {words['no_key']}"
    moved, semitones = key
    texts = words_for(setup.book, setup.instrument)
    name = key_name(moved, texts) or local_names(moved.tonic_name, texts)
    way = words["up"] if semitones > 0 else words["down"]
    return f"{text} {words['key'].format(name, abs(semitones), way)}"


def _easiest_key(tune: Tune, setup: Setup) -> tuple[Key, int] | None:
    best: tuple[float, int, int, Key] | None = None
    for semitones in range(-FARTHEST_SEMITONES, FARTHEST_SEMITONES + 1):
        if semitones == 0:
            continue
        moved = without_pins(transpose_tune(tune, semitones))
        result = arrange(
            moved, setup.instrument, setup.hand, setup.edition.limits, drones="none", chords="none"
        )
        if any(one.beyond_limits or not one.stops for one in result.notes):
            continue
        rank = (result.difficulty, abs(semitones), semitones, moved.key)
        best = rank if best is None else min(best, rank, key=lambda one: one[:3])
    return None if best is None else (best[3], best[2])


def choice_notes(arrangement: Arrangement, setup: Setup) -> tuple[str, ...]:
    """Return lines on the dearest choices of the tune: what the hand does there, and how much
    more the next best way would cost; in the order of the bars."""
    words, texts = _words(setup), words_for(setup.book, setup.instrument)
    told: list[tuple[int, str]] = []
    seen: set[int] = set()
    for one in sorted(arrangement.notes, key=lambda note: -note.cost):
        number = arrangement.tune.bars[one.bar_index].number
        if not one.ways or number in seen or one.note.is_grace:
            continue
        seen.add(number)
        bar = _bars([number], words)
        choice = _choice(one, arrangement, words, texts)
        line = f"{bar[:1].upper()}{bar[1:]}: {choice}"
        told.append((one.bar_index, line))
        if len(told) == MOST_NOTES:
            break
    return tuple(line for _, line in sorted(told))


def _choice(
    one: FingeredNote, arrangement: Arrangement, words: dict[str, str], texts: FixedWords
) -> str:
    tones = []
    for pitch, stop in zip(one.note.pitches, one.stops, strict=False):
        string = string_name(arrangement.instrument.string(stop.string_index), texts)
        name = local_names(pitch.name, texts)
        if stop.finger:
            tones.append(words["pressed"].format(name, string, stop.finger))
        else:
            tones.append(words["open"].format(name))
    ways = ", ".join(words[way] for way in one.ways)
    line = f"{' + '.join(tones)} ({ways})"
    others = [cost for cost, stops in one.alternatives if stops != one.stops]
    if others:
        more = min(others)
        is_equal = more < NOTHING_MORE
        line += "; " + (words["equal"] if is_equal else words["other"].format(texts.decimal(more)))
    return line + "."


def _bars(numbers: list[int], words: dict[str, str]) -> str:
    """Return "bars 3–5, 8", "bar 3" or "the upbeat and bar 1" for rising numbers; 0 is the
    upbeat."""
    counted = [number for number in numbers if number]
    parts = [words["upbeat"]] if len(counted) < len(numbers) else []
    if counted:
        parts.append(words["bar" if len(counted) == 1 else "bars"].format(_ranges(counted)))
    return words["and"].join(parts)


def _ranges(numbers: list[int]) -> str:
    """Return 3-5, 8 for 3 4 5 8."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(str(part[0]) if len(part) == 1 else f"{part[0]}–{part[-1]}" for part in parts)
