"""A tune as it is printed, as an ABC tune of its own: header, music, words and pins.

Source: The ABC Music Standard 2.1, sections 3 (fields), 4 (what belongs to a note, in the order of
4.20), 5 (words) and 7 (voices). Pins, chords between notes and what line of a tune this is are
remarks of our own (``read/abc/remarks.py``). Accidentals stand wherever one reader or another would
take a tone for something else (section 11.3), and wherever the page shows one. A voice is one line
of music for each line of the tune; overlays become voices. Clefs never shift the tones.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from tunebook.model.abc_text import in_field, in_quotes, in_words
from tunebook.model.tune import (
    AccentPin,
    Bar,
    ChordSymbol,
    DronePin,
    Key,
    Note,
    Pitch,
    Tune,
    Voice,
    VoiceName,
    line_in,
    pitch_name,
    tuning_in,
)
from tunebook.write.abc_signs import (
    bar_sign,
    clef_text,
    key_text,
    length_text,
    sign_text,
    tempo_text,
    tone_text,
)

_KEPT_FIELDS = "CORABDFGHNSZ"
_BARS_A_LINE = 8
_NAME = re.compile(r"[^\s!\[\]\"|]+\Z")
_VOICE_NAME = re.compile(r"[A-Za-z0-9]+\Z")


def tune_as_abc(tune: Tune, notes: Sequence[str] = ()) -> str:
    """Return the text of ``tune``, its voices too, without an empty line; ``notes`` are N: fields
    to add."""
    names = _voice_names(tune)
    lines = [*_head(tune, notes)]
    if names:
        lines += [_voice_field(name) for name in names]
    lines.append(f"K:{_with_clef(key_text(tune.key), _first_clef(tune.bars))}")
    bars = [tune.bars, *(voice.bars for voice in tune.voices)]
    writers = [_VoiceWriter(tune, own, is_melody=not at) for at, own in enumerate(bars)]
    for first, end in _lines_of(tune.bars):
        for at, writer in enumerate(writers):
            voice = f"[V:{names[at].id}] " if names else ""
            lines += writer.line(voice, first, end)
    lines += [f"W:{in_field(text)}" for text in tune.words]
    lines += [f"%%text {in_field(text)}" for text in tune.closing_texts if text]
    return "\n".join(lines) + "\n"


def _head(tune: Tune, notes: Sequence[str]) -> Iterator[str]:
    yield f"X:{in_field(tune.number)}"
    for title in tune.titles:
        yield f"T:{in_field(title)}"
    for letter in _KEPT_FIELDS:
        for text in tune.field(letter):
            yield f"{letter}:{in_field(text)}"
    yield from (f"N:{in_field(note)}" for note in notes)
    if tune.line != "full":
        yield f"r:line {tune.line}"
    for text in tune.field("r"):
        if line_in(text) is None and not (tune.tuning and tuning_in(text)):
            yield f"r:{in_field(text)}"
    if tune.tuning:
        yield f"r:tuning {in_field(''.join(tune.tuning.split()))}"
    if tune.part_order:
        yield f"P:{in_field(tune.part_order)}"
    yield from (f"%%text {in_field(text)}" for text in tune.texts if text)
    yield f"M:{tune.meter.sign or 'none'}"
    yield f"L:{tune.unit_length}"
    if tune.tempo is not None:
        yield f"Q:{tempo_text(tune.tempo)}"


def _voice_names(tune: Tune) -> list[VoiceName]:
    """What the voices are called, each by an id of its own; none for a tune of one voice without a
    name."""
    melody = tune.melody_voice
    if not (tune.voices or melody.name or melody.short_name):
        return []
    names: list[VoiceName] = []
    every: list[VoiceName | Voice] = [melody, *tune.voices]
    for one in every:
        taken = {name.id for name in names}
        number = len(names) + 1
        own = one.id if _VOICE_NAME.match(one.id) and one.id not in taken else str(number)
        while own in taken:
            number += 1
            own = str(number)
        names.append(VoiceName(id=own, name=one.name, short_name=one.short_name))
    return [
        replace(name, name=name.name or _called(voice, name.id))
        for name, voice in zip(names, (None, *tune.voices), strict=True)
    ]


def _called(voice: Voice | None, new: str) -> str:
    """A voice's own id as its name, where it is a word that could not stay its id."""
    is_word = voice is not None and voice.id.isalpha() and voice.id != new
    return voice.id if voice is not None and is_word else ""


