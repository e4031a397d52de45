"""One piece among fixed bodies: rank, free motions, rest and over-constraint, by setups whose answer is known.

What is said of motions is held against the solids themselves: each reported motion is carried out (twists by
pytransform3d, overlap by manifold3d), and each that is stopped runs into something.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import Any

import numpy as np
import pytest
from pytransform3d.transformations import adjoint_from_transform, transform_from_exponential_coordinates

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.located import Located, locate_piece
from fixture3d.locating.motions import adjoint
from fixture3d.locating.words import Motion, way_in_words
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import LOCATING
from tests.locating_cases import BAR, END, SIDE_1, SIDE_2, TABLE, Case, at, bar_shape, box, cases, moved, pin, riser

CASES = cases()
CLEAN = {"within": LOCATING.clean_contact, "angle": LOCATING.clean_angle}


def located(case: Case, **tolerance: float) -> Located:
    return locate_piece(case.piece, case.fixed, case.gravity, leave=False, **tolerance)


@cache
def answer(name: str) -> Located:
    return located(next(c for c in CASES if c.name == name))


def turning(motion: Motion) -> bool:
    return bool(np.linalg.norm(motion.twist[3:]) > 0.0)


def slides(found: Located, kind: str) -> set[str]:
    return {way_in_words(m.twist[:3]) for m in found.free_motions if m.kind == kind and not turning(m)}


def turns(found: Located, kind: str) -> list[str]:
    return [way_in_words(m.twist[3:]) for m in found.free_motions if m.kind == kind and turning(m)]


def agree(case: Case, found: Located) -> None:
    assert found.rank == case.rank
    assert found.rests == case.rests
    assert slides(found, "free") == case.free
    assert slides(found, "away") == case.away
    free = turns(found, "free")
    if "?" in case.turns:
        assert len(free) == 2 * len(case.turns)
    else:
        both = {s + axis for axis in case.turns for s in "+-"}
        assert set(free) <= both
        assert both - set(free) <= set(turns(found, "falls"))  # one sense of it may be the way it falls
    assert len(turns(found, "away")) == case.one_way_turns
    assert {frozenset(o.fixed) for o in found.opposed} == case.opposed
    assert bool(slides(found, "lift")) == case.lifts
    assert {o.kind for o in found.over} == case.over
    assert {d.fixed for d in found.doubts} == case.doubts
    assert set(case.words) <= {m.words for m in found.free_motions}


def test_there_are_enough_of_them() -> None:
    assert len(CASES) >= 40
    assert len({c.name for c in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.name)
def test_known_answers(case: Case) -> None:
    found = answer(case.name)
    agree(case, found)
    # What is free both ways is what the rank leaves: pairs, but for one that gravity drives.
    both = [m for m in found.free_motions if m.kind == "free"]
    falls = [m for m in found.free_motions if m.kind == "falls"]
    assert 0 <= 2 * (6 - found.rank) - len(both) <= len(falls)
    assert found.rests == (not falls)
    for motion in found.free_motions:
        size = np.linalg.norm(motion.twist[3:] if turning(motion) else motion.twist[:3])
        assert size == pytest.approx(1.0)


@pytest.mark.parametrize("case", [c for c in CASES[::3] if "0.2" not in c.name], ids=lambda c: c.name)
def test_known_answers_with_the_clean_tolerance(case: Case) -> None:
    agree(case, located(case, **CLEAN))


def shifted(motion: Array, far: float, corners: Array) -> Array:
    """The rigid move along a twist that takes the farthest corner by ``far`` mm; pytransform3d has (w, v)."""
    speed = np.linalg.norm(motion[:3] + np.cross(motion[3:], corners), axis=1).max()
    move: Array = transform_from_exponential_coordinates(np.concatenate([motion[3:], motion[:3]]) * far / speed)
    return move


def overlap(piece: Any, fixed: list[Any]) -> float:
    return sum(float((piece ^ one).volume()) for one in fixed)


FAR = 0.5


@pytest.mark.parametrize("case", [c for c in CASES[::2] if c.rank and not c.doubts], ids=lambda c: c.name)
def test_motions_against_the_solids(case: Case) -> None:
    found = answer(case.name)
    bodies = [b.shape.mesh.moved(b.pose).manifold for b in case.fixed.values()]
    piece = case.piece.shape.mesh.moved(case.piece.pose)
    before = overlap(piece.manifold, bodies)
    # Half a thousandth of a radian at arms of 0.5 m makes 0.15 micrometres; round meshes cross by their chord.
    area = sum(c.area for c in found.contacts)
    sunk = (30.0 if "half rounds" in case.name else 2.0) + 0.02 * area
    for motion in found.free_motions:
        free = overlap(piece.moved(shifted(motion.twist, FAR, piece.vertices)).manifold, bodies) - before
        assert free <= sunk, (motion.words, free)
        if motion.kind in ("away", "lift"):
            stopped = overlap(piece.moved(shifted(-motion.twist, FAR, piece.vertices)).manifold, bodies) - before
            assert stopped > 0.1, (motion.words, stopped)
            assert stopped > free


PLACES = {
    "turned by a right angle": frame.translation((130, -70, 20)) @ frame.rotation((0, 0, 1), 90),
    "turned by 30": frame.translation((-500, 40, 5)) @ frame.rotation((0, 0, 1), 30),
    "tipped": frame.translation((10, 20, 30)) @ frame.rotation((1, 0.3, -0.2), 50),
}


@pytest.mark.parametrize("place", list(PLACES))
@pytest.mark.parametrize("case", CASES[::5], ids=lambda c: c.name)
def test_a_setup_elsewhere_is_the_same_setup(case: Case, place: str) -> None:
    here, there = answer(case.name), located(moved(case, PLACES[place]))
    assert (there.rank, there.rests, len(there.contacts)) == (here.rank, here.rests, len(here.contacts))
    assert sorted(o.kind for o in there.over) == sorted(o.kind for o in here.over)
    assert {frozenset(o.fixed) for o in there.opposed} == case.opposed
    assert sorted(m.kind for m in there.free_motions) == sorted(m.kind for m in here.free_motions)
    # The twists span the same motions once they are taken there; pytransform3d's adjoint has (w, v).
    swap = np.roll(np.eye(6), 3, axis=0)
    taken = np.array([swap @ adjoint_from_transform(PLACES[place]) @ swap @ m.twist for m in kept(here)])
    spans = np.array([m.twist for m in kept(there)])
    if len(taken):
        scale = np.array([1.0, 1.0, 1.0, 500.0, 500.0, 500.0])
        off = _beyond(spans * scale, taken * scale)
        assert off == pytest.approx(0.0, abs=1e-4)


def kept(found: Located) -> list[Motion]:
    """All but the way it falls, which is one of many."""
    return [m for m in found.free_motions if m.kind != "falls"]


def _beyond(basis: Array, rows: Array) -> float:
    """How far rows reach out of the space of others, as a share of their length."""
    _, values, ways = np.linalg.svd(basis)
    space = ways[: int((values > 1e-9 * values[0]).sum())]
    return float((np.linalg.norm(rows - rows @ space.T @ space, axis=1) / np.linalg.norm(rows, axis=1)).max())


def test_the_adjoint_is_that_of_an_outside_library() -> None:
    swap = np.roll(np.eye(6), 3, axis=0)
    for pose in PLACES.values():
        np.testing.assert_allclose(adjoint(pose), swap @ adjoint_from_transform(pose) @ swap, atol=1e-9)


@pytest.mark.parametrize("case", CASES[1::4], ids=lambda c: c.name)
def test_names_and_order_do_not_matter(case: Case) -> None:
    names = {name: f"body {k}" for k, name in enumerate(case.fixed)}
    turned = {names[n]: case.fixed[n] for n in reversed(case.fixed)}
    here, there = answer(case.name), located(dataclasses.replace(case, fixed=turned))
    assert (there.rank, there.rests) == (here.rank, here.rests)
    assert [m.words for m in there.free_motions] == [m.words for m in here.free_motions]
    assert {frozenset(o.fixed) for o in there.opposed} == {frozenset(names[n] for n in o) for o in case.opposed}
    assert sorted(o.kind for o in there.over) == sorted(o.kind for o in here.over)


def mirrored(body: Placed) -> Placed:
    """Across the plane y = 0, as a mesh."""
    mesh = body.shape.mesh.moved(body.pose)
    flipped = Mesh.from_arrays(mesh.vertices * [1.0, -1.0, 1.0], mesh.faces[:, ::-1])
    return Placed(body.name, Shape.of(flipped), frame.identity())


@pytest.mark.parametrize("case", [c for c in CASES[2::5] if c.name != "bent tube on the table"], ids=lambda c: c.name)
def test_a_mirrored_setup_of_meshes(case: Case) -> None:
    x, y, z = case.gravity
    fixed = {n: mirrored(b) for n, b in case.fixed.items()}
    there = located(dataclasses.replace(case, piece=mirrored(case.piece), fixed=fixed, gravity=(x, -y, z)))
    swap = str.maketrans("+-", "-+")
    over_y = {w.translate(swap) if w.endswith("Y") else w for w in case.away}
    if not any(w.startswith("(") for w in case.away | case.free):
        assert slides(there, "away") == over_y
        assert slides(there, "free") == {w.translate(swap) if w.endswith("Y") else w for w in case.free}
    assert (there.rank, there.rests) == (case.rank, case.rests)
    assert {o.kind for o in there.over} == case.over
    assert {d.fixed for d in there.doubts} == case.doubts


def out_of_place(body: Placed, rng: np.random.Generator) -> Placed:
    """By up to 0.1 mm along each axis and up to 0.1 degree about any, about its own middle."""
    low, high = body.world_box()
    middle = (low + high) / 2.0
    turn = frame.rotation(rng.normal(size=3), rng.uniform(-0.1, 0.1))
    move = frame.translation(middle + rng.uniform(-0.1, 0.1, 3)) @ turn @ frame.translation(-middle)
    return Placed(body.name, body.shape, move @ body.pose)


ON_THE_LIMIT = ("0.2", "0.5", "hair")  # gaps that are within 0.1 of the tolerance on purpose


@pytest.mark.parametrize("case", [c for c in CASES if not any(w in c.name for w in ON_THE_LIMIT)], ids=lambda c: c.name)
def test_verdicts_stand_when_every_block_is_out_of_place(case: Case) -> None:
    rng = np.random.default_rng(len(case.name))
    here = answer(case.name)
    for _ in range(1):
        fixed = {n: b if n == "t" else out_of_place(b, rng) for n, b in case.fixed.items()}  # the table stays
        there = located(dataclasses.replace(case, fixed=fixed))
        assert (there.rank, there.rests) == (here.rank, here.rests)
        assert sorted(m.kind for m in there.free_motions) == sorted(m.kind for m in here.free_motions)
        assert {frozenset(o.fixed) for o in there.opposed} == case.opposed
        assert {o.kind for o in there.over} == case.over
        assert {d.fixed for d in there.doubts} == case.doubts


def test_a_stop_where_it_is_said_to_be_missing_ends_the_motion() -> None:
    fixed = {"t": TABLE, "s": pin(400, 33)}
    for _ in range(3):
        found = locate_piece(BAR, fixed, leave=False)
        missing = next((m for m in found.free_motions if m.kind == "free" and m.stop is not None), None)
        if missing is None:
            break
        assert missing.stop is not None
        x, y, z = missing.stop.point - 6.0 * missing.stop.normal
        from tests.locating_cases import ball

        fixed[f"new {len(fixed)}"] = ball(float(x), float(y), float(z))
        after = locate_piece(BAR, fixed, leave=False)
        assert after.rank == found.rank + 1
        twist = missing.twist / np.linalg.norm(missing.twist * [1, 1, 1, 500, 500, 500])
        assert not any(
            np.allclose(m.twist / np.linalg.norm(m.twist * [1, 1, 1, 500, 500, 500]), twist) for m in after.free_motions
        )
    assert locate_piece(BAR, fixed, leave=False).located


def test_a_round_bar_has_no_face_that_would_stop_its_roll() -> None:
    found = answer("round tube in two Vs")
    assert [m.stop for m in found.free_motions if "roll" in m.words] == [None, None]
    end = next(m for m in found.free_motions if m.words == "can slide along its length (+X)")
    assert end.stop is not None
    assert end.stop.point[0] == pytest.approx(600.0)
    assert end.stop.normal.tolist() == [-1.0, 0.0, 0.0]


def test_straight_ways_out() -> None:
    found = locate_piece(BAR, {"t": TABLE, "s": SIDE_1, "u": SIDE_2, "e": END})
    ways = {way_in_words(way) for way in found.can_leave}
    assert {"+X", "-Y", "+Z"} <= ways
    assert not {"-X", "+Y", "-Z"} & ways
    lid = box((0, -25, 50), (1000, 60, 60))
    held = locate_piece(BAR, {"t": TABLE, "s": SIDE_1, "u": SIDE_2, "e": END, "o": lid})
    assert "+Z" not in {way_in_words(way) for way in held.can_leave}


def test_spacing_and_what_it_magnifies() -> None:
    for span, factor in ((800.0, 900.0 / 800.0), (100.0, 900.0 / 100.0)):
        found = locate_piece(BAR, {"t": TABLE, "s": pin(100, 33), "u": pin(100 + span, 33)}, leave=False)
        pair = next(s for s in found.spacing if s.duty == "side stop")
        assert pair.span == pytest.approx(span, abs=0.1)
        assert pair.factor == pytest.approx(factor, rel=0.01)
        assert any(o.kind == "too-near" for o in found.over) == (factor > LOCATING.magnify)


def test_the_fourth_support_is_the_one_to_make_adjustable() -> None:
    found = answer("four risers")
    (over,) = found.over
    assert over.fixed[0] in ("b", "c")  # not one of the outer two
    assert "adjustable" in over.remedy


def test_the_single_stop_across_is_the_one_to_pull_back() -> None:
    (over,) = answer("opposed stops").over
    assert over.fixed[0] == "o"
    assert over.remedy == "pull o back and clamp from that side"


def test_more_risers_do_not_change_the_rank() -> None:
    two = locate_piece(BAR, {"a": riser(100), "b": riser(800)}, leave=False)
    five = locate_piece(BAR, {f"r{k}": riser(100 + 175 * k) for k in range(5)}, leave=False)
    assert two.rank == five.rank == 3
    assert [o.kind for o in two.over] == []
    assert [o.kind for o in five.over] == ["supports"]


def test_a_short_thin_bar_and_a_long_one_are_judged_alike() -> None:
    for length, side, wall, radius in ((60.0, 20.0, 2.0, 4.0), (3000.0, 20.0, 2.0, 4.0)):
        bar = at(bar_shape(length, side, wall, radius))
        half = side / 2.0
        stops = {"s": pin(0.2 * length, half + 8.0), "u": pin(0.8 * length, half + 8.0), "e": pin(-8, 0)}
        found = locate_piece(
            bar, {"t": TABLE if length < 1000 else box((-50, -50, -12), (3050, 50, 0)), **stops}, leave=False
        )
        assert (found.rank, found.rests) == (6, True)
        assert [o.kind for o in found.over] == []


def test_four_supports_of_a_tilted_nest_share_no_plane() -> None:
    """A square bar on edge on two pairs of slopes: two points on either flank decide it, none is too many."""

    def tilted(body: Placed) -> Placed:
        return Placed(body.name, body.shape, frame.rotation((1, 0, 0), 45.0) @ body.pose)

    bar = tilted(box((0, 0, 0), (300, 40, 40)))
    under = {f"u{x}": tilted(box((x, 10, -20), (x + 20, 30, 0))) for x in (20, 260)}
    beside = {f"s{x}": tilted(box((x, -20, 10), (x + 20, 0, 30))) for x in (20, 260)}
    found = locate_piece(bar, under | beside, leave=False)
    assert (found.rank, found.rests, [o.kind for o in found.over]) == (5, True, [])
    more = {f"m{x}": tilted(box((x, 10, -20), (x + 20, 30, 0))) for x in (100, 180)}
    found = locate_piece(bar, under | beside | more, leave=False)
    assert [o.kind for o in found.over] == ["supports"]


def between_walls(piece: Any, **more: Any) -> Located:
    walls = {"a": box((-20, 0, 0), (0, 40, 40)), "b": box((60, 0, 0), (80, 40, 40))}
    return locate_piece(piece, walls | more, leave=False)


def test_faces_that_squeeze_a_piece_do_not_carry_it() -> None:
    """However hard two upright faces press from both sides, without friction what is between them drops."""
    held = box((0, 0, 0), (60, 40, 40))
    dropped = between_walls(held)
    assert not dropped.rests
    assert [tuple(m.twist.round(6)) for m in dropped.free_motions if m.kind == "falls"] == [(0, 0, -1, 0, 0, 0)]
    carried = between_walls(held, floor=box((0, 0, -10), (60, 40, 0)))
    assert carried.rests
    assert not any(m.kind == "falls" for m in carried.free_motions)


def bar_in_pipe(slope: float) -> Located:
    """A bar that fills a square pipe along x, the pull leant along it by some degrees."""
    import cadquery as cq

    def along(x: float, side: float) -> Any:
        return cq.Workplane("YZ").rect(side, side).extrude(x)

    pipe = along(200, 60).cut(along(200, 40)).val()
    pull = (np.sin(np.radians(slope)), 0.0, -np.cos(np.radians(slope)))
    return locate_piece(along(100, 40).val(), {"pipe": pipe}, gravity=pull, leave=False)


@pytest.mark.parametrize(("slope", "rests"), [(0.0, True), (0.3, True), (3.0, False), (20.0, False), (90.0, False)])
def test_a_bar_in_a_pipe_slides_down_a_slope(slope: float, rests: bool) -> None:
    """What normals may be out by holds it on a third of a degree; three degrees are a slope."""
    found = bar_in_pipe(slope)
    assert found.rests is rests
    assert rests or any(m.kind == "falls" and m.twist[0] > 0.99 for m in found.free_motions)
