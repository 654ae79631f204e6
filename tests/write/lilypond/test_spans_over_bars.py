"""Drones and chord names that begin, end or go on in other bars than their own."""

from __future__ import annotations

from fractions import Fraction

from tunebook.model.arrangement import ChordSpan, DroneSpan, Stop
from tunebook.model.book import Edition
from tunebook.write.lilypond.source import write_source

ALL = Edition("all", fingers="all")
BAR = Fraction(3, 4)


def part(arrangement, start, end):
    """The source between two words, on one line."""
    source = write_source(arrangement, ALL, line_width_pt=480).text
    music = " ".join(source[source.index("\\score") :].split())
    return music[music.index(start) :][: music[music.index(start) :].index(end)]


def drone(onset, length, midi):
    return DroneSpan(Fraction(onset), Fraction(length), Stop(midi, 2, midi - 55, 1))


def test_each_bar_has_the_drones_that_sound_in_it_and_no_other(make_tune, arranged):
    spans = (drone(0, "1/4", 57), drone("1/2", 3 * BAR, 59), drone("11/4", "1/4", 60))
    made = arranged(make_tune(*["D4*3/4"] * 5), drone=spans)
    assert part(made, '"Drone"', "\\layout").startswith(
        '"Drone" { \\clef treble { \\key d \\major a4 -1 \\- r4 b4 -1 \\- } { s2. } { s2. } '
        "{ s2 c'!4 -1 \\- } { R2. }"
    )


def test_chord_goes_on_unnamed_through_the_bars_it_lasts(make_tune, arranged, make_chord):
    spans = tuple(
        ChordSpan(0, onset, length, make_chord(name))
        for onset, length, name in ((Fraction(0), 2 * BAR, "D"), (3 * BAR, BAR, "G"))
    )
    line = part(arranged(make_tune(*["D4*3/4"] * 4), chords=spans), '"Chords"', "MelodyStaff")
    assert line.count("r2.") == 2
    assert line.count("{ s2. }") == 2
    assert line.index('"D"') < line.index("{ s2. }") < line.index('"G"')
