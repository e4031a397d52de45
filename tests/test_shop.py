"""The inventory of the shop: its file, what is counted, what does instead of what is lacking, measured sizes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fixture3d.checks.seating import CHECK
from fixture3d.checks.substitutes import Shelf
from fixture3d.cli import main
from fixture3d.engine import assemble, check, load
from fixture3d.errors import SceneError
from fixture3d.job import Job
from fixture3d.job.inventory import pick_list, shortages, small_list
from fixture3d.job.owned import allot
from fixture3d.scene import Scene
from fixture3d.scene.schema import Clamp
from fixture3d.sheet.data import sheet_data

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
        ('model = "stop_blok"\ncount = 2\n', '/shop.toml:2: inventory 1: model "stop_blok" is not known; nearest: "stop'),
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
