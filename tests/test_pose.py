"""Where a piece comes to lie, against the worked locators of a textbook and against brute force."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from fixture3d import frame
from fixture3d.locating.closure import around
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.pose import moved, reach, settle
from tests.second_solver import solve

Array = NDArray[np.float64]

UP, BACK, RIGHT = np.array([0.0, 0, 1]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0])


def spots(points: ArrayLike, normals: ArrayLike) -> list[Contact]:
    p, n = np.asarray(points, dtype=float), np.asarray(normals, dtype=float)
    return [Contact(f"L{i + 1}", "point", b, a[None]) for i, (a, b) in enumerate(zip(p, n, strict=True))]


def patch(name: str, centre: ArrayLike, normal: Array, half: float, across: float) -> Contact:
    x, y = around(normal[None], 4)[0, :2]
    corners = [(-half, -across), (half, -across), (half, across), (-half, across)]
    return Contact(
        name, "face", normal, np.array([np.asarray(centre, dtype=float) + a * x + b * y for a, b in corners])
    )


# Ex. B: 3-2-1 in space, after Asada and By 1985 (citation from memory); figures recomputed: q = J^-1 delta.
LOCATORS = spots(
    [(50, 50, 0), (250, 50, 0), (150, 150, 0), (50, 0, 50), (250, 0, 50), (0, 100, 50)], [UP] * 3 + [BACK] * 2 + [RIGHT]
)


@pytest.mark.parametrize(
    ("which", "twist", "corner"),
    [
        (2, (0, 0.05, -0.05, 0.001, 0, 0), (0, -0.05, 0.15)),
        (0, (-0.025, -0.025, 0.15, -0.0005, 0.0005, 0), (0.025, 0.025, -0.10)),
        (4, (0.05, -0.025, 0, 0, 0, 0.0005), (-0.05, 0.125, 0)),
    ],
)
def test_one_locator_of_six_is_out_by_a_tenth(which: int, twist: tuple[float, ...], corner: tuple[float, ...]) -> None:
    offsets = np.zeros(6)
    offsets[which] = 0.1
    found = settle(LOCATORS, offsets)
    np.testing.assert_allclose(found.twists[0], twist, atol=1e-9)
    np.testing.assert_allclose(moved(found.twists, (300, 200, 100))[0, 0], corner, atol=1e-9)
    assert (found.rocks.size, len(found.free)) == (0, 0)


# Ex. A: 2-1 in the plane, stood up on three supports so that it is a body in space.
PLANAR = spots(
    [(50, 0, 0), (150, 0, 0), (0, 50, 0), (0, 0, 0), (200, 0, 0), (100, 100, 0)], [BACK, BACK, RIGHT, UP, UP, UP]
)


@pytest.mark.parametrize(
    ("offsets", "twist"),
    [((0, 0.1, 0), (0.05, -0.05, 0.001)), ((0.1, 0.1, 0), (0, 0.1, 0)), ((0, 0, 0.1), (0.1, 0, 0))],
)
def test_two_and_one_in_the_plane(offsets: tuple[float, ...], twist: tuple[float, ...]) -> None:
    found = settle(PLANAR, [*offsets, 0, 0, 0]).twists[0]
    np.testing.assert_allclose(found[[0, 1, 5]], twist, atol=1e-9)
    np.testing.assert_allclose(found[[2, 3, 4]], 0, atol=1e-9)


def test_the_corners_of_the_plate_in_the_plane() -> None:
    twists = settle(PLANAR, [0, 0.1, 0, 0, 0, 0]).twists
    corners = moved(twists, [(200, 0, 0), (200, 100, 0), (0, 100, 0)])[0, :, :2]
    np.testing.assert_allclose(corners, [(0.05, 0.15), (-0.05, 0.15), (-0.05, -0.05)], atol=1e-9)


@pytest.mark.parametrize(("span", "mrad"), [(50, 2.0), (100, 1.0), (150, 0.667)])
def test_the_turn_is_the_error_over_the_span(span: float, mrad: float) -> None:
    stops = spots([(50, 0, 0), (50 + span, 0, 0), (0, 50, 0)], [BACK, BACK, RIGHT]) + PLANAR[3:]
    assert settle(stops, [0, 0.1, 0, 0, 0, 0]).twists[0, 5] == pytest.approx(mrad / 1000, abs=1e-6)


# ---------------------------------------------------------------------------------------------------------------
# Patches: one error a block, touched on one side only
# ---------------------------------------------------------------------------------------------------------------


def on_two_blocks(raised: float) -> Array:
    """A bar on a narrow block at x = 0 and one from 60 to 80; the second raised; an end stop and a side."""
    line = Contact("A", "line", UP, np.array([[0, -20, 0], [0, 20, 0]], dtype=float))
    contacts = [line, patch("B", (70, 0, 0), UP, 10, 20)]
    offsets = np.concatenate([np.zeros(2), np.full(4, raised)])
    found: Array = settle(contacts, offsets).twists[0]
    return found


def test_a_raised_patch_is_touched_at_its_near_edge() -> None:
    # Lever 60 to the near edge: 0.1 / 60 = 1.667 mrad; points 80 apart (1.25) and least squares both say less.
    assert abs(on_two_blocks(0.1)[4]) == pytest.approx(0.1 / 60, rel=1e-6)
    assert abs(on_two_blocks(-0.1)[4]) == pytest.approx(0.1 / 80, rel=1e-6)


def test_four_rigid_supports_rock_about_the_ones_that_touch() -> None:
    four = spots([(0, 0, 0), (100, 0, 0), (100, 100, 0), (0, 100, 0)], [UP] * 4)
    found = settle(four, [0.1, 0, 0, 0])
    # It lies on the raised support and the opposite one, and touches one of the others: 0.05 either way.
    heights = moved(found.twists, [c.points[0] for c in four])[0, :, 2]
    np.testing.assert_allclose(heights, [0.1, 0.05, 0, 0.05], atol=1e-6)
    rock = moved(found.rocks[0], [c.points[0] for c in four])[0, :, 2]
    np.testing.assert_allclose(np.abs(rock), [0, 0.05, 0, 0.05], atol=1e-6)
    assert len(found.free) == 3


def test_four_supports_of_one_height_do_not_rock() -> None:
    four = spots([(0, 0, 0), (100, 0, 0), (100, 100, 0), (0, 100, 0)], [UP] * 4)
    found = settle(four, [0.1] * 4)
    np.testing.assert_allclose(moved(found.twists, [(50, 50, 0)])[0, 0], [0, 0, 0.1], atol=1e-9)
    assert np.abs(found.rocks).max(initial=0.0) < 1e-6


def test_a_piece_between_stops_that_stand_too_near_is_squeezed() -> None:
    # Opposed hard stops, each 0.1 mm too far in: 0.2 mm too little room, shared; one of them only: 0.1, shared.
    found = settle(SLOT, [[0.1] * 8, [0.1] * 4 + [0.0] * 4, [-0.1] * 4 + [0.1] * 4])
    assert found.squeeze == pytest.approx([0.1, 0.05, 0.0], abs=1e-9)
    np.testing.assert_allclose(moved(found.twists, (20, 50, 5))[:, 0, 0], [0, 0.05, -0.1], atol=1e-9)


def test_no_contact_and_no_error() -> None:
    assert settle([], np.zeros((3, 0))).twists.shape == (3, 6)
    assert not np.any(settle(LOCATORS, np.zeros((2, 6))).twists)


def test_what_no_contact_fixes_stays() -> None:
    found = settle(LOCATORS[:5], [0.1, 0, 0, 0, 0])
    assert len(found.free) == 1
    np.testing.assert_allclose(np.abs(found.free[0]), [1, 0, 0, 0, 0, 0], atol=1e-9)
    # The piece keeps its place along X as its middle has it: what is left is what the supports and the side say.
    np.testing.assert_allclose(found.twists[0, 3:], [-0.0005, 0.0005, 0], atol=1e-9)


def random_setup(rng: np.random.Generator) -> list[Contact]:
    half = rng.uniform(5, 25, 6)
    xs = np.sort(rng.uniform(50, 950, 3))
    xs[0], xs[2] = 60, 900
    out = [patch(f"R{i}", (x, 20 + rng.uniform(-15, 15), 0), UP, half[i], 12) for i, x in enumerate(xs)]
    out += [patch(f"S{i}", (x, 0, 20), BACK, half[3 + i], 8) for i, x in enumerate(xs[[0, 2]])]
    return [*out, patch("E", (0, 20, 20), RIGHT, half[5], 8)]


def lowest(contacts: list[Contact], offsets: Array) -> Array | None:
    """The pose by the second solver, with lengths in mm as they stand."""
    points, normals, owner = locators(contacts)
    rows = np.hstack([normals, np.cross(points, normals)])
    push = -(rows / np.bincount(owner)[owner][:, None]).sum(axis=0)
    found = solve(-push, None, (-rows, -offsets))
    return None if found is None else found[1]


def test_two_solvers_agree_on_errors_of_blocks() -> None:
    rng = np.random.default_rng(31)
    for _ in range(12):
        contacts = random_setup(rng)
        _, _, owner = locators(contacts)
        cases = rng.uniform(-0.3, 0.3, (4, len(contacts)))[:, owner]
        found = settle(contacts, cases)
        for offsets, twist, rock in zip(cases, found.twists, found.rocks, strict=True):
            other = lowest(contacts, offsets)
            assert other is not None
            here, there = (moved(t, [(0, 0, 0), (1000, 0, 0), (500, 40, 40)]) for t in (twist, other))
            room = np.abs(moved(rock, [(0, 0, 0), (1000, 0, 0), (500, 40, 40)])).sum(axis=0) if len(rock) else 0.0
            assert (np.abs(here - there) <= room + 2e-4).all()


def test_a_pose_sinks_into_no_face_and_touches_enough_of_them() -> None:
    rng = np.random.default_rng(32)
    for _ in range(10):
        contacts = random_setup(rng)
        points, normals, owner = locators(contacts)
        offsets = rng.uniform(-0.3, 0.3, len(contacts))[owner]
        found = settle(contacts, offsets)
        gaps = np.einsum("ij,ij->i", moved(found.twists, points)[0], normals) - offsets
        assert gaps.min() > -1e-9
        touched = np.hstack([normals, np.cross(points, normals) / 500.0])[gaps < 1e-7]
        assert np.linalg.matrix_rank(touched, tol=1e-4) == 6 or np.abs(found.rocks).max() > 0.0


def test_no_mixture_of_errors_passes_the_sum_of_single_ones_by_much() -> None:
    """The sum over single errors is the worst case when six points decide; with patches it is close."""
    rng = np.random.default_rng(33)
    spread = []
    for _ in range(8):
        contacts = random_setup(rng)
        _, _, owner = locators(contacts)
        n = len(contacts)
        single = settle(contacts, np.vstack([np.eye(n), -np.eye(n)])[:, owner] * 0.2)
        at = np.array([(1000.0, 40, 40), (0, 0, 0)])
        alone = moved(single.twists, at).reshape(2, n, 6)
        total = np.maximum(alone.max(axis=0), -alone.min(axis=0)).sum(axis=0)
        corners = np.array(list(itertools.product((-0.2, 0.2), repeat=n)))
        mixed = np.abs(moved(settle(contacts, corners[:, owner]).twists, at).reshape(len(corners), 6)).max(axis=0)
        spread.append(mixed / total)
    assert 0.99 < np.max(spread) < 1.05


# ---------------------------------------------------------------------------------------------------------------
# Loose pieces
# ---------------------------------------------------------------------------------------------------------------

SLOT = [patch("left", (0, 50, 5), RIGHT, 50, 5), patch("right", (40, 50, 5), -RIGHT, 50, 5)]


def test_a_piece_between_two_stops() -> None:
    # 0.1 mm of gap on each side, stops 100 long: shift 0.1; turn 0.2 / 100.
    length = np.ptp(SLOT[0].points[:, 1])
    found = reach(
        SLOT, np.full(8, 0.1), [(20, 50, 5), (20, 50, 5), (20, 50 + 500, 5), (20, 0, 5)], [RIGHT, -RIGHT, RIGHT, UP]
    )
    assert found[:2] == pytest.approx([0.1, 0.1])
    assert found[2] == pytest.approx(500 * 0.2 / length)
    assert found[3] == math.inf


def test_the_looseness_of_a_block_that_holds_both_sides_counts_once() -> None:
    # A fork of one block moves as a whole: it adds its play, and takes no gap from the piece.
    modes = np.concatenate([np.ones(4), -np.ones(4)])[:, None]
    assert reach(SLOT, np.full(8, 0.1), (20, 50, 5), RIGHT, modes=modes, play=[0.3]) == pytest.approx([0.4])
    apart = np.zeros((8, 2))
    apart[:4, 0], apart[4:, 1] = 1.0, 1.0
    assert reach(SLOT, np.full(8, 0.1), (20, 50, 5), RIGHT, modes=apart, play=[0.3, 0.2]) == pytest.approx([0.3])


def test_brute_force_finds_nothing_further_and_nearly_as_far() -> None:
    rng = np.random.default_rng(41)
    contacts = [*SLOT, patch("front", (20, 0, 5), BACK, 15, 5), patch("back", (20, 100, 5), -BACK, 15, 5)]
    points, normals, _ = locators(contacts)
    gaps = np.repeat([0.1, 0.2, 0.15, 0.05], 4)
    at, ways = np.array([(60.0, 120, 5)] * 4), np.array([RIGHT, -RIGHT, BACK, -BACK])
    found = reach(contacts, gaps, at, ways)
    tried = rng.uniform(-1, 1, (400_000, 3)) * [0.4, 0.4, 0.004]
    twists = np.zeros((len(tried), 6))
    twists[:, [0, 1, 5]] = tried
    opens = np.hstack([normals, np.cross(points, normals)]) @ twists.T >= -gaps[:, None]
    inside = twists[opens.all(axis=0)]
    assert len(inside) > 2000
    furthest = (moved(inside, at[:1])[:, 0] @ ways.T).max(axis=0)
    assert (furthest <= found + 1e-9).all()
    assert (furthest >= 0.85 * found).all()


def test_two_pins_in_their_holes() -> None:
    """Each pin against eight walls of its hole: within the circle's polygon, asin((c1 + c2) / 2L) for the turn."""
    c, spacing = 0.035, 50.0
    turns = np.linspace(0, 2 * math.pi, 65)[:-1]
    walls = np.stack([np.cos(turns), np.sin(turns), np.zeros(64)], axis=1)
    contacts = [Contact("pin", "point", -w, (np.array([x, 0, 0]) + 8 * w)[None]) for x in (0, spacing) for w in walls]
    far = reach(contacts, np.full(128, c / 2), [(25 + 200, 0, 0), (25, 0, 0)], [BACK, BACK])
    # 16 H7/g6 at the worst, spacing 50: 0.700 mrad, 0.14 mm at 200 (elementary, recomputed).
    assert far[0] == pytest.approx(200 * 0.0007, rel=2e-3)
    assert far[1] == pytest.approx(c / 2, rel=2e-3)


