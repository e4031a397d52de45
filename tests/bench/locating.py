"""What locating, holding, unloading, shrinkage and accuracy cost against size, beside a library-only loop.

Run alone: ``python tests/bench/locating.py``. A setup is ladders side by side, 5 to 60 pieces on 14 to 168 blocks: two
rails on four risers against stops, three rungs between them on a block each and a dowel beside each, and a clamp on
each rail, so that every piece has one place; without one dowel one rung can slide.

``new``: from the job to all five answers, nothing kept. ``one moved``: the same with one dowel taken off and all else
kept in the store, with the stops that are tried for the rung. ``warm``: once more, all kept. The library-only loop
does what a script would: the kernel's distance for every two bodies whose boxes meet, and for every piece twelve linear
programmes over the contacts that this project found (their finding is not timed), one a direction, by scipy.

The last line is one JSON object: ``figure`` and ``baseline`` are seconds for the largest setup, new; ``wrong`` counts
pieces that are called free and are not, or the other way round; ``growth`` is the exponent of size in ``new``, from 15
to 60 pieces: 1 is in proportion, 2 all against all.
"""

from __future__ import annotations

import json
import math
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fixture3d.cache import Store
from fixture3d.checks import accuracy, holding, locating, shrinkage, unloading
from fixture3d.checks.base import quiet
from fixture3d.checks.holding_work import Work
from fixture3d.engine import assemble
from fixture3d.job import Job
from fixture3d.locating.contact import locators
from fixture3d.scene import loads
from tests.bench.scaling import column

LADDERS = (1, 3, 6, 12)
ACROSS = 4
WIDE, DEEP = 14, 14  # holes from ladder to ladder


