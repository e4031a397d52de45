"""Aim a clamp: from the piece that it presses to the turn, reach and height that put its tip on it.

Only what the scene leaves open is worked out; what it gives is left alone, and the checks say whether the tip lands.
Also where the tip ends up, and what stands against its push.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import PlacedPad, Seat, placed_pads
from fixture3d.job.plane import Plane
from fixture3d.part import Part, Pattern, Pin, Tip, parameters
from fixture3d.scene.schema import Clamp
from fixture3d.tolerance import NUMERIC, SHOP

if TYPE_CHECKING:
    from fixture3d.job import Body
    from fixture3d.job.weldment import Piece, Weldment

_LEVEL = 0.5  # of the vertical part of a push: below it the clamp pushes level, not down
AGAINST = -0.1  # cosine: a pad whose normal is more against the push than this takes part of it


@dataclass(frozen=True, kw_only=True)
class Stand:
    """Where a clamp stands before it is aimed.

    Attributes:
        plane: what it stands on.
        at: the anchor pin's place in the plane, mm.
        turn: the turn the scene gives, or its default, degrees.
        anchor: the pin that stands there.
    """

    plane: Plane
    at: tuple[float, float]
    turn: float
    anchor: Pin | None


class OutOfReach(ValueError):
    """The piece lies outside the throat of a clamp on the table's edge or in a slot; the text has the nearest reach."""


def aim(item: Clamp, part: Part, stand: Stand, piece: Body, weldment: Weldment) -> tuple[dict[str, float], float]:
    """Parameters and turn that bring the tip on to the piece.

    Args:
        item: the clamp of the scene.
        part: the clamp with its default measures.
        stand: where it stands.
        piece: the piece it presses.
        weldment: for the piece's own axis.

    Returns:
        Derived parameters (``reach``, ``work_height``, ``height``), those that the model has and the scene leaves
        open; and the turn in degrees.

    Raises:
        ValueError: ``at`` is beyond the piece's end, or the piece has no axis to measure along.
        OutOfReach: the clamp hooks over the edge and the piece is not within its throat.
    """
    known = parameters(type(part))
    tip = part.tip()
    if tip is None:
        return {}, stand.turn
    if part.stands == "edge":
        return _across(item, part, stand, piece, weldment), stand.turn
    turn, at = stand.turn, np.asarray(stand.at)
    to_plane = frame.inverse(stand.plane.to_world)
    derived: dict[str, float] = {}
    foot = stand.anchor.at if stand.anchor is not None else (0.0, 0.0, 0.0)
    arm = np.asarray(tip.at[:2]) - np.asarray(foot[:2])
    reach = float(np.linalg.norm(arm))
    if reach <= 0.0:  # it works over its own middle, as a magnet does, and nothing can be turned or reached
        return _heights(item, part, highest(piece, to_plane, at)), turn
    target = _target(item, part, at, reach, to_plane, weldment)
    if target is not None:
        way = target - at
        distance = float(np.linalg.norm(way))
        if "turn" not in item.model_fields_set and distance > 0.0:
            turn = math.degrees(math.atan2(way[1], way[0]) - math.atan2(arm[1], arm[0])) % 360.0
        if "reach" in known and "reach" not in item.with_:
            derived["reach"] = _of(part, "reach") + distance - reach
    if abs(tip.direction[2]) < _LEVEL:
        return _level(item, part, target, (at, turn, reach), piece, to_plane, weldment), turn
    longer = derived.get("reach", _of(part, "reach")) - _of(part, "reach")
    c, s = frame.cos_sin(turn)
    along = arm * (1.0 + longer / reach) if reach > 0.0 else arm
    spot = at + np.array([c * along[0] - s * along[1], s * along[0] + c * along[1]])
    return {**derived, **_heights(item, part, highest(piece, to_plane, spot))}, turn


