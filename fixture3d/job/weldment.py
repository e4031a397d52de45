"""The weldment as data: its pieces, where each lies, how its ends are cut and how long it is sawn. No geometry kernel.

Frame of a member: its origin where the first cut crosses the centre line, X along the centre line, the section's
width along Y, its height along Z. With ``roll = 0`` Z is as near the weldment's Z as it can be; for members along
Z it is the weldment's Y.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fixture3d import frame
from fixture3d.errors import FixtureError, ImportFailed, Problem, SceneError, StockError, nearest_name
from fixture3d.frame import Array
from fixture3d.job import polygon
from fixture3d.job.bent import Bent, bend, bend_notes, end_run, in_bend, legs_near, of_leg
from fixture3d.job.cuts import Cut, CutImpossible, CutPlane, Run
from fixture3d.job.endcut import EndCut, HoleCut, farthest
from fixture3d.job.ends import end_cut, holes, severed
from fixture3d.job.member_volume import volume
from fixture3d.job.plate_dxf import Outline, read_outline
from fixture3d.stock.section import STEEL, Loop, Section
from fixture3d.stock.stock import section
from fixture3d.tolerance import NUMERIC
from fixture3d.units import show

if TYPE_CHECKING:
    from fixture3d.cache import Store
    from fixture3d.scene import Scene
    from fixture3d.scene.fields import Item
    from fixture3d.scene.schema import End, Frame, Member, Plate, WeldmentKeys
    from fixture3d.solid.step_in import ImportedSolid

Kind = Literal["member", "plate", "solid"]


@dataclass(frozen=True, kw_only=True)
class PlateShape:
    """A flat cut piece in its own frame: outline in XY, thickness along Z from 0.

    Attributes:
        outline: the outer loop of lines and arcs, mm, counter-clockwise.
        thickness: mm.
        holes: (x, y, diameter) mm.
        openings: inner loops that are not round holes, clockwise.
    """

    outline: Loop
    thickness: float
    holes: tuple[polygon.Hole, ...] = ()
    openings: tuple[Loop, ...] = ()

    @property
    def loops(self) -> tuple[Loop, ...]:
        """All that is cut: the outer loop, then round holes and openings, which turn right."""
        return (self.outline, *(polygon.ring(hole) for hole in self.holes), *self.openings)

    @property
    def size(self) -> tuple[float, float]:
        """Sides of the box round the outline along its X and Y, mm."""
        low, high = polygon.box(self.outline)
        return float(high[0] - low[0]), float(high[1] - low[1])

    @property
    def area(self) -> float:
        """Area of the plate without its holes, mm2; exact for lines and arcs."""
        return sum(polygon.signed_area(loop) for loop in self.loops)


@dataclass(frozen=True, kw_only=True, eq=False)
class Piece:
    """One loose piece of the weldment.

    Attributes:
        name: unique.
        item: the member, frame or plate of the scene that it comes from; of a file, the piece itself.
        kind: a member of stock, a plate, or a solid from a file.
        piece_to_weldment: (4, 4).
        section: of a member, else None.
        length: of a member on its centre line between the cuts, mm; 0 for others.
        ends: the two cuts of a member in its own frame: at its start, at its end. Of a coped end the flat cut at the
            same angle through the point where the centre line stops.
        end_cuts: the same two with all that is cut there: copes, slots, notches.
        holes: across a member, in its own frame.
        cut_length: of a member, mm from tip to tip: what the saw is set to.
        least_length: of a member, mm: the shortest line along it that is left, slots and notches set aside.
        bent: centre line of a bent member; its cuts, holes and lengths are those of its straight length, along which X
            counts; None of a straight one.
        mitres: of a member, degrees away from square at each end.
        plate: of a plate, else None.
        solid: of a solid from a file, else None.
        colour: of a solid from a file that gives it one, sRGB from 0 to 1, else None.
        mass: kg of steel; None where it is not known without the geometry.
        notes: what a reader should know about it.
    """

    name: str
    item: str
    kind: Kind
    piece_to_weldment: Array
    section: Section | None = None
    length: float = 0.0
    ends: tuple[CutPlane, CutPlane] | None = None
    end_cuts: tuple[EndCut, EndCut] | None = None
    holes: tuple[HoleCut, ...] = ()
    cut_length: float = 0.0
    least_length: float = 0.0
    bent: Bent | None = None
    mitres: tuple[float, float] = (0.0, 0.0)
    plate: PlateShape | None = None
    solid: ImportedSolid | None = None
    colour: tuple[float, float, float] | None = None
    mass: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def tips(self) -> tuple[float, float]:
        """X of the outermost points of a member's two cuts, mm; zeros for others."""
        if self.section is None or self.end_cuts is None:
            return 0.0, 0.0
        return self.end_cuts[0].tip(self.section), self.end_cuts[1].tip(self.section)


