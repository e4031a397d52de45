"""A strap clamp: a slotted strap on a bolt through the table, with a heel block behind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Part, PartBody, Pin, Point, Step, Thread, Tip, box_foot, part
from fixture3d.part import length as a_length

from ._profiles import brick, cut, joined, round_bar

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)
NOSE = 3.0  # mm that the tip stands below the strap
PLAY = 0.5  # mm between stud and slot


@part("hold_down_bolt", made="strap cut from flat bar, heel block from bar; bolt, washer and nut bought")
@dataclass(frozen=True, kw_only=True)
class HoldDownBolt(Part):
    """A bolt through the table pulls a strap down on the work; a heel block carries the strap's other end.

    The bolt stands in the named hole and has its nut below the table: the hole must have room for it. The heel is as
    far behind the bolt as the tip before it, so half of the bolt's pull comes down on the work. ``work_height`` sets
    the heel block, ``reach`` the strap. To open, the upper nut is slackened and the strap pulled straight back in
    its slot, off the work: nothing may stand behind it, or over the nut. Force is common practice, no source.

    ::

                       nut  |=|
                   _________|_|__________     -
                  |__________:___________|    | strap
             -     |    |    :         |_|  tip
             |     |heel|    :   reach  |          origin: in the bolt's hole, on the table
             |     |    |    |<-------->|
             -    _|____|____:__________________
        work_height          :  bolt

    >>> from fixture3d.part import Pattern, build
    >>> build(HoldDownBolt, Pattern(pitch=50.0, bore=16.0), {}).tip().at
    (50.0, 0.0, 50.0)
    """

    work_height: float = a_length(
        lambda p: p.neat(p.pitch), low=lambda p: p.bore, high=250.0, help="table to the face that it presses on"
    )
    reach: float = a_length(
        lambda p: p.neat(max(p.pitch, 2.5 * p.bore)),
        low=lambda p: 2.25 * p.bore,
        high=lambda p: max(4.0 * p.pitch, 3.0 * p.bore),
        help="bolt's axis to the tip's",
    )

    def pins(self) -> tuple[Pin, ...]:
        """The bolt, with a nut below."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=self._shank(), integral=True, nut=True),)

    def box(self) -> tuple[Point, Point]:
        """Heel block, strap and bolt, shut."""
        half, tail = self._half(), self.reach + self._half()
        return (-tail, -half, -self._shank()), (self.reach + self._radius(), half, self._top())

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """The heel block."""
        return box_foot(*self._heel(), face)

    def tip(self) -> Tip:
        """Straight down, by a spanner on the nut."""
        return Tip(
            at=(self.reach, 0.0, self.work_height),
            direction=(0.0, 0.0, -1.0),
            radius=self._radius(),
            force=(1000.0, 8000.0) if self.pattern.bore < 22.0 else (2000.0, 20000.0),
            stroke=NOSE,
            throat=self.reach - self._clear(),
        )

    def bodies(self) -> tuple[PartBody, ...]:
        """Heel block, bolt, strap, and what the strap sweeps."""
        back = Step(shift=(self._clear() - self.reach - self._radius(), 0.0, 0.0))
        return (
            PartBody(name="", build=self.solid),
            PartBody(name="bolt", build=self.bolt),
            PartBody(name="arm", build=self.arm, opens=(back,)),
            PartBody(name="arm sweep", build=self.arm_sweep, role="sweep"),
        )

    def threads(self) -> tuple[Thread, ...]:
        """Of the stud, for the nut on the strap."""
        return (Thread(body="bolt", drawn=self._stud(), size=self._stud(), tapped=False),)

    def solid(self) -> cq.Solid:
        """The heel block."""
        return brick(*self._heel())

    def bolt(self) -> cq.Solid:
        """Shank in the hole, stud, washer and nut."""
        d, stud, top = self.pattern.bore, self._stud(), self._strap_top()
        shank = round_bar((0.0, 0.0, -self._shank()), UP, d, self._shank())
        shank = shank.chamfer(1.0, None, shank.edges("<Z").Edges())
        rod = round_bar((0.0, 0.0, 0.0), UP, stud, self._top())
        washer = round_bar((0.0, 0.0, top), UP, 2.5 * stud, 0.2 * d)
        nut = round_bar((0.0, 0.0, top + 0.2 * d), UP, 1.7 * stud, 0.8 * stud)
        return joined(shank, rod, washer, nut)

    def arm(self) -> cq.Solid:
        """The strap: level, slotted, with a round nose below its end."""
        half, r, (low, high) = self._half(), self._radius(), (self.work_height + NOSE, self._strap_top())
        wide = self._stud() + 2.0 * PLAY
        end = self._slide() + wide / 2.0
        bar = brick((-self.reach - half, -half, low), (self.reach + r, half, high))
        slot = brick((-wide / 2.0, -wide / 2.0, low - 1.0), (end, wide / 2.0, high + 1.0))
        nose = round_bar((self.reach, 0.0, self.work_height), UP, 2.0 * r, NOSE)
        return joined(cut(bar, slot), nose)

    def arm_sweep(self) -> cq.Solid:
        """Space of the strap and its nose on the way back."""
        half, r, low = self._half(), self._radius(), self.work_height + NOSE
        strap = brick((-self.reach - half - self._slide(), -half, low), (self.reach + r, half, self._strap_top()))
        nose = brick((self.reach - self._slide(), -r, self.work_height), (self.reach, r, low))
        ends = [
            round_bar((x, 0.0, self.work_height), UP, 2.0 * r, NOSE) for x in (self.reach - self._slide(), self.reach)
        ]
        return joined(strap, nose, *ends)

    def _shank(self) -> float:
        return self.pattern.neat(self.pattern.bore)

    def _stud(self) -> float:
        return 0.75 * self.pattern.bore

    def _radius(self) -> float:
        return 0.5 * self.pattern.bore

    def _half(self) -> float:
        """Half the strap's width, and half the heel block's length."""
        return self.pattern.bore

    def _clear(self) -> float:
        """From the bolt's axis to the end of the strap when it is pulled back."""
        return 1.75 * self.pattern.bore

    def _slide(self) -> float:
        return self.reach + self._radius() - self._clear()

    def _strap_top(self) -> float:
        return self.work_height + NOSE + self.pattern.neat(0.75 * self.pattern.bore)

    def _top(self) -> float:
        return self._strap_top() + 1.2 * self.pattern.bore

    def _heel(self) -> tuple[Point, Point]:
        half = self._half()
        return (-self.reach - half, -half, 0.0), (-self.reach + half, half, self.work_height + NOSE)
