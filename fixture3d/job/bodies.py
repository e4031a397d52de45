"""The solids of a job: blocks, their dowels and shims, and the pieces, each as a keyed shape in its place."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d import frame
from fixture3d.cache import Store, content_key
from fixture3d.errors import ModelError
from fixture3d.job import Body, Role, Seat, placed_pads
from fixture3d.library import Entry, Library
from fixture3d.part import Part, face_down, opened
from fixture3d.solid.shape import Shape

if TYPE_CHECKING:
    from fixture3d.job.weldment import Piece, Weldment
    from fixture3d.scene import Scene
    from fixture3d.scene.table import Table

PIN_BELOW = 0.9  # of the plate's thickness: a dowel ends inside the plate, so that it never stands out below
PIN_GRIP = 2.0  # bores deep into the block, common practice, no source


def block_bodies(seat: Seat, library: Library, table: Table, store: Store | None) -> Iterator[Body]:
    """Everything that one placed block adds to the job.

    Raises:
        ModelError, BadSolid: the block is of a user's own model, which fails or makes something else than it says.
    """
    entry = library.entry(seat.model)
    shapes = {
        body.name: shared_shape(part_key(seat.part, entry.digest, body.name), body.build, store)
        for body in seat.part.bodies()
    }
    prove_bodies(seat.part, entry, shapes)
    move = seat.part.move()
    moved = frame.translation(np.asarray(move.axis) * seat.slide) if move is not None else frame.identity()
    for body in seat.part.bodies():
        role: Role = "sweep" if body.role == "sweep" else "clamp" if seat.clamp else "block"
        own = moved if body.moves else frame.identity()
        yield Body(
            name=f"{seat.name} {body.name}".strip(),
            item=seat.name,
            role=role,
            shape=shapes[body.name],
            body_to_world=frame.chain(seat.model_to_world, own),
            open_to_world=frame.chain(seat.model_to_world, opened(body.opens), own) if body.opens else None,
        )
    yield from _dowels(seat, table, store)
    yield from _shims(seat, store)


def prove_bodies(part: Part, entry: Entry, shapes: Mapping[str, Shape]) -> None:
    """Build a user's own model now, so that what is wrong with it is told as his and not found half way.

    Args:
        part: the block.
        entry: its model; nothing is done for a shipped one, whose tests have done it.
        shapes: by body name, the model's frame.

    Raises:
        ModelError: its code fails, or its solids are larger or smaller than its ``box()``.
        BadSolid: it makes no valid solid.
    """
    if not entry.file:
        return

    def measure() -> None:
        boxes = [shapes[body.name].box for body in part.bodies() if body.name in shapes and body.role == "block"]
        low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
        said = np.asarray(part.box())
        off = float(np.abs(said - np.stack([low, high])).max())
        if off > BOX_SLACK:
            raise ModelError(
                f"{part.model}: box() says {_corners(*said)} but its bodies reach {_corners(low, high)} mm; "
                "expected the same"
            )

    entry.guarded(measure)()


BOX_SLACK = 0.1  # mm; a mesh of a round body stays inside its box by a chord


def _corners(low: Any, high: Any) -> str:
    """Two corners in words."""
    return " to ".join("(" + ", ".join(f"{v:.2f}".rstrip("0").rstrip(".") for v in c) + ")" for c in (low, high))


def part_key(part: Part, digest: str, body: str) -> str:
    """The content key of one body of a block: its model's source, its parameters and its pattern."""
    values = sorted((f.name, repr(getattr(part, f.name))) for f in dataclasses.fields(part))
    return content_key(["part", part.model, digest, body, repr(values)])


def shared_shape(key: str, build: Any, store: Store | None) -> Shape:
    """The shape of that key: blocks of one size share one solid and one mesh within a run."""
    found = _SHAPES.get(key)
    if found is None:
        found = _SHAPES[key] = Shape(key, build, store)
    return found


_SHAPES: dict[str, Shape] = {}


