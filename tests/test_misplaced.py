"""One cause for all: the work as a whole off by one shift, on both sides of every limit."""

from __future__ import annotations

import copy
import re
import tomllib
from typing import Any

import numpy as np
import pytest

from fixture3d.checks import interference
from fixture3d.checks.base import Finding
from fixture3d.frame import translation
from fixture3d.job.misplaced import misplaced
from tests.check_jobs import ask, job, of_rule, post, scene, slab

HOLES = ("C4", "G4", "K4", "O4")


def table(heights: tuple[float, ...] = (50, 50, 50, 50), dy: float = 0.0, dz: float = 0.0, **more: Any) -> Any:
    """A bar of 40 x 20 that lies on posts at z = 50, its back at y = 375 against two stops, and is off by a shift.

    The posts are turned round: their backs look to the front. S1 and S2 stand in row 9, at y = 400.
    """
    places = [
        post(f"R{k}", hole.replace("4", "8"), height=height)
        for k, (hole, height) in enumerate(zip(HOLES, heights, strict=False))
    ]
    places += more.pop("stops", [post(f"S{k}", hole, height=90, turn=180) for k, hole in ((1, "F9"), (2, "N9"))])
    bar = slab("bar", (50, 335, 0), (800, 375, 20))
    return scene(place=places, plate=[bar], weldment={"hole": "A1", "offset": [0, dy], "lift": 50 + dz}, **more)


def found(tables: dict[str, Any]) -> list[Finding]:
    return of_rule(ask(interference.CHECK, tables), "work-misplaced")


def mended(tables: dict[str, Any], finding: Finding) -> dict[str, Any]:
    """The scene with the keys that the remedy names."""
    match = re.match(r"set (.*) in \[weldment\]", finding.remedy)
    assert match is not None, finding.remedy
    out = copy.deepcopy(tables)
    out["weldment"].update(tomllib.loads(match[1].replace(" and ", "\n")))
    return out


def test_work_in_its_place_is_no_finding() -> None:
    assert ask(interference.CHECK, table()).findings == ()


@pytest.mark.parametrize(("dz", "told"), [(0.019, False), (0.025, True), (-0.025, True), (2.0, True), (-2.0, True)])
def test_a_wrong_lift_is_told_as_one_cause_and_its_parts_stay(dz: float, told: bool) -> None:
    result = ask(interference.CHECK, table(dz=dz))
    named = of_rule(result, "work-misplaced")
    assert bool(named) == told
    for finding in named:
        assert result.findings[0] is finding
        assert finding.level == ("fail" if dz < 0.0 else "warn")
        assert finding.measured == pytest.approx(abs(dz), abs=1e-6)
        assert finding.subjects == ("weldment", "R0", "R1", "R2", "R3")
        assert finding.remedy.startswith("set lift = 50 in [weldment], which moves the work")
        assert len(of_rule(result, "overlap" if dz < 0.0 else "stops-short")) == 4
        assert ask(interference.CHECK, mended(table(dz=dz), finding)).findings == ()


@pytest.mark.parametrize(("dy", "dz"), [(1.0, 0.0), (-1.0, 0.0), (-0.5, 0.2), (3.25, -4.0)])
def test_a_wrong_offset_alone_or_with_the_lift(dy: float, dz: float) -> None:
    (finding,) = found(table(dy=dy, dz=dz))
    assert finding.measured == pytest.approx(float(np.hypot(dy, dz)), abs=1e-6)
    assert "offset = [0, 0]" in finding.remedy
    assert ("lift = 50" in finding.remedy) is (dz != 0.0)
    assert ask(interference.CHECK, mended(table(dy=dy, dz=dz), finding)).findings == ()


