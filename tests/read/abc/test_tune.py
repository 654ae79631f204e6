"""What the standard's own examples leave open: places, pins, voices, ties, older dialects."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.errors import InputError
from tunebook.model.tune import Note, Tune, VoiceName
from tunebook.model.voices import voice_as_tune
from tunebook.read.abc.tune import TuneText, cut_into_tunes, read_abc, read_tune


def read(music: str, *, key: str = "C", more: str = "", meter: str = "none") -> Tune:
    return read_abc(f"X:1\nT:t\nM:{meter}\nL:1/8\n{more}K:{key}\n{music}\n")[0]


def notes_of(tune: Tune) -> list[Note]:
    return [note for bar in tune.bars for note in bar.notes]


def names(tune: Tune) -> list[str]:
    return [pitch.name for note in notes_of(tune) for pitch in note.pitches]


def kinds(tune: Tune) -> list[str]:
    return [message.kind for message in tune.messages]


def only_text(text: str) -> TuneText:
    (piece,) = cut_into_tunes(text, "tune.abc")
    assert isinstance(piece, TuneText)
    return piece


# Places


def test_place_begins_at_the_note_and_not_at_what_stands_before_it() -> None:
    line = '"Am"{cd}!1!~.^c\'3/2 [CE]2 (3def z2 |'
    tune = read(line)
    parts = [line[note.place.column - 1 : note.end_column - 1] for note in notes_of(tune)]
    assert parts == ["c", "d", "^c'3/2", "[CE]2", "d", "e", "f", "z2"]
    assert {note.place.line for note in notes_of(tune)} == {6}


def test_lines_count_from_the_beginning_of_the_file() -> None:
    text = "% some words\n\nX:1\nK:C\nC|\n\n\nX:2\nT:b\nK:C\nD|\n"
    first, second = read_abc(text)
    assert (first.place.line, first.bars[0].place.line) == (3, 5)
    assert (second.place.line, second.bars[0].place.line) == (8, 11)
    assert second.first_line == 8


def test_notes_of_a_macro_stand_at_the_macro() -> None:
    line = "a ~G3 b|"
    tune = read(line, more="m: ~G3 = G{A}G{F}G\n")
    columns = [note.place.column for note in notes_of(tune)]
    assert columns[0] == 1
    assert set(columns[1:-1]) == {3}
    assert line[columns[-1] - 1] == "b"
    assert [note.end_column for note in notes_of(tune)][-2:] == [6, 8]


# Pins


def test_fingers_become_pins() -> None:
    notes = notes_of(read("!1!C !0!D !4!!upbow!E F [!1!C!3!E] !1!!3![CE] !2![CE]|"))
    assert [note.finger_pins for note in notes] == [
        (1,),
        (0,),
        (4,),
        (),
        (1, 3),
        (1, 3),
        (2, None),
    ]
    assert notes[2].decorations == ("upbow",)


def test_fifth_finger_is_said() -> None:
    tune = read("!5!C|")
    assert notes_of(tune)[0].finger_pins == ()
    assert kinds(tune) == ["pin"]


def test_strings_and_drones_are_pinned_by_remarks() -> None:
    tune = read(
        "[r:string D]C [r:drone E4 finger 1]D [r:drone off]E [r:drone G string G]F"
        " [r: my own remark]G [r:drone Bb3]A|"
    )
    notes = notes_of(tune)
    assert notes[0].string_pin == "D"
    drones = [note.drone_pin for note in notes]
    assert drones[1] is not None
    assert (drones[1].midi, drones[1].finger) == (64, 1)
    assert drones[2] is not None
    assert drones[2].midi is None
    assert drones[3] is None
    assert drones[5] is not None
    assert drones[5].midi == 58
    assert kinds(tune) == ["pin"]


# Accidentals


def test_accidentals_hold_inside_slurs_tuplets_and_chords() -> None:
    assert names(read("^f (3(efg) [df] {f}e f|f")) == [
        *["F#5", "E5", "F#5", "G5", "D5", "F#5", "F#5", "E5", "F#5"],
        "F5",
    ]


def test_tie_keeps_its_accidental_over_the_bar_line_and_no_further() -> None:
    assert names(read("^f4-|f4 f4|")) == ["F#5", "F#5", "F5"]


def test_new_key_forgets_the_accidentals_of_the_bar() -> None:
    assert names(read("^f [K:F] f b|")) == ["F#5", "F5", "Bb5"]


def test_key_changed_inside_a_bar_is_shown_at_the_next_one() -> None:
    tune = read("f[K:D]f|f|")
    assert [bar.key.fifths for bar in tune.bars] == [0, 2]
    assert [bar.key_changed for bar in tune.bars] == [False, True]
    assert tune.bars[0].notes[1].shown_accidentals == ("needed",)
    assert tune.bars[1].notes[0].shown_accidentals == (None,)


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("^f f|", ["needed", None]),
        ("^f f'|", ["needed", "needed"]),
        ("^f|f|f|", ["needed", "courtesy", None]),
        ("=f|", ["courtesy"]),
        ("^f =f f|", ["needed", "needed", None]),
        ("^f-|f|", ["needed", None]),
        ("^f-|f f|", ["needed", None, "courtesy"]),
        ("^f|^f|", ["needed", "needed"]),
        ("^f ^f|", ["needed", "courtesy"]),
    ],
)
def test_page_shows_the_accidentals_it_needs(music: str, expected: list[str | None]) -> None:
    assert [note.shown_accidentals[0] for note in notes_of(read(music))] == expected


# Ties, slurs, endings


def test_tie_between_different_notes_is_read_as_a_slur() -> None:
    tune = read("c2-d2|")
    first, second = notes_of(tune)
    assert (first.slurs_opened, second.slurs_closed) == (1, 1)
    assert first.ties == (False,)
    assert not tune.messages


def test_tie_leads_into_both_endings() -> None:
    tune = read("|:c2 d2-|1 d4:|2 d2 e2|]")
    assert tune.bars[0].notes[1].ties == (True,)
    assert tune.bars[1].notes[0].is_tied_from_before == (True,)
    assert tune.bars[2].notes[0].is_tied_from_before == (True,)
    assert not tune.messages


def test_tie_without_a_note_to_go_to_is_said() -> None:
    assert kinds(read("c2-|z2|")) == ["tie"]
    assert kinds(read("c2-")) == ["tie"]
    assert kinds(read("-c2|")) == ["tie"]


def test_tie_passes_over_grace_notes() -> None:
    notes = notes_of(read("c2-{d}c2|"))
    assert notes[2].is_tied_from_before == (True,)


def test_slurs_that_do_not_match_are_said_with_their_place() -> None:
    tune = read("(c d|e) f)|(g")
    assert kinds(tune) == ["slur", "slur"]
    assert [message.place.column for message in tune.messages] == [10, 12]


def test_unequal_notes_keep_their_lengths_at_broken_rhythm() -> None:
    tune = read("c3>d e>f>g|")
    assert [note.duration for note in notes_of(tune)] == [
        Fraction(3, 8),
        Fraction(1, 8),
        Fraction(3, 16),
        Fraction(1, 16),
        Fraction(1, 8),
    ]
    (message,) = tune.messages
    assert message.kind == "rhythm"
    assert "2 times, line 6" in message.what


def test_tuplet_that_lacks_notes_is_said() -> None:
    assert kinds(read("(3cd|(3efg|(3c")) == ["tuplet", "tuplet"]


# Voices


TWO_VOICES = "V:1 name=Fiddle\nV:2 octave=-1\nK:C\n[V:1]C|D|\n[V:2]e|f|\n"


def test_chosen_voice_is_the_melody_and_another_may_stand_beside_it() -> None:
    text = only_text("X:1\n" + TWO_VOICES)
    assert names(read_tune(text)) == ["C4", "D4"]
    assert names(read_tune(text, voice="2")) == ["E4", "F4"]
    both = read_tune(text)
    assert both.melody_voice == VoiceName(id="1", name="Fiddle")
    (second,) = both.voices
    assert (second.id, names(voice_as_tune(both, second))) == ("2", ["E4", "F4"])
    assert kinds(both) == []


def test_key_of_another_voice_leaves_the_melody_alone() -> None:
    assert names(read("V:1\nf|\nV:2\nK:D\nf|\nV:1\nf|")) == ["F5", "F5"]


# Older dialects and other programs' habits


def test_macros_are_written_out_where_mail_encoding_was_too() -> None:
    reading = read_abc("X:1\nT:A\nm:~G2 = G/A/G\nM:4/4\nL:1/8\nK:D\n=3DF2 ~G2 A2 x$ B2|\n")
    names = [note.pitches[0].name for note in reading[0].bars[0].notes if note.pitches]
    assert names == ["F4", "G4", "A4", "G4", "A4", "B4"]
    stray = [one for one in reading[0].messages if "x$" in one.what or "'$'" in one.what]
    assert [one.place.column for one in stray] == [15]


def test_mail_encoding_is_read_as_it_was_meant() -> None:
    tune = read("d=3DB c|=20\n=3Df e=\nd|")
    assert names(tune) == ["D5", "B4", "C5", "F5", "E5", "D5"]
    assert {message.kind for message in tune.messages} == {"text"}


@pytest.mark.parametrize(
    ("music", "tempo", "said"),
    [
        ("[Q:1/4=200]d2|", 200, set()),
        ("d|[Q:1/4=20]=c2|", 20, set()),
        ("d|[Q:1/4=3D208]c|=20", 208, {"text"}),
    ],
)
def test_a_tempo_is_no_encoding_of_mail(music: str, tempo: float, said: set[str]) -> None:
    tune = read(music)
    found = [bar.tempo for bar in tune.bars if bar.tempo] or [tune.tempo]
    assert [one.per_minute for one in found if one] == [tempo]
    assert {message.kind for message in tune.messages} - {"bar-length"} == said


def test_line_that_ends_with_a_full_bar_gets_its_bar_line() -> None:
    tune = read("C2D2E2F2|G2A2^B2c2\nb2a2g2f2|", meter="4/4")
    assert [bar.number for bar in tune.bars] == [1, 2, 3]
    assert not tune.messages
    assert tune.bars[2].notes[0].pitches[0].name == "B#5"
    assert tune.bars[2].notes[0].shown_accidentals == ("needed",)


def test_line_that_ends_inside_a_bar_goes_on() -> None:
    tune = read("C2D2\nE2F2|G8|", meter="4/4")
    assert len(tune.bars) == 2
    assert not tune.messages


def test_bare_number_after_a_bar_sign_is_an_ending_and_said() -> None:
    tune = read("C8| 1 D8:|2 E8|]", meter="4/4")
    assert tune.played == (0, 1, 0, 2)
    assert kinds(tune) == ["ending"]


def test_letters_and_signs_without_meaning_are_said() -> None:
    tune = read("C #D ? hE \\ F|")
    assert kinds(tune) == ["text"] * 4
    assert names(tune) == ["C4", "D4", "E4", "F4"]


def test_unknown_decoration_is_kept_and_said() -> None:
    tune = read("!wobble!C|")
    assert notes_of(tune)[0].decorations == ("wobble",)
    assert kinds(tune) == ["decoration"]


def test_line_of_music_that_looks_like_a_field_is_music() -> None:
    assert names(read("C D|\nE:|\nd:|")) == ["C4", "D4", "E4", "D5"]


@pytest.mark.parametrize(
    ("line", "kind"),
    [("M:seven", "field"), ("L:x", "field"), ("Q:=", "field"), ("K:Qq", "field"), ("U:T", "field")],
)
def test_field_that_cannot_be_read_is_said_with_its_text(line: str, kind: str) -> None:
    tune = read(f"C|\n{line}\nD|")
    assert kinds(tune) == [kind]
    assert tune.messages[0].excerpt == line


def test_tune_without_key_or_notes_cannot_be_used() -> None:
    with pytest.raises(InputError, match="no K: field"):
        read_tune(only_text("X:1\nT:a\n"))
    with pytest.raises(InputError, match="no notes"):
        read_tune(only_text("X:1\nT:a\nK:C\n"))


def test_fields_are_kept_by_letter() -> None:
    head = "X:4\nT:First\nT:Second\nC:A. Maker\nO:Lowland\nR:polska\n"
    tune = read_abc(head + "N:one\n+:and more\nN:two\nK:C\nC|\n")[0]
    assert tune.titles == ("First", "Second")
    assert (tune.number, tune.composer, tune.origin, tune.rhythm) == (
        "4",
        "A. Maker",
        "Lowland",
        "polska",
    )
    assert tune.field("N") == ("one and more", "two")


def test_directives_are_quiet_and_text_ones_kept() -> None:
    tune = read("C|\n%%staffwidth 10\n%%text Play it twice\n%%begintext\nwords\n%%endtext\nD|")
    assert tune.texts == ()
    assert tune.closing_texts == ("Play it twice", "words")
    assert names(tune) == ["C4", "D4"]
    assert not tune.messages


def test_title_inside_the_music_stands_over_its_section() -> None:
    tune = read("C8|\nT:Trio\nD8|")
    assert tune.titles == ("t",)
    assert tune.bars[1].notes[0].annotations[0].text == "Trio"


def test_title_after_the_key_is_a_title() -> None:
    assert read_abc("X:1\nK:C\nT:Late\nC8|\n")[0].titles == ("Late",)


def test_line_of_an_old_field_is_no_music() -> None:
    tune = read("C D|\nE:8\nE:\nh: C D E\nF|")
    assert names(tune) == ["C4", "D4", "F4"]
    assert not tune.messages


@pytest.mark.parametrize("key", ["Dmix=c^g", "D mix =c ^g", "DMix^g=c", "Dmixolydian=c^g"])
def test_signs_right_after_a_mode_leave_it_a_mode(key: str) -> None:
    tune = read("F G c|", key=key)
    assert names(tune) == ["F#4", "G#4", "C5"]
    assert tune.key.mode == "mixolydian"
    assert not tune.messages
