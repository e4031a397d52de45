"""Every rule of the interference check just good and just bad, and what must not change any finding."""

from __future__ import annotations

import copy
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d.access.welds import Weld
from fixture3d.cache import Store
from fixture3d.checks import interference
from fixture3d.job.keepout import bead_distance, segment_triangles
from fixture3d.job.resting import rests_on
from fixture3d.job.wayout import in_words
from fixture3d.scene import Scene
from fixture3d.tolerance import SHOP
from tests.check_jobs import ask, box, job, of_rule, post, scene, shape_of, slab

CHECK = interference.CHECK


def rules(tables: dict[str, Any]) -> list[str]:
    return [finding.rule for finding in ask(CHECK, tables).findings]


# S1 in E4: x 175 to 275, y 125 to 175, z 0 to 50. -----------------------------------------------------------


def panel_behind(gap: float, **more: Any) -> dict[str, Any]:
    """A panel that stands on the table behind S1, ``gap`` away from its back."""
    panel = slab("panel", (175, 175 + gap, 0), (275, 275, 10))
    return scene(place=[post("S1", "E4")], plate=[panel], **more)


@pytest.mark.parametrize("gap", [0.0, 0.019, -0.019, 4.9])
def test_touching_and_clear_are_no_findings(gap: float) -> None:
    result = ask(CHECK, panel_behind(gap))
    # The block's back is the only face that could touch: clear of the work by more than contact, it stops short.
    assert [f.rule for f in result.findings] == (["stops-short"] if gap > 0.02 else [])
    row = next(r for r in result.figures["pairs"] if {r["a"], r["b"]} == {"S1", "panel"})
    assert row["kind"] == ("clear" if gap > 1 else "touching")
    assert row["gap"] == pytest.approx(max(gap, 0.0) if gap > 1 else 0.0)


@pytest.mark.parametrize(("gap", "told"), [(0.03, True), (49.0, True), (51.0, False), (-1.0, False)])
def test_a_block_stops_short_up_to_one_pitch_away(gap: float, told: bool) -> None:
    found = of_rule(ask(CHECK, panel_behind(gap)), "stops-short")
    assert bool(found) is told
    for finding in found:
        assert finding.subjects == ("S1", "panel")
        assert finding.measured == pytest.approx(gap, abs=1e-3)
        # A hole is 50 further, right for 49 but not for 0.03.
        assert ("back (+Y); the next hole that way is E5" in finding.remedy) is (gap > 45.0)
        assert ("put 0.03 mm of shims on its back" in finding.remedy) is (gap < 1.0)


@pytest.mark.parametrize(("gap", "hole"), [(44.9, False), (45.1, True), (5.1, False)])
def test_the_next_hole_is_named_for_a_move_of_nearly_a_pitch_only(gap: float, hole: bool) -> None:
    """A tenth of the pitch of 50 either way."""
    (finding,) = of_rule(ask(CHECK, panel_behind(gap)), "stops-short")
    assert ("the next hole that way is E5" in finding.remedy) is hole
    if not hole:
        assert f"use a size whose back is {gap} mm further out, or set the work {gap} mm front (-Y)" in finding.remedy


@pytest.mark.parametrize(("gap", "shims"), [(4.9, True), (5.1, False)])
def test_what_shims_fill(gap: float, shims: bool) -> None:
    (finding,) = of_rule(ask(CHECK, panel_behind(gap)), "stops-short")
    assert (f"put {gap} mm of shims on its back" in finding.remedy) is shims


def test_the_work_is_not_moved_off_a_stop_that_is_right() -> None:
    """The second stop touches the panel's far side: only the first one can be mended."""
    tables = panel_behind(2.0)
    assert "by the offset" in of_rule(ask(CHECK, tables), "stops-short")[0].remedy
    far = post("S2", "E4") | {"free": [250, 300, 0, 180]}
    del far["hole"]
    tables["place"].append(far)
    (finding,) = of_rule(ask(CHECK, tables), "stops-short")
    assert finding.remedy.startswith("put 2 mm of shims on its back: S1 should go")


def test_a_block_that_carries_another_piece_is_not_lowered() -> None:
    """R1 is 1 too high for the sunk bar, but the other bar lies on it rightly."""
    places = [post("R1", "E4", height=50)]
    sunk = scene(place=places, plate=[slab("bar", (180, 130, 49), (210, 170, 69))])
    (finding,) = of_rule(ask(CHECK, sunk), "overlap")
    assert "use a block that is 1 mm lower than R1" in finding.remedy
    both = scene(
        place=places,
        plate=[slab("bar", (180, 130, 49), (210, 170, 69)), slab("other", (220, 130, 50), (270, 170, 70))],
    )
    (finding,) = of_rule(ask(CHECK, both), "overlap")
    assert "do not lower R1, for it carries other too" in finding.remedy
    assert "1 mm lower" in finding.remedy


