/** Camera, controls and drawing on demand. World frame: mm, Z up. */
import {
  AmbientLight, Box3, Color, DirectionalLight, Group, HemisphereLight, PerspectiveCamera, Raycaster, Scene, Vector2,
  Vector3, WebGLRenderer,
} from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";

const WIDE = 28; // degrees, when turning
const LONG = 3; // degrees, for the straight views: as good as parallel

/** Where the camera stands as seen from the middle, by the name of the view. @type {Record<string, number[]>} */
export const VIEWS = {
  corner: [-0.42, -1, 0.95],
  top: [0, -0.0001, 1],
  front: [0, -1, 0],
  back: [0, 1, 0],
  left: [-1, 0, 0],
  right: [1, 0, 0],
};

export class View {
  /** @param {HTMLCanvasElement} canvas @param {(all: boolean) => Box3[]} bounds what a view shows */
  constructor(canvas, bounds) {
    this.canvas = canvas;
    this.bounds = bounds;
    this.renderer = new WebGLRenderer({ canvas, antialias: true, stencil: true });
    this.renderer.localClippingEnabled = true;
    this.scene = new Scene();
    this.camera = new PerspectiveCamera(WIDE, 1, 1, 10000);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.zoomToCursor = true;
    this.controls.zoomSpeed = 1.2;
    this.controls.addEventListener("change", () => this.redraw());
    this.controls.addEventListener("start", () => this.stop());
    this.size = { width: 1, height: 1 };
    /** @type {(() => void)[]} */
    this.painters = [];
    /** @type {(() => void) | null} just before each picture */
    this.before = null;
    /** Pixels at the upper edge that something lies over. */
    this.top = () => 0;
    this.world = new Group();
    this.scene.add(this.world);
    this.light();
    this.waiting = 0;
    this.flight = 0;
    this.frames = 0;
    this.straight = false;
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    new ResizeObserver(() => this.fitCanvas()).observe(/** @type {Element} */ (canvas.parentElement));
    canvas.addEventListener("webglcontextrestored", () => this.redraw());
    canvas.addEventListener("pointermove", (event) => {
      if (this.straight && event.buttons === 1 && event.pointerType === "mouse") this.widen();
    });
    canvas.addEventListener("touchmove", (event) => {
      if (this.straight && event.touches.length === 1) this.widen();
    }, { passive: true });
  }

  light() {
    const sun = new DirectionalLight(0xffffff, 1.5);
    sun.position.set(-0.5, 0.9, 0.6); // over the left shoulder of whoever looks
    this.camera.add(sun, sun.target);
    sun.target.position.set(0, 0, -1);
    this.scene.add(this.camera, new HemisphereLight(0xffffff, 0xb9b2a0, 1.35), new AmbientLight(0xffffff, 0.35));
  }

  /** @param {string} colour */
  paper(colour) {
    this.renderer.setClearColor(new Color(colour));
  }

  fitCanvas() {
    const box = /** @type {Element} */ (this.canvas.parentElement).getBoundingClientRect();
    const [width, height] = [Math.max(1, Math.round(box.width)), Math.max(1, Math.round(box.height))];
    if (width === this.size.width && height === this.size.height) return;
    const first = this.size.width === 1;
    this.size = { width, height };
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.renderer.setSize(width, height, false);
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    if (!first && this.fitted) this.look(this.fitted, false);
    this.redraw();
  }

  /** Asks for one new picture; there is no loop. */
  redraw() {
    this.settle(); // so that places on the screen are right before the picture is
    if (!this.waiting) this.waiting = requestAnimationFrame(() => this.paint());
  }

  paint() {
    cancelAnimationFrame(this.waiting);
    this.waiting = 0;
    this.settle();
    this.before?.();
    this.renderer.render(this.scene, this.camera);
    this.frames += 1;
    for (const paint of this.painters) paint();
  }

  /** Depth of the picture and the camera's matrices as they are now. */
  settle() {
    const reach = this.reach ?? 1000;
    const away = this.camera.position.distanceTo(this.middle ?? this.controls.target);
    this.camera.near = Math.max(reach / 2000, away - reach);
    this.camera.far = away + reach;
    this.camera.updateProjectionMatrix();
    this.camera.updateMatrixWorld();
  }

