"""Which signs a book uses: the foot line, and the page that explains them."""

from __future__ import annotations

from collections.abc import Sequence

from tunebook.book.content import SIGNS, BookContent, LegendEntry
from tunebook.book.design import Design
from tunebook.book.layout.blocks import Beside, Block, Flowed, Stack, fitted_music
from tunebook.book.layout.flow import Page, Stream, flow_in_fewest
from tunebook.book.layout.tags import Figure
from tunebook.book.pages.furniture import FOOT_GAP
from tunebook.model.arrangement import Arrangement
from tunebook.model.book import Edition

# Share of the width that an engraved example may take.
_EXAMPLE_SHARE = 0.42
# Shares of the usual spaces, so that no few lines are left over for a page of their own.
_EASES = (1.0, 0.85, 0.7, 0.55)


def signs_used(
    arrangements: Sequence[Arrangement], edition: Edition, has_changes: bool
) -> tuple[str, ...]:
    """Kinds of signs, as FixedWords.legend names them, that are printed in the music of an
    edition; ``has_changes`` when bars are marked that a retuning changed."""
    every = [*arrangements, *(voice.arrangement for one in arrangements for voice in one.voices)]
    is_cue = edition.melody == "cue"
    notes = [note for one in every for note in (one.accompaniment if is_cue else one.notes)]
    ways = {way for note in notes for way in note.ways}
    drones = [span for one in every for span in one.drone]
    accents = [accent for one in every for accent in one.accents]
    if edition.accents == "drone":
        drones += [accent.span for accent in accents]
    chords = [span for one in arrangements for span in one.chords]
    shows_fingers = edition.fingers != "none"
    found = {
        "finger": shows_fingers,
        "string": shows_fingers and any(note.shows_string for note in notes),
        "crossed": shows_fingers and "crossed" in ways,
        "drone": bool(drones) and edition.drone_style == "staff",
        "drone_line": bool(drones) and edition.drone_style == "line",
        "accent": bool(accents) and edition.accents == "melody",
        "take_over": any(span.is_taken_over for span in drones),
        "slash": is_cue,
        "chord": bool(chords),
        "solved_chord": any(span.source == "solved" for span in chords),
        "doubtful_chord": any(span.confidence < 0.5 for span in chords),
        "quarter_tone": shows_fingers
        and any(pitch.quarters for one in notes for pitch in one.note.pitches),
        "trill": shows_fingers and any(note.trill_finger for note in notes),
        "unplayable": any(not note.stops for note in notes),
        "beyond": any(note.beyond_limits for note in notes),
        "hard": edition.shows_notes_on_choices,
        "changed": has_changes,
        f"voices_{edition.voices}": not is_cue
        and any(one.tune.has_second_voice for one in arrangements),
    }
    return tuple(kind for kind, is_used in found.items() if is_used)


def foot_line(content: BookContent, design: Design) -> str:
    """The signs in one line, for the foot of pages with music."""
    report = content.retuning
    has_changes = report is not None and any(one.changed_bars for one in report.tunes)
    arrangements = [tune.arrangement for tune in content.tunes]
    kinds = signs_used(arrangements, content.edition, has_changes)
    foot = design.words.foot
    return FOOT_GAP.join(foot[kind] for kind in kinds if kind in foot)


def signs_pages(content: BookContent, design: Design) -> list[Page]:
    """The page that explains the signs, with engraved examples where there are some."""
    words = design.words
    entries = content.legend or tuple(
        LegendEntry(kind) for kind in ("finger", "string", "crossed", "drone", "chord")
    )
    room = _example_width(entries, design)
    explained = [(_entry(entry, room, design), entry.piece is None) for entry in entries]

    def streams(ease: float) -> list[Stream]:
        items = [design.page_title(words.signs_title, SIGNS)]
        for block, is_text in explained:
            items.append(Flowed(block, ease * design.size(18.0 if is_text else 12.0)))
        items.append(design.body(words.signs_rest, before_pt=ease * 18.0))
        return [Stream(tuple(items))]

    return flow_in_fewest(streams, design.page_format, words.signs_title, _EASES)


def _example_width(entries: Sequence[LegendEntry], design: Design) -> float:
    """Width of the column of examples: that of the widest, within bounds."""
    widths = [
        system.width_pt
        for entry in entries
        if entry.piece is not None
        for system in entry.piece.systems
    ]
    return min(max(widths, default=0.0), design.width_pt * _EXAMPLE_SHARE)


def _entry(entry: LegendEntry, room: float, design: Design) -> Block:
    """Example at the left, text at the right."""
    text = design.words.legend[entry.kind]
    if entry.piece is None:
        return design.body(text).block
    left = room + design.size(18.0)
    lines = design.body(text, design.width_pt - left).block
    figure = Figure(entry.piece.identity, design.words.pictures["sign"])
    systems = tuple(fitted_music(entry.piece.pdf, one, room, figure) for one in entry.piece.systems)
    return Beside((Stack(systems), lines), (0.0, left), is_centred=True)
