"""What the check of shrinkage can find, and what it does not look at."""

from __future__ import annotations

from typing import Final

from fixture3d.checks.base import Rule
from fixture3d.tolerance import SHRINKING
from fixture3d.units import show_fine

RULES: Final = (
    Rule(
        name="grips-work",
        level="fail",
        title="The welded work will not come off by hand",
        meaning="As it cools the work closes on stops that stand within it and cannot give way, already by the least "
        "that the handbook rules estimate; or, shrunk, it has no straight way out any more past stops that it cleared "
        "before (a warning where only the greatest estimate says so). All of it is an estimate; half as much again "
        "either way is normal.",
        cure="On each axis let one side be a stop that backs off (a slide stop, a shim to pull) with room for twice "
        "the greatest estimate, or take the stop out once the work is tacked, before it is welded out.",
    ),
    Rule(
        name="shrinks-onto",
        level="warn",
        title="The work closes on its inside stops",
        meaning="Stops stand within the work, as inside a frame, and the welds draw it on to them: by the greatest "
        "estimate it sits fast. A note where one of the stops can be backed off as it stands. The amounts are bands "
        "from handbook rules, not measured values.",
        cure="Back the stop off once the work is tacked, or loosen or pull it before unloading; or stop the work from "
        "outside, where it comes away as it shrinks.",
    ),
    Rule(
        name="shrinks-away",
        level="note",
        title="The work comes out short between its stops",
        meaning="Stops stand round the work, set to its drawing. The welds draw it away from them, by the middle of "
        "the estimates by more than ISO 13920 class B lets such a length be off.",
        cure="Set the stops wider and cut the pieces longer by the bands that check --shrinkage prints, and prove them "
        "with the first piece.",
    ),
)
NOT_COVERED: Final = (
    "Estimated by handbook rules for mild steel, free to shrink; half as much again either way is normal, "
    "and stainless and aluminium draw more.",
    "Pieces stay straight and do not turn: angles are told for each weld (check --shrinkage) and not carried to the "
    "frame, bowing and twist are not worked out.",
    "Blocks are rigid, clamps give way, nothing springs back; "
    f"closing by less than {SHRINKING.felt:g} mm ({show_fine(SHRINKING.felt, 'in')}) is not told, nor is a force.",
)
