"""Elevations of the setup sheet, and the plan in parts: scale, what hides what, how the parts join."""

from __future__ import annotations

import re
import string
import xml.etree.ElementTree as ET
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from shapely import LineString, MultiLineString, Polygon, box, contains_xy
from shapely.affinity import rotate

from fixture3d.job import Job
from fixture3d.sheet import elevation, layout, pdf
from fixture3d.sheet.data import sheet_data
from fixture3d.sheet.elevation import SIDES, Side, chosen, levels, seen_from, shown, tops
from fixture3d.sheet.elevation_drawn import elevations, listed
from fixture3d.sheet.outline import clipped, rings, runs_inside
from fixture3d.sheet.plan import Drawing, Plan, plan
from fixture3d.sheet.tiling import LEAST_PITCH, MOST, tiling
from fixture3d.sheet.typeset import Paper
from tests.jobs import make_job, rack
from tests.sheets import demo_job

ROOM = {False: (186.0, 227.0), True: (273.0, 140.0)}
PAGES = {False: (186.0, 261.0), True: (273.0, 174.0)}
SVG = "{http://www.w3.org/2000/svg}"
FRONT, RIGHT, BACK, LEFT = SIDES


def texts(drawing: Drawing) -> list[tuple[str, float, float]]:
    root = ET.fromstring(drawing.svg)
    return [(t.text or "", float(t.attrib["x"]), float(t.attrib["y"])) for t in root.iter(f"{SVG}text")]


def words(drawing: Drawing) -> str:
    return " | ".join(text for text, _, _ in texts(drawing))


def boxes(drawing: Drawing, fill: str) -> list[tuple[float, float, float, float]]:
    """Left, top, right, low of every path with this fill."""
    found = []
    for path in ET.fromstring(drawing.svg).iter(f"{SVG}path"):
        if path.attrib.get("fill") == fill:
            points = [(0.0, 0.0)]
            for letter, numbers in re.findall(r"([MLHV])([-0-9. ]+)", path.attrib["d"]):
                u, v = points[-1]
                x, *y = map(float, numbers.split())
                points.append((x, y[0]) if y else (x, v) if letter == "H" else (u, x))
            ends = np.array(points[1:])
            found.append((*ends.min(axis=0), *ends.max(axis=0)))
    return found


def named(name: str, hole: str, height: float, **sizes: float) -> dict[str, Any]:
    return {"name": name, "hole": hole, "turn": 0.0, "with": {"height": height, **sizes}}


# ---- elevations


def test_a_front_view_is_to_scale_over_the_table_top() -> None:
    """Two blocks of 100 on D and J, 30 and 80 high: their sides on paper follow from the holes and the scale."""
    job = make_job(blocks=[named("low", "D4", 30.0), named("high", "J4", 80.0)])
    (view,) = elevations(job, 186.0, 5.0)
    assert view.scale == 5.0
    assert view.title == "Seen from the front, with the tops of blocks over the table top"
    root = ET.fromstring(view.svg)
    width, height = (float(root.attrib[k].removesuffix("mm")) for k in ("width", "height"))
    assert [float(v) for v in root.attrib["viewBox"].split()][2:] == [width, height]  # one unit is one mm
    low, high = sorted(boxes(view, "#e4e4e4"))
    assert [low[2] - low[0], low[3] - low[1]] == pytest.approx([20.0, 6.0], abs=2e-3)
    assert [high[2] - high[0], high[3] - high[1]] == pytest.approx([20.0, 16.0], abs=2e-3)
    assert high[0] - low[0] == pytest.approx(6 * 50 / 5, abs=2e-3)
    assert low[3] == pytest.approx(high[3], abs=2e-3)  # both stand on the table top
    letters = {text: x for text, x, _ in texts(view) if text in ("D", "J")}
    assert letters["D"] == pytest.approx(low[0] + 25.0 / 5.0, abs=2e-3)  # the named hole is 25 from the block's end
    assert letters["J"] - letters["D"] == pytest.approx(60.0, abs=2e-3)


