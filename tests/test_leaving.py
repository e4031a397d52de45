"""`way_out` against drawings with a known answer, in other clothes, and against two independent libraries."""

from __future__ import annotations

import itertools
import math
from functools import cache
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.errors import BadSolid
from fixture3d.locating.leaving import Bodies, Way, fewest_to_take_away, placed_bodies, way_out, ways_out
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape
from tests.leaving_cases import CASES, DOWN, RIGHT, TABLE, UP, WORK, Case, box, round_bar, vee

# Their answer hangs on less than half a millimetre, so that blocks out of place by 0.1 mm may change it.
AT_THE_LIMIT = {
    "hook_of_three_tenths", "hook_of_a_half", "narrow_hook_of_a_half", "hook_of_a_half_in_two_pieces",
    "step_of_three_tenths", "step_of_a_half", "narrow_mouth", "just_wide_mouth", "dovetail_of_half_a_degree",
    "dovetail_of_a_quarter_degree", "passes_by", "thin_sheet",
}  # fmt: skip


@cache
def made(name: str) -> tuple[list[Placed], list[Placed], Case]:
    one = CASES[name]()
    return placed_bodies(one.moving, "work"), placed_bodies(one.fixed, "block"), one


def wrong(name: str, pose: np.ndarray | None = None) -> list[str]:
    """What differs from the case's answers once everything is moved by ``pose``."""
    moving, fixed, one = made(name)
    pose = frame.identity() if pose is None else pose
    moving, fixed = [[Placed(b.name, b.shape, pose @ b.pose) for b in side] for side in (moving, fixed)]
    out = []
    for direction, expected in one.stops.items():
        found = set(way_out(moving, fixed, pose[:3, :3] @ np.array(direction, dtype=float)))
        if found != expected:
            out.append(f"{direction}: {sorted(found)} instead of {sorted(expected)}")
    return out


def test_enough_cases() -> None:
    assert len(CASES) >= 25
    assert sum(len(made(name)[2].stops) for name in CASES) >= 120


@pytest.mark.parametrize("name", CASES)
def test_known_answer(name: str) -> None:
    assert wrong(name) == []


@pytest.mark.parametrize("name", CASES)
def test_turned_and_shifted(name: str) -> None:
    turn = frame.translation([1234.5, -678.9, 55.5]) @ frame.rotation([1, 2, 3], 37.0)
    assert wrong(name, turn) == []


@pytest.mark.parametrize("name", list(CASES)[::2])
def test_mirrored_and_reordered(name: str) -> None:
    moving, fixed, one = made(name)
    flip = np.array([-1.0, 1.0, 1.0])

    def mirrored(body: Placed) -> Any:
        mesh = body.shape.mesh
        return Mesh(mesh.vertices * flip, mesh.faces[:, ::-1], mesh.planar, mesh.chord)

    other = {f"renamed {b.name}": mirrored(b) for b in reversed(fixed)}
    work = {b.name: mirrored(b) for b in reversed(moving)}
    for direction, expected in one.stops.items():
        assert set(way_out(work, other, np.array(direction) * flip)) == {f"renamed {n}" for n in expected}


@pytest.mark.parametrize("name", [name for name in CASES if name not in AT_THE_LIMIT])
def test_blocks_a_little_out_of_place(name: str) -> None:
    """Every block out of place by 0.1 mm and 0.1 degree: no verdict changes."""
    moving, fixed, one = made(name)
    rng = np.random.default_rng(5)
    for _ in range(2):
        sloppy = []
        for body in fixed:
            middle = body.shape.box.mean(axis=0)
            # Wide bodies are the table and the like, which is true over the work's length.
            size = min(1.0, 60.0 / float(np.ptp(body.shape.box, axis=0).max()))
            axis = rng.normal(size=3)
            turn = frame.translation(middle) @ frame.rotation(axis, 0.1 * size) @ frame.translation(-middle)
            shift = rng.normal(size=3)
            sloppy.append(Placed(body.name, body.shape, frame.translation(0.1 * shift / np.linalg.norm(shift)) @ turn))
        for direction, expected in one.stops.items():
            assert set(way_out(moving, sloppy, direction)) == expected, direction


# --- independent answers ---


