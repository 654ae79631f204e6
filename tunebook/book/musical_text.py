"""Keys, metres, tempi, pitches and places on the keybox in words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from tunebook.book.fonts.symbols import DOT, EIGHTH, HALF, QUARTER, SIXTEENTH, WHOLE
from tunebook.model.arrangement import Arrangement, Stop
from tunebook.model.changes import StringChange
from tunebook.model.choices import VoicesShown
from tunebook.model.instrument import Instrument, String
from tunebook.model.names import printed_name
from tunebook.model.tune import STEP_LETTERS, Key, Meter, Tune
from tunebook.model.words import FixedWords

SEPARATOR = " · "
_NOTE_SIGNS = {
    Fraction(1): WHOLE,
    Fraction(1, 2): HALF,
    Fraction(1, 4): QUARTER,
    Fraction(1, 8): EIGHTH,
    Fraction(1, 16): SIXTEENTH,
}
_LONGEST_ORDER = 60
_ONE_NAME = re.compile(r"[A-G][#b♯♭]?-?\d?")
_TUNING_NAME = re.compile(rf"({_ONE_NAME.pattern})+")
_FLAT_NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "G♯", "A", "B♭", "B")


def with_signs(text: str) -> str:
    """Accidentals written # and b after a note letter, as signs: "F#" to "F♯", "Bbm" to "B♭m"."""
    signed = text.replace("#", "♯")
    if len(signed) > 1 and signed[0] in STEP_LETTERS and signed[1] == "b":
        signed = signed[0] + "♭" + signed[2:]
    slash = signed.find("/")
    if 0 < slash < len(signed) - 1:
        signed = signed[: slash + 1] + with_signs(signed[slash + 1 :])
    return signed


def chord_text(symbol: str, words: FixedWords) -> str:
    """A chord symbol as it is printed: "Bbm7/D" as "B♭m7/D", or "Bm7/D" where B is B flat."""
    return "/".join(
        printed_name(part[:2] if part[1:2] == "♭" else part[:1], words.note_names)
        + (part[2:] if part[1:2] == "♭" else part[1:])
        for part in with_signs(symbol).split("/")
    )


def local_names(text: str, words: FixedWords) -> str:
    """A name of a pitch or a tuning ("A#3", "CGDA", "BbFBbG") with signs, in the names of the
    language; any other text as it stands."""
    if not _TUNING_NAME.fullmatch(text):
        return text
    names = (printed_name(with_signs(one), words.note_names) for one in _ONE_NAME.findall(text))
    return "".join(names)


def pitch_name(midi: int, words: FixedWords) -> str:
    """Name of a pitch with its octave (middle C is C4), in the commonest spelling."""
    return f"{note_name(midi, words)}{midi // 12 - 1}"


def note_name(midi: int, words: FixedWords) -> str:
    """Name of a pitch without its octave."""
    return printed_name(_FLAT_NAMES[midi % 12], words.note_names)


def string_name(string: String, words: FixedWords) -> str:
    """Name of a string in words: "D", "low C"."""
    *lows, letter = string.name.split(" ") if string.name.startswith("low ") else (string.name,)
    name = printed_name(with_signs(letter), words.note_names)
    for _ in lows:
        name = words.low_string.format(name)
    return name


def key_name(key: Key, words: FixedWords) -> str:
    """A key in words: "D dorian"; in Swedish "d-dorisk". Empty when the tune has none."""
    if key.mode not in words.modes:
        return ""
    tonic = with_signs(key.tonic_name)
    tonic = words.key_names.get(tonic) or printed_name(tonic, words.note_names)
    if words.is_minor_lower and key.is_minor_like:
        tonic = tonic[0].lower() + tonic[1:]
    return f"{tonic}{words.key_joint}{words.modes[key.mode]}"


def written_in(tune: Tune, words: FixedWords) -> str:
    """Where a transposed tune stands in its source: "written in D", or "written an octave higher"
    where the keynote is the same; empty for a tune that was not transposed."""
    moved = tune.moved
    if moved is None:
        return ""
    if moved.semitones % 12 == 0:
        is_far = abs(moved.semitones) > 12
        return words.written_octaves[2 * (moved.semitones < 0) + is_far]
    tonic = with_signs(moved.key.tonic_name)
    tonic = words.key_names.get(tonic) or printed_name(tonic, words.note_names)
    if words.is_minor_lower and moved.key.is_minor_like:
        tonic = tonic[0].lower() + tonic[1:]
    return words.written_in.format(tonic)


def rhythm_name(tune: Tune) -> str:
    """The tune type as printed, with a capital; empty when there is none."""
    rhythm = " ".join(tune.rhythm.split())
    return rhythm[:1].upper() + rhythm[1:]


def meter_name(meter: Meter) -> str:
    """The metre in figures; empty when it is free."""
    if meter.is_free:
        return ""
    return {"C": "4/4", "C|": "2/2"}.get(meter.sign, meter.sign)