def test_a_block_that_is_a_little_too_high_under_the_piece_it_carries_is_lowered_by_its_height() -> None:
    """R1 of 1-31/32 in stands 0.025 in too high under a bar that it alone carries: no other block is asked for."""
    from fixture3d.job.wayout import remedy

    tables = scene(place=[post("R1", "E4", height=50)], plate=[slab("bar", (180, 130, 49.365), (210, 170, 69))])
    (finding,) = of_rule(ask(CHECK, tables), "overlap")
    assert "(height = 49.3" in finding.remedy
    assert "do not lower" not in finding.remedy
    # A round bar that is sunk in counts as lying on the block too, as one that just lies there does.
    made = job(scene(place=[post("R1", "E4", height=50)], plate=[slab("bar", (180, 130, 50), (210, 170, 69))]))
    (block,) = made.of_item("R1")[:1]
    assert "do not lower R1, for it carries bar too" in remedy(made, block, np.array([0.0, 0.0, -0.635]))
    assert "height = " in remedy(made, block, np.array([0.0, 0.0, -0.635]), into="bar")


def test_a_block_that_carries_another_need_not_touch_the_work() -> None:
    tables = panel_behind(10.0)
    tables["place"].append({"name": "S2", "model": tables["place"][0]["model"], "on": "S1"})
    assert "S1" not in {f.subjects[0] for f in of_rule(ask(CHECK, tables), "stops-short")}


def test_pairs_beyond_reach_are_not_listed() -> None:
    result = ask(CHECK, panel_behind(5.1))
    assert [(r["a"], r["b"]) for r in result.figures["pairs"]] == [("table", "S1"), ("table", "panel")]


@pytest.mark.parametrize("depth", [0.021, 0.2, 3.2])
def test_overlap_gives_depth_and_way_out(depth: float) -> None:
    (finding,) = of_rule(ask(CHECK, panel_behind(-depth)), "overlap")
    assert finding.level == "fail"
    assert finding.subjects == ("S1", "panel")
    assert finding.measured == pytest.approx(depth, abs=1e-6)
    assert finding.limit == SHOP.contact
    assert "front (-Y)" in finding.remedy
    # A hole further the block would be 47 or more off the work.
    assert "next hole" not in finding.remedy
    assert re.match(r"set the work \S+ mm back \(\+Y\) by the offset in \[weldment\], or use a size", finding.remedy)
    assert finding.at is not None
    x, y, z = finding.at
    assert 175 <= x <= 275
    assert 175 - depth <= y <= 175
    assert 0 <= z <= 10


def test_next_hole_counts_from_the_corner_of_a1() -> None:
    """With A1 in the front right corner, the column to the left of E is F. S1 in E4 covers x -225 to -125."""
    names = {"corner": "front right"}
    panel = slab("panel", (-126, 100, 0), (0, 200, 40))
    tables = scene(place=[post("S1", "E4")], plate=[panel])
    tables["table"] = {**tables["table"], "names": names}
    (finding,) = of_rule(ask(CHECK, tables), "overlap")
    assert "left (-X); the next hole that way is F4" in finding.remedy


def test_way_out_in_inches() -> None:
    tables = {**panel_behind(-3.175), "units": "in"}
    tables["table"] = {"pitch": "50 mm", "bore": "16 mm", "columns": 30, "rows": 20, "edge": "50 mm"}
    tables["plate"] = [
        {
            **slab("panel", (0, 0, 0), (1, 1, 1)),
            "at": ["175 mm", "171.825 mm", 0],
            "outline": [[0, 0], ["100 mm", 0], ["100 mm", "100 mm"], [0, "100 mm"]],
            "thickness": "10 mm",
        }
    ]
    tables["place"] = [{**post("S1", "E4"), "with": {"length": "100 mm", "width": "50 mm", "height": "50 mm"}}]
    (finding,) = of_rule(ask(CHECK, tables), "overlap")
    assert finding.measured == pytest.approx(3.175, abs=1e-6)
    assert "1/8 in" in finding.remedy


def test_block_too_high_below_the_work() -> None:
    """S1 is 50 high; the panel hangs at 49.7, on a riser of its own height beside it."""
    panel = slab("panel", (175, 100, 49.7), (275, 400, 60))
    tables = scene(place=[post("S1", "E4"), post("R1", "E8", height=49.7)], plate=[panel])
    (finding,) = of_rule(ask(CHECK, tables), "overlap")
    assert finding.measured == pytest.approx(0.3, abs=1e-6)
    assert "0.3 mm lower than S1 (height = 49.7 mm)" in finding.remedy


def too_far_in(front: float, **more: Any) -> dict[str, Any]:
    """S1 in E5 covers y 175 to 225; a bar that is 60 high lies across it from ``front`` to 226."""
    return scene(place=[post("S1", "E5"), *more.pop("place", [])],
                 plate=[slab("bar", (100, front, 0), (350, 226, 60))], **more)  # fmt: skip


