/** Meshes of simple faces with a coarse chord, as the kernel would cut them up: vertices on the surface, chords inside. */
import { surfaceOf } from "../src/measure/surface.js";

export const HERE = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1];

/** Column-major rigid matrix: turn by `angle` degrees about `axis`, then shift. */
export function placed(axis, angle, shift) {
  const n = Math.hypot(...axis);
  const [x, y, z] = axis.map((v) => v / n);
  const [c, s] = [Math.cos((angle * Math.PI) / 180), Math.sin((angle * Math.PI) / 180)];
  const d = 1 - c;
  return [
    c + x * x * d, y * x * d + z * s, z * x * d - y * s, 0,
    x * y * d - z * s, c + y * y * d, z * y * d + x * s, 0,
    x * z * d + y * s, y * z * d - x * s, c + z * z * d, 0,
    ...shift, 1,
  ];
}

/** A shape from its faces: each a list of triangles and a row of numbers. */
export function shapeOf(faces) {
  const positions = [];
  const index = [];
  const ranges = [];
  for (const { triangles, row } of faces) {
    const known = new Map();
    ranges.push({ first: index.length / 3, count: triangles.length, surface: surfaceOf([triangles.length, ...row]) });
    for (const p of triangles.flat()) {
      const key = p.join();
      if (!known.has(key)) {
        known.set(key, positions.length / 3);
        positions.push(...p);
      }
      index.push(known.get(key));
    }
  }
  return { positions, index, ranges };
}

const quad = (a, b, c, d) => [[a, b, c], [a, c, d]];

/** Rectangle in the plane z = 0 about the origin. */
export function sheet(w, h) {
  const [x, y] = [w / 2, h / 2];
  return { triangles: quad([-x, -y, 0], [x, -y, 0], [x, y, 0], [-x, y, 0]), row: [0, 0, 0, 1, 0] };
}

/** Round rod about the z axis from z = 0 to `long`: side, bottom, top. */
export function rod(r, long, sides = 24, inside = 0) {
  const at = (k, z) => {
    const t = (2 * Math.PI * (k % sides)) / sides;
    return [r * Math.cos(t), r * Math.sin(t), z];
  };
  const side = [];
  const bottom = [];
  const top = [];
  for (let k = 0; k < sides; k++) {
    side.push(...quad(at(k, 0), at(k + 1, 0), at(k + 1, long), at(k, long)));
    bottom.push([[0, 0, 0], at(k + 1, 0), at(k, 0)]);
    top.push([[0, 0, long], at(k, long), at(k + 1, long)]);
  }
  return [
    { triangles: side, row: [1, 0, 0, 0, 0, 0, 1, r, inside] },
    { triangles: bottom, row: [0, 0, 0, -1, 0] },
    { triangles: top, row: [0, 0, 0, 1, long] },
  ];
}

/** Ball about the origin. */
export function ball(r, rings = 12, sides = 24) {
  const at = (i, k) => {
    const [u, v] = [(Math.PI * i) / rings, (2 * Math.PI * (k % sides)) / sides];
    if (i === 0) return [0, 0, r];
    if (i === rings) return [0, 0, -r];
    return [r * Math.sin(u) * Math.cos(v), r * Math.sin(u) * Math.sin(v), r * Math.cos(u)];
  };
  const triangles = [];
  for (let i = 0; i < rings; i++)
    for (let k = 0; k < sides; k++) {
      if (i > 0) triangles.push([at(i, k), at(i + 1, k), at(i, k + 1)]);
      if (i < rings - 1) triangles.push([at(i + 1, k), at(i + 1, k + 1), at(i, k + 1)]);
    }
  return [{ triangles, row: [2, 0, 0, 0, r] }];
}

/** Full cone: apex at the origin, opening upwards along z to `height`. */
export function funnel(halfDegrees, height, sides = 24) {
  const r = height * Math.tan((halfDegrees * Math.PI) / 180);
  const at = (k) => {
    const t = (2 * Math.PI * (k % sides)) / sides;
    return [r * Math.cos(t), r * Math.sin(t), height];
  };
  const side = [];
  const lid = [];
  for (let k = 0; k < sides; k++) {
    side.push([[0, 0, 0], at(k + 1), at(k)]);
    lid.push([[0, 0, height], at(k), at(k + 1)]);
  }
  return [
    { triangles: side, row: [3, 0, 0, 0, 0, 0, 1, halfDegrees] },
    { triangles: lid, row: [0, 0, 0, 1, height] },
  ];
}

/** Bend of a tube in the plane z = 0: a quarter of a ring about the z axis, with its two round ends. */
export function bend(R, r, steps = 12, sides = 16) {
  const at = (i, k) => {
    const [u, v] = [(Math.PI / 2) * (i / steps), (2 * Math.PI * (k % sides)) / sides];
    const out = R + r * Math.cos(v);
    const z = k % sides === 0 ? 0 : r * Math.sin(v);
    return [i === steps ? 0 : out * Math.cos(u), i === 0 ? 0 : out * Math.sin(u), z];
  };
  const skin = [];
  const ends = [[], []];
  for (let i = 0; i < steps; i++)
    for (let k = 0; k < sides; k++) skin.push(...quad(at(i, k), at(i, k + 1), at(i + 1, k + 1), at(i + 1, k)));
  for (let k = 0; k < sides; k++) {
    ends[0].push([[R, 0, 0], at(0, k + 1), at(0, k)]);
    ends[1].push([[0, R, 0], at(steps, k), at(steps, k + 1)]);
  }
  return [
    { triangles: skin, row: [4, 0, 0, 0, 0, 0, 1, R, r] },
    { triangles: ends[0], row: [0, 0, -1, 0, 0] },
    { triangles: ends[1], row: [0, -1, 0, 0, 0] },
  ];
}
