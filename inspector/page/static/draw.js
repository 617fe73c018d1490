// Elements, the verdict's shapes and the marks' swatches. Text only ever goes in as text.

const SVG = "http://www.w3.org/2000/svg";

export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

export function html(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

export const WORDS = { pass: "Pass", warn: "Warn", under: "Under", unreadable: "Unreadable" };

// In a square of 96: an open ring, a solid square on its corner, an open triangle, a cross.
export function shape(verdict) {
  if (verdict === "pass")
    return svg("circle", { cx: 48, cy: 48, r: 38, fill: "none", stroke: "var(--bright)", "stroke-width": 13 });
  if (verdict === "warn") return svg("path", { d: "M48 2 94 48 48 94 2 48Z", fill: "var(--warn)" });
  if (verdict === "under")
    return svg("path", { d: "M12 22H84L48 82Z", fill: "none", stroke: "var(--bright)", "stroke-width": 11 });
  if (verdict === "unreadable")
    return svg("path", { d: "M14 14 82 82M82 14 14 82", stroke: "var(--bright)", "stroke-width": 13, fill: "none" });
  return svg("path", { d: "M20 48H76", stroke: "var(--quiet)", "stroke-width": 9, fill: "none" });
}

export function smallShape(verdict) {
  return svg("svg", { viewBox: "0 0 96 96", class: "shape", "aria-hidden": "true" }, shape(verdict));
}

const SWATCHES = {
  short: () => [svg("rect", { x: 0, y: 2, width: 44, height: 16, fill: "var(--short)" })],
  spill: () => [
    svg("path", { d: "M0 5H44M5 5V18M16 5V18M27 5V18M38 5V18", stroke: "var(--spill)", "stroke-width": 4.5, fill: "none" }),
  ],
  hot: () => [svg("circle", { cx: 12, cy: 10, r: 7.5, fill: "none", stroke: "var(--hot)", "stroke-width": 4 })],
  too: () => [
    svg("path", { d: "M4 10H44", stroke: "var(--too)", "stroke-width": 7, "stroke-linecap": "round", "stroke-dasharray": "0 12", fill: "none" }),
  ],
  possible: () => [
    svg("path", { d: "M0 10H44", stroke: "var(--possible-casing)", "stroke-width": 8, fill: "none" }),
    svg("path", { d: "M3 10H44", stroke: "var(--possible)", "stroke-width": 4, "stroke-dasharray": "12 7", fill: "none" }),
  ],
};

export const NAMES = { short: "short of white", spill: "spill", hot: "hot spot", too: "too light", possible: "possible" };

export function swatch(kind) {
  const width = kind === "hot" ? 26 : 46;
  return svg("svg", { viewBox: `0 0 ${width} 20`, class: "swatch", "aria-hidden": "true" }, ...SWATCHES[kind]());
}
