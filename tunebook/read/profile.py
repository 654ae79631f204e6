"""Instrument profiles and hands: data files -> Instrument, Hand.

A profile is a TOML file; those that ship with the package lie in ``data/instruments`` and are
asked for by name, any other by its path. Lengths are in mm, key 1 is the key next to the nut, and
the strings are listed from the lowest.
"""

from __future__ import annotations

import functools
import tomllib
from pathlib import Path

from tunebook.errors import SettingError, SourcePlace
from tunebook.files import FilesRead, read_text
from tunebook.model.book import HandChoice
from tunebook.model.hand import FINGER_PAIRS, Hand, Span
from tunebook.model.instrument import Instrument, String, key_place_mm
from tunebook.read.profile_check import check_profile
from tunebook.read.toml_bounds import load_toml
from tunebook.read.tuning import midi_of, name_strings, read_tuning

DATA = Path(__file__).resolve().parents[1] / "data"
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


def _read_string(data: dict, index: int, name: str, open_midi: int) -> String:
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
def _span_data() -> dict:
    return tomllib.loads((DATA / "hand_spans.toml").read_text(encoding="utf-8"))


def hand_sizes() -> tuple[str, ...]:
    """The named hand sizes."""
    return tuple(_span_data()["sizes"])


def read_hand(choice: HandChoice | None = None) -> Hand:
    """Build the hand that is asked for.

    The published spans (piano semitones) become mm and are scaled to the named size. A pair in
    ``choice.spans_mm`` ("1-2", most comfortable mm) scales that pair's upper bounds. Raises
    SettingError for an unknown size, pair or finger.
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
        spans.append(Span(*bounds))
    fingers = tuple(sorted(set(choice.fingers)))
    if not fingers or any(finger not in (1, 2, 3, 4) for finger in fingers):
        raise SettingError(
            f"fingers {list(choice.fingers)} cannot be used", "list some of 1, 2, 3 and 4"
        )
    pad_width_mm = size["pad_width_mm"] if choice.pad_width_mm is None else choice.pad_width_mm
    return Hand(
        name=choice.size if not own else f"{choice.size}, own spans",
        spans=tuple(spans),
        pad_width_mm=float(pad_width_mm),
        allows_barre=choice.allows_barre,
        higher_finger_on_higher_string=choice.higher_finger_on_higher_string,
        fingers=fingers,
    )


def _own_spans(spans_mm: tuple[tuple[str, float], ...]) -> dict[tuple[int, int], float]:
    own = {}
    known = {f"{lower}-{upper}": (lower, upper) for lower, upper in FINGER_PAIRS}
    for name, span_mm in spans_mm:
        if name not in known:
            raise SettingError(f"finger pair {name!r} is unknown", f"use one of {', '.join(known)}")
        if not 5.0 <= span_mm <= 250.0:
            raise SettingError(
                f"span {name} of {span_mm:g} mm cannot be", "give the widest easy span in mm"
            )
        own[known[name]] = float(span_mm)
    return own
