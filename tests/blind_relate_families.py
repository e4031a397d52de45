"""Pairs of bodies whose relation follows from a closed form, one function a kind of meeting.

Every family takes a signed separation `s` (mm): the gap when positive, contact at zero, local depth when negative.
`d = max(-s, 0)` is that depth, and each volume formula is in d. Unless said otherwise the contact plane is z = 0, the
first body is below it, and the second is moved along +z by s. No formula was taken from the package under test.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests import blind_relate_solids as so

Rng = np.random.Generator
PI, ROOT2, ROOT3 = math.pi, math.sqrt(2.0), math.sqrt(3.0)
THIN = 0.2


@dataclass(frozen=True)
class Pair:
    """Two bodies, and the volume of their overlap where a closed form gives it; depth where it is not -s."""

    a: so.Body
    b: so.Body
    volume: float | None = None
    depth: float | None = None


Family = Callable[[Rng, float], Pair]


def draw(rng: Rng, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def segment(r: float, d: float) -> float:
    """Circular segment of height d cut from radius r: r² acos((r-d)/r) - (r-d) sqrt(2rd - d²)."""
    return r * r * math.acos(1.0 - d / r) - (r - d) * math.sqrt(2.0 * r * d - d * d)


def lens(r1: float, r2: float, c: float) -> float:
    """Common area of two circles c apart (c > |r1 - r2|): one segment of each, cut by the common chord."""
    x1 = (c * c + r1 * r1 - r2 * r2) / (2.0 * c)
    x2 = c - x1
    return segment(r1, r1 - x1) + segment(r2, r2 - x2)


def ball_lens(r1: float, r2: float, c: float) -> float:
    """Common volume of two balls c apart: a cap of each, cap = pi h² (3r - h) / 3."""
    x1 = (c * c + r1 * r1 - r2 * r2) / (2.0 * c)
    h1, h2 = r1 - x1, r2 - (c - x1)
    return PI * h1 * h1 * (3 * r1 - h1) / 3 + PI * h2 * h2 * (3 * r2 - h2) / 3


def frustum(r0: float, r1: float, h: float) -> float:
    return PI * h * (r0 * r0 + r0 * r1 + r1 * r1) / 3


def plate(size: float, thick: float = 15.0) -> so.Body:
    return so.box(-size, size, -size, size, -thick, 0.0)


def lying(body: so.Body, radius: float) -> so.Body:
    """A body about the z axis laid along x, its lowest line on z = 0."""
    return so.along_x(body).moved(so.shift(z=radius))


# --- flat faces, edges and corners ------------------------------------------------------------------------------


def box_on_box(rng: Rng, s: float) -> Pair:
    """Face on face, the upper one off to a side: overlap is depth times the shared rectangle."""
    wide, deep, x, y = draw(rng, 20, 90), draw(rng, 20, 90), draw(rng, 2, 15), draw(rng, 2, 15)
    a = so.box(0, wide, 0, deep, -draw(rng, 8, 40), 0)
    b = so.box(x, x + wide, y, y + deep, s, s + draw(rng, 8, 40))
    return Pair(a, b, max(-s, 0) * (wide - x) * (deep - y))


def box_flush(rng: Rng, s: float) -> Pair:
    """Equal footprints: all side faces coplanar too."""
    wide, deep = draw(rng, 10, 120), draw(rng, 10, 60)
    a = so.box(0, wide, 0, deep, -draw(rng, 8, 40), 0)
    return Pair(a, so.box(0, wide, 0, deep, s, s + draw(rng, 8, 40)), max(-s, 0) * wide * deep)


def box_edges_level(rng: Rng, s: float) -> Pair:
    """Parallel edges meet along a line, no shared face: gap (0.6, 0.8) s; overlap d high, 1.3 d wide."""
    length, d = draw(rng, 20, 90), max(-s, 0)
    dy, dz = (0.6 * s, 0.8 * s) if s > 0 else (1.3 * s, s)
    a = so.box(0, length, -30, 0, -20, 0)
    return Pair(a, so.box(5, length + 9, dy, dy + 25, dz, dz + 18), d * 1.3 * d * (length - 5))


def box_corners(rng: Rng, s: float) -> Pair:
    """Corner to corner: gap (2, 1, 2) s / 3; overlap d by 1.2 d by 1.5 d."""
    d = max(-s, 0)
    x, y, z = (2 * s / 3, s / 3, 2 * s / 3) if s > 0 else (s, 1.2 * s, 1.5 * s)
    a = so.box(-draw(rng, 10, 40), 0, -draw(rng, 10, 40), 0, -draw(rng, 10, 40), 0)
    b = so.box(x, x + draw(rng, 10, 40), y, y + draw(rng, 10, 40), z, z + draw(rng, 10, 40))
    return Pair(a, b, 1.8 * d**3)


def _crossing(rng: Rng, s: float, sides: int, radius: float, slope: float) -> Pair:
    """Ridge z = -k|u| under ridge z = k|v| - d at angle phi: |u| + |v| <= d/k, so V = 2 d³ / (3 k² sin phi).

    The common body is a tetrahedron whose two opposite edges are d apart, the shortest way out, since sideways the bars
    still cross. Its least width is the smaller of d and d / (k cos(phi / 2)): d at k = 1, 0.6 to 0.82 d at k = tan 60.
    """
    phi, d = draw(rng, 35, 90), max(-s, 0)
    half = draw(rng, 25, 70)
    low = lying(so.prism(so.regular(sides, radius), -half, half), radius)
    a = low.moved(so.shift(x=draw(rng, -15, 15)), so.turn((1, 0, 0), 180))
    b = low.moved(so.turn((0, 0, 1), phi), so.shift(draw(rng, -15, 15), 0, s))
    return Pair(a, b, 2 * d**3 / (3 * slope**2 * math.sin(math.radians(phi))))


def edges_cross_square(rng: Rng, s: float) -> Pair:
    """Right-angled edges crossing: k = 1."""
    return _crossing(rng, s, 4, draw(rng, 8, 30), 1.0)


def edges_cross_sharp(rng: Rng, s: float) -> Pair:
    """Edges of 60 degrees crossing: k = tan 60."""
    return _crossing(rng, s, 3, draw(rng, 10, 30), ROOT3)


def edge_on_plate(rng: Rng, s: float) -> Pair:
    """A bar standing on its edge: a triangle d high, 2 d / k wide."""
    sides, slope = ((4, 1.0), (3, ROOT3))[int(rng.integers(2))]
    radius, half, d = draw(rng, 8, 20), draw(rng, 10, 50), max(-s, 0)
    bar = lying(so.prism(so.regular(sides, radius), -half, half), radius)
    return Pair(plate(60), bar.moved(so.turn((0, 0, 1), draw(rng, 0, 360)), so.shift(z=s)), d * d / slope * 2 * half)


def tip_on_plate(rng: Rng, s: float) -> Pair:
    """Pyramid of 45 degree sides on its tip: (2d)² d / 3."""
    tall, d = draw(rng, 10, 30), max(-s, 0)
    b = so.pyramid(tall, tall).moved(so.shift(z=s), so.turn((0, 0, 1), draw(rng, 0, 90)))
    return Pair(plate(45), b, 4 * d**3 / 3)


def corner_on_plate(rng: Rng, s: float) -> Pair:
    """Box corner, space diagonal upright: the planes cut sqrt(3) d from each edge, V = (sqrt(3) d)³ / 6."""
    d = max(-s, 0)
    cube = so.box(0, draw(rng, 12, 30), 0, draw(rng, 12, 30), 0, draw(rng, 12, 30))
    upright = so.turn((1, -1, 0), math.degrees(math.acos(1 / ROOT3)))
    return Pair(plate(60), cube.moved(so.shift(z=s), upright), (ROOT3 * d) ** 3 / 6)


def tilted_box(rng: Rng, s: float) -> Pair:
    """A box 1 to 5 degrees off flat: a long thin triangle d high, V = d² (cot + tan) L / 2."""
    tilt, length, d = draw(rng, 1, 5), draw(rng, 15, 60), max(-s, 0)
    theta = math.radians(tilt)
    b = so.box(-length / 2, length / 2, 0, 60, 0, draw(rng, 8, 20)).moved(so.shift(z=s), so.turn((1, 0, 0), tilt))
    return Pair(plate(80), b, d * d * (1 / math.tan(theta) + math.tan(theta)) * length / 2)


def nested_angle(rng: Rng, s: float) -> Pair:
    """Box in the inner corner of an angle: on both legs, or s off both; overlap with the floor only."""
    leg, t, length, d = draw(rng, 40, 80), draw(rng, 4, 8), draw(rng, 20, 90), max(-s, 0)
    profile = so.Poly(((-t, -t), (leg, -t), (leg, 0), (0, 0), (0, leg), (-t, leg)))
    side = max(s, 0)
    b = so.box(5, length + 8, side, side + 25, s, s + 30)
    return Pair(so.along_x(so.prism(profile, 0, length)), b, d * 25 * (length - 5))


def _slot(rng: Rng, s: float, narrow: float) -> Pair:
    """Plate in a slot, s clear of each wall, 6 above the floor; overlap is two strips."""
    width, thick = (narrow + 2 * s, narrow) if s > 0 else (narrow, narrow - 2 * s)
    deep, length, d, w = draw(rng, 15, 40), draw(rng, 20, 80), max(-s, 0), width / 2
    outer = w + 12
    profile = so.Poly(
        ((-outer, -10), (outer, -10), (outer, deep), (w, deep), (w, 0), (-w, 0), (-w, deep), (-outer, deep))
    )
    b = so.box(4, length + 6, -thick / 2, thick / 2, 6, deep + 7)
    return Pair(so.along_x(so.prism(profile, 0, length)), b, 2 * d * (length - 4) * (deep - 6))


def plate_in_slot(rng: Rng, s: float) -> Pair:
    return _slot(rng, s, draw(rng, 5, 20))


def shim_in_slot(rng: Rng, s: float) -> Pair:
    """A 0.2 mm shim in a slot."""
    return _slot(rng, s, THIN)


def hex_in_hex(rng: Rng, s: float) -> Pair:
    """Hexagon in an equal hole: opposite sides s apart; radius R - s / cos 30; area (3 sqrt(3) / 2) r²."""
    hole, t, d = draw(rng, 8, 20), draw(rng, 10, 25), max(-s, 0)
    radius = hole - s / math.cos(PI / 6)
    a = so.prism(so.rectangle(-35, -35, 35, 35), 0, t, so.regular(6, hole))
    b = so.prism(so.regular(6, radius), -7, t + 9)
    return Pair(a, b, 1.5 * ROOT3 * (radius**2 - hole**2) * t if d else 0.0)


def in_hollow_box(rng: Rng, s: float) -> Pair:
    """Block on the floor of a closed void."""
    inner, x, d = draw(rng, 20, 40), draw(rng, 4, 8), max(-s, 0)
    b = so.box(-x, x + 2, -x, x + 1, s - inner, s - inner + draw(rng, 5, 12))
    return Pair(so.hollow_box(inner + draw(rng, 4, 9), inner), b, d * (2 * x + 2) * (2 * x + 1))


# --- 0.2 mm slivers ---------------------------------------------------------------------------------------------


def foil_on_block(rng: Rng, s: float) -> Pair:
    """Foil flat on a block; d >= 0.2 sinks it wholly, at 0.2 with flush tops."""
    x, y, d = draw(rng, 10, 50), draw(rng, 10, 50), min(max(-s, 0), THIN)
    return Pair(plate(70), so.box(-x, x, -y, y, s, s + THIN), 4 * x * y * d, d)


def foil_tee(rng: Rng, s: float) -> Pair:
    """Edge of one foil on the face of another: common column 0.2 by min(d, 0.2) by the height."""
    tall, d = draw(rng, 10, 40), min(max(-s, 0), THIN)
    a = so.box(-30, 30, -THIN, 0, 0, 45)
    return Pair(a, so.box(3, 3 + THIN, s, s + 25, 2, 2 + tall), THIN * d * tall, d)


def foil_butt(rng: Rng, s: float) -> Pair:
    """Two foils in one plane, edge to edge."""
    x, d = draw(rng, 20, 60), max(-s, 0)
    return Pair(so.box(0, x, -30, 0, 0, THIN), so.box(4, x + 5, s, s + 40, 0, THIN), THIN * d * (x - 4), min(d, THIN))


def foil_sleeve(rng: Rng, s: float) -> Pair:
    """Foil wrapped round a longer rod."""
    inner, tall, d = draw(rng, 6, 25), draw(rng, 8, 30), min(max(-s, 0), THIN)
    a = so.prism(so.Ring(inner + THIN, spin=draw(rng, 0, 360)), 0, tall, so.Ring(inner))
    return Pair(a, so.rod(inner - s, -6, tall + 8), PI * ((inner + d) ** 2 - inner**2) * tall, d)


# --- cylinders --------------------------------------------------------------------------------------------------


def rods_side_by_side(rng: Rng, s: float) -> Pair:
    """Parallel cylinders, one a pipe: lens times the shared length; seams anywhere or on the contact line."""
    r1, r2, tall, d = draw(rng, 5, 25), draw(rng, 5, 25), draw(rng, 20, 80), max(-s, 0)
    spin = (0.0, draw(rng, 0, 360))[int(rng.integers(2))]
    a = so.prism(so.Ring(r1, spin=spin), 0, tall, so.Ring(r1 - 3))
    b = so.rod(r2, 6, tall + 15).moved(so.shift(x=r1 + r2 + s), so.turn((0, 0, 1), 180 if spin == 0 else spin))
    return Pair(a, b, lens(r1, r2, r1 + r2 - d) * (tall - 6) if d else 0.0)


def rods_cross(rng: Rng, s: float) -> Pair:
    """Crossed cylinders, axes r1 + r2 + s apart; no closed volume."""
    r1, r2, phi = draw(rng, 4, 25), draw(rng, 4, 25), draw(rng, 6, 90)
    a = lying(so.rod(r1, -60, 60), r1).moved(so.turn((1, 0, 0), 180))
    b = lying(so.rod(r2, -50, 65), r2).moved(so.shift(z=s), so.turn((0, 0, 1), phi))
    return Pair(a, b)


def rod_on_plate(rng: Rng, s: float) -> Pair:
    """Cylinder on its side: segment times length."""
    r, half, d = draw(rng, 4, 40), draw(rng, 10, 50), max(-s, 0)
    b = lying(so.prism(so.Ring(r, spin=draw(rng, 0, 360)), -half, half), r)
    return Pair(plate(75), b.moved(so.turn((0, 0, 1), draw(rng, 0, 360)), so.shift(z=s)), segment(r, d) * 2 * half)


def long_pipe_on_plate(rng: Rng, s: float) -> Pair:
    """A 2 m pipe across a 150 mm plate."""
    r, d = draw(rng, 15, 40), max(-s, 0)
    b = lying(so.prism(so.Ring(r, spin=draw(rng, 0, 360)), -1000, 1000, so.Ring(r - 3)), r)
    return Pair(plate(75), b.moved(so.shift(x=draw(rng, -800, 800), z=s)), segment(r, d) * 150)


def rim_on_plate(rng: Rng, s: float) -> Pair:
    """Cylinder leaning 20 to 70 degrees on its rim: lowest point r sin + (h/2) cos under the centre."""
    r, half, tilt = draw(rng, 6, 30), draw(rng, 8, 40), draw(rng, 20, 70)
    drop = r * math.sin(math.radians(tilt)) + half * math.cos(math.radians(tilt))
    lean = so.turn((0, 0, 1), draw(rng, 0, 360)) @ so.turn((1, 0, 0), tilt) @ so.turn((0, 0, 1), draw(rng, 0, 360))
    return Pair(plate(80), so.rod(r, -half, half).moved(so.shift(z=drop + s), lean))


def _bored(rng: Rng, radius: float, tall: float) -> so.Body:
    half = radius + draw(rng, 8, 20)
    return so.prism(so.rectangle(-half, -half, half, half), 0, tall, so.Ring(radius, spin=draw(rng, 0, 360)))


def rod_in_bore(rng: Rng, s: float) -> Pair:
    """Concentric; s = 0 is an equal bore, coincident curved faces; overlap is a shell d thick."""
    hole, tall, d = draw(rng, 6, 25), draw(rng, 10, 40), max(-s, 0)
    b = so.rod(hole - s, -6, tall + 9)
    return Pair(_bored(rng, hole, tall), b, PI * ((hole + d) ** 2 - hole**2) * tall)


def rod_off_centre(rng: Rng, s: float) -> Pair:
    """Smaller rod off the bore's axis by c - s (c the radial clearance): touches along one line; overlap a crescent."""
    c, r, tall, d = max(s, 0) + draw(rng, 0.3, 2), draw(rng, 6, 20), draw(rng, 10, 40), max(-s, 0)
    away, tau = c - s, draw(rng, 0, 2 * PI)
    b = so.rod(r, -6, tall + 9).moved(so.shift(away * math.cos(tau), away * math.sin(tau)))
    crescent = PI * r * r - lens(r, r + c, away) if d else 0.0
    return Pair(_bored(rng, r + c, tall), b, crescent * tall)


