// What is told: one item per situation, most urgent first; its buttons only where something may be done about it.
import { make, send } from "./change.js";
import { age, show } from "./units.js";

// Sound by priority: [pitch in Hz of each short tone, seconds until it is heard again].
const SOUNDS = { alarm: [[880, 880, 880], 3], warning: [[520, 660], 10], caution: [[392], Infinity] };
const TONE_S = 0.16;
let sound = null; // an AudioContext once the crew has allowed it
let last = { key: "", at_s: -Infinity };
const open = new Set(); // keys whose evidence is shown

const act = (what, key) => send("/api/alert", key ? { do: what, key } : { do: what });

// What a situation rests on: the value with its band, the limit, why, from what, how old.
function evidence(found, units) {
  const said = (value, low, high) => {
    const q = show({ value, low: low ?? null, high: high ?? null, unit: found.unit, state: "ok" }, units);
    return `${q.number} ${q.label}`.trim() + (q.band ? ` (${q.band})` : "");
  };
  const number = (value) => typeof value === "number";
  return [
    number(found.value) ? said(found.value, found.low, found.high) : "",
    number(found.limit) ? `limit ${said(found.limit)}` : found.limit ?? "",
    found.cause ?? "",
    found.source ?? "",
    number(found.age_s) ? `${age(found.age_s)} old` : "",
  ].filter(Boolean).join(", ");
}

function item(alert, units, maySet, redraw) {
  const box = make("li");
  box.className = `${alert.priority} ${alert.phase}`;
  box.append(make("span", alert.phase === "acknowledged" ? `${alert.text} (seen)` : alert.text));
  const small = (text) => {
    const line = make("span", text);
    line.className = "small";
    box.append(line);
  };
  alert.under.forEach(small);
  if (open.has(alert.key)) small(evidence(alert.evidence, units));
  const press = (label, does) => {
    const button = make("button", label);
    button.addEventListener("click", does);
    box.append(button);
  };
  if (maySet && alert.phase === "active") {
    press("Seen", () => act("acknowledge", alert.key));
    press("Quiet 15 min", () => act("shelve", alert.key));
  }
  press("Why", () => {
    if (!open.delete(alert.key)) open.add(alert.key);
    redraw();
  });
  return box;
}

export function drawAlerts(list, { alerts, units }, maySet) {
  const standing = alerts.filter((alert) => alert.phase !== "gone");
  const line = (alert) => [alert.priority, alert.phase, alert.text, maySet, ...alert.under,
    open.has(alert.key) && evidence(alert.evidence, units)].join();
  const text = standing.map(line).join("\n");
  const redraw = () => drawAlerts(list, { alerts, units }, maySet);
  if (list.dataset.text !== text) { // else a screen reader says it four times a second
    list.replaceChildren(...standing.map((alert) => item(alert, units, maySet, redraw)));
  }
  list.dataset.text = text;
  sing(standing.find((alert) => alert.audible));
}

function sing(alert) {
  if (!sound || !alert) return;
  const [pitches, again_s] = SOUNDS[alert.priority];
  const now_s = sound.currentTime;
  if (alert.key === last.key && now_s - last.at_s < again_s) return;
  last = { key: alert.key, at_s: now_s };
  pitches.forEach((pitch, k) => {
    const [tone, level] = [sound.createOscillator(), sound.createGain()];
    tone.frequency.value = pitch;
    level.gain.value = 0.3;
    tone.connect(level).connect(sound.destination);
    tone.start(now_s + 1.5 * k * TONE_S);
    tone.stop(now_s + (1.5 * k + 1) * TONE_S);
  });
}

// Browsers make no sound before a tap allows it; the same button mutes for half a minute afterwards.
export function soundButton(button) {
  button.addEventListener("click", () => {
    if (sound) {
      act("mute");
      return;
    }
    sound = new AudioContext();
    button.textContent = "Mute";
    button.title = "for 30 s";
    button.removeAttribute("aria-label");
    sing({ key: "", priority: "caution" });
  });
}
