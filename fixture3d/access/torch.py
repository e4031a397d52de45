"""The welding torch from its measures, and the window of positions in which a technique lets it be held.

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
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Direction = Literal["either", "forward", "back"]

WORK_STEP = 5.0
"""Degrees between two work angles that are tried."""
TRAVEL_STEP = 5.0
"""Degrees between two travel angles that are tried."""
ROLLS = 12
"""Turns of the handle about the torch axis that are tried: every 30 degrees."""
ARC_CHORDS = 4
"""Straight pieces that the bend of the neck is made of."""


CUP_STEP = 25.4 / 16.0
"""mm of inside diameter that a cup number stands for: sixteenths of an inch, looked up; 4 is 6.35, 12 is 19.05."""
BURN = 3.0
"""mm by which the space of a holder that follows its electrode may be told too large, so that no part is left out."""
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


@dataclass(frozen=True, kw_only=True, eq=False)
class TorchBody:
    """The space a torch fills, in the torch frame, mm.

    The nozzle is an exact flat-ended cylinder about +Z from ``stand_off`` to ``stand_off + nozzle_length``: a
    rounded end would hide its front rim, which is what touches first. The rest are capsules.

    Attributes:
        stand_off: from the root to the nozzle's front.
        nozzle_radius: of the nozzle.
        nozzle_length: of the nozzle.
        starts: (m, 3) one end of each capsule's axis.
        ends: (m, 3) the other end.
        radii: (m,) capsule radii.
        labels: what each capsule is: neck, handle, hand or cap. Several handles and hands are places that they pass.
    """

    stand_off: float
    nozzle_radius: float
    nozzle_length: float
    starts: Array
    ends: Array
    radii: Array
    labels: tuple[str, ...]

    @property
    def reach(self) -> float:
        """The greatest distance from the root to any part of the torch, mm."""
        rim = math.hypot(self.stand_off + self.nozzle_length, self.nozzle_radius)
        far = np.maximum(np.linalg.norm(self.starts, axis=1), np.linalg.norm(self.ends, axis=1)) + self.radii
        return max(rim, float(far.max(initial=0.0)))


@lru_cache(maxsize=64)
def torch_body(torch: Torch, stand_off: float, chords: int = ARC_CHORDS) -> TorchBody:
    """The space that ``torch`` fills when its nozzle stands ``stand_off`` mm off the root.

    The bend of the neck is a chain of ``chords`` capsules on chords of its centre line. Each is thicker than the
    neck by the sagitta, so that the chain covers the true bend and exceeds it by no more than twice the sagitta
    (0.3 mm for a radius of 40 and 60 degrees). The handle's ends are rounded within its length. The hand is a
    capsule round the rear three quarters of the handle. Cable and hose behind the handle are not covered.

    A covered electrode burns down as it is used, and nobody knows how long it is at a given point: the body is all
    that electrode and holder fill at any length from full to stub. Its capsules stand close enough along the axis,
    and are thick enough, to cover what lies between them, and exceed it by no more than ``BURN``.

    Raises:
        ValueError: a negative stand-off or no chord.
    """
    if not (math.isfinite(stand_off) and stand_off >= 0.0):
        raise ValueError(f"Expected a stand-off of 0 or more, got {stand_off:g}")
    if chords < 1:
        raise ValueError(f"Expected at least 1 chord, got {chords}")
    bend = math.radians(torch.neck_angle)
    neck_from = stand_off + torch.nozzle_length
    straight = bend * torch.neck_radius == 0.0
    count = 1 if straight else chords
    turn = np.linspace(0.0, bend, count + 1)
    arc = np.zeros((count + 1, 3))
    arc[:, 0] = torch.neck_radius * (1.0 - np.cos(turn))
    arc[:, 2] = neck_from + torch.neck_radius * np.sin(turn)
    if straight:
        # Without a bend the neck is a straight piece of its own radius's length, at least its diameter.
        arc[1] = arc[0] + np.array([0.0, 0.0, max(torch.neck_radius, torch.neck_diameter)])
    sagitta = 0.0 if straight else torch.neck_radius * (1.0 - math.cos(bend / count / 2.0))
    axis = np.array([math.sin(bend), 0.0, math.cos(bend)])
    handle = _rounded(arc[-1], axis, 0.0, torch.handle_length, torch.handle_diameter / 2.0)
    hand = _rounded(arc[-1], axis, torch.handle_length / 4.0, torch.handle_length, torch.hand_diameter / 2.0)
    neck_radius = torch.neck_diameter / 2.0 + sagitta
    cap = np.zeros((0, 2, 3))
    if torch.back_cap > 0.0:
        cap = _rounded(arc[0], np.array([0.0, 0.0, 1.0]), 0.0, torch.back_cap, torch.back_cap_diameter / 2.0)[None]
    body = TorchBody(
        stand_off=float(stand_off),
        nozzle_radius=torch.nozzle_diameter / 2.0,
        nozzle_length=torch.nozzle_length,
        starts=np.vstack([arc[:-1], cap[:, 0], handle[:1], hand[:1]]),
        ends=np.vstack([arc[1:], cap[:, 1], handle[1:], hand[1:]]),
        radii=np.array(
            [neck_radius] * count
            + [torch.back_cap_diameter / 2.0] * len(cap)
            + [torch.handle_diameter / 2.0, torch.hand_diameter / 2.0]
        ),
        labels=("neck",) * count + ("cap",) * len(cap) + ("handle", "hand"),
    )
    return _burning(body, torch.nozzle_length - torch.stub_length) if torch.stub_length > 0.0 else body


def _burning(body: TorchBody, travel: float) -> TorchBody:
    """The body, and all that its capsules pass when they come ``travel`` mm nearer along the axis.

    A point that a capsule of radius r passes lies within r of its axis at some place, and square to the way of travel
    save at the two ends, so within hypot(r, step / 2) of the axis at the nearest of the places that are kept.
    """
    starts, ends, radii, labels = [], [], [], []
    for a, b, radius, label in zip(body.starts, body.ends, body.radii, body.labels, strict=True):
        step = 2.0 * math.sqrt((radius + BURN) ** 2 - radius**2)
        count = math.ceil(travel / step - 1e-9)
        down = np.zeros((count + 1, 3))
        down[:, 2] = -np.linspace(0.0, travel, count + 1)
        starts.append(a + down)
        ends.append(b + down)
        radii += [math.hypot(radius, travel / max(count, 1) / 2.0)] * (count + 1)
        labels += [label] * (count + 1)
    return replace(body, starts=np.vstack(starts), ends=np.vstack(ends), radii=np.array(radii), labels=tuple(labels))


@lru_cache(maxsize=64)
def with_wire(torch: TorchBody) -> TorchBody:
    """The torch with its wire, filler or arc: a thin capsule from a third of the stand-off to the nozzle.

    Without it a plate that fits between nozzle and root would be welded through. The first third is left out,
    because there the joint's own faces come as near as the wire is thick. It stands for the way of the wire only:
    room for the torch is measured without it.
    """
    if not torch.stand_off > 0.0:
        return torch
    line = np.array([[0.0, 0.0, torch.stand_off / 3.0], [0.0, 0.0, torch.stand_off]])
    return replace(
        torch,
        starts=np.vstack([line[:1], torch.starts]),
        ends=np.vstack([line[1:], torch.ends]),
        radii=np.concatenate([[WIRE_RADIUS], torch.radii]),
        labels=("wire", *torch.labels),
    )


WIRE_RADIUS = 0.5
"""mm; wires are 0.6 to 1.6 mm thick: common practice, no source."""


def _rounded(origin: Array, axis: Array, low: float, high: float, radius: float) -> Array:
    """Axis ends (2, 3) of the capsule that fills ``low`` to ``high`` along ``axis``, a sphere when too short."""
    middle = (low + high) / 2.0
    half = max(0.0, (high - low) / 2.0 - radius)
    result: Array = origin + np.outer([middle - half, middle + half], axis)
    return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """The torch positions that are tried at every point of a weld.

    A position is a work angle, a lean and a roll. The lean is the travel angle of a torch that moves along the
    path; one that moves back along it has the travel angle ``-lean``. Roll turns the torch about its own axis;
    at 0 the neck bends towards the end of the path.

    Attributes:
        works: (W,) work angles, rising, degrees.
        leans: (L,) leans, rising, degrees.
        rolls: (R,) rolls, rising from 0, degrees.
        runs: for each direction in which the technique lets the weld be run, +1 along the path or -1 back along
            it, and the indices of the leans that belong to it, rising.
        cost: (W, L) degrees away from the nominal angles, in the better of the directions.
        nominal_travel: nominal travel angle, degrees, push positive.
    """

    works: Array
    leans: Array
    rolls: Array
    runs: tuple[tuple[int, NDArray[np.int64]], ...]
    cost: Array
    nominal_travel: float

    @property
    def shape(self) -> tuple[int, int, int]:
        """(W, L, R)."""
        return len(self.works), len(self.leans), len(self.rolls)

    @property
    def positions(self) -> int:
        """Number of torch positions at one point."""
        return len(self.works) * len(self.leans) * len(self.rolls)

    def travel(self, lean: int) -> tuple[int, float]:
        """Way of travel (+1 along the path, -1 back) and travel angle of one lean, nearest to nominal."""
        ways = [(sense, float(sense * self.leans[lean]) + 0.0) for sense, leans in self.runs if lean in leans]
        return min(ways, key=lambda way: (abs(way[1] - self.nominal_travel), -way[0]))

    def nominal_first(self) -> NDArray[np.int64]:
        """(W * L,) flat indices of the directions, nominal first, ties by work angle and then lean."""
        return np.argsort(self.cost.ravel(), kind="stable").astype(np.int64)

    def local_axes(self) -> tuple[Array, Array]:
        """Torch axes and roll-zero X axes of all directions, each (W * L, 3), in the weld's own frame.

        The weld's own frame has the tangent t, the sideways direction b along the non-butting face into the open
        and the perpendicular n of that face as its axes 0, 1, 2. The torch axis is
        ``cos(lean) (cos(work) n + sin(work) b) - sin(lean) t``.
        """
        work, lean = np.meshgrid(np.deg2rad(self.works), np.deg2rad(self.leans), indexing="ij")
        axes = np.stack([-np.sin(lean), np.cos(lean) * np.sin(work), np.cos(lean) * np.cos(work)], axis=-1)
        axes = axes.reshape(-1, 3)
        xs = np.array([1.0, 0.0, 0.0]) - axes[:, :1] * axes
        xs /= np.linalg.norm(xs, axis=1)[:, None]
        return axes, xs


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
        if not (math.isfinite(self.stand_off) and self.stand_off >= 0.0):
            raise ValueError(f'technique "{self.name}": stand_off is {self.stand_off:g}; expected 0 or more')
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
