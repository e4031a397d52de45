"""Sizes of a print: holes wider, pins thinner, and the lowest edge drawn in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fixture3d.solid.kernel import one_solid
from fixture3d.solid.mesh import Mesh, require_good
from fixture3d.tolerance import PRINTING
from fixture3d.workshop.solid_facts import Round, facts, others


def made_up(shape: Any, hole: float, pin: float) -> tuple[Any, list[str]]:
    """A solid whose round holes are wider and whose round pins are thinner; and what was done, in words.

    Args:
        shape: ``TopoDS_Shape``, one solid.
        hole: mm on diameter.
        pin: mm on diameter.

    Only full cylinders along an axis of the block are holes and pins: a hollow for a tube, a fillet or a slot stays as
    drawn, and so does what is aslant.
    """
    import cadquery as cq

    every = facts(shape).rounds
    rounds = [r for r in every if r.full and r.far is None and r.radius == r.end_radius]
    holes = [r for r in rounds if r.hollow and hole > 0.0]
    pins = [r for r in rounds if not r.hollow and pin > 0.0 and r.radius > pin]
    tools = [_cylinder(r, r.radius + hole / 2.0) for r in holes]
    for r in pins:
        # A hair over the pin: a cut along the very same face would leave a skin.
        long = _with_tips(r, every)
        tools.append(_cylinder(long, r.radius + 1e-3).cut(_cylinder(long, r.radius - pin / 2.0)))
    said = [f"{len(holes)} round holes wider, {len(pins)} pins thinner"]
    slots = [r for r in every if r.far is not None or (r.hollow and not r.full)]
    if slots:
        said.append("slots, hollows and fillets are as drawn: file them to fit")
    solid = cq.Solid(one_solid(shape))
    return (one_solid(solid.cut(*tools)) if tools else one_solid(shape)), said


def _with_tips(pin: Round, rounds: Sequence[Round]) -> Round:
    """A pin as long as it is with its broken ends, which get thinner with it."""
    low, high = pin.span
    for r in rounds:
        same = not r.hollow and r.axis == pin.axis and math.dist(r.at, pin.at) < 1e-6
        if same and r.radius != r.end_radius and abs(max(r.radius, r.end_radius) - pin.radius) < 1e-6:
            if abs(r.span[0] - high) < 1e-6:
                high = r.span[1]
            elif abs(r.span[1] - low) < 1e-6:
                low = r.span[0]
    return replace(pin, span=(low, high))


def _cylinder(r: Round, radius: float) -> Any:
    import cadquery as cq

    at = [0.0, 0.0, 0.0]
    at[r.axis] = r.span[0]
    for k, value in zip(others(r.axis), r.at, strict=True):
        at[k] = value
    way = [0.0, 0.0, 0.0]
    way[r.axis] = 1.0
    return cq.Solid.makeCylinder(radius, r.span[1] - r.span[0], cq.Vector(*at), cq.Vector(*way))


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
        disc = section.extrude(layer * 1.01 if k + 1 < steps else layer).translate([0.0, 0.0, k * layer])
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
