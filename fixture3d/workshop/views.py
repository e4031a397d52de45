"""Views of a solid: what is seen and what is hidden, by projection of the solid itself, as lines and arcs in mm."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal

from fixture3d.tolerance import DRAWING
from fixture3d.workshop.solid_facts import Facts, Spot, others

Name = Literal["front", "top", "right"]


@dataclass(frozen=True, kw_only=True)
class Look:
    """From where a view is taken.

    Attributes:
        name: of the view.
        right, up: axes of the model that run to the right and up on paper, both in their own direction.
        away: the axis that the view looks along.
    """

    name: Name
    right: int
    up: int
    away: int


LOOKS: Final[dict[Name, Look]] = {
    "front": Look(name="front", right=0, up=2, away=1),
    "top": Look(name="top", right=0, up=1, away=2),
    "right": Look(name="right", right=1, up=2, away=0),
}
_ALONG: Final[dict[int, Name]] = {1: "front", 2: "top", 0: "right"}


@dataclass(frozen=True)
class Stroke:
    """One line, arc or curve of a view, mm.

    Attributes:
        kind: ``"line"``, ``"arc"`` (whole circles too) or ``"curve"``.
        points: ends of a line; of a curve all its points; of an arc its ends.
        hidden: it lies behind something.
        centre, radius: of an arc.
        turn: degrees from the first end of an arc, counter-clockwise, and how far; 360 for a circle.
    """

    kind: Literal["line", "arc", "curve"]
    points: tuple[Spot, ...]
    hidden: bool
    centre: Spot = (0.0, 0.0)
    radius: float = 0.0
    turn: Spot = (0.0, 0.0)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1."""
        points = list(self.points)
        if self.kind == "arc":
            start, sweep = self.turn
            for quarter in range(0, 720, 90):
                if start - 1e-9 <= quarter <= start + sweep + 1e-9:
                    a = math.radians(quarter)
                    points.append(
                        (self.centre[0] + self.radius * math.cos(a), self.centre[1] + self.radius * math.sin(a))
                    )
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        return min(xs), min(ys), max(xs), max(ys)


def needed(facts: Facts) -> tuple[Name, ...]:
    """The views that show every feature in its true shape, and no more.

    A view along an axis is needed where something round has that axis, where a flat is inclined about it, or where a
    re-entrant corner runs along it. Two views at least, because each lacks one measure; turned work takes one, and so
    does a thin plate.
    """
    if facts.turned is not None:
        return ("right",) if facts.turned[0] == 1 else ("front",)
    axes = {r.axis for r in facts.rounds} | set(facts.folds)
    axes |= {f.runs_along for f in facts.flats if f.runs_along is not None}
    if any(f.square_to is None and f.runs_along is None for f in facts.flats):
        axes |= {0, 1, 2}
    if axes == {2} and facts.high[2] - facts.low[2] <= DRAWING.thin and _even(facts):
        return ("top",)
    chosen = {_ALONG[a] for a in axes}
    if chosen == {"top", "right"}:  # the two are laid out about the front
        chosen.add("front")
    if len(chosen) < 2:
        chosen |= {"front", "right"} if chosen == {"right"} else {"front", "top"}
    return tuple(name for name in ("front", "top", "right") if name in chosen)


def _even(facts: Facts) -> bool:
    """Whether a plate is as thick everywhere: nothing begins or ends within its thickness."""
    ends = (facts.low[2], facts.high[2])
    levels = {f.corners[0][2] for f in facts.flats if f.square_to == 2} | {v for r in facts.rounds for v in r.span}
    return all(min(abs(v - e) for e in ends) < 1e-6 for v in levels)


