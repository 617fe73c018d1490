// The exposure window as a scale of third stops, with today's exposure inside or outside.

import { svg } from "./draw.js";

const SPAN = 3;
const LEFT = 16;
const RIGHT = 404;
const Y = 30;

const at = (ev) => LEFT + ((RIGHT - LEFT) * (Math.min(Math.max(ev, -SPAN), SPAN) + SPAN)) / (2 * SPAN);

export function drawScale({ low, high, inside }) {
  return [...bar(low, high), ...ticks(), ...ends(low, high), today(inside)];
}

function bar(low, high) {
  const from = at(low ?? -SPAN);
  const to = at(high ?? SPAN);
  if (to <= from) return [];
  return [svg("rect", { x: from, y: Y - 9, width: to - from, height: 15, class: "open" })];
}

function ticks() {
  const marks = [];
  for (let n = -3 * SPAN; n <= 3 * SPAN; n += 1) {
    const x = at(n / 3);
    const whole = n % 3 === 0;
    marks.push(svg("path", { d: `M${x} ${Y + 14}v${whole ? 12 : 6}`, class: "tick" }));
    if (whole) {
      const text = n === 0 ? "0" : `${n > 0 ? "+" : "−"}${Math.abs(n / 3)}`;
      marks.push(svg("text", { x, y: Y + 42, class: "stop" }, text));
    }
  }
  return marks;
}

// Hooks that open towards the window; none where it goes on beyond the scale.
function ends(low, high) {
  const hook = (ev, opens) =>
    svg("path", { d: `M${at(ev) + 8 * opens} ${Y - 15}h${-8 * opens}v25h${8 * opens}`, class: "end" });
  const shown = (ev) => ev !== null && Math.abs(ev) <= SPAN;
  const parts = [];
  if (shown(low)) parts.push(hook(low, 1));
  if (shown(high)) parts.push(hook(high, -1));
  // The whole window lies beyond: an arrowhead says on which side.
  if (low !== null && low > SPAN && low <= (high ?? low)) parts.push(arrow(RIGHT + 2, 1));
  if (high !== null && high < -SPAN && high >= (low ?? high)) parts.push(arrow(LEFT - 2, -1));
  return parts;
}

const arrow = (x, way) => svg("path", { d: `M${x} ${Y - 10}l${10 * way} 9l${-10 * way} 9`, class: "end" });

function today(inside) {
  const x = at(0);
  return svg("path", { d: `M${x} ${Y + 6}L${x - 11} ${Y - 22}H${x + 11}Z`, class: inside ? "today" : "today out" });
}
