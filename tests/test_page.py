"""The 3D page without a browser: what is in the file, that it is right, and that nothing but its script can run."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.access.access import WeldAccess
from fixture3d.access.position import in_words
from fixture3d.access.runs import longest_run
from fixture3d.access.shipped import TECHNIQUES
from fixture3d.access.welds import Weld, WeldPoints
from fixture3d.cache import Store, default_folder
from fixture3d.checks import torch_access
from fixture3d.cli import main
from fixture3d.engine import assemble, check_job
from fixture3d.job.code import content_code
from fixture3d.job.keepout import bead_distance
from fixture3d.preview.page.data import Items, View, page_data
from fixture3d.preview.page.keepout import room
from fixture3d.preview.page.page import assembled, page, policy
from fixture3d.preview.page.positions import bitset, from_bitset, positions, run_positions
from fixture3d.preview.weld_lines import length_of
from fixture3d.scene import Scene, dump
from fixture3d.sheet.data import sheet_data
from fixture3d.solid.facets import CYLINDER, OTHER, PLANE, SPHERE, TORUS, Facets, of_brep, of_mesh
from fixture3d.solid.mesh import Mesh
from fixture3d.tolerance import SHOP
from tests.jobs import box_mesh
from tests.page_jobs import BENCH, STAGED, bench, extras, hostile, made, of_jobs, solids, solids_job


class Tags(HTMLParser):
    """Every tag with its attributes, and the text of scripts and styles."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.found:
            self.texts.setdefault(self.found[-1][0], []).append(data)


def tags_of(html: bytes) -> Tags:
    """The page as a parser of HTML sees it."""
    tags = Tags()
    tags.feed(html.decode("utf-8"))
    return tags


# --- the file --------------------------------------------------------------------------------------------------------


def test_the_same_setup_gives_the_same_bytes(tmp_path: Path) -> None:
    store = Store(tmp_path)
    cold, warm = (made(BENCH, checked=False, store=store) for _ in range(2))
    assert cold.html == warm.html
    assert made(BENCH).html == bench().html


def test_sums_in_the_policy_are_those_of_script_and_style() -> None:
    html = bench().html.decode()
    scripts = [
        text for kind, text in re.findall(r"<script([^>]*)>(.*?)</script>", html, re.S) if "text/plain" not in kind
    ]
    styles = re.findall(r"<style>(.*?)</style>", html, re.S)
    told = next(
        a["content"] for tag, a in tags_of(bench().html).found if a.get("http-equiv") == "Content-Security-Policy"
    )
    for name, texts in (("script-src", scripts), ("style-src", styles)):
        sums = [base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts]
        assert len(sums) == 1
        assert f"{name} 'sha256-{sums[0]}';" in str(told)
    assert "default-src 'none'" in str(told)
    assert "unsafe" not in str(told)
    assert policy(scripts[0], styles[0]) == told


def test_nothing_is_fetched_and_nothing_runs_by_itself() -> None:
    for tag, attributes in tags_of(bench().html).found:
        assert tag not in ("iframe", "object", "embed", "base", "form")
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            assert name not in ("src", "srcset", "action", "ping", "style"), (tag, name)
            assert name != "href" or str(value).startswith(("#", "data:")), (tag, value)


def test_page_is_small() -> None:
    assert len(bench().html) < 1_500_000


def test_texts_of_a_scene_are_data_only() -> None:
    got = hostile()
    assert [tag for tag, _ in tags_of(got.html).found] == [tag for tag, _ in tags_of(bench().html).found]
    assert b"caught" not in got.html.replace(unescaped(got.html), b"")
    assert got.data["scene"].startswith("</script><script>")
    for rows, key in (("bodies", "name"), ("items", "name"), ("welds", "name"), ("findings", "message")):
        assert any(row[key].startswith("</script><script>") for row in got.data[rows]), rows
    # Line ends of any kind are gone, so that a name stays one line.
    assert not re.search("[\u2028\u2029\n\r]", json.dumps(got.data, ensure_ascii=False))


def unescaped(html: bytes) -> bytes:
    """The title as it stands in the file, in which no tag can begin."""
    found = re.search(rb"<title>(.*?)</title>", html, re.S)
    assert found is not None
    assert not set(b'<>"') & set(found[1])
    return found[1]


