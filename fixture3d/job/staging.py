"""What a stage of a scene has on the table: its pieces, and the welds of the stages before it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fixture3d.access.welds import Weld
from fixture3d.errors import Problem
from fixture3d.job.welding import declared_welds
from fixture3d.scene import problem
from fixture3d.scene.stages import Named, on_table, with_done_welds, work_faults
from fixture3d.solid.joint_faces import point_triangles
from fixture3d.tolerance import SHOP

if TYPE_CHECKING:
    from fixture3d.job import Body
    from fixture3d.job.found_welds import Found
    from fixture3d.job.weldment import Weldment
    from fixture3d.scene import Scene


def file_piece_problems(scene: Scene, weldment: Weldment) -> Iterator[Problem]:
    """What is wrong with the pieces of the stages when they come from a file, so that reading the scene cannot tell."""
    if scene.weldment is None or scene.weldment.file is None:
        return
    named = [Named(piece.name, piece.item) for piece in weldment.pieces]
    for fault in work_faults(scene.whole, named, lambda kind, k: (kind, k)):
        yield problem(scene.whole, fault.path[:2], fault.path[2:], *fault[1:])


def on_the_table(scene: Scene, weldment: Weldment, bodies: Sequence[Body]) -> tuple[Weldment, tuple[Body, ...]]:
    """The weldment and its bodies with only the pieces of the stage."""
    here = on_table(scene.stage, [Named(piece.name, piece.item) for piece in weldment.pieces])
    pieces = tuple(piece for piece in weldment.pieces if piece.name in here)
    return dataclasses.replace(weldment, pieces=pieces), tuple(body for body in bodies if body.name in here)


def finished_welds(
    scene: Scene, weldment: Weldment | None, pieces: Mapping[str, Body], found: Found | None = None
) -> tuple[tuple[Weld, tuple[str, ...]], ...]:
    """The welds of earlier stages that are on the table, world frame, each with the pieces that it joins.

    A weld that is given by sides joins the pieces that its line runs along; where there are none on the table, the
    weld is not there either. Welds without a size, and those that are left out of the checks, are not among them.
    """
    if not scene.done:
        return ()
    welds, _ = declared_welds(with_done_welds(scene, pieces), weldment, pieces, found)
    joined = [(weld, weld.joins if any(weld.joins) else pieces_along(weld, pieces)) for weld in welds]
    return tuple((weld, names) for weld, names in joined if names)


def pieces_along(weld: Weld, pieces: Mapping[str, Body]) -> tuple[str, ...]:
    """The pieces that a weld's line runs along: no further off than its size, half way along its first part."""
    middle = (weld.path[0] + weld.path[1]) / 2.0
    near = max(weld.size, SHOP.contact)
    out = []
    for name, body in pieces.items():
        if ((middle < body.box[0] - near) | (middle > body.box[1] + near)).any():
            continue
        corners = body.triangles
        if float(np.min(point_triangles(middle, corners))) <= near:
            out.append(name)
    return tuple(out)