@pytest.mark.parametrize(
    ("front", "words"),
    [
        (175.0, "move S1 back to hole E4: its back then touches bar"),
        (175.019, "move S1 back to hole E4: its back then touches bar"),
        (175.98, "move S1 back to hole E4: its back is then 0.98 mm off bar, for a shim"),
        (174.99, "move S1 back to hole E4: its back then touches bar"),
        (176.02, ""),
        (174.9, ""),
    ],
)
def test_a_block_one_hole_too_far_in_goes_back_the_way_it_came(front: float, words: str) -> None:
    """From E5 to E4 is 50: the back of S1 then lies at 175."""
    (finding,) = of_rule(ask(CHECK, too_far_in(front)), "overlap")
    assert (finding.remedy == words) is bool(words), finding.remedy
    assert ("back to hole" in finding.remedy) is bool(words)
    if words:
        mended = {**too_far_in(front), "place": [post("S1", "E4")]}
        assert of_rule(ask(CHECK, mended), "overlap") == []


def test_a_hole_that_does_not_work_is_not_named() -> None:
    """The hole may be blocked, another block's, or lead into another body."""
    blocked = too_far_in(175.0)
    blocked["table"] = {**blocked["table"], "blocked": ["E4"]}
    taken = too_far_in(175.0, place=[post("S2", "E4", width=20, height=10)])
    behind = too_far_in(175.0)
    behind["plate"].append(slab("in the way", (180, 100, 20), (260, 140, 40)))
    beside = too_far_in(175.0)
    beside["plate"].append(slab("not in the way", (180, 100, 20), (260, 125, 40)))
    for tables, named in ((blocked, False), (taken, False), (behind, False), (beside, True)):
        finding = next(f for f in of_rule(ask(CHECK, tables), "overlap") if f.subjects == ("S1", "bar"))
        assert ("back to hole E4" in finding.remedy) is named


def test_no_amount_is_named_where_no_hole_is() -> None:
    """S1 in A4 begins at x = -25; the panel wants it further left, where the table has no column."""
    panel = slab("panel", (70, 100, 0), (300, 200, 40))
    for hole, words in (("A4", "no hole is there"), ("B4", "the next hole that way is A4")):
        shifted = copy.deepcopy(panel)
        shifted["at"][0] += 50 if hole == "B4" else 0
        (finding,) = of_rule(ask(CHECK, scene(place=[post("S1", hole)], plate=[shifted])), "overlap")
        assert words in finding.remedy
        assert finding.remedy.startswith("move S1") is (hole == "B4")


def test_slide_is_sent_back_by_notches() -> None:
    """At notch 5 the slide's back is at 175 + 15 = 190; the panel begins at 183.5: two notches and a bit too far."""
    drawer = {"name": "D1", "model": "drawer", "hole": "E4", "notch": 5}
    for start, notch in ((183.5, 2), (184.0, 3), (189.9, 4)):
        tables = scene(place=[drawer], plate=[slab("panel", (175, start, 20), (275, 300, 35))])
        (finding,) = of_rule(ask(CHECK, tables), "overlap")
        assert f"set D1 to notch {notch}," in finding.remedy
        after = scene(place=[{**drawer, "notch": notch}], plate=tables["plate"])
        assert of_rule(ask(CHECK, after), "overlap") == []


def test_two_blocks_in_one_place_and_the_lighter_one_moves() -> None:
    """S2 in F4 begins at x = 225, 50 mm into S1, which ends at 275."""
    tables = scene(place=[post("S1", "E4", length=100), post("S2", "F4", length=60)])
    (finding,) = of_rule(ask(CHECK, tables), "overlap")
    assert finding.subjects == ("S2", "S1")
    turned = scene(place=[post("S1", "E4", length=60), post("S2", "F4", length=100)])
    assert of_rule(ask(CHECK, turned), "overlap")[0].subjects == ("S1", "S2")


def test_the_block_that_carries_another_stays() -> None:
    light, heavy = post("S1", "E4", length=60), post("S2", "F4", length=100)
    on_light = {k: v for k, v in post("T1", "A1", length=20, width=20).items() if k != "hole"}
    tables = scene(place=[light, heavy, {**on_light, "on": "S1", "socket": "1"}])
    found = of_rule(ask(CHECK, tables), "overlap")
    assert ("S2", "S1") in {f.subjects for f in found}


def test_blocks_side_by_side_touch() -> None:
    """S2 in G4 begins at x = 275, where S1 ends."""
    result = ask(CHECK, scene(place=[post("S1", "E4"), post("S2", "G4")]))
    assert result.findings == ()
    kinds = {(r["a"], r["b"]): r["kind"] for r in result.figures["pairs"]}
    assert kinds["S1", "S2"] == "touching"


