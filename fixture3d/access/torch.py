"""The welding torch from its measures, and the technique by which it is held.

Torch frame: origin at the joint root, +Z up the torch axis (from the arc to the hand), +X the side to which the
neck bends. Lengths in mm, angles in degrees. numpy only.

```
        hand  ( handle )====.            +Z
                             `.   neck    |
                               `|         |
                                |  nozzle |
                                |_|       |
                                 :  stand_off
                              ---+--- root ------> the neck bends towards +X (drawn mirrored)
```

A work angle counts from the perpendicular of the non-butting face, in the plane square to the weld; a travel
angle counts from that plane towards the weld, push positive (AWS A3.0 wording as welding textbooks quote it).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fixture3d.access.arrays import Array
from fixture3d.access.window import Window
from fixture3d.tolerance import SHOP

Direction = Literal["either", "forward", "back"]

WORK_STEP = 5.0
"""Degrees between two work angles that are tried."""
TRAVEL_STEP = 5.0
"""Degrees between two travel angles that are tried."""
ROLLS = 12
"""Turns of the handle about the torch axis that are tried: every 30 degrees."""

CUP_STEP = 25.4 / 16.0
"""mm of inside diameter that a cup number stands for: sixteenths of an inch, looked up; 4 is 6.35, 12 is 19.05."""
_MAY_BE_ZERO = ("neck_angle", "neck_radius", "back_cap", "back_cap_diameter", "stub_length")


def cup_bore(number: float) -> float:
    """Inside diameter of a gas cup by its number, mm."""
    return number * CUP_STEP


def floor_angle(diameter: float, stand_off: float) -> float:
    """The angle from a face through the root at which a nozzle's rim meets that face, degrees: plane trigonometry.

    Args:
        diameter: outside, of the nozzle, mm.
        stand_off: from the root to its front, mm.
    """
    return math.degrees(math.atan2(diameter, 2.0 * stand_off))


@dataclass(frozen=True, kw_only=True)
class Torch:
    """A torch by measures that can be taken with a caliper; mm and degrees.

    Attributes:
        name: what scenes call it.
        nozzle_diameter: outside diameter of the nozzle, cup or electrode.
        nozzle_length: from its flat front to where the neck begins.
        neck_angle: how far the neck bends from the nozzle's axis; 0 is a straight torch.
        neck_radius: of the neck's centre line; 0 is a sharp bend.
        neck_diameter: of the neck tube.
        handle_diameter: of the handle.
        handle_length: of the handle.
        hand_diameter: of the gloved hand round the handle.
        back_cap: how far a back cap, or the end of the head, stands out beyond the neck's beginning along the
            nozzle's axis; 0 when nothing does.
        back_cap_diameter: of that cap.
        stub_length: of a covered electrode, whose nozzle is the electrode itself: what is left of it when it is
            thrown away; 0 for a nozzle that keeps its length.

    Raises:
        ValueError: a measure that is not a number, not positive, or no torch could have.
    """

    name: str
    nozzle_diameter: float
    nozzle_length: float
    neck_angle: float
    neck_radius: float
    neck_diameter: float
    handle_diameter: float
    handle_length: float
    hand_diameter: float
    back_cap: float = 0.0
    back_cap_diameter: float = 0.0
    stub_length: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            if field.name == "name":
                continue
            value = getattr(self, field.name)
            may_be_zero = field.name in _MAY_BE_ZERO
            if not math.isfinite(value) or value < 0.0 or (value == 0.0 and not may_be_zero):
                raise ValueError(
                    f'torch "{self.name}": {field.name} is {value:g}; expected a '
                    f"{'number of 0 or more' if may_be_zero else 'positive number'}"
                )
        if self.neck_angle > 150.0:
            raise ValueError(
                f'torch "{self.name}": neck_angle is {self.neck_angle:g} degrees; expected 0 (straight) to 150'
            )
        if self.back_cap > 0.0 and self.back_cap_diameter == 0.0:
            raise ValueError(f'torch "{self.name}": back_cap_diameter is 0; expected the diameter of its back cap')
        if self.stub_length > self.nozzle_length:
            raise ValueError(
                f'torch "{self.name}": stub_length is {self.stub_length:g}; expected no more than its '
                f"nozzle_length, {self.nozzle_length:g}"
            )
        if self.nozzle_length + self.handle_length + self.neck_radius + self.back_cap > 3000.0:
            raise ValueError(f'torch "{self.name}" is longer than 3 m; expected measures in mm')


@dataclass(frozen=True, kw_only=True)
class Technique:
    """How a weld is run: the torch, and how far from nominal it may be held.

    Attributes:
        name: what scenes call it.
        torch: name of the torch.
        work_angle: nominal and plus or minus, degrees from the perpendicular of the non-butting face; "middle" for
            the middle of the opening between the two faces, where no textbook gives an angle.
        travel_angle: nominal and plus or minus, degrees, push positive.
        stand_off: from the joint root to the nozzle's front, mm.
        direction: along the path ("forward"), back along it, or either.
        process: in words, for people.
        filler_angle: of the hand that feeds filler ahead of the arc: the usual angle between the rod and the weld, and
            the steepest, degrees; None where no hand feeds.

    Raises:
        ValueError: a value that no weld could be run with.
    """

    name: str
    torch: str
    work_angle: tuple[float | Literal["middle"], float]
    travel_angle: tuple[float, float]
    stand_off: float
    direction: Direction = "either"
    process: str = ""
    filler_angle: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        work = self.work_angle[0]
        for label, (nominal, spread), most in (
            ("work_angle", (0.0 if isinstance(work, str) else work, self.work_angle[1]), 120.0),
            ("travel_angle", self.travel_angle, 80.0),
        ):
            if not (math.isfinite(nominal) and math.isfinite(spread)) or spread < 0.0:
                raise ValueError(
                    f'technique "{self.name}": {label} is [{nominal:g}, {spread:g}]; '
                    "expected [nominal, plus or minus] with the second 0 or more"
                )
            if abs(nominal) + spread > most:
                raise ValueError(
                    f'technique "{self.name}": {label} goes to {abs(nominal) + spread:g} degrees; '
                    f"expected no more than {most:g}"
                )
        if not 0.0 <= self.stand_off <= SHOP.stand_off_most:
            raise ValueError(
                f'technique "{self.name}": stand_off is {self.stand_off:g}; expected 0 to {SHOP.stand_off_most:g} mm'
            )
        if self.direction not in ("either", "forward", "back"):
            raise ValueError(
                f'technique "{self.name}": direction is "{self.direction}"; expected "either", "forward" or "back"'
            )
        if self.filler_angle is not None:
            least, most = self.filler_angle
            if not 0.0 < least <= most <= 90.0:
                raise ValueError(
                    f'technique "{self.name}": filler_angle is [{least:g}, {most:g}]; expected [usual, steepest] '
                    "above 0 and up to 90 degrees"
                )

    def at(self, middle: float) -> Technique:
        """This technique at a joint whose middle is at the work angle ``middle``, degrees."""
        if isinstance(self.work_angle[0], str):
            return replace(self, work_angle=(round(middle, 3) + 0.0, self.work_angle[1]))
        return self

    @property
    def work(self) -> tuple[float, float]:
        """Nominal work angle and plus or minus, as numbers.

        Raises:
            ValueError: it is at the middle of a joint that is not known yet; see ``at``.
        """
        nominal, spread = self.work_angle
        if isinstance(nominal, str):
            raise ValueError(f'technique "{self.name}": the middle of the joint is not known; ask at(middle) first')
        return nominal, spread

    def window(self, *, work_step: float = WORK_STEP, travel_step: float = TRAVEL_STEP, rolls: int = ROLLS) -> Window:
        """The positions to try, no coarser than the steps; nominal and both limits are always among them.

        Raises:
            ValueError: a step that is not positive, or no roll.
        """
        if not (work_step > 0.0 and travel_step > 0.0 and rolls >= 1):
            raise ValueError("Expected positive steps and at least 1 roll")
        works = _spread(*self.work, work_step)
        travels = _spread(*self.travel_angle, travel_step)
        senses = {"forward": (1,), "back": (-1,), "either": (1, -1)}[self.direction]
        each = np.sort(np.concatenate([sense * travels for sense in senses]) + 0.0)
        leans = np.unique(each) if self.filler_angle is None else each
        runs = tuple((sense, np.searchsorted(leans, np.sort(sense * travels))) for sense in senses)
        if len(leans) > len(np.unique(leans)):
            # The feeding hand is on another side for each way of travel: a lean that both ways have stands twice.
            runs = tuple((sense, _which(leans, np.sort(sense * travels), k)) for k, (sense, _) in enumerate(runs))
        off_travel = np.full(len(leans), np.inf)
        for sense, indices in runs:
            away = np.abs(sense * leans[indices] - self.travel_angle[0])
            off_travel[indices] = np.minimum(off_travel[indices], away)
        off_work = np.abs(works - self.work[0])
        return Window(
            works=works,
            leans=leans,
            rolls=np.arange(rolls, dtype=np.float64) * (360.0 / rolls),
            runs=runs,
            cost=np.round(np.hypot(off_work[:, None], off_travel[None, :]), 9),
            nominal_travel=float(self.travel_angle[0]),
        )


def _which(leans: Array, wanted: Array, way: int) -> NDArray[np.int64]:
    """Indices of the wanted among leans that may stand twice: the first way takes the first, the second the last."""
    side: Literal["left", "right"] = "left" if way == 0 else "right"
    return np.searchsorted(leans, wanted, side=side) - way


def _spread(nominal: float, spread: float, step: float) -> Array:
    """Evenly spaced angles from ``nominal - spread`` to ``nominal + spread``, nominal among them, rising."""
    each_side = math.ceil(spread / step - 1e-9)
    offsets = np.arange(-each_side, each_side + 1) * (spread / max(each_side, 1))
    result: Array = np.round(nominal + offsets, 9) + 0.0
    return result
