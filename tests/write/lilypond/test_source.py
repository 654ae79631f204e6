"""What the LilyPond source says: fingers, strings, drones, chords, signs, marks, line ends."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from tunebook.model.arrangement import ChordSpan, DroneSpan, Stop
from tunebook.model.book import Edition
from tunebook.model.spelling import signature_alters
from tunebook.model.tune import Key, Meter, Note, Tempo
from tunebook.write.lilypond.bars import (
    BarMarks,
    bar_line,
    ending_text,
    key_command,
    last_bar_line,
)
from tunebook.write.lilypond.marks import spans_of
from tunebook.write.lilypond.source import write_source
from tunebook.write.lilypond.staves import chord_markup
from tunebook.write.note_values import split_value, value_text

ALL = Edition("all", fingers="all")
WIDTH_PT = 480


def music(arrangement, edition=ALL, **options):
    """The score block on one line, single-spaced."""
    source = write_source(arrangement, edition, line_width_pt=WIDTH_PT, **options).text
    return " ".join(source[source.index("\\score") :].split())


def changed(arrangement, place, **changes):
    notes = list(arrangement.notes)
    notes[place] = replace(notes[place], **changes)
    return replace(arrangement, notes=tuple(notes))


def test_all_fingers_are_printed_when_asked(make_tune, arranged):
    assert "d'4 -0 e'4 -1 fs'4 -2" in music(arranged(make_tune("D4/4 E4/4 F#4/4")))


def test_pale_notes_have_their_fingers_and_letters_in_grey(make_tune, arranged):
    made = changed(arranged(make_tune("D4/4 E4/4 F#4/4")), 1, shows_string=True, ways=("crossed",))
    grey = "-\\tweak color #(rgb-color 0.5 0.5 0.5) -"
    text = music(made, pale=frozenset({(0, 1)}))
    assert f"d'4 -0 e'4 {grey}\\crossed 1 {grey}\\stringLetter \"D\" fs'4 -2" in text


def test_only_needed_fingers_are_printed_for_players(make_tune, arranged):
    made = changed(arranged(make_tune("D4/4 E4/4 F#4/4")), 1, is_needed=False)
    assert "d'4 -0 e'4 fs'4 -2" in music(made, Edition("player", fingers="needed"))


def test_no_finger_is_printed_where_none_is_wanted(make_tune, arranged):
    made = changed(arranged(make_tune("D4/4 E4/4 F#4/4")), 1, shows_string=True)
    assert "d'4 e'4 fs'4" in music(made, Edition("bare", fingers="none"))


def test_continued_note_has_no_finger(make_tune, arranged):
    assert "e'2. -1 ~ \\bar" in music(arranged(make_tune("E4*3/4-", "E4/4 D4/2")))
    assert "e'4 d'2 -0" in music(arranged(make_tune("E4*3/4-", "E4/4 D4/2")))


def test_double_stop_has_its_fingers_from_the_lowest_tone_up(make_tune, arranged):
    made = arranged(make_tune("E4+A3*3/4"))
    stops = tuple(replace(stop, finger=2 if stop.midi == 64 else 1) for stop in made.notes[0].stops)
    assert "<a e'>2. -1 -2" in music(changed(made, 0, stops=stops))


def test_crossed_stop_has_a_cross_on_its_finger(make_tune, arranged):
    made = changed(arranged(make_tune("D4/4 E4/4 F#4/4")), 1, ways=("crossed",))
    assert "e'4 \\crossed 1" in music(made)


def test_silent_substitution_shows_both_fingers(make_tune, arranged):
    made = arranged(make_tune("E4*3/4"))
    after = (replace(made.notes[0].stops[0], finger=3),)
    assert "e'2. \\takenOver 1 3" in music(changed(made, 0, stops_after=after))


def test_string_letter_stands_where_it_is_asked_for(make_tune, arranged):
    made = changed(arranged(make_tune("D4/4 E4/4 F#4/4")), 2, shows_string=True)
    assert music(made).count("\\stringLetter") == 1
    assert 'fs\'4 -2 \\stringLetter "D"' in music(made)


def test_note_without_stops_has_no_finger(make_tune, arranged):
    made = changed(arranged(make_tune("D4/4 C3/4 F#4/4")), 1, stops=())
    assert "d'4 -0 \\parenthesize c!4 fs'4 -2" in music(made)


def test_grace_notes_can_be_left_out(make_tune, arranged):
    made = arranged(make_tune("(E4)/8 D4*3/4"))
    assert "\\grace { e'8 -1 } d'2." in music(made)
    assert "\\grace" not in music(made, replace(ALL, shows_grace_notes=False))


def test_no_drone_means_no_drone_staff(make_tune, arranged):
    assert "DroneStaff" not in music(arranged(make_tune("D4*3/4")))


def drone(*spans):
    return tuple(
        DroneSpan(Fraction(on), Fraction(length), Stop(midi, 2, midi - 55, finger), over)
        for on, length, midi, finger, over in spans
    )


def test_drone_has_one_head_and_a_line_over_the_bars(make_tune, arranged):
    made = arranged(make_tune("D4*3/4", "E4*3/4"), drone=drone((0, "3/2", 57, 1, False)))
    assert "a2. -1 \\- } { s2. }" in music(made)


def test_finger_that_takes_a_drone_over_is_shown_with_the_one_before(make_tune, arranged):
    spans = drone((0, "1/4", 57, 1, False), ("1/4", "1/2", 57, 2, True))
    assert "a4 -1 \\- a2 \\takenOver 1 2 \\-" in music(arranged(make_tune("D4*3/4"), drone=spans))


def test_silence_of_the_drone_is_rests(make_tune, arranged):
    made = arranged(make_tune("D4*3/4", "E4*3/4"), drone=drone(("1/4", "1/4", 55, 0, False)))
    assert "r4 g4 -0 \\- r4 } { R2. }" in music(made)


def test_drone_begins_each_line_with_a_head(make_tune, arranged):
    made = arranged(make_tune(*["D4*3/4"] * 12), drone=drone((0, 9, 57, 1, False)))
    text = music(made)
    assert text.count("\\break") == text.count("a2. -1 \\-") - 1 > 0


def test_compact_drones_are_a_letter_a_finger_and_a_line(make_tune, arranged):
    spans = drone((0, "5/4", 57, 1, False), ("5/4", "1/4", 55, 0, False), (2, "1/4", 55, 0, False))
    made = arranged(make_tune(*["D4*3/4"] * 3), drone=spans)
    text = music(made, replace(ALL, drone_style="line"))
    assert "DroneStaff" not in text
    assert '\\droneText "G" "1" s2. \\startTextSpan } { s2 ' in text
    assert '\\droneText "G" "" s4 \\stopTextSpan \\startTextSpan }' in text
    assert '{ s2 \\stopTextSpan \\droneText "G" "" s4 \\startTextSpan }' in text
    assert text.count("\\stopTextSpan") == text.count("\\startTextSpan") == 3
    assert "<>\\stopTextSpan" in text


def test_edition_without_drones_leaves_the_staff_out(make_tune, arranged):
    made = arranged(make_tune("D4*3/4"), drone=drone((0, "3/4", 57, 1, False)))
    assert "DroneStaff" not in music(made, replace(ALL, drones="none"))


def chords(make_chord, *names, **options):
    return tuple(
        ChordSpan(place, Fraction(3 * place, 4), Fraction(3, 4), make_chord(name), **options)
        for place, name in enumerate(names)
    )


def test_chord_is_spelled_in_one_way(make_tune, arranged, make_chord):
    made = arranged(make_tune("D4*3/4", "D4*3/4"), chords=chords(make_chord, "Bbm7", "F#dim"))
    assert '{ "B" \\chord-flat "m" \\super \\concat { "7" } } r2.' in music(made)
    assert '{ "F" \\chord-sharp "dim" } r2.' in music(made)


def test_chord_of_ours_is_told_apart_from_the_tunes_own(make_chord):
    chord = make_chord("D7")
    own, ours = chord_markup(chord), chord_markup(chord, is_solved=True)
    assert "italic" not in own and "italic" in ours
    assert own.replace("\\markup ", "") in ours


def test_doubtful_chord_stands_in_parentheses(make_tune, arranged, make_chord):
    spans = chords(make_chord, "G", source="solved", confidence=0.4)
    assert '\\concat { "(" "G" ")" }' in music(arranged(make_tune("D4*3/4"), chords=spans))


def test_edition_shows_the_chords_it_wants(make_tune, arranged, make_chord):
    solved = chords(make_chord, "G", source="solved")
    made = arranged(make_tune("D4*3/4"), chords=solved)
    assert "ChordNames" in music(made)
    assert "ChordNames" not in music(made, replace(ALL, chords="tune"))
    assert "ChordNames" not in music(made, replace(ALL, chords="none"))


@pytest.mark.parametrize(
    ("after", "before", "line"),
    [
        ("|", "", "|"),
        (":|", "|:", ":|.|:"),
        ("::", "", ":|.|:"),
        ("||", "|:", ".|:-||"),
        ("|", "|:", ".|:-||"),
        (":|", "|", ":|."),
        (".|", "", ";"),
        ("", "", ""),
        ("|]", "", "|."),
    ],
)
def test_bar_signs_are_shown_as_they_are_written(after, before, line):
    assert bar_line(after, before) == line


def test_tune_ends_with_a_final_bar_unless_it_repeats():
    assert last_bar_line("|") == "|."
    assert last_bar_line(":|") == ":|."
    assert last_bar_line("||") == "||"


def test_endings_name_their_passes():
    assert ending_text((1,)) == "1."
    assert ending_text((1, 3)) == "1, 3."
    assert ending_text((1, 2, 3)) == "1-3."


def test_bracket_closes_where_its_ending_ends(make_tune, arranged):
    tune = make_tune("D4*3/4", "E4*3/4", "F#4*3/4", "G4*3/4")
    bars = list(tune.bars)
    bars[1] = replace(bars[1], ending=(1,), ends_ending=True, sign_after=":|")
    bars[2] = replace(bars[2], ending=(2,), ends_ending=True)
    text = music(arranged(replace(tune, bars=tuple(bars))))
    assert re.findall(r"#'\(\((volta [^ )]+)\)(?: \((volta [^ )]+)\))?\)", text) == [
        ('volta "1."', ""),
        ("volta #f", 'volta "2."'),
        ("volta #f", ""),
    ]


def test_bar_of_another_length_has_its_own_hidden_metre(make_tune, arranged):
    text = music(arranged(make_tune("D4*3/4", "E4/4", "F#4*3/4")))
    assert "\\time 3/4" in text
    assert "\\hiddenTime 1/4 e'4" in text
    assert "\\hiddenTime 3/4 fs'2." in text


def test_pickup_shows_the_metre_of_the_tune(make_tune, arranged):
    text = music(arranged(make_tune("D4/4", "E4*3/4")))
    assert '\\number \\center-column { "3" "4" } \\time 1/4 d\'4' in text


def test_free_metre_has_no_sign(make_tune, arranged):
    free = Meter(0, 4, "none")
    text = music(arranged(make_tune("D4/4 E4/4", "F#4/2", meter=free)))
    assert "\\hiddenTime 1/2" in text
    assert "\\time" not in text.replace("\\hiddenTime", "")


def test_signs_are_those_that_the_page_needs(make_tune, arranged):
    tune = make_tune("C5/4 C#5/4 C#5/4")
    assert re.findall(r"cs?''[!?]?4", music(arranged(tune))) == ["c''!4", "cs''!4", "cs''4"]


def test_a_sign_that_the_tune_asks_for_without_need_stands_in_brackets(make_tune, arranged):
    tune = make_tune("C#5/4 C#5/4 C5/4")
    notes = tuple(replace(note, shown_accidentals=("needed",)) for note in tune.bars[0].notes)
    made = arranged(replace(tune, bars=(replace(tune.bars[0], notes=notes),)))
    assert re.findall(r"cs?''[!?]?4", music(made)) == ["cs''?4", "cs''?4", "c''!4"]


def test_key_signature_holds_exactly_the_signs_in_force():
    dorian = Key(1, 0, "dorian", 0, signature_alters(0))
    odd = Key(1, 0, "none", 0, (0, 0, -1, 1, 0, 0, 0))
    assert key_command(dorian) == "\\key d \\dorian"
    assert key_command(odd) == "\\set Staff.keyAlterations = #'((2 . -1/2) (3 . 1/2))"


def test_signature_without_mode_is_written_by_its_signs():
    for fifths in range(-7, 8):
        key = Key(0, 0, "none", fifths, signature_alters(fifths))
        assert key_command(key).endswith("\\major"), fifths


def test_value_that_no_head_can_show_is_tied_together():
    assert split_value(Fraction(5, 8)) == (Fraction(1, 2), Fraction(1, 8))
    assert split_value(Fraction(7, 8)) == (Fraction(7, 8),)
    assert value_text(Fraction(7, 8)) == "2.."
    assert value_text(Fraction(5, 8)) is None


def test_split_values_add_up():
    for value in (Fraction(numerator, 64) for numerator in range(1, 130)):
        parts = split_value(value)
        assert sum(parts) == value
        assert all(value_text(part) is not None for part in parts), value


def test_beam_joins_the_notes_that_are_written_together(make_tune):
    tune = make_tune("D4/8 E4/8 F#4/8 G4/8 A4/4")
    notes = [replace(note, is_joined=place == 0) for place, note in enumerate(tune.bars[0].notes)]
    spans = spans_of([notes])
    assert [(spans[id(n)].first, spans[id(n)].last) for n in notes[:3]] == [
        (["["], []),
        ([], ["]"]),
        ([], []),
    ]


def test_slur_without_end_is_left_out(make_tune):
    tune = make_tune("D4/4 E4/4 F#4/4")
    notes = list(tune.bars[0].notes)
    notes[0] = replace(notes[0], slurs_opened=2)
    notes[2] = replace(notes[2], slurs_closed=1)
    spans = spans_of([notes])
    assert spans[id(notes[0])].first == ["("]
    assert spans[id(notes[2])].last == [")"]


def test_tie_that_leads_nowhere_is_a_half_tie(make_tune):
    tune = make_tune("D4*3/4-", "E4*3/4")
    spans = spans_of([bar.notes for bar in tune.bars])
    assert spans[id(tune.bars[0].notes[0])].last == ["\\laissezVibrer"]


def test_a_figure_stands_clear_of_a_tie_that_begins_above_the_staff(make_tune, arranged):
    text = music(arranged(make_tune("D4/4- D4/4 F5/4-", "F5/4 F5/4")))
    assert text.count("\\tweak padding 0.9 -4") == text.count("\\tweak padding") == 1
    assert "d'4 -0 ~" in text


def test_only_the_tied_tone_of_a_double_stop_is_tied(make_tune):
    tune = make_tune("F#4+D5/2 F#4+D5/4")
    notes = list(tune.bars[0].notes)
    notes[0] = replace(notes[0], ties=(True, False))
    spans = spans_of([notes])
    assert spans[id(notes[0])].tied_heads == (0,)
    assert spans[id(notes[0])].last == []


def test_tempo_inside_the_tune_is_printed_there(make_tune, arranged):
    tune = make_tune("D4*3/4", "E4*3/4")
    second = replace(tune.bars[1], tempo=Tempo(Fraction(3, 8), 96.0, "Slower"))
    text = music(arranged(replace(tune, bars=(tune.bars[0], second))))
    assert '\\tempo "Slower" 4. = 96 e\'2.' in text


def test_da_capo_stands_at_the_end_of_its_bar(make_tune, arranged):
    tune = make_tune("D4/4 E4/2")
    first = replace(tune.bars[0].notes[0], decorations=("D.C.alfine",))
    bars = (replace(tune.bars[0], notes=(first, tune.bars[0].notes[1])),)
    assert 'e\'2 -1 \\endWord "D.C. al Fine" \\bar' in music(arranged(replace(tune, bars=bars)))


def test_unknown_decoration_is_not_printed(make_tune, arranged):
    tune = make_tune("D4*3/4")
    note: Note = replace(tune.bars[0].notes[0], decorations=("\\foo", "upbow"))
    bars = (replace(tune.bars[0], notes=(note,)),)
    text = music(arranged(replace(tune, bars=bars)))
    assert "^\\upbow" in text
    assert "foo" not in text


def test_marks_have_three_looks_and_end_with_their_passages(make_tune, arranged):
    tune = make_tune(*["D4*3/4"] * 6)
    text = music(arranged(tune), marks=BarMarks({1, 2}, {4}, {5}))
    assert text.count("\\changedLook") == text.count("\\beyondLook") == 1
    assert text.count("\\startMeasureSpanner") == text.count("\\stopMeasureSpanner") == 2
    assert text.count("\\paleGround") == text.count("\\stopStaffHighlight") == 1


def test_sixteen_bars_stand_four_on_a_line(make_tune, arranged):
    tune = make_tune(*["D4/8 E4/8 F#4/8 G4/8 A4/4"] * 16)
    piece = write_source(arranged(tune), ALL, line_width_pt=WIDTH_PT)
    assert piece.bars_per_line == (4, 4, 4, 4)
    music = piece.score.text()
    assert music.count("\\break") == 3
    assert re.findall(r"\\barNumber (\d+)", music) == ["5", "9", "13"]


def test_pickup_never_stands_alone_at_the_end_of_a_line(make_tune, arranged):
    bars = ["D4/4", *["D4/8 E4/8 F#4/8 G4/8 A4/4"] * 8]
    piece = write_source(arranged(make_tune(*bars)), ALL, line_width_pt=WIDTH_PT)
    assert piece.bars_per_line == (5, 4)


def test_narrow_paper_takes_fewer_bars_on_a_line(make_tune, arranged):
    tune = make_tune(*["D4/8 E4/8 F#4/8 G4/8 A4/8 B4/8"] * 16)
    large = Edition("large", fingers="all", staff_size_pt=24)
    counts = write_source(arranged(tune), large, line_width_pt=340).bars_per_line
    assert sum(counts) == 16
    assert max(counts) < 4


def test_opening_is_the_first_two_bars_without_fingers(make_tune, arranged):
    made = arranged(make_tune("D4/4", "E4*3/4", "F#4*3/4", "G4*3/4"))
    piece = write_source(made, ALL, line_width_pt=WIDTH_PT, with_opening=True)
    assert piece.opening is not None
    opening = " ".join(piece.opening.score.text().split())
    assert "d'4 \\bar" in opening and "e'2. \\bar" in opening and "fs'2. \\bar" in opening
    assert "g'2." not in opening


def test_accompaniment_has_a_staff_of_its_own(make_tune, arranged):
    made = arranged(make_tune("D4*3/4", "E4*3/4"))
    below = arranged(make_tune("A3/4 A3/4 A3/4", "B3*3/4")).notes
    made = replace(made, accompaniment=below)
    text = music(made, replace(ALL, shows_accompaniment=True))
    assert "SecondStaff" in text and "a4 -1 a4 -1 a4 -1" in text
    assert "SecondStaff" not in music(made)


def test_tune_without_any_note_still_makes_a_source(make_tune, arranged):
    piece = write_source(arranged(make_tune("z*3/4")), ALL, line_width_pt=WIDTH_PT)
    assert "\\score" in piece.text


def test_drone_that_ends_inside_a_tuplet_needs_no_tuplet_of_its_own(make_tune, arranged):
    spans = drone((0, "7/12", 57, 1, False), ("2/3", "1/12", 57, 1, False))
    text = music(arranged(make_tune("D4*3/4"), drone=spans))
    assert "a2 -1 ~ a8 -1" not in text
    assert "scaleDurations" not in text


@pytest.mark.parametrize(
    ("quality", "extension", "expected"),
    [
        ("diminished", "7", '"B" "m" \\super \\concat { "7" \\chord-flat "5" }'),
        ("diminished", "bb7", '"B" "dim" \\super \\concat { "7" }'),
        ("diminished", "", '"B" "dim"'),
        ("minor", "maj7", '"B" "m" \\super \\concat { "maj7" }'),
        ("other", "sus4", '"B" \\super \\concat { "sus4" }'),
        ("major", "7#9", '"B" \\super \\concat { "7" \\chord-sharp "9" }'),
        ("major", "7 (soft)", '"B" "7 (soft)"'),
    ],
)
def test_sevenths_and_other_extensions_are_raised(make_chord, quality, extension, expected):
    chord = replace(make_chord("B"), quality=quality, extension=extension)
    assert chord_markup(chord) == f"\\markup \\concat {{ {expected} }}"


def test_clef_of_the_tune_goes_before_that_of_the_instrument(make_tune, arranged):
    tune = make_tune("D4/4 E4/2", "D4/4 E4/2")
    assert "\\clef treble " in music(arranged(tune))
    first, second = tune.bars
    bars = (replace(first, clef="bass"), replace(second, clef="treble_8"))
    text = music(arranged(replace(tune, bars=bars)))
    assert "\\clef bass" in text and '\\clef "treble_8"' in text
    assert "\\clef treble " not in text
    no_such = (replace(first, clef='x" } #(exit)'), second)
    assert "exit" not in music(arranged(replace(tune, bars=no_such)))


def test_note_that_cannot_be_played_stands_in_brackets(make_tune, arranged):
    arrangement = changed(arranged(make_tune("D4/4 E4/2")), 0, stops=())
    piece = write_source(arrangement, ALL, line_width_pt=WIDTH_PT, with_opening=True)
    assert piece.text.count("\\parenthesize") == 1
    assert "\\parenthesize d'4 e'2 -1" in music(arrangement)


def test_the_finger_that_trills_stands_beside_the_sign_where_fingers_are_shown(make_tune, arranged):
    made = arranged(make_tune("D4/4 E4/4 F#4/4"))
    note = replace(made.notes[1].note, decorations=("trill",))
    bar = replace(made.tune.bars[0], notes=(made.notes[0].note, note, made.notes[2].note))
    made = replace(made, tune=replace(made.tune, bars=(bar,)))
    trilled = changed(made, 1, note=note, trill_finger=2)
    assert "^\\trillBy 2" in music(trilled)
    bare = music(trilled, Edition("bare", fingers="none"))
    assert "^\\trill" in bare and "trillBy" not in bare
    assert "trillBy" not in music(made)


def test_a_remark_stands_under_its_note_as_quoted_text(make_tune, arranged):
    made = arranged(make_tune("D4/4 E4/4 F#4/4", "G4*3/4"))
    first, *others = made.tune.bars
    notes = (replace(first.notes[0], remark='say "so" \\'), *first.notes[1:])
    bars = (replace(first, notes=notes), *others)
    text = music(replace(made, tune=replace(made.tune, bars=bars)))
    assert text.count('_\\playerRemark "say \\"so\\" \\\\"') == 1


def test_large_print_enlarges_letters_and_the_figures_of_drones(make_tune, arranged):
    made = arranged(make_tune("D4/4 E4/4 F#4/4"))
    texts = [
        write_source(made, Edition("e", staff_size_pt=size), line_width_pt=WIDTH_PT).text
        for size in (16.5, 24)
    ]
    assert ["#(define enlarged 1.8)" in text for text in texts] == [False, True]
    for text in texts:
        assert "(cons 'font-size (+ -5.2 enlarged))" in text
        assert text.count("Fingering.font-size = #(+ ") == 2
