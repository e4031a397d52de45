/** Measuring in the picture: two faces or holes, their distance as a dimension line and in words. */
import { BufferGeometry, DoubleSide, Float32BufferAttribute, Mesh, MeshBasicMaterial } from "three";
import { button, byId, el, facts } from "./dom.js";
import { faceOf } from "./measure/face.js";
import { measure } from "./measure/measure.js";
import { show, showAngle } from "./units.js";

/** @typedef {{body: number | string, face: number} | {hole: string} | {table: "top"}} Ask */
/** @typedef {{end: import("./measure/measure.js").End, words: string, marker: Mesh | null, at: number[]}} Chosen */

export class Measuring {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    /** @type {Chosen[]} */
    this.ends = [];
    /** @type {import("./measure/measure.js").Measured | null} */
    this.result = null;
    this.out = byId("measured");
    this.material = new MeshBasicMaterial({ color: 0x2f7fc1, transparent: true, opacity: 0.6, side: DoubleSide, depthWrite: false, polygonOffset: true, polygonOffsetFactor: -2, polygonOffsetUnits: -2 });
    this.picker();
    this.draw();
    app.ink.painters.push(() => this.paint());
  }

  /** @param {Ask} ask @returns {Chosen} */
  end(ask) {
    const { data, bodies, table } = this.app;
    if ("hole" in ask) {
      const hole = table.names.get(String(ask.hole).trim().toUpperCase());
      if (!hole) throw new Error(`the table has no hole "${ask.hole}"`);
      return { end: { hole }, words: `hole ${hole.name}, its centre at the table's face`, marker: null, at: hole.centre };
    }
    if ("table" in ask) {
      const face = table.topFace();
      if (!face) throw new Error("there is no table");
      return { end: { face }, words: `the table's top, taken as one flat face: its holes${data.table.slots?.length ? " and slots" : ""} count as steel`, marker: null, at: face.triangles[0][0] };
    }
    const index = typeof ask.body === "number" ? ask.body : bodies.all.findIndex((/** @type {any} */ b) => b.info.name === ask.body && b.mesh.visible);
    const body = bodies.all[index];
    if (!body) throw new Error(`there is no body "${ask.body}" to be seen`);
    const shape = bodies.meshes[body.info.mesh];
    if (!shape.ranges[ask.face]) throw new Error(`"${body.info.name}" has ${shape.ranges.length} faces; there is no face ${ask.face}`);
    const face = faceOf(shape, ask.face, body.info.matrix);
    return { end: { face }, words: `${body.info.name}, ${faceWords(face.surface, data.units)}`, marker: this.marker(face), at: face.triangles[0][0] };
  }

  /** @param {import("./measure/face.js").Face} face */
  marker(face) {
    const geometry = new BufferGeometry().setAttribute("position", new Float32BufferAttribute(face.triangles.flat(2), 3));
    const mesh = new Mesh(geometry, this.material);
    mesh.renderOrder = 4;
    return mesh;
  }

  /** Exact distance of two ends, without showing it. @param {Ask} a @param {Ask} b */
  between(a, b) {
    return measure(this.end(a).end, this.end(b).end);
  }

  /** Takes one more end; a third begins anew. @param {Ask} ask */
  add(ask) {
    const end = this.end(ask);
    if (this.ends.length === 2) this.clear(false);
    this.ends.push(end);
    if (end.marker) this.app.view.world.add(end.marker);
    if (this.ends.length === 2) this.result = measure(this.ends[0].end, this.ends[1].end);
    this.draw();
  }

  /** Says why a tap gave nothing to measure from; what was chosen stays. @param {string} why */
  refuse(why) {
    this.draw();
    this.out.prepend(el("p", { class: "wrong", role: "alert", text: why }));
  }

  clear(draw = true) {
    for (const { marker } of this.ends)
      if (marker) {
        this.app.view.world.remove(marker);
        marker.geometry.dispose();
      }
    this.ends = [];
    this.result = null;
    if (draw) this.draw();
  }

  draw() {
    const { units } = this.app.data;
    const say = this.ends.length === 0 ? "Tap a face of a part, a hole of the table, or the table between its holes." : this.ends.length === 1 ? "Now tap the second one." : "Tap again to measure something else.";
    this.out.replaceChildren(
      el("p", { class: "hint", text: say }),
      el("ol", { class: "ends" }, ...this.ends.map((e) => el("li", { text: e.words }))),
    );
    const r = this.result;
    if (r) {
      const rows = /** @type {[string, string][]} */ ([
        ...(r.square && Math.abs(r.square.mm - r.distance) > 5e-3 ? [[r.square.what, show(r.square.mm, units)]] : []),
        ...(r.centres ? [[r.centres.what, show(r.centres.mm, units)]] : []),
        ["along X", show(r.delta[0], units)], ["along Y", show(r.delta[1], units)], ["along Z", show(r.delta[2], units)],
        ...(r.angle === null ? [] : [["angle between them", showAngle(r.angle)]]),
      ]);
      this.out.append(
        el("p", { class: "result" }, el("strong", { text: show(r.distance, units) }), el("small", { text: this.meaning(r) })),
        facts(rows),
      );
    }
    if (this.ends.length) this.out.append(el("div", { class: "buttons" }, button("Clear", () => this.clear())));
    this.app.view.redraw();
  }

  /** @param {import("./measure/measure.js").Measured} r */
  meaning(r) {
    if (this.ends.every((e) => "hole" in e.end)) return "from centre to centre";
    if (r.square && Math.abs(r.square.mm - r.distance) <= 5e-3) return "square across, which is also the shortest way";
    return "shortest way between the two";
  }

  /** The same by list, for keyboard and for what can not be tapped. */
  picker() {
    const { data, bodies, table } = this.app;
    const names = el("select", { id: "end-part" }, el("option", { value: "", text: "choose a part" }),
      ...bodies.all.map((/** @type {any} */ b) => el("option", { value: b.index, text: b.info.item === null || b.info.name.startsWith(data.items[b.info.item].name) ? b.info.name : `${data.items[b.info.item].name}: ${b.info.name}` })));
    const faces = el("select", { id: "end-face", disabled: true });
    const take = button("Take this face", () => this.add({ body: Number(names.value), face: Number(faces.value) }), { disabled: true });
    names.addEventListener("change", () => {
      faces.replaceChildren();
      faces.disabled = take.disabled = names.value === "";
      if (names.value === "") return;
      const body = bodies.all[Number(names.value)];
      bodies.meshes[body.info.mesh].ranges.forEach((/** @type {any} */ _, /** @type {number} */ k) => {
        const face = faceOf(bodies.meshes[body.info.mesh], k, body.info.matrix);
        faces.append(el("option", { value: k, text: `${k + 1}: ${faceWords(face.surface, data.units)}` }));
      });
    });
    const hole = el("input", { id: "end-hole", type: "text", autocomplete: "off", size: 6, placeholder: table.holes[0]?.name ?? "" });
    const wrong = el("p", { class: "wrong", role: "alert" });
    const takeHole = () => {
      wrong.textContent = "";
      try {
        this.add({ hole: hole.value });
      } catch (error) {
        wrong.textContent = `${/** @type {Error} */ (error).message}.`;
      }
    };
    hole.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => event.key === "Enter" && takeHole());
    byId("by-list").append(
      el("label", { for: "end-part", text: "Part" }), names, el("label", { for: "end-face", text: "Face" }), faces, take,
      el("label", { for: "end-hole", text: "Hole" }), hole, button("Take this hole", takeHole), wrong,
      table.plate ? button("Take the table's top", () => this.add({ table: "top" })) : "",
    );
  }

  paint() {
    const { view, ink, data } = this.app;
    const r = this.result;
    if (r) {
      const line = (/** @type {number[]} */ from, /** @type {number[]} */ to, /** @type {number} */ mm, /** @type {boolean} */ dashed) => {
        const [a, b] = [view.project(from), view.project(to)];
        if (a && b) ink.dimension(a, b, show(mm, data.units), dashed);
      };
      line(r.from, r.to, r.distance, false);
      if (r.square && Math.abs(r.square.mm - r.distance) > 5e-3) line(r.square.from, r.square.to, r.square.mm, true);
      return;
    }
    this.ends.forEach((end, k) => {
      const at = view.project(end.at);
      if (at) ink.label(at, `${k + 1}: ${end.words}`, { force: true, frame: "#0b3c6f", ink: "#0b3c6f" });
    });
  }
}

/** What a face is and which way it looks. @param {import("./measure/surface.js").Surface} s @param {"mm" | "in"} units */
export function faceWords(s, units) {
  if (s.kind === "plane") return `flat face looking ${way(s.n)}`;
  if (s.kind === "cylinder") return `round ${s.inside ? "hole" : "face"} ${show(2 * s.r, units)} across`;
  if (s.kind === "sphere") return `ball ${show(2 * s.r, units)} across`;
  if (s.kind === "torus") return `bend of a tube ${show(2 * s.r, units)} across`;
  return s.kind === "cone" ? "cone" : "free-form face";
}

/** @param {number[]} n */
function way(n) {
  const k = [0, 1, 2].reduce((best, i) => (Math.abs(n[i]) > Math.abs(n[best]) ? i : best), 0);
  if (Math.abs(n[k]) > 0.99999) return k === 2 ? (n[2] > 0 ? "up" : "down") : `${n[k] > 0 ? "+" : "-"}${"XY"[k]}`;
  return `(${n.map((v) => v.toFixed(2)).join(", ")})`;
}
