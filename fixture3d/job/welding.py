"""From the welds that a scene declares to weld lines in the world, with the two faces that each one lies between."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.access.welds import Weld, joint_frame, middle_angle
from fixture3d.errors import BadSolid, Problem, SceneError, nearest_name
from fixture3d.job.found_welds import Found, aims_in_world, sides_in_world
from fixture3d.scene import problem_at
from fixture3d.solid.facets import OTHER
from fixture3d.solid.joint_faces import Faces, NotOnJoint, sides_at_path
from fixture3d.tolerance import JOINTS, NUMERIC

if TYPE_CHECKING:
    from fixture3d.frame import Array
    from fixture3d.job import Body
    from fixture3d.job.weldment import Weldment
    from fixture3d.scene import Scene
    from fixture3d.scene.schema import Weld as WeldKeys


def declared_welds(
    scene: Scene, weldment: Weldment | None, pieces: Mapping[str, Body], found: Found | None = None
) -> tuple[tuple[Weld, ...], dict[str, str]]:
    """The welds of a scene, world frame, in file order.

    Args:
        scene: its ``[[weld]]`` tables.
        weldment: where its frame is; None when there is none.
        pieces: by name, in the world.
        found: welds that come from the geometry, whose faces are known already.

    Returns:
        The welds whose faces are known, and for the others the reason in words.

    Raises:
        SceneError: a weld that names a piece which is not there, or that gives no path.
    """
    problems: list[Problem] = []
    welds: list[Weld] = []
    reasons: dict[str, str] = {}
    faces: dict[str, Faces] = {}
    to_world = weldment.weldment_to_world if weldment is not None else frame.identity()
    fallback = scene.weldment.technique if scene.weldment is not None else None
    for index, item in enumerate(scene.welds):
        if item.skip:
            continue
        where = ("weld", index)
        if item.path is None:
            problems += problem_at(scene, where, "name", "no path is given", "path = [[0, 0, 0], [40, 0, 0]]").problems
            continue
        missing = [name for name in item.joins or () if name not in pieces]
        if missing:
            for name in missing:
                near = nearest_name(name, pieces)
                text = f'piece "{name}" is not part of the weldment'
                problems += problem_at(scene, where, "joins", text, ", ".join(pieces), near).problems
            continue
        path = frame.points(to_world, item.path)
        of_geometry = found.welds.get(item.name) if found is not None else None
        if of_geometry is not None and item.sides is None:
            sides = sides_in_world(of_geometry, to_world)
        elif item.sides is not None:
            sides = frame.directions(to_world, item.sides)
        elif item.joins is not None:
            for name in item.joins:
                if name not in faces:
                    faces[name] = _faces(pieces[name])
            read = sides_at_path(path, faces[item.joins[0]], faces[item.joins[1]])
            if isinstance(read, NotOnJoint):
                whose = f"{item.joins[read.piece]}: " if read.piece >= 0 else ""
                reasons[item.name] = whose + read.why
                continue
            sides = read
        else:
            text = "neither joins nor sides is given"
            problems += problem_at(scene, where, "name", text, 'joins = ["left leg", "foot"]').problems
            continue
        try:
            welds.append(
                Weld(
                    name=item.name,
                    type=item.type or "fillet",
                    joins=item.joins or ("", ""),
                    size=item.size or 0.0,
                    path=path,
                    technique=item.technique or fallback or "",
                    sides=sides,
                    passes=item.passes or 0,
                    aim=aims_in_world(of_geometry, to_world)
                    if of_geometry is not None and item.sides is None
                    else _listed_aims(item, path, sides, pieces),
                )
            )
        except ValueError as error:
            problems += problem_at(scene, where, "path", str(error)).problems
    if problems:
        raise SceneError(problems)
    return tuple(welds), reasons


def _listed_aims(item: WeldKeys, path: Array, sides: Array, pieces: Mapping[str, Body]) -> Array | None:
    """Where the arc is aimed along a listed flare between two pieces; None of others, and where it cannot be told."""
    if item.type != "flare" or item.joins is None:
        return None
    from fixture3d.welding.aim import aims
    from fixture3d.welding.surface import surface_of

    try:
        first, second = (
            surface_of(body.shape).moved(body.body_to_world) for body in (pieces[name] for name in item.joins)
        )
    except BadSolid:
        return None
    parts = np.diff(path, axis=0)
    bisector, opening = np.zeros(parts.shape), 0.0
    for k, (part, pair) in enumerate(zip(parts, np.broadcast_to(sides, (len(parts), 2, 3)), strict=True)):
        if float(np.linalg.norm(part)) > NUMERIC.merge:
            axes, middle = joint_frame(part, pair), np.deg2rad(middle_angle(part, pair))
            bisector[k] = np.cos(middle) * axes[:, 2] + np.sin(middle) * axes[:, 1]
            opening = max(opening, 180.0 - 2.0 * float(np.rad2deg(middle)))
    # The normals of a round at its root say that it is shut there: what is beside it is looked at as well.
    return aims((first, second), path, bisector, max(opening, 2.0 * JOINTS.tight))


def _faces(body: Body) -> Faces:
    """The faces of a body in the world, with their true surfaces unless the solid does not tell them."""
    try:
        return Faces.of_facets(body.shape.facets, body.body_to_world)
    except BadSolid:
        mesh = body.shape.mesh
        return Faces(mesh.vertices, mesh.faces, [(float(len(mesh.faces)), OTHER)], body.body_to_world)
