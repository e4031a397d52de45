"""Bodies against the plate and its holes; every expected figure is worked out by hand from the sizes."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from fixture3d import frame
from fixture3d.cache import Store
from fixture3d.job.table_body import Plate, plates, relate_plate, relate_stored
from fixture3d.scene.table import Grid, Table
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.shape import Shape


def block(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    corners = np.array([[x, y, z] for z in (low[2], high[2]) for y in (low[1], high[1]) for x in (low[0], high[0])])
    faces = [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4]]
    faces += [[2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]]
    return Mesh(corners, np.array(faces, dtype=np.int32), True, 0.0)


def upright(radius: float, low: float, high: float, sides: int = 96) -> Mesh:
    """A cylinder about Z whose corners lie on the true circle, as the kernel's meshes do."""
    turn = np.arange(sides) * 2.0 * math.pi / sides
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    vertices = np.vstack(
        [np.c_[ring, np.full(sides, low)], np.c_[ring, np.full(sides, high)], [[0, 0, low], [0, 0, high]]]
    )
    faces = []
    for i in range(sides):
        j = (i + 1) % sides
        faces += [
            [i, j, sides + j],
            [i, sides + j, sides + i],
            [2 * sides, j, i],
            [2 * sides + 1, sides + i, sides + j],
        ]
    return Mesh(vertices, np.array(faces, dtype=np.int32), False, 0.02)


def table(**more: object) -> Table:
    keys: dict[str, object] = {
        "columns": 11,
        "rows": 9,
        "pitch": (50.0, 50.0),
        "bore": 16.0,
        "edge": (50.0, 50.0),
        "thickness": 12.0,
    }
    return Table(**{**keys, **more})  # type: ignore[arg-type]


@pytest.fixture
def plate() -> Plate:
    return plates(table())[0]


def at(x: float, y: float, z: float = 0.0) -> frame.Array:
    return frame.translation((x, y, z))


def test_standing_on_the_plate_is_touching(plate: Plate) -> None:
    found = relate_plate(plate, block((0, 0, 0), (100, 50, 50)), at(25, 25))
    assert found is not None
    assert (found.kind, found.gap, found.depth, found.way_out) == ("touching", 0.0, 0.0, None)


@pytest.mark.parametrize(("z", "kind"), [(0.019, "touching"), (0.021, "clear"), (4.99, "clear")])
def test_gap_above(plate: Plate, z: float, kind: str) -> None:
    found = relate_plate(plate, block((0, 0, 0), (100, 50, 50)), at(25, 25, z))
    assert found is not None
    assert found.kind == kind
    assert found.gap == pytest.approx(z if kind == "clear" else 0.0)


def test_out_of_reach_is_none(plate: Plate) -> None:
    assert relate_plate(plate, block((0, 0, 0), (100, 50, 50)), at(25, 25, 5.01)) is None
    assert relate_plate(plate, block((0, 0, -5), (10, 10, 5)), at(555.5, 0)) is None


@pytest.mark.parametrize(("z", "kind"), [(-0.019, "touching"), (-0.021, "overlapping"), (-0.2, "overlapping")])
def test_depth_either_side_of_the_limit(plate: Plate, z: float, kind: str) -> None:
    found = relate_plate(plate, block((0, 0, 0), (30, 30, 50)), at(10, 10, z))
    assert found is not None
    assert found.kind == kind
    if kind == "overlapping":
        assert found.depth == pytest.approx(-z)
        assert found.way_out == pytest.approx((0, 0, -z))
        # The foot covers no hole: from 10 to 40 between the bores at 0 and 50.
        assert found.volume == pytest.approx(30 * 30 * -z, rel=1e-6)


def test_foot_with_every_corner_over_a_hole(plate: Plate) -> None:
    """All four lowest corners hang over bores; the foot between them still stands on the plate."""
    low = block((0, 0, 0), (50, 50, 20))
    standing = relate_plate(plate, low, at(0, 0))
    sunk = relate_plate(plate, low, at(0, 0, -0.2))
    assert standing is not None
    assert sunk is not None
    assert (standing.kind, sunk.kind) == ("touching", "overlapping")
    assert sunk.depth == pytest.approx(0.2)
    # The foot less a quarter of a bore at each corner.
    assert sunk.volume == pytest.approx((50 * 50 - math.pi * 64) * 0.2, rel=1e-3)


