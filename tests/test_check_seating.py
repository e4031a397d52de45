"""Seating: every rule on both sides of its limit, remedies that work when applied, and what must change nothing.

The table has a pitch of 50 and bores of 16; hole A1 is the origin. Dowels are g6 (ISO 286-2: 16 g6 is -6 to -17
micrometres), bores H7 (0 to +18) unless said.
"""

from __future__ import annotations

import copy
import math
import random
import re
from typing import Any

import numpy as np
import pytest

from fixture3d.checks import seating
from fixture3d.checks.base import Finding, quiet
from fixture3d.engine import assemble
from fixture3d.errors import SceneError
from fixture3d.job import Job
from fixture3d.job.inventory import dowel_count
from fixture3d.report.report import pad_dict
from fixture3d.scene import Scene

TABLE: dict[str, Any] = {"pitch": 50, "bore": 16, "columns": 20, "rows": 16, "edge": 50, "thickness": 12}
DRILLED = {**TABLE, "bore_limits": [0.2, 0.4]}


def block(name: str = "S", model: str = "stop_block", /, **keys: Any) -> dict[str, Any]:
    return {"name": name, "model": model, **keys}


def scene(*places: dict[str, Any], table: Any = TABLE, **rest: Any) -> dict[str, Any]:
    return {"format": 1, "table": table, "place": list(places), **rest}


def job(data: dict[str, Any]) -> Job:
    return assemble(Scene.from_dict(data))


def check(data: dict[str, Any]) -> list[Finding]:
    return list(seating.CHECK.run(job(data), quiet).findings)


def rules(*places: dict[str, Any], **rest: Any) -> list[str]:
    return sorted(f.rule for f in check(scene(*places, **rest)))


def one(data: dict[str, Any], rule: str) -> Finding:
    (found,) = [f for f in check(data) if f.rule == rule]
    return found


def moved(data: dict[str, Any], name: str, remedy: str) -> dict[str, Any]:
    """The scene with the seat that a remedy names."""
    match = re.search(r"nearest seat that works: (?:hole (\S+)|socket (\S+) of \S+), turn (\S+?)(?:;|$)", remedy)
    assert match is not None, remedy
    out = copy.deepcopy(data)
    item = next(i for i in (*out["place"], *out.get("clamp", ())) if i["name"] == name)
    item.update({"hole": match[1]} if match[1] else {"socket": match[2]})
    item["turn"] = float(match[3])
    return out


# --- pins and holes -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "turn", "off"),
    [
        # The second pin is 50 sin(turn) off. Least clearance H7/g6: 0.006; drilled 0.2 to 0.4: 0.206.
        (TABLE, 0.006, False),
        (TABLE, 0.010, True),
        (DRILLED, 0.23, False),
        (DRILLED, 0.24, True),
        ({**TABLE, "bore_limits": "H8"}, 0.010, True),  # H8 is wider, but its least is no wider
    ],
)
def test_a_second_pin_may_be_off_by_the_least_clearance(table: Any, turn: float, off: bool) -> None:
    data = scene(block(hole="C4", turn=turn, pins=["1", "2"]), table=table)
    assert [f.rule for f in check(data)] == (["pin-off-hole"] if off else [])
    if off:
        found = one(data, "pin-off-hole")
        assert found.measured == pytest.approx(100 * math.sin(math.radians(turn / 2)))
        assert found.limit is not None
        assert found.measured is not None
        assert found.limit < found.measured
        assert check(moved(data, "S", found.remedy)) == []


@pytest.mark.parametrize("turn", [0, 45, 90, 135, 180, 225, 270, 315])
def test_eighths_of_a_turn_find_two_holes(turn: int) -> None:
    pin = "3" if turn % 90 else "1"
    assert rules(block(hole="J8", turn=turn, pin=pin)) == []


@pytest.mark.parametrize("turn", [10, 30, 44, 71])
def test_other_turns_leave_one_dowel(turn: int) -> None:
    assert rules(block(hole="J8", turn=turn)) == ["spins"]


def test_a_blocked_hole() -> None:
    table = {**TABLE, "blocked": ["C4", "C5"]}
    data = scene(block(hole="C4"), table=table)
    found = one(data, "pin-blocked")
    assert "C4" in found.message
    assert check(moved(data, "S", found.remedy)) == []
    assert rules(block(hole="D4"), table=table) == []


def test_a_blocked_second_hole_only_costs_the_second_dowel() -> None:
    assert rules(block(hole="C4"), table={**TABLE, "blocked": ["D4"]}) == ["spins"]
    assert rules(block(hole="C4", pins=["1", "2"]), table={**TABLE, "blocked": ["D4"]}) == ["pin-blocked"]


