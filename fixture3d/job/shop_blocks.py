"""The blocks that a stop may be set with: what the inventory lists, less what the setup has in use."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fixture3d.errors import FixtureError, ModelError
from fixture3d.job.inventory import size_in_words
from fixture3d.library import Library
from fixture3d.part import Part, Pattern, parameters
from fixture3d.scene import Scene
from fixture3d.tolerance import SETTING
from fixture3d.units import Units, from_mm


@dataclass(frozen=True, kw_only=True)
class Owned:
    """Blocks of one model and size.

    Attributes:
        model: of the library.
        part: one of them.
        count: how many the shop owns.
        free: how many of them are not in use.
    """

    model: str
    part: Part
    count: int
    free: int

    def words(self, units: Units) -> str:
        """Model and size, such as ``"stop_block (height 75 mm)"``."""
        size = size_in_words(self.part, units)
        return self.model if size == "standard" else f"{self.model} ({size})"

    def given(self, units: Units) -> dict[str, float]:
        """The parameters that differ from the model's own, as a scene file in these units has them under ``with``."""
        out = {}
        for name, parameter in parameters(type(self.part)).items():
            value = float(getattr(self.part, name))
            if abs(value - parameter.resolved("default", self.part.pattern)) > 1e-6:
                out[name] = round(from_mm(value, units), 9) if parameter.kind == "length" else value
        return out


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
    used: Sequence[Part] = (),
    laid: Sequence[float] = (),
) -> Shop:
    """The shop that an inventory lists.

    Args:
        library: of the models.
        pattern: of the table's holes.
        stock: a scene with an inventory; None takes one block of each model, of its own size.
        used: blocks that stand somewhere already.
        laid: thickness of each shim that lies somewhere already, mm.

    Raises:
        FixtureError: a line of the inventory that cannot be built; every one of them.
    """
    if stock is None or not stock.inventory:
        every = (library.make(name, pattern) for name in library.entries)
        return Shop(blocks=tuple(Owned(model=p.model, part=p, count=1, free=1) for p in every), shims=(), listed=False)
    parts: dict[Part, int] = {}
    problems = []
    for number, line in enumerate(stock.inventory, start=1):
        try:
            part = library.make(line.model, pattern, line.with_, stock.units)
        except ModelError as error:
            place = f"{stock.path}:{stock.line_of(('inventory', number - 1, 'model'))}" if stock.path else "inventory"
            problems += [f"{place}: inventory {number}: {text}" for text in str(error).splitlines()]
            continue
        parts[part] = parts.get(part, 0) + line.count
    if problems:
        raise FixtureError("\n".join(problems))
    in_use = Counter(used)
    blocks, shims = [], Counter[float]()
    for part, count in parts.items():
        free = max(0, count - in_use[part])
        if is_shim(part):
            shims[part.box()[1][2]] += free
        blocks.append(Owned(model=part.model, part=part, count=count, free=free))
    for thickness in laid:
        shims[next((size for size in shims if abs(size - thickness) < SETTING.exact), thickness)] -= 1
    return Shop(
        blocks=tuple(b for b in blocks if not is_shim(b.part)),
        shims=tuple((t, n) for t, n in sorted(shims.items()) if n > 0),
        listed=True,
    )


def is_shim(part: Part) -> bool:
    """A plate so thin that it may stand before a face as well as lie under a block."""
    low, high = part.box()
    return high[2] - low[2] <= SETTING.thickest and bool(part.sockets()) and part.move() is None
