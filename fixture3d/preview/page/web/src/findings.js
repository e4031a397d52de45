/** What the checks found: a list that leads to the place, and numbered pins in the picture. */
import { Vector3 } from "three";
import { button, byId, el } from "./dom.js";

const WORDS = /** @type {Record<string, string>} */ ({ fail: "Fail", warn: "Warn", note: "Note" });

export class Findings {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    /** @type {number | null} */
    this.chosen = null;
    this.pinned = true;
    this.list = byId("finding-list");
    /** @type {HTMLElement[]} */
    this.rows = app.data.findings.map((f, k) => this.row(f, k));
    if (this.rows.length) this.list.append(el("ul", { class: "rows" }, ...this.rows));
    else this.list.append(el("p", { class: "hint", text: app.data.verdict.text.startsWith("NOT CHECKED") ? "The checks were not run for this page." : "The checks found nothing." }));
    const { not_judged: open } = app.data.verdict;
    byId("not-judged").append(...(open.length ? open : ["Nothing is listed as not judged."]).map((text) => el("li", { text })));
    app.ink.painters.push(() => this.pins());
  }

  /** @param {import("./types").Finding} f @param {number} k */
  row(f, k) {
    const stage = f.stage !== null && f.stage !== undefined ? this.app.data.stages[f.stage]?.name : null;
    const body = el("div", { class: "more", id: `finding-${k}`, hidden: true },
      el("p", { text: f.message }),
      f.figure ? el("p", { class: "figure", text: f.figure }) : null,
      f.remedy ? el("p", { class: "remedy" }, el("strong", { text: "What to do: " }), f.remedy) : null,
      el("p", { class: "rule", text: `${f.check}, rule ${f.rule}${f.at ? "" : "; it has no one place"}` }),
      el("div", { class: "buttons" }, button("Go to the place", () => this.fly(k)),
        ...f.subjects.map((name) => this.subject(name)).filter(Boolean)),
    );
    const head = button("", () => (this.chosen === k ? this.close() : this.open(k)), { class: "row", "aria-expanded": "false", "aria-controls": `finding-${k}` });
    head.append(el("span", { class: `mark ${f.level}`, text: f.mark }), el("span", { class: "told" }, el("b", { text: `${WORDS[f.level] ?? f.level}: ` }), f.title,
      el("small", { text: [f.subjects.join(", "), stage && `stage ${stage}`].filter(Boolean).join("; ") })));
    return el("li", {}, head, body);
  }

  /** @param {string} name */
  subject(name) {
    return this.app.bodies.named(name) < 0 ? null : button(name, () => {
      this.app.parts.pick(this.app.bodies.named(name), true);
      this.app.tabs.open("parts");
    });
  }

  /** Opens a finding and flies to it. @param {number} k */
  open(k) {
    this.chosen = k;
    this.app.tabs.open("findings");
    this.rows.forEach((row, n) => {
      row.firstElementChild?.setAttribute("aria-expanded", String(n === k));
      /** @type {HTMLElement} */ (row.lastElementChild).hidden = n !== k;
    });
    this.rows[k].scrollIntoView({ block: "nearest" });
    this.fly(k);
  }

  close() {
    this.chosen = null;
    for (const row of this.rows) {
      row.firstElementChild?.setAttribute("aria-expanded", "false");
      /** @type {HTMLElement} */ (row.lastElementChild).hidden = true;
    }
    this.app.view.redraw();
  }

  /** @param {number} k */
  fly(k) {
    const f = this.app.data.findings[k];
    if (f.stage !== null && f.stage !== undefined) this.app.show.setStage(f.stage);
    const item = f.subjects.map((name) => this.app.bodies.named(name)).find((k) => k >= 0) ?? -1;
    this.app.bodies.picked = item < 0 ? null : item;
    this.app.bodies.refresh();
    this.app.parts.drawCard();
    if (f.at) this.app.view.flyTo(new Vector3(...f.at), 190);
    else if (item >= 0) this.app.parts.goTo(item);
    else this.app.view.look("fit");
  }

  /** @param {number} way */
  step(way) {
    const n = this.rows.length;
    if (n) this.open(((this.chosen ?? (way > 0 ? -1 : 0)) + way + n) % n);
  }

  pins() {
    if (!this.pinned) return;
    const { app } = this;
    const { width, height } = app.view.size;
    const welding = app.tabs.now === "welds"; // then their lines must be seen
    const there = app.data.findings.flatMap((f, k) => {
      if (welding && (f.level === "note" || f.check === "torch access") && k !== this.chosen) return []; // the lines tell it
      if (!f.at || app.bodies.cutAway(f.at) || (f.stage !== null && f.stage !== undefined && f.stage !== app.bodies.stage)) return [];
      const at = app.view.project(f.at);
      return at && at.x > 0 && at.y > 0 && at.x < width && at.y < height ? [{ f, k, at }] : [];
    });
    // Many pins on a small picture, or a torch that must be seen: only the shapes, without their numbers.
    const crowded = there.length > (width * height) / 14000;
    const size = welding || app.welds?.at ? "shape" : crowded ? "small" : "full";
    const sized = there.map((pin) => ({ ...pin, own: pin.k === this.chosen ? "big" : size === "small" && pin.f.level !== "fail" ? "shape" : size }));
    // Shapes lie below the others; the chosen one takes the best room that is left.
    const order = ["shape", "big", "full", "small"];
    sized.sort((a, b) => order.indexOf(a.own) - order.indexOf(b.own));
    for (const { f, k, at, own } of sized) app.ink.pin(at, f.mark, f.level, /** @type {any} */ (own), () => this.open(k));
  }
}
