"""The scenes that ship: they load, keep to the schema and are ready; in one everything is wrong, and can be cured."""

from __future__ import annotations

import json
import math
import tomllib
from functools import cache
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import fixture3d
from fixture3d.checks import all_checks, all_rules
from fixture3d.checks.base import quiet
from fixture3d.engine import assemble, check_sizes
from fixture3d.report import Report
from tests import make_saw_stand_step, make_trolley_step
from tests.conftest import ROOT, SCENES

READY = (
    "kayak_rack",
    "garden_gate",
    "saw_stand",
    "tool_trolley",
    "bench_end",
    "canoe_trolley",
    "hose_reel",
    "paddle_hook",
    "oar_arm",
)
WRONG = "everything_wrong"


@cache
def report(name: str) -> Report:
    return fixture3d.check(fixture3d.load(SCENES / f"{name}.toml"))


def test_every_scene_that_ships_is_looked_at_here() -> None:
    assert sorted(path.stem for path in SCENES.glob("*.toml")) == sorted((*READY, WRONG, f"{WRONG}.record"))


@pytest.mark.parametrize("name", [*READY, WRONG])
def test_keeps_to_the_schema(name: str) -> None:
    (shipped,) = (ROOT / "fixture3d").rglob("scene.schema.json")
    schema = json.loads(shipped.read_text(encoding="utf-8"))
    with (SCENES / f"{name}.toml").open("rb") as file:
        jsonschema.validate(tomllib.load(file), schema)


@pytest.mark.parametrize("name", [*READY, WRONG])
def test_survives_being_written_and_read(name: str, tmp_path: Path) -> None:
    scene = fixture3d.load(SCENES / f"{name}.toml")
    fixture3d.dump(scene, tmp_path / "again.toml")
    assert fixture3d.load(tmp_path / "again.toml").places == scene.places


@pytest.mark.parametrize("name", READY)
def test_is_ready(name: str) -> None:
    found = report(name)
    assert found.ready, [f.message for f in found.findings]
    assert [f.message for f in found.findings if f.level == "warn"] == []
    assert [r.status for r in found.results] == ["ran"] * len(all_checks()) * len(found.each)
    assert not found.accepted  # ready without being told to look away


def test_every_size_of_the_oar_arm_is_ready() -> None:
    scene = fixture3d.load(SCENES / "oar_arm.toml")
    found = check_sizes(scene)
    assert found.ready
    assert found.complete
    assert [one.job.scene.size for one in found.sizes] == ["one pair", "two pairs", "four pairs"]
    assert [f.message for one in found.sizes for f in one.findings if f.level != "note"] == []
    # The end of the arm lies against the slide stop in every size: reach and notch go together.
    for one, reach in zip(found.sizes, (290.0, 505.0, 640.0), strict=True):
        nose = next(pad for pad in one.job.pads() if (pad.item, pad.pad.name) == ("T1", "right"))
        assert nose.at[0] == pytest.approx(200.0 + 40.0 + reach, abs=1e-9)


@pytest.mark.parametrize("name", READY)
def test_every_weld_can_be_run_and_every_clamp_presses(name: str) -> None:
    found = report(name)
    welds = [weld for part in found.each for weld in part.figures("welds")]
    meant = [weld.name for part in found.each for weld in part.job.scene.welds if not weld.skip]
    assert sorted(weld["name"] for weld in welds) == sorted(meant)
    assert len(welds) >= 3
    for weld in welds:
        ends = [end["length"] for end in weld["short_ends"] if not end["reached"]]
        assert weld["reachable"] + sum(ends) == pytest.approx(weld["length"]), weld["name"]
        assert all(end <= 2.5 for end in ends)  # the last of points that are 5 mm apart at most
    clamps = [seat for seat in found.job.seats.values() if seat.clamp]
    assert len(clamps) >= 2
    touching = {frozenset((p["a"], p["b"])) for p in found.figures("pairs") if p["kind"] == "touching"}
    for seat in clamps:
        presses, toward = seat.place.model_dump()["presses"], seat.place.model_dump()["toward"]
        assert any(frozenset((f"{seat.name} {moving}", presses)) in touching for moving in ("arm", "screw"))
        assert frozenset((toward, presses)) in touching


