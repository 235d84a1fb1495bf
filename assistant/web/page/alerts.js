// What is told: one item per situation, most urgent first; its buttons only where something may be done about it.
import { make, send } from "./change.js";

// Sound by priority: [pitch in Hz of each short tone, seconds until it is heard again].
const SOUNDS = { alarm: [[880, 880, 880], 3], warning: [[520, 660], 10], caution: [[392], Infinity] };
const TONE_S = 0.16;
let sound = null; // an AudioContext once the crew has allowed it
let last = { key: "", at_s: -Infinity };

const act = (what, key) => send("/api/alert", key ? { do: what, key } : { do: what });

function item(alert, maySet) {
  const box = make("li");
  box.className = `${alert.priority} ${alert.phase}`;
  box.append(make("span", alert.phase === "acknowledged" ? `${alert.text} (seen)` : alert.text));
  if (maySet && alert.phase === "active") {
    for (const [label, what] of [["Seen", "acknowledge"], ["Quiet 15 min", "shelve"]]) {
      const button = make("button", label);
      button.addEventListener("click", () => act(what, alert.key));
      box.append(button);
    }
  }
  return box;
}

export function drawAlerts(list, alerts, maySet) {
  const standing = alerts.filter((alert) => alert.phase !== "gone");
  const text = standing.map((alert) => [alert.priority, alert.phase, alert.text, maySet].join()).join("\n");
  if (list.dataset.text !== text) { // else a screen reader says it four times a second
    list.replaceChildren(...standing.map((alert) => item(alert, maySet)));
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
