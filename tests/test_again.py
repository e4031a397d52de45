"""The same setup elsewhere: mirrored, turned and moved scenes are the same setup, and say so."""

from __future__ import annotations

import csv
import dataclasses
import io
import math
import os
import random
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.again.again import again
from fixture3d.again.change import Change, change_of, hole_at, read_move, spot_of
from fixture3d.again.compare import differences
from fixture3d.again.copies import between, repeated
from fixture3d.again.hands import hand_of
from fixture3d.again.split import CALLED, split
from fixture3d.checks import interference
from fixture3d.checks.base import quiet
from fixture3d.cli import main
from fixture3d.engine import assemble, assemble_all, check_jobs, load
from fixture3d.errors import FixtureError, SceneError
from fixture3d.export.cut_list import cuts_csv, cuts_text
from fixture3d.job import Job
from fixture3d.job.cut_data import cut_rows
from fixture3d.job.seat import face_pins
from fixture3d.job.weldment import build
from fixture3d.library import library
from fixture3d.part import FACES, Pattern
from fixture3d.part import build as build_block
from fixture3d.scene import Scene, loads
from fixture3d.scene.edit import Edit, comments, edited
from fixture3d.scene.table import Naming, Table
from fixture3d.solid import kernel
from fixture3d.solid.mirror import MIRROR_Y
from tests.conftest import SCENES

LONG = bool(os.environ.get("FIXTURE3D_LONG"))
DEMOS = (
    "kayak_rack",
    "bench_end",
    "paddle_hook",
    "hose_reel",
    "garden_gate",
    "canoe_trolley",
    "saw_stand",
    "tool_trolley",
)
TABLE = Table(columns=23, rows=27, pitch=(50.0, 50.0), bore=16.0)
SMALL = """\
format = 1
title = "Post"
table = "50/16 1000x1000"

[weldment]                 # its zero point
hole = "F4"
offset = [20, "5 mm"]
lift = 50
welds = "none"

[[member]]
name = "left post"
stock = "L 50x30x5"
from = [0, 0, 0]
to = [0, 300, 0]
ends = [{ mitre = 30, about = "z" }, "square"]

# S1 stands beside hole F6.
[[place]]
name = "S1"
model = "stop_block"
hole = "F6"                # the sixth row
turn = 90
with = { height = 75 }

[[place]]
name = "R1"
model = "riser"
hole = "F8"
"""


@cache
def demo(name: str) -> tuple[Scene, tuple[Job, ...]]:
    scene = load(SCENES / f"{name}.toml")
    return scene, assemble_all(scene)


def changed(scene: Scene, **asked: Any) -> Scene:
    """The scene of the changed text, as if it stood beside the old one."""
    made = again(scene, assemble_all(scene), change_of(scene.table, **asked))
    return loads(made.text, str(scene.path))


def same(a: Scene, b: Scene) -> bool:
    """Whether two scenes say the same; a turn by a whole round is none."""

    def plain(scene: Scene) -> dict[str, Any]:
        data = scene.model_dump()
        for group in ("places", "clamps"):
            for one in data[group]:
                one["turn"] %= 360.0
        if data["weldment"] is not None:
            data["weldment"]["turn"] %= 360.0
        return data

    return plain(a) == plain(b)


def small(text: str = SMALL) -> Scene:
    return loads(text, "small.toml")


def test_a_change_of_places_by_hand() -> None:
    """On 23 columns the mirror line is column L, the twelfth: E, the fifth, and S, the nineteenth, change places."""

    def where(name: str, **asked: Any) -> str | None:
        return hole_at(TABLE, change_of(TABLE, **asked).spot(spot_of(TABLE, TABLE.find(name))))

    assert where("E6", mirror="left-right") == "S6"
    assert where("E6", mirror="front-back") == "E22"
    assert where("E6", mirror="left-right", about="F1") == "G6"
    assert where("E6", mirror="left-right", about="F1/G1") == "H6"
    assert where("C2", turn=90, about="C2") == "C2"
    assert where("D2", turn=90, about="C2") == "C3"
    assert where("D2", turn=270, about="C2/D3") == "C2"
    assert where("D2", turn=180) == "T26"
    assert where("E6", move=["right", "6", "front", "2"]) == "K4"
    assert where("E6", move=["6", "left,", "back", "1"]) is None
    assert where("E6", mirror="left-right", turn=90, about="E6", move=["left", "1"]) == "D6"


