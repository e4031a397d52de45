"""Faces of round pieces at a weld: surfaces against their equations, and the opening along saddles in closed form.

The local dihedral angle of two tubes of radii r and R whose centre lines meet at theta, at the angle phi round the
smaller one from the plane of the two, follows from the two normals at the root::

    cos(180 - psi) = (r / R) sin^2 phi + cos theta cos phi sqrt(1 - (r / R)^2 sin^2 phi)

It gives what is taught for tubular joints offshore (from memory): 90 degrees at the crown of a T, theta at the heel and
180 - theta at the toe of a Y, 90 + asin(r / R) at the saddle of a T.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from fixture3d.access.shipped import TECHNIQUES
from fixture3d.access.welds import Weld, joint_frame, middle_angle
from fixture3d.checks import torch_access
from fixture3d.checks.weld_paths import suits
from fixture3d.frame import unit
from fixture3d.job.pieces import piece_shape
from fixture3d.job.weldment import build
from fixture3d.scene import Scene
from fixture3d.solid.facets import CONE, CYLINDER, OTHER, PLANE, SPHERE, TORUS
from fixture3d.solid.joint_faces import Faces, sides_at_path
from fixture3d.solid.true_surface import nearest_on

Array = NDArray[np.float64]
BIG = 30.15  # CHS 60.3


@cache
def tubes(stock: str, theta: float) -> tuple[Faces, Faces]:
    """A CHS 60.3 along X and a tube coped on it that comes from ``(-cos, -sin, 0)``."""
    a = math.radians(theta)
    members: list[dict[str, Any]] = [
        {"name": "chord", "stock": "CHS 60.3x4", "from": [-150, 0, 0], "to": [150, 0, 0]},
        {"name": "brace", "stock": stock, "from": [-150 * math.cos(a), -150 * math.sin(a), 0], "to": [0, 0, 0],
         "ends": ["square", {"cope": "chord"}]},
    ]  # fmt: skip
    chord, brace = faces(members)
    return chord, brace


def faces(members: list[dict[str, Any]]) -> tuple[Faces, ...]:
    made = build(
        Scene.from_dict({"format": 1, "table": "50/16 2000x1000", "weldment": {"hole": "A1"}, "member": members})
    )
    assert made is not None
    return tuple(Faces.of_facets(piece_shape(p).facets, p.piece_to_weldment) for p in made.pieces)


def root(r: float, theta: float, phi: float) -> tuple[Array, Array, Array]:
    """A point of the saddle and the outward normals of chord and brace there, from a line and a cylinder."""
    c, s = math.cos(theta), math.sin(theta)
    brace = math.cos(phi) * np.array([s, -c, 0.0]) + math.sin(phi) * np.array([0.0, 0.0, 1.0])
    y = -math.sqrt(BIG**2 - (r * math.sin(phi)) ** 2)
    spot = r * brace + (-y - r * math.cos(phi) * c) / s * np.array([-c, -s, 0.0])
    assert spot[1] == pytest.approx(y)
    return spot, np.array([0.0, y, spot[2]]) / BIG, brace


def psi(beta: float, theta: float, phi: float) -> float:
    turn = beta * math.sin(phi) ** 2
    turn += math.cos(theta) * math.cos(phi) * math.sqrt(1.0 - (beta * math.sin(phi)) ** 2)
    return 180.0 - math.degrees(math.acos(turn))


def test_the_closed_form_gives_what_is_taught() -> None:
    right, skew, side = math.radians(90), math.radians(50), math.radians(90)
    assert psi(0.7, right, 0.0) == pytest.approx(90.0)
    assert psi(0.7, right, side) == pytest.approx(90.0 + math.degrees(math.asin(0.7)))
    assert (psi(0.7, skew, 0.0), psi(0.7, skew, math.pi)) == pytest.approx((130.0, 50.0))


@pytest.mark.parametrize("theta", [90.0, 45.0])
@pytest.mark.parametrize(("stock", "r"), [("CHS 42.4x3.2", 21.2), ("CHS 60.3x4", 30.15)])
def test_opening_along_a_saddle(stock: str, r: float, theta: float) -> None:
    chord, brace = tubes(stock, theta)
    a = math.radians(theta)
    # Equal tubes: at 90 degrees the saddle has a kink, where the two faces are flush.
    for degrees in (0, 30, 60, 85, 90, 120, 150, 180, 210, 265, 300, 330):
        if stock.startswith("CHS 60.3") and degrees == 90:
            continue
        phi, step = math.radians(degrees), 0.5 / r
        path = np.stack([root(r, a, phi - step)[0], root(r, a, phi + step)[0]])
        spot, first, second = root(r, a, phi)
        tangent = path[1] - path[0]
        found = sides_at_path(path, chord, brace)
        assert isinstance(found, np.ndarray), (degrees, found)
        assert found[0] == pytest.approx(np.stack([first, second]), abs=1e-3), degrees
        swapped = sides_at_path(path[::-1], brace, chord)
        assert isinstance(swapped, np.ndarray)
        assert swapped[0] == pytest.approx(found[0, ::-1], abs=1e-9)
        work = middle_angle(tangent, found[0])
        assert work == pytest.approx((180.0 - psi(r / BIG, a, phi)) / 2.0, abs=0.06), degrees
        # The middle of the opening leads away from both tubes, as far from the one as from the other at first.
        frame = joint_frame(tangent, found[0])
        ray = spot + 3.0 * (math.cos(math.radians(work)) * frame[:, 2] + math.sin(math.radians(work)) * frame[:, 1])
        assert math.hypot(ray[1], ray[2]) > BIG
        u = np.array([-math.cos(a), -math.sin(a), 0.0])
        assert float(np.linalg.norm(ray - float(ray @ u) * u)) > r


def test_side_and_outside_of_a_bend() -> None:
    (tube,) = faces(
        [{"name": "hoop", "stock": "CHS 42.4x3.2", "bend": 120, "path": [[0, 0, 0], [300, 0, 0], [300, 300, 0]]}]
    )
    centre = np.array([180.0, 120.0, 0.0])
    for along in np.radians([15.0, 40.0, 77.0]):
        out = np.array([math.sin(along), -math.cos(along), 0.0])
        tangent = np.array([math.cos(along), math.sin(along), 0.0])
        for around in np.radians([3.0, 20.0, 100.0, 200.0]):
            normal = math.cos(around) * out + math.sin(around) * np.array([0.0, 0.0, 1.0])
            gap, found = tube.around(centre + 120.0 * out + (21.2 + 0.25) * normal, tangent, 0.5)
            assert gap == pytest.approx(0.25, abs=1e-9)
            assert [sorted(leaf.signs) for leaf in found] == [[-1.0, 1.0]]
            assert found[0].normal == pytest.approx(normal, abs=1e-6)


@pytest.mark.parametrize("kind", [PLANE, CYLINDER, SPHERE, CONE, TORUS])
def test_nearest_points_lie_on_the_surface_and_straight_below(kind: int) -> None:
    rng = np.random.default_rng(kind)
    for _ in range(20):
        at, axis = rng.normal(0, 50, 3), unit(rng.normal(0, 1, 3))
        point = at + axis * 40.0 + rng.normal(0, 5, 3)
        row = {
            PLANE: (*axis, 7.0),
            CYLINDER: (*at, *axis, 9.0, 0.0),
            SPHERE: (*at, 9.0),
            CONE: (*at, *axis, 30.0),
            TORUS: (*at, *axis, 60.0, 9.0),
        }[kind]
        found = nearest_on((12.0, float(kind), *row), point)
        assert found is not None
        foot, normal = found
        h = float((foot - at) @ axis)
        d = float(np.linalg.norm(foot - at - h * axis))
        off = {
            PLANE: float(foot @ axis) - 7.0,
            CYLINDER: d - 9.0,
            SPHERE: math.hypot(h, d) - 9.0,
            CONE: math.degrees(math.atan2(d, h)) - 30.0,
            TORUS: math.hypot(d - 60.0, h) - 9.0,
        }[kind]
        assert off == pytest.approx(0.0, abs=1e-9)
        assert float(np.linalg.norm(normal)) == pytest.approx(1.0)
        assert np.cross(point - foot, normal) == pytest.approx(np.zeros(3), abs=1e-9)
    assert nearest_on((12.0, float(OTHER)), np.zeros(3)) is None
    assert nearest_on((12.0, float(CYLINDER), 0, 0, 0, 0, 0, 1, 9, 0), np.array([0.0, 0.0, 4.0])) is None  # on its axis


def test_the_worst_part_of_a_path_is_held_against_the_technique() -> None:
    flat, steep = [[0, 0, 1], [0, 1, 0]], [[0, 0, 1], [0, 0.8, -0.6]]
    path = np.array([[0.0, 0, 0], [20, 0, 0], [40, 0, 0]])
    weld = Weld(name="w", type="fillet", joins=("a", "b"), size=3.0, path=path, technique="corner",
                sides=np.array([flat, steep], dtype=float))  # fmt: skip
    (found,) = suits(weld, TECHNIQUES["corner"], torch_access.CHECK.finding)
    turn = math.degrees(math.atan2(0.8, -0.6))
    assert found.measured == pytest.approx(turn / 2.0 - 45.0, abs=1e-3)
    assert found.at == pytest.approx((30.0, 0.0, 0.0))
