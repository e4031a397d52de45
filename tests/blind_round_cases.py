"""Locating, on with `blind_locating_cases.py`: round bars and tubes, square tube, angle and channel."""

from __future__ import annotations

from math import cos, radians, sin, sqrt

from tests.blind_locating_case import Case, Setup
from tests.blind_locating_solids import (
    P3,
    Touch,
    X,
    Y,
    Z,
    along_x,
    box,
    holed_table,
    minus,
    on_x,
    on_y,
    on_z,
    patch,
    pin,
    rod,
    roll,
    round_tube,
    slab,
    slide,
    spin,
    square_tube,
    stood,
    turn,
    vee,
)

# ---- round work ----

ROUND_BARE = Case(
    "a round bar on the bare table",
    "one line takes down and one tilt: it rolls, slides both ways and turns",
    lambda: (rod((50, 100, 20), (1, 0, 0), 20, 150), {"table": holed_table()}),
    touch=patch((0, 0, 1), (58, 100, 0), (192, 100, 0)),
    rank=2,
    free=(X, Y, spin(0, 0), roll(100, 0)),
    can=(Z,),
    cannot=(slide(0, 0, -1), turn((0, 1, 0), (125, 0, 0))),
    listed={"+z": "lift"},
    rests=True,
    opposed=(),
    out={"+x": "", "+y": "", "+z": "", "-z": "table"},
    leaves=True,
)
ROUND_STOP = Case(
    "a round bar against one upright stop",
    "both normals pass through its axis: it still spins and slides, and rolls away from the stop",
    lambda: (
        rod((50, 80, 20), (1, 0, 0), 20, 150),
        {"table": slab(), "stop": box(80, 140, 40, 60, 0, 50)},
    ),
    jitter=True,
    touch=patch((0, 0, 1), (50, 80, 0), (200, 80, 0)) + patch((0, 1, 0), (80, 60, 20), (140, 60, 20)),
    rank=4,
    free=(X, roll(80, 20)),
    can=(Y, Z, turn((-1, 0, 0), (0, 80, 0))),
    cannot=(slide(0, -1, 0), slide(0, 0, -1), roll(80, 0)),
    listed={"+y": "away", "+z": "lift"},
    rests=True,
    opposed=(),
    out={"-y": "stop", "+y": "", "+z": "", "+x": "", "-x": "", "-z": "table"},
    leaves=True,
)
R = 24.15


def vee_touch(angle: float, base: float, y: float, *spans: tuple[float, float]) -> Touch:
    """Two lines in each V, at +-r cos(a/2) and r cos2(a/2)/sin(a/2) above the vertex."""
    s, c = sin(radians(angle / 2)), cos(radians(angle / 2))
    high, wide = base + R * c * c / s, R * c
    rows: Touch = []
    for x0, x1 in spans:
        rows += patch((0, -c, s), (x0, y + wide, high), (x1, y + wide, high))
        rows += patch((0, c, s), (x0, y - wide, high), (x1, y - wide, high))
    return rows


def in_vee(x0: float, x1: float, v0: float, v1: float) -> Setup:
    tube = round_tube(x0, x1, 100, 15 + R / sin(radians(45)), R, R - 3)
    return tube, {"table": slab(), "vee": vee(v0, v1, 100, 15, 90, 22)}


