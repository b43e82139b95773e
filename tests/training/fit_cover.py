"""Fit the weights of the network that tells blank in close-ups.

``python -m tests.training.fit_cover DIR`` writes ``trace/blanktrace/cover.npz``. Needs the extra
``training``. Every fifteenth file is kept back, and tells how well it does.
``--start`` goes on from weights that it wrote.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.random import Generator
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from blanktrace.cover import LEVELS, WEIGHTS, looks
from tests.training.fitting import command, descend, keep, kept_layers, parted
from tests.training.plain import FRAMED_SHARE, framed, plain_light, smooth_noise

SHOWN = 7
FILTERS = (32, 32, 48, 64, 96)
"""Filters at each scale; bfloat16 on processors wants multiples of 16."""
SIDE_PX = 256
BATCH = 8
SCALES = (0.6, 1.25)
MIDDLE_SPREAD_PX = 40.0
EDGE_PX, EDGE_WEIGHT = 9, 4.0
"""How near a boundary pixels count more, and by how much."""
PLAIN_SHARE, RENDERED_SHARE = 0.25, 0.25
"""How many close-ups are lit most simply instead, and how many are path-traced."""
RECOLOURED_SHARE = 0.5
OTHER_COLOURS_SHARE, NOISY_SHARE = 0.3, 0.5

Lesson = tuple[NDArray[np.float16], NDArray[np.uint8], NDArray[np.bool_]]


class Block(nn.Module):
    """Two layers of filters, each scaled by what it gives on average."""

    def __init__(self, before: int, after: int) -> None:
        super().__init__()
        self.filters = nn.ModuleList(
            nn.Conv2d(a, after, 3, padding=1, bias=False) for a in (before, after)
        )
        self.norms = nn.ModuleList(nn.BatchNorm2d(after) for _ in range(2))

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        for one, norm in zip(self.filters, self.norms, strict=True):
            seen = functional.relu(norm(one(seen)))
        return seen


class Network(nn.Module):
    """The network, as `blanktrace.cover` runs it."""

    def __init__(self) -> None:
        super().__init__()
        down = zip((4 * SHOWN, *FILTERS[:-1]), FILTERS, strict=True)
        up = zip(FILTERS[:0:-1], FILTERS[-2::-1], strict=True)
        self.down = nn.ModuleList(Block(a, b) for a, b in down)
        self.up = nn.ModuleList(Block(a + b, b) for a, b in up)
        self.last = nn.Conv2d(FILTERS[0], 4, 1)

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        seen = functional.pixel_unshuffle(seen, 2)
        kept: list[torch.Tensor] = []
        for level in range(LEVELS):
            seen = self.down[level](functional.max_pool2d(seen, 2) if level else seen)
            kept.append(seen)
        for block, beside in zip(self.up, kept[-2::-1], strict=True):
            finer = functional.interpolate(seen, scale_factor=2, mode="nearest")
            seen = block(torch.cat([finer, beside], 1))
        return functional.pixel_shuffle(self.last(seen), 2)[:, 0]

    def load(self, path: Path, shown: torch.Tensor) -> None:
        """Go on from weights that were kept; each layer's norm from what is shown (B, 7, S, S)."""
        pairs = [
            (one, norm)
            for block in (*self.down, *self.up)
            for one, norm in zip(block.filters, block.norms, strict=True)
        ]

        def set_norm(
            norm: nn.Module, one: nn.Module, seen: tuple[torch.Tensor], made: torch.Tensor
        ) -> None:
            """Let the norm scale by what the layer gives, and scale back by as much."""
            norm.running_mean.copy_(made.mean((0, 2, 3)))
            norm.running_var.copy_(made.var((0, 2, 3)))
            norm.weight.copy_(torch.sqrt(norm.running_var + norm.eps))
            norm.bias.add_(norm.running_mean)

        with torch.no_grad():
            into = [*pairs, (self.last, self.last)]
            for (one, norm), (taps, level) in zip(into, kept_layers(path), strict=True):
                one.weight.copy_(taps)
                norm.bias.copy_(level)
            hooks = [one.register_forward_hook(partial(set_norm, norm)) for one, norm in pairs]
            self.eval()(shown)
            for hook in hooks:
                hook.remove()
        self.train()

    def taps_and_levels(self) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
        """Each layer's, with its scaling within them."""
        for block in (*self.down, *self.up):
            for one, norm in zip(block.filters, block.norms, strict=True):
                gain = norm.weight / torch.sqrt(norm.running_var + norm.eps)
                level = norm.bias - norm.running_mean * gain
                yield one.weight * gain[:, None, None, None], level
        yield self.last.weight, self.last.bias


def load(file: Path) -> Lesson:
    with np.load(file) as kept:
        return kept["share"], kept["cover"], kept["extent"]


