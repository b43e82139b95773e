"""Fit the weights of the network that tells blank in strips.

``python -m tests.training.fit_odds STRIPS`` writes ``trace/blanktrace/odds.npz``. Needs the extra
``training``. Every fifteenth file is kept back, and tells how well it does.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from torch import nn
from torch.nn import functional

from blanktrace.odds import CARRIED, GAPS, WEIGHTS, looks
from blanktrace.strip import COARSE, FINE, UNKNOWN
from tests.training.fitting import command, descend, keep, kept_layers, parted
from tests.training.profiles import drawn_strip

SHOWN, FILTERS = 9, 16
SIDES = (5, 5, 5, 5, 5, 3, 1)
WINDOW, AROUND = 64, 18
"""Samples along a strip that are judged at once, and those that are seen besides on either side."""
BATCH = 32
DRAWN_TOO = 6
"""Windows of a batch that are drawn from formulae."""
RENDERED_SHARE = 0.4
BLURRED_SHARE, BLURS_SAMPLES = 0.4, (0.7, 6.0)
"""How many windows are blurred besides, and by what Gaussian, in samples across."""
COVERLESS_SHARE = 0.2
"""How many windows are shown with no cover."""
COVER_BLURS, COVER_OFF = (1.0, 4.0), 1.5
"""What a drawn window's cover is blurred by, and moved by mostly, in samples across."""
STEPS_RATIO = COARSE / FINE
"""Distance of samples across over that of samples along."""


