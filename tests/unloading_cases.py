"""Setups of plain boxes whose ways out follow from the drawing alone, on both sides of each limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

Point = tuple[float, float, float]
Box = tuple[Point, Point]
UP, LEFT, RIGHT, FRONT, BACK = (0, 0, 1), (-1, 0, 0), (1, 0, 0), (0, -1, 0), (0, 1, 0)
LEVEL = (LEFT, RIGHT, FRONT, BACK)


@dataclass(frozen=True)
class Known:
    """One setup.

    Attributes:
        pieces: tacked together as one where they touch.
        blocks: by name, each one box.
        free: the free ways out along axes, where there is one.
        off: names of what must go first, where there is none; any of these sets.
        kept: what stays in the way, where nothing helps.
    """

    pieces: Mapping[str, Box]
    blocks: Mapping[str, Box]
    free: frozenset[Point] = frozenset()
    off: tuple[frozenset[str], ...] = ()
    kept: frozenset[str] = frozenset()
    at_the_limit: bool = field(default=False)


CASES: dict[str, Callable[[], Known]] = {}


def case(make: Callable[[], Known]) -> Callable[[], Known]:
    CASES[make.__name__] = make
    return make


def free(*ways: Point) -> frozenset[Point]:
    return frozenset(ways)


def off(*names: str) -> tuple[frozenset[str], ...]:
    return (frozenset(names),)


BAR: dict[str, Box] = {"bar": ((200, 300, 50), (400, 340, 90))}
UNDER: dict[str, Box] = {"R1": ((200, 300, 0), (240, 340, 50)), "R2": ((360, 300, 0), (400, 340, 50))}
WALLS: dict[str, Box] = {
    "left": ((150, 300, 0), (200, 340, 100)),
    "right": ((400, 300, 0), (450, 340, 100)),
    "front": ((280, 250, 0), (320, 300, 100)),
    "back": ((280, 340, 0), (320, 390, 100)),
}


def stacked() -> dict[str, Box]:
    """Each wall of three boxes one over the other, so that it takes three to open it."""
    return {
        f"{name} {k}": ((*low[:2], z), (*high[:2], top))
        for name, (low, high) in WALLS.items()
        for k, (z, top) in enumerate(((0, 60), (60, 80), (80, 100)))
    }


def some(names: str) -> dict[str, Box]:
    return {name: WALLS[name] for name in names.split()}


def lid(over: float, end: str = "left") -> dict[str, Box]:
    """A box above one end of the bar that reaches over it."""
    x = (170, 200 + over) if end == "left" else (400 - over, 430)
    return {f"lid {end}": ((x[0], 310, 100), (x[1], 330, 120))}


@case
def on_two_risers() -> Known:
    return Known(BAR, UNDER, free=free(UP, *LEVEL))


@case
def on_the_table() -> Known:
    return Known({"bar": ((200, 300, 0), (400, 340, 40))}, {}, free=free(UP, *LEVEL))


@case
def against_two_stops() -> Known:
    return Known(BAR, UNDER | some("left front"), free=free(UP, RIGHT, BACK))


@case
def between_end_stops() -> Known:
    return Known(BAR, UNDER | some("left right"), free=free(UP, FRONT, BACK))


@case
def between_four_walls() -> Known:
    return Known(BAR, UNDER | WALLS, free=free(UP))


@case
def a_low_wall_is_a_wall() -> Known:
    """Half a millimetre of it stands above the bar's underside."""
    low: dict[str, Box] = {"right": ((400, 300, 0), (450, 340, 50.5))}
    return Known(BAR, UNDER | some("left front back") | low, free=free(UP), at_the_limit=True)


@case
def a_lower_wall_is_none() -> Known:
    low: dict[str, Box] = {"right": ((400, 300, 0), (450, 340, 50.3))}
    return Known(BAR, UNDER | some("left front back") | low, free=free(UP, RIGHT), at_the_limit=True)


@case
def lid_of_three_tenths() -> Known:
    return Known(BAR, UNDER | WALLS | lid(0.3), free=free(UP), at_the_limit=True)


@case
def lid_of_a_half() -> Known:
    return Known(BAR, UNDER | WALLS | lid(0.5), off=off("lid left"), at_the_limit=True)


@case
def lid_of_two() -> Known:
    return Known(BAR, UNDER | WALLS | lid(2.0), off=off("lid left"))


@case
def lids_over_both_ends() -> Known:
    return Known(BAR, UNDER | stacked() | lid(20.0) | lid(20.0, "right"), off=off("lid left", "lid right"))


@case
def four_lids_or_three_boxes_of_a_wall() -> Known:
    more: dict[str, Box] = {f"lid {k}": ((250 + 20 * k, 310, 100), (260 + 20 * k, 330, 120)) for k in range(2)}
    return Known(
        BAR, UNDER | stacked() | lid(20.0) | lid(20.0, "right") | more,
        off=tuple(frozenset(f"{wall} {k}" for k in range(3)) for wall in WALLS),
    )  # fmt: skip


@case
def lids_but_open_at_the_back() -> Known:
    blocks = UNDER | some("left right front") | lid(20.0) | lid(20.0, "right")
    return Known(BAR, blocks, free=free(BACK))


@case
def one_stop_or_two_lids() -> Known:
    """Up takes two blocks away, back takes one: the wall at the back, and the one at the front as well."""
    return Known(
        BAR, UNDER | WALLS | lid(20.0) | lid(20.0, "right") | {"lid": ((250, 310, 100), (260, 330, 120))},
        off=tuple(frozenset({name}) for name in ("left", "right", "front", "back")),
    )  # fmt: skip


