/** What scripts outside, such as tests, may call; the controls of the page use the same functions. */
import { show } from "./units.js";

/** @param {Promise<any>} started */
export function hooks(started) {
  /** @type {any} */
  let app = null;
  const ready = started.then((it) => {
    app = it;
    return true;
  });
  ready.catch(() => {}); // already told on the page
  const item = (/** @type {string} */ name) => {
    const k = app.bodies.named(name);
    if (k >= 0) return k;
    const body = app.data.bodies.find((/** @type {any} */ b) => b.name === name && b.item !== null);
    if (!body) throw new Error(`nothing here is called "${name}"`);
    return body.item;
  };
  return {
    ready,
    state: () => ({
      tab: app.tabs.now,
      slot: app.parts.slot?.name ?? null,
      picked: app.bodies.picked === null ? null : app.data.items[app.bodies.picked].name,
      hidden: [...new Set([...app.bodies.hidden].map((k) => app.data.items[k].name))],
      only: app.bodies.alone === null ? null : [...new Set([...app.bodies.alone].map((k) => app.data.items[k].name))],
      seen: app.bodies.all.filter((/** @type {any} */ b) => b.mesh.visible).map((/** @type {any} */ b) => b.info.name),
      layers: Object.fromEntries(Object.entries(app.show.checks).map(([k, c]) => [k, /** @type {HTMLInputElement} */ (c).checked])),
      cut: app.cut.axis === null ? null : { axis: app.cut.axis, mm: app.cut.mm, flipped: app.cut.flipped },
      finding: app.findings.chosen,
      weld: app.welds.at === null ? null : { ...app.welds.at, name: app.data.welds[app.welds.at.weld].name, free: app.welds.isFree(), playing: app.welds.playing !== 0 },
      inTheWay: app.welds.pointed.map((/** @type {any} */ one) => one.name),
      lies: { ...app.lies.drawn },
      stage: app.data.stages.length ? app.bodies.stage : null,
      measured: app.measuring.result,
      ends: app.measuring.ends.map((/** @type {any} */ e) => e.words),
      camera: { eye: app.view.camera.position.toArray(), target: app.view.controls.target.toArray(), fov: app.view.camera.fov },
      frames: app.view.frames,
      triangles: app.view.renderer.info.render.triangles,
      calls: app.view.renderer.info.render.calls,
      holeNames: app.table.lettering?.visible ?? false,
    }),
    pick: (/** @type {string | null} */ name) => app.parts.pick(name === null ? null : item(name)),
    hide: (/** @type {string} */ name) => app.parts.hide(item(name)),
    only: (/** @type {string} */ name) => app.parts.only(item(name)),
    showAll: () => app.parts.showAll(),
    layer: (/** @type {string} */ key, /** @type {boolean} */ on) => app.show.layer(key, on),
    cut: (/** @type {any} */ axis, /** @type {number} */ mm, /** @type {boolean} */ flipped) => app.cut.set(axis, mm, flipped),
    view: (/** @type {string} */ name) => app.view.look(name, false),
    measure: (/** @type {any} */ a, /** @type {any} */ b) => {
      const found = app.measuring.between(a, b);
      return { ...found, text: show(found.distance, app.data.units) };
    },
    faces: (/** @type {number} */ body) => app.bodies.meshes[app.data.bodies[body].mesh].ranges.map((/** @type {any} */ r) => r.surface),
    fly: (/** @type {number} */ k) => {
      if (!app.data.findings[k]) throw new Error(`there are ${app.data.findings.length} findings; there is no finding ${k}`);
      app.findings.open(k);
    },
    weld: (/** @type {string} */ name, /** @type {number} */ point, /** @type {number} */ direction, /** @type {number} */ roll) => {
      const k = app.data.welds.findIndex((/** @type {any} */ w) => w.name === name);
      if (k < 0) throw new Error(`no weld is called "${name}"`);
      app.welds.open(k);
      if (point !== undefined) app.welds.set({ point, direction: direction ?? app.welds.at.direction, roll: roll ?? app.welds.at.roll });
    },
    play: () => app.welds.run(),
    stage: (/** @type {number} */ k) => app.show.setStage(k),
    /** Where a place in the world is on the screen, in CSS pixels of the window. */
    screen: (/** @type {number[]} */ p) => {
      const at = app.view.project(p);
      const box = app.view.canvas.getBoundingClientRect();
      return at && { x: at.x + box.left, y: at.y + box.top };
    },
  };
}
