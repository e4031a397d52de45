from __future__ import annotations

import json
import math
import multiprocessing
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from fixture3d.access import compiling, threads
from fixture3d.access.access import WeldAccess, answer
from fixture3d.access.best import COMFORT, ROOM, clearance, roomiest, torch_turn
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.sweep import blame, reach_box, sweep
from fixture3d.access.torch import Technique
from fixture3d.access.torch_space import TorchBody, torch_body
from fixture3d.access.warm import warm_up
from fixture3d.access.welds import Weld, WeldPoints, weld_points
from fixture3d.access.window import Window
from fixture3d.tolerance import SHOP
from tests.access_oracle import Body, FclTorch, box, circle, moved, prism, tube, turned, within

Array = NDArray[np.float64]
ROOT = Path(__file__).resolve().parents[1]

BAND = 1e-3
"""mm either side of contact in which python-fcl is not asked."""
MARGIN = SHOP.torch_margin


def one_position(work: float = 0.0) -> Window:
    """The window of a single position: work angle ``work``, no lean, no roll."""
    technique = Technique(
        name="one", torch="mig-60", work_angle=(work, 0), travel_angle=(0, 0), stand_off=15, direction="forward"
    )
    return technique.window(rolls=1)


def verdicts(bodies: Sequence[Body], torch: TorchBody, points: Array, turns: Array) -> NDArray[np.bool_]:
    """Whether each torch, given by its root and its axes (columns), is free."""
    obstacles = Obstacles.build(bodies)
    # Tangent, sideways and normal are the torch's X, Y and Z at work angle 0.
    free = sweep(obstacles, torch, points, turns, one_position()).free
    return np.asarray(free[:, 0, 0, 0] == 1)


def straight(name: str, joins: tuple[str, str], start: Sequence[float], end: Sequence[float], sides: object) -> Weld:
    return Weld(
        name=name,
        type="fillet",
        joins=joins,
        size=4.0,
        path=np.array([start, end], dtype=np.float64),
        technique="corner",
        sides=np.asarray(sides, dtype=np.float64),
    )


def tee() -> tuple[list[Body], WeldPoints]:
    """An upright on a plate with a weld of 100 mm, a post near it and one far away."""
    bodies: list[Body] = [
        ("plate", *box((-150, -150, -10), (150, 150, 0)), True),
        ("upright", *box((-100, -5, 0), (100, 0, 100)), True),
        ("post", *moved(prism(circle(15, 24), 0, 120), np.eye(3), (10, 60, 0)), True),
        ("far post", *box((3000, 0, 0), (3050, 50, 100)), True),
    ]
    weld = straight("w", ("plate", "upright"), (-50, 0, 0), (50, 0, 0), [[0, 0, 1], [0, 1, 0]])
    return bodies, weld_points(weld)


# --- against python-fcl ------------------------------------------------------------------------------------------


def crowd(rng: np.random.Generator) -> list[Body]:
    """Thirty solids in all directions and an open sheet."""
    bodies: list[Body] = []
    for i in range(30):
        shape = (
            box(-rng.uniform(10, 60, 3), rng.uniform(10, 60, 3)),
            prism(circle(rng.uniform(8, 60), 48), 0.0, rng.uniform(20, 200)),
            tube(rng.uniform(40, 120), rng.uniform(40, 120), rng.uniform(2, 8), rng.uniform(100, 400)),
            # Large enough to swallow a torch whole.
            box((-300, -250, -250), (300, 250, 250)),
        )[3 if i < 2 else i % 3]
        offset = rng.uniform((0, 0, 0), (1200, 1200, 500))
        bodies.append((f"body {i}", *moved(shape, turned(rng), offset), True))
    sheet = box((-500, -500, -10), (1700, 1700, -5))
    bodies.append(("sheet", sheet[0], sheet[1][:-2], False))
    return bodies


