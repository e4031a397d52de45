"""Torch access against python-fcl: 604,800 torch positions, about 88,000 triangles, 151 bodies.

Run it alone: ``python tests/bench/torch_access.py``. The last line is one JSON object.

figure: torch positions a second of the compiled sweep, preparation (tree and distance grid) included, compilation not:
it is printed apart, and kept on disk after the first run.
baseline: positions a second of a loop over python-fcl with the same primitives (one exact cylinder, six capsules), one
tree of all triangles, nozzle first, early out. It is timed on every k-th position of the same sweep, its own
preparation left out, which favours it.
wrong: verdicts on that subset that differ from python-fcl plus point-in-solid, where fcl says the same 1e-3 mm nearer
and further.
processor seconds stand beside those of the clock: on a busy machine only they can be compared.
large: 200 welds on five such tables in steps of 25, 6 and 3 mm along the weld, each in a process of its own: about 0.6,
2.5 and 5 million positions, and the most memory that the process took, which should not follow them.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fixture3d.access.access import answer
from fixture3d.access.best import torch_turn
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.shipped import SHIPPED
from fixture3d.access.sweep import reach_box, sweep
from fixture3d.access.threads import workers
from fixture3d.access.torch import Technique
from fixture3d.access.torch_space import torch_body
from fixture3d.access.warm import warm_up
from fixture3d.access.welds import Weld, WeldPoints, weld_points
from fixture3d.access.window import Window
from fixture3d.progress import on_terminal
from fixture3d.tolerance import SHOP
from tests.access_oracle import Body, FclTorch, circle, moved, prism, rounded, tube

SUBSET = 12_000
TECHNIQUE = Technique(
    name="bench",
    torch="mig-60",
    work_angle=(45, 20),
    travel_angle=(10, 15),
    stand_off=15,
    direction="forward",
)


def table(columns: int = 40, rows: int = 20, pitch: float = 50.0) -> Body:
    """A table plate with its holes as eight-sided cells; its outer sides are left open."""
    cell = rounded(pitch, pitch, 1e-3, 1)
    cell = cell[np.argsort(np.arctan2(cell[:, 1], cell[:, 0]))]
    hole = circle(8.0, 8)[np.argsort(np.arctan2(circle(8.0, 8)[:, 1], circle(8.0, 8)[:, 0]))]
    vertices, faces = prism(cell, -12.0, 0.0, hole)
    faces = faces[16:]  # without the walls between cells
    all_v = [vertices + np.array([i * pitch, j * pitch, 0.0]) for i in range(columns) for j in range(rows)]
    all_f = [faces + k * len(vertices) for k in range(columns * rows)]
    return "table", np.vstack(all_v), np.vstack(all_f).astype(np.int32), False


def scene() -> tuple[list[Body], list[Weld]]:
    """A table, 20 rails, 40 short uprights welded on them, 90 round blocks beside them; 40 welds of 95 mm."""
    rng = np.random.default_rng(11)
    lay = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])  # tube's Z along the world's X
    bodies: list[Body] = [table()]
    welds: list[Weld] = []
    for i in range(20):
        x, y = 60.0 + 920.0 * (i % 2), 80.0 + 88.0 * (i // 2)
        rail = moved(tube(40.0, 40.0, 3.0, 800.0, 12), lay, (x, y, 60.0))
        bodies.append((f"rail {i}", *rail, True))
        for j in range(2):
            at = x + 200.0 + 400.0 * j + float(rng.uniform(-60.0, 60.0))
            upright = moved(tube(95.0, 30.0, 3.0, 120.0, 12), np.eye(3), (at, y, 80.0))
            bodies.append((f"upright {i}.{j}", *upright, True))
            side = 1.0 if (i + j) % 2 else -1.0
            welds.append(
                Weld(
                    name=f"weld {i}.{j}",
                    type="fillet",
                    joins=(f"rail {i}", f"upright {i}.{j}"),
                    size=4.0,
                    path=np.array([[at - 47.5, y + side * 15.0, 80.0], [at + 47.5, y + side * 15.0, 80.0]]),
                    technique="bench",
                    sides=np.array([[0.0, 0.0, 1.0], [0.0, side, 0.0]]),
                )
            )
    for i in range(90):
        spot = (50.0 * rng.integers(0, 40), 80.0 + 88.0 * rng.integers(0, 10) + 44.0, 0.0)
        block = moved(prism(circle(rng.uniform(10.0, 22.0), 70), 0.0, rng.uniform(40.0, 160.0)), np.eye(3), spot)
        bodies.append((f"block {i}", *block, True))
    return bodies, welds


def large(step: float) -> None:
    """Full answers for 200 welds on five tables; one JSON object."""
    bodies: list[Body] = []
    welds: list[Weld] = []
    some, lines = scene()
    for k in range(5):
        by = np.array([0.0, 1200.0 * k, 0.0])
        bodies += [(f"{name} of {k}", vertices + by, faces, closed) for name, vertices, faces, closed in some]
        welds += [
            replace(
                w, name=f"{w.name} of {k}", joins=(f"{w.joins[0]} of {k}", f"{w.joins[1]} of {k}"), path=w.path + by
            )
            for w in lines
        ]
    torch, window = torch_body(SHIPPED["mig-60"], TECHNIQUE.stand_off), TECHNIQUE.window()
    points = [weld_points(weld, step) for weld in welds]
    warm_up()
    begin, spent = time.perf_counter(), time.process_time()
    obstacles = Obstacles.build(bodies, reach_box(torch, np.vstack([line.points for line in points])))
    positions = 0
    with on_terminal("torch access") as progress:
        for done, (line, weld) in enumerate(zip(points, welds, strict=True)):
            progress("welds", done, len(welds))
            positions += answer(obstacles, torch, line, window, weld.joins).positions
    print(
        json.dumps(
            {
                "welds": len(welds),
                "triangles": obstacles.triangles,
                "positions": positions,
                "seconds": round(time.perf_counter() - begin, 2),
                "processor_s": round(time.process_time() - spent, 2),
                "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0),
            }
        )
    )


def turns(points: WeldPoints, window: Window, index: np.ndarray) -> np.ndarray:
    """World axes (n, 3, 3) of positions (n, 4): point, work, lean, roll."""
    return np.stack([torch_turn(points.frames[p], window, w, t, r) for p, w, t, r in index])


def main() -> None:
    bodies, welds = scene()
    torch = torch_body(SHIPPED["mig-60"], TECHNIQUE.stand_off)
    window = TECHNIQUE.window()
    lines = [weld_points(weld) for weld in welds]
    everything = np.vstack([line.points for line in lines])

    begin = time.perf_counter()
    warm_up()
    print(f"compiling or loading the kernels: {time.perf_counter() - begin:.2f} s (not counted)")

    times = []
    for _ in range(3):
        spent, begin = time.process_time(), time.perf_counter()
        obstacles = Obstacles.build(bodies, reach_box(torch, everything))
        built = time.perf_counter()
        verdicts = [sweep(obstacles, torch, line.points, line.frames, window) for line in lines]
        times.append((time.perf_counter() - begin, built - begin, time.process_time() - spent))
    positions = sum(v.free.size for v in verdicts)
    total, preparation, _ = sorted(times)[1]
    processor = sorted(spent for _, _, spent in times)[1]
    free = sum(int(v.free.sum()) for v in verdicts) / positions
    print(f"{len(bodies)} bodies, {obstacles.triangles} triangles, {positions} positions, {free:.1%} free")
    print(
        f"sweep {total:.3f} s, {processor:.3f} s of processor; "
        f"of it preparation {preparation:.3f} s, {workers()} threads (median of 3)"
    )

    spent, begin = time.process_time(), time.perf_counter()
    answers = [answer(obstacles, torch, line, window, weld.joins) for line, weld in zip(lines, welds, strict=True)]
    full, full_processor = time.perf_counter() - begin, time.process_time() - spent
    reach = sum(a.reachable for a in answers) / sum(a.length for a in answers)
    print(
        f"full answer (runs, best, blockers) for {len(welds)} welds: {full:.2f} s, "
        f"{full_processor:.2f} s of processor; {reach:.0%} of the length reachable"
    )

    shape = verdicts[0].free.shape
    each = int(np.prod(shape))
    chosen = np.linspace(0, positions - 1, SUBSET).astype(int)
    of_weld, inner = np.divmod(chosen, each)
    index = np.stack(np.unravel_index(inner, shape), axis=1)
    ours = np.array([verdicts[w].free[tuple(i)] == 1 for w, i in zip(of_weld, index, strict=True)])
    at = np.stack([lines[w].points[i[0]] for w, i in zip(of_weld, index, strict=True)])
    turned = np.concatenate([turns(lines[w], window, index[of_weld == w]) for w in range(len(welds))])

    loop = FclTorch(bodies, torch, SHOP.torch_margin)
    poses = list(zip(at, turned, strict=True))
    spent, begin = time.process_time(), time.perf_counter()
    for point, turn in poses:
        loop.touches(point, turn)
    baseline = SUBSET / (time.perf_counter() - begin)
    baseline_processor = (time.process_time() - spent) / SUBSET

    nearer = FclTorch(bodies, torch, SHOP.torch_margin - 1e-3)
    further = FclTorch(bodies, torch, SHOP.torch_margin + 1e-3)
    least = np.array([nearer.touches(p, t) for p, t in poses])
    most = np.array([further.touches(p, t) for p, t in poses])
    inside = further.inside(at, turned) & ~most
    clear = least == most
    wrong = int((ours != ~(most | inside))[clear].sum())
    print(f"python-fcl on {SUBSET} of the positions; {int((~clear).sum())} of them within 1e-3 mm of contact")
    sizes = [
        json.loads(subprocess.run([sys.executable, __file__, step], check=True, stdout=subprocess.PIPE).stdout)
        for step in ("25", "6", "3")
    ]
    for row in sizes:
        print(
            "{welds} welds, {positions} positions: {seconds} s, {processor_s} s of processor, {peak_mb} MB".format(
                **row
            )
        )
    rate = positions / total
    print(
        json.dumps(
            {
                "figure": round(rate),
                "baseline": round(baseline),
                "ratio": round(rate / baseline, 1),
                "wrong": wrong,
                "poses": positions,
                "poses_per_s": round(rate),
                "preparation_s": round(preparation, 3),
                "full_answer_s": round(full, 2),
                "full_answer_processor_s": round(full_processor, 2),
                "processor_ratio": round(baseline_processor * positions / processor, 1),
                "checked": int(clear.sum()),
                "large": sizes,
            }
        )
    )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        large(float(sys.argv[1]))
    else:
        main()
