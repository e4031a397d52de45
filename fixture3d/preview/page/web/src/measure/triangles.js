/** Nearest points of two sets of triangles, by a tree of boxes over each. */
import { along, cross, distance, dot, sub } from "./vec.js";

/** @typedef {import("./vec.js").Vec} Vec */
/** @typedef {[Vec, Vec, Vec]} Triangle */
/** @typedef {{distance: number, p: Vec, q: Vec}} Pair nearest points and how far apart they are */
/** @typedef {{low: Vec, high: Vec, items: Triangle[] | null, left: Tree | null, right: Tree | null}} Tree */

const LEAF = 4;

/** @param {Triangle[]} triangles @returns {Tree} */
export function tree(triangles) {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (const t of triangles)
    for (const v of t)
      for (let k = 0; k < 3; k++) {
        low[k] = Math.min(low[k], v[k]);
        high[k] = Math.max(high[k], v[k]);
      }
  if (triangles.length <= LEAF) return { low, high, items: triangles, left: null, right: null };
  const size = sub(high, low);
  const k = size.indexOf(Math.max(...size));
  const sorted = triangles
    .map((t) => /** @type {[number, Triangle]} */ ([t[0][k] + t[1][k] + t[2][k], t]))
    .sort((a, b) => a[0] - b[0])
    .map((pair) => pair[1]);
  const half = sorted.length >> 1;
  return { low, high, items: null, left: tree(sorted.slice(0, half)), right: tree(sorted.slice(half)) };
}

/** @param {Tree} a @param {Tree} b */
function apart(a, b) {
  let total = 0;
  for (let k = 0; k < 3; k++) {
    const gap = Math.max(a.low[k] - b.high[k], b.low[k] - a.high[k], 0);
    total += gap * gap;
  }
  return Math.sqrt(total);
}

/**
 * Nearest points of two trees, and up to `most` other pairs that are nearly as near.
 * @param {Tree} a @param {Tree} b @param {number} slack mm a pair may be farther than the nearest @param {number} most
 * @returns {Pair[]} nearest first
 */
export function nearest(a, b, slack = 0, most = 1) {
  /** @type {Pair[]} */
  let found = [];
  let limit = Infinity;
  /** @param {Tree} x @param {Tree} y @param {number} gap */
  const visit = (x, y, gap) => {
    if (gap > limit) return;
    if (x.items && y.items) {
      for (const s of x.items)
        for (const t of y.items) {
          const pair = triangleTriangle(s, t);
          if (pair.distance > limit) continue;
          if (found.some((f) => distance(f.p, pair.p) < 1e-6 && distance(f.q, pair.q) < 1e-6)) continue;
          found.push(pair);
          found.sort((m, n) => m.distance - n.distance);
          if (found.length > most) found.length = most;
          // With room for more pairs keep looking a little farther; never farther than the worst that is kept.
          limit = most === 1 ? found[0].distance : Math.min(limit, found[0].distance + slack);
          found = found.filter((f) => f.distance <= limit);
          if (found.length === most && most > 1) limit = Math.min(limit, found[most - 1].distance);
        }
      return;
    }
    const splitX = !x.items && (Boolean(y.items) || spread(x) >= spread(y));
    const parts = splitX ? [x.left, x.right] : [y.left, y.right];
    const todo = parts
      .map((part) => {
        const [m, n] = splitX ? [/** @type {Tree} */ (part), y] : [x, /** @type {Tree} */ (part)];
        return { m, n, gap: apart(m, n) };
      })
      .sort((m, n) => m.gap - n.gap);
    for (const { m, n, gap: next } of todo) visit(m, n, next);
  };
  visit(a, b, apart(a, b));
  return found;
}

/** @param {Tree} t */
function spread(t) {
  return distance(t.low, t.high);
}

