"""A blind set for the weld finder: joints whose lines a welder would mark, from the drawing alone.

Every length is a closed form or a numeric integral of the drawing's own dimensions, never a kernel's answer, and all
was written without sight of the finder. A corner ends a line, a smooth outline is one line or several (only its total
is asked). Lines up to `spare` mm (the ends of a thin plate) may be told as a remark instead.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from tests import blind_weld_solids as so

R2 = math.sqrt(2.0)
OPENINGS = {"fillet": 90.0, "lap": 90.0, "butt": 180.0, "edge": 180.0, "corner": 270.0}
INSIDE = "fillet lap butt corner edge flare"


@dataclass(frozen=True)
class Line:
    """One expected weld line (or, smooth, a group); `types` and `states` are what a welder would accept."""

    types: frozenset[str]
    length: float
    states: frozenset[str]
    opening: float | None
    joins: frozenset[str] | None
    smooth: bool


@dataclass(frozen=True)
class Case:
    """One joint or small assembly; `wants_remark` asks for a word, `lines` None leaves the lines open."""

    name: str
    build: Callable[[], dict[str, Any]]
    lines: tuple[Line, ...] | None
    spare: float = 10.0
    wants_remark: bool = False
    score_closed: bool = True


def line(
    types: str,
    length: float,
    opening: float | None = None,
    *,
    states: str = "open",
    joins: str = "",
    smooth: bool = False,
    times: int = 1,
) -> tuple[Line, ...]:
    """One expected line, several times; the first type is the expected one and gives the opening."""
    kinds = types.split()
    if opening is None and not smooth and states != "closed":
        opening = OPENINGS.get(kinds[0])
    pair = frozenset(joins.split()) if joins else None
    return (Line(frozenset(kinds), length, frozenset(states.split()), opening, pair, smooth),) * times


def inside(length: float, *, smooth: bool = False, times: int = 1, states: str = "closed") -> tuple[Line, ...]:
    """A line in a closed bore: its type does not matter."""
    return line(INSIDE, length, states=states, smooth=smooth, times=times)


def saddle(radius: float, main: float, offset: float = 0.0, lean: float = 90.0) -> float:
    """Length of the curve where a cylinder meets a larger (or equal) one, by quadrature of its speed.

    The branch's axis leans `lean` degrees to the main's axis (x) and passes it `offset` mm aside.
    """
    from scipy.integrate import quad

    cos, sin = math.cos(math.radians(lean)), math.sin(math.radians(lean))

    def speed(angle: float) -> float:
        y, rate_y = offset + radius * math.sin(angle), radius * math.cos(angle)
        height = math.sqrt(max(main**2 - y**2, 1e-18))
        rise = (-y * rate_y / height - radius * math.sin(angle) * cos) / sin
        return math.hypot(rise * cos - radius * math.sin(angle) * sin, rate_y, -y * rate_y / height)

    quarter = math.pi / 2
    return float(sum(quad(speed, k * quarter, (k + 1) * quarter, limit=200)[0] for k in range(4)))


def ellipse(first: float, second: float) -> float:
    """Circumference of an ellipse."""
    from scipy.special import ellipe

    big, small = max(first, second), min(first, second)
    return float(4 * big * ellipe(1 - (small / big) ** 2))


def box_tee(gap: float = 0.0, lean: float = 90.0, thick: float = 12.0, square_cut: bool = False) -> dict[str, Any]:
    """A plate standing (or leaning) on another, set in from all its edges."""
    base = so.box((-100, 100), (-20, 200), (-15, 0))
    cos, sin = math.cos(math.radians(lean)), math.sin(math.radians(lean))
    foot = (thick * sin, -thick * cos) if square_cut else (thick / sin, 0.0)
    if square_cut:  # the lowest edge touches
        outline = [(0.0, 0.0), (70 * cos, 70 * sin), (70 * cos - foot[0], 70 * sin - foot[1]), (-foot[0], -foot[1])]
    else:
        outline = [(0.0, 0.0), foot, (foot[0] + 70 * cos, 70 * sin), (70 * cos, 70 * sin)]
    if lean == 90.0:
        outline = [(0.0, 0.0), (thick, 0.0), (thick, 70.0), (0.0, 70.0)]
    rib = so.prism("XZ", outline, 0, 150)
    return {"base": base, "rib": so.moved(rib, (0, 0, gap))}


def tees() -> Iterator[Case]:
    """Plates on plates: square, with gaps, leaning."""
    square = line("fillet", 150, times=2) + line("fillet", 12, times=2)
    yield Case("tee, square", box_tee, square)
    yield Case("tee, root gap 0.5", lambda: box_tee(0.5), square)
    yield Case("tee, root gap 0.9", lambda: box_tee(0.9), square)
    yield Case("tee, root gap 1.4 is a near miss", lambda: box_tee(1.4), (), wants_remark=True)
    yield Case("tee, 2.5 apart is nothing", lambda: box_tee(2.5), ())
    for lean in (75.0, 60.0, 50.0):
        ends = line("fillet", 12 / math.sin(math.radians(lean)), times=2)
        sides = line("fillet", 150, lean) + line("fillet", 150, 180 - lean)
        yield Case(f"tee, leaning to {lean:.0f}", lambda lean=lean: box_tee(lean=lean), sides + ends)  # type: ignore[misc]
    tight = line("fillet", 150, 30, states="tight") + line("fillet", 150, 150) + line("fillet", 24, times=2)
    yield Case("tee, leaning to 30: the heel is tight", lambda: box_tee(lean=30), tight)
    wide = 12 / math.sin(math.radians(15))
    heel = line("butt fillet", 150, 165) + line("fillet lap", wide, times=2)
    yield Case("tee, leaning to 15: the heel is too narrow", lambda: box_tee(lean=15), heel, wants_remark=True)
    edge = line("fillet", 150, 60) + line("fillet", 150, 30, states="tight")
    yield Case("tee, leaning to 60 but cut square", lambda: box_tee(lean=60, square_cut=True), edge)
    yield Case(
        "square bar on its edge",
        lambda: {
            "base": so.box((-60, 60), (-10, 130), (-10, 0)),
            "bar": so.prism("XZ", [(0, 0), (20, 20), (0, 40), (-20, 20)], 0, 120),
        },
        line("fillet", 120, 45, times=2),
    )
    yield Case(
        "tee, rib as long as the base",
        lambda: {"base": so.box((-50, 62), (0, 140), (-15, 0)), "rib": so.box((0, 12), (0, 140), (0, 70))},
        line("fillet", 140, times=2) + line("butt", 12, times=2),
    )


def plate_corners() -> Iterator[Case]:
    """Two plates meeting at an edge, and plates in line."""
    yield Case(
        "corner, the standing plate flush outside",
        lambda: {"flat": so.box((0, 100), (0, 180), (0, 12)), "wall": so.box((88, 100), (0, 180), (12, 90))},
        line("fillet", 180) + line("butt corner", 180, 180) + line("butt", 12, times=2),
    )
    yield Case(
        "corner, edge to edge",
        lambda: {"flat": so.box((0, 88), (0, 180), (0, 12)), "wall": so.box((88, 100), (0, 180), (12, 90))},
        line("fillet corner", 180, 90, times=2),
    )
    yield Case(
        "corner, half over",
        lambda: {"flat": so.box((0, 100), (0, 180), (0, 16)), "wall": so.box((92, 108), (0, 180), (16, 90))},
        line("fillet", 180) + line("corner fillet", 180, 90) + line("butt", 8, times=2),
    )
    for angle in (90.0, 120.0, 160.0):
        across = 12 / math.sin(math.radians(angle) / 2)
        inner, outer = ("butt", "butt") if angle > 155 else ("fillet", "corner")
        yield Case(
            f"plates bevelled to a corner of {angle:.0f}",
            lambda angle=angle: so.mitred(so.moved(so.box((0, 170), (-6, 6), (-100, 150)), (0, 0, 0)), angle),  # type: ignore[misc]
            line(inner, 170, angle) + line(outer, 170, 360 - angle) + line("butt", across, times=2),
        )
    yield Case(
        "flat bars mitred as a picture frame",
        lambda: so.mitred(so.box((0, 12), (-25, 25), (-100, 200))),
        line("butt", 50 * R2, times=2) + line("fillet", 12, 90) + line("corner", 12, 270),
    )
    for gap in (0.0, 0.8):
        yield Case(
            f"butt, root gap {gap}",
            lambda gap=gap: {  # type: ignore[misc]
                "left": so.box((-100, 0), (0, 160), (0, 12)),
                "right": so.box((gap, 90), (0, 160), (0, 12)),
            },
            line("butt", 160, times=2) + line("butt", 12, times=2),
        )
    yield Case(
        "butt, root gap 1.6 is a near miss",
        lambda: {"left": so.box((-100, 0), (0, 160), (0, 12)), "right": so.box((1.6, 90), (0, 160), (0, 12))},
        (),
        wants_remark=True,
    )
    yield Case(
        "butt, 12 to 18 thick, flush below",
        lambda: {"left": so.box((-100, 0), (0, 160), (0, 12)), "right": so.box((0, 90), (0, 160), (0, 18))},
        line("butt", 160) + line("fillet butt", 160, 90) + line("butt", 12, times=2),
    )
    yield Case(
        "butt, 0.25 out of line is flush",
        lambda: {"left": so.box((-100, 0), (0, 160), (0, 12)), "right": so.box((0, 90), (0, 160), (0.25, 12.25))},
        line("butt", 160, times=2) + line("butt", 12, times=2),
    )


def laps() -> Iterator[Case]:
    """Thin plates lying on others."""
    yield Case(
        "lap, all round",
        lambda: {"under": so.box((0, 300), (0, 200), (0, 8)), "over": so.box((60, 210), (40, 140), (8, 12))},
        line("lap", 150, times=2) + line("lap", 100, times=2),
    )
    yield Case(
        "lap, part over, equal widths",
        lambda: {"under": so.box((160, 360), (0, 80), (0, 5)), "over": so.box((0, 200), (0, 80), (5, 10))},
        line("lap", 80, times=2) + line("edge butt", 40, times=2),
    )
    yield Case(
        "lap, part over a wider plate",
        lambda: {"under": so.box((160, 360), (-20, 100), (0, 5)), "over": so.box((0, 200), (0, 80), (5, 10))},
        line("lap", 80, times=2) + line("lap", 40, times=2),
    )
    yield Case(
        "lap with a gap of 0.6",
        lambda: {"under": so.box((0, 300), (0, 200), (0, 8)), "over": so.box((60, 210), (40, 140), (8.6, 12.6))},
        line("lap", 150, times=2) + line("lap", 100, times=2),
    )
    yield Case(
        "edge, two equal sheets",
        lambda: {"under": so.box((0, 110), (0, 70), (0, 3)), "over": so.box((0, 110), (0, 70), (3, 6))},
        line("edge", 110, times=2) + line("edge", 70, times=2),
    )
    yield Case(
        "edge on one side, lap on three",
        lambda: {"under": so.box((0, 200), (0, 150), (0, 4)), "over": so.box((0, 120), (20, 110), (4, 8))},
        line("edge butt", 90, 180) + line("lap", 90) + line("lap", 120, times=2),
    )
    yield Case(
        "flat bar hangs half over a plate",
        lambda: {"plate": so.box((-150, 0), (0, 160), (0, 12)), "bar": so.box((-50, 50), (60, 100), (12, 20))},
        line("lap fillet", 50, times=2) + line("lap fillet", 40) + line("fillet lap", 40),
    )
    yield Case(
        "square bar half over a plate's edge",
        lambda: {"plate": so.box((-150, 0), (0, 160), (0, 14)), "bar": so.box((-12, 12), (20, 130), (14, 38))},
        line("fillet", 110, times=2) + line("fillet", 12, times=2),
    )
    yield Case(
        "disc on a plate",
        lambda: {"plate": so.box((-90, 90), (-90, 90), (-10, 0)), "disc": so.rod(40, 6, (0, 0, 0), (0, 0, 1))},
        line("lap", 80 * math.pi, 90, smooth=True),
    )
    yield Case(
        "disc on an equal disc",
        lambda: {"low": so.rod(40, 4, (0, 0, -4), (0, 0, 1)), "high": so.rod(40, 4, (0, 0, 0), (0, 0, 1))},
        line("edge", 80 * math.pi, 180, smooth=True),
    )


def gusset(snipe: float = 0.0) -> dict[str, Any]:
    """A base, a wall on it and a triangle of 70 in the corner, 12 thick, in the middle of 212."""
    outline = [(0.0, 0.0), (70.0, 0.0), (0.0, 70.0)]
    if snipe:
        outline = [(snipe, 0.0), (70.0, 0.0), (0.0, 70.0), (0.0, snipe)]
    return {
        "base": so.box((-15, 120), (0, 212), (-15, 0)),
        "wall": so.box((-15, 0), (0, 212), (0, 110)),
        "gusset": so.prism("XZ", outline, 100, 112),
    }


def assemblies() -> Iterator[Case]:
    """Three pieces, and rolled sections in each other."""
    shell = line("butt corner", 212, 180, joins="base wall") + line("butt", 15, joins="base wall", times=2)
    for snipe in (0.0, 18.0):
        run = 70 - snipe
        lines = shell
        for leg in ("base", "wall"):
            lines += line("fillet", run, joins=f"gusset {leg}", times=2)
            lines += line("fillet", 12, 135, joins=f"gusset {leg}")
            if snipe:  # the mouse hole's own ends, 45 degrees in a triangle of 18
                hole = line("fillet", 12, 45, states="open closed", joins=f"gusset {leg}")
                lines += hole
        inner = line("fillet", 212, joins="base wall") if snipe else line("fillet", 100, joins="base wall", times=2)
        yield Case(f"gusset, snipe {snipe:.0f}", lambda snipe=snipe: gusset(snipe), lines + inner)  # type: ignore[misc]
    yield Case(
        "flat bar across two square tubes",
        lambda: {
            "bar": so.box((0, 260), (-20, 20), (0, 5)),
            "left": so.moved(so.turned(so.tube(40, 40, 3, (-150, 150)), (1, 0, 0), 90), (20, 0, -20)),
            "right": so.moved(so.turned(so.tube(40, 40, 3, (-150, 150)), (1, 0, 0), 90), (200, 0, -20)),
        },
        line("lap", 40, joins="bar left", times=2)
        + line("fillet", 40, joins="bar left")
        + line("butt edge", 40, 180, joins="bar left")
        + line("lap", 40, joins="bar right", times=2)
        + line("fillet", 40, joins="bar right", times=2),
    )
    yield Case(
        "plate on two tubes, flush all round",
        lambda: {
            "plate": so.box((0, 200), (-50, 50), (0, 12)),
            "left": so.moved(so.turned(so.tube(40, 40, 3, (-50, 50)), (1, 0, 0), 90), (20, 0, -20)),
            "right": so.moved(so.turned(so.tube(40, 40, 3, (-50, 50)), (1, 0, 0), 90), (180, 0, -20)),
        },
        tuple(
            item
            for side in ("left", "right")
            for item in line("butt edge", 100, 180, joins=f"plate {side}")
            + line("fillet", 100, joins=f"plate {side}")
            + line("butt edge", 40, 180, joins=f"plate {side}", times=2)
        ),
    )

    def channel() -> Any:
        web = [(-50, 0), (50, 0), (50, 50), (44, 50), (44, 6), (-44, 6), (-44, 50), (-50, 50)]
        return so.prism("XZ", [(float(x), float(z)) for x, z in web], -60, 240)

    def angle(x: float) -> Any:
        legs = [(0, 6), (40, 6), (40, 11), (5, 11), (5, 46), (0, 46)]
        return so.prism("XZ", [(x + a, float(b)) for a, b in legs], 0, 150)

    yield Case(
        "angle in the middle of a channel",
        lambda: {"channel": channel(), "angle": angle(-20)},
        line("lap", 150)
        + line("fillet", 150)
        + line("lap fillet", 40, smooth=True)
        + line("lap fillet", 40, smooth=True),
    )
    yield Case(
        "angle in a channel's corner",
        lambda: {"channel": channel(), "angle": angle(-44)},
        line("lap", 150, times=2) + line("lap fillet", 160, smooth=True),
    )


def square_tubes() -> Iterator[Case]:
    """Square and rectangular tube with sharp and with rounded corners."""

    def on(plate: Any, width: float = 60, wall: float = 4) -> Callable[[], dict[str, Any]]:
        return lambda: {"foot": plate(), "tube": so.tube(width, width, wall, (0, 400))}

    yield Case(
        "square tube on a larger foot plate",
        on(lambda: so.box((-60, 60), (-60, 60), (-10, 0))),
        line("fillet", 60, times=4) + inside(52, times=4),
    )
    yield Case(
        "square tube on an equal foot plate",
        on(lambda: so.box((-30, 30), (-30, 30), (-10, 0))),
        line("butt", 60, times=4) + inside(52, times=4),
    )
    yield Case(
        "square tube on a smaller foot plate",
        on(lambda: so.box((-25, 25), (-25, 25), (-10, 0)), 60, 8),
        line("fillet", 50, times=4) + inside(44, times=4),
    )
    yield Case(
        "square tube on a foot plate 0.2 smaller a side is flush",
        on(lambda: so.box((-29.8, 29.8), (-29.8, 29.8), (-10, 0))),
        line("butt", 60, times=4) + inside(52, times=4),
    )
    yield Case(
        "cap let in flush",
        on(lambda: so.box((-26, 26), (-26, 26), (0, 6))),
        line("butt edge", 52, 180, times=4) + inside(52, times=4),
    )
    yield Case(
        "cap set in by 5",
        on(lambda: so.box((-26, 26), (-26, 26), (5, 11))),
        line("fillet lap", 52, times=4) + inside(52, times=4),
    )
    flat, arc = 60 - 2 * 9, 2 * math.pi * 9
    yield Case(
        "rounded tube on a plate",
        lambda: {
            "foot": so.box((-70, 70), (-70, 70), (-10, 0)),
            "tube": so.tube(60, 60, 4, (0, 400), corner=9),
        },
        line("fillet", 4 * flat + arc, 90, smooth=True) + inside(4 * flat + 2 * math.pi * 5, smooth=True),
    )

    def tee(branch: float, main: float, wall: float, corner: float = 0.0) -> dict[str, Any]:
        lying = so.turned(so.tube(main, main, wall, (-200, 200), corner), (0, 1, 0), 90)
        up = so.tube(branch, branch, wall, (0, 300), corner)
        return {"main": so.moved(lying, (0, 0, -main / 2)), "branch": up}

    yield Case(
        "square tube on a wider one",
        lambda: tee(40, 60, 3),
        line("fillet", 40, times=4) + inside(34, times=4),
    )
    yield Case(
        "square tube on an equal one, sharp corners",
        lambda: tee(50, 50, 3),
        line("fillet", 50, times=2) + line("butt", 50, times=2) + inside(44, times=4),
    )
    # The main's round corner falls away from the branch's edge: within 1 mm up to sqrt(9^2 - 8^2) aside of its centre.
    aside = math.asin(math.sqrt(81 - 64) / 8) * 8
    yield Case(
        "square tube on an equal one, round corners",
        lambda: tee(50, 50, 3, corner=8),
        line("fillet", 34 + 2 * aside, smooth=True) * 2,
        wants_remark=True,
        score_closed=False,
    )

    def slanted() -> dict[str, Any]:
        sloping = so.turned(so.tube(40, 40, 3, (-200, 300)), (0, 1, 0), 30)
        standing = so.kept(sloping, (0, 0, 0), (0, 0, 1))
        return {"foot": so.box((-90, 90), (-60, 60), (-10, 0)), "tube": standing}

    sin = math.sin(math.radians(60))
    yield Case(
        "square tube leaning to 60 on a plate",
        slanted,
        line("fillet", 40, 60)
        + line("fillet", 40, 120)
        + line("fillet", 40 / sin, times=2)
        + inside(34, times=2)
        + inside(34 / sin, times=2),
    )
    for deep, wide in ((40.0, 40.0), (60.0, 30.0), (30.0, 60.0)):
        yield Case(
            f"mitre of tube, {deep:.0f} in the frame's plane, {wide:.0f} across",
            lambda deep=deep, wide=wide: so.mitred(so.tube(wide, deep, 3, (-100, 350))),  # type: ignore[misc]
            line("fillet", wide, 90)
            + line("corner", wide, 270)
            + line("butt", deep * R2, times=2)
            + inside(wide - 6, times=2)
            + inside((deep - 6) * R2, times=2),
        )
    yield Case(
        "mitre of tube at 120",
        lambda: so.mitred(so.tube(40, 40, 3, (-100, 350)), 120),
        line("fillet", 40, 120)
        + line("corner", 40, 240)
        + line("butt", 40 / sin, times=2)
        + inside(34, times=2)
        + inside(34 / sin, times=2),
    )
    yield Case(
        "square tube through a plate",
        lambda: {
            "plate": so.one(so.box((-80, 80), (-80, 80), (-6, 6)).cut(so.box((-25, 25), (-25, 25), (-6, 6)))),
            "tube": so.tube(50, 50, 4, (-150, 200)),
        },
        line("fillet", 50, times=8),
    )
    yield Case(
        "channel legs down on a plate",
        lambda: {
            "plate": so.box((-90, 90), (-40, 440), (-10, 0)),
            "channel": so.prism(
                "XZ",
                [(-50, 0), (-42, 0), (-42, 42), (42, 42), (42, 0), (50, 0), (50, 50), (-50, 50)],
                0,
                400,
            ),
        },
        line("fillet", 400, times=2) + inside(400, states="open closed", times=2),
    )


def rounds() -> Iterator[Case]:
    """Round tube and bar."""
    plate = so.box
    yield Case(
        "round tube square on a plate",
        lambda: {"foot": plate((-60, 60), (-60, 60), (-8, 0)), "tube": so.pipe(24, 20, 350, (0, 0, 0), (0, 0, 1))},
        line("fillet", 48 * math.pi, 90, smooth=True) + inside(40 * math.pi, smooth=True),
    )
    yield Case(
        "round tube 0.7 over a plate",
        lambda: {"foot": plate((-60, 60), (-60, 60), (-8, 0)), "tube": so.pipe(24, 20, 350, (0, 0, 0.7), (0, 0, 1))},
        line("fillet", 48 * math.pi, 90, smooth=True) + inside(40 * math.pi, smooth=True),
    )
    yield Case(
        "wide ring on a plate: open inside too",
        lambda: {"foot": plate((-150, 150), (-150, 150), (-8, 0)), "ring": so.pipe(110, 95, 40, (0, 0, 0), (0, 0, 1))},
        line("fillet", 220 * math.pi, 90, smooth=True) + line("fillet", 190 * math.pi, 90, smooth=True),
    )
    yield Case(
        "round bar on a square tube",
        lambda: {
            "main": so.moved(so.turned(so.tube(50, 50, 3, (-150, 150)), (0, 1, 0), 90), (0, 0, -25)),
            "peg": so.rod(12, 60, (0, 0, 0), (0, 0, 1)),
        },
        line("fillet", 24 * math.pi, 90, smooth=True),
    )
    for lean in (60.0, 50.0):
        sin = math.sin(math.radians(lean))

        def leaning(lean: float = lean) -> dict[str, Any]:
            across = so.turned(so.pipe(21, 18, 500, (0, 0, -150), (0, 0, 1)), (0, 1, 0), 90 - lean)
            standing = so.kept(across, (0, 0, 0), (0, 0, 1))
            return {"foot": so.box((-80, 80), (-60, 60), (-8, 0)), "tube": standing}

        yield Case(
            f"round tube leaning to {lean:.0f} on a plate",
            leaning,
            line("fillet", ellipse(21, 21 / sin), smooth=True) + inside(ellipse(18, 18 / sin), smooth=True),
        )

    def through(clear: float) -> dict[str, Any]:
        hole = so.rod(30 + clear, 10, (0, 0, -5), (0, 0, 1))
        sheet = so.one(so.box((-80, 80), (-80, 80), (-5, 5)).cut(hole))
        return {"plate": sheet, "tube": so.pipe(30, 26, 350, (0, 0, -150), (0, 0, 1))}

    for clear in (0.0, 0.3):
        yield Case(
            f"round tube through a plate, {clear} clearance all round",
            lambda clear=clear: through(clear),  # type: ignore[misc]
            line("fillet", (60 + clear) * math.pi, 90, smooth=True) * 2,
        )
    yield Case(
        "flange let over a tube, flush in front",
        lambda: {
            "flange": so.pipe(60, 30, 10, (0, 0, 0), (0, 0, 1)),
            "tube": so.pipe(30, 25, 350, (0, 0, 0), (0, 0, 1)),
        },
        line("butt edge", 60 * math.pi, 180, smooth=True) + line("fillet", 60 * math.pi, 90, smooth=True),
    )
    yield Case(
        "sleeve over a tube",
        lambda: {
            "tube": so.pipe(21, 18, 300, (0, 0, 0), (0, 0, 1)),
            "sleeve": so.pipe(24, 21, 300, (0, 0, 250), (0, 0, 1)),
        },
        line("lap fillet", 42 * math.pi, 90, smooth=True) + inside(42 * math.pi, smooth=True),
    )
    yield Case(
        "round tubes end to end",
        lambda: {
            "low": so.pipe(24, 20, 300, (0, 0, -300), (0, 0, 1)),
            "up": so.pipe(24, 20, 300, (0, 0, 0), (0, 0, 1)),
        },
        line("butt", 48 * math.pi, 180, smooth=True) + inside(40 * math.pi, smooth=True),
    )
    yield Case(
        "round tubes mitred",
        lambda: so.mitred(so.pipe(24, 21, 450, (0, 0, -100), (0, 0, 1))),
        line("fillet butt corner", ellipse(24, 24 * R2), smooth=True) + inside(ellipse(21, 21 * R2), smooth=True),
    )

    def cope(radius: float, bore: float, main: float, offset: float = 0.0, lean: float = 90.0) -> dict[str, Any]:
        branch = so.pipe(radius, bore, 400, (0, 0, 0), (0, 0, 1))
        branch = so.moved(so.turned(branch, (0, 1, 0), 90 - lean), (0, offset, 0))
        cut = branch.cut(so.rod(main, 1200, (-600, 0, 0), (1, 0, 0)))
        return {"main": so.pipe(main, main - 4, 600, (-300, 0, 0), (1, 0, 0)), "branch": so.one(cut)}

    for name, radius, bore, main, offset, lean in (
        ("smaller", 20.0, 17.0, 38.0, 0.0, 90.0),
        ("nearly equal", 26.0, 23.0, 30.0, 0.0, 90.0),
        ("set aside", 15.0, 12.0, 40.0, 10.0, 90.0),
        ("leaning to 60", 18.0, 15.0, 36.0, 0.0, 60.0),
    ):
        yield Case(
            f"cope, {name}",
            lambda args=(radius, bore, main, offset, lean): cope(*args),  # type: ignore[misc]
            line("fillet", saddle(radius, main, offset, lean), smooth=True)
            + inside(saddle(bore, main, offset, lean), smooth=True, states="closed tight"),
        )
    yield Case(
        "cope, equal",
        lambda: cope(30, 26, 30),
        line("fillet butt flare", saddle(30, 30), smooth=True)
        + inside(saddle(26, 30), smooth=True, states="closed tight"),
    )
    # Uncoped, the edge of the branch is within 1 mm of the main where sqrt(40^2 + y^2) - 40 <= 1.
    reach = 2 * 15 * math.asin(math.sqrt(41**2 - 40**2) / 15)
    yield Case(
        "round bar cut square on a round tube",
        lambda: {
            "main": so.pipe(40, 36, 400, (-200, 0, 0), (1, 0, 0)),
            "peg": so.rod(15, 100, (0, 0, 40), (0, 0, 1)),
        },
        line("fillet", reach, times=2),
        wants_remark=True,
    )

    def coped_square() -> dict[str, Any]:
        cut = so.tube(40, 40, 3, (0, 300)).cut(so.rod(50, 600, (-300, 0, 0), (1, 0, 0)))
        return {"main": so.pipe(50, 46, 500, (-250, 0, 0), (1, 0, 0)), "branch": so.one(cut)}

    flank = 90 + math.degrees(math.asin(20 / 50))
    yield Case(
        "square tube coped on a round one",
        coped_square,
        line("fillet", 40, flank, times=2)
        + line("fillet", 100 * math.asin(0.4), 90, times=2)
        + inside(34, times=2)
        + inside(100 * math.asin(0.34), times=2),
    )
    yield Case(
        "round bar along a plate",
        lambda: {"plate": plate((-60, 60), (-20, 150), (-10, 0)), "bar": so.rod(15, 130, (0, 0, 15), (0, 1, 0))},
        line("flare", 130, times=2),
        spare=12,
    )
    yield Case(
        "two round bars side by side",
        lambda: {"thin": so.rod(15, 130, (0, 0, 15), (0, 1, 0)), "thick": so.rod(20, 190, (0, -30, -20), (0, 1, 0))},
        line("flare", 130, times=2),
        spare=14,
    )


def nothing() -> Iterator[Case]:
    """Pieces that make no weld, and models that are wrong."""
    block = so.box
    yield Case(
        "blocks meeting in a corner point",
        lambda: {"a": block((0, 40), (0, 50), (0, 60)), "b": block((-30, 0), (-50, 0), (-20, 0))},
        (),
    )
    yield Case(
        "round bars crossing in a point",
        lambda: {"a": so.rod(12, 100, (-50, 0, 12), (1, 0, 0)), "b": so.rod(14, 100, (0, -50, -14), (0, 1, 0))},
        (),
        spare=14,
    )
    yield Case(
        "bars side by side 2.5 apart",
        lambda: {"a": block((0, 40), (0, 200), (0, 20)), "b": block((42.5, 80), (0, 200), (0, 20))},
        (),
    )
    yield Case(
        "square tube 1.3 over a plate",
        lambda: {"foot": block((-60, 60), (-60, 60), (-10, 0)), "tube": so.tube(60, 60, 4, (1.3, 300))},
        (),
        wants_remark=True,
    )
    yield Case(
        "rib sunk 5 into its base",
        lambda: {"base": block((-60, 60), (0, 200), (-15, 0)), "rib": block((0, 12), (20, 170), (-5, 80))},
        None,
        wants_remark=True,
    )
    yield Case(
        "tubes run through each other",
        lambda: {"a": so.tube(40, 40, 3, (-100, 100)), "b": so.turned(so.tube(40, 40, 3, (-100, 100)), (1, 0, 0), 90)},
        None,
        wants_remark=True,
    )


def cases() -> list[Case]:
    """The whole set."""
    groups = (tees, plate_corners, laps, assemblies, square_tubes, rounds, nothing)
    return [case for group in groups for case in group()]
