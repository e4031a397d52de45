"""A small picture of the setup in 3D as SVG: lines only, hidden ones left out, the same bytes each time.

Seen square along one direction, from the front left and above. Which lines can be seen is found on a depth picture of
all front faces; what is drawn are vectors: edges that are sharp, and edges where a face turns away. No GPU is needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.sheet.layout import used_window
from fixture3d.sheet.marks import n, text

_FONT = "DejaVu Sans"
WIDE, HIGH = 60.0, 52.0  # mm of paper that it has at most
MOST_TRIANGLES: Final = 1_000_000
_PER_MM: Final = 14.0  # pixels of the depth picture on a mm of paper
_SHARP: Final = math.cos(math.radians(25.0))  # faces that meet flatter than this show no edge
_STEP: Final = 2.0  # pixels; a line is looked at in pieces of this length
_NEAR: Final = 1.5  # pixels by which a line may lie behind a face and still be on it
_TINY: Final = 1.8  # pixels; shorter edges of blocks are those of bores and roundings: too fine for a small picture
_UNIT: Final = 50.0  # coordinates are whole numbers of so many to a mm of paper
_EYE: Final = frame.unit(np.array([-0.5, -1.0, 0.95]))  # from the middle of the table to the eye
_LINE: Final = {"piece": 0.28, "block": 0.13, "clamp": 0.13, "shim": 0.1}  # mm of paper


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A drawing on paper.

    Attributes:
        svg: the drawing.
        size: width and height, mm of paper.
    """

    svg: str
    size: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """A body as the eye sees it: u to the right, v down, w towards the eye, in pixels; and its front faces."""

    points: Array
    faces: NDArray[np.int32]
    front: NDArray[np.bool_]
    normals: Array
    line: float


def picture(job: Job) -> Picture | None:
    """Draw all blocks, clamps and pieces on the used part of the table; None of an empty or an immense setup."""
    bodies = _drawn_bodies(job)
    if not bodies or left_out(job):
        return None
    to_eye = _to_eye()
    corners = _corners(job)
    worlds = [frame.points(body.body_to_world, body.shape.mesh.vertices) @ to_eye.T for body in bodies]
    flat = corners @ to_eye.T
    every = np.concatenate([*worlds, flat])
    low, high = every.min(axis=0), every.max(axis=0)
    scale = min(WIDE / (high[0] - low[0]), HIGH / (high[1] - low[1])) * _PER_MM
    seen = [_seen(body, (world - low) * scale) for body, world in zip(bodies, worlds, strict=True)]
    wide, tall = (math.ceil(float(side) * scale) + 3 for side in (high - low)[:2])
    behind = _farthest_around(_depth(seen, (tall, wide))) - _NEAR
    out = _table((flat - low) * scale, behind)
    for one in seen:
        path = _path(*_lines(one), behind)
        if path:
            out.append(_drawn(path, one.line))
    out += _datum(job, (flat - low) * scale)
    w, h = wide / _PER_MM, tall / _PER_MM
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{n(w)}mm" height="{n(h)}mm" viewBox="-0.4 -0.4 {n(w + 0.8)} '
        f'{n(h + 0.8)}" font-family="{_FONT}" fill="none" stroke="black" stroke-linejoin="round" '
        'stroke-linecap="round">'
    )
    return Picture(svg="\n".join([head, *out, "</svg>"]), size=(w, h))


def left_out(job: Job) -> str:
    """Why there is no picture of a setup that is too much for one, as a sentence; empty where there is one."""
    count = sum(len(body.shape.mesh.faces) for body in _drawn_bodies(job))
    if count <= MOST_TRIANGLES:
        return ""
    return f"The picture in 3D is left out: the setup has {count:,} triangles, it is drawn of up to {MOST_TRIANGLES:,}."


def _drawn_bodies(job: Job) -> list[Body]:
    return [body for body in job.bodies if body.role in _LINE]