def _voice_field(name: VoiceName) -> str:
    words = [f"V:{name.id}"]
    words += [f'nm="{in_quotes(name.name)}"'] if name.name else []
    words += [f'snm="{in_quotes(name.short_name)}"'] if name.short_name else []
    return " ".join(words)


def _first_clef(bars: Sequence[Bar]) -> str:
    return bars[0].clef if bars else ""


def _with_clef(key: str, clef: str) -> str:
    return f"{key} {clef_text(clef)}".rstrip()


def _lines_of(bars: Sequence[Bar]) -> Iterator[tuple[int, int]]:
    """Where the lines of the tune begin and end; a tune without lines gets its own."""
    has_lines = any(bar.breaks_line_after for bar in bars[:-1])
    first = 0
    for at, bar in enumerate(bars, start=1):
        is_full = not has_lines and at - first >= _BARS_A_LINE
        if bar.breaks_line_after or is_full or at == len(bars):
            yield first, at
            first = at


class _VoiceWriter:
    """Writes one voice, line by line; it knows the accidentals of the bar so far."""

    def __init__(self, tune: Tune, bars: Sequence[Bar], *, is_melody: bool) -> None:
        self._tune = tune
        self._bars = bars
        self._is_melody = is_melody
        self._key = tune.key
        self._signs: dict[object, float] = {}

    def line(self, voice: str, first: int, end: int) -> list[str]:
        """The line of these bars, and the words under it."""
        bars = self._bars[first:end]
        after = [*self._bars[first + 1 : end + 1], None]
        pieces = [self._start(bars[0])] if not first else []
        pieces += [self._bar(bar, then) for bar, then in zip(bars, after, strict=False)]
        music = " ".join(piece for piece in pieces if piece)
        sung = [note for bar in bars for note in bar.notes if note.pitches and not note.is_grace]
        return [voice + music, *_words(sung)]

    def _start(self, first: Bar) -> str:
        sign = first.sign_before if ":" in first.sign_before or first.sign_before == "[|" else ""
        if self._is_melody:
            return sign
        clef = clef_text(first.clef)
        own = key_text(first.key) if first.key != self._tune.key else ""
        return f"[K:{own}{' ' if own and clef else ''}{clef}] {sign}" if own or clef else sign

    def _bar(self, bar: Bar, after: Bar | None) -> str:
        self._signs = {}
        self._key = bar.key
        pieces = [self._fields(bar)]
        if bar.ending:
            pieces.append("[" + ",".join(map(str, bar.ending)))
        pieces.append(self._notes(bar.notes))
        if bar.end_chord is not None:
            pieces.append(_chord(bar.end_chord))
        signs = "".join(f"!{name}!" for name in bar.decorations if _NAME.match(name))
        words = "".join(_annotation(one.placement, one.text) for one in bar.annotations)
        pieces += [signs + words, bar_sign(bar, after)]
        return " ".join(piece for piece in pieces if piece)

    def _fields(self, bar: Bar) -> str:
        fields = []
        if bar.part and self._is_melody:
            fields.append(f"[P:{in_quotes(bar.part)}]")
        if bar.meter_changed:
            fields.append(f"[M:{bar.meter.sign or 'none'}]")
        if bar.index and (bar.key_changed or bar.clef):
            clef = clef_text(bar.clef)
            # An octave that an earlier clef asked for ends with it.
            clef += " octave=0" if clef and "octave" not in clef else ""
            key = key_text(bar.key) if bar.key_changed else ""
            fields.append(f"[K:{f'{key} {clef}'.strip()}]")
        if bar.tempo is not None and self._is_melody:
            fields.append(f"[Q:{tempo_text(bar.tempo)}]")
        return "".join(fields)

    def _notes(self, notes: Sequence[Note]) -> str:
        text, graces = "", ""
        for at, note in enumerate(notes):
            if note.is_grace:
                graces += self._grace(note, notes[at - 1] if at else None)
                then = notes[at + 1] if at + 1 < len(notes) else None
                is_last = then is None or not _is_one_group(note, then)
                graces += "}" if is_last else ""
                text += graces if is_last and then is None else ""
                continue
            text += _before(note, self._tune) + graces + self._note(note)
            text += "" if note.is_joined else " "
            graces = ""
        return text.rstrip()

    def _grace(self, note: Note, before: Note | None) -> str:
        opens = before is None or not _is_one_group(before, note)
        start = ("{/" if note.is_slashed_grace else "{") if opens else ""
        return start + _before(note, self._tune) + self._note(note)

    def _note(self, note: Note) -> str:
        length = length_text(note.written / self._tune.unit_length)
        closing = ")" * note.slurs_closed
        if note.is_rest:
            return ("x" if note.is_invisible else "z") + length + closing
        ties = (*note.ties, *(False,) * (len(note.pitches) - len(note.ties)))
        pins = (*note.finger_pins, *(None,) * (len(note.pitches) - len(note.finger_pins)))
        tones = [
            ("" if pins[at] is None else f"!{pins[at]}!")
            + self._sign(note, at, pitch)
            + tone_text(pitch)
            for at, pitch in enumerate(note.pitches)
        ]
        if len(tones) == 1:
            return tones[0] + length + ("-" if ties[0] else "") + closing
        if all(ties):
            return f"[{''.join(tones)}]{length}-{closing}"
        marked = (tone + ("-" if tie else "") for tone, tie in zip(tones, ties, strict=True))
        return f"[{''.join(marked)}]{length}{closing}"

    def _sign(self, note: Note, at: int, pitch: Pitch) -> str:
        usual = float(self._key.alters[pitch.step])
        place = (pitch.step, pitch.octave)
        implied = {self._signs.get(place, usual), self._signs.get(pitch.step, usual)}
        shown = note.shown_accidentals[at] if at < len(note.shown_accidentals) else None
        held = note.is_tied_from_before[at] if at < len(note.is_tied_from_before) else False
        if not shown and (implied == {pitch.alteration} or (held and implied == {usual})):
            return ""
        self._signs[place] = self._signs[pitch.step] = pitch.alteration
        return sign_text(pitch.alteration)


