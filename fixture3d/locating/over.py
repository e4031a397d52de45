"""Too many locators, or the wrong ones: what fights, what decides nothing, what stands too near, and what cures it.

Read from contacts alone. A straight piece is located by three supports, two stops along one side and one across
(3-2-1); a further rigid one touches only by chance. What is common practice here is marked so in `tolerance.Locating`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from fixture3d.errors import listed
from fixture3d.frame import Array
from fixture3d.locating.contact import Contact
from fixture3d.locating.lie import Lie
from fixture3d.locating.motions import turn_is_open
from fixture3d.locating.words import way_in_words
from fixture3d.tolerance import LOCATING

__all__ = ["Opposed", "Over", "OverKind", "Spacing", "fights", "opposed_pairs", "over_constraint", "spacings"]

OverKind = Literal["supports", "vees", "side-stops", "end-stops", "pins", "opposed", "supports-on-one-line", "too-near"]

_SAME_WAY = float(np.cos(np.deg2rad(5.0)))  # stops that push the same way
_FLAT = float(np.cos(np.deg2rad(20.0)))  # a support that pushes straight up, not a flank of a V
_LINE = 0.1  # share of the piece's width; supports within it stand on one line


@dataclass(frozen=True, eq=False)
class Opposed:
    """Two fixed faces that look at each other across the piece, or away from each other inside it.

    Attributes:
        fixed: names of the two bodies; the same name twice where one body holds the piece on both sides.
        way: (3,) unit, the way the first one pushes.
        inside: they stand in an opening of the piece and push it outwards.
        at: (2, 3) mm, the middles of the two contacts.
    """

    fixed: tuple[str, str]
    way: Array
    inside: bool
    at: Array


@dataclass(frozen=True, eq=False)
class Spacing:
    """How far two locators that share a duty stand apart, and what that makes of an error of one of them.

    Attributes:
        fixed: the bodies; one name where a single body does both.
        duty: "support" or "side stop".
        normal: (3,) unit, the way they push.
        along: (3,) unit, the way they stand apart.
        span: mm between the outermost locator points.
        factor: movement of the piece's far end for a unit of error of one locator.
    """

    fixed: tuple[str, ...]
    duty: Literal["support", "side stop"]
    normal: Array
    along: Array
    span: float
    factor: float


@dataclass(frozen=True, eq=False)
class Over:
    """One way in which the locators are too many or stand badly.

    Attributes:
        kind: which.
        fixed: the bodies, the one to change first.
        words: what is wrong.
        remedy: what to do.
        at: (k, 3) mm, the places.
        factor: the error magnified, for "too-near"; otherwise 0.
    """

    kind: OverKind
    fixed: tuple[str, ...]
    words: str
    remedy: str
    at: Array
    factor: float = 0.0


def over_constraint(contacts: Sequence[Contact], lie: Lie, down: Array, others: Sequence[Contact] = ()) -> list[Over]:
    """What is wrong with the locators as a set.

    Args:
        contacts: with the locators.
        lie: the piece's own frame.
        down: (3,) unit, the way things fall.
        others: contacts with what is no locator, such as other pieces: they may settle a turn.
    """
    rigid = [c for c in contacts if not c.doubt]
    found = _supports(rigid, lie, down, others)
    found += _stops([c for c in rigid if c.fixed not in centring(rigid)], lie, down)
    found += _pins(rigid)
    found += fights(opposed_pairs(contacts))
    found += _too_near(spacings(rigid, lie, down, others))
    return found


def centring(contacts: Sequence[Contact]) -> list[str]:
    """Bodies that take a round from two sides or more: a V, a half round, a pin in its hole."""
    found = []
    for body in _bodies(contacts):
        ways = [c.normal for c in contacts if c.fixed == body and c.kind == "line"]
        if any(float(a @ b) < _FLAT for a, b in combinations(ways, 2)):
            found.append(body)
    return found


def _all_about(contacts: Sequence[Contact]) -> list[str]:
    """Bodies that take a round from all sides."""
    found = []
    for body in centring(contacts):
        ways = [c.normal for c in contacts if c.fixed == body and c.kind == "line"]
        if any(float(a @ b) < -_SAME_WAY for a, b in combinations(ways, 2)):
            found.append(body)
    return found


def _pins(contacts: Sequence[Contact]) -> list[Over]:
    """Two round pins in two round holes decide the way between them twice."""
    names = _all_about(contacts)
    axes = {b: _axis(contacts, b) for b in names}
    for a, b in combinations(names, 2):
        step = _middle(contacts, b) - _middle(contacts, a)
        beside = step - axes[a] * float(step @ axes[a])
        if abs(float(axes[a] @ axes[b])) > _SAME_WAY and float(np.linalg.norm(beside)) > LOCATING.least:
            words = f"{a} and {b} both fit all about: the distance between them is decided twice, and they bind"
            remedy = f"relieve {b} along the line to {a} (a diamond pin), or give it a slot"
            return [Over("pins", (b, a), words, remedy, np.stack([_middle(contacts, b), _middle(contacts, a)]))]
    return []


def _axis(contacts: Sequence[Contact], body: str) -> Array:
    line = next(c for c in contacts if c.fixed == body and c.kind == "line")
    found: Array = (line.points[1] - line.points[0]) / np.linalg.norm(line.points[1] - line.points[0])
    return found


def _bodies(contacts: Sequence[Contact]) -> list[str]:
    return list(dict.fromkeys(c.fixed for c in contacts))


def _middle(contacts: Sequence[Contact], body: str) -> Array:
    found: Array = np.vstack([c.points for c in contacts if c.fixed == body]).mean(axis=0)
    return found


def _supports(contacts: Sequence[Contact], lie: Lie, down: Array, others: Sequence[Contact]) -> list[Over]:
    under = [c for c in contacts if float(c.normal @ -down) >= np.cos(np.deg2rad(LOCATING.supports))]
    flanks = [c for c in under if float(c.normal @ -down) < _FLAT]
    vees = [b for b in _bodies(flanks) if sum(c.fixed == b for c in flanks) >= 2]
    found: list[Over] = []
    if len(vees) >= 3:
        keep = _widest(vees, np.array([_middle(under, b) for b in vees]), 2)
        found.append(_spare("vees", vees, keep, under, "V-blocks", "a V more than the two that locate it"))
    # Only those that push the same way share a plane: the two flanks of a nest that is tilted do not.
    flat = max(map(_bodies, _same_way([c for c in under if c.fixed not in vees])), key=len, default=[])
    if len(flat) + 2 * len(vees) >= 4 and len(flat) >= 1 and len(vees) < 3:
        places = np.array([_middle(under, b) for b in flat])
        keep = _widest(flat, places, max(3 - 2 * len(vees), 0))
        found.append(_spare("supports", flat, keep, under, "rigid supports", "more than three points decide a plane"))
    points = np.vstack([c.points for c in under]) if under else np.zeros((0, 3))
    bodies = _bodies(under)
    if len(bodies) >= 2 and not vees:
        level = points - np.outer(points @ down, down)
        level = level - level.mean(axis=0)
        line, across, _ = np.linalg.svd(level)[2]
        width = float(np.ptp(level @ across))
        reach = float(np.ptp(lie.hull @ across))
        narrow = width <= max(LOCATING.least, _LINE * reach) and reach > 4.0 * max(width, LOCATING.least)
        held = [*(c for c in contacts if c not in under), *others]
        if narrow and turn_is_open(held, lie, down, about=line):
            found.append(
                Over(
                    "supports-on-one-line",
                    tuple(bodies),
                    f"{listed(bodies)} support it on one line, so that it can tip to either side",
                    "move one of them out of the line, as far as the piece allows",
                    np.array([_middle(under, b) for b in bodies]),
                )
            )
    return found


def _widest(names: Sequence[str], places: Array, count: int) -> list[str]:
    """The ``count`` of the bodies that stand furthest apart: the largest triangle, or the longest line."""
    if count >= len(names):
        return list(names)
    best: tuple[float, tuple[int, ...]] = (-1.0, tuple(range(count)))
    for chosen in combinations(range(len(names)), count):
        p = places[list(chosen)]
        longest = max((float(np.linalg.norm(a - b)) for a, b in combinations(p, 2)), default=0.0)
        area = float(np.linalg.norm(np.cross(p[1] - p[0], p[2] - p[0]))) if count == 3 else 0.0
        score = longest + area / max(longest, 1e-9)
        if score > best[0] + 1e-6:
            best = score, chosen
    return [names[k] for k in best[1]]


def _spare(
    kind: OverKind, names: Sequence[str], keep: Sequence[str], contacts: Sequence[Contact], what: str, why: str
) -> Over:
    spare = [n for n in names if n not in keep]
    words = f"{len(names)} {what} ({listed(names)}): {why}, and the piece touches all of them only by chance"
    one = listed(spare)
    it = "it" if len(spare) == 1 else "them"
    remedy = f"make {one} adjustable and bring {it} up to the piece last, or shim {it} to the gap that is left"
    return Over(kind, (*spare, *keep), words, remedy, np.array([_middle(contacts, b) for b in (*spare, *keep)]))


def _sides(contacts: Sequence[Contact], down: Array) -> list[list[Contact]]:
    """Stops in groups that push the same level way."""
    return _same_way([c for c in contacts if abs(float(c.normal @ down)) < np.sin(np.deg2rad(LOCATING.stops))])


def _same_way(contacts: Sequence[Contact]) -> list[list[Contact]]:
    """Contacts in groups that push the same way."""
    groups: list[list[Contact]] = []
    for one in contacts:
        for group in groups:
            if float(group[0].normal @ one.normal) >= _SAME_WAY:
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def _level(normal: Array, down: Array) -> Array:
    """The level way square to a stop's push."""
    across = np.cross(down, normal)
    found: Array = across / np.linalg.norm(across)
    return found


