"""A calibration piece for printing: holes from the true size up, and a pin of the true size."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fixture3d.part import Gauge, Part, Point, part
from fixture3d.part import count as a_count
from fixture3d.part import length as a_length

from ._profiles import brick, cut, edge, joined, round_bar

if TYPE_CHECKING:
    import cadquery as cq

UP = (0.0, 0.0, 1.0)
MARK = 1.5  # mm; diameter of the marks beside a hole


@part("print_trial", made="printed as drawn, with --print", stands="hand")
@dataclass(frozen=True, kw_only=True)
class PrintTrial(Part):
    """Tells by how much a printer makes holes too small, and pins too thick: print it as drawn, and try a true dowel.

    The first hole is size wide, each further one by step more; as many small marks stand beside it. The first that
    takes a dowel of that size by hand, at N marks, gives the clearance for prints: N times step. The pin at the end
    is size thick: what a caliper reads more is the pin clearance. The long side of the plate tells the shrinkage.
    holes is how many; thickness that of the plate. What is read goes into the file of the shop, under [[printing]].

    ::

        +-------------------------------+
        |  (o)   (o).   (o):   (o):.  O |   O: the pin
        +-------------------------------+
          size   + step   ...

    >>> from fixture3d.part import Pattern, build
    >>> build(PrintTrial, Pattern(pitch=50.0, bore=16.0), {"holes": 4}).bores()
    [16.0, 16.1, 16.2, 16.3]
    """

    size: float = a_length(lambda p: p.bore, low=2.0, high=lambda p: max(30.0, p.bore), help="of dowel, hole and pin")
    step: float = a_length(
        lambda p: 0.004 * 25.4 if p.inch else 0.1, low=0.02, high=0.5, help="from hole to hole, on diameter"
    )
    holes: int = a_count(6, low=2, high=8, help="how many")
    thickness: float = a_length(8.0, low=3.0, high=30.0, help="of the plate, and height of the pin over it")

    def bores(self) -> list[float]:
        """Diameters as drawn, mm."""
        return [round(self.size + k * self.step, 9) for k in range(self.holes)]

    def gauge(self) -> Gauge:
        """What it reads."""
        return Gauge(
            limits=(),
            convention=(
                f"Marks beside a hole: 1 mark = {self._plain(self.step)} wider than {self._plain(self.size)}, on "
                "diameter, and so on. Convention: clearances on diameter, half of each a side. --print leaves it as "
                "drawn."
            ),
            sees=(
                "how much smaller holes of this size come out, to one step",
                "how much thicker an upright pin comes out, by a caliper",
                "how much the plastic shrinks along the bed, by a caliper on its long side",
            ),
            misses=(
                "holes that lie level in the print, and other sizes: they come out otherwise",
                "another plastic, layer height or printer: print one for each",
                "how play grows with use",
            ),
            reading=self._reading(),
        )

    def _reading(self) -> tuple[str, ...]:
        """What is measured in which order, and where it is written."""
        size, step, most = (self._plain(mm) for mm in (self.size, self.step, (self.holes - 1) * self.step))
        (x0, _, _), (x1, _, _) = self.box()
        percent = f"{100.0 / (x1 - x0) * (25.4 * 0.005 if self.pattern.inch else 0.1):.2f}"
        short = "0.005 in" if self.pattern.inch else "0.1 mm"
        return (
            "1. Print it flat, holes up, as any print is made in this plastic: make print_trial --print --material "
            "NAME. Let it cool; do not file it.",
            f"2. Try a true dowel of {size}, or a drill's shank that measures it, from the hole without marks on. The "
            "first hole that it goes right through by hand, without force, counts. clearance is its number of marks "
            f"times {step}: 0 without marks, {most} at {self.holes - 1}. If none takes it, print one with a larger "
            "step.",
            f"3. Measure the pin half way up, twice at right angles. pin_clearance is the mean less {size}; 0 if it "
            "is thinner.",
            f"4. Measure the long side of the plate at half its thickness, where the first layer does not count. It "
            f"should be {self._plain(x1 - x0)}. shrink is what the print was made with (it is told above, in %), and "
            f"{percent} more for each {short} that it is short, or less that it is long.",
            "5. Write them into the file of the shop, once for each plastic (the numbers here are examples):",
            " [[printing]]",
            ' material = "PLA"',
            f' clearance = "{self._plain(3.0 * self.step)}"',
            f' pin_clearance = "{self._plain(self.step)}"',
            " shrink = 0.2",
            "6. From then on: make MODEL --print --material PLA --shop shop.toml. Numbers on the command line win.",
        )

    def _plain(self, mm: float) -> str:
        """A length that is read off a caliper, as it may stand in a file."""
        inch = self.pattern.inch
        text = f"{mm / 25.4:.4f}" if inch else f"{mm:.3f}"
        return text.rstrip("0").rstrip(".") + (" in" if inch else " mm")

    def box(self) -> tuple[Point, Point]:
        """Plate and pin."""
        half = self._apart() / 2.0
        return (-half, -half, 0.0), (self.holes * self._apart() + half, half, 2.0 * self.thickness)

    def rules(self) -> Iterator[str]:
        """Holes and marks that do not meet."""
        room = edge(self.pattern)
        if self.bores()[-1] > self.size + room:
            yield f"step = {self.pattern.show(self.step)} is too wide for {self.holes} holes"

    def solid(self) -> cq.Solid:
        """The plate with its holes, marks and pin."""
        low, high = self.box()
        apart, up = self._apart(), self.thickness
        tools = []
        for k, size in enumerate(self.bores()):
            tools.append(round_bar((k * apart, 0.0, 0.0), UP, size, up))
            for i in range(k):
                x = k * apart + (i - (k - 1) / 2.0) * 1.6 * MARK
                tools.append(round_bar((x, high[1] - 1.5 * MARK, 0.0), UP, MARK, up))
        plate = cut(brick(low, (high[0], high[1], up)), *tools)
        return joined(plate, round_bar((self.holes * apart, 0.0, up), UP, self.size, up))

    def _apart(self) -> float:
        return max(self.size + self.holes * self.step + 5.0 * MARK + 4.0, 1.6 * MARK * (self.holes + 1))
