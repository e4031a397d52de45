"""A second set of welded joints with known answer, written from geometry alone (mm, degrees).

Each case gives every weld line that a welder would mark on that joint, what may be marked or not, and what must
not be found. No figure here comes from a program: lengths are closed forms (in the comments), or the length of a
curve given by its formula. The welds are asked for with a root gap of 1 mm, flush within 0.3 mm, least opening 20
degrees.

How a found weld is held against a case:

* It belongs to the lines with the same pieces (`joins`, `joins_too`), a state of theirs (`state`, `states`) and a
  type of theirs (`kind`, `kinds`), and along its path to the nearest of these within `near`; a needed line before an
  optional one in the same place. Whatever belongs to none, 2 mm or longer, is invented.
* Where lines break (at corners, at arcs) is naming, not welding: the lengths that belong to one line are added. The
  sum must be `length`, or lie from `low` to `high` where these are given, within 0.5 % + 0.5 mm. An optional line may
  be missing, or be there in part; more than its length is wrong.
* `count` = 2: the same root has a weld on either side; `length` is the sum of both.
* `opening` is None where it is not one figure along the line or is not judged; else within 2 degrees.
* `joins` is without order. `never` names pairs between which nothing may be found, with the reason.

Rules kept throughout: ends across the thickness of a plate or a wall (12 mm or less) are optional: boxed round or left
to the run-off. An inside line of a tube is `closed`, of any type. Where a rounded corner makes a line fade out, `low`
is its part in full contact and `high` what is still within the gap or on the arc.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any

from tests import second_weld_solids as s
from tests.second_weld_solids import Point, Solid

ALL = ("fillet", "butt", "corner", "lap", "edge", "flare")
STATES = ("open", "tight", "closed")
ENDS = "across the thickness: boxed round or left to the run-off"


@dataclasses.dataclass(frozen=True)
class Line:
    """One weld line: what it joins, its type, its length (the sum of both sides where count is 2) and where it lies."""

    joins: tuple[str, str]
    kind: str
    length: float
    path: tuple[Point, ...]
    opening: float | None = None
    state: str = "open"
    optional: bool = False
    why: str = ""
    kinds: tuple[str, ...] = ()
    states: tuple[str, ...] = ()
    joins_too: tuple[tuple[str, str], ...] = ()
    low: float | None = None
    high: float | None = None
    count: int = 1
    near: float = 1.5


@dataclasses.dataclass(frozen=True)
class Never:
    """Two pieces between which no weld may be found, and why."""

    joins: tuple[str, str]
    why: str


@dataclasses.dataclass(frozen=True)
class Case:
    """One joint: its pieces by name, and its weld lines."""

    name: str
    build: Callable[[], dict[str, Solid]]
    lines: tuple[Line, ...]
    never: tuple[Never, ...] = ()


_MADE: list[Case] = []


def _case(build: Callable[[], dict[str, Solid]], *lines: Line, never: tuple[Never, ...] = ()) -> None:
    """Add a case; its name is that of the function that builds its pieces."""
    _MADE.append(Case(build.__name__, build, lines, never))


def _pair(joins: str) -> tuple[str, str]:
    first, second = joins.split("/")
    return first, second


def _seg(joins: str, kind: str, p: Point, q: Point, opening: float | None = 90.0, **more: Any) -> Line:
    """A straight weld from p to q: its length is their distance."""
    return dataclasses.replace(Line(_pair(joins), kind, math.dist(p, q), (p, q), opening), **more)


def _run(joins: str, kind: str, path: tuple[Point, ...], length: float, **more: Any) -> Line:
    """A weld along a bent or curved path, its length given by a formula of the case."""
    return dataclasses.replace(Line(_pair(joins), kind, length, path), **more)


def _ring(joins: str, kind: str, path: tuple[Point, ...], length: float, **more: Any) -> Line:
    """A weld all round: the path is closed."""
    return _run(joins, kind, (*path, path[0]), length, **more)


def _shut(joins: str, path: tuple[Point, ...], length: float, **more: Any) -> Line:
    """All round inside a closed bore: any type."""
    return _ring(joins, "fillet", path, length, state="closed", kinds=ALL, **more)


def _bit(joins: str, p: Point, q: Point, why: str = ENDS, **more: Any) -> Line:
    """A line that may be marked or not, as any type."""
    given: dict[str, Any] = {"optional": True, "kinds": ALL, "states": STATES, "why": why, **more}
    return _seg(joins, "fillet", p, q, None, **given)


def _inside(joins: str, p: Point, q: Point) -> tuple[Line, Line]:
    """A line along the inside of a long box open at both ends: closed, but 60 mm at each end may count as reached."""
    shut = _seg(joins, "fillet", p, q, None, state="closed", kinds=ALL, low=math.dist(p, q) - 120)
    return shut, _bit(joins, p, q, "the first 60 mm at the open ends may be told as open")


def _posed(name: str, degrees: float, about: Point, shift: Point, new: str) -> None:
    """The case of that name, turned about a direction through the zero point, and then shifted."""
    old = next(case for case in _MADE if case.name == name)
    rows = s.rotation(about, degrees)

    def move(p: Point) -> Point:
        x, y, z = (sum(r * v for r, v in zip(row, p, strict=True)) + d for row, d in zip(rows, shift, strict=True))
        return x, y, z

    def build() -> dict[str, Solid]:
        return {key: s.leaned(solid, degrees, about).translate(shift) for key, solid in old.build().items()}

    lines = tuple(dataclasses.replace(line, path=tuple(move(p) for p in line.path)) for line in old.lines)
    _MADE.append(Case(new, build, lines, old.never))


# --- Square and rectangular tube, square cut: T and L ---------------------------------------------------------------
# The post runs along Y, its face at x = half its width; the arm stands on that face along +X.


# Equal, sharp corners: two fillets of 40 (y = -20, 20), two flush sides of 40 (z = -20, 20) as butt, inside 4 x 34.
def tee_equal_sharp() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (40, 40), 3)
    return {"post": post, "arm": s.tube("x", (20, 440), (0, 0), (40, 40), 3)}


def _equal_sharp_lines(joins: str) -> tuple[Line, ...]:
    return (
        _seg(joins, "fillet", (20, 20, -20), (20, 20, 20)),
        _seg(joins, "fillet", (20, -20, -20), (20, -20, 20)),
        _seg(joins, "butt", (20, -20, 20), (20, 20, 20), 180.0),
        _seg(joins, "butt", (20, -20, -20), (20, 20, -20), 180.0),
        _shut(joins, s.rectangle("x", 20, (-17, 17), (-17, 17)), 4 * 34),
    )


_case(tee_equal_sharp, *_equal_sharp_lines("post/arm"))


# How far the face of a tube with corner radius R may be left along a wall before the gap is 1 mm: R - sqrt(R^2 -
# d^2) = 1 gives d = sqrt(2 R - 1); on the arm's own corner arc (same R) that is an arc of R asin(d / R).
def _fade(radius: float) -> float:
    return radius * math.asin(math.sqrt(2 * radius - 1) / radius)


# Equal, R = 2 t = 6: flats of 28. Side walls: fillet 28, up to 28 + 2 x 3.51 with the arcs that are still within the
# gap. Flush sides: the corner of the post falls away; at the arm's inner wall (3 mm in) by 6 - sqrt(36 - 9) = 0.80:
# flare, 28 (flat of the arm) to 40 (its width) or 28 + 2 x 9.42 (with its arcs). Inside 2 x 28 touch; all of it, 4 x
# 28 + 6 pi, is within the gap.
def tee_equal_rounded() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (40, 40), 3, 6)
    return {"post": post, "arm": s.tube("x", (20, 440), (0, 0), (40, 40), 3, 6)}


_case(
    tee_equal_rounded,
    _seg("post/arm", "fillet", (20, 20, -14), (20, 20, 14), high=28 + 2 * _fade(6), near=4),
    _seg("post/arm", "fillet", (20, -20, -14), (20, -20, 14), high=28 + 2 * _fade(6), near=4),
    _seg("post/arm", "flare", (20, -20, 20), (20, 20, 20), None, low=28, high=28 + 6 * math.pi, near=6.5),
    _seg("post/arm", "flare", (20, -20, -20), (20, 20, -20), None, low=28, high=28 + 6 * math.pi, near=6.5),
    _shut("post/arm", s.rounded("x", 20, (-17, 17), (-17, 17), 3), 4 * 28 + 6 * math.pi, low=56),
)


# Equal, R = 2 t = 10: at the inner wall the gap is 10 - sqrt(100 - 25) = 1.34, over the limit: the flare may be told
# or left out (as a near miss). Side walls: flats of 30, up to 30 + 2 x 4.51. Inside 2 x 30 touch.
def tee_equal_rounded_thick() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (50, 50), 5, 10)
    return {"post": post, "arm": s.tube("x", (25, 445), (0, 0), (50, 50), 5, 10)}


_GAP_134 = "nearest gap 1.34 mm at the inner wall: a near miss, or welded as a flare all the same"
_case(
    tee_equal_rounded_thick,
    _seg("post/arm", "fillet", (25, 25, -15), (25, 25, 15), high=30 + 2 * _fade(10), near=5),
    _seg("post/arm", "fillet", (25, -25, -15), (25, -25, 15), high=30 + 2 * _fade(10), near=5),
    _bit("post/arm", (25, -25, 25), (25, 25, 25), _GAP_134, near=10.5, high=30 + 10 * math.pi),
    _bit("post/arm", (25, -25, -25), (25, 25, -25), _GAP_134, near=10.5, high=30 + 10 * math.pi),
    _shut("post/arm", s.rounded("x", 25, (-20, 20), (-20, 20), 5), 4 * 30 + 10 * math.pi, low=60),
)


# Narrow on wide, sharp, centred: 4 x 40 fillet, inside 4 x 34.
def tee_narrow_sharp() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (60, 60), 4)
    return {"post": post, "arm": s.tube("x", (30, 450), (0, 0), (40, 40), 3)}


def _narrow_lines(joins: str, x: float, y: float = 0.0, z: float = 0.0) -> tuple[Line, ...]:
    """An arm of 40 x 40 x 3 on a plane face at x, centre (y, z): 4 x 40 fillet, inside 4 x 34."""
    sides = s.rectangle("x", x, (y - 20, y + 20), (z - 20, z + 20))
    inside = s.rectangle("x", x, (y - 17, y + 17), (z - 17, z + 17))
    return (_ring(joins, "fillet", sides, 160, opening=90.0), _shut(joins, inside, 136))


_case(tee_narrow_sharp, *_narrow_lines("post/arm", 30))


# The same joint off centre by 7 mm (z from -13 to 27, post to 30): nothing changes but the place.
def tee_off_centre() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (60, 60), 4)
    return {"post": post, "arm": s.tube("x", (30, 450), (0, 7), (40, 40), 3)}


_case(tee_off_centre, *_narrow_lines("post/arm", 30, 0, 7))


# Narrow on wide, R 6 on a flat of 64: one smooth ring, 4 x 28 + 2 pi 6; inside 4 x 28 + 2 pi 3.
def tee_narrow_rounded() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (80, 80), 4, 8)
    return {"post": post, "arm": s.tube("x", (40, 460), (0, 0), (40, 40), 3, 6)}


_case(
    tee_narrow_rounded,
    _ring("post/arm", "fillet", s.rounded("x", 40, (-20, 20), (-20, 20), 6), 4 * 28 + 12 * math.pi, opening=90.0),
    _shut("post/arm", s.rounded("x", 40, (-17, 17), (-17, 17), 3), 4 * 28 + 6 * math.pi),
)


# One side flush, sharp: arm z from -10 to 30, post to 30: top butt 40, the other three fillet 40; inside 136.
def tee_one_side_flush() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (60, 60), 3)
    return {"post": post, "arm": s.tube("x", (30, 450), (0, 10), (40, 40), 3)}


_case(
    tee_one_side_flush,
    _run("post/arm", "fillet", ((30, 20, 30), (30, 20, -10), (30, -20, -10), (30, -20, 30)), 120, opening=90.0),
    _seg("post/arm", "butt", (30, -20, 30), (30, 20, 30), 180.0),
    _shut("post/arm", s.rectangle("x", 30, (-17, 17), (-7, 27)), 136),
)


# One side flush, R 6 both: the post's flat ends at z = 24, where the arm's corner arcs begin. Fillet: 28 + 3 pi + 28
# + 3 pi + 28 = 102.85 (to 109.9 with the arcs within the gap). Top: flare as in the equal joint. Inside: 3 x 28 + 2
# x 1.5 pi touch, 4 x 28 + 6 pi is within the gap.
def tee_one_side_flush_rounded() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (60, 60), 3, 6)
    return {"post": post, "arm": s.tube("x", (30, 450), (0, 10), (40, 40), 3, 6)}


_OUTLINE = s.rounded("x", 30, (-20, 20), (-10, 30), 6)
_case(
    tee_one_side_flush_rounded,
    _run(
        "post/arm",
        "fillet",
        ((30, 20, 24), *reversed(_OUTLINE[:25]), *reversed(_OUTLINE[75:]), (30, -20, 24)),
        3 * 28 + 6 * math.pi,
        opening=90.0,
        high=3 * 28 + 6 * math.pi + 2 * _fade(6),
        near=4,
    ),
    _seg("post/arm", "flare", (30, -20, 30), (30, 20, 30), None, low=28, high=28 + 6 * math.pi, near=6.5),
    _shut("post/arm", s.rounded("x", 30, (-17, 17), (-7, 27), 3), 4 * 28 + 6 * math.pi, low=3 * 28 + 3 * math.pi),
)


# Rectangular tube: 60 x 40 x 3 (60 along z) on the 100 side of 100 x 50 x 4: 60 + 60 + 40 + 40; inside 2 (54 + 34).
def tee_rectangular() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (50, 100), 4)
    return {"post": post, "arm": s.tube("x", (25, 445), (0, 0), (40, 60), 3)}


_case(
    tee_rectangular,
    _ring("post/arm", "fillet", s.rectangle("x", 25, (-20, 20), (-30, 30)), 200, opening=90.0),
    _shut("post/arm", s.rectangle("x", 25, (-17, 17), (-27, 27)), 176),
)


# Equal, sharp, 0.2 mm out of flush: still butt at top and bottom. Side walls touch over 39.8 (to 40).
def tee_flush_within_limit() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (40, 40), 3)
    return {"post": post, "arm": s.tube("x", (20, 440), (0, -0.2), (40, 40), 3)}


_case(
    tee_flush_within_limit,
    _seg("post/arm", "fillet", (20, 20, -20), (20, 20, 19.8), high=40),
    _seg("post/arm", "fillet", (20, -20, -20), (20, -20, 19.8), high=40),
    _seg("post/arm", "butt", (20, -20, 19.8), (20, 20, 19.8), None),
    _seg("post/arm", "butt", (20, -20, -20), (20, 20, -20), None),
    _shut("post/arm", s.rectangle("x", 20, (-17, 17), (-17.2, 16.8)), 136),
)


# Equal, sharp, dropped by 2 mm: a ledge of 2 above (fillet 40) and the arm's end over the post's edge below (90
# degrees between the post's underside and the arm's end: fillet, or corner or lap by another's word). Side walls 38
# each.
def tee_dropped_2() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (40, 40), 3)
    return {"post": post, "arm": s.tube("x", (20, 440), (0, -2), (40, 40), 3)}


_case(
    tee_dropped_2,
    _seg("post/arm", "fillet", (20, 20, -20), (20, 20, 18)),
    _seg("post/arm", "fillet", (20, -20, -20), (20, -20, 18)),
    _seg("post/arm", "fillet", (20, -20, 18), (20, 20, 18)),
    _seg("post/arm", "fillet", (20, -20, -20), (20, 20, -20), kinds=("corner", "lap")),
    _shut("post/arm", s.rectangle("x", 20, (-17, 17), (-19, 15)), 136),
)


# The arm's end is 3 degrees out of square: touching at y = -20, gap (y + 20) tan 3: 1 mm at y = -0.92. Fillet 40 at
# the touching side (opening 90), 1 / tan 3 = 19.08 along z = -20 and 20 (1 / sin 3 = 19.11 along the cut), nothing
# at y = 20 (gap 2.1). Inside 34 at y = -17 and 16.08 twice.
def tee_out_of_square() -> dict[str, Solid]:
    tilt = math.tan(math.radians(3))
    arm = s.tube("x", (30, 450), (0, 0), (40, 40), 3)
    wedge = s.prism(((0, -40, -50), (30 - 20 * tilt, -40, -50), (30 + 60 * tilt, 40, -50), (0, 40, -50)), (0, 0, 100))
    return {"post": s.tube("y", (-250, 250), (0, 0), (60, 60), 4), "arm": s.cut(arm, wedge)}


_TAN3, _SIN3 = math.tan(math.radians(3)), math.sin(math.radians(3))
_NEAR3 = -20 + 1 / _TAN3
_case(
    tee_out_of_square,
    _seg("post/arm", "fillet", (30, -20, -20), (30, -20, 20)),
    _seg("post/arm", "fillet", (30, -20, 20), (30, _NEAR3, 20), high=1 / _SIN3),
    _seg("post/arm", "fillet", (30, -20, -20), (30, _NEAR3, -20), high=1 / _SIN3),
    _run(
        "post/arm",
        "fillet",
        ((30, _NEAR3, 17), (30, -17, 17), (30, -17, -17), (30, _NEAR3, -17)),
        34 + 2 * (_NEAR3 + 17),
        state="closed",
        kinds=ALL,
    ),
)


# L, butt: the post ends flush with the arm's outer side (y = 20). Fillet 40 inside the L, the other three flush:
# butt (the outer one also corner). Inside 136.
def ell_butt() -> dict[str, Solid]:
    post = s.tube("y", (-400, 20), (0, 0), (40, 40), 3)
    return {"post": post, "arm": s.tube("x", (20, 440), (0, 0), (40, 40), 3)}


_case(
    ell_butt,
    _seg("post/arm", "fillet", (20, -20, -20), (20, -20, 20)),
    _seg("post/arm", "butt", (20, 20, -20), (20, 20, 20), 180.0, kinds=("corner",)),
    _seg("post/arm", "butt", (20, -20, 20), (20, 20, 20), 180.0),
    _seg("post/arm", "butt", (20, -20, -20), (20, 20, -20), 180.0),
    _shut("post/arm", s.rectangle("x", 20, (-17, 17), (-17, 17)), 136),
)


# --- Mitres: the mitre plane is x = y; the outer corner is at (-20, -20), the inner one at (20, 20) -----------------


def _halved(solid: Solid, keep: str, far: float = 80.0) -> Solid:
    """The solid's part on one side of the plane x = y: "x" where x is larger."""
    third = (-far, far) if keep == "x" else (far, -far)
    tool = s.prism(((-far, -far, -far), (far, far, -far), (*third, -far)), (0, 0, 2 * far))
    return s.cut(solid, tool)


