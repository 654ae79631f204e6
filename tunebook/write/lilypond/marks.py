"""What stands on notes, reaches over them and stands at the end of a bar: fingers, string letters,
slurs, ties, beams, long trills, and decorations as scripts, dynamics, signs and words.

Names of decorations are those of The ABC Music Standard 2.1, section 4.14, in the one spelling that
the reader keeps. What is not listed is not printed. Fingering decorations are pins and come out as
finger numbers.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from tunebook.model.arrangement import Accent, FingeredNote, Stop
from tunebook.model.book import Edition
from tunebook.model.choices import (
    LANGUAGES,
    NOTE_NAMES,
    Clef,
    Fingers,
    Language,
    NoteNames,
    one_of,
)
from tunebook.model.instrument import Instrument
from tunebook.model.names import printed_name
from tunebook.model.tune import Annotation, Note, Pitch
from tunebook.model.words import fixed_words
from tunebook.write.lilypond.bars import PrintedBar, PrintedBars
from tunebook.write.lilypond.leaves import Written
from tunebook.write.note_values import flag_count
from tunebook.write.safe_text import lilypond_string

_MOST_SLURS = 6


@dataclass
class NoteSpans:
    """Post-events for one note: those at its first head, and those at its last (a long note may
    be written as several heads tied together). ``tied_heads`` are the places, from the lowest
    tone, of those tied on where the others of the same pitch are struck again; ``held`` are the
    tones that a tie drawn from the note before brings here. ``trills`` are events at the first
    head, ``trill_ends`` commands after the last."""

    first: list[str] = field(default_factory=list)
    last: list[str] = field(default_factory=list)
    trills: list[str] = field(default_factory=list)
    trill_ends: list[str] = field(default_factory=list)
    tied_heads: tuple[int, ...] = ()
    held: frozenset[Pitch] = frozenset()


def spans_of(bars: Sequence[Sequence[Note]]) -> dict[int, NoteSpans]:
    """Slurs, ties, beams and long trills of the notes in ``bars``, by ``id`` of the note.

    Only notes that are printed may be passed. A slur or tie without its other end is left out
    (a tie into or out of a numbered ending is drawn as a half tie); beams end with their bar.
    """
    spans: dict[int, NoteSpans] = defaultdict(NoteSpans)
    for notes in bars:
        _add_beams([note for note in notes if not note.is_grace], spans)
        for group in _grace_groups(notes):
            _add_beams(group, spans, is_joined=True)
    every = [note for notes in bars for note in notes]
    _add_slurs(every, spans)
    timed = [note for note in every if not note.is_grace]
    _add_ties(timed, spans)
    _add_trills(timed, spans)
    return spans


def _add_beams(
    notes: Sequence[Note], spans: dict[int, NoteSpans], *, is_joined: bool = False
) -> None:
    run: list[Note] = []
    for note in notes:
        if note.is_rest or flag_count(note.written) == 0:
            _close_run(run, spans)
            run = []
            continue
        run.append(note)
        if not (note.is_joined or is_joined):
            _close_run(run, spans)
            run = []
    _close_run(run, spans)


def _close_run(run: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    if len(run) > 1:
        spans[id(run[0])].first.append("[")
        spans[id(run[-1])].last.append("]")


def _grace_groups(notes: Sequence[Note]) -> list[list[Note]]:
    groups: list[list[Note]] = [[]]
    for note in notes:
        if note.is_grace:
            groups[-1].append(note)
        elif groups[-1]:
            groups.append([])
    return [group for group in groups if len(group) > 1]


def _add_slurs(notes: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    opened: list[tuple[int, int]] = []
    pairs: list[tuple[int, int]] = []
    for place, note in enumerate(notes):
        for _ in range(note.slurs_closed):
            if opened and opened[-1][0] < place:
                pairs.append((opened.pop()[0], place))
        opened += [(place, number) for number in range(note.slurs_opened)]
    ends: list[int] = []
    for first, last in sorted(set(pairs)):
        ends = [end if end > first else -1 for end in ends]
        layer = ends.index(-1) if -1 in ends else len(ends)
        if layer >= _MOST_SLURS:
            continue
        ends[layer:] = [last, *ends[layer + 1 :]]
        name = f"\\={layer}" if layer else ""
        spans[id(notes[first])].first.append(f"{name}(")
        spans[id(notes[last])].last.append(f"{name})")


def _add_ties(notes: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    for place, note in enumerate(notes):
        after = notes[place + 1] if place + 1 < len(notes) else None
        before = notes[place - 1] if place else None
        tied = {pitch for pitch, is_tied in zip(note.pitches, note.ties, strict=False) if is_tied}
        if tied:
            following = set(after.pitches) if after is not None else set()
            tones = sorted(note.pitches, key=lambda pitch: pitch.midi)
            if tied & following and set(tones) & following - tied:
                spans[id(note)].tied_heads = tuple(
                    head for head, pitch in enumerate(tones) if pitch in tied
                )
            else:
                spans[id(note)].last.append("~" if tied & following else "\\laissezVibrer")
            if after is not None:
                spans[id(after)].held = frozenset(tied & following)
        if any(note.is_tied_from_before) and (before is None or not any(before.ties)):
            spans[id(note)].first.append("\\repeatTie")


def _add_trills(notes: Sequence[Note], spans: dict[int, NoteSpans]) -> None:
    """Trills with a wavy line, which covers the note that ends it; one without an end is a plain
    trill."""
    opened: Note | None = None
    last: Note | None = None
    for note in notes:
        if not note.is_rest:
            last = note
        if "trill(" in note.decorations and not note.is_rest:
            if opened is not None:
                spans[id(opened)].trills.append("^\\trill")
            opened = note
        if "trill)" in note.decorations and opened is not None and last is not None:
            spans[id(opened)].trills.append("^\\startTrillSpan")
            spans[id(last)].trill_ends.append("<>\\stopTrillSpan")
            opened = None
    if opened is not None:
        spans[id(opened)].trills.append("^\\trill")


SCRIPTS: dict[str, str] = {
    "trill": "^\\trill",
    "lowermordent": "^\\mordent",
    "uppermordent": "^\\prall",
    "roll": "^\\roll",
    "turn": "^\\turn",
    "turnx": "^\\slashturn",
    "invertedturn": "^\\reverseturn",
    "invertedturnx": "^\\reverseturn",
    "fermata": "^\\fermata",
    "invertedfermata": "_\\fermata",
    "staccato": "-\\staccato",
    "tenuto": "-\\tenuto",
    "wedge": "-\\staccatissimo",
    "accent": "^\\accent",
    "marcato": "^\\marcato",
    "upbow": "^\\upbow",
    "downbow": "^\\downbow",
    "open": "^\\open",
    "snap": "^\\snappizzicato",
    "plus": "^\\stopped",
    "thumb": "^\\thumb",
    "slide": "\\slideInto",
    "segno": '^\\signAbove "scripts.segno"',
    "coda": '^\\signAbove "scripts.coda"',
    "arpeggio": "\\arpeggio",
    "rit.": '_\\phraseWord "rit."',
    "accel.": '_\\phraseWord "accel."',
}

# LilyPond's own, which hold all of the standard's.
_LOUDNESS = """ppppp pppp ppp pp p mp mf f ff fff ffff fffff fp sf sfp sff sfz fz sp spp rfz n"""
DYNAMICS: dict[str, str] = {name: f"\\{name}" for name in _LOUDNESS.split()} | {
    "crescendo(": "\\<",
    "diminuendo(": "\\>",
    "crescendo)": "\\!",
    "diminuendo)": "\\!",
}

WORDS_AT_END: dict[str, str] = {
    "fine": "Fine",
    "D.C.": "D.C.",
    "D.S.": "D.S.",
    "D.C.alfine": "D.C. al Fine",
    "D.C.alcoda": "D.C. al Coda",
    "D.S.alfine": "D.S. al Fine",
    "D.S.alcoda": "D.S. al Coda",
    "dacapo": "Da Capo",
    "dacoda": "Da",
    "tocoda": "To",
}
# Words that the sign of the coda follows: "the word Da followed by a Coda sign".
_BEFORE_CODA = ("dacoda", "tocoda")
# Signs that may stand over a bar line; those at which somebody comes in stand where the new line
# begins when it ends there.
_SIGNS_AT_BAR = {
    "fermata": "scripts.ufermata",
    "invertedfermata": "scripts.dfermata",
    "segno": "scripts.segno",
    "coda": "scripts.coda",
}

# These stand after the note, not on it.
_AFTER_NOTE = {
    "breath": "\\breathe",
    "shortphrase": "\\breathe",
    "mediumphrase": "\\breathe",
    "longphrase": "\\breathe",
}


def scripts(decorations: Iterable[str]) -> tuple[str, ...]:
    """Post-events for a note's decorations, in the order in which they are stacked."""
    found: list[str] = []
    for name in decorations:
        text = SCRIPTS.get(name) or DYNAMICS.get(name)
        if text is not None and text not in found:
            found.append(text)
    return tuple(found)


