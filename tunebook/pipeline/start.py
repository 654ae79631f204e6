"""What a player starts from: an instrument's profile, shown or to fill in, and new settings."""

from __future__ import annotations

import json
import os
from pathlib import Path

from tunebook.errors import InputError, OutputError, SourcePlace
from tunebook.files import FilesRead, check_writable, write_whole
from tunebook.model.tune import Tune
from tunebook.pipeline.load import SETTINGS_FILE_NAME, check_is_there, load, prepare
from tunebook.pipeline.order import tune_identity
from tunebook.read.settings.profile import read_instrument
from tunebook.store import default_store
from tunebook.write.instrument_text import profile_as_text, profile_as_toml

_HEAD = """\
# Settings of this tune book. Every line may be left out; what stands here are the defaults.
# Its tunes are those of the .abc files and scores (.musicxml, .mxl, .xml) beside it.
title = {title}
subtitle = ""
editor = ""
paper = "a4"             # a4, letter or a5
language = "en"          # of the fixed words: en or sv
# note_names = "h"       # B natural and B flat printed as H and B; "b": as B and B♭
attach = false           # put tunes and settings into the PDF, for tunebook unpack
booklet = false          # two a5 pages on an a4 sheet, ordered for folding
may_reorder = false      # let tunes outside the sets change places to fill pages better, and
                         # those of one tuning in a set stand together
# sounds = "https://example.org/tunes/"   # where recordings lie; or a folder beside the book
# qr = true              # a QR code of that address by each tune

[instrument]
profile = "nyckelharpa-3row"   # or nyckelharpa-4row, fiddle, viola, or a file beside this one
tuning = "CGDA"                # strings from the lowest; or "C3,G3,D4,A4"

[hand]
size = "medium"                     # small, medium or large
barre = false                       # may one finger lie flat over two rows?
higher_finger_on = "higher string"  # in a crossed stop: or "lower string"
fingers = [1, 2, 3, 4]              # those that may be used
# file = "my_hand.toml"             # or all of it from a hand file; `tunebook learn` writes one

[sound]
format = "flac"                     # of practice recordings: flac, wav or ogg
key_knock = 1.0                     # how loud keys knock; 0 is silent
[sound.beats]
# polska = [0.9, 1.15, 0.95]        # uneven beats of a tune type

# A set: tunes played one after the other, printed together.
{sets}
# Who plays the second voices of tunes that have some (V:2); left out, it is as the melody.
# [voices]
# "2" = {{ instrument = "fiddle" }}   # also tuning, hand, drones ("none", "open", ...)

# An edition of your own; the built-in ones are player, teacher, student-1 to student-3, duo
# (the melody and its second voice), and accompanist.
# [[edition]]
# name = "large print"
# based_on = "player"
# staff_size_pt = 24
# voices = "second"                 # "melody", "both", or a part for the second voice alone
# fit = "transpose"                 # tunes beyond its limits: or "print as written", "leave out"
# line = "frame"                    # the tones that carry a tune; "plain", "full", "frame and full"

# Choices for single tunes, by file and X: number.
{choices}"""


def show_instrument(
    name: str, tuning: str | None, output: Path | None, as_profile: bool
) -> list[str]:
    """Return the lines to print; with ``output``, draw the instrument into that PDF too.

    Raises SettingError for a profile or tuning that cannot be used, OutputError for the PDF.
    """
    read = FilesRead()
    instrument = read_instrument(name, tuning, read)
    if output is not None:
        from tunebook.book.pages.instrument import write_instrument_page

        check_writable(output, read)
        write_instrument_page(instrument, output, store=default_store(), read=read)
        return [f"drawn: {output}"]
    if as_profile:
        return profile_as_toml(instrument).splitlines()
    return profile_as_text(instrument)


def write_settings(folder: Path) -> Path:
    """Write tunes.toml with the folder's tunes in it and return its path.

    Raises InputError when the folder holds no tune, OutputError when there is a tunes.toml
    already or it cannot be written.
    """
    check_is_there(folder)
    if not folder.is_dir():
        raise InputError("is not a folder", "name the folder of tunes", SourcePlace(str(folder)))
    target = folder / SETTINGS_FILE_NAME
    if os.path.lexists(target):
        raise OutputError("is there already", "edit it, or move it away", SourcePlace(str(target)))
    tunes = load(prepare(folder), is_ordered=False).tunes
    text = _HEAD.format(
        title=_quoted(folder.resolve().name), sets=_sets(tunes), choices=_choices(tunes)
    )
    # A name that is no UTF-8 cannot be written as it is; its tunes can be named by their titles.
    write_whole(target, text.encode("utf-8", "replace"), may_overwrite=False)
    return target


def _quoted(text: str) -> str:
    """A TOML basic string is a JSON string but for the characters above the basic plane, which
    TOML takes as they are (TOML 1.0.0, strings); control characters are escaped by both."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _sets(tunes: tuple[Tune, ...]) -> str:
    lines = ["# [[set]]", '# title = "First set"', "# tunes = ["]
    lines += [f"#     {_quoted(tune_identity(tune))},  # {_plain(tune.title)}" for tune in tunes]
    return "\n".join([*lines, "# ]", ""])


def _choices(tunes: tuple[Tune, ...]) -> str:
    name = _quoted(tune_identity(tunes[0]))
    return "\n".join(
        [
            f"# [tune.{name}]",
            "# tempo = 104                           # quarter notes a minute",
            '# drone = "D4"                          # or "D4 strict", or "none"',
            "# transpose = 0                         # semitones",
            '# key = "as written"                    # in every edition; or a keynote like "D"',
            '# tuning = "CGCA"                       # a set and an edition may have one too',
            '# line = "plain"                        # in every edition; "full", "frame", ...',
            '# title = "Another title"               # printed instead of the one of the tune',
            '# chords = "D | G A7 | D . G"           # by bar; or a symbol or a dot for each beat',
            '# pins = ["bar 3 note 2 finger 1"]      # or "... string D"',
            "# leave_out = false",
            "",
        ]
    )


def _plain(text: str) -> str:
    return "".join(letter if letter.isprintable() else " " for letter in text)
