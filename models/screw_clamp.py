"""A screw clamp: a post in a hole, a level arm, and an upright screw."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Face, Part, PartBody, Pattern, Pin, Point, Step, Thread, Tip, part
from fixture3d.part import length as a_length

from ._profiles import brick, checked, cut, joined, round_bar
from ._swing import level_arm_swing, level_disc_swing, level_region

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)
LIFT = 5.0  # mm that the screw is turned back before the arm swings
PLAY = 0.5  # mm between post and arm


def _work_height(pattern: Pattern) -> float:
    return pattern.neat(1.25 * pattern.pitch)


@part("screw_clamp", made="post turned, arm cut from flat bar; screw, knob and nut bought")
@dataclass(frozen=True, kw_only=True)
class ScrewClamp(Part):
    """Presses work straight down with a hand screw, on a level arm that swings about its post.

    A nut below the table pulls the shoulder of the post down: the hole must have room for it. ``work_height`` sets
    the screw, ``height`` the arm, ``reach`` its length. To open, the screw is turned back 5 mm and the arm swings a
    quarter turn to the left, seen from the post; nothing may stand in that space. Force and stroke are common
    practice, no source; a given clamp's own figures go before them.

    ::

             post  _        knob  =====             -
            ______| |_______________|_______        |   origin: under the post, on the table
           |______| |______arm______|_______|  -    |
                  | |               |          |    |
                  | |     reach     | screw    |
                  | |<------------->|          | height
                  | |             [===] tip    |          -
               ___| |___                       |          | work_height
              |_________| shoulder             -          -
                  | |

    >>> from fixture3d.part import build
    >>> build(ScrewClamp, Pattern(pitch=50.0, bore=16.0), {}).tip().throat
    84.0
    """

    work_height: float = a_length(_work_height, low=5.0, high=250.0, help="table to the face that it presses on")
    reach: float = a_length(
        lambda p: p.neat(2.0 * p.pitch),
        low=lambda p: 2.5 * p.bore,
        high=lambda p: max(6.0 * p.pitch, 5.0 * p.bore),
        help="post's axis to the screw's",
    )
    height: float = a_length(
        lambda p: _work_height(p) + p.neat(2.0 * p.bore),
        low=lambda p: 2.5 * p.bore,
        high=lambda p: 250.0 + 6.0 * p.bore,
        help="table to the underside of the arm",
    )

    def pins(self) -> tuple[Pin, ...]:
        """The post's own shank, with a nut below."""
        return (Pin(name="1", at=(0.0, 0.0, 0.0), depth=self._shank(), integral=True, nut=True),)

    def box(self) -> tuple[Point, Point]:
        """Post, arm and screw, shut."""
        shoulder, half = self._shoulder(), self._half()
        wide = max(shoulder, half)
        top = max(self._post_top(), self._knob_top())
        return (-wide, -wide, -self._shank()), (self.reach + half, wide, top)

    def foot(self, face: Face) -> tuple[tuple[float, float], ...]:
        """A polygon of 24 corners within the shoulder."""
        turns = [math.radians(15.0 * i) for i in range(24)]
        return tuple((self._shoulder() * math.cos(a), self._shoulder() * math.sin(a)) for a in turns)

    def tip(self) -> Tip:
        """Straight down, by hand."""
        return Tip(
            at=(self.reach, 0.0, self.work_height),
            direction=(0.0, 0.0, -1.0),
            radius=self._knob(),
            force=(500.0, 3000.0) if self.pattern.bore < 22.0 else (1000.0, 6000.0),
            stroke=min(self.pattern.neat(2.0 * self.pattern.bore), self.work_height),
            throat=self.reach - self._half(),
        )

    def bodies(self) -> tuple[PartBody, ...]:
        """Post, arm, screw, and what the last two sweep."""
        back, swing = Step(shift=(0.0, 0.0, LIFT)), Step(degrees=90.0)
        return (
            PartBody(name="", build=self.solid),
            PartBody(name="arm", build=self.arm, opens=(swing,)),
            PartBody(name="screw", build=self.screw, opens=(back, swing)),
            PartBody(name="arm sweep", build=self.arm_sweep, role="sweep"),
            PartBody(name="screw sweep", build=self.screw_sweep, role="sweep"),
        )

    def threads(self) -> tuple[Thread, ...]:
        """Of the screw, and of the arm that it is screwed into."""
        d = self._screw()
        return (
            Thread(body="arm", drawn=d + 2.0 * PLAY, size=d, tapped=True),
            Thread(body="screw", drawn=d, size=d, tapped=False),
        )

    def rules(self) -> Iterator[str]:
        """The screw must hang below the arm far enough to be turned back."""
        least = self.work_height + self._pad() + LIFT
        if self.height < least - 1e-6:
            show = self.pattern.show
            yield (
                f"height = {show(self.height)} brings the arm too low for work_height = {show(self.work_height)}; "
                f"expected at least {show(self.pattern.neat(least))}"
            )

    def solid(self) -> cq.Solid:
        """Shank, shoulder, post and its head above the arm."""
        d, top = self.pattern.bore, self.height + self._arm()
        shank = round_bar((0.0, 0.0, -self._shank()), UP, d, self._shank())
        shank = shank.chamfer(1.0, None, shank.edges("<Z").Edges())
        shoulder = round_bar((0.0, 0.0, 0.0), UP, 2.0 * self._shoulder(), 0.5 * d)
        post = round_bar((0.0, 0.0, 0.0), UP, d, top + 1.0)
        collar = round_bar((0.0, 0.0, self.height - 0.3 * d), UP, 1.4 * d, 0.3 * d)
        head = round_bar((0.0, 0.0, top), UP, 1.4 * d, 0.4 * d)
        return joined(shank, shoulder, post, collar, head)

    def arm(self) -> cq.Solid:
        """Level bar with a round end at the post and one beyond the screw."""
        half, z, thick = self._half(), self.height, self._arm()
        bar = brick((0.0, -half, z), (self.reach, half, z + thick))
        ends = [round_bar((x, 0.0, z), UP, 2.0 * half, thick) for x in (0.0, self.reach)]
        holes = [
            round_bar((x, 0.0, z - 1.0), UP, d + 2.0 * PLAY, thick + 2.0)
            for x, d in ((0.0, self.pattern.bore), (self.reach, self._screw()))
        ]
        return cut(joined(bar, *ends), *holes)

    def screw(self) -> cq.Solid:
        """Pad, screw and knob."""
        foot, r = (self.reach, 0.0, self.work_height), self._knob()
        pad = round_bar(foot, UP, 2.0 * r, self._pad())
        stem = round_bar(foot, UP, self._screw(), self._knob_top() - self.work_height)
        knob = round_bar((self.reach, 0.0, self._knob_top() - self._pad()), UP, 2.0 * r, self._pad())
        return joined(pad, stem, knob)

    def arm_sweep(self) -> cq.Solid:
        """Space of the arm from shut to open; its round end is taken as square."""
        half = self._half()
        return level_region(level_arm_swing(self.reach + half, half), self.height, self.height + self._arm())

    def screw_sweep(self) -> cq.Solid:
        """Space of the screw: turned back, then swung."""
        r, low, high = self._knob(), self.work_height, self._knob_top() + LIFT
        back = round_bar((self.reach, 0.0, low), UP, 2.0 * r, high - low)
        ring = level_region(level_disc_swing(self.reach, r), low + LIFT, high)
        return checked(back.fuse(ring).clean())

    def _shank(self) -> float:
        return self.pattern.neat(self.pattern.bore)

    def _shoulder(self) -> float:
        """Radius of the shoulder that the post stands on."""
        return self.pattern.bore

    def _half(self) -> float:
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

    def _post_top(self) -> float:
        return self.height + self._arm() + 0.4 * self.pattern.bore

    def _knob_top(self) -> float:
        """As much thread above the arm as the screw can go down."""
        return self.height + self._arm() + self.pattern.neat(2.0 * self.pattern.bore) + self._pad() + 1.0