def commands_after(decorations: Iterable[str]) -> tuple[str, ...]:
    """Commands that follow the note: breath marks."""
    found = [_AFTER_NOTE[name] for name in decorations if name in _AFTER_NOTE]
    return tuple(dict.fromkeys(found))


def words_at_end(decorations: Iterable[str]) -> tuple[str, ...]:
    """Commands for words such as "D.C." or "Fine", to stand at the bar's end."""
    commands = [
        f'\\{"endWordCoda" if name in _BEFORE_CODA else "endWord"} "{WORDS_AT_END[name]}"'
        for name in decorations
        if name in WORDS_AT_END
    ]
    return tuple(dict.fromkeys(commands))


def at_bar_sign(decorations: Iterable[str], *, is_departure: bool = False) -> tuple[str, ...]:
    """Commands for what stands at a bar sign with no note to bear it: signs over the bar line,
    dynamics, the ends of wedges and of trills. ``is_departure`` says of a coda sign that one
    leaves there, so that it stays at the end of its line."""
    commands = []
    for name in decorations:
        if name in _SIGNS_AT_BAR:
            is_target = name == "segno" or (name == "coda" and not is_departure)
            command = "barSignNext" if is_target else "barSign"
            commands.append(f'\\{command} "{_SIGNS_AT_BAR[name]}"')
        elif name in _AFTER_NOTE:
            commands.append(_AFTER_NOTE[name])
        elif name in DYNAMICS:
            commands.append(f"<>{DYNAMICS[name]}")
        elif name in ("rit.", "accel."):
            commands.append(f"<>{SCRIPTS[name]}")
    return tuple(dict.fromkeys(commands))


