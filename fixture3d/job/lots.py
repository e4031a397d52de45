"""Which pieces come off the table as one."""

from __future__ import annotations

from collections.abc import Collection

from fixture3d.job import Job
from fixture3d.job.staging import pieces_along
from fixture3d.solid.relate import Placed, relate_all
from fixture3d.tolerance import JOINTS

__all__ = ["welded_lots"]


def welded_lots(job: Job) -> tuple[tuple[str, ...], ...]:
    """Names of the pieces that come off the table as one, in file order: welded together, or tacked.

    Pieces that touch, or leave a root gap, count as tacked to each other, whether the file lists a weld there or not.
    """
    pieces = {body.name: body for body in job.pieces()}
    lot = {name: k for k, name in enumerate(pieces)}

    def join(names: Collection[str]) -> None:
        mine = [name for name in names if name in lot]
        if len(mine) > 1:
            least, old = min(lot[name] for name in mine), {lot[name] for name in mine}
            lot.update({name: least for name in lot if lot[name] in old})

    for group in job.joined:
        join(group)
    for weld in (*job.done, *job.welds):
        join(weld.joins if any(weld.joins) else pieces_along(weld, pieces))
    placed = [Placed(body.name, body.shape, body.body_to_world) for body in pieces.values()]

    def skip(a: str, b: str) -> bool:
        return lot[a] == lot[b]

    for a, b, relation in relate_all(placed, skip=skip, store=job.store):
        if relation.gap is None or relation.gap <= JOINTS.gap:
            join((a, b))
    groups: dict[int, list[str]] = {}
    for name, k in lot.items():
        groups.setdefault(k, []).append(name)
    return tuple(tuple(names) for names in groups.values())
