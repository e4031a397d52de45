"""Blocks that hook over the table's edge: where they come to lie, what they reach, and what may not be asked of them.

The table: 20 by 12 holes of 16 every 50, its edges 50 from the outer holes, so the plate is 1050 by 650.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.checks.base import Finding, quiet
from fixture3d.checks.interference import CHECK as INTERFERENCE
from fixture3d.checks.seating import CHECK as SEATING
from fixture3d.engine import assemble
from fixture3d.errors import SceneError
from fixture3d.job import Job, Seat, placed_pads
from fixture3d.scene import Scene

TABLE = {"pitch": 50, "bore": 16, "columns": 20, "rows": 12, "edge": 50, "thickness": 15}
EDGES = {  # edge: ends of a member that runs along it, 100 in from it, and how far along it the point at = 150 lies
    "front": ([0, 50, 0], [400, 50, 0], 150.0),
    "back": ([0, 500, 0], [400, 500, 0], 150.0),
    "left": ([50, 0, 0], [50, 400, 0], 150.0),
    "right": ([900, 0, 0], [900, 400, 0], 150.0),
}


def setup(*clamps: dict[str, Any], edge: str = "front", **keys: Any) -> Job:
    start, end, _ = EDGES[edge]
    leg = {"name": "leg", "stock": "SHS 40x40x3", "from": start, "to": end}
    data = {"format": 1, "table": TABLE, "weldment": {"hole": "A1", "lift": 70}, "member": [leg], "clamp": list(clamps)}
    return assemble(Scene.from_dict({**data, **keys}))


def findings(job: Job) -> list[Finding]:
    found = [*SEATING.run(job, quiet).findings, *INTERFERENCE.run(job, quiet).findings]
    return [f for f in found if f.rule != "unsupported"]


def tip(seat: Seat) -> Any:
    found = seat.part.tip()
    assert found is not None
    return frame.points(seat.model_to_world, np.asarray(found.at))


@pytest.mark.parametrize("edge", EDGES)
def test_a_bar_clamp_reaches_in_to_the_piece(edge: str) -> None:
    """100 in from the edge, on top of a tube of 40 whose middle is 70 high; the jaw under a plate of 15."""
    start, end, along = EDGES[edge]
    given = {"name": "K1", "model": "bar_clamp", "edge": edge, "presses": "leg"}
    job = setup({**given, "along": along}, edge=edge)
    middle = (np.asarray(start) + (np.asarray(end) - start) * (150.0 / 400.0))[:2]
    assert tip(job.seats["K1"]) == pytest.approx((*middle, 90.0))
    assert getattr(job.seats["K1"].part, "reach") == pytest.approx(100.0)  # noqa: B009
    found = findings(job)
    assert [f.rule for f in found] == ["needs-measuring"]
    assert (
        found[0].message == "K1 is clamped to the table's edge, so its place along the edge must be measured each time"
    )
    (row,) = INTERFERENCE.run(job, quiet).figures["clamps"]
    assert row == {"clamp": "K1", "shut": [], "open": [], "way": []}
    told = setup({**given, "at": 150}, edge=edge).seats["K1"]
    assert told.place.along == pytest.approx(along)
    assert tip(told) == pytest.approx(tip(job.seats["K1"]))


def test_its_place_is_told_from_the_nearest_hole() -> None:
    given = {"name": "K1", "model": "bar_clamp", "presses": "leg"}
    (front,) = findings(setup({**given, "edge": "front", "along": 160}))
    assert front.remedy == "set its middle 10 mm beyond D1; across, the edge itself locates it"
    (right,) = findings(setup({**given, "edge": "right", "along": 150}, edge="right"))
    assert right.remedy == "set its middle level with T4; across, the edge itself locates it"


@pytest.mark.parametrize(
    ("low", "said"), [(500, "550 mm in .* reaches 24 mm to 300 mm; .*nearest: 300 mm"), (-40, "10 mm")]
)
def test_beyond_its_throat_is_an_error_with_the_nearest_reach(low: float, said: str) -> None:
    leg = {"name": "leg", "stock": "SHS 40x40x3", "from": [0, low, 0], "to": [400, low, 0]}
    clamp = {"name": "K1", "model": "bar_clamp", "edge": "front", "along": 150, "presses": "leg"}
    with pytest.raises(SceneError, match=f"leg is to be pressed {said}"):
        setup(clamp, member=[leg])


def test_a_piece_that_lies_aslant_is_pressed_where_the_arm_crosses_it() -> None:
    """At 45 degrees through (0, 50) and (200, 250): at x = 100 its middle is at y = 150, 200 in from the edge."""
    leg = {"name": "leg", "stock": "SHS 40x40x3", "from": [0, 50, 0], "to": [200, 250, 0]}
    job = setup({"name": "K1", "model": "bar_clamp", "edge": "front", "along": 100, "presses": "leg"}, member=[leg])
    assert tip(job.seats["K1"]) == pytest.approx((100.0, 150.0, 90.0))


@pytest.mark.parametrize("given", [{}, {"plate": 15}, {"plate": 12}])
def test_the_jaw_lies_under_the_plate_as_thick_as_it_is(given: dict[str, float]) -> None:
    clamp = {"name": "K1", "model": "bar_clamp", "edge": "front", "along": 150, "presses": "leg", "with": given}
    found = [f for f in findings(setup(clamp)) if f.rule == "below-table"]
    assert [f.measured for f in found] == ([pytest.approx(3.0, abs=0.01)] if given.get("plate") == 12 else [])


def test_in_inches_the_plate_and_the_reach_follow_too() -> None:
    table = {"pitch": 2, "bore": "5/8 in", "columns": 20, "rows": 12, "edge": 2, "thickness": "3/4 in"}
    leg = {"name": "leg", "stock": "HSS 2x2x1/8", "from": [0, 2, 0], "to": [16, 2, 0]}
    clamp = {"name": "K1", "model": "bar_clamp", "edge": "front", "along": 6, "presses": "leg"}
    data = {"format": 1, "units": "in", "table": table, "weldment": {"hole": "A1", "lift": 3}, "member": [leg]}
    job = assemble(Scene.from_dict({**data, "clamp": [clamp]}))
    assert tip(job.seats["K1"]) == pytest.approx((6 * 25.4, 2 * 25.4, 4 * 25.4))
    assert getattr(job.seats["K1"].part, "plate") == pytest.approx(19.05)  # noqa: B009
    assert [f.rule for f in findings(job)] == ["needs-measuring"]


@pytest.mark.parametrize("corner", ["front left", "back right"])
@pytest.mark.parametrize("edge", EDGES)
def test_an_edge_stop_is_exact_across_and_measured_along(edge: str, corner: str) -> None:
    """Its face is its depth in from the edge, whichever corner the holes are counted from."""
    names = {"corner": corner}
    stop = {"name": "E1", "model": "edge_stop", "edge": edge, "along": 210, "with": {"depth": 80}}
    job = assemble(Scene.from_dict({"format": 1, "table": {**TABLE, "names": names}, "place": [stop]}))
    (face,) = [pad for pad in placed_pads(job.seats["E1"]) if pad.pad.name == "right"]
    x0, y0, x1, y1 = job.table.size or (0.0, 0.0, 0.0, 0.0)
    inward = {"front": (0, 1), "back": (0, -1), "left": (1, 0), "right": (-1, 0)}[edge]
    k = 1 if edge in ("front", "back") else 0
    start = {"front": y0, "back": y1, "left": x0, "right": x1}[edge]
    assert face.normal[:2] == pytest.approx(inward)
    assert face.at[k] == pytest.approx(start + inward[k] * 80.0)
    assert face.at[1 - k] == pytest.approx(210.0 if corner == "front left" else -210.0)
    (found,) = findings(job)
    assert found.message == "E1 is hooked over the table's edge, so its place along the edge must be measured each time"


def test_an_edge_stop_past_the_corner_hangs_over() -> None:
    stop = {"name": "E1", "model": "edge_stop", "edge": "front", "along": 990}
    job = assemble(Scene.from_dict({"format": 1, "table": TABLE, "place": [stop]}))
    assert [f.rule for f in findings(job)] == ["needs-measuring", "overhang"]


@pytest.mark.parametrize(
    ("kind", "keys", "said"),
    [
        (
            "place",
            {"model": "stop_block", "edge": "front", "along": 100},
            "stop_block does not hook .*bar_clamp, edge_stop",
        ),
        ("place", {"model": "edge_stop", "hole": "C4"}, "stands nowhere else; expected edge = "),
        ("place", {"model": "edge_stop", "edge": "front", "along": 100, "turn": 90}, "turn of a block that hooks over"),
        ("place", {"model": "edge_stop", "edge": "front"}, "edge without along"),
        ("place", {"model": "edge_stop", "edge": "top", "along": 100}, 'expected "front", "back", "left", "right"'),
        ("clamp", {"model": "bar_clamp", "free": [0, 0, 0, 0]}, "stands nowhere else"),
        (
            "clamp",
            {"model": "bar_clamp", "edge": "front", "along": 100, "bolt": True},
            "bolt of a block that hooks over",
        ),
        ("clamp", {"model": "edge_stop", "edge": "front", "along": 100}, "is not a clamp"),
    ],
)
def test_what_cannot_be_asked(kind: str, keys: dict[str, Any], said: str) -> None:
    with pytest.raises(SceneError, match=said) as caught:
        assemble(Scene.from_dict({"format": 1, "table": TABLE, kind: [{"name": "X1", **keys}]}))
    assert len(caught.value.problems) == 1