def _convex_parts(rng: np.random.Generator, count: int, spread: int) -> list[np.ndarray]:
    """Corners of boxes, wedges and pyramids on a grid of 4 mm, so that contact is common and undercuts are wide."""
    out = []
    for _ in range(count):
        low = rng.integers(-spread, spread, 3)
        high = low + rng.integers(1, 5, 3)
        corners = np.array(list(itertools.product(*zip(low, high, strict=True))), dtype=float)
        kind = rng.integers(3)
        if kind == 1:
            corners = corners[[0, 1, 2, 3, 4, 5]]  # a wedge
        elif kind == 2:
            corners = corners[[0, 1, 2, 4, 7]]
        out.append(corners * 4.0)
    return out


def _hull(points: np.ndarray) -> Any:
    import manifold3d

    return manifold3d.Manifold.hull_points(points)


def _mesh(solid: Any) -> Mesh:
    raw = solid.to_mesh64()
    return Mesh.from_arrays(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))


def test_against_swept_hulls() -> None:
    """What a convex part sweeps is the hull of its start and its end: exact, by manifold3d, with no facet seen."""
    rng = np.random.default_rng(11)
    directions = [np.array(d, dtype=float) for d in itertools.product((-1, 0, 1), repeat=3) if any(d)]
    blocked = free = 0
    while min(blocked, free) < 60:
        work = _convex_parts(rng, int(rng.integers(1, 4)), 3)
        blocks = _convex_parts(rng, 4, 4)
        solids = [_hull(points) for points in work]
        others = [_hull(points) for points in blocks]
        # Solids that already cross are another question.
        apart = [k for k, o in enumerate(others) if all((o ^ s).volume() < 1e-9 for s in solids)]
        if not apart:
            continue
        bodies = Bodies(
            placed_bodies([_mesh(s) for s in solids], "w") + placed_bodies([_mesh(others[k]) for k in apart], "b")
        )
        moves = list(range(len(solids)))
        for d in (directions[int(k)] for k in rng.choice(len(directions), 6, replace=False)):
            unit = d / np.linalg.norm(d)
            swept = [_hull(np.concatenate([points, points + 400.0 * unit])) for points in work]
            found = set(bodies.stops(moves, [len(moves) + k for k in range(len(apart))], unit))
            for place, k in enumerate(apart):
                common = [(others[k] ^ s) for s in swept]
                volume = sum(c.volume() for c in common)
                # Between the two a corner only is cut: less than the circle that is looked for.
                assert volume < 1e-6 or volume > 1e-2
                if volume > 1.0:
                    blocked += 1
                    assert len(moves) + place in found, (work, blocks[k], d)
                elif volume < 1e-6:
                    free += 1
                    assert len(moves) + place not in found, (work, blocks[k], d)


def test_against_stepping() -> None:
    """A V, a hook and a round bar moved on step by step, collisions by trimesh and fcl."""
    import trimesh

    bar, block = Shape.of(round_bar(24, (0, 120))), Shape.of(vee(24, (30, 90)))
    hook = box((20, 40), (40, 60), (26, 60))
    fixed = [Placed("v", block, frame.identity()), Placed("hook", Shape.of(hook), frame.identity())]
    rng = np.random.default_rng(3)
    # Off the block by what the meshes and the library are wrong, along the bisector of the flanks.
    start = frame.translation([0, 0, 0.3])
    managers = []
    for body in fixed:
        manager = trimesh.collision.CollisionManager()
        manager.add_object(body.name, trimesh.Trimesh(body.shape.mesh.vertices, body.shape.mesh.faces))
        managers.append(manager)
    moved = trimesh.Trimesh(bar.mesh.vertices, bar.mesh.faces)
    seen: set[tuple[str, ...]] = set()
    for _ in range(5):
        d = rng.normal(size=3)
        d /= np.linalg.norm(d)
        hit = set()
        for body, manager in zip(fixed, managers, strict=True):
            for step in np.arange(0.0, 160.0, 2.0):
                if manager.in_collision_single(moved, transform=frame.translation(step * d) @ start):
                    hit.add(body.name)
                    break
        assert set(way_out(Placed("bar", bar, start), fixed, d)) == hit, d
        seen.add(tuple(sorted(hit)))
    assert len(seen) >= 2


# --- ways out, and what to take away ---


def directions_of(ways: list[Way]) -> list[tuple[float, ...]]:
    return [tuple(np.round(way.direction, 6) + 0.0) for way in ways if way.free]


def test_ways_out_of_an_inclined_slot() -> None:
    moving, fixed, _ = made("inclined_slot")
    free = directions_of(ways_out(moving, fixed))
    along = (math.cos(math.radians(35)), 0.0, math.sin(math.radians(35)))
    assert any(np.allclose(d, along, atol=1e-5) for d in free)
    # Sideways it slides out too; whatever is free lies between the walls.
    normal = np.array([-along[2], 0.0, along[0]])
    assert all(abs(normal @ np.array(d)) < 0.01 for d in free)


