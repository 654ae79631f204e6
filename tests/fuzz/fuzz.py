"""Coverage-guided fuzzing of everything that takes text from strangers; run by hand.

    python tests/fuzz/fuzz.py TARGET [--findings FOLDER] [options of libFuzzer: -max_total_time=600]

TARGET is ``abc`` (any bytes as a file of tunes), ``settings`` (any text as tunes.toml),
``profile`` (any text as an instrument's profile: read, shown, written as a file and read again, a
tune fingered on it), ``hand`` (any text as the [hand] table: a tune fingered by that hand) or
``source`` (any text as a tune, all the way to LilyPond source). Wants the package atheris (PyPI).

Anything but a TunebookError of one line is a finding. The first one ends the run; with
``--findings`` the run goes on, and each new kind of finding (error and place) is kept in that
folder as the input and its traceback. What the project ships is where it starts from.
"""

from __future__ import annotations

import contextlib
import math
import random
import re
import sys
import tempfile
import traceback
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["tunebook"]):
    from tunebook.errors import SettingError, TunebookError
    from tunebook.model.arrangement import Arrangement
    from tunebook.model.book import Edition, HandChoice
    from tunebook.model.hand import Hand
    from tunebook.model.instrument import Instrument
    from tunebook.read.abc.tune import read_abc
    from tunebook.read.folder import read_folder
    from tunebook.read.settings.hand_file import parse_hand_file
    from tunebook.read.settings.profile import parse_instrument, read_hand, read_instrument
    from tunebook.read.settings.tunes_file import parse_settings, read_settings
    from tunebook.solve.arrange import arrange
    from tunebook.write.hand_file import hand_as_toml
    from tunebook.write.instrument_text import profile_as_text, profile_as_toml
    from tunebook.write.lilypond.source import write_source

ROOT = Path(__file__).resolve().parents[2]
WIDTH_PT = 480.0
EDITIONS = read_settings(None)[0].editions
HARPA = read_instrument("nyckelharpa-3row")
HAND = read_hand(HandChoice())
FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-"))
TUNE = read_abc("X:1\nT:t\nL:1/8\nM:3/4\nK:D\nA2 d2 f2|[FA]2 e2 c2|d6|\n")[0]

HANDS = (
    b'size = "small"\nbarre = true\nfingers = [1, 2, 4]\n',
    b'spans_mm = { "1-2" = 55.0, "3-4" = 41.5 }\npad_width_mm = 17.5\n',
    b'higher_finger_on = "lower string"\n[hand.spans_mm]\n"1-4" = 101.0\n',
    b'size = "large"\nspan_factors = { relaxed = 1.2, practical = 0.9 }\n[weights.keyed]\n'
    b"little_finger = 3.5\nshift = 7.0\n[weights.fingerboard]\njump = 0.5\n",
)
# What is put where a value, a key or a piece of music stood; the byte-wise mutations of the fuzzer
# alone would hardly leave the parser of the text.
TOML_VALUES = (
    "true", "0", "1", "-1", "7", "40", "1e-300", "1e400", "nan", "inf", "-inf", "9" * 400, "0x7f",
    "1979-05-27", "1979-05-27T07:32:00Z", '""', '"x"', '"\\u0000"', '"\\u001b[31m"', '"\\u202e"',
    '"a\\nb"', '"D4"', '"C#5"', '"E##9"', "[]", "{}", "[1]", "[[]]", '["D4"]', "[nan]", "[{}]",
    '["A4", 1]', "{ a = 1 }", "{ 1 = 20.0 }", "{ 1 = nan, 2 = 1 }", '{ "²" = 20.0 }',
    '{ "1-2" = nan }', '{ "1-2" = 250 }', '{ "1-2" = 5, "1-4" = 5 }', "[1, 1, 4]", "[4]", "[0]",
)  # fmt: skip
TOML_KEYS = (
    "name", "title", "keys", "string", "tunings", "tuning", "row", "places_mm", "shift_mm", "size",
    "sympathetic", "spans_mm", "fingers", "barre", "hand", "edition", "set", "tune", "limits",
    "reading", "instrument", "span_factors", "relaxed", "practical", "weights", "weights.keyed",
    "little_finger", "higher_finger_on", '"²"', '""', "a.b",
    "[string]", "[[tunings]]", "[[set]]", "[hand]",
)  # fmt: skip
ABC_WORDS = (
    "|:", ":|", "::", "|1", "[2", "|]", "[|]", "(3", "(9:2:5", "{d}", "{/e", "!2!", "!trill(!",
    "+x+", "[r:drone off]", "[r:string D]", "[K:Hp]", "[M:C|]", "[L:1/0]", "[V:2]", "[P:A]", "&",
    "&&", "\\", "-", ">>>", "z99999", "Z0", "^^c", "_3/2B", "^/c", "[d2f", "d/0", "d////", '"Am7"',
    '"^x', "%%text", "w:", "W:", "P:A(B2)3", "Q:1/4=0", "U:T=!x!", "m:~n2=o/n/m/", "X:", "T:", "K:",
    "s:", "y", "$", "`",
)  # fmt: skip