# Sharp: top and bottom butt 40 sqrt 2 each, outside corner 40 (270 degrees), inside fillet 40 (90). Inside the bore
# 2 x 34 sqrt 2 + 2 x 34.
def mitre_sharp() -> dict[str, Solid]:
    rail = s.tube("x", (-20, 420), (0, 0), (40, 40), 3)
    return {"rail": _halved(rail, "x"), "stile": _halved(s.tube("y", (-20, 420), (0, 0), (40, 40), 3), "y")}


def _mitre_bore(joins: str) -> Line:
    loop = ((-17, -17, -17), (-17, -17, 17), (17, 17, 17), (17, 17, -17))
    return _shut(joins, loop, 68 * math.sqrt(2) + 68)


_case(
    mitre_sharp,
    _seg("rail/stile", "butt", (-20, -20, 20), (20, 20, 20), 180.0),
    _seg("rail/stile", "butt", (-20, -20, -20), (20, 20, -20), 180.0),
    _seg("rail/stile", "corner", (-20, -20, -20), (-20, -20, 20), 270.0),
    _seg("rail/stile", "fillet", (20, 20, -20), (20, 20, 20), 90.0, kinds=("corner",)),
    _mitre_bore("rail/stile"),
)


# R 6: the cut's outline is smooth: flats 28 sqrt 2 and 28, between them quarters of an ellipse of half axes 6 sqrt 2
# and 6 (11.46 each; inside 3 sqrt 2 and 3), on which the opening goes from 180 to 270 or to 90: an arc may be told
# with either.
def mitre_rounded() -> dict[str, Solid]:
    rail = s.tube("x", (-20, 420), (0, 0), (40, 40), 3, 6)
    return {"rail": _halved(rail, "x"), "stile": _halved(s.tube("y", (-20, 420), (0, 0), (40, 40), 3, 6), "y")}


def _cut_outline(half: float, radius: float) -> tuple[Point, ...]:
    """The outline of a square tube's section on the plane x = y."""
    return tuple((y, y, z) for _, y, z in s.rounded("x", 0, (-half, half), (-half, half), radius))


