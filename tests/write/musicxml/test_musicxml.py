"""A tune as MusicXML: every sign by itself, and the whole read back by music21."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tunebook.errors import SourcePlace
from tunebook.model.arrangement import ChordSpan, DroneSpan, Stop
from tunebook.model.names import likely_of
from tunebook.model.tune import Annotation, Key, Meter, Syllable, Tempo, Tuplet, Voice
from tunebook.read.abc.symbols import read_chord_symbol
from tunebook.read.abc.tune import read_abc
from tunebook.write.musicxml.lengths import pieces_of
from tunebook.write.musicxml.marks import kind_of
from tunebook.write.musicxml.score import tune_as_musicxml

SAMPLES = sorted((Path(__file__).parents[3] / "sample_tunes").glob("*.abc"))


def score_of(arrangement):
    return ElementTree.fromstring(tune_as_musicxml(arrangement))


def texts(element, path):
    return [found.text for found in element.findall(path)]


def from_abc(body, arranged, head="M:3/4\nL:1/8\nK:D"):
    (tune,) = read_abc(f"X:1\nT:Made\n{head}\n{body}\n")
    return arranged(tune)


def notes_of(score):
    return score.findall("part[@id='P1']/measure/note")


def test_pitches_types_and_dots_are_written(arranged):
    score = score_of(from_abc("D3 ^c B2 |", arranged))
    assert texts(score, ".//pitch/step") == ["D", "C", "B"]
    assert texts(score, ".//pitch/octave") == ["4", "5", "4"]
    assert texts(score, ".//note/type") == ["quarter", "eighth", "quarter"]
    assert [len(note.findall("dot")) for note in notes_of(score)] == [1, 0, 0]


def test_finger_and_string_are_technical_marks_with_the_highest_string_first(arranged):
    score = score_of(from_abc("[G,B,]2 A2 E2 |", arranged))
    assert texts(score, ".//technical/fingering") == ["0", "2", "0", "1"]
    assert texts(score, ".//technical/string") == ["3", "3", "1", "2"]


def test_silent_change_of_finger_is_a_substitution(arranged):
    arrangement = from_abc("E6 |", arranged)
    changed = replace(arrangement.notes[0], stops_after=(Stop(64, 3, 2, 2),))
    score = score_of(replace(arrangement, notes=(changed,)))
    fingers = score.findall(".//technical/fingering")
    assert [(f.text, f.get("substitution")) for f in fingers] == [("1", None), ("2", "yes")]


def test_note_that_cannot_be_played_has_no_technical_marks(arranged):
    arrangement = from_abc("D2 E2 F2 |", arranged)
    silent = replace(arrangement.notes[1], stops=())
    notes = (arrangement.notes[0], silent, arrangement.notes[2])
    score = score_of(replace(arrangement, notes=notes))
    assert len(score.findall(".//technical")) == 2
    assert len(notes_of(score)) == 3


def test_tied_note_has_its_finger_once(arranged):
    score = score_of(from_abc("D6- | D6 |", arranged))
    assert [tie.get("type") for tie in score.findall(".//note/tie")] == ["start", "stop"]
    assert [tie.get("type") for tie in score.findall(".//tied")] == ["start", "stop"]
    assert len(score.findall(".//fingering")) == 1


def test_length_of_two_heads_is_tied(arranged):
    score = score_of(from_abc("D5 z |", arranged))
    assert texts(score, ".//note/type") == ["half", "eighth", "eighth"]
    assert [tie.get("type") for tie in score.findall(".//note/tie")] == ["start", "stop"]


def test_tuplet_is_marked_and_counted(arranged):
    score = score_of(from_abc("(3DEF D2 D2 |", arranged))
    assert texts(score, ".//time-modification/actual-notes") == ["3"] * 3
    assert texts(score, ".//time-modification/normal-notes") == ["2"] * 3
    assert [t.get("type") for t in score.findall(".//tuplet")] == ["start", "stop"]
    durations = [int(text) for text in texts(score, ".//note/duration")]
    divisions = int(score.findtext(".//divisions"))
    assert [Fraction(d, divisions) for d in durations] == [Fraction(1, 3)] * 3 + [1, 1]


def test_length_outside_any_tuplet_that_needs_one_is_shown_with_a_ratio():
    (piece,) = pieces_of(Fraction(1, 12))
    assert (piece.type_name, piece.ratio, piece.duration) == ("eighth", (3, 2), Fraction(1, 12))


def test_pieces_add_up_to_the_length():
    tuplet = Tuplet(1, 5, 4, 0, 5)
    for written in (Fraction(n, d) for n in range(1, 20) for d in (1, 3, 8, 64, 7)):
        assert sum(piece.duration for piece in pieces_of(written)) == written
        assert sum(p.duration for p in pieces_of(written, tuplet)) == written * Fraction(4, 5)


def test_grace_notes_have_no_duration(arranged):
    score = score_of(from_abc("{/ef}g2 {a}g4 |", arranged))
    graces = [note for note in notes_of(score) if note.find("grace") is not None]
    assert [note.find("grace").get("slash") for note in graces] == ["yes", "yes", None]
    assert all(note.find("duration") is None for note in graces)


def test_rests_and_whole_bar_rests_are_told_apart(arranged):
    score = score_of(from_abc("D2 z2 x2 | Z | D6 |", arranged))
    rests = [note for note in notes_of(score) if note.find("rest") is not None]
    assert [rest.find("rest").get("measure") for rest in rests] == [None, None, "yes"]
    assert [rest.get("print-object") for rest in rests] == [None, "no", None]


def test_accidentals_are_shown_where_the_page_has_them(arranged):
    score = score_of(from_abc("=c2 c2 ^G2 |", arranged))
    assert texts(score, ".//accidental") == ["natural", "sharp"]


def test_slurs_nest_and_one_left_open_is_not_written(arranged):
    score = score_of(from_abc("((DE)F) (GAB |", arranged))
    slurs = [(s.get("type"), s.get("number")) for s in score.findall(".//slur")]
    assert sorted(slurs) == [("start", "1"), ("start", "2"), ("stop", "1"), ("stop", "2")]


def test_beams_follow_the_spaces_of_the_source(arranged):
    score = score_of(from_abc("D/E/F G>A B2 |", arranged))
    beams = [[b.text for b in note.findall("beam")] for note in notes_of(score)]
    assert beams == [
        ["begin", "begin"], ["continue", "end"], ["end"], ["begin"], ["end", "backward hook"], [],
    ]  # fmt: skip


def test_pickup_is_an_implicit_measure(arranged):
    score = score_of(from_abc("A2 | D6 | E4 :| A2 | D6 |]", arranged))
    measures = score.findall("part[@id='P1']/measure")
    assert [(m.get("number"), m.get("implicit")) for m in measures] == [
        ("0", "yes"), ("1", None), ("2", None), ("X3", "yes"), ("3", None),
    ]  # fmt: skip


def barlines(score):
    return [
        [
            (b.get("location"), *[(c.tag, *sorted(c.attrib.values())) for c in b
                                  if c.tag != "bar-style"])
            for b in measure.findall("barline")
        ]
        for measure in score.findall("part[@id='P1']/measure")
    ]  # fmt: skip


def test_repeats_and_endings_are_barlines(arranged):
    score = score_of(from_abc("|: D6 |1 E6 :|2 F6 |]", arranged))
    assert barlines(score) == [
        [("left", ("repeat", "forward"))],
        [("left", ("ending", "1", "start")),
         ("right", ("ending", "1", "stop"), ("repeat", "backward"))],
        [("left", ("ending", "2", "start")), ("right", ("ending", "2", "discontinue"))],
    ]  # fmt: skip


def test_double_repeat_ends_one_section_and_begins_the_next(arranged):
    score = score_of(from_abc("|: D6 :: E6 :|", arranged))
    assert barlines(score) == [
        [("left", ("repeat", "forward")), ("right", ("repeat", "backward"))],
        [("left", ("repeat", "forward")), ("right", ("repeat", "backward"))],
    ]


def test_section_played_three_times_says_so(arranged):
    score = score_of(from_abc("|:: D6 ::|", arranged))
    assert score.find(".//repeat[@direction='backward']").get("times") == "3"


def test_bar_styles_are_kept(arranged):
    score = score_of(from_abc("D6 || E6 .| F6 |]", arranged))
    assert texts(score, ".//bar-style") == ["light-light", "dotted", "light-heavy"]


def test_changes_of_key_and_metre_stand_where_they_happen(arranged):
    score = score_of(from_abc("D6 | [K:Am] [M:2/4] A4 | A4 |", arranged))
    measures = score.findall("part[@id='P1']/measure")
    assert [texts(m, "attributes/key/fifths") for m in measures] == [["2"], ["0"], []]
    assert [texts(m, "attributes/key/mode") for m in measures] == [["major"], ["minor"], []]
    assert [texts(m, "attributes/time/beats") for m in measures] == [["3"], ["2"], []]


def test_signature_that_is_none_of_the_usual_is_written_step_by_step(arranged):
    score = score_of(from_abc("D6 |", arranged, head="M:3/4\nL:1/8\nK:D phr ^f"))
    assert texts(score, ".//key/key-step") == ["B", "E", "F"]
    assert texts(score, ".//key/key-alter") == ["-1", "-1", "1"]


@pytest.mark.parametrize(
    ("meter", "symbol", "beats"),
    [
        (Meter(4, 4, "C"), "common", "4"),
        (Meter(2, 2, "C|"), "cut", "2"),
        (Meter(7, 8, "2+2+3/8", (2, 2, 3)), None, "2+2+3"),
    ],
)
def test_metre_keeps_its_sign(make_tune, arranged, meter, symbol, beats):
    score = score_of(arranged(make_tune("D4/4", meter=meter)))
    assert score.find(".//time").get("symbol") == symbol
    assert score.findtext(".//time/beats") == beats


def test_free_metre_has_no_numbers(make_tune, arranged):
    score = score_of(arranged(make_tune("D4/4", meter=Meter(0, 4, ""))))
    assert score.find(".//senza-misura") is not None
    assert score.find(".//beats") is None


def test_tempo_of_the_tune_is_shown_and_sounds(make_tune, arranged):
    tune = make_tune("D4/4", tempo=Tempo(Fraction(3, 8), 100.0, "Lively"))
    score = score_of(arranged(tune, whole_notes_per_second=tune.tempo.whole_notes_per_second))
    assert score.findtext(".//metronome/beat-unit") == "quarter"
    assert len(score.findall(".//beat-unit-dot")) == 1
    assert score.findtext(".//per-minute") == "100"
    assert score.find(".//sound").get("tempo") == "150"
    assert score.findtext(".//words") == "Lively"


def test_tempo_that_is_a_default_sounds_but_is_not_shown(make_tune, arranged):
    arrangement = arranged(make_tune("D4/4", tempo=None), whole_notes_per_second=0.4)
    score = score_of(arrangement)
    assert score.find(".//metronome") is None
    assert score.find(".//sound").get("tempo") == "96"


def test_bowings_ornaments_and_articulations_are_marks(arranged):
    score = score_of(from_abc("vD2 uTE2 .!fermata!F2 |", arranged))
    for path in ("technical/down-bow", "technical/up-bow", "ornaments/trill-mark",
                 "articulations/staccato", "fermata"):  # fmt: skip
        assert score.find(f".//notations/{path}") is not None, path


def test_decoration_unknown_to_musicxml_keeps_its_name(arranged):
    score = score_of(from_abc("~D2 E2 F2 |", arranged))
    assert score.findtext(".//other-notation") == "roll"


def test_dynamics_segno_and_jumps_are_directions(arranged):
    score = score_of(from_abc("!segno!!mf!D2 E2 F2 | !fine!D6 | E6 !D.S.! |]", arranged))
    assert score.find(".//direction-type/dynamics/mf") is not None
    assert score.find(".//direction-type/segno") is not None
    sounds = [sound.attrib for sound in score.findall(".//direction/sound")]
    assert sounds == [{"segno": "segno"}, {"fine": "yes"}, {"dalsegno": "segno"}]


def test_words_over_and_under_the_staff_keep_their_side(make_tune, arranged):
    tune = make_tune("D4/4 E4/2")
    place = SourcePlace("made.abc", 1, 1)
    words = (Annotation(place, "gently", "_"), Annotation(place, "2nd time", "^"))
    bar = tune.bars[0]
    first = replace(bar.notes[0], annotations=words)
    tune = replace(tune, bars=(replace(bar, notes=(first, *bar.notes[1:])),))
    score = score_of(arranged(tune))
    directions = [d for d in score.findall(".//direction") if d.find(".//words") is not None]
    found = [(d.get("placement"), d.findtext(".//words")) for d in directions]
    assert found == [("below", "gently"), ("above", "2nd time")]


def test_words_under_the_notes_are_lyrics(make_tune, arranged):
    tune = make_tune("D4/4 E4/4 F#4/4")
    verse = (Syllable("Kol", is_joined=True), Syllable("mi", is_joined=True), Syllable("lan"))
    bar = tune.bars[0]
    notes = tuple(
        replace(note, syllables=(syllable, Syllable("la", is_extended=True)))
        for note, syllable in zip(bar.notes, verse, strict=True)
    )
    score = score_of(arranged(replace(tune, bars=(replace(bar, notes=notes),))))
    first = score.findall(".//lyric[@number='1']")
    assert [x.findtext("syllabic") for x in first] == ["begin", "middle", "end"]
    assert [x.findtext("text") for x in first] == ["Kol", "mi", "lan"]
    assert len(score.findall(".//lyric[@number='2']/extend")) == 3


def test_chord_that_changes_under_a_long_note_carries_an_offset(make_tune, arranged, make_chord):
    chords = (
        ChordSpan(0, Fraction(0), Fraction(1, 4), make_chord("D")),
        ChordSpan(0, Fraction(1, 4), Fraction(1, 2), make_chord("F#m7"), "solved"),
    )
    score = score_of(arranged(make_tune("D4*3/4"), chords=chords))
    assert texts(score, ".//root/root-step") == ["D", "F"]
    assert texts(score, ".//root/root-alter") == ["1"]
    assert texts(score, ".//harmony/kind") == ["major", "minor-seventh"]
    divisions = int(score.findtext(".//divisions"))
    assert [int(text) for text in texts(score, ".//harmony/offset")] == [divisions]


def test_proposed_chords_are_told_from_the_tunes_own(make_tune, arranged, make_chord):
    chords = [
        ChordSpan(0, Fraction(0), Fraction(1, 4), make_chord("D")),
        ChordSpan(0, Fraction(1, 4), Fraction(1, 4), make_chord("F#m7"), "solved", 0.4321),
        ChordSpan(0, Fraction(1, 2), Fraction(1, 4), make_chord("D/F#"), "solved", 0.9),
    ]
    score = score_of(arranged(make_tune("D4/2 E4/4"), chords=tuple(chords)))
    marks = [one.get("id") for one in score.findall(".//harmony")]
    assert marks == [None, "solved-0.432-2-Fsm7", "solved-0.9-3-D_Fs"]
    assert [likely_of(marks[1], name) for name in ("F#m7", "F#m")] == ["0.432", ""]
    assert likely_of("solved-2.5-x-D", "D") == likely_of("", "D") == ""


@pytest.mark.parametrize(
    ("symbol", "kind", "degrees"),
    [
        ("A7", "dominant", ()),
        ("Dm7b5", "half-diminished", ()),
        ("Ddim7", "diminished-seventh", ()),
        ("Dmaj7", "major-seventh", ()),
        ("Dsus4", "suspended-fourth", ()),
        ("A7sus4", "suspended-fourth", ((7, 0, "add"),)),
        ("Dadd9", "major", ((9, 0, "add"),)),
        ("D7b9", "dominant", ((9, -1, "add"),)),
        ("D5", "power", ()),
        ("Daug", "augmented", ()),
        ("Dm6", "minor-sixth", ()),
    ],
)
def test_chord_symbol_has_its_kind(symbol, kind, degrees):
    chord = read_chord_symbol(symbol, SourcePlace("made.abc", 1, 1))
    assert kind_of(chord) == (kind, degrees)


def test_chord_over_a_bass_keeps_both(make_tune, arranged):
    chord = read_chord_symbol("D7/F#", SourcePlace("made.abc", 1, 1))
    span = ChordSpan(0, Fraction(0), Fraction(3, 4), chord)
    score = score_of(arranged(make_tune("D4*3/4"), chords=(span,)))
    assert score.findtext(".//bass/bass-step") == "F"
    assert score.findtext(".//bass/bass-alter") == "1"
    assert score.find(".//kind").get("text") == "7"


def test_drone_is_a_second_part_tied_over_bars_and_fingers(make_tune, arranged):
    bar = Fraction(3, 4)
    drone = (
        DroneSpan(Fraction(0), bar + bar / 3, Stop(57, 2, 2, 1)),
        DroneSpan(bar + bar / 3, bar / 3, Stop(57, 2, 2, 2), is_taken_over=True),
    )
    score = score_of(arranged(make_tune("D4*3/4", "E4*3/4"), drone=drone))
    part = score.find("part[@id='P2']")
    assert texts(score, "part-list/score-part/part-name") == ["Melody", "Drone"]
    ties = [[t.get("type") for t in note.findall("tie")] for note in part.iter("note")]
    assert ties == [["start"], ["stop", "start"], ["stop"], []]
    assert texts(part, ".//fingering") == ["1", "2"]
    assert texts(part, ".//note/pitch/step") == ["A", "A", "A"]


def test_tune_without_a_drone_has_one_part(make_tune, arranged):
    assert len(score_of(arranged(make_tune("D4*3/4"))).findall("part")) == 1


def test_order_of_parts_stands_as_words_and_letters_mark_the_parts(arranged):
    head = "P:ABA\nM:3/4\nL:1/8\nK:D"
    score = score_of(from_abc("P:A\nD6 ||\nP:B\nE6 |]", arranged, head))
    assert score.findtext(".//direction/direction-type/words") == "ABA"
    assert texts(score, ".//rehearsal") == ["A", "B"]


def test_second_voice_is_a_part_without_fingers(make_tune, arranged):
    tune = make_tune("D4*3/4", "E4*3/4")
    bars = make_tune("B3*3/4", "C4*3/4").bars
    second = Voice(place=bars[0].place, id="2", name="Second voice", bars=bars)
    score = score_of(arranged(replace(tune, voices=(second,))))
    assert texts(score, "part-list/score-part/part-name") == ["Melody", "Second voice"]
    part = score.find("part[@id='P2']")
    assert texts(part, ".//pitch/step") == ["B", "C"]
    assert part.find(".//technical") is None


def test_other_titles_and_sources_are_kept(arranged):
    head = "T:Second name\nC:Nobody\nR:polska\nS:a <book>\nM:3/4\nL:1/8\nK:D"
    score = score_of(from_abc("D6 |]", arranged, head))
    assert score.findtext("work/work-title") == "Made"
    assert score.findtext("movement-title") == "Second name"
    assert score.findtext("identification/creator") == "Nobody"
    fields = score.findall(".//miscellaneous-field")
    assert [(f.get("name"), f.text) for f in fields] == [
        ("rhythm", "polska"),
        ("source", "a <book>"),
    ]


def test_change_of_tempo_within_the_tune_is_shown_where_it_happens(make_tune, arranged):
    tune = make_tune("D4*3/4", "E4*3/4")
    slower = replace(tune.bars[1], tempo=Tempo(Fraction(1, 4), 60.0))
    tune = replace(tune, bars=(tune.bars[0], slower))
    score = score_of(arranged(tune, whole_notes_per_second=0.25))  # half the tune's own 120
    measures = score.findall("part[@id='P1']/measure")
    assert [texts(m, ".//per-minute") for m in measures] == [["60"], ["30"]]


def test_lines_of_the_source_are_new_systems(arranged):
    score = score_of(from_abc("D6 | E6 |\nF6 | G6 |]", arranged))
    measures = score.findall("part[@id='P1']/measure")
    assert [m.find("print") is not None for m in measures] == [False, False, True, False]


def test_markup_in_titles_is_text(make_tune, arranged):
    nasty = '<script>&amp; "]]>" \x00\x0b\ud800'
    text = tune_as_musicxml(arranged(make_tune("D4/4", titles=(nasty,), composer=nasty)))
    score = ElementTree.fromstring(text.encode("utf-8"))
    assert score.findtext(".//work-title") == '<script>&amp; "]]>"  '
    assert score.find(".//script") is None


def test_same_arrangement_gives_the_same_text(arranged):
    arrangement = from_abc("|: D2 (3EFG A2 | ~B4 z2 :|", arranged)
    assert tune_as_musicxml(arrangement) == tune_as_musicxml(arrangement)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_music21_reads_back_the_same_notes_fingers_and_strings(path, arranged):
    from music21 import articulations, converter

    for tune in read_abc(path.read_text(encoding="utf-8"), path.name):
        arrangement = arranged(tune)
        part = converter.parseData(tune_as_musicxml(arrangement), format="musicxml").parts[0]
        found, expected = [], []
        for note in part.recurse().notes:
            marks = {type(mark): mark for mark in note.articulations}
            finger = marks.get(articulations.Fingering)
            string = marks.get(articulations.StringIndication)
            length = Fraction(note.quarterLength).limit_denominator(10_000) / 4
            fingered = (finger and int(finger.fingerNumber), string and string.number)
            found.append((sorted(p.midi for p in note.pitches), length, *fingered))
        for fingered in arrangement.notes:
            note, last = fingered.note, fingered.stops[-1]
            length = 0 if note.is_grace else note.duration
            shown = not any(note.is_tied_from_before)
            expected.append((sorted(p.midi for p in note.pitches), length,
                             last.finger if shown else None,
                             5 - last.string_index if shown else None))  # fmt: skip
        assert found == expected, tune.title


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_music21_plays_repeats_in_the_same_order(path, arranged):
    from music21 import converter

    for tune in read_abc(path.read_text(encoding="utf-8"), path.name):
        text = tune_as_musicxml(arranged(tune))
        part = converter.parseData(text, format="musicxml").parts[0]
        if tune.part_order or part.recurse().getElementsByClass("RepeatExpression"):
            continue  # the other program knows no part order, and repeats again after D.C.
        found = [[p.midi for p in note.pitches] for note in part.expandRepeats().recurse().notes]
        heard = [note for index in tune.played for note in tune.bars[index].notes]
        assert found == [[p.midi for p in note.pitches] for note in heard if note.pitches]


@pytest.mark.parametrize("symbol", ["D", "F#m", "Bb7", "Edim", "Gmaj7", "Am7", "Caug", "Asus4"])
def test_music21_reads_back_the_same_chord(make_tune, arranged, symbol):
    from music21 import converter, harmony

    chord = read_chord_symbol(symbol, SourcePlace("made.abc", 1, 1))
    span = ChordSpan(0, Fraction(0), Fraction(3, 4), chord)
    text = tune_as_musicxml(arranged(make_tune("D4*3/4"), chords=(span,)))
    score = converter.parseData(text, format="musicxml")
    (found,) = score.recurse().getElementsByClass(harmony.ChordSymbol)
    assert found.root().pitchClass == chord.root_class
    kind = kind_of(chord)[0]
    assert found.chordKind in (kind, harmony.CHORD_ALIASES.get(kind))


def test_key_without_mode_is_written(make_tune, arranged):
    key = Key(0, 0, "none", 0)
    assert score_of(arranged(make_tune("D4/4", key=key))).findtext(".//mode") == "none"


def test_clef_of_the_tune_goes_before_that_of_the_instrument(arranged):
    score = score_of(from_abc("D2E2F2|[K:clef=treble-8]D2E2F2|", arranged, "M:3/4\nK:D clef=bass"))
    assert texts(score, ".//part[1]//clef/sign") == ["F", "G"]
    assert texts(score, ".//part[1]//clef/line") == ["4", "2"]
    assert texts(score, ".//part[1]//clef/clef-octave-change") == ["-1"]


def test_signs_at_a_bar_line_are_not_lost(arranged):
    music = "!trill(!D2E2!trill)!F2!segno!|D2E2F2H|D2E2F2!sff!!dacoda!|D2E2F2!coda!|"
    score = score_of(from_abc(music, arranged))
    first, second, third, fourth = score.findall("part[1]/measure")
    assert first.find(".//segno") is not None and fourth.find(".//coda") is not None
    assert second.find("barline/fermata") is not None
    assert texts(third, ".//other-dynamics") == ["sff"]
    assert texts(third, ".//direction-type/words") == ["Da Coda"]
    wavy = first.findall(".//wavy-line")
    assert [line.get("type") for line in wavy] == ["start", "stop"]


def test_repeat_that_goes_back_to_a_double_bar_says_so(arranged):
    score = score_of(from_abc("D6 || E6 | F6 :|", arranged))
    left = [one.find("barline[@location='left']/repeat") for one in score.findall("part/measure")]
    assert [one is not None for one in left] == [False, True, False]
    jump = score_of(from_abc('D6 | !segno! E6 :| F6 "D.S."G6 :|', arranged))
    assert jump.find(".//repeat[@direction='forward']") is None
    plain = score_of(from_abc("D6 :| E6 :|", arranged))
    assert plain.find(".//repeat[@direction='forward']") is None
