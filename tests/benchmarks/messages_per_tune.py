"""Prints how many messages ``check`` has about corpus tunes, by kind and by cause.

Run: python tests/benchmarks/messages_per_tune.py [tunes] [seed] [folder ...]

The tunes are drawn at random from folders of music21's corpus (oneills1850, ryansMammoth,
airdsAirs and essenFolksong unless named), each copied into a file of its folder's name in a
temporary place, and checked as a reader's own folder would be. A cause is a message with its
numbers, names and quoted texts taken out.
"""

from __future__ import annotations

import random
import re
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

from corpus_folders import FOLDERS, corpus_folder

from tunebook.errors import Message
from tunebook.pipeline.check import check_folder
from tunebook.pipeline.load import prepare

_DETAIL = re.compile(r"\"[^\"]*\"|'[^']*'|\b[A-G][#b]*-?\d\b|\d+(?:/\d+)?|: .*|\(.*?\)")


def texts_of(name: str) -> list[str]:
    """Every tune of a corpus folder, cut at X:."""
    texts = []
    for path in sorted(corpus_folder(name).glob("*.abc")):
        text = path.read_text(encoding="utf-8", errors="replace").replace("\r\n", "\n")
        texts += ["X:" + piece.strip() for piece in ("\n" + text).split("\nX:")[1:]]
    return texts


def messages_about(texts: list[str], name: str) -> list[Message]:
    """What ``check`` says about these tunes in one file."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / f"{name}.abc").write_text("\n\n".join(texts), encoding="utf-8")
        return list(check_folder(prepare(Path(folder)), jobs=1).messages)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    chosen = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    kinds: Counter[str] = Counter()
    causes: Counter[tuple[str, str]] = Counter()
    most = 0
    folders = sys.argv[3:] or list(FOLDERS)
    for name in folders:
        texts = chosen.sample(texts_of(name), count // len(folders))
        messages = messages_about(texts, name)
        by_line = Counter(message.place.line for message in messages)
        most = max([most, *by_line.values()])
        print(f"{name}: {100 * len(messages) / len(texts):.0f} messages per 100 tunes")
        for message in messages:
            kinds[message.kind] += 1
            causes[message.kind, _DETAIL.sub("#", message.what)] += 1
    scale = 100 / (count // len(folders) * len(folders))
    print(f"\nall folders: {scale * sum(kinds.values()):.0f} per 100 tunes")
    for kind, number in kinds.most_common():
        print(f"  {scale * number:6.1f}  {kind}")
    print("\nby cause, per 100 tunes")
    for (kind, cause), number in causes.most_common():
        print(f"  {scale * number:6.1f}  {kind}: {cause}")


if __name__ == "__main__":
    main()
