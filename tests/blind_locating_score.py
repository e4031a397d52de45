"""Scores one blind case: builds it, asks the program, and says what does not agree with the written answer."""

from __future__ import annotations

import functools
import zlib
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d import Located, locate_piece, way_out
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import LOCATING
from tests.blind_channel_cases import CASES as CHANNELS
from tests.blind_leaving_cases import CASES as LEAVING
from tests.blind_locating_case import Case, Setup, Way, vector
from tests.blind_locating_cases import CASES as BOXES
from tests.blind_round_cases import CASES as ROUNDS
from tests.blind_seat_cases import CASES as SEATS

Array = NDArray[np.float64]
CASES = (*BOXES, *ROUNDS, *SEATS, *LEAVING, *CHANNELS)
ARM = 100.0
"""mm that turn angles into lengths."""
NEAR = float(np.cos(np.radians(3)))


@functools.cache
def setup(name: str) -> Setup:
    """A case's solids, made once."""
    return next(case for case in CASES if case.name == name).build()


_SHAPES: dict[int, tuple[object, Shape]] = {}


def shape(solid: Any) -> Shape:
    """A solid as the program keeps it, read once."""
    if id(solid) not in _SHAPES:
        _SHAPES[id(solid)] = solid, Shape.of(solid)
    return _SHAPES[id(solid)][1]


# ---- moving things ----


def about(axis: Sequence[float], degrees: float, at: Sequence[float], shift: Sequence[float]) -> Array:
    """A turn about an axis through a point, then a shift."""
    k = np.array(axis, float) / np.linalg.norm(axis)
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    a = np.radians(degrees)
    out = np.eye(4)
    out[:3, :3] += np.sin(a) * cross + (1 - np.cos(a)) * cross @ cross
    out[:3, 3] = np.array(at) - out[:3, :3] @ at + shift
    return out


def stood(name: str, solid: Any, by: Array, jitter: bool) -> Placed:
    """A solid where it stands; out of place by 0.1 mm and 0.1 degree, each body its own way, if asked."""
    if not jitter or name == "table":
        return Placed(name, shape(solid), by)
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    way, axis = rng.normal(size=(2, 3))
    corners = shape(solid).mesh.vertices
    middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
    return Placed(name, shape(solid), by @ about(axis, 0.1, middle, 0.1 * way / np.linalg.norm(way)))


def moved(solid: Any, by: Array) -> Any:
    """A plain solid or mesh, moved."""
    if hasattr(solid, "apply_transform"):
        return solid.copy().apply_transform(by)
    import cadquery as cq

    return solid.moved(cq.Location(cq.Plane(tuple(by[:3, 3]), tuple(by[:3, 0]), tuple(by[:3, 2]))))


def carry(twist: Iterable[float], by: Array) -> Array:
    """A twist about the world origin, moved along."""
    v, w = np.array(list(twist), float).reshape(2, 3) @ by[:3, :3].T
    return np.concatenate([v + np.cross(by[:3, 3], w), w])


# ---- judging ----


def least(twist: Array, points: Array, normals: Array) -> float:
    """How much a motion goes into the contacts: 0 for none, to -1."""
    if not len(points):
        return 0.0
    speed = twist[:3] + np.cross(twist[3:], points)
    return float((speed * normals).sum(axis=1).min() / max(1e-9, np.linalg.norm(speed, axis=1).max()))


def scaled(twists: Sequence[Array], at: Array) -> Array:
    """Unit rows (velocity at a point, turn times ARM)."""
    rows = np.array([np.concatenate([t[:3] + np.cross(t[3:], at), ARM * t[3:]]) for t in twists]).reshape(-1, 6)
    return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True))


def off_span(rows: Array, basis: Array) -> Array:
    """How far each row is from the span of the basis."""
    if not len(basis):
        return np.ones(len(rows))
    q = np.linalg.qr(basis.T)[0]
    return np.asarray(np.linalg.norm(rows - rows @ q @ q.T, axis=1))