_ARC = s.extent(
    [(6 * math.cos(t) * math.sqrt(2), 6 * math.sin(t), 0) for t in (i * math.pi / 4000 for i in range(2001))]
)
_case(
    mitre_rounded,
    _seg("rail/stile", "butt", (-14, -14, 20), (14, 14, 20), None, high=28 * math.sqrt(2) + 2 * _ARC, near=10.5),
    _seg("rail/stile", "butt", (-14, -14, -20), (14, 14, -20), None, high=28 * math.sqrt(2) + 2 * _ARC, near=10.5),
    _seg("rail/stile", "corner", (-20, -20, -14), (-20, -20, 14), None, high=28 + 2 * _ARC, near=10.5),
    _seg("rail/stile", "fillet", (20, 20, -14), (20, 20, 14), None, high=28 + 2 * _ARC, near=10.5, kinds=("corner",)),
    _shut("rail/stile", _cut_outline(17, 3), 56 + 56 * math.sqrt(2) + 2 * _ARC),
)


# Round tube 48.3 x 3: one ring, the ellipse of half axes R sqrt 2 and R; opening from 90 (inside) over 180 (top) to
# 270: any type by place. Inside the same with 21.15.
def mitre_round() -> dict[str, Solid]:
    rail = s.pipe("x", (-40, 420), (0, 0), 24.15, 3)
    return {"rail": _halved(rail, "x"), "stile": _halved(s.pipe("y", (-40, 420), (0, 0), 24.15, 3), "y")}


def _cut_ring(radius: float, count: int = 360) -> tuple[Point, ...]:
    turns = [2 * math.pi * i / count for i in range(count)]
    return tuple((radius * math.cos(t), radius * math.cos(t), radius * math.sin(t)) for t in turns)


_case(
    mitre_round,
    _ring("rail/stile", "butt", _cut_ring(24.15), s.extent(_cut_ring(24.15, 7200), True), kinds=ALL),
    _shut("rail/stile", _cut_ring(21.15), s.extent(_cut_ring(21.15, 7200), True)),
)


# Flat bar 50 x 10: top and bottom butt 50 sqrt 2; inside and outside across the thickness, 10.
def mitre_flat() -> dict[str, Solid]:
    rail = s.box((-25, 300), (-25, 25), (-5, 5))
    return {"rail": _halved(rail, "x"), "stile": _halved(s.box((-25, 25), (-25, 300), (-5, 5)), "y")}


_case(
    mitre_flat,
    _seg("rail/stile", "butt", (-25, -25, 5), (25, 25, 5), 180.0),
    _seg("rail/stile", "butt", (-25, -25, -5), (25, 25, -5), 180.0),
    _bit("rail/stile", (-25, -25, -5), (-25, -25, 5)),
    _bit("rail/stile", (25, 25, -5), (25, 25, 5)),
)


# --- Skewed T: the arm 40 x 40 x 3 leans towards +Y; its cut is 40 / sin a long, the acute side (heel) at its -------


def _skewed(degrees: float) -> dict[str, Solid]:
    a = math.radians(degrees)
    long = 40 / math.sin(a)
    wall = 3 / math.sin(a)
    outer = s.rectangle("x", 30, (0, long), (-20, 20))
    inner = s.rectangle("x", 30, (wall, long - wall), (-17, 17))
    arm = s.prism(outer, (420 * math.sin(a), 420 * math.cos(a), 0), inner)
    return {"post": s.tube("y", (-250, 350), (0, 0), (60, 60), 4), "arm": arm}


def _skewed_lines(degrees: float) -> tuple[Line, ...]:
    """Heel 40 (opening a), toe 40 (180 - a), sides 40 / sin a each (90); inside 2 x 34 + 2 x 34 / sin a."""
    a = math.radians(degrees)
    long = 40 / math.sin(a)
    wall = 3 / math.sin(a)
    inner = s.rectangle("x", 30, (wall, long - wall), (-17, 17))
    toe_kinds = ("butt", "corner") if degrees < 45 else ()
    return (
        _seg("post/arm", "fillet", (30, long, -20), (30, long, 20), degrees, state="tight" if degrees < 40 else "open"),
        _seg("post/arm", "fillet", (30, 0, -20), (30, 0, 20), 180 - degrees, kinds=toe_kinds),
        _seg("post/arm", "fillet", (30, 0, 20), (30, long, 20)),
        _seg("post/arm", "fillet", (30, 0, -20), (30, long, -20)),
        _shut("post/arm", inner, 68 + 68 / math.sin(a), states=("tight",)),
    )


def tee_skewed_60() -> dict[str, Solid]:
    return _skewed(60)


def tee_skewed_45() -> dict[str, Solid]:
    return _skewed(45)


# 30 degrees: the heel is tight; the toe, 150 degrees, is nearly a butt by another's word.
def tee_skewed_30() -> dict[str, Solid]:
    return _skewed(30)


_case(tee_skewed_60, *_skewed_lines(60))
_case(tee_skewed_45, *_skewed_lines(45))
_case(tee_skewed_30, *_skewed_lines(30))

# A plate of 10 on a base, leaning by 15 degrees towards +X, its foot bevelled to lie flat: foot 10 / sin 75 = 10.35
# wide, 100 long each side, openings 75 (at +X) and 105; ends 10.35.
_WIDE75 = 10 / math.sin(math.radians(75))
_LEAN75 = (80 * math.cos(math.radians(75)), 0.0, 80 * math.sin(math.radians(75)))


def plate_skewed_75() -> dict[str, Solid]:
    plate = s.prism(s.rectangle("z", 10, (0, _WIDE75), (0, 100)), _LEAN75)
    return {"base": s.box((-80, 80), (-30, 130), (0, 10)), "plate": plate}


_case(
    plate_skewed_75,
    _seg("base/plate", "fillet", (_WIDE75, 0, 10), (_WIDE75, 100, 10), 75.0),
    _seg("base/plate", "fillet", (0, 0, 10), (0, 100, 10), 105.0),
    _bit("base/plate", (0, 0, 10), (_WIDE75, 0, 10)),
    _bit("base/plate", (0, 100, 10), (_WIDE75, 100, 10)),
)


# The same plate cut square: it stands on one edge. On its acute side a fillet of 100 with 75 degrees; on the other
# side a crevice of 15 degrees, less than the least opening and 2.6 mm wide at its mouth: no weld. At the ends the
# crevice is within the gap for 1 / sin 15 = 3.9.
def plate_leaning_square_cut() -> dict[str, Solid]:
    c, n = math.cos(math.radians(75)), math.sin(math.radians(75))
    foot = ((0.0, 0.0, 10.0), (0.0, 100.0, 10.0), (-10 * n, 100.0, 10 + 10 * c), (-10 * n, 0.0, 10 + 10 * c))
    return {"base": s.box((-80, 80), (-30, 130), (0, 10)), "plate": s.prism(foot, _LEAN75)}


_CREVICE = "the end of a crevice of 15 degrees"
_case(
    plate_leaning_square_cut,
    _seg("base/plate", "fillet", (0, 0, 10), (0, 100, 10), 75.0),
    _bit("base/plate", (-4, 0, 10), (0, 0, 10), _CREVICE),
    _bit("base/plate", (-4, 100, 10), (0, 100, 10), _CREVICE),
)


# --- Three pieces in a corner ---------------------------------------------------------------------------------------
# Rails of 40 x 40 x 3 sharp in the plane z = 0, a post below.


# Rail x runs through (its end at x = -20), rail y butts on its side at y = 20, the post stands under the end of rail
# x. post / rail x: flush at x = -20 and y = -20 (butt 40 each), fillet 40 at x = 20. The post's side y = 20 comes up
# under rail y's end edge: fillet 40 between post and rail y; the same line closes post / rail x and rail x / rail y
# below, which have none of their own there. rail x / rail y: top butt 40, x = -20 flush 40 (butt or corner), x = 20
# fillet 40. Inside 136 in the post's bore and 136 in rail y's.
def corner_of_three_butt() -> dict[str, Solid]:
    post = s.tube("z", (-440, -20), (0, 0), (40, 40), 3)
    rail_y = s.tube("y", (20, 440), (0, 0), (40, 40), 3)
    return {"post": post, "rail x": s.tube("x", (-20, 420), (0, 0), (40, 40), 3), "rail y": rail_y}


_case(
    corner_of_three_butt,
    _seg("post/rail x", "butt", (-20, -20, -20), (-20, 20, -20), 180.0, kinds=("corner",)),
    _seg("post/rail x", "butt", (-20, -20, -20), (20, -20, -20), 180.0),
    _seg("post/rail x", "fillet", (20, -20, -20), (20, 20, -20)),
    _seg(
        "post/rail y",
        "fillet",
        (-20, 20, -20),
        (20, 20, -20),
        kinds=("corner",),
        joins_too=(("post", "rail x"), ("rail x", "rail y")),
        why="three pieces meet in this line; the two open faces are the post's and rail y's",
    ),
    _seg("rail x/rail y", "butt", (-20, 20, 20), (20, 20, 20), 180.0),
    _seg("rail x/rail y", "butt", (-20, 20, -20), (-20, 20, 20), 180.0, kinds=("corner",)),
    _seg("rail x/rail y", "fillet", (20, 20, -20), (20, 20, 20)),
    _shut("post/rail x", s.rectangle("z", -20, (-17, 17), (-17, 17)), 136),
    _shut("rail x/rail y", s.rectangle("y", 20, (-17, 17), (-17, 17)), 136),
)


# Rails mitred, the post under the corner. Each rail: flush with the post outside (butt 40), fillet 40 inside; half
# the post's bore each (68). The mitre: top butt 40 sqrt 2, outside corner 40, inside fillet 40, its bore 68 sqrt 2 +
# 68; its bottom line is covered by the post (34 sqrt 2 of it can be seen from the post's bore: closed, if told).
def corner_of_three_mitred() -> dict[str, Solid]:
    return {**mitre_sharp(), "post": s.tube("z", (-440, -20), (0, 0), (40, 40), 3)}


