"""`find_welds` against joints of known length and type (`weld_cases`), straight and in other clothes (`weld_turns`)."""

from __future__ import annotations

import math
import os
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.errors import BadSolid
from fixture3d.solid import kernel
from fixture3d.tolerance import JOINTS
from fixture3d.welding import FoundWelds, default_size, find_welds, leg_size, walls_at, weld_names
from fixture3d.welding.reach import Triangles
from fixture3d.welding.surface import surface_of
from tests.weld_cases import CASES, Case, box, faults, lying, plate
from tests.weld_turns import TURNS

LONG = bool(os.environ.get("FIXTURE3D_LONG"))
SHARE = 0.97  # of the joints must be right in every way
EACH = 1 if LONG else 6  # every so many-th joint is turned in the default suite


@cache
def made(name: str) -> Case:
    return replace(CASES[name](), name=name)


@cache
def found(name: str) -> FoundWelds:
    return find_welds(made(name).pieces, made(name).gap)


def test_enough_joints_of_every_type() -> None:
    assert len(CASES) >= 40
    assert {kind for name in CASES for kind, _ in made(name).open} == {
        "fillet",
        "butt",
        "corner",
        "lap",
        "edge",
        "flare",
    }


@pytest.mark.parametrize("name", CASES)
def test_joint(name: str) -> None:
    assert faults(made(name), found(name)) == []


@pytest.mark.parametrize("turn", TURNS)
def test_joints_in_other_clothes(turn: str) -> None:
    names = list(CASES)[list(TURNS).index(turn) % EACH :: EACH]
    wrong = {}
    for name in names:
        other = TURNS[turn](made(name))
        told = faults(other, find_welds(other.pieces, other.gap))
        if told:
            wrong[name] = told
    assert len(wrong) <= (1.0 - SHARE) * len(names), wrong


@pytest.mark.parametrize("name", list(CASES))
def test_what_a_weld_says_of_itself(name: str) -> None:
    for weld in found(name):
        parts = np.diff(weld.path, axis=0)
        sizes = np.linalg.norm(parts, axis=1)
        assert float(sizes.sum()) == pytest.approx(weld.length, rel=2e-3, abs=0.05)
        assert weld.openings[0] - 1e-9 <= weld.opening <= weld.openings[1] + 1e-9
        assert weld.root_gap <= made(name).gap + 0.05
        assert np.linalg.norm(weld.bisector, axis=1) == pytest.approx(1.0)
        assert np.linalg.norm(weld.normals, axis=2) == pytest.approx(1.0, abs=1e-6)
        if weld.type != "flare":
            # Both outward normals look to the side of the opening: half of it is what each leans from the middle.
            for piece in (0, 1):
                lean = np.einsum("ij,ij->i", weld.normals[:, piece], weld.bisector)
                assert float(lean.max()) > 0.0


def test_the_order_of_pieces_changes_nothing_but_the_order_in_joins() -> None:
    for name in list(CASES)[::4]:
        turned = find_welds(dict(reversed(list(made(name).pieces.items()))), made(name).gap)
        assert sorted((w.type, round(w.length, 2), w.state) for w in turned) == sorted(
            (w.type, round(w.length, 2), w.state) for w in found(name)
        )
        assert {r.kind for r in turned.remarks} == {r.kind for r in found(name).remarks}


def test_the_same_pieces_give_the_same_answer_to_the_last_digit() -> None:
    again = find_welds(CASES["brace_at_45_degrees"]().pieces)
    for one, other in zip(found("brace_at_45_degrees"), again, strict=True):
        assert one.length == other.length
        assert (one.path == other.path).all()


# Remarks -----------------------------------------------------------------------------------------------------------


def remark(pieces: dict[str, Any], kind: str, gap: float = 1.0) -> Any:
    mine = [r for r in find_welds(pieces, gap).remarks if r.kind == kind]
    assert len(mine) == 1, mine
    return mine[0]


def test_a_gap_over_the_limit_is_a_near_miss_with_its_figure() -> None:
    post = box((-20, 20), (-20, 20), (1.4, 100))
    seen = remark({"plate": plate(), "post": post}, "near miss")
    assert seen.measured == pytest.approx(1.4, abs=0.02)
    assert "160 mm of line" in seen.text
    assert not find_welds({"plate": plate(), "post": post})
    assert len(find_welds({"plate": plate(), "post": post}, gap=1.5)) == 4


