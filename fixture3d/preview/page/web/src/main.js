/** Puts the page together. */
import { Bodies } from "./bodies.js";
import { Cut } from "./cut.js";
import { Cutting } from "./cutting.js";
import { button, byId, el } from "./dom.js";
import { Findings } from "./findings.js";
import { Ink } from "./ink.js";
import { listen } from "./keys.js";
import { Lies } from "./lies.js";
import { Lettering } from "./lettering.js";
import { Measuring } from "./measuring.js";
import { Parts } from "./parts.js";
import { Show } from "./show.js";
import { Table } from "./table.js";
import { Tabs } from "./tabs.js";
import { meshesOf, unpacked } from "./unpack.js";
import { View } from "./view.js";
import { Welds } from "./welds.js";
import { hooks } from "./hooks.js";
import { tapping } from "./tapping.js";

const LOOKS = [["fit", "Fit all"], ["corner", "Corner"], ["top", "Top"], ["front", "Front"], ["back", "Back"], ["left", "Left"], ["right", "Right"]];

/** Name, code, verdict and cautions: what must be readable even where nothing can be drawn. @param {import("./types").Data} data */
function header(data) {
  document.body.classList.add("known");
  byId("name").textContent = data.scene;
  byId("code").textContent = [data.code && `code ${data.code}`, data.file].filter(Boolean).join(", ");
  const verdict = byId("verdict");
  verdict.textContent = data.verdict.text.replace(` - ${data.scene}`, "");
  verdict.className = data.verdict.ready ? "ready" : "open";
  byId("caution-list").append(...data.cautions.map((text) => el("li", { text })));
  byId("made").textContent = `Made by fixture3d ${data.version}${data.file ? ` from ${data.file}` : ""}${data.code ? `, code ${data.code}` : ""}.`;
  byId("caution-key").addEventListener("click", () => byId("cautions").showModal());
  byId("help-key").addEventListener("click", () => byId("keys").showModal());
  for (const close of document.querySelectorAll("dialog .close")) close.addEventListener("click", () => close.closest("dialog")?.close());
}

/** @type {import("./types").Data | null} */
let known = null;

async function start() {
  const data = /** @type {import("./types").Data} */ (JSON.parse(new TextDecoder().decode(await unpacked("data"))));
  known = data;
  header(data);
  const meshes = meshesOf(await unpacked("glb"));
  /** @type {any} */
  const app = { data };
  /** @type {import("three").Plane[]} */
  const planes = [];
  app.view = new View(byId("gl"), (/** @type {boolean} */ all) => {
    const [box, table] = [app.bodies.box(), app.table.box()];
    const size = (/** @type {import("three").Box3} */ b) => b.max.distanceTo(b.min);
    // A table that is much larger than what stands on it comes in only when all is asked for.
    const whole = app.table.shown && app.bodies.alone === null && (all || size(table) < 2.5 * size(box));
    return box.isEmpty() || whole ? [...app.bodies.boxes(), table] : app.bodies.boxes();
  });
  app.view.paper("#eeebe2");
  app.ink = new Ink(app.view, byId("ink"));
  app.table = new Table(app, planes);
  app.bodies = new Bodies(app, meshes, planes);
  app.view.setReach(app.bodies.box(false).union(app.table.box()));
  app.cut = new Cut(app, planes);
  app.tabs = new Tabs(app);
  app.lies = new Lies(app); // before the pins, which find room beside it
  app.findings = new Findings(app);
  app.ink.painters.push(() => app.lies.words());
  app.welds = new Welds(app, planes);
  app.measuring = new Measuring(app);
  app.lettering = new Lettering(app);
  app.parts = new Parts(app);
  app.show = new Show(app);
  app.cutting = new Cutting(app);
  // The table decides before each picture whether its names can be read.
  app.view.top = () => byId("stages").offsetHeight;
  app.view.before = () => {
    app.table.refresh();
    app.cut.rule();
  };
  if (data.findings.length) app.tabs.count("findings", `(${data.findings.length})`);
  if (data.welds.length) app.tabs.count("welds", `(${data.welds.length})`);
  for (const place of document.querySelectorAll(".views"))
    place.append(...LOOKS.map(([name, label]) => button(label, () => app.view.look(name))));
  byId("fold").addEventListener("click", () => app.tabs.fold(!document.body.classList.contains("folded")));
  listen(app);
  tapping(app);
  app.tabs.open(data.findings.some((f) => f.level === "fail") ? "findings" : "parts");
  app.view.fitCanvas();
  app.view.look("corner", false);
  app.view.paint();
  document.body.classList.add("started");
  return app;
}

/** @param {unknown} error */
function failed(error) {
  const text = error instanceof Error ? error.message : String(error);
  byId("trouble").hidden = false;
  byId("trouble").textContent = `The picture could not be drawn: ${text.replace(/\.+$/, "")}. A browser of 2023 or newer with WebGL 2 is needed; the cautions and the verdict above still hold.`;
  if (known) plainLists(known);
  throw error;
}

/** Findings and what was not judged as plain text, where there is no picture to lead to. @param {import("./types").Data} data */
function plainLists(data) {
  for (const name of ["parts", "welds", "measure", "cut", "show"]) byId(`panel-${name}`).hidden = true;
  byId("tabs").hidden = true;
  byId("panel-findings").hidden = false;
  byId("finding-list").replaceChildren(el("ul", { class: "plain" }, ...data.findings.map((f) =>
    el("li", { text: `${f.mark} ${f.level}: ${f.title}. ${f.message}${f.figure && ` (${f.figure})`}.${f.remedy && ` What to do: ${f.remedy}.`}` }))));
  byId("not-judged").replaceChildren(...data.verdict.not_judged.map((text) => el("li", { text })));
}

/** @type {any} */ (window).fixture3d = hooks(start().catch(failed));
