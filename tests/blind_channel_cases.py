"""Ways out, on with `blind_leaving_cases.py`: channels, mazes, boxes, gates, tacked frames."""

from __future__ import annotations

from math import cos, radians, sin, tan

from tests.blind_leaving_cases import leant
from tests.blind_locating_case import Case, Setup
from tests.blind_locating_solids import (
    Y,
    along_x,
    along_y,
    along_z,
    bore,
    box,
    carried,
    minus,
    on_x,
    on_y,
    on_z,
    patch,
    plus,
    rod,
    slab,
    slide,
    spin,
    stood,
    turn,
)

# ---- channels, mazes, boxes ----

PIPE = (cos(radians(20)) * cos(radians(37)), cos(radians(20)) * sin(radians(37)), sin(radians(20)))
PIPE_UP = (-sin(radians(20)) * cos(radians(37)), -sin(radians(20)) * sin(radians(37)), cos(radians(20)))
PIPE_AT = (60.0, 40.0, 80.0)
BACK = (-PIPE[0], -PIPE[1], -PIPE[2])


def pipe(clear: float, plugged: bool) -> Setup:
    """A bar 40 by 40 by 100 in a square pipe 200 long that points 37 degrees in plan and 20 up."""
    h = 20 + clear
    shell = minus(box(0, 200, -30, 30, -30, 30), box(0, 200, -h, h, -h, h))
    fixed = {"pipe": stood(shell, PIPE_AT, PIPE, PIPE_UP)}
    if plugged:
        fixed["plug"] = stood(box(200, 210, -30, 30, -30, 30), PIPE_AT, PIPE, PIPE_UP)
    return stood(box(60, 160, -20, 20, -20, 20), PIPE_AT, PIPE, PIPE_UP), dict(fixed)


IN_PIPE = Case(
    "a bar that fills a slanted square pipe, both ends open",
    "free along the pipe only; it slides down it, for nothing holds it there",
    lambda: pipe(0, False),
    touch=carried(
        on_z(-20, 60, 160, -20, 20) + on_z(20, 60, 160, -20, 20, -1) + on_y(-20, 60, 160, -20, 20)
        + on_y(20, 60, 160, -20, 20, -1),
        PIPE_AT, PIPE, PIPE_UP,
    ),
    rank=5,
    free=(slide(*PIPE),),
    cannot=(slide(1, 0, 0), slide(0, 0, 1), slide(0, 0, -1), turn(PIPE, PIPE_AT)),
    rests=False,
    opposed=(("pipe", "pipe"),),
    out={PIPE: "", BACK: "", "+x": "pipe", "-x": "pipe", "+y": "pipe", "+z": "pipe", "-z": "pipe"},
    leaves=True,
    leave_has=(PIPE, BACK),
    leave_only=(PIPE, BACK),
)  # fmt: skip
PIPE_CLEAR = IN_PIPE.but(
    name="a bar 0.5 mm clear in a slanted square pipe, one end plugged",
    why="only the way back out of the open end is left",
    build=lambda: pipe(0.5, True),
    touch=[],
    rank=None,
    free=(),
    cannot=(),
    rests=None,
    opposed=None,
    out={PIPE: "plug", BACK: "", "+x": "pipe plug", "-x": "pipe", "+z": "pipe", "-z": "pipe"},
    leave_has=(BACK,),
    leave_only=(BACK,),
)


def slanted_pen() -> Setup:
    t = tan(radians(30))
    piece = along_y([(100, 0), (160, 0), (160 + 40 * t, 40), (100 + 40 * t, 40)], 60, 100)
    fixed = {
        "table": slab(),
        "left": along_y([(60, 0), (100, 0), (100 + 40 * t, 40), (60, 40)], 60, 100),
        "right": along_y([(160, 0), (220, 0), (220, 40), (160 + 40 * t, 40)], 60, 100),
        "front": box(60, 220, 40, 60, 0, 40),
        "back": box(60, 220, 100, 120, 0, 40),
    }
    return piece, dict(fixed)


