"""What is said of welds that were found rather than listed: doubtful ones, near misses, pieces that are not read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final

import numpy as np

from fixture3d import frame, units
from fixture3d.checks.base import Finding, Rule, point
from fixture3d.frame import Array
from fixture3d.job import Job
from fixture3d.job.doubled_welds import Doubled
from fixture3d.units import in_units
from fixture3d.welding import Remark

RULES = (
    Rule(
        name="weld-doubtful",
        level="note",
        title="A weld that was found could be meant otherwise",
        meaning="The pieces alone do not say how this joint is to be welded: walls that do not touch along the line, "
        "an opening that is tight or changes much, or a part that no torch comes to. It is checked as it was found. It "
        "is a warning when no stage runs it: none names it, and each that names no welds lacks one of its pieces; or "
        "when a listed weld with a path of its own lies on one that was found: the listed one is run, the other not.",
        cure="Settle it with a [[weld]] of the same name: its type, size or path; or skip = true to leave it out; or "
        "name it in the welds of a stage that has both pieces on the table.",
    ),
    Rule(
        name="no-weld-found",
        level="note",
        title="Pieces come near each other without a weld",
        meaning="Two pieces touch or nearly touch, but not in a way that makes a weld line: the gap is above the root "
        "gap, the faces open too little, the contact is too short, or it is a place and not a line. The figure is "
        "that gap or length in mm, or the opening in degrees. A piece that no weld joins is told as well. It is a "
        "warning where a piece could not be read, or only at its edges because its faces are neither flat nor round: "
        "welds may be missing there.",
        cure="If they are to be welded there, close the gap or raise root_gap in [weldment], or list the weld with its "
        "joins and path. Otherwise nothing.",
    ),
)
_QUIET: Final = frozenset({"overlap"})  # bodies that share space are told by the check of interference
_ROUND: Final = ("round tube", "round bar")
_CURE: Final = ": give a [[weld]]"  # a cure within a doubt; the remedy says it
VARIES: Final = "the opening varies"  # how the finder begins what it says of an opening that changes
_LEFT: Final = 1.0  # mm of a found weld beside a listed one; less is where the ends were measured
_JOINTS: Final = 12  # that are named in one sentence; the rest is counted

Make = Callable[..., Finding]


def doubts(job: Job, make: Make) -> Iterator[Finding]:
    """Findings about the welds that a job found by itself; none where it was not asked to.

    Args:
        job: assembled.
        make: makes a finding of one of `RULES` for the check that shows it.
    """
    found = job.found
    if found is None or job.weldment is None:
        return
    to_world = job.weldment.weldment_to_world
    run = {weld.name for weld in job.welds}
    sections = {piece.name: piece.section for piece in job.weldment.pieces}
    tubes = {name for name, section in sections.items() if section is not None and section.shape in _ROUND}
    for name, weld in found.welds.items():
        if name in run and name not in found.settled:
            for text in weld.ambiguous:
                if text.startswith(VARIES) and set(weld.joins) <= tubes:
                    continue  # a saddle of round on round runs from a fillet to a flare by its nature
                middle = weld.path[len(weld.path) // 2]
                yield make(
                    "weld-doubtful",
                    [name, *weld.joins],
                    f"{name}: {in_units(text.partition(_CURE)[0], job.scene.units)}",
                    at=point(frame.points(to_world, middle)),
                    remedy="settle each by a [[weld]] of its name with its type and size, or with skip = true",
                )
    listed = {weld.name for weld in job.scene.welds}
    for one in found.doubled:
        if one.listed in listed:
            yield _doubled(job, one, make, to_world)
    here = {piece.name for piece in job.weldment.pieces}
    settled = {frozenset(weld.joins) for name, weld in found.welds.items() if name in found.settled}
    for remark in found.remarks:
        beside = remark.kind == "too short" and frozenset(remark.joins) in settled  # somebody has looked at the joint
        if set(remark.joins) <= here and remark.kind not in _QUIET and not beside:
            yield _remark(job, remark, make, to_world)
    for name, why in found.unread.items():
        if name in here:
            yield make(
                "no-weld-found",
                [name],
                f"{name} is not read: {why}",
                level="warn",
                remedy=f'list its welds, each with a path and joins = ["{name}", ...]',
            )
    if job.stage is None or job.stage == job.scene.whole.stages[0].name:
        for name in found.nowhere:
            yield make(
                "weld-doubtful",
                [name],
                f"no stage runs {name}",
                level="warn",
                remedy=f'welds = ["{name}"] in one of the stages, or skip = true',
            )


def closed_lines(job: Job) -> tuple[str, ...]:
    """Sentences on lines inside closed tubes, which are not counted."""
    if job.found is None or not job.found.closed or job.weldment is None:
        return ()
    here = {piece.name for piece in job.weldment.pieces}
    names = [name for name, weld in job.found.closed.items() if set(weld.joins) <= here]
    if not names:
        return ()
    lines = "1 line inside a closed tube is" if len(names) == 1 else f"{len(names)} lines inside closed tubes are"
    joints = by_joint([name.partition(", ")[0] for name in names])
    return (f"{lines} not counted as a weld, for no torch comes there: {joints}.",)


def left_out(names: Sequence[str]) -> tuple[str, ...]:
    """A sentence on the welds of these names, which the file leaves out; none when there is none."""
    if not names:
        return ()
    many = "1 weld is" if len(names) == 1 else f"{len(names)} welds are"
    return (f"{many} left out by skip = true: {by_joint(names)}.",)


def by_joint(names: Sequence[str]) -> str:
    """Names of welds with each joint named once, such as ``"left leg / rail: bottom, back; bar / rail: top"``."""
    joints: dict[str, list[str]] = {}
    for name in names:
        joint, _, side = name.partition(", ")
        joints.setdefault(joint, []).extend([side] if side else [])
    said = [f"{joint}: {', '.join(sides)}" if sides else joint for joint, sides in joints.items()]
    more = sum(max(1, len(sides)) for sides in list(joints.values())[_JOINTS:])
    return "; ".join(said[:_JOINTS]) + (f"; and {more} more" if more else "")


def _doubled(job: Job, one: Doubled, make: Make, to_world: Array) -> Finding:
    """A listed weld that lies on a found one, with what is left of the found one."""
    rest = f"; {units.show(one.rest, job.scene.units)} of that one are then not run" if one.rest >= _LEFT else ""
    return make(
        "weld-doubtful",
        [one.listed, one.found],
        f'"{one.listed}" lies on the found weld "{one.found}", which is not counted beside it{rest}',
        level="warn",
        at=point(frame.points(to_world, np.asarray(one.at))),
        remedy=f'give "{one.listed}" the name "{one.found}", or skip one of the two',
    )


def _remark(job: Job, remark: Remark, make: Make, to_world: Array) -> Finding:
    first, second = remark.joins
    return make(
        "no-weld-found",
        [first, second],
        f"{first} and {second}: {in_units(remark.text, job.scene.units)}",
        level="warn" if remark.kind == "not read" else "note",
        at=point(frame.points(to_world, np.asarray(remark.at))),
        remedy=f'a [[weld]] with joins = ["{first}", "{second}"] and a path, if they are to be welded there',
    )
