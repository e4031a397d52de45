"""The command ``locate``: its answers are put into a scene and looked at there."""

from __future__ import annotations

import itertools
import json
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from fixture3d.cli import main
from fixture3d.job.ask import Asked, bare_table, question
from fixture3d.job.close_gap import Closer
from fixture3d.job.job import Seat, placed_pads
from fixture3d.job.locate import Located, locate
from fixture3d.job.resolve import resolve
from fixture3d.job.set_question import Answer, Question
from fixture3d.library import library
from fixture3d.report.setting_data import places
from fixture3d.scene import Scene, loads
from fixture3d.scene.write import tables_text

SHOP = library()
BLOCKS: list[dict[str, Any]] = [
    {"model": "stop_block", "count": 3},
    {"model": "stop_block", "count": 2, "with": {"depth": 80, "height": 75}},
    {"model": "slide_stop", "count": 2, "with": {"notch": 3.175, "travel": 50.8}},
    {"model": "riser", "count": 2, "with": {"height": 40}},
    {"model": "step_block", "count": 1},
    {"model": "dowel", "count": 2},
    {"model": "screw_jack", "count": 1},
    {"model": "shim", "count": 2, "with": {"thickness": 0.5}},
    {"model": "shim", "count": 2, "with": {"thickness": 0.2}},
    {"model": "shim", "count": 1, "with": {"thickness": 0.1}},
    {"model": "shim", "count": 1, "with": {"thickness": 2}},
]
SLIDE = {"model": "slide_stop", "with": BLOCKS[2]["with"]}
TABLES: dict[str, dict[str, Any]] = {
    "metric": {"table": "50/16 1000x600"},
    "staggered": {"table": {"pitch": 100, "bore": 16, "columns": 9, "rows": 6, "edge": 50, "stagger": True}},
    "from the right": {
        "table": {"pitch": 50, "bore": 16, "columns": 20, "rows": 9, "names": {"corner": "front right"}, "edge": 50}
    },
    "oblong": {"table": {"pitch": [50, 60], "bore": 16, "columns": 18, "rows": 12, "edge": 50}},
}


def scene_of(name: str, *more: dict[str, Any]) -> Scene:
    return Scene.from_dict({"format": 1, **TABLES[name], "inventory": BLOCKS, "place": list(more)})


def ask(scene: Scene, distance: str, datum: str, most: int = 12, **more: Any) -> Located:
    asked = Asked(distance=distance, datum=datum, **more)
    return locate(question(asked, scene, scene if scene.inventory else None, SHOP), SHOP, most)


def stood(answer: Answer, asked: Question, scene: Scene) -> Seat:
    """The block of an answer, put into the scene as it is told and stood up there."""
    table = scene.table_keys.model_dump(exclude_none=True)
    table = {key: list(value) if isinstance(value, tuple) else value for key, value in table.items()}
    data = {"format": 1, "units": scene.units, "table": table}
    places_now = [place.model_dump(exclude_unset=True, by_alias=True, exclude_none=True) for place in scene.places]
    job = resolve(Scene.from_dict({**data, "place": [*places_now, *places(answer, asked)]}), SHOP)
    return list(job.seats.values())[-1]


def place_of(answer: Answer, asked: Question, scene: Scene) -> float:
    """Where the face of an answer comes to stand, from the datum, in mm."""
    seat = stood(answer, asked, scene)
    pad = next(pad for pad in placed_pads(seat) if pad.pad.name == answer.pad)
    along = sum(float(n) * w for n, w in zip(pad.normal, asked.datum.way, strict=True))
    assert along == pytest.approx(1.0 if asked.datum.upright else answer.looks, abs=1e-9)
    if not asked.datum.upright:
        assert sum(pin.state == "seated" for pin in seat.pins) == answer.dowels
        assert all(pin.state in ("seated", "left out") for pin in seat.pins)
    return sum(float(c) * w for c, w in zip(pad.at, asked.datum.way, strict=True)) - asked.datum.along


@pytest.mark.parametrize("table", TABLES)
def test_each_answer_stands_where_it_is_said(table: str) -> None:
    rng = random.Random(table)
    scene = scene_of(table)
    for datum in ("B2.x", "B2.y", "B2.z"):
        wanted = rng.randrange(6000, 30000) / 100
        if table == "from the right" and datum == "B2.x":
            wanted = -wanted
        found = ask(scene, f"{wanted}", datum)
        assert found.answers
        for answer in (*found.answers[:6], *found.fewer, *found.measured[:2]):
            assert place_of(answer, found.question, scene) == pytest.approx(wanted + answer.error, abs=1e-6)
            assert answer.pieces == 1 + len(answer.below) + len(answer.shims)
        for closer in found.closers:
            assert place_of(closer.answer, found.question, scene) == pytest.approx(
                wanted + closer.answer.error, abs=1e-6
            )
            assert abs(closer.answer.error) < abs(found.answers[0].error)


