"""Every note of every engraved piece bears the sign that it must bear and sounds as it is meant.

Sources: the rules of common notation, applied to the LilyPond source by a reader of its own (see
``page_signs``); LilyPond itself, asked what it draws; tunes of the corpus of the music21 package.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from corpus_tunes import random_tunes
from engraved_pieces import Page, differences, engraved_pieces
from lilypond_signs import drawn_by_lilypond
from made_up_tunes import made_up_tune
from page_signs import Head, judged, read_staves, wrong_signs

from tunebook.model.arrangement import Arrangement, DroneSpan, Stop
from tunebook.model.book import Edition
from tunebook.model.hand import Limits
from tunebook.model.tune import Tune
from tunebook.pipeline.load import Setup, Wishes, load, prepare
from tunebook.read.abc.tune import read_abc
from tunebook.read.settings.profile import read_hand, read_instrument
from tunebook.solve.practice import VARIANTS, make_exercise
from tunebook.solve.transpose import transpose_tune
from tunebook.write.lilypond.source import write_source

SAMPLES = Path(__file__).parents[2] / "sample_tunes"
EDITIONS = ("player", "teacher", "student-1", "student-2", "student-3", "duo")
HARPA, PLAYER = read_instrument("nyckelharpa-3row"), read_hand()
BATCHES, TUNES_IN_BATCH = 3, 100
MADE_UP = 80


def setup_of(edition: str) -> Setup:
    return prepare(SAMPLES, Wishes(edition=edition))


def heads_of(source: str) -> list[Head]:
    return [head for staff in read_staves(source) for sound in staff.sounds for head in sound.heads]


def count_of_signs(pieces: list[Page]) -> int:
    return sum(bool(head.sign) for piece in pieces for head in heads_of(piece.source))


def all_differences(pieces: list[Page]) -> list[str]:
    return [one for piece in pieces for one in differences(piece)]


@pytest.mark.parametrize("edition", EDITIONS)
def test_sample_book_shows_every_sign_and_sounds_as_arranged(edition: str) -> None:
    setup = setup_of(edition)
    pieces = engraved_pieces(load(setup, is_ordered=False).tunes, setup)
    assert all_differences(pieces) == []
    assert len(pieces) >= 20 and count_of_signs(pieces) >= 50
    kinds = {piece.identity.split(":")[0] for piece in pieces}
    assert {"legend"} <= kinds
    assert {"practice", "warm-up"} <= kinds or edition in ("player", "duo")
    staves = [staff.kind for piece in pieces for staff in read_staves(piece.source)]
    assert staves.count("VoiceStaff") == (3 if edition == "duo" else 0)


def test_parts_for_a_second_voice_show_every_sign_and_sound_as_arranged() -> None:
    setup = setup_of("teacher")
    setup = replace(setup, edition=replace(setup.edition, voices="second"))
    pieces = engraved_pieces(load(setup, is_ordered=False).tunes, setup)
    assert all_differences(pieces) == []
    staves = [staff for piece in pieces for staff in read_staves(piece.source)]
    cues = [staff for staff in staves if staff.kind == "CueStaff"]
    assert [len(staff.sounds) for staff in cues] == [6, 14, 5]


def test_accompaniments_show_every_sign_and_sound_as_arranged() -> None:
    setup = setup_of("player")
    setup = replace(setup, edition=replace(setup.edition, shows_accompaniment=True))
    pieces = engraved_pieces(load(setup, is_ordered=False).tunes, setup)
    kinds = [staff.kind for piece in pieces for staff in read_staves(piece.source)]
    assert kinds.count("SecondStaff") >= 10
    assert all_differences(pieces) == []


@pytest.mark.parametrize("semitones", [-2, 1, 3, 6])
def test_transposed_sample_tunes_show_every_sign(semitones: int) -> None:
    tunes = [
        transpose_tune(tune, semitones) for tune in load(setup_of("player"), is_ordered=False).tunes
    ]
    assert all_differences([bare_piece(tune, Edition("moved")) for tune in tunes]) == []


@pytest.mark.parametrize("batch", range(BATCHES))
def test_corpus_tunes_with_practice_pages_show_every_sign(batch: int) -> None:
    tunes = random_tunes(BATCHES * TUNES_IN_BATCH, seed=3)[batch::BATCHES]
    pieces = engraved_pieces(tunes, setup_of("teacher"))
    assert all_differences(pieces) == []
    assert len(tunes) == TUNES_IN_BATCH and len(pieces) >= 3 * TUNES_IN_BATCH
    assert count_of_signs(pieces) >= 2 * TUNES_IN_BATCH


def bare_piece(tune: Tune, edition: Edition, drone: tuple[DroneSpan, ...] = ()) -> Page:
    """The tune as nobody fingered it."""
    bare = Arrangement(tune, HARPA, PLAYER, Limits(), (), drone)
    source = write_source(bare, edition, line_width_pt=240, with_opening=True).text
    return Page(tune.title, bare, edition, source)


def made_up_drone(tune: Tune, chance: random.Random) -> tuple[DroneSpan, ...]:
    """Drones on any key of the D string, some taken over, changing at bar lines."""
    times = [bar.onset for bar in tune.bars if not bar.onset or chance.random() < 0.4]
    times = [*dict.fromkeys(times), tune.bars[-1].onset + tune.bars[-1].duration]
    spans: list[DroneSpan] = []
    for start, end in itertools.pairwise(times):
        key = chance.randint(0, 7)
        taken = bool(spans) and chance.random() < 0.3
        stop = replace(spans[-1].stop, finger=2) if taken else Stop(62 + key, 3, key, min(1, key))
        if end > start:
            spans.append(DroneSpan(start, end - start, stop, taken))
    return tuple(spans)


def made_up_pieces(seed: int) -> Iterator[Page]:
    """A tune moved by any interval, with and without its grace notes, and exercises from it."""
    chance = random.Random(seed)
    (tune,) = read_abc(made_up_tune(chance))
    tune = transpose_tune(tune, chance.choice((0, 0, 1, -1, 3, 5, 6, -6, -4)))
    drone = made_up_drone(tune, chance)
    for has_graces in (True, False):
        yield bare_piece(tune, Edition("any", shows_grace_notes=has_graces), drone)
    arrangement = Arrangement(tune, HARPA, PLAYER, Limits(), ())
    for start in range(0, len(tune.bars) - 1, 3):
        exercise = make_exercise(
            arrangement, range(start, start + 2), {name: name for name in VARIANTS}
        )
        yield bare_piece(exercise, Edition("exercise"))


def test_made_up_tunes_show_every_sign_whatever_the_notation() -> None:
    pieces = [piece for seed in range(MADE_UP) for piece in made_up_pieces(seed)]
    assert all_differences(pieces) == []
    assert count_of_signs(pieces) > 3_000


def joined(pieces: list[Page]) -> str:
    """The music of all pieces in one source."""
    music = [piece.source[piece.source.index("\\score {") :] for piece in pieces]
    return pieces[0].source[: pieces[0].source.index("\\score {")] + "".join(music)


def test_lilypond_draws_the_heads_signs_and_ties_that_are_read_from_the_source(
    tmp_path: Path,
) -> None:
    setup = setup_of("teacher")
    setup = replace(setup, edition=replace(setup.edition, shows_accompaniment=True))
    tunes = [tune for tune in load(setup, is_ordered=False).tunes if tune.file == "danser.abc"][:2]
    pieces = engraved_pieces(tunes, setup) + [next(made_up_pieces(seed)) for seed in (4, 9)]
    source = joined(pieces)
    drawn = drawn_by_lilypond(source, tmp_path)
    read = {(head.line, head.column): head for head in heads_of(source)}
    assert {place: head.octave * 7 + head.step - 34 for place, head in read.items()} == drawn[
        "head"
    ]
    assert {place: Fraction(head.alter) / 2 for place, head in read.items() if head.sign} == drawn[
        "sign"
    ]
    excused = set().union(*(judged(staff)[1] for staff in read_staves(source)))
    assert excused and excused <= set(drawn["tie"])
    assert len(read) > 500


def signs_in(abc: str, *, has_graces: bool = True) -> list[str]:
    """The melody's tones as they are printed ("F#4!"), every one checked."""
    (tune,) = read_abc("X:1\nT:x\nM:4/4\nL:1/4\n" + abc + "\n")
    piece = bare_piece(tune, Edition("any", shows_grace_notes=has_graces))
    assert differences(piece) == []
    return [head.name for sound in read_staves(piece.source)[0].sounds for head in sound.heads]


