"""Stages: a scene of one state of the setup, what is welded by then, and what is said about each and all of them."""

from __future__ import annotations

import dataclasses
import json
import math
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any
from unittest.mock import patch

import jsonschema
import numpy as np
import pytest

from fixture3d import frame
from fixture3d.access.welds import Weld
from fixture3d.checks import interference, torch_access
from fixture3d.checks.base import Finding, quiet
from fixture3d.checks.finished_beads import Hit, bead_hits, in_words_of
from fixture3d.cli import main
from fixture3d.engine import assemble, assemble_all, check, check_job
from fixture3d.errors import SceneError
from fixture3d.job import Job
from fixture3d.job.beads import bead_parts, section
from fixture3d.report.text import to_text
from fixture3d.scene import Scene, dumps, loads
from fixture3d.scene.stages import at_stage, every_stage
from fixture3d.sheet.data import stages_data
from fixture3d.sheet.stages import turned
from fixture3d.solid.relate import relate
from tests.conftest import SCENES

HEAD = 'format = 1\ntable = "50/16 1000x1000"\n'
ARM = (
    HEAD
    + """
[weldment]
hole = "E4"
offset = [40, 20]
lift = 70
technique = "corner"

[[member]]
name = "post"
stock = "SHS 40x40x3"
from = [0, 0, 0]
to = [0, 400, 0]

[[member]]
name = "arm"
stock = "SHS 40x40x3"
from = [20, 200, 0]
to = [300, 200, 0]

[[plate]]
name = "tag"
outline = [[0, 0], [30, 0], [30, 30], [0, 30]]
thickness = 3
at = [20, 180, -10]
normal = [0, -1, 0]

[[weld]]
name = "near"
type = "fillet"
size = 3
joins = ["post", "arm"]
path = [[20, 180, -14], [20, 180, 14]]

[[weld]]
name = "top"
type = "butt"
size = 3
technique = "butt"
sides = [[0, 0, 1], [0, 0, 1]]
path = [[20, 186, 20], [20, 214, 20]]

[[weld]]
name = "under"
type = "butt"
size = 3
technique = "butt"
sides = [[0, 0, -1], [0, 0, -1]]
path = [[20, 186, -20], [20, 214, -20]]

[[stage]]
name = "first side"
pieces = ["post", "arm"]

[[stage]]
name = "second side"
welds = ["under"]
weldment = { up = "-z", hole = "E14" }

[[place]]
name = "R1"
model = "stop_block"
hole = "E5"
with = { height = 50, depth = 40 }
stages = ["first side"]

[[place]]
name = "R2"
model = "stop_block"
hole = "E12"
with = { height = 50, depth = 40 }

[[place]]
name = "R3"
model = "stop_block"
hole = "H8"
with = { height = 50 }
stages = ["first side"]
"""
)


def found(job: Job, rule: str = "") -> list[Finding]:
    """What the interference check says, of one rule."""
    return [f for f in interference.CHECK.run(job, quiet).findings if not rule or f.rule == rule]


def changed(old: str, new: str, text: str = ARM) -> str:
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


# --- the scene of one stage -----------------------------------------------------------------------------------------


def test_a_scene_of_one_stage_has_what_stands_in_it() -> None:
    first, second = every_stage(loads(ARM))
    assert [p.name for p in first.places] == ["R1", "R2", "R3"]
    assert [p.name for p in second.places] == ["R2"]
    assert [w.name for w in first.welds] == ["near", "top"]
    assert ([w.name for w in second.welds], [w.name for w in second.done]) == (["under"], ["near", "top"])
    assert (first.weldment and first.weldment.up, second.weldment and second.weldment.up) == ("z", "-z")
    assert second.weldment is not None
    assert (second.weldment.hole, second.weldment.lift, second.weldment.offset) == ("E14", 70, (40, 20))
    assert second.whole is first.whole
    assert at_stage(second) is second
    assert at_stage(second, "first side") == first


