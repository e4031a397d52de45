"""Ways out with a known answer: plain solids, on both sides of each limit. Answers follow from the drawing alone."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Point = tuple[float, float, float]
UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
RIGHT, LEFT = (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)
BACK, FRONT = (0.0, 1.0, 0.0), (0.0, -1.0, 0.0)


@dataclass(frozen=True)
class Case:
    """One setup: solids, and for some directions the names that stop the move."""

    moving: list[Any]
    fixed: dict[str, Any]
    stops: dict[Point, set[str]]


CASES: dict[str, Callable[[], Case]] = {}


def case(make: Callable[[], Case]) -> Callable[[], Case]:
    CASES[make.__name__] = make
    return make


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Any:
    import trimesh

    return trimesh.creation.box(bounds=[[x[0], y[0], z[0]], [x[1], y[1], z[1]]])


def prism(points: list[tuple[float, float]], y: tuple[float, float]) -> Any:
    """An outline in XZ, drawn out along Y."""
    import cadquery as cq

    return cq.Workplane("XZ").polyline(points).close().extrude(y[0] - y[1]).translate((0.0, y[0], 0.0))


def round_bar(radius: float, y: tuple[float, float], bore: float = 0.0) -> Any:
    """A bar or tube along Y through x = z = 0."""
    import cadquery as cq

    out = cq.Workplane("XZ").circle(radius)
    if bore:
        out = out.circle(bore)
    return out.extrude(y[0] - y[1]).translate((0.0, y[0], 0.0))


def upright(radius: float, z: tuple[float, float], at: tuple[float, float] = (0.0, 0.0)) -> Any:
    """A pin along Z."""
    import cadquery as cq

    return cq.Workplane().center(*at).circle(radius).extrude(z[1] - z[0]).translate((0.0, 0.0, z[0]))


def turned(solid: Any, axis: Point, degrees: float) -> Any:
    return solid.rotate((0, 0, 0), axis, degrees)


def vee(radius: float, y: tuple[float, float], half: float = 45.0, top: float = 40.0) -> Any:
    """A V under a bar of ``radius`` along Y, each flank ``half`` degrees from upright, open upwards."""
    low = -radius / math.sin(math.radians(half))
    run = (top - low) * math.tan(math.radians(half))
    return prism(
        [(-run - 5, low - 20), (run + 5, low - 20), (run + 5, top), (run, top), (0, low), (-run, top), (-run - 5, top)],
        y,
    )


TABLE = ((-500.0, 500.0), (-500.0, 500.0), (-12.0, 0.0))
WORK = ((0.0, 100.0), (0.0, 40.0), (0.0, 40.0))


@case
def on_the_table() -> Case:
    free: set[str] = set()
    return Case(
        [box(*WORK)],
        {"table": box(*TABLE)},
        {
            UP: free,
            DOWN: {"table"},
            RIGHT: free,
            LEFT: free,
            BACK: free,
            FRONT: free,
            (1, 0, 0.001): free,
            (1, 0, -0.05): {"table"},
        },
    )


@case
def between_two_stops() -> Case:
    a, b = box((-20, 0), (0, 40), (0, 60)), box((100, 120), (0, 40), (0, 60))
    return Case(
        [box(*WORK)],
        {"a": a, "b": b},
        {UP: set(), DOWN: set(), LEFT: {"a"}, RIGHT: {"b"}, BACK: set(), (0.1, 0, 1): {"b"}, (-0.1, 0, 1): {"a"}},
    )


def _hook(reach: float) -> Case:
    """A stop that reaches over the work."""
    hook = prism([(-20, 0), (0, 0), (0, 40), (reach, 40), (reach, 50), (-20, 50)], (0, 40))
    stops = {"hook"} if reach > 0.4 else set()
    return Case([box(*WORK)], {"hook": hook}, {UP: stops, RIGHT: set(), LEFT: {"hook"}, BACK: set(), DOWN: set()})


@case
def hook_of_three_tenths() -> Case:
    return _hook(0.3)


@case
def hook_of_a_half() -> Case:
    return _hook(0.5)


@case
def hook_of_one() -> Case:
    return _hook(1.0)


@case
def narrow_hook_of_a_half() -> Case:
    """Half a millimetre each way still holds a circle of a quarter."""
    nib = box((-5, 0.5), (20, 20.5), (40, 42))
    return Case([box(*WORK)], {"nib": nib}, {UP: {"nib"}, RIGHT: set()})


@case
def hook_of_a_half_in_two_pieces() -> Case:
    """Two pieces of the work side by side under one hook: neither part of the region would survive alone."""
    pieces = [box((0, 0.25), (0, 40), (0, 40)), box((0.25, 100), (0, 40), (0, 40))]
    hook = box((-20, 0.5), (0, 40), (41, 50))
    return Case(pieces, {"hook": hook}, {UP: {"hook"}, RIGHT: set()})


def _step(height: float) -> Case:
    """A ledge on the table in the way of sliding."""
    step = box((150, 170), (-10, 50), (0, height))
    stops = {"step"} if height > 0.4 else set()
    return Case([box(*WORK)], {"table": box(*TABLE), "step": step}, {RIGHT: stops, LEFT: set(), UP: set()})


@case
def step_of_three_tenths() -> Case:
    return _step(0.3)


@case
def step_of_a_half() -> Case:
    return _step(0.5)


@case
def vee_of_ninety() -> Case:
    free: set[str] = set()
    return Case(
        [round_bar(24, (0, 300), 21)],
        {"v": vee(24, (50, 100))},
        {
            UP: free, BACK: free, FRONT: free, (1, 0, 1): free, (-1, 0, 1): free, (0, 1, 1): free,
            RIGHT: {"v"}, LEFT: {"v"}, DOWN: {"v"}, (1, 0, 0.9): {"v"}, (0, 1, -0.1): {"v"},
        },
    )  # fmt: skip


@case
def steep_vee() -> Case:
    """Flanks 30 degrees from upright: straight along a flank is free, a degree flatter is not."""
    flat = (math.sin(math.radians(31)), 0.0, math.cos(math.radians(31)))
    along = (math.sin(math.radians(30)), 0.0, math.cos(math.radians(30)))
    return Case([round_bar(24, (0, 200))], {"v": vee(24, (50, 100), 30.0)}, {along: set(), flat: {"v"}, UP: set()})


@case
def dowels_in_bores() -> Case:
    """A plate over two pins that stand in it: only up and down. Bores and pins are of one size."""
    import cadquery as cq

    plate = cq.Workplane().box(120, 40, 10).faces(">Z").workplane().pushPoints([(-40, 0), (40, 0)]).hole(16)
    pins = {"p": upright(8, (-30, 2), (-40, 0)), "q": upright(8, (-30, 2), (40, 0))}
    both = {"p", "q"}
    return Case([plate], pins, {UP: set(), DOWN: set(), RIGHT: both, BACK: both, (0.2, 0, 1): both})


@case
def dowel_in_an_inclined_bore() -> Case:
    import cadquery as cq

    block = cq.Workplane().box(80, 80, 80).cut(turned(upright(10, (-100, 100)), (0, 1, 0), 30))
    along = (math.sin(math.radians(30)), 0.0, math.cos(math.radians(30)))
    bar = turned(upright(10, (-60, 60)), (0, 1, 0), 30)
    stops = {"block"}
    back = (-along[0], 0.0, -along[2])
    return Case([bar], {"block": block}, {along: set(), back: set(), UP: stops, RIGHT: stops, BACK: stops})


@case
def blind_bore() -> Case:
    """A cap over a pin: up only."""
    import cadquery as cq

    cap = cq.Workplane().circle(30).extrude(50).cut(upright(8.1, (-1, 40)))
    return Case([cap], {"pin": upright(8, (-20, 40))}, {UP: set(), DOWN: {"pin"}, RIGHT: {"pin"}, FRONT: {"pin"}})


@case
def tube_over_a_bar() -> Case:
    """Only along: a tube cannot be lifted off a bar inside it."""
    return Case(
        [round_bar(24, (0, 100), 21)],
        {"bar": round_bar(20, (-50, 150))},
        {BACK: set(), FRONT: set(), UP: {"bar"}, LEFT: {"bar"}, (1, 1, 0): {"bar"}},
    )


@case
def bar_inside_a_tube() -> Case:
    return Case(
        [round_bar(20, (0, 100))],
        {"tube": round_bar(24, (-50, 150), 21)},
        {BACK: set(), FRONT: set(), UP: {"tube"}, (1, 1, 0): {"tube"}},
    )


@case
def ball_in_a_box() -> Case:
    """Wholly inside a hollow: no way, although nothing touches."""
    import cadquery as cq

    shell = cq.Workplane().box(100, 100, 100).cut(cq.Workplane().box(80, 80, 80))
    return Case(
        [cq.Workplane().sphere(20)], {"box": shell}, {d: {"box"} for d in (UP, DOWN, LEFT, RIGHT, BACK, (1, 1, 1))}
    )


def _mouth(opening: float) -> Case:
    """A bar in a C that is open to the right."""
    half = opening / 2
    c = prism(
        [
            (-40, -40),
            (40, -40),
            (40, -half),
            (30, -half),
            (30, -30),
            (-30, -30),
            (-30, 30),
            (30, 30),
            (30, half),
            (40, half),
            (40, 40),
            (-40, 40),
        ],
        (0, 20),
    )
    stops = {"c"} if opening < 39.2 else set()
    return Case([round_bar(20, (-50, 70))], {"c": c}, {RIGHT: stops, UP: {"c"}, LEFT: {"c"}, BACK: set()})


@case
def narrow_mouth() -> Case:
    return _mouth(39.0)


@case
def just_wide_mouth() -> Case:
    return _mouth(40.0)


@case
def wide_mouth() -> Case:
    return _mouth(44.0)


def _dovetail(lean: float) -> Case:
    """A block between walls 50 high that lean over it by ``lean`` degrees; negative: away from it."""
    shift = 50 * math.tan(math.radians(lean))
    work = prism([(-20, 0), (20, 0), (20 - shift, 50), (-20 + shift, 50)], (0, 60))
    wall = prism([(20, 0), (60, 0), (60, 50), (20 - shift, 50)], (10, 50))
    other = prism([(-60, 0), (-20, 0), (-20 + shift, 50), (-60, 50)], (10, 50))
    stops = {"left", "right"} if shift > 0.4 else set()
    return Case([work], {"left": other, "right": wall}, {UP: stops, BACK: set(), FRONT: set(), RIGHT: {"right"}})


@case
def dovetail_of_half_a_degree() -> Case:
    return _dovetail(0.6)  # undercut 0.52


@case
def dovetail_of_a_quarter_degree() -> Case:
    return _dovetail(0.3)  # undercut 0.26


@case
def taper_that_opens() -> Case:
    return _dovetail(-5.0)


@case
def wedge() -> Case:
    """On a slope of 20 degrees: along it is sliding, flatter runs into it."""
    slope = prism([(0, 0), (100, 0), (100, 100 * math.tan(math.radians(20)))], (0, 40))
    c, s = math.cos(math.radians(20)), math.sin(math.radians(20))
    corners = [(20, 0), (60, 0), (60, 20), (20, 20)]
    work = prism([(x * c - z * s, x * s + z * c) for x, z in corners], (5, 35))
    d = math.radians(19)
    return Case(
        [work],
        {"slope": slope},
        {
            (c, 0, s): set(),
            (-c, 0, -s): set(),
            UP: set(),
            RIGHT: {"slope"},
            LEFT: set(),
            (math.cos(d), 0, math.sin(d)): {"slope"},
        },
    )


@case
def inclined_slot() -> Case:
    """Between two parallel walls that lean by 35 degrees: the one way out is along them."""
    c, s = math.cos(math.radians(35)), math.sin(math.radians(35))

    def at(x: float, z: float) -> tuple[float, float]:
        return x * c - z * s, x * s + z * c

    work = prism([at(0, 0), at(80, 0), at(80, 30), at(0, 30)], (0, 40))
    above = prism([at(-20, 30), at(100, 30), at(100, 50), at(-20, 50)], (0, 40))
    below = prism([at(-20, -20), at(100, -20), at(100, 0), at(-20, 0)], (0, 40))
    end = prism([at(-20, 0), at(0, 0), at(0, 30), at(-20, 30)], (0, 40))
    fixed = {"above": above, "below": below, "end": end}
    return Case([work], fixed, {(c, 0, s): set(), (-c, 0, -s): {"end"}, UP: {"above"}, RIGHT: {"below"}, BACK: set()})


@case
def frame_round_a_post() -> Case:
    """Four pieces moved as one round a post: up, never sideways; with a head on the post not at all."""
    pieces = [
        box((0, 200), (0, 40), (0, 40)), box((0, 200), (160, 200), (0, 40)),
        box((0, 40), (40, 160), (0, 40)), box((160, 200), (40, 160), (0, 40)),
    ]  # fmt: skip
    post = box((80, 120), (80, 120), (-10, 100))
    head = box((20, 180), (90, 110), (100, 120))
    return Case(
        pieces,
        {"post": post, "head": head},
        {UP: {"head"}, DOWN: set(), RIGHT: {"post"}, LEFT: {"post"}, BACK: {"post"}, (1, 1, 0): {"post"}},
    )


@case
def far_away() -> Case:
    """What stands a metre off stops an endless move as well, and only that."""
    wall = box((1000, 1010), (-100, 100), (-100, 100))
    return Case([box(*WORK)], {"wall": wall}, {RIGHT: {"wall"}, LEFT: set(), UP: set(), (1, 0, 0.5): set()})


@case
def passes_by() -> Case:
    """A post beside the way: 0.1 mm clear, flush, and half a millimetre in it."""
    posts = {
        "clear": box((200, 220), (40.1, 60), (0, 40)),
        "flush": box((300, 320), (40, 60), (0, 40)),
        "in": box((400, 420), (39.5, 60), (0, 40)),
    }
    return Case([box(*WORK)], posts, {RIGHT: {"in"}, BACK: set(), UP: set()})


@case
def pressed_together() -> Case:
    """Pressed into the table by 0.1 mm still lifts off and slides."""
    sunk = box((0, 100), (0, 40), (-0.1, 40))
    return Case([sunk], {"table": box(*TABLE)}, {UP: set(), RIGHT: set(), DOWN: {"table"}, (1, 0, 0.1): set()})


@case
def saddle() -> Case:
    """A bar in a half-round seat of its own size; then in one that goes round it by a little more than half."""
    import cadquery as cq

    seat = cq.Workplane().box(80, 60, 40).translate((0, 30, -20)).cut(round_bar(20, (-10, 70)))
    more = cq.Workplane().box(80, 20, 45).translate((0, 110, -17.5)).cut(round_bar(20, (90, 130)))
    return Case(
        [round_bar(20, (-20, 160))],
        {"seat": seat, "more": more},
        {UP: {"more"}, BACK: set(), FRONT: set(), RIGHT: {"seat", "more"}},
    )


@case
def round_in_a_notch_above() -> Case:
    """A clamp pad on top of a tube, clear of it: up is stopped, along is free."""
    pad = box((-10, 10), (40, 60), (24, 40))
    return Case(
        [round_bar(24, (0, 100), 21)], {"pad": pad}, {UP: {"pad"}, BACK: set(), RIGHT: set(), (1, 0, 1): {"pad"}}
    )


@case
def thin_sheet() -> Case:
    """A sheet of 1 mm under 5 mm of a lip of 1 mm: rising by a twentieth it would catch a quarter millimetre only."""
    sheet = box((0, 100), (0, 100), (0, 1))
    lip = box((-10, 5), (0, 100), (1, 2))
    return Case([sheet], {"lip": lip}, {UP: {"lip"}, RIGHT: set(), (1, 0, 0.05): set(), (1, 0, 0.2): {"lip"}})