def _to_eye() -> Array:
    """World to right, down, and towards the eye, (3, 3)."""
    right = frame.unit(np.cross((0.0, 0.0, 1.0), _EYE))
    return np.stack([right, -np.cross(_EYE, right), _EYE])


def _corners(job: Job) -> Array:
    """Corners (4, 3) of the part of the table that is drawn, from the front left counter-clockwise."""
    x0, y0, x1, y1 = used_window(job)
    return np.array([[x0, y0, 0.0], [x1, y0, 0.0], [x1, y1, 0.0], [x0, y1, 0.0]])


def _seen(body: Body, points: Array) -> _Seen:
    faces = body.shape.mesh.faces
    a, b, c = (points[faces[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    # v runs down, so that right, down and towards the eye make a left-handed frame: a normal at the eye turns over.
    sizes = np.linalg.norm(normals, axis=1)
    front = -normals[:, 2] > 1e-6 * np.maximum(sizes, 1e-12)
    units = normals / np.maximum(sizes, 1e-12)[:, None]
    return _Seen(points=points, faces=faces, front=front, normals=units, line=_LINE[body.role])


def _depth(seen: Sequence[_Seen], shape: tuple[int, int]) -> Array:
    """How near the eye the nearest front face is in each pixel, (rows, columns); -inf where there is none.

    Each triangle is cut into its rows of pixels, each row into its pixels.
    """
    depth = np.full(shape, -np.inf)
    corners = np.concatenate([one.points[one.faces[one.front]] for one in seen])
    low = np.maximum(np.ceil(corners[:, :, 1].min(axis=1)), 0).astype(np.int64)
    high = np.minimum(np.floor(corners[:, :, 1].max(axis=1)), shape[0] - 1).astype(np.int64)
    of, row = _counted(low, high)
    u, v = corners[of, :, 0], corners[of, :, 1]
    left, right = np.full(len(of), np.inf), np.full(len(of), -np.inf)
    for k in range(3):
        rise = v[:, k - 2] - v[:, k]
        share = (row - v[:, k]) / np.where(rise == 0.0, 1.0, rise)
        across = (rise != 0.0) & (share >= 0.0) & (share <= 1.0)
        cut = u[:, k] + share * (u[:, k - 2] - u[:, k])
        left = np.where(across, np.minimum(left, cut), left)
        right = np.where(across, np.maximum(right, cut), right)
    some = left <= right
    of, row = of[some], row[some]
    low = np.maximum(np.ceil(left[some]), 0).astype(np.int64)
    high = np.minimum(np.floor(right[some]), shape[1] - 1).astype(np.int64)
    span, column = _counted(low, high)
    of, row = of[span], row[span]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    slope = -normal[:, :2] / normal[:, 2:]
    near = corners[of, 0, 2] + slope[of, 0] * (column - corners[of, 0, 0]) + slope[of, 1] * (row - corners[of, 0, 1])
    np.maximum.at(depth, (row, column), near)
    return depth


def _counted(low: NDArray[np.int64], high: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All whole numbers from each ``low`` to its ``high``: which pair each belongs to, and itself."""
    counts = np.maximum(high - low + 1, 0)
    of = np.repeat(np.arange(len(counts)), counts)
    return of, low[of] + np.arange(len(of)) - (np.cumsum(counts) - counts)[of]


def _lines(one: _Seen) -> tuple[Array, Array]:
    """Both ends (n, 3) of the edges of a body that show: sharp ones with a front face, and those of the outline."""
    count = len(one.faces)
    pairs = np.sort(np.concatenate([one.faces[:, [0, 1]], one.faces[:, [1, 2]], one.faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(count), 3)
    order = np.lexsort((pairs[:, 1], pairs[:, 0]))
    pairs, owner = pairs[order], owner[order]
    # The mesh is closed: the two faces of an edge stand next to each other now.
    same = np.flatnonzero((pairs[:-1] == pairs[1:]).all(axis=1))
    f, g = owner[same], owner[same + 1]
    bent = np.einsum("ij,ij->i", one.normals[f], one.normals[g]) < _SHARP
    shows = (one.front[f] != one.front[g]) | (bent & (one.front[f] | one.front[g]))
    ends = pairs[same[shows]]
    start, end = one.points[ends[:, 0]], one.points[ends[:, 1]]
    if one.line < _LINE["piece"]:
        long = np.linalg.norm((end - start)[:, :2], axis=1) >= _TINY
        start, end = start[long], end[long]
    return start, end


def _path(start: Array, end: Array, behind: Array) -> str:
    """The parts of some lines (n, 3) that no face hides, as an SVG path in parts of a mm of paper.

    Args:
        start: one end of each, pixels.
        end: the other.
        behind: of each pixel, how near a line must be there to be seen.
    """
    steps = np.maximum(1, np.ceil(np.linalg.norm((end - start)[:, :2], axis=1) / _STEP)).astype(np.int64)
    whose = np.repeat(np.arange(len(steps)), steps)
    first = np.cumsum(steps) - steps
    nth = np.arange(len(whose)) - first[whose]
    at = start[whose] + ((nth + 0.5) / steps[whose])[:, None] * (end - start)[whose]
    column = np.clip(np.rint(at[:, 0]).astype(np.int64), 0, behind.shape[1] - 1)
    row = np.clip(np.rint(at[:, 1]).astype(np.int64), 0, behind.shape[0] - 1)
    free = at[:, 2] >= behind[row, column]
    # A stretch begins where a free piece follows a hidden one or is the first of its line, and ends likewise.
    begins = np.flatnonzero(free & ((nth == 0) | ~np.roll(free, 1)))
    ends = np.flatnonzero(free & ((nth == steps[whose] - 1) | ~np.roll(free, -1)))
    line = whose[begins]
    way = (end - start)[line, :2]
    one = (start[line, :2] + (nth[begins] / steps[line])[:, None] * way) / _PER_MM
    two = (start[line, :2] + ((nth[ends] + 1) / steps[line])[:, None] * way) / _PER_MM
    drawn = np.rint(np.concatenate([one, two - one], axis=1) * _UNIT).astype(np.int64)
    return "".join(f"M{u} {v}l{s} {t}" for u, v, s, t in drawn.tolist())


def _drawn(path: str, line: float) -> str:
    return f'<path d="{path}" transform="scale({n(1.0 / _UNIT)})" stroke-width="{n(line * _UNIT)}"/>'


def _farthest_around(depth: Array) -> Array:
    """In each pixel the depth of what lies farthest within two pixels, so that outlines do not hide themselves."""
    out = depth.copy()
    for axis in (0, 1, 0, 1):
        one = np.moveaxis(out, axis, 0)
        low = one.copy()
        low[1:] = np.minimum(low[1:], one[:-1])
        low[:-1] = np.minimum(low[:-1], one[1:])
        out = np.moveaxis(low, 0, axis)
    return out


def _table(corners: Array, behind: Array) -> list[str]:
    """The border of the part of the table that is drawn."""
    path = _path(corners, np.roll(corners, -1, axis=0), behind)
    return [_drawn(path, 0.1)] if path else []


def _datum(job: Job, corners: Array) -> list[str]:
    """Where A1 is, when it is at a corner of what is drawn."""
    x0, y0, x1, y1 = used_window(job)
    at = np.asarray(job.table.xy(0, 0))
    near = [max(abs(float(at[0]) - x) / job.table.pitch[0], abs(float(at[1]) - y) / job.table.pitch[1])
            for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]  # fmt: skip
    k = int(np.argmin(near))
    if near[k] > 1.6:
        return []
    u, v = corners[k, :2] / _PER_MM
    middle = corners[:, :2].mean(axis=0) / _PER_MM
    return [text(u + 0.07 * (middle[0] - u), v + 0.07 * (middle[1] - v), "A1", 2.3)]
