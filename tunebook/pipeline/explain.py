"""Say why a tune is fingered as it is, and what else would do: on demand, and as lines of text in
the book (what goes beyond a level, and why a teacher's edition fingers as it does).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from tunebook.book.musical_text import key_name, local_names, string_name
from tunebook.errors import SettingError, SourcePlace
from tunebook.model.arrangement import Arrangement, Beyond, FingeredNote
from tunebook.model.names import bars_in_words
from tunebook.model.tune import Tune
from tunebook.model.voices import voice_label
from tunebook.model.words import FixedWords, words_for
from tunebook.pipeline.load import Setup, load, reading_limits
from tunebook.pipeline.order import tune_identity
from tunebook.pipeline.outcomes import arrange_prepared, arrange_voice
from tunebook.pipeline.players import FIRST_PLACE
from tunebook.pipeline.prepare import Fitted, fit_tune, level_of, prepare_tune
from tunebook.solve.drones.explain import explain_drones
from tunebook.solve.fingering.other_way import NOTICED, OtherPassage, other_way_through
from tunebook.solve.fingering.reasons import (
    bar_range,
    explain_bars,
    other_ways_as_text,
    reasons_as_text,
)
from tunebook.solve.fit import fitting_key
from tunebook.solve.harmony.chords import explain_chords
from tunebook.solve.search.layers import OutOfStepsError, at_most

MOST_NOTES = 4
MOST_FINGERS = 6
MOST_REASONS = 3


def limit_note(arrangement: Arrangement, setup: Setup) -> str:
    """Return what goes beyond the edition's limits and the easiest key that does not; empty when
    nothing does."""
    beyond = sorted({one.bar_index for one in arrangement.notes if one.beyond_limits})
    if not beyond:
        return ""
    words = words_for(setup.book, setup.instrument)
    said = words.notes
    numbers = sorted({arrangement.tune.bars[index].number for index in beyond})
    text = said["beyond"].format(_bars_of(numbers, said))
    try:
        with at_most(reading_limits(setup).solving_steps):
            key = fitting_key(arrangement.tune, level_of(arrangement.tune, setup))
    except OutOfStepsError:
        return text  # too long to be tried in every key
    if key is None:
        return f"{text} {said['no_key']}"
    moved = key.tune.key
    name = key_name(moved, words) or local_names(moved.tonic_name, words)
    way = said["up"] if key.semitones > 0 else said["down"]
    return f"{text} {said['key'].format(name, abs(key.semitones), way)}"


def left_out_note(beyond: Beyond, setup: Setup) -> str:
    """Return why the edition leaves a tune out, in the book's language."""
    said = words_for(setup.book, setup.instrument).notes
    text = said["beyond"].format(_bars_of(list(beyond.bars), said))
    told = [text, said["no_key"] if beyond.tried_keys else "", said.get(beyond.fitting_line, "")]
    return " ".join(part for part in told if part)


def choice_notes(arrangement: Arrangement, setup: Setup) -> tuple[str, ...]:
    """Return lines on the dearest choices of the tune: what the hand does there, and what the next
    best way would spare and ask; in the order of the bars."""
    words = words_for(setup.book, setup.instrument)
    told: list[tuple[int, str]] = []
    seen: set[int] = set()
    for one in sorted(arrangement.notes, key=lambda note: -note.cost):
        number = arrangement.tune.bars[one.bar_index].number
        if not one.ways or number in seen or one.note.is_grace:
            continue
        seen.add(number)
        bar = _bars_of([number], words.notes)
        choice = _choice(one, arrangement, words)
        line = f"{bar[:1].upper()}{bar[1:]}: {choice}"
        told.append((one.bar_index, line))
        if len(told) == MOST_NOTES:
            break
    return tuple(line for _, line in sorted(told))


def _choice(one: FingeredNote, arrangement: Arrangement, words: FixedWords) -> str:
    said = words.notes
    tones = []
    for pitch, stop in zip(one.note.pitches, one.stops, strict=False):
        string = string_name(arrangement.instrument.string(stop.string_index), words)
        name = local_names(pitch.name, words)
        if stop.finger:
            tones.append(said["pressed"].format(name, string, stop.finger))
        else:
            tones.append(said["open"].format(name))
    ways = ", ".join(said[way] for way in one.ways)
    line = f"{' + '.join(tones)} ({ways})"
    other = other_way_through(arrangement, one.bar_index)
    if other is not None:
        line += "; " + _other(other, arrangement, words)
    return line + "."


