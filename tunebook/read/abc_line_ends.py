"""Bar lines that some collections leave out at the ends of lines.

ABC 2.1 knows no bar line that is not written. Collections converted from other formats leave it
out where a line ends with a full bar; the page needs it there. Accidentals run on over such a line
end, as the standard says of a bar with no sign in it.
"""

from __future__ import annotations

from tunebook.read.abc_drafts import BarDraft
from tunebook.read.abc_finish import full_length


def split_at_line_ends(drafts: list[BarDraft]) -> list[BarDraft]:
    """Split bars that are too long where a line ends after a full bar. Since the bar is full
    there, it is sure, and nothing is said."""
    result: list[BarDraft] = []
    for draft in drafts:
        result += _split(draft) if draft.line_ends else [draft]
    return result


def _split(draft: BarDraft) -> list[BarDraft]:
    full = full_length(draft)
    cuts = [end for end in draft.line_ends if end < len(draft.notes)]
    if not full or not cuts:
        return [draft]
    pieces = []
    start = 0
    for end in cuts:
        if sum([note.ticks for note in draft.notes[start:end]]) == full:
            pieces.append(_piece(draft, start, end))
            start = end
    if not pieces:
        return [draft]
    pieces.append(_piece(draft, start, len(draft.notes)))
    _share_ends(draft, pieces)
    return pieces


def _piece(draft: BarDraft, start: int, end: int) -> BarDraft:
    piece = BarDraft(draft.notes[start].line, 1, draft.meter, draft.key, "|")
    piece.notes = draft.notes[start:end]
    piece.sign_after = "|"
    piece.has_alteration = draft.has_alteration
    piece.line_breaks = True
    return piece


def _share_ends(draft: BarDraft, pieces: list[BarDraft]) -> None:
    """What stood at the bar's beginning and end goes to the first and the last piece."""
    first, last = pieces[0], pieces[-1]
    first.sign_before, first.ending = draft.sign_before, draft.ending
    first.meter_changed, first.key_changed = draft.meter_changed, draft.key_changed
    first.part, first.tempo, first.clef = draft.part, draft.tempo, draft.clef
    last.sign_after, last.passes = draft.sign_after, draft.passes
    last.line_breaks = draft.line_breaks
    last.decorations, last.annotations = draft.decorations, draft.annotations
