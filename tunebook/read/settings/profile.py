"""Instrument profiles, tunings and hands: data files to Instrument and Hand.

Tunings written by players: "CGDA", "C3,G3,D4,A4", "Bb F Bb G".

Pitches are in scientific pitch notation (Young 1939), middle C is C4. A letter without an octave
takes the octave that brings it nearest to the string's pitch in the profile's own tuning.

Checks of an instrument profile, every mistake with its line.

Instrument profiles and hands: data files -> Instrument, Hand.

A profile is a TOML file; those that ship with the package lie in ``data/instruments`` and are
asked for by name, any other by its path. Lengths are in mm, key 1 is the key next to the nut, and
the strings are listed from the lowest.
"""

from __future__ import annotations

import difflib
import functools
import re
import tomllib
from pathlib import Path
from typing import Any, NoReturn

from tunebook.errors import SettingError, SourcePlace
from tunebook.files import FilesRead, read_text
from tunebook.model.book import HandChoice
from tunebook.model.choices import CLEFS, INSTRUMENT_KINDS
from tunebook.model.hand import (
    FINGER_PAIRS,
    OWN_SPAN_BOUNDS_MM,
    SPAN_FACTOR_BOUNDS,
    WEIGHT_BOUNDS,
    Hand,
    Span,
)
from tunebook.model.instrument import Instrument, String, key_place_mm
from tunebook.model.tune import STEP_LETTERS, STEP_SEMITONES
from tunebook.read.settings.values import load_toml

PITCH_PATTERN = re.compile(r"([A-Ga-g])(#|b|♯|♭)?(-?\d)?")
SEPARATORS = re.compile(r"[\s,;]+")


def read_pitch(text: str) -> tuple[str, int | None, int]:
    """Read one pitch: its name without octave, its octave (None when not given) and its semitone
    above C of that octave. Raises SettingError when ``text`` is no pitch."""
    match = PITCH_PATTERN.fullmatch(text.strip())
    if match is None:
        raise SettingError(f"{text!r} is no pitch", "write it as C3, F#4 or Bb3")
    letter = match.group(1).upper()
    sign = {"♯": "#", "♭": "b"}.get(match.group(2) or "", match.group(2) or "")
    semitone = STEP_SEMITONES[STEP_LETTERS.index(letter)] + {"#": 1, "b": -1, "": 0}[sign]
    octave = None if match.group(3) is None else int(match.group(3))
    return letter + sign, octave, semitone


def midi_of(text: str) -> int:
    """MIDI number of a pitch with its octave. Raises SettingError."""
    _, octave, semitone = read_pitch(text)
    if octave is None:
        raise SettingError(f"{text!r} has no octave", "write it as C3, F#4 or Bb3")
    return 12 * (octave + 1) + semitone


def read_tuning(text: str, reference: tuple[int, ...]) -> tuple[tuple[str, int], ...]:
    """Read a list of open strings, lowest string first: (letter, MIDI number) of each.

    ``reference`` is the profile's own tuning in MIDI numbers. Raises SettingError when the number
    of strings differs or a pitch cannot be read.
    """
    pieces = [piece for piece in SEPARATORS.split(text.strip()) if piece]
    if len(pieces) == 1 and len(reference) > 1:
        pieces = _cut_letters(pieces[0])
    if len(pieces) != len(reference):
        raise SettingError(
            f"tuning {text!r} names {len(pieces)} strings, the instrument has {len(reference)}",
            "name every string from the lowest, as C3,G3,D4,A4",
        )
    strings = []
    for piece, near in zip(pieces, reference, strict=True):
        name, octave, semitone = read_pitch(piece)
        if octave is None:
            midi = near + (semitone - near + 6) % 12 - 6
        else:
            midi = 12 * (octave + 1) + semitone
        strings.append((name, midi))
    return tuple(strings)


def _cut_letters(text: str) -> list[str]:
    """Cut "CGDA" or "BbFBbG" into pitches."""
    pieces = []
    position = 0
    pattern = re.compile(r"[A-G](#|b|♯|♭)?(-?\d)?")
    while position < len(text):
        match = pattern.match(text, position)
        if match is None:
            raise SettingError(
                f"tuning {text!r} cannot be read at {text[position:]!r}",
                "name every string from the lowest, as CGDA or C3,G3,D4,A4",
            )
        pieces.append(match.group())
        position = match.end()
    return pieces


