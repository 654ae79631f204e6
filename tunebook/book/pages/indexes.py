"""Indexes by title, type, key, technique and opening, and the ladder from easy to hard.

An index that would say nothing new is left out: all of them in a book of fewer than LEAST_TUNES
tunes, and one of types or keys in which everything stands under one heading.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from tunebook.book.content import (
    INDEX_KEYS,
    INDEX_OPENINGS,
    INDEX_TECHNIQUES,
    INDEX_TITLES,
    INDEX_TYPES,
    LADDER,
    BookContent,
    BookTune,
    tune_anchor,
)
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import SERIF
from tunebook.book.layout.blocks import (
    ENTRY_LEADING,
    Beside,
    Entry,
    Flowed,
    Lines,
    Music,
    Space,
    Stack,
    fitted_music,
)
from tunebook.book.layout.flow import Page, Stream, column_width_pt, flow, flow_in_fewest
from tunebook.book.layout.tags import Figure
from tunebook.book.musical_text import (
    further_voices,
    key_name,
    note_name,
    pitch_name,
    rhythm_name,
    tempo_text,
)
from tunebook.book.pages.sorting import initial, sort_key
from tunebook.model.arrangement import Arrangement
from tunebook.model.tune import Tune
from tunebook.model.words import FixedWords

LEAST_TUNES = 4
COLUMNS = 2
# The hand's place in first position, and how far above it counts as another one (keys).
FIRST_POSITION_HAND = 2.0
HAND_LEEWAY = 1.0
# Of what more tunes than these have, those are listed that do without.
MOST_WITH_TECHNIQUE = 0.6
MUCH_LITTLE_FINGER = 0.2
HIGHEST_ROW = 1.25
"""How high a row of openings may be, by the usual height of one; our judgement."""
OPENING_NOTES = 8
LEAST_STEPS_SHOWN = 4
LONGEST_WHOLE_GROUP = 6
LEAST_LETTERED = 30
"""From so many titles on, the index of titles has headings by letter."""


def index_pages(content: BookContent, design: Design, *, has_titles: bool = True) -> list[Page]:
    """Return the indexes that are parts of the edition, each beginning on a page of its own unless
    it is short; that of titles only where ``has_titles``."""
    if len(content.tunes) < LEAST_TUNES:
        return []
    words, parts = design.words, content.edition.parts
    streams = _titles(content, design) if has_titles and "titles" in parts else []
    groups = {
        "types": (words.index_types, INDEX_TYPES, _by_type),
        "keys": (words.index_keys, INDEX_KEYS, _by_key),
        "techniques": (words.index_techniques, INDEX_TECHNIQUES, _by_technique),
    }
    for part, (title, anchor, grouped_by) in groups.items():
        grouped = grouped_by(content, design) if part in parts else {}
        if len(grouped) > 1 or (grouped and anchor == INDEX_TECHNIQUES):
            streams += _grouped(title, anchor, grouped, content, design)
    streams += _openings(content, design) if "openings" in parts else []
    return flow(streams, design.page_format, words.index_titles)


def _index(
    title: str,
    anchor: str,
    items: Iterable[Flowed],
    design: Design,
    *,
    is_whole: bool = False,
    notes: tuple[Flowed, ...] = (),
) -> Stream:
    """An index in columns under its title."""
    item = design.page_title(title, anchor)
    heading = Flowed(item.block, design.size(22.0), anchor=anchor, outline=(title, 0))
    return Stream(tuple(items), COLUMNS, heading=(heading, *notes), title=title, is_whole=is_whole)


def _entry(
    text: str, tune: BookTune, design: Design, middle: str = "", heading: Flowed | None = None
) -> Flowed:
    """A line of an index; ``heading`` is set once more where it goes on in another column. Where
    nothing else is to stand in the ``middle``, it says that the tune has a second voice."""
    size = design.entry(9.5)
    width = column_width_pt(design.page_format, COLUMNS)
    anchor = tune_anchor(tune.identity)
    entry = Entry(
        text=text,
        anchor=anchor,
        width_pt=width,
        role=SERIF,
        size_pt=size,
        leading_pt=size * ENTRY_LEADING,
        middle=middle or further_voices(tune.arrangement.tune, design.words),
    )
    return Flowed(entry, continued=heading.block if heading else None)


def _titles(content: BookContent, design: Design) -> list[Stream]:
    """Every title of every tune, other titles too."""
    language = content.book.language
    pairs = _sorted_titles(content)
    items: list[Flowed] = []
    letter, heading = "", None
    width = column_width_pt(design.page_format, COLUMNS)
    for title, tune in pairs:
        first = initial(title, language)
        if first != letter and len(pairs) >= LEAST_LETTERED:
            heading = design.small_heading(first, width)
            items.append(heading)
        letter = first
        items.append(_entry(title, tune, design, heading=heading))
    return [_index(design.words.index_titles, INDEX_TITLES, items, design)]


def title_entries(content: BookContent, design: Design) -> list[Flowed]:
    """A line for every title of every tune in alphabetical order, other titles too."""
    pairs = _sorted_titles(content)
    return [_entry(title, tune, design) for title, tune in pairs]


def _sorted_titles(content: BookContent) -> list[tuple[str, BookTune]]:
    pairs = [(title, tune) for tune in content.tunes for title in _titles_of(tune)]
    return sorted(pairs, key=lambda pair: sort_key(pair[0], content.book.language))


def _titles_of(tune: BookTune) -> tuple[str, ...]:
    return tuple(title for title in tune.arrangement.tune.titles if title) or (tune.identity,)


def _grouped(
    title: str,
    anchor: str,
    groups: Mapping[str, list[BookTune]],
    content: BookContent,
    design: Design,
) -> list[Stream]:
    width = column_width_pt(design.page_format, COLUMNS)
    items: list[Flowed] = []
    for name, tunes in groups.items():
        items.append(design.small_heading(name, width))
        again = design.small_heading(f"{name} ({design.words.continued})", width)
        entries = [_entry(_titles_of(tune)[0], tune, design, heading=again) for tune in tunes]
        # A short group is not torn; of a longer one at least two entries stand together.
        kept = len(entries) - 1 if len(entries) <= LONGEST_WHOLE_GROUP else 1
        items += [replace(entry, keeps_with_next=True) for entry in entries[:kept]]
        items += entries[kept:]
    return [_index(title, anchor, items, design, is_whole=True)]


def _sorted_groups(
    content: BookContent,
    name_of: Callable[[BookTune], str],
    rank_of: Callable[[BookTune], Any],
    other: str,
) -> dict[str, list[BookTune]]:
    """Tunes by the name that they share, the names in the order of ``rank_of``, tunes without a
    name last as ``other``; each group in alphabetical order."""
    language = content.book.language
    ranked = sorted(content.tunes, key=lambda tune: sort_key(_titles_of(tune)[0], language))
    ranked.sort(key=lambda tune: (not name_of(tune), rank_of(tune)))
    groups: dict[str, list[BookTune]] = {}
    for tune in ranked:
        groups.setdefault(name_of(tune) or other, []).append(tune)
    return groups


def _by_type(content: BookContent, design: Design) -> dict[str, list[BookTune]]:
    def name_of(tune: BookTune) -> str:
        return rhythm_name(tune.arrangement.tune)

    def rank_of(tune: BookTune) -> Any:
        return sort_key(name_of(tune), content.book.language)

    return _sorted_groups(content, name_of, rank_of, design.words.no_type)


def _by_key(content: BookContent, design: Design) -> dict[str, list[BookTune]]:
    """By keynote from C up, then by mode."""

    def rank_of(tune: BookTune) -> Any:
        key = tune.arrangement.tune.key
        mode = modes.index(key.mode) if key.mode in modes else len(modes)
        return (key.tonic_step, key.tonic_alter, mode)

    words = design.words
    modes = tuple(words.modes)
    return _sorted_groups(
        content, lambda tune: key_name(tune.arrangement.tune.key, words), rank_of, words.no_key
    )


def _by_technique(content: BookContent, design: Design) -> dict[str, list[BookTune]]:
    """Tunes with each technique; of what most tunes have, those without it."""
    words = design.words
    groups: dict[str, list[BookTune]] = {}
    known = [(tune, techniques_of(tune)) for tune in content.tunes]
    for kind, name in words.techniques.items():
        having = [tune for tune, kinds in known if kind in kinds]
        without = [tune for tune, kinds in known if kind not in kinds]
        if having and len(having) <= MOST_WITH_TECHNIQUE * len(content.tunes):
            groups[name] = having
        elif having and without:
            groups[words.all_but.format(name)] = without
    return groups


def techniques_of(tune: BookTune) -> frozenset[str]:
    """Techniques that the tune asks for, by their names in the fixed words."""
    arrangement = tune.arrangement
    notes = arrangement.notes
    found = {way for one in notes for way in one.ways}
    stops = [stop for one in notes for stop in one.stops]
    pressed = [stop for stop in stops if stop.finger]
    little = sum(stop.finger == 4 for stop in pressed)
    facts = {
        "held_drone": any(span.stop.key for span in arrangement.drone),
        "open_drone": any(span.stop.key == 0 for span in arrangement.drone),
        "double_stop": any(len(one.stops) > 1 for one in notes),
        "above_first": any(one.hand_key > FIRST_POSITION_HAND + HAND_LEEWAY for one in notes),
        "little_finger": bool(pressed) and little / len(pressed) > MUCH_LITTLE_FINGER,
        "triplet": any(one.note.tuplet is not None for one in notes),
        "grace": any(one.note.is_grace for one in notes),
        "second_voice": arrangement.tune.has_second_voice,
        "chord": any(span.source == "tune" for span in arrangement.chords),
    }
    return frozenset(found | {kind for kind, is_so in facts.items() if is_so})


def _openings(content: BookContent, design: Design) -> list[Stream]:
    """Engraved openings, sorted by the steps of the scale."""
    width = column_width_pt(design.page_format, COLUMNS)
    tunes = [
        (tune, music)
        for tune in content.tunes
        if (music := _first_bars(tune, design, width)) is not None
    ]
    if len(tunes) < LEAST_TUNES:
        return []
    tunes.sort(key=lambda pair: (scale_steps(pair[0].arrangement.tune), pair[0].identity))
    items = []
    row = row_height([music.height_pt for _, music in tunes])
    for tune, music in tunes:
        rest = Space(max(row - music.height_pt, 0.0))
        name = _entry(_titles_of(tune)[0], tune, design, _steps_text(tune, design, width)).block
        items.append(Flowed(Stack((name, music, rest)), design.size(7.0)))
    words = design.words
    notes = (design.note(words.index_openings_text), Flowed(Space(design.size(8.0))))
    return [_index(words.index_openings, INDEX_OPENINGS, items, design, is_whole=True, notes=notes)]


def row_height(heights: Sequence[float]) -> float:
    """The height that all openings get, so that the lines of both columns stand level; what goes
    far beyond the usual is left higher."""
    return min(max(heights), HIGHEST_ROW * sorted(heights)[len(heights) // 2])


def _first_bars(tune: BookTune, design: Design, width: float) -> Music | None:
    piece = tune.piece
    if piece.opening is None or piece.opening_pdf is None:
        return None
    text = design.words.pictures["opening"].format(tune.title)
    figure = Figure(f"opening {tune.identity}", text)
    return fitted_music(piece.opening_pdf, piece.opening, width, figure)


def _steps_text(tune: BookTune, design: Design, width: float) -> str:
    """The first steps, as many as find room beside the title."""
    size = design.entry(9.5)
    room = width - design.fonts.width(_titles_of(tune)[0], SERIF, size) - 4.5 * size
    steps = [str(step) for step in scale_steps(tune.arrangement.tune)]
    while len(steps) > LEAST_STEPS_SHOWN:
        if design.fonts.width(" ".join(steps), SERIF, size * 0.9) <= room:
            break
        steps.pop()
    return " ".join(steps)


def scale_steps(tune: Tune) -> tuple[int, ...]:
    """The first notes as steps of the scale from the keynote (1 to 7), the upbeat included."""
    pitches = (
        note.pitches[-1]
        for bar in tune.bars
        for note in bar.notes
        if note.pitches and not note.is_grace
    )
    return tuple(
        (pitch.step - tune.key.tonic_step) % 7 + 1
        for pitch in itertools.islice(pitches, OPENING_NOTES)
    )


LEAST_TUNES_IN_LADDER = 3
MOST_IN_ONE_COLUMN = 30
FIRST_POSITION_KEY = 7
KEY_WORTH = 0.1
"""What a key above first position adds to a tune's place in the ladder; our judgement."""
OCTAVE = 12
COMPASS_WORTH = 0.03
"""The same of each semitone of a compass beyond an octave."""