@pytest.mark.parametrize(
    ("abc", "expected"),
    [
        ("K:C\n^F F f F|", ["F#4!", "F#4", "F#5!", "F#4"]),
        ("K:C\n{^F}F2 G2|", ["F#4!", "F#4", "G4"]),
        ("K:C\nG3{^F}|F4|", ["G4", "F#4!", "F4!"]),
        ("K:C\nG3^F-|F2 F2|", ["G4", "F#4!", "F#4", "F4?"]),
        ("K:C\nG3^F-|F2 ^F2|", ["G4", "F#4!", "F#4", "F#4!"]),
        ("K:C\n[F^F]2 F2|", ["F4!", "F#4!", "F#4!"]),
        ("K:C\n^F2 G2:|1F4:|2^F4|]", ["F#4!", "G4", "F4?", "F#4!"]),
        ("K:C\nG3 ^F-|1F4:|2F4|]", ["G4", "F#4!", "F#4", "F#4!"]),
        ("K:C\n^F2|:F2:|^F4|]", ["F#4!", "F4?", "F#4!"]),
        ("K:D\nF2 [K:C] F2|F4|", ["F#4", "F4!", "F4"]),
        ("K:D exp ^c _e\nc2 e2|f4|", ["C#5", "Eb5", "F5"]),
    ],
)  # fmt: skip
def test_a_sign_stands_where_common_notation_wants_it(abc: str, expected: list[str]) -> None:
    assert signs_in(abc) == expected


