/** The torch as a body, and the positions it can take at a point of a weld. */
import { BufferGeometry, CapsuleGeometry, CylinderGeometry, Group, Line, LineBasicMaterial, Matrix4, Mesh, MeshLambertMaterial, Quaternion, Vector3 } from "three";
import { along, cross, scale, add, sub } from "./measure/vec.js";
import { bits } from "./unpack.js";

const FREE = "#3b5f4a";
const BLOCKED = "#a3201d";
const METAL = "#5d6a66";

/** @typedef {import("./types").Weld} Weld */

/** Is a position free? Point-major, then direction, then roll. @param {Weld} weld @returns {(point: number, direction: number, roll: number) => boolean} */
export function freeOf(weld) {
  const read = bits(weld.free);
  const [d, r] = [weld.directions.length, weld.rolls.length];
  return (point, direction, roll) => read((point * d + direction) * r + roll);
}

/** Vector of a point's frame (columns t, b, n; row-major) in the world. @param {number[]} frame @param {number[]} v */
export function inWorld(frame, v) {
  return [0, 3, 6].map((row) => frame[row] * v[0] + frame[row + 1] * v[1] + frame[row + 2] * v[2]);
}

/** Axis and turned X of the torch in the world. @param {Weld} weld @param {number} point @param {number} direction @param {number} roll index */
export function pose(weld, point, direction, roll) {
  const frame = weld.frames[point];
  const d = weld.directions[direction];
  const axis = inWorld(frame, d.slice(2, 5));
  const zero = inWorld(frame, d.slice(5, 8));
  const angle = (weld.rolls[roll] * Math.PI) / 180;
  const x = add(scale(zero, Math.cos(angle)), scale(cross(axis, zero), Math.sin(angle)));
  return { root: weld.points[point], axis, x };
}

export class TorchBody {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    this.group = new Group();
    this.group.matrixAutoUpdate = false;
    this.group.visible = false;
    app.view.world.add(this.group);
    this.material = new MeshLambertMaterial({ color: METAL });
    // The hand is large; what lies behind it can still be seen.
    this.glove = new MeshLambertMaterial({ color: METAL, transparent: true, opacity: 0.45, depthWrite: false });
    /** @type {import("./types").Torch | null} */
    this.model = null;
    this.shown = true;
  }

  /** @param {import("./types").Torch} torch */
  build(torch) {
    if (this.model === torch) return;
    this.model = torch;
    for (const child of [...this.group.children]) {
      /** @type {Mesh} */ (child).geometry.dispose();
      this.group.remove(child);
    }
    const { radius, from, to } = torch.nozzle;
    const nozzle = new CylinderGeometry(radius, radius, to - from, 32).rotateX(Math.PI / 2).translate(0, 0, (from + to) / 2);
    this.group.add(new Mesh(nozzle, this.material));
    for (const { a, b, r, part } of torch.capsules) {
      const span = new Vector3(...sub(b, a));
      const long = span.length();
      const capsule = new CapsuleGeometry(r, Math.max(long, 1e-6), 8, 24);
      capsule.applyQuaternion(new Quaternion().setFromUnitVectors(new Vector3(0, 1, 0), long > 0 ? span.normalize() : new Vector3(0, 1, 0)));
      capsule.translate((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2);
      this.group.add(new Mesh(capsule, part === "hand" ? this.glove : this.material));
    }
    const wire = new BufferGeometry().setFromPoints([new Vector3(0, 0, 0), new Vector3(0, 0, from)]);
    this.group.add(new Line(wire, new LineBasicMaterial({ color: 0x14171a })));
  }

  /** @param {Weld} weld @param {number} point @param {number} direction @param {number} roll @param {boolean} free */
  stand(weld, point, direction, roll, free) {
    const { root, axis, x } = pose(weld, point, direction, roll);
    const y = cross(axis, x);
    this.group.matrix.copy(new Matrix4().set(x[0], y[0], axis[0], root[0], x[1], y[1], axis[1], root[1], x[2], y[2], axis[2], root[2], 0, 0, 0, 1));
    this.group.matrixWorldNeedsUpdate = true;
    for (const material of [this.material, this.glove]) material.color.set(free ? METAL : BLOCKED);
    this.group.visible = this.shown;
  }

  hide() {
    this.group.visible = false;
  }
}