def test_edge_and_corner_that_dip_in(plate: Plate) -> None:
    tipped = frame.chain(at(25, 25, 0), frame.rotation((0, 1, 0), 20.0))
    mesh = block((-5, -5, 0), (5, 5, 20))
    low = float(frame.points(tipped, mesh.vertices)[:, 2].min())
    for dip, kind in ((-0.01, "touching"), (0.2, "overlapping")):
        found = relate_plate(plate, mesh, frame.chain(at(0, 0, -low - dip), tipped))
        assert found is not None
        assert found.kind == kind
        assert found.depth == pytest.approx(max(dip, 0.0), abs=1e-9)


def test_shank_of_nominal_size_in_its_hole_touches(plate: Plate) -> None:
    found = relate_plate(plate, upright(8.0, -12.0, 40.0), at(100, 150))
    assert found is not None
    assert found.kind == "touching"


def test_thin_shank_hangs_free(plate: Plate) -> None:
    found = relate_plate(plate, upright(7.5, -12.0, 40.0), at(100, 150))
    assert found is not None
    assert found.kind == "clear"
    assert found.gap == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("turn", [0.0, 37.0, 200.0])
def test_shank_beside_its_hole_goes_back_sideways(plate: Plate, turn: float) -> None:
    off = 0.4
    x, y = 100 + off * math.cos(math.radians(turn)), 150 + off * math.sin(math.radians(turn))
    found = relate_plate(plate, upright(8.0, -12.0, 40.0), at(x, y))
    assert found is not None
    assert found.kind == "overlapping"
    # The middle of the bore's wall gives the depth; the true figure is off by the shank's chord at most.
    assert found.depth == pytest.approx(off, abs=0.03)
    assert found.way_out is not None
    back = found.way_out
    assert back[2] == 0.0
    clear = relate_plate(plate, upright(8.0, -12.0, 40.0), at(x + back[0], y + back[1]))
    assert clear is not None
    assert clear.kind == "touching"


def test_shank_between_holes_must_come_up(plate: Plate) -> None:
    found = relate_plate(plate, upright(8.0, -30.0, 40.0), at(125, 175))
    assert found is not None
    assert found.kind == "overlapping"
    # Nowhere in a plate of 12 is it deeper than 6 from one face or the other.
    assert 5.0 < found.depth <= 6.0
    # 30 mm below the face, through a plate of 12: it is clear only when its end is at the face again.
    assert found.way_out == pytest.approx((0, 0, 30.0))


def test_beside_the_plate(plate: Plate) -> None:
    """The plate ends 50 mm beyond the last hole, at x = 550."""
    clear = relate_plate(plate, block((0, 0, -20), (20, 20, 20)), at(552, 100))
    into = relate_plate(plate, block((0, 0, -20), (20, 20, 20)), at(549.8, 100))
    assert clear is not None
    assert into is not None
    assert (clear.kind, into.kind) == ("clear", "overlapping")
    assert clear.gap == pytest.approx(2.0)
    assert into.depth == pytest.approx(0.2)
    assert into.volume == pytest.approx(0.2 * 20 * 12)


def test_below_the_plate(plate: Plate) -> None:
    found = relate_plate(plate, block((0, 0, -30), (20, 20, -14)), at(17, 17))
    assert found is not None
    assert found.kind == "clear"
    assert found.gap == pytest.approx(2.0)
    assert relate_plate(plate, block((0, 0, -30), (20, 20, -18)), at(17, 17)) is None


def test_staggered_hole_takes_a_shank() -> None:
    second = plates(table(stagger=True))[0]
    first = plates(table())[0]
    pose = at(125, 175)
    free = relate_plate(second, upright(8.0, -12.0, 40.0), pose)
    held = relate_plate(first, upright(8.0, -12.0, 40.0), pose)
    assert free is not None
    assert held is not None
    assert (free.kind, held.kind) == ("touching", "overlapping")


def test_same_answer_on_a_plate_that_stands_upright() -> None:
    """An angle plate is judged as the table is, in its own frame."""
    side = Grid(
        name="side",
        origin=(0, -50, -40),
        x=(1, 0, 0),
        y=(0, 0, 1),
        columns=11,
        rows=9,
        pitch=(50, 50),
        bore=16,
        edge=(50, 50),
        thickness=12,
    )
    found = plates(table(others=(side,)))
    assert [p.name for p in found] == ["table", "side"]
    flat, stood = found
    mesh = block((0, 0, -0.3), (30, 30, 50))
    a = relate_plate(flat, mesh, at(10, 10))
    b = relate_plate(stood, mesh, frame.chain(stood.to_world, at(10, 10)))
    assert a is not None
    assert b is not None
    assert b.kind == a.kind == "overlapping"
    assert [b.depth, b.volume] == pytest.approx([a.depth, a.volume])
    assert b.way_out == pytest.approx((0, -0.3, 0))


