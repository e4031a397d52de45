"""Which blocks would hold a piece: models, their measures worked out, and the holes that they may stand in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice
from typing import Final, Literal

import numpy as np

from fixture3d import frame
from fixture3d.checks.locating_kinds import How
from fixture3d.checks.locating_places import Places, meets, spot_of, used_spots
from fixture3d.errors import FixtureError, ModelError
from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad, Seat, placed_pads
from fixture3d.job.inventory import table_pattern
from fixture3d.job.resolve import with_block
from fixture3d.need.corner import Candidate, in_corner
from fixture3d.need.spot import Spot
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene.schema import Place
from fixture3d.tolerance import SHOP
from fixture3d.units import from_mm

TURNS: Final = (0.0, 90.0, 180.0, 270.0)
_HOLES: Final = 60  # nearest holes that are looked at for one turn
_EACH: Final = 24  # places of one design that are tried, so that a smaller block has its turn
_LOOKS: Final = 0.999  # cosine; a pad that looks the asked way
_ENDS: Final[tuple[Literal["low"], Literal["high"]]] = ("low", "high")
_MOST: Final = 600.0  # mm; heights of an upper block are tried up to this
_STEP: Final = 5.0  # mm; heights of an upper block that are tried, in steps
_COUNTS: Final = ("bores", "rows")


@dataclass
class Designs:
    """The search for one place.

    Attributes:
        job: the setup.
        spots: the place from each asked side, from below first.
        model: the only model that is wanted on top; empty for any.
        given: parameters that the user wants otherwise than by default, in the file's units.
        height: of the top of a block beside the piece, mm; None to work it out.
        stack: only on a riser.
        notes: measures that are not possible, each with why.
    """

    job: Job
    spots: Sequence[Spot]
    model: str = ""
    given: Mapping[str, object] = field(default_factory=dict)
    height: float | None = None
    stack: bool = False
    notes: list[str] = field(default_factory=list)

    def all(self) -> Iterator[Candidate]:
        """Candidates, the simplest design first, and of each the places nearest to the asked one first."""
        first = self.spots[0]
        if len(self.spots) == 2:
            yield from in_corner(self)
        elif first.side != "below":
            yield from self._beside()
        elif first.diameter and self.model in ("", "vee_block"):
            yield from self._vee()
        else:
            yield from self._flat()

    # --- measures

    @property
    def pattern(self) -> Pattern:
        """Of the table."""
        return table_pattern(self.job.scene)

    def place(self, model: str, sizes: Mapping[str, float | int]) -> tuple[Place, Part] | None:
        """A block with these sizes (mm, or counts); None and a note where it cannot be made."""
        if model not in self.job.library.entries:
            return None
        known = parameters(self.job.library.entries[model].model)
        with_: dict[str, object] = {
            key: _number(self._in_file(key, value))
            for key, value in sizes.items()
            if key not in _COUNTS or value != known[key].resolved("default", self.pattern)
        }
        for key in self.given:
            if key in with_ and key not in _COUNTS:
                raise FixtureError(f"{key} is worked out from the place of {self.spots[0].piece}; leave {key} out")
        try:
            part = self.job.library.make(model, self.pattern, with_ | dict(self.given), self.job.scene.units)
        except ModelError as error:
            self.note(str(error).splitlines()[0])
            return None
        bare = Place(name="S0", model=model, hole="A1")
        return bare.model_copy(update={"with_": with_ | dict(self.given)}), part

    def note(self, text: str) -> None:
        """Keep one reason, once."""
        if text not in self.notes:
            self.notes.append(text)

    def _in_file(self, key: str, value: float | int) -> float:
        return float(value) if key in _COUNTS else from_mm(float(value), self.job.scene.units)

    def show(self, value: float) -> str:
        """A length in the unit of the table."""
        return self.pattern.show(value)

    def wanted(self, model: str) -> bool:
        """Whether the model may be on top."""
        return self.model in ("", model)

    # --- from below

    def _flat(self) -> Iterator[Candidate]:
        spot = self.spots[0]
        z = float(spot.point[2])
        if not self.stack:
            bore, pitch = self.pattern.bore, self.pattern.pitch
            narrow = {"length": self.pattern.neat(pitch + 2.0 * bore), "depth": self.pattern.neat(2.0 * bore)}
            designs: tuple[tuple[str, dict[str, float | int]], ...] = (
                ("riser", {"height": z, "rows": 2}),
                ("riser", {"height": z, "rows": 1}),
                ("stop_block", {"height": z}),
                ("stop_block", {"height": z, **narrow}),
            )
            for model, sizes in designs:
                made = self.place(model, sizes) if self.wanted(model) else None
                for place in islice(self._holes(made[0], None), _EACH) if made is not None else ():
                    yield Candidate(places=(place,), words=f"its top at {self.show(z)}")
        upper = self.pattern.neat(self.pattern.pitch)
        for model in ("riser", "stop_block"):
            if self.wanted(model):
                yield from self._stacked(model, {}, "height", z, upper, None)

    def _vee(self) -> Iterator[Candidate]:
        spot = self.spots[0]
        assert spot.axis is not None
        z, axis = float(spot.centre[2]), spot.axis
        if max(abs(float(axis[0])), abs(float(axis[1]))) < _LOOKS:
            degrees = float(np.rad2deg(np.arctan2(axis[1], axis[0]))) % 180.0
            self.note(
                f"{spot.piece} lies at {degrees:.4g} degrees to the rows, and a V-block stands along or square to them"
            )
            return
        lying = f"a V for {self.show(spot.diameter)}, its middle at {self.show(z)}"
        fits = False
        for bores in (2, 3):
            sizes: dict[str, float | int] = {"diameter": spot.diameter, "centre_height": z, "bores": bores}
            if not self._over(bores):
                continue
            fits = True
            made = None if self.stack else self.place("vee_block", sizes)
            if made is not None:
                for place in self._holes(made[0], axis):
                    yield Candidate(places=(place,), words=lying)
        if not fits:
            self._off_line()
        for bores in (2, 3):
            if self._over(bores):
                upper = {"diameter": spot.diameter, "bores": bores}
                yield from self._stacked("vee_block", upper, "centre_height", z, 2.0 * self.pattern.bore, axis)

    def _across(self) -> int:
        """The axis of the world, 0 or 1, square to a round piece."""
        axis = self.spots[0].axis
        return 1 if axis is not None and abs(float(axis[0])) > _LOOKS else 0

    def _off(self, bores: int) -> float:
        """How far the middle of a piece lies beside where a V-block with so many bores has it, mm."""
        across = self._across()
        pitch = self.job.table.pitch[across]
        shift = (bores - 1) * self.pattern.pitch / 2.0
        off = (float(self.spots[0].centre[across]) - shift) % pitch
        return off if off <= pitch / 2.0 else off - pitch

    def _over(self, bores: int) -> bool:
        return abs(self._off(bores)) <= SHOP.contact

    def _off_line(self) -> None:
        spot, across = self.spots[0], self._across()
        off = min((self._off(2), self._off(3)), key=abs)
        line, name = ("row", "y") if across else ("column", "x")
        self.note(
            f"{name} {self.show(float(spot.centre[across]))} of the middle of {spot.piece} is {self.show(abs(off))} "
            f"off every {line} of holes and off the middle between two, so no V-block lies under it; nearest: move the "
            f"work by {self.show(-off)} in {name} ([weldment] offset), or a flat riser as the MODEL, which it touches "
            "in a line"
        )

    def _stacked(
        self, model: str, sizes: Mapping[str, float | int], key: str, z: float, least: float, axis: Array | None
    ) -> Iterator[Candidate]:
        """The model on a riser: as low as it can be made, the riser takes the rest."""
        if "riser" not in self.job.library.entries:
            return
        noted = len(self.notes)
        heights = [
            parameters(self.job.library.entries["riser"].model)["height"].resolved(k, self.pattern) for k in _ENDS
        ]
        height, lowest = max(least, z - heights[1]), 0.0
        while height < z or not lowest:
            upper = self.place(model, {**sizes, key: height})
            lowest = lowest or (height if upper is not None else 0.0)
            if upper is not None and height < z:
                found = False
                for rows in (2, 1):
                    lower = self.place("riser", {"height": z - height, "rows": rows})
                    if lower is not None:
                        del self.notes[noted:]  # those of heights that were too low or too high
                        found = True
                        yield from self._stacks(lower, upper[0], key, (z, height), axis)
                if found:
                    return
            height = self.pattern.neat(height + _STEP)
            if height > _MOST:
                break
        del self.notes[noted:]
        if self.stack and lowest:
            self.note(
                f"a {model} of {self.show(lowest)} or more on a riser of {self.show(heights[0])} or more is higher "
                f"than {self.show(z)}; nearest: {self.show(lowest + heights[0])}, or one block without --stack"
            )

    def _stacks(
        self, lower: tuple[Place, Part], upper: Place, key: str, heights: tuple[float, float], axis: Array | None
    ) -> Iterator[Candidate]:
        z, height = heights
        words = f"{key.replace('_', ' ')} {self.show(height)} on a riser of {self.show(z - height)}"
        for place in self._holes(upper, axis):
            for under, socket in self._under(lower, place):
                top = place.model_copy(update={"hole": None, "on": under.name, "socket": socket})
                yield Candidate(places=(under, top), words=words)

    def _under(self, lower: tuple[Place, Part], upper: Place) -> Iterator[tuple[Place, str]]:
        """Places of a riser with one of its sockets under the first bore of the upper block, and that socket."""
        table = self.job.table
        at = np.asarray(table.find(str(upper.hole)).xyz)
        place, part = lower
        for extra in (0.0, 180.0):
            turn = (upper.turn + extra) % 360.0
            pose = frame.rotation((0.0, 0.0, 1.0), turn)
            for socket in part.sockets():
                spot = at - frame.directions(pose, (socket.at[0], socket.at[1], 0.0))
                hole = table.hole_near((float(spot[0]), float(spot[1])), SHOP.contact)
                if hole is not None:
                    yield place.model_copy(update={"name": "R0", "hole": hole.name, "turn": turn}), socket.name

    # --- where a block stands under a piece

    def _holes(self, place: Place, axis: Array | None) -> Iterator[Place]:
        """The block in holes and turns in which what carries lies under the place, the nearest first."""
        spot = self.spots[0]
        found: list[tuple[float, int, Place]] = []
        target, crowded = spot.centre, 0
        for turn in TURNS:
            near = self.job.table.nearest_holes((float(target[0]), float(target[1])), 1)
            seat = self._seat(place.model_copy(update={"hole": near[0].name, "turn": turn})) if near else None
            pads = [] if seat is None else carrying(seat, axis)
            if seat is None or not pads:
                continue
            middle = np.mean([pad.at for pad in pads], axis=0)
            shift = middle - np.asarray(near[0].xyz)
            ideal = target - shift
            for hole in self.job.table.nearest_holes((float(ideal[0]), float(ideal[1])), _HOLES):
                off = np.asarray(hole.xyz) - ideal
                if axis is not None and abs(float(off[self._across()])) > SHOP.contact:
                    continue
                moved = np.array([*(np.asarray(hole.xyz) - np.asarray(near[0].xyz))[:2], 0.0])
                if not all(meets(pad, moved, self.box(spot)) for pad in pads):
                    continue
                far = round(float(np.hypot(off[0], off[1])), 3)
                if any(spot_of(pin.at + moved) in self._used for pin in seat.pins if pin.state == "seated"):
                    crowded += 1
                    continue
                found.append((far, len(found), place.model_copy(update={"hole": hole.name, "turn": turn})))
        if crowded and not found:
            self.note(f"other blocks stand in the holes of all {crowded} places of a {place.model} under it")
        for _, _, one in sorted(found, key=lambda row: row[:2]):
            yield one

    @cached_property
    def _used(self) -> set[tuple[float, float]]:
        return used_spots(self.job)

    def _seat(self, place: Place) -> Seat | None:
        try:
            return with_block(self.job, place.model_copy(update={"name": "need 0"})).seats.get("need 0")
        except FixtureError as error:
            self.note(str(error).splitlines()[0])
            return None

    # --- beside

    def _beside(self) -> Iterator[Candidate]:
        """A stop: made to measure, else an adjustable one on a notch, else with a shim."""
        spot = self.spots[0]
        hows: tuple[How, ...] = ("made", "shipped", "shimmed")
        words = {"made": "made to the distance", "shipped": "on a notch", "shimmed": "with a shim"}
        for how in hows:
            for kind, place in Places(self.job).near(how, self.box(spot), spot.point, -spot.out):
                if kind.like or not self.wanted(place.model):
                    continue
                if self.height is not None and "height" in place.with_:
                    size = _number(from_mm(self.height, self.job.scene.units))
                    place = place.model_copy(update={"with_": {**place.with_, "height": size}})
                place = place.model_copy(update={"with_": {**place.with_, **self.given}})
                what = words[how] if how != "shipped" or place.notch is not None else "as it comes"
                yield Candidate(places=(place,), words=what)

    def box(self, spot: Spot) -> Array:
        """Of the piece, (2, 3) mm."""
        return next(body.box for body in self.job.pieces() if body.name == spot.piece)


def carrying(seat: Seat, axis: Array | None) -> list[PlacedPad]:
    """The pads that carry: level ones, or for a round piece the two flats of a V that opens upward along its axis."""
    pads = placed_pads(seat)
    if axis is None:
        top = [pad for pad in pads if float(pad.normal[2]) > _LOOKS]
        return sorted(top, key=lambda pad: -float(pad.at[2]))[:1]
    flats = [pad for pad in pads if 0.1 < float(pad.normal[2]) < _LOOKS and abs(float(pad.normal @ axis)) < 1e-3]
    return flats if len(flats) == 2 else []


def _number(value: float) -> float | int:
    """A number as a file has it: whole where it is, and without the last digits of its arithmetic."""
    value = round(value, 6)
    return int(value) if value == int(value) else value
