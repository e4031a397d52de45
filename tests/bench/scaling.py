"""Cost against size, from 50 to 800 blocks: all pairs of a setup, and a whole scene from its file to its report.

Run alone: ``python tests/bench/scaling.py``. First table: the setups of ``interference.py`` with every pair compared,
nothing kept from before; beside it, up to ``BASELINE_UP_TO`` blocks, the library-only loop of the same file. Second
table: a scene of risers, each two of which carry a tube, written as a file, read, assembled and checked twice with
one store in memory: new, and again with one block moved.

The last line is one JSON object. ``figure`` and ``baseline`` are seconds for all pairs of the largest setup that the
baseline is run on; ``wrong`` counts pairs that differ from what the layout says, and findings in the sound scenes;
``growth`` is the exponent of size in the cost from 100 to 800 blocks: 1 is in proportion, 2 all against all.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fixture3d import engine
from fixture3d.cache import Store
from tests.bench import interference

SIZES = (50, 100, 200, 400, 800)
BASELINE_UP_TO = 200
ACROSS = 10  # lanes side by side, each a pair of risers
LANE, STEP = 16, 4  # holes from lane to lane along X, and from pair to pair along Y


def column(index: int) -> str:
    """The letters of a column, from 0."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def scene_text(blocks: int, moved: int = 0) -> str:
    """A scene with ``blocks`` risers in pairs, a tube on each pair; the first riser stands ``moved`` holes on."""
    pairs = blocks // 2
    rows = -(-pairs // ACROSS)
    lines = [
        "format = 1",
        f'title = "{blocks} blocks"',
        'units = "mm"',
        f"table = {{ pitch = 50, bore = 16, columns = {ACROSS * LANE}, rows = {rows * STEP + 2} }}",
        '[weldment]\nhole = "A1"\nlift = 80',
    ]
    for pair in range(pairs):
        lane, row = pair % ACROSS, pair // ACROSS
        first, hole = lane * LANE + 2, row * STEP + 2
        start, y = 50.0 * first - 60.0, 50.0 * (hole - 1) + 25.0
        lines.append(
            f'[[member]]\nname = "T{pair}"\nstock = "SHS 40x40x3"\n'
            f"from = [{start}, {y}, 0]\nto = [{start + 620.0}, {y}, 0]"
        )
        for k in range(2):
            at = first + 9 * k + (moved if pair == 0 and k == 0 else 0)
            name = f"R{2 * pair + k}"
            lines.append(
                f'[[place]]\nname = "{name}"\nmodel = "riser"\nhole = "{column(at)}{hole}"\nwith = {{ height = 60 }}'
            )
    return "\n".join(lines) + "\n"


def end_to_end(blocks: int, folder: Path, store: Store, moved: int = 0) -> tuple[float, float, int]:
    """Seconds to read and assemble, seconds to check, and the findings above a note."""
    path = folder / f"{blocks}-{moved}.toml"
    path.write_text(scene_text(blocks, moved), encoding="utf-8")
    start = time.perf_counter()
    job = engine.assemble(engine.load(path), store)
    middle = time.perf_counter()
    report = engine.check_job(job)
    end = time.perf_counter()
    findings = sum(finding.level != "note" for finding in report.findings)
    assert sum(body.role in ("block", "piece") for body in job.bodies) == blocks + blocks // 2
    return middle - start, end - middle, findings


def main() -> None:
    shapes = interference._shapes()
    rows = []
    print("blocks  bodies  all pairs  near pairs  seconds  processor s  wrong  library only s  times")
    for size in SIZES:
        row = interference.measure(size, shapes)
        slow = ""
        if size <= BASELINE_UP_TO:
            row["baseline"], row["baseline_wrong"] = interference.baseline(*interference.layout(size, shapes))
            slow = f"{row['baseline']:16.2f}{row['baseline'] / row['seconds']:7.1f}"
        rows.append(row)
        print(
            f"{row['blocks']:6d}  {row['bodies']:6d}  {row['pairs']:9d}  {row['near']:10d}  "
            f"{row['seconds']:7.2f}  {row['cpu_seconds']:11.2f}  {row['wrong']:5d}{slow}",
            flush=True,
        )
    print("blocks  read and assemble s  check s  one moved: assemble s  check s  findings")
    scenes = []
    with tempfile.TemporaryDirectory() as name:
        for size in SIZES:
            store = Store(None)
            new = end_to_end(size, Path(name), store)
            again = end_to_end(size, Path(name), store, moved=1)
            scenes.append(
                {
                    "blocks": size,
                    "assemble_s": round(new[0], 3),
                    "check_s": round(new[1], 3),
                    "moved_assemble_s": round(again[0], 3),
                    "moved_check_s": round(again[1], 3),
                    "wrong": new[2] + again[2],
                }
            )
            print(
                f"{size:6d}  {new[0]:19.2f}  {new[1]:7.2f}  {again[0]:21.2f}  {again[1]:7.2f}  {new[2] + again[2]:8d}",
                flush=True,
            )
    largest = next(row for row in reversed(rows) if "baseline" in row)
    small, big = rows[SIZES.index(100)], rows[-1]
    print(
        json.dumps(
            {
                "bench": "scaling",
                "figure": round(largest["seconds"], 3),
                "baseline": round(largest["baseline"], 3),
                "ratio": round(largest["baseline"] / largest["seconds"], 2),
                "wrong": sum(row["wrong"] for row in rows) + sum(row["wrong"] for row in scenes),
                "unit": "s",
                "blocks": largest["blocks"],
                "baseline_wrong": largest["baseline_wrong"],
                "growth": round(math.log(big["cpu_seconds"] / small["cpu_seconds"]) / math.log(8.0), 2),
                "pairs": [{k: row[k] for k in ("blocks", "bodies", "pairs", "near", "wrong")} for row in rows],
                "seconds": [round(row["seconds"], 3) for row in rows],
                "scenes": scenes,
            }
        )
    )


if __name__ == "__main__":
    main()
