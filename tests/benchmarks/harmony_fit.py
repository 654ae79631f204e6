"""Fits the harmoniser's numbers to chords and writes them as a data file.

Usage: python tests/benchmarks/harmony_fit.py OUTPUT.toml [--cross-validate]

Maximum likelihood of the chords in ``harmony_corpus`` under the linear chain (a conditional random
field: Lafferty, McCallum & Pereira 2001, Proc. ICML), slots without a chord summed out, with a
normal prior round the hand-set numbers of ``harmony_start``. Then the priors by degree are moved
part of the way to where tunes without chords would have the tonic half of the time. All in keys
transposed to C; gradient steps by L-BFGS (Nocedal 1980, Mathematics of Computation 35).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from harmony_corpus import LabelledTune, tunes_with_our_chords, tunes_without_chords
from harmony_start import (
    GROUPS,
    PROGRESSION_CHORDS,
    SPREAD,
    TONIC_SHARES,
    Numbers,
    as_toml,
    starting_numbers,
)

from tunebook.solve.harmony.chain import NEAREST_MODE, degree_state
from tunebook.solve.harmony.slots import HarmonySlot

PRIOR_STRENGTH = 3.0
SHARE_STEP = 0.3
SHARE_ROUNDS = 12
STEPS = 70
FOLDS = 4

DEGREE, QUALITY = np.arange(24) // 2, np.arange(24) % 2
RISE = (DEGREE[None, :] - DEGREE[:, None]) % 12
CHANGES = ~np.eye(24, dtype=bool)
CHORDS = [np.array([degree_state(name) for name in names]) for names in PROGRESSION_CHORDS]


def _groups() -> np.ndarray:
    groups = np.full((2, 24), 5)
    for kind, names in enumerate(GROUPS):
        for index, name in enumerate(names[:-1]):
            groups[kind, degree_state(name)] = index
    groups[1, degree_state("v")], groups[1, degree_state("IV")] = 1, 4
    return groups


GROUP = _groups()


class Batch:
    """Tunes side by side in arrays (tunes x slots), shorter ones padded."""

    def __init__(self, tunes: Sequence[tuple[Sequence[HarmonySlot], Sequence[int | None]]]) -> None:
        shape = (len(tunes), max(len(slots) for slots, _ in tunes))
        self.present = np.zeros(shape, dtype=bool)
        self.parent = np.full(shape, -1)
        self.label = np.full(shape, -1)
        self.mode, self.place, self.change = (np.zeros(shape, dtype=int) for _ in range(3))
        self.length = np.zeros(shape)
        tones, first = np.zeros((*shape, 12)), np.zeros((*shape, 12))
        for row, (slots, labels) in enumerate(tunes):
            for at, (slot, label) in enumerate(zip(slots, labels, strict=True)):
                tonic = slot.key.tonic_class
                self.present[row, at], self.parent[row, at] = True, slot.parent
                self.mode[row, at] = NEAREST_MODE[slot.key.mode]
                self.place[row, at], self.change[row, at] = slot.phrase_place, slot.change_place
                self.length[row, at] = float(slot.duration)
                tones[row, at] = np.roll(slot.weights, -tonic)
                if slot.first_class is not None:
                    first[row, at, (slot.first_class - tonic) % 12] = 1.0
                if label is not None:
                    self.label[row, at] = (label - 2 * tonic) % 24
        turned = (np.arange(12)[:, None] + np.arange(12)[None, :]) % 12
        self.tones, self.first = tones[:, :, turned], first[:, :, turned]
        self.kind = (self.mode >= 2).astype(int)


def scores(numbers: Numbers, batch: Batch) -> tuple[np.ndarray, np.ndarray]:
    """Log weights of chords in slots (tunes x slots x 24) and of moves (2 x 24 x 24)."""
    nodes = numbers["prior"][batch.mode].copy()
    for quality in (0, 1):
        nodes[:, :, quality::2] += batch.tones @ numbers["melody"][quality]
        nodes[:, :, quality::2] += batch.first @ numbers["first"][quality]
    phrase = np.stack([numbers["phrase"][kind][:, GROUP[kind]] for kind in (0, 1)])
    nodes += phrase[batch.kind, batch.place]
    moves = np.stack([numbers["motion"][RISE, QUALITY[:, None], QUALITY[None, :]]] * 2)
    for kind in (0, 1):
        moves[kind][np.ix_(CHORDS[kind], CHORDS[kind])] += numbers["progression"][kind]
    return nodes, np.where(CHANGES, moves, 0.0)


def infer(numbers: Numbers, batch: Batch, is_clamped: bool) -> tuple[float, np.ndarray, np.ndarray]:
    """(log of the sum over all labellings, slot marginals, pair marginals)."""
    nodes, moves = scores(numbers, batch)
    if is_clamped:
        row, at = np.nonzero(batch.label >= 0)
        kept = nodes[row, at, batch.label[row, at]]
        nodes[row, at] = -1e4
        nodes[row, at, batch.label[row, at]] = kept
    count, width = batch.present.shape
    below, messages = nodes.copy(), np.zeros_like(nodes)
    pairs = np.zeros((count, width, 24, 24))
    tables, total = [], 0.0
    for at in range(width):
        change = numbers["change"][batch.change[:, at]]
        tables.append(moves[batch.kind[:, at]] + np.where(CHANGES, change[:, None, None], 0.0))
    for at in range(width - 1, -1, -1):
        messages[:, at] = _log_sum(tables[at] + below[:, at][:, None, :])
        roots = batch.present[:, at] & (batch.parent[:, at] < 0)
        total += float(_log_sum(below[roots, at]).sum())
        children = np.nonzero(batch.present[:, at] & (batch.parent[:, at] >= 0))[0]
        np.add.at(below, (children, batch.parent[children, at]), messages[children, at])
    marginals = np.zeros_like(nodes)
    for at in range(width):
        roots = batch.present[:, at] & (batch.parent[:, at] < 0)
        marginals[roots, at] = np.exp(below[roots, at] - _log_sum(below[roots, at])[:, None])
        children = np.nonzero(batch.present[:, at] & (batch.parent[:, at] >= 0))[0]
        given = tables[at][children] + below[children, at][:, None, :]
        given -= messages[children, at][:, :, None]
        above = marginals[children, batch.parent[children, at]]
        pairs[children, at] = above[:, :, None] * np.exp(np.minimum(given, 50.0))
        marginals[children, at] = pairs[children, at].sum(axis=1)
    return total, marginals, pairs


def _log_sum(values: np.ndarray) -> np.ndarray:
    top = values.max(axis=-1)
    return top + np.log(np.exp(values - top[..., None]).sum(axis=-1))


def expected(batch: Batch, marginals: np.ndarray, pairs: np.ndarray) -> Numbers:
    """How often each number is expected to count."""
    found = {name: np.zeros_like(value) for name, value in starting_numbers().items()}
    for quality in (0, 1):
        part = marginals[:, :, quality::2]
        found["melody"][quality] = np.einsum("bnd,bndi->i", part, batch.tones)
        found["first"][quality] = np.einsum("bnd,bndi->i", part, batch.first)
    np.add.at(found["prior"], batch.mode[batch.present], marginals[batch.present])
    changed = pairs * CHANGES
    np.add.at(found["change"], batch.change, changed.sum(axis=(2, 3)))
    for kind in (0, 1):
        chosen = batch.present & (batch.kind == kind)
        by_place = np.zeros((found["phrase"].shape[1], 24))
        np.add.at(by_place, batch.place[chosen], marginals[chosen])
        for state in range(24):
            found["phrase"][kind, :, GROUP[kind, state]] += by_place[:, state]
        moved = changed[chosen].sum(axis=0)
        found["progression"][kind] = moved[np.ix_(CHORDS[kind], CHORDS[kind])]
        for before in (0, 1):
            for after in (0, 1):
                np.add.at(
                    found["motion"][:, before, after],
                    RISE[before::2, after::2], moved[before::2, after::2],
                )  # fmt: skip
    return found


def flat(numbers: Numbers) -> np.ndarray:
    return np.concatenate([numbers[name].ravel() for name in SPREAD])


def shaped(values: np.ndarray) -> Numbers:
    found, at = {}, 0
    for name, like in ((name, starting_numbers()[name]) for name in SPREAD):
        found[name] = values[at : at + like.size].reshape(like.shape)
        at += like.size
    return found


def fit(batch: Batch) -> Numbers:
    """Numbers that make the batch's labels likely and stay near the hand-set ones."""
    start = flat(starting_numbers())
    spread = np.concatenate([np.full(starting_numbers()[n].size, s) for n, s in SPREAD.items()])

    def loss(values: np.ndarray) -> tuple[float, np.ndarray]:
        numbers = shaped(values)
        free, *free_parts = infer(numbers, batch, False)
        held, *held_parts = infer(numbers, batch, True)
        slope = flat(expected(batch, *free_parts)) - flat(expected(batch, *held_parts))
        away = (values - start) / spread
        return (
            free - held + 0.5 * PRIOR_STRENGTH * float(away @ away),
            slope + PRIOR_STRENGTH * away / spread,
        )

    return shaped(minimise(loss, start, STEPS))


