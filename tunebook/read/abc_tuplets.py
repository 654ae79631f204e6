"""Tuplets: which notes they hold and in what time.

Source: The ABC Music Standard 2.1, section 4.13.
"""

from __future__ import annotations

from tunebook.model.tune import Meter, Tuplet
from tunebook.read.limits import ReadingLimits
from tunebook.read.notices import Notices

_USUAL = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}


class TupletCounter:
    """Counts the notes of the tuplet that is open. ``meter`` decides q for p = 5, 7, 9."""

    def __init__(self, meter: Meter, notices: Notices, limits: ReadingLimits) -> None:
        self.meter = meter
        self._notices = notices
        self._limit = limits.tuplet_number
        self._serial = 0
        self._open: tuple[int, int, int] | None = None
        self._position = 0
        self._place = (0, 0, 0)

    def begin(self, text: str, line: int, column: int) -> None:
        """Read ``(p:q:r`` and begin that tuplet."""
        if self._open is not None:
            self._say_unfinished()
        numbers = [int(part[:6]) if part else 0 for part in text[1:].split(":")]
        numbers += [0] * (3 - len(numbers))
        p = numbers[0]
        compound = self.meter.unit >= 8 and self.meter.beats in (6, 9, 12)
        q = numbers[1] or _USUAL.get(p, 3 if compound else 2)
        r = numbers[2] or p
        if p < 1 or max(p, q, r) > self._limit:
            self._notices.add(
                "tuplet",
                f"tuplet {text} is beyond what can be read and is taken for plain notes",
                "write (p:q:r with numbers from 1 to " + str(self._limit),
                line=line,
                column=column,
                length=len(text),
            )
            return
        self._serial += 1
        self._open = (p, q, r)
        self._position = 0
        self._place = (line, column, len(text))

    def next(self) -> Tuplet | None:
        """The place of the next note in the open tuplet; None where none is open."""
        if self._open is None:
            return None
        p, q, r = self._open
        tuplet = Tuplet(self._serial, p, q, self._position, r)
        self._position += 1
        if self._position >= r:
            self._open = None
        return tuplet

    def finish(self) -> None:
        """The end of the tune: say when a tuplet lacks notes."""
        if self._open is not None:
            self._say_unfinished()
            self._open = None

    def _say_unfinished(self) -> None:
        assert self._open is not None
        line, column, length = self._place
        self._notices.add(
            "tuplet",
            f"this tuplet has {self._position} of its {self._open[2]} notes",
            "add the missing notes, or say their number as (p:q:r",
            line=line,
            column=column,
            length=length,
        )
