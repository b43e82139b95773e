"""Fit a network to what was kept in a folder, for so many minutes: what both fits share."""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import numpy as np
import torch
from torch import nn

import blanktrace
from blanktrace.filters import read_layers

RATE = 3e-3
KEPT_BACK = 15
"""One file in so many is kept back."""
WARM_UP, TOLD_EVERY = 200, 200
"""Steps in which the rate rises to its most, and between reports."""


def command(doc: str | None, *, weights: str) -> argparse.Namespace:
    """Read a fit's arguments: the folder, minutes, rate, where to start and what to write."""
    parser = argparse.ArgumentParser(description=(doc or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--rate", type=float, default=RATE, help="of learning, at most")
    parser.add_argument("--start", type=Path, help="what was fitted before, to go on from")
    out = Path(blanktrace.__file__).with_name(weights)
    parser.add_argument("-o", "--out", type=Path, default=out)
    return parser.parse_args()


def parted(folder: Path) -> tuple[list[list[Path]], list[list[Path]]]:
    """Part files into those that are learnt from and those kept back: drawn ones, rendered ones."""
    files = sorted(folder.glob("*.npz"))
    back = files[::KEPT_BACK]
    learnt = [file for file in files if file not in back]
    return _by_kind(learnt), _by_kind(back)


def _by_kind(files: list[Path]) -> list[list[Path]]:
    return [[file for file in files if file.name[0] == kind] for kind in "dr"]


def descend(
    network: nn.Module, next_loss: Callable[[], torch.Tensor], *, minutes: float, rate: float
) -> Iterator[str]:
    """Follow the loss downhill, ever more slowly; yield now and then, and at the end, how it went.

    Parameters
    ----------
    next_loss : callable
        Loss over what was not drawn before.
    """
    steps = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=1e-4)
    begun, done, count = time.monotonic(), 0.0, 0
    losses: list[float] = []
    while done < 1:
        done = min((time.monotonic() - begun) / (60 * minutes), 1.0)
        risen = min(1.0, (count + 1) / WARM_UP)
        for group in steps.param_groups:
            group["lr"] = rate * risen * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-6
        loss = next_loss()
        steps.zero_grad()
        loss.backward()
        steps.step()
        losses.append(loss.item())
        count += 1
        if count % TOLD_EVERY == 0 or done == 1:
            yield f"{count:6d}  {done:4.0%}  {np.mean(losses):.4f}"
            losses.clear()


def keep(layers: Iterable[tuple[torch.Tensor, torch.Tensor]], out: Path) -> None:
    """Keep each layer's taps (out, in, K, K) and levels (out,) as the tracer reads them."""
    kept = {}
    for number, (taps, level) in enumerate(layers):
        kept[f"taps{number}"] = taps.detach().numpy().transpose(2, 3, 1, 0).astype(np.float16)
        kept[f"level{number}"] = level.detach().numpy().astype(np.float16)
    np.savez_compressed(out, **kept)


def kept_layers(path: Path) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
    """Read each layer's taps and levels again, as `keep` was given them."""
    for taps, level in read_layers(path.read_bytes()):
        yield torch.from_numpy(taps.transpose(3, 2, 0, 1).copy()), torch.from_numpy(level)
