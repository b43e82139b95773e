"""Say how far blur moves a curved edge.

Blur averages over a patch, and across a disc's rim more of the patch lies
outside than inside. The place where the brightness is half way between light
and dark therefore moves towards the centre.
"""

from __future__ import annotations

from scipy.optimize import brentq
from scipy.special import chndtr

NEARLY_STRAIGHT = 30.0
"""From this radius over blur on, the leading term is right to 0.05 % of itself."""

SMALLEST_RATIO = 1.5
"""A disc smaller than this many blurs hardly has a half level, or none."""


def blur_shift_px(radius_px: float, blur_px: float) -> float:
    """Find the shift of a disc's half-level radius under Gaussian blur.

    Parameters
    ----------
    radius_px : float
        True radius of an evenly bright disc.
    blur_px : float
        Standard deviation of the blur, 0 for none.

    Returns
    -------
    float
        Found radius less true radius: 0 or negative for a disc. For a round
        hole the sign turns, seen from the material.

    Raises
    ------
    ValueError
        If radius_px is not above 1.5 times blur_px, or blur_px is negative.

    Notes
    -----
    -s²/(2R) to leading order [1]_. The blurred disc of radius R has at r the
    level P(χ'² < R²/s²), noncentral with 2 degrees of freedom and parameter
    r²/s²; where R < 30 s its half level is solved for exactly.

    References
    ----------
    .. [1] P. R. S. Mendonça, D. Padfield, J. Miller, M. Turek, "Bias in the
       localization of curved edges", ECCV (2004).
    """
    if not (blur_px >= 0 and radius_px > SMALLEST_RATIO * blur_px):
        raise ValueError(
            f"radius_px must be above {SMALLEST_RATIO} times blur_px, and blur_px not negative; "
            f"got {radius_px} and {blur_px}"
        )
    if radius_px >= NEARLY_STRAIGHT * blur_px:
        return -(blur_px**2) / (2 * radius_px)
    edge = radius_px / blur_px

    def above_half(place: float) -> float:
        return float(chndtr(edge**2, 2.0, place**2)) - 0.5

    return blur_px * (float(brentq(above_half, 0.0, edge, xtol=1e-13)) - edge)
