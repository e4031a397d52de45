"""From a scene to a job: every way to place a block, and the errors of what cannot exist."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.engine import assemble
from fixture3d.errors import SceneError
from fixture3d.job import Job, placed_pads
from fixture3d.job.bodies import part_key
from fixture3d.job.resolve import changed
from fixture3d.part import parameters
from fixture3d.scene import Scene

TABLE = {"pitch": 50, "bore": 16, "columns": 20, "rows": 16, "edge": 50, "thickness": 12}

WRONG_KEY: dict[str, Any] = {"with": {"heigth": 4}}
TOO_LOW: dict[str, Any] = {"with": {"height": 4}}
NOT_WHOLE: dict[str, Any] = {"with": {"bores": 1.5}}


def job(*places: dict[str, Any], **rest: Any) -> Job:
    """A job of some blocks on a metric table."""
    return assemble(Scene.from_dict({"format": 1, "table": TABLE, "place": list(places), **rest}))


def block(name: str, model: str = "stop_block", /, **rest: Any) -> dict[str, Any]:
    return {"name": name, "model": model, **rest}


def at(found: Job, name: str) -> list[float]:
    """Where the block's first pin stands, world mm."""
    return [round(float(v), 6) for v in found.seats[name].model_to_world[:3, 3]]


def test_a_block_stands_with_its_first_pin_in_the_hole() -> None:
    found = job(block("S", hole="C4", turn=90))
    assert at(found, "S") == [100, 150, 0]
    assert found.seats["S"].holes == ("C4", "C5")
    front = next(p for p in placed_pads(found.seats["S"]) if p.pad.name == "front")
    assert front.normal == pytest.approx([1, 0, 0])
    assert float(front.at[0]) == pytest.approx(120.0)


def test_another_pin_in_the_hole_moves_the_block() -> None:
    assert at(job(block("S", hole="C4", pin=2)), "S") == [50, 150, 0]


def test_pins_left_out() -> None:
    found = job(block("S", hole="C4", pins=["2"]))
    assert found.seats["S"].holes == ("D4",)
    assert job(block("S", hole="C4", pins=[])).seats["S"].holes == ()


def test_turned_over_the_block_still_stands_on_the_table() -> None:
    found = job(block("S", hole="C4", face="top"))
    low = min(b.box[0, 2] for b in found.of_item("S") if b.role == "block")
    assert low == pytest.approx(0.0, abs=1e-6)
    front = next(p for p in placed_pads(found.seats["S"]) if p.pad.name == "front")
    assert front.normal == pytest.approx([0, 1, 0])  # turned about its length, the front looks to the back


@pytest.mark.parametrize("levels", [1, 2, 5])
def test_stacks_of_any_height(levels: int) -> None:
    places = [block("R0", "riser", hole="C4", **{"with": {"height": 60}})]
    places += [
        block(f"R{k}", "riser", on=f"R{k - 1}", socket="1", **{"with": {"height": 60}}) for k in range(1, levels + 1)
    ]
    found = job(*places)
    assert at(found, f"R{levels}") == [100, 150, 60 * levels]
    assert found.seats[f"R{levels}"].holes == tuple(f"R{levels - 1}:{k}" for k in range(1, 7))


def test_a_stack_may_be_listed_from_the_top() -> None:
    found = job(block("S", on="R", socket=2), block("R", "riser", hole="C4"))
    assert at(found, "S") == [150, 150, 50]
    assert list(found.seats) == ["S", "R"]


def test_a_socket_that_cannot_be_used_is_a_finding_not_a_crash() -> None:
    aside = job(block("R", "step_block", hole="C4", face="back"), block("S", on="R"))
    assert aside.seats["S"].complaint == "no socket of R opens upward as R lies"
    over = job(block("R", "step_block", hole="C4", face="top"), block("S", on="R", socket=1))
    assert over.seats["S"].complaint == "socket 1 of R opens on to what R stands on"


def test_notch_slide_and_shims_move_the_pad() -> None:
    def nose(**rest: Any) -> float:
        seat = job(block("T", "slide_stop", hole="J8", **rest)).seats["T"]
        return float(next(p for p in placed_pads(seat) if p.pad.name == "right").at[0])

    zero = nose()
    assert nose(notch=3) - zero == pytest.approx(9.0)
    assert nose(slide=4.5) - zero == pytest.approx(4.5)
    assert nose(shims=[{"pad": "right", "by": [0.5, "0.2"]}]) - zero == pytest.approx(0.7)


def test_bodies_go_where_their_pads_are() -> None:
    def faces(**rest: Any) -> tuple[float, float]:
        found = job(block("T", "slide_stop", hole="J8", **rest))
        (pad,) = found.pads()
        return float(pad.at[0]), max(float(b.box[1, 0]) for b in found.of_item("T"))

    for keys in ({"notch": 3}, {"slide": 4.5}, {"notch": 2, "shims": [{"pad": "right", "by": [0.5]}]}):
        pad, furthest = faces(**keys)
        assert furthest == pytest.approx(pad), keys
    shimmed = job(block("T", "slide_stop", hole="J8", shims=[{"pad": "right", "by": [0.5]}]))
    shim = next(b for b in shimmed.bodies if b.role == "shim")
    (pad_,) = shimmed.pads()
    assert shim.box[:, 0].tolist() == pytest.approx([pad_.at[0] - 0.5, pad_.at[0]])


def test_a_block_is_kept_under_all_that_decides_its_solid() -> None:
    part = job(block("S", hole="C4")).seats["S"].part
    others = [changed(part, {name: float(getattr(part, name)) + 1}) for name in parameters(type(part))]
    wider = replace(part, pattern=replace(part.pattern, bore=part.pattern.bore + 1))
    keys = [part_key(p, "source", "") for p in (part, *others, wider)]
    keys += [part_key(part, "another source", ""), part_key(part, "source", "washer")]
    assert len(set(keys)) == len(keys)
    assert part_key(replace(part), "source", "") == keys[0]


