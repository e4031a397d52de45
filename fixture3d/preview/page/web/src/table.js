/** The table: plate, holes as one instanced disc, and the holes' names laid flat beside them like engraving. */
import {
  Box3, BoxGeometry, BufferGeometry, CanvasTexture, CircleGeometry, EdgesGeometry, Float32BufferAttribute, Group,
  InstancedMesh, LineBasicMaterial, LineSegments, LinearMipmapLinearFilter, Matrix4, Mesh, MeshBasicMaterial,
  MeshLambertMaterial, Plane, Vector3,
} from "three";
import { byName, holeAt, holesOf } from "./holes.js";
import { face } from "./measure/face.js";
import { along, basis, cross, dot, sub } from "./measure/vec.js";

const LIFT = 0.15; // mm over the plate, so that discs and names are not lost in it

/** @typedef {import("./holes.js").Hole} Hole */

export class Table {
  /** @param {import("./types").App} app @param {Plane[]} planes of the cut, shared */
  constructor(app, planes) {
    this.app = app;
    this.planes = planes;
    const { plate, grids } = app.data.table;
    this.grids = grids;
    this.plate = plate;
    this.holes = holesOf(grids);
    this.names = byName(this.holes);
    this.group = new Group();
    this.shown = true;
    this.named = true;
    app.view.world.add(this.group);
    if (plate) this.drawPlate(plate);
    this.drawHoles();
    this.drawSlots(app.data.table.slots ?? []);
    this.lettering = this.drawNames();
    this.turn = -1;
  }

