"""What a drawing has to say of a solid: its flats, its round features, its broken edges and its teeth.

Everything is read from the faces of the solid itself, in its model frame, mm. Nothing here knows a model.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

from fixture3d.tolerance import DRAWING

Vec = tuple[float, float, float]
Spot = tuple[float, float]
AXES: Final = "XYZ"


@dataclass(frozen=True, kw_only=True)
class Flat:
    """A plane face.

    Attributes:
        normal: out of the material, unit.
        corners: of its boundary.
        round_only: its boundary is circles and nothing else, as the end of a pin.
    """

    normal: Vec
    corners: tuple[Vec, ...]
    round_only: bool

    @property
    def square_to(self) -> int | None:
        """The axis that it is square to."""
        return next((k for k in range(3) if abs(abs(self.normal[k]) - 1.0) < _SAME), None)

    @property
    def runs_along(self) -> int | None:
        """The one axis that lies in it, if it is inclined in the plane square to that axis."""
        zero = [k for k in range(3) if abs(self.normal[k]) < _SAME]
        return zero[0] if len(zero) == 1 else None

    @property
    def trace(self) -> tuple[Spot, Spot]:
        """Ends of the line that an inclined face is, seen along the axis that lies in it."""
        k = self.runs_along
        assert k is not None
        i, j = others(k)
        spots = sorted({(_snap(c[i]), _snap(c[j])) for c in self.corners})
        way = (-self.normal[j], self.normal[i])
        spots.sort(key=lambda p: p[0] * way[0] + p[1] * way[1])
        return spots[0], spots[-1]


@dataclass(frozen=True, kw_only=True)
class Round:
    """A cylinder or cone about an axis of the frame.

    Attributes:
        axis: 0, 1 or 2.
        at: centre, in the two other coordinates in their order.
        radius: at ``span[0]``.
        end_radius: at ``span[1]``; the same but for a cone.
        span: along the axis.
        hollow: it is a bore and not a pin.
        full: it goes all round.
        ends: of a bore, whether each end is open.
        through: a bore that may be drilled right through the box without touching other material.
        point: of a bore that ends in steel, whether a drill's point has room past its end.
        far: other centre of a slot with round ends; None for all else.
        legs: of the broken edge of 45 degrees at each end, which the span includes; 0 for none.
    """

    axis: int
    at: Spot
    radius: float
    end_radius: float
    span: Spot
    hollow: bool
    full: bool
    ends: tuple[bool, bool] = (False, False)
    through: bool = False
    point: bool = False
    far: Spot | None = None
    legs: Spot = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Teeth:
    """A serration: straight teeth along one axis, seen along another.

    Attributes:
        along: axis that the teeth follow each other on.
        seen: axis that they run along.
        pitch: tooth to tooth.
        angle: between the flanks, degrees.
        crest: coordinate of the tips on the third axis.
        root: of the roots.
        crest_flat: width of the flat on the tips, 0 for sharp ones.
        root_flat: width in the roots.
        middle: of one crest, on ``along``.
        start: first and last coordinate of the toothed stretch.
    """

    along: int
    seen: int
    pitch: float
    angle: float
    crest: float
    root: float
    crest_flat: float
    root_flat: float
    middle: float
    start: Spot


@dataclass(frozen=True, kw_only=True)
class Facts:
    """All of it.

    Attributes:
        low, high: corners of the box.
        flats: plane faces but for broken edges and teeth.
        rounds: in a fixed order.
        leg: of the broken edges, 0 where none are.
        broken: box edges that are broken, as pairs of faces: ``(axis, side, axis, side)``.
        patches: box corners that are cut flat where three broken edges meet, as three sides.
        chamfers: traces of other broken edges of the same size: axis seen along, and the two ends.
        teeth: serrations.
        turned: axis that everything is round about, and its place; None for other work.
        folds: axes that a re-entrant corner runs along.
        odd: number of faces that are not described above.
        volume: mm3.
        area: mm2, of the surface.
    """

    low: Vec
    high: Vec
    flats: tuple[Flat, ...]
    rounds: tuple[Round, ...]
    leg: float
    broken: tuple[tuple[int, int, int, int], ...]
    patches: tuple[Vec, ...]
    chamfers: tuple[tuple[int, Spot, Spot], ...]
    teeth: tuple[Teeth, ...]
    turned: tuple[int, Spot] | None
    folds: frozenset[int]
    odd: int
    volume: float
    area: float


_SAME = 1e-6


def others(axis: int) -> tuple[int, int]:
    """The two other axes in their order.

    >>> others(1)
    (0, 2)
    """
    i, j = (k for k in range(3) if k != axis)
    return i, j


def _snap(value: float) -> float:
    return round(value, 6) + 0.0


def facts(shape: Any) -> Facts:
    """Read a solid.

    Args:
        shape: a ``TopoDS_Shape`` of one valid solid.
    """
    import cadquery as cq

    solid = cq.Solid(shape)
    flats, rounds, odd = _faces(solid)
    low, high = _box(shape, flats)
    teeth, flats = _teeth(flats)
    leg, broken, patches, chamfers, flats = _edges(flats, low, high)
    probe = _probe(shape)
    rounds = _merged(rounds)
    rounds = [_opened(r, shape, probe, low, high) for r in rounds]
    rounds = _slots(rounds)
    flats = [f for f in flats if not any(_side_of(f, r) for r in rounds)]
    toothed = frozenset(t.seen for t in teeth)
    turned = _turned(flats, rounds, odd, bool(broken or chamfers))
    rounds = rounds if turned else _eased(rounds)
    return Facts(
        low=low,
        high=high,
        flats=tuple(flats),
        rounds=tuple(sorted(rounds, key=lambda r: (not r.hollow, -r.axis, r.at[1], r.at[0], r.span, r.radius))),
        leg=leg,
        broken=tuple(sorted(broken)),
        patches=tuple(sorted(patches)),
        chamfers=tuple(sorted(chamfers)),
        teeth=tuple(teeth),
        turned=turned,
        folds=frozenset(_folds(solid)) | toothed,
        odd=odd,
        volume=float(solid.Volume()),
        area=float(solid.Area()),
    )


def _faces(solid: Any) -> tuple[list[Flat], list[Round], int]:
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    flats: list[Flat] = []
    rounds: list[Round] = []
    odd = 0
    for face in solid.Faces():
        kind = face.geomType()
        if kind == "PLANE":
            edges = face.Edges()
            round_only = all(e.geomType() == "CIRCLE" for e in edges)
            spots = [p.toTuple() for e in edges for p in (e.startPoint(), e.endPoint())]
            if round_only:  # the box of a disc needs more than its seam
                box = face.BoundingBox()
                spots += [(box.xmin, box.ymin, box.zmin), (box.xmax, box.ymax, box.zmax)] if _level(face) else []
            corners = tuple(sorted({(_snap(x), _snap(y), _snap(z)) for x, y, z in spots}))
            x, y, z = face.normalAt().toTuple()
            flats.append(Flat(normal=(x + 0.0, y + 0.0, z + 0.0), corners=corners, round_only=round_only))
            continue
        if kind not in ("CYLINDER", "CONE"):
            odd += 1
            continue
        surface = BRepAdaptor_Surface(face.wrapped)
        found = _round(surface, face, kind)
        if found is None:
            odd += 1
        else:
            rounds.append(found)
    return flats, rounds, odd


def _level(face: Any) -> bool:
    n = face.normalAt().toTuple()
    return any(abs(abs(c) - 1.0) < _SAME for c in n)


def _round(surface: Any, face: Any, kind: str) -> Round | None:
    """A cylindrical or conical face about an axis of the frame; None about any other line."""
    body = surface.Cylinder() if kind == "CYLINDER" else surface.Cone()
    line = body.Axis()
    way = line.Direction()
    direction = (way.X(), way.Y(), way.Z())
    axis = next((k for k in range(3) if abs(abs(direction[k]) - 1.0) < _SAME), None)
    if axis is None:
        return None
    origin = (line.Location().X(), line.Location().Y(), line.Location().Z())
    i, j = others(axis)
    v = (surface.FirstVParameter(), surface.LastVParameter())
    ends = []
    for one in v:
        p = surface.Value(surface.FirstUParameter(), one)
        spot = (p.X(), p.Y(), p.Z())
        ends.append((_snap(spot[axis]), _snap(math.hypot(spot[i] - origin[i], spot[j] - origin[j]))))
    ends.sort()
    middle = surface.Value((surface.FirstUParameter() + surface.LastUParameter()) / 2.0, (v[0] + v[1]) / 2.0)
    normal = face.normalAt(_vector(middle)).toTuple()
    spot = (middle.X(), middle.Y(), middle.Z())
    hollow = sum(normal[k] * (spot[k] - origin[k]) for k in (i, j)) < 0.0
    full = abs(surface.LastUParameter() - surface.FirstUParameter()) > 2.0 * math.pi - 1e-6
    return Round(
        axis=axis,
        at=(_snap(origin[i]), _snap(origin[j])),
        radius=ends[0][1],
        end_radius=ends[1][1],
        span=(ends[0][0], ends[1][0]),
        hollow=hollow,
        full=full,
    )


def _box(shape: Any, flats: Iterable[Flat]) -> tuple[Vec, Vec]:
    """The box of the solid, its sides where flats lie exactly there."""
    from OCP.Bnd import Bnd_Box
    from OCP.BRepBndLib import BRepBndLib

    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    x0, y0, z0, x1, y1, z1 = box.Get()
    levels: list[set[float]] = [{c[k] for f in flats for c in f.corners} for k in range(3)]

    def snapped(value: float, k: int) -> float:
        near = min(levels[k], key=lambda c: abs(c - value), default=value)
        return near if abs(near - value) < 1e-4 else _snap(value)

    return (snapped(x0, 0), snapped(y0, 1), snapped(z0, 2)), (snapped(x1, 0), snapped(y1, 1), snapped(z1, 2))


def _vector(point: Any) -> Any:
    import cadquery as cq

    return cq.Vector(point.X(), point.Y(), point.Z())


def _merged(rounds: list[Round]) -> list[Round]:
    """Faces of one cylinder that a seam, a slot or a crossing has parted, as one."""
    out: list[Round] = []
    key = lambda r: (r.axis, r.at, r.hollow, r.radius, r.end_radius, r.span)  # noqa: E731
    for r in sorted(rounds, key=key):
        last = out[-1] if out else None
        same = last is not None and (last.axis, last.at, last.hollow) == (r.axis, r.at, r.hollow)
        straight = last is not None and last.radius == last.end_radius == r.radius == r.end_radius
        if last is not None and same and straight and r.span[0] <= last.span[1] + _SAME:
            whole = last.full or r.full
            out[-1] = replace(last, span=(last.span[0], max(last.span[1], r.span[1])), full=whole)
        elif last is not None and same and replace(last, full=r.full) == r:
            continue
        else:
            out.append(r)
    return out


def _probe(shape: Any) -> Any:
    from OCP.BRepClass3d import BRepClass3d_SolidClassifier
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_IN

    classifier = BRepClass3d_SolidClassifier(shape)

    def inside(spot: Iterable[float]) -> bool:
        classifier.Perform(gp_Pnt(*spot), 1e-7)
        return bool(classifier.State() == TopAbs_IN)

    return inside


def _opened(r: Round, shape: Any, inside: Any, low: Vec, high: Vec) -> Round:
    """Which ends of a bore are open, and whether it may be drilled right through."""
    if not r.hollow:
        return r
    i, j = others(r.axis)

    def filled(along: float) -> bool:
        spot = [0.0, 0.0, 0.0]
        spot[r.axis], spot[i], spot[j] = along, r.at[0], r.at[1]
        return bool(inside(spot))

    ends = (not filled(r.span[0] - 0.01), not filled(r.span[1] + 0.01))
    gaps = [(low[r.axis] - 1.0, r.span[0] - 0.01), (r.span[1] + 0.01, high[r.axis] + 1.0)]
    clear = all(ends) and all(b - a < 1.0 or not _meets(r, shape, a, b) for a, b in gaps)
    return replace(r, ends=ends, through=clear, point=r.full and ends[0] != ends[1] and _pointed(r, shape, ends[1]))


def _pointed(r: Round, shape: Any, downward: bool) -> bool:
    """Whether past the closed end of a bore there is steel about a drill's point of 118 degrees."""
    import cadquery as cq

    from fixture3d.solid import kernel

    i, j = others(r.axis)
    at, way = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]
    at[i], at[j], at[r.axis] = r.at[0], r.at[1], r.span[0] if downward else r.span[1]
    way[r.axis] = -1.0 if downward else 1.0
    deep = r.radius / math.tan(math.radians(59.0)) + DRAWING.skin
    cone = cq.Solid.makeCone(r.radius, DRAWING.skin, deep, cq.Vector(*at), cq.Vector(*way))
    found = kernel.common(cone.wrapped, shape)
    return found is not None and kernel.volume(found) > (1.0 - 1e-4) * kernel.volume(cone.wrapped)


