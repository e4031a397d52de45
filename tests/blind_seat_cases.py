"""Locating, on with `blind_locating_cases.py`: opposed stops, pins, sockets, slanted faces, many bodies."""

from __future__ import annotations

from math import cos, radians, sin, tan

from tests.blind_locating_case import Case, Setup
from tests.blind_locating_cases import risers
from tests.blind_locating_solids import (
    Touch,
    X,
    Y,
    Z,
    along_y,
    bore,
    box,
    holed_table,
    minus,
    on_x,
    on_y,
    on_z,
    patch,
    pin,
    slab,
    slide,
    slot,
    spin,
    turn,
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
    BETWEEN, BETWEEN_SHORT, BETWEEN_CLEAR, BETWEEN_TOUCHING, INSIDE, COUPLE,
    ONE_HOLE, HOLE_AND_SLOT, SLOT_ONLY, TWO_HOLES, LOOSE_HOLE, SOCKET,
    LEANED_OVER, TROUGH, CLAMPED_FRAME, PENNED_FRAME,
)  # fmt: skip
