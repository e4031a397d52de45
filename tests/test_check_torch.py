"""Every rule of the torch check either side of its limit, on joints whose answer follows from the torch's measures.

The torch here is straight and is held square to the face in one position only: nozzle 20 across from 15 to 75 mm above
the root, neck 16 across for 20 mm, then a handle of 38 by 180 and a hand 90 across round its rear three quarters. A
wall beside the weld is met by the hand at 45 mm and, when it is too low for the hand, by the nozzle at 10 mm.
"""

from __future__ import annotations

import math
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from fixture3d.access.access import WeldAccess
from fixture3d.access.obstacles import Obstacles
from fixture3d.cache import Store
from fixture3d.checks import torch_access, torch_words, weld_doubts
from fixture3d.checks.base import quiet
from tests.check_jobs import ask, job, of_rule, post, scene, shape_of, slab

CHECK = torch_access.CHECK
MARGIN = 0.05

TORCH = {
    "nozzle_diameter": 20, "nozzle_length": 60, "neck_angle": 0, "neck_radius": 20, "neck_diameter": 16,
    "handle_diameter": 38, "handle_length": 180, "hand_diameter": 90,
}  # fmt: skip
TECHNIQUE = {"torch": "straight", "work_angle": [0, 0], "travel_angle": [0, 0], "stand_off": 15}


def butt(path: Any = ((300, 300, 60), (340, 300, 60)), **more: Any) -> dict[str, Any]:
    """Two plates of 10 mm side by side, 50 above the table; their butt weld runs along y = 300."""
    weld = {"name": "seam", "type": "butt", "size": 3, "joins": ["one", "two"], "path": [list(p) for p in path]}
    return scene(
        torch={"straight": TORCH},
        technique={"t1": TECHNIQUE},
        weldment={"hole": "A1", "technique": "t1"},
        plate=[slab("one", (200, 200, 50), (500, 300, 60)), slab("two", (200, 300, 50), (500, 400, 60))],
        weld=[weld],
        **more,
    )


def walled(gap: float, height: float = 300.0, **more: Any) -> dict[str, Any]:
    """A long wall along the whole weld, its face ``gap`` from the root; x from 175, y up to 300 - gap."""
    wall = {**post("W1", "E4", length=300, width=20, height=height), "free": [200, 290 - gap, 0, 0]}
    del wall["hole"]
    # It stands through the plates, which is no concern of the torch.
    return butt(place=[wall], **more)


def row(result: Any, name: str = "seam") -> dict[str, Any]:
    found: dict[str, Any] = next(r for r in result.figures["welds"] if r["name"] == name)
    return found


def test_open_butt_is_reached_all_along() -> None:
    result = ask(CHECK, butt())
    assert result.findings == ()
    found = row(result)
    keys = ["name", "type", "joins", "length", "reachable", "longest_run", "runs", "unreached"]
    assert list(found)[: len(keys)] == keys
    assert found["runs"] == [{"from": 0.0, "to": 40.0, "direction": "forward"}]
    assert found["unreached"] == []
    assert found["type"] == "butt"
    assert found["joins"] == ["one", "two"]
    assert found["length"] == found["reachable"] == found["longest_run"] == pytest.approx(40.0)
    assert found["blockers"] == []
    assert (found["position"]["iso"], found["position"]["aws"]) == ("PA", "1G")
    assert found["position"]["turn"] is None
    best = found["best"]
    assert best["axis"] == pytest.approx([0.0, 0.0, 1.0])
    assert (best["work_angle"], best["travel_angle"]) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("gap", "height", "blocked"),
    [
        (45.0 + 2 * MARGIN, 300.0, False),  # beside the hand
        (45.0 + MARGIN / 2, 300.0, True),
        (19.0 + 2 * MARGIN, 160.0, False),  # 100 above the face: the handle is met, the hand begins higher
        (10.0 + 2 * MARGIN, 120.0, False),  # 60 above the face: only the nozzle is met
        (10.0 + MARGIN / 2, 120.0, True),
        (5.0, 74.9, False),  # lower than the nozzle's front
    ],
)
def test_wall_either_side_of_the_torch(gap: float, height: float, blocked: bool) -> None:
    result = ask(CHECK, walled(gap, height))
    assert (len(of_rule(result, "weld-blocked")) == 1) == blocked
    assert row(result)["reachable"] == pytest.approx(0.0 if blocked else 40.0)
    assert (row(result)["best"] is None) == blocked


