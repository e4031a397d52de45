"""The saw cuts at the ends of members: planes, from squares, stated mitres and two members meeting.

All in the weldment frame, mm, until :func:`to_piece` brings a plane into the frame of its piece.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.stock.section import Section
from fixture3d.tolerance import SHOP
from fixture3d.units import Units, show

if TYPE_CHECKING:
    from fixture3d.job.bent import Bent
    from fixture3d.scene.fields import Item
    from fixture3d.scene.schema import EndNotch, MemberHole, Slot

_AXES = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
STEEPEST = 80.0  # degrees from square; beyond that a cut is a feather edge that no saw makes


class CutImpossible(Exception):
    """A cut that cannot be made. Carries the words of an ``errors.Problem``."""

    def __init__(self, what: str, expected: str = "") -> None:
        self.what, self.expected = what, expected
        super().__init__(what)


@dataclass(frozen=True, kw_only=True)
class Cut:
    """How one end is cut.

    Attributes:
        kind: square; a stated mitre; a mitre shared with another member; a cope round one; flat against a piece.
        degrees: of a stated mitre, away from square. The saw plane is square to the member and is then turned
            by so much about ``about``, counter-clockwise seen from that axis' tip, in the centre-line's end point.
            So both ends of one sign make a parallelogram, and opposite signs a trapezium.
        about: weldment axis that lies in the cut, as near as the member's direction allows.
        to: name of the other piece.
        gap: left to it by a cope or a cut against it, mm.
        slot: sawn into the end besides, as the scene has it.
        notch: taken away at the end besides, as the scene has it.
    """

    kind: Literal["square", "mitre", "mitre_to", "cope", "against"] = "square"
    degrees: float = 0.0
    about: str = "z"
    to: str = ""
    gap: float = 0.0
    slot: Slot | None = None
    notch: EndNotch | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Run:
    """A member before its ends are cut.

    Attributes:
        name: of the member.
        item: the member or frame of the scene that it comes from.
        source: the record of the scene, for errors that point at its line.
        section: its stock.
        run_to_weldment: (4, 4); X along the centre line from its first point, section height along Z.
        length: mm between the two given points; of a bent member along its centre line.
        cuts: at the first and at the last point.
        holes: across it, as the scene has them.
        bent: centre line of a bent member in the run's frame, which is that of its first leg; None of a straight one.
    """

    name: str
    item: str
    source: Item
    section: Section
    run_to_weldment: Array
    length: float
    cuts: tuple[Cut, Cut] = (Cut(), Cut())
    holes: tuple[MemberHole, ...] = ()
    bent: Bent | None = None

    def end(self, which: int) -> tuple[Array, Array]:
        """The centre-line point of end 0 or 1, and the direction out of the member there, (3,) each."""
        along = self.run_to_weldment[:3, 0]
        start = self.run_to_weldment[:3, 3]
        return (start, -along) if which == 0 else (start + self.length * along, along)

    def reach(self, direction: Array) -> float:
        """How far the section extends from the centre line along a unit direction, mm."""
        local = direction @ self.run_to_weldment[:3, :3]
        return self.section.reach(float(local[1]), float(local[2]))


@dataclass(frozen=True, kw_only=True, eq=False)
class CutPlane:
    """One cut in the frame of its piece.

    Attributes:
        point: (3,) mm, where it crosses the centre line.
        normal: (3,) unit, out of the metal.
    """

    point: Array
    normal: Array

    def moved(self, by: Array) -> CutPlane:
        """The same cut shifted along the member."""
        return CutPlane(point=np.asarray(np.round(self.point + by, 9) + 0.0), normal=self.normal)

    @property
    def mitre(self) -> float:
        """Degrees away from a square cut: the saw's setting."""
        across = math.hypot(float(self.normal[1]), float(self.normal[2]))
        return math.degrees(math.atan2(across, abs(float(self.normal[0]))))

    @property
    def slope(self) -> tuple[float, float]:
        """How the cut's X grows with the section's Y and Z: x = point x + slope . (y, z)."""
        x, y, z = (float(v) for v in self.normal)
        return -y / x, -z / x


def plane_of(run: Run, which: int, others: dict[str, Run], units: Units = "mm") -> tuple[CutPlane, list[str]]:
    """The square or mitred cut of one end of a run in its own frame, and what a reader should know about it.

    Args:
        run: the member.
        which: end 0 or 1.
        others: every member by name, for mitres that two share.
        units: for lengths in messages.

    Raises:
        CutImpossible: the cut cannot be made.
    """
    cut = run.cuts[which]
    point, out = run.end(which)
    notes: list[str] = []
    normal = out
    if cut.kind == "mitre":
        normal = _turned(out, cut)
    elif cut.kind == "mitre_to":
        point, normal, notes = _shared(run, which, others[cut.to], units)
    return sawn(run, point, normal), notes


def sawn(run: Run, point: Array, normal: Array) -> CutPlane:
    """A flat cut through a point of the weldment frame, in the frame of a run.

    Raises:
        CutImpossible: it is too steep for a saw.
    """
    plane = to_piece(run.run_to_weldment, point, normal)
    if plane.mitre > STEEPEST:
        raise CutImpossible(
            f"its end would be cut {plane.mitre:.1f} degrees away from square", f"at most {STEEPEST:g} degrees"
        )
    return plane


