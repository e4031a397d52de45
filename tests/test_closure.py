"""Form closure and force closure, against worked values and a second solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from fixture3d import frame
from fixture3d.locating.closure import force_closure, form_closure, scaling
from tests.second_solver import solve

Array = NDArray[np.float64]

# Ex. B: 3-2-1 in space. Row of Asada and By 1985 (citation from memory); figures recomputed with scipy.
BLOCK = np.array([[50, 50, 0], [250, 50, 0], [150, 150, 0], [50, 0, 50], [250, 0, 50], [0, 100, 50]], dtype=float)
INWARD = np.array([[0, 0, 1]] * 3 + [[0, 1, 0]] * 2 + [[1, 0, 0]], dtype=float)


def push(at: ArrayLike, way: ArrayLike) -> Array:
    way = np.asarray(way, dtype=float)
    return np.concatenate([way, np.cross(np.asarray(at, dtype=float), way)])


def planar(points: ArrayLike, normals: ArrayLike) -> tuple[Array, Array]:
    """A flat case stood up in space: two rows of contacts above each other, and lids at the corners."""
    p, n = np.asarray(points, dtype=float), np.asarray(normals, dtype=float)
    flat = np.hstack([p, np.zeros((len(p), 1))])
    sides = np.vstack([flat + np.array([0, 0, 10]), flat - np.array([0, 0, 10])])
    corners = np.array([[x, y, z] for z in (-20, 20) for x, y in ((-40, -40), (40, -40), (0, 40))], dtype=float)
    lids = np.array([[0, 0, 1]] * 3 + [[0, 0, -1]] * 3, dtype=float)
    level = np.vstack([np.hstack([n, np.zeros((len(n), 1))])] * 2)
    return np.vstack([sides, corners]), np.vstack([level, lids])


UP, DOWN, RIGHT, LEFT = (0, 1), (0, -1), (1, 0), (-1, 0)
# A square of side 100. Reuleaux's plane case; values recomputed with two solvers; Lynch and Park, 12.1.7.
SQUARES = [
    ("mid-sides", [(0, -50), (0, 50), (-50, 0), (50, 0)], [UP, DOWN, RIGHT, LEFT], False),
    ("moments of one sign", [(20, -50), (-20, 50), (-50, -20), (50, 20)], [UP, DOWN, RIGHT, LEFT], False),
    ("moments of both signs", [(20, -50), (-20, 50), (-50, 20), (50, -20)], [UP, DOWN, RIGHT, LEFT], True),
    ("only three", [(20, -50), (-20, 50), (-50, 20)], [UP, DOWN, RIGHT], False),
]


@pytest.mark.parametrize(("points", "normals", "closed"), [s[1:] for s in SQUARES], ids=[s[0] for s in SQUARES])
def test_squares_in_the_plane(points: ArrayLike, normals: ArrayLike, closed: bool) -> None:
    assert force_closure(flat3(points), flat3(normals), 0.0, plane=(0, 0, 1)) is closed
    found = form_closure(*planar(points, normals))
    assert found.closed is closed
    assert closed or len(found.one_way) > 0


def flat3(rows: ArrayLike) -> Array:
    r = np.asarray(rows, dtype=float)
    return np.hstack([r, np.zeros((len(r), 1))])


def test_what_stays_open_of_the_mid_sides_is_a_turn() -> None:
    found = form_closure(*planar(*SQUARES[0][1:3]))
    assert found.rank == 5
    np.testing.assert_allclose(np.abs(found.both_ways), [[0, 0, 0, 0, 0, 1]], atol=1e-9)


@pytest.mark.parametrize(
    ("at", "forces"),
    [
        ((180, 130, 80), (1, 1, 2, 2, 2, 4, 6.9282)),
        ((150, 100, 60), (1.4, 1, 1.6, 2, 2, 4, 6.9282)),
        ((300, 200, 100), None),
    ],
)
def test_six_locators_and_one_slanting_clamp(at: tuple[float, ...], forces: tuple[float, ...] | None) -> None:
    # Recomputed with an independent tool: k of the least sum.
    found = form_closure(BLOCK, INWARD, [push(at, -np.ones(3) / math.sqrt(3))])
    assert found.rank == 6
    assert found.closed is (forces is not None)
    if forces is not None:
        np.testing.assert_allclose(found.forces, forces, atol=1e-4)


def test_six_locators_and_three_clamps_against_them() -> None:
    clamps = [push((150, 80, 100), (0, 0, -1)), push((150, 200, 50), (0, -1, 0)), push((300, 100, 50), (-1, 0, 0))]
    assert form_closure(BLOCK, INWARD, clamps).closed
    for left_out in range(3):
        assert not form_closure(BLOCK, INWARD, clamps[:left_out] + clamps[left_out + 1 :]).closed


def test_what_stays_open_without_clamps_is_away_from_each_locator() -> None:
    found = form_closure(BLOCK, INWARD)
    assert (found.rank, found.closed, len(found.both_ways)) == (6, False, 0)
    shifts = {tuple(np.round(way, 9) + 0.0) for way in found.one_way if not np.any(way[3:])}
    assert shifts == {(1, 0, 0, 0, 0, 0), (0, 1, 0, 0, 0, 0), (0, 0, 1, 0, 0, 0)}


def test_every_open_motion_is_hindered_by_nothing() -> None:
    rng = np.random.default_rng(5)
    open_cases = 0
    for _ in range(60):
        points, normals = rng.uniform(-100, 100, (8, 3)), unit(rng.normal(size=(8, 3)))
        found = form_closure(points, normals)
        assert found.closed or len(found.one_way)
        for twist in found.one_way:
            speed = np.einsum("ij,ij->i", normals, twist[:3] + np.cross(twist[3:], points))
            assert speed.min() > -3e-3 * np.abs(speed).max()
            open_cases += 1
    assert open_cases > 10


def test_three_supports_in_a_row_leave_a_turn() -> None:
    # Rank 5: recomputed.
    points = BLOCK.copy()
    points[2] = (150, 50, 0)
    found = form_closure(points, INWARD)
    assert found.rank == 5
    np.testing.assert_allclose(np.abs(found.both_ways[0][3:]), [1, 0, 0], atol=1e-9)


def test_two_side_stops_at_one_place_leave_a_turn() -> None:
    points = BLOCK.copy()
    points[4] = (50, 0, 80)
    assert form_closure(points, INWARD).rank == 5


def test_a_body_of_revolution_is_never_closed() -> None:
    # Lynch and Park, 12.1.7: no form closure of bodies of revolution: here a cylinder along X, and its two ends.
    turns = np.linspace(0, 2 * np.pi, 7)[:-1]
    ring = np.stack([np.zeros(6), np.cos(turns), np.sin(turns)], axis=1)
    points = np.vstack([[30, 0, 0] + 20 * ring, [-30, 0, 0] + 20 * ring, [[60, 0, 0], [-60, 0, 0]]])
    normals = np.vstack([-ring, -ring, [[-1, 0, 0], [1, 0, 0]]])
    found = form_closure(points, normals)
    assert (found.rank, found.closed) == (5, False)
    np.testing.assert_allclose(np.abs(found.both_ways), [[0, 0, 0, 1, 0, 0]], atol=1e-9)


def unit(v: Array) -> Array:
    result: Array = v / np.linalg.norm(v, axis=1, keepdims=True)
    return result


# Nguyen 1988 (from memory): two frictional points close a flat piece when their line lies inside both cones.
@pytest.mark.parametrize(("offset", "closed"), [(9.9, True), (10.1, False)])
def test_two_rubbing_points_on_opposed_faces(offset: float, closed: bool) -> None:
    # Faces 50 apart, coefficient 0.2: the limit is 50 x 0.2 = 10.
    assert force_closure([(0, 0, 0), (offset, 50, 0)], [(0, 1, 0), (0, -1, 0)], 0.2, plane=(0, 0, 1)) is closed


@pytest.mark.parametrize(("half", "closed"), [(11.0, True), (11.3, True), (11.35, False), (12.0, False)])
def test_two_rubbing_points_on_tapered_faces(half: float, closed: bool) -> None:
    # Limit: atan 0.2 = 11.31 degrees.
    c, s = math.cos(math.radians(half)), math.sin(math.radians(half))
    points, normals = [(0, -25, 0), (0, 25, 0)], [(s, c, 0), (s, -c, 0)]
    assert force_closure(points, normals, 0.2, plane=(0, 0, 1), spread=1e5) is closed


@pytest.mark.parametrize(("mu", "degrees"), [(0.15, 8.53), (0.30, 16.70), (0.50, 26.57), (0.74, 36.50)])
def test_friction_angles(mu: float, degrees: float) -> None:
    # phi = atan mu, found as the taper up to which two points hold.
    for half, closed in ((degrees - 0.02, True), (degrees + 0.02, False)):
        c, s = math.cos(math.radians(half)), math.sin(math.radians(half))
        points, normals = [(0, -25, 0), (0, 25, 0)], [(s, c, 0), (s, -c, 0)]
        assert force_closure(points, normals, mu, plane=(0, 0, 1), spread=1e6) is closed


def test_three_rubbing_points_hold_in_space_and_two_do_not() -> None:
    turns = np.radians([90, 210, 330])
    ring = np.stack([np.cos(turns), np.sin(turns), np.zeros(3)], axis=1)
    assert force_closure(40 * ring, -ring, 0.3)
    assert not force_closure([(0, -25, 0), (0, 25, 0)], [(0, 1, 0), (0, -1, 0)], 0.3)  # spins about their line


# ---------------------------------------------------------------------------------------------------------------
# A second solver, and what must not change the answer
# ---------------------------------------------------------------------------------------------------------------


def random_case(rng: np.random.Generator) -> tuple[Array, Array]:
    """Points on a box with the faces' normals, and some slanting ones."""
    half = rng.uniform(30, 200, 3)
    n = int(rng.integers(9, 17))
    axis, sign = rng.integers(0, 3, n), rng.choice([-1.0, 1.0], n)
    points = rng.uniform(-1, 1, (n, 3)) * half
    points[np.arange(n), axis] = sign * half[axis]
    normals = np.zeros((n, 3))
    normals[np.arange(n), axis] = -sign
    slant = rng.random(n) < 0.5
    normals[slant] = unit(normals[slant] + rng.normal(scale=0.5, size=(int(slant.sum()), 3)))
    return points, normals


