"""Sizes of a print: holes wider, pins thinner, and the lowest edge drawn in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from fixture3d.solid.kernel import one_solid
from fixture3d.solid.mesh import Mesh, require_good
from fixture3d.tolerance import PRINTING
from fixture3d.workshop.printing_faces import Moved, Step, moved_faces


def made_up(shape: Any, hole: float, pin: float) -> tuple[Any, list[str]]:
    """A solid whose holes, hollows, slots and conical seats are wider and whose pins are thinner; and what was done.

    Args:
        shape: ``TopoDS_Shape``, one solid.
        hole: mm on diameter, or on the width of a slot.
        pin: mm on diameter.

    Faces are moved by half of that into the material, those of a cone so that its diameter changes by that.
    """
    import cadquery as cq

    solid = cq.Solid(one_solid(shape))
    moved = moved_faces(solid, pin)
    steps = [(s, s.share * hole / 2.0) for s in moved.inside if hole > 0.0]
    steps += [(s, s.share * pin / 2.0) for s in moved.outside if pin > 0.0]
    made, stuck = (solid, 0) if not steps else _faces_moved(solid, steps) or _layers_off(solid, steps)
    wider = [
        f"{count} {name}{'s' * (count != 1)}"
        for count, name in (
            (moved.holes, "round hole"),
            (moved.hollows, "round hollow"),
            (moved.slots, "slot"),
            (moved.seats, "conical seat"),
        )
        if count and hole > 0.0
    ]
    pins = moved.pins if pin > 0.0 else 0
    said = f"{', '.join(wider) or 'no holes'} wider, {pins or 'no'} pin{'s' * (pins != 1)} thinner"
    return one_solid(made.wrapped), [said + _left(moved, stuck)]


def _left(moved: Moved, stuck: int) -> str:
    """What else there is, which stays as it is drawn."""
    left = [f"{stuck} of these faces (the kernel cannot move them: file them to fit)"] if stuck else []
    left += [f"{moved.fillets} rounded inside edge{'s' * (moved.fillets != 1)}"] if moved.fillets else []
    left += [f"{moved.inclined} inclined flat{'s' * (moved.inclined != 1)} (V, teeth)"] if moved.inclined else []
    left += [f"{moved.other} other curved face{'s' * (moved.other != 1)}"] if moved.other else []
    return f"; as drawn: {', '.join(left)}" if left else ""


def _off(steps: Sequence[tuple[Step, float]]) -> float:
    """Volume of layers of these thicknesses, mm3."""
    return sum(float(step.face.Area()) * mm * (1.0 + step.curl / max(step.share, 1e-9) * mm) for step, mm in steps)


def _right(before: Any, after: Any, steps: Sequence[tuple[Step, float]]) -> bool:
    """Whether a solid is sound and has lost what these layers have; corners between them lose a little more."""
    lost = float(before.Volume()) - float(after.Volume())
    return bool(after.isValid() and abs(lost - _off(steps)) <= PRINTING.lost * _off(steps))


def _faces_moved(solid: Any, steps: Sequence[tuple[Step, float]]) -> tuple[Any, int] | None:
    """By the kernel's own offset, which lets the faces beside follow; None where it cannot."""
    import cadquery as cq
    from OCP.BRepOffset import BRepOffset_MakeOffset, BRepOffset_Skin
    from OCP.GeomAbs import GeomAbs_Intersection
    from OCP.Standard import Standard_Failure

    maker = BRepOffset_MakeOffset()
    maker.Initialize(solid.wrapped, 0.0, 1e-5, BRepOffset_Skin, False, False, GeomAbs_Intersection, False, False)
    for step, mm in steps:
        maker.SetOffsetOnFace(step.face.wrapped, -mm)
    try:
        maker.MakeOffsetShape()
        found = cq.Shape.cast(maker.Shape()).Solids() if maker.IsDone() else []
    except (Standard_Failure, RuntimeError, ValueError):
        return None
    return (found[0], 0) if len(found) == 1 and _right(solid, found[0], steps) else None


def _layers_off(solid: Any, steps: Sequence[tuple[Step, float]]) -> tuple[Any, int]:
    """By boring holes and cutting a layer off each other face, one after the other; and of how many that failed."""
    from OCP.Standard import Standard_Failure

    stuck = 0
    for step in steps:
        try:
            found = solid.cut(_layer(*step)).Solids()
        except (Standard_Failure, RuntimeError, ValueError):
            found = []
        # Where layers cross, the later one finds some of its own gone.
        if len(found) == 1 and found[0].isValid() and 0.5 < (solid.Volume() - found[0].Volume()) / _off([step]) < 1.5:
            solid = found[0]
        else:
            stuck += 1
    return solid, stuck


def _layer(step: Step, mm: float) -> Any:
    """What is cut away so that a face moves by that much."""
    import cadquery as cq

    if step.bore is None:
        return step.face.thicken(-mm)
    radius, low, high, foot, way = step.bore
    return cq.Solid.makeCylinder(
        radius + mm, high - low, cq.Vector(*(foot + low * way).tolist()), cq.Vector(*way.tolist())
    )


def with_foot(mesh: Mesh, foot: float = PRINTING.foot, layer: float = PRINTING.layer) -> Mesh:
    """A mesh lying on z = 0 whose lowest layers are drawn in, most at the bed: a first layer spreads.

    Each layer of ``layer`` mm is the section of the part at its middle, drawn in by what is left of ``foot``; holes
    that open on the bed get wider there likewise. A part lower than that stays as it is.
    """
    import manifold3d

    steps = math.ceil(foot / layer - 1e-9)
    high = float(mesh.vertices[:, 2].max())
    if high <= 2.0 * steps * layer:
        return mesh
    whole = mesh.manifold
    out = whole.trim_by_plane([0.0, 0.0, 1.0], steps * layer)
    for k in range(steps):
        inset = foot * (steps - k) / steps
        section = whole.slice((k + 0.5) * layer).offset(-inset, manifold3d.JoinType.Miter, 4.0)
        if section.is_empty():
            continue
        # A little into what is above: faces that only touch would leave two shells.
        disc = section.extrude(layer * 1.01).translate([0.0, 0.0, k * layer])
        out = out + (disc ^ whole)
    require_good(out)
    return from_manifold(out, mesh)


def area_of(section: Any) -> Any:
    """A section of a manifold as a ``shapely`` area, holes and all."""
    import shapely

    area: Any = shapely.Polygon()
    for ring in section.to_polygons():
        area = area.symmetric_difference(shapely.Polygon(ring))
    return area


def from_manifold(solid: Any, source: Mesh) -> Mesh:
    """The mesh of a manifold that was made from ``source``; its chord is kept."""
    found = solid.to_mesh64()
    vertices = np.array(found.vert_properties[:, :3], dtype=np.float64)  # a copy: theirs is read-only
    return Mesh(vertices, np.asarray(found.tri_verts, dtype=np.int32).reshape(-1, 3), source.planar, source.chord)
