"""Who may import whom: app -> pipeline, writers -> stages -> records, errors."""

from __future__ import annotations

import ast
import builtins
import importlib.util
import subprocess
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FLOORS = {"blanktrace": ROOT / "trace", "blankfit": ROOT / "fixture"}

# Modules with one verb each, which hand each other records. Everything else on a floor is
# a record, an error or a shared tool, open to all.
STAGES = {
    "blanktrace.across",
    "blanktrace.agree",
    "blanktrace.arcs",
    "blanktrace.assemble",
    "blanktrace.background",
    "blanktrace.boundary",
    "blanktrace.budget",
    "blanktrace.calibrate",
    "blanktrace.cast",
    "blanktrace.chain",
    "blanktrace.close_up",
    "blanktrace.corner",
    "blanktrace.corners",
    "blanktrace.cover",
    "blanktrace.cross_check",
    "blanktrace.disc",
    "blanktrace.bridge",
    "blanktrace.drilled",
    "blanktrace.edge",
    "blanktrace.evidence",
    "blanktrace.holes",
    "blanktrace.lost",
    "blanktrace.matte",
    "blanktrace.ring",
    "blanktrace.effects",
    "blanktrace.lean",
    "blanktrace.overlay",
    "blanktrace.parts",
    "blanktrace.plain_view",
    "blanktrace.photo",
    "blanktrace.rectify",
    "blanktrace.scale",
    "blanktrace.seek",
    "blanktrace.segment",
    "blanktrace.separate",
    "blanktrace.shade",
    "blanktrace.silhouette",
    "blanktrace.slit",
    "blanktrace.rims",
    "blanktrace.spread",
    "blanktrace.stance",
    "blanktrace.wire",
    "blankfit.artwork",
    "blankfit.coupon",
    "blankfit.jobsheet",
    "blankfit.layout",
    "blankfit.lettering",
    "blankfit.locate",
    "blankfit.plate",
    "blankfit.pocket",
    "blankfit.run",
    "blankfit.stack",
}
# A stage that is made of another, and why.
MADE_OF = {
    ("blanktrace.agree", "blanktrace.background"),
    ("blanktrace.agree", "blanktrace.close_up"),  # each find, looked at closer
    ("blanktrace.agree", "blanktrace.segment"),  # is cut, which is held against the network
    ("blanktrace.agree", "blanktrace.shade"),  # where they differ over a dark place
    ("blanktrace.agree", "blanktrace.drilled"),  # a round doubt of the network is a hole
    ("blanktrace.agree", "blanktrace.holes"),  # and round holes that only one sees stay
    ("blanktrace.arcs", "blanktrace.chain"),  # a ring's pieces are chained into its path
    ("blanktrace.assemble", "blanktrace.arcs"),  # an outline holds its boundary as lines and arcs
    ("blanktrace.assemble", "blanktrace.budget"),  # and what it is uncertain by
    ("blanktrace.assemble", "blanktrace.effects"),  # by what doubts about the view do to it
    ("blanktrace.across", "blanktrace.disc"),  # the rim of the disc that a boundary follows
    ("blanktrace.boundary", "blanktrace.across"),  # tells the disc's size across its straps
    ("blanktrace.boundary", "blanktrace.edge"),  # every ring is located
    ("blanktrace.boundary", "blanktrace.seek"),  # a plain disc's anew where that missed its rim
    ("blanktrace.boundary", "blanktrace.slit"),  # shade beside a strap looks like a slit
    ("blanktrace.boundary", "blanktrace.wire"),  # and a ring's, where it missed the wire's flank
    ("blanktrace.edge", "blanktrace.corner"),  # blur rounds off what the edge is located on
    ("blanktrace.scale", "blanktrace.rectify"),  # a disc's pose gives view and scale at once
    ("blanktrace.evidence", "blanktrace.background"),  # what says anything differs from the sheet
    ("blanktrace.cast", "blanktrace.background"),
    ("blanktrace.cast", "blanktrace.evidence"),  # a shadow as dark as the blank has an edge
    ("blanktrace.bridge", "blanktrace.background"),
    ("blanktrace.drilled", "blanktrace.background"),
    ("blanktrace.drilled", "blanktrace.evidence"),  # both weigh a difference by what varies
    ("blanktrace.holes", "blanktrace.background"),
    ("blanktrace.holes", "blanktrace.evidence"),  # a hole shows the sheet
    ("blanktrace.lost", "blanktrace.background"),
    ("blanktrace.lost", "blanktrace.evidence"),  # what was lost is found again by its edges
    ("blanktrace.lost", "blanktrace.ring"),  # if it is a ring
    ("blanktrace.close_up", "blanktrace.background"),  # light is shown as a share of the sheet's
    ("blanktrace.cover", "blanktrace.background"),
    ("blanktrace.cover", "blanktrace.close_up"),  # what the network looks at
    ("blanktrace.segment", "blanktrace.close_up"),  # and what is cut
    ("blanktrace.segment", "blanktrace.background"),
    ("blanktrace.segment", "blanktrace.evidence"),  # the cut weighs what each pixel says
    ("blanktrace.segment", "blanktrace.cast"),  # takes cast shadows off
    ("blanktrace.segment", "blanktrace.bridge"),  # joins what shadow parts
    ("blanktrace.segment", "blanktrace.drilled"),  # finds round holes
    ("blanktrace.segment", "blanktrace.holes"),  # opens holes
    ("blanktrace.segment", "blanktrace.lost"),  # and looks for what it lost
    ("blanktrace.silhouette", "blanktrace.lost"),  # which is refused if it stays lost
    ("blanktrace.silhouette", "blanktrace.matte"),  # the rough boundary is where the shares halve
    ("blanktrace.silhouette", "blanktrace.close_up"),  # each find is looked at closer
    ("blanktrace.silhouette", "blanktrace.cover"),  # by network
    ("blanktrace.silhouette", "blanktrace.agree"),  # and by cut
    ("blanktrace.boundary", "blanktrace.agree"),  # from where on the network says blank
    ("blanktrace.shade", "blanktrace.background"),
    ("blanktrace.shade", "blanktrace.evidence"),  # by how dark it is
    ("blanktrace.silhouette", "blanktrace.background"),  # a blank is what is not sheet
    ("blanktrace.silhouette", "blanktrace.segment"),  # and not its shadow
    ("blanktrace.silhouette", "blanktrace.separate"),  # nor its neighbour
    ("blanktrace.stance", "blanktrace.disc"),  # the rim tells where the camera was
    ("blanktrace.stance", "blanktrace.lean"),  # up to one of two leans
    ("blanktrace.stance", "blanktrace.parts"),  # each part is seen at its own height
    ("blanktrace.stance", "blanktrace.rims"),  # rims are laid on their circles
    ("blanktrace.stance", "blanktrace.plain_view"),  # from where the measured size puts the camera
    ("blanktrace.stance", "blanktrace.scale"),  # from where the measured size puts the camera
    ("blankfit.coupon", "blankfit.pocket"),  # the test piece is pockets
}
# What stands above the stages; no stage, record or tool imports it.
FRONT_DOOR = ("blankfit.app",)
ABOVE = ("blanktrace.pipeline", "blankfit.write", *FRONT_DOOR)
# What may touch files, screens and clocks.
DOORS = ("blanktrace.photo", "blankfit.jobfile", *ABOVE)
WORLD = {"datetime", "glob", "http", "logging", "os", "pathlib", "random", "rich", "shutil"}
WORLD |= {"socket", "subprocess", "sys", "tempfile", "time", "typer", "urllib", "webbrowser"}
# A search that may take so many seconds has to read the clock to end; nothing else comes of it.
TIMED = {("blankfit.layout.fill", "time")}
WORLD_CALLS = {"input", "open", "print"}
# Seconds to load; the command's help must not wait for them.
HEAVY = ("cv2", "ezdxf", "pi_heif", "scipy", "shapely", "skimage")


