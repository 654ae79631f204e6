"""Limits that keep hostile or broken input from using up time and memory.

Every limit is a setting; reaching one is said with a message of kind "limit".
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ReadingLimits:
    """Sizes beyond which input is refused or cut (all our judgement).

    ``file_bytes`` and ``tune_characters`` bound the text; ``tune_notes`` the notes, rests and
    grace notes of one tune; ``tuplet_number`` the numbers of a tuplet; ``note_length`` the length
    of one note in whole notes; ``macro_factor`` how many times longer than the source line a line
    may become by macros; ``played_bars`` the bars played when repeats and parts are expanded;
    ``bar_notes`` the notes between two bar signs; ``chord_notes`` the tones struck together;
    ``voices`` the voices of one tune;
    ``score_notes`` the notes of a score file, all its parts together;
    ``ending_number`` the numbers of endings; ``name_letters`` the letters of a title or another
    name; ``text_letters`` those of all remarks, or all verses, of one tune.
    ``solving_steps`` is for what comes after the reading: the work that a tune's fingering may
    take before its repeats are left out of account.
    """

    file_bytes: int = 50_000_000
    tune_characters: int = 1_000_000
    tune_notes: int = 20_000
    tuplet_number: int = 99
    note_length: int = 64
    macro_factor: int = 50
    played_bars: int = 10_000
    bar_notes: int = 200
    chord_notes: int = 24
    voices: int = 16
    score_notes: int = 50_000
    ending_number: int = 99
    name_letters: int = 300
    text_letters: int = 20_000
    solving_steps: int = 500_000


DEFAULT_LIMITS = ReadingLimits()
