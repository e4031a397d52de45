"""The 3D page in a real browser, from disk and with the network off.

Needs playwright and a Chromium: Debian's ``chromium``, the one that ``playwright install chromium`` puts in its own
folder, or the program that FIXTURE3D_CHROMIUM names. Without one all of it is skipped, unless FIXTURE3D_NEED_BROWSER is
set, as `.ci/run` does.
"""

from __future__ import annotations

import io
import math
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixture3d.preview.page.positions import from_bitset, positions
from fixture3d.scene import Scene
from fixture3d.units import show
from tests.page_jobs import BENCH, STAGED, Made, bench, hostile, made, of_jobs, solids, solids_job

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--use-gl=angle", "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
WITHIN = 0.02  # mm between a measure on the page and the kernel's
DESK, TABLET, PHONE = (900, 640), (768, 1024), (412, 915)

Page = Any
Open = Callable[..., Any]


def chromium() -> str:
    """A browser to test with, or an empty string."""
    named = os.environ.get("FIXTURE3D_CHROMIUM", "")
    found = named or next((p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), "")
    return found or ""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    needed = bool(os.environ.get("FIXTURE3D_NEED_BROWSER"))

    def without(why: str) -> None:
        if needed:
            pytest.fail(f"FIXTURE3D_NEED_BROWSER is set, but {why}")
        pytest.skip(why)

    try:
        from playwright.sync_api import Error, sync_playwright
    except ImportError:
        without("playwright is not installed; pip install playwright")
    with sync_playwright() as playwright:
        program = chromium() or None
        if program is None and not Path(playwright.chromium.executable_path).exists():
            without("no Chromium is installed; apt-get install chromium, or: playwright install chromium")
        try:
            started = playwright.chromium.launch(executable_path=program, args=FLAGS)
        except Error as error:
            without(f"the browser does not start: {str(error).splitlines()[0]}")
        yield started
        started.close()


