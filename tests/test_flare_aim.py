"""Where the arc is aimed in flares and tight corners, against closed forms, and what the torch then reaches."""

from __future__ import annotations

import math
from typing import Any

import cadquery as cq
import numpy as np
import pytest

from fixture3d.access.welds import Weld, weld_points
from fixture3d.access.wrap import on_the_bead
from fixture3d.checks import torch_access
from fixture3d.checks.base import Result, quiet
from fixture3d.engine import assemble
from fixture3d.scene.scene import loads
from fixture3d.tolerance import JOINTS, SHOP
from fixture3d.welding import find_welds

FLAT = cq.Workplane("XY").box(300, 400, 8).translate((0, 0, -4)).val()


def bar(radius: float, y: float = 0.0) -> Any:
    return cq.Workplane("YZ").circle(radius).extrude(200).translate((-100, y, radius)).val()


def ball_of(radius: float) -> float:
    """As `tolerance.Joints` says it: 2 mm, at least (11/16)^2 / 4 and at most 1/4 of the round's radius."""
    return min(max(2.0, (11.0 / 16.0) ** 2 / 4.0 * radius), radius / 4.0)


@pytest.mark.parametrize("radius", [3.0, 10.0, 15.0, 40.0])
def test_round_on_flat(radius: float) -> None:
    # A ball of radius c on a flat that touches a round of radius R: (R + c)^2 = x^2 + (R - c)^2, so x = 2 sqrt(R c).
    welds = find_welds({"flat": FLAT, "bar": bar(radius)})
    assert [weld.type for weld in welds] == ["flare", "flare"]
    c = ball_of(radius)
    for weld in welds:
        assert weld.aim is not None
        assert abs(weld.aim[0][0]) < 1e-6  # square to the line
        assert abs(weld.aim[0][1]) == pytest.approx(2.0 * math.sqrt(radius * c), abs=0.06)
        assert weld.aim[0][2] == pytest.approx(c, abs=0.04)
        assert float(weld.aim[0] @ weld.bisector[0]) > 0.0
        assert weld.length == pytest.approx(200.0, abs=0.02)  # the line itself stays where the two touch
        assert np.abs(weld.path[:, 2]).max() < 0.02


@pytest.mark.parametrize("radius", [6.0, 20.0])
def test_round_on_round(radius: float) -> None:
    # (R + c)^2 = R^2 + x^2.
    welds = find_welds({"one": bar(radius), "two": bar(radius, 2.0 * radius)})
    c = ball_of(radius)
    assert len(welds) == 2
    for weld in welds:
        assert weld.aim is not None
        assert float(np.linalg.norm(weld.aim[0])) == pytest.approx(math.sqrt(2.0 * radius * c + c * c), abs=0.05)


@pytest.mark.parametrize("opening", [25.0, 38.0, 42.0])
def test_tight_corner(opening: float) -> None:
    # Between two planes: c / sin(opening / 2), in the middle. From 40 degrees on the root itself is the aim.
    web = cq.Workplane("XY").box(100, 8, 160, centered=(True, False, True)).val()
    web = web.rotate((0, 0, 0), (1, 0, 0), 90.0 - opening).intersect(
        cq.Workplane("XY").box(600, 600, 600).translate((0, 0, 300)).val()
    )
    (weld,) = [w for w in find_welds({"base": FLAT, "web": web}) if abs(w.opening - opening) < 0.1]
    if opening > JOINTS.tight:
        assert weld.aim is None
        return
    assert weld.aim is not None
    size = float(np.linalg.norm(weld.aim[0]))
    assert size == pytest.approx(2.0 / math.sin(math.radians(opening / 2.0)), abs=0.02)
    assert weld.aim[0] / size == pytest.approx(weld.bisector[0], abs=0.01)


