"""Who plays what: the instrument's profile where the settings may look for it, and the players of
the voices beside the melody."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, replace
from pathlib import Path

from tunebook.errors import Message, SettingError
from tunebook.files import FilesRead
from tunebook.model.book import Book, Edition, PlayerChoice
from tunebook.model.choices import HAND_SIZES, Drones
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument
from tunebook.model.tune import Tune
from tunebook.read.settings.hand_file import differing, read_hand_file
from tunebook.read.settings.profile import read_hand, read_instrument

FIRST_PLACE = 2
"""What the first voice beside the melody is called where it is named by its place."""


@dataclass(frozen=True, slots=True)
class Player:
    """Who plays a voice beside the melody: the instrument, the hand, and the drones that are chosen
    for it unasked."""

    instrument: Instrument
    hand: Hand
    drones: Drones = "none"


Players = tuple[tuple[str, Player], ...]


def may_leave_folder(book: Book) -> bool:
    """Whether links and a profile's path may lead out of the folder that they lie in."""
    return bool(dict(book.reading).get("may_leave_folder", False))


def profile_path(name: str, book: Book) -> str:
    """The path of an instrument's profile: one that tunes.toml names with a path is looked for
    beside it, and must stay there. Raises SettingError where it does not."""
    if book.place is None or not (name.endswith(".toml") or "/" in name or "\\" in name):
        return name
    return _path_beside(book, name, "instrument profile")


def _path_beside(book: Book, name: str, what: str) -> str:
    """The path of a file that tunes.toml names: it lies beside it, or in a folder there."""
    if book.place is None:
        return name
    if not name.isprintable():
        remedy = "write the name of a file beside tunes.toml"
        raise SettingError(f"{what} {name!r} cannot be a path", remedy, book.place)
    home = Path(book.place.path).resolve().parent
    # Folders may be parted as Windows does it, for settings that are used on several systems.
    path = (home / name.replace("\\", "/")).resolve()
    if not (path.is_relative_to(home) or may_leave_folder(book)):
        raise SettingError(
            f"{what} {name!r} lies outside the folder",
            "put it beside tunes.toml, or set may_leave_folder = true under [reading]",
            book.place,
        )
    return str(path)


def with_hand(
    book: Book, wished: str | None, of_edition: str | None, read: FilesRead
) -> tuple[Book, tuple[Message, ...]]:
    """The book with the hand that is ``wished``, else the edition's, else its own, and what is
    said of it: a named size, or what a hand file holds. Raises SettingError."""
    name = wished or of_edition
    for size in HAND_SIZES:
        if name == size:
            return replace(book, hand=book.hand.of_size(size)), ()
    if wished is not None:
        path = Path(wished)
        if not (wished.endswith(".toml") or path.is_file()):
            known = ", ".join(HAND_SIZES)
            raise SettingError(f"no hand {wished!r}", f"known are {known}, and hand files (.toml)")
    else:
        name = of_edition or book.hand.file
        if name is None:
            return book, ()
        path = Path(_path_beside(book, name, "hand file"))
    hand, messages = read_hand_file(path, read)
    if wished is None and of_edition is None:
        messages = (*messages, *differing(book.hand, hand))
    return replace(book, hand=hand), messages


def read_players(
    book: Book, edition: Edition, melody: Player, profile: str, read: FilesRead
) -> tuple[Players, tuple[Message, ...]]:
    """Return the players that the book and the edition name, by what they call the voice, and what
    is said of their hands; ``melody`` is who plays that, ``profile`` where the profile of her
    instrument is. Raises SettingError for an instrument, tuning or hand that cannot be used."""
    players: list[tuple[str, Player]] = []
    messages: list[Message] = []
    for name, choice in _chosen(book, edition).items():
        instrument, hand = melody.instrument, melody.hand
        if choice.instrument is not None:
            path = profile_path(choice.instrument, book)
            instrument = read_instrument(path, choice.tuning, read)
        elif choice.tuning is not None:
            instrument = read_instrument(profile, choice.tuning, read)
        if choice.hand is not None:
            own, said = with_hand(book, None, choice.hand, read)
            hand = read_hand(own.hand)
            messages += said
        players.append((name, Player(instrument, hand, choice.drones or "none")))
    return tuple(players), tuple(messages)


def for_second_player(book: Book, edition: Edition) -> tuple[Book, str | None]:
    """The book for the player of the second voice, the one who is named for that place, or else
    the first who is named at all: with that instrument and tuning, and the hand, if one is named
    there or by the edition."""
    chosen = _chosen(book, edition)
    mine = chosen.get(str(FIRST_PLACE)) or next(iter(chosen.values()), None)
    if mine is None:
        return book, edition.hand
    if mine.instrument is not None:
        book = replace(book, instrument=mine.instrument, tuning=mine.tuning)
    elif mine.tuning is not None:
        book = replace(book, tuning=mine.tuning)
    return book, mine.hand or edition.hand


def _chosen(book: Book, edition: Edition) -> dict[str, PlayerChoice]:
    """The choices by what they call the voice, the edition's before the book's."""
    of_book = {one.voice: one for one in book.players}
    chosen = {one.voice: _over(of_book.get(one.voice), one) for one in edition.players}
    return chosen | {name: one for name, one in of_book.items() if name not in chosen}


def _over(before: PlayerChoice | None, choice: PlayerChoice) -> PlayerChoice:
    """The edition's choice, and the book's where that says nothing; another instrument is not
    tuned as the book's is."""
    if before is None:
        return choice
    is_same = choice.instrument in (None, before.instrument)
    return PlayerChoice(
        choice.voice,
        instrument=choice.instrument or before.instrument,
        tuning=choice.tuning or (before.tuning if is_same else None),
        hand=choice.hand or before.hand,
        drones=choice.drones or before.drones,
    )


def player_of(players: Players, tune: Tune, number: int, melody: Player) -> Player:
    """The player of the tune's further voice ``number`` (from 0): the first who is named by the
    voice's identity, its name, or its place, the edition's before the book's; else one with the
    ``melody``'s instrument and hand."""
    known = voice_names(tune, number)
    return next((player for name, player in players if name in known), melody)


def voice_names(tune: Tune, number: int) -> set[str]:
    """What the settings may call the tune's further voice ``number`` (from 0)."""
    voice = tune.voices[number]
    names = (voice.id, voice.name, voice.short_name, str(FIRST_PLACE + number))
    return {unicodedata.normalize("NFC", name) for name in names if name}