def drawn(lesson: Lesson, rng: Generator) -> list[NDArray[np.float32]]:
    """Turn, scale and vary a close-up: what is shown (7, S, S), the truth and its weight (S, S)."""
    share, cover, extent = lesson
    height, width = cover.shape
    scale, angle = np.exp(rng.uniform(*np.log(SCALES))), rng.uniform(0, 2 * np.pi)
    place = np.array([rng.uniform(0, width), rng.uniform(0, height)])
    ys, xs = np.nonzero(cover > 127)
    if len(ys) and rng.random() < 0.8:
        index = rng.integers(len(ys))
        place = np.array([xs[index], ys[index]]) + rng.normal(0, MIDDLE_SPREAD_PX, 2)
    if rng.random() < 0.5:
        place = np.array([width, height]) / 2
    flip = rng.choice([-1, 1])
    cos, sin = scale * np.cos(angle), scale * np.sin(angle)
    turn = np.array([[cos * flip, -sin], [sin * flip, cos]])
    onto = np.column_stack([turn, SIDE_PX / 2 - turn @ place]).astype(np.float32)
    size = (SIDE_PX, SIDE_PX)
    light = cv2.warpAffine(share.astype(np.float32), onto, size, borderMode=cv2.BORDER_REPLICATE)
    truth = cv2.warpAffine(cover, onto, size).astype(np.float32) / 255
    sheet = cv2.warpAffine(extent.astype(np.uint8), onto, size, flags=cv2.INTER_NEAREST) > 0
    square = np.ones((EDGE_PX, EDGE_PX), np.uint8)
    near_edge = cv2.dilate(truth, square) - cv2.erode(truth, square)
    if rng.random() < RECOLOURED_SHARE:
        light = _recoloured(light, truth, rng)
    if rng.random() < PLAIN_SHARE:
        light, sheet = plain_light(truth, rng), np.ones_like(sheet)
    shown = looks(_varied(light, rng), sheet).transpose(2, 0, 1)
    return [shown, truth, (1 + EDGE_WEIGHT * near_edge) * sheet]


def _recoloured(
    light: NDArray[np.float32], truth: NDArray[np.float32], rng: Generator
) -> NDArray[np.float32]:
    """Give the blank another colour and grain, perhaps within a frame, its shadow another depth."""
    noise = smooth_noise(truth.shape, np.exp(rng.uniform(-0.5, 3, 2)), rng)
    grain = rng.uniform(0, 0.2) * noise
    colour = rng.normal(0, 0.4) + rng.normal(0, 0.12, 3) + grain[..., None]
    if rng.random() < FRAMED_SHARE:
        other = rng.normal(0, 0.5) + rng.normal(0, 0.12, 3) - 2 * grain[..., None]
        colour = colour + framed(truth, rng)[..., None] * other
    deeper = np.exp(rng.normal(0, 0.3))
    shaded = np.clip(light, 0.003, 1) ** (deeper - 1)
    factor = truth[..., None] * np.exp(colour) + (1 - truth[..., None]) * shaded
    return np.asarray(light * factor, np.float32)


def _varied(light: NDArray[np.float32], rng: Generator) -> NDArray[np.float32]:
    """Other white balance, tone, noise, and now and then other colours."""
    if rng.random() < OTHER_COLOURS_SHARE:
        light = light[..., rng.permutation(3)]
    light = np.maximum(light, 0) ** float(np.exp(rng.normal(0, 0.1)))
    light = light * np.exp(rng.normal(0, 0.02) + rng.normal(0, 0.015, 3))
    if rng.random() < NOISY_SHARE:
        light = light + rng.normal(0, rng.uniform(0, 0.03), light.shape)
    return np.asarray(light, np.float32)


def batch(lessons: list[list[Lesson]], rng: Generator) -> list[torch.Tensor]:
    """Draw close-ups from those that were drawn, and from those that were rendered."""
    made = []
    for _ in range(BATCH):
        kind = lessons[int(rng.random() < RENDERED_SHARE)] or lessons[0]
        made.append(drawn(kind[rng.integers(len(kind))], rng))
    return [torch.from_numpy(np.stack(one).astype(np.float32)) for one in zip(*made, strict=True)]


def loss_of(
    network: Network, shown: torch.Tensor, truth: torch.Tensor, weight: torch.Tensor
) -> torch.Tensor:
    with torch.autocast("cpu", dtype=torch.bfloat16):
        odds = network(shown.contiguous(memory_format=torch.channels_last))
    each = functional.binary_cross_entropy_with_logits(odds.float(), truth, reduction="none")
    return (each * weight).mean()


def main() -> None:
    asked = command(__doc__, weights=WEIGHTS)
    lessons, held = (
        [[load(file) for file in kind] for kind in each] for each in parted(asked.folder)
    )
    print(f"{[len(kind) for kind in lessons]} scenes, {[len(kind) for kind in held]} kept back")
    torch.manual_seed(0)
    rng = np.random.default_rng(1723)
    tests = [batch(held, np.random.default_rng(5 + k)) for k in range(12)]
    network = Network().to(memory_format=torch.channels_last)
    if asked.start:
        network.load(asked.start, torch.cat([shown for shown, _, _ in tests]))

    def next_loss() -> torch.Tensor:
        return loss_of(network, *batch(lessons, rng))

    for told in descend(network, next_loss, minutes=asked.minutes, rate=asked.rate):
        network.eval()
        with torch.no_grad():
            back_loss = np.mean([loss_of(network, *one).item() for one in tests])
        network.train()
        print(f"{told}  kept back {back_loss:.4f}", flush=True)
        keep(network.taps_and_levels(), asked.out)


if __name__ == "__main__":
    main()
