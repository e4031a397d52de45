"""The hole grid: names, places, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixture3d import frame
from fixture3d.errors import TableError
from fixture3d.scene.preset import read_preset
from fixture3d.scene.table import CORNERS, Corner, Grid, Naming, Table


def table(**keys: object) -> Table:
    given_keys: dict[str, object] = {"columns": 40, "rows": 30, "pitch": (50.0, 50.0), "bore": 16.0, **keys}
    return Table(**given_keys)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "xyz"),
    [
        ("A1", (0, 0, 0)),
        ("B1", (50, 0, 0)),
        ("A2", (0, 50, 0)),
        ("Z9", (1250, 400, 0)),
        ("AA1", (1300, 0, 0)),
        ("an30", (1950, 1450, 0)),
    ],
)
def test_places_by_name(name: str, xyz: tuple[float, float, float]) -> None:
    grid, found = table().hole_to_point(name)
    assert found == xyz
    assert grid.name == ""
    assert table().find(name).name == name.upper()


def test_letters_go_on_like_a_spreadsheet() -> None:
    naming = Naming()
    assert [naming.letters(k) for k in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


def test_skipped_letters_are_not_used() -> None:
    naming = Naming(skip=("I", "o"))
    assert [naming.letters(k) for k in (7, 8, 13, 23, 24)] == ["H", "J", "P", "Z", "AA"]
    assert naming.index("I") is None
    with pytest.raises(TableError, match='nearest: "J3"'):
        table(naming=naming).find("I3")


@given(st.sets(st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ"), max_size=20), st.integers(0, 1999))
def test_every_column_has_one_name(skip: set[str], index: int) -> None:
    naming = Naming(skip=tuple(sorted(skip)))
    letters = naming.letters(index)
    assert naming.index(letters) == index
    assert not skip & set(letters)


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize("stagger", [False, True])
def test_every_hole_is_found_by_its_name_and_by_its_place(corner: Corner, swapped: bool, stagger: bool) -> None:
    naming = Naming(x="numbers", y="letters", corner=corner) if swapped else Naming(corner=corner)
    board = table(columns=29, rows=7, pitch=(40.0, 60.0), naming=naming, stagger=stagger)
    seen = set()
    for plus in (False, True):
        for i in range(29):
            for j in range(7):
                if not board.has(i, j, plus):
                    continue
                hole = board.at(i, j, plus)
                assert board.find(hole.name) == hole
                near = board.hole_near((hole.xy[0] + 0.3, hole.xy[1] - 0.3), 0.5)
                assert near == hole
                seen.add(hole.name)
    assert len(seen) == 29 * 7 + (28 * 6 if stagger else 0)


@pytest.mark.parametrize(
    ("corner", "b1", "a2"),
    [
        ("front left", (50, 0), (0, 50)),
        ("front right", (-50, 0), (0, 50)),
        ("back left", (50, 0), (0, -50)),
        ("back right", (-50, 0), (0, -50)),
    ],
)
def test_names_count_away_from_the_corner_and_x_stays_right(
    corner: Corner, b1: tuple[float, float], a2: tuple[float, float]
) -> None:
    board = table(naming=Naming(corner=corner), edge=(50.0, 60.0))
    assert board.find("A1").xy == (0, 0)
    assert board.find("B1").xy == b1
    assert board.find("A2").xy == a2
    assert board.normal == (0, 0, 1)
    x0, y0, x1, y1 = board.size or (0, 0, 0, 0)
    assert (x1 - x0, y1 - y0) == (39 * 50 + 100, 29 * 50 + 120)
    assert x0 == (-50 if corner.endswith("left") else -39 * 50 - 50)
    assert y0 == (-60 if corner.startswith("front") else -29 * 50 - 60)


def test_the_second_grid_lies_half_a_pitch_over_and_up() -> None:
    board = table(stagger=True)
    assert board.find("C4+").xy == (125, 175)
    assert not board.has(39, 0, True)
    with pytest.raises(TableError, match="AN1\\+"):
        board.find("AN1+")
    with pytest.raises(TableError, match=r'no second grid .*nearest: "C4"'):
        table().find("C4+")


def test_other_planes() -> None:
    side = Grid(
        name="side", origin=(0, -50, -40), x=(1, 0, 0), y=(0, 0, 1), columns=38, rows=2, pitch=(50, 50), bore=16
    )
    board = table(others=(side,))
    grid, xyz = board.hole_to_point("side:B2")
    assert xyz == (50, -50, 10)
    assert grid.normal == (0, -1, 0)
    assert board.find("side:b2").name == "side:B2"
    assert np.allclose(frame.points(grid.grid_to_world, [50, 50, 7]), [50, -57, 10])
    with pytest.raises(TableError, match=r'grid "sied" is not known.*nearest: "side"'):
        board.find("sied:B2")
    with pytest.raises(TableError, match=r'hole "side:B3" is not on grid "side".*nearest: "side:B2"'):
        board.find("side:B3")


@given(
    st.lists(st.floats(-1, 1), min_size=6, max_size=6).filter(
        lambda v: math.hypot(*v[:3]) > 0.1 and np.linalg.norm(np.cross(v[:3], v[3:])) > 0.1
    ),
    st.integers(0, 9),
    st.integers(0, 4),
)
def test_a_tilted_plane_is_a_rigid_frame(axes: list[float], i: int, j: int) -> None:
    a = np.array(axes[:3])
    b = np.cross(np.cross(a, axes[3:]), a)
    grid = Grid(name="t", origin=(10, 20, 30), x=tuple(a), y=tuple(b), columns=10, rows=5, pitch=(30, 40), bore=10)
    rotation = grid.grid_to_world[:3, :3]
    assert np.allclose(rotation @ rotation.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(rotation) == pytest.approx(1.0)
    hole = grid.at(i, j)
    assert np.allclose(hole.xyz, frame.points(grid.grid_to_world, [*hole.xy, 0.0]), atol=1e-9)


@given(
    st.floats(-3000, 3000),
    st.floats(-3000, 3000),
    st.integers(1, 12),
    st.booleans(),
    st.sampled_from(CORNERS),
    st.tuples(st.floats(20, 200), st.floats(20, 200)),
)
def test_nearest_holes_are_the_nearest(
    x: float, y: float, n: int, stagger: bool, corner: Corner, pitch: tuple[float, float]
) -> None:
    board = table(columns=9, rows=6, pitch=pitch, bore=8.0, stagger=stagger, naming=Naming(corner=corner))
    every = [board.at(i, j, p) for p in (False, True) for i in range(9) for j in range(6) if board.has(i, j, p)]
    best = sorted(math.dist(hole.xy, (x, y)) for hole in every)[:n]
    found = board.nearest_holes((x, y), n)
    assert len({hole.name for hole in found}) == len(found)
    assert [math.dist(hole.xy, (x, y)) for hole in found] == pytest.approx(best, abs=1e-6)


def test_equal_holes_come_in_one_order() -> None:
    names = [hole.name for hole in table().nearest_holes((125.0, 175.0), 4)]
    assert names == ["C4", "D4", "C5", "D5"]
    assert [hole.name for hole in table().nearest_holes((75.0, 0.0), 1)] == ["B1"]
    assert [hole.name for hole in table().nearest_holes((125.0, 175.0), 1)] == ["C4"]
    assert table().hole_near((125.0, 175.0), 10.0) is None
    assert table().nearest_holes((math.nan, 0.0), 3) == []


@pytest.mark.parametrize(
    ("name", "near"),
    [
        ("ZZ9", "Z9"),
        ("C45", "C30"),
        ("C0", "C1"),
        ("4C", "C4"),
        ("c 4", "C4"),
        ("C-4", "C4"),
        ("AZ1", "AN1"),
        ("C44", "C4"),
    ],
)
def test_the_nearest_name(name: str, near: str) -> None:
    with pytest.raises(TableError) as caught:
        table().find(name)
    message = str(caught.value)
    assert message.endswith(f'nearest: "{near}"')
    assert "columns A to AN, rows 1 to 30" in message


@given(st.text(max_size=40))
def test_any_text_is_a_hole_or_one_line(name: str) -> None:
    assert complaint(name).isprintable()


def complaint(name: str) -> str:
    try:
        assert table().find(name).grid == ""
    except TableError as error:
        return str(error)
    return ""


def test_blocked_holes() -> None:
    board = table(blocked=("c5",), no_nut=("D1",))
    assert board.is_blocked(board.find("C5"))
    assert not board.is_blocked(board.find("C6"))
    assert not board.has_nut(board.find("D1"))
    assert not board.has_nut(board.find("C5"))
    assert board.has_nut(board.find("A1"))
    with pytest.raises(TableError, match="ZZZ1"):
        table(blocked=("ZZZ1",))


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"columns": 1_000_000}, "1000000 columns"),
        ({"rows": 0}, "0 rows"),
        ({"columns": 2000, "pitch": (50.0, 50.0)}, "100 m"),
        ({"pitch": (0.0, 50.0)}, "pitch"),
        ({"pitch": (math.nan, 50.0)}, "pitch"),
        ({"pitch": (math.inf, 50.0)}, "pitch"),
        ({"bore": 50.0}, "bore"),
        ({"bore": -1.0}, "bore"),
        ({"bore": math.nan}, "bore"),
        ({"bore": 40.0, "stagger": True}, "bore"),
        ({"thickness": 0.0}, "thickness"),
        ({"edge": (1.0, 50.0)}, "edge"),
        ({"edge": (math.nan, 50.0)}, "edge"),
        ({"x": (0.0, 1.0, 0.0), "y": (-1.0, 0.0, 0.0)}, "world"),
        ({"x": (0.0, 0.0, 0.0)}, "no direction"),
        ({"x": (1.0, 1.0, 0.0)}, "right angles"),
    ],
)
def test_tables_that_cannot_be(keys: dict[str, object], says: str) -> None:
    with pytest.raises(TableError, match=says):
        table(**keys)


@pytest.mark.parametrize(
    "keys",
    [
        {"x": "letters", "y": "letters"},
        {"corner": "top"},
        {"skip": ("AB",)},
        {"skip": tuple("ABCDEFGHIJKLMNOPQRSTUVWXY")},
    ],
)
def test_namings_that_cannot_be(keys: dict[str, object]) -> None:
    with pytest.raises(TableError):
        Naming(**keys)  # type: ignore[arg-type]


def test_the_largest_table_costs_nothing_to_ask() -> None:
    board = table(columns=2000, rows=2000, pitch=(15.0, 15.0), bore=8.0, stagger=True)
    for k in range(200):  # with a list of its eight million holes, this would not end
        assert len(board.nearest_holes((k * 100.0, k * 77.0), 5)) == 5
        assert board.find(board.hole_name(k * 9, k * 7)).xy == (k * 9 * 15.0, k * 7 * 15.0)


@pytest.mark.parametrize(
    ("text", "units", "pitch", "bore", "columns", "rows", "edge"),
    [
        ("50/16 2000x1000", "mm", 50, 16, 40, 20, (25, 25)),
        ("100/28 2400 x 1200", "mm", 100, 28, 24, 12, (50, 50)),
        ("100/28 2450×1250", "mm", 100, 28, 24, 12, (75, 75)),
        ("2/5/8 96x48", "in", 50.8, 15.875, 48, 24, (25.4, 25.4)),
        ("2/(3/4) 96x48", "in", 50.8, 19.05, 48, 24, (25.4, 25.4)),
        ("2/3/4 96x48", "in", 50.8, 19.05, 48, 24, (25.4, 25.4)),
        ("1-1/2/1/2 48x24", "in", 38.1, 12.7, 32, 16, (19.05, 19.05)),
        ("2 in/3/4 in 8 ft x 4 ft", "mm", 50.8, 19.05, 48, 24, (25.4, 25.4)),
        ("50/16 500x110", "mm", 50, 16, 10, 2, (25, 30)),
    ],
)
def test_one_line_tables(
    text: str, units: str, pitch: float, bore: float, columns: int, rows: int, edge: tuple[float, float]
) -> None:
    preset = read_preset(text, units)  # type: ignore[arg-type]
    assert (preset.pitch, preset.bore) == (pitch, bore)
    assert (preset.columns, preset.rows) == (columns, rows)
    assert preset.edge == pytest.approx(edge)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "50/16",
        "50 2000x1000",
        "50/16 2000",
        "16/50 2000x1000",
        "0/0 1x1",
        "50/16 2000x1000 x",
        "50/16 10x10",
        "1/0.5 30001x10",
        "x/x x x",
        "50/16 -2000x1000",
        "5/4 29000x100",
    ],
)
def test_one_line_tables_that_cannot_be_read(text: str) -> None:
    with pytest.raises(TableError) as caught:
        read_preset(text)
    assert str(caught.value).isprintable()
