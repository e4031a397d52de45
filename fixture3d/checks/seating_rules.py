"""What the seating check can find: the manual page of each of its rules."""

from __future__ import annotations

from fixture3d.checks.base import Rule

RULES = (
    Rule(
        name="cannot-stand",
        level="fail",
        title="The block cannot stand as asked",
        meaning="The block has no way to stand like this: the socket it should stand in opens on to what the lower "
        "block stands on, or no socket is named and none opens upward.",
        cure="Turn the lower block so that its socket faces up, name another socket (one in an upright face needs "
        "bolt = true), or place the block in a hole.",
    ),
    Rule(
        name="pin-off-hole",
        level="fail",
        title="A pin is not over a hole",
        meaning="The scene asks for a dowel in a bore that has no hole under it, or one that is further off than the "
        "clearance of both dowels allows. The dowel will not drop in.",
        cure="Move the block to the named hole and turn, or leave that pin out with pins = [...].",
    ),
    Rule(
        name="pin-blocked",
        level="fail",
        title="A pin stands over a blocked hole",
        meaning="The hole is listed as blocked: damaged, welded up, or with a leg below it; or a slot of the table "
        "cuts into it.",
        cure="Use the named hole, or clear the hole and take it off the list.",
    ),
    Rule(
        name="hole-shared",
        level="fail",
        title="Two pins in one hole",
        meaning="Two blocks want a dowel in the same hole. Only one will go in.",
        cure="Move one of the blocks, or leave the pin of one out with pins = [...].",
    ),
    Rule(
        name="no-nut",
        level="fail",
        title="A hold-down bolt without room for its nut",
        meaning="A rib or leg is below this hole, so that no nut can be put on the bolt from below.",
        cure="Put the block where its bolt comes out between the ribs, or hold it with a second dowel instead.",
    ),
    Rule(
        name="floats",
        level="fail",
        title="The block lies on nothing",
        meaning="The block is placed above the table with nothing under it, or beside the table.",
        cure="Lower it on to the table, stack it on another block, or put a riser under it.",
    ),
    Rule(
        name="tips",
        level="fail",
        title="The block tips over its edge",
        meaning="More of the block hangs over than lies on, so its weight is outside the area that carries it and "
        "no bolt holds it down. On an upright face with holes, dowels alone do not keep a block from falling off.",
        cure="Move it in from the edge, or hold it down with bolt = true.",
    ),
    Rule(
        name="spins",
        level="warn",
        title="One dowel and no bolt: the block can spin",
        meaning="A single dowel fixes a point, not a direction. The block turns about it as soon as it is leant on.",
        cure="Put another of its bores over the hole, or turn it, so that a second bore finds a hole; or hold it down "
        "with bolt = true.",
    ),
    Rule(
        name="clamp-not-bolted",
        level="warn",
        title="Nothing holds the clamp down",
        meaning="The clamp presses the work down, so its own base is pushed up as hard. It stands on loose dowels, or "
        "on nothing but its own weight, and dowels lift straight out: when it is shut it lifts or tips instead of "
        "pressing. A clamp on the table's edge, with a magnet, or on its own shank is taken to hold itself.",
        cure="Hold it down with bolt = true.",
    ),
    Rule(
        name="between-notches",
        level="warn",
        title="A serrated adjustment stands between two notches",
        meaning="The block is set by teeth that mesh, and slide = ... asks for a place between two of them. There the "
        "teeth do not seat: they ride on each other and slip to a notch under load. The figure is how far the nearest "
        "notch is.",
        cure="Set one of the two notches that are named, and make up the rest with shims.",
    ),
    Rule(
        name="not-pinned",
        level="warn",
        title="No dowel holds the block",
        meaning="All its pins are left out, so it can be pushed in any direction.",
        cure="Put at least two dowels in, or clamp the block down and set it by measuring.",
    ),
    Rule(
        name="loose-seat",
        level="warn",
        title="The seat is loose",
        meaning="With the largest hole and the smallest dowel the block can turn so far that its locating face moves "
        "by more than common practice accepts (common practice, no source).",
        cure="Use bores that are further apart, closer dowels, or ream the holes; push the block the same way "
        "each time before it is bolted down.",
    ),
    Rule(
        name="needs-measuring",
        level="note",
        title="The place has to be measured",
        meaning="The block is not located by holes, or is set by a screw where nothing meshes, so its place or setting "
        "must be measured each time the setup is built.",
        cure="Use a hole where one is near enough, with a slide stop or shims to make up the rest; a block of the "
        "height that is needed in place of a screw jack.",
    ),
    Rule(
        name="overhang",
        level="note",
        title="The block hangs over",
        meaning="Part of the block hangs over the edge of the table or of the block that it stands on. It does not "
        "tip by its own weight.",
        cure="Nothing, unless something presses on the part that hangs over.",
    ),
    Rule(
        name="short-of-blocks",
        level="warn",
        title="The shop does not own enough of these",
        meaning="The setup uses more blocks of this model and size, or more loose dowels, bolts or shims, than the "
        "inventory lists. Blocks that lie on the shelf are tried in their place, the nearest in size first: what is "
        "named touches all that was touched, runs into nothing new and takes no weld from the torch.",
        cure="Use the owned block that is named, or make or borrow the missing ones and count them.",
    ),
    Rule(
        name="clamp-off-support",
        level="warn",
        title="A clamp presses beside the block that should take its push",
        meaning="The clamp names a block to press toward, and the line of its push passes beside what that block "
        "offers: its pads that look against the push, and all that lies between them. The piece bends or tips "
        "between the two. The figure is how far beside.",
        cure="Move the clamp or the point where it presses (at = ...), or put the block under the tip.",
    ),
    Rule(
        name="clamp-off-point",
        level="warn",
        title="A clamp does not press where it is asked to",
        meaning="The scene says how far along the piece the clamp presses (at = ...), and its tip comes down "
        "elsewhere, by more than the radius of the tip: the turn or the reach is given and does not lead there, or "
        "the arm is too short or too long.",
        cure="Leave turn and reach out, so that they follow from at, or put the clamp into a hole that is nearer.",
    ),
)
