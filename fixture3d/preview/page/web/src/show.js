/** What is drawn: layers, names, pins, and the stage. */
import { button, byId, el } from "./dom.js";

export class Show {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    this.box = byId("layers");
    /** @type {Record<string, HTMLInputElement>} */
    this.checks = {};
    const layers = new Set(app.data.bodies.map((b) => b.layer));
    const rows = /** @type {[string, string, boolean, (on: boolean) => void][]} */ ([
      ["table", "Table", Boolean(app.data.table.plate), (on) => (app.table.shown = on)],
      ["pieces", "Pieces", layers.has("pieces"), (on) => app.bodies.layers.set("pieces", on)],
      ["blocks", "Blocks", layers.has("blocks"), (on) => app.bodies.layers.set("blocks", on)],
      ["clamps", "Clamps", layers.has("clamps"), (on) => app.bodies.layers.set("clamps", on)],
      ["keep-outs", "Room to keep clear, and room clamps need to open", layers.has("keep-outs"), (on) => app.bodies.layers.set("keep-outs", on)],
      ["welds", "Welds", app.data.welds.length > 0, (on) => app.bodies.layers.set("welds", on)],
      ["torch", "Torch and its needles", app.data.torches.length > 0, (on) => app.bodies.layers.set("torch", on)],
      ["contacts", "Where the work is located", app.lies.has.contacts, (on) => (app.lies.shown.contacts = on)],
      ["motions", "How pieces can still move", app.lies.has.motions, (on) => (app.lies.shown.motions = on)],
      ["way-out", "The way out", app.lies.has.out, (on) => (app.lies.shown.out = on)],
      ["names", "Names of parts", true, (on) => (app.lettering.named = on)],
      ["hole-names", "Names of holes", app.table.holes.length > 0, (on) => (app.table.named = on)],
      ["pins", "Marks of findings", app.data.findings.some((f) => f.at), (on) => (app.findings.pinned = on)],
    ]);
    for (const [key, label, any, act] of rows) {
      if (!any) continue;
      const check = el("input", { type: "checkbox", checked: key !== "keep-outs", onchange: () => this.apply() });
      this.checks[key] = check;
      check.act = act;
      this.box.append(el("label", { class: "check" }, check, el("span", { text: label })));
    }
    this.stages();
    this.apply();
  }

  apply() {
    for (const check of Object.values(this.checks)) /** @type {any} */ (check).act(check.checked);
    this.app.bodies.refresh();
    this.app.welds.refresh();
    this.app.parts.drawCard();
  }

  /** @param {string} key @param {boolean} on */
  layer(key, on) {
    if (!this.checks[key]) return;
    this.checks[key].checked = on;
    this.apply();
  }

  stages() {
    const { stages } = this.app.data;
    const bar = byId("stages");
    bar.hidden = stages.length === 0;
    if (!stages.length) return;
    this.stageButtons = stages.map((stage, k) => button(`${k + 1}. ${stage.name}`, () => this.setStage(k), { "aria-pressed": "false" }));
    this.stageText = el("span", { class: "stage-text", "aria-live": "polite" });
    bar.append(el("span", { class: "bar-name", text: "Stage" }), ...this.stageButtons, this.stageText);
    this.setStage(0);
  }

  /** @param {number} k */
  setStage(k) {
    const { stages } = this.app.data;
    if (!stages.length) return;
    if (!stages[k]) throw new Error(`there are ${stages.length} stages; there is no stage ${k}`);
    this.app.bodies.stage = k;
    this.app.parts.restage();
    this.stageButtons?.forEach((b, n) => b.setAttribute("aria-pressed", String(n === k)));
    if (this.stageText) this.stageText.textContent = stages[k].text;
    this.app.bodies.refresh();
    this.app.welds.refresh();
    this.app.parts.drawCard();
  }

  refresh() {
    this.app.welds.refresh();
  }
}