def rod_in_pocket(rng: Rng, s: float) -> Pair:
    """Rod on the floor of a blind bore that is 6 mm larger all round."""
    r, d = draw(rng, 5, 20), max(-s, 0)
    hole = r + 6
    cup = so.revolved(((0, -9), (hole + 8, -9), (hole + 8, 30), (hole, 30), (hole, 0), (0, 0)))
    return Pair(cup, so.rod(r, s, s + 45), PI * r * r * d)


def _on_studs(rng: Rng, s: float, top: float) -> Pair:
    """Plate of four bores on four studs, all off by the same c - s: four crescents."""
    c, r, t, d = max(s, 0) + draw(rng, 0.3, 2), draw(rng, 5, 8), draw(rng, 8, 14), max(-s, 0)
    spots = ((20.0, 20.0), (-20.0, 20.0), (-20.0, -20.0), (20.0, -20.0))
    holes = [so.Ring(r + c, x, y) for x, y in spots]
    tau, away = draw(rng, 0, 2 * PI), c - s
    a = so.prism(so.rectangle(-38, -38, 38, 38), 0, t, *holes).moved(
        so.shift(away * math.cos(tau), away * math.sin(tau))
    )
    crescent = PI * r * r - lens(r, r + c, away) if d else 0.0
    return Pair(a, so.studded(38, top, r, t + 12, spots), 4 * crescent * t)


