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

    def __post_init__(self) -> None:
        for field in fields(self):
            if field.name == "name":
                continue
            value = getattr(self, field.name)
            may_be_zero = field.name in ("neck_angle", "neck_radius")
            if not math.isfinite(value) or value < 0.0 or (value == 0.0 and not may_be_zero):
                raise ValueError(
                    f'torch "{self.name}": {field.name} is {value:g}; expected a '
                    f"{'number of 0 or more' if may_be_zero else 'positive number'}"
                )
        if self.neck_angle > 150.0:
            raise ValueError(
                f'torch "{self.name}": neck_angle is {self.neck_angle:g} degrees; expected 0 (straight) to 150'
            )
        if self.nozzle_length + self.handle_length + self.neck_radius > 3000.0:
            raise ValueError(f'torch "{self.name}" is longer than 3 m; expected measures in mm')


SHIPPED: dict[str, Torch] = {
    torch.name: torch
    for torch in (
        # Nozzle 18 to 28 outside, neck tube 15 to 20, neck 45 or 60 degrees, handle 35 to 45 by 120 to 180, hand
        # 90 to 120: common practice, no source. "Barrel about 20 mm, at 60 degrees to the handle": Steel Designers'
        # Manual, 6th edition, p. 693.
        Torch(
            name="mig-60",
            nozzle_diameter=20.0,
            nozzle_length=60.0,
            neck_angle=60.0,
            neck_radius=40.0,
            neck_diameter=16.0,
            handle_diameter=38.0,
            handle_length=180.0,
            hand_diameter=90.0,
        ),
        Torch(
            name="mig-45",
            nozzle_diameter=20.0,
            nozzle_length=60.0,
            neck_angle=45.0,
            neck_radius=40.0,
            neck_diameter=16.0,
            handle_diameter=38.0,
            handle_length=180.0,
            hand_diameter=90.0,
        ),
        # Cup number 6 is 9.53 mm inside (cup number = sixteenths of an inch), 5 mm more outside: common practice,
        # no source. A pencil torch: no back cap stands out. The hand that feeds filler is not part of it.
        Torch(
            name="tig-straight",
            nozzle_diameter=14.5,
            nozzle_length=45.0,
            neck_angle=0.0,
            neck_radius=0.0,
            neck_diameter=16.0,
            handle_diameter=22.0,
            handle_length=150.0,
            hand_diameter=90.0,
        ),
        # Electrodes are 350 or 450 mm long: Steel Designers' Manual. Core 4 mm, about 6 mm over the coating, 30 mm
        # of it in the holder: common practice, no source. Only the full length is tried, not the burnt-down stub.
        Torch(
            name="stick-350",
            nozzle_diameter=6.0,
            nozzle_length=320.0,
            neck_angle=90.0,
            neck_radius=20.0,
            neck_diameter=25.0,
            handle_diameter=35.0,
            handle_length=200.0,
            hand_diameter=100.0,
        ),
    )
}
"""Torches that a scene may name without describing them."""


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
        labels: what each capsule is: neck, handle or hand.
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


