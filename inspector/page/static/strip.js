// The set so far, newest first: a small picture, the verdict's shape and the name of each frame.

import { WORDS, html, smallShape } from "./draw.js";

export class Strip {
  constructor(list, select) {
    this.list = list;
    this.select = select;
    this.buttons = new Map();
    list.addEventListener("keydown", (event) => this.#key(event));
  }

  // Put in what is new, take out what is gone.
  show(frames) {
    const keys = new Set(frames.map((frame) => frame.key));
    for (const [key, button] of this.buttons) {
      if (!keys.has(key)) {
        button.parentElement.remove();
        this.buttons.delete(key);
      }
    }
    const fresh = frames.filter((frame) => !this.buttons.has(frame.key)).reverse();
    if (!fresh.length) return;
    const items = fresh.map((frame) => this.#item(frame));
    const moved = this.list.scrollLeft > 8;
    const before = this.list.scrollWidth;
    this.list.prepend(...items);
    if (moved) this.list.scrollLeft += this.list.scrollWidth - before;
  }

  mark({ shown, pinned, plate }) {
    for (const [key, button] of this.buttons) {
      const current = key === shown;
      button.tabIndex = current ? 0 : -1;
      if (current) button.setAttribute("aria-current", "true");
      else button.removeAttribute("aria-current");
      const roles = [key === plate ? "plate" : "", key === pinned ? "pinned" : ""].filter(Boolean);
      button.querySelector(".role").textContent = roles.join(", ");
    }
  }

  #item(frame) {
    const picture = frame.picture
      ? html("img", { src: `/frames/${frame.key}/small.jpg`, alt: "", loading: "lazy", decoding: "async" })
      : html("span", { class: "none" });
    const button = html(
      "button",
      { type: "button", class: frame.verdict },
      html("span", { class: "small" }, picture),
      html(
        "span",
        { class: "line" },
        smallShape(frame.verdict),
        html("span", { class: "unseen" }, `${WORDS[frame.verdict]}: `),
        html("span", { class: "name" }, frame.name),
      ),
      " ",
      html("span", { class: "role" }),
    );
    button.title = frame.name;
    button.tabIndex = -1;
    button.addEventListener("click", () => this.select(frame));
    this.buttons.set(frame.key, button);
    return html("li", {}, button);
  }

  #key(event) {
    const here = event.target.closest("li");
    const go = {
      ArrowLeft: here?.previousElementSibling,
      ArrowRight: here?.nextElementSibling,
      Home: this.list.firstElementChild,
      End: this.list.lastElementChild,
    };
    if (!(event.key in go)) return;
    event.preventDefault();
    go[event.key]?.querySelector("button").focus();
  }
}
