"""A voice of a tune taken by itself, and a change made to every voice of a tune."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from tunebook.model.tune import Bar, Tune, Voice, VoiceName


def voice_as_tune(tune: Tune, voice: Voice) -> Tune:
    """Return the tune whose melody is ``voice`` and that has no other: titles, order of playing
    and all that concerns the whole tune are ``tune``'s, so that what works on a tune works on a
    voice. Its key is that of the voice's first bar."""
    return replace(
        tune,
        bars=voice.bars,
        key=voice.bars[0].key if voice.bars else tune.key,
        voices=(),
        melody_voice=VoiceName(id=voice.id, name=voice.name, short_name=voice.short_name),
        messages=(),
    )


def with_all_bars(tune: Tune, change: Callable[[Sequence[Bar]], tuple[Bar, ...]]) -> Tune:
    """Return the tune with the bars of the melody and of every voice replaced by what ``change``
    makes of them; it must keep their number."""
    voices = tuple(replace(voice, bars=change(voice.bars)) for voice in tune.voices)
    return replace(tune, bars=change(tune.bars), voices=voices)


def voice_label(voice: Voice, number: int) -> str:
    """What a voice is called where its file gives it no name: ``number`` (from 0) counts the voices
    beside the melody, so the first of them is "voice 2"."""
    plain = voice.id if voice.id.isalnum() else str(number + 2)
    return voice.name or f"voice {plain}"
