"""Reads the music of one voice, token by token, into drafts of bars; bar signs and endings.

Reads bar signs and numbered endings into bars.

Source: The ABC Music Standard 2.1, sections 4.8 to 4.10.

Reads the music of one voice, token by token, into drafts of bars.

Source: The ABC Music Standard 2.1, section 4.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tunebook.model.tune import KEY_FIXED
from tunebook.read.abc.bars import DoubtfulSign, say_doubtful
from tunebook.read.abc.decorations import (
    AT_BAR_SIGNS,
    DYNAMICS,
    attach_decoration,
    attach_quoted,
    attach_symbol,
    bar_sign_share,
    canonical_decoration,
)
from tunebook.read.abc.drafts import Attachments, BarDraft, add_decoration
from tunebook.read.abc.header import TuneHeader, define
from tunebook.read.abc.lines import Item, MacroWriter, TextLimits, without_mail_encoding
from tunebook.read.abc.lyrics import align_symbols, align_words
from tunebook.read.abc.notes import NoteReader
from tunebook.read.abc.notices import Notices
from tunebook.read.abc.overlays import Overlay, OverlayKeeper, layers_of
from tunebook.read.abc.remarks import attach_remark
from tunebook.read.abc.tokens import (
    Token,
    is_doubtful_sign,
    mend_quotes,
    passes_of_ending,
    read_bar_sign,
    tokens_of,
)
from tunebook.read.limits import ReadingLimits


class BarReader(NoteReader):
    """The part of the reader that parts the notes into bars."""

    def __init__(self, header: TuneHeader, notices: Notices, limits: ReadingLimits) -> None:
        super().__init__(header, notices, limits)
        self.overlay = OverlayKeeper(self.bars)
        self.doubtful: list[DoubtfulSign] = []
        self._is_repeating = False

    def read_bar(self, text: str, start: int) -> None:
        """A bar sign, with the number of the ending that begins at it."""
        if self.overlay.passes_bar():
            self.overlay.keep(("bar", text, start), self.line, self.columns)
            return
        sign, ends, begins, ending = read_bar_sign(text)
        if sign == ":":
            self.say("text", "a lone colon has no meaning", "write a bar sign", start, text)
            return
        is_doubtful = is_doubtful_sign(text)
        if is_doubtful and self._is_repeating:
            sign, ends, begins = ":|", 2, 0
        if ends or begins:
            self._is_repeating = bool(begins)
        if self.bars.bars or self.bars.open.notes:
            self.leave_attachments(start)
        if self.bars.close(sign, ends, self.line, self.column_of(start)):
            self.of_line.append(None)
        self.pitches.begin_bar()
        self.is_gap = True
        if is_doubtful:
            column = self.column_of(start)
            self.doubtful.append(DoubtfulSign(self.bars.open, sign, text, self.line, column))
        if ending:
            self._begin_ending(ending, start, text)

    def read_ending(self, text: str, start: int) -> None:
        """A numbered ending by itself, as ``[1``."""
        if self.bars.open.notes:
            self.bars.close("", 0, self.line, self.column_of(start))
        self._begin_ending(text, start, text)

    def _begin_ending(self, ending: str, start: int, text: str) -> None:
        passes = passes_of_ending(ending)
        most = self.limits.ending_number
        if any(number > most for number in passes):
            what = f"endings are read up to number {most}"
            remedy = "write the music out, or raise ending_number under [reading]"
            self.say("limit", what, remedy, start, text)
            passes = tuple(number for number in passes if number <= most)
        self.bars.open.ending = passes
        self.ties.begin_ending(passes)

    def read_number(self, text: str, start: int) -> None:
        """A number by itself: an ending when it follows a bar sign at a distance."""
        bar = self.bars.open
        has_ending = any(draft.ending for draft in self.bars.bars[-8:])
        is_first = (
            self.is_gap and bool(self.bars.bars) and (text == "1" or (text == "2" and has_ending))
        )
        if bar.notes or bar.ending or not is_first:
            return self.pass_over(text, start)
        self.say("ending", f"{text!r} is read as a numbered ending", f"write [{text}", start, text)
        self._begin_ending(text, start, text)

    def leave_attachments(self, start: int, *, is_last: bool = False) -> None:
        """Decorations and words with no note after them belong to the bar sign at ``start``, a
        chord symbol stands at the end of its bar. What begins something waits for its note, and so
        does what stands between two bar signs."""
        attached = self.attached
        if attached is None:
            return
        bar = self.bars.open
        is_between = not bar.notes and not is_last
        left, waits = bar_sign_share(attached, is_between)
        for name in left.decorations:
            if name not in AT_BAR_SIGNS and canonical_decoration(name)[1]:
                what = f"decoration {name!r} stands on no note and is not printed"
                self.say("decoration", what, "write it right before its note", start, "|")
        if "trill)" in left.decorations and bar.notes:
            left.decorations.remove("trill)")
            add_decoration(bar.notes[-1], "trill)")
        bar.decorations += left.decorations
        bar.annotations += left.annotations
        attached.decorations, attached.annotations = waits.decorations, waits.annotations
        if bar.notes and attached.chord is not None:
            bar.end_chord, attached.chord = attached.chord, None

    def say_unplaced(self) -> None:
        """What waits for a note that never comes, at the end of the tune."""
        last = self.bars.open if self.bars.open.notes else (self.bars.bars or [self.bars.open])[-1]
        waiting = self.attached.decorations if self.attached is not None else []
        for name in [*(name for name in last.decorations if name in DYNAMICS), *waiting]:
            what = f"decoration {name!r} has no note after it and is not printed"
            self.notices.add("decoration", what, "write it before a note", line=self.line, column=1)

    def pass_over(self, text: str, start: int) -> None:
        """Text that means nothing at this place."""
        self.is_gap = False
        self.say("text", f"{text!r} has no meaning here and is ignored", "take it out", start, text)


_MOST_VERSES = 40
_MOST_MACRO_FIELDS = 20
_LINES_OF_A_GROUP = 30
_OF_THE_NOTES = frozenset("IKLMPQUr")
"""Fields that an overlay may change for itself alone, but for those of the whole tune."""
_OF_THE_TUNE = frozenset("NPQ")


class MusicReader(BarReader):
    """Reads one voice; ``read`` is the one call."""

    def __init__(self, header: TuneHeader, notices: Notices, limits: ReadingLimits) -> None:
        super().__init__(header, notices, limits)
        self._following: list[Item] = []
        self._verse = 0
        self._macro_fields = 0
        self.texts = TextLimits(limits, notices)
        self.macros = MacroWriter(header.macros, notices, limits) if header.macros else None
        self._handlers: dict[str, Callable[[str, int], None]] = {
            "note": self.read_note,
            "rest": self.read_rest,
            "chord": self.read_chord,
            "oldchord": self._old_chord,
            "bar": self.read_bar,
            "space": self._space,
            "open": self._open_slur,
            "close": self.close_slur,
            "tie": self._tie,
            "broken": self._broken_rhythm,
            "tuplet": self._tuplet,
            "grace": self._grace_notes,
            "quoted": self._quoted,
            "decoration": self._decoration,
            "plus": self._decoration,
            "field": self._field,
            "ending": self.read_ending,
            "quotedending": self.read_ending,
            "symbol": self._symbol,
            "spacer": self._space,
            "overlay": self._overlay_sign,
            "backtick": self._nothing,
            "break": self._break,
            "number": self.read_number,
            "other": self.pass_over,
        }

    def read(self, items: list[Item]) -> list[BarDraft]:
        """Read all items and return the bars."""
        is_continued = False
        for index, item in enumerate(items):
            self.line = item.line
            if item.letter:
                self._apply(item.letter, item.value)
                continue
            if "=" in item.text:
                item = without_mail_encoding(item, self.notices)
            if self.macros is not None:
                item = self.macros.write_out(item)
            item = mend_quotes(item, self.notices)
            self.columns = item.columns
            self._following = [item, *items[index + 1 : index + _LINES_OF_A_GROUP]]
            if not is_continued:
                self.of_line = []
                self._verse = 0
                self.is_gap = True
            self._run(tokens_of(item.text, item.start, item.end))
            is_continued = item.is_continued
            if not is_continued and self.changes.breaks_at_line_ends:
                self.bars.end_line()
        self._finish()
        return self.bars.finish()

    def _run(self, tokens: list[Token]) -> None:
        handlers = self._handlers
        for kind, text, start in tokens:
            if self.overlay.is_open and kind not in ("bar", "field", "overlay"):
                self.overlay.keep((kind, text, start), self.line, self.columns)
                continue
            handlers[kind](text, start)

    def overlays(self, drafts: list[BarDraft]) -> list[list[BarDraft]]:
        """The bars of each voice that overlays make beside ``drafts``, which :meth:`read` gave."""
        found = [(one, self._read_overlay(one, drafts)) for one in self.overlay.found if drafts]
        return layers_of(
            [(one.first_bar(drafts), one.skipped, bars) for one, bars in found if bars], drafts
        )

    def _read_overlay(self, overlay: Overlay, drafts: list[BarDraft]) -> list[BarDraft]:
        first = drafts[overlay.first_bar(drafts)]
        header = replace(
            self.changes.header,
            key=first.key,
            meter=first.meter,
            unit_length=overlay.unit_length,
            octaves=overlay.octaves,
            clef="",
        )
        reader = MusicReader(header, self.notices, self.limits)
        reader.count = self.count
        bars = reader.read_tokens(overlay)
        self.count = reader.count
        return bars

    def read_tokens(self, overlay: Overlay) -> list[BarDraft]:
        """Read the music of an overlay and return its bars."""
        for token, self.line, self.columns in overlay.tokens:
            self._run([token])
        self._finish()
        return self.bars.finish()

    def _finish(self) -> None:
        for line, column in self.slurs:
            self.notices.add(
                "slur", "this slur is opened and not closed", "add )", line=line, column=column
            )
        self.tuplets.finish()
        self.ties.finish()
        say_doubtful(self.doubtful, self.bars, self.notices)
        self.leave_attachments(0, is_last=True)
        self.say_unplaced()
        self._say_h_and_b()
        if self.attached is not None and self.attached.chord is not None:
            chord = self.attached.chord
            self.notices.add(
                "chord-symbol",
                f'"{chord.text}" has no note after it and is left out',
                "write it before a note or rest",
                line=chord.place.line - self.notices.first_line,
                column=chord.place.column,
                length=len(chord.text) + 2,
            )

    def _say_h_and_b(self) -> None:
        """One who writes H may mean B flat by B; it is read as the standard has it."""
        bars = [*self.bars.bars, self.bars.open]
        chords = [note.attached.chord for bar in bars for note in bar.notes if note.attached]
        texts = [chord.text.lstrip("(") for chord in chords if chord is not None]
        if not any(text.startswith("H") for text in texts):
            return
        for chord in chords:
            if chord is not None and chord.text.startswith("B") and chord.root_alter == 0:
                self.notices.add(
                    "chord-symbol",
                    f'"{chord.text}" is read as B natural, as the H of other chords here is',
                    "write Bb for B flat",
                    line=chord.place.line - self.notices.first_line,
                    column=chord.place.column,
                    length=len(chord.text) + 2,
                )
                return

    def _apply(self, letter: str, value: str) -> None:
        if letter == "V":
            self.overlay.end()
        if self.overlay.is_open and letter in _OF_THE_NOTES:
            if letter not in _OF_THE_TUNE:
                self.overlay.keep(("field", f"[{letter}:{value}]", 0), self.line, self.columns)
            return
        value = self.texts.cut(letter, value, self.line)
        if letter == "w":
            self._words(value)
        elif letter == "s":
            align_symbols(self.of_line, value, self.symbols, self.notices, self.line)
        elif letter == "r":
            self._remark(value, 1, len(value) + 2)
        elif letter == "m":
            self._define_macro(value)
        else:
            if letter == "T" and self.changes.has_notes:
                self._quoted(f'"^{value}"', 0)
            self.changes.apply(letter, value, self.line)

    def _words(self, value: str) -> None:
        if self._verse < _MOST_VERSES:
            words = value.removesuffix("\\")
            align_words(self.of_line, words, self._verse, self.notices, self.line)
        elif self._verse == _MOST_VERSES:
            what = f"only {_MOST_VERSES} verses under one line of music are read"
            self.notices.add("limit", what, line=self.line)
        self._verse += 1

    def _define_macro(self, value: str) -> None:
        self._macro_fields += 1
        if self._macro_fields > _MOST_MACRO_FIELDS:
            what = f"only {_MOST_MACRO_FIELDS} macros may be defined after K:"
            self.notices.add("limit", what, "define them before K:", line=self.line)
            return
        define(self.changes.header, "m", value, self.notices, self.line)
        self.macros = MacroWriter(self.changes.header.macros, self.notices, self.limits)

    # Slurs, ties, rhythm

    def _space(self, text: str, start: int) -> None:
        self.is_gap = True

    def _nothing(self, text: str, start: int) -> None:
        """A backtick is there for the reader of the text only (section 4.7)."""

    def _open_slur(self, text: str, start: int) -> None:
        self.attachments().slurs_opened += 1
        self.slurs.append((self.line, self.column_of(start)))

    def _tie(self, text: str, start: int) -> None:
        if self.last is None or not self.last.pitches:
            self.say("tie", "a tie with no note before it", "take - out", start, text)
            return
        if not self.grace:
            self.ties.open(self.last, (True,) * len(self.last.pitches), self.column_of(start))

    def _broken_rhythm(self, text: str, start: int) -> None:
        if self.grace:
            return
        if self.last is None or self.last not in self.bars.open.notes[-3:]:
            self.say("rhythm", f"{text!r} with no note before it", "take it out", start, text)
            return
        self.await_second(text, start)

    def _tuplet(self, text: str, start: int) -> None:
        if not self.grace:
            self.tuplets.begin(text, self.line, self.column_of(start))

    def _grace_notes(self, text: str, start: int) -> None:
        before, self.attached = self.attached, None
        gap, last = self.is_gap, self.last
        self.grace = "/" if text.startswith("{/") else "{"
        self.is_gap, self.last = True, None
        inner = tokens_of(text, 2 if self.grace == "/" else 1, len(text) - 1)
        self._run([(kind, part, start + offset) for kind, part, offset in inner])
        left, self.attached = self.attached, before
        self.grace = ""
        self.last, self.is_gap = last, gap
        if left is not None:
            self._join(left)

    def _join(self, more: Attachments) -> None:
        attached = self.attachments()
        attached.decorations += more.decorations
        attached.annotations += more.annotations
        attached.chord = attached.chord or more.chord
        attached.slurs_opened += more.slurs_opened

    # Words and signs at notes

    def _quoted(self, text: str, start: int) -> None:
        words = self.texts.cut_words(text[1:-1], self.line)
        attach_quoted(self.attachments(), words, self.notices, self.line, self.column_of(start))

    def _decoration(self, text: str, start: int) -> None:
        attach_decoration(
            self.attachments(),
            text[1:-1],
            self.notices,
            self.line,
            self.column_of(start),
            len(text),
        )

    def _old_chord(self, text: str, start: int) -> None:
        """``+CEG+``, a chord of the oldest files unless I:decoration + stands (section 10)."""
        if self.changes.header.decoration_sign == "+":
            return self._decoration(text, start)
        self.read_chord(text, start)

    def _symbol(self, text: str, start: int) -> None:
        column = self.column_of(start)
        attach_symbol(self.attachments(), text, self.symbols, self.notices, self.line, column)

    def _field(self, text: str, start: int) -> None:
        letter, value = text[1], text[3:-1].strip()
        if letter == "r" and not self.overlay.is_open:
            self._remark(value, self.column_of(start), len(text))
            return
        self._apply(letter, value)

    def _remark(self, value: str, column: int, length: int) -> None:
        """A remark on the note that follows, or on the tune."""
        if value.split() == KEY_FIXED.split():
            self.changes.header.add_field("r", KEY_FIXED)
            return
        attach_remark(self.attachments(), value, self.notices, self.line, column, length)

    # The rest

    def _overlay_sign(self, text: str, start: int) -> None:
        after = self._text_after(start + len(text)) if text == "(&" else ""
        self.overlay.meet(text, after, self.changes.unit_length, self.pitches.octaves)

    def _text_after(self, offset: int) -> str:
        """The music after an offset of this line, that of some later lines included."""
        here, *later = self._following
        texts = [item.text[item.start : item.end] for item in later if not item.letter]
        return "\n".join([here.text[offset : here.end], *texts])

    def _break(self, text: str, start: int) -> None:
        if text == "$" and self.changes.header.line_break != "sign":
            self.say("text", "'$' has no meaning here", "write I:linebreak $", start, text)
            return
        if text != "*":
            self.bars.end_line()
        self.is_gap = True
