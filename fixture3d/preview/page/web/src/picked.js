/** How a picked body is marked: hatched, with a thick outline; its label is written by lettering.js. Not by colour alone. */
import { BackSide, Group, Mesh, MeshBasicMaterial, Vector2 } from "three";
import { LineMaterial } from "three/examples/jsm/lines/LineMaterial.js";
import { LineSegments2 } from "three/examples/jsm/lines/LineSegments2.js";
import { LineSegmentsGeometry } from "three/examples/jsm/lines/LineSegmentsGeometry.js";

const MARK = 0x0b3c6f;
const PAPER = 0xfffdf7;
const RIM = 4; // CSS pixels of the rim round the body

export class Picked {
  /** @param {import("./bodies.js").Bodies} bodies @param {import("./view.js").View} view @param {import("three").Plane[]} planes of the cut, shared @param {{colour?: number, hatch?: boolean}} [look] */
  constructor(bodies, view, planes, { colour = MARK, hatch = true } = {}) {
    this.colour = colour;
    this.bodies = bodies;
    this.ratio = Math.min(devicePixelRatio, 2);
    this.window = new Vector2(1, 1);
    this.group = new Group();
    view.world.add(this.group);
    const line = { transparent: true, depthWrite: false, clippingPlanes: planes, polygonOffset: true, polygonOffsetFactor: -4, polygonOffsetUnits: -4 };
    // Hidden edges are dashed, as on a drawing, and go through all that stands before the body.
    this.hidden = new LineMaterial({ ...line, color: colour, linewidth: 2, depthTest: false, dashed: true, dashSize: 4, gapSize: 2.5 });
    this.halo = new LineMaterial({ ...line, color: PAPER, linewidth: 6, opacity: 0.9 });
    this.edge = new LineMaterial({ ...line, color: colour, linewidth: 3.5 });
    this.hatch = hatch ? this.hatched(planes) : null;
    this.rim = this.rimmed(planes);
    view.painters.push(() => this.window.set(view.size.width, view.size.height));
  }

  /** Slanted bars over what is seen of the body, of the same width on any screen. @param {import("three").Plane[]} planes */
  hatched(planes) {
    const material = new MeshBasicMaterial({ color: this.colour, transparent: true, depthWrite: false, clippingPlanes: planes, polygonOffset: true, polygonOffsetFactor: -1, polygonOffsetUnits: -1 });
    const bars = `#include <opaque_fragment>
      gl_FragColor.a = mod(gl_FragCoord.x - gl_FragCoord.y, ${(10 * this.ratio).toFixed(1)}) < ${(4 * this.ratio).toFixed(1)} ? 0.72 : 0.12;`;
    material.onBeforeCompile = (shader) => (shader.fragmentShader = shader.fragmentShader.replace("#include <opaque_fragment>", bars));
    return material;
  }

  /** The body's back, drawn some pixels larger: a round body has no sharp edges that would show its outline. @param {import("three").Plane[]} planes */
  rimmed(planes) {
    const material = new MeshBasicMaterial({ color: this.colour, side: BackSide, clippingPlanes: planes });
    material.onBeforeCompile = (shader) => {
      shader.uniforms.window = { value: this.window };
      const grow = `#include <project_vertex>
        vec2 out2d = (projectionMatrix * vec4(normalMatrix * normal, 0.0)).xy * window;
        if (length(out2d) > 1e-6) gl_Position.xy += normalize(out2d) * ${(2 * RIM).toFixed(1)} / window * gl_Position.w;`;
      shader.vertexShader = `uniform vec2 window;\n${shader.vertexShader.replace("#include <project_vertex>", grow)}`;
    };
    return material;
  }

  /** @param {import("./bodies.js").Body[]} bodies */
  show(bodies) {
    for (const part of /** @type {any[]} */ ([...this.group.children])) {
      this.group.remove(part);
      if (part.isLineSegments2) part.geometry.dispose(); // that of the body itself is shared
    }
    const order = new Map(/** @type {[any, number][]} */ ([[this.rim, 0], [this.hatch, 87], [this.hidden, 88], [this.halo, 89], [this.edge, 90]]));
    for (const body of bodies) {
      const points = /** @type {any} */ (this.bodies.meshes[body.info.mesh].lines);
      const parts = /** @type {Mesh[]} */ ([new Mesh(body.mesh.geometry, this.rim)]);
      if (this.hatch) parts.push(new Mesh(body.mesh.geometry, this.hatch));
      if (points.length) for (const look of [this.hidden, this.halo, this.edge]) parts.push(/** @type {any} */ (new LineSegments2(new LineSegmentsGeometry().setPositions(points), look).computeLineDistances()));
      parts.forEach((part) => {
        part.matrixAutoUpdate = false;
        part.matrix.copy(body.mesh.matrix);
        part.renderOrder = order.get(part.material) ?? 0;
        this.group.add(part);
      });
    }
  }
}