def test_a_shared_hole() -> None:
    data = scene(block("A", hole="C4"), block("B", hole="D4"))
    found = one(data, "hole-shared")
    assert found.subjects == ("B", "A")
    assert "D4" in found.message
    assert check(moved(data, "B", found.remedy)) == []
    assert rules(block("A", hole="C4"), block("B", hole="E4")) == []


def test_a_shank_and_a_dowel_in_one_hole() -> None:
    assert rules(block("A", hole="C4"), block("P", "dowel", hole="D4")) == ["hole-shared"]
    assert rules(block("A", hole="C4"), block("P", "dowel", hole="E4")) == []
    assert rules(block("A", hole="C4", pins=["1"], bolt=True), block("P", "dowel", hole="D4")) == []


def test_one_socket_for_two_blocks() -> None:
    riser = block("R", "riser", hole="C4")
    found = one(scene(riser, block("A", on="R", socket="1"), block("B", on="R", socket="2")), "hole-shared")
    assert found.subjects == ("B", "A")
    assert "R:2" in found.message
    apart = scene(riser, block("A", on="R", socket="1"), block("B", on="R", socket="4"))
    assert "hole-shared" not in [f.rule for f in check(apart)]


def test_bores_of_another_grid_and_pitch() -> None:
    fine: dict[str, Any] = {"name": "fine", "origin": [0, -600, 0], "x": [1, 0, 0], "y": [0, 1, 0]}
    fine |= {"columns": 20, "rows": 12, "pitch": 28, "bore": 10, "edge": 28, "thickness": 10}
    found = job(scene(block(hole="fine:C4"), block("R", "riser", hole="fine:H4"), block("T", on="R"), grid=[fine]))
    assert seating.CHECK.run(found, quiet).findings == ()
    assert found.seats["T"].part.pattern.pitch == 28
    assert found.seats["S"].holes == ("fine:C4", "fine:D4")
    assert dict(dowel_count(found)) == {10.0: sum(len(s.holes) for s in found.seats.values())}
    pin = next(b for b in found.of_item("S") if b.role == "pin")
    assert float(pin.box[0, 2]) == pytest.approx(-9.0)  # within the plate of 10 that it stands in


MODELS = ("stop_block", "riser", "step_block", "stop_bar", "vee_block", "slide_stop")


def jumble(rng: random.Random) -> dict[str, Any]:
    """Five blocks and one on top, anywhere, on a table with spoilt holes."""
    places = []
    for k in range(5):
        place = block(f"B{k}", rng.choice(MODELS), hole=f"{rng.choice('ABCDEFGHIJ')}{rng.randint(1, 10)}")
        place |= {"turn": rng.choice([0, 45, 90, 180, 270, 30]), "bolt": rng.random() < 0.3}
        place |= {"pins": ["1", "2"]} if rng.random() < 0.5 else {}
        place |= {"pin": "2"} if rng.random() < 0.2 else {}
        place |= {"face": "top"} if rng.random() < 0.2 and place["model"] in MODELS[:2] else {}
        places.append(place)
    if places[0]["model"] in MODELS[:2] and "face" not in places[0]:
        places.append(block("T", on="B0", turn=rng.choice([0, 90, 30]), pins=["1", "2"]))
    blocked = [f"{rng.choice('CDEFGHIJ')}{rng.randint(1, 9)}" for _ in range(6)]
    table = {**TABLE, "blocked": blocked, "no_nut": ["E5", "F6"], "stagger": rng.random() < 0.3}
    return scene(*places, table=table)


@pytest.mark.parametrize("seed", range(20))
def test_whatever_seat_is_named_works(seed: int) -> None:
    """Applied to the scene, it leaves no fail and no warning of that block, and takes no hole from another one."""
    data = jumble(random.Random(seed))
    asked = [f for f in check(data) if f.rule in ("pin-off-hole", "pin-blocked", "hole-shared", "no-nut")]
    for finding in asked:
        name = finding.subjects[0]
        assert not finding.remedy.startswith("no hole"), finding
        after = check(moved(data, name, finding.remedy))
        assert [f for f in after if f.level != "note" and f.subjects[0] == name] == [], finding.remedy
        assert [f for f in after if f.rule == "hole-shared" and name in f.subjects] == [], finding.remedy


