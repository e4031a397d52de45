"""The space that a torch fills: an exact cylinder for the nozzle, capsules for all else. Torch frame, mm."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from fixture3d.access.arrays import Array
from fixture3d.access.torch import Torch
from fixture3d.tolerance import NUMERIC

ARC_CHORDS = 4
"""Straight pieces that the bend of the neck is made of."""
BURN = 3.0
"""mm by which the space of a holder that follows its electrode may be told too large, so that no part is left out."""
WIRE_FROM = 5.0
"""mm from the aim; in a right-angled corner a wire 30 degrees off a face is 2.5 mm off it there."""
WIRE_RADIUS = 0.5
"""mm; wires are 0.6 to 1.6 mm thick: common practice, no source."""


@dataclass(frozen=True, kw_only=True, eq=False)
class TorchBody:
    """The space a torch fills, in the torch frame, mm.

    The nozzle is an exact flat-ended cylinder about +Z from ``stand_off`` to ``stand_off + nozzle_length``: a
    rounded end would hide its front rim, which is what touches first. The rest are capsules.

    Attributes:
        stand_off: from the root to the nozzle's front.
        nozzle_radius: of the nozzle.
        nozzle_length: of the nozzle.
        starts: (m, 3) one end of each capsule's axis.
        ends: (m, 3) the other end.
        radii: (m,) capsule radii.
        labels: what each capsule is: neck, handle, hand or cap. Several handles and hands are places that they pass.
    """

    stand_off: float
    nozzle_radius: float
    nozzle_length: float
    starts: Array
    ends: Array
    radii: Array
    labels: tuple[str, ...]

    @property
    def burns(self) -> bool:
        """Whether it is a covered electrode, which has no nozzle: its holder passes several places as it burns down."""
        return self.labels.count("hand") > 1

    @property
    def reach(self) -> float:
        """The greatest distance from the root to any part of the torch, mm."""
        rim = math.hypot(self.stand_off + self.nozzle_length, self.nozzle_radius)
        far = np.maximum(np.linalg.norm(self.starts, axis=1), np.linalg.norm(self.ends, axis=1)) + self.radii
        return max(rim, float(far.max(initial=0.0)))


@lru_cache(maxsize=64)
def torch_body(torch: Torch, stand_off: float, chords: int = ARC_CHORDS) -> TorchBody:
    """The space that ``torch`` fills when its nozzle stands ``stand_off`` mm off the root.

    The bend of the neck is a chain of ``chords`` capsules on chords of its centre line. Each is thicker than the
    neck by the sagitta, so that the chain covers the true bend and exceeds it by no more than twice the sagitta
    (0.3 mm for a radius of 40 and 60 degrees). The handle's ends are rounded within its length. The hand is a
    capsule round the rear three quarters of the handle. Cable and hose behind the handle are not covered.

    A covered electrode burns down as it is used, and nobody knows how long it is at a given point: the body is all
    that electrode and holder fill at any length from full to stub. Its capsules stand close enough along the axis,
    and are thick enough, to cover what lies between them, and exceed it by no more than ``BURN``.

    Raises:
        ValueError: a negative stand-off or no chord.
    """
    if not (math.isfinite(stand_off) and stand_off >= 0.0):
        raise ValueError(f"Expected a stand-off of 0 or more, got {stand_off:g}")
    if chords < 1:
        raise ValueError(f"Expected at least 1 chord, got {chords}")
    bend = math.radians(torch.neck_angle)
    neck_from = stand_off + torch.nozzle_length
    straight = bend * torch.neck_radius == 0.0
    count = 1 if straight else chords
    turn = np.linspace(0.0, bend, count + 1)
    arc = np.zeros((count + 1, 3))
    arc[:, 0] = torch.neck_radius * (1.0 - np.cos(turn))
    arc[:, 2] = neck_from + torch.neck_radius * np.sin(turn)
    if straight:
        # Without a bend the neck is a straight piece of its own radius's length, at least its diameter.
        arc[1] = arc[0] + np.array([0.0, 0.0, max(torch.neck_radius, torch.neck_diameter)])
    sagitta = 0.0 if straight else torch.neck_radius * (1.0 - math.cos(bend / count / 2.0))
    axis = np.array([math.sin(bend), 0.0, math.cos(bend)])
    handle = _rounded(arc[-1], axis, 0.0, torch.handle_length, torch.handle_diameter / 2.0)
    hand = _rounded(arc[-1], axis, torch.handle_length / 4.0, torch.handle_length, torch.hand_diameter / 2.0)
    neck_radius = torch.neck_diameter / 2.0 + sagitta
    cap = np.zeros((0, 2, 3))
    if torch.back_cap > 0.0:
        cap = _rounded(arc[0], np.array([0.0, 0.0, 1.0]), 0.0, torch.back_cap, torch.back_cap_diameter / 2.0)[None]
    body = TorchBody(
        stand_off=float(stand_off),
        nozzle_radius=torch.nozzle_diameter / 2.0,
        nozzle_length=torch.nozzle_length,
        starts=np.vstack([arc[:-1], cap[:, 0], handle[:1], hand[:1]]),
        ends=np.vstack([arc[1:], cap[:, 1], handle[1:], hand[1:]]),
        radii=np.array(
            [neck_radius] * count
            + [torch.back_cap_diameter / 2.0] * len(cap)
            + [torch.handle_diameter / 2.0, torch.hand_diameter / 2.0]
        ),
        labels=("neck",) * count + ("cap",) * len(cap) + ("handle", "hand"),
    )
    return _burning(body, torch.nozzle_length - torch.stub_length) if torch.stub_length > 0.0 else body


def _burning(body: TorchBody, travel: float) -> TorchBody:
    """The body, and all that its capsules pass when they come ``travel`` mm nearer along the axis.

    A point that a capsule of radius r passes lies within r of its axis at some place, and square to the way of travel
    save at the two ends, so within hypot(r, step / 2) of the axis at the nearest of the places that are kept.
    """
    starts, ends, radii, labels = [], [], [], []
    for a, b, radius, label in zip(body.starts, body.ends, body.radii, body.labels, strict=True):
        step = 2.0 * math.sqrt((radius + BURN) ** 2 - radius**2)
        count = math.ceil(travel / step - 1e-9)
        down = np.zeros((count + 1, 3))
        down[:, 2] = -np.linspace(0.0, travel, count + 1)
        starts.append(a + down)
        ends.append(b + down)
        radii += [math.hypot(radius, travel / max(count, 1) / 2.0)] * (count + 1)
        labels += [label] * (count + 1)
    return replace(body, starts=np.vstack(starts), ends=np.vstack(ends), radii=np.array(radii), labels=tuple(labels))


@lru_cache(maxsize=64)
def with_wire(torch: TorchBody) -> TorchBody:
    """The torch with its wire, filler or arc: a thin capsule from ``WIRE_FROM`` off the root to the nozzle.

    Without it a plate that fits between nozzle and root would be welded through. What is nearer, of a short stand-off
    a third, is left out, because there the joint's own faces come as near as the wire is thick. It stands for the way
    of the wire only: room for the torch is measured without it.
    """
    if not torch.stand_off > 0.0:
        return torch
    line = np.array([[0.0, 0.0, min(WIRE_FROM, torch.stand_off / 3.0)], [0.0, 0.0, torch.stand_off]])
    return replace(
        torch,
        starts=np.vstack([line[:1], torch.starts]),
        ends=np.vstack([line[1:], torch.ends]),
        radii=np.concatenate([[WIRE_RADIUS], torch.radii]),
        labels=("wire", *torch.labels),
    )


@lru_cache(maxsize=64)
def in_parts(torch: TorchBody) -> tuple[TorchBody, int]:
    """The same space with less to try, and how many of its capsules, which come first, lie along the axis.

    What of a capsule lies within a thicker one is cut off: of a handle, all that the hand is round. Capsules that stay
    on the axis whichever way the torch is turned about it need to be tried once only.
    """
    kept = [(*ends, k) for k in range(len(torch.radii)) if (ends := _outside(torch, k)) is not None]
    axial = [k for k, (p, q, _) in enumerate(kept) if not p[:2].any() and not q[:2].any()]
    order = [*axial, *(k for k in range(len(kept)) if k not in axial)]
    which = [kept[k][2] for k in order]
    same = replace(
        torch,
        starts=np.array([kept[k][0] for k in order]).reshape(-1, 3),
        ends=np.array([kept[k][1] for k in order]).reshape(-1, 3),
        radii=torch.radii[which],
        labels=tuple(torch.labels[k] for k in which),
    )
    return same, len(axial)


def _outside(torch: TorchBody, k: int) -> tuple[Array, Array] | None:
    """Ends of a capsule's axis without the balls at either end that lie within a thicker capsule; None if all do."""
    p, q, radius = torch.starts[k], torch.ends[k], float(torch.radii[k])
    for a, b, thick in zip(torch.starts, torch.ends, torch.radii, strict=True):
        # Such balls lie side by side, as distances from a segment are convex: the last of them is found by halving.
        room = float(thick) - radius + NUMERIC.zero
        if room <= NUMERIC.zero:
            continue
        first, last = _gap(p, a, b) <= room, _gap(q, a, b) <= room
        if first and last:
            return None
        if first or last:
            inside, out = (p, q) if first else (q, p)
            for _ in range(40):
                middle = (inside + out) / 2.0
                inside, out = (middle, out) if _gap(middle, a, b) <= room else (inside, middle)
            p, q = (inside, q) if first else (p, inside)
    return p, q


def _gap(point: Array, a: Array, b: Array) -> float:
    """Distance of a point from the segment a to b."""
    way = b - a
    length = float(way @ way)
    t = min(max(float((point - a) @ way) / length, 0.0), 1.0) if length > 0.0 else 0.0
    return float(np.linalg.norm(point - a - t * way))


def _rounded(origin: Array, axis: Array, low: float, high: float, radius: float) -> Array:
    """Axis ends (2, 3) of the capsule that fills ``low`` to ``high`` along ``axis``, a sphere when too short."""
    middle = (low + high) / 2.0
    half = max(0.0, (high - low) / 2.0 - radius)
    result: Array = origin + np.outer([middle - half, middle + half], axis)
    return result