@pytest.mark.parametrize(
    ("heights", "told"),
    [
        ((50, 50, 50, 51), False),  # one block is wrong, not the work
        ((50, 50, 51, 51), False),  # half of them: nobody can say
        ((50, 51, 51, 51), False),  # one that touches speaks against three
        ((45, 51, 51, 51), True),  # one with a fault of its own does not
        ((51, 51, 51, 51.04), True),  # the same, as far as a fit goes
        ((51, 51, 51.07, 51.14), False),  # each by something else
    ],
)
def test_nearly_all_have_to_agree(heights: tuple[float, ...], told: bool) -> None:
    assert bool(found(table(heights))) is told


@pytest.mark.parametrize(("count", "told"), [(1, False), (2, False), (3, True)])
def test_three_faces_at_least(count: int, told: bool) -> None:
    assert bool(found(table((50.3,) * count, stops=[]))) is told


@pytest.mark.parametrize(
    ("dy", "width", "told"),
    [(6.35, 25.0, True), (6.35, 25.03, True), (6.35, 25.2, False), (13.1, 25.0, False), (-3.0, 25.0, True)],
)
def test_stops_of_one_side_that_are_all_off_by_the_same_are_one_wrong_length(
    dy: float, width: float, told: bool
) -> None:
    """The bar lies against two stops in front, 335 from A1; those behind stand at 375 + dy, one perhaps a bit less."""
    stops = [{**post(f"F{k}", "A1", height=90), "free": [x, 310, 0, 0]} for k, x in ((1, 200.0), (2, 400.0))] + [
        {**post(f"S{k}", "A1", height=90, width=2 * half), "free": [x, 375 + dy + 25.0, 0, 180]}
        for k, x, half in ((1, 250.0, 25.0), (2, 650.0, width))
    ]
    for stop in stops:
        del stop["hole"]
    tables = table(stops=stops)
    named = found(tables)
    assert bool(named) is told
    for finding in named:
        assert finding.subjects == ("weldment", "S1", "S2")
        assert finding.measured == pytest.approx(abs(dy), abs=0.05)
        assert ("short" if dy > 0.0 else "long") in finding.remedy
        assert "one length is wrong" in finding.remedy
        if width == 25.0:
            tables["plate"][0]["outline"] = [[x, y + dy if y else 0] for x, y in tables["plate"][0]["outline"]]
            assert ask(interference.CHECK, tables).findings == ()


def test_the_stops_that_are_right_speak_against_a_shift_along_them() -> None:
    """Three risers too high by 0.3 and stops that touch: a lift leaves the stops alone, an offset would not."""
    (finding,) = found(table((50.3, 50.3, 50.3, 50.3)))
    assert "offset" not in finding.remedy
    wrong = table(stops=[post("S1", "F9", height=90, turn=180), post("S2", "N9", height=90, turn=180, width=49)])
    assert found(wrong) == []


def test_in_inches_the_value_is_as_the_file_has_it() -> None:
    tables = {"format": 1, "units": "in", "weldment": {"hole": "A1", "lift": "2-1/16"}}
    tables["table"] = {"pitch": 2, "bore": "5/8", "columns": 20, "rows": 20, "edge": 2, "thickness": "1/2"}
    size = {"length": 4, "width": 2, "height": 2}
    tables["place"] = [{**post(f"R{k}", hole), "with": size} for k, hole in enumerate(HOLES)]
    tables["plate"] = [{**slab("bar", (1, 5.5, 0), (40, 6.5, 1))}]
    (finding,) = found(tables)
    assert finding.remedy == "set lift = 2 in [weldment], which moves the work 1/16 in down (-Z)"
    assert finding.measured == pytest.approx(25.4 / 16)


def test_the_shift_is_the_one_that_the_work_was_given() -> None:
    """Against the pose itself: moved by the shift, the work is where it was before it was displaced."""
    right, wrong = job(table()), job(table(dy=-0.5, dz=0.2))
    shift = misplaced(wrong)
    assert shift is not None
    assert right.weldment is not None
    assert wrong.weldment is not None
    moved = translation(shift.shift) @ wrong.weldment.weldment_to_world
    assert moved == pytest.approx(right.weldment.weldment_to_world)
