"""Which part of the music is an overlay: notes that sound together with the melody's.

Source: The ABC Music Standard 2.1, section 7.4: each & goes back by one bar line, so that what
follows ``&`` lasts for one bar and what follows ``&&`` for two. ``(& ... & ... &)`` around several
bars is common practice (no source): the melody stands first, the overlays after each inner &.
"""

from __future__ import annotations


class OverlayKeeper:
    """Follows the signs of overlays and the bar signs. ``is_open`` says that the music at this
    place is not the melody's."""

    def __init__(self) -> None:
        self.is_open = False
        self._bars_left = 0
        self._is_group = False

    def meet(self, sign: str, following: str) -> None:
        """A sign ``&``, ``&&``, ``(&`` or ``&)``; ``following`` is the music after it."""
        if sign == "(&":
            inner, end, _ = following.partition("&)")
            self._is_group = bool(end)
            # A group with no & inside holds nothing but the overlay.
            self.is_open = bool(end) and "&" not in inner
        elif sign == "&)":
            self.end()
        else:
            self.is_open = True
            self._bars_left = len(sign)

    def passes_bar(self) -> bool:
        """A bar sign: whether it is one of the overlay, and none of the melody."""
        if not self.is_open or self._is_group:
            return self.is_open
        self._bars_left -= 1
        self.is_open = self._bars_left > 0
        return self.is_open

    def end(self) -> None:
        """The end of a group, or another voice."""
        self.is_open = self._is_group = False
