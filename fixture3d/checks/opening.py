"""Each clamp in its two states: what it meets shut, what it meets open, and what stands in its way between the two."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.job.table_body import Plate, PlateRelation, relate_stored
from fixture3d.solid.relate import Placed, Relation, relate_all
from fixture3d.tolerance import SHOP

_OPEN = "\0open"  # no name of a scene holds this character

Pairs = Sequence[tuple[Body, Body, Relation]]
OnPlates = Sequence[tuple[Body, Plate, PlateRelation]]


@dataclass(frozen=True, kw_only=True)
class Hit:
    """A body of an open clamp that runs into something.

    Attributes:
        body: of the clamp.
        other: the name of the body or plate that it meets.
        item: what that belongs to.
        depth: how far it reaches in, mm.
        at: (3,) a point to look at, world.
    """

    body: Body
    other: str
    item: str
    depth: float
    at: Array


def open_hits(job: Job, plates: Iterable[Plate], about: frozenset[str] | None = None) -> list[Hit]:
    """What each clamp runs into when it alone is open and all else stands as it is drawn.

    Args:
        job: the setup.
        plates: the table and what else has holes.
        about: only what these items have a part in; None for all.
    """

    def asked(item: str) -> bool:
        return about is None or item in about

    opening = [body for body in job.bodies if body.open_to_world is not None]
    if not opening:
        return []
    bodies = {body.name: body for body in job.bodies}
    placed = [Placed(b.name, b.shape, b.body_to_world) for b in job.bodies if b.role != "sweep"]
    placed += [Placed(b.name + _OPEN, b.shape, b.open_to_world) for b in opening if b.open_to_world is not None]

    def skip(a: str, b: str) -> bool:
        if a.endswith(_OPEN) == b.endswith(_OPEN):
            return True
        one, other = (bodies[name.removesuffix(_OPEN)].item for name in (a, b))
        return one == other or not (asked(one) or asked(other))

    hits = []
    for first, second, relation in relate_all(
        placed, skip=skip, contact=SHOP.contact, reach=0.0, store=job.store, want_way_out=about is None
    ):
        if relation.kind == "overlapping":
            opened, other = (first, second) if first.endswith(_OPEN) else (second, first)
            body, met = bodies[opened.removesuffix(_OPEN)], bodies[other]
            at = met.box.mean(axis=0)
            hits.append(Hit(body=body, other=met.name, item=met.item, depth=relation.depth, at=at))
    for plate in plates:
        for body in opening:
            pose = body.open_to_world if asked(body.item) else None
            found = relate_stored(plate, body.shape, pose, job.store) if pose is not None else None
            if pose is not None and found is not None and found.kind == "overlapping":
                hits.append(Hit(body=body, other=plate.name, item=plate.name, depth=found.depth, at=pose[:3, 3]))
    return hits


def clamp_rows(job: Job, pairs: Pairs, on_plates: OnPlates, hits: Sequence[Hit]) -> list[Mapping[str, Any]]:
    """For every clamp what it runs into when shut, when open and on the way, by name; empty where it is free.

    ``open`` and ``way`` are None for a model that does not say where its arm goes.
    """
    met: dict[tuple[str, bool], set[str]] = {}
    for a, b, relation in pairs:
        if relation.kind == "overlapping":
            for one, other in ((a, b), (b, a)):
                if other.role != "sweep":
                    met.setdefault((one.item, one.role == "sweep"), set()).add(other.item)
    for body, plate, on in on_plates:
        if on.kind == "overlapping":
            met.setdefault((body.item, body.role == "sweep"), set()).add(plate.name)
    rows: list[Mapping[str, Any]] = []
    for seat in job.seats.values():
        if seat.part.tip() is None:
            continue
        own = job.of_item(seat.name)
        opens, sweeps = any(b.open_to_world is not None for b in own), any(b.role == "sweep" for b in own)
        rows.append(
            {
                "clamp": seat.name,
                "shut": sorted(met.get((seat.name, False), ())),
                "open": sorted({h.item for h in hits if h.body.item == seat.name}) if opens else None,
                "way": sorted(met.get((seat.name, True), ())) if sweeps else None,
            }
        )
    return rows