def test_tokens_in_what_is_put_in_stay_as_they_are() -> None:
    html = assembled("@@JS@@ & @@DATA@@", b"{}", b"glTF").decode()
    assert "<title>@@JS@@ &amp; @@DATA@@" in html
    assert html.count("@@") == 4 + sum(text.count("@@") for text in _assets())


def _assets() -> list[str]:
    return [(files("fixture3d.preview.page") / name).read_text(encoding="utf-8") for name in ("page.js", "page.css")]


def test_scripts_of_others_carry_their_licence() -> None:
    assert "MIT" in (files("fixture3d.preview.page") / "LICENSE_THREE").read_text(encoding="utf-8")
    assert re.search(r"@license|Copyright", _assets()[0])
    assert "</script" not in _assets()[0].lower()


# --- data ------------------------------------------------------------------------------------------------------------


def schema() -> Any:
    return json.loads((files("fixture3d.preview.page") / "page.schema.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("checked", [True, False])
def test_data_follow_their_schema(checked: bool) -> None:
    import jsonschema

    got = bench() if checked else made(BENCH, checked=False)
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(got.data, schema(), cls=jsonschema.Draft202012Validator)
    assert {w["state"] for w in got.data["welds"]} <= ({"reached", "part", "blocked"} if checked else {"unchecked"})
    assert got.data["verdict"]["text"].startswith(("READY", "NOT READY") if checked else "NOT CHECKED")
    assert got.data["verdict"]["ready"] == bool(checked and got.report is not None and got.report.ready)


def test_every_finding_is_told_with_its_cure() -> None:
    got = bench()
    assert got.report is not None
    rows = got.data["findings"]
    assert len(rows) == len(got.report.findings) > 0
    assert sorted(row["rule"] for row in rows) == sorted(f.rule for f in got.report.findings)
    assert [row["level"] for row in rows] == sorted((r["level"] for r in rows), key=["fail", "warn", "note"].index)
    assert len({row["mark"] for row in rows}) == len(rows)
    for finding in got.report.findings:
        row = next(r for r in rows if (r["rule"], r["message"]) == (finding.rule, finding.message))
        assert row["remedy"] == finding.remedy
        assert (row["at"] is None) == (finding.at is None)
        if finding.at is not None:
            assert np.allclose(row["at"], finding.at, atol=1e-3)


def test_accepted_findings_are_still_told() -> None:
    rule = bench().data["findings"][0]["rule"]
    got = made({**BENCH, "accept": [{"rule": rule, "why": "seen to on the table"}]})
    told = [row for row in got.data["findings"] if row["mark"].startswith("A")]
    assert told
    assert all(row["level"] == "note" and row["title"].startswith("Accepted: ") for row in told)
    assert all("seen to on the table" in row["remedy"] for row in told)


def test_facts_are_in_the_units_of_the_file() -> None:
    facts = {item["name"]: dict(item["facts"]) for item in bench().data["items"]}
    assert facts["S1"]["model"] == "stop_block"
    assert facts["S1"]["hole"] == "E6"
    assert facts["S1"]["turn"] == "90°"
    assert facts["S1"]["height"] == "top at 75 mm over the table"
    assert facts["post"]["stock"] == "SHS 40x40x3"
    assert facts["post"]["length"] == "300 mm"
    inch = {"format": 1, "units": "in", "table": "2/(3/4) 48x48",
            "place": [{"name": "S1", "model": "stop_block", "hole": "C4"}]}  # fmt: skip
    got = made(inch, checked=False)
    assert dict(got.data["items"][0]["facts"])["height"].endswith(" in over the table")
    assert got.data["units"] == "in"


def test_holes_have_the_names_and_places_of_the_table() -> None:
    naming = {"x": "numbers", "y": "letters", "corner": "back right", "skip": ["B"]}
    top = {"pitch": [50, 40], "bore": 16, "columns": 6, "rows": 5, "edge": 50, "stagger": True, "names": naming}
    side = {"name": "side", "origin": [0, -50, -40], "x": [1, 0, 0], "y": [0, 0, 1], "columns": 4, "rows": 2}
    tables = {"format": 1, "table": {**top, "blocked": ["C2"]}, "grid": [side],
              "place": [{"name": "S1", "model": "stop_block", "hole": "A1"}]}  # fmt: skip
    got = made(tables, checked=False)
    table = got.jobs[0].table
    for grid, row in zip(table.grids, got.data["table"]["grids"], strict=True):
        origin, x, y = (np.array(row[k]) for k in ("origin", "x", "y"))
        for plus in (False, True) if row["stagger"] else (False,):
            for i, column in enumerate(row["columns"][: -1 if plus else None]):
                for j, line in enumerate(row["rows"][: -1 if plus else None]):
                    pair = (column, line) if column.isalpha() else (line, column)
                    hole = grid.at(i, j, plus)
                    assert row["prefix"] + "".join(pair) + ("+" if plus else "") == hole.name
                    half = 0.5 if plus else 0.0
                    at = origin + x * (i + half) * row["pitch"][0] + y * (j + half) * row["pitch"][1]
                    assert np.allclose(at, hole.xyz, atol=1e-4)
        assert np.allclose(row["normal"], grid.normal)
        assert row["blocked"] == [grid.hole(name).name for name in grid.blocked]


def test_sheet_and_page_carry_the_same_code() -> None:
    got = bench()
    code = got.data["code"]
    assert code == content_code(got.jobs[0]) == sheet_data(got.jobs[0])["code"]
    entries = got.jobs[0].library.entries
    other = {**entries, "riser": replace(entries["riser"], digest="another source")}
    unused = {**entries, "step_block": replace(entries["step_block"], digest="another source")}
    job = got.jobs[0]
    assert content_code(replace(job, library=type(job.library)(other))) != code
    assert content_code(replace(job, library=type(job.library)(unused))) == code
    moved = {**BENCH, "place": [{**BENCH["place"][0], "turn": 91}, *BENCH["place"][1:]]}
    assert content_code(assemble(Scene.from_dict(moved))) != code


def test_stages_come_in_order_with_what_is_in_each() -> None:
    import jsonschema

    got = made(STAGED, checked=False)
    jsonschema.validate(got.data, schema(), cls=jsonschema.Draft202012Validator)
    assert [stage["name"] for stage in got.data["stages"]] == ["first side", "second side"]
    assert [stage["text"] for stage in got.data["stages"]] == ["2 welds to run", "1 weld to run; 2 welds run before"]
    done = next(dict(i["facts"]) for i in got.data["items"] if i["name"] == "welds of earlier stages")
    assert done == {"near": "3 mm", "top": "3 mm"}
    assert {w["name"]: w["stage"] for w in got.data["welds"]} == {"near": 0, "top": 0, "far": 1}
    where: dict[str, list[Any]] = {}
    for row in got.data["bodies"]:
        where.setdefault(row["name"], []).append(row["stages"])
    # What stays is there once, what moves is there twice, beads come with the stage after their weld.
    resting = [row["matrix"] for row in got.data["bodies"] if row["name"] == "R1"]
    assert all(matrix == resting[0] for matrix in resting)
    assert where["R1 pin 1"] in ([None], [[0], [1]])
    assert where["S1"] == [[0]]
    assert where["R2"] == [[1]]
    assert where["post"] == [[0], [1]]
    assert where["bead of near"] == [[1]] * len(where["bead of near"])
    assert where["room at far"] == [[1]]
    meshes = {row["name"]: row["mesh"] for row in got.data["bodies"] if row["name"] == "post"}
    assert len({row["mesh"] for row in got.data["bodies"] if row["name"] == "post"}) == len(meshes) == 1
    # Findings lead to their stage; the same code whichever stage is asked for.
    before = bench().report
    assert before is not None
    finding = before.findings[0]
    report = replace(
        before, job=got.jobs[0], findings=(replace(finding, stage="second side"), replace(finding, stage=None))
    )
    data = page_data([View(job=job, positions={}) for job in got.jobs], report, [], Items())
    assert [row["stage"] for row in data["findings"]] == [1, None]
    assert {content_code(job) for job in got.jobs} == {got.data["code"]}


# --- shapes ----------------------------------------------------------------------------------------------------------


def test_glb_reads_back_as_the_bodies_of_the_job() -> None:
    import io

    import trimesh

    got = bench()
    scene = trimesh.load(io.BytesIO(got.glb), file_type="glb", process=False)
    bodies = [body for body in got.jobs[0].bodies]
    rows = got.data["bodies"]
    to_mm = np.diag([1000.0, 1000.0, 1000.0, 1.0]) @ frame.rotation((1, 0, 0), 90.0)
    for body in bodies:
        index = next(k for k, row in enumerate(rows) if row["name"] == body.name and row["role"] == body.role)
        nodes = [n for n in scene.graph.nodes_geometry if n == f"b{index}" or n.startswith(f"b{index}_")]
        transforms = [scene.graph.get(node) for node in nodes]
        solid = next((t, scene.geometry[g]) for t, g in transforms if isinstance(scene.geometry[g], trimesh.Trimesh))
        pose = to_mm @ np.diag([1.0, 1.0, 1.0, 1.0]) @ solid[0]
        world = solid[1].vertices @ pose[:3, :3].T + pose[:3, 3]
        assert np.allclose([world.min(axis=0), world.max(axis=0)], body.box, atol=0.03)
        mesh = trimesh.Trimesh(world, solid[1].faces)
        mesh.merge_vertices(digits_vertex=2)
        assert mesh.volume == pytest.approx(body.shape.mesh.volume, rel=2e-3)
        matrix = np.array(rows[index]["matrix"]).reshape(4, 4).T
        assert np.allclose(matrix, body.body_to_world, atol=1e-6)


def test_one_mesh_serves_all_bodies_of_a_shape() -> None:
    document = extras(bench().glb)
    keys = {body.shape.key for body in bench().jobs[0].bodies}
    rooms = len(bench().jobs[0].welds)
    assert len(document["meshes"]) == len(keys) + rooms
    assert len(document["nodes"]) == 1 + len(bench().data["bodies"])


def test_accessors_stay_inside_the_buffer_and_bounds_are_true() -> None:
    document, data = extras(bench().glb), bench().glb
    start = 20 + int.from_bytes(data[12:16], "little") + 8
    assert int.from_bytes(data[8:12], "little") == len(data)
    assert len(data) - start == document["buffers"][0]["byteLength"]
    sizes = {5126: ("<f4", 3), 5123: ("<u2", 1), 5125: ("<u4", 1)}
    for accessor in document["accessors"]:
        view = document["bufferViews"][accessor["bufferView"]]
        kind, width = sizes[accessor["componentType"]]
        assert view["byteOffset"] % 4 == 0
        raw = data[start + view["byteOffset"] : start + view["byteOffset"] + view["byteLength"]]
        values = np.frombuffer(raw, dtype=kind)
        assert len(values) == accessor["count"] * width
        if width == 3:
            points = values.reshape(-1, 3)
            assert points.min(axis=0).tolist() == accessor["min"]
            assert points.max(axis=0).tolist() == accessor["max"]
    for mesh in document["meshes"]:
        solid = mesh["primitives"][0]
        count = document["accessors"][solid["indices"]]["count"] // 3
        assert sum(face[0] for face in mesh["extras"]["faces"]) == count


def off_surface(surface: tuple[float, ...], points: Any) -> Any:
    """Distance (n,) of points from the unbounded surface that a row describes."""
    kind, v = surface[1], np.array(surface[2:])
    if kind == PLANE:
        return np.abs(points @ v[:3] - v[3])
    if kind == SPHERE:
        return np.abs(np.linalg.norm(points - v[:3], axis=1) - v[3])
    along = (points - v[:3]) @ v[3:6]
    out = np.linalg.norm(points - v[:3] - along[:, None] * v[3:6], axis=1)
    if kind == TORUS:
        return np.abs(np.hypot(out - v[6], along) - v[7])
    if kind == CYLINDER:
        return np.abs(out - v[6])
    half = np.deg2rad(v[6])
    assert (along > -1e-6).all()
    return np.abs(out * np.cos(half) - along * np.sin(half))


def faces_of(facets: Facets) -> list[tuple[tuple[float, ...], Any]]:
    """Each face's row and its triangles (m, 3)."""
    ends = np.cumsum([int(s[0]) for s in facets.surfaces])
    return list(zip(facets.surfaces, np.split(facets.faces, ends[:-1]), strict=True))


@pytest.mark.parametrize("name", list(solids()))
def test_faces_lie_on_the_surfaces_that_are_told(name: str) -> None:
    facets = of_brep(solids()[name])
    kinds = set()
    for surface, triangles in faces_of(facets):
        kinds.add(int(surface[1]))
        if surface[1] == OTHER:
            assert len(surface) == 2
            continue
        corners = facets.vertices[triangles]
        assert off_surface(surface, corners.reshape(-1, 3)).max() < 0.002
        middles = (corners + np.roll(corners, -1, axis=1)).reshape(-1, 3) / 2.0
        assert off_surface(surface, middles).max() < 0.11
        # Rims: two of them, and the rounding, stay within 0.02 mm.
        sides = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
        pairs, counts = np.unique(sides, axis=0, return_counts=True)
        rim = facets.vertices[pairs[counts == 1]].mean(axis=1)
        assert not len(rim) or off_surface(surface, rim).max() < 0.0099
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        if surface[1] == PLANE:
            assert (normals @ np.array(surface[2:5]) > 0.0).all()
        if surface[1] == CYLINDER:
            at, axis = np.array(surface[2:5]), np.array(surface[5:8])
            away = corners.mean(axis=1) - at
            away -= (away @ axis)[:, None] * axis
            assert ((np.einsum("ij,ij->i", normals, away) < 0.0) == bool(surface[9])).all()
    expected = {"box": {0}, "rod": {0, 1}, "tube": {0, 1}, "cone": {0, 3}, "ball": {2}, "ring": {4}, "plate": {0, 1},
                "sunk": {0, 1, 3}, "rounded": {0, 1}, "elbow": {0, 4}}  # fmt: skip
    assert kinds == expected[name]


def test_volumes_of_facets_are_those_of_the_kernel() -> None:
    from fixture3d.solid import kernel

    for solid in solids().values():
        facets = of_brep(solid)
        a, b, c = (facets.vertices[facets.faces[:, k]] for k in range(3))
        volume = float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6.0
        assert volume == pytest.approx(kernel.volume(solid), rel=1.2e-2)


def test_a_bend_has_few_triangles_and_closes_with_its_neighbours() -> None:
    import trimesh

    facets = of_brep(solids()["elbow"])
    assert next(s[0] for s in facets.surfaces if s[1] == TORUS) < 3500
    mesh = trimesh.Trimesh(facets.vertices, facets.faces, process=False)
    mesh.merge_vertices(digits_vertex=3)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    # Pappus: the area of the section times the way of its middle.
    assert mesh.volume == pytest.approx(np.pi * 8**2 * np.deg2rad(250) * 40, rel=1.2e-2)


def test_lines_are_drawn_at_sharp_edges_only() -> None:
    box, rounded, ball = (of_brep(solids()[n]) for n in ("box", "rounded", "ball"))
    assert len(box.edges) == 12
    ends = rounded.vertices[rounded.edges]
    # Top and bottom rims; no line along the tangent fillets.
    assert (np.abs(np.abs(ends[:, :, 2]) - 15.0) < 0.01).all()
    assert np.allclose(ends[:, 0, 2], ends[:, 1, 2])
    assert len(ball.edges) == 0


def test_a_mesh_is_told_apart_by_its_flat_regions() -> None:
    import trimesh

    box = of_mesh(box_mesh((30.0, 20.0, 10.0)))
    assert sorted(s[:2] for s in box.surfaces) == [(2.0, 0.0)] * 6
    assert len(box.edges) == 12
    rod = of_mesh(Mesh.from_trimesh(trimesh.creation.cylinder(radius=10.0, height=40.0, sections=72)))
    assert sorted(int(s[1]) for s in rod.surfaces) == [0, 0, 9]
    assert next(s[0] for s in rod.surfaces if s[1] == OTHER) == 144
    prism = of_mesh(Mesh.from_trimesh(trimesh.creation.cylinder(radius=10.0, height=40.0, sections=8)))
    assert sorted(int(s[1]) for s in prism.surfaces) == [0] * 10
    again = Facets.from_bytes(rod.to_bytes())
    assert again.surfaces == rod.surfaces
    assert again.to_bytes() == rod.to_bytes()


# --- torch positions -------------------------------------------------------------------------------------------------


def test_positions_say_what_the_check_says() -> None:
    got = bench()
    job = got.jobs[0]
    found = positions(job)
    assert list(found) == ["near", "far", "top"]
    states = {w["name"]: w["state"] for w in got.data["welds"]}
    for name, one in found.items():
        access: WeldAccess = one.access
        assert int(one.free.size) == access.positions
        assert int((one.free == 0).sum()) == access.blocked
        assert tuple(bool(p.any()) for p in one.free) == access.points
        row = next(w for w in got.data["welds"] if w["name"] == name)
        bits = from_bitset(row["free"], one.free.shape)
        assert (bits == one.free).all()
        assert len(row["directions"]) == one.free.shape[1]
        assert len(row["rolls"]) == one.free.shape[2]
        assert len(row["points"]) == len(row["frames"]) == len(row["blockers"]) == len(row["run_positions"])
        # Shares of the points, weighted, are the shares of the weld.
        blocked = (one.free == 0).reshape(len(one.free), -1).sum(axis=1)
        total: dict[str, float] = {}
        for count, shares in zip(blocked, one.blockers, strict=True):
            for who, share in shares:
                total[who] = total.get(who, 0.0) + share * float(count)
        assert {who: pytest.approx(share * access.blocked) for who, share in access.blockers} == total
        assert states[name] == ("blocked" if access.best is None else "reached" if all(access.points) else "part")
        drawn = [(kind, length_of(np.array(points))) for kind, points in row["stretches"]]
        assert sum(long for _, long in drawn) == pytest.approx(access.length, abs=0.01)
        assert sum(long for kind, long in drawn if kind == "reached") == pytest.approx(access.reachable, abs=0.01)
        assert row["runs"] == len(access.runs)
        assert row["lies"] == in_words(one.position.to_dict())
        if access.best is not None:
            point, direction, roll = one.best or (0, 0, 0)
            assert one.free[point, direction, roll] == 1
            axis = np.array(row["frames"][point]).reshape(3, 3) @ np.array(row["directions"][direction][2:5])
            assert np.allclose(axis, access.best.axis, atol=1e-6)
    assert {"reached"} < set(states.values()) | {"any"}


def test_positions_are_kept_and_a_damaged_answer_is_worked_out_again() -> None:
    job = bench().jobs[0]
    first = positions(job)
    stages: list[str] = []
    again = positions(job, lambda stage, done, total: stages.append(stage))
    assert stages == []
    assert all((first[n].free == again[n].free).all() and first[n].blockers == again[n].blockers for n in first)

    class Broken(Store):
        def get_json(self, key: str, kind: str) -> Any | None:
            found = super().get_json(key, kind)
            return {"free": "AAAA", "blockers": []} if kind.startswith("torch-positions") and found else found

    healed = positions(replace(job, store=Broken(default_folder())), lambda stage, done, total: stages.append(stage))
    assert "torch positions" in stages
    assert all((first[n].free == healed[n].free).all() for n in first)


def test_bits_stand_point_by_point_with_the_first_bit_first() -> None:
    free = np.zeros((2, 3, 2), dtype=np.uint8)
    free[0, 0, 0] = free[1, 2, 1] = 1
    packed = base64.b64decode(bitset(free))
    assert packed == bytes([0b00000001, 0b00001000])
    assert (from_bitset(bitset(free), free.shape) == free).all()


def test_a_run_steps_from_neighbour_to_neighbour() -> None:
    window = TECHNIQUES["corner"].window(rolls=6)
    rng = np.random.default_rng(5)
    broken = whole = 0
    for case in range(40):
        count = int(rng.integers(1, 9))
        free = (rng.random((count, len(window.works) * len(window.leans), 6)) < rng.uniform(0.02, 0.5)).astype(np.uint8)
        line = WeldPoints(
            points=np.zeros((count, 3)), frames=np.zeros((count, 3, 3)), lengths=np.ones(count),
            along=np.arange(count, dtype=float), joined=rng.random(max(0, count - 1)) < 0.9,
        )  # fmt: skip
        length, span = longest_run(free.reshape(count, *window.shape), line, window)
        run = run_positions(free, line, window, int(case % 6))
        held = [k for k, step in enumerate(run) if step is not None]
        if span is None:
            assert held == []
            continue
        assert held == list(range(span[0], span[1] + 1))
        assert length == pytest.approx(len(held))
        steps = [step for step in run if step is not None]
        assert all(free[k, d, r] for k, (d, r) in zip(held, steps, strict=True))
        ways = [set(leans.tolist()) for _, leans in window.runs]
        assert any(all(d % len(window.leans) in way for d, _ in steps) for way in ways)
        for (d0, r0), (d1, r1) in pairwise(steps):
            (w0, l0), (w1, l1) = divmod(d0, len(window.leans)), divmod(d1, len(window.leans))
            assert abs(w0 - w1) <= 1
            assert abs(l0 - l1) <= 1
            assert min((r0 - r1) % 6, (r1 - r0) % 6) <= 1
        whole += len(held) == count
        broken += len(held) < count
    assert whole > 3
    assert broken > 3


def test_a_run_does_not_go_from_one_end_of_the_window_to_the_other() -> None:
    window = TECHNIQUES["corner"].window(rolls=1)
    cost = window.cost
    leans = window.runs[0][1]
    easy, hard = leans[int(cost[0, leans].argmin())], leans[int(cost[0, leans].argmax())]
    middle = len(window.works) // 2 + 1
    assert 2 * cost[middle, hard] > cost[0, easy] + cost[-1, easy]
    free = np.zeros((2, *window.shape), dtype=np.uint8)
    free[:, middle, hard] = free[0, 0, easy] = free[1, -1, easy] = 1
    line = WeldPoints(points=np.zeros((2, 3)), frames=np.zeros((2, 3, 3)), lengths=np.ones(2), along=np.arange(2.0),
                      joined=np.ones(1, dtype=bool))  # fmt: skip
    held = int(middle * len(window.leans) + hard)
    assert run_positions(free.reshape(2, -1, 1), line, window) == ((held, 0), (held, 0))


def test_a_run_keeps_to_nominal_where_it_can() -> None:
    window = TECHNIQUES["corner"].window()
    free = np.ones((5, len(window.works) * len(window.leans), len(window.rolls)), dtype=np.uint8)
    line = WeldPoints(points=np.zeros((5, 3)), frames=np.zeros((5, 3, 3)), lengths=np.ones(5), along=np.arange(5.0),
                      joined=np.ones(4, dtype=bool))  # fmt: skip
    run = run_positions(free, line, window, 7)
    assert len(set(run)) == 1
    assert run[0] is not None
    assert window.cost.ravel()[run[0][0]] == window.cost.min()
    assert run[0][1] == 7


def test_the_worst_weld_ranks_first() -> None:
    rows = bench().data["welds"]
    assert sorted(row["rank"] for row in rows) == list(range(len(rows)))
    order = ["blocked", "part", "unchecked", "reached"]
    ranked = [order.index(row["state"]) for row in sorted(rows, key=lambda row: row["rank"])]
    assert ranked == sorted(ranked)
    assert len(set(ranked)) > 1


def test_an_electrode_is_drawn_at_one_place_and_full() -> None:
    tables = {**BENCH, "weld": [{**BENCH["weld"][0], "technique": "stick-corner"}]}
    got = made(tables)
    (torch,) = got.data["torches"]
    assert torch["burns"] is True
    parts = [capsule["part"] for capsule in torch["capsules"]]
    assert (parts.count("handle"), parts.count("hand")) == (1, 1)
    # Where the electrode ends the neck begins; the check has the holder at many places nearer to the work.
    assert min(capsule["a"][2] for capsule in torch["capsules"]) == pytest.approx(torch["nozzle"]["to"])
    job = got.jobs[0]
    tried = torch_access.question(job, job.welds[0], {}).torch
    assert tried.labels.count("handle") > 1
    assert not any(torch["burns"] for torch in bench().data["torches"])


def test_found_welds_come_with_what_is_to_be_settled() -> None:
    tables = {k: v for k, v in BENCH.items() if k != "weld"}
    got = made({**tables, "weldment": {**BENCH["weldment"], "welds": "auto"}})
    found = got.jobs[0].found
    assert found is not None
    assert {w["name"]: w["doubts"] for w in got.data["welds"]} == {
        name: list(weld.ambiguous) for name, weld in found.welds.items()
    }
    assert any(w["doubts"] for w in got.data["welds"])
    assert all(w["type"] and w["length"] and w["lies"] for w in got.data["welds"])


# --- room at welds ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "sides", "part"),
    [
        ("fillet", [[0, 0, 1], [0, 1, 0]], 0.25),
        ("fillet", [[0, 0, 1], [0, np.sin(np.deg2rad(60)), np.cos(np.deg2rad(60))]], 120 / 360),
        ("butt", [[0, 0, 1], [0, 0, 1]], 0.5),
        ("corner", [[0, 0, 1], [0, 1, 0]], 0.75),
        ("butt", [[0, 1, 0], [0, -1, 0]], 1.0),
    ],
)
def test_room_at_a_weld_is_what_the_check_keeps_clear(kind: str, sides: Any, part: float) -> None:
    import trimesh

    path, normals = np.array([[0.0, 0, 0], [40.0, 0, 0]]), np.array(sides, dtype=float)
    weld = Weld(name="w", type=kind, joins=("a", "b"), size=3.0, path=path, technique="", sides=normals)
    facets = room(weld)
    mesh = trimesh.Trimesh(facets.vertices, facets.faces, process=False)
    mesh.merge_vertices()
    assert mesh.is_watertight
    r = SHOP.bead_keep_out
    round_all = np.pi * r * r * 40.0 + 4.0 / 3.0 * np.pi * r**3
    assert mesh.volume == pytest.approx(part * round_all, rel=0.06)
    # A speck just inside the room is too near for the check, one just outside is not.
    rng = np.random.default_rng(3)
    for _ in range(60):
        at = np.array([rng.uniform(-12, 52), *rng.uniform(-12, 12, size=2)])
        inside = bool(abs(_winding(facets, at)) > 0.5)
        speck = at + 1e-4 * np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]])
        found = bead_distance(weld, speck, r)
        near_surface = found is not None and found[0] > 0.95 * r
        edge = min(abs(float(at @ np.array(s))) for s in sides) < 0.2
        if not near_surface and not edge:
            assert inside == (found is not None), at


