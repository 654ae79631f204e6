"""Open-string drones: an exact search over a melody that is not touched."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import pytest

from tunebook.model.book import HandChoice
from tunebook.model.tune import Tune
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.arrange import arrange
from tunebook.solve.drones.moments import (
    CLASH,
    PHRASE,
    THIRD,
    TIED,
    Lengths,
    Moment,
    drone_lengths,
    drone_moments,
)
from tunebook.solve.drones.open import (
    LEAST_WORTH,
    SILENCE,
    best_line,
    best_line_in_sections,
    line_values,
)
from tunebook.solve.harmony.chords import choose_chords
from tunebook.solve.times import whole_times

HARPA = read_instrument("nyckelharpa-3row", "CGDA")
HAND = read_hand(HandChoice())
HEAD = "X:1\nT:Trial\nM:{}\nL:1/8\nQ:1/4=100\nK:{}\n"
TUNES = {
    "two parts": HEAD.format("4/4", "D") + "|:d2f2 a2f2|g2f2 e2d2:|\n|:f2a2 f2d2|1e4 d4:|2e4 d4||",
    "upbeat": HEAD.format("3/4", "G") + "d2|G2B2d2|c2e2A2|B2G2A2|G4:|",
    "jig": HEAD.format("6/8", "G") + "|:GBd gdB|cea BAG|1 FAd cAF|G3 G3:|2 FAd cAF|G3 G2z||",
    "ties": HEAD.format("4/4", "D") + "d4 f4-|f2a2 d4|z2 e2 A4|]",
}


def tune_of(text: str) -> Tune:
    return read_abc(text + "\n")[0]


def moments_of(tune: Tune, notes=None) -> tuple[tuple[Moment, ...], int]:
    notes = notes or arrange(tune, HARPA, HAND, drones="none").notes
    moments = drone_moments(tune, notes, HARPA, choose_chords(tune))
    return moments, drone_lengths(tune, whole_times(tune))


@pytest.mark.parametrize("name", TUNES)
def test_no_line_is_worth_more_than_the_one_found(name: str) -> None:
    moments, lengths = moments_of(tune_of(TUNES[name]))
    some = moments[: next((n for n in range(12, 0, -1) if _lines(moments[:n]) < 40_000), 1)]
    best = max(
        sum(line_values(some, strings, lengths))
        for strings in itertools.product(
            *([SILENCE, *(string for string, _ in moment.gains)] for moment in some)
        )
    )
    found = best_line(some, lengths)
    assert found.value == pytest.approx(best)
    assert sum(line_values(some, found.strings, lengths)) == pytest.approx(best)


def _lines(moments: tuple[Moment, ...]) -> int:
    count = 1
    for moment in moments:
        count *= len(moment.gains) + 1
    return count


def test_brute_force_agrees_on_made_up_moments_with_branches() -> None:
    chance = random.Random(3)
    for _ in range(40):
        moments = tuple(
            Moment(
                bar_index=at,
                onset=at,
                duration=chance.choice([1, 2, 4]),
                melody=chance.choice([2, 3, 4]),
                midi=60,
                gains=tuple(
                    (string, chance.uniform(-1, 2)) for string in (1, 2, 3) if chance.random() < 0.6
                ),
                barred=(),
                place=chance.randrange(TIED + 1),
                is_break=chance.random() < 0.15,
                parent=chance.randrange(max(0, at - 3), at) if at else -1,
                times=chance.choice([1, 2]),
            )
            for at in range(7)
        )
        best = max(
            sum(line_values(moments, strings, Lengths(2, 5)))
            for strings in itertools.product(
                *([SILENCE, *(string for string, _ in moment.gains)] for moment in moments)
            )
        )
        assert best_line(moments, Lengths(2, 5)).value == pytest.approx(best)


def test_brute_force_agrees_on_which_sections_have_drones_at_all() -> None:
    """A section with drones pays for them by its length; no line and no choice of sections is worth
    more than the one found."""
    chance, lengths, quarter, silenced = random.Random(9), Lengths(2, 5), 4.0, 0
    for _ in range(40):
        moments = tuple(
            Moment(
                bar_index=at,
                onset=4 * at,
                duration=4,
                melody=3,
                midi=60,
                gains=tuple((string, chance.uniform(-1, 1.2)) for string in (1, 2)),
                barred=(),
                place=PHRASE,
                is_break=at in (0, 3, 5),
                parent=at - 1,
                times=2 if at < 5 else 1,
            )
            for at in range(8)
        )

        def worth(strings: tuple[int, ...], moments: tuple[Moment, ...] = moments) -> float:
            paid = 0.0
            for section in (range(3), range(3, 5), range(5, 8)):
                if any(strings[at] for at in section):
                    paid += LEAST_WORTH * sum(moments[at].times for at in section)
            return sum(line_values(moments, strings, lengths)) - paid

        kept, found = best_line_in_sections(moments, lengths, quarter)
        silenced += kept != moments
        best = max(worth(strings) for strings in itertools.product((SILENCE, 1, 2), repeat=8))
        assert worth(found) == pytest.approx(best)
        assert worth(best_line(kept, lengths).strings) == pytest.approx(best)
    assert silenced > 5


def test_a_lone_bar_of_drone_in_a_part_is_left_out_and_a_pinned_one_stays() -> None:
    music = '"Am"A2c2 e2dc|{}f2d2 d2ef|{}'
    music += '"Am"c2A2 E2A2|"E7"^G2B2 "Am"A4|"Am"c2A2 E2A2|"E7"^G2B2 "Am"A4|]'
    tune = tune_of(HEAD.format("4/4", "Am") + music.format('"Dm"', ""))
    moments, lengths = moments_of(tune)
    alone = best_line(moments, lengths).strings
    assert {moments[at].bar_index for at, string in enumerate(alone) if string} == {1}
    assert not arrange(tune, HARPA, HAND).drone
    pins = music.format("[r:drone D4]", "[r:drone free]")
    answer = arrange(tune_of(HEAD.format("4/4", "Am") + pins), HARPA, HAND)
    assert [(span.onset, span.duration) for span in answer.drone] == [(1, 1)]


@pytest.mark.parametrize("name", TUNES)
@pytest.mark.parametrize("tuning", ["CGDA", "CGCA"])
def test_melody_is_bit_for_bit_that_without_drones(name: str, tuning: str) -> None:
    tune, harpa = tune_of(TUNES[name]), read_instrument("nyckelharpa-3row", tuning)
    bare, droned = (arrange(tune, harpa, HAND, drones=kind) for kind in ("none", "open"))
    assert droned.notes == bare.notes
    assert (droned.cost, droned.difficulty) == (bare.cost, bare.difficulty)
    assert droned.cost_with_drones is None and droned.bow_cost == 0


def test_a_drone_is_an_open_string_beside_the_melody_and_begins_with_a_stroke() -> None:
    for text in TUNES.values():
        answer = arrange(tune_of(text), HARPA, HAND)
        struck = {one.note.onset for one in answer.notes if not one.is_continued}
        for span in answer.drone:
            assert span.stop.key == span.stop.finger == 0 and span.onset in struck
            assert span.duration >= Fraction(1, 4)
            for one in answer.notes:
                if span.onset <= one.note.onset < span.onset + span.duration:
                    away = abs(one.stops[0].string_index - span.stop.string_index)
                    assert away == 1 or (away == 0 and one.stops[0].key == 0)


def test_a_tune_in_d_has_the_open_d_under_its_a_string() -> None:
    answer = arrange(tune_of(TUNES["two parts"]), HARPA, HAND)
    assert {span.stop.midi for span in answer.drone} == {62}
    sounding = sum((span.duration for span in answer.drone), Fraction(0))
    assert sounding > sum((bar.duration for bar in answer.tune.bars), Fraction(0)) / 2


def test_the_third_of_the_chord_is_silent_and_so_is_a_clash_on_the_beat() -> None:
    text = HEAD.format("4/4", "D") + '"Bm"d4 f4|"D"^d4 =d4|]'
    moments, _ = moments_of(tune_of(text))
    assert [dict(moment.barred).get(3) for moment in moments] == [THIRD, THIRD, CLASH, None]


def test_an_upbeat_s_beats_are_counted_from_its_end() -> None:
    moments, _ = moments_of(tune_of(HEAD.format("3/4", "G") + "Bd|G2B2d2|]"))
    assert [moment.place for moment in moments] == [2, 3, 0, 2, 2]


def test_a_tied_note_begins_no_drone() -> None:
    moments, _ = moments_of(tune_of(TUNES["ties"]))
    assert [moment.place for moment in moments].count(TIED) == 1


def test_a_lone_half_note_begins_no_drone_in_common_time() -> None:
    text = HEAD.format("4/4", "A") + '"A"e2 c2 "D"d4|"E"B2 ^g2 "A"a4|"Bm"f4 d4|"A"c2 e2 a4|]'
    assert arrange(tune_of(text), HARPA, HAND).drone == ()


def test_the_root_of_the_chord_may_sound_though_it_is_neither_keynote_nor_fifth() -> None:
    """The open G under the chord of G in D (common practice, no source)."""
    harpa = read_instrument("nyckelharpa-3row", "CGCA")
    text = HEAD.format("4/4", "D") + '"D"D2F2 A2d2|"G"G2E2 D2E2|"G"G2E2 D2G2|"A"E4 A4|"D"d8|]'
    answer = arrange(tune_of(text), harpa, HAND)
    (span,) = [span for span in answer.drone if span.stop.midi == 55]
    assert (span.onset, span.duration) == (1, 2)


def test_a_string_that_is_neither_of_the_key_nor_of_the_chord_is_silent() -> None:
    """No open D under the last A of a tune in A minor (common practice, no source)."""
    text = HEAD.format("3/4", "Am") + '"Am"c2B2A2|"E7"^G2A2B2|"Am"A6|]'
    assert all(span.stop.midi != 62 for span in arrange(tune_of(text), HARPA, HAND).drone)