@dataclass(frozen=True, kw_only=True, eq=False)
class Weldment:
    """All pieces, and where the weldment stands.

    Attributes:
        pieces: in the order of the scene, as drawn.
        weldment_to_world: (4, 4), from its drawing; with a reflection in it when the work is mirrored, so that points
            and directions of the drawing come out where they are built. Solids take ``mirrored`` into account.
        mirrored: the work is the mirror image of its drawing.
    """

    pieces: tuple[Piece, ...]
    weldment_to_world: Array
    mirrored: bool = False

    @property
    def rigid_to_world(self) -> Array:
        """``weldment_to_world`` without the reflection, (4, 4): X of the drawing is turned back."""
        return frame.chain(self.weldment_to_world, MIRROR) if self.mirrored else self.weldment_to_world

    def piece(self, name: str) -> Piece:
        """The piece of that name.

        Raises:
            KeyError: there is none.
        """
        for piece in self.pieces:
            if piece.name == name:
                return piece
        raise KeyError(name)

    @property
    def mass(self) -> float | None:
        """Sum of the pieces' mass in kg; None when one is not known."""
        masses = [piece.mass for piece in self.pieces]
        return None if any(m is None for m in masses) else float(sum(m for m in masses if m is not None))


def build(scene: Scene, store: Store | None = None) -> Weldment | None:
    """The weldment of a scene; None when the scene has none.

    Args:
        scene: validated data, mm.
        store: cache for files with solids; they are read by the kernel only the first time.

    Raises:
        SceneError: every problem found, each with its place.
    """
    keys = scene.weldment
    listed = bool(scene.members or scene.frames or scene.plates)
    if keys is None and not listed:
        return None
    found = _Problems(scene)
    pieces: list[Piece] = []
    if keys is not None and keys.file is not None:
        if listed:
            found.add(keys, "file", "file together with members, frames or plates", "one of them")
        else:
            pieces = _from_file(scene, keys, found, store)
    else:
        plates = [piece for plate in scene.plates if (piece := _plate(plate, scene, found)) is not None]
        pieces = _members(scene, {plate.name: plate for plate in plates}, found) + plates
        if keys is not None and not listed:
            found.add(keys, "", "it has no pieces", 'a [[member]], [[frame]], [[plate]], or file = "rack.step"')
    for name, count in Counter(piece.name for piece in pieces).items():
        if count > 1:
            found.add((), "", f'{count} pieces are called "{name}"', "names that differ")
    pose = _pose(scene, found)
    found.raise_if_any()
    return Weldment(pieces=tuple(pieces), weldment_to_world=pose, mirrored=keys is not None and keys.mirrored)