def fuzz_abc(data: bytes) -> None:
    path = FOLDER / "a.abc"
    path.write_bytes(data)
    reading = read_folder(path)
    assert all("\n" not in str(message) for message in reading.messages)


def fuzz_settings(data: bytes) -> None:
    book, messages = parse_settings(data.decode("utf-8", "replace"), "tunes.toml", EDITIONS)
    assert book.paper in ("a4", "letter", "a5")
    assert all("\n" not in str(message) for message in messages)


def fuzz_profile(data: bytes) -> None:
    instrument = parse_instrument(data.decode("utf-8", "replace"), "profile.toml")
    _check_instrument(instrument)
    assert all("\n" not in line for line in profile_as_text(instrument)), "a line is two"
    again = parse_instrument(profile_as_toml(instrument), "again.toml")
    _check_instrument(again)
    assert [s.open_midi for s in again.strings] == [s.open_midi for s in instrument.strings]
    _finger(instrument, HAND)


def fuzz_hand(data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    with contextlib.suppress(SettingError):
        choice = parse_hand_file(text, "hand.toml")[0]
        _finger(HARPA, read_hand(choice))
        again, said = parse_hand_file(hand_as_toml(choice, "keyed", {}), "hand.toml")
        assert not said, said
        assert replace(again, given=choice.given, place=choice.place) == choice, again
    text = "[hand]\n" + text
    hand = read_hand(parse_settings(text, "tunes.toml", EDITIONS)[0].hand)
    for span in hand.spans:
        widest = (span.max_relaxed_mm, span.max_comfortable_mm, span.max_practical_mm)
        assert all(math.isfinite(bound) for bound in widest), widest
        assert widest == tuple(sorted(widest)), widest
    _finger(HARPA, hand)


def fuzz_source(data: bytes) -> None:
    text = "X:1\nT:t\nL:1/8\nM:3/4\nK:D\n" + data.decode("utf-8", "replace")
    for tune in read_abc(text)[:2]:
        _write(arrange(tune, HARPA, HAND))


def _check_instrument(instrument: Instrument) -> None:
    for string in instrument.strings:
        places = (0.0, *string.key_places_mm, instrument.string_length_mm)
        assert all(lower < upper for lower, upper in pairwise(places)), places
        assert math.isfinite(string.row_mm)


def _finger(instrument: Instrument, hand: Hand) -> None:
    arrangement = arrange(TUNE, instrument, hand)
    _write(arrangement)


def _write(arrangement: Arrangement) -> None:
    source = write_source(arrangement, Edition("player"), line_width_pt=WIDTH_PT).text
    assert source.count('"') % 2 == source.count('\\"') % 2


def _files(pattern: str) -> list[bytes]:
    return [path.read_bytes() for path in sorted(ROOT.glob(pattern))]


# What is fuzzed, what it starts from, and whether it is TOML.
TARGETS: dict[str, tuple[Callable[[bytes], None], list[bytes], bool]] = {
    "abc": (fuzz_abc, _files("sample_tunes/*.abc"), False),
    "settings": (fuzz_settings, _files("sample_tunes/*.toml"), True),
    "profile": (fuzz_profile, _files("tunebook/data/instruments/*.toml"), True),
    "hand": (fuzz_hand, list(HANDS), True),
    "source": (fuzz_source, [b"|:d2 ef g2|e2 c2 A2|d6:|\n"], False),
}


def change_toml(text: str, rng: random.Random) -> str:
    """Change, double or take out a line, or put other keys and values in."""
    lines = text.split("\n")
    at = rng.randrange(len(lines))
    key, equals, value = lines[at].partition("=")
    what = rng.randrange(6)
    if what == 0:
        del lines[at]
    elif what == 1:
        lines.insert(rng.randrange(len(lines) + 1), lines[at])
    elif what == 2 and equals:
        lines[at] = f"{key}= {rng.choice(TOML_VALUES)}"
    elif what == 3 and equals:
        lines[at] = f"{rng.choice(TOML_KEYS)} ={value}"
    elif what == 4:
        lines.insert(at, f"{rng.choice(TOML_KEYS)} = {rng.choice(TOML_VALUES)}")
    else:
        # One number, word or text of the line becomes something else.
        words = list(re.finditer(r'"[^"]*"|[\w.+-]+', value)) or [None]
        word = rng.choice(words)
        if word is not None:
            start = len(key) + len(equals)
            changed = value[: word.start()] + rng.choice(TOML_VALUES) + value[word.end() :]
            lines[at] = lines[at][:start] + changed
    return "\n".join(lines)


def change_abc(text: str, rng: random.Random) -> str:
    """Put a word of the language somewhere, double or take out a line, or join two places."""
    lines = text.split("\n")
    at = rng.randrange(len(lines))
    what = rng.randrange(5)
    if what == 0:
        del lines[at]
    elif what == 1:
        lines.insert(rng.randrange(len(lines) + 1), lines[at])
    elif what == 2:
        other = rng.choice(lines)
        lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)] + other
    else:
        place = rng.randrange(len(lines[at]) + 1)
        skipped = rng.randrange(3)
        lines[at] = lines[at][:place] + rng.choice(ABC_WORDS) + lines[at][place + skipped :]
    return "\n".join(lines)


