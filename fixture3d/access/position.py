r"""The welding position of a weld as it lies: flat, horizontal, vertical or overhead, in ISO 6947 and AWS names.

Two angles tell it. The slope is how far the weld's axis is off the level, 0 to 90 degrees. The tilt is how far its
face leans from the upmost direction square to the axis, 0 (face up) to 180 (face down); AWS charts count the other
way round, ``rotation = 180 - tilt``, so that 180 is face up.

```
   face   ^ up        tilt 0: flat            up ^   slope: between
      \   |           45: fillet in a T          |  / the axis and
       \  |           90: on a wall              | /  the level
   tilt \ |           180: overhead              |/____ level
```

Fillets and laps are judged as fillet welds (F), all others as groove welds (G). numpy only.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from fixture3d import frame
from fixture3d.access.arrays import Array, Ints
from fixture3d.access.welds import Weld, WeldPoints, joint_frame, middle_angle, weld_points
from fixture3d.tolerance import NUMERIC, SHOP

Iso = Literal["PA", "PB", "PC", "PD", "PE", "PF", "PG"]

FILLETS: Final = ("fillet", "lap")
"""Types judged as fillet welds. A flare is a groove weld in AWS A3.0; corner and edge are taken as such too."""

ORDER: Final[tuple[Iso, ...]] = ("PA", "PB", "PC", "PF", "PG", "PD", "PE")
"""From easy to hard: flat, horizontal, vertical, overhead; common practice, no source."""

LEVEL: Final = 15.0
"""Greatest slope of a flat or horizontal weld. AWS A3.0 / D1.1 position charts, from memory; ISO 6947 the same."""
STEEP: Final = 80.0
"""A steeper weld is vertical however its face is turned: AWS code figure, looked up in an excerpt."""
FLAT: Final = 30.0
"""Greatest tilt of a flat weld (AWS rotation 150 to 210). AWS charts, from memory; ISO 6947 PA: plus or minus 30."""
AWS_OVERHEAD: Final = {"F": 55.0, "G": 100.0}
"""Tilt from which on a weld is overhead (AWS rotation below 125, or below 80). AWS charts, fillet from memory."""
ISO_PB: Final = 55.0
"""Greatest tilt of PB: 45, and 10 away from PA. ISO 6947:2011 production limits, from memory, low confidence."""
ISO_OVERHEAD: Final = 100.0
"""Tilt from which on a weld is PD or PE: 90, and 10 away from PA. As ``ISO_PB``.

Between tilts of 55 and 100 a fillet is PC by ISO and overhead (4F) by AWS: the two standards differ.
"""
TEST_SLOPE: Final = 5.0
TEST_TILT: Final = 10.0
"""What a test weld may be off its position's nominal angles: ISO 6947:2011, 3.2 and 3.3, looked up in an extract."""
_NOMINAL: Final = {"PA": 0.0, "PB": 45.0, "PC": 90.0, "PD": 135.0, "PE": 180.0}

_AWS: Final = {"flat": "1", "horizontal": "2", "vertical": "3", "overhead": "4"}


@dataclass(frozen=True, kw_only=True)
class Turn:
    """How the weldment would have to be turned from where it lies.

    Attributes:
        axis: "X" or "Y" of the table; a turn about Z changes no position.
        angle: degrees, counter-clockwise seen from the tip of the axis, above -180 and up to 180.
        iso: the position that most of the weld has then.
        length: mm of the weld in that position or an easier one.
    """

    axis: str
    angle: float
    iso: Iso
    length: float