  /** Ball round all there is to see, for the depth of the picture. @param {Box3} all */
  setReach(all) {
    this.middle = all.getCenter(new Vector3());
    this.reach = all.getSize(new Vector3()).length() / 2 + 300;
    this.controls.minDistance = 5;
    this.controls.maxDistance = this.reach * 60;
  }

  stop() {
    cancelAnimationFrame(this.flight);
    this.fitted = null;
  }

  /** From a straight view back to the usual lens without a jump. */
  widen() {
    this.straight = false;
    this.lens(WIDE);
  }

  /** Changes the lens and keeps the size of what is at the target. @param {number} degrees */
  lens(degrees) {
    const ratio = Math.tan((this.camera.fov * Math.PI) / 360) / Math.tan((degrees * Math.PI) / 360);
    const target = this.controls.target;
    this.camera.position.sub(target).multiplyScalar(ratio).add(target);
    this.camera.fov = degrees;
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.redraw();
  }

  /** A standard view that shows everything. @param {string} name @param {boolean} [fly] */
  look(name, fly = true) {
    const fit = name === "fit";
    const boxes = this.bounds(fit);
    if (!boxes.length) return;
    const towards = fit ? this.camera.position.clone().sub(this.controls.target) : new Vector3(...VIEWS[name]);
    // An upright picture is filled better from higher up.
    if (name === "corner" && this.camera.aspect < 1.1) towards.z *= 1.6;
    this.straight = fit ? this.straight : name !== "corner";
    this.frame(boxes, towards.normalize(), this.straight ? LONG : WIDE, fly);
    this.fitted = fit ? null : name;
  }

  /** Puts boxes into the middle of the picture. @param {Box3[]} boxes @param {Vector3} towards unit, to the eye @param {number} [fov] @param {boolean} [fly] */
  frame(boxes, towards, fov = this.camera.fov, fly = true) {
    const target = boxes.reduce((all, box) => all.union(box), new Box3()).getCenter(new Vector3());
    const corners = boxes.flatMap((box) => [...Array(8).keys()].map((k) =>
      new Vector3(k & 1 ? box.max.x : box.min.x, k & 2 ? box.max.y : box.min.y, k & 4 ? box.max.z : box.min.z)));
    const at = new Vector3();
    const up = Math.abs(towards.z) > 0.9999 ? new Vector3(0, 1, 0) : new Vector3(0, 0, 1);
    const right = new Vector3().crossVectors(up, towards).normalize();
    const over = new Vector3().crossVectors(towards, right);
    const tall = Math.tan((fov * Math.PI) / 360);
    // The keys of the views lie over the lower edge, the stages over the upper one: it is fitted in between.
    const [top, bottom] = [this.top() / this.size.height, 60 / this.size.height].map((share) => Math.min(0.3, share));
    const [wide, high] = [tall * this.camera.aspect * 0.92, tall * 0.96 * (1 - top - bottom)];
    // The middle of a box in perspective is not its centre: shift until both sides have the same room.
    let away = 1;
    for (let round = 0; round < 6; round++) {
      const ends = { left: -Infinity, right: -Infinity, low: -Infinity, top: -Infinity };
      for (const corner of corners) {
        at.subVectors(corner, target);
        const [x, y, depth] = [at.dot(right), at.dot(over), at.dot(towards)];
        ends.right = Math.max(ends.right, x / wide + depth);
        ends.left = Math.max(ends.left, -x / wide + depth);
        ends.top = Math.max(ends.top, y / high + depth);
        ends.low = Math.max(ends.low, -y / high + depth);
      }
      target.addScaledVector(right, ((ends.right - ends.left) / 2) * wide);
      target.addScaledVector(over, ((ends.top - ends.low) / 2) * high);
      away = Math.max((ends.right + ends.left) / 2, (ends.top + ends.low) / 2);
    }
    const depth = Math.max(away, 20);
    target.addScaledVector(over, (top - bottom) * tall * depth);
    this.move(target, target.clone().addScaledVector(towards, depth), fov, fly);
  }

