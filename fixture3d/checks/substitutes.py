"""What the shop owns that does in the place of a block which it lacks: tried in the setup before it is named.

Lines of the inventory with blocks on the shelf, the nearest in size first; each in the places of ``substitute_places``.
A block counts when it stands, runs into nothing new and touches all of the work that the other touches (``trial``),
when the torch loses no weld by it (``locating_torch``), and when the pieces that lie against it are held in as many
ways as before. What is accepted stays in the setup for the next one, so that no block of the shelf is named twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field

from fixture3d.cache import content_key
from fixture3d.checks.locating_answers import can_give, key_of
from fixture3d.checks.locating_kinds import written
from fixture3d.checks.locating_laid import Table
from fixture3d.checks.locating_torch import Room
from fixture3d.checks.seat_remedies import with_it
from fixture3d.checks.substitute_places import candidates
from fixture3d.checks.trial import Trial
from fixture3d.errors import FixtureError, listed
from fixture3d.job import Job, Seat
from fixture3d.job.inventory import Shortage, shims_left, shortages, size_in_words, table_pattern
from fixture3d.job.owned import Stocked, allot, is_shim
from fixture3d.job.resolve import reseated
from fixture3d.job.set_shims import made_up
from fixture3d.part import Part, parameters
from fixture3d.scene.schema import Clamp, Place, Shim
from fixture3d.tolerance import LOCATING, SETTING, SHOP
from fixture3d.units import from_mm

TRIES = 24
"""Places of one sort of blocks that are tried for one that is lacking, those of least effort first."""
IN_ALL = 240
"""Places that are tried for one setup; what is then left over is told."""
_KIND = "substitutes-1"  # raise the number when the method changes its answers


@dataclass(frozen=True)
class Instead:
    """What may stand in a place.

    Attributes:
        place: as the scene would have it.
        words: block and what changes, without the name of the place.
    """

    place: Place | Clamp
    words: str


@dataclass(frozen=True)
class Found:
    """What came of one shortage.

    Attributes:
        instead: for as many places as something was found for.
        lacking: how many are still lacking.
        tried: places that were tried for it.
        cut: not all could be tried.
        nearest: the block on the shelf that is nearest in size, where nothing was found; empty where there is none.
    """

    instead: tuple[Instead, ...]
    lacking: int
    tried: int
    cut: bool
    nearest: str


@dataclass
class Shelf:
    """The search for all shortages of a setup.

    Attributes:
        job: the setup, with what was found so far.
        left: tries that are left.
    """

    job: Job
    left: int = field(default_factory=lambda: IN_ALL)
    _trial: Trial | None = field(default=None)
    _room: Room | None = field(default=None)

    def instead(self, short: Shortage, names: Sequence[str]) -> Found:
        """What may stand in the place of blocks that are lacking.

        Args:
            short: which.
            names: of all places that take the block, those for which there is none first.
        """
        lacking, before, cut = short.needed - short.owned, self.left, False
        found: list[Instead] = []
        for name in names:
            if len(found) == lacking or self.left == 0:
                break
            one, all_tried = self._for(self.job.seats[name])
            cut = cut or not all_tried
            if one is not None:
                found.append(one)
        part = self.job.seats[names[0]].part
        line = next(iter(self._lines(part)), None) if not found else None
        return Found(
            instead=tuple(found),
            lacking=lacking - len(found),
            tried=before - self.left,
            cut=cut or (self.left == 0 and len(found) < lacking),
            nearest="" if line is None else block_words(line.part, line.mark, self.job),
        )

    def _lines(self, part: Part) -> list[Stocked]:
        """Lines with a block on the shelf that stands and presses as one does, the nearest in size first."""
        free = (one for one, _ in allot(self.job, table_pattern(self.job.scene)).free())
        same = (one for one in free if one.part.stands == part.stands and one.part.pattern == part.pattern)
        kind = [one for one in same if (one.part.tip() is None) == (part.tip() is None) and not is_shim(one.part)]
        return sorted(kind, key=lambda one: _unlike(part, one.part))

    def _for(self, seat: Seat) -> tuple[Instead | None, bool]:
        """The nearest block of the shelf that does in a place, and whether all there is was tried."""
        shims = dict(shims_left(self.job))
        for shim in seat.place.shims:
            for by in shim.by:
                shims[by] = shims.get(by, 0) + 1
        all_tried = True
        for line in self._lines(seat.part):
            if line.is_like(seat.part):
                continue
            places = candidates(self.job, seat, line, shims)
            all_tried = all_tried and len(places) <= TRIES
            for one in places[:TRIES]:
                if self.left == 0:
                    return None, False
                self.left -= 1
                if self._does(one.place):
                    return Instead(one.place, changed_words(seat.place, one.place, line, self.job)), True
        return None, all_tried

    def _does(self, place: Place | Clamp) -> bool:
        """Whether a block stands, is clear, holds, and leaves the torch its room; it then stays in the setup."""
        if self._trial is None:
            self._trial, self._room = Trial(self.job), Room(self.job)
        assert self._room is not None
        try:
            after = reseated(self.job, place)
        except FixtureError:
            return False
        if place.name not in after.seats or not self._trial.stands(after, place.name):
            return False
        if not self._located(after, place.name) or (self.job.welds and self._room.loses(after, place.name)):
            return False
        self.job, self._trial, self._room = after, None, None
        return True

    def _located(self, after: Job, name: str) -> bool:
        """Whether no piece by a block, or by one on it, can move in a way in which it could not before.

        A pin in a hole touches nothing and ends a motion all the same, so pieces as near as that count.
        """
        moving, near = with_it(self.job, name), set[str]()
        boxes = [body.box for body in self.job.bodies if body.item in moving and body.role != "sweep"]
        for piece in self.job.pieces():
            low, high = piece.box[0] - LOCATING.play, piece.box[1] + LOCATING.play
            if any((box[0] <= high).all() and (box[1] >= low).all() for box in boxes):
                near.add(piece.name)
        if not near:
            return True
        now, then = (Table(job, can_give(job), near) for job in (self.job, after))
        for old, new in zip(now.loose, then.loose, strict=True):
            before, behind = now.laid(old), then.laid(new)
            if behind.rank < before.rank or len(behind.motions) > len(before.motions):
                return False
        return True


def _unlike(one: Part, other: Part) -> tuple[bool, float, str]:
    """How unlike two blocks are: another model, then mm of all that differs."""
    if type(one) is type(other):
        keys = [key for key, parameter in parameters(type(one)).items() if parameter.kind == "length"]
        off = sum(abs(float(getattr(one, key)) - float(getattr(other, key))) for key in keys)
        counts = [key for key in parameters(type(one)) if key not in keys]
        off += sum(abs(float(getattr(one, key)) - float(getattr(other, key))) for key in counts)
        return False, round(off, 6), repr(other)
    sides = [[h - k for k, h in zip(*part.box(), strict=True)] for part in (one, other)]
    return True, round(sum(abs(a - b) for a, b in zip(*sides, strict=True)), 6), repr(other)


# --- in words ---------------------------------------------------------------------------------------------------------


def block_words(part: Part, mark: str | None, job: Job) -> str:
    """Model, size and mark."""
    size = size_in_words(part, job.scene.units)
    name = part.model if size == "standard" else f"{part.model} ({size})"
    return name if mark is None else f"{name} marked {mark}"


def changed_words(old: Place | Clamp, new: Place | Clamp, line: Stocked, job: Job) -> str:
    """A block and the keys of its place that change, as the file has them; sizes stand with the block."""
    units = job.scene.units
    keys: list[str] = []
    if new.hole != old.hole:
        keys.append(f"hole {new.hole}")
    if new.turn != old.turn:
        keys.append(f"turn = {new.turn:g}")
    if new.pin != old.pin and old.pin != "1":
        keys.append("its first pin in that hole")
    if old.pins is not None and new.pins is None:
        keys.append("no pins")
    if old.mark is not None and line.mark is None:
        keys.append("no mark")
    for key in ("notch", "slide"):
        value, was = getattr(new, key), getattr(old, key)
        if value is not None and value != was:
            shown = f"{value}" if key == "notch" else written(from_mm(value, units), units)
            keys.append(f"{key} = {shown}")
        elif value is None and was is not None:
            keys.append(f"no {key}")
    if shims_words(new.shims, job) != shims_words(old.shims, job):
        keys.append(shims_words(new.shims, job) or "no shims")
    return ", ".join([block_words(line.part, line.mark, job), *keys])


def shims_words(shims: Sequence[Shim], job: Job) -> str:
    """Shims as a file has them; empty without any."""
    units = job.scene.units
    each = [
        f'{{ pad = "{shim.pad}", by = [{", ".join(written(from_mm(by, units), units) for by in shim.by)}] }}'
        for shim in shims
    ]
    return f"shims = [{', '.join(each)}]" if each else ""


def remedies(job: Job) -> list[tuple[Shortage, str]]:
    """What the shop owns too few of, and what to do about each: from the cache, or tried."""
    short = list(shortages(job))
    if not short:
        return []
    parts = [key_of(job), repr((job.scene.clamps, TRIES, IN_ALL)), repr((asdict(SHOP), asdict(SETTING)))]
    models = sorted({line.record.model for line in job.scene.stock if line.record.model is not None})
    parts += [job.library.entries[name].digest for name in models]
    key = content_key(parts)
    kept = None if job.store is None else job.store.get_json(key, _KIND)
    if isinstance(kept, list) and len(kept) == len(short) and all(isinstance(one, str) for one in kept):
        return list(zip(short, kept, strict=True))
    shelf = Shelf(job)
    found = [remedy(job, shelf, one) for one in short]
    if job.store is not None:
        job.store.put_json(key, _KIND, found)
    return list(zip(short, found, strict=True))


def remedy(job: Job, shelf: Shelf, short: Shortage) -> str:
    """What to do about one thing that the shop owns too few of."""
    lack = short.needed - short.owned
    if short.small is not None:
        other = other_shims(job, short) if short.small.kind == "shim" else ""
        more = f"make or borrow {lack} more, and count them in the inventory"
        return f"{other}; or {more}" if other else more
    names = [*short.names, *(n for n in short.all_names if n not in short.names)]
    found = shelf.instead(short, names)
    parts = []
    by_words: dict[str, list[str]] = {}
    for one in found.instead:
        by_words.setdefault(one.words, []).append(one.place.name)
    for words, places in by_words.items():
        parts.append(f"the owned {words}, in the place of {listed(places)}")
    told = ""
    if parts:
        told = f"use {'; '.join(parts)}: tried, it stands clear"
        told += ", touches what was touched, what lies against it is located as before" if job.pieces() else ""
        told += ", and the torch keeps its room" if job.welds else ""
    count = f"{found.tried} places tried" if found.tried else "none has its faces there"
    count += ", not all that there are" if found.cut else ""
    if found.lacking and not found.instead:
        told = (
            f"nothing on the shelf does it ({count}); nearest in size: {found.nearest}"
            if found.nearest
            else "nothing on the shelf stands as it does"
        )
    elif found.lacking:
        told += f"; for {found.lacking} more nothing on the shelf does it ({count})"
    more = f"make or borrow {found.lacking or lack} more, and count them in the inventory"
    return f"{told}; {'' if found.lacking else 'or '}{more}"


def other_shims(job: Job, short: Shortage) -> str:
    """Other shims of the shelf that make up the same, where there are some for every one that is lacking."""
    small = short.small
    assert small is not None
    rest: dict[float, int] = dict(shims_left(job))
    out: list[str] = []
    lack = short.needed - short.owned
    for name in small.names:
        for shim in job.seats[name].place.shims:
            if lack <= 0 or not any(abs(by - small.size) <= SETTING.exact for by in shim.by):
                continue
            stock = dict(rest)
            for by in shim.by:
                if abs(by - small.size) > SETTING.exact:
                    stock[by] = stock.get(by, 0) + 1
            stock = {size: n for size, n in stock.items() if abs(size - small.size) > SETTING.exact}
            by_ = made_up(sum(shim.by), stock, SETTING.exact)
            if not by_:
                return ""
            rest = dict(stock)
            for size in by_:
                rest[size] -= 1
            lack -= sum(abs(by - small.size) <= SETTING.exact for by in shim.by)
            out.append(f"at {name} {shims_words([Shim.model_construct(pad=shim.pad, by=by_)], job)}")
    return f"the same from others: {'; '.join(out)}" if out and lack <= 0 else ""
