"""What the welds do to the weldment: bands for each weld, and for how far two points of the work come nearer.

The model, in words. Each joint (the welds between two pieces that close in one direction) draws its two pieces
together across the joint by its transverse shrinkage; welds of one joint share that work, they do not add up. A piece
shortens along each of its welds by the longitudinal shrinkage, evenly over the weld's length; welds along one piece
do add up. Pieces stay straight and do not turn. Between two points these movements are summed along the chain of
pieces and joints that leads from one to the other; where chains close to a ring (a frame) the joints share what does
not fit, by least squares. Not in it: angles (their bands are told for each weld), bowing (`rules.camber` needs the
member's section), springs of the setup, restraint (which makes the movement less and leaves stress), and anything but
mild steel. The rule of thumb for V butts, the one by the weld's width and the one by current are not in the bands
either: the first is for plate far thicker than tube, the others say the same as, or a fiftieth of, what is in them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.shrinkage import rules
from fixture3d.shrinkage.band import Band, band_of
from fixture3d.shrinkage.rules import HANDBOOK, Estimate, Handbook

__all__ = ["Effect", "Joint", "ShrinkWeld", "WeldBands", "across_joint", "allowances", "bands_of"]

Array = NDArray[np.float64]

_ONE_JOINT = 30.0  # degrees; welds between two pieces that close within this of each other are one joint
_ALONG = 30.0  # degrees; a weld within this of a piece's length runs along it
_ACROSS = 0.5  # cosine; a weld further than 60 degrees off the length of a piece runs across it
_VEE = 60.0  # degrees; the groove that a butt of unknown section is taken to have
_TYPES = ("fillet", "lap", "butt", "corner", "edge", "flare")


@dataclass(frozen=True, kw_only=True, eq=False)
class ShrinkWeld:
    """One weld as the rules need it.

    Attributes:
        name: unique.
        type: fillet, lap, butt, corner, edge or flare.
        joins: the two pieces; the first is the one that runs through (the bottom plate of a T-joint).
        path: (n, 3) mm, world or weldment frame.
        leg: mm; leg of a fillet, throat of a butt; 0 when not known: then the thinner wall.
        thickness: mm, wall of the first and of the second piece.
        across: (3,) the way from the first piece to the second in which the joint closes; see `across_joint`.
        area: mm2 of weld within the fusion line; 0 when not known.
        opening: mm, root opening.
        passes: of a butt; 0 when not known: one for each 4 mm of throat.
        fraction: welded length by length of the path, 1 for a continuous weld.
        drawn: welds before it have drawn the joint together; it adds from nothing to half of what it would do first.
    """

    name: str
    type: str
    joins: tuple[str, str]
    path: Array
    thickness: tuple[float, float]
    across: Array
    leg: float = 0.0
    area: float = 0.0
    opening: float = 0.0
    passes: int = 0
    fraction: float = 1.0
    drawn: bool = False

    def __post_init__(self) -> None:
        """Refuse what no rule can be asked about."""
        if self.type not in _TYPES:
            raise ValueError(f'weld "{self.name}": type "{self.type}"; expected one of {", ".join(_TYPES)}')
        if len(self.path) < 2 or not np.isfinite(self.path).all():
            raise ValueError(f'weld "{self.name}": expected a path of two points or more')
        if not min(self.thickness) > 0.0:
            raise ValueError(f'weld "{self.name}": wall {min(self.thickness):g} mm; expected more than 0')
        if not float(np.linalg.norm(self.across)) > 0.0:
            raise ValueError(f'weld "{self.name}": across has no length; expected the way in which the joint closes')

    @property
    def length(self) -> float:
        """Length of the path, mm."""
        return float(np.linalg.norm(np.diff(self.path, axis=0), axis=1).sum())

    @property
    def goes_round(self) -> bool:
        """Whether it ends where it starts, so that the joint is welded on both sides by one weld."""
        return bool(np.linalg.norm(self.path[-1] - self.path[0]) < 1e-3)

    @property
    def size(self) -> float:
        """Leg or throat, mm, as it is counted."""
        return self.leg or min(self.thickness)

    @property
    def way(self) -> Array:
        """`across` with a length of 1."""
        out: Array = self.across / np.linalg.norm(self.across)
        return out


@dataclass(frozen=True)
class WeldBands:
    """What one weld does by itself.

    Attributes:
        name: of the weld.
        transverse: mm across the joint, towards it.
        longitudinal: mm over the weld's length, shorter.
        angular: degrees, closing towards the weld.
        rules: what was asked, in order.
        remarks: what does not properly hold, in words.
        covered: False where no handbook rule is meant for such a joint and the nearest one was taken.
    """

    name: str
    transverse: Band
    longitudinal: Band
    angular: Band
    rules: tuple[str, ...]
    remarks: tuple[str, ...]
    covered: bool = True


@dataclass(frozen=True, eq=False)
class Joint:
    """Welds between two pieces that close in one direction.

    Attributes:
        joins: the two pieces.
        welds: indices.
        way: (3,) unit, from the first piece to the second.
        middle: (3,) mm, of the welds.
        transverse: mm, by which the two come together.
    """

    joins: tuple[str, str]
    welds: tuple[int, ...]
    way: Array
    middle: Array
    transverse: Band


def across_joint(
    type_: str, sides: ArrayLike, tangent: ArrayLike, first_to_second: ArrayLike = (0.0, 0.0, 0.0)
) -> Array:
    """The way from the first piece to the second in which a joint closes, (3,) unit.

    A fillet draws the second piece square on to the face of the first; a lap draws it along the face; a butt, edge or
    flare closes square to the weld, in its faces; a corner half in the one and half in the other.

    Args:
        type_: of the weld.
        sides: (2, 3) outward normals of the two faces at the root, in the order of the pieces.
        tangent: (3,) along the weld.
        first_to_second: (3,) from the middle of the first piece to that of the second; says which side is which.

    Raises:
        ValueError: the answer has no length (normals or tangent are nought or all in one line).
    """
    n1, n2 = np.asarray(sides, dtype=np.float64).reshape(2, 3)
    t = np.asarray(tangent, dtype=np.float64)
    hint = np.asarray(first_to_second, dtype=np.float64)
    if type_ == "fillet":
        way = n1
    elif type_ == "lap":
        way = -n2
    elif type_ == "corner" and np.linalg.norm(n2 - n1) > 0.1:
        way = n2 - n1
    else:
        way = np.cross(t, n1 + n2 if np.linalg.norm(n1 + n2) > 0.1 else n1)
        if way @ hint < 0.0:
            way = -way
    size = float(np.linalg.norm(way))
    if not (math.isfinite(size) and size > 1e-9):
        raise ValueError("normals and tangent of the joint lie in one line; expected normals across the weld")
    out: Array = way / size + 0.0
    return out


def bands_of(weld: ShrinkWeld, two_fillets: bool = True, book: Handbook = HANDBOOK) -> WeldBands:
    """The bands of one weld by the rules that hold for its type.

    Args:
        weld: the weld.
        two_fillets: whether the joint has a second fillet on the other side.
        book: coefficients.
    """
    covered = weld.type in ("fillet", "lap", "butt")
    across = _butt(weld, book) if weld.type in ("butt", "corner", "edge") else _fillet(weld, two_fillets, book)
    turn, along = _turn(weld, two_fillets, book), _along(weld, book)
    asked = [*across, along, *turn]
    remarks = [f"{one.rule.name}: {one.outside}" for one in asked if one.outside]
    if not covered:
        remarks.insert(0, f"no handbook rule is meant for a {weld.type} joint; the nearest is taken")
    if weld.fraction < 1.0:
        remarks.append("intermittent: scaled by the welded length")
    fraction = weld.fraction
    drawn = band_of(rules.figures(across), book.spread).scaled(fraction)
    if weld.drawn:
        remarks.append("the joint is drawn together already: from nothing to half")
        drawn = Band(0.0, drawn.high / 2.0)
    return WeldBands(
        weld.name,
        drawn,
        band_of(rules.figures([along]), book.spread).scaled(fraction),
        band_of(rules.figures(turn), book.spread if len(rules.figures(turn)) < 2 else 0.0),
        tuple(one.rule.name for one in asked),
        tuple(dict.fromkeys(remarks)),
        covered,
    )


def _fillet(weld: ShrinkWeld, two: bool, book: Handbook) -> list[Estimate]:
    """Rules across a fillet, lap or flare: those in their range, or else the one by ratio as far as it goes."""
    bottom = weld.thickness[0]
    ratio = (rules.transverse_lap if weld.type == "lap" else rules.transverse_tee)(weld.size, bottom, 1.0, book)
    out = [rules.transverse_fillet(weld.size, bottom, book), ratio]
    if not two:
        # The rule is for two fillets; what one of them does lies between half and all of it.
        out[1] = Estimate((ratio.value / 2.0, ratio.value), ratio.rule, ratio.outside or "one fillet, not two")
    good = [one for one in out if not one.outside or one.outside == "one fillet, not two"]
    return good or [out[1]]


def _butt(weld: ShrinkWeld, book: Handbook) -> list[Estimate]:
    thin = min(weld.thickness)
    area = weld.area or rules.vee_area(min(weld.size, thin), _VEE, weld.opening)
    return [
        rules.transverse_butt_tenth(area, thin, book),
        rules.transverse_butt_fifth(area, thin, weld.opening, book),
    ]


def _along(weld: ShrinkWeld, book: Handbook) -> Estimate:
    rule = rules.longitudinal_butt if weld.type == "butt" else rules.longitudinal_fillet
    return rule(weld.length, book)


def _turn(weld: ShrinkWeld, two: bool, book: Handbook) -> list[Estimate]:
    if weld.type in ("butt", "corner", "edge"):
        return [rules.angular_vee(weld.passes or max(1, math.ceil(weld.size / 4.0)), book=book)]
    # Two fillets each pull to their side; what is left is told as from none to what one does alone.
    one = rules.angular_fillet(weld.size, weld.thickness[0], book)
    return [Estimate((0.0, *one.values), one.rule, one.outside)] if two else [one]


@dataclass(frozen=True, eq=False)
class Effect:
    """What all welds together do.

    Attributes:
        welds: the welds.
        middles: middle of each piece, (3,) mm: shortening of a piece is counted from there.
        book: coefficients.
        axes: (3,) unit, the way in which a long piece is long. Welds across it do not shorten its section: the rules
            are for welds along the member. A piece that is not named here is shortened along each weld.
    """

    welds: Sequence[ShrinkWeld]
    middles: Mapping[str, Array]
    book: Handbook = field(default=HANDBOOK)
    axes: Mapping[str, Array] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse welds of pieces that are not there."""
        for weld in self.welds:
            for piece in weld.joins:
                if piece not in self.middles:
                    raise ValueError(f'weld "{weld.name}" joins "{piece}"; expected one of the pieces')

    @cached_property
    def bands(self) -> list[WeldBands]:
        """What each weld does by itself, in the order of the welds."""
        count = {index: len(group) for group in self._groups for index in group}
        return [bands_of(weld, count[k] > 1 or weld.goes_round, self.book) for k, weld in enumerate(self.welds)]

    @cached_property
    def _groups(self) -> list[list[int]]:
        """Indices of the welds of each joint."""
        out: list[list[int]] = []
        limit = math.cos(math.radians(_ONE_JOINT))
        for k, weld in enumerate(self.welds):
            for group in out:
                first = self.welds[group[0]]
                sign = 1.0 if weld.joins == first.joins else -1.0
                if set(weld.joins) == set(first.joins) and sign * float(weld.way @ first.way) > limit:
                    group.append(k)
                    break
            else:
                out.append([k])
        return out

    @cached_property
    def joints(self) -> list[Joint]:
        """The joints, by their first weld; each shrinks by the mean of its welds, by length."""
        out = []
        for group in self._groups:
            first = self.welds[group[0]]
            length = np.array([max(self.welds[k].length, 1e-9) for k in group])
            share = length / length.sum()
            ways = np.array([(w.way if w.joins == first.joins else -w.way) for w in (self.welds[k] for k in group)])
            way = share @ ways
            middles = np.array([(self.welds[k].path[0] + self.welds[k].path[-1]) / 2.0 for k in group])
            low = float(sum(s * self.bands[k].transverse.low for s, k in zip(share, group, strict=True)))
            high = float(sum(s * self.bands[k].transverse.high for s, k in zip(share, group, strict=True)))
            band = Band(low, max(low, high))
            out.append(Joint(first.joins, tuple(group), way / np.linalg.norm(way), share @ middles, band))
        return out

    # --- the linear model: movements are sums of what each joint and each weld does ---

    @cached_property
    def sizes(self) -> tuple[Array, Array]:
        """Least and greatest of every joint's transverse, then of every weld's longitudinal shrinkage, (p,) mm."""
        every = [joint.transverse for joint in self.joints] + [one.longitudinal for one in self.bands]
        return np.array([band.low for band in every]), np.array([band.high for band in every])

    def _local(self, piece: str, point: Array) -> Array:
        """How a point moves against its piece's middle by what the piece shortens, (3, p)."""
        out = np.zeros((3, len(self.joints) + len(self.welds)))
        for k, weld in enumerate(self.welds):
            if piece not in weld.joins:
                continue
            chord = weld.path[-1] - weld.path[0]
            length = float(np.linalg.norm(chord))
            # A weld that runs round to its start shortens nothing in one direction more than in another.
            if length < 0.5 * weld.length:
                continue
            t = chord / length
            if piece in self.axes and abs(float(t @ self.axes[piece])) < _ACROSS:
                continue
            at = np.clip([(point - weld.path[0]) @ t, (self.middles[piece] - weld.path[0]) @ t], 0.0, length)
            out[:, len(self.joints) + k] = -(at[0] - at[1]) / length * t
        return out

    @cached_property
    def _pieces(self) -> list[str]:
        return list(self.middles)

    @cached_property
    def _shifts(self) -> Array:
        """How the middle of each piece moves, (n, 3, p); the mean of each lot of joined pieces stays."""
        joints, n = self.joints, len(self._pieces)
        incidence = np.zeros((len(joints), n))
        moves = np.zeros((len(joints), 3, len(joints) + len(self.welds)))
        for row, joint in enumerate(joints):
            first, second = joint.joins
            incidence[row, self._pieces.index(second)] += 1.0
            incidence[row, self._pieces.index(first)] -= 1.0
            moves[row] = self._local(first, joint.middle) - self._local(second, joint.middle)
            moves[row, :, row] -= joint.way
        return np.tensordot(np.linalg.pinv(incidence), moves, axes=1)

    def movement(self, piece: str, point: ArrayLike) -> Array:
        """How a point of a piece moves for each mm of each of `sizes`, (3, p)."""
        if piece not in self.middles:
            raise ValueError(f'"{piece}" is not one of the pieces')
        out: Array = self._shifts[self._pieces.index(piece)] + self._local(piece, np.asarray(point, dtype=np.float64))
        return out

    def along(self, coefficients: ArrayLike) -> Band:
        """The band of a sum of `sizes` with these coefficients, (p,)."""
        c = np.asarray(coefficients, dtype=np.float64)
        low, high = self.sizes
        plus, minus = np.maximum(c, 0.0), np.minimum(c, 0.0)
        ends = float(plus @ low + minus @ high), float(plus @ high + minus @ low)
        return Band(round(min(ends), 12) + 0.0, round(max(ends), 12) + 0.0)

    def displacement(self, piece: str, point: ArrayLike) -> tuple[Band, Band, Band]:
        """How a point of a piece moves along x, y and z, mm, the work as a whole staying where it is."""
        x, y, z = (self.along(row) for row in self.movement(piece, point))
        return x, y, z

    def distance(self, one: tuple[str, ArrayLike], other: tuple[str, ArrayLike]) -> Band:
        """By how much the distance of two points, each of a piece, changes, mm; negative: nearer.

        Raises:
            ValueError: no weld or chain of welds joins the two pieces, or the points are one.
        """
        a, b = np.asarray(one[1], dtype=np.float64), np.asarray(other[1], dtype=np.float64)
        if not float(np.linalg.norm(b - a)) > 0.0:
            raise ValueError("the two points are one; expected two")
        return self.apart(one, other, (b - a) / np.linalg.norm(b - a))

    def apart(self, one: tuple[str, ArrayLike], other: tuple[str, ArrayLike], way: ArrayLike) -> Band:
        """By how much the second point moves along the unit direction ``way`` against the first, mm.

        Raises:
            ValueError: no weld or chain of welds joins the two pieces.
        """
        change = self.movement(*other) - self.movement(*one)
        if not self.joined(one[0], other[0]):
            raise ValueError(f'no weld joins "{one[0]}" and "{other[0]}", so nothing is known of them together')
        return self.along(np.asarray(way, dtype=np.float64) @ change)

    def joined(self, one: str, other: str) -> bool:
        """Whether a chain of welds leads from one piece to the other."""
        return self.lots[one] == self.lots[other]

    @cached_property
    def lots(self) -> dict[str, int]:
        """For each piece the number of its lot: pieces of one lot are joined by a chain of welds."""
        out = {name: k for k, name in enumerate(self.middles)}
        for weld in self.welds:
            keep, drop = sorted(out[piece] for piece in weld.joins)
            out = {name: keep if lot == drop else lot for name, lot in out.items()}
        return out

    def shifts(self, greatest: bool) -> dict[str, Array]:
        """How each piece moves as a rigid body, (3,) mm, with every estimate at its greatest, or at its least."""
        sizes = self.sizes[1 if greatest else 0]
        return {name: self._shifts[k] @ sizes for k, name in enumerate(self._pieces)}


