"""Gauges: their limits against published rules and worked examples, and that they tell good work from bad."""

from __future__ import annotations

import itertools
import math
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from fixture3d.catalogue import describe, gauge_lines
from fixture3d.checks.locating_kinds import kinds
from fixture3d.cli import main
from fixture3d.corners.built import common
from fixture3d.engine import assemble
from fixture3d.errors import FixtureError
from fixture3d.job.resolve import resolve
from fixture3d.job.shop_blocks import shop_of
from fixture3d.library import library
from fixture3d.part import Gauge, Pattern
from fixture3d.scene import Scene, loads
from fixture3d.stock.fits import assembles, limits

METRIC = Pattern(pitch=50.0, bore=16.0)
INCH = Pattern(pitch=50.8, bore=15.875, inch=True)
IN = 25.4
GAUGES = tuple(name for name, entry in library().entries.items() if entry.model.stands == "hand")


def made(model: str, pattern: Pattern = METRIC, **given: object) -> Any:
    return library().make(model, pattern, given)


def told(part: Any) -> Gauge:
    found = part.gauge()
    assert isinstance(found, Gauge)
    return found


def pairs(part: Any) -> list[tuple[float, float]]:
    return [(limit.low, limit.high) for limit in told(part).limits]


def test_all_gauges_are_there_and_nothing_else_is_one() -> None:
    asked = "plug pitch height angle radius vee"
    assert {f"{name}_gauge" for name in asked.split()} <= set(GAUGES)
    assert {"drill_template", "notch_checker", "tube_saddle"} <= set(GAUGES)
    others = [name for name in library().entries if name not in GAUGES]
    assert all(library().make(name, METRIC).gauge() is None for name in others)


# Worked examples of texts on limit gauges, which give ASME B89.7.3.1 and B89.1.5 as their source (inches), and one for
# a punched hole of a weldment: the ten per cent rule, half of it for each gauge, GO plus, NO-GO minus.
@pytest.mark.parametrize(
    ("least", "most", "go", "no_go"),
    [
        (0.999 * IN, 1.001 * IN, (0.9990 * IN, 0.9991 * IN), (1.0009 * IN, 1.0010 * IN)),
        (0.250 * IN, 0.254 * IN, (0.2500 * IN, 0.2502 * IN), (0.2538 * IN, 0.2540 * IN)),
        (16.2, 16.8, (16.200, 16.230), (16.770, 16.800)),
    ],
)
def test_plug_limits_of_worked_examples(
    least: float, most: float, go: tuple[float, float], no_go: tuple[float, float]
) -> None:
    part = made("plug_gauge", Pattern(pitch=50.0, bore=(least + most) / 2.0), least=least, most=most)
    assert pairs(part) == [pytest.approx(go, abs=1e-9), pytest.approx(no_go, abs=1e-9)]


def test_a_plug_with_wear_in_the_classic_convention() -> None:
    """16 H7, T = 18 um, 10 % for each gauge and 10 % for wear, by hand: 16.0018 to 16.0036 and 16.0162 to 16.0180."""
    part = made("plug_gauge", percent=10, wear=10)
    assert pairs(part) == [pytest.approx((16.0018, 16.0036), abs=1e-9), pytest.approx((16.0162, 16.0180), abs=1e-9)]
    assert "10 % more on the GO side for wear" in told(part).convention


@pytest.mark.parametrize("bore", [5.0, 10.0, 10.1, 16.0, 18.0, 18.1, 28.0, 30.0, 40.0])
def test_plugs_for_reamed_bores_keep_within_h7_of_isofits(bore: float) -> None:
    from isofits import isotol

    upper, lower = isotol("hole", bore, "H7", "both")
    go, no_go = pairs(made("plug_gauge", Pattern(pitch=100.0, bore=bore)))
    width = (upper - lower) / 1000.0
    assert go == pytest.approx((bore, bore + 0.05 * width), abs=1e-9)
    assert no_go == pytest.approx((bore + 0.95 * width, bore + width), abs=1e-9)


