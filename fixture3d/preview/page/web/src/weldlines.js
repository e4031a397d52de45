/**
 * Welds as lines: each stretch in the pattern and colour of how well the torch reaches it, on a white band, so that it
 * stands out from work and blocks of any colour. What is not reached is seen faintly through what stands before it.
 */
import { Group } from "three";
import { Line2 } from "three/examples/jsm/lines/Line2.js";
import { LineGeometry } from "three/examples/jsm/lines/LineGeometry.js";
import { LineMaterial } from "three/examples/jsm/lines/LineMaterial.js";
import { LineSegments2 } from "three/examples/jsm/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/examples/jsm/lines/LineSegmentsGeometry.js";
import { add, scale, sub } from "./measure/vec.js";

const BAND = 0xfffdf7;
const ARM = 3.2; // mm, half of a cross's stroke
const PITCH = 9; // mm from cross to cross
const LOOKS = /** @type {Record<string, any>} */ ({
  reached: { color: 0x1d6b3a, linewidth: 5 },
  part: { color: 0x9a5b00, linewidth: 5, dashed: true, dashSize: 6, gapSize: 4 },
  blocked: { color: 0xa3201d, linewidth: 3.5 },
  unchecked: { color: 0x22282b, linewidth: 2 },
});

export class WeldLines {
  /** @param {import("three").Plane[]} planes of the cut, shared */
  constructor(planes) {
    const near = (/** @type {number} */ units) => ({ clippingPlanes: planes, polygonOffset: true, polygonOffsetFactor: units, polygonOffsetUnits: units });
    const each = (/** @type {(look: any) => any} */ make) => Object.fromEntries(Object.entries(LOOKS).map(([s, look]) => [s, new LineMaterial(make(look))]));
    this.full = each((look) => ({ ...look, ...near(-8) }));
    this.bands = each((look) => ({ color: BAND, linewidth: look.linewidth + 4, ...near(-6) }));
    this.faint = each((look) => ({ ...look, linewidth: look.linewidth / 2, transparent: true, opacity: 0.55, depthTest: false, depthWrite: false, clippingPlanes: planes }));
  }

  /** @param {import("./types").Weld} weld */
  group(weld) {
    const group = new Group();
    for (const [state, points] of weld.stretches) {
      const geometry = state === "blocked" ? new LineSegmentsGeometry().setPositions(crosses(points).flat()) : new LineGeometry().setPositions(points.flat());
      const lines = [this.bands[state], this.full[state]];
      if (state === "part" || state === "blocked") lines.push(this.faint[state]);
      lines.forEach((material, k) => {
        const line = state === "blocked" ? new LineSegments2(geometry, material) : new Line2(/** @type {any} */ (geometry), material);
        line.computeLineDistances();
        line.renderOrder = [2, 3, 60][k];
        group.add(line);
      });
    }
    return group;
  }
}

/** Crosses along a polyline, its ends included; three strokes each, so that it is one from wherever it is seen. @param {number[][]} path */
export function crosses(path) {
  const out = [];
  for (const at of along(path, PITCH)) for (const [x, y, z] of [[1, 0, 0], [0, 1, 0], [0, 0, 1]]) out.push(add(at, [x * ARM, y * ARM, z * ARM]), add(at, [-x * ARM, -y * ARM, -z * ARM]));
  return out;
}

/** Points evenly along a polyline, about `pitch` apart, at least its two ends. @param {number[][]} path @param {number} pitch */
export function along(path, pitch) {
  const parts = path.slice(1).map((p, k) => Math.hypot(...sub(p, path[k])));
  const long = parts.reduce((a, b) => a + b, 0);
  const count = Math.max(1, Math.round(long / pitch));
  return [...Array(count + 1).keys()].map((n) => {
    let rest = (long * n) / count;
    let k = 0;
    while (k < parts.length - 1 && rest > parts[k]) rest -= parts[k++];
    return add(path[k], scale(sub(path[k + 1], path[k]), parts[k] ? Math.min(1, rest / parts[k]) : 0));
  });
}

/** The point half way along a weld. @param {import("./types").Weld} weld */
export function middle(weld) {
  const spots = along(weld.path, 1);
  return spots[Math.floor(spots.length / 2)];
}
