"""The text of a file cut into tunes, and one tune's text to a Tune.

Source: The ABC Music Standard 2.1; section 2.2: a tune begins with X: and ends with an empty line
or the end of the file; a file header may stand before the first tune.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from string import ascii_letters
from typing import overload

from tunebook.errors import InputError, Message, SourcePlace
from tunebook.model.tune import Bar, Tune, Voice, VoiceName
from tunebook.read.abc.finish import diagnose_bars, finish_bars, split_at_line_ends
from tunebook.read.abc.header import TuneHeader, printed_clef, read_header, say_transposition
from tunebook.read.abc.keys import read_clef, read_properties
from tunebook.read.abc.lines import (
    KNOWN_FIELDS,
    OUTDATED_FIELDS,
    Item,
    SortedLines,
    TextLimits,
    sort_lines,
)
from tunebook.read.abc.music import MusicReader
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.repeats import played_order
from tunebook.read.abc.stray_lines import is_field, looks_like_music
from tunebook.read.abc.text import is_text, plain_text
from tunebook.read.abc.voices import VoiceLines, name_of_voice, voice_lines
from tunebook.read.alignment import fit_voice
from tunebook.read.limits import DEFAULT_LIMITS, ReadingLimits
from tunebook.read.spots import Spots

_FIELD = re.compile(r"[A-Za-z+]:")
_FOREIGN = re.compile(
    "^([" + "".join(sorted(set(ascii_letters) - KNOWN_FIELDS - OUTDATED_FIELDS)) + r"]):(?![|:\]])",
    re.MULTILINE,
)
_LONGEST_NUMBER = 300
_FILE_FIELDS = frozenset("ABCDFGHILMmNORrSUZ")


@dataclass(frozen=True, slots=True)
class TuneText:
    """The text of one tune. ``number`` is that of X: (may be empty), ``first_line`` the line of
    its first line in the file, ``header`` the file header that applies to it, ``title_above`` the
    text of a T: that stands right above X:. Of a text that was made of a score ``spots`` say where
    in the score its places lie, and ``messages`` what of the score could not be read."""

    place: SourcePlace
    number: str
    text: str
    first_line: int
    header: str = ""
    title_above: str = ""
    spots: Spots | None = None
    messages: tuple[Message, ...] = ()


def cut_into_tunes(
    text: str, path: str, limits: ReadingLimits = DEFAULT_LIMITS
) -> Iterator[TuneText | Message]:
    """Cut a file's text into tunes with their line numbers; say what is left out."""
    header = ""
    may_have_header = True
    above: list[tuple[int, str]] = []
    foreign = ForeignFields(path)
    for start, block, is_above_number in _blocks(text):
        titles, above = above, []
        if is_above_number:
            block, above = _without_last_titles(block, start)
        found = _tune_of(block, start, path, header)
        if found is None:
            yield from _left_out(titles, path)
            if may_have_header:
                header = _file_header(block, start)
                yield from _check_header(header, path)
            yield from _check_outside(block, start, path, may_have_header)
            may_have_header = False
            continue
        may_have_header = False
        yield from _check_left_out(block[: found.first_line - start], start, path, "before its K:")
        if titles and not any(line.startswith("T:") for line in block):
            found = replace(found, title_above=plain_text(titles[-1][1][2:]))
            titles = titles[:-1]
        yield from _left_out(titles, path)
        if len(found.text) > limits.tune_characters:
            what = f"the tune has more than {limits.tune_characters} characters"
            remedy = "split it, or raise tune_characters under [reading]"
            yield Message(found.place, "limit", what, remedy, is_fatal=True)
        else:
            foreign.look_through(found)
            yield found
    yield from foreign.messages()


def _without_last_titles(block: list[str], start: int) -> tuple[list[str], list[tuple[int, str]]]:
    """The block without the T: lines at its end, and those lines with their numbers: they stand
    right above the X: of the next tune."""
    end = len(block)
    while end and block[end - 1].startswith("T:"):
        end -= 1
    is_header = all(line.startswith(("X:", "%")) for line in block[:end])
    if is_header and end and block[0].startswith("X:"):
        return block, []
    return block[:end], [(start + at, block[at]) for at in range(end, len(block))]


