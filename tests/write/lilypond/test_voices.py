"""Staves of second voices: what stands once for all, room for grace notes, cues in a part."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from tunebook.model.arrangement import DroneSpan, Stop, VoiceArrangement
from tunebook.model.book import Edition
from tunebook.model.tune import Annotation, Syllable, Voice
from tunebook.model.voices import voice_as_tune
from tunebook.solve.parts import part_of
from tunebook.write.lilypond.source import write_source

BOTH = Edition("duo", voices="both")


@pytest.fixture
def two(make_tune, arranged):
    """A tune of a melody and a voice, each from the texts of its bars, arranged."""

    def make(melody, voice, **changes):
        tune = make_tune(*melody, **changes)
        bars = tuple(
            replace(bar, place=replace(bar.place, line=9)) for bar in make_tune(*voice).bars
        )
        further = Voice(place=bars[0].place, id="2", bars=bars)
        tune = replace(tune, voices=(further,))
        lower = arranged(voice_as_tune(tune, further))
        return arranged(tune, voices=(VoiceArrangement(further, lower),))

    return make


def music(arrangement, edition=BOTH, **how) -> str:
    piece = write_source(arrangement, edition, line_width_pt=480, **how)
    return piece.score.text()


def staff(source: str, kind: str) -> str:
    """The lines of the first staff of a kind."""
    start = source.index(f"\\context {kind} =")
    return source[start : source.find("\\context ", start + 1 + source[start:].index("Voice ="))]


def test_a_bracket_holds_the_staves_and_bar_lines_are_written_once(two) -> None:
    source = music(two(["D5/4 E5/2", "F#5*3/4"], ["F#4*3/4", "A4*3/4"]))
    order = re.findall(r"\\context (\w+) = ", source)
    assert order == ["Score", "StaffGroup", "Staff", "Voice", "VoiceStaff", "Voice"]
    assert source.count('\\bar "|"') == 1 and source.count('\\bar "|."') == 1
    assert source.count("\\time") == 1 and source.count("\\key d \\major") == 2
    assert "fs'2." in staff(source, "VoiceStaff") and "\\bar" not in staff(source, "VoiceStaff")


def test_editions_of_the_melody_print_no_other_staff(two) -> None:
    source = music(two(["D5*3/4"], ["F#4*3/4"]), Edition("player"))
    assert re.findall(r"\\context (\w+) = ", source) == ["Score", "Staff", "Voice"]


def test_each_drone_stands_under_its_own_voice(two) -> None:
    found = two(["D5*3/4"], ["F#4*3/4"])
    tune = found.tune
    span = DroneSpan(tune.bars[0].onset, tune.bars[0].duration, Stop(62, 3, 0, 0))
    (second,) = found.voices
    second = replace(second, arrangement=replace(second.arrangement, drone=(span,)))
    found = replace(found, drone=(span,), voices=(second,))
    source = music(found)
    staves = re.findall(r'\\context (\w*Staff\w*) = "(\w+)"', source)
    assert [kind for kind, _ in staves] == [
        "StaffGroup", "Staff", "DroneStaff", "VoiceStaff", "DroneStaff",
    ]  # fmt: skip
    assert len({name for _, name in staves}) == 5
    lines = music(found, replace(BOTH, drone_style="line"))
    assert re.findall(r'DroneLine = "(\w+)"', lines) == ["DroneLine", "Drone2"]


def test_words_stand_under_the_melody_only(two) -> None:
    found = two(["D5*3/4"], ["F#4*3/4"])
    sung = tuple(
        replace(bar, notes=tuple(replace(n, syllables=(Syllable("la"),)) for n in bar.notes))
        for bar in found.tune.bars
    )
    tune = replace(found.tune, bars=sung)
    source = music(replace(found, tune=tune))
    assert source.count("\\lyricmode") == 1
    assert source.index("MelodyStaff") < source.index("\\lyricmode") < source.index("VoiceStaff2")
    part = replace(found, tune=replace(tune, voices=(replace(tune.voices[0], bars=sung),)))
    second = replace(BOTH, voices="second")
    assert "\\lyricmode" not in music(part, second)
    alone = replace(found, tune=replace(tune, voices=()), voices=())
    assert "\\lyricmode" in music(alone, second), "there its player has the melody"


def test_staves_have_as_much_room_for_grace_notes_as_the_fullest(two) -> None:
    source = music(two(["(E5)/16 (F#5)/16 D5*3/4", "D5*3/4"], ["(G4)/16 F#4*3/4", "(A4)/8 B4*3/4"]))
    lengths = {}
    for kind in ("Staff", "VoiceStaff"):
        found = re.findall(r"(?:slashedG|g)race \{(.*?)\}", staff(source, kind), re.DOTALL)
        values = [re.findall(r"^\s*[a-gs]+'*(\d+)$", text, re.M) for text in found]
        lengths[kind] = [sum(Fraction(1, int(one)) for one in row) for row in values]
    assert lengths == {kind: [Fraction(1, 8), Fraction(1, 8)] for kind in ("Staff", "VoiceStaff")}


def test_a_longer_voice_makes_its_bar_as_long_for_all(two) -> None:
    source = music(two(["D5*3/4", "D5*3/4"], ["F#4/1", "D4*3/4"]))
    assert "\\time 1/1" in source
    assert re.search(r"d''2\.\s+-\d\s+s4", staff(source, "Staff"))


def test_lines_end_for_all_and_leave_room_for_the_busier_voice(two) -> None:
    quick = " ".join(["A4/16"] * 12)
    even = write_source(
        two(["D5*3/4"] * 16, ["F#4*3/4"] * 16), BOTH, line_width_pt=480
    ).bars_per_line
    busy = write_source(two(["D5*3/4"] * 16, [quick] * 16), BOTH, line_width_pt=480)
    assert max(busy.bars_per_line) < max(even)
    assert "\\break" not in staff(busy.score.text(), "VoiceStaff")


def test_texts_and_marks_of_a_voice_are_its_own(two) -> None:
    found = two(["D5*3/4"], ["F#4*3/4"])
    (second,) = found.voices
    (bar,) = second.voice.bars
    words = (Annotation(bar.place, 'softly "\\evil', "^"),)
    bar = replace(bar, notes=(replace(bar.notes[0], annotations=words),))
    voice = replace(second.voice, bars=(bar,))
    lower = replace(second.arrangement, tune=replace(second.arrangement.tune, bars=(bar,)))
    beyond = replace(lower.notes[0], beyond_limits=True)
    lower = replace(lower, notes=(beyond,))
    source = music(replace(found, voices=(VoiceArrangement(voice, lower),)))
    below = staff(source, "VoiceStaff")
    assert "softly" in below and "\\evil" not in re.sub(r'"(?:\\.|[^"\\])*"', "", below)
    assert "\\beyondLook" in below and "\\beyondLook" not in staff(source, "Staff")


def part(arrangement):
    """The arrangement of the second voice alone."""
    tune = part_of(arrangement.tune)
    return replace(arrangement.voices[0].arrangement, tune=tune)


def test_a_part_shows_the_melodys_first_bar_where_a_section_begins(two) -> None:
    found = two(["D5*3/4", "E5*3/4", "F#5*3/4", "G5*3/4"], ["F#4*3/4"] * 4)
    bars = list(found.tune.bars)
    bars[1], bars[2] = replace(bars[1], sign_after=":|"), replace(bars[2], sign_before="|:")
    lower = [replace(b, sign_after=a.sign_after, sign_before=a.sign_before)
             for a, b in zip(bars, found.tune.voices[0].bars, strict=True)]  # fmt: skip
    voice = replace(found.tune.voices[0], bars=tuple(lower))
    tune = replace(found.tune, bars=tuple(bars), voices=(voice,))
    found = replace(found, tune=tune)
    for language, word in (("en", "melody"), ("sv", "melodi")):
        source = music(part(found), Edition("part", voices="second"), language=language)
        cue = staff(source, "CueStaff")
        assert cue.count("\\startStaff") == 2 and cue.count(f'\\cueWord "{word}"') == 2
        assert re.findall(r"\b([a-g]s?''?)2\.", cue) == ["d''", "fs''"]
    assert source.index("CueStaff") < source.index("MelodyStaff")


def test_a_pickup_has_its_first_full_bar_in_the_cue(two) -> None:
    found = two(["A4/4", "D5*3/4", "E5*3/4"], ["F#4/4", "A4*3/4", "G4*3/4"])
    cue = staff(music(part(found), Edition("part", voices="second")), "CueStaff")
    assert re.findall(r"\b([a-g]'+)\d", cue) == ["a'", "d''"]
    assert cue.count("\\cueWord") == 1


def test_a_tune_of_one_voice_in_a_book_of_parts_has_no_cue(make_tune, arranged) -> None:
    source = music(arranged(make_tune("D5*3/4")), Edition("part", voices="second"))
    assert "CueStaff" not in source and "d''2." in source


def test_an_accompaniment_stands_below_the_bracket(two) -> None:
    found = two(["D5*3/4"], ["F#4*3/4"])
    played = replace(found, accompaniment=found.voices[0].arrangement.notes)
    source = music(played, replace(BOTH, shows_accompaniment=True))
    order = re.findall(r"\\context (\w+) = ", source)
    assert order[-4:] == ["VoiceStaff", "Voice", "SecondStaff", "Voice"]
    bracket = source[source.index("StaffGroup") : source.index("SecondStaff")]
    assert bracket.count("<<") == bracket.count(">>") == 1
