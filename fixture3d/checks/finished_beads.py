"""What stands on a weld that is finished: found by comparing the bead as a solid with everything that is put to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.checks.base import Rule
from fixture3d.checks.overlap_remedies import Surfaces, aside
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.table_body import Plate, PlateRelation, relate_stored
from fixture3d.job.wayout import in_words, length, remedy
from fixture3d.scene.stages import Named, on_table, runs
from fixture3d.solid.relate import Placed, Relation, relate_all
from fixture3d.tolerance import SHOP

RULE = Rule(
    name="on-bead",
    level="fail",
    title="Something stands on a finished weld",
    meaning="A weld of an earlier stage stands out of the work. A block, clamp or new piece that lies against it does "
    "not reach the face that it is drawn on, and the work rocks. The bead is taken as a solid of the weld's size. The "
    "figure is how deep the one is in the other; 0 when they only touch.",
    cure="Move it along the piece until it is clear of the bead, or take it off in this stage (without, stages), or "
    "run the weld in a later stage.",
)
NOT_COVERED = (
    "A finished weld counts with its nominal size: distortion, stops and starts are not seen. One that is left out by "
    "skip = true, or whose faces are not found, is not there.",
)


@dataclass(frozen=True, kw_only=True)
class Hit:
    """A body or a plate that meets a finished weld.

    Attributes:
        weld: its name.
        bead: the part of the bead that is met.
        other: what meets it.
        depth: mm; 0 when they only touch.
        way_out: (3,) how the other has to move to be clear, mm; None when they only touch. Of a plate, how the bead
            has to move.
        opened: it is a clamp in its open position.
    """

    weld: str
    bead: Body
    other: Body | Plate
    depth: float
    way_out: Array | None
    opened: bool = False


def bead_hits(job: Job, plates: Sequence[Plate]) -> list[Hit]:
    """For every item or plate and every finished weld the deepest place where they meet, in file order.

    Pieces that were on the table when the weld was run are not compared with it: it was laid against them. The space
    that a clamp sweeps may touch a bead; only overlap blocks it.
    """
    worst: dict[tuple[str, str], Hit] = {}
    for hit in [*_with_bodies(job), *_with_plates(job, plates)]:
        item = hit.other.item if isinstance(hit.other, Body) else hit.other.name
        key = (item, hit.weld)
        if key not in worst or hit.depth > worst[key].depth:
            worst[key] = hit
    return list(worst.values())


def _with_bodies(job: Job) -> Iterator[Hit]:
    if not job.beads:
        return
    late = _late_pieces(job)
    beads = {f"bead {k}": bead for k, bead in enumerate(job.beads)}
    others: dict[str, tuple[Body, bool]] = {}
    for k, body in enumerate(job.bodies):
        others[f"body {k}"] = (body, False)
        if body.open_to_world is not None:
            others[f"open {k}"] = (body, True)
    placed = [Placed(name, bead.shape, bead.body_to_world) for name, bead in beads.items()]
    for name, (body, opened) in others.items():
        pose = body.open_to_world if opened and body.open_to_world is not None else body.body_to_world
        placed.append(Placed(name, body.shape, pose))

    def skip(a: str, b: str) -> bool:
        if (a in beads) == (b in beads):
            return True
        bead, other = (a, b) if a in beads else (b, a)
        body = others[other][0]
        return body.role == "piece" and body.name not in late[beads[bead].item]

    for a, b, relation in relate_all(placed, skip=skip, contact=SHOP.contact, reach=SHOP.contact, store=job.store):
        bead, other = (a, b) if a in beads else (b, a)
        body, opened = others[other]
        if _meets(relation, body.role == "sweep"):
            way = None if relation.way_out is None else np.asarray(relation.way_out, dtype=np.float64)
            yield Hit(
                weld=beads[bead].item,
                bead=beads[bead],
                other=body,
                depth=relation.depth if relation.kind == "overlapping" else 0.0,
                way_out=way if way is None or other == b else -way,
                opened=opened,
            )


def _with_plates(job: Job, plates: Sequence[Plate]) -> Iterator[Hit]:
    for bead in job.beads:
        for plate in plates:
            relation = relate_stored(plate, bead.shape, bead.body_to_world, job.store)
            if relation is not None and _meets(relation, False):
                way = None if relation.way_out is None else np.asarray(relation.way_out, dtype=np.float64)
                depth = relation.depth if relation.kind == "overlapping" else 0.0
                yield Hit(weld=bead.item, bead=bead, other=plate, depth=depth, way_out=way)


def _meets(relation: Relation | PlateRelation, may_touch: bool) -> bool:
    return relation.kind == "overlapping" or (relation.kind == "touching" and not may_touch)


def _late_pieces(job: Job) -> dict[str, set[str]]:
    """For every finished weld the pieces that were not on the table yet when it was run."""
    whole = job.scene.whole
    pieces = [Named(piece.name, piece.item) for piece in job.weldment.pieces] if job.weldment is not None else []
    out: dict[str, set[str]] = {weld.name: set() for weld in job.done}
    for stage in whole.stages:
        away = {piece.name for piece in pieces} - on_table(stage, pieces)
        for weld in runs(whole)[stage.name]:
            if weld in out:
                out[weld] = away
    return out


def in_words_of(hit: Hit) -> str:
    """What is wrong, without figures."""
    if isinstance(hit.other, Plate):
        return f"the finished weld {hit.weld} lies on the {hit.other.name}"
    if hit.other.role == "sweep" or hit.opened:
        return f"{hit.other.item} cannot be opened and shut: the finished weld {hit.weld} is in its way"
    verb = "runs into" if hit.depth > 0.0 else "stands on"
    return f"{hit.other.name} {verb} the finished weld {hit.weld}"


def cure_of(job: Job, hit: Hit, triangles: Surfaces, boxes: Mapping[str, Array]) -> str:
    """What to do about it in the stage of the job: for a block in a hole, another hole, tried before it is named.

    Args:
        job: the setup.
        hit: what meets a bead.
        triangles: (m, 3, 3) of every piece, world.
        boxes: world box of every body, (2, 3).
    """
    later = f'or run "{hit.weld}" in a later stage'
    if isinstance(hit.other, Plate):
        least = length(SHOP.contact if hit.way_out is None else float(np.linalg.norm(hit.way_out)), job.scene.units)
        return f"lift the weldment by more than {least} in this stage, {later}"
    if hit.other.role == "piece":
        return f"take the corner of {hit.other.name} off where the bead is, {later}"
    if hit.other.role == "sweep" or hit.opened:
        return f"turn {hit.other.item} or move it to another hole in this stage, {later}"
    seat = job.seats.get(hit.other.item)
    found = aside(job, seat, triangles, boxes) if seat is not None and not seat.clamp else ""
    if found:
        return f"{found}; {later}"
    if hit.way_out is None:
        return f"move {hit.other.item} along the piece, clear of the weld, {later}"
    if seat is None:
        return f"move {hit.other.item} {in_words(hit.way_out, job.scene.units)}, {later}"
    return f"{remedy(job, hit.other, hit.way_out)}, {later}"