def test_the_given_sides_of_a_weld_turn_with_the_work() -> None:
    plate = {"name": "base", "outline": [[0, 0], [90, 0], [90, 60], [0, 60]], "thickness": 6}
    weld = {"name": "w", "type": "fillet", "size": 3, "path": [[0, 0, 6], [50, 0, 6]], "sides": [[0, 0, 1], [0, -1, 0]]}
    found = job(weldment={"hole": "E4", "turn": 90, "lift": 20}, plate=[plate], weld=[weld])
    (line,) = found.welds
    assert np.asarray(line.path) == pytest.approx(np.array([[200, 150, 26], [200, 200, 26]]))
    assert np.asarray(line.sides).reshape(-1, 3) == pytest.approx(np.array([[0, 0, 1], [1, 0, 0]]))


def test_shims_under_the_seat_lift_the_block() -> None:
    found = job(block("S", hole="C4", shims=[{"pad": "seat", "by": [1.5]}]))
    assert at(found, "S") == [100, 150, 1.5]
    pin = next(b for b in found.of_item("S") if b.role == "pin")
    assert pin.box[0, 2] < -5.0  # the dowel still reaches into the table


def test_an_extra_grid_has_its_own_plane() -> None:
    side = {"name": "side", "origin": [0, -50, -60], "x": [1, 0, 0], "y": [0, 0, 1], "columns": 18, "rows": 2}
    found = job(block("S", hole="side:B1"), grid=[side])
    pose = found.seats["S"].model_to_world
    assert at(found, "S") == [50, -50, -60]
    assert frame.directions(pose, (0, 0, 1)) == pytest.approx([0, -1, 0])
    assert found.seats["S"].holes == ("side:B1", "side:C1")


def test_free_edge_and_magnet_are_measured_places() -> None:
    found = job(
        block("F", free=[120, 80, 0, 30]),
        clamp=[
            {"name": "E", "model": "toggle_clamp", "edge": "front", "along": 300},
            {"name": "M", "model": "toggle_clamp", "free": [400, 300, 0, 90], "magnet": True},
        ],
    )
    assert found.seats["F"].holds == "measured"
    assert at(found, "F") == [120, 80, 0]
    assert found.seats["E"].holds == "edge"
    assert found.seats["M"].holds == "magnet"
    low = np.min([b.box[0] for b in found.of_item("E") if b.role == "clamp"], axis=0)
    assert low[1] == pytest.approx(-50.0, abs=1.0)  # its foot begins at the table's edge


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (block("S", "stop_blok", hole="C4"), ["stop_blok", 'nearest: "stop_block"']),
        (block("S", hole="C4", pin="9"), ['no pin "9"', "expected 1, 2"]),
        (block("S", hole="C4", pins=["7"]), ['no pin "7"']),
        (block("S", hole="C4", face="botom"), ["botom", 'nearest: "bottom"']),
        (block("S", hole="C4", notch=1), ["nothing that slides"]),
        (block("S", "slide_stop", hole="C4", notch=40), ["notch 40", "0 to 16", "nearest: 16"]),
        (block("S", "slide_stop", hole="C4", slide=400), ["slide 400 mm", "nearest: 48 mm"]),
        (block("S", hole="C4", shims=[{"pad": "frnt", "by": [1]}]), ["frnt", 'nearest: "front"']),
        (block("S", hole="C4", **WRONG_KEY), ["heigth", 'nearest: "height"']),
        (block("S", hole="C4", **TOO_LOW), ["out of range", "nearest: 10 mm"]),
        (block("S", hole="C4", **NOT_WHOLE), ["not a whole number"]),
    ],
)
def test_what_cannot_exist_is_one_located_line(place: dict[str, Any], words: list[str]) -> None:
    with pytest.raises(SceneError) as caught:
        job(place)
    text = str(caught.value)
    assert len(text.splitlines()) == 1
    assert 'place "S"' in text
    for word in words:
        assert word in text


def test_all_faults_come_in_one_run() -> None:
    with pytest.raises(SceneError) as caught:
        job(block("A", "nope", hole="C4"), block("B", hole="C6", notch=2), block("C", on="A", socket=1))
    assert len(caught.value.problems) == 2  # C stands on A, which is reported once


def test_a_clamp_must_be_a_clamp() -> None:
    with pytest.raises(SceneError, match="is not a clamp"):
        job(clamp=[{"name": "K", "model": "riser", "hole": "C4"}])


def test_a_clamp_turns_and_reaches_for_the_piece_it_presses() -> None:
    found = job(
        clamp=[{"name": "K", "model": "toggle_clamp", "hole": "G6", "presses": "bar", "at": 200}],
        weldment={"hole": "B9", "lift": 60},
        member=[{"name": "bar", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0]}],
    )
    seat = found.seats["K"]
    tip = seat.part.tip()
    assert tip is not None
    there = frame.points(seat.model_to_world, tip.at)
    assert there == pytest.approx([250, 400, 80], abs=1e-6)  # 200 along the bar, on top of it


def test_at_beyond_the_end_of_the_piece_is_an_error() -> None:
    with pytest.raises(SceneError, match="beyond the end of bar"):
        job(
            clamp=[{"name": "K", "model": "toggle_clamp", "hole": "G6", "presses": "bar", "at": 900}],
            weldment={"hole": "B9", "lift": 60},
            member=[{"name": "bar", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [500, 0, 0]}],
        )