def torch_body(torch: Torch, stand_off: float, chords: int = ARC_CHORDS) -> TorchBody:
    """The space that ``torch`` fills when its nozzle stands ``stand_off`` mm off the root.

    The bend of the neck is a chain of ``chords`` capsules on chords of its centre line. Each is thicker than the
    neck by the sagitta, so that the chain covers the true bend and exceeds it by no more than twice the sagitta
    (0.3 mm for a radius of 40 and 60 degrees). The handle's ends are rounded within its length. The hand is a
    capsule round the rear three quarters of the handle. Cable and hose behind the handle are not covered.

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
    return TorchBody(
        stand_off=float(stand_off),
        nozzle_radius=torch.nozzle_diameter / 2.0,
        nozzle_length=torch.nozzle_length,
        starts=np.vstack([arc[:-1], handle[:1], hand[:1]]),
        ends=np.vstack([arc[1:], handle[1:], hand[1:]]),
        radii=np.array([neck_radius] * count + [torch.handle_diameter / 2.0, torch.hand_diameter / 2.0]),
        labels=("neck",) * count + ("handle", "hand"),
    )


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
        work_angle: nominal and plus or minus, degrees from the perpendicular of the non-butting face.
        travel_angle: nominal and plus or minus, degrees, push positive.
        stand_off: from the joint root to the nozzle's front, mm.
        direction: along the path ("forward"), back along it, or either.

    Raises:
        ValueError: a value that no weld could be run with.
    """

    name: str
    torch: str
    work_angle: tuple[float, float]
    travel_angle: tuple[float, float]
    stand_off: float
    direction: Direction = "either"

    def __post_init__(self) -> None:
        for label, (nominal, spread), most in (
            ("work_angle", self.work_angle, 120.0),
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

    def window(self, *, work_step: float = WORK_STEP, travel_step: float = TRAVEL_STEP, rolls: int = ROLLS) -> Window:
        """The positions to try, no coarser than the steps; nominal and both limits are always among them.

        Raises:
            ValueError: a step that is not positive, or no roll.
        """
        if not (work_step > 0.0 and travel_step > 0.0 and rolls >= 1):
            raise ValueError("Expected positive steps and at least 1 roll")
        works = _spread(*self.work_angle, work_step)
        travels = _spread(*self.travel_angle, travel_step)
        senses = {"forward": (1,), "back": (-1,), "either": (1, -1)}[self.direction]
        leans = np.unique(np.concatenate([sense * travels for sense in senses]) + 0.0)
        runs = tuple((sense, np.searchsorted(leans, np.sort(sense * travels))) for sense in senses)
        off_travel = np.full(len(leans), np.inf)
        for sense, indices in runs:
            away = np.abs(sense * leans[indices] - self.travel_angle[0])
            off_travel[indices] = np.minimum(off_travel[indices], away)
        off_work = np.abs(works - self.work_angle[0])
        return Window(
            works=works,
            leans=leans,
            rolls=np.arange(rolls, dtype=np.float64) * (360.0 / rolls),
            runs=runs,
            cost=np.round(np.hypot(off_work[:, None], off_travel[None, :]), 9),
            nominal_travel=float(self.travel_angle[0]),
        )


def _spread(nominal: float, spread: float, step: float) -> Array:
    """Evenly spaced angles from ``nominal - spread`` to ``nominal + spread``, nominal among them, rising."""
    each_side = math.ceil(spread / step - 1e-9)
    offsets = np.arange(-each_side, each_side + 1) * (spread / max(each_side, 1))
    result: Array = np.round(nominal + offsets, 9) + 0.0
    return result


TECHNIQUES: dict[str, Technique] = {
    technique.name: technique
    for technique in (
        # 45 degrees for fillets with equal legs, 0 for butts: Modern Welding (textbook). Gas metal arc travel angle 5
        # to 15 degrees is good: machine manuals. Plus or minus and stand-off: common practice, no source.
        Technique(name="corner", torch="mig-60", work_angle=(45, 15), travel_angle=(10, 15), stand_off=15),
        Technique(name="butt", torch="mig-60", work_angle=(0, 15), travel_angle=(10, 15), stand_off=15),
        # 15 to 20 degrees push: GTAW handbook, ch. 8.
        Technique(name="tig-corner", torch="tig-straight", work_angle=(45, 15), travel_angle=(15, 10), stand_off=6),
        Technique(name="tig-butt", torch="tig-straight", work_angle=(0, 15), travel_angle=(15, 10), stand_off=6),
        # A dragged stick leans 5 to 25 degrees; arc about one core diameter: common practice, no source.
        Technique(name="stick-corner", torch="stick-350", work_angle=(45, 15), travel_angle=(-15, 10), stand_off=4),
        Technique(name="stick-butt", torch="stick-350", work_angle=(0, 15), travel_angle=(-15, 10), stand_off=4),
    )
}
"""Techniques that a scene may name without describing them; "corner" is the default."""