def pen_touch() -> list[tuple[float, float, float, float, float, float]]:
    t, s, c = tan(radians(30)), sin(radians(30)), cos(radians(30))
    rows = on_z(0, 100, 160, 60, 100)
    for x, way in ((100.0, 1.0), (160.0, -1.0)):
        rows += patch((way * c, 0, -way * s), *((x + z * t, y, z) for z in (0.0, 40.0) for y in (60.0, 100.0)))
    for y, way in ((60.0, 1.0), (100.0, -1.0)):
        rows += patch((0, way, 0), *((x + z * t, y, z) for z in (0.0, 40.0) for x in (100.0, 160.0)))
    return rows


SLANTED_PEN = Case(
    "a slanted piece in a slanted pen, open at the top",
    "sides of 30 degrees, ends upright: one way out, 30 degrees off upright",
    slanted_pen,
    touch=pen_touch(),
    rank=6,
    can=(slide(*leant(30)),),
    cannot=(slide(0, 0, 1), slide(1, 0, 0), slide(-1, 0, 0), Y, slide(0, -1, 0)),
    rests=True,
    opposed_in=(("front", "back"),),
    out={
        leant(30): "",
        "+z": "left",
        "+x": "right",
        "-x": "left",
        "+y": "back",
        "-y": "front",
        leant(20): "left",
        leant(40): "right",
    },
    leaves=True,
    leave_has=(leant(30),),
    leave_only=(leant(30),),
)


def maze() -> Setup:
    fixed = {
        "table": slab(),
        "south": box(80, 180, 29, 39.5, 0, 20.3),
        "west": box(79, 89.5, 29, 71, 0, 20.3),
        "north": box(80, 149, 60.5, 130, 0, 20.3),
        "east": box(170.5, 180, 29, 130, 0, 20.3),
        "roof": box(70, 190, 20, 140, 20.5, 30),
    }
    return box(90, 110, 40, 60, 0, 20), dict(fixed)


MAZE = Case(
    "a block in a roofed corridor with a corner",
    "along, then across: two moves, no single straight way",
    maze,
    out={
        "+x": "east",
        "-x": "west",
        "+y": "north",
        "-y": "south",
        "+z": "roof",
        "-z": "table",
        (1, 1, 0): "north east",
        (-1, 0, 1): "west roof",
    },
    leaves=False,
)


def boxed() -> Setup:
    shell = minus(box(50, 170, 40, 140, 0, 90), box(60, 160, 50, 130, 10, 80))
    return box(80, 130, 60, 110, 10, 50), {"table": slab(), "shell": shell}


BOXED = Case(
    "a box that lies inside a closed box",
    "it rests on the floor and slides about in there; there is no way out",
    boxed,
    touch=on_z(10, 80, 130, 60, 110),
    rank=3,
    free=(slide(1, 0, 0), Y, spin(0, 0)),
    can=(slide(0, 0, 1),),
    cannot=(slide(0, 0, -1),),
    listed={"+z": "lift"},
    rests=True,
    opposed=(),
    out={
        "+x": "shell",
        "-x": "shell",
        "+y": "shell",
        "-y": "shell",
        "+z": "shell",
        "-z": "table shell",
        (1, 2, 3): "shell",
    },
    leaves=False,
)


def bridged() -> Setup:
    bridge = along_y([(60, 0), (75, 0), (75, 50), (145, 50), (145, 0), (160, 0), (160, 70), (60, 70)], 60, 100)
    return box(80, 140, 40, 120, 0, 40), {"table": slab(), "bridge": bridge}


BRIDGED = Case(
    "a box under a bridge",
    "5 mm clear on both sides, 10 above: it comes out at either mouth",
    bridged,
    out={"+y": "", "-y": "", "+z": "bridge", "+x": "bridge", "-x": "bridge", (0, 1, 1): "bridge", (0, 6, 0.1): ""},
    leaves=True,
    leave_has=("+y", "-y"),
)


def slanted_peg() -> Setup:
    at, way = (100.0, 100.0, 20.0), leant(7)
    block = minus(box(60, 140, 60, 140, 0, 60), rod(at, way, 10.2, 60))
    return rod(at, way, 10, 90), {"table": slab(), "block": block}


