"""A catalogue of blocks as STEP, 3MF and dimensioned PDF sheet: ``make LIST``, whole, from outside.

    python tests/bench/blocks.py [BLOCKS]

The blocks are all shipped models in turn, at sizes drawn at random within their ranges and rounded to whole mm. The
baseline is what any program pays that uses the library alone, in one process: as many boxes of the same outer sizes,
with a bore for each dowel, written by cadquery's own exporters as STEP, 3MF and an SVG of one view, no dimensions.
Seconds of the clock and of the processor (with all children) are told, since others at work change the first alone.
``wrong`` counts blocks that were not made, files that are missing, blocks that the second run makes again, and files
that one process makes otherwise than two.
"""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fixture3d.cache import Store
from fixture3d.corners.cases import PATTERNS, values
from fixture3d.errors import ModelError
from fixture3d.export.orders import read_orders
from fixture3d.library import library
from fixture3d.part import Part, parameters
from fixture3d.workshop.making import Form
from fixture3d.workshop.orders import write_orders

ROOT = Path(__file__).resolve().parents[2]
PATTERN = PATTERNS["50/16"]
BLOCKS = 500
COMPARED = 20  # blocks made by one process too
LIMIT = 180.0  # seconds of the clock for 500 blocks on two processors

_PLAIN = """
import csv, sys
import cadquery as cq
for k, row in enumerate(csv.reader(open(sys.argv[1]))):
    a, b, c, bore, holes = map(float, row)
    box = cq.Workplane().box(a, b, c)
    points = [(a * ((i + 1) / (holes + 1) - 0.5), 0.0) for i in range(int(holes))]
    if points:
        box = box.faces(">Z").workplane().pushPoints(points).hole(bore)
    for ending in ("step", "3mf", "svg"):
        cq.exporters.export(box, f"{sys.argv[2]}/{k}.{ending}")
"""


def blocks(count: int) -> list[Part]:
    """So many blocks, no two alike."""
    shop, found, case = library(), dict[Part, None](), 0
    while len(found) < count:
        for model in shop.entries:
            near = {key: float(round(value)) for key, value in values(shop, model, PATTERN, f"random {case}").items()}
            try:
                found[shop.make(model, PATTERN, near)] = None
            except ModelError:
                continue  # rounded out of its range or rules
        case += 1
    return list(found)[:count]


def timed(arguments: list[str], cache: Path) -> tuple[float, float, str]:
    """Seconds of the clock and of the processor of a run of Python, and what it printed."""
    env = {**os.environ, "FIXTURE3D_CACHE": str(cache), "PYTHONPATH": str(ROOT)}
    before, start = os.times(), time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], env=env, capture_output=True, text=True)
    clock, after = time.perf_counter() - start, os.times()
    processor = after.children_user - before.children_user + after.children_system - before.children_system
    return clock, processor, done.stdout if done.returncode == 0 else f"exit: {done.stdout[-500:]}{done.stderr[-500:]}"


def main() -> dict[str, object]:
    """Measure, print a table, and return the figures."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else BLOCKS
    wanted = blocks(count)
    heads = sorted({name for part in wanted for name in parameters(type(part))})
    rows: dict[str, tuple[float, float]] = {}
    wrong = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for each in ("out", "one", "plain"):
            (folder / each).mkdir()
        with open(folder / "all.csv", "w", newline="", encoding="utf-8") as stream:
            writer = csv.writer(stream)
            writer.writerow(["model", *heads])
            writer.writerows(
                [p.model, *(getattr(p, h) if h in parameters(type(p)) else "" for h in heads)] for p in wanted
            )
        with open(folder / "plain.csv", "w", newline="", encoding="utf-8") as stream:
            for part in wanted:
                low, high = part.box()
                holes = sum(pin.face == "bottom" and not pin.integral for pin in part.pins())
                size = [b - a for a, b in zip(low, high, strict=True)]
                csv.writer(stream).writerow([*size, min(PATTERN.bore, *(0.5 * s for s in size[:2])), holes])
        make = ["-m", "fixture3d", "make", str(folder / "all.csv"), "-o", str(folder / "out")]
        make += ["--format", "step,3mf", "--drawing", "pdf"]
        for run, told in (("new", f"{count} made, 0 there"), ("again", f"0 made, {count} there")):
            clock, processor, out = timed(make, folder / "cache")
            rows[run] = clock, processor
            wrong += told not in out
            if told not in out:
                print(out[-1000:])
        wrong += 3 * count - sum(1 for _ in (folder / "out").iterdir())
        clock, processor, out = timed(["-c", _PLAIN, str(folder / "plain.csv"), str(folder / "plain")], folder / "c")
        rows["baseline"] = clock, processor
        wrong += out.startswith("exit")
        asked = read_orders(folder / "all.csv", library(), PATTERN, "mm")
        few = replace(asked, orders=asked.orders[:: max(1, count // COMPARED)])
        form = Form(formats=("step", "3mf"), sheets=("pdf",))
        done = write_orders(few, folder / "one", form, store=Store(None))
        wrong += sum(path.read_bytes() != (folder / "out" / path.name).read_bytes() for path in done.paths)
    for label, (clock, processor) in rows.items():
        print(f"{label:<10}{clock:8.1f} s of the clock {processor:8.1f} s of the processor, {count} blocks", flush=True)
    return {
        "figure": rows["new"][1],
        "baseline": rows["baseline"][1],
        "ratio": rows["baseline"][1] / rows["new"][1],
        "wrong": wrong,
        "clock_s": {label: row[0] for label, row in rows.items()},
        "processors": os.cpu_count(),
        "within_limit": rows["new"][0] <= LIMIT * count / BLOCKS,
    }


if __name__ == "__main__":
    print(json.dumps(main()))
