"""Seating: each block stands in its holes, lies on what carries it, and cannot turn or tip."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fixture3d import frame
from fixture3d.checks.base import Check, Finding, Point, Progress, Result, Rule
from fixture3d.errors import TableError
from fixture3d.frame import Array
from fixture3d.job import Job, Seat, SeatedPin, placed_pads, seat
from fixture3d.job.resolve import block_plane, dowel_fit, plane_of
from fixture3d.part import Pin, face_down
from fixture3d.tolerance import SHOP
from fixture3d.units import show, show_fine

if TYPE_CHECKING:
    from shapely import Polygon

RULES = (
    Rule(
        name="cannot-stand",
        level="fail",
        title="The block cannot stand as asked",
        meaning="The block has no way to stand like this: the socket it should stand in does not open upward, or it "
        "is placed away from every surface.",
        cure="Turn the lower block so that its socket faces up, name another socket, or place the block in a hole.",
    ),
    Rule(
        name="pin-off-hole",
        level="fail",
        title="A pin is not over a hole",
        meaning="The scene asks for a dowel in a bore that has no hole under it, or one that is further off than the "
        "clearance of both dowels allows. The dowel will not drop in.",
        cure="Move the block to the named hole and turn, or leave that pin out with pins = [...].",
    ),
    Rule(
        name="pin-blocked",
        level="fail",
        title="A pin stands over a blocked hole",
        meaning="The hole is listed as blocked: damaged, welded up, or with a leg below it.",
        cure="Use the named hole, or clear the hole and take it off the list.",
    ),
    Rule(
        name="hole-shared",
        level="fail",
        title="Two pins in one hole",
        meaning="Two blocks want a dowel in the same hole. Only one will go in.",
        cure="Move one of the blocks, or leave the pin of one out with pins = [...].",
    ),
    Rule(
        name="no-nut",
        level="fail",
        title="A hold-down bolt without room for its nut",
        meaning="A rib or leg is below this hole, so that no nut can be put on the bolt from below.",
        cure="Put the block where its bolt comes out between the ribs, or hold it with a second dowel instead.",
    ),
    Rule(
        name="floats",
        level="fail",
        title="The block lies on nothing",
        meaning="The block is placed above the table with nothing under it, or beside the table.",
        cure="Lower it on to the table, stack it on another block, or put a riser under it.",
    ),
    Rule(
        name="tips",
        level="fail",
        title="The block tips over its edge",
        meaning="More of the block hangs over than lies on, so its weight is outside the area that carries it and "
        "no bolt holds it down.",
        cure="Move it in from the edge, or hold it down with bolt = true.",
    ),
    Rule(
        name="spins",
        level="warn",
        title="One dowel and no bolt: the block can spin",
        meaning="A single dowel fixes a point, not a direction. The block turns about it as soon as it is leant on.",
        cure="Turn it so that a second bore finds a hole, or hold it down with bolt = true.",
    ),
    Rule(
        name="not-pinned",
        level="warn",
        title="No dowel holds the block",
        meaning="All its pins are left out, so it can be pushed in any direction.",
        cure="Put at least two dowels in, or clamp the block down and set it by measuring.",
    ),
    Rule(
        name="loose-seat",
        level="warn",
        title="The seat is loose",
        meaning="With the largest hole and the smallest dowel the block can turn so far that its locating face moves "
        "by more than common practice accepts (common practice, no source).",
        cure="Use bores that are further apart, closer dowels, or ream the holes; push the block the same way "
        "each time before it is bolted down.",
    ),
    Rule(
        name="needs-measuring",
        level="note",
        title="The place has to be measured",
        meaning="The block is not located by holes, so its place must be measured each time the setup is built.",
        cure="Use a hole where one is near enough, with a slide stop or shims to make up the rest.",
    ),
    Rule(
        name="overhang",
        level="note",
        title="The block hangs over",
        meaning="Part of the block hangs over the edge of the table or of the block that it stands on. It does not "
        "tip by its own weight.",
        cure="Nothing, unless something presses on the part that hangs over.",
    ),
    Rule(
        name="short-of-blocks",
        level="warn",
        title="The shop does not own enough of these",
        meaning="The setup uses more blocks of this model and size than the inventory lists.",
        cure="Make or borrow the missing ones, or use another model that does the same.",
    ),
)

LEAST_OVERHANG = 1.0  # mm; less than a chamfer is not worth a note


def _needs(job: Job) -> str:
    return "" if job.seats else "the scene places no block"


def run(job: Job, progress: Progress) -> Result:
    """Judge every seat.

    Each pin that the scene asks for must be over a hole, nearer than the clearance of the dowels allows; no hole may
    be used twice or be blocked; each block must lie on something, and be held so that it cannot turn or tip.
    """
    findings: list[Finding] = []
    for done, item in enumerate(job.seats.values()):
        progress("seating", done, len(job.seats))
        findings += _standing(job, item)
        findings += _pins(job, item)
        findings += _held(job, item)
        findings += _carried(job, item)
    findings += _shared(job)
    findings += _stock(job)
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"seats": [_figures(job, item) for item in job.seats.values()]},
        not_covered=(
            "Seating takes the table's holes at their nominal places; a pitch error of the table itself is not added.",
            "A bolt is taken to be pulled tight; its torque is not asked for.",
        ),
    )


CHECK = Check(name="seating", rules=RULES, needs=_needs, run=run)


def _figures(job: Job, item: Seat) -> dict[str, Any]:
    play = seat.play(item.pins, dowel_fit(job, item), item.bolted)
    return {"block": item.name, "holes": list(item.holes), "shift": play.shift, "turn": play.turn}


def _at(item: Seat) -> Point:
    x, y, z = (float(v) for v in item.model_to_world[:3, 3])
    return x, y, z


def _standing(job: Job, item: Seat) -> Iterator[Finding]:
    if item.complaint:
        yield CHECK.finding("cannot-stand", [item.name], item.complaint, at=_at(item), remedy=_other_socket(job, item))
    if item.holds != "pins":
        how = {"measured": "placed by measuring", "edge": "clamped to the table's edge", "magnet": "held by a magnet"}
        yield CHECK.finding(
            "needs-measuring",
            [item.name],
            f"{item.name} is {how[item.holds]}, so its place must be measured each time",
            at=_at(item),
            remedy=_nearest_hole(job, item),
        )


def _other_socket(job: Job, item: Seat) -> str:
    """What to do with a block whose socket does not look up."""
    lower = job.seats.get(item.stands_on)
    plane = block_plane(lower) if lower is not None else None
    if plane is not None and plane.sockets:
        return f'socket = "{plane.sockets[0][0]}"'
    return f"lay {item.stands_on} so that its sockets look up, or stand {item.name} in a hole"


def _pins(job: Job, item: Seat) -> Iterator[Finding]:
    if item.complaint:
        return  # its pins stand nowhere yet
    for pin in item.pins:
        x, y, z = (float(v) for v in pin.at)
        if pin.state in ("off", "off table"):
            near = f"; the nearest hole is {pin.hole}" if pin.hole else ""
            yield CHECK.finding(
                "pin-off-hole",
                [item.name],
                f"pin {pin.pin.name} of {item.name} is not over a hole{near}",
                measured=pin.off if pin.hole else None,
                limit=pin.allowed if pin.hole else None,
                unit="mm",
                at=(x, y, z),
                remedy=_elsewhere(job, item),
            )
        elif pin.state == "blocked":
            yield CHECK.finding(
                "pin-blocked",
                [item.name],
                f"pin {pin.pin.name} of {item.name} stands over {pin.hole}, which is blocked",
                at=(x, y, z),
                remedy=_elsewhere(job, item),
            )
    if item.bolted and item.holes and not item.stacked:
        try:
            hole = job.table.find(item.holes[0])
        except TableError:
            return
        if not job.table.has_nut(hole):
            yield CHECK.finding(
                "no-nut",
                [item.name],
                f"the bolt of {item.name} in {hole.name} has a rib or leg below it",
                at=hole.xyz,
                remedy="use another hole for the bolt, or two dowels instead of it",
            )


def _held(job: Job, item: Seat) -> Iterator[Finding]:
    if item.holds != "pins" or item.complaint or any(p.state in ("off", "off table", "blocked") for p in item.pins):
        return
    play = seat.play(item.pins, dowel_fit(job, item), item.bolted)
    if play.shift is None:
        if not item.bolted:
            yield CHECK.finding(
                "not-pinned",
                [item.name],
                f"no dowel holds {item.name}, so it can be pushed in any direction",
                at=_at(item),
                remedy=_a_pin(item),
            )
        return
    if play.turn is None:
        if not item.bolted:
            yield CHECK.finding(
                "spins",
                [item.name],
                f"only one dowel holds {item.name}, so it can spin",
                at=_at(item),
                remedy=_second_pin(job, item),
            )
        return
    worst = _pad_travel(item, play.shift, play.turn)
    if worst > SHOP.seat_play:
        yield CHECK.finding(
            "loose-seat",
            [item.name],
            f"the fits let a locating face of {item.name} move",
            measured=worst,
            limit=SHOP.seat_play,
            unit="mm",
            at=_at(item),
            remedy="use bores further apart, closer dowels, or reamed holes",
        )


def _a_pin(item: Seat) -> str:
    """How a block without a dowel gets one."""
    if not item.pins:
        return f"lay {item.name} on a face with bores, or clamp it down and set it by measuring"
    if item.place.pins is not None:
        return f"take pins = [...] of {item.name} out, so that every bore over a hole gets its dowel"
    return f"place {item.name} where its bores find holes"


def _pad_travel(item: Seat, shift: float, turn: float) -> float:
    """How far the worst pad can move along its normal, mm."""
    import numpy as np

    seated = [p.at for p in item.pins if p.state == "seated"]
    middle = np.mean(seated, axis=0)
    up = item.plane_to_world[:3, 2]
    worst = 0.0
    for pad in placed_pads(item):
        if abs(float(pad.normal @ up)) > 0.9:
            continue
        for end in (-0.5, 0.5):
            arm = pad.at + pad.along * (end * pad.pad.length) - middle
            lever = abs(float(np.cross(up, arm) @ pad.normal))
            worst = max(worst, shift + lever * float(np.sin(np.deg2rad(min(turn, 90.0)))))
    return worst


def _carried(job: Job, item: Seat) -> Iterator[Finding]:
    """Whether it lies on something, and whether it tips."""
    carrier = _carrier(job, item)
    if carrier is None or item.complaint:
        return
    foot, area, gap = carrier
    on = foot.intersection(area)
    if gap > SHOP.contact or on.area <= 0.0:
        message = f"{item.name} lies on nothing" if on.area <= 0.0 else f"{item.name} hangs above what it should lie on"
        yield CHECK.finding(
            "floats",
            [item.name],
            message,
            measured=gap if gap > SHOP.contact else None,
            limit=SHOP.contact if gap > SHOP.contact else None,
            unit="mm",
            at=_at(item),
            remedy=f"lower it by {show(gap, job.scene.units)}" if on.area > 0.0 else _elsewhere(job, item),
        )
        return
    if gap < -SHOP.contact:
        return  # it runs into what it stands on: the interference check has the figure
    out = _reach_out(foot, area)
    if out <= LEAST_OVERHANG:
        return
    weight = _weight_point(job, item)
    support = on.convex_hull
    from shapely import Point as Dot

    if not support.contains(Dot(*weight)) and not item.bolted:
        yield CHECK.finding(
            "tips",
            [item.name],
            f"{item.name} tips over the edge: its weight lies outside the area that carries it",
            measured=float(support.distance(Dot(*weight))),
            limit=0.0,
            unit="mm",
            at=_at(item),
            remedy=f"move it in by at least {show(float(support.distance(Dot(*weight))), job.scene.units)}, or bolt it",
        )
        return
    yield CHECK.finding(
        "overhang",
        [item.name],
        f"{item.name} hangs over the edge but does not tip",
        measured=out,
        unit="mm",
        at=_at(item),
        remedy="nothing, unless something presses on the part that hangs over; then move it in or bolt it down",
    )


def _carrier(job: Job, item: Seat) -> tuple[Polygon, Polygon, float] | None:
    """Foot and carrying area in the seat plane, and the gap between them; None where no plate is known."""
    from shapely import Polygon

    foot = Polygon(_foot(item))
    to_plane = frame.inverse(item.plane_to_world)
    if item.stacked:
        lower = job.seats[item.stands_on]
        return foot, Polygon(_upper_side(lower, frame.chain(to_plane, lower.model_to_world))), 0.0
    grid = job.table.grid(item.stands_on)
    if grid.size is None:
        return None
    x0, y0, x1, y1 = grid.size
    corners = [(x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0)]
    plate = frame.points(frame.chain(to_plane, grid.grid_to_world), corners)
    gap = -float(plate[0, 2])
    if gap > SHOP.contact and (under := _block_under(job, item)) is not None:
        return foot, under, 0.0
    return foot, Polygon(plate[:, :2]), gap


def _block_under(job: Job, item: Seat) -> Polygon | None:
    """The upper side of a block that a measured block happens to stand on, in its seat plane."""
    from shapely import box

    level = float(item.plane_to_world[2, 3])
    to_plane = frame.inverse(item.plane_to_world)
    x, y = (float(v) for v in item.plane_to_world[:2, 3])
    for body in job.bodies:
        low, high = body.box
        inside = low[0] <= x <= high[0] and low[1] <= y <= high[1]
        solid = body.item != item.name and body.role in ("block", "clamp")
        if solid and inside and abs(float(high[2]) - level) <= SHOP.contact:
            corners = frame.points(to_plane, [[low[0], low[1], level], [high[0], high[1], level]])
            return box(*corners.min(axis=0)[:2], *corners.max(axis=0)[:2])
    return None


def _foot(item: Seat) -> Array:
    """Corners of its foot in the seat plane, (n, 2)."""
    import numpy as np

    flat = np.array([[x, y, 0.0] for x, y in item.part.foot(item.face)])
    # foot() is given upright but not shifted: take it through the same turn and shift as the block itself
    upright = face_down(item.face)
    to_plane = frame.chain(frame.inverse(item.plane_to_world), item.model_to_world, frame.inverse(upright))
    result: Array = frame.points(to_plane, flat)[:, :2]
    return result


def _upper_side(lower: Seat, pose: Array) -> Array:
    """Corners of the side of a block that is up, in another plane, (n, 2): the box of the block from above."""
    import numpy as np

    low, high = lower.part.box()
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    from shapely import MultiPoint

    hull = MultiPoint(frame.points(pose, corners)[:, :2]).convex_hull
    result: Array = np.asarray(hull.exterior.coords, dtype=np.float64)
    return result


def _reach_out(foot: Polygon, area: Polygon) -> float:
    """How far the foot reaches beyond the carrying area, mm."""
    from shapely import Point as Dot

    return max(float(area.distance(Dot(xy))) for xy in foot.exterior.coords)


def _weight_point(job: Job, item: Seat) -> tuple[float, float]:
    """Where the block's weight acts, in the seat plane, from the solids themselves."""
    import numpy as np

    total, moment = 0.0, np.zeros(3)
    for body in job.of_item(item.name):
        if body.role in ("block", "clamp"):
            volume, centre = _centroid(body.shape.mesh.vertices, body.shape.mesh.faces)
            total += volume
            moment += volume * frame.points(body.body_to_world, centre)
    local = frame.points(frame.inverse(item.plane_to_world), moment / total)
    return float(local[0]), float(local[1])