def test_a_gap_that_opens_along_the_line_is_a_part() -> None:
    lean = math.degrees(math.atan(2.0 / 100.0))  # 0 to 2 mm over 100: half of it within 1 mm
    post = box((0, 100), (-3, 3), (0, 60)).rotate((0, 0, 0), (0, 1, 0), -lean)
    welds = find_welds({"plate": plate().translate((50, 0, 0)), "post": post})
    sides = [w for w in welds if w.length > 20.0]
    assert [w.length for w in sides] == pytest.approx([50.0, 50.0], abs=1.5)
    seen = next(r for r in welds.remarks if r.kind == "near miss")
    assert "% of the line is within the gap" in seen.text


def test_a_near_miss_where_a_weld_fades_out_is_none_and_the_same_gap_alone_is() -> None:
    import cadquery as cq

    def tube(length: float) -> Any:
        outer = cq.Workplane("YZ").rect(40, 40).extrude(length).edges("|X").fillet(6)
        return outer.cut(cq.Workplane("YZ").rect(34, 34).extrude(length).edges("|X").fillet(3))

    # Flush with the rail's end: there the line is the rail's own edge, and the round corner of the cross leaves it.
    rail, cross = tube(300.0), tube(200.0).rotate((0, 0, 0), (0, 0, 1), 90)
    assert [r for r in find_welds({"rail": rail, "cross": cross.translate((20, 20, 0))}).remarks] == []
    seen = remark({"rail": rail, "cross": cross.translate((20, 21.5, 0))}, "near miss")
    assert seen.measured == pytest.approx(1.5, abs=0.02)


def test_an_overlap_is_told_with_its_volume() -> None:
    sunk = box((-50, 50), (-3, 3), (-2, 70))
    seen = remark({"plate": plate(), "b": sunk}, "overlap")
    assert seen.measured == pytest.approx(100.0 * 6.0 * 2.0, rel=1e-3)


def test_a_round_that_touches_at_a_point_is_told() -> None:
    seen = remark(made("round_tubes_crossing_at_a_point").pieces, "no line")
    assert seen.measured == pytest.approx(0.0, abs=0.04)


def test_a_free_form_face_is_told_and_its_edge_still_found() -> None:
    import cadquery as cq

    loft = cq.Workplane().rect(60, 40).workplane(offset=60).circle(18).loft()
    welds = find_welds({"plate": plate(), "loft": loft})
    assert sum(w.length for w in welds) == pytest.approx(200.0, abs=1.5)
    assert any(r.kind == "not read" and r.measured >= 1.0 for r in welds.remarks)


def test_a_heel_too_sharp_for_a_torch_is_told_with_its_opening() -> None:
    seen = remark(made("plate_leaning_75_degrees_is_too_narrow_below").pieces, "too narrow")
    assert seen.measured == pytest.approx(15.0, abs=0.5)


def test_pieces_out_of_reach_say_nothing() -> None:
    welds = find_welds(made("tube_out_of_reach").pieces)
    assert not welds
    assert not welds.remarks


def test_a_gap_that_is_no_number_and_a_solid_that_is_none() -> None:
    with pytest.raises(ValueError, match="expected 0 to 5"):
        find_welds({"a": plate()}, gap=math.nan)
    with pytest.raises(ValueError, match="expected 0 to 5"):
        find_welds({"a": plate()}, gap=5.1)
    with pytest.raises(BadSolid):
        find_welds({"a": plate(), "b": "not a solid"})


# Names -------------------------------------------------------------------------------------------------------------


def named(pieces: dict[str, Any]) -> dict[str, str]:
    welds = find_welds(pieces)
    return dict(zip(weld_names(welds), (w.type for w in welds), strict=True))


def test_names_say_the_non_butting_piece_first_and_the_side_in_the_tables_frame() -> None:
    rung = {"rung 1": box((-50, 50), (-3, 3), (0, 70)), "left leg": plate()}
    assert named(rung) == {
        "left leg / rung 1, front": "fillet",
        "left leg / rung 1, back": "fillet",
        "left leg / rung 1, left": "fillet",
        "left leg / rung 1, right": "fillet",
    }


def test_front_is_toward_the_man() -> None:
    pieces = {"rung 1": box((-50, 50), (-3, 3), (0, 70)), "left leg": plate()}
    welds = find_welds(pieces)
    for name, weld in zip(weld_names(welds), welds, strict=True):
        x, y, _ = weld.path.mean(axis=0)
        side = name.rpartition(", ")[2]
        assert {"front": y < -2.0, "back": y > 2.0, "left": x < -40.0, "right": x > 40.0}[side]


def test_one_ring_is_all_round_and_the_line_in_the_bore_inside() -> None:
    assert list(named(made("square_tube_on_a_plate").pieces)) == ["plate / post, all round", "plate / post, inside"]


