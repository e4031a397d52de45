/** List of blocks, clamps and pieces, and the card of the one that is picked. */
import { show } from "./units.js";
import { button, byId, el, facts, put } from "./dom.js";

const GROUPS = [["block", "Blocks"], ["clamp", "Clamps"], ["piece", "Pieces"], ["keep-out", "Keep clear"]];
const KINDS = /** @type {Record<string, string>} */ ({ block: "block", clamp: "clamp", piece: "piece", "keep-out": "room to keep clear" });

export class Parts {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    /** @type {import("./holes.js").Hole | null} */
    this.hole = null;
    this.card = byId("card");
    app.ink.painters.push(() => this.paintHole());
    this.list = byId("part-list");
    /** @type {{head: HTMLElement, group: HTMLElement, title: string, items: number[]}[]} */
    this.heads = [];
    /** @type {HTMLDetailsElement | null} the rooms, folded: there is one for every weld */
    this.rooms = null;
    /** @type {import("./types").Slot | null} */
    this.slot = null;
    /** @type {Map<number, HTMLElement>} */
    this.rows = new Map();
    this.drawList();
    this.drawCard();
  }

  drawList() {
    const { items } = this.app.data;
    for (const [kind, title] of GROUPS) {
      const own = items.map((item, k) => ({ item, k })).filter(({ item }) => item.kind === kind);
      if (!own.length) continue;
      const rows = own.map(({ item, k }) => {
        const row = el("li", {}, button("", () => this.pick(k, true), { class: "row" }));
        row.firstChild.append(el("strong", { text: item.name }), el("span", { text: brief(item) }), el("em", { text: "" }));
        this.rows.set(k, row);
        return row;
      });
      const list = el("ul", { class: "rows" }, ...rows);
      const folded = kind === "keep-out";
      const head = folded ? el("summary") : el("h3");
      const group = folded ? el("details", {}, head, this.roomKey(), list) : el("section", {}, head, list);
      if (folded) this.rooms = group;
      this.heads.push({ head, group, title, items: own.map(({ k }) => k) });
      this.list.append(group);
    }
    if (!items.length) this.list.append(el("p", { text: "Nothing stands on this table yet." }));
  }

  /** Draws all rooms, or none. */
  roomKey() {
    this.roomsKey = button("", () => this.app.show.layer("keep-outs", !this.roomsDrawn()), { class: "wide" });
    return el("div", { class: "buttons" }, this.roomsKey);
  }

  roomsDrawn() {
    return this.app.bodies.layers.get("keep-outs") !== false;
  }

  /** @param {number | null} item @param {boolean} [go] fly there */
  pick(item, go = false) {
    const { app } = this;
    app.bodies.picked = item;
    this.hole = this.slot = null;
    if (item !== null && this.rooms && app.data.items[item].kind === "keep-out") this.rooms.open = true;
    // Rooms are not drawn at first: one that is asked for by name is.
    if (item !== null && go && app.data.items[item].kind === "keep-out") app.show.layer("keep-outs", true);
    if (item !== null && go) this.goTo(item);
    app.bodies.refresh();
    this.drawCard();
  }

  /** Tells where a hole of the table is. @param {import("./holes.js").Hole} hole */
  pickHole(hole) {
    this.pick(null);
    this.hole = hole;
    this.drawCard();
    this.app.view.redraw();
  }

  /** Tells which slot of the table that is. @param {import("./types").Slot} slot */
  pickSlot(slot) {
    this.pick(null);
    this.slot = slot;
    this.drawCard();
    this.app.view.redraw();
  }

  paintHole() {
    if (this.slot) {
      const [a, b] = this.slot.ends;
      const middle = this.app.view.project(a.map((v, k) => (v + b[k]) / 2));
      if (middle) this.app.ink.label(middle, `slot ${this.slot.name}`, { force: true, frame: "#0b3c6f", ink: "#0b3c6f" });
    }
    const at = this.hole && this.app.view.project(this.hole.centre);
    if (at) this.app.ink.label(at, `hole ${this.hole?.name}`, { force: true, frame: "#0b3c6f", ink: "#0b3c6f" });
  }

  /** @param {number} item */
  goTo(item) {
    const box = this.app.bodies.boxOf(item);
    if (box.isEmpty()) return;
    const size = box.max.distanceTo(box.min);
    this.app.view.flyTo(box.getCenter(box.min.clone()), Math.max(size * 0.8, 120));
  }

  drawCard() {
    const { bodies, data } = this.app;
    const item = bodies.picked;
    this.card.replaceChildren();
    for (const { head, group, title, items } of this.heads) {
      const here = items.filter((k) => bodies.inStage(k)).length;
      const off = group === this.rooms && !this.roomsDrawn() ? ", not drawn" : "";
      head.textContent = `${title} (${here})${off}`;
      group.hidden = here === 0;
    }
    if (this.roomsKey) this.roomsKey.textContent = this.roomsDrawn() ? "Do not draw them" : "Draw all of them";
    for (const [k, row] of this.rows) {
      row.hidden = !bodies.inStage(k);
      // That no room is drawn is said once, at the head of them.
      const quiet = this.app.data.items[k].kind === "keep-out" && !this.roomsDrawn();
      const state = !quiet && !this.app.bodies.of(k).some((/** @type {any} */ b) => b.mesh.visible) ? "hidden" : "";
      /** @type {HTMLElement} */ (row.querySelector("em")).textContent = state;
      row.firstElementChild?.setAttribute("aria-pressed", String(k === item));
    }
    const anyHidden = bodies.hidden.size > 0 || bodies.alone !== null;
    const again = button("Show all again", () => this.showAll(), { class: "wide", disabled: !anyHidden });
    if (this.hole) {
      const { name, centre, radius, blocked } = this.hole;
      const { units } = data;
      this.card.append(el("h2", {}, el("span", { text: `Hole ${name}` }), el("small", { text: blocked ? "of the table, blocked: nothing may go in" : "of the table" })),
        facts([["X", show(centre[0], units)], ["Y", show(centre[1], units)], ["Z", show(centre[2], units)], ["bore", show(2 * radius, units)]]));
      return;
    }
    if (this.slot) {
      const { name, ends: [a, b], width } = this.slot;
      const { units } = data;
      this.card.append(el("h2", {}, el("span", { text: `Slot ${name}` }), el("small", { text: "of the table, open right through" })),
        facts([["width", show(width, units)], ["length", show(Math.hypot(...a.map((v, k) => b[k] - v)) + width, units)],
          ["from", a.slice(0, 2).map((v) => show(v, units)).join(", ")], ["to", b.slice(0, 2).map((v) => show(v, units)).join(", ")]]));
      return;
    }
    if (item === null) {
      this.card.append(el("p", { class: "hint", text: "Tap a part in the picture or in the list to see what it is and where it stands." }));
      const out = this.app.lies.told();
      if (out.length) put(this.card, el("h3", { text: "Once it is tacked" }), ...out.map((/** @type {string} */ text) => el("p", { text: text.charAt(0).toUpperCase() + text.slice(1) })));
      if (anyHidden) this.card.append(again);
      return;
    }
    const { name, kind, facts: rows } = data.items[item];
    const all = [...rows, ...this.app.lies.facts(name)];
    const off = bodies.hidden.has(item);
    const related = data.findings.map((f, k) => ({ f, k })).filter(({ f }) => f.subjects.includes(name));
    put(
      this.card,
      el("h2", {}, el("span", { text: name }), el("small", { text: KINDS[kind] })),
      facts(all.length ? all : [["", "No more is known of it."]]),
      related.length ? el("p", { class: "marks" }, "Findings: ", ...related.map(({ f, k }) => button(f.mark, () => this.app.findings.open(k), { class: `mark ${f.level}`, "aria-label": `${f.level} ${f.mark}: ${f.title}` }))) : null,
      el("div", { class: "buttons" },
        button("Go to it", () => this.goTo(item)),
        button(off ? "Show it" : "Hide it", () => (off ? this.show(item) : this.hide(item))),
        button("Only this", () => this.only(item)),
        again,
      ),
      ...this.app.lies.card(name),
    );
  }

  /** An item in all stages. @param {number} item @returns {number[]} */
  alike(item) {
    return this.app.bodies.alike(this.app.data.items[item].name);
  }

  /** After a change of stage: the picked part as it is there, or none. */
  restage() {
    const { bodies, data } = this.app;
    if (bodies.picked === null) return;
    const item = bodies.named(data.items[bodies.picked].name);
    bodies.picked = bodies.inStage(item) ? item : null;
  }

  /** @param {number} item */
  hide(item) {
    for (const k of this.alike(item)) this.app.bodies.hidden.add(k);
    this.changed();
  }

  /** @param {number} item */
  show(item) {
    for (const k of this.alike(item)) this.app.bodies.hidden.delete(k);
    this.changed();
  }

  /** @param {number} item */
  only(item) {
    const all = this.alike(item);
    for (const k of all) this.app.bodies.hidden.delete(k);
    this.app.bodies.alone = new Set(all);
    this.changed();
  }

  showAll() {
    this.app.bodies.hidden.clear();
    this.app.bodies.alone = null;
    this.changed();
  }

  changed() {
    this.app.bodies.refresh();
    this.drawCard();
    this.app.show?.refresh();
  }
}

/** One fact that tells an item from its like. @param {import("./types").Item} item */
function brief(item) {
  const want = item.kind === "piece" ? ["stock", "length"] : ["hole", "model"];
  return want.map((label) => item.facts.find(([l]) => l === label)?.[1]).filter(Boolean).join(", ");
}