def test_the_best_of_every_way_to_stand() -> None:
    # Every block in every hole, turn, notch and face down, stood up by the code that stands scenes up.
    table = {"pitch": 50, "bore": 16, "columns": 5, "rows": 3, "edge": 50}
    slide: dict[str, Any] = {"model": "slide_stop", "with": {"notch": 3.175, "travel": 25.4}}
    owned = [{"model": "stop_block", "count": 1}, {**slide, "count": 1}]
    rows: list[dict[str, Any]] = []
    for hole, turn in itertools.product((f"{c}{r}" for c in "ABCDE" for r in (1, 2, 3)), range(0, 360, 45)):
        rows += [{"model": "stop_block", "hole": hole, "turn": turn, "face": face} for face in ("bottom", "top")]
        rows += [{**slide, "hole": hole, "turn": turn, "notch": notch} for notch in range(9)]
    named = [{"name": f"P{k}", **row} for k, row in enumerate(rows)]
    job = resolve(Scene.from_dict({"format": 1, "table": table, "place": named}), SHOP)
    stands = [seat for seat in job.seats.values() if sum(pin.state == "seated" for pin in seat.pins) >= 2]
    pads = [pad for seat in stands for pad in placed_pads(seat)]
    owned += [{"model": "shim", "count": n, "with": {"thickness": t}} for t, n in ((0.5, 2), (0.2, 1))]
    scene = Scene.from_dict({"format": 1, "table": table, "inventory": owned})
    packs = [(0.5 * a + 0.2 * b, a + b) for a, b in itertools.product((0, 1, 2), (0, 1))]
    rng = random.Random(1)
    for k, datum in ((0, "A1.x"), (1, "A1.y")):
        square = [(float(p.at[k]), round(float(p.normal[k]))) for p in pads if abs(float(p.normal[k])) > 1.0 - 1e-9]
        for _ in range(8):
            wanted = rng.randrange(0, 2400) / 10
            found = ask(scene, f"{wanted}", datum)
            best = min((round(abs(at + way * s - wanted), 6), n + 1) for at, way in square for s, n in packs)
            assert (round(abs(found.answers[0].error), 6), found.answers[0].pieces) == best


def test_from_a_face_at_45_degrees() -> None:
    scene = scene_of("metric", {"name": "S1", "model": "stop_block", "hole": "E3", "pin": "3", "turn": 45})
    found = ask(scene, "180", "S1.right", facing="toward")
    assert found.answers
    for answer in found.answers:
        assert answer.turn % 90 == 45
        assert answer.looks == -1
        assert place_of(answer, found.question, scene) == pytest.approx(180.0 + answer.error, abs=1e-6)
    free = {hole for seat in [stood(found.answers[0], found.question, scene)] for hole in seat.holes}
    assert not free & found.question.taken


def test_heights_stack_on_a_block_of_the_scene() -> None:
    scene = scene_of("metric", {"name": "R1", "model": "riser", "hole": "E3", "with": {"height": 40}})
    found = ask(scene, "91.2", "R1.top")
    assert found.answers[0].exact
    first = places(found.answers[0], found.question)[0]
    assert first["on"] == "R1"
    # Two risers of 40 are owned, one stands already: no answer takes two more.
    for answer in found.answers:
        used = [*answer.below, answer.owned]
        assert sum(one.model == "riser" for one in used) <= 1
        assert place_of(answer, found.question, scene) == pytest.approx(91.2 + answer.error, abs=1e-6)
    jack = ask(scene, "62.5", "A1.z")
    assert [one.owned.model for one in jack.measured] == ["screw_jack"]
    assert jack.measured[0].slide == pytest.approx(7.5)


def test_one_block_is_not_both_below_and_on_top() -> None:
    def best(count: int) -> Answer:
        owned = [{"model": "riser", "count": count, "with": {"height": 40}}]
        return ask(Scene.from_dict({"format": 1, "table": "50/16 1000x600", "inventory": owned}), "80", "A1.z").answers[
            0
        ]

    assert best(1).error == pytest.approx(-40.0)
    assert best(2).exact