def plate_over_studs(rng: Rng, s: float) -> Pair:
    """The base plate is 6 mm below."""
    return _on_studs(rng, s, -6)


def plate_seated_on_studs(rng: Rng, s: float) -> Pair:
    """The base plate touches over its whole face (s below when clear): small overlaps beside a large contact."""
    return _on_studs(rng, s, -max(s, 0))


def square_in_bore(rng: Rng, s: float) -> Pair:
    """Square bar, four edges on the bore: half diagonal q = R - s.

    Overlap: the square 2 q² less what the circle keeps of it, pi R² - 4 segment(R, R - q / sqrt(2)).
    """
    hole, tall, d = draw(rng, 8, 20), draw(rng, 10, 40), max(-s, 0)
    q = hole - s
    b = so.prism(so.regular(4, q), -7, tall + 5).moved(so.turn((0, 0, 1), draw(rng, 0, 90)))
    over = 2 * q * q - PI * hole**2 + 4 * segment(hole, hole - q / ROOT2) if d else 0.0
    return Pair(_bored(rng, hole, tall), b, over * tall)


def rod_across_edge(rng: Rng, s: float) -> Pair:
    """Cylinder over a right-angled ridge, at 30 to 90 degrees; no volume stated."""
    r, edge = draw(rng, 5, 25), draw(rng, 10, 25)
    ridge = lying(so.prism(so.regular(4, edge), -40, 45), edge).moved(so.turn((1, 0, 0), 180))
    b = lying(so.prism(so.Ring(r, spin=draw(rng, 0, 360)), -50, 50), r)
    return Pair(ridge, b.moved(so.shift(x=draw(rng, -20, 20), z=s), so.turn((0, 0, 1), draw(rng, 30, 90))))


