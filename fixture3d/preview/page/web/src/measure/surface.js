/**
 * The true surfaces that the triangles of a face stand for: nearest points on them, and which triangle of the face
 * lies over a point of the surface.
 */
import { along, basis, cross, dot, length, movedDirection, movedPoint, scale, sub, unit } from "./vec.js";

/** @typedef {import("./vec.js").Vec} Vec */
/** @typedef {{kind: "plane", n: Vec, d: number}} Plane n . x = d */
/** @typedef {{kind: "cylinder", p: Vec, a: Vec, r: number, inside: boolean}} Cylinder */
/** @typedef {{kind: "sphere", c: Vec, r: number}} Sphere */
/** @typedef {{kind: "cone", c: Vec, a: Vec, half: number}} Cone apex, axis from the apex into it, half angle in radians */
/** @typedef {{kind: "torus", c: Vec, a: Vec, R: number, r: number}} Torus centre, axis, radius of the centre line, radius of the tube */
/** @typedef {Plane | Cylinder | Sphere | Cone | Torus | {kind: "other"}} Surface */

/**
 * A row of `mesh.extras.faces`: number of triangles, kind, numbers of the kind.
 * @param {number[]} row
 * @returns {Surface}
 */
export function surfaceOf(row) {
  const [, kind, ...n] = row;
  if (kind === 0) {
    const size = length(n);
    return { kind: "plane", n: unit(n), d: n[3] / (size || 1) };
  }
  if (kind === 1) return { kind: "cylinder", p: n.slice(0, 3), a: unit(n.slice(3, 6)), r: n[6], inside: Boolean(n[7]) };
  if (kind === 2) return { kind: "sphere", c: n.slice(0, 3), r: n[3] };
  if (kind === 3) return { kind: "cone", c: n.slice(0, 3), a: unit(n.slice(3, 6)), half: (Math.abs(n[6]) * Math.PI) / 180 };
  if (kind === 4) return { kind: "torus", c: n.slice(0, 3), a: unit(n.slice(3, 6)), R: n[6], r: n[7] };
  return { kind: "other" };
}

/** The surface after a rigid move (column-major matrix). @param {Surface} s @param {ArrayLike<number>} m @returns {Surface} */
export function movedSurface(s, m) {
  switch (s.kind) {
    case "plane": {
      const n = movedDirection(m, s.n);
      return { kind: "plane", n, d: dot(n, movedPoint(m, scale(s.n, s.d))) };
    }
    case "cylinder":
      return { ...s, p: movedPoint(m, s.p), a: movedDirection(m, s.a) };
    case "sphere":
      return { ...s, c: movedPoint(m, s.c) };
    case "cone":
    case "torus":
      return { ...s, c: movedPoint(m, s.c), a: movedDirection(m, s.a) };
    default:
      return s;
  }
}

/**
 * Nearest point of the whole surface, untrimmed; null where all points are as near (on an axis, at a centre) or the
 * surface is not known.
 * @param {Surface} s @param {Vec} p @returns {Vec | null}
 */
export function project(s, p) {
  switch (s.kind) {
    case "plane":
      return along(p, s.n, s.d - dot(s.n, p));
    case "cylinder": {
      const foot = along(s.p, s.a, dot(sub(p, s.p), s.a));
      const out = sub(p, foot);
      const far = length(out);
      return far > 1e-9 ? along(foot, out, s.r / far) : null;
    }
    case "sphere": {
      const out = sub(p, s.c);
      const far = length(out);
      return far > 1e-9 ? along(s.c, out, s.r / far) : null;
    }
    case "cone": {
      const rel = sub(p, s.c);
      const height = dot(rel, s.a);
      const out = along(rel, s.a, -height);
      const far = length(out);
      if (far < 1e-9) return null;
      const side = scale(out, 1 / far);
      const reach = height * Math.cos(s.half) + far * Math.sin(s.half); // along the slant
      if (reach <= 0) return s.c.slice();
      return along(along(s.c, s.a, reach * Math.cos(s.half)), side, reach * Math.sin(s.half));
    }
    case "torus": {
      const middle = middleOfTube(s, p);
      if (!middle) return null;
      const out = sub(p, middle);
      const far = length(out);
      return far > 1e-9 ? along(middle, out, s.r / far) : null;
    }
    default:
      return null;
  }
}

/** Nearest point of the centre line of a torus; null on its axis. @param {Torus} s @param {Vec} p */
function middleOfTube(s, p) {
  const rel = sub(p, s.c);
  const out = along(rel, s.a, -dot(rel, s.a));
  const far = length(out);
  return far > 1e-9 ? along(s.c, out, s.R / far) : null;
}

