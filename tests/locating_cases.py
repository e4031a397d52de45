"""Setups of one piece with a known answer, written down from the geometry: what holds it and what it can still do.

A bar lies along X from x = 0, its underside on z = 0, its middle on y = 0. Blocks are boxes, pins and balls. What a
setup leaves free is given by hand, from the directions in which its faces look; `test_locating.py` asks for it, and
moves the solids a little each way to see that what is said to be free is free and what is stopped is stopped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape

Point = tuple[float, float, float]
Bodies = dict[str, Placed]


@dataclass(frozen=True)
class Case:
    """One setup; ``free`` and ``away`` are directions of slides, ``turns`` axes that are free both ways
    ("?" for one that may be chosen otherwise)."""

    name: str
    piece: Placed
    fixed: Bodies
    rank: int
    rests: bool
    free: frozenset[str] = frozenset()
    away: frozenset[str] = frozenset()
    turns: tuple[str, ...] = ()
    opposed: frozenset[frozenset[str]] = frozenset()
    lifts: bool = True
    over: frozenset[str] = frozenset()
    doubts: frozenset[str] = frozenset()
    gravity: Point = (0.0, 0.0, -1.0)
    words: tuple[str, ...] = field(default=())
    one_way_turns: int = 0


def _solid(make: Any) -> Shape:
    return Shape.of(make.val() if hasattr(make, "val") else make)


@cache
def box_shape(x: float, y: float, z: float) -> Shape:
    import cadquery as cq

    return _solid(cq.Workplane().box(x, y, z, centered=False))


@cache
def bar_shape(length: float = 1000.0, side: float = 50.0, wall: float = 3.0, radius: float = 6.0) -> Shape:
    """Square tube along X, its underside on z = 0."""
    import cadquery as cq

    def prism(width: float, r: float) -> Any:
        made = cq.Workplane("YZ").rect(width, width).extrude(length)
        return made.edges("|X").fillet(r) if r > 0.0 else made

    inner = side - 2.0 * wall
    made = prism(side, radius)
    if wall < side / 2.0:
        made = made.cut(prism(inner, max(radius - wall, 0.0)))
    return _solid(made.translate((0, 0, side / 2.0)))


@cache
def round_shape(length: float = 600.0, diameter: float = 48.3, wall: float = 3.0) -> Shape:
    """Round tube along X about the X axis."""
    import cadquery as cq

    made = cq.Workplane("YZ").circle(diameter / 2.0)
    return _solid((made.circle(diameter / 2.0 - wall) if wall else made).extrude(length))


@cache
def pin_shape(diameter: float = 16.0, height: float = 40.0) -> Shape:
    """Upright pin, its foot at the origin."""
    import cadquery as cq

    return _solid(cq.Workplane().circle(diameter / 2.0).extrude(height))


@cache
def ball_shape(radius: float = 6.0) -> Shape:
    import cadquery as cq

    return _solid(cq.Workplane().sphere(radius))


@cache
def vee_shape(angle: float = 90.0, length: float = 40.0, depth: float = 40.0) -> Shape:
    """V along X from x = 0, its root on the X axis, open upwards."""
    import cadquery as cq

    half = depth * math.tan(math.radians(angle / 2.0))
    outline = [(-half, -10.0), (half, -10.0), (half, depth), (0.0, 0.0), (-half, depth)]
    return _solid(cq.Workplane("YZ").polyline(outline).close().extrude(length))


@cache
def prism_shape(outline: tuple[tuple[float, float], ...], length: float) -> Shape:
    """Outline in Y and Z, along X from 0."""
    import cadquery as cq

    return _solid(cq.Workplane("YZ").polyline(list(outline)).close().extrude(length))


@cache
def plate_shape(x: float, y: float, z: float, holes: tuple[tuple[float, float, float], ...] = ()) -> Shape:
    """Plate from the origin, with holes (x, y, diameter)."""
    import cadquery as cq

    made = cq.Workplane().box(x, y, z, centered=False)
    for px, py, d in holes:
        made = made.cut(cq.Workplane().center(px, py).circle(d / 2.0).extrude(z))
    return _solid(made)


@cache
def ring_shape(outer: float, inner: float, z: float) -> Shape:
    """Square frame about the Z axis."""
    import cadquery as cq

    return _solid(cq.Workplane().rect(outer, outer).rect(inner, inner).extrude(z))


@cache
def corner_shape(fillet: float, side: float = 60.0, wall: float = 15.0) -> Shape:
    """Angle along X from 0: a floor under z = 0 and a wall behind y = 0, with a fillet in the inside corner."""
    import cadquery as cq

    outline = [(wall, -wall), (-side, -wall), (-side, 0.0), (0.0, 0.0), (0.0, side), (wall, side)]
    made = cq.Workplane("YZ").polyline(outline).close().extrude(40.0)
    return _solid(made.edges(cq.selectors.NearestToPointSelector((20, 0, 0))).fillet(fillet))


@cache
def saddle_shape(diameter: float, length: float = 60.0) -> Shape:
    """Half round along X about the X axis, open upwards."""
    import cadquery as cq

    block = cq.Workplane("YZ").center(0, -20).rect(diameter + 30.0, 40.0).extrude(length)
    return _solid(block.cut(cq.Workplane("YZ").circle(diameter / 2.0).extrude(length)))


@cache
def bend_shape() -> Shape:
    """Round tube of 30 bent by 90 degrees about Z at a radius of 100, both legs 200 long, lying about z = 15."""
    import cadquery as cq

    path = cq.Workplane("XY").moveTo(0, 0).lineTo(200, 0).radiusArc((300, 100), -100).lineTo(300, 300)
    return _solid(cq.Workplane("YZ").circle(15.0).sweep(path).translate((0, 0, 15.0)))


@cache
def mitred_shape(length: float = 400.0) -> Shape:
    """Solid square bar of 40 along X whose right end is mitred by 45 degrees."""
    import cadquery as cq

    outline = [(0.0, -20.0), (length, -20.0), (length - 40.0, 20.0), (0.0, 20.0)]
    return _solid(cq.Workplane("XY").polyline(outline).close().extrude(40.0))


def at(shape: Shape, x: float = 0.0, y: float = 0.0, z: float = 0.0, turn: Array | None = None) -> Placed:
    pose = frame.translation((x, y, z)) @ (frame.identity() if turn is None else turn)
    return Placed("body", shape, pose)


def box(low: Point, high: Point) -> Placed:
    size = [round(b - a, 6) for a, b in zip(low, high, strict=True)]
    return at(box_shape(*size), *low)


TABLE = box((-700, -600, -12), (1700, 600, 0))
BAR = at(bar_shape())
SIDE_1 = box((100, 25, 0), (150, 60, 50))
SIDE_2 = box((800, 25, 0), (850, 60, 50))
END = box((-30, -25, 0), (0, 25, 60))
PLATE = at(plate_shape(300, 200, 10))
SQUARE = at(plate_shape(100, 100, 10), -50, -50, 0)
UP_X = frame.rotation((0, 1, 0), 90)


def pin(x: float, y: float, z: float = 0.0, d: float = 16.0) -> Placed:
    return at(pin_shape(d), x, y, z)


def ball(x: float, y: float, z: float, r: float = 6.0) -> Placed:
    return at(ball_shape(r), x, y, z)


def riser(x: float, width: float = 50.0) -> Placed:
    return box((x, -25, -50), (x + width, 25, 0))


def tilted(degrees: float, placed: Placed, axis: Point = (0, 1, 0)) -> Placed:
    return Placed(placed.name, placed.shape, frame.rotation(axis, degrees) @ placed.pose)


XX, YY = frozenset({"+X", "-X"}), frozenset({"+Y", "-Y"})
NONE: frozenset[str] = frozenset()


def pairs(*names: str) -> frozenset[frozenset[str]]:
    return frozenset(frozenset(p.split("-")) for p in names)


def _square(moments: tuple[float, float, float, float]) -> Bodies:
    """Pins of 12 about a square plate of 100 on a table; where each pushes makes its moment about the middle."""
    below, above, left, right = moments
    return {
        "t": TABLE,
        "a": pin(below, -56, d=12), "b": pin(above, 56, d=12),
        "c": pin(-56, left, d=12), "d": pin(56, right, d=12),
    }  # fmt: skip


H90 = 24.15 / math.sin(math.radians(45.0))  # reference: D 48.3 in 90 degrees, 34.1533
TUBE = at(round_shape(), 0, 0, H90)
V_IN = {"v1": at(vee_shape(), 50), "v2": at(vee_shape(), 500)}
ON_BALLS = {"a": ball(50, 50, -6), "b": ball(250, 50, -6), "c": ball(150, 150, -6)}
LINE_BALLS = {"a": ball(50, 100, -6), "b": ball(150, 100, -6), "c": ball(250, 100, -6)}
EX_B_SIDE = {"d": ball(50, -6, 5), "e": ball(250, -6, 5)}
EX_B_END = {"f": ball(-6, 100, 5)}


def cases() -> list[Case]:
    made = [
        Case("table", BAR, {"t": TABLE}, 3, True, XX | YY, NONE, ("Z",),
             words=("can slide along its length (+X)", "can slide sideways (+Y)", "can lift off (+Z)",
                    "can turn about the vertical through its middle (clockwise seen from above)")),
        Case("nothing at all", BAR, {}, 0, False, XX | YY | {"+Z"}, NONE, ("X", "Y", "Z"), lifts=False),
        Case("table 0.2 below", at(bar_shape(), 0, 0, 0.2), {"t": TABLE}, 3, True, XX | YY, NONE, ("Z",)),
        Case("table 0.5 below", at(bar_shape(), 0, 0, 0.5), {"t": TABLE}, 0, False, XX | YY | {"+Z"}, NONE,
             ("X", "Y", "Z"), lifts=False),
        Case("one stop at the side", BAR, {"t": TABLE, "s": SIDE_1}, 5, True, XX, frozenset({"-Y"}),
             over=frozenset({"too-near"})),
        Case("one pin at the side", BAR, {"t": TABLE, "s": pin(400, 33)}, 4, True, XX, frozenset({"-Y"}), ("Z",)),
        Case("two pins at the side", BAR, {"t": TABLE, "s": pin(100, 33), "u": pin(900, 33)}, 5, True, XX,
             frozenset({"-Y"})),
        Case("two pins at the side, side by side", BAR, {"t": TABLE, "s": pin(100, 33), "u": pin(120, 33)}, 5, True,
             XX, frozenset({"-Y"}), over=frozenset({"too-near"})),
        Case("3-2-1 with blocks", BAR, {"t": TABLE, "s": SIDE_1, "u": SIDE_2, "e": END}, 6, True, NONE,
             frozenset({"+X", "-Y"}), words=("can slide along its length (+X), off its stop",)),
        Case("3-2-1 with pins", BAR, {"t": TABLE, "s": pin(100, 33), "u": pin(900, 33), "e": pin(-8, 0)}, 6, True,
             NONE, frozenset({"+X", "-Y"})),
        Case("stop at the end", BAR, {"t": TABLE, "e": END}, 5, True, YY, frozenset({"+X"}),
             over=frozenset({"too-near"})),
        Case("pin at the end", BAR, {"t": TABLE, "e": pin(-8, 0)}, 4, True, YY, frozenset({"+X"}), ("Z",)),
        Case("pins at an end's two sides", BAR, {"t": TABLE, "s": pin(30, 33), "u": pin(30, -33)}, 4, True, XX, NONE,
             ("Z",), pairs("s-u"), over=frozenset({"opposed"}),
             words=("can turn about the vertical at its left end (clockwise seen from above)",)),
        Case("stop off by 0.2", BAR, {"t": TABLE, "s": box((100, 25.2, 0), (150, 60, 50))}, 5, True, XX,
             frozenset({"-Y"}), over=frozenset({"too-near"})),
        Case("stop off by 0.5", BAR, {"t": TABLE, "s": box((100, 25.5, 0), (150, 60, 50))}, 3, True, XX | YY, NONE,
             ("Z",)),
        Case("opposed stops", BAR, {"t": TABLE, "s": SIDE_1, "u": SIDE_2, "o": box((400, -60, 0), (450, -25, 50))}, 5,
             True, XX, NONE, (), pairs("s-o", "u-o"), over=frozenset({"opposed"})),
        Case("across, but 1 off", BAR, {"t": TABLE, "s": SIDE_1, "u": SIDE_2, "o": box((400, -60, 0), (450, -26, 50))},
             5, True, XX, frozenset({"-Y"})),
        Case("block on top", BAR, {"t": TABLE, "o": box((400, -25, 50), (450, 25, 80))}, 3, True, XX | YY, NONE,
             ("Z",), pairs("t-o"), lifts=False, over=frozenset({"opposed"})),
        Case("in a pocket", PLATE,
             {"t": TABLE, "a": box((-20, 0, 0), (0, 200, 30)), "b": box((300, 0, 0), (320, 200, 30)),
             "c": box((0, -20, 0), (300, 0, 30)), "d": box((0, 200, 0), (300, 220, 30))}, 6, True, NONE, NONE, (),
             pairs("a-b", "c-d"), over=frozenset({"opposed"})),
        Case("round tube in two Vs", TUBE, V_IN, 4, True, XX, NONE, ("X",),
             words=("can roll about its own length (right-handed about +X)",)),
        Case("round tube in two Vs of 120", at(round_shape(), 0, 0, 24.15 / math.sin(math.radians(60.0))),
             {"v1": at(vee_shape(120.0), 50), "v2": at(vee_shape(120.0), 500)}, 4, True, XX, NONE, ("X",)),
        Case("round tube in one V under its middle", TUBE, {"v": at(vee_shape(), 280)}, 4, True, XX, NONE, ("X",),
             over=frozenset({"too-near"})),
        Case("round tube in one V at its end", TUBE, {"v": at(vee_shape(), 0)}, 4, False, XX, NONE, ("X",),
             over=frozenset({"too-near"})),
        Case("Vs and a ball at the end", TUBE, {**V_IN, "e": ball(-6, 22.65, H90)}, 5, True, NONE, frozenset({"+X"}),
             ("X",)),
        Case("three Vs", TUBE, {**V_IN, "v3": at(vee_shape(), 300)}, 4, True, XX, NONE, ("X",),
             over=frozenset({"vees"})),
        Case("round tube in half rounds of its size", at(round_shape()),
             {"h": at(saddle_shape(48.3), 40), "k": at(saddle_shape(48.3), 500)}, 4, True, XX, NONE, ("X",),
             pairs()),
        Case("round tube on two risers", at(round_shape(), 0, 0, 24.15), {"a": riser(20), "b": riser(500)}, 2, True,
             XX | YY, NONE, ("X", "Z"), over=frozenset({"supports-on-one-line"})),
        Case("round tube across two round pins", at(round_shape(), 0, 0, 24.15),
             {"a": at(pin_shape(16, 100), 100, 50, -8, frame.rotation((1, 0, 0), 90)),
              "b": at(pin_shape(16, 100), 500, 50, -8, frame.rotation((1, 0, 0), 90))}, 2, True, XX | YY, NONE,
             ("X", "Z"), over=frozenset({"supports-on-one-line"})),
        Case("round tube across one round pin, in its middle", at(round_shape(), 0, 0, 24.15),
             {"a": at(pin_shape(16, 100), 300, 50, -8, frame.rotation((1, 0, 0), 90))}, 1, True, XX | YY, NONE,
             ("X", "Y", "Z")),
        Case("riser that ends before the middle", BAR, {"a": box((440, -25, -50), (499, 25, 0))}, 3, False, XX | YY,
             NONE, ("Z",), over=frozenset({"too-near"})),
        Case("riser that ends past the middle", BAR, {"a": box((442, -25, -50), (501, 25, 0))}, 3, True, XX | YY,
             NONE, ("Z",), over=frozenset({"too-near"})),
        Case("two risers to the left of the middle", BAR, {"a": riser(50), "b": riser(400)}, 3, False, XX | YY, NONE,
             ("Z",)),
        Case("three risers", BAR, {"a": riser(50), "b": riser(450), "c": riser(900)}, 3, True, XX | YY, NONE, ("Z",)),
        Case("four risers", BAR, {"a": riser(0), "b": riser(300), "c": riser(600), "d": riser(950)}, 3, True, XX | YY,
             NONE, ("Z",), over=frozenset({"supports"})),
        Case("square tube in a V, on its radius", at(bar_shape(600.0), 0, 0, 19.0 - 6.0 + 6.0 * math.sqrt(2.0)),
             {"v1": at(vee_shape(), 50), "v2": at(vee_shape(), 500)}, 4, True, XX, NONE, ("X",),
             doubts=frozenset({"v1", "v2"})),
        Case("stop lower than the radius", BAR, {"t": TABLE, "s": box((100, 25, 0), (150, 60, 4))}, 3, True, XX | YY,
             NONE, ("Z",), doubts=frozenset({"s"})),
        Case("stop a hair lower than the flat", BAR, {"t": TABLE, "s": box((100, 25, 0), (150, 60, 6.2))}, 3, True,
             XX | YY, NONE, ("Z",), doubts=frozenset({"s"})),
        Case("stop just higher than the radius", BAR, {"t": TABLE, "s": box((100, 25, 0), (150, 60, 7))}, 5, True, XX,
             frozenset({"-Y"}), over=frozenset({"too-near"})),
        Case("plate on three balls", PLATE, ON_BALLS, 3, True, XX | YY, NONE, ("Z",)),
        Case("plate on three balls in a line under its middle", PLATE, LINE_BALLS, 2, True, XX | YY, NONE, ("X", "Z"),
             over=frozenset({"supports-on-one-line"})),
        Case("plate on three balls beside its middle", PLATE,
             {"a": ball(50, 40, -6), "b": ball(150, 40, -6), "c": ball(250, 40, -6)}, 2, False, XX | YY, NONE,
             ("X", "Z"), over=frozenset({"supports-on-one-line"})),
        Case("Ex. B", PLATE, {**ON_BALLS, **EX_B_SIDE, **EX_B_END}, 6, True, NONE, frozenset({"+X", "+Y"})),
        Case("Ex. B, base in a line", PLATE, {**LINE_BALLS, **EX_B_SIDE, **EX_B_END}, 5, True, NONE,
             frozenset({"+X", "+Y"}), ("X",), over=frozenset({"supports-on-one-line"})),
        Case("Ex. B, both side locators at one x", PLATE,
             {**ON_BALLS, "d": ball(150, -6, 3, 6), "e": ball(150, -6, 7, 6), **EX_B_END}, 5, True, NONE,
             frozenset({"+X", "+Y"}), ("Z",), over=frozenset({"end-stops"})),
        Case("four pins, mid-sides", SQUARE, _square((0, 0, 0, 0)), 5, True, NONE, NONE, ("Z",), pairs("a-b", "c-d"),
             over=frozenset({"opposed"})),
        Case("three pins, mid-sides", SQUARE, {k: v for k, v in _square((0, 0, 0, 0)).items() if k != "d"}, 5, True,
             NONE, frozenset({"+X"}), ("Z",), pairs("a-b"), over=frozenset({"opposed"})),
        Case("four pins, moments of one sign", SQUARE, _square((20, -20, -20, 20)), 6, True, NONE, NONE, (),
             pairs("a-b", "c-d"), over=frozenset({"opposed"}), one_way_turns=1),
        Case("four pins, moments that balance", SQUARE, _square((20, -20, 20, -20)), 6, True, NONE, NONE, (),
             pairs("a-b", "c-d"), over=frozenset({"opposed"})),
        Case("plate on a pin in its hole", at(plate_shape(300, 200, 10, ((40, 100, 16.04),))),
             {"t": TABLE, "p": pin(40, 100)}, 5, True, NONE, NONE, ("Z",),
             words=("can turn about the vertical at its left end (clockwise seen from above)",)),
        Case("plate on two pins in holes", at(plate_shape(300, 200, 10, ((50, 100, 16.04), (250, 100, 16.04)))),
             {"t": TABLE, "p": pin(50, 100), "q": pin(250, 100)}, 6, True, NONE, NONE,
             over=frozenset({"pins"})),
        Case("plate over a pin in a wide hole", at(plate_shape(300, 200, 10, ((50, 100, 20.0),))),
             {"t": TABLE, "p": pin(50, 100)}, 3, True, XX | YY, NONE, ("Z",)),
        Case("frame on inside stops", at(ring_shape(300, 200, 20)),
             {"t": TABLE, "a": box((-100, -20, 0), (-80, 20, 40)), "b": box((80, -20, 0), (100, 20, 40))}, 5, True, YY,
             NONE, (), pairs("a-b"), over=frozenset({"opposed", "too-near"})),
        Case("three stops along a side", BAR,
             {"t": TABLE, "s": SIDE_1, "u": SIDE_2, "w": box((400, 25, 0), (450, 60, 50)),
             "e": END}, 6, True, NONE, frozenset({"+X", "-Y"}), over=frozenset({"side-stops"})),
        Case("two stops at an end", PLATE, {"t": TABLE, "s": box((20, -30, 0), (50, 0, 20)),
             "u": box((250, -30, 0), (280, 0, 20)), "e": box((-30, 20, 0), (0, 50, 20)),
             "g": box((-30, 150, 0), (0, 180, 20))},
             6, True, NONE, frozenset({"+X", "+Y"}), over=frozenset({"end-stops"})),
        Case("cube on its corner", at(box_shape(100, 100, 100), 0, 0, 0,
             frame.rotation((1, -1, 0), math.degrees(math.atan(math.sqrt(2.0))))), {"t": TABLE}, 1, True, XX | YY, NONE,
             ("?", "?", "?")),
        Case("cube on its edge", at(box_shape(100, 100, 100), 0, 0, 0, frame.rotation((1, 0, 0), 45)), {"t": TABLE}, 2,
             True, XX | YY, NONE, ("X", "Z")),
        Case("ball on the table", ball(0, 0, 20, 20), {"t": TABLE}, 1, True, XX | YY, NONE, ("X", "Y", "Z")),
        Case("dovetail", at(prism_shape(((-30, 0), (30, 0), (20, 20), (-20, 20)), 200)),
             {"t": TABLE, "l": at(prism_shape(((-60, 0), (-30, 0), (-20, 20), (-60, 20)), 200)),
              "r": at(prism_shape(((60, 0), (30, 0), (20, 20), (60, 20)), 200))}, 5, True, XX, NONE, (), pairs(),
             lifts=False),
        Case("upright tube", at(round_shape(300.0), 0, 0, 300, UP_X), {"t": TABLE}, 3, True, XX | YY, NONE, ("Z",)),
        Case("bent tube on the table", at(bend_shape()), {"t": TABLE}, 3, True, XX | YY, NONE, ("Z",)),
        Case("mitred end against a fence", at(mitred_shape()),
             {"t": TABLE, "f": tilted(0, at(box_shape(200, 20, 60), 380, 0, 0, frame.rotation((0, 0, 1), -45)))}, 5,
             True, frozenset({"(0.71, -0.71, 0)", "(-0.71, 0.71, 0)"}), frozenset({"(-0.71, -0.71, 0)"}),
             over=frozenset({"too-near"})),
        Case("slab on a slope of 0.4", at(plate_shape(200, 200, 20)), {"t": TABLE}, 3, True, XX | YY, NONE, ("Z",),
             gravity=(math.sin(math.radians(0.4)), 0.0, -math.cos(math.radians(0.4)))),
        Case("slab on a slope of 0.8", at(plate_shape(200, 200, 20)), {"t": TABLE}, 3, False, YY | {"-X"}, NONE, ("Z",),
             gravity=(math.sin(math.radians(0.8)), 0.0, -math.cos(math.radians(0.8)))),
        Case("slab on a slope of 10 with a stop", at(plate_shape(200, 200, 20)),
             {"t": TABLE, "s": box((200, 0, 0), (220, 200, 20))}, 5, True, YY, NONE,
             gravity=(math.sin(math.radians(10)), 0.0, -math.cos(math.radians(10)))),
    ]  # fmt: skip
    return made


def moved(case: Case, pose: Array) -> Case:
    """The same setup, and gravity with it, somewhere else."""
    import dataclasses

    fixed = {n: Placed(n, b.shape, pose @ b.pose) for n, b in case.fixed.items()}
    way = tuple(float(v) for v in frame.directions(pose, np.array(case.gravity)))
    piece = Placed(case.piece.name, case.piece.shape, pose @ case.piece.pose)
    return dataclasses.replace(case, piece=piece, fixed=fixed, gravity=way)  # type: ignore[arg-type]
