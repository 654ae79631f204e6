"""What stands in a score stands in the tune. Source of what its elements mean: MusicXML 4.0 (W3C
Music Notation Community Group, 2021)."""

from __future__ import annotations

from fractions import Fraction

import pytest
from score_writing import (
    BACKWARD,
    FORWARD,
    START,
    barline,
    direction,
    measure,
    note,
    packed,
    read,
    read_one,
    score,
    tones,
)

from tunebook.model.tune import Note, Tune


def notes_of(tune: Tune) -> list[Note]:
    return [one for bar in tune.bars for one in bar.notes]


def decorations(tune: Tune) -> list[tuple[str, ...]]:
    return [one.decorations for one in notes_of(tune)]


FULL = note("D5", 12)


def test_facts_of_the_head_are_the_tunes() -> None:
    head = (
        "<work><work-title>Lilla Lisa &amp; 100 % till</work-title></work>"
        "<movement-title>Även: Storpolskan</movement-title>"
        '<identification><creator type="composer">Lina på Myra</creator>'
        '<creator type="lyricist">Ottil</creator><miscellaneous>'
        '<miscellaneous-field name="rhythm">polska</miscellaneous-field>'
        "</miscellaneous></identification>"
    )
    (tune,) = read(score(measure(1, START, FULL), head=head))
    assert tune.titles == ("Lilla Lisa & 100 % till", "Även: Storpolskan")
    assert (tune.composer, tune.rhythm) == ("Lina på Myra", "polska")
    assert tune.field("N") == ("lyricist: Ottil",)
    assert (tune.key.name, tune.meter.sign) == ("D major", "3/4")


def test_title_comes_from_the_page_or_the_file_where_no_other_is() -> None:
    credit = (
        '<credit page="1"><credit-words font-size="10">Uppt. 1901</credit-words></credit>'
        '<credit page="1"><credit-words font-size="22">Ottils vals</credit-words></credit>'
    )
    assert read(score(measure(1, START, FULL), head=credit))[0].title == "Ottils vals"
    assert read(score(measure(1, START, FULL), head=""))[0].title == "lisa"


def test_pickup_lengths_dots_and_rests() -> None:
    tune = read_one(
        measure(0, START, note("A4", 4), implicit=True),
        measure(1, note("D5", 6), note("E5", 2), note("F#5", 4)),
        measure(2, note("r", 8), note("D5", 4)),
    )
    assert tones(tune) == ["A4", "D5 E5 F#5", "z D5"]
    assert [str(one.duration) for one in notes_of(tune)][1:4] == ["3/8", "1/8", "1/4"]
    assert [(bar.number, bar.is_pickup) for bar in tune.bars] == [(0, True), (1, False), (2, False)]
    assert not tune.messages


def test_bar_that_goes_on_in_an_uncounted_measure_is_one_bar() -> None:
    tune = read_one(
        measure(1, START, FULL),
        measure(2, note("D5", 8)),
        measure("2a", note("E5", 4)),
        measure(3, FULL),
    )
    assert [(bar.number, bar.sign_after) for bar in tune.bars] == [
        (1, "|"), (2, ""), (2, "|"), (3, "|"),
    ]  # fmt: skip
    assert not tune.messages


def test_accidentals_are_the_elements_own_whatever_stood_before() -> None:
    tune = read_one(
        measure(1, START, note("F5"), note("F5"), note("F#5")),
        measure(2, note("F#5"), note("F#4"), note("F4")),
        measure(3, note("Bb4"), note("B5"), note("Cb5")),
    )
    assert tones(tune) == ["F5 F5 F#5", "F#5 F#4 F4", "Bb4 B5 Cb5"]


def test_changes_of_key_metre_and_clef() -> None:
    change = (
        "<attributes><key><fifths>-1</fifths><mode>minor</mode></key><time><beats>2+3</beats>"
        "<beat-type>8</beat-type></time><clef><sign>F</sign><line>4</line></clef></attributes>"
    )
    tune = read_one(measure(1, START, FULL), measure(2, change, note("Bb4", 4), note("A4", 6)))
    second = tune.bars[1]
    assert (second.key.name, second.meter.sign, second.clef) == ("D minor", "2+3/8", "bass")
    assert second.key_changed and second.meter_changed
    assert tones(tune)[1] == "Bb4 A4"