def _meets(r: Round, shape: Any, start: float, end: float) -> bool:
    """Whether a drill of that size would cut material between two places."""
    import cadquery as cq

    from fixture3d.solid import kernel

    i, j = others(r.axis)
    at, way = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]
    at[r.axis], at[i], at[j], way[r.axis] = start, r.at[0], r.at[1], 1.0
    drill = cq.Solid.makeCylinder(r.radius * 0.999, end - start, cq.Vector(*at), cq.Vector(*way))
    found = kernel.common(drill.wrapped, shape)
    return found is None or kernel.volume(found) > 1e-6


def _eased(rounds: list[Round]) -> list[Round]:
    """Pins and bores with the cones of 45 degrees that break their edges taken into them."""
    out = list(rounds)
    for cone in [r for r in rounds if r.full and r.radius != r.end_radius]:
        leg = cone.span[1] - cone.span[0]
        if leg > DRAWING.edge_most or abs(abs(cone.end_radius - cone.radius) - leg) > 1e-5:
            continue
        meets = max(cone.radius, cone.end_radius) if not cone.hollow else min(cone.radius, cone.end_radius)
        upper = abs(cone.radius - meets) < 1e-6  # it is at the upper end of what it is cut from
        for n, r in enumerate(out):
            alike = (r.axis, r.at, r.hollow, r.full) == (cone.axis, cone.at, cone.hollow, True) and r.far is None
            touches = abs(r.span[1] - cone.span[0]) if upper else abs(r.span[0] - cone.span[1])
            if alike and r.radius == r.end_radius and abs(r.radius - meets) < 1e-6 and touches < 1e-6:
                span = (r.span[0], cone.span[1]) if upper else (cone.span[0], r.span[1])
                ends = (r.ends[0], cone.ends[1]) if upper else (cone.ends[0], r.ends[1])
                legs = (r.legs[0], leg) if upper else (leg, r.legs[1])
                out[n] = replace(r, span=span, ends=ends, legs=(round(legs[0], 5), round(legs[1], 5)))
                out.remove(cone)
                break
    return out


