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
    along_y,
    box,
    minus,
    on_z,
    patch,
    pin,
    plus,
    rod,
    round_tube,
    slab,
    slide,
    slot,
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
)  # fmt: skip