@pytest.mark.parametrize(
    ("mode", "fifths", "name"),
    [("dorian", 0, "D dorian"), ("mixolydian", 1, "D mixolydian"), ("minor", -3, "C minor"),
     ("phrygian", 0, "E phrygian"), ("lydian", 1, "C lydian"), ("", 3, "A major")],
)  # fmt: skip
def test_modes(mode: str, fifths: int, name: str) -> None:
    start = START.replace(
        "<fifths>2</fifths><mode>major</mode>",
        f"<fifths>{fifths}</fifths>" + (f"<mode>{mode}</mode>" if mode else ""),
    )
    assert read_one(measure(1, start, FULL)).key.name == name


def test_key_given_step_by_step() -> None:
    start = START.replace(
        "<fifths>2</fifths><mode>major</mode>",
        "<key-step>F</key-step><key-alter>1</key-alter><key-step>B</key-step>"
        "<key-alter>-1</key-alter>",
    )
    assert read_one(measure(1, start, FULL)).key.alters == (0, 0, 0, 1, 0, 0, -1)


@pytest.mark.parametrize(
    ("time", "sign"),
    [('<time symbol="common"><beats>4</beats><beat-type>4</beat-type></time>', "C"),
     ('<time symbol="cut"><beats>2</beats><beat-type>2</beat-type></time>', "C|"),
     ("<time><beats>2</beats><beat-type>4</beat-type><beats>3</beats><beat-type>8</beat-type>"
      "</time>", "2/4+3/8"),
     ("<time><senza-misura/></time>", "none")],
)  # fmt: skip
def test_metres(time: str, sign: str) -> None:
    start = START.replace("<time><beats>3</beats><beat-type>4</beat-type></time>", time)
    assert read_one(measure(1, start, FULL)).meter.sign == sign


def test_repeats_endings_and_times() -> None:
    first = barline('<ending number="1, 2" type="start"/>', "left")
    last = barline(
        '<bar-style>light-heavy</bar-style><ending number="1, 2" type="stop"/>'
        '<repeat direction="backward" times="3"/>'
    )
    third = barline('<ending number="3" type="start"/>', "left")
    tune = read_one(
        measure(1, START, note("D5", 12)),
        measure(2, FORWARD, note("E5", 12)),
        measure(3, first, note("F#5", 12), last),
        measure(4, third, note("G5", 12), barline('<ending number="3" type="discontinue"/>')),
        measure(5, note("A5", 12), BACKWARD),
    )
    assert [bar.ending for bar in tune.bars] == [(), (), (1, 2), (3,), ()]
    assert tune.played == (0, 1, 2, 1, 2, 1, 3, 4, 4)


def test_repeat_without_a_beginning_goes_back_over_double_bars_and_labels() -> None:
    double = barline("<bar-style>light-light</bar-style>")
    tune = read_one(
        measure(1, START, note("D5", 12), double),
        measure(2, direction("<rehearsal>B</rehearsal>"), note("E5", 12), BACKWARD),
        measure(3, note("F#5", 12)),
    )
    assert tune.played == (0, 1, 0, 1, 2)
    assert tune.bars[1].part == "B"


def test_jumps_are_played() -> None:
    def words(text: str, sound: str) -> str:
        return direction(f"<words>{text}</words>", sound=f"<sound {sound}/>")

    fine = read_one(
        measure(1, START, note("D5", 12), words("Fine", 'fine="yes"')),
        measure(2, note("E5", 12), words("D.C. al Fine", 'dacapo="yes"')),
    )
    assert fine.played == (0, 1, 0)
    coda = read_one(
        measure(1, START, note("D5", 12)),
        measure(2, direction("<segno/>"), note("E5", 12), words("To Coda", 'tocoda="coda"')),
        measure(3, note("F#5", 12), words("D.S. al Coda", 'dalsegno="segno"')),
        measure(4, direction("<coda/>"), note("G5", 12)),
    )
    assert coda.played == (0, 1, 2, 1, 3)
    silent = read_one(
        measure(1, START, note("D5", 12), '<sound fine="yes"/>'),
        measure(2, note("E5", 12), '<sound dacapo="yes"/>'),
    )
    assert silent.played == (0, 1, 0)


def test_ties_of_notes_and_single_tones() -> None:
    def tie(kind: str) -> str:
        return f'<tie type="{kind}"/>'

    chord = (
        "<note><pitch><step>D</step><octave>4</octave></pitch><duration>12</duration>"
        '<tie type="start"/><voice>1</voice><type>half</type><dot/></note>'
        "<note><chord/><pitch><step>A</step><octave>4</octave></pitch><duration>12</duration>"
        "<voice>1</voice><type>half</type><dot/></note>"
    )
    tune = read_one(
        measure(1, START, note("F5", 12, '<tied type="start"/>')),
        measure(2, note("F5", 12, '<tied type="stop"/>')),
        measure(3, chord),
        measure(4, note("D4", 12, '<tied type="stop"/>')),
    )
    assert tie("start")  # only seen ties are written in the first two bars
    assert [one.ties for one in notes_of(tune)] == [(True,), (False,), (True, False), (False,)]
    assert [one.is_tied_from_before for one in notes_of(tune)][1::2] == [(True,), (True,)]
    assert tones(tune)[:2] == ["F5", "F5"]


