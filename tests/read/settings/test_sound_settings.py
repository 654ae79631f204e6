"""The tables about recordings: what they hold, and one line for each mistake."""

from __future__ import annotations

import pytest

from tunebook.errors import SettingError
from tunebook.model.book import Book
from tunebook.model.sound import SoundChoice
from tunebook.read.settings.profile import DATA, parse_instrument, read_instrument
from tunebook.read.settings.tunes_file import parse_settings
from tunebook.write.instrument_text import profile_as_toml


def book_of(text: str) -> tuple[Book, list[str]]:
    book, messages = parse_settings(text, "tunes.toml", ())
    return book, [str(message) for message in messages]


def test_the_table_says_how_recordings_sound() -> None:
    book, said = book_of(
        '[sound]\nformat = "ogg"\ntuning_pitch = 442\ngrace_notes = "before the beat"\n'
        'body = "neutral"\nkey_knock = 0\nbow_noise = 0.5\nsympathetic = 2\nmost_minutes = 5\n'
        "[sound.beats]\npolska = [0.9, 1.15, 0.95]\n"
    )
    assert said == []
    assert book.sound == SoundChoice(
        format="ogg",
        tuning_pitch_hz=442.0,
        grace_notes="before the beat",
        body="neutral",
        key_knock=0.0,
        bow_noise=0.5,
        sympathetic=2.0,
        most_minutes=5.0,
        beats=(("polska", (0.9, 1.15, 0.95)),),
    )
    assert book_of("")[0].sound == SoundChoice()
    assert SoundChoice().beats == ()


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('format = "mp3"', "'sound.format' cannot be 'mp3'"),
        ("tuning_pitch = 900", "'sound.tuning_pitch' cannot be 900"),
        ("key_knock = -1", "'sound.key_knock' cannot be -1"),
        ("bow_noise = nan", "'sound.bow_noise' cannot be nan"),
        ("key_knok = 1", "unknown setting 'sound.key_knok'; did you mean 'key_knock'?"),
        ("beats = { vals = [1] }", "'sound.beats.vals' cannot be [1]"),
    ],
)
def test_a_mistake_is_one_line_and_the_rest_holds(line: str, said: str) -> None:
    book, messages = book_of(f"[sound]\nsympathetic = 2\n{line}\n")
    (message,) = messages
    assert message.startswith("tunes.toml:3: ") and said in message
    assert book.sound == SoundChoice(sympathetic=2.0)


@pytest.mark.parametrize(
    "place",
    ["https://example.org/tunes/", "http://example.org:8080", "sounds", "sounds/låtar/", "../s"],
)
def test_recordings_lie_at_an_address_or_beside_the_book(place: str) -> None:
    book, said = book_of(f'sounds = "{place}"\n')
    assert (book.sounds, book.has_qr, said) == (place, False, [])
    assert book_of("")[0].sounds == ""


@pytest.mark.parametrize(
    "place",
    [
        "javascript:alert(1)", "file:///etc/passwd", "/etc", "//host/x", "C:/x", "https://a@b/",
        "https://a.org/?q=", "https://a.org/#x", "https:///x", "a\\u0007b", "a\\u202eb", "a\\nb",
        '\\"><', "a\\\\b", "ftp://a.org/", " x",
    ],
)  # fmt: skip
def test_any_other_place_is_refused(place: str) -> None:
    book, (said,) = book_of(f'sounds = "{place}"\n')
    assert book.sounds == ""
    assert said.startswith("tunes.toml:1: setting 'sounds' cannot be ")
    assert said.endswith(
        "write an address with https:// or http://, or a folder beside the book; "
        "the default is used"
    )
    assert "\n" not in said


PROFILE = (DATA / "instruments" / "nyckelharpa-3row.toml").read_text(encoding="utf-8")


def with_rings(rings: str) -> str:
    return PROFILE.replace("sympathetic =", f"sympathetic_rings_s = {rings}\nsympathetic =")


def test_a_profile_may_say_how_long_its_sympathetic_strings_ring() -> None:
    harpa = parse_instrument(with_rings(str([3] * 12)), "own.toml")
    assert harpa.sympathetic_rings_s == (3.0,) * 12
    again = parse_instrument(profile_as_toml(harpa), "again.toml")
    assert again.sympathetic_rings_s == harpa.sympathetic_rings_s
    assert read_instrument("nyckelharpa-3row").sympathetic_rings_s == ()


@pytest.mark.parametrize("rings", ["3", "[3]", "['a']", "[true]", str([99] * 12), str([0] * 12)])
def test_rings_that_cannot_be_are_said_with_their_line(rings: str) -> None:
    with pytest.raises(SettingError, match=r"own\.toml:\d+: sympathetic_rings_s "):
        parse_instrument(with_rings(rings), "own.toml")