def test_a_job_knows_its_stage_and_what_is_welded() -> None:
    first, second = assemble_all(loads(ARM))
    assert assemble(loads(ARM)).stage == first.stage == "first side"
    assert [p.name for p in first.pieces()] == ["post", "arm"]
    assert [p.name for p in second.pieces()] == ["post", "arm", "tag"]
    assert (first.done, first.joined, first.beads) == ((), (), ())
    assert [w.name for w in second.done] == ["near", "top"]
    assert second.joined == (("post", "arm"),)  # "top" is given by sides: its line runs along these two
    assert second.title == "Setup, second side"


def test_without_stages_nothing_is_different() -> None:
    scene = Scene.from_dict({"format": 1, "table": "50/16 500x500", "place": [
        {"name": "S1", "model": "stop_block", "hole": "C4"}]})  # fmt: skip
    assert every_stage(scene) == (scene,)
    job = assemble(scene)
    assert (job.stage, job.done, job.joined) == (None, (), ())
    data = check(scene).to_dict()
    assert data["stages"] is None
    assert {row["stage"] for key in ("checks", "findings", "pairs", "seats", "pads") for row in data[key]} == {None}
    assert "stage" not in to_text(check(scene))


def test_a_problem_of_a_stage_points_at_the_file() -> None:
    text = changed('hole = "E12"\nwith = { height = 50, depth = 40 }', 'hole = "E12"\nwith = { hight = 50 }')
    text = changed("with = { hight", 'stages = ["second side"]\nwith = { hight', text)
    with pytest.raises(SceneError) as caught:
        assemble_all(loads(text, "arm.toml"))
    (problem,) = caught.value.problems
    assert problem.line == text[: text.index("with = { hight")].count("\n") + 1
    assert problem.where == 'place "R2", stage "second side"'


def test_a_key_of_the_weldment_is_found_in_its_stage() -> None:
    scene = at_stage(loads(ARM, "arm.toml"), "second side")
    line = ARM[: ARM.index("weldment = { up")].count("\n") + 1
    assert scene.line_of(("weldment", "hole")) == line
    assert scene.line_of(("weldment", "lift")) == ARM[: ARM.index("lift = 70")].count("\n") + 1


def test_what_is_wrong_in_both_stages_is_told_once() -> None:
    text = changed('name = "R2"\nmodel = "stop_block"', 'name = "R2"\nmodel = "stop_blok"')
    with pytest.raises(SceneError) as caught:
        assemble_all(loads(text))
    assert len(caught.value.problems) == 1


HOSTILE = [
    ('stages = ["first side"]', 'stages = ["frist side"]', 'no stage is called "frist side"; nearest: "first side"'),
    ('stages = ["first side"]', "stages = []", "stages: a list of 0"),
    ('welds = ["under"]', 'welds = ["undr"]', 'no weld is called "undr"; nearest: "under"'),
    ('welds = ["under"]', 'welds = ["under", "under"]', '"under" is run here already'),
    ('name = "first side"\n', 'name = "first side"\nwelds = ["near", "top", "under"]\n',
     '"under" is run in stage "first side" already'),
    ('name = "first side"\n', 'name = "first side"\nwelds = ["near"]\n', 'weld "top": no stage runs it'),
    ('welds = ["under"]\n', "", 'stages "first side" and "second side" would both run it'),
    ('welds = ["under"]', 'welds = ["under"]\nwithout = ["R9"]', 'no block is called "R9"'),
    ('welds = ["under"]', 'welds = ["under"]\nwithot = ["R2"]', 'unknown key "withot"; nearest: "without"'),
    ('name = "second side"', 'name = "First side"', 'the name "First side" is taken by stage "first side"'),
    ('name = "second side"', 'nam = "second side"', 'key "name" is missing'),
    ('up = "-z", hole = "E14"', 'up = "-z", hole = "E99"', 'hole "E99" is not on the table'),
    ('up = "-z", hole', 'up = "-z", file = "a.step", hole', 'unknown key "file"; expected one of hole, offset, lift'),
    ('pieces = ["post", "arm"]', 'pieces = ["post", "am"]', 'no piece is called "am"; nearest: "arm"'),
    ('pieces = ["post", "arm"]', 'pieces = ["post"]', '"arm" is not on the table in stage "first side", which runs it'),
    ('welds = ["under"]', 'welds = ["under"]\npieces = ["post", "tag"]', "they are welded together by then"),
    ('welds = ["under"]', 'welds = ["under"]\npieces = ["post", "arm"]', '"tag" is on the table in no stage'),
    ('name = "R3"\nmodel = "stop_block"\nhole = "H8"', 'name = "R3"\nmodel = "riser"\non = "R1"\nsocket = "1"', ""),
    ('hole = "E12"', 'on = "R1"', 'on: "R1" does not stand in stage "second side", where "R2" does'),
    ('welds = ["under"]', 'welds = ["under"]\nwithout = ["R2"]', ""),
    ('name = "first side"', 'name = "first side"\nwithout = ["R1"]', 'place "R1": it stands in no stage'),
    ("[[stage]]", "[stage.x]\n[[stage]]", "not valid TOML"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), HOSTILE)