def judge_free(case: Case, found: Located, by: Array, slack: float) -> list[str]:
    """The free motions, both ways."""
    motions = list(found.free_motions)
    at = found.lie.mass
    basis = scaled([carry(twist, by) for twist in case.free], at)
    pool = [m.twist for m in motions if m.kind == "free" or (case.rests is False and m.kind == "falls")]
    rows = scaled(pool, at)
    off = off_span(rows, basis) if len(rows) else np.zeros(0)
    if case.rests is False:
        rows = rows[off < slack]
    elif len(off) and off.max() > slack:
        return [f"a free motion is not among those expected (off by {off.max():.3f})"]
    kept = int(np.linalg.matrix_rank(rows, tol=0.05)) if len(rows) else 0
    wrong = [] if kept == len(case.free) else [f"free motions span {kept}, expected {len(case.free)}"]
    if case.rests is not False and len(rows) != 2 * len(case.free):
        wrong.append(f"{len(rows)} free motions, expected {2 * len(case.free)}")
    return wrong


def judge_motions(case: Case, found: Located, by: Array, slack: float) -> list[str]:
    """Free motions, those allowed and stopped, and how the list names them."""
    wrong = judge_free(case, found, by, slack)
    hand = np.array(case.touch, float).reshape(-1, 6)
    points, normals = hand[:, :3] @ by[:3, :3].T + by[:3, 3], hand[:, 3:] @ by[:3, :3].T
    for motion in found.free_motions:
        if least(motion.twist, points, normals) < -slack:
            wrong.append(f"{motion.words}: stopped by the written contacts")
        size = np.linalg.norm(motion.twist[3:]) or np.linalg.norm(motion.twist[:3])
        if abs(size - 1) > 1e-6:
            wrong.append(f"{motion.words}: not a unit twist")
    seen = [(p, c.normal) for c in found.contacts if not c.doubt for p in c.points]
    points, normals = (np.array(part, float).reshape(-1, 3) for part in (zip(*seen, strict=True) if seen else ([], [])))
    wrong += [f"{t} should be left to it" for t in case.can if least(carry(t, by), points, normals) < -slack]
    wrong += [f"{t} should be stopped" for t in case.cannot if least(carry(t, by), points, normals) > -slack]
    for way, kind in case.listed.items():
        to = by[:3, :3] @ vector(way) / np.linalg.norm(vector(way))
        straight = [m for m in found.free_motions if np.linalg.norm(m.twist[3:]) < 1e-6 and m.twist[:3] @ to > NEAR]
        if [m.kind for m in straight] != [kind]:
            wrong.append(f"{way} listed as {[m.kind for m in straight]}, expected {kind}")
    return wrong


def judge_rest(case: Case, found: Located, gravity: Array) -> list[str]:
    """Rest, and that it falls exactly where it does not rest."""
    if case.rests is None:
        return []
    wrong = [] if found.rests is case.rests else [f"rests {found.rests}"]
    falls = [m for m in found.free_motions if m.kind == "falls"]
    if case.rests == bool(falls):
        wrong.append(f"falls listed: {len(falls)}")
    power = [gravity @ (m.twist[:3] + np.cross(m.twist[3:], found.lie.mass)) for m in falls]
    return wrong + ["a fall that does not go down"] * any(p <= 0 for p in power)


def judge_pairs(case: Case, found: Located) -> list[str]:
    """Opposed pairs, doubts, and too many locators."""
    pairs = {frozenset(o.fixed) for o in found.opposed}
    wrong = []
    if case.opposed is not None and pairs != {frozenset(p) for p in case.opposed}:
        wrong.append(f"opposed {sorted(map(sorted, pairs))}")
    wrong += [f"{p} not opposed" for p in case.opposed_in if frozenset(p) not in pairs]
    if case.over is not None and bool(found.over) is not case.over:
        wrong.append(f"over {[o.words for o in found.over]}")
    missing = set(case.doubts) - {doubt.fixed for doubt in found.doubts}
    return wrong + [f"no doubt about {name}" for name in missing]