def test_blocked_weld_names_who_and_what_to_do() -> None:
    (finding,) = of_rule(ask(CHECK, walled(30.0)), "weld-blocked")
    assert finding.level == "fail"
    assert finding.subjects == ("seam", "W1")
    assert finding.unit == "mm"
    assert [finding.measured, finding.limit] == pytest.approx([0.0, 40.0])
    # At 90 degrees it would run into the other plate as well, at 180 hang over the edge of the table.
    assert finding.remedy == (
        "turn W1 to 270: then all 40 mm are reached (tried); W1 is in the way of 100 % of the blocked positions"
    )


def test_part_of_a_weld() -> None:
    """The post's end is at x = 275, so points nearer than 45.05 to it are blocked: the ones at 300, 305 ... 320."""
    end = {**post("W1", "E4", length=100, width=20, height=300), "free": [200, 300, 0, 0]}
    del end["hole"]
    result = ask(CHECK, butt(place=[end]))
    (finding,) = of_rule(result, "weld-partly-blocked")
    # 9 points 5 mm apart; the first stands for 2.5 mm. 320 is 45 away and blocked by the margin.
    assert finding.level == "warn"
    assert finding.measured == pytest.approx(40.0 - 2.5 - 4 * 5.0)
    assert finding.limit == pytest.approx(40.0)
    assert "43 % of it can be welded here, not from 0 mm to 22 mm along its path" in finding.remedy
    assert row(result)["unreached"] == [[0.0, 22.5]]
    assert finding.subjects == ("seam", "W1")
    assert row(result)["longest_run"] == pytest.approx(17.5)
    assert of_rule(result, "weld-restart") == []


@pytest.mark.parametrize(
    ("length", "end", "said"),
    [
        (40.0, 255.5, False),  # the point at 300 alone: 2.5 mm of 40 mm
        (40.0, 260.5, True),  # that at 305 as well: 7.5 mm
        (25.0, 255.5, False),  # 2.5 mm are just a tenth
        (20.0, 255.5, True),
    ],
)
def test_a_bead_may_begin_a_little_late(length: float, end: float, said: bool) -> None:
    """The post's end is more than 45.05 from the first point that is free."""
    post_ = {**post("W1", "E4", length=100, width=20, height=300), "free": [end - 75.0, 300, 0, 0]}
    del post_["hole"]
    result = ask(CHECK, butt(path=((300, 300, 60), (300 + length, 300, 60)), place=[post_]))
    found, missing = row(result), 2.5 if end < 260.0 else 7.5
    assert found["unreached"] == [[0.0, pytest.approx(missing)]]
    assert found["reachable"] == pytest.approx(length - missing)
    assert [f.rule for f in result.findings] == (["weld-partly-blocked"] if said else [])
    assert found["short_ends"] == ([] if said else [{"end": "left", "length": 2.5, "reached": False}])
    assert found["restarts"] == 0


def test_piece_in_the_way_is_named_as_work() -> None:
    tables = butt()
    tables["plate"].append(slab("shelf", (200, 200, 100), (500, 400, 110)))
    (finding,) = of_rule(ask(CHECK, tables), "weld-blocked")
    assert "shelf is in the way of 100 %" in finding.remedy
    assert "weld it before shelf is put there: then all 40 mm are reached (tried)" in finding.remedy


