"""What the check on loading and unloading can find: the rules and their manual pages."""

from __future__ import annotations

from fixture3d.checks.base import Rule
from fixture3d.tolerance import LEAVING
from fixture3d.units import show_fine

RULES = (
    Rule(
        name="no-way-in",
        level="fail",
        title="A piece does not go in along a straight way",
        meaning="Pieces go in one after another, each along one straight way past the blocks, the open clamps and what "
        "lies there already; sliding along a face is no hindrance. No order was found in which this one does. Tilted "
        "or turned on its way it may still go in; that is not tried. It is a warning where a block set afterwards "
        "mends it.",
        cure="Do what the remedy says; it was tried. Else give the joint a shape that can be laid in from above, or "
        "move the block that is named.",
    ),
    Rule(
        name="stuck",
        level="fail",
        title="The welded work has no straight way out",
        meaning="Once it is tacked the work is one. With the clamps open, and with every block taken off that can be "
        "taken off while the work lies there, there is still no single straight way for it: it is welded round "
        "something that stays, or the table itself is in the way. Tilted or turned it may come off; that is not "
        "tried. Found it is too late: it would have to be cut.",
        cure="Leave the piece that the remedy names for a second stage, or set the block that is named in another way: "
        "what is said to help was tried.",
    ),
    Rule(
        name="take-off-first",
        level="warn",
        title="Blocks must be taken off before the work comes out",
        meaning="The tacked work has no straight way out past all blocks and open clamps, but it has one once those "
        "that are named are off; fewer do not help. Each can be taken away while the work lies there, in the order "
        "that is told. A clamp on other work that is in the way only when it is open stays shut. One block, or pins "
        "that are pulled, is a note: that is often meant so.",
        cure="Take them off first, as told. To save that for every copy, let them end below what hangs over them, or "
        "set them outside the work.",
    ),
)

NOT_COVERED = (
    "Ways in and out are straight and without a turn, of rigid bodies as drawn: no spring-back, no weld beads, not the "
    "hands of the man, his slings or the crane. A way between those that are tried is not found, nor one that first "
    "slides out level and is then lifted: a way goes on past all that stands on the table.",
    f"Touching faces slide. A hook under {2.0 * LEAVING.hook:g} mm ({show_fine(2.0 * LEAVING.hook, 'in')}) is not "
    f"seen, one of {LEAVING.undercut:g} mm ({show_fine(LEAVING.undercut, 'in')}) always is.",
    "Clamps are open, and shut when all is in; the table counts without its holes, and nothing is taken out downwards.",
)
