// Background, depth and spill over the set, oldest to newest, so that drift and misfires show.

import { html, svg } from "./draw.js";

const ROWS = [
  { key: "background", label: "Background", unit: "stops over white", wrong: "short", least: -1, most: 1, text: signedStops },
  { key: "depth", label: "Depth", unit: "stops under white", wrong: "too", least: 0, most: 6, text: (v) => `${(Math.floor(10 * v + 1e-6) / 10).toFixed(1)} stops` },
  { key: "spill", label: "Spill", unit: "of the edge", wrong: "spill", least: 0, most: 0.02, text: (v) => `${(Math.ceil(1000 * v - 1e-6) / 10).toFixed(1)} %` },
];
const PAD = 7;

export class Chart {
  constructor(element, select) {
    this.element = element;
    this.frames = [];
    this.shown = null;
    this.rows = ROWS.map((row) => {
      const value = html("span", { class: "now" });
      const plot = svg("svg", { class: "plot", "aria-hidden": "true" });
      plot.addEventListener("click", (event) => this.#click(event, plot, select));
      element.append(html("div", { class: "row" }, html("span", { class: "of" }, row.label), value, plot));
      return { ...row, value, plot };
    });
    new ResizeObserver(() => this.draw()).observe(element);
  }

  show(frames, shown) {
    this.frames = frames;
    this.shown = shown;
    this.draw();
  }

  draw() {
    const without = this.frames.filter((frame) => frame.series.background === null).length;
    const gaps = without ? `; ${without} without a background` : "";
    this.element.setAttribute("aria-label", `Background, depth and spill over ${this.frames.length} frames${gaps}`);
    for (const row of this.rows) this.#draw(row);
  }

  #draw(row) {
    const { width, height } = row.plot.getBoundingClientRect();
    if (!width) return;
    const values = this.frames.map((frame) => frame.series[row.key]);
    const told = values.filter((value) => value !== null);
    const low = Math.max(Math.min(row.least, ...told), row.least - 5);
    const high = Math.max(row.most, ...told);
    const x = (n) => this.#x(n, width);
    const y = (value) => PAD + (height - 2 * PAD) * (1 - (Math.max(value, low) - low) / (high - low));
    const parts = [];
    const shown = this.frames.indexOf(this.shown);
    if (shown >= 0) parts.push(svg("path", { d: `M${x(shown)} 0V${height}`, class: "here" }));
    parts.push(svg("path", { d: `M0 ${y(0)}H${width}`, class: "zero" }));
    parts.push(svg("path", { d: line(values, x, y), class: "line" }));
    this.frames.forEach((frame, n) => parts.push(...dot(frame, row, x(n), y, height, this.frames.length)));
    row.plot.setAttribute("viewBox", `0 0 ${width} ${height}`);
    row.plot.replaceChildren(...parts);
    const value = this.shown?.series[row.key] ?? null;
    row.value.textContent = value === null ? "–" : row.text(value);
    row.value.title = row.unit;
  }

  #x(n, width) {
    const room = width - 2 * PAD;
    return PAD + (this.frames.length > 1 ? (room * n) / (this.frames.length - 1) : room / 2);
  }

  #click(event, plot, select) {
    const box = plot.getBoundingClientRect();
    const part = (event.clientX - box.left - PAD) / (box.width - 2 * PAD);
    const n = Math.round(Math.min(Math.max(part, 0), 1) * (this.frames.length - 1));
    if (this.frames[n]) select(this.frames[n]);
  }
}

// Broken where a frame tells nothing.
function line(values, x, y) {
  let pen = "M";
  return values
    .map((value, n) => {
      const step = value === null ? "" : `${pen}${x(n).toFixed(1)} ${y(value).toFixed(1)}`;
      pen = value === null ? "M" : "L";
      return step;
    })
    .join("");
}

function dot(frame, row, x, y, height, count) {
  const value = frame.series[row.key];
  if (value === null) {
    // A misfire or an unreadable frame, not a plate, which has neither depth nor spill.
    if (row.key !== "background") return [];
    return [svg("path", { d: diamond(x, height - PAD, 5), class: "missing" })];
  }
  if (frame.series.wrong.includes(row.wrong)) return [svg("path", { d: diamond(x, y(value), 5), class: row.wrong })];
  return count > 150 ? [] : [svg("circle", { cx: x, cy: y(value), r: 2.4, class: "dot" })];
}

const diamond = (x, y, r) => `M${x} ${y - r}L${x + r} ${y}L${x} ${y + r}L${x - r} ${y}Z`;

function signedStops(value) {
  const text = Math.abs(value).toFixed(1);
  return text === "0.0" ? "at white" : `${value < 0 ? "−" : "+"}${text} ${text === "1.0" ? "stop" : "stops"}`;
}
