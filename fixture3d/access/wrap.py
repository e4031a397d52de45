"""Corners of a path, and passes on top of passes: two questions that are asked again at the same places.

Whether the torch can be carried round a corner: between the last point before it and the first point after it the
weld's frame is turned about the corner in steps, and a chain of free positions must lead through them all, with one
way of travel, just as along a run.

Whether a later pass can be run: the passes before it lie in the joint. They are taken as of equal area, so that all
but the last of n leave a bead of ``size * sqrt((n - 1) / n)`` leg; the arc stands on the middle of its flat face, so
the torch is that much farther out, and the bead is in the nozzle's way. Butt and edge welds are filled below their
face: there a later pass is judged as the first.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fixture3d.access.arrays import Array, Bytes
from fixture3d.access.position import face_middles
from fixture3d.access.runs import borders, least_runs
from fixture3d.access.welds import Weld, WeldPoints
from fixture3d.access.window import Window
from fixture3d.frame import rotation
from fixture3d.tolerance import JOINTS

if TYPE_CHECKING:
    from collections.abc import Callable

    from fixture3d.access.obstacles import Body


CORNER_STEP = 15.0
"""Degrees between two frames that are tried on the way round a corner."""
SINGLE_PASS = 8.0
"""Leg, mm, up to which a fillet is run in one pass when the file does not say: 5/16 in, AWS D1.1, from memory."""


def between(before: Array, after: Array) -> Array | None:
    """Frames (m, 3, 3) from one to another, both included, no more than ``CORNER_STEP`` apart.

    None when one is the mirror image of the other, or they are turned by half a turn: no one way leads round.
    """
    turn = after @ before.T
    if np.linalg.det(turn) < 0.0:
        return None
    axis = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    sine = float(np.linalg.norm(axis)) / 2.0
    angle = math.degrees(math.atan2(sine, (float(np.trace(turn)) - 1.0) / 2.0))
    if sine < 1e-6:
        return np.stack([before, after]) if angle < 90.0 else None
    count = max(1, math.ceil(angle / CORNER_STEP - 1e-9))
    return np.stack([rotation(axis, angle * k / count)[:3, :3] @ before for k in range(count + 1)])


def corners(
    weld: WeldPoints, window: Window, free: Bytes, ask: Callable[[WeldPoints], Bytes]
) -> tuple[tuple[float, bool], ...]:
    """Where a path turns a corner, mm along it, and whether the torch can be carried round without a stop.

    Args:
        weld: its points.
        window: the positions.
        free: (k, W, L, R) verdicts at its points.
        ask: gives the verdicts at other points.
    """
    ends = borders(weld)
    out = []
    for k in np.flatnonzero(~weld.joined):
        frames = between(weld.frames[k], weld.frames[k + 1])
        round_it = False
        if frames is not None and free[k].any() and free[k + 1].any():
            count = len(frames)
            at = WeldPoints(
                points=np.repeat(weld.points[k][None], count, axis=0),
                frames=frames,
                lengths=np.zeros(count),
                along=np.full(count, weld.along[k]),
                joined=np.ones(count - 1, dtype=np.bool_),
            )
            verdicts = free[[k] * count].copy()
            verdicts[-1] = free[k + 1]
            if count > 2:
                verdicts[1:-1] = ask(at)[1:-1]
            runs = least_runs(verdicts, at, window)
            round_it = len(runs) == 1 and runs[0].first == 0 and runs[0].last == count - 1
        out.append((round(float(ends[k + 1]), 6), round_it))
    return tuple(out)


def passes_of(weld: Weld) -> int:
    """How many passes a weld takes: as the file says, or two for a leg above ``SINGLE_PASS``."""
    return weld.passes or (2 if weld.size > SINGLE_PASS else 1)


def on_the_bead(weld: Weld, points: WeldPoints) -> tuple[WeldPoints, Body] | None:
    """The points of the last pass and the bead beneath it as an open surface; None when there is one pass only.

    The bead's section is the triangle of the root and a point at the leg's distance on each face. In a joint whose arc
    is aimed away from the root the bead stands square to that way, as far out as the aim at least.
    """
    passes = passes_of(weld)
    if passes < 2 or not weld.size > 0.0 or weld.type in ("butt", "edge"):
        return None
    leg = weld.size * math.sqrt((passes - 1.0) / passes)
    middles = face_middles(weld, points)
    normals, sides = points.frames[:, :, 2], points.frames[:, :, 1]
    half = np.arctan2(np.einsum("ij,ij->i", middles, sides), np.einsum("ij,ij->i", middles, normals))
    one = points.roots + leg * sides
    other = points.roots + leg * (np.sin(2.0 * half)[:, None] * normals - np.cos(2.0 * half)[:, None] * sides)
    if points.aims is not None:
        one, other = _aimed(points, leg * np.cos(half))
    count = len(points.points)
    faces = [
        corner
        for k in range(count - 1)
        if points.joined[k]
        for corner in ((k, k + 1, count + k), (k + 1, count + k + 1, count + k))
    ]
    bead = (f"bead of {weld.name}", np.vstack([one, other]), np.array(faces, dtype=np.int64).reshape(-1, 3), False)
    raised = WeldPoints(
        points=(one + other) / 2.0,
        frames=points.frames,
        lengths=points.lengths,
        along=points.along,
        joined=points.joined,
        aims=None if points.aims is None else (one + other) / 2.0 - points.roots,
    )
    return raised, bead


def _aimed(points: WeldPoints, throat: Array) -> tuple[Array, Array]:
    """Both edges of a bead on whose middle the arc stands where it is aimed away from the root, (k, 3) each.

    Args:
        points: with their aims.
        throat: (k,) how far the middle of the bead's face is from the root, mm.
    """
    assert points.aims is not None
    size = np.linalg.norm(points.aims, axis=1)
    out = np.maximum(size, throat)
    way = points.aims / np.maximum(size, 1e-9)[:, None]
    across = np.cross(points.frames[:, :, 0], way)
    # As wide as the opening, that of a ball at the aim.
    half = JOINTS.aim * out / np.maximum(size, 1e-9)
    half = np.minimum(half, out)
    middle = points.roots + out[:, None] * way
    return middle + half[:, None] * across, middle - half[:, None] * across