# ---------------------------------------------------------------------------------------------------------------
# What must not change the answer
# ---------------------------------------------------------------------------------------------------------------


def test_turn_shift_mirror_inches_and_order() -> None:
    rng = np.random.default_rng(51)
    for _ in range(5):
        contacts = random_setup(rng)
        _, _, owner = locators(contacts)
        error = rng.uniform(-0.3, 0.3, len(contacts))
        at = np.array([(1000.0, 40, 40), (0, 0, 0), (500, 20, 0)])
        here = moved(settle(contacts, error[owner]).twists, at)[0]
        pose = frame.chain(frame.translation((3000.0, -500, 80)), frame.rotation((1, -2, 0.5), 64.0))
        turned = [Contact(c.fixed, c.kind, pose[:3, :3] @ c.normal, frame.points(pose, c.points)) for c in contacts]
        there = moved(settle(turned, error[owner]).twists, frame.points(pose, at))[0]
        np.testing.assert_allclose(there, here @ pose[:3, :3].T, atol=1e-7)
        m = np.array([-1.0, 1, 1])
        mirrored = [Contact(c.fixed, c.kind, c.normal * m, c.points * m) for c in contacts]
        np.testing.assert_allclose(moved(settle(mirrored, error[owner]).twists, at * m)[0], here * m, atol=1e-7)
        inches = [Contact(c.fixed, c.kind, c.normal, c.points / 25.4) for c in contacts]
        np.testing.assert_allclose(
            moved(settle(inches, error[owner] / 25.4).twists, at / 25.4)[0] * 25.4, here, atol=1e-7
        )
        order = rng.permutation(len(contacts))
        mixed = [contacts[i] for i in order]
        again = error[order][locators(mixed)[2]]
        np.testing.assert_allclose(moved(settle(mixed, again).twists, at)[0], here, atol=1e-7)