def test_two_blocks_are_named_together_and_joined_pieces_as_such() -> None:
    """A wall in front and one behind, both met by the hand; then a technique that leans the torch into plate "one"."""
    tables = walled(30.0)
    tables["place"].append({**tables["place"][0], "name": "W2", "free": [200, 340, 0, 0]})
    (finding,) = of_rule(ask(CHECK, tables), "weld-blocked")
    assert finding.subjects == ("seam", "W1", "W2")
    assert "W1 is in the way of 100 %, W2 100 % of the blocked positions" in finding.remedy
    assert "no one block is enough, for W1 and W2 are each in the way" in finding.remedy
    assert "5 changes tried; none gives it back" in finding.remedy
    leaning = butt()
    leaning["technique"]["t1"] = {**TECHNIQUE, "work_angle": [88, 0]}
    leaning["plate"].append(slab("shelf", (200, 200, 110), (500, 400, 120)))  # else a butt technique gives it back
    (finding,) = of_rule(ask(CHECK, leaning), "weld-blocked")
    assert "one of the two pieces welded here" in finding.remedy


def test_table_is_in_the_way_of_an_overhead_weld() -> None:
    """From below, 50 mm above the table, there is no room for the torch."""
    tables = butt(path=((300, 300, 50), (340, 300, 50)))
    tables["weld"][0]["sides"] = [[0, 0, -1], [0, 0, -1]]
    del tables["weld"][0]["joins"]
    (finding,) = of_rule(ask(CHECK, tables), "weld-blocked")
    assert finding.subjects == ("seam", "table")
    assert "lift the work" in finding.remedy


@pytest.mark.parametrize(("room", "said"), [(4.9, True), (5.1, False)])
def test_tight(room: float, said: bool) -> None:
    found = of_rule(ask(CHECK, walled(45.0 + room)), "weld-tight")
    assert len(found) == said
    if said:
        assert found[0].level == "note"
        assert found[0].measured == pytest.approx(room, abs=1e-4)


def test_a_block_that_carries_work_is_not_to_be_lowered() -> None:
    """W1 stands beside the work, W2 beneath plate two; a clamp is not lowered at all."""
    made = job(butt(place=[post("W1", "P3"), post("W2", "F8", height=50)],
                    clamp=[{"name": "K1", "model": "presser", "hole": "R9", "turn": 90}]))  # fmt: skip
    ways = torch_words._ways
    assert ways(made, ["W1"]) == "turn it, use a lower block, or move it one hole (50 mm) away"
    assert ways(made, ["W2"]) == "turn it, or move it one hole (50 mm) away; do not lower W2, for it carries two"
    assert ways(made, ["K1"]) == "turn it, or move it one hole (50 mm) away"
    assert ways(made, ["W1", "W2"]) == (
        "turn them, use a lower W1, or move them one hole (50 mm) away; do not lower W2, for it carries two"
    )


def test_corner_in_the_path_is_a_stop() -> None:
    """Round the corner of a patch: 40 along X and 30 along Y."""
    tables = butt()
    tables["plate"] = [slab("one", (200, 200, 50), (500, 400, 60)), slab("two", (300, 300, 60), (340, 330, 70))]
    tables["technique"]["t1"] = {**TECHNIQUE, "work_angle": [45, 0]}
    tables["weld"] = [{**tables["weld"][0], "type": "fillet", "path": [[300, 300, 60], [340, 300, 60], [340, 330, 60]]}]
    (finding,) = of_rule(ask(CHECK, tables), "weld-restart")
    assert finding.level == "note"
    assert [finding.measured, finding.limit] == pytest.approx([40.0, 70.0])
    assert finding.remedy == (
        "it needs 1 restart: stop at 40 mm (or carry the torch round the corner there) along its path"
    )


# --- on the work ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("up", "off"), [(0.0, False), (0.49, False), (0.51, True), (3.0, True)])
def test_path_above_the_work(up: float, off: bool) -> None:
    result = ask(CHECK, butt(path=((300, 300, 60 + up), (340, 300, 60 + up))))
    found = of_rule(result, "weld-off-work")
    assert len(found) == off
    if off:
        assert found[0].level == "fail"
        assert found[0].measured == pytest.approx(up)
        assert found[0].subjects[0] == "seam"
        assert row(result)["reachable"] is None
        assert row(result)["best"] is None
        assert row(result)["length"] == pytest.approx(40.0)