def test_on_a_turned_block_the_seats_turn_with_it() -> None:
    data = scene(block("R", "riser", hole="F6", turn=30, bolt=True), block("T", on="R", turn=90, pins=["1", "2"]))
    found = one(data, "pin-off-hole")
    assert re.search("socket [0-9]+ of R, turn (30|120|210|300)$", found.remedy)
    assert [f for f in check(moved(data, "T", found.remedy)) if f.subjects[0] == "T" and f.level != "note"] == []
    assert re.match("turn = (30|120) ", one(scene(data["place"][0], block("T", on="R", turn=90)), "spins").remedy)


# --- bolts --------------------------------------------------------------------------------------------------------


def test_a_nut_needs_room() -> None:
    table = {**TABLE, "no_nut": ["C4"]}
    data = scene(block(hole="C4", bolt=True), table=table)
    assert check(moved(data, "S", one(data, "no-nut").remedy)) == []
    assert rules(block(hole="C4"), table=table) == []
    assert rules(block(hole="D4", bolt=True), table=table) == []
    assert rules(block(hole="D4", turn=180, bolt=True), table=table) == []  # its dowel stands in C4, its bolt in D4


@pytest.mark.parametrize("pins", [[], ["2"], ["1", "2"], None])
def test_the_bolt_goes_through_the_named_hole_whatever_pins_are_left_out(pins: list[str] | None) -> None:
    given = {} if pins is None else {"pins": pins}
    found = job(scene(block(hole="C4", bolt=True, **given)))
    item = found.seats["S"]
    assert item.bolt is not None
    assert item.bolt.hole == "C4"
    assert dict(dowel_count(found)) == ({16.0: 1} if pins != [] else {})
    assert seating.CHECK.run(found, quiet).findings == ()


def test_the_bolt_of_another_pin() -> None:
    item = job(scene(block(hole="C4", pin="2", bolt=True))).seats["S"]
    assert item.bolt is not None
    assert (item.bolt.hole, item.bolt.pin.name) == ("C4", "2")


def test_a_bolt_without_a_hole_holds_nothing() -> None:
    assert not job(scene(block(free=[100, 100, 0, 0], bolt=True))).seats["S"].bolted
    with pytest.raises(SceneError, match="no bore for a bolt"):
        job(scene(block("P", "dowel", hole="C4", bolt=True)))


# --- held ---------------------------------------------------------------------------------------------------------


def test_one_dowel_spins_and_a_bolt_or_a_turn_stops_it() -> None:
    data = scene(block(hole="C4", turn=30))
    found = one(data, "spins")
    turn = re.match(r"turn = (\S+) puts a second dowel in", found.remedy)
    assert turn is not None
    assert rules(block(hole="C4", turn=float(turn[1]))) == []
    assert "bolt = true" in found.remedy
    assert rules(block(hole="C4", turn=30, bolt=True)) == []


@pytest.mark.parametrize("turn", [45, 135, 225, 315])
def test_another_bore_that_is_made_for_this_turn_comes_before_another_turn(turn: int) -> None:
    """Bore 3 is 1.414 pitches from bore 1: over two holes that are diagonal neighbours, so it goes in at 45 degrees."""
    found = one(scene(block(hole="J8", turn=turn)), "spins")
    match = re.match(r'pin = "(\S+)" at turn = (\S+) puts a second dowel in', found.remedy)
    assert match is not None, found.remedy
    assert float(match[2]) == turn
    assert rules(block(hole="J8", turn=turn, pin=match[1])) == []


def test_remedies_against_spinning_are_possible_ones() -> None:
    left_out = one(scene(block(hole="C4", pins=["1"])), "spins").remedy
    assert left_out.startswith("pins = [...] of S taken out")
    no_nut = one(scene(block(hole="C4", turn=30), table={**TABLE, "no_nut": ["C4"]}), "spins").remedy
    assert "bolt" not in no_nut
    single = one(scene(block(hole="C4", **{"with": {"bores": 1}})), "spins").remedy
    assert single == "hold it down with bolt = true"
    # With D4, C5 and B4 taken and C3 left, only a turn to the front is free.
    around = [block(f"P{h}", "dowel", hole=h) for h in ("D4", "C5", "B4", "D5", "B5", "D3", "B3")]
    crowded = one(scene(block(hole="C4", turn=300), *around), "spins").remedy
    assert crowded.startswith("turn = 270 ") or crowded == "hold it down with bolt = true"


def test_a_round_stop_on_its_own_shank_does_not_spin() -> None:
    assert rules(block("P", "dowel", hole="C4")) == []


