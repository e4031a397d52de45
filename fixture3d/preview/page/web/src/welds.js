/** Welds, worst first: drawn by state, and for one of them the torch at any of its points and a run along it. */
import { Box3, Vector3 } from "three";
import { button, byId, el, facts, slider } from "./dom.js";
import { distance, lerp } from "./measure/vec.js";
import { Picked } from "./picked.js";
import { TorchBody, freeOf, needles } from "./torch.js";
import { WeldLines, middle } from "./weldlines.js";

const WORDS = /** @type {Record<string, string>} */ ({
  reached: "Reached all along", part: "Reached in part", blocked: "Not reached", unchecked: "Not checked",
});
const KEY = /** @type {[string, string][]} */ ([
  ["reached", "the torch reaches it"], ["missed", "a stretch that it does not reach"], ["blocked", "it reaches no point"], ["unchecked", "not checked"],
]);
const FAIL = 0xa3201d;
const SHOWN = 0.1; // who takes a smaller share of the blocked positions is told, and not outlined
const MOST = 3; // bodies outlined at a time
const BEHIND = 15; // mm; a line lies in a corner, so that a face beside it may be nearer to the eye
const STEP = 220; // ms a point when a run is played

/** @typedef {import("./types").Weld} Weld */

export class Welds {
  /** @param {import("./types").App} app @param {import("three").Plane[]} planes */
  constructor(app, planes) {
    this.app = app;
    this.torch = new TorchBody(app);
    this.free = app.data.welds.map(freeOf);
    const drawn = new WeldLines(planes);
    this.lines = app.data.welds.map((weld) => drawn.group(weld));
    for (const line of this.lines) app.view.world.add(line);
    this.middles = app.data.welds.map(middle);
    this.blocking = new Picked(app.bodies, app.view, planes, { colour: FAIL, hatch: false });
    /** @type {{name: string, share: number, bodies: import("./bodies.js").Body[]}[]} */
    this.pointed = [];
    /** @type {{weld: number, point: number, direction: number, roll: number} | null} */
    this.at = null;
    this.playing = 0;
    this.list = byId("weld-list");
    this.detail = byId("weld-detail");
    this.drawList();
    app.ink.painters.unshift(() => this.at || this.doubts()); // before the pins, which find room beside them
    app.ink.painters.push(() => this.paint());
  }

  refresh() {
    const { bodies } = this.app;
    this.app.data.welds.forEach((weld, k) => {
      this.lines[k].visible = bodies.layers.get("welds") !== false && (weld.stage === null || weld.stage === undefined || weld.stage === bodies.stage);
    });
    this.torch.shown = bodies.layers.get("torch") !== false;
    this.pointOut();
    if (this.at) this.torch.group.visible = this.torch.shown && this.app.data.welds[this.at.weld].points.length > 0;
    this.app.view.redraw();
  }

  drawList() {
    const { welds, stages } = this.app.data;
    const order = welds.map((_, k) => k).sort((a, b) => welds[a].rank - welds[b].rank);
    if (!order.length) {
      this.list.append(el("p", { class: "hint", text: "This setup declares no weld." }));
      return;
    }
    this.order = order;
    const there = new Set(welds.flatMap((weld) => weld.stretches.map(([state]) => (state === "part" ? "missed" : state))));
    this.list.append(
      el("ul", { class: "key" }, ...KEY.filter(([state]) => there.has(state)).map(([state, text]) => el("li", {}, el("i", { class: `line ${state}`, "aria-hidden": "true" }), text)),
        welds.some((weld) => weld.doubts.length) && el("li", {}, el("i", { class: "doubt", "aria-hidden": "true", text: "?" }), "what it is remains to be settled")),
      el("p", { class: "hint", text: "Worst first. PA to PG are positions of ISO 6947, 1F to 4G those of AWS." }),
    );
    this.list.append(el("ul", { class: "rows" }, ...order.map((k) => {
      const weld = welds[k];
      const row = button("", () => this.open(k), { class: "row" });
      const stage = weld.stage !== null && weld.stage !== undefined ? stages[weld.stage]?.name : null;
      row.append(el("i", { class: `line ${weld.state}`, "aria-hidden": "true" }), el("span", { class: "told" }, el("strong", { text: weld.name }),
        el("small", { text: [`${WORDS[weld.state]}${weld.reachable ? `: ${weld.reachable}` : ""}${weld.runs > 1 ? ` in ${weld.runs} runs` : ""}`, stage && `stage ${stage}`].filter(Boolean).join("; ") }),
        el("small", { text: [weld.type, weld.length, weld.lies].filter(Boolean).join(", ") })),
      ...(weld.doubts.length ? [el("i", { class: "doubt", title: "to be settled", text: "?" })] : []));
      return el("li", {}, row);
    })));
  }