  /** @param {[number[], number[]]} plate */
  drawPlate([low, high]) {
    const size = sub(high, low);
    const box = new BoxGeometry(size[0], size[1], size[2]);
    box.translate((low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2);
    const steel = new MeshLambertMaterial({ color: 0xcfd1cb, clippingPlanes: this.planes, polygonOffset: true, polygonOffsetFactor: 2, polygonOffsetUnits: 2 });
    this.mesh = new Mesh(box, steel);
    const ink = new LineBasicMaterial({ color: 0x2a2e33, clippingPlanes: this.planes });
    this.group.add(this.mesh, new LineSegments(new EdgesGeometry(box), ink));
  }

  drawHoles() {
    if (!this.holes.length) return;
    const dark = new MeshBasicMaterial({ color: 0x4a4f52, clippingPlanes: this.planes, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
    const sides = this.holes.length > 3000 ? 10 : this.holes.length > 1200 ? 16 : 24;
    const slots = this.app.data.table.slots ?? [];
    const discs = new InstancedMesh(new CircleGeometry(1, sides), dark, this.holes.length);
    /** @type {number[]} */
    const crosses = [];
    this.holes.forEach((hole, k) => {
      const [x, y] = basis(hole.axis);
      const at = along(hole.centre, hole.axis, LIFT);
      discs.setMatrixAt(k, matrixOf(x, y, hole.axis, at, hole.radius));
      if (!hole.blocked || slots.some(({ ends, width }) => inSlot(hole.centre, ends, width / 2))) return; // a slot shows itself
      const arm = hole.radius * 0.75;
      const up = along(at, hole.axis, LIFT);
      for (const [i, j] of [[1, 1], [1, -1]]) crosses.push(...along(along(up, x, i * arm), y, j * arm), ...along(along(up, x, -i * arm), y, -j * arm));
    });
    discs.computeBoundingSphere();
    this.group.add(discs);
    if (crosses.length) {
      const lines = new BufferGeometry().setAttribute("position", new Float32BufferAttribute(crosses, 3));
      this.group.add(new LineSegments(lines, new LineBasicMaterial({ color: 0xffffff, clippingPlanes: this.planes })));
    }
  }

  /** Each slot as a dark field with round ends, over the discs of the holes that it cuts. @param {import("./types").Slot[]} slots */
  drawSlots(slots) {
    const dark = new MeshBasicMaterial({ color: 0x4a4f52, clippingPlanes: this.planes, polygonOffset: true, polygonOffsetFactor: 0, polygonOffsetUnits: 0 });
    for (const { ends, width } of slots) {
      const field = new BufferGeometry().setAttribute("position", new Float32BufferAttribute(slotFan(ends, width / 2, 2 * LIFT), 3));
      this.group.add(new Mesh(field, dark));
    }
  }

  /** One mesh of all names; placed by `turnNames`. */
  drawNames() {
    const letters = [...new Set(this.holes.flatMap((hole) => [...hole.name]))].sort();
    if (!letters.length) return null;
    const { texture, cells } = atlas(letters);
    const material = new MeshBasicMaterial({
      map: texture, transparent: true, depthWrite: false, clippingPlanes: this.planes, polygonOffset: true, polygonOffsetFactor: -1, polygonOffsetUnits: -1,
    });
    const count = this.holes.reduce((n, hole) => n + hole.name.length, 0);
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new Float32BufferAttribute(new Float32Array(count * 12), 3));
    const uv = [];
    const index = [];
    for (const hole of this.holes)
      for (const letter of hole.name) {
        const { u0, u1, v0, v1 } = /** @type {any} */ (cells.get(letter));
        const first = uv.length / 2;
        uv.push(u0, v0, u1, v0, u1, v1, u0, v1);
        index.push(first, first + 1, first + 2, first, first + 2, first + 3);
      }
    geometry.setAttribute("uv", new Float32BufferAttribute(uv, 2));
    geometry.setIndex(index);
    const mesh = new Mesh(geometry, material);
    mesh.frustumCulled = false;
    mesh.renderOrder = 2;
    this.group.add(mesh);
    return mesh;
  }

  /** Names read upright from where the eye is: four turns of the lettering. */
  turnNames() {
    if (!this.lettering) return;
    const { camera, controls } = this.app.view;
    const from = sub(camera.position.toArray(), controls.target.toArray());
    const steep = Math.hypot(from[0], from[1]) < Math.abs(from[2]) * 0.01;
    const turn = steep ? 0 : Math.round((Math.atan2(from[0], -from[1]) / Math.PI) * 2) & 3;
    if (turn === this.turn) return;
    this.turn = turn;
    const out = this.lettering.geometry.getAttribute("position");
    let k = 0;
    for (const hole of this.holes) {
      const grid = this.grids[hole.grid];
      const [x, y] = readingFrame(hole.axis, turn);
      const pitch = Math.min(...grid.pitch) * (grid.stagger ? 0.7 : 1);
      const tall = Math.min(pitch * 0.25, hole.radius * 1.6);
      const wide = tall * 0.62;
      const base = along(along(hole.centre, hole.axis, LIFT), y, -(hole.radius + pitch * 0.04 + tall));
      [...hole.name].forEach((_, n) => {
        const left = (n - hole.name.length / 2) * wide;
        for (const [i, j] of [[left, 0], [left + wide, 0], [left + wide, tall], [left, tall]]) {
          const p = along(along(base, x, i), y, j);
          out.setXYZ(k++, p[0], p[1], p[2]);
        }
      });
    }
    out.needsUpdate = true;
  }

  /** Pixels between two holes in the middle of the picture. */
  pitchOnScreen() {
    const grid = this.grids[0];
    if (!grid) return 0;
    return Math.min(...grid.pitch) * this.app.view.scaleAt(this.app.view.controls.target);
  }

  /** Before each picture: names only where they can be read. */
  refresh() {
    this.group.visible = this.shown;
    if (!this.lettering) return;
    this.near = this.pitchOnScreen() >= 34;
    this.lettering.visible = this.named && this.near;
    if (this.lettering.visible) this.turnNames();
  }

  /** The plate's upper face, for measuring. */
  topFace() {
    if (!this.plate) return null;
    const [[x0, y0], [x1, y1, z]] = this.plate;
    const [a, b, c, d] = [[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]];
    const edges = [[a, b], [b, c], [c, d], [d, a]].map(([p, q]) => ({ a: p, b: q, other: null, flat: true }));
    return face([[a, b, c], [a, c, d]], { kind: "plane", n: [0, 0, 1], d: z }, edges);
  }

  /** Does a ray meet the plate's upper face before `before` mm, where the cut leaves it? @param {import("three").Raycaster} ray @param {number} before */
  hitTop(ray, before) {
    if (!this.shown || !this.mesh) return false;
    const hit = ray.intersectObject(this.mesh, false)[0];
    return Boolean(hit && hit.face && hit.face.normal.z > 0.5 && hit.distance < before && this.planes.every((p) => p.distanceToPoint(hit.point) >= 0));
  }

  /** How far along a ray the plate's skin is met, where the cut leaves it; what lies farther is not to be seen. @param {import("three").Raycaster} ray */
  cover(ray) {
    if (!this.shown || !this.mesh) return Infinity;
    const hits = ray.intersectObject(this.mesh, false);
    return hits.find((hit) => this.planes.every((p) => p.distanceToPoint(hit.point) >= 0))?.distance ?? Infinity;
  }

  /** The slot whose mouth a ray meets before `before` mm: there is no steel there. @param {import("three").Raycaster} ray @param {number} before */
  slotHit(ray, before) {
    if (!this.hitTop(ray, before)) return null;
    const [o, d] = [ray.ray.origin.toArray(), ray.ray.direction.toArray()];
    const slots = this.app.data.table.slots ?? [];
    return slots.find(({ ends, width }) => inSlot(along(o, d, (ends[0][2] - o[2]) / d[2]), ends, width / 2)) ?? null;
  }

  box() {
    const box = new Box3();
    if (this.plate) box.set(new Vector3(...this.plate[0]), new Vector3(...this.plate[1]));
    return box;
  }

  /** Where a ray meets the plate's top or a grid, when nothing lies before it. @param {import("three").Raycaster} ray @param {number} before mm @returns {Hole | null} */
  hit(ray, before) {
    if (!this.shown) return null;
    const { origin, direction } = ray.ray;
    const [o, d] = [origin.toArray(), direction.toArray()];
    let best = null;
    let least = before + 1e-3;
    this.grids.forEach((grid, index) => {
      const normal = grid.normal ?? cross(grid.x, grid.y);
      const facing = dot(d, normal);
      if (facing > -1e-9) return; // seen from behind
      const away = dot(sub(grid.origin, o), normal) / facing;
      if (away <= 0 || away >= least) return;
      const at = along(o, d, away);
      if (this.planes.some((plane) => plane.distanceToPoint(new Vector3(...at)) < 0)) return;
      const reach = Math.min(14 / this.app.view.scaleAt(new Vector3(...at)), Math.min(...grid.pitch) * 0.3);
      const found = holeAt(this.holes.filter((hole) => hole.grid === index), at, reach);
      if (found) [best, least] = [found, away];
    });
    return best;
  }
}

/** Directions of reading on a plane: to the right and up, as seen from one of four sides. @param {number[]} normal @param {number} turn */
function readingFrame(normal, turn) {
  if (Math.abs(normal[2]) > 0.5) {
    const ways = [[1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]];
    const x = ways[turn];
    return [x, cross(normal, x)];
  }
  const x = cross([0, 0, 1], normal);
  return [x, [0, 0, 1]];
}

/** Is a place in a slot's mouth, its round ends included? @param {number[]} at @param {number[][]} ends @param {number} radius */
export function inSlot(at, [a, b], radius) {
  const run = sub(b, a);
  const share = Math.min(1, Math.max(0, dot(sub(at, a), run) / (dot(run, run) || 1)));
  const away = sub(at, along(a, run, share));
  return Math.hypot(away[0], away[1]) < radius;
}

/** Triangles of a level slot round its middle, `lift` over its centre line. @param {number[][]} ends @param {number} radius @param {number} lift */
function slotFan([[ax, ay, z], [bx, by]], radius, lift) {
  const turn = Math.atan2(by - ay, bx - ax);
  const sides = 16;
  /** @type {number[][]} */
  const rim = [];
  for (const [x, y, first] of [[bx, by, turn - Math.PI / 2], [ax, ay, turn + Math.PI / 2]])
    for (let k = 0; k <= sides; k++) {
      const a = first + (Math.PI * k) / sides;
      rim.push([x + radius * Math.cos(a), y + radius * Math.sin(a), z + lift]);
    }
  return rim.flatMap((corner, k) => [(ax + bx) / 2, (ay + by) / 2, z + lift, ...corner, ...rim[(k + 1) % rim.length]]);
}

/** @param {number[]} x @param {number[]} y @param {number[]} z @param {number[]} at @param {number} r */
function matrixOf(x, y, z, at, r) {
  return new Matrix4().set(x[0] * r, y[0] * r, z[0], at[0], x[1] * r, y[1] * r, z[1], at[1], x[2] * r, y[2] * r, z[2], at[2], 0, 0, 0, 1);
}

/** All letters in one picture. @param {string[]} letters */
function atlas(letters) {
  const [wide, tall] = [40, 64];
  const columns = 16;
  const canvas = document.createElement("canvas");
  canvas.width = 1024;
  canvas.height = Math.max(64, 2 ** Math.ceil(Math.log2(Math.ceil(letters.length / columns) * tall)));
  const ink = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  ink.font = "600 52px system-ui, sans-serif";
  ink.textAlign = "center";
  ink.textBaseline = "middle";
  ink.fillStyle = "#1d2125";
  const cells = new Map();
  letters.forEach((letter, k) => {
    const [x, y] = [(k % columns) * 64, Math.floor(k / columns) * tall];
    ink.fillText(letter, x + 32, y + tall / 2 + 3, wide + 10);
    const inset = (64 - wide) / 2;
    cells.set(letter, {
      u0: (x + inset) / canvas.width, u1: (x + 64 - inset) / canvas.width,
      v0: 1 - (y + tall) / canvas.height, v1: 1 - y / canvas.height,
    });
  });
  const texture = new CanvasTexture(canvas);
  texture.minFilter = LinearMipmapLinearFilter;
  texture.anisotropy = 8;
  return { texture, cells };
}