def test_no_dowel_at_all() -> None:
    found = one(scene(block(hole="C4", pins=[])), "not-pinned")
    assert "take pins = [...] of S out" in found.remedy
    assert rules(block(hole="C4", pins=["1", "2"])) == []
    assert rules(block(hole="C4", face="front")) == ["not-pinned"]


@pytest.mark.parametrize(("length", "loose"), [(233, False), (236, True)])
def test_loose_seats_from_half_a_millimetre(length: float, loose: bool) -> None:
    # Bores of 0 to +0.2: play 0.2 + 0.017 on diameter. Dowels 50 apart turn the block by 0.217 / 50 about the middle
    # between them, which is the block's own; its face ends 2 before the block does, and moves there by that turn.
    travel = (0.2 + 0.017) / 50.0 * (length / 2.0 - 2.0)
    data = scene(block(hole="F6", **{"with": {"length": length}}), table={**TABLE, "bore_limits": [0, 0.2]})
    found = [f for f in check(data) if f.rule == "loose-seat"]
    assert bool(found) == loose == (travel > 0.5)
    for finding in found:
        assert finding.measured == pytest.approx(travel, rel=1e-6)
    assert rules(block(hole="F6", **{"with": {"length": length}})) == []  # the same in reamed holes


def holding(**keys: Any) -> list[str]:
    place = {"name": "K", "model": "toggle_clamp", "hole": "G6", **keys}
    place = {key: value for key, value in place.items() if value is not None}
    return [f.rule for f in check(scene(clamp=[place])) if f.rule in ("clamp-not-bolted", "tips")]


def test_a_clamp_that_presses_down_needs_its_bolt() -> None:
    """The work pushes back as hard as the clamp presses (Newton's third law): a loose dowel gives nothing upward."""
    found = one(scene(clamp=[{"name": "K", "model": "toggle_clamp", "hole": "G6"}]), "clamp-not-bolted")
    assert found.level == "warn"
    assert found.remedy == "hold it down with bolt = true"
    assert holding(bolt=True) == []
    assert holding(hole=None, free=[300, 300, 0, 0]) == ["clamp-not-bolted"]
    assert holding(hole=None, free=[300, 300, 0, 0], magnet=True) == []
    assert holding(hole=None, edge="front", along=300) == []


def test_a_stacked_clamp_needs_its_bolt_too() -> None:
    under = block("R", "riser", hole="G6", **{"with": {"height": 60}})
    on = {"name": "K", "model": "toggle_clamp", "on": "R"}
    assert "bolt = true" in one(scene(under, clamp=[on]), "clamp-not-bolted").remedy
    assert [f.rule for f in check(scene(under, clamp=[{**on, "bolt": True}])) if f.rule == "clamp-not-bolted"] == []


def test_a_clamp_over_a_rib_is_sent_to_where_a_bolt_goes_in() -> None:
    table = {**TABLE, "no_nut": ["G6"]}
    found = one(scene(clamp=[{"name": "K", "model": "toggle_clamp", "hole": "G6"}], table=table), "clamp-not-bolted")
    assert "room for a nut" in found.remedy


