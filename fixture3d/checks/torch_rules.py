"""What the check of torch access can find, and what it does not look at."""

from __future__ import annotations

from fixture3d.checks import weld_doubts
from fixture3d.checks.base import Rule
from fixture3d.tolerance import SHOP

RULES = (
    Rule(
        name="weld-blocked",
        level="fail",
        title="No point of the weld can be reached",
        meaning="At every point of this weld every torch position that the technique allows meets a piece, a block, "
        "a clamp or the table. The hand and the handle count.",
        cure="Move, turn or lower the blocks that are named; lift the work off the table; allow a wider window in the "
        "technique; or use a torch with another neck. If a piece of the work itself is in the way, weld this joint "
        "before that piece goes in. A weld that is run later, with the work turned over or out of the fixture, is left "
        "out with skip = true.",
    ),
    Rule(
        name="weld-partly-blocked",
        level="warn",
        title="Part of the weld cannot be reached",
        meaning="Some points of the weld have no free torch position. The figure is the length that can be welded in "
        "this setup, the limit the length of the weld. A bead ends where it ends: at each end up "
        f"to {SHOP.end_most:g} mm, and no more than {100 * SHOP.end_share:.0f} % of the weld, may be missing; that is "
        "told in the table of welds and is no warning.",
        cure="As for a blocked weld; or tack it here and finish it out of the fixture.",
    ),
    Rule(
        name="weld-off-work",
        level="fail",
        title="The weld does not lie on its pieces",
        meaning="The path of the weld does not run along the two pieces that it joins. Either the path or the place "
        "of a piece is wrong in the file; or it runs in the material of a piece or a block, where the figure is how "
        "deep. Paths are given in the weldment's own frame. It is a warning when only part of the path is off, as "
        "where it runs past an end or over the round corner of a tube.",
        cure="Correct the path so that it runs along the root, where the two pieces meet.",
    ),
    Rule(
        name="weld-tight",
        level="note",
        title="The best position is a tight one",
        meaning="In the best position that was found the torch has less free space round it than a hand can be "
        "relied on to keep (5 mm; common practice, no source).",
        cure="Nothing, when the weld is short; otherwise make room as for a blocked weld.",
    ),
    Rule(
        name="weld-restart",
        level="note",
        title="The weld cannot be run in one go",
        meaning="All that can be reached cannot be welded without a stop: between two stretches the torch has to be "
        "taken off and held in another way, or the weld turns a corner. The figure is the longest stretch. In a run, "
        "work angle, travel angle and the turn of the handle change by no more than one step from a point to the next, "
        "and the way of travel stays. The runs that are told are the fewest that cover all that can be reached; one "
        "that covers nothing but a short end is told in the table of welds alone.",
        cure="Plan the stop where it does least harm, or make room at the place where the run breaks.",
    ),
    Rule(
        name="weld-unseen",
        level="note",
        title="The welder does not see the arc",
        meaning="At some points that the torch reaches, no straight line from the root to a place of the eyes is "
        "clear: bodies, or the torch itself, stand in all of them. Eyes are 300 to 600 mm away, 20 to 60 degrees to "
        "either side of the torch along the weld, and up to 40 degrees off the work angle; common practice, no "
        "source. The figure is the length that is not seen, the limit the length that can be reached.",
        cure="Move or lower what hides it, hold the nozzle farther off or use a thinner one; or weld it by feel along "
        "a guide, with a trial piece first.",
    ),
    Rule(
        name="no-technique",
        level="note",
        title="The technique is missing, or cannot be run",
        meaning="Neither the weld nor the weldment says how the torch is held, so a usual technique was taken: the "
        "torch square to the face for butt welds, in the middle of the corner for all others. It is a failure when "
        "the technique or torch that is named leaves no position: angles beyond those of any torch, a torch longer "
        "than any, a faulty measure.",
        cure="Name a technique in the weld or in [weldment], or correct the one that is named.",
    ),
    Rule(
        name="technique-angle",
        level="note",
        title="The technique does not suit the joint",
        meaning="The work angle of the technique is far from the middle of the joint. The figure is how far where it "
        "is farthest, the limit what the technique allows to either side.",
        cure="Name another technique for this weld, such as one with a work angle of 0 for a butt weld.",
    ),
    *weld_doubts.RULES,
)


NOT_COVERED = (
    "Angles are tried in steps of at most 5 degrees and the handle in turns of 30 degrees.",
    "Of a hand that feeds filler, rod and glove are looked at up to 300 mm ahead of the arc, not the rod's free end; "
    "the clearance told is the torch's. An electrode that burns down must have room at every length from full to stub.",
    "For the torch the table is a plain plate without holes; the cable, the welder's arm and the mask are not checked.",
    "A weld that is given by sides alone may lie in no piece or block; that it lies beside two of them is not asked.",
    "The arc counts as seen along straight lines past bodies and torch; the helmet's own room is not looked at.",
    "Clamps are taken as shut, and the space they sweep as free.",
    "To free a weld, one block at a time is turned, moved by up to 3 holes, set otherwise or lowered, in the stage of "
    "the weld alone; the work itself is not moved, nor are two blocks together. That the work stays located is judged "
    "by the faces that the block touches.",
)
