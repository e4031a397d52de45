"""Aim a clamp: from the piece that it presses to the turn, reach and height that put its tip on it.

Only what the scene leaves open is worked out; what it gives is left alone, and the checks say whether the tip lands.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job.plane import Plane
from fixture3d.part import Part, Pin, parameters

if TYPE_CHECKING:
    from fixture3d.job import Body
    from fixture3d.job.weldment import Weldment
    from fixture3d.scene.schema import Clamp


def aim(
    item: Clamp,
    part: Part,
    plane: Plane,
    at: tuple[float, float],
    turn: float,
    anchor: Pin | None,
    piece: Body,
    weldment: Weldment,
) -> tuple[dict[str, float], float]:
    """Parameters and turn that bring the tip on to the piece.

    Args:
        item: the clamp of the scene.
        part: the clamp with its default measures.
        plane: what it stands on.
        at: the anchor pin's place in the plane, mm.
        turn: the turn the scene gives, or its default.
        anchor: the pin that stands there.
        piece: the piece it presses.
        weldment: for the piece's own axis.

    Returns:
        Derived parameters (``reach``, ``work_height``, ``height``), those that the model has and the scene leaves
        open; and the turn in degrees.

    Raises:
        ValueError: ``at`` is beyond the piece's end, or the piece has no axis to measure along.
    """
    known = parameters(type(part))
    tip = part.tip()
    if tip is None:
        return {}, turn
    to_plane = frame.inverse(plane.to_world)
    axis = _axis(item.presses or "", weldment)
    derived: dict[str, float] = {}
    foot = anchor.at if anchor is not None else (0.0, 0.0, 0.0)
    arm = np.asarray(tip.at[:2]) - np.asarray(foot[:2])
    reach = float(np.linalg.norm(arm))
    target: Array | None = None
    if axis is not None:
        start, end = (frame.points(to_plane, p)[:2] for p in axis)
        low = known["reach"].resolved("low", part.pattern) if "reach" in known else reach
        if item.at is not None:
            length = float(np.linalg.norm(np.asarray(axis[1]) - np.asarray(axis[0])))
            if item.at > length:
                show = part.pattern.show
                raise ValueError(f"at = {show(item.at)} is beyond the end of {item.presses}, {show(length)} long")
            target = start + (end - start) * (item.at / length)
        else:
            target = _nearest(np.asarray(at), start, end, low + (reach - _reach_of(part)))
    elif item.at is not None:
        raise ValueError(f"{item.presses} comes from a file and has no axis to measure at along; leave at out")
    if target is not None:
        way = target - np.asarray(at)
        distance = float(np.linalg.norm(way))
        if "turn" not in item.model_fields_set and distance > 0.0:
            turn = math.degrees(math.atan2(way[1], way[0]) - math.atan2(arm[1], arm[0])) % 360.0
        if "reach" in known and "reach" not in item.with_:
            derived["reach"] = _reach_of(part) + distance - reach
    if "work_height" in known and "work_height" not in item.with_:
        c, s = frame.cos_sin(turn)
        extra = derived.get("reach", _reach_of(part)) - _reach_of(part)
        along = arm * (1.0 + extra / reach) if reach > 0.0 else arm
        spot = np.asarray(at) + np.array([c * along[0] - s * along[1], s * along[0] + c * along[1]])
        height = highest(piece, to_plane, spot)
        if height is not None:
            derived["work_height"] = height
            if "height" in known and "height" not in item.with_:
                # The pivot goes up and down with the tip, so that the arm stays as far above the work.
                derived["height"] = _of(part, "height") + height - _of(part, "work_height")
    return derived, turn


def _of(part: Part, parameter: str) -> float:
    return float(getattr(part, parameter, 0.0))


def _reach_of(part: Part) -> float:
    return _of(part, "reach")


def _axis(name: str, weldment: Weldment) -> tuple[Array, Array] | None:
    """Both ends of a member's centre line, world; None for plates and solids from files."""
    for piece in weldment.pieces:
        if piece.name == name and piece.kind == "member":
            to_world = frame.chain(weldment.weldment_to_world, piece.piece_to_weldment)
            return frame.points(to_world, (0.0, 0.0, 0.0)), frame.points(to_world, (piece.length, 0.0, 0.0))
    return None


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
