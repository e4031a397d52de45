"""Pairs of solids whose relation is known from geometry: the truth that `relate` is measured against.

Every family is a few lines of elementary geometry: `off` is the signed distance of the nearest features (positive
apart, 0 touching, negative overlapping) and the family says what gap, local depth and overlap volume follow from
it. Both solids are then turned and shifted together, at the origin or 2 m from it, and given as BRep or as mesh.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

SEED = 20260


@dataclass(frozen=True)
class Truth:
    """What follows from the geometry; None where it has no closed form."""

    a: Any  # cadquery Workplane
    b: Any
    kind: str
    gap: float | None = None
    depth: float | None = None
    volume: float | None = None
    exact_mesh: bool = False  # all faces flat, so that a mesh is the solid itself


@dataclass(frozen=True)
class Case:
    name: str
    off: float
    truth: Truth
    a: object
    b: object


Family = Callable[[random.Random, float], Truth]
FAMILIES: dict[str, Family] = {}


def family(make: Family) -> Family:
    FAMILIES[make.__name__] = make
    return make


def kind_of(off: float) -> str:
    return "touching" if off == 0.0 else "clear" if off > 0.0 else "overlapping"


def box(x: float, y: float, z: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Any:
    """A box centred at ``at``."""
    import cadquery as cq

    return cq.Workplane().box(x, y, z).translate(at)


def rod(radius: float, length: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Any:
    """A rod along Z, centred at ``at``."""
    import cadquery as cq

    return cq.Workplane().circle(radius).extrude(length).translate((at[0], at[1], at[2] - length / 2.0))


def tube(outer: float, inner: float, length: float) -> Any:
    """A tube along Z, centred at the origin."""
    import cadquery as cq

    return cq.Workplane().circle(outer).circle(inner).extrude(length).translate((0.0, 0.0, -length / 2.0))


def simple(a: Any, b: Any, off: float, volume: float | None = None, **more: Any) -> Truth:
    """The common case: gap, touching or depth are ``off`` itself."""
    return Truth(a, b, kind_of(off), max(off, 0.0), max(-off, 0.0), volume if off < 0.0 else 0.0, **more)


def segment(radius: float, height: float) -> float:
    """Area of a circle's segment of ``height``."""
    return radius**2 * math.acos(1.0 - height / radius) - (radius - height) * math.sqrt(
        2.0 * radius * height - height**2
    )


# Flat faces: the mesh is exact.


@family
def face_on_face(r: random.Random, off: float) -> Truth:
    x, y = r.uniform(10, 80), r.uniform(10, 80)
    a, b = box(60, 50, 40), box(30, x, y, (45 + off, r.uniform(-5, 5), r.uniform(-5, 5)))
    lo_y, hi_y = max(-25, b.val().BoundingBox().ymin), min(25, b.val().BoundingBox().ymax)
    lo_z, hi_z = max(-20, b.val().BoundingBox().zmin), min(20, b.val().BoundingBox().zmax)
    return simple(a, b, off, -off * (hi_y - lo_y) * (hi_z - lo_z), exact_mesh=True)


@family
def edge_across_edge(r: random.Random, off: float) -> Truth:
    """Two right-angled edges square to one another: depth square to a face is 1/root 2 of the way crossed."""
    size = r.uniform(10, 30)
    a = box(size, size, 60).rotate((0, 0, 0), (0, 0, 1), 45)
    b = box(size, 60, size).rotate((0, 0, 0), (0, 1, 0), 45)
    way = off if off > 0 else off * math.sqrt(2.0)
    t = Truth(a, b.translate((size * math.sqrt(2.0) + way, 0, 0)), kind_of(off), max(off, 0.0), max(-off, 0.0))
    return Truth(t.a, t.b, t.kind, t.gap, t.depth, 2.0 / 3.0 * max(-way, 0.0) ** 3, True)


