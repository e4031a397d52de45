/** Taps on the picture: a tap picks or measures, a drag turns. */

import { show } from "./units.js";

const LINE = 4; // CSS pixels, half of a weld's band
const STILL = 9; // CSS pixels a gloved finger may slide and still tap

/** @param {import("./types").App} app */
export function tapping(app) {
  const { canvas } = app.view;
  /** @type {{x: number, y: number, id: number} | null} */
  let down = null;
  /** @type {Set<number>} pointers that are down */
  const fingers = new Set();
  canvas.addEventListener("pointerdown", (event) => {
    if (event.isPrimary) fingers.clear(); // one that was lifted elsewhere is not waited for
    fingers.add(event.pointerId);
    down = fingers.size === 1 && event.button === 0 ? { x: event.clientX, y: event.clientY, id: event.pointerId } : null;
  });
  const lift = (/** @type {PointerEvent} */ event, /** @type {boolean} */ tapped) => {
    fingers.delete(event.pointerId);
    const from = down;
    down = null;
    if (!tapped || !from || from.id !== event.pointerId) return;
    if (Math.hypot(event.clientX - from.x, event.clientY - from.y) > STILL) return;
    const box = canvas.getBoundingClientRect();
    tap(app, event.clientX - box.left, event.clientY - box.top, event.pointerType === "touch" ? 12 : 2);
  };
  canvas.addEventListener("pointerup", (event) => lift(event, true));
  canvas.addEventListener("pointercancel", (event) => lift(event, false));
}

/** @param {import("./types").App} app @param {number} x @param {number} y @param {number} reach */
export function tap(app, x, y, reach) {
  const measuring = app.tabs.now === "measure";
  const target = measuring ? null : app.ink.tapped(x, y, reach);
  if (target) {
    target.act();
    return;
  }
  const ray = app.view.ray(x, y);
  const found = app.bodies.hit(ray, measuring);
  // What lies under the plate can not be seen, and is not what was meant.
  const hit = found && found.distance < app.table.cover(ray) + 1e-3 ? found : null;
  const before = hit && !hit.body.clear ? hit.distance : Infinity;
  const slot = app.table.slotHit(ray, before);
  const hole = slot ? null : app.table.hit(ray, before);
  if (measuring) {
    if (slot) app.measuring.refuse(`No steel here: this is slot ${slot.name} of the table, ${show(slot.width, app.data.units)} wide. Tap the plate beside it.`);
    else if (hole) app.measuring.add({ hole: hole.name });
    else if (hit && hit.face >= 0) app.measuring.add({ body: hit.body.index, face: hit.face });
    else if (!hit && app.table.hitTop(ray, Infinity)) app.measuring.add({ table: "top" });
    return;
  }
  const weld = app.welds.lineAt(x, y, reach + LINE, Math.min(before, app.table.cover(ray)));
  if (weld) {
    app.welds.tapped(weld);
    return;
  }
  if (slot && (!hit || hit.body.clear)) {
    app.parts.pickSlot(slot);
    if (!app.welds.at) app.tabs.open("parts");
    return;
  }
  if (hole && (!hit || hit.body.clear)) {
    app.parts.pickHole(hole);
    if (!app.welds.at) app.tabs.open("parts");
    return;
  }
  const item = hit?.body.info.item ?? null;
  app.parts.pick(item);
  if (item !== null && app.tabs.now !== "parts" && !app.welds.at) app.tabs.open("parts");
  app.parts.card.scrollIntoView?.({ block: "nearest" });
}