def rung_of(arrangement: Arrangement) -> float:
    """Where a tune stands in the ladder: its effort a second, more where it goes above first
    position, and more where its compass is wide: a slow tune may be a hard one."""
    stops = [stop for one in arrangement.notes for stop in one.stops]
    midis = [stop.midi for stop in stops]
    above = max((stop.key for stop in stops), default=0) - FIRST_POSITION_KEY
    wide = max(midis, default=0) - min(midis, default=0) - OCTAVE
    return arrangement.difficulty + KEY_WORTH * max(0, above) + COMPASS_WORTH * max(0, wide)


def ladder_pages(content: BookContent, design: Design) -> list[Page]:
    """Return the ladder; none for a book of fewer than LEAST_TUNES_IN_LADDER tunes."""
    if len(content.tunes) < LEAST_TUNES_IN_LADDER:
        return []
    words = design.words
    columns = 1 if len(content.tunes) <= MOST_IN_ONE_COLUMN else 2
    width = column_width_pt(design.page_format, columns)
    ranked = sorted(content.tunes, key=lambda tune: (rung_of(tune.arrangement), tune.identity))
    heading = (
        design.page_title(words.ladder_title, LADDER),
        design.body(words.ladder_text),
        Flowed(Space(design.size(6.0))),
    )
    size = design.reading(10.5) if columns == 1 else design.entry(9.5)
    numbers_pt = design.fonts.width(f"{len(ranked)}.", SERIF, size)
    rungs = [
        _rung(f"{number}.", tune, design, width, size, numbers_pt)
        for number, tune in enumerate(ranked, 1)
    ]

    def streams(ease: float) -> list[Stream]:
        items = tuple(Flowed(rung, design.size(6.0) * ease) for rung in rungs)
        return [Stream(items, columns, heading=heading)]

    return flow_in_fewest(streams, design.page_format, words.ladder_title, (1.0, 0.8, 0.6, 0.4))