@pytest.mark.parametrize("corner", ["front left", "front right", "back left", "back right"])
@pytest.mark.parametrize("stagger", [False, True])
def test_holes_come_to_lie_on_holes(corner: Any, stagger: bool) -> None:
    """The place that a change gives a hole is the world point of the hole that it names, however holes are named."""
    table = Table(columns=8, rows=5, pitch=(50.0, 50.0), bore=16.0, stagger=stagger, naming=Naming(corner=corner))
    for asked in ({"mirror": "left-right"}, {"mirror": "front-back"}, {"turn": 180}, {"turn": 90, "about": "C3"}):
        change = change_of(table, **asked)
        for i in range(8):
            for j in range(5):
                for plus in (False, True):
                    if not table.has(i, j, plus):
                        continue
                    hole = table.at(i, j, plus)
                    name = hole_at(table, change.spot(spot_of(table, hole)))
                    if name is not None:
                        world = frame.points(change.to_world(table), hole.xyz)
                        assert np.allclose(world, table.find(name).xyz)
                    else:
                        assert "turn" in asked
                        assert asked["turn"] == 90


def test_four_turns_and_two_mirrors_are_nothing() -> None:
    odd = Table(columns=8, rows=5, pitch=(50.0, 50.0), bore=16.0)
    for table in (TABLE, odd):
        quarter = change_of(table, turn=90)
        four = quarter.then(quarter).then(quarter).then(quarter)
        assert (four.turns, four.shift) == (Change().turns, (0.0, 0.0))
    both = change_of(TABLE, mirror="left-right").then(change_of(TABLE, mirror="front-back"))
    assert (both.turns, both.shift) == (change_of(TABLE, turn=180).turns, change_of(TABLE, turn=180).shift)
    assert not both.mirrors


@pytest.mark.parametrize("name", DEMOS if LONG else ("paddle_hook",))
def test_there_and_back_is_the_same_scene(name: str) -> None:
    scene, _ = demo(name)
    for way in ("left-right", "front-back"):
        assert not same(changed(scene, mirror=way), scene)
        assert same(changed(changed(scene, mirror=way), mirror=way), scene)
    turned = scene
    for _ in range(2):
        turned = changed(turned, turn=180)
    assert same(turned, scene)


def test_moved_there_and_back_and_turned_four_times() -> None:
    scene = small()
    there = changed(scene, move=["right", "3", "back", "2"])
    assert [p.hole for p in there.places] == ["I8", "I10"]
    assert there.weldment is not None
    assert there.weldment.hole == "I6"
    assert there.weldment.offset == (20.0, 5.0)
    assert same(changed(there, move=["left", "3", "front", "2"]), scene)
    turned = changed(scene, turn=90)
    assert turned.weldment is not None
    assert turned.weldment.offset == (-5.0, 20.0)
    assert turned.weldment.turn == 90.0
    for _ in range(3):
        turned = changed(turned, turn=90)
    assert same(turned, scene)


@pytest.mark.parametrize("name", DEMOS if LONG else ("kayak_rack",))
def test_every_body_is_where_its_mirror_image_is(name: str) -> None:
    """Blocks, dowels, finished beads and pieces: the box round each is mirrored, and so is each weld."""
    scene, jobs = demo(name)
    for asked in ({"mirror": "left-right"}, {"mirror": "front-back"}):
        change = change_of(scene.table, **asked)  # type: ignore[arg-type]
        world = change.to_world(scene.table)
        for old, new in zip(jobs, assemble_all(changed(scene, **asked)), strict=True):
            boxes = [np.sort(frame.points(world, body.box), axis=0) for body in (*old.bodies, *old.beads)]
            found = [body.box for body in (*new.bodies, *new.beads)]
            assert len(boxes) == len(found)
            handed = {seat.name for seat in old.seats.values() if hand_of(old, seat, world).other}
            for body in old.bodies:
                if body.item in handed and body.role == "sweep":
                    continue
                box = np.sort(frame.points(world, body.box), axis=0)
                near = min(float(np.abs(box - b.box).max()) for b in new.bodies if b.item == body.item)
                assert near < 0.05, body.name
            assert all(abs(float(np.linalg.det(body.body_to_world[:3, :3])) - 1.0) < 1e-9 for body in new.bodies)
            assert [weld.name for weld in new.welds] == [weld.name for weld in old.welds]
            for before, after in zip(old.welds, new.welds, strict=True):
                assert np.allclose(frame.points(world, before.path), after.path, atol=1e-6)
                assert np.allclose(
                    frame.directions(world, np.reshape(before.sides, (-1, 3))), np.reshape(after.sides, (-1, 3))
                )


