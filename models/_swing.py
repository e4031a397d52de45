"""The space that an arm and a handle need when they swing about one pivot, as outlines in one plane.

Those of a toggle clamp lie in the XZ plane: exact where something else may come near (below the shut arm, beside the
shut handle, and along the outer arc) and a little too large elsewhere. Those of an arm that swings level about an
upright post are exact.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ._profiles import region

if TYPE_CHECKING:
    import cadquery as cq

Spot = tuple[float, float]
Edges = list[tuple[Spot, ...]]

ARM_OPENS = 100.0
"""degrees, up from level."""

HANDLE_OPENS = 85.0
"""degrees, back from upright."""


def arm_swing(pivot: Spot, run: float, drop: float, half: float, tip: float, head: float, far: float) -> Edges:
    """What an arm sweeps from shut (level) to open.

    Args:
        pivot: (x, z), mm.
        run: pivot to the axis of the tip, level, mm.
        drop: pivot down to the face of the tip, mm; at least ``half``.
        half: half the height of the arm, mm.
        tip: radius of the tip, mm.
        head: top of the spindle above the pivot, mm.
        far: greatest distance of any point of the arm from the pivot, mm.
    """
    low = math.degrees(math.asin(-drop / far))
    high = ARM_OPENS + math.degrees(math.asin(head / far))
    corner = _polar(far, low)
    opened = [_turned(p, ARM_OPENS) for p in ((run - tip, head), (0.0, half))]
    edges: Edges = [
        ((0.0, -half), (run - tip, -half)),
        ((run - tip, -half), (run - tip, -drop)),
        ((run - tip, -drop), corner),
        (corner, _polar(far, (low + high) / 2.0), _polar(far, high)),
        (_polar(far, high), opened[0]),
        (opened[0], opened[1]),
        (opened[1], _polar(half, 180.0 + ARM_OPENS / 2.0 - 5.0), (0.0, -half)),
    ]
    return _moved(edges, pivot)


def handle_swing(pivot: Spot, start: float, end: float, half: float) -> Edges:
    """What an upright handle sweeps from shut to open.

    Args:
        pivot: (x, z), mm.
        start: lower end of the handle above the pivot, mm.
        end: upper end above the pivot, mm.
        half: half its thickness, mm.
    """
    far, first = math.hypot(half, end), math.degrees(math.atan2(end, half))
    last = HANDLE_OPENS + 180.0 - first
    inner, side = _polar(start, 90.0 + HANDLE_OPENS), _turned((-half, start), HANDLE_OPENS)
    edges: Edges = [
        ((half, start), (half, end)),
        ((half, end), _polar(far, (first + last) / 2.0), _polar(far, last)),
        (_polar(far, last), side),
        (side, inner),
        (inner, _polar(start, 90.0 + HANDLE_OPENS / 2.0), (0.0, start)),
        ((0.0, start), (half, start)),
    ]
    return _moved(edges, pivot)


def level_arm_swing(run: float, half: float) -> Edges:
    """What a level bar from the origin along X sweeps in a quarter turn to Y, as (x, y).

    Args:
        run: its length from the pivot's axis, mm.
        half: half its width, and the radius of its round end at the pivot, mm.
    """
    far = math.hypot(run, half)
    low = math.degrees(math.atan2(-half, run))
    return [
        ((0.0, -half), (run, -half)),
        ((run, -half), _polar(far, 45.0), _polar(far, 90.0 - low)),
        ((-half, run), (-half, 0.0)),
        ((-half, 0.0), _polar(half, 225.0), (0.0, -half)),
    ]


def level_disc_swing(run: float, radius: float) -> Edges:
    """What a disc on X, ``run`` from the origin, sweeps in a quarter turn to Y, as (x, y).

    Args:
        run: origin to the disc's centre, mm; more than ``radius``.
        radius: of the disc, mm.
    """
    outer, inner = run + radius, run - radius
    return [
        ((outer, 0.0), _polar(outer, 45.0), (0.0, outer)),
        ((0.0, outer), (-radius, run), (0.0, inner)),
        ((0.0, inner), _polar(inner, 45.0), (inner, 0.0)),
        ((inner, 0.0), (run, -radius), (outer, 0.0)),
    ]


def level_region(edges: Edges, low: float, high: float) -> cq.Solid:
    """An outline in the XY plane, from z = ``low`` up to ``high``."""
    import cadquery as cq

    # An outline of `region` stands in the XZ plane; a quarter turn about X lays it down: z to y, y to -z.
    upright = region(edges, -high, -low)
    return upright.rotate(cq.Vector(0.0, 0.0, 0.0), cq.Vector(1.0, 0.0, 0.0), -90.0)


def _polar(radius: float, degrees: float) -> Spot:
    a = math.radians(degrees)
    return radius * math.cos(a), radius * math.sin(a)


def _turned(spot: Spot, degrees: float) -> Spot:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return spot[0] * c - spot[1] * s, spot[0] * s + spot[1] * c


def _moved(edges: Edges, pivot: Spot) -> Edges:
    return [tuple((x + pivot[0], z + pivot[1]) for x, z in edge) for edge in edges]
