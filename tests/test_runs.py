"""Runs along a weld against plain searches, and what is not reached."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from fixture3d.access.runs import least_runs, longest_run, unreached
from fixture3d.access.shipped import TECHNIQUES
from fixture3d.access.welds import WeldPoints
from fixture3d.access.window import Window


def line(count: int, rng: np.random.Generator | None = None, joined: float = 1.0) -> WeldPoints:
    """Points of a weld, 5 mm apart or of random lengths, some of them with a corner between."""
    lengths = np.full(count, 5.0) if rng is None else rng.uniform(1, 5, count)
    return WeldPoints(
        points=np.zeros((count, 3)),
        frames=np.zeros((count, 3, 3)),
        lengths=lengths,
        along=np.zeros(count),
        joined=np.ones(count - 1, dtype=bool) if rng is None else rng.random(count - 1) < joined,
    )


def runs_by_search(free: NDArray[Any], weld: WeldPoints, window: Window) -> float:
    """Longest chain by trying every start and walking on from the set of positions reached: slow and plain."""
    best = 0.0
    for _, leans in window.runs:
        part = free[:, :, leans]
        for first in range(len(free)):
            reached = {tuple(int(i) for i in at) for at in np.argwhere(part[first])}
            last = first
            while reached:
                best = max(best, float(weld.lengths[first : last + 1].sum()))
                if last + 1 == len(free) or not weld.joined[last]:
                    break
                last += 1
                steps = {
                    (w + a, t + b, (r + c) % part.shape[3])
                    for w, t, r in reached
                    for a in (-1, 0, 1)
                    for b in (-1, 0, 1)
                    for c in (-1, 0, 1)
                }
                reached = {
                    s for s in steps if 0 <= s[0] < part.shape[1] and 0 <= s[1] < part.shape[2] and part[last][s]
                }
    return best


@pytest.mark.parametrize("density", [0.02, 0.04, 0.08])
def test_longest_run_equals_plain_search(density: float) -> None:
    rng = np.random.default_rng(3)
    window = TECHNIQUES["corner"].window(rolls=6)
    for _ in range(6):
        k = 14
        weld = line(k, rng, 0.9)
        free = (rng.random((k, *window.shape)) < density).astype(np.uint8)
        length, run = longest_run(free, weld, window)
        assert length == pytest.approx(runs_by_search(free, weld, window))
        assert run is not None
        assert length == pytest.approx(weld.lengths[run[0] : run[1] + 1].sum())


def is_run(free: NDArray[Any], weld: WeldPoints, window: Window, first: int, last: int) -> bool:
    """Whether a chain leads from first to last: plain walk over sets of positions."""
    if not weld.joined[first:last].all():
        return False
    for _, leans in window.runs:
        part = free[:, :, leans]
        reached = {tuple(int(i) for i in at) for at in np.argwhere(part[first])}
        for point in range(first + 1, last + 1):
            here = [tuple(int(i) for i in at) for at in np.argwhere(part[point])]
            rolls = part.shape[3]
            reached = {
                a
                for a in here
                for b in reached
                if abs(a[0] - b[0]) <= 1 and abs(a[1] - b[1]) <= 1 and (a[2] - b[2]) % rolls in (0, 1, rolls - 1)
            }
        if reached:
            return True
    return False


def fewest_by_search(free: NDArray[Any], weld: WeldPoints, window: Window) -> int:
    """The least number of runs over every way to cut the reached points into intervals: slow and plain."""
    count = len(free)
    reached = [bool(free[k].any()) for k in range(count)]
    stretches, start = [], None
    for k in range(count + 1):
        if k < count and reached[k]:
            start = k if start is None else start
        elif start is not None:
            stretches.append((start, k - 1))
            start = None
    total = 0
    for a, b in stretches:
        for cuts in range(b - a + 1):
            options = combinations(range(a, b), cuts)
            whole = ([*zip((a, *(c + 1 for c in at)), (*at, b), strict=True)] for at in options)
            if any(all(is_run(free, weld, window, *piece) for piece in pieces) for pieces in whole):
                total += cuts + 1
                break
    return total


@pytest.mark.parametrize("density", [0.05, 0.12, 0.3])
def test_least_runs_equals_every_way_of_cutting(density: float) -> None:
    rng = np.random.default_rng(9)
    how = replace(TECHNIQUES["corner"], work_angle=(45, 5), travel_angle=(10, 5))
    window = how.window(rolls=4)
    counts = set()
    for _ in range(12):
        weld = line(9, rng, 0.9)
        free = (rng.random((9, *window.shape)) < density * 0.2).astype(np.uint8)
        found = least_runs(free, weld, window)
        counts.add(len(found))
        assert len(found) == fewest_by_search(free, weld, window)
        covered = [k for run in found for k in range(run.first, run.last + 1)]
        assert covered == [k for k in range(9) if free[k].any()]
        for run in found:
            way = 1 if run.direction == "forward" else -1
            alone = replace(window, runs=tuple(r for r in window.runs if r[0] == way))
            assert is_run(free, weld, alone, run.first, run.last)
            assert run.end - run.start == pytest.approx(weld.lengths[run.first : run.last + 1].sum())
        longest = longest_run(free, weld, window)[0]
        assert max((run.end - run.start for run in found), default=0.0) <= longest + 1e-5
    assert len(counts) > 1


def test_a_swing_of_the_handle_is_one_restart() -> None:
    """Free at roll 0 up to the middle and at roll 180 from there on: two runs; by single steps it would be one."""
    window = TECHNIQUES["corner"].window()
    free = np.zeros((21, *window.shape), np.uint8)
    free[:11, 3, 5, 0] = 1
    free[11:, 3, 5, 6] = 1
    two = least_runs(free, line(21), window)
    assert [(run.first, run.last, run.start, run.end) for run in two] == [(0, 10, 0.0, 55.0), (11, 20, 55.0, 105.0)]
    for roll in range(1, 6):
        free[10 + roll, 3, 5, roll] = 1
    assert len(least_runs(free, line(21), window)) == 1
    # The other way round the axis, over 330 degrees: 11 and 0 are neighbours.
    free[:] = 0
    for point in range(21):
        free[point, 3, 5, -point % 12] = 1
    assert len(least_runs(free, line(21), window)) == 1


def test_one_run_keeps_to_one_way_of_travel() -> None:
    """Push forward on one half, push back on the other: no lean is common to both, so it takes a stop."""
    how = replace(TECHNIQUES["corner"], travel_angle=(20, 5))
    window = how.window()
    ways = dict(window.runs)
    free = np.zeros((10, *window.shape), np.uint8)
    free[:5, 0, ways[1], 0] = 1
    free[5:, 0, ways[-1], 0] = 1
    assert [(run.last, run.direction) for run in least_runs(free, line(10), window)] == [(4, "forward"), (9, "back")]


def test_unreached_stretches_in_mm() -> None:
    weld = line(8)
    reached = np.array([0, 1, 1, 0, 0, 1, 1, 0], dtype=bool)
    assert unreached(reached, weld) == ((0.0, 5.0), (15.0, 25.0), (35.0, 40.0))
    assert unreached(np.ones(8, dtype=bool), weld) == ()
    assert unreached(np.zeros(8, dtype=bool), weld) == ((0.0, 40.0),)
    assert (
        least_runs(np.zeros((8, *TECHNIQUES["corner"].window().shape), np.uint8), weld, TECHNIQUES["corner"].window())
        == ()
    )
