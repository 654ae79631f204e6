"""What a book is made of: everything that the pages need, solved and engraved beforehand.

The constants name the places in the book that links, indexes and the outline lead to.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tunebook.book.attachments import AttachedFile
from tunebook.model.arrangement import Arrangement, Stop
from tunebook.model.book import Book, Edition
from tunebook.model.changes import RetuneFacts, StringChange
from tunebook.model.choices import Paper
from tunebook.model.hand import Hand
from tunebook.model.instrument import Instrument
from tunebook.model.piece import EngravedPiece
from tunebook.store import NO_STORE, Store

TITLE_PAGE = "page title"
CAUTIONS = "page cautions"
CONTENTS = "page contents"
SIGNS = "page signs"
INSTRUMENT = "page instrument"
PRACTICE = "page practice"
CHORDS = "page chords"
LADDER = "page ladder"
INDEX_TITLES = "page titles"
INDEX_TYPES = "page types"
INDEX_KEYS = "page keys"
INDEX_TECHNIQUES = "page techniques"
INDEX_OPENINGS = "page openings"
SOURCES = "page sources"
COLOPHON = "page colophon"
RETUNING = "page retuning"


def tune_anchor(identity: str) -> str:
    """Name of the place of a tune in the book."""
    return f"tune {identity}"


def set_anchor(index: int) -> str:
    """Name of the place of a set, by its number in the book."""
    return f"set {index}"


@dataclass(frozen=True, slots=True)
class SoundLink:
    """Where a tune's recording is found: an address, or the path of a file from the book's folder,
    percent-encoded; ``has_qr`` asks for a code to be read by a telephone."""

    address: str
    has_qr: bool = False


@dataclass(frozen=True, slots=True)
class BookTune:
    """One tune, arranged and engraved; ``small_piece`` is the same in the smaller staff size of a
    tight book. ``identity`` is "file.abc:X". ``limit_note`` says what goes
    beyond the edition's limits and what would not; ``choice_notes`` are a teacher's lines on why
    and what else; ``voices_note`` says which voices are printed and what plays them. All are text
    in the book's language. ``sound`` leads to a recording.
    ``tuning_note`` says how the strings are tuned where that is not the book's tuning, ``retuning``
    which of them to turn, from the tune before in a set or from the book's tuning."""

    identity: str
    arrangement: Arrangement
    piece: EngravedPiece
    small_piece: EngravedPiece | None = None
    limit_note: str = ""
    choice_notes: tuple[str, ...] = ()
    voices_note: str = ""
    sound: SoundLink | None = None
    tuning_note: str = ""
    retuning: tuple[StringChange, ...] = ()

    @property
    def title(self) -> str:
        """The title that the tune goes by."""
        return self.arrangement.tune.title or self.identity


@dataclass(frozen=True, slots=True)
class BookSection:
    """Tunes under one heading: a set, or (without title) the tunes of no set."""

    title: str
    tunes: tuple[BookTune, ...]
    note: str = ""
    is_kept_together: bool = False


@dataclass(frozen=True, slots=True)
class TuneLeftOut:
    """A tune that goes beyond the edition's level, and the reason in the book's language."""

    title: str
    reason: str


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """One sign explained. ``kind`` is one of those in FixedWords.legend; ``piece`` is the engraved
    example, if any."""

    kind: str
    piece: EngravedPiece | None = None


@dataclass(frozen=True, slots=True)
class PracticePiece:
    """One exercise: a heading and its music."""

    title: str
    piece: EngravedPiece


@dataclass(frozen=True, slots=True)
class PracticeSection:
    """Exercises that belong together: a warm-up, or those of one tune (``tune`` its identity)."""

    title: str
    pieces: tuple[PracticePiece, ...]
    text: str = ""
    tune: str = ""


@dataclass(frozen=True, slots=True)
class ChordShapes:
    """Ranked shapes of one chord for the chord page, the best first; low string first in each.
    ``tuned`` is the instrument in the tuning they are for, None in the book's own."""

    symbol: str
    shapes: tuple[tuple[Stop, ...], ...]
    tuned: Instrument | None = None


@dataclass(frozen=True, slots=True)
class BookContent:
    """A whole book. ``sections`` are in the order of printing. Converted fonts are kept in
    ``store``. ``retuning`` is what changed since an earlier tuning, for a report before the
    tunes. ``left_out`` are named at the end of the contents."""

    book: Book
    edition: Edition
    instrument: Instrument
    hand: Hand
    sections: tuple[BookSection, ...]
    legend: tuple[LegendEntry, ...] = ()
    practice: tuple[PracticeSection, ...] = ()
    chord_shapes: tuple[ChordShapes, ...] = ()
    program_version: str = ""
    engraver: str = "LilyPond"
    store: Store = NO_STORE
    retuning: RetuneFacts | None = None
    left_out: tuple[TuneLeftOut, ...] = ()
    attached: tuple[AttachedFile, ...] = ()

    @property
    def tunes(self) -> tuple[BookTune, ...]:
        """All tunes in the order of printing."""
        return tuple(tune for section in self.sections for tune in section.tunes)

    @property
    def paper(self) -> Paper:
        return self.edition.paper or self.book.paper


@dataclass(frozen=True, slots=True)
class BookReport:
    """What was made."""

    output: Path
    pages: int
    tunes: int
    booklet: Path | None = None
    warnings: tuple[str, ...] = ()
