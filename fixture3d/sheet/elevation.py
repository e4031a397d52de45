"""The setup seen from its sides: which sides show all heights of the blocks, and what is seen from them.

Blocks and clamps hide what stands behind them; the work is of glass, so that blocks under and behind it are seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.sheet.outline import silhouette
from fixture3d.tolerance import SHOP
from fixture3d.units import Units, show

_SHOWN: Final = 0.15  # a height is shown where so much of the block's upper part is in sight
_UPPER: Final = 0.25  # which is this share of its height
_SOLID: Final = ("block", "clamp", "shim")  # what hides what is behind it


@dataclass(frozen=True, kw_only=True)
class Side:
    """A side that a setup is looked at from.

    Attributes:
        words: for the title.
        across: world axis that runs across the drawing, 0 or 1.
        sign: 1 when it runs to the right, -1 when to the left.
    """

    words: str
    across: int
    sign: int

    @property
    def world_to_view(self) -> Array:
        """(4, 4): X to the right, Y up, Z towards the one who looks."""
        view = np.zeros((4, 4))
        view[0, self.across] = self.sign
        view[1, 2] = view[3, 3] = 1.0
        view[2, :3] = np.cross(view[0, :3], view[1, :3])
        return view


SIDES: Final = (
    Side(words="from the front", across=0, sign=1),
    Side(words="from the right", across=1, sign=1),
    Side(words="from the back", across=0, sign=-1),
    Side(words="from the left", across=1, sign=-1),
)


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One body as it is seen from a side.

    Attributes:
        body: which.
        whole: its ``CrossSection`` in the view, mm.
        visible: what of it no block hides.
    """

    body: Body
    whole: Any
    visible: Any


def tops(job: Job) -> dict[str, float]:
    """The highest point of every block over the table top, mm, by name; clamps are left out."""
    return {
        name: max(heights)
        for name, seat in job.seats.items()
        if not seat.clamp
        and (heights := [float(b.box[1, 2]) for b in job.of_item(name) if b.role == "block"])
    }  # fmt: skip


def levels(job: Job) -> dict[str, list[str]]:
    """Names of blocks by the height of their tops as it stands in the list, the highest first."""
    units: Units = job.scene.units
    out: dict[str, list[str]] = {}
    for name, height in sorted(tops(job).items(), key=lambda item: -item[1]):
        out.setdefault(show(height, units), []).append(name)
    return out


def outlines(job: Job, side: Side) -> dict[str, Any]:
    """The ``CrossSection`` of every body that is drawn, as seen from a side, by its name."""
    view = side.world_to_view
    return {b.name: silhouette(b, view) for b in job.bodies if b.role in (*_SOLID, "piece")}


def seen_from(job: Job, side: Side, known: Mapping[str, Any] | None = None) -> list[Seen]:
    """All bodies as seen from a side, the farthest first.

    A body counts as far as its nearest point is; this is wrong only for two that reach round each other.

    Args:
        job: the setup.
        side: where the one who looks stands.
        known: the `outlines`; None works them out.
    """
    depth = side.world_to_view[2, :3]
    known = outlines(job, side) if known is None else known
    bodies = [body for body in job.bodies if body.name in known]
    near = {body.name: float((np.where(depth > 0.0, body.box[1], body.box[0]) * depth).sum()) for body in bodies}
    out: list[Seen] = []
    hidden: Any = None
    for body in sorted(bodies, key=lambda b: (-near[b.name], b.name)):
        whole = known[body.name]
        out.append(Seen(body=body, whole=whole, visible=whole if hidden is None else whole - hidden))
        if body.role in _SOLID:
            hidden = whole if hidden is None else hidden + whole
    return out[::-1]


def shown(seen: Sequence[Seen], heights: Mapping[str, float]) -> set[str]:
    """The blocks whose upper end is in sight."""
    import manifold3d

    out = set()
    for one in seen:
        top = heights.get(one.body.item)
        if top is None or one.body.role != "block" or one.body.box[1, 2] < top - SHOP.contact:
            continue
        left, low, right, high = one.whole.bounds()
        band = manifold3d.CrossSection.square((right - left, high - low)).translate(
            (left, high - _UPPER * (high - low))
        )
        if (one.visible ^ band).area() >= _SHOWN * (one.whole ^ band).area() > 0.0:
            out.add(one.body.item)
    return out


def chosen(job: Job) -> list[tuple[Side, list[Seen]]]:
    """The fewest sides, two at most, from which some block of each height is seen; none where all are of one height."""
    known = levels(job)
    if len(known) < 2:
        return []
    heights = tops(job)
    views: list[tuple[Side, list[Seen]]] = []
    found: list[set[str]] = []
    drawn: list[dict[str, Any]] = []
    for k, side in enumerate(SIDES):
        # From the back an outline is that from the front, mirrored.
        drawn.append(
            outlines(job, side) if k < 2 else {name: one.mirror((1.0, 0.0)) for name, one in drawn[k - 2].items()}
        )
        views.append((side, seen_from(job, side, drawn[-1])))
        clear = shown(views[-1][1], heights)
        found.append({height for height, names in known.items() if clear.intersection(names)})
        if len(found[-1]) == len(known):
            return [views[-1]]
    best = max(combinations(range(len(SIDES)), 2), key=lambda pair: len(found[pair[0]] | found[pair[1]]))
    return [views[k] for k in best]
