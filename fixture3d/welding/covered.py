r"""Where a third piece lies over a line that two others make, or comes between them: that line is not theirs there.

::

          | wall
          |__               The gusset fills the corner of wall and base over its own thickness: the line of these two
          | /| gusset       ends at one of its sides and begins again at the other. A hole in its corner leaves the line
     _____|/_|              free: what counts is whether the space just before the root is filled.
       base

     A | C                  Three pieces that meet in one line: the open groove is the one between the faces of B and C,
     __|______              and the line is theirs. Behind it A meets B and C in the same line, but C stands before the
     B |                    one and B before the other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.flare import Flare
from fixture3d.welding.runs import Run
from fixture3d.welding.section import RETRY, Opening, axes, crossed, cut
from fixture3d.welding.surface import Surface

Mask = NDArray[np.bool_]
Looks = Sequence[tuple[float, Opening]]

_RADII: Final = (0.35, 1.0, 2.0, 3.0)  # mm from the root: beyond both gaps of a third piece, and nowhere past a wall
_MOUTH: Final = (0.5, 1.5)  # the same for flares, times the distance of the mouth
_VALLEY: Final = 2.3  # the second of these between two rounds: what lies on both is that far off at its sides
_BETWEEN: Final = 60.0  # degrees; a flare between two rounds opens by more, one on a flat by less
_FAN: Final = 36  # directions of the open space that are looked at
_STEP: Final = 0.9  # mm along a line: less than the thinnest wall
_INSET: Final = 0.004  # mm from the ends of a line
_ROUNDS: Final = 4  # of narrowing down, each to a fifth
_PARTS: Final = 5


def uncovered(runs: Sequence[Run], thirds: Sequence[Surface], gap: float) -> list[Run]:
    """The runs without the stretches over which one of ``thirds`` lies, or comes to the root between both pieces.

    Args:
        runs: of one pair.
        thirds: the other pieces.
        gap: greatest root gap of a weld, mm: a third piece so near makes a line of its own with each.
    """
    out: list[Run] = []
    for run in runs:
        path = run.path()
        near = _near(thirds, path)
        if not near:
            out.append(run)
            continue
        places = np.array([s for s, _ in run.seen])
        looks = run.seen[1:-1] if len(run.seen) > 3 else run.seen  # at a corner the circle looks past the pieces

        def hidden(s: Array, run: Run = run, near: Sequence[Surface] = near, looks: Looks = looks) -> Mask:
            points, tangents = run.chain.at(s % run.chain.length if run.chain.closed else s)
            at = np.array([place for place, _ in looks])
            seen = [looks[int(np.abs(at - one).argmin())][1] for one in s]
            bisectors = np.stack([o.bisector for o in seen])
            return covered(points, tangents, bisectors, np.array([o.opening for o in seen]), near, gap=gap)

        spans = _free(run.start, run.end, hidden)
        if spans == [(run.start, run.end)]:
            out.append(run)
            continue
        for start, end in spans:
            mine = tuple(one for one in run.seen if start <= one[0] <= end)
            if not mine:
                mine = (run.seen[int(np.abs(places - (start + end) / 2.0).argmin())],)
                mine = (((start + end) / 2.0, mine[0][1]),)
            out.append(replace(run, start=start, end=end, seen=mine))
    return out


def uncovered_flares(found: Sequence[Flare], thirds: Sequence[Surface]) -> list[Flare]:
    """The same for flares, whose open space is looked at from where it begins to where the rounds have turned away."""
    out: list[Flare] = []
    for one in found:
        deep = float(np.linalg.norm(one.mouth))
        first, last = _MOUTH[0] * deep, (_VALLEY if one.opening > _BETWEEN else _MOUTH[1]) * deep
        radii = np.linspace(first, last, 3 + int((last - first) / 2.0))
        near = _near(thirds, one.path, reach=float(radii[-1]))
        if not near or one.length < _STEP:
            out.append(one)
            continue
        tangent = (one.path[1] - one.path[0]) / one.length

        def hidden(
            s: Array, one: Flare = one, near: Sequence[Surface] = near, tangent: Array = tangent, radii: Array = radii
        ) -> Mask:
            points = one.path[0] + s[:, None] * tangent
            tangents = np.broadcast_to(tangent, points.shape)
            bisectors = np.broadcast_to(one.bisector, points.shape)
            return covered(points, tangents, bisectors, np.full(len(s), one.opening), near, radii)

        for start, end in _free(0.0, one.length, hidden):
            out.append(replace(one, path=one.path[0] + np.array([[start], [end]]) * tangent))
    return out


def _near(thirds: Sequence[Surface], path: Array, reach: float = _RADII[-1]) -> list[Surface]:
    low, high = path.min(axis=0) - reach, path.max(axis=0) + reach
    return [s for s in thirds if (s.box[0] <= high).all() and (s.box[1] >= low).all()]


def _free(start: float, end: float, hidden: Callable[[Array], Mask]) -> list[tuple[float, float]]:
    """The parts of a line from ``start`` to ``end`` that are not hidden; stubs no longer than a root gap are left out.

    Args:
        start: mm.
        end: mm.
        hidden: for places (k,) whether each is.
    """
    inset = min(_INSET, (end - start) / 4.0)
    places = np.linspace(start + inset, end - inset, max(2, int(np.ceil((end - start) / _STEP)) + 1))
    there = hidden(places)
    if not there.any():
        return [(start, end)]
    if there.all():
        return []
    turns = np.flatnonzero(there[1:] != there[:-1])
    low, high, first = places[turns], places[turns + 1], there[turns]
    for _ in range(_ROUNDS):
        share = np.arange(1, _PARTS) / _PARTS
        inner = low[:, None] + share * (high - low)[:, None]
        alike = hidden(inner.reshape(-1)).reshape(inner.shape) == first[:, None]
        steps = np.where(alike.all(axis=1), _PARTS - 1, alike.argmin(axis=1))
        width = (high - low) / _PARTS
        low, high = low + steps * width, low + (steps + 1) * width
    marks = [start, *((low + high) / 2.0).tolist(), end]
    free = [not bool(there[0])]
    for _ in turns:
        free.append(not free[-1])
    return [(a, b) for (a, b), so in zip(pairwise(marks), free, strict=True) if so and b - a > JOINTS.gap]


def covered(
    points: Array,
    tangents: Array,
    bisectors: Array,
    openings: Array,
    thirds: Sequence[Surface],
    radii: Sequence[float] | Array = _RADII,
    gap: float | None = None,
) -> Mask:
    """Whether third pieces fill the open space before each root, but for less than the least opening.

    With a gap also whether they fill the least opening or more of it right at the root: the space then lies between
    a third piece and one of the two, or both.

    Args:
        points: roots (n, 3), mm.
        tangents: unit (n, 3).
        bisectors: unit (n, 3), into the open space.
        openings: degrees (n,).
        thirds: the other pieces.
        radii: mm from the roots at which it is looked.
        gap: greatest root gap of a weld, mm.
    """
    reach = 1.1 * float(radii[-1])
    u, w = axes(tangents)
    middle = np.arctan2(np.einsum("ij,ij->i", bisectors, w), np.einsum("ij,ij->i", bisectors, u))
    share = (np.arange(_FAN) + 0.5) / _FAN - 0.5
    angles = (middle[:, None] + np.deg2rad(openings)[:, None] * share) % (2.0 * np.pi)
    filled, between = np.zeros(angles.shape, dtype=bool), np.zeros(angles.shape, dtype=bool)
    for third in thirds:
        box = np.stack([points.min(axis=0), points.max(axis=0)]) + np.array([[-1.0], [1.0]]) * reach
        chosen = third.within(box)
        if not len(chosen):
            continue
        lines = cut(third, chosen, points, tangents, reach)
        for radius in radii:
            todo = np.arange(len(points))
            for factor in RETRY:
                rows = crossed(third, lines, u, w, np.full(len(points), factor * radius))
                failed = []
                for sample in np.intersect1d(rows[:, 0].astype(int), todo).tolist():
                    inside = _inside(rows[rows[:, 0] == sample], angles[sample])
                    if inside is None:
                        failed.append(sample)
                    else:
                        filled[sample] |= inside
                        if gap is not None and radius <= max(gap, radii[0]):
                            between[sample] |= inside
                if not failed:
                    break
                todo = np.array(failed)
    out = np.zeros(len(points), dtype=bool)
    for k in np.flatnonzero(filled.any(axis=1)).tolist():
        marks = np.flatnonzero(np.concatenate([[True], filled[k], [True]]))
        part = float(openings[k]) / _FAN
        least = min(JOINTS.least, openings[k] / 2.0)
        out[k] = (int(np.diff(marks).max()) - 1) * part < least or int(between[k].sum()) * part >= least
    return out


def _inside(rows: Array, angles: Array) -> Mask | None:
    """Which angles (k,) of a circle lie in the material that it crosses; None where it runs through a corner."""
    around = rows[:, 1] % (2.0 * np.pi)
    order = np.argsort(around)
    senses = rows[order, 2]
    if (senses == np.roll(senses, 1)).any():
        return None
    inside: Mask = senses[np.searchsorted(around[order], angles, side="right") - 1] < 0.0  # the last crossing enters
    return inside