def name_strings(strings: tuple[tuple[str, int], ...]) -> tuple[str, ...]:
    """Names to tell the strings apart: the letter, and "low C" for the lower of two Cs."""
    letters = [letter for letter, _ in strings]
    names = []
    for index, letter in enumerate(letters):
        names.append("low " * letters[index + 1 :].count(letter) + letter)
    return tuple(names)


TOP_KEYS = {
    "name", "title", "kind", "string_length_mm", "row_distance_mm", "clef", "tuning", "tunings",
    "sympathetic", "sympathetic_rings_s", "source", "source_sv", "string",
}  # fmt: skip
STRING_KEYS = {"keys", "row", "shift_mm", "places_mm", "name"}
MOST_KEYS = 36
# Letters of a name and of a note on where the figures come from.
LONGEST_NAME = 100
LONGEST_SOURCE = 2000
MOST_TUNINGS = 100
MOST_SYMPATHETIC = 40


class _Profile:
    """The parsed data with the text it came from, so that a mistake can be given its line."""

    def __init__(self, data: dict[str, Any], text: str, path: str) -> None:
        self.data = data
        self.lines = text.splitlines()
        self.path = path

    def fail(self, what: str, remedy: str, key: str = "", string: int = 0) -> NoReturn:
        raise SettingError(what, remedy, SourcePlace(self.path, self.line_of(key, string)))

    def line_of(self, key: str, string: int = 0) -> int:
        """Line of ``key``, looked for in the ``string``-th [[string]] table when that is > 0."""
        seen = 0
        fallback = 0
        for number, line in enumerate(self.lines, start=1):
            if line.strip().startswith("[[string]]"):
                seen += 1
                if seen == string:
                    fallback = number
            is_key = key and re.match(rf"\s*\[?\"?{re.escape(key)}\"?\]?\s*(=|$|#)", line)
            if is_key and seen == string:
                return number
        return fallback


def check_profile(data: dict[str, Any], text: str, path: str) -> None:
    """Raise SettingError with path and line for the first mistake in a profile's ``data``."""
    profile = _Profile(data, text, path)
    for key in data:
        if key not in TOP_KEYS:
            profile.fail(f"{key!r} is no setting", f"use {', '.join(sorted(TOP_KEYS))}", key)
    for key in ("name", "title", "tuning"):
        if not isinstance(data.get(key), str) or not data[key]:
            profile.fail(f"{key} is missing or no text", f'write {key} = "..."', key)
        _check_length(profile, data[key], key, LONGEST_NAME)
    for key in ("source", "source_sv"):
        if not isinstance(data.get(key, ""), str):
            profile.fail(f"{key} is no text", f'write {key} = "..."', key)
        _check_length(profile, data.get(key, ""), key, LONGEST_SOURCE)
    if data.get("kind") not in INSTRUMENT_KINDS:
        profile.fail(
            f"kind is {data.get('kind')!r}", f"use one of {', '.join(INSTRUMENT_KINDS)}", "kind"
        )
    if data.get("clef", "treble") not in CLEFS:
        profile.fail(f"clef is {data['clef']!r}", f"use one of {', '.join(CLEFS)}", "clef")
    _check_number(profile, data, "string_length_mm", 150.0, 900.0)
    _check_number(profile, data, "row_distance_mm", 3.0, 40.0)
    _check_strings(profile)
    _check_tunings(profile)
    _check_pitches(profile, data.get("sympathetic", []), "sympathetic")
    if len(data.get("sympathetic", [])) > MOST_SYMPATHETIC:
        remedy = f"name {MOST_SYMPATHETIC} at most"
        profile.fail("there are too many sympathetic strings", remedy, "sympathetic")
    _check_rings(profile, data)


def _check_length(profile: _Profile, text: str, key: str, most: int, string: int = 0) -> None:
    if len(text) > most:
        where = f"string {string}: {key}" if string else key
        profile.fail(f"{where} has more than {most} letters", "shorten it", key, string)


def _check_number(
    profile: _Profile, table: dict[str, Any], key: str, least: float, most: float, string: int = 0
) -> None:
    value: Any = table.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        profile.fail(f"{key} is missing or no number", f"write {key} = {least:g}", key, string)
    if not least <= value <= most:
        remedy = f"give a value from {least:g} to {most:g}"
        profile.fail(f"{key} is {str(value)[:20]}", remedy, key, string)