def _slots(rounds: list[Round]) -> list[Round]:
    """Two hollow half cylinders of one size that face each other are the ends of a slot."""
    halves = [r for r in rounds if r.hollow and not r.full and r.radius == r.end_radius]
    taken: set[int] = set()
    out = [r for r in rounds if r not in halves]
    for a, b in itertools.combinations(range(len(halves)), 2):
        one, two = halves[a], halves[b]
        alike = (one.axis, one.radius) == (two.axis, two.radius)
        overlap = min(one.span[1], two.span[1]) - max(one.span[0], two.span[0])
        level = one.at[0] == two.at[0] or one.at[1] == two.at[1]
        if a in taken or b in taken or not (alike and overlap > _SAME and level):
            continue
        taken |= {a, b}
        span = (min(one.span[0], two.span[0]), max(one.span[1], two.span[1]))
        first, last = sorted((one.at, two.at))
        out.append(replace(one, at=first, far=last, span=span, full=True))
    return out + [r for k, r in enumerate(halves) if k not in taken]


def _side_of(f: Flat, slot: Round) -> bool:
    """Whether a flat is the straight side of a slot."""
    if slot.far is None or f.square_to is None or f.square_to == slot.axis:
        return False
    i, j = others(slot.axis)
    k, along = (0, 1) if f.square_to == i else (1, 0)
    level = all(abs(abs(c[f.square_to] - slot.at[k]) - slot.radius) < 1e-5 for c in f.corners)
    run = (i, j)[along]
    return level and all(slot.at[along] - 1e-5 <= c[run] <= slot.far[along] + 1e-5 for c in f.corners)


