"""The answer for all sizes of one file: ready when every size is."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any, Final

from fixture3d import __version__
from fixture3d.errors import one_line
from fixture3d.report.report import LEVELS, Report
from fixture3d.report.text import SCREEN, WIDTH, text_blocks, verdict

SCHEMA: Final = "fixture3d.sizes/1"


@dataclass(frozen=True, kw_only=True)
class FamilyReport:
    """The reports of all sizes of a scene.

    Attributes:
        sizes: one a size, in the order of the file.
    """

    sizes: tuple[Report, ...]

    @property
    def ready(self) -> bool:
        """Every size is ready."""
        return all(one.ready for one in self.sizes)

    @property
    def crashed(self) -> bool:
        """Some check of some size stopped on a fault of the program."""
        return any(one.crashed for one in self.sizes)

    @property
    def complete(self) -> bool:
        """Every check ran in every size."""
        return all(one.complete for one in self.sizes)

    @property
    def exit_code(self) -> int:
        """0 all ready, 1 something failed, 3 a fault of the program."""
        return 3 if self.crashed else 0 if self.ready else 1

    def to_dict(self, timing: bool = False) -> dict[str, Any]:
        """The JSON answer: under ``sizes`` one report a size, each as for a file without sizes.

        Args:
            timing: as for ``Report.to_dict``.
        """
        return {
            "schema": SCHEMA,
            "version": __version__,
            "scene": self.sizes[0].job.scene.family_title,
            "ok": self.ready,
            "complete": self.complete,
            "sizes": [one.to_dict(timing=timing) for one in self.sizes],
        }

    def to_text(
        self, *, faces: bool = False, timing: bool = False, order: bool = False, shrinkage: bool = False
    ) -> str:
        """The verdict on all, then each size, then what is the same in all. Arguments as for ``to_text``."""
        each = [
            text_blocks(one, faces=faces, timing=timing, order=order, shrinkage=shrinkage, summary=False)
            for one in self.sizes
        ]
        alike = [block for block in each[0] if all(block in blocks for blocks in each[1:])] if len(each) > 1 else []
        out = [self._verdict()]
        of = len(self.sizes)
        for number, (report, blocks) in enumerate(zip(self.sizes, each, strict=True), start=1):
            head = f"Size {number} of {of}: {one_line(str(report.job.scene.size))}"
            first, *rest = [block for block in blocks if block not in alike] or [verdict(report)]
            out += [f"== {head}\n{first}", *rest]
        if alike:
            out += [f"== In all {of} sizes", *alike]
        if sum(block.count("\n") + 2 for block in out) > SCREEN:
            out.append(self._verdict())
        return "\n\n".join(out) + "\n"

    def _verdict(self) -> str:
        """``READY`` or ``NOT READY`` for all, and a line a size."""
        of, good = len(self.sizes), sum(one.ready for one in self.sizes)
        word = f"NOT READY: {good} of {of} sizes ready"
        if self.ready:
            word = f"READY: all {of} sizes" if of > 1 else "READY: its one size"
        lines = [f"{word} - {one_line(self.sizes[0].job.scene.family_title)}"]
        for one in self.sizes:
            counts = ", ".join(f"{one.count(level)} {level}" for level in LEVELS)
            state = "ready" if one.ready else "NOT READY"
            said = f"{one_line(str(one.job.scene.size))}: {state}: {counts}"
            lines += textwrap.wrap(said, WIDTH, initial_indent="  ", subsequent_indent="    ")
        return "\n".join(lines)
