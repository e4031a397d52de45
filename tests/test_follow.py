"""Meshes of cut cones, balls and free surfaces keep to their chord: each held against points of the true solid."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from fixture3d.solid import kernel
from fixture3d.solid.follow import FaceMesh
from fixture3d.solid.shape import FINE_CHORD
from fixture3d.tolerance import NUMERIC

Points = NDArray[np.float64]


def _turned(heights: Points, radius: Callable[[Points], Points], keep: Callable[[Points], Any]) -> Points:
    """Points of a turned surface about Z, those that ``keep`` leaves."""
    turns = np.linspace(0.0, 2.0 * math.pi, 240, endpoint=False)
    z, turn = (a.ravel() for a in np.meshgrid(heights, turns))
    r = radius(z)
    points = np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)
    return np.asarray(points[keep(points)])


def _cone_between_flats() -> tuple[Any, Points]:
    import cadquery as cq

    solid = cq.Workplane(cq.Solid.makeCone(6, 3.84, 3.6)).intersect(cq.Workplane().box(40, 10, 40))
    return solid, _turned(np.linspace(0, 3.6, 40), lambda z: 6.0 - 0.6 * z, lambda p: abs(p[:, 1]) <= 5.0)


def _pointed_cone_between_flats() -> tuple[Any, Points]:
    import cadquery as cq

    solid = cq.Workplane(cq.Solid.makeCone(10, 0, 20)).intersect(cq.Workplane().box(40, 6, 60))
    return solid, _turned(np.linspace(0, 20, 60), lambda z: 10.0 - z / 2.0, lambda p: abs(p[:, 1]) <= 3.0)


def _countersink_over_an_edge() -> tuple[Any, Points]:
    import cadquery as cq

    sink = cq.Workplane(cq.Solid.makeCone(2, 12, 10)).translate((16, 0, 0))
    solid = cq.Workplane().box(40, 40, 10).translate((0, 0, 5)).cut(sink)
    points = _turned(np.linspace(0, 10, 40), lambda z: 2.0 + z, lambda p: p[:, 0] <= 4.0)
    return solid, points + np.array([16.0, 0.0, 0.0])


def _ball_between_flats() -> tuple[Any, Points]:
    import cadquery as cq

    solid = cq.Workplane().sphere(10).intersect(cq.Workplane().box(14, 40, 8).translate((2, 0, 3)))
    between = _turned(
        np.linspace(-1, 7, 40), lambda z: np.sqrt(100.0 - z**2), lambda p: (p[:, 0] >= -5.0) & (p[:, 0] <= 9.0)
    )
    return solid, between


def _half_tube_of_an_ellipse() -> tuple[Any, Points]:
    """Its wall is an extruded curve, which the quicker of the two meshers cannot do."""
    import cadquery as cq

    solid = cq.Workplane().ellipse(20, 6).extrude(8).intersect(cq.Workplane().box(60, 30, 60).translate((0, 15, 0)))
    turn, z = (a.ravel() for a in np.meshgrid(np.linspace(0.0, math.pi, 400), np.linspace(0, 8, 9)))
    return solid, np.stack([20.0 * np.cos(turn), 6.0 * np.sin(turn), z], axis=1)


SOLIDS = [
    _cone_between_flats,
    _pointed_cone_between_flats,
    _countersink_over_an_edge,
    _ball_between_flats,
    _half_tube_of_an_ellipse,
]


@pytest.mark.parametrize("make", SOLIDS)
@pytest.mark.parametrize("chord", [NUMERIC.chord, FINE_CHORD])
def test_no_point_of_the_true_surface_is_off_by_more_than_the_chord(
    make: Callable[[], tuple[Any, Points]], chord: float
) -> None:
    """Against trimesh's own closest points, from points that the solid's formula gives."""
    solid, points = make()
    found = kernel.tessellate(kernel.one_solid(solid), chord)
    assert found.chord == chord
    assert found.open_edges == 0
    away = trimesh.proximity.closest_point(trimesh.Trimesh(found.vertices, found.faces, process=False), points)[1]
    assert len(points) > 500
    assert 0.2 * chord < float(away.max()) <= 1.02 * chord
    assert found.manifold.volume() == pytest.approx(found.volume)


def test_the_kernels_own_mesh_of_a_cut_cone_is_told_to_be_off() -> None:
    """The measure against the formula of the cone, on the triangles as the kernel leaves them."""
    solid, _ = _cone_between_flats()
    faces = list(kernel.face_meshes(kernel.meshed(kernel.one_solid(solid), NUMERIC.chord)))
    told = max(face.off(NUMERIC.chord) for face in faces)
    known = 0.0
    for face in (f for f in faces if not f.flat):
        corners = face.vertices[face.faces]
        middles = np.concatenate([*((corners[:, i] + corners[:, i - 1]) / 2.0 for i in range(3)), corners.mean(axis=1)])
        out = np.hypot(middles[:, 0], middles[:, 1]) - (6.0 - 0.6 * middles[:, 2])
        known = max(known, float(np.abs(out).max()) / math.hypot(1.0, 0.6))
    assert told == pytest.approx(known, rel=1e-6)
    assert told > 2.0 * NUMERIC.chord


def test_edges_between_faces_stay_as_they_are() -> None:
    """Else the mesh would open: only edges with two triangles of one face are split."""
    solid, _ = _countersink_over_an_edge()
    split = 0
    for face in kernel.face_meshes(kernel.meshed(kernel.one_solid(solid), NUMERIC.chord)):
        finer, _ = face.followed(NUMERIC.chord)
        split += len(finer.faces) > len(face.faces)
        assert _border(finer) == _border(face)
    assert split > 0


def _border(face: FaceMesh) -> set[tuple[int, int]]:
    sides = {(int(a), int(b)) for f in face.faces for a, b in zip(f, np.roll(f, -1), strict=True)}
    return {(a, b) for a, b in sides if (b, a) not in sides}


def test_what_cannot_be_followed_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A mesh whose triangles may not be split says how far off it is, and no less."""
    monkeypatch.setattr(FaceMesh, "followed", lambda face, limit: (face, face.off(limit)))
    monkeypatch.setattr(kernel, "TRIES", kernel.TRIES[:1])
    solid, points = _cone_between_flats()
    found = kernel.tessellate(kernel.one_solid(solid))
    away = trimesh.proximity.closest_point(trimesh.Trimesh(found.vertices, found.faces, process=False), points)[1]
    assert found.chord > 2.0 * NUMERIC.chord
    assert float(away.max()) <= found.chord * 1.02


def test_the_volume_of_an_extruded_spline() -> None:
    """Against the area below its outline, by trapezoids; the kernel's other integral is 0.17 % off, told as exact."""
    import cadquery as cq

    outline = cq.Workplane().spline([(0, 0), (10, 6), (20, -3), (30, 4), (40, 0)]).lineTo(40, -20).lineTo(0, -20)
    solid = outline.close().extrude(30)
    top = next(e for e in solid.faces("<Z").edges().vals() if e.geomType() == "BSPLINE")
    x, y = np.array([p.toTuple()[:2] for p in top.positions(np.linspace(0, 1, 4001))]).T
    area = abs(float(np.sum(np.diff(x) * (y[1:] + y[:-1] + 40.0) / 2.0)))
    assert sorted((round(x[0], 6), round(x[-1], 6))) == [0.0, 40.0]
    assert kernel.volume(kernel.one_solid(solid)) == pytest.approx(30.0 * area, rel=1e-6)