def _edges(
    flats: list[Flat], low: Vec, high: Vec
) -> tuple[float, set[tuple[int, int, int, int]], set[Vec], set[tuple[int, Spot, Spot]], list[Flat]]:
    """Broken edges of 45 degrees and one leg, parted from the other flats."""
    legs: dict[float, int] = {}
    for f in flats:
        leg = _leg(f)
        if leg is not None:
            legs[leg] = legs.get(leg, 0) + 1
    if not legs:
        return 0.0, set(), set(), set(), flats
    leg = max(sorted(legs), key=lambda one: legs[one])
    broken, patches, chamfers, rest = set(), set(), set(), []
    for f in flats:
        sides = [(k, 1 if f.normal[k] > 0.0 else -1) for k in range(3) if abs(f.normal[k]) > _SAME]
        depth = sum(s * (high[k] if s > 0 else low[k]) for k, s in sides)
        on = f.corners[0]
        off = depth - sum(s * on[k] for k, s in sides)
        if len(sides) == 3 and _even(f, 3) and abs(off - 2.0 * leg) < 1e-5 and len(f.corners) == 3:
            patches.add((float(sides[0][1]), float(sides[1][1]), float(sides[2][1])))
        elif _leg(f) == leg and abs(off - leg) < 1e-5:
            (i, s), (j, t) = sides
            broken.add((i, s, j, t))
        elif _leg(f) == leg:
            k = f.runs_along
            assert k is not None
            chamfers.add((k, *f.trace))
        elif len(sides) == 3 and _even(f, 3) and len(f.corners) == 3 and _within(f, leg):
            continue  # where three broken edges of a step meet
        else:
            rest.append(f)
    return leg, broken, patches, chamfers, rest