@family
def corner_on_face(r: random.Random, off: float) -> Truth:
    import cadquery as cq

    size = r.uniform(10, 40)
    cube = cq.Workplane().box(size, size, size).rotate((0, 0, 0), (0, 0, 1), 45)
    cube = cube.rotate((0, 0, 0), (0, 1, 0), math.degrees(math.atan(math.sqrt(2.0))))
    low = -size * math.sqrt(3.0) / 2.0
    zmin = cube.val().BoundingBox().zmin
    assert abs(zmin - low) < 1e-4
    # A cube's corner of height h cut square to the diagonal: h cubed by root 3 by a half.
    return simple(
        box(90, 90, 20, (0, 0, -10)),
        cube.translate((r.uniform(-9, 9), 3, off - low)),
        off,
        max(-off, 0.0) ** 3 * math.sqrt(3.0) / 2.0,
        exact_mesh=True,
    )


@family
def edge_on_face(r: random.Random, off: float) -> Truth:
    size, length = r.uniform(10, 40), r.uniform(20, 60)
    bar = box(size, length, size).rotate((0, 0, 0), (0, 1, 0), 45)
    at = (r.uniform(-9, 9), 0, size / math.sqrt(2.0) + off)
    return simple(box(90, 90, 20, (0, 0, -10)), bar.translate(at), off, off * off * length, exact_mesh=True)


@family
def thin_strip(r: random.Random, off: float) -> Truth:
    """Overlap 1 m long and as wide as it is deep."""
    d = abs(off) if off < 0 else 0.3
    a, b = box(40, 1000, 40), box(40, 1000, 40, (40 + off, 0, 40 - d))
    return simple(a, b, off, off * off * 1000, exact_mesh=True)


@family
def thin_plate(r: random.Random, off: float) -> Truth:
    """The edge of a 0.6 mm sheet against a block: its sides are the depth, not its thickness."""
    width = r.uniform(20, 60)
    a, b = box(40, 90, 40), box(50, width, 0.6, (45 + off, 0, r.uniform(-9, 9)))
    # The sheet's faces go in by off; the block's face patch is covered to at most half the thickness.
    return simple(a, b, off, -off * 0.6 * width, exact_mesh=True)


@family
def wedge_tip(r: random.Random, off: float) -> Truth:
    """A 10 degree knife edge square on a face."""
    import cadquery as cq

    half = 30.0 * math.tan(math.radians(5.0))
    wedge = cq.Workplane("XZ").polyline([(0, 0), (half, 30), (-half, 30)]).close().extrude(20)
    volume = off * off * math.tan(math.radians(5.0)) * 20.0
    at = (r.uniform(-9, 9), 10, off)
    return simple(box(90, 90, 20, (0, 0, -10)), wedge.translate(at), off, volume, exact_mesh=True)


@family
def bar_in_notch(r: random.Random, off: float) -> Truth:
    """A bar in a slot of its own width (three faces touch), or wider, or narrower by 2 off."""
    w = r.uniform(10, 30)
    slot = box(60, 80, 40, (0, 0, -20)).cut(box(w + 2 * off, 90, 20, (0, 0, -10)))
    bar = box(w, 100, 30, (0, 0, -5 + max(off, 0.0)))
    return simple(slot, bar, off, -2 * off * 20 * 80, exact_mesh=True)


@family
def box_in_hollow(r: random.Random, off: float) -> Truth:
    """A box in the closed cavity of another, clear on all sides unless it leans on one wall."""
    size = r.uniform(10, 40)
    cave = box(80, 80, 80).cut(box(size + 10, size + 10, size + 10))
    return simple(cave, box(size, size, size, (5 - off, 0, 0)), off, -off * size * size, exact_mesh=True)


# Curved faces.


@family
def pin_in_bore(r: random.Random, off: float) -> Truth:
    """Pin of equal, smaller or larger diameter, centred."""
    radius, thick = r.uniform(4, 15), r.uniform(10, 40)
    plate = box(60, 60, thick).cut(rod(radius, thick + 10))
    pin = rod(radius - off, thick + r.uniform(5, 20))
    return simple(plate, pin, off, math.pi * ((radius - off) ** 2 - radius**2) * thick)


