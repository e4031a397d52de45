"""What the entries of a scene say about each other: names, holes, stacking, and shapes that cannot be.

Needs no model library, so names of models and parameters are not judged here.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain, pairwise
from typing import TYPE_CHECKING, Any, Final

from fixture3d.access.shipped import SHIPPED, TECHNIQUES
from fixture3d.errors import Problem, TableError, nearest_name, some_names
from fixture3d.scene import outline
from fixture3d.scene.fields import MOST_ITEMS, name_fault
from fixture3d.scene.located import EXAMPLES, NAMED, Source
from fixture3d.scene.schema import FRAME_SIDES, Clamp, Member, Place, Plate
from fixture3d.scene.stages import Named, block_faults, weld_faults, work_faults
from fixture3d.scene.table import Table
from fixture3d.scene.text import Key, Path
from fixture3d.tolerance import NUMERIC

if TYPE_CHECKING:
    from fixture3d.scene import Scene
    from fixture3d.scene.read import Rest

MOST_COMPARED: Final = 50_000
"""Names that are compared in one run to find the nearest ones; about a second."""
_SPOTS: Final = ("hole", "on", "free", "edge", "magnet", "slot")


class Refs:
    """One pass over a scene.

    Args:
        scene: the entries that are valid one by one.
        source: of the whole data, for names of entries that are not, and for lines.
        rest: which entries of the file these are, and which of them lost a key.
        table: what the table keys describe; None when it cannot be built, and then holes are not judged.
    """

    def __init__(self, scene: Scene, source: Source, rest: Rest, table: Table | None) -> None:
        self.scene, self.source, self.rest, self.table = scene, source, rest, table
        self.problems: list[Problem] = []
        self.compared = 0
        data = source.data
        self.members = _names(data, "member")
        self.frames = _names(data, "frame")
        self.frame_members = [f"{name} {side}" for name in self.frames for side in FRAME_SIDES]
        self.pieces = [*self.members, *self.frame_members, *_names(data, "plate")]
        self.blocks = [*_names(data, "place"), *_names(data, "clamp")]
        self.piece_set, self.block_set = set(self.pieces), set(self.blocks)
        self.member_set = {*self.members, *self.frame_members}

    def run(self) -> list[Problem]:
        """All problems."""
        self._unique_names()
        self._blocks()
        self._stacking()
        self._work()
        self._welds()
        self._figures()
        self._shapes()
        self._names_of_tables()
        self._stages()
        self._plastics()
        return self.problems

    def _plastics(self) -> None:
        """Each plastic once, in whatever case."""
        seen: dict[str, Path] = {}
        for path, one in self._each("printing", self.scene.printing):
            first = seen.setdefault(one.material.casefold(), path)
            if first is not path:
                what = f'"{one.material}" stands on line {self.source.line(first)} already'
                self._say((*path, "material"), what, "one [[printing]] for each plastic")

    def _say(self, path: Sequence[Key], what: str, expected: str = "", nearest: str = "") -> None:
        self.problems.append(self.source.problem(path, what, expected, nearest))

    def _lacks(self, path: Path, what: str, expected: str) -> None:
        """A problem of something that is not there; kept back where a faulty key may have been meant for it."""
        if path[:2] not in self.rest.damaged and path[:1] not in self.rest.damaged:
            self._say(path, what, expected)

    def _each(self, kind: str, entries: Sequence[Any]) -> Iterator[tuple[Path, Any]]:
        indices = self.rest.origin.get(kind)
        for k, entry in enumerate(entries):
            yield (kind, indices[k] if indices is not None else k), entry

    def _known(self, path: Path, name: str | None, known: Sequence[str], among: set[str], noun: str) -> bool:
        """Whether ``name`` is there; says so when it is not."""
        if name is None or name in among:
            return True
        self.compared += len(known)
        near = nearest_name(name, known) if self.compared <= MOST_COMPARED else ""
        expected = "" if near else (f"one of {some_names(known)}" if known else f"a {noun} that is in the file")
        key = next(part for part in reversed(path) if isinstance(part, str))
        self._say(path, f'{key}: no {noun} is called "{name}"', expected, near)
        return False

    def _hole(self, path: Path, name: str | None) -> None:
        if name is None or self.table is None:
            return
        try:
            self.table.find(name)
        except TableError as error:
            what, _, near = str(error).partition("; nearest: ")
            self._say(path, what, "", near)

    def _unique_names(self) -> None:
        self._once([self._named(kind) for kind in ("place", "clamp", "member", "frame", "plate")])
        self._once([self._named("grid")])
        self._once([self._named("weld")])
        self._once([self._named("figure")])
        self._once([self._named("stage")])

    def _named(self, kind: str) -> Iterator[tuple[Path, str]]:
        """Every name that a kind of entry takes; a frame takes those of its members too."""
        for index, name in _indexed_names(self.source.data, kind):
            yield (kind, index), name
            if kind == "frame":
                yield from (((kind, index), f"{name} {side}") for side in FRAME_SIDES)

    def _once(self, groups: Sequence[Iterator[tuple[Path, str]]]) -> None:
        """Complain about the later one in the file of two that have one name."""
        seen: dict[str, Path] = {}
        for path, name in sorted(chain(*groups), key=lambda one: self.source.line(one[0])):
            folded = unicodedata.normalize("NFKC", name).casefold()
            first = seen.setdefault(folded, path)
            if first == path:
                continue
            line = self.source.line((*first, "name"))
            where = self.source.item(first) + (f" in line {line}" if line else f", entry {int(first[1]) + 1}")
            self._say((*path, "name"), f'the name "{name}" is taken by {where}', "a name that nothing else has")

    def _blocks(self) -> None:
        count = len(self.blocks)
        if count > MOST_ITEMS:
            self._say((), f"{count} blocks in one scene", f"at most {MOST_ITEMS}")
        for path, place in self._each("place", self.scene.places):
            self._block(path, place)
        for path, clamp in self._each("clamp", self.scene.clamps):
            self._block(path, clamp)
            self._clamp(path, clamp)

    def _block(self, path: Path, block: Place) -> None:
        spots = [key for key in _SPOTS if getattr(block, key, None) not in (None, False)]
        if spots == ["free", "magnet"]:
            spots = ["free"]  # a magnet holds it where free says it stands
        if len(spots) != 1:
            allowed = "hole, on, free, edge, slot or magnet" if isinstance(block, Clamp) else "hole, on, free or edge"
            found = " together with ".join(spots) or "nothing says where it stands"
            (self._say if spots else self._lacks)((*path, *spots[1:2]), found, f"exactly one of {allowed}")
        aimed = isinstance(block, Clamp) and block.presses is not None and block.at is not None
        if block.edge is not None and block.along is None and not aimed:
            self._lacks((*path, "edge"), "edge without along", "along = the distance from A1 along that edge")
        slot = block.slot if isinstance(block, Clamp) else None
        if slot is not None and block.along is None and not aimed:
            self._lacks((*path, "slot"), "slot without along", f"along = the distance from the first end of {slot}")
        if block.along is not None and block.edge is None and slot is None:
            self._lacks((*path, "along"), "along without edge", 'edge = "front", "back", "left" or "right"')
        if block.socket is not None and block.on is None:
            self._lacks((*path, "socket"), "socket without on", 'on = "NAME" of the block below')
        if block.notch is not None and block.slide is not None:
            self._say((*path, "slide"), "notch together with slide", "one of them")
        if block.free is not None and block.turn != 0.0:
            self._say((*path, "turn"), "turn together with free", "the turn as the fourth value of free")
        self._hole((*path, "hole"), block.hole)
        if block.on is not None:
            self._known((*path, "on"), block.on, self.blocks, self.block_set, "block")

    def _clamp(self, path: Path, clamp: Clamp) -> None:
        if clamp.at is not None and clamp.presses is None:
            self._lacks((*path, "at"), "at without presses", 'presses = "NAME" of the piece')
        if not self._from_file:
            self._known((*path, "presses"), clamp.presses, self.pieces, self.piece_set, "piece")
        self._known((*path, "toward"), clamp.toward, self.blocks, self.block_set, "block")
        if ("table",) not in self.rest.damaged:
            slots = [slot.name for slot in self.scene.table_keys.slots]
            self._known((*path, "slot"), clamp.slot, slots, set(slots), "slot")

    @property
    def _from_file(self) -> bool:
        """Whether pieces come from a geometry file, so that their names are not known here."""
        return _get(self.source.data.get("weldment"), "file") is not None

    def _stacking(self) -> None:
        below: dict[str, tuple[str, Path]] = {}
        for kind, entries in (("place", self.scene.places), ("clamp", self.scene.clamps)):
            for path, entry in self._each(kind, entries):
                if entry.on is not None:
                    below.setdefault(entry.name, (entry.on, path))
        told: set[str] = set()
        done: set[str] = set()
        for start in below:
            seen: dict[str, None] = {}
            name = start
            while name in below and name not in seen and name not in done:
                seen[name] = None
                name = below[name][0]
            if name in seen and name not in told:
                loop = list(seen)[list(seen).index(name) :]
                told.update(loop)
                what = "stands on itself" if len(loop) == 1 else "blocks stand on each other in a circle: "
                self._say((*below[name][1], "on"), what + (" on ".join(_some([*loop, name])) if len(loop) > 1 else ""))
            done.update(seen)

    def _work(self) -> None:
        scene, data = self.scene, self.source.data
        weldment = scene.weldment
        listed = [(kind, n) for kind in ("member", "frame", "plate") if (n := _length(data.get(kind)))]
        if weldment is None and "weldment" not in data and listed:
            self._say(
                (listed[0][0], 0), "pieces, but no [weldment] that says where they sit", 'a [weldment] with hole = "E4"'
            )
        if weldment is not None:
            self._hole(("weldment", "hole"), weldment.hole)
            self._technique(("weldment", "technique"), weldment.technique)
            if weldment.file is not None and listed:
                self._say(
                    ("weldment", "file"), "file together with [[member]], [[frame]] or [[plate]]", "one or the other"
                )
            ending = (weldment.file or "").casefold()[-4:]
            if ending in (".stl", ".obj") and weldment.unit is None:
                kind = ending[1:].upper()
                self._lacks(("weldment", "file"), f"an {kind} file does not say its unit", 'unit = "mm" or "in"')
            if weldment.unit is not None and weldment.file is None:
                self._say(
                    ("weldment", "unit"), "unit without file", "units at the top of the scene for everything else"
                )
        for path, member in self._each("member", scene.members):
            for k, end in enumerate(member.ends):
                spot: Path = (*path, "ends", k, end.kind)
                if end.to == member.name:
                    self._say(spot, f"{end.kind} names the member itself", "another member")
                elif end.kind in ("cope", "against"):  # that a plate is not coped round is told with the cut
                    self._known(spot, end.to, self.pieces, self.piece_set, "member or plate")
                else:
                    self._known(spot, end.to, [*self.members, *self.frame_members], self.member_set, "member")
        known = set(_keys(data, "torch")) | set(SHIPPED)
        for name, technique in scene.techniques.items():
            self._known(("technique", name, "torch"), technique.torch, sorted(known), known, "torch")
            if technique.filler_angle is not None and not 0.0 < technique.filler_angle[0] <= technique.filler_angle[1]:
                what = "filler_angle is [{:g}, {:g}]".format(*technique.filler_angle)
                self._say(("technique", name, "filler_angle"), what, "the usual angle and then the steepest, above 0")
        for name, torch in scene.torches.items():
            if torch.stub_length > torch.nozzle_length:
                what = "stub_length is more than nozzle_length"
                self._say(("torch", name, "stub_length"), what, "what is left of the electrode when it is thrown away")
            if torch.back_cap > 0.0 and torch.back_cap_diameter == 0.0:
                self._lacks(("torch", name), "back_cap without back_cap_diameter", "back_cap_diameter = 18")

    def _technique(self, path: Path, name: str | None) -> None:
        known = [*_keys(self.source.data, "technique"), *TECHNIQUES]
        self._known(path, name, known, set(known), "technique")

    @property
    def _automatic(self) -> bool:
        return self.scene.weldment is not None and self.scene.weldment.welds == "auto"

    def _unfound(self) -> frozenset[str]:
        """The welds that name found ones in a scene that does not ask for them: told once, with the key that is off."""
        keys = ("type", "size", "path")
        named = [
            (path, weld.name)
            for path, weld in self._each("weld", self.scene.welds)
            if " / " in weld.name and weld.joins is None and weld.sides is None and weld.path is None
        ]
        if self._automatic or not named:
            return frozenset()
        off = self.scene.weldment is not None and self.scene.weldment.welds == "none"
        more = f" (as do {len(named) - 1} more)" if len(named) > 1 else ""
        stands = 'welds = "none"' if off else 'no welds = "auto"'
        what = f"names one of the welds that are found between pieces{more}, but {stands} stands in [weldment]"
        self._say(named[0][0], what, f'welds = "auto" in [weldment], or {", ".join(keys)} and joins of each')
        return frozenset(name for _, name in named)

    def _welds(self) -> None:
        unfound = self._unfound()
        for path, weld in self._each("weld", self.scene.welds):
            self._technique((*path, "technique"), weld.technique)
            if weld.joins is not None and weld.sides is not None:
                self._say((*path, "sides"), "joins together with sides", "one of them")
            if weld.joins is not None and not self._from_file:
                for k, name in enumerate(weld.joins):
                    self._known((*path, "joins", k), name, self.pieces, self.piece_set, "piece")
            if weld.joins is not None and weld.joins[0] == weld.joins[1]:
                self._say((*path, "joins"), f'joins "{weld.joins[0]}" to itself', "two different pieces")
            if weld.path is not None and any(a == b for a, b in zip(weld.path, weld.path[1:], strict=False)):
                self._say((*path, "path"), "the same point twice in a row", "points that differ")
            elif weld.path is not None and weld.sides is not None:
                parts = [[b - a for a, b in zip(*pair, strict=True)] for pair in pairwise(weld.path)]
                for k, side in enumerate(weld.sides):
                    bad = any if k == 0 else all  # round a corner, the second face is another one
                    if bad(_parallel(side, part) for part in parts):
                        what = f"face {k + 1} looks along the weld"
                        self._say((*path, "sides", k), what, "the outward normal of a face that the weld lies on")
            if weld.path is None and (self._automatic or weld.name in unfound):
                continue
            for key, example in (
                ("type", 'type = "fillet"'),
                ("size", "size = 4"),
                ("path", "path = [[0, 0, 0], [40, 0, 0]]"),
            ):
                if getattr(weld, key) is None:
                    self._lacks(path, f'key "{key}" is missing', example)
            if weld.joins is None and weld.sides is None:
                self._say(
                    path, "nothing says which faces it joins", 'joins = ["A", "B"], or sides = [[0, 0, 1], [1, 0, 0]]'
                )

    def _figures(self) -> None:
        for path, figure in self._each("figure", self.scene.figures):
            for k, name in enumerate(figure.of or ()):
                if not self._from_file:
                    self._known((*path, "of", k), name, self.pieces, self.piece_set, "piece")
            if figure.kind == "angle" and figure.of is not None and figure.of[0] == figure.of[1]:
                self._say((*path, "of"), f'an angle of "{figure.of[0]}" with itself', "two different members")
            if figure.points is not None and figure.kind != "flatness" and figure.points[0] == figure.points[1]:
                self._say((*path, "points"), "the same point twice", "two different points")

    def _shapes(self) -> None:
        for kind, entries in (("frame", self.scene.frames), ("plate", self.scene.plates)):
            for path, entry in self._each(kind, entries):
                if _parallel(entry.normal, entry.along):
                    self._say((*path, "along"), "along is parallel to normal", "a direction in the plane")
        for path, plate in self._each("plate", self.scene.plates):
            self._outline(path, plate)
            fault = outline.fault(plate.outline) if plate.outline is not None else ""
            if fault:
                self._say((*path, "outline"), fault, "corner points in order round the plate")
            if plate.thickness < outline.SMALLEST:
                what = f"thickness {plate.thickness:g} mm: a wrong unit?"
                self._say((*path, "thickness"), what, f"at least {outline.SMALLEST:g} mm")
        for path, member in self._each("member", self.scene.members):
            self._line(path, member)
            if member.from_ is None or member.to is None:
                continue
            long = math.dist(member.from_, member.to)
            if NUMERIC.merge <= long < outline.SMALLEST:
                self._say(
                    (*path, "to"), f"{long:g} mm from end to end: a wrong unit?", f"at least {outline.SMALLEST:g} mm"
                )

    def _line(self, path: Path, member: Member) -> None:
        """What a member's centre line lacks."""
        if member.path is None:
            for key, point in (("from", member.from_), ("to", member.to)):
                if point is None:
                    self._lacks(path, f'key "{key}" is missing', EXAMPLES[key])
            if member.bend is not None:
                self._lacks((*path, "bend"), "bend without path", EXAMPLES["path"])
        elif member.bend is None:
            self._lacks(path, 'key "bend" is missing', "bend = the radius of the centre line in its bends")

    def _outline(self, path: Path, plate: Plate) -> None:
        """What a plate's outline lacks."""
        if plate.dxf is not None:
            return
        if plate.outline is None:
            self._lacks(path, "it has no outline", f"{EXAMPLES['outline']}, or {EXAMPLES['dxf']}")
        for key in ("unit", "layer"):
            if getattr(plate, key) is not None:
                self._lacks((*path, key), f"{key} without dxf", EXAMPLES["dxf"])

    def _stages(self) -> None:
        scene, data = self.scene, self.source.data
        stages, welds = _names(data, "stage"), _names(data, "weld")
        for kind, entries in (("place", scene.places), ("clamp", scene.clamps)):
            for path, block in self._each(kind, entries):
                for k, name in enumerate(block.stages or ()):
                    self._known((*path, "stages", k), name, stages, set(stages), "stage")
        for path, stage in self._each("stage", scene.stages):
            for k, name in enumerate(stage.welds or () if not self._automatic else ()):  # those are found later
                self._known((*path, "welds", k), name, welds, set(welds), "weld")
            for k, name in enumerate(stage.without):
                self._known((*path, "without", k), name, self.blocks, self.block_set, "block")
            if stage.weldment is not None:
                self._hole((*path, "weldment", "hole"), stage.weldment.hole)
        # What is missing means nothing where an entry of the file could not be read.
        if not scene.stages or self.rest.damaged or len(set(stages)) < len(stages):
            return
        faults = list(block_faults(scene, lambda kind, k: (kind, k)))
        if not self._automatic:
            faults += weld_faults(scene, lambda kind, k: (kind, k))
        if not self._from_file:
            pieces = [Named(name, name) for name in (*self.members, *_names(data, "plate"))]
            pieces += [Named(f"{name} {side}", name) for name in self.frames for side in FRAME_SIDES]
            faults += work_faults(scene, pieces, lambda kind, k: (kind, k))
        for fault in faults:
            self._say(*fault)

    def _names_of_tables(self) -> None:
        for kind in NAMED:
            for name in _keys(self.source.data, kind):
                fault = name_fault(name)
                if fault:
                    self._say((kind, name), f'the name "{name[:80]}" {fault}', "a name of plain characters")


