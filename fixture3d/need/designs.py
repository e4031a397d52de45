"""Which blocks would hold a piece: models, their measures worked out, and the holes that they may stand in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice
from typing import Final

import numpy as np

from fixture3d.checks.locating_kinds import SHIPPED, How
from fixture3d.checks.locating_places import Places, meets, spot_of, used_spots
from fixture3d.errors import FixtureError, ModelError
from fixture3d.frame import Array
from fixture3d.job import Job, PlacedPad, Seat
from fixture3d.job.inventory import table_pattern
from fixture3d.job.resolve import with_block
from fixture3d.need.aslant import diagonal_stop, on_slope, upright_vee
from fixture3d.need.corner import Candidate, in_corner
from fixture3d.need.owned import owned
from fixture3d.need.spot import Spot
from fixture3d.need.stacks import stacked
from fixture3d.need.walls import between_walls
from fixture3d.need.ways import (
    DIAGONAL,
    LEVEL,
    LOOKS,
    ROOT2,
    TURNS,
    carrying,
    diagonal_pin,
    is_diagonal,
    is_square,
    nearest_turns,
)
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene.schema import Place
from fixture3d.tolerance import SHOP
from fixture3d.units import from_mm

_HOLES: Final = 60  # nearest holes that are looked at for one turn
_EACH: Final = 24  # places of one design that are tried, so that a smaller block has its turn
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
        """Candidates: what the shop owns, then the simplest design first; of each the nearest places first."""
        yield from owned(self)
        first = self.spots[0]
        if len(self.spots) == 2:
            yield from in_corner(self) if first.side == "below" else between_walls(self)
        elif first.side == "below" and not first.diameter and first.out[2] > -LOOKS:
            yield from on_slope(self)
        elif first.side != "below":
            yield from upright_vee(self)
            yield from self._beside() if is_square(first.out) else diagonal_stop(self)
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
            key: number(self._in_file(key, value))
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
                for place in islice(self.over(made[0], None), _EACH) if made is not None else ():
                    yield Candidate(places=(place,), words=f"its top at {self.show(z)}")
        upper = self.pattern.neat(self.pattern.pitch)
        for model in ("riser", "stop_block"):
            if self.wanted(model):
                yield from stacked(self, model, {}, "height", z, upper, None)

    def _vee(self) -> Iterator[Candidate]:
        spot = self.spots[0]
        assert spot.axis is not None
        z, axis = float(spot.centre[2]), spot.axis
        if abs(float(axis[2])) > LEVEL:
            rise = abs(float(np.rad2deg(np.arcsin(axis[2]))))
            self.note(
                f"{spot.piece} rises by {rise:.4g} degrees along its length, and the flats of a V-block lie level; "
                "nearest: --from a side, or the work tilted until it lies level ([weldment] tilt)"
            )
            return
        if not is_square(axis) and not is_diagonal(axis):
            degrees = float(np.rad2deg(np.arctan2(axis[1], axis[0]))) % 180.0
            self.note(
                f"{spot.piece} lies at {degrees:.4g} degrees to the rows, and a V-block stands at "
                f"{' or '.join(f'{one:g}' for one in nearest_turns(degrees))}; nearest: a flat riser as the MODEL, "
                "which it touches in a line"
            )
            return
        lying = f"a V for {self.show(spot.diameter)}, its middle at {self.show(z)}"
        uppers = [one for one in self._vees() if abs(self._off(int(one["bores"]))) <= SHOP.contact]
        if not uppers:
            self._off_line()
        for sizes in uppers:
            made = None if self.stack else self.place("vee_block", {**sizes, "centre_height": z})
            if made is not None:
                for place in self.over(self._on_row(*made), axis):
                    yield Candidate(places=(place,), words=lying)
        for sizes in uppers:
            sizes.pop("depth", None)  # on a riser that itself stands at 45 degrees it has no need of bores for it
            yield from stacked(self, "vee_block", sizes, "centre_height", z, 2.0 * self.pattern.bore, axis)

    def _vees(self) -> list[dict[str, float | int]]:
        """Sizes of V-blocks for the round piece: over the middle between two holes or over one.

        At 45 degrees they are deep enough for the bores of that turn.
        """
        spot, pattern = self.spots[0], self.pattern
        if spot.axis is not None and is_square(spot.axis):
            return [{"diameter": spot.diameter, "bores": bores} for bores in (2, 3)]
        return [{"diameter": spot.diameter, "bores": 2, "depth": pattern.neat(4.0 * pattern.bore)}]

    def _on_row(self, place: Place, part: Part) -> Place:
        """The pin that stands in the hole: for a piece at 45 degrees the first of the row for that turn."""
        axis = self.spots[0].axis
        if axis is None or is_square(axis):
            return place
        return place.model_copy(update={"pin": diagonal_pin(part)})

    def _across(self) -> int:
        """The axis of the world, 0 or 1, square to a round piece."""
        axis = self.spots[0].axis
        return 1 if axis is not None and abs(float(axis[0])) > LOOKS else 0

    def _off(self, bores: int) -> float:
        """How far the middle of a piece lies beside where a V-block with so many bores has it, mm."""
        axis, pitch = self.spots[0].axis, self.pattern.pitch
        assert axis is not None
        if is_square(axis):
            across = self._across()
            pitch = self.job.table.pitch[across]
            off = float(self.spots[0].centre[across]) - (bores - 1) * self.pattern.pitch / 2.0
        else:  # at 45 degrees the line through two holes is the one midway between two of the other line
            pitch = pitch / ROOT2
            off = float(self.spots[0].centre[:2] @ np.array([-axis[1], axis[0]]))
        off %= pitch
        return off if off <= pitch / 2.0 else off - pitch

    def _off_line(self) -> None:
        spot, across = self.spots[0], self._across()
        if spot.axis is not None and not is_square(spot.axis):
            off = self._off(2)
            self.note(
                f"the middle of {spot.piece} is {self.show(abs(off))} off every line of holes at 45 degrees, so no "
                f"V-block lies under it; nearest: move the work by {self.show(abs(off) * ROOT2)} in x or y "
                "([weldment] offset), or a flat riser as the MODEL, which it touches in a line"
            )
            return
        off = min((self._off(2), self._off(3)), key=abs)
        line, name = ("row", "y") if across else ("column", "x")
        self.note(
            f"{name} {self.show(float(spot.centre[across]))} of the middle of {spot.piece} is {self.show(abs(off))} "
            f"off every {line} of holes and off the middle between two, so no V-block lies under it; nearest: move the "
            f"work by {self.show(-off)} in {name} ([weldment] offset), or a flat riser as the MODEL, which it touches "
            "in a line"
        )

    # --- where a block stands under a piece

    def over(self, place: Place, axis: Array | None) -> Iterator[Place]:
        """The block in holes and turns in which what carries lies under the place, the nearest first."""
        turns, fixed = TURNS, []
        if axis is not None:
            turns = TURNS if is_square(axis) else DIAGONAL
            fixed = [np.array([-axis[1], axis[0], 0.0])]
        return self.holes(place, turns, lambda seat: carrying(seat, axis), fixed)

    def holes(
        self,
        place: Place,
        turns: Iterable[float],
        pads_of: Callable[[Seat], Sequence[PlacedPad]],
        fixed: Sequence[Array],
        target_of: Callable[[Sequence[PlacedPad]], Array] | None = None,
    ) -> Iterator[Place]:
        """The block in the holes in which its pads come to lie at the place, the nearest first.

        Args:
            place: the block, in any hole.
            turns: degrees that are tried.
            pads_of: those that are to touch.
            fixed: (3,) unit, level; along these the middle of the pads has to be where it is wanted, not only near.
            target_of: from the pads where their middle is wanted, (3,) mm; None for the place itself.
        """
        spot = self.spots[0]
        found: list[tuple[float, int, Place]] = []
        crowded = 0
        for turn in turns:
            near = self.job.table.nearest_holes((float(spot.centre[0]), float(spot.centre[1])), 1)
            seat = self.seat(place.model_copy(update={"hole": near[0].name, "turn": turn})) if near else None
            pads = [] if seat is None else pads_of(seat)
            if seat is None or not pads:
                continue
            middle = np.mean([pad.at for pad in pads], axis=0)
            shift = middle - np.asarray(near[0].xyz)
            ideal = (spot.point if target_of is None else target_of(pads)) - shift
            for hole in self.job.table.nearest_holes((float(ideal[0]), float(ideal[1])), _HOLES):
                off = np.asarray(hole.xyz) - ideal
                if any(abs(float(off[:2] @ way[:2])) > SHOP.contact for way in fixed):
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
            self.note(f"other blocks stand in the holes of all {crowded} places of a {place.model} there")
        for _, _, one in sorted(found, key=lambda row: row[:2]):
            yield one

    @cached_property
    def _used(self) -> set[tuple[float, float]]:
        return used_spots(self.job)

    def seat(self, place: Place) -> Seat | None:
        """The block as it stands in its place; None and a note where it cannot."""
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
        offered = False
        for how in hows:
            for place in self._stops(how, spot):
                if self.height is not None and "height" in place.with_:
                    size = number(from_mm(self.height, self.job.scene.units))
                    place = place.model_copy(update={"with_": {**place.with_, "height": size}})
                place = place.model_copy(update={"with_": {**place.with_, **self.given}})
                what = words[how] if how != "shipped" or place.notch is not None else "as it comes"
                offered = True
                yield Candidate(places=(place,), words=what)
        if self.model in SHIPPED and not offered and not self.notes:
            ways = "on a notch or with a shim" if self.model == "slide_stop" else "made, as it comes or with a shim"
            self.note(
                f"from no free hole does a {self.model} come to lie against it, {ways}; nearest: leave the model out"
            )

    def _stops(self, how: How, spot: Spot) -> Iterator[Place]:
        """Places of stops of one sort; one of a kind that stands in the setup already is made once more."""
        places = Places(self.job)
        sorts: tuple[How, ...] = ("like", how) if how == "shipped" else (how,)
        bare = {"mark": None, "bolt": False}
        for sort in sorts:
            for _, place in places.near(sort, self.box(spot), spot.point, -spot.out):
                if place.model in SHIPPED and place.face is None and place.pins is None and self.wanted(place.model):
                    yield place.model_copy(update=bare)

    def box(self, spot: Spot) -> Array:
        """Of the piece, (2, 3) mm."""
        return next(body.box for body in self.job.pieces() if body.name == spot.piece)


def number(value: float) -> float | int:
    """A number as a file has it: whole where it is, and without the last digits of its arithmetic."""
    value = round(value, 6)
    return int(value) if value == int(value) else value