def test_ways_out_of_a_v_reach_its_flanks() -> None:
    moving, fixed, _ = made("steep_vee")
    free = directions_of(ways_out(moving, fixed))
    for side in (1.0, -1.0):
        flank = np.array([side * 0.5, 0.0, math.sqrt(0.75)])
        assert any(np.allclose(d, flank, atol=1e-4) for d in free)


def test_way_along_an_inclined_bore() -> None:
    moving, fixed, _ = made("dowel_in_an_inclined_bore")
    free = directions_of(ways_out(moving, fixed))
    along = np.array([0.5, 0.0, math.sqrt(0.75)])
    assert len(free) == 2
    assert all(abs(abs(along @ np.array(d)) - 1.0) < 1e-5 for d in free)


def test_fewest_to_take_away() -> None:
    """A block between four stops, under two bars, on the table: one stop is the least, two bars the next."""
    fixed = {
        "table": box(*TABLE),
        "left": box((-20, 0), (0, 40), (0, 40)),
        "right": box((100, 120), (0, 40), (0, 40)),
        "front": box((0, 100), (-20, 0), (0, 40)),
        "back": box((0, 100), (40, 60), (0, 40)),
        "bar 1": box((20, 30), (-20, 60), (40, 50)),
        "bar 2": box((70, 80), (-20, 60), (40, 50)),
    }
    ways = ways_out(box(*WORK), fixed)
    assert not any(way.free for way in ways)
    least = fewest_to_take_away(ways, stay=["table"])
    assert {way.stopped_by for way in least} == {("left",), ("right",), ("front",), ("back",)}
    held = fewest_to_take_away(ways, stay=["table", "left", "right", "front", "back"])
    assert {way.stopped_by for way in held} == {("bar 1", "bar 2")}
    assert fewest_to_take_away(ways, stay=list(fixed)) == []
    # It is the least: taken away, the work comes out; and no way is stopped by nothing.
    for way in least:
        rest = {name: solid for name, solid in fixed.items() if name not in way.stopped_by}
        assert way_out(box(*WORK), rest, way.direction) == []


def test_more_bodies_never_free_a_way() -> None:
    moving, fixed, one = made("between_two_stops")
    more = [*fixed, Placed("post", Shape.of(box((40, 60), (10, 30), (60, 80))), frame.identity())]
    for direction in one.stops:
        assert set(way_out(moving, fixed, direction)) <= set(way_out(moving, more, direction))


def test_length_of_the_direction_is_of_no_matter() -> None:
    fixed = {"table": box(*TABLE)}
    assert way_out(box(*WORK), fixed, (0, 0, -1e-3)) == way_out(box(*WORK), fixed, (0, 0, -1e6)) == ["table"]


def test_nothing_fixed_stops_nothing() -> None:
    assert way_out(box(*WORK), {}, UP) == []
    assert all(way.free for way in ways_out(box(*WORK), {}))


@pytest.mark.parametrize("direction", [(0, 0, 0), (1, 0), (math.nan, 0, 1), (math.inf, 0, 0)])
def test_bad_direction(direction: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="expected three numbers, not all 0"):
        way_out(box(*WORK), {}, direction)


def test_bad_bodies() -> None:
    import trimesh

    open_mesh = trimesh.Trimesh(box(*WORK).vertices, box(*WORK).faces[:-1])
    with pytest.raises(BadSolid):
        way_out(open_mesh, {}, UP)
    with pytest.raises(ValueError, match="nothing moves"):
        way_out([], {}, UP)
    twice = [Placed("a", Shape.of(box(*WORK)), frame.identity())] * 2
    with pytest.raises(ValueError, match="different names"):
        way_out(box(*WORK), twice, UP)


def test_same_answer_one_by_one_and_together() -> None:
    """Pieces far apart: what stops them together is what stops any of them."""
    pieces = [box((k * 300, k * 300 + 100), (0, 40), (0, 40)) for k in range(3)]
    fixed = {"low": box((310, 330), (0, 40), (60, 80)), "wall": box((1500, 1510), (-50, 90), (0, 90))}
    for d in (UP, DOWN, RIGHT, (1, 0, 0.02)):
        assert set(way_out(pieces, fixed, d)) == set().union(*(way_out(one, fixed, d) for one in pieces))