@pytest.mark.parametrize(("deep", "inside"), [(0.0, False), (0.25, False), (0.35, True), (1.0, True)])
@pytest.mark.parametrize("where", ["in its own plate", "in a plate of others", "in a block"])
def test_path_inside_a_solid(where: str, deep: float, inside: bool) -> None:
    """Given by its sides alone, below the top of plate one, of a third plate that nobody names, or of a block."""
    tables = butt(path=((300, 250, 60 - deep), (340, 250, 60 - deep)))
    tables["weld"][0]["sides"] = [[0, 0, 1], [0, 0, 1]]
    del tables["weld"][0]["joins"]
    name = "one"
    if where == "in a plate of others":
        name = "third"
        tables["plate"].append(slab("third", (200, 450, 50), (500, 500, 60)))
        tables["weld"][0]["path"] = [[300, 480, 60 - deep], [340, 480, 60 - deep]]
    if where == "in a block":
        name = "W1"
        tables["place"] = [post("W1", "F10", length=200, height=60)]
        tables["weld"][0]["path"] = [[250, 450, 60 - deep], [300, 450, 60 - deep]]
    found = of_rule(ask(CHECK, tables), "weld-off-work")
    assert [f.subjects for f in found] == ([("seam", name)] if inside else [])
    if inside:
        assert (found[0].level, found[0].limit) == ("fail", 0.3)
        assert found[0].measured == pytest.approx(deep)


def test_part_of_a_path_inside_a_solid_and_paths_beside_it() -> None:
    """Only its second half lies in the third plate; in the bore of a tube no material is met."""
    tables = butt(path=((300, 430, 55), (300, 470, 55)))
    tables["weld"][0]["sides"] = [[0, 0, 1], [0, 0, 1]]
    del tables["weld"][0]["joins"]
    tables["plate"].append(slab("third", (200, 450, 50), (500, 500, 60)))
    (finding,) = of_rule(ask(CHECK, tables), "weld-off-work")
    assert finding.level == "warn"
    assert finding.measured == pytest.approx(5.0)
    tables["plate"].pop()
    tables["member"] = [{"name": "tube", "stock": "SHS 40x40x3", "from": [250, 450, 70], "to": [450, 450, 70]}]
    tables["weld"][0]["path"] = [[300, 450, 60], [340, 450, 60]]
    assert of_rule(ask(CHECK, tables), "weld-off-work") == []
    tables["weld"][0]["path"] = [[300, 450, 51.5], [340, 450, 51.5]]  # the middle of the lower wall
    (finding,) = of_rule(ask(CHECK, tables), "weld-off-work")
    assert finding.measured == pytest.approx(1.5)


@pytest.mark.parametrize(("past", "off"), [(0.45, False), (0.55, True), (4.0, True)])
def test_path_that_runs_past_the_end(past: float, off: bool) -> None:
    """Both plates end at x = 500."""
    found = of_rule(ask(CHECK, butt(path=((300, 300, 60), (500 + past, 300, 60)))), "weld-off-work")
    assert len(found) == off
    if off:
        assert found[0].level == "warn"
        assert found[0].measured == pytest.approx(past)
        assert found[0].at == pytest.approx((500 + past, 300, 60))