def test_heights_beside_a_view_are_those_of_the_list_and_name_every_block() -> None:
    for scene in ("kayak_rack", "saw_stand"):
        job = demo_job(scene)
        rows = sheet_data(job)["blocks"]
        drawn = elevations(job, 186.0, 7.5)
        assert 1 <= len(drawn) <= 2
        known = levels(job)
        assert {name: height for height, names in known.items() for name in names} == {
            r["name"]: r["top"] for r in rows
        }
        for view in drawn:
            assert view.size[0] <= 186.0 + 1e-6
            said = words(view)
            for height, names in known.items():
                assert f"{height}: {', '.join(listed(names))}" in re.sub(r" +", " ", said.replace(", | ", ", "))
            assert "0: table top" in said
    low, high = (op(float(b.box[k, 2]) for b in job.pieces()) for op, k in ((min, 0), (max, 1)))
    assert f"{low:g} mm to {high:g} mm: the work" in said


def test_blocks_of_one_height_need_no_view() -> None:
    assert elevations(make_job(blocks=[named("a", "D4", 30.0), named("b", "J4", 30.0)]), 186.0, 5.0) == ()
    assert elevations(make_job(), 186.0, 5.0) == ()


def test_what_stands_behind_a_block_is_hidden_and_still_has_its_height() -> None:
    job = make_job(blocks=[named("wall", "D2", 90.0, length=300.0), named("low", "E8", 20.0)])
    front = seen_from(job, FRONT)
    assert shown(front, tops(job)) == {"wall"}
    assert shown(seen_from(job, BACK), tops(job)) == {"wall", "low"}
    # From the right the low one stands free: that view alone shows both heights.
    (view,) = elevations(job, 186.0, 5.0)
    assert "from the right" in view.title
    high = make_job(blocks=[named("wall", "D2", 90.0, length=300.0), named("tall", "E8", 120.0)])
    (front_view,) = elevations(high, 186.0, 5.0)
    assert "from the front" in front_view.title


def test_glass_work_hides_no_block() -> None:
    pieces = {"plate": ((900.0, 10.0, 300.0), (300.0, 0.0, 150.0))}
    job = make_job(blocks=[named("a", "D4", 30.0), named("b", "J4", 80.0)], pieces=pieces)
    assert shown(seen_from(job, FRONT), tops(job)) == {"a", "b"}
    view = elevations(job, 186.0, 5.0)[0]
    assert len(boxes(view, "#e4e4e4")) == 2
    assert "0 mm to 300 mm: the work" in words(view)


@pytest.mark.parametrize("side", SIDES, ids=[s.words for s in SIDES])
def test_left_and_right_of_each_side(side: Side) -> None:
    """From the front, columns count to the right; from the back to the left; from the right, rows to the right."""
    view = side.world_to_view
    assert np.linalg.det(view[:3, :3]) == pytest.approx(1.0)
    right, up, near = (view[k, :3] for k in range(3))
    assert tuple(up) == (0.0, 0.0, 1.0)
    looker = {FRONT: (0, -1, 0), RIGHT: (1, 0, 0), BACK: (0, 1, 0), LEFT: (-1, 0, 0)}[side]
    hand = {FRONT: (1, 0, 0), RIGHT: (0, 1, 0), BACK: (-1, 0, 0), LEFT: (0, -1, 0)}[side]
    assert tuple(near) == looker
    assert tuple(right) == hand


def test_the_table_hides_what_hangs_below_it_and_not_what_hangs_before_it() -> None:
    job = make_job(blocks=[named("a", "D4", 30.0), named("b", "J4", 80.0)])
    (view,) = elevations(job, 186.0, 5.0)
    (plate,) = boxes(view, "white")
    assert plate[3] - plate[1] == pytest.approx(12.0 / 5.0, abs=2e-3)  # its thickness
    order = [p.attrib.get("fill") for p in ET.fromstring(view.svg).iter(f"{SVG}path")]
    assert order.index("white") > max(k for k, fill in enumerate(order) if fill == "#e4e4e4")


