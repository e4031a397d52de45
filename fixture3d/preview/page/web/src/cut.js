/** A plane that takes one side of the setup away, with the cut faces filled and their outline in ink. */
import {
  AlwaysStencilFunc, BackSide, BufferGeometry, CanvasTexture, CylinderGeometry, DecrementWrapStencilOp, DoubleSide,
  Float32BufferAttribute, FrontSide, IncrementWrapStencilOp, InstancedMesh, LineBasicMaterial, LineSegments, Matrix4,
  Mesh, MeshBasicMaterial, NotEqualStencilFunc, Plane, PlaneGeometry, RepeatWrapping, ReplaceStencilOp, SRGBColorSpace, Vector3,
} from "three";

/** @typedef {"x" | "y" | "z"} Axis */
const PLANES = /** @type {Record<Axis, [number, number, number]>} */ ({ x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] });
const FILLS = { table: "#b9bcb6", blocks: "#5f89ab", clamps: "#a07c33", pieces: "#b97445" };

export class Cut {
  /** @param {import("./types").App} app @param {Plane[]} planes shared with all materials that are cut */
  constructor(app, planes) {
    this.app = app;
    this.planes = planes;
    this.plane = new Plane();
    /** @type {Axis | null} */
    this.axis = null;
    this.mm = 0;
    this.flipped = false;
    /** @type {Map<number, Mesh[]>} */
    this.counters = new Map();
    /** @type {Record<string, Mesh>} */
    this.caps = {};
    this.outline = new LineSegments(new BufferGeometry(), new LineBasicMaterial({ color: 0x14171a }));
    this.outline.renderOrder = 60;
    this.outline.frustumCulled = false;
    app.view.world.add(this.outline);
    /** @type {(() => void)[]} */
    this.listeners = [];
  }

  /** How far the cut can go along an axis. @param {Axis} axis @returns {[number, number]} */
  range(axis) {
    const box = this.app.bodies.box().union(this.app.table.shown ? this.app.table.box() : this.app.bodies.box());
    if (box.isEmpty()) return [0, 1];
    return [box.min[axis], box.max[axis]];
  }

  /** @param {Axis | null} axis @param {number} [mm] @param {boolean} [flipped] */
  set(axis, mm, flipped = this.flipped) {
    if (axis !== null && !(axis in PLANES)) throw new Error(`a cut is along x, y or z, not "${axis}"`);
    this.axis = axis;
    this.flipped = flipped;
    if (axis !== null) {
      const [low, high] = this.range(axis);
      this.mm = mm ?? (low + high) / 2;
      const way = flipped ? 1 : -1;
      this.plane.normal.set(...PLANES[axis]).multiplyScalar(way);
      this.plane.constant = -way * this.mm;
    }
    this.planes.length = 0;
    if (axis !== null) this.planes.push(this.plane);
    this.update();
    for (const tell of this.listeners) tell();
    this.app.view.redraw();
  }

  /** Fill and outline of what is seen now. */
  update() {
    const on = this.axis !== null;
    this.outline.visible = on;
    this.rule();
    for (const cap of Object.values(this.caps)) cap.visible = false;
    for (const meshes of this.counters.values()) for (const mesh of meshes) mesh.visible = false;
    if (!on) return;
    /** @type {number[]} */
    const lines = [];
    for (const body of this.app.bodies.all) {
      if (body.clear || !body.mesh.visible || !crosses(body.box, this.plane)) continue;
      this.count(body.index, body.info.layer, body.mesh.geometry, body.mesh.matrix);
      section(this.app.bodies.meshes[body.info.mesh], body.mesh.matrix, this.plane, lines);
      this.cap(body.info.layer);
    }
    const { table } = this.app;
    if (table.shown && table.mesh && crosses(table.box(), this.plane)) {
      this.countTable();
      this.cap("table");
    }
    this.outline.geometry.dispose();
    this.outline.geometry = new BufferGeometry().setAttribute("position", new Float32BufferAttribute(lines, 3));
  }

  /** Hatching as wide on the screen at any distance, in steps of two so that it does not crawl. */
  rule() {
    if (this.axis === null) return;
    const { view } = this.app;
    const period = 2 ** Math.round(Math.log2(16 / view.scaleAt(view.controls.target)));
    const size = (view.reach ?? 1000) * 2;
    for (const cap of Object.values(this.caps)) /** @type {any} */ (cap.material).map.repeat.setScalar(size / period);
  }

  /** Two invisible copies of a body that count how deep the eye is in solid matter. @param {number} index @param {string} layer @param {BufferGeometry} geometry @param {Matrix4} matrix */
  count(index, layer, geometry, matrix) {
    if (!this.counters.has(index)) {
      const order = 10 * (1 + Object.keys(FILLS).indexOf(layer in FILLS ? layer : "blocks"));
      this.counters.set(index, counterMaterials(this.planes).map((material) => {
        const mesh = new Mesh(geometry, material);
        mesh.matrixAutoUpdate = false;
        mesh.matrix.copy(matrix);
        mesh.renderOrder = order;
        this.app.view.world.add(mesh);
        return mesh;
      }));
    }
    for (const mesh of this.counters.get(index) ?? []) mesh.visible = true;
  }