# --- tubes with rounded corners and V-blocks --------------------------------------------------------------------


def _tube(w: float, h: float, r: float, wall: float, half: float) -> so.Body:
    """Rounded tube about the x axis."""
    inner = so.Rounded(w - 2 * wall, h - 2 * wall, max(r - wall, 0.5))
    return so.along_x(so.prism(so.Rounded(w, h, r), -half, half, inner))


def _vee(half_angle: float, deep: float, half: float) -> so.Body:
    """Block along x with a V, its root on the x axis; half angle from the upright."""
    top = deep * math.tan(math.radians(half_angle))
    outline = (
        (-top - 15, -20),
        (top + 15, -20),
        (top + 15, deep),
        (top, deep),
        (0, 0),
        (-top, deep),
        (-top - 15, deep),
    )
    return so.along_x(so.prism(so.Poly(outline), -half, half))


def tube_on_plate(rng: Rng, s: float) -> Pair:
    """Rounded tube on its flat: strip of the flat, and half a segment at each corner, all within the wall."""
    w, r, d = draw(rng, 25, 60), draw(rng, 3, 8), max(-s, 0)
    half = draw(rng, 20, 60)
    b = _tube(w, 30, r, draw(rng, 2, 4), half).moved(so.turn((0, 0, 1), draw(rng, 0, 360)), so.shift(z=15 + s))
    return Pair(plate(100), b, 2 * half * ((w - 2 * r) * d + segment(r, d)))