def test_what_is_seen_agrees_with_looking_at_points() -> None:
    """Random boxes that do not run into each other: at random points of the view the nearest box is the visible one."""
    rng = np.random.default_rng(7)
    for _ in range(6):
        taken: list[np.ndarray[Any, Any]] = []
        while len(taken) < 7:
            low = rng.uniform(0.0, 300.0, 3)
            one = np.array([low, low + rng.uniform(20.0, 150.0, 3)])
            if all(bool((one[1] <= t[0]).any() or (one[0] >= t[1]).any()) for t in taken):
                taken.append(one)
        pieces = {f"p{k}": (tuple((t[1] - t[0]).tolist()), tuple(t.mean(axis=0).tolist())) for k, t in enumerate(taken)}
        job = make_job(pieces=pieces)
        object.__setattr__(job, "bodies", tuple(_as_block(b) for b in job.bodies))
        for side in SIDES:
            view = side.world_to_view[:3, :3]
            seen: dict[str, Any] = {}
            for body in seen_from(job, side):
                seen[body.body.name] = Polygon()
                for ring in rings(body.visible):
                    seen[body.body.name] = seen[body.body.name].symmetric_difference(Polygon(ring))
            ends = np.array([np.sort(t @ view.T, axis=0) for t in taken])
            for u, v in rng.uniform(ends[:, 0, :2].min(axis=0), ends[:, 1, :2].max(axis=0), (60, 2)):
                hit = [k for k, e in enumerate(ends) if e[0, 0] < u < e[1, 0] and e[0, 1] < v < e[1, 1]]
                nearest = max(hit, key=lambda k: ends[k, 1, 2], default=None)
                found = [int(name[1:]) for name, shape in seen.items() if shape.contains(_point(u, v))]
                assert found == ([] if nearest is None else [nearest])


def _as_block(body: Any) -> Any:
    from dataclasses import replace

    return replace(body, role="block")


def _point(u: float, v: float) -> Any:
    from shapely import Point

    return Point(u, v)


@pytest.mark.parametrize("side", [RIGHT, BACK], ids=["right", "back"])
def test_blocks_of_a_real_setup_hide_each_other_as_rays_find_it(side: Side) -> None:
    """Against the rays of trimesh on the meshes: the first block that a ray meets is the one drawn there.

    Bodies of one item (a clamp's arm and its handle) reach round each other and count as one.
    """
    import trimesh

    job = demo_job("kayak_rack")
    seen = [one for one in seen_from(job, side) if one.body.role in ("block", "clamp", "shim")]
    view = side.world_to_view
    low, high = (op([one.whole.bounds()[k : k + 2] for one in seen], axis=0) for op, k in ((np.min, 0), (np.max, 2)))
    points = np.random.default_rng(5).uniform(low, high, (250, 2))
    starts = np.column_stack([points, np.full(len(points), 1e4)])
    depth = np.full((len(seen), len(points)), -np.inf)
    drawn = np.zeros((len(seen), len(points)), dtype=bool)
    for k, one in enumerate(seen):
        mesh = trimesh.Trimesh(one.body.shape.mesh.vertices, one.body.shape.mesh.faces, process=False)
        mesh.apply_transform(view @ one.body.body_to_world)
        hits, rays, _ = mesh.ray.intersects_location(starts, np.tile((0.0, 0.0, -1.0), (len(points), 1)))
        np.maximum.at(depth[k], rays, hits.reshape(-1, 3)[:, 2])
        shape = Polygon()
        for ring in rings(one.visible):
            shape = shape.symmetric_difference(Polygon(ring))
        drawn[k] = contains_xy(shape, *points.T)
    met = np.isfinite(depth).any(axis=0)
    assert 40 < met.sum() < len(points)
    items = np.array([one.body.item for one in seen])
    for k in range(len(points)):
        nearest = items[int(np.argmax(depth[:, k]))] if met[k] else None
        assert list(dict.fromkeys(items[drawn[:, k]])) == ([] if nearest is None else [nearest])


def test_as_few_sides_as_show_all_heights() -> None:
    """Against trying all sides: one where one is enough, two where two are, and the best two where none are."""
    rng = np.random.default_rng(3)
    for _ in range(8):
        holes = [f"{string.ascii_uppercase[int(c)]}{int(r)}" for c, r in rng.integers(1, 7, (14, 2))]
        blocks = [
            {**named(f"b{k}", h, 30.0), "z": float(rng.integers(0, 7) * 10)} for k, h in enumerate(dict.fromkeys(holes))
        ]
        job = make_job(blocks=blocks)
        known, heights = levels(job), tops(job)
        seen = {s.words: shown(seen_from(job, s), heights) for s in SIDES}

        def count(*sides: str, known: Any = known, seen: Any = seen) -> int:
            clear = set().union(*(seen[s] for s in sides))
            return sum(bool(clear.intersection(names)) for names in known.values())

        found = [side.words for side, _ in chosen(job)]
        if len(known) < 2:
            assert found == []
            continue
        alone = max(count(s) for s in seen)
        assert len(found) == (1 if alone == len(known) else 2)
        assert count(*found) == max(count(*pair) for pair in combinations(seen, len(found)))