def _level(
    item: Clamp,
    part: Part,
    target: Array | None,
    stand: tuple[Array, float, float],
    piece: Body,
    to_plane: Array,
    weldment: Weldment,
) -> dict[str, float]:
    """Height and reach of a clamp that pushes level: at the piece's axis, up to its side.

    Args:
        item: the clamp of the scene.
        part: the clamp with its default measures.
        target: the point of the piece's axis that it pushes towards, in the plane; None for a piece without one.
        stand: where its anchor stands in the plane, its turn, and from the anchor to its tip with those measures.
        piece: the piece.
        to_plane: world to the plane.
        weldment: for the piece's axis.
    """
    known, (at, turn, reach) = parameters(type(part)), stand
    out: dict[str, float] = {}
    if target is None:
        return out
    asked = asked_point(item, part.pattern, weldment)
    if asked is not None:
        height = float(frame.points(to_plane, asked)[2])
    else:
        flat = [tuple(frame.points(to_plane, p) for p in ends) for ends in _stretches(item.presses or "", weldment)]
        height = min(_over(target, start, end) for start, end in flat)[1]
    if "work_height" in known and "work_height" not in item.with_:
        out["work_height"] = height
    if "reach" in known and "reach" not in item.with_:
        c, s = frame.cos_sin(turn)
        from_here = np.array([at[0], at[1], out.get("work_height", _of(part, "work_height"))])
        ahead = _ahead(piece, to_plane, from_here, np.array([c, s, 0.0]))
        if ahead is not None:
            out["reach"] = _of(part, "reach") + ahead - reach
    return out


def _over(spot: Array, start: Array, end: Array) -> tuple[float, float]:
    """How far a spot (2,) is from a line (3,) to (3,) seen from above, and the height of the line there, mm."""
    span = end - start
    share = float((spot - start[:2]) @ span[:2]) / max(float(span[:2] @ span[:2]), NUMERIC.zero)
    near = start + span * min(max(share, 0.0), 1.0)
    return float(np.linalg.norm(near[:2] - spot)), float(near[2])


def _ahead(piece: Body, to_plane: Array, start: Array, way: Array) -> float | None:
    """How far a line goes until it meets the piece, mm; None where it never does. Both in the plane's frame."""
    turn = frame.inverse(frame.along(start, -way, np.array([0.0, 0.0, 1.0])))
    top = highest(piece, frame.chain(turn, to_plane), np.zeros(2))
    return None if top is None else -top


def _across(item: Clamp, part: Part, stand: Stand, piece: Body, weldment: Weldment) -> dict[str, float]:
    """Reach and height of a clamp over the edge or in a slot, straight in from the side that it stands against."""
    to_plane = frame.inverse(stand.plane.to_world)
    way = np.array(frame.cos_sin(stand.turn))
    at = np.asarray(stand.at)
    reach = _of(part, "reach")
    if "reach" not in item.with_:
        asked = asked_point(item, part.pattern, weldment)
        wanted = None if asked is None else float((frame.points(to_plane, asked)[:2] - at) @ way)
        if wanted is None:
            wanted = straight_in(at, way, piece, to_plane)
        known = parameters(type(part))["reach"]
        low, high = (known.resolved(end, part.pattern) for end in ("low", "high"))
        if not low - SHOP.contact <= wanted <= high + SHOP.contact:
            show = part.pattern.show
            raise OutOfReach(
                f"{item.presses} is to be pressed {show(wanted)} in from {_side(item)}, and {item.model} "
                f"reaches {show(low)} to {show(high)}; nearest: {show(min(max(wanted, low), high))}"
            )
        reach = wanted
    found = _heights(item, part, highest(piece, to_plane, at + way * reach))
    return found if "reach" in item.with_ else {"reach": reach, **found}


def _side(item: Clamp) -> str:
    return f"the {item.edge} edge" if item.slot is None else f"the side of {item.slot}"


def straight_in(at: Array, way: Array, piece: Body, to_plane: Array) -> float:
    """How far in from the edge the middle of the piece is, along a line in the plane, mm.

    Where the line passes beside the piece: to the middle of what the piece spans in that direction.
    """
    mesh = piece.shape.mesh
    corners = frame.points(frame.chain(to_plane, piece.body_to_world), mesh.vertices)[:, :2] - at
    run, beside = corners @ way, corners @ np.array([-way[1], way[0]])
    ends = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    a, b = beside[ends[:, 0]], beside[ends[:, 1]]
    crosses = (a <= 0.0) != (b <= 0.0)
    if crosses.any():
        a, b, start, end = a[crosses], b[crosses], run[ends[crosses, 0]], run[ends[crosses, 1]]
        run = start + (end - start) * a / (a - b)
    return float(run.min() + run.max()) / 2.0


