/** The tabs of the side panel. */
import { byId } from "./dom.js";

export class Tabs {
  /** @param {import("./types").App} app */
  constructor(app) {
    this.app = app;
    /** @type {HTMLElement[]} */
    this.keys = [.../** @type {any} */ (document.querySelectorAll("#tabs [role=tab]"))];
    for (const key of this.keys) {
      key.addEventListener("click", () => this.open(this.name(key)));
      key.addEventListener("keydown", (event) => {
        const way = event.key === "ArrowRight" || event.key === "ArrowDown" ? 1 : event.key === "ArrowLeft" || event.key === "ArrowUp" ? -1 : 0;
        if (!way) return;
        event.preventDefault();
        const next = this.keys[(this.keys.indexOf(key) + way + this.keys.length) % this.keys.length];
        this.open(this.name(next));
        next.focus();
      });
    }
    this.now = "parts";
  }

  /** @param {HTMLElement} key */
  name(key) {
    return key.id.replace("tab-", "");
  }

  /** @param {string} name */
  open(name) {
    this.now = name;
    for (const key of this.keys) {
      const on = this.name(key) === name;
      key.setAttribute("aria-selected", String(on));
      key.tabIndex = on ? 0 : -1;
      byId(`panel-${this.name(key)}`).hidden = !on;
    }
    this.fold(false);
    this.app.view.redraw();
  }

  /** On an upright screen the lists can make room for the picture. @param {boolean} folded */
  fold(folded) {
    document.body.classList.toggle("folded", folded);
    byId("fold").textContent = folded ? "Show the lists" : "Hide the lists";
    byId("fold").setAttribute("aria-expanded", String(!folded));
  }

  /** @param {string} name @param {string} text */
  count(name, text) {
    byId(`tab-${name}`).append(` ${text}`);
  }
}
