"""Tunings inside a book: of a tune, a set or an edition, and what is said of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tunebook.book.content import BookTune
from tunebook.book.musical_text import retune_text
from tunebook.model.piece import EngravedPiece
from tunebook.model.words import fixed_words
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.compare import CompareOrder, compare_folder
from tunebook.pipeline.contents import with_tunings
from tunebook.pipeline.explain import ExplainOrder, explain_tune
from tunebook.pipeline.export import ExportOrder, export_folder
from tunebook.pipeline.fingered_abc import is_same
from tunebook.pipeline.kept import setup_sum
from tunebook.pipeline.load import Setup, Wishes, load, prepare
from tunebook.pipeline.outcomes import arrange_tune
from tunebook.pipeline.pieces import make_extras
from tunebook.pipeline.sources import source_of_tune
from tunebook.read.settings.profile import read_instrument
from tunebook.solve.retuning import find_string_changes

HEAD = "X:{0}\nT:{1}\nM:4/4\nL:1/8\nQ:1/4=100\nK:D\nDEFG A2d2|efed c2A2|d8|]\n\n"
NAMES = ("First", "Second", "Third", "Fourth")
SET = '[[set]]\ntitle = "Kväll"\ntunes = ["First", "Second", "Third"]\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "tunes"
    home.mkdir()
    text = "".join(HEAD.format(number, name) for number, name in enumerate(NAMES, start=1))
    (home / "a.abc").write_text(text, encoding="utf-8")
    return home


def setup_with(folder: Path, settings: str, **wishes: str) -> Setup:
    (folder / "tunes.toml").write_text(settings, encoding="utf-8")
    return prepare(folder, Wishes(**wishes))  # type: ignore[arg-type]


def tunings(setup: Setup) -> dict[str, str]:
    found = {}
    for tune in load(setup).tunes:
        arrangement = arrange_tune(tune, setup).arrangement
        assert arrangement is not None
        found[tune.title] = arrangement.instrument.tuning_name
    return found


def test_a_tunes_tuning_counts_before_its_sets_and_that_before_the_editions(folder: Path) -> None:
    settings = (
        SET + 'tuning = "CGCA"\n[[edition]]\nname = "e"\nbased_on = "player"\ntuning = "DGDA"\n'
        '[tune."a.abc:2"]\ntuning = "C3,G3,D4,G4"\n'
    )
    found = tunings(setup_with(folder, settings, edition="e"))
    assert (found["First"], found["Third"], found["Fourth"]) == ("CGCA", "CGCA", "DGDA")
    assert found["Second"] not in ("CGCA", "DGDA", "CGDA")


def test_the_command_line_replaces_the_books_and_the_editions(folder: Path) -> None:
    settings = '[[edition]]\nname = "e"\nbased_on = "player"\ntuning = "DGDA"\n'
    own = '[tune."a.abc:2"]\ntuning = "CGCA"\n'
    found = tunings(setup_with(folder, settings + own, edition="e", tuning="CGDA"))
    assert found == {"First": "CGDA", "Second": "CGCA", "Third": "CGDA", "Fourth": "CGDA"}
    other = tunings(setup_with(folder, settings + own, edition="e", instrument="fiddle"))
    assert len(set(other.values())) == 1


def test_a_tuning_that_cannot_be_used_is_said_and_the_books_is_used(folder: Path) -> None:
    setup = setup_with(folder, '[tune."a.abc:2"]\ntuning = "XYZ"\n')
    assert set(tunings(setup).values()) == {"CGDA"}
    (message,) = setup.messages
    assert message.place.line == 1
    assert "tune 'a.abc:2': " in str(message) and "the book's is used" in str(message)


@pytest.mark.parametrize(
    ("may_reorder", "titles"),
    [("false", ["First", "Second", "Third"]), ("true", ["First", "Third", "Second"])],
)
def test_tunes_of_one_tuning_are_kept_together_where_they_may_change_places(
    folder: Path, may_reorder: str, titles: list[str]
) -> None:
    settings = f"may_reorder = {may_reorder}\n" + SET + '[tune."a.abc:2"]\ntuning = "CGCA"\n'
    section = load(setup_with(folder, settings)).sections[0]
    assert [tune.title for tune in section.tunes] == titles


def test_the_strings_to_turn_are_said_with_the_caution() -> None:
    changes = find_string_changes(
        read_instrument("nyckelharpa-3row", "CGCA"), read_instrument("nyckelharpa-3row", "CGDA")
    )
    turned = tuple(one for one in changes if one.cents)
    english = retune_text(turned, fixed_words("en"))
    assert english.startswith("Retune: C4 up to D4 (2 semitones !). Tune up slowly, with your face")
    assert "string maker's chart" in english
    swedish = retune_text(turned, fixed_words("sv"))
    assert swedish.startswith("Stäm om: C4 upp till D4 (2 halvtoner !). Stäm upp långsamt, med")
    assert retune_text((), fixed_words("en")) == ""


def test_check_explain_and_json_go_by_the_tunes_tuning(folder: Path, tmp_path: Path) -> None:
    setup = setup_with(folder, '[tune."a.abc:2"]\ntuning = "CGCA"\n')
    rows = {row.title: row.difficulty for row in check_folder(setup, jobs=1).rows}
    assert rows["First"] == rows["Third"] != rows["Second"]
    lines = list(explain_tune(setup, ExplainOrder("2", "1")))
    assert any("CGCA" in line for line in lines)
    output = tmp_path / "tunes.json"
    export_folder(setup, ExportOrder("json", output, jobs=1))
    tunes = json.loads(output.read_text(encoding="utf-8"))["tunes"]
    assert [tune.get("tuning") for tune in tunes] == [None, "CGCA", None, None]


def test_fingered_text_leads_back_in_the_tunes_tuning(folder: Path, tmp_path: Path) -> None:
    setup = setup_with(folder, '[tune."a.abc:2"]\ntuning = "CGCA"\n')
    report = export_folder(setup, ExportOrder("abc", tmp_path / "out", jobs=1))
    assert not [one for one in report.messages if "does not lead back" in str(one)]
    text = (tmp_path / "out" / "a.abc").read_text(encoding="utf-8")
    assert text.count("r:tuning") == text.count("X:2\nr:tuning CGCA\nT:Second\n") == 1
    alone = prepare(tmp_path / "out")
    assert tunings(alone) == {"First": "CGDA", "Second": "CGCA", "Third": "CGDA", "Fourth": "CGDA"}
    for one, other in zip(load(setup).tunes, load(alone).tunes, strict=True):
        first, again = arrange_tune(one, setup).arrangement, arrange_tune(other, alone).arrangement
        assert first is not None and is_same(first, again)
    again = export_folder(alone, ExportOrder("abc", tmp_path / "more", jobs=1))
    assert again.messages == () and (tmp_path / "more" / "a.abc").read_text("utf-8") == text


def test_a_transposed_tune_names_its_tuning_in_its_text(folder: Path, tmp_path: Path) -> None:
    setup = setup_with(folder, '[tune."a.abc:2"]\ntuning = "C3, G3, C4, A4"\nkey = "G"\n')
    export_folder(setup, ExportOrder("abc", tmp_path / "out", jobs=1))
    text = (tmp_path / "out" / "a.abc").read_text(encoding="utf-8")
    assert text.count("r:tuning C3,G3,C4,A4\n") == text.count("K:G") == 1
    assert tunings(prepare(tmp_path / "out"))["Second"] == "CGCA"


def test_settings_count_before_the_tuning_in_a_tunes_text(folder: Path) -> None:
    data = (folder / "a.abc").read_text(encoding="utf-8")
    for number in (1, 2, 3):
        data = data.replace(f"X:{number}\n", f"X:{number}\nr:tuning CGCA\n")
    data = data.replace("X:4\n", "X:4\nr:tuning CGXA\n")
    (folder / "a.abc").write_text(data, encoding="utf-8")
    settings = '[[set]]\ntitle = "A"\ntunes = ["First"]\ntuning = "DGDA"\n'
    setup = setup_with(folder, settings + '[tune."a.abc:2"]\ntuning = "C3,G3,D4,G4"\n')
    found = {"First": "DGDA", "Second": "CGDG", "Third": "CGCA", "Fourth": "CGDA"}
    assert tunings(setup) == found
    (said,) = load(setup).messages
    assert said.place.line == HEAD.count("\n") * 3 + 4 and "CGXA" in said.what
    another = setup_with(folder, settings, instrument="fiddle")
    assert set(tunings(another).values()) == {another.instrument.tuning_name}


def test_a_named_tuning_counts_for_what_is_kept(folder: Path) -> None:
    plain = setup_with(folder, SET)
    assert setup_sum(plain) != setup_sum(setup_with(folder, SET + 'tuning = "CGCA"\n'))


def test_ways_through_a_set_are_told_by_retunings_and_ease(folder: Path) -> None:
    setup = setup_with(folder, SET)
    report = compare_folder(setup, CompareOrder(tunings="CGDA,CGCA", sets=True, jobs=1))
    # The best way is that which is written, and stands once.
    (first,) = report.sets
    assert first.is_as_written and first.semitones_turned == 0
    assert (first.title, first.retunings, first.is_reordered) == ("Kväll", 0, False)
    assert [title for _, title in first.tunes] == ["First", "Second", "Third"]
    scores = {one.title: [way.difficulty for way in one.tunings] for one in report.tunes}
    means = [sum(scores[title][at] or 0.0 for title in NAMES[:3]) / 3 for at in (0, 1)]
    assert first.difficulty == pytest.approx(min(means))


def test_a_set_as_written_counts_the_tunings_that_its_tunes_have(folder: Path) -> None:
    setup = setup_with(folder, SET + '[tune."a.abc:2"]\ntuning = "C3,G3,C4,G4"\n')
    for asked in (None, "CGDA,CGCA"):
        report = compare_folder(setup, CompareOrder(tunings=asked, sets=True, jobs=1))
        (written,) = (one for one in report.sets if one.is_as_written)
        # D to C and A to G, and back.
        assert (written.retunings, written.semitones_turned) == (2, 8)
        assert [name for name, _ in written.tunes] == ["CGDA", "CGCG", "CGDA"]
        found = [arrange_tune(tune, setup).arrangement for tune in load(setup).tunes[:3]]
        effort = sum(one.difficulty for one in found if one is not None) / 3
        assert written.difficulty == pytest.approx(effort)
        assert report.tunings == (("CGDA", "CGCG", "CGCA") if asked is None else ("CGDA", "CGCA"))


def test_sets_are_compared_in_the_usual_tunings_where_none_are_named(
    command,  # type: ignore[no-untyped-def]
    folder: Path,
) -> None:
    setup_with(folder, SET)
    code, out, errors = command("compare", str(folder), "--keys", "--sets")
    assert code == 0 and "as written" in out and "CGCA" in out, errors


def test_a_string_that_goes_back_to_the_books_tuning_runs_no_risk(
    folder: Path, tmp_path: Path
) -> None:
    report_of = setup_with(folder, SET + '[tune."a.abc:1"]\ntuning = "CGCA"\n')
    arrangements = [arrange_tune(tune, report_of).arrangement for tune in load(report_of).tunes]
    tunes = tuple(
        BookTune(one.tune.title, one, EngravedPiece("x", Path("x.pdf"), ()))  # type: ignore[union-attr, arg-type]
        for one in arrangements
    )
    first, second, third, _ = with_tunings(tunes, report_of, is_set=True)
    assert first.tuning_note == "tuned C G C A" and second.tuning_note == ""
    assert [(one.pitch_before, one.pitch_after) for one in first.retuning] == [("D4", "C4")]
    assert [(one.pitch_after, one.is_risky) for one in second.retuning] == [("D4", False)]
    assert third.retuning == ()
    alone = with_tunings(tunes, report_of, is_set=False)
    assert [bool(one.retuning) for one in alone] == [True, False, False, False]


def test_the_chords_of_a_tune_are_shown_in_its_own_tuning(folder: Path) -> None:
    text = (folder / "a.abc").read_text(encoding="utf-8").replace("DEFG", '"D"DEFG')
    (folder / "a.abc").write_text(text, encoding="utf-8")
    setup = setup_with(folder, '[tune."a.abc:2"]\ntuning = "CGCA"\n', edition="teacher")
    sources = tuple(source_of_tune(tune, tune.title, setup, None) for tune in load(setup).tunes[:2])
    shapes = make_extras(sources, setup).chord_shapes
    tuned = [one.tuned.tuning_name if one.tuned else "" for one in shapes]
    assert tuned == sorted(tuned) and set(tuned) == {"", "CGCA"}
    for one in shapes:
        strings = (one.tuned or setup.instrument).strings
        for stop in (stop for shape in one.shapes for stop in shape):
            assert strings[stop.string_index - 1].open_midi + stop.key == stop.midi
    assert {one.symbol for one in shapes if one.tuned} >= {"D"}