def project(shape: Any, look: Look) -> list[Stroke]:
    """All strokes of a view, seen ones first, in a fixed order; smooth seams are left out.

    Args:
        shape: a ``TopoDS_Shape``.
        look: from where.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Copy
    from OCP.BRepLib import BRepLib
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.HLRAlgo import HLRAlgo_Projector
    from OCP.HLRBRep import HLRBRep_Algo, HLRBRep_HLRToShape

    toward = {"front": (0.0, -1.0, 0.0), "top": (0.0, 0.0, 1.0), "right": (1.0, 0.0, 0.0)}[look.name]
    right = [0.0, 0.0, 0.0]
    right[look.right] = 1.0
    smooth = BRepBuilderAPI_Copy(shape, False).Shape()
    BRepLib.EncodeRegularity_s(smooth, 1e-6)  # else edges where a flat runs on into a round count as sharp ones
    algorithm = HLRBRep_Algo()
    algorithm.Add(smooth)
    algorithm.Projector(HLRAlgo_Projector(gp_Ax2(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(*toward), gp_Dir(*right))))
    algorithm.Update()
    algorithm.Hide()
    found = HLRBRep_HLRToShape(algorithm)
    seen = [*_strokes(found.VCompound(), False), *_strokes(found.OutLineVCompound(), False)]
    behind = [*_strokes(found.HCompound(), True), *_strokes(found.OutLineHCompound(), True)]
    return tidied([*seen, *behind])


def tidied(strokes: Iterable[Stroke]) -> list[Stroke]:
    """Each stroke once, joined where they meet, and no hidden one under a seen one."""
    every = list(strokes)
    seen = _joined(s for s in every if not s.hidden)
    return seen + _uncovered(_joined(s for s in every if s.hidden), seen)


def _strokes(compound: Any, hidden: bool) -> Iterable[Stroke]:
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepLib import BRepLib
    from OCP.GeomAbs import GeomAbs_CurveType
    from OCP.TopAbs import TopAbs_EDGE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    if compound is None or compound.IsNull():
        return
    BRepLib.BuildCurves3d_s(compound)
    explorer = TopExp_Explorer(compound, TopAbs_EDGE)
    while explorer.More():
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(explorer.Current()))
        explorer.Next()
        a, b = curve.FirstParameter(), curve.LastParameter()
        first, last = _spot(curve.Value(a)), _spot(curve.Value(b))
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Line:
            if math.dist(first, last) > 1e-5:
                yield Stroke("line", tuple(sorted((first, last))), hidden)
            continue
        if curve.GetType() == GeomAbs_CurveType.GeomAbs_Circle:
            circle = curve.Circle()
            centre, radius = _spot(circle.Location()), round(circle.Radius(), 6)
            yield _arc(centre, radius, first, last, _spot(curve.Value((a + b) / 2.0)), b - a, hidden)
            continue
        points = tuple(_spot(curve.Value(a + (b - a) * n / 24.0)) for n in range(25))
        flat = max(abs(_off(p, points[0], points[-1])) for p in points) < 1e-5
        if math.dist(points[0], points[-1]) > 1e-5 and flat:
            yield Stroke("line", tuple(sorted((points[0], points[-1]))), hidden)
        elif not flat:
            yield _curve_or_arc(points, hidden)


def _curve_or_arc(points: tuple[Spot, ...], hidden: bool) -> Stroke:
    """Arcs that the kernel gives as free curves are told by their points."""
    (ax, ay), (bx, by), (cx, cy) = points[0], points[8], points[16]
    d = 2.0 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by))
    if abs(d) > 1e-9:
        a2, b2, c2 = ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy
        x = (a2 * (by - cy) + b2 * (cy - ay) + c2 * (ay - by)) / d
        y = (a2 * (cx - bx) + b2 * (ax - cx) + c2 * (bx - ax)) / d
        r = math.dist((x, y), points[0])
        if all(abs(math.dist((x, y), p) - r) < 5e-4 for p in points):
            sweep = sum(_between((x, y), p, q) for p, q in itertools.pairwise(points))
            centre = (round(x, 3) + 0.0, round(y, 3) + 0.0)
            return _arc(centre, round(r, 3), points[0], points[-1], points[12], abs(sweep), hidden)
    return Stroke("curve", points if points[0] <= points[-1] else points[::-1], hidden)


def _between(centre: Spot, p: Spot, q: Spot) -> float:
    a = math.atan2(p[1] - centre[1], p[0] - centre[0])
    b = math.atan2(q[1] - centre[1], q[0] - centre[0])
    return (b - a + math.pi) % (2.0 * math.pi) - math.pi


def _arc(centre: Spot, radius: float, first: Spot, last: Spot, middle: Spot, sweep: float, hidden: bool) -> Stroke:
    if sweep > 2.0 * math.pi - 1e-6:
        right = (centre[0] + radius, centre[1])
        return Stroke("arc", (right, right), hidden, centre, radius, (0.0, 360.0))
    way = [math.degrees(math.atan2(p[1] - centre[1], p[0] - centre[0])) for p in (first, middle, last)]
    if (way[1] - way[0]) % 360.0 > (way[2] - way[0]) % 360.0:  # it runs clockwise
        first, last, way = last, first, way[::-1]
    start = round(way[0] % 360.0, 6) % 360.0
    return Stroke("arc", (first, last), hidden, centre, radius, (start, round(math.degrees(sweep), 6)))


def _spot(point: Any) -> Spot:
    return round(point.X(), 6) + 0.0, round(point.Y(), 6) + 0.0


def _off(p: Spot, a: Spot, b: Spot) -> float:
    long = math.dist(a, b)
    return ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) / long if long > 1e-9 else math.dist(p, a)


def _joined(strokes: Iterable[Stroke]) -> list[Stroke]:
    """Lines on one line put together where they meet, arcs of one circle likewise, each once, in a fixed order."""
    lines: dict[tuple[float, float, float], list[Spot]] = defaultdict(list)
    exact: dict[tuple[float, float, float], tuple[float, float, float]] = {}
    arcs: dict[tuple[Spot, float], list[Spot]] = defaultdict(list)
    rest: set[Stroke] = set()
    hidden = False
    for stroke in strokes:
        hidden = stroke.hidden
        if stroke.kind == "line":
            line = _line(stroke.points)
            key = _rounded(line)
            own = exact.setdefault(key, line)
            lines[key].append(_run(own, stroke.points))
        elif stroke.kind == "arc":
            arcs[(_near(stroke.centre), round(stroke.radius, 4))].append((stroke.turn[0], sum(stroke.turn)))
        else:
            rest.add(stroke)
    out = [_from_run(exact[key], a, b, hidden) for key in sorted(lines) for a, b in _union(lines[key])]
    for (centre, radius), runs in sorted(arcs.items()):
        out += _arcs(centre, radius, runs, hidden)
    return out + sorted(rest, key=lambda s: s.points)


def _near(spot: Spot) -> Spot:
    return round(spot[0], 4) + 0.0, round(spot[1], 4) + 0.0


def _arcs(centre: Spot, radius: float, runs: list[Spot], hidden: bool) -> Iterable[Stroke]:
    whole = _union([(a - turn, b - turn) for a, b in runs for turn in (-360.0, 0.0, 360.0)], 1e-4)
    for a, b in whole:
        if b - a >= 360.0 - 1e-4:
            right = (centre[0] + radius, centre[1])
            yield Stroke("arc", (right, right), hidden, centre, radius, (0.0, 360.0))
            return
        if 0.0 - 1e-9 <= a < 360.0 - 1e-9:
            ends = [
                (centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in map(math.radians, (a, b))
            ]
            yield Stroke("arc", tuple(ends), hidden, centre, radius, (a, b - a))


def _line(points: tuple[Spot, ...]) -> tuple[float, float, float]:
    """Direction and offset of the line through two points."""
    (x0, y0), (x1, y1) = points[0], points[-1]
    long = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / long, (y1 - y0) / long
    if ux < -1e-9 or (abs(ux) <= 1e-9 and uy < 0.0):
        ux, uy = -ux, -uy
    return ux, uy, ux * y0 - uy * x0


def _rounded(line: tuple[float, float, float]) -> tuple[float, float, float]:
    """The same for all stretches of one line."""
    return round(line[0], 5) + 0.0, round(line[1], 5) + 0.0, round(line[2], 4) + 0.0


def _run(line: tuple[float, float, float], points: tuple[Spot, ...]) -> Spot:
    a, b = sorted(line[0] * x + line[1] * y for x, y in points)
    return a, b


def _from_run(line: tuple[float, float, float], a: float, b: float, hidden: bool) -> Stroke:
    ux, uy, off = line
    ends = [(round(ux * t - uy * off, 5) + 0.0, round(uy * t + ux * off, 5) + 0.0) for t in (a, b)]
    return Stroke("line", tuple(ends), hidden)


def _union(runs: Iterable[Spot], slack: float = 1e-4) -> list[Spot]:
    out: list[Spot] = []
    for a, b in sorted(runs):
        if out and a <= out[-1][1] + slack:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return out


def _less(run: Spot, covers: Iterable[Spot]) -> list[Spot]:
    left = [run]
    for c, d in covers:
        left = [piece for a, b in left for piece in ((a, min(b, c)), (max(a, d), b)) if piece[1] - piece[0] > 1e-3]
    return left


def _uncovered(hidden: list[Stroke], seen: list[Stroke]) -> list[Stroke]:
    """Hidden strokes less those stretches that lie under a seen one."""
    lines: dict[tuple[float, float, float], list[Spot]] = defaultdict(list)
    arcs: dict[tuple[Spot, float], list[Spot]] = defaultdict(list)
    for stroke in seen:
        if stroke.kind == "line":
            line = _line(stroke.points)
            lines[_rounded(line)].append(_run(line, stroke.points))
        elif stroke.kind == "arc":
            runs = arcs[(_near(stroke.centre), round(stroke.radius, 4))]
            runs += [(stroke.turn[0] + t, sum(stroke.turn) + t) for t in (-360.0, 0.0, 360.0)]
    out: list[Stroke] = []
    for stroke in hidden:
        if stroke.kind == "line":
            line = _line(stroke.points)
            left = _less(_run(line, stroke.points), lines.get(_rounded(line), []))
            out += [_from_run(line, a, b, True) for a, b in left]
        elif stroke.kind == "arc":
            circle = (_near(stroke.centre), round(stroke.radius, 4))
            left = _less((stroke.turn[0], sum(stroke.turn)), arcs.get(circle, []))
            out += [one for run in left for one in _arcs(stroke.centre, stroke.radius, [run], True)]
        else:
            out.append(stroke)
    return out


def shadow(strokes: Iterable[Stroke]) -> tuple[float, float, float, float]:
    """The box of a view, mm."""
    boxes = [s.box for s in strokes]
    return min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes)


def across(look: Look) -> tuple[int, int]:
    """The two axes that a view shows, in the order of :func:`others`."""
    return others(look.away)
