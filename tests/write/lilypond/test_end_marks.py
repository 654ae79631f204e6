"""What stands at bar lines: signs, words, how often a repeat is played; long trills."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tunebook.engrave.engrave import engrave
from tunebook.model.book import Edition
from tunebook.model.tune import Annotation, Meter
from tunebook.read.abc.decorations import KNOWN, NOT_PRINTED, canonical_decoration
from tunebook.write.lilypond.bars import repeat_times
from tunebook.write.lilypond.marks import (
    DYNAMICS,
    SCRIPTS,
    at_bar_sign,
    commands_after,
    words_at_end,
)
from tunebook.write.lilypond.source import write_source

ALL = Edition("all", fingers="all")
BAR = "D4/4 E4/4 F#4/4"


def music(arrangement, **options):
    """The score block on one line, single-spaced."""
    source = write_source(arrangement, ALL, line_width_pt=480, **options).text
    return " ".join(source[source.index("\\score") :].split())


def with_bar(tune, place, **changes):
    bars = list(tune.bars)
    bars[place] = replace(bars[place], **changes)
    return replace(tune, bars=tuple(bars))


def with_note(tune, place, number, *names):
    notes = list(tune.bars[place].notes)
    notes[number] = replace(notes[number], decorations=names)
    return with_bar(tune, place, notes=tuple(notes))


@pytest.mark.parametrize(
    ("name", "command"),
    [
        ("segno", '\\barSignNext "scripts.segno"'),
        ("coda", '\\barSignNext "scripts.coda"'),
        ("fermata", '\\barSign "scripts.ufermata"'),
        ("crescendo)", "<>\\!"),
        ("sf", "<>\\sf"),
        ("breath", "\\breathe"),
    ],
)
def test_sign_at_a_bar_line_stands_there(make_tune, arranged, name, command):
    tune = with_bar(make_tune(BAR, BAR), 0, decorations=(name,))
    assert f'{command} \\bar "|"' in music(arranged(tune))


def test_coda_sign_at_which_one_leaves_stays_at_the_end_of_its_line(make_tune, arranged):
    tune = with_bar(make_tune(BAR, BAR, BAR), 0, decorations=("coda",))
    tune = with_bar(tune, 1, decorations=("coda",))
    text = music(arranged(tune))
    assert text.index('\\barSign "scripts.coda"') < text.index('\\barSignNext "scripts.coda"')


def test_words_at_a_bar_line_stand_at_the_end_of_the_bar(make_tune, arranged):
    words = (Annotation(make_tune(BAR).place, 'Fine "x"'),)
    tune = with_bar(make_tune(BAR, BAR), 0, annotations=words)
    assert '\\endWord "Fine \\"x\\"" \\bar "|"' in music(arranged(tune))


# The ABC Music Standard 2.1, section 4.14: "the letters D.C.", "the words Da Capo", "the word Da
# followed by a Coda sign", "the word fine".
@pytest.mark.parametrize(
    ("name", "command"),
    [
        ("D.C.", '\\endWord "D.C."'),
        ("D.S.", '\\endWord "D.S."'),
        ("dacapo", '\\endWord "Da Capo"'),
        ("dacoda", '\\endWordCoda "Da"'),
        ("fine", '\\endWord "Fine"'),
        ("tocoda", '\\endWordCoda "To"'),
    ],
)
def test_words_for_jumps_are_those_of_the_standard(name, command):
    assert canonical_decoration(name) == (name, True)
    assert words_at_end([name]) == (command,)


def test_every_known_decoration_is_printed_or_said_not_to_be():
    for name in KNOWN:
        one = canonical_decoration(name)[0]
        is_printed = one in SCRIPTS or one in DYNAMICS or one in ("trill(", "trill)")
        is_printed = is_printed or bool(words_at_end([one]) or commands_after([one]))
        assert is_printed != (one in NOT_PRINTED) or one.isdigit(), name


@pytest.mark.parametrize(
    ("language", "text"), [("en", '\\endWord "3 times"'), ("sv", '\\endWord "3 gånger"')]
)
def test_repeat_that_is_played_three_times_says_so(make_tune, arranged, language, text):
    tune = with_bar(make_tune(BAR, BAR), 0, sign_after=":|", repeat_passes=3)
    source = music(arranged(tune), language=language)
    assert f'{text} \\bar ":|."' in source
    assert "times" not in music(arranged(with_bar(tune, 0, repeat_passes=2)))


def test_endings_that_count_the_passes_need_no_words(make_tune):
    tune = with_bar(make_tune(BAR, BAR, BAR), 0, sign_before="|:", sign_after="|")
    tune = with_bar(tune, 1, ending=(1, 2), ends_ending=True, sign_after=":|", repeat_passes=3)
    tune = with_bar(tune, 2, ending=(3,), ends_ending=True)
    assert repeat_times(tune.bars) == (0, 0, 0)
    short = with_bar(tune, 2, ending=(2,))
    assert repeat_times(with_bar(short, 1, ending=(1,)).bars) == (0, 3, 0)


def test_long_trill_has_a_wavy_line_over_all_its_notes(make_tune, arranged):
    tune = with_note(make_tune(BAR, BAR), 0, 1, "trill(")
    tune = with_note(tune, 1, 0, "trill)")
    text = music(arranged(tune))
    assert "e'4 -1 ^\\startTrillSpan" in text
    assert "d'4 -0 <>\\stopTrillSpan" in text


def test_long_trill_without_end_is_a_plain_trill(make_tune, arranged):
    text = music(arranged(with_note(make_tune(BAR), 0, 1, "trill(")))
    assert "^\\trill" in text and "Span" not in text


def test_metre_is_printed_as_the_tune_writes_it(make_tune, arranged):
    tune = make_tune("D4*3/8 E4*3/8", "D4/4 E4/4", meter=Meter(6, 8, "6/8"))
    text = music(arranged(with_bar(tune, 1, meter=Meter(4, 8, "4/8"), meter_changed=True)))
    assert "\\time 6/8" in text and "\\time 4/8" in text and "\\time 1/2" not in text


def test_engraver_knows_every_sign_that_is_written(make_tune, arranged, tmp_path):
    names = [*SCRIPTS, *DYNAMICS]
    ends = ["dacapo", "dacoda", "tocoda", "D.C.", "segno", "coda", "fermata", "invertedfermata"]
    bars = make_tune(*[BAR] * (len(names) + 2))
    for place, name in enumerate(names):
        bars = with_note(bars, place, 1, name)
        end = ends[place % len(ends)]
        assert end in ("dacapo", "dacoda", "tocoda", "D.C.") or at_bar_sign([end])
        bars = with_bar(bars, place, decorations=(end,), repeat_passes=3, sign_after=":|")
    bars = with_note(bars, len(names), 0, "trill(")
    bars = with_note(bars, len(names) + 1, 2, "trill)")
    piece = write_source(arranged(bars), ALL, line_width_pt=480)
    pieces, failures = engrave({"all": piece}, work_folder=tmp_path)
    assert failures == [] and len(pieces[0].systems) > 4
