/**
 * A trimmed face: the triangles that the page draws, the true surface they stand for, and its edges with the surface
 * on the other side, so that a point of an edge is where the two surfaces meet and not on a chord.
 */
import { covers, movedSurface, project } from "./surface.js";
import { pointTriangle, shareAlong, tree } from "./triangles.js";
import { distance, lerp, movedPoint } from "./vec.js";

/** @typedef {import("./vec.js").Vec} Vec */
/** @typedef {import("./surface.js").Surface} Surface */
/** @typedef {import("./triangles.js").Triangle} Triangle */
/** @typedef {{a: Vec, b: Vec, other: Surface | null, flat: boolean}} Edge `flat`: the chord is the edge */
/** @typedef {{surface: Surface, triangles: Triangle[], edges: Edge[], sag: number, tree: import("./triangles.js").Tree}} Face */
/** @typedef {{positions: ArrayLike<number>, index: ArrayLike<number>, ranges: {first: number, count: number, surface: Surface}[]}} Shape
 *  the triangles of a body with the range of each face */

/** @param {Vec} p */
const key = (p) => `${p[0]},${p[1]},${p[2]}`;

/** @param {Shape} shape @param {number} t @returns {Triangle} */
function triangleOf(shape, t) {
  const at = (/** @type {number} */ k) => {
    const v = 3 * shape.index[3 * t + k];
    return [shape.positions[v], shape.positions[v + 1], shape.positions[v + 2]];
  };
  return [at(0), at(1), at(2)];
}

/** Edges of the outline of one face: those that one of its triangles has, and not two. @param {Triangle[]} triangles */
function outline(triangles) {
  /** @type {Map<string, [Vec, Vec]>} */
  const open = new Map();
  for (const t of triangles)
    for (let k = 0; k < 3; k++) {
      const [a, b] = [t[k], t[(k + 1) % 3]];
      const [ka, kb] = [key(a), key(b)];
      if (ka === kb) continue;
      if (!open.delete(`${kb}|${ka}`) && !open.delete(`${ka}|${kb}`)) open.set(`${ka}|${kb}`, [a, b]);
    }
  return open;
}

/**
 * Face `index` of a shape, moved by a rigid matrix.
 * @param {Shape} shape in its own frame @param {number} index @param {ArrayLike<number>} matrix column-major
 * @returns {Face}
 */
export function faceOf(shape, index, matrix) {
  const range = shape.ranges[index];
  const own = [];
  for (let t = range.first; t < range.first + range.count; t++) own.push(triangleOf(shape, t));
  const open = outline(own);
  const beyond = neighbours(shape, index, open);
  const move = (/** @type {Vec} */ p) => movedPoint(matrix, p);
  const surface = movedSurface(range.surface, matrix);
  const edges = [...open].map(([name, [a, b]]) => {
    const other = beyond.get(name);
    return edge(move(a), move(b), surface, other ? movedSurface(other, matrix) : null);
  });
  return face(
    own.map((t) => /** @type {Triangle} */ ([move(t[0]), move(t[1]), move(t[2])])),
    surface,
    edges,
  );
}

/** Surfaces across the outline's edges, by the edge's key. @param {Shape} shape @param {number} index @param {Map<string, [Vec, Vec]>} open */
function neighbours(shape, index, open) {
  /** @type {Map<string, Surface>} */
  const beyond = new Map();
  shape.ranges.forEach((range, other) => {
    if (other === index) return;
    for (let t = range.first; t < range.first + range.count; t++) {
      const triangle = triangleOf(shape, t);
      for (let k = 0; k < 3; k++) {
        const [ka, kb] = [key(triangle[k]), key(triangle[(k + 1) % 3])];
        for (const name of [`${ka}|${kb}`, `${kb}|${ka}`]) if (open.has(name)) beyond.set(name, range.surface);
      }
    }
  });
  return beyond;
}