def test_two_flares_on_one_root_are_told_apart() -> None:
    pieces = {"a": plate(), "b": lying(15.0, (-40, 40), (0, 15))}
    assert set(named(pieces)) == {"a / b, front", "a / b, back"}


@pytest.mark.parametrize("name", list(CASES)[:: 1 if LONG else 3])
def test_names_are_one_each_and_do_not_turn_on_order_or_rounding(name: str) -> None:
    names = sorted(weld_names(found(name)))
    assert len(set(names)) == len(names)
    pieces = dict(reversed(list(made(name).pieces.items())))
    assert sorted(weld_names(find_welds(pieces, made(name).gap))) == names
    moved = TURNS["jittered"](made(name))
    assert sorted(weld_names(find_welds(moved.pieces, moved.gap))) == names


def test_names_do_not_turn_on_other_pairs() -> None:
    pieces = {"leg": plate(), "rung 2": box((-50, 50), (-3, 3), (0, 70))}
    more = {"rung 10": box((-50, 50), (40, 46), (0, 70)), **pieces}
    assert set(named(pieces)) <= set(named(more))
    assert len(named(more)) == 8


def test_pieces_with_slashes_and_commas_in_their_names() -> None:
    foot = box((-50, 50), (-3, 3), (0, 70))
    far = frame.translation([500.0, 0.0, 0.0])
    pieces = {
        "a": plate(),
        "b / c": foot,
        "a / b": kernel.moved(kernel.one_solid(plate()), far),
        "c": kernel.moved(kernel.one_solid(foot), far),
    }
    welds = find_welds(pieces)
    assert len(welds) == 8
    assert len(set(weld_names(welds))) == 8


# Sizes -------------------------------------------------------------------------------------------------------------


def sizes(name: str) -> dict[str, float | None]:
    surfaces = {key: surface_of(solid) for key, solid in made(name).pieces.items()}
    welds = found(name)
    return {
        title: default_size(weld, (surfaces[weld.joins[0]], surfaces[weld.joins[1]]))
        for title, weld in zip(weld_names(welds), welds, strict=True)
    }


def test_the_leg_is_the_thinner_wall() -> None:
    assert leg_size(6.0, 3.2) == 3.0
    assert leg_size(2.97, 8.0) == 3.0  # walls are read from triangles
    assert leg_size(1.0, 8.0) == JOINTS.least_leg
    assert leg_size(40.0, 30.0) == JOINTS.most_leg
    for bad in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="expected more than 0"):
            leg_size(bad, 3.0)


def test_walls_are_met_by_rays() -> None:
    pieces = made("cope_on_a_larger_tube").pieces
    for weld in found("cope_on_a_larger_tube"):
        first, second = (surface_of(pieces[name]) for name in weld.joins)
        assert walls_at(weld, (first, second)) == pytest.approx((3.2, 3.2), abs=0.1)


def test_a_tube_on_a_plate_has_the_tubes_wall_and_a_leaning_plate_its_own() -> None:
    assert set(sizes("square_tube_on_a_plate").values()) == {3.0}
    leaning = sizes("plate_leaning_35_degrees")
    assert leaning["a / b, left"] == leaning["a / b, right"] == 6.0


@pytest.mark.parametrize("name", list(CASES)[::3])
def test_every_weld_has_a_size_that_no_wall_is_too_thin_for(name: str) -> None:
    for size in sizes(name).values():
        assert size is not None
        assert JOINTS.least_leg <= size <= JOINTS.most_leg


def test_no_ray_slips_through_the_seam_of_two_triangles() -> None:
    """Along a mitre all ways out lie in the seam of two tubes: one that slips through makes a bore look open."""
    rng = np.random.default_rng(6)
    for _ in range(200):
        a, b, left, right = rng.uniform(-500.0, 500.0, (4, 3))
        seam = Triangles(np.array([[a, b, left], [b, a, right]]))
        share = rng.uniform(0.01, 0.99, (50, 1))
        starts = rng.uniform(-500.0, 500.0, (50, 3))
        ways = a + share * (b - a) - starts
        sizes = np.linalg.norm(ways, axis=1)
        assert seam.hit(starts, ways / sizes[:, None], 2.0 * sizes).all()
        past = b + (b - a) / np.linalg.norm(b - a) - starts  # 1 mm beyond its end is a miss
        sizes = np.linalg.norm(past, axis=1)
        assert not seam.hit(starts, past / sizes[:, None], 2.0 * sizes).any()
