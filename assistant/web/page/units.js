// What a published number looks like. Conversion comes with the data: shown = value * scale + offset.

const PLAIN = { scale: 1, offset: 0, digits: 1, label: "" };
const rounded = (value, digits) => {
  const text = value.toFixed(digits);
  return Number(text) === 0 ? text.replace("-", "") : text; // no "-0"
};

// A Q in the configured units: number, band and label as text, and what is wrong with it in words.
export function show(q, units, transform = (value) => value) {
  if (!q) return { state: "dead", number: "--", label: "", band: "", why: "not sent" };
  const unit = units[q.unit] ?? PLAIN;
  const said = (value) => rounded(transform(value) * unit.scale + unit.offset, unit.digits);
  const dead = q.state === "dead" || q.value === null;
  const ends = dead || q.low === null || q.high === null ? [] : [said(q.low), said(q.high)];
  if (ends.length && Number(ends[0]) > Number(ends[1])) ends.reverse();
  return {
    state: dead ? "dead" : q.state,
    number: dead ? "--" : said(q.value),
    label: unit.label,
    band: ends.join("–"),
    why: reason(q, dead),
  };
}

function reason(q, dead) {
  if (dead) return q.cause || (q.source && q.source !== "none" ? q.source : "no source");
  if (q.state === "stale") return `${age(q.age_s)} old`;
  return q.state === "doubtful" ? q.cause || q.source : "";
}

export const age = (seconds) => (seconds === null ? "?" : seconds < 90 ? `${Math.round(seconds)} s`
  : `${Math.round(seconds / 60)} min`);

// A whole compass degree, 0..359.
export function compass(q, units) {
  const shown = show(q, units);
  if (shown.state !== "dead") shown.number = String(Number(shown.number) % 360);
  return shown;
}

// The mark of doubt in front of a number.
export const marked = (shown) => (shown.state === "doubtful" ? `~${shown.number}` : shown.number);

const ORDER = ["ok", "doubtful", "stale", "dead"];
export const worst = (...states) => ORDER[Math.max(...states.map((state) => ORDER.indexOf(state)))];

// Create or fill an element that shows a number: <name> <number><unit> <note>. Text only, never HTML.
export function cell(name, quantity) {
  const box = document.createElement("div");
  box.className = "cell q";
  box.dataset.q = quantity;
  for (const [part, tag] of [["name", "span"], ["value", "span"], ["note", "span"]]) {
    const element = document.createElement(tag);
    element.className = part;
    box.append(element);
  }
  const value = box.querySelector(".value");
  for (const part of ["number", "unit"]) {
    const element = document.createElement("span");
    element.className = part;
    value.append(element);
  }
  box.querySelector(".name").textContent = name;
  return box;
}

export function fill(box, shown, note) {
  box.className = box.className.replace(/ (ok|doubtful|stale|dead)/g, "") + ` ${shown.state}`;
  box.querySelector(".number").textContent = marked(shown);
  const gap = shown.label.startsWith("°") ? "" : "\u00a0";
  box.querySelector(".unit").textContent = shown.state === "dead" ? "" : gap + shown.label;
  box.querySelector(".note").textContent = note;
}
