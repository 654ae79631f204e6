"""A recording at the loudspeaker, by the optional package ``sounddevice`` and PortAudio."""

from __future__ import annotations

from typing import Any

from tunebook.errors import ProgramError
from tunebook.write.sound.recording import Recording
from tunebook.write.sound.strings import RATE

_AT_ONCE = RATE // 10


def check_player() -> Any:
    """The module that plays. Raises ProgramError when it or a loudspeaker is missing."""
    try:
        import sounddevice
    except ImportError:
        raise ProgramError(
            "nothing here plays sound: the package sounddevice is missing",
            "pip install 'tunebook[hear]', or write files with export --to sound",
        ) from None
    except OSError as error:
        raise ProgramError(
            f"nothing here plays sound ({error})",
            "install PortAudio (Debian: libportaudio2), or write files with export --to sound",
        ) from None
    try:
        sounddevice.check_output_settings(channels=1, samplerate=RATE, dtype="int16")
    except Exception as error:  # the library's own kind, or a ValueError where there is no device
        raise ProgramError(
            f"no loudspeaker can be used here ({error})",
            "see that one is connected, or write files with export --to sound",
        ) from None
    return sounddevice


def play(recording: Recording) -> None:
    """Play ``recording`` to its end; Ctrl-C stops it at once."""
    sounddevice = check_player()
    try:
        with sounddevice.OutputStream(samplerate=RATE, channels=1, dtype="int16") as stream:
            for block in recording.samples():
                for first in range(0, len(block), _AT_ONCE):
                    stream.write(block[first : first + _AT_ONCE].reshape(-1, 1))
    except sounddevice.PortAudioError as error:
        raise ProgramError(
            f"the loudspeaker gave up ({error})", "try again, or write files with export --to sound"
        ) from None