def _blocks(text: str) -> Iterator[tuple[int, list[str], bool]]:
    """Runs of lines between empty lines or before X:, with the number of their first line, and
    whether X: follows at once."""
    block: list[str] = []
    start = 1
    is_text = False
    for number, line in enumerate([*text.split("\n"), ""], start=1):
        if line.startswith("%%"):
            is_text = _is_in_text(line, is_text)
        is_new = line.startswith("X:")
        if not is_new and (line.strip() or (is_text and block)):
            if not block:
                start = number
            block.append(line)
            continue
        if block:
            yield start, block, is_new
        block, start = ([line], number) if is_new else ([], number)
        is_text = False
    if block:  # a text without end
        yield start, block, False


def _is_in_text(line: str, is_text: bool) -> bool:
    """Whether lines after this one stand between %%begintext and %%endtext."""
    word = line[2:].strip()
    return word.startswith("begintext") or (is_text and not word.startswith("endtext"))


def _tune_of(block: list[str], start: int, path: str, header: str) -> TuneText | None:
    """The tune in a block of lines; None when it holds none."""
    if not block:
        return None
    first = 0 if block[0].startswith("X:") else _start_without_number(block)
    if first is None:
        return None
    lines = block[first:]
    number = plain_text(lines[0][2:_LONGEST_NUMBER]) if lines[0].startswith("X:") else ""
    place = SourcePlace(path, start + first)
    return TuneText(place, number, "\n".join(lines), start + first, header)


def _start_without_number(block: list[str]) -> int | None:
    """A block without X: is a tune when it has K: and something after it."""
    key = next((i for i, line in enumerate(block) if line.startswith("K:")), None)
    if key is None or key + 1 >= len(block):
        return None
    first = key
    while first > 0 and (_FIELD.match(block[first - 1]) or block[first - 1].startswith("%")):
        first -= 1
    return first


def _file_header(block: list[str], start: int) -> str:
    """The lines of the block before the first tune that may hold for all, each at its place."""
    kept = [
        line if line.startswith("%%") or (_FIELD.match(line) and line[0] in _FILE_FIELDS) else ""
        for line in block
    ]
    return "\n" * (start - 1) + "\n".join(kept) if any(kept) else ""


def _check_header(header: str, path: str) -> Iterator[Message]:
    if header:
        lines = header.split("\n")
        notices = Notices(path, lines, 1)
        items = sort_lines(lines, notices).header
        read_header(items, notices)
        text = next((one for one in items if one.letter == "I" and is_text(one.value)), None)
        if text is not None:
            what = "free text before the first tune belongs to no tune and is not printed"
            notices.add("text", what, "write it below an X:", line=text.line, column=1)
        yield from notices.messages()


def _check_outside(block: list[str], start: int, path: str, is_header: bool) -> Iterator[Message]:
    """What of a block without a tune is not read; a file header may hold some fields."""
    where = "before the first tune" if is_header else "after an empty line"
    fields = _FILE_FIELDS if is_header else frozenset("")
    yield from _check_left_out(block, start, path, where, fields)


def _check_left_out(
    block: list[str],
    start: int,
    path: str,
    where: str,
    kept_fields: frozenset[str] = frozenset(),
) -> Iterator[Message]:
    """Music and fields that stand outside of a tune are not read; one message for each of both.
    ``where`` says where the block stands, ``kept_fields`` what may stand there."""
    music = [(start + at, line) for at, line in enumerate(block) if looks_like_music(line)]
    fields = [
        (start + at, line)
        for at, line in enumerate(block)
        if is_field(line) and line[0] not in kept_fields
    ]
    if music:
        count = f" ({len(music)} lines of it)" if len(music) > 1 else ""
        yield _left_out_line(path, *music[0], f"music {where}{count}")
    yield from _left_out(fields[:1], path)


def _left_out(fields: Iterable[tuple[int, str]], path: str) -> Iterator[Message]:
    for number, line in fields:
        yield _left_out_line(path, number, line, "this field")


def _left_out_line(path: str, number: int, line: str, what: str) -> Message:
    return Message(
        place=SourcePlace(path, number, 1),
        kind="text",
        what=f"{what} belongs to no tune and is not read",
        remedy="take out the empty line, or begin a tune with X:",
        excerpt=line if len(line) < 500 else "",
        underline=len(line),
    )


