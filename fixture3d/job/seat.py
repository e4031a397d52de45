"""How a block stands on a plane: where its pins come to lie, which dowels drop in, and what it can still do.

Plain arithmetic on pins and holes; no solid is needed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import PinState, SeatedPin
from fixture3d.job.plane import Plane, Under
from fixture3d.part import Face, Part, Pin, face_down
from fixture3d.stock import fits

ROUNDING = 1e-3  # mm


@dataclass(frozen=True, kw_only=True)
class Fit:
    """Clearance on diameter between a loose dowel and the holes of one plane, mm.

    Attributes:
        least: with the smallest hole and the largest dowel.
        most: with the largest hole and the smallest dowel.
    """

    least: float
    most: float

    @property
    def allowed(self) -> float:
        """How far a second pin may be off its hole so that both dowels still drop in every time, mm.

        (c1 + c2) / 2 with both clearances at their least, and a thousandth of a mm, which is less than any shop
        measures, so that a bore exactly over its hole is never called off by rounding.
        """
        return max(0.0, self.least) + ROUNDING


def fit(bore: float, bore_limits: str | tuple[float, float], pin_limits: str | tuple[float, float]) -> Fit:
    """The fit of a dowel of nominal size in a bore.

    Args:
        bore: nominal diameter, mm.
        bore_limits: ISO 286 hole class, or deviations in mm.
        pin_limits: ISO 286 shaft class, or deviations in mm.
    """
    least, most = fits.clearance(fits.bore_limits(bore_limits, bore), fits.pin_limits(pin_limits, bore))
    return Fit(least=least, most=most)


def face_pins(part: Part, face: Face) -> tuple[Pin, ...]:
    """The pins that leave the block by ``face``, in the model's order."""
    return tuple(pin for pin in part.pins() if pin.face == face)


def model_to_plane(part: Part, face: Face, anchor: Pin | None, at: tuple[float, float], turn: float) -> Array:
    """The pose of a block on a plane, (4, 4).

    Args:
        part: the block.
        face: the face that is down; it lies in the plane.
        anchor: the pin that stands at ``at``; None puts the model origin there.
        at: in the plane, mm.
        turn: degrees counter-clockwise from above.
    """
    upright = frame.chain(frame.translation((0.0, 0.0, part.seat_height(face))), face_down(face))
    foot = frame.points(upright, anchor.at if anchor is not None else (0.0, 0.0, 0.0))
    return frame.chain(
        frame.translation((at[0], at[1], 0.0)),
        frame.rotation((0, 0, 1), turn),
        frame.translation((-foot[0], -foot[1], 0.0)),
        upright,
    )


def seat_pins(
    part: Part,
    face: Face,
    pose: Array,
    plane: Plane,
    dowel_fit: Fit,
    *,
    anchor: Pin | None,
    asked: frozenset[str] | None,
    bolted: bool = False,
) -> tuple[SeatedPin, ...]:
    """Which dowels drop in.

    Args:
        part: the block.
        face: the face that is down.
        pose: model_to_plane.
        plane: what it stands on.
        dowel_fit: of the dowels in the plane's holes.
        anchor: the pin that the scene puts into the named hole.
        asked: pins that the scene names; None means every pin that finds a hole.
        bolted: a hold-down bolt goes through the anchor's bore, whichever dowels are left out.
    """
    out = []
    plane_to_world = plane.to_world
    for pin in face_pins(part, face):
        at = frame.points(pose, pin.at)
        xy = (float(at[0]), float(at[1]))
        near = plane.nearest(xy)
        off = math.dist(near.xy, xy) if near is not None else math.inf
        at_anchor = anchor is not None and pin.name == anchor.name
        wanted = at_anchor if asked is None else pin.name in asked or (bolted and at_anchor)
        state = _state(near, off, dowel_fit.allowed, wanted, asked is None)
        out.append(
            SeatedPin(
                pin=pin,
                at=frame.points(plane_to_world, at),
                hole=near.name if near is not None else None,
                off=off,
                allowed=dowel_fit.allowed,
                state=state,
                asked=wanted,
            )
        )
    return tuple(out)


def _state(near: Under | None, off: float, allowed: float, wanted: bool, by_default: bool) -> PinState:
    if near is None:
        return "off table" if wanted else "left out"
    if off <= allowed and not near.blocked and (wanted or by_default):
        return "seated"
    if not wanted:
        return "left out"
    return "blocked" if off <= allowed else "off"


@dataclass(frozen=True, kw_only=True)
class Play:
    """What a seated block can still do.

    Attributes:
        shift: mm each way; None when no pin holds it.
        turn: degrees each way; None when it can turn right round.
    """

    shift: float | None
    turn: float | None


