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
)

NOT_COVERED = (
    "Rigid pieces and small errors, each by itself and around its middle; likely is the root of the sum of squares, "
    "at worst everything at its limit at once.",
    "Limits that neither the scene nor a standard of the stock gives are common practice: saw, mitre, faces of "
    "blocks, notches, shims.",
    "An uneven table lifts blocks and does not tilt them.",
    "Spring-back, and what heat draws out of shape, are not in the key figures.",
)