def _winding(facets: Facets, at: Any) -> float:
    """How many times a closed surface goes round a point."""
    a, b, c = (facets.vertices[facets.faces[:, k]] - at for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    top = np.einsum("ij,ij->i", a, np.cross(b, c))
    bottom = la * lb * lc + np.einsum("ij,ij->i", a, b) * lc + np.einsum("ij,ij->i", b, c) * la
    bottom += np.einsum("ij,ij->i", c, a) * lb
    return float(np.arctan2(top, bottom).sum() / (2.0 * np.pi))


# --- the command -----------------------------------------------------------------------------------------------------


def test_the_command_writes_once_and_says_where(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], scene_file: Path
) -> None:
    out = tmp_path / "page.html"
    assert main(["view", str(scene_file), "--html", str(out)]) == 0
    assert capsys.readouterr().out.strip() == str(out)
    before = out.read_bytes()
    assert main(["view", str(scene_file), "--html", str(out)]) == 2
    assert "--force" in capsys.readouterr().err
    assert out.read_bytes() == before
    assert main(["view", str(scene_file), "--html", str(out), "--plain", "--force"]) == 0
    assert out.read_bytes() != before
    capsys.readouterr()
    assert main(["view", str(scene_file), "--html", str(tmp_path / "page.png")]) == 2
    assert ".html" in capsys.readouterr().err
    assert not (tmp_path / "page.png").exists()


