"""``check`` of a folder without end holds texts, rows and so many messages, and no music."""

from __future__ import annotations

from pathlib import Path

import pytest

from tunebook.model.tune import Tune
from tunebook.pipeline import load as loading
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.load import Setup, prepare
from tunebook.pipeline.order import order_tunes


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    tunes = "".join(
        f"X:{number}\nT:Tune {number}\nM:2/4\nL:1/8\nK:D\nDEFG|A{number}|]\n\n"
        for number in range(1, 7)
    )
    (tmp_path / "a.abc").write_text(tunes + "X:9\nT:No music\nK:D\n\n", encoding="utf-8")
    (tmp_path / "tunes.toml").write_text(
        '[[set]]\ntitle = "S"\ntunes = ["Tune 5", "a.abc:2", "Tune 50"]\n', encoding="utf-8"
    )
    return prepare(tmp_path)


def test_rows_come_in_the_order_of_the_book_and_name_each_message_once(setup: Setup) -> None:
    report = check_folder(setup, jobs=1)
    assert [row.title for row in report.rows] == [f"Tune {n}" for n in (5, 2, 1, 3, 4, 6)]
    texts = [str(message) for message in report.messages]
    assert len(texts) == len(set(texts))
    assert any("'Tune 50', which is no tune of the folder" in text for text in texts)
    assert [message.what for message in report.left_out] == ["the tune has no notes"]


def test_no_music_is_held_while_tunes_are_solved(
    setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    held: list[Tune] = []

    def watched(tunes: tuple[Tune, ...], *rest: object, **more: object) -> object:
        held.extend(tunes)
        return order_tunes(tunes, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(loading, "order_tunes", watched)
    report = check_folder(setup, jobs=1)
    assert len(held) == len(report.rows) == 6
    assert not any(tune.bars or tune.source_text or tune.fields for tune in held)


def test_messages_are_kept_up_to_a_number_and_what_was_left_out_always(
    setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    every = check_folder(setup, jobs=1).messages
    monkeypatch.setattr(loading, "MOST_MESSAGES", 2)
    report = check_folder(setup, jobs=1)
    assert len(report.left_out) == 1
    assert len(report.messages) < len(every)
    last = report.messages[-1]
    assert last.what.endswith("further messages are not shown")
    shown = [message for message in report.messages if message != last]
    assert int(last.what.split()[0]) == len(every) - len(shown)
