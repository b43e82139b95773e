"""Edge records of boundaries as they stand, for tests."""

import numpy as np

from blanktrace.edge import Edge
from blanktrace.strip import outward


def edge_of(points, *, doubt_px=0.2):
    """Make the record of a ring (N, 2), blank on the left as seen with y down, sharp and lit."""
    ones = np.ones(len(points))
    return Edge(
        points_px=points,
        located_px=points,
        apart_px=points,
        outward=outward(points, 2.0),
        strength=50 * ones,
        doubt_px=doubt_px * ones,
        loss_beside=0 * ones,
        blur_px=1.0,
    )