def test_dowels_are_not_held_against_their_own_block_socket_or_table() -> None:
    tables = scene(place=[post("R1", "E4"), {**post("S1", "E4"), "on": "R1", "socket": "1"}])
    del tables["place"][1]["hole"]
    result = ask(CHECK, tables)
    assert result.findings == ()
    names = {n for r in result.figures["pairs"] for n in (r["a"], r["b"])}
    assert {"R1", "S1", "table"} <= names


def test_dowel_of_another_block_counts() -> None:
    """The dowel of S1 stands up to 32 mm above the table where S2 is put down by measuring."""
    tables = scene(place=[post("S1", "E4", height=40), {**post("S2", "E4"), "free": [180, 130, 35, 0]}])
    del tables["place"][1]["hole"]
    pairs = ask(CHECK, tables).figures["pairs"]
    assert ("S1", "S2") in {(r["a"], r["b"]) for r in pairs if r["kind"] == "overlapping"}


def test_dowel_of_a_stacked_block_is_held_against_others() -> None:
    """T1's dowel reaches 16 mm down into its socket in R1, through which S2 was drawn by mistake."""
    on = {k: v for k, v in post("T1", "A1").items() if k != "hole"} | {"on": "R1", "socket": "1"}
    wrong = {k: v for k, v in post("S2", "A1", height=40).items() if k != "hole"} | {"free": [210, 150, 0, 0]}
    pairs = ask(CHECK, scene(place=[post("R1", "E4"), on, wrong])).figures["pairs"]
    met = {frozenset((r["a"], r["b"])) for r in pairs if r["kind"] == "overlapping"}
    assert frozenset(("T1 pin 1", "S2")) in met
    assert not any({"T1 pin 1", "R1"} <= {r["a"], r["b"]} for r in pairs)


# --- the clamp: post in E4, arm along +X at 60 mm over y = 150, its tip at x = 300 --------------------------


def clamped(height: float, **more: Any) -> dict[str, Any]:
    clamp = {
        "name": "K1", "model": "presser", "hole": "E4", "turn": 0, "presses": "panel",
        "with": {"reach": 100, "work_height": 60, "shank": 10},
    }  # fmt: skip
    panel = slab("panel", (230, 100, 0), (400, 200, height))
    return scene(clamp=[clamp], plate=[panel], **more)


@pytest.mark.parametrize("height", [60.0, 59.985, 60.015])
def test_tip_on_the_piece_is_normal(height: float) -> None:
    result = ask(CHECK, clamped(height))
    assert result.findings == ()
    row = next(r for r in result.figures["pairs"] if {r["a"], r["b"]} == {"K1 arm", "panel"})
    assert row["kind"] == "touching"


@pytest.mark.parametrize(("height", "level"), [(59.97, "warn"), (50.01, "warn"), (49.9, "fail")])
def test_tip_that_stops_short(height: float, level: str) -> None:
    (finding,) = of_rule(ask(CHECK, clamped(height)), "clamp-misses")
    assert finding.level == level
    assert finding.subjects == ("K1", "panel")
    assert finding.measured == pytest.approx(60 - height)
    assert ("screw the tip" in finding.remedy) == (level == "warn")


def test_tip_that_points_past_the_piece() -> None:
    """The tip's face reaches from 292 to 308."""
    tables = clamped(60.0)
    tables["plate"] = [slab("panel", (230, 158.5, 0), (400, 200, 60))]
    (finding,) = of_rule(ask(CHECK, tables), "clamp-misses")
    assert finding.level == "fail"
    assert finding.measured is None
    tables["plate"] = [slab("panel", (230, 157.5, 0), (400, 200, 60))]
    assert of_rule(ask(CHECK, tables), "clamp-misses") == []


def test_tip_in_the_piece_is_an_overlap() -> None:
    (finding,) = of_rule(ask(CHECK, clamped(60.5)), "overlap")
    assert finding.subjects == ("K1", "panel")
    assert finding.measured == pytest.approx(0.5)


@pytest.mark.parametrize(("low", "blocked"), [(180.0, False), (179.985, False), (179.9, True)])
def test_sweep_blocked(low: float, blocked: bool) -> None:
    """The sweep fills z 80 to 180 above the arm."""
    tables = clamped(60.0)
    tables["plate"].append(slab("roof", (260, 100, low), (280, 200, low + 10)))
    found = of_rule(ask(CHECK, tables), "sweep-blocked")
    assert [f.subjects for f in found] == ([("K1", "roof")] if blocked else [])
    if blocked:
        assert found[0].level == "fail"
        assert found[0].measured == pytest.approx(0.1)


