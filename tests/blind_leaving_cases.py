"""Ways out: undercuts, hooks, rings, dovetails, mazes, gates, with what stops each move worked out by hand.

Written together with `blind_locating_cases.py`, under the same rules. Undercuts are 0.5 mm (stops), 0.02 mm (touching,
does not stop) or a gap of 0.3 mm (clear); nothing is asked in between.
"""

from __future__ import annotations

from math import cos, radians, sin, tan

from tests.blind_locating_case import Case, Setup
from tests.blind_locating_solids import (
    P3,
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
    pin,
    plus,
    rod,
    round_tube,
    slab,
    slide,
    slot,
    spin,
    stood,
    turn,
)


def leant(degrees: float, along: str = "x") -> P3:
    """The way up, leant over by some degrees."""
    s, c = sin(radians(degrees)), cos(radians(degrees))
    return (s, 0, c) if along == "x" else (0, s, c)


# ---- undercuts ----


def lipped(under: float, both: bool = False) -> Setup:
    outline = [(160.0, 0.0), (190.0, 0.0), (190.0, 60.0), (150 - under, 60.0), (150 - under, 40.0), (160.0, 40.0)]
    fixed: dict[str, object] = {"table": slab(), "hook": along_y(outline, 60, 100)}
    if both:
        fixed["other"] = along_y([(200 - x, z) for x, z in outline], 60, 100)
    return box(50, 150, 50, 110, 0, 40), fixed


def lip(under: float, stops: str, what: str) -> Case:
    return Case(
        f"a box beside a lip, {what}",
        "the lip's underside is level with the box's top",
        lambda: lipped(under),
        touch=on_z(0, 50, 150, 50, 110),
        out={"+z": stops, "-x": "", "+x": "hook", "+y": "", "-y": "", "-z": "table"},
        leaves=True,
        leave_has=("-x",),
    )


BOTH_LIPS = lip(0.5, "hook other", "").but(
    name="a box under two lips of 0.5 mm",
    why="each alone stops it upwards, and each upright one stops a side",
    build=lambda: lipped(0.5, both=True),
    out={"+z": "hook other", "-x": "other", "+x": "hook", "+y": "", "-y": ""},
    leave_has=("+y", "-y"),
)


def headed(head: float, stops: str, what: str) -> Case:
    def build() -> Setup:
        plate = minus(box(100, 200, 60, 140, 0, 10), pin(150, 100, 10, 0, 10))
        return plate, {"table": slab(), "pin": plus(pin(150, 100, 8, 0, 12), pin(150, 100, head, 12, 20))}

    return Case(
        f"a plate with a hole of 20 on a pin with a head, {what}",
        "closed round the shank: upwards is the only way, past the head or not",
        build,
        touch=on_z(0, 100, 200, 60, 140),
        out={"+z": stops, "+x": "pin", "-x": "pin", "+y": "pin", (1, 1, 0): "pin", "-z": "table"},
        leaves=not stops,
    )


# ---- dovetails and T-slots ----

T5 = tan(radians(5))


def tail(way: float) -> Setup:
    """Sides of 5 degrees, closing (-1) or opening (1) upwards; from z = 10 to 30, the slot along y."""
    top = 20 + way * 20 * T5
    piece = along_y([(80, 10), (120, 10), (100 + top, 30), (100 + top, 50), (100 - top, 50), (100 - top, 30)], 20, 80)
    cut = along_y([(80, 10), (120, 10), (100 + top, 30), (100 - top, 30)], 0, 100)
    return piece, {"table": slab(), "slot": minus(box(40, 160, 0, 100, 0, 30), cut)}


def tail_case(way: float) -> Case:
    top = 20 + way * 20 * T5
    s, c = sin(radians(5)), cos(radians(5))
    sides = [
        row
        for side in (-1.0, 1.0)
        for row in patch(
            (-side * c, 0, way * s),
            *((100 + side * x, y, z) for x, z in ((20.0, 10.0), (top, 30.0)) for y in (20.0, 80.0)),
        )
    ]
    return Case(
        "a dovetail with sides of 5 degrees" if way < 0 else "a tapered key with sides of 5 degrees",
        "20 deep: 1.75 mm either side; it only slides along" if way < 0 else "it lifts within 5 degrees of upright",
        lambda: tail(way),
        touch=on_z(10, 80, 120, 20, 80) + sides,
        rank=5,
        free=(Y,),
        can=() if way < 0 else (slide(0, 0, 1),),
        cannot=(slide(1, 0, 0), slide(-1, 0, 0), slide(0, 0, -1), *((slide(0, 0, 1),) if way < 0 else ())),
        listed={} if way < 0 else {"+z": "lift"},
        rests=True,
        out={
            "+z": "slot" if way < 0 else "",
            "+y": "",
            "-y": "",
            "+x": "slot",
            "-z": "table slot",
            leant(3): "slot" if way < 0 else "",
            leant(10): "slot",
        },
        leaves=True,
        leave_has=("+y", "-y"),
        leave_only=("+y", "-y") if way < 0 else None,
    )


