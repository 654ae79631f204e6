"""Fits the network of the harmoniser to an editor's chords and writes its weights.

Usage: python tests/benchmarks/harmony_network_fit.py CHORDED.jsonl.gz OUTPUT.npz   (fit to all)
       python tests/benchmarks/harmony_network_fit.py CHORDED.jsonl.gz --cross-validate [FOLDS]
       python tests/benchmarks/harmony_network_fit.py CHORDED.jsonl.gz --distil FROM.npz OUTPUT.npz

CHORDED is half of the Nottingham Music Database as numbers (see chorded_tunes.py). Needs PyTorch
(pip install torch), which the program itself does not. Maximum likelihood of the chords under the
chain (conditional random field: Lafferty, McCallum & Pereira 2001, Proc. ICML), slots without a
chord summed out; dropout (Srivastava et al. 2014, JMLR 15) and AdamW (Loshchilov & Hutter 2019,
ICLR). Cross-validation keeps like tunes in one fold, and prints agreement by quarter beat, the
spread over the folds, and how often chords of each degree of confidence agree.

Several networks are then distilled into one, which is several times as quick (Hinton, Vinyals &
Dean 2015, arXiv:1503.02531): it learns their mean scores on the tunes that they learnt from and on
tunes without chords (music21's corpus, read where it lies); sums and prices are their means.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "external"))

import numpy as np
import torch
from chorded_tunes import ChordedTune, agreement, folds, read_chorded_tunes
from corpus_tunes import random_tunes
from torch.nn import functional

from tunebook.solve.harmony.chain import chord_probabilities
from tunebook.solve.harmony.network import (
    LOOKS,
    PLACES,
    STEP_KINDS,
    Networks,
    slot_places,
    slot_tones,
)
from tunebook.solve.harmony.slots import CHANGE_PLACES, harmony_slots
from tunebook.solve.harmony.weighing import weighed

HIDDEN, NETWORKS, EPOCHS, BATCH = 40, 4, 18, 16
RATE, DROPOUT, DECAY, PULL = 3e-3, 0.35, 1e-3, 5e-5
ROUNDS, PLAIN_TUNES = 10, 400
MEANS = {"prior", "phrase", "motion", "rise", "change"}
"""What is added to scores and prices as it is, so that means of it are exact."""
TURNS = (torch.arange(12)[None, :] + torch.arange(12)[:, None]) % 12
CHORDS = torch.arange(24)
RISE = (CHORDS[None, :] // 2 - CHORDS[:, None] // 2) % 12
QUALITY = CHORDS % 2
OFF_DIAGONAL = 1.0 - torch.eye(24)
STEPS = torch.tensor(STEP_KINDS)

Batch = tuple[torch.Tensor, ...]


class Net(torch.nn.Module):
    """One network, its weights named and shaped as in ``Networks``."""

    def __init__(self) -> None:
        super().__init__()
        looks = len(LOOKS) * 12
        shapes: dict[str, tuple[tuple[int, ...], float]] = {
            "tones": ((looks, HIDDEN), looks**-0.5),
            "keyed": ((looks, HIDDEN), looks**-0.5),
            "degree": ((2, 12, HIDDEN), 0.1),
            "place": ((PLACES, HIDDEN), PLACES**-0.5),
            "place_bias": ((HIDDEN,), 0.0),
            "inner": ((HIDDEN, HIDDEN), HIDDEN**-0.5),
            "inner_bias": ((HIDDEN,), 0.0),
            "outer": ((HIDDEN, 2), HIDDEN**-0.5),
            "outer_bias": ((2,), 0.0),
            "prior": ((2, 12, 2), 0.0),
            "phrase": ((2, PLACES, 24), 0.0),
            "motion": ((2, 24, 24), 0.0),
            "rise": ((3, 2, 2, 12), 0.0),
            "change": ((2, len(CHANGE_PLACES)), 0.0),
        }
        for name, (shape, spread) in shapes.items():
            start = torch.randn(shape) * spread * 0.58
            if name == "change":
                start = start - 1.5
            self.register_parameter(name, torch.nn.Parameter(start))

    def scores(self, tones: Any, place: Any, minor: Any) -> torch.Tensor:
        """(tunes, slots, 24)."""
        shape = tones.shape[:2]
        over_root = tones[:, :, :, TURNS].permute(0, 1, 3, 2, 4).reshape(*shape, 12, -1)
        over_key = self.drop(tones.reshape(*shape, -1))
        at_place = over_key @ self.keyed + place @ self.place + self.place_bias
        hidden = self.drop(over_root) @ self.tones + self.degree[minor][:, None]
        hidden = self.drop(functional.gelu(hidden + at_place[:, :, None], approximate="tanh"))
        hidden = functional.gelu(hidden @ self.inner + self.inner_bias, approximate="tanh")
        scores = self.drop(hidden) @ self.outer + self.outer_bias + self.prior[minor][:, None]
        by_place = torch.einsum("btp,bpc->btc", place, self.phrase[minor])
        return scores.reshape(*shape, 24) + by_place

    def drop(self, values: torch.Tensor) -> torch.Tensor:
        return functional.dropout(values, DROPOUT, self.training)

    def passages(self, change: Any, minor: Any) -> torch.Tensor:
        """(tunes, slots, 24, 24): to each slot from the one before."""
        by_rise = self.rise[:, QUALITY[:, None], QUALITY[None, :], RISE][STEPS[change]]
        place = torch.take_along_dim(self.change[minor], change, 1)[:, :, None, None]
        return (self.motion[minor][:, None] + by_rise + place) * OFF_DIAGONAL

    def pull(self) -> torch.Tensor:
        """Towards nothing, for what is learnt of few examples."""
        squares = [(p**2).sum() for p in (self.motion, self.rise, self.phrase, 0.5 * self.prior)]
        return PULL * torch.stack(squares).sum()


def batch_of(tunes: list[ChordedTune]) -> Batch:
    """Tunes side by side, shorter ones padded."""
    shape = (len(tunes), max(len(one.slots) for one in tunes))
    tones = np.zeros((*shape, len(LOOKS), 12), np.float32)
    place = np.zeros((*shape, PLACES), np.float32)
    change, labels = np.zeros(shape, int), -np.ones(shape, int)
    present = np.zeros(shape, np.float32)
    for row, one in enumerate(tunes):
        end = len(one.slots)
        tones[row, :end] = slot_tones(one.tune, one.slots)
        place[row, :end] = slot_places(one.tune, one.slots)
        change[row, :end] = [slot.change_place for slot in one.slots]
        labels[row, :end], present[row, :end] = one.labels, 1.0
    minor = torch.tensor([int(one.facts["minor"]) for one in tunes])
    return (*map(torch.tensor, (tones, place, change, labels, present)), minor)


def log_sum(scores: torch.Tensor, passages: torch.Tensor, present: torch.Tensor) -> torch.Tensor:
    """Logarithm of the sum over all chord sequences."""
    reached = scores[:, 0]
    for at in range(1, scores.shape[1]):
        step = torch.logsumexp(reached[:, :, None] + passages[:, at], 1) + scores[:, at]
        reached = torch.where(present[:, at, None] > 0, step, reached)
    return torch.logsumexp(reached, 1)


def fit(tunes: list[ChordedTune], seed: int) -> Net:
    """One network fitted to ``tunes``."""
    torch.manual_seed(seed)
    order = np.random.default_rng(seed)
    net = Net()
    batches = batches_of(tunes)
    optimizer = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=DECAY)
    rates = torch.optim.lr_scheduler.OneCycleLR(optimizer, RATE, EPOCHS * len(batches))
    for _ in range(EPOCHS):
        net.train()
        for number in order.permutation(len(batches)):
            tones, place, change, labels, present, minor = batches[number]
            scores, passages = net.scores(tones, place, minor), net.passages(change, minor)
            is_label = functional.one_hot(labels.clamp(min=0), 24) > 0
            given = torch.where((labels >= 0)[:, :, None] & ~is_label, -1e4, 0.0)
            loss = log_sum(scores, passages, present) - log_sum(scores + given, passages, present)
            optimizer.zero_grad()
            (loss.sum() / present.sum() + net.pull()).backward()
            torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            optimizer.step()
            rates.step()
    return net.eval()


def distilled(nets: list[Net], batches: list[Batch], seed: int = 0) -> Net:
    """One network whose scores are nearly the mean of those of ``nets``."""
    torch.manual_seed(seed)
    order = np.random.default_rng(seed)
    student = Net()
    with torch.no_grad():
        for name, value in student.named_parameters():
            several = torch.stack([dict(net.named_parameters())[name] for net in nets])
            value.copy_(several.mean(0) if name in MEANS else several[0])
        wanted = [torch.stack([n.scores(b[0], b[1], b[5]) for n in nets]).mean(0) for b in batches]
    student.eval()
    learning = [value for name, value in student.named_parameters() if name not in MEANS]
    optimizer = torch.optim.AdamW(learning, lr=RATE, weight_decay=0.0)
    rates = torch.optim.lr_scheduler.OneCycleLR(optimizer, RATE, ROUNDS * len(batches))
    for _ in range(ROUNDS):
        for number in order.permutation(len(batches)):
            tones, place, _, _, present, minor = batches[number]
            off = student.scores(tones, place, minor) - wanted[number]
            off = off - off.mean(2, keepdim=True)
            # What is likely counts more, and what is as good as excluded hardly at all.
            weights = 0.02 + torch.softmax(wanted[number], 2)
            loss = (weights * off**2).sum(2) * present
            optimizer.zero_grad()
            (loss.sum() / present.sum()).backward()
            optimizer.step()
            rates.step()
    return student


def plain_batches(count: int) -> list[Batch]:
    """Tunes of the corpus without chords."""
    tunes = [one for one in random_tunes(count, 17) if len({bar.key for bar in one.bars}) == 1]
    found = []
    for one in tunes:
        slots = harmony_slots(one)
        if 8 <= len(slots) <= 90:
            facts = {"minor": slots[0].key.is_minor_like}
            found.append(ChordedTune(facts, one, slots, (-1,) * len(slots), ()))
    return batches_of(found)


def batches_of(tunes: list[ChordedTune]) -> list[Batch]:
    """Tunes of like length side by side."""
    ordered = sorted(tunes, key=lambda one: len(one.slots))
    return [batch_of(ordered[at : at + BATCH]) for at in range(0, len(ordered), BATCH)]


def as_nets(networks: Networks) -> list[Net]:
    """The program's weights as networks that can be asked and learnt from."""
    nets = [Net().eval() for _ in networks.place_bias]
    with torch.no_grad():
        for at, net in enumerate(nets):
            for name, value in net.named_parameters():
                value.copy_(torch.tensor(getattr(networks, name)[at]))
    return nets


