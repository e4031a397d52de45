"""A bar clamp on the table's edge or in a slot: fixed jaw under the plate, sliding arm with a screw above the work."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Part, PartBody, Pattern, Point, Step, Tip, box_foot, part
from fixture3d.part import length as a_length

from ._profiles import brick, cut, joined, round_bar
from ._swing import Edges, level_arm_swing, level_disc_swing, level_region

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)
LIFT = 5.0  # mm that the arm goes up before the clamp is drawn off or turned
PLAY = 0.5  # mm between bar and arm


def _work_height(pattern: Pattern) -> float:
    return pattern.neat(1.25 * pattern.pitch)


@part("bar_clamp", made="bought", stands="edge")
@dataclass(frozen=True, kw_only=True)
class BarClamp(Part):
    """Clamps work down from the table's edge or a slot: a jaw under the plate, an arm that slides on a bar, a screw.

    It hooks over an edge, ``edge = "front", along = 400``, or over one side of a slot, ``slot = "NAME", along =
    250``, and presses what lies within its ``reach``. ``plate`` is the thickness of the table, the scene's own when
    it is left out; ``slot`` is the width of the slot, which the scene gives, 0 on an edge. To open on an edge, the
    arm goes up 5 mm and the whole clamp is drawn off the table. To open in a slot, the arm goes up 5 mm, the bar comes
    to the slot's middle and the whole clamp makes a quarter turn to the left, seen from above; for that the slot is
    at least 1.25 bores and 1 mm wide. The jaw is put in from below before the arm, or from above where the slot is
    longer than it. Legs and ribs under the table are not looked at. Its place along edge or slot has to be measured.
    Force and stroke are common practice, no source; a given clamp's own figures go before them.

    ::

              bar    knob =====
             +---+      |   |            -
           +-|   |------|   |-----+  -   |   origin: on the edge, X inward
           +-|   |------|   |-----+  |   |
             |   |<-reach>|          | height
             |   |     [===] tip     |   |        -
             |   |                   |   |        | work_height
             |   +===========================     -
             |   |    table               | plate
             |   +===========================
             |   |----------+
             +--------------+  jaw

    >>> from fixture3d.part import build
    >>> build(BarClamp, Pattern(pitch=50.0, bore=16.0), {}).tip().throat
    75.0
    """

    work_height: float = a_length(_work_height, low=5.0, high=250.0, help="table to the face that it presses on")
    reach: float = a_length(
        lambda p: p.neat(1.5 * p.pitch),
        low=lambda p: 1.5 * p.bore,
        high=lambda p: max(6.0 * p.pitch, 4.0 * p.bore),
        help="table's edge, or side of the slot, to the screw's axis",
    )
    height: float = a_length(
        lambda p: _work_height(p) + p.neat(2.0 * p.bore),
        low=lambda p: 2.5 * p.bore,
        high=lambda p: 250.0 + 6.0 * p.bore,
        help="table to the underside of the arm",
    )
    plate: float = a_length(
        lambda p: p.neat(0.75 * p.bore), low=2.0, high=200.0, help="thickness of the table; left out, the scene's own"
    )
    slot: float = a_length(
        0.0, low=0.0, high=lambda p: 10.0 * p.bore, help="width of the slot it stands in, from the scene; 0 on an edge"
    )

    def box(self) -> tuple[Point, Point]:
        """Bar, jaw, arm and screw, shut."""
        half, back = self._half(), -self._bar() - self._collar()
        return (back, -half, self._bottom()), (self.reach + half, half, max(self._bar_top(), self._knob_top()))

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The part of the table that is between its jaw and its arm."""
        if face != "bottom":
            return super().foot(face)
        narrow = self._narrow()
        return box_foot((0.0, -narrow, 0.0), (self.reach + self._knob(), narrow, 1.0), "bottom")

    def tip(self) -> Tip:
        """Straight down, by hand."""
        return Tip(
            at=(self.reach, 0.0, self.work_height),
            direction=(0.0, 0.0, -1.0),
            radius=self._knob(),
            force=(500.0, 4000.0) if self.pattern.bore < 22.0 else (1000.0, 8000.0),
            stroke=min(self.pattern.neat(2.0 * self.pattern.bore), self.work_height),
            # Turned aside in a slot, the arm still hangs over the first of its reach.
            throat=self.reach - (max(0.0, self._half() - self.slot / 2.0) if self.slot else 0.0),
        )

    def bodies(self) -> tuple[PartBody, ...]:
        """Bar with jaw, arm, screw, and the space in which they are drawn off or turned aside."""
        up = Step(shift=(0.0, 0.0, LIFT))
        off: tuple[Step, ...] = (Step(shift=(-self._off(), 0.0, 0.0)),)
        if self.slot:
            off = (*off, Step(degrees=90.0, at=(-self.slot / 2.0, 0.0, 0.0)))
        return (
            PartBody(name="", build=self.solid, opens=off),
            PartBody(name="arm", build=self.arm, opens=(up, *off)),
            PartBody(name="screw", build=self.screw, opens=(up, *off)),
            PartBody(name="bar sweep", build=self.bar_sweep, role="sweep"),
            PartBody(name="arm sweep", build=self.arm_sweep, role="sweep"),
            PartBody(name="screw sweep", build=self.screw_sweep, role="sweep"),
        )

    def rules(self) -> Iterator[str]:
        """The screw must hang below the arm, and the bar must turn in the slot."""
        show, least = self.pattern.show, self.work_height + self._pad() + LIFT
        wide = 2.0 * (self._corner() + PLAY)
        if 0.0 < self.slot < wide - 1e-6:
            yield f"slot = {show(self.slot)} is too narrow for its bar to turn in it; expected at least {show(wide)}"
        if self.height < least - 1e-6:
            yield (
                f"height = {show(self.height)} brings the arm too low for work_height = {show(self.work_height)}; "
                f"expected at least {show(self.pattern.neat(least))}"
            )

    def solid(self) -> cq.Solid:
        """The bar against the edge or the side of the slot, and the jaw under the plate."""
        return self._rail(0.0)

    def arm(self) -> cq.Solid:
        """The level arm, with its collar round the bar and a round end beyond the screw."""
        half, z, thick, narrow = self._half(), self.height, self._arm(), self._narrow() + PLAY
        bar = brick((-self._bar() - self._collar(), -half, z), (self.reach, half, z + thick))
        end = round_bar((self.reach, 0.0, z), UP, 2.0 * half, thick)
        slot = brick((-self._bar() - PLAY, -narrow, z - 1.0), (PLAY, narrow, z + thick + 1.0))
        thread = round_bar((self.reach, 0.0, z - 1.0), UP, self._screw(), thick + 2.0)
        return cut(joined(bar, end), slot, thread)

    def screw(self) -> cq.Solid:
        """Pad, screw and knob."""
        foot, r = (self.reach, 0.0, self.work_height), self._knob()
        pad = round_bar(foot, UP, 2.0 * r, self._pad())
        stem = round_bar(foot, UP, self._screw(), self._knob_top() - self.work_height)
        knob = round_bar((self.reach, 0.0, self._knob_top() - self._pad()), UP, 2.0 * r, self._pad())
        return joined(pad, stem, knob)

    def bar_sweep(self) -> cq.Solid:
        """Space of bar and jaw from shut to drawn off or turned aside."""
        if not self.slot:
            return self._rail(self._off())
        narrow, low = self._narrow(), self._bottom()
        bar = self._round(self._corner(), low, self._bar_top())
        jaw = self._turned(level_arm_swing(self.reach + self._knob() + self._bar() / 2.0, narrow), low, -self.plate)
        return joined(self._rail(self._off()), bar, jaw)

    def arm_sweep(self) -> cq.Solid:
        """Space of the arm from shut to drawn off or turned aside."""
        half, back = self._half(), -self._bar() - self._collar() - self._off()
        low, high = self.height, self.height + self._arm() + LIFT
        way = brick((back, -half, low), (self.reach + half, half, high))
        if not self.slot:
            return way
        behind = math.hypot(half, self._bar() / 2.0 + self._collar())
        swing = self._turned(level_arm_swing(self.reach + half + self._bar() / 2.0, half), low + LIFT, high)
        return joined(way, self._round(behind, low + LIFT, high), swing)

    def screw_sweep(self) -> cq.Solid:
        """Space of the screw: up, then off or aside."""
        r, low, high, end = self._knob(), self.work_height, self._knob_top() + LIFT, self.reach - self._off()
        way = brick((end, -r, low + LIFT), (self.reach, r, high))
        last = round_bar((end, 0.0, low + LIFT), UP, 2.0 * r, high - low - LIFT)
        if self.slot:
            last = self._turned(level_disc_swing(self.reach + self._bar() / 2.0, r), low + LIFT, high)
        return joined(way, last, round_bar((self.reach, 0.0, low), UP, 2.0 * r, high - low))

    def _rail(self, off: float) -> cq.Solid:
        """Bar and jaw, drawn out to the back by ``off``."""
        narrow, back, low = self._narrow(), -self._bar() - off, self._bottom()
        bar = brick((back, -narrow, low), (0.0, narrow, self._bar_top()))
        return joined(bar, brick((back, -narrow, low), (self.reach + self._knob(), narrow, -self.plate)))

    def _turned(self, edges: Edges, low: float, high: float) -> cq.Solid:
        """An outline about the bar's axis as it stands in the middle of the slot, from z = ``low`` up to ``high``."""
        import cadquery as cq

        return level_region(edges, low, high).translate(cq.Vector(-self.slot / 2.0, 0.0, 0.0))

    def _round(self, radius: float, low: float, high: float) -> cq.Solid:
        """A cylinder about that axis."""
        return round_bar((-self.slot / 2.0, 0.0, low), UP, 2.0 * radius, high - low)

    def _bar(self) -> float:
        return 0.75 * self.pattern.bore

    def _collar(self) -> float:
        return 0.5 * self.pattern.bore

    def _narrow(self) -> float:
        """Half the width of bar and jaw."""
        return 0.5 * self.pattern.bore

    def _half(self) -> float:
        """Half the width of the arm."""
        return self.pattern.bore

    def _arm(self) -> float:
        return self.pattern.neat(self.pattern.bore)

    def _screw(self) -> float:
        return 0.75 * self.pattern.bore

    def _knob(self) -> float:
        """Radius of the pad and of the knob."""
        return 0.75 * self.pattern.bore

    def _pad(self) -> float:
        return 0.5 * self.pattern.bore

    def _corner(self) -> float:
        """From the bar's axis to its corners: 0.625 bores, as its sides are 0.75 and 1."""
        return math.hypot(self._bar() / 2.0, self._narrow())

    def _off(self) -> float:
        """As far as the whole clamp is drawn back: until nothing of it is over the table, or to the slot's middle."""
        if self.slot:
            return (self.slot - self._bar()) / 2.0
        return self.reach + self._half()

    def _bottom(self) -> float:
        return -self.plate - self.pattern.neat(self.pattern.bore)

    def _bar_top(self) -> float:
        return self.height + self._arm() + self.pattern.neat(self.pattern.bore)

    def _knob_top(self) -> float:
        """As much thread above the arm as the screw can go down."""
        return self.height + self._arm() + self.pattern.neat(2.0 * self.pattern.bore) + self._pad() + 1.0
