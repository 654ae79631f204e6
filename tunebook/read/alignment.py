"""Brings the bars of a further voice beside those of the melody.

The melody says how many bars there are, how long each is and what bar signs, endings and parts it
has. A voice may be written with fewer signs (repeats and endings in the first voice only), so bars
are matched by the time they take: one of the voice may be several of the melody, and the other way
round. Where a voice does not fit, it is filled up with rests or cut, and said (our judgement).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tunebook.errors import SourcePlace
from tunebook.model.names import bar_name, bars_in_words
from tunebook.model.tune import Bar, Note

_MOST_JOINED = 4
_PLAIN_SIGNS = ("", "|", ".|")


@dataclass(frozen=True, slots=True)
class FittedVoice:
    """``bars`` beside the melody's, empty where the voice fits nowhere, and what does not fit, each
    with its place."""

    bars: tuple[Bar, ...]
    remarks: tuple[tuple[SourcePlace, str], ...] = ()


@dataclass(slots=True)
class _Misfits:
    """What does not fit, gathered over a voice; bars by the melody's numbers. ``place`` is that of
    the first."""

    place: SourcePlace | None = None
    short: list[int] = field(default_factory=list)
    long: list[int] = field(default_factory=list)
    silent: list[int] = field(default_factory=list)
    beyond: int = 0

    def note(self, numbers: list[int], bars: Sequence[Bar], place: SourcePlace) -> None:
        numbers += [bar.number for bar in bars]
        self.place = self.place or place

    def words(self) -> str:
        """All of it in one sentence, "" where all fits."""
        parts = [
            f"{how} {bars_in_words(numbers)}"
            for how, numbers in (("too short:", self.short), ("too long:", self.long))
            if numbers
        ]
        if self.silent:
            parts.append(f"without music for {bars_in_words(self.silent)}")
        if self.beyond:
            parts.append(f"with {self.beyond} bar{'s' if self.beyond > 1 else ''} too many")
        return "; ".join(parts)


_Group = tuple[Sequence[Bar], Sequence[Bar]]


def fit_voice(melody: Sequence[Bar], voice: Sequence[Bar]) -> FittedVoice:
    """Return the notes of ``voice`` in bars beside those of ``melody``."""
    if not voice:
        return FittedVoice(())
    misfits = _Misfits()
    bars: list[Bar] = []
    for some, others in _sections(melody, voice):
        for group in _groups(some, others):
            _compare(*group, misfits)
            bars += _filled(*group, bars[-1] if bars else voice[0])
    return _told(melody, voice, _with_keys(bars, melody), misfits)


def _told(
    melody: Sequence[Bar], voice: Sequence[Bar], bars: list[Bar], misfits: _Misfits
) -> FittedVoice:
    words = misfits.words()
    place = misfits.place or voice[0].place
    sounding = sum(_sounds(bar) for bar in voice)
    wrong = len(misfits.short) + len(misfits.long) + misfits.beyond
    if words and sounding > 1 and wrong * 2 > sounding:
        return FittedVoice((), ((place, f"does not fit the melody ({words}) and is left out"),))
    remarks = []
    if words:
        what = f"does not fit the melody: {words}; rests are put in, and what is too much left out"
        remarks.append((place, what))
    other = _other_key(melody, bars)
    if other is not None:
        what = f"keeps its key signature in {bar_name(other.number)}, where the melody changes"
        remarks.append((other.place, what))
    return FittedVoice(tuple(bars), tuple(remarks))


def _other_key(melody: Sequence[Bar], bars: Sequence[Bar]) -> Bar | None:
    """The first bar in which the melody changes its key and the voice does not."""
    for own, bar in zip(melody, bars, strict=True):
        if own.key_changed and not bar.key_changed and own.key.alters != bar.key.alters:
            return bar
    return None


def _sounds(bar: Bar) -> bool:
    return any(note.pitches for note in bar.notes)


# Which bars belong together


def _sections(melody: Sequence[Bar], voice: Sequence[Bar]) -> Iterator[_Group]:
    """Parts of both that end with a double bar or a repeat, where both have as many of them and
    their times differ as wholes: so a bar too many or too few shifts no more than its own part."""
    if sum(bar.duration for bar in melody) != sum(bar.duration for bar in voice):
        some, others = _cut(melody), _cut(voice)
        if len(some) == len(others):
            yield from zip(some, others, strict=True)
            return
    yield melody, voice


def _cut(bars: Sequence[Bar]) -> list[Sequence[Bar]]:
    parts: list[list[Bar]] = [[]]
    for bar in bars:
        parts[-1].append(bar)
        if bar.sign_after not in _PLAIN_SIGNS:
            parts.append([])
    return [part for part in parts if part]


def _groups(melody: Sequence[Bar], voice: Sequence[Bar]) -> Iterator[_Group]:
    """Bars of both that take the same time, as few together as can be; where none do, one beside
    the other. The last groups may lack the one or the other."""
    at = other = 0
    if _lacks_pickup(melody, voice):
        yield melody[:1], ()
        at = 1
    elif _lacks_pickup(voice, melody):
        yield (), voice[:1]
        other = 1
    while at < len(melody) and other < len(voice):
        here, there = _step(melody[at : at + _MOST_JOINED], voice[other : other + _MOST_JOINED])
        yield melody[at : at + here], voice[other : other + there]
        at, other = at + here, other + there
    for bar in melody[at:]:
        yield (bar,), ()
    if other < len(voice):
        yield (), voice[other:]


def _lacks_pickup(some: Sequence[Bar], others: Sequence[Bar]) -> bool:
    """Whether ``some`` begin with a pickup and ``others`` with the full bar after it."""
    if len(some) < 2 or not others or not some[0].is_pickup:
        return False
    return some[0].duration < others[0].duration == some[1].duration


def _step(melody: Sequence[Bar], voice: Sequence[Bar]) -> tuple[int, int]:
    """How many bars of each go together next."""
    if melody[0].duration == voice[0].duration or not _sounds(voice[0]):
        return 1, 1
    for count in range(2, len(melody) + 1):
        if sum(bar.duration for bar in melody[:count]) == voice[0].duration:
            return count, 1
    for count in range(2, len(voice) + 1):
        if sum(bar.duration for bar in voice[:count]) == melody[0].duration:
            return 1, count
    return 1, 1


def _compare(melody: Sequence[Bar], voice: Sequence[Bar], misfits: _Misfits) -> None:
    if not voice:
        is_upbeat = len(melody) == 1 and melody[0].is_pickup
        if not is_upbeat:
            misfits.note(misfits.silent, melody, melody[0].place)
        return
    if not melody:
        misfits.beyond += len(voice)
        misfits.place = misfits.place or voice[0].place
        return
    have = sum(bar.duration for bar in voice)
    want = sum(bar.duration for bar in melody)
    if have != want and any(map(_sounds, voice)):
        numbers = misfits.short if have < want else misfits.long
        misfits.note(numbers, melody[:1], voice[0].place)


# The notes in their new bars


def _filled(melody: Sequence[Bar], voice: Sequence[Bar], before: Bar) -> list[Bar]:
    """The melody's bars with the notes of the voice's; where it has none, in the key of the bar
    ``before``."""
    if len(melody) == len(voice) == 1 and melody[0].duration == voice[0].duration:
        return [_moved(melody[0], voice[0])]
    if not melody:
        return []
    starts, end = _starts(melody)
    parts: list[list[Note]] = [[] for _ in melody]
    for note in _in_line(voice, melody[0].onset, end):
        for at, piece in _cut_note(note, [*starts, end]):
            parts[at].append(piece)
    first = voice[0] if voice else None
    last = voice[-1] if voice else None
    return [
        replace(
            bar,
            place=parts[at][0].place if parts[at] else (first or bar).place,
            notes=(*parts[at], *_rest(bar, parts[at], first or before)),
            key=(first or before).key,
            clef=first.clef if first is not None and at == 0 else "",
            decorations=last.decorations if last is not None and bar is melody[-1] else (),
            annotations=last.annotations if last is not None and bar is melody[-1] else (),
            end_chord=last.end_chord if last is not None and bar is melody[-1] else None,
        )
        for at, bar in enumerate(melody)
    ]


def _moved(bar: Bar, own: Bar) -> Bar:
    shift = bar.onset - own.onset
    notes = own.notes
    if shift:
        notes = tuple(replace(note, onset=note.onset + shift) for note in notes)
    return replace(
        bar,
        place=own.place,
        notes=notes,
        key=own.key,
        clef=own.clef,
        decorations=own.decorations,
        annotations=own.annotations,
        end_chord=own.end_chord,
    )


def _starts(melody: Sequence[Bar]) -> tuple[list[Fraction], Fraction]:
    return [bar.onset for bar in melody], melody[-1].onset + melody[-1].duration


def _in_line(voice: Sequence[Bar], onset: Fraction, end: Fraction) -> Iterator[Note]:
    """The notes of bars one after the other from ``onset`` on, up to ``end``. A bar without a tone
    is left out: rests are put in by what is to be filled."""
    now = onset
    for bar in voice:
        for note in bar.notes if _sounds(bar) else ():
            start = note.onset - bar.onset + now
            if start < end:
                yield replace(note, onset=start)
        now += bar.duration


def _cut_note(note: Note, borders: Sequence[Fraction]) -> Iterator[tuple[int, Note]]:
    """The note, or its tied pieces, each with the number of the bar in which it lies."""
    at = max(index for index, border in enumerate(borders[:-1]) if border <= note.onset)
    room = borders[at + 1] - note.onset
    if note.is_grace or note.duration <= room:
        yield at, note
        return
    is_last = at + 2 == len(borders)
    held = (True,) * len(note.pitches)
    yield (
        at,
        replace(
            note,
            duration=room,
            written=room,
            tuplet=None,
            ties=note.ties if is_last else held,
            slurs_closed=note.slurs_closed if is_last else 0,
        ),
    )
    if not is_last:
        rest = note.duration - room
        yield from _cut_note(_second_piece(note, borders[at + 1], rest, held), borders)


def _second_piece(note: Note, onset: Fraction, duration: Fraction, held: tuple[bool, ...]) -> Note:
    return Note(
        place=note.place,
        pitches=note.pitches,
        onset=onset,
        duration=duration,
        written=duration,
        shown_accidentals=(None,) * len(note.pitches),
        ties=note.ties,
        is_tied_from_before=held,
        is_invisible=note.is_invisible,
        slurs_closed=note.slurs_closed,
        end_column=note.end_column,
    )


def _rest(bar: Bar, notes: Sequence[Note], near: Bar) -> tuple[Note, ...]:
    """A rest for what is left of the bar."""
    sounding = [note for note in notes if not note.is_grace]
    now = sounding[-1].onset + sounding[-1].duration if sounding else bar.onset
    length = bar.onset + bar.duration - now
    if length <= 0:
        return ()
    place = notes[-1].place if notes else near.place
    return (Note(place=place, pitches=(), onset=now, duration=length, written=length),)


def _with_keys(bars: list[Bar], melody: Sequence[Bar]) -> list[Bar]:
    """The bars, each saying whether its key is new."""
    result: list[Bar] = []
    for bar, own in zip(bars, melody, strict=True):
        is_new = bool(result) and result[-1].key != bar.key
        result.append(replace(bar, key_changed=is_new) if is_new != own.key_changed else bar)
    return result