SLANTED_PEG = Case(
    "a peg in a blind bore that leans by 7 degrees",
    "0.2 mm round it, 40 deep: out along the bore only, not straight up",
    slanted_peg,
    tolerance="sloppy",
    touch=carried(
        bore(0, 0, 10, 0, 39) + on_z(0, -7, 7, -7, 7), (100, 100, 20), (cos(radians(7)), 0, -sin(radians(7))), leant(7)
    ),
    rank=5,
    free=(turn(leant(7), (100, 100, 20)),),
    can=(slide(*leant(7)),),
    cannot=(slide(1, 0, 0), slide(0, 1, 0), slide(0, 0, -1)),
    rests=True,
    out={leant(7): "", "+z": "block", "+x": "block", "-z": "table block", leant(14): "block"},
    leaves=True,
    leave_has=(leant(7),),
    leave_only=(leant(7),),
)

# ---- gates and things afar ----


def gate(into: float, stops: str, what: str) -> Case:
    def build() -> Setup:
        fixed = {"table": slab(), "post": box(250, 270, 110 - into, 140, 0, 50), "mate": box(250, 270, 20, 45, 0, 50)}
        return box(50, 150, 50, 110, 0, 40), dict(fixed)

    return Case(
        f"a box before a gate 100 mm off, {what}",
        "what stands in the swept way stops it, however far; what it brushes past does not",
        build,
        touch=on_z(0, 50, 150, 50, 110),
        out={"+x": stops, "+z": "", "-x": "", (1, 0.1, 0): "post", (1, 0, 1): "", (1, -0.15, 0): "mate"},
        leaves=True,
    )


CORNER_TOUCH = Case(
    "two boxes that touch at an upright edge",
    "both faces are in line with the moves: it slides past either way, not across",
    lambda: (box(50, 150, 50, 110, 0, 40), {"table": slab(), "post": box(150, 190, 110, 150, 0, 60)}),
    out={"+x": "", "+y": "", (1, 1, 0): "post", "-x": "", "-y": "", (1, -1, 0): ""},
    leaves=True,
)


def members() -> list[object]:
    """Four mitred members, 300 by 200 over all, 40 wide."""
    return [
        along_z([(0, 0), (300, 0), (260, 40), (40, 40)], 0, 40),
        along_z([(300, 0), (300, 200), (260, 160), (260, 40)], 0, 40),
        along_z([(300, 200), (0, 200), (40, 160), (260, 160)], 0, 40),
        along_z([(0, 200), (0, 0), (40, 40), (40, 160)], 0, 40),
    ]


def mitred(hook: bool, named: bool) -> Setup:
    fixed: dict[str, object] = {
        "table": slab(),
        "post": box(140, 160, 90, 110, 0, 60),
        "o1": box(-20, 0, 80, 120, 0, 30),
        "o2": box(300, 320, 80, 120, 0, 30),
        "o3": box(130, 170, -20, 0, 0, 30),
        "o4": box(130, 170, 200, 220, 0, 30),
    }
    if hook:
        fixed["pad"] = box(270, 290, 90, 110, 41, 60)
    work = members()
    return {f"m{i}": member for i, member in enumerate(work, 1)} if named else work, fixed


MITRED = Case(
    "four mitred members as one between outside stops and round a post",
    "tacked, they move as one: closed round the post, out upwards",
    lambda: mitred(False, False),
    jitter=True,
    out={
        "+z": "",
        "+x": "o2 post",
        "-x": "o1 post",
        "+y": "o4 post",
        "-y": "o3 post",
        "-z": "table",
        (1, 1, 0): "o2 o4 post",
    },
)
MITRED_HOOKED = MITRED.but(
    name="four mitred members as one with a clamp pad over one of them",
    why="the pad 1 mm above one member stops them all",
    build=lambda: mitred(True, True),
    out={"+z": "pad", "+x": "o2 post", "+y": "o4 post", leant(10): "o2 pad"},
)


def mesh_ring() -> Setup:
    import trimesh

    ring = trimesh.creation.annulus(21, 30, 20, sections=48).apply_translation([100, 100, 10])
    post = trimesh.creation.cylinder(20, 60, sections=48).apply_translation([100, 100, 30])
    return ring, {"post": post, "table": trimesh.creation.box(bounds=[[0, 0, -12], [250, 200, 0]])}


MESH_RING = Case(
    "a ring and a post as meshes, 1 mm clear",
    "as round solids: it lifts off, and cannot go sideways",
    mesh_ring,
    out={"+z": "", "+x": "post", "-y": "post", "-z": "table", (1, 1, 0): "post"},
    leaves=True,
    leave_has=("+z",),
)


