"""The least change that gives a blocked weld back: tried on the changed setup before it is named.

For the blocks that take most of a weld, in order of effort: another turn, another notch, another hole, a lower block;
then another torch or technique. A change counts only when the block still stands, runs into nothing new and touches
all of the work that it touches now (``trial``), and the torch is then asked again. What cannot be mended so may be
welded before a block is in its place, where that block carries no work.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from fixture3d.access.access import WeldAccess
from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.access.torch import Technique
from fixture3d.access.welds import Weld
from fixture3d.checks.seat_remedies import with_it
from fixture3d.checks.trial import Trial
from fixture3d.errors import SceneError, TableError
from fixture3d.job import Job, Seat
from fixture3d.job.plane import BlockPlane
from fixture3d.job.resolve import plane_of, reseated
from fixture3d.job.wayout import in_words
from fixture3d.part import parameters
from fixture3d.scene import schema
from fixture3d.scene.schema import Clamp, Place
from fixture3d.tolerance import NUMERIC
from fixture3d.units import Units, show, show_rough

MOST_WELDS = 6
"""Welds of one setup for which changes are tried, those that lose most first; the others are told as not tried."""
MOST_TRIES = 60
"""Changes that are tried for one weld; when they are used up, that is told."""
MOST_BODIES = 3
"""Blocks that are changed for one weld, those that block most first."""
LEAST_SHARE = 0.1
"""A block that takes less of the blocked positions is left alone."""
FAR = 3
"""Holes along a row or column that a block is sent at most."""
NOTCHES = 4
"""Notches either way that are tried, besides fully in."""
_STEPS = {"mm": 5.0, "in": 6.35}  # mm; blocks are cut in such steps: common practice, no source
_USUAL = {"mig": "", "tig": "tig-", "stick": "stick-"}  # techniques for a torch whose process is not said
_SLIDE = 5.0  # mm; of a slide without notches


class Reach(Protocol):
    """Length of a weld that the torch reaches in a changed setup, mm."""

    def __call__(self, after: Job, weld: Weld, moved: frozenset[str], /) -> float:
        """Of the items ``moved`` alone the bodies differ from the setup as it is."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change, and what it gives.

    Attributes:
        words: what to do, such as ``"turn S4 to 180"``.
        after: the changed setup.
        weld: as it is in the changed setup.
        reached: mm of the weld that are then reached.
    """

    words: str
    after: Job
    weld: Weld
    reached: float


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What came of the tries for one weld.

    Attributes:
        change: the least one that gives all of it back, or else the one that gives most; None when none gives more.
        together: what is in the way of every blocked position, each alone, where that is more than one body: then no
            one block is enough, and none was changed.
        earlier: the block before which it can be welded in full, and None when there is none.
        tried: how many changes were tried, those that do not stand among them.
        stopped: more could have been tried.
        length: of the weld, mm.
    """

    change: Change | None
    together: tuple[str, ...]
    earlier: str | None
    tried: int
    stopped: bool
    length: float

    @property
    def whole(self) -> bool:
        """The change gives back all of the weld."""
        return self.change is not None and self.change.reached >= self.length - NUMERIC.merge

    def in_words(self, units: Units) -> str:
        """As a remedy says it."""
        length = show_rough(self.length, units)
        count = f"{self.tried} change{'' if self.tried == 1 else 's'} tried"
        if self.stopped:
            count += ", and there it was left"
        if self.change is not None and self.whole:
            return f"{self.change.words}: then all {length} are reached (tried)"
        words = f"{count}; none gives it back" if self.change is None else ""
        if self.change is not None:
            reached = show_rough(self.change.reached, units)
            words = f"{self.change.words}: then {reached} of {length} are reached (the most of {count})"
        if self.tried == 0:
            words = "there is no block to change and no other torch to try"
        if self.together:
            every = " and ".join(self.together)
            words = f"no one block is enough, for {every} are each in the way of every blocked position; {words}"
        if self.earlier is not None:
            words += f"; or weld it before {self.earlier} is put in place: then all {length} are reached (tried)"
        return words


