/**
 * Vectors of three numbers as plain arrays; nothing here is changed in place.
 * @typedef {number[]} Vec
 */

/** @param {Vec} a @param {Vec} b */
export const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
/** @param {Vec} a @param {Vec} b */
export const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
/** @param {Vec} a @param {number} k */
export const scale = (a, k) => [a[0] * k, a[1] * k, a[2] * k];
/** a + k b. @param {Vec} a @param {Vec} b @param {number} k */
export const along = (a, b, k) => [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]];
/** @param {Vec} a @param {Vec} b */
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
/** @param {Vec} a @param {Vec} b */
export const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
/** @param {Vec} a */
export const length = (a) => Math.hypot(a[0], a[1], a[2]);
/** @param {Vec} a @param {Vec} b */
export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
/** @param {Vec} a @param {Vec} b @param {number} t */
export const lerp = (a, b, t) => [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]), a[2] + t * (b[2] - a[2])];

/** @param {Vec} a */
export function unit(a) {
  const n = length(a);
  return n > 0 ? scale(a, 1 / n) : [0, 0, 0];
}

/** Two unit vectors square to `n` and to each other. @param {Vec} n @returns {[Vec, Vec]} */
export function basis(n) {
  const away = Math.abs(n[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0];
  const first = unit(cross(n, away));
  return [first, cross(n, first)];
}

/** A point through a column-major 4x4 matrix. @param {ArrayLike<number>} m @param {Vec} p */
export function movedPoint(m, p) {
  return [
    m[0] * p[0] + m[4] * p[1] + m[8] * p[2] + m[12],
    m[1] * p[0] + m[5] * p[1] + m[9] * p[2] + m[13],
    m[2] * p[0] + m[6] * p[1] + m[10] * p[2] + m[14],
  ];
}

/** A direction through a column-major 4x4 matrix. @param {ArrayLike<number>} m @param {Vec} v */
export function movedDirection(m, v) {
  return [
    m[0] * v[0] + m[4] * v[1] + m[8] * v[2],
    m[1] * v[0] + m[5] * v[1] + m[9] * v[2],
    m[2] * v[0] + m[6] * v[1] + m[10] * v[2],
  ];
}
