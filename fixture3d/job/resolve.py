"""From a scene and the library to a job: every block made, stood in its holes, and every piece in its place.

Whatever the scene asks for that cannot exist (an unknown model, a parameter out of range, a pin that the block does
not have) is an error that points at the file. Whatever exists but does not work is left in the job for the checks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import partial
from typing import Literal, TypeVar

import numpy as np

from fixture3d import frame
from fixture3d.cache import Store
from fixture3d.errors import ModelError, Problem, SceneError, nearest_name
from fixture3d.job import Body, Job, Seat, seat
from fixture3d.job.bodies import block_bodies, piece_bodies
from fixture3d.job.clamping import OutOfReach, Stand, aim, asked_point
from fixture3d.job.figures import figure_problems
from fixture3d.job.found_welds import Found
from fixture3d.job.in_slot import TAKES, SlotMisfit, stand_in_slot, takes_slot
from fixture3d.job.inventory import table_pattern
from fixture3d.job.owned import mark_problems, stock_problems
from fixture3d.job.plane import ALONG, BlockPlane, FreePlane, GridPlane, Plane
from fixture3d.job.staging import file_piece_problems, finished_welds, on_the_table
from fixture3d.job.welding import declared_welds
from fixture3d.job.weldment import Weldment
from fixture3d.job.weldment import build as build_weldment
from fixture3d.library import Library
from fixture3d.part import FACES, NORMALS, Face, Part, Pattern, Pin, parameters
from fixture3d.scene import Scene, problem_at
from fixture3d.scene.schema import Clamp, Place
from fixture3d.scene.stages import joined
from fixture3d.scene.table import Grid
from fixture3d.tolerance import SHOP
from fixture3d.units import show

_UP = 0.999  # cosine: a socket that opens straight away from what its block stands on
Item = Place | Clamp
Holds = Literal["pins", "measured", "edge", "slot", "magnet"]


def resolve(scene: Scene, library: Library, store: Store | None = None, found: Found | None = None) -> Job:
    """Assemble the setup.

    Args:
        scene: validated data.
        library: the models in use.
        store: where solids and answers are kept between runs.
        found: the welds among those of the scene that come from its geometry.

    Raises:
        SceneError: the scene asks for something that cannot exist; all such problems in one error.
    """
    problems: list[Problem] = []
    weldment = _gather(problems, lambda: build_weldment(scene, store))
    pieces = piece_bodies(scene, weldment, store) if weldment is not None and not problems else ()
    if weldment is not None:
        problems += figure_problems(scene, weldment)
    if weldment is not None and scene.stage is not None:
        problems += file_piece_problems(scene, weldment)
        weldment, pieces = on_the_table(scene, weldment, pieces)
    work = _Work(scene, library, {p.name: p for p in pieces}, weldment)
    for kind, index, item in _in_order(scene):
        made = _gather(problems, partial(work.seat, kind, index, item))
        if made is not None:
            work.seats[made.name] = made
    problems += _inventory(scene, library, work.seats)
    if problems:
        raise SceneError(sorted(problems, key=lambda p: (p.line, p.where)))
    ordered = {item.name: work.seats[item.name] for item in (*scene.places, *scene.clamps)}
    bodies: list[Body] = []
    for placed in ordered.values():
        bodies += block_bodies(placed, library, scene.table, store)
    bodies += pieces
    by_name = {p.name: p for p in pieces}
    welds, weld_problems = declared_welds(scene, weldment, by_name, found)
    done = finished_welds(scene, weldment, by_name, found)
    return Job(
        scene=scene,
        library=library,
        table=scene.table,
        weldment=weldment,
        seats=ordered,
        bodies=tuple(bodies),
        welds=welds,
        weld_problems=weld_problems,
        found=found,
        stage=scene.stage.name if scene.stage is not None else None,
        done=tuple(weld for weld, _ in done),
        joined=tuple(joined([names for _, names in done])),
        store=store,
    )


def reseated(job: Job, item: Item) -> Job:
    """The job with one place or clamp changed, and all that is stacked on it; nothing else is made again.

    Args:
        job: the setup.
        item: what stands in the place of the item of its name.

    Raises:
        SceneError: what is asked for cannot exist.
    """
    scene = job.scene
    group = "clamps" if isinstance(item, Clamp) else "places"
    items = tuple(item if old.name == item.name else old for old in getattr(scene, group))
    scene = scene.model_copy(update={group: items})
    kept = dict(job.seats)
    pieces = {body.name: body for body in job.pieces()}
    work = _Work(scene, job.library, pieces, job.weldment, kept)
    moving: set[str] = set()
    for kind, index, each in _in_order(scene):
        if each.name == item.name or each.on in moving:
            moving.add(each.name)
            made = work.seat(kind, index, each)
            if made is not None:
                kept[made.name] = made
    bodies: list[Body] = []
    for name, placed in kept.items():
        new = name in moving
        bodies += block_bodies(placed, job.library, scene.table, job.store) if new else job.of_item(name)
    return replace(job, scene=scene, seats=kept, bodies=(*bodies, *job.pieces()))


def seats_with(job: Job, items: Sequence[Item]) -> dict[str, Seat]:
    """How all blocks stand with some places or clamps changed; no solids are made.

    Args:
        job: the setup.
        items: each in the place of the item of its name.

    Raises:
        SceneError: what is asked for cannot exist.
    """
    new = {item.name: item for item in items}
    groups = {key: tuple(new.get(old.name, old) for old in getattr(job.scene, key)) for key in ("places", "clamps")}
    scene = job.scene.model_copy(update=groups)
    kept = dict(job.seats)
    work = _Work(scene, job.library, {body.name: body for body in job.pieces()}, job.weldment, kept)
    moving: set[str] = set()
    for kind, index, each in _in_order(scene):
        if each.name in new or each.on in moving:
            moving.add(each.name)
            made = work.seat(kind, index, each)
            if made is not None:
                kept[made.name] = made
    return kept


def with_block(job: Job, item: Place) -> Job:
    """The job with one more block in it, the last in the file; nothing else is made again.

    Raises:
        SceneError: what is asked for cannot exist.
    """
    scene = job.scene.model_copy(update={"places": (*job.scene.places, item)})
    kept = dict(job.seats)
    work = _Work(scene, job.library, {body.name: body for body in job.pieces()}, job.weldment, kept)
    made = work.seat("place", len(job.scene.places), item)
    if made is None:
        return job
    kept[made.name] = made
    own = tuple(block_bodies(made, job.library, scene.table, job.store))
    others = tuple(body for body in job.bodies if body.role != "piece")
    return replace(job, scene=scene, seats=kept, bodies=(*others, *own, *job.pieces()))


def dowel_fit(job: Job, item: Seat) -> seat.Fit:
    """The fit of a block's dowels in what it stands on."""
    return _fit(job.scene, item.part.pattern.bore)