def test_slurs_tuplets_and_beams() -> None:
    def third(name: str, mark: str = "", beam: str = "") -> str:
        alter = "<alter>1</alter>" if "#" in name else ""
        notations = f"<notations>{mark}</notations>" if mark else ""
        return (
            f"<note><pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
            "<duration>1</duration><voice>1</voice><type>eighth</type><time-modification>"
            "<actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
            f'<beam number="1">{beam}</beam>{notations}</note>'
        )

    start = START.replace("<divisions>4</divisions>", "<divisions>3</divisions>")
    quarter = note("G5", 4).replace("<duration>4", "<duration>3")
    tune = read_one(
        measure(
            1, start,
            third("D5", '<tuplet type="start"/><slur type="start" number="1"/>', "begin"),
            third("E5", "", "continue"),
            third("F#5", '<tuplet type="stop"/><slur type="stop" number="1"/>', "end"),
            quarter, quarter,
        )
    )  # fmt: skip
    first, second, last, *_ = notes_of(tune)
    assert [one.duration for one in (first, second, last)] == [Fraction(1, 12)] * 3
    assert last.tuplet is not None and (last.tuplet.p, last.tuplet.q, last.tuplet.size) == (3, 2, 3)
    assert (first.slurs_opened, last.slurs_closed) == (1, 1)
    assert [one.is_joined for one in (first, second, last)] == [True, True, False]
    assert not tune.messages


def test_tuplets_within_tuplets_keep_their_lengths() -> None:
    """MusicXML gives the ratio of both as one: three triplets of a triplet are nine for four."""
    inner = (
        "<note><pitch><step>D</step><octave>5</octave></pitch><duration>4</duration>"
        "<voice>1</voice><type>16th</type><time-modification><actual-notes>9</actual-notes>"
        "<normal-notes>4</normal-notes></time-modification></note>"
    )
    start = START.replace("<divisions>4</divisions>", "<divisions>36</divisions>")
    rest = note("A5", 8).replace("<duration>8", "<duration>72")
    tune = read_one(measure(1, start, inner * 9, rest))
    assert [str(one.duration) for one in notes_of(tune)] == ["1/36"] * 9 + ["1/2"]
    assert not tune.messages


def test_lengths_rounded_to_whole_divisions_are_mended() -> None:
    rounded = "".join(
        f"<note><pitch><step>{step}</step><octave>5</octave></pitch><duration>{length}</duration>"
        "<voice>1</voice><type>eighth</type><time-modification><actual-notes>3</actual-notes>"
        "<normal-notes>2</normal-notes></time-modification></note>"
        for step, length in (("D", 85), ("E", 85), ("G", 86))
    )
    start = START.replace("<divisions>4</divisions>", "<divisions>256</divisions>")
    rest = note("A5", 8).replace("<duration>8", "<duration>512")
    tune = read_one(measure(1, start, rounded, rest))
    assert [str(one.duration) for one in notes_of(tune)] == ["1/12", "1/12", "1/12", "1/2"]
    assert not tune.messages


def test_grace_notes_ornaments_and_articulations() -> None:
    grace = note("C#5", 2, before='<grace slash="yes"/>')
    marks = (
        "<ornaments><trill-mark/></ornaments><articulations><staccato/><accent/></articulations>"
        "<technical><up-bow/></technical><fermata/>"
    )
    tune = read_one(measure(1, START, grace, note("D5", 8, marks), note("E5", 4,
        "<ornaments><mordent/></ornaments><articulations><tenuto/></articulations>")))  # fmt: skip
    first, main, last = notes_of(tune)
    assert first.is_grace and first.is_slashed_grace and first.pitches[0].name == "C#5"
    assert set(main.decorations) == {"trill", "staccato", "accent", "upbow", "fermata"}
    assert set(last.decorations) == {"lowermordent", "tenuto"}


