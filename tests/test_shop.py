"""The inventory of the shop: its file, what is counted, what does instead of what is lacking, measured sizes."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest

from fixture3d.checks import substitute_places
from fixture3d.checks.accuracy_answers import setup_of
from fixture3d.checks.locating import CHECK as LOCATING_CHECK
from fixture3d.checks.seating import CHECK
from fixture3d.checks.substitutes import Shelf
from fixture3d.cli import main
from fixture3d.engine import assemble, check, load
from fixture3d.errors import SceneError
from fixture3d.job import Job
from fixture3d.job.inventory import pick_list, shortages, small_list
from fixture3d.job.on_position import on_position
from fixture3d.job.owned import allot
from fixture3d.job.true_sizes import measured_lines, raised, true_faces, unsure_blocks
from fixture3d.scene import Scene
from fixture3d.scene.schema import Clamp
from fixture3d.scene.write import toml_text
from fixture3d.sheet.data import sheet_data
from fixture3d.tolerance import ACCURACY

POST: dict[str, Any] = {
    "format": 1,
    "table": "50/16 2000x1000",
    "weldment": {"hole": "E4", "offset": [40, 20], "lift": 70, "welds": "none"},
    "member": [{"name": "post", "stock": "SHS 40x40x3", "from": [0, 0, 0], "to": [0, 400, 0]}],
}
PLACES: dict[str, dict[str, Any]] = {
    "S1": {"hole": "E6", "turn": 90, "with": {"height": 75}},
    "S2": {"hole": "E10", "turn": 90, "with": {"height": 75}},
    "S3": {"hole": "F4", "turn": 180, "with": {"height": 75}},
    "R1": {"hole": "E5", "with": {"height": 50, "depth": 40}},
    "R2": {"hole": "E12", "with": {"height": 50, "depth": 40}},
}
LOW = {"model": "stop_block", "with": {"height": 50, "depth": 40}}
HIGH = {"model": "stop_block", "with": {"height": 75}}
LOWER = {"model": "stop_block", "with": {"height": 45, "depth": 40}}


def shims(thickness: float, count: int) -> dict[str, Any]:
    return {"model": "shim", "with": {"thickness": thickness}, "count": count}


def post(inventory: list[dict[str, Any]], **changed: dict[str, Any]) -> Scene:
    """A post on two risers against three stops; some places changed."""
    places = [{"name": name, "model": "stop_block", **keys, **changed.get(name, {})} for name, keys in PLACES.items()]
    return Scene.from_dict({**POST, "place": places, "inventory": inventory})


def written(folder: Path, scene: str, shop: str, name: str = "shop.toml") -> Path:
    (folder / name).write_text(shop, encoding="utf-8")
    (folder / "scene.toml").write_text(scene, encoding="utf-8")
    return folder / "scene.toml"


SCENE = 'format = 1\nshop = "shop.toml"\ntable = "50/16 1000x600"\n'
SCENE += '[[place]]\nname = "S1"\nmodel = "stop_block"\nhole = "C4"\n'
ONE = '[[inventory]]\nmodel = "stop_block"\ncount = 1\n'


# --- the file of the shop ---------------------------------------------------------------------------------------------


def test_the_lines_of_the_scene_and_of_the_shop_add_up(tmp_path: Path) -> None:
    own = '[[place]]\nname = "S2"\nmodel = "stop_block"\nhole = "C8"\n'
    job = assemble(load(written(tmp_path, SCENE + own, ONE)))
    assert [(pick.count, pick.owned, pick.short) for pick in pick_list(job)] == [(2, 1, 1)]
    job = assemble(load(written(tmp_path, SCENE + own + ONE, ONE)))
    assert [(pick.count, pick.owned, pick.short) for pick in pick_list(job)] == [(2, 2, 0)]
    assert tmp_path / "shop.toml" in job.scene.files


def test_the_shop_has_units_of_its_own(tmp_path: Path) -> None:
    scene = SCENE + "with = { height = 76.2 }\n"
    inch = 'units = "in"\n[[inventory]]\nmodel = "stop_block"\ncount = 1\nwith = { height = 3 }\n'
    assert not list(shortages(assemble(load(written(tmp_path, scene, inch)))))
    assert len(list(shortages(assemble(load(written(tmp_path, scene, inch.replace("= 3 }", "= 4 }"))))))) == 1


def test_a_shop_that_is_named_goes_before_that_of_the_scene(tmp_path: Path) -> None:
    file = written(tmp_path, SCENE, ONE.replace("count = 1", "count = 0"))
    other = tmp_path / "other.toml"
    other.write_text(ONE, encoding="utf-8")
    assert len(list(shortages(assemble(load(file))))) == 1
    assert not list(shortages(assemble(load(file, shop=other))))
    # A scene that is its own shop is not counted twice.
    file.write_text(SCENE + ONE, encoding="utf-8")
    assert [pick.owned for pick in pick_list(assemble(load(file, shop=file)))] == [1]


@pytest.mark.parametrize(
    ("shop", "says"),
    [
        ('model = "stop_blok"\ncount = 2\n', '/shop.toml:2: inventory 1: model "stop_blok" is not known; nearest: '),
        ('model = "stop_block"\ncout = 2\n', 'shop.toml:3: inventory 1: unknown key "cout"; nearest: "count"'),
        ('model = "stop_block"\ncount = 2\nwith = { hight = 3 }\n', "shop.toml:2: inventory 1: "),
        ("count = 2\n", 'key "model" is missing; expected model = "stop_block", or small = "dowel"'),
        ('small = "dowl"\ncount = 2\n', 'small: "dowl" is not known here'),
        ('small = "dowel"\ncount = 2\nmark = "B"\n', 'mark with small = "dowel"; expected diameter and count only'),
        ('model = "riser"\ncount = 2\ndiameter = 3\n', "diameter of a block; expected it under with"),
        ('model = "riser"\ncount = 2\nmark = "B7"\n', 'the mark "B7" on 2 blocks; expected count = 1'),
        (2 * '[[inventory]]\nmodel = "riser"\ncount = 1\nmark = "B7"\n',
         'shop.toml:8: inventory 2: the mark "B7" is on another block, line 4'),
        ('model = "riser"\ncount = 1\nmeasured = { heigth = 50 }\n',
         'shop.toml:4: inventory 1: measured: riser has no length "heigth"; nearest: "height"'),
        ('model = "riser"\ncount = 1\nmeasured = { height = 53 }\n',
         "measured: height = 53 mm where the block is of 50 mm; expected at most 1 mm off"),
        ('model = "riser"\ncount = 1\nmeasured = { height = "x" }\n', "measured: height: "),
        ('title = "none"\n[x]', 'unknown key "x"'),
        ('title = "none"\n', "it lists no blocks that the shop owns"),
        ('shop = "b.toml"\n' + ONE, 'shop.toml:1: a file of the shop that names another one; expected that one itself'),
        ("[[inventory]\n", "shop.toml:1: not valid TOML"),
        ("", "shop.toml: is empty"),
    ],
)  # fmt: skip
def test_faults_of_the_shop_point_at_its_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], shop: str, says: str
) -> None:
    file = written(tmp_path, SCENE, f"[[inventory]]\n{shop}" if shop[:5] in ("model", "small", "count") else shop)
    code = main(["check", str(file)])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert says in err
    assert "shop.toml" in err
    # The same where the file is named on the command line.
    assert main(["locate", "100", "--from", "A1.x", "--table", "50/16", "--shop", str(tmp_path / "shop.toml")]) == 2
    assert says in capsys.readouterr().err


def test_a_shop_that_is_not_there_is_told_at_the_key(tmp_path: Path) -> None:
    file = written(tmp_path, SCENE.replace('"shop.toml"', '"shap.toml"'), ONE)
    with pytest.raises(
        SceneError, match=r'scene.toml:2: shop: "shap.toml": there is no such file; nearest: ".*shop.toml"'
    ):
        assemble(load(file))


# --- what is counted --------------------------------------------------------------------------------------------------


def test_loose_dowels_bolts_and_shims_are_counted_where_they_are_listed() -> None:
    laid = {"R1": {"shims": [{"pad": "seat", "by": [0.5, 0.5]}], "bolt": True}}
    job = assemble(post([{**LOW, "count": 9}], **laid))
    assert [(one.what, one.count, one.owned) for one in small_list(job)] == [
        ("dowels 16 mm", 9, None),
        ("hold-down bolts", 1, None),
        ("shims 0.50 mm", 2, None),
    ]
    listed: list[dict[str, Any]] = [{"small": "dowel", "count": 8}, {"small": "dowel", "diameter": 12, "count": 50}]
    listed += [{"small": "bolt", "count": 3}, shims(0.5, 1)]
    job = assemble(post([{**LOW, "count": 9}, {**HIGH, "count": 9}, *listed], **laid))
    assert [(one.owned, one.short) for one in small_list(job)] == [(8, 1), (3, 0), (1, 1)]
    assert [(short.what, short.needed, short.owned) for short in shortages(job)] == [
        ("dowels 16 mm", 9, 8),
        ("shims 0.50 mm", 2, 1),
    ]
    assert [(row["owned"], row["short"]) for row in sheet_data(job)["small"]] == [(8, 1), (3, 0), (1, 1)]


def test_shims_that_stand_as_blocks_are_not_there_to_be_laid() -> None:
    listed = [shims(0.5, 2), {**LOW, "count": 2}, {**HIGH, "count": 3}]
    stands = {"name": "P", "model": "shim", "hole": "S4", "with": {"thickness": 0.5}}
    scene = post(listed, R1={"shims": [{"pad": "seat", "by": [0.5, 0.5]}]})
    assert not list(shortages(assemble(scene)))
    data = scene.model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    more = Scene.from_dict({**data, "place": [*data["place"], stands]})
    assert [(s.what, s.needed, s.owned) for s in shortages(assemble(more))] == [("shims 0.50 mm", 2, 1)]


def test_a_clamp_that_reaches_by_itself_is_the_clamp_of_the_inventory() -> None:
    data = post([]).model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    clamp = {"name": "K", "model": "toggle_clamp", "hole": "H8", "presses": "post", "at": 200}

    def short(line: dict[str, Any], **keys: Any) -> bool:
        scene = Scene.from_dict({**data, "clamp": [{**clamp, **keys}], "inventory": [line]})
        return "toggle_clamp" in {one.model for one in shortages(assemble(scene))}

    assert not short({"model": "toggle_clamp", "count": 1})
    key = "reach"
    reach = float(getattr(assemble(Scene.from_dict({**data, "clamp": [clamp]})).seats["K"].part, key))
    assert not short({"model": "toggle_clamp", "count": 1, "with": {"reach": reach}})
    assert short({"model": "toggle_clamp", "count": 1, "with": {"reach": reach + 5}})
    assert short({"model": "toggle_clamp", "count": 1}, **{"with": {"reach": reach}})
    assert short({"model": "toggle_clamp", "count": 0})


def test_lines_are_given_out_once() -> None:
    """Of two clamps of one open line one is short, whatever their reach."""
    data = post([]).model_dump(by_alias=True, exclude_unset=True, exclude_none=True)
    pair = [
        {"name": f"K{k}", "model": "toggle_clamp", "hole": hole, "presses": "post", "at": 120 + 130 * k}
        for k, hole in enumerate(["H7", "I10"])
    ]
    scene = Scene.from_dict({**data, "clamp": pair, "inventory": [{"model": "toggle_clamp", "count": 1}]})
    picks = [pick for pick in pick_list(assemble(scene)) if pick.model == "toggle_clamp"]
    assert sorted((pick.count, pick.owned, pick.short) for pick in picks) == [(1, 1, 0), (1, 1, 1)]


# --- what does in place of what is lacking ----------------------------------------------------------------------------


def applied(scene: Scene, job: Job) -> tuple[Scene, list[str]]:
    """The scene with all that the shelf offers, and which places changed."""
    shelf, names = Shelf(job), []
    for short in shortages(job):
        for one in shelf.instead(short, [*short.names, *(n for n in short.all_names if n not in short.names)]).instead:
            group = "clamps" if isinstance(one.place, Clamp) else "places"
            items = tuple(one.place if old.name == one.place.name else old for old in getattr(scene, group))
            scene = scene.model_copy(update={group: items})
            names.append(one.place.name)
    return scene, names


@pytest.mark.parametrize(
    ("inventory", "changed", "says"),
    [
        # Higher by 5 mm: it touches the side of the post all the same.
        ([{**LOW, "count": 2}, {**HIGH, "count": 2}, {"model": "stop_block", "with": {"height": 80}, "count": 1}],
         ["S3"], "use the owned stop_block (height 80 mm), in the place of S3: tried"),
        # Lower by 5 mm: two shims under it.
        ([{**LOW, "count": 1}, {**HIGH, "count": 3}, {**LOWER, "count": 1}, shims(3, 1), shims(2, 2)],
         ["R2"], 'stop_block (depth 40 mm, height 45 mm), shims = [{ pad = "seat", by = [3, 2] }], in the place of R2'),
        # Another model, another hole and turn, and a notch.
        ([{**LOW, "count": 2}, {**HIGH, "count": 2}, {"model": "slide_stop", "with": {"height": 75}, "count": 1}],
         ["S3"], "use the owned slide_stop (height 75 mm), hole "),
        # Two at a time.
        ([{**LOW, "count": 2}, {**HIGH, "count": 1}, {"model": "stop_block", "with": {"height": 80}, "count": 2}],
         ["S2", "S3"], "in the place of S2 and S3"),
    ],
)  # fmt: skip
def test_an_owned_block_that_does_is_named_and_does(
    inventory: list[dict[str, Any]], changed: list[str], says: str
) -> None:
    scene = post(inventory)
    job = assemble(scene)
    found = [f for f in CHECK.run(job, lambda *_: None).findings if f.rule == "short-of-blocks"]
    assert len(found) == 1
    assert says in found[0].remedy
    assert found[0].remedy.endswith("count them in the inventory")
    after, names = applied(scene, job)
    assert names == changed
    before = {(f.rule, f.subjects) for f in check(scene).findings}
    then = {
        (f.rule, f.subjects)
        for f in check(Scene.from_dict(after.model_dump(by_alias=True, exclude_none=True))).findings
    }
    assert then == {one for one in before if one[0] != "short-of-blocks"}


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ([], "nothing on the shelf stands as it does; make or borrow 1 more"),
        # Nobody can lower a block.
        ([{"model": "stop_block", "with": {"height": 60, "depth": 40}, "count": 3}],
         "nothing on the shelf does it (none has its faces there); nearest in size: stop_block (depth 40 mm, height"),
        # It lacks 5 mm, and there are no shims.
        ([{**LOWER, "count": 3}], "nearest in size: stop_block (depth 40 mm, height 45 mm); make or borrow 1 more"),
    ],
)  # fmt: skip
def test_where_nothing_does_it_that_is_told(more: list[dict[str, Any]], says: str) -> None:
    job = assemble(post([{**LOW, "count": 1}, {**HIGH, "count": 3}, *more]))
    found = [f for f in CHECK.run(job, lambda *_: None).findings if f.rule == "short-of-blocks"]
    assert says in found[0].remedy


def test_a_substitute_that_runs_into_something_is_not_named() -> None:
    """A stop that is 200 mm long lies where the next one stands."""
    long = {"model": "stop_block", "with": {"height": 75, "length": 200}, "count": 1}
    free = [{**LOW, "count": 2}, {**HIGH, "count": 2}, long]
    near = {"S3": {"hole": "E8", "turn": 90}}
    job = assemble(post(free, **near))
    names = [one.place.name for s in shortages(job) for one in Shelf(job).instead(s, ["S3"]).instead]
    apart = assemble(post(free))
    assert names == []
    assert [one.place.name for s in shortages(apart) for one in Shelf(apart).instead(s, ["S3"]).instead] == ["S3"]


def test_other_shims_that_make_up_the_same_are_named() -> None:
    owned = [shims(1, 1), shims(0.5, 2), shims(0.3, 3)]
    blocks = [{**LOW, "count": 2}, {**HIGH, "count": 3}]
    laid = {name: {"shims": [{"pad": "seat", "by": [1]}]} for name in ("R1", "R2")}
    job = assemble(post([*blocks, *owned], **laid))
    found = [f for f in CHECK.run(job, lambda *_: None).findings if f.rule == "short-of-blocks"]
    assert [f.message for f in found] == ["the setup takes more shims 1.00 mm than the inventory lists"]
    assert 'at R1 shims = [{ pad = "seat", by = [0.5, 0.5] }]; or make or borrow 1 more' in found[0].remedy
    less = assemble(post([*blocks, *owned[::2]], **laid))
    found = [f for f in CHECK.run(less, lambda *_: None).findings if f.rule == "short-of-blocks"]
    assert found[0].remedy == "make or borrow 1 more, and count them in the inventory"


def test_allotted_blocks_and_the_shelf_are_the_inventory() -> None:
    job = assemble(post([{**LOW, "count": 5}, {**HIGH, "count": 2}]))
    given = allot(job, job.seats["S1"].part.pattern)
    assert given.left == (3, 0)
    assert sorted(given.of) == ["R1", "R2", "S1", "S2"]


# --- marks and measured sizes -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ({"mark": "B8"}, 'place "R2": mark: no block of the inventory has the mark "B8"; expected one of "B7"'),
        ({"mark": "B7", "with": {"height": 55}}, '"B7" is on a stop_block (depth 40 mm), and a stop_block (height 55'),
        ({"mark": "B7", "model": "riser", "with": {}}, '"B7" is on a stop_block (depth 40 mm), and a riser is asked'),
    ],
)  # fmt: skip
def test_a_mark_that_cannot_be_is_an_error(place: dict[str, Any], says: str) -> None:
    with pytest.raises(SceneError, match='place "R2"') as error:
        assemble(post([{**LOW, "count": 1, "mark": "B7"}], R2=place))
    assert says in str(error.value)


def test_one_block_cannot_stand_twice_in_a_setup() -> None:
    owned = [{**LOW, "count": 1, "mark": "B7"}]
    with pytest.raises(SceneError, match='place "R2": mark: "B7" stands at R1 already; expected another mark'):
        assemble(post(owned, R1={"mark": "B7"}, R2={"mark": "B7"}))
    stages = [{"name": "one", "without": ["R1"]}, {"name": "two", "without": ["R2"]}]
    data = post(owned, R1={"mark": "B7"}, R2={"mark": "B7"}).model_dump(by_alias=True, exclude_none=True)
    scene = Scene.from_dict({**data, "stage": stages})
    assert all(assemble(scene, stage=name).seats for name in ("one", "two"))
    # Without an inventory a mark is only a name.
    assert assemble(post([], R1={"mark": "B9"})).seats["R1"].place.mark == "B9"


def test_faces_go_as_far_as_the_lengths_that_were_measured() -> None:
    """A block of 50.04: its top stands 0.04 high unless it is down; of what runs from face to face each has half."""
    line = {**LOW, "count": 1, "mark": "B7", "measured": {"height": 50.04, "depth": "39.9 mm"}}
    job = assemble(post([line, {**LOW, "count": 5}], R1={"mark": "B7"}, R2={}))
    lines = measured_lines(job)
    faces = true_faces(lines, job.seats["R1"])
    half = {"front": (-0.05, False), "back": (-0.05, False)}
    assert {name: (round(one.off, 6), one.sure) for name, one in faces.items()} == {"top": (0.04, True), **half}
    assert true_faces(lines, job.seats["R2"]) == {}
    assert unsure_blocks(job) == ["R2"]
    over = assemble(post([line], R1={"mark": "B7", "face": "top"}))
    turned = true_faces(lines, over.seats["R1"])
    assert {k: round(one.off, 6) for k, one in turned.items()} == {"front": -0.05, "back": -0.05}
    alike = assemble(post([{**LOW, "count": 2, "measured": {"height": 50.04}}]))
    assert [round(true_faces(measured_lines(alike), alike.seats[n])["top"].off, 6) for n in ("R1", "R2")] == [
        0.04,
        0.04,
    ]
    assert unsure_blocks(alike) == []


def test_a_measured_notch_counts_for_every_tooth() -> None:
    line = {"model": "slide_stop", "count": 1, "with": {"height": 75}, "measured": {"notch": 3.01}}
    job = assemble(post([line], S3={"model": "slide_stop", "hole": "E1", "turn": 90, "notch": 5}))
    assert round(true_faces(measured_lines(job), job.seats["S3"])["right"].off, 6) == 0.05


def test_what_stands_on_a_measured_block_stands_higher() -> None:
    riser = {"model": "riser", "count": 1, "measured": {"height": 50.2}}
    data = post([riser]).model_dump(by_alias=True, exclude_none=True)
    stack = [
        {"name": "U", "model": "riser", "hole": "R5"},
        {"name": "V", "model": "stop_block", "on": "U", "socket": "1", "with": {"height": 50, "depth": 40}},
    ]
    job = assemble(Scene.from_dict({**data, "place": [*data["place"], *stack]}))
    off = raised(measured_lines(job), job.seats["U"], job.seats["V"])
    assert off is not None
    assert round(off, 6) == 0.2
    assert raised((), job.seats["U"], job.seats["V"]) is None


def test_measured_blocks_move_the_middle_of_a_figure_and_narrow_it() -> None:
    """A known offset in place of a tolerance."""
    one = {**LOW, "count": 1, "mark": "B7", "measured": {"height": 50.3}}
    plain = post([{**LOW, "count": 2}])
    marked = post([one, {**LOW, "count": 1}], R1={"mark": "B7"})
    jobs = [assemble(scene) for scene in (plain, marked)]
    rows = [setup_of(job).contributors for job in jobs]
    tops = [[c for c in row if c.body == "R1" and c.name.startswith("top of R1")] for row in rows]
    assert [(c.name, c.limit, c.bias) for c in tops[0]] == [("top of R1", ACCURACY.block, 0.0)]
    assert [(c.name, c.limit, round(c.bias, 6)) for c in tops[1]] == [("top of R1, measured", ACCURACY.gauged, 0.3)]


def test_locate_takes_true_sizes(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A riser of 50.3 and a shim of 0.7 make up 51.0; nominal ones would be told as 50.7."""
    file = tmp_path / "shop.toml"
    text = '[[inventory]]\nmodel = "riser"\ncount = 1\nmark = "R9"\nmeasured = { height = 50.3 }\n'
    text += '[[inventory]]\nmodel = "shim"\ncount = 1\nwith = { thickness = 0.7 }\n'
    file.write_text(text, encoding="utf-8")
    assert main(["locate", "51", "--from", "A1.z", "--table", "50/16", "--shop", str(file)]) == 0
    out = capsys.readouterr().out
    assert "riser marked R9" in out
    assert 'mark = "R9"' in out
    assert main(["locate", "51", "--from", "A1.z", "--table", "50/16", "--shop", str(file), "--json"]) == 0
    best = json.loads(capsys.readouterr().out)["answers"][0]
    assert (best["error"], best["shims"], best["block"]) == (0.0, [0.7], {"model": "riser", "with": {}, "mark": "R9"})


