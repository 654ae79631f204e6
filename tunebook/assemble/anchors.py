"""Names of places in the book that links, indexes and the outline lead to."""

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