def tube_in_vee(rng: Rng, s: float) -> Pair:
    """Square tube on both flats of a 90 degree V: two such strips; its centre is w/2 + s from each face."""
    w, r, d, half = draw(rng, 25, 50), draw(rng, 4, 8), max(-s, 0), draw(rng, 15, 40)
    b = _tube(w, w, r, 3, half + 10).moved(so.shift(z=(w / 2 + s) * ROOT2), so.turn((1, 0, 0), 45))
    return Pair(_vee(45, w, half), b, 2 * 2 * half * ((w - 2 * r) * d + segment(r, d)))


def tube_corner_in_vee(rng: Rng, s: float) -> Pair:
    """Rounded corner down in a 120 degree V: two touch lines 30 degrees off the upright.

    The arc spans 45 degrees either side of the upright: it holds the whole segment while acos(1 - d/r) <= 15 degrees.
    """
    w, r, d, half = draw(rng, 40, 60), draw(rng, 8, 12), max(-s, 0), draw(rng, 15, 40)
    up = (r + s) / math.sin(PI / 3) + (w / 2 - r) * ROOT2
    b = _tube(w, w, r, 4, half - 5).moved(so.shift(z=up), so.turn((1, 0, 0), 45))
    held = d == 0 or math.acos(1 - d / r) <= math.radians(15)
    return Pair(_vee(60, 20, half), b, 2 * segment(r, d) * 2 * (half - 5) if held else None)