@pytest.mark.parametrize(("hole", "named"), [("F4", "the next hole that way is"), ("AD1", "")])
def test_what_stands_in_the_sweep_is_told_its_next_hole(hole: str, named: str) -> None:
    """S9 is as high as the sweep, and nearest out of it to the front, where row 1 is the last."""
    tables = clamped(60.0, place=[post("S9", hole, length=30, width=30, height=150)])
    if not named:
        tables["clamp"][0].update(hole="AB1", turn=0)
        tables["clamp"][0].pop("presses")
    finding = next(f for f in of_rule(ask(CHECK, tables), "sweep-blocked") if f.subjects == ("K1", "S9"))
    assert "S9 would be clear of it" in finding.remedy
    assert (re.search(r": the next hole that way is [A-Z]+[0-9]+$", finding.remedy) is not None) is bool(named)


def test_sweeps_of_two_clamps_are_not_compared() -> None:
    tables = clamped(60.0)
    other = copy.deepcopy(tables["clamp"][0])
    other.update(name="K2", hole="H4", turn=180)
    tables["clamp"].append(other)
    result = ask(CHECK, tables)
    assert of_rule(result, "sweep-blocked") != [] or of_rule(result, "overlap") != []
    assert not any("sweep" in r["a"] and "sweep" in r["b"] for r in result.figures["pairs"])


# --- table --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("lift", "bad"), [(0.0, False), (-0.019, False), (-0.021, True), (-2.0, True)])
def test_piece_below_the_table(lift: float, bad: bool) -> None:
    tables = scene(plate=[slab("panel", (10, 10, 0), (40, 40, 10))], weldment={"hole": "A1", "lift": lift})
    found = of_rule(ask(CHECK, tables), "below-table")
    assert len(found) == bad
    if bad:
        assert found[0].subjects == ("panel",)
        assert found[0].measured == pytest.approx(-lift)
        assert found[0].level == "fail"
        assert "up (+Z)" in found[0].remedy


def test_shank_in_its_hole_is_fine_and_beside_it_is_not() -> None:
    tables = clamped(60.0)
    assert rules(tables) == []
    tables["clamp"][0].pop("hole")
    tables["clamp"][0]["free"] = [215, 150, 0, 0]
    tables["clamp"][0]["magnet"] = True
    assert "below-table" in rules(tables)


def test_extra_plate_with_thickness_counts() -> None:
    side = {"name": "side", "origin": [0, 300, 25], "x": [1, 0, 0], "y": [0, 0, 1], "columns": 10, "rows": 4,
            "edge": 25}  # fmt: skip
    panel = slab("panel", (110, 299, 0), (140, 400, 10))
    thin = scene(plate=[panel], grid=[side])
    thick = scene(plate=[panel], grid=[{**side, "thickness": 20}])
    assert of_rule(ask(CHECK, thin), "below-table") == []
    (finding,) = of_rule(ask(CHECK, thick), "below-table")
    assert finding.message == "panel runs into the side"


def test_assumed_thickness_is_said() -> None:
    tables = panel_behind(0.0)
    assert not any("not given" in line for line in ask(CHECK, tables).not_covered)
    del tables["table"]["thickness"]
    assert any("thickness of the table is not given" in line for line in ask(CHECK, tables).not_covered)


# --- pieces -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("start", "bad"), [(100.0, False), (99.985, False), (99.9, True)])
def test_pieces_drawn_into_each_other(start: float, bad: bool) -> None:
    plates_ = [slab("one", (0, 0, 0), (100, 50, 10)), slab("two", (start, 0, 0), (200, 50, 10))]
    found = of_rule(ask(CHECK, scene(plate=plates_)), "piece-overlap")
    assert len(found) == bad
    if bad:
        assert found[0].level == "fail"
        assert found[0].unit == "mm3"
        assert found[0].measured == pytest.approx(0.1 * 50 * 10)
        assert set(found[0].subjects) == {"one", "two"}


def test_mitred_frame_does_not_overlap() -> None:
    frame_ = {"name": "base", "stock": "SHS 40x40x3", "width": 400, "height": 300, "corners": "mitre"}
    result = ask(CHECK, scene(frame=[frame_], weldment={"hole": "A1", "lift": 20}))
    assert result.findings == ()
    touching = [r for r in result.figures["pairs"] if r["kind"] == "touching" and "table" not in (r["a"], r["b"])]
    assert len(touching) == 4


@pytest.mark.parametrize(("top", "bad"), [(50.0, False), (50.015, False), (49.98, False), (50.03, True), (51.0, True)])
def test_piece_that_rests_on_nothing(top: float, bad: bool) -> None:
    panel = slab("panel", (175, 100, top), (275, 200, top + 10))
    found = of_rule(ask(CHECK, scene(place=[post("S1", "E4")], plate=[panel])), "unsupported")
    assert [f.subjects for f in found] == ([("panel", "S1")] if bad else [])