def _check_pitches(profile: _Profile, pitches: Any, key: str) -> None:
    if not isinstance(pitches, list) or not all(isinstance(pitch, str) for pitch in pitches):
        profile.fail(f"{key} is no list of pitches", 'write ["C3", "G3", ...]', key)
    for pitch in pitches:
        try:
            midi_of(pitch)
        except SettingError as error:
            profile.fail(error.what, error.remedy, key)


def _check_rings(profile: _Profile, data: dict[str, Any]) -> None:
    """How long each sympathetic string rings, where that is said."""
    rings = data.get("sympathetic_rings_s", [])
    is_list = isinstance(rings, list) and all(type(ring) in (int, float) for ring in rings)
    if not is_list or not all(0.1 <= ring <= 30.0 for ring in rings):
        remedy = "write a list of seconds, 0.1 to 30 each"
        profile.fail("sympathetic_rings_s cannot be read", remedy, "sympathetic_rings_s")
    if rings and len(rings) != len(data.get("sympathetic", [])):
        remedy = "write one number for each sympathetic string"
        profile.fail(f"sympathetic_rings_s has {len(rings)}", remedy, "sympathetic_rings_s")


def _check_tunings(profile: _Profile) -> None:
    tunings = profile.data.get("tunings")
    if not isinstance(tunings, dict) or not tunings:
        profile.fail("[tunings] is missing", "list at least one tuning", "tunings")
    if len(tunings) > MOST_TUNINGS:
        profile.fail("there are too many tunings", f"name {MOST_TUNINGS} at most", "tunings")
    for name, pitches in tunings.items():
        _check_length(profile, name, "tunings", LONGEST_NAME)
        _check_pitches(profile, pitches, name)
        if len(pitches) != len(profile.data["string"]):
            profile.fail(
                f"tuning {name} has {len(pitches)} strings, the profile has "
                f"{len(profile.data['string'])}",
                "name every string from the lowest",
                name,
            )
    if profile.data["tuning"] not in tunings:
        profile.fail(
            f"tuning {profile.data['tuning']!r} is not listed",
            f"use one of {', '.join(tunings)}",
            "tuning",
        )


def _check_strings(profile: _Profile) -> None:
    strings = profile.data.get("string")
    if not isinstance(strings, list) or not 1 <= len(strings) <= 8:
        profile.fail("there are no [[string]] tables", "write one for each string", "string")
    if not all(isinstance(table, dict) for table in strings):
        profile.fail("there are no [[string]] tables", "write one for each string", "string")
    for number, table in enumerate(strings, start=1):
        for key in table:
            if key not in STRING_KEYS:
                remedy = f"use {', '.join(sorted(STRING_KEYS))}"
                profile.fail(f"{key!r} is no setting of a string", remedy, key, number)
        keys = table.get("keys")
        if isinstance(keys, bool) or not isinstance(keys, int) or not 0 <= keys <= MOST_KEYS:
            remedy = f"give a whole number from 0 to {MOST_KEYS}"
            profile.fail(f"string {number}: keys is {keys!r}", remedy, "keys", number)
        if not isinstance(table.get("name", ""), str):
            profile.fail(f"string {number}: name is no text", 'write name = "D"', "name", number)
        _check_length(profile, table.get("name", ""), "name", LONGEST_NAME, number)
        if "row" in table:
            _check_number(profile, table, "row", 0.0, 8.0, number)
        if "shift_mm" in table:
            _check_number(profile, table, "shift_mm", -40.0, 40.0, number)
        _check_places(profile, table, number)


def _check_places(profile: _Profile, table: dict[str, Any], number: int) -> None:
    """Own places must belong to keys that exist and rise from the nut to the bridge."""
    length_mm = float(profile.data["string_length_mm"])
    shift_mm = float(table.get("shift_mm", 0.0))
    places = [key_place_mm(length_mm, key) + shift_mm for key in range(1, table["keys"] + 1)]
    measured = table.get("places_mm", {})
    if not isinstance(measured, dict):
        profile.fail("places_mm is no table", "write {7 = 131.5}", "places_mm", number)
    for key, place_mm in measured.items():
        is_number = key.isascii() and key.isdigit() and len(key) <= 2
        if not is_number or not 1 <= int(key) <= len(places):
            remedy = f"keys run from 1 to {len(places)}"
            profile.fail(f"string {number} has no key {key}", remedy, "places_mm", number)
        is_length = isinstance(place_mm, int | float) and not isinstance(place_mm, bool)
        # A comparison with nan is false, so that it is refused too.
        if not is_length or not 0 < place_mm < length_mm:
            remedy = "give the distance from the nut in mm"
            what = f"key {key} has place {repr(place_mm)[:20]}"
            profile.fail(what, remedy, "places_mm", number)
        places[int(key) - 1] = float(place_mm)
    for key, (lower, upper) in enumerate(zip([0.0, *places], places, strict=False), start=1):
        if upper <= lower or upper >= length_mm:
            profile.fail(
                f"string {number}: key {key} at {upper:.1f} mm does not lie beyond key {key - 1}",
                "measure again from the nut to where the key stops the string",
                "places_mm" if measured else "shift_mm",
                number,
            )


