"""Locating: pieces among fixed bodies with rank, free motions and rest worked out by hand.

Written from geometry alone, without a look at the code that is judged or at its other tests. How the set was scored
first, and what came of each miss, stands in `test_blind_locating.py`. Contacts are written down point by point, so that
a test can show that rank, free motions and rest follow from them by the locating Jacobian (row: normal, point x normal;
H. Asada and A. B. By, IEEE J. Robotics and Automation RA-1(2), 1985), with nothing of the project's.
"""

from __future__ import annotations

from math import cos, radians, sin, sqrt, tan

from tests.blind_locating_case import Case, Setup
from tests.blind_locating_solids import (
    P3,
    Touch,
    X,
    Y,
    Z,
    along_x,
    along_y,
    bore,
    box,
    carried,
    holed_table,
    minus,
    on_x,
    on_y,
    on_z,
    patch,
    pin,
    plus,
    rod,
    roll,
    round_tube,
    slab,
    slide,
    slot,
    spin,
    square_tube,
    stood,
    turn,
    vee,
)

# ---- boxes on flats and stops ----


def bare() -> Setup:
    return box(50, 150, 50, 110, 0, 40), {"table": holed_table()}


BARE = Case(
    "box on the bare table",
    "one flat takes three: it slides both ways and turns, and gravity holds it down",
    bare,
    touch=on_z(0, 50, 150, 50, 110),
    rank=3,
    free=(X, Y, spin(100, 80)),
    can=(Z,),
    cannot=(slide(0, 0, -1), turn((1, 0, 0), (0, 80, 0)), turn((0, 1, 0), (100, 0, 0))),
    listed={"+z": "lift"},
    rests=True,
    opposed=(),
    out={
        "+z": "",
        "-z": "table",
        "+x": "",
        "-x": "",
        "+y": "",
        "-y": "",
        (1, 0, -1): "table",
        (1, 0, 1): "",
        (3, 2, 0): "",
    },
    leaves=True,
)

RISERS = {"r1": (30, 30), "r2": (170, 30), "r3": (100, 95)}
ON_RISERS = [row for x, y in RISERS.values() for row in on_z(25, x - 10, x + 10, y - 10, y + 10)]


def risers(*places: tuple[float, float]) -> dict[str, object]:
    """Blocks 20 by 20, 25 high."""
    return {f"r{i}": box(x - 10, x + 10, y - 10, y + 10, 0, 25) for i, (x, y) in enumerate(places, 1)}


def three_two_one(gap: float = 0) -> Setup:
    fixed = {
        "table": holed_table(),
        **risers(*RISERS.values()),
        "side1": box(20, 40, -24, 0, 0, 55),
        "side2": box(160, 180, -24, 0, 0, 55),
        "end": box(-24 - gap, -gap, 50, 70, 0, 55),
    }
    return box(0, 200, 0, 120, 25, 65), fixed