/** @param {Vec} a @param {Vec} b @param {Surface} surface @param {Surface | null} other @returns {Edge} */
function edge(a, b, surface, other) {
  const middle = lerp(a, b, 0.5);
  return { a, b, other, flat: distance(settle(surface, other, middle), middle) < 1e-6 };
}

/** The point of the edge nearest to a point of its chord: on both surfaces. @param {Surface} s @param {Surface | null} other @param {Vec} p */
function settle(s, other, p) {
  let now = project(s, p) ?? p;
  if (!other || other.kind === "other") return now;
  for (let k = 0; k < 12; k++) {
    const next = project(s, project(other, now) ?? now) ?? now;
    if (distance(next, now) < 1e-9) return next;
    now = next;
  }
  return now;
}

/** @param {Triangle[]} triangles @param {Surface} surface @param {Edge[]} edges @returns {Face} */
export function face(triangles, surface, edges) {
  let sag = 0;
  for (const t of triangles)
    for (let k = 0; k < 3; k++) {
      const middle = lerp(t[k], t[(k + 1) % 3], 0.5);
      sag = Math.max(sag, distance(project(surface, middle) ?? middle, middle));
    }
  for (const e of edges) {
    const middle = lerp(e.a, e.b, 0.5);
    if (!e.flat) sag = Math.max(sag, distance(settle(surface, e.other, middle), middle));
  }
  return { surface, triangles, edges, sag, tree: tree(triangles) };
}

/** Does the face reach over `q`, a point of its surface? @param {Face} f @param {Vec} q */
export function holds(f, q) {
  return f.triangles.some(([a, b, c]) => covers(f.surface, q, a, b, c));
}

/** Nearest point of the true, trimmed face. @param {Face} f @param {Vec} p @returns {Vec} */
export function nearestOn(f, p) {
  const free = project(f.surface, p);
  if (free && holds(f, free)) return free;
  if (!free) return nearestOnTriangles(f, p);
  return nearestOnOutline(f, p) ?? nearestOnTriangles(f, p);
}

/** @param {Face} f @param {Vec} p */
function nearestOnTriangles(f, p) {
  let best = f.triangles[0][0];
  let least = Infinity;
  for (const t of f.triangles) {
    const q = pointTriangle(p, t);
    const d = distance(p, q);
    if (d < least) [least, best] = [d, q];
  }
  return project(f.surface, best) ?? best;
}

/** @param {Face} f @param {Vec} p @returns {Vec | null} */
function nearestOnOutline(f, p) {
  const shares = f.edges.map((e) => shareAlong(p, e.a, e.b));
  const gaps = f.edges.map((e, k) => distance(p, lerp(e.a, e.b, shares[k])));
  const limit = Math.min(...gaps) + 2 * f.sag + 1e-9;
  let best = null;
  let least = Infinity;
  f.edges.forEach((e, k) => {
    if (gaps[k] > limit) return;
    const q = e.flat ? lerp(e.a, e.b, shares[k]) : nearestOnEdge(f.surface, e, p);
    const d = distance(p, q);
    if (d < least) [least, best] = [d, q];
  });
  return best;
}

/** Golden section along one curved edge. @param {Surface} s @param {Edge} e @param {Vec} p */
function nearestOnEdge(s, e, p) {
  const point = (/** @type {number} */ t) => settle(s, e.other, lerp(e.a, e.b, t));
  const ratio = (Math.sqrt(5) - 1) / 2;
  let [low, high] = [0, 1];
  let [m, n] = [high - ratio, ratio];
  let [fm, fn] = [distance(p, point(m)), distance(p, point(n))];
  for (let k = 0; k < 34; k++) {
    if (fm < fn) {
      [high, n, fn] = [n, m, fm];
      m = high - ratio * (high - low);
      fm = distance(p, point(m));
    } else {
      [low, m, fm] = [m, n, fn];
      n = low + ratio * (high - low);
      fn = distance(p, point(n));
    }
  }
  const ends = [e.a, e.b, point((low + high) / 2)];
  return ends.reduce((x, y) => (distance(p, y) < distance(p, x) ? y : x));
}