DATA = Path(__file__).resolve().parents[2] / "data"
MOST_COMFORTABLE = 4
MOST_BYTES = 100_000


def instrument_names() -> tuple[str, ...]:
    """Names of the profiles that ship with the package."""
    return tuple(sorted(path.stem for path in (DATA / "instruments").glob("*.toml")))


def read_instrument(
    name_or_path: str, tuning: str | None = None, read: FilesRead | None = None
) -> Instrument:
    """Read the profile ``name_or_path`` and tune it.

    ``tuning`` is the name of one of the profile's tunings or a list of pitches, lowest string
    first ("CGDA", "C3,G3,D4,A4"); None takes the profile's own. The file is noted in ``read``.
    Raises SettingError with the file's place when the profile or the tuning cannot be used.
    """
    path = _find_profile(name_or_path)
    try:
        if path.stat().st_size > MOST_BYTES:
            what = f"the profile is larger than {MOST_BYTES} bytes"
            raise SettingError(what, "is this an instrument?", SourcePlace(str(path)))
        text = read_text(path, read)
    except (OSError, UnicodeDecodeError) as error:
        raise SettingError(
            f"the profile cannot be read ({error.__class__.__name__})",
            "give the path of a text file in UTF-8",
            SourcePlace(str(path)),
        ) from None
    return parse_instrument(text, str(path), tuning)


def listed_tunings(name_or_path: str) -> tuple[str, ...]:
    """The names of the tunings that a profile lists; raises as :func:`read_instrument` does."""
    read_instrument(name_or_path)
    path = _find_profile(name_or_path)
    return tuple(load_toml(read_text(path), str(path))["tunings"])


def parse_instrument(text: str, path: str, tuning: str | None = None) -> Instrument:
    """Read a profile from its ``text``; ``path`` stands in messages. Raises SettingError."""
    data = load_toml(text, path)
    check_profile(data, text, path)
    own = tuple(midi_of(pitch) for pitch in data["tunings"][data["tuning"]])
    asked = tuning or data["tuning"]
    listed = {name.casefold(): pitches for name, pitches in data["tunings"].items()}
    if asked.casefold() in listed:
        strings = read_tuning(",".join(listed[asked.casefold()]), own)
        tuning_name = next(n for n in data["tunings"] if n.casefold() == asked.casefold())
    else:
        strings = read_tuning(asked, own)
        tuning_name = "".join(letter for letter, _ in strings)
    names = name_strings(strings)
    return Instrument(
        name=data["name"],
        title=data["title"],
        kind=data["kind"],
        strings=tuple(
            _read_string(data, index, names[index], strings[index][1])
            for index in range(len(strings))
        ),
        string_length_mm=float(data["string_length_mm"]),
        row_distance_mm=float(data["row_distance_mm"]),
        tuning_name=tuning_name,
        clef=data.get("clef", "treble"),
        sympathetic=tuple(midi_of(pitch) for pitch in data.get("sympathetic", ())),
        sympathetic_rings_s=tuple(map(float, data.get("sympathetic_rings_s", ()))),
        source=data.get("source", ""),
        source_sv=data.get("source_sv", ""),
    )


def _find_profile(name_or_path: str) -> Path:
    shipped = DATA / "instruments" / f"{name_or_path}.toml"
    if name_or_path in instrument_names():
        return shipped
    path = Path(name_or_path)
    if "\0" not in name_or_path and path.is_file():
        return path
    raise SettingError(
        f"there is no instrument {name_or_path!r}",
        f"use one of {', '.join(instrument_names())}, or the path of a profile",
    )