class _Problems:
    """Collects everything wrong in one run, with file and line where the scene knows them."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.found: list[Problem] = []

    def add(self, item: Item | tuple[str, ...], key: str, what: str, expected: str = "", nearest: str = "") -> None:
        from fixture3d.scene import problem

        self.found.append(problem(self.scene, item, key, what, expected, nearest))

    def raise_if_any(self) -> None:
        if self.found:
            raise SceneError(sorted(self.found, key=lambda p: p.line))


def _members(scene: Scene, plates: dict[str, Piece], found: _Problems) -> list[Piece]:
    runs = [run for member in scene.members if (run := _member_run(scene, member, found)) is not None]
    for outer in scene.frames:
        runs += _frame_runs(scene, outer, found)
    by_name = {run.name: run for run in runs}
    # Names that fell out because of their own fault are not reported a second time as unknown.
    members = {m.name for m in scene.members} | {name for f in scene.frames for name in f.members}
    stated = members | {plate.name for plate in scene.plates}
    told: set[frozenset[str]] = set()
    pieces = []
    for run in runs:
        good = True
        for cut in (cut for cut in run.cuts if cut.to):
            known = members if cut.kind == "mitre_to" else stated
            good = good and cut.to != run.name and (cut.to in by_name or (cut.to in plates and cut.to in known))
            if cut.to == run.name:
                found.add(run.source, "ends", f"{cut.kind} names the member itself", "another member")
            elif cut.to not in known:
                near = nearest_name(cut.to, known - {run.name})
                noun = "member or plate" if cut.kind == "against" else "member"
                found.add(run.source, "ends", f'{cut.kind} = "{cut.to}" is not a {noun}', f"the name of a {noun}", near)
            elif cut.kind != "mitre_to" and cut.to in by_name:
                good = _runs_through(run, by_name[cut.to], told, found) and good
        if good and (piece := _cut(run, by_name, plates, scene, found)) is not None:
            pieces.append(piece)
    return pieces


def _runs_through(run: Run, other: Run, told: set[frozenset[str]], found: _Problems) -> bool:
    """Whether the other member is not cut to this one in its turn; told once for the two."""
    if not any(cut.to == run.name for cut in other.cuts):
        return True
    both = frozenset((run.name, other.name))
    if both not in told:
        what = f'it is cut to "{other.name}", and "{other.name}" is cut to it: neither runs through'
        found.add(run.source, "ends", what, "one of the two cut to the other")
    told.add(both)
    return False


def _section(scene: Scene, item: Member | Frame, found: _Problems) -> Section | None:
    try:
        return section(item.stock, scene.units)
    except StockError as error:
        what, _, nearest = str(error).partition("; nearest: ")
        found.add(item, "stock", what, "", nearest)
        return None


def _member_run(scene: Scene, member: Member, found: _Problems) -> Run | None:
    stock = _section(scene, member, found)
    start, stop = (np.array(point) for point in member.line[:2])
    length = float(np.linalg.norm(stop - start))
    if length < NUMERIC.merge and member.path is None:
        found.add(member, "to", "from and to are the same point", "two different points")
        return None
    if stock is None:
        return None
    axes = frame.identity()
    if length >= NUMERIC.merge:
        axes = frame.chain(member_frame(start, stop - start), frame.rotation((1, 0, 0), member.roll))
    bends = None
    if member.path is not None:
        try:
            bends = bend(member.path, member.bend or 0.0, axes, stock, scene.units)
        except CutImpossible as error:
            found.add(member, "bend" if "radius" in error.what else "path", error.what, error.expected)
            return None
    return Run(
        name=member.name,
        item=member.name,
        source=member,
        section=stock,
        run_to_weldment=axes,
        length=length if bends is None else bends.length,
        cuts=(_cut_of(member.ends[0]), _cut_of(member.ends[1])),
        holes=member.holes,
        bent=bends,
    )


def _cut_of(end: End) -> Cut:
    return Cut(
        kind=end.kind,
        degrees=end.mitre or 0.0,
        about=end.about or "z",
        to=end.to or "",
        gap=end.gap or 0.0,
        slot=end.slot,
        notch=end.notch,
    )


def member_frame(start: Array, direction: Array, up: Sequence[float] = (0.0, 0.0, 1.0)) -> Array:
    """The frame of a member with roll 0: member_to_weldment, (4, 4).

    Args:
        start: (3,) mm, its first point.
        direction: (3,), of any length.
        up: (3,) where the section's height points, as near as can be. A member along it takes the Y axis.
    """
    x = frame.unit(direction)
    hint = np.asarray(up, dtype=np.float64)
    if float(np.linalg.norm(np.cross(x, hint))) < math.sin(math.radians(NUMERIC.angle)) * 1e3:
        hint = np.array([0.0, 1.0, 0.0])
    z = frame.unit(hint - x * float(hint @ x))
    return frame.from_axes(start, x, np.cross(z, x), z)


def _frame_runs(scene: Scene, outer: Frame, found: _Problems) -> list[Run]:
    """The four members of a frame, run round counter-clockwise so that open sections face one way."""
    stock = _section(scene, outer, found)
    axes = _plane_frame(outer, found)
    if stock is None or axes is None:
        return []
    b = stock.width
    if min(outer.width, outer.height) <= 2 * b:
        least = min(outer.width, outer.height)
        found.add(
            outer,
            "width" if outer.width <= outer.height else "height",
            f"{show(least, scene.units)} outside leaves nothing between two members of {show(b, scene.units)}",
            f"more than {show(2 * b, scene.units)}",
        )
        return []
    w, h, c = outer.width, outer.height, b / 2
    front, back, left, right = outer.members
    # Where the X members begin and end along X, and the Y members along Y.
    inset_x = {"mitre": c, "butt x": 0.0, "butt y": b}[outer.corners]
    inset_y = {"mitre": c, "butt x": b, "butt y": 0.0}[outer.corners]
    sides = [
        (front, (inset_x, c), (w - inset_x, c), left, right),
        (right, (w - c, inset_y), (w - c, h - inset_y), front, back),
        (back, (w - inset_x, h - c), (inset_x, h - c), right, left),
        (left, (c, h - inset_y), (c, inset_y), back, front),
    ]
    runs = []
    for name, start, stop, before, after in sides:
        a, z = np.array([*start, 0.0]), np.array([*stop, 0.0])
        cuts = (Cut(), Cut())
        if outer.corners == "mitre":
            cuts = (Cut(kind="mitre_to", to=before), Cut(kind="mitre_to", to=after))
        runs.append(
            Run(
                name=name,
                item=outer.name,
                source=outer,
                section=stock,
                run_to_weldment=frame.chain(axes, member_frame(a, z - a)),
                length=float(np.linalg.norm(z - a)),
                cuts=cuts,
            )
        )
    return sorted(runs, key=lambda run: (front, back, left, right).index(run.name))


def _cut(run: Run, others: dict[str, Run], plates: dict[str, Piece], scene: Scene, found: _Problems) -> Piece | None:
    ends, notes = [], list(run.section.notes)
    key = "ends" if run.item == run.name else "corners"
    for which in (0, 1):
        straight = end_run(run, which)
        try:
            end, said = end_cut(straight, which, legs_near(others, straight.end(which)[0]), plates, scene.units)
        except CutImpossible as error:
            found.add(run.source, key, of_leg(error.what, others.get(run.cuts[which].to)), error.expected)
            return None
        ends.append(end)
        notes += [of_leg(note, others.get(run.cuts[which].to)) for note in said]
    least = _least(run.section, ends[0], ends[1])
    if least <= NUMERIC.merge:
        found.add(
            run.source,
            key,
            f"its two cuts meet: {show(least, scene.units)} is left on its short side",
            "a longer member or flatter cuts",
        )
        return None
    start = ends[0].plane.point
    both = (ends[0].moved(-float(start[0])), ends[1].moved(-float(start[0])))
    fault = severed(run.section, both)
    if fault is not None:
        found.add(run.source, key, *fault)
        return None
    try:
        drilled = holes(run.section, both, run.holes, -float(start[0]), scene.units)
    except CutImpossible as error:
        found.add(run.source, "holes", error.what, error.expected)
        return None
    bends = None
    if run.bent is not None:
        bends = run.bent.moved(-float(start[0]))
        astray = in_bend(bends, run.section, both, drilled, scene.units)
        if astray is not None:
            found.add(run.source, *astray)
            return None
        notes += bend_notes(bends, run.section, scene.units)
    return Piece(
        name=run.name,
        item=run.item,
        kind="member",
        piece_to_weldment=frame.chain(run.run_to_weldment, frame.translation(start)),
        section=run.section,
        length=float(both[1].plane.point[0]),
        ends=(both[0].plane, both[1].plane),
        end_cuts=both,
        holes=drilled,
        cut_length=round(both[1].tip(run.section) - both[0].tip(run.section), 9),
        least_length=least,
        bent=bends,
        mitres=(both[0].plane.mitre, both[1].plane.mitre),
        mass=volume(run.section, both, drilled) * STEEL * 1e-9,
        notes=tuple(notes),
    )


def _least(stock: Section, first: EndCut, last: EndCut) -> float:
    """Length left on the shortest line along the member, mm; slots and notches set aside."""
    if first.saddle is None and last.saddle is None:
        between = float(last.plane.point[0] - first.plane.point[0])
        g, h = first.plane.slope, last.plane.slope
        return between - stock.reach(g[0] - h[0], g[1] - h[1])
    return -farthest(stock.outline()[0], lambda y, z: first.x(y, z) - last.x(y, z))


def _plate(plate: Plate, scene: Scene, found: _Problems) -> Piece | None:
    axes = _plane_frame(plate, found)
    cut = _outline(plate, scene, found)
    if cut is None or axes is None:
        return None
    holes = (*cut.holes, *((hole.at[0], hole.at[1], hole.diameter) for hole in plate.holes))
    wrong = polygon.fault(cut.outline, holes, cut.openings)
    if wrong:
        stated = "outline" if plate.dxf is None else "dxf"
        found.add(plate, "holes" if wrong.startswith("hole") and plate.holes else stated, wrong)
        return None
    shape = PlateShape(outline=cut.outline, thickness=plate.thickness, holes=holes, openings=cut.openings)
    return Piece(
        name=plate.name,
        item=plate.name,
        kind="plate",
        piece_to_weldment=axes,
        plate=shape,
        mass=shape.area * shape.thickness * STEEL * 1e-9,
        notes=cut.notes,
    )


def _outline(plate: Plate, scene: Scene, found: _Problems) -> Outline | None:
    """What is cut out: of the stated corners, or of the drawing."""
    if plate.dxf is None:
        corners = polygon.tidy(plate.outline or ())
        if len(corners) < 3:
            found.add(plate, "outline", "its outline has fewer than 3 different points")
            return None
        return Outline(outline=polygon.lines(corners))
    try:
        return read_outline(scene.base / plate.dxf, plate.unit, plate.layer, scene.units)
    except ImportFailed as error:
        what, _, expected = str(error).partition("; expected ")
        found.add(plate, "dxf", what, expected)
        return None


def _plane_frame(item: Plate | Frame, found: _Problems) -> Array | None:
    try:
        return frame.along(item.at, item.normal, item.along)
    except ValueError:
        found.add(item, "along", "along points the same way as normal", "two directions at an angle")
        return None


def _from_file(scene: Scene, keys: WeldmentKeys, found: _Problems, store: Store | None) -> list[Piece]:
    from fixture3d.solid.step_in import read_solids

    try:
        solids = read_solids(scene.base / str(keys.file), unit=keys.unit, store=store)
    except FixtureError as error:
        what, _, nearest = str(error).partition("; nearest: ")
        found.add(keys, "file", what, "", nearest)
        return []
    blocks = {block.name.casefold() for block in (*scene.places, *scene.clamps)}
    for solid in solids:
        if solid.name.casefold() in blocks:
            found.add(
                keys, "file", f'it has a solid called "{solid.name}", as a block is', "another name for the block"
            )
    return [
        Piece(
            name=solid.name,
            item=solid.name,
            kind="solid",
            piece_to_weldment=frame.identity(),
            solid=solid,
            colour=solid.colour,
            mass=solid.mass,
            notes=solid.notes,
        )
        for solid in solids
    ]


def _pose(scene: Scene, found: _Problems) -> Array:
    """weldment_to_world of a scene, (4, 4); the origin over hole A1 when the scene does not say."""
    from fixture3d.errors import TableError

    keys = scene.weldment
    if keys is None:
        return frame.identity()
    try:
        plane, at = scene.table.hole_to_point(keys.hole)
    except TableError as error:
        what, _, nearest = str(error).partition("; nearest: ")
        found.add(keys, "hole", what, "", nearest)
        return frame.identity()
    rise = np.asarray(plane.normal) * keys.lift
    origin = np.asarray(at) + np.array([*keys.offset, 0.0]) + rise
    return weldment_pose(origin, up=keys.up, tilt=keys.tilt, turn=keys.turn, mirrored=keys.mirrored)


_UP = {
    "z": ((1.0, 0.0, 0.0), 0.0),
    "-z": ((1.0, 0.0, 0.0), 180.0),
    "y": ((1.0, 0.0, 0.0), 90.0),
    "-y": ((1.0, 0.0, 0.0), -90.0),
    "x": ((0.0, 1.0, 0.0), -90.0),
    "-x": ((0.0, 1.0, 0.0), 90.0),
}


MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])
"""Drawing to drawing, (4, 4): left and right change places."""
_OTHER_WAY = {"x": "-x", "-x": "x"}


def weldment_pose(
    origin: Array,
    up: str = "z",
    tilt: tuple[float, float] = (0.0, 0.0),
    turn: float = 0.0,
    mirrored: bool = False,
) -> Array:
    """weldment_to_world, (4, 4).

    Args:
        origin: (3,) mm, where the weldment's origin sits in the world.
        up: which weldment axis points up, ``"z"`` or ``"-y"`` and so on.
        tilt: degrees about world X and then about world Y, after ``up``.
        turn: degrees counter-clockwise from above, last.
        mirrored: the drawing is mirrored first; the axis that points up is still that of the drawing.
    """
    pose = frame.chain(
        frame.translation(origin),
        frame.rotation((0, 0, 1), turn),
        frame.rotation((0, 1, 0), tilt[1]),
        frame.rotation((1, 0, 0), tilt[0]),
        frame.rotation(*_UP[_OTHER_WAY.get(up, up) if mirrored else up]),
    )
    return frame.chain(pose, MIRROR) if mirrored else pose
