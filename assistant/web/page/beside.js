// Two values a row: what was shown then, under what is worked out now.
import { marked, show } from "./units.js";

const FOUR = ["swing_m", "setback_m", "tension_n", "lure_speed_mps"];
const make = (tag, className) => Object.assign(document.createElement(tag), { className });

function build(row) {
  const four = make("p", "four then");
  four.append(...FOUR.map(() => make("span", "cell")));
  row.querySelector(".head").after(make("p", "then depth-then"));
  row.querySelector(".four").after(four);
}

function words(q, units, transform) {
  const shown = show(q, units, transform);
  return shown.state === "dead" ? "--" : `${marked(shown)}\u00a0${shown.label}`;
}

function fillRow(row, then, units) {
  if (!row.querySelector(".depth-then")) build(row);
  const depth = show(then?.depth_m, units);
  const band = depth.band ? ` ${depth.band}` : "";
  row.querySelector(".depth-then").textContent = then ? `then ${words(then.depth_m, units)}${band}` : "then: not there";
  FOUR.forEach((name, i) => {
    const cell = row.querySelector(".four.then").children[i];
    cell.textContent = then ? `then ${words(then[name], units, name === "swing_m" ? Math.abs : undefined)}` : "";
  });
}

// What there is to say once, and the rows; nothing at all where a page shows one configuration.
export function drawBeside(note, rows, state) {
  note.hidden = !state.then;
  if (!state.then) return;
  const missing = Object.keys(state.then.lines).filter((rod) => !state.order.includes(rod));
  const gone = missing.length ? [`Not there now: ${missing.join(", ")}.`] : [];
  const differs = state.then.differs.length ? state.then.differs : ["nothing differs"];
  const summary = Object.assign(make("summary", ""), {
    textContent: "With what is known now; “then” and the dashed line: as it was shown on the day.",
  });
  const list = make("ul", "");
  list.append(...[...gone, ...differs].map((text) => Object.assign(make("li", ""), { textContent: text })));
  const key = list.textContent;
  if (note.dataset.key !== key) {
    note.dataset.key = key;
    note.replaceChildren(summary, list);
  }
  for (const row of rows.children) fillRow(row, state.then.lines[row.dataset.rod], state.units);
}