@family
def pin_to_one_side(r: random.Random, off: float) -> Truth:
    """A loose pin pushed against one side of its bore: internal tangent."""
    radius, slack = r.uniform(6, 15), r.uniform(0.05, 2.0)
    plate = box(60, 60, 20).cut(rod(radius, 30))
    turn = r.uniform(0, 2 * math.pi)
    way = max(slack - off, 0.0)
    at = (way * math.cos(turn), way * math.sin(turn), 3.0)
    if off > slack:
        return Truth(plate, rod(radius - slack, 40, (0, 0, 3)), "clear", slack)
    return Truth(plate, rod(radius - slack, 40, at), kind_of(off), max(off, 0.0), max(-off, 0.0))


@family
def rod_in_v(r: random.Random, off: float) -> Truth:
    """A round in a V of 90 or 120 degrees; ``off`` is square to both faces."""
    import cadquery as cq

    radius, angle = r.uniform(8, 20), math.radians(r.choice([90.0, 120.0]))
    rise, top = math.tan(math.pi / 2 - angle / 2), 30.0
    v = cq.Workplane("XZ").polyline([(-60, -60), (60, -60), (60, 0), (top, 0), (0, -top * rise), (-top, 0), (-60, 0)])
    block = v.close().extrude(50)
    height = (radius + off) / math.sin(angle / 2) - top * rise
    bar = rod(radius, 120).rotate((0, 0, 0), (1, 0, 0), 90).translate((0, -25, height))
    # Pressed in so far that the round reaches the bottom of the V, its two segments run into one another.
    apart = (radius + off) / math.sin(angle / 2) >= radius
    return simple(block, bar, off, 2 * segment(radius, max(-off, 0.0)) * 50 if apart else None)


@family
def tube_on_flat(r: random.Random, off: float) -> Truth:
    radius, length = r.uniform(8, 57), r.uniform(40, 600)
    bar = tube(radius, radius - 3, length).rotate((0, 0, 0), (1, 0, 0), 90)
    at = (r.uniform(-9, 9), 0, radius + off)
    volume = segment(radius, max(-off, 0.0)) * min(length, 200) if off > -3 else None
    return simple(box(150, 200, 20, (0, 0, -10)), bar.translate(at), off, volume)


@family
def rod_in_tube(r: random.Random, off: float) -> Truth:
    """Internal tangent of a rod with the bore of a tube."""
    radius = r.uniform(10, 20)
    small = radius * r.uniform(0.3, 0.95)
    return Truth(
        tube(radius + 4, radius, 80),
        rod(small, 120, (max(radius - small - off, 0.0), 0, 0)),
        kind_of(off),
        max(off, 0.0) if radius - small > off else radius - small,
        max(-off, 0.0),
    )


@family
def crossed_rods(r: random.Random, off: float) -> Truth:
    p, q = r.uniform(5, 25), r.uniform(5, 25)
    b = rod(q, 90).rotate((0, 0, 0), (1, 0, 0), r.uniform(60, 120)).translate((p + q + off, 0, 0))
    return Truth(rod(p, 80), b, kind_of(off), max(off, 0.0), max(-off, 0.0))


@family
def parallel_rods(r: random.Random, off: float) -> Truth:
    p, q = r.uniform(5, 25), r.uniform(5, 25)
    volume = None
    if off < 0.0:
        gap = p + q + off
        h = (gap * gap + p * p - q * q) / (2 * gap)
        volume = (segment(p, p - h) + segment(q, q - (gap - h))) * 60
    b = rod(q, 60, (p + q + off, 0, 10))
    return Truth(rod(p, 80), b, kind_of(off), max(off, 0.0), max(-off, 0.0), volume if off < 0 else 0.0)