def _span(group: Sequence[Contact], way: Array) -> float:
    return float(np.ptp(np.vstack([c.points for c in group]) @ way))


def _stops(contacts: Sequence[Contact], lie: Lie, down: Array) -> list[Over]:
    groups = _sides(contacts, down)
    if not groups:
        return []
    spans = [_span(g, _level(g[0].normal, down)) for g in groups]
    first = max(range(len(groups)), key=lambda k: (round(spans[k], 3), len(_bodies(groups[k])), -k))
    turned = spans[first] >= LOCATING.least  # whether any two of them settle the turn
    found: list[Over] = []
    for group in groups:
        names = _bodies(group)
        way = way_in_words(group[0].normal)
        same_axis = turned and abs(float(group[0].normal @ groups[first][0].normal)) >= _SAME_WAY
        places = np.array([_middle(group, b) for b in names])
        if same_axis and len(names) > 2:
            along = _level(group[0].normal, down)
            order = np.argsort(places @ along)
            keep = [names[order[0]], names[order[-1]]]
            spare = [n for n in names if n not in keep]
            words = (
                f"{listed(names)} all stop it the same way ({way}): two of them decide, the rest stand off or force it"
            )
            remedy = f"pull {listed(spare)} back, or make it adjustable"
            found.append(Over("side-stops", (*spare, *keep), words, remedy, places))
        elif not same_axis and len(names) > 1:
            # What is left once the two along the side have fixed the turn is one slide: one stop decides it.
            keep = [names[_steadiest(places, lie, group[0].normal)]]
            spare = [n for n in names if n not in keep]
            words = (
                f"{listed(names)} stop the same slide ({way}): one of them decides, the other stands off or twists it"
            )
            remedy = f"take {listed(spare)} away or pull it back"
            found.append(Over("end-stops", (*spare, *keep), words, remedy, places))
    return found