_case(
    corner_of_three_mitred,
    _seg("post/rail", "butt", (-20, -20, -20), (20, -20, -20), 180.0),
    _seg("post/rail", "fillet", (20, -20, -20), (20, 20, -20)),
    _run(
        "post/rail",
        "fillet",
        ((-17, -17, -20), (17, -17, -20), (17, 17, -20)),
        68,
        state="closed",
        kinds=ALL,
    ),
    _seg("post/stile", "butt", (-20, -20, -20), (-20, 20, -20), 180.0),
    _seg("post/stile", "fillet", (-20, 20, -20), (20, 20, -20)),
    _run(
        "post/stile",
        "fillet",
        ((-17, -17, -20), (-17, 17, -20), (17, 17, -20)),
        68,
        state="closed",
        kinds=ALL,
    ),
    _seg("rail/stile", "butt", (-20, -20, 20), (20, 20, 20), 180.0),
    _seg("rail/stile", "corner", (-20, -20, -20), (-20, -20, 20), 270.0),
    _seg("rail/stile", "fillet", (20, 20, -20), (20, 20, 20), 90.0, kinds=("corner",)),
    _mitre_bore("rail/stile"),
    _seg(
        "rail/stile",
        "butt",
        (-17, -17, -20),
        (17, 17, -20),
        None,
        state="closed",
        kinds=ALL,
        optional=True,
        why="covered by the post but for its bore",
    ),
)


# Box corner of 8 mm plates: base 100 x 100 (top z = 8), back 100 wide on it (y from 92), side on it, butting on the
# back (x to 8). Inside fillets: base / back 100 - 8 = 92, base / side 92, back / side 100. Outside flush: 100, 92,
# 100 (corner, or butt). Thickness ends 8.
def box_corner_of_plates() -> dict[str, Solid]:
    base = s.box((0, 100), (0, 100), (0, 8))
    return {"base": base, "back": s.box((0, 100), (92, 100), (8, 108)), "side": s.box((0, 8), (0, 92), (8, 108))}


_case(
    box_corner_of_plates,
    _seg("base/back", "fillet", (8, 92, 8), (100, 92, 8)),
    _seg("base/back", "corner", (0, 100, 8), (100, 100, 8), 180.0, kinds=("butt",)),
    _seg("base/side", "fillet", (8, 0, 8), (8, 92, 8)),
    _seg("base/side", "corner", (0, 0, 8), (0, 92, 8), 180.0, kinds=("butt",)),
    _seg("back/side", "fillet", (8, 92, 8), (8, 92, 108)),
    _seg("back/side", "corner", (0, 92, 8), (0, 92, 108), 180.0, kinds=("butt",)),
    _bit("base/back", (0, 92, 8), (0, 100, 8)),
    _bit("base/back", (100, 92, 8), (100, 100, 8)),
    _bit("base/side", (0, 0, 8), (8, 0, 8)),
    _bit("back/side", (0, 92, 108), (8, 92, 108)),
)


# --- Round tube -----------------------------------------------------------------------------------------------------
# The chord runs along X through the zero point; the branch rises from it. Lengths: the saddle's formula in
# second_weld_solids, as the sum of 7,200 chords of the curve (too short by less than 1e-6 of it).


def _coped(chord: float, branch: float, degrees: float, offset: float = 0.0, gap: float = 0.0) -> dict[str, Solid]:
    long = s.rod("x", (-400, 400), (0, 0), chord)
    body = s.leaned(s.pipe("z", (0, 460), (0, offset), branch, 3), 90 - degrees)
    shaped = s.cut(body, s.rod("x", (-400, 400), (0, 0), chord + gap))
    return {"chord": s.cut(long, s.rod("x", (-400, 400), (0, 0), chord - 3)), "branch": shaped}


def _coped_lines(chord: float, branch: float, degrees: float, offset: float = 0.0, **more: Any) -> tuple[Line, Line]:
    curves = [
        (s.saddle(chord, r, degrees, offset), s.saddle(chord, r, degrees, offset, 7200)) for r in (branch, branch - 3)
    ]
    (outer, fine), (inner, fine_inner) = curves
    return (
        _ring("chord/branch", "fillet", outer, s.extent(fine, True), **more),
        _shut("chord/branch", inner, s.extent(fine_inner, True)),
    )


# 33.7 on 60.3, square: opening 90 at the crowns, 180 - acos(16.85 / 30.15) = 124 at the flanks: fillet all round.
def saddle_unequal() -> dict[str, Solid]:
    return _coped(30.15, 16.85, 90)


# 48.3 on 48.3, square: two half ellipses (half axes R sqrt 2 and R), in all the ellipse's circumference; the flanks
# are tangent (180): fillet, with butt or flare there.
def saddle_equal() -> dict[str, Solid]:
    return _coped(24.15, 24.15, 90)


# 33.7 on 60.3 at 60 degrees, and 42.4 on 60.3 at 45: heel 60 and 45, open.
def saddle_oblique_60() -> dict[str, Solid]:
    return _coped(30.15, 16.85, 60)


def saddle_oblique_45() -> dict[str, Solid]:
    return _coped(30.15, 21.2, 45)


# 21.3 on 60.3, 8 mm off the chord's axis: 52 to 95 degrees between the normals on the flanks: fillet all round.
def saddle_off_centre() -> dict[str, Solid]:
    return _coped(30.15, 10.65, 90, 8)


# The cope was cut 0.5 mm too wide: the line on the branch (R + 0.5) or on the chord (R).
def saddle_gap_half() -> dict[str, Solid]:
    return _coped(30.15, 16.85, 90, 0, 0.5)


_case(saddle_unequal, *_coped_lines(30.15, 16.85, 90))
_case(saddle_equal, *_coped_lines(24.15, 24.15, 90, kinds=("butt", "flare", "corner")))
_case(saddle_oblique_60, *_coped_lines(30.15, 16.85, 60))
_case(saddle_oblique_45, *_coped_lines(30.15, 21.2, 45))
_case(saddle_off_centre, *_coped_lines(30.15, 10.65, 90, 8))
_case(saddle_gap_half, *_coped_lines(30.15, 16.85, 90))


# Square arm 30 x 30 x 2.5 coped on 60.3: two straight lines of 30 (y = -15, 15; opening 180 - acos(15 / 30.15) =
# 119.8), two arcs 2 R asin(15 / R) = 31.4 (opening 90). Inside 2 x 25 + 2 x 2 R asin(12.5 / R).
def square_on_round_coped() -> dict[str, Solid]:
    chord = s.pipe("x", (-250, 250), (0, 0), 30.15, 3)
    arm = s.tube("z", (0, 460), (0, 0), (30, 30), 2.5)
    return {"chord": chord, "arm": s.cut(arm, s.rod("x", (-250, 250), (0, 0), 30.15))}


def _arc(x: float, half: float, radius: float = 30.15) -> tuple[Point, ...]:
    """Points on the chord's top in the plane x, y from -half to half."""
    ys = [half * (i / 24 - 1) for i in range(49)]
    return tuple((x, y, math.sqrt(radius * radius - y * y)) for y in ys)


_TOP15 = math.sqrt(30.15**2 - 15**2)
_FLANK15 = 180 - math.degrees(math.acos(15 / 30.15))
_case(
    square_on_round_coped,
    _seg("chord/arm", "fillet", (-15, -15, _TOP15), (15, -15, _TOP15), _FLANK15),
    _seg("chord/arm", "fillet", (-15, 15, _TOP15), (15, 15, _TOP15), _FLANK15),
    _run("chord/arm", "fillet", _arc(-15, 15), 60.3 * math.asin(15 / 30.15), opening=90.0),
    _run("chord/arm", "fillet", _arc(15, 15), 60.3 * math.asin(15 / 30.15), opening=90.0),
    _shut("chord/arm", (*_arc(-12.5, 12.5), *reversed(_arc(12.5, 12.5))), 50 + 2 * 60.3 * math.asin(12.5 / 30.15)),
)


# Round tube 33.7 x 3 square on the flat of a 60 tube: 2 pi 16.85; inside 2 pi 13.85.
def round_on_square_tube() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (60, 60), 4)
    return {"post": post, "arm": s.pipe("x", (30, 450), (0, 0), 16.85, 3)}


def _pipe_end(joins: str, axis: str, at: float, radius: float, wall: float) -> tuple[Line, Line]:
    return (
        _ring(joins, "fillet", s.circle(axis, at, (0, 0), radius), 2 * math.pi * radius, opening=90.0),
        _shut(joins, s.circle(axis, at, (0, 0), radius - wall), 2 * math.pi * (radius - wall)),
    )


_case(round_on_square_tube, *_pipe_end("post/arm", "x", 30, 16.85, 3))


# Round tube spliced end to end: butt 2 pi R, inside closed.
def round_splice() -> dict[str, Solid]:
    return {"left": s.pipe("x", (-400, 0), (0, 0), 24.15, 3), "right": s.pipe("x", (0, 400), (0, 0), 24.15, 3)}


_case(
    round_splice,
    _ring("left/right", "butt", s.circle("x", 0, (0, 0), 24.15), 2 * math.pi * 24.15, opening=180.0),
    _shut("left/right", s.circle("x", 0, (0, 0), 21.15), 2 * math.pi * 21.15),
)


# Pipe through a plate of 10, bore 0.25 larger in radius: a ring on each face, 2 pi 16.85 (on the pipe) to 2 pi 17.1.
def pipe_through_plate() -> dict[str, Solid]:
    plate = s.cut(s.box((-5, 5), (-60, 60), (-60, 60)), s.rod("x", (-10, 10), (0, 0), 17.1))
    return {"plate": plate, "pipe": s.pipe("x", (-200, 200), (0, 0), 16.85, 3)}


_case(
    pipe_through_plate,
    *(
        _ring(
            "plate/pipe",
            "fillet",
            s.circle("x", x, (0, 0), 16.85),
            2 * math.pi * 16.85,
            opening=90.0,
            high=2 * math.pi * 17.1,
        )
        for x in (-5.0, 5.0)
    ),
)


# Round tube pushed into a larger one, 0.4 mm clearance in radius: at the outer one's end a lap (or fillet) of 2 pi
# 21.2 to 2 pi 21.6; the inner one's end, 160 mm inside, is closed.
def telescoped_round() -> dict[str, Solid]:
    outer = s.pipe("x", (-400, 100), (0, 0), 24.6, 3)
    return {"outer": outer, "inner": s.pipe("x", (-60, 400), (0, 0), 21.2, 3)}


_case(
    telescoped_round,
    _ring(
        "outer/inner",
        "lap",
        s.circle("x", 100, (0, 0), 21.2),
        2 * math.pi * 21.2,
        opening=90.0,
        high=2 * math.pi * 21.6,
        kinds=("fillet",),
    ),
    _shut("outer/inner", s.circle("x", -60, (0, 0), 21.2), 2 * math.pi * 21.2, high=2 * math.pi * 21.6),
)


# The same with square tube, 0.4 mm each side: 4 x 40 to 4 x 40.8.
def telescoped_square() -> dict[str, Solid]:
    outer = s.tube("x", (-400, 100), (0, 0), (46.8, 46.8), 3)
    return {"outer": outer, "inner": s.tube("x", (-60, 400), (0, 0), (40, 40), 3)}