_PLACEMENTS = {"^": "^", "_": "_", "<": "^", ">": "^", "@": "^"}
MOST_ANNOTATION_LETTERS = 80


@dataclass(frozen=True, slots=True)
class Shown:
    """What a staff shows beside its notes. ``clef`` is the one for all of them, whatever the tune
    or the instrument has; ``pale`` are notes (bar, note) whose fingers stand in grey."""

    fingers: Fingers
    has_grace_notes: bool
    has_texts: bool = True
    note_names: NoteNames = "b"
    language: Language = "en"
    has_accents: bool = False
    clef: Clef | None = None
    pale: frozenset[tuple[int, int]] = frozenset()

    def __post_init__(self) -> None:
        one_of(LANGUAGES, self.language, "language")
        one_of(NOTE_NAMES, self.note_names, "note names")

    @classmethod
    def of_edition(
        cls, edition: Edition, note_names: NoteNames = "b", language: Language = "en"
    ) -> Shown:
        shown = (edition.fingers, edition.shows_grace_notes)
        return cls(
            *shown,
            note_names=note_names,
            language=language,
            has_accents=edition.accents == "melody",
            clef=edition.clef,
        )


BARE = Shown(fingers="none", has_grace_notes=True, has_texts=False)


def note_marks(
    note: Note,
    fingered: FingeredNote | None,
    instrument: Instrument,
    shown: Shown,
) -> Written:
    """Fingers, scripts and texts of one note (slurs, ties and beams are the staff's); a note that
    cannot be played stands in brackets."""
    written = Written()
    if fingered is not None:
        if shown.has_texts and not fingered.stops:
            written.before.append("\\parenthesize")
        written.events += finger_events(fingered, instrument, shown)
    if shown.has_texts:
        written.events += trill_events(scripts(note.decorations), fingered, shown)
        written.after += commands_after(note.decorations)
        written.events += annotation_events(note.annotations)
    return written


_TRILLS = {"^\\trill": "^\\trillBy", "^\\startTrillSpan": "^\\trillSpanBy"}


def trill_events(events: Iterable[str], fingered: FingeredNote | None, shown: Shown) -> list[str]:
    """The events with the finger that trills beside the sign, where fingers are shown."""
    if fingered is None or not fingered.trill_finger or shown.fingers == "none":
        return list(events)
    finger = fingered.trill_finger
    return [f"{_TRILLS[event]} {finger}" if event in _TRILLS else event for event in events]


MOST_REMARK_LETTERS = 200


def write_remark(note: Note, written: Written) -> None:
    """Add a player's remark under the staff, from its note on; where the line ends before it does,
    it is wrapped and moved to the left within its bar."""
    if note.remark.strip():
        text = lilypond_string(note.remark, MOST_REMARK_LETTERS)
        written.events.append(f"_\\playerRemark {text}")


_OVER_TIE, _TIE_IS_HIGH_MIDI = "-\\tweak padding 0.9 -", 76
"""A figure does not stand on a tie that begins at its note; lower ones stay within the staff."""
_PALE = "-\\tweak color #(rgb-color 0.5 0.5 0.5) -"