@pytest.mark.skipif(not LONG, reason="some minutes; FIXTURE3D_LONG=1 runs it")
@pytest.mark.parametrize("name", DEMOS)
def test_findings_of_the_mirror_image_are_the_same(name: str) -> None:
    """But for the screw clamps of the wall hook, whose arms swing to one side: that is told."""
    scene, jobs = demo(name)
    before = check_jobs(jobs)
    for asked in ({"mirror": "left-right"}, {"turn": 180}, {"mirror": "front-back"}):
        told = differences(before, check_jobs(assemble_all(changed(scene, **asked))))
        swings = ("new: FAIL sweep-blocked: K1, S1",) if name == "paddle_hook" and "mirror" in asked else ()
        assert told == swings, (name, asked)


ARM = """
[[member]]
name = "arm"
stock = "SHS 40x40x3"
from = [20, 150, 0]
to = [220, 150, 0]
"""
FOUND = SMALL.replace('welds = "none"', 'welds = "auto"').replace("L 50x30x5", "SHS 40x40x3") + ARM
TEE = (
    FOUND
    + """
[[place]]
name = "S2"
model = "stop_block"
hole = "H10"

[[clamp]]
name = "K1"
model = "toggle_clamp"
hole = "C8"
presses = "left post"
toward = "R1"
"""
)
STAGES = """
[[stage]]
name = "one"
[[stage]]
name = "two"
welds = []
weldment = { turn = 90 }
"""


@pytest.mark.parametrize("asked", [{"mirror": "left-right"}, {"turn": 90}, {"move": ["right", "3"]}])
def test_a_setup_with_faults_keeps_its_findings(asked: dict[str, Any]) -> None:
    scene = small(TEE)
    before = check_jobs(assemble_all(scene))
    assert {f.level for f in before.findings} >= {"fail", "note"}
    assert differences(before, check_jobs(assemble_all(changed(scene, **asked)))) == ()


def test_another_place_is_another_finding() -> None:
    """What compares must see a difference."""
    scene = small()
    before = check_jobs(assemble_all(scene))
    other = loads(scene.source.replace('hole = "F8"', 'hole = "F6"'), "small.toml")
    told = differences(before, check_jobs(assemble_all(other)))
    assert any(one.startswith("new: FAIL") and "S1" in one for one in told)


def test_another_figure_is_told() -> None:
    scene = small(TEE)
    report = check_jobs(assemble_all(scene))
    one = next(f for f in report.findings if f.measured is not None)
    other = dataclasses.replace(one, measured=(one.measured or 0.0) + 1.0)
    moved = dataclasses.replace(report, findings=tuple(other if f is one else f for f in report.findings))
    told = differences(report, moved)
    assert len(told) == 1
    assert told[0].startswith(f"{one.level.upper()} {one.rule}: ")
    assert told[0].endswith(" now")


def test_finished_beads_are_mirrored() -> None:
    """A setup of two stages: what was welded in the first stands out of the work in the second."""
    scene = small(FOUND + STAGES)
    old = assemble_all(scene)[1]
    new = assemble_all(changed(scene, mirror="left-right"))[1]
    assert len(old.beads) == len(new.beads) > 0
    world = change_of(scene.table, mirror="left-right").to_world(scene.table)
    for before, after in zip(old.beads, new.beads, strict=True):
        assert float(np.linalg.det(after.body_to_world[:3, :3])) == pytest.approx(1.0)
        assert np.allclose(np.sort(frame.points(world, before.box), axis=0), after.box, atol=1e-5)


def test_handed_pieces_are_mirrored() -> None:
    """An angle with one mitred end: its mirror image has its volume, and its box mirrored, and no turn of it does."""
    scene = small()
    job, new = assemble(scene), assemble(changed(scene, mirror="left-right"))
    (old_body,), (body,) = job.pieces(), new.pieces()
    world = change_of(scene.table, mirror="left-right").to_world(scene.table)
    assert kernel.volume(body.shape.brep) == pytest.approx(kernel.volume(old_body.shape.brep), rel=1e-9)
    points = frame.points(world, frame.points(old_body.body_to_world, old_body.shape.mesh.vertices))
    image = frame.points(body.body_to_world, body.shape.mesh.vertices)
    assert np.abs(points[np.lexsort(points.round(6).T)] - image[np.lexsort(image.round(6).T)]).max() < 1e-6
    assert body.shape.mesh.volume > 0.0
    flat = body.shape.facets
    low, high = flat.vertices.min(axis=0), flat.vertices.max(axis=0)
    assert np.allclose([low, high], body.shape.mesh.box, atol=0.01)
    assert np.allclose(np.sort(frame.points(MIRROR_Y, old_body.shape.mesh.box), axis=0), body.shape.mesh.box)