_case(
    telescoped_square,
    _ring(
        "outer/inner",
        "lap",
        s.rectangle("x", 100, (-20, 20), (-20, 20)),
        160,
        opening=90.0,
        high=163.2,
        kinds=("fillet",),
    ),
    _shut("outer/inner", s.rectangle("x", -60, (-20, 20), (-20, 20)), 160, high=163.2),
)


# --- Round bar ------------------------------------------------------------------------------------------------------
# A bar that touches along a line has a flare on either side of it: one root, two welds.


# Bar of 12 lying on a plate, 100 long: flare 2 x 100.
def bar_on_plate() -> dict[str, Solid]:
    return {"plate": s.box((-100, 100), (-50, 50), (-10, 0)), "bar": s.rod("x", (-50, 50), (0, 6), 6)}


_BAR_END = "across the bar's end, as far as it is within the gap"


def _bar_end(joins: str, p: Point, q: Point, radius: float) -> Line:
    """Across the end of a bar on a flat face: chord p to q, or the arc of its rim where it is 1 mm off the face."""
    return _bit(joins, p, q, _BAR_END, high=2 * radius * math.acos(1 - 1 / radius))


# Across the bar's end 2 sqrt(36 - 25) = 6.6 is within the gap.
_SIX = math.sqrt(11)
_BAR_LINES = (
    _seg("plate/bar", "flare", (-50, 0, 0), (50, 0, 0), None, length=200.0, count=2, near=4),
    *(_bar_end("plate/bar", (x, -_SIX, 0), (x, _SIX, 0), 6) for x in (-50.0, 50.0)),
)
_case(bar_on_plate, *_BAR_LINES)


# The same 0.5 mm above the plate: nothing changes.
def bar_over_plate_gap_half() -> dict[str, Solid]:
    return {"plate": s.box((-100, 100), (-50, 50), (-10, 0)), "bar": s.rod("x", (-50, 50), (0, 6.5), 6)}


_case(bar_over_plate_gap_half, *_BAR_LINES)


# Bar of 20 standing on a plate: fillet 2 pi 10.
def bar_standing_on_plate() -> dict[str, Solid]:
    return {"plate": s.box((-60, 60), (-60, 60), (-10, 0)), "bar": s.rod("z", (0, 80), (0, 0), 10)}


_case(
    bar_standing_on_plate,
    _ring("plate/bar", "fillet", s.circle("z", 0, (0, 0), 10), 20 * math.pi, opening=90.0),
)


# Two bars of 16 side by side, 150 long: flare above and below, 2 x 150. At the flush ends 2 (8 - sqrt(64 - z^2)) = 1
# gives 2 sqrt(64 - 56.25) = 5.6 within the gap.
def bars_side_by_side() -> dict[str, Solid]:
    return {"left": s.rod("x", (0, 150), (-8, 0), 8), "right": s.rod("x", (0, 150), (8, 0), 8)}


_case(
    bars_side_by_side,
    _seg("left/right", "flare", (0, 0, 0), (150, 0, 0), None, length=300.0, count=2, near=4),
    *(_bit("left/right", (x, 0, -math.sqrt(7.75)), (x, 0, math.sqrt(7.75)), _BAR_END) for x in (0.0, 150.0)),
)


# Bar of 20 in the corner of an angle 40 x 40 x 4: touches each leg along 150; flare on the outer side of each, 150;
# the pocket between bar and corner is closed (its two lines may be told). Across its ends 2 sqrt(100 - 81) = 8.7.
def bar_in_angle() -> dict[str, Solid]:
    angle = s.prism(((0, 0, 0), (0, 40, 0), (0, 40, 4), (0, 4, 4), (0, 4, 40), (0, 0, 40)), (200, 0, 0))
    return {"angle": angle, "bar": s.rod("x", (25, 175), (14, 14), 10)}


_POCKET = "in the pocket between bar and corner, which is closed"
_ROOTS: tuple[tuple[Point, Point], ...] = (((25, 14, 4), (175, 14, 4)), ((25, 4, 14), (175, 4, 14)))
_TEN = math.sqrt(19)
_case(
    bar_in_angle,
    *(_seg("angle/bar", "flare", p, q, None, near=4) for p, q in _ROOTS),
    *(
        _seg("angle/bar", "flare", p, q, None, near=4, state="closed", optional=True, kinds=ALL, why=_POCKET)
        for p, q in _ROOTS
    ),
    *(_bar_end("angle/bar", (x, 14 - _TEN, 4), (x, 14 + _TEN, 4), 10) for x in (25.0, 175.0)),
    *(_bar_end("angle/bar", (x, 4, 14 - _TEN), (x, 4, 14 + _TEN), 10) for x in (25.0, 175.0)),
)


# --- Rounded tube lying along or across something -------------------------------------------------------------------


# Two tubes 40 x 40 x 3, R 6, side by side, 300 long: they touch over 28; flare above and below, 300 each; the ends
# are flush walls (28 high).
def tubes_side_by_side() -> dict[str, Solid]:
    left = s.tube("x", (0, 300), (-20, 0), (40, 40), 3, 6)
    return {"left": left, "right": s.tube("x", (0, 300), (20, 0), (40, 40), 3, 6)}


_FLUSH_END = "flush ends"
_case(
    tubes_side_by_side,
    _seg("left/right", "flare", (0, 0, 14), (300, 0, 14), None, near=7),
    _seg("left/right", "flare", (0, 0, -14), (300, 0, -14), None, near=7),
    _bit("left/right", (0, 0, -14), (0, 0, 14), _FLUSH_END, high=28 + 2 * 4.8),
    _bit("left/right", (300, 0, -14), (300, 0, 14), _FLUSH_END, high=28 + 2 * 4.8),
)


# A tube of R 6 lying on a plate, 200 long: flare 200 on either side (where the flat of 28 ends); across its ends the
# wall stands on the plate: 28 (up to 28 + 2 x 3.51 within the gap), welded or not.
def tube_lying_on_plate() -> dict[str, Solid]:
    plate = s.box((-50, 250), (-60, 60), (-10, 0))
    return {"plate": plate, "tube": s.tube("x", (0, 200), (0, 20), (40, 40), 3, 6)}


_case(
    tube_lying_on_plate,
    _seg("plate/tube", "flare", (0, 14, 0), (200, 14, 0), None, near=7),
    _seg("plate/tube", "flare", (0, -14, 0), (200, -14, 0), None, near=7),
    _bit("plate/tube", (0, -14, 0), (0, 14, 0), "across the wall's end", high=28 + 2 * _fade(6)),
    _bit("plate/tube", (200, -14, 0), (200, 14, 0), "across the wall's end", high=28 + 2 * _fade(6)),
)


# Sharp tubes crossing, one over the other: the contact is 40 x 40; on each side a fillet (or lap) of 40.
def tubes_crossing_sharp() -> dict[str, Solid]:
    lower = s.tube("x", (-200, 200), (0, -20), (40, 40), 3)
    return {"lower": lower, "upper": s.tube("y", (-200, 200), (0, 20), (40, 40), 3)}


_case(
    tubes_crossing_sharp,
    *(_seg("lower/upper", "fillet", (x, -20, 0), (x, 20, 0), 90.0, kinds=("lap",)) for x in (-20.0, 20.0)),
    *(_seg("lower/upper", "fillet", (-20, y, 0), (20, y, 0), 90.0, kinds=("lap",)) for y in (-20.0, 20.0)),
)


# The same with R 6: the flats of 28 touch, each side is a rounded corner over a flat: flare 28, up to 28 + 2 x 3.32
# where the other tube's corner is within the gap.
def tubes_crossing_rounded() -> dict[str, Solid]:
    lower = s.tube("x", (-200, 200), (0, -20), (40, 40), 3, 6)
    return {"lower": lower, "upper": s.tube("y", (-200, 200), (0, 20), (40, 40), 3, 6)}


_CROSS = 28 + 2 * math.sqrt(11)
_case(
    tubes_crossing_rounded,
    *(_seg("lower/upper", "flare", (x, -14, 0), (x, 14, 0), None, high=_CROSS, near=5) for x in (-14.0, 14.0)),
    *(_seg("lower/upper", "flare", (-14, y, 0), (14, y, 0), None, high=_CROSS, near=5) for y in (-14.0, 14.0)),
)


# A fin of 8 mm on the top of a tube 60 x 60 x 3, R 6, flush with its side: inner face fillet 100 on the flat, outer
# side flare 100 (the corner falls away from y = 24 on, where it touches); ends 8.
def fin_flush_with_rounded_side() -> dict[str, Solid]:
    tube = s.tube("x", (-150, 150), (0, 0), (60, 60), 3, 6)
    return {"tube": tube, "fin": s.box((-50, 50), (22, 30), (30, 70))}


_case(
    fin_flush_with_rounded_side,
    _seg("tube/fin", "fillet", (-50, 22, 30), (50, 22, 30)),
    _seg("tube/fin", "flare", (-50, 24, 30), (50, 24, 30), None, near=7),
    _bit("tube/fin", (-50, 22, 30), (-50, 30, 30)),
    _bit("tube/fin", (50, 22, 30), (50, 30, 30)),
)


# --- Gussets, ribs, stiffeners --------------------------------------------------------------------------------------
# In the corner of the equal sharp T at (20, 20), in the plane of post and arm.


def _tee_with(plate: Solid) -> dict[str, Solid]:
    return {**tee_equal_sharp(), "gusset": plate}


_TEE_REST = (
    _seg("post/arm", "fillet", (20, -20, -20), (20, -20, 20)),
    _seg("post/arm", "butt", (20, -20, 20), (20, 20, 20), 180.0),
    _seg("post/arm", "butt", (20, -20, -20), (20, 20, -20), 180.0),
    _shut("post/arm", s.rectangle("x", 20, (-17, 17), (-17, 17)), 136),
)


# Triangle 80 x 80 x 6 across the middle, its corner not clipped: on each face 80 on the post and 80 on the arm; it
# cuts post / arm there to 40 - 6, two pieces of 17. Its sharp toes, 6.
def gusset_in_the_middle() -> dict[str, Solid]:
    return _tee_with(s.prism(((20, 20, -3), (100, 20, -3), (20, 100, -3)), (0, 0, 6)))


