"""The weld finder against the second set of joints, in every dress: in place, turned, unnamed, through STEP, jittered,
as B-spline faces, as meshes.

The set was written from geometry alone, without sight of the finder. Scored once, in place, before the finder was
mended for it: 89 of 93 right, after slips of the scorer (an opening was asked of welds that only meet a line at its
end; an optional line at a corner gave way to its neighbour) and of the set (in three cases the arc that a line may run
on to lay beyond its own `near`) were mended; 80 before that. Of the four one was a slip of the set (the root of a flare
lay 2.5 mm off where the round leaves the plane); three were the finder's and are mended for all joints of their kind.
What it still has wrong stands in KNOWN_WRONG.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.frame import Array
from tests.second_weld_cases import AT_THE_LIMIT, CASES, Case, Line
from tests.weld_turns import TURNS

LONG = os.environ.get("FIXTURE3D_LONG") == "1"
STEP = 0.25  # mm between the places at which a found line is held against the set
LEAST = 2.0  # mm of a line that belongs nowhere
NEEDED_FIRST = 0.05  # mm that an optional line must be nearer by
DRESSES = ("in place", *TURNS)

# Where the finder is wrong in place, with its exact faults: a case that is mended, or goes wrong otherwise, fails.
KNOWN_WRONG: dict[str, tuple[str, ...]] = {}


@dataclass(frozen=True)
class Dressed:
    """A case as the dresses of `weld_turns` take it."""

    name: str
    pieces: dict[str, Any]
    rim: None = None


def middles(path: Array) -> tuple[Array, Array]:
    """Places along a path, (n, 3) mm, and the length that each stands for, (n,) mm."""
    starts, ends = path[:-1], path[1:]
    lengths = np.linalg.norm(ends - starts, axis=1)
    points, spans = [np.zeros((0, 3))], [np.zeros(0)]
    for start, end, length in zip(starts, ends, lengths, strict=True):
        count = max(1, int(np.ceil(length / STEP)))
        at = (np.arange(count) + 0.5) / count
        points.append(start + at[:, None] * (end - start))
        spans.append(np.full(count, length / count))
    return np.vstack(points), np.concatenate(spans)


def off_path(points: Array, path: Array) -> Array:
    """Distance of each of some places from a polyline, (n,) mm."""
    start, way = path[:-1], np.diff(path, axis=0)
    square = np.maximum((way**2).sum(axis=1), 1e-12)
    along = np.clip(((points[:, None] - start) * way).sum(axis=2) / square, 0.0, 1.0)
    nearest = start + along[:, :, None] * way
    least: Array = np.linalg.norm(points[:, None] - nearest, axis=2).min(axis=1)
    return least


def fits(line: Line, weld: Any) -> bool:
    """Whether a found weld may belong to a line: same pieces, a type and a state of the line's."""
    pairs = {frozenset(pair) for pair in (line.joins, *line.joins_too)}
    return (
        frozenset(weld.joins) in pairs
        and weld.type in (line.kind, *line.kinds)
        and weld.state in (line.state, *line.states)
    )


def faults_of(case: Case, welds: list[Any]) -> list[str]:
    """Everything that is wrong with the finder's answer."""
    faults = []
    sums: dict[int, float] = defaultdict(float)
    openings: dict[int, list[float]] = defaultdict(list)
    for weld in welds:
        points, spans = middles(np.asarray(weld.path))
        spans = spans * (weld.length / spans.sum() if spans.sum() > 0.0 else 0.0)
        rank = np.full((len(case.lines), len(points)), np.inf)
        for k, line in enumerate(case.lines):
            if fits(line, weld):
                off = off_path(points, np.asarray(line.path, dtype=np.float64))
                rank[k] = np.where(off <= line.near, off + NEEDED_FIRST * line.optional, np.inf)
        owner = np.where(np.isfinite(rank.min(axis=0)), rank.argmin(axis=0), -1)
        for k in np.unique(owner):
            mine = float(spans[owner == k].sum())
            if k >= 0:
                sums[int(k)] += mine
                if mine > 0.5 * weld.length:  # else it only meets that line at its end
                    openings[int(k)].append(weld.opening)
            elif mine >= LEAST:
                faults.append(f"invented {mine:.1f} of {weld.type} {'/'.join(sorted(weld.joins))} {weld.state}")
        if any(frozenset(weld.joins) == frozenset(never.joins) for never in case.never) and weld.length >= LEAST:
            faults.append(f"never a weld: {'/'.join(sorted(weld.joins))}")
    for k, line in enumerate(case.lines):
        low, high = line.low or line.length, line.high or line.length
        what = f"{line.kind} {'/'.join(sorted(line.joins))} {line.state}"
        if sums[k] > high * 1.005 + 0.5 or (not line.optional and sums[k] < low * 0.995 - 0.5):
            wanted = f"{low:.1f}" if low == high else f"{low:.1f} to {high:.1f}"
            faults.append(f"{sums[k]:.1f} of {what}, expected {'at most ' if line.optional else ''}{wanted}")
        if line.opening is not None and any(abs(one - line.opening) > 2.0 for one in openings[k]):
            faults.append(f"opening of {what} {openings[k]}, expected {line.opening}")
    return sorted(faults)