SIDES = on_y(0, 20, 40, 25, 55) + on_y(0, 160, 180, 25, 55)
END = on_x(0, 50, 70, 25, 55)
THREE_TWO_ONE = Case(
    "three risers, two side stops, an end stop",
    "3-2-1: all six taken, each one way; it leaves its stops and lifts",
    three_two_one,
    jitter=True,
    touch=ON_RISERS + SIDES + END,
    rank=6,
    can=(X, Y, Z),
    cannot=(slide(-1, 0, 0), slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+x": "away", "+y": "away", "+z": "lift"},
    rests=True,
    opposed=(),
    over=False,
    out={
        "+z": "",
        "+x": "",
        "+y": "",
        "-x": "end",
        "-y": "side1 side2",
        "-z": "table r1 r2 r3",
        (1, 1, 1): "",
        (1, -1, 0): "side1 side2",
        (1, 1, -0.2): "table r1 r2 r3",
    },
    leaves=True,
    leave_has=("+z",),
)
GONE_ONE = {
    "touch": ON_RISERS + SIDES,
    "rank": 5,
    "free": (X,),
    "can": (Y, Z),
    "cannot": (slide(0, -1, 0), slide(0, 0, -1)),
    "listed": {"+y": "away", "+z": "lift"},
}
END_SHORT = THREE_TWO_ONE.but(
    name="the end stop stands 1 mm short",
    why="a stop that does not touch takes nothing: free along its length, both ways",
    build=lambda: three_two_one(1),
    jitter=False,
    out={"-x": "end", "+x": "", "+z": ""},
    **GONE_ONE,
)
END_TOUCHES = THREE_TWO_ONE.but(
    name="the end stop 0.01 mm off, drawn true",
    why="0.01 mm is touching",
    build=lambda: three_two_one(0.01),
    tolerance="clean",
    jitter=False,
    out={"-x": "end"},
)
END_CLEAR = THREE_TWO_ONE.but(
    name="the end stop 0.3 mm off, drawn true",
    why="0.3 mm is a clear gap where things are drawn true",
    build=lambda: three_two_one(0.3),
    tolerance="clean",
    jitter=False,
    out={"-x": "end"},
    **GONE_ONE,
)
PRESSED = THREE_TWO_ONE.but(
    name="pulled into the corner of 3-2-1",
    why="the pull goes through the middle of mass, which lies inside every stop's reach: all three flats carry it",
    gravity=(-1, -1, -1),
    listed={},
    jitter=False,
    out={},
)
PULLED_OFF = PRESSED.but(
    name="pulled away from the end stop of 3-2-1", why="nothing holds it along +x", gravity=(1, -1, -1), rests=False
)


def meshes() -> Setup:
    import trimesh

    def mesh(x0: float, x1: float, y0: float, y1: float, z0: float, z1: float) -> object:
        return trimesh.creation.box(bounds=[[x0, y0, z0], [x1, y1, z1]])

    fixed = {f"r{i}": mesh(x - 10, x + 10, y - 10, y + 10, 0, 25) for i, (x, y) in enumerate(RISERS.values(), 1)}
    fixed["table"] = mesh(-25, 325, -25, 225, -12, 0)
    fixed["side1"], fixed["side2"] = mesh(20, 40, -24, 0, 0, 55), mesh(160, 180, -24, 0, 0, 55)
    fixed["end"] = mesh(-24, 0, 50, 70, 0, 55)
    return mesh(0, 200, 0, 120, 25, 65), fixed


MESHED = THREE_TWO_ONE.but(name="3-2-1 all of meshes", why="the same as solids", build=meshes)


def doweled(*at: tuple[float, float]) -> Setup:
    fixed = {"table": slab(), **risers(*RISERS.values())}
    fixed |= {f"d{i}": pin(x, y, 8, 0, 55) for i, (x, y) in enumerate(at, 1)}
    return box(0, 200, 0, 120, 25, 65), fixed


def dowel_y(x: float) -> Touch:
    return patch((0, 1, 0), (x, 0, 25), (x, 0, 55))


def dowel_x(y: float) -> Touch:
    return patch((1, 0, 0), (0, y, 25), (0, y, 55))


TWO_DOWELS = Case(
    "one dowel at the side, one at the end",
    "both normals meet at (100, 60): it can turn there, and about nothing else",
    lambda: doweled((100, -8), (-8, 60)),
    jitter=True,
    touch=ON_RISERS + dowel_y(100) + dowel_x(60),
    rank=5,
    free=(spin(100, 60),),
    can=(X, Y, Z),
    cannot=(slide(-1, 0, 0), slide(0, -1, 0), spin(200, 60)),
    rests=True,
    opposed=(),
    out={"-x": "d2", "-y": "d1", "+x": "", "+y": "", "+z": ""},
    leaves=True,
)
THREE_DOWELS = Case(
    "two dowels at the side, one at the end",
    "3-2-1 with round stops: all six",
    lambda: doweled((30, -8), (170, -8), (-8, 60)),
    jitter=True,
    touch=ON_RISERS + dowel_y(30) + dowel_y(170) + dowel_x(60),
    rank=6,
    can=(X, Y, Z),
    cannot=(slide(-1, 0, 0), slide(0, -1, 0), turn((0, 0, -1), (30, 60, 0))),
    listed={"+x": "away", "+y": "away", "+z": "lift"},
    rests=True,
    opposed=(),
    over=False,
    out={"-x": "d3", "-y": "d1 d2", "+x": "", "+y": "", "+z": ""},
    leaves=True,
)
DOWELS_IN_LINE = Case(
    "three dowels along one side",
    "the third says again what two say: one too many there, and free along x",
    lambda: doweled((30, -8), (100, -8), (170, -8)),
    touch=ON_RISERS + dowel_y(30) + dowel_y(100) + dowel_y(170),
    rank=5,
    free=(X,),
    can=(Y, Z),
    cannot=(slide(0, -1, 0), turn((0, 0, -1), (30, 60, 0))),
    listed={"+y": "away", "+z": "lift"},
    rests=True,
    opposed=(),
    over=True,
    out={"-y": "d1 d2 d3", "+x": "", "-x": ""},
    leaves=True,
)

# ---- supports and the middle of mass ----

FOUR = ((30, 30), (170, 30), (170, 90), (30, 90))
FOUR_RISERS = Case(
    "four rigid risers",
    "three would do: the fourth rocks or lifts; it slides and turns on them",
    lambda: (box(0, 200, 0, 120, 25, 65), {"table": holed_table(), **risers(*FOUR)}),
    jitter=True,
    touch=[row for x, y in FOUR for row in on_z(25, x - 10, x + 10, y - 10, y + 10)],
    rank=3,
    free=(X, Y, spin(0, 0)),
    can=(Z,),
    cannot=(slide(0, 0, -1),),
    listed={"+z": "lift"},
    rests=True,
    opposed=(),
    over=True,
    out={"-z": "table r1 r2 r3 r4", "+z": ""},
)
ROW = ((30, 60), (100, 60), (170, 60))
RISERS_IN_ROW = FOUR_RISERS.but(
    name="three risers in one row",
    why="they stand in a line: 20 mm wide it rests, but only just is kept from rocking",
    build=lambda: (box(0, 200, 0, 120, 25, 65), {"table": holed_table(), **risers(*ROW)}),
    jitter=False,
    touch=[row for x, y in ROW for row in on_z(25, x - 10, x + 10, y - 10, y + 10)],
    out={"-z": "table r1 r2 r3", "+z": ""},
)


def rods_in_row() -> Setup:
    def rest(x0: float, x1: float) -> object:
        return plus(box(x0, x1, 45, 55, 0, 19), rod((x0, 50, 19), (1, 0, 0), 6, x1 - x0))

    fixed = {"table": slab(), "a": rest(20, 40), "b": rest(90, 110), "c": rest(160, 180)}
    return box(0, 200, 0, 120, 25, 65), fixed


RODS_IN_ROW = Case(
    "three round rests on one line, 10 mm beside the middle",
    "collinear: they take down and one tilt; the middle of mass is beside the line, so it rolls over",
    rods_in_row,
    touch=patch((0, 0, 1), (20, 50, 25), (40, 50, 25), (90, 50, 25), (110, 50, 25), (160, 50, 25), (180, 50, 25)),
    rank=2,
    free=(X, Y, spin(0, 0), roll(50, 25)),
    can=(Z,),
    cannot=(slide(0, 0, -1), turn((0, 1, 0), (100, 0, 25))),
    rests=False,
    opposed=(),
    out={"-z": "table a b c", "+z": ""},
)


def two_risers(x0: float) -> Setup:
    fixed = {"table": slab(), "r1": box(10, 30, 10, 50, 0, 25), "r2": box(x0, x0 + 20, 10, 50, 0, 25)}
    return box(0, 200, 0, 60, 25, 55), fixed


MASS_INSIDE = Case(
    "middle of mass 2 mm inside the last riser",
    "at x = 100; the supports reach to x = 102",
    lambda: two_risers(82),
    touch=on_z(25, 10, 30, 10, 50) + on_z(25, 82, 102, 10, 50),
    rank=3,
    free=(X, Y, spin(0, 0)),
    can=(Z,),
    cannot=(slide(0, 0, -1),),
    rests=True,
    opposed=(),
    out={"+z": "", "-z": "table r1 r2"},
)
MASS_OUTSIDE = MASS_INSIDE.but(
    name="middle of mass 2 mm outside the last riser",
    why="at x = 100; the supports reach to x = 98: it tips over that edge",
    build=lambda: two_risers(78),
    touch=on_z(25, 10, 30, 10, 50) + on_z(25, 78, 98, 10, 50),
    rests=False,
)


def elbow(*at: tuple[float, float]) -> Setup:
    plate = plus(box(0, 200, 0, 40, 25, 35), box(0, 40, 40, 200, 25, 35))
    return plate, {"table": slab(), **risers(*at)}


ELBOW = ((20, 20), (180, 20), (20, 180))
ELBOW_RESTS = Case(
    "an L-shaped plate on a support at each end and at the corner",
    "its middle of mass (64.4, 64.4) is in the air, yet inside the triangle x + y < 220",
    lambda: elbow(*ELBOW),
    jitter=True,
    touch=[row for x, y in ELBOW for row in on_z(25, x - 10, x + 10, y - 10, y + 10)],
    rank=3,
    free=(X, Y, spin(0, 0)),
    can=(Z,),
    cannot=(slide(0, 0, -1),),
    rests=True,
    opposed=(),
    out={"+z": "", "-z": "table r1 r2 r3"},
)
ONE_ARM = ((20, 20), (100, 20), (180, 20))
ELBOW_TIPS = ELBOW_RESTS.but(
    name="an L-shaped plate on supports under one arm",
    why="they reach to y = 30 and the middle of mass is at y = 64.4",
    build=lambda: elbow(*ONE_ARM),
    touch=[row for x, y in ONE_ARM for row in on_z(25, x - 10, x + 10, y - 10, y + 10)],
    rests=False,
)
FLOATS = Case(
    "a box 1 mm above its riser",
    "it touches nothing: no motion is taken, and it falls",
    lambda: (box(0, 100, 0, 60, 26, 66), {"table": slab(), "r": box(20, 80, 10, 50, 0, 25)}),
    rank=0,
    free=(X, Y, Z, turn((1, 0, 0), (0, 0, 0)), turn((0, 1, 0), (0, 0, 0)), spin(0, 0)),
    rests=False,
    opposed=(),
    out={"+z": "", "+x": "", "-z": "table r"},
    leaves=True,
)

# ---- ramps ----


def ramp_frame(a: float) -> tuple[P3, P3, P3]:
    """Origin, up the slope, and square off it; the slope rises along x."""
    s, c = sin(radians(a)), cos(radians(a))
    return (50, 50, 60), (c, 0, s), (-s, 0, c)


def ramp(a: float, stop: bool = False) -> Setup:
    at, u, n = ramp_frame(a)
    fixed = {"ramp": stood(box(0, 200, 0, 100, -20, 0), at, u, n)}
    if stop:
        fixed["stop"] = stood(box(40, 60, 30, 70, 0, 20), at, u, n)
    return stood(box(60, 120, 30, 70, 0, 30), at, u, n), dict(fixed)


def on_ramp(a: float) -> Case:
    at, u, n = ramp_frame(a)
    return Case(
        f"a box on a slope of {a:g} degrees",
        "nothing stops it down the slope; any move with a part into the slope is stopped",
        lambda: ramp(a),
        touch=carried(on_z(0, 60, 120, 30, 70), at, u, n),
        rank=3,
        free=(slide(*u), Y, turn(n, at)),
        can=(slide(*n), Z),
        cannot=(slide(-n[0], -n[1], -n[2]), slide(0, 0, -1), X),
        rests=False,
        opposed=(),
        out={u: "", (-u[0], 0, -u[2]): "", n: "", "+z": "", "-z": "ramp", "+x": "ramp", "-x": "", "+y": ""},
        leaves=True,
    )


def stopped_ramp() -> Case:
    at, u, n = ramp_frame(30)
    return on_ramp(30).but(
        name="a box on a slope of 30 degrees against a stop",
        why="the stop's foot carries what the slope does not; free across only",
        build=lambda: ramp(30, stop=True),
        jitter=True,
        touch=carried(on_z(0, 60, 120, 30, 70) + on_x(60, 30, 70, 0, 20), at, u, n),
        rank=5,
        free=(Y,),
        can=(slide(*n), slide(*u)),
        cannot=(slide(-u[0], 0, -u[2]), slide(0, 0, -1)),
        rests=True,
        out={u: "", (-u[0], 0, -u[2]): "stop", n: "", "+y": "", "-y": ""},
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

# ---- opposed stops ----


def between(gap: float) -> Setup:
    fixed = {"table": holed_table(), "a": box(60, 140, 20, 50, 0, 30), "b": box(60, 140, 110 + gap, 140 + gap, 0, 30)}
    return box(50, 150, 50, 110, 0, 40), fixed


BETWEEN = Case(
    "a box between two hard stops",
    "they push straight against each other: free along, and up",
    lambda: between(0),
    jitter=True,
    touch=on_z(0, 50, 150, 50, 110) + on_y(50, 60, 140, 0, 30) + on_y(110, 60, 140, 0, 30, -1),
    rank=5,
    free=(X,),
    can=(Z,),
    cannot=(Y, slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+z": "lift"},
    rests=True,
    opposed=(("a", "b"),),
    out={"+z": "", "+x": "", "-x": "", "+y": "b", "-y": "a", "-z": "table"},
    leaves=True,
)
BETWEEN_SHORT = BETWEEN.but(
    name="a box between two hard stops, one 1 mm short",
    why="only one touches: nothing is opposed, and it leaves that one",
    build=lambda: between(1),
    jitter=False,
    touch=on_z(0, 50, 150, 50, 110) + on_y(50, 60, 140, 0, 30),
    can=(Y, Z),
    cannot=(slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+y": "away", "+z": "lift"},
    opposed=(),
)
BETWEEN_CLEAR = BETWEEN_SHORT.but(
    name="a box between two hard stops, one 0.3 mm clear, drawn true",
    why="0.3 mm is clear where things are drawn true",
    build=lambda: between(0.3),
    tolerance="clean",
)
BETWEEN_TOUCHING = BETWEEN.but(
    name="a box between two hard stops, one 0.01 mm off, drawn true",
    why="0.01 mm is touching: opposed",
    build=lambda: between(0.01),
    tolerance="clean",
    jitter=False,
)


def inside_stops(y1: float, y2: float) -> Setup:
    frame = minus(box(0, 200, 0, 150, 0, 40), box(40, 160, 40, 110, 0, 40))
    return frame, {"table": slab(), "d1": pin(48, y1, 8, 0, 50), "d2": pin(152, y2, 8, 0, 50)}


def inside_touch(y1: float, y2: float) -> Touch:
    rows = on_z(0, 0, 200, 0, 150) + patch((-1, 0, 0), (40, y1, 0), (40, y1, 40))
    return rows + patch((1, 0, 0), (160, y2, 0), (160, y2, 40))


INSIDE = Case(
    "a closed frame round two inside dowels in line",
    "they push it apart on one line: it slides across and turns; closed round them, it only lifts out",
    lambda: inside_stops(75, 75),
    jitter=True,
    touch=inside_touch(75, 75),
    rank=4,
    free=(Y, spin(100, 75)),
    can=(Z,),
    cannot=(X, slide(-1, 0, 0), slide(0, 0, -1)),
    listed={"+z": "lift"},
    rests=True,
    opposed=(("d1", "d2"),),
    out={"+z": "", "+x": "d1 d2", "-x": "d1 d2", "+y": "d1 d2", "-y": "d1 d2", "-z": "table"},
    leaves=True,
    leave_has=("+z",),
)
COUPLE = INSIDE.but(
    name="a closed frame round two inside dowels 40 apart",
    why="they make a couple: one sense of turning is stopped, the other leaves both",
    build=lambda: inside_stops(55, 95),
    touch=inside_touch(55, 95),
    rank=5,
    free=(Y,),
    can=(Z, turn((0, 0, -1), (100, 75, 0))),
    cannot=(X, slide(-1, 0, 0), spin(100, 75)),
    opposed=None,
)

# ---- holes, slots, sockets ----


def drilled(*cuts: tuple[float, float], pins: tuple[float, ...], r: float = 8) -> Setup:
    plate = box(100, 260, 60, 140, 0, 10)
    plate = minus(plate, *(pin(a, 100, 8, 0, 10) if a == b else slot(a, b, 100, 8, 0, 10) for a, b in cuts))
    return plate, {"table": holed_table(), **{f"p{i}": pin(x, 100, r, -12, 30) for i, x in enumerate(pins, 1)}}


PLATE = on_z(0, 100, 260, 60, 140)
ACROSS = patch((0, 1, 0), (200, 108, 0), (200, 108, 10)) + patch((0, -1, 0), (200, 92, 0), (200, 92, 10))
ONE_HOLE = Case(
    "a plate with a round hole on a pin",
    "the pin takes both slides: it turns about the pin, and lifts off",
    lambda: drilled((150, 150), pins=(150,)),
    touch=PLATE + bore(150, 100, 8, 0, 10),
    rank=5,
    free=(spin(150, 100),),
    can=(Z,),
    cannot=(X, Y, slide(-1, 0, 0), slide(0, -1, 0), slide(0, 0, -1)),
    listed={"+z": "lift"},
    rests=True,
    out={"+z": "", "+x": "p1", "-x": "p1", "+y": "p1", "-z": "table"},
    leaves=True,
    leave_has=("+z",),
)
HOLE_AND_SLOT = ONE_HOLE.but(
    name="a plate with a hole and a slot on two pins",
    why="the slot takes the turn and leaves the pitch free: all six, none twice",
    build=lambda: drilled((150, 150), (194, 206), pins=(150, 200)),
    touch=PLATE + bore(150, 100, 8, 0, 10) + ACROSS,
    rank=6,
    free=(),
    cannot=(X, Y, slide(-1, 0, 0), slide(0, -1, 0), slide(0, 0, -1), spin(150, 100)),
    out={"+z": "", "+x": "p1 p2", "-x": "p1 p2", "+y": "p1 p2", "-z": "table"},
)
SLOT_ONLY = ONE_HOLE.but(
    name="a plate with a slot on one pin",
    why="the pin takes the slide across; it slides along the slot and turns about the pin",
    build=lambda: drilled((188, 212), pins=(200,)),
    touch=PLATE + ACROSS,
    rank=4,
    free=(X, spin(200, 100)),
    cannot=(Y, slide(0, -1, 0), slide(0, 0, -1)),
)
TWO_HOLES = HOLE_AND_SLOT.but(
    name="a plate with two round holes on two pins of 15.98, drawn true",
    why="0.01 mm round the pins is touching: all six",
    build=lambda: drilled((150, 150), (200, 200), pins=(150, 200), r=7.99),
    tolerance="clean",
    touch=PLATE + bore(150, 100, 8, 0, 10) + bore(200, 100, 8, 0, 10),
)
LOOSE_HOLE = ONE_HOLE.but(
    name="a plate with a hole of 16 round a pin of 15",
    why="0.5 mm all round: the pin does not touch, yet the plate cannot go sideways past it",
    build=lambda: drilled((150, 150), pins=(150,), r=7.5),
    touch=PLATE,
    rank=3,
    free=(X, Y, spin(150, 100)),
    cannot=(slide(0, 0, -1),),
)


def socket() -> Setup:
    body = minus(box(0, 80, 0, 80, 0, 50), box(20, 60, 20, 60, 10, 50))
    return box(20, 60, 20, 60, 10, 90), {"table": slab(), "socket": body}


SOCKET = Case(
    "a square bar on end in a blind socket",
    "all four sides and the floor: all six taken, opposed both ways, out straight up only",
    socket,
    touch=on_z(10, 20, 60, 20, 60)
    + on_x(20, 20, 60, 10, 50)
    + on_x(60, 20, 60, 10, 50, -1)
    + on_y(20, 20, 60, 10, 50)
    + on_y(60, 20, 60, 10, 50, -1),
    rank=6,
    can=(Z,),
    cannot=(X, Y, slide(-1, 0, 0), slide(0, -1, 0), spin(40, 40), turn((0, 0, -1), (40, 40, 0))),
    listed={"+z": "lift"},
    rests=True,
    opposed=(("socket", "socket"),),
    out={
        "+z": "",
        "+x": "socket",
        "+y": "socket",
        "-z": "table socket",
        (sin(radians(1)), 0, cos(radians(1))): "socket",
    },
    leaves=True,
    leave_has=("+z",),
    leave_only=("+z",),
)

# ---- slanted faces ----

S10, C10, S30, C30 = sin(radians(10)), cos(radians(10)), sin(radians(30)), cos(radians(30))


def leaned_over() -> Setup:
    top = 100 - 40 * tan(radians(30))
    piece = along_y([(0, 0), (100, 0), (top, 40), (0, 40)], 50, 110)
    return piece, {"table": slab(), "over": along_y([(100, 0), (140, 0), (140, 40), (top, 40)], 50, 110)}


LEANED_OVER = Case(
    "a piece with a slanted side under a stop that leans over it",
    "the stop pushes it back and down: it cannot lift, only leave sideways or along the slant",
    leaned_over,
    jitter=True,
    touch=on_z(0, 0, 100, 50, 110)
    + patch((-C30, 0, -S30), *((100 - z * tan(radians(30)), y, z) for y in (50, 110) for z in (0.0, 40.0))),
    rank=5,
    free=(Y,),
    can=(slide(-1, 0, 0), slide(-S30, 0, C30)),
    cannot=(X, Z, slide(0, 0, -1)),
    listed={"-x": "away"},
    rests=True,
    opposed=(),
    out={"+z": "over", "+x": "over", "-x": "", "+y": "", "-y": "", (-S30, 0, C30): "", "-z": "table"},
    leaves=True,
)


def half(z: float) -> float:
    """Half the width of the wedge at a height."""
    return 20 + (z - 10) * tan(radians(10))


def trough() -> Setup:
    piece = along_y([(100 - half(10), 10), (100 + half(10), 10), (100 + half(50), 50), (100 - half(50), 50)], 50, 110)

    def cheek(way: float) -> object:
        outline = [(100 + way * x, z) for x, z in ((60, 0), (half(0), 0), (half(45), 45), (60, 45))]
        return along_y(outline, 50, 110)

    return piece, {"table": slab(), "left": cheek(-1), "right": cheek(1)}


def trough_touch() -> Touch:
    rows: Touch = []
    for way in (-1, 1):
        corners = [(100 + way * half(z), y, z) for y in (50.0, 110.0) for z in (10.0, 45.0)]
        rows += patch((-way * C10, 0, S10), *corners)
    return rows


TROUGH = Case(
    "a wedge in a trough with sides of 10 degrees",
    "two flats that are not parallel: only the slide along their common line is left",
    trough,
    touch=trough_touch(),
    rank=5,
    free=(Y,),
    can=(Z,),
    cannot=(X, slide(-1, 0, 0), slide(0, 0, -1), turn((0, 1, 0), (100, 0, 30))),
    listed={"+z": "lift"},
    rests=True,
    out={
        "+z": "",
        "+x": "right",
        "-x": "left",
        "-z": "table left right",
        (sin(radians(5)), 0, cos(radians(5))): "",
        (sin(radians(20)), 0, cos(radians(20))): "right",
    },
    leaves=True,
)

# ---- many bodies ----

CORNERS = ((20, 20), (280, 20), (280, 180), (20, 180))


def big_frame() -> object:
    return minus(box(0, 300, 0, 200, 25, 65), box(40, 260, 40, 160, 25, 65))


def clamped_frame() -> Setup:
    fixed: dict[str, object] = {"table": slab(), **risers(*CORNERS)}
    fixed |= {"s1": box(60, 80, -24, 0, 0, 60), "s2": box(220, 240, -24, 0, 0, 60), "e": box(-24, 0, 90, 110, 0, 60)}
    fixed |= {f"k{i}": box(x - 10, x + 10, y - 10, y + 10, 65, 85) for i, (x, y) in enumerate(CORNERS, 1)}
    return big_frame(), fixed


FRAME_STOPS = on_y(0, 60, 80, 25, 60) + on_y(0, 220, 240, 25, 60)
CLAMPED_FRAME = Case(
    "a frame on four risers, two stops and one, under four clamps",
    "all six; four rigid supports are one too many; the clamps hold it down",
    clamped_frame,
    jitter=True,
    touch=[row for x, y in CORNERS for row in on_z(25, x - 10, x + 10, y - 10, y + 10)]
    + [row for x, y in CORNERS for row in on_z(65, x - 10, x + 10, y - 10, y + 10, -1)]
    + FRAME_STOPS
    + on_x(0, 90, 110, 25, 60),
    rank=6,
    can=(X, Y),
    cannot=(Z, slide(0, 0, -1), slide(-1, 0, 0), slide(0, -1, 0)),
    listed={"+x": "away", "+y": "away"},
    rests=True,
    opposed_in=(("r1", "k1"), ("r3", "k3")),
    over=True,
    out={
        "+z": "k1 k2 k3 k4",
        "-z": "table r1 r2 r3 r4",
        "+x": "",
        "+y": "",
        "-x": "e",
        "-y": "s1 s2",
        (1, 1, 0): "",
        (1, 1, 0.5): "k1 k2 k3 k4",
    },
    leaves=True,
)


def penned_frame() -> Setup:
    fixed: dict[str, object] = {"table": slab(), **risers((20, 20), (280, 20), (150, 180))}
    fixed |= {"s1": box(60, 80, -24, 0, 0, 60), "s2": box(220, 240, -24, 0, 0, 60), "e": box(-24, 0, 90, 110, 0, 60)}
    fixed |= {"b1": box(60, 80, 200, 224, 0, 60), "b2": box(220, 240, 200, 224, 0, 60)}
    fixed["f"] = box(300, 324, 90, 110, 0, 60)
    return big_frame(), fixed


PENNED_FRAME = Case(
    "a frame on three risers with hard stops on all four sides",
    "all six, every side opposed: it comes out upwards",
    penned_frame,
    jitter=True,
    touch=[row for x, y in ((20, 20), (280, 20), (150, 180)) for row in on_z(25, x - 10, x + 10, y - 10, y + 10)]
    + FRAME_STOPS
    + on_y(200, 60, 80, 25, 60, -1)
    + on_y(200, 220, 240, 25, 60, -1)
    + on_x(0, 90, 110, 25, 60)
    + on_x(300, 90, 110, 25, 60, -1),
    rank=6,
    can=(Z,),
    cannot=(X, Y, slide(-1, 0, 0), slide(0, -1, 0), slide(0, 0, -1), spin(150, 100)),
    listed={"+z": "lift"},
    rests=True,
    opposed_in=(("s1", "b1"), ("s2", "b2"), ("e", "f")),
    out={"+z": "", "+x": "f", "-x": "e", "+y": "b1 b2", "-y": "s1 s2", "-z": "table r1 r2 r3"},
    leaves=True,
    leave_has=("+z",),
)

CASES: tuple[Case, ...] = (
    BARE, THREE_TWO_ONE, END_SHORT, END_TOUCHES, END_CLEAR, PRESSED, PULLED_OFF, MESHED,
    TWO_DOWELS, THREE_DOWELS, DOWELS_IN_LINE,
    FOUR_RISERS, RISERS_IN_ROW, RODS_IN_ROW, MASS_INSIDE, MASS_OUTSIDE, ELBOW_RESTS, ELBOW_TIPS, FLOATS,
    *(on_ramp(a) for a in (1, 30, 89)), stopped_ramp(),
    ROUND_BARE, ROUND_STOP, IN_VEE, VEE_INSIDE, VEE_OUTSIDE, TWO_VEES, ROUND_CORNER, DISC, BUSHED,
    TUBE_CORNER, LOW_STOP, HIGH_STOP, DIAMOND, SADDLE, CLAMPED_ANGLE,
    BETWEEN, BETWEEN_SHORT, BETWEEN_CLEAR, BETWEEN_TOUCHING, INSIDE, COUPLE,
    ONE_HOLE, HOLE_AND_SLOT, SLOT_ONLY, TWO_HOLES, LOOSE_HOLE, SOCKET,
    LEANED_OVER, TROUGH, CLAMPED_FRAME, PENNED_FRAME,
)  # fmt: skip
