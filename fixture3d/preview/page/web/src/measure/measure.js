/**
 * What there is to say about two ends of a measurement. An end is a face of a body or a hole of the table.
 */
import { betweenAxes, nearestFaces } from "./nearest.js";
import { nearestOn } from "./face.js";
import { along, cross, distance, dot, length, sub } from "./vec.js";

/** @typedef {import("./vec.js").Vec} Vec */
/** @typedef {import("./face.js").Face} Face */
/** @typedef {{face: Face} | {hole: {centre: Vec, axis: Vec, name: string}}} End */
/** @typedef {{what: string, mm: number, from: Vec, to: Vec}} Line a further figure, in plain words, with where it is drawn */
/** @typedef {{distance: number, from: Vec, to: Vec, delta: Vec, square: Line | null, centres: Line | null,
 *   angle: number | null}} Measured lengths in mm, `delta` along X, Y and Z, angle in degrees */

const PARALLEL = Math.sin((0.01 * Math.PI) / 180); // 0.01 degree: 0.02 mm over a face of 100 mm

/** @param {End} a @param {End} b @returns {Measured} */
export function measure(a, b) {
  const pair = nearestEnds(a, b);
  return {
    distance: pair.distance,
    from: pair.p,
    to: pair.q,
    delta: sub(pair.q, pair.p),
    square: squareAcross(a, b, pair),
    centres: betweenCentres(a, b, pair),
    angle: between(a, b),
  };
}

/** @param {End} a @param {End} b */
function nearestEnds(a, b) {
  if ("face" in a && "face" in b) return nearestFaces(a.face, b.face);
  const p = "hole" in a ? a.hole.centre : nearestOn(a.face, "hole" in b ? b.hole.centre : [0, 0, 0]);
  const q = "hole" in b ? b.hole.centre : nearestOn(b.face, p);
  return { distance: distance(p, q), p, q };
}

/** @param {End} e */
const plane = (e) => ("face" in e && e.face.surface.kind === "plane" ? e.face.surface : null);

/** Centre line of a hole or of a round face. @param {End} e @returns {{p: Vec, a: Vec} | null} */
function axis(e) {
  if ("hole" in e) return { p: e.hole.centre, a: e.hole.axis };
  const s = e.face.surface;
  if (s.kind === "cylinder") return s;
  return s.kind === "cone" ? { p: s.c, a: s.a } : null;
}

/** @param {Vec} u @param {Vec} v */
const parallel = (u, v) => length(cross(u, v)) < PARALLEL;

/** Square distance of two parallel planes, or of a plane and a hole's centre. @param {End} a @param {End} b @param {{p: Vec, q: Vec}} pair @returns {Line | null} */
function squareAcross(a, b, pair) {
  const [s, t] = [plane(a), plane(b)];
  if (s && t) {
    if (!parallel(s.n, t.n)) return null;
    const gap = t.d * Math.sign(dot(s.n, t.n)) - dot(s.n, pair.p);
    return { what: "square across", mm: Math.abs(gap), from: pair.p, to: along(pair.p, s.n, gap) };
  }
  const flat = s ?? t;
  if (!flat || !("hole" in a || "hole" in b)) return null;
  const centre = "hole" in a ? a.hole.centre : /** @type {{hole: {centre: Vec}}} */ (b).hole.centre;
  const gap = flat.d - dot(flat.n, centre);
  return { what: "square to the face", mm: Math.abs(gap), from: centre, to: along(centre, flat.n, gap) };
}

/** Distance of centre lines, of centres, or of a centre line and a plane beside it. @param {End} a @param {End} b @param {{p: Vec, q: Vec}} pair @returns {Line | null} */
function betweenCentres(a, b, pair) {
  if ("hole" in a && "hole" in b) return null; // that is the distance itself
  const [s, t] = [ball(a), ball(b)];
  const [u, v] = [axis(a), axis(b)];
  if (s && t) return line("centre to centre", s, t);
  if (u && v) {
    const ends = betweenAxes(u, v);
    if (ends && !parallel(u.a, v.a)) return line("centre lines, where they pass", ends[0], ends[1]);
    const from = along(u.p, u.a, dot(sub(pair.p, u.p), u.a));
    return line("centre line to centre line", from, foot(v, from));
  }
  const [c, other] = s ? [s, b] : [t, a];
  if (c) {
    const way = axis(other);
    if (way) return line("centre to centre line", c, foot(way, c));
    const flat = plane(other);
    return flat ? line("centre to the face", c, along(c, flat.n, flat.d - dot(flat.n, c))) : null;
  }
  const way = "face" in a && u ? u : "face" in b && v ? v : null;
  const flat = plane(a) ?? plane(b);
  if (!way || !flat || Math.abs(dot(way.a, flat.n)) > PARALLEL) return null;
  const from = foot(way, u ? pair.p : pair.q);
  return line("centre line to the face", from, along(from, flat.n, flat.d - dot(flat.n, from)));
}

/** @param {string} what @param {Vec} from @param {Vec} to @returns {Line} */
const line = (what, from, to) => ({ what, mm: distance(from, to), from, to });

/** @param {{p: Vec, a: Vec}} way @param {Vec} p */
const foot = (way, p) => along(way.p, way.a, dot(sub(p, way.p), way.a));

/** @param {End} e */
const ball = (e) => ("face" in e && e.face.surface.kind === "sphere" ? e.face.surface.c : null);

/** Angle in degrees between the two, when it says something: 0 to 90. @param {End} a @param {End} b */
function between(a, b) {
  if ("hole" in a && "hole" in b && parallel(a.hole.axis, b.hole.axis)) return null;
  const [s, t] = [plane(a), plane(b)];
  const [u, v] = [s ? s.n : axis(a)?.a, t ? t.n : axis(b)?.a];
  if (!u || !v) return null;
  const angle = (Math.atan2(length(cross(u, v)), Math.abs(dot(u, v))) * 180) / Math.PI;
  return Boolean(s) === Boolean(t) ? angle : 90 - angle;
}