@pytest.fixture(scope="module")
def opened(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Open:
    """Opens a page of its own; what it asks for and what it complains about is looked at when it closes."""

    @contextmanager
    def open_page(got: Made, size: tuple[int, int] = DESK, **context: Any) -> Iterator[Page]:
        file = tmp_path_factory.mktemp("page") / "page.html"
        file.write_bytes(got.html)
        asked: list[str] = []
        wrong: list[str] = []
        room = browser.new_context(viewport={"width": size[0], "height": size[1]}, **context)
        room.set_offline(True)

        def refuse(dialog: Any) -> None:
            wrong.append(f"dialog: {dialog.message}")
            dialog.dismiss()

        page = room.new_page()
        page.set_default_timeout(30_000)
        page.on("request", lambda request: asked.append(request.url))
        page.on("pageerror", lambda error: wrong.append(str(error)))
        # Remarks of the software renderer about its own speed are warnings, and not of the page.
        page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
        page.on("dialog", refuse)
        page.goto(file.as_uri())
        if context.get("java_script_enabled", True):
            page.evaluate("window.fixture3d.ready")
        yield page
        assert [url for url in asked if not url.startswith(("data:", "blob:"))] == [file.as_uri()]
        assert wrong == []
        room.close()

    return open_page


@pytest.fixture(scope="module")
def desk(opened: Open) -> Iterator[Page]:
    """The bench on a laptop, shared by the tests that leave it as they found it."""
    with opened(bench(), reduced_motion="reduce") as page:
        yield page


@pytest.fixture
def bench_page(desk: Page) -> Page:
    """The same, with everything shown and nothing chosen."""
    desk.evaluate("() => { const f = window.fixture3d; f.cut(null); f.pick(null); f.showAll(); f.view('fit'); }")
    desk.evaluate("document.activeElement?.blur()")
    return desk


def state(page: Page) -> dict[str, Any]:
    """What the page shows now."""
    found: dict[str, Any] = page.evaluate("window.fixture3d.state()")
    return found


def settle(page: Page) -> None:
    """Wait until what was asked for is drawn."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


def spot_of(page: Page, at: Any) -> dict[str, float]:
    """Where a place in the world is on the screen."""
    settle(page)
    found: dict[str, float] = page.evaluate("p => window.fixture3d.screen(p)", [float(v) for v in at])
    return found


def click_at(page: Page, at: Any) -> None:
    """Click on a place in the world."""
    spot = spot_of(page, at)
    page.mouse.click(spot["x"], spot["y"])


def box_of(got: Made, name: str, stage: int = 0) -> Any:
    """Box (2, 3) of a body in the world."""
    return next(body for body in got.jobs[stage].bodies if body.name == name).box


# --- opening ---------------------------------------------------------------------------------------------------------


def test_opens_from_disk_and_says_what_it_is(bench_page: Page) -> None:
    data, text = bench().data, bench_page.inner_text("header")
    for part in (data["scene"], data["code"], data["verdict"]["text"].partition(" - ")[0]):
        assert part in text
    assert bench_page.title().startswith(data["scene"])
    assert sorted(state(bench_page)["seen"]) == sorted(b["name"] for b in data["bodies"] if b["layer"] != "keep-outs")
    bench_page.click("text=Cautions")
    told = bench_page.inner_text("dialog[open]")
    assert all(caution in told for caution in data["cautions"])
    bench_page.keyboard.press("Escape")
    assert bench_page.locator("dialog[open]").count() == 0


def test_without_scripts_it_says_what_it_is(opened: Open) -> None:
    with opened(bench(), java_script_enabled=False) as page:
        assert "scripts are switched off" in page.inner_text("noscript")


def test_texts_of_a_scene_are_shown_and_do_nothing(opened: Open) -> None:
    got = hostile()
    with opened(got) as page:
        assert page.evaluate("window.caught") is None
        assert page.locator("img").count() == 0
        assert page.inner_text("#name").startswith("</script><script>window.caught = 1</script><img src=x")
        for k, row in enumerate(got.data["findings"][:2]):
            page.evaluate("k => window.fixture3d.fly(k)", k)
            assert row["remedy"][:40] in page.inner_text("#panel-findings")
        page.evaluate("n => window.fixture3d.weld(n)", got.data["welds"][0]["name"])
        page.evaluate(
            "n => window.fixture3d.pick(n)", next(i["name"] for i in got.data["items"] if i["name"][0] == "<")
        )
        assert page.evaluate("window.caught") is None
        assert page.locator("img, iframe, object").count() == 0
        assert page.evaluate("document.querySelectorAll('script:not([type])').length") == 1
        assert overflow(page) == 0


# --- looking ---------------------------------------------------------------------------------------------------------


def test_a_click_picks_and_tells(bench_page: Page) -> None:
    for name in ("T1", "R1", "post"):
        bench_page.evaluate("() => { window.fixture3d.layer('names', false); window.fixture3d.view('top'); }")
        low, high = box_of(bench(), name)
        # Beside the middle, where a block has its bores and a neighbour its name.
        click_at(bench_page, [low[0] + 0.2 * (high[0] - low[0]), low[1] + 0.8 * (high[1] - low[1]), high[2]])
        assert state(bench_page)["picked"] == name
        card = bench_page.inner_text("#card")
        facts = dict(next(i for i in bench().data["items"] if i["name"] == name)["facts"])
        assert name in card
        assert all(value in card for value in facts.values())
    bench_page.evaluate("window.fixture3d.layer('names', true)")


def test_a_picked_part_is_marked_in_the_picture(bench_page: Page) -> None:
    """Not by its name and not by its card alone: what is drawn of the part itself changes."""
    bench_page.evaluate("['names', 'motions'].forEach(layer => window.fixture3d.layer(layer, false))")
    bench_page.evaluate("window.fixture3d.view('top')")
    for name in ("T1", "handle"):  # one with sharp edges, one round
        low, high = box_of(bench(), name)
        spots = [spot_of(bench_page, (*at[:2], high[2])) for at in (low, high)]
        left, right = sorted(s["x"] for s in spots)
        upper, lower = sorted(s["y"] for s in spots)
        clip = {"x": left, "y": upper, "width": right - left, "height": lower - upper}
        pictures = []
        for picked in (None, name):
            bench_page.evaluate("n => window.fixture3d.pick(n)", picked)
            settle(bench_page)
            pictures.append(pixels(bench_page.screenshot(clip=clip)))
        changed = (np.abs(pictures[0] - pictures[1]).max(axis=2) > 60).mean()
        assert changed > 0.2, (name, changed)
    bench_page.evaluate("window.fixture3d.pick(null)")
    bench_page.evaluate("['names', 'motions'].forEach(layer => window.fixture3d.layer(layer, true))")


def pixels(png: bytes) -> Any:
    """Picture as (height, width, 3), 0 to 255."""
    from PIL import Image

    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"), dtype=float)


def test_rooms_at_welds_are_folded(bench_page: Page) -> None:
    bench_page.keyboard.press("p")
    rooms = [item["name"] for item in bench().data["items"] if item["kind"] == "keep-out"]
    assert rooms
    fold = bench_page.locator("#part-list details")
    assert f"({len(rooms)})" in fold.locator("summary").inner_text()
    assert not fold.locator("li").first.is_visible()
    fold.locator("summary").click()
    fold.locator("li button").first.click()
    assert state(bench_page)["picked"] == rooms[0]
    assert rooms[0] in state(bench_page)["seen"]
    fold.locator("summary").click()
    bench_page.evaluate("() => { window.fixture3d.pick(null); window.fixture3d.layer('keep-outs', false); }")


@pytest.mark.parametrize("size", [(1280, 800), (1366, 768), TABLET, PHONE])
def test_the_way_out_of_help_is_in_sight(bench_page: Page, size: tuple[int, int]) -> None:
    bench_page.set_viewport_size({"width": size[0], "height": size[1]})
    bench_page.keyboard.press("?")
    close = bench_page.locator("#keys .close").bounding_box()
    fits = bench_page.evaluate(
        "() => { const d = document.getElementById('keys'); return d.scrollHeight <= d.clientHeight; }"
    )
    last = bench_page.locator("#key-list > div").last
    last.scroll_into_view_if_needed()
    row = last.bounding_box()
    bench_page.keyboard.press("Escape")
    bench_page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    assert close["y"] >= 0
    assert close["y"] + close["height"] <= size[1]
    assert row["y"] + row["height"] <= size[1]
    assert fits or size == PHONE


def test_there_is_no_steel_in_a_slot(opened: Open) -> None:
    table = {**BENCH["table"], "slots": [{"name": "long", "from": [400, 500], "to": [600, 500], "width": 20}]}
    with opened(made({**BENCH, "table": table}, checked=False), reduced_motion="reduce") as page:
        page.evaluate("() => { window.fixture3d.layer('names', false); window.fixture3d.view('top'); }")
        # Beside the round end, inside it, on a hole that the slot has cut, and in the middle.
        for x, inside in ((613.0, False), (608.0, True), (500.0, True), (520.0, True)):
            page.evaluate("window.fixture3d.pick(null)")
            click_at(page, [x, 500.0, 0.0])
            assert state(page)["slot"] == ("long" if inside else None), x
        assert "20 mm" in page.inner_text("#card")
        page.click("#tab-measure")
        click_at(page, [520.0, 500.0, 0.0])
        assert state(page)["ends"] == []
        assert "no steel" in page.inner_text("#measured").lower()
        click_at(page, [520.0, 525.0, 0.0])
        assert len(state(page)["ends"]) == 1


def test_hide_only_and_all(bench_page: Page) -> None:
    everything = state(bench_page)["seen"]
    own = [b["name"] for b in bench().data["bodies"] if bench().data["items"][b["item"]]["name"] == "S1"]
    bench_page.evaluate("window.fixture3d.hide('S1')")
    assert state(bench_page)["seen"] == [name for name in everything if name not in own]
    bench_page.evaluate("window.fixture3d.showAll()")
    assert state(bench_page)["seen"] == everything
    bench_page.evaluate("window.fixture3d.only('S1')")
    assert state(bench_page)["seen"] == own
    bench_page.evaluate("window.fixture3d.showAll()")
    assert state(bench_page)["seen"] == everything


def test_layers(bench_page: Page) -> None:
    bench_page.evaluate("window.fixture3d.layer('blocks', false)")
    layers = {b["name"]: b["layer"] for b in bench().data["bodies"]}
    assert {layers[name] for name in state(bench_page)["seen"]} == {"pieces"}
    bench_page.evaluate("() => { window.fixture3d.layer('blocks', true); window.fixture3d.layer('keep-outs', true); }")
    assert "keep-outs" in {layers[name] for name in state(bench_page)["seen"]}
    bench_page.evaluate("window.fixture3d.layer('keep-outs', false)")


def test_a_cut_takes_away_what_lies_behind_it(bench_page: Page) -> None:
    bench_page.evaluate("() => { window.fixture3d.layer('names', false); window.fixture3d.view('top'); }")
    low, high = box_of(bench(), "T1")
    spot = [low[0] + 0.2 * (high[0] - low[0]), low[1] + 0.8 * (high[1] - low[1]), high[2]]
    picture = bench_page.screenshot()
    picked = []
    for flipped in (False, True):
        bench_page.evaluate("([mm, f]) => window.fixture3d.cut('x', mm, f)", [float(low[0]) - 20.0, flipped])
        assert state(bench_page)["cut"] == {"axis": "x", "mm": pytest.approx(float(low[0]) - 20.0), "flipped": flipped}
        assert bench_page.screenshot() != picture
        bench_page.evaluate("window.fixture3d.pick(null)")
        click_at(bench_page, spot)
        picked.append(state(bench_page)["picked"])
    assert sorted(picked, key=str) == [None, "T1"] or set(picked) == {"T1", None}
    bench_page.evaluate("() => { window.fixture3d.cut(null); window.fixture3d.layer('names', true); }")
    assert state(bench_page)["cut"] is None


@pytest.mark.parametrize(
    ("name", "out"),
    [("top", (0, 0, 1)), ("front", (0, -1, 0)), ("back", (0, 1, 0)), ("left", (-1, 0, 0)), ("right", (1, 0, 0))],
)
def test_views(bench_page: Page, name: str, out: tuple[float, float, float]) -> None:
    bench_page.evaluate("n => window.fixture3d.view(n)", name)
    camera = state(bench_page)["camera"]
    way = np.array(camera["eye"]) - np.array(camera["target"])
    assert np.allclose(way / np.linalg.norm(way), out, atol=0.02)
    for body in bench().jobs[0].bodies:
        for corner in body.box:
            spot = spot_of(bench_page, corner)
            assert 0 <= spot["x"] <= DESK[0]
            assert 0 <= spot["y"] <= DESK[1]


def test_by_keyboard_alone(bench_page: Page) -> None:
    page = bench_page
    page.keyboard.press("2")
    way = np.array(state(page)["camera"]["eye"]) - np.array(state(page)["camera"]["target"])
    assert way[2] > 0.99 * np.linalg.norm(way)
    page.keyboard.press("x")
    assert state(page)["cut"]["axis"] == "x"
    page.keyboard.press("x")
    assert state(page)["cut"] is None
    page.keyboard.press("n")
    assert state(page)["finding"] == 0
    page.keyboard.press("j")
    first = state(page)["weld"]
    page.keyboard.press(".")
    page.keyboard.press(",")
    assert state(page)["weld"] == first
    page.keyboard.press("Escape")
    assert state(page)["weld"] is None
    page.keyboard.press("?")
    assert page.locator("dialog[open]").count() == 1
    page.keyboard.press("Escape")
    # The picture itself can be turned, and every control is reached one after the other.
    page.focus("#gl")
    before = state(page)["camera"]["eye"]
    page.keyboard.press("ArrowLeft")
    assert not np.allclose(state(page)["camera"]["eye"], before)
    page.keyboard.press("p")
    reached = []
    for _ in range(12):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate("document.activeElement.tagName + document.activeElement.textContent.slice(0, 12)")
        )
        seen = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert seen != "none", reached[-1]
    assert len(set(reached)) > 8


# --- measuring -------------------------------------------------------------------------------------------------------


def kernel_faces() -> dict[str, list[Any]]:
    """Faces of the solids in their places, in the kernel's order, which is that of the page."""
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    from fixture3d.solid import kernel

    out: dict[str, list[Any]] = {}
    for body in solids_job().bodies:
        explorer = TopExp_Explorer(kernel.moved(solids()[body.name], body.body_to_world), TopAbs_FACE)
        out[body.name] = []
        while explorer.More():
            out[body.name].append(TopoDS.Face_s(explorer.Current()))
            explorer.Next()
    return out


def kernel_distance(a: Any, b: Any) -> float:
    from fixture3d.solid import kernel

    found = kernel.distance(a, b)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def solids_page(opened: Open) -> Iterator[Page]:
    with opened(of_jobs((solids_job(),)), size=(500, 400)) as page:
        yield page


def test_measures_between_faces_are_those_of_the_kernel(solids_page: Page) -> None:
    faces = kernel_faces()
    names = list(faces)
    told = solids_page.evaluate("n => n.map((_, k) => window.fixture3d.faces(k).length)", names)
    assert told == [len(faces[name]) for name in names]
    rng = np.random.default_rng(11)
    pairs: list[tuple[str, int, str, int]] = []
    while len(pairs) < 48:
        a, b = (str(n) for n in rng.choice(names, size=2))
        pair = (a, int(rng.integers(len(faces[a]))), b, int(rng.integers(len(faces[b]))))
        if pair[:2] != pair[2:]:
            pairs.append(pair)
    found = solids_page.evaluate(
        """pairs => pairs.map(([a, i, b, j]) =>
        window.fixture3d.measure({body: a, face: i}, {body: b, face: j}).distance)""",
        [list(pair) for pair in pairs],
    )
    wrong = []
    for (a, i, b, j), distance in zip(pairs, found, strict=True):
        true = kernel_distance(faces[a][i], faces[b][j])
        if abs(distance - true) > WITHIN:
            wrong.append((a, i, b, j, distance, true))
    assert wrong == []


def test_measures_between_parallel_faces_and_axes_are_square(solids_page: Page) -> None:
    result = solids_page.evaluate("() => window.fixture3d.measure({body: 'box', face: 0}, {body: 'box', face: 1})")
    assert result["square"]["mm"] == pytest.approx(60.0, abs=1e-3)
    assert result["distance"] == pytest.approx(60.0, abs=1e-3)
    bores = [k for k, s in enumerate(solids_page.evaluate("window.fixture3d.faces(6)")) if s["kind"] == "cylinder"]
    assert len(bores) == 2
    between = solids_page.evaluate(
        "([i, j]) => window.fixture3d.measure({body: 'plate', face: i}, {body: 'plate', face: j})", bores
    )
    assert between["centres"]["mm"] == pytest.approx(math.hypot(50, 30), abs=1e-3)
    assert between["distance"] == pytest.approx(math.hypot(50, 30) - 16.0, abs=WITHIN)


def test_measures_between_holes_and_from_a_hole_to_a_face(bench_page: Page) -> None:
    table = bench().jobs[0].table
    for a, b in (("A1", "B1"), ("C4", "N12"), ("E6", "E9")):
        found = bench_page.evaluate("([a, b]) => window.fixture3d.measure({hole: a}, {hole: b})", [a, b])
        assert found["distance"] == pytest.approx(math.dist(table.find(a).xyz, table.find(b).xyz), abs=1e-9)
    assert bench_page.evaluate("() => window.fixture3d.measure({hole: 'A1'}, {hole: 'B1'}).text") == "50 mm"
    # The top of T1 stands over the hole in its middle.
    t1 = next(k for k, b in enumerate(bench().data["bodies"]) if b["name"] == "T1")
    found = bench_page.evaluate(
        """k => window.fixture3d.faces(k).map((_, f) =>
        window.fixture3d.measure({hole: 'A1'}, {body: k, face: f}).distance)""",
        t1,
    )
    faces = _faces_of(bench(), "T1")
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.gp import gp_Pnt

    hole = BRepBuilderAPI_MakeVertex(gp_Pnt(0, 0, 0)).Vertex()
    assert len(found) == len(faces)
    for distance, face in zip(found, faces, strict=True):
        assert distance == pytest.approx(kernel_distance(hole, face), abs=WITHIN)


def _faces_of(got: Made, name: str) -> list[Any]:
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    from fixture3d.solid import kernel

    body = next(b for b in got.jobs[0].bodies if b.name == name)
    explorer = TopExp_Explorer(kernel.moved(body.shape.brep, body.body_to_world), TopAbs_FACE)
    out = []
    while explorer.More():
        out.append(TopoDS.Face_s(explorer.Current()))
        explorer.Next()
    return out


def test_two_taps_measure(bench_page: Page) -> None:
    page = bench_page
    page.evaluate("() => { window.fixture3d.layer('names', false); window.fixture3d.view('top'); }")
    page.click("#tab-measure")
    table = bench().jobs[0].table
    boxes = [body.box for body in bench().jobs[0].bodies]
    holes = [table.at(i, j) for i in range(3, 9) for j in range(3, 11)]
    covered = [
        any((b[0, :2] < np.add(h.xy, 15)).all() and (b[1, :2] > np.subtract(h.xy, 15)).all() for b in boxes)
        for h in holes
    ]
    under = "s => document.elementFromPoint(s.x, s.y)?.id"  # the keys of the views lie over the picture
    open_ = [
        hole
        for hole, hidden in zip(holes, covered, strict=True)
        if not hidden and page.evaluate(under, spot_of(page, hole.xyz)) == "gl"
    ]
    first, last = open_[0], open_[-1]
    for hole in (first, last):
        click_at(page, hole.xyz)
    assert [first.name in words for words in state(page)["ends"]] == [True, False]
    assert state(page)["measured"]["distance"] == pytest.approx(math.dist(first.xyz, last.xyz), abs=1e-9)
    assert show(math.dist(first.xyz, last.xyz)) in page.inner_text("#measured")
    page.keyboard.press("Escape")
    assert state(page)["measured"] is None
    page.evaluate("window.fixture3d.layer('names', true)")


def test_inch_files_are_measured_in_inches(opened: Open) -> None:
    tables = {"format": 1, "units": "in", "table": "2/(3/4) 24x24",
              "place": [{"name": "S1", "model": "stop_block", "hole": "C4"}]}  # fmt: skip
    with opened(made(tables, checked=False), size=(500, 400)) as page:
        for a, b in (("A1", "B1"), ("A1", "B2"), ("C3", "F9")):
            told = page.evaluate("([a, b]) => window.fixture3d.measure({hole: a}, {hole: b}).text", [a, b])
            table = Scene.from_dict(tables).table
            assert told == show(math.dist(table.find(a).xyz, table.find(b).xyz), "in")


# --- findings, welds, stages -----------------------------------------------------------------------------------------


def test_findings_lead_to_their_place(bench_page: Page) -> None:
    rows = bench().data["findings"]
    assert rows
    for k, row in enumerate(rows):
        bench_page.evaluate("k => window.fixture3d.fly(k)", k)
        assert state(bench_page)["finding"] == k
        text = bench_page.inner_text("#panel-findings")
        assert row["message"] in text
        assert row["remedy"] in text
        if row["at"] is not None:
            assert np.allclose(state(bench_page)["camera"]["target"], row["at"], atol=1.0)


def test_a_part_tells_what_it_lies_against_and_how_it_can_move(bench_page: Page) -> None:
    lie = bench().data["lies"][0]
    post = next(piece for piece in lie["pieces"] if piece["name"] == "post")
    bench_page.keyboard.press("p")
    bench_page.evaluate("window.fixture3d.pick('post')")
    card = bench_page.inner_text("#card")
    for label, text in post["facts"]:
        assert label in card
        assert text in card
    keys = bench_page.locator("#card .contacts button")
    assert keys.count() == len(post["contacts"]) > 1
    keys.nth(1).focus()
    bench_page.keyboard.press("Enter")
    at = np.mean([place["at"] for place in post["contacts"][1]["places"]], axis=0)
    assert np.allclose(state(bench_page)["camera"]["target"], at, atol=1.0)
    assert bench_page.evaluate("document.activeElement.closest('#card') !== null")  # the focus stays in the card
    # A block tells the same from its side.
    bench_page.evaluate("window.fixture3d.pick('R1')")
    assert "post" in bench_page.inner_text("#card .contacts")


def test_contacts_and_motions_are_drawn_and_switched_by_keys(bench_page: Page) -> None:
    settle(bench_page)
    drawn = state(bench_page)["lies"]
    assert drawn["contacts"] > 0
    assert drawn["motions"] >= len(bench().data["lies"][0]["motions"]) > 0
    for key, what in (("l", "contacts"), ("e", "motions")):
        bench_page.keyboard.press(key)
        settle(bench_page)
        assert state(bench_page)["lies"] == {**drawn, what: 0}
        bench_page.keyboard.press(key)
    settle(bench_page)
    assert state(bench_page)["lies"] == drawn


def test_a_tap_on_the_line_of_a_weld_opens_the_weld(bench_page: Page) -> None:
    bench_page.evaluate("['names', 'motions', 'pins'].forEach(layer => window.fixture3d.layer(layer, false))")
    bench_page.evaluate("() => { window.fixture3d.pick(null); window.fixture3d.view('top'); }")
    weld = next(w for w in bench().data["welds"] if w["name"] == "top")
    at = np.mean(weld["path"], axis=0)
    spot = spot_of(bench_page, at)
    bench_page.mouse.click(spot["x"] + 3, spot["y"])
    assert state(bench_page)["weld"]["name"] == "top"
    assert state(bench_page)["picked"] is None
    bench_page.keyboard.press("Escape")
    bench_page.evaluate("window.fixture3d.view('top')")
    spot = spot_of(bench_page, at)
    bench_page.mouse.click(spot["x"] - 16, spot["y"])
    assert state(bench_page)["weld"] is None
    assert state(bench_page)["picked"] in ("post", "arm")
    bench_page.evaluate("['names', 'motions', 'pins'].forEach(layer => window.fixture3d.layer(layer, true))")


def test_torch_is_free_where_the_kernel_says_so(bench_page: Page) -> None:
    found = positions(bench().jobs[0])
    rng = np.random.default_rng(3)
    for name, one in found.items():
        count, directions, rolls = one.free.shape
        asked = [[int(rng.integers(n)) for n in (count, directions, rolls)] for _ in range(40)]
        told = bench_page.evaluate(
            """([n, all]) => all.map(([p, d, r]) => {
            window.fixture3d.weld(n, p, d, r); return window.fixture3d.state().weld; })""",
            [name, asked],
        )
        for (p, d, r), row in zip(asked, told, strict=True):
            assert (row["point"], row["direction"], row["roll"]) == (p, d, r)
            assert bool(row["free"]) == bool(one.free[p, d, r])


def test_the_page_names_who_is_in_the_way(bench_page: Page) -> None:
    name, one = next((n, o) for n, o in positions(bench().jobs[0]).items() if any(o.blockers))
    point = next(k for k, row in enumerate(one.blockers) if row)
    direction, roll = (int(v) for v in np.argwhere(one.free[point] == 0)[0])
    bench_page.evaluate("a => window.fixture3d.weld(...a)", [name, point, direction, roll])
    assert one.blockers[point][0][0] in bench_page.inner_text("#weld-detail")


def test_a_run_is_played_from_end_to_end(bench_page: Page) -> None:
    name, one = next((n, o) for n, o in positions(bench().jobs[0]).items() if sum(s is not None for s in o.run) > 2)
    bench_page.evaluate("n => window.fixture3d.weld(n)", name)
    bench_page.evaluate(
        """() => { window.trail = []; const watch = () => { const w = window.fixture3d.state().weld;
        if (w) window.trail.push([w.point, w.direction, w.roll, w.free]);
        window.watching = requestAnimationFrame(watch); };
        window.fixture3d.play(); watch(); }"""
    )
    bench_page.wait_for_function("() => !window.fixture3d.state().weld.playing")
    trail = bench_page.evaluate("() => { cancelAnimationFrame(window.watching); return window.trail; }")
    seen = list(dict.fromkeys(tuple(row) for row in trail))
    steps = {k: step for k, step in enumerate(one.run) if step is not None}
    assert all(free for *_, free in seen)
    assert all(steps[p] == (d, r) for p, d, r, _ in seen if p in steps)
    assert {p for p, *_ in seen} >= {min(steps), max(steps)}


def test_stages_are_switched(opened: Open) -> None:
    got = made(STAGED, checked=False)
    assert len(got.data["stages"]) == 2
    with opened(got, reduced_motion="reduce") as page:
        for stage in (0, 1, 0):
            page.evaluate("k => window.fixture3d.stage(k)", stage)
            assert state(page)["stage"] == stage
            there = {b["name"] for b in got.data["bodies"] if b["stages"] is None or stage in b["stages"]}
            assert set(state(page)["seen"]) == {n for n in there if not n.startswith("room at")}
        moved = [b for b in got.data["bodies"] if b["name"] == "post"]
        assert [b["stages"] for b in moved] == [[0], [1]]
        page.keyboard.press("t")
        assert state(page)["stage"] == 1
        page.evaluate("n => window.fixture3d.weld(n)", next(w["name"] for w in got.data["welds"] if w["stage"] == 0))
        assert state(page)["stage"] == 0


# --- reading it ------------------------------------------------------------------------------------------------------

CONTRAST = """() => {
  const rgb = t => { const m = t.match(/[\\d.]+/g).map(Number); return [m[0], m[1], m[2], m[3] ?? 1]; };
  const light = c => c.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  const lum = c => { const [r, g, b] = light(c.slice(0, 3));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const over = (a, b) => [0, 1, 2].map(k => a[k] * a[3] + b[k] * (1 - a[3])).concat(1);
  const ground = e => { const all = [];
    for (; e; e = e.parentElement) all.push(rgb(getComputedStyle(e).backgroundColor));
    return all.reverse().reduce((under, c) => over(c, under), [255, 255, 255, 1]); };
  const out = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement, text = walk.currentNode.data.trim();
    if (!text || e.matches('script, style, noscript') || !e.checkVisibility({visibilityProperty: true})) continue;
    const s = getComputedStyle(e), back = ground(e), front = over(rgb(s.color), back);
    const [hi, lo] = [lum(front), lum(back)].sort((a, b) => b - a), size = parseFloat(s.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(s.fontWeight) >= 700);
    const disabled = e.closest(':disabled') !== null;
    out.push({text: text.slice(0, 30), ratio: (hi + 0.05) / (lo + 0.05), need: disabled ? 0 : large ? 3 : 4.5});
  }
  return out;
}"""


def test_text_has_the_contrast_of_wcag_aa(bench_page: Page) -> None:
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1, 3 to 1 for large text."""
    page = bench_page
    seen = 0
    for tab in ("parts", "findings", "welds", "measure", "cut", "show"):
        page.click(f"#tab-{tab}")
        if tab == "findings":
            page.evaluate("window.fixture3d.fly(0)")
        if tab == "welds":
            page.evaluate("n => window.fixture3d.weld(n)", bench().data["welds"][0]["name"])
        rows = page.evaluate(CONTRAST)
        seen += len(rows)
        assert [row for row in rows if row["ratio"] < row["need"]] == []
    page.keyboard.press("?")
    rows = page.evaluate(CONTRAST)
    assert [row for row in rows if row["ratio"] < row["need"]] == []
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    assert seen > 100


def overflow(page: Page) -> int:
    """By how many pixels the page is wider than its window."""
    found: int = page.evaluate("document.scrollingElement.scrollWidth - window.innerWidth")
    return max(0, found)


SMALL = """() => [...document.querySelectorAll('button, select, summary, input, [role=tab], label.check')]
  .filter(e => e.checkVisibility() && !e.closest('label.check input'))
  .map(e => { const b = (e.closest('label.check') ?? e).getBoundingClientRect();
     const text = e.textContent.slice(0, 20) || e.id;
     return {text, width: b.width, height: b.height, right: b.right, left: b.left}; })
  .filter(b => b.width > 0)"""


@pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet upright", "phone"])
def test_upright_screens(opened: Open, size: tuple[int, int]) -> None:
    with opened(bench(), size=size, has_touch=True, reduced_motion="reduce") as page:
        for tab in ("parts", "findings", "welds", "measure", "cut", "show"):
            page.tap(f"#tab-{tab}")
            if tab == "welds":
                page.evaluate("n => window.fixture3d.weld(n)", bench().data["welds"][0]["name"])
            assert overflow(page) == 0, tab
            controls = page.evaluate(SMALL)
            assert controls
            for box in controls:
                assert box["height"] >= 40, (tab, box)
                assert box["width"] >= 40, (tab, box)
                assert box["left"] >= 0, (tab, box)
                assert box["right"] <= size[0] + 0.5, (tab, box)
        picture = page.evaluate(
            "(() => { const b = document.getElementById('gl').getBoundingClientRect(); return [b.width, b.height]; })()"
        )
        assert picture[0] * picture[1] > 0.25 * size[0] * size[1]
        # A finger picks as a mouse does.
        page.keyboard.press("Escape")
        page.evaluate(
            """() => { const f = window.fixture3d;
            f.layer('names', false); f.pick(null); f.view('top'); }"""
        )
        page.tap("#tab-parts")
        low, high = box_of(bench(), "T1")
        spot = spot_of(page, [low[0] + 0.2 * (high[0] - low[0]), low[1] + 0.8 * (high[1] - low[1]), high[2]])
        page.touchscreen.tap(spot["x"], spot["y"])
        assert state(page)["picked"] == "T1"


def test_places_on_the_screen_are_those_of_the_world(bench_page: Page) -> None:
    """The picture is right way round: from above X goes right and Y up, from the front Z goes up."""
    for name, right, up in (("top", 0, 1), ("front", 0, 2), ("right", 1, 2)):
        bench_page.evaluate("n => window.fixture3d.view(n)", name)
        spots = []
        for axis in (None, right, up):
            at = [200.0, 200.0, 50.0]
            if axis is not None:
                at[axis] += 40.0
            spots.append(spot_of(bench_page, at))
        assert spots[1]["x"] > spots[0]["x"] + 5
        assert spots[2]["y"] < spots[0]["y"] - 5


def test_who_is_in_the_way_is_outlined_while_the_torch_stands_blocked(opened: Open) -> None:
    got = bench()
    row = next(w for w in got.data["welds"] if any(w["blockers"]) and w["best"])
    free = from_bitset(row["free"], (len(row["points"]), len(row["directions"]), len(row["rolls"])))
    point, direction, roll = (int(k) for k in np.argwhere(free == 0)[0])
    named = {body["name"] for body in got.data["bodies"]} | {item["name"] for item in got.data["items"]}
    want = [who for who, share in row["blockers"][point][:3] if who in named and share >= 0.1]
    assert want
    with opened(got, reduced_motion="reduce") as page:
        page.evaluate("a => window.fixture3d.weld(...a)", [row["name"], point, direction, roll])
        settle(page)
        assert page.evaluate("window.fixture3d.state().inTheWay") == want
        page.evaluate("a => window.fixture3d.weld(...a)", [row["name"]])
        assert state(page)["weld"]["free"] is True
        assert page.evaluate("window.fixture3d.state().inTheWay") == []
        page.keyboard.press("Escape")
        told = page.locator("#weld-list .row strong").all_inner_texts()
        assert told == [w["name"] for w in sorted(got.data["welds"], key=lambda w: w["rank"])]
        assert "false" not in page.locator("#weld-list").inner_text()
