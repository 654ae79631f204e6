"""The frame of a tune: exact by brute force, and what it keeps of the tune."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.solve.harmony.chords import choose_chords
from tunebook.solve.line.beats import beats_of, is_one_note
from tunebook.solve.line.frame import (
    FrameWeights,
    Place,
    Tone,
    cheapest_frame,
    frame_cost,
    frame_of,
    places_of,
    sections_of,
)

SPEED = 100 / 240
WEIGHTS = FrameWeights()


def tune(music: str, meter: str = "3/4", key: str = "D") -> Tune:
    return read_abc(f"X:1\nT:T\nM:{meter}\nL:1/8\nQ:1/4=100\nK:{key}\n{music}\n")[0]


def tones(found: Tune) -> list[str]:
    """A text a bar: tones with their lengths in eighths."""
    return [
        " ".join(
            (note.pitches[0].name if note.pitches else "z") + f":{note.duration * 8}"
            for note in bar.notes
        )
        for bar in found.bars
    ]


def framed(music: str, meter: str = "3/4", key: str = "D") -> list[str]:
    return tones(frame_of(tune(music, meter, key), SPEED))


def every_frame(places: Sequence[Place]) -> Iterator[list[Tone]]:
    """All frames of the beats, written without the search."""

    def from_beat(first: int, before: Tone | None) -> Iterator[list[Tone]]:
        if first == len(places):
            yield []
            return
        bar = places[first].beat.bar_index
        for end in range(first + 1, len(places) + 1):
            inside = places[first:end]
            if any(place.beat.bar_index != bar for place in inside):
                break
            if not is_one_note(inside[-1].beat.end - inside[0].beat.onset):
                continue
            starts: list[Tone] = [
                Tone(pitch, first, end) for pitch in places[first].weights or (None,)
            ]
            has_rest = not places[first].weights
            if has_rest and any(place.weights for place in inside):
                continue
            tied = places[first].tied
            is_new_bar = first > 0 and places[first - 1].beat.bar_index != bar
            if is_new_bar and before is not None and tied is not None and before.pitch == tied:
                starts.append(Tone(tied, first, end, is_tied=True))
            for tone in starts:
                for rest in from_beat(end, tone):
                    yield [tone, *rest]

    return from_beat(0, None)


LENGTHS = st.sampled_from(["", "2", "3", "/2", "4"])
NOTES = st.sampled_from(["A", "B", "c", "d", "e", "f", "g", "z"])


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(NOTES, LENGTHS), min_size=2, max_size=8), st.sampled_from(["3/4", "6/8"]))
def test_the_frame_is_the_cheapest_of_all_frames(notes: list[tuple[str, str]], meter: str) -> None:
    written = tune("d" + "".join(name + length for name, length in notes) + "|]", meter)
    for bars in sections_of(written):
        places = places_of(bars, written, choose_chords(written), SPEED, WEIGHTS)[:6]
        found = cheapest_frame(places, WEIGHTS)
        costs = [frame_cost(frame, places, WEIGHTS) for frame in every_frame(places)]
        if costs:
            assert frame_cost(found, places, WEIGHTS) == pytest.approx(min(costs))


def test_a_tie_over_the_bar_line_is_among_the_frames_that_are_tried() -> None:
    written = tune("A2 B2 d2-|d4 B2|")
    (bars,) = sections_of(written)
    places = places_of(bars, written, choose_chords(written), SPEED, WEIGHTS)
    found = cheapest_frame(places, WEIGHTS)
    assert any(tone.is_tied for tone in found)
    least = min(frame_cost(frame, places, WEIGHTS) for frame in every_frame(places))
    assert frame_cost(found, places, WEIGHTS) == pytest.approx(least)


def test_running_notes_become_the_tones_on_the_beat() -> None:
    assert framed('"D"d>e f>g a>f|d6|]') == ["D5:2 F#5:2 A5:2", "D5:6"]


def test_a_chord_tone_off_the_beat_is_kept_rather_than_a_passing_tone_on_a_weak_one() -> None:
    assert framed('"D"d2 ga f2|d6|]')[0] == "D5:2 A5:2 F#5:2"


def test_a_long_note_stays_one_note() -> None:
    assert framed("d4 e2|f6|d6|]") == ["D5:4 E5:2", "F#5:6", "D5:6"]


def test_a_note_held_into_a_beat_is_not_struck_again() -> None:
    assert framed("d3 e f2-|f3 e d2|]")[1] == "F#5:4 D5:2"


def test_the_last_note_of_a_section_and_of_each_ending_is_kept() -> None:
    found = framed("|:d2 e2 f2|1 e2 d2 ef:|2 e2 d2 cB|]")
    assert [bar.split()[-1] for bar in found] == ["F#5:2", "F#5:2", "B4:2"]


@pytest.mark.parametrize("music", ["AB|:d2 e2 f2|1 d4 AB:|2 d4 z2|]", "A|:d2 e2 f2|d3 efA:|"])
def test_bars_repeats_endings_and_upbeats_stay(music: str) -> None:
    written = tune(music)
    found = frame_of(written, SPEED)
    assert found.played == written.played
    for before, after in zip(written.bars, found.bars, strict=True):
        assert (before.sign_before, before.sign_after, before.ending, before.number) == (
            after.sign_before, after.sign_after, after.ending, after.number,
        )  # fmt: skip
        assert (before.onset, before.duration) == (after.onset, after.duration)
        taken = sum((note.duration for note in after.notes), Fraction(0))
        assert taken == after.duration
        onsets = [note.onset for note in after.notes]
        assert onsets == sorted(onsets) and onsets[0] == after.onset


@given(st.lists(st.tuples(NOTES, LENGTHS), min_size=1, max_size=30))
@settings(max_examples=40, deadline=None)
def test_every_bar_stays_full_and_every_tone_sounds_there_in_the_tune(
    notes: list[tuple[str, str]],
) -> None:
    parts = ["d2", *(name + length for name, length in notes)]
    music = "|".join("".join(parts[at : at + 4]) for at in range(0, len(parts), 4)) + "|]"
    written = tune(music, "4/4")
    found = frame_of(written, SPEED)
    for before, after in zip(written.bars, found.bars, strict=True):
        assert sum((note.duration for note in after.notes), Fraction(0)) == before.duration
        had = {pitch for note in before.notes for pitch in note.pitches}
        assert {pitch for note in after.notes for pitch in note.pitches} <= had


def test_fast_beats_are_counted_two_by_two() -> None:
    reel = tune("dAFA d2fd|e2ce A4|]", "4/4")
    slow, fast = (frame_of(reel, speed) for speed in (100 / 240, 208 / 240))
    assert [note.duration for note in fast.bars[0].notes] == [Fraction(1, 2)] * 2
    assert len(slow.bars[0].notes) > 2


def test_in_six_eight_the_beats_are_dotted() -> None:
    found = frame_of(tune("def gfe|d6|]", "6/8"), SPEED)
    assert {note.duration for note in found.bars[0].notes} <= {Fraction(3, 8), Fraction(3, 4)}


def test_an_upbeat_ends_with_the_last_beat() -> None:
    written = tune("ABc|d2 e2 f2|d3|]")
    beats = beats_of(written.bars[0], SPEED)
    assert [beat.length for beat in beats] == [Fraction(1, 8), Fraction(1, 4)]


def test_chord_symbols_drones_signs_and_remarks_stay_where_they_were() -> None:
    music = '"D"de "A7"fg !fermata!a2|[r:drone D4][r:note softly]!segno!d6|]'
    found = frame_of(tune(music), SPEED)
    first = found.bars[0].notes
    symbols = [(note.onset, note.chord.text) for note in first if note.chord]
    symbols += [(note.onset + at, chord.text) for note in first for at, chord in note.later_chords]
    assert sorted(symbols) == [(Fraction(0), "D"), (Fraction(1, 4), "A7")]
    assert any("fermata" in note.decorations for note in first)
    last = found.bars[1].notes[0]
    assert last.drone_pin is not None and last.remark == "softly" and "segno" in last.decorations


def test_a_bar_of_rest_stays_one() -> None:
    written = tune("d2 e2 f2|z6|d6|]")
    assert frame_of(written, SPEED).bars[1] == written.bars[1]