def minimise(
    loss: Callable[[np.ndarray], tuple[float, np.ndarray]], start: np.ndarray, steps: int
) -> np.ndarray:
    """L-BFGS with ten pairs and step halving."""
    values, (best, slope) = start, loss(start)
    pairs: list[tuple[np.ndarray, np.ndarray]] = []
    for _ in range(steps):
        way, factors = -slope, []
        for moved, turned in reversed(pairs):
            factors.append(moved @ way / (turned @ moved))
            way = way - factors[-1] * turned
        if pairs:
            moved, turned = pairs[-1]
            way = way * (moved @ turned) / (turned @ turned)
        else:
            way = way / max(1.0, float(np.abs(slope).max()))
        for (moved, turned), factor in zip(pairs, reversed(factors), strict=True):
            way = way + moved * (factor - turned @ way / (turned @ moved))
        size = 1.0
        while size > 1e-6:
            value, new_slope = loss(values + size * way)
            if value <= best + 1e-4 * size * float(slope @ way):
                break
            size /= 2.0
        else:
            break
        pairs = [*pairs[-9:], (size * way, new_slope - slope)]
        values, best, slope = values + size * way, value, new_slope
    return values


def settle_shares(numbers: Numbers, batch: Batch) -> Numbers:
    """Priors by degree moved towards the shares of time that we hold usual."""
    numbers = {name: value.copy() for name, value in numbers.items()}
    for _ in range(SHARE_ROUNDS):
        _, marginals, _ = infer(numbers, batch, False)
        for kind, shares in enumerate(TONIC_SHARES):
            now = marginals[batch.present & (batch.kind == kind)].mean(axis=0)
            for name, share in shares.items():
                state = degree_state(name)
                step = SHARE_STEP * np.log(share / max(now[state], 1e-4))
                numbers["prior"][2 * kind : 2 * kind + 2, state] += step
    return numbers


