"""From what was typed after ``locate`` to a question: distance, table, shop, datum."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from fixture3d.errors import FixtureError, UnitError, one_line
from fixture3d.job.inventory import table_pattern
from fixture3d.job.job import Job, Seat
from fixture3d.job.owned import stocked
from fixture3d.job.resolve import resolve
from fixture3d.job.seat import fit
from fixture3d.job.set_datum import Datum, read_datum
from fixture3d.job.set_question import Facing, Question
from fixture3d.job.shop_blocks import Shop, shop_of
from fixture3d.job.true_sizes import true_faces
from fixture3d.library import Library
from fixture3d.scene import Scene
from fixture3d.scene.preset import read_preset
from fixture3d.scene.sizes import LONGEST
from fixture3d.scene.stages import at_stage
from fixture3d.tolerance import SETTING, SHOP
from fixture3d.units import Units, length, show

_BARE_FRACTION: Final = re.compile(r"\s*[+-]?(\d+\s*[- ]\s*)?\d+/\d+\s*")  # nobody means millimetres by 17-3/8


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was typed.

    Attributes:
        distance: a length.
        datum: such as ``A1.x`` or ``S1.front``.
        facing: of the face that is looked for; None for toward a face, and either way from a hole.
        within: how far a good answer may be out; None for the usual.
        height: that the face must reach; None for any.
        shims: at most before one face.
    """

    distance: str
    datum: str
    facing: Facing | None = None
    within: str | None = None
    height: str | None = None
    shims: int = SETTING.shims


def question(asked: Asked, scene: Scene, stock: Scene | None, library: Library, stage: str | None = None) -> Question:
    """The question.

    Args:
        asked: what was typed.
        scene: gives the table, the units and the blocks that stand; may be a bare table.
        stock: whose inventory counts; None for none.
        library: of the models.
        stage: of the scene.

    Raises:
        FixtureError: whatever cannot be used, in one line.
    """
    units, table = scene.units, scene.table
    wanted = _length(asked.distance, units, "the distance")
    if units == "mm" and _BARE_FRACTION.fullmatch(asked.distance):
        raise FixtureError(
            f"the distance {one_line(asked.distance.strip())} has no unit, and the table is in mm; expected "
            f'"{one_line(asked.distance.strip())} in", or mm as a decimal number'
        )
    now = at_stage(scene, stage)
    seats = standing(now, library)
    datum = _as_measured(read_datum(asked.datum, table, seats, units), stock, library)
    if wanted <= 0.0 and (datum.seat is not None or datum.upright):
        raise FixtureError(
            f"the distance is {show(wanted, units)}; expected more than 0"
            + ("" if datum.upright else f": it counts the way that the {datum.name} looks")
        )
    good = _length(asked.within, units, "--within") if asked.within else None
    if good is not None and good <= 0.0:
        raise FixtureError(f"--within {show(good, units)}: expected more than 0, such as {show(SETTING.good, units)}")
    if not 0 <= asked.shims <= _MOST_SHIMS:
        raise FixtureError(f"--shims {asked.shims}: expected 0 to {_MOST_SHIMS}; nearest: {SETTING.shims}")
    usual = SETTING.good if units == "mm" else SETTING.good_inch
    return Question(
        wanted=wanted,
        datum=datum,
        table=table,
        units=units,
        shop=shop(scene, stock, library, seats),
        dowel_fit=fit(table.bore, table.bore_limits, SHOP.pin_class),
        facing=asked.facing or ("toward" if datum.seat is not None and not datum.upright else "either"),
        good=usual if good is None else good,
        shims=asked.shims,
        height=_length(asked.height, units, "--height") if asked.height else None,
        taken=frozenset(_taken(now, seats)),
    )


