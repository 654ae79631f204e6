"""Checks of an instrument profile, every mistake with its line."""

from __future__ import annotations

import re
from typing import Any, NoReturn

from tunebook.errors import SettingError, SourcePlace
from tunebook.model.instrument import key_place_mm
from tunebook.read.tuning import midi_of

KINDS = ("keyed", "fingerboard")
CLEFS = ("treble", "alto", "bass", "tenor")
TOP_KEYS = {
    "name", "title", "kind", "string_length_mm", "row_distance_mm", "clef", "tuning", "tunings",
    "sympathetic", "source", "source_sv", "string",
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

    def __init__(self, data: dict, text: str, path: str) -> None:
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


def check_profile(data: dict, text: str, path: str) -> None:
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
    if data.get("kind") not in KINDS:
        profile.fail(f"kind is {data.get('kind')!r}", f"use one of {', '.join(KINDS)}", "kind")
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


def _check_length(profile: _Profile, text: str, key: str, most: int, string: int = 0) -> None:
    if len(text) > most:
        where = f"string {string}: {key}" if string else key
        profile.fail(f"{where} has more than {most} letters", "shorten it", key, string)


def _check_number(
    profile: _Profile, table: dict, key: str, least: float, most: float, string: int = 0
) -> None:
    value: Any = table.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        profile.fail(f"{key} is missing or no number", f"write {key} = {least:g}", key, string)
    if not least <= value <= most:
        remedy = f"give a value from {least:g} to {most:g}"
        profile.fail(f"{key} is {value:g}", remedy, key, string)


def _check_pitches(profile: _Profile, pitches: Any, key: str) -> None:
    if not isinstance(pitches, list) or not all(isinstance(pitch, str) for pitch in pitches):
        profile.fail(f"{key} is no list of pitches", 'write ["C3", "G3", ...]', key)
    for pitch in pitches:
        try:
            midi_of(pitch)
        except SettingError as error:
            profile.fail(error.what, error.remedy, key)


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


def _check_places(profile: _Profile, table: dict, number: int) -> None:
    """Own places must belong to keys that exist and rise from the nut to the bridge."""
    length_mm = float(profile.data["string_length_mm"])
    shift_mm = float(table.get("shift_mm", 0.0))
    places = [key_place_mm(length_mm, key) + shift_mm for key in range(1, table["keys"] + 1)]
    measured = table.get("places_mm", {})
    if not isinstance(measured, dict):
        profile.fail("places_mm is no table", "write {7 = 131.5}", "places_mm", number)
    for key, place_mm in measured.items():
        if not key.isdigit() or not 1 <= int(key) <= len(places):
            remedy = f"keys run from 1 to {len(places)}"
            profile.fail(f"string {number} has no key {key}", remedy, "places_mm", number)
        if isinstance(place_mm, bool) or not isinstance(place_mm, int | float):
            remedy = "give the distance from the nut in mm"
            profile.fail(f"key {key} has place {place_mm!r}", remedy, "places_mm", number)
        places[int(key) - 1] = float(place_mm)
    for key, (lower, upper) in enumerate(zip([0.0, *places], places, strict=False), start=1):
        if upper <= lower or upper >= length_mm:
            profile.fail(
                f"string {number}: key {key} at {upper:.1f} mm does not lie beyond key {key - 1}",
                "measure again from the nut to where the key stops the string",
                "places_mm" if measured else "shift_mm",
                number,
            )
