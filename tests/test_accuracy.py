"""How true the work will be: stack-ups, pins, diagonals, figures, stock, against worked values and brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import ArrayLike, NDArray

from fixture3d import frame
from fixture3d.accuracy import shapes
from fixture3d.accuracy.figures import Figure, Work, angle, distance, flatness, key_figures, overall
from fixture3d.accuracy.iso13920 import angular
from fixture3d.accuracy.pins import (
    Pins,
    diamond,
    one_pin_contributors,
    pin_travel,
    reseated,
    seat_contributors,
    wider,
)
from fixture3d.accuracy.squareness import diagonals, frame_of, shear
from fixture3d.accuracy.stack import Cause, Contributor, Loaded, Term, combine, monte_carlo, stack_up, tight, with_limit
from fixture3d.accuracy.stock_limits import member_contributors, missing, size_limits
from fixture3d.job import PinState, SeatedPin, seat
from fixture3d.locating.closure import around
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.pose import moved, settle
from fixture3d.part import Pin
from fixture3d.stock.rules import tolerances_of
from fixture3d.stock.stock import section

Array = NDArray[np.float64]
IN = 25.4
UP, BACK, RIGHT = np.array([0.0, 0, 1]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0])

# ---------------------------------------------------------------------------------------------------------------
# Squareness: elementary trigonometry, recomputed
# ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("a", "b", "degrees", "first", "second"),
    [
        (1000, 500, 0.1, 1118.8143, 1117.2532),
        (1000, 1000, 0.1, 1415.4472, 1412.9789),
        (1200, 600, 1, 1350.9743, 1332.2419),
        (48, 24, 0.25, 53.7592, 53.5719),
    ],
)
def test_diagonals_of_a_sheared_rectangle(a: float, b: float, degrees: float, first: float, second: float) -> None:
    found = diagonals(a, b, degrees)
    assert found == pytest.approx((first, second), abs=5e-5)
    assert shear(a, b, found[0] - found[1]) == pytest.approx(degrees, rel=1e-9)
    assert shear(a, b, found[1] - found[0]) == pytest.approx(-degrees, rel=1e-9)
    corners = np.array([[0, 0], [a, 0], [a + b * math.sin(math.radians(degrees)), b * math.cos(math.radians(degrees))]])
    assert float(np.linalg.norm(corners[2] - corners[0])) == pytest.approx(found[0], rel=1e-12)


def test_the_angle_from_a_difference_of_diagonals() -> None:
    assert shear(1000, 500, 3.0) == pytest.approx(0.1922, abs=5e-5)
    assert 500 * math.tan(math.radians(shear(1000, 500, 3.0))) == pytest.approx(1.68, abs=0.005)
    # A tape read wrong by half a mm on one diagonal: 0.5 mm of difference is 0.032 degree; read 0.5 too long and too
    # short on the two it is 0.064.
    assert shear(1000, 500, 1.0) == pytest.approx(0.064, abs=5e-4)


def test_what_a_class_of_angles_lets_diagonals_differ() -> None:
    # ISO 13920 by the shorter leg of 500 mm: B 30', A 15'.
    for class_, most in (("B", 7.8), ("A", 3.9)):
        one, other = diagonals(1000, 500, angular(500, class_).degrees)
        assert one - other == pytest.approx(most, abs=0.05)


def test_three_four_five() -> None:
    # 36-48-60 inches is square; with 60-1/16 the corner is open by 0.124 degree: 0.10 in over 48.
    square = frame_of((36, 48, 36, 48), 60, 60)
    assert square.square == pytest.approx(0, abs=1e-9)
    opened = frame_of((36, 48, 36, 48), 60 + 1 / 16, math.sqrt(2 * (36**2 + 48**2) - (60 + 1 / 16) ** 2))
    assert opened.corners[1] - 90 == pytest.approx(0.124, abs=5e-4)
    assert 48 * math.tan(math.radians(opened.corners[1] - 90)) == pytest.approx(0.10, abs=5e-3)


def test_equal_diagonals_do_not_prove_a_trapezoid_square() -> None:
    corners = np.array([[0, 0], [1000, 0], [990, 500], [10, 500]], dtype=float)
    sides = [float(np.linalg.norm(corners[(k + 1) % 4] - corners[k])) for k in range(4)]
    d = float(np.linalg.norm(corners[2] - corners[0])), float(np.linalg.norm(corners[3] - corners[1]))
    found = frame_of((sides[0], sides[1], sides[2], sides[3]), *d)
    assert found.difference == pytest.approx(0, abs=1e-9)
    assert not found.diagonals_tell(1.0)
    assert found.square == pytest.approx(math.degrees(math.atan(10 / 500)), abs=1e-6)
    assert found.misfit == pytest.approx(0, abs=1e-6)
    assert frame_of((1000, 500, 1000, 500), 1120.0, 1116.0).diagonals_tell(1.0)


def test_a_frame_that_is_not_flat_or_was_misread_shows() -> None:
    assert frame_of((1000, 500, 1000, 500), 1120.0, 1120.0).misfit > 3.0


def test_lengths_that_close_nothing() -> None:
    with pytest.raises(ValueError, match="close a triangle"):
        frame_of((1000, 500, 1000, 500), 1600.0, 1000.0)
    with pytest.raises(ValueError, match="differ by less"):
        shear(100, 100, 250)
    with pytest.raises(ValueError, match="two sides above 0"):
        shear(0, 100, 1)


# ---------------------------------------------------------------------------------------------------------------
# Two pins
# ---------------------------------------------------------------------------------------------------------------


def on(spacing: float, first: float, second: float | None = None, relieved: bool = False) -> Pins:
    return Pins(np.zeros(3), spacing * RIGHT, UP, (first, first if second is None else second), relieved)


# asin((c1 + c2) / 2L): elementary, the standard result for two pins in one plane; clearances from ISO 286 and B4.1.
@pytest.mark.parametrize(
    ("clearance", "spacing", "mrad", "degrees", "at_200"),
    [
        (0.035, 50, 0.700, 0.0401, 0.14),
        (0.035, 100, 0.350, None, 0.07),
        (0.041, 100, 0.410, None, 0.082),
        (0.517, 50, 10.34, 0.592, 2.07),
        (0.0023 * IN, 2 * IN, 1.15, 0.0659, None),
        (0.0028 * IN, 2 * IN, 1.40, 0.0802, None),
    ],
)
def test_the_turn_of_a_block_on_two_pins(
    clearance: float, spacing: float, mrad: float, degrees: float | None, at_200: float | None
) -> None:
    pins = on(spacing, clearance)
    assert math.radians(pins.turn) * 1000 == pytest.approx(mrad, rel=1e-3)
    if degrees is not None:
        assert pins.turn == pytest.approx(degrees, rel=2e-3)
    if at_200 is not None:  # beyond the play of the pins themselves nothing is added: both are at their walls
        assert pin_travel(pins, (spacing / 2 + 200, 0, 0), BACK) == pytest.approx(at_200, rel=6e-3)


def test_holes_out_of_place_by_themselves() -> None:
    # Two holes each 0.1 mm across the row, 50 apart: 4 mrad, 0.229 degree.
    turns = [c.shape(np.array([[1000.0, 0, 0], [0, 0, 0]])) * 0.1 for c in seat_contributors("S1", on(50, 0.0))[1:]]
    slopes = [abs(float(t[0, 1] - t[1, 1])) / 1000 for t in turns]
    assert sum(slopes) == pytest.approx(0.004)
    assert math.degrees(sum(slopes)) == pytest.approx(0.229, abs=5e-4)


def drawn_plays(pins: Pins, rng: np.random.Generator, count: int = 200_000) -> Array:
    """Positions of both pins in their holes that a rigid block can take, (k, 2, 2): along, across."""
    r1, r2 = (c / 2 for c in pins.clearance)
    along = rng.uniform(-r1, r1, count)
    a1, a2 = rng.uniform(-r1, r1, count), rng.uniform(-r2, r2, count)
    inside = along**2 + a1**2 <= r1**2
    inside &= np.abs(a2) <= r2 if pins.relieved else along**2 + a2**2 <= r2**2
    return np.stack([np.stack([along, a1], axis=1), np.stack([along, a2], axis=1)], axis=1)[inside]


@pytest.mark.parametrize(
    "pins",
    [on(50, 0.035), on(100, 0.05, 0.2), on(80, 0.3, 0.06), on(60, 0.1, 0.04, True)],
    ids=["like", "unlike", "loose", "diamond"],
)
def test_brute_force_finds_no_longer_travel_and_nearly_as_much(pins: Pins) -> None:
    rng = np.random.default_rng(7)
    plays = drawn_plays(pins, rng)
    for spot, degrees in (((300, 40, 0), 90.0), ((25, 80, 0), 0.0), ((-120, 30, 0), 35.0), ((40, -60, 0), 120.0)):
        normal = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees)), 0])
        turn = (plays[:, 1, 1] - plays[:, 0, 1]) / pins.spacing
        shift = plays[:, 0] + np.stack([-turn * spot[1], turn * spot[0]], axis=1)  # about the first pin, at the origin
        far = float((shift @ normal[:2]).max())
        found = pin_travel(pins, spot, normal)
        assert far <= found * (1 + 1e-9)
        assert far >= 0.93 * found


def test_it_is_the_seat_of_a_job_for_two_like_pins() -> None:
    rng = np.random.default_rng(9)
    state: PinState = "seated"
    for _ in range(30):
        at = rng.uniform(0, 300, (2, 3)) * [1, 1, 0]
        seated = tuple(
            SeatedPin(
                pin=Pin(name=str(k), at=(0.0, 0.0, 0.0)), at=p, hole="A1", off=0.0, allowed=0.0, state=state, asked=True
            )
            for k, p in enumerate(at)
        )
        spot, normal = rng.uniform(-200, 500, 3), unit(rng.normal(size=3) * [1, 1, 0])
        fit = seat.Fit(least=0.006, most=0.035)
        pins = Pins(at[0], at[1], UP, (0.035, 0.035))
        assert pin_travel(pins, spot, normal) == pytest.approx(seat.travel(seated, fit, UP, spot, normal), rel=1e-6)


def unit(v: Array) -> Array:
    result: Array = v / np.linalg.norm(v)
    return result


def test_three_contributors_of_a_seat_never_say_less_than_the_truth() -> None:
    rng = np.random.default_rng(10)
    pins = on(50, 0.035, 0.05)
    for _ in range(40):
        spot, turn = rng.uniform(-300, 300, 3), rng.uniform(0, math.pi)
        normal = np.array([math.cos(turn), math.sin(turn), 0])
        said = sum(abs(float(c.shape(spot[None])[0] @ normal)) * c.limit for c in seat_contributors("S1", pins))
        true = pin_travel(pins, spot, normal)
        assert true - 1e-12 <= said <= true * math.sqrt(2.0) + 1e-12
    across = sum(abs(float(c.shape(np.array([[200.0, 0, 0]]))[0, 1])) * c.limit for c in seat_contributors("S1", pins))
    assert across == pytest.approx(pin_travel(pins, (200, 0, 0), BACK))


def test_what_other_pins_gain() -> None:
    pins, spot = on(50, 0.517), (225.0, 0, 0)
    assert pin_travel(wider(pins, 50), spot, BACK) < 0.55 * pin_travel(pins, spot, BACK)
    assert pin_travel(diamond(pins, 0.035), spot, BACK) == pytest.approx(pin_travel(on(50, 0.035), spot, BACK))
    # With like clearances a relieved pin alone lets no less turn: it frees the pitch, that is all.
    assert diamond(pins, 0.517).turn == pins.turn


def test_a_clamp_that_always_pushes_leaves_a_bias_and_no_play() -> None:
    plain = seat_contributors("S1", on(50, 0.035))
    pushed = seat_contributors("S1", on(50, 0.035), bias=-RIGHT)
    assert [c.limit for c in plain] == [0.0175] * 3
    assert [(c.limit, c.bias) for c in pushed] == [(0.0, -0.0175), (0.0175, 0.0), (0.0175, 0.0)]


# ---------------------------------------------------------------------------------------------------------------
# Adding up
# ---------------------------------------------------------------------------------------------------------------


def length_of(name: str = "length", size: float = 100.0) -> Figure:
    return distance(name, ("a", np.zeros(3)), ("b", size * RIGHT))


def term(name: str, size: float, cause: Cause = "block", bias: float = 0.0) -> Term:
    return Term(name=name, body=name, cause=cause, plus=size, minus=-size, rocks=0.0, bias=bias, limit=size)


def test_worst_case_and_root_sum_of_squares() -> None:
    # W = sum |s| t = 0.435; RSS = 0.2371.
    found = combine(length_of(), [term(f"t{k}", t) for k, t in enumerate((0.05, 0.035, 0.10, 0.20, 0.05))])
    assert (found.worst, found.high, found.low) == pytest.approx((0.435, 0.435, -0.435))
    assert found.rss == pytest.approx(0.2371, abs=5e-5)
    assert found.spoiler is not None
    assert found.spoiler.name == "t3"
    assert [t.size for t in found.terms] == sorted((t.size for t in found.terms), reverse=True)


def test_a_bias_moves_the_middle_and_adds_no_spread() -> None:
    plain = combine(length_of(), [term("a", 0.1)])
    pushed = combine(length_of(), [term("a", 0.1), term("b", 0.0, bias=-0.05)])
    assert pushed.rss == plain.rss
    assert (pushed.high, pushed.low, pushed.worst) == pytest.approx((0.05, -0.15, 0.15))
    assert pushed.likely == pytest.approx(0.15)


def test_a_better_seat_gains_its_own_share_only() -> None:
    stack = combine(length_of(), [term("a", 0.3), term("b", 0.4)])
    better = with_limit(stack, {"b": 0.1})
    assert (stack.rss, better.worst) == pytest.approx((0.5, 0.4))
    assert better.spoiler is not None
    assert better.spoiler.name == "a"


# A body on six locators, after Asada and By 1985: J q = delta, the test's own inverse.
POINTS = np.array([[50, 50, 0], [250, 50, 0], [150, 150, 0], [50, 0, 50], [250, 0, 50], [0, 100, 50]], dtype=float)
NORMALS = np.array([UP] * 3 + [BACK] * 2 + [RIGHT])
SIX = [Contact(f"L{k}", "point", n, p[None]) for k, (p, n) in enumerate(zip(POINTS, NORMALS, strict=True))]


def out_by(limits: ArrayLike) -> list[Contributor]:
    return [
        Contributor(f"L{k}", f"L{k}", "block", shapes.shifted(NORMALS[k]), t)
        for k, t in enumerate(np.asarray(limits, dtype=float))
    ]


def test_a_corner_of_a_body_on_six_locators() -> None:
    jacobian = np.hstack([NORMALS, np.cross(POINTS, NORMALS)])
    corner = np.array([300.0, 200, 100])
    limits = np.array([0.1, 0.05, 0.1, 0.2, 0.1, 0.05])
    poses = np.linalg.inv(jacobian)  # a column a locator
    moves = poses[:3] + np.cross(poses[3:].T, corner).T
    for axis in range(3):
        far = corner + 1000 * np.eye(3)[axis]
        figure = distance("out", ("piece", corner), ("table", far))
        (found,), _ = stack_up([figure], [Loaded("piece", SIX)], out_by(limits))
        shares = moves[axis] * limits
        # Moves square to the figure change it by their square over twice its length: far less than a micrometre.
        assert found.worst == pytest.approx(np.abs(shares).sum(), rel=1e-3)
        assert found.rss == pytest.approx(np.sqrt((shares**2).sum()), rel=1e-3)


def test_monte_carlo_of_a_straight_sum() -> None:
    corner = np.array([300.0, 200, 100])
    figure = distance("out", ("piece", corner), ("table", corner + 1000 * UP))
    for even, share in ((False, 1 / 3), (True, 1 / math.sqrt(3))):
        contributors = [Contributor(c.name, c.body, c.cause, c.shape, c.limit, 0.0, even) for c in out_by([0.1] * 6)]
        (stack,), (spread,) = stack_up([figure], [Loaded("piece", SIX)], contributors)
        found = monte_carlo(figure, spread, limits=(-0.2, 0.2))
        assert found.sigma == pytest.approx(stack.rss * share, rel=0.03)
        assert abs(found.mean) < 0.003
        assert found.high < stack.worst
        assert found.beyond is not None
        assert found == monte_carlo(figure, spread, limits=(-0.2, 0.2))
        assert found != monte_carlo(figure, spread, limits=(-0.2, 0.2), seed=2)


def test_monte_carlo_of_a_bias_is_a_shift() -> None:
    figure = distance("out", ("piece", np.zeros(3)), ("table", -1000 * RIGHT))
    pushed = [Contributor("L5", "L5", "seat", shapes.shifted(RIGHT), 0.0, bias=0.2)]
    (stack,), (spread,) = stack_up([figure], [Loaded("piece", SIX)], pushed)
    assert (stack.bias, stack.rss, stack.worst) == pytest.approx((0.2, 0.0, 0.2))
    found = monte_carlo(figure, spread)
    assert (found.mean, found.sigma) == pytest.approx((0.2, 0.0), abs=1e-9)


# ---------------------------------------------------------------------------------------------------------------
# Pieces against blocks and against each other
# ---------------------------------------------------------------------------------------------------------------


def patch(name: str, centre: ArrayLike, normal: Array, half: float = 10.0) -> Contact:
    x, y = around(normal[None], 4)[0, :2]
    at = np.asarray(centre, dtype=float)
    corners = [(-half, -half), (half, -half), (half, half), (-half, half)]
    return Contact(name, "face", normal, np.array([at + a * x + b * y for a, b in corners]))


def bar(name: str, start: ArrayLike, end: ArrayLike, half: float = 20.0) -> Work:
    a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    w = unit(b - a)
    sides = around(w[None], 4)[0] * half
    corners = [p + s + t for p in (a, b) for s in sides[::2] for t in sides[1::2]]
    return Work(name, a, b, np.array(corners), half)


POST = [patch("R1", (0, 60, 0), UP), patch("R2", (0, 340, 0), UP), patch("S1", (-20, 60, 20), RIGHT),
        patch("S2", (-20, 340, 20), RIGHT), patch("S3", (0, 0, 20), BACK)]  # fmt: skip
ARM = [patch("R3", (250, 200, 0), UP), patch("R4", (60, 200, 0), UP), patch("post", (20, 200, 20), RIGHT, 15),
       patch("S4", (100, 180, 20), BACK), patch("S5", (280, 180, 20), BACK)]  # fmt: skip


def test_a_piece_follows_the_piece_it_lies_against() -> None:
    end = distance("reach", ("table", (0, 200, 20)), ("arm", (300, 200, 20)))
    both = [Contributor(f"S{k}", f"S{k}", "notch", shapes.shifted(RIGHT), 0.25) for k in (1, 2)]
    (stack,), _ = stack_up([end], [Loaded("post", POST), Loaded("arm", ARM)], both)
    # Both out together move post and arm by 0.25. One alone turns the post too, and the arm touches it at the edge of
    # their patch: the sum of the two says a little more, never less.
    assert 0.25 <= stack.worst <= 1.2 * 0.25
    together = [Contributor("post moved", "post", "seat", shapes.shifted(RIGHT), 0.25)]
    stacks, _ = stack_up([end], [Loaded("arm", ARM)], together)
    assert stacks[0].worst == pytest.approx(0.25, rel=1e-6)


def test_what_other_pins_gain_in_a_figure() -> None:
    # The end stop of the post on one drilled hole, its face 100 mm to the side of it, set square to half a degree.
    at, stop = np.array([-100.0, -50, 0]), "S3"
    figure = distance("end", ("table", (0, 400, 20)), ("post", (0, 0, 20)))
    drilled = Pins(at, at - 50 * RIGHT, UP, (0.517, 0.517))
    setups = {
        "one": one_pin_contributors(stop, at, UP, 0.517, 0.5),
        "two": reseated(one_pin_contributors(stop, at, UP, 0.517, 0.5), stop, drilled),
        "close": reseated(
            one_pin_contributors(stop, at, UP, 0.517, 0.5), stop, Pins(at, at - 50 * RIGHT, UP, (0.035, 0.035))
        ),
        "wider": reseated(seat_contributors(stop, drilled), stop, wider(drilled, 50)),
        "relieved": reseated(seat_contributors(stop, drilled), stop, diamond(drilled, 0.035)),
    }
    other = Contributor("S1", "S1", "notch", shapes.shifted(RIGHT), 0.1)
    worst = {}
    for name, contributors in setups.items():
        (stack,), _ = stack_up([figure], [Loaded("post", POST)], [*contributors, other])
        assert all(t.body == "S3" for t in stack.terms[:2])
        worst[name] = stack.worst
    # Face at the post's middle, 10 mm of patch to its edge; one pin: 0.2585 and about 100 mm of lever on half a degree.
    assert worst["one"] == pytest.approx(0.2585 + 110 * math.radians(0.5), rel=0.12)
    assert worst["relieved"] < worst["wider"] < worst["two"]
    assert worst["close"] < 0.2 * worst["one"]  # but two pins in drilled holes turn as far as an eye sets them
    assert worst["two"] == pytest.approx(worst["one"], rel=0.15)


def test_a_post_that_is_too_wide_pushes_the_arm_out() -> None:
    end = distance("reach", ("table", (0, 200, 20)), ("arm", (300, 200, 20)))
    wide = [Contributor("width of post", "post", "stock size", shapes.sized((0, 0, 20), RIGHT, 40.0), 0.5)]
    (stack,), _ = stack_up([end], [Loaded("post", POST), Loaded("arm", ARM)], wide)
    # Its stops hold one side, so the other, and the arm, go out by the whole 0.5.
    assert (stack.high, stack.low) == pytest.approx((0.5, -0.5), rel=1e-6)


def test_a_tube_that_is_too_high_lifts_its_middle_by_half_and_its_top_by_all() -> None:
    high = [Contributor("height", "post", "stock size", shapes.sized((0, 0, 20), UP, 40.0), 0.6)]
    for z, rises in ((20.0, 0.3), (40.0, 0.6), (0.0, 0.0)):
        figure = distance("height", ("table", (0, 200, z - 500)), ("post", (0, 200, z)))
        (stack,), _ = stack_up([figure], [Loaded("post", POST)], high)
        assert stack.high == pytest.approx(rises, abs=1e-6)


def test_a_tube_between_two_hard_stops_goes_in_at_its_least_size_only() -> None:
    wide = [Contributor("width of post", "post", "stock size", shapes.sized((0, 0, 20), RIGHT, 40.0), 0.5)]
    opposed = [*POST, patch("S9", (20, 200, 20), -RIGHT)]
    assert tight([Loaded("post", POST)], wide) == {}
    found = tight([Loaded("post", opposed)], wide)
    assert found["post"]["width of post"] == pytest.approx(0.5, rel=1e-6)


def test_cut_length_counts_at_the_far_end_only() -> None:
    long = [Contributor("cut", "post", "cut length", shapes.longer((0, 0, 20), (0, 400, 20)), 0.5)]
    figures = [distance(str(y), ("table", (0, -500, 20)), ("post", (0, y, 20))) for y in (0, 100, 400)]
    stacks, _ = stack_up(figures, [Loaded("post", POST)], long)
    assert [s.worst for s in stacks] == pytest.approx([0.0, 0.0, 0.5])
    # Held by a stop at its far end, it is the first end that moves.
    far = [*POST[:4], patch("S3", (0, 400, 20), -BACK)]
    stacks, _ = stack_up(figures, [Loaded("post", far)], long)
    assert [s.worst for s in stacks] == pytest.approx([0.5, 0.5, 0.0])


def test_an_end_cut_askew_against_its_stop_rocks_nothing_that_stops_hold() -> None:
    skew = [Contributor("cut", "post", "mitre", shapes.askew((0, 400, 20), (0, 0, 20), UP), 0.5)]
    figure = distance("length", ("table", (0, -500, 20)), ("post", (0, 400, 20)))
    (stack,), _ = stack_up([figure], [Loaded("post", POST)], skew)
    # The patch of the stop is 10 mm either way of the middle: the corner stands out by 10 tan 0.5 degree.
    assert max(abs(stack.high), abs(stack.low)) == pytest.approx(10 * math.radians(0.5), rel=1e-3)


def test_a_bowed_bar_on_two_risers() -> None:
    bow = [Contributor("bow", "post", "bow", shapes.bowed((0, 0, 20), (0, 400, 20), UP), 0.6)]
    figure = distance("middle", ("table", (0, 200, -500)), ("post", (0, 200, 20)))
    (stack,), _ = stack_up([figure], [Loaded("post", POST)], bow)
    # Bowed up by 0.6 in 400: it lies on the outer edges of its risers' patches, 50 and 350, where it is up by 0.2625.
    assert stack.high == pytest.approx(0.6 - 0.6 * 4 * (50 / 400) * (350 / 400), rel=1e-6)


def test_many_errors_at_once_stay_within_the_worst_case() -> None:
    rng = np.random.default_rng(61)
    pieces = [Loaded("post", POST), Loaded("arm", ARM)]
    blocks = ["R1", "R2", "R3", "R4", "S1", "S2", "S3", "S4", "S5"]
    ways = {"R": UP, "S1": RIGHT, "S2": RIGHT, "S3": BACK, "S4": BACK, "S5": BACK}
    contributors = [Contributor(b, b, "block", shapes.shifted(ways.get(b, UP)), 0.2) for b in blocks]
    figure = distance("diagonal", ("post", (0, 0, 20)), ("arm", (300, 200, 20)), "diagonal")
    (stack,), _ = stack_up([figure], pieces, contributors)
    out = []
    for _ in range(60):
        errors = dict(zip(blocks, rng.choice([-0.2, 0.2], len(blocks)), strict=True))
        post, arm = (offsets(contacts, errors, ways) for contacts in (POST, ARM))
        post_twist = settle(POST, post).twists
        touching = slice(8, 12)
        arm[touching] += moved(post_twist, ARM[2].points)[0] @ RIGHT
        arm_twist = settle(ARM, arm).twists
        at = figure.points + np.array(
            [moved(post_twist, figure.points[:1])[0, 0], moved(arm_twist, figure.points[1:])[0, 0]]
        )
        out.append(float(figure.value(at[None])[0]) - figure.nominal)
    assert np.abs(out).max() <= stack.worst * 1.02
    assert np.abs(out).max() >= 0.6 * stack.worst


def offsets(contacts: list[Contact], errors: dict[str, float], ways: dict[str, Array]) -> Array:
    _, _, owner = locators(contacts)
    per = [errors.get(c.fixed, 0.0) * float(ways.get(c.fixed, UP) @ c.normal) for c in contacts]
    return np.array(per)[owner]


def test_turned_shifted_and_in_another_order_the_figures_stay() -> None:
    pose = frame.chain(frame.translation((900.0, -300, 60)), frame.rotation((0.3, -1, 2), 63.0))
    end = distance("reach", ("table", (0, 200, 20)), ("arm", (300, 200, 20)))
    ways = [("S1", RIGHT), ("R3", UP), ("S5", BACK), ("S2", RIGHT)]
    here, _ = stack_up(
        [end], [Loaded("post", POST), Loaded("arm", ARM)],
        [Contributor(b, b, "block", shapes.shifted(w), 0.1) for b, w in ways],
    )  # fmt: skip
    there_contacts = [
        [Contact(c.fixed, c.kind, pose[:3, :3] @ c.normal, frame.points(pose, c.points)) for c in contacts]
        for contacts in (POST[::-1], ARM[::-1])
    ]
    turned = Figure("reach", "length", tuple((n, frame.points(pose, p)) for n, p in end.spots), end.size, end.axis)
    there, _ = stack_up(
        [turned], [Loaded("post", there_contacts[0]), Loaded("arm", there_contacts[1])],
        [Contributor(b, b, "block", shapes.shifted(pose[:3, :3] @ w), 0.1) for b, w in ways[::-1]],
    )  # fmt: skip
    assert (there[0].worst, there[0].rss) == pytest.approx((here[0].worst, here[0].rss), rel=1e-6)
    assert [t.name for t in there[0].terms] == [t.name for t in here[0].terms]


# ---------------------------------------------------------------------------------------------------------------
# Figures
# ---------------------------------------------------------------------------------------------------------------


def frame_work(a: float = 1000.0, b: float = 600.0) -> list[Work]:
    return [
        bar("front", (0, 0, 0), (a, 0, 0)),
        bar("right", (a, 20, 0), (a, b - 20, 0)),
        bar("back", (0, b, 0), (a, b, 0)),
        bar("left", (0, 20, 0), (0, b - 20, 0)),
        bar("rung", (a / 2, 20, 0), (a / 2, b - 20, 0)),
    ]


def test_the_figures_of_a_frame_are_found() -> None:
    found = {f.name: f for f in key_figures(frame_work())}
    assert {name: round(f.nominal, 6) for name, f in found.items() if f.kind == "overall"} == {
        "overall X": 1040.0, "overall Y": 640.0, "overall Z": 40.0,
    }  # fmt: skip
    assert sorted(round(f.nominal, 6) for f in found.values() if f.kind == "length") == [600, 600, 1000, 1000]
    assert [f.nominal for f in found.values() if f.kind == "diagonal"] == pytest.approx([math.hypot(1000, 600)] * 2)
    angles = [f for f in found.values() if f.kind == "angle"]
    assert len(angles) == 6  # four corners, two tees
    assert [f.nominal for f in angles] == pytest.approx([90.0] * 6)
    assert {f.size for f in angles} == {560.0}  # the shorter leg
    (flat,) = [f for f in found.values() if f.kind == "flatness"]
    assert (flat.nominal, flat.size) == pytest.approx((0.0, 1000.0), abs=1e-9)


def test_two_frames_one_above_the_other_are_two() -> None:
    raised = [
        Work(f"top {w.name}", w.start + 400 * UP, w.end + 400 * UP, w.corners + 400 * UP, w.half) for w in frame_work()
    ]
    posts = [
        bar(f"post {k}", (x, y, 20), (x, y, 380)) for k, (x, y) in enumerate(((0, 0), (1000, 0), (1000, 600), (0, 600)))
    ]
    found = key_figures([*frame_work(), *raised, *posts])
    # Bottom, top, and the four sides of the box that the posts make with them.
    assert sum(f.kind == "diagonal" for f in found) == 2 * 6
    assert sum(f.kind == "flatness" for f in found) == 6


def test_no_frame_no_diagonal() -> None:
    found = key_figures([bar("post", (0, 0, 0), (0, 400, 0)), bar("arm", (20, 200, 0), (300, 200, 0))])
    assert [f.kind for f in found] == ["overall"] * 3 + ["angle"]
    assert key_figures([]) == []
    plate = Work("plate", np.zeros(3), np.zeros(3), np.array([[0, 0, 0], [100, 0, 0], [100, 50, 6]], dtype=float))
    assert [f.nominal for f in key_figures([plate])] == [100, 50, 6]


def test_a_sheared_frame_has_the_diagonals_of_trigonometry() -> None:
    gamma = math.radians(0.1)
    works = frame_work(1000, 500)
    found = [f for f in key_figures(works) if f.kind in ("diagonal", "angle")]
    lean = np.array([math.sin(gamma), math.cos(gamma) - 1.0, 0])
    values = []
    for figure in found:
        points = figure.points
        values.append(float(figure.value((points + np.outer(points[:, 1], lean))[None])[0]))
    assert sorted(values[:2]) == pytest.approx(sorted(diagonals(1000, 500, 0.1)), abs=1e-6)
    assert {round(abs(v - 90), 6) for v in values[2:]} == {0.1}


def test_one_corner_up_is_half_as_much_out_of_flat() -> None:
    # Least squares: residuals of a quarter, up and down in turn; the least zone is the same for a rectangle.
    corners = np.array([[0, 0, 0], [1000, 0, 0], [1000, 600, 0], [0, 600, 0]], dtype=float)
    figure = flatness("flat", [("a", c) for c in corners], 1000)
    lifted = corners.copy()
    lifted[2, 2] = 3.0
    assert float(figure.value(lifted[None])[0]) == pytest.approx(1.5, rel=1e-4)


@pytest.mark.parametrize(("degrees", "found"), [(90.0, 90.0), (45.0, 45.0), (135.0, 135.0), (0.001, 0.001)])
def test_angles_between_members(degrees: float, found: float) -> None:
    turn = math.radians(degrees)
    one = bar("one", (0, 0, 0), (500, 0, 0))
    other = bar("other", (0, 0, 0), (300 * math.cos(turn), 300 * math.sin(turn), 0))
    assert angle("angle", one, other).nominal == pytest.approx(found, rel=1e-6)
    back = Work("other", other.end, other.start, other.corners, other.half)
    if degrees > 1:
        assert angle("angle", one, back).nominal == pytest.approx(found, rel=1e-6)
        assert angle("angle", one, back).size == pytest.approx(300.0)


def test_overall_length_takes_all_outermost_corners() -> None:
    figure = overall("overall X", frame_work(), RIGHT)
    points = figure.points.copy()
    points[-1] += 2 * RIGHT
    assert float(figure.value(points[None])[0]) == pytest.approx(1042.0)
    points[0] -= 3 * RIGHT
    assert float(figure.value(points[None])[0]) == pytest.approx(1045.0)


# ---------------------------------------------------------------------------------------------------------------
# Stock
# ---------------------------------------------------------------------------------------------------------------


def test_sizes_of_stock() -> None:
    # EN 10219-2 by a public handbook and a mill's page; ASTM A500 by mills' pages.
    rect = size_limits(section("RHS 60x40x3"))
    assert (rect.height, rect.width, rect.wall) == ((59.4, 60.6), (39.5, 40.5), (2.7, 3.3))
    inch = size_limits(section("HSS 2x2x1/8"))
    assert inch.height == pytest.approx((1.980 * IN, 2.020 * IN))
    assert (rect.standard, inch.standard) == ("EN 10219-2", "ASTM A500")


def test_hot_finished_tube() -> None:
    # EN 10210-2 by a public handbook: 1 % and at least 0.5, corner 1 degree, 0.20 % straight.
    found = tolerances_of("EN 10210-2", "rectangular tube", 40.0, 80.0, 4.0)
    assert (found.height, found.width, found.squareness) == (0.5, 0.8, 1.0)
    assert found.straightness(2000.0) == pytest.approx(4.0)
    assert not found.from_memory


def test_everything_that_a_tube_may_be_off() -> None:
    tube = section("SHS 40x40x3")
    found = {c.name: c for c in member_contributors("leg", (0, 0, 20), (0, 2000, 20), UP, tube)}
    assert found["height of leg"].limit == 0.5
    assert found["bow of leg, upright"].limit == pytest.approx(3.0)  # 0.15 % of 2 m
    assert found["twist of leg"].limit == pytest.approx(3.0)  # 2 mm and 0.5 mm a metre
    assert found["squareness of leg, sides"].limit == 1.0
    assert found["cut length of leg"].limit == 0.5  # cold saw, common practice, no source
    assert sum(c.cause == "mitre" for c in found.values()) == 4
    a500 = member_contributors("rail", (0, 0, 0), (120 * IN, 0, 0), UP, section("HSS 2x2x1/8"))
    bow = next(c for c in a500 if c.cause == "bow")
    assert bow.limit == pytest.approx(0.25 * IN)  # 1/8 in for each 5 ft


def test_a_round_tube_has_one_diameter() -> None:
    found = member_contributors("pipe", (0, 0, 0), (1000, 0, 0), UP, section("CHS 48.3x3.2"))
    sizes = [c for c in found if c.cause == "stock size"]
    assert [c.limit for c in sizes] == [0.5]
    rim = np.array([[500, 24.15, 0], [10, 0, -24.15]])
    np.testing.assert_allclose(sizes[0].shape(rim), [[0, 0.5, 0], [0, 0, -0.5]])


def test_what_a_standard_does_not_say_is_told() -> None:
    assert missing(section("SHS 40x40x3")) == ()
    assert "bow" in missing(section("FLAT 40x6"))


SHAPES = [
    shapes.shifted(UP), shapes.turned((1, 2, 3), UP), shapes.sized((0, 0, 0), UP, 40),
    shapes.longer((0, 0, 0), (400, 0, 0)), shapes.askew((0, 0, 0), (400, 0, 0), UP),
    shapes.skewed((0, 0, 0), UP, BACK), shapes.bowed((0, 0, 0), (400, 0, 0), UP),
    shapes.twisted((0, 0, 0), (400, 0, 0), 40.0), shapes.thicker((0, 0, 0), (400, 0, 0), 40.0),
]  # fmt: skip


def test_shapes_by_hand() -> None:
    spot = np.array([[400.0, 20, 20], [0.0, 20, 20], [200.0, -20, 20]])
    degree = math.radians(1)
    wanted: list[list[tuple[float, ...]]] = [
        [(0, 0, 1), (0, 0, 1), (0, 0, 1)],
        [(-18 * degree, 399 * degree, 0), (-18 * degree, -degree, 0), (22 * degree, 199 * degree, 0)],
        [(0, 0, 0.5), (0, 0, 0.5), (0, 0, 0.5)],
        [(1, 0, 0), (0, 0, 0), (0, 0, 0)],
        [(-20 * degree, 0, 0), (0, 0, 0), (0, 0, 0)],
        [(0, 0, 20 * degree), (0, 0, 20 * degree), (0, 0, -20 * degree)],
        [(0, 0, 0), (0, 0, 0), (0, 0, 1)],
        [(0, -0.25, 0.25), (0, 0.25, -0.25), (0, 0, 0)],
        [(0, 0.5, 0.5), (0, 0.5, 0.5), (0, -0.5, 0.5)],
    ]
    for shape, moves in zip(SHAPES, wanted, strict=True):
        np.testing.assert_allclose(shape(spot), moves, atol=1e-12)
