"""Read a stored outline back, and refuse what is none."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from shapely import Polygon

from blanktrace.errors import OutlineFileError
from blanktrace.outline import (
    FORMAT,
    Check,
    Contribution,
    Measured,
    Outline,
    Quality,
    Rim,
    Scale,
    SizeSpread,
    Stance,
)
from blanktrace.parts import Kind, Part
from blanktrace.path import Path

Above0 = Annotated[float, Field(gt=0)]
Pair = tuple[float, float]


class _Table(BaseModel):
    """One object of the file; all numbers in it are finite."""

    model_config = ConfigDict(allow_inf_nan=False)


class _Area(_Table):
    type: Literal["Polygon"]
    coordinates: Annotated[list[Annotated[list[Pair], Field(min_length=4)]], Field(min_length=1)]


class _Disc(_Table):
    diameter_mm: Above0
    centre_px: Pair
    semi_axes_px: tuple[Above0, Above0]
    rms_px: float


class _Part(_Table):
    kind: Kind
    centre_mm: Pair
    diameter_mm: Above0 | None = None
    inner_mm: Above0 | None = None
    width_mm: Above0 | None = None
    reach_mm: Above0 | None = None


class _Scale(_Table):
    mm_per_px: Above0
    measured: Measured
    measured_mm: Above0


class _View(_Table):
    tilt_deg: float
    tilt_u95_deg: float | None = None
    corrected_by: str
    camera_height_mm: Above0


class _Cause(_Table):
    cause: str
    u95_mm: float
    remedy: str


class _Check(_Table):
    size: str
    measured_mm: Above0
    found_mm: Above0 | None
    u95_mm: float


class _Quality(_Table):
    u95_mm: float
    causes: list[_Cause] = []
    warnings: list[str]
    checks: list[_Check] = []


class _Spread(_Table):
    size: Measured
    count: int
    smallest_mm: Above0
    mean_mm: Above0
    largest_mm: Above0
    photo_mm: float


class _File(_Table):
    format: Literal["blankfit-outline/1"]
    units: Literal["mm"]
    outline: _Area
    path: Annotated[list[Annotated[list[tuple[float, float, float]], Field(min_length=2)]],
                    Field(min_length=1)]  # fmt: skip
    disc: _Disc | None
    parts: list[_Part]
    heights_mm: dict[str, Above0] = {}
    scale: _Scale
    view: _View
    quality: _Quality
    spread: list[_Spread] = []


def read_outline(text: str | bytes, *, name: str = "the outline file") -> Outline:
    """Read an outline in the form ``blankfit-outline/1``.

    Parameters
    ----------
    text : str or bytes
        As `Outline.to_json` writes it.
    name : str
        What to call the file at the start of a message.

    Returns
    -------
    Outline
        Without `rings_px`: the file does not hold the boundary in the photograph.

    Raises
    ------
    OutlineFileError
        If the text is no such file, or its outline encloses no area.
    """
    try:
        stored = _File.model_validate_json(text)
    except ValidationError as error:
        raise OutlineFileError(_explain(error, name)) from error
    shell, *holes = stored.outline.coordinates
    polygon = Polygon(shell, holes)
    if not polygon.is_valid or polygon.area == 0:
        raise OutlineFileError(
            f"{name} holds an outline that crosses itself or encloses nothing. "
            "Trace the photo again."
        )
    quality = stored.quality
    return Outline(
        polygon=polygon,
        path=tuple(_path(rows) for rows in stored.path),
        parts=tuple(Part(**part.model_dump()) for part in stored.parts),
        rim=None if stored.disc is None else Rim(**stored.disc.model_dump()),
        scale=Scale(**stored.scale.model_dump()),
        stance=Stance(**stored.view.model_dump()),
        quality=Quality(
            u95_mm=quality.u95_mm,
            contributions=tuple(Contribution(**cause.model_dump()) for cause in quality.causes),
            warnings=tuple(quality.warnings),
            checks=tuple(Check(**check.model_dump()) for check in quality.checks),
        ),
        rings_px=(),
        heights_mm=stored.heights_mm,
        spread=tuple(SizeSpread(**one.model_dump()) for one in stored.spread),
    )


def _path(rows: list[tuple[float, float, float]]) -> Path:
    return Path([(x, y) for x, y, _ in rows], [bulge for *_, bulge in rows])


def _explain(error: ValidationError, name: str) -> str:
    """Name the first thing that is wrong, and the way out."""
    fault = error.errors()[0]
    where = ".".join(str(step) for step in fault["loc"])
    if fault["type"] == "json_invalid" or where in ("", "format"):
        return (
            f"{name} is not an outline file ({FORMAT}). Give the outline.json that was made "
            "from the photo, or the photo itself."
        )
    said = str(fault["msg"])
    return (
        f"{name} is damaged: {where}: {said[:1].lower()}{said[1:]}. Trace the photo again to "
        "write it anew."
    )