def finger_events(fingered: FingeredNote, instrument: Instrument, shown: Shown) -> list[str]:
    """Finger numbers from the lowest tone up, and the string's letter above them."""
    if shown.fingers == "none" or fingered.is_continued or not fingered.stops:
        return []
    events: list[str] = list(_quarter_tone_events(fingered.note))
    if shown.fingers == "all" or fingered.is_needed:
        pairs = _stops_with_after(fingered)
        for place, (stop, after) in enumerate(pairs):
            is_crossed = "crossed" in fingered.ways and place == len(pairs) - 1
            event = _finger_event(stop, after, is_crossed)
            is_on_tie = place == 0 and stop.midi >= _TIE_IS_HIGH_MIDI and any(fingered.note.ties)
            events.append(_OVER_TIE + event.removeprefix("-") if is_on_tie else event)
    if fingered.shows_string and not fingered.note.is_grace:
        letters = "".join(
            _string_letter(instrument.string(stop.string_index).name, shown)
            for stop in sorted(fingered.stops, key=lambda stop: stop.string_index)
        )
        events.append(f"\\stringLetter {lilypond_string(letters, 8)}")
    if (fingered.bar_index, fingered.note_index) in shown.pale:
        return [_PALE + event.removeprefix("-") for event in events]
    return events


def accent_events(accent: Accent, shown: Shown) -> list[str]:
    """The finger of a double stop's lower tone, under the note."""
    return [] if shown.fingers == "none" else [f"\\fingerBelow {accent.span.stop.finger}"]


def _quarter_tone_events(note: Note) -> Sequence[str]:
    """Arrows that say that the key gives a tone a quarter-tone lower or higher than written."""
    found = {pitch.quarters for pitch in note.pitches if pitch.quarters}
    return ["\\quarterUp" if quarters > 0 else "\\quarterDown" for quarters in sorted(found)]


def _string_letter(name: str, shown: Shown) -> str:
    name = printed_name(name, shown.note_names)
    return name.replace("low ", fixed_words(shown.language).low_string.format(""))


def _stops_with_after(fingered: FingeredNote) -> list[tuple[Stop, Stop | None]]:
    """Stops from the lowest tone, each with the stop that replaces it during the note."""
    after = fingered.stops_after
    pairs: list[tuple[Stop, Stop | None]] = [
        (stop, after[place] if len(after) == len(fingered.stops) else None)
        for place, stop in enumerate(fingered.stops)
    ]
    return sorted(pairs, key=lambda pair: (pair[0].midi, pair[0].string_index))


def _finger_event(stop: Stop, after: Stop | None, is_crossed: bool) -> str:
    if after is not None and after.finger != stop.finger:
        return f"\\takenOver {stop.finger} {after.finger}"
    return f"\\crossed {stop.finger}" if is_crossed else f"-{stop.finger}"


def annotation_events(annotations: Sequence[Annotation]) -> list[str]:
    """Free texts of the tune, as quoted text and nothing else."""
    return [
        f"{_PLACEMENTS.get(annotation.placement, '^')}\\words "
        f"{lilypond_string(annotation.text, MOST_ANNOTATION_LETTERS)}"
        for annotation in annotations
        if annotation.text.strip()
    ]


_MOST_LETTERS = 60


def end_marks(one: PrintedBar, language: Language, *, is_departure: bool) -> list[str]:
    """Commands for the end of a bar. ``is_departure`` as for :func:`at_bar_sign`."""
    names = [name for note in one.bar.notes for name in note.decorations]
    lines = list(at_bar_sign(one.bar.decorations, is_departure=is_departure))
    lines += words_at_end((*names, *one.bar.decorations))
    for words in one.bar.annotations:
        if words.text.strip():
            lines.append(f"\\endWord {lilypond_string(words.text, _MOST_LETTERS)}")
    if one.times:
        text = fixed_words(language).times.format(one.times)
        lines.append(f"\\endWord {lilypond_string(text)}")
    return lines


def departure_to_coda(printed: PrintedBars) -> int:
    """The place of the bar at whose end a coda sign says where to leave: of several such signs
    the first, unless words say it; -1 when there is none."""
    names = [
        [*(name for note in one.bar.notes for name in note.decorations), *one.bar.decorations]
        for one in printed.bars
    ]
    every = [name for found in names for name in found]
    if every.count("coda") < 2 or "dacoda" in every or "tocoda" in every:
        return -1
    first = next(place for place, found in enumerate(names) if "coda" in found)
    return first if "coda" in printed.bars[first].bar.decorations else -1