@pytest.mark.parametrize("lean", [-20.0, -5.0, 5.0, 90.0])
def test_only_a_push_that_goes_down_lifts_the_clamp(lean: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """A push that goes down by more than a tenth (6 degrees); level ones and those that go up press the base down."""
    from fixture3d.checks import seating as module

    way = (math.cos(math.radians(lean)), 0.0, -math.sin(math.radians(lean)))
    monkeypatch.setattr(module, "placed_tip", lambda item, tip: (item.model_to_world[:3, 3], np.array(way)))
    assert holding() == (["clamp-not-bolted"] if math.sin(math.radians(lean)) > 0.1 else [])


@pytest.mark.parametrize(
    ("slide", "off", "notches"),
    [(9, 0.0, ""), (9.019, 0.0, ""), (9.03, 0.03, "3 4"), (10, 1.0, "3 4"), (11.97, 0.03, "3 4"), (0.5, 0.5, "0 1")],
)
def test_teeth_seat_only_in_a_notch(slide: float, off: float, notches: str) -> None:
    """A notch of 3 mm: notch 3 is at 9, notch 4 at 12."""
    found = [f for f in check(scene(block("T", "slide_stop", hole="F6", slide=slide))) if f.rule == "between-notches"]
    assert [f.measured for f in found] == ([pytest.approx(off)] if off else [])
    for finding in found:
        assert finding.level == "warn"
        for k in notches.split():
            assert f"notch = {k} ({3 * int(k)} mm)" in finding.remedy
            assert rules(block("T", "slide_stop", hole="F6", notch=int(k))) == []


def test_beyond_the_last_notch_only_that_one_is_named() -> None:
    """A travel of 25 at a notch of 3: notch 8, at 24, is the last."""
    place = block("T", "slide_stop", hole="F6", slide=25, **{"with": {"travel": 25}})
    found = [f for f in check(scene(place)) if f.rule == "between-notches"]
    assert [(f.measured, f.remedy) for f in found] == [(1.0, "notch = 8 (24 mm) in place of slide")]


# --- places that are measured -------------------------------------------------------------------------------------


def test_a_setting_where_nothing_meshes_is_measured() -> None:
    """A jack that is fully in stands on its own; turned out by 7.5 mm only a rule tells its height."""
    found = check(scene(block("J", "screw_jack", hole="F6", slide=7.5)))
    assert [(f.rule, f.level) for f in found] == [("needs-measuring", "note")]
    assert "its height must be measured" in found[0].message
    assert "7.5 mm from fully in" in found[0].remedy
    assert rules(block("J", "screw_jack", hole="F6")) == []
    assert rules(block("T", "slide_stop", hole="F6", notch=1)) == []


def test_measured_places() -> None:
    assert rules(block(free=[120, 80, 0, 30])) == ["needs-measuring"]
    clamps = [
        {"name": "E", "model": "toggle_clamp", "edge": "front", "along": 300},
        {"name": "M", "model": "toggle_clamp", "free": [400, 300, 0, 90], "magnet": True},
    ]
    found = check(scene(clamp=clamps))
    assert [(f.rule, f.subjects) for f in found] == [("needs-measuring", ("E",)), ("needs-measuring", ("M",))]
    assert "edge" in found[0].message
    assert "magnet" in found[1].message


@pytest.mark.parametrize(("face", "turn"), [("bottom", 0), ("bottom", 90), ("top", 0), ("top", 90)])
def test_the_hole_under_a_measured_block_puts_it_in_the_same_place(face: str, turn: float) -> None:
    pinned = job(scene(block(hole="C4", turn=turn, face=face))).seats["S"]
    x, y, z = (float(v) for v in pinned.model_to_world[:3, 3])
    z = 0.0
    data = scene(block(free=[x, y, z, turn], face=face))
    remedy = one(data, "needs-measuring").remedy
    match = re.search(r'hole = "(\w+)"(?:, turn = (\S+))? places', remedy)
    assert match is not None, remedy
    again = job(scene(block(hole=match[1], turn=float(match[2] or 0), face=face))).seats["S"]
    assert again.model_to_world == pytest.approx(job(data).seats["S"].model_to_world)


# --- carried ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("z", "floats"), [(0.0, False), (0.019, False), (0.021, True), (30.0, True)])
def test_floating_from_the_contact_tolerance(z: float, floats: bool) -> None:
    data = scene(block(free=[300, 300, z, 0]))
    found = [f for f in check(data) if f.rule == "floats"]
    assert bool(found) == floats
    if floats:
        assert found[0].measured == pytest.approx(z)
        assert found[0].remedy.startswith("lower it by")


def test_beside_the_table() -> None:
    assert "floats" in rules(block(free=[-300, 300, 0, 0]))
    assert "floats" not in rules(block(free=[-20, 300, 0, 0]))


def test_a_measured_block_on_top_of_another() -> None:
    riser = block("R", "riser", hole="E6", **{"with": {"height": 60}})
    assert rules(riser, block(free=[200, 250, 60, 0])) == ["needs-measuring"]
    assert rules(riser, block(free=[200, 250, 61, 0])) == ["floats", "needs-measuring"]
    assert rules(riser, block(free=[600, 250, 60, 0])) == ["floats", "needs-measuring"]  # beside it


def test_a_bar_across_two_risers_does_not_hang_over() -> None:
    risers = [block(f"R{k}", "riser", hole=h, **{"with": {"height": 60}}) for k, h in enumerate(("C4", "I4"))]
    bar = block("B", "stop_bar", on="R0", socket="1", **{"with": {"bores": 7}})
    assert "tips" in rules(risers[0], bar)
    assert [r for r in rules(*risers, bar) if r in ("tips", "overhang")] == []


@pytest.mark.parametrize(("edge", "rule"), [(75.1, ""), (74.9, "overhang"), (25.1, "overhang"), (24.9, "tips")])
def test_over_the_edge(edge: float, rule: str) -> None:
    # From F1 the block of 105 runs to the front over the table's edge: its middle, and its weight with it, is 25
    # beyond the middle of the hole, its end 77.5.
    table = {**TABLE, "edge": edge}
    place = block(hole="F1", turn=270, pins=["1"], **{"with": {"length": 105}})
    found = [f for f in check(scene(place, table=table)) if f.rule in ("overhang", "tips")]
    assert [f.rule for f in found] == ([rule] if rule else [])
    for finding in found:
        assert finding.measured == pytest.approx(77.5 - edge if rule == "overhang" else 25.0 - edge, abs=1e-3)
    if rule == "tips":
        assert rules({**place, "bolt": True}, table=table) == ["overhang"]
        assert rules({**place, "turn": 90, "pins": ["1", "2"]}, table=table) in ([], ["overhang"])


@pytest.mark.parametrize(("edge", "tips"), [(25.03, False), (25.01, True), (25.0, True), (24.99, True)])
def test_weight_on_the_edge_is_said_plainly(edge: float, tips: bool) -> None:
    """Nothing of 0.00 mm: within the contact tolerance the block balances, and no figure is given."""
    place = block(hole="F1", turn=270, pins=["1"], **{"with": {"length": 105}})
    data = scene(place, table={**TABLE, "edge": edge})
    found = [f for f in check(data) if f.rule == "tips"]
    assert bool(found) == tips
    for finding in found:
        assert "balances on the edge" in finding.message
        assert "pins 2 and 4 of S are beyond it" in finding.message  # the second bore is 25 beyond the edge
        assert finding.measured is None
        assert "0 mm" not in finding.remedy
        assert "tips" not in [f.rule for f in check(moved(data, "S", finding.remedy.split(", or ")[0]))]


def test_turned_over_a_stepped_block_stands_on_its_shoulder() -> None:
    upright = job(scene(block("U", "step_block", hole="J8", face="top")))
    from fixture3d.job.support import support

    found = support(upright, upright.seats["U"])
    assert found is not None
    part = upright.seats["U"].part
    (x0, _, _), (x1, _, _) = part.box()
    assert found.foot.area < 0.9 * (x1 - x0) * (part.box()[1][1] - part.box()[0][1])
    assert found.out == 0.0


def test_an_upright_face_needs_a_bolt() -> None:
    side: dict[str, Any] = {
        "name": "side",
        "origin": [0, -50, -60],
        "x": [1, 0, 0],
        "y": [0, 0, 1],
        "columns": 18,
        "rows": 2,
    }
    side |= {"edge": 30, "thickness": 12}
    data = scene(block(hole="side:B1"), grid=[side])
    assert "bolt = true" in one(data, "tips").remedy
    assert rules(block(hole="side:B1", bolt=True), grid=[side]) == []


def test_shims_under_a_block_carry_it() -> None:
    shims = [{"pad": "seat", "by": [1.5]}]
    assert rules(block(hole="C4", shims=shims)) == []
    assert rules(block("R", "riser", hole="C4", shims=shims), block(on="R", shims=shims)) == []


def test_a_socket_that_looks_sideways() -> None:
    data = scene(block("R", hole="E6", face="front"), block(on="R"))
    assert "lay R so that its sockets look up" in one(data, "cannot-stand").remedy
    assert "cannot-stand" not in rules(block("R", hole="E6"), block(on="R"))


def test_pads_that_lie_on_the_table_are_no_faces() -> None:
    faces = [pad_dict(pad)["face"] for pad in job(scene(block(hole="C4", face="top"))).pads()]
    usual = [pad_dict(pad)["face"] for pad in job(scene(block(hole="C4"))).pads()]
    assert "top" in usual
    assert faces == [name for name in usual if name != "top"]


# --- the rack -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "short"), [(2, False), (1, True)])
def test_more_blocks_than_the_shop_owns(count: int, short: bool) -> None:
    pair = [block("A", hole="C4"), block("B", hole="C8")]
    data = scene(*pair, inventory=[{"model": "stop_block", "count": count}])
    found = [f for f in check(data) if f.rule == "short-of-blocks"]
    assert [(f.measured, f.limit) for f in found] == ([(2.0, 1.0)] if short else [])


def test_the_size_counts_and_so_does_the_hole_pattern() -> None:
    low = block("A", hole="C4", **{"with": {"height": 25}})
    assert rules(low, inventory=[{"model": "stop_block", "count": 5}]) == ["short-of-blocks"]
    assert rules(low, inventory=[{"model": "stop_block", "with": {"height": 25}, "count": 1}]) == []
    fine: dict[str, Any] = {"name": "fine", "origin": [0, -600, 0], "x": [1, 0, 0], "y": [0, 1, 0]}
    fine |= {"columns": 20, "rows": 12, "pitch": 28, "bore": 10, "edge": 28}
    found = check(scene(block(hole="fine:C4"), inventory=[{"model": "stop_block", "count": 5}], grid=[fine]))
    assert [f.rule for f in found] == ["short-of-blocks"]
    assert "for holes of 10 mm at 28 mm" in found[0].message


# --- clamps -------------------------------------------------------------------------------------------------------

BAR: dict[str, Any] = {
    "weldment": {"hole": "B9", "lift": 50},
    "member": [{"name": "bar", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0]}],
}