def play(pins: tuple[SeatedPin, ...], dowel_fit: Fit) -> Play:
    """The largest shift and turn that the fits allow, with the loosest hole and dowel.

    A bolt counts as a dowel. Pulled tight it stops the turn of a single pin by friction, not by form, so the turn is
    still given as free unless a second dowel is in.
    """
    seated = [p for p in pins if p.state == "seated"]
    if not seated:
        return Play(shift=None, turn=None)
    most = max(0.0, dowel_fit.most)
    if len(seated) == 1:
        return Play(shift=most / 2, turn=None)
    spacing = max(float(np.linalg.norm(a.at - b.at)) for a in seated for b in seated)
    return Play(shift=most / 2, turn=fits.play_turn(most, most, spacing))


def travel(pins: tuple[SeatedPin, ...], dowel_fit: Fit, up: Array, spot: Array, normal: Array) -> float:
    """How far a spot of a block on two or more dowels can move along a direction within the fits, mm each way.

    Exact for small turns of the two dowels that are furthest apart. With r the play of a dowel in its hole, s their
    spacing and L the lever of the turn, the greatest t_e n_e + t_f n_f + turn L under t_e^2 + (t_f + turn s/2)^2
    <= r^2 is r sqrt(n_e^2 + max(n_f, 2 L / s)^2), where e runs from dowel to dowel and f across.

    Args:
        pins: of the block; those that are seated count.
        dowel_fit: of its dowels.
        up: (3,) normal of the seat plane, world.
        spot: (3,) world.
        normal: (3,) unit, world.
    """
    seated = [p.at for p in pins if p.state == "seated"]
    first, second = max(itertools.combinations(seated, 2), key=lambda ends: float(np.linalg.norm(ends[1] - ends[0])))
    spacing = float(np.linalg.norm(second - first))
    row = (second - first) / spacing
    lever = abs(float(np.cross(up, spot - (first + second) / 2.0) @ normal))
    across = abs(float(np.cross(up, row) @ normal))
    play = max(0.0, dowel_fit.most) / 2.0
    return play * math.hypot(float(row @ normal), max(across, 2.0 * lever / spacing))


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """A seat that would work.

    Attributes:
        hole: for the anchor pin.
        xy: centre of that hole in the plane, mm.
        turn: degrees.
        pins: how many dowels drop in.
        holes: all holes that it would use.
        moved: how far the corner of the block that goes furthest goes, mm.
    """

    hole: str
    xy: tuple[float, float]
    turn: float
    pins: int
    holes: tuple[str, ...]
    moved: float


def eighths(row: float) -> tuple[float, ...]:
    """The eight turns of 45 degrees from the direction of a row of holes, degrees in [0, 360)."""
    return tuple((row + 45.0 * k) % 360.0 for k in range(8))


def proposals(
    part: Part,
    face: Face,
    plane: Plane,
    dowel_fit: Fit,
    *,
    anchor: Pin | None,
    at: tuple[float, float],
    turn: float,
    names: frozenset[str] | None,
    holes: int = 9,
    row: float = 0.0,
) -> Iterator[Proposal]:
    """Seats near the one asked for in which every named pin (or as many as can) finds an open hole.

    Tries the nearest ``holes`` and the eight turns of 45 degrees from the direction of their rows (``row``, degrees;
    sockets turn with their block), and yields the working ones nearest first: by how far the corners of the block
    go, so that a turn counts as well as a shift.
    """
    corners = np.array([[x, y, z] for x, y, z in itertools.product(*zip(*part.box(), strict=True))])
    before = frame.points(model_to_plane(part, face, anchor, at, turn), corners)
    need = names if names is not None else frozenset(p.name for p in face_pins(part, face)[:2])
    found: list[tuple[float, float, str, Proposal]] = []
    turns = sorted({turn % 360.0, *eighths(row)})
    for under in plane.around(at, holes):
        for candidate in turns:
            pose = model_to_plane(part, face, anchor, under.xy, candidate)
            pins = seat_pins(part, face, pose, plane, dowel_fit, anchor=anchor, asked=None)
            seated = {p.pin.name: p.hole or "" for p in pins if p.state == "seated"}
            if not need <= seated.keys():
                continue
            moved = float(np.linalg.norm(frame.points(pose, corners) - before, axis=1).max())
            change = abs((candidate - turn + 180.0) % 360.0 - 180.0)
            proposal = Proposal(
                hole=under.name,
                xy=under.xy,
                turn=candidate,
                pins=len(seated),
                holes=tuple(seated.values()),
                moved=moved,
            )
            found.append((round(moved, 6), round(change, 6), under.name, proposal))
    for _, _, _, proposal in sorted(found, key=lambda f: f[:3]):
        yield proposal