def tee(caps: int) -> Setup:
    """A T-piece 0.5 mm clear in a T-slot along y, with caps at its ends."""
    piece = along_y([(85, 10), (115, 10), (115, 20), (108, 20), (108, 50), (92, 50), (92, 20), (85, 20)], 30, 70)
    cut = [(84.5, 9.5), (115.5, 9.5), (115.5, 20.5), (108.5, 20.5), (108.5, 40), (91.5, 40), (91.5, 20.5), (84.5, 20.5)]
    fixed: dict[str, object] = {"table": slab(), "tslot": minus(box(60, 140, 0, 100, 0, 40), along_y(cut, 0, 100))}
    if caps > 0:
        fixed["cap"] = box(60, 140, 100, 110, 0, 40)
    if caps > 1:
        fixed["cap2"] = box(60, 140, -10, 0, 0, 40)
    return piece, fixed


def tee_case(caps: int) -> Case:
    back, front = ("cap" if caps > 0 else ""), ("cap2" if caps > 1 else "")
    ways = tuple(way for way, stops in (("+y", back), ("-y", front)) if not stops)
    return Case(
        f"a T-piece in a T-slot with {caps} ends closed",
        "the slot leaves its own line only; each cap takes one sense of it",
        lambda: tee(caps),
        out={
            "+z": "tslot",
            "+x": "tslot",
            "-x": "tslot",
            "-z": "table tslot",
            "+y": back,
            "-y": front,
            leant(3): "tslot",
        },
        leaves=caps < 2,
        leave_has=ways,
        leave_only=ways,
    )


# ---- rings, cones, hooks ----


def ringed(head: float) -> Setup:
    ring = minus(pin(150, 100, 30, 0, 20), pin(150, 100, 20.3, 0, 20))
    post = pin(150, 100, 20, 0, 60)
    return ring, {"table": slab(), "post": plus(post, pin(150, 100, head, 60, 70)) if head else post}


RING = Case(
    "a closed ring round a plain post, 0.3 mm clear",
    "it lifts off; leant over by 5 degrees the post, 40 above it, is in the way",
    lambda: ringed(0),
    out={"+z": "", "+x": "post", "-y": "post", "-z": "table", leant(5): "post", leant(5, "y"): "post"},
    leaves=True,
    leave_has=("+z",),
)
RING_TRAPPED = RING.but(
    name="a closed ring under a post's head",
    why="closed round the post and under its head: no way out",
    build=lambda: ringed(25),
    out={"+z": "post", "+x": "post", "-x": "post", "+y": "post", "-y": "post", "-z": "table", (1, 1, 1): "post"},
    leaves=False,
    leave_has=(),
)


def coned(base: float, tip: float) -> Setup:
    import cadquery as cq

    cone = cq.Solid.makeCone(base, tip, 60, cq.Vector(150, 100, 0))
    ring = minus(pin(150, 100, 40, 20, 40), cone)
    return ring, {"cone": cone, **({"table": slab()} if base > tip else {})}


CONE = Case(
    "a ring that fits a cone, tip up",
    "side of 18.4 degrees: it lifts off within that of upright",
    lambda: coned(30, 10),
    out={
        "+z": "",
        "-z": "table cone",
        "+x": "cone",
        "-y": "cone",
        leant(10): "",
        leant(30): "cone",
        leant(10, "y"): "",
    },
    leaves=True,
    leave_has=("+z",),
)
FUNNEL = CONE.but(
    name="a ring that fits a cone, tip down",
    why="it drops off the tip, and cannot lift",
    build=lambda: coned(10, 30),
    out={"+z": "cone", "-z": "", "+x": "cone", (sin(radians(10)), 0, -cos(radians(10))): "", leant(10): "cone"},
    leave_has=("-z",),
)


def hung() -> Setup:
    outline = [(80, 20), (90, 20), (90, 60), (120, 60), (120, 40), (130, 40), (130, 70), (80, 70)]
    return along_y(outline, 50, 110), {"table": slab(), "bar": box(92, 118, 0, 200, 40, 60)}