def _dowels(seat: Seat, table: Table, store: Store | None) -> Iterator[Body]:
    plate = None if seat.stacked else table.grid(seat.stands_on).thickness
    for pin in seat.pins:
        if pin.state != "seated" or pin.pin.integral:
            continue
        bore = seat.part.pattern.bore
        above = min(pin.pin.depth, PIN_GRIP * bore, _height(seat))
        below = PIN_BELOW * (plate or bore) if not seat.stacked else PIN_GRIP * bore / 2.0
        pose = seat.plane_to_world.copy()
        pose[:3, 3] = pin.at - seat.plane_to_world[:3, 2] * seat.shims.get("seat", 0.0)
        yield Body(
            name=f"{seat.name} pin {pin.pin.name}",
            item=seat.name,
            role="pin",
            shape=dowel_shape(bore, below, above + seat.shims.get("seat", 0.0), store),
            body_to_world=pose,
        )


def _height(seat: Seat) -> float:
    low, high = seat.part.box()
    axis = {"bottom": 2, "top": 2, "front": 1, "back": 1, "left": 0, "right": 0}[seat.face]
    return high[axis] - low[axis]


def dowel_shape(diameter: float, below: float, above: float, store: Store | None) -> Shape:
    """A loose dowel: a cylinder from ``below`` the seat plane to ``above`` it, chamfered at both ends, Z up."""
    key = content_key(["dowel", repr((diameter, below, above))])

    def build() -> object:
        import cadquery as cq

        chamfer = min(1.0, diameter / 10.0, (below + above) / 4.0)
        solid = cq.Workplane("XY", origin=(0, 0, -below)).circle(diameter / 2.0).extrude(below + above)
        return solid.faces("|Z").chamfer(chamfer).val()

    return shared_shape(key, build, store)


def _shims(seat: Seat, store: Store | None) -> Iterator[Body]:
    """One plate a shim stack, on its pad, as thick as the stack."""
    lift = seat.shims.get("seat", 0.0)
    if lift > 0.0:
        yield _packing(seat, lift, store)
    pads = {pad.pad.name: pad for pad in placed_pads(seat)}
    for name, thickness in sorted(seat.shims.items()):
        pad = pads.get(name)
        if pad is None or thickness <= 0.0:
            continue
        size = (pad.pad.length, max(pad.pad.width, 1.0), thickness)
        pose = frame.along(pad.at - pad.normal * thickness, pad.normal, pad.along)
        yield Body(
            name=f"{seat.name} shim {name}",
            item=seat.name,
            role="shim",
            shape=box_shape(size, store),
            body_to_world=pose,
        )


def _packing(seat: Seat, lift: float, store: Store | None) -> Body:
    """The shims under a block: one plate as large as its foot."""
    foot = np.asarray(seat.part.foot(seat.face))
    low, high = foot.min(axis=0), foot.max(axis=0)
    upright = frame.chain(seat.model_to_world, frame.inverse(face_down(seat.face)))
    middle = (low + high) / 2.0
    at = frame.points(frame.inverse(seat.plane_to_world), frame.points(upright, (middle[0], middle[1], 0.0)))
    pose = frame.chain(
        seat.plane_to_world, frame.translation((at[0], at[1], 0.0)), frame.rotation((0, 0, 1), seat.turn)
    )
    return Body(
        name=f"{seat.name} shim seat",
        item=seat.name,
        role="shim",
        shape=box_shape((float(high[0] - low[0]), float(high[1] - low[1]), lift), store),
        body_to_world=pose,
    )


def box_shape(size: tuple[float, float, float], store: Store | None) -> Shape:
    """A box centred over the origin, from z = 0 up."""
    key = content_key(["box", repr(size)])

    def build() -> object:
        import cadquery as cq

        return cq.Workplane("XY").box(*size, centered=(True, True, False)).val()

    return shared_shape(key, build, store)


def piece_bodies(scene: Scene, weldment: Weldment, store: Store | None) -> tuple[Body, ...]:
    """The pieces of the weldment in the world; of a mirrored one their mirror images, so that each pose stays rigid."""
    from fixture3d.job.pieces import piece_shape
    from fixture3d.solid.mirror import MIRROR_Y, MirrorImage

    def body(piece: Piece) -> Body:
        shape, pose = piece_shape(piece, store), frame.chain(weldment.weldment_to_world, piece.piece_to_weldment)
        if weldment.mirrored:
            shape, pose = MirrorImage(shape, store), frame.chain(pose, MIRROR_Y)
        return Body(name=piece.name, item=piece.name, role="piece", shape=shape, body_to_world=pose)

    return tuple(body(piece) for piece in weldment.pieces)