@dataclass(frozen=True)
class Seen:
    """A found weld, led back to the frame and the names of the case."""

    joins: tuple[str, str]
    type: str
    state: str
    opening: float
    length: float
    path: Array


def answer(case: Case, dress: str) -> tuple[list[str], float]:
    """Faults of the finder on one case in one dress, and its time in ms."""
    from fixture3d.solid import kernel
    from fixture3d.welding import find_welds

    pieces = case.build()
    back, names = np.eye(4), {name: name for name in pieces}
    if dress == "turned":
        pose = frame.chain(frame.translation((310.0, -170.0, 95.0)), frame.rotation((0.36, -0.48, 0.8), 77.0))
        pieces = {name: kernel.moved(kernel.one_solid(body), pose) for name, body in pieces.items()}
        back = frame.inverse(pose)
    elif dress != "in place":
        if dress == "unnamed":
            names = {f"body {k}": name for k, name in enumerate(list(pieces)[::-1], 1)}
        pieces = dict(TURNS[dress](Dressed(case.name, pieces)).pieces)  # type: ignore[arg-type]
    start = time.perf_counter()
    try:
        found = find_welds(pieces)
    except Exception as error:
        return [f"{type(error).__name__}: {error}"], 0.0
    spent = 1e3 * (time.perf_counter() - start)
    seen = [
        Seen(
            joins=(names[weld.joins[0]], names[weld.joins[1]]),
            type=weld.type,
            state=weld.state,
            opening=weld.opening,
            length=weld.length,
            path=frame.points(back, weld.path),
        )
        for weld in found
    ]
    return faults_of(case, seen), spent


@cache
def solids_only(name: str) -> bool:
    """Whether every piece of a case is a solid of the kernel, which the dresses need; meshes stay as they are."""
    return not any(hasattr(body, "triangles") for body in next(c for c in CASES if c.name == name).build().values())


def asked(dress: str) -> list[Case]:
    """The cases that a dress can be put on and whose answer it does not change."""
    return [
        case
        for case in CASES
        if dress == "in place" or (solids_only(case.name) and not (dress == "jittered" and case.name in AT_THE_LIMIT))
    ]


def test_the_set_is_what_it_claims() -> None:
    assert len(CASES) >= 90
    assert len({case.name for case in CASES}) == len(CASES)
    assert set(KNOWN_WRONG) <= {case.name for case in CASES}
    assert {line.kind for case in CASES for line in case.lines if not line.optional} == {
        "fillet", "butt", "corner", "lap", "edge", "flare",
    }  # fmt: skip


def test_the_scoring_sees_what_is_missing_and_what_is_invented() -> None:
    for case in CASES:
        needed = [line for line in case.lines if not line.optional]
        seen = [
            Seen(line.joins, line.kind, line.state, line.opening or 90.0, line.length, np.asarray(line.path, float))
            for line in needed
        ]
        assert faults_of(case, seen) == [], case.name
        for k, line in enumerate(needed):
            if line.length > 3.0:
                assert faults_of(case, seen[:k] + seen[k + 1 :]), (case.name, k)
    strange = Seen(("a", "b"), "fillet", "open", 90.0, 10.0, np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0]]))
    assert faults_of(CASES[0], [strange])[-1].startswith("invented 10.0 of fillet a/b")


def chosen() -> list[Case]:
    """Every sixth case and all known faults; the whole set at length."""
    return [case for number, case in enumerate(CASES) if LONG or number % 6 == 0 or case.name in KNOWN_WRONG]


@pytest.mark.parametrize("case", chosen(), ids=lambda case: case.name)
def test_welds_of_a_joint(case: Case) -> None:
    faults, _ = answer(case, "in place")
    assert tuple(faults) == KNOWN_WRONG.get(case.name, ())


@pytest.mark.skipif(not LONG, reason="FIXTURE3D_LONG=1 dresses every case")
@pytest.mark.parametrize("dress", [dress for dress in DRESSES if dress != "in place"])
def test_most_are_right_in_every_dress(dress: str) -> None:
    wrong = [case.name for case in asked(dress) if answer(case, dress)[0]]
    assert len(wrong) <= 0.03 * len(asked(dress)), wrong


def main() -> None:
    """Score the whole set in every dress, or in those that are named, and print it."""
    for dress in sys.argv[1:] or DRESSES:
        spent, wrong = [], 0
        for case in asked(dress):
            faults, ms = answer(case, dress)
            spent.append(ms)
            wrong += bool(faults)
            if faults:
                print(f"  {case.name}\n    " + "\n    ".join(faults))
        print(
            f"{dress}: {len(spent) - wrong} of {len(spent)} right; median {statistics.median(spent):.0f} ms", flush=True
        )


if __name__ == "__main__":
    main()
