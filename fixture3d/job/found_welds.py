"""``welds = "auto"``: the welds that the pieces themselves show become entries of the scene, beside the listed ones.

They are found once for the whole weldment, in its own frame, so that a weld keeps its name wherever the work lies and
in whichever stage it is run. ``front`` in a name is the weldment's own -Y.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fixture3d import frame, units
from fixture3d.cache import content_key
from fixture3d.errors import BadSolid, Problem, SceneError, nearest_name
from fixture3d.frame import Array
from fixture3d.job.doubled_welds import Doubled, doubled
from fixture3d.job.pieces import piece_shape
from fixture3d.job.weldment import Piece, build
from fixture3d.scene import problem_at
from fixture3d.scene.schema import Stage
from fixture3d.scene.schema import Weld as WeldKeys
from fixture3d.scene.stages import Named, on_table
from fixture3d.tolerance import JOINTS
from fixture3d.welding import FoundWeld, FoundWelds, Remark, default_size, find_welds, weld_names

if TYPE_CHECKING:
    from fixture3d.cache import Store
    from fixture3d.scene import Scene

_KIND: Final = "welds-2"  # raise the number when the same solids give another answer
_PLACES: Final = 4  # decimals of a path, mm, and of a direction: far below any meaning, and the same on every machine

_ROUNDED: Final = 0.8  # mm; places along a weld are told, and so asked for, in whole mm or sixteenths of an inch
_NEAREST: Final = 4  # names that are offered for a wrong one
_SAME: Final = 0.01  # mm; two points of a path that are no further apart are one


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """What was found on a weldment.

    Attributes:
        welds: that are run, by the name under which the scene now has them; weldment frame.
        closed: those inside a closed bore, where no torch comes, by name.
        remarks: what was seen and is no weld.
        unread: pieces that could not be read, each with the reason.
        settled: names of those for which the file says what they are.
        nowhere: names of welds that no stage runs, because both pieces are on the table only in stages that name
            other welds.
        whole: full length in mm of those of which the file takes a part, by name.
        doubled: listed welds that lie on a found one, which is then not run beside them.
    """

    welds: Mapping[str, FoundWeld]
    closed: Mapping[str, FoundWeld]
    remarks: tuple[Remark, ...]
    unread: Mapping[str, str]
    settled: frozenset[str] = frozenset()
    nowhere: tuple[str, ...] = ()
    whole: Mapping[str, float] = field(default_factory=dict)
    doubled: tuple[Doubled, ...] = ()

    def doubts(self, name: str) -> tuple[str, ...]:
        """What is doubtful of a weld, in sentences; nothing of one that the file settles, or that was not found."""
        return self.welds[name].ambiguous if name in self.welds and name not in self.settled else ()


def is_automatic(scene: Scene) -> bool:
    """Whether a scene asks for its welds to be found."""
    return scene.weldment is not None and scene.weldment.welds == "auto"


def with_found(scene: Scene, store: Store | None = None) -> tuple[Scene, Found | None]:
    """A scene with all its stages, and the welds that were found as entries of it.

    A ``[[weld]]`` of the name of a found one overrides what it gives, or drops it with ``skip``; one of another name
    is a weld of its own and needs a path. Found ones come after the listed ones, in the order of their names.

    Args:
        scene: validated data, with or without stages.
        store: where answers are kept between runs.

    Returns:
        The scene as it is, and None, when it does not ask for welds to be found.

    Raises:
        SceneError: a weld of the file, or of a stage, is neither found nor given with its path.
    """
    whole = scene.whole
    if whole.weldment is not None and whole.weldment.welds == "none":
        return whole.model_copy(update={"welds": ()}), None
    if not is_automatic(whole):
        return scene, None
    weldment = build(whole, store)
    if weldment is None:
        return scene, None
    assert whole.weldment is not None
    gap = whole.weldment.root_gap if whole.weldment.root_gap is not None else JOINTS.gap
    welds, sizes, remarks, unread = _answer(weldment.pieces, gap, store)
    named = dict(zip(weld_names(welds), zip(welds, sizes, strict=True), strict=True))
    listed = {weld.name: weld for weld in whole.welds}
    parted = {weld.name: named[weld.name][0].length for weld in whole.welds if weld.part and weld.name in named}
    staged = [Named(piece.name, piece.item) for piece in weldment.pieces]
    problems = [*_unknown(whole, named), *_staged(whole, named, staged), *_parts(whole, named)]
    if problems:
        raise SceneError(problems)
    here = {name: pair for name, pair in named.items() if pair[0].state != "closed" or name in listed}
    twice = _twice(whole, {name: weld for name, (weld, _) in here.items()})
    here = {name: pair for name, pair in here.items() if name not in {one.found for one in twice}}
    entries = [_filled(weld, *here[weld.name]) if weld.name in here else weld for weld in whole.welds]
    entries += [_entry(name, *here[name]) for name in sorted(here) if name not in listed]
    made = whole.model_copy(update={"welds": tuple(entries)})
    stages, nowhere = _shared_out(made, staged)
    made = made.model_copy(update={"stages": stages})
    own = {name: weld for name, (weld, _) in here.items() if name not in listed or listed[name].path is None}
    closed = {name: weld for name, (weld, _) in named.items() if weld.state == "closed" and name not in here}
    return made, Found(
        welds=own,
        closed=closed,
        remarks=remarks,
        unread=unread,
        settled=frozenset(listed),
        nowhere=nowhere,
        whole=parted,
        doubled=twice,
    )


def _unknown(scene: Scene, named: Mapping[str, Any]) -> list[Problem]:
    """Welds of the file without a path, and of a stage, that nobody knows."""
    problems: list[Problem] = []
    for k, weld in enumerate(scene.welds):
        if weld.path is None and weld.name not in named:
            what = f'no weld "{weld.name}" was found between the pieces, and it has no path'
            problems += problem_at(
                scene, ("weld", k), "name", what, "the name of a found one, or a path", _nearest(weld.name, named)
            ).problems
    known = {*named, *(weld.name for weld in scene.welds)}
    for k, stage in enumerate(scene.stages):
        for name in stage.welds or ():
            if name not in known:
                what = f'welds: no weld is called "{name}"'
                near = _nearest(name, known)
                problems += problem_at(scene, ("stage", k), "welds", what, "", near).problems
    return problems


def _twice(scene: Scene, here: Mapping[str, FoundWeld]) -> tuple[Doubled, ...]:
    """Welds of the file, with a path and a name of their own, that lie on a found one, which is dropped for them.

    Raises:
        SceneError: such a found one is named by the file too, in a ``[[weld]]`` or by a stage.
    """
    listed = {weld.name: weld for weld in scene.welds}
    left = {name for name, weld in listed.items() if weld.skip or weld.path is not None}
    found = {name: weld for name, weld in here.items() if name not in left}
    twice = doubled([weld for weld in scene.welds if weld.name not in here], found)
    problems: list[Problem] = []
    for one in twice:
        what = f'"{one.listed}" lies on the found weld "{one.found}", '
        if one.found in listed:
            k = next(k for k, weld in enumerate(scene.welds) if weld.name == one.listed)
            expected = "one entry for one weld: leave one of the two out"
            problems += problem_at(scene, ("weld", k), "path", what + "which the file names too", expected).problems
        for k, stage in enumerate(scene.stages):
            if one.found in (stage.welds or ()):
                what += "which this stage names and which is not run beside it"
                problems += problem_at(scene, ("stage", k), "welds", what, f'"{one.listed}"').problems
    if problems:
        raise SceneError(problems)
    return twice


def _nearest(name: str, known: Iterable[str]) -> str:
    """The known welds of the same two pieces, whichever is named first; else the name most like it."""

    def joint(weld: str) -> list[str]:
        return sorted(weld.partition(", ")[0].casefold().split(" / "))

    def unlike(weld: str) -> tuple[float, str]:
        return -difflib.SequenceMatcher(None, weld.casefold(), name.casefold()).ratio(), weld

    names = sorted(known)
    same = sorted((one for one in names if joint(one) == joint(name)), key=unlike)
    return ", ".join(f'"{one}"' for one in same[:_NEAREST]) if same else nearest_name(name, names)


def _staged(scene: Scene, named: Mapping[str, Any], pieces: Sequence[Named]) -> list[Problem]:
    """Welds that two stages run, and found ones that a stage cannot run: closed ones, or such as lack a piece there."""
    problems: list[Problem] = []
    first: dict[str, str] = {}
    for k, stage in enumerate(scene.stages):
        there = on_table(stage, pieces)
        for name in stage.welds or ():
            if name in first:
                told = "here already" if first[name] == stage.name else f'in stage "{first[name]}" already'
                what = f'welds: "{name}" is run {told}'
                problems += problem_at(scene, ("stage", k), "welds", what, "each weld once").problems
            first.setdefault(name, stage.name)
        for name in stage.welds or ():
            if name not in named or any(weld.name == name and weld.path is not None for weld in scene.welds):
                continue
            weld = named[name][0]
            away = [piece for piece in weld.joins if piece not in there]
            what, expected = "", ""
            if weld.state == "closed":
                what, expected = f'welds: "{name}" lies inside closed tubes, where no torch comes', "it left out"
            elif away:
                what = f'welds: "{name}" joins "{away[0]}", which is not on the table in this stage'
                expected = f'"{away[0]}" in its pieces, or the weld in another stage'
            if what:
                problems += problem_at(scene, ("stage", k), "welds", what, expected).problems
    return problems


def _parts(scene: Scene, named: dict[str, tuple[FoundWeld, float | None]]) -> list[Problem]:
    """Cuts the found welds of which the file takes a part, in ``named``; what it asks for that is not there."""
    problems: list[Problem] = []
    for k, weld in enumerate(scene.welds):
        if weld.part is None or weld.name not in named:
            continue
        found, size = named[weld.name]
        try:
            named[weld.name] = part_of(found, *weld.part), size
        except ValueError as error:
            round_it = ", or round its end" if found.closed_loop else ""
            expected = f"from 0 to {units.show(found.length, scene.units)}, the first before the second{round_it}"
            problems += problem_at(scene, ("weld", k), "part", f"part: {error}", expected).problems
    return problems


def part_of(weld: FoundWeld, start: float, end: float) -> FoundWeld:
    """The part of a found weld between two places along its path; round a closed line from the first to the second.

    Args:
        weld: as found.
        start: mm along its path.
        end: as well; less than ``start`` only round a closed line.

    Raises:
        ValueError: a place beyond the end, or no length between the two.
    """
    sizes = np.linalg.norm(np.diff(weld.path, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(sizes)])
    full = float(at[-1])
    if max(start, end) > full + _ROUNDED:
        raise ValueError(f"{max(start, end):g} mm lies beyond the end of the weld")
    start, end = min(start, full), min(end, full)
    path, normals, bisector, aim = weld.path, weld.normals, weld.bisector, weld.aim
    if end < start and weld.closed_loop:
        path, at, end = np.concatenate([path, path[1:]]), np.concatenate([at, full + at[1:]]), end + full
        normals, bisector = np.concatenate([normals, normals]), np.concatenate([bisector, bisector])
        aim = None if aim is None else np.concatenate([aim, aim])
    if end - start < _ROUNDED:
        raise ValueError(f"no length lies between {start:g} and {end:g} mm")
    inner = np.flatnonzero((at > start + _SAME) & (at < end - _SAME))
    places = np.concatenate([[start], at[inner], [end]])
    cut = np.stack([np.interp(places, at, path[:, axis]) for axis in range(3)], axis=1)
    # The part of the path on which each new part begins, a hair in from its start.
    old = np.clip(np.searchsorted(at, (places[:-1] + places[1:]) / 2.0, side="right") - 1, 0, len(at) - 2)
    length = float(np.linalg.norm(np.diff(cut, axis=0), axis=1).sum())
    aim = None if aim is None else aim[old]
    return replace(weld, path=cut, normals=normals[old], bisector=bisector[old], length=length, aim=aim)


def _entry(name: str, weld: FoundWeld, size: float | None) -> WeldKeys:
    path = tuple((float(x), float(y), float(z)) for x, y, z in weld.path)
    return WeldKeys.model_construct(name=name, type=weld.type, size=size, joins=weld.joins, path=path)


def _filled(given: WeldKeys, weld: FoundWeld, size: float | None) -> WeldKeys:
    """An entry of the file, with what it leaves open taken from the weld of its name."""
    entry = _entry(given.name, weld, size)
    keys = ["type", "size"]
    if given.path is None:
        keys += ["path"] if given.sides is not None else ["joins", "path"]
    return given.model_copy(update={key: getattr(entry, key) for key in keys if getattr(given, key) is None})


def _shared_out(scene: Scene, pieces: Sequence[Named]) -> tuple[tuple[Stage, ...], tuple[str, ...]]:
    """Stages with all the welds that they run by name, and the welds that none of them runs.

    A weld that no stage names is run in the first stage that names none and has both its pieces on the table.
    """
    if not scene.stages:
        return (), ()
    named = {name for stage in scene.stages for name in stage.welds or ()}
    there = [on_table(stage, pieces) for stage in scene.stages]
    runs: list[list[str]] = [list(stage.welds or ()) for stage in scene.stages]
    nowhere: list[str] = []
    for weld in scene.welds:
        if weld.name in named or weld.skip:
            continue
        fit = [k for k, stage in enumerate(scene.stages) if stage.welds is None and set(weld.joins or ()) <= there[k]]
        (runs[fit[0]] if fit else nowhere).append(weld.name)
    stages = [s.model_copy(update={"welds": tuple(names)}) for s, names in zip(scene.stages, runs, strict=True)]
    return tuple(stages), tuple(nowhere)


# --- the answer and its cache -------------------------------------------------------------------------------------


def _answer(
    pieces: Sequence[Piece], gap: float, store: Store | None
) -> tuple[FoundWelds, list[float | None], tuple[Remark, ...], dict[str, str]]:
    """Welds in the weldment frame, their default sizes, remarks, and the pieces that could not be read."""
    shapes = [piece_shape(piece, store) for piece in pieces]
    numbers = [[p.name, s.key, np.round(p.piece_to_weldment, 9).tolist()] for p, s in zip(pieces, shapes, strict=True)]
    key = content_key(["found welds 8", repr(gap), repr(asdict(JOINTS)), json.dumps(numbers)])
    kept = store.get(key, _KIND) if store is not None else None
    if kept is not None:
        try:
            return _from_bytes(kept)
        except (ValueError, KeyError, TypeError):
            pass  # a cache is only a shortcut: find them again
    from fixture3d.welding.surface import Surface, surface_of

    read: dict[str, Surface] = {}
    surfaces: dict[str, Surface] = {}
    unread: dict[str, str] = {}
    for piece, shape in zip(pieces, shapes, strict=True):
        try:
            if shape.key not in read:
                read[shape.key] = surface_of(shape)
            surfaces[piece.name] = read[shape.key].moved(piece.piece_to_weldment)
        except BadSolid as error:
            unread[piece.name] = str(error)
    found = find_welds(surfaces, gap)
    sizes = [default_size(weld, (surfaces[weld.joins[0]], surfaces[weld.joins[1]])) for weld in found]
    data = _to_bytes(found, sizes, unread)
    if store is not None:
        store.put(key, _KIND, data)
    return _from_bytes(data)  # the same digits whether kept or new


def _to_bytes(found: FoundWelds, sizes: Sequence[float | None], unread: Mapping[str, str]) -> bytes:
    def plain(value: Any) -> Any:
        return (np.round(value, _PLACES) + 0.0).tolist() if isinstance(value, np.ndarray) else value

    welds = [{f.name: plain(getattr(weld, f.name)) for f in fields(FoundWeld)} for weld in found]
    remarks = [asdict(remark) for remark in found.remarks]
    return json.dumps({"welds": welds, "sizes": list(sizes), "remarks": remarks, "unread": dict(unread)}).encode()


def _from_bytes(data: bytes) -> tuple[FoundWelds, list[float | None], tuple[Remark, ...], dict[str, str]]:
    """What ``_to_bytes`` wrote.

    Raises:
        ValueError, KeyError, TypeError: data of another shape.
    """
    plain = json.loads(data)
    welds = []
    for row in plain["welds"]:
        values: dict[str, Any] = {key: _hashable(value) for key, value in row.items()}
        arrays = ("path", "normals", "bisector", *(("aim",) if row["aim"] is not None else ()))
        values |= {key: np.asarray(row[key], dtype=np.float64) for key in arrays}
        welds.append(FoundWeld(**values))
    told: list[dict[str, Any]] = [{key: _hashable(value) for key, value in row.items()} for row in plain["remarks"]]
    remarks = [Remark(**row) for row in told]
    return FoundWelds(welds, remarks), list(plain["sizes"]), tuple(remarks), dict(plain["unread"])


def _hashable(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def sides_in_world(weld: FoundWeld, to_world: Array) -> Array:
    """The normals of the faces of a found weld, (n - 1, 2, 3), in the world."""
    out: Array = frame.directions(to_world, weld.normals.reshape(-1, 3)).reshape(weld.normals.shape)
    return out


def aims_in_world(weld: FoundWeld, to_world: Array) -> Array | None:
    """From the roots of a found weld to where the arc is aimed, (n - 1, 3) mm, in the world; None where at the root."""
    return None if weld.aim is None else frame.directions(to_world, weld.aim)
