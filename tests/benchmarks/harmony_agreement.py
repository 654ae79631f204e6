"""Agreement of the harmoniser with other chords, by length of time.

Usage: python tests/benchmarks/harmony_agreement.py

Prints, for the tunes of the corpus with an editor's chords and for those under which we wrote
chords (on which the numbers were fitted: see harmony_fit.py --cross-validate for unseen ones), the
part of the time with the same root, the same root and quality, and what the tonic everywhere
would get. Where two chords would do, we wrote none; editors' chords agree less for that reason.
"""

from __future__ import annotations

from collections.abc import Sequence

from harmony_corpus import LabelledTune, tunes_with_editors_chords, tunes_with_our_chords

from tunebook.solve.harmony.chords import slot_probabilities


def agreement(tunes: Sequence[LabelledTune]) -> tuple[float, float, float]:
    """(same root, same root and quality, tonic everywhere), each a part of the labelled time."""
    total = root = both = tonic = 0.0
    for one in tunes:
        chosen = slot_probabilities(one.tune, one.slots).argmax(axis=1)
        for slot, label, ours in zip(one.slots, one.chords, chosen, strict=True):
            if label is None:
                continue
            length = float(slot.duration)
            total += length
            root += length * (ours // 2 == label // 2)
            both += length * (ours == label)
            tonic += length * (label // 2 == slot.key.tonic_class)
    return root / total, both / total, tonic / total


def main() -> None:
    for name, tunes in (
        ("editors' chords", tunes_with_editors_chords()), ("our chords", tunes_with_our_chords()),
    ):  # fmt: skip
        root, both, tonic = agreement(tunes)
        print(
            f"{name}: {len(tunes)} tunes, root {root:.1%}, root and quality {both:.1%}, "
            f"tonic everywhere {tonic:.1%}"
        )


if __name__ == "__main__":
    main()