def test_fingers_and_strings_are_pins_of_their_tones() -> None:
    def technical(inner: str) -> str:
        return f"<technical>{inner}</technical>"

    upper = note("A4", 4, technical("<fingering>3</fingering>"), before="<chord/>")
    tune = read_one(
        measure(
            1, START,
            note("E4", 4, technical("<fingering>1</fingering><string>2</string>")),
            note("D4", 4, technical("<fingering>0</fingering>")), upper,
            note("E5", 4, technical('<fingering>2</fingering>'
                                    '<fingering substitution="yes">3</fingering>')),
        )
    )  # fmt: skip
    first, chord, last = notes_of(tune)
    assert (first.finger_pins, first.string_pin) == ((1,), "high 2")
    assert chord.finger_pins == (0, 3)
    assert last.finger_pins == (2,)


def test_chord_symbols_also_between_notes() -> None:
    def harmony(root: str, kind: str, more: str = "") -> str:
        tone = f"<root><root-step>{root}</root-step></root>"
        return f"<harmony>{tone}<kind>{kind}</kind>{more}</harmony>"

    tune = read_one(
        measure(1, START, harmony("D", "major"), FULL,
                harmony("A", "dominant", "<offset>-4</offset>")),
        measure(2, harmony("E", "minor-seventh"), note("E5", 8),
                harmony("B", "half-diminished",
                        "<bass><bass-step>D</bass-step></bass>"), note("D5", 4)),
        measure(3, harmony("G", "none"), FULL),
    )  # fmt: skip
    first, second, third, last = notes_of(tune)
    assert first.chord is not None and first.chord.symbol == "D"
    assert [(delay, one.symbol) for delay, one in first.later_chords] == [(Fraction(1, 2), "A7")]
    assert second.chord is not None and second.chord.symbol == "Em7"
    assert third.chord is not None and third.chord.symbol == "Bm7b5/D"
    assert last.chord is None and [one.text for one in last.annotations] == ["N.C."]


def test_words_under_the_notes_in_verses() -> None:
    def lyric(number: int, syllabic: str, text: str, more: str = "") -> str:
        inner = f"<syllabic>{syllabic}</syllabic><text>{text}</text>{more}"
        return f'<lyric number="{number}">{inner}</lyric>'

    tune = read_one(
        measure(1, START,
                note("D5", end=lyric(1, "begin", "som") + lyric(2, "single", "-vid_*-sjö-")),
                note("E5", end=lyric(1, "end", "mar")), note("r")),
        measure(2, note("F#5", end=lyric(1, "single", "kväll", "<extend/>")), note("G5"),
                note("A5", end='<lyric number="1"><extend/></lyric>')),
    )  # fmt: skip
    first, second, _, third, fourth, _ = notes_of(tune)
    assert [one.text if one else None for one in first.syllables] == ["som", "-vid_*-sjö-"]
    assert first.syllables[0] is not None and first.syllables[0].is_joined
    assert second.syllables[0] is not None and not second.syllables[0].is_joined
    assert third.syllables[0] is not None and third.syllables[0].text == "kväll"
    assert third.syllables[0].is_extended
    assert fourth.syllables in ((), (None,))


def test_tempo_words_dynamics_and_hairpins() -> None:
    beat = (
        "<metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>"
        "<per-minute>c. 60</per-minute></metronome>"
    )
    allegro = (
        f"<direction><direction-type><words>Rask</words></direction-type><direction-type>{beat}"
        '</direction-type><sound tempo="90"/></direction>'
    )
    slower = direction("<words>Lugnt</words>", sound='<sound tempo="200"/>')
    tune = read_one(
        measure(1, START, allegro, direction("<dynamics><mf/></dynamics>", placement="below"),
                direction('<wedge type="crescendo"/>'), note("D5"),
                direction("<words>\"sul\" D | a=20</words>", placement="below"), note("E5"),
                note("F#5"), direction('<wedge type="stop"/>')),
        measure(2, slower, FULL),
    )  # fmt: skip
    assert tune.tempo is not None
    assert (tune.tempo.text, tune.tempo.beat, tune.tempo.per_minute) == ("Rask", Fraction(3, 8), 60)
    tempo = tune.bars[1].tempo
    assert tempo is not None and (tempo.text, tempo.per_minute) == ("Lugnt", 200)
    first, second, third, _ = notes_of(tune)
    assert first.decorations == ("mf", "crescendo(")
    assert third.decorations == ("crescendo)",)
    assert [(one.placement, one.text) for one in second.annotations] == [("_", '"sul" D | a=20')]