def test_points_are_shifted_and_the_path_is_not() -> None:
    aim = np.array([[0.0, 3.0, 1.0], [0.0, 5.0, 1.0]])
    sides = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
    path = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [20.0, 0.0, 0.0]])
    weld = Weld(name="w", type="flare", joins=("a", "b"), size=9.0, path=path, technique="", sides=sides, aim=aim)
    points = weld_points(weld, 5.0)
    assert points.length == pytest.approx(20.0)
    assert points.roots[:, 1:] == pytest.approx(np.zeros((5, 2)))
    assert points.points[:, 1] == pytest.approx([3.0, 3.0, 4.0, 5.0, 5.0])
    later = on_the_bead(weld, points)
    assert later is not None
    # A second pass stands no nearer to the root than the first.
    out = np.linalg.norm(later[0].points - later[0].roots, axis=1)
    assert (out >= np.linalg.norm(points.points - points.roots, axis=1) - 1e-9).all()
    with pytest.raises(ValueError, match=r"\(2, 3\)"):
        Weld(name="w", type="flare", joins=("a", "b"), size=9.0, path=path, technique="", sides=sides, aim=aim[:1])


BAR_ON_FLAT = """
format = 1
table = "50/16 1000x800"
[weldment]
hole = "E4"
lift = 200
welds = "auto"
technique = "{technique}"
[[member]]
name = "flat"
stock = "FLAT 100x8"
from = [0, 0, 0]
to = [80, 0, 0]
roll = 90
[[member]]
name = "bar"
stock = "ROUND 20"
from = [0, 0, 14]
to = [80, 0, 14]
"""
LID = """
[[plate]]
name = "lid"
outline = [[-200, -200], [280, -200], [280, 200], [-200, 200]]
thickness = 3
at = [0, 0, {low}]
normal = [0, 0, 1]
along = [1, 0, 0]
"""
LISTED = """
[[weld]]
name = "by hand"
type = "flare"
joins = ["flat", "bar"]
size = 4
path = [[0, -1.5, 4.05], [80, -1.5, 4.05]]
"""


def ask(text: str) -> Result:
    return torch_access.CHECK.run(assemble(loads(text, "bar.toml")), quiet)


@pytest.mark.parametrize("technique", ["middle", "tig-middle", "stick-middle", "corner", "stick-corner"])
def test_a_bar_on_a_flat_is_reached(technique: str) -> None:
    rows = ask(BAR_ON_FLAT.format(technique=technique)).figures["welds"]
    flares = [row for row in rows if row["type"] == "flare"]
    assert len(flares) == 2
    for row in flares:
        assert row["reachable"] == pytest.approx(80.0, abs=0.02), technique


def test_under_an_overhang_it_is_blocked() -> None:
    # The lid's underside lies 1 mm over the bar: 21 mm over the flat and 200 mm out, no hand comes in.
    found = ask(BAR_ON_FLAT.format(technique="stick-middle") + LID.format(low=25.0))
    blocked = {one.subjects[0]: one for one in found.findings if one.rule == "weld-blocked"}
    assert {"flat / bar, front", "flat / bar, back"} <= set(blocked)
    assert "lid" in blocked["flat / bar, front"].subjects
    # An electrode has no nozzle that could be thinner.
    assert "nozzle" not in " ".join(one.remedy for one in found.findings)


def test_a_listed_flare_is_aimed_too() -> None:
    text = BAR_ON_FLAT.format(technique="middle").replace('welds = "auto"\n', "") + LISTED
    made = assemble(loads(text, "bar.toml"))
    (weld,) = made.welds
    assert weld.aim is not None
    # From wherever beside the line the path lies; bar and flat touch at (0, 4).
    made_of = np.array([0.0, -1.5, 0.05]) + weld.aim[0]
    assert made_of == pytest.approx([0.0, -2.0 * math.sqrt(20.0), 2.0], abs=0.05)


@pytest.mark.parametrize(("value", "fits"), [(SHOP.stand_off_most, True), (SHOP.stand_off_most + 1.0, False)])
def test_a_stand_off_has_a_limit(value: float, fits: bool) -> None:
    text = BAR_ON_FLAT.format(technique="far") + f'[technique.far]\ntorch = "mig-60"\nstand_off = {value:g}\n'
    if fits:
        loads(text, "bar.toml")
        return
    with pytest.raises(Exception, match=r"bar.toml:\d+: .*stand_off is 76 mm.*75 mm") as error:
        loads(text, "bar.toml")
    assert "\n" not in str(error.value)
