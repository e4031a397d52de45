"""One state of a setup that has several: the first side, the second side, what is welded by then.

A ``[[stage]]`` says what is different in it. :func:`at_stage` makes an ordinary scene of one stage, with the lines of
the same file, so that all that comes after it works as for a scene without stages.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from fixture3d.errors import Problem, SceneError, nearest_name, some_names
from fixture3d.scene.schema import Place, Stage, Weld, WeldmentKeys
from fixture3d.scene.text import Key

if TYPE_CHECKING:
    from fixture3d.scene import Scene


class Named(NamedTuple):
    """A piece, and the member, frame or plate that it comes from: either name means it in ``pieces``."""

    name: str
    item: str


class Fault(NamedTuple):
    """What is wrong with a stage: where in the file, and the words of ``errors.Problem``."""

    path: tuple[Key, ...]
    what: str
    expected: str = ""
    nearest: str = ""


def at_stage(scene: Scene, name: str | None = None) -> Scene:
    """The scene of one stage.

    Args:
        scene: with or without stages.
        name: of the stage; None for the first one. A scene without stages, or one that is of a stage already, is
            given back as it is when no name is asked for.

    Returns:
        The blocks and clamps that stand in the stage, the welds that are run in it, the weldment as it lies then; its
        ``stage`` is the record, ``done`` the welds of the stages before it, and ``whole`` the scene with all stages.

    Raises:
        SceneError: it has no stage of that name.
    """
    whole = scene.whole
    if name is None:
        if scene.stage is not None or not whole.stages:
            return scene
        name = whole.stages[0].name
    names = [stage.name for stage in whole.stages]
    if name not in names:
        file = str(whole.path) if whole.path is not None else ""
        expected = some_names(names) if names else "a scene with [[stage]] tables"
        raise SceneError(
            [
                Problem(
                    what=f'no stage is called "{name}"', file=file, expected=expected, nearest=nearest_name(name, names)
                )
            ]
        )
    number = names.index(name)
    stage, run = whole.stages[number], runs(whole)
    before = {weld for earlier in names[:number] for weld in run[earlier]}
    origin = {
        "place": [k for k, place in enumerate(whole.places) if stands(place, stage)],
        "clamp": [k for k, clamp in enumerate(whole.clamps) if stands(clamp, stage)],
        "weld": [k for k, weld in enumerate(whole.welds) if weld.name in run[name]],
    }
    made = whole.model_copy(
        update={
            "places": tuple(whole.places[k] for k in origin["place"]),
            "clamps": tuple(whole.clamps[k] for k in origin["clamp"]),
            "welds": tuple(whole.welds[k] for k in origin["weld"]),
            "weldment": _weldment(whole, stage),
        }
    )
    made._whole, made._stage, made._origin = whole, stage, origin
    made._done = tuple(k for k, weld in enumerate(whole.welds) if weld.name in before)
    return made


def every_stage(scene: Scene) -> tuple[Scene, ...]:
    """The scene of each stage in the order of the work; the scene itself when it has none, or is of one already."""
    if scene.stage is not None or not scene.stages:
        return (scene,)
    return tuple(at_stage(scene, stage.name) for stage in scene.stages)


def with_done_welds(scene: Scene, pieces: Collection[str]) -> Scene:
    """The same stage with the welds of the stages before it in place of its own, as far as they are on the table.

    Args:
        scene: of one stage.
        pieces: names of those on the table.
    """
    whole = scene.whole
    there = [k for k in scene._done if all(name in pieces for name in whole.welds[k].joins or ())]
    made = scene.model_copy(update={"welds": tuple(whole.welds[k] for k in there)})
    made._origin = {**scene._origin, "weld": there}
    return made


def stands(block: Place, stage: Stage) -> bool:
    """Whether a block or clamp stands in a stage."""
    return (block.stages is None or stage.name in block.stages) and block.name not in stage.without


def runs(scene: Scene) -> dict[str, tuple[str, ...]]:
    """For every stage the welds that are run in it, in the order of the file."""
    named = {weld for stage in scene.stages for weld in stage.welds or ()}
    rest = [weld.name for weld in scene.welds if weld.name not in named]
    return {
        stage.name: tuple(rest)
        if stage.welds is None
        else tuple(weld.name for weld in scene.welds if weld.name in stage.welds)
        for stage in scene.stages
    }


def on_table(stage: Stage | None, pieces: Sequence[Named]) -> set[str]:
    """Names of the pieces that are on the table in a stage."""
    if stage is None or stage.pieces is None:
        return {piece.name for piece in pieces}
    return {piece.name for piece in pieces if piece.name in stage.pieces or piece.item in stage.pieces}


def joined(pairs: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Groups of pieces that hang together, each in the order in which its names first come.

    >>> joined([("a", "b"), ("c", "d"), ("d", "a"), ("e",)])
    [('a', 'b', 'c', 'd')]
    """
    groups: list[dict[str, None]] = []
    for pair in pairs:
        touching = [group for group in groups if any(name in group for name in pair)]
        merged: dict[str, None] = {}
        for group in touching:
            merged |= group
        merged |= dict.fromkeys(pair)
        groups = [group for group in groups if group not in touching] + [merged]
    return [tuple(group) for group in groups if len(group) > 1]


def _weldment(whole: Scene, stage: Stage) -> WeldmentKeys | None:
    if stage.weldment is None:
        return whole.weldment
    keys = whole.weldment if whole.weldment is not None else WeldmentKeys()
    given = {
        key: value for key in stage.weldment.model_fields_set if (value := getattr(stage.weldment, key)) is not None
    }
    return keys.model_copy(update=given)


# --- what cannot be -----------------------------------------------------------------------------------------------


