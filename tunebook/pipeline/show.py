"""Show an instrument profile: as text, as a drawing, or as a file to fill in."""

from __future__ import annotations

from pathlib import Path

from tunebook.book.pages.instrument import write_instrument_page
from tunebook.files import FilesRead, check_writable
from tunebook.read.settings.profile import read_instrument
from tunebook.store import default_cache_folder
from tunebook.write.instrument_text import profile_as_text, profile_as_toml


def show_instrument(
    name: str, tuning: str | None, output: Path | None, as_profile: bool
) -> list[str]:
    """Return the lines to print; with ``output``, draw the instrument into that PDF too.

    Raises SettingError for a profile or tuning that cannot be used, OutputError for the PDF.
    """
    read = FilesRead()
    instrument = read_instrument(name, tuning, read)
    if output is not None:
        check_writable(output, read)
        write_instrument_page(instrument, output, font_cache=default_cache_folder(), read=read)
        return [f"drawn: {output}"]
    if as_profile:
        return profile_as_toml(instrument).splitlines()
    return profile_as_text(instrument)