  /** @param {number} k */
  open(k) {
    const weld = this.app.data.welds[k];
    this.stop();
    const best = weld.best ?? { point: 0, direction: 0, roll: 0 };
    this.at = { weld: k, point: best.point, direction: best.direction, roll: best.roll };
    if (weld.stage !== null && weld.stage !== undefined) this.app.show.setStage(weld.stage);
    this.app.tabs.open("welds");
    this.list.hidden = true;
    this.detail.hidden = false;
    this.drawDetail(weld);
    this.show();
    const box = new Box3().setFromPoints((weld.points.length ? weld.points : weld.path).map((p) => new Vector3(...p)));
    this.app.view.flyTo(box.getCenter(new Vector3()), Math.max(box.min.distanceTo(box.max), 240));
    this.detail.querySelector("button")?.focus({ preventScroll: true });
  }

  /**
   * The weld whose line is seen nearest to a tap.
   * @param {number} x CSS pixels in the canvas @param {number} y @param {number} reach pixels @param {number} before mm from the eye; what lies behind is not meant
   * @returns {{weld: number, at: number[]} | null}
   */
  lineAt(x, y, reach, before) {
    const { view, bodies } = this.app;
    let [best, least] = [/** @type {{weld: number, at: number[]} | null} */ (null), reach];
    this.app.data.welds.forEach((weld, k) => {
      if (!this.lines[k].visible) return;
      const spots = weld.path.map((p) => view.project(p));
      for (let n = 1; n < spots.length; n++) {
        const [a, b] = [spots[n - 1], spots[n]];
        if (!a || !b) continue;
        const { share, away } = nearestOn(a, b, x, y);
        if (away > least) continue;
        const at = lerp(weld.path[n - 1], weld.path[n], share);
        if (distance(view.camera.position.toArray(), at) > before + BEHIND || bodies.cutAway(at)) continue;
        [best, least] = [{ weld: k, at }, away];
      }
    });
    return best;
  }

  /** A tap on a weld's line opens it; on the one that is open it goes to that point. @param {{weld: number, at: number[]}} hit */
  tapped({ weld, at }) {
    const { points } = this.app.data.welds[weld];
    if (this.at?.weld !== weld || !points.length) {
      this.open(weld);
      return;
    }
    const away = points.map((p) => distance(p, at));
    this.set({ point: away.indexOf(Math.min(...away)) });
  }

  close() {
    this.stop();
    this.at = null;
    this.list.hidden = false;
    this.detail.hidden = true;
    this.torch.hide();
    this.pointOut();
    this.app.view.redraw();
  }

  /** What the checks found about a weld, each leading to its finding. @param {Weld} weld */
  found(weld) {
    const here = this.app.data.findings.flatMap((f, k) => (f.check === "torch access" && f.subjects[0] === weld.name && (f.stage ?? null) === (weld.stage ?? null) && f.rule !== "weld-doubtful" ? [{ f, k }] : []));
    return here.map(({ f, k }) => el("p", { class: "told-of" }, button(f.mark, () => this.app.findings.open(k), { class: `mark ${f.level}`, "aria-label": `Finding ${f.mark}` }), el("span", { text: [f.title, f.remedy].filter(Boolean).join(": ") })));
  }

  /** Outlines who is in the way at the chosen point, while the torch stands blocked there. */
  pointOut() {
    this.pointed = [];
    const { at, app } = this;
    if (at && this.torch.shown && app.data.welds[at.weld].points.length && !this.isFree()) {
      const who = (app.data.welds[at.weld].blockers[at.point] ?? []).filter(([, share], k) => k < MOST && (k === 0 || share >= SHOWN));
      this.pointed = who.flatMap(([name, share]) => {
        const item = app.bodies.named(name);
        const bodies = item < 0 ? [] : app.bodies.of(item).filter((/** @type {any} */ b) => b.mesh.visible && !b.clear);
        return bodies.length ? [{ name, share, bodies }] : [];
      });
    }
    this.blocking.show(this.pointed.flatMap((one) => one.bodies));
  }

