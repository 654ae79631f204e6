"""What stands above and below the melody: the line of chord names in our own spelling, the words,
the small staff of drones (a head where one begins, a line as long as it sounds, rests where none
does) or a line in its stead, and a second voice or accompaniment on a full staff with its own
fingers.

Each syllable has its note's own length, so that slurs and ties move nothing.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tunebook.model.arrangement import Arrangement, ChordSpan, DroneSpan, FingeredNote
from tunebook.model.book import Edition
from tunebook.model.choices import Chords, NoteNames
from tunebook.model.instrument import Instrument
from tunebook.model.names import printed_tone
from tunebook.model.tune import ChordSymbol, Key, Note, Syllable
from tunebook.write.clefs import clef_command
from tunebook.write.lilypond.bars import PrintedBar, PrintedBars, StaffSigns, key_command, length_of
from tunebook.write.lilypond.leaves import (
    Component,
    Group,
    Written,
    context,
    make_leaves,
    put_silent_graces,
)
from tunebook.write.lilypond.marks import NoteSpans, Shown, note_marks, spans_of
from tunebook.write.note_values import is_dyadic, scaled_value, split_value, tuplet_for
from tunebook.write.safe_text import lilypond_string
from tunebook.write.tones import spelled_pitch

MOST_SYLLABLE_LETTERS = 60
MOST_LINES = 12


def word_lines(printed: PrintedBars) -> list[str]:
    """One Lyrics context a line of words, as LilyPond text; none when there are no words."""
    count = max((len(note.syllables) for one in printed.bars for note in one.bar.notes), default=0)
    return [_word_line(printed, line) for line in range(min(count, MOST_LINES))]


def _word_line(printed: PrintedBars, line: int) -> str:
    bars: list[str] = []
    for one in printed.bars:
        events = [_event(note, line) for note in one.bar.notes if not note.is_grace]
        missing = one.length - length_of(one.bar.notes)
        if missing > 0:
            events.append(f"\\skip {scaled_value(missing)}")
        bars.append("    " + " ".join(events))
    lines = "\n".join(bars)
    return f'\\new Lyrics = "Words{line + 1}" \\lyricmode {{\n{lines}\n}}'


def _event(note: Note, line: int) -> str:
    syllable: Syllable | None = note.syllables[line] if line < len(note.syllables) else None
    length = scaled_value(note.duration)
    if syllable is None or not syllable.text.strip():
        return f"\\skip {length}"
    text = f"{lilypond_string(syllable.text, MOST_SYLLABLE_LETTERS)}{length}"
    if syllable.is_joined:
        return f"{text} --"
    return f"{text} __" if syllable.is_extended else text


DOUBTFUL_BELOW = 0.5
MOST_CHORD_LETTERS = 24
_ACCIDENTALS = {
    -2: "\\chord-flat \\chord-flat ",
    -1: "\\chord-flat ",
    1: "\\chord-sharp ",
    2: "\\chord-sharp \\chord-sharp ",
}
_QUALITIES = {"minor": "m", "diminished": "dim", "augmented": "aug"}
_EXTENSION = re.compile(r"(?:maj|add|sus|no|omit|alt|[b#]?[0-9]{1,2}|[()+/-])*")
_ACCIDENTAL = re.compile(r"([b#])(?=[0-9])")


def chosen_chords(spans: Sequence[ChordSpan], chords: Chords) -> tuple[ChordSpan, ...]:
    """The chords that an edition prints; ``chords`` is none, tune (the tune's own) or all."""
    if chords == "none":
        return ()
    return tuple(span for span in spans if chords == "all" or span.source == "tune")


def chord_markup(
    chord: ChordSymbol,
    *,
    is_doubtful: bool = False,
    is_solved: bool = False,
    note_names: NoteNames = "b",
) -> str:
    """A chord name as markup: root, quality, the rest raised; a chord that is spelled in no known
    way is printed as quoted text. A chord of the program's own choice is slanted and light, a
    doubtful one stands in brackets."""
    if chord.quality == "other" and not chord.extension:
        parts = [lilypond_string(chord.text or chord.symbol, MOST_CHORD_LETTERS)]
    else:
        parts = _name_parts(chord, note_names)
    if is_doubtful or chord.is_optional:
        parts = ['"("', *parts, '")"']
    slant = "\\italic \\override #'(font-series . normal) " if is_solved else ""
    return f"\\markup {slant}\\concat {{ {' '.join(parts)} }}"


def _name_parts(chord: ChordSymbol, note_names: NoteNames) -> list[str]:
    parts = [_tone(chord.root_step, chord.root_alter, note_names)]
    quality, extension = _quality_and_rest(chord)
    if quality:
        parts.append(f'"{quality}"')
    if extension and _EXTENSION.fullmatch(extension):
        parts.append(f"\\super \\concat {{ {_raised(extension)} }}")
    elif extension:
        parts.append(lilypond_string(extension, MOST_CHORD_LETTERS))
    if chord.bass is not None:
        parts.append(f'"/" {_tone(*chord.bass, note_names)}')
    return parts


def _quality_and_rest(chord: ChordSymbol) -> tuple[str, str]:
    """The sign of the triad and what stands raised: a diminished triad with a minor seventh is
    read as m7b5, one with a diminished seventh as dim7."""
    if chord.quality == "diminished" and chord.extension.startswith("7"):
        return "m", "7b5" + chord.extension[1:]
    if chord.quality == "diminished" and chord.extension.startswith("bb7"):
        return "dim", chord.extension[2:]
    return _QUALITIES.get(chord.quality, ""), chord.extension


def _raised(extension: str) -> str:
    """The pieces of an extension, its accidentals as signs."""
    pieces = _ACCIDENTAL.split(extension)
    signs = {"b": "\\chord-flat", "#": "\\chord-sharp"}
    return " ".join(signs.get(piece) or lilypond_string(piece) for piece in pieces if piece)


def _tone(step: int, alter: int, note_names: NoteNames) -> str:
    letter, alter = printed_tone(step, alter, note_names)
    return f'"{letter}" {_ACCIDENTALS.get(alter, "")}'.rstrip()


def chord_line(
    spans: Sequence[ChordSpan], printed: PrintedBars, note_names: NoteNames = "b"
) -> Group:
    """The line of chord names, one group a bar."""
    bars: list[Component] = []
    ordered = sorted(spans, key=lambda span: span.onset)
    starts = [span.onset for span in ordered]
    for place, one in enumerate(printed.bars):
        repeats_name = place > 0 and (
            printed.bars[place - 1].ends_line
            or bool(one.bar.ending)
            or one.bar.sign_before in ("|:", "::")
        )
        # The one before may reach into the bar.
        first = max(0, bisect_left(starts, one.onset) - 1)
        near = ordered[first : bisect_left(starts, one.end)]
        bars.append(Group(_bar_names(one, near, repeats_name, note_names)))
    return context("ChordNames", "Chords", bars)


def _bar_names(
    one: PrintedBar, spans: Sequence[ChordSpan], repeats_name: bool, note_names: NoteNames
) -> list[Component]:
    leaves: list[Component] = []
    now, bar_end = one.onset, one.end
    for span in spans:
        start, end = max(span.onset, one.onset), min(span.onset + span.duration, bar_end)
        if start >= end or start < now:
            continue
        if start > now:
            leaves += make_leaves("s", start - now)
        is_named = start == span.onset or (repeats_name and span.source != "tune")
        leaves += (
            _name(span, end - start, note_names) if is_named else make_leaves("s", end - start)
        )
        now = end
    if now < bar_end:
        leaves += make_leaves("s", bar_end - now)
    return leaves


def _name(span: ChordSpan, length: Fraction, note_names: NoteNames) -> list[Component]:
    """A rest that prints as the chord's name, and blanks for what one rest cannot last."""
    markup = chord_markup(
        span.chord,
        is_doubtful=span.confidence < DOUBTFUL_BELOW,
        is_solved=span.source == "solved",
        note_names=note_names,
    )
    odd, power = (1, 1) if is_dyadic(length) else tuplet_for(length)
    first = split_value(length * Fraction(odd, power))[0] * Fraction(power, odd)
    leaves = make_leaves("r", first, Written(before=[f"\\set noChordSymbol = {markup}"]))
    if length > first:
        leaves += make_leaves("s", length - first)
    return leaves


_FINEST = Fraction(1, 8)


@dataclass(frozen=True, slots=True)
class _DronePart:
    """The part of a drone that lies in one bar. ``has_head`` where it begins, and where a new line
    begins with it; ``finger_before`` is that of the finger which is relieved here, 0 when nobody
    is."""

    onset: Fraction
    duration: Fraction
    span: DroneSpan
    has_head: bool
    finger_before: int


def drones_shown(arrangement: Arrangement, edition: Edition) -> Sequence[DroneSpan]:
    """What an edition prints with the drones: these, and double stops where it has them there."""
    if edition.accents == "drone":
        return arrangement.beside
    return arrangement.drone if edition.drones != "none" else ()


def drone_staff(
    spans: Sequence[DroneSpan],
    printed: PrintedBars,
    leading_graces: Mapping[int, Fraction],
    *,
    has_fingers: bool,
) -> Group:
    """The drone staff, one group a bar: a head where a drone begins and at the beginning of each
    line, a line as long as it sounds, rests where nothing does. ``leading_graces`` gives the length
    of the melody's grace notes at a bar's beginning, by place of the bar."""
    signs = StaffSigns(printed)
    bars: list[Component] = []
    onsets = [span.onset for span in spans]
    for place, one in enumerate(printed.bars):
        begins_line = place == 0 or printed.bars[place - 1].ends_line
        # The span before those that begin here may reach into the bar.
        first, last = max(0, bisect_left(onsets, one.onset) - 1), bisect_left(onsets, one.end)
        pieces = _pieces_in(one, spans, range(first, last), begins_line=begins_line)
        signs.begin_bar(place)
        leaves = _leaves(one, pieces, signs, has_fingers)
        put_silent_graces(leaves, leading_graces.get(place, Fraction(0)))
        bars.append(Group(leaves, opening=[key_command(one.bar.key)] if one.shows_key else []))
    voice = context("DroneVoice", "Drone", bars)
    voice.opening.append("\\clef treble")
    return context("DroneStaff", "DroneStaff", [voice])


def _pieces_in(
    one: PrintedBar, spans: Sequence[DroneSpan], places: range, *, begins_line: bool
) -> list[_DronePart]:
    pieces: list[_DronePart] = []
    bar_end = one.end
    for place in places:
        span = spans[place]
        span_end = span.onset + span.duration
        start = _readable(max(span.onset, one.onset), one)
        end = _readable(min(span_end, bar_end), one)
        if start >= end or (pieces and start < pieces[-1].onset + pieces[-1].duration):
            continue
        is_start = span.onset >= one.onset
        before = spans[place - 1] if place else None
        relieved = before.stop.finger if before and span.is_taken_over and is_start else 0
        has_head = is_start or (begins_line and not pieces)
        pieces.append(
            _DronePart(
                onset=start,
                duration=end - start,
                span=span,
                has_head=has_head,
                finger_before=relieved,
            )
        )
    return pieces


def _readable(time: Fraction, one: PrintedBar) -> Fraction:
    """``time`` moved to the nearest eighth of the bar where it falls inside a tuplet: a drone
    that begins or ends with a triplet's note is easier to read without a triplet of its own."""
    inside = time - one.onset
    if time == one.end or is_dyadic(inside):
        return time
    return min(one.end, one.onset + round(inside / _FINEST) * _FINEST)


def _leaves(
    one: PrintedBar, pieces: Sequence[_DronePart], signs: StaffSigns, has_fingers: bool
) -> list[Component]:
    if not pieces:
        return [*make_leaves("R", one.end - one.onset)] if one.end > one.onset else []
    leaves: list[Component] = []
    now = one.onset
    for piece in pieces:
        if piece.onset > now:
            leaves += make_leaves("r", piece.onset - now)
        leaves += _drone_leaves(piece, one.bar.key, signs, has_fingers)
        now = piece.onset + piece.duration
    if now < one.end:
        leaves += make_leaves("r", one.end - now)
    return leaves


def _drone_leaves(
    piece: _DronePart, key: Key, signs: StaffSigns, has_fingers: bool
) -> list[Component]:
    """A head with the line that begins at it, and blanks for what one value cannot last; blanks
    alone where the line goes on from the bar before."""
    if not piece.has_head:
        return [*make_leaves("s", piece.duration)]
    written = Written()
    if has_fingers:
        written.events.append(_finger(piece))
    written.events.append("\\-")
    head = signs.heads((spelled_pitch(piece.span.stop.midi, key),))
    first = split_value(piece.duration)[0] if is_dyadic(piece.duration) else piece.duration
    leaves: list[Component] = [*make_leaves(head, first, written)]
    if piece.duration > first:
        leaves += make_leaves("s", piece.duration - first)
    return leaves


def _finger(piece: _DronePart) -> str:
    finger = piece.span.stop.finger
    if piece.finger_before and piece.finger_before != finger:
        return f"\\takenOver {piece.finger_before} {finger}"
    return f"-{finger}"


def drone_line(
    spans: Sequence[DroneSpan],
    printed: PrintedBars,
    leading_graces: Mapping[int, Fraction],
    instrument: Instrument,
    *,
    has_fingers: bool,
) -> Group:
    """The compact form of the drones, one group a bar: under the staff the letter of the string,
    the finger if there is one, and a line as long as the drone sounds."""
    onsets = [span.onset for span in spans]
    bars: list[Component] = []
    is_open = False
    for place, one in enumerate(printed.bars):
        first, last = max(0, bisect_left(onsets, one.onset) - 1), bisect_left(onsets, one.end)
        leaves: list[Component] = []
        now = one.onset
        for piece in _pieces_in(one, spans, range(first, last), begins_line=False):
            if piece.onset > now:
                leaves += make_leaves("s", piece.onset - now, _ending(is_open))
                is_open = False
            written = Written()
            if piece.has_head:
                text = _letter(instrument, piece, has_fingers)
                written = replace(_ending(is_open), before=[f"\\droneText {text}"])
                written.events.append("\\startTextSpan")
                is_open = True
            leaves += make_leaves("s", piece.duration, written)
            now = piece.onset + piece.duration
        if now < one.end:
            leaves += make_leaves("s", one.end - now, _ending(is_open))
            is_open = False
        put_silent_graces(leaves, leading_graces.get(place, Fraction(0)))
        bars.append(Group(leaves))
    line = context("DroneLine", "DroneLine", bars)
    if is_open:
        line.closing.append("<>\\stopTextSpan")
    return line


def _ending(is_open: bool) -> Written:
    return Written(events=["\\stopTextSpan"] if is_open else [])


def _letter(instrument: Instrument, piece: _DronePart, has_fingers: bool) -> str:
    """The string's letter as in a name of a string ("low C" is C), and the finger on its key."""
    stop = piece.span.stop
    letter = instrument.string(stop.string_index).name.split()[-1]
    finger = str(stop.finger) if has_fingers and stop.finger else ""
    return f"{lilypond_string(letter)} {lilypond_string(finger)}"


def second_staff(
    arrangement: Arrangement,
    printed: PrintedBars,
    shown: Shown,
    leading_graces: Mapping[int, Fraction],
) -> Group:
    """The staff of ``arrangement.accompaniment``; silence between its notes is left blank.
    ``leading_graces`` as for the drone staff."""
    ordered = sorted(
        (one for one in arrangement.accompaniment if not one.note.is_grace),
        key=lambda one: one.note.onset,
    )
    onsets = [one.note.onset for one in ordered]
    by_bar = [
        ordered[bisect_left(onsets, one.onset) : bisect_left(onsets, one.end)]
        for one in printed.bars
    ]
    spans = spans_of([[one.note for one in notes] for notes in by_bar])
    signs = StaffSigns(printed)
    bars: list[Component] = []
    for place, (one, notes) in enumerate(zip(printed.bars, by_bar, strict=True)):
        signs.begin_bar(place)
        leaves = _second_leaves(arrangement, one, notes, shown, spans, signs)
        put_silent_graces(leaves, leading_graces.get(place, Fraction(0)))
        bars.append(Group(leaves, opening=[key_command(one.bar.key)] if one.shows_key else []))
    voice = context("Voice", "SecondVoice", bars)
    voice.opening.append(clef_command(shown.clef or arrangement.instrument.clef))
    return context("SecondStaff", "SecondStaff", [voice])


def _second_leaves(
    arrangement: Arrangement,
    one: PrintedBar,
    notes: list[FingeredNote],
    shown: Shown,
    spans: dict[int, NoteSpans],
    signs: StaffSigns,
) -> list[Component]:
    leaves: list[Component] = []
    now = one.onset
    for fingered in notes:
        note = fingered.note
        end = min(note.onset + note.duration, one.end)
        if note.onset < now or end <= note.onset or not note.pitches:
            continue
        if note.onset > now:
            leaves += make_leaves("s", note.onset - now)
        written = note_marks(note, fingered, arrangement.instrument, shown)
        mine = spans.get(id(note), NoteSpans())
        written.events = [*mine.first, *written.events]
        written.last_events = list(mine.last)
        leaves += make_leaves(signs.note(note, mine.held), end - note.onset, written)
        now = end
    if now < one.end:
        leaves += make_leaves("s", one.end - now)
    return leaves
