"""Take close-ups of drawn scenes, each pixel with its share of blank.

``python -m tests.training.close_ups DIR --count 1100`` keeps each scene's in a file of its own.
With ``--rendered`` they are path-traced, which needs the renderer.
"""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from blanktrace.close_up import CloseUp, close_up
from blanktrace.errors import TraceError
from blanktrace.silhouette import MARGINS_PX, stands_out
from tests.training.scenes import Lit, asked_for
from tests.training.strips import share_of_blank

HALF = 0.5
SEAM_PX = 4.0
"""Half the width of the gap that may be seen between parts of unlike height."""


def lesson(lit: Lit) -> tuple[CloseUp, NDArray[np.float32]]:
    """Take the close-up of all blanks in a photograph, and say how much of each pixel they cover.

    Raises
    ------
    TraceError
        If the photograph shows no sheet.
    """
    reduced = stands_out(lit.rgb)
    seamless = [
        piece
        for parts in lit.blanks
        for piece in shapely.get_parts(shapely.union_all(parts).buffer(SEAM_PX).buffer(-SEAM_PX))
    ]
    whole = share_of_blank(lit.rgb.shape[:2], seamless)
    size = reduced.sheet.bare.shape[::-1]
    patch = cv2.resize(whole, size, interpolation=cv2.INTER_AREA) > HALF
    truth = patch.copy()
    for found in reduced.patches:
        if (found & truth).any():
            patch |= found
    near = close_up(lit.rgb, patch, reduced.sheet, margin_px=MARGINS_PX[0])
    size = near.patch.shape[::-1]
    return near, cv2.resize(whole[near.where], size, interpolation=cv2.INTER_AREA)


def main() -> None:
    for path, lit in asked_for(__doc__, first=30_000, count=1100, beside="blanks"):
        try:
            near, cover = lesson(lit)
        except TraceError as error:
            print(f"{path.stem}: {error}", flush=True)
            continue
        np.savez_compressed(
            path,
            share=near.share.astype(np.float16),
            cover=np.rint(cover * 255).astype(np.uint8),
            extent=near.sheet.extent,
        )
        print(path.stem, flush=True)


if __name__ == "__main__":
    main()
