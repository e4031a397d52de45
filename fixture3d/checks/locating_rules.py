"""What the check on locating can find: the rules and their manual pages."""

from __future__ import annotations

from fixture3d.checks.base import Rule

RULES = (
    Rule(
        name="piece-falls",
        level="fail",
        title="A piece tips or slides off what carries it",
        meaning="Something carries this piece from below, but its weight lies outside what carries it, or a slope lets "
        "it slide. Left alone, it does not stay as it is drawn. Friction is not counted on. What nothing carries at "
        "all is told by unsupported.",
        cure="Move or widen the block under it so that the middle of the piece lies over it, or put a second one under "
        "the side that drops. Where a welder would hold it with a magnet, say so in [[accept]].",
    ),
    Rule(
        name="piece-free",
        level="warn",
        title="A piece can still move",
        meaning="No block, and no piece that is itself held that way, stops this motion in either direction. The piece "
        "lies where the hand puts it, and every copy of the work comes out a little different. A clamp that presses "
        "the piece holds it by friction only: it does not say where it goes. Motions that end within 2 mm, as in the "
        "root gap of a coped end, are play and are not told. Nor is the roll of a plain round.",
        cure="Put a stop against the face that is named. Where the remedy names a hole and a turn, it was tried: the "
        "block touches there, stands, runs into nothing, and the motion is gone.",
    ),
    Rule(
        name="stops-opposed",
        level="warn",
        title="Hard stops on both sides",
        meaning="Two blocks push straight against each other with the work between them, and neither can give. Work "
        "that is larger than drawn does not go in, work that is smaller rattles, and once it is welded it sits fast "
        "between stops or has shrunk onto those that stand inside it.",
        cure="Take a slide stop or shims on one side, or leave that side to a clamp.",
    ),
    Rule(
        name="stops-near",
        level="warn",
        title="Stops or supports that stand too near each other",
        meaning="Two locators that share a duty stand so near each other that an error of one is felt much larger at "
        "the far end of the piece. The figure is how much of it is felt there (limit: common practice, no source).",
        cure="Set them further apart, best near the ends of the piece.",
    ),
    Rule(
        name="stops-spare",
        level="note",
        title="More stops than it takes",
        meaning="Two stops along one side and one across locate a straight piece. A further rigid one touches only by "
        "chance; the rest stand off, or force the piece.",
        cure="Pull the spare one back, or make it adjustable and bring it up to the piece last.",
    ),
    Rule(
        name="supports-four",
        level="note",
        title="More rigid supports than decide a plane",
        meaning="Three supports decide a plane, and two V-blocks an axis. The piece touches a further one only as "
        "well as the table and the blocks are level and the piece is straight, and a clamp over it bends the piece.",
        cure="Make the spare one adjustable and bring it up to the piece last, or shim it to the gap that is left.",
    ),
    Rule(
        name="supports-in-line",
        level="warn",
        title="Supports on one line",
        meaning="All that carries the piece stands on one line, and nothing else keeps it from tipping to either side.",
        cure="Move one of the supports out of the line, as far as the piece allows.",
    ),
    Rule(
        name="not-a-seat",
        level="warn",
        title="A block touches the piece where it is no seat",
        meaning="The block meets the corner radius of the piece, or the fillet in its own inside corner holds the "
        "piece off its faces. Radii differ from bar to bar, so that the place of the piece does too. Pads that end "
        "below the flat of a listed tube are told by corner-radius.",
        cure="Let the block reach the flat of the piece, or relieve its inside corner.",
    ),
    Rule(
        name="contact-unread",
        level="note",
        title="A contact that cannot be read",
        meaning="A face near this block is of a kind whose contacts are not found: a cone, or a free form. What it "
        "locates there is not counted, so that the piece may be better held than it is said to be.",
        cure="Nothing, where it is seen by eye to locate; else lay the piece on flat or round faces.",
    ),
)

NOT_COVERED = (
    "Located means that rigid pieces against rigid blocks have one place to lie in, to first order and without "
    "friction: not how true that place is, nor whether clamps hold the piece there.",
    "All pieces are judged together as drawn and pushed home, a clamp as no locator; spring-back is not looked at.",
    "In the order of laying in straight paths are tried, with clamps open; the table counts without its holes.",
)