def tempo_text(arrangement: Arrangement) -> str:
    """The tempo with its note sign, in brackets when it is not the tune's own."""
    tune = arrangement.tune
    speed = arrangement.whole_notes_per_second
    beat = _beat(tune)
    figure = f"{_note_sign(beat)} = {round(speed * 60 / float(beat))}"
    if arrangement.tempo_is_default:
        return f"({figure})"
    text = " ".join(tune.tempo.text.split()) if tune.tempo else ""
    return f"{text} {figure}" if text else figure


def _beat(tune: Tune) -> Fraction:
    if tune.tempo is not None and tune.tempo.beat > 0 and tune.tempo.per_minute > 0:
        if _note_sign(tune.tempo.beat):
            return tune.tempo.beat
    elif tune.meter.is_compound:
        return Fraction(3, tune.meter.unit)
    elif tune.meter.unit in (1, 2, 4) and not tune.meter.is_free:
        return Fraction(1, tune.meter.unit)
    return Fraction(1, 4)


def _note_sign(beat: Fraction) -> str:
    if beat in _NOTE_SIGNS:
        return _NOTE_SIGNS[beat]
    undotted = beat * Fraction(2, 3)
    return _NOTE_SIGNS[undotted] + DOT if undotted in _NOTE_SIGNS else ""


def further_voices(tune: Tune, words: FixedWords) -> str:
    """That a tune has voices beside its melody, in a word or two; empty when it has none."""
    if not tune.has_second_voice:
        return ""
    return words.further_voices[len(tune.voices) > 1]


def voices_note(arrangement: Arrangement, shown: VoicesShown, words: FixedWords) -> str:
    """Which voice of a tune a part holds, or what plays the voices below the melody; empty for a
    melody alone."""
    if shown == "second":
        return words.further_voices[0] if arrangement.tune.voices else words.melody
    if shown == "melody" or not (arrangement.voices and arrangement.tune.has_second_voice):
        return ""
    told = []
    is_only = len(arrangement.voices) == 1
    for number, one in enumerate(arrangement.voices, start=2):
        instrument = one.arrangement.instrument
        if instrument != arrangement.instrument:
            name = words.further_voices[0] if is_only else words.voice_number.format(number)
            title = words.local(instrument.title)
            tuning = local_names(instrument.tuning_name, words)
            told.append(f"{name}: {title[:1].lower()}{title[1:]} ({tuning})")
    return SEPARATOR.join(told) or words.further_voices[not is_only]


def info_line(arrangement: Arrangement, words: FixedWords) -> str:
    """The small line under the title: "Polska · G dorian, written in D · 3/4 · ♩ = 104"."""
    tune = arrangement.tune
    parts = (
        rhythm_name(tune),
        ", ".join(part for part in (key_name(tune.key, words), written_in(tune, words)) if part),
        meter_name(tune.meter),
        tempo_text(arrangement),
        part_order_text(tune, words),
        words.lines.get(tune.line, ""),
    )
    return SEPARATOR.join(part for part in parts if part)


def part_order_text(tune: Tune, words: FixedWords) -> str:
    """The order in which the parts are played, "order A B A"; empty where the tune gives none or
    its parts bear no such letters."""
    labels = {bar.part.strip()[:1].upper() for bar in tune.bars} - {""}
    order = " ".join(tune.part_order.upper().replace(".", "").split())[:_LONGEST_ORDER]
    if not labels.intersection(order):
        return ""
    # A letter begins a piece of its own; figures and brackets stay with theirs.
    spaced = re.sub(r"(?<=[A-Z0-9)])\s*(?=[A-Z(])", " ", order)
    return words.part_order.format(spaced)


def source_line(tune: Tune) -> str:
    """What stands at the right of the title: composer and place of origin."""
    parts = (" ".join(tune.composer.split()), " ".join(tune.origin.split()))
    return ", ".join(dict.fromkeys(part for part in parts if part))


def retune_text(changes: Sequence[StringChange], words: FixedWords) -> str:
    """The strings to turn, by how much, and the caution: "Retune: D4 down to C4 (2 semitones)."
    Empty where there are none."""
    if not changes:
        return ""
    turns = []
    for one in changes:
        count = abs(round(one.cents / 100))
        way = words.retune_up if one.cents > 0 else words.retune_down
        names = local_names(one.pitch_before, words), local_names(one.pitch_after, words)
        size = words.retune_semitones[count > 1].format(count)
        turns.append(way.format(*names, size + (" !" if one.is_risky else "")))
    text = words.retune.format("; ".join(turns))
    if any(one.cents > 0 for one in changes):
        text += f" {words.retune_caution}"
    return f"{text} {words.retune_risk}" if any(one.is_risky for one in changes) else text


def stop_text(stop: Stop, instrument: Instrument, words: FixedWords) -> str:
    """A stop in words: "open D" or "E4 (D string, key 2)"; on a fingerboard the finger tells."""
    name = string_name(instrument.string(stop.string_index), words)
    if stop.key == 0:
        return words.open_string.format(name)
    number = stop.key if instrument.kind == "keyed" else stop.finger
    return f"{pitch_name(stop.midi, words)} ({words.key_place.format(name, number)})"


def tuning_text(instrument: Instrument, words: FixedWords) -> str:
    """The open strings, low to high: "C G D A"."""
    return " ".join(note_name(string.open_midi, words) for string in instrument.strings)