def least_change(job: Job, weld: Weld, found: WeldAccess, technique: Technique, reach: Reach, trial: Trial) -> Outcome:
    """The least change that gives a weld back.

    Args:
        job: the setup.
        weld: one of its welds, not all of which is reached.
        found: what the torch reaches of it, and who is in the way.
        technique: by which it is run.
        reach: asks the torch.
        trial: of the setup.
    """
    search = _Search(job, weld, found, reach, trial)
    names = _worth(job, found)
    for group in (_turns, _settings, _places):
        for name in names:
            for words, item in group(job, job.seats[name]):
                if search.done:
                    return search.outcome(None)
                search.block(words, item)
    for name in names:
        _lower(search, job.seats[name])
    for words, scene, other in _torches(job, weld, technique):
        if search.done:
            break
        search.torch(words, scene, other)
    return search.outcome(None if search.done else _earlier(search, names))


def _worth(job: Job, found: WeldAccess) -> list[str]:
    """The blocks whose change can help, worst first: none but one that is in the way of every blocked position."""
    always = _always(found)
    most = [name for name, share in found.blockers if share >= LEAST_SHARE and name in job.seats][:MOST_BODIES]
    return [name for name in most if not always or always == [name]]


def _always(found: WeldAccess) -> list[str]:
    """What is in the way of every blocked position."""
    return [name for name, share in found.blockers if share >= 1.0 - NUMERIC.zero]


@dataclass
class _Search:
    """The tries for one weld, and the best so far."""

    job: Job
    weld: Weld
    found: WeldAccess
    reach: Reach
    trial: Trial
    tried: int = 0
    stopped: bool = False
    best: Change | None = field(default=None)

    @property
    def done(self) -> bool:
        """Nothing more is to be tried."""
        return self.stopped or (self.best is not None and self.whole(self.best.reached))

    def block(self, words: str, item: Place | Clamp, prefer: bool = False) -> bool:
        """Try a changed block; whether it stands and gives back all, or (``prefer``) as much as the best so far.

        The torch is asked before all else is compared: most changes give nothing.
        """
        after = self.made(item)
        if after is None or not self.trial.seated(after, item.name):
            return False
        reached = self.gives(after, item)
        least = self.found.reachable if self.best is None else self.best.reached
        better = reached > least + NUMERIC.merge or (prefer and reached >= least - NUMERIC.merge)
        if not better or not self.trial.stands(after, item.name):
            return False
        self.best = Change(words=words, after=after, weld=self.weld, reached=reached)
        return True

    def made(self, item: Place | Clamp) -> Job | None:
        """The setup with a changed block, when that can exist, and more may be tried."""
        if self.tried >= MOST_TRIES:
            self.stopped = True
            return None
        self.tried += 1
        try:
            return reseated(self.job, item)
        except SceneError:
            return None

    def gives(self, after: Job, item: Place | Clamp) -> float:
        """Mm that are reached with a changed block."""
        return self.reach(after, self.weld, frozenset(with_it(self.job, item.name)))

    def torch(self, words: str, scene: schema.Technique | None, weld: Weld) -> None:
        """Try another torch or technique."""
        self.tried += 1
        after = self.job
        if scene is not None:
            techniques = {**self.job.scene.techniques, weld.technique: scene}
            after = dataclasses.replace(self.job, scene=self.job.scene.model_copy(update={"techniques": techniques}))
        reached = self.reach(after, weld, frozenset())
        if reached > (self.found.reachable if self.best is None else self.best.reached) + NUMERIC.merge:
            self.best = Change(words=words, after=after, weld=weld, reached=reached)

    def outcome(self, earlier: str | None) -> Outcome:
        """What came of it."""
        always = _always(self.found)
        return Outcome(
            change=self.best,
            together=tuple(always) if len(always) > 1 else (),
            earlier=earlier,
            tried=self.tried,
            stopped=self.stopped,
            length=self.found.length,
        )

    def before(self, name: str) -> bool:
        """Whether all of the weld is reached as long as a block is not in its place."""
        after = dataclasses.replace(self.job, bodies=tuple(b for b in self.job.bodies if b.item != name))
        return self.whole(self.reach(after, self.weld, frozenset({name})))

    def whole(self, reached: float) -> bool:
        """Whether that is all of the weld."""
        return reached >= self.found.length - NUMERIC.merge


