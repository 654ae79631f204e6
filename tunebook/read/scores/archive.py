"""The bytes of a score file to the elements of its score, without trusting them.

Source: MusicXML 4.0 (W3C Music Notation Community Group, 2021), "Compressed .mxl files": a zip
archive whose META-INF/container.xml names the score in it. Nothing of an archive is ever written to
a disk, entities are not expanded and nothing outside of the file is looked for.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from tunebook.read.limits import ReadingLimits

MOST_ENTRIES = 1000
DEEPEST = 60
"""Elements within each other; scores need some fifteen."""
_CONTAINER = "META-INF/container.xml"
_ENTITY = re.compile(rb"<\0?!\0?E\0?N\0?T\0?I\0?T\0?Y")
"""The beginning of a declaration, in any encoding of one or two bytes a letter."""
_ZIP = b"PK\x03\x04"
_PARTWISE, _TIMEWISE = "score-partwise", "score-timewise"


class ScoreError(Exception):
    """A score file that cannot be used; ``what`` is wrong and what to do about it."""

    def __init__(self, what: str, remedy: str = "export it once more") -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy


def root_of(data: bytes, limits: ReadingLimits) -> Element:
    """The <score-partwise> element of a .musicxml, .xml or .mxl file. Raises ScoreError."""
    if data.startswith(_ZIP):
        data = _unpacked(data, limits)
    root = parse(data)
    if root.tag == _TIMEWISE:
        root = _by_parts(root)
    if root.tag == "opus":
        raise ScoreError("it is an opus, which only names scores", "put the scores there")
    if root.tag != _PARTWISE:
        raise ScoreError("it holds no MusicXML score", "export it as MusicXML, or move it away")
    return root


def _unpacked(data: bytes, limits: ReadingLimits) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            if len(names) > MOST_ENTRIES:
                raise ScoreError(f"the archive holds more than {MOST_ENTRIES} files")
            name = _name_of_score(archive, names, limits)
            return _member(archive, name, limits)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
        raise ScoreError(f"the archive is damaged ({_words(error)})") from None
    except (NotImplementedError, RuntimeError) as error:
        raise ScoreError(f"the archive cannot be opened ({_words(error)})") from None


def _name_of_score(archive: zipfile.ZipFile, names: list[str], limits: ReadingLimits) -> str:
    """The score's name as the container has it; where there is none, the only likely one."""
    if _CONTAINER in names:
        container = parse(_member(archive, _CONTAINER, limits))
        for element in container.iter():
            if element.tag.rpartition("}")[2] == "rootfile":
                name = element.get("full-path", "")
                if name not in names:
                    raise ScoreError(
                        f"the archive lacks {name[:80]!r}, which it names as its score"
                    )
                return name
    likely = [
        name
        for name in names
        if name.lower().endswith((".xml", ".musicxml")) and not name.startswith("META-INF/")
    ]
    if len(likely) != 1:
        raise ScoreError("the archive does not say which of its files is the score")
    return likely[0]


def _member(archive: zipfile.ZipFile, name: str, limits: ReadingLimits) -> bytes:
    """A file of the archive, read no further than the limit, whatever its size is said to be."""
    with archive.open(name) as stream:
        data = stream.read(limits.file_bytes + 1)
    if len(data) > limits.file_bytes:
        raise ScoreError(
            f"unpacked it is larger than {limits.file_bytes} bytes",
            "split it, or raise file_bytes under [reading]",
        )
    return data


def parse(data: bytes) -> Element:
    """Parse XML. Raises ScoreError where it is broken, declares entities, or is too deep.

    Entities are refused before anything is parsed; Python's parser would look for none outside of
    the file and, from libexpat 2.4.1 on, not expand them without end."""
    if _ENTITY.search(data):
        raise ScoreError("it declares entities, which no score needs")
    try:
        root = ElementTree.fromstring(data)
    except ElementTree.ParseError as error:
        what = "uses entities" if "entity" in str(error) else "is broken XML"
        raise ScoreError(f"it {what} ({_words(error)})") from None
    except (ValueError, LookupError) as error:
        raise ScoreError(f"its encoding cannot be read ({_words(error)})") from None
    level = [root]
    for _ in range(DEEPEST):
        level = [child for element in level for child in element]
        if not level:
            return root
    raise ScoreError(f"its elements lie more than {DEEPEST} deep in each other")


def _words(error: Exception) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__


def _by_parts(score: Element) -> Element:
    """A score written measure by measure, as one written part by part."""
    root = Element(_PARTWISE, score.attrib)
    parts: dict[str, Element] = {}
    for child in score:
        if child.tag != "measure":
            root.append(child)
            continue
        for part in child.findall("part"):
            identity = part.get("id", "")
            if identity not in parts:
                parts[identity] = Element("part", {"id": identity})
            measure = Element("measure", child.attrib)
            measure.extend(list(part))
            parts[identity].append(measure)
    root.extend(parts.values())
    return root