  /** @param {Weld} weld */
  drawDetail(weld) {
    const torch = weld.torch === null ? undefined : this.app.data.torches[weld.torch];
    const rows = /** @type {[string, string][]} */ ([
      ["joins", weld.joins.join(" and ")], ["type", weld.type], ["size", weld.size], ["length", weld.length], ["lies", weld.lies], ["reached", weld.reachable],
      ["runs", weld.runs ? String(weld.runs) : ""], ["longest run", weld.run], ["best hold", weld.best?.text ?? ""], ["torch", torch ? torch.name + (torch.burns ? ", drawn with a full electrode, tried at every length down to the stub" : "") : ""],
    ]).filter((row) => row[1]);
    this.said = el("p", { class: "state", "aria-live": "polite" });
    this.blame = el("p", { class: "blame" });
    this.detail.replaceChildren(
      el("div", { class: "buttons" }, button("All welds", () => this.close()), button("Next weld", () => this.step(1))),
      el("h2", {}, el("span", { text: weld.name }), el("small", {}, el("i", { class: `line ${weld.state}`, "aria-hidden": "true" }), WORDS[weld.state])),
      ...weld.doubts.map((text) => el("p", { class: "told-of" }, el("i", { class: "doubt", "aria-hidden": "true", text: "?" }), el("span", { text: `To be settled: ${text}` }))),
    );
    if (!weld.points.length) {
      this.detail.append(...this.found(weld), facts(rows), el("p", { class: "hint", text: "No torch was tried on this weld, so there is no position to show." }));
      return;
    }
    const n = weld.points.length;
    const d = weld.directions;
    this.sliders = {
      point: slider({ id: "at-point", label: "Point along the weld", min: 0, max: n - 1, step: 1, value: 0, words: (v) => `${v + 1} of ${n}`, act: (v) => this.set({ point: v }) }),
      direction: slider({ id: "at-direction", label: "Hold", min: 0, max: d.length - 1, step: 1, value: 0, words: (v) => holdWords(d[v]), act: (v) => this.set({ direction: v }) }),
      roll: slider({ id: "at-roll", label: "Handle turned", min: 0, max: weld.rolls.length - 1, step: 1, value: 0, words: (v) => `${weld.rolls[v]}°`, act: (v) => this.set({ roll: v }) }),
    };
    const run = weld.run_positions.some(Boolean);
    this.play = button("Play the run", () => (this.playing ? this.stop() : this.run()), { disabled: !run });
    this.detail.append(
      this.said, this.blame, ...this.found(weld),
      ...Object.values(this.sliders).map((s) => s.node),
      el("div", { class: "buttons" }, button("Best hold", () => weld.best && this.set(weld.best), { disabled: !weld.best }), button("Next free hold", () => this.nextFree()), this.play),
      el("p", { class: "hint", text: `${run ? "" : "There is no run to play: no two neighbouring points are reached without a stop. "}Needles in the picture: full line and dot is free, dotted line and cross is blocked. Tap a needle to hold the torch so; tap a mark of the ring to turn the handle, or a mark on the weld to go there.` }),
      facts(rows),
    );
  }

  /** @param {{point?: number, direction?: number, roll?: number}} change @param {boolean} [keepPlaying] */
  set(change, keepPlaying = false) {
    if (!this.at) return;
    if (!keepPlaying) this.stop();
    const weld = this.app.data.welds[this.at.weld];
    if (!weld.points.length) return;
    const { point, direction, roll } = { ...this.at, ...change };
    const limit = (/** @type {number} */ v, /** @type {any[]} */ list) => Math.min(Math.max(0, v), list.length - 1);
    this.at = { weld: this.at.weld, point: limit(point, weld.points), direction: limit(direction, weld.directions), roll: limit(roll, weld.rolls) };
    this.show();
  }

  /** Is the torch free where it stands now? */
  isFree() {
    return this.at ? this.free[this.at.weld](this.at.point, this.at.direction, this.at.roll) : false;
  }

  show() {
    const { at } = this;
    if (!at) return;
    const weld = this.app.data.welds[at.weld];
    this.pointOut();
    if (!weld.points.length || weld.torch === null) {
      this.torch.hide();
      this.app.view.redraw();
      return;
    }
    const free = this.isFree();
    this.torch.build(this.app.data.torches[weld.torch]);
    this.torch.stand(weld, at.point, at.direction, at.roll, free);
    for (const [name, control] of Object.entries(this.sliders ?? {})) control.set(/** @type {any} */ (at)[name], false);
    const all = weld.directions.flatMap((_, d) => weld.rolls.map((__, r) => this.free[at.weld](at.point, d, r)));
    const count = all.filter(Boolean).length;
    this.said.className = `state ${free ? "free" : "stuck"}`;
    this.said.textContent = `${free ? "Free" : "Blocked"}. At this point ${count} of ${all.length} positions are free.`;
    const who = weld.blockers[at.point] ?? [];
    this.blame.textContent = who.length ? `In the way here, with their share of the blocked positions: ${who.map(([name, share]) => `${name} ${percent(share)}`).join(", ")}.` : count === all.length ? "Nothing is in the way here." : "";
    this.app.view.redraw();
  }

