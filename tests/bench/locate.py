"""The best sum of 30 owned pieces, by trying every choice and by a mixed-integer solver, and by the program.

Each figure is the middle of several runs on cases drawn with a fixed seed: 30 measured pieces (sizes to a tenth of a
micrometre, so that no two sums are alike), one wanted length. Baselines in the same run: ``itertools`` over all choices
of 20 pieces (30 would take hours), and SciPy's HiGHS on all 30. ``wrong`` counts cases in which the program's error is
larger than that of a baseline, or differs from that of trying all.

    python tests/bench/locate.py
"""

from __future__ import annotations

import itertools
import json
import random
import statistics
import time
from collections.abc import Callable
from functools import partial

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from fixture3d.setting import Sums

RUNS = 5


def timed(work: Callable[[], int]) -> tuple[float, int]:
    """Seconds and what came of it."""
    start = time.perf_counter()
    found = work()
    return time.perf_counter() - start, found


def ours(sizes: list[int], wanted: int) -> int:
    """The least error by the program, with the pieces that make it up."""
    sums = Sums(sizes, [1] * len(sizes), upto=2 * wanted)
    total = int(sums.nearest([wanted])[0][0])
    taken = sums.pieces(total)
    assert sum(size * count for size, count in zip(sizes, taken, strict=True)) == total
    return abs(total - wanted)


def every_choice(sizes: list[int], wanted: int) -> int:
    """By trying all choices."""
    return min(
        abs(sum(itertools.compress(sizes, choice)) - wanted) for choice in itertools.product((0, 1), repeat=len(sizes))
    )


def solver(sizes: list[int], wanted: int) -> int:
    """By HiGHS: least t with -t <= sum - wanted <= t, in micrometres so that its tolerances mean something."""
    n, scale = len(sizes), 1e-4
    row = np.array([[*(size * scale for size in sizes), -1.0], [*(size * scale for size in sizes), 1.0]])
    limits = LinearConstraint(row, [-np.inf, wanted * scale], [wanted * scale, np.inf])
    found = milp(
        np.array([*[0.0] * n, 1.0]),
        constraints=limits,
        bounds=Bounds(np.zeros(n + 1), np.array([*[1.0] * n, np.inf])),
        integrality=np.array([*[1] * n, 0]),
        options={"time_limit": 5.0, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return wanted
    return abs(sum(size for size, x in zip(sizes, found.x, strict=False) if x > 0.5) - wanted)


def main() -> dict[str, object]:
    """Measure, print a table, and return the figures."""
    rng = random.Random(30)
    seconds: dict[str, list[float]] = {"ours, 30": [], "HiGHS, 30": [], "ours, 18": [], "itertools, 18": []}
    wrong, unproven = 0, 0
    for _ in range(RUNS):
        sizes = [rng.randrange(2_000_000, 200_000_000, 1000) for _ in range(30)]
        wanted = rng.randrange(sum(sizes) // 4, sum(sizes) // 2)
        spent, mine = timed(partial(ours, sizes, wanted))
        seconds["ours, 30"].append(spent)
        spent, theirs = timed(partial(solver, sizes, wanted))
        seconds["HiGHS, 30"].append(spent)
        wrong += mine > theirs
        unproven += theirs > mine
        few, wanted = sizes[:18], sum(sizes[:18]) // 3
        spent, mine = timed(partial(ours, few, wanted))
        seconds["ours, 18"].append(spent)
        spent, theirs = timed(partial(every_choice, few, wanted))
        seconds["itertools, 18"].append(spent)
        wrong += mine != theirs
    middle = {name: statistics.median(each) for name, each in seconds.items()}
    for name, value in middle.items():
        print(f"{name:<16}{value * 1000:12.1f} ms   (of {RUNS})")
    print(f"HiGHS stopped at a worse sum in {unproven} of {RUNS} cases (5 s each at most)")
    print(f"itertools on 18 pieces takes {middle['itertools, 18'] / middle['ours, 18']:.0f} times as long")
    return {
        "figure": middle["ours, 30"],
        "baseline": middle["HiGHS, 30"],
        "ratio": middle["HiGHS, 30"] / middle["ours, 30"],
        "ratio_itertools": middle["itertools, 18"] / middle["ours, 18"],
        "wrong": wrong,
        "seconds": middle,
    }


if __name__ == "__main__":
    print(json.dumps(main()))
