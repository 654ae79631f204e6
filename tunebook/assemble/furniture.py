"""What stands on every page: page number, running head, foot line."""

from __future__ import annotations

from tunebook.assemble.blocks import shortened
from tunebook.assemble.flow import Page
from tunebook.assemble.fonts import ITALIC, SERIF
from tunebook.assemble.sheet import GREY, Sheet


def draw_furniture(sheet: Sheet, page: Page, label: str, title: str, is_left: bool) -> None:
    """Print the page's number at the outer side of its head, the running head in the middle (the
    book's title on left-hand pages, the section's on right-hand ones), the foot line below. A page
    that begins with the section's heading bears no running head."""
    if not page.has_furniture:
        return
    size = 9.0 * max(0.9, sheet.page_format.scale)
    base = sheet.page_format.head_pt
    left = sheet.page_format.side_pt
    right = sheet.page_format.width_pt - left
    if is_left:
        sheet.text(left, base, label, SERIF, size)
    else:
        sheet.text(right, base, label, SERIF, size, align="right")
    middle = sheet.page_format.width_pt / 2
    if not _begins_section(page):
        head = title if is_left or not page.head else page.head
        head = shortened(head, sheet.fonts, ITALIC, size, sheet.page_format.text_width_pt * 0.8)
        sheet.text(middle, base, head, ITALIC, size, align="centre", grey=GREY)
    if page.foot:
        down = sheet.page_format.height_pt - sheet.page_format.foot_pt
        foot = page.foot
        foot_size = size * 0.86
        wide = sheet.fonts.width(foot, ITALIC, foot_size)
        foot_size *= min(1.0, sheet.page_format.text_width_pt / max(wide, 1.0))
        sheet.text(middle, down, foot, ITALIC, foot_size, align="centre", grey=GREY)


def _begins_section(page: Page) -> bool:
    outline = page.placed[0].item.outline if page.placed else None
    return outline is not None and outline[0] == page.head