def _centroid(vertices: Array, faces: Any) -> tuple[float, Array]:
    """Volume and centre of a closed mesh: the sum of the tetrahedra from the first vertex."""
    import numpy as np

    a, b, c = (vertices[faces[:, k]] - vertices[0] for k in range(3))
    six = np.einsum("ij,ij->i", a, np.cross(b, c))
    volume = float(six.sum()) / 6.0
    centre: Array = vertices[0] + (six[:, None] * (a + b + c)).sum(axis=0) / 24.0 / volume
    return volume, centre


def _shared(job: Job) -> Iterator[Finding]:
    used: dict[str, list[tuple[Seat, SeatedPin]]] = defaultdict(list)
    for item in job.seats.values():
        for pin in item.pins:
            if pin.state == "seated" and pin.hole is not None:
                used[pin.hole].append((item, pin))
    for hole, holders in sorted(used.items()):
        first, *others = holders
        for other, pin in others:
            x, y, z = (float(v) for v in pin.at)
            yield CHECK.finding(
                "hole-shared",
                [other.name, first[0].name],
                f"{other.name} and {first[0].name} both want a dowel in {hole}",
                at=(x, y, z),
                remedy=_elsewhere(job, other, taken=frozenset(used)),
            )


def _stock(job: Job) -> Iterator[Finding]:
    from fixture3d.job.inventory import shortages

    for short in shortages(job):
        yield CHECK.finding(
            "short-of-blocks",
            [short.model],
            f"the setup takes more of {short.what} than the inventory lists",
            measured=float(short.needed),
            limit=float(short.owned),
            remedy=f"make or borrow {short.needed - short.owned} more, and count them in the inventory",
        )