_case(
    gusset_in_the_middle,
    *(_seg("post/gusset", "fillet", (20, 20, z), (20, 100, z)) for z in (-3.0, 3.0)),
    *(_seg("arm/gusset", "fillet", (20, 20, z), (100, 20, z)) for z in (-3.0, 3.0)),
    _seg("post/arm", "fillet", (20, 20, -20), (20, 20, -3)),
    _seg("post/arm", "fillet", (20, 20, 3), (20, 20, 20)),
    _bit("post/gusset", (20, 100, -3), (20, 100, 3)),
    _bit("arm/gusset", (100, 20, -3), (100, 20, 3)),
    *_TEE_REST,
)


# The corner clipped by 15, noses of 10: 65 on the post and 65 on the arm, on each face; post / arm goes on through
# the clip: 40 (or without the 6 mm under it, 34).
def gusset_clipped() -> dict[str, Solid]:
    outline = ((35, 20, -3), (100, 20, -3), (100, 30, -3), (30, 100, -3), (20, 100, -3), (20, 35, -3))
    return _tee_with(s.prism(outline, (0, 0, 6)))


_case(
    gusset_clipped,
    *(_seg("post/gusset", "fillet", (20, 35, z), (20, 100, z)) for z in (-3.0, 3.0)),
    *(_seg("arm/gusset", "fillet", (35, 20, z), (100, 20, z)) for z in (-3.0, 3.0)),
    _seg("post/arm", "fillet", (20, 20, -20), (20, 20, 20), low=34),
    *(_bit("post/gusset", (20, y, -3), (20, y, 3)) for y in (35.0, 100.0)),
    *(_bit("arm/gusset", (x, 20, -3), (x, 20, 3)) for x in (35.0, 100.0)),
    *_TEE_REST,
)


# The triangle flush with the tubes' side z = 20: outside butt 80 and 80, inside (z = 14) fillet 80 and 80; post /
# arm is cut to 34.
def gusset_flush_with_side() -> dict[str, Solid]:
    return _tee_with(s.prism(((20, 20, 14), (100, 20, 14), (20, 100, 14)), (0, 0, 6)))


_case(
    gusset_flush_with_side,
    _seg("post/gusset", "butt", (20, 20, 20), (20, 100, 20), 180.0),
    _seg("arm/gusset", "butt", (20, 20, 20), (100, 20, 20), 180.0),
    _seg("post/gusset", "fillet", (20, 20, 14), (20, 100, 14)),
    _seg("arm/gusset", "fillet", (20, 20, 14), (100, 20, 14)),
    _seg("post/arm", "fillet", (20, 20, -20), (20, 20, 14)),
    _bit("post/gusset", (20, 100, 14), (20, 100, 20)),
    _bit("arm/gusset", (100, 20, 14), (100, 20, 20)),
    *_TEE_REST,
)


# A rib of 8 on a foot plate against the post: post / foot is cut to 60 - 8 on that side (26 and 26), 60 on the three
# others, 4 x 54 inside; rib / foot 50 and rib / post 100 on each face.
def foot_with_rib() -> dict[str, Solid]:
    rib = s.prism(((30, -4, 0), (80, -4, 0), (30, -4, 100)), (0, 8, 0))
    post = s.tube("z", (0, 440), (0, 0), (60, 60), 3)
    return {"foot": s.box((-100, 100), (-100, 100), (-8, 0)), "post": post, "rib": rib}


_case(
    foot_with_rib,
    _run("foot/post", "fillet", ((30, 30, 0), (-30, 30, 0), (-30, -30, 0), (30, -30, 0)), 180, opening=90.0),
    _seg("foot/post", "fillet", (30, -30, 0), (30, -4, 0)),
    _seg("foot/post", "fillet", (30, 4, 0), (30, 30, 0)),
    _shut("foot/post", s.rectangle("z", 0, (-27, 27), (-27, 27)), 216),
    *(_seg("foot/rib", "fillet", (30, y, 0), (80, y, 0)) for y in (-4.0, 4.0)),
    *(_seg("post/rib", "fillet", (30, y, 0), (30, y, 100)) for y in (-4.0, 4.0)),
    _bit("foot/rib", (80, -4, 0), (80, 4, 0)),
    _bit("post/rib", (30, -4, 100), (30, 4, 100)),
)


# Stiffener of 8 between the flanges of a beam (150 high, 100 wide, flange 8, web 6), corners clipped by 15, 5 mm
# short of the flange tips: on each face web 134 - 30 = 104, flanges 45 - 18 = 27 each.
def stiffener_in_beam() -> dict[str, Solid]:
    half = ((50, -75), (50, -67), (3, -67), (3, 67), (50, 67), (50, 75))
    outline = [(-150.0, float(y), float(z)) for y, z in half]
    outline += [(-150.0, -y, z) for _, y, z in reversed(outline)]
    corners = ((18, -67), (45, -67), (45, 67), (18, 67), (3, 52), (3, -52))
    plate = s.prism([(-4, y, z) for y, z in corners], (8, 0, 0))
    return {"beam": s.prism(outline, (300, 0, 0)), "stiffener": plate}


_case(
    stiffener_in_beam,
    *(_seg("beam/stiffener", "fillet", (x, 3, -52), (x, 3, 52)) for x in (-4.0, 4.0)),
    *(_seg("beam/stiffener", "fillet", (x, 18, z), (x, 45, z)) for x in (-4.0, 4.0) for z in (-67.0, 67.0)),
    *(_bit("beam/stiffener", (-4, y, z), (4, y, z)) for y in (18.0, 45.0) for z in (-67.0, 67.0)),
    *(_bit("beam/stiffener", (-4, 3, z), (4, 3, z)) for z in (-52.0, 52.0)),
)


# --- Foot and cap plates on a post 60 x 60 x 3 along Z --------------------------------------------------------------


def _square(joins: str, z: float, half: float, kind: str, opening: float, **more: Any) -> Line:
    """All round a square of 2 x half in the plane z: 8 x half."""
    return _ring(joins, kind, s.rectangle("z", z, (-half, half), (-half, half)), 8 * half, opening=opening, **more)


def _square_bore(joins: str, z: float, half: float, **more: Any) -> Line:
    return _shut(joins, s.rectangle("z", z, (-half, half), (-half, half)), 8 * half, **more)


# Larger plate: fillet 4 x 60, inside 4 x 54.
def foot_larger() -> dict[str, Solid]:
    post = s.tube("z", (0, 440), (0, 0), (60, 60), 3)
    return {"foot": s.box((-60, 60), (-60, 60), (-8, 0)), "post": post}


_case(foot_larger, _square("foot/post", 0, 30, "fillet", 90.0), _square_bore("foot/post", 0, 27))


# Smaller plate 54 on a post 60 x 60 x 5: fillet 4 x 54 between the plate's edge and the 3 mm of wall left; inside 4
# x 50.
def foot_smaller() -> dict[str, Solid]:
    post = s.tube("z", (0, 440), (0, 0), (60, 60), 5)
    return {"foot": s.box((-27, 27), (-27, 27), (-8, 0)), "post": post}


_case(foot_smaller, _square("foot/post", 0, 27, "fillet", 90.0), _square_bore("foot/post", 0, 25))


# Plate flush with the post on all sides: 4 x 60, 180 degrees: butt (corner by another's word).
def foot_flush() -> dict[str, Solid]:
    post = s.tube("z", (0, 440), (0, 0), (60, 60), 3)
    return {"foot": s.box((-30, 30), (-30, 30), (-8, 0)), "post": post}


_case(
    foot_flush,
    _square("foot/post", 0, 30, "butt", 180.0, kinds=("corner",)),
    _square_bore("foot/post", 0, 27),
)


# Plate flush on one side: there butt 60 (or corner), fillet 3 x 60.
def foot_flush_on_one_side() -> dict[str, Solid]:
    post = s.tube("z", (0, 440), (0, 0), (60, 60), 3)
    return {"foot": s.box((-30, 90), (-60, 60), (-8, 0)), "post": post}


_case(
    foot_flush_on_one_side,
    _run("foot/post", "fillet", ((-30, 30, 0), (30, 30, 0), (30, -30, 0), (-30, -30, 0)), 180, opening=90.0),
    _seg("foot/post", "butt", (-30, -30, 0), (-30, 30, 0), 180.0, kinds=("corner",)),
    _square_bore("foot/post", 0, 27),
)


# Cap of 6 in the mouth of the tube, flush with its end, 0.3 mm clearance each side (53.4 in 54): butt 4 x 53.4 to 4
# x 54; the other side is closed.
def cap_in_mouth_flush() -> dict[str, Solid]:
    post = s.tube("z", (0, 440), (0, 0), (60, 60), 3)
    return {"post": post, "cap": s.box((-26.7, 26.7), (-26.7, 26.7), (434, 440))}


_case(
    cap_in_mouth_flush,
    _square("post/cap", 440, 26.7, "butt", 180.0, high=216, kinds=("corner", "edge")),
    _square_bore("post/cap", 434, 26.7, high=216),
)


# The same cap 5 mm down in the mouth: fillet between cap and bore, open.
def cap_in_mouth_recessed() -> dict[str, Solid]:
    post = s.tube("z", (0, 440), (0, 0), (60, 60), 3)
    return {"post": post, "cap": s.box((-26.7, 26.7), (-26.7, 26.7), (429, 435))}


_case(
    cap_in_mouth_recessed,
    _square("post/cap", 435, 26.7, "fillet", 90.0, high=216),
    _square_bore("post/cap", 429, 26.7, high=216),
)


# A plate of 10 passes between two posts: fillet 4 x 60 on each face, inside 4 x 54; the posts have nothing of each
# other.
def plate_between_posts() -> dict[str, Solid]:
    upper = s.tube("z", (5, 440), (0, 0), (60, 60), 3)
    lower = s.tube("z", (-440, -5), (0, 0), (60, 60), 3)
    return {"upper": upper, "plate": s.box((-60, 60), (-60, 60), (-5, 5)), "lower": lower}


_case(
    plate_between_posts,
    _square("upper/plate", 5, 30, "fillet", 90.0),
    _square_bore("upper/plate", 5, 27),
    _square("lower/plate", -5, 30, "fillet", 90.0),
    _square_bore("lower/plate", -5, 27),
    never=(Never(("upper", "lower"), "the plate is between them"),),
)


# A channel-shaped strap of 4 round three sides of a tube 40 x 40 x 3, 100 long, its legs 25 up the sides: toes 100
# each, ends 25 + 40 + 25 each: lap (or fillet).
def strap_round_tube() -> dict[str, Solid]:
    outline = ((-24, -24), (24, -24), (24, 5), (20, 5), (20, -20), (-20, -20), (-20, 5), (-24, 5))
    strap = s.prism([(100, y, z) for y, z in outline], (100, 0, 0))
    return {"tube": s.tube("x", (0, 400), (0, 0), (40, 40), 3), "strap": strap}


