/** Nearest points of two trimmed faces on their true surfaces. */
import { nearestOn } from "./face.js";
import { normalAt } from "./surface.js";
import { nearest as nearestTriangles } from "./triangles.js";
import { add, along, basis, cross, distance, dot, scale, sub, unit } from "./vec.js";

/** @typedef {import("./vec.js").Vec} Vec */
/** @typedef {import("./face.js").Face} Face */
/** @typedef {import("./triangles.js").Pair} Pair */

const STARTS = 8; // pairs of triangles that are refined
const SAME = 1e-6; // mm; two answers no farther apart are one

/**
 * Nearest points of two faces. The triangles give the start; the answer is on the surfaces they stand for.
 * @param {Face} a @param {Face} b @returns {Pair}
 */
export function nearestFaces(a, b) {
  const found = nearestTriangles(a.tree, b.tree, 2 * (a.sag + b.sag), a.sag + b.sag > 0 ? STARTS : 1);
  const starts = [...seeds(a, b), ...found.map((pair) => pair.p)];
  /** @type {Pair | null} */
  let best = null;
  for (const start of starts) {
    const pair = walk(a, b, nearestOn(a, start));
    if (best === null || pair.distance < best.distance - SAME) best = pair;
  }
  return polish(a, b, /** @type {Pair} */ (best));
}

/** Starts that triangles can miss, and the middles, which make the better picture. @param {Face} a @param {Face} b @returns {Vec[]} */
function seeds(a, b) {
  const middle = (/** @type {Face} */ f) => {
    const sum = f.triangles.reduce((s, t) => add(s, add(t[0], add(t[1], t[2]))), [0, 0, 0]);
    return scale(sum, 1 / (3 * f.triangles.length));
  };
  const out = [middle(a), middle(b), scale(add(middle(a), middle(b)), 0.5)];
  if (a.surface.kind === "cylinder" && b.surface.kind === "cylinder") {
    const [p, q] = betweenAxes(a.surface, b.surface) ?? [];
    if (p && q) {
      const across = unit(sub(q, p));
      out.push(along(p, across, a.surface.r), along(p, across, -a.surface.r));
    }
  }
  return out;
}

/** Ends of the common perpendicular of two axes; null when they are parallel. @param {{p: Vec, a: Vec}} s @param {{p: Vec, a: Vec}} t @returns {[Vec, Vec] | null} */
export function betweenAxes(s, t) {
  const n = cross(s.a, t.a);
  const size = dot(n, n);
  if (size < 1e-12) return null;
  const between = sub(t.p, s.p);
  return [along(s.p, s.a, dot(cross(between, t.a), n) / size), along(t.p, t.a, dot(cross(between, s.a), n) / size)];
}

/** Back and forth between the faces until it comes to rest. @param {Face} a @param {Face} b @param {Vec} start @returns {Pair} */
function walk(a, b, start) {
  let p = start;
  let q = nearestOn(b, p);
  for (let k = 0; k < 60; k++) {
    const next = nearestOn(a, q);
    const moved = distance(next, p);
    p = next;
    q = nearestOn(b, p);
    if (moved < 1e-7) break;
  }
  return { distance: distance(p, q), p, q };
}

/** Steps about the point on `a`, halved until they are small: a long flat valley ends the walk too soon. @param {Face} a @param {Face} b @param {Pair} pair */
function polish(a, b, pair) {
  if (a.surface.kind === "plane" && b.surface.kind === "plane") return pair;
  let best = pair;
  let step = Math.max(4 * Math.sqrt(a.sag + b.sag), 0.5);
  for (let k = 0; k < 200 && step > 1e-3 && best.distance > 0; k++) {
    const [x, y] = basis(normalAt(a.surface, best.p) ?? unit(sub(best.q, best.p)));
    let better = false;
    for (const way of [x, scale(x, -1), y, scale(y, -1)]) {
      const on = nearestOn(a, along(best.p, way, step));
      const q = nearestOn(b, on);
      const p = nearestOn(a, q);
      const d = distance(p, q);
      if (d < best.distance - 1e-9) {
        best = { distance: d, p, q };
        better = true;
        break;
      }
    }
    if (!better) step /= 2;
  }
  return best;
}

