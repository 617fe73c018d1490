// The stops at one or two points, asked of the server, which reads them from the raw data.

import { html } from "./draw.js";

const MINUS = "−";

export async function read(frame, points) {
  const [width, height] = frame.size;
  const query = new URLSearchParams();
  for (const [x, y] of points) {
    query.append("x", (x * width).toFixed(2));
    query.append("y", (y * height).toFixed(2));
  }
  const answer = await fetch(`/frames/${frame.key}/points?${query}`);
  const found = await answer.json();
  if (!answer.ok) throw new Error(found.error);
  return found;
}

export function readingLines({ points, ratio }) {
  const lines = points.map((point, n) =>
    html(
      "p",
      { class: "reading" },
      html("span", { class: "number" }, String(n + 1)),
      html("strong", {}, stopsText(point)),
      html("span", { class: "channels" }, point.channels.map(channelText).join("  ")),
    ),
  );
  if (ratio)
    lines.push(html("p", { class: "reading" }, html("span", { class: "number" }, "1–2"), html("strong", {}, ratioText(ratio))));
  return lines;
}

function stopsText({ ev, state, by }) {
  if (state === "in_noise") return `in the noise, about ${tenth(ev)} stops under white`;
  const side = ev < -0.05 ? "under" : ev > 0.05 ? "over" : null;
  const value = side ? `${tenth(ev)} ${tenth(ev) === "1.0" ? "stop" : "stops"} ${side} white` : "at white";
  if (state === "at_least") return `at least ${value}: clipped`;
  return by[0][0] === "G" || by[0] === "L" ? value : `${value}, by ${by.join(" and ")}`;
}

function channelText({ name, ev, state }) {
  const text = `${ev < 0 && tenth(ev) !== "0.0" ? MINUS : "+"}${tenth(ev)}`;
  if (state === "at_least") return `${name} ≥ ${text}`;
  return state === "in_noise" ? `${name} noise` : `${name} ${text}`;
}

function ratioText({ stops, times, state }) {
  if (stops === null) return "both clipped: no ratio to be told";
  const text = `${tenth(stops)} ${tenth(stops) === "1.0" ? "stop" : "stops"}, ${times < 10 ? times.toFixed(1) : Math.round(times)} : 1`;
  return { exact: text, at_least: `at least ${text}`, in_noise: `about ${text}: the darker point is in the noise` }[state];
}

const tenth = (ev) => Math.abs(ev).toFixed(1);
