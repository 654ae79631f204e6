"""Source: The ABC Music Standard 2.1 (December 2011), its examples by section.

Each test names the section. The examples are given from memory of the text, in our own words
where they are shortened.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from tunebook.model.tune import Note, Tune
from tunebook.model.voices import voice_as_tune
from tunebook.read.abc.tune import read_abc


def read(
    music: str, *, key: str = "C", meter: str = "4/4", unit: str = "1/8", more: str = ""
) -> Tune:
    """One tune with the given music."""
    return read_abc(f"X:1\nT:t\nM:{meter}\nL:{unit}\n{more}K:{key}\n{music}\n")[0]


def notes_of(tune: Tune) -> list[Note]:
    return [note for bar in tune.bars for note in bar.notes]


def heard(tune: Tune) -> str:
    """Names and lengths of all notes but grace notes, "z" for a rest."""
    return " ".join(
        ("+".join(pitch.name for pitch in note.pitches) or "z") + f":{note.duration}"
        for note in notes_of(tune)
        if not note.is_grace
    )


def same(first: str, second: str, **settings: str) -> bool:
    return heard(read(first, **settings)) == heard(read(second, **settings))


def names(music: str, key: str = "C") -> list[str]:
    return [pitch.name for note in notes_of(read(music, key=key)) for pitch in note.pitches]


# 2.2 and 3.1: files and fields


def test_2_2_tunes_are_parted_by_empty_lines() -> None:
    tunes = read_abc("X:1\nT:a\nK:C\nCDEF|\n\nX:2\nT:b\nK:C\nGABc|\n")
    assert [tune.number for tune in tunes] == ["1", "2"]


def test_2_2_3_file_header_sets_defaults_for_every_tune() -> None:
    tunes = read_abc("M:3/4\nL:1/4\nR:waltz\n\nX:1\nT:a\nK:C\nCDE|\n\nX:2\nR:polska\nK:C\nC|\n")
    assert [tune.meter.sign for tune in tunes] == ["3/4", "3/4"]
    assert tunes[0].unit_length == Fraction(1, 4)
    assert [tune.rhythm for tune in tunes] == ["waltz", "polska"]


@pytest.mark.parametrize(
    ("meter", "expected"),
    [
        ("2/4", "1/16"),
        ("3/4", "1/8"),
        ("4/4", "1/8"),
        ("6/8", "1/8"),
        ("5/8", "1/16"),
        ("C", "1/8"),
    ],
)
def test_3_1_7_default_unit_length_follows_the_metre(meter: str, expected: str) -> None:
    tune = read_abc(f"X:1\nM:{meter}\nK:C\nC|\n")[0]
    assert tune.unit_length == Fraction(expected)


def test_3_1_7_free_metre_has_eighths() -> None:
    assert read_abc("X:1\nM:none\nK:C\nC|\n")[0].unit_length == Fraction(1, 8)
    assert read_abc("X:1\nK:C\nC|\n")[0].unit_length == Fraction(1, 8)


def test_3_1_7_change_of_metre_leaves_the_unit_length() -> None:
    tune = read_abc("X:1\nM:4/4\nK:C\nC8|[M:2/4]C4|\n")[0]
    assert heard(tune) == "C4:1 C4:1/2"


@pytest.mark.parametrize(
    ("text", "beats", "unit"),
    [("6/8", 6, 8), ("C", 4, 4), ("C|", 2, 2), ("(2+3+2)/8", 7, 8), ("2+2+3/8", 7, 8)],
)
def test_3_1_6_metres(text: str, beats: int, unit: int) -> None:
    meter = read("C|", meter=text).meter
    assert (meter.beats, meter.unit) == (beats, unit)


def test_3_1_6_complex_metre_keeps_its_groups() -> None:
    assert read("C|", meter="(2+3+2)/8").meter.groups == (2, 3, 2)


@pytest.mark.parametrize(
    ("text", "beat", "number", "words"),
    [
        ("1/4=120", "1/4", 120, ""),
        ("3/8=50", "3/8", 50, ""),
        ("1/4 3/8 1/4 3/8=40", "5/4", 40, ""),
        ('"Allegro" 1/4=120', "1/4", 120, "Allegro"),
        ('3/8=50 "Slowly"', "3/8", 50, "Slowly"),
        ('"Andante"', "0", 0, "Andante"),
        ("120", "1/8", 120, ""),
        ("C=120", "1/8", 120, ""),
        ("C3=40", "3/8", 40, ""),
    ],
)
def test_3_1_8_tempo(text: str, beat: str, number: float, words: str) -> None:
    tempo = read("C|", more=f"Q:{text}\n").tempo
    assert tempo is not None
    assert (tempo.beat, tempo.per_minute, tempo.text) == (Fraction(beat), number, words)


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ("ABAB", "ABAB"),
        ("A3B", "AAAB"),
        ("(AB)3C", "ABABABC"),
        ("A.B.A", "ABA"),
        ("((AB)3.(CD)3)2", "ABABABCDCDCDABABABCDCDCD"),
    ],
)
def test_3_1_9_order_of_parts(order: str, expected: str) -> None:
    body = "P:A\nC|\nP:B\nD|\nP:C\nE|\nP:D\nF|"
    tune = read(body, meter="1/8", more=f"P:{order}\n")
    assert "".join("ABCD"[index] for index in tune.played) == expected


MODE_TABLE = """
7 C# A#m G#Mix D#Dor E#Phr F#Lyd B#Loc
6 F# D#m C#Mix G#Dor A#Phr BLyd E#Loc
5 B G#m F#Mix C#Dor D#Phr ELyd A#Loc
4 E C#m BMix F#Dor G#Phr ALyd D#Loc
3 A F#m EMix BDor C#Phr DLyd G#Loc
2 D Bm AMix EDor F#Phr GLyd C#Loc
1 G Em DMix ADor BPhr CLyd F#Loc
0 C Am GMix DDor EPhr FLyd BLoc
-1 F Dm CMix GDor APhr BbLyd ELoc
-2 Bb Gm FMix CDor DPhr EbLyd ALoc
-3 Eb Cm BbMix FDor GPhr AbLyd DLoc
-4 Ab Fm EbMix BbDor CPhr DbLyd GLoc
-5 Db Bbm AbMix EbDor FPhr GbLyd CLoc
-6 Gb Ebm DbMix AbDor BbPhr CbLyd FLoc
-7 Cb Abm GbMix DbDor EbPhr FbLyd BbLoc
"""


def test_3_1_14_signature_of_every_key_and_mode() -> None:
    for fifths, *names in map(str.split, MODE_TABLE.strip().splitlines()):
        for name in names:
            key = read("C|", key=name).key
            assert key.fifths == sum(key.alters) == int(fifths), name


@pytest.mark.parametrize(
    "text",
    ["A MIXOLYDIAN", "A Mixolydian", "A mix", "AMix", "A MixTypo", "A mixolydian clef=treble"],
)
def test_3_1_14_only_the_first_three_letters_of_a_mode_count(text: str) -> None:
    assert read("C|", key=text).key.mode == "mixolydian"


@pytest.mark.parametrize(
    ("text", "alters"),
    [
        ("D Phr ^f", {"B": -1, "E": -1, "F": 1}),
        ("D maj =c", {"F": 1}),
        ("D =c", {"F": 1}),
        ("D exp _b _e ^f", {"B": -1, "E": -1, "F": 1}),
        ("HP", {"F": 1, "C": 1}),
        ("Hp", {"F": 1, "C": 1}),
        ("none", {}),
        ("", {}),
        ("C", {}),
    ],
)
def test_3_1_14_accidentals_of_a_signature(text: str, alters: dict[str, int]) -> None:
    key = read("C|", key=text).key
    assert {"CDEFGAB"[step]: alter for step, alter in enumerate(key.alters) if alter} == alters


def test_3_2_fields_may_change_in_the_middle_of_a_tune() -> None:
    assert names("F|[K:D]F|\nK:F\nB|") == ["F4", "F#4", "Bb4"]


# 4.1 to 4.3: pitches, accidentals, lengths


def test_4_1_octaves() -> None:
    expected = ["C3", "B3", "C4", "B4", "C5", "B5", "C6", "B6"]
    assert names("C, B, C B c b c' b'") == expected
    assert names("C,, c'' C,' C',") == ["C2", "C7", "C4", "C4"]


def test_4_2_accidentals() -> None:
    assert names("^F|_B|=F|^^G|__A") == ["F#4", "Bb4", "F4", "G##4", "Abb4"]


def test_4_2_accidental_holds_to_the_end_of_the_bar() -> None:
    assert names("^F F f|F") == ["F#4", "F#4", "F#5", "F4"]


@pytest.mark.parametrize(
    ("text", "length"),
    [
        ("A", "1/8"),
        ("A2", "1/4"),
        ("A/2", "1/16"),
        ("A/", "1/16"),
        ("A3/2", "3/16"),
        ("A//", "1/32"),
        ("A/4", "1/32"),
        ("A3/", "3/16"),
        ("A16", "2"),
        ("A7/4", "7/32"),
    ],
)
def test_4_3_note_lengths(text: str, length: str) -> None:
    assert notes_of(read(text))[0].duration == Fraction(length)


# 4.4 broken rhythm


def test_4_4_broken_rhythm_is_dotted_and_halved() -> None:
    assert same("a>b c<d", "a3/2b1/2 c1/2d3/2")


def test_4_4_three_ways_to_write_the_same_hornpipe_bar() -> None:
    sixteenths = heard(read("a3b cd3 a2b4c2", unit="1/16"))
    assert sixteenths == heard(read("a3/2b/2 c/2d3/2 ab2c"))
    assert sixteenths == heard(read("a>b c<d ab2c"))


def test_4_4_more_signs_dot_twice_and_three_times() -> None:
    assert same("a>>b c<<d", "a7/4b/4 c/4d7/4")
    assert same("a>>>b", "a15/8b/8")


def test_4_4_broken_rhythm_reaches_over_spaces_chords_and_grace_notes() -> None:
    assert same("A > B", "A>B")
    assert same("A>{c}B", "A>B")
    assert same("[CE]>[DF]", "[CE]3/2[DF]/2")
    assert same("z>A", "z3/2A/2")


# 4.5 to 4.7 rests, clefs, beams


def test_4_5_rests() -> None:
    notes = notes_of(read("z2 x2 z4 C"))[:3]
    assert [note.is_rest for note in notes] == [True, True, True]
    assert [note.is_invisible for note in notes] == [False, True, False]


def test_4_5_multiple_bar_rests() -> None:
    assert same("Z4|CDEF|", "z4|z4|z4|z4|CDEF|", meter="2/4")
    assert len(read("Z4|CDEF|", meter="2/4").bars) == 5
    assert [n.is_invisible for n in notes_of(read("X2|C4|", meter="2/4"))] == [True, True, False]


def test_4_6_octave_shifts_the_notes() -> None:
    assert names("c", key="C octave=-1") == ["C4"]
    assert names("c", key="C treble-8") == ["C4"]
    assert names("c", key="C clef=treble+8") == ["C6"]
    assert names("c", key="C clef=bass") == ["C5"]


def test_4_6_transpose_concerns_playback_only() -> None:
    tune = read("c|", key="C transpose=-2")
    assert names("c", key="C transpose=-2") == ["C5"]
    assert any("transpose" in message.what for message in tune.messages)


def test_4_7_notes_without_space_are_beamed() -> None:
    assert [note.is_joined for note in notes_of(read("A2BC DE"))] == [
        True,
        True,
        False,
        True,
        False,
    ]


def test_4_7_backticks_are_for_legibility_only() -> None:
    joined = [note.is_joined for note in notes_of(read("A2``B``C"))]
    assert joined == [note.is_joined for note in notes_of(read("A2BC"))]
    assert same("A2``B``C", "A2BC")


# 4.8 to 4.10: bar signs, repeats, endings


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        ("|", "|"),
        ("||", "||"),
        ("[|", "[|"),
        ("|]", "|]"),
        ("|:", "|:"),
        (":|", ":|"),
        ("::", "::"),
        (":|:", "::"),
        (":||:", "::"),
        (".|", ".|"),
        ("|[|", "||"),
        ("[|:", "|:"),
        (":|]", ":|"),
        ("|::", "|:"),
        ("::|", ":|"),
        ("|||", "||"),
    ],
)
def test_4_8_bar_signs(text: str, sign: str) -> None:
    assert read(f"CDEF GABc {text} CDEF GABc |").bars[0].sign_after == sign


def test_4_8_signs_may_ask_for_more_than_two_passes() -> None:
    assert read("|::C8::|D8|").played == (0, 0, 0, 1)


def test_4_8_invisible_bar_line_parts_bars() -> None:
    assert [bar.sign_after for bar in read("C8[|]D8|").bars] == ["", "|"]


@pytest.mark.parametrize(
    "music",
    ["C8|[1 D8:|[2 E8|]", "C8|1 D8:|2 E8|]", "|:C8|1 D8:|[2 E8||", "|: C8 [1 D8 :| [2 E8 |]"],
)
def test_4_9_first_and_second_endings(music: str) -> None:
    tune = read(music)
    assert tune.played == (0, 1, 0, 2)
    assert [bar.ending for bar in tune.bars] == [(), (1,), (2,)]
    assert [bar.ends_ending for bar in tune.bars] == [False, True, True]


def test_4_10_variant_endings() -> None:
    tune = read("|:C8|[1,3 D8:|[2 E8:|[4 F8|]")
    assert tune.played == (0, 1, 0, 2, 0, 1, 0, 3)
    assert read("|:C8|[1-3 D8:|[4 F8|]").played == (0, 1, 0, 1, 0, 1, 0, 2)


# 4.11 ties and slurs


def test_4_11_ties_join_notes_of_one_pitch() -> None:
    notes = notes_of(read("c4-c4|abc-|cba"))
    assert [note.ties[0] for note in notes[:2]] == [True, False]
    assert [note.is_tied_from_before[0] for note in notes[:2]] == [False, True]
    assert notes[4].ties == (True,)
    assert notes[5].is_tied_from_before == (True,)


def test_4_11_slurs_may_nest_and_touch() -> None:
    nested = notes_of(read("(c (d e f) g a)"))
    assert [note.slurs_opened for note in nested] == [1, 1, 0, 0, 0, 0]
    assert [note.slurs_closed for note in nested] == [0, 0, 0, 1, 0, 1]
    touching = notes_of(read("(c d (e) f g a)"))
    assert (touching[2].slurs_opened, touching[2].slurs_closed) == (1, 1)


def test_4_11_dotted_slurs_and_ties_are_read_as_such() -> None:
    assert same(".(cde) c.-c", "(cde) c-c")


# 4.12 grace notes


def test_4_12_grace_notes_take_no_time_in_the_bar() -> None:
    assert same("{g}A3 A{g}A {gAGAG}A3", "A3 AA A3")
    grace = [note for note in notes_of(read("{a3/2b/}c")) if note.is_grace]
    assert [note.written for note in grace] == [Fraction(3, 16), Fraction(1, 16)]


def test_4_12_acciaccatura_has_a_slash() -> None:
    grace = notes_of(read("{/g}C {gab}C"))
    assert [note.is_slashed_grace for note in grace] == [True, False, False, False, False, False]


def test_4_12_tuplets_do_not_count_grace_notes() -> None:
    assert same("(3{a}bcd e2", "(3bcd e2")


# 4.13 tuplets


@pytest.mark.parametrize(
    ("text", "meter", "q"),
    [
        ("(2ab", "6/8", 3),
        ("(3abc", "4/4", 2),
        ("(4abcd", "6/8", 3),
        ("(5abcde", "4/4", 2),
        ("(5abcde", "6/8", 3),
        ("(6abcdef", "4/4", 2),
        ("(7abcdefg", "3/4", 2),
        ("(7abcdefg", "9/8", 3),
        ("(8abcdefga", "4/4", 3),
        ("(9abcdefgab", "12/8", 3),
    ],
)
def test_4_13_tuplets_and_their_time(text: str, meter: str, q: int) -> None:
    notes = notes_of(read(text, meter=meter))
    p = int(text[1])
    assert all(note.duration == Fraction(1, 8) * Fraction(q, p) for note in notes)
    assert all(note.tuplet is not None and note.tuplet.size == p for note in notes)


def test_4_13_all_three_numbers() -> None:
    assert heard(read("(3:2:2 G4c2")) == "G4:1/3 C5:1/6"
    assert same("(3:2:2 G4c2", "(3::2 G4c2")
    assert same("(3:2abc", "(3abc")
    assert heard(read("(3:2:4 G2A2Bc")) == "G4:1/6 A4:1/6 B4:1/12 C5:1/12"


def test_4_13_broken_rhythm_inside_a_tuplet() -> None:
    assert heard(read("(3a>bc")) == "A5:1/8 B5:1/24 C5:1/12"


# 4.14 to 4.19 what stands at notes


def test_4_14_decorations() -> None:
    first = notes_of(read("!trill!c !upbow!!fermata!d .e ~f Tg ua vb"))
    assert [note.decorations for note in first] == [
        ("trill",),
        ("upbow", "fermata"),
        ("staccato",),
        ("roll",),
        ("trill",),
        ("upbow",),
        ("downbow",),
    ]


def test_4_14_default_symbols() -> None:
    decorations = [note.decorations for note in notes_of(read("Hc Lc Mc Oc Pc Sc"))]
    names = ["fermata", "accent", "lowermordent", "coda", "uppermordent", "segno"]
    assert decorations == [(name,) for name in names]


def test_4_15_symbol_line() -> None:
    tune = read('CDEF|G4|\ns: "^slow" | !f! ** !fff!\n', meter="2/4")
    assert notes_of(tune)[0].annotations[0].text == "slow"
    assert [note.decorations for note in notes_of(tune)] == [(), (), (), (), ("f",)]


def test_4_16_symbols_can_be_redefined() -> None:
    tune = read("Tc Wd\n", more='U:T = !upbow!\nU:W = "^here"\n')
    assert notes_of(tune)[0].decorations == ("upbow",)
    assert notes_of(tune)[1].annotations[0].text == "here"


def test_4_17_chords() -> None:
    assert heard(read("[CEGc]2 [C2G2]")) == "C4+E4+G4+C5:1/4 C4+G4:1/4"
    assert same("[C2E2G2]3", "[CEG]6")
    assert same("[CEG]/", "[C/E/G/]")
    assert same("[C2E3]", "[CE]2")


def test_4_17_ties_of_chord_tones() -> None:
    notes = notes_of(read("[C-E]2 [CG]2 | [CE]2-[CE]2"))
    assert notes[0].ties == (True, False)
    assert notes[1].is_tied_from_before == (True, False)
    assert notes[2].ties == (True, True)


def test_4_18_chord_symbols() -> None:
    tune = read('"Gm7"c "A7/G"d "Bb"e "C/E"f')
    assert [note.chord and note.chord.symbol for note in notes_of(tune)] == [
        "Gm7",
        "A7/G",
        "Bb",
        "C/E",
    ]


def test_4_19_annotations_keep_their_place() -> None:
    notes = notes_of(read('"^above"c "_below"d "<left"e ">right"f "@5,-5 free"g'))
    marks = [(note.annotations[0].placement, note.annotations[0].text) for note in notes]
    assert marks == [("^", "above"), ("_", "below"), ("<", "left"), (">", "right"), ("@", "free")]


def test_4_20_order_of_constructs() -> None:
    note = notes_of(read('("Gm7"{ag}v.=G,2>A2)'))[2]
    assert note.pitches[0].name == "G3"
    assert note.decorations == ("downbow", "staccato")
    assert note.chord is not None and note.chord.symbol == "Gm7"
    assert note.slurs_opened == 1


# 5 to 7: words, lines, voices


def syllables(music: str, words: str) -> list[str | None]:
    tune = read(f"{music}\n{words}\n", meter="3/4")
    return [
        note.syllables[0].text if note.syllables and note.syllables[0] else None
        for note in notes_of(tune)
    ]


def test_5_1_words_are_aligned_with_notes() -> None:
    assert syllables("C D E F|", "w: syll-a-ble is") == ["syll", "a", "ble", "is"]
    assert syllables("C D E F|", "w: time__ flies") == ["time", None, None, "flies"]
    assert syllables("C D E|F G A|", "w: one | two") == ["one", None, None, "two", None, None]
    assert syllables("C D E F|", "w: of~the day\\-long * x") == ["of the", "day-long", None, "x"]
    assert syllables("C D E F|", "w: a-- b c") == ["a", None, "b", "c"]


def test_5_1_rests_take_no_words() -> None:
    assert syllables("C z D|", "w: one two") == ["one", None, "two"]


def test_5_2_words_below_the_tune_are_kept() -> None:
    assert read("C|\nW:first line\nW:second line").words == ("first line", "second line")


def test_6_1_1_backslash_continues_a_line_of_music() -> None:
    tune = read("C8|\\\nD8|\nE8|")
    assert [bar.breaks_line_after for bar in tune.bars] == [False, True, True]


def test_6_1_1_a_field_between_continued_lines_is_read() -> None:
    assert names("F|\\\nK:D\nF|") == ["F4", "F#4"]


def test_6_1_2_line_break_sign() -> None:
    tune = read("C8|D8|$E8|\nF8|", more="I:linebreak $\n")
    assert [bar.breaks_line_after for bar in tune.bars] == [False, True, False, False]


def test_7_first_voice_is_the_melody_and_the_others_stand_beside_it() -> None:
    tune = read("V:1\nC8|\nV:2\nE8|\nV:1\nD8|\n[V:2]F8|")
    assert heard(tune) == "C4:1 D4:1"
    assert [heard(voice_as_tune(tune, voice)) for voice in tune.voices] == ["E4:1 F4:1"]
    assert not tune.messages


def test_7_4_overlay_is_a_voice_of_its_bars() -> None:
    tune = read("C4 D4 & E8 | F8|")
    assert heard(tune) == "C4:1/2 D4:1/2 F4:1"
    (overlay,) = tune.voices
    assert heard(voice_as_tune(tune, overlay)) == "E4:1 z:1"
    assert not tune.messages


# 8 to 11: text, macros, older syntax, directives


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (r"Caf\'e", "Café"),
        ("Caf&eacute;", "Café"),
        (r"Caf\u00e9", "Café"),
        (r"\AAsa l\aat", "Åsa låt"),
        (r"Sm\"orb\"ar", "Smörbär"),
        (r"100\% wool", "100% wool"),
        ("A $1bold$0 word", "A bold word"),
        ("Tom &amp; Co", "Tom & Co"),
    ],
)
def test_8_2_letters_beyond_the_keyboard(text: str, expected: str) -> None:
    assert read_abc(f"X:1\nT:{text}\nK:C\nC|")[0].title == expected


def test_9_static_macro() -> None:
    assert same("~G3 A", "G{A}G{F}G A", more="m: ~G3 = G{A}G{F}G\n")


def test_9_transposing_macro() -> None:
    tune = read("~a3", more="m: ~n3 = n{o}n{m}n\n")
    assert [note.pitches[0].name for note in notes_of(tune)] == ["A5", "B5", "A5", "G5", "A5"]


def test_10_older_chords_and_decorations() -> None:
    assert same("+CEG+2", "[CEG]2")
    assert notes_of(read("+trill+C"))[0].decorations == ("trill",)
    assert notes_of(read("+f+C", more="I:decoration +\n"))[0].decorations == ("f",)


def test_10_exclamation_mark_of_older_files_breaks_the_line() -> None:
    assert [bar.breaks_line_after for bar in read("C8|!D8|!\nE8|").bars] == [True, True, True]


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("not", ["F#4", "F4", "F5"]),
        ("octave", ["F#4", "F#4", "F5"]),
        ("pitch", ["F#4", "F#4", "F#5"]),
    ],
)
def test_11_3_propagation_of_accidentals(rule: str, expected: list[str]) -> None:
    tune = read("^FFf|", more=f"I:propagate-accidentals {rule}\n")
    assert [note.pitches[0].name for note in notes_of(tune)] == expected
    tune = read("^FFf|", more=f"%%propagate-accidentals {rule}\n")
    assert [note.pitches[0].name for note in notes_of(tune)] == expected
