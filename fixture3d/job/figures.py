"""The key figures of a job: found on its pieces, or asked for in the file, each with what it is held against.

Lengths mm, angles degrees; points in the world.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixture3d import frame
from fixture3d.accuracy.figures import Figure, Work, angle, distance, flatness, key_figures, overall, underside
from fixture3d.accuracy.iso13920 import allowed, call_out
from fixture3d.errors import Problem, nearest_name
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.weldment import Piece, Weldment
from fixture3d.scene import Scene, problem, schema
from fixture3d.tolerance import ACCURACY

__all__ = ["Asked", "axis_of", "figure_problems", "figures_of", "works_of"]

UNDERSIDE = "flatness of the underside"


@dataclass(frozen=True, eq=False)
class Asked:
    """One key figure and what it is held against.

    Attributes:
        figure: itself.
        drawn: what the drawing says; as it is modelled where the file does not say otherwise.
        limits: less and more that it may be off ``drawn``; None where no tolerance is known for it.
        by: what gives the limits: ``"the file"``, or the class of ISO 13920.
        stated: the file asks for these limits; else they are only the usual ones.
    """

    figure: Figure
    drawn: float
    limits: tuple[float, float] | None
    by: str
    stated: bool


def axis_of(piece: Piece) -> tuple[Array, Array] | None:
    """Both ends of a straight member's centre line, weldment frame; None of anything else."""
    if piece.kind != "member" or piece.bent is not None or piece.length <= 0.0:
        return None
    start, end = frame.points(piece.piece_to_weldment, np.array([[0.0, 0.0, 0.0], [piece.length, 0.0, 0.0]]))
    return start, end


def works_of(job: Job) -> list[Work]:
    """The pieces on the table as figures are found on them, in file order, world."""
    assert job.weldment is not None
    known = {piece.name: piece for piece in job.weldment.pieces}
    out = []
    for body in job.pieces():
        corners = np.unique(np.round(frame.points(body.body_to_world, body.shape.mesh.vertices), 6), axis=0)
        piece = known.get(body.name)
        out.append(_work(body.name, piece, job.weldment.weldment_to_world, corners))
    return out


def _work(name: str, piece: Piece | None, to_world: Array, corners: Array) -> Work:
    ends = None if piece is None else axis_of(piece)
    if piece is None or ends is None or piece.section is None:
        middle = corners.mean(axis=0)
        return Work(name, middle, middle, corners)
    start, end = (frame.points(to_world, one) for one in ends)
    return Work(name, start, end, corners, max(piece.section.height, piece.section.width) / 2.0)


def figures_of(job: Job, works: Sequence[Work]) -> list[Asked]:
    """All key figures of what is on the table, those of the file last.

    A figure of the file counts where all of its pieces are on the table; limits on a figure that is found by itself
    count once all pieces of the weldment are.
    """
    assert job.weldment is not None
    keys = job.scene.weldment
    text = keys.iso_13920 if keys is not None else None
    classes = call_out(text) if text is not None else (ACCURACY.length_class, ACCURACY.form_class)
    label = f"ISO 13920-{classes[0]}{classes[1] or ''}"
    there = {work.name for work in works}
    complete = _complete(job, there)
    by_name = {one.name: one for one in job.scene.figures}
    out = []
    for figure in _found(works, job.weldment.weldment_to_world[:3, :3].T):
        given = by_name.get(figure.name) if complete else None
        out.append(_held(figure, given, classes, label, text is not None))
    for one in job.scene.figures:
        if one.kind is not None and set(one.of or there) <= there:
            made = _made(one, {work.name: work for work in works}, job.weldment.weldment_to_world)
            if made is not None:
                out.append(_held(made, one, classes, label, text is not None))
    return out


def _complete(job: Job, there: set[str]) -> bool:
    """Whether every piece of the weldment is on the table, in this stage."""
    if job.stage is None:
        return True
    whole = job.scene.whole
    names = {one.name for one in whole.members} | {one.name for one in whole.plates}
    names |= {name for one in whole.frames for name in one.members}
    if not names:  # pieces of a file: those that any stage names
        names = {name for stage in whole.stages for name in stage.pieces or ()}
    return names <= there