class _Findings:
    """Keeps one input of each kind of finding."""

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self.inputs = 0
        self.seen: dict[tuple[str, str], int] = {}

    def judge(self, target: Callable[[bytes], None], data: bytes) -> None:
        self.inputs += 1
        try:
            try:
                target(data)
            except TunebookError as error:
                assert "\n" not in str(error).strip(), error
        except Exception as error:
            if self.folder is None:
                raise
            self._keep(error, data)

    def _keep(self, error: Exception, data: bytes) -> None:
        assert self.folder is not None
        last = traceback.extract_tb(error.__traceback__)[-1]
        ours = [
            one for one in traceback.extract_tb(error.__traceback__) if "tunebook" in one.filename
        ]
        place = ours[-1] if ours else last
        kind = (type(error).__name__, f"{Path(place.filename).name}-{place.lineno}")
        self.seen[kind] = self.seen.get(kind, 0) + 1
        if self.seen[kind] == 1:
            name = "-".join(kind)
            (self.folder / f"{name}.input").write_bytes(data)
            trace = "".join(traceback.format_exception(error))
            (self.folder / f"{name}.txt").write_text(trace, encoding="utf-8")
            print(f"finding: {name}: {error!s:.200}", file=sys.stderr, flush=True)


def _mutator(change: Callable[[str, random.Random], str]) -> Callable[[bytes, int, int], bytes]:
    """Half of the changes know the language, the others are the fuzzer's own."""

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        rng = random.Random(seed)
        if rng.random() < 0.5:
            return atheris.Mutate(data, most)
        text = data.decode("utf-8", "surrogateescape")
        for _ in range(rng.randint(1, 3)):
            text = change(text, rng)
        return text.encode("utf-8", "surrogateescape")[:most]

    return mutate


def main() -> None:
    name, *options = sys.argv[1:]
    target, seeds, is_toml = TARGETS[name]
    folder = None
    if "--findings" in options:
        at = options.index("--findings")
        folder = Path(options[at + 1])
        folder.mkdir(parents=True, exist_ok=True)
        del options[at : at + 2]
    corpus = FOLDER / "corpus"
    corpus.mkdir()
    for number, seed in enumerate(seeds):
        (corpus / str(number)).write_bytes(seed)
    findings = _Findings(folder)
    usual = ["-max_len=4096", f"-artifact_prefix={folder or FOLDER}/"]
    atheris.Setup(
        [sys.argv[0], *usual, *options, str(corpus)],
        lambda data: findings.judge(target, data),
        custom_mutator=_mutator(change_toml if is_toml else change_abc),
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
