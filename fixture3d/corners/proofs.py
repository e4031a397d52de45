"""What every block must keep, each proof a function from a built block to sentences that say what is wrong.

No sentence, nothing wrong. Numbers are mm in the model's own frame.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

import numpy as np

from fixture3d import frame
from fixture3d.corners.built import EMPTY, SAME, Built, Inside, bores, common, in_a_bore, inward, ring
from fixture3d.part import NORMALS, Part, Pin, face_down
from fixture3d.solid import kernel
from fixture3d.tolerance import NUMERIC

OFF_GRID: Final = 0.01  # mm; what a dowel in its fit makes up for, common practice, no source


def solids(block: Built, case: str = "default") -> Iterator[str]:
    """Every body is one valid solid, and together they fill the declared box."""
    lows, highs = [], []
    for name, solid in block.solids.items():
        who = _body(name)
        kind = solid.ShapeType() if hasattr(solid, "ShapeType") else type(solid).__name__
        if kind != "Solid":
            yield f"{who} is a {kind}; expected one cadquery Solid"
            continue
        if not kernel.is_valid(solid.wrapped):
            yield f"{who} is not a valid solid: it is open, or its faces cross"
        if not kernel.volume(solid.wrapped) > 0.0:
            yield f"{who} has no volume, or is inside out"
        box = solid.BoundingBox()
        if block.roles[name] == "block":
            lows.append((box.xmin, box.ymin, box.zmin))
            highs.append((box.xmax, box.ymax, box.zmax))
    if not lows:
        yield "it has no body of the role block"
        return
    low, high = block.part.box()
    found = (np.min(lows, axis=0), np.max(highs, axis=0))
    if max(np.abs(found[0] - low).max(), np.abs(found[1] - high).max()) > SAME:
        reach = f"{_point(found[0])} to {_point(found[1])}"
        yield f"box() says {_point(low)} to {_point(high)}, but its bodies reach {reach}"
    shank = max((pin.depth for pin in block.part.pins() if pin.integral), default=0.0)
    if block.part.stands != "edge" and abs(low[2] + shank) > SAME:  # what hooks over the edge goes below the table
        yield f"its lowest point is z = {_number(low[2])}; expected {_number(-shank)}: the seat is z = 0"


def pins(block: Built, case: str = "default") -> Iterator[str]:
    """Bores lie in the foot, have steel round them, and take a dowel to their depth."""
    part, radius = block.part, block.part.pattern.bore / 2.0
    if part.stands != "pins":
        if part.pins():
            yield f'it stands on {part.stands} and has pins; expected stands = "pins", or no pins'
        return
    if not part.pins():
        yield "it has no pins: nothing holds it on the table"
        return
    names = [(pin.name, pin.face) for pin in part.pins()]
    if len(set(names)) != len(names):
        twice = sorted({name for name, face in names if names.count((name, face)) > 1})
        yield f"two pins of one face have one name: {', '.join(twice)}"
    if tuple(part.pins()[0].at) != (0.0, 0.0, 0.0):
        at = _point(part.pins()[0].at)
        yield f"its first pin is at {at}; expected (0, 0, 0): the origin lies under the first pin"
    yield from _off_the_grid(part)
    solid = Inside(block.blocks().values())
    for pin in bores(part):
        yield from _bore(block, pin, radius, solid)


def _off_the_grid(part: Part) -> Iterator[str]:
    """Pins that find no hole at any turn by 45 degrees, whichever other pin of their face stands in one."""
    for pin in part.pins():
        offs = {other.name: _off(part, pin, other) for other in part.pins() if other.face == pin.face and other != pin}
        near = min(offs, key=lambda name: offs[name], default="")
        if near and offs[near] > OFF_GRID:
            yield (
                f"bore {pin.name} of the {pin.face} is {_number(offs[near])} mm off the holes of the table when bore "
                f"{near} stands in one; expected whole pitches between them, along the table or at 45 degrees"
            )


def _off(part: Part, pin: Pin, other: Pin) -> float:
    """How far a pin is off the nearest hole, mm along an axis of the table, while the other one stands in a hole."""
    x, y, _ = face_down(pin.face)[:3, :3] @ (np.asarray(pin.at) - np.asarray(other.at))
    ways = ((x, y), ((x - y) * math.sqrt(0.5), (x + y) * math.sqrt(0.5)))
    pitch = part.pattern.pitch
    return float(min(max(abs(v - pitch * round(v / pitch)) for v in way) for way in ways))


def _bore(block: Built, pin: Pin, radius: float, solid: Inside) -> Iterator[str]:
    import cadquery as cq
    from shapely import Point as Spot
    from shapely import Polygon

    part, who = block.part, f"bore {pin.name} of the {pin.face}"
    low, high = (np.asarray(corner) for corner in part.box())
    at, way = np.asarray(pin.at), inward(pin)
    axis = int(np.argmax(np.abs(way)))
    turned = face_down(pin.face)[:3, :3] @ at
    if abs(turned[2] + part.seat_height(pin.face)) > SAME:
        yield f"{who} begins {_number(abs(turned[2] + part.seat_height(pin.face)))} mm off that face"
    foot, mouth = Polygon(part.foot(pin.face)), Spot(turned[0], turned[1])
    if not foot.is_valid or not foot.exterior.is_ccw:
        yield f"foot({pin.face!r}) crosses itself or runs clockwise; expected counter-clockwise"
        return
    if not foot.contains(mouth) or foot.exterior.distance(mouth) < radius - SAME:
        yield f"{who} leaves the foot"
    for i in {0, 1, 2} - {axis}:
        wall = min(at[i] - low[i], high[i] - at[i]) - radius
        if wall < 0.5 * radius:
            yield f"{who} has {_number(wall)} mm of steel beside it along {'XYZ'[i]}; expected {_number(0.5 * radius)}"
    dowel = cq.Solid.makeCylinder(radius, pin.depth, cq.Vector(*at), cq.Vector(*way))
    for name, body in block.blocks().items():
        if common(dowel, body) >= EMPTY:
            yield f"a dowel in {who} runs into {_body(name)}: the bore is missing, too narrow or not so deep"
    near = min(0.05, pin.depth / 2.0)  # a shim may be thinner than 0.05 mm
    last, past = at + way * (pin.depth - near), at + way * (pin.depth + near)
    around = ring(way, radius + 0.02)
    if not any(solid(last + r) for r in around):
        yield f"{who} is wider than the hole pattern's bore, or not as deep as it says"
    if not solid(past) and any(solid(past + r) for r in around):
        yield f"{who} goes on past its depth of {_number(pin.depth)}"


def sockets(block: Built, case: str = "default") -> Iterator[str]:
    """Sockets are open, as deep as they say, and stand over the bores or on half pitches."""
    solid = Inside(block.blocks().values())
    below = {(round(p.at[0], 6), round(p.at[1], 6)) for p in block.part.pins() if p.face == "bottom"}
    for socket in block.part.sockets():
        who = f"socket {socket.name} of the {socket.face}"
        at, way = np.asarray(socket.at), -np.asarray(NORMALS[socket.face])
        if (round(at[0], 6), round(at[1], 6)) not in below:  # its own grid, on the half pitches of the table's
            off = [k for k in range(3) if not way[k] or socket.face != "top"]
            halves = at[off] / (block.part.pattern.pitch / 2.0)
            if np.abs(halves - np.round(halves)).max() > 1e-9:
                yield f"{who} stands neither over a bore nor on half pitches: a block on it is off the grid"
        if any(solid(at + way * depth) for depth in (-0.05, 0.02, socket.depth / 2.0, socket.depth - 0.02)):
            yield f"{who} is filled with steel: the bore is missing or not so deep"
        around = ring(way, block.part.pattern.bore / 2.0 + 0.02)
        if not any(solid(at + way * socket.depth / 2.0 + r) for r in around):
            yield f"{who} has no steel round it: it is wider than the bore"


def pads(block: Built, case: str = "default") -> Iterator[str]:
    """Pads are flat on the surface all over, steel behind and none before."""
    part = block.part
    names = [pad.name for pad in part.pads()]
    if len(set(names)) != len(names):
        yield f"two pads have one name: {', '.join(sorted({n for n in names if names.count(n) > 1}))}"
    tested = 0
    for pad in part.pads():
        who = f'pad "{pad.name}"'
        normal, along = np.asarray(pad.normal), np.asarray(pad.along)
        if not (pad.length > 0.0 and pad.width >= 0.0):
            yield f"{who} is {_number(pad.length)} x {_number(pad.width)} mm; expected a length above 0"
            continue
        if abs(np.linalg.norm(normal) - 1.0) > 1e-6 or abs(np.linalg.norm(along) - 1.0) > 1e-6:
            yield f"{who}: normal and along must each be 1 long"
            continue
        if abs(normal @ along) > 1e-12:
            yield f"{who}: along must be square to normal"
            continue
        solid = Inside(s for name, s in block.blocks().items() if block.moves[name] == pad.moves)
        across, edge = np.cross(normal, along), 1e-3
        hollow = proud = False
        for u, v in itertools.product(np.linspace(-0.5, 0.5, 5), np.linspace(-0.5, 0.5, 5)):
            if pad.width == 0.0 and v:
                continue
            point = np.asarray(pad.at) + along * u * (pad.length - edge) + across * v * max(0.0, pad.width - edge)
            if in_a_bore(part, point, normal):
                continue
            if not solid(point - normal * 1e-3) and not hollow:
                hollow = True
                yield f"{who} has no steel behind it at {_point(point)}"
            if solid(point + normal * 1e-3) and not proud:
                proud = True
                yield f"{who} has steel before it at {_point(point)}"
            tested += 1
    if part.pads() and not tested:
        yield "none of its pads could be looked at: bores open all over them"


def meshes(block: Built, case: str = "default") -> Iterator[str]:
    """The mesh of each body has the volume of its solid within the chord."""
    for name, solid in block.solids.items():
        mesh = block.mesh(name)
        exact, bound = kernel.volume(solid.wrapped), NUMERIC.chord * kernel.surface(solid.wrapped)
        if abs(mesh.volume - exact) > (1e-6 * exact if mesh.planar else bound):
            yield f"{_body(name)} meshes to {_number(mesh.volume)} mm3, but is {_number(exact)} mm3"


def moves(block: Built, case: str = "default") -> Iterator[str]:
    """A moving body is clear of the fixed ones and of the dowels, at every notch."""
    move = block.part.move()
    if move is None:
        if any(block.moves.values()):
            yield "a body moves, but move() gives None"
        return
    if abs(np.linalg.norm(move.axis) - 1.0) > 1e-6 or not move.travel > 0.0:
        yield "move(): the axis must be 1 long and the travel above 0"
        return
    moving = [n for n in block.blocks() if block.moves[n]]
    fixed = [n for n in block.blocks() if not block.moves[n]]
    if not moving or not fixed:
        yield "it has a move; expected a body that moves and one that stays"
        return
    step = move.notch if move.notch is not None else move.travel / 4.0
    last = move.notches if move.notch is not None else 4
    for notch in sorted({0, 1, last // 2, last} if case == "default" else {0, last}):
        offset = np.asarray(move.axis) * notch * step
        for a, b in itertools.product(moving, fixed):
            if block.meet(a, b, offset):
                yield f"{_body(a)} runs into {_body(b)} when it is {_number(notch * step)} mm out"
    yield from _dowels(block, moving, last * step)


def _dowels(block: Built, moving: list[str], out: float) -> Iterator[str]:
    import manifold3d

    move = block.part.move()
    assert move is not None
    radius = block.part.pattern.bore / 2.0 - 2.0 * NUMERIC.chord  # within the round ends of a slot's mesh
    for pin in bores(block.part):  # the dowels stay with the fixed bodies
        dowel = manifold3d.Manifold.cylinder(pin.depth, radius, radius, 64)
        pose = frame.along(pin.at, inward(pin), np.roll(np.abs(inward(pin)), 1))
        for far in (0.0, out):
            away = frame.chain(frame.translation(-np.asarray(move.axis) * far), pose)
            for a in moving:
                if (dowel.transform(away[:3]) ^ block.mesh(a).manifold).volume() >= EMPTY:
                    yield f"{_body(a)} runs into the dowel of bore {pin.name} when it is {_number(far)} mm out"


Proof = Callable[..., Iterator[str]]
ALL: Final[Mapping[str, Proof]] = {
    "solids": solids,
    "pins": pins,
    "sockets": sockets,
    "pads": pads,
    "meshes": meshes,
    "moves": moves,
}


def _body(name: str) -> str:
    return f'its body "{name}"' if name else "its main body"


def _number(value: float) -> str:
    return f"{float(value):.3f}".rstrip("0").rstrip(".")


def _point(point: Any) -> str:
    return "(" + ", ".join(_number(float(c) + 0.0) for c in point) + ")"
