"""Every shipped model, on every usual hole pattern, at the corners of its ranges and at random between them.

FIXTURE3D_LONG=1 tries many more random blocks.
"""

import doctest
import functools
import importlib
import itertools
import math
import os
import re
import subprocess
import sys
from typing import Any

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.corners import proofs
from fixture3d.corners.built import EMPTY, SAME, Built, Inside, common, shifted
from fixture3d.corners.cases import PATTERNS, cases, values
from fixture3d.errors import ModelError
from fixture3d.library import library
from fixture3d.part import Pattern, parameters
from fixture3d.solid import kernel

MODELS = tuple(library().entries)
RANDOM = 25 if os.environ.get("FIXTURE3D_LONG") else 1
CASES = cases(RANDOM)
ALL = pytest.mark.parametrize(
    ("model", "pattern", "case"),
    [pytest.param(m, p, c, id=f"{m}-{p}-{c}") for m, p, c in itertools.product(MODELS, PATTERNS, CASES)],
)
EACH = pytest.mark.parametrize(("model", "pattern"), list(itertools.product(MODELS, PATTERNS)))


@functools.cache
def built(model: str, pattern: str, case: str) -> Built:
    shop = library()
    return Built.of(shop.make(model, PATTERNS[pattern], values(shop, model, PATTERNS[pattern], case)))


def test_the_library_has_what_a_first_fixture_needs() -> None:
    needed = {"dowel", "riser", "shim", "slide_stop", "step_block", "stop_bar", "stop_block", "toggle_clamp"}
    assert needed | {"vee_block"} <= set(MODELS)


@ALL
def test_every_body_is_one_valid_solid_in_its_declared_box(model: str, pattern: str, case: str) -> None:
    assert list(proofs.solids(built(model, pattern, case), case)) == []


@ALL
def test_bores_lie_in_the_foot_and_take_a_dowel_to_their_depth(model: str, pattern: str, case: str) -> None:
    assert list(proofs.pins(built(model, pattern, case), case)) == []


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_shank_is_as_thick_as_the_bore_and_as_long_as_its_pin(pattern: str) -> None:
    import cadquery as cq

    block = built("dowel", pattern, "default")
    (pin,) = block.part.pins()
    below = cq.Solid.makeBox(400.0, 400.0, 400.0, cq.Vector(-200.0, -200.0, -400.0))
    shank = block.solids[""].intersect(below).BoundingBox()
    bore = block.part.pattern.bore
    assert (shank.xlen, shank.ylen, shank.zlen) == pytest.approx((bore, bore, pin.depth), abs=SAME)


@ALL
def test_sockets_are_open_and_stand_over_the_bores(model: str, pattern: str, case: str) -> None:
    assert list(proofs.sockets(built(model, pattern, case), case)) == []


@ALL
def test_pads_are_on_the_surface_all_over(model: str, pattern: str, case: str) -> None:
    assert list(proofs.pads(built(model, pattern, case), case)) == []


@ALL
def test_the_mesh_has_the_volume_of_the_solid(model: str, pattern: str, case: str) -> None:
    assert list(proofs.meshes(built(model, pattern, case), case)) == []


@ALL
def test_a_moving_body_is_clear_of_the_fixed_ones_at_every_notch(model: str, pattern: str, case: str) -> None:
    assert list(proofs.moves(built(model, pattern, case), case)) == []