@family
def ball_on_flat(r: random.Random, off: float) -> Truth:
    import cadquery as cq

    radius, d = r.uniform(3, 6), max(-off, 0.0)
    ball = cq.Workplane().sphere(radius).translate((r.uniform(-9, 9), 0, radius + off))
    volume = math.pi * d * d * (3 * radius - d) / 3
    return simple(box(60, 60, 20, (0, 0, -10)), ball, off, volume)


@family
def ball_on_ball(r: random.Random, off: float) -> Truth:
    import cadquery as cq

    p, q = r.uniform(3, 5), r.uniform(3, 5)
    gap, d = p + q + off, max(-off, 0.0)
    volume = math.pi * d * d * (gap * gap + 2 * gap * (p + q) - 3 * (p - q) ** 2) / (12 * gap)
    turn = r.uniform(0, 6.28)
    at = (gap * math.cos(turn), 0, gap * math.sin(turn))
    return simple(cq.Workplane().sphere(p), cq.Workplane().sphere(q).translate(at), off, volume)


@family
def cone_in_seat(r: random.Random, off: float) -> Truth:
    """A cone in a conical seat of the same angle; ``off`` is square to the flank."""
    import cadquery as cq

    half = math.radians(r.choice([30.0, 45.0, 60.0]))
    seat = box(80, 80, 30, (0, 0, -15)).cut(
        cq.Workplane(cq.Solid.makeCone(0.0, 20.0 * math.tan(half), 20.0).translate(cq.Vector(0, 0, -20)))
    )
    lift = off / math.sin(half)
    cone = cq.Workplane(cq.Solid.makeCone(0.0, 18.0 * math.tan(half), 18.0).translate(cq.Vector(0, 0, -20 + lift)))
    # The tip goes in by the whole lift: nothing of the seat is nearer to it than the seat's own tip.
    return Truth(seat, cone, kind_of(off), max(off, 0.0), max(-lift, 0.0))


@family
def saddle_on_tube(r: random.Random, off: float) -> Truth:
    """A coped saddle: a cylindrical face of radius R round a tube of radius R - off."""
    radius = r.uniform(12, 30)
    saddle = box(50, 2 * radius + 20, 40, (0, 0, 20 + 1)).cut(rod(radius, 90).rotate((0, 0, 0), (0, 1, 0), 90))
    bar = tube(radius - off, radius - 5, 120).rotate((0, 0, 0), (0, 1, 0), 90)
    return simple(saddle, bar, off)


@family
def round_corner_in_corner(r: random.Random, off: float) -> Truth:
    """Square tube with round corners against one leg of a square corner, its faces tangent to the rounding."""
    size, radius = r.uniform(30, 50), r.uniform(3, 9)
    bar = box(size, size, 200).edges("|Z").fillet(radius).translate((size / 2 + off, size / 2, 0))
    corner = box(20, 90, 100, (-10, 35, 0)).union(box(110, 20, 100, (35, -10, 0)))
    volume = -off * (size - 2 * radius) * 100 + 2 * 100 * segment_half(radius, max(-off, 0.0))
    kind = "overlapping" if off < 0 else "touching"  # it always lies on the other leg
    return Truth(corner, bar, kind, 0.0, max(-off, 0.0), volume if off < 0 else 0.0)


def segment_half(radius: float, height: float) -> float:
    """Half a segment: what a quarter round adds beside the flat."""
    return segment(radius, height) / 2.0


@family
def tilted_rod(r: random.Random, off: float) -> Truth:
    """A rod lying 0.05 degrees out of flat: near tangent, its lower end is ``off`` from the plane."""
    radius, length, tilt = r.uniform(8, 20), 100.0, math.radians(0.05)
    bar = rod(radius, length).rotate((0, 0, 0), (1, 0, 0), 90 + math.degrees(tilt))
    low = radius * math.cos(tilt) + length / 2 * math.sin(tilt)
    return simple(box(150, 200, 20, (0, 0, -10)), bar.translate((0, 0, low + off)), off)