_case(
    strap_round_tube,
    *(_seg("tube/strap", "lap", (100, y, 5), (200, y, 5), kinds=("fillet",)) for y in (-20.0, 20.0)),
    *(
        _run(
            "tube/strap",
            "lap",
            ((x, -20, 5), (x, -20, -20), (x, 20, -20), (x, 20, 5)),
            90,
            opening=90.0,
            kinds=("fillet",),
        )
        for x in (100.0, 200.0)
    ),
)


# --- Plates ---------------------------------------------------------------------------------------------------------


# Lap of two flats 50 x 6 over 60: across each end 50 (lap); the sides are flush over 60 (edge).
def lap_full() -> dict[str, Solid]:
    return {"lower": s.box((0, 200), (0, 50), (0, 6)), "upper": s.box((140, 340), (0, 50), (6, 12))}


_case(
    lap_full,
    _seg("lower/upper", "lap", (140, 0, 6), (140, 50, 6)),
    _seg("lower/upper", "lap", (200, 0, 6), (200, 50, 6)),
    *(_seg("lower/upper", "edge", (140, y, 6), (200, y, 6), 180.0, kinds=("butt", "lap")) for y in (0.0, 50.0)),
)


# A narrower flat (40) on a wider one (60) over 60: lap 40 across each end, 60 along each side.
def lap_narrow_on_wide() -> dict[str, Solid]:
    return {"lower": s.box((0, 200), (0, 60), (0, 6)), "upper": s.box((140, 340), (10, 50), (6, 12))}


_case(
    lap_narrow_on_wide,
    _seg("lower/upper", "lap", (140, 10, 6), (140, 50, 6)),
    _seg("lower/upper", "lap", (200, 10, 6), (200, 50, 6)),
    *(_seg("lower/upper", "lap", (140, y, 6), (200, y, 6)) for y in (10.0, 50.0)),
)


# Flats crossing, 40 over 50: lap 50 along each side of the upper one, 40 along each side of the lower one from below.
def flats_crossing() -> dict[str, Solid]:
    return {"lower": s.box((-150, 150), (-25, 25), (0, 6)), "upper": s.box((-20, 20), (-150, 150), (6, 12))}


_case(
    flats_crossing,
    *(_seg("lower/upper", "lap", (x, -25, 6), (x, 25, 6)) for x in (-20.0, 20.0)),
    *(_seg("lower/upper", "lap", (-20, y, 6), (20, y, 6)) for y in (-25.0, 25.0)),
)


# A plate of 8 standing on a base, 150 long: fillet 150 on each side; ends 8.
def tee_of_plates() -> dict[str, Solid]:
    return {"base": s.box((-100, 100), (-50, 50), (0, 10)), "plate": s.box((-75, 75), (-4, 4), (10, 60))}


_case(
    tee_of_plates,
    *(_seg("base/plate", "fillet", (-75, y, 10), (75, y, 10)) for y in (-4.0, 4.0)),
    *(_bit("base/plate", (x, -4, 10), (x, 4, 10)) for x in (-75.0, 75.0)),
)


# Two plates 100 x 80 x 5 on each other, all edges flush: edge, 100 twice and 80 twice.
def plates_stacked() -> dict[str, Solid]:
    return {"lower": s.box((0, 100), (0, 80), (0, 5)), "upper": s.box((0, 100), (0, 80), (5, 10))}


_case(
    plates_stacked,
    _ring("lower/upper", "edge", s.rectangle("z", 5, (0, 100), (0, 80)), 360, opening=180.0),
)


# Open corner: two plates of 8 meet in one edge, 150 long: 90 degrees outside (corner) and 90 inside (fillet or
# corner): one root, two welds.
def corner_open() -> dict[str, Solid]:
    return {"top": s.box((0, 100), (0, 150), (0, 8)), "side": s.box((-8, 0), (0, 150), (-100, 0))}


_case(
    corner_open,
    _seg("top/side", "corner", (0, 0, 0), (0, 150, 0), 90.0, length=300.0, count=2, kinds=("fillet",)),
)


# Half-open corner: the upright stands half over the base's edge: fillet 150 inside; outside 90 degrees between the
# base's end and the upright's underside: corner (or fillet, lap) 150. Ends 4.
def corner_half_open() -> dict[str, Solid]:
    return {"base": s.box((0, 100), (0, 150), (-8, 0)), "upright": s.box((-4, 4), (0, 150), (0, 100))}


_case(
    corner_half_open,
    _seg("base/upright", "fillet", (4, 0, 0), (4, 150, 0)),
    _seg("base/upright", "corner", (0, 0, 0), (0, 150, 0), kinds=("fillet", "lap")),
    *(_bit("base/upright", (0, y, 0), (4, y, 0)) for y in (0.0, 150.0)),
)


# Plates of 8 edge to edge, 200 long: butt above and below, 200 each, with no gap and with 0.9; with 1.1 nothing.
# Ends 8.
def _edge_to_edge(gap: float) -> dict[str, Solid]:
    return {"left": s.box((-100, 0), (0, 200), (0, 8)), "right": s.box((gap, 100), (0, 200), (0, 8))}


def _edge_to_edge_lines(gap: float) -> tuple[Line, ...]:
    x = gap / 2
    return (
        *(_seg("left/right", "butt", (x, 0, z), (x, 200, z), 180.0) for z in (0.0, 8.0)),
        *(_bit("left/right", (x, y, 0), (x, y, 8)) for y in (0.0, 200.0)),
    )


def plates_edge_to_edge() -> dict[str, Solid]:
    return _edge_to_edge(0)


def plates_gap_090() -> dict[str, Solid]:
    return _edge_to_edge(0.9)


def plates_gap_110() -> dict[str, Solid]:
    return _edge_to_edge(1.1)


_case(plates_edge_to_edge, *_edge_to_edge_lines(0))
_case(plates_gap_090, *_edge_to_edge_lines(0.9))
_case(plates_gap_110, never=(Never(("left", "right"), "gap of 1.1 mm, over the limit"),))


# The two plates with a backing strip 40 x 5 under the middle 100 of the joint: the butt below is cut to 50 + 50; the
# strip has a lap of 100 on each plate along its side and 20 on each plate across each end.
def plates_with_backing_strip() -> dict[str, Solid]:
    return {**_edge_to_edge(0), "strip": s.box((-20, 20), (50, 150), (-5, 0))}


_case(
    plates_with_backing_strip,
    _seg("left/right", "butt", (0, 0, 8), (0, 200, 8), 180.0),
    _seg("left/right", "butt", (0, 0, 0), (0, 50, 0), 180.0),
    _seg("left/right", "butt", (0, 150, 0), (0, 200, 0), 180.0),
    *(_bit("left/right", (0, y, 0), (0, y, 8)) for y in (0.0, 200.0)),
    _run(
        "left/strip",
        "lap",
        ((0, 50, 0), (-20, 50, 0), (-20, 150, 0), (0, 150, 0)),
        140,
        opening=90.0,
        kinds=("fillet",),
    ),
    _run(
        "right/strip", "lap", ((0, 50, 0), (20, 50, 0), (20, 150, 0), (0, 150, 0)), 140, opening=90.0, kinds=("fillet",)
    ),
)


# Two plates 2 mm apart, held by a tack tab 42 x 30 x 5 across: no weld between the plates; the tab has a lap of
# 20 + 30 + 20 on each. From below, in the groove of 2 mm, each plate's edge under the tab (30) may be told.
def tack_tab_over_gap() -> dict[str, Solid]:
    return {**_edge_to_edge(2), "tab": s.box((-20, 22), (85, 115), (8, 13))}


_GROOVE = "in a groove 2 mm wide"
_case(
    tack_tab_over_gap,
    _run(
        "left/tab", "lap", ((0, 85, 8), (-20, 85, 8), (-20, 115, 8), (0, 115, 8)), 70, opening=90.0, kinds=("fillet",)
    ),
    _run("right/tab", "lap", ((2, 85, 8), (22, 85, 8), (22, 115, 8), (2, 115, 8)), 70, opening=90.0, kinds=("fillet",)),
    _bit("left/tab", (0, 85, 8), (0, 115, 8), _GROOVE),
    _bit("right/tab", (2, 85, 8), (2, 115, 8), _GROOVE),
    never=(Never(("left", "right"), "gap of 2 mm, over the limit"),),
)


# Tab in slot: the upright (100 x 5) has a tab 20 wide that fills a slot of 20.4 x 5.4 in a base of 5 and ends flush
# with its underside. Above: fillet 100 on each side (root gap 0.2 over the slot). Below: butt round the tab, 2 x 20
# (to 20.4) and 2 x 5 (to 5.4).
def tab_in_slot() -> dict[str, Solid]:
    base = s.cut(s.box((-100, 100), (-50, 50), (0, 5)), s.box((-10.2, 10.2), (-2.7, 2.7), (-1, 6)))
    corners = ((-50, 5), (-10, 5), (-10, 0), (10, 0), (10, 5), (50, 5), (50, 55), (-50, 55))
    return {"base": base, "upright": s.prism([(x, -2.5, z) for x, z in corners], (0, 5, 0))}


_case(
    tab_in_slot,
    *(_seg("base/upright", "fillet", (-50, y, 5), (50, y, 5)) for y in (-2.5, 2.5)),
    *(_bit("base/upright", (x, -2.5, 5), (x, 2.5, 5)) for x in (-50.0, 50.0)),
    *(_seg("base/upright", "butt", (-10, y, 0), (10, y, 0), 180.0, high=20.4) for y in (-2.5, 2.5)),
    *(_bit("base/upright", (x, -2.5, 0), (x, 2.5, 0), high=5.4) for x in (-10.0, 10.0)),
)


# A plate of 8 with a notch 40.6 wide, put over a tube 40 x 40 x 3 down to its top; its legs reach 30 down the sides
# (gap 0.3): on each face 30 + 40 + 30 (to 40.6). The legs' ends, 8.
def notched_plate_over_tube() -> dict[str, Solid]:
    corners = ((-60, -10), (-20.3, -10), (-20.3, 20), (20.3, 20), (20.3, -10), (60, -10), (60, 60), (-60, 60))
    plate = s.prism([(-4, y, z) for y, z in corners], (8, 0, 0))
    return {"tube": s.tube("x", (-200, 200), (0, 0), (40, 40), 3), "plate": plate}


_case(
    notched_plate_over_tube,
    *(
        _run(
            "tube/plate",
            "fillet",
            ((x, -20, -10), (x, -20, 20), (x, 20, 20), (x, 20, -10)),
            100,
            opening=90.0,
            high=100.6,
        )
        for x in (-4.0, 4.0)
    ),
    *(_bit("tube/plate", (-4, y, -10), (4, y, -10)) for y in (-20.0, 20.0)),
)