  /** To a place, keeping the side that is looked at. @param {Vector3} place @param {number} radius mm around it that should be seen */
  flyTo(place, radius) {
    const towards = this.camera.position.clone().sub(this.controls.target).normalize();
    if (towards.z < 0.25) towards.setZ(0.35).normalize();
    const fov = WIDE;
    this.straight = false;
    const least = Math.min(1, this.camera.aspect);
    const away = radius / Math.tan((fov * Math.PI) / 360) / least;
    this.move(place.clone(), place.clone().addScaledVector(towards, away), fov, true);
    this.fitted = null;
  }

  /** @param {Vector3} target @param {Vector3} eye @param {number} fov @param {boolean} fly */
  move(target, eye, fov, fly) {
    cancelAnimationFrame(this.flight);
    const from = { target: this.controls.target.clone(), eye: this.camera.position.clone() };
    if (Math.abs(fov - this.camera.fov) > 0.01) {
      this.lens(fov);
      from.eye.copy(this.camera.position);
    }
    const set = (/** @type {number} */ t) => {
      this.controls.target.lerpVectors(from.target, target, t);
      this.camera.position.lerpVectors(from.eye, eye, t);
      this.controls.update();
      this.redraw();
    };
    const began = performance.now();
    const step = () => {
      const t = Math.min(1, (performance.now() - began) / 350);
      set(t * t * (3 - 2 * t));
      if (t < 1) this.flight = requestAnimationFrame(step);
    };
    if (!fly || this.still.matches) set(1);
    else step();
  }

  /** Turns about the target; degrees. @param {number} round @param {number} up */
  turn(round, up) {
    this.stop();
    if (this.straight) this.widen();
    const rel = this.camera.position.clone().sub(this.controls.target);
    const r = rel.length();
    const side = Math.atan2(rel.y, rel.x) + (round * Math.PI) / 180;
    const rise = Math.min(1.5705, Math.max(-1.5705, Math.asin(rel.z / r) + (up * Math.PI) / 180));
    rel.set(Math.cos(rise) * Math.cos(side), Math.cos(rise) * Math.sin(side), Math.sin(rise)).multiplyScalar(r);
    this.camera.position.copy(this.controls.target).add(rel);
    this.controls.update();
    this.redraw();
  }

  /** Shares of the picture's height. @param {number} x @param {number} y */
  pan(x, y) {
    this.stop();
    const step = this.camera.position.distanceTo(this.controls.target) * 2 * Math.tan((this.camera.fov * Math.PI) / 360);
    const right = new Vector3().setFromMatrixColumn(this.camera.matrix, 0).multiplyScalar(x * step);
    const up = new Vector3().setFromMatrixColumn(this.camera.matrix, 1).multiplyScalar(y * step);
    for (const v of [right, up]) {
      this.camera.position.add(v);
      this.controls.target.add(v);
    }
    this.controls.update();
    this.redraw();
  }

  /** @param {number} factor below 1 comes nearer */
  zoom(factor) {
    this.stop();
    this.camera.position.sub(this.controls.target).multiplyScalar(factor).add(this.controls.target);
    this.controls.update();
    this.redraw();
  }

  /** Place on the canvas in CSS pixels; null behind the eye. @param {number[]} p @returns {{x: number, y: number, depth: number} | null} */
  project(p) {
    const v = new Vector3(p[0], p[1], p[2]).project(this.camera);
    if (v.z > 1 || v.z < -1) return null;
    return { x: ((v.x + 1) / 2) * this.size.width, y: ((1 - v.y) / 2) * this.size.height, depth: v.z };
  }

  /** Pixels that one mm takes at a place. @param {Vector3} place */
  scaleAt(place) {
    const away = this.camera.position.distanceTo(place);
    return this.size.height / (2 * away * Math.tan((this.camera.fov * Math.PI) / 360));
  }

  /** @param {number} x CSS pixels in the canvas @param {number} y */
  ray(x, y) {
    const caster = new Raycaster();
    caster.setFromCamera(new Vector2((x / this.size.width) * 2 - 1, 1 - (y / this.size.height) * 2), this.camera);
    return caster;
  }
}
