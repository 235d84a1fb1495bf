// One row per rod: its numbers in words and figures, and what is odd about it.
import { age, cell, fill, marked, show } from "./units.js";

const FOUR = [
  { label: "Swing", q: "swing_m", transform: Math.abs, note: (shown, q) => sideOf(shown, q) },
  { label: "Astern", q: "setback_m" },
  { label: "Pull", q: "tension_n" },
  { label: "Lure speed", q: "lure_speed_mps" },
];

const sideOf = (shown, q) => (Number(shown.number) === 0 ? "straight behind" : q.value < 0 ? "to port" : "to starboard");
const make = (tag, className, text = "") => {
  const element = document.createElement(tag);
  if (className) element.className = className;
  element.textContent = text;
  return element;
};

function makeRow(rod, state) {
  const about = state.about[rod] ?? { text: "", side: "centre" };
  const box = make("article", `row ${about.side}`);
  box.dataset.rod = rod;
  box.setAttribute("aria-label", `rod ${rod}`);
  const head = make("div", "head");
  const depth = cell("Depth", "depth_m");
  depth.classList.add("depth");
  head.append(make("span", "rod", rod), depth, make("span", "rod-state"));
  const four = make("div", "four");
  four.append(...FOUR.map((row) => cell(row.label, row.q)));
  box.append(head, make("p", "about", about.text), four, make("p", "conditions"), make("p", "seen"), make("p", "limit"));
  return box;
}

function fillRow(box, row, units, limit) {
  const depth = show(row?.depth_m, units);
  const bits = [depth.band, depth.why].filter(Boolean);
  fill(box.querySelector(".depth"), depth, bits.join(", "));
  box.querySelector(".rod-state").textContent = row && row.rod_state !== "fishing" ? row.rod_state : "";
  FOUR.forEach((four, i) => {
    const q = row?.[four.q];
    const shown = show(q, units, four.transform);
    const words = [four.note && shown.state !== "dead" ? four.note(shown, q) : "", shown.state === "stale" ? shown.why : ""];
    fill(box.querySelector(".four").children[i], shown, words.filter(Boolean).join(", "));
  });
  box.querySelector(".conditions").textContent = (row?.conditions ?? []).join(", ");
  box.querySelector(".limit").textContent = limit && depth.state !== "dead" ? `Its band comes mostly from: ${limit}` : "";
}

const NAMES = {
  ball_speed_mps: "speed at the ball", ball_temp_c: "temperature below", pull_n: "measured pull",
  logged_depth_m: "logged depth", lean_rad: "lean", lean: "lean", bend: "bend", touch: "touched",
};

// What sensors at the rod and the crew said, each with its age; nothing of what is too old to be said.
function drawSeen(line, seen, units) {
  const parts = Object.entries(seen ?? {}).filter(([, one]) => one.state !== "dead").map(([kind, one]) => {
    const shown = show(one, units);
    const value = one.word ?? `${marked(shown)}\u00a0${shown.label}`;
    const at = one.depth_m === null ? "" : ` at ${show({ ...one, value: one.depth_m, unit: "m" }, units).number}\u00a0${units.m.label}`;
    const text = `${NAMES[kind] ?? kind} ${value}${at} (${age(one.age_s)} ago)`;
    return make("span", one.state === "ok" ? "" : "old", text);
  });
  line.replaceChildren(...parts.flatMap((part, i) => (i ? [", ", part] : [part])));
}

export function drawRows(root, state) {
  const key = JSON.stringify([state.order, state.about]);
  if (root.dataset.key !== key) {
    root.dataset.key = key;
    root.replaceChildren(...state.order.map((rod) => makeRow(rod, state)));
  }
  state.order.forEach((rod, i) => {
    fillRow(root.children[i], state.lines[rod], state.units, state.limits?.[rod]);
    drawSeen(root.children[i].querySelector(".seen"), state.seen?.[rod], state.units);
  });
}
