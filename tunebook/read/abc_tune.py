"""One tune's text to a Tune.

Source: The ABC Music Standard 2.1.
"""

from __future__ import annotations

from tunebook.errors import InputError
from tunebook.model.tune import Bar, Tune
from tunebook.read.abc_finish import finish_bars
from tunebook.read.abc_header import TuneHeader, printed_clef, read_header
from tunebook.read.abc_keys import read_properties
from tunebook.read.abc_line_ends import split_at_line_ends
from tunebook.read.abc_lines import SortedLines, body_of_voice, sort_lines, voices_of
from tunebook.read.abc_music import MusicReader
from tunebook.read.abc_text import plain_text
from tunebook.read.clefs import read_clef
from tunebook.read.diagnosis import diagnose_bars
from tunebook.read.limits import DEFAULT_LIMITS, ReadingLimits
from tunebook.read.notices import Notices
from tunebook.read.repeats import played_order
from tunebook.read.text_limits import TextLimits
from tunebook.read.tune_text import TuneText, cut_into_tunes


def read_tune(
    text: TuneText,
    *,
    voice: str | None = None,
    second_voice: str | None = None,
    limits: ReadingLimits = DEFAULT_LIMITS,
) -> Tune:
    """Read one tune. ``voice`` names the voice that is the melody (else the first one),
    ``second_voice`` one to keep beside it. Raises InputError when the tune cannot be used."""
    lines = text.text.split("\n")
    notices = Notices(text.place.path, lines, text.first_line)
    sorted_lines = sort_lines(lines, notices)
    voices = voices_of(sorted_lines)
    chosen = _choose_voice(voices, voice, second_voice, notices)
    header = _read_header(text, sorted_lines, notices, limits)
    if not header.has_key:
        raise InputError("the tune has no K: field", "add K: before its music", text.place)
    bars = _read_voice(sorted_lines, chosen, voices, header, notices, limits)
    if not any(note.pitches for bar in bars for note in bar.notes):
        raise InputError("the tune has no notes", "write its music after K:", text.place)
    second: tuple[Bar, ...] = ()
    if second_voice is not None and second_voice != chosen and second_voice in voices:
        quiet = Notices(text.place.path, lines, text.first_line)
        again = _read_header(text, sorted_lines, quiet, limits)
        second = _read_voice(sorted_lines, second_voice, voices, again, notices, limits)
    diagnose_bars(bars, notices, header.assumed_unit)
    played, repeat_messages = played_order(bars, header.part_order, limits.played_bars)
    for message in repeat_messages:
        notices.adopt(message)
    return _make_tune(text, header, bars, played, second, notices)


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
    sorted_lines: SortedLines,
    voice: str,
    voices: list[str],
    header: TuneHeader,
    notices: Notices,
    limits: ReadingLimits,
) -> tuple[Bar, ...]:
    properties = header.voices.get(voice, "")
    octaves = read_properties(properties)[0]
    if octaves is not None:
        header.octaves = octaves
    header.clef = printed_clef(read_clef(properties), properties, notices, 0) or header.clef
    items = body_of_voice(sorted_lines, voice, voice == voices[0])
    drafts = MusicReader(header, notices, limits).read(items)
    return finish_bars(split_at_line_ends(drafts), notices)


def _choose_voice(
    voices: list[str], voice: str | None, second: str | None, notices: Notices
) -> str:
    chosen = voice if voice in voices else voices[0]
    others = [name for name in voices if name not in (chosen, second)]
    if others:
        names = ", ".join(plain_text(name) for name in others[:10])
        notices.add(
            "voice",
            f"left out: voice {names}",
            "name the one to print in tunes.toml, [reading] voice",
            line=0,
        )
    return chosen


def _make_tune(
    text: TuneText,
    header: TuneHeader,
    bars: tuple[Bar, ...],
    played: tuple[int, ...],
    second_voice: tuple[Bar, ...],
    notices: Notices,
) -> Tune:
    fields = header.fields
    return Tune(
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
        second_voice=second_voice,
        messages=notices.messages(),
        source_text=text.text,
        first_line=text.first_line,
    )


def _first(header: TuneHeader, letter: str) -> str:
    texts = [text for text in header.fields.get(letter, ()) if text]
    return texts[0] if texts else ""


def read_abc(text: str, path: str = "tune.abc") -> list[Tune]:
    """Read all tunes of a text. Raises InputError at the first that cannot be used."""
    return [read_tune(piece) for piece in cut_into_tunes(text, path) if isinstance(piece, TuneText)]
