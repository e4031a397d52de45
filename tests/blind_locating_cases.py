"""Locating: pieces among fixed bodies with rank, free motions and rest worked out by hand.

Written from geometry alone, without a look at the code that is judged or at its other tests. How the set was scored
first, and what came of each miss, stands in `test_blind_locating.py`. Contacts are written down point by point, so that
a test can show that rank, free motions and rest follow from them by the locating Jacobian (row: normal, point x normal;
H. Asada and A. B. By, IEEE J. Robotics and Automation RA-1(2), 1985), with nothing of the project's.
"""

from __future__ import annotations

from math import cos, radians, sin

from tests.blind_locating_case import Case, Setup
from tests.blind_locating_solids import (
    P3,
    Touch,
    X,
    Y,
    Z,
    box,
    carried,
    holed_table,
    on_x,
    on_y,
    on_z,
    patch,
    pin,
    plus,
    rod,
    roll,
    slab,
    slide,
    spin,
    stood,
    turn,
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


CASES: tuple[Case, ...] = (
    BARE, THREE_TWO_ONE, END_SHORT, END_TOUCHES, END_CLEAR, PRESSED, PULLED_OFF, MESHED,
    TWO_DOWELS, THREE_DOWELS, DOWELS_IN_LINE,
    FOUR_RISERS, RISERS_IN_ROW, RODS_IN_ROW, MASS_INSIDE, MASS_OUTSIDE, ELBOW_RESTS, ELBOW_TIPS, FLOATS,
    *(on_ramp(a) for a in (1, 30, 89)), stopped_ramp(),
)  # fmt: skip