def _other(other: OtherPassage, arrangement: Arrangement, words: FixedWords) -> str:
    """The other way in a player's words: its fingers and strings, what it spares, what it asks."""
    said = words.notes
    notes = other.notes[:MOST_FINGERS]
    fingers = "-".join("+".join(str(stop.finger) for stop in one.stops) for one in notes)
    if len(other.notes) > MOST_FINGERS:
        fingers += " …"
    strings = dict.fromkeys(stop.string_index for one in notes for stop in one.stops)
    names = [string_name(arrangement.instrument.string(index), words) for index in strings]
    place = said["on_string" if len(names) == 1 else "on_strings"]
    place = place.format(said["strings_and"].join(names))
    spared, asked = [], []
    for name, before, after in other.counted:
        thing = said["a_" + name]
        if after < before:
            spared.append(said["less" if after else "without"].format(thing))
        elif after > before:
            asked.append(_times(thing, after - before, said))
    for name, more in other.felt:
        if abs(more) >= NOTICED:
            (asked if more > 0 else spared).append(said[("more_" if more > 0 else "less_") + name])
    if not spared and not asked and abs(other.cost_more) < NOTICED:
        return said["or"].format(fingers, place, said["taste"])
    if not asked:
        asked.append(said["a_more_work" if other.cost_more > 0 else "a_unlike"])
    parts = [", ".join(spared[:MOST_REASONS])] if spared else []
    if asked:
        asks = ", ".join(asked[:MOST_REASONS])
        parts.append(said["but" if spared else "only"].format(asks))
    return said["or"].format(fingers, place, ", ".join(parts))


def _times(thing: str, count: int, said: Mapping[str, str]) -> str:
    if count == 1:
        return thing
    return said["twice"].format(thing) if count == 2 else said["times"].format(thing, count)


def _bars_of(numbers: list[int], words: Mapping[str, str]) -> str:
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


OTHER_WAYS = 3
NOTE_ALTERNATIVES = 2
LAST_BAR = 9999


@dataclass(frozen=True, slots=True)
class ExplainOrder:
    """What to explain. ``number`` is the tune's X: number, ``bars`` the option's text, ``voice`` a
    voice beside the melody by what the file calls it or by its place."""

    number: str | None = None
    bars: str | None = None
    chords: bool = False
    drones: bool = False
    voice: str | None = None


def explain_tune(setup: Setup, order: ExplainOrder) -> Iterator[str]:
    """Yield lines of text: the fingering of the bars with its reasons, or the chords, or the
    drones. Raises SettingError for a tune, bars or a voice that are not there."""
    first, last = read_bars(order.bars)
    tune = find_tune(setup, order.number)
    setup = setup.for_tune(tune)
    if order.voice is not None and order.chords:
        what = "chords are those of all voices together"
        raise SettingError(what, "leave out --voice", tune.place)
    try:
        if order.voice is not None:
            number = _find_voice(tune, order.voice)
            # All voices are as an edition has them that prints the melody above.
            setup = replace(setup, edition=replace(setup.edition, voices="both"))
        fitted = _fitted(tune, setup)
        if order.voice is None:
            arrangement, name = _arrange(fitted.tune, setup, first, last), ""
        else:
            arrangement = _arrange_voice(fitted.tune, number, setup, first, last)
            name = f", {voice_label(tune.voices[number], number)}"
        yield f"{tune_identity(tune)}  {tune.title}{name}"
        yield _tempo_line(arrangement)
        yield from _key_lines(fitted, setup)
        if order.chords:
            yield from _chord_lines(arrangement, setup, first, last)
        if order.drones:
            yield from _drone_lines(arrangement, setup)
        if not (order.chords or order.drones):
            yield from _fingering_lines(arrangement, first, last)
    except ValueError as error:
        what, _, remedy = str(error).partition("; ")
        raise SettingError(what, remedy, tune.place) from None
    for message in arrangement.messages:
        yield str(message)


def read_bars(text: str | None) -> tuple[int, int]:
    """The first and last bar of the text of an option, as "3-6" or "3"; of none, all. Raises
    SettingError."""
    if text is None:
        return 0, LAST_BAR
    match = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", text.strip())
    if match is None or int(match[2] or match[1]) < int(match[1]):
        raise SettingError(
            f"bars {text!r} cannot be read", "write them as 3-6, the smaller first, or 3"
        )
    return int(match[1]), int(match[2] or match[1])


