"""The job: every body of the setup in its place, and how each block stands in its holes.

A :class:`Job` is what resolve makes from a scene and what every check and output reads. It holds data only; solids
and meshes are made when first asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.part import Face, Pad, Part, Pin

if TYPE_CHECKING:
    from fixture3d.access.welds import Weld
    from fixture3d.cache import Store
    from fixture3d.job.found_welds import Found
    from fixture3d.job.weldment import Weldment
    from fixture3d.library import Library
    from fixture3d.scene import Scene
    from fixture3d.scene.schema import Clamp, Place
    from fixture3d.scene.table import Table
    from fixture3d.solid.shape import Shape

Role = Literal["block", "clamp", "pin", "shim", "sweep", "piece", "bead"]


@dataclass(frozen=True, kw_only=True)
class Body:
    """One solid in its place.

    Attributes:
        name: unique in the job: ``"S1"``, ``"S1 washer"``, ``"S1 pin 1"``, ``"K1 arm sweep"``, ``"left leg"``.
        item: the place, clamp or piece of the scene that it belongs to.
        role: what it is; a ``sweep`` is space that must stay empty, not material.
        shape: the solid in its own frame.
        body_to_world: (4, 4).
        open_to_world: the same when the clamp is open, (4, 4); None for a body that stays.
    """

    name: str
    item: str
    role: Role
    shape: Shape
    body_to_world: Array
    open_to_world: Array | None = None

    @cached_property
    def box(self) -> Array:
        """Axis-parallel box in the world, (2, 3) mm, of the vertices of its mesh."""
        import numpy as np

        world = frame.points(self.body_to_world, self.shape.mesh.vertices)
        return np.stack([world.min(axis=0), world.max(axis=0)])

    @cached_property
    def triangles(self) -> Array:
        """The triangles of its mesh in the world, (m, 3, 3) mm, wound outwards."""
        mesh = self.shape.mesh
        return frame.points(self.body_to_world, mesh.vertices)[mesh.faces]


PinState = Literal["seated", "left out", "off", "blocked", "off table"]


@dataclass(frozen=True, kw_only=True)
class SeatedPin:
    """One bore of a block over the plane that it stands on.

    Attributes:
        pin: the bore, model frame.
        at: centre of the bore on the seat plane, world, mm.
        hole: the nearest hole as it is written in a scene (``"C4"``, ``"side:B2"``, ``"S1:2"`` for a socket),
            however far off; None on a plane without holes.
        off: distance from that hole's centre in the plane, mm.
        allowed: the greatest ``off`` at which a dowel still drops in, mm.
        state: ``seated`` has a dowel; ``left out`` has none because the scene says so or because no hole is under
            it; the others should have one and cannot.
        asked: the scene names this pin, or its bolt goes through it.
    """

    pin: Pin
    at: Array
    hole: str | None
    off: float
    allowed: float
    state: PinState
    asked: bool


@dataclass(frozen=True, kw_only=True)
class Seat:
    """How one block stands.

    Attributes:
        name: of the placed item.
        model: of the library.
        part: the block itself.
        place: the item of the scene.
        clamp: it is a clamp.
        face: the face that is down.
        turn: degrees counter-clockwise from above, from the X axis of the plane it stands on.
        slide: mm of its move from fully in.
        notch: the same in notches; None where nothing meshes or a slide is given.
        plane_to_world: the plane it stands on, Z up from the plane.
        model_to_world: the block's own frame in the world.
        stands_on: ``""`` for the table, the name of an extra grid, or the block that it is stacked on.
        stacked: it stands on another block.
        holds: how it is located: pins, measured, edge, slot or magnet.
        anchor: name of the pin that the scene puts into the named hole; empty on a face without pins.
        pins: one entry a bore of the face that is down.
        shims: pad name to total thickness, mm; ``"seat"`` lifts the block.
        complaint: why it cannot stand as asked (such as a socket that opens sideways); empty when it can.
    """

    name: str
    model: str
    part: Part
    place: Place | Clamp
    clamp: bool
    face: Face
    turn: float
    slide: float
    notch: int | None
    plane_to_world: Array
    model_to_world: Array
    stands_on: str
    stacked: bool
    holds: Literal["pins", "measured", "edge", "slot", "magnet"]
    pins: tuple[SeatedPin, ...]
    shims: Mapping[str, float]
    anchor: str = ""
    complaint: str = ""

    @property
    def holes(self) -> tuple[str, ...]:
        """Holes that hold one of its dowels or its bolt, in pin order."""
        return tuple(p.hole for p in self.pins if p.state == "seated" and p.hole is not None)

    @property
    def bolt(self) -> SeatedPin | None:
        """The bore whose dowel gives its place to the hold-down bolt: the one in the named hole; or its own bolt.

        None without ``bolt = true``, and where the bolt finds no open hole: then nothing holds the block down.
        """
        own = next((p for p in self.pins if p.state == "seated" and p.pin.nut), None)
        if own is not None:
            return own
        if not self.place.bolt:
            return None
        return next((p for p in self.pins if p.state == "seated" and p.pin.name == self.anchor), None)

    @property
    def bolted(self) -> bool:
        """A hold-down bolt goes through it, or it stands on a bolt of its own."""
        return self.bolt is not None


@dataclass(frozen=True, kw_only=True)
class PlacedPad:
    """A pad in the world.

    Attributes:
        item: the block.
        pad: as the model declares it.
        at: centre, world, mm; shims and move included.
        normal: unit, world.
        along: unit, world.
    """

    item: str
    pad: Pad
    at: Array
    normal: Array
    along: Array


@dataclass(frozen=True, kw_only=True)
class Job:
    """The assembled setup.

    Attributes:
        scene: the data it was made from.
        library: the models in use.
        table: the table and its grids.
        weldment: pieces in the weldment frame, or None.
        seats: by name, in file order.
        bodies: blocks, dowels, shims, clamps with sweeps, pieces; the table itself is not among them.
        welds: in file order, world frame.
        weld_problems: weld name to the reason why its faces could not be found.
        found: what the pieces themselves show of welds, weldment frame; None when the scene does not ask.
        stage: name of the stage that this is; None when the scene has none.
        done: welds of the stages before it, as they lie now.
        joined: groups of pieces that these make one, by name.
        spread: imagined setups that are drawn of the key figures, and the seed of the draw; None for none.
        store: where solids, meshes and answers are kept between runs.
    """

    scene: Scene
    library: Library
    table: Table
    weldment: Weldment | None
    seats: Mapping[str, Seat]
    bodies: tuple[Body, ...]
    welds: tuple[Weld, ...] = ()
    weld_problems: Mapping[str, str] = field(default_factory=dict)
    found: Found | None = None
    stage: str | None = None
    done: tuple[Weld, ...] = ()
    joined: tuple[tuple[str, ...], ...] = ()
    spread: tuple[int, int] | None = None
    store: Store | None = None

    @property
    def title(self) -> str:
        """Of the scene, and of its stage where it has some; may be empty."""
        return self.scene.title if self.stage is None else f"{self.scene.title or 'Setup'}, {self.stage}"

    @cached_property
    def beads(self) -> tuple[Body, ...]:
        """The finished welds as solids of their size; not among ``bodies``, for nothing else may touch them."""
        from fixture3d.job.beads import bead_bodies

        return tuple(bead_bodies(self))

    def pads(self) -> tuple[PlacedPad, ...]:
        """Every pad of every block in its place."""
        return tuple(pad for seat in self.seats.values() for pad in placed_pads(seat))

    def pieces(self) -> tuple[Body, ...]:
        """The bodies that are being welded."""
        return tuple(b for b in self.bodies if b.role == "piece")

    def of_item(self, item: str) -> tuple[Body, ...]:
        """All bodies of one place, clamp or piece."""
        return tuple(b for b in self.bodies if b.item == item)


def placed_pads(seat: Seat) -> tuple[PlacedPad, ...]:
    """The pads of one block in the world, moved and shimmed as the scene says.

    A pad that the block lies on (turned over, say) is left out: no work can come to it.
    """
    import numpy as np

    from fixture3d.tolerance import SHOP

    move = seat.part.move()
    up = seat.plane_to_world[:3, 2]
    lowest = seat.shims.get("seat", 0.0) + SHOP.contact
    out = []
    for pad in seat.part.pads():
        at = np.asarray(pad.at, dtype=np.float64)
        if pad.moves and move is not None:
            at = at + np.asarray(move.axis) * seat.slide
        at = at + np.asarray(pad.normal) * seat.shims.get(pad.name, 0.0)
        world = frame.points(seat.model_to_world, at)
        normal = frame.directions(seat.model_to_world, pad.normal)
        if float(normal @ up) < -0.999 and float((world - seat.plane_to_world[:3, 3]) @ up) <= lowest:
            continue
        along = frame.directions(seat.model_to_world, pad.along)
        out.append(PlacedPad(item=seat.name, pad=pad, at=world, normal=normal, along=along))
    return tuple(out)