@pytest.mark.parametrize("pattern", PATTERNS)
def test_serrations_touch_on_a_notch_and_clash_between_two(pattern: str) -> None:
    block = built("slide_stop", pattern, "default")
    notch = block.part.move().notch  # type: ignore[union-attr]
    body, washer = block.solids[""], block.solids["washer"]
    assert notch == pytest.approx(3.175 if PATTERNS[pattern].inch else 3.0)  # common practice, no source
    if pattern in ("50/16", "2in/3-4"):
        meshed = kernel.distance(shifted(body, (3 * notch, 0, 0)).wrapped, washer.wrapped)
        assert meshed == pytest.approx(0.0, abs=1e-9)
    assert block.meet("", "washer", (2.5 * notch, 0, 0))
    assert not block.meet("", "washer", (3 * notch, 0, -0.1))


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_slide_stop_reaches_every_notch_between_two_holes(pattern: str) -> None:
    part = library().make("slide_stop", PATTERNS[pattern])
    move = part.move()
    assert move is not None
    assert move.notch is not None
    assert (move.notches + 1) * move.notch >= PATTERNS[pattern].pitch - SAME
    assert [pad.name for pad in part.pads() if pad.moves] == ["right"]


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("case", CASES)
def test_what_a_clamp_sweeps(pattern: str, case: str) -> None:
    import cadquery as cq

    block = built("toggle_clamp", pattern, case)
    tip = block.part.tip()
    assert tip is not None
    assert tip.direction == (0.0, 0.0, -1.0)
    assert 0.0 < tip.force[0] < tip.force[1]
    base = block.solids[""]
    assert tip.throat == pytest.approx(tip.at[0] - base.BoundingBox().xmax, abs=SAME)
    far = 2000.0
    work = cq.Solid.makeBox(2 * far, 2 * far, 500.0, cq.Vector(-far, -far, tip.at[2] - 500.0))
    for name in ("arm sweep", "handle sweep"):
        assert block.roles[name] == "sweep"
        assert common(block.solids[name], base) < EMPTY
    work_ahead = work.cut(
        cq.Solid.makeBox(far + base.BoundingBox().xmax, 2 * far, 600.0, cq.Vector(-far, -far, tip.at[2] - 550.0))
    )
    for name in ("arm", "arm sweep", "handle sweep"):
        if name != "handle sweep":
            assert common(block.solids[name], work) < EMPTY
        assert common(block.solids[name], work_ahead.Solids()[0]) < EMPTY
    assert block.solids["arm"].BoundingBox().zmin == pytest.approx(tip.at[2], abs=SAME)
    assert common(block.solids["arm"], base) < EMPTY
    assert common(block.solids["handle"], base) < EMPTY
    assert common(block.solids["handle"], block.solids["arm"]) < EMPTY
    pivot = np.array([block.part.pattern.pitch / 2.0, 0.0, block.part.height])  # type: ignore[attr-defined]
    for name, opens in (("arm", 100.0), ("handle", 85.0)):
        mesh = kernel.tessellate(block.solids[name].wrapped, 0.2)
        sweep = Inside([block.solids[f"{name} sweep"]])
        for angle in np.linspace(0.0, opens, 6):
            turned = (mesh.vertices - pivot) @ frame.rotation((0, -1, 0), angle)[:3, :3].T
            inner = pivot + turned * [1.0, 1.0 - 1e-6, 1.0]
            missed = [p for p in inner if not sweep(p) and kernel_distance(block.solids[f"{name} sweep"], p) > 1e-4]
            assert not missed, f"{name} leaves its sweep at {angle} degrees"


def kernel_distance(solid: Any, point: np.ndarray) -> float:
    import cadquery as cq

    return float(solid.distance(cq.Vertex.makeVertex(*(float(c) for c in point))))


@pytest.mark.parametrize(
    ("model", "given", "where"),
    [
        ("stop_block", {}, set(PATTERNS)),
        ("step_block", {}, set(PATTERNS)),
        ("riser", {}, set(PATTERNS)),
        ("riser", {"rows": 1}, set(PATTERNS)),
        ("slide_stop", {"diagonal": 1}, set(PATTERNS)),
        ("stop_bar", {}, set(PATTERNS) - {"2in/3-4"}),
        ("toggle_clamp", {}, set(PATTERNS) - {"2in/3-4"}),
        ("vee_block", {"depth": "4 in", "diameter": 88.9, "centre_height": 140}, set(PATTERNS)),
        ("vee_block", {}, set()),
        ("shim", {}, set()),
    ],
)
def test_what_can_stand_at_45_degrees(model: str, given: dict[str, object], where: set[str]) -> None:
    """Two bores whose holes are on the grid when the block is turned by 45 degrees about one of them."""
    stands = set()
    for name, pattern in PATTERNS.items():
        places = [np.asarray(p.at[:2]) for p in library().make(model, pattern, given).pins() if p.face == "bottom"]
        turn = frame.rotation((0, 0, 1), 45.0)[:2, :2]
        for a, b in itertools.combinations(places, 2):
            cells = turn @ (b - a) / pattern.pitch
            if np.abs(cells - np.round(cells)).max() < 1e-9:
                stands.add(name)
    assert stands == where


