// The live page: keeps the set, decides which frame is shown, and hands it to the parts.

import { Chart } from "./chart.js";
import { smallShape } from "./draw.js";
import { read, readingLines } from "./readings.js";
import { setSound, sound } from "./sound.js";
import { Stage } from "./stage.js";
import { follow } from "./stream.js";
import { Strip } from "./strip.js";
import { showWords, spoken } from "./words.js";

// White and dark pictures must not alternate faster than this, however fast frames come
// (WCAG 2.2, 2.3.1: no more than three flashes a second).
const SWAP_MS = 400;

const by = (id) => document.getElementById(id);
const set = { frames: [], shown: null, held: false, pinned: null, plate: null };
let swappedAt = -SWAP_MS;
let swapTimer = 0;
let asked = 0;

const stage = new Stage(by("stage"), takePoints);
const pinnedStage = new Stage(by("pinned").querySelector(".stage"));
const strip = new Strip(by("strip"), hold);
const chart = new Chart(by("chart"), hold);

follow(
  "/events",
  {
    set({ name, frames, plate, note }) {
      by("set-name").textContent = name;
      set.frames = frames;
      set.plate = plate;
      set.pinned = frames.find((frame) => frame.key === set.pinned?.key) ?? null;
      if (set.held) set.shown = frames.find((frame) => frame.key === set.shown?.key) ?? null;
      if (!set.shown) set.held = false;
      tell(note);
      refresh();
    },
    frame(frame) {
      const { gone } = frame;
      set.frames = set.frames.filter((each) => !gone.includes(each.key));
      if (gone.includes(set.pinned?.key)) pin(frame);
      if (set.held && gone.includes(set.shown?.key)) set.shown = frame;
      set.frames.push(frame);
      by("announce").textContent = spoken(frame);
      sound(frame.verdict);
      refresh();
    },
    plate(plate) {
      set.plate = plate;
      refresh();
    },
    note: tell,
  },
  (connected) => {
    document.body.classList.toggle("lost", !connected);
    by("link").textContent = connected ? "" : "Connection lost; trying again.";
  },
);

function tell(note) {
  by("note").textContent = note ? `${note.at} ${note.text}` : "";
}

function refresh() {
  const newest = set.frames.at(-1) ?? null;
  const wanted = set.held ? set.shown : newest;
  strip.show(set.frames);
  tellSet();
  if (wanted !== set.shown || wanted?.key !== stage.frame?.key) showSoon(wanted);
  else mark();
}

// At once, unless the last swap was so short ago that it could flicker.
function showSoon(frame) {
  clearTimeout(swapTimer);
  const wait = swappedAt + SWAP_MS - performance.now();
  if (wait > 0) {
    swapTimer = setTimeout(refresh, wait);
    mark();
    return;
  }
  swappedAt = performance.now();
  show(frame);
}

async function show(frame) {
  set.shown = frame;
  mark();
  if (!frame) return;
  showWords(frame);
  document.title = `${frame.verdict}: ${frame.name}`;
  if (!(await stage.show(frame))) return;
  for (const id of ["shown", "caption"]) caption(by(id), frame);
  by("how").hidden = !frame.picture || stage.points.length > 0;
  if (stage.points.length) takePoints(stage.points);
}

function hold(frame) {
  set.shown = frame;
  set.held = true;
  clearTimeout(swapTimer);
  show(frame);
}

function caption(figure, frame) {
  figure.querySelector(".name").textContent = frame.name;
  figure.querySelector(".settings").textContent = frame.settings;
}

// Everything that depends on which frame is shown, pinned or the plate.
function mark() {
  const { frames, shown, held, pinned, plate } = set;
  strip.mark({ shown: shown?.key, pinned: pinned?.key, plate: plate?.key });
  chart.show(frames.filter((frame) => frame.verdict !== "under"), shown);
  const behind = held ? frames.length - 1 - frames.indexOf(shown) : 0;
  by("hold").setAttribute("aria-pressed", String(held));
  by("behind").textContent = behind > 0 ? `${behind} newer` : "";
  by("pin").textContent = shown && pinned?.key === shown.key ? "Unpin" : "Pin";
  by("plate").textContent = plate ? `Plate: ${plate.name}` : "";
  for (const id of ["hold", "pin", "use-plate"]) by(id).disabled = !shown;
}

function tellSet() {
  const count = (verdict) => set.frames.filter((frame) => frame.verdict === verdict).length;
  const parts = ["pass", "warn", "under", "unreadable"].filter(count).map((verdict) => `${count(verdict)} ${verdict}`);
  const total = `${set.frames.length} frame${set.frames.length === 1 ? "" : "s"}`;
  by("tally").textContent = [total, ...parts].join(" · ");
}

async function takePoints(points) {
  stage.setPoints(points);
  by("readings").hidden = points.length === 0;
  by("how").hidden = points.length > 0;
  asked += 1;
  if (!points.length) return;
  const mine = asked;
  const text = by("readings-text");
  let lines;
  try {
    lines = readingLines(await read(stage.frame, points));
  } catch (error) {
    lines = [`Not read: ${error.message}.`];
  }
  if (mine === asked) text.replaceChildren(...lines);
}

function pin(frame) {
  set.pinned = frame;
  const figure = by("pinned");
  figure.hidden = frame === null;
  by("stages").classList.toggle("two", frame !== null);
  mark();
  if (!frame) return;
  caption(figure, frame);
  figure.querySelector(".mark").replaceChildren(smallShape(frame.verdict));
  const figures = frame.figures.map((each) => `${each.label} ${each.value}`);
  figure.querySelector(".settings").textContent = figures.join(" · ");
  pinnedStage.show(frame);
}

by("hold").addEventListener("click", () => {
  if (set.held) {
    set.held = false;
    by("strip").scrollTo({ left: 0 });
    refresh();
  } else if (set.shown) {
    set.held = true;
    mark();
  }
});

by("pin").addEventListener("click", () => pin(set.pinned?.key === set.shown?.key ? null : set.shown));

by("clear").addEventListener("click", () => {
  takePoints([]);
  by("stage").focus();
});

by("use-plate").addEventListener("click", async () => {
  const answer = await fetch("/plate", {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-Inspector": "page" },
    body: JSON.stringify({ frame: set.shown.key }),
  });
  if (answer.ok) return;
  const at = new Date().toTimeString().slice(0, 5);
  tell({ at, text: `No plate: ${(await answer.json()).error}.` });
});

by("sound").addEventListener("click", () => {
  const on = by("sound").getAttribute("aria-checked") !== "true";
  by("sound").setAttribute("aria-checked", String(on));
  setSound(on);
});

mark();