def test_extra_grid_without_a_thickness_is_no_body() -> None:
    side = Grid(name="side", origin=(0, -50, -40), x=(1, 0, 0), y=(0, 0, 1), columns=3, rows=2, pitch=(50, 50), bore=16)
    assert [p.name for p in plates(table(others=(side,)))] == ["table"]


def test_unknown_edge_and_thickness_are_named() -> None:
    assumed = plates(table(edge=None, thickness=None))[0]
    assert assumed.assumed == ("edge", "thickness")
    assert assumed.low == (-25.0, -25.0)
    assert plates(table())[0].assumed == ()


def test_shift_by_whole_pitches_changes_nothing(plate: Plate) -> None:
    rng = np.random.default_rng(7)
    for _ in range(40):
        pose = frame.chain(
            at(rng.uniform(60, 180), rng.uniform(60, 180), rng.uniform(-4, 4)), frame.rotation(rng.normal(size=3), 30.0)
        )
        mesh = block((-15, -10, 0), (15, 10, 30))
        here = relate_plate(plate, mesh, pose)
        there = relate_plate(plate, mesh, frame.chain(at(100, 150), pose))
        assert (here is None) == (there is None)
        if here is not None and there is not None:
            assert here.kind == there.kind
            assert here.depth == pytest.approx(there.depth, abs=1e-9)
            assert here.gap == pytest.approx(there.gap, abs=1e-9)


def test_way_out_always_works(plate: Plate) -> None:
    """Moved by its own way out, a body no longer overlaps."""
    rng = np.random.default_rng(11)
    tried = 0
    for _ in range(80):
        pose = frame.chain(
            at(rng.uniform(-60, 560), rng.uniform(-60, 560), rng.uniform(-25, 5)),
            frame.rotation(rng.normal(size=3), 90.0),
        )
        mesh = block((-6, -5, -20), (6, 5, 20))
        found = relate_plate(plate, mesh, pose)
        if found is None or found.way_out is None:
            continue
        tried += 1
        after = relate_plate(plate, mesh, frame.chain(frame.translation(found.way_out), pose))
        assert after is None or after.kind != "overlapping"
    assert tried > 20


def test_box_is_closed_and_has_the_plates_volume(plate: Plate) -> None:
    vertices, faces = plate.box()
    mesh = Mesh(vertices, faces.astype(np.int32), True, 0.0)
    assert mesh.open_edges == 0
    assert mesh.volume == pytest.approx(600 * 500 * 12)


def test_round_tube_that_lies_on_the_plate() -> None:
    """A round bar of radius 20 along the columns: tangent, 0.015 and 0.03 mm in, then 0.03 mm above."""
    import cadquery as cq

    plate = plates(table())[0]
    shape = Shape.of(cq.Workplane("YZ").circle(20.0).extrude(150.0).val())
    for roll in (0.0, 1.0, 2.0, 2.5, 3.0, 4.0):
        # However its facets lie: a mesh true to 0.02 mm may end that much above the bar.
        for height, kind in ((20.0, "touching"), (19.985, "touching"), (19.97, "overlapping"), (20.03, "clear")):
            pose = frame.chain(at(10, 20, height), frame.rotation((1, 0, 0), roll))
            found = relate_stored(plate, shape, pose, None)
            assert found is not None
            assert (height, found.kind) == (height, kind)
            assert found.depth == pytest.approx(20.0 - height if kind == "overlapping" else 0.0, abs=0.003)


def test_thin_shank_in_a_staggered_hole_hangs_free() -> None:
    found = relate_plate(plates(table(stagger=True))[0], upright(7.5, -12.0, 40.0), at(125, 175))
    assert found is not None
    assert found.kind == "clear"
    assert found.gap == pytest.approx(0.5, abs=0.03)


def test_shank_beside_a_staggered_hole_goes_back_to_it() -> None:
    plate = plates(table(stagger=True))[0]
    found = relate_plate(plate, upright(8.0, -12.0, 40.0), at(125.4, 175))
    assert found is not None
    assert found.depth == pytest.approx(0.4, abs=0.03)
    assert found.way_out is not None
    assert found.way_out == pytest.approx((-0.4, 0.0, 0.0), abs=0.03)


def test_kept_answers_are_the_same(tmp_path: Path) -> None:
    plate = plates(table())[0]
    store = Store(tmp_path)
    shape = Shape.of(upright(8.0, -12.0, 40.0))
    for x, y in ((100.0, 150.0), (100.4, 150.0), (125.0, 175.0), (1000.0, 0.0)):
        plain = relate_plate(plate, shape.mesh, at(x, y))
        first = relate_stored(plate, shape, at(x, y), store)
        again = relate_stored(plate, shape, at(x, y), store)
        assert plain == first == again