def test_a_plug_for_an_inch_table_has_the_lc5_hole() -> None:
    """ANSI B4.1, LC5, 0.40 to 0.71 in: hole +0.7 and 0 thousandths."""
    go, no_go = pairs(made("plug_gauge", INCH))
    assert (go[0] / IN, no_go[1] / IN) == pytest.approx((0.625, 0.6257), abs=1e-9)
    assert limits("LC5 hole", 15.875)[1] == pytest.approx(0.0007 * IN)


@pytest.mark.parametrize("bore", [16.0, 16.009, 16.018, 15.99, 16.03])
def test_a_plug_goes_into_a_good_bore_and_stops_at_a_bad_one(bore: float) -> None:
    import cadquery as cq

    part = made("plug_gauge")
    solid = part.solid()
    plate = cq.Solid.makeBox(60.0, 60.0, 10.0, cq.Vector(-30.0, -30.0, 0.0)).cut(
        cq.Solid.makeCylinder(bore / 2.0, 10.0)
    )
    at_go, at_no_go = part.length - 12.0, 0.0
    runs_in = [common(plate.moved(cq.Location(cq.Vector(0, 0, z))), solid) > 1e-6 for z in (at_go, at_no_go)]
    good = 16.0 < bore < 16.018
    assert runs_in == ([False, True] if good else [bore < 16.001, bore < 16.017])


# The rule that two pins go into two holes is of stock/fits; here it is asked of many pairs of holes at random.
@pytest.mark.parametrize("material", [1, 2, 3])
def test_a_pitch_gauge_passes_nothing_bad(material: int) -> None:
    part = made("pitch_gauge", material=material, error=0.1)
    pins, apart = pairs(part)[:2]
    rng = np.random.default_rng(7)
    seen = set()
    for _ in range(3000):
        holes = rng.choice([16.0, 16.018, rng.uniform(16.0, 16.018)], 2)
        off = rng.uniform(-0.3, 0.3)
        pin, distance = rng.choice(pins), rng.choice(apart)
        goes_in = assembles(holes[0] - pin, holes[1] - pin, 50.0 + off - distance)
        seen.add(goes_in)
        if material == 1:
            assert goes_in or abs(off) > 0.1 - 0.02 - 1e-9, "a good pair is refused for the gauge's own tolerance only"
            assert not goes_in or abs(off) <= 0.1 + 0.018 + 1e-9, (
                "larger holes make up for no more than they are larger"
            )
            assert not goes_in or max(holes) > 16.0 or abs(off) <= 0.1 + 1e-9
        else:
            wrong = off if material == 2 else -off
            assert not goes_in or wrong >= 0.1 - 1e-9, "a good pair is never entered by the NO-GO"
    assert seen == {True, False}


def test_the_pins_of_a_pitch_gauge_stand_where_it_says() -> None:
    for material, pitches in itertools.product((1, 2, 3), (1, 3)):
        part = made("pitch_gauge", material=material, pitches=pitches)
        (x0, y0, _), (x1, y1, z1) = part.box()
        solid = part.solid()
        faces = [f for f in solid.Faces() if f.geomType() == "CYLINDER"]
        at = sorted(round(f.Center().x, 6) for f in faces)
        pins, apart = pairs(part)[:2]
        assert apart[0] <= at[1] - at[0] <= apart[1]
        radius = faces[0].BoundingBox().ylen / 2.0
        assert pins[0] <= 2.0 * radius <= pins[1] + 1e-6
        assert (x1 - x0, y1 - y0, z1) == pytest.approx(
            (solid.BoundingBox().xlen, solid.BoundingBox().ylen, solid.BoundingBox().zmax), abs=1e-5
        )