  nextFree() {
    if (!this.at) return;
    const weld = this.app.data.welds[this.at.weld];
    const [nd, nr] = [weld.directions.length, weld.rolls.length];
    const now = this.at.direction * nr + this.at.roll;
    for (let k = 1; k <= nd * nr; k++) {
      const next = (now + k) % (nd * nr);
      const [direction, roll] = [Math.floor(next / nr), next % nr];
      if (this.free[this.at.weld](this.at.point, direction, roll)) {
        this.set({ direction, roll });
        return;
      }
    }
    this.blame.textContent = `No position at this point is free. ${this.blame.textContent}`;
  }

  run() {
    if (!this.at) return;
    const steps = runOf(this.app.data.welds[this.at.weld]);
    if (!steps.length) return;
    this.play.textContent = "Stop";
    let k = 0;
    const next = () => {
      if (k >= steps.length) return this.stop();
      this.set(steps[k++], true);
      this.playing = window.setTimeout(next, STEP);
    };
    next();
  }

  stop() {
    clearTimeout(this.playing);
    this.playing = 0;
    if (this.play) this.play.textContent = "Play the run";
  }

  /** @param {number} way */
  step(way) {
    if (!this.order?.length) return;
    const now = this.at ? this.order.indexOf(this.at.weld) : way > 0 ? -1 : 0;
    this.open(this.order[(now + way + this.order.length) % this.order.length]);
  }

  /** A question mark at each weld that is to be settled, while none is chosen. */
  doubts() {
    const { ink, view } = this.app;
    this.app.data.welds.forEach((weld, k) => {
      if (!weld.doubts.length || !this.lines[k].visible || this.app.bodies.cutAway(this.middles[k])) return;
      const at = view.project(this.middles[k]);
      const rect = at && ink.label(at, "?", { round: 9 });
      if (!rect) return;
      ink.targets.push({ rect, act: () => this.open(k) });
    });
  }

  paint() {
    if (!this.at || !this.torch.shown) return;
    const weld = this.app.data.welds[this.at.weld];
    if (!weld.points.length) return;
    const k = this.at.weld;
    needles(this.app, weld, this.at, this.free[k], (direction, roll) => this.set({ direction, roll }), (point) => this.set({ point }));
    const spot = this.app.view.project(weld.points[this.at.point]);
    if (spot) this.app.ink.label(spot, `${this.isFree() ? "free" : "blocked"}: ${weld.name}`, { force: true, frame: this.isFree() ? "#1d6b3a" : "#a3201d", ink: this.isFree() ? "#1d6b3a" : "#a3201d" });
    for (const { name, share, bodies } of this.pointed) {
      const box = bodies.reduce((all, body) => all.union(body.box), new Box3());
      const top = this.app.view.project([(box.min.x + box.max.x) / 2, (box.min.y + box.max.y) / 2, box.max.z]);
      if (top) this.app.ink.label(top, `in the way: ${name} ${percent(share)}`, { frame: "#a3201d", ink: "#a3201d" });
    }
  }
}

/** Where on a line between two places on the screen a tap is nearest to it, and how far off it is. @param {{x: number, y: number}} a @param {{x: number, y: number}} b @param {number} x @param {number} y */
export function nearestOn(a, b, x, y) {
  const [dx, dy] = [b.x - a.x, b.y - a.y];
  const long = dx * dx + dy * dy;
  const share = long ? Math.min(1, Math.max(0, ((x - a.x) * dx + (y - a.y) * dy) / long)) : 0;
  return { share, away: Math.hypot(a.x + share * dx - x, a.y + share * dy - y) };
}

/** Points of the run in the order in which they are welded; a run round a closed joint may begin in the middle of the list. @param {Weld} weld */
export function runOf(weld) {
  const n = weld.run_positions.length;
  const there = (/** @type {number} */ k) => weld.run_positions[(k + n) % n];
  const whole = weld.run_positions.every(Boolean);
  const first = whole ? 0 : [...Array(n).keys()].find((k) => there(k) && !there(k - 1));
  if (first === undefined) return [];
  const out = [];
  for (let k = 0; k < n; k++) {
    const step = there(first + k);
    if (!step) break;
    out.push({ point: (first + k) % n, direction: step[0], roll: step[1] });
  }
  return out;
}

/** @param {number[]} direction */
const holdWords = ([work, lean]) => `work ${work}°, ${lean === 0 ? "upright" : `leaning ${Math.abs(lean)}° ${lean > 0 ? "forward" : "back"}`}`;

/** @param {number} share */
const percent = (share) => (share > 0 && share < 0.01 ? "under 1 %" : `${Math.round(share * 100)} %`);
