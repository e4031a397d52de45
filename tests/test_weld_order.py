"""The suggested order of tacks and welds: properties that hold for any setup, both sides of each limit, odd input."""

from __future__ import annotations

import copy
import dataclasses
import json
import random
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

import jsonschema
import numpy as np
import pytest

from fixture3d.access.welds import Weld
from fixture3d.cli import main
from fixture3d.engine import check
from fixture3d.job import Job
from fixture3d.job.tack_places import Line, reached_spans
from fixture3d.job.weld_order import Order, Reach, Step, weld_order
from fixture3d.report.order import HEAD, from_start, order_lines, tack_words, weld_words
from fixture3d.report.report import Report, make_report
from fixture3d.report.text import to_text
from fixture3d.scene import Scene
from fixture3d.tolerance import SHOP, TACKING
from tests.check_jobs import job, post, scene, slab

UP = [0, 0, 1]
UNCHECKED = ("Torch access was not checked, so every weld is taken to be within reach.",)


def weld(name: str, joins: list[str], path: Any, sides: Any = (UP, UP), **keys: Any) -> dict[str, Any]:
    at = {"path": path, "sides": [list(s) for s in sides]}
    return {"name": name, "type": "fillet", "size": 3, "joins": joins, **at, **keys}


def square() -> dict[str, Any]:
    """A frame of 400 x 400 from bars of 40 x 40; at each corner a butt weld on top and an upright fillet inside."""
    pieces = [
        slab("west", (0, 0, 60), (40, 400, 100)),
        slab("east", (360, 0, 60), (400, 400, 100)),
        slab("south", (40, 0, 60), (360, 40, 100)),
        slab("north", (40, 360, 60), (360, 400, 100)),
    ]
    welds = []
    for a, x, sx in (("west", 40, 1), ("east", 360, -1)):
        for b, y, corner, sy in (("south", 0, 40, 1), ("north", 360, 360, -1)):
            sides = ((sx, 0, 0), (0, sy, 0))
            welds.append(weld(f"{b} {a} top", [a, b], [[x, y, 100], [x, y + 40, 100]], type="butt"))
            welds.append(weld(f"{b} {a} inside", [a, b], [[x, corner, 60], [x, corner, 90]], sides))
    return scene(plate=pieces, weld=welds)


def fin(path: Any = ((100, 20, 100), (500, 20, 100)), **keys: Any) -> dict[str, Any]:
    """A beam along X that stands off a post at its near end, with a fin on its top: one weld of 400 mm."""
    pieces = [
        slab("post", (-40, 0, 60), (0, 40, 200)),
        slab("beam", (0, 0, 60), (600, 40, 100)),
        slab("fin", (100, 20, 100), (500, 26, 160)),
    ]
    welds = [
        weld("root", ["post", "beam"], [[0, 0, 100], [0, 40, 100]], ((1, 0, 0), UP)),
        weld("fin", ["beam", "fin"], [list(p) for p in path], (UP, (0, -1, 0))),
    ]
    return scene(plate=pieces, weld=welds, **keys)


def made(tables: dict[str, Any]) -> Job:
    """The job; a weld that is given by sides is told the pieces that it joins."""
    tables = copy.deepcopy(tables)
    joins = {w["name"]: w.pop("joins", ["", ""]) for w in tables.get("weld", ())}
    plain = job(tables)
    return dataclasses.replace(
        plain, welds=tuple(dataclasses.replace(w, joins=tuple(joins[w.name])) for w in plain.welds)
    )


def kinds(order: Order, kind: str) -> list[Step]:
    return [step for step in order.steps if step.kind == kind]


def of(order: Order, name: str, kind: str = "tack") -> list[Step]:
    return [step for step in kinds(order, kind) if step.weld == name]


def said(order: Order) -> list[Any]:
    return [(s.kind, s.weld, round(s.start, 6), round(s.end, 6), s.direction, s.reason) for s in order.steps]


@cache
def square_order() -> Order:
    return weld_order(made(square()))


# --- properties ---------------------------------------------------------------------------------------------------


def test_every_weld_comes_once_after_all_tacks() -> None:
    order = square_order()
    assert sorted(step.weld for step in kinds(order, "weld")) == sorted(w["name"] for w in square()["weld"])
    words = [step.kind for step in order.steps]
    assert words == sorted(words)  # tack before weld
    assert all(step.reason for step in order.steps)


def corner(step: Step) -> str:
    return step.weld.rpartition(" ")[0]