def find_tune(setup: Setup, number: str | None) -> Tune:
    """The tune of this X: number, title or identity, or the only one there is. Raises
    SettingError when there is none."""
    tunes = load(setup, is_ordered=False).tunes
    if number is None and len(tunes) == 1:
        return tunes[0]
    for called in (tune_identity, lambda tune: tune.number, lambda tune: tune.title):
        meant = [tune for tune in tunes if number is not None and called(tune) == number]
        if len(meant) == 1:
            return meant[0]
        if meant:
            known = ", ".join(tune_identity(tune) for tune in meant[:20])
            what = f"{len(meant)} tunes are {number!r}"
            remedy = f"name the FILE, or give --tune, one of {known}"
            raise SettingError(what, remedy, SourcePlace(str(setup.folder)))
    names = [tune.number for tune in tunes]
    if len(set(names)) < len(names) or "" in names:
        names = [tune_identity(tune) for tune in tunes]
    known = ", ".join(names[:20])
    what = "which tune?" if number is None else f"no tune {number!r}"
    raise SettingError(what, f"give --tune, one of {known}", SourcePlace(str(setup.folder)))


def _fitted(tune: Tune, setup: Setup) -> Fitted:
    """The tune as the book prints it."""
    prepared, _ = prepare_tune(tune, setup)
    return fit_tune(prepared, setup)


def _key_lines(fitted: Fitted, setup: Setup) -> Iterator[str]:
    """In which key the book prints the tune, where that is not the one in which it is written."""
    if fitted.beyond is not None:
        bars = bars_in_words(fitted.beyond.bars)
        yield f"edition {setup.edition.name!r} leaves it out: it goes beyond its limits in {bars}"
    moved = fitted.tune.moved
    if moved is not None:
        way = "up" if moved.semitones > 0 else "down"
        where = f"{abs(moved.semitones)} semitones {way}"
        yield f"printed in {fitted.tune.key.name}, written in {moved.key.name} ({where})"


def _arrange(prepared: Tune, setup: Setup, first: int, last: int) -> Arrangement:
    """The arrangement that the book prints, with other ways through the bars."""
    return arrange_prepared(
        prepared,
        setup,
        alternatives=NOTE_ALTERNATIVES,
        other_ways=OTHER_WAYS - 1,
        bars=bar_range(prepared, first, last),
    )


def _find_voice(tune: Tune, wished: str) -> int:
    names = [
        (voice.id, voice.name, voice.short_name, str(FIRST_PLACE + number))
        for number, voice in enumerate(tune.voices)
    ]
    found = [number for number, known in enumerate(names) if wished and wished in known]
    if found:
        return found[0]
    if not names:
        raise SettingError(
            "the tune has no voice beside its melody", "leave out --voice", tune.place
        )
    known = ", ".join(next(name for name in one if name) for one in names)
    raise SettingError(f"no voice {wished!r} beside the melody", f"known are {known}", tune.place)


def _arrange_voice(prepared: Tune, number: int, setup: Setup, first: int, last: int) -> Arrangement:
    """The voice as the book prints it, with other ways through the bars."""
    return arrange_voice(
        prepared,
        number,
        setup,
        alternatives=NOTE_ALTERNATIVES,
        other_ways=OTHER_WAYS - 1,
        bars=bar_range(prepared, first, last),
    )


def _drone_lines(arrangement: Arrangement, setup: Setup) -> Iterator[str]:
    has_drones = setup.edition.drones != "none" and arrangement.limits.allows_drone
    if not has_drones and not arrangement.accents:
        yield "this edition has no drones"
        return
    yield from explain_drones(arrangement)


def _chord_lines(arrangement: Arrangement, setup: Setup, first: int, last: int) -> Iterator[str]:
    if setup.edition.chords == "none":
        yield "this edition has no chords"
        return
    yield from explain_chords(arrangement.tune, arrangement.chords, first, last)


def _tempo_line(arrangement: Arrangement) -> str:
    quarters = 240.0 * arrangement.whole_notes_per_second
    source = "the usual one for its type" if arrangement.tempo_is_default else "as written"
    instrument = arrangement.instrument
    return (
        f"{instrument.title}, {instrument.tuning_name}; {quarters:.0f} quarter notes a minute "
        f"({source}); cost {arrangement.difficulty:.2f} a second{_with_drones(arrangement)}"
    )


def _with_drones(arrangement: Arrangement) -> str:
    """The effort with held drones, where they change it."""
    effort = arrangement.difficulty_with_drones
    return "" if effort is None else f", {effort:.2f} with the held drones"


def _fingering_lines(arrangement: Arrangement, first: int, last: int) -> Iterator[str]:
    yield from reasons_as_text(explain_bars(arrangement, first, last))
    if arrangement.other_ways:
        yield "other ways through these bars, with what they cost more:"
        yield from other_ways_as_text(arrangement)
