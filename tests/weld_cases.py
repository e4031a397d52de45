"""Joints of known length and type, from plain geometry: what ``find_welds`` is measured against.

Every case is a pair of solids, in one frame, with the welds that follow from it: those that can be reached as (type,
length), those inside a tube as lengths. Lengths are closed forms, or integrals (scipy) that share no code with the
project. Members are made by ``job/pieces.py`` from the shipped stock (EN 10219 tube: outer radius 2 t, inner t).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
from scipy import integrate, special

from fixture3d.job.pieces import piece_shape
from fixture3d.job.weldment import build
from fixture3d.scene import Scene
from fixture3d.solid import kernel


@dataclass(frozen=True)
class Case:
    name: str
    pieces: dict[str, Any]
    open: list[tuple[str, float]]
    closed: list[float] = field(default_factory=list)
    remarks: frozenset[str] = frozenset()
    tight: int = 0  # how many of the open ones are tight
    gap: float = 1.0
    total: bool = False  # only the total length of each type is known
    flat: bool = False  # all faces flat, so that meshes are exact
    rim: tuple[float, float, float] | None = None  # the gap is at its limit: the way in which it grows


CASES: dict[str, Callable[[], Case]] = {}


def case(make: Callable[[], Case]) -> Callable[[], Case]:
    CASES[make.__name__] = make
    return make


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Any:
    import cadquery as cq

    return cq.Workplane().box(x[1] - x[0], y[1] - y[0], z[1] - z[0], centered=False).translate((x[0], y[0], z[0]))


def prism(points: list[tuple[float, float]], y: tuple[float, float]) -> Any:
    """An outline in XZ, drawn out along Y."""
    import cadquery as cq

    return cq.Workplane("XZ").polyline(points).close().extrude(y[0] - y[1]).translate((0.0, y[0], 0.0))


def rod(radius: float, length: float, bore: float = 0.0) -> Any:
    """A rod or tube along Z from 0."""
    import cadquery as cq

    flat = cq.Workplane().circle(radius)
    return (flat.circle(bore) if bore else flat).extrude(length)


def lying(radius: float, x: tuple[float, float], at: tuple[float, float], bore: float = 0.0) -> Any:
    """A rod along X with its axis at (y, z)."""
    turned = rod(radius, x[1] - x[0], bore).rotate((0, 0, 0), (0, 1, 0), 90)
    return turned.translate((x[0], at[0], at[1]))


def members(*parts: dict[str, Any], **more: Any) -> dict[str, Any]:
    scene = {"format": 1, "table": "50/16 2000x1000", "weldment": {"hole": "A1"}, "member": list(parts), **more}
    made = build(Scene.from_dict(scene))
    assert made is not None
    return {p.name: kernel.moved(piece_shape(p).brep, p.piece_to_weldment) for p in made.pieces}


def member(name: str, stock: str, start: list[float], end: list[float], **more: Any) -> dict[str, Any]:
    return {"name": name, "stock": stock, "from": start, "to": end, **more}


def upright(stock: str, at: float = 0.0, length: float = 200.0, **more: Any) -> Any:
    return members(member("post", stock, [0, 0, at], [0, 0, at + length], **more))["post"]


def around(width: float, height: float, radius: float) -> float:
    """Length round a rectangle with rounded corners."""
    return 2.0 * (width + height) - 8.0 * radius + 2.0 * math.pi * radius


def ellipse(a: float, b: float) -> float:
    """Perimeter of an ellipse with half axes a >= b."""
    return float(4.0 * a * special.ellipe(1.0 - (b / a) ** 2))


def saddle(r: float, big: float, angle: float = 90.0) -> float:
    """Length of the line in which a tube of radius r meets one of radius ``big`` at an angle, axes crossing.

    The tube's line at phi starts at ``r (cos phi s, sin phi)`` off its axis and runs along ``u``; it stops where
    ``y^2 + z^2 = R^2`` for a run along X. By numeric differences and quadrature.
    """
    a = math.radians(angle)
    out = np.array([math.cos(a), 0.0, math.sin(a)])
    side = np.array([-math.sin(a), 0.0, math.cos(a)])

    def point(phi: float) -> Any:
        base = r * math.cos(phi) * side + np.array([0.0, r * math.sin(phi), 0.0])
        up = math.sqrt(max(big * big - base[1] ** 2, 0.0))
        return base + out * (up - base[2]) / out[2]

    def speed(phi: float) -> float:
        h = 1e-6
        return float(np.linalg.norm(point(phi + h) - point(phi - h)) / (2.0 * h))

    corners = [0.0, math.pi / 2, math.pi, 1.5 * math.pi, 2.0 * math.pi]
    return float(sum(integrate.quad(speed, p + 1e-5, q - 1e-5, limit=200)[0] for p, q in pairwise(corners)))


PLATE = ((-100.0, 100.0), (-80.0, 80.0), (-8.0, 0.0))


def plate() -> Any:
    return box(*PLATE)


# Plates ------------------------------------------------------------------------------------------------------------


@case
def plate_standing_on_a_plate() -> Case:
    welds = [("fillet", 100.0)] * 2 + [("fillet", 6.0)] * 2
    return Case("", {"a": plate(), "b": box((-50, 50), (-3, 3), (0, 70))}, welds, flat=True)


@case
def plate_standing_flush_with_both_ends() -> Case:
    a = box((-50, 50), (-40, 40), (-8, 0))
    welds = [("fillet", 100.0)] * 2 + [("butt", 6.0)] * 2
    return Case("", {"a": a, "b": box((-50, 50), (-3, 3), (0, 70))}, welds, flat=True)


@case
def corner_of_two_plates_flush_outside() -> Case:
    a = box((0, 80), (-40, 40), (-6, 0))
    welds = [("fillet", 80.0), ("butt", 80.0)] + [("butt", 6.0)] * 2
    return Case("", {"a": a, "b": box((0, 6), (-40, 40), (0, 70))}, welds, flat=True)


@case
def corner_of_two_plates_edge_to_edge() -> Case:
    a = box((0, 60), (-40, 40), (-6, 0))
    return Case("", {"a": a, "b": box((-6, 0), (-40, 40), (0, 70))}, [("fillet", 80.0)] * 2, flat=True)


@case
def two_plates_butted() -> Case:
    a, b = box((-90, 0), (-40, 40), (0, 8)), box((0, 70), (-40, 40), (0, 8))
    return Case("", {"a": a, "b": b}, [("butt", 80.0)] * 2 + [("butt", 8.0)] * 2, flat=True)


@case
def two_plates_butted_with_a_root_gap() -> Case:
    a, b = box((-90, 0), (-40, 40), (0, 8)), box((0.8, 70), (-40, 40), (0, 8))
    return Case("", {"a": a, "b": b}, [("butt", 80.0)] * 2 + [("butt", 8.0)] * 2, flat=True)


@case
def two_plates_butted_a_step_apart() -> Case:
    a, b = box((-90, 0), (-40, 40), (0, 8)), box((0, 70), (-40, 40), (0.2, 8.2))
    return Case("", {"a": a, "b": b}, [("butt", 80.0)] * 2 + [("butt", 8.0)] * 2, total=True, flat=True)


@case
def narrow_plate_butted_to_a_wide_one() -> Case:
    a, b = box((-90, 0), (-60, 60), (0, 8)), box((0, 70), (-40, 40), (0, 8))
    return Case("", {"a": a, "b": b}, [("butt", 80.0)] * 2 + [("fillet", 8.0)] * 2, flat=True)


@case
def small_plate_on_a_large_one() -> Case:
    b = box((-30, 30), (-25, 25), (0, 6))
    return Case("", {"a": plate(), "b": b}, [("lap", 60.0)] * 2 + [("lap", 50.0)] * 2, flat=True)


@case
def two_plates_lapped_with_flush_sides() -> Case:
    a, b = box((-90, 20), (-25, 25), (0, 6)), box((-20, 90), (-25, 25), (6, 12))
    return Case("", {"a": a, "b": b}, [("lap", 50.0)] * 2 + [("edge", 40.0)] * 2, flat=True)


@case
def strip_lapped_on_a_wider_one() -> Case:
    a, b = box((-90, 20), (-40, 40), (0, 6)), box((-20, 90), (-25, 25), (6, 12))
    return Case("", {"a": a, "b": b}, [("lap", 50.0)] * 2 + [("lap", 40.0)] * 2, flat=True)


@case
def gusset_on_a_plate() -> Case:
    b = prism([(0, 0), (80, 0), (0, 80)], (-3, 3))
    return Case("", {"a": plate(), "b": b}, [("fillet", 80.0)] * 2 + [("fillet", 6.0)] * 2, flat=True)


@case
def gusset_against_a_tube() -> Case:
    post = members(member("post", "SHS 40x40x3", [-20, 0, -30], [-20, 0, 170]))["post"]
    b = prism([(0, 0), (80, 0), (0, 80)], (-3, 3))
    return Case("", {"post": post, "b": b}, [("fillet", 80.0)] * 2 + [("fillet", 6.0)] * 2)


@case
def gusset_lapped_on_a_tube() -> Case:
    post = members(member("post", "SHS 40x40x3", [0, 0, -100], [0, 0, 100]))["post"]
    b = box((20, 26), (-10, 60), (-40, 40))  # its edge and two ends on the flat, which ends at y = 14
    return Case(
        "", {"post": post, "b": b}, [("lap", 80.0), ("lap", 24.0), ("lap", 24.0), ("flare", 80.0)], remarks=frozenset()
    )


def leaning(degrees: float) -> Case:
    """A plate of 6 mm that leans so far from upright, its foot cut to lie on the plate."""
    a = math.radians(degrees)
    foot, lean = 6.0 / math.cos(a), 70.0 * math.tan(a)
    b = prism([(0, 0), (foot, 0), (foot + lean, 70), (lean, 70)], (-50, 50))
    return Case("", {"a": plate(), "b": b}, [("fillet", 100.0)] * 2 + [("fillet", foot)] * 2, flat=True)


@case
def plate_leaning_20_degrees() -> Case:
    return leaning(20.0)


@case
def plate_leaning_35_degrees() -> Case:
    return leaning(35.0)


@case
def plate_leaning_55_degrees_is_tight_below() -> Case:
    made = leaning(55.0)
    return Case("", made.pieces, made.open, tight=1, flat=True)


@case
def plate_leaning_75_degrees_is_too_narrow_below() -> Case:
    made = leaning(75.0)  # 165 degrees above it is a butt
    foot = 6.0 / math.cos(math.radians(75.0))
    welds = [("butt", 100.0), ("fillet", foot), ("fillet", foot)]
    return Case("", made.pieces, welds, remarks=frozenset({"too narrow"}), flat=True, total=True)


@case
def tube_through_a_plate() -> Case:
    import cadquery as cq

    hole = cq.Workplane().rect(90, 90).circle(24.4).extrude(6).translate((0, 0, 60))
    ring = 2.0 * math.pi * 24.4
    return Case("", {"a": upright("CHS 48.3x3.2"), "b": hole}, [("fillet", ring)] * 2)


@case
def bar_through_a_plate_with_a_gap() -> Case:
    import cadquery as cq

    hole = cq.Workplane().rect(90, 90).rect(31, 31).extrude(6).translate((0, 0, 60))
    bar = box((-15, 15), (-15, 15), (0, 200))
    return Case("", {"a": bar, "b": hole}, [("fillet", 30.0)] * 8, total=True, flat=True)


@case
def sleeve_on_a_tube() -> Case:
    a, b = rod(20, 200, 17), rod(24, 60, 20).translate((0, 0, 70))
    return Case("", {"a": a, "b": b}, [("lap", 40.0 * math.pi)] * 2)


# Feet --------------------------------------------------------------------------------------------------------------


def foot(stock: str, outer: float, inner: float, gap: float = 0.0) -> Case:
    found = Case("", {"plate": plate(), "post": upright(stock, gap)}, [("fillet", outer)], [inner] if inner else [])
    return found


@case
def square_tube_on_a_plate() -> Case:
    return foot("SHS 40x40x3", around(40, 40, 6), around(34, 34, 3))


@case
def rectangular_tube_on_a_plate() -> Case:
    return foot("RHS 60x40x3", around(60, 40, 6), around(54, 34, 3))


@case
def round_tube_on_a_plate() -> Case:
    return foot("CHS 48.3x3.2", math.pi * 48.3, math.pi * 41.9)


@case
def round_bar_on_a_plate() -> Case:
    return foot("ROUND 20", math.pi * 20.0, 0.0)


@case
def square_bar_on_a_plate() -> Case:
    return Case("", {"plate": plate(), "post": upright("BAR 20")}, [("fillet", 20.0)] * 4)


@case
def angle_on_a_plate() -> Case:
    from fixture3d.stock.stock import section

    outline = section("L 60x30x5").outline()[0]
    length = sum(math.dist(e.start, e.end) if e.centre is None else abs(e.radius * e.sweep) for e in outline)
    return Case("", {"plate": plate(), "post": upright("L 60x30x5")}, [("fillet", length)], total=True)


@case
def tube_half_a_millimetre_off() -> Case:
    return foot("SHS 40x40x3", around(40, 40, 6), around(34, 34, 3), 0.5)


@case
def tube_at_the_limit() -> Case:
    return replace(foot("SHS 40x40x3", around(40, 40, 6), around(34, 34, 3), 1.0), rim=(0.0, 0.0, 1.0))


@case
def tube_beyond_the_limit() -> Case:
    pieces = {"plate": plate(), "post": upright("SHS 40x40x3", 1.4)}
    return Case("", pieces, [], remarks=frozenset({"near miss"}))


@case
def tube_at_a_limit_of_two() -> Case:
    made = foot("CHS 48.3x3.2", math.pi * 48.3, math.pi * 41.9, 1.9)
    return replace(made, gap=2.0, rim=(0.0, 0.0, 1.0))


@case
def tube_out_of_reach() -> Case:
    return Case("", {"plate": plate(), "post": upright("SHS 40x40x3", 4.0)}, [])


# Members on members -----------------------------------------------------------------------------------------------


@case
def narrow_tube_on_a_wider_one() -> Case:
    pieces = members(
        member("leg", "SHS 60x60x3", [-200, 0, 0], [200, 0, 0]), member("rung", "SHS 40x40x3", [0, 0, 30], [0, 0, 200])
    )
    return Case("", pieces, [("fillet", around(40, 40, 6))], [around(34, 34, 3)])


@case
def bars_of_one_width() -> Case:
    pieces = members(
        member("leg", "BAR 30", [-200, 0, 0], [200, 0, 0]), member("rung", "BAR 30", [0, 0, 15], [0, 0, 200])
    )
    return Case("", pieces, [("fillet", 30.0)] * 2 + [("butt", 30.0)] * 2, flat=True)


@case
def bars_crossing() -> Case:
    pieces = members(
        member("leg", "BAR 30", [-200, 0, 0], [200, 0, 0]), member("rung", "BAR 20", [0, -150, 25], [0, 150, 25])
    )
    return Case("", pieces, [("fillet", 30.0)] * 2 + [("fillet", 20.0)] * 2, flat=True)


@case
def equal_tubes_with_round_corners() -> Case:
    pieces = members(
        member("leg", "SHS 40x40x3", [-200, 0, 0], [200, 0, 0]), member("rung", "SHS 40x40x3", [0, 0, 20], [0, 0, 200])
    )
    # Outside, the line goes on round the corners (radius 6) until the round below has fallen away by the gap.
    front = 28.0 + 2.0 * 6.0 * math.asin(math.sqrt(7.0**2 - 6.0**2) / 6.0)
    # The inner edges of the side walls stand 0.80 mm over the round, on a straight of 28 mm; each runs on round its
    # corner (radius 3), inwards over the round, to where the flat ends. Inside, all of the outline is within the gap.
    return Case("", pieces, [("fillet", front)] * 2 + [("flare", 32.2)] * 2, [around(34, 34, 3)])


def mitred(stock: str, angle: float = 90.0) -> dict[str, Any]:
    a = math.radians(angle)
    return members(
        member("x", stock, [-250, 0, 0], [0, 0, 0], ends=["square", {"mitre_to": "y"}]),
        member("y", stock, [0, 0, 0], [-250 * math.cos(a), 250 * math.sin(a), 0], ends=[{"mitre_to": "x"}, "square"]),
    )


@case
def mitre_of_bars() -> Case:
    welds = [("fillet", 30.0), ("corner", 30.0)] + [("butt", 30.0 * math.sqrt(2.0))] * 2
    return Case("", mitred("BAR 30"), welds, flat=True)


@case
def mitre_of_square_tubes() -> Case:
    s = math.sqrt(2.0)
    outer = 28.0 + ellipse(6.0 * s, 6.0) / 2.0
    inner = 28.0 + ellipse(3.0 * s, 3.0) / 2.0
    welds = [("fillet", outer), ("corner", outer)] + [("butt", 28.0 * s)] * 2
    return Case("", mitred("SHS 40x40x3"), welds, [inner, inner, 28.0 * s, 28.0 * s])


@case
def mitre_of_round_tubes() -> Case:
    s = math.sqrt(2.0)
    return Case("", mitred("CHS 48.3x3.2"), [("butt", ellipse(24.15 * s, 24.15))], [ellipse(20.95 * s, 20.95)])


@case
def mitre_of_bars_at_120() -> Case:
    long = 30.0 / math.sin(math.radians(60.0))
    return Case("", mitred("BAR 30", 120.0), [("fillet", 30.0), ("corner", 30.0)] + [("butt", long)] * 2, flat=True)


def skewed(stock: str, leg: str, half: float, angle: float) -> dict[str, Any]:
    a = math.radians(angle)
    far = [400 * math.cos(a), 0, 400 * math.sin(a)]
    return members(
        member("leg", leg, [-300, 0, 0], [300, 0, 0]),
        member("brace", stock, [half / math.tan(a), 0, half], far, ends=[{"against": "leg"}, "square"]),
    )


@case
def brace_at_45_degrees() -> Case:
    s = math.sqrt(2.0)
    outer = 2 * 28.0 + 2 * 28.0 * s + ellipse(6.0 * s, 6.0)
    inner = 2 * 28.0 + 2 * 28.0 * s + ellipse(3.0 * s, 3.0)
    return Case("", skewed("SHS 40x40x3", "SHS 60x60x3", 30.0, 45.0), [("fillet", outer)], [inner])


@case
def bar_brace_at_60_degrees() -> Case:
    long = 20.0 / math.sin(math.radians(60.0))
    pieces = skewed("BAR 20", "SHS 60x60x3", 30.0, 60.0)
    return Case("", pieces, [("fillet", 20.0)] * 2 + [("fillet", long)] * 2)


def coped(stock: str, run: str, angle: float = 90.0, gap: float = 0.0) -> dict[str, Any]:
    a = math.radians(angle)
    start = [400 * math.cos(a), 0, 400 * math.sin(a)]
    return members(
        member("branch", stock, start, [0, 0, 0], ends=["square", {"cope": "run", "gap": gap}]),
        member("run", run, [-300, 0, 0], [300, 0, 0]),
    )


@case
def cope_on_a_larger_tube() -> Case:
    pieces = coped("CHS 42.4x3.2", "CHS 60.3x3.2")
    return Case("", pieces, [("fillet", saddle(21.2, 30.15))], [saddle(18.0, 30.15)])


@case
def cope_on_an_equal_tube() -> Case:
    pieces = coped("CHS 48.3x3.2", "CHS 48.3x3.2")
    return Case("", pieces, [("fillet", saddle(24.15, 24.15))], [saddle(20.95, 24.15)], total=True)


@case
def cope_at_60_degrees() -> Case:
    pieces = coped("CHS 42.4x3.2", "CHS 60.3x3.2", 60.0)
    return Case("", pieces, [("fillet", saddle(21.2, 30.15, 60.0))], [saddle(18.0, 30.15, 60.0)])


@case
def cope_with_a_root_gap() -> Case:
    pieces = coped("CHS 33.7x3.2", "CHS 60.3x3.2", 90.0, 0.8)
    return Case("", pieces, [("fillet", saddle(16.85, 30.95))], [saddle(13.65, 30.95)])


@case
def square_tube_coped_on_a_round_one() -> Case:
    pieces = coped("SHS 30x30x2", "CHS 60.3x3.2")
    outer = profile_on_round(30.0, 4.0, 30.15)
    inner = profile_on_round(26.0, 2.0, 30.15)
    return Case("", pieces, [("fillet", outer)], [inner])


def profile_on_round(side: float, radius: float, big: float) -> float:
    """Length of the line in which a rounded square, seen from above, meets a cylinder along X."""

    def over(y: Callable[[float], float], x: Callable[[float], float], low: float, high: float) -> float:
        def speed(t: float) -> float:
            h = 1e-6
            z = [math.sqrt(big * big - y(s) ** 2) for s in (t + h, t - h)]
            return math.hypot(x(t + h) - x(t - h), y(t + h) - y(t - h), z[0] - z[1]) / (2.0 * h)

        return float(integrate.quad(speed, low, high)[0])

    flat = side / 2.0 - radius
    straight = 2.0 * (2.0 * flat) + 2.0 * over(lambda t: t, lambda t: 0.0, -flat, flat)
    arcs = 4.0 * over(lambda t: flat + radius * math.sin(t), lambda t: radius * math.cos(t), 0.0, math.pi / 2.0)
    return straight + arcs


@case
def square_cut_round_on_round() -> Case:
    pieces = members(
        member("run", "CHS 48.3x3.2", [-300, 0, 0], [300, 0, 0]),
        member("branch", "CHS 48.3x3.2", [0, 0, 24.15], [0, 0, 300]),
    )
    return Case("", pieces, [("fillet", arc(24.15))] * 2, [arc(20.95)] * 2, remarks=frozenset({"near miss"}))


def arc(radius: float, main: float = 24.15, gap: float = 1.0) -> float:
    """How much of a square-cut end of a radius lies within the gap of a round, across its crown."""
    return 2.0 * radius * math.asin(math.sqrt((main + gap) ** 2 - main**2) / radius)


@case
def round_tubes_crossing_at_a_point() -> Case:
    pieces = members(
        member("run", "CHS 48.3x3.2", [-300, 0, 0], [300, 0, 0]),
        member("over", "CHS 48.3x3.2", [0, -300, 48.3], [0, 300, 48.3]),
    )
    return Case("", pieces, [], remarks=frozenset({"no line"}))


# Rounds that lie along --------------------------------------------------------------------------------------------


@case
def round_bar_lying_on_a_plate() -> Case:
    pieces = {"a": plate(), "b": lying(15.0, (-40, 40), (0, 15))}
    return Case("", pieces, [("flare", 80.0)] * 2, remarks=frozenset({"too short"}))


@case
def round_tubes_side_by_side() -> Case:
    pieces = {"a": lying(24.0, (-100, 100), (0, 0), 21.0), "b": lying(20.0, (-60, 40), (44, 0), 17.0)}
    return Case("", pieces, [("flare", 100.0)] * 2, remarks=frozenset({"too short"}))


@case
def square_tubes_side_by_side() -> Case:
    pieces = members(
        member("a", "SHS 40x40x3", [-100, 0, 0], [100, 0, 0]), member("b", "SHS 40x40x3", [-60, 40, 0], [60, 40, 0])
    )
    # Across both ends of the shorter one, on the flat.
    return Case("", pieces, [("flare", 120.0)] * 2 + [("fillet", 28.0)] * 2, remarks=frozenset({"too short"}))


@case
def plate_edge_along_a_round_tube() -> Case:
    a, b = lying(24.0, (-100, 100), (0, 0), 21.0), box((-40, 40), (-3, 3), (24, 80))
    return Case("", {"a": a, "b": b}, [("fillet", 80.0)] * 2 + [("fillet", 6.0)] * 2, total=True)


# Rounds under an end that is cut square ------------------------------------------------------------------------------


@case
def flat_bar_standing_across_a_round_tube() -> Case:
    pieces = {"run": lying(40.0, (-100, 100), (0, -40), 36.0), "bar": box((-4, 4), (-25, 25), (0, 100))}
    across = 2.0 * math.sqrt(41.0**2 - 40.0**2)  # as far as the crown has fallen by no more than the gap
    return Case("", pieces, [("fillet", across)] * 2, remarks=frozenset({"too short"}))


@case
def square_tube_cut_square_on_a_larger_round_one() -> Case:
    across = 2.0 * math.sqrt(58.15**2 - 57.15**2)
    pieces = members(
        member("run", "CHS 114.3x3.6", [-300, 0, 0], [300, 0, 0]),
        member("branch", "SHS 40x40x3", [0, 0, 57.15], [0, 0, 300]),
    )
    return Case("", pieces, [("fillet", across)] * 2, [across] * 2, remarks=frozenset({"too short", "near miss"}))


@case
def square_bar_standing_on_a_round_one_as_wide() -> Case:
    pieces = {"run": lying(15.0, (-100, 100), (0, -15)), "bar": box((-15, 15), (-15, 15), (0, 100))}
    across = 2.0 * math.sqrt(16.0**2 - 15.0**2)
    return Case("", pieces, [("fillet", across)] * 2 + [("flare", 30.0)] * 2, rim=(1.0, 0.0, 0.0))


@case
def flat_bar_as_wide_as_the_tube_that_it_stands_on() -> Case:
    tube = members(member("arm", "SHS 30x30x3", [-100, 0, 0], [100, 0, 0]))["arm"]
    end = box((-3, 3), (-15, 15), (15, 60))
    across = 18.0 + 2.0 * math.sqrt(7.0**2 - 6.0**2)  # the flat, and on over both rounds (radius 6)
    return Case("", {"arm": tube, "end": end}, [("fillet", across)] * 2 + [("flare", 6.0)] * 2)


@case
def tube_flush_with_one_side_of_a_wider_one() -> Case:
    pieces = members(
        member("leg", "SHS 60x60x3", [-200, 0, 0], [200, 0, 0]),
        member("rung", "SHS 40x40x3", [0, 10, 30], [0, 10, 200]),
    )
    fading = 6.0 * math.asin(math.sqrt(7.0**2 - 6.0**2) / 6.0)
    three = 3.0 * 28.0 + 2.0 * (6.0 * math.pi / 2.0) + 2.0 * fading
    return Case("", pieces, [("fillet", three), ("flare", 32.2)], [around(34, 34, 3)])


@case
def disc_standing_on_its_rim() -> Case:
    disc = rod(30.0, 4.0).rotate((0, 0, 0), (1, 0, 0), 90).translate((0, 2, 30))
    rim = 2.0 * 30.0 * math.acos(29.0 / 30.0)
    return Case("", {"plate": plate(), "disc": disc}, [("fillet", rim)] * 2, remarks=frozenset({"near miss"}))


@case
def rod_half_over_the_edge_of_a_plate() -> Case:
    pieces = {"plate": box((-100, 0), (-50, 50), (-8, 0)), "rod": rod(12.0, 60.0)}
    return Case("", pieces, [("fillet", 12.0 * math.pi), ("fillet", 24.0)])


# Three pieces, grooves and bores -------------------------------------------------------------------------------------


def cornered(gap: tuple[float, float] = (0.0, 0.0)) -> Case:
    """A wall on a base, 200 long, and a gusset of 60 and 10 thick in their corner, at 90 to 100 along it."""
    gusset = prism([(gap[0], gap[1]), (60, gap[1]), (gap[0], 60)], (90, 100))
    pieces = {
        "base": box((-12, 120), (0, 200), (-12, 0)),
        "wall": box((-12, 0), (0, 200), (0, 100)),
        "gusset": gusset,
    }
    shell = [("fillet", 90.0), ("fillet", 100.0), ("butt", 200.0), ("butt", 12.0), ("butt", 12.0)]
    legs = [("fillet", 60.0 - gap[0])] * 2 + [("fillet", 60.0 - gap[1])] * 2
    return Case("", pieces, [*shell, *legs, ("fillet", 10.0), ("fillet", 10.0)], flat=True)


@case
def gusset_that_fills_a_corner() -> Case:
    return cornered()


@case
def gusset_with_gaps_in_a_corner() -> Case:
    return cornered((0.7, 0.6))


def strapped(gap: float) -> Case:
    a, b = box((-90, 0), (-60, 60), (-8, 0)), box((0, 90), (-60, 60), (-8, 0))
    strap = box((-30, 30), (-20, 20), (gap, gap + 6.0))
    butts = [("butt", 120.0), ("butt", 40.0), ("butt", 40.0), ("butt", 8.0), ("butt", 8.0)]
    laps = [("lap", 30.0)] * 4 + [("lap", 40.0)] * 2
    return Case("", {"a": a, "b": b, "strap": strap}, butts + laps, flat=True)


@case
def strap_over_a_butt() -> Case:
    return strapped(0.0)


@case
def strap_over_a_butt_with_a_gap() -> Case:
    return strapped(0.8)


@case
def flare_under_a_plate_on_two_bars() -> Case:
    pieces = {
        "a": lying(12.0, (-100, 100), (-12, 0)),
        "b": lying(12.0, (-100, 100), (12, 0)),
        "plate": box((-20, 20), (-30, 30), (12, 18)),
    }
    # Below, the line of the two bars is whole; above it ends at the plate. The plate's inner two lie in a hollow.
    welds = [("flare", 200.0), ("flare", 80.0), ("flare", 80.0), ("flare", 40.0), ("flare", 40.0)]
    return Case("", pieces, welds, [40.0, 40.0])


@case
def tube_standing_over_a_butt() -> Case:
    import cadquery as cq

    a, b = box((-90, 0), (-60, 60), (-8, 0)), box((0, 90), (-60, 60), (-8, 0))
    post = cq.Workplane().rect(40, 40).rect(34, 34).extrude(200)
    butts = [("butt", 120.0), ("butt", 40.0), ("butt", 40.0), ("butt", 8.0), ("butt", 8.0)]
    foot = [("fillet", 20.0)] * 4 + [("fillet", 40.0)] * 2
    return Case("", {"a": a, "b": b, "post": post}, butts + foot, [34.0, 34.0, 34.0] + [17.0] * 4, flat=True)


@case
def corner_of_three_square_tubes() -> Case:
    import cadquery as cq

    post = cq.Workplane().rect(40, 40).rect(34, 34).extrude(200)
    arm = cq.Workplane("YZ").center(0, 20).rect(40, 40).rect(34, 34).extrude(180).translate((20, 0, 0))
    other = arm.rotate((0, 0, 0), (0, 0, 1), 90)
    # At the post's edge all three meet in one line; the open groove there is the fillet between arm and other.
    welds = [("butt", 40.0)] * 4 + [("fillet", 40.0)] * 3
    return Case("", {"post": post, "arm": arm, "other": other}, welds, [34.0] * 8, flat=True)


@case
def plate_whose_end_stands_in_a_flush_butt() -> Case:
    """It lies on one of two bars that butt flush: over its width the groove is that of its end and the other bar."""
    a, b = box((-100, 0), (0, 40), (-20, 0)), box((0, 100), (0, 40), (-20, 0))
    strap = box((0, 60), (5, 35), (0, 6))
    butts = [("butt", 40.0), ("butt", 20.0), ("butt", 20.0), ("butt", 5.0), ("butt", 5.0)]
    laps = [("lap", 60.0), ("lap", 60.0), ("lap", 30.0)]
    return Case("", {"a": a, "b": b, "strap": strap}, [*butts, ("fillet", 30.0), *laps], flat=True)


@case
def three_plates_on_each_other() -> Case:
    a, b, c = box((0, 200), (0, 100), (0, 6)), box((30, 170), (20, 80), (6, 12)), box((60, 140), (40, 60), (12, 18))
    laps = [("lap", 140.0)] * 2 + [("lap", 60.0)] * 2 + [("lap", 80.0)] * 2 + [("lap", 20.0)] * 2
    return Case("", {"a": a, "b": b, "c": c}, laps, flat=True)


def grooved(width: float, depth: float) -> Case:
    """Two walls of 6 mm on a base, 200 long: a groove that is open above and at both ends."""
    base = box((-80, 80), (-20, 220), (-8, 0))
    a = box((-width / 2.0 - 6.0, -width / 2.0), (0, 200), (0, depth))
    b = box((width / 2.0, width / 2.0 + 6.0), (0, 200), (0, depth))
    return Case("", {"base": base, "a": a, "b": b}, [("fillet", 200.0)] * 4 + [("fillet", 6.0)] * 4, flat=True)


@case
def groove_as_deep_as_two_nozzles_are_wide() -> Case:
    return grooved(24.0, 44.0)


@case
def groove_just_wide_enough_for_the_slimmest_nozzle() -> Case:
    return grooved(17.0, 44.0)


@case
def groove_too_narrow_for_any_nozzle() -> Case:
    # One wall stands in front of the other's weld: the torch check says that it is blocked, and what to weld first.
    return grooved(9.0, 44.0)


def bored(width: float, depth: float) -> Case:
    import cadquery as cq

    outside = width + 6.0
    tube = cq.Workplane().rect(outside, outside).rect(width, width).extrude(depth)
    return Case("", {"plate": plate(), "tube": tube}, [("fillet", outside)] * 4, [width] * 4, flat=True)


@case
def bore_open_120_away() -> Case:
    return bored(44.0, 120.0)


@case
def bore_wide_enough_for_hand_and_nozzle() -> Case:
    made = bored(100.0, 120.0)
    return replace(made, open=[*made.open, *[("fillet", 100.0)] * 4], closed=[])


# Wrong models -----------------------------------------------------------------------------------------------------


@case
def plate_sunk_into_a_plate() -> Case:
    b = box((-50, 50), (-3, 3), (-2, 70))
    return Case("", {"a": plate(), "b": b}, [], remarks=frozenset({"overlap"}), flat=True)


def cases() -> Iterator[Case]:
    for name, make in CASES.items():
        made = make()
        yield Case(**{**made.__dict__, "name": name})


def faults(want: Case, got: Any) -> list[str]:
    """What is wrong with an answer: types, lengths (0.5 % + 0.5 mm), number, states and remarks."""
    open_ = sorted((w.type, w.length) for w in got if w.state != "closed")
    closed = sorted(w.length for w in got if w.state == "closed")
    expected = sorted(want.open)
    inside = sorted(want.closed)
    if want.total:
        open_, expected = _summed(open_), _summed(expected)
        closed, inside = [sum(closed)], [sum(inside)]
    out = []
    if [t for t, _ in open_] != [t for t, _ in expected]:
        out.append(f"types {open_} for {expected}")
    else:
        out += [f"{t} {g:.2f} for {e:.2f}" for (t, g), (_, e) in zip(open_, expected, strict=True) if not near(g, e)]
    if len(closed) != len(inside) or not all(near(g, e) for g, e in zip(closed, inside, strict=True)):
        out.append(f"closed {[round(c, 2) for c in closed]} for {[round(c, 2) for c in inside]}")
    tight = sum(w.state == "tight" for w in got)
    if tight != want.tight:
        out.append(f"{tight} tight for {want.tight}")
    missing = want.remarks - {r.kind for r in got.remarks}
    if missing:
        out.append(f"no remark of {sorted(missing)}")
    return out


def near(got: float, want: float) -> bool:
    return abs(got - want) <= 0.005 * want + 0.5


def _summed(welds: list[tuple[str, float]]) -> list[tuple[str, float]]:
    return sorted((t, sum(length for u, length in welds if u == t)) for t in {t for t, _ in welds})