def test_hostile_stages_are_told_with_their_line(old: str, new: str, says: str) -> None:
    text = changed(old, new)
    if not says:
        loads(text)
        return
    with pytest.raises(SceneError) as caught:
        loads(text, "x.toml")
    lines = str(caught.value).splitlines()
    assert any(says in line for line in lines), lines
    assert all(line.startswith("x.toml:") for line in lines)


def test_a_clamp_needs_its_piece_and_its_block_in_every_stage() -> None:
    clamp = (
        '\n[[clamp]]\nname = "K1"\nmodel = "toggle_clamp"\nhole = "C8"\nbolt = true\npresses = "tag"\ntoward = "R1"\n'
    )
    with pytest.raises(SceneError) as caught:
        loads(ARM + clamp)
    said = str(caught.value)
    assert 'presses: "tag" is not on the table in stage "first side"' in said
    assert 'toward: "R1" does not stand in stage "second side"' in said
    loads(ARM + clamp.replace('presses = "tag"\ntoward = "R1"', 'presses = "post"\nstages = ["first side"]'))


def test_a_stages_key_without_any_stage_names_nothing() -> None:
    with pytest.raises(SceneError, match="no stage is called"):
        loads(HEAD + '[[place]]\nname = "S1"\nmodel = "riser"\nhole = "C4"\nstages = ["one"]\n')


def test_an_unknown_stage_is_refused_with_the_nearest_one() -> None:
    with pytest.raises(SceneError, match=r'no stage is called "second"; expected .*nearest: "second side"'):
        assemble(loads(ARM), stage="second")
    with pytest.raises(SceneError, match=r"expected a scene with \[\[stage\]\] tables"):
        assemble(loads(HEAD), stage="second")


def test_it_is_written_and_read_again() -> None:
    scene = loads(ARM)
    assert loads(dumps(scene)) == scene
    moved = scene.model_copy(update={"title": "Arm"})
    assert loads(dumps(moved)) == moved


def test_an_empty_stage_and_fifty_of_them() -> None:
    blocks = '\n[[place]]\nname = "S1"\nmodel = "riser"\nhole = "C4"\nstages = ["stage 7"]\n'
    stages = "".join(f'\n[[stage]]\nname = "stage {k}"\n' for k in range(50))
    report = check(loads(HEAD + stages + blocks))
    assert (len(report.parts), report.ready) == (50, True)
    assert [list(part.job.seats) for part in report.parts] == [["S1"] if k == 7 else [] for k in range(50)]
    text = to_text(report)
    assert '50 stages: "stage 0", then "stage 1"' in text
    assert "then 44 more" in text
    assert text.count("interference: stage") == 49  # skipped where nothing stands


# --- what is the same, whatever the stages are called ---------------------------------------------------------------

ODD = """
[[place]]
name = "S1"
model = "stop_block"
hole = "C4"
turn = 30

[[place]]
name = "S2"
model = "stop_block"
hole = "D4"

[[place]]
name = "S3"
model = "stop_block"
hole = "J4"
"""
TWICE = '\n[[stage]]\nname = "one"\n\n[[stage]]\nname = "two"\n'


def bare(findings: Any) -> list[Finding]:
    return [dataclasses.replace(f, stage=None) for f in findings]