def second_opinion(points: Array, normals: Array) -> float | None:
    """The least sum of the forces by clarabel; None when there are none."""
    rows, n = scaling(points).rows(points, normals), len(points)
    bounds = (np.vstack([-np.eye(n), np.eye(n)]), np.concatenate([-np.ones(n), 200 * np.ones(n)]))
    found = solve(np.ones(n), (rows.T, np.zeros(6)), bounds)
    return None if found is None else found[0]


def test_two_solvers_agree() -> None:
    rng = np.random.default_rng(11)
    closed = 0
    for _ in range(60):
        points, normals = random_case(rng)
        found, other = form_closure(points, normals), second_opinion(points, normals)
        assert found.closed is (other is not None)
        if other is not None:
            closed += 1
            assert found.forces.sum() == pytest.approx(other, rel=1e-5)
    assert 10 < closed < 50


def test_turn_shift_mirror_scale_and_order_change_nothing() -> None:
    rng = np.random.default_rng(12)
    for _ in range(30):
        points, normals = random_case(rng)
        found = form_closure(points, normals)
        moved = frame.chain(frame.translation(rng.uniform(-2000, 2000, 3)), frame.rotation(rng.normal(size=3), 77.0))
        order = rng.permutation(len(points))
        mirror = np.array([-1.0, 1.0, 1.0])
        others = {
            "turned and shifted": form_closure(frame.points(moved, points), frame.directions(moved, normals)),
            "mirrored": form_closure(points * mirror, normals * mirror),
            "in inches": form_closure(points / 25.4, normals),
            "in another order": form_closure(points[order], normals[order]),
        }
        for how, other in others.items():
            assert (other.rank, other.closed) == (found.rank, found.closed), how
            if found.closed:  # the size is a box's diagonal, so it changes with a turn, and no verdict with it
                assert other.forces.sum() == pytest.approx(found.forces.sum(), rel=1e-6), how


@pytest.mark.parametrize("seed", range(8))
def test_a_tenth_of_a_millimetre_and_of_a_degree_change_no_verdict(seed: int) -> None:
    rng = np.random.default_rng(seed)
    cases = [(BLOCK, INWARD, clamp, closed) for clamp, closed in (((180, 130, 80), True), ((300, 200, 100), False))]
    for points, normals, at, closed in cases:
        off = points + rng.uniform(-0.1, 0.1, points.shape)
        slanted = unit(normals + math.radians(0.1) * rng.uniform(-1, 1, normals.shape))
        found = form_closure(off, slanted, [push(at, -np.ones(3) / math.sqrt(3))])
        assert (found.rank, found.closed) == (6, closed)
    for name, points2, normals2, closed in SQUARES:
        p, n = planar(points2, normals2)
        p = p + rng.uniform(-0.1, 0.1, p.shape)
        n = unit(n + math.radians(0.1) * rng.uniform(-1, 1, n.shape))
        assert form_closure(p, n).closed is closed, name


def test_no_contact_at_all() -> None:
    found = form_closure(np.zeros((0, 3)), np.zeros((0, 3)))
    assert (found.rank, found.closed, len(found.both_ways)) == (0, False, 6)