@pytest.mark.parametrize("up", ["x", "-x", "y", "-y", "z", "-z"])
def test_however_the_work_lies(up: str) -> None:
    scene = loads(SMALL.replace("lift = 50\n", f'lift = 50\nup = "{up}"\ntilt = [20, 30]\nturn = 35\n'), "small.toml")
    for asked in ({"mirror": "left-right"}, {"mirror": "front-back"}, {"turn": 90}):
        new = changed(scene, **asked)
        world = change_of(scene.table, **asked).to_world(scene.table)
        old_pose, pose = (assemble(one).weldment for one in (scene, new))
        assert old_pose is not None
        assert pose is not None
        assert new.weldment is not None
        assert np.allclose(world @ old_pose.weldment_to_world, pose.weldment_to_world, atol=1e-9)
        assert new.weldment.up == up


def test_only_what_must_change_is_changed() -> None:
    made = again(small(), assemble_all(small()), change_of(small().table, mirror="left-right"))
    old, new = SMALL.split("\n"), made.text.split("\n")
    assert new[0] == "# Mirrored left to right about the middle of the table: from small.toml"
    assert 'title = "Post, mirrored"' in new
    assert 'hole = "O5"                # the sixth row' not in new  # it is turned about its own middle
    kept = [line for line in old if line in new]
    assert {line for line in old if line not in new} == {
        'title = "Post"',
        'hole = "F4"',
        'offset = [20, "5 mm"]',
        'hole = "F6"                # the sixth row',
        "turn = 90",
        'hole = "F8"',
    }
    assert [line for line in new if line in kept] == kept
    assert any("line 19" in note and "holes" in note for note in made.notes)


def test_blocks_with_a_hand_are_told() -> None:
    text = (
        SMALL
        + '\n[[clamp]]\nname = "K1"\nmodel = "screw_clamp"\nhole = "C6"\n'
        + ('\n[[place]]\nname = "B1"\nmodel = "stop_bar"\nhole = "L6"\n')
    )
    made = again(loads(text, "small.toml"), assemble_all(loads(text)), change_of(small().table, mirror="left-right"))
    told = [note for note in made.notes if "has a hand" in note]
    assert [note.split(" ")[0] for note in told] == ["B1", "K1"]
    assert "arm sweep" in told[1]
    assert "bores" in told[0]


REFUSED = (
    ({"move": ["left", "6"]}, "F6 would leave the table, as would 2 more; nearest that fits: --move left 5"),
    ({"turn": 180, "about": "F4"}, "nearest that fits: --move back"),
    ({"mirror": "left-right", "about": "C4Q"}, "--about C4Q: hole"),
    ({"turn": 90, "about": "C4/D4"}, "as in A1/B2"),
    ({"move": ["up", "6"]}, '"up" is no way to move; expected right, left, back or front'),
    ({"move": ["left"]}, "expected pairs"),
    ({"move": ["left", "6.5"]}, '"6.5" is not a number of holes'),
)


@pytest.mark.parametrize(("asked", "said"), REFUSED)
def test_what_cannot_be_is_refused_in_one_line(asked: dict[str, Any], said: str) -> None:
    scene = small()
    with pytest.raises(FixtureError) as caught:
        changed(scene, **asked)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_quarter_turn_needs_one_pitch() -> None:
    text = SMALL.replace('table = "50/16 1000x1000"', "[table]\npitch = [50, 40]\nbore = 16\ncolumns = 20\nrows = 24")
    with pytest.raises(FixtureError, match="expected --turn 180"):
        changed(loads(text), turn=90)
    assert changed(loads(text), turn=180).places[0].hole == "O19"


def test_other_planes_edges_and_slots_stay_where_they_are() -> None:
    head = "format = 1\n[table]\npitch = 50\nbore = 16\ncolumns = 20\nrows = 10\nedge = 50\nthickness = 12\n"
    side = '[[grid]]\nname = "side"\norigin = [0, -50, -40]\nx = [1, 0, 0]\ny = [0, 0, 1]\ncolumns = 18\nrows = 1\n'
    block = '[[place]]\nname = "S1"\nmodel = "stop_block"\nhole = "side:B1"\n'
    with pytest.raises(SceneError, match=r's\.toml:19: place "S1": it stands on grid "side", which stays where it is'):
        changed(loads(head + side + block, "s.toml"), move=["right", "1"])
    hooked = '[[place]]\nname = "E1"\nmodel = "edge_stop"\nedge = "left"\nalong = 100\n'
    scene = loads(head + hooked, "s.toml")
    with pytest.raises(SceneError, match=r's\.toml:12: place "E1": it hooks over the left edge, .* 50 mm away'):
        changed(scene, move=["right", "1"])
    mirrored = changed(scene, mirror="left-right").places[0]
    assert (mirrored.edge, mirrored.along) == ("right", 100.0)
    assert changed(scene, move=["back", "2"]).places[0].along == 200.0
    turned = changed(scene, turn=180).places[0]
    assert (turned.edge, turned.along) == ("right", 350.0)