def _within(f: Flat, leg: float) -> bool:
    return all(max(c[k] for c in f.corners) - min(c[k] for c in f.corners) <= leg + 1e-5 for k in range(3))


def _even(f: Flat, count: int) -> bool:
    parts = [abs(c) for c in f.normal if abs(c) > _SAME]
    return len(parts) == count and max(parts) - min(parts) < _SAME


def _leg(f: Flat) -> float | None:
    """The leg of a flat that may be a broken edge: 45 degrees, small, longer than wide."""
    if f.runs_along is None or not _even(f, 2):
        return None
    (a, b), (c, d) = f.trace
    leg = round(abs(c - a), 5)
    return leg if 0.0 < leg <= DRAWING.edge_most and abs(abs(d - b) - leg) < 1e-5 else None


def _teeth(flats: list[Flat]) -> tuple[list[Teeth], list[Flat]]:
    """Rows of equal flanks at equal steps, and the other flats."""
    out: list[Teeth] = []
    for seen in range(3):
        i, j = others(seen)
        for along, up in ((i, j), (j, i)):
            found = _row(flats, seen, along, up)
            if found is None:
                continue
            teeth, flats = found
            out.append(teeth)
    return out, flats


def _row(flats: list[Flat], seen: int, along: int, up: int) -> tuple[Teeth, list[Flat]] | None:
    """One row of teeth: flanks that rise at the same slope, at least three of each hand."""
    i, _ = others(seen)
    pick = 0 if along == i else 1
    hands: dict[int, list[tuple[float, float, float, float]]] = {1: [], -1: []}
    for f in flats:
        if f.runs_along != seen or abs(f.normal[up]) < _SAME:
            continue
        (a, b) = f.trace
        ends = sorted(((a[pick], a[1 - pick]), (b[pick], b[1 - pick])))
        hand = 1 if f.normal[along] > 0.0 else -1
        hands[hand].append((*ends[0], *ends[1]))
    reach = Counter(tuple(sorted((r[1], r[3]))) for r in hands[1]).most_common(1)
    if not reach:
        return None
    (least, most), _ = reach[0]  # roots and crests of most flanks; what lies elsewhere is no tooth
    rows = {
        hand: sorted({r for r in rows if least - 1e-6 <= min(r[1], r[3]) and max(r[1], r[3]) <= most + 1e-6})
        for hand, rows in hands.items()
    }
    if min(len(rows[1]), len(rows[-1])) < 3:
        return None
    long = max(r[2] - r[0] for r in rows[1])
    whole = [r for r in rows[1] if r[2] - r[0] > long - 1e-6]  # the first and the last may be cut
    if len(whole) < 2:
        return None
    steps = [b[0] - a[0] for a, b in itertools.pairwise(whole)]
    pitch = sorted(steps)[len(steps) // 2]
    if any(abs(s - pitch) > 1e-5 for s in steps):
        return None
    x0, z0, x1, z1 = next(r for r in whole if r != rows[1][0])  # one with a whole crest beside it
    sign = 1.0 if any(f.runs_along == seen and f.normal[up] > 0.0 for f in flats) else -1.0
    crest, root = (max(z0, z1), min(z0, z1)) if sign > 0.0 else (min(z0, z1), max(z0, z1))
    lean = math.degrees(math.atan2(abs(x1 - x0), abs(z1 - z0)))
    top = x0 if abs(z0 - crest) < 1e-6 else x1
    beside = min((r for r in rows[-1]), key=lambda r: abs((r[0] if abs(r[1] - crest) < 1e-6 else r[2]) - top))
    partner = beside[0] if abs(beside[1] - crest) < 1e-6 else beside[2]
    flat = abs(top - partner)
    middle = (top + partner) / 2.0
    every = rows[1] + rows[-1]
    start = (min(r[0] for r in every), max(r[2] for r in every))
    low, high = min(crest, root), max(crest, root)
    left: list[Flat] = []
    run = [start[0], start[1]]
    for f in flats:
        tooth = f.runs_along == seen and abs(f.normal[up]) > _SAME and (1 if f.normal[along] > 0 else -1) in rows
        level = f.square_to == up and low - 1e-6 <= f.corners[0][up] <= high + 1e-6
        wide = max(c[along] for c in f.corners) - min(c[along] for c in f.corners)
        if tooth and low - 1e-6 <= min(c[up] for c in f.corners) and max(c[up] for c in f.corners) <= high + 1e-6:
            continue
        if level and wide < pitch:
            run += [c[along] for c in f.corners]
            continue
        left.append(f)
    root_flat = pitch - flat - 2.0 * abs(x1 - x0)
    return (
        Teeth(
            along=along,
            seen=seen,
            pitch=_snap(pitch),
            angle=_snap(2.0 * lean),
            crest=crest,
            root=root,
            crest_flat=_snap(flat),
            root_flat=max(0.0, _snap(root_flat)),
            middle=_snap(middle),
            start=(_snap(min(run)), _snap(max(run))),
        ),
        left,
    )


def _turned(flats: list[Flat], rounds: list[Round], odd: int, broken: bool) -> tuple[int, Spot] | None:
    if odd or broken or not rounds:
        return None
    axis, at = rounds[0].axis, rounds[0].at
    about = all(r.axis == axis and r.at == at and r.full and not r.hollow for r in rounds)
    ends = all(f.square_to == axis and f.round_only for f in flats)
    return (axis, at) if about and ends else None


def _folds(solid: Any) -> Iterator[int]:
    """Axes that re-entrant corners between two flats run along."""
    seen: dict[int, list[tuple[Vec, Vec]]] = {}
    for face in solid.Faces():
        if face.geomType() != "PLANE":
            continue
        normal = face.normalAt().toTuple()
        for edge in face.Edges():
            if edge.geomType() == "LINE":
                seen.setdefault(edge.hashCode(), []).append((normal, way_round(edge)))
    for pair in seen.values():
        if len(pair) != 2:
            continue
        (one, _), (two, way) = pair
        axis = next((k for k in range(3) if abs(abs(way[k]) - 1.0) < _SAME), None)
        into = (two[1] * way[2] - two[2] * way[1], two[2] * way[0] - two[0] * way[2], two[0] * way[1] - two[1] * way[0])
        if axis is not None and sum(a * b for a, b in zip(one, into, strict=True)) > 1e-6:
            yield axis


def way_round(edge: Any) -> Vec:
    """Direction of a straight edge as its face goes round it."""
    from OCP.TopAbs import TopAbs_REVERSED

    x, y, z = edge.tangentAt(0.5).toTuple()
    turned = edge.wrapped.Orientation() == TopAbs_REVERSED
    return (-x, -y, -z) if turned else (x, y, z)