def pipe_in_vee(rng: Rng, s: float) -> Pair:
    """Round pipe in a 90 degree V: two touch lines, two segments."""
    r, d, half = draw(rng, 8, 25), max(-s, 0), draw(rng, 15, 40)
    b = so.along_x(so.prism(so.Ring(r, spin=draw(rng, 0, 360)), -half - 9, half + 9, so.Ring(r - 3)))
    return Pair(_vee(45, 1.5 * r, half), b.moved(so.shift(z=(r + s) * ROOT2)), 2 * segment(r, d) * 2 * half)


def tube_in_tube(rng: Rng, s: float) -> Pair:
    """Square tube in square tube, corner radii 6 in 2, so only the flats meet: four strips."""
    bore, half, d = draw(rng, 35, 60), draw(rng, 20, 50), max(-s, 0)
    a = so.along_x(so.prism(so.Rounded(bore + 8, bore + 8, 6), -half, half, so.Rounded(bore, bore, 2)))
    w = bore - 2 * s
    b = _tube(w, w, 6, 3, half).moved(so.shift(x=15))
    return Pair(a, b, 4 * (2 * half - 15) * ((w - 12) * d + segment(6, d)))


# --- balls, cones, rings ----------------------------------------------------------------------------------------


def ball_on_plate(rng: Rng, s: float) -> Pair:
    """Cap: pi d² (3r - d) / 3."""
    r, d = draw(rng, 4, 30), max(-s, 0)
    b = so.ball(r).moved(so.shift(z=r + s), so.turn(rng.normal(size=3), draw(rng, 0, 360)))
    return Pair(plate(40), b, PI * d * d * (3 * r - d) / 3)


def ball_on_ball(rng: Rng, s: float) -> Pair:
    r1, r2, d = draw(rng, 4, 25), draw(rng, 4, 25), max(-s, 0)
    b = so.ball(r2).moved(so.shift(z=r1 + r2 + s), so.turn(rng.normal(size=3), draw(rng, 0, 360)))
    return Pair(so.ball(r1), b, ball_lens(r1, r2, r1 + r2 - d) if d else 0.0)


def ball_in_hollow_ball(rng: Rng, s: float) -> Pair:
    """Ball in a closed round void: at the middle and filling it, or smaller and off the middle by c - s."""
    if rng.integers(2):
        r, d = draw(rng, 6, 15), max(-s, 0)
        return Pair(so.hollow_ball(r + 5, r), so.ball(r - s), 4 * PI / 3 * ((r + d) ** 3 - r**3))
    c, r, d = max(s, 0) + draw(rng, 0.4, 2), draw(rng, 4, 10), max(-s, 0)
    rest = 4 * PI / 3 * r**3 - ball_lens(r, r + c, c + d) if d else 0.0
    return Pair(so.hollow_ball(r + c + 6, r + c), so.ball(r).moved(so.shift(x=c - s)), rest)


