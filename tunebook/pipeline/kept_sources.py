"""The files in which --keep-source keeps what was engraved: each piece's name says what it is.

``polskor-1.ly`` is a tune, ``polskor-1-opening.ly`` its opening, ``polskor-1-bars-5-6.ly`` an
exercise, ``polskor-1-chord-changes.ly`` its drill of chords, ``warm-up-held-drone-A.ly`` a warm-up
and ``sign-finger.ly`` an example of the page of signs.
"""

from __future__ import annotations

from pathlib import Path

from tunebook.model.tune import Tune
from tunebook.pipeline.extras import Extras
from tunebook.pipeline.legend import IDENTITY
from tunebook.pipeline.sources import TuneSource
from tunebook.write.file_names import distinct_names, safe_stem, tune_file_names
from tunebook.write.opening import split_opening

_ENDING = ".ly"


def kept_sources(sources: tuple[TuneSource, ...], extras: Extras, folder: Path) -> dict[Path, str]:
    """Return the source of every piece by its file. Tunes are named first, as export names them."""
    made: list[tuple[str, Tune, str]] = [
        (one.identity, one.outcome.tune, one.text)
        for one in sources
        if one.text and one.outcome.tune
    ]
    names = tune_file_names([tune for _, tune, _ in made], _ENDING.removeprefix("."))
    stems = {
        identity: name.removesuffix(_ENDING)
        for name, (identity, _, _) in zip(names, made, strict=True)
    }
    texts: list[tuple[str, str]] = []
    openings: list[tuple[str, str]] = []
    for identity, _, text in made:
        tune_text, opening = split_opening(text)
        texts.append((stems[identity], tune_text))
        if opening:
            openings.append((f"{stems[identity]}-opening", opening))
    texts += openings
    for one in extras.exercises:
        before = f"{stems[one.tune_identity]}-" if one.tune_identity in stems else ""
        texts.append((before + safe_stem(one.kind), one.source))
    texts += [
        (f"sign-{safe_stem(name.removeprefix(IDENTITY))}", text)
        for name, text in extras.sources.items()
        if name.startswith(IDENTITY)
    ]
    paths = distinct_names(stem + _ENDING for stem, _ in texts)
    return {folder / path: text for path, (_, text) in zip(paths, texts, strict=True)}
