// The words beside the picture: verdict, three figures, window, advice.

import { NAMES, WORDS, html, shape, swatch } from "./draw.js";
import { drawScale } from "./scale.js";

const by = (id) => document.getElementById(id);

export function showWords(frame) {
  by("shape").replaceChildren(shape(frame.verdict));
  const word = by("word");
  word.textContent = WORDS[frame.verdict];
  word.classList.toggle("long", WORDS[frame.verdict].length > 4);
  document.body.dataset.verdict = frame.verdict;
  by("figures").replaceChildren(...frame.figures.map(figure));
  showWindow(frame.window);
  by("reason").textContent = frame.reason;
  by("advice").textContent = frame.advice;
  by("say").classList.toggle("nothing", frame.verdict === "pass");
  fit();
}

const FITS = [1, 0.94, 0.88, 0.82, 0.76, 0.7, 0.64];

// The advice is written as large as its place allows. What still does not fit can be scrolled.
function fit() {
  const place = by("say");
  const overflows = () => place.scrollHeight > place.clientHeight + 1;
  for (const part of FITS) {
    place.style.setProperty("--fit", part);
    if (!overflows()) break;
  }
  if (overflows()) place.tabIndex = 0;
  else place.removeAttribute("tabindex");
}

new ResizeObserver(fit).observe(by("say"));

function figure(figure) {
  const wrong = figure.marks.length > 0;
  const marks = [...figure.marks, ...figure.quiet].map((kind) =>
    html("span", { class: "legend" }, swatch(kind), NAMES[kind]),
  );
  return html(
    "div",
    { class: wrong ? "figure wrong" : "figure" },
    html("dt", {}, html("span", {}, figure.label), ...marks),
    html("dd", {}, html("span", { class: "value" }, figure.value), " ", html("span", { class: "note" }, figure.note)),
  );
}

function showWindow(window) {
  by("window").hidden = window === null;
  if (window === null) return;
  const side = window.inside ? "inside" : "outside";
  by("window-words").replaceChildren(window.words, html("span", { class: window.inside ? "side" : "side out" }, side));
  const scale = by("scale");
  scale.setAttribute("aria-label", `Exposure window ${window.words} stops; today’s exposure is ${side}`);
  scale.replaceChildren(...drawScale(window));
}

// What a screen reader says of a new frame.
export function spoken(frame) {
  const wrong = frame.figures.filter((each) => each.marks.length > 0);
  const figures = wrong.map((each) => `${each.label} ${each.value} ${each.note}.`);
  return [`${WORDS[frame.verdict]}: ${frame.name}.`, ...figures, frame.reason, frame.advice].join(" ");
}
