"""What a block can do as a stop: every way in which it stands in holes with a face square to a direction."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job.hole_lines import across
from fixture3d.job.job import SeatedPin
from fixture3d.job.seat import Fit, eighths, face_pins, model_to_plane, travel
from fixture3d.job.shop_blocks import Owned
from fixture3d.part import Face, Pad, Part, Pin
from fixture3d.scene.table import Table


@dataclass(frozen=True, kw_only=True, eq=False)
class Kind:
    """One way in which one sort of block stands, with one of its faces square to the direction.

    Attributes:
        owned: the block.
        face: the face that is down.
        turn: degrees, from the rows.
        anchor: the pin that is named with the hole.
        pins: all that find a hole.
        under: (k, 2) where they are, from the anchor, mm.
        pad: the face that stops the work.
        offset: from the anchor's hole to that face along the direction, fully in, mm.
        way: 1 when the face looks along the direction, -1 when it looks back.
        step: what one notch adds along the direction, mm; 0 where nothing meshes or it slides another way.
        notches: the highest notch that matters.
        slide: what the whole slide adds along the direction where nothing meshes, mm.
        loose: how far the middle of the face can move along the direction within the fits, mm each way.
        span: from where to where above the table the face reaches, mm.
        packed: shims may stand before the face: it is a flat, no line.
    """

    owned: Owned
    face: Face
    turn: float
    anchor: Pin
    pins: tuple[Pin, ...]
    under: Array
    pad: Pad
    offset: float
    way: int
    step: float
    notches: int
    slide: float
    loose: float
    span: tuple[float, float]
    packed: bool

    def ends(self, way: tuple[float, float]) -> tuple[float, float]:
        """Least and greatest place of its pins along a direction, from the anchor."""
        along = self.under @ np.asarray(way)
        return float(along.min()), float(along.max())


def kinds_of(owned: Owned, table: Table, way: tuple[float, float], dowel_fit: Fit) -> Iterator[Kind]:
    """Every way in which a block can stand as a stop.

    A block with two bores or more stands on two dowels at least, so turns of 45 degrees appear where its bores are
    spaced for them.

    Args:
        owned: the block.
        table: its holes.
        way: (2,) unit, the direction in the table's plane.
        dowel_fit: of its dowels in those holes.
    """
    part = owned.part
    if part.tip() is not None or part.stands != "pins":
        return
    for face in dict.fromkeys(pin.face for pin in part.pins()):
        pins = face_pins(part, face)
        for turn in eighths(0.0):
            pose = model_to_plane(part, face, None, (0.0, 0.0), turn)
            looks = [(pad, float(frame.directions(pose, pad.normal)[:2] @ np.asarray(way))) for pad in part.pads()]
            square = [(pad, 1 if cosine > 0 else -1) for pad, cosine in looks if abs(cosine) > 1.0 - 1e-9]
            if not square:
                continue
            seen: set[str] = set()
            for anchor in pins:
                if anchor.name in seen:
                    continue
                stands = standing(part, face, anchor, turn, table, dowel_fit)
                seen |= {pin.name for pin, _ in stands}
                if len(stands) >= min(2, len(pins)):
                    for pad, side in square:
                        yield _kind(owned, face, turn, stands, pad, side, way, dowel_fit)


def standing(
    part: Part, face: Face, anchor: Pin, turn: float, table: Table, dowel_fit: Fit
) -> list[tuple[Pin, tuple[float, float]]]:
    """The pins that come over a hole when one stands in a hole, that one first, with their places from it, mm.

    The grid is taken to go on for ever; where its edge comes is asked of each hole later.
    """
    pose = model_to_plane(part, face, anchor, (0.0, 0.0), turn)
    out = []
    for pin in face_pins(part, face):
        x, y = (float(v) for v in frame.points(pose, pin.at)[:2])
        if _off_grid(x, y, table) <= dowel_fit.allowed:
            out.append((pin, (x, y)))
    return sorted(out, key=lambda one: one[0].name != anchor.name)


def _off_grid(x: float, y: float, table: Table) -> float:
    px, py = table.pitch
    shifts = (0.0, 0.5) if table.stagger else (0.0,)
    rests = [(x / px - s - round(x / px - s), y / py - s - round(y / py - s)) for s in shifts]
    return min(math.hypot(rx * px, ry * py) for rx, ry in rests)


def _kind(
    owned: Owned,
    face: Face,
    turn: float,
    stands: Sequence[tuple[Pin, tuple[float, float]]],
    pad: Pad,
    side: int,
    way: tuple[float, float],
    dowel_fit: Fit,
) -> Kind:
    part, anchor = owned.part, stands[0][0]
    pose = model_to_plane(part, face, anchor, (0.0, 0.0), turn)
    spot = frame.points(pose, pad.at)
    step = slide = 0.0
    notches = 0
    move = part.move()
    if pad.moves and move is not None:
        lean = float(frame.directions(pose, move.axis)[:2] @ np.asarray(way))
        if abs(lean) > 1e-9 and move.notch is not None:
            step, notches = move.notch * lean, move.notches
        elif abs(lean) > 1e-9:
            slide = move.travel * lean
    normal, along = frame.directions(pose, pad.normal), frame.directions(pose, pad.along)
    half = abs(float(along[2])) * pad.length / 2.0 + abs(float(np.cross(normal, along)[2])) * pad.width / 2.0
    return Kind(
        owned=owned,
        face=face,
        turn=turn,
        anchor=anchor,
        pins=tuple(pin for pin, _ in stands),
        under=np.array([at for _, at in stands]),
        pad=pad,
        offset=float(spot[:2] @ np.asarray(way)),
        way=side,
        step=step,
        notches=notches,
        slide=slide,
        loose=looseness([at for _, at in stands], [pin for pin, _ in stands], dowel_fit, spot, normal),
        span=(float(spot[2]) - half, float(spot[2]) + half),
        packed=pad.width > 0.0 and pad.length > 0.0,
    )


def looseness(
    places: Sequence[tuple[float, float]], pins: Sequence[Pin], dowel_fit: Fit, spot: Array, normal: Array
) -> float:
    """How far a spot can move along a direction within the fits of the dowels, mm each way.

    Of one dowel without its turn, which nothing limits.
    """
    if len(pins) < 2:
        return max(0.0, dowel_fit.most) / 2.0
    seated = tuple(
        SeatedPin(pin=pin, at=np.array([*at, 0.0]), hole="", off=0.0, allowed=0.0, state="seated", asked=False)
        for pin, at in zip(pins, places, strict=True)
    )
    return travel(seated, dowel_fit, np.array([0.0, 0.0, 1.0]), spot, normal)


def aside(way: tuple[float, float], point: Sequence[float]) -> float:
    """How far a point lies to the left of a direction through A1, mm."""
    left = across(way)
    return point[0] * left[0] + point[1] * left[1]
