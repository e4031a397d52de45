"""What the check of accuracy can find, and what it does not cover."""

from __future__ import annotations

from fixture3d.checks.base import Rule

__all__ = ["NOT_COVERED", "RULES"]

RULES = (
    Rule(
        name="figure-missed",
        level="fail",
        title="A key figure is drawn out of its limits",
        meaning=(
            "The pieces as they stand in the file make a length, diagonal, angle or flatness that is not within the "
            "limits that the file gives for it: with every block and every cut exact it would be wrong."
        ),
        cure="Move the pieces, or correct size and limits of the [[figure]].",
    ),
    Rule(
        name="figure-out",
        level="warn",
        title="A key figure will likely be out of its limits",
        meaning=(
            "Looseness of the blocks in their holes, the table, and what stock and saw may be off come to more than "
            "the file allows, by root of the sum of squares: some frames in a hundred or more will be out."
        ),
        cure=(
            "Mend what spoils most: a stop that touches the point that counts, a second pin, pins further apart, a "
            "diamond pin, better cuts; or ask for less."
        ),
    ),
    Rule(
        name="figure-may-be-out",
        level="note",
        title="A key figure is out of its limits at worst",
        meaning=(
            "With everything at its limit at once, all in the bad sense, the figure is out. That is rare: by root of "
            "the sum of squares it keeps its limits."
        ),
        cure="Measure the first frames, or mend what spoils most as for figure-out.",
    ),
    Rule(
        name="does-not-go-in",
        level="warn",
        title="A piece at its greatest size does not go in",
        meaning=(
            "Stock and saw may make the piece so large that it does not go in between its stops, which cannot give."
        ),
        cure="Back one stop off by as much, or make it one that can be set; a clamp on that side does the same.",
    ),
    Rule(
        name="measured-out",
        level="fail",
        title="A measured figure is out of its limits",
        meaning=(
            "What was measured at the table, as the record beside the scene has it, is not within the limits of the "
            "file or of the class of ISO 13920 that it asks for. Against the usual class, where the file asks for "
            "none, it is only a note."
        ),
        cure=(
            "Measure once more. If it stays, correct the stops that move it most, by another notch or shims, write "
            "down how they are set now, and measure the next one."
        ),
    ),
    Rule(
        name="measured-unexpected",
        level="note",
        title="A measured figure is further off than anything known could make it",
        meaning=(
            "All that is known to be off, everything at its limit at once, and the reading of the tape do not come to "
            "what was measured. Something is wrong at the table that the scene does not have."
        ),
        cure=(
            "Look for chips under blocks, a block one hole or notch off, work that is not home against its stops, a "
            "cut that is too long, and a wrong reading; then measure once more."
        ),
    ),
    Rule(
        name="out-of-square",
        level="warn",
        title="By its measured diagonals a frame is out of square",
        meaning=(
            "The diagonals of a frame differ, and by d1^2 - d2^2 = 4 a b sin g its corners are off 90 degrees by more "
            "than an angle between its members may be."
        ),
        cure="Push or clamp the longer diagonal shorter before the welds are finished; shim the stop that lets it.",
    ),
    Rule(
        name="as-set-out",
        level="warn",
        title="As the blocks were set, a key figure will likely be out of its limits",
        meaning=(
            "By the record beside the scene blocks stand otherwise than planned. As planned the figure keeps its "
            "limits; as set it likely does not."
        ),
        cure="Set the blocks as planned, or measure the figure: what is measured counts more than what is worked out.",
    ),
    Rule(
        name="as-set-tight",
        level="warn",
        title="As the blocks were set, the work does not go in between them",
        meaning=(
            "Two faces with work between them stand nearer to each other, as the record has them, than the drawn work "
            "measures: something is set or written down wrong, or the pieces are short."
        ),
        cure="Look at the setting, and at the pieces; write down what is so, or set the blocks as planned.",
    ),
    Rule(
        name="record-stale",
        level="note",
        title="Entries of the record are of another state of the scene",
        meaning=(
            "The scene was changed since they were written, as their content code shows: they may mean another hole, "
            "notch or size. They are kept, and count for nothing."
        ),
        cure="Measure and set again, and write that down; entries that still hold may be given the present code.",
    ),
)

NOT_COVERED = (
    "Rigid pieces and small errors, each by itself and around its middle; likely is the root of the sum of squares, "
    "at worst everything at its limit at once.",
    "Limits that neither the scene nor a standard of the stock gives are common practice: saw, mitre, faces of "
    "blocks, notches, shims.",
    "An uneven table lifts blocks and does not tilt them.",
    "Spring-back, and what heat draws out of shape, are not in the key figures.",
)