@EACH
def test_bores_of_the_grid_are_whole_pitches_apart(model: str, pattern: str) -> None:
    part = library().make(model, PATTERNS[pattern])
    below = [pin for pin in part.pins() if pin.face == "bottom"]
    others = below[1:]
    if not others:
        assert all(pin.integral for pin in below), "one loose dowel does not hold a block square"
        return
    cells = float(np.hypot(*others[0].at[:2])) / PATTERNS[pattern].pitch
    assert cells == pytest.approx(round(cells), abs=1e-9)
    assert cells == pytest.approx(1.0) or len(others) == 1, "further apart only where there are no more than two"


@pytest.mark.parametrize("pattern", PATTERNS)
def test_two_stop_bars_meet_in_a_corner_and_close_up(pattern: str) -> None:
    """One on row 0 along X, its first used bore at column 1; one on column 0 along Y."""
    part = library().make("stop_bar", PATTERNS[pattern])
    (x0, front, _), (_, back, _) = part.box()
    pitch = PATTERNS[pattern].pitch
    end = pitch + x0  # left end of the first bar
    assert 0.0 < end - (-front) < pitch / 2.0, "the second bar turned to look into the corner"
    assert end - back == pytest.approx(0.0, abs=1e-9), "the second bar turned to look out of it: they close up"
    assert back - front == pytest.approx(pitch), "bars on neighbouring rows close up"


@pytest.mark.parametrize("pattern", PATTERNS)
def test_two_step_blocks_make_a_corner_for_a_square_edged_frame(pattern: str) -> None:
    import cadquery as cq

    block = built("step_block", pattern, "default")
    pads = {pad.name: pad for pad in block.part.pads()}
    solid, pitch = block.solids[""], PATTERNS[pattern].pitch
    wall, ledge = -pads["shoulder"].at[1], pads["ledge"].at[2]
    x1, y0 = block.part.box()[1][0], block.part.box()[0][1]
    column = math.ceil((x1 - y0) / pitch)
    along_x = solid.rotate(cq.Vector(0, 0, 0), cq.Vector(0, 0, 1), 180)  # the ledge looks to +Y
    along_y = solid.rotate(cq.Vector(0, 0, 0), cq.Vector(0, 0, 1), 90)  # the ledge looks to +X
    first, second = shifted(along_x, (column * pitch, 0, 0)), shifted(along_y, (0, pitch, 0))
    work = cq.Solid.makeBox(8 * pitch, 8 * pitch, 20.0, cq.Vector(wall, wall, ledge))
    assert common(first, second) < EMPTY
    for stop in (first, second):
        assert common(stop, work) < EMPTY
        assert kernel.distance(stop.wrapped, work.wrapped) == pytest.approx(0.0, abs=1e-7)
        for way in ((1, 0, 0), (0, 1, 0), (0, 0, -1)):
            pressed = shifted(work, -0.1 * np.abs(way) if way[2] == 0 else (0, 0, -0.1))
            free = (stop is first and way[0]) or (stop is second and way[1])
            assert (common(stop, pressed) < EMPTY) == bool(free)