def test_two_equal_stages_find_what_the_scene_without_stages_does() -> None:
    plain = check(loads(HEAD + ODD))
    twice = check(loads(HEAD + ODD + TWICE))
    assert {f.rule for f in plain.findings} >= {"spins", "overlap"}
    for part in twice.parts:
        assert bare(part.findings) == list(plain.findings)
    assert len(twice.findings) == 2 * len(plain.findings)
    assert [twice.count(level) for level in ("fail", "warn", "note")] == [
        plain.count(level) for level in ("fail", "warn", "note")
    ]
    assert to_text(twice).count("(in both stages)") == len(plain.findings)
    assert to_text(twice).splitlines()[0].split(" - ")[0] == to_text(plain).splitlines()[0].split(" - ")[0]


def test_other_names_and_another_order_change_only_names_and_order() -> None:
    two = "\n[[stage]]\nname = {0}\n\n[[stage]]\nname = {1}\n"
    text = HEAD + ODD.replace('hole = "D4"\n', 'hole = "D4"\nstages = ["b"]\n')
    first = check(loads(text + two.format('"a"', '"b"')))
    other = check(loads(text + two.format('"b"', '"a"')))
    assert [bare(p.findings) for p in first.parts] == [bare(p.findings) for p in reversed(other.parts)]
    renamed = check(loads(text.replace('["b"]', '["c"]') + two.format('"a"', '"c"')))
    assert [bare(p.findings) for p in first.parts] == [bare(p.findings) for p in renamed.parts]


@cache
def arm_report() -> Any:
    """Without a search for better stops, which nothing here asks about."""
    with patch("fixture3d.checks.locating_stops.IN_ALL", 0):
        return check(loads(ARM))


def test_welds_of_all_stages_are_each_run_once() -> None:
    whole = ARM[: ARM.index("[[stage]]")] + ARM[ARM.index("[[place]]") :].replace('stages = ["first side"]\n', "")
    one = {row["name"]: row for row in torch_access.CHECK.run(assemble(loads(whole)), quiet).figures["welds"]}
    split = arm_report().figures("welds")
    assert sorted(row["name"] for row in split) == sorted(one) == ["near", "top", "under"]
    assert [row["name"] for row in arm_report().parts[0].figures("welds")] == ["near", "top"]
    assert all(row["reachable"] == pytest.approx(row["length"]) for row in split)