def scene_text(ladders: int, dowels: bool = True) -> str:
    """Ladders side by side; without the first ladder's dowel where ``dowels`` is False."""
    rows = -(-ladders // ACROSS)
    lines = [
        'format = 1\nunits = "mm"',
        f"table = {{ pitch = 50, bore = 16, columns = {ACROSS * WIDE + 2}, rows = {rows * DEEP + 2} }}",
        '[weldment]\nhole = "A1"\nlift = 70\nwelds = "auto"',
    ]
    for k in range(ladders):
        lines += _ladder(k, 2 + WIDE * (k % ACROSS), 4 + DEEP * (k // ACROSS), dowels or k > 0)
    return "\n".join(lines) + "\n"


def _ladder(k: int, left: int, front: int, dowel: bool) -> list[str]:
    x, y = 50.0 * left, 50.0 * front

    def tube(name: str, start: tuple[float, float], end: tuple[float, float]) -> str:
        at = [[x + p, y + q, 0.0] for p, q in (start, end)]
        return f'[[member]]\nname = "{name} {k}"\nstock = "SHS 40x40x3"\nfrom = {at[0]}\nto = {at[1]}'

    def block(name: str, model: str, at: tuple[int, int], turn: int, size: str) -> str:
        hole = f"{column(left + at[0])}{front + at[1] + 1}"
        return f'[[place]]\nname = "{name}{k}"\nmodel = "{model}"\nhole = "{hole}"\nturn = {turn}\nwith = {{ {size} }}'

    def clamp(name: str, at: tuple[int, int], piece: str, toward: str) -> str:
        hole = f"{column(left + at[0])}{front + at[1] + 1}"
        head = f'[[clamp]]\nname = "{name}{k}"\nmodel = "toggle_clamp"\nhole = "{hole}"\nbolt = true\nturn = {{}}'
        return head.format(90 if at[1] < 0 else 270) + f'\npresses = "{piece} {k}"\ntoward = "{toward}{k}"'

    rungs = (135.0, 285.0, 435.0)
    tubes = [tube("front", (20, 40), (580, 40)), tube("back", (20, 320), (580, 320))]
    tubes += [tube(f"rung {n}", (at, 60), (at, 300)) for n, at in enumerate(rungs)]
    blocks = [
        *(block(f"A{n}", "riser", at, 0, "rows = 1") for n, at in enumerate(((3, 1), (8, 1), (3, 6), (8, 6)))),
        *(block(f"S{n}", "stop_block", at, 180, "height = 75") for n, at in enumerate(((2, 0), (9, 0)))),
        *(block(f"E{n}", "stop_block", at, 90, "height = 75") for n, at in enumerate(((0, 1), (0, 6)))),
        *(
            block(f"L{n}", "stop_block", (3 + 3 * n, 3), 90, "length = 85, depth = 40, height = 50")
            for n in range(len(rungs))
        ),
    ]
    blocks += [
        block(f"Q{n}", "dowel", (2 + 3 * n, 4), 0, "diameter = 30, height = 75")
        for n in range(len(rungs))
        if dowel or n > 0
    ]
    return [*tubes, *blocks, clamp("C", (4, -2), "front", "A0"), clamp("D", (4, 10), "back", "A2")]


def free_rungs(dowels: bool = True) -> set[str]:
    """The pieces that can slide, as they were laid out."""
    return set() if dowels else {"rung 0 0"}


CHECKS = (locating.CHECK, holding.CHECK, unloading.CHECK, shrinkage.CHECK, accuracy.CHECK)


def timed(job: Job) -> tuple[list[float], set[str]]:
    """Seconds for each check, and the pieces that are told as free."""
    spent, free = [], set()
    for check in CHECKS:
        start = time.perf_counter()
        found = check.run(job, quiet)
        spent.append(time.perf_counter() - start)
        free |= {f.subjects[0] for f in found.findings if f.rule == "piece-free"}
    return spent, free


def baseline(job: Job) -> float:
    """Library only: the kernel's distance of every two bodies whose boxes meet, and a programme a direction a piece."""
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from scipy.optimize import linprog

    from fixture3d.solid import kernel

    work = Work(job)
    rows = []
    for one in work.loose:
        points, normals, _ = locators(work.contacts(one))
        rows.append(np.hstack([np.cross(points - one.box.mean(axis=0), normals), normals]))
    bodies = [b for b in job.bodies if b.role in ("piece", "block")]
    placed = [kernel.moved(b.shape.brep, b.body_to_world) for b in bodies]
    start = time.perf_counter()
    for i, a in enumerate(bodies):
        for j in range(i):
            if (a.box[0] <= bodies[j].box[1] + 0.3).all() and (bodies[j].box[0] <= a.box[1] + 0.3).all():
                BRepExtrema_DistShapeShape(placed[i], placed[j]).Value()
    for touching in rows:
        for axis in range(6):
            for sign in (-1.0, 1.0):
                cost = np.zeros(6)
                cost[axis] = sign
                linprog(cost, A_ub=-touching, b_ub=np.zeros(len(touching)), bounds=(-1.0, 1.0))
    return time.perf_counter() - start


def measure(ladders: int) -> dict[str, Any]:
    """One row of the table; seconds."""
    store = Store(None)
    job = assemble(loads(scene_text(ladders)), store)
    assert not [s for s in job.seats.values() if not s.pins]
    new = timed(job)
    less = timed(assemble(loads(scene_text(ladders, dowels=False)), store))
    warm = timed(assemble(loads(scene_text(ladders)), store))
    wrong = len(new[1] ^ free_rungs()) + len(warm[1] ^ free_rungs()) + len(less[1] ^ free_rungs(dowels=False))
    return {
        "pieces": sum(b.role == "piece" for b in job.bodies),
        "blocks": sum(not s.clamp for s in job.seats.values()),
        "new_s": round(sum(new[0]), 3),
        "each_s": {check.name: round(s, 3) for check, s in zip(CHECKS, new[0], strict=True)},
        "moved_s": round(sum(less[0]), 3),
        "warm_s": round(sum(warm[0]), 3),
        "baseline_s": round(baseline(job), 3),
        "wrong": wrong,
    }


def main() -> None:
    """Print the table and the object."""
    timed(assemble(loads(scene_text(1)), Store(None)))  # imports and compiled code
    names = "  ".join(f"{check.name:>9}" for check in CHECKS)
    print(f"pieces  blocks   new s  {names}  one moved s  warm s  wrong  library only s  times")
    rows = []
    for ladders in LADDERS:
        row = measure(ladders)
        rows.append(row)
        each = "  ".join(f"{s:9.2f}" for s in row["each_s"].values())
        print(
            f"{row['pieces']:6d}  {row['blocks']:6d}  {row['new_s']:6.2f}  {each}  "
            f"{row['moved_s']:11.2f}  {row['warm_s']:6.3f}  {row['wrong']:5d}  "
            f"{row['baseline_s']:14.2f}  {row['baseline_s'] / row['new_s']:5.1f}",
            flush=True,
        )
    small, big = rows[1], rows[-1]
    print(
        json.dumps(
            {
                "bench": "locating",
                "figure": big["new_s"],
                "baseline": big["baseline_s"],
                "ratio": round(big["baseline_s"] / big["new_s"], 2),
                "wrong": sum(row["wrong"] for row in rows),
                "unit": "s",
                "growth": round(math.log(big["new_s"] / small["new_s"]) / math.log(4.0), 2),
                "rows": rows,
            }
        )
    )


if __name__ == "__main__":
    main()
