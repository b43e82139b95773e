"""Fit the network's weights to strips whose truth is known.

``python -m tests.training.fit_odds STRIPS`` writes ``trace/blanktrace/odds.npz``. Needs the extra
``training``. Every fifteenth file is kept back, and tells how well it does.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage
from torch import nn
from torch.nn import functional

import blanktrace
from blanktrace.odds import CARRIED, GAPS, WEIGHTS, looks
from blanktrace.strip import COARSE, FINE
from tests.training.profiles import drawn_strip

SHOWN, FILTERS = 8, 16
SIDES = (5, 5, 5, 5, 5, 3, 1)
WINDOW, AROUND = 64, 18
"""Samples along a strip that are judged at once, and those that are seen besides on either side."""
BATCH = 32
RATE = 3e-3
KEPT_BACK = 15
DRAWN_TOO = 6
"""Windows of a batch that are drawn from formulae."""
RENDERED_SHARE = 0.4
BLURRED_SHARE, BLURS_SAMPLES = 0.4, (0.7, 6.0)
"""How many windows are blurred besides, and by what Gaussian, in samples across."""
STEPS_RATIO = COARSE / FINE
"""Distance of samples across over that of samples along."""
WHERE = Path(blanktrace.__file__).with_name(WEIGHTS)


@dataclass(frozen=True, eq=False)
class Lessons:
    """Strips one after another, with their truth."""

    light: NDArray[np.float16]
    share: NDArray[np.uint8]
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    reaches_px: NDArray[np.float64]

    @classmethod
    def load(cls, files: list[Path]) -> Lessons:
        light, share, lengths, reaches = [], [], [], []
        for file in files:
            with np.load(file) as kept:
                light.append(kept["light"])
                share.append(kept["share"])
                lengths.append(kept["lengths"])
                reaches.append(kept["reaches_px"])
        ends = np.cumsum(np.concatenate(lengths))
        starts = np.concatenate([[0], ends[:-1]])
        return cls(
            np.concatenate(light), np.concatenate(share), starts, ends, np.concatenate(reaches)
        )

    def window(self, rng: Generator) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Draw a window: what is shown (W, S, 8) and the truth (W, S)."""
        place = int(rng.integers(self.ends[-1]))
        strip = int(np.searchsorted(self.ends, place, side="right"))
        start, end = int(self.starts[strip]), int(self.ends[strip])
        rows = start + (place - start + np.arange(WINDOW + 2 * AROUND)) % (end - start)
        light = self.light[rows].astype(np.float64)
        share = self.share[rows].astype(np.float32) / 255
        if rng.random() < 0.5:
            light, share = light[::-1], share[::-1]
        return looks(_varied(light, rng), float(self.reaches_px[strip])), share


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
        with np.load(path) as kept, torch.no_grad():
            for number, layer in enumerate(self.layers):
                taps = kept[f"taps{number}"].astype(np.float32).transpose(3, 2, 0, 1)
                layer.weight.copy_(torch.from_numpy(np.ascontiguousarray(taps)))
                layer.bias.copy_(torch.from_numpy(kept[f"level{number}"].astype(np.float32)))

    def save(self, path: Path) -> None:
        kept = {}
        for number, layer in enumerate(self.layers):
            taps = layer.weight.detach().numpy().transpose(2, 3, 1, 0)
            kept[f"taps{number}"] = taps.astype(np.float16)
            kept[f"level{number}"] = layer.bias.detach().numpy().astype(np.float16)
        np.savez(path, **kept)


def batch(
    sources: list[Lessons], shares: list[float], rng: Generator, *, drawn_too: int = 0
) -> list[torch.Tensor]:
    picked = rng.choice(len(sources), BATCH - drawn_too, p=shares)
    drawn = [sources[k].window(rng) for k in picked]
    for _ in range(drawn_too):
        light, share, reach_px = drawn_strip(rng, WINDOW + 2 * AROUND)
        drawn.append((looks(light, reach_px), share.astype(np.float32)))
    shown = np.stack([window.transpose(2, 0, 1) for window, _ in drawn])
    return [torch.from_numpy(shown), torch.from_numpy(np.stack([truth for _, truth in drawn]))]


def loss_of(network: Network, shown: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    judged = slice(AROUND, AROUND + WINDOW)
    with torch.autocast("cpu", dtype=torch.bfloat16):
        odds = network(shown.contiguous(memory_format=torch.channels_last))[:, judged]
    return functional.binary_cross_entropy_with_logits(odds.float(), truth[:, judged])


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("strips", type=Path)
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("-o", "--out", type=Path, default=WHERE)
    asked = parser.parse_args()
    files = sorted(asked.strips.glob("*.npz"))
    back = files[::KEPT_BACK]
    kinds = [[f for f in files if f not in back and f.name[0] == kind] for kind in "dr"]
    sources = [Lessons.load(kind) for kind in kinds if kind]
    shares = [1 - RENDERED_SHARE, RENDERED_SHARE] if len(sources) > 1 else [1.0]
    held = [Lessons.load([f for f in back if f.name[0] == kind]) for kind in "dr"[: len(sources)]]
    print(f"{[len(k) for k in kinds]} scenes, {[int(s.ends[-1]) for s in sources]} places")
    torch.manual_seed(0)
    rng = np.random.default_rng(1721)
    tests = [[batch([one], [1.0], np.random.default_rng(7 + k)) for k in range(12)] for one in held]
    network = Network().to(memory_format=torch.channels_last)
    if asked.start:
        network.load(asked.start)
    steps = torch.optim.AdamW(network.parameters(), lr=RATE, weight_decay=1e-4)
    begun, done = time.monotonic(), 0.0
    running, count = 0.0, 0
    while done < 1:
        done = min((time.monotonic() - begun) / (60 * asked.minutes), 1.0)
        rate = RATE * min(1.0, (count + 1) / 200) * (0.5 + 0.5 * np.cos(np.pi * done)) + 1e-6
        for group in steps.param_groups:
            group["lr"] = rate
        loss = loss_of(network, *batch(sources, shares, rng, drawn_too=DRAWN_TOO))
        steps.zero_grad()
        loss.backward()
        steps.step()
        running, count = running + loss.item(), count + 1
        if count % 250 == 0:
            with torch.no_grad():
                back_loss = [np.mean([loss_of(network, *b).item() for b in one]) for one in tests]
            shown = "  ".join(f"{one:.4f}" for one in back_loss)
            print(f"{count:6d}  {done:4.0%}  {running / 250:.4f}  kept back {shown}", flush=True)
            running = 0.0
            network.save(asked.out)
    network.save(asked.out)


if __name__ == "__main__":
    main()
