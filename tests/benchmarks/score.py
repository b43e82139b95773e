"""Trace one photograph of known truth, by the project and the plain way, and score both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from shapely import Polygon

from blanktrace.errors import TraceError
from blanktrace.lens import Lens
from blanktrace.pipeline import trace_photo
from tests.benchmarks.compare import Distance, distance
from tests.benchmarks.plain import PlainError, trace_plain

LEAST_ERROR_MM = 0.001
"""A disc that was laid on its circle may be as good as exact; ratios end here."""


@dataclass(frozen=True, eq=False)
class Case:
    """A photograph, what its user would say of it, and what is true of it.

    Attributes
    ----------
    name : str
    jpeg : bytes
    measured : dict
        ``{"disc": mm}`` or ``{"length": mm}``.
    heights_mm : dict
        By part.
    sheet : str or None
        The sheet whose corners show.
    lens : Lens or None
        As found from a checkerboard, where the user took that trouble.
    at : (float, float) or None
    outline : Polygon or None
        The true one; None where the photograph is to be refused.
    mm_per_px, tilt_deg : float
        True scale at the measured face, and true tilt.
    reason : str
        Why it is to be refused, else "".
    conditions : mapping
    """

    name: str
    jpeg: bytes
    measured: dict[str, float]
    heights_mm: dict[str, float]
    sheet: str | None
    lens: Lens | None
    at: tuple[float, float] | None
    outline: Polygon | None
    mm_per_px: float
    tilt_deg: float
    reason: str
    conditions: Mapping[str, object]


@dataclass(frozen=True)
class Score:
    """How a case went; what a refused or crashed trace cannot give is None."""

    name: str
    reason: str
    conditions: Mapping[str, object]
    said: str = ""
    """Name of the error that came instead of an outline."""
    is_refusal: bool = False
    """Whether that error is a refusal, and no crash."""
    ours: Distance | None = None
    u95_mm: float | None = None
    causes: Mapping[str, float] = field(default_factory=dict)
    """What the stated uncertainty is made of."""
    scale_error: float | None = None
    """Share by which the scale is too large."""
    tilt_deg: float | None = None
    tilt_u95_deg: float | None = None
    true_tilt_deg: float | None = None
    tilt_told_by: str = ""
    plain: Distance | None = None

    @property
    def width_ratio(self) -> float | None:
        """How many times the error the stated uncertainty is."""
        if self.ours is None or self.u95_mm is None:
            return None
        return self.u95_mm / max(self.ours.rms_mm, LEAST_ERROR_MM)

    @property
    def is_covered(self) -> bool:
        """Whether the outline is as good as it says."""
        return self.ours is not None and self.u95_mm is not None and self.ours.rms_mm <= self.u95_mm


def score(case: Case) -> Score:
    """Trace a case both ways and compare each outline with the truth."""
    blank = Score(case.name, case.reason, dict(case.conditions))
    try:
        found = trace_photo(
            case.jpeg,
            **case.measured,
            thick=case.heights_mm,
            at=case.at,
            sheet=case.sheet,
            lens=case.lens,
        )
    except Exception as error:
        scored = replace(blank, said=_said(error), is_refusal=isinstance(error, TraceError))
    else:
        scored = replace(
            blank,
            ours=distance(found.polygon, case.outline) if case.outline else None,
            u95_mm=found.quality.u95_mm,
            causes={c.cause: c.u95_mm for c in found.quality.contributions},
            scale_error=found.scale.mm_per_px / case.mm_per_px - 1 if case.outline else None,
            tilt_deg=found.stance.tilt_deg,
            tilt_u95_deg=found.stance.tilt_u95_deg,
            tilt_told_by=found.stance.corrected_by,
            true_tilt_deg=case.tilt_deg,
        )
    if case.outline is None:
        return scored
    try:
        plain = trace_plain(case.jpeg, **case.measured, at=case.at)
    except PlainError:
        return scored
    return replace(scored, plain=distance(plain, case.outline))


def _said(error: Exception) -> str:
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text}"