def agreement(numbers: Numbers, batch: Batch) -> tuple[float, float]:
    """Part of the labelled time with the same root, and with the same root and quality."""
    _, marginals, _ = infer(numbers, batch, False)
    chosen, labelled = marginals.argmax(axis=2), batch.label >= 0
    time = batch.length * labelled
    same_root = (chosen // 2 == batch.label // 2) * time
    same = (chosen == batch.label) * time
    return float(same_root.sum() / time.sum()), float(same.sum() / time.sum())


def cross_validate(tunes: Sequence[LabelledTune], others: Batch) -> None:
    order = np.random.default_rng(0).permutation(len(tunes))
    for fold in range(FOLDS):
        test = [tunes[i] for i in order[fold::FOLDS]]
        train = [tunes[i] for place, i in enumerate(order) if place % FOLDS != fold]
        numbers = settle_shares(fit(_batch(train)), others)
        root, both = agreement(numbers, _batch(test))
        print(f"fold {fold + 1}: root {root:.1%}, root and quality {both:.1%}", flush=True)


def _batch(tunes: Sequence[LabelledTune]) -> Batch:
    return Batch([(one.slots, one.chords) for one in tunes])


def main(arguments: Sequence[str]) -> None:
    tunes = tunes_with_our_chords()
    others = Batch([(slots, [None] * len(slots)) for _, slots in tunes_without_chords()])
    if "--cross-validate" in arguments:
        cross_validate(tunes, others)
    numbers = settle_shares(fit(_batch(tunes)), others)
    output = Path(arguments[0])
    text = output.read_text(encoding="utf-8") if output.exists() else ""
    head = text.split("\n\n")[0] if text.startswith("#") else "# Numbers of the harmoniser."
    output.write_text(as_toml(numbers, head), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