def _is_one_group(one: Note, other: Note) -> bool:
    """Whether two notes stand in one pair of braces."""
    return one.is_grace and other.is_grace and one.is_slashed_grace == other.is_slashed_grace


def _before(note: Note, tune: Tune) -> str:
    """All that stands before a note and belongs to it."""
    tuplet = note.tuplet
    starts = tuplet is not None and not tuplet.position and not note.is_grace
    text = f"({tuplet.p}:{tuplet.q}:{tuplet.size}" if tuplet is not None and starts else ""
    text += "(" * note.slurs_opened
    text += _remarks(note)
    text += "" if note.chord is None else _chord(note.chord)
    text += "".join(_annotation(one.placement, one.text) for one in note.annotations)
    names = (name for name in note.decorations if _NAME.match(name))
    return text + "".join(f"!{name}!" for name in names)


def _remarks(note: Note) -> str:
    remarks = []
    if note.string_pin is not None:
        remarks.append(f"string {note.string_pin}")
    if note.drone_pin is not None:
        remarks.append(_drone(note.drone_pin))
    if note.accent_pin is not None:
        remarks.append(_accent(note.accent_pin))
    if note.trill_pin is not None:
        remarks.append(f"trill finger {note.trill_pin}")
    for delay, chord in note.later_chords:
        likely = chord.solved_confidence
        if likely is None:
            remarks.append(f"chord {_symbol(chord)} after {delay}")
        else:
            remarks.append(f"solved {_symbol(chord)} {likely_text(likely)} after {delay}")
    if note.remark:
        remarks.append(f"note {note.remark}")
    return "".join(f"[r:{_plain(one)}]" for one in remarks)