def test_the_piece_its_nearest_point_and_the_gap_are_named() -> None:
    """In the weldment's own frame: the weldment stands 25 in from A1, so the world is 25 further on."""
    tables = butt(path=((300, 300, 63), (340, 300, 63)))
    tables["weldment"]["offset"] = [25, 0]
    (finding,) = of_rule(ask(CHECK, tables), "weld-off-work")
    assert finding.measured == pytest.approx(3.0)
    assert finding.at == pytest.approx((345, 300, 63))
    assert "the nearest point of one is [320, 300, 60]" in finding.remedy
    assert "round" not in finding.remedy


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize(("out", "rounded"), [(0.0, True), (8.0, False)])
def test_a_path_over_the_round_corner_of_a_tube_is_told_so(units: str, out: float, rounded: bool) -> None:
    """SHS 40x40x3: outside radius 6 (EN 10219: 2 T), so the sharp corner is 6 (sqrt(2) - 1) = 2.49 off the metal.

    The metal nearest to the sharp corner is on the 45 degree line, 6 (1 - sqrt(1/2)) = 1.757 in from both sides.
    """
    mm = (lambda v: f"{v} mm") if units == "in" else (lambda v: v)
    tables = butt()
    tables["units"] = units
    tables["table"] = {key: mm(v) if key in ("pitch", "bore", "edge", "thickness") else v for key, v in
                       tables["table"].items()}  # fmt: skip
    tables["torch"], tables["technique"] = {}, {}
    tables["weldment"] = {"hole": "A1", "technique": "corner"}
    tables["plate"] = [
        {"name": "base", "outline": [[mm(0), mm(0)], [mm(400), mm(0)], [mm(400), mm(400)], [mm(0), mm(400)]],
         "thickness": mm(10), "at": [mm(100), mm(100), mm(50)]}
    ]  # fmt: skip
    tables["member"] = [
        {"name": "tube", "stock": "SHS 40x40x3", "from": [mm(v) for v in (200, 300, 80)],
         "to": [mm(v) for v in (400, 300, 80)]}
    ]  # fmt: skip
    path = [[mm(v) for v in (x, 280 - out, 60)] for x in (250, 350)]
    tables["weld"] = [{"name": "seam", "type": "fillet", "size": mm(3), "joins": ["base", "tube"], "path": path}]
    (finding,) = of_rule(ask(CHECK, tables), "weld-off-work")
    assert finding.subjects == ("seam", "tube")
    assert finding.measured == pytest.approx(math.hypot(6 + out, 6) - 6, abs=0.03)
    radius = "6 mm" if units == "mm" else "15/64 in"
    assert (f"the tube is round there: corner radius {radius}" in finding.remedy) is rounded
    if rounded:
        match = re.search(r"the nearest point of tube is \[([^]]*)\]", finding.remedy)
        assert match is not None
        near = [float(v) * (1.0 if units == "mm" else 25.4) for v in match[1].split(",")]
        assert near[1:] == pytest.approx([281.757, 61.757], abs=0.05)


# --- techniques ----------------------------------------------------------------------------------------------------


def test_weld_without_technique_takes_the_usual_one() -> None:
    tables = butt()
    del tables["weldment"]["technique"]
    (finding,) = ask(CHECK, tables).findings
    assert (finding.rule, finding.level) == ("no-technique", "note")
    assert '"butt"' in finding.message


@pytest.mark.parametrize(("work", "said"), [([15, 15], False), ([16, 15], True), ([45, 15], True), ([-15, 15], False)])
def test_technique_that_does_not_suit(work: list[float], said: bool) -> None:
    """A butt joint's middle is at 0."""
    tables = butt()
    tables["technique"]["t1"]["work_angle"] = work
    found = of_rule(ask(CHECK, tables), "technique-angle")
    assert len(found) == said
    if said:
        assert found[0].unit == "deg"
        assert [found[0].measured, found[0].limit] == pytest.approx([work[0], 15.0])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"torch": {"handle_length": 5000}}, "longer than 3 m"),
        ({"torch": {"neck_angle": 170}}, "expected 0 (straight) to 150"),
        ({"technique": {"work_angle": [140, 15]}}, "goes to 155 degrees; expected no more than 120"),
    ],
)
def test_a_torch_or_technique_that_leaves_no_position_is_told_as_such(change: dict[str, Any], words: str) -> None:
    tables = butt()
    tables["torch"]["straight"] |= change.get("torch", {})
    tables["technique"]["t1"] |= change.get("technique", {})
    result = ask(CHECK, tables)
    (finding,) = of_rule(result, "no-technique")
    assert finding.level == "fail"
    assert words in finding.remedy
    assert row(result)["reachable"] is None