@pytest.mark.parametrize("kind", ["tack", "weld"])
def test_opposite_corners_of_a_square_frame_take_turns(kind: str) -> None:
    steps = kinds(square_order(), kind)
    assert len(steps) == 8
    opposite = {"south west": "north east", "north east": "south west", "south east": "north west"}
    opposite["north west"] = "south east"
    for first, then in ((0, 1), (2, 3), (4, 5), (6, 7)):
        assert corner(steps[then]) == opposite[corner(steps[first])]
    # All corners have their first before any has its second.
    assert {corner(step) for step in steps[:4]} == {corner(step) for step in steps[4:]} == set(opposite)
    assert {step.weld for step in steps[:4]}.isdisjoint(step.weld for step in steps[4:])


def test_a_joint_has_two_tacks_at_least() -> None:
    order = square_order()
    for name in ("south west", "north east", "south east", "north west"):
        assert sum(corner(step) == name for step in kinds(order, "tack")) == 2
    assert order.notes == UNCHECKED


def test_opposite_sides_of_a_joint_take_turns() -> None:
    tables = scene(plate=[slab("plate", (0, 0, 60), (300, 300, 66)), slab("tube", (100, 100, 66), (200, 200, 300))])
    round_it = {
        "1": [[100, 100, 66], [200, 100, 66]],
        "2": [[200, 100, 66], [200, 200, 66]],
        "3": [[200, 200, 66], [100, 200, 66]],
        "4": [[100, 200, 66], [100, 100, 66]],
    }
    outward = {"1": (0, -1, 0), "2": (1, 0, 0), "3": (0, 1, 0), "4": (-1, 0, 0)}
    tables["weld"] = [weld(n, ["plate", "tube"], p, (UP, outward[n])) for n, p in round_it.items()]
    order = weld_order(made(tables))
    assert [step.weld for step in kinds(order, "weld")] == ["1", "3", "2", "4"]
    tacked = [step.weld for step in kinds(order, "tack")]
    assert len(tacked) == 8  # two on each side of 100 mm
    assert {tacked[0], tacked[1]} in ({"1", "3"}, {"2", "4"})


def test_the_file_may_be_sorted_in_any_way() -> None:
    tables = square()
    for seed in (1, 2):
        rng = random.Random(seed)
        for key in ("plate", "weld"):
            rng.shuffle(tables[key])
        assert said(weld_order(made(tables))) == said(square_order())


@pytest.mark.parametrize("turn", [90, 33, 61])
def test_moved_and_turned_work_has_the_same_order(turn: float) -> None:
    tables = square()
    tables["weldment"] = {"hole": "L8", "turn": turn}
    assert said(weld_order(made(tables))) == said(square_order())


# --- tacks --------------------------------------------------------------------------------------------------------


def test_tacks_of_a_long_weld_by_the_usual_rule() -> None:
    tacks = sorted(of(weld_order(made(fin())), "fin"), key=lambda step: step.start)
    # Common practice, no source: half an inch to an inch long, back from the ends, 150 mm apart at most.
    assert [step.end - step.start for step in tacks] == pytest.approx([12.7] * 4)
    assert tacks[0].start == pytest.approx(10.0)
    assert tacks[-1].end == pytest.approx(390.0)
    middles = [(step.start + step.end) / 2 for step in tacks]
    assert np.diff(middles) == pytest.approx([(380 - 12.7) / 3] * 3)
    assert tacks[0].start_at == pytest.approx([110, 20, 100])
    assert tacks[0].end_at == pytest.approx([122.7, 20, 100])


def test_larger_legs_longer_tacks_and_thin_work_closer_ones() -> None:
    def tacks(size: float) -> list[Step]:
        tables = fin()
        tables["weld"][1]["size"] = size
        return sorted(of(weld_order(made(tables)), "fin"), key=lambda step: step.start)

    assert [step.end - step.start for step in tacks(6)] == pytest.approx([18.0] * 4)
    assert tacks(20)[0].end - tacks(20)[0].start == pytest.approx(25.4)
    assert len(tacks(1.5)) == 6  # (380 - 12.7) / 75 rounded up, and one


def test_no_tack_across_a_corner_of_the_path() -> None:
    path = ((100, 20, 100), (170, 20, 100), (170, 26, 100), (100, 26, 100))
    tacks = of(weld_order(made(fin(path))), "fin")
    for edge in (0.0, 70.0, 76.0, 146.0):
        for step in tacks:
            assert not step.start + 1e-6 < edge < step.end - 1e-6
    long = [step for step in tacks if step.end - step.start > 7]
    assert sorted(round(step.start, 2) for step in long) == [8.75, 48.55, 84.75, 124.55]  # an eighth of 70 from ends