@dataclass(frozen=True, eq=False)
class Lessons:
    """Strips one after another, with their truth."""

    light: NDArray[np.float16]
    cover: NDArray[np.uint8]
    share: NDArray[np.uint8]
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    reaches_px: NDArray[np.float64]

    @classmethod
    def load(cls, files: list[Path]) -> Lessons:
        light, cover, share, lengths, reaches = [], [], [], [], []
        for file in files:
            with np.load(file) as kept:
                light.append(kept["light"])
                cover.append(kept["cover"])
                share.append(kept["share"])
                lengths.append(kept["lengths"])
                reaches.append(kept["reaches_px"])
        ends = np.cumsum(np.concatenate(lengths))
        starts = np.concatenate([[0], ends[:-1]])
        light, cover, share, reaches = map(np.concatenate, (light, cover, share, reaches))
        return cls(light, cover, share, starts, ends, reaches)

    def window(self, rng: Generator) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Draw a window: what is shown (W, S, 9) and the truth (W, S)."""
        place = int(rng.integers(self.ends[-1]))
        strip = int(np.searchsorted(self.ends, place, side="right"))
        start, end = int(self.starts[strip]), int(self.ends[strip])
        rows = start + (place - start + np.arange(WINDOW + 2 * AROUND)) % (end - start)
        light = self.light[rows].astype(np.float64)
        cover = self.cover[rows].astype(np.float32) / 255
        share = self.share[rows].astype(np.float32) / 255
        if rng.random() < 0.5:
            light, cover, share = light[::-1], cover[::-1], share[::-1]
        if rng.random() < COVERLESS_SHARE:
            cover = np.full_like(cover, UNKNOWN)
        return looks(_varied(light, rng), cover, float(self.reaches_px[strip])), share


def _rough_cover(share: NDArray[np.float32], rng: Generator) -> NDArray[np.float32]:
    """Cover that is blurred and a little off, or none, of a window that was drawn."""
    if rng.random() < 0.5:
        return np.full_like(share, UNKNOWN)
    off = (0, rng.normal(0, COVER_OFF))
    moved = ndimage.shift(share, off, order=1, mode="nearest")
    return np.asarray(ndimage.gaussian_filter1d(moved, rng.uniform(*COVER_BLURS), axis=1))


def _varied(light: NDArray[np.float64], rng: Generator) -> NDArray[np.float64]:
    """Other white balance, tone, noise, and now and then other colours."""
    if rng.random() < 0.25:
        light = light[..., rng.permutation(3)]
    light = np.maximum(light, 0) ** float(np.exp(rng.normal(0, 0.08)))
    light = light * np.exp(rng.normal(0, 0.04) + rng.normal(0, 0.025, 3))
    if rng.random() < BLURRED_SHARE:
        softness = float(np.exp(rng.uniform(*np.log(BLURS_SAMPLES))))
        light = ndimage.gaussian_filter(light, (softness * STEPS_RATIO, softness, 0))
    if rng.random() < 0.5:
        light = light + rng.normal(0, rng.uniform(0, 0.02), light.shape)
    return light


class Network(nn.Module):
    """The network, as `blanktrace.odds` runs it."""

    def __init__(self) -> None:
        super().__init__()
        sizes = [SHOWN] + [FILTERS] * (len(GAPS) - 1) + [1]
        self.layers = nn.ModuleList(
            nn.Conv2d(a, b, side, padding=gap * (side // 2), dilation=gap)
            for a, b, side, gap in zip(sizes, sizes[1:], SIDES, GAPS, strict=False)
        )

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        for number, layer in enumerate(self.layers):
            made = layer(seen)
            if number < len(self.layers) - 1:
                made = functional.relu(made)
            seen = seen + made if number in CARRIED else made
        return seen[:, 0]

    def load(self, path: Path) -> None:
        """Go on from weights that were kept."""
        with torch.no_grad():
            for layer, (taps, level) in zip(self.layers, kept_layers(path), strict=True):
                layer.weight.copy_(taps)
                layer.bias.copy_(level)


def batch(
    sources: list[Lessons], shares: list[float], rng: Generator, *, drawn_too: int = 0
) -> list[torch.Tensor]:
    picked = rng.choice(len(sources), BATCH - drawn_too, p=shares)
    drawn = [sources[k].window(rng) for k in picked]
    for _ in range(drawn_too):
        light, sharply, reach_px = drawn_strip(rng, WINDOW + 2 * AROUND)
        share = sharply.astype(np.float32)
        drawn.append((looks(light, _rough_cover(share, rng), reach_px), share))
    shown = np.stack([window.transpose(2, 0, 1) for window, _ in drawn])
    return [torch.from_numpy(shown), torch.from_numpy(np.stack([truth for _, truth in drawn]))]


def loss_of(network: Network, shown: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    judged = slice(AROUND, AROUND + WINDOW)
    with torch.autocast("cpu", dtype=torch.bfloat16):
        odds = network(shown.contiguous(memory_format=torch.channels_last))[:, judged]
    return functional.binary_cross_entropy_with_logits(odds.float(), truth[:, judged])


def main() -> None:
    asked = command(__doc__, weights=WEIGHTS)
    learnt, back = parted(asked.folder)
    sources = [Lessons.load(kind) for kind in learnt if kind]
    shares = [1 - RENDERED_SHARE, RENDERED_SHARE] if len(sources) > 1 else [1.0]
    held = [Lessons.load(kind) for kind in back if kind]
    print(f"{[len(k) for k in learnt]} scenes, {[int(s.ends[-1]) for s in sources]} places")
    torch.manual_seed(0)
    rng = np.random.default_rng(1721)
    tests = [[batch([one], [1.0], np.random.default_rng(7 + k)) for k in range(12)] for one in held]
    network = Network().to(memory_format=torch.channels_last)
    if asked.start:
        network.load(asked.start)

    def next_loss() -> torch.Tensor:
        return loss_of(network, *batch(sources, shares, rng, drawn_too=DRAWN_TOO))

    for told in descend(network, next_loss, minutes=asked.minutes, rate=asked.rate):
        with torch.no_grad():
            back_loss = [np.mean([loss_of(network, *b).item() for b in one]) for one in tests]
        print(told, " kept back", "  ".join(f"{one:.4f}" for one in back_loss), flush=True)
        keep([(layer.weight, layer.bias) for layer in network.layers], asked.out)


if __name__ == "__main__":
    main()
