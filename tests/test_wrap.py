"""Carrying the torch round a corner of the path, and the last of several passes, against closed forms."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from fixture3d.access.access import WeldAccess, answer
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.torch_space import TorchBody, torch_body
from fixture3d.access.welds import Weld, weld_points
from fixture3d.access.wrap import CORNER_STEP, SINGLE_PASS, between, on_the_bead, passes_of
from tests.access_oracle import Body, box, circle, moved, prism, turned


def round_a_box(*, inside: bool = False) -> Weld:
    """Along the front of a box on a floor and up its right side; or along two walls of a tray."""
    out = -1.0 if inside else 1.0
    return Weld(
        name="w",
        type="fillet",
        joins=("floor", "box"),
        size=4.0,
        path=np.array([[-60.0, 0, 0], [0, 0, 0], [0, 60.0, 0]]),
        technique="",
        sides=np.array([[[0, 0, 1], [0, -out, 0]], [[0, 0, 1], [out, 0, 0]]], dtype=float),
    )


FLOOR: Body = ("floor", *box((-400, -400, -20), (400, 400, 0)), True)
BOX: Body = ("box", *box((-200, 0, 0), (0, 200, 100)), True)


def test_frames_round_a_corner_are_evenly_turned() -> None:
    weld = weld_points(round_a_box())
    corner = int(np.flatnonzero(~weld.joined)[0])
    before, after = weld.frames[corner], weld.frames[corner + 1]
    frames = between(before, after)
    assert frames is not None
    assert len(frames) == 90 / CORNER_STEP + 1
    assert frames[0] == pytest.approx(before)
    assert frames[-1] == pytest.approx(after)
    for k, axes in enumerate(frames):
        assert axes[:, 2] == pytest.approx([0, 0, 1])
        way = math.radians(CORNER_STEP * k)
        assert axes[:, 0] == pytest.approx([math.cos(way), math.sin(way), 0], abs=1e-9)


def test_frames_of_any_two_turns_keep_to_the_step_and_mirrors_have_no_way() -> None:
    rng = np.random.default_rng(3)
    for _ in range(50):
        before, after = turned(rng), turned(rng)
        frames = between(before, after)
        assert frames is not None
        assert frames[-1] == pytest.approx(after, abs=1e-7)
        for a, b in pairwise(frames):
            assert math.degrees(math.acos(min(1.0, (np.trace(b @ a.T) - 1) / 2))) <= CORNER_STEP + 1e-6
    assert between(np.eye(3), np.diag([1.0, -1.0, 1.0])) is None
    assert between(np.eye(3), np.diag([-1.0, -1.0, 1.0])) is None


def ask(bodies: Sequence[Body], weld: Weld, technique: str = "corner") -> WeldAccess:
    how = TECHNIQUES[technique]
    torch, points = torch_body(SHIPPED[how.torch], how.stand_off), weld_points(weld)
    return answer(Obstacles.build(bodies), torch, points, how.window(), weld.joins)


def test_an_open_corner_can_be_carried_round_and_a_post_before_it_forbids_it() -> None:
    """A thin post on the diagonal, 40 mm out, leaves both sides free; but every nozzle passes through the diagonal."""
    weld = round_a_box()
    free = ask([FLOOR, BOX], weld)
    assert free.corners == ((60.0, True),)
    assert [(run.start, run.end) for run in free.runs] == [(0.0, 60.0), (60.0, 120.0)]
    post: Body = ("post", *moved(prism(circle(6.0, 24), 0, 300), np.eye(3), (28, -28, 0)), True)
    stopped = ask([FLOOR, BOX, post], weld)
    assert stopped.reachable == stopped.length
    assert stopped.corners == ((60.0, False),)


def test_a_straight_path_has_no_corner() -> None:
    weld = replace(round_a_box(), path=np.array([[-60.0, 0, 0], [0, 0, 0]]), sides=round_a_box().sides[:1])
    assert ask([FLOOR, BOX], weld).corners == ()


# --- passes --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "passes", "count"),
    [(SINGLE_PASS, 0, 1), (SINGLE_PASS + 0.01, 0, 2), (4.0, 3, 3), (12.0, 1, 1), (0.0, 0, 1)],
)
def test_how_many_passes(size: float, passes: int, count: int) -> None:
    assert passes_of(replace(round_a_box(), size=size, passes=passes)) == count


@pytest.mark.parametrize("opening", [60.0, 90.0, 120.0])
def test_the_bead_is_a_triangle_of_its_leg(opening: float) -> None:
    """Two passes of equal area: the first has a leg of size / sqrt 2 and a throat of leg * cos(opening / 2)."""
    wall = math.radians(90.0 + opening)
    weld = Weld(
        name="w", type="fillet", joins=("a", "b"), size=10.0, technique="", passes=2,
        path=np.array([[0.0, 0, 0], [20.0, 0, 0]]),
        sides=np.array([[0, 0, 1], [0, -math.cos(wall), -math.sin(wall)]]),
    )  # fmt: skip
    made = on_the_bead(weld, weld_points(weld))
    assert made is not None
    raised, (name, vertices, faces, closed) = made
    assert (name, closed) == ("bead of w", False)
    leg = 10.0 / math.sqrt(2.0)
    throat = leg * math.cos(math.radians(opening / 2.0))
    assert np.linalg.norm(raised.points[:, 1:], axis=1) == pytest.approx(np.full(5, throat))
    corners = np.asarray(vertices)[np.asarray(faces)]
    assert np.linalg.norm(corners[..., 1:], axis=-1) == pytest.approx(np.full(corners.shape[:2], leg))
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum() / 2.0
    assert area == pytest.approx(20.0 * 2.0 * leg * math.sin(math.radians(opening / 2.0)))
    for kind in ("butt", "edge"):
        assert on_the_bead(replace(weld, type=kind), weld_points(weld)) is None
    assert on_the_bead(replace(weld, passes=1), weld_points(weld)) is None


@pytest.mark.parametrize(("off", "reached"), [(0.02, True), (-0.02, False)])
def test_the_last_pass_stands_out_by_the_throat(off: float, reached: bool) -> None:
    """A nozzle alone at 45 degrees under a roof: its highest rim is (s + L + throat) cos 45 + r sin 45 up."""
    margin, root2 = 0.05, math.sqrt(2.0)
    torch = TorchBody(
        stand_off=15.0 + margin, nozzle_radius=10.0 - margin, nozzle_length=60.0 - 2 * margin,
        starts=np.zeros((0, 3)), ends=np.zeros((0, 3)), radii=np.zeros(0), labels=(),
    )  # fmt: skip
    weld = replace(
        round_a_box(), size=10.0, passes=2, path=np.array([[-40.0, 0, 0], [-20.0, 0, 0]]), sides=round_a_box().sides[0]
    )
    throat = 10.0 / root2 / root2
    roof: Body = ("roof", *box((-400, -400, (75 + 10 + throat) / root2 + off), (400, -20, 200)), True)
    window = replace(TECHNIQUES["corner"], work_angle=(45, 0), travel_angle=(0, 0)).window(rolls=1)
    points = weld_points(weld)
    found = answer(Obstacles.build([FLOOR, BOX, roof]), torch, points, window, later=on_the_bead(weld, points))
    assert found.reachable == pytest.approx(20.0)
    assert found.last_pass == pytest.approx(20.0 if reached else 0.0)
    again = WeldAccess.from_dict(found.to_dict())
    assert again == found
