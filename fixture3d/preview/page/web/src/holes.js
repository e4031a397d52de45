/** Holes of the table by name and by place. */
import { along, cross, distance, unit } from "./measure/vec.js";

/** @typedef {import("./measure/vec.js").Vec} Vec */
/** @typedef {{name: string, centre: Vec, axis: Vec, radius: number, grid: number, column: number, row: number, plus: boolean, blocked: boolean}} Hole */

/**
 * All holes of all grids.
 * @param {import("./types").Grid[]} grids @returns {Hole[]}
 */
export function holesOf(grids) {
  /** @type {Hole[]} */
  const out = [];
  grids.forEach((grid, index) => {
    const axis = grid.normal ?? unit(cross(grid.x, grid.y));
    const blocked = new Set(grid.blocked ?? []);
    for (const plus of grid.stagger ? [false, true] : [false]) {
      const half = plus ? 0.5 : 0;
      const less = plus ? 1 : 0;
      for (let i = 0; i < grid.columns.length - less; i++)
        for (let j = 0; j < grid.rows.length - less; j++) {
          const short = `${lettersFirst(grid.columns[i], grid.rows[j])}${plus ? "+" : ""}`;
          const name = `${grid.prefix ?? ""}${short}`;
          const centre = along(along(grid.origin, grid.x, (i + half) * grid.pitch[0]), grid.y, (j + half) * grid.pitch[1]);
          const shut = blocked.has(short) || blocked.has(name);
          out.push({ name, centre, axis, radius: grid.bore / 2, grid: index, column: i, row: j, plus, blocked: shut });
        }
    }
  });
  return out;
}

/** Letters stand before numbers, whichever of the two runs along X. @param {string} column @param {string} row */
const lettersFirst = (column, row) => (/^[0-9]/.test(column) ? row + column : column + row);

/** @param {Hole[]} holes @returns {Map<string, Hole>} by upper-case name */
export function byName(holes) {
  return new Map(holes.map((hole) => [hole.name.toUpperCase(), hole]));
}

/**
 * The hole whose mouth holds the point, or whose rim is within `reach` of it.
 * @param {Hole[]} holes @param {Vec} point on the face of the grid @param {number} reach mm
 */
export function holeAt(holes, point, reach = 0) {
  let best = null;
  let least = Infinity;
  for (const hole of holes) {
    const d = distance(hole.centre, point);
    if (d < least && d <= hole.radius + reach) [least, best] = [d, hole];
  }
  return best;
}