def plane_of(job: Job, item: Seat) -> Plane:
    """What a block stands on."""
    if item.stacked:
        plane = block_plane(job.seats[item.stands_on], item.place.socket)
        return plane if plane is not None else FreePlane(item.plane_to_world, item.part.pattern.bore)
    if item.holds != "pins":
        return FreePlane(item.plane_to_world, item.part.pattern.bore)
    return GridPlane(job.table, job.table.grid(item.stands_on))


def block_plane(lower: Seat, socket: str | None = None) -> BlockPlane | None:
    """The plane of a placed block's sockets in which the named one opens.

    On its upper side (away from what it stands on) the X axis is that of the plane below, so that turns count from
    the same line at every level of a stack. On any other side X runs to the right of someone who looks at that face.

    Args:
        lower: the block that carries.
        socket: None for the first that opens upward.

    Returns:
        None where there is no such socket, or where it opens on to what the block stands on.
    """
    up = lower.plane_to_world[:3, 2]
    every = lower.part.sockets()
    leans = {s.name: float(frame.directions(lower.model_to_world, NORMALS[s.face]) @ up) for s in every}
    named = [s for s in every if (leans[s.name] > _UP if socket is None else s.name == socket)]
    if not named or leans[named[0].name] < -_UP:
        return None
    chosen = named[0]
    to_world, row = lower.plane_to_world.copy(), lower.turn
    if leans[chosen.name] <= _UP:
        pose, row = lower.model_to_world, 0.0
        out, along = (frame.directions(pose, axes[chosen.face]) for axes in (NORMALS, ALONG))
        to_world = frame.from_axes((0.0, 0.0, 0.0), along, np.cross(out, along), out)
    to_world[:3, 3] = frame.points(lower.model_to_world, chosen.at)
    to_plane = frame.chain(frame.inverse(to_world), lower.model_to_world)
    local = [(s.name, frame.points(to_plane, s.at)) for s in every if s.face == chosen.face]
    level = [(name, (float(p[0]), float(p[1]))) for name, p in local if abs(float(p[2])) <= SHOP.contact]
    return BlockPlane(lower.name, to_world, lower.part.pattern.bore, tuple(level), row)