def test_a_face_that_looks_the_other_way_or_lies_too_low_is_no_answer() -> None:
    scene = scene_of("metric")
    for facing, looks in (("toward", -1), ("away", 1)):
        assert {a.looks for a in ask(scene, "400", "A1.x", facing=facing).answers} == {looks}
    high = ask(scene, "400", "A1.x", height="60")
    assert high.answers
    assert all(answer.span[0] <= 60.0 <= answer.span[1] for answer in high.answers)
    none = ask(scene, "400", "A1.x", height="500")
    assert (none.answers, none.good, none.ends) == ((), 0, None)


def test_what_to_buy_or_make() -> None:
    def closers(*owned: dict[str, Any], distance: str = "1245.2", datum: str = "A1.x") -> list[Closer]:
        scene = Scene.from_dict({"format": 1, "table": "50/16 2000x600", "inventory": list(owned)})
        return list(ask(scene, distance, datum, shims=3).closers)

    # A stop of 32.5 mm on either side of its bore stands at 1232.5 or 1217.5; 27.5 along it at 1227.5 and 1222.5,
    # looking back at 1272.5. A usual shim leaves an error, an odd one does not.
    block = {"model": "stop_block", "count": 1, "with": {"bores": 1, "length": 65, "depth": 65}}
    usual = closers(block, distance="1232.7")
    assert [(one.kind, one.size) for one in usual] == [("usual shim", 0.2)]
    assert usual[0].answer.exact
    three = closers(block, distance="1232.83")
    assert [(one.kind, one.size) for one in three[:2]] == [("usual shim", 0.25), ("odd shim", 0.33)]
    assert three[1].answer.exact
    assert three[2].kind == "block"
    assert abs(three[2].size - three[2].instead) == pytest.approx(0.66)
    # Far from every face a shim would be a block.
    far = closers(block, distance="1245")
    assert [one.kind for one in far] == ["block"]
    assert far[0].answer.exact
    assert closers(block, distance="1232.5") == []


def test_the_shop_has_no_more_than_it_has() -> None:
    scene = scene_of("metric", *({**SLIDE, "name": f"S{k}", "hole": f"{'CH'[k]}3"} for k in range(2)))
    found = ask(scene, "333.3", "A1.y")
    assert all(answer.owned.model != "slide_stop" for answer in found.answers)
    assert ask(scene_of("metric"), "333.3", "A1.y").answers[0].owned.model == "slide_stop"
    laid = {"name": "R1", "model": "riser", "hole": "E3", "shims": [{"pad": "seat", "by": [0.5, 2.0, 0.3]}]}
    left = ask(scene_of("metric", laid), "333.3", "A1.y").question.shop.shims
    assert left == ((0.1, 1), (0.2, 2), (0.5, 1))
    stock = {0.5: 2, 0.2: 2, 0.1: 1, 2.0: 1}
    for answer in found.answers:
        assert all(answer.shims.count(size) <= stock[size] for size in answer.shims)


# --- through the command ---


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    try:
        code = main(["locate", *words])
    except SystemExit as stop:
        code = int(str(stop.code))
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def shop_file(tmp_path: Path) -> Path:
    path = tmp_path / "shop.toml"
    path.write_text(
        'units = "in"\n[[inventory]]\nmodel = "slide_stop"\ncount = 2\nwith = { notch = "1/8", travel = 2 }\n'
        '[[inventory]]\nmodel = "stop_block"\ncount = 4\n'
        + "".join(
            f'[[inventory]]\nmodel = "shim"\ncount = 1\nwith = {{ thickness = {thou / 1000} }}\n'
            for thou in (1, 2, 4, 8, 16, 32, 64)
        ),
        encoding="utf-8",
    )
    return path


def test_inches_on_an_inch_table(capsys: pytest.CaptureFixture[str], shop_file: Path) -> None:
    code, out, err = run(capsys, "17-3/8 in", "--from", "A1.x", "--units", "in", "--inventory", str(shop_file))
    assert (code, err) == (0, 'for a table "2/(3/4) 96x48"; --table or --scene for another one\n')
    assert out.startswith("17-3/8 in from the middle of hole A1, along +X\n")
    assert "ON THE MARK" in out
    assert " mm" not in out
    code, out, _ = run(capsys, "1.2345", "--from", "C2.x", "--units", "in", "--inventory", str(shop_file), "--json")
    data = json.loads(out)
    assert data["schema"] == "fixture3d.locate/1"
    assert data["wanted"] == pytest.approx(1.2345 * 25.4)
    assert abs(data["answers"][0]["error"]) <= 0.0005 * 25.4
    errors = [abs(row["error"]) for row in data["answers"]]
    assert errors == sorted(errors)


