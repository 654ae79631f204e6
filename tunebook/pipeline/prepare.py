"""A tune as it is to be solved and printed: what tunes.toml and the edition want of it done to it.

A tune that goes beyond the edition's limits is moved to a key in which it does not, or left out, as
the edition's ``fit`` asks. One whose key is fixed in tunes.toml stays in that key, and its bars
beyond the limits are marked. Where no key within an octave keeps to the limits, the tune is left
out, so that nothing beyond the level is printed for those who cannot play it.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace

from tunebook.errors import Message
from tunebook.model.arrangement import Beyond
from tunebook.model.book import AS_WRITTEN, Edition, TuneChoice
from tunebook.model.choices import Line, VoicesShown
from tunebook.model.names import bars_in_words
from tunebook.model.tune import Tune, Voice, pitch_name
from tunebook.model.voices import voice_as_tune
from tunebook.pipeline.load import Setup, reading_limits
from tunebook.pipeline.order import tune_identity
from tunebook.pipeline.players import Player, player_of
from tunebook.read.settings.choices import apply_choice, without_grace_notes
from tunebook.read.settings.profile import midi_of
from tunebook.solve.fit import Level, bars_out_of_reach, fitting_key, is_in_compass
from tunebook.solve.line.frame import frame_of
from tunebook.solve.line.plain import plain_line
from tunebook.solve.parts import part_of
from tunebook.solve.search.layers import OutOfStepsError, at_most
from tunebook.solve.times import tempo_of
from tunebook.solve.transpose import semitones_to, transpose_tune

WHOLE = "whole"
"""What the melody is called beside its frame, where the file does not name it."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A prepared tune in the key in which it is printed, and messages; ``beyond`` where the edition
    leaves it out."""

    tune: Tune
    messages: tuple[Message, ...] = ()
    beyond: Beyond | None = None


def prepare_tune(tune: Tune, setup: Setup) -> tuple[Tune, tuple[Message, ...]]:
    """Return the tune as tunes.toml and the edition want it: transposed, pinned, plain; in an
    edition of second voices the second voice first where there is one. Not yet in a key that keeps
    to the edition's limits: see :func:`fit_tune`."""
    choice = setup.book.choice(tune_identity(tune))
    said: tuple[Message, ...] = ()
    if choice is not None:
        tune, said = _in_chosen_key(tune, choice, setup)
    tune, messages = apply_choice(tune, choice)
    if not setup.edition.shows_grace_notes:
        tune = without_grace_notes(tune)
    if setup.edition.voices == "second":
        return part_of(tune), (*said, *messages)
    line = _in_line(tune, setup, choice)
    is_without = line.line.startswith("frame") and tune.has_second_voice
    if is_without and setup.edition.voices == "both":
        messages = (*messages, _without_second_voice(tune))
    return line, (*said, *messages)


def _without_second_voice(tune: Tune) -> Message:
    what = f"{tune.title!r} is printed as its frame, which has no second voice"
    return Message(tune.place, "voice", what, 'set line = "full" or "plain" to print both voices')


def line_of(choice: TuneChoice | None, setup: Setup) -> Line:
    """What of a tune is printed: its own choice, else the edition's; parts are always full."""
    if setup.edition.voices == "second":
        return "full"
    return choice.line if choice is not None and choice.line else setup.edition.line


def _in_line(tune: Tune, setup: Setup, choice: TuneChoice | None) -> Tune:
    """The tune's plain line, or its frame with the whole melody beside it; a text that holds no
    more than that already is left as it is."""
    line = line_of(choice, setup)
    if line == "full" or tune.line.startswith("frame") or tune.line == line:
        return tune
    bare = without_grace_notes(tune)
    if line == "plain":
        return plain_line(bare)
    speed, _ = tempo_of(tune, choice.tempo if choice else None)
    name = tune.melody_voice.id or WHOLE
    whole = Voice(place=tune.place, id=name, bars=tune.bars)
    return replace(frame_of(bare, speed), line=line, voices=(whole,))


def prints_voices(prepared: Tune, edition: Edition) -> bool:
    """Whether the tune's voices stand on staves below its melody."""
    if prepared.line.startswith("frame"):
        return prepared.line == "frame and full"
    return edition.voices == "both"


def edition_of(prepared: Tune, edition: Edition) -> Edition:
    """The edition as it prints this tune: with staves below the melody, or without."""
    if edition.voices == "second":
        return edition
    shown: VoicesShown = "both" if prints_voices(prepared, edition) else "melody"
    return replace(edition, voices=shown)


def whole_of(prepared: Tune) -> Tune | None:
    """The tune of which a prepared one is the frame, in the same key; None where it is whole."""
    if not prepared.line.startswith("frame") or not prepared.voices:
        return None
    return replace(voice_as_tune(prepared, prepared.voices[0]), line="full")


