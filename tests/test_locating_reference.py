"""Locating against published worked examples and handbook geometry; the source stands beside each check.

Where figures are trigonometry or linear algebra that was worked with an independent tool, that is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest

from fixture3d.frame import Array
from fixture3d.locating.contact import Contact
from fixture3d.locating.find import bodies_of, checked_near, contacts, contacts_of, doubts_of
from fixture3d.locating.lie import Lie
from fixture3d.locating.located import locate_piece
from fixture3d.locating.motions import Freedom, freedom, jacobian
from fixture3d.locating.over import spacings
from fixture3d.locating.read_features import standing
from fixture3d.tolerance import LOCATING
from tests.locating_cases import (
    EX_B_END,
    EX_B_SIDE,
    ON_BALLS,
    PLATE,
    TABLE,
    at,
    bar_shape,
    box,
    corner_shape,
    round_shape,
    vee_shape,
)  # fmt: skip

Rows = Sequence[tuple[tuple[float, ...], tuple[float, ...]]]
DOWN = np.array([0.0, 0.0, -1.0])


def points_of(rows: Rows) -> list[Contact]:
    return [
        Contact(f"L{k + 1}", "point", np.array(n, dtype=float), np.array([p], dtype=float))
        for k, (p, n) in enumerate(rows)
    ]


def block(low: tuple[float, float, float], high: tuple[float, float, float]) -> Lie:
    a, b = np.array(low, dtype=float), np.array(high, dtype=float)
    hull = np.array([[x, y, z] for x in (a[0], b[0]) for y in (a[1], b[1]) for z in (a[2], b[2])])
    return Lie(np.eye(3), (a + b) / 2.0, b - a, (a + b) / 2.0, hull)


# Ex. A and Ex. B are small systems solved by numpy; the Jacobian is H. Asada and A. B. By, "Kinematic analysis of
# workpart fixturing ...", IEEE J. Robotics and Automation RA-1(2), 1985 (citation from memory).
EX_A = [((50, 0, 0), (0, 1, 0)), ((150, 0, 0), (0, 1, 0)), ((0, 50, 0), (1, 0, 0))]
EX_B = [
    ((50, 50, 0), (0, 0, 1)), ((250, 50, 0), (0, 0, 1)), ((150, 150, 0), (0, 0, 1)),
    ((50, 0, 50), (0, 1, 0)), ((250, 0, 50), (0, 1, 0)), ((0, 100, 50), (1, 0, 0)),
]  # fmt: skip
PLANAR = [0, 1, 5]


def rows(given: Rows) -> Array:
    points, normals = (np.array([row[k] for row in given], dtype=float) for k in (0, 1))
    return jacobian(points, normals)


def test_ex_a_planar_two_one() -> None:
    j = rows(EX_A)[:, PLANAR]
    assert abs(np.linalg.det(j)) == pytest.approx(100.0)  # the span
    q = np.linalg.solve(j, [0.0, 0.1, 0.0])
    np.testing.assert_allclose(q, [0.05, -0.05, 0.001], atol=1e-12)
    for (x, y), error in {(200, 0): (0.05, 0.15), (200, 100): (-0.05, 0.15), (0, 100): (-0.05, -0.05)}.items():
        np.testing.assert_allclose([q[0] - q[2] * y, q[1] + q[2] * x], error, atol=1e-12)
    np.testing.assert_allclose(np.linalg.solve(j, [0.1, 0.1, 0.0]), [0, 0.1, 0], atol=1e-12)
    np.testing.assert_allclose(np.linalg.solve(j, [0.0, 0.0, 0.1]), [0.1, 0, 0], atol=1e-12)


@pytest.mark.parametrize(("span", "theta"), [(50, 2e-3), (100, 1e-3), (150, 2e-3 / 3.0)])
def test_ex_a_the_span_rule(span: float, theta: float) -> None:
    """An error of 0.1 turns the piece by 0.1 / span; the far end moves by that times its distance."""
    side = points_of([((50, 0, 0), (0, 1, 0)), ((50 + span, 0, 0), (0, 1, 0))])
    (pair,) = spacings(side, block((0, 0, 0), (200, 20, 20)), DOWN)
    assert 0.1 / pair.span == pytest.approx(theta)
    far = max(200 - 50, 50 + span)  # of either end from the other locator
    assert pair.factor * 0.1 == pytest.approx(theta * far)


def test_ex_a_the_far_end_is_felt_one_and_a_half_times() -> None:
    (pair,) = spacings(points_of(EX_A[:2]), block((0, 0, 0), (200, 100, 20)), DOWN)
    assert pair.factor == pytest.approx(0.15 / 0.1)


def test_ex_b_three_two_one() -> None:
    j = rows(EX_B)
    assert abs(np.linalg.det(j)) == pytest.approx(4.0e6)
    for k, q, error in (
        (2, (0, 0.05, -0.05, 0.001, 0, 0), (0, -0.05, 0.15)),
        (0, (-0.025, -0.025, 0.15, -0.0005, 0.0005, 0), (0.025, 0.025, -0.10)),
        (4, (0.05, -0.025, 0, 0, 0, 0.0005), None),
    ):
        solved = np.linalg.solve(j, 0.1 * np.eye(6)[k])
        np.testing.assert_allclose(solved, q, atol=1e-12)
        if error is not None:
            np.testing.assert_allclose(solved[:3] + np.cross(solved[3:], (300, 200, 100)), error, atol=1e-12)
    solved = np.linalg.solve(j, 0.1 * np.eye(6)[4])
    np.testing.assert_allclose(solved[:3] + np.cross(solved[3:], (300, 200, 0)), (-0.05, 0.125, 0), atol=1e-12)


def test_ex_b_by_the_search() -> None:
    found = freedom(points_of(EX_B), block((0, 0, 0), (300, 200, 100)), DOWN)
    assert (found.rank, found.rests) == (6, True)
    # Of twelve one-way motions of a free body six locators stop nine; weight and clamps close the last three. Two
    # public teaching pages on the 3-2-1 principle.
    assert {(m.kind, tuple(np.round(m.twist, 6))) for m in found.motions} == {
        ("away", (1, 0, 0, 0, 0, 0)), ("away", (0, 1, 0, 0, 0, 0)), ("lift", (0, 0, 1, 0, 0, 0)),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("count", "rank", "slides", "turns"),
    [(3, 3, "XY", "Z"), (5, 5, "X", ""), (6, 6, "", "")],
)
def test_what_each_face_of_three_two_one_stops(count: int, rank: int, slides: str, turns: str) -> None:
    """Three supports stop one slide and two turns, two at the side one of each, the last one slide: the same pages."""
    found = freedom(points_of(EX_B[:count]), block((0, 0, 0), (300, 200, 100)), DOWN)
    assert found.rank == rank
    free = [m for m in found.motions if m.kind == "free"]
    assert {"XYZ"[int(np.argmax(np.abs(m.twist[:3])))] for m in free if not m.turns} == set(slides)
    assert {"XYZ"[int(np.argmax(np.abs(m.twist[3:])))] for m in free if m.turns} == set(turns)


def planar(given: Rows, size: float = 100.0) -> Freedom:
    """Contacts in the plane, at mid-height of a block on three supports."""
    base = [
        ((-0.4 * size, -0.4 * size, -5), (0, 0, 1)),
        ((0.4 * size, -0.4 * size, -5), (0, 0, 1)),
        ((0, 0.4 * size, -5), (0, 0, 1)),
    ]
    side = [((*p, 0.0), (*n, 0.0)) for p, n in given]
    half = size / 2.0
    return freedom(points_of([*base, *side]), block((-half, -half, -5), (half, half, 5)), DOWN)


@pytest.mark.parametrize(
    "given",
    [
        [((-30, -50), (0, 1)), ((0, -50), (0, 1)), ((30, -50), (0, 1))],  # parallel
        [((0, -50), (0, 1)), ((-50, 0), (1, 0)), ((0, 50), (0, -1))],  # lines that meet in one point
        [((0, -50), (0, 1)), ((-50, 0), (1, 0)), ((50, 50), (-math.sqrt(0.5), -math.sqrt(0.5)))],
    ],
)
def test_degenerate_sets_in_the_plane(given: Rows) -> None:
    """Three parallel normals, or three whose lines meet in one point, have rank 2 (elementary statics)."""
    assert planar(given).rank == 3 + 2
    assert any(m.kind == "free" for m in planar(given).motions)


def test_degenerate_sets_in_space() -> None:
    """Three supports on a line, and two side locators at one x: rank 5 (numpy's matrix rank says the same)."""
    lie = block((0, 0, 0), (300, 200, 100))
    on_a_line = [((50, 100, 0), (0, 0, 1)), ((150, 100, 0), (0, 0, 1)), ((250, 100, 0), (0, 0, 1)), *EX_B[3:]]
    one_x = [*EX_B[:3], ((150, 0, 30), (0, 1, 0)), ((150, 0, 70), (0, 1, 0)), EX_B[5]]
    for given in (on_a_line, one_x):
        assert np.linalg.matrix_rank(rows(given)) == 5
        assert freedom(points_of(given), lie, DOWN).rank == 5


def test_the_rank_is_that_of_numpy_for_random_contacts() -> None:
    rng = np.random.default_rng(7)
    lie = block((0, 0, 0), (300, 200, 100))
    for _ in range(60):
        count = int(rng.integers(1, 9))
        given = []
        for _ in range(count):
            axis, side = int(rng.integers(3)), int(rng.integers(2))
            point = rng.uniform([0, 0, 0], [300, 200, 100])
            point[axis] = side * [300, 200, 100][axis]
            given.append((tuple(point), tuple((1.0 - 2.0 * side) * np.eye(3)[axis])))
        scaled = np.array(rows(given)) / [1, 1, 1, 100, 100, 100]
        values = np.linalg.svd(scaled)[1]
        if (values > 0.2).sum() == (values > 1e-9).sum():  # none in between, where a threshold decides
            assert freedom(points_of(given), lie, DOWN).rank == np.linalg.matrix_rank(scaled)


# Lynch and Park, Modern Robotics, 12.1.7: four contacts for a planar body; answers by two LP solvers.
MID = [((0, -50), (0, 1)), ((0, 50), (0, -1)), ((-50, 0), (1, 0)), ((50, 0), (-1, 0))]
SAME = [((20, -50), (0, 1)), ((-20, 50), (0, -1)), ((-50, -20), (1, 0)), ((50, 20), (-1, 0))]
MIXED = [((20, -50), (0, 1)), ((-20, 50), (0, -1)), ((-50, 20), (1, 0)), ((50, -20), (-1, 0))]


def level(found: Freedom) -> list[Array]:
    """Motions in the plane."""
    return [m.twist for m in found.motions if m.kind in ("free", "away")]


def test_square_of_100_with_four_contacts() -> None:
    assert len(level(planar(MID))) == 2  # it turns both ways, to first order
    one_way = level(planar(SAME))
    assert len(one_way) == 1
    assert one_way[0][5] == pytest.approx(1.0)  # all moments +20: it turns that way only
    assert level(planar(MIXED)) == []
    for three in combinations(MIXED, 3):
        assert level(planar(list(three)))


# A cylinder in a V: plain trigonometry, in any text on jigs and fixtures.
@pytest.mark.parametrize(
    ("angle", "height", "x", "z"),
    [(90.0, 34.1533, 17.0766, 17.0766), (120.0, 27.8860, 12.0750, 6.9715)],
)
def test_round_tube_in_a_v(angle: float, height: float, x: float, z: float) -> None:
    tube = at(round_shape(), 0, 0, 24.15 / math.sin(math.radians(angle / 2.0)))
    assert tube.pose[2, 3] == pytest.approx(height, abs=1e-4)
    found = contacts(tube, {"v": at(vee_shape(angle), 100)}, LOCATING.clean_contact, LOCATING.clean_angle)
    assert [c.kind for c in found] == ["line", "line"]
    for contact in found:
        np.testing.assert_allclose(np.abs(contact.points[:, 1]), x, atol=1e-3)
        np.testing.assert_allclose(contact.points[:, 2], z, atol=1e-3)
        assert sorted(contact.points[:, 0]) == pytest.approx([100.0, 140.0])
        half = math.radians(angle / 2.0)
        np.testing.assert_allclose(np.abs(contact.normal), [0, math.cos(half), math.sin(half)], atol=1e-9)


# Corner radii of square tube: EN 10219-2, T up to 6: 1.6 T to 2.4 T (public tables quoting it).
@pytest.mark.parametrize(
    ("radius", "top", "reaches"), [(4.8, 4.7, False), (4.8, 7.2, True), (7.2, 7.1, False), (7.2, 8.0, True)]
)
def test_a_stop_must_be_higher_than_the_corner_radius(radius: float, top: float, reaches: bool) -> None:
    """50 x 50 x 3: the radius is 4.8 to 7.2 mm, so a stop must touch more than 7.2 mm above the underside."""
    stop = box((100, 25, 0), (150, 60, top))
    found = locate_piece(at(bar_shape(400.0, 50.0, 3.0, radius)), {"t": TABLE, "s": stop}, leave=False)
    assert [d.fixed for d in found.doubts] == ([] if reaches else ["s"])
    assert found.rank == (5 if reaches else 3)


@pytest.mark.parametrize(("fillet", "radius", "gap"), [(3.0, 2.0, 0.293), (6.35, 4.8, 0.454), (4.0, 0.0, 1.17)])
def test_a_fillet_larger_than_the_corner_holds_it_off(fillet: float, radius: float, gap: float) -> None:
    """(r_b - R)(1 - 1/sqrt 2) off either wall: trigonometry."""
    bar = standing("bar", at(bar_shape(40.0, 30.0, 15.0, radius), 0, -15, 0))
    bodies = bodies_of({"block": at(corner_shape(fillet))})
    near = checked_near(LOCATING.contact, LOCATING.angle)
    found = contacts_of(bar, bodies, near)
    assert {c.doubt for c in found if c.kind == "face"} == {"a fillet in the inside corner holds it off this face"}
    (doubt,) = [d for d in doubts_of(bar, bodies, found, near) if "fillet" in d.words]
    assert doubt.amount == pytest.approx(gap, abs=0.005)


@pytest.mark.parametrize(("fillet", "radius"), [(2.0, 3.0), (3.0, 3.0)])
def test_a_fillet_that_fits_is_no_doubt(fillet: float, radius: float) -> None:
    found = locate_piece(
        at(bar_shape(40.0, 30.0, 15.0, radius), 0, -15, 0), {"b": at(corner_shape(fillet))}, leave=False
    )
    assert found.doubts == ()
    assert {"face"} == {c.kind for c in found.contacts if not c.doubt}


def test_ex_b_in_solids_has_the_points_of_the_example() -> None:
    found = locate_piece(PLATE, {**ON_BALLS, **EX_B_SIDE, **EX_B_END}, leave=False)
    points = {c.fixed: c.points[0] for c in found.contacts}
    for name, point in {"a": (50, 50, 0), "d": (50, 0, 5), "e": (250, 0, 5), "f": (0, 100, 5)}.items():
        np.testing.assert_allclose(points[name], point, atol=1e-9)
    assert found.rank == 6
