"""Does a piece stay where it lies: gravity, clamps and friction, as forces on one rigid piece.

Supports and stops can only push; a clamp is a force of known size, not a stop. Friction cones are pyramids inside the
true cones, and a body may rub no harder than the force allows that presses it before anything disturbs the piece:
two hard stops on either side that nothing squeezes do not hold it up. Units: N, N mm, mm; world frame.

Sources: Lynch and Park, Modern Robotics, 12.2 (friction cones); coefficients and forces in `tolerance.Holding`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.locating.closure import Scaling, around, scaling
from fixture3d.locating.contact import Contact, locators
from fixture3d.locating.friction import Clamps, Programme
from fixture3d.tolerance import HOLDING

__all__ = ["Disturbance", "Held", "Push", "Stands", "disturbances", "hold"]

Array = NDArray[np.float64]
Way = Literal["", "slides", "turns", "lifts"]
GRAVITY = 9.80665  # m/s2, standard acceleration of free fall (ISO 80000-3)


@dataclass(frozen=True, eq=False)
class Push:
    """A clamp's force on the piece.

    Attributes:
        name: of the clamp.
        at: (3,) mm, where its tip presses.
        way: (3,) unit, the way it pushes the piece.
        force: N; 0 when it is not stated: then `HOLDING.clamp`.
        rubs: its tip holds sideways by friction too; false for a swivel or a soft pad, which follow the piece.
    """

    name: str
    at: Array
    way: Array
    force: float = 0.0
    rubs: bool = False

    @property
    def given(self) -> float:
        """The force that is counted, N."""
        return self.force if self.force > 0.0 else HOLDING.clamp


@dataclass(frozen=True, eq=False)
class Disturbance:
    """Something that a piece must stand beside its weight and clamps.

    Attributes:
        name: in plain words.
        force: (3,) N.
        moment: (3,) N mm about the world origin.
        unit: of the figure that is told: a force in N, or a couple in N mm.
    """

    name: str
    force: Array
    moment: Array
    unit: Literal["N", "N mm"] = "N"

    @property
    def size(self) -> float:
        """Its force in N, or its couple in N mm."""
        return float(np.linalg.norm(self.force if self.unit == "N" else self.moment))


@dataclass(frozen=True, eq=False)
class Stands:
    """How much of one disturbance a piece stands.

    Attributes:
        disturbance: which.
        most: N or N mm that it stands, without a factor of safety; never more than `HOLDING.most_clamp` N, or that at
            the part's half size.
        enough: that is at least the stated size times the factor of safety.
        way: ``slides``, ``turns`` or ``lifts`` (off a body that carried it) beyond that; empty when it stands more
            than is looked at.
        leaves: fixed bodies that it then lifts off.
        motion: (6,) unit twist about the world origin, how it begins to move.
    """

    disturbance: Disturbance
    most: float
    enough: bool
    way: Way
    leaves: tuple[str, ...]
    motion: Array


@dataclass(frozen=True, eq=False)
class Held:
    """Whether a piece is held, and by what.

    Attributes:
        rests: weight and clamps balance without any friction.
        held: they balance with friction.
        reactions: N by fixed body, all supports being equally stiff; with a clamp outside its supports they are the
            best that pushing can do.
        pulls: N by fixed body if every support could pull too: a negative one says how hard it would have to; empty
            when the piece rests.
        tips: fixed bodies that the piece lifts off, when it does not rest.
        tip_motion: (6,) unit twist about the world origin of the way it then goes; zero when it rests.
        stands: one a disturbance; empty when it is not held.
        needs: N that each clamp must give so that all disturbances are stood with the factor of safety; empty
            without clamps, and where no force of theirs balances the piece.
        unmet: disturbances that no force of these clamps stands.
        weight: N.
        friction: coefficient used.
        safety: factor used.
    """

    rests: bool
    held: bool
    reactions: dict[str, float]
    pulls: dict[str, float]
    tips: tuple[str, ...]
    tip_motion: Array
    stands: tuple[Stands, ...]
    needs: dict[str, float]
    unmet: tuple[str, ...]
    weight: float
    friction: float
    safety: float


def disturbances(
    at: ArrayLike,
    *,
    up: ArrayLike = (0.0, 0.0, 1.0),
    force: float = HOLDING.nudge,
    couple: float = HOLDING.twist,
    ways: int = 8,
    first: ArrayLike | None = None,
    place: str = "",
) -> list[Disturbance]:
    """What a hand, a cable or a torch may do at one place: pushes level and up, and a turn either way about upright.

    Args:
        at: (3,) mm, world: the weld's place.
        up: (3,) the way up.
        force: N.
        couple: N mm.
        ways: level directions, evenly round.
        first: (3,) the first of them, made level; the world's own when not given, or upright.
        place: added to each name.
    """
    where = np.asarray(at, dtype=np.float64)
    z = np.asarray(up, dtype=np.float64) / np.linalg.norm(up)
    x, y = around(z[None], 4)[0, :2]
    if first is not None:
        level = np.asarray(first, dtype=np.float64) - z * float(np.asarray(first, dtype=np.float64) @ z)
        if float(np.linalg.norm(level)) > 0.1 * float(np.linalg.norm(first)):
            x = level / np.linalg.norm(level)
            y = np.cross(z, x)
    turns = 2.0 * np.pi * np.arange(ways) / ways
    round_ = np.round(np.cos(turns), 12)[:, None] * x + np.round(np.sin(turns), 12)[:, None] * y
    named = [(f"pushed {_compass(way)}", way) for way in round_] + [("lifted", z)]
    at_place = f" at {place}" if place else ""
    out = [Disturbance(words + at_place, force * way, np.cross(where, force * way)) for words, way in named]
    for words, sign in (("turned counter-clockwise", 1.0), ("turned clockwise", -1.0)):
        out.append(Disturbance(words + at_place, np.zeros(3), sign * couple * z, "N mm"))
    return out


def hold(
    contacts: Sequence[Contact],
    mass: float,
    centre: ArrayLike,
    clamps: Sequence[Push] = (),
    against: Sequence[Disturbance] = (),
    *,
    gravity: ArrayLike = (0.0, 0.0, -1.0),
    friction: float = HOLDING.friction,
    safety: float = HOLDING.safety,
    edges: int = HOLDING.edges,
    size: float | None = None,
) -> Held:
    """Balance of one piece, what it stands beside, and what its clamps must give.

    Args:
        contacts: with fixed bodies; a patch by its hull corners.
        mass: kg.
        centre: (3,) mm, its centre of gravity.
        clamps: their forces.
        against: what it must stand.
        gravity: (3,) the way down.
        friction: coefficient on all faces.
        safety: factor on all disturbances.
        edges: of the pyramids, at least 4.
        size: of the part, mm; the contacts' box when not given.
    """
    points, normals, owner = locators(list(contacts))
    scale = scaling(np.vstack([points, np.reshape(centre, (1, 3)), *[c.at[None] for c in clamps]]), size)
    weight = mass * GRAVITY
    down = weight * np.asarray(gravity, dtype=np.float64) / np.linalg.norm(gravity)
    load = _wrench(scale, down, centre)
    pushing = _clamps(scale, clamps)
    rows = scale.rows(points, normals)
    pressed, rest = preload(rows, load + pushing.forces @ pushing.pushes)
    names = [c.fixed for c in contacts]
    let_pass = HOLDING.slack * weight + HOLDING.slant * float(pushing.forces.sum())
    rests = float(np.linalg.norm(rest)) <= let_pass
    programme = Programme(scale, (points, normals, owner), load, pushing, pressed, friction=friction, edges=edges)
    held = programme.out_of_balance() <= HOLDING.slack * weight
    stands = tuple(_stands(programme, names, against, safety)) if held and against else ()
    needs, unmet = programme.least_clamps(_scaled(scale, against), safety) if len(clamps) else (np.zeros(0), [])
    return Held(
        rests=rests,
        held=held,
        reactions=_by_body(names, owner, pressed),
        pulls={} if rests else _by_body(names, owner, _two_sided(rows, load + pushing.forces @ pushing.pushes)),
        tips=() if rests else _leaves(_parting(rows, rest), names, owner),
        tip_motion=np.zeros(6) if rests else _unit_motion(scale, rest),
        stands=stands,
        needs={c.name: float(f) for c, f in zip(clamps, needs, strict=len(needs) > 0)},
        unmet=tuple(against[k].name for k in unmet),
        weight=weight,
        friction=friction,
        safety=safety,
    )


def preload(rows: Array, load: Array) -> tuple[Array, Array]:
    """What presses where before anything disturbs the piece: frictionless, all contacts equally stiff.

    The least squares of the forces among those that balance; by non-negative least squares with a small weight on the
    forces themselves. Where nothing balances, as near as pushing gets.

    Args:
        rows: (n, 6) scaled contacts.
        load: (6,) scaled wrench.

    Returns:
        N at each contact (n,), and the wrench (6,) that is left over: the way the piece starts to move.
    """
    from scipy.optimize import nnls

    if not len(rows):
        return np.zeros(0), load
    small = 1e-5
    matrix = np.vstack([rows.T, small * np.eye(len(rows))])
    size = max(float(np.linalg.norm(load)), 1e-300)
    found, _ = nnls(matrix, np.concatenate([-load / size, np.zeros(len(rows))]), maxiter=30 * len(rows) + 100)
    return found * size, rows.T @ (found * size) + load


def _two_sided(rows: Array, load: Array) -> Array:
    """The least squares of forces that balance, pulling allowed, (n,)."""
    if not len(rows):
        return np.zeros(0)
    result: Array = -np.linalg.pinv(rows.T, rcond=HOLDING.rank) @ load
    return result


def _compass(way: Array) -> str:
    """The direction in signs of the axes: ``+X``, ``-X +Y``; three figures where it follows no diagonal."""
    parts = [f"{'+' if v > 0 else '-'}{axis}" for axis, v in zip("XYZ", way, strict=True) if abs(v) > 0.35]
    even = np.ptp(np.abs(way[np.abs(way) > 0.35])) < 1e-6 and np.abs(way[np.abs(way) <= 0.35]).max(initial=0.0) < 1e-6
    return " ".join(parts) if even else "along (" + ", ".join(f"{v + 0.0:.2f}" for v in way) + ")"


def _clamps(scale: Scaling, clamps: Sequence[Push]) -> Clamps:
    return Clamps(
        pushes=np.array([_wrench(scale, c.way, c.at) for c in clamps]).reshape(-1, 6),
        forces=np.array([c.given for c in clamps]),
        at=np.array([c.at for c in clamps]).reshape(-1, 3),
        ways=np.array([c.way for c in clamps]).reshape(-1, 3),
        rubs=np.array([c.rubs for c in clamps], dtype=bool),
    )


def _wrench(scale: Scaling, force: ArrayLike, at: ArrayLike) -> Array:
    f = np.asarray(force, dtype=np.float64)
    result: Array = scale.wrench(f[None], np.cross(np.asarray(at, dtype=np.float64), f)[None])[0]
    return result


def _scaled(scale: Scaling, against: Sequence[Disturbance]) -> Array:
    """The wrenches (k, 6), scaled, in N."""
    if not against:
        return np.zeros((0, 6))
    return scale.wrench(np.array([d.force for d in against]), np.array([d.moment for d in against]))


def _stands(programme: Programme, names: list[str], against: Sequence[Disturbance], safety: float) -> list[Stands]:
    factors, motions = programme.most(_scaled(programme.scale, against))
    reactions = _by_body(names, programme.owner, programme.pressed)
    total = sum(reactions.values())
    out = []
    for one, factor, motion in zip(against, factors, motions, strict=True):
        stops = bool(np.any(motion))
        # A face that rubs at its limit recedes in the programme by friction times its slide: that is no lifting.
        parting = _parting(programme.rows, motion, 1.01 * programme.friction * programme.slides(motion))
        leaves = _leaves(parting, names, programme.owner) if stops else ()
        lifted = any(reactions[name] > HOLDING.slack * total for name in leaves)
        way: Way = "" if not stops else "lifts" if lifted else "turns" if _turns(motion) else "slides"
        most = factor * one.size
        unit = _unit_motion(programme.scale, motion)
        out.append(Stands(one, most, bool(most >= safety * one.size * (1.0 - 1e-6)), way, leaves, unit))
    return out


def _parting(rows: Array, motion: Array, sliding: Array | float = 0.0) -> NDArray[np.bool_]:
    """Which contact points part as the piece begins to move, (n,): faster than ``sliding`` (n,) along the normal."""
    result: NDArray[np.bool_] = rows @ motion > sliding + HOLDING.rank * float(np.linalg.norm(motion))
    return result


def _turns(motion: Array) -> bool:
    return float(np.linalg.norm(motion[3:])) > float(np.linalg.norm(motion[:3]))


def _leaves(parting: NDArray[np.bool_], names: list[str], owner: NDArray[np.int64]) -> tuple[str, ...]:
    """Fixed bodies from which all contact points part, ``parting`` (n,) bool."""
    out: dict[str, bool] = {}
    for index, name in enumerate(names):
        out[name] = out.get(name, True) and bool(parting[owner == index].all())
    return tuple(name for name, gone in out.items() if gone)


def _by_body(names: list[str], owner: NDArray[np.int64], forces: Array) -> dict[str, float]:
    out = dict.fromkeys(names, 0.0)
    for index, name in enumerate(names):
        out[name] += float(forces[owner == index].sum())
    return out


def _unit_motion(scale: Scaling, motion: Array) -> Array:
    length = float(np.linalg.norm(motion))
    if not length > 0.0:
        return np.zeros(6)
    result: Array = scale.world(motion[None] / length)[0]
    return result