def judge_leaving(case: Case, found: Located, by: Array, slack: float) -> list[str]:
    """The ways out that were found."""
    ways = np.asarray(found.can_leave, float).reshape(-1, 3)
    wrong = []
    if case.leaves is not None and bool(len(ways)) is not case.leaves:
        wrong.append(f"{len(ways)} ways out")
    normals = np.array(case.touch, float).reshape(-1, 6)[:, 3:] @ by[:3, :3].T
    if len(ways) and len(normals) and (normals @ ways.T).min() < -max(slack, 0.012):
        wrong.append("a way out goes into a contact")

    def near(ways: Array, to: Array) -> Any:
        return (ways @ to).max(axis=1) > NEAR

    def unit(these: Sequence[Any]) -> Array:
        rows = np.array([vector(way) for way in these], float)
        return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True) @ by[:3, :3].T)

    if case.leave_has and (not len(ways) or not near(unit(case.leave_has), ways.T).all()):
        wrong.append("a way out was not found")
    if case.leave_only and len(ways) and not near(ways, unit(case.leave_only).T).all():
        wrong.append("a way out that is none")
    return wrong


def score(
    case: Case, clean: bool = False, by: Array | None = None, jitter: bool = False, plain: bool = False
) -> list[str]:
    """What does not agree; empty where all does.

    Bodies are handed over as shapes in their places, each read once for all scorings; ``plain`` hands over bare solids.
    """
    work, around = setup(case.name)
    place = np.eye(4) if by is None else by
    piece: Any
    fixed: Any
    if plain:
        piece, fixed = moved(work, place), {name: moved(solid, place) for name, solid in around.items()}
    else:
        named: dict[str, Any] = dict(enumerate_names(work))
        several = [stood(name, solid, place, False) for name, solid in named.items()]
        piece = several if len(several) > 1 else several[0]
        fixed = [stood(name, solid, place, jitter) for name, solid in around.items()]
    step = 1 if by is None else 2  # turned, every other direction will do
    wrong = judge_ways(list(case.out.items())[::step], piece, fixed, list(around), place[:3, :3])
    if not case.located:
        return wrong
    gravity = place[:3, :3] @ case.gravity
    # Looking for ways out takes long: elsewhere than as drawn only where more is asked than that there is one.
    asked = bool(case.leave_has or case.leave_only or case.leaves is False)
    leave = case.leaves is not None and (asked or (by is None and not jitter))
    options = {"within": LOCATING.clean_contact, "angle": LOCATING.clean_angle} if clean else {}
    found = locate_piece(piece, fixed, gravity=gravity, leave=leave, **options)
    slack = 0.03 if jitter else 0.005
    if case.rank is not None:
        if found.rank != case.rank:
            wrong.append(f"rank {found.rank}, expected {case.rank}")
        wrong += judge_motions(case, found, place, slack)
    wrong += judge_rest(case, found, gravity) + judge_pairs(case, found)
    return wrong + judge_leaving(case, found, place, slack) if leave else wrong


def enumerate_names(work: object) -> list[tuple[str, object]]:
    """The solids of a piece, or of several that move as one, with names."""
    if isinstance(work, dict):
        return list(work.items())
    several = work if isinstance(work, list) else [work]
    return [(f"piece {k}", solid) for k, solid in enumerate(several)]


def judge_ways(
    asked: Sequence[tuple[Way, str]], piece: Any, fixed: Any, names: Sequence[str], turn: Array
) -> list[str]:
    """What stops each asked direction, named in the order of the fixed bodies."""
    wrong = []
    for way, expected in asked:
        stops = way_out(piece, fixed, turn @ vector(way))
        if stops != [name for name in names if name in expected.split()]:
            wrong.append(f"{way}: stopped by {stops}, expected {expected or 'none'}")
    return wrong
