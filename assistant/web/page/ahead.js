// The next two minutes: one row a rod, how its lure rises and sinks, what touches and crosses, one sentence on top.
import { make } from "./change.js";
import { FAINT, GREY, INK, SIDE, SMALL, line, paper, write } from "./pen.js";
import { voiceButton } from "./speech.js";
import { age as ageText, show } from "./units.js";

const SPAN_S = 120;
const OLD_S = 15; // an older one is about another course by now
const GONE_S = 30;
const NAME_W = 50;
const WORST_W = 62;
const ROW_H = 32;
const AXIS_H = 20;
const LEAST_M = 1.5; // what fills half a row at least
const MOVES_M = 0.3;
const CROSS_M = 0.5;
const TICKS = [[0, "now"], [30, "30 s"], [60, "1 min"], [90, "1:30"], [120, "2 min"]];

export const ahead = { told: null, asked: null, seq: 0, fetching: false, got_s: 0 };
const now_s = () => performance.now() / 1000;

// Fetch the newest forecast when the state says that there is a newer one.
export async function fetchAhead(status, redraw) {
  if (!status || status.seq === ahead.seq || ahead.fetching) return;
  ahead.fetching = true;
  try {
    const answer = await fetch("/api/forecast");
    if (answer.ok) {
      ahead.told = await answer.json();
      ahead.seq = ahead.told.seq;
      ahead.got_s = now_s();
      redraw();
    }
  } catch {
    // the link says that nobody answers
  } finally {
    ahead.fetching = false;
  }
}

export const ageOf = (told, got_s) => told.age_s + now_s() - got_s;

// How much of a rod's depth half a row stands for [m], the same for all: the lines fit, a wide band may be cut off.
function halfRow(rods) {
  const most = (column) => Math.max(0, ...rods.flatMap(({ depth_m: d }) => d[column]
    .filter((depth) => depth !== null).map((depth) => Math.abs(depth - d.value[0]))));
  return Math.max(LEAST_M, 1.2 * most("value"), 0.6 * most("low"), 0.6 * most("high"));
}

// Depth, low or high of one rod as points: how far from its depth when the forecast was made, downward.
function track(times, column, base, at) {
  return times.map((t, k) => (column[k] === null ? null : at(t, column[k] - base))).filter(Boolean);
}

function drawBand(pen, times, depth, at) {
  const low = track(times, depth.low, depth.value[0], at);
  const high = track(times, depth.high, depth.value[0], at);
  if (low.length < 2 || high.length < 2) return;
  pen.beginPath();
  [...low, ...high.reverse()].forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  pen.fillStyle = "#e3e3e3";
  pen.fill();
}

function mark(pen, x, y, colour, sign) {
  if (sign === "x") {
    line(pen, [[x - 5, y - 5], [x + 5, y + 5]], colour, 3);
    line(pen, [[x - 5, y + 5], [x + 5, y - 5]], colour, 3);
    return;
  }
  pen.beginPath();
  pen.arc(x, y, 5, 0, 7);
  pen.fillStyle = "#fff";
  pen.fill();
  pen.lineWidth = 3;
  pen.strokeStyle = colour;
  pen.stroke();
}

// Where the lowest point of a line is on the bottom: a black foot to the row.
function drawTouch(pen, times, gap, at, foot) {
  if (!gap) return;
  times.forEach((t, k) => {
    if (k === 0 || gap.low[k] === null || gap.low[k] > 0) return;
    const [from] = at(times[k - 1], 0);
    const [to] = at(t, 0);
    const sure = gap.value[k] !== null && gap.value[k] <= 0;
    pen.fillStyle = sure ? INK : "#9a9a9a";
    pen.fillRect(from, foot - (sure ? 6 : 3), to - from, sure ? 6 : 3);
  });
}

const worstOf = (rod) => (rod.sink_m.value > rod.rise_m.value ? [rod.sink_m, "▼"] : [rod.rise_m, "▲"]);

function drawRow(pen, name, rod, told, view, state) {
  const colour = view.grey ? GREY : (SIDE[state.about[name]?.side] ?? SIDE.centre).colour;
  write(pen, name, 2, view.middle, { size: 18, align: "left", colour, room: NAME_W - 4 });
  line(pen, [[NAME_W, view.middle], [view.right, view.middle]], FAINT, 1);
  if (!rod) {
    write(pen, told.lost[name] ?? "not known", NAME_W + 4, view.middle, { size: SMALL, align: "left", colour: GREY });
    return;
  }
  pen.save();
  pen.beginPath();
  pen.rect(NAME_W, view.middle - ROW_H / 2 + 1, view.right - NAME_W, ROW_H - 2);
  pen.clip();
  drawBand(pen, told.times_s, rod.depth_m, view.at);
  drawTouch(pen, told.times_s, rod.bottom_gap_m, view.at, view.middle + ROW_H / 2 - 1);
  line(pen, track(told.times_s, rod.depth_m.value, rod.depth_m.value[0], view.at), colour, rod.firm ? 3 : 1.5);
  pen.restore();
  const [worst, arrow] = worstOf(rod);
  const moves = worst.value !== null && worst.value >= MOVES_M;
  const shown = show({ value: worst.value, low: null, high: null, unit: "m", state: "ok" }, state.units);
  const text = moves ? `${arrow} ${shown.number}` : "=";
  write(pen, text, view.width - 2, view.middle, { size: 18, align: "right", colour: view.grey ? GREY : INK, room: WORST_W - 6 });
}