  /** The plate less its bores. */
  countTable() {
    const { table } = this.app;
    if (!this.counters.has(-1)) {
      const outer = counterMaterials(this.planes);
      const [low, high] = table.plate;
      const own = table.holes.filter((/** @type {any} */ hole) => table.grids[hole.grid].prefix === "" || !table.grids[hole.grid].prefix);
      const bore = new CylinderGeometry(1, 1, 1, 12).rotateX(Math.PI / 2);
      const meshes = outer.map((material) => new Mesh(table.mesh.geometry, material));
      // Bores count the other way round: their near side up, their far side down.
      for (const material of counterMaterials(this.planes)) {
        material.side = material.side === BackSide ? FrontSide : BackSide;
        const bores = new InstancedMesh(bore, material, own.length);
        own.forEach((/** @type {any} */ hole, /** @type {number} */ n) => {
          const m = new Matrix4().makeScale(hole.radius, hole.radius, high[2] - low[2]);
          m.setPosition(hole.centre[0], hole.centre[1], (low[2] + high[2]) / 2);
          bores.setMatrixAt(n, m);
        });
        bores.frustumCulled = false;
        meshes.push(bores);
      }
      for (const mesh of meshes) {
        mesh.renderOrder = 10;
        this.app.view.world.add(mesh);
      }
      this.counters.set(-1, meshes);
    }
    for (const mesh of this.counters.get(-1) ?? []) mesh.visible = true;
  }

  /** The sheet that fills what was counted of one layer. @param {string} name */
  cap(name) {
    const layer = name in FILLS ? name : "blocks";
    const order = 10 * (1 + Object.keys(FILLS).indexOf(layer)) + 5;
    const size = (this.app.view.reach ?? 1000) * 2;
    if (!this.caps[layer]) {
      const material = new MeshBasicMaterial({
        map: hatch(/** @type {any} */ (FILLS)[layer], Object.keys(FILLS).indexOf(layer) % 2 === 1), side: DoubleSide, stencilWrite: true, stencilRef: 0,
        stencilFunc: NotEqualStencilFunc, stencilFail: ReplaceStencilOp, stencilZFail: ReplaceStencilOp, stencilZPass: ReplaceStencilOp,
      });
      const cap = new Mesh(new PlaneGeometry(size, size), material);
      cap.renderOrder = order;
      cap.onAfterRender = (renderer) => renderer.clearStencil();
      this.caps[layer] = cap;
      this.app.view.world.add(cap);
    }
    const cap = this.caps[layer];
    const centre = this.plane.projectPoint(this.app.view.middle ?? new Vector3(), new Vector3());
    cap.position.copy(centre);
    cap.lookAt(centre.clone().sub(this.plane.normal));
    cap.visible = true;
    this.rule();
  }
}

/** @param {Plane[]} planes */
function counterMaterials(planes) {
  return [
    { side: BackSide, op: IncrementWrapStencilOp },
    { side: FrontSide, op: DecrementWrapStencilOp },
  ].map(({ side, op }) => new MeshBasicMaterial({
    side, depthWrite: false, depthTest: false, colorWrite: false, stencilWrite: true, stencilFunc: AlwaysStencilFunc,
    stencilFail: op, stencilZFail: op, stencilZPass: op, clippingPlanes: planes,
  }));
}

/** @param {import("three").Box3} box @param {Plane} plane */
function crosses(box, plane) {
  return plane.intersectsBox(box);
}

/** Ends of the lines in which a plane cuts a body, in world mm. @param {import("./unpack.js").Mesh} mesh @param {Matrix4} matrix @param {Plane} plane @param {number[]} out */
function section(mesh, matrix, plane, out) {
  const local = plane.clone().applyMatrix4(matrix.clone().invert());
  const { positions: p, index } = mesh;
  const { x, y, z } = local.normal;
  const height = (/** @type {number} */ v) => x * p[3 * v] + y * p[3 * v + 1] + z * p[3 * v + 2] + local.constant;
  const at = new Vector3();
  for (let t = 0; t < index.length; t += 3) {
    const v = [index[t], index[t + 1], index[t + 2]];
    const h = v.map(height);
    const ends = [];
    for (let k = 0; k < 3; k++) {
      const n = (k + 1) % 3;
      if (h[k] > 0 === h[n] > 0) continue;
      const s = h[k] / (h[k] - h[n]);
      const [i, j] = [3 * v[k], 3 * v[n]];
      at.set(p[i] + s * (p[j] - p[i]), p[i + 1] + s * (p[j + 1] - p[i + 1]), p[i + 2] + s * (p[j + 2] - p[i + 2])).applyMatrix4(matrix);
      ends.push(at.x, at.y, at.z);
    }
    if (ends.length === 6) out.push(...ends);
  }
}

/** Section hatching. @param {string} colour @param {boolean} other the other way */
function hatch(colour, other) {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 64;
  const ink = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  ink.fillStyle = colour;
  ink.fillRect(0, 0, 64, 64);
  ink.strokeStyle = "rgba(20, 23, 26, 0.6)";
  ink.lineWidth = 5;
  for (const shift of [-64, 0, 64]) {
    ink.beginPath();
    ink.moveTo(shift, other ? 0 : 64);
    ink.lineTo(shift + 64, other ? 64 : 0);
    ink.stroke();
  }
  const texture = new CanvasTexture(canvas);
  texture.wrapS = texture.wrapT = RepeatWrapping;
  texture.center.set(0.5, 0.5);
  texture.colorSpace = SRGBColorSpace;
  texture.anisotropy = 8;
  return texture;
}