@pytest.mark.parametrize(("gap", "named"), [(0.2, True), (4.99, True), (5.01, False)])
def test_a_piece_just_above_a_block_is_told_which_and_how_far(gap: float, named: bool) -> None:
    panel = slab("panel", (175, 100, 50 + gap), (275, 200, 70))
    (finding,) = of_rule(ask(CHECK, scene(place=[post("S1", "E4")], plate=[panel])), "unsupported")
    assert finding.measured == (pytest.approx(gap) if named else None)
    assert ("shim S1 by" in finding.remedy) is named
    if gap == 0.2:
        assert finding.remedy == "0.20 mm above S1: lower the lift by 0.2 mm, or shim S1 by 0.2 mm"


@pytest.mark.parametrize("deep", [0.03, 0.2, 3.0, 9.0])
def test_a_piece_that_sinks_into_its_block_rests_on_it(deep: float) -> None:
    """It is an overlap, and only that."""
    panel = slab("panel", (175, 100, 50 - deep), (275, 400, 70))
    assert rules(scene(place=[post("S1", "E4")], plate=[panel])) == ["overlap"]


def test_a_piece_that_runs_into_the_side_of_a_block_does_not_rest_on_it() -> None:
    panel = slab("panel", (175, 173, 20), (275, 275, 30))
    assert rules(scene(place=[post("S1", "E4")], plate=[panel])) == ["overlap", "unsupported"]


def test_piece_beside_a_block_is_not_carried_by_it() -> None:
    panel = slab("panel", (175, 175, 20), (275, 275, 30))
    (finding,) = of_rule(ask(CHECK, scene(place=[post("S1", "E4")], plate=[panel])), "unsupported")
    assert "20 mm above the table" in finding.remedy


def test_piece_on_a_piece_on_a_block_is_carried() -> None:
    low = slab("low", (175, 100, 50), (275, 200, 60))
    high = slab("high", (200, 120, 60), (220, 140, 90))
    butted = slab("butted", (275, 100, 50), (375, 200, 60))
    result = ask(CHECK, scene(place=[post("S1", "E4")], plate=[high, low, butted]))
    assert [f.subjects for f in of_rule(result, "unsupported")] == [("butted",)]


def test_round_bar_on_two_flats_rests() -> None:
    low = box((0, 0, 0), (100, 10, 10)).triangles
    turn = np.linspace(0, 2 * math.pi, 65)
    ring = np.stack([np.zeros(65), 5 + 10 * np.sin(turn), 20 + 10 * np.cos(turn)], axis=1)
    far = ring + np.array([50.0, 0, 0])
    sides = [[ring[k], far[k], far[k + 1]] for k in range(64)] + [[ring[k], far[k + 1], ring[k + 1]] for k in range(64)]
    bar = np.array(sides)
    normals = np.cross(bar[:, 1] - bar[:, 0], bar[:, 2] - bar[:, 0])
    outward = np.einsum("ij,ij->i", normals, bar.mean(axis=1) - [25, 5, 20])
    bar = np.where((outward < 0)[:, None, None], bar[:, ::-1], bar)
    assert rests_on(bar, low, 0.04)
    assert not rests_on(bar + np.array([0, 0, 0.1]), low, 0.04)
    assert not rests_on(bar + np.array([0, 20.0, 0]), low, 0.04)


def test_slope_that_meets_a_flat_nowhere_near_does_not_rest() -> None:
    """A face that goes from 5 below the flat to 5 above it has no corner near it: it crosses, it does not lie on it."""
    flat = box((0, 0, -10), (40, 40, 0)).triangles
    slope = np.array([[[10.0, 5, -5], [10, 35, -5], [30, 20, 5]]])
    assert not rests_on(slope, flat, 0.04)
    level = np.array([[[10.0, 5, 0], [10, 35, 0], [30, 20, 0]]])
    assert rests_on(level, flat, 0.04)
    assert not rests_on(level[:, ::-1], flat, 0.04)


# --- corner radius: SHS 40x40x3 has an outside radius of 6 mm (EN 10219: 2 T for T up to 6) -----------------


@pytest.mark.parametrize(("reach", "bad"), [(5.9, True), (6.1, False), (20.0, False)])
def test_pad_in_the_round_of_a_tube(reach: float, bad: bool) -> None:
    """S1 is 50 high; the tube lies behind it with its underside at 50 - reach."""
    tube = {"name": "tube", "stock": "SHS 40x40x3", "from": [100, 195, 70 - reach], "to": [400, 195, 70 - reach]}
    result = ask(CHECK, scene(place=[post("S1", "E4")], member=[tube]))
    found = of_rule(result, "corner-radius")
    assert [f.subjects for f in found] == ([("S1", "tube")] if bad else [])
    if bad:
        assert found[0].measured == pytest.approx(reach)
        assert found[0].limit == pytest.approx(6.0)
        # Hand check: the tube's face there is 6 - sqrt(6^2 - (6 - 5.9)^2) away, less than a hundredth.
        assert found[0].level == "warn"