def test_a_sign_on_a_grace_note_that_is_left_out_moves_to_the_next_note_that_needs_it() -> None:
    assert signs_in("K:C\n{^F}G F F2|", has_graces=False) == ["G4", "F#4!", "F#4"]


def test_a_tone_tied_over_to_a_new_line_bears_its_sign_again() -> None:
    bars = "^F ^F ^F ^F-|F ^F ^F ^F-|" * 8
    names = signs_in(f"K:C\n{bars}")
    (tune,) = read_abc(f"X:1\nT:x\nM:4/4\nL:1/4\nK:C\n{bars}\n")
    breaks = bare_piece(tune, Edition("any")).source.count("\\break\n")
    assert breaks > 1
    # Of the first notes only those that begin a line bear the sign; of the others one in each bar.
    first = names[4::4]
    assert sum(name.endswith("!") for name in first) == breaks


def test_an_exercise_over_a_change_of_key_shows_both_signatures() -> None:
    (tune,) = read_abc("X:1\nT:x\nM:4/4\nL:1/4\nK:D\nF F F F|\nK:F\nF B B F|F4|\n")
    bare = Arrangement(tune, HARPA, PLAYER, Limits(), ())
    exercise = make_exercise(bare, range(0, 2), {name: name for name in VARIANTS})
    piece = bare_piece(exercise, Edition("any"))
    assert differences(piece) == []
    keys = [what for name, what, _ in read_staves(piece.source)[0].events if name == "key"]
    assert keys == [(1, 0, 0, 1, 0, 0, 0), (0, 0, 0, 0, 0, 0, -1)]


def test_an_exercise_that_begins_inside_a_tie_bears_the_sign() -> None:
    (tune,) = read_abc("X:1\nT:x\nM:4/4\nL:1/4\nK:C\nG3^F-|F2G2|G4|\n")
    bare = Arrangement(tune, HARPA, PLAYER, Limits(), ())
    exercise = make_exercise(bare, range(1, 3), {name: name for name in VARIANTS})
    names = [head.name for head in heads_of(bare_piece(exercise, Edition("any")).source)]
    assert names[:3] == ["F#4!", "G4", "G4"]


def test_a_missing_sign_and_a_wrong_tone_are_seen() -> None:
    (tune,) = read_abc("X:1\nT:x\nM:4/4\nL:1/4\nK:C\n^F F G G|\n")
    piece = bare_piece(tune, Edition("any"))
    without = replace(piece, source=piece.source.replace("fs'!", "fs'"))
    assert sum("bears no sign" in one for one in differences(without)) == 4  # with its opening
    other = replace(piece, source=piece.source.replace("fs'!", "f'"))
    assert any("instead of" in one for one in differences(other))
    assert wrong_signs(read_staves(piece.source)[0]) == []