def _heights(item: Clamp, part: Part, work: float | None) -> dict[str, float]:
    """The height of the tip from that of the work, and the pivot's, which goes up and down with it."""
    known = parameters(type(part))
    if work is None or "work_height" not in known or "work_height" in item.with_:
        return {}
    out = {"work_height": work}
    if "height" in known and "height" not in item.with_:
        out["height"] = _of(part, "height") + work - _of(part, "work_height")
    return out


def _target(item: Clamp, part: Part, at: Array, reach: float, to_plane: Array, weldment: Weldment) -> Array | None:
    """The point of the piece's centre line to press on, in the plane; None for a piece without one."""
    asked = asked_point(item, part.pattern, weldment)
    if asked is not None:
        return frame.points(to_plane, asked)[:2]
    stretches = _stretches(item.presses or "", weldment)
    if not stretches:
        return None
    known = parameters(type(part))
    low = known["reach"].resolved("low", part.pattern) if "reach" in known else reach
    least = low + (reach - _of(part, "reach"))
    flat = [tuple(frame.points(to_plane, p)[:2] for p in ends) for ends in stretches]
    spots = [_nearest(at, start, end, least) for start, end in flat]
    # The nearest that the arm can reach down to; of a straight member there is one.
    return min(spots, key=lambda spot: abs(float(np.linalg.norm(spot - at)) - least))


def asked_point(item: Clamp, pattern: Pattern, weldment: Weldment) -> Array | None:
    """The point ``at`` along the centre line of the piece that a clamp presses, world, (3,); None without ``at``.

    Raises:
        ValueError: ``at`` is beyond the piece's end, or the piece has no axis to measure along.
    """
    if item.at is None or item.presses is None:
        return None
    piece = _member(item.presses, weldment)
    if piece is None:
        raise ValueError(f"{item.presses} comes from a file and has no axis to measure at along; leave at out")
    if item.at > piece.length:
        beyond = f"at = {pattern.show(item.at)} is beyond the end of {item.presses}"
        raise ValueError(f"{beyond}, {pattern.show(piece.length)} long")
    spot = (item.at, 0.0, 0.0) if piece.bent is None else piece.bent.point(item.at)
    return frame.points(frame.chain(weldment.weldment_to_world, piece.piece_to_weldment), spot)


def placed_tip(seat: Seat, tip: Tip) -> tuple[Array, Array]:
    """Middle of a clamp's tip when shut and the direction of its push, world, (3,) each."""
    at, move = np.asarray(tip.at), seat.part.move()
    if move is not None and any(body.moves for body in seat.part.bodies()):
        at = at + np.asarray(move.axis) * seat.slide
    return frame.points(seat.model_to_world, at), frame.directions(seat.model_to_world, frame.unit(tip.direction))


def way_to_support(at: Array, way: Array, block: Seat) -> Array:
    """The move that brings a push over what a block offers against it, (3,) world, mm; zero when it is there.

    The pads that look against the push carry it: everything between them counts too, as between the two flanks of
    a V-block. A block without such pads carries by its whole box.

    Args:
        at: (3,) point of the push, world.
        way: (3,) its direction, unit, world.
        block: the block.
    """
    from shapely import MultiPoint, Point
    from shapely.ops import nearest_points

    spots = [corners(pad) for pad in placed_pads(block) if float(pad.normal @ way) < AGAINST]
    if not spots:
        low, high = block.part.box()
        box = list(itertools.product(*zip(low, high, strict=True)))
        spots = [frame.points(block.model_to_world, np.array(box))]
    across = frame.along(at, way, np.eye(3)[int(np.argmin(np.abs(way)))])
    flat = frame.points(frame.inverse(across), np.vstack(spots))[:, :2]
    near, _ = nearest_points(MultiPoint(flat).convex_hull, Point(0.0, 0.0))
    return frame.directions(across, (near.x, near.y, 0.0))


def way_to_point(item: Seat, weldment: Weldment) -> Array | None:
    """How the tip must move to press where ``at`` says, square to its push, (3,) world, mm; None without ``at``."""
    tip, clamp = item.part.tip(), item.place
    asked = asked_point(clamp, item.part.pattern, weldment) if isinstance(clamp, Clamp) else None
    if tip is None or asked is None:
        return None
    at, way = placed_tip(item, tip)
    return square_to(way, asked - at)