def clamp(**keys: Any) -> dict[str, Any]:
    return {"name": "K", "model": "toggle_clamp", "hole": "G6", "bolt": True, "presses": "bar", **keys}


def test_toward_names_a_block_in_line_with_the_push() -> None:
    # The top of R runs 105 along X from 20 left of hole F9, x = 230 to 335; its flat begins at x = 232.
    under = block("R", "riser", hole="F9", **{"with": {"height": 30}})
    top = next(p for p in job(scene(under)).pads() if p.pad.name == "top")
    low, high = float(top.at[0]) - top.pad.length / 2, float(top.at[0]) + top.pad.length / 2
    for at, beside in ((low + 0.1 - 50, 0.0), (low - 5.0 - 50, 5.0), (high - 0.1 - 50, 0.0), (high + 5.0 - 50, 5.0)):
        data = scene(under, clamp=[clamp(at=at, toward="R")], **BAR)
        found = [f for f in check(data) if f.rule == "clamp-off-support"]
        assert [f.measured for f in found] == ([pytest.approx(beside, abs=1e-6)] if beside else [])
        for finding in found:
            match = re.search(r"about at = (\S+) mm", finding.remedy)
            assert match is not None, finding.remedy
            assert check(scene(under, clamp=[clamp(at=float(match[1]), toward="R")], **BAR)) == []