def _in_chosen_key(
    tune: Tune, choice: TuneChoice, setup: Setup
) -> tuple[Tune, tuple[Message, ...]]:
    place = choice.place or tune.place
    if choice.key is None or choice.key == AS_WRITTEN:
        return transpose_tune(tune, choice.transpose), ()
    if choice.transpose:
        what = f"{tune.title!r} has both a key and a transposition"
        return _to_key(tune, choice.key, setup), (
            Message(place, "setting", what, "the key is used; take one of the two out"),
        )
    if tune.key.mode == "none":
        what = f"{tune.title!r} has no key of its own, so it cannot be moved to {choice.key}"
        return tune, (Message(place, "setting", what, "give K: in the tune, or use transpose"),)
    return _to_key(tune, choice.key, setup), ()


def _to_key(tune: Tune, keynote: str, setup: Setup) -> Tune:
    semitones = semitones_to(tune, keynote, lambda way: is_in_compass(tune, way, setup.instrument))
    return transpose_tune(tune, semitones)


def has_fixed_key(tune: Tune, choice: TuneChoice | None) -> bool:
    """Whether tunes.toml, or the text, says in which key a tune is to be printed, whatever the
    edition."""
    return tune.has_fixed_key or (choice is not None and choice.key is not None)


def level_of(tune: Tune, setup: Setup) -> Level:
    """What the tune must keep to in this edition."""
    choice = setup.book.choice(tune_identity(tune))
    speed, _ = tempo_of(tune, choice.tempo if choice else None)
    player = Player(setup.instrument, setup.hand)
    if setup.edition.voices == "second" and tune.voices:
        player = player_of(setup.players, part_of(tune), 0, player)
    return Level(player.instrument, player.hand, setup.edition.limits, speed)


def fit_tune(prepared: Tune, setup: Setup) -> Fitted:
    """Return a tune that :func:`prepare_tune` gave in the key that the edition's ``fit`` asks for.

    A tune that takes too many steps to be tried stays as it is.
    """
    fit = setup.edition.fit
    choice = setup.book.choice(tune_identity(prepared))
    if fit == "print as written" or has_fixed_key(prepared, choice):
        return Fitted(prepared)
    level = level_of(prepared, setup)
    with suppress(OutOfStepsError), at_most(reading_limits(setup).solving_steps):
        bars = bars_out_of_reach(prepared, level)
        if not bars:
            return Fitted(prepared)
        numbers = tuple(sorted({prepared.bars[index].number for index in bars}))
        found = fitting_key(prepared, level) if fit == "transpose" else None
        if found is None:
            line = _fitting_line(prepared, level, tries_keys=fit == "transpose")
            return Fitted(prepared, beyond=Beyond(numbers, fit == "transpose", line))
        return Fitted(found.tune, () if found.has_pins else (_without_pins(prepared, setup),))
    return Fitted(prepared)


def _fitting_line(tune: Tune, level: Level, *, tries_keys: bool) -> Line:
    """An easier line of a tune beyond the level that is within it, as little easier as may be;
    "full" for none."""
    if tune.line.startswith("frame"):
        return "full"
    bare = without_grace_notes(tune)
    with suppress(OutOfStepsError):
        if tune.line == "full" and _keeps_to(plain_line(bare), level, tries_keys=tries_keys):
            return "plain"
        frame = frame_of(bare, level.whole_notes_per_second)
        if _keeps_to(frame, level, tries_keys=tries_keys):
            return "frame"
    return "full"


def _keeps_to(tune: Tune, level: Level, *, tries_keys: bool) -> bool:
    if not bars_out_of_reach(tune, level):
        return True
    return tries_keys and fitting_key(tune, level) is not None


def _without_pins(tune: Tune, setup: Setup) -> Message:
    choice = setup.book.choice(tune_identity(tune))
    are_beside = choice is not None and (choice.fingers or choice.strings)
    place = choice.place if choice is not None and are_beside else None
    what = f"with its pins {tune.title!r} keeps to the edition's limits in no key"
    remedy = f'it is printed without them; take them out, or set key = "{AS_WRITTEN}" for it'
    return Message(place or tune.place, "pin", what, remedy)


def moved_choice(tune: Tune, choice: TuneChoice | None) -> TuneChoice | None:
    """The choices for a tune as they are for the key in which it is printed: a drone is moved
    along with what the edition moved."""
    if choice is None or has_fixed_key(tune, choice) or tune.moved is None:
        return choice
    if choice.drone is None or choice.drone == "none":
        return choice
    midi = midi_of(choice.drone) + tune.moved.semitones - choice.transpose
    return replace(choice, drone=pitch_name(midi), drone_as_written=choice.drone)


def level_message(tune: Tune, beyond: Beyond, edition: str) -> Message:
    """What the closing summary says of a tune that the edition leaves out."""
    bars = bars_in_words(beyond.bars)
    what = f"{tune.title!r} goes beyond the limits of edition {edition!r} in {bars}"
    if beyond.tried_keys:
        what += ", and so it does in every key within an octave"
    remedy = f'left out, unless key = "{AS_WRITTEN}" is set for it'
    if beyond.fitting_line != "full":
        what_fits = "its frame" if beyond.fitting_line == "frame" else "without ornaments it"
        remedy += f'; {what_fits} would fit: line = "{beyond.fitting_line}"'
    return Message(tune.place, "level", what, remedy, is_fatal=True)
