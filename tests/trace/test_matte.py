import cv2
import numpy as np
import pytest
from skimage.measure import find_contours

from blanktrace.matte import blank_share

SIZE = 160
WOOD = np.array([0.35, 0.50, 0.65], dtype=np.float32)
"""Share of the sheet's light that brown wood takes from red, green and blue."""


def picture(radius, shadow):
    """Light lost to a brown disc and to the soft grey shadow on its right."""
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    away = np.hypot(x - 80.3, y - 79.6)
    share = np.clip(0.5 + radius - away, 0, 1)[..., None]
    fallen = shadow * np.clip(1 - np.hypot(x - 90, y - 80) / 70, 0, 1)[..., None]
    loss = share * WOOD + (1 - share) * fallen
    noise = np.random.default_rng(1).normal(0, 0.01, loss.shape)
    return (loss + noise).astype(np.float32), away


@pytest.mark.parametrize("shadow", [0.0, 0.9], ids=["no shadow", "shadow"])
@pytest.mark.parametrize("astray_px", [-1.0, 0.0, 1.0], ids=["inside", "true", "outside"])
def test_the_half_share_lies_on_the_boundary_wherever_the_mask_began(shadow, astray_px):
    radius = 50.0
    loss, away = picture(radius, shadow)
    mask = away < radius + astray_px
    share = blank_share(loss, mask, clear=~mask)
    ring = max(find_contours(share, 0.5), key=len)
    off = np.hypot(ring[:, 1] - 80.3, ring[:, 0] - 79.6) - radius
    assert np.sqrt(np.mean(off**2)) < 0.25


def test_where_nothing_tells_blank_from_sheet_the_mask_is_kept():
    rng = np.random.default_rng(2)
    loss = rng.normal(0, 0.01, (SIZE, SIZE, 3)).astype(np.float32)
    mask = np.zeros((SIZE, SIZE), dtype=bool)
    mask[40:120, 40:120] = True
    kept = blank_share(loss, mask, clear=~mask) > 0.5
    edge = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((5, 5), np.uint8))
    assert (kept == mask)[edge == 0].all()
    assert (kept != mask).sum() < 0.05 * edge.sum()