@pytest.mark.parametrize(("hole", "x", "there"), [("A9", -60, False), ("F9", 200, True)])
def test_a_clamp_is_sent_by_no_amount_to_where_no_hole_is(hole: str, x: float, there: bool) -> None:
    """R is to the left of the tip: from column A no hole is further left."""
    bar: dict[str, Any] = {"weldment": {"hole": "A9", "lift": 50}}
    bar["member"] = [{"name": "bar", "stock": "SHS 40x40x3", "from": [-40, 0, 0], "to": [500, 0, 0]}]
    under = block("R", "riser", free=[x, 400, 0, 90], **{"with": {"height": 30}})
    press = clamp(hole=hole, turn=0, toward="R")
    remedy = one(scene(under, clamp=[press], **bar), "clamp-off-support").remedy
    assert ("the next hole that way is" in remedy) is there
    assert remedy.startswith("move the tip") is there
    assert ("no hole is there" in remedy) is not there


def test_between_the_flanks_of_a_vee_counts() -> None:
    pipe = {**BAR, "member": [{"name": "bar", "stock": "CHS 48.3x3.2", "from": [0, 0, 0], "to": [500, 0, 0]}]}
    vee = block("V", "vee_block", hole="F9", turn=90, **{"with": {"diameter": 48.3}})
    pipe["weldment"] = {"hole": "B9", "offset": [0, 25], "lift": 50}  # in the middle between the holes of V
    rest = {**pipe, "clamp": [clamp(at=200, toward="V")]}
    assert "clamp-off-support" not in rules(vee, **rest)
    rest = {**pipe, "clamp": [clamp(at=230, toward="V")]}
    assert "clamp-off-support" in rules(vee, **rest)


@pytest.mark.parametrize(("turn", "off"), [(90, False), (93, False), (94, True), (60, True)])
def test_the_tip_comes_down_at_the_point_that_is_asked(turn: float, off: bool) -> None:
    # K stands in G6, 150 in front of the bar's middle line, and its tip has a radius of 8: 150 tan(3) = 7.9.
    data = scene(clamp=[clamp(at=250, turn=turn)], **BAR)
    found = [f for f in check(data) if f.rule == "clamp-off-point"]
    assert bool(found) == off
    for finding in found:
        assert finding.limit == 8.0
        assert finding.measured is not None
        assert finding.measured > 8.0
        assert "take turn of K out" in finding.remedy
        assert check(scene(clamp=[clamp(at=250)], **BAR)) == []


