"""A blind set for the interference engine: pairs whose answer is known from geometry alone.

`cases()` are required verdicts; `fine_cases()` overlap by 0.05 mm and are only reported. Every family of meetings is
drawn with fixed seeds at several separations, as B-rep, mesh, split mesh, triangle soup or mixed, in place, turned at
random near the origin, or turned and 2 m away. The answers come from closed forms, never from a kernel, and were
written without sight of the engine.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from tests import blind_relate_families as fam
from tests import blind_relate_solids as so

Kind = Literal["clear", "touching", "overlapping"]
SEED = 20771
CONTACT = 0.02  # mm: up to this gap or local depth two solids touch
NEAR, FAR = 150.0, 2000.0  # mm: shift of a turned pair
# One STL step is 3e-5 mm near the origin and 1.2e-4 mm at 2 m, so a soup keeps a touching pair within 0.0005 mm.
FLAT_FORMS = (
    "brep brep",
    "mesh mesh",
    "soup soup",
    "mesh brep",
    "noisy noisy",
    "split split",
    "brep soup",
    "brep mesh",
)
OTHER_FORMS = ("brep brep", "mesh mesh", "brep brep", "soup soup", "split split")


@dataclass(frozen=True)
class Case:
    """One pair; gap is stated when clear, depth and volume (mm, mm3) when overlapping and known in closed form."""

    name: str
    build_a: Callable[[], Any]
    build_b: Callable[[], Any]
    kind: Kind
    gap: float | None = None
    depth: float | None = None
    volume: float | None = None


@dataclass(frozen=True)
class Build:
    """Makes one body in one form when called."""

    body: so.Body
    form: str
    baked: bool
    seed: int

    def __call__(self) -> Any:
        if self.form == "brep":
            return self.body.as_brep(self.baked)
        mesh = self.body.as_mesh()
        if self.form == "split":
            return so.split_mesh(mesh)
        if self.form in ("soup", "noisy"):
            noise = np.random.default_rng(self.seed) if self.form == "noisy" else None
            return so.soup_mesh(mesh, noise)
        return mesh


def verdict(s: float) -> Kind:
    """What a signed separation means; no case is drawn near the limit."""
    assert abs(abs(s) - CONTACT) > 0.009
    return "clear" if s > CONTACT else "overlapping" if s < -CONTACT else "touching"


def _form(body: so.Body, wanted: str) -> str:
    """The wanted form, or the only one there is."""
    if body.mesh is None:
        return "brep"
    return "mesh" if wanted == "brep" and body.brep is None else wanted


def _case(label: str, pair: fam.Pair, kind: Kind, s: float | None, forms: str, rng: fam.Rng) -> Case:
    """Pose the pair, choose forms and order; s is None where there is no separation (one in the other's material)."""
    wanted_a, wanted_b = forms.split()
    form_a, form_b = _form(pair.a, wanted_a), _form(pair.b, wanted_b)
    reach = float(rng.choice([0.0, NEAR, FAR], p=[0.2, 0.4, 0.4]))
    if "noisy" in (form_a, form_b):
        reach = min(reach, NEAR)  # corners that part by one float32 step: keep the cracks under 1e-4 mm
    pose = so.random_pose(rng, reach) if reach else np.eye(4)
    baked, swap = bool(rng.integers(2)), bool(rng.integers(2))
    first, second = (
        Build(body.moved(pose), form, baked, int(rng.integers(2**31)))
        for body, form in ((pair.a, form_a), (pair.b, form_b))
    )
    if swap:
        first, second = second, first
    overlap = kind == "overlapping"
    depth = pair.depth if pair.depth is not None else None if s is None else -s
    return Case(
        name=f"{label} {first.form}/{second.form} {'at 0' if not reach else f'turned, {reach:g} away'}",
        build_a=first,
        build_b=second,
        kind=kind,
        gap=s if kind == "clear" else None,
        depth=depth if overlap else None,
        volume=pair.volume if overlap else None,
    )


def _separations(family: fam.Family, index: int, rng: fam.Rng) -> list[float]:
    """Touching three times, clear twice, 0.2 to 0.25 deep three times, and deeper for every other family."""
    touching = [0.0, 0.0, 0.01 if index % 2 else -0.004]
    clear = [[0.1, 4.0], [0.05, 1.0]][index % 2]
    small = [-0.2, -fam.draw(rng, 0.2, 0.25), -fam.draw(rng, 0.2, 0.25)]
    deep = [-0.5] if index % 2 else []
    if family in (fam.box_on_box, fam.box_flush):
        touching, clear, deep = [0.0, 0.0, 0.0, 0.01, -0.004], [0.1, 1.0, 4.0], [-0.5, -5.0]
    if family in (fam.ball_on_plate, fam.ball_in_countersink):  # an OCC distance or common is wrong now and then here
        small, clear = small + [-0.2] * 6, clear + [0.1, 1.0] * 3
    return touching + clear + small + deep


def _drawn(separations: Callable[[fam.Family, int, fam.Rng], Sequence[float]], stream: int) -> Iterator[Case]:
    for index, family in enumerate((*fam.FLAT, *fam.CURVED, *fam.FACETED, *fam.BESIDE)):
        forms = FLAT_FORMS if family in fam.FLAT else OTHER_FORMS
        plan = separations(family, index, np.random.default_rng([SEED, stream, index]))
        for turn, s in enumerate(plan):
            rng = np.random.default_rng([SEED, stream, index, turn])
            label = f"{family.__name__} {turn} s={s:+.4g}"
            yield _case(label, family(rng, s), verdict(s), s, forms[(index + turn) % len(forms)], rng)


def _inside(rng: fam.Rng) -> Iterator[tuple[str, fam.Pair]]:
    """One solid in the other's material: overlapping whatever the depth; the common volume is a plain one."""
    block, small = so.box(-20, 20, -25, 25, -15, 15), so.box(-4, 6, -3, 5, -2, 7)
    yield "box in block", fam.Pair(block, small, 720.0)
    yield "box in block, off the middle", fam.Pair(block, small.moved(so.shift(8, 10, -6)), 720.0)
    yield "box in block, one face flush", fam.Pair(block, so.box(-4, 6, -3, 5, 6, 15), 720.0)
    yield "box in block, three faces flush", fam.Pair(block, so.box(12, 20, -25, -15, -15, -6), 720.0)
    yield "same box twice", fam.Pair(block, block, 60000.0)
    yield "bar through block", fam.Pair(block, so.box(-4, 6, -40, 40, -2, 7), 10 * 9 * 50.0)
    yield "foil in block", fam.Pair(block, so.box(-10, 10, -10, 10, 0, fam.THIN), 80.0)
    radius = fam.draw(rng, 3, 9)
    sphere, shaft = 4 * math.pi / 3 * radius**3, math.pi * radius**2
    yield "ball in block", fam.Pair(block, so.ball(radius), sphere)
    yield "faceted ball in ball", fam.Pair(so.ball(25), so.faceted_ball(radius))
    yield "ball in ball", fam.Pair(so.ball(25), so.ball(radius).moved(so.shift(3, 4, 5)), sphere)
    yield "same ball twice", fam.Pair(so.ball(radius), so.ball(radius), sphere)
    yield "rod in block", fam.Pair(block, so.rod(radius, -8, 9), 17 * shaft)
    yield "rod through block", fam.Pair(block, so.rod(radius, -30, 40), 30 * shaft)
    yield "rod in a longer rod of the same radius", fam.Pair(so.rod(radius, -30, 40), so.rod(radius, -8, 9), 17 * shaft)
    pipe = so.prism(so.Ring(radius), -30, 30, so.Ring(radius - 1))
    yield "pipe through block", fam.Pair(block, pipe, 30 * (shaft - math.pi * (radius - 1) ** 2))
    yield "box in the wall of a hollow box", fam.Pair(so.hollow_box(30, 20), so.box(22, 27, -3, 5, -2, 7), 360.0)
    yield (
        "ball in the wall of a hollow ball",
        fam.Pair(so.hollow_ball(30, 20), so.ball(2).moved(so.shift(25)), 32 * math.pi / 3),
    )


def _apart(rng: fam.Rng) -> Iterator[tuple[str, fam.Pair, float]]:
    """In a void or a bore and far from its walls: clear, the gap is plain."""
    x = fam.draw(rng, 3, 8)
    cube = so.box(-x, x, -x, x, -x, x)
    yield "box in the void of a hollow box", fam.Pair(so.hollow_box(30, 20), cube), 20 - x
    yield "ball in the void of a hollow box", fam.Pair(so.hollow_box(30, 20), so.ball(x)), 20 - x
    yield "ball in the void of a hollow ball", fam.Pair(so.hollow_ball(30, 20), so.ball(x)), 20 - x
    yield "box in the void of a hollow ball", fam.Pair(so.hollow_ball(30, 20), cube), 20 - math.sqrt(3) * x
    ring = so.prism(so.rectangle(-30, -30, 30, 30), 0, 20, so.Ring(20))
    yield "rod in a wide bore", fam.Pair(ring, so.rod(x, -6, 30)), 20 - x
    yield "ball above a torus", fam.Pair(so.torus(20, 5), so.ball(x).moved(so.shift(z=30))), math.hypot(20, 30) - 5 - x


def cases() -> Iterator[Case]:
    """Every required case, always the same and in the same order."""
    yield from _drawn(_separations, 1)
    rng = np.random.default_rng([SEED, 2])
    for turn, (label, pair) in enumerate(_inside(rng)):
        yield _case(label, pair, "overlapping", None, FLAT_FORMS[turn % len(FLAT_FORMS)], rng)
    for turn, (label, pair, gap) in enumerate(_apart(rng)):
        yield _case(label, pair, "clear", gap, FLAT_FORMS[turn % len(FLAT_FORMS)], rng)


def fine_cases() -> Iterator[Case]:
    """One overlap of 0.05 mm a family."""
    yield from _drawn(lambda family, index, rng: [-0.05], 3)