def _fit(scene: Scene, bore: float) -> seat.Fit:
    return seat.fit(bore, scene.table.bore_limits, SHOP.pin_class)


def _inventory(scene: Scene, library: Library, seats: Mapping[str, Seat]) -> Iterator[Problem]:
    """What is wrong with the lines of the inventory, and with the marks that places name."""
    pattern = table_pattern(scene)
    try:
        found = list(stock_problems(scene, library, pattern))
        yield from found or mark_problems(scene, library, pattern, seats)
    except SceneError as error:  # the shop's file itself
        yield from error.problems


def _in_order(scene: Scene) -> Iterator[tuple[str, int, Item]]:
    """Places and clamps so that what carries a block comes before it. The loader has refused circles."""
    items: dict[str, tuple[str, int, Item]] = {}
    for kind, group in (("place", scene.places), ("clamp", scene.clamps)):
        for index, item in enumerate(group):
            items[item.name] = (kind, index, item)
    done: set[str] = set()
    for name in items:
        chain = [name]
        while (below := items[chain[-1]][2].on) is not None and below in items and below not in done:
            chain.append(below)
        for each in reversed(chain):
            if each not in done:
                done.add(each)
                yield items[each]


T = TypeVar("T")


def _gather(problems: list[Problem], make: Callable[[], T]) -> T | None:
    try:
        return make()
    except SceneError as error:
        problems.extend(error.problems)
        return None