def test_an_inch_distance_on_a_metric_table(capsys: pytest.CaptureFixture[str], shop_file: Path) -> None:
    words = ["17-3/8 in", "--from", "A1.x", "--table", "50/16 2000x1000", "--inventory", str(shop_file)]
    code, out, err = run(capsys, *words)
    assert (code, err) == (0, "")
    assert out.startswith("17-3/8 in = 441.325 mm from the middle of hole A1, along +X\n")
    again = run(capsys, *words)
    assert again == (code, out, err)


def test_the_first_answer_can_be_pasted(capsys: pytest.CaptureFixture[str], shop_file: Path) -> None:
    _, out, _ = run(capsys, "333.3", "--from", "B3.y", "--table", "50/16 1000x1000", "--inventory", str(shop_file))
    pasted = out.split("The first of them in a scene\n")[1].split("\n\nNot looked at")[0]
    job = resolve(loads('format = 1\ntable = "50/16 1000x1000"\n' + pasted), SHOP)
    seat = job.seats["NEW"]
    first = next(line for line in out.splitlines() if line.startswith("   1  "))
    error = 0.0 if first[6:].startswith("exact") else float(first[6:].split()[0]) * (1 if "far" in first else -1)
    faces = [float(pad.at[1]) for pad in placed_pads(seat) if abs(float(pad.normal[1])) > 0.999]
    assert min(abs(y - 100.0 - 333.3 - error) for y in faces) <= 0.0101


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nan", "--from", "A1.x"], 'the distance: "nan" is not a length'),
        (["1e99 mm", "--from", "A1.x"], "is not a length"),
        (["1/0", "--from", "A1.x"], "divides by zero"),
        (["999999 m", "--from", "A1.x"], "more than 30 m"),
        (["0", "--from", "A1.z"], "expected more than 0"),
        (["100", "--from", "A1"], "expected A1.x along the rows, or A1.y"),
        (["100", "--from", "ZZ9.x"], 'nearest: "Z9"'),
        (["100", "--from", "S1.frnt", "--scene", "kayak_rack"], 'nearest: "front"'),
        (["100", "--from", "S1", "--scene", "kayak_rack"], "S1 has 5 faces to measure from"),
        (["-5", "--from", "S1.front", "--scene", "kayak_rack"], "it counts the way that the S1.front looks"),
        (["100", "--from", "V1.vee left", "--scene", "kayak_rack"], "holes do not follow each other at even steps"),
        (["100", "--from", "V1.left", "--scene", "kayak_rack", "--table", "50/16"], "expected no --table"),
        (["100", "--from", "A1.x", "--table", "50/60"], "the bore must be more than 0 and less than the pitch"),
        (["100", "--from", "A1.x", "--shims", "99"], "nearest: 5"),
        (["100", "--from", "A1.x", "--within", "0"], "--within 0 mm: expected more than 0"),
        (["100", "--from", "A1.x", "--list", "0"], "--list 0"),
        (["100", "--from", "A1.x", "--inventory", "nothing.toml"], "there is no such file"),
        (["100"], "needs --from"),
        (["nosuch"], "there is no such file"),
        (["x" * 4000, "--from", "A1.x"], "too long for a length"),
    ],
)
def test_bad_input_in_one_line(capsys: pytest.CaptureFixture[str], words: list[str], said: str) -> None:
    code, out, err = run(capsys, *words)
    lines = [line for line in err.splitlines() if not line.startswith("for a table")]
    assert (code, out, len(lines)) == (2, "", 1), err
    assert said in lines[0]
    assert len(lines[0]) < 400


def test_distances_that_no_table_has_are_answered(capsys: pytest.CaptureFixture[str]) -> None:
    for distance, size in (("-3", "-3 mm"), ("3 ft 99 in", "3429 mm")):
        code, out, _ = run(capsys, distance, "--from", "A1.x")
        assert code == 1
        assert size in out.splitlines()[0]
        assert "NOTHING WITHIN 0.50 mm; the nearest" in out
        assert "what lies beyond the table: faces without shims stand from -88 mm to 2038 mm" in out


