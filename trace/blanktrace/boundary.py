"""Find a blank's whole boundary in a photograph, or say why it cannot be measured there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely import Polygon

from blanktrace.across import rim_across
from blanktrace.agree import HALF
from blanktrace.cover import Cover
from blanktrace.edge import Edge, locate_edge
from blanktrace.errors import BlurError, ContrastError
from blanktrace.profiles import Pixels
from blanktrace.seek import seek_rim
from blanktrace.silhouette import Silhouette
from blanktrace.slit import close_slits
from blanktrace.wire import seek_rings

MOST_BLUR_SHARE = 0.015
"""Blur as a share of the blank's size (root of its area) beyond which nothing is measured."""

LEAST_BLUR_LIMIT_PX = 3.0

FAINT_STRENGTH = 4.0
"""Step over noise below which a boundary point is a guess."""

MOST_WEAK_SHARE = 0.4

BESIDE_PX, MOST_LEFT_OUT = 4.0, 0.18
"""How far outside its boundary a blank's cover is asked, in pixels of its close-up; and the share
of the boundary at most where it says blank. It is below 0.12 where not much of a blank is lost."""

LEAST_HOLE_PX2 = 12.0
"""Area of a hole 4 px across: the smallest that a boundary can be followed round."""


def find_boundary(
    rgb: Pixels, silhouette: Silhouette, *, across_straps: bool = False
) -> tuple[Edge, ...]:
    """Locate a blank's boundary, and refuse what is too soft or too faint to measure.

    Parameters
    ----------
    rgb : ndarray of uint8 or uint16, shape (H, W, 3)
        The full photograph, sRGB.
    silhouette : Silhouette
        Where it lies roughly.
    across_straps : bool
        Whether the disc's rim is wanted where its straps cross it, too.

    Returns
    -------
    tuple of Edge
        Exterior first, then holes.

    Raises
    ------
    BlurError
        If the edge is too soft for the blank's size.
    ContrastError
        If too much of it is too faint to place, or blank seems to lie beyond much of it.
    """
    outer, *holes = (
        locate_edge(
            rgb,
            ring,
            light=silhouette.light,
            reach_px=silhouette.reach_px,
            cover=silhouette.cover,
        )
        for ring in silhouette.rings_px
    )
    # What closes up when it is located was no hole.
    holes = [hole for hole in holes if Polygon(hole.located_px).area >= LEAST_HOLE_PX2]
    rim = seek_rim(rgb, outer, light=silhouette.light)
    whole = close_slits(rgb, rim, light=silhouette.light)
    edges = seek_rings(rgb, (whole, *holes), light=silhouette.light)
    _check_edges(edges, silhouette)
    if rim is outer:
        _refuse_left_out((outer, *holes), silhouette.cover)
    if not across_straps:
        return edges
    across = rim_across(rgb, edges[0], light=silhouette.light)
    return (replace(edges[0], across_px=across), *edges[1:])


def _refuse_left_out(edges: tuple[Edge, ...], cover: Cover) -> None:
    """Refuse a boundary beyond much of which there is blank, as it looks from farther off.

    That there is none inside says less: bright metal is lost to the cover, not to a close look.
    """
    outside = np.concatenate(
        [edge.points_px + BESIDE_PX / cover.near.factor * edge.outward for edge in edges]
    )
    share = float(np.mean(cover.at(outside[None]) > HALF))
    if share > MOST_LEFT_OUT:
        raise ContrastError(
            f"The blank seems to go on beyond {share:.0%} of the edge that was found "
            f"({MOST_LEFT_OUT:.0%} allowed): part of it could not be told from the sheet. Use "
            "paper of another tint, or softer light, and retake the photo."
        )


def _check_edges(edges: tuple[Edge, ...], silhouette: Silhouette) -> None:
    """Refuse boundaries that are too soft or too faint to measure."""
    outer = edges[0]
    size_px = float(np.sqrt(silhouette.area_px2))
    limit_px = max(MOST_BLUR_SHARE * size_px, LEAST_BLUR_LIMIT_PX)
    if outer.blur_px > limit_px:
        raise BlurError(
            f"The blank's edge is blurred over {outer.blur_px:.1f} px ({limit_px:.1f} allowed at "
            "this size). Hold the phone still, let it focus, and retake the photo."
        )
    weak = float(np.mean(outer.strength < FAINT_STRENGTH))
    if weak > MOST_WEAK_SHARE:
        raise ContrastError(
            f"{weak:.1%} of the blank's edge is too faint to place ({MOST_WEAK_SHARE:.0%} "
            "allowed). Use paper of another tint, or more light, and retake the photo."
        )