def _found(works: Sequence[Work], axes: Array) -> Iterator[Figure]:
    yield from key_figures(works, axes)
    flat = underside(works, np.array([0.0, 0.0, 1.0]))
    if flat is not None:
        yield replace(flat, name=UNDERSIDE)


def _held(
    figure: Figure, given: schema.Figure | None, classes: tuple[str, str | None], label: str, stated: bool
) -> Asked:
    """A figure with its limits: those of the file, or of the class."""
    size = None if given is None else given.degrees if figure.kind == "angle" else given.size
    own = None if given is None else given.limits_degrees if figure.kind == "angle" else given.limits
    drawn = figure.nominal if size is None else float(size)
    if own is not None:
        return Asked(figure, drawn, own, "the file", True)
    usual = allowed(figure, classes[0], classes[1])
    limits = None if usual is None else (0.0 if figure.kind == "flatness" else -usual, usual)
    return Asked(figure, drawn, limits, label, stated)


def _made(one: schema.Figure, works: dict[str, Work], to_world: Array) -> Figure | None:
    """A figure of the file with a kind of its own; None where a member has no straight centre line."""
    of = list(one.of or works)
    if one.kind == "overall":
        return overall(one.name, [works[name] for name in of], to_world[:3, "xyz".index(one.axis or "x")])
    if one.kind == "angle":
        a, b = works[of[0]], works[of[1]]
        return angle(one.name, a, b) if a.length > 0.0 and b.length > 0.0 else None
    points = [frame.points(to_world, np.asarray(point, dtype=np.float64)) for point in one.points or ()]
    spots = list(zip(of, points, strict=True))
    if one.kind == "flatness":
        return flatness(one.name, spots, float(np.ptp(np.array(points), axis=0).max()))
    return distance(one.name, spots[0], spots[1], "diagonal" if one.kind == "diagonal" else "length")


def figure_problems(scene: Scene, weldment: Weldment) -> list[Problem]:
    """What the figures of a file ask for and the weldment does not have; every stage counts."""
    if not scene.figures:
        return []
    known = {piece.name: piece for piece in weldment.pieces}
    works = [_work(p.name, p, np.eye(4), _spine(p)) for p in weldment.pieces]
    found = {figure.name: figure for figure in key_figures(works)}
    names = [*found, UNDERSIDE]
    out: list[Problem] = []
    for one in scene.figures:
        if one.kind is None:
            out += _unfound(scene, one, found, names)
        elif one.name in names:
            what = f'the name "{one.name}" belongs to a figure that is found by itself'
            out.append(problem(scene, one, "name", what, "another name, or no kind to give that one its limits"))
        for name in one.of or ():
            if name not in known:
                what = f'of: no piece is called "{name}"'
                out.append(problem(scene, one, "of", what, "", nearest_name(name, known)))
            elif one.kind == "angle" and axis_of(known[name]) is None:
                out.append(problem(scene, one, "of", f'"{name}" has no straight centre line', "two straight members"))
    return out


def _unfound(scene: Scene, one: schema.Figure, found: dict[str, Figure], names: list[str]) -> Iterator[Problem]:
    if one.name not in names:
        what = f'no figure "{one.name}" was found on the pieces, and it has no kind'
        near = nearest_name(one.name, names)
        yield problem(scene, one, "name", what, "the name of a found one, or a kind", near or names[0])
        return
    is_angle = one.name in found and found[one.name].kind == "angle"
    if is_angle and (one.size is not None or one.limits is not None):
        yield problem(scene, one, "limits", f'"{one.name}" is an angle', "degrees and limits_degrees")
    if not is_angle and (one.degrees is not None or one.limits_degrees is not None):
        yield problem(scene, one, "limits_degrees", f'"{one.name}" is a length', "size and limits")


def _spine(piece: Piece) -> Array:
    ends = axis_of(piece)
    return piece.piece_to_weldment[None, :3, 3] if ends is None else np.array(ends)