def _as_measured(datum: Datum, stock: Scene | None, library: Library) -> Datum:
    """The datum where it is a face of a block that was measured: there."""
    if datum.seat is None or stock is None:
        return datum
    lines = stocked(stock, library, table_pattern(stock))
    true = true_faces(lines, datum.seat).get(datum.name.rpartition(".")[2])
    if true is None:
        return datum
    x, y, z = (a + true.off * w for a, w in zip(datum.at, datum.way, strict=True))
    return replace(datum, at=(x, y, z), words=f"{datum.words}, as measured", measured=true.off)


_MOST_SHIMS = 30  # nobody lays more, and with more the search may take minutes


def standing(scene: Scene, library: Library) -> Mapping[str, Seat]:
    """The blocks of a scene as they stand, without the work and the clamps on it, which need solids."""
    bare = scene.model_copy(
        update={
            "weldment": None,
            "members": (),
            "frames": (),
            "plates": (),
            "welds": (),
            "clamps": (),
            "places": tuple(_grounded(scene)),
        }
    )
    return resolve(bare, library).seats


def _grounded(scene: Scene) -> list[object]:
    """Places that do not stand on a clamp, whose place depends on the work."""
    clamps = {clamp.name for clamp in scene.clamps}
    lost: set[str] = set(clamps)
    while more := {p.name for p in scene.places if p.on in lost} - lost:
        lost |= more
    return [place for place in scene.places if place.name not in lost]


def shop(scene: Scene, stock: Scene | None, library: Library, seats: Mapping[str, Seat]) -> Shop:
    """What there is, less what stands in the scene when its own inventory counts."""
    pattern = table_pattern(scene)
    used = [(seat.part, seat.place.mark) for seat in seats.values()]
    for clamp in scene.clamps:
        used.append((library.make(clamp.model, pattern, clamp.with_, scene.units), clamp.mark))
    return shop_of(library, pattern, stock, used, _laid(seats))


def _taken(scene: Scene, seats: Mapping[str, Seat]) -> list[str]:
    """Holes that something stands in; of clamps the named one."""
    holes = [hole for seat in seats.values() for hole in seat.holes]
    return holes + [clamp.hole.upper() for clamp in scene.clamps if clamp.hole is not None]


def _length(text: str, units: Units, what: str) -> float:
    try:
        value = length(text, units)
    except UnitError as error:
        raise UnitError(f"{what}: {error}") from None
    if abs(value) > LONGEST:
        raise UnitError(f'{what}: "{one_line(text[:40])}" is more than 30 m, which no table is long')
    return value


USUAL_TABLE: Final[dict[Units, str]] = {"mm": "50/16 2000x1000", "in": "2/(3/4) 96x48"}


def bare_table(text: str | None, units: Units) -> Scene:
    """A scene with nothing but a table; the usual one when none is asked for.

    Raises:
        TableError: one line.
    """
    usual = USUAL_TABLE[units]
    asked = usual if text is None else text if " " in text.strip() else f"{text} {usual.split()[1]}"
    read_preset(asked, units)
    return Scene.from_dict({"format": 1, "units": units, "table": asked})


def load_stock(scene: Scene) -> tuple[Scene | None, str]:
    """The scene when it has an inventory that counts, and where that is listed, in words.

    Raises:
        SceneError: the shop's file cannot be read.
    """
    if not scene.stock:
        return None, ""
    own = "the scene" if scene.path is None else scene.path.name
    names = [own] if scene.inventory else []
    names += [str(scene.shop_file)] if len(scene.stock) > len(scene.inventory) else []
    return scene, f"the inventory of {one_line(' and of '.join(names))}"


def free_shims(job: Job) -> Mapping[float, int]:
    """Thickness and count of the shims that a setup leaves on the shelf; none without an inventory."""
    stock, _ = load_stock(job.scene)
    used = [(seat.part, seat.place.mark) for seat in job.seats.values()]
    return dict(shop_of(job.library, table_pattern(job.scene), stock, used, _laid(job.seats)).shims)


def _laid(seats: Mapping[str, Seat]) -> list[float]:
    """Thickness of every shim that the places of a scene name, mm."""
    return [by for seat in seats.values() for shim in seat.place.shims for by in shim.by]
