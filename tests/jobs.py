"""Small setups made by hand from boxes and tubes, for tests of what is drawn and written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np

from fixture3d import frame
from fixture3d.job import Body, Job, Seat, SeatedPin
from fixture3d.library import Library
from fixture3d.part import Pad, Part, Pattern, Pin, Point, build, part, through
from fixture3d.part import length as size
from fixture3d.scene import Scene
from fixture3d.scene.table import Table
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.shape import Shape

Units = Literal["mm", "in"]


@part("plain_block", made="milled from bar")
@dataclass(frozen=True, kw_only=True)
class PlainBlock(Part):
    """A box with two bores along X and a pad on its front and one on top."""

    length: float = size(100.0, low=20.0, high=400.0, help="along X")
    width: float = size(50.0, low=10.0, high=200.0, help="along Y")
    height: float = size(50.0, low=5.0, high=300.0, help="seat to top")

    def pins(self) -> tuple[Pin, ...]:
        """Two bores a pitch apart."""
        return (*through("1", 0.0, 0.0, self.height), *through("2", self.pattern.pitch, 0.0, self.height))

    def pads(self) -> tuple[Pad, ...]:
        """Front and top."""
        x = self.length / 2 - 25.0
        return (
            Pad(
                name="front",
                at=(x, -self.width / 2, self.height / 2),
                normal=(0, -1, 0),
                along=(1, 0, 0),
                length=self.length,
                width=self.height,
            ),
            Pad(
                name="top",
                at=(x, 0.0, self.height),
                normal=(0, 0, 1),
                along=(1, 0, 0),
                length=self.length,
                width=self.width,
            ),
        )

    def box(self) -> tuple[Point, Point]:
        """The box itself."""
        return (-25.0, -self.width / 2, 0.0), (self.length - 25.0, self.width / 2, self.height)

    def solid(self) -> Any:
        """A box, less its two bores."""
        import cadquery as cq

        low, high = self.box()
        sides = [h - k for h, k in zip(high, low, strict=True)]
        body = cq.Workplane("XY").box(*sides, centered=False).translate(low)
        bores = cq.Workplane("XY").pushPoints([(0.0, 0.0), (self.pattern.pitch, 0.0)])
        return body.cut(bores.circle(self.pattern.bore / 2).extrude(self.height)).val()


def box_mesh(size: Iterable[float], centre: Iterable[float] = (0.0, 0.0, 0.0)) -> Mesh:
    """A box about a centre, mm."""
    import trimesh

    mesh = trimesh.creation.box(list(size))
    mesh.apply_translation(list(centre))
    return Mesh.from_trimesh(mesh)


def make_job(
    *,
    title: str = "Test rack",
    units: Units = "mm",
    blocks: Iterable[dict[str, Any]] = (),
    pieces: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] | None = None,
    table: dict[str, Any] | None = None,
    **keys: Any,
) -> Job:
    """A job of plain blocks and box pieces.

    Args:
        title: of the scene.
        units: of the file.
        blocks: keys of a place; ``hole`` is needed; ``with`` gives sizes in mm; ``z`` lifts it.
        pieces: name to size and centre, world mm.
        table: keys of the table in the file's unit.
        keys: further keys of the scene.
    """
    blocks = [dict(b) for b in blocks]
    lifts = [float(b.pop("z", 0.0)) for b in blocks]
    places = [{"model": "plain_block", **b} for b in blocks]
    grid = table or {"pitch": 50, "bore": 16, "columns": 20, "rows": 12, "edge": 50, "thickness": 12}
    scene = Scene.model_validate(
        {"format": 1, "title": title, "units": units, "table": grid, "place": places, **keys},
        context={"units": units},
    )
    built = scene.table
    pattern = Pattern(pitch=built.pitch[0], bore=built.bore, inch=units == "in")
    seats: dict[str, Seat] = {}
    bodies: list[Body] = []
    for place, lift in zip(scene.places, lifts, strict=True):
        block = build(PlainBlock, pattern, place.with_, units)
        seat = _seat(place, block, built, lift)
        seats[place.name] = seat
        bodies += _block_bodies(seat, built)
    for name, (sides, centre) in (pieces or {}).items():
        bodies.append(
            Body(
                name=name,
                item=name,
                role="piece",
                shape=Shape.of(box_mesh(sides)),
                body_to_world=frame.translation(centre),
            )
        )
    return Job(scene=scene, library=Library({}), table=built, weldment=None, seats=seats, bodies=tuple(bodies))


def _seat(place: Any, block: Part, table: Table, lift: float) -> Seat:
    hole = table.find(place.hole)
    turn = float(place.turn or 0.0)
    pose = frame.chain(frame.translation((hole.xy[0], hole.xy[1], lift)), frame.rotation((0, 0, 1), turn))
    pins = []
    for pin in (p for p in block.pins() if p.face == "bottom"):
        at = frame.points(pose, pin.at)
        near = table.nearest_holes((float(at[0]), float(at[1])), 1)[0]
        off = float(np.hypot(near.xy[0] - at[0], near.xy[1] - at[1]))
        seated = off < 0.01
        pins.append(
            SeatedPin(
                pin=pin,
                at=at,
                hole=near.name if off < table.pitch[0] / 2 else None,
                off=off,
                allowed=0.01,
                state="seated" if seated else "off",
                asked=pin.name == "1",
            )
        )
    return Seat(
        name=place.name,
        model="plain_block",
        part=block,
        place=place,
        clamp=False,
        face="bottom",
        turn=turn,
        slide=0.0,
        notch=place.notch,
        plane_to_world=frame.identity(),
        model_to_world=pose,
        stands_on="",
        stacked=False,
        holds="pins",
        anchor="1",
        pins=tuple(pins),
        shims={},
    )


@cache
def _dowel_shape(bore: float) -> Shape:
    import trimesh

    return Shape.of(trimesh.creation.cylinder(radius=bore / 2, height=60.0, sections=64))


_BLOCKS: dict[str, Shape] = {}


def _block_bodies(seat: Seat, table: Table) -> list[Body]:
    key = repr(seat.part)
    shape = _BLOCKS.setdefault(key, Shape(key, seat.part.solid))
    out = [Body(name=seat.name, item=seat.name, role="block", shape=shape, body_to_world=seat.model_to_world)]
    for pin in seat.pins:
        if pin.state == "seated":
            dowel = _dowel_shape(table.bore)
            out.append(
                Body(
                    name=f"{seat.name} pin {pin.pin.name}",
                    item=seat.name,
                    role="pin",
                    shape=dowel,
                    body_to_world=frame.translation(pin.at + np.array([0.0, 0.0, 18.0])),
                )
            )
    return out


def rack(**more: Any) -> Job:
    """Two stops across from each other, a third block turned, and one tube between them."""
    keys: dict[str, Any] = {
        "blocks": [
            {"name": "S1", "hole": "D8"},
            {"name": "S2", "hole": "E4", "turn": 180},
            {"name": "R1", "hole": "J6", "turn": 90, "with": {"height": 25.0}},
        ],
        "pieces": {"left leg": ((300.0, 150.0, 40.0), (275.0, 250.0, 45.0))},
    }
    return make_job(**{**keys, **more})
