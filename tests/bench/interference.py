"""Interference of every pair of a large setup, uncached, against a library-only loop in the same run.

Run alone: ``python tests/bench/interference.py``. The last line is one JSON object; ``figure`` and ``baseline`` are
seconds for all pairs, ``wrong`` counts pairs whose kind or gap differs from what the layout says.

Lanes 60 mm apart hold one piece each: square, round-cornered square or round tube, on two risers or V-blocks with
bolt bores and, in every other lane, against a stop. So piece and block touch, risers of neighbouring lanes are 3 mm
apart, and some stops are set 0.2 mm into, or 1.3 mm off, their piece. Solids and meshes are made beforehand and not
timed; boxes, pairs, booleans, distances, depth and the way out of overlaps are.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fixture3d.frame import translation
from fixture3d.solid.pair import Relation
from fixture3d.solid.relate import Placed, near_pairs, relate_all
from fixture3d.solid.shape import Shape

LANE = 60.0
REACH = 5.0
LENGTH = 560.0
TOP = 50.0
WIDTH = LANE - 3.0
STOPS = (0.0, 0.0, -0.2, 0.0, 1.3)
Truth = dict[frozenset[str], tuple[str, float]]


def _shapes() -> dict[str, Shape]:
    import cadquery as cq

    radius = 21.2
    bar = cq.Workplane("YZ").rect(40, 40).rect(34, 34)
    round_corners = (
        cq.Workplane("YZ").rect(40, 40).extrude(LENGTH).edges("|X").fillet(6)
        .cut(cq.Workplane("YZ").rect(34, 34).extrude(LENGTH).edges("|X").fillet(3))
    )  # fmt: skip
    riser = cq.Workplane().box(80, WIDTH, TOP, centered=(True, True, False))
    riser = riser.faces(">Z").workplane().rarray(50, 1, 2, 1).hole(16)
    # A V of 90 degrees whose tube rests with its lowest point on the height of the risers' top.
    apex = TOP + radius - radius * np.sqrt(2.0)
    v = cq.Workplane("YZ").polyline([(0, apex), (30, apex + 30), (-30, apex + 30)]).close().extrude(80)
    v_block = cq.Workplane().box(80, WIDTH, TOP + 12, centered=(True, True, False)).cut(v.translate((-40, 0, 0)))
    v_block = v_block.faces("<Z").workplane().rarray(50, 1, 2, 1).hole(16)
    stop = cq.Workplane().box(40, 50, TOP + 30, centered=(True, True, False))
    stop = stop.edges("|Z").fillet(3).faces("<Z").workplane().hole(16)
    return {
        "square": Shape.of(bar.extrude(LENGTH)),
        "rounded": Shape.of(round_corners),
        "round": Shape.of(cq.Workplane("YZ").circle(radius).circle(radius - 3).extrude(LENGTH)),
        "riser": Shape.of(riser),
        "v_block": Shape.of(v_block),
        "stop": Shape.of(stop),
    }


def layout(blocks: int, shapes: dict[str, Shape]) -> tuple[list[Placed], Truth]:
    """A setup with ``blocks`` blocks and two fifths as many pieces, and its pairs within `REACH`."""
    bodies: list[Placed] = []
    truth: Truth = {}
    lanes = blocks * 2 // 5
    kinds = ("square", "rounded", "round")
    for lane in range(lanes):
        kind = kinds[lane // 3 % 3]
        y = LANE * lane
        height = TOP + (21.2 if kind == "round" else 20.0)
        support = "v_block" if kind == "round" else "riser"
        bodies.append(Placed(f"piece {lane}", shapes[kind], translation((0, y, height))))
        for k, x in enumerate((100.0, 450.0)):
            bodies.append(Placed(f"support {lane} {k}", shapes[support], translation((x, y, 0))))
            truth[frozenset((f"piece {lane}", f"support {lane} {k}"))] = ("touching", 0.0)
            if lane:
                truth[frozenset((f"support {lane - 1} {k}", f"support {lane} {k}"))] = ("clear", LANE - WIDTH)
        if lane % 2:
            off = STOPS[lane // 2 % len(STOPS)]
            bodies.append(Placed(f"stop {lane}", shapes["stop"], translation((-20.0 - off, y, 0))))
            kind_of = "touching" if off == 0.0 else "clear" if off > 0.0 else "overlapping"
            truth[frozenset((f"piece {lane}", f"stop {lane}"))] = (kind_of, max(off, 0.0))
    return bodies, truth


def wrong_pairs(found: list[tuple[str, str, Relation]], truth: Truth) -> int:
    """Pairs missing, too many, of another kind, or with a gap or depth off by more than 0.01 mm."""
    seen = {frozenset((a, b)): r for a, b, r in found}
    wrong = len(set(seen) ^ set(truth))
    for pair, (kind, gap) in truth.items():
        r = seen.get(pair)
        if r is not None and (r.kind != kind or abs((r.gap or 0.0) - gap) > 0.01):
            wrong += 1
    return wrong


def prepare(bodies: list[Placed]) -> None:
    """Make solids and both meshes of every shape, as a job with its cache has them."""
    for body in bodies:
        _ = body.shape.mesh.manifold, body.shape.fine.manifold, body.shape.brep


def measure(blocks: int, shapes: dict[str, Shape] | None = None) -> dict[str, Any]:
    """Seconds for all pairs of one setup: ``blocks``, ``bodies``, ``pairs``, ``near``, ``seconds``,
    ``cpu_seconds``, ``wrong``.
    """
    bodies, truth = layout(blocks, shapes or _shapes())
    prepare(bodies)
    start, cpu = time.perf_counter(), time.process_time()
    found = relate_all(bodies, reach=REACH)
    seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
    return {
        "blocks": blocks,
        "bodies": len(bodies),
        "pairs": len(bodies) * (len(bodies) - 1) // 2,
        "near": len(near_pairs(bodies, REACH)),
        "seconds": seconds,
        "cpu_seconds": cpu,
        "wrong": wrong_pairs(found, truth),
    }


def cost_against_size(sizes: tuple[int, ...] = (50, 100, 200, 400, 800)) -> list[dict[str, Any]]:
    """`measure` at each number of blocks."""
    shapes = _shapes()
    return [measure(size, shapes) for size in sizes]


def baseline(bodies: list[Placed], truth: Truth) -> tuple[float, int]:
    """Library only: boxes by the kernel, then its distance and common for every pair of boxes within `REACH`."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common
    from OCP.BRepBndLib import BRepBndLib
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape

    from fixture3d.solid import kernel

    start = time.perf_counter()
    placed = [(body.name, kernel.moved(body.shape.brep, body.pose)) for body in bodies]
    boxes = []
    for _, shape in placed:
        box = Bnd_Box()
        BRepBndLib.AddOptimal_s(shape, box, False, False)
        box.Enlarge(REACH / 2.0)
        boxes.append(box)
    found: list[tuple[str, str, Relation]] = []
    for i, (name, a) in enumerate(placed):
        for j in range(i):
            if boxes[i].IsOut(boxes[j]):
                continue
            b = placed[j][1]
            gap = BRepExtrema_DistShapeShape(a, b).Value()
            if gap > REACH:
                continue
            if gap > 0.02:
                found.append((name, placed[j][0], Relation("clear", gap, 0.0, 0.0, None)))
                continue
            common = BRepAlgoAPI_Common(a, b).Shape()
            volume = kernel.volume(common)
            thick = 2.0 * volume / kernel.surface(common) if volume > 1e-9 else 0.0
            kind = "overlapping" if thick > 0.02 else "touching"
            found.append((name, placed[j][0], Relation(kind, 0.0, thick, volume, None)))
    seconds = time.perf_counter() - start
    return seconds, wrong_pairs(found, truth)


def main() -> None:
    shapes = _shapes()
    bodies, truth = layout(150, shapes)
    prepare(bodies)
    runs = [measure(150, shapes) for _ in range(3)]
    best = min(runs, key=lambda run: float(run["seconds"]))
    slow, slow_wrong = baseline(bodies, truth)
    print("blocks  bodies  all pairs  near pairs  seconds  processor s  wrong")
    for row in cost_against_size():
        print(
            f"{row['blocks']:6d}  {row['bodies']:6d}  {row['pairs']:9d}  {row['near']:10d}  "
            f"{row['seconds']:7.2f}  {row['cpu_seconds']:11.2f}  {row['wrong']:5d}"
        )
    print(
        json.dumps(
            {
                "bench": "interference",
                "figure": round(best["seconds"], 3),
                "baseline": round(slow, 3),
                "ratio": round(slow / best["seconds"], 2),
                "wrong": sum(run["wrong"] for run in runs),
                "baseline_wrong": slow_wrong,
                "unit": "s",
                "cpu_s": round(best["cpu_seconds"], 3),
                "bodies": best["bodies"],
                "pairs": best["pairs"],
                "near": best["near"],
            }
        )
    )


if __name__ == "__main__":
    main()