def _shaft(depth: float = 300.0) -> dict[str, Box]:
    """Four walls without a gap round the bar, far higher than it, on the table: they can only be lifted."""
    return {
        "left": ((150, 250, 0), (200, 390, depth)), "right": ((400, 250, 0), (450, 390, depth)),
        "front": ((200, 250, 0), (400, 300, depth)), "back": ((200, 340, 0), (400, 390, depth)),
    }  # fmt: skip


@case
def in_a_shaft() -> Known:
    return Known(BAR, UNDER | _shaft(), free=free(UP))


@case
def under_a_plug_in_a_shaft() -> Known:
    """The plug can go up; or any wall to its side, and then the bar after it."""
    plug: dict[str, Box] = {"plug": ((200, 300, 110), (400, 340, 150))}
    return Known(
        BAR, UNDER | _shaft() | plug,
        off=tuple(frozenset({name}) for name in ("plug", "left", "right", "front", "back")),
    )  # fmt: skip


def _ring() -> dict[str, Box]:
    """Four bars round a hole of 60 x 60 in the middle of (300, 300), 20 to 60 high."""
    return {
        "ring left": ((230, 230, 20), (270, 370, 60)), "ring right": ((330, 230, 20), (370, 370, 60)),
        "ring front": ((270, 230, 20), (330, 270, 60)), "ring back": ((270, 330, 20), (330, 370, 60)),
    }  # fmt: skip


POST: dict[str, Box] = {"post": ((270, 270, 0), (330, 330, 100))}
HEAD: dict[str, Box] = {"head": ((250, 250, 100), (350, 350, 120))}
TOP: dict[str, Box] = {"top": ((230, 230, 150), (370, 370, 160))}


def _sides(names: str = "left right front back") -> dict[str, Box]:
    every: dict[str, Box] = {
        "left": ((230, 230, 60), (240, 370, 150)), "right": ((360, 230, 60), (370, 370, 150)),
        "front": ((240, 230, 60), (360, 240, 150)), "back": ((240, 360, 60), (360, 370, 150)),
    }  # fmt: skip
    return {f"side {name}": every[name] for name in names.split()}


@case
def ring_round_a_post() -> Known:
    return Known(_ring(), POST, free=free(UP))


@case
def ring_round_a_post_with_a_head() -> Known:
    return Known(_ring(), POST | HEAD, off=off("head"))


@case
def open_ring_round_a_post_with_a_head() -> Known:
    ring = {name: box for name, box in _ring().items() if name != "ring left"}
    return Known(ring, POST | HEAD, free=free(RIGHT))


@case
def closed_cage_round_a_head() -> Known:
    """The head can go neither up nor to a side, and the ring does not come past it."""
    return Known(_ring() | _sides() | TOP, POST | HEAD, kept=frozenset({"head"}))


@case
def cage_with_one_side_open() -> Known:
    return Known(_ring() | _sides("right front back") | TOP, POST | HEAD, off=off("head"))


@case
def cage_with_one_side_open_and_a_block_before_it() -> Known:
    """The head can only go out to the left, past a block that stands there."""
    gate: dict[str, Box] = {"gate": ((180, 260, 0), (230, 340, 130))}
    return Known(_ring() | _sides("right front back") | TOP, POST | HEAD | gate, off=off("head", "gate"))


@case
def cage_with_two_blocks_before_its_side() -> Known:
    gates: dict[str, Box] = {
        "gate": ((180, 260, 0), (230, 300, 130)), "other gate": ((180, 300, 0), (230, 340, 130)),
    }  # fmt: skip
    return Known(_ring() | _sides("right front back") | TOP, POST | HEAD | gates, off=off("head", "gate", "other gate"))


@case
def cage_with_a_window_that_is_too_low() -> Known:
    """The open side is closed by a bar down to below the head's upper side."""
    bar: dict[str, Box] = {"side bar": ((230, 240, 119), (240, 360, 150))}
    return Known(_ring() | _sides("right front back") | bar | TOP, POST | HEAD, kept=frozenset({"head"}))


@case
def cage_with_a_window_just_high_enough() -> Known:
    bar: dict[str, Box] = {"side bar": ((230, 240, 121), (240, 360, 150))}
    return Known(_ring() | _sides("right front back") | bar | TOP, POST | HEAD, off=off("head"))


@case
def under_a_beam_on_two_posts() -> Known:
    """A ring that stands upright round a beam between two posts: the beam goes out to the front once a post is off."""
    ring: dict[str, Box] = {
        "low": ((290, 200, 20), (310, 400, 40)), "high": ((290, 200, 160), (310, 400, 180)),
        "near": ((290, 200, 40), (310, 220, 160)), "far": ((290, 380, 40), (310, 400, 160)),
    }  # fmt: skip
    beam: dict[str, Box] = {"beam": ((200, 280, 100), (400, 320, 120))}
    posts: dict[str, Box] = {
        "left post": ((150, 150, 0), (200, 450, 200)),
        "right post": ((400, 150, 0), (450, 450, 200)),
    }
    return Known(
        ring, beam | posts,
        off=(frozenset({"left post"}), frozenset({"right post"})),
    )  # fmt: skip


@case
def a_frame_over_a_low_block() -> Known:
    """It stands inside the frame and is lower: nothing in the way."""
    inside: dict[str, Box] = {"inside": ((280, 280, 0), (320, 320, 55))}
    return Known(_ring(), inside, free=free(UP))


@case
def a_block_that_leans_over_one_bar() -> Known:
    over: dict[str, Box] = {"stop": ((200, 290, 0), (230, 310, 70)), "nose": ((200, 290, 70), (240, 310, 100))}
    return Known(_ring(), POST | over, off=off("nose"))