@dataclass(frozen=True, kw_only=True)
class Position:
    """The welding position of one weld.

    Attributes:
        iso: ISO 6947 name of the position that most of the length has.
        aws: AWS name of the same, such as 2F.
        slope: degrees of the axis off the level, where the face is most tilted.
        tilt: greatest tilt of the face, degrees; 0 is face up. AWS rotation is 180 less this.
        as_tested: all of it within what ISO 6947 allows a test weld.
        lengths: mm in each ISO position, longest first.
        turn: the turn about a table axis that brings most of it flat, or horizontal when none brings it flat; None
            when it is flat, or no turn is better.
    """

    iso: Iso
    aws: str
    slope: float
    tilt: float
    as_tested: bool
    lengths: tuple[tuple[Iso, float], ...]
    turn: Turn | None

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return {
            "iso": self.iso,
            "aws": self.aws,
            "slope": self.slope,
            "rotation": round(180.0 - self.tilt, 3),
            "as_tested": self.as_tested,
            "lengths": [{"iso": name, "length": length} for name, length in self.lengths],
            "turn": vars(self.turn).copy() if self.turn is not None else None,
        }


def slope_and_tilt(axes: ArrayLike, faces: ArrayLike) -> tuple[Array, Array]:
    """Slope and tilt of welds, degrees.

    Args:
        axes: (..., 3) directions of the weld; the sign does not matter.
        faces: (..., 3) outward middles of the weld's face.

    Returns:
        Slope 0 to 90 and tilt 0 to 180, (...,). Of an upright weld the tilt has no meaning and is 90.
    """
    a = np.asarray(axes, dtype=np.float64)
    f = np.asarray(faces, dtype=np.float64)
    a = a / np.linalg.norm(a, axis=-1, keepdims=True)
    rise = np.clip(a[..., 2], -1.0, 1.0)
    slope = np.rad2deg(np.arctan2(np.abs(rise), np.hypot(a[..., 0], a[..., 1])))
    up = np.array([0.0, 0.0, 1.0]) - rise[..., None] * a
    across = f - np.einsum("...i,...i->...", f, a)[..., None] * a
    side = np.linalg.norm(np.cross(up, across), axis=-1)
    over = np.einsum("...i,...i->...", up, across)
    tilt = np.where(slope > 90.0 - NUMERIC.angle, 90.0, np.rad2deg(np.arctan2(side, over)))
    return slope, tilt


def ranks(slope: ArrayLike, tilt: ArrayLike, kind: str) -> Ints:
    """Index into ``ORDER`` of the ISO position, vertical up taken for vertical; a limit belongs to the easier one.

    Args:
        slope: (...,) degrees.
        tilt: (...,) degrees.
        kind: type of the weld.
    """
    s = np.asarray(slope, dtype=np.float64) - NUMERIC.angle
    r = np.asarray(tilt, dtype=np.float64) - NUMERIC.angle
    fillet = kind in FILLETS
    # A fillet on a wall is PC: no groove is PB, no fillet PE.
    level = np.where(r <= FLAT, 0, np.where((r <= ISO_PB) & fillet, 1, 2))
    out = np.where(s <= LEVEL, level, ORDER.index("PF"))
    out = np.where((s <= STEEP) & (r > ISO_OVERHEAD), ORDER.index("PD" if fillet else "PE"), out)
    return np.asarray(out, dtype=np.int64)


def iso_name(slope: float, tilt: float, kind: str, *, down: bool = False) -> Iso:
    """ISO 6947 name; ``down`` for a vertical weld that is run downwards."""
    name = ORDER[int(ranks(slope, tilt, kind))]
    return "PG" if name == "PF" and down else name


def aws_name(slope: float, tilt: float, kind: str) -> str:
    """AWS name, such as 2F; AWS does not tell vertical up from down in the name."""
    letter = "F" if kind in FILLETS else "G"
    s, r = slope - NUMERIC.angle, tilt - NUMERIC.angle
    if s > STEEP or (s > LEVEL and r <= AWS_OVERHEAD[letter]):
        return _AWS["vertical"] + letter
    if r > AWS_OVERHEAD[letter]:
        return _AWS["overhead"] + letter
    return _AWS["flat" if r <= FLAT else "horizontal"] + letter