@pytest.mark.parametrize("off", [-0.35, -0.2, 0.0, 0.2, 0.35])
def test_a_vee_gauge_over_a_bar_in_a_block(off: float) -> None:
    """The bar lies where elementary trigonometry puts it; a block that is made too high or low is told."""
    import cadquery as cq

    gauge = made("vee_gauge", diameter=48.3, centre_height=75, tolerance=0.25)
    block: Any = made("vee_block", diameter=48.3, centre_height=75 + off)
    bar = cq.Solid.makeCylinder(48.3 / 2.0, 40.0, cq.Vector(0.0, 0.0, 75.0 + off), cq.Vector(0, 1, 0))
    assert block.centre_height == pytest.approx(75.0 + off)
    arm, step = gauge.solid(), gauge.step
    passes = []
    for x in (step, 0.0):
        over = arm.intersect(cq.Solid.makeBox(step, 400.0, 400.0, cq.Vector(x, -200.0, 0.0))).Solids()[0]
        passes.append(common(bar.moved(cq.Location(cq.Vector(x + 0.5 * step, -20.0, 0.0))), over) < 1e-6)
    assert passes == [off < 0.24, off < -0.24]


@pytest.mark.parametrize("radius", [3.0, 4.0, 5.0, 7.5, 8.0, 9.0])
def test_a_tube_corner_lies_in_the_hollows_of_a_radius_gauge(radius: float) -> None:
    import cadquery as cq

    gauge = made("radius_gauge", least=4, most=8)
    solid = gauge.solid()
    (x0, _, _), (x1, _, top) = gauge.box()
    base = top - gauge.flank
    bar = cq.Solid.makeBox(20.0, 30.0, 20.0, cq.Vector(0.0, -10.0, 0.0))
    bar = bar.fillet(radius, bar.edges("|Y").Edges())
    right = x1 - gauge.flank
    lies = []
    for x in (-right - 20.0, right):
        lies.append(common(bar.moved(cq.Location(cq.Vector(x, 0.0, base))), solid) < 1e-6)
    assert lies == [radius > 4.1, radius > 7.8]
    assert x0 == -x1


@pytest.mark.parametrize("angle", [20.0, 60.0, 90.0, 135.0, 160.0])
def test_the_sides_of_an_angle_gauge_enclose_its_angle(angle: float) -> None:
    part = made("angle_gauge", angle=angle, arm=120)
    normals = [f.normalAt() for f in part.solid().Faces() if abs(f.normalAt().z) < 1e-9]
    sides = (
        sorted(normals, key=lambda n: n.y)[0],
        min(normals, key=lambda n: abs(n.x + math.sin(math.radians(angle))) + abs(n.y - math.cos(math.radians(angle)))),
    )
    between = math.degrees(math.acos(sides[0].x * sides[1].x + sides[0].y * sides[1].y))
    assert 180.0 - between == pytest.approx(angle, abs=1e-6)
    (low, high), gap = pairs(part)
    assert low < angle < high
    assert gap[1] == pytest.approx(110.0 * math.sin(math.radians(0.5)))


@pytest.mark.parametrize("angle", [60.0, 90.0, 135.0])
@pytest.mark.parametrize("off", [0.5, 2.0])
def test_the_gap_of_an_angle_gauge_in_a_corner_that_is_too_wide(angle: float, off: float) -> None:
    """Plane geometry by shapely: flat on one piece it is pushed into the corner until its tip meets the other."""
    part = made("angle_gauge", angle=angle, arm=120, tolerance=off)
    gauge = shapely.Polygon(part._corners())
    far = math.radians(angle + off)
    other = shapely.LineString([(0.0, 0.0), (400.0 * math.cos(far), 400.0 * math.sin(far))])
    behind = shapely.Polygon([*other.coords, (-900.0, 400.0 * math.sin(far)), (-900.0, 0.0)])
    low, high = -20.0, 0.0
    for _ in range(50):
        middle = (low + high) / 2.0
        meets = shapely.affinity.translate(gauge, middle).intersection(behind).area > 1e-12
        low, high = (middle, high) if meets else (low, middle)
    end = shapely.Point(shapely.affinity.translate(gauge, high).exterior.coords[2])
    assert part.gap == pytest.approx(end.distance(other), abs=1e-3)
    assert pairs(part)[1][1] == pytest.approx(end.distance(other), abs=1e-3)


