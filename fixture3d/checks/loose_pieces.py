"""Pieces to which no weld joins anything: a piece that was drawn a little off its place is found nowhere else."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from fixture3d import frame
from fixture3d.checks.base import Finding, point
from fixture3d.checks.weld_doubts import Make
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.found_welds import Found
from fixture3d.job.pieces import piece_shape
from fixture3d.job.weldment import Piece, Weldment
from fixture3d.solid.relate import Placed, relate_placed
from fixture3d.tolerance import JOINTS
from fixture3d.units import show_fine

_FAR: Final = 100.0  # mm; up to where the nearest piece is looked for: beyond it a drawing is meant so


def loose_pieces(job: Job, make: Make) -> Iterator[Finding]:
    """A note on each piece without a weld, with the piece that is nearest, where welds are found by themselves.

    Told once for the whole weldment, in its last stage. A pair of which something else is told already is left out.

    Args:
        job: assembled.
        make: makes a finding of the rule ``no-weld-found``.
    """
    found, weldment = job.found, job.weldment
    last = job.stage is None or job.stage == job.scene.whole.stages[-1].name
    if found is None or weldment is None or not last or len(weldment.pieces) < 2:
        return
    seen = {name for weld in (*found.welds.values(), *found.closed.values()) for name in weld.joins}
    seen |= {name for remark in found.remarks for name in remark.joins} | set(found.unread)
    placed = {piece.name: _placed(piece, job) for piece in weldment.pieces if piece.name not in found.unread}
    told: set[frozenset[str]] = set()
    for piece in weldment.pieces:
        if piece.name in seen or _is_listed(piece, placed[piece.name], job):
            continue
        nearest = _nearest(piece.name, placed, job)
        pair = frozenset({piece.name, nearest[1]} if nearest else {piece.name})
        if pair in told:
            continue
        told.add(pair)
        yield _told(piece, nearest, weldment, found, make, job)


def _told(
    piece: Piece, nearest: tuple[float, str] | None, weldment: Weldment, found: Found, make: Make, job: Job
) -> Finding:
    name, units = piece.name, job.scene.units
    where = f"no other piece is within {show_fine(_FAR, units)}"
    remedy = f'bring it to what it is welded to, or list its weld with joins = ["{name}", ...] and a path'
    if nearest is not None:
        gap, other = nearest
        where = f"the nearest piece is {other}, {show_fine(gap, units)} away"
        remedy = f'close the gap to {other}, or list the weld with joins = ["{name}", "{other}"] and a path'
    middle = _placed(piece, job).world_box().mean(axis=0)
    return make(
        "no-weld-found",
        [name, *([nearest[1]] if nearest is not None else [])],
        f"{name} has no weld: {where}",
        level="note",
        at=point(frame.points(weldment.weldment_to_world, middle)),
        remedy=remedy,
    )


def _placed(piece: Piece, job: Job) -> Placed:
    """A piece in the weldment's frame."""
    return Placed(piece.name, piece_shape(piece, job.store), piece.piece_to_weldment)


def _is_listed(piece: Piece, placed: Placed, job: Job) -> bool:
    """Whether a weld of the file joins the piece, or says no pieces and has a point at it."""
    box = placed.world_box() + np.array([[-1.0], [1.0]]) * JOINTS.doubled
    for weld in job.scene.whole.welds:
        if piece.name in (weld.joins or ()):
            return True
        if weld.joins is None and weld.path is not None:
            path: Array = np.asarray(weld.path, dtype=np.float64)
            if ((path >= box[0]) & (path <= box[1])).all(axis=1).any():
                return True
    return False


def _nearest(name: str, placed: dict[str, Placed], job: Job) -> tuple[float, str] | None:
    """The nearest other piece and its distance, mm; None where none is near."""
    own = placed[name].world_box()
    apart: list[tuple[float, str]] = []
    for other, one in placed.items():
        box = one.world_box()
        off = np.maximum(np.maximum(box[0] - own[1], own[0] - box[1]), 0.0)
        apart.append((float(np.linalg.norm(off)), other))
    best: tuple[float, str] | None = None
    for least, other in sorted(one for one in apart if one[1] != name):
        reach = _FAR if best is None else best[0]
        if least > reach:
            break  # boxes are in order of their distance
        relation = relate_placed(placed[name], placed[other], reach=reach, want_way_out=False, store=job.store)
        if relation.gap is not None and (best is None or relation.gap < best[0]):
            best = relation.gap, other
    return best
