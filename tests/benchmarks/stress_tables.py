"""Tabulate how the stress set went: the goals, by condition, by cause, scene by scene."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np

from blanktrace.overlay_text import TOLD_DEG
from tests.benchmarks.score import Score
from tests.benchmarks.tables import figure, text_table

Numbered = Sequence[tuple[int, Score]]

RIGHT_ERRORS = {
    "no blank": ("NoBlankError",),
    "cut off": ("CutOffError",),
    "blur": ("BlurError",),
    # To a tracer, white card that it cannot see is no blank.
    "contrast": ("ContrastError", "NoBlankError"),
    "several blanks": ("SeveralBlanksError",),
}
GOAL_MEDIAN_MM, GOAL_WORST_MM, GOAL_COVERED, GOAL_RATIO = 0.10, 0.25, 0.9, 5.0

HEADS = (
    "", "scenes", "traced", "median", "95 %", "worst", "covered", "u95/error",
    "plain none", "plain median", "plain 95 %", "plain worst",
)  # fmt: skip


def stress_tables(numbered: Numbered) -> str:
    """Lay out everything that is worth knowing of some scored scenes."""
    scores = [one for _, one in numbered]
    wanted = [s for s in scores if not s.reason]
    tables = [
        _summary(scores),
        text_table(HEADS, [_row("all", wanted)]),
        _goals(wanted),
        _scales(wanted),
        _tilts(wanted),
    ]
    tables += [_by(wanted, name, of) for name, of in CONDITIONS.items()]
    tables += [_by_cause(wanted), _every(numbered), _failures(numbered)]
    return "\n\n".join(tables)


def scene_line(number: int, s: Score) -> str:
    """Sum up one scene: number, name, error, stated uncertainty, or the refusal."""
    errors = f"rms {figure(s.ours and s.ours.rms_mm)} u95 {figure(s.u95_mm)}"
    return f"{_label(number, s)}: {s.said or errors}"


def _label(number: int, s: Score) -> str:
    """Number and name; names that begin with their number lose it."""
    return f"{number:2d} {s.name.removeprefix(f'{number:02d} ')}"


def _banded(fact: str, *limits: float, unit: str = "") -> Callable[[Score], str]:
    """Sort scenes by where a number lies between limits."""

    def band(s: Score) -> str:
        value = float(str(s.conditions[fact]))
        steps = [limit for limit in limits if value >= limit]
        above = [limit for limit in limits if value < limit]
        if not above:
            return f"{steps[-1]:g}{unit} or more"
        low = f"{steps[-1]:g} to" if steps else "under"
        return f"{low} {above[0]:g}{unit}"

    return band


def _named(fact: str) -> Callable[[Score], str]:
    return lambda s: str(s.conditions[fact])


def _camera(s: Score) -> str:
    zoom = "2x" if float(str(s.conditions["focal35_mm"])) > 40 else "1x"
    return f"{zoom}, {_focal(s)}"


def _focal(s: Score) -> str:
    return "focal length told" if s.conditions["focal_tag"] else "focal length not told"


def _told_by(s: Score) -> str:
    """Name what told a scene's tilt."""
    if "sheet" in s.tilt_told_by:
        return f"sheet's corners, {_focal(s)}"
    return f"discs alone, {_focal(s)}" if "ellipse" in s.tilt_told_by else "taken as none"


CONDITIONS: Mapping[str, Callable[[Score], str]] = {
    "blank": _named("blank"),
    "material": _named("material"),
    "light": _named("light"),
    "paper": _named("paper"),
    "sheet": _named("view"),
    "tilt": _banded("tilt", 2, 5, 10, unit="°"),
    "height": _banded("height_mm", 250, 300, 400, unit=" mm"),
    "off centre": _banded("off_centre", 0.07, 0.14),
    "camera": _camera,
    "lens": _named("lens"),
    "noise": _named("noise"),
    "JPEG quality": _banded("quality", 70, 80, 90),
}


