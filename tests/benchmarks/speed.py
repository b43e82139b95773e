"""Time and memory of a trace, held against the plain way on the same photograph."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from blanktrace.pipeline import trace_photo
from tests.benchmarks.plain import trace_plain
from tests.benchmarks.samples import PHOTOS
from tests.benchmarks.tables import text_table

PHOTO = PHOTOS / "square_on.jpg"
DISC_MM = 64.0
THICK_MM = {"disc": 5.0, "tab": 3.2, "loop": 2.4}
RUNS = 8
MOST_GIB = 1.5
ROOT = Path(__file__).parents[2]
PEAK = """
import resource
from blanktrace.pipeline import trace_photo
trace_photo({photo!r}, disc={disc}, thick={thick})
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
HELP = "import sys; sys.argv[1:] = ['--help']; from blankfit.app.cli import main; main()"


def report_speed() -> str:
    """Measure and tabulate."""
    jpeg = PHOTO.read_bytes()
    ours = best_time(lambda: trace_photo(jpeg, disc=DISC_MM, thick=THICK_MM))
    plain = best_time(lambda: trace_plain(jpeg, disc=DISC_MM))
    peak_gib = peak_memory_gib()
    rows = [
        ("trace, 12 megapixels", f"{ours:.2f} s"),
        ("the plain way", f"{plain:.2f} s"),
        ("ratio", f"{ours / plain:.1f}"),
        (f"peak memory ({MOST_GIB} GiB allowed)", f"{peak_gib:.2f} GiB"),
    ]
    if importlib.util.find_spec("blankfit.app.cli"):
        bare = best_time(lambda: _run("pass"))
        asked = best_time(lambda: _run(HELP))
        rows.append(("blankfit --help", f"{asked:.2f} s"))
        rows.append(("python -c pass", f"{bare:.2f} s"))
        rows.append(("ratio", f"{asked / bare:.1f}"))
    return text_table((f"best of {RUNS}", ""), rows)


def best_time(work: Callable[[], object]) -> float:
    """Shortest of a few runs, in seconds: what else the machine does only adds."""
    times = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)


def peak_memory_gib() -> float:
    """Most memory that a process which traces one photograph holds."""
    code = PEAK.format(photo=str(PHOTO), disc=DISC_MM, thick=THICK_MM)
    # Linux counts in KiB, macOS in bytes.
    unit = 1 if sys.platform == "darwin" else 1024
    return int(_run(code).split()[-1]) * unit / 2**30


def _run(code: str) -> str:
    paths = os.pathsep.join(str(ROOT / floor) for floor in ("trace", "fixture"))
    command = [sys.executable, "-c", code]
    environment = {**os.environ, "PYTHONPATH": paths}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    return done.stdout
