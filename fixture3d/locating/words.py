"""Free motions in the words of the table: which way, about what, and where a stop would end them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.features import Flat, Standing
from fixture3d.locating.lie import Lie
from fixture3d.locating.motions import Free, FreedomKind

__all__ = ["Motion", "Stop", "told", "way_in_words"]

_ALONG = float(np.cos(np.deg2rad(5.0)))  # a way this near an axis is called by it
_FACES = 0.5  # cosine; a stop stands against a face that looks this well the way of the motion
_END = 0.3  # share of half the length from the end within which a place is "at the end"
_MIDDLE = 0.15  # share of half the length from the middle within which a place is "in the middle"
_INSET = 0.9  # a stop keeps this share of the way from the middle of a face to its rim


@dataclass(frozen=True, eq=False)
class Stop:
    """Where a new locator would end a motion.

    Attributes:
        point: (3,) mm, world, on the piece's surface.
        normal: (3,) unit: the way the new locator pushes the piece.
        words: which face of the piece that is.
    """

    point: Array
    normal: Array
    words: str


@dataclass(frozen=True, eq=False)
class Motion:
    """One motion that is left to a piece.

    Attributes:
        kind: "free": nothing hinders it; "away": it leaves a stop and only a clamp would hold it; "lift": it goes up,
            so that gravity holds it; "falls": gravity drives it.
        twist: (6,) unit twist (vx, vy, vz, wx, wy, wz) about the world origin: |w| = 1 where it turns, else |v| = 1.
        words: "can slide along its length (+Y)".
        stop: what would end it; None where no flat face of the piece looks that way (a round bar that turns).
    """

    kind: FreedomKind
    twist: Array
    words: str
    stop: Stop | None


def told(motion: Free, piece: Standing, lie: Lie, down: Array) -> Motion:
    """A free motion with its words and the stop it lacks; ``down`` is (3,) unit, the way things fall."""
    words = _turn(motion, lie, down) if motion.turns else _slide(motion, lie, down)
    return Motion(motion.kind, motion.twist, words, _stop(motion, piece))


def way_in_words(way: Array) -> str:
    """A direction: ``+X`` where it is near an axis, else its three parts."""
    k = int(np.argmax(np.abs(way)))
    if abs(float(way[k])) >= _ALONG:
        return f"{'+' if way[k] > 0.0 else '-'}{'XYZ'[k]}"
    return "(" + ", ".join(f"{round(float(v), 2) + 0.0:g}" for v in way) + ")"


def _slide(motion: Free, lie: Lie, down: Array) -> str:
    way = motion.twist[:3]
    sign = way_in_words(way)
    along = lie.long and abs(float(way @ lie.axes[0])) >= _ALONG
    falls = motion.kind == "falls"
    if float(way @ down) >= _ALONG:
        return f"falls: nothing carries it ({sign})" if falls else f"can drop ({sign})"
    if float(way @ down) <= -_ALONG:
        return f"can lift off ({sign})"
    if motion.kind == "lift":
        return f"can be lifted out {'along its length ' if along else ''}({sign})"
    does = "slides down" if falls else "can slide"
    return f"{does} {'along its length' if along else 'sideways' if lie.long else 'level'} ({sign}){_off(motion)}"


def _off(motion: Free) -> str:
    return ", off its stop" if motion.kind == "away" else ""


def _turn(motion: Free, lie: Lie, down: Array) -> str:
    axis = motion.twist[3:]
    upright = abs(float(axis @ down)) >= _ALONG
    if motion.kind == "falls" and not upright:
        return f"tips over: its {_dropping(motion, lie, down)} drops"
    own = lie.long and abs(float(axis @ lie.axes[0])) >= _ALONG
    about = "the vertical" if upright else "its own length" if own else f"an axis along {way_in_words(_positive(axis))}"
    does = {"free": "can turn", "away": "can turn", "lift": "can be tipped up", "falls": "turns"}[motion.kind]
    if own and not upright:
        does = "can roll"
    sense = _sense(axis, down, upright)
    place = "" if own else _place(motion, lie)
    return f"{does} about {about}{place} ({sense}){_off(motion)}"


def _dropping(motion: Free, lie: Lie, down: Array) -> str:
    """The end or side of a piece that goes down fastest as it tips."""
    ways = [sign * axis for axis, half in zip(lie.axes, lie.size / 2.0, strict=True) for sign in (1.0, -1.0) if half]
    reach = [float(motion.velocity(lie.middle + way * lie.size[k // 2] / 2.0) @ down) for k, way in enumerate(ways)]
    first = int(np.argmax(np.round(reach, 6)))
    if first < 2 and lie.long:
        return _end(ways[first])
    way = ways[first] - down * float(ways[first] @ down)
    if float(np.linalg.norm(way)) < _END:
        way = motion.velocity(lie.middle)
        way = way - down * float(way @ down)
    return f"side towards {way_in_words(_unit(way))}"


def _sense(axis: Array, down: Array, upright: bool) -> str:
    if upright:
        return "clockwise seen from above" if float(axis @ down) > 0.0 else "counter-clockwise seen from above"
    return f"right-handed about {way_in_words(axis)}"


def _positive(way: Array) -> Array:
    return way if way[np.argmax(np.abs(way))] > 0.0 else -way


def _place(motion: Free, lie: Lie) -> str:
    """Where along the piece the axis of a turn lies."""
    axis = motion.twist[3:]
    pivot = lie.middle + np.cross(axis, motion.velocity(lie.middle))
    if not lie.long or abs(float(axis @ lie.axes[0])) > 1.0 - 0.3:
        near = float(np.linalg.norm(pivot - lie.middle)) <= _MIDDLE * float(lie.size.max()) / 2.0
        return (
            " through its middle" if near else f" beside its middle ({way_in_words(_unit(pivot - lie.middle))} of it)"
        )
    share = float((pivot - lie.middle) @ lie.axes[0]) / (float(lie.size[0]) / 2.0)
    off = float(np.linalg.norm(pivot - lie.middle - lie.axes[0] * float((pivot - lie.middle) @ lie.axes[0])))
    if off > max(float(lie.size[1]), 0.1 * float(lie.size[0])):
        return f" beside it ({way_in_words(_unit(pivot - lie.middle))} of its middle)"
    if abs(share) <= _MIDDLE:
        return " through its middle"
    end = _end(lie.axes[0] * np.sign(share))
    if abs(share) > 1.0 + _END:
        return f" beyond its {end}"
    return f" at its {end}" if abs(share) >= 1.0 - _END else f" between its middle and its {end}"


def _end(way: Array) -> str:
    """The end of a piece that lies this way: left and right, near and far as seen from the front of the table."""
    k = int(np.argmax(np.abs(way).round(6)))
    name = (("left", "right"), ("near", "far"), ("lower", "upper"))[k][int(way[k] > 0.0)]
    return f"{name} end"


def _unit(way: Array) -> Array:
    found: Array = way / max(float(np.linalg.norm(way)), 1e-12)
    return found


def _stop(motion: Free, piece: Standing) -> Stop | None:
    """The place on a flat face that the motion drives outwards most, for its unit of motion."""
    best: tuple[float, Array, Array] | None = None
    for k, one in enumerate(piece.features.all):
        if not isinstance(one, Flat) or one.area < 1.0:
            continue
        place = piece.frames[k]
        normal = place[:3, 2]
        if motion.turns:
            point, speed = _fastest(motion, one, place)
            score = speed
        else:
            speed = float(motion.twist[:3] @ normal)
            point = frame.points(place, np.array([*_inside(one), 0.0]))
            # Of faces that look the same way the outermost: inner faces of a tube are no place for a stop.
            score = speed * 1e6 + float(point @ normal) if speed >= _FACES else -1.0
        if score > 1e-6 and (best is None or score > best[0] * (1.0 + 1e-9)) and _outer(piece, point, normal):
            best = score, point, normal
    if best is None:
        return None
    return Stop(best[1], -best[2] + 0.0, f"against its {way_in_words(best[2])} face")


def _fastest(motion: Free, flat: Flat, place: Array) -> tuple[Array, float]:
    """The point of a flat, a little inside its rim, that a turn drives outwards fastest, and how fast, mm a radian."""
    rim = flat.triangles.reshape(-1, 2)
    middle = rim.mean(axis=0) if len(rim) else np.zeros(2)
    inner = middle + (rim - middle) * _INSET
    points = frame.points(place, np.column_stack([inner, np.zeros(len(inner))]))
    speeds = motion.velocity(points) @ place[:3, 2]
    fastest = speeds >= speeds.max() - 1e-3
    return np.unique(points[fastest].round(6), axis=0).mean(axis=0), float(speeds.max())


def _inside(flat: Flat) -> tuple[float, float]:
    """A place in a flat near its middle."""
    middle = flat.outline.centroid
    found = middle if flat.outline.contains(middle) else flat.outline.representative_point()
    return float(found.x), float(found.y)


def _outer(piece: Standing, point: Array, normal: Array) -> bool:
    """Whether a place on the surface looks out of the piece and not at another wall of it: a ray on the triangles."""
    corners = piece.features.corners
    origin = frame.points(frame.inverse(piece.pose), point)
    way = piece.pose[:3, :3].T @ normal
    a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across = np.cross(way, v)
    scale = np.einsum("ij,ij->i", u, across)
    meets = np.abs(scale) > 1e-9
    scale = np.where(meets, scale, 1.0)
    step = origin - a
    s = np.einsum("ij,ij->i", step, across) / scale
    turned = np.cross(step, u)
    t = turned @ way / scale
    far = np.einsum("ij,ij->i", v, turned) / scale
    hit = meets & (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0) & (far > 0.1)
    return not bool(hit.any())
