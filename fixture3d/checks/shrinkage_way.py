"""Unloading asked again of the shrunk work: does it still clear the blocks that it cleared before?"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.locating.leaving import Bodies
from fixture3d.locating.leaving_directions import candidates
from fixture3d.solid.relate import Placed

__all__ = ["in_the_way", "standing_about"]

_DOWN = -1e-6  # upward share of a direction below which it goes into the table


def standing_about(job: Job, without: Collection[str] = ()) -> list[Placed]:
    """Blocks, their shims and the clamps as they stand when the work is lifted out: clamps open."""
    return [
        Placed(body.item, body.shape, body.body_to_world if body.open_to_world is None else body.open_to_world)
        for body in job.bodies
        if body.role in ("block", "shim", "clamp") and body.item not in without
    ]


def in_the_way(work: Sequence[Placed], shrunk: Mapping[str, Array], fixed: Sequence[Placed]) -> list[str]:
    """What stops the shrunk work on every straight way that the work had before; ways downwards are not asked.

    Args:
        work: the pieces as they are drawn, moved as one.
        shrunk: before_to_after of each piece, (4, 4), world.
        fixed: what stays.

    Returns:
        The fewest names, each once; nothing where a way is left, or where there was none before.
    """
    after = [Placed(one.name, one.shape, frame.chain(shrunk[one.name], one.pose)) for one in work]
    bodies = Bodies([*work, *after, *fixed])
    n = len(work)
    before, now, stays = range(n), range(n, 2 * n), range(2 * n, 2 * n + len(fixed))
    near = [bodies.triangles[k] for k in stays]
    best: list[str] | None = None
    for way in candidates([bodies.triangles[k] for k in before], near):
        if way[2] < _DOWN or bodies.stops(before, stays, way, first=True):
            continue
        names = list(dict.fromkeys(bodies.names[k] for k in bodies.stops(now, stays, np.asarray(way))))
        if not names:
            return []
        if best is None or len(names) < len(best):
            best = names
    return best or []
