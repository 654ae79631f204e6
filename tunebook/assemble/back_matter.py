"""What stands after the tunes, in order."""

from __future__ import annotations

from tunebook.assemble.content import BookContent
from tunebook.assemble.design import Design
from tunebook.assemble.flow import Page


def back_matter(content: BookContent, design: Design) -> list[Page]:
    """Return the pages after the tunes."""
    return []