def test_two_sides_where_walls_hide_one_block_each_way() -> None:
    """One block between walls to the front and the back, another between walls to the left and the right."""
    walls = [named("f", "B2", 60.0, length=200.0), named("g", "B6", 60.0, length=200.0),
             {**named("l", "J7", 60.0, length=200.0), "turn": 90.0},
             {**named("r", "O7", 60.0, length=200.0), "turn": 90.0}]  # fmt: skip
    job = make_job(blocks=[*walls, named("a", "C4", 20.0), named("b", "L9", 25.0)])
    assert [side.words for side, _ in chosen(job)] == ["from the front", "from the right"]
    assert [shown(seen_from(job, side), tops(job)) & {"a", "b"} for side in SIDES] == [{"b"}, {"a"}, {"b"}, {"a"}]
    assert [shown(seen, tops(job)) & {"a", "b"} for _, seen in chosen(job)] == [{"b"}, {"a"}]


def test_names_that_count_on_are_joined() -> None:
    assert listed(["S1", "S3", "S10", "S2", "front"]) == ["front", "S1 to S3", "S10"]
    assert listed(["S1", "S2"]) == ["S1", "S2"]
    assert listed(["A1", "B2", "C3"]) == ["A1", "B2", "C3"]
    assert listed(["S08", "S09", "S10", "S11"]) == ["S08", "S09", "S10", "S11"]  # S9 would be another name
    assert listed(["7", "8", "9"]) == ["7 to 9"]


def test_many_heights_and_names_are_told_by_count() -> None:
    blocks = [named(f"{k:03d} quite long a name", f"{string.ascii_uppercase[k % 20]}{1 + k // 20}", 30.0) | {"z": k % 4}
              for k in range(60)]  # fmt: skip
    table = {"pitch": 50, "bore": 16, "columns": 60, "rows": 60, "edge": 50, "thickness": 12}
    view = elevations(make_job(blocks=blocks, table=table), 120.0, 20.0)[0]
    assert words(view).count(": 15 blocks") == 4
    many = [named(f"{k}x", f"{string.ascii_uppercase[k % 20]}{1 + k // 20}", 30.0) | {"z": k} for k in range(120)]
    view = elevations(make_job(blocks=many, table=table), 186.0, 20.0)[0]
    assert re.search(r"147 mm to 149 mm: (3 blocks|117x, 118x, 119x)", words(view))
    assert view.size[1] < 200.0


@pytest.mark.parametrize("units", ["mm", "in"])
def test_hostile_and_long_names_stay_in_the_drawing(units: Any) -> None:
    names = ["&lt;script&gt; & 'a'", "x" * 80, "#panic(1)", "]]& --", "ü 日本"]
    step = 30.0 if units == "mm" else 1.0
    blocks = [{"name": n, "hole": f"{'CFILO'[k]}3", "with": {"height": step * (k + 1)}} for k, n in enumerate(names)]
    job = make_job(
        units=units,
        blocks=blocks,
        table={
            "pitch": step + 20 if units == "mm" else 2,
            "bore": 16 if units == "mm" else "3/4",
            "columns": 20,
            "rows": 9,
        },
    )
    drawn = [*elevations(job, 186.0, 5.0), *plan(job, {True: (60.0, 60.0), False: (60.0, 60.0)}, (), PAGES).tiles]
    assert len(drawn) >= 2
    for drawing in drawn:
        assert "<script" not in drawing.svg
        for text, x, _ in texts(drawing):
            assert len(text) < 80
            assert -20.0 <= x <= drawing.size[0]
        assert ("mm:" in words(drawing)) <= (units == "mm")


# ---- the plan in parts


def long_job(columns: int = 92, rows: int = 40, corner: str = "front left", count: int = 24) -> Job:
    naming = make_job(table={"pitch": 50, "bore": 16, "columns": columns, "rows": rows}).table
    blocks = [
        {
            "name": f"B{k}",
            "hole": naming.hole_name(3 + (k * 7) % (columns - 6), 2 + (k * 5) % (rows - 5)),
            "turn": 90.0 * (k % 4),
        }
        for k in range(count)
    ]
    table = {"pitch": 50, "bore": 16, "columns": columns, "rows": rows, "edge": 50, "thickness": 12,
             "names": {"corner": corner}}  # fmt: skip
    return make_job(title="Long", blocks=blocks, table=table)