@family
def rounded_block_on_flat(r: random.Random, off: float) -> Truth:
    """Every edge filleted, so that flat, cylinder and ball faces meet."""
    radius = r.uniform(2, 5)
    block = box(50, 40, 30).edges().fillet(radius).translate((0, 0, 15 + off))
    return simple(box(90, 90, 20, (0, 0, -10)), block, off)


@family
def equal_bore_end_to_end(r: random.Random, off: float) -> Truth:
    """Two tubes of one size end to end: ring on ring, coincident cylinders beside it."""
    radius = r.uniform(10, 30)
    a, b = tube(radius, radius - 3, 60), tube(radius, radius - 3, 60).translate((0, 0, 60 + off))
    return simple(a, b, off, -off * math.pi * (radius**2 - (radius - 3) ** 2))


def contained(r: random.Random) -> Iterator[tuple[str, Truth]]:
    """One solid wholly inside another's material, or the same solid twice: always overlapping."""
    import cadquery as cq

    size = r.uniform(5, 15)
    yield (
        "box in box",
        Truth(box(100, 100, 100), box(size, size, size, (20, 5, 0)), "overlapping", 0.0, None, size**3, True),
    )
    yield "rod in box", Truth(box(100, 100, 100), rod(size, 20), "overlapping", 0.0, None, math.pi * size**2 * 20)
    yield (
        "ball in rod",
        Truth(rod(30, 90), cq.Workplane().sphere(size / 4), "overlapping", 0.0, None, math.pi * size**3 / 48),
    )
    yield "same box", Truth(box(30, 20, size), box(30, 20, size), "overlapping", 0.0, None, 600 * size, True)
    yield "same rod", Truth(rod(size, 40), rod(size, 40), "overlapping", 0.0, None, math.pi * size**2 * 40)
    yield "bar through plate", Truth(box(80, 80, 12), box(size, size, 60), "overlapping", 0.0, None, 12 * size**2, True)
    yield (
        "rod through tube",
        Truth(tube(30, 26, 100), rod(size, 90).rotate((0, 0, 0), (1, 0, 0), 90), "overlapping", 0.0, None, None),
    )


OFFS = (0.0, -0.2, 1.3, -0.5, -3.0, 0.05, 0.0)
THIN = (-0.05, -0.1)


def cases(offs: tuple[float, ...] = OFFS, seed: int = SEED, rounds: int = 2, inside: bool = True) -> list[Case]:
    """All families at every offset, placed anywhere; the same list for the same arguments."""
    r = random.Random(seed)
    out = []
    for turn in range(rounds):
        for name, make in FAMILIES.items():
            for off in offs:
                out.append(_placed(r, f"{name} {off:+g} #{turn}", off, make(r, off)))
        if inside:
            out.extend(_placed(r, f"{name} #{turn}", -9.0, truth) for name, truth in contained(r))
    return out


def _placed(r: random.Random, name: str, off: float, truth: Truth) -> Case:
    import cadquery as cq

    far = r.choice([(0.0, 0.0, 0.0), (2000.0, -1500.0, 300.0)])
    turned = r.random() < 0.7
    axis = [r.gauss(0, 1) for _ in range(3)]
    angle = r.uniform(0, 360) if turned else r.choice([0.0, 90.0, 180.0])
    if not turned:
        axis = [0.0, 0.0, 1.0]
    where = cq.Location(cq.Vector(*far)) * cq.Location(cq.Vector(0, 0, 0), cq.Vector(*axis), angle)
    forms = r.choice(["bb", "bb", "bm", "mb", "mm"]) if truth.exact_mesh else "bb"
    solids = [w.val().moved(where) for w in (truth.a, truth.b)]
    given = [_as_mesh(s) if form == "m" else s for s, form in zip(solids, forms, strict=True)]
    return Case(f"{name} {forms} {'far' if any(far) else 'near'}", off, truth, given[0], given[1])


def _as_mesh(solid: Any) -> object:
    import trimesh

    vertices, faces = solid.tessellate(0.01)
    return trimesh.Trimesh([v.toTuple() for v in vertices], faces, process=True)