def test_the_groove_of_a_step_block_clears_a_bead_on_the_corner_of_the_work() -> None:
    """Round bar along the corner of square work, as thick as the groove: clear of it, and foul of a smaller groove."""
    import cadquery as cq

    for relief, fouls in ((6.0, False), (4.0, True), (0.0, True)):
        part = library().make("step_block", PATTERNS["50/16"], {"relief": relief})
        pads = {pad.name: pad for pad in part.pads()}
        wall, ledge = pads["shoulder"].at[1], pads["ledge"].at[2]
        bead = cq.Solid.makeCylinder(5.9, 30.0, cq.Vector(10.0, wall, ledge), cq.Vector(1, 0, 0))
        work = cq.Solid.makeBox(30.0, 40.0, 20.0, cq.Vector(10.0, wall - 40.0, ledge))
        assert (common(part.solid(), bead) > EMPTY) == fouls
        assert common(part.solid(), work) < EMPTY
        assert kernel.distance(part.solid().wrapped, work.wrapped) == pytest.approx(0.0, abs=1e-7)
        # Both flats begin at the groove, and end where they did.
        edges = pads["ledge"].at[1] + pads["ledge"].width / 2.0, pads["shoulder"].at[2] - pads["shoulder"].width / 2.0
        assert edges == pytest.approx((wall - relief, ledge + relief))


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("bores_below", [2, 3])
@pytest.mark.parametrize(
    ("diameter", "angle"), [(15.0, 60), (48.3, 90), (48.3, 120), (60.3, 150), (115.0, 60), (115.0, 90)]
)
def test_a_tube_lies_on_both_flats_of_the_v(pattern: str, diameter: float, angle: float, bores_below: int) -> None:
    """Elementary trigonometry of a circle in a V: axis r / sin(a/2) above the sharp bottom."""
    given = {"diameter": diameter, "angle": angle, "centre_height": 250, "bores": bores_below, "second": 120}
    part: Any = library().make("vee_block", PATTERNS[pattern], given)
    half, r = math.radians(angle / 2.0), diameter / 2.0
    pads = {pad.name: pad for pad in part.pads()}
    left, right = pads["vee left"], pads["vee right"]
    # the flats, from the pads alone: where their planes cross, and how far the axis is from either
    n1, n2 = np.asarray(left.normal), np.asarray(right.normal)
    assert math.degrees(math.acos(n1 @ n2)) == pytest.approx(180.0 - angle)
    bottom = np.linalg.solve([n1[[0, 2]], n2[[0, 2]]], [n1 @ left.at, n2 @ right.at])
    axis = np.add(bottom, [0.0, r / math.sin(half)])
    assert axis == pytest.approx([part.middle, part.centre_height], abs=1e-9)
    for pad, n in ((left, n1), (right, n2)):
        touch = np.array([axis[0], 0.0, axis[1]]) - n * r
        across = np.cross(n, pad.along)
        off = (touch - np.asarray(pad.at)) * [1.0, 0.0, 1.0]
        assert off @ n == pytest.approx(0.0, abs=1e-9)
        assert abs(off @ across) < pad.width / 2.0, "the flat ends before the contact"
    least, most = part.takes
    assert least < diameter < most
    assert bottom[0] == pytest.approx((bores_below - 1) * PATTERNS[pattern].pitch / 2.0)


def test_a_tube_in_the_solid_touches_and_does_not_overlap() -> None:
    import cadquery as cq

    part: Any = library().make("vee_block", PATTERNS["50/16"], {"second": 120, "centre_height": 90})
    solid = part.solid()
    tubes = {"vee": (part.middle, part.centre_height)}
    pads = {pad.name: pad for pad in part.pads()}
    n1, n2 = (np.asarray(pads[f"second vee {side}"].normal) for side in ("top", "bottom"))
    at1, at2 = (np.asarray(pads[f"second vee {side}"].at) for side in ("top", "bottom"))
    r = part.diameter / 2.0
    axis = np.linalg.solve([n1[[0, 2]], n2[[0, 2]]], [n1 @ at1 + r, n2 @ at2 + r])
    tubes["second"] = (float(axis[0]), float(axis[1]))
    assert at1[2] > at2[2]
    for name, (x, z) in tubes.items():
        tube = cq.Solid.makeCylinder(r, 200.0, cq.Vector(x, -100.0, z), cq.Vector(0, 1, 0))
        assert kernel.distance(tube.wrapped, solid.wrapped) == pytest.approx(0.0, abs=1e-7), name
        assert common(tube, solid) < 1e-3, name
        pressed = shifted(tube, (0, 0, -0.05) if name == "vee" else (-0.05, 0, 0))
        assert common(pressed, solid) > 0.1, name