def test_a_wrong_inventory_is_told_by_its_lines(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text('[[inventory]]\nmodel = "stop_blok"\ncount = 2\n', encoding="utf-8")
    code, out, err = run(capsys, "100", "--from", "A1.x", "--table", "50/16", "--inventory", str(file))
    assert (code, out) == (2, "")
    assert f'{file}:2: inventory 1: model "stop_blok" is not known; nearest: "stop_block"' in err
    file.write_text('[[inventory]]\nmodel = "stop_block"\ncout = 2\n', encoding="utf-8")
    code, out, err = run(capsys, "100", "--from", "A1.x", "--table", "50/16", "--inventory", str(file))
    assert (code, out) == (2, "")
    assert f"{file}:" in err
    assert "count" in err
    file.write_text('units = "mm"\n', encoding="utf-8")
    code, _, err = run(capsys, "100", "--from", "A1.x", "--table", "50/16", "--inventory", str(file))
    assert (code, err.count("\n")) == (2, 1)
    assert "it lists no blocks that the shop owns" in err


def test_nothing_heavy_is_loaded() -> None:
    code = (
        "import sys; from fixture3d.cli import main; main(['locate', '400', '--from', 'A1.x']); "
        "sys.exit(not {'cadquery', 'OCP', 'numba', 'scipy', 'shapely', 'trimesh', 'pyvista'}.isdisjoint(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parent.parent
    )
    assert done.returncode == 0, done.stderr


# --- which stops of a scene are on position ---


def position_scene(gap: float, notch: int, **more: Any) -> dict[str, Any]:
    """A bar along Y with its right side at x = 120, less ``gap``, and a slide stop to its right that looks back."""
    return {
        "format": 1,
        "table": "50/16 800x600",
        "inventory": [{"model": "shim", "count": 2, "with": {"thickness": 0.5}}, *BLOCKS[1:3]],
        "weldment": {"hole": "A1", "lift": 25},
        "member": [{"name": "bar", "stock": "BAR 40x40", "from": [100 - gap, 50, 0], "to": [100 - gap, 350, 0]}],
        "place": [
            {
                "name": "S1",
                "model": "slide_stop",
                "hole": "F4",
                "turn": 180,
                "notch": notch,
                "with": {"notch": 3.0},
                **more,
            }
        ],
    }


def _positions(data: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    path = tmp_path / "scene.toml"
    path.write_text(tables_text(data), encoding="utf-8")
    code, out, _ = run(capsys, str(path), "--json")
    faces = {(row["block"], row["face"]): row for row in json.loads(out)["faces"]}
    return code, faces[("S1", "right")]


def test_stops_that_miss_and_what_brings_them_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # The nose of S1 stands at 250 - 90 - 3 per notch: 121 at notch 13, 1 mm from the bar's side at 120.
    code, row = _positions(position_scene(0.0, 13), tmp_path, capsys)
    assert code == 1
    assert (row["piece"], row["on"], row["gap"]) == ("bar", False, pytest.approx(1.0))
    assert row["mend"] == {"notch": 13, "shims": [0.5, 0.5], "error": 0.0}
    mended = position_scene(0.0, 13, shims=[{"pad": "right", "by": row["mend"]["shims"]}])
    code, row = _positions(mended, tmp_path, capsys)
    assert (code, row["on"], row["gap"], row["mend"]) == (0, True, 0.0, None)
    # 2 mm inside the work: a notch back and shims in front come within what there is.
    code, row = _positions(position_scene(0.0, 14), tmp_path, capsys)
    assert (code, row["gap"]) == (1, pytest.approx(-2.0))
    assert row["mend"] == {"notch": 13, "shims": [0.5, 0.5], "error": 0.0}
    # 0.015 mm is touching, 0.03 mm is not: no shim and no notch is so fine.
    assert _positions(position_scene(-0.985, 13), tmp_path, capsys)[1]["on"] is True
    row = _positions(position_scene(-0.97, 13), tmp_path, capsys)[1]
    assert (row["on"], row["gap"], row["mend"]) == (False, pytest.approx(0.03), None)


def test_of_the_demo_every_stop_is_on_position(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "kayak_rack")
    assert (code, err) == (0, "")
    assert out.startswith("22 of 22 faces near the work are on position - Kayak rack, end frame\n")


def test_a_block_that_misses_the_work_altogether_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = position_scene(0.0, 13)
    scene["place"].append({"name": "S9", "model": "stop_block", "hole": "L9"})
    path = tmp_path / "scene.toml"
    path.write_text(tables_text(scene), encoding="utf-8")
    assert run(capsys, str(path))[1].count("\nNo face near the work: S9\n") == 1
    assert json.loads(run(capsys, str(path), "--json")[1])["away"] == ["S9"]


def test_a_bare_fraction_is_not_taken_for_millimetres(capsys: pytest.CaptureFixture[str]) -> None:
    for typed in ("17-3/8", "3/4", "17 3/8"):
        code, out, err = run(capsys, typed, "--from", "A1.x", "--table", "50/16 2000x1000")
        assert (code, out) == (2, "")
        assert err == (
            f'the distance {typed} has no unit, and the table is in mm; expected "{typed} in", or mm as a decimal '
            "number\n"
        )


def test_bare_tables() -> None:
    assert bare_table(None, "in").table.pitch == (50.8, 50.8)
    assert bare_table("100/28", "mm").table.columns == 20