/** @param {Triangle} s @param {Triangle} t @returns {Pair} */
export function triangleTriangle(s, t) {
  /** @type {Pair} */
  let best = { distance: Infinity, p: s[0], q: t[0] };
  const keep = (/** @type {Vec} */ p, /** @type {Vec} */ q) => {
    const d = distance(p, q);
    if (d < best.distance) best = { distance: d, p, q };
  };
  for (let i = 0; i < 3; i++) {
    keep(s[i], pointTriangle(s[i], t));
    keep(pointTriangle(t[i], s), t[i]);
    for (let j = 0; j < 3; j++) {
      const [p, q] = segmentSegment(s[i], s[(i + 1) % 3], t[j], t[(j + 1) % 3]);
      keep(p, q);
    }
  }
  if (best.distance > 0)
    for (let i = 0; i < 3; i++) {
      const hit = segmentThrough(s[i], s[(i + 1) % 3], t) ?? segmentThrough(t[i], t[(i + 1) % 3], s);
      if (hit) return { distance: 0, p: hit, q: hit };
    }
  return best;
}

/** Where a segment goes through a triangle. @param {Vec} a @param {Vec} b @param {Triangle} t @returns {Vec | null} */
function segmentThrough(a, b, t) {
  const d = sub(b, a);
  const [e, f] = [sub(t[1], t[0]), sub(t[2], t[0])];
  const h = cross(d, f);
  const det = dot(e, h);
  if (Math.abs(det) < 1e-14) return null;
  const s = sub(a, t[0]);
  const u = dot(s, h) / det;
  if (u < 0 || u > 1) return null;
  const q = cross(s, e);
  const v = dot(d, q) / det;
  if (v < 0 || u + v > 1) return null;
  const w = dot(f, q) / det;
  return w >= 0 && w <= 1 ? along(a, d, w) : null;
}

/** Nearest point of a segment to `p`, as the share of the way from `a` to `b`. @param {Vec} p @param {Vec} a @param {Vec} b */
export function shareAlong(p, a, b) {
  const d = sub(b, a);
  const size = dot(d, d);
  return size > 0 ? Math.min(1, Math.max(0, dot(sub(p, a), d) / size)) : 0;
}

/** Nearest point of a triangle (C. Ericson, Real-Time Collision Detection, 2005, 5.1.5). @param {Vec} p @param {Triangle} t */
export function pointTriangle(p, t) {
  const [a, b, c] = t;
  const ab = sub(b, a);
  const ac = sub(c, a);
  const ap = sub(p, a);
  const d1 = dot(ab, ap);
  const d2 = dot(ac, ap);
  if (d1 <= 0 && d2 <= 0) return a;
  const bp = sub(p, b);
  const d3 = dot(ab, bp);
  const d4 = dot(ac, bp);
  if (d3 >= 0 && d4 <= d3) return b;
  const vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) return along(a, ab, d1 - d3 === 0 ? 0 : d1 / (d1 - d3));
  const cp = sub(p, c);
  const d5 = dot(ab, cp);
  const d6 = dot(ac, cp);
  if (d6 >= 0 && d5 <= d6) return c;
  const vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) return along(a, ac, d2 - d6 === 0 ? 0 : d2 / (d2 - d6));
  const va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) {
    const whole = d4 - d3 + (d5 - d6);
    return along(b, sub(c, b), whole === 0 ? 0 : (d4 - d3) / whole);
  }
  const whole = va + vb + vc;
  return along(along(a, ab, vb / whole), ac, vc / whole);
}

/** Nearest points of two segments (Ericson 2005, 5.1.9). @param {Vec} a @param {Vec} b @param {Vec} c @param {Vec} d @returns {[Vec, Vec]} */
export function segmentSegment(a, b, c, d) {
  const u = sub(b, a);
  const v = sub(d, c);
  const r = sub(a, c);
  const uu = dot(u, u);
  const vv = dot(v, v);
  const vr = dot(v, r);
  const limit = (/** @type {number} */ x) => Math.min(1, Math.max(0, x));
  let s = 0;
  let t = 0;
  if (uu === 0 && vv === 0) return [a, c];
  if (uu === 0) t = limit(vr / vv);
  else {
    const ur = dot(u, r);
    if (vv === 0) s = limit(-ur / uu);
    else {
      const uv = dot(u, v);
      const den = uu * vv - uv * uv;
      s = den > 1e-14 * uu * vv ? limit((uv * vr - ur * vv) / den) : 0;
      t = (uv * s + vr) / vv;
      if (t < 0) {
        t = 0;
        s = limit(-ur / uu);
      } else if (t > 1) {
        t = 1;
        s = limit((uv - ur) / uu);
      }
    }
  }
  return [along(a, u, s), along(c, v, t)];
}
