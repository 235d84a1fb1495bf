// The spread from above, to scale in both directions: the boat at the top, astern downward, port on the left.
import { FAINT, GREY, INK, SMALL, cut, line, niceStep, paper, strokeOf, write } from "./pen.js";
import { marked, show } from "./units.js";

const SIDE_ROOM = 84; // for the labels beside the outermost lures
const TOP_ROOM = 30;
const FOOT_ROOM = 16;
const BOAT_LENGTH_M = 6;
const BOAT_HALF_BEAM_M = 1.2;

function frameOf(state, width, height) {
  const points = state.order.flatMap((rod) => state.shapes[rod] ?? []);
  const aside_m = Math.max(6, ...points.map(([, y]) => Math.abs(y)));
  const astern_m = Math.max(30, ...points.map(([x]) => -x));
  const perMetre = Math.min((width / 2 - SIDE_ROOM) / aside_m, (height - TOP_ROOM - FOOT_ROOM) / astern_m);
  return { perMetre, at: ([x, y]) => [width / 2 + y * perMetre, TOP_ROOM - x * perMetre] };
}

// Lines across, each at a round distance astern of the boat.
function drawScale(pen, width, height, perMetre, unit) {
  const step = niceStep(((height - TOP_ROOM) * unit.scale) / perMetre, 5);
  const apart = (step / unit.scale) * perMetre;
  for (let i = 1; TOP_ROOM + i * apart < height - 4; i += 1) {
    const y = TOP_ROOM + i * apart;
    line(pen, [[0, y], [width, y]], FAINT, 1);
    write(pen, `${i * step} ${unit.label}`, 2, y - 9, { size: SMALL, align: "left" });
  }
}

function drawBoat(pen, view, colour) {
  const [bow, stern] = [BOAT_LENGTH_M / 2, -BOAT_LENGTH_M / 2];
  const b = BOAT_HALF_BEAM_M;
  const hull = [[bow, 0], [bow * 0.4, b], [stern, b * 0.9], [stern, -b * 0.9], [bow * 0.4, -b], [bow, 0]];
  line(pen, hull.map(view.at), colour, 3);
}

// Put a label beside its lure, outward, and move it down until it covers no other.
function place(taken, x, y, w) {
  const h = 20;
  let top = y;
  const hits = (box) => x < box.x + box.w && box.x < x + w && top < box.y + h && box.y < top + h;
  for (let tries = 0; tries < 30 && taken.some(hits); tries += 1) top += 6;
  taken.push({ x, y: top, w });
  return top;
}

function drawLabel(pen, width, height, taken, rod, shown, [x, y], outward, colour) {
  const text = `${cut(pen, rod, 60, 17)} ${marked(shown)}`;
  pen.font = "bold 17px sans-serif";
  const w = pen.measureText(text).width + 6;
  const left = Math.min(Math.max(outward < 0 ? x - w - 9 : x + 9, 2), width - w - 2);
  const top = Math.min(place(taken, left, y - 10, w), height - 21);
  write(pen, text, left, top + 10, { size: 17, align: "left", colour, struck: shown.state === "stale" });
}

function drawLine(pen, view, rod, state, late) {
  const shape = state.shapes[rod];
  const row = state.lines[rod];
  if (!shape?.length || !row) return null;
  const shown = show(row.depth_m, state.units);
  const stroke = strokeOf(shown.state, row, state.about[rod]?.side, late);
  const points = shape.map(view.at);
  line(pen, points, stroke.colour, stroke.width, stroke.dash);
  const lure = points[points.length - 1];
  pen.beginPath();
  pen.arc(lure[0], lure[1], 6, 0, 7);
  pen.fillStyle = stroke.firm ? stroke.colour : "#fff";
  pen.fill();
  if (!stroke.firm) line(pen, [[lure[0] - 5, lure[1]], [lure[0] + 5, lure[1]]], stroke.colour, 2);
  return { rod, lure, shown, colour: stroke.colour === GREY ? GREY : INK };
}

export function drawSpread(canvas, state, late) {
  const { pen, width, height } = paper(canvas);
  const view = frameOf(state, width, height);
  drawScale(pen, width, height, view.perMetre, state.units.m);
  drawBoat(pen, view, late ? GREY : INK);
  const drawn = state.order.map((rod) => drawLine(pen, view, rod, state, late)).filter(Boolean);
  const taken = [];
  for (const { rod, lure, shown, colour } of drawn.sort((a, b) => a.lure[1] - b.lure[1])) {
    const order = state.order.indexOf(rod) - (state.order.length - 1) / 2;
    drawLabel(pen, width, height, taken, rod, shown, lure, order, colour);
  }
  write(pen, "port", 6, 14, { size: SMALL, align: "left" });
  write(pen, "starboard", width - 6, 14, { size: SMALL, align: "right" });
  canvas.setAttribute("aria-label", `The spread from above: ${drawn.length} lines, the boat at the top`);
}