def drawn(job: Job) -> Plan:
    return plan(job, ROOM, (), PAGES)


def test_a_plan_that_can_be_read_has_no_parts() -> None:
    assert drawn(rack()).tiles == ()
    assert plan(long_job(), ROOM).tiles == ()  # not asked for


@pytest.mark.parametrize(
    ("columns", "rows", "corner"), [(92, 40, "front left"), (120, 100, "back right"), (30, 110, "front right")]
)
def test_parts_can_be_read_cover_all_and_share_one_line_of_holes(columns: int, rows: int, corner: str) -> None:
    job = long_job(columns, rows, corner, 60)
    whole = layout.best_fit(job, ROOM)
    tiles = tiling(job, whole, PAGES)
    assert len(tiles) > 1
    assert {t.total for t in tiles} == {len(tiles)}
    made = drawn(job).tiles
    for tile, drawing in zip(tiles, made, strict=True):
        assert 50.0 / tile.fit.scale >= LEAST_PITCH
        assert drawing.size[0] <= PAGES[drawing.flipped][0]
        assert drawing.size[1] + 10.0 <= PAGES[drawing.flipped][1]
        x0, y0, x1, y1 = tile.fit.window
        for side, back, axis in (("right", "left", 0), ("above", "below", 1)):
            number = getattr(tile, side)
            if not number:
                continue
            other = tiles[number - 1]
            assert getattr(other, back) == tile.number
            # One line of holes is in both windows, and no more.
            low, high = other.fit.window[axis], tile.fit.window[axis + 2]
            assert high - low == pytest.approx(50.0)
            line = (low + high) / 2
            assert line / 50.0 == pytest.approx(round(line / 50.0))
            assert line in tile.cuts[axis]
            assert line in other.cuts[axis]
            index = round(abs(line) / 50.0)
            name = (layout.column_name, layout.row_name)[axis](job.table, index)
            for one in (drawing, made[number - 1]):
                assert [t for t, _, _ in texts(one)].count(name) >= 2  # at both ends of the line
        said = words(drawing)
        for where in ("left", "right", "above", "below"):
            if getattr(tile, where):
                assert f"part {getattr(tile, where)}" in said
                assert f"part {getattr(tile, where)}" in drawing.title.replace("Part", "part")
        inside = [p for s in job.seats.values() for p in s.pins if p.state == "seated"
                  and x0 < p.at[0] < x1 and y0 < p.at[1] < y1]  # fmt: skip
        for pin in inside:
            assert _circle_at(drawing, tile.fit.paper(float(pin.at[0]), float(pin.at[1])), 8.0 / tile.fit.scale)
    for name, seat in job.seats.items():
        at = seat.pins[0].at
        mine = [d for t, d in zip(tiles, made, strict=True) if layout.within(t.fit.window, float(at[0]), float(at[1]))]
        assert 1 <= len(mine) <= 4
        assert all(name in [t for t, _, _ in texts(d)] for d in mine)


def _circle_at(drawing: Drawing, at: tuple[float, float], r: float) -> bool:
    found: list[float] = []
    for path in ET.fromstring(drawing.svg).iter(f"{SVG}path"):
        match = re.match(r"M(-?[\d.]+) (-?[\d.]+)a([\d.]+) ", path.attrib["d"])
        if match and path.attrib.get("fill") == "black" and abs(float(match[3]) - r) < 2e-3:
            found.append(np.hypot(float(match[1]) + r - at[0], float(match[2]) - at[1]))
    return min(found, default=1.0) < 3e-3


def test_columns_of_a_part_are_told_from_left_to_right() -> None:
    """With A1 at the right the first part begins with the last letters."""
    first = drawn(long_job(corner="back right")).tiles[0]
    left, right = re.search(r"columns ([A-Z]+) to ([A-Z]+)", first.title).groups()  # type: ignore[union-attr]
    at = {text: x for text, x, _ in texts(first) if text in (left, right)}
    assert at.get(left, 0.0) < at[right]


def test_the_overview_numbers_the_parts() -> None:
    overview = drawn(long_job())
    numbers = [float(x) for text, x, _ in texts(overview) if text in ("1", "2", "3") and x > 9.0]
    assert len(overview.tiles) == 3
    assert len(numbers) >= 3