def test_an_arm_that_is_too_short_for_the_point() -> None:
    data = scene(clamp=[clamp(hole="G2", at=250)], **BAR)
    assert "stand K where a reach of" in one(data, "clamp-off-point").remedy


def test_where_it_presses_now_is_an_answer_too() -> None:
    data = scene(clamp=[clamp(at=230, turn=90)], **BAR)
    match = re.search(r"it presses at = (\S+) mm now", one(data, "clamp-off-point").remedy)
    assert match is not None
    assert check(scene(clamp=[clamp(at=float(match[1]), turn=90)], **BAR)) == []


# --- what must change nothing -------------------------------------------------------------------------------------

FAULTY: tuple[dict[str, Any], ...] = (
    block("A", hole="F6"),
    block("B", hole="G6"),
    block("C", hole="J6", turn=30),
    block("D", hole="J9", turn=30, pins=["1", "2"]),
    block("E", hole="F10", pins=[]),
    block("P", "dowel", hole="M6"),
    block("R", "riser", hole="F12"),
    block("T", on="R", socket="2", turn=90),
    block("V", hole="M10", face="front"),
)


def column(hole: str) -> int:
    return ord(hole[0]) - ord("A")


def told(data: dict[str, Any]) -> list[tuple[Any, ...]]:
    """Rule, subjects and figure of each finding, in no order."""
    return sorted(
        (f.rule, f.subjects, None if f.measured is None else round(f.measured, 6), f.limit) for f in check(data)
    )


def test_order_and_names_change_nothing() -> None:
    usual = told(scene(*FAULTY))
    assert {rule for rule, *_ in usual} >= {"hole-shared", "spins", "pin-off-hole", "not-pinned"}
    back = told(scene(*reversed(FAULTY)))
    assert [(r, sorted(s), m, x) for r, s, m, x in back] == [(r, sorted(s), m, x) for r, s, m, x in usual]
    renamed = [{k: (f"x{v}" if k in ("name", "on") else v) for k, v in p.items()} for p in FAULTY]
    assert told(scene(*renamed)) == [(r, tuple(f"x{n}" for n in s), m, x) for r, s, m, x in usual]


@pytest.mark.parametrize(("dx", "dy"), [(1, 0), (0, 2), (-3, 1)])
def test_whole_pitches_change_nothing(dx: int, dy: int) -> None:
    def shifted(place: dict[str, Any]) -> dict[str, Any]:
        if "hole" not in place:
            return place
        return {**place, "hole": f"{chr(ord(place['hole'][0]) + dx)}{int(place['hole'][1:]) + dy}"}

    assert told(scene(*map(shifted, FAULTY))) == told(scene(*FAULTY))


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_turning_the_whole_setup_changes_nothing(turn: int) -> None:
    size = 20

    def turned(place: dict[str, Any]) -> dict[str, Any]:
        out = dict(place)
        if "hole" in place:
            i, j = column(place["hole"]), int(place["hole"][1:]) - 1
            for _ in range(turn // 90):
                i, j = size - 1 - j, i
            out["hole"] = f"{chr(ord('A') + i)}{j + 1}"
            out["turn"] = place.get("turn", 0) + turn
        else:
            out["turn"] = place["turn"] + turn  # turns count from the table's X axis at every level
            out["socket"] = place["socket"]
        return out

    table = {**TABLE, "columns": size, "rows": size}
    assert told(scene(*map(turned, FAULTY), table=table)) == told(scene(*FAULTY, table=table))


@pytest.mark.parametrize("corner", ["front right", "back left", "back right"])
def test_the_corner_that_holes_are_counted_from_changes_no_finding(corner: str) -> None:
    table = {**TABLE, "names": {"corner": corner}}

    def renamed(place: dict[str, Any]) -> dict[str, Any]:
        if "hole" not in place:
            return place
        i, j = column(place["hole"]), int(place["hole"][1:]) - 1
        i = TABLE["columns"] - 1 - i if "right" in corner else i
        j = TABLE["rows"] - 1 - j if "back" in corner else j
        return {**place, "hole": f"{chr(ord('A') + i)}{j + 1}"}

    assert told(scene(*map(renamed, FAULTY), table=table)) == told(scene(*FAULTY))


def test_what_is_not_covered_is_said() -> None:
    said = " ".join(seating.CHECK.run(job(scene(block(hole="C4"))), quiet).not_covered)
    assert "pitch error" in said
    assert "stacks" in said


def test_nothing_placed_is_nothing_checked() -> None:
    assert seating.CHECK.needs(job(scene())) == "the scene places no block"