def test_stacks_and_upright_faces_go_with_their_block() -> None:
    """The wall hook: blocks bolted to the face of an angle plate keep to their place on it, mirrored."""
    scene, _ = demo("paddle_hook")
    new = changed(scene, mirror="left-right")
    sockets = {place.name: place.socket for place in (*new.places, *new.clamps) if place.on}
    assert sockets["K1"] == "F4"  # the angle plate has columns A to G: B and F change places
    assert sockets["K2"] == "B4"


def test_files_are_named_from_the_new_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "turned.toml"
    assert main(["again", str(SCENES / "saw_stand.toml"), "--turn", "180", "--plain", "-o", str(out)]) == 0
    new = load(out)
    assert [path.resolve() for path in new.geometry_files] == [(SCENES / "saw_stand_top.step").resolve()]
    assert capsys.readouterr().out.startswith(str(out))
    assert main(["again", str(SCENES / "saw_stand.toml"), "--turn", "180", "--plain", "-o", str(out)]) == 2
    assert "add --force" in capsys.readouterr().err


def test_the_command_says_what_differs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old, out = tmp_path / "small.toml", tmp_path / "m.toml"
    old.write_text(SMALL, encoding="utf-8")
    code = main(["again", str(old), "--mirror", "left-right", "-o", str(out)])
    told = capsys.readouterr().out
    assert "  was: " in told
    assert "  now: " in told
    assert "  the same findings, with the same figures" in told
    assert code == main(["check", str(out)])
    capsys.readouterr()
    assert main(["again", str(old), "--force", "-o", str(out)]) == 2
    assert "expected --mirror, --turn, --move, --repeat or --split" in capsys.readouterr().err
    assert main(["again", str(old), "--move", "left", "2", "--force", "-o", str(old)]) == 2
    assert "the setup is made from this file" in capsys.readouterr().err


def test_single_keys_of_a_text() -> None:
    text = 'a = 1 # one\n[[place]]\nname = "S1"\n\n# next\n[[stage]]\nweldment = { up = "z", turn = 3 }\n'
    made = edited(
        text,
        [
            Edit(table=("place", 0), key="hole", value="C4", after=("name",)),
            Edit(table=("stage", 0, "weldment"), key="turn", value=None),
            Edit(table=("stage", 0, "weldment"), key="hole", value="B2"),
            Edit(table=(), key="a", value=2.5),
        ],
    )
    assert made == (
        'a = 2.5 # one\n[[place]]\nname = "S1"\nhole = "C4"\n\n# next\n'
        '[[stage]]\nweldment = { hole = "B2", up = "z" }\n'
    )
    assert list(comments('a = "#no" # yes\n# two')) == [(1, "# yes"), (2, "# two")]
    dotted = [Edit(table=("weldment",), key="turn", value=90, after=("hole",))]
    assert edited('weldment.hole = "C4" # here\n', dotted) == 'weldment.hole = "C4" # here\nweldment.turn = 90\n'
    with pytest.raises(SceneError, match="cannot be changed one by one"):
        edited("place.name = 1\n", [Edit(table=("place",), key="hole", value=2)])


def test_words_of_a_move() -> None:
    assert read_move(["right", "6", "back", "2"]) == (6.0, 2.0)
    assert read_move(["6", "right", "left", "1"]) == (5.0, 0.0)


def several(text: str, times: int, step: tuple[float, float]) -> tuple[Scene, tuple[str, ...]]:
    scene = small(text)
    made = repeated(scene, assemble_all(scene), times, step)
    return loads(made.text, "small.toml"), made.notes


def test_three_on_one_table_are_three() -> None:
    """Pieces, welds and blocks of each copy are those of the first, a step further; so are the findings."""
    text = TEE.replace("1000x1000", "2000x1000")
    scene = small(text)
    new, notes = several(text, 3, (10.0, 1.0))
    (old,), (job,) = assemble_all(scene), assemble_all(new)
    assert [piece.name for piece in job.pieces()] == [
        f"{name}{sign}" for sign in ("", " b", " c") for name in ("left post", "arm")
    ]
    assert len(job.welds) == 3 * len(old.welds) > 0
    first = {body.name: body for body in old.pieces()}
    for sign, number in ((" b", 1), (" c", 2)):
        aside = np.array([500.0, 50.0, 0.0]) * number
        for name, body in first.items():
            found = next(b for b in job.pieces() if b.name == name + sign)
            assert np.allclose(found.box, body.box + aside)
        for name, seat in old.seats.items():
            pose = job.seats[name + sign].model_to_world
            assert np.allclose(pose[:3, 3], seat.model_to_world[:3, 3] + aside)
        for weld in old.welds:
            joint, comma, side = weld.name.partition(",")
            a, b = joint.split(" / ")
            found_weld = next(w for w in job.welds if w.name == f"{a}{sign} / {b}{sign}{comma}{side}")
            assert np.allclose(found_weld.path, np.asarray(weld.path) + aside, atol=1e-4)
    assert job.seats["K1 c"].place.presses == "left post c"  # type: ignore[union-attr]
    assert len(notes) == 1
    told = differences(check_jobs((old,)), check_jobs((job,)), copies=3)
    # What no block of one copy could tell, those of three do: that it is the work that lies wrong.
    assert [one.split(":")[:2] for one in told] == [["new", " FAIL work-misplaced"]]