def test_the_report_has_the_stage_in_every_row() -> None:
    report = arm_report()
    data = report.to_dict()
    schema = json.loads((files("fixture3d.report") / "report.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(data)
    for key in ("checks", "pairs", "seats", "welds", "pieces", "pads"):
        assert {row["stage"] for row in data[key]} == {"first side", "second side"}, key
    assert data["ok"] is False
    assert [(s["name"], s["ok"], s["welds"], s["done"]) for s in data["stages"]] == [
        ("first side", True, ["near", "top"], []),
        ("second side", False, ["under"], ["near", "top"]),
    ]
    assert data["stages"][1]["joined"] == [["post", "arm"]]
    assert report.exit_code == 1
    assert json.dumps(check(loads(ARM)).to_dict()) == json.dumps(data)


def test_the_text_goes_stage_by_stage() -> None:
    text = to_text(arm_report())
    assert text.index("Stage 1 of 2: first side (ready") < text.index("Stage 2 of 2: second side (NOT READY")
    assert "welded before: near; top" in text
    assert "one piece by now: post; arm" in text
    assert text.index("[on-bead]") > text.index("Stage 2 of 2")
    alone = to_text(check(loads(ARM), stage="second side"))
    assert alone.splitlines()[0].endswith('stage "second side" alone')


def test_accepted_findings_of_stages_are_shown_once_and_stale_ones_only_when_no_stage_has_them() -> None:
    accept = '\n[[accept]]\nrule = "spins"\nwhy = "held"\n\n[[accept]]\nrule = "floats"\nwhy = "never"\n'
    report = check(loads(HEAD + ODD.replace("turn = 30", 'turn = 30\nstages = ["two"]') + TWICE + accept))
    assert [a.finding.stage for a in report.accepted] == ["two"]
    assert report.stale == ("floats of anything",)
    assert "nothing matches any more: floats" in to_text(report)
    assert "nothing matches any more" not in to_text(check(report.job.scene.whole, stage="one"))
    both = to_text(check(loads(HEAD + ODD + TWICE + accept)))
    assert both.count("warn spins:") == 1


def test_the_inventory_needs_the_most_that_stand_at_one_time() -> None:
    stock = '\n[[inventory]]\nmodel = "riser"\ncount = {}\n'
    places = "".join(
        f'\n[[place]]\nname = "R{k}"\nmodel = "riser"\nhole = "{hole}"\nstages = ["{stage}"]\n'
        for k, (hole, stage) in enumerate([("C4", "one"), ("G4", "one"), ("K4", "two")])
    )
    enough = check(loads(HEAD + places + TWICE + stock.format(2)))
    short = check(loads(HEAD + places + TWICE + stock.format(1)))
    assert not [f for f in enough.findings if f.rule == "short-of-blocks"]
    assert [f.stage for f in short.findings if f.rule == "short-of-blocks"] == ["one"]
    picks = stages_data(assemble_all(loads(HEAD + places + TWICE)))["picks"]
    assert [(p["count"], p["names"]) for p in picks] == [(2, ["R0", "R1", "R2"])]


# --- finished welds -------------------------------------------------------------------------------------------------


def weld(kind: str, size: float, sides: Any, path: Any) -> Weld:
    return Weld(name="w", type=kind, joins=("", ""), size=size, path=np.asarray(path, dtype=np.float64),
                technique="", sides=np.asarray(sides, dtype=np.float64))  # fmt: skip


def area(outline: np.ndarray[Any, Any]) -> float:
    """Of a closed flat outline in space, by Stokes."""
    rolled = np.roll(outline, -1, axis=0)
    return float(np.linalg.norm(np.cross(outline, rolled).sum(axis=0))) / 2.0


@pytest.mark.parametrize("opening", [60.0, 90.0, 120.0])
def test_a_fillet_is_the_part_of_a_circle_between_its_faces(opening: float) -> None:
    """Sector of radius z and angle o: z2 o / 2, less what 8 chords a quarter cut off; legs of z along both faces."""
    c, s = math.cos(math.radians(opening)), math.sin(math.radians(opening))
    sides = [[0, 0, 1], [0, s, -c]]  # first face along +Y; the second leans over it by the opening
    got = section("fillet", 4.0, np.array(sides), np.array([1.0, 0.0, 0.0]))
    assert area(got) == pytest.approx(16.0 * math.radians(opening) / 2.0, rel=0.01)
    along_first, along_second = got @ [0, 1, 0], got @ [0, c, s]
    assert along_first.max() == pytest.approx(4.0)
    assert along_second.max() == pytest.approx(4.0)
    assert (got @ [0, 0, 1]).min() >= -1e-9  # in front of both faces
    assert (got @ np.array(sides[1])).min() >= -1e-9


def test_a_flush_weld_has_a_cap_as_high_as_the_standard_lets_it() -> None:
    """ISO 5817 level B, excess weld metal: 1 mm and a tenth of the width (from memory); half an ellipse."""
    got = section("butt", 3.0, np.array([[0, 0, 1], [0, 0, 1]]), np.array([1.0, 0.0, 0.0]))
    assert (got[:, 2].max(), got[:, 2].min()) == (pytest.approx(1.6), pytest.approx(0.0, abs=1e-9))
    assert np.ptp(got[:, 1]) == pytest.approx(6.0)
    assert area(got) == pytest.approx(math.pi * 3.0 * 1.6 / 2.0, rel=0.01)
    assert section("butt", 1.0, np.array([[0, 0, 1]] * 2), np.array([1.0, 0, 0]))[:, 2].max() == pytest.approx(1.0)


def test_a_bead_round_a_post_closes_at_its_corners() -> None:
    """Four sides of a square on a plate: at a corner of the post the bead goes on round it."""
    corners = [[0, 0, 0], [40, 0, 0], [40, 40, 0], [0, 40, 0], [0, 0, 0]]
    out = [[0, -1, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0]]
    parts = list(bead_parts(weld("fillet", 4.0, [[[0, 0, 1], n] for n in out], corners)))
    assert len(parts) == 8
    boxes = np.array([[p.min(axis=0), p.max(axis=0)] for p in parts])
    assert boxes[:, 0].min(axis=0) == pytest.approx([-4, -4, 0])
    assert boxes[:, 1].max(axis=0) == pytest.approx([44, 44, 4])
    bends = [p for p in parts if len({tuple(np.round(q, 6)) for q in p}) < len(p)]
    assert any((p[:, :2] <= 1e-9).all() and (p[:, 0] < -3).any() and (p[:, 1] < -3).any() for p in bends)
    assert not list(bead_parts(weld("fillet", 0.0, [[0, 0, 1], [0, 1, 0]], [[0, 0, 0], [9, 0, 0]])))


def test_the_bead_stands_where_the_weld_was_laid_whichever_way_the_work_lies() -> None:
    second = assemble(loads(ARM), stage="second side")
    box = {b.name: b.box for b in second.beads}
    # Zero point over E14 (200, 650), 40 right and 20 back: x stays, y and z are turned round; legs of 3, size 3.
    assert box["bead of near"] == pytest.approx(np.array([[260, 490, 56], [263, 493, 84]]))
    assert box["bead of top"] == pytest.approx(np.array([[257, 456, 48.4], [263, 484, 50]]))
    (near,) = [b for b in second.beads if b.item == "near"]
    assert near.shape.mesh.volume == pytest.approx(28.0 * 9.0 * math.pi / 4.0, rel=0.01)
    touching = {p.name for p in second.pieces() if relate(near.shape, _moved(near, p)).kind == "touching"}
    assert touching >= {"post", "arm"}


def _moved(bead: Any, piece: Any) -> Any:
    """A piece as a mesh in the frame of a bead."""
    return piece.shape.mesh.moved(frame.chain(frame.inverse(bead.body_to_world), piece.body_to_world))


NO_TAG = (ARM[: ARM.index("[[plate]]")] + ARM[ARM.index("[[weld]]") :]).replace('pieces = ["post", "arm"]\n', "")
AS_IT_LIES = changed('weldment = { up = "-z", hole = "E14" }\n', "", NO_TAG)


def beside_the_bead(gap: float) -> list[Hit]:
    """A block that runs along the post, so far before the toe of the fillet, which is at x = 260, y = 347."""
    block = '[[place]]\nname = "B"\nmodel = "stop_block"\nfree = [{}, {}, 0, 0]\nwith = {{ height = 75 }}\n'
    stage = 'stages = ["second side"]\n'
    ((low, high),) = [assemble(loads(HEAD + block.format(700, 700))).of_item("B")[0].box]
    x, y = 700 + 230 - low[0], 700 + 347 - gap - high[1]
    job = assemble(loads(AS_IT_LIES + "\n" + block.format(round(x, 6), round(y, 6)) + stage), stage="second side")
    return bead_hits(job, ())


def test_nothing_may_touch_a_finished_weld() -> None:
    """A gap of less than 0.02 mm is touching."""
    (near,) = beside_the_bead(0.01)
    assert (near.weld, near.depth, near.way_out) == ("near", 0.0, None)
    assert in_words_of(near) == "B stands on the finished weld near"
    assert beside_the_bead(0.03) == []
    (deep,) = beside_the_bead(-0.5)
    assert in_words_of(deep) == "B runs into the finished weld near"
    assert 0.0 < deep.depth <= 0.5 + 1e-6
    assert deep.way_out is not None
    assert deep.way_out[1] < 0.0  # the way it came


@pytest.mark.parametrize(("lift", "meets"), [(21.61, True), (21.63, False), (20.0, True)])
def test_a_finished_weld_must_not_lie_on_the_table(lift: float, meets: bool) -> None:
    """Turned over, the cap of 1.6 mm looks down from a tube of 40 whose middle is at the lift: 21.6 is flush."""
    text = changed('hole = "E14" }', f'hole = "E14", lift = {lift} }}', NO_TAG).replace('hole = "E12"', 'hole = "P16"')
    hits = found(assemble(loads(text), stage="second side"), "on-bead")
    assert [f.subjects for f in hits] == ([("top", "table")] if meets else [])
    if lift == 20.0:
        assert hits[0].measured == pytest.approx(1.6)
        assert "lift the weldment by more than 1.6 mm in this stage" in hits[0].remedy


def test_only_a_piece_that_comes_later_can_stand_on_a_bead() -> None:
    (tag,) = found(assemble(loads(ARM), stage="second side"), "on-bead")
    assert tag.subjects == ("tag", "near")
    assert tag.measured == pytest.approx(3.0, abs=0.1)
    both = changed('pieces = ["post", "arm"]\n', "")
    assert found(assemble(loads(both), stage="second side"), "on-bead") == []


def test_what_is_welded_together_holds_itself_up() -> None:
    """R2 is under the post only: the arm hangs on it by its weld, and does not when the weld is not run yet."""
    text = changed('hole = "E12"', 'hole = "E5"', changed('hole = "E5"', 'hole = "E8"', AS_IT_LIES))
    assert found(assemble(loads(text), stage="second side"), "unsupported") == []
    later = changed('welds = ["under"]', 'welds = ["near", "top", "under"]', text)
    (arm,) = found(assemble(loads(later), stage="second side"), "unsupported")
    assert arm.subjects == ("arm",)


def test_work_that_is_off_is_mended_in_its_own_stage() -> None:
    text = (SCENES / "bench_end.toml").read_text(encoding="utf-8")
    off = changed("offset = [20, 30] }", "offset = [20, 30.4] }", text)
    job = assemble(loads(off, str(SCENES / "bench_end.toml")), stage="second side")
    (cause,) = found(job, "work-misplaced")
    assert 'set offset = [20, 30] in the weldment of stage "second side"' in cause.remedy


def test_a_block_on_a_bead_is_sent_where_it_is_clear_of_it() -> None:
    text = (SCENES / "bench_end.toml").read_text(encoding="utf-8")
    on = changed('name = "R1b"\nmodel = "riser"\nhole = "F5"', 'name = "R1b"\nmodel = "riser"\nhole = "G5"', text)
    (hit,) = found(assemble(loads(on, str(SCENES / "bench_end.toml")), stage="second side"), "on-bead")
    assert hit.subjects == ("R1b", "back rail / shelf bar, top")
    assert hit.measured == pytest.approx(0.0, abs=1e-6)  # a flare is filled to the faces: the block lies on it
    assert "move R1b to hole F5: its top then touches back rail" in hit.remedy


# --- what is drawn, written and printed -----------------------------------------------------------------------------


def lying(turn: np.ndarray[Any, Any]) -> Job:
    """The arm with its own axes turned, at its place."""
    job = assemble(loads(NO_TAG))
    assert job.weldment is not None
    pose = np.eye(4)
    pose[:3, :3] = turn
    pose[:3, 3] = job.weldment.weldment_to_world[:3, 3]
    return dataclasses.replace(job, weldment=dataclasses.replace(job.weldment, weldment_to_world=pose))


def rotation(axis: tuple[float, float, float], degrees: float) -> np.ndarray[Any, Any]:
    return frame.rotation(axis, degrees)[:3, :3]


X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("turns", "says"),
    [
        ([], ["The work stays as it is."]),
        ([(X, 180)], ["Turn the work over about its own X, which lies from left to right: its underside comes up."]),
        ([(Y, 180)], ["Turn the work over about its own Y, which lies from front to back: its underside comes up."]),
        ([(X, 90)], ["Tip the work by 90° about its own X, which lies from left to right, so that its back side"]),
        ([(Y, 90)], ["Tip the work by 90° about its own Y, which lies from front to back, so that its left side"]),
        ([(Z, 90)], ["Turn the work 90° counter-clockwise, seen from above."]),
        ([(Z, -30)], ["Turn the work 30° clockwise, seen from above."]),
        ([(X, 90), (Z, 90)], ["so that its back side comes up.", "Turn the work 90° counter-clockwise"]),
        ([(X, 180), (Z, 60)], ["Turn the work over about a line at 30° from left to right, counter-clockwise"]),
    ],
)  # fmt: skip
def test_how_the_work_is_turned_is_told_in_words(turns: list[Any], says: list[str]) -> None:
    turn = np.eye(3)
    for axis, degrees in turns:
        turn = rotation(axis, degrees) @ turn
    told = turned(lying(np.eye(3)), lying(turn))
    for words, sentence in zip(says, told, strict=False):
        assert words in sentence
    assert len(told) == len(says) + (1 if turns else 0)  # and then where its zero point is
    if turns:
        assert told[-1] == "Its zero point is over hole E4, 40 mm right and 20 mm back of it, 70 mm up."


def test_the_sheet_has_each_stage_and_what_changes() -> None:
    from fixture3d.sheet.pdf import sheet_pdf
    from tests.sheets import demo_jobs, demo_pages, demo_sheet

    jobs = demo_jobs("bench_end")
    data = stages_data(jobs)
    change = data["stages"][1]["changes"]
    assert data["stages"][0]["changes"] is None
    assert [(m["name"], m["from"], m["to"], m["as"]) for m in change["moved"]] == [("R1", "G5", "F5", "R1b")]
    names = [[b["name"] for b in change[way]] for way in ("on", "off")]
    assert names == [["L1", "L2"], ["S4", "S5", "P1"]]
    assert change["open"] == ["K1", "K2"]
    assert change["pieces_on"] == ["front lug", "back lug"]
    assert [b["name"] for b in data["stages"][1]["blocks"] if not b["stays"]] == ["R1b", "L1", "L2"]
    assert data["mass"].startswith("7.0 kg")
    found = [" ".join(page.split()) for page in demo_pages("bench_end")]
    text = " ".join(found)
    assert "The checks were not run" in found[0]
    assert "Built in 2 stages" in found[0]
    for words in (
        "Stage 1 of 2: first side", "Stage 2 of 2: second side", "From stage 1 to stage 2: what changes",
        "from G5 to F5, there called R1b", "Turn the work over about its own X", "over hole D12",
    ):  # fmt: skip
        assert words in text
    assert text.count("Plan, seen from above") == 2
    assert sheet_pdf(jobs) == demo_sheet("bench_end")


def test_the_command_line_takes_a_stage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "arm.toml"
    path.write_text(HEAD + ODD + TWICE, encoding="utf-8")
    assert main(["check", str(path), "--stage", "tow"]) == 2
    assert 'nearest: "two"' in capsys.readouterr().err
    assert main(["check", str(path), "--stage", "two", "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert [s["name"] for s in data["stages"]] == ["two"]
    assert {f["stage"] for f in data["findings"]} == {"two"}
    assert main(["export", str(path), "-o", str(tmp_path / "a.step")]) == 0
    assert 'this is stage 1 of 2, "one"; --stage for "two"' in capsys.readouterr().err
    assert "PRODUCT('Setup, one'" in (tmp_path / "a.step").read_text(encoding="ascii")
    assert main(["export", str(path), "-o", str(tmp_path / "b.step"), "--stage", "two"]) == 0
    assert "this is stage" not in capsys.readouterr().err


def test_a_second_equal_stage_computes_nothing_again(tmp_path: Path) -> None:
    """Pairs are kept by how two bodies stand to one another, welds by what the torch can reach: by content."""
    from fixture3d.cache import Store

    store = Store(tmp_path)
    text = AS_IT_LIES.replace('stages = ["first side"]\n', "")
    first, second = assemble_all(loads(text), store)
    check_job(first)
    before = {path for path in tmp_path.rglob("*") if path.is_file()}
    found(second)
    new = [path for path in tmp_path.rglob("*") if path.is_file() and path not in before]
    beads = len(second.beads)
    assert beads == 2
    assert len(new) <= 3 * beads * len(second.bodies)
    found(dataclasses.replace(second, done=(), joined=()))
    assert not [path for path in tmp_path.rglob("*") if path.is_file() and path not in {*before, *new}]
