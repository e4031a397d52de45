"""Lines of sight to the arc: closed forms of walls and nozzles, and a plain search against the torch's own shape."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from fixture3d.access.access import answer
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.sight import ACROSS, ALONG, EYE, FROM, LINE_RADIUS, past_torch, seen, views
from fixture3d.access.torch import Technique
from fixture3d.access.torch_space import torch_body
from fixture3d.access.welds import WeldPoints
from tests.access_oracle import Body, box

UPRIGHT = Technique(name="t", torch="mig-straight", work_angle=(0, 0), travel_angle=(0, 0), stand_off=15)
"""The nozzle hides all within atan(10 / 15) = 33.7 degrees of its axis: of the lines that lean 20 along the weld only
those 40 across are left, acos(cos 20 cos 40) = 44 degrees off it. Seen from the side they are the steepest."""
LEAN = math.radians(min(ALONG))
STEEPEST = math.atan2(math.sin(LEAN), math.cos(LEAN) * math.cos(math.radians(max(ACROSS))))


def line(*along: float) -> WeldPoints:
    return WeldPoints(
        points=np.array([[x, 0.0, 0.0] for x in along]),
        frames=np.stack([np.eye(3)] * len(along)),
        lengths=np.full(len(along), 5.0),
        along=np.array(along),
        joined=np.ones(len(along) - 1, dtype=bool),
    )


def is_seen(bodies: Sequence[Body], how: Technique = UPRIGHT) -> tuple[bool, dict[str, int]]:
    """Whether the arc is seen at the origin, with every position free, and who stops lines."""
    window = how.window()
    obstacles = Obstacles.build(bodies)
    torch = torch_body(SHIPPED[how.torch], how.stand_off)
    free = np.ones((1, *window.shape), np.uint8)
    found, stopped = seen(obstacles, torch, line(0.0), window, free, how.work[0])
    return bool(found[0]), dict(zip(obstacles.names, stopped.tolist(), strict=True))


FLOOR: Body = ("floor", *box((-500, -500, -20), (500, 500, 0)), True)


@pytest.mark.parametrize("gap", [40.0, 60.0, 80.0])
def test_walls_across_the_weld_hide_it_above_a_height(gap: float) -> None:
    """A line at angle a off upright passes over an edge at (d, h) by d cos a - h sin a."""
    height = (gap * math.cos(STEEPEST) - LINE_RADIUS) / math.sin(STEEPEST)
    for off, clear in ((-0.02, True), (0.02, False)):
        walls: list[Body] = [
            FLOOR,
            ("left", *box((-gap - 20, -400, 0), (-gap, 400, height + off)), True),
            ("right", *box((gap, -400, 0), (gap + 20, 400, height + off)), True),
        ]
        found, stopped = is_seen(walls)
        assert found is clear
        assert (stopped["left"] > 0) is not clear
        assert stopped["left"] == stopped["right"]


def test_walls_beyond_the_eye_hide_nothing() -> None:
    """The line that leans least ends 300 sin(20) = 103 mm along the weld."""
    for gap, clear in ((EYE * math.sin(LEAN) + 1.0, True), (EYE * math.sin(LEAN) - 1.0, False)):
        walls: list[Body] = [
            (name, *box((low, -600, 0), (low + 20, 600, 600)), True) for name, low in (("a", gap), ("b", -gap - 20))
        ]
        assert is_seen(walls)[0] is clear


def test_either_side_will_do() -> None:
    for low, high in (((20, -600, 0), (40, 600, 600)), ((-40, -600, 0), (-20, 600, 600))):
        assert is_seen([FLOOR, ("wall", *box(low, high), True)])[0]


@pytest.mark.parametrize("stand_off", [2.0, 15.0])
def test_a_nozzle_close_to_the_work_hides_the_arc(stand_off: float) -> None:
    """At 2 mm a nozzle of 20 hides all within 78.7 degrees of its axis, and no eye looks in from further off."""
    how = Technique(name="t", torch="mig-straight", work_angle=(0, 0), travel_angle=(0, 0), stand_off=stand_off)
    assert is_seen([FLOOR], how)[0] is (stand_off > 10)


def test_points_that_are_not_reached_are_not_seen_and_blame_nobody() -> None:
    window = UPRIGHT.window()
    torch = torch_body(SHIPPED["mig-straight"], 15.0)
    free = np.ones((3, *window.shape), np.uint8)
    free[1] = 0
    found, stopped = seen(Obstacles.build([FLOOR]), torch, line(0.0, 5.0, 10.0), window, free, 0.0)
    assert found.tolist() == [True, False, True]
    assert stopped.tolist() == [0]


@pytest.mark.parametrize("technique", ["corner", "tig-corner", "butt"])
def test_lines_pass_the_torch_as_a_plain_search_says(technique: str) -> None:
    """Points every 0.25 mm along each line, tested against the flat-ended cylinder and the capsules one by one."""
    how = TECHNIQUES[technique]
    torch, window = torch_body(SHIPPED[how.torch], how.stand_off), how.window(rolls=4)
    lines = views(how.work[0])
    away = np.arange(FROM, EYE, 0.25)
    rng = np.random.default_rng(1)
    axes, xs = window.local_axes()
    blocked = 0
    for direction in rng.choice(len(axes), 4, replace=False):
        for mirrored in (False, True):
            found = past_torch(torch, window, int(direction), how.work[0], mirrored)
            for r, roll in enumerate(np.deg2rad(window.rolls)):
                z, x0 = axes[direction], xs[direction]
                y0 = np.cross(z, x0) * (-1.0 if mirrored else 1.0)
                x = math.cos(roll) * x0 + math.sin(roll) * y0
                y = math.cos(roll) * y0 - math.sin(roll) * x0
                for v, way in enumerate(lines):
                    at = away[:, None] * np.array([way @ x, way @ y, way @ z])
                    beyond = (at[:, 2] >= torch.stand_off) & (at[:, 2] <= torch.stand_off + torch.nozzle_length)
                    room = np.where(beyond, np.hypot(at[:, 0], at[:, 1]) - torch.nozzle_radius, np.inf)
                    for a, b, radius in zip(torch.starts, torch.ends, torch.radii, strict=True):
                        f = np.clip((at - a) @ (b - a) / max(float((b - a) @ (b - a)), 1e-12), 0.0, 1.0)
                        room = np.minimum(room, np.linalg.norm(at - a - f[:, None] * (b - a), axis=1) - radius)
                    if abs(room.min()) > 0.15:
                        assert found[r, v] == (room.min() > 0.0), (direction, roll, way)
                        blocked += not found[r, v]
    assert blocked > 20


def test_what_hides_the_arc_is_part_of_the_answer() -> None:
    """Along a tee with two walls across it, low enough for the torch at the middle."""
    bodies: list[Body] = [
        ("plate", *box((-150, -5, -5), (150, 150, 0)), True),
        ("upright", *box((-150, -5, -5), (150, 0, 150)), True),
    ]
    how = TECHNIQUES["corner"]
    torch, window = torch_body(SHIPPED["mig-60"], how.stand_off), how.window()
    weld = line(*np.arange(-25.0, 30.0, 5.0))
    open_ = answer(Obstacles.build(bodies), torch, weld, window, ("plate", "upright"))
    assert (open_.unseen, open_.hiders) == ((), ())
    walls: list[Body] = [
        ("west", *box((-80, 0, 0), (-75, 300, 300)), True),
        ("east", *box((75, 0, 0), (80, 300, 300)), True),
    ]
    closed = answer(Obstacles.build([*bodies, *walls]), torch, weld, window, ("plate", "upright"))
    assert closed.reachable > 0.0
    assert closed.unseen != ()
    assert {name for name, _ in closed.hiders} >= {"west", "east"}
    assert sum(share for _, share in closed.hiders) == pytest.approx(1.0)
