"""Small scores for tests, written as MusicXML 4.0 (W3C Music Notation Community Group, 2021)."""

from __future__ import annotations

import io
import zipfile

from tunebook.model.tune import Tune
from tunebook.read.folder import AbcFile, iterate_tunes

START = (
    "<attributes><divisions>4</divisions><key><fifths>2</fifths><mode>major</mode></key>"
    "<time><beats>3</beats><beat-type>4</beat-type></time>"
    "<clef><sign>G</sign><line>2</line></clef></attributes>"
)
_TYPES = {1: "16th", 2: "eighth", 3: "eighth", 4: "quarter", 6: "quarter", 8: "half", 12: "half"}


def note(
    name: str,
    duration: int = 4,
    inner: str = "",
    *,
    voice: int = 1,
    before: str = "",
    end: str = "",
) -> str:
    """A note ("F#4"; "r" a rest) of so many sixteenths; ``before`` comes before <pitch>, ``inner``
    stands in <notations>, ``end`` after it."""
    kind = f"<type>{_TYPES[duration]}</type>" + ("<dot/>" if duration % 3 == 0 else "")
    if name == "r":
        pitch = "<rest/>"
    else:
        alter = name[1:-1].count("#") - name[1:-1].count("b")
        sign = f"<alter>{alter}</alter>" if alter else ""
        pitch = f"<pitch><step>{name[0]}</step>{sign}<octave>{name[-1]}</octave></pitch>"
    notations = f"<notations>{inner}</notations>" if inner else ""
    length = "" if "<grace" in before else f"<duration>{duration}</duration>"
    return f"<note>{before}{pitch}{length}<voice>{voice}</voice>{kind}{notations}{end}</note>"


def direction(inner: str, *, sound: str = "", placement: str = "above") -> str:
    return (
        f'<direction placement="{placement}"><direction-type>{inner}</direction-type>'
        f"{sound}</direction>"
    )


def measure(number: object, *content: str, implicit: bool = False) -> str:
    mark = ' implicit="yes"' if implicit else ""
    return f'<measure number="{number}"{mark}>{"".join(content)}</measure>'


def barline(inner: str, location: str = "right") -> str:
    return f'<barline location="{location}">{inner}</barline>'


BACKWARD = barline('<bar-style>light-heavy</bar-style><repeat direction="backward"/>')
FORWARD = barline('<bar-style>heavy-light</bar-style><repeat direction="forward"/>', "left")


def score(*parts: str, head: str = "<work><work-title>Lilla Lisa</work-title></work>") -> bytes:
    """A score of parts, each the text of its measures."""
    listing = "".join(
        f'<score-part id="P{number}"><part-name>{name}</part-name></score-part>'
        for number, name in zip(range(1, len(parts) + 1), ("Harpa", "Fiol", "Cello"), strict=False)
    )
    music = "".join(
        f'<part id="P{number}">{part}</part>' for number, part in enumerate(parts, start=1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC '
        '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'
        f'<score-partwise version="4.0">{head}<part-list>{listing}</part-list>{music}'
        "</score-partwise>"
    ).encode()


CONTAINER = '<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'


def packed(content: bytes, name: str = "score.musicxml", *, container: str | None = None) -> bytes:
    """A .mxl archive of one score."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        text = CONTAINER.format(name=name) if container is None else container
        archive.writestr("META-INF/container.xml", text)
        archive.writestr(name, content)
    return stream.getvalue()


def read(data: bytes, name: str = "lisa.musicxml") -> list[Tune]:
    """The tunes of a score file, read as a folder's are."""
    found = list(iterate_tunes([AbcFile(name, data)]))
    return [one[1] for one in found if isinstance(one, tuple)]


def read_one(*measures: str) -> Tune:
    (tune,) = read(score("".join(measures)))
    return tune


def tones(tune: Tune) -> list[str]:
    return [
        " ".join("+".join(pitch.name for pitch in one.pitches) or "z" for one in bar.notes)
        for bar in tune.bars
    ]