def modules() -> dict[str, Path]:
    found = {}
    for package, source in FLOORS.items():
        for path in sorted((source / package).rglob("*.py")):
            parts = path.relative_to(source).with_suffix("").parts
            found[".".join(part for part in parts if part != "__init__")] = path
    return found


MODULES = modules()
each_module = pytest.mark.parametrize("module", MODULES)


def within(module: str, places: Iterable[str]) -> str | None:
    """Name the place that holds a module: itself or a package around it."""
    return next((p for p in places if module == p or module.startswith(p + ".")), None)


def imports(module: str) -> Iterator[tuple[str, str | None]]:
    """Yield (module, name taken from it), deferred imports included."""
    is_package = MODULES[module].name == "__init__.py"
    package = module if is_package else module.rpartition(".")[0]
    for node in ast.walk(ast.parse(MODULES[module].read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, None) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            relative = "." * node.level + (node.module or "")
            source = importlib.util.resolve_name(relative, package)
            for alias in node.names:
                whole = f"{source}.{alias.name}"
                yield (whole, None) if whole in MODULES else (source, alias.name)


def test_finds_both_floors() -> None:
    assert {"blanktrace.path", "blanktrace.errors", "blankfit"} <= MODULES.keys()
    assert "numpy" in {name for name, _ in imports("blanktrace.path")}


@each_module
def test_ground_floor_knows_nothing_of_the_first(module: str) -> None:
    if within(module, ("blanktrace",)):
        assert not [name for name, _ in imports(module) if within(name, ("blankfit",))]


@each_module
def test_nothing_imports_upwards(module: str) -> None:
    if within(module, FRONT_DOOR) or module in FLOORS:  # a floor's __init__ is its shop window
        return
    higher = FRONT_DOOR if within(module, ABOVE) else ABOVE
    assert not [name for name, _ in imports(module) if within(name, higher)]


@each_module
def test_stages_hand_each_other_records(module: str) -> None:
    stage = within(module, STAGES)
    if stage is None:
        return
    for name, taken in imports(module):
        other = within(name, STAGES)
        if other in (None, stage) or (stage, other) in MADE_OF:
            continue
        # Classes and constants are records; a function of a sibling is its work.
        assert taken is not None, f"{module} imports the stage {name} whole"
        assert taken[0].isupper(), f"{module} calls on its sibling: {name}.{taken}"


@each_module
def test_only_doors_touch_the_world(module: str) -> None:
    tree = ast.parse(MODULES[module].read_text(encoding="utf-8"))
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.Global)]
    if within(module, DOORS):
        return
    touched = {name.split(".")[0] for name, _ in imports(module)} & WORLD
    assert not [name for name in touched if (module, name) not in TIMED]
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    assert not [call.id for call in calls if isinstance(call, ast.Name) and call.id in WORLD_CALLS]


def test_the_names_it_forbids_exist() -> None:
    """A misspelt name in a table would forbid nothing."""
    assert all(hasattr(builtins, name) for name in WORLD_CALLS)
    assert all(importlib.util.find_spec(name) for name in WORLD | set(HEAVY))


@pytest.mark.skipif("blankfit.app.cli" not in MODULES, reason="no command yet")
def test_command_starts_without_heavy_libraries() -> None:
    code = f"import sys, blankfit.app.cli; print(*set({HEAVY}) & sys.modules.keys())"
    paths = ":".join(str(source) for source in FLOORS.values())
    run = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.split() == []
