"""Which photographs come with a lens file, and what is in it.

Makers keep the bend of phones' main cameras within one or two percent in the
corners. Who has a phone at the far end of that is told by the budget, and makes a
lens file; it is as good as one from ten photographs of a board.
"""

from __future__ import annotations

import numpy as np

from blanktrace.lens import Lens
from tests.benchmarks.camera import Camera

STRONG_K1 = 0.012
"""Bend beyond which the user has a lens file: 0.8 % in the corners of a 26 mm picture."""

FOCAL_SHARE = 0.002
CENTRE_PX = 2.0
RADIAL = (0.001, 0.002)
DECENTRING = 1e-4
"""Standard uncertainties of a lens found from a board; phones shift their lenses as they focus."""


def lens_file_of(camera: Camera, *, seed: int) -> Lens | None:
    """Make the lens file of a camera whose bend is strong; None for others."""
    if abs(camera.k1) <= STRONG_K1:
        return None
    sd = np.array(
        [FOCAL_SHARE * camera.focal_px, CENTRE_PX, CENTRE_PX, *RADIAL, DECENTRING, DECENTRING]
    )
    f, x, y, k1, k2, p1, p2 = (sd * np.random.default_rng([7, seed]).standard_normal(7)).tolist()
    return Lens(
        size_px=camera.size_px,
        focal_px=camera.focal_px + f,
        centre_px=camera.centre_px + (x, y),
        radial=(camera.k1 + k1, k2),
        decentring=(p1, p2),
        rms_px=0.1,
        photos=10,
        points=540,
        covariance=np.diag(sd**2),
    )
