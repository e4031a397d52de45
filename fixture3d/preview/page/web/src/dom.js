/** Small helpers for the document. Text from a scene goes in as text only, never as markup. */

/**
 * A new element. `on...` properties are listeners, `class` and `aria-...` and the like are attributes.
 * @param {string} tag @param {Record<string, any>} [props] @param {...(Node | string | null | undefined | false)} children
 * @returns {any}
 */
export function el(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "text") node.textContent = value;
    else if (name in node && name !== "list" && name !== "for") /** @type {any} */ (node)[name] = value;
    else node.setAttribute(name === "class" ? "class" : name, value === true ? "" : String(value));
  }
  if (props.class) node.className = props.class;
  put(node, ...children);
  return node;
}

/** Puts children in, without those that are null or false. @param {Element} node @param {...(Node | string | null | undefined | false)} children */
export function put(node, ...children) {
  node.append(.../** @type {(Node | string)[]} */ (children.filter((c) => c !== null && c !== undefined && c !== false)));
}

/** @param {string} id @returns {any} */
export const byId = (id) => document.getElementById(id);

/** @param {string} label @param {() => void} act @param {Record<string, any>} [props] */
export const button = (label, act, props = {}) => el("button", { type: "button", onclick: act, ...props }, label);

/** Label and value rows. @param {[string, string][]} rows */
export function facts(rows) {
  return el("dl", { class: "facts" }, ...rows.flatMap(([label, text]) => [el("dt", { text: label }), el("dd", { text })]));
}

/** A slider with its name, its value in words and a step button on either side. @param {{label: string, min: number, max: number, step: number, value: number, words: (v: number) => string, act: (v: number) => void, id: string}} o */
export function slider(o) {
  const out = el("output", { text: o.words(o.value), for: o.id });
  const input = el("input", { type: "range", id: o.id, min: o.min, max: o.max, step: o.step, value: o.value });
  input.setAttribute("aria-valuetext", o.words(o.value));
  const set = (/** @type {number} */ v, act = true) => {
    const value = Math.min(o.max, Math.max(o.min, v));
    input.value = String(value);
    out.textContent = o.words(value);
    input.setAttribute("aria-valuetext", o.words(value));
    if (act) o.act(value);
  };
  input.addEventListener("input", () => set(Number(input.value)));
  const nudge = (/** @type {number} */ way, /** @type {string} */ sign) =>
    button(sign, () => set(Number(input.value) + way * o.step), { class: "nudge", "aria-label": `${o.label}: ${way < 0 ? "less" : "more"}` });
  const node = el("div", { class: "slider" }, el("label", { for: o.id }, o.label), out, el("div", { class: "run" }, nudge(-1, "−"), input, nudge(1, "+")));
  return { node, set };
}