@dataclass
class _Work:
    """What is known while the blocks are stood up one after the other."""

    scene: Scene
    library: Library
    pieces: Mapping[str, Body]
    weldment: Weldment | None
    seats: dict[str, Seat] = field(default_factory=dict)

    def seat(self, kind: str, index: int, item: Item) -> Seat | None:
        """Stand up one block; None when what carries it could not be made (already reported)."""
        if item.on is not None and item.on not in self.seats:
            return None
        where = (kind, index)
        self._model(where, item)
        grid = self._grid(item)
        part = self._part(where, item, self._pattern(item, grid), {})
        self._may_stand(where, item, part)
        item = self._along(where, item, part)
        if isinstance(item, Clamp) and part.tip() is None:
            raise self._error(where, "model", f'model "{item.model}" is not a clamp', "a model that presses")
        face = self._face(where, item)
        anchor = self._anchor(where, item, part, face)
        plane, at, turn, holds, complaint = self._stand(where, item, part, grid)
        if isinstance(item, Clamp) and item.presses is not None:
            part, turn = self._aim(where, item, part, Stand(plane=plane, at=at, turn=turn, anchor=anchor))
        slide, notch = self._slide(where, item, part)
        shims = self._shims(where, item, part)
        pose = seat.model_to_plane(part, face, anchor if holds == "pins" else None, at, turn)
        if "seat" in shims:
            pose = frame.chain(frame.translation((0.0, 0.0, shims["seat"])), pose)
        asked = self._asked(where, item, part, face)
        dowels = _fit(self.scene, part.pattern.bore)
        if item.bolt and anchor is not None and anchor.integral:
            raise self._error(where, "bolt", f"{item.model} stands on its own shank and has no bore for a bolt")
        pins = seat.seat_pins(part, face, pose, plane, dowels, anchor=anchor, asked=asked, bolted=item.bolt)
        return Seat(
            name=item.name,
            model=item.model,
            part=part,
            place=item,
            clamp=isinstance(item, Clamp),
            face=face,
            turn=turn % 360.0,
            slide=slide,
            notch=notch,
            plane_to_world=plane.to_world,
            model_to_world=frame.chain(plane.to_world, pose),
            stands_on=item.on if item.on is not None else (grid.name if grid is not None else ""),
            stacked=item.on is not None,
            holds=holds,
            anchor=anchor.name if anchor is not None else "",
            pins=pins if holds == "pins" else (),
            shims=shims,
            complaint=complaint,
        )

    def _error(self, where: tuple[str, int], key: str, what: str, expected: str = "", nearest: str = "") -> SceneError:
        return problem_at(self.scene, where, key, what, expected, nearest)

    def _model(self, where: tuple[str, int], item: Item) -> object:
        try:
            return self.library.entry(item.model)
        except ModelError as error:
            what, _, rest = str(error).partition("; nearest: ")
            raise self._error(where, "model", what, nearest=rest) from error

    def _grid(self, item: Item) -> Grid | None:
        """The grid that the block, or the lowest of its stack, stands on."""
        if item.on is not None:
            return None
        if item.hole is None:
            return self.scene.table
        return self.scene.table.hole_to_point(item.hole)[0]

    def _pattern(self, item: Item, grid: Grid | None) -> Pattern:
        if grid is None and item.on is not None:
            return self.seats[item.on].part.pattern
        found = grid if grid is not None else self.scene.table
        return Pattern(pitch=found.pitch[0], bore=found.bore, inch=self.scene.units == "in")

    def _part(self, where: tuple[str, int], item: Item, pattern: Pattern, derived: Mapping[str, object]) -> Part:
        model = self.library.entry(item.model).model
        if model.stands == "edge" and "plate" in parameters(model) and self.scene.table.thickness is not None:
            derived = {"plate": f"{self.scene.table.thickness!r} mm", **derived}
        slot = _slot(item) if takes_slot(model) else None
        if slot is not None:
            derived = {TAKES: f"{self.scene.table.slot(slot).width!r} mm", **derived}
        try:
            return self.library.make(item.model, pattern, {**derived, **item.with_}, self.scene.units)
        except ModelError as error:
            raise SceneError(
                [p for line in str(error).splitlines() for p in self._error(where, _key_of(item, line), line).problems]
            ) from error

    def _face(self, where: tuple[str, int], item: Item) -> Face:
        if item.face is None:
            return "bottom"
        for face in FACES:
            if face == item.face:
                return face
        raise self._error(
            where, "face", f'face "{item.face}" is not known', ", ".join(FACES), nearest_name(item.face, FACES)
        )

    def _anchor(self, where: tuple[str, int], item: Item, part: Part, face: Face) -> Pin | None:
        pins = seat.face_pins(part, face)
        named = "pin" in item.model_fields_set
        if not pins:
            if named:
                raise self._error(where, "pin", f'{item.model} has no pins with its "{face}" face down')
            return None
        for pin in pins:
            if pin.name == item.pin:
                return pin
        if not named:
            return pins[0]
        names = ", ".join(p.name for p in pins)
        raise self._error(where, "pin", f'{item.model} has no pin "{item.pin}" with its "{face}" face down', names)

    def _asked(self, where: tuple[str, int], item: Item, part: Part, face: Face) -> frozenset[str] | None:
        if item.pins is None:
            return None
        known = [p.name for p in seat.face_pins(part, face)]
        for name in item.pins:
            if name not in known:
                raise self._error(
                    where, "pins", f'{item.model} has no pin "{name}" with its "{face}" face down', ", ".join(known)
                )
        return frozenset(item.pins)

    def _stand(
        self, where: tuple[str, int], item: Item, part: Part, grid: Grid | None
    ) -> tuple[Plane, tuple[float, float], float, Holds, str]:
        """The plane it stands on, the anchor's place in it, the turn, what locates it, and a complaint."""
        table, bore = self.scene.table, part.pattern.bore
        if item.on is not None:
            lower = self.seats[item.on]
            return self._stack(where, item, lower, block_plane(lower, item.socket), bore)
        if item.hole is not None and grid is not None:
            hole = table.find(item.hole)
            return GridPlane(table, grid), hole.xy, item.turn, "pins", ""
        if item.free is not None:
            x, y, z, turn = item.free
            holds: Holds = "magnet" if isinstance(item, Clamp) and item.magnet else "measured"
            return FreePlane(frame.translation((x, y, z)), bore), (0.0, 0.0), turn, holds, ""
        if item.edge is not None:
            return self._edge(item, part, bore)
        if isinstance(item, Clamp) and item.slot is not None:
            return self._in_slot(where, item, part, bore)
        raise self._error(where, "hole", "no place is given", "hole, on, free or edge")

    def _stack(
        self, where: tuple[str, int], item: Item, lower: Seat, plane: BlockPlane | None, bore: float
    ) -> tuple[Plane, tuple[float, float], float, Holds, str]:
        names = [s.name for s in lower.part.sockets()]
        wanted = item.socket if item.socket is not None else (names[0] if names else "")
        if wanted not in names:
            expected = ", ".join(names) if names else "a block with sockets, such as a riser"
            what = f'{lower.model} "{lower.name}" has no socket' + (f' "{wanted}"' if wanted else "")
            raise self._error(where, "socket" if item.socket is not None else "on", what, expected)
        if plane is not None:
            sockets = dict(plane.sockets)
            at = sockets[item.socket] if item.socket is not None else plane.sockets[0][1]
            return plane, at, item.turn, "pins", ""
        complaint = f"socket {wanted} of {lower.name} opens on to what {lower.name} stands on"
        if item.socket is None:
            complaint = f"no socket of {lower.name} opens upward as {lower.name} lies"
        low, high = lower.part.box()
        corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
        top = frame.points(frame.chain(frame.inverse(lower.plane_to_world), lower.model_to_world), corners)
        stand = frame.chain(lower.plane_to_world, frame.translation((*top[:, :2].mean(axis=0), top[:, 2].max())))
        return FreePlane(stand, bore, lower.name), (0.0, 0.0), item.turn, "pins", complaint

    def _may_stand(self, where: tuple[str, int], item: Item, part: Part) -> None:
        """Whether the model can be held in the way that the scene asks for."""
        slot = _slot(item)
        if slot is not None and not takes_slot(type(part)):
            names = [n for n, e in self.library.entries.items() if takes_slot(e.model)]
            what = f"{item.model} does not stand in a slot"
            raise self._error(where, "slot", what, f"hole, on or free; or a model that does: {', '.join(names)}")
        if part.stands == "hand":
            what = f"{item.model} is held in the hand and is no part of a setup"
            raise self._error(where, "model", what, "a block or a clamp; `make` writes its files")
        if part.stands == "edge":
            if item.edge is None and slot is None:
                what = f"{item.model} hooks over the table's edge and stands nowhere else"
                if takes_slot(type(part)):
                    what = f"{item.model} hooks over the table's edge or a slot and stands nowhere else"
                raise self._error(where, "model", what, 'edge = "front" and along = the distance from A1 along it')
            if takes_slot(type(part)) and TAKES in item.with_:
                raise self._error(
                    where, "with", f"{TAKES} in with: the table says how wide its slots are", f"no {TAKES}"
                )
            for key in ("turn", "face", "pin", "pins", "bolt"):
                if key in item.model_fields_set and not (key == "turn" and slot is not None):
                    over = "the table's edge" if slot is None else "a slot"
                    what = f"{key} of a block that hooks over {over}, which turns and holds it"
                    raise self._error(where, key, what, f"no {key}")
        elif item.edge is not None and not isinstance(item, Clamp):
            names = [n for n, e in self.library.entries.items() if e.model.stands == "edge"]
            what = f"{item.model} does not hook over the table's edge"
            raise self._error(where, "edge", what, f"hole, on or free; or a model that does: {', '.join(names)}")
        if part.stands == "magnet" and not (isinstance(item, Clamp) and item.magnet):
            what = f"{item.model} is held by its own pull and locates nothing"
            raise self._error(where, "model", what, "a [[clamp]] with free = [x, y, 0, turn] and magnet = true")

    def _along(self, where: tuple[str, int], item: Item, part: Part) -> Item:
        """A clamp on the edge or in a slot with its place along it, which may follow from the point that it presses."""
        if not isinstance(item, Clamp) or item.along is not None or self.weldment is None:
            return item
        if item.edge is None and item.slot is None:
            return item
        try:
            spot = asked_point(item, part.pattern, self.weldment)
        except ValueError as error:
            raise self._error(where, "at", str(error)) from error
        if item.slot is not None:
            run = 0.0 if spot is None else self.scene.table.slot(item.slot).along((float(spot[0]), float(spot[1])))
            return item.model_copy(update={"along": run})
        k = 0 if item.edge in ("front", "back") else 1
        run = 0.0 if spot is None else float(spot[k]) * self.scene.table.naming.signs[k]
        return item.model_copy(update={"along": run})

    def _edge(self, item: Item, part: Part, bore: float) -> tuple[Plane, tuple[float, float], float, Holds, str]:
        """A block at the table's edge: its foot just on the table, or hooked over it; X inward unless turned."""
        table = self.scene.table
        x0, y0, x1, y1 = table.size or table.box
        sx, sy = table.naming.signs
        run = item.along or 0.0
        inward = {"front": 90.0, "back": 270.0, "left": 0.0, "right": 180.0}[str(item.edge)]
        turn = item.turn if "turn" in item.model_fields_set else inward
        low = 0.0 if part.stands == "edge" else part.box()[0][0]
        point = {
            "front": (sx * run, y0),
            "back": (sx * run, y1),
            "left": (x0, sy * run),
            "right": (x1, sy * run),
        }[str(item.edge)]
        c, s = frame.cos_sin(inward)
        at = (point[0] - low * c, point[1] - low * s)
        return FreePlane(frame.identity(), bore), at, turn, "edge", ""

    def _in_slot(
        self, where: tuple[str, int], item: Clamp, part: Part, bore: float
    ) -> tuple[Plane, tuple[float, float], float, Holds, str]:
        """A clamp that goes down through a slot, against that side of it towards which it reaches."""
        slot, piece = self.scene.table.slot(str(item.slot)), self.pieces.get(item.presses or "")
        try:
            at, turn = stand_in_slot(item, part, slot, piece, self.weldment)
        except SlotMisfit as misfit:
            raise self._error(where, misfit.key, misfit.what, misfit.expected, misfit.nearest) from misfit
        except ValueError as error:
            raise self._error(where, "at", str(error)) from error
        return FreePlane(frame.identity(), bore), at, turn, "slot", ""

    def _aim(self, where: tuple[str, int], item: Clamp, part: Part, stand: Stand) -> tuple[Part, float]:
        """The clamp with the measures that bring its tip on to the piece, and its turn."""
        piece = self.pieces.get(item.presses or "")
        if piece is None or self.weldment is None:
            names = sorted(self.pieces)
            raise self._error(
                where,
                "presses",
                f'piece "{item.presses}" is not part of the weldment',
                ", ".join(names),
                nearest_name(item.presses or "", names),
            )
        try:
            derived, aimed = aim(item, part, stand, piece, self.weldment)
        except OutOfReach as error:
            what, _, nearest = str(error).partition("; nearest: ")
            raise self._error(
                where, "presses", what, "a clamp with a longer arm, or in another place", nearest
            ) from error
        except ValueError as error:
            raise self._error(where, "at", str(error)) from error
        if not derived:
            return part, aimed
        fitted = changed(part, _into_range(part, derived))
        for complaint in fitted.rules():
            what, _, expected = complaint.partition("; expected ")
            raise self._error(where, "with", f"to press {item.presses}: {what}", expected or "another measure")
        return fitted, aimed

    def _slide(self, where: tuple[str, int], item: Item, part: Part) -> tuple[float, int | None]:
        move = part.move()
        if item.notch is None and item.slide is None:
            return 0.0, 0 if move is not None and move.notch is not None else None
        key = "notch" if item.notch is not None else "slide"
        if move is None:
            raise self._error(where, key, f"{item.model} has nothing that slides", f"no {key}")
        if item.notch is not None:
            if move.notch is None:
                raise self._error(where, key, f"{item.model} has no notches", "slide = 12.5 or the like")
            if not 0 <= item.notch <= move.notches:
                nearest = str(min(max(item.notch, 0), move.notches))
                raise self._error(where, key, f"notch {item.notch} is out of range", f"0 to {move.notches}", nearest)
            return item.notch * move.notch, item.notch
        slide = item.slide or 0.0
        if slide > move.travel + 1e-9:
            raise self._error(
                where,
                key,
                f"slide {show(slide, self.scene.units)} is more than it travels",
                f"0 to {show(move.travel, self.scene.units)}",
                show(move.travel, self.scene.units),
            )
        return slide, None

    def _shims(self, where: tuple[str, int], item: Item, part: Part) -> dict[str, float]:
        names = ["seat", *(p.name for p in part.pads())]
        out: dict[str, float] = {}
        for shim in item.shims:
            if shim.pad not in names:
                raise self._error(
                    where,
                    "shims",
                    f'{item.model} has no pad "{shim.pad}"',
                    ", ".join(names),
                    nearest_name(shim.pad, names),
                )
            out[shim.pad] = out.get(shim.pad, 0.0) + math.fsum(shim.by)
        return out


def _slot(item: Item) -> str | None:
    return item.slot if isinstance(item, Clamp) else None


def _key_of(item: Item, message: str) -> str:
    """The key of the file that a fault of a model's parameter points at."""
    if _slot(item) is not None and message.startswith(f"{item.model}: {TAKES} = "):
        return "slot"
    return "with" if item.with_ else "model"


def changed(part: Part, values: Mapping[str, float]) -> Part:
    """The same block with other parameters."""
    return type(part)(**{**{f.name: getattr(part, f.name) for f in fields(part)}, **values})


def _into_range(part: Part, derived: Mapping[str, float]) -> dict[str, float]:
    """Derived parameters kept inside what the model can do; the checks then say by how much the tip misses."""
    known = parameters(type(part))
    out: dict[str, float] = {}
    for key, value in derived.items():
        low, high = known[key].resolved("low", part.pattern), known[key].resolved("high", part.pattern)
        out[key] = min(max(value, low), high)
    return out