class ForeignFields:
    """Fields that ABC does not know, which other programs write into every tune: said once for
    a file."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._first: dict[str, tuple[int, str]] = {}
        self._tunes: Counter[str] = Counter()

    def look_through(self, tune: TuneText) -> None:
        """Count the letters of such fields in one more tune."""
        letters: dict[str, int] = {}
        for match in _FOREIGN.finditer(tune.text):
            if not _is_in_block(tune.text, match.start()):
                letters.setdefault(match[1], match.start())
        for letter, at in letters.items():
            self._tunes[letter] += 1
            if letter not in self._first:
                line = tune.first_line + tune.text.count("\n", 0, at)
                self._first[letter] = line, tune.text[at : at + 500].split("\n", 1)[0]

    def messages(self) -> Iterator[Message]:
        for letter, (line, text) in self._first.items():
            count = self._tunes[letter]
            others = f" ({count} tunes of the file have it)" if count > 1 else ""
            yield Message(
                place=SourcePlace(self._path, line, 1),
                kind="field",
                what=f"{letter}: is no field of ABC and is not read{others}",
                remedy="see ABC 2.1, section 3, for the fields",
                excerpt=text,
                underline=len(text),
            )


def _is_in_block(text: str, at: int) -> bool:
    """Whether a place lies between %%begintext and %%endtext."""
    begin = text.rfind("\n%%begin", 0, at)
    return begin >= 0 and text.rfind("\n%%end", 0, at) < begin


def read_tune(
    text: TuneText,
    *,
    voice: str | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
) -> Tune:
    """Read one tune. ``voice`` names the voice that is the melody, else it is the first one.
    Raises InputError when the tune cannot be used."""
    lines = text.text.split("\n")
    notices = Notices(text.place.path, lines, text.first_line, text.spots)
    sorted_lines = sort_lines(lines, notices)
    voices = voice_lines(sorted_lines)
    chosen = voice if voice in voices.names else voices.names[0]
    header = _read_header(text, sorted_lines, notices, limits)
    if not header.has_key:
        raise InputError("the tune has no K: field", "add K: before its music", text.place)
    bars, overlays = _read_voice(voices.of(chosen), chosen, header, notices, limits)
    if not _sounds(bars):
        raise InputError("the tune has no notes", "write its music after K:", text.place)
    source = _Source(text, sorted_lines, voices, limits)
    further = [*_overlays(chosen, overlays, bars, notices)]
    further += _further_voices(source, chosen, bars, notices)
    diagnose_bars(bars, notices, header.assumed_unit)
    played, repeat_messages = played_order(bars, header.part_order, limits.played_bars)
    for message in repeat_messages:
        notices.adopt(message)
    tune = _make_tune(text, header, bars, played, notices)
    melody = name_of_voice(chosen, sorted_lines)
    return replace(tune, voices=tuple(further), melody_voice=melody)


@dataclass(frozen=True, slots=True)
class _Source:
    """What the voices of one tune are read from."""

    text: TuneText
    sorted_lines: SortedLines
    voices: VoiceLines
    limits: ReadingLimits


def _further_voices(
    source: _Source, chosen: str, melody: tuple[Bar, ...], notices: Notices
) -> Iterator[Voice]:
    """The voices beside the melody, each in bars that stand beside its own."""
    others = [name for name in source.voices.names if name != chosen]
    most = source.limits.voices - 1
    if len(others) > most:
        what = f"the tune has {len(others) + 1} voices; only {most + 1} of them are read"
        notices.add("limit", what, "split it, or raise voices under [reading]", line=0)
    for name in others[:most]:
        own = notices.aside()
        header = _read_header(source.text, source.sorted_lines, notices.aside(), source.limits)
        items = source.voices.of(name, is_melody=False)
        bars, overlays = _read_voice(items, name, header, own, source.limits)
        notices.take_over(own)
        yield from _fitted(name_of_voice(name, source.sorted_lines), melody, bars, notices)
        yield from _overlays(name, overlays, melody, notices)


def _overlays(
    owner: str, overlays: list[tuple[Bar, ...]], melody: tuple[Bar, ...], notices: Notices
) -> Iterator[Voice]:
    for number, bars in enumerate(overlays, start=1):
        yield from _fitted(VoiceName(id=owner + "&" * number), melody, bars, notices)


def _fitted(
    name: VoiceName, melody: tuple[Bar, ...], bars: tuple[Bar, ...], notices: Notices
) -> Iterator[Voice]:
    """The voice beside the melody, if it sounds and fits; what does not is said."""
    if not _sounds(bars):
        return
    fitted = fit_voice(melody, bars)
    for place, what in fitted.remarks:
        said = f"voice {plain_text(name.id)} {what}"
        line = place.line - notices.first_line
        notices.add("voice", said, "compare it with the melody", line=line, column=place.column)
    if fitted.bars:
        yield Voice(
            place=bars[0].place,
            id=name.id,
            name=name.name,
            short_name=name.short_name,
            clef=bars[0].clef,
            bars=fitted.bars,
        )


def _sounds(bars: tuple[Bar, ...]) -> bool:
    return any(note.pitches for bar in bars for note in bar.notes)


def _read_header(
    text: TuneText, sorted_lines: SortedLines, notices: Notices, limits: ReadingLimits
) -> TuneHeader:
    """The tune's header, with the fields of the file header it does not have itself."""
    items = sorted_lines.header
    if text.header:
        lines = text.header.split("\n")
        own = {item.letter for item in items} - set("ImU")
        shared = sort_lines(lines, Notices(text.place.path, lines, 1)).header
        for item in shared:
            item.line = -1
        items = [item for item in shared if item.letter not in own] + items
    header = read_header(TextLimits(limits, notices).cut_items(items), notices)
    if text.title_above and not header.titles:
        header.titles.append(text.title_above[: limits.name_letters])
    return header