# Round tube 60.3 x 3 slotted over a plate of 8 for 90 (slot 100 long): four lines of 90 outside, at z = sqrt(30.15^2
# - 16) = 29.88, opening 90 + asin(4 / 30.15) = 97.6; the four inside are closed but for the mouth. Across the wall,
# 3, at both ends.
_SLOT_Z = (math.sqrt(27.15**2 - 16), math.sqrt(30.15**2 - 16))


def slotted_tube_over_plate() -> dict[str, Solid]:
    tube = s.cut(s.pipe("x", (0, 440), (0, 0), 30.15, 3), s.box((-1, 100), (-4, 4), (-50, 50)))
    return {"tube": tube, "plate": s.box((-150, 90), (-4, 4), (-50, 50))}


_SIDES = tuple((y, side) for y in (-4.0, 4.0) for side in (-1.0, 1.0))
_case(
    slotted_tube_over_plate,
    *(
        _seg(
            "tube/plate",
            "fillet",
            (0, y, side * _SLOT_Z[1]),
            (90, y, side * _SLOT_Z[1]),
            90 + math.degrees(math.asin(4 / 30.15)),
        )
        for y, side in _SIDES
    ),
    *(
        _bit("tube/plate", (0, y, side * _SLOT_Z[0]), (90, y, side * _SLOT_Z[0]), "inside the tube, near its mouth")
        for y, side in _SIDES
    ),
    *(
        _bit("tube/plate", (x, y, side * _SLOT_Z[0]), (x, y, side * _SLOT_Z[1]))
        for x in (0.0, 90.0)
        for y, side in _SIDES
    ),
)


# A block of 60 x 40 x 20 on a sheet of 2: fillet (or lap) 2 x 60 + 2 x 40.
def thick_on_thin() -> dict[str, Solid]:
    return {"sheet": s.box((-100, 100), (-75, 75), (0, 2)), "block": s.box((-30, 30), (-20, 20), (2, 22))}


_case(
    thick_on_thin,
    _ring("sheet/block", "fillet", s.rectangle("z", 2, (-30, 30), (-20, 20)), 200, opening=90.0, kinds=("lap",)),
)


# --- Angles and channels --------------------------------------------------------------------------------------------


# Channel 80 x 40 x 5, toes down on a plate, 400 long: outside 400 on each side (fillet), inside 400 each, closed but
# for the mouths. Toe ends 5.
def channel_toes_on_plate() -> dict[str, Solid]:
    corners = ((-40, 0), (-35, 0), (-35, 35), (35, 35), (35, 0), (40, 0), (40, 40), (-40, 40))
    channel = s.prism([(0, y, z) for y, z in corners], (400, 0, 0))
    return {"plate": s.box((-30, 430), (-80, 80), (-10, 0)), "channel": channel}


_case(
    channel_toes_on_plate,
    *(_seg("plate/channel", "fillet", (0, y, 0), (400, y, 0)) for y in (-40.0, 40.0)),
    *_inside("plate/channel", (0, -35, 0), (400, -35, 0)),
    *_inside("plate/channel", (0, 35, 0), (400, 35, 0)),
    *(_bit("plate/channel", (x, y - 2.5, 0), (x, y + 2.5, 0)) for x in (0.0, 400.0) for y in (-37.5, 37.5)),
)


# Two channels toe to toe: butt 400 on each side, inside closed but for the mouths. Toe ends 5.
def channels_toe_to_toe() -> dict[str, Solid]:
    corners = ((-40, 0), (-35, 0), (-35, 35), (35, 35), (35, 0), (40, 0), (40, 40), (-40, 40))
    upper = s.prism([(0, y, z) for y, z in corners], (400, 0, 0))
    return {"upper": upper, "lower": s.prism([(0, y, -z) for y, z in corners], (400, 0, 0))}


_case(
    channels_toe_to_toe,
    *(_seg("upper/lower", "butt", (0, y, 0), (400, y, 0), 180.0) for y in (-40.0, 40.0)),
    *_inside("upper/lower", (0, -35, 0), (400, -35, 0)),
    *_inside("upper/lower", (0, 35, 0), (400, 35, 0)),
    *(_bit("upper/lower", (x, y - 2.5, 0), (x, y + 2.5, 0)) for x in (0.0, 400.0) for y in (-37.5, 37.5)),
)


# Angle 30 x 30 x 4 standing on the back of an angle 50 x 50 x 5, whose other leg points down: outside 30 + 30,
# inside 26 + 26 (fillet); toes 4.
def angle_on_angle() -> dict[str, Solid]:
    lying = s.prism(((0, 0, -45), (0, 5, -45), (0, 5, 0), (0, 50, 0), (0, 50, 5), (0, 0, 5)), (300, 0, 0))
    corners = ((100, 15), (130, 15), (130, 19), (104, 19), (104, 45), (100, 45))
    return {"lying": lying, "standing": s.prism([(x, y, 5) for x, y in corners], (0, 0, 200))}


_case(
    angle_on_angle,
    _run("lying/standing", "fillet", ((130, 15, 5), (100, 15, 5), (100, 45, 5)), 60, opening=90.0),
    _run("lying/standing", "fillet", ((130, 19, 5), (104, 19, 5), (104, 45, 5)), 52, opening=90.0),
    _bit("lying/standing", (130, 15, 5), (130, 19, 5)),
    _bit("lying/standing", (100, 45, 5), (104, 45, 5)),
)


# Two angles 40 x 40 x 4 back to back, 200 long: at the toes edge 200, at the heels butt 200 (or edge: all is flush);
# at the ends the backs are flush over 40.
def angles_back_to_back() -> dict[str, Solid]:
    corners = ((0, 0), (40, 0), (40, 4), (4, 4), (4, 40), (0, 40))
    right = s.prism([(0, y, z) for y, z in corners], (200, 0, 0))
    return {"right": right, "left": s.prism([(0, -y, z) for y, z in corners], (200, 0, 0))}


_case(
    angles_back_to_back,
    _seg("right/left", "edge", (0, 0, 40), (200, 0, 40), 180.0, kinds=("butt",)),
    _seg("right/left", "butt", (0, 0, 0), (200, 0, 0), 180.0, kinds=("edge",)),
    *(_bit("right/left", (x, 0, 0), (x, 0, 40), _FLUSH_END) for x in (0.0, 200.0)),
)


# Angle 50 x 50 x 5 lying with one leg on a plate, 150 long: toe lap 150, heel fillet 150, across each end 50 (lap).
def angle_on_plate() -> dict[str, Solid]:
    angle = s.prism(((0, 0, 0), (0, 50, 0), (0, 50, 5), (0, 5, 5), (0, 5, 50), (0, 0, 50)), (150, 0, 0))
    return {"plate": s.box((-40, 190), (-50, 100), (-10, 0)), "angle": angle}


_case(
    angle_on_plate,
    _seg("plate/angle", "lap", (0, 50, 0), (150, 50, 0), kinds=("fillet",)),
    _seg("plate/angle", "fillet", (0, 0, 0), (150, 0, 0), kinds=("lap",)),
    *(_seg("plate/angle", "lap", (x, 0, 0), (x, 50, 0), kinds=("fillet",)) for x in (0.0, 150.0)),
)


# --- Gaps at the limit, nameless pieces, a mesh, odd turns ----------------------------------------------------------


# Round tube 0.5 mm over a plate: all as if it touched.
def round_on_plate_gap_050() -> dict[str, Solid]:
    plate = s.box((-10, -0.5), (-60, 60), (-60, 60))
    return {"plate": plate, "pipe": s.pipe("x", (0, 420), (0, 0), 24.15, 3)}


_case(round_on_plate_gap_050, *_pipe_end("plate/pipe", "x", 0, 24.15, 3))


# Square arm 0.95 mm off the post: 4 x 40 and 4 x 34; 1.05 mm off: nothing.
def tee_gap_095() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (60, 60), 4)
    return {"post": post, "arm": s.tube("x", (30.95, 450), (0, 0), (40, 40), 3)}


def tee_gap_105() -> dict[str, Solid]:
    post = s.tube("y", (-250, 250), (0, 0), (60, 60), 4)
    return {"post": post, "arm": s.tube("x", (31.05, 450), (0, 0), (40, 40), 3)}


_case(tee_gap_095, *_narrow_lines("post/arm", 30.475))
_case(tee_gap_105, never=(Never(("post", "arm"), "gap of 1.05 mm, over the limit"),))


# The equal sharp T with pieces that have numbers for names.
def tee_without_names() -> dict[str, Solid]:
    return {str(i + 1): solid for i, solid in enumerate(tee_equal_sharp().values())}


_case(tee_without_names, *_equal_sharp_lines("1/2"))


# The foot plate with the post as a triangle mesh (all its faces are flat: exact).
def foot_larger_mesh() -> dict[str, Solid]:
    pieces = foot_larger()
    return {"foot": pieces["foot"], "post": s.mesh(pieces["post"])}


_case(foot_larger_mesh, _square("foot/post", 0, 30, "fillet", 90.0), _square_bore("foot/post", 0, 27))

_posed("mitre_sharp", 37, (1, 2, 3), (512, -80, 233), "mitre_sharp_turned")
_posed("saddle_oblique_60", 131, (-2, 1, 0.5), (-340, 91, 1200), "saddle_oblique_60_turned")
_posed("gusset_clipped", 62.5, (0.3, -1, 0.7), (77, 1033, -250), "gusset_clipped_turned")
_posed("lap_narrow_on_wide", 211, (1, 1, -0.4), (-900, 44, 61), "lap_narrow_on_wide_turned")
_posed("tee_equal_rounded", 17.3, (0.2, 0.9, -0.5), (1500, 700, 30), "tee_equal_rounded_turned")
_posed("bar_in_angle", 99, (0.6, -0.2, 1), (250, -410, 90), "bar_in_angle_turned")
_posed("stiffener_in_beam", 148, (-1, 0.1, 0.8), (33, 66, -99), "stiffener_in_beam_turned")

CASES: tuple[Case, ...] = tuple(_MADE)

# Cases whose answer changes when a piece is moved by 0.1 mm: gaps and flushness near their limits, and the wedge.
AT_THE_LIMIT = frozenset(
    {
        "tee_equal_rounded_thick",
        "tee_flush_within_limit",
        "tee_out_of_square",
        "plates_gap_090",
        "plates_gap_110",
        "tee_gap_095",
        "tee_gap_105",
    }
)