def test_a_second_page_loads_no_heavy_library(tmp_path: Path) -> None:
    scene = dump(bench().jobs[0].scene, tmp_path / "bench.toml")
    # The first in a process of its own: this one may have its solids in memory, and then writes none of them down.
    first = [sys.executable, "-m", "fixture3d", "view", str(scene), "--html", str(tmp_path / "first.html")]
    subprocess.run(first, capture_output=True, check=True)
    script = (
        "import sys; from fixture3d.cli import main\n"
        f"code = main(['view', {str(scene)!r}, '--html', {str(tmp_path / 'p.html')!r}])\n"
        "heavy = {'cadquery', 'OCP', 'trimesh', 'manifold3d', 'pyvista', 'numba', 'scipy'} & set(sys.modules)\n"
        "print(code, sorted(heavy))"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1] == "0 []"


def test_bodies_of_a_mesh_only_job() -> None:
    from tests.jobs import rack

    got = of_jobs((rack(),))
    assert {row["layer"] for row in got.data["bodies"]} == {"blocks", "pieces"}
    assert b"NaN" not in json.dumps(got.data).encode()
    assert of_jobs((solids_job(),)).data["bodies"][0]["name"] == "box"
    assert check_job(rack()) is not None
    assert page((rack(),)) == got.html
