"""Every clamp that ships, shut and open: where it presses, what it leaves clear, and that its sweep holds its way."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.checks.base import quiet
from fixture3d.checks.interference import CHECK as INTERFERENCE
from fixture3d.checks.seating import CHECK as SEATING
from fixture3d.corners.built import EMPTY, Inside, common
from fixture3d.engine import assemble
from fixture3d.errors import SceneError
from fixture3d.job.resolve import resolve
from fixture3d.job.support import round_about_pin
from fixture3d.library import Entry, Library, library
from fixture3d.part import Part, PartBody, Pattern, Step, opened, part
from fixture3d.scene import Scene, loads
from fixture3d.solid import kernel
from tests.check_jobs import LIBRARY, Presser, post, scene
from tests.test_models import built

USUAL = Pattern(pitch=50.0, bore=16.0)
CLAMPS = tuple(name for name in library().entries if library().make(name, USUAL).tip() is not None)
NEEDED = {"toggle_clamp", "screw_clamp", "hold_down_bolt", "bar_clamp", "magnet", "push_clamp"}
SIZES = [("50/16", "default"), ("2in/3-4", "low"), ("100/28", "high")]
CASES = [(model, *size) for model, size in itertools.product(CLAMPS, SIZES)]
EACH = pytest.mark.parametrize(("model", "pattern", "case"), CASES, ids=["-".join(c) for c in CASES])


def placed(solid: Any, pose: Any) -> Any:
    import cadquery as cq
    from OCP.gp import gp_Trsf

    turn = gp_Trsf()
    turn.SetValues(*(float(v) for v in np.asarray(pose)[:3].ravel()))
    return solid.moved(cq.Location(turn))


def tip_of(part: Part) -> Any:
    tip = part.tip()
    assert tip is not None
    return tip


def test_the_clamps_that_a_shop_uses_are_there() -> None:
    assert set(CLAMPS) >= NEEDED


@EACH
def test_the_shut_tip_is_where_it_says_and_its_figures_make_sense(model: str, pattern: str, case: str) -> None:
    block = built(model, pattern, case)
    tip = tip_of(block.part)
    way = np.asarray(tip.direction) * (-1.0 if tip.pulls else 1.0)  # out of its face
    assert np.linalg.norm(way) == pytest.approx(1.0)
    side = np.cross(way, np.roll(way, 1))
    solid = Inside(block.blocks().values())
    for across in (0.0, 0.95):
        spot = np.asarray(tip.at) + side / np.linalg.norm(side) * across * tip.radius
        assert solid(spot - way * 0.01), "no steel behind the face that presses"
        assert not solid(spot + way * 0.01), "steel before the face that presses"
    assert 0.0 < tip.force[0] < tip.force[1]
    assert tip.stroke >= 0.0
    assert tip.throat >= 0.0
    assert tip.pulls or tip.throat > 0.0


@EACH
def test_open_it_leaves_the_throat_clear(model: str, pattern: str, case: str) -> None:
    """From the base to the tip, as wide as the tip, and all that is above: the work can be lifted out."""
    import cadquery as cq

    block = built(model, pattern, case)
    tip = tip_of(block.part)
    if tip.pulls:
        return
    x, y, z = tip.at
    low = (x - tip.throat + 1e-6, y - tip.radius, z - 1.0)
    room = cq.Solid.makeBox(tip.throat + 3.0 * tip.radius, 2.0 * tip.radius, 600.0, cq.Vector(*low))
    shut = 0.0
    for body in block.part.bodies():
        if body.role == "block":
            solid = block.solids[body.name]
            shut += common(solid, room)
            assert common(placed(solid, opened(body.opens)), room) < EMPTY, f"{body.name} is in the way when open"
    assert shut > 1.0, "shut it is over the work"


@EACH
def test_the_sweep_holds_all_of_the_way(model: str, pattern: str, case: str) -> None:
    """What moves is inside the sweep that is named like it, half way through each step and at its end."""
    block = built(model, pattern, case)
    moving = [body for body in block.part.bodies() if body.opens]
    assert moving, "a clamp that does not open"
    sweeps = [block.solids[body.name] for body in block.part.bodies() if body.role == "sweep"]
    for body in moving:
        # That of the same name holds it alone; what is not named like a body has all of them.
        own = [block.solids[f"{body.name} sweep"]] if f"{body.name} sweep" in block.solids else sweeps
        assert body.role == "block"
        for k in range(2 * len(body.opens)):
            there = placed(block.solids[body.name], opened(body.opens, (k + 1) / 2.0))
            left = kernel.volume(there.wrapped)
            rest = there.cut(*own) if left else there
            missed = sum(kernel.volume(s.wrapped) for s in rest.Solids())
            assert missed < 1e-4 * left, f"{body.name} leaves its sweep at {(k + 1) / 2.0} steps: {missed} mm3"


def test_a_step_shifts_and_turns() -> None:
    steps = (Step(shift=(0.0, 0.0, 5.0)), Step(degrees=90.0, at=(10.0, 0.0, 0.0)))
    assert frame.points(opened(steps), (20.0, 0.0, 0.0)) == pytest.approx((10.0, 10.0, 5.0))
    assert frame.points(opened(steps, 0.5), (20.0, 0.0, 0.0)) == pytest.approx((20.0, 0.0, 2.5))
    assert opened(()) == pytest.approx(np.eye(4))


SETUP = """\
format = 1
table = "50/16 1200x900"
[weldment]
hole = "F6"
lift = 75
[[member]]
name = "leg"
stock = "SHS 50x50x3"
from = [0, 0, 0]
to = [0, 400, 0]
[[clamp]]
name = "K1"
model = "screw_clamp"
hole = "B8"
presses = "leg"
[[place]]
name = "S1"
model = "stop_block"
hole = "{hole}"
with = {{ height = 160, length = 40, depth = 40, bores = 1 }}
"""


NO_NUT = '{ pitch = 50, bore = 16, columns = 23, rows = 17, edge = 50, no_nut = ["B8"] }'


@pytest.mark.parametrize(
    ("hole", "shut", "opened_", "way"),
    [("J3", [], [], []), ("B12", [], ["S1"], ["S1"]), ("D10", [], [], ["S1"]), ("D8", ["S1"], [], ["S1"])],
)
def test_each_state_of_a_clamp_is_told(hole: str, shut: list[str], opened_: list[str], way: list[str]) -> None:
    """The arm reaches 216 mm from B8 to the right; it opens to the back, over B12, by way of D10."""
    job = assemble(loads(SETUP.format(hole=hole)))
    result = INTERFERENCE.run(job, quiet)
    (row,) = result.figures["clamps"]
    assert row == {"clamp": "K1", "shut": shut, "open": opened_, "way": way}
    blocked = [f for f in result.findings if f.rule == "sweep-blocked"]
    assert [f.subjects for f in blocked] == ([("K1", "S1")] if way else [])
    for finding in blocked:
        assert ("free of S1 when open" in finding.remedy) == (opened_ == [])


@part("bare", made="for tests")
@dataclass(frozen=True, kw_only=True)
class Bare(Presser):
    """A presser whose arm goes a quarter turn to the left and that does not say what it sweeps."""

    def bodies(self) -> tuple[PartBody, ...]:
        """Post and arm."""
        post, arm, *_ = super().bodies()
        return post, replace(arm, opens=(Step(degrees=90.0),))


@pytest.mark.parametrize("row", ["10", "12"])
def test_open_is_looked_at_where_no_sweep_is_stated(row: str) -> None:
    """Open, the arm ends 110 mm behind B8, at 60 to 80 over the table: over row 10 and not over row 12."""
    entry = Entry(name="bare", model=Bare, digest="bare", summary="")
    blocks = {"place": [post("B1", f"B{row}", 50.0, 50.0, 70.0)]}
    tables = scene(clamp=[{"name": "K1", "model": "bare", "hole": "B8"}], **blocks)
    result = INTERFERENCE.run(resolve(Scene.from_dict(tables), Library({**LIBRARY.entries, "bare": entry})), quiet)
    (told,) = result.figures["clamps"]
    found = [f for f in result.findings if f.rule == "sweep-blocked"]
    assert told["way"] is None
    assert told["open"] == (["B1"] if row == "10" else [])
    assert [f.subjects for f in found] == ([("K1", "B1")] if row == "10" else [])
    if found:
        assert found[0].message == "K1 cannot stay open: B1 stands where its arm is when open"
        assert found[0].measured == pytest.approx(10.0, abs=0.01)


def test_a_clamp_on_its_own_bolt_needs_room_for_the_nut_and_does_not_spin() -> None:
    text = SETUP.format(hole="J3").replace('"50/16 1200x900"', NO_NUT)
    result = SEATING.run(assemble(loads(text)), quiet)
    found = [f for f in result.findings if "K1" in f.subjects]
    assert [f.rule for f in found] == ["no-nut"]
    assert "nearest seat that works" in found[0].remedy
    assert not round_about_pin(assemble(loads(text)).seats["K1"]), "its turn matters, and the sheet tells it"
    assert not [f for f in SEATING.run(assemble(loads(SETUP.format(hole="J3"))), quiet).findings if "K1" in f.subjects]


@pytest.mark.parametrize(
    ("lift", "low", "words"),
    [
        (75.0, [], ""),
        (75.5, ["clamp-misses", "unsupported"], "bring its face 0.5 mm nearer"),
        (74.5, ["overlap"], ""),
    ],
)
def test_a_magnet_holds_what_lies_on_it(lift: float, low: list[str], words: str) -> None:
    """A tube of 50 whose underside is 25 below its middle, on a magnet of 50."""
    clamp = 'model = "magnet"\nfree = [250, 450, 0, 0]\nmagnet = true\npresses = "leg"\n'
    text = SETUP.format(hole="J3").replace("lift = 75", f"lift = {lift}")
    text = text.replace('model = "screw_clamp"\nhole = "B8"\npresses = "leg"\n', clamp)
    assert "magnet" in text
    job = assemble(loads(text))
    found = INTERFERENCE.run(job, quiet).findings
    assert sorted(f.rule for f in found) == low
    assert all(words in f.remedy for f in found if f.rule == "clamp-misses")
    (measured,) = [f for f in SEATING.run(job, quiet).findings if "K1" in f.subjects]
    assert measured.message == "K1 is held by a magnet, so its place must be measured each time"
    assert measured.remedy.startswith("set its middle over F10; let stops locate the work")
    assert job.seats["K1"].turn == 0.0


@pytest.mark.parametrize("keys", ['hole = "B8"', "free = [0, 0, 0, 0]"])
def test_a_magnet_is_told_how_it_is_placed(keys: str) -> None:
    text = SETUP.format(hole="J3").replace('model = "screw_clamp"\nhole = "B8"', f'model = "magnet"\n{keys}')
    with pytest.raises(SceneError, match=r"held by its own pull .* expected a \[\[clamp\]\] with free"):
        assemble(loads(text))