def _plain(text: str) -> str:
    """A remark's text, which ends where its bracket does."""
    return " ".join(text.split()).translate(str.maketrans("[]%", "() "))


def _drone(pin: DronePin) -> str:
    if pin.midi is None:
        return "drone free" if pin.is_free else "drone off"
    finger = "" if pin.finger is None else f" finger {pin.finger}"
    string = "" if pin.string is None else f" string {pin.string}"
    return f"drone {pitch_name(pin.midi)}{finger}{string}{' strict' if pin.is_strict else ''}"


def _accent(pin: AccentPin) -> str:
    if pin.midi is None:
        return "accent off"
    return f"accent {pitch_name(pin.midi)}" + (
        "" if pin.finger is None else f" finger {pin.finger}"
    )


def likely_text(probability: float) -> str:
    """How likely a chord is, as its remark says it."""
    return f"{probability:.3f}".rstrip("0").rstrip(".")


def _symbol(chord: ChordSymbol) -> str:
    text = "".join(chord.text.split())
    return f"({text})" if chord.is_optional and not text.startswith("(") else text


def _chord(chord: ChordSymbol) -> str:
    symbol = _symbol(chord)
    likely = chord.solved_confidence
    mark = "" if likely is None else f"[r:solved {symbol} {likely_text(likely)}]"
    return f'{mark}"{in_quotes(symbol)}"'


def _annotation(placement: str, text: str) -> str:
    return f'"{placement}{in_quotes(text)}"'


def _words(sung: Sequence[Note]) -> list[str]:
    count = max((len(note.syllables) for note in sung), default=0)
    lines = [_verse(sung, verse) for verse in range(count)]
    while lines and lines[-1] == "w:":
        lines.pop()
    return lines


def _verse(sung: Sequence[Note], verse: int) -> str:
    pieces: list[str] = []
    is_extended = False
    for note in sung:
        syllable = note.syllables[verse] if verse < len(note.syllables) else None
        if syllable is None:
            pieces.append("_" if is_extended else "*")
        else:
            pieces.append(in_words(syllable.text) + ("-" if syllable.is_joined else ""))
            is_extended = syllable.is_extended
    while pieces and pieces[-1] == "*":
        pieces.pop()
    return " ".join(["w:", *pieces])


def keeps_its_notes(one: Tune, other: Tune) -> bool:
    """Whether two tunes have the same bars, tones, times and order of playing, in all voices."""
    return one.played == other.played and [_essence(bars) for bars in _all_bars(one)] == [
        _essence(bars) for bars in _all_bars(other)
    ]


def _all_bars(tune: Tune) -> list[tuple[Bar, ...]]:
    return [tune.bars, *(voice.bars for voice in tune.voices)]


def _essence(bars: Sequence[Bar]) -> list[object]:
    return [
        (bar.onset, bar.duration, _key_essence(bar.key), bar.number,
         [(note.onset, note.duration, note.is_grace, note.pitches, _flags(note.is_tied_from_before))
          for note in bar.notes])
        for bar in bars
    ]  # fmt: skip


def _flags(ties: tuple[bool, ...]) -> bool:
    return any(ties)


def _key_essence(key: Key) -> tuple[object, ...]:
    return key.tonic_class if key.mode != "none" else None, key.alters
