"""What stands above a tune's music, its head, and what stands below, its tail: chord shapes, words
and remarks."""

from __future__ import annotations

from tunebook.book.content import BookTune, SoundLink
from tunebook.book.design import Design
from tunebook.book.fonts.fonts import BOLD, ITALIC, SERIF
from tunebook.book.layout.blocks import (
    Beside,
    Block,
    Drawing,
    Lines,
    Space,
    Stack,
    breakable,
    broken,
    shortened,
    stacked,
)
from tunebook.book.layout.sheet import GREY, Sheet
from tunebook.book.musical_text import SEPARATOR, info_line, retune_text, source_line
from tunebook.book.pages.chords import shapes_row
from tunebook.book.pages.sound_links import beside_code, draw_mark, mark_text, with_code
from tunebook.model.book import Edition
from tunebook.model.tune import Tune
from tunebook.model.words import FixedWords

_TITLE_PT = 18.0
_SOURCE_PT = 9.5
_INFO_PT = 9.5
_WORDS_PT = 9.5
# A longer remark is printed with the sources at the end of the book instead.
LONGEST_REMARK = 420
TOLD_WITH_TUNE = "SZN"
# More lines of words than this are set in two columns.
_LINES_IN_ONE_COLUMN = 6


def tune_head(tune: BookTune, design: Design) -> Block:
    """Title and source over a hair line, other titles and the line of facts below it."""
    texts = _texts_block(tune.arrangement.tune.texts, design)
    above = _title_and_facts(tune, beside_code(tune.sound, design))
    return Stack((with_code(above, tune.sound, design), *texts))


def _title_and_facts(tune: BookTune, design: Design) -> Block:
    source = source_line(tune.arrangement.tune)
    size, lines, has_room = _title_lines(tune.title, source, design)
    blocks: list[Block] = [_title_block(lines, source if has_room else "", size, design)]
    if source and not has_room:
        blocks.append(_source_block(source, design))
    also = " · ".join(tune.arrangement.tune.titles[1:])
    also = design.words.also.format(also) if also else ""
    own = info_line(tune.arrangement, design.words), tune.tuning_note
    facts = SEPARATOR.join(fact for fact in own if fact)
    info = SEPARATOR.join(fact for fact in (facts, tune.voices_note) if fact)
    if design.fonts.width(info, SERIF, design.reading(_INFO_PT)) > design.width_pt:
        info = facts
        also = SEPARATOR.join(fact for fact in (tune.voices_note, also) if fact)
    blocks.append(_ruled_info(info, also, design, tune.sound))
    retuning = retune_text(tune.retuning, design.words)
    if retuning:
        blocks += [design.small(retuning, design.width_pt, role=BOLD), Space(design.size(3.0))]
    return Stack(tuple(blocks))


def continued_head(tune: BookTune, design: Design) -> Block:
    """The short head where a tune goes on on another page."""
    size = design.reading(9.5)
    text = f"({design.words.continued})"
    room = design.width_pt - design.fonts.width(text, ITALIC, size) - 4
    title = shortened(tune.title, design.fonts, BOLD, size, room)

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        base = top_pt + size
        with sheet.tags.artifact():
            wide = sheet.text(left_pt, base, title, BOLD, size)
            sheet.text(left_pt + wide + 4, base, text, ITALIC, size, grey=GREY)

    return Drawing(size * 1.2 + design.size(6.0), paint)


# More of a tune's ABC than this is not read out.
_MOST_ABC = 20_000


def in_words(tune: BookTune, words: FixedWords) -> str:
    """The music for those who do not see it: title, facts, number of bars, and the tune's own
    ABC."""
    piece = tune.arrangement.tune
    bars = sum(not bar.is_continued for bar in piece.bars)
    text = words.pictures["tune"].format(tune.title, info_line(tune.arrangement, words), bars)
    abc = "".join(
        letter if letter.isprintable() or letter == "\n" else " " for letter in piece.source_text
    ).strip()
    if not abc or len(abc) > _MOST_ABC:
        return text
    return f"{text} {words.pictures['abc'].format(abc)}"


