"""Hold a traced outline: what the floor above receives, and how it is stored.

Everything is in the outline's own frame: millimetres, y up, the origin at the
disc's centre and the main tab towards +y; with no disc, the origin at the
centroid and the long axis along y.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from blanktrace.parts import Part
from blanktrace.path import Path

FloatArray = NDArray[np.float64]
Measured = Literal["disc", "length", "width"]

FORMAT = "blankfit-outline/1"


@dataclass(frozen=True)
class Rim:
    """The disc as the photograph shows it.

    Attributes
    ----------
    diameter_mm : float
        As measured with calipers.
    centre_px : (float, float)
        Image of the disc's centre, which is not the centre of its ellipse.
    semi_axes_px : (float, float)
        Long and short semi-axis of the rim's ellipse.
    rms_px : float
        Root mean square distance of the rim from the ellipse.
    """

    diameter_mm: float
    centre_px: tuple[float, float]
    semi_axes_px: tuple[float, float]
    rms_px: float


@dataclass(frozen=True)
class Scale:
    """What was measured, and the scale at the blank's face that follows."""

    mm_per_px: float
    measured: Measured
    measured_mm: float


@dataclass(frozen=True)
class Stance:
    """How the camera stood: its tilt, how that is known, and its height above the sheet.

    `tilt_u95_deg` is the tilt's expanded uncertainty (95 %); None in files that do not tell it.
    """

    tilt_deg: float
    corrected_by: str
    camera_height_mm: float
    tilt_u95_deg: float | None = None


@dataclass(frozen=True)
class Contribution:
    """One cause of uncertainty: what it may do to a boundary point, and what helps."""

    cause: str
    u95_mm: float
    remedy: str


@dataclass(frozen=True)
class Check:
    """A size measured besides, and what the outline says of it.

    Attributes
    ----------
    size : str
        Its name.
    measured_mm : float
    found_mm : float or None
        None where the outline has no such size.
    u95_mm : float
        Expanded uncertainty (95 %) of the difference.
    """

    size: str
    measured_mm: float
    found_mm: float | None
    u95_mm: float

    @property
    def agrees(self) -> bool:
        """Whether the two differ by no more than they may."""
        return self.found_mm is not None and abs(self.found_mm - self.measured_mm) <= self.u95_mm


@dataclass(frozen=True)
class Quality:
    """How far the outline can be trusted.

    Attributes
    ----------
    u95_mm : float
        Expanded uncertainty (95 %) of the boundary, root mean square along it.
    contributions : tuple of Contribution
        What it is made of, the largest first.
    warnings : tuple of str
        What the user should know.
    checks : tuple of Check
        Sizes that were measured besides the one that sets the scale.
    """

    u95_mm: float
    contributions: tuple[Contribution, ...]
    warnings: tuple[str, ...]
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True)
class SizeSpread:
    """How much one size differs over several blanks of one photograph.

    Attributes
    ----------
    size : {"disc", "length", "width"}
    count : int
        How many blanks.
    smallest_mm, mean_mm, largest_mm : float
    photo_mm : float
        What the photograph alone may make two equal blanks differ by (95 %).
    """

    size: Measured
    count: int
    smallest_mm: float
    mean_mm: float
    largest_mm: float
    photo_mm: float


@dataclass(frozen=True, eq=False)
class Outline:
    """A blank's outline, true to scale.

    Attributes
    ----------
    polygon : shapely.Polygon
        Dense boundary with holes, exterior counter-clockwise.
    path : tuple of Path
        The same as few lines and arcs, exterior first.
    parts : tuple of Part
    rim : Rim or None
        None for a blank with no disc.
    scale : Scale
    stance : Stance
    quality : Quality
    rings_px : tuple of ndarray, shape (N, 2)
        The boundary in the photograph, exterior first.
    heights_mm : mapping
        How high each kind of part stands above the sheet, where that was given; a
        blank with no disc is all "body".
    spread : tuple of SizeSpread
        Over the blanks traced with this one, where there were several of its kind.
    """

    polygon: Polygon
    path: tuple[Path, ...]
    parts: tuple[Part, ...]
    rim: Rim | None
    scale: Scale
    stance: Stance
    quality: Quality
    rings_px: tuple[FloatArray, ...]
    heights_mm: Mapping[str, float] = field(default_factory=dict)
    spread: tuple[SizeSpread, ...] = ()

    def to_json(self) -> str:
        """Write the outline as text in the form ``blankfit-outline/1``."""
        return json.dumps(_rounded(self._plain()), indent=1) + "\n"

    def _plain(self) -> dict[str, Any]:
        rings = [self.polygon.exterior, *self.polygon.interiors]
        rim = self.rim
        return {
            "format": FORMAT,
            "units": "mm",
            "outline": {
                "type": "Polygon",
                "coordinates": [[list(p) for p in ring.coords] for ring in rings],
            },
            "path": [
                [[*point, bulge] for point, bulge in zip(p.points_mm, p.bulges, strict=True)]
                for p in self.path
            ],
            "disc": rim
            and {
                "diameter_mm": rim.diameter_mm,
                "centre_px": list(rim.centre_px),
                "semi_axes_px": list(rim.semi_axes_px),
                "rms_px": rim.rms_px,
            },
            "parts": [_part(part) for part in self.parts],
            "heights_mm": dict(self.heights_mm),
            "scale": {
                "mm_per_px": self.scale.mm_per_px,
                "measured": self.scale.measured,
                "measured_mm": self.scale.measured_mm,
            },
            "view": {
                "tilt_deg": self.stance.tilt_deg,
                "tilt_u95_deg": self.stance.tilt_u95_deg,
                "corrected_by": self.stance.corrected_by,
                "camera_height_mm": self.stance.camera_height_mm,
            },
            "quality": {
                "u95_mm": self.quality.u95_mm,
                "causes": [
                    {"cause": c.cause, "u95_mm": c.u95_mm, "remedy": c.remedy}
                    for c in self.quality.contributions
                ],
                "warnings": list(self.quality.warnings),
                "checks": [
                    {
                        "size": c.size,
                        "measured_mm": c.measured_mm,
                        "found_mm": c.found_mm,
                        "u95_mm": c.u95_mm,
                        "agrees": c.agrees,
                    }
                    for c in self.quality.checks
                ],
            },
            "spread": [asdict(one) for one in self.spread],
        }


def _part(part: Part) -> dict[str, Any]:
    sizes = {
        "diameter_mm": part.diameter_mm,
        "inner_mm": part.inner_mm,
        "width_mm": part.width_mm,
        "reach_mm": part.reach_mm,
    }
    known = {name: size for name, size in sizes.items() if size is not None}
    return {"kind": part.kind, "centre_mm": list(part.centre_mm), **known}


def _rounded(value: Any) -> Any:
    """Round every number to a millionth, so that equal work gives equal files."""
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    if isinstance(value, float):
        return round(float(value), 6) + 0.0
    return value