def test_a_drill_template_repeats_the_grid_of_the_table() -> None:
    table = loads('format = 1\ntable = "50/16 1000x600"\n').table
    part = made("drill_template", columns=4, rows=3)
    centres = {
        (round(f.Center().x, 6) + 0.0, round(f.Center().y, 6) + 0.0)
        for f in part.solid().Faces()
        if f.geomType() == "CYLINDER"
    }
    assert centres == {(50.0 * i, 50.0 * j) for i in range(4) for j in range(3)}
    assert set(part.dowels()) | set(part.holes()) == centres
    first = table.find("C4").xy
    for x, y in centres:
        (near,) = table.nearest_holes((first[0] + x, first[1] + y), 1)
        assert near.xy == pytest.approx((first[0] + x, first[1] + y), abs=1e-9)


@pytest.mark.parametrize("error", [0.05, 0.1, 0.4])
def test_a_notch_checker_stands_up_on_a_stretched_serration(error: float) -> None:
    """Plane geometry by shapely: the comb is lowered onto teeth whose pitch is off, until it touches."""
    part = made("notch_checker", error=error)
    run = part.notch * (part.teeth - 1)
    tips = shapely.Polygon([(0.0, 0.0), (part.length, 0.0), *reversed(part._line())])
    top = part.box()[1][2]

    def serration(stretch: float) -> Any:
        """What the comb sits in: the same flanks with sharp roots, stretched about its middle."""
        line = [(0.0, part.back)]
        for k in range(part.teeth + 1):
            x = k * part.notch
            line += [(x, part.back + part.notch / 2.0), (x + part.notch / 2.0, part.back)]
        middle = part.length / 2.0
        line = [(middle + (x - middle) * stretch, z) for x, z in line[1:-1]]
        return shapely.Polygon([*line, (line[-1][0], top + 20.0), (line[0][0], top + 20.0)])

    def lift(stretch: float) -> float:
        low, high = 0.0, part.notch
        for _ in range(40):
            middle = (low + high) / 2.0
            meets = shapely.affinity.translate(serration(stretch), 0.0, middle).intersection(tips).area > 1e-9
            low, high = (middle, high) if meets else (low, middle)
        return float(high)

    assert lift(1.0) == pytest.approx(0.0, abs=1e-3)
    assert lift((run + error) / run) == pytest.approx(part.rise, rel=0.1, abs=2e-3)


def test_heights_and_the_saddle_by_hand() -> None:
    assert pairs(made("height_gauge", height=60, tolerance=0.5)) == [
        pytest.approx((59.5, 59.55)),
        pytest.approx((60.45, 60.5)),
    ]
    faces = made("height_gauge", height=60, tolerance=0.5).solid().faces("+Z").Faces()
    assert [round(f.Center().z, 6) for f in sorted(faces, key=lambda f: float(f.Center().x))] == [59.525, 60.475]
    import cadquery as cq

    saddle = made("tube_saddle", diameter=48.3, tolerance=0.5)
    solid, z = saddle.solid(), saddle.wall
    for size, enters in ((47.8, True), (48.8, True), (48.95, False)):
        tube = cq.Solid.makeCylinder(size / 2.0, 80.0, cq.Vector(0.0, -40.0, z + size / 2.0 + 1e-3), cq.Vector(0, 1, 0))
        assert (common(tube, solid) < 1e-6) is enters, size


@pytest.mark.parametrize("model", GAUGES)
def test_each_says_what_it_can_and_cannot_see(model: str, capsys: pytest.CaptureFixture[str], tmp_path: Any) -> None:
    found = told(made(model))
    assert found.sees
    assert found.misses
    assert "onvention" in found.convention
    assert all(limit.low < limit.high for limit in found.limits)
    shown = describe(library().entry(model), METRIC, "mm", library=library(), table="50/16")
    assert "It sees\n" in shown
    assert "It cannot see\n" in shown
    assert "Placed by" not in shown
    lines = gauge_lines(made(model), "mm")
    assert main(["make", model, "--format", "stl", "-o", str(tmp_path)]) == 0
    assert "\n".join(lines) in capsys.readouterr().out