def _rung(
    number: str, tune: BookTune, design: Design, width: float, size: float, numbers_pt: float
) -> Stack:
    """Number, title, difficulty and page of one tune, the reason below."""
    indent = numbers_pt + design.size(5.0)
    entry = Entry(
        text=tune.title,
        anchor=tune_anchor(tune.identity),
        width_pt=width,
        role=SERIF,
        size_pt=size,
        leading_pt=size * ENTRY_LEADING,
        indent_pt=indent,
        middle=design.words.decimal(rung_of(tune.arrangement)),
    )
    place = Lines(
        lines=(number,),
        role=SERIF,
        size_pt=size,
        leading_pt=size * ENTRY_LEADING,
        width_pt=numbers_pt,
        align="right",
    )
    reason = design.small(facts_of(tune, design.words), width, indent_pt=indent)
    return Stack((Beside((place, entry), (0.0, 0.0)), reason))


def facts_of(tune: BookTune, words: FixedWords) -> str:
    """Return what makes the tune easy or hard, in a few words."""
    notes = tune.arrangement.notes
    counts = {
        way: sum(way in one.ways for one in notes)
        for way in ("shift", "crossed", "row_jump", "barre")
    }
    facts = [
        text
        for text in (
            _counted(counts["shift"], words.reason_shifts),
            _counted(counts["crossed"], words.reason_crossed),
            _counted(counts["row_jump"], words.reason_jumps),
            words.reason_barre if counts["barre"] else "",
            _highest(tune, words),
            _held(tune, words),
            tempo_text(tune.arrangement),
        )
        if text
    ]
    return ", ".join(facts)


def _held(tune: BookTune, words: FixedWords) -> str:
    """That keys are held, and the effort with them, which the ladder leaves aside."""
    if not any(one.stop.key for one in tune.arrangement.drone):
        return ""
    effort = tune.arrangement.difficulty_with_drones
    if effort is None:
        return words.reason_held
    return words.reason_held_effort.format(words.decimal(effort))


def _counted(count: int, forms: tuple[str, str]) -> str:
    return forms[0 if count == 1 else 1].format(count) if count else ""


def _highest(tune: BookTune, words: FixedWords) -> str:
    stops = [stop for one in tune.arrangement.notes for stop in one.stops]
    if not stops:
        return ""
    highest = max(stops, key=lambda stop: (stop.key, stop.string_index))
    if highest.key <= FIRST_POSITION_KEY:
        return words.reason_first
    string = tune.arrangement.instrument.string(highest.string_index)
    is_keyed = tune.arrangement.instrument.kind == "keyed"
    place = str(highest.key) if is_keyed else pitch_name(highest.midi, words)
    return words.reason_highest.format(place, note_name(string.open_midi, words))
