"""An instrument profile as text: to look at, and as a file to measure one's own keybox into."""

from __future__ import annotations

from tunebook.model.instrument import Instrument, String
from tunebook.model.tune import pitch_name


def profile_as_text(instrument: Instrument) -> list[str]:
    """Lines that show tuning, compass, and each key's pitch and place in mm from the nut."""
    is_keyed = instrument.kind == "keyed"
    apart = "rows" if is_keyed else "strings"
    lines = [
        f"{instrument.title} ({instrument.name})",
        f"tuning {instrument.tuning_name}: "
        + " ".join(pitch_name(string.open_midi) for string in instrument.strings),
        f"compass {pitch_name(instrument.lowest_midi)} to {pitch_name(instrument.highest_midi)}",
        f"string length {instrument.string_length_mm:g} mm, {apart} "
        f"{instrument.row_distance_mm:g} mm apart",
    ]
    if instrument.sympathetic:
        names = " ".join(pitch_name(midi) for midi in instrument.sympathetic)
        lines.append(f"sympathetic strings {names}")
    for string in reversed(instrument.strings):
        lines += ["", _heading(string, is_keyed)]
        lines += _key_lines(string, "key" if is_keyed else "place")
    if instrument.source:
        lines += ["", f"Source: {instrument.source}"]
    return lines


def _heading(string: String, is_keyed: bool) -> str:
    place = "keys" if is_keyed else "semitones"
    name = f"string {string.index}, {string.name} ({pitch_name(string.open_midi)})"
    if not string.key_count:
        return f"{name}: no {place}, played open"
    row = f", row at {string.row_mm:g} mm" if is_keyed else ""
    return f"{name}: {string.key_count} {place}{row}"


def _key_lines(string: String, place: str) -> list[str]:
    """Three lines: numbers of keys or semitones, pitches, places, in columns."""
    if not string.key_count:
        return []
    columns = [
        (str(key), pitch_name(string.open_midi + key), f"{string.place_mm(key):.1f}")
        for key in range(string.key_count + 1)
    ]
    width = max(len(text) for column in columns for text in column) + 1
    labels = (place, "pitch", "mm")
    return [
        f"  {label:<6}" + "".join(f"{column[row]:>{width}}" for column in columns)
        for row, label in enumerate(labels)
    ]


def profile_as_toml(instrument: Instrument) -> str:
    """The profile as a file to start one's own from, every key's place written out."""
    pitches = ", ".join(f'"{pitch_name(string.open_midi)}"' for string in instrument.strings)
    sympathetic = ", ".join(f'"{pitch_name(midi)}"' for midi in instrument.sympathetic)
    rings = instrument.sympathetic_rings_s
    is_keyed = instrument.kind == "keyed"
    what = "the key's tangent" if is_keyed else "the finger"
    apart = "row of keys" if is_keyed else "string"
    lines = [
        f"# Places are measured in mm from the nut to where {what} stops the string.",
        'name = "my-instrument"',
        f'title = "{_plain(instrument.title)}, my own"',
        f'kind = "{instrument.kind}"',
        f"string_length_mm = {instrument.string_length_mm:g}   # nut to bridge",
        f"row_distance_mm = {instrument.row_distance_mm:g}   # from one {apart} to the next",
        f'clef = "{instrument.clef}"',
        f'tuning = "{_plain(instrument.tuning_name)}"',
        f"sympathetic = [{sympathetic}]",
        *([f"sympathetic_rings_s = {list(rings)}   # until 60 dB less"] if rings else []),
        "",
        "[tunings]",
        f'"{_plain(instrument.tuning_name)}" = [{pitches}]   # lowest string first',
    ]
    for string in instrument.strings:
        row = string.row_mm / instrument.row_distance_mm
        lines += ["", f"[[string]]   # {string.name}", f"keys = {string.key_count}"]
        lines.append(f"row = {row:g}")
        if string.key_count:
            places = ", ".join(
                f"{key} = {string.place_mm(key):.1f}" for key in range(1, string.key_count + 1)
            )
            lines.append(f"places_mm = {{ {places} }}")
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    """Text without what would end a TOML string."""
    return "".join(letter for letter in text if letter.isprintable() and letter not in '"\\')
