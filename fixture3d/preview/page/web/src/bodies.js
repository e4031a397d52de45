/** Bodies of the setup: what each looks like, which are to be seen, which is picked. */
import {
  Box3, BufferAttribute, BufferGeometry, Color, DoubleSide, FrontSide, LineBasicMaterial, LineSegments, Mesh,
  MeshBasicMaterial, MeshLambertMaterial, Vector3,
} from "three";
import { Picked } from "./picked.js";

/** Colours of what a body is; a piece may bring its own. @type {Record<string, string>} */
const COLOURS = {
  block: "#86a9c6", clamp: "#c3a15f", pin: "#565d63", shim: "#9db0a4", piece: "#d3a07a", sweep: "#c7a76a", "keep-out": "#b8604f",
};
const SEE_THROUGH = { sweep: 0.2, "keep-out": 0.22 };

/** @typedef {{index: number, info: import("./types").Body, mesh: Mesh, lines: LineSegments, box: Box3, clear: boolean}} Body */

export class Bodies {
  /** @param {import("./types").App} app @param {import("./unpack.js").Mesh[]} meshes @param {import("three").Plane[]} planes of the cut, shared */
  constructor(app, meshes, planes) {
    this.app = app;
    this.meshes = meshes;
    this.planes = planes;
    this.geometries = meshes.map(geometryOf);
    this.edges = meshes.map(edgesOf);
    this.materials = new Map();
    this.ink = new LineBasicMaterial({ color: 0x2a2e33, clippingPlanes: planes });
    this.faint = new LineBasicMaterial({ color: 0x8a6f45, clippingPlanes: planes, transparent: true, opacity: 0.6 });
    /** @type {Set<number>} items that are hidden */
    this.hidden = new Set();
    /** @type {Set<number> | null} */
    this.alone = null;
    /** @type {number | null} item that is picked */
    this.picked = null;
    this.layers = new Map();
    this.stage = 0;
    /** @type {Body[]} */
    this.all = app.data.bodies.map((info, index) => this.body(info, index));
    /** @type {Map<number | null, Body[]>} */
    this.owned = new Map();
    for (const body of this.all) {
      const own = this.owned.get(body.info.item);
      if (own) own.push(body);
      else this.owned.set(body.info.item, [body]);
    }
    this.mark = new Picked(this, app.view, planes);
    this.refresh();
  }

  /** @param {import("./types").Body} info @param {number} index @returns {Body} */
  body(info, index) {
    const clear = info.role in SEE_THROUGH;
    const mesh = new Mesh(this.geometries[info.mesh], this.material(info));
    const lines = new LineSegments(this.edges[info.mesh], clear ? this.faint : this.ink);
    mesh.matrixAutoUpdate = false;
    mesh.matrix.fromArray(info.matrix);
    mesh.matrixWorldNeedsUpdate = true;
    mesh.renderOrder = clear ? 5 : 0;
    mesh.userData.body = index;
    mesh.add(lines);
    this.app.view.world.add(mesh);
    const geometry = this.geometries[info.mesh];
    const box = /** @type {Box3} */ (geometry.boundingBox).clone().applyMatrix4(mesh.matrix);
    return { index, info, mesh, lines, box, clear };
  }