def away(step: Step, low: Any, high: Any) -> float:
    """Distance of a tack from a box, by the box's formula."""
    line = np.linspace(step.start_at, step.end_at, 100)
    gap = np.maximum(np.maximum(np.array(low) - line, line - np.array(high)), 0.0)
    return float(np.linalg.norm(gap, axis=1).min())


@pytest.mark.parametrize(("gap", "moved"), [(SHOP.bead_keep_out - 0.5, True), (SHOP.bead_keep_out + 0.6, False)])
def test_a_tack_keeps_away_from_a_stop(gap: float, moved: bool) -> None:
    # A post from x = 75 to 175 whose back stands ``gap`` in front of the weld's line, y = 20.
    # It stands in C1: y from -25 to -25 + its width; the work is moved so that the gap is as asked.
    tables = fin(place=[post("P1", "C1", height=120)])
    tables["weldment"] = {"hole": "A1", "offset": [0, 5.0 + gap]}
    order = weld_order(made(tables))
    tacks = sorted(of(order, "fin"), key=lambda step: step.start)
    low, high = (75, -25, 0), (175, 25, 120)
    assert min(away(step, low, high) for step in tacks) >= SHOP.bead_keep_out
    assert (tacks[0].start == pytest.approx(10.0)) is not moved
    if moved:
        # The next place along the weld: no more than a step or two beyond the limit.
        assert away(tacks[0], low, high) <= SHOP.bead_keep_out + 2 * TACKING.step
        assert len(tacks) == 4


def test_a_stop_that_takes_all_of_a_weld_leaves_it_without_a_tack_and_it_is_said() -> None:
    tables = fin(place=[post("P1", "C1", length=500, height=120)])
    tables["weldment"] = {"hole": "A1", "offset": [0, 8]}
    order = weld_order(made(tables))
    assert not of(order, "fin")
    assert len(of(order, "fin", "weld")) == 1
    assert any("fin: no place for a tack clear of P1" in note for note in order.notes)
    assert any("beam / fin" in note and "stay clamped" in note for note in order.notes)


def test_a_weld_deep_inside_a_block_has_no_tack() -> None:
    tables = fin(place=[post("P1", "C1", length=500, width=200, height=300)])
    order = weld_order(made(tables))
    assert not of(order, "fin")


def test_a_missing_end_is_told_like_a_missing_middle_and_places_count_from_an_end_that_is_named() -> None:
    reach = {"fin": Reach(unreached=((0.0, 60.0), (200.0, 260.0))), "root": Reach()}
    step = of(weld_order(made(fin()), reach), "fin", "weld")[0]
    path = np.array([[100, 20, 100], [500, 20, 100]])
    assert weld_words(step, path, "mm") == (
        "280 mm reached of 400 mm towards +X; the torch does not come to 0 mm to 60 mm, 200 mm to 260 mm "
        "from its -X end"
    )
    square = np.array([[0, 0, 0], [40, 0, 0], [40, 20, 0], [0, 20, 0], [0, 0, 0]])
    assert from_start(square) == "from its start at -X -Y, going +X"
    assert from_start(path[::-1]) == "from its +X end"


def test_two_tacks_round_a_corner_become_one_and_a_tack_is_not_the_whole_weld_where_others_hold() -> None:
    # Sides of 40: each alone gets one tack in its middle; off the middle of two sides they would meet at a corner.
    path = [[100, 20, 100], [140, 20, 100], [140, 26, 100], [100, 26, 100], [100, 20, 100]]
    reach = {"fin": Reach(unreached=((0.0, 24.0),)), "root": Reach()}
    tacks = sorted(of(weld_order(made(fin(path)), reach), "fin"), key=lambda step: step.start)
    assert len(tacks) >= 2
    for one, after in pairwise(tacks):
        if one.start < 40 < after.end or one.start < 46 < after.end:
            assert after.start - one.end >= min(one.end - one.start, after.end - after.start) - 1e-6
    tables = fin()
    tables["weld"].append(weld("end", ["beam", "fin"], [[100, 20, 100], [100, 26, 100]], (UP, (-1, 0, 0))))
    order = weld_order(made(tables), {"fin": Reach(), "end": Reach(), "root": Reach()})
    assert not of(order, "end")
    assert len(of(order, "end", "weld")) == 1
    # Where it is all that holds, it stays and says so.
    alone = weld_order(made(tables), {"fin": Reach(unreached=((0.0, 400.0),)), "end": Reach(), "root": Reach()})
    (tack,) = of(alone, "end")
    assert "nothing left to weld" in tack_words(tack, [[100, 20, 100], [100, 26, 100]], "mm")