function drawAxis(pen, view, height) {
  for (const [t, label] of TICKS) {
    const x = NAME_W + ((view.right - NAME_W) * t) / SPAN_S;
    line(pen, [[x, 0], [x, height - AXIS_H]], t ? FAINT : INK, t ? 1 : 2);
    const align = t === 0 ? "left" : t === SPAN_S ? "right" : "center";
    write(pen, label, x, height - AXIS_H / 2, { size: SMALL, align });
  }
}

// The one moment that the sentence is about, and where lines cross.
function drawMarks(pen, told, rowsAt, view) {
  const inside = (x) => Math.min(Math.max(x, NAME_W + 6), view.right - 6);
  for (const pair of told.pairs.filter((one) => one.gap_m.value < CROSS_M && one.gap_m.at_s > 0)) {
    for (const rod of pair.rods.filter((name) => name in rowsAt)) {
      mark(pen, inside(rowsAt[rod](pair.gap_m.at_s, 0)[0]), rowsAt[rod](0, 0)[1], view.grey ? GREY : INK, "x");
    }
  }
  const { rod, at_s } = told.worst;
  if (!(rod in rowsAt) || at_s === null) return;
  const [, y] = rowsAt[rod](0, 0);
  const x = inside(rowsAt[rod](at_s, 0)[0]);
  line(pen, [[x, y - ROW_H / 2], [x, y + ROW_H / 2]], view.grey ? GREY : INK, 2, [3, 3]);
  mark(pen, x, y, view.grey ? GREY : INK, "o");
}

export function drawAheadStrip(canvas, state, told, age_s, late) {
  canvas.style.height = `${state.order.length * ROW_H + AXIS_H}px`;
  const { pen, width, height } = paper(canvas);
  const view = { width, right: width - WORST_W, grey: late || age_s > OLD_S || told.state !== "ok" };
  drawAxis(pen, view, height);
  const half = halfRow(Object.values(told.rods));
  const rowsAt = {};
  state.order.forEach((name, i) => {
    const middle = (i + 0.5) * ROW_H;
    const at = (t, down) => [NAME_W + ((view.right - NAME_W) * (t - age_s)) / SPAN_S, middle + (down / half) * (ROW_H / 2 - 3)];
    rowsAt[name] = at;
    drawRow(pen, name, told.rods[name], told, { ...view, middle, at }, state);
  });
  drawMarks(pen, told, rowsAt, view);
  canvas.setAttribute("aria-label", `The next two minutes: ${told.sentence}`);
}

// For how long every line stays over water that has been sounded.
function bottomWords(told, order, age_s) {
  const rods = order.map((name) => told.rods[name]).filter(Boolean);
  if (!rods.length || rods.some((rod) => !rod.bottom_gap_m)) return "Bottom not known where some lines go.";
  const until = rods.map(({ bottom_gap_m: gap }) => {
    const first = gap.value.indexOf(null);
    return first < 0 ? Infinity : first === 0 ? 0 : told.times_s[first - 1] - age_s;
  });
  const least_s = Math.min(...until);
  if (least_s === Infinity) return "";
  return least_s < 5 ? "Bottom not known where some lines go." : `Bottom sounded for the next ${Math.floor(least_s / 5) * 5} s.`;
}

// The whole part: sentence, strip, and how old it is.
export function drawAhead(root, state, late) {
  const told = ahead.asked?.told ?? ahead.told;
  const age_s = told ? ageOf(told, ahead.asked?.got_s ?? ahead.got_s) : Infinity;
  const known = told && age_s < GONE_S;
  const words = root.querySelector(".sentence");
  root.classList.toggle("asked", Boolean(ahead.asked));
  root.querySelector("canvas").hidden = !known;
  root.querySelector("h2").textContent = ahead.asked ? `What if: ${told.about}` : "The next two minutes";
  words.classList.toggle("doubtful", Boolean(known) && (late || age_s > OLD_S || told.state !== "ok"));
  if (!known) {
    words.textContent = `-- no forecast: ${state.ahead?.state || "none came"}`;
    root.querySelector(".made").textContent = "";
    return;
  }
  words.textContent = (told.state === "doubtful" ? "~ " : "") + told.sentence;
  const doubt = told.state === "ok" ? "" : ` In doubt: ${told.cause}.`;
  root.querySelector(".made").textContent = `${ageText(age_s)} old.${doubt} ${bottomWords(told, state.order, age_s)}`;
  drawAheadStrip(root.querySelector("canvas"), state, told, age_s, late);
}

export function makeAhead(root) {
  if (root.querySelector("canvas")) return;
  const words = Object.assign(make("p"), { className: "sentence" });
  const strip = make("canvas");
  strip.setAttribute("role", "img");
  const top = Object.assign(make("div"), { className: "top" });
  const voice = make("button");
  voiceButton(voice);
  top.append(make("h2", "The next two minutes"), voice);
  root.append(top, words, strip, Object.assign(make("p"), { className: "made" }));
}