@pytest.mark.parametrize(("roll", "high", "wide"), [(0, 60.0, 40.0), (90, 40.0, 60.0)])
@pytest.mark.parametrize(("reach", "bad"), [(5.9, True), (6.1, False)])
def test_pad_in_the_round_of_a_rectangular_tube(roll: int, high: float, wide: float, reach: float, bad: bool) -> None:
    """RHS 60x40x3, upright and lying: its underside at 50 - reach, its near side at S1's back."""
    y, z = 175 + wide / 2, 50 - reach + high / 2
    tube = {"name": "tube", "stock": "RHS 60x40x3", "from": [100, y, z], "to": [400, y, z], "roll": roll}
    result = ask(CHECK, scene(place=[post("S1", "E4")], member=[tube]))
    assert [f.measured for f in of_rule(result, "corner-radius")] == ([pytest.approx(reach)] if bad else [])


def test_pad_beyond_the_end_of_the_tube_says_nothing() -> None:
    tube = {"name": "tube", "stock": "SHS 40x40x3", "from": [276, 195, 66], "to": [400, 195, 66]}
    assert of_rule(ask(CHECK, scene(place=[post("S1", "E4")], member=[tube])), "corner-radius") == []


# --- room for the bead --------------------------------------------------------------------------------------


def keep_out(distance: float) -> dict[str, Any]:
    """A rib on a base; the weld runs along the rib's front foot at y = 300, z = 60; S1's back is ``distance`` off."""
    base = slab("base", (100, 175, 50), (400, 500, 60))
    rib = slab("rib", (150, 175 + distance, 60), (350, 185 + distance, 100))
    weld = {"name": "root", "joins": ["base", "rib"], "path": [[150, 175 + distance, 60], [350, 175 + distance, 60]],
            "type": "fillet", "size": 3}  # fmt: skip
    return scene(place=[post("S1", "E4", height=80)], plate=[base, rib], weld=[weld])


@pytest.mark.parametrize(("distance", "bad"), [(9.9, True), (10.1, False), (3.0, True)])
def test_block_in_the_bead(distance: float, bad: bool) -> None:
    found = of_rule(ask(CHECK, keep_out(distance)), "weld-keep-out")
    assert [f.subjects for f in found] == ([("S1", "root")] if bad else [])
    if bad:
        assert found[0].level == "warn"
        assert found[0].measured == pytest.approx(distance, abs=1e-3)
        assert found[0].limit == SHOP.bead_keep_out


def test_block_behind_the_metal_does_not_feel_the_weld() -> None:
    """R1 stands right under the base, 5 mm below the root."""
    base, rib = slab("base", (100, 100, 50), (400, 500, 55)), slab("rib", (150, 150, 55), (350, 160, 100))
    weld = {
        "name": "root",
        "joins": ["base", "rib"],
        "path": [[150, 150, 55], [350, 150, 55]],
        "type": "fillet",
        "size": 3,
    }
    assert rules(scene(place=[post("R1", "E4")], plate=[base, rib], weld=[weld])) == []


def test_outside_corner_feels_both_sides() -> None:
    """On an outside corner the bead stands out over both faces; inside a corner only over what both look at."""
    sides = np.array([[0.0, 0, 1], [0, -1.0, 0]])
    path = np.array([[0.0, 0, 0], [100.0, 0, 0]])
    above = box((0, 5, 4), (100, 20, 10)).triangles

    def weld(kind: str) -> Weld:
        return Weld(name="w", type=kind, joins=("a", "b"), size=3.0, path=path, technique="", sides=sides)

    assert bead_distance(weld("fillet"), above, 10.0) is None
    found = bead_distance(weld("corner"), above, 10.0)
    assert found is not None
    assert found[0] == pytest.approx(math.hypot(5, 4))


def test_swept_space_may_lie_in_the_bead() -> None:
    """The sweep passes 5 mm in front of this weld; the shut arm ends 15 mm below it."""
    weld = {"name": "root", "type": "fillet", "size": 3, "sides": [[0, -1, 0], [0, 0, 1]],
            "path": [[250, 165, 95], [300, 165, 95]]}  # fmt: skip
    assert rules(clamped(60.0, weld=[weld])) == []
    lower = {**weld, "path": [[250, 165, 75], [300, 165, 75]]}
    assert rules(clamped(60.0, weld=[lower])) == ["weld-keep-out"]


def test_segment_against_triangles_by_brute_force() -> None:
    rng = np.random.default_rng(3)
    grid = np.linspace(0.0, 1.0, 41)
    u, v = (w.ravel() for w in np.meshgrid(grid, grid))
    inside = u + v <= 1.0 + 1e-12
    u, v = u[inside], v[inside]
    for _ in range(60):
        start, end, *corners = rng.uniform(-10, 10, (5, 3))
        a, b, c = corners
        found, at = segment_triangles(start, end, np.array([[a, b, c]]))
        cloud = a + u[:, None] * (b - a) + v[:, None] * (c - a)
        line = start + grid[:, None] * (end - start)
        brute = float(np.linalg.norm(cloud[:, None] - line[None], axis=2).min())
        assert found <= brute + 1e-9
        assert found >= brute - 0.5
        assert float(np.linalg.norm(cloud - at, axis=1).min()) <= found + 0.5