def _steadiest(places: Array, lie: Lie, normal: Array) -> int:
    """Of stops that push the same way the one whose line of push passes nearest to the middle of mass."""
    off = places - lie.mass
    off = off - np.outer(off @ normal, normal)
    return int(np.argmin(np.linalg.norm(off, axis=1).round(3)))


def opposed_pairs(contacts: Sequence[Contact]) -> list[Opposed]:
    """Contacts that push straight against each other, each pair of bodies once a direction.

    Lines of one body that hold a round all about (a bore, a V with a lid) are not told.
    """
    limit = -float(np.cos(np.deg2rad(LOCATING.opposed)))
    rounds = _all_about(contacts)
    found: list[Opposed] = []
    for a, b in combinations([c for c in contacts if c.fixed not in rounds or c.kind != "line"], 2):
        if float(a.normal @ b.normal) > limit or (a.fixed == b.fixed and "face" not in (a.kind, b.kind)):
            continue
        at = np.stack([a.points.mean(axis=0), b.points.mean(axis=0)])
        through = float((at[1] - at[0]) @ a.normal)
        if abs(through) < LOCATING.least:
            continue  # back to back in one plane: nothing lies between them
        pair = Opposed((a.fixed, b.fixed), a.normal, through < 0.0, at)
        if not any(set(o.fixed) == set(pair.fixed) and abs(float(o.way @ pair.way)) > _SAME_WAY for o in found):
            found.append(pair)
    return found


def fights(pairs: Sequence[Opposed]) -> list[Over]:
    """Opposed faces in words, those that share a way together."""
    groups: list[list[Opposed]] = []
    for pair in pairs:
        for group in groups:
            first = group[0]
            if (
                abs(float(first.way @ pair.way)) > _SAME_WAY
                and first.inside == pair.inside
                and _alone(pair) == _alone(first)
            ):
                group.append(pair)
                break
        else:
            groups.append([pair])
    return [_told(group) for group in groups]


