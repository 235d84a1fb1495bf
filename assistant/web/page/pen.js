// Drawing on a canvas: sharp at any pixel ratio, thick lines, each side with its own colour and dash.

export const INK = "#111";
export const GREY = "#6a6a6a";
export const FAINT = "#d0d0d0";
export const SIDE = {
  port: { colour: "#a3161c", dash: [] },
  centre: { colour: "#1c1c1c", dash: [3, 6] },
  starboard: { colour: "#00613a", dash: [12, 6] },
};
const FAMILY = '"Liberation Sans", Arial, Helvetica, sans-serif';
export const SMALL = 14;

// A cleared drawing context in CSS pixels, with its width and height.
export function paper(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const [width, height] = [canvas.clientWidth, canvas.clientHeight];
  const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== w || canvas.height !== h) Object.assign(canvas, { width: w, height: h });
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, width, height);
  return { pen, width, height };
}

export function line(pen, points, colour, width = 3, dash = []) {
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.lineJoin = "round";
  pen.setLineDash(dash);
  pen.beginPath();
  points.forEach(([x, y], i) => (i ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  pen.stroke();
  pen.setLineDash([]);
}

// Bold text with a white halo; shrinks to `room` but not below SMALL. Returns its width.
export function write(pen, text, x, y, { size = 16, colour = INK, align = "center", room = Infinity, struck = false } = {}) {
  const fontOf = (pixels) => `bold ${pixels}px ${FAMILY}`;
  pen.font = fontOf(size);
  const natural = pen.measureText(text).width;
  if (natural > room) pen.font = fontOf(Math.max(SMALL, Math.floor((size * room) / natural)));
  pen.textAlign = align;
  pen.textBaseline = "middle";
  pen.strokeStyle = "#fff";
  pen.lineWidth = 5;
  pen.lineJoin = "round";
  pen.strokeText(text, x, y);
  pen.fillStyle = colour;
  pen.fillText(text, x, y);
  const width = pen.measureText(text).width;
  const left = { center: x - width / 2, left: x, right: x - width }[align];
  if (struck) line(pen, [[left, y], [left + width, y]], colour, 3);
  return width;
}

export function cut(pen, text, room, size) {
  pen.font = `bold ${size}px ${FAMILY}`;
  let kept = text;
  while (kept.length > 1 && pen.measureText(kept).width > room) kept = kept.slice(0, -1);
  return kept;
}

export function hatch(pen, x, y, width, height, colour) {
  pen.save();
  pen.beginPath();
  pen.rect(x, y, width, height);
  pen.clip();
  for (let i = -height; i < width; i += 12) line(pen, [[x + i, y + height], [x + i + height, y]], colour, 2);
  pen.restore();
  line(pen, [[x, y], [x + width, y]], colour, 4);
}

// A round step that divides `span` into at most `parts`.
export function niceStep(span, parts) {
  const rough = span / parts;
  const power = 10 ** Math.floor(Math.log10(rough));
  return [1, 2, 5, 10].map((factor) => factor * power).find((step) => step >= rough);
}

// Only a line that fishes, of a good number, is drawn firm.
export function strokeOf(state, line, side, late) {
  const own = SIDE[side] ?? SIDE.centre;
  const firm = ["fishing", "fish on"].includes(line.rod_state);
  return { colour: late || state !== "ok" ? GREY : own.colour, dash: own.dash, width: firm ? 3 : 1.5, firm };
}