def ceiling(a: float) -> Case:
    """A box under a plate that slopes by a: the plate stands off no move but into it."""
    s, c = sin(radians(a)), cos(radians(a))
    at, u, n = (50.0, 50.0, 60.0), (c, 0.0, s), (-s, 0.0, c)

    def build() -> Setup:
        plate = stood(box(0, 200, 0, 100, 30, 50), at, u, n)
        return stood(box(60, 120, 30, 70, 0, 30), at, u, n), {"plate": plate}

    return Case(
        f"a box under a plate that slopes by {a:g} degrees",
        "up and back go into the plate, along its slope is touching",
        build,
        out={
            "+z": "plate",
            "-x": "plate",
            "+x": "",
            "-z": "",
            u: "",
            (-s, 0.0, c): "plate",
            (s, 0.0, -c): "",
            "+y": "",
        },
        leaves=True,
    )


def crossed() -> Setup:
    """A bar through a window in a fixed plate, with a cross bar on its far side."""
    plate = minus(box(95, 105, 0, 200, 0, 120), box(95, 105, 85, 115, 45, 75))
    piece = plus(box(40, 160, 90, 110, 50, 70), box(40, 60, 60, 140, 50, 70))
    return piece, {"table": slab(), "plate": plate}


CROSSED = Case(
    "a T-bar through a window",
    "its head is wider than the window: out on the head's side only",
    crossed,
    out={"-x": "", "+x": "plate", "+y": "plate", "-y": "plate", "+z": "plate", "-z": "table plate"},
    leaves=True,
    leave_has=("-x",),
    leave_only=None,
)


def key_in_hub() -> Setup:
    """A shaft with a key rib in a keyed hub: along only, 0.3 mm clear."""
    shaft = plus(rod((40, 100, 60), (1, 0, 0), 15, 120), box(40, 160, 96, 104, 70, 80))
    hub = minus(
        box(80, 120, 60, 140, 20, 100), rod((80, 100, 60), (1, 0, 0), 15.3, 40), box(80, 120, 95.7, 104.3, 60, 80.3)
    )
    return shaft, {"hub": hub, "wall": along_x([(60, 0), (140, 0), (140, 110), (60, 110)], 200, 210)}


KEYED = Case(
    "a keyed shaft in a hub, a wall behind it",
    "along, away from the wall 40 mm off",
    key_in_hub,
    out={"-x": "", "+x": "wall", "+y": "hub", "-y": "hub", "+z": "hub", "-z": "hub"},
    leaves=True,
    leave_has=("-x",),
    leave_only=("-x",),
)

WALLED = Case(
    "a box in a corner of two walls on the table",
    "any way that has no part into a wall or the table",
    lambda: (
        box(0, 60, 0, 60, 0, 40),
        {"table": slab(), "wx": box(-20, 0, -20, 100, 0, 80), "wy": box(0, 100, -20, 0, 0, 80)},
    ),
    jitter=True,
    touch=on_z(0, 0, 60, 0, 60) + on_x(0, 0, 60, 0, 40) + on_y(0, 0, 60, 0, 40),
    rank=6,
    can=(slide(1, 0, 0), Y, slide(0, 0, 1)),
    cannot=(slide(-1, 0, 0), slide(0, -1, 0), slide(0, 0, -1)),
    rests=True,
    opposed=(),
    out={
        "+x": "",
        "+y": "",
        "+z": "",
        "-x": "wx",
        "-y": "wy",
        (1, 1, 1): "",
        (-0.1, 1, 1): "wx",
        (1, -0.1, 1): "wy",
        (1, 1, -0.1): "table",
        (-1, -1, 0.2): "wx wy",
    },
    leaves=True,
)

CASES: tuple[Case, ...] = (
    IN_PIPE, PIPE_CLEAR, SLANTED_PEN, MAZE, BOXED, BRIDGED, SLANTED_PEG,
    gate(-0.3, "", "0.3 mm clear of its post"), gate(0.02, "", "0.02 mm into its post"),
    gate(0.5, "post", "0.5 mm into its post"), CORNER_TOUCH, MITRED, MITRED_HOOKED, MESH_RING,
    *(ceiling(a) for a in (1, 5, 45, 85, 89)), CROSSED, KEYED, WALLED,
)  # fmt: skip