def _alone(pair: Opposed) -> bool:
    return pair.fixed[0] == pair.fixed[1]


def _told(group: Sequence[Opposed]) -> Over:
    first = group[0]
    way = way_in_words(first.way if first.way[np.argmax(np.abs(first.way))] > 0.0 else -first.way)
    sides: tuple[list[str], list[str]] = ([], [])
    for pair in group:
        turned = float(pair.way @ first.way) < 0.0
        for k, name in enumerate(pair.fixed):
            side = sides[k ^ turned]
            if name not in side:
                side.append(name)
    at = np.vstack([pair.at for pair in group])
    if _alone(first):
        words = (
            f"{listed(sides[0])} holds it on both sides (along {way}): it goes in only if it is no larger than drawn"
        )
        return Over("opposed", tuple(sides[0]), words, "let one side locate it and leave play at the other", at)
    # The side with fewer of them gives way: two stops on a side locate, the one across is a clamp's place.
    keep, let = sides if len(sides[0]) >= len(sides[1]) else sides[::-1]
    if first.inside:
        words = (
            f"{listed(keep)} on one side and {listed(let)} on the other stand against the work from inside (along "
            f"{way}): it shrinks onto them"
        )
        remedy = f"pull {listed(let)} back, or stop the work there by what can be let go"
    else:
        words = (
            f"{listed(keep)} on one side of the work and {listed(let)} on the other are hard stops (along {way}): "
            "it goes in only if it is no larger than drawn"
        )
        remedy = f"pull {listed(let)} back and clamp from that side"
    return Over("opposed", (*let, *keep), words, remedy, at)


def spacings(contacts: Sequence[Contact], lie: Lie, down: Array, others: Sequence[Contact] = ()) -> list[Spacing]:
    """Supports along the piece, and stops along each side, with the error that they magnify.

    An error d of one locator moves a point at distance x from the other by d x / span. The pair that stands furthest
    apart settles the turn, unless something else does, as two Vs do, or ``others``, which are no locators.
    """
    found: list[Spacing] = []
    under = [c for c in contacts if float(c.normal @ -down) >= np.cos(np.deg2rad(LOCATING.supports))]
    if under:
        level = lie.axes - np.outer(lie.axes @ down, down)
        along = level[int(np.argmax(np.linalg.norm(level, axis=1) * lie.size))]
        along = along / np.linalg.norm(along)
        held = [*(c for c in contacts if c not in under), *others]
        if turn_is_open(held, lie, down, about=np.cross(down, along)):
            found += _spaced(under, "support", -down, along, lie)
    rounds = centring(contacts)
    groups = _sides([c for c in contacts if c.fixed not in rounds], down)
    if groups:
        # The turn about the vertical is settled by the group that stands furthest apart.
        group = max(groups, key=lambda g: round(_span(g, _level(g[0].normal, down)), 3))
        held = [*(c for c in contacts if abs(float(c.normal @ group[0].normal)) < _SAME_WAY), *others]
        if turn_is_open(held, lie, down):
            found += _spaced(group, "side stop", group[0].normal, _level(group[0].normal, down), lie)
    return found


def _spaced(
    group: Sequence[Contact], duty: Literal["support", "side stop"], normal: Array, along: Array, lie: Lie
) -> list[Spacing]:
    at = np.vstack([c.points for c in group]) @ along
    low, high = float(at.min()), float(at.max())
    span = high - low
    if span < LOCATING.least:
        return []
    reach = lie.hull @ along
    # Sideways a turn moves what stands off the locators, the far end of a bar that is held by its end face.
    off = float(np.abs((lie.hull - group[0].points[0]) @ normal).max()) if duty == "side stop" else 0.0
    factor = max(float(reach.max()) - low, high - float(reach.min()), off) / span
    outer = [
        c.fixed for c in group if (c.points @ along).min() <= low + 1e-6 or (c.points @ along).max() >= high - 1e-6
    ]
    return [Spacing(tuple(dict.fromkeys(outer)), duty, normal, along, span, factor)]


def _too_near(found: Sequence[Spacing]) -> list[Over]:
    out = []
    for one in found:
        if one.factor <= (LOCATING.magnify if len(one.fixed) > 1 else LOCATING.magnify_alone):
            continue
        what = "supports" if one.duty == "support" else "side stops"
        words = (
            f"{listed(one.fixed)}: {what} too near each other: an error of one is felt {one.factor:.1f} times "
            "at the far end"
        )
        remedy = "set them further apart, as far as the piece allows"
        out.append(Over("too-near", one.fixed, words, remedy, np.zeros((0, 3)), one.factor))
    return out