def test_a_feeding_hand_counts_and_changes_the_question(tmp_path: Path) -> None:
    """A wall 120 mm and more ahead leaves the straight torch alone and stops the hand that feeds from there."""
    tables = butt(place=[{**post("W1", "E4", length=20, width=300, height=300), "free": [460, 300, 0, 0]}])
    del tables["place"][0]["hole"]
    store = Store(tmp_path)
    alone = ask(CHECK, tables, store)
    assert row(alone)["reachable"] == pytest.approx(40.0)
    tables["technique"]["t1"] = {**TECHNIQUE, "filler_angle": [15, 15], "direction": "forward"}
    (finding,) = of_rule(ask(CHECK, tables, store), "weld-blocked")
    assert "W1 is in the way of 100 %" in finding.remedy
    tables["technique"]["t1"]["direction"] = "back"
    assert row(ask(CHECK, tables, store))["reachable"] == pytest.approx(40.0)


def test_middle_of_the_joint_as_a_work_angle() -> None:
    """Face normals 120 degrees apart: the middle is 60 from the first."""
    tables = butt()
    tables["technique"]["t1"] = {**TECHNIQUE, "work_angle": ["middle", 0]}
    sides = [[0, 0, 1], [0, math.cos(math.radians(30)), -math.sin(math.radians(30))]]
    tables["weld"] = [{**tables["weld"][0], "type": "flare", "sides": sides}]
    del tables["weld"][0]["joins"]
    result = ask(CHECK, tables)
    assert of_rule(result, "technique-angle") == []
    assert row(result)["position"]["rotation"] == pytest.approx(120.0)
    made = job(tables)
    assert torch_access.question(made, made.welds[0], {}).technique.work[0] == pytest.approx(60.0)


def test_a_joint_too_narrow_for_the_nozzle_is_told_so() -> None:
    """20 mm across at 15 mm stands 33.7 degrees off a face at least; a joint of 60 leaves 30."""
    tables = butt()
    tables["plate"] = [
        slab("one", (200, 200, 50), (500, 400, 60)),
        {"name": "two", "outline": [[0, 0], [300, 0], [300, 150], [0, 150]], "thickness": 6, "at": [200, 300, 60],
         "normal": [0, math.cos(math.radians(30)), -math.sin(math.radians(30))], "along": [1, 0, 0]},
    ]  # fmt: skip
    tables["technique"]["t1"] = {**TECHNIQUE, "work_angle": ["middle", 0]}
    sides = [[0, 0, 1], [0, -math.cos(math.radians(30)), -math.sin(math.radians(30))]]
    weld = {**tables["weld"][0], "type": "fillet", "sides": sides}
    del weld["joins"]
    tables["weld"] = [weld]
    made = job(tables)
    asked = torch_access.question(made, made.welds[0], {})
    assert "leaves 30 degrees" in torch_words.too_narrow(asked)
    assert "needs 34" in torch_words.too_narrow(asked)
    tables["technique"]["t1"]["stand_off"] = 18
    made = job(tables)
    assert torch_words.too_narrow(torch_access.question(made, made.welds[0], {})) == ""


def test_needs_a_weld_and_says_what_is_left_out() -> None:
    tables = butt()
    tables["weld"].append({**tables["weld"][0], "name": "later", "skip": True})
    assert "1 weld is left out by skip = true: later." in ask(CHECK, tables).not_covered
    tables["weld"] = tables["weld"][1:]
    assert "skip" in CHECK.needs(job(tables))
    del tables["weld"]
    assert CHECK.needs(job(tables)) == "the scene declares no weld"


def test_what_is_left_out_is_one_list_and_nothing_of_it_is_dropped_unsaid() -> None:
    """Each joint once; after a dozen joints the rest is counted."""
    names = ["leg / rail, bottom", "seam", "leg / rail, top left", "rail / tag, back"]
    assert weld_doubts.left_out(names) == (
        "4 welds are left out by skip = true: leg / rail: bottom, top left; seam; rail / tag: back.",
    )
    assert weld_doubts.left_out([]) == ()
    many = [f"a / b{k}, {side}" for k in range(14) for side in ("top", "back")]
    (said,) = weld_doubts.left_out(many)
    assert said.startswith("28 welds are left out")
    assert said.count("top, back") == 12
    assert said.endswith("; and 4 more.")


def test_every_rule_has_its_manual_page() -> None:
    for rule in CHECK.rules:
        assert len(rule.meaning) > 60
        assert len(rule.cure) > 30


