"""Samples as the bytes of a file: FLAC, WAV or Ogg Vorbis, one channel of 16 bits.

WAV is written by the standard library. The others are libsndfile's, by the package ``soundfile``,
which is imported only for them.
"""

from __future__ import annotations

import functools
import io
import wave
from collections.abc import Iterable
from typing import Any

from tunebook.errors import ProgramError
from tunebook.model.choices import SoundFormat
from tunebook.write.sound.recording import Recording, Samples
from tunebook.write.sound.strings import RATE

_SUBTYPES = {"flac": "PCM_16", "ogg": "VORBIS"}
# The library's Vorbis encoder fails on long pieces handed over at once.
_AT_ONCE = 1 << 16


def encoded(recording: Recording, kind: SoundFormat) -> bytes:
    """Return the bytes of a file of this kind. Raises ProgramError when the library for it cannot
    be used."""
    if kind == "wav":
        return _as_wav(recording.samples())
    buffer = io.BytesIO()
    soundfile = check_library(kind)
    with soundfile.SoundFile(
        buffer, "w", samplerate=RATE, channels=1, format=kind.upper(), subtype=_SUBTYPES[kind]
    ) as file:
        for name, text in (("title", recording.title), ("artist", recording.composer)):
            if text:
                setattr(file, name, _plain(text))
        for block in recording.samples():
            for first in range(0, len(block), _AT_ONCE):
                file.write(block[first : first + _AT_ONCE])
    data = buffer.getvalue()
    return _with_fixed_serial(data) if kind == "ogg" else data


def check_library(kind: SoundFormat) -> Any:
    """The module that writes ``kind``, None where none is needed. Raises ProgramError."""
    if kind == "wav":
        return None
    try:
        import soundfile
    except (ImportError, OSError) as error:
        raise ProgramError(
            f"{kind.upper()} files cannot be written here ({error})",
            "pip install soundfile, or give --format wav",
        ) from None
    return soundfile


def _as_wav(blocks: Iterable[Samples]) -> bytes:
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        for block in blocks:
            file.writeframes(block.astype("<i2").tobytes())
    return buffer.getvalue()


def _plain(text: str) -> str:
    """Text without control characters and lone surrogates."""
    shown = "".join(letter for letter in text[:500] if letter.isprintable())
    return shown.encode("utf-8", "replace").decode("utf-8")


_SERIAL = b"tune"


@functools.cache
def _crc_table() -> tuple[int, ...]:
    """Of the polynomial 0x04c11db7, the highest bit first (RFC 3533, section 6)."""
    table = []
    for byte in range(256):
        rest = byte << 24
        for _ in range(8):
            rest = (rest << 1) ^ (0x04C11DB7 if rest & 0x80000000 else 0)
        table.append(rest & 0xFFFFFFFF)
    return tuple(table)


def _with_fixed_serial(data: bytes) -> bytes:
    """The same Ogg file with a serial number of our own instead of a random one, so that equal
    sounds are equal files; each page's checksum is made anew (RFC 3533)."""
    pages = bytearray(data)
    table = _crc_table()
    at = 0
    while at < len(pages) and pages[at : at + 4] == b"OggS":
        segments = pages[at + 26]
        end = at + 27 + segments + sum(pages[at + 27 : at + 27 + segments])
        pages[at + 14 : at + 18] = _SERIAL
        pages[at + 22 : at + 26] = bytes(4)
        rest = 0
        for byte in pages[at:end]:
            rest = ((rest << 8) & 0xFFFFFFFF) ^ table[(rest >> 24) ^ byte]
        pages[at + 22 : at + 26] = rest.to_bytes(4, "little")
        at = end
    return bytes(pages)
