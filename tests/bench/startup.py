"""From process start to exit: help, listing, and the metric demo checked for the first time, again, and changed.

Each figure is a whole process, timed from outside, the middle of several runs; beside it the processor time of a run
with all its children, where the system tells, which a busy machine changes less. The baseline is what any program pays
that loads its CAD kernel, mesh library and viewer before it looks at the command line: ``import cadquery, trimesh,
pyvista``. ``wrong`` counts runs with an unexpected exit code or a heavy library loaded by a light command.

    python tests/bench/startup.py
"""

from __future__ import annotations

import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCENE = ROOT / "scenes" / "kayak_rack.toml"
RUNS = 5
_MEMORY = (
    "import resource, runpy, sys\n"
    "sys.argv = ['fixture3d', *sys.argv[1:]]\n"
    "try:\n    runpy.run_module('fixture3d', run_name='__main__')\n"
    "finally:\n    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)\n"
)


def timed(arguments: list[str], cache: Path, jit: Path, expect: int = 0) -> tuple[float, bool]:
    """Seconds of one run of the program, and whether it ended as expected."""
    env = {**os.environ, "FIXTURE3D_CACHE": str(cache), "NUMBA_CACHE_DIR": str(jit), "PYTHONPATH": str(ROOT)}
    start = time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], env=env, cwd=ROOT, capture_output=True)
    return time.perf_counter() - start, done.returncode == expect


def peak_memory(cache: Path, jit: Path) -> float | None:
    """Largest resident size of a first check, MB; None where the system does not tell."""
    if sys.platform == "win32":
        return None
    env = {**os.environ, "FIXTURE3D_CACHE": str(cache), "NUMBA_CACHE_DIR": str(jit), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", _MEMORY, "check", str(SCENE)], env=env, cwd=ROOT, capture_output=True, text=True
    )
    return int(done.stderr.split()[-1]) / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def variant(folder: Path, number: int) -> Path:
    """The demo with one block moved by a hole and back: another content each time."""
    text = SCENE.read_text(encoding="utf-8")
    moved = re.sub(r'(name = "R2"\nmodel = "riser"\nhole = )"E20"', rf'\1"E{20 + number % 2 - 2}"', text, count=1)
    assert moved != text
    path = folder / f"moved{number}.toml"
    path.write_text(moved.replace("Kayak rack", f"Kayak rack {number}"), encoding="utf-8")
    return path


def main() -> dict[str, object]:
    """Measure, print a table, and return the figures."""
    wrong = 0
    rows: dict[str, float] = {}
    processor: dict[str, float] = {}
    before = 0.0

    def row(name: str, runs: list[tuple[float, bool]]) -> None:
        nonlocal wrong, before
        wrong += sum(not good for _, good in runs)
        rows[name] = statistics.median(seconds for seconds, _ in runs)
        after = os.times().children_user + os.times().children_system
        processor[name] = (after - before) / len(runs)
        before = after
        print(f"{name:<34}{rows[name]:8.2f} s {processor[name]:8.2f} s processor   (of {len(runs)})", flush=True)

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        cache, jit = folder / "cache", folder / "jit"
        check = ["-m", "fixture3d", "check"]
        row("first run ever (nothing cached)", [timed([*check, str(SCENE)], cache, jit)])
        row("new scene (code compiled before)", [timed([*check, str(SCENE)], folder / f"c{k}", jit) for k in range(3)])
        row("unchanged", [timed([*check, str(SCENE)], cache, jit) for _ in range(RUNS)])
        row("one block moved", [timed([*check, str(variant(folder, k))], folder / "c0", jit) for k in range(2)])
        row("--help", [timed(["-m", "fixture3d", "--help"], cache, jit) for _ in range(RUNS)])
        row("models", [timed(["-m", "fixture3d", "models"], cache, jit) for _ in range(RUNS)])
        imports = ["-c", "import cadquery, trimesh, pyvista"]
        row("baseline: the three imports", [timed(imports, cache, jit) for _ in range(RUNS)])
        memory = peak_memory(folder / "m", jit)
    light = (
        "import sys; from fixture3d.cli import main; main(['models']); "
        "sys.exit(not {'cadquery', 'OCP', 'numba', 'numpy', 'pydantic'}.isdisjoint(sys.modules))"
    )
    wrong += not timed(["-c", light], Path(tempfile.gettempdir()), Path(tempfile.gettempdir()))[1]
    if memory is not None:
        print(f"{'peak memory of a first check':<34}{memory:8.0f} MB")
    baseline = rows["baseline: the three imports"]
    return {
        "figure": rows["--help"],
        "baseline": baseline,
        "ratio": baseline / rows["--help"],
        "wrong": wrong,
        "seconds": rows,
        "processor_s": processor,
        "peak_mb": memory,
    }


if __name__ == "__main__":
    print(json.dumps(main()))