/** Direction out of a curved surface at `p`, or the plane's normal. @param {Surface} s @param {Vec} p */
export function normalAt(s, p) {
  if (s.kind === "plane") return s.n;
  if (s.kind === "sphere") return unit(sub(p, s.c));
  if (s.kind === "cylinder") return unit(sub(p, along(s.p, s.a, dot(sub(p, s.p), s.a))));
  if (s.kind === "cone") {
    const rel = sub(p, s.c);
    const out = unit(along(rel, s.a, -dot(rel, s.a)));
    return unit(along(scale(out, Math.cos(s.half)), s.a, -Math.sin(s.half)));
  }
  if (s.kind === "torus") return unit(sub(p, middleOfTube(s, p) ?? s.c));
  return null;
}

/**
 * Does the triangle lie over `q`, a point of the surface? Over means: along the normal of a plane, from the axis of a
 * cylinder or cone, from the centre of a sphere, from the centre line of a torus. So chords of round edges count as the round edge.
 * @param {Surface} s @param {Vec} q @param {Vec} a @param {Vec} b @param {Vec} c
 */
export function covers(s, q, a, b, c) {
  if (s.kind === "sphere") {
    const u = unit(sub(q, s.c));
    const [x, y, z] = [sub(a, s.c), sub(b, s.c), sub(c, s.c)];
    const whole = dot(x, cross(y, z));
    if (Math.abs(whole) < 1e-12) return false;
    const [i, j, k] = [dot(u, cross(y, z)) / whole, dot(u, cross(z, x)) / whole, dot(u, cross(x, y)) / whole];
    const slack = -1e-9 / Math.max(s.r, 1);
    return i >= slack && j >= slack && k >= slack;
  }
  const at = spread(s, q);
  if (at === null) return false;
  const [p1, p2, p3] = [at(a), at(b), at(c)];
  if (s.kind === "torus" && [0, 1].some((k) => Math.max(p1[k], p2[k], p3[k]) - Math.min(p1[k], p2[k], p3[k]) > Math.PI * (k ? s.r : at.radius))) return false;
  if (s.kind !== "plane" && Math.max(p1[0], p2[0], p3[0]) - Math.min(p1[0], p2[0], p3[0]) > Math.PI * at.radius) return false;
  return containsOrigin(p1, p2, p3);
}

/** Lays the surface out flat with `q` at the origin. @param {Surface} s @param {Vec} q */
function spread(s, q) {
  if (s.kind === "plane") {
    const [x, y] = basis(s.n);
    return Object.assign((/** @type {Vec} */ p) => [dot(x, sub(p, q)), dot(y, sub(p, q))], { radius: 0 });
  }
  if (s.kind === "torus") return spreadTorus(s, q);
  if (s.kind !== "cylinder" && s.kind !== "cone") return null;
  const origin = s.kind === "cylinder" ? s.p : s.c;
  const height = dot(sub(q, origin), s.a);
  const out = sub(q, along(origin, s.a, height));
  const radius = length(out);
  if (radius < 1e-9) return null;
  const x = scale(out, 1 / radius);
  const y = cross(s.a, x);
  const flat = (/** @type {Vec} */ p) => {
    const rel = sub(p, origin);
    const [u, v] = [dot(rel, x), dot(rel, y)];
    const turn = Math.hypot(u, v) < 1e-9 ? 0 : Math.atan2(v, u); // an apex is beside every point
    return [turn * radius, dot(rel, s.a) - height];
  };
  return Object.assign(flat, { radius });
}

/** A torus by its two angles, about those of `q`. @param {Torus} s @param {Vec} q */
function spreadTorus(s, q) {
  const middle = middleOfTube(s, q);
  if (!middle) return null;
  const x = unit(sub(middle, s.c));
  const y = cross(s.a, x);
  const tilt = (/** @type {Vec} */ p, /** @type {Vec} */ out) => Math.atan2(dot(sub(p, s.c), s.a), dot(sub(p, s.c), out) - s.R);
  const own = tilt(q, x);
  const flat = (/** @type {Vec} */ p) => {
    const rel = sub(p, s.c);
    const turn = Math.atan2(dot(rel, y), dot(rel, x));
    const up = tilt(p, along(scale(x, Math.cos(turn)), y, Math.sin(turn))) - own;
    return [turn * s.R, (up - 2 * Math.PI * Math.round(up / (2 * Math.PI))) * s.r];
  };
  return Object.assign(flat, { radius: s.R });
}

/** @param {number[]} a @param {number[]} b @param {number[]} c */
function containsOrigin(a, b, c) {
  const area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
  if (area === 0) return false;
  const sign = area > 0 ? 1 : -1;
  const slack = -1e-9 * Math.sqrt(Math.abs(area));
  const side = (/** @type {number[]} */ p, /** @type {number[]} */ q) =>
    (sign * (p[0] * q[1] - p[1] * q[0])) / (Math.hypot(q[0] - p[0], q[1] - p[1]) || 1);
  return side(a, b) >= slack && side(b, c) >= slack && side(c, a) >= slack;
}
