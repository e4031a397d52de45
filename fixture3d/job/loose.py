"""The loose pieces of a job and what they are laid against, as bodies whose features can touch. Lengths in mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.table_body import Plate, plates
from fixture3d.locating.features import Standing
from fixture3d.locating.read_features import standing, together
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LOCATING

__all__ = ["Loose", "blocks_of", "loose_pieces", "plates_under"]


_BESIDE = 10.0  # mm of plate round what lies on it


@dataclass(frozen=True, eq=False)
class Loose:
    """One thing that is laid in: a loose piece, or several that earlier welds made one.

    Attributes:
        name: of the piece, of the first of several.
        pieces: names of all of them.
        bodies: their bodies, in the job.
    """

    name: str
    pieces: tuple[str, ...]
    bodies: tuple[Body, ...]

    @cached_property
    def standing(self) -> Standing:
        """What it can touch, in its place."""
        return as_one(self.name, self.bodies)

    @cached_property
    def placed(self) -> tuple[Placed, ...]:
        """Its solids, for moves."""
        return tuple(Placed(self.name, body.shape, body.body_to_world) for body in self.bodies)

    @cached_property
    def box(self) -> Array:
        """Least and greatest corner, (2, 3) mm."""
        boxes = np.stack([body.box for body in self.bodies])
        return np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)])


def as_one(name: str, bodies: tuple[Body, ...]) -> Standing:
    """Bodies as one, under a name."""
    each = [standing(name, Placed(name, body.shape, body.body_to_world)) for body in bodies]
    return each[0] if len(each) == 1 else together(name, each)


def loose_pieces(job: Job) -> tuple[Loose, ...]:
    """What is laid in, in file order; what earlier stages welded together is one."""
    bodies = {body.name: body for body in job.pieces()}
    of = {name: group for group in job.joined for name in group}
    out: dict[tuple[str, ...], Loose] = {}
    for name in bodies:
        group = tuple(one for one in bodies if one in of.get(name, (name,)))
        out.setdefault(group, Loose(group[0], group, tuple(bodies[one] for one in group)))
    return tuple(out.values())


def blocks_of(job: Job) -> tuple[Body, ...]:
    """What locates: blocks and their shims. A clamp presses, it does not locate; dowels stand below the work."""
    return tuple(body for body in job.bodies if body.role in ("block", "shim"))


def plates_under(job: Job, loose: Loose) -> Iterator[Standing]:
    """The table and other plates where something lies on them, no larger than it takes, without the holes.

    What lies over a hole stands on its rim, and the hull of a contact is the same but for corners over a hole.
    """
    for plate in plates(job.table):
        found = _under(plate, loose.box)
        if found is not None:
            yield found


def _under(plate: Plate, box: Array) -> Standing | None:
    corners = np.array([[box[i, 0], box[j, 1], box[k, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    local = frame.points(frame.inverse(plate.to_world), corners)
    low, high = local.min(axis=0), local.max(axis=0)
    if low[2] > LOCATING.contact or high[2] < -plate.thickness - LOCATING.contact:
        return None
    less, more = low[:2] - _BESIDE, high[:2] + _BESIDE
    if (less >= np.array(plate.high)).any() or (more <= np.array(plate.low)).any():
        return None
    vertices, faces = plate.box(less, more)
    mesh = Mesh(vertices, faces.astype(np.int32), planar=True, chord=0.0)
    return standing(plate.name, mesh)