def _parallel(a: Sequence[float], b: Sequence[float]) -> bool:
    cross = (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])
    return math.hypot(*cross) <= 1e-9 * math.hypot(*a) * math.hypot(*b)


def _get(entry: Any, key: str) -> Any:
    return entry.get(key) if isinstance(entry, Mapping) else getattr(entry, key, None)


def _indexed_names(data: Mapping[str, Any], kind: str) -> Iterator[tuple[int, str]]:
    entries = data.get(kind)
    if isinstance(entries, list | tuple):
        for index, entry in enumerate(entries[: 2 * MOST_ITEMS]):
            name = _get(entry, "name")
            if isinstance(name, str):
                yield index, name


def _names(data: Mapping[str, Any], kind: str) -> list[str]:
    return [name for _, name in _indexed_names(data, kind)]


def _keys(data: Mapping[str, Any], kind: str) -> list[str]:
    inside = data.get(kind)
    return [key for key in inside if isinstance(key, str)] if isinstance(inside, Mapping) else []


def _length(value: Any) -> int:
    return len(value) if isinstance(value, list | tuple) else 0


def _some(names: Sequence[str]) -> list[str]:
    shown = [f'"{name}"' for name in names]
    return shown if len(shown) <= 6 else [*shown[:3], "...", *shown[-2:]]