def square_to(way: Array, move: Array) -> Array:
    """The part of a move that is square to a direction, (3,)."""
    result: Array = move - way * float(move @ way)
    return result


def at_of(clamp: Clamp, spot: Array, weldment: Weldment) -> float | None:
    """The ``at`` that asks for the point of the piece's centre line nearest to a spot, mm; None beyond its ends."""
    piece = _member(clamp.presses or "", weldment)
    if piece is None:
        return None
    to_world = frame.chain(weldment.weldment_to_world, piece.piece_to_weldment)
    local = frame.points(frame.inverse(to_world), spot)
    along = float(local[0]) if piece.bent is None else piece.bent.nearest(local)
    return along if 0.0 <= along <= piece.length else None


def corners(pad: PlacedPad) -> Array:
    """The four corners of a pad, world, (4, 3) mm."""
    u = pad.along * pad.pad.length / 2.0
    v = np.cross(pad.normal, pad.along) * pad.pad.width / 2.0
    return np.array([pad.at + a * u + b * v for a in (-1.0, 1.0) for b in (-1.0, 1.0)])


def _of(part: Part, parameter: str) -> float:
    return float(getattr(part, parameter, 0.0))


def _member(name: str, weldment: Weldment) -> Piece | None:
    """The member of that name; None for plates and solids from files."""
    return next((piece for piece in weldment.pieces if piece.name == name and piece.kind == "member"), None)


def _stretches(name: str, weldment: Weldment) -> list[tuple[Array, Array]]:
    """Both ends of a member's centre line, of a bent one those of each leg, world; none of other pieces."""
    piece = _member(name, weldment)
    if piece is None:
        return []
    ends: list[tuple[ArrayLike, ArrayLike]] = [((0.0, 0.0, 0.0), (piece.length, 0.0, 0.0))]
    if piece.bent is not None:
        legs = piece.bent.legs
        stations = [(max(leg.start, 0.0), min(leg.start + leg.length, piece.length)) for leg in legs]
        ends = [(piece.bent.point(a), piece.bent.point(b)) for a, b in stations]
    to_world = frame.chain(weldment.weldment_to_world, piece.piece_to_weldment)
    return [(frame.points(to_world, a), frame.points(to_world, b)) for a, b in ends]


def _nearest(origin: Array, start: Array, end: Array, least: float) -> Array:
    """The point of the segment nearest to ``origin`` that is at least ``least`` away from it."""
    span = end - start
    length2 = float(span @ span)
    if length2 <= 0.0:
        return start
    t = min(max(float((origin - start) @ span) / length2, 0.0), 1.0)
    point: Array = start + span * t
    short = float(np.linalg.norm(point - origin))
    if short >= least:
        return point
    step = math.sqrt(least * least - short * short) / math.sqrt(length2)
    for candidate in sorted((t + step, t - step), key=lambda v: abs(v - 0.5)):
        if 0.0 <= candidate <= 1.0:
            beside: Array = start + span * candidate
            return beside
    return point


def highest(piece: Body, to_plane: Array, spot: Array) -> float | None:
    """Height of the piece's upper side over a point of the plane, mm; None where there is no piece.

    Every triangle that holds the point when seen from above is intersected exactly.
    """
    mesh = piece.shape.mesh
    corners = frame.points(frame.chain(to_plane, piece.body_to_world), mesh.vertices)[mesh.faces]
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    v0, v1, v2 = b[:, :2] - a[:, :2], c[:, :2] - a[:, :2], spot - a[:, :2]
    det = v0[:, 0] * v1[:, 1] - v0[:, 1] * v1[:, 0]
    flat = np.abs(det) > 1e-9
    safe = np.where(flat, det, 1.0)
    u = (v2[:, 0] * v1[:, 1] - v2[:, 1] * v1[:, 0]) / safe
    w = (v0[:, 0] * v2[:, 1] - v0[:, 1] * v2[:, 0]) / safe
    inside = flat & (u >= -1e-9) & (w >= -1e-9) & (u + w <= 1.0 + 1e-9)
    if not inside.any():
        return None
    z = a[:, 2] + u * (b[:, 2] - a[:, 2]) + w * (c[:, 2] - a[:, 2])
    return float(z[inside].max())