def ball_in_countersink(rng: Rng, s: float) -> Pair:
    """Ball on a 90 degree seat with its apex at the origin: touch circle; centre (r + s) sqrt(2) up.

    Overlap: a segment (half chord h, centroid (2h)³ / (12 A) from the centre, 45 degrees out) turned about the axis
    (Pappus): V = 2 pi A (centroid / sqrt(2)).
    """
    r, d = draw(rng, 10, 20), max(-s, 0)
    top = 1.2 * r
    a = so.revolved(((2, 2), (top, top), (top + 12, top), (top + 12, -6), (2, -6)))
    b = so.ball(r).moved(so.shift(z=(r + s) * ROOT2))
    area, chord = segment(r, d), 2 * math.sqrt(2 * r * d - d * d)
    return Pair(a, b, 2 * PI * (chord**3 / 12) / ROOT2 if area > 0 else 0.0)


def plug_in_countersink(rng: Rng, s: float) -> Pair:
    """Cone plug in an equal countersink: coincident conical faces; an axial move t = s / sin(alpha) parts them by s.

    Overlap: plug below the plate's top, less the hole (countersink h deep, then t of the pilot bore).
    """
    alpha, pilot, h, d = math.radians(draw(rng, 30, 60)), draw(rng, 3, 6), draw(rng, 6, 12), max(-s, 0)
    k, t = math.tan(alpha), s / math.sin(alpha)
    a = so.revolved(
        ((pilot, -h), (pilot + k * h, 0), (pilot + k * h + 12, 0), (pilot + k * h + 12, -h - 8), (pilot, -h - 8))
    )
    b = so.revolved(((0, t - h), (pilot, t - h), (pilot + k * (h + 5), t + 5), (0, t + 5)))
    plug = frustum(pilot, pilot + k * (h - t), h - t)
    hole = frustum(pilot, pilot + k * h, h) + PI * pilot**2 * -t
    return Pair(a, b, plug - hole if d else 0.0)


def cone_tip_on_plate(rng: Rng, s: float) -> Pair:
    """Cone on its tip, half angle 45 to 60: pi (d tan)² d / 3."""
    k, tall, d = math.tan(math.radians(draw(rng, 45, 60))), draw(rng, 8, 20), max(-s, 0)
    b = so.revolved(((0, 0), (k * tall, tall), (0, tall))).moved(so.shift(z=s))
    return Pair(plate(60), b, PI * k * k * d**3 / 3)


def torus_on_plate(rng: Rng, s: float) -> Pair:
    """Touch circle; overlap a segment turned about the axis, centroid at the ring radius (Pappus)."""
    ring, tube, d = draw(rng, 15, 30), draw(rng, 3, 8), max(-s, 0)
    return Pair(plate(60), so.torus(ring, tube).moved(so.shift(z=tube + s)), 2 * PI * ring * segment(tube, d))


def torus_on_rod(rng: Rng, s: float) -> Pair:
    """Ring round a rod: segment with its centroid (2h)³ / (12 A) inside the ring radius (Pappus)."""
    ring, tube, d = draw(rng, 15, 30), draw(rng, 3, 8), max(-s, 0)
    area, chord = segment(tube, d), 2 * math.sqrt(2 * tube * d - d * d)
    return Pair(so.torus(ring, tube), so.rod(ring - tube - s, -25, 30), 2 * PI * (ring * area - chord**3 / 12))


# --- meshes that are many-sided by nature: n flats, vertices on the circle, flats at r cos(pi / n) --------------


def ngon_vertex_on_plate(rng: Rng, s: float) -> Pair:
    """The vertex line is down, so the nominal radius counts."""
    n, r = 4 * int(rng.integers(30, 90)), draw(rng, 5, 30)
    b = lying(so.prism(so.regular(n, r), -30, 30), r).moved(so.shift(z=s))
    return Pair(plate(50), b)


def ngon_flat_on_plate(rng: Rng, s: float) -> Pair:
    """A flat is down: r cos(pi / n) counts."""
    n, r = 4 * int(rng.integers(30, 90)), draw(rng, 5, 30)
    b = lying(so.prism(so.regular(n, r, True), -30, 30), r * math.cos(PI / n)).moved(so.shift(z=s))
    return Pair(plate(50), b)