def test_a_piece_of_which_no_weld_is_reached_is_told_to_be_loose() -> None:
    order = weld_order(made(fin()), {"fin": Reach(unreached=((0.0, 400.0),)), "root": Reach()})
    assert [note for note in order.notes if note.startswith("fin: the torch reaches no weld of it")]
    assert not [note for note in order.notes if note.startswith("beam: ")]


def test_tacks_and_welds_only_where_the_torch_comes() -> None:
    reach = {"fin": Reach(unreached=((0.0, 60.0), (200.0, 260.0))), "root": Reach()}
    order = weld_order(made(fin()), reach)
    tacks = sorted(of(order, "fin"), key=lambda step: step.start)
    assert tacks[0].start >= 60.0
    assert all(step.end <= 200.0 or step.start >= 260.0 for step in tacks)
    (run,) = of(order, "fin", "weld")
    assert (run.start, run.end, run.left_out) == (60.0, 400.0, ((0.0, 60.0), (200.0, 260.0)))
    assert (run.reached, run.length) == pytest.approx((280.0, 400.0))
    blind = weld_order(made(fin()), reach | {"fin": Reach(unreached=((0.0, 400.0),))})
    assert not of(blind, "fin")
    assert not of(blind, "fin", "weld")
    assert any(note.startswith("fin: the torch does not reach it") for note in blind.notes)
    untried = weld_order(made(fin()), {"root": Reach()})
    assert any(note.startswith("fin: the torch was not tried") for note in untried.notes)
    assert len(of(untried, "fin", "weld")) == 1


def test_pieces_that_are_one_already_need_no_tack() -> None:
    joined = dataclasses.replace(made(fin()), joined=(("beam", "fin"),))
    order = weld_order(joined)
    assert not of(order, "fin")
    assert of(order, "root")
    assert any("beam / fin: one piece since an earlier stage" in note for note in order.notes)


# --- directions ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("back", [False, True])
def test_a_weld_runs_towards_the_free_end_of_a_cantilever(back: bool) -> None:
    path = [[100, 20, 100], [500, 20, 100]]
    (run,) = of(weld_order(made(fin(path[::-1] if back else path))), "fin", "weld")
    assert run.direction == ("back" if back else "forward")
    assert run.end_at == pytest.approx([500, 20, 100])
    assert run.reason.endswith("away from beam / post to its free end") or "away from root" in run.reason


def test_a_clamp_holds_the_far_end() -> None:
    tables = fin()
    # Its tip comes down on the beam at x = 550, nearer to the far end of the fin than the post is to the near one.
    clamp = {"name": "K1", "model": "presser", "hole": "J1", "presses": "beam"}
    tables["clamp"] = [{**clamp, "with": {"reach": 100, "work_height": 100}}]
    (run,) = of(weld_order(made(tables)), "fin", "weld")
    assert run.direction == "back"
    assert "away from K1" in run.reason


@pytest.mark.parametrize("way", ["forward", "back"])
def test_the_technique_has_the_last_word(way: Any) -> None:
    (run,) = of(weld_order(made(fin()), {"fin": Reach(way=way), "root": Reach()}), "fin", "weld")
    assert run.direction == way


def test_a_steep_weld_is_run_upwards() -> None:
    for step in kinds(square_order(), "weld"):
        if step.weld.endswith("inside"):
            assert step.end_at[2] > step.start_at[2]


# --- odd input ----------------------------------------------------------------------------------------------------


def test_no_weld_no_step() -> None:
    tables = fin()
    del tables["weld"]
    assert weld_order(made(tables)) == Order()
    assert order_lines(make_report(made(tables), [], {})) == [
        ("  ", "No weld is run here, so there is nothing to tack.")
    ]


def one_weld(length: float) -> Order:
    tables = fin(((100, 20, 100), (100 + length, 20, 100)))
    del tables["weld"][0]
    return weld_order(made(tables))


def test_one_weld_is_tacked_at_both_ends_and_has_no_other_to_be_far_from() -> None:
    order = one_weld(400)
    assert [step.kind for step in order.steps] == ["tack"] * 4 + ["weld"]
    assert order.steps[0].start == pytest.approx(10.0)
    assert order.steps[1].end == pytest.approx(390.0)
    assert "so either way" in order.steps[-1].reason


@pytest.mark.parametrize(("length", "tacks"), [(5, 1), (20.9, 1), (21.1, 2), (40, 2), (59, 2)])
def test_a_short_weld_that_is_all_of_its_joint(length: float, tacks: int) -> None:
    order = one_weld(length)
    found = sorted(kinds(order, "tack"), key=lambda step: step.start)
    assert len(found) == tacks
    assert all(0.0 <= step.start < step.end <= length + 1e-9 for step in found)
    if tacks == 1:
        assert any("one tack only" in note for note in order.notes)
    else:
        assert found[1].start - found[0].end >= TACKING.apart - 1e-6
        assert order.notes == UNCHECKED
    if length < TACKING.length:
        assert (found[0].start, found[0].end) == pytest.approx((0.0, length))