def test_a_print_that_cannot_hold_the_limits_says_so_first() -> None:
    # H7 of 16 mm is 18 µm (ISO 286-1), 5 % of it 0.9 µm; a print is off by 0.1 to 0.2 mm.
    lines = gauge_lines(made("plug_gauge"), "mm", printed=True)
    assert lines[0].startswith("Printed, it cannot judge this: its narrowest limits are 0.0009 mm apart")
    assert not gauge_lines(made("plug_gauge"), "mm")[0].startswith("Printed")
    coarse = library().make("radius_gauge", METRIC, {"least": 4.0, "most": 12.0})
    assert not gauge_lines(coarse, "mm", printed=True)[0].startswith("Printed")
    assert not gauge_lines(made("print_trial"), "mm", printed=True)[0].startswith("Printed")


def test_a_saddle_tells_how_far_the_top_may_be_off() -> None:
    # The hollow is 48.85 at the most, the thinnest good tube 47.8: half of 1.05. One degree of 24.4 mm is 0.43 mm.
    found = told(made("tube_saddle")).sees[1]
    assert "off by up to 0.53 mm" in found
    assert "by 0.43 mm more for each degree" in found


def test_a_gauge_is_no_part_of_a_setup_and_is_never_proposed() -> None:
    text = 'format = 1\ntable = "50/16 1000x600"\n[[place]]\nname = "P"\nmodel = "plug_gauge"\nhole = "C4"\n'
    with pytest.raises(FixtureError, match="plug_gauge is held in the hand and is no part of a setup"):
        resolve(loads(text), library())
    shop = shop_of(library(), METRIC, None)
    assert not {block.model for block in shop.blocks} & set(GAUGES)
    stock = "".join(f'[[inventory]]\nmodel = "{name}"\ncount = 1\n' for name in (*GAUGES, "stop_block"))
    owned = assemble(Scene.from_dict(tomllib.loads(f'format = 1\ntable = "50/16 1000x600"\n{stock}')))
    found = [k.place.model for k in kinds(owned, "owned", np.array([200.0, 200.0, 30.0]), np.array([1.0, 0.0, 0.0]))]
    assert found == ["stop_block"]


@pytest.mark.parametrize(
    ("model", "given", "message"),
    [
        ("plug_gauge", {"least": 16.5, "most": 16.2}, "most = 16.2 mm is not larger than least"),
        ("pitch_gauge", {"least": 16.2, "most": 16.1}, "most = 16.1 mm is smaller than least"),
        ("pitch_gauge", {"error": 1, "least": 15, "most": 19}, "too coarse"),
        ("height_gauge", {"height": 12, "tolerance": 4}, "expected at most 3 mm"),
        ("radius_gauge", {"least": 8, "most": 4}, "most = 4 mm is not larger than least"),
        ("radius_gauge", {"flank": 10}, "flank = 10 mm is too short"),
        ("vee_gauge", {"diameter": 12, "tolerance": 2}, "expected at most 1.2 mm"),
        ("drill_template", {"drill": 12, "thickness": 6}, "guides no drill of 12 mm"),
        ("tube_saddle", {"diameter": 12, "tolerance": 2}, "expected at most 1.2 mm"),
    ],
)
def test_rules_of_gauges(model: str, given: dict[str, object], message: str) -> None:
    with pytest.raises(FixtureError, match=message) as caught:
        library().make(model, METRIC, given)
    assert "\n" not in str(caught.value)


def test_a_drawing_of_a_gauge_states_its_limits(tmp_path: Path) -> None:
    """The dimensions are rounded to 0.01 mm, which is coarser than a gauge: its limits stand at its sizes."""
    target = tmp_path / "plug.svg"
    assert main(["make", "plug_gauge", "--format", "step", "--drawing", str(target), "-o", str(tmp_path)]) == 0
    words = re.sub(r"<[^>]*>", " ", target.read_text(encoding="utf-8"))
    for limit in ("Ø16.0000 to 16.0009 GO", "Ø16.0171 to 16.0180 NO-GO"):
        assert limit in words, limit