def test_a_block_that_two_copies_want_is_there_once() -> None:
    text = SMALL + '\n[[place]]\nname = "R2"\nmodel = "riser"\nhole = "I8"\n'
    new, notes = several(text, 3, (3.0, 0.0))
    assert notes[0] == "R2 serves as R1 b too"
    assert notes[1] == "R2 b serves as R1 c too"
    assert [place.name for place in new.places] == ["S1", "R1", "R2", "S1 b", "R2 b", "S1 c", "R2 c"]
    assert {p.name: p.hole for p in new.places if p.name.startswith("R")} == {
        "R1": "F8",
        "R2": "I8",
        "R2 b": "L8",
        "R2 c": "O8",
    }


def test_copies_that_are_in_each_others_way_are_found() -> None:
    new, _ = several(TEE, 2, (2.0, 0.0))
    (job,) = assemble_all(new)
    met = [f for f in interference.CHECK.run(job, quiet).findings if f.level == "fail"]
    assert any({name.endswith(" b") for name in one.subjects} == {True, False} for one in met)


def test_copies_of_copies_have_names_of_their_own() -> None:
    text = SMALL.replace("1000x1000", "2000x1000")
    two, _ = several(text, 2, (5.0, 0.0))
    four, _ = several(two.source, 2, (0.0, 6.0))
    assert [member.name for member in four.members] == ["left post", "left post b", "left post c", "left post b c"]
    assert {place.name: place.hole for place in four.places}["S1 b c"] == "K12"


def test_copies_that_touch_are_told() -> None:
    """A step of 4 holes, 200 mm, brings the end of each arm to where the next begins."""
    scene = small(FOUND)
    made = repeated(scene, assemble_all(scene), 2, (4.0, 0.0))
    told = between(made, assemble_all(loads(made.text, "small.toml")))
    assert len(told) == 1
    assert '"arm / arm b, bottom"' in told[0]


def test_stages_name_the_copies_too() -> None:
    stages = '\n[[stage]]\nname = "one"\npieces = ["left post"]\n[[stage]]\nname = "two"\nwithout = ["S1"]\n'
    new, _ = several(SMALL.replace('welds = "none"', 'welds = "none"') + stages, 2, (5.0, 0.0))
    assert new.stages[0].pieces == ("left post", "left post b")
    assert new.stages[1].without == ("S1", "S1 b")
    assert new.title == "Post, 2 on one table"


def test_a_copy_of_a_turned_mirrored_weldment_goes_the_same_way() -> None:
    text = SMALL.replace("lift = 50\n", "lift = 50\nturn = 90\nmirrored = true\ntilt = [0, 30]\n")
    new, _ = several(text, 2, (3.0, -1.0))
    first, second = (body.box for body in assemble(new).pieces())
    assert np.allclose(second - first, [150.0, -50.0, 0.0], atol=1e-6)


@pytest.mark.parametrize(
    ("text", "times", "step", "said"),
    [
        (
            SMALL,
            5,
            (4.0, 0.0),
            "copy 5 of 5: S1: F6 would leave the table, .* expected a smaller step, or at most 4 of them",
        ),
        (SMALL, 1, (4.0, 0.0), "--repeat 1: expected 2 to 26"),
        (SMALL, 2, (0.0, 0.0), 'expected --step, as in "--step right 14"'),
        (
            SMALL + STAGES.replace("welds = []\n", ""),
            2,
            (4.0, 0.0),
            r"small\.toml:\d+: stage \"two\": it lays the work",
        ),
    ],
)
def test_what_cannot_be_repeated(text: str, times: int, step: tuple[float, float], said: str) -> None:
    with pytest.raises(FixtureError, match=said):
        several(text, times, step)