def tune_tail(tune: BookTune, edition: Edition, design: Design) -> Block | None:
    """Chord shapes, words and remarks below the music; None when there is nothing."""
    blocks: list[Block] = []
    if edition.shows_shapes:
        shapes = shapes_row(tune.arrangement, design)
        if shapes is not None:
            blocks += [Space(design.size(6.0)), shapes]
    if tune.arrangement.tune.words and edition.has_words_of(tune.arrangement.tune):
        blocks += [Space(design.size(6.0)), words_block(tune.arrangement.tune.words, design)]
    blocks += _texts_block(tune.arrangement.tune.closing_texts, design)
    remarks = _remarks(tune, edition, design)
    if remarks:
        blocks += [Space(design.size(4.0)), *remarks]
    return Stack(tuple(blocks)) if blocks else None


def _texts_block(texts: tuple[str, ...], design: Design) -> list[Block]:
    """Free text of the tune's file; an empty line of it parts paragraphs."""
    if not any(line.strip() for line in texts):
        return []
    gap = Space(design.size(4.0))
    lines = [design.small(line, design.width_pt) if line.strip() else gap for line in texts]
    while lines[-1] is gap:
        lines.pop()
    return [gap, stacked(lines), gap]


def told_of(tune: Tune, letters: str, words: FixedWords) -> str:
    """What the tune's fields of these letters (out of C, O, S, B, Z, N, H) tell, in one line:
    composer, origin, sources, transcriber, remarks; empty when none is given."""
    names = {
        "O": words.origin,
        "S": words.found_in,
        "B": words.found_in,
        "Z": words.transcribed,
        "N": words.remark,
        "H": words.remark,
    }
    parts = []
    for letter in letters:
        text = " ".join(" ".join(tune.field(letter)).split())
        if text:
            parts.append(f"{names[letter]}: {text}" if letter in names else text)
    return SEPARATOR.join(parts)


def _title_lines(title: str, source: str, design: Design) -> tuple[float, tuple[str, ...], bool]:
    """Size and lines of the title, and whether the source fits beside its last line."""
    size = design.size(_TITLE_PT)
    source_pt = design.fonts.width(source, ITALIC, design.reading(_SOURCE_PT)) if source else 0.0
    has_room = source_pt <= 0.45 * design.width_pt
    room = design.width_pt - (source_pt + 14.0 if source and has_room else 0.0)
    lines = broken(title, design.fonts, BOLD, size, room)
    if len(lines) > 1:
        # Try a slightly smaller size before taking a second line.
        for share in (0.93, 0.87):
            smaller = broken(title, design.fonts, BOLD, size * share, room)
            if len(smaller) == 1:
                return size * share, smaller, has_room
        size *= 0.9
        lines = _evenly_broken(title, design, size, room)
    return size, lines, has_room


def _evenly_broken(title: str, design: Design, size: float, room: float) -> tuple[str, ...]:
    """Lines of about the same length, so that no single word stands on the last one."""
    lines_at = breakable(title, design.fonts, BOLD, size)
    count = len(lines_at(room))
    width = room
    while width > room / 2 and len(lines_at(width - 12)) <= count:
        width -= 12
    return lines_at(width)


def _title_block(lines: tuple[str, ...], source: str, size: float, design: Design) -> Block:
    leading = size * 1.16

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        base = top_pt + size * 0.95
        with sheet.tagged("H"):
            for index, line in enumerate(lines):
                goes_on = index + 1 < len(lines)
                sheet.text(left_pt, base + index * leading, line, BOLD, size, goes_on=goes_on)
        if source:
            last = base + (len(lines) - 1) * leading
            right = left_pt + design.width_pt
            sheet.text(right, last, source, ITALIC, design.reading(_SOURCE_PT), align="right")

    return Drawing(leading * len(lines), paint)


def _source_block(source: str, design: Design) -> Block:
    size = design.reading(_SOURCE_PT)
    lines = broken(source, design.fonts, ITALIC, size, design.width_pt)
    return Lines(
        lines=lines, role=ITALIC, size_pt=size, leading_pt=size * 1.25,
        width_pt=design.width_pt, align="right",
    )  # fmt: skip


