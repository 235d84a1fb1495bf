// The depth ruler: rods from port to starboard, depth downward, bottom at the foot. A line's band is a bar as long
// as the band is deep, its lure a bold mark with the number.
import { FAINT, GREY, INK, SMALL, cut, hatch, line, niceStep, paper, strokeOf, write } from "./pen.js";
import { marked, show } from "./units.js";

const GUTTER = 40; // for the numbers of the scale
const TOP = 34; // for the names
const FOOT = 34; // for the bottom
const FAR = 1.8; // a bottom deeper than this many times the deepest lure is not drawn to scale

const known = (q) => q && q.value !== null && q.state !== "dead";

function scaleOf(state, height) {
  const ends = state.order.map((rod) => state.lines[rod]?.depth_m).filter(known).map((q) => q.high ?? q.value);
  const deepest_m = Math.max(10, ...ends) * 1.12;
  const bottom = state.boat.water_depth_m;
  const bottom_m = known(bottom) ? bottom.value : null;
  const near = bottom_m !== null && (!ends.length || bottom_m < deepest_m * FAR);
  const last_m = near ? Math.max(bottom_m, deepest_m / 1.12) : deepest_m;
  const y = (depth_m) => TOP + (Math.min(Math.max(depth_m, 0), last_m * 1.02) / last_m) * (height - TOP - FOOT);
  return { y, last_m, bottom, bottom_m, near };
}

function drawGrid(pen, width, scale, unit) {
  const step = niceStep(scale.last_m * unit.scale, 7);
  for (let shown = step; shown <= scale.last_m * unit.scale; shown += step) {
    const y = scale.y(shown / unit.scale);
    line(pen, [[GUTTER, y], [width, y]], FAINT, 1);
    write(pen, String(shown), GUTTER - 6, y, { size: 15, align: "right" });
  }
  line(pen, [[GUTTER, TOP], [width, TOP]], "#0a4f8a", 4); // the surface
  write(pen, "0", GUTTER - 6, TOP, { size: 15, align: "right" });
}

function drawBottom(pen, width, height, scale, units, late) {
  const shown = show(scale.bottom, units);
  const colour = late || shown.state !== "ok" ? GREY : "#6b4a1f";
  const y = scale.near ? scale.y(scale.bottom_m) : height - FOOT + 6;
  if (scale.bottom_m === null) {
    write(pen, cut(pen, `bottom not known: ${shown.why}`, width - GUTTER, 16), GUTTER + 4, height - FOOT / 2,
      { align: "left", colour: GREY });
    return;
  }
  hatch(pen, GUTTER, y, width - GUTTER, height - y, colour);
  const text = `bottom ${marked(shown)} ${shown.label}${scale.near ? "" : ", far below the lures"}`;
  const [x, middle, room] = [(GUTTER + width) / 2, Math.max(y + 17, height - FOOT / 2), width - GUTTER - 8];
  pen.fillStyle = "#fff";
  pen.fillRect(x - Math.min(room, text.length * 10 + 12) / 2, middle - 11, Math.min(room, text.length * 10 + 12), 22);
  write(pen, text, x, middle, { size: 18, colour: colour === GREY ? GREY : INK, room, struck: shown.state === "stale" });
}

function drawMark(pen, x, y, column, stroke) {
  const half = Math.min(30, column * 0.42);
  pen.fillStyle = stroke.firm ? stroke.colour : "#fff";
  pen.beginPath();
  pen.moveTo(x - half, y);
  pen.lineTo(x, y - 6);
  pen.lineTo(x + half, y);
  pen.lineTo(x, y + 6);
  pen.closePath();
  pen.fill();
  if (!stroke.firm) line(pen, [[x - half, y], [x, y - 6], [x + half, y], [x, y + 6], [x - half, y]], stroke.colour, 2);
}

function drawBand(pen, x, top, foot, column, stroke) {
  const half = Math.min(18, column * 0.25);
  pen.fillStyle = "#fff";
  pen.fillRect(x - half, top, 2 * half, foot - top);
  pen.globalAlpha = stroke.firm ? 0.22 : 0;
  pen.fillStyle = stroke.colour;
  pen.fillRect(x - half, top, 2 * half, foot - top);
  pen.globalAlpha = 1;
  for (const side of [-half, half]) line(pen, [[x + side, top], [x + side, foot]], stroke.colour, stroke.width, stroke.dash);
  for (const end of [top, foot]) line(pen, [[x - half - 2, end], [x + half + 2, end]], stroke.colour, stroke.width);
}

function sideways(pen, text, x, y, colour) {
  pen.save();
  pen.translate(x, y);
  pen.rotate(Math.PI / 2);
  write(pen, text, 0, 0, { size: SMALL, colour, align: "left" });
  pen.restore();
}

function drawRod(pen, rod, x, column, state, scale, floor, late) {
  const row = state.lines[rod];
  const side = state.about[rod]?.side;
  const q = row?.depth_m;
  const shown = show(q, state.units);
  const stroke = strokeOf(shown.state, row ?? {}, side, late);
  const odd = row?.conditions.length ? "!" : "";
  write(pen, cut(pen, rod, column - 2 - 8 * odd.length, 18) + odd, x, 16,
    { size: 18, colour: late ? GREY : (row ? strokeOf("ok", row, side, late).colour : GREY) });
  if (row && !stroke.firm) sideways(pen, row.rod_state, x - Math.min(14, column * 0.36), TOP + 8, GREY);
  if (!known(q)) {
    write(pen, "--", x, TOP + 22, { size: 20, colour: GREY });
    return;
  }
  const [top, foot] = [scale.y(q.low ?? q.value), scale.y(q.high ?? q.value)];
  line(pen, [[x, TOP], [x, top]], GREY, 1.5);
  drawBand(pen, x, top, foot, column, stroke);
  drawMark(pen, x, scale.y(q.value), column, stroke);
  const then = state.then?.lines[rod]?.depth_m; // of a recording beside itself
  if (known(then)) line(pen, [[x - column * 0.46, scale.y(then.value)], [x + column * 0.46, scale.y(then.value)]], INK, 2, [5, 4]);
  const size = column > 80 ? 28 : 21;
  const below = foot + 4 + size / 2 < floor - size / 2 ? foot + 4 + size / 2 : top - 4 - size / 2;
  write(pen, marked(shown), x, below,
    { size, room: column - 3, colour: stroke.colour === GREY ? GREY : INK, struck: shown.state === "stale" });
}

export function drawRuler(canvas, state, late) {
  const { pen, width, height } = paper(canvas);
  const scale = scaleOf(state, height);
  const column = (width - GUTTER) / Math.max(1, state.order.length);
  drawGrid(pen, width, scale, state.units.m);
  drawBottom(pen, width, height, scale, state.units, late);
  const floor = scale.near ? scale.y(scale.bottom_m) : height - FOOT + 6;
  state.order.forEach((rod, i) => drawRod(pen, rod, GUTTER + (i + 0.5) * column, column, state, scale, floor, late));
  canvas.setAttribute("aria-label", spoken(state));
}

function spoken(state) {
  const rods = state.order.map((rod) => {
    const shown = show(state.lines[rod]?.depth_m, state.units);
    return shown.state === "dead" ? `${rod} not known` : `${rod} ${marked(shown)} ${shown.label}`;
  });
  const bottom = show(state.boat.water_depth_m, state.units);
  return `Depth ruler, port to starboard: ${rods.join(", ")}; bottom ${marked(bottom)} ${bottom.label}`;
}
