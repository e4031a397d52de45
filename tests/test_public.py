"""The public contract, by nothing but ``import fixture3d``: what a script of the user's own may rely on."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fixture3d

DATA: dict[str, Any] = {
    "format": 1,
    "title": "Two stops",
    "table": {"pitch": 50, "bore": 16, "columns": 20, "rows": 12, "edge": 50, "thickness": 12},
    "place": [
        {"name": "S1", "model": "stop_block", "hole": "C4"},
        {"name": "S2", "model": "stop_block", "hole": "C9", "turn": 30, "pins": ["1", "2"]},
    ],
}


def test_the_public_names_are_these() -> None:
    assert set(fixture3d.__all__) >= {
        "BadSolid", "FixtureError", "Relation", "Report", "Scene", "SceneError", "__version__",
        "FoundWeld", "FoundWelds", "Located", "check", "dump", "find_welds", "load", "locate_piece", "relate",
        "way_out",
    }  # fmt: skip
    assert all(hasattr(fixture3d, name) for name in fixture3d.__all__)
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = fixture3d.no_such_name


def test_welds_and_ways_out_of_bare_solids() -> None:
    import cadquery as cq

    plate = cq.Workplane().box(100, 60, 6).translate((0, 0, 3))
    rib = cq.Workplane().box(80, 6, 40).translate((0, 0, 26))
    sides = [weld for weld in fixture3d.find_welds({"plate": plate, "rib": rib}) if weld.length > 50]
    assert [(weld.joins, weld.type, round(weld.length, 2)) for weld in sides] == [
        (("plate", "rib"), "fillet", 80.0)
    ] * 2
    assert fixture3d.way_out(rib, {"plate": plate}, (0, 0, 1)) == []
    assert fixture3d.way_out(rib, {"plate": plate}, (1, 0, 0)) == []  # a touching face never blocks sliding
    assert fixture3d.way_out(rib, {"plate": plate}, (0, 0, -1)) == ["plate"]


def test_importing_it_loads_nothing_heavy() -> None:
    heavy = "{'cadquery', 'OCP', 'trimesh', 'pyvista', 'numba', 'scipy', 'typst', 'manifold3d', 'pydantic'}"
    code = f"import fixture3d, sys; print(sorted({heavy} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"


def test_from_a_dictionary_to_a_report() -> None:
    scene = fixture3d.Scene.from_dict(DATA)
    report = fixture3d.check(scene)
    assert not report.ready
    found = report.to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert (found["schema"], found["units"], found["scene"]) == ("fixture3d.report/1", "mm", "Two stops")
    assert found["version"] == fixture3d.__version__
    assert (found["ok"], found["complete"]) == (False, False)  # no weld, so torch access is skipped
    (fault,) = found["findings"]
    assert (fault["check"], fault["rule"], fault["level"], fault["subjects"]) == (
        "seating",
        "pin-off-hole",
        "fail",
        ["S2"],
    )
    assert fault["measured"] == pytest.approx(100 * math.sin(math.radians(15)), abs=1e-6)
    assert fault["unit"] == "mm"
    assert fault["remedy"]
    seats = {seat["block"]: seat for seat in found["seats"]}
    assert seats["S1"]["holes"] == ["C4", "D4"]
    assert seats["S1"]["shift"] == pytest.approx((0.018 + 0.017) / 2, abs=1e-6)  # H7/g6 of 16, ISO 286-2
    for key in ("checks", "pairs", "welds", "pieces"):
        assert isinstance(found[key], list)
    assert "timing" not in found
    assert "timing" in report.to_dict(timing=True)


def test_a_wrong_dictionary_is_told_in_full() -> None:
    wrong = {**DATA, "place": [{"name": "S1", "model": "stop_block", "hole": "ZZ99"}, {"name": "S1", "trun": 3}]}
    with pytest.raises(fixture3d.SceneError) as caught:
        fixture3d.Scene.from_dict(wrong)
    assert isinstance(caught.value, fixture3d.FixtureError)
    assert len(caught.value.problems) >= 2
    assert '"turn"' in str(caught.value)


def test_dump_and_load_give_the_same_scene(tmp_path: Path) -> None:
    scene = fixture3d.Scene.from_dict(DATA)
    path = tmp_path / "two.toml"
    fixture3d.dump(scene, path)
    again = fixture3d.load(path)
    assert again == scene
    assert again.path == path
    assert fixture3d.check(again).to_dict() == fixture3d.check(scene).to_dict()
    with pytest.raises(fixture3d.FixtureError):
        fixture3d.dump(scene, path)  # nothing is overwritten without force
    fixture3d.dump(scene, path, force=True)


def test_a_shipped_scene_by_its_name() -> None:
    assert fixture3d.load("kayak_rack").title


def cadquery_box(at: tuple[float, float, float]) -> Any:
    import cadquery

    return cadquery.Workplane("XY").box(10, 10, 10).translate(at)


def trimesh_box(at: tuple[float, float, float]) -> Any:
    import trimesh

    box = trimesh.creation.box((10, 10, 10))
    box.apply_translation(at)
    return box


MAKERS = [(a, b) for a in (cadquery_box, trimesh_box) for b in (cadquery_box, trimesh_box)]


@pytest.mark.parametrize(("first", "second"), MAKERS)
def test_relate_takes_shapes_and_meshes_mixed(first: Any, second: Any) -> None:
    a = first((0, 0, 0))
    clear = fixture3d.relate(a, second((13, 0, 0)))
    assert (clear.kind, clear.depth, clear.volume) == ("clear", 0.0, 0.0)
    assert clear.gap == pytest.approx(3.0)
    assert fixture3d.relate(a, second((10, 4, 0))).kind == "touching"
    over = fixture3d.relate(a, second((9, 0, 0)))
    assert over.kind == "overlapping"
    assert over.depth == pytest.approx(1.0)
    assert over.volume == pytest.approx(100.0)
    assert over.way_out is not None
    assert list(over.way_out) == pytest.approx([1.0, 0.0, 0.0], abs=1e-6)  # how to move the second one out


def test_relate_has_its_own_contact_tolerance() -> None:
    a, b = trimesh_box((0, 0, 0)), trimesh_box((10.01, 0, 0))
    assert fixture3d.relate(a, b).kind == "touching"
    assert fixture3d.relate(a, b, contact=0.005).kind == "clear"


def test_relate_refuses_what_is_no_solid() -> None:
    import cadquery

    broken = trimesh_box((0, 0, 0))
    broken.update_faces([k > 0 for k in range(len(broken.faces))])
    with pytest.raises(fixture3d.BadSolid):
        fixture3d.relate(broken, trimesh_box((0, 0, 0)))
    with pytest.raises(fixture3d.BadSolid):
        fixture3d.relate(cadquery.Workplane("XY").rect(10, 10).extrude(10).faces(">Z").val(), trimesh_box((0, 0, 0)))
    with pytest.raises(fixture3d.BadSolid):
        fixture3d.relate("a box", trimesh_box((0, 0, 0)))


@pytest.mark.parametrize("box", [cadquery_box, trimesh_box])
def test_locate_piece_tells_what_is_left_free(box: Any) -> None:
    under = {"left": box((-6, 0, -10)), "right": box((6, 0, -10))}
    on = fixture3d.locate_piece(box((0, 0, 0)), under)
    assert (on.rank, on.rests, on.opposed) == (3, True, ())
    slides = {tuple(np.round(m.twist[:3], 6)) for m in on.free_motions if m.kind == "free" and not m.twist[3:].any()}
    assert slides == {(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0)}
    assert [tuple(way) for way in on.can_leave if tuple(way) in ((0, 0, 1), (0, 0, -1))] == [(0, 0, 1)]
    held = fixture3d.locate_piece(box((0, 0, 0)), under | {"side": box((0, 10, 0)), "end": box((10, 0, 0))})
    assert isinstance(held, fixture3d.Located)
    assert (held.rank, held.located) == (6, True)
    with pytest.raises(ValueError, match="gravity"):
        fixture3d.locate_piece(box((0, 0, 0)), under, gravity=(0, 0, 0))