def as_networks(nets: list[Net]) -> Networks:
    """The weights as the program holds them, in half precision."""
    stacked = {
        name: torch.stack([dict(net.named_parameters())[name].detach() for net in nets]).numpy()
        for name, _ in nets[0].named_parameters()
    }
    halved = {name: value.astype(np.float16).astype(np.float32) for name, value in stacked.items()}
    return Networks(**halved)


def probabilities(one: ChordedTune, nets: Networks) -> np.ndarray:
    """(slots x 24) posterior probabilities as the program has them with these networks."""
    scores, steps = weighed(one.tune, one.slots, nets)
    return chord_probabilities(scores, steps, [slot.parent for slot in one.slots])


def cross_validate(tunes: list[ChordedTune], parts: int) -> None:
    """Print agreement in and over the folds, and how it goes with confidence."""
    total, table, spread = np.zeros(3), np.zeros((10, 2)), []
    plain = plain_batches(PLAIN_TUNES)
    for number, part in enumerate(folds(tunes, parts)):
        start = time.perf_counter()
        inside = set(part)
        learnt = [one for at, one in enumerate(tunes) if at not in inside]
        several = [fit(learnt, seed) for seed in range(NETWORKS)]
        nets = as_networks([distilled(several, [*batches_of(learnt), *plain])])
        counts = np.zeros(3)
        for one in (tunes[at] for at in part):
            found = probabilities(one, nets)
            chosen = found.argmax(axis=1)
            counts += agreement(one, chosen.tolist())
            for slot, state, label, row in zip(one.slots, chosen, one.labels, found, strict=True):
                if label >= 0:
                    step = min(9, int(row[state] * 10))
                    length = float(slot.duration) * 4
                    table[step] += (length, length * (state == label))
        total += counts
        spread.append(counts[1:] / counts[0])
        spent = time.perf_counter() - start
        print(f"fold {number}: root {spread[-1][0]:.3f}, triad {spread[-1][1]:.3f}, {spent:.0f} s",
              flush=True)  # fmt: skip
    deviation = np.std(spread, axis=0)
    print(f"all: root {total[1] / total[0]:.4f} (spread {deviation[0]:.3f}), "
          f"triad {total[2] / total[0]:.4f} (spread {deviation[1]:.3f})")  # fmt: skip
    for step, (length, agreeing) in enumerate(table):
        if length:
            told(f"confidence {step / 10:.1f} to {step / 10 + 0.1:.1f}", length, agreeing, table)
    for name, rows in (("without parentheses", table[5:]), ("in parentheses", table[:5])):
        told(name, rows[:, 0].sum(), rows[:, 1].sum(), table)


def told(name: str, length: float, agreeing: float, table: np.ndarray) -> None:
    share = length / table[:, 0].sum()
    print(f"{name}: {share:.3f} of the beats, {agreeing / length:.3f} agree")


def main() -> None:
    torch.set_num_threads(1)
    tunes = read_chorded_tunes(Path(sys.argv[1]))
    if sys.argv[2] == "--cross-validate":
        cross_validate(tunes, int(sys.argv[3]) if len(sys.argv) > 3 else 5)
        return
    if sys.argv[2] == "--distil":
        with np.load(sys.argv[3], allow_pickle=False) as kept:
            known = {name: kept[name].astype(np.float32) for name in kept.files}
        several, output = as_nets(Networks(**known)), Path(sys.argv[4])
    else:
        several, output = [fit(tunes, seed) for seed in range(NETWORKS)], Path(sys.argv[2])
    nets = as_networks([distilled(several, [*batches_of(tunes), *plain_batches(PLAIN_TUNES)])])
    halved = {name: value.astype(np.float16) for name, value in vars(nets).items()}
    np.savez_compressed(output, **halved)
    print(f"{output.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