def _earlier(search: _Search, names: Sequence[str]) -> str | None:
    """The first block that carries no work, and before which all of the weld is reached."""
    carriers = {seat.stands_on for seat in search.job.seats.values() if seat.stacked}
    for name in names:
        free = search.job.seats[name].clamp or not search.trial.carries(name)
        if free and name not in carriers and search.before(name):
            return name
    return None


# --- what is tried ---------------------------------------------------------------------------------------------------

Changed = Iterator[tuple[str, Place | Clamp]]


def _turns(job: Job, seat: Seat) -> Changed:
    """The other three turns about its pin."""
    item = seat.place
    if item.edge is not None or (isinstance(item, Clamp) and (item.slot is not None or _follows(item))):
        return
    for more in (90.0, 180.0, 270.0):
        if item.free is not None:
            x, y, z, now = item.free
            turn = (now + more) % 360.0
            yield f"turn {seat.name} to {turn:g}", item.model_copy(update={"free": (x, y, z, turn)})
        else:
            turn = (item.turn + more) % 360.0
            yield f"turn {seat.name} to {turn:g}", item.model_copy(update={"turn": turn})


def _follows(item: Clamp) -> bool:
    """A clamp that turns by itself to where it presses."""
    return item.presses is not None and "turn" not in item.model_fields_set


def _settings(job: Job, seat: Seat) -> Changed:
    """Other notches or lengths of its slide, the nearest first, and fully in."""
    move, item = seat.part.move(), seat.place
    if move is None:
        return
    if move.notch is not None and seat.notch is not None:
        now = seat.notch
        near = [now + sign * far for far in range(1, NOTCHES + 1) for sign in (-1, 1)]
        for notch in dict.fromkeys((*near, 0)):
            if 0 <= notch <= move.notches and notch != now:
                yield f"set {seat.name} to notch {notch}", item.model_copy(update={"notch": notch, "slide": None})
    elif move.notch is None:
        lengths = [seat.slide + sign * far * _SLIDE for far in range(1, NOTCHES + 1) for sign in (-1, 1)]
        for slide in dict.fromkeys((*lengths, 0.0)):
            if 0.0 <= slide <= move.travel and abs(slide - seat.slide) > NUMERIC.merge:
                words = f"set {seat.name} to slide = {show(slide, job.scene.units)}"
                yield words, item.model_copy(update={"slide": slide})


def _places(job: Job, seat: Seat) -> Changed:
    """Holes in its row and column, or other sockets of what it stands on; a pitch away where it is measured."""
    item = seat.place
    if seat.stacked:
        plane = plane_of(job, seat)
        for name, _ in plane.sockets if isinstance(plane, BlockPlane) else ():
            if item.socket != name:
                yield f"move {seat.name} to socket {name} of {item.on}", item.model_copy(update={"socket": name})
        return
    ways = [(far * i, far * j) for far in range(1, FAR + 1) for i, j in ((1, 0), (-1, 0), (0, 1), (0, -1))]
    if item.hole is not None:
        try:
            hole = job.table.find(item.hole)
            grid = job.table.grid(hole.grid)
        except TableError:
            return
        for i, j in ways:
            if grid.has(hole.i + i, hole.j + j, hole.plus):
                there = grid.at(hole.i + i, hole.j + j, hole.plus).name
                yield f"move {seat.name} to hole {there}", item.model_copy(update={"hole": there})
    elif item.free is not None:
        x, y, z, turn = item.free
        for i, j in ways:
            by = np.array([i * job.table.pitch[0], j * job.table.pitch[1], 0.0])
            spot = (x + float(by[0]), y + float(by[1]), z, turn)
            yield f"move {seat.name} {in_words(by, job.scene.units)}", item.model_copy(update={"free": spot})