@pytest.mark.parametrize(
    ("name", "marked"),
    [
        # Each foot and each end of the bar all round; the rail's ends on four sides; of each gusset two sides on two
        # pieces, and its four ends.
        ("kayak_rack", {"fillet": 2 + 2 + 2 * 2 + 2 * 4 + 2 * 4, "flare": 2 * 2}),
        # Four mitres with top, bottom, outside and inside; the rail's ends on four sides.
        ("garden_gate", {"butt": 4 * 2, "corner": 4, "fillet": 4 + 2 * 2, "flare": 2 * 2}),
        # Six ends on four sides, of which the four outermost are flush; each lug on four sides.
        ("saw_stand", {"fillet": 8 + 2 * 4, "butt": 4, "flare": 6 * 2}),
        ("tool_trolley", {"fillet": 8 + 4 * 4, "butt": 4, "flare": 6 * 2}),
        ("bench_end", {"fillet": 8 + 2 * 4, "butt": 4, "flare": 6 * 2}),
        ("canoe_trolley", {"fillet": 4}),  # a saddle at each end of two tubes
        ("hose_reel", {"fillet": 2 + 2 * (2 * 2 + 4)}),  # two saddles; of each gusset two sides on two tubes, four ends
        # The arm all round; the end piece on the arm's side: two ends, and along its two round corners.
        ("paddle_hook", {"fillet": 1, "butt": 1, "lap": 1, "flare": 2}),
    ],
)
def test_found_welds_are_those_that_a_welder_would_mark(name: str, marked: dict[str, int]) -> None:
    """Counted by hand on each frame, both sides of the work together, as with soapstone."""
    found = report(name).each[0].job.found
    assert found is not None
    assert not found.unread
    assert not found.nowhere
    kinds = [weld.type for weld in found.welds.values()]
    assert {kind: kinds.count(kind) for kind in sorted(set(kinds))} == marked


@pytest.mark.parametrize(
    ("name", "pairs"), [("garden_gate", 4), ("saw_stand", 3), ("kayak_rack", 3), ("tool_trolley", 4)]
)
def test_opposed_stops_leave_the_work_no_play(name: str, pairs: int) -> None:
    faces = report(name).faces
    assert len(faces) == pairs
    for face in faces:
        assert face.distance == pytest.approx(face.stock, abs=1e-6)


def test_inch_gate_is_as_wide_as_its_drawing() -> None:
    """Notch by notch: the nose of a slide stop is 3-5/8 in from pin 1 when fully in, and 1/8 in a notch further out."""
    widths = {round(face.distance / 25.4, 6) for face in report("garden_gate").faces}
    assert widths == {30.0, 40.5}
    # From the left stop's face, 3/4 in from D, to the slide stop's pin in V, 18 holes of 2 in away.
    assert 18 * 2 - 0.75 - (3.625 + 13 * 0.125) == 30.0


@pytest.mark.parametrize(
    ("old", "new", "block", "gap", "mend"),
    [
        ('hole = "V8"\nturn = 180\nnotch = 13', 'hole = "V8"\nturn = 180\nnotch = 12', "T1", 1 / 8, "to notch 13"),
        ('hole = "G4"', 'hole = "G3"', "S3", 2.0, "the next hole that way is G4"),
    ],
)
def test_a_stop_one_step_off_is_told_where_it_belongs(
    tmp_path: Path, old: str, new: str, block: str, gap: float, mend: str
) -> None:
    """The gap is the step that it is off: one notch of 1/8 in, one hole of 2 in."""
    source = (SCENES / "garden_gate.toml").read_text(encoding="utf-8")
    assert source.count(old) == 1
    (tmp_path / "gate.toml").write_text(source.replace(old, new), encoding="utf-8")
    check, _ = all_rules()["stops-short"]
    job = assemble(fixture3d.load(tmp_path / "gate.toml"))
    (finding,) = [f for f in check.run(job, quiet).findings if f.level != "note"]
    assert (finding.rule, finding.subjects[0]) == ("stops-short", block)
    assert finding.measured == pytest.approx(gap * 25.4, abs=1e-6)
    assert mend in finding.remedy