@pytest.mark.parametrize(
    ("model", "given", "message"),
    [
        ("vee_block", {"diameter": 115, "centre_height": 60}, "too low: the bores need steel"),
        ("vee_block", {"second": 30}, "second = 30 degrees is too sharp"),
        ("vee_block", {"diameter": 100, "angle": 150, "second": 60, "centre_height": 110}, "too low for the second V"),
        ("riser", {"height": 300, "rows": 1}, "tips on 1 row"),
        ("stop_block", {"length": 40}, "too short for 2 bores"),
        ("stop_bar", {"offset": 30}, "too near the front"),
        ("step_block", {"ledge": 60, "height": 60}, "no shoulder above ledge"),
        ("step_block", {"relief": 0.3}, "too small for a cutter; expected at least 0.5 mm, or 0 for none"),
        ("step_block", {"relief": 5, "ledge": 8}, "cuts through ledge = 8 mm; expected at most 4 mm"),
        (
            "step_block",
            {"relief": 5, "ledge_width": 10},
            "leaves no ledge of ledge_width = 10 mm; expected at most 4 mm",
        ),
        ("toggle_clamp", {"work_height": 150}, "brings the arm too low"),
        ("screw_clamp", {"work_height": 150}, "brings the arm too low"),
        ("vee_block", {"diametre": 50}, 'nearest: "diameter"'),
    ],
)
def test_rules_between_parameters(model: str, given: dict[str, object], message: str) -> None:
    with pytest.raises(ModelError, match=message) as caught:
        library().make(model, PATTERNS["50/16"], given)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("model", MODELS)
def test_docstrings_draw_the_block_and_name_its_parameters(model: str) -> None:
    entry = library().entry(model)
    text = entry.model.__doc__ or ""
    assert "::" in text
    for key, parameter in parameters(entry.model).items():
        assert re.search(rf"\b{key}\b", text), f"{key} is neither drawn nor explained"
        assert len(parameter.help) > 5
    module = importlib.import_module(entry.model.__module__)
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0


@pytest.mark.parametrize("pitch", [25.0, 30.0, 40.0, 75.0, 100.0, 150.0])
@pytest.mark.parametrize("share", [0.16, 0.3, 0.5])
@pytest.mark.parametrize("model", MODELS)
def test_any_table_gives_a_block_that_can_be_built(model: str, pitch: float, share: float) -> None:
    pattern = Pattern(pitch=pitch, bore=round(pitch * share))
    for key, parameter in parameters(library().entry(model).model).items():
        low, default, high = (parameter.resolved(w, pattern) for w in ("low", "default", "high"))
        assert low - SAME <= default <= high + SAME, key
    part = library().make(model, pattern)
    if pitch == 25.0 or os.environ.get("FIXTURE3D_LONG"):
        for body in part.bodies():
            assert kernel.is_valid(body.build().wrapped), body.name


def test_all_but_the_solids_works_without_a_cad_kernel() -> None:
    code = (
        "import sys\n"
        "from fixture3d.library import library\n"
        "from fixture3d.part import Pattern\n"
        "for name in library().entries:\n"
        "    part = library().make(name, Pattern(pitch=50.0, bore=16.0))\n"
        "    part.pins(), part.pads(), part.sockets(), part.move(), part.tip(), part.box(), part.bodies()\n"
        "    part.foot('bottom'), list(part.rules())\n"
        "print(sorted({'cadquery', 'OCP', 'trimesh', 'pyvista', 'scipy', 'numba'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
