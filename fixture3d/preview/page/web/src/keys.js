/** Everything by keyboard. */
import { byId, el } from "./dom.js";

/** @param {import("./types").App} app @returns {[string, string, string[], (event: KeyboardEvent) => void][]} */
function commands(app) {
  const { view, parts, findings, welds, cut, tabs } = app;
  const look = (/** @type {string} */ name) => () => view.look(name);
  const picked = (/** @type {(item: number) => void} */ act) => () => app.bodies.picked !== null && act(app.bodies.picked);
  const at = (/** @type {string} */ what, /** @type {number} */ way) => () => welds.at && welds.set({ [what]: welds.at[what] + way });
  return [
    ["0", "everything in the picture", ["0"], look("fit")],
    ["1", "view from the corner", ["1"], look("corner")],
    ["2", "view from the top", ["2"], look("top")],
    ["3", "view from the front", ["3"], look("front")],
    ["4", "view from the back", ["4"], look("back")],
    ["5", "view from the left", ["5"], look("left")],
    ["6", "view from the right", ["6"], look("right")],
    ["+", "nearer", ["+", "="], () => view.zoom(0.8)],
    ["-", "farther", ["-", "_"], () => view.zoom(1.25)],
    ["P, F, W, M, C, S", "open parts, findings, welds, measure, cut, show", ["p", "f", "w", "m", "c", "s"],
      (e) => { tabs.open(/** @type {any} */ ({ p: "parts", f: "findings", w: "welds", m: "measure", c: "cut", s: "show" })[e.key.toLowerCase()]); byId(`tab-${tabs.now}`).focus(); }],
    ["H", "hide the picked part", ["h"], picked((k) => parts.hide(k))],
    ["O", "show only the picked part", ["o"], picked((k) => parts.only(k))],
    ["A", "show all again", ["a"], () => parts.showAll()],
    ["G", "go to the picked part", ["g"], picked((k) => parts.goTo(k))],
    ["N, B", "next finding, the one before", ["n", "b"], (e) => findings.step(e.key.toLowerCase() === "n" ? 1 : -1)],
    ["J, K", "next weld, the one before", ["j", "k"], (e) => welds.step(e.key.toLowerCase() === "j" ? 1 : -1)],
    [", and .", "back and on along the weld", [",", "."], (e) => at("point", e.key === "." ? 1 : -1)()],
    ["[ and ]", "hold of the torch", ["[", "]"], (e) => at("direction", e.key === "]" ? 1 : -1)()],
    ["; and '", "turn of the handle", [";", "'"], (e) => at("roll", e.key === "'" ? 1 : -1)()],
    ["R", "play the run, or stop it", ["r"], () => (welds.playing ? welds.stop() : welds.run())],
    ["L, E, U", "where the work is located, how pieces can still move, the way out: show or hide", ["l", "e", "u"],
      (e) => { const key = /** @type {any} */ ({ l: "contacts", e: "motions", u: "way-out" })[e.key.toLowerCase()]; app.show.layer(key, !app.show.checks[key]?.checked); }],
    ["X, Y, Z", "cut along an axis; once more: no cut", ["x", "y", "z"], (e) => { const axis = e.key.toLowerCase(); cut.set(cut.axis === axis ? null : axis); }],
    ["V", "keep the other side of the cut", ["v"], () => cut.axis && cut.set(cut.axis, cut.mm, !cut.flipped)],
    ["T", "next stage", ["t"], () => app.data.stages.length && app.show.setStage((app.bodies.stage + 1) % app.data.stages.length)],
    ["Esc", "leave the torch, clear the measurement, let go of the part", ["Escape"], () => escape(app)],
    ["?", "this list", ["?"], () => byId("keys").showModal()],
  ];
}

const ARROWS = /** @type {[string, string][]} */ ([
  ["Arrows", "turn the picture (while the picture has the focus)"],
  ["Shift + arrows", "move the picture"],
]);

/** @param {import("./types").App} app */
function escape(app) {
  if (app.welds.at) app.welds.close();
  else if (app.measuring.ends.length) app.measuring.clear();
  else app.parts.pick(null);
}

/** @param {import("./types").App} app */
export function listen(app) {
  const list = commands(app);
  byId("key-list").append(...[...ARROWS, ...list.map(([name, what]) => [name, what])].map(([name, what]) => el("div", {}, el("dt", {}, el("kbd", { text: name })), el("dd", { text: what }))));
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const target = /** @type {HTMLElement} */ (event.target);
    if (document.querySelector("dialog[open]")) return;
    if (target.matches("input[type=text], select, textarea")) return;
    if (arrow(app, event, target)) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const found = list.find(([, , keys]) => keys.includes(key));
    if (!found) return;
    if (target.matches("input[type=range]") && ["+", "-"].includes(key)) return;
    event.preventDefault();
    found[3](event);
  });
}

/** @param {import("./types").App} app @param {KeyboardEvent} event @param {HTMLElement} target */
function arrow(app, event, target) {
  const way = /** @type {Record<string, [number, number]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] })[event.key];
  if (!way || target !== app.view.canvas) return false;
  event.preventDefault();
  if (event.shiftKey) app.view.pan(way[0] * 0.06, way[1] * 0.06);
  else app.view.turn(way[0] * 7.5, way[1] * 7.5);
  return true;
}