def face_middles(weld: Weld, points: WeldPoints) -> Array:
    """Outward middle of the opening at each point of a weld, (k, 3), of length 1."""
    path = np.asarray(weld.path, dtype=np.float64)
    parts = np.diff(path, axis=0)
    sides = np.broadcast_to(np.asarray(weld.sides, dtype=np.float64), (len(parts), 2, 3))
    ends = np.cumsum(np.linalg.norm(parts, axis=1))
    whole = [k for k, part in enumerate(parts) if np.linalg.norm(part) > NUMERIC.merge]
    angles = {k: np.deg2rad(middle_angle(parts[k], sides[k])) for k in whole}
    tangents = {k: joint_frame(parts[k], sides[k])[:, 0] for k in whole}
    out = []
    for at, axes in zip(points.along, points.frames, strict=True):
        # Of the two parts that meet in a vertex the one that this point's own frame looks along.
        near = [k for k in whole if ends[k] - np.linalg.norm(parts[k]) - 1e-6 <= at <= ends[k] + 1e-6] or whole
        k = max(near, key=lambda part: float(tangents[part] @ axes[:, 0]))
        out.append(np.cos(angles[k]) * axes[:, 2] + np.sin(angles[k]) * axes[:, 1])
    return np.array(out)


def welding_position(weld: Weld, points: WeldPoints, *, direction: str = "either") -> Position:
    """The position of a weld as it lies, and the turn that would make it easier.

    A vertical weld is taken as run upwards unless the technique's ``direction`` along the path makes it run down.
    """
    axes, faces = points.frames[:, :, 0], face_middles(weld, points)
    slope, tilt = slope_and_tilt(axes, faces)
    sense = {"forward": 1.0, "back": -1.0}.get(direction, 0.0)
    names = [
        iso_name(float(s), float(r), weld.type, down=bool(sense * axis[2] < 0.0))
        for s, r, axis in zip(slope, tilt, axes, strict=True)
    ]
    lengths: dict[Iso, float] = {}
    for name, length in zip(names, points.lengths, strict=True):
        lengths[name] = lengths.get(name, 0.0) + float(length)
    ordered = sorted(lengths.items(), key=lambda item: (-round(item[1], 6), ORDER.index(item[0])))
    most = ordered[0][0]
    of_most = [k for k, name in enumerate(names) if name == most]
    first = of_most[int(np.round(tilt[of_most], 6).argmax())]
    return Position(
        iso=most,
        aws=aws_name(float(slope[first]), float(tilt[first]), weld.type),
        slope=round(float(slope[first]), 3),
        tilt=round(float(tilt[first]), 3),
        as_tested=all(_as_tested(n, float(s), float(r)) for n, s, r in zip(names, slope, tilt, strict=True)),
        lengths=tuple((name, round(length, 6)) for name, length in ordered),
        turn=best_turn([(weld.type, axes, faces, points.lengths)]),
    )


def _as_tested(name: Iso, slope: float, tilt: float) -> bool:
    if name in ("PF", "PG"):
        return slope >= 90.0 - TEST_SLOPE - NUMERIC.angle
    return slope <= TEST_SLOPE + NUMERIC.angle and abs(tilt - _NOMINAL[name]) <= TEST_TILT + NUMERIC.angle


Lines = tuple[str, Array, Array, Array]
"""Type of a weld, and of each of its points the axis (k, 3), the face's middle (k, 3) and the length (k,)."""


def best_turn(welds: Sequence[Lines]) -> Turn | None:
    """The turn about X or Y that brings the most length flat; if none brings more of it flat, flat or horizontal.

    Whole degrees are tried. Of turns that bring as much, right angles come first, then the one whose faces lie
    most nearly in the middle of their positions, then the smallest. None when no turn is better.
    """
    for target in (0, ORDER.index("PC")):
        lying = _lying_within(welds, target)
        found = [pair for axis in ("X", "Y") for pair in _turned(welds, axis, target, lying)]
        if found:
            return min(found, key=lambda item: item[0])[1]
    return None


@dataclass(frozen=True, kw_only=True)
class WholeTurn:
    """A turn of the whole work that makes welding easier.

    Attributes:
        turn: of the work; its ``length`` is that of all welds.
        flat: whether that length is flat then; else flat or horizontal.
        now: mm that lie so as the work is.
        total: mm of all welds.
    """

    turn: Turn
    flat: bool
    now: float
    total: float


