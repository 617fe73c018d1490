// A picture that is swapped without a blank in between, and the points on it.

import { WORDS, html } from "./draw.js";

const STEP = 0.01;

export class Stage {
  constructor(element, tellPoints = null) {
    this.element = element;
    this.tellPoints = tellPoints;
    this.frame = null;
    this.points = [];
    this.cross = null;
    this.picture = null;
    this.over = html("div", { class: "over", "aria-hidden": "true" });
    element.append(this.over);
    if (tellPoints) {
      element.addEventListener("click", (event) => this.#tap(event));
      element.addEventListener("keydown", (event) => this.#key(event));
      element.addEventListener("blur", () => this.#setCross(null));
    }
  }

  // Show a frame's picture as soon as it is there; true unless another was asked for meanwhile.
  async show(frame) {
    this.frame = frame;
    const next = frame.picture ? await load(`/frames/${frame.key}/picture.jpg`) : null;
    if (this.frame !== frame) return false;
    this.picture?.remove();
    this.picture = next ?? html("p", { class: "no-picture" }, "No picture of this frame");
    if (next) next.alt = `Clip map of ${frame.name}: ${WORDS[frame.verdict]}`;
    const [width, height] = next ? [next.naturalWidth, next.naturalHeight] : [3, 2];
    this.element.closest("figure").style.setProperty("--ratio", width / height);
    this.element.prepend(this.picture);
    return true;
  }

  setPoints(points) {
    this.points = points;
    const marks = points.map(([x, y], n) => place(html("span", { class: "point", "data-n": n + 1 }), x, y));
    if (this.cross) marks.push(place(html("span", { class: "cross" }), ...this.cross));
    this.over.replaceChildren(...marks);
  }

  #tap(event) {
    const box = this.element.getBoundingClientRect();
    this.#take([(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height]);
  }

  #take(point) {
    if (!this.frame?.picture || point.some((part) => part < 0 || part >= 1)) return;
    this.tellPoints(this.points.length === 1 ? [...this.points, point] : [point]);
  }

  #key(event) {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const move = moves[event.key];
    if (move) {
      const [x, y] = this.cross ?? [0.5, 0.5];
      const step = event.shiftKey ? STEP * 5 : STEP;
      const inside = (value) => Math.min(Math.max(value, 0), 0.999);
      this.#setCross([inside(x + move[0] * step), inside(y + move[1] * step)]);
    } else if (event.key === "Enter" && this.cross) {
      this.#take(this.cross);
    } else if (event.key === "Escape") {
      this.#setCross(null);
      this.tellPoints([]);
    } else {
      return;
    }
    event.preventDefault();
  }

  #setCross(cross) {
    this.cross = cross;
    this.setPoints(this.points);
  }
}

function place(element, x, y) {
  element.style.left = `${100 * x}%`;
  element.style.top = `${100 * y}%`;
  return element;
}

async function load(address) {
  const image = new Image();
  image.src = address;
  try {
    await image.decode();
    return image;
  } catch {
    return null;
  }
}