def test_parts_and_voices_of_a_part_are_voices() -> None:
    second = note("F#4", 12, voice=2)
    harpa = measure(1, START, FULL, "<backup><duration>12</duration></backup>", second)
    fiol = measure(1, START, note("A4", 4), note("B4", 8))
    (tune,) = read(score(harpa, fiol))
    assert tune.melody_voice.name == "Harpa 1"
    assert [(voice.id, voice.name) for voice in tune.voices] == [("2", "Harpa 2"), ("3", "Fiol")]
    assert [[one.pitches[0].name for one in voice.bars[0].notes] for voice in tune.voices] == [
        ["F#4"],
        ["A4", "B4"],
    ]
    assert not tune.messages


def test_silence_of_a_voice_is_filled() -> None:
    late = "<forward><duration>8</duration></forward>" + note("F#4", 4, voice=2)
    harpa = measure(1, START, FULL, "<backup><duration>12</duration></backup>", late)
    (tune,) = read(score(harpa + measure(2, FULL)))
    (second,) = tune.voices
    assert [[one.is_rest for one in bar.notes] for bar in second.bars] == [[True, False], [True]]
    assert second.bars[0].notes[0].is_invisible


def test_transposing_part_is_written_as_it_sounds() -> None:
    start = START.replace(
        "</attributes>",
        "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes>",
    )
    tune = read_one(measure(1, start, note("D5"), note("F#5"), note("C#5")))
    assert (tones(tune), tune.key.name) == (["C5 E5 B4"], "C major")


def test_octave_clef_leaves_the_pitch_as_it_sounds() -> None:
    start = START.replace(
        "<line>2</line>", "<line>2</line><clef-octave-change>-1</clef-octave-change>"
    )
    tune = read_one(measure(1, start, note("D4", 12)))
    assert (tones(tune), tune.bars[0].clef) == (["D4"], "treble_8")


def test_new_lines_of_the_score_are_the_tunes() -> None:
    line = '<print new-system="yes"/>'
    tune = read_one(measure(1, START, FULL), measure(2, FULL), measure(3, line, FULL))
    assert [bar.breaks_line_after for bar in tune.bars] == [False, True, False]


def test_what_is_not_read_is_said_with_part_and_bar() -> None:
    drum = (
        "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave>"
        "</unpitched><duration>4</duration><voice>1</voice><type>quarter</type></note>"
    )
    tune = read_one(
        measure(1, START, FULL),
        measure(2, drum, note("D5", 4, "<technical><fingering>p</fingering></technical>"),
                note("E5", 4, "<technical><hammer-on type='start'/></technical>")),
        measure(3, note("E5", 8)),
    )  # fmt: skip
    said = [str(message) for message in tune.messages]
    assert any(
        one.startswith("lisa.musicxml: part Harpa bar 2: notes without a pitch") for one in said
    )
    assert any("part Harpa bar 2: the fingering 'p' is no finger" in one for one in said)
    assert any("part Harpa bar 2: the sign 'hammer on' is not read" in one for one in said)
    assert any(
        one.startswith("lisa.musicxml: part Harpa bar 3: bar 3 is too short") for one in said
    )
    assert not any(message.excerpt for message in tune.messages)


def test_measure_by_measure_score_is_read_too() -> None:
    text = score(measure(1, START, FULL)).decode()
    text = text.replace("score-partwise", "score-timewise")
    text = text.replace('<part id="P1"><measure number="1">', '<measure number="1"><part id="P1">')
    text = text.replace("</measure></part>", "</part></measure>")
    (tune,) = read(text.encode())
    assert tones(tune) == ["D5"]


def test_packed_score_is_the_same_tune() -> None:
    plain = score(measure(1, START, FULL))
    (tune,) = read(packed(plain, "odd folder/../score.xml"), "lisa.mxl")
    assert (tune.title, tones(tune), tune.file) == ("Lilla Lisa", ["D5"], "lisa.mxl")


def test_tunes_are_parted_where_bars_are_counted_anew_or_a_heading_stands() -> None:
    final = barline("<bar-style>light-heavy</bar-style>")
    heading = direction('<words font-size="20">Storvalsen</words>')
    small = direction('<words font-size="9">Storvalsen</words>')

    def of(second: str, number: int) -> list[Tune]:
        return read(
            score(
                measure(1, START, FULL)
                + measure(2, note("E5", 12), final)
                + measure(number, second, note("G5", 12))
            )
        )

    first, second = of(heading, 3)
    assert (first.title, second.title) == ("Lilla Lisa", "Storvalsen")
    assert not any(one.annotations for one in notes_of(second))
    assert (tones(second), second.key.name, second.number) == (["G5"], "D major", "2")
    assert [tune.title for tune in of("", 1)] == ["Lilla Lisa", "Lilla Lisa, 2"]
    assert len(of(small, 3)) == 1