def to_piece(run_to_weldment: Array, point: Array, normal: Array) -> CutPlane:
    """A plane of the weldment frame in the frame of a member, its point moved onto the centre line."""
    n: Array = normal @ run_to_weldment[:3, :3]
    # Rounded far below any tolerance, so that equal pieces get equal numbers and share one solid.
    n = np.asarray(np.round(n / float(np.linalg.norm(n)), 12) + 0.0, dtype=np.float64)
    p = (point - run_to_weldment[:3, 3]) @ run_to_weldment[:3, :3]
    x = round(float(p @ n) / float(n[0]), 9) + 0.0
    return CutPlane(point=np.array([x, 0.0, 0.0]), normal=n)


def _turned(out: Array, cut: Cut) -> Array:
    turned: Array = frame.rotation(square_axis(out, cut.about, "mitre"), cut.degrees)[:3, :3] @ out
    return turned


def square_axis(out: Array, about: str, noun: str) -> Array:
    """A weldment axis made square to the way that a member runs, (3,) unit.

    Raises:
        CutImpossible: the member runs along it.
    """
    axis = np.array(_AXES[about])
    axis = axis - out * float(axis @ out)
    if float(np.linalg.norm(axis)) < math.sin(math.radians(1.0)):
        free = " or ".join(f'"{name}"' for name in _AXES if abs(float(np.array(_AXES[name]) @ out)) < 0.999)
        raise CutImpossible(f'its {noun} is about "{about}", which is the way the member runs', f"about = {free}")
    return frame.unit(axis)


def _shared(run: Run, which: int, other: Run, units: Units) -> tuple[Array, Array, list[str]]:
    """Point and outward normal of the mitre that two members share, (3,) each, and notes.

    The plane goes through the inner and the outer corner of the two, so that both cut faces match also when the
    sections differ in width; with equal sections it halves the angle.
    """
    here, u = run.end(which)
    meeting, away = _meeting(run, here, u, other, units)
    far = min((0, 1), key=lambda i: float(np.linalg.norm(other.end(i)[0] - meeting)))
    there, v = other.end(far)
    reach = max(run.section.width, run.section.height, other.section.width, other.section.height)
    for who, end in ((run, here), (other, there)):
        gap = float(np.linalg.norm(end - meeting))
        if gap > reach:
            raise CutImpossible(
                f'its centre line meets that of "{other.name}" {show(gap, units)} away from the end of "{who.name}"',
                f"two ends within {show(reach, units)} of where the centre lines cross",
            )
    if away:  # in line with each other: a square butt halfway
        return (here + there) / 2, u, []
    inner_u, inner_v = frame.unit(-v + u * float(v @ u)), frame.unit(-u + v * float(u @ v))
    corners = [
        _corner(meeting, (sign * inner_u, run.reach(sign * inner_u)), (sign * inner_v, other.reach(sign * inner_v)))
        for sign in (1.0, -1.0)
    ]
    depth = frame.unit(np.cross(u, v))
    normal = frame.unit(np.cross(depth, corners[0] - corners[1]))
    normal = normal if float(normal @ u) > 0.0 else -normal
    notes = []
    if any(abs(run.reach(s * depth) - other.reach(s * depth)) > SHOP.contact for s in (1.0, -1.0)):
        notes.append(f'its mitre with "{other.name}" joins unequal depths: the cut faces match only in part')
    if not any(cut.kind == "mitre_to" and cut.to == run.name for cut in other.cuts):
        notes.append(f'"{other.name}" has no mitre_to = "{run.name}": only one side of the mitre is cut')
    return corners[0], normal, notes


def _meeting(run: Run, here: Array, u: Array, other: Run, units: Units) -> tuple[Array, bool]:
    """Where two centre lines meet, (3,), and whether they are in line with each other."""
    start, v = other.end(1)[0], other.end(1)[1]
    gap = start - here
    cosine = float(u @ v)
    sine2 = float(np.sum(np.cross(u, v) ** 2))
    if sine2 < math.sin(math.radians(1.0)) ** 2:
        aside = float(np.linalg.norm(gap - u * float(gap @ u)))
        ends = [other.end(i) for i in (0, 1)]
        near, out = min(ends, key=lambda e: float(np.linalg.norm(e[0] - here)))
        if aside > SHOP.contact or float(out @ u) > 0.0:
            raise CutImpossible(f'it runs the same way as "{other.name}", so that no mitre is between them')
        return (here + near) / 2, True
    s = (float(gap @ u) - cosine * float(gap @ v)) / sine2
    t = (cosine * float(gap @ u) - float(gap @ v)) / sine2
    a, b = here + s * u, start + t * v
    apart = float(np.linalg.norm(a - b))
    if apart > SHOP.contact:
        raise CutImpossible(
            f'its centre line passes that of "{other.name}" {show(apart, units)} apart',
            "centre lines that meet in one point",
        )
    return (a + b) / 2, False


def _corner(meeting: Array, one: tuple[Array, float], two: tuple[Array, float]) -> Array:
    """The point in the plane of two directions that lies the given distance along each of them, (3,)."""
    (m, a), (n, b) = one, two
    c = float(m @ n)
    k = 1.0 - c * c
    out: Array = meeting + ((a - c * b) * m + (b - c * a) * n) / k
    return out
