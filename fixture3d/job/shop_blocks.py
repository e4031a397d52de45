"""The blocks that a stop may be set with: what the inventory lists, less what the setup has in use."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fixture3d.errors import FixtureError
from fixture3d.job.inventory import given, size_in_words
from fixture3d.job.owned import is_shim, stock_problems, stocked
from fixture3d.library import Library
from fixture3d.part import Part, Pattern
from fixture3d.scene import Scene
from fixture3d.tolerance import SETTING
from fixture3d.units import Units


@dataclass(frozen=True, kw_only=True)
class Owned:
    """Blocks of one model and size.

    Attributes:
        model: of the library.
        part: one of them, as it was measured where that was done.
        count: how many the shop owns.
        free: how many of them are not in use.
        nominal: one of them as the inventory has it; None where nothing was measured.
        mark: stamped on the one that there is.
    """

    model: str
    part: Part
    count: int
    free: int
    nominal: Part | None = None
    mark: str | None = None

    def words(self, units: Units) -> str:
        """Model and size, such as ``"stop_block (height 75 mm)"``, with the mark of one that has one."""
        size = size_in_words(self.nominal or self.part, units)
        name = self.model if size == "standard" else f"{self.model} ({size})"
        return name if self.mark is None else f"{name} marked {self.mark}"

    def given(self, units: Units) -> dict[str, float]:
        """The parameters that differ from the model's own, as a scene file in these units has them under ``with``."""
        return given(self.nominal or self.part, units)


@dataclass(frozen=True, kw_only=True)
class Shop:
    """What there is to set a stop with.

    Attributes:
        blocks: models and sizes, in the order of the inventory.
        shims: thickness in mm and how many there are, thinnest first.
        listed: they come from an inventory; else one of each shipped model is taken.
    """

    blocks: tuple[Owned, ...]
    shims: tuple[tuple[float, int], ...]
    listed: bool


def shop_of(
    library: Library,
    pattern: Pattern,
    stock: Scene | None,
    used: Sequence[tuple[Part, str | None]] = (),
    laid: Sequence[float] = (),
) -> Shop:
    """The shop that an inventory lists.

    Args:
        library: of the models.
        pattern: of the table's holes.
        stock: a scene with an inventory; None takes one block of each model, of its own size.
        used: blocks that stand somewhere already, each with the mark that the scene names.
        laid: thickness of each shim that lies somewhere already, mm.

    Raises:
        FixtureError: a line of the inventory that cannot be built; every one of them.
    """
    if stock is None or not stock.stock:
        known = (name for name, entry in library.entries.items() if entry.model.stands != "hand")
        every = (library.make(name, pattern) for name in known)
        return Shop(blocks=tuple(Owned(model=p.model, part=p, count=1, free=1) for p in every), shims=(), listed=False)
    problems = list(stock_problems(stock, library, pattern))
    if problems:
        raise FixtureError("\n".join(str(problem) for problem in problems))
    parts: dict[tuple[Part, Part, str | None], int] = {}
    for line in stocked(stock, library, pattern):
        key = (line.part, line.true, line.mark)
        parts[key] = parts.get(key, 0) + line.count
    in_use = _in_use(parts, used)
    blocks: list[Owned] = []
    shims: dict[float, int] = {}
    nominal: dict[float, float] = {}
    for (part, true, mark), count in parts.items():
        free = count - in_use[part, true, mark]
        if is_shim(part):
            size = true.box()[1][2]
            shims[size] = shims.get(size, 0) + free
            nominal[size] = part.box()[1][2]
        as_listed = part if true != part else None
        blocks.append(Owned(model=part.model, part=true, count=count, free=free, nominal=as_listed, mark=mark))
    for thickness in laid:
        size = next((s for s in shims if shims[s] and abs(nominal[s] - thickness) < SETTING.exact), thickness)
        shims[size] = shims.get(size, 0) - 1
    return Shop(
        blocks=tuple(b for b in blocks if not is_shim(b.part)),
        shims=tuple((t, n) for t, n in sorted(shims.items()) if n > 0),
        listed=True,
    )


def _in_use(
    parts: Mapping[tuple[Part, Part, str | None], int], used: Sequence[tuple[Part, str | None]]
) -> Counter[tuple[Part, Part, str | None]]:
    """How many of each sort stand somewhere: the marked one where a mark is named, else first one without a mark."""
    out: Counter[tuple[Part, Part, str | None]] = Counter()
    for part, mark in sorted(used, key=lambda one: one[1] is None):
        fits = [key for key in parts if key[0] == part and out[key] < parts[key] and (mark is None or key[2] == mark)]
        if fits:
            out[min(fits, key=lambda key: key[2] is not None)] += 1
    return out