def _elsewhere(job: Job, item: Seat, taken: frozenset[str] = frozenset()) -> str:
    """The nearest seat that works, in words."""
    anchor = next((p.pin for p in item.pins if p.asked), item.pins[0].pin if item.pins else None)
    if anchor is None:
        return ""
    plane, dowels = plane_of(job, item), dowel_fit(job, item)
    names = frozenset(p.pin.name for p in item.pins if p.asked) | {anchor.name}
    used = frozenset(h for s in job.seats.values() if s.name != item.name for h in s.holes) | taken
    at = _xy(item, anchor)
    for seat_ in seat.proposals(item.part, item.face, plane, dowels, anchor=anchor, at=at, turn=item.turn, names=names):
        if not used & frozenset(seat_.holes):
            return f"nearest seat that works: hole {seat_.hole}, turn {seat_.turn:g}"
    return "no hole near it takes these pins; leave pins out with pins = [...] or choose another model"


def _xy(item: Seat, anchor: Pin) -> tuple[float, float]:
    """Where a pin stands in the seat plane, mm."""
    at = next(p.at for p in item.pins if p.pin.name == anchor.name)
    local = frame.points(frame.inverse(item.plane_to_world), at)
    return float(local[0]), float(local[1])


def _second_pin(job: Job, item: Seat) -> str:
    """A turn in which a second bore finds a hole, with the dowel left where it is."""
    plane = plane_of(job, item)
    anchor = next(p.pin for p in item.pins if p.state == "seated")
    xy = _xy(item, anchor)
    best: tuple[float, float] | None = None
    for turn in (45.0 * k for k in range(8)):
        pose = seat.model_to_plane(item.part, item.face, anchor, xy, turn)
        pins = seat.seat_pins(item.part, item.face, pose, plane, dowel_fit(job, item), anchor=anchor, asked=None)
        if sum(p.state == "seated" for p in pins) >= 2:
            change = abs((turn - item.turn + 180.0) % 360.0 - 180.0)
            best = min(best, (change, turn)) if best is not None else (change, turn)
    if best is not None:
        return f"turn = {best[1]:g} puts a second dowel in; or hold it down with bolt = true"
    return "hold it down with bolt = true, or choose a block with two bores"


def _nearest_hole(job: Job, item: Seat) -> str:
    x, y, _ = _at(item)
    near = job.table.nearest_holes((x, y), 1)
    if not near:
        return ""
    off = ((near[0].xy[0] - x) ** 2 + (near[0].xy[1] - y) ** 2) ** 0.5
    if off <= SHOP.contact:
        return f'its origin is over a hole: hole = "{near[0].name}" places it there without measuring'
    return f"the nearest hole is {near[0].name}, {show_fine(off, job.scene.units)} away"