@pytest.mark.parametrize(
    ("name", "old", "new", "mend"),
    [
        ("T1", 'hole = "T6"', 'hole = "S6"', "back to hole T6: its right then touches right leg"),
        ("T1", "notch = 10", "notch = 12", "set T1 to notch 10"),
        ("S1", 'hole = "E6"', 'hole = "F6"', "back to hole E6: its front then touches left leg"),
        ("S3", 'hole = "G4"', 'hole = "G5"', "back to hole G4: its ledge and shoulder then touch left foot"),
        ("L2", 'hole = "G9"', 'hole = "F9"', "back to hole G9: its top then touches left gusset"),
        ("V1", 'hole = "H18"', 'hole = "H17"', "back to hole H18: its vee left and vee right then touch bar"),
        ("R1", "height = 60", "height = 60.4", "(height = 60 mm)"),
    ],
)
def test_a_stop_too_far_in_is_sent_back_to_where_it_was(
    tmp_path: Path, name: str, old: str, new: str, mend: str
) -> None:
    """The rack is ready as it ships, so the mend is the way back, whatever way out of the work is shorter."""
    source = (SCENES / "kayak_rack.toml").read_text(encoding="utf-8")
    cut = source.index(f'name = "{name}"')
    (tmp_path / "rack.toml").write_text(source[:cut] + source[cut:].replace(old, new, 1), encoding="utf-8")
    check, _ = all_rules()["overlap"]
    found = check.run(assemble(fixture3d.load(tmp_path / "rack.toml")), quiet).findings
    pieces = ("left leg", "right leg", "bar")
    (finding,) = [f for f in found if f.rule == "overlap" and f.subjects[1] in pieces]
    assert finding.subjects[0] == name
    assert mend in finding.remedy


def test_saw_stand_file_is_what_its_script_makes(tmp_path: Path) -> None:
    from fixture3d.solid.step_in import read_solids

    make_saw_stand_step.write(tmp_path / "top.step")
    made, shipped = read_solids(tmp_path / "top.step"), read_solids(SCENES / "saw_stand_top.step")
    assert [s.name for s in shipped] == list(make_saw_stand_step.solids()) == [s.name for s in made]
    for one, other in zip(made, shipped, strict=True):
        assert other.volume == pytest.approx(one.volume, rel=1e-9)
    # A tube of 40x40x3 with corners of 6 outside and 3 inside, from the area of its section.
    area = 40.0**2 - 34.0**2 - (4.0 - 3.14159265358979) * (6.0**2 - 3.0**2)
    assert shipped[0].volume == pytest.approx(area * make_saw_stand_step.LENGTH, rel=1e-9)


def test_trolley_is_an_assembly_with_repeated_parts_and_colours(tmp_path: Path) -> None:
    """What the script puts in comes out: names by the side they are in, places through two levels, colours, volumes."""
    from fixture3d.solid.step_in import read_solids

    make_trolley_step.write(tmp_path / "tool_trolley_base.step")
    made, shipped = read_solids(tmp_path / "tool_trolley_base.step"), read_solids(SCENES / "tool_trolley_base.step")
    assert [s.name for s in made] == [s.name for s in shipped]
    assert [s.name for s in shipped] == [
        *("front side rail", "front side plate", "front side plate 2"),
        *("back side rail", "back side plate", "back side plate 2"),
        *("cross", "cross 2", "cross 3"),
    ]
    t = make_trolley_step
    area = t.SIDE**2 - (t.SIDE - 2 * t.WALL) ** 2 - (4 - math.pi) * (t.RADIUS**2 - (t.RADIUS - t.WALL) ** 2)
    volumes = {
        "rail": area * t.LENGTH,
        "plate": (100 * 60 - math.pi * 6.5**2) * t.PLATE,
        "cross": area * (t.WIDTH - 2 * t.SIDE),
    }
    for one, other in zip(made, shipped, strict=True):
        part = next(name for name in volumes if name in other.name.split())
        assert other.volume == pytest.approx(volumes[part], rel=1e-9) == one.volume
        assert other.colour == pytest.approx(t.COLOURS[part], abs=1e-4)
    # The back side is the front side turned by 180 degrees about the middle of the frame.
    front, back = (np.asarray(shipped[k].shape().box) for k in (1, 4))
    low = (t.LENGTH - front[1][0], t.WIDTH - front[1][1], front[0][2])
    np.testing.assert_allclose(back[0], low, atol=1e-6)


def test_one_cause_stands_before_what_it_causes(tmp_path: Path) -> None:
    from fixture3d.engine import check, load
    from fixture3d.report.text import to_text

    text = (Path(__file__).parents[1] / "scenes" / "kayak_rack.toml").read_text(encoding="utf-8")
    sunk = tmp_path / "sunk.toml"
    sunk.write_text(text.replace("lift = 85 ", "lift = 84.8 "), encoding="utf-8")
    shown = to_text(check(load(sunk)))
    assert "set lift = 85" in shown
    assert shown.index("[work-misplaced]") < shown.index("[overlap]")
