"""Write a lens file, read one back, and refuse what is none."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from blanktrace.errors import LensError
from blanktrace.lens import UNKNOWNS, Lens

FORMAT = "blankfit-lens/1"

Above0 = Annotated[float, Field(gt=0)]
Row = Annotated[list[float], Field(min_length=UNKNOWNS, max_length=UNKNOWNS)]


class _Table(BaseModel):
    """One object of the file; all numbers in it are finite."""

    model_config = ConfigDict(allow_inf_nan=False)


class _Bend(_Table):
    k1: float
    k2: float
    p1: float
    p2: float


class _File(_Table):
    format: Literal["blankfit-lens/1"]
    size_px: tuple[Annotated[int, Field(gt=0)], Annotated[int, Field(gt=0)]]
    focal_px: Above0
    centre_px: tuple[float, float]
    bend: _Bend
    rms_px: Annotated[float, Field(ge=0)]
    photos: Annotated[int, Field(gt=0)]
    points: Annotated[int, Field(gt=0)]
    covariance: Annotated[list[Row], Field(min_length=UNKNOWNS, max_length=UNKNOWNS)]


def lens_text(lens: Lens) -> str:
    """Write a lens as text in the form ``blankfit-lens/1``.

    The covariance's rows and columns are focal length, centre x and y, k1, k2, p1, p2.
    """
    (k1, k2), (p1, p2) = lens.radial, lens.decentring
    plain = {
        "format": FORMAT,
        "size_px": list(lens.size_px),
        "focal_px": lens.focal_px,
        "centre_px": lens.centre_px.tolist(),
        "bend": {"k1": k1, "k2": k2, "p1": p1, "p2": p2},
        "rms_px": lens.rms_px,
        "photos": lens.photos,
        "points": lens.points,
        "covariance": lens.covariance.tolist(),
    }
    return json.dumps(_rounded(plain), indent=1) + "\n"


def read_lens(text: str | bytes, *, name: str = "the lens file") -> Lens:
    """Read a lens in the form ``blankfit-lens/1``.

    Parameters
    ----------
    text : str or bytes
        As `lens_text` writes it.
    name : str
        What to call the file at the start of a message.

    Raises
    ------
    LensError
        If the text is no such file.
    """
    try:
        stored = _File.model_validate_json(text)
    except ValidationError as error:
        fault = error.errors()[0]
        where = ".".join(str(step) for step in fault["loc"]) or "the whole file"
        raise LensError(
            f"{name} is not a lens file ({FORMAT}), or is damaged: {where}: {fault['msg']}. Make "
            "one from photos of a checkerboard with: blankfit lens PHOTOS"
        ) from error
    return Lens(
        size_px=stored.size_px,
        focal_px=stored.focal_px,
        centre_px=np.array(stored.centre_px),
        radial=(stored.bend.k1, stored.bend.k2),
        decentring=(stored.bend.p1, stored.bend.p2),
        rms_px=stored.rms_px,
        photos=stored.photos,
        points=stored.points,
        covariance=np.array(stored.covariance),
    )


def _rounded(value: Any) -> Any:
    """Keep nine significant digits of every number, so that equal work gives equal files."""
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value
