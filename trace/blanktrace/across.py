"""Find a disc's rim where it crosses a strap that comes out from under it.

Bright metal mirrors the sheet, so that its rim may be lost against it over a third of
the way round, and what is found instead is an ellipse as good as the rim's but smaller.
A strap is darker than the sheet: across it that rim still shows, light within and dark
beyond. It is no part of the blank's boundary, but it tells where the disc ends.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, contains, points

from blanktrace.disc import fit_disc
from blanktrace.edge import Edge
from blanktrace.errors import NoDiscError
from blanktrace.profiles import SHARP_PX, SPACING_PX, Pixels
from blanktrace.rays import Look, look_along
from blanktrace.residuals import robust_sd

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST_STRAP = 0.12
"""How far a strap stands out from the disc, in its radii, at least."""

FEWEST = 12
"""Rays across a strap that its rim is looked for along, at least."""

REACH_SHARE, LEAST_REACH_PX = 0.02, 3.0
"""How far from the ellipse of the rest the rim is looked for, as a share of its radius; at least.
The nearer a step the likelier: at half of this its height counts for 0.6 (Gaussian)."""

ALONG_PX = 2.0
"""Gaussian along the rim that averages rays."""

LEAST_STEP = 0.25
"""Height of the rim's step, in shares of the sheet's light, all channels together."""

BESIDE_BLURS = 2.5
"""How far to either side of the step its light is compared, in blurs."""

LEAST_FOUND = 0.7
"""Share of the rays on which the rim must be met."""

SPREAD_SHARE, LEAST_SPREAD_PX = 0.0016, 0.25
"""How far from their median distance to the ellipse the steps may lie (standard deviation), as a
share of the radius, or in pixels where that is more: what is no rim does not run along it."""

KEPT_SPREADS = 3.0
"""Steps within so many of these of the median are the rim's."""


def rim_across(rgb: Pixels, edge: Edge, *, light: FloatArray) -> FloatArray:
    """Find the rim of a blank's disc across its straps.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    edge : Edge
        The blank's outer boundary.
    light : ndarray, shape (3,)
        Linear light of the bare sheet about the blank.

    Returns
    -------
    ndarray, shape (N, 2)
        Places on the rim; none where the blank is no disc with a strap, or the strap lies
        on the disc, or is as light.
    """
    nowhere = np.zeros((0, 2))
    try:
        ellipse = fit_disc(edge.apart_px).ellipse
    except NoDiscError:
        return nowhere
    radius = ellipse.mean_radius_px
    count = int(2 * np.pi * radius / SPACING_PX)
    feet, outward = ellipse.points(count), ellipse.normals(count)
    blank = Polygon(edge.points_px).buffer(0)
    across = contains(blank, points(feet + LEAST_STRAP * radius * outward))
    if np.count_nonzero(across) < FEWEST:
        return nowhere
    reach, blur = max(REACH_SHARE * radius, LEAST_REACH_PX), max(SHARP_PX, edge.blur_px)
    look = look_along(
        rgb,
        feet[across],
        outward[across],
        reach_px=(-reach, reach),
        light=light,
        blur_px=blur,
        along_px=ALONG_PX,
    )
    offset, found = look.likeliest(_to_dark(look), reach_px=reach, spread_px=reach / 2)
    if np.mean(found) < LEAST_FOUND:
        return nowhere
    off, spread = offset - np.median(offset[found]), max(SPREAD_SHARE * radius, LEAST_SPREAD_PX)
    if robust_sd(off[found]) > spread:
        return nowhere
    found &= np.abs(off) < KEPT_SPREADS * spread
    return np.asarray((look.feet + offset[:, None] * look.outward)[found])


def _to_dark(look: Look) -> BoolArray:
    """Mark the summits (N, S) at which it grows darker outward, by enough to be the rim's."""
    beside = round(BESIDE_BLURS * look.blur_px / (look.offsets[1] - look.offsets[0]))
    darker = np.zeros(look.steps.shape, dtype=np.bool_)
    darker[:, beside:-beside] = look.loss[:, 2 * beside :] > look.loss[:, : -2 * beside]
    return look.summits() & darker & (look.steps > LEAST_STEP)
