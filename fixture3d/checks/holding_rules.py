"""What the check on holding can find: the rules and their manual pages."""

from __future__ import annotations

from fixture3d.checks.base import Rule
from fixture3d.tolerance import HOLDING

RULES = (
    Rule(
        name="tips-over",
        level="fail",
        title="The work tips on what carries it",
        meaning="The push of a clamp falls outside all that stands against it, and neither the weight nor the other "
        "clamps keep the far side down: as the clamp is shut the piece tips, and lifts off the blocks that are named. "
        "Or the tacked work would not stay on its blocks by its own weight. The figure is how far outside.",
        cure="Move the tip between the blocks that carry the piece, or put a block under it.",
    ),
    Rule(
        name="clamp-pushes-off",
        level="fail",
        title="A clamp pushes the work away from its stops",
        meaning="Nothing stands against the push of this clamp, and friction does not hold the piece: as the clamp is "
        "shut it pushes the piece away, off the stops that are named where there are some.",
        cure="Turn the clamp round so that it pushes against the stops, or put a stop opposite it.",
    ),
    Rule(
        name="clamp-over-nothing",
        level="warn",
        title="A clamp presses where nothing is behind",
        meaning="The push of this clamp passes beside every block and piece that stands against it, by more than the "
        "radius of its tip: it presses an open span, or an end that hangs over. The piece bends there and springs "
        "back when the clamp is opened. A clamp that misses the block it is sent toward is told by clamp-off-support.",
        cure="Move the clamp over one of the blocks, or put a block under its tip.",
    ),
    Rule(
        name="slides",
        level="warn",
        title="A clamped piece can be knocked out of its place",
        meaning=f"A level push of {HOLDING.nudge:g} N (10 kg by hand) at the place where it is welded moves this piece "
        "although it is clamped. The figure is the push that it stands; clamps count with the force that they "
        f"usually give by hand, faces with a coefficient of friction of {HOLDING.friction:g} (both common practice, "
        "no source). It is a note when only the free end swings about the clamp, as that of a piece with one clamp "
        "does. Pieces that no clamp presses are not told: they are held by hand until they are tacked.",
        cure="Put a clamp nearer to that weld, or a stop against the side to which the piece goes.",
    ),
    Rule(
        name="may-dent",
        level="warn",
        title="A clamp may dent a thin wall",
        meaning="The tip presses the middle of a tube's flat side with more than that wall usually stands: "
        f"{HOLDING.dent:g} N on {HOLDING.dent_wall:g} mm, and with the square of the thickness (common practice, no "
        "source). Over a side wall of the tube, or with a pad that spreads the force, it stands more.",
        cure="Put a pad or a piece of flat bar under the tip, close the clamp gently, or press over a side wall.",
    ),
)

NOT_COVERED = (
    "Pieces and blocks are rigid; each piece is judged alone, with its neighbours standing still, without what lies on "
    "it; then the tacked work as one.",
    f"Friction is {HOLDING.friction:g} on all faces and none at the tips of clamps; clamps give what they usually give "
    "by hand, in the middle of their model's range: common practice, no source. All clamps are shut.",
    "Pushes are level and steady, at the middles of at most two welds of a piece; how it is pulled by weld shrinkage, "
    "and what a hammer does, is not looked at.",
    "Dents are judged on flat sides of listed tube only; bending of the work between supports is not worked out.",
    "Forces are estimates by these rules and no strength of a clamp: what must not fall is held in another way too.",
)
