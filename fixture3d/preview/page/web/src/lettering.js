/** Names of items over the picture, and the table's letters and numbers along its edges. */
import { Vector3 } from "three";
import { along } from "./measure/vec.js";
import { INK } from "./ink.js";

const LOOKS = /** @type {Record<string, any>} */ ({
  block: { fill: "#eef4f9", frame: "#2f5673" },
  clamp: { fill: "#f7efdb", frame: "#6b4e12" },
  piece: { fill: "#fbeade", frame: "#7c4420", round: 9, font: "500 13px system-ui, sans-serif" },
});

export class Lettering {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    this.named = true;
    /** @type {Map<string, Vector3>} */
    this.places = new Map();
    app.ink.painters.push(() => this.edges(), () => this.names());
  }

  /** Where the name of an item points: the middle of its top. @param {number} item */
  anchor(item) {
    const { bodies } = this.app;
    const box = bodies.boxOf(item, true);
    if (box.isEmpty()) return null;
    const at = box.getCenter(new Vector3());
    if (this.app.data.items[item].kind !== "piece") this.ontoBody(item, box, at);
    const place = at.toArray();
    return bodies.cutAway(place) ? null : place;
  }

  /** Moves a place to the nearest corner of an item's bodies: the middle of a clamp is air. @param {number} item @param {import("three").Box3} box @param {Vector3} at */
  ontoBody(item, box, at) {
    const { bodies } = this.app;
    const own = bodies.of(item).filter((/** @type {any} */ b) => b.mesh.visible && !b.clear);
    const key = own.map((/** @type {any} */ b) => b.index).join();
    if (!this.places.has(key)) {
      at.z = box.max.z - (box.max.z - box.min.z) * 0.1;
      let least = Infinity;
      const best = at.clone();
      const p = new Vector3();
      for (const body of own) {
        const { positions } = bodies.meshes[body.info.mesh];
        for (let k = 0; k < positions.length; k += 3) {
          p.set(positions[k], positions[k + 1], positions[k + 2]).applyMatrix4(body.mesh.matrix);
          const away = p.distanceToSquared(at);
          if (away < least) [least] = [away, best.copy(p)];
        }
      }
      this.places.set(key, best);
    }
    at.copy(this.places.get(key) ?? at);
  }

  names() {
    if (!this.named) return;
    const { app } = this;
    const order = app.data.items.map((_, k) => k).sort((a, b) => rank(app, a) - rank(app, b));
    let left = 0;
    for (const item of order) {
      const { name, kind } = app.data.items[item];
      const picked = app.bodies.picked === item;
      if (kind === "keep-out" && !picked) continue;
      const at = this.anchor(item);
      const place = at && app.view.project(at);
      if (!place) continue;
      if (!picked && (place.x < 0 || place.y < 0 || place.x > app.view.size.width || place.y > app.view.size.height)) continue;
      const look = picked ? { fill: "#0b3c6f", ink: "#ffffff", frame: "#0b3c6f", force: true, font: "700 14px system-ui, sans-serif" } : LOOKS[kind];
      if (!app.ink.label(place, name, look)) left += 1;
    }
    if (left) this.tell(`${left === 1 ? "1 name has" : `${left} names have`} no room here; come nearer`);
  }

  /** A line at the upper edge. @param {string} text */
  tell(text) {
    const { ink, view } = this.app;
    const font = "500 13px system-ui, sans-serif";
    const w = Math.ceil(ink.width(text, font)) + 16;
    const y = view.top() + (view.top() ? 16 : 8);
    ink.plate({ x: view.size.width - w - 8, y, w, h: 24 }, text, font, { frame: "#77705f" });
  }

  /** Letters along the sides of the table that are nearest to the eye, while the holes' own names are too small. */
  edges() {
    const { app } = this;
    const { table, view, ink } = app;
    if (!table.shown || !table.named || !table.grids.length || table.near) return;
    const grid = table.grids[0];
    const [nx, ny] = [grid.columns.length, grid.rows.length];
    const eye = view.camera.position;
    // From low down the letters go below the edge, where they do not lie over the plate.
    const rise = (eye.z - view.controls.target.z) / eye.distanceTo(view.controls.target);
    const lift = Math.abs(rise) < 0.25 ? -0.7 * grid.pitch[1] : 0;
    const at = (/** @type {number} */ i, /** @type {number} */ j) => {
      const p = along(along(grid.origin, grid.x, i * grid.pitch[0]), grid.y, j * grid.pitch[1]);
      return [p[0], p[1], p[2] + lift];
    };
    const away = (/** @type {number[]} */ p) => eye.distanceTo(new Vector3(...p));
    const row = away(at((nx - 1) / 2, 0)) < away(at((nx - 1) / 2, ny - 1)) * 1.01 ? -0.75 : ny - 0.25;
    const column = away(at(0, (ny - 1) / 2)) < away(at(nx - 1, (ny - 1) / 2)) * 1.01 ? -0.75 : nx - 0.25;
    const put = (/** @type {string[]} */ names, /** @type {(k: number) => number[]} */ place) => {
      const spots = names.map((_, k) => view.project(place(k)));
      const [first, last] = [spots[0], spots[names.length - 1]];
      if (!first || !last) return;
      const step = Math.max(Math.abs(last.x - first.x) / 24, Math.abs(last.y - first.y) / 15) / Math.max(1, names.length - 1);
      const every = Math.max(1, Math.ceil(1 / Math.max(step, 1e-6)));
      names.forEach((name, k) => {
        const spot = spots[k];
        if (!spot || k % every) return;
        if (app.bodies.cutAway(place(k))) return;
        if (spot.x < 10 || spot.x > view.size.width - 10) return;
        ink.text(name, spot.x, spot.y, "600 13px system-ui, sans-serif", INK, true);
        ink.taken.push({ x: spot.x - 8, y: spot.y - 8, w: 16, h: 16 });
      });
    };
    put(grid.columns, (k) => at(k, row));
    put(grid.rows, (k) => at(column, k));
  }
}

/** Blocks and clamps before pieces; what is picked before all. @param {import("./types").App} app @param {number} item */
function rank(app, item) {
  if (app.bodies.picked === item) return -1;
  return ["block", "clamp", "piece", "keep-out"].indexOf(app.data.items[item].kind);
}