HUNG = Case(
    "a hook hung over a bar",
    "a leg on each side of the bar: up or along, not sideways",
    hung,
    out={
        "+z": "",
        "-z": "table bar",
        "+x": "bar",
        "-x": "bar",
        "+y": "",
        "-y": "",
        (1, 0, 1): "bar",
        (1, 0, 40): "",
        (0, 1, 1): "",
        (0, 1, -1): "table bar",
    },
    leaves=True,
    leave_has=("+z", "+y", "-y"),
)


def open_ring(opening: float, stops: str, what: str) -> Case:
    """A ring of bore 40.6 with an opening toward +x, round a headed post of 40."""

    def build() -> Setup:
        ring = minus(
            pin(150, 100, 30, 5, 25), pin(150, 100, 20.3, 5, 25), box(150, 190, 100 - opening, 100 + opening, 5, 25)
        )
        return ring, {"table": slab(), "post": plus(pin(150, 100, 20, 0, 60), pin(150, 100, 28, 60, 70))}

    return Case(
        f"an open ring round a headed post, its opening {what}",
        "it can only go so that the post comes out of the opening",
        build,
        out={"-x": stops, "+x": "post", "+y": "post", "-y": "post", "+z": "post", "-z": "table"},
        leaves=not stops,
        leave_has=() if stops else ("-x",),
    )


def keyhole() -> Setup:
    opening = (slot(150, 180, 100, 8.5, 0, 10), pin(180, 100, 12, 0, 10))
    plate = minus(box(100, 240, 60, 140, 0, 10), *opening)
    return plate, {"table": slab(), "pin": plus(pin(150, 100, 8, 0, 11), pin(150, 100, 11, 11, 20))}


KEYHOLE = Case(
    "a plate with a keyhole, the headed pin in its narrow end",
    "it takes two moves, along and up: no single straight way",
    keyhole,
    out={"+z": "pin", "+x": "pin", "-x": "pin", "+y": "pin", "-y": "pin", "-z": "table", (-1, 0, 1): "pin"},
    leaves=False,
)


def collared(r: float) -> Setup:
    """A tube of bore 30 on a rod with a collar of 34 at one end and of 2r at the other."""
    tube = round_tube(0, 100, 0, 0, 20, 15)
    inner = plus(
        rod((-20, 0, 0), (1, 0, 0), 10, 140), rod((-20, 0, 0), (1, 0, 0), 17, 15), rod((105, 0, 0), (1, 0, 0), r, 15)
    )
    return tube, {"rod": inner}


def collar(r: float, stops: str, what: str) -> Case:
    return Case(
        f"a tube on a rod between collars, the second one {what}",
        "it can only leave past the smaller collar",
        lambda: collared(r),
        out={"+x": stops, "-x": "rod", "+y": "rod", "+z": "rod", "-z": "rod", (1, 1, 0): "rod"},
        leaves=not stops,
        leave_has=() if stops else ("+x",),
        leave_only=None if stops else ("+x",),
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
    lip(0.5, "hook", "0.5 mm under it"), lip(0.02, "", "0.02 mm under it"), lip(-0.3, "", "0.3 mm clear of it"),
    BOTH_LIPS,
    headed(10.5, "pin", "0.5 mm over all round"), headed(10.02, "", "0.02 mm over all round"),
    headed(9.7, "", "0.3 mm clear"),
    tail_case(-1), tail_case(1), tee_case(0), tee_case(1), tee_case(2),
    RING, RING_TRAPPED, CONE, FUNNEL, HUNG,
    open_ring(20.3, "", "0.3 mm clear either side"), open_ring(19.98, "", "0.02 mm too narrow either side"),
    open_ring(19.5, "post", "0.5 mm too narrow either side"), KEYHOLE,
    collar(14.7, "", "0.3 mm clear"), collar(15.5, "rod", "0.5 mm over"),
    IN_PIPE, PIPE_CLEAR, SLANTED_PEN, MAZE, BOXED, BRIDGED, SLANTED_PEG,
    gate(-0.3, "", "0.3 mm clear of its post"), gate(0.02, "", "0.02 mm into its post"),
    gate(0.5, "post", "0.5 mm into its post"), CORNER_TOUCH, MITRED, MITRED_HOOKED, MESH_RING,
    *(ceiling(a) for a in (1, 5, 45, 85, 89)), CROSSED, KEYED, WALLED,
)  # fmt: skip
