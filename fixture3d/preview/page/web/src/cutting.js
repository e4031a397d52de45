/** Controls of the cut. */
import { button, byId, el, slider } from "./dom.js";
import { show } from "./units.js";

const WORDS = /** @type {Record<string, string>} */ ({ x: "Across X", y: "Across Y", z: "Level (across Z)" });

export class Cutting {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    this.off = button("No cut", () => app.cut.set(null));
    this.axes = Object.keys(WORDS).map((axis) => ({ axis, key: button(WORDS[axis], () => app.cut.set(axis)) }));
    this.place = el("div");
    byId("cutting").append(el("div", { class: "choices", role: "group", "aria-label": "Cut" }, this.off, ...this.axes.map((a) => a.key)), this.place);
    this.axis = undefined;
    app.cut.listeners.push(() => this.draw());
    this.draw();
  }

  draw() {
    const { cut, data } = this.app;
    this.off.setAttribute("aria-pressed", String(cut.axis === null));
    for (const { axis, key } of this.axes) key.setAttribute("aria-pressed", String(cut.axis === axis));
    if (cut.axis === null) {
      this.axis = null;
      this.place.replaceChildren(el("p", { class: "hint", text: "A cut takes one side away so that you can look inside. Cut solids are hatched." }));
      return;
    }
    if (this.axis === cut.axis) {
      this.control?.set(cut.mm, false);
      return;
    }
    this.axis = cut.axis;
    const axis = cut.axis;
    const [low, high] = cut.range(axis);
    const step = data.units === "mm" ? 1 : 25.4 / 16;
    this.control = slider({
      id: "cut-at", label: `Cut at ${axis.toUpperCase()} =`, min: Math.floor(low / step) * step, max: Math.ceil(high / step) * step, step, value: cut.mm,
      words: (v) => show(v, data.units), act: (v) => cut.set(axis, v),
    });
    this.place.replaceChildren(
      this.control.node,
      el("div", { class: "buttons" }, button("Keep the other side", () => cut.set(axis, cut.mm, !cut.flipped)), button("Look straight at it", () => this.lookAt())),
      el("p", { class: "hint", text: "Measured from the centre of the first hole and from the table's top. Cut solids are hatched; the cut is made through the shapes as they are drawn." }),
    );
  }

  lookAt() {
    const { cut, view } = this.app;
    const name = /** @type {any} */ ({ x: cut.flipped ? "left" : "right", y: cut.flipped ? "front" : "back", z: cut.flipped ? "bottom" : "top" })[cut.axis ?? "z"];
    if (name === "bottom") cut.set(cut.axis, cut.mm, false);
    view.look(name === "bottom" ? "top" : name);
  }
}