def block_faults(scene: Scene, at: Callable[[str, int], tuple[Key, ...]]) -> Iterator[Fault]:
    """Blocks that stand nowhere, or on or towards a block that is not there in the same stage.

    Args:
        scene: with all its stages.
        at: the path in the file of an entry, from its kind and its number in the scene.
    """
    groups = [("place", k, block) for k, block in enumerate(scene.places)]
    blocks: list[tuple[str, int, Place]] = [*groups, *(("clamp", k, clamp) for k, clamp in enumerate(scene.clamps))]
    known = {block.name: block for _, _, block in blocks}
    for kind, k, block in blocks:
        there = [stage for stage in scene.stages if stands(block, stage)]
        if not there:
            yield Fault(at(kind, k), "it stands in no stage", "stages = [...] with one that does not take it off")
        for key in ("on", "toward"):
            other = known.get(getattr(block, key, None) or "")
            missing = [stage.name for stage in there if other is not None and not stands(other, stage)]
            if other is not None and missing:
                yield Fault(
                    (*at(kind, k), key),
                    f'{key}: "{other.name}" does not stand in stage "{missing[0]}", where "{block.name}" does',
                    f'stages = [...] without "{missing[0]}", or with it at "{other.name}"',
                )


def weld_faults(scene: Scene, at: Callable[[str, int], tuple[Key, ...]]) -> Iterator[Fault]:
    """Welds that no stage runs, or that more than one runs. Arguments as for ``block_faults``."""
    first: dict[str, str] = {}
    for number, stage in enumerate(scene.stages):
        for k, weld in enumerate(stage.welds or ()):
            if weld in first:
                told = "here already" if first[weld] == stage.name else f'in stage "{first[weld]}" already'
                yield Fault((*at("stage", number), "welds", k), f'welds: "{weld}" is run {told}', "each weld once")
            first.setdefault(weld, stage.name)
    rest = [stage.name for stage in scene.stages if stage.welds is None]
    for k, run in enumerate(scene.welds):
        if run.name in first or run.skip or len(rest) == 1:
            continue
        if rest:
            what = f'stages "{rest[0]}" and "{rest[1]}" would both run it, for neither says which welds it runs'
            yield Fault(at("weld", k), what, "welds = [...] in all stages but one")
        else:
            yield Fault(at("weld", k), "no stage runs it", "its name in the welds of one [[stage]]")


def work_faults(
    scene: Scene, pieces: Sequence[Named], at: Callable[[str, int], tuple[Key, ...]], known: set[str] | None = None
) -> Iterator[Fault]:
    """Pieces that are not there when they are wanted, or that come apart although they are welded.

    Args:
        scene: with all its stages.
        pieces: of the whole weldment.
        at: as for ``block_faults``.
        known: further names that are known to exist although they have faults of their own.
    """
    names = {word for piece in pieces for word in piece}
    for number, stage in enumerate(scene.stages):
        for k, name in enumerate(stage.pieces or ()):
            if name not in names and name not in (known or ()):
                near = nearest_name(name, names)
                expected = "" if near else some_names(sorted(names))
                yield Fault((*at("stage", number), "pieces", k), f'pieces: no piece is called "{name}"', expected, near)
    there = {stage.name: on_table(stage, pieces) for stage in scene.stages}
    for piece in pieces:
        if scene.stages and not any(piece.name in here for here in there.values()):
            last = len(scene.stages) - 1
            yield Fault(
                (*at("stage", last), "pieces"), f'"{piece.name}" is on the table in no stage', "it in one of them"
            )
    all_names = {piece.name for piece in pieces}
    yield from _wanted(scene, there, all_names, at)
    yield from _apart(scene, there, all_names, at)


def _wanted(
    scene: Scene, there: Mapping[str, set[str]], pieces: set[str], at: Callable[[str, int], tuple[Key, ...]]
) -> Iterator[Fault]:
    run = runs(scene)
    for k, weld in enumerate(scene.welds):
        for stage in scene.stages:
            away = [name for name in weld.joins or () if name in pieces and name not in there[stage.name]]
            if weld.name in run[stage.name] and away:
                what = f'joins: "{away[0]}" is not on the table in stage "{stage.name}", which runs it'
                yield Fault(
                    (*at("weld", k), "joins"), what, f'"{away[0]}" in the pieces of that stage, or another stage'
                )
    for k, clamp in enumerate(scene.clamps):
        for stage in scene.stages:
            if stands(clamp, stage) and clamp.presses in pieces and clamp.presses not in there[stage.name]:
                what = f'presses: "{clamp.presses}" is not on the table in stage "{stage.name}", where the clamp stands'
                yield Fault((*at("clamp", k), "presses"), what, "stages = [...] without it")


def _apart(
    scene: Scene, there: Mapping[str, set[str]], pieces: set[str], at: Callable[[str, int], tuple[Key, ...]]
) -> Iterator[Fault]:
    """Pieces that are one by then, and of which a stage has only some."""
    welds = {weld.name: weld for weld in scene.welds}
    run, done = runs(scene), list[tuple[str, ...]]()
    for number, stage in enumerate(scene.stages):
        for group in joined(done):
            here = [name for name in group if name in there[stage.name]]
            away = [name for name in group if name not in there[stage.name]]
            if here and away:
                what = (
                    f'pieces: "{here[0]}" is on the table and "{away[0]}" is not, but they are welded together by then'
                )
                yield Fault((*at("stage", number), "pieces"), what, "both or neither")
        done += [joins for name in run[stage.name] if (joins := _joins(welds[name])) and set(joins) <= pieces]


def _joins(weld: Weld) -> tuple[str, ...]:
    return tuple(weld.joins) if weld.joins is not None and not weld.skip else ()
