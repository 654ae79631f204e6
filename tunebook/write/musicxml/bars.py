"""What frames the music of a MusicXML measure: key, metre, tempo, repeats, endings, signs."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from tunebook.model.arrangement import Arrangement
from tunebook.model.spelling import SHARP_ORDER, usual_fifths
from tunebook.model.tune import Annotation, Bar, Key, Meter, Note, Tempo, Tune
from tunebook.write.clefs import clef_sign
from tunebook.write.musicxml.lengths import pieces_of
from tunebook.write.safe_text import plain_text

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_MODES = {"ionian": "major", "aeolian": "minor"}
_STYLES = {"||": "light-light", "|]": "light-heavy", "[|": "heavy-light", ".|": "dotted"}
_JUMPS = {
    "D.C.": ("D.C.", "dacapo", "yes"),
    "D.C.alfine": ("D.C. al Fine", "dacapo", "yes"),
    "D.C.alcoda": ("D.C. al Coda", "dacapo", "yes"),
    "D.S.": ("D.S.", "dalsegno", "segno"),
    "D.S.alfine": ("D.S. al Fine", "dalsegno", "segno"),
    "D.S.alcoda": ("D.S. al Coda", "dalsegno", "segno"),
    "fine": ("Fine", "fine", "yes"),
    "dacapo": ("Da Capo", "dacapo", "yes"),
    "dacoda": ("Da Coda", "tocoda", "coda"),
    "tocoda": ("To Coda", "tocoda", "coda"),
}


@dataclass(frozen=True, slots=True)
class BarFrame:
    """A bar with the attributes of its <measure> and what stands before and after its notes."""

    bar: Bar
    attributes: dict[str, str]
    before: tuple[Element, ...]
    after: tuple[Element, ...]


def bar_frames(
    arrangement: Arrangement, bars: Sequence[Bar], divisions: int, *, has_directions: bool = False
) -> list[BarFrame]:
    """Return a frame for each bar. Tempo and part letters stand in one part of the score only,
    the one for which ``has_directions``."""
    frames = []
    ends = _ending_types(bars)
    starts = _unmarked_starts(arrangement.tune)
    for place, bar in enumerate(bars):
        last = bars[place - 1] if place else None
        following = bars[place + 1] if place + 1 < len(bars) else None
        before = [
            *_line_break(last),
            *_left_barline(bar, _repeats_from(bar, last) or place in starts),
            *_attributes(bar, last, arrangement, divisions),
        ]
        if has_directions:
            order = arrangement.tune.part_order if last is None else ""
            before += [*_words(order), *_part_letter(bar), *_tempo(bar, last, arrangement)]
        after = _right_barline(bar, following, ends.get(place))
        frames.append(BarFrame(bar, _measure_attributes(bar), tuple(before), tuple(after)))
    return frames


def _measure_attributes(bar: Bar) -> dict[str, str]:
    """Number and implicit: pickups and second halves of bars do not count."""
    if bar.is_continued:
        return {"number": f"X{bar.index}", "implicit": "yes"}
    return {"number": str(bar.number)} | ({"implicit": "yes"} if bar.is_pickup else {})


def _line_break(last: Bar | None) -> list[Element]:
    is_new = last is not None and last.breaks_line_after
    return [ElementTree.Element("print", {"new-system": "yes"})] if is_new else []


def _attributes(
    bar: Bar, last: Bar | None, arrangement: Arrangement, divisions: int
) -> list[Element]:
    attributes = ElementTree.Element("attributes")
    if last is None:
        ElementTree.SubElement(attributes, "divisions").text = str(divisions)
    if last is None or bar.key != last.key:
        attributes.append(_key(bar.key))
    if last is None or bar.meter != last.meter:
        attributes.append(_time(bar.meter))
    if last is None or bar.clef:
        attributes.append(_clef(bar.clef or arrangement.instrument.clef))
    return [attributes] if len(attributes) else []


def _clef(name: str) -> Element:
    sign, line, octave = clef_sign(name)
    clef = ElementTree.Element("clef")
    ElementTree.SubElement(clef, "sign").text = sign
    ElementTree.SubElement(clef, "line").text = str(line)
    if octave:
        ElementTree.SubElement(clef, "clef-octave-change").text = str(octave)
    return clef


def _key(key: Key) -> Element:
    """A key by its fifths, or step by step where the signature is none of the usual ones."""
    element = ElementTree.Element("key")
    fifths = usual_fifths(key.alters)
    if fifths is not None:
        ElementTree.SubElement(element, "fifths").text = str(fifths)
        ElementTree.SubElement(element, "mode").text = _MODES.get(key.mode, key.mode)
        return element
    order = SHARP_ORDER if sum(key.alters) > 0 else tuple(reversed(SHARP_ORDER))
    for step in order:
        if key.alters[step]:
            ElementTree.SubElement(element, "key-step").text = "CDEFGAB"[step]
            ElementTree.SubElement(element, "key-alter").text = str(key.alters[step])
    return element


def _time(meter: Meter) -> Element:
    element = ElementTree.Element("time")
    if meter.is_free:
        ElementTree.SubElement(element, "senza-misura").text = ""
        return element
    symbol = {"C": "common", "C|": "cut"}.get(meter.sign)
    if symbol:
        element.set("symbol", symbol)
    beats = "+".join(map(str, meter.groups)) if len(meter.groups) > 1 else str(meter.beats)
    ElementTree.SubElement(element, "beats").text = beats
    ElementTree.SubElement(element, "beat-type").text = str(meter.unit)
    return element


def _ending_types(bars: Sequence[Bar]) -> dict[int, tuple[str, str]]:
    """For each bar with which an ending stops: its number and "stop" or "discontinue"."""
    ends: dict[int, tuple[str, str]] = {}
    number = ""
    for place, bar in enumerate(bars):
        number = ending_number(bar.ending) or number
        following = bars[place + 1] if place + 1 < len(bars) else None
        is_last = following is None or bool(following.ending)
        if number and (bar.ends_ending or is_last):
            ends[place] = (number, "stop" if _repeats_after(bar, following) else "discontinue")
            number = ""
    return ends


def ending_number(passes: Sequence[int]) -> str:
    """Return MusicXML's spelling of an ending's passes: "1, 2"."""
    return ", ".join(str(number) for number in sorted(set(passes)) if number > 0)


def _repeats_after(bar: Bar, following: Bar | None) -> bool:
    before = following.sign_before if following else ""
    return bar.sign_after in (":|", "::") or before in (":|", "::")


def _repeats_from(bar: Bar, last: Bar | None) -> bool:
    return bar.sign_before in ("|:", "::") or (last is not None and last.sign_after in ("|:", "::"))


def _unmarked_starts(tune: Tune) -> frozenset[int]:
    """Bars to which a repeat goes back and a reader of MusicXML would not, since neither the tune
    begins there nor another repeat ends right before."""
    bars = tune.bars
    back: dict[int, list[int]] = {}
    for bar, after in pairwise(tune.played):
        if after <= bar and _repeats_after(
            bars[bar], bars[bar + 1] if bar + 1 < len(bars) else None
        ):
            back.setdefault(bar, []).append(after)
    starts = {
        start
        for bar, targets in back.items()
        for start in (targets[:-1] if _jumps_from(bars[bar]) else targets)
    }
    return frozenset(
        start for start in starts if start and bars[start - 1].sign_after not in (":|", "::")
    )


_JUMP_WORDS = re.compile(r"\W*(d\.?\s?[cs]\b|da\s?capo|dal\s?segno)", re.IGNORECASE)


def _jumps_from(bar: Bar) -> bool:
    """Whether the last time through the bar leads back by a da capo or dal segno."""
    marked: tuple[Bar | Note, ...] = (bar, *bar.notes)
    names = [name for one in marked for name in one.decorations]
    words = [one.text for mark in marked for one in mark.annotations]
    return any(map(_JUMP_WORDS.match, [*names, *words]))


def _left_barline(bar: Bar, begins_repeat: bool) -> list[Element]:
    barline = ElementTree.Element("barline", location="left")
    number = ending_number(bar.ending)
    if begins_repeat:
        ElementTree.SubElement(barline, "bar-style").text = "heavy-light"
    if number:
        ending = ElementTree.SubElement(barline, "ending", number=number, type="start")
        ending.text = f"{number}."
    if begins_repeat:
        ElementTree.SubElement(barline, "repeat", direction="forward")
    return [barline] if len(barline) else []


def _right_barline(bar: Bar, following: Bar | None, ends: tuple[str, str] | None) -> list[Element]:
    barline = ElementTree.Element("barline", location="right")
    is_repeat = _repeats_after(bar, following)
    style = "light-heavy" if is_repeat else _STYLES.get(bar.sign_after, "")
    if not style and bar.sign_after == "" and following is not None:
        style = "none"  # an ending or a field cut the bar without a sign
    if style:
        ElementTree.SubElement(barline, "bar-style").text = style
    for name, kind in (("fermata", "upright"), ("invertedfermata", "inverted")):
        if name in bar.decorations:
            ElementTree.SubElement(barline, "fermata", type=kind)
    if ends:
        ElementTree.SubElement(barline, "ending", number=ends[0], type=ends[1])
    if is_repeat:
        times = {"times": str(bar.repeat_passes)} if bar.repeat_passes > 2 else {}
        ElementTree.SubElement(barline, "repeat", {"direction": "backward"} | times)
    return [barline] if len(barline) else []


def _part_letter(bar: Bar) -> list[Element]:
    if not plain_text(bar.part).strip():
        return []
    direction, kind = _direction("above")
    ElementTree.SubElement(kind, "rehearsal").text = plain_text(bar.part)
    return [direction]


def _words(text: str) -> list[Element]:
    """Words over the staff. The order of the parts is one, since MusicXML cannot play it."""
    if not plain_text(text).strip():
        return []
    direction, kind = _direction("above")
    ElementTree.SubElement(kind, "words").text = plain_text(text)
    return [direction]


def _direction(placement: str) -> tuple[Element, Element]:
    direction = ElementTree.Element("direction", placement=placement)
    return direction, ElementTree.SubElement(direction, "direction-type")


def _tempo(bar: Bar, last: Bar | None, arrangement: Arrangement) -> list[Element]:
    """The tempo that begins here. The first is the arrangement's, shown only if the tune has one;
    later ones change with it in proportion."""
    first = arrangement.tune.tempo
    own = first.whole_notes_per_second if first else 0.0
    used = arrangement.whole_notes_per_second or own
    if last is None:
        return _tempo_direction(bar.tempo or first or Tempo(), used)
    if bar.tempo is None:
        return []
    factor = used / own if own and used else 1.0
    return _tempo_direction(bar.tempo, bar.tempo.whole_notes_per_second * factor)


def _tempo_direction(tempo: Tempo, whole_notes_per_second: float) -> list[Element]:
    direction = ElementTree.Element("direction", placement="above")
    words = plain_text(tempo.text).strip()
    if words:
        kind = ElementTree.SubElement(direction, "direction-type")
        ElementTree.SubElement(kind, "words").text = words
    pieces = pieces_of(tempo.beat) if tempo.beat else ()
    if tempo.per_minute > 0 and whole_notes_per_second > 0 and len(pieces) == 1:
        per_minute = whole_notes_per_second * 60 / float(tempo.beat)
        direction.append(_metronome(pieces[0].type_name or "quarter", pieces[0].dots, per_minute))
    quarters_per_minute = whole_notes_per_second * 240
    sound = {"tempo": _number(quarters_per_minute)} if quarters_per_minute > 0 else {}
    if not len(direction):
        return [ElementTree.Element("sound", sound)] if sound else []
    if sound:
        ElementTree.SubElement(direction, "sound", sound)
    return [direction]


def _metronome(type_name: str, dots: int, per_minute: float) -> Element:
    kind = ElementTree.Element("direction-type")
    metronome = ElementTree.SubElement(kind, "metronome")
    ElementTree.SubElement(metronome, "beat-unit").text = type_name
    for _ in range(dots):
        ElementTree.SubElement(metronome, "beat-unit-dot")
    ElementTree.SubElement(metronome, "per-minute").text = _number(per_minute)
    return kind


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def jump_directions(names: Iterable[str]) -> list[Element]:
    """Return directions for D.C., D.S., Fine and To Coda, with what they mean to a player."""
    found = []
    for name in dict.fromkeys(names):
        if name in _JUMPS:
            words, attribute, value = _JUMPS[name]
            direction, kind = _direction("above")
            ElementTree.SubElement(kind, "words").text = words
            ElementTree.SubElement(direction, "sound", {attribute: value})
            found.append(direction)
    return found


def words_direction(annotation: Annotation) -> Element:
    """Return free text as a direction, below the staff where ABC has it below."""
    direction, kind = _direction("below" if annotation.placement == "_" else "above")
    ElementTree.SubElement(kind, "words").text = plain_text(annotation.text) or " "
    return direction