def test_entries_in_braces_are_moved_and_not_repeated() -> None:
    text = 'format = 1\ntable = "50/16 1000x1000"\nplace = [{ name = "S1", model = "stop_block", hole = "C4" }]\n'
    moved = again(small(text), assemble_all(small(text)), change_of(small(text).table, move=["right", "1"]))
    assert 'place = [{ name = "S1", model = "stop_block", hole = "D4" }]' in moved.text
    with pytest.raises(SceneError, match=r"small\.toml: its entries stand in lists with braces"):
        several(text, 2, (4.0, 0.0))


def test_pieces_of_a_file_cannot_be_repeated(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    command = ["again", "saw_stand", "--repeat", "2", "--step", "right", "1", "-o", str(tmp_path / "two.toml")]
    assert main(command) == 2
    assert "[weldment]: its pieces come from a file, which holds them once" in capsys.readouterr().err
    assert not (tmp_path / "two.toml").exists()
    assert main([*command, "--turn", "90"]) == 2
    assert "expected one after the other" in capsys.readouterr().err


def test_the_cut_list_says_which_pieces_have_a_hand() -> None:
    """Of a mirrored weldment: mitres in one plane, a square length of angle and a plate are their own mirror images.

    A tube with one mitre about each of two axes is not: no turn brings it on to its mirror image.
    """
    members = {
        "trapezium": ("SHS 40x40x3", '[{ mitre = 45, about = "z" }, { mitre = -45, about = "z" }]'),
        "askew": ("SHS 40x40x3", '[{ mitre = 45, about = "z" }, { mitre = 45, about = "x" }]'),
        "angle": ("L 50x30x5", '["square", "square"]'),
        "cut angle": ("L 50x30x5", '[{ mitre = 30, about = "z" }, "square"]'),
        "diagonal": ("SHS 40x40x3", '[{ mitre = 20, about = "z" }, "square"]'),
    }
    text = 'format = 1\ntable = "50/16 2000x1000"\n[weldment]\nmirrored = true\nwelds = "none"\n'
    for k, (name, (stock, ends)) in enumerate(members.items()):
        text += f'[[member]]\nname = "{name}"\nstock = "{stock}"\nfrom = [{100 * k}, 0, 0]\nto = [{100 * k}, 300, 0]\n'
        text += f"ends = {ends}\n"
    for name, holes in (
        ("drilled", "{ at = 40, diameter = 9 }"),
        ("one wall", "{ at = 40, diameter = 9, through = false }"),
    ):
        text += f'[[member]]\nname = "{name}"\nstock = "CHS 42.4x3.2"\nbend = 120\nholes = [{holes}]\n'
        text += "path = [[0, 900, 0], [0, 1400, 0], [400, 1400, 0]]\n"
    text += '[[plate]]\nname = "tab"\noutline = [[0, 0], [50, 0], [0, 30]]\nthickness = 5\n'
    weldment = build(loads(text))
    assert weldment is not None
    rows = cut_rows(weldment.pieces, weldment.mirrored)
    assert {row.piece.name for row in rows if row.other_hand} == {"askew", "cut angle", "one wall"}
    assert cuts_text(loads(text), weldment).count("make the mirror image: read right for left") == 3
    assert not any(row.other_hand for row in cut_rows(weldment.pieces))
    listed = list(csv.reader(io.StringIO(cuts_csv(rows, "mm").decode("utf-8-sig"))))
    assert [row[-1] for row in listed[1:]].count("mirror image of what is said here") == 3


def every_model(corner: str) -> str:
    """One block of each model, on a face of its own and turned by chance; clamps at an edge and in a slot too."""
    rng, sign = random.Random(f"again {corner}"), "-" if corner == "back right" else ""
    text = "format = 1\n[table]\npitch = 50\nbore = 16\ncolumns = 41\nrows = 31\nedge = 50\nthickness = 12\n"
    slots = [
        f'{{ name = "A", from = [{sign}275, {sign}400], to = [{sign}275, {sign}1100], width = 24 }}',
        f'{{ name = "B", from = [{sign}1725, {sign}1100], to = [{sign}1725, {sign}400], width = 24 }}',
    ]
    text += f'names = {{ corner = "{corner}" }}\nslots = [{", ".join(slots)}]\n'
    spots = [TABLE.naming.letters(i) + str(j) for i in range(3, 37, 6) for j in range(4, 28, 6)]
    rng.shuffle(spots)
    placed = {name: entry for name, entry in library([]).entries.items() if entry.model.stands != "hand"}
    for k, (name, entry) in enumerate(placed.items()):
        block = build_block(entry.model, Pattern(pitch=50.0, bore=16.0), {})
        kind = "clamp" if block.tip() is not None else "place"
        text += f'[[{kind}]]\nname = "N{k}"\nmodel = "{name}"\n'
        faces = [face for face in FACES if face_pins(block, face)]
        if block.stands == "magnet":
            text += f"free = [{sign}1000.5, {sign}700, 0, 33]\nmagnet = true\n"
        elif block.stands == "edge":
            text += 'slot = "A"\nalong = 300\nturn = 0\n' if kind == "clamp" else 'edge = "left"\nalong = 300\n'
        else:
            turn, face = rng.choice([0, 90, 180, 270, 45, 30]), rng.choice(faces)
            text += f'hole = "{spots.pop()}"\nturn = {turn}\nface = "{face}"\n'
    return text


@pytest.mark.parametrize("corner", ["front left", "back right"] if LONG else ["back right"])
def test_every_model_stands_in_its_mirror_image(corner: str) -> None:
    scene = loads(every_model(corner), "all.toml")
    (job,) = assemble_all(scene)
    every: list[dict[str, Any]] = [{"mirror": "front-back"}, {"mirror": "left-right"}, {"turn": 180}]
    for asked in every if LONG else every[:1]:
        change = change_of(scene.table, **asked)
        new_scene = changed(scene, **asked)
        new, world = assemble(new_scene), change.to_world(scene.table)
        assert same(changed(new_scene, **asked), scene)
        for name, seat in job.seats.items():
            other = hand_of(job, seat, world).other if change.mirrors else ()
            assert len(new.of_item(name)) == len(job.of_item(name)), seat.model
            for body in job.of_item(name):
                if body.name.removeprefix(name).strip() in other:
                    continue
                box = np.sort(frame.points(world, body.box), axis=0)
                near = min(float(np.abs(box - b.box).max()) for b in new.of_item(name))
                assert near < 0.1, (asked, seat.model, seat.face, seat.turn, body.name)


def test_a_blocked_hole_in_the_new_place_is_found() -> None:
    """Blocked holes are the table's: S1 stands in O6 and O7 when it is mirrored."""
    text = SMALL.replace('table = "50/16 1000x1000"', "[table]\npitch = 50\nbore = 16\ncolumns = 20\nrows = 20\n")
    text = text.replace("rows = 20\n", 'rows = 20\nblocked = ["O7"]\n')
    before = check_jobs(assemble_all(small(text)))
    told = differences(before, check_jobs(assemble_all(changed(small(text), mirror="left-right"))))
    assert any(one.startswith("new: FAIL") and "S1" in one for one in told), told


def parted(text: str, behind: str) -> tuple[Scene, tuple[str, ...]]:
    scene = small(text)
    made = split(scene, assemble_all(scene), behind)
    return loads(made.text, "small.toml"), made.notes


def test_on_two_tables_every_body_stays_where_it_was() -> None:
    """Edges of half a pitch: the tables stand edge to edge; the second begins at the old column F."""
    new, notes = parted(TEE, "E4")
    assert {p.name: p.hole for p in (*new.places, *new.clamps)} == {
        "S1": "second:A6",
        "R1": "second:A8",
        "S2": "second:C10",
        "K1": "C8",
    }
    assert (new.table.columns, new.table.rows, new.grids[0].columns) == (5, 20, 15)
    old_job, job = assemble(small(TEE)), assemble(new)
    for before, after in zip(old_job.bodies, job.bodies, strict=True):
        assert before.name == after.name
        assert np.allclose(before.box, after.box, atol=1e-9)
    assert differences(check_jobs((old_job,)), check_jobs((job,)), called=CALLED) == ()
    # 5 columns on: the hypotenuse over 50 and 19 rows of 50.
    assert "edge to edge" in notes[0]
    assert f"both diagonals {math.hypot(50.0, 950.0):.2f}"[:-1] in notes[0]


def test_wide_edges_leave_a_column_out() -> None:
    text = SMALL.replace(
        'table = "50/16 1000x1000"',
        '[table]\npitch = 50\nbore = 16\ncolumns = 20\nrows = 20\nedge = 50\nblocked = ["B2", "J3"]',
    )
    new, _ = parted(text, "D4")
    assert new.table.blocked == ("B2",)
    assert new.grids[0].blocked == ("E3",)  # J is the tenth column, F the first of the second table
    assert new.grids[0].origin == (250.0, 0.0, 0.0)
    assert {p.name: p.hole for p in new.places} == {"S1": "second:A6", "R1": "second:A8"}
    assert new.weldment is not None
    assert new.weldment.hole == "second:A4"
    with pytest.raises(SceneError, match=r'place "S1": its dowels in F6, F7 would not .*; nearest: --split D4'):
        parted(text, "E4")
    with pytest.raises(SceneError, match=r'place "R1": its dowels in F8, G8.* on one table.*; nearest: --split E4$'):
        parted(SMALL, "F4")
    with pytest.raises(FixtureError, match="nothing is left for a second table; nearest: S4"):
        parted(SMALL, "T4")