def allowances(effect: Effect, axes: Mapping[str, ArrayLike]) -> dict[str, Band]:
    """How much longer each piece is to be cut, mm, so that the finished work meets its drawing.

    A joint's shrinkage goes to the piece that ends there; two pieces in line share it, a mitre asks of each what lies
    along it. Shortening along welds that run along the piece is added; welds across its ends are not.

    Args:
        effect: what the welds do.
        axes: for each piece with a cut length, the direction of its length, (3,).
    """
    out = {}
    units = {name: np.asarray(axis, dtype=np.float64) / np.linalg.norm(axis) for name, axis in axes.items()}
    for name, axis in units.items():
        c = np.zeros(len(effect.joints) + len(effect.welds))
        for k, joint in enumerate(effect.joints):
            if name in joint.joins:
                c[k] += _share_of(effect, joint, name, units)
        for k, weld in enumerate(effect.welds):
            if name in weld.joins:
                chord = weld.path[-1] - weld.path[0]
                part = abs(float(chord @ axis)) / max(weld.length, 1e-9)
                c[len(effect.joints) + k] += part if part > math.cos(math.radians(_ALONG)) else 0.0
        out[name] = effect.along(c)
    return out


def _share_of(effect: Effect, joint: Joint, name: str, units: Mapping[str, Array]) -> float:
    """How much of a joint's shrinkage piece ``name`` is to be longer: least squares, no piece made shorter for it."""
    from scipy.optimize import nnls

    columns, who = [], []
    for piece, sign in zip(joint.joins, (1.0, -1.0), strict=True):
        if piece in units:
            # Along the piece from its middle towards the joint, and so on into the other.
            towards = float((joint.middle - effect.middles[piece]) @ units[piece])
            columns.append(units[piece] * (math.copysign(1.0, towards) * sign))
            who.append(piece)
    if name not in who:
        return 0.0
    # The second row of equations makes two pieces in line share alike, and is too weak to matter otherwise.
    small = 1e-6
    a = np.vstack([np.array(columns).T, small * np.eye(len(columns))])
    found, _ = nnls(a, np.concatenate([joint.way, np.zeros(len(columns))]))
    share = float(found[who.index(name)])
    return share if share > 1e-6 else 0.0
