"""Torch access: how much of each weld can be reached, in what runs, how best, and what is in the way."""

from __future__ import annotations

import numpy as np

from fixture3d.access.torch import Technique
from fixture3d.access.welds import Weld
from fixture3d.access.window import Window
from fixture3d.checks import weld_doubts
from fixture3d.checks.base import Check, Finding, Progress, Result
from fixture3d.checks.loose_pieces import loose_pieces
from fixture3d.checks.torch_answers import answers, in_the_way, question_keys
from fixture3d.checks.torch_figures import figures
from fixture3d.checks.torch_outcome import Case
from fixture3d.checks.torch_question import Asked, question, technique_name, technique_of
from fixture3d.checks.torch_reach import Around, TorchReach
from fixture3d.checks.torch_remedies import remedies
from fixture3d.checks.torch_rules import NOT_COVERED, RULES
from fixture3d.checks.torch_words import judge
from fixture3d.checks.weld_paths import buried, off_work, runs_past, suits
from fixture3d.job import Job

__all__ = [
    "CHECK",
    "RULES",
    "Asked",
    "answers",
    "in_the_way",
    "question",
    "question_keys",
    "technique_name",
    "technique_of",
]


def _needs(job: Job) -> str:
    if job.welds or job.weld_problems or job.found is not None:
        return ""
    if job.scene.weldment is not None and job.scene.weldment.welds == "none":
        return 'welds = "none" in [weldment]'
    if job.scene.welds:
        return "every weld is left out by skip = true"
    return "no weld is run in this stage" if job.scene.whole.welds else "the scene declares no weld"


def run(job: Job, progress: Progress) -> Result:
    """Try every torch position of its technique at every point of every weld.

    Points are at most 5 mm apart. Pieces, blocks, dowels, shims, shut clamps, the table and other plates are in the
    way; the space that clamps sweep is not. A position counts when the whole torch, with the hand, keeps 0.05 mm
    from all of them.
    """
    findings: list[Finding] = []
    findings += weld_doubts.doubts(job, CHECK.finding)
    findings += loose_pieces(job, CHECK.finding)
    findings += [off_work(job, name, why, CHECK.finding) for name, why in job.weld_problems.items()]
    asked: list[Asked] = []
    windows: dict[Technique, Window] = {}
    for weld in job.welds:
        put, said = _ask(job, weld, windows)
        findings += said
        if put is not None:
            asked.append(put)
    answered = answers(job, asked, progress)
    boxes = np.array([one.box for one in asked]).reshape(-1, 2, 3)
    region = np.stack([boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)]) if asked else np.zeros((2, 3))
    around = Around(job, region)
    cases = [
        Case(weld=one.weld, found=found, technique=one.technique, reach=TorchReach(around, one), box=one.box)
        for one, found in zip(asked, answered, strict=True)
    ]
    tried = remedies(job, cases, progress)
    for one, found in zip(asked, answered, strict=True):
        findings += judge(job, one, found, tried.outcomes.get(one.weld.name), CHECK.finding)
    known = {one.weld.name: found for one, found in zip(asked, answered, strict=True)}
    return Result(
        name=CHECK.name,
        status="ran",
        findings=tuple(findings),
        figures={"welds": list(figures(job, known, {one.weld.name: one.position for one in asked}))},
        not_covered=NOT_COVERED
        + tried.told()
        + weld_doubts.closed_lines(job)
        + weld_doubts.left_out([weld.name for weld in job.scene.welds if weld.skip]),
    )


CHECK = Check(
    name="torch access",
    rules=RULES,
    needs=_needs,
    run=run,
    gist="the cable, arm and mask; changes of two blocks at a time, or of the work",
    not_covered=NOT_COVERED,
)


def _ask(job: Job, weld: Weld, windows: dict[Technique, Window]) -> tuple[Asked | None, list[Finding]]:
    """The question, and what is to be said of the weld before it is answered."""
    said: list[Finding] = []
    of_geometry = job.found is not None and weld.name in job.found.welds
    if not weld.technique and not of_geometry:
        said.append(
            CHECK.finding(
                "no-technique",
                [weld.name],
                f'{weld.name} names no technique; "{technique_name(weld)}" was taken',
                remedy='technique = "..." in the weld or in [weldment]',
            )
        )
    try:
        asked = question(job, weld, windows)
    except (KeyError, ValueError) as error:
        why = str(error.args[0] if error.args else error)
        said.append(
            CHECK.finding(
                "no-technique",
                [weld.name],
                f"{weld.name} cannot be tried as its technique stands",
                level="fail",
                remedy=f"correct the weld or its technique: {why}",
            )
        )
        return None, said
    # A weld that was found lies where it was found, across its root gap as well.
    if not of_geometry:
        said += runs_past(job, weld, asked.points.roots, CHECK.finding)
    said += buried(job, weld, asked.points.roots, weld.joins if of_geometry else (), CHECK.finding)
    if weld.technique:
        said += suits(weld, asked.technique, CHECK.finding)
    return asked, said