def test_parts_with_nothing_on_them_are_left_out_and_too_many_are_drawn_smaller() -> None:
    far = make_job(
        blocks=[{"name": "S1", "hole": "C3"}, {"name": "S2", "hole": "CG96"}],
        table={"pitch": 50, "bore": 16, "columns": 90, "rows": 100, "edge": 50, "thickness": 12},
    )
    tiles = tiling(far, layout.best_fit(far, ROOM), PAGES)
    assert len(tiles) == 2
    assert all(not (t.left or t.right or t.above or t.below) for t in tiles)
    letters = make_job().table.naming.letters
    spread = make_job(
        blocks=[{"name": f"S{k}", "hole": f"{letters(40 * (k % 8))}{1 + 40 * (k // 8)}"} for k in range(64)],
        table={"pitch": 50, "bore": 16, "columns": 400, "rows": 400, "edge": 50, "thickness": 12},
    )  # fmt: skip
    tiles = tiling(spread, layout.best_fit(spread, ROOM), PAGES)
    assert 0 < len(tiles) <= MOST
    assert tiles[0].fit.scale > 10.0


def test_a_weld_that_runs_on_is_numbered_in_both_parts() -> None:
    from fixture3d.sheet.order import Mark

    job = long_job()
    path = np.array([[100.0, 400.0, 50.0], [4000.0, 400.0, 50.0]])
    spot = np.array([[300.0, 300.0, 50.0]])
    made = plan(job, ROOM, (Mark(label="17w", path=path), Mark(label="t9w", path=spot)), PAGES)
    assert [[t for t, _, _ in texts(d)].count("17w") for d in made.tiles] == [1, 1, 1]
    assert [[t for t, _, _ in texts(d)].count("t9w") for d in made.tiles] == [1, 0, 0]
    assert "17w" not in words(made)


def test_lines_and_outlines_are_cut_off_as_shapely_does_it() -> None:
    rng = np.random.default_rng(11)
    window = (0.0, 0.0, 100.0, 60.0)
    for _ in range(200):
        path = rng.uniform(-40.0, 140.0, (rng.integers(2, 7), 2))
        wanted = LineString(path).intersection(box(*window))
        wanted = MultiLineString([wanted]) if isinstance(wanted, LineString) and not wanted.is_empty else wanted
        runs = runs_inside(path, window)
        assert sum(LineString(r).length for r in runs) == pytest.approx(wanted.length, abs=1e-9)
        ring = np.asarray(rotate(box(0, 0, *rng.uniform(20, 150, 2)), rng.uniform(0, 90)).exterior.coords)[:-1]
        ring = ring + rng.uniform(-60.0, 100.0, 2)
        area = sum(Polygon(r).area for r in clipped([ring], window))
        assert area == pytest.approx(Polygon(ring).intersection(box(*window)).area, abs=1e-6)
    assert runs_inside(np.array([[5.0, 5.0]]), window)[0].tolist() == [[5.0, 5.0]]
    assert runs_inside(np.array([[5.0, 65.0]]), window) == []


# ---- what the sheet gets


def test_the_sheet_has_views_and_parts_and_the_same_bytes_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    got: list[dict[str, Any]] = []

    def typeset(package: str, template: str, data: dict[str, Any], what: str = "sheet") -> bytes:
        got.append(data)
        return b""

    monkeypatch.setattr(pdf, "typeset", typeset)
    papers: tuple[Paper, ...] = ("a4", "letter")
    for paper in papers:
        for _ in range(2):
            pdf.sheet_pdf(long_job(count=8), paper)
        first, second = got[-2:]
        assert first == second
        for kind, few in (("elevations", 0), ("tiles", 2)):
            assert len(first[kind]) >= few
            for each in first[kind]:
                assert {"title", "svg", "width", "height", "scale", "flipped"} <= set(each)
                assert each["svg"].startswith("<svg")
    pdf.sheet_pdf(rack(), "a4")
    assert got[-1]["tiles"] == []
    assert [each["scale"] for each in got[-1]["elevations"]] == [got[-1]["plan"]["scale"]]


def test_all_four_sides_are_known_by_their_words() -> None:
    assert [side.words.split()[-1] for side in elevation.SIDES] == ["front", "right", "back", "left"]
