"""The hand that feeds filler: closed forms of walls ahead of it, and of the torch beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from fixture3d.access.access import answer
from fixture3d.access.filler import (
    HAND_AT,
    HAND_DIAMETER,
    HAND_LENGTH,
    apart,
    feed_of,
    feeding,
    segment_gaps,
    with_feeding,
)
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.torch_space import torch_body, with_wire
from fixture3d.access.welds import WeldPoints
from tests.access_oracle import Body, box

TIG = replace(TECHNIQUES["tig-corner"], filler_angle=(15, 15))
MARGIN = 0.05


def at(*along: float) -> WeldPoints:
    """Points of a weld along X between a floor with normal +Z and a wall with normal +Y."""
    frame = np.column_stack([[1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]])
    return WeldPoints(
        points=np.array([[x, 0.0, 0.0] for x in along]),
        frames=np.stack([frame] * len(along)),
        lengths=np.full(len(along), 5.0),
        along=np.array(along),
        joined=np.ones(len(along) - 1, dtype=bool),
    )


def hand_clear(bodies: Sequence[Body], way: int) -> bool:
    feed = feed_of(TIG)
    assert feed is not None
    line = at(0.0)
    return bool(feeding(Obstacles.build(bodies), feed, line.points, line.frames, MARGIN)[0, way, 0])


def test_a_wall_ahead_stops_the_hand_at_its_farthest_point() -> None:
    """Hand of radius 45 whose far end is 260 along the rod at 15 degrees: 260 cos 15 + 45 ahead of the arc."""
    far = (HAND_AT + HAND_LENGTH) * math.cos(math.radians(15)) + HAND_DIAMETER / 2 + MARGIN
    for off, clear in ((0.01, True), (-0.01, False)):
        wall: list[Body] = [("wall", *box((far + off, -400, -400), (far + 20, 400, 400)), True)]
        assert hand_clear(wall, 0) is clear
        assert hand_clear(wall, 1)  # going the other way the wall is behind
        behind: list[Body] = [("wall", *box((-far - 20, -400, -400), (-far - off, 400, 400)), True)]
        assert hand_clear(behind, 1) is clear
        assert hand_clear(behind, 0)


def test_the_corners_own_faces_leave_rod_and_hand_room_above_a_limit() -> None:
    """The hand's lowest point over a floor: 200 sin(a) cos(45) - 45, which at 15 degrees is below it.

    sin(a) = 45.05 / (200 cos 45) gives 18.58 degrees.
    """
    limit = math.degrees(math.asin((HAND_DIAMETER / 2 + MARGIN) / (HAND_AT * math.cos(math.radians(45)))))
    floor: list[Body] = [("floor", *box((-500, -500, -20), (500, 500, 0)), True)]
    line = at(0.0)
    for off, clear in ((0.01, True), (-0.01, False)):
        feed = feed_of(replace(TIG, filler_angle=(limit + off, limit + off)))
        assert feed is not None
        found = feeding(Obstacles.build(floor), feed, line.points, line.frames, MARGIN)
        assert found.ravel().tolist() == [clear, clear]


def test_a_steeper_hand_is_tried_where_the_usual_one_is_stopped() -> None:
    feed = feed_of(replace(TIG, filler_angle=(15, 60)))
    assert feed is not None
    assert feed.angles.tolist() == [15.0, 30.0, 45.0, 60.0]
    near = 250.0 * math.cos(math.radians(45)) + 45.0
    wall: list[Body] = [("wall", *box((near, -400, 30), (near + 20, 400, 400)), True)]
    line = at(0.0)
    clear = feeding(Obstacles.build(wall), feed, line.points, line.frames, MARGIN)[0]
    assert clear[0].tolist() == [False, False, False, True]
    assert clear[1].all()
    # One angle is enough for the positions of that way of travel.
    window = TIG.window()
    torch = torch_body(SHIPPED["tig-straight"], TIG.stand_off)
    free = np.ones((1, *window.shape), np.uint8)
    fed, lost = with_feeding(Obstacles.build(wall), feed, torch, line, window, free, MARGIN)
    assert fed[0][:, dict(window.runs)[1]].any()
    assert lost.tolist() == [0]


def test_the_wall_that_stops_the_hand_is_named_and_runs_lead_away_from_it() -> None:
    bodies: list[Body] = [
        ("plate", *box((-600, -5, -5), (600, 300, 0)), True),
        ("upright", *box((-600, -5, -5), (600, 0, 300)), True),
        ("wall", *box((220, 0, 0), (240, 300, 300)), True),
    ]
    how = TECHNIQUES["tig-corner"]
    torch, window = torch_body(SHIPPED["tig-straight"], how.stand_off), how.window()
    line = at(*np.arange(0.0, 105.0, 5.0))
    obstacles = Obstacles.build(bodies)
    without = answer(obstacles, torch, line, window, ("plate", "upright"))
    found = answer(obstacles, torch, line, window, ("plate", "upright"), feed=feed_of(how))
    assert found.reachable == without.reachable == pytest.approx(105.0)
    assert found.blocked > without.blocked
    assert dict(found.blockers)["wall"] > dict(without.blockers).get("wall", 0.0)
    assert [run.direction for run in without.runs] == ["forward"]
    # Forward the hand runs into the wall, so the run that covers all of it goes back along the path.
    assert [run.direction for run in found.runs] == ["back"]


def test_torch_and_hand_keep_apart() -> None:
    """A neck that bends ahead puts its handle where the feeding hand is; one that bends back does not."""
    how = TECHNIQUES["tig-corner"]
    feed = feed_of(how)
    assert feed is not None
    window = how.window()
    room = apart(feed, with_wire(torch_body(SHIPPED["tig-long-cap"], how.stand_off)), window, False)
    room = room.reshape(2, len(feed.angles), *window.shape)
    ways = dict(window.runs)
    ahead, back = room[0][:, 3, ways[1], 0], room[0][:, 3, ways[1], 6]
    assert back.all()
    assert not ahead.all()
    # The mirror image: travel the other way, turned the other way round.
    other = room[1][:, 3, ways[-1]]
    assert not other[:, :, 6].all()
    assert other[:, :, 0].all()


def test_mirrored_frames_turn_the_handle_the_other_way() -> None:
    how = TECHNIQUES["tig-corner"]
    feed, window = feed_of(how), how.window()
    assert feed is not None
    torch = torch_body(SHIPPED["tig-long-cap"], how.stand_off)
    one, other = (apart(feed, torch, window, mirrored) for mirrored in (False, True))
    assert np.array_equal(one, other[..., -np.arange(12) % 12])
    assert not np.array_equal(one, other)


def test_segment_gaps_equal_a_plain_search() -> None:
    rng = np.random.default_rng(2)
    f = np.linspace(0.0, 1.0, 201)
    for _ in range(60):
        p, q, a, b = rng.normal(size=(4, 3)) * rng.choice([1.0, 5.0])
        if rng.random() < 0.2:
            q = p + (b - a) * rng.normal()
        one, other = p + f[:, None] * (q - p), a + f[:, None] * (b - a)
        plain = np.linalg.norm(one[:, None] - other[None], axis=2).min()
        assert segment_gaps(p, q, a, b) == pytest.approx(plain, abs=0.03)
        assert float(segment_gaps(p, q, a, b)) <= plain + 1e-9
    assert segment_gaps([0, 0, 0], [0, 0, 0], [1, 0, 0], [1, 2, 0]) == pytest.approx(1.0)