# --- what must not change anything -----------------------------------------------------------------------------------


def test_shift_and_order_change_nothing() -> None:
    here = walled(30.0)
    here["plate"].append(slab("shelf", (200, 320, 100), (500, 400, 110)))
    first = ask(CHECK, here)
    moved = walled(30.0)
    moved["plate"].append(here["plate"][2])
    moved["weldment"]["hole"] = "D6"
    moved["place"][0]["free"] = [200 + 150, 290 - 30 + 250, 0, 0]
    second = ask(CHECK, moved)
    assert shape_of(first) == shape_of(second)
    for a, b in zip(first.figures["welds"], second.figures["welds"], strict=True):
        assert a["blockers"] == b["blockers"]
        assert a["reachable"] == b["reachable"]
    turned = {**here, "plate": here["plate"][::-1]}
    assert shape_of(ask(CHECK, turned)) == shape_of(first)


def test_swept_space_is_free_for_the_torch() -> None:
    """The arm passes below the handle, 20 mm from its axis; what it sweeps above itself reaches up to the handle."""
    clamp = {"name": "K1", "model": "presser", "free": [200, 270, 0, 0], "with": {"reach": 140, "work_height": 120}}
    assert row(ask(CHECK, butt(clamp=[clamp])))["reachable"] == pytest.approx(40.0)
    clamp["free"] = [200, 275, 0, 0]
    assert row(ask(CHECK, butt(clamp=[clamp])))["reachable"] == pytest.approx(40.0)
    clamp["with"] = {"reach": 140, "work_height": 200}
    assert row(ask(CHECK, butt(clamp=[clamp])))["reachable"] == pytest.approx(0.0)


def test_all_bodies_of_one_block_are_one_blocker() -> None:
    """Block and dowels together; a share is never above 1."""
    tables = butt(place=[post("W1", "E5", length=300, width=20, height=300)])
    result = ask(CHECK, tables)
    names = [b["name"] for b in row(result)["blockers"]]
    assert set(names) <= {"W1", "one", "two", "table"}
    assert all(0.0 < b["share"] <= 1.0 for b in row(result)["blockers"])


# --- the cache -------------------------------------------------------------------------------------------------------


def _forbidden(*_: object, **__: object) -> Obstacles:
    raise AssertionError("worked out again")


def test_unchanged_and_far_changes_are_not_worked_out_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    near = walled(30.0)
    far = walled(30.0)
    far["place"].append(post("S9", "AC19"))
    first = ask(CHECK, near, Store(tmp_path))
    closer = ask(CHECK, walled(46.0), Store(tmp_path))
    assert row(first) != row(closer)
    monkeypatch.setattr(Obstacles, "build", _forbidden)
    assert ask(CHECK, near, Store(tmp_path)) == first
    # S9 stands at x = 1400, y = 900: more than the torch's reach and 100 mm of clearance away.
    assert row(ask(CHECK, far, Store(tmp_path))) == row(first)
    with pytest.raises(AssertionError, match="worked out again"):
        ask(CHECK, walled(31.0), Store(tmp_path))


def test_of_a_moved_block_only_its_own_positions_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """The counts of bodies that stay are kept: the answer is that of a setup that was never seen before."""

    def answered(gap: float, store: Store) -> WeldAccess:
        tables = walled(gap, height=120.0)
        tables["technique"]["t1"] |= {"work_angle": [0, 30], "travel_angle": [0, 15]}
        tables["place"].append({**tables["place"][0], "name": "W2", "free": [200, 350, 0, 0]})
        made = job(tables, store)
        (found,) = torch_access.answers(made, [torch_access.question(made, made.welds[0], {})], quiet)
        return found

    gaps = (30.0, 31.0, 46.0, 10.0, 200.0, 30.0)
    anew = [answered(gap, Store(None)) for gap in gaps]
    assert len({dict(found.blockers).get("W1", 0.0) for found in anew}) >= 4
    kept = Store(None)
    answered(35.0, kept)
    monkeypatch.setattr("fixture3d.access.access.blame", _forbidden)
    assert [answered(gap, kept) for gap in gaps] == anew