LEAST_GAIN: Final = 0.1
"""Share of all weld length that a turn of the whole work must bring for it to be named; common practice, no source."""


def turn_of_all(welds: Sequence[Weld]) -> WholeTurn | None:
    """The turn about X or Y that brings most length of some welds flat, or flat or horizontal; None for little gain."""
    lines: list[Lines] = []
    for weld in welds:
        points = weld_points(weld, SHOP.weld_step)
        lines.append((weld.type, points.frames[:, :, 0], face_middles(weld, points), points.lengths))
    turn = best_turn(lines)
    if turn is None:
        return None
    axes = frame.rotation((1, 0, 0) if turn.axis == "X" else (0, 1, 0), turn.angle)[:3, :3]
    after = [(kind, a @ axes.T, f @ axes.T, lengths) for kind, a, f, lengths in lines]
    flat = _lying_within(after, 0) > _lying_within(lines, 0) + NUMERIC.merge
    now = _lying_within(lines, 0 if flat else ORDER.index("PC"))
    total = sum(float(lengths.sum()) for *_, lengths in lines)
    return WholeTurn(turn=turn, flat=flat, now=now, total=total) if turn.length - now >= LEAST_GAIN * total else None


def _lying_within(welds: Sequence[Lines], target: int) -> float:
    """Mm of welds that have at most the rank ``target``."""
    return sum(float(lengths @ (_ranks_of(kind, a, f) <= target)) for kind, a, f, lengths in welds)


def _turned(welds: Sequence[Lines], axis: str, target: int, lying: float) -> Iterator[tuple[tuple[float, ...], Turn]]:
    """Turns about one axis after which more than ``lying`` mm have at most the rank ``target``, and what to rank by."""
    angles, turns = _ANGLES, _turns(axis)
    eased, off = np.zeros(len(angles)), np.zeros(len(angles))
    counts = np.zeros((len(angles), target + 1))
    for kind, a, f, lengths in welds:
        same, which = np.unique(np.round(np.hstack([a, f]), 9), axis=0, return_inverse=True)
        owned = np.bincount(which.ravel(), lengths)
        slope, tilt = slope_and_tilt(*(np.einsum("aij,kj->aki", turns, v) for v in (same[:, :3], same[:, 3:])))
        rank = ranks(slope, tilt, kind)
        easy = rank <= target
        eased += easy @ owned
        nominal = np.array([_NOMINAL.get(name, 0.0) for name in ORDER])[rank]
        off += (easy * (np.abs(tilt - nominal) + slope)) @ owned
        counts += np.stack([(rank == k) @ owned for k in range(target + 1)], axis=1)
    for k in np.flatnonzero((eased > lying + NUMERIC.merge) & (angles != 0)):
        angle = float(angles[k])
        tidy = (float(angle % 90 != 0), round(float(off[k] / eased[k]), 3), abs(angle), -angle)
        iso = ORDER[int(counts[k].argmax())]
        yield (
            (-round(float(eased[k]), 3), *tidy),
            Turn(axis=axis, angle=angle, iso=iso, length=round(float(eased[k]), 6)),
        )


_ANGLES: Final = np.arange(-179, 181)


@lru_cache(maxsize=2)
def _turns(axis: str) -> Array:
    """Rotations (a, 3, 3) about a table axis, one for each of the angles."""
    vector = (1, 0, 0) if axis == "X" else (0, 1, 0)
    return np.stack([frame.rotation(vector, float(angle))[:3, :3] for angle in _ANGLES])


def _ranks_of(kind: str, axes: Array, faces: Array) -> Ints:
    return ranks(*slope_and_tilt(axes, faces), kind)


def in_words(position: Mapping[str, Any]) -> str:
    """A row's position, as ``PB/2F``, with the others that part of the weld has."""
    more = [other["iso"] for other in position["lengths"][1:]]
    return f"{position['iso']}/{position['aws']}" + (f" (partly {', '.join(more)})" if more else "")
