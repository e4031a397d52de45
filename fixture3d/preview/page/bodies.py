"""What the page draws: distinct shapes, and each body with its place, its layer and the stages in which it is there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from fixture3d import frame
from fixture3d.errors import one_line
from fixture3d.frame import Array
from fixture3d.job import Body, Job
from fixture3d.preview.page.glb import columns
from fixture3d.preview.page.keepout import room
from fixture3d.solid.facets import Facets

LAYERS: Final = {
    "block": "blocks",
    "pin": "blocks",
    "shim": "blocks",
    "clamp": "clamps",
    "piece": "pieces",
    "bead": "pieces",
    "sweep": "keep-outs",
    "keep-out": "keep-outs",
}


@dataclass(eq=False)
class Drawn:
    """Bodies of all stages, each once, and the distinct shapes that they share.

    Attributes:
        meshes: distinct shapes.
        rows: one a body, as the page's data wants them.
        poses: body_to_world (4, 4) of each row.
    """

    meshes: list[Facets] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)
    poses: list[Array] = field(default_factory=list)

    @property
    def nodes(self) -> list[tuple[str, int, Array]]:
        """Name, mesh and pose of each body, as the GLB wants them."""
        return [(f"b{k}", row["mesh"], pose) for k, (row, pose) in enumerate(zip(self.rows, self.poses, strict=True))]


def drawn(jobs: Sequence[Job], items: Sequence[Mapping[Any, int]]) -> Drawn:
    """Everything to draw.

    Args:
        jobs: one a stage, or the only one.
        items: for each job the index of an item by its name, of a weld's room by ``("weld", name)`` and of a
            finished weld by ``("bead", name)``.
    """
    out = Drawn()
    shapes: dict[Any, int] = {}
    known: dict[Any, int] = {}
    for stage, (job, index) in enumerate(zip(jobs, items, strict=True)):
        for body in (*job.bodies, *job.beads):
            item = index["bead", body.item] if body.role == "bead" else index[body.item]
            mesh = _mesh(out, shapes, body.shape.key, body)
            key = (body.name, body.role, item, mesh, tuple(columns(body.body_to_world)))
            _add(out, known, key, _row(job, body, item, mesh), body.body_to_world, stage)
        for weld in job.welds:
            facets = room(weld)
            content = facets.to_bytes()
            name = f"room at {weld.name}"
            mesh = _mesh(out, shapes, content, facets)
            row = _named(name, "keep-out", index["weld", weld.name], mesh, frame.identity())
            _add(out, known, (name, content), row, frame.identity(), stage)
    for row in out.rows:
        if len(row["stages"]) == len(jobs):
            row["stages"] = None
    return out


def _mesh(out: Drawn, shapes: dict[Any, int], key: Any, source: Body | Facets) -> int:
    if key not in shapes:
        shapes[key] = len(out.meshes)
        out.meshes.append(source if isinstance(source, Facets) else source.shape.facets)
    return shapes[key]


def _add(out: Drawn, known: dict[Any, int], key: Any, row: dict[str, Any], pose: Array, stage: int) -> None:
    if key not in known:
        known[key] = len(out.rows)
        out.rows.append({**row, "stages": []})
        out.poses.append(np.asarray(pose, dtype=np.float64))
    out.rows[known[key]]["stages"].append(stage)


def _row(job: Job, body: Body, item: int, mesh: int) -> dict[str, Any]:
    row = _named(body.name, body.role, item, mesh, body.body_to_world)
    return {**row, "colour": _colour(job, body)}


def _named(name: str, role: str, item: int, mesh: int, pose: Array) -> dict[str, Any]:
    return {
        "item": item,
        "name": one_line(name),
        "role": role,
        "layer": LAYERS[role],
        "colour": None,
        "mesh": mesh,
        "matrix": columns(pose),
    }


def _colour(job: Job, body: Body) -> list[float] | None:
    """The colour that a piece has in the file it comes from, red, green and blue from 0 to 1, or None."""
    if body.role != "piece" or job.weldment is None:
        return None
    piece = next((p for p in job.weldment.pieces if p.name == body.name), None)
    colour = getattr(piece.solid, "colour", None) if piece is not None and piece.solid is not None else None
    return [round(float(c), 4) for c in colour[:3]] if colour is not None else None