def test_another_torch_or_technique_is_another_question(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ask(CHECK, butt(), Store(tmp_path))
    monkeypatch.setattr(Obstacles, "build", _forbidden)
    ask(CHECK, butt(), Store(tmp_path))
    for key in TORCH:
        other = butt()
        other["torch"]["straight"] = {**TORCH, key: TORCH[key] + 1}
        with pytest.raises(AssertionError, match="worked out again"):
            ask(CHECK, other, Store(tmp_path))
    changes: list[dict[str, Any]] = [{"stand_off": 16}, {"work_angle": [5, 0]}, {"travel_angle": [0, 5]}]
    for change in (*changes, {"travel_angle": [5, 0], "direction": "back"}):
        other = butt()
        other["technique"]["t1"] = {**TECHNIQUE, **change}
        with pytest.raises(AssertionError, match="worked out again"):
            ask(CHECK, other, Store(tmp_path))


def test_a_damaged_answer_is_worked_out_again(tmp_path: Path) -> None:
    first = ask(CHECK, walled(30.0), Store(tmp_path))

    class Odd(Store):
        def get_json(self, key: str, kind: str) -> Any:
            return {"best": []} if kind == "torch-1" else super().get_json(key, kind)

    assert ask(CHECK, walled(30.0), Odd(tmp_path)) == first


def test_kept_answers_need_no_heavy_library(tmp_path: Path) -> None:
    from fixture3d.checks import interference

    tables = walled(30.0)
    for check in (interference.CHECK, CHECK):
        ask(check, tables, Store(tmp_path))
    script = f"""
import sys
from fixture3d.cache import Store
from fixture3d.checks import interference, torch_access
from tests.check_jobs import ask
for check in (interference.CHECK, torch_access.CHECK):
    ask(check, {tables!r}, Store({str(tmp_path)!r}))
print(sorted({{"OCP", "cadquery", "numba", "manifold3d", "trimesh", "pyvista", "scipy"}} & set(sys.modules)))
"""
    root = Path(__file__).parent.parent
    done = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "[]", done.stderr


def low_wall(low: float, thickness: float, height: float, sides: str = "[[1, 0, 0], [0, 0, 1]]") -> str:
    """A T joint at x = 600, root at z = 6, and a low wall beside it that begins at x = 600 + ``low``."""
    return f"""
format = 1
table = "50/16 2000x1000"
[weldment]
hole = "J4"
technique = "corner"
[[plate]]
name = "base"
outline = [[0, 0], [300, 0], [300, 300], [0, 300]]
thickness = 6
[[plate]]
name = "web"
outline = [[0, 0], [300, 0], [300, 100], [0, 100]]
thickness = 6
at = [144, 0, 6]
normal = [1, 0, 0]
along = [0, 1, 0]
[[plate]]
name = "wall"
outline = [[-60, 0], [360, 0], [360, {height}], [-60, {height}]]
thickness = {thickness}
at = [{150 + low}, 0, 6]
normal = [1, 0, 0]
along = [0, 1, 0]
[[weld]]
name = "w"
type = "fillet"
size = 4
sides = {sides}
path = [[150, 0, 6], [150, 300, 6]]
"""


@pytest.mark.parametrize(
    ("text", "reached"),
    [
        # Nozzle and web leave 55 degrees above the base: where the wall begins the wire's lower side is
        # 4 tan 55 - 0.55 / cos 55 = 4.75 mm up and passes over 4 mm; it cannot pass over 30 mm.
        (low_wall(4, 1, 4), 300.0),
        (low_wall(4, 1, 30), 0.0),
        # The wire would have to come through 6 mm of web.
        (low_wall(100, 3, 5, "[[-1, 0, 0], [0, 0, 1]]"), 0.0),
    ],
    ids=["over a low wall", "not through a wall", "not through the web"],
)
def test_the_wire_does_not_weld_through_a_plate(text: str, reached: float) -> None:
    from fixture3d import check
    from fixture3d.scene import loads

    (weld,) = check(loads(text)).to_dict()["welds"]
    assert weld["reachable"] == pytest.approx(reached, abs=7.5)
