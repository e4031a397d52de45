"""A hold-down toggle clamp on its own pinned base."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Part, PartBody, Pattern, Pin, Point, Step, Thread, Tip, part
from fixture3d.part import length as a_length

from ._profiles import EASE, bored, bottom_pins, brick, cut, edge, joined, region, round_bar, straight, third_bore
from ._swing import ARM_OPENS, HANDLE_OPENS, arm_swing, handle_swing

if TYPE_CHECKING:
    import cadquery as cq

PLAY = 0.5  # mm on either side of the arm in its fork
UP = (0.0, 0.0, 1.0)


def _work_height(pattern: Pattern) -> float:
    return pattern.neat(1.25 * pattern.pitch)


@part("toggle_clamp", made="base milled from bar; arm, spindle and handle bought or made to suit")
@dataclass(frozen=True, kw_only=True)
class ToggleClamp(Part):
    """Presses work straight down; shown shut, with the space that arm and handle need to open.

    The arm is level when shut and opens 100 degrees; the upright handle goes 85 degrees back. Nothing may stand in
    either space. ``work_height`` sets the spindle. The base tips without its dowels or bolts: bolt it down. Force
    and stroke are common practice, no source; a given clamp's own figures go before them.

    ::

                     |H|                      origin: under bore 1, on the table
                     |H| handle
               ______|H|_______________       -
              |  (pivot)     arm     |=|      |          -
              +---|   |--------------|+|      | height
                  |   |   reach       V  tip  |          -
         +--------+   +----+<-------->-       |          | work_height
         |  (1)         (2)|                  -          -

    >>> from fixture3d.part import build
    >>> build(ToggleClamp, Pattern(pitch=50.0, bore=16.0), {}).pins()[1].at
    (50.0, 0.0, 0.0)
    """

    work_height: float = a_length(_work_height, low=5.0, high=250.0, help="table to the face that it presses on")
    reach: float = a_length(
        lambda p: p.neat(p.pitch), low=lambda p: p.bore, high=lambda p: 4.0 * p.pitch, help="base to the tip's axis"
    )
    height: float = a_length(
        lambda p: _work_height(p) + p.neat(2.25 * p.bore),
        low=lambda p: 2.5 * p.bore,
        high=lambda p: max(320.0, 6.0 * p.bore),
        help="table to pivot",
    )

    def pins(self) -> tuple[Pin, ...]:
        """A row of two through the base, and one for 45 degrees where it leaves enough steel."""
        return bottom_pins(straight(self.pattern, 2) + third_bore(self.pattern), self._plate())

    def box(self) -> tuple[Point, Point]:
        """Base, arm and handle, shut."""
        (x0, y0, _), (x1, y1, _) = self._base()
        far = self._tip_x() + 0.75 * self.pattern.bore
        return (x0, y0, 0.0), (max(x1, far), y1, self.height + self._arm() / 2.0 + self._handle())

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The base plate."""
        (x0, y0, _), (x1, y1, _) = self._base()
        return ((x0, y0), (x1, y0), (x1, y1), (x0, y1)) if face == "bottom" else super().foot(face)

    def tip(self) -> Tip:
        """Straight down, by hand."""
        return Tip(
            at=(self._tip_x(), 0.0, self.work_height),
            direction=(0.0, 0.0, -1.0),
            radius=self.pattern.bore / 2.0,
            force=(500.0, 2000.0) if self.pattern.bore < 22.0 else (1000.0, 4000.0),
            stroke=self.pattern.neat(self.pattern.bore),
            throat=self.reach,
        )

    def bodies(self) -> tuple[PartBody, ...]:
        """Base, arm with spindle and tip, handle, and what the last two sweep."""
        pivot = (self.pattern.pitch / 2.0, 0.0, self.height)
        arm, handle = (Step(degrees=d, about=(0.0, -1.0, 0.0), at=pivot) for d in (ARM_OPENS, HANDLE_OPENS))
        return (
            PartBody(name="", build=self.solid),
            PartBody(name="arm", build=self.arm, opens=(arm,)),
            PartBody(name="handle", build=self.handle, opens=(handle,)),
            PartBody(name="arm sweep", build=self.arm_sweep, role="sweep"),
            PartBody(name="handle sweep", build=self.handle_sweep, role="sweep"),
        )

    def threads(self) -> tuple[Thread, ...]:
        """Of the spindle, by which the tip is set."""
        d = 0.6 * self.pattern.bore
        told = "The spindle is a screw of its own with nuts above and below the arm, which has a clearance hole for it."
        return (Thread(body="arm", drawn=d, size=d, tapped=False, told=told),)

    def rules(self) -> Iterator[str]:
        """The arm must be above the work and above the base."""
        d, show = self.pattern.bore, self.pattern.show
        least = max(self.work_height + self._arm() / 2.0 + 0.4 * d + 2.0, self._plate() + self._arm() / 2.0 + 8.0)
        if self.height < least - 1e-6:
            yield (
                f"height = {show(self.height)} brings the arm too low for work_height = {show(self.work_height)}; "
                f"expected at least {show(self.pattern.neat(least))}"
            )

    def solid(self) -> cq.Solid:
        """Base plate and forked upright."""
        low, high = self._base()
        p, half = self.pattern, self._fork_half()
        wide, middle = p.pitch - 1.2 * p.bore, p.pitch / 2.0
        x, top = (middle - wide / 2.0, middle + wide / 2.0), self.height + self._arm() / 2.0
        upright = brick((x[0], -half, 0.0), (x[1], half, top), ease=EASE)
        gap = p.bore / 2.0 + PLAY
        fork = brick((x[0] - 1.0, -gap, top - self._arm() - 3.0), (x[1] + 1.0, gap, top + 1.0))
        heads = [
            round_bar((middle, side * (half - 1.0), self.height), (0.0, side, 0.0), 0.6 * p.bore, 1.0 + EASE)
            for side in (-1.0, 1.0)
        ]
        body = joined(brick(low, high, ease=EASE), cut(upright, fork), *heads)
        return bored(body, self.pins(), p.bore)

    def arm(self) -> cq.Solid:
        """Level bar with a round pivot end, and the spindle through its other end."""
        d, half, x, z = self.pattern.bore, self._arm() / 2.0, self.pattern.pitch / 2.0, self.height
        tip = self._tip_x()
        pivot = round_bar((x, -d / 2.0, z), (0.0, 1.0, 0.0), 2.0 * half, d)
        bar = brick((x, -d / 2.0, z - half), (tip + 0.75 * d, d / 2.0, z + half))
        foot = (tip, 0.0, self.work_height)
        spindle = round_bar(foot, UP, 0.6 * d, z + half + 0.75 * d - self.work_height)
        nut = round_bar((tip, 0.0, z + half), UP, d, 0.4 * d)
        return joined(bar, pivot, spindle, nut, round_bar(foot, UP, d, 0.4 * d))

    def handle(self) -> cq.Solid:
        """Upright bar with a round grip."""
        d, x, z, run = self.pattern.bore, self.pattern.pitch / 2.0, self.height + self._arm() / 2.0, self._handle()
        thin = 0.3 * d
        bar = brick((x - thin, -thin, z), (x + thin, thin, z + 0.5 * run))
        return joined(bar, round_bar((x, 0.0, z + 0.4 * run), UP, d, 0.6 * run))

    def arm_sweep(self) -> cq.Solid:
        """Space of the arm from shut to open."""
        d, half = self.pattern.bore, self._arm() / 2.0
        run, drop, head = self._tip_x() - self.pattern.pitch / 2.0, self.height - self.work_height, half + 0.75 * d
        far = max(math.hypot(run + 0.5 * d, drop), math.hypot(run + 0.75 * d, half), math.hypot(run + 0.5 * d, head))
        edges = arm_swing((self.pattern.pitch / 2.0, self.height), run, drop, half, 0.5 * d, head, far)
        return region(edges, -d / 2.0, d / 2.0)

    def handle_sweep(self) -> cq.Solid:
        """Space of the handle from shut to open."""
        d, half = self.pattern.bore, self._arm() / 2.0
        edges = handle_swing((self.pattern.pitch / 2.0, self.height), half, half + self._handle(), d / 2.0)
        return region(edges, -d / 2.0, d / 2.0)

    def _plate(self) -> float:
        return self.pattern.neat(self.pattern.bore)

    def _arm(self) -> float:
        return self.pattern.neat(1.25 * self.pattern.bore)

    def _handle(self) -> float:
        return 7.0 * self.pattern.bore

    def _fork_half(self) -> float:
        return self.pattern.bore / 2.0 + PLAY + self.pattern.neat(self.pattern.bore / 2.0)

    def _base(self) -> tuple[Point, Point]:
        half = self.pattern.neat(max(edge(self.pattern), self._fork_half() + EASE))
        end = max(x for x, _ in straight(self.pattern, 2) + third_bore(self.pattern))
        return (-edge(self.pattern), -half, 0.0), (end + edge(self.pattern), half, self._plate())

    def _tip_x(self) -> float:
        return self._base()[1][0] + self.reach