def _ruled_info(info: str, also: str, design: Design, sound: SoundLink | None = None) -> Block:
    size = design.fitting(info, SERIF, _INFO_PT)
    gap = design.size(3.0)
    info_pt = design.fonts.width(info, SERIF, size)
    also_size = size * 0.95
    mark = mark_text(sound, design)
    mark_pt = design.fonts.width(mark, ITALIC, also_size) + 14 if mark else 0.0
    also_pt = design.fonts.width(also, ITALIC, also_size)
    is_beside = info_pt + also_pt + 16 + mark_pt <= design.width_pt
    also_lines = [] if is_beside else broken(also, design.fonts, ITALIC, also_size, design.width_pt)
    # A mark that has no room beside the facts gets a line of its own below all others.
    is_marked_below = bool(mark) and info_pt + mark_pt > design.width_pt
    leading = size * 1.25
    height = gap + size * 1.45 + (len(also_lines) + is_marked_below) * leading

    def paint(sheet: Sheet, left_pt: float, top_pt: float) -> None:
        right = left_pt + design.width_pt
        sheet.rule(left_pt, top_pt + gap * 0.5, right)
        base = top_pt + gap + size
        sheet.text(left_pt, base, info, SERIF, size)
        if also and is_beside:
            sheet.text(right - mark_pt, base, also, ITALIC, also_size, align="right")
        for index, line in enumerate(also_lines, 1):
            sheet.text(left_pt, base + index * leading, line, ITALIC, also_size)
        if sound is not None:
            down = (len(also_lines) + 1) * leading if is_marked_below else 0.0
            draw_mark(sheet, right, base + down, also_size, (mark, sound.address))

    return Drawing(height, paint)


def words_block(words: tuple[str, ...], design: Design) -> Block:
    """Verses below the music, in two columns when there are many lines."""
    size = design.reading(_WORDS_PT)
    gutter = design.size(20.0)
    columns = 2 if len(words) > _LINES_IN_ONE_COLUMN else 1
    width = (design.width_pt - gutter * (columns - 1)) / columns
    verses: list[list[str]] = [[]]
    for line in words:
        if not line.strip():
            verses.append([])
        verses[-1].extend(broken(line, design.fonts, SERIF, size, width))
    verses = [verse for verse in verses if verse]
    if not verses:
        return Space(0.0)
    parts = _in_columns(verses, columns)
    blocks = tuple(
        Stack(
            tuple(
                part
                for verse in column
                for part in (Lines(tuple(verse), SERIF, size, size * 1.25), Space(size * 0.5))
            )
        )
        for column in parts
    )
    lefts = tuple(index * (width + gutter) for index in range(len(blocks)))
    return Beside(blocks, lefts)


def _in_columns(verses: list[list[str]], columns: int) -> list[list[list[str]]]:
    """Verses over the columns, as even as whole verses allow; a single long one is cut."""
    if columns == 1:
        return [verses]
    if len(verses) == 1:
        half = (len(verses[0]) + 1) // 2
        return [[verses[0][:half]], [verses[0][half:]]]
    lengths = [len(verse) + 0.5 for verse in verses]
    cut = min(
        range(1, len(verses)),
        key=lambda count: max(sum(lengths[:count]), sum(lengths[count:])),
    )
    return [verses[:cut], verses[cut:]]


def _remarks(tune: BookTune, edition: Edition, design: Design) -> list[Block]:
    """Small print below the tune: limits, a teacher's notes, sources and remarks."""
    blocks: list[Block] = []
    if tune.limit_note:
        blocks.append(design.small(tune.limit_note, design.width_pt, role=BOLD))
    if edition.shows_notes_on_choices:
        blocks += [design.small(note, design.width_pt) for note in tune.choice_notes]
    if edition.shows_sources:
        text = told_of(tune.arrangement.tune, TOLD_WITH_TUNE, design.words)
        if text and len(text) <= LONGEST_REMARK:
            blocks.append(design.small(text, design.width_pt, role=ITALIC))
    return [stacked(blocks)] if blocks else []