def _row(name: str, scores: Sequence[Score]) -> tuple[str, ...]:
    ours = [s.ours.rms_mm for s in scores if s.ours]
    plain = [s.plain.rms_mm for s in scores if s.plain]
    ratios = [s.width_ratio for s in scores if s.width_ratio is not None]
    return (
        name,
        str(len(scores)),
        str(len(ours)),
        *(_percentile(ours, share) for share in (50, 95, 100)),
        f"{_covered(scores):.0%}" if ours else "-",
        figure(float(np.median(ratios)) if ratios else None, 1),
        str(len(scores) - len(plain)),
        *(_percentile(plain, share) for share in (50, 95, 100)),
    )


def _covered(scores: Sequence[Score]) -> float:
    return sum(s.is_covered for s in scores) / max(sum(s.ours is not None for s in scores), 1)


def _percentile(values: Sequence[float], share: float) -> str:
    return figure(float(np.percentile(values, share)) if values else None)


def _goals(scores: Sequence[Score]) -> str:
    ours = [s.ours.rms_mm for s in scores if s.ours] or [np.nan]
    ratios = [s.width_ratio for s in scores if s.width_ratio is not None] or [np.nan]
    median, worst, ratio = np.median(ours), max(ours), np.median(ratios)
    goals = [
        ("median rms mm", figure(float(median)), f"<= {GOAL_MEDIAN_MM}", median <= GOAL_MEDIAN_MM),
        ("worst rms mm", figure(float(worst)), f"<= {GOAL_WORST_MM}", worst <= GOAL_WORST_MM),
        (
            "covered by the stated u95",
            f"{_covered(scores):.0%}",
            f">= {GOAL_COVERED:.0%}",
            _covered(scores) >= GOAL_COVERED,
        ),
        (
            "u95 over error, median",
            figure(float(ratio), 1),
            f"<= {GOAL_RATIO:g}",
            ratio <= GOAL_RATIO,
        ),
    ]
    rows = [(name, found, wanted, "yes" if met else "no") for name, found, wanted, met in goals]
    over = [s for s in scores if s.ours and s.ours.rms_mm > GOAL_WORST_MM]
    rows.append((f"traced with more than {GOAL_WORST_MM} mm", str(len(over)), "0", _yes(not over)))
    return text_table(("goal", "found", "wanted", "met"), rows)


def _yes(met: bool) -> str:
    return "yes" if met else "no"


def _by(scores: Iterable[Score], name: str, of: Callable[[Score], str]) -> str:
    groups: dict[str, list[Score]] = {}
    for s in scores:
        groups.setdefault(of(s), []).append(s)
    return text_table((name, *HEADS[1:]), [_row(group, groups[group]) for group in sorted(groups)])


def _by_cause(scores: Iterable[Score]) -> str:
    """Group scenes by the cause that the budget blames most, and hold it against the error."""
    traced = [(s, s.ours) for s in scores if s.ours and s.causes]
    groups: dict[str, list[tuple[float, float]]] = {}
    for s, ours in traced:
        cause = max(s.causes, key=lambda name: s.causes[name])
        groups.setdefault(cause, []).append((ours.rms_mm, s.u95_mm or 0.0))
    rows = []
    for cause in sorted(groups, key=lambda name: -len(groups[name])):
        error, stated = np.array(groups[cause]).T
        everywhere = [s.causes[cause] for s, _ in traced]
        rows.append(
            (
                cause,
                str(len(error)),
                figure(float(np.median(error))),
                figure(float(np.median(stated))),
                f"{np.mean(error <= stated):.0%}",
                figure(float(np.median(everywhere))),
            )
        )
    heads = ("largest cause", "scenes", "median rms", "median u95", "covered", "its u95 everywhere")
    return text_table(heads, rows)