LOW, STEEP = (0.0, cos(radians(30)), sin(radians(30))), (0.0, cos(radians(60)), sin(radians(60)))
IN_VEE = Case(
    "a tube of 48.3 in a V of 90 degrees",
    "two lines, 17.08 either side: it slides along and spins; 45 degrees is the flank's own slope",
    lambda: in_vee(0, 200, 50, 150),
    touch=vee_touch(90, 15, 100, (50, 150)),
    rank=4,
    free=(X, roll(100, 15 + R * sqrt(2))),
    can=(Z,),
    cannot=(Y, slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+z": "lift"},
    rests=True,
    opposed=(),
    out={"+z": "", "+y": "vee", "-y": "vee", "-z": "table vee", "+x": "", (0, 1, 1): "", LOW: "vee", STEEP: ""},
    leaves=True,
    leave_has=("+z",),
)
VEE_INSIDE = IN_VEE.but(
    name="a tube that overhangs its V, its middle 2 mm inside",
    why="middle of mass at x = 138, the V reaches from 100 to 140",
    build=lambda: in_vee(38, 238, 100, 140),
    touch=vee_touch(90, 15, 100, (100, 140)),
    out={"+z": ""},
)
VEE_OUTSIDE = VEE_INSIDE.but(
    name="a tube that overhangs its V, its middle 2 mm outside",
    why="middle of mass at x = 142, the V ends at 140: it tips",
    build=lambda: in_vee(42, 242, 100, 140),
    listed={},
    rests=False,
)


def two_vees() -> Setup:
    tube = round_tube(0, 200, 100, 15 + R / sin(radians(60)), R, R - 3)
    fixed = {
        "table": slab(),
        "v1": vee(10, 30, 100, 15, 120, 14),
        "v2": vee(170, 190, 100, 15, 120, 14),
        "end": box(-20, 0, 80, 120, 0, 70),
    }
    return tube, fixed


AXIS_120 = 15 + R / sin(radians(60))
TWO_VEES = Case(
    "a tube in two V of 120 degrees against an end stop",
    "the stop takes the slide; it still spins on its axis",
    two_vees,
    jitter=True,
    touch=vee_touch(120, 15, 100, (10, 30), (170, 190)) + on_x(0, 85, 115, AXIS_120 - 15, AXIS_120 + 15),
    rank=5,
    free=(roll(100, AXIS_120),),
    can=(X, Z),
    cannot=(Y, slide(-1, 0, 0), slide(0, 0, -1)),
    listed={"+x": "away", "+z": "lift"},
    rests=True,
    opposed=(),
    out={"-x": "end", "+x": "", "+z": "", "+y": "v1 v2", "-z": "table v1 v2"},
    leaves=True,
)


def round_corner() -> Setup:
    fixed = {"table": slab(), "a": box(80, 120, 50, 80, 0, 60), "b": box(50, 80, 80, 120, 0, 60)}
    return pin(100, 100, 20, 0, 100), fixed


ROUND_CORNER = Case(
    "a round bar on end in a corner of two stops",
    "both normals pass through its axis: it spins there",
    round_corner,
    jitter=True,
    touch=on_z(0, 86, 114, 86, 114)
    + patch((0, 1, 0), (100, 80, 0), (100, 80, 60))
    + patch((1, 0, 0), (80, 100, 0), (80, 100, 60)),
    rank=5,
    free=(spin(100, 100),),
    can=(X, Y, Z),
    cannot=(slide(-1, 0, 0), slide(0, -1, 0)),
    listed={"+x": "away", "+y": "away", "+z": "lift"},
    rests=True,
    opposed=(),
    out={"+x": "", "+y": "", "-x": "b", "-y": "a", "+z": "", "-z": "table", (1, -1, 0): "a"},
    leaves=True,
)


def disc_touch() -> Touch:
    rows = on_z(0, 115, 185, 65, 135)
    for a in (90, 210, 330):
        c, s = cos(radians(a)), sin(radians(a))
        rows += patch((-c, -s, 0), (150 + 50 * c, 100 + 50 * s, 0), (150 + 50 * c, 100 + 50 * s, 12))
    return rows


def disc() -> Setup:
    at = {
        k: (150 + 58 * cos(radians(a)), 100 + 58 * sin(radians(a))) for k, a in zip("abc", (90, 210, 330), strict=True)
    }
    return pin(150, 100, 50, 0, 12), {"table": slab(), **{k: pin(x, y, 8, 0, 30) for k, (x, y) in at.items()}}


DISC = Case(
    "a disc among three dowels",
    "three normals through one point: it spins there, and comes out upwards only",
    disc,
    touch=disc_touch(),
    rank=5,
    free=(spin(150, 100),),
    can=(Z,),
    cannot=(X, Y, slide(-1, 0, 0), slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+z": "lift"},
    rests=True,
    opposed=(),
    out={"+z": "", "+x": "c", "-x": "b", "+y": "a", "-y": "b c", "-z": "table"},
    leaves=True,
    leave_has=("+z",),
)


def bushed() -> Setup:
    bush = minus(box(80, 120, 60, 140, 0, 80), rod((80, 100, 40), (1, 0, 0), 15, 40))
    return rod((20, 100, 40), (1, 0, 0), 15, 160), {"table": slab(), "bush": bush}


BUSHED = Case(
    "a round bar through a bush that fits it",
    "the bore takes all but the slide along and the spin",
    bushed,
    touch=[
        row
        for n in ((0.0, 1.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, -1.0))
        for row in patch(n, (80, 100 - 15 * n[1], 40 - 15 * n[2]), (120, 100 - 15 * n[1], 40 - 15 * n[2]))
    ],
    rank=4,
    free=(X, roll(100, 40)),
    cannot=(Y, Z, slide(0, -1, 0), slide(0, 0, -1), spin(100, 100)),
    rests=True,
    out={"+x": "", "-x": "", "+y": "bush", "-y": "bush", "+z": "bush"},
    leaves=True,
    leave_has=("+x", "-x"),
    leave_only=("+x", "-x"),
)

# ---- square tube, angle, channel, diamond ----


def tube_corner(high: float, end: bool) -> Setup:
    tube = stood(square_tube(0, 200, 40, 3, 6), (0, 20, 20), (1, 0, 0), (0, 0, 1))
    fixed = {"table": slab(), "stop": box(50, 150, -30, 0, 0, high)}
    if end:
        fixed["end"] = box(-20, 0, 0, 40, 0, 60)
    return tube, dict(fixed)


ON_FLAT = on_z(0, 0, 200, 6, 34)
TUBE_CORNER = Case(
    "a square tube against a tall stop and an end stop",
    "its flat on the table, its side on the stop, its cut end: all six",
    lambda: tube_corner(60, True),
    jitter=True,
    touch=ON_FLAT + on_y(0, 50, 150, 6, 34) + on_x(0, 6, 34, 0, 40),
    rank=6,
    can=(X, Y, Z),
    cannot=(slide(-1, 0, 0), slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+x": "away", "+y": "away", "+z": "lift"},
    rests=True,
    opposed=(),
    out={"+x": "", "+y": "", "+z": "", "-x": "end", "-y": "stop", "-z": "table"},
    leaves=True,
)
LOW_STOP = TUBE_CORNER.but(
    name="a square tube of radius 6 against a stop 5 high",
    why="the stop ends on the round of the corner: it is not one to count on",
    build=lambda: tube_corner(5, False),
    tolerance="sloppy",
    jitter=False,
    touch=ON_FLAT,
    rank=3,
    free=(X, Y, spin(0, 0)),
    can=(Z,),
    cannot=(slide(0, 0, -1),),
    listed={"+z": "lift"},
    doubts=("stop",),
    out={"-y": "stop", "+y": "", "+z": ""},
)
HIGH_STOP = TUBE_CORNER.but(
    name="a square tube of radius 6 against a stop 12 high",
    why="6 mm of its flat side bear on the stop",
    build=lambda: tube_corner(12, False),
    jitter=False,
    touch=ON_FLAT + on_y(0, 50, 150, 6, 12),
    rank=5,
    free=(X,),
    can=(Y, Z),
    cannot=(slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+y": "away", "+z": "lift"},
    out={"-y": "stop", "+y": "", "+z": "", "+x": ""},
)


def diamond() -> Setup:
    at, n = (0.0, 100.0, 15 + 20 * sqrt(2)), (0.0, sqrt(0.5), sqrt(0.5))
    tube = stood(square_tube(0, 200, 40, 3, 6), at, (1, 0, 0), n)
    return tube, {"table": slab(), "vee": vee(50, 150, 100, 15, 90, 22)}


def diamond_touch() -> Touch:
    h = sqrt(0.5)

    def at(x: float, along: float, side: float) -> P3:
        return (x, 100 + side * along * h, 15 + along * h)

    rows: Touch = []
    for side in (1.0, -1.0):
        corners = [at(x, along, side) for x in (50, 150) for along in (6, 31.1)]
        rows += patch((0, -side * h, h), *corners)
    return rows


DIAMOND = Case(
    "a square tube on edge in a V of 90 degrees",
    "both lower sides lie flat in the V: only the slide along is left",
    diamond,
    touch=diamond_touch(),
    rank=5,
    free=(X,),
    can=(Z,),
    cannot=(Y, slide(0, -1, 0), slide(0, 0, -1), roll(100, 15 + 20 * sqrt(2))),
    listed={(0, 1, 1): "lift", (0, -1, 1): "lift"},
    rests=True,
    opposed=(),
    out={"+z": "", "+y": "vee", "-y": "vee", "+x": "", (0, 1, 1): "", LOW: "vee", STEEP: ""},
    leaves=True,
)


def saddle() -> Setup:
    u = along_x([(74, 6), (80, 6), (80, 30), (120, 30), (120, 6), (126, 6), (126, 36), (74, 36)], 50, 150)
    return u, {"table": slab(), "bar": box(0, 200, 80, 120, 0, 30)}


SADDLE = Case(
    "a channel astride a bar that fills it",
    "its web rests, its legs grip both sides of one bar: free along only, out upwards or along",
    saddle,
    touch=on_z(30, 50, 150, 80, 120) + on_y(80, 50, 150, 6, 30, -1) + on_y(120, 50, 150, 6, 30),
    rank=5,
    free=(X,),
    can=(Z,),
    cannot=(Y, slide(0, -1, 0), slide(0, 0, -1), spin(100, 100)),
    listed={"+z": "lift"},
    rests=True,
    opposed=(("bar", "bar"),),
    out={"+z": "", "+x": "", "-x": "", "+y": "bar", "-y": "bar", "-z": "table bar", (1, 0, 1): "", (0, 1, 1): "bar"},
    leaves=True,
)


def clamped_angle() -> Setup:
    angle = along_x([(100, 0), (160, 0), (160, 6), (106, 6), (106, 60), (100, 60)], 50, 150)
    fixed = {"table": slab(), "stop": box(60, 140, 70, 100, 0, 50), "clamp": box(80, 120, 106, 130, 6, 40)}
    return angle, fixed


CLAMPED_ANGLE = Case(
    "an angle between stop, table and a clamp in its corner",
    "the clamp faces the stop through one leg and the table through the other: free along only",
    clamped_angle,
    touch=on_z(0, 50, 150, 100, 160)
    + on_y(100, 60, 140, 0, 50)
    + on_z(6, 80, 120, 106, 130, -1)
    + on_y(106, 80, 120, 6, 40, -1),
    rank=5,
    free=(X,),
    cannot=(Y, Z, slide(0, -1, 0), slide(0, 0, -1)),
    rests=True,
    opposed=(("table", "clamp"), ("stop", "clamp")),
    out={"+x": "", "-x": "", "+z": "clamp", "+y": "clamp", "-y": "stop", "-z": "table", (1, 0, 1): "clamp"},
    leaves=True,
    leave_has=("+x", "-x"),
    leave_only=("+x", "-x"),
)

CASES: tuple[Case, ...] = (
    ROUND_BARE, ROUND_STOP, IN_VEE, VEE_INSIDE, VEE_OUTSIDE, TWO_VEES, ROUND_CORNER, DISC, BUSHED,
    TUBE_CORNER, LOW_STOP, HIGH_STOP, DIAMOND, SADDLE, CLAMPED_ANGLE,
)  # fmt: skip