def test_a_weld_without_pieces_is_a_joint_of_its_own() -> None:
    tables = fin()
    del tables["weld"][1]["joins"]
    tables["weld"][1]["path"] = [[100, 300, 100], [400, 300, 100]]  # on nothing
    order = weld_order(made(tables))
    assert len(of(order, "fin", "weld")) == 1
    # Given by its sides alone, a weld belongs to the pieces that it lies on.
    tables["weld"][1]["path"] = [[100, 20, 100], [500, 20, 100]]
    assert any("beam / fin" in step.nth or "its joint" in step.nth for step in of(weld_order(made(tables)), "fin"))


def test_a_closed_line_is_tacked_all_round() -> None:
    turns = np.linspace(0.0, 2 * np.pi, 73)
    path = [[300 + 50 * float(np.cos(t)), 20 + 50 * float(np.sin(t)), 100] for t in turns]
    path[-1] = path[0]
    order = weld_order(made(fin(path)))
    tacks = sorted(of(order, "fin"), key=lambda step: step.start)
    assert len(tacks) == 3
    middles = [(step.start + step.end) / 2 for step in tacks]
    assert np.diff(middles) == pytest.approx([2 * np.pi * 50 / 3] * 2, rel=1e-3)
    assert "round" in of(order, "fin", "weld")[0].reason


def test_what_is_reached_between_what_is_not() -> None:
    assert reached_spans(100.0, []) == [(0.0, 100.0)]
    assert reached_spans(100.0, [(20.0, 30.0), (0.0, 10.0)]) == [(10.0, 20.0), (30.0, 100.0)]
    assert reached_spans(100.0, [(0.0, 100.0)]) == []


def test_a_path_with_a_doubled_point_is_read() -> None:
    path = np.array([[0, 0, 0], [0, 0, 0], [10, 0, 0], [10, 0, 0], [10, 10, 0]], dtype=float)
    line = Line(Weld(name="w", type="fillet", joins=("", ""), size=3, path=path, technique="", sides=np.eye(3)[:2]))
    assert line.stretches == ((0.0, 10.0), (10.0, 20.0))
    assert line.point(15.0) == pytest.approx([10, 5, 0])


# --- in the report ------------------------------------------------------------------------------------------------


@cache
def report() -> Report:
    tables: dict[str, Any] = {
        "format": 1,
        "table": "50/16 1000x1000",
        "weldment": {"hole": "E4", "lift": 70},
        "plate": [slab("base", (0, 0, 0), (300, 200, 6)), slab("rib", (50, 100, 6), (250, 106, 60))],
        "weld": [
            weld("ahead", [], [[50, 100, 6], [250, 100, 6]], (UP, (0, -1, 0)), size=4),
            weld("behind", [], [[50, 106, 6], [250, 106, 6]], (UP, (0, 1, 0)), size=4),
        ],
    }
    for one in tables["weld"]:
        del one["joins"]
    return check(Scene.from_dict(tables))


def test_the_text_has_it_only_when_asked_for() -> None:
    text = to_text(report(), order=True)
    assert HEAD in text.splitlines()
    assert HEAD not in to_text(report())
    assert "1 tack ahead: 10 mm to 23 mm from its -X end" in text
    # After the table of welds.
    assert text.index("Welds, worst first") < text.index(HEAD) < text.index("Not checked")
    assert text.count("Before the first weld") == 1
    assert text.index(" tack ") < text.index("Before the first weld") < text.index(" weld ahead: 200 mm towards ")


def test_the_report_has_it_as_data() -> None:
    data = report().to_dict()
    schema = json.loads((files("fixture3d.report") / "report.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(data)
    order = data["order"]
    assert "no source" in order["basis"]
    assert [step["number"] for step in order["steps"]] == list(range(1, len(order["steps"]) + 1))
    assert sorted(step["weld"] for step in order["steps"] if step["kind"] == "weld") == ["ahead", "behind"]
    assert {step["stage"] for step in order["steps"]} == {None}
    assert all(step["direction"] is None for step in order["steps"] if step["kind"] == "tack")


def test_the_command_has_the_option(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", "garden_gate", "--order"])
    text = capsys.readouterr().out
    assert HEAD in text
    assert "9/16 in to 1-1/16 in from its" in text  # in the units of the file