def stratified(loop: FclTorch, rng: np.random.Generator, count: int) -> tuple[Array, Array]:
    """Torches: half anywhere, half within 2 mm of contact, a quarter of all within 0.02 mm of it."""
    points = rng.uniform((0, 0, 0), (1200, 1200, 600), (count // 2, 3))
    turns = np.stack([turned(rng) for _ in range(count // 2)])
    near_points: list[Array] = []
    near_turns: list[Array] = []
    each = 5
    while len(near_points) < count // 2:
        turn, point = turned(rng), rng.uniform((0, 0, 0), (1200, 1200, 600))
        way = turn @ rng.normal(size=3)
        way *= 80.0 / np.linalg.norm(way)
        low, high = 0.0, 1.0
        state = loop.touches(point, turn)
        if state == loop.touches(point + way, turn):
            continue
        for width in (2.0, 0.02):
            while (high - low) * 80.0 > width:
                middle = (low + high) / 2.0
                low, high = (middle, high) if loop.touches(point + middle * way, turn) == state else (low, middle)
            near_points += [point + f * way for f in rng.uniform(low, high, each)]
            near_turns += [turn] * each
    return np.vstack([points, *near_points]), np.concatenate([turns, np.stack(near_turns)])


@pytest.mark.parametrize("torch", ["mig-60", "tig-straight"])
def test_20000_positions_agree_with_python_fcl(torch: str) -> None:
    """python-fcl (surfaces) and van Oosterom and Strackee's solid angle (insides) are the outside references."""
    rng = np.random.default_rng(20261125)
    bodies = crowd(rng)
    body = torch_body(SHIPPED[torch], 15.0)
    count = 16_000 if torch == "mig-60" else 4_000
    points, turns = stratified(FclTorch(bodies, body, MARGIN), rng, count)
    nearer, further = FclTorch(bodies, body, MARGIN - BAND), FclTorch(bodies, body, MARGIN + BAND)
    least = np.array([nearer.touches(p, t) for p, t in zip(points, turns, strict=True)])
    most = np.array([further.touches(p, t) for p, t in zip(points, turns, strict=True)])
    inside = further.inside(points, turns) & ~most
    outside_band = least == most
    expected = ~(most | inside)
    found = verdicts(bodies, body, points, turns)
    wrong = np.flatnonzero((found != expected) & outside_band)
    assert len(points) >= count
    assert 0.3 < float(expected.mean()) < 0.7
    assert int(inside.sum()) > 20, "some torches must lie wholly within a solid"
    assert float(outside_band.mean()) > 0.9
    assert len(wrong) == 0, f"{len(wrong)} of {len(points)} differ, first {wrong[:5]}"


@pytest.mark.parametrize(("name", "count"), [("corner", 3000), ("tig-corner", 1000), ("stick-corner", 1000)])
def test_a_whole_window_agrees_with_python_fcl(name: str, count: int) -> None:
    bodies, weld = tee()
    # The post leaves a larger holder next to nothing.
    bodies = bodies if name == "corner" else bodies[:2]
    technique = TECHNIQUES[name]
    torch, window = torch_body(SHIPPED[technique.torch], technique.stand_off), technique.window()
    free = sweep(Obstacles.build(bodies), torch, weld.points, weld.frames, window).free
    nearer, further = FclTorch(bodies, torch, MARGIN - BAND), FclTorch(bodies, torch, MARGIN + BAND)
    seen = 0
    for index in np.linspace(0, free.size - 1, count).astype(int):
        p, w, t, r = (int(i) for i in np.unravel_index(index, free.shape))
        turn = torch_turn(weld.frames[p], window, w, t, r)
        least, most = nearer.touches(weld.points[p], turn), further.touches(weld.points[p], turn)
        if least == most:
            seen += 1
            assert (free[p, w, t, r] == 1) == (not most), (p, w, t, r)
    assert seen > 0.96 * count
    assert 0.02 < free.mean() < 0.8


# --- closed forms --------------------------------------------------------------------------------------------------


def bare(diameter: float, stand_off: float, length: float = 60.0) -> TorchBody:
    """A nozzle alone, less the margin, so that the grown one has exactly the measures asked for."""
    return TorchBody(
        stand_off=stand_off + MARGIN,
        nozzle_radius=diameter / 2.0 - MARGIN,
        nozzle_length=length - 2.0 * MARGIN,
        starts=np.zeros((0, 3)),
        ends=np.zeros((0, 3)),
        radii=np.zeros(0),
        labels=(),
    )


def is_free(bodies: Sequence[Body], torch: TorchBody, work: float, at: Sequence[float] = (0, 0, 0)) -> bool:
    """One nozzle, weld along +X, floor normal +Z, leaning towards +Y by ``work``."""
    frame = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])[None]
    points = np.asarray([at], dtype=np.float64)
    free = sweep(Obstacles.build(bodies), torch, points, frame, one_position(work)).free
    return bool(free[0, 0, 0, 0])


@pytest.mark.parametrize("diameter", [15.0, 20.0, 25.0])
@pytest.mark.parametrize("stand_off", [10.0, 12.0, 15.0, 20.0])
def test_floor_angle(diameter: float, stand_off: float) -> None:
    """A nozzle with a square rim meets a wall through the root at tan(theta) = D / 2s: plane trigonometry."""
    limit = math.degrees(math.atan2(diameter, 2.0 * stand_off))
    wall: list[Body] = [("wall", *box((-200, -20, -200), (200, 0, 200)), True)]
    floor: list[Body] = [("floor", *box((-200, -200, -20), (200, 200, 0)), True)]
    torch = bare(diameter, stand_off)
    for off, free in ((0.01, True), (-0.01, False)):
        assert is_free(wall, torch, limit + off) is free
        assert is_free(floor, torch, 90.0 - limit - off) is free


@pytest.mark.parametrize("diameter", [16.0, 20.0])
def test_nozzle_between_two_walls(diameter: float) -> None:
    """Upright in a groove: free when the groove is wider than the nozzle, whatever the walls' triangles."""
    for width, free in ((diameter + 0.002, True), (diameter - 0.002, False)):
        walls: list[Body] = [
            ("left", *box((-200, -40, -5), (200, -width / 2, 90)), True),
            ("right", *box((-200, width / 2, -5), (200, 40, 90)), True),
            ("floor", *box((-200, -40, -20), (200, 40, 0)), True),
        ]
        assert is_free(walls, bare(diameter, 15.0), 0.0) is free


@pytest.mark.parametrize(("width", "height"), [(40.0, 25.0), (60.0, 50.0), (30.0, 12.0)])
def test_nozzle_over_a_top_edge(width: float, height: float) -> None:
    """At 45 degrees the axis passes a top edge at |w - h| / sqrt 2; as far up as (w + h) / sqrt 2."""
    gap = abs(width - height) / math.sqrt(2.0)
    up = (width + height) / math.sqrt(2.0)
    block: list[Body] = [("block", *box((-200, width, -50), (200, width + 80, height)), True)]
    for off, free in ((0.002, True), (-0.002, False)):
        assert is_free(block, bare(2.0 * (gap - off), 10.0, 200.0), 45.0) is free
    # A nozzle too thick for the edge that starts beyond it, or ends before it, does not meet it on its side.
    assert not is_free(block, bare(2.0 * gap + 1.0, up - 1.0, 50.0), 45.0)
    assert is_free(block, bare(2.0 * gap + 1.0, up - 1.0 - 40.0, 40.0 + 1.0 - 1.0), 45.0)


def test_nozzle_under_an_overhang() -> None:
    """Upright under a plate at height h: free when stand-off and length together stay below it."""
    roof: list[Body] = [("roof", *box((-50, -50, 100), (50, 50, 110)), True)]
    assert is_free(roof, bare(20.0, 15.0, 84.99), 0.0)
    assert not is_free(roof, bare(20.0, 15.0, 85.01), 0.0)


def test_torch_within_a_solid_is_not_free() -> None:
    torch = torch_body(SHIPPED["mig-60"], 15.0)
    big = box((-500, -500, -500), (500, 500, 500))
    assert not is_free([("solid", *big, True)], torch, 0.0)
    assert is_free([("shell", *big, False)], torch, 0.0)
    assert not is_free([("inside out", big[0], big[1][:, ::-1], True)], torch, 0.0)
    # In the hollow of a closed body the torch is free.
    hollow = box((-400, -400, -400), (400, 400, 400))
    both = (np.vstack([big[0], hollow[0]]), np.vstack([big[1], hollow[1][:, ::-1] + len(big[0])]))
    assert is_free([("room", *both, True)], torch, 0.0)


# --- clearance -----------------------------------------------------------------------------------------------------


def test_clearance_over_a_floor_is_that_of_the_rim() -> None:
    """Lowest point of the front rim: s cos(w) - r sin(w), less than any other part's."""
    bodies: list[Body] = [("floor", *box((-500, -500, -20), (500, 500, 0)), True)]
    obstacles = Obstacles.build(bodies)
    weld = weld_points(straight("w", ("floor", "x"), (0, 0, 0), (5, 0, 0), [[0, 0, 1], [0, 1, 0]]))
    torch = torch_body(SHIPPED["mig-60"], 15.0)
    for work in (0.0, 10.0, 30.0):
        room = clearance(obstacles, torch, weld, one_position(work), (0, 0, 0, 0))
        expected = 15.0 * math.cos(math.radians(work)) - 10.0 * math.sin(math.radians(work))
        assert room == pytest.approx(expected, abs=1e-6)
        spared = clearance(obstacles, torch, weld, one_position(work), (0, 0, 0, 0), ["floor"])
        assert spared > room + 10.0


def test_clearance_agrees_with_the_verdict_of_a_grown_torch() -> None:
    """Growing every capsule by a little less than the clearance keeps the torch free, by a little more blocks it."""
    rng = np.random.default_rng(5)
    bodies = crowd(rng)
    obstacles = Obstacles.build(bodies)
    torch = torch_body(SHIPPED["mig-45"], 15.0)
    window = one_position()
    tried = 0
    while tried < 150:
        point, turn = rng.uniform((0, 0, 0), (1200, 1200, 600)), turned(rng)
        at = WeldPoints(
            points=point[None],
            frames=turn[None],
            lengths=np.ones(1),
            along=np.zeros(1),
            joined=np.zeros(0, dtype=bool),
        )
        if not sweep(obstacles, torch, at.points, at.frames, window).free.all():
            continue
        room = clearance(obstacles, torch, at, window, (0, 0, 0, 0))
        if not MARGIN < room < 60.0:
            continue
        tried += 1
        # A flat-ended cylinder grown by m keeps a square rim, which is up to 0.41 m further out than m.
        assert sweep(obstacles, torch, at.points, at.frames, window, room / 1.42).free.all()
        assert not sweep(obstacles, torch, at.points, at.frames, window, room + 1e-5).free.any()
        loop = FclTorch(bodies, torch, 0.0)
        import fcl

        gaps = []
        for part, thing in zip(loop.parts, loop.objects, strict=True):
            thing.setTransform(fcl.Transform(turn @ part.turn, turn @ part.centre + point))
            gaps.append(fcl.distance(thing, loop.scene, fcl.DistanceRequest(), fcl.DistanceResult()))
        # python-fcl's distance is good to some hundredths here; its verdicts are compared more finely above.
        assert room == pytest.approx(min(gaps), abs=0.05)


def test_distance_of_cylinder_and_triangle_equals_a_plain_search() -> None:
    """The distance is convex over the triangle, so a plain search may zoom in on the best of a lattice."""
    from fixture3d.access import kernel

    rng = np.random.default_rng(8)
    lattice = np.array([(u, v) for u in np.linspace(0, 1, 21) for v in np.linspace(0, 1, 21)])
    height, radius = 20.0, 6.0
    settled = 0
    for _ in range(200):
        axes = np.ascontiguousarray(turned(rng))
        corners = rng.normal(scale=rng.choice([8.0, 30.0, 200.0]), size=(3, 3)) + rng.normal(scale=15.0, size=3)
        local = corners @ axes
        middle, step, best = np.array([0.5, 0.5]), 0.5, np.inf
        for _ in range(24):
            uv = np.clip(middle + (lattice - 0.5) * 2.0 * step, 0.0, 1.0)
            uv = np.where(uv.sum(axis=1)[:, None] > 1.0, uv / np.maximum(uv.sum(axis=1), 1e-12)[:, None], uv)
            at = local[0] + uv @ (local[1:] - local[0])
            out = np.maximum(np.hypot(at[:, 0], at[:, 1]) - radius, 0.0)
            over = np.maximum(np.maximum(-at[:, 2], at[:, 2] - height), 0.0)
            gaps = np.hypot(out, over)
            middle, step, best = uv[gaps.argmin()], step * 0.5, min(best, float(gaps.min()))
        tris = Obstacles.build([("triangle", corners, [[0, 1, 2]], False)]).tree[2]
        arguments = (tris, 0, 0.0, 0.0, 0.0, axes[:, 0], axes[:, 2], height, radius)
        assert kernel.cylinder_triangle(*arguments, math.inf) == pytest.approx(best, abs=1e-5)
        for most in (best - 0.5, best + 0.5):
            found = kernel.cylinder_triangle(*arguments, most)
            assert found > most if best > most else found == pytest.approx(best, abs=1e-5)
            settled += best > most > 0.0
    assert settled > 50


def test_the_roomiest_of_many_positions_is_the_one_with_most_clearance() -> None:
    bodies, weld = tee()
    obstacles = Obstacles.build(bodies)
    torch, window = torch_body(SHIPPED["mig-60"], 15.0), TECHNIQUES["corner"].window(work_step=10.0, rolls=6)
    free = sweep(obstacles, torch, weld.points, weld.frames, window).free
    at = np.argwhere(free.reshape(len(free), -1, len(window.rolls)))[::7]
    spared = np.array([name in ("plate", "upright") for name in obstacles.names], dtype=np.uint8)
    leans = len(window.leans)
    each = [
        clearance(obstacles, torch, weld, window, (p, d // leans, d % leans, r), ("plate", "upright")) for p, d, r in at
    ]
    index, room = roomiest(obstacles, torch, weld, window, at, spared, -1.0)
    assert len(at) > 100
    assert room == pytest.approx(max(each), abs=1e-6)
    assert each[index] == pytest.approx(room, abs=2e-6)
    assert roomiest(obstacles, torch, weld, window, at, spared, max(each) + 1.0)[0] == -1


# --- what follows --------------------------------------------------------------------------------------------------


def full(bodies: Sequence[Body], weld: WeldPoints, technique: str = "corner") -> WeldAccess:
    how = TECHNIQUES[technique]
    torch = torch_body(SHIPPED[how.torch], how.stand_off)
    obstacles = Obstacles.build(bodies, reach_box(torch, weld.points))
    return answer(obstacles, torch, weld, how.window(), ("plate", "upright"))


def test_answer_of_an_open_tee() -> None:
    weld = tee()[1]
    bodies: list[Body] = [
        ("plate", *box((-150, -5, -5), (150, 150, 0)), True),
        ("upright", *box((-150, -5, -5), (150, 0, 150)), True),
    ]
    found = full(bodies, weld)
    assert found.reachable == found.length == found.longest_run == 100.0
    assert found.run == (0, 20)
    assert [(run.first, run.last) for run in found.runs] == [(0, 20)]
    assert found.unreached == ()
    assert found.best is not None
    assert (found.best.work_angle, found.best.travel_angle) == (45.0, 10.0)
    assert found.best.clearance > 5.0
    assert np.linalg.norm(found.best.axis) == pytest.approx(1.0)
    # The corner is symmetric about 45 degrees, so each piece is in the way of as much.
    assert [name for name, _ in found.blockers] == ["plate", "upright"]
    assert found.blockers[0][1] == pytest.approx(found.blockers[1][1])


def test_best_is_near_nominal_but_not_tight() -> None:
    """A strip 1 mm beside the nozzle's way at nominal: a position a step off has more room and is the better one."""
    bodies, weld = tee()
    how = TECHNIQUES["corner"]
    torch, window = torch_body(SHIPPED["mig-60"], how.stand_off), how.window()
    # The nozzle's side at 45 degrees runs 10 mm from the axis; the strip's edge is 11 mm from it.
    along, off = 60.0 / math.sqrt(2.0), 11.0 / math.sqrt(2.0)
    corner = (along + off, along - off)
    strip: Body = ("strip", *box((-150, corner[0], corner[1] - 6), (150, corner[0] + 40, corner[1])), True)
    obstacles = Obstacles.build([*bodies[:2], strip])
    found = answer(obstacles, torch, weld, window, ("plate", "upright")).best
    assert found is not None
    assert found.clearance >= COMFORT
    assert (found.work_angle, abs(found.travel_angle - 10.0)) != (45.0, 0.0)
    # Plain search over all free positions confirms both the choice of angles and the figure.
    free = sweep(obstacles, torch, weld.points, weld.frames, window).free
    rooms = {
        tuple(at): clearance(obstacles, torch, weld, window, at, ("plate", "upright"))
        for at in np.argwhere(free)
        if window.cost[at[1], at[2]] <= 5.0
    }
    assert max(room for at, room in rooms.items() if window.cost[at[1], at[2]] == 0.0) < COMFORT
    assert max(rooms.values()) == pytest.approx(found.clearance, abs=1e-5)


def test_a_wall_across_the_corner_blocks_all_and_is_named() -> None:
    bodies, weld = tee()
    lid: Body = ("lid", *box((-150, 5, 5), (150, 150, 12)), True)
    found = full([*bodies, lid], weld)
    assert found.reachable == 0.0
    assert found.longest_run == 0.0
    assert found.run is None
    assert found.best is None
    assert found.blockers[0] == ("lid", 1.0)


def test_blame_counts_each_body_as_if_it_stood_alone() -> None:
    bodies, weld = tee()
    how = TECHNIQUES["corner"]
    torch, window = torch_body(SHIPPED["mig-60"], how.stand_off), how.window()
    obstacles = Obstacles.build(bodies)
    together = sweep(obstacles, torch, weld.points, weld.frames, window)
    counts = blame(obstacles, torch, weld.points, weld.frames, window, together)
    blocked = np.zeros_like(together.free, dtype=bool)
    for body, count in zip(bodies, counts, strict=True):
        alone = sweep(Obstacles.build([body]), torch, weld.points, weld.frames, window).free == 0
        assert count == alone.sum(), body[0]
        blocked |= alone
    assert np.array_equal(blocked, together.free == 0)
    assert counts[3] == 0 < counts[2]


def test_blame_names_the_solid_that_swallows_the_torch() -> None:
    bodies, weld = tee()
    found = full([*bodies[:2], ("lump", *box((-900, -900, -900), (900, 900, 900)), True)], weld)
    assert found.reachable == 0.0
    assert dict(found.blockers)["lump"] == 1.0


# --- the same whatever way it is computed ---------------------------------------------------------------------------


def test_grid_and_threads_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    bodies, weld = tee()
    how = TECHNIQUES["corner"]
    torch, window = torch_body(SHIPPED["mig-60"], how.stand_off), how.window()
    with_grid = answer(Obstacles.build(bodies), torch, weld, window, ("plate", "upright"))
    nowhere = [[-9000.0] * 3, [-8990.0] * 3]
    without = answer(Obstacles.build(bodies, nowhere), torch, weld, window, ("plate", "upright"))
    assert with_grid == without
    for count in (1, 3):
        monkeypatch.setattr(threads, "workers", lambda n=count: n)
        again = answer(Obstacles.build(bodies), torch, weld, window, ("plate", "upright"))
        assert again == with_grid


def test_moving_and_turning_everything_changes_nothing() -> None:
    bodies, weld = tee()
    before = full(bodies, weld)
    rng = np.random.default_rng(8)
    for offset in ((0.0, 0.0, 0.0), (2000.0, -1500.0, 300.0)):
        turn = turned(rng)
        others = [(n, *moved((v, f), turn, offset), c) for n, v, f, c in bodies]
        there = WeldPoints(
            points=weld.points @ turn.T + np.asarray(offset),
            frames=turn @ weld.frames,
            lengths=weld.lengths,
            along=weld.along,
            joined=weld.joined,
        )
        after = full(others, there)
        assert after.points == before.points
        assert after.blocked == before.blocked
        assert after.longest_run == before.longest_run
        assert before.best is not None
        assert after.best is not None
        assert after.best.clearance == pytest.approx(before.best.clearance, abs=1e-5)
        assert dict(after.blockers) == pytest.approx(dict(before.blockers))


def test_going_the_other_way_along_the_path_changes_nothing() -> None:
    bodies, weld = tee()
    back = weld_points(straight("w", ("plate", "upright"), (50, 0, 0), (-50, 0, 0), [[0, 0, 1], [0, 1, 0]]))
    one, other = full(bodies, weld), full(bodies, back)
    assert one.points == other.points[::-1]
    assert one.blocked == other.blocked
    assert one.longest_run == other.longest_run


def test_answers_go_through_json_unchanged() -> None:
    bodies, weld = tee()
    for scene in (bodies, [*bodies, ("lid", *box((-150, 5, 5), (150, 150, 12)), True)]):
        found = full(scene, weld)
        assert WeldAccess.from_dict(json.loads(json.dumps(found.to_dict(), allow_nan=False))) == found


# --- odd input ------------------------------------------------------------------------------------------------------


def test_nothing_to_hit() -> None:
    weld = tee()[1]
    found = full([], weld)
    assert found.reachable == found.longest_run == 100.0
    assert found.blockers == ()
    assert found.best is not None
    assert found.best.clearance == ROOM


def test_triangles_without_area_do_no_harm() -> None:
    bodies, weld = tee()
    name, vertices, faces, closed = bodies[1]
    flat = np.array([[0, 0, 1], [0, 0, 0], [0, 1, 1]], dtype=np.int32)
    same = [bodies[0], (name, vertices, np.vstack([faces, flat]), closed), *bodies[2:]]
    assert full(same, weld) == full(bodies, weld)


@pytest.mark.parametrize(
    ("vertices", "faces", "words"),
    [
        (np.zeros((3, 2)), np.zeros((1, 3), int), "expected vertices"),
        (np.full((3, 3), np.nan), np.array([[0, 1, 2]]), "finite"),
        (np.zeros((3, 3)), np.array([[0, 1, 3]]), "faces that name"),
    ],
)
def test_broken_bodies_are_refused(vertices: Array, faces: NDArray[Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Obstacles.build([("b", vertices, faces, True)])


def test_bodies_of_one_name_are_refused() -> None:
    cube = box((0, 0, 0), (1, 1, 1))
    with pytest.raises(ValueError, match="different names"):
        Obstacles.build([("a", *cube, True), ("a", *cube, True)])


def test_compiles_without_a_folder_for_the_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    import numba

    from fixture3d.access import kernel as access_kernel

    plain = numba.njit

    def no_cache(**options: Any) -> Any:
        if options.get("cache"):
            raise RuntimeError("cannot cache function: no locator available")
        return plain(**options)

    monkeypatch.setattr(numba, "njit", no_cache)

    def double(x: float) -> float:
        return 2.0 * x

    assert access_kernel._compiled(double)(3.0) == 6.0


def test_warming_up_compiles_every_kernel_once() -> None:
    from fixture3d.access import kernel as access_kernel

    warm_up()
    for name in ("place_triangles", "build_tree", "sweep_directions", "blame_directions", "roomiest"):
        assert len(getattr(access_kernel, name).signatures) == 1, name
    counted = {n: len(k.signatures) for n, k in vars(access_kernel).items() if hasattr(k, "signatures")}
    # Helpers that come from the disk cache within another kernel show none of their own.
    assert max(counted.values()) == 1
    full(*tee())
    assert counted == {n: len(k.signatures) for n, k in vars(access_kernel).items() if hasattr(k, "signatures")}


def _in_child(queue: Any) -> None:
    bodies, weld = tee()
    queue.put((threads.workers(), full(bodies, weld).to_dict()))


def test_a_child_process_uses_one_thread_and_says_the_same() -> None:
    context = multiprocessing.get_context("spawn")
    queue = context.Queue()
    child = context.Process(target=_in_child, args=(queue,))
    child.start()
    threads, found = queue.get(timeout=120)
    child.join()
    assert threads == 1
    assert found == full(*tee()).to_dict()


def test_the_oracle_knows_inside_from_outside() -> None:
    mesh = tube(40, 30, 3, 100)
    points = np.array([[19, 0, 50], [0, 0, 50], [0, 14, 50], [0, 0, 101], [18, 13.9, 50]], dtype=np.float64)
    assert within(mesh, points).tolist() == [True, False, True, False, False]


# --- compiling ahead -----------------------------------------------------------------------------------------------


def run_python(code: str, tmp_path: Path, **environment: str) -> str:
    env = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "jit"), "PYTHONPATH": str(ROOT), **environment}
    done = subprocess.run(
        [sys.executable, "-P", "-c", code], env=env, cwd=tmp_path, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_child_compiles_every_kernel_and_the_parent_only_loads(tmp_path: Path) -> None:
    """In an empty folder for numba: the child's files are taken as they are, none is compiled again."""
    code = """
import os
os.cpu_count = lambda: 2
from fixture3d.access import compiling
assert not compiling.compiled()
with compiling.ahead(False):
    assert compiling._running is None
with compiling.ahead():
    assert compiling._running is not None
    compiling.wait()
    assert compiling._running.returncode == 0
    from fixture3d.access import kernel, warm
    warm.warm_up()
assert compiling.compiled() and compiling._running is None
print([sum(getattr(kernel, name).stats.cache_misses.values()) for name in compiling.KERNELS])
print([sum(getattr(kernel, name).stats.cache_hits.values()) for name in compiling.KERNELS])
"""
    (tmp_path / "json.py").write_text("raise SystemExit('the folder of the user was imported from')")
    assert run_python(code, tmp_path).split("\n")[:2] == ["[0, 0, 0, 0, 0, 0]", "[1, 1, 1, 1, 1, 1]"]


@pytest.mark.parametrize("python", ["", "no-such-python", "C:/Program Files/setup.exe"])
def test_no_child_where_there_is_no_python_to_run(python: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiling, "compiled", lambda: False)
    monkeypatch.delitem(sys.modules, "fixture3d.access.kernel", raising=False)
    monkeypatch.setattr(sys, "executable", python)
    with compiling.ahead():
        assert compiling._running is None
        compiling.wait()


def test_the_child_ends_with_the_block(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiling, "_worth_it", lambda: True)
    monkeypatch.setattr(compiling, "_CODE", "import time; time.sleep(600)")
    children = []

    def interrupted() -> None:
        with compiling.ahead():
            child = compiling._running
            assert child is not None
            assert child.poll() is None
            children.append(child)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert children[0].returncode is not None
    assert compiling._running is None


def test_a_child_that_fails_or_hangs_is_no_harm(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiling, "_worth_it", lambda: True)
    monkeypatch.setattr(compiling, "LONGEST", 0.2)
    for code in ("raise SystemExit(3)", "import time; time.sleep(600)"):
        monkeypatch.setattr(compiling, "_CODE", code)
        with compiling.ahead():
            assert full(*tee()).reachable > 0.0
            assert compiling._running is not None
            assert compiling._running.returncode != 0


def test_compiled_code_older_than_the_source_does_not_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    folder = tmp_path / "access_0123"
    folder.mkdir()
    files = [folder / f"kernel.{name}-7.py{sys.version_info[0]}{sys.version_info[1]}.nbi" for name in compiling.KERNELS]
    for file in files:
        file.write_bytes(b"")
    assert compiling.compiled()
    os.utime(files[0], (1.0, 1.0))
    assert not compiling.compiled()
    files[0].unlink()
    assert not compiling.compiled()
