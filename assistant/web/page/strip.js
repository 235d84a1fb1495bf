// The boat strip: one row of CELLS per number.
import { cell, compass, fill, show, worst } from "./units.js";

const reason = (shown) => [shown.state === "doubtful" ? shown.band : "", shown.why].filter(Boolean).join(", ");
const plain = (name) => (boat, units) => {
  const shown = show(boat[name], units);
  return [shown, reason(shown)];
};

const CELLS = [
  { label: "Water speed", q: "stw_mps", read: plain("stw_mps") },
  { label: "Ground speed", q: "sog_mps", read: plain("sog_mps") },
  { label: "Heading", q: "heading_rad", read: heading },
  { label: "Current", q: "drift_mps", read: current },
  { label: "Bottom", q: "water_depth_m", read: plain("water_depth_m") },
  { label: "Water temp", q: "water_temp_c", read: plain("water_temp_c") },
];

function heading(boat, units) {
  const shown = compass(boat.heading_rad, units);
  return [shown, reason(shown)];
}

function current(boat, units) {
  const speed = show(boat.drift_mps, units);
  const toward = compass(boat.set_rad, units);
  const state = worst(speed.state, toward.state);
  if (state === "dead") return [{ ...speed, state, number: "--" }, speed.state === "dead" ? speed.why : toward.why];
  const bad = speed.state === state ? speed : toward;
  return [{ ...speed, state }, [`toward ${toward.number}°`, bad.why].filter(Boolean).join(", ")];
}

// What is missing, by name, under the numbers it spoils.
function drawModes(root, names) {
  let line = root.querySelector(".modes");
  if (!line && names.length) {
    line = document.createElement("p");
    line.className = "modes";
    line.style.gridColumn = "1 / -1";
    root.append(line);
  }
  if (!line) return;
  line.hidden = !names.length;
  line.textContent = names.join(", ");
}

export function drawStrip(root, state) {
  if (!root.children.length) root.append(...CELLS.map((row) => cell(row.label, row.q)));
  drawModes(root, state.degraded ?? []);
  CELLS.forEach((row, i) => fill(root.children[i], ...row.read(state.boat, state.units)));
}