def test_on_position_and_from_a_face_are_as_measured(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    one = {**LOW, "count": 1, "mark": "B7", "measured": {"height": 50.1}}
    scene = post([one, {**LOW, "count": 1}], R1={"mark": "B7"})
    rows = {(row.item, row.pad): row for row in on_position(assemble(scene), {})}
    assert rows["R1", "top"].measured
    assert (rows["R1", "top"].on, round(rows["R1", "top"].gap, 6)) == (False, -0.1)
    assert (rows["R2", "top"].on, rows["R2", "top"].measured) == (True, False)
    file = tmp_path / "scene.toml"
    file.write_text(toml_text(scene), encoding="utf-8")
    assert main(["locate", str(file)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "R1 top: 0.10 mm too far, into post, as measured; nothing on it can go back so far; a lower block" in said
    assert main(["locate", "200", "--from", "R1.top", "--scene", str(file), "--json"]) in (0, 1)
    assert json.loads(capsys.readouterr().out)["from"]["at"][2] == pytest.approx(50.1)


def test_a_shim_lies_in_one_place_only() -> None:
    """Two faces want 2 mm each, and there is one shim of it."""
    job = assemble(post([{**LOW, "count": 9}, {**HIGH, "count": 9}]))
    pads = [pad for pad in job.pads() if pad.item == "S1" and pad.pad.name in ("front", "back")]
    assert substitute_places._laid(pads, (2.0, 2.0), 0.0, {2.0: 1}) is None
    laid = substitute_places._laid(pads, (2.0, 2.0), 3.0, {2.0: 2, 3.0: 1})
    assert laid is not None
    assert [(shim.pad, shim.by) for shim in laid] == [("seat", (3.0,)), ("front", (2.0,)), ("back", (2.0,))]


# --- mends ------------------------------------------------------------------------------------------------------------


def test_stops_of_the_shelf_come_before_others() -> None:
    """The post can slide along itself; a slide stop of 80 is on the shelf, or it is not."""
    shelf: list[dict[str, Any]] = [{**LOW, "count": 2}, {**HIGH, "count": 2}]
    slide = {"model": "slide_stop", "with": {"height": 80}, "mark": "T4", "count": 1}

    def mend(inventory: list[dict[str, Any]]) -> str:
        scene = post(inventory)
        scene = scene.model_copy(update={"places": tuple(place for place in scene.places if place.name != "S3")})
        job = assemble(scene)
        return next(f.remedy for f in LOCATING_CHECK.run(job, lambda *_: None).findings if f.rule == "piece-free")

    assert mend([]).startswith("one more block like S1 in hole ")
    assert mend([*shelf, slide]).startswith("an owned slide_stop marked T4 in hole ")
    assert "with = { height = 80 }" in mend([*shelf, slide])
    assert mend(shelf).startswith("one more block like S1 (the shop owns none that is free) in hole ")
    assert mend([*shelf, {**HIGH, "count": 1}]).startswith("an owned stop_block in hole ")


# --- hostile files ----------------------------------------------------------------------------------------------------

GOOD = """\
units = "mm"
title = "Our shop"

[[inventory]]
model = "stop_block"
with = { height = 75 }
mark = "B7"
measured = { height = 75.03 }
count = 1

[[inventory]]
small = "dowel"
diameter = 16
count = 24
"""


def test_no_damage_of_the_file_is_a_fault_of_the_program(tmp_path: Path) -> None:
    """Cut, doubled, swapped and overwritten anywhere: one line each with its file, or as good as before."""
    rng = random.Random(7)
    words = [
        '"',
        "[[",
        "]]",
        "{",
        "}",
        "=",
        "\n",
        "nan",
        "-1",
        "1e999",
        '"x"',
        "true",
        "\u202e",
        "{ height = [1] }",
        "''",
    ]
    told = 0
    for _ in range(150):
        text = GOOD
        for _ in range(rng.choice((1, 1, 2, 4))):
            at, far = rng.randrange(len(text)), rng.randrange(1, 30)
            middle = rng.choice(["", text[at : at + far] * 2, rng.choice(words), rng.choice(words)])
            text = text[:at] + middle + text[at + far :]
        file = written(tmp_path, SCENE, text)
        try:
            list(shortages(assemble(load(file))))
        except SceneError as error:
            told += 1
            for line in str(error).splitlines():
                assert "shop.toml" in line
                assert "Traceback" not in line
    assert told > 75