def _lower(search: _Search, seat: Seat) -> None:
    """The highest of the lower blocks that gives all back; or the lowest that stands, when that gives part.

    A lower block is in the way of less, so that both can be found by halving; what is named was tried itself. When the
    lowest of all gives nothing, no other is tried.
    """
    sizes, units = _heights(search.job, seat), search.job.scene.units
    items = [seat.place.model_copy(update={"with_": {**seat.place.with_, "height": f"{h!r} mm"}}) for h in sizes]
    words = [f"use a lower {seat.model} for {seat.name}, height = {show(h, units)}" for h in sizes]
    least = search.made(items[-1]) if items and not search.done else None
    if least is None or search.gives(least, items[-1]) <= search.found.reachable + NUMERIC.merge:
        return
    # Of the sizes, highest first, the last that stands: a stop that is too low no longer touches the work.
    low, high = -1, len(sizes)
    while high - low > 1 and not search.stopped:
        middle = (low + high) // 2
        made = search.made(items[middle])
        stands = made is not None and search.trial.stands(made, seat.name)
        low, high = (middle, high) if stands else (low, middle)
    if low < 0 or not search.block(words[low], items[low]) or not search.done:
        return
    first = -1
    while low - first > 1 and not search.stopped:
        middle = (low + first) // 2
        low, first = (middle, first) if search.block(words[middle], items[middle], prefer=True) else (low, middle)


def _heights(job: Job, seat: Seat) -> list[float]:
    """Lower sizes of a block, highest first: those of the inventory, or else in steps down to the model's least."""
    known = parameters(type(seat.part)).get("height")
    if known is None or known.kind != "length" or seat.clamp or seat.face not in ("bottom", "top"):
        return []
    now = float(getattr(seat.part, "height"))  # noqa: B009  a parameter of this model, no attribute of all
    low, pattern = known.resolved("low", seat.part.pattern), seat.part.pattern
    lines = [line for line in job.scene.inventory if line.model == seat.model]
    if lines:
        owned = {
            float(getattr(job.library.make(line.model, pattern, line.with_, job.scene.units), "height"))  # noqa: B009
            for line in lines
        }
        return sorted((h for h in owned if h < now - NUMERIC.merge), reverse=True)
    step = _STEPS[job.scene.units]
    top = int(np.ceil(now / step - 1e-9)) - 1
    return [k * step for k in range(top, 0, -1) if k * step >= low - NUMERIC.merge]


def _torches(job: Job, weld: Weld, technique: Technique) -> Iterator[tuple[str, schema.Technique | None, Weld]]:
    """Other shipped torches for the same process in the same technique, then the process's other techniques."""
    kind = _kind(technique)
    for name in SHIPPED:
        if name.partition("-")[0] == kind and name != technique.torch:
            keys = schema.Technique.model_construct(
                torch=name,
                work_angle=technique.work_angle,
                travel_angle=technique.travel_angle,
                stand_off=technique.stand_off,
                direction=technique.direction,
                process=technique.process or None,
                filler_angle=technique.filler_angle,
            )
            other = dataclasses.replace(weld, technique=technique.name)
            yield f'run it with torch = "{name}" in its technique', keys, other
    prefixes = {t.process: n.removesuffix("butt") for n, t in TECHNIQUES.items() if n.endswith("butt")}
    for joint in ("butt",) if weld.type == "butt" else ("corner", "middle"):
        name = prefixes.get(technique.process, _USUAL[kind]) + joint
        if name != technique.name and name not in job.scene.techniques:
            yield f'run it with technique = "{name}"', None, dataclasses.replace(weld, technique=name)


def _kind(technique: Technique) -> str:
    """The kind of torch that a technique asks for, as the shipped ones are named."""
    if technique.torch in SHIPPED:
        return technique.torch.partition("-")[0]
    words = technique.process.lower()
    if technique.filler_angle is not None or "tungsten" in words:
        return "tig"
    return "stick" if "shielded metal" in words or "stick" in words else "mig"