def ngon_in_round_bore(rng: Rng, s: float) -> Pair:
    """Many-sided shaft in a round bore: its vertices reach r = R - s; overlap n/2 r² sin(2 pi / n) - pi R²."""
    n, hole, tall, d = 4 * int(rng.integers(50, 90)), draw(rng, 6, 20), draw(rng, 10, 30), max(-s, 0)
    r = hole - s
    area = n / 2 * r * r * math.sin(2 * PI / n) - PI * hole**2
    whole = r * math.cos(PI / n) > hole
    b = so.prism(so.regular(n, r), -5, tall + 6).moved(so.turn((0, 0, 1), draw(rng, 0, 90)))
    return Pair(_bored(rng, hole, tall), b, (area * tall if whole else None) if d else 0.0)


def round_in_ngon_bore(rng: Rng, s: float) -> Pair:
    """Round rod in a many-sided bore: r = R cos(pi / n) - s."""
    n, hole, tall, d = 4 * int(rng.integers(50, 90)), draw(rng, 6, 20), draw(rng, 10, 30), max(-s, 0)
    r = hole * math.cos(PI / n) - s
    half = hole + 12
    a = so.prism(so.rectangle(-half, -half, half, half), 0, tall, so.regular(n, hole))
    area = PI * r * r - n / 2 * hole**2 * math.sin(2 * PI / n)
    return Pair(a, so.rod(r, -6, tall + 5), (area * tall if r > hole else None) if d else 0.0)


def ngon_in_ngon(rng: Rng, s: float) -> Pair:
    """The same count on both sides, vertices aligned: flats s apart, r = R - s / cos(pi / n)."""
    n, hole, tall, d = 4 * int(rng.integers(20, 60)), draw(rng, 6, 20), draw(rng, 10, 30), max(-s, 0)
    r, half = hole - s / math.cos(PI / n), hole + 10
    a = so.prism(so.rectangle(-half, -half, half, half), 0, tall, so.regular(n, hole))
    b = so.prism(so.regular(n, r), -6, tall + 5)
    return Pair(a, b, n / 2 * math.sin(2 * PI / n) * (r**2 - hole**2) * tall if d else 0.0)


def ngons_side_by_side(rng: Rng, s: float) -> Pair:
    """Flat against flat of equal width: 2 r cos(pi / n) + s between the axes; no volume stated."""
    n, r, tall = 4 * int(rng.integers(20, 60)), draw(rng, 8, 20), draw(rng, 20, 40)
    a = so.prism(so.regular(n, r, True), 0, tall)
    b = so.prism(so.regular(n, r, True), 5, tall + 8).moved(so.shift(y=2 * r * math.cos(PI / n) + s))
    return Pair(a, b)


def faceted_ball_on_plate(rng: Rng, s: float) -> Pair:
    """Lowest vertex exactly at the radius."""
    r = draw(rng, 6, 20)
    return Pair(plate(40), so.faceted_ball(r).moved(so.shift(z=r + s), so.turn((0, 0, 1), draw(rng, 0, 360))))


FLAT: tuple[Family, ...] = (
    box_on_box,
    box_flush,
    box_edges_level,
    box_corners,
    edges_cross_square,
    edges_cross_sharp,
    edge_on_plate,
    tip_on_plate,
    corner_on_plate,
    tilted_box,
    nested_angle,
    plate_in_slot,
    shim_in_slot,
    hex_in_hex,
    in_hollow_box,
    foil_on_block,
    foil_tee,
    foil_butt,
)
CURVED: tuple[Family, ...] = (
    foil_sleeve,
    rods_side_by_side,
    rods_cross,
    rod_on_plate,
    long_pipe_on_plate,
    rim_on_plate,
    rod_in_bore,
    rod_off_centre,
    rod_in_pocket,
    plate_over_studs,
    tube_on_plate,
    tube_in_vee,
    tube_corner_in_vee,
    pipe_in_vee,
    tube_in_tube,
    ball_on_plate,
    ball_on_ball,
    ball_in_hollow_ball,
    ball_in_countersink,
    plug_in_countersink,
    cone_tip_on_plate,
    torus_on_plate,
    torus_on_rod,
)
FACETED: tuple[Family, ...] = (
    ngon_vertex_on_plate,
    ngon_flat_on_plate,
    ngon_in_round_bore,
    round_in_ngon_bore,
    ngon_in_ngon,
    ngons_side_by_side,
    faceted_ball_on_plate,
)
BESIDE: tuple[Family, ...] = (plate_seated_on_studs, square_in_bore, rod_across_edge)