def _read_string(data: dict[str, Any], index: int, name: str, open_midi: int) -> String:
    """One string: the usual fret formula, then the row's shift, then keys measured singly."""
    table = data["string"][index]
    length_mm = float(data["string_length_mm"])
    shift_mm = float(table.get("shift_mm", 0.0))
    places = [key_place_mm(length_mm, key) + shift_mm for key in range(1, table["keys"] + 1)]
    for key, place_mm in table.get("places_mm", {}).items():
        places[int(key) - 1] = float(place_mm)
    row = float(table.get("row", index + 1))
    return String(
        index=index + 1,
        name=table.get("name", name),
        open_midi=open_midi,
        key_places_mm=tuple(places),
        row_mm=row * float(data["row_distance_mm"]),
    )


@functools.cache
def _span_data() -> dict[str, Any]:
    return tomllib.loads((DATA / "hand_spans.toml").read_text(encoding="utf-8"))


def read_hand(choice: HandChoice | None = None) -> Hand:
    """Build the hand that is asked for.

    The published spans (piano semitones) become mm and are scaled to the named size. A pair in
    ``choice.spans_mm`` ("1-2", most comfortable mm) scales that pair's upper bounds, and
    ``choice.span_factors`` those of all pairs. Raises SettingError for an unknown size, pair,
    finger or weight, and for a factor or weight beyond its bounds.
    """
    choice = choice or HandChoice()
    data = _span_data()
    if choice.size not in data["sizes"]:
        raise SettingError(
            f"hand size {choice.size!r} is unknown", f"use one of {', '.join(data['sizes'])}"
        )
    size = data["sizes"][choice.size]
    unit_mm = data["octave_mm"] / 12.0 * size["scale"]
    own = _own_spans(choice.spans_mm)
    spans = []
    for pair in FINGER_PAIRS:
        bounds = [semitones * unit_mm for semitones in data["semitones"][f"{pair[0]}-{pair[1]}"]]
        if pair in own:
            factor = own[pair] / bounds[MOST_COMFORTABLE]
            bounds[3:] = [max(bound * factor, bounds[2]) for bound in bounds[3:]]
        spans.append(Span(*bounds).stretched(*choice.span_factors))
    fingers = tuple(sorted(set(choice.fingers)))
    if not fingers or any(finger not in (1, 2, 3, 4) for finger in fingers):
        raise SettingError(
            f"fingers {list(choice.fingers)} cannot be used", "list some of 1, 2, 3 and 4"
        )
    _check_own(choice)
    pad_width_mm = size["pad_width_mm"] if choice.pad_width_mm is None else choice.pad_width_mm
    return Hand(
        name=choice.name or (choice.size if not own else f"{choice.size}, own spans"),
        spans=tuple(spans),
        pad_width_mm=float(pad_width_mm),
        allows_barre=choice.allows_barre,
        higher_finger_on_higher_string=choice.higher_finger_on_higher_string,
        fingers=fingers,
        weights=choice.weights,
    )


def _check_own(choice: HandChoice) -> None:
    """Raise SettingError when a factor or weight of the player's own is beyond its bounds."""
    least, most = SPAN_FACTOR_BOUNDS
    for factor in choice.span_factors:
        if not least <= factor <= most:
            remedy = f"give a value from {least:g} to {most:g}"
            raise SettingError(f"span factor {factor:g} cannot be", remedy)
    for one in choice.weights:
        what = weight_fault(one.name, one.value)
        if what:
            raise SettingError(*what)


def weight_fault(name: str, value: float) -> tuple[str, str] | None:
    """What is wrong with a weight of a hand and what to do about it; None when all is well."""
    if name not in WEIGHT_BOUNDS:
        close = difflib.get_close_matches(name, WEIGHT_BOUNDS, 1)
        known = f"did you mean {close[0]!r}?" if close else f"known are {', '.join(WEIGHT_BOUNDS)}"
        return f"there is no weight {name!r}", known
    least, most = WEIGHT_BOUNDS[name]
    if not least <= value <= most:
        return f"weight {name!r} cannot be {value:g}", f"give a value from {least:g} to {most:g}"
    return None


def _own_spans(spans_mm: tuple[tuple[str, float], ...]) -> dict[tuple[int, int], float]:
    own = {}
    known = {f"{lower}-{upper}": (lower, upper) for lower, upper in FINGER_PAIRS}
    for name, span_mm in spans_mm:
        if name not in known:
            raise SettingError(f"finger pair {name!r} is unknown", f"use one of {', '.join(known)}")
        least, most = OWN_SPAN_BOUNDS_MM
        if not least <= span_mm <= most:
            remedy = f"give the widest easy span in mm, {least:g} to {most:g}"
            raise SettingError(f"span {name} of {span_mm:g} mm cannot be", remedy)
        own[known[name]] = float(span_mm)
    return own