  /** @param {import("./types").Body} info */
  material(info) {
    const name = `${info.role} ${info.colour ?? ""}`;
    const known = this.materials.get(name);
    if (known) return known;
    const colour = info.colour ? colourOf(info.colour) : new Color(COLOURS[info.role] ?? COLOURS.block);
    const opacity = /** @type {Record<string, number>} */ (SEE_THROUGH)[info.role];
    const material = opacity
      ? new MeshBasicMaterial({ color: colour, transparent: true, opacity, depthWrite: false, side: DoubleSide, clippingPlanes: this.planes })
      : new MeshLambertMaterial({ color: colour, side: FrontSide, clippingPlanes: this.planes, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
    this.materials.set(name, material);
    return material;
  }

  /** @param {Body} body */
  seen(body) {
    const { info } = body;
    if (this.layers.get(info.layer) === false) return false;
    if (info.stages && this.app.data.stages.length && !info.stages.includes(this.stage)) return false;
    if (info.item === null || info.item === undefined) return this.alone === null;
    return !this.hidden.has(info.item) && (this.alone === null || this.alone.has(info.item));
  }

  refresh() {
    for (const body of this.all) body.mesh.visible = this.seen(body);
    this.drawOutline();
    this.app.cut?.update();
    this.app.view.redraw();
  }

  drawOutline() {
    const here = this.picked === null ? [] : this.of(this.picked).filter((body) => body.mesh.visible);
    const solid = here.filter((body) => !body.clear);
    this.mark.show(solid.length ? solid : here);
  }

  /** Is a place on the side that the cut takes away? @param {number[]} at */
  cutAway(at) {
    const place = new Vector3(...at);
    return this.planes.some((plane) => plane.distanceToPoint(place) < -1e-6);
  }

  /** Does an item stand there in the stage that is shown? @param {number} item */
  inStage(item) {
    const { stages } = this.app.data;
    return !stages.length || this.of(item).some((body) => !body.info.stages || body.info.stages.includes(this.stage));
  }

  /** The item of that name, the one of this stage before those of others; -1 when there is none. @param {string} name */
  named(name) {
    const all = this.alike(name);
    return all.find((item) => this.inStage(item)) ?? all[0] ?? -1;
  }

  /** All items of a name: one that differs from stage to stage is there more than once. @param {string} name @returns {number[]} */
  alike(name) {
    return this.app.data.items.flatMap((item, k) => (item.name === name ? [k] : []));
  }

  /** Bodies of an item. @param {number} item @returns {Body[]} */
  of(item) {
    return this.owned.get(item) ?? [];
  }

  /** Box of an item's solid bodies, or of the room it is where it has none. @param {number} item @param {boolean} [seenOnly] */
  boxOf(item, seenOnly = false) {
    const box = new Box3();
    const here = this.of(item).filter((body) => !seenOnly || body.mesh.visible);
    const solid = here.filter((body) => !body.clear);
    for (const body of solid.length ? solid : here) box.union(body.box);
    return box;
  }

  /** Boxes of all solid bodies that are seen. */
  boxes() {
    return this.all.filter((body) => body.mesh.visible && !body.clear).map((body) => body.box);
  }

  /** Box of all that is seen. @param {boolean} [solidOnly] */
  box(solidOnly = true) {
    const box = new Box3();
    for (const body of this.all) if (body.mesh.visible && !(solidOnly && body.clear)) box.union(body.box);
    return box;
  }

  /**
   * First body along a ray that the cut leaves; solid ones before see-through ones.
   * @param {import("three").Raycaster} ray @param {boolean} [solidOnly]
   * @returns {{body: Body, face: number, point: Vector3, distance: number} | null}
   */
  hit(ray, solidOnly = false) {
    const seen = this.all.filter((body) => body.mesh.visible && ray.ray.intersectsBox(body.box));
    for (const clear of solidOnly ? [false] : [false, true]) {
      const hits = ray.intersectObjects(seen.filter((b) => b.clear === clear).map((b) => b.mesh), false);
      const hit = hits.find((h) => this.planes.every((plane) => plane.distanceToPoint(h.point) >= -1e-6));
      if (!hit) continue;
      const body = this.all[hit.object.userData.body];
      return { body, face: this.faceAt(body, /** @type {number} */ (hit.faceIndex)), point: hit.point, distance: hit.distance };
    }
    return null;
  }

  /** @param {Body} body @param {number} triangle */
  faceAt(body, triangle) {
    return this.meshes[body.info.mesh].ranges.findIndex((r) => triangle >= r.first && triangle < r.first + r.count);
  }
}

/** @param {import("./unpack.js").Mesh} mesh */
function geometryOf(mesh) {
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new BufferAttribute(/** @type {any} */ (mesh.positions), 3));
  geometry.setIndex(new BufferAttribute(/** @type {any} */ (mesh.index), 1));
  geometry.computeVertexNormals();
  geometry.computeBoundingBox();
  geometry.computeBoundingSphere();
  return geometry;
}

/** @param {import("./unpack.js").Mesh} mesh */
function edgesOf(mesh) {
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new BufferAttribute(/** @type {any} */ (mesh.lines), 3));
  return geometry;
}

/** @param {number[]} rgb 0 to 1, or 0 to 255, as the eye sees them */
function colourOf(rgb) {
  const full = Math.max(...rgb) > 1 ? 255 : 1;
  return new Color().setRGB(rgb[0] / full, rgb[1] / full, rgb[2] / full, "srgb");
}