def _tilts(scores: Iterable[Score]) -> str:
    """Hold the tilts that were told against the true ones, by what told them."""
    groups: dict[str, list[tuple[float, float]]] = {}
    for s in scores:
        if s.tilt_deg is None or s.true_tilt_deg is None or s.tilt_u95_deg is None:
            continue
        error = abs(s.tilt_deg - s.true_tilt_deg)
        said = "all said as one angle" if s.tilt_u95_deg <= TOLD_DEG else "all said as between two"
        for name in (_told_by(s), said):
            groups.setdefault(name, []).append((error, s.tilt_u95_deg))
    rows = []
    for name in sorted(groups):
        errors, stated = np.array(groups[name]).T
        rows.append(
            (
                name,
                str(len(errors)),
                *(figure(float(np.percentile(errors, share)), 1) for share in (50, 95, 100)),
                f"{np.mean(errors <= 1):.0%}",
                figure(float(np.median(stated)), 1),
                f"{np.mean(errors <= stated):.0%}",
            )
        )
    heads = ("tilt told by", "scenes", "off by", "95 %", "worst", "within 1°", "u95", "covered")
    return text_table(heads, rows)


def _summary(scores: Sequence[Score]) -> str:
    wanted = [s for s in scores if not s.reason]
    unwanted = [s for s in scores if s.reason]
    refused = [s for s in unwanted if s.is_refusal]
    return text_table(
        ("outcome", "scenes"),
        [
            ("to be traced", str(len(wanted))),
            ("  traced", str(sum(s.ours is not None for s in wanted))),
            ("  refused wrongly", str(sum(s.is_refusal for s in wanted))),
            ("to be refused", str(len(unwanted))),
            ("  refused", str(len(refused))),
            ("  refused for the right reason", str(sum(_is_told_rightly(s) for s in refused))),
            ("crashed", str(sum(bool(s.said) and not s.is_refusal for s in scores))),
        ],
    )


def _is_told_rightly(s: Score) -> bool:
    return s.said.split(":")[0] in RIGHT_ERRORS[s.reason]


def _every(numbered: Numbered) -> str:
    """Every traced scene, the worst first."""
    traced = [(number, s, s.ours) for number, s in numbered if s.ours]
    traced.sort(key=lambda row: -row[2].rms_mm)
    rows = [
        (
            _label(number, s),
            figure(ours.rms_mm),
            figure(ours.worst_mm),
            figure(s.u95_mm),
            _yes(s.is_covered),
            _share(s.scale_error),
            figure(s.plain and s.plain.rms_mm),
            max(s.causes, key=lambda name: s.causes[name]),
        )
        for number, s, ours in traced
    ]
    heads = ("scene", "rms mm", "worst mm", "u95 mm", "covered", "scale", "plain rms", "most from")
    return text_table(heads, rows)


def _share(value: float | None) -> str:
    return "-" if value is None else f"{value:+.2%}"


def _scales(scores: Iterable[Score]) -> str:
    """How far scales are off: a lone disc comes out as its circle even at a wrong one."""
    groups: dict[str, list[float]] = {"every blank": []}
    for s in scores:
        if s.scale_error is not None:
            groups["every blank"].append(abs(s.scale_error))
            groups.setdefault(str(s.conditions["blank"]), []).append(abs(s.scale_error))
    rows = [
        (name, str(len(off)), *(f"{np.percentile(off, share):.2%}" for share in (50, 95, 100)))
        for name, off in sorted(groups.items())
        if off
    ]
    return text_table(("scale off", "traced", "median", "95 %", "worst"), rows)


def _failures(numbered: Numbered) -> str:
    """Scenes refused that should be traced, traced that should be refused, or crashed."""
    wrong = [
        (number, s)
        for number, s in numbered
        if (not _is_told_rightly(s) if s.reason and s.said else bool(s.said) != bool(s.reason))
    ]
    return "\n".join(
        ["gone wrong", *(f"{_label(n, s)}: {s.said or 'an outline was given'}" for n, s in wrong)]
    )