def _read_voice(
    items: list[Item],
    voice: str,
    header: TuneHeader,
    notices: Notices,
    limits: ReadingLimits,
) -> tuple[tuple[Bar, ...], list[tuple[Bar, ...]]]:
    """The bars of a voice, and those of each voice that its overlays make."""
    properties = header.voices.get(voice, "")
    octaves, semitones, _ = read_properties(properties)
    if octaves is not None:
        header.octaves = octaves
    line = header.voice_lines.get(voice, 0)
    say_transposition(notices, semitones, line)
    header.clef = printed_clef(read_clef(properties), properties, notices, line) or header.clef
    reader = MusicReader(header, notices, limits)
    drafts = reader.read(items)
    overlays = [finish_bars(layer, notices) for layer in reader.overlays(drafts)]
    return finish_bars(split_at_line_ends(drafts), notices), overlays


def _make_tune(
    text: TuneText,
    header: TuneHeader,
    bars: tuple[Bar, ...],
    played: tuple[int, ...],
    notices: Notices,
) -> Tune:
    fields = header.fields
    tune = Tune(
        place=text.place,
        number=text.number,
        titles=tuple(title for title in header.titles if title),
        composer=_first(header, "C"),
        origin=_first(header, "O"),
        rhythm=_first(header, "R"),
        key=header.key,
        meter=header.meter,
        unit_length=header.unit_length,
        tempo=header.tempo,
        bars=bars,
        played=played,
        fields=tuple((letter, tuple(texts)) for letter, texts in fields.items()),
        words=tuple(fields.get("W", ())),
        texts=tuple(header.texts),
        closing_texts=tuple(header.closing_texts),
        part_order=header.part_order,
        messages=(*text.messages, *notices.messages()),
        source_text=text.text,
        first_line=text.first_line,
    )
    return replace(tune, line=tune.line_of_text)


def _first(header: TuneHeader, letter: str) -> str:
    texts = [text for text in header.fields.get(letter, ()) if text]
    return texts[0] if texts else ""


@dataclass(frozen=True, slots=True)
class Reading(Sequence[Tune]):
    """The tunes that were read, of which this is a sequence too, and all messages about them and
    their files, in order; those that are fatal say what was left out."""

    tunes: tuple[Tune, ...]
    messages: tuple[Message, ...]

    @property
    def left_out(self) -> tuple[Message, ...]:
        """Why what is missing could not be used: a message for each tune or file."""
        return tuple(message for message in self.messages if message.is_fatal)

    def __len__(self) -> int:
        return len(self.tunes)

    @overload
    def __getitem__(self, at: int) -> Tune: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[Tune, ...]: ...

    def __getitem__(self, at: int | slice) -> Tune | tuple[Tune, ...]:
        return self.tunes[at]


def read_abc(text: str, path: str = "tune.abc") -> Reading:
    """Read the tunes of a text; ``path`` is what places in messages call it. A tune that cannot be
    used is left out, and a message says why.

    Raises InputError with the first reason when all of them had to be left out.
    """
    tunes: list[Tune] = []
    messages: list[Message] = []
    for piece in cut_into_tunes(text, path):
        if isinstance(piece, Message):
            messages.append(piece)
            continue
        try:
            tunes.append(read_tune(piece))
        except InputError as error:
            messages.append(fatal_message(error, piece))
        else:
            messages.extend(tunes[-1].messages)
    reading = Reading(tuple(tunes), tuple(messages))
    if reading.left_out and not tunes:
        first = reading.left_out[0]
        raise InputError(first.what, first.remedy, first.place)
    return reading


def fatal_message(error: InputError, piece: TuneText) -> Message:
    """The message for a tune that was left out."""
    return Message(error.place or piece.place, "tune", error.what, error.remedy, is_fatal=True)