/**
 * Needles: one for every direction at a point, and a ring of the turns of the chosen one. Free: a full line with a full
 * dot. Blocked: a dotted line with a cross. The points of the weld have the same marks.
 * @param {import("./types").App} app @param {Weld} weld
 * @param {{point: number, direction: number, roll: number}} at @param {(point: number, direction: number, roll: number) => boolean} free
 * @param {(direction: number, roll: number) => void} choose @param {(point: number) => void} choosePoint
 */
export function needles(app, weld, at, free, choose, choosePoint) {
  const { view, ink } = app;
  const root = weld.points[at.point];
  const foot = view.project(root);
  if (!foot) return;
  const long = needleLength(view, root);
  weld.directions.forEach((_, d) => {
    const axis = pose(weld, at.point, d, 0).axis;
    const tip = view.project(along(root, axis, long));
    if (!tip) return;
    const rolls = weld.rolls.map((__, r) => r).filter((r) => free(at.point, d, r));
    const picked = d === at.direction;
    needle(ink.pen, foot, tip, rolls.length > 0, picked, weld.directions.length > 24);
    const roll = rolls.includes(at.roll) ? at.roll : (rolls[0] ?? at.roll);
    ink.targets.push({ rect: { x: tip.x - 9, y: tip.y - 9, w: 18, h: 18 }, act: () => choose(d, roll) });
  });
  weld.points.forEach((p, k) => {
    const spot = view.project(p);
    if (!spot) return;
    mark(ink.pen, spot, weld.directions.some((_, d) => weld.rolls.some((__, r) => free(k, d, r))), k === at.point, 2.5);
    ink.targets.push({ rect: { x: spot.x - 5, y: spot.y - 5, w: 10, h: 10 }, act: () => choosePoint(k) });
  });
  weld.rolls.forEach((_, r) => {
    const { axis, x } = pose(weld, at.point, at.direction, r);
    const spot = view.project(along(along(root, axis, long * 1.2), x, long * 0.25));
    if (!spot) return;
    mark(ink.pen, spot, free(at.point, at.direction, r), r === at.roll, 4.5);
    ink.targets.push({ rect: { x: spot.x - 8, y: spot.y - 8, w: 16, h: 16 }, act: () => choose(at.direction, r) });
  });
}

/** About 170 pixels, and never longer than a torch is from far away. @param {import("./view.js").View} view @param {number[]} root */
function needleLength(view, root) {
  return Math.min(160, 170 / view.scaleAt(new Vector3(...root)));
}

/** @param {CanvasRenderingContext2D} pen @param {{x: number, y: number}} from @param {{x: number, y: number}} to @param {boolean} free @param {boolean} picked @param {boolean} many */
function needle(pen, from, to, free, picked, many) {
  pen.setLineDash(free ? [] : [2, 4]);
  pen.strokeStyle = free ? FREE : BLOCKED;
  pen.lineWidth = picked ? 4 : many ? 0.9 : 1.6;
  pen.beginPath();
  pen.moveTo(from.x, from.y);
  pen.lineTo(to.x, to.y);
  pen.stroke();
  pen.setLineDash([]);
  mark(pen, to, free, picked, many ? 3 : 5);
}

/** @param {CanvasRenderingContext2D} pen @param {{x: number, y: number}} at @param {boolean} free @param {boolean} picked @param {number} r */
function mark(pen, at, free, picked, r) {
  const size = picked ? r * 1.5 : r;
  pen.strokeStyle = pen.fillStyle = free ? FREE : BLOCKED;
  pen.lineWidth = picked ? 3 : 1.8;
  pen.beginPath();
  if (free) {
    pen.arc(at.x, at.y, size, 0, 7);
    pen.fill();
  } else {
    pen.moveTo(at.x - size, at.y - size);
    pen.lineTo(at.x + size, at.y + size);
    pen.moveTo(at.x - size, at.y + size);
    pen.lineTo(at.x + size, at.y - size);
    pen.stroke();
  }
  if (!picked) return;
  pen.strokeStyle = "#0b3c6f";
  pen.lineWidth = 2;
  pen.beginPath();
  pen.arc(at.x, at.y, size + 4, 0, 7);
  pen.stroke();
}