# --- words --------------------------------------------------------------------------------------------------


def test_words_are_never_short_of_the_way() -> None:
    assert in_words(np.array([-3.2, 0.0, 0.0]), "mm") == "3.2 mm left (-X)"
    assert in_words(np.array([0.0, 1.2345, 0.0]), "mm") == "1.24 mm back (+Y)"
    assert in_words(np.array([0.01, 0.0, -2.0]), "mm") == "2 mm down (-Z)"
    assert in_words(np.array([1.0, -2.0, 0.0]), "mm") == "2 mm front (-Y) and 1 mm right (+X)"


def test_every_rule_has_its_manual_page() -> None:
    for rule in CHECK.rules:
        assert len(rule.meaning) > 60
        assert len(rule.cure) > 30
        assert rule.title


# --- what must not change anything --------------------------------------------------------------------------


def everything() -> dict[str, Any]:
    """At least one finding of most rules."""
    tables = clamped(59.0)
    tables["plate"] += [
        slab("roof", (260, 100, 150), (280, 200, 160)),
        slab("sunk", (510, 110, -1), (540, 140, 10)),
        slab("one", (600, 100, 60), (700, 150, 70)),
        slab("two", (699, 100, 60), (800, 150, 70)),
    ]
    tables["place"] = [post("S1", "E8"), post("S2", "F8", length=60), post("S3", "M4", height=61)]
    return tables


def test_everything_has_what_it_should() -> None:
    assert set(rules(everything())) >= {
        "overlap", "sweep-blocked", "below-table", "piece-overlap", "clamp-misses", "unsupported",
    }  # fmt: skip


def test_shift_by_whole_pitches_changes_no_finding() -> None:
    here, there = everything(), everything()
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    there["weldment"]["hole"] = "D6"
    for item in there["place"] + there["clamp"]:
        hole = item["hole"]
        item["hole"] = f"{letters[letters.index(hole[0]) + 3]}{int(hole[1:]) + 5}"
    one, two = ask(CHECK, here), ask(CHECK, there)
    assert shape_of(one) == shape_of(two)
    for a, b in zip(one.findings, two.findings, strict=True):
        assert a.at is not None
        assert b.at is not None
        assert np.subtract(b.at, a.at) == pytest.approx((150.0, 250.0, 0.0), abs=1e-5)


def test_quarter_turn_of_the_whole_setup_changes_no_finding() -> None:
    """(x, y) goes to (1000 - y, x): column i, row j to column 20 - j, row i."""
    here, there = everything(), everything()
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    there["weldment"] = {"hole": "U1", "turn": 90}
    for item in there["place"] + there["clamp"]:
        i, j = letters.index(item["hole"][0]), int(item["hole"][1:]) - 1
        item.update(hole=f"{letters[20 - j]}{i + 1}", turn=item.get("turn", 0) + 90)
    one, two = ask(CHECK, here), ask(CHECK, there)
    assert shape_of(one) == shape_of(two)
    for a, b in zip(one.findings, two.findings, strict=True):
        assert a.at is not None
        assert b.at is not None
        assert b.at == pytest.approx((1000.0 - a.at[1], a.at[0], a.at[2]), abs=1e-5)


def test_order_in_the_file_changes_no_finding() -> None:
    tables = everything()
    turned = {k: v[::-1] if isinstance(v, list) else v for k, v in tables.items()}
    assert shape_of(ask(CHECK, tables)) == shape_of(ask(CHECK, turned))


def test_names_change_nothing_but_names() -> None:
    tables = everything()
    text = repr(tables)
    new = {"'S1'": "'stop far'", "'S2'": "'a'", "'panel'": "'Zarge'", "'K1'": "'press'"}
    for old, name in new.items():
        text = text.replace(old, name)
    renamed = eval(text)
    one, two = ask(CHECK, tables), ask(CHECK, renamed)
    back = {v.strip("'"): k.strip("'") for k, v in new.items()}
    assert {(f.rule, f.level, frozenset(f.subjects)) for f in one.findings} == {
        (f.rule, f.level, frozenset(back.get(s, s) for s in f.subjects)) for f in two.findings
    }


def test_the_cache_changes_nothing(tmp_path: Path) -> None:
    tables = everything()
    fresh = ask(CHECK, tables)
    first = ask(CHECK, tables, Store(tmp_path))
    again = ask(CHECK, tables, Store(tmp_path))
    assert fresh == first == again


def test_needs_a_body() -> None:
    assert CHECK.needs(job(scene())) != ""
    assert isinstance(Scene.from_dict(scene()), Scene)
