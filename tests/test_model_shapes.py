"""What single blocks promise, held against closed forms and published shapes of stock."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from fixture3d.errors import ModelError
from fixture3d.library import library
from fixture3d.part import Pattern
from fixture3d.solid import kernel
from fixture3d.stock.stock import section

METRIC = Pattern(pitch=50.0, bore=16.0)
PATTERNS = (
    METRIC,
    Pattern(pitch=100.0, bore=28.0),
    Pattern(pitch=50.8, bore=15.875, inch=True),
    Pattern(pitch=50.8, bore=19.05, inch=True),
)


def block(model: str, pattern: Pattern = METRIC, /, **given: object) -> Any:
    return library().make(model, pattern, given)


def prism(points: list[tuple[float, float]], length: float, radii: dict[int, float]) -> Any:
    """A profile in the XZ plane, 2D corners rounded by index, from y = -length / 2 on."""
    import cadquery as cq

    face = cq.Face.makeFromWires(cq.Wire.makePolygon([cq.Vector(x, -length / 2, z) for x, z in points], close=True))
    corners = face.Vertices()
    for index, radius in radii.items():
        x, z = points[index]
        (corner,) = [v for v in corners if math.hypot(v.X - x, v.Z - z) < 1e-9]
        face = face.fillet2D(radius, [corner])
        corners = face.Vertices()
    return cq.Solid.extrudeLinear(face, cq.Vector(0, length, 0))


def shifted(solid: Any, *offset: float) -> Any:
    import cadquery as cq

    return solid.moved(cq.Location(cq.Vector(*offset)))


def touches(a: Any, b: Any) -> bool:
    """Gap zero and nothing in common."""
    shape = kernel.common(a.wrapped, b.wrapped)
    inside = 0.0 if shape is None else kernel.volume(shape)
    gap = kernel.distance(a.wrapped, b.wrapped)
    return gap is not None and gap < 1e-6 and inside < 1e-3


def overlaps(a: Any, b: Any) -> bool:
    shape = kernel.common(a.wrapped, b.wrapped)
    return shape is not None and kernel.volume(shape) > 1.0


# --- corner block -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wall", [2.0, 3.0])
def test_the_relief_clears_the_corner_of_a_tube_of_the_standard(wall: float) -> None:
    """EN 10219-2, cold formed: outside corner radius 1.6 T to 2.4 T for T up to 6 mm."""
    import cadquery as cq

    corner = block("corner_block")
    pads = {pad.name: pad for pad in corner.pads()}
    inner, solid = pads["front wall"].at[1], corner.solid()
    start = pads["front wall"].at[0] - pads["front wall"].length / 2.0 - inner
    for radius in (1.6 * wall, 2.4 * wall, 0.0):  # and a sharp-edged bar
        tube = cq.Solid.makeBox(50.0, 50.0, 80.0, cq.Vector(inner, inner, 0.0))
        post = tube.fillet(radius, tube.edges("|Z").Edges()) if radius else tube
        assert start >= radius, "the wall is flat only where the tube is"
        assert touches(solid, post)
        assert overlaps(solid, shifted(post, -0.05, 0.0, 0.0))
        assert overlaps(solid, shifted(post, 0.0, -0.05, 0.0))


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("rest", [0.0, 20.0])
def test_nothing_is_nearer_to_the_corner_than_the_relief(pattern: Pattern, rest: float) -> None:
    import cadquery as cq

    corner = block("corner_block", pattern, rest=f"{rest} mm")
    inner = next(pad for pad in corner.pads() if pad.name == "left wall").at[0]
    line = cq.Edge.makeLine(cq.Vector(inner, inner, rest + 10.0), cq.Vector(inner, inner, corner.height - 5.0))
    solid = corner.solid()
    assert kernel.distance(solid.wrapped, line.wrapped) == pytest.approx(min(corner.relief, 10.0), abs=1e-6)
    bore = cq.Edge.makeLine(cq.Vector(0, 0, 0), cq.Vector(0, 0, corner.height))
    wall = kernel.distance(bore.wrapped, line.wrapped) - corner.relief - pattern.bore / 2.0
    assert wall >= pattern.bore / 4.0 - 1e-9


# --- nest ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stock", ["L 50x50x5", "L 30x30x4", "L 100x100x10"])
@pytest.mark.parametrize("shape", [1, 2])
def test_an_angle_of_the_standard_lies_on_both_legs(stock: str, shape: int) -> None:
    """Legs, thickness and root radius of EN 10056-1, from the shipped table; heel sharp outside."""
    import cadquery as cq

    angle = section(stock)
    a, t, root = angle.height, angle.wall, angle.inner_radius
    assert root > 0.0
    nest = block("nest", shape=shape, size=a, thickness=t, root=root, height=150)
    square = [(0.0, 0.0), (a, 0.0), (a, t), (t, t), (t, a), (0.0, a)]
    profile = prism(square, 120.0, {3: root})
    way = cq.Vector(0, 1, 0)
    turned = profile.rotate(cq.Vector(0, 0, 0), way, -45.0 if shape == 1 else 135.0)
    work, solid = shifted(turned, nest.middle, 0.0, 150.0), nest.solid()
    assert work.BoundingBox().zmin == pytest.approx(150.0) if shape == 1 else True
    assert work.BoundingBox().zmax == pytest.approx(150.0) if shape == 2 else True
    assert touches(solid, work)
    for offset in ((0.0, 0.0, -0.05), (0.1, 0.0, 0.0), (-0.1, 0.0, 0.0)):
        assert overlaps(solid, shifted(work, *offset))


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_channel_lies_on_its_web_against_one_lip(pattern: Pattern) -> None:
    nest = block("nest", pattern, shape=3, size="80 mm", height="60 mm")
    left = nest.middle - 40.0
    channel = prism(
        [(0, 0), (80, 0), (80, 45), (75, 45), (75, 5), (5, 5), (5, 45), (0, 45)], 100.0, {}
    )  # sharp-edged: the grooves clear it
    work, solid = shifted(channel, left, 0.0, 60.0), nest.solid()
    assert touches(solid, work)
    assert touches(solid, shifted(work, 0.9, 0.0, 0.0)), "1 mm of room at the other lip"
    assert overlaps(solid, shifted(work, 1.1, 0.0, 0.0))
    assert overlaps(solid, shifted(work, -0.1, 0.0, 0.0))


# --- pins ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("diameter", "land", "clearance"), [(12.0, 3.0, 0.1), (20.0, 4.0, 0.2), (8.0, 2.0, 0.05)])
def test_a_diamond_pin_is_free_along_one_line_only(diameter: float, land: float, clearance: float) -> None:
    """Where a corner of a land meets the hole: (w/2 + s)^2 + r^2 - (w/2)^2 = R^2, elementary geometry of the circle."""
    import cadquery as cq

    pin = block("diamond_dowel", diameter=diameter, land=land, height=40, rest=10)
    r, hole, w = diameter / 2.0, diameter / 2.0 + clearance / 2.0, land / 2.0
    free = math.sqrt(hole**2 - r**2 + w**2) - w
    assert free > 1.5 * clearance / 2.0, "more than a round pin"
    solid = pin.solid()
    plate = cq.Solid.makeBox(60, 60, 10, cq.Vector(-30, -30, 15)).cut(
        cq.Solid.makeCylinder(hole, 30.0, cq.Vector(0, 0, 5))
    )
    for side in (-1.0, 1.0):
        assert not overlaps(plate, shifted(solid, 0.0, side * (free - 0.01), 0.0))
        assert touches(plate, shifted(solid, 0.0, side * free, 0.0))
        past = kernel.common(plate.wrapped, shifted(solid, 0.0, side * (free + 0.05), 0.0).wrapped)
        assert past is not None
        assert kernel.volume(past) > 0.0
        assert touches(plate, shifted(solid, side * clearance / 2.0, 0.0, 0.0))
    assert {pad.name for pad in pin.pads() if pad.width == 0.0} == {"left", "right"}


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_headed_dowel_stands_by_a_shank_as_thick_as_the_hole(pattern: Pattern) -> None:
    import cadquery as cq

    for model in ("headed_dowel", "diamond_dowel"):
        pin = block(model, pattern)
        below = cq.Solid.makeBox(400.0, 400.0, 400.0, cq.Vector(-200.0, -200.0, -400.0))
        box = pin.solid().intersect(below).BoundingBox()
        assert (box.xlen, box.ylen, box.zlen) == pytest.approx((pattern.bore, pattern.bore, pin.shank), abs=1e-6)
        above = cq.Solid.makeBox(400.0, 400.0, 400.0, cq.Vector(-200.0, -200.0, pin.rest + 0.5))
        box = pin.solid().intersect(above).BoundingBox()
        assert box.xlen == pytest.approx(pin.diameter, abs=1e-6)
        assert box.zmax == pytest.approx(pin.height)


# --- slope, screw, jaws, stack, plate -----------------------------------------------------------------------------


@pytest.mark.parametrize(("angle", "lip"), [(5, 10), (30, 10), (45, 10), (60, 20)])
def test_square_work_lies_on_slope_and_stop(angle: float, lip: float) -> None:
    import cadquery as cq

    tilt = block("tilt_block", angle=angle, lip=lip, depth=110)
    solid = tilt.solid()
    work = cq.Solid.makeBox(60.0, 40.0, 30.0, cq.Vector(-10.0, 0.0, 0.0))
    work = work.rotate(cq.Vector(0, 0, 0), cq.Vector(1, 0, 0), angle)
    work = shifted(work, 0.0, -tilt.depth / 2.0, tilt.height)
    assert touches(solid, work)
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    assert overlaps(solid, shifted(work, 0.0, 0.1 * s, -0.1 * c))  # into the slope
    assert overlaps(solid, shifted(work, 0.0, -0.1 * c, -0.1 * s))  # into the stop


@pytest.mark.parametrize("slide", [0.0, 10.0, 25.0])
def test_a_screw_jack_comes_up_and_stays_in_its_thread(slide: float) -> None:
    jack = block("screw_jack")
    screw = next(b for b in jack.bodies() if b.moves).build()
    base = jack.solid().BoundingBox().zmax
    box = shifted(screw, 0.0, 0.0, slide).BoundingBox()
    assert box.zmax == pytest.approx(jack.height + slide)
    assert base - box.zmin >= 12.0 - 1e-9, "one diameter of an M12 screw"


@pytest.mark.parametrize("diameter", [15.0, 48.3, 60.3, 115.0])
@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_centring_pair_holds_a_round_over_a_hole(pattern: Pattern, diameter: float) -> None:
    """A circle in a V of 90 degrees: its middle is r root 2 from the sharp bottom, and r from either flat."""
    pair = block("centring_pair", pattern, diameter=f"{diameter} mm", height="120 mm")
    cells = pair.middle / pattern.pitch
    assert cells == pytest.approx(round(cells))
    vees = [pad for pad in pair.pads() if "vee" in pad.name]
    assert len(vees) == 4
    axis = np.array([pair.middle, 0.0, 0.0])
    for pad in vees:
        off = axis - np.asarray(pad.at) * [1.0, 1.0, 0.0]
        assert off @ np.asarray(pad.normal) == pytest.approx(diameter / 2.0)
        assert abs(off @ np.cross(pad.normal, pad.along)) < pad.width / 2.0
    assert np.sum([pad.normal for pad in vees], axis=0) == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)
    high = pair.box()[1][0] - pair.middle
    assert high >= pair.bodies()[1].build().BoundingBox().xmax + pair.travel - pair.middle - 1e-9, "open on its base"


def test_a_shim_stack_is_as_high_as_its_sum() -> None:
    stack = block("shim_stack", plate=20, count=3, thickness=1, fine_count=4, fine=0.1)
    solids = [b.build() for b in stack.bodies()]
    area = (50.0 + 40.0) * 40.0 - 2.0 * math.pi * 8.0**2
    assert sum(kernel.volume(s.wrapped) for s in solids) == pytest.approx(area * 23.4)
    assert stack.pads()[0].at[2] == stack.sockets()[0].at[2] == pytest.approx(23.4)
    assert [b.name for b in block("shim_stack", count=0).bodies()] == [""]
    assert touches(solids[0], solids[1])
    assert touches(solids[1], solids[2])


def test_an_angle_plate_has_the_volume_of_its_plates_and_gussets() -> None:
    plate = block("angle_plate", columns=5, rows=3)
    (x0, y0, _), (x1, y1, top) = plate.box()
    length, t, g = x1 - x0, 20.0, 10.0
    plates = length * (t * (y1 - y0) + (top - t) * t)
    # A gusset: the rectangle behind the plates less the triangle over its slope, blunt by g at both ends.
    wide, high = y1 - y0 - t, top - t
    gusset = wide * high - (wide - g) * (high - g) / 2.0
    bores = (5 * 2 + 5 * 3) * math.pi * 8.0**2 * t
    broken = 2.0**2 / 2.0 * (length + 2.0 * top)
    exact = plates + 3.0 * g * gusset - bores - broken
    assert kernel.volume(plate.solid().wrapped) == pytest.approx(exact, abs=2.0 * 2.0**3)  # two mitred corners


@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("columns", [2, 4, 5, 8])
def test_a_nut_goes_on_behind_every_hole_of_the_face(pattern: Pattern, columns: int) -> None:
    """A hexagon nut of the thread nearest to the bore is 1.5 diameters over its flats, 1.73 over its corners (ISO 4032:
    M16 24 mm over flats)."""
    import cadquery as cq

    plate = block("angle_plate", pattern, columns=columns, rows=2)
    d = pattern.bore
    solid = plate.solid()
    for hole, socket in enumerate(plate.sockets()):
        if hole in (0, 1, columns - 1):
            behind = (socket.at[0], socket.at[1] + socket.depth + 0.01, socket.at[2])
            nut = cq.Solid.makeCylinder(1.73 * d / 2.0, 0.8 * d, cq.Vector(*behind), cq.Vector(0, 1, 0))
            assert not overlaps(solid, nut), socket.name
    for pin in plate.pins():
        if pin.face == "bottom":
            above = (pin.at[0], pin.at[1], pin.depth + 0.01)
            head = cq.Solid.makeCylinder(1.73 * d / 2.0, d, cq.Vector(*above))
            assert not overlaps(solid, head), pin.name


@pytest.mark.parametrize(
    ("model", "given", "message"),
    [
        ("corner_block", {"rest": 3}, "rest = 3 mm is too thin"),
        ("corner_block", {"rest": 60, "height": 60}, "no walls above rest"),
        ("angle_plate", {"rows": 6, "foot_rows": 1}, "expected at most 3 rows, or more foot_rows"),
        ("tilt_block", {"angle": 60, "lip": 20, "depth": 110, "height": 90}, "expected at most 220 mm"),
        ("tilt_block", {"angle": 50, "depth": 110}, "the stop carries more than the slope; expected at least 15 mm"),
        ("screw_jack", {"travel": 60}, "would leave its thread; expected at least 90 mm"),
        ("headed_dowel", {"diameter": 20, "collar": 25}, "leaves no ring"),
        ("headed_dowel", {"height": 12}, "no pin above rest"),
        ("diamond_dowel", {"land": 6}, "expected at most 4 mm"),
        ("nest", {"shape": 2, "size": 100, "height": 60}, "is too low for size = 100 mm"),
        ("nest", {"shape": 2, "size": 20, "thickness": 8, "root": 1}, "too much for legs of 20 mm"),
        ("nest", {"shape": 2, "size": 20, "thickness": 3, "root": 12}, "leaves no flat"),
        ("centring_pair", {"diameter": 115, "height": 50}, "hardly reaches up the tube"),
    ],
)
def test_rules_between_parameters(model: str, given: dict[str, object], message: str) -> None:
    with pytest.raises(ModelError, match=message) as caught:
        block(model, **given)
    assert "\n" not in str(caught.value)


def test_what_an_angle_plate_proposes_fits() -> None:
    assert block("angle_plate", rows=3, foot_rows=1).rows == 3
    with pytest.raises(ModelError):
        block("angle_plate", rows=4, foot_rows=1)
