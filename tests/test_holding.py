"""Balance, friction and clamps, against worked values, hand formulas and exact cones by a second solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from fixture3d import frame
from fixture3d.locating.clamp_place import dent_force, under_clamp
from fixture3d.locating.closure import around, scaling
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.holding import GRAVITY, Disturbance, Held, Push, disturbances, hold
from tests.second_solver import solve

Array = NDArray[np.float64]

UP, DOWN = np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, -1.0])
RIGHT, BACK = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])


def spot(name: str, at: ArrayLike, normal: Array = UP) -> Contact:
    return Contact(name, "point", normal, np.asarray(at, dtype=float)[None])


def patch(name: str, centre: ArrayLike, normal: Array = UP, half: float = 20.0, across: float | None = None) -> Contact:
    """A flat patch, 2 half along its first level direction."""
    x, y = around(normal[None], 4)[0, :2]
    corners = [(-half, -(across or half)), (half, -(across or half)), (half, across or half), (-half, across or half)]
    points = np.array([np.asarray(centre, dtype=float) + a * x + b * y for a, b in corners])
    return Contact(name, "face", normal, points, area=4 * half * (across or half))


def force(name: str, at: ArrayLike, way: ArrayLike, size: float) -> Disturbance:
    f = size * np.asarray(way, dtype=float)
    return Disturbance(name, f, np.cross(np.asarray(at, dtype=float), f))


# ---------------------------------------------------------------------------------------------------------------
# A clamp and its support triangle
# ---------------------------------------------------------------------------------------------------------------

TRIANGLE = [spot("a", (0, 0, 0)), spot("b", (200, 0, 0)), spot("c", (100, 150, 0))]


def pressed_at(x: float, y: float, mass: float = 1e-6, centre: tuple[float, ...] = (100, 50, 0)) -> Held:
    return hold(TRIANGLE, mass, centre, [Push("K1", np.array([x, y, 0.0]), DOWN, 1000.0)])


# Supports (0, 0), (200, 0), (100, 150), a clamp of 1000 N. Moments of three forces, recomputed independently.
@pytest.mark.parametrize(("at", "forces"), [((100, 50), (333.3, 333.3, 333.3)), ((100, 100), (166.7, 166.7, 666.7))])
def test_a_clamp_inside_its_triangle(at: tuple[float, float], forces: tuple[float, ...]) -> None:
    found = pressed_at(*at)
    assert found.rests
    assert found.held
    assert (found.pulls, found.tips) == ({}, ())
    np.testing.assert_allclose(list(found.reactions.values()), forces, atol=0.05)


@pytest.mark.parametrize(
    ("at", "forces", "tips"),
    [((100, 160), (-33.3, -33.3, 1066.7), ("a", "b")), ((20, 100), (566.7, -233.3, 666.7), ("b",))],
)
def test_a_clamp_outside_its_triangle_tips_the_piece(
    at: tuple[float, float], forces: tuple[float, ...], tips: tuple[str, ...]
) -> None:
    found = pressed_at(*at)
    assert not found.rests
    assert not found.held
    assert found.tips == tips
    np.testing.assert_allclose(list(found.pulls.values()), forces, atol=0.05)
    goes_down = found.tip_motion[:3] + np.cross(found.tip_motion[3:], (*at, 0.0))
    assert goes_down[2] < 0.0


def test_the_weight_of_the_piece_counts_against_tipping() -> None:
    # About the edge through c along x: 1000 N at 10 mm beyond it, the weight at 100 mm before it: it takes 100 N.
    # 1 % of the weight and half a percent of the clamp's force are let pass.
    for weight, rests in ((90.0, False), (101.0, True)):
        assert pressed_at(100, 160, weight / GRAVITY).rests is rests


def test_the_edge_of_the_triangle_is_the_limit() -> None:
    assert pressed_at(100, 149).rests
    assert not pressed_at(100, 152).rests


def test_a_patch_carries_up_to_its_edge_not_between_three_of_its_points() -> None:
    one = [patch("table", (0, 0, 0), half=100.0)]
    for at, rests in (((95, 95), True), ((-95, 95), True), ((104, 0), False)):
        found = hold(one, 1e-6, (0, 0, 0), [Push("K1", np.array([*at, 0.0]), DOWN, 500.0)])
        assert found.rests is rests


def test_nothing_under_it() -> None:
    found = hold([], 2.0, (0, 0, 0))
    assert (found.rests, found.held, found.reactions) == (False, False, {})
    np.testing.assert_allclose(found.tip_motion, [0, 0, -1, 0, 0, 0], atol=1e-12)


# ---------------------------------------------------------------------------------------------------------------
# Friction by hand
# ---------------------------------------------------------------------------------------------------------------


def test_a_free_block_slides_at_friction_times_its_weight_or_tips_over_its_edge() -> None:
    # Statics: slides at mu W; pushed at height h it tips over its edge at W b / h.
    block, weight = [patch("table", (0, 0, 0), half=30.0)], 50.0
    for height, most, way in (
        (0.0, 0.2 * weight, "slides"),
        (200.0, weight * 30 / 200, "turns"),
        (100.0, 0.2 * weight, "slides"),
    ):
        found = hold(
            block, weight / GRAVITY, (0, 0, 0), against=[force("push", (0, 0, height), RIGHT, 1)], friction=0.2
        )
        assert found.stands[0].most == pytest.approx(most, rel=1e-4)
        assert found.stands[0].way == way


def test_lifting_takes_the_weight_and_the_clamps() -> None:
    found = hold(TRIANGLE, 2.0, (100, 50, 0), [Push("K1", np.array([100.0, 50, 0]), DOWN, 300.0)],
                 [force("lift", (100, 50, 0), UP, 1)])  # fmt: skip
    (one,) = found.stands
    assert one.most == pytest.approx(2.0 * GRAVITY + 300.0, rel=1e-5)
    assert (one.way, one.leaves) == ("lifts", ("a", "b", "c"))
    np.testing.assert_allclose(one.motion, [0, 0, 1, 0, 0, 0], atol=1e-6)


@pytest.mark.parametrize(("degrees", "held"), [(8.4, True), (9.2, False)])
def test_a_slope_holds_up_to_the_angle_of_friction(degrees: float, held: bool) -> None:
    # atan 0.15 = 8.53 degrees; 1 % of the weight is let pass: atan 0.16 = 9.09.
    slope = np.radians(degrees)
    found = hold(
        [patch("slope", (0, 0, 0))], 3.0, (0, 0, 1), gravity=(math.sin(slope), 0, -math.cos(slope)), friction=0.15
    )
    assert found.held is held
    assert not found.rests


# Sliding under a hold-down clamp with two rubbing faces: N >= SF F / (2 mu); F 500 N, mu 0.2. One face only where the
# tip swivels. Recomputed; the rule of one face is common practice, no source.
@pytest.mark.parametrize(
    ("safety", "rubs", "needs"), [(1.0, True, 1250.0), (2.0, True, 2500.0), (1.0, False, 2500.0), (2.0, False, 5000.0)]
)
def test_the_force_that_a_hold_down_clamp_must_give(safety: float, rubs: bool, needs: float) -> None:
    plate = [patch("table", (0, 0, 0), half=50.0)]
    clamp = Push("K1", np.array([0, 0, 1e-3]), DOWN, 1000.0, rubs)
    push = [force("pushed", (0, 0, 0), way, 500) for way in (RIGHT, BACK, -RIGHT)]
    found = hold(plate, 1e-6, (0, 0, 0), [clamp], push, friction=0.2, safety=safety)
    assert found.needs["K1"] == pytest.approx(needs, rel=1e-4)
    assert found.unmet == ()
    assert found.stands[0].most == pytest.approx((400.0 if rubs else 200.0), rel=1e-4)
    assert [s.enough for s in found.stands] == [safety * 500 <= 1000 * 0.2 * (2 if rubs else 1)] * 3


def test_two_hard_stops_that_nothing_squeezes_hold_nothing_up() -> None:
    stops = [patch("left", (0, 0, 0), RIGHT), patch("right", (50, 0, 0), -RIGHT)]
    assert not hold(stops, 1.0, (25, 0, 0), friction=0.5).held


@pytest.mark.parametrize(("rubs", "carries"), [(False, 1.0), (True, 2.0)])
def test_a_clamp_against_a_stop_holds_what_friction_carries(rubs: bool, carries: float) -> None:
    for share, held in ((0.97, True), (1.03, False)):
        mass = share * carries * 0.2 * 600.0 / GRAVITY
        clamp = Push("K1", np.array([50.0, 0, 0]), -RIGHT, 600.0, rubs)
        centre = (25, 0, 0) if rubs else (0, 0, 0)
        assert hold([patch("left", (0, 0, 0), RIGHT)], mass, centre, [clamp], friction=0.2).held is held


def test_a_stop_takes_any_push_into_it_and_none_away() -> None:
    stood = [patch("table", (0, 0, 0), half=50.0), patch("stop", (50, 0, 0), -RIGHT, 1.0)]
    found = hold(
        stood, 2.0, (0, 0, 0), against=[force("into", (0, 0, 0), RIGHT, 1), force("away", (0, 0, 0), -RIGHT, 1)]
    )
    into, away = found.stands
    assert (into.way, into.enough) == ("", True)
    assert away.most == pytest.approx(0.15 * 2.0 * GRAVITY, rel=1e-4)
    assert (away.way, away.leaves) == ("slides", ("stop",))


def test_what_no_clamp_of_this_kind_stands_is_told() -> None:
    # A clamp that pushes level into a stop gives the table nothing to rub with, so nothing stops a pull upward.
    stood = [patch("table", (0, 0, 0), half=50.0), patch("stop", (-50, 0, 5), RIGHT, 5.0)]
    clamp = Push("K1", np.array([50.0, 0, 5.0]), -RIGHT, 500.0)
    found = hold(
        stood, 0.5, (0, 0, 0), [clamp], [force("pushed +X", (0, 0, 5), RIGHT, 100), force("lifted", (0, 0, 5), UP, 1e5)]
    )
    assert found.unmet == ("lifted",)


def test_the_usual_disturbances() -> None:
    names = [d.name for d in disturbances((10, 20, 30), place="weld 1")]
    assert names[:3] == ["pushed +X at weld 1", "pushed +X +Y at weld 1", "pushed +Y at weld 1"]
    assert names[8:] == ["lifted at weld 1", "turned counter-clockwise at weld 1", "turned clockwise at weld 1"]
    for one in disturbances((10, 20, 30))[:9]:
        np.testing.assert_allclose(one.moment, np.cross((10, 20, 30), one.force), atol=1e-9)
        assert one.size == pytest.approx(100.0)


# ---------------------------------------------------------------------------------------------------------------
# Exact cones by a second solver
# ---------------------------------------------------------------------------------------------------------------


def setup(rng: np.random.Generator) -> tuple[list[Contact], list[Push], float, Array]:
    """A bar on three risers against three stops, under two clamps, all a little at random."""
    length, half = rng.uniform(300, 900), 20.0
    places = np.sort(rng.uniform(0.05, 0.95, 3)) * length
    places[0], places[2] = 0.05 * length, 0.95 * length
    contacts = [patch(f"R{i}", (x, half, 0), UP, rng.uniform(8, 25), 15.0) for i, x in enumerate(places)]
    contacts += [patch(f"S{i}", (x, 0, half), BACK, 10.0) for i, x in enumerate(places[[0, 2]])]
    contacts.append(patch("end", (0, half, half), RIGHT, 10.0))
    slant = np.array([[0.0, -0.3, -1.0], [0.0, 0.0, -1.0]])
    ways = slant / np.linalg.norm(slant, axis=1, keepdims=True)
    tips = [np.array([x + rng.uniform(-30, 30), half, 2 * half]) for x in places[[0, 2]]]
    clamps = [
        Push(f"K{i}", t, w, float(rng.uniform(300, 2000))) for i, (t, w) in enumerate(zip(tips, ways, strict=True))
    ]
    return contacts, clamps, float(rng.uniform(1, 10)), np.array([length / 2, half, half])


def most_by_cones(
    contacts: list[Contact], clamps: list[Push], mass: float, centre: Array, one: Disturbance, held: Held
) -> float:
    """How many times a disturbance is stood, with true cones, written from the statics alone."""
    points, normals, owner = locators(contacts)
    middles = np.array([c.points.mean(axis=0) for c in contacts])
    rub_at = np.vstack([(m + c.points[i]) / 2 for m, c in zip(middles, contacts, strict=True) for i in (0, 2)])
    sides = np.vstack([np.tile(around(c.normal[None], 4)[0, :2], (2, 1)) for c in contacts])
    n, r = len(points), len(rub_at)
    forces, at = np.vstack([normals, sides]), np.vstack([points, np.repeat(rub_at, 2, axis=0)])
    wrench = np.hstack([forces, np.cross(at, forces) / 100.0])
    weight = mass * GRAVITY * DOWN
    total = np.concatenate([weight, np.cross(centre, weight) / 100.0])
    for c in clamps:
        total += np.concatenate([c.given * c.way, np.cross(c.at, c.given * c.way) / 100.0])
    push = np.concatenate([one.force, one.moment / 100.0])
    equal = (np.hstack([wrench.T, push[:, None], np.zeros((6, r))]), -total)
    cost = np.zeros(n + 2 * r + 1 + r)
    cost[n + 2 * r] = -1.0
    cones, below, right = [], [np.hstack([-np.eye(n), np.zeros((n, len(cost) - n))])], [0.0] * n
    for j in range(r):  # its size is at least the length of the rub
        a = np.zeros((3, len(cost)))
        a[0, n + 2 * r + 1 + j] = a[1, n + 2 * j] = a[2, n + 2 * j + 1] = 1.0
        cones.append((a, np.zeros(3)))
    for i, contact in enumerate(contacts):  # both rubs together: at most mu N, and mu times what presses it undisturbed
        rows = np.zeros((2, len(cost)))
        rows[:, n + 2 * r + 1 + 2 * i : n + 2 * r + 3 + 2 * i] = 1.0
        rows[0, :n][owner == i] = -held.friction
        below.append(rows)
        right += [0.0, held.friction * held.reactions[contact.fixed]]
    found = solve(cost, equal, (np.vstack(below), np.array(right)), cones)
    assert found is not None
    return -found[0]


def test_exact_cones_allow_a_little_more_and_never_less() -> None:
    rng = np.random.default_rng(3)
    tried, shares = 0, []
    for _ in range(6):
        contacts, clamps, mass, centre = setup(rng)
        against = disturbances(centre + np.array([rng.uniform(-50, 50), 0, 20]))
        fine = hold(contacts, mass, centre, clamps, against, edges=8)
        assert fine.held
        for one, stood in zip(against, fine.stands, strict=True):
            if stood.way == "":
                continue
            exact = most_by_cones(contacts, clamps, mass, centre, one, fine) * one.size
            assert stood.most <= exact * (1 + 1e-4)
            shares.append(stood.most / exact)
            tried += 1
    assert tried > 30
    assert min(shares) > math.cos(math.pi / 8) - 1e-3  # what 8 edges give away at most
    assert max(shares) > 0.99


def test_more_edges_give_more() -> None:
    contacts, clamps, mass, centre = setup(np.random.default_rng(4))
    against = disturbances(centre)[1:2]
    coarse, usual, fine = (hold(contacts, mass, centre, clamps, against, edges=m).stands[0].most for m in (4, 8, 32))
    assert coarse <= usual * (1 + 1e-6) <= fine * (1 + 2e-6)


def test_the_forces_asked_of_clamps_are_enough_and_less_is_not() -> None:
    rng = np.random.default_rng(8)
    for _ in range(4):
        contacts, clamps, mass, centre = setup(rng)
        against = disturbances(centre + np.array([40, 0, 20]))
        first = hold(contacts, mass, centre, clamps, against)
        assert first.unmet == ()
        for factor, enough in ((1.02, True), (0.9, False)):
            given = [Push(c.name, c.at, c.way, factor * max(first.needs[c.name], 1e-3)) for c in clamps]
            again = hold(contacts, mass, centre, given, against)
            assert (again.held and all(s.enough for s in again.stands)) is enough


# ---------------------------------------------------------------------------------------------------------------
# What must not change the answer
# ---------------------------------------------------------------------------------------------------------------


def moved(
    pose: Array, contacts: list[Contact], clamps: list[Push], against: list[Disturbance]
) -> tuple[list[Contact], list[Push], list[Disturbance]]:
    turn = pose[:3, :3]
    return (
        [Contact(c.fixed, c.kind, turn @ c.normal, frame.points(pose, c.points), c.area) for c in contacts],
        [Push(c.name, frame.points(pose, c.at), turn @ c.way, c.force, c.rubs) for c in clamps],
        [
            Disturbance(d.name, turn @ d.force, turn @ d.moment + np.cross(pose[:3, 3], turn @ d.force), d.unit)
            for d in against
        ],
    )


def figures(held: Held) -> Array:
    return np.array([s.most for s in held.stands] + list(held.reactions.values()) + list(held.needs.values()))


@pytest.mark.parametrize(
    "pose", [frame.translation((1000.0, -700.0, 300.0)), frame.rotation((0, 0, 1), 90.0)], ids=["shifted", "turned"]
)
def test_a_shift_and_a_quarter_turn_change_no_figure(pose: Array) -> None:
    contacts, clamps, mass, centre = setup(np.random.default_rng(21))
    against = disturbances(centre + np.array([40, 0, 20]))
    here = hold(contacts, mass, centre, clamps, against)
    c, k, d = moved(pose, contacts, clamps, against)
    there = hold(c, mass, frame.points(pose, centre), k, d)
    np.testing.assert_allclose(figures(there), figures(here), rtol=1e-5, atol=1e-6)
    assert [s.way for s in there.stands] == [s.way for s in here.stands]


def test_any_turn_changes_figures_by_less_than_the_pyramid_gives_away() -> None:
    contacts, clamps, mass, centre = setup(np.random.default_rng(22))
    against = disturbances(centre + np.array([40, 0, 20]))
    here = hold(contacts, mass, centre, clamps, against)
    pose = frame.rotation((1, 2, 3), 37.0)
    c, k, d = moved(pose, contacts, clamps, against)
    there = hold(c, mass, frame.points(pose, centre), k, d, gravity=pose[:3, :3] @ DOWN)
    np.testing.assert_allclose(list(there.reactions.values()), list(here.reactions.values()), rtol=1e-4, atol=1e-4)
    np.testing.assert_allclose(figures(there), figures(here), rtol=0.09, atol=1e-3)


def test_order_changes_nothing() -> None:
    contacts, clamps, mass, centre = setup(np.random.default_rng(23))
    against = disturbances(centre + np.array([40, 0, 20]))
    here = hold(contacts, mass, centre, clamps, against)
    there = hold(contacts[::-1], mass, centre, clamps[::-1], against[::-1])
    assert {s.disturbance.name: round(s.most, 3) for s in there.stands} == {
        s.disturbance.name: round(s.most, 3) for s in here.stands
    }
    assert there.needs == pytest.approx(here.needs, rel=1e-6)
    assert there.reactions == pytest.approx(here.reactions, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_a_tenth_of_a_millimetre_and_of_a_degree_change_no_verdict(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    contacts, _, mass, centre = setup(np.random.default_rng(24))
    spread = [contacts[i].points.mean(axis=0) for i in (0, 2)]
    clamps = [Push(f"K{i}", p + np.array([0, 0, 40.0]), DOWN, 800.0) for i, p in enumerate(spread)]
    sloppy = []
    for c in contacts:
        normal = c.normal + math.radians(0.1) * rng.uniform(-1, 1, 3)
        sloppy.append(
            Contact(c.fixed, c.kind, normal / np.linalg.norm(normal), c.points + rng.uniform(-0.1, 0.1, 3), c.area)
        )
    for use in ([], clamps):
        clean, off = (hold(cs, mass, centre, use) for cs in (contacts, sloppy))
        assert (off.rests, off.held, off.tips) == (clean.rests, clean.held, clean.tips) == (True, True, ())


# ---------------------------------------------------------------------------------------------------------------
# What is under a clamp
# ---------------------------------------------------------------------------------------------------------------

BEAM = [patch("R1", (100, 0, 0)), patch("R2", (500, 0, 0)), patch("S1", (300, -20, 20), BACK)]


@pytest.mark.parametrize(
    ("x", "nearest", "beside", "span"),
    [
        (100, "R1", 0, 0),
        (119, "R1", 0, 0),
        (130, "R1", 10, 360),
        (300, "R1", 180, 360),
        (470, "R2", 10, 360),
        (540, "R2", 20, math.inf),
    ],
)
def test_what_is_under_a_clamp(x: float, nearest: str, beside: float, span: float) -> None:
    # Edges of the supports at 80 to 120 and 480 to 520.
    found = under_clamp(BEAM, (x, 0, 40), DOWN, (1, 0, 0))
    assert (found.nearest, found.over) == (nearest, beside == 0)
    assert (found.beside, found.span) == pytest.approx((beside, span))
    assert under_clamp(BEAM, (x, 0, 40), DOWN).span == pytest.approx(span)


def test_over_nothing() -> None:
    found = under_clamp(BEAM, (100, 0, 0), UP)
    assert (found.nearest, found.beside, found.over) == ("", math.inf, False)
    assert under_clamp(BEAM, (300, 20, 20), -BACK).nearest == "S1"


def test_dent_force() -> None:
    # 1 to 2 kN on a 2 mm wall without a pad: common practice, no source.
    assert dent_force(2.0) == 1000.0
    assert dent_force(3.0) == pytest.approx(2250.0)
    with pytest.raises(ValueError, match="above 0 mm"):
        dent_force(0.0)


def test_scaling_does_not_depend_on_where_the_piece_lies() -> None:
    points = np.random.default_rng(1).uniform(0, 100, (8, 3))
    here, there = scaling(points), scaling(points + 5000.0)
    assert here.size == pytest.approx(there.size)
    twists = np.random.default_rng(2).normal(size=(5, 6))
    np.testing.assert_allclose(there.local(there.world(twists)), twists, atol=1e-9)
